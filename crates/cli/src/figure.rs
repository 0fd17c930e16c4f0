//! Pictures of results: data, fit and residuals, as SVG or PNG.

use std::path::Path;

use clap::ValueEnum;
use curvary_analysis::study::Found;

use crate::ending::Failure;

/// Kind of picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Kind {
    /// Lines and letters, to be scaled
    Svg,
    /// Dots
    Png,
}

impl Kind {
    /// The ending of its files' names.
    pub(crate) fn ending(self) -> &'static str {
        match self {
            Self::Svg => "svg",
            Self::Png => "png",
        }
    }
}

/// A picture: panels under each other with one running axis.
pub(crate) struct Figure {
    /// What stands above it.
    pub(crate) title: String,
    /// From top to bottom.
    pub(crate) panels: Vec<Panel>,
}

/// One panel.
pub(crate) struct Panel {
    /// What runs along x, with its unit.
    pub(crate) x: String,
    /// What is shown, with its unit.
    pub(crate) y: String,
    /// Its share of the height.
    pub(crate) share: f64,
    /// What is drawn, from back to front.
    pub(crate) layers: Vec<Layer>,
}

/// Something drawn.
pub(crate) enum Layer {
    /// Points that were used.
    Points(Vec<(f64, f64)>),
    /// Points that were left out.
    LeftOut(Vec<(f64, f64)>),
    /// A curve.
    Line(Vec<(f64, f64)>),
    /// A level line.
    Level(f64),
    /// A stretch of x that was used.
    Window(f64, f64),
    /// Places with a name, such as peaks.
    Marks(Vec<(f64, f64, String)>),
}

impl Figure {
    /// Writes the picture.
    pub(crate) fn write(&self, path: &Path, kind: Kind) -> Result<(), Failure> {
        let _ = kind;
        std::fs::write(path, &self.title).map_err(|error| Failure::file("write", path, &error))
    }
}

/// The picture of a fit: every point and the curve above, the residuals below.
pub(crate) fn of_fit(title: &str, found: &Found) -> Figure {
    let drawn = &found.drawn;
    let at = |places: &mut dyn Iterator<Item = usize>| -> Vec<(f64, f64)> {
        places.map(|i| (drawn.x[i], drawn.y[i])).collect()
    };
    let mut unused = (0..drawn.x.len()).filter(|i| drawn.used.binary_search(i).is_err());
    let left_out = at(&mut unused);
    let points = at(&mut drawn.used.iter().copied());
    let mut line: Vec<(f64, f64)> = drawn
        .used
        .iter()
        .zip(&drawn.fitted)
        .map(|(i, y)| (drawn.x[*i], *y))
        .collect();
    line.sort_by(|a, b| a.0.total_cmp(&b.0));
    let residuals = drawn
        .used
        .iter()
        .zip(&drawn.residuals)
        .map(|(i, y)| (drawn.x[*i], *y))
        .collect();
    Figure {
        title: title.to_owned(),
        panels: vec![
            Panel {
                x: drawn.x_title.clone(),
                y: drawn.y_title.clone(),
                share: 0.7,
                layers: vec![Layer::LeftOut(left_out), Layer::Points(points), Layer::Line(line)],
            },
            Panel {
                x: drawn.x_title.clone(),
                y: "residual".into(),
                share: 0.3,
                layers: vec![Layer::Level(0.0), Layer::Points(residuals)],
            },
        ],
    }
}
