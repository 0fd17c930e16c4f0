//! Pictures of results: data, fit and residuals, as SVG or PNG.
//!
//! The layout is our own and plain. Every series is told by its colour *and* by its mark
//! or line. The colours are those of Okabe and Ito, Color Universal Design (2008), made to be told apart by people with
//! any kind of colour vision. One font comes with the program, so that a machine without fonts draws the same picture.

mod canvas;
mod dots;
mod legend;
mod pen;
mod scale;

use std::path::Path;

use clap::ValueEnum;
use curvary_analysis::study::{PlotData, TraceResult};
use curvary_record::Trace;

use crate::ending::Failure;
use canvas::PictureSheet;

/// Kind of picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FigureKind {
    /// Lines and letters, to be scaled
    Svg,
    /// Dots
    Png,
}

impl FigureKind {
    /// The ending of its files' names.
    pub(crate) fn ending(self) -> &'static str {
        match self {
            Self::Svg => "svg",
            Self::Png => "png",
        }
    }
}

/// Size of a picture: for a screen, or for a paper, where a tenth of a millimetre is one dot and letters have 8 points.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Size {
    /// For a screen, with a title
    #[default]
    Screen,
    /// One column of a paper, 85 mm wide
    Single,
    /// Two columns of a paper, 175 mm wide
    Double,
}

impl Size {
    fn sheet(self) -> PictureSheet {
        let (width, height) = match self {
            Self::Screen => (1600.0, 1200.0),
            Self::Single => (850.0, 750.0),
            Self::Double => (1750.0, 1000.0),
        };
        PictureSheet {
            width,
            height,
            titled: self == Self::Screen,
        }
    }

    /// A length in dots as it is printed: a tenth of a millimetre each on paper.
    fn printed(self, dots: f64) -> String {
        match self {
            Self::Screen => format!("{dots}"),
            Self::Single | Self::Double => format!("{}mm", dots / 10.0),
        }
    }

    /// Dots of a PNG for each dot of the drawing: 600 an inch on paper.
    fn grain(self) -> f32 {
        match self {
            Self::Screen => 1.0,
            Self::Single | Self::Double => 600.0 / 254.0,
        }
    }
}

/// A picture: panels under each other with one running axis.
pub(crate) struct Figure {
    /// What stands above it.
    pub(crate) title: String,
    /// From top to bottom.
    pub(crate) panels: Vec<Panel>,
    /// Whether x is of doses: an axis of a decade and a half or more is logarithmic then.
    pub(crate) doses: bool,
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
#[derive(Clone)]
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
    /// Error bars: x, low and high.
    Bars(Vec<(f64, f64, f64)>),
    /// Errors along x and y at once: both ends of each.
    Slants(Vec<((f64, f64), (f64, f64))>),
    /// A stretch of y along a curve: x, low and high.
    Band(Vec<(f64, f64, f64)>),
    /// A layer that the legend calls otherwise than its kind.
    Named(String, Box<Self>),
    /// A layer of a series: everything of one series has one colour.
    Series(usize, Box<Self>),
}

/// The points of a curve for a line that is interrupted where its source had points without a number: nothing is known there,
/// and a straight line would look like a measurement.
pub(crate) fn interrupted(trace: &Trace, points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let mut steps: Vec<f64> = points
        .windows(2)
        .map(|pair| (pair[1].0 - pair[0].0).abs())
        .collect();
    if trace.absent == 0 || steps.is_empty() {
        return points;
    }
    steps.sort_by(f64::total_cmp);
    // Where one point is missing the step is twice the others.
    let most = steps[steps.len() / 2] * 1.9;
    let mut all = Vec::with_capacity(points.len());
    for (place, &(x, y)) in points.iter().enumerate() {
        if let Some((before, _)) = place.checked_sub(1).and_then(|place| points.get(place))
            && (x - before).abs() > most
        {
            all.push((f64::midpoint(x, *before), f64::NAN));
        }
        all.push((x, y));
    }
    all
}

impl Layer {
    /// The layer under a name of its own in the legend.
    pub(crate) fn named(self, name: impl Into<String>) -> Self {
        Self::Named(name.into(), Box::new(self))
    }

    /// The layer as part of a series.
    pub(crate) fn of_series(self, number: usize) -> Self {
        Self::Series(number, Box::new(self))
    }

    fn series(&self) -> Option<usize> {
        match self {
            Self::Series(number, _) => Some(*number),
            Self::Named(_, layer) => layer.series(),
            _ => None,
        }
    }

    pub(crate) fn name(&self) -> &str {
        match self {
            Self::Series(_, layer) => layer.name(),
            Self::Bars(_) | Self::Slants(_) | Self::Band(_) => "",
            Self::Points(_) => "measured",
            Self::LeftOut(_) => "left out",
            Self::Line(_) => "computed",
            Self::Level(_) => "",
            Self::Window(..) => "stretch used",
            Self::Marks(_) => "found",
            Self::Named(name, _) => name,
        }
    }

    /// The layer without its name.
    fn shape(&self) -> &Self {
        match self {
            Self::Named(_, layer) | Self::Series(_, layer) => layer.shape(),
            layer => layer,
        }
    }
}

impl Figure {
    /// Writes the picture.
    pub(crate) fn write(&self, path: &Path, kind: FigureKind, size: Size) -> Result<(), Failure> {
        let bytes = self.bytes(kind, size)?;
        crate::output::may_be_written(path, crate::output::ExistingFile::Replaced)
            .and_then(|()| std::fs::write(path, bytes))
            .map_err(|error| Failure::file("write", path, &error))
    }

    pub(crate) fn bytes(&self, kind: FigureKind, size: Size) -> Result<Vec<u8>, Failure> {
        match kind {
            FigureKind::Svg => Ok(self.draw(size.sheet(), |dots| size.printed(dots)).into_bytes()),
            FigureKind::Png => dots::png_of(&self.draw(size.sheet(), |dots| format!("{dots}")), size.grain())
                .map_err(undrawn),
        }
    }
}

/// A drawing of ours as lines, areas and outlines of letters.
pub(crate) fn drawing(svg: &str) -> Result<resvg::usvg::Tree, Failure> {
    dots::tree_of(svg).map_err(undrawn)
}

fn undrawn(why: dots::DotsError) -> Failure {
    Failure::file("draw", Path::new("the picture"), &std::io::Error::other(why))
}

/// The title of the residuals of what has this title: they are in its unit.
fn residual_of(y: &str) -> String {
    match y.rsplit_once(" / ") {
        // A logarithm has the unit of its argument within, and none of its own.
        Some((_, unit)) if !y.contains('(') => format!("residual / {unit}"),
        _ => "residual".to_owned(),
    }
}

/// Several runs over each other: points and curve of each in one colour, residuals below.
pub(crate) fn of_runs(title: &str, sets: &[(String, PlotData)]) -> Figure {
    let (mut above, mut below) = (Vec::new(), vec![Layer::Level(0.0)]);
    for (number, (name, drawn)) in sets.iter().enumerate() {
        let points = drawn.used.iter().map(|i| (drawn.x[*i], drawn.y[*i])).collect();
        above.push(Layer::Points(points).of_series(number).named(name));
        above.push(Layer::Bars(drawn.bars.clone()).of_series(number));
        let line = match &drawn.curve {
            Some(curve) => curve.clone(),
            None => drawn
                .used
                .iter()
                .zip(&drawn.fitted)
                .map(|(i, y)| (drawn.x[*i], *y))
                .collect(),
        };
        above.push(Layer::Line(line).of_series(number).named(""));
        let residuals = drawn
            .used
            .iter()
            .zip(&drawn.residuals)
            .map(|(i, y)| (drawn.x[*i], *y))
            .collect();
        below.push(Layer::Points(residuals).of_series(number).named(""));
    }
    let (x, y) = sets
        .first()
        .map(|(_, drawn)| (drawn.x_title.clone(), drawn.y_title.clone()))
        .unwrap_or_default();
    Figure {
        title: title.to_owned(),
        doses: sets.iter().any(|(_, drawn)| drawn.doses),
        panels: vec![
            Panel {
                x: x.clone(),
                y: y.clone(),
                share: 0.7,
                layers: above,
            },
            Panel {
                x,
                y: residual_of(&y),
                share: 0.3,
                layers: below,
            },
        ],
    }
}

/// The picture of a law of two variables: the points of each level of the second with their curve, residuals below.
fn of_levels(title: &str, drawn: &PlotData) -> Figure {
    let (mut above, mut below) = (Vec::new(), vec![Layer::Level(0.0)]);
    for (number, level) in drawn.levels.iter().enumerate() {
        let used = || {
            level
                .points
                .iter()
                .filter_map(|place| Some((place, *drawn.used.get(*place)?)))
        };
        let points = used().map(|(_, i)| (drawn.x[i], drawn.y[i])).collect();
        above.push(Layer::Points(points).of_series(number).named(&level.name));
        let bars = drawn
            .bars
            .iter()
            .enumerate()
            .filter(|(place, _)| level.points.contains(place));
        above.push(Layer::Bars(bars.map(|(_, bar)| *bar).collect()).of_series(number));
        above.push(Layer::Line(level.curve.clone()).of_series(number).named(""));
        let residuals = used()
            .filter_map(|(place, i)| Some((drawn.x[i], *drawn.residuals.get(*place)?)))
            .collect();
        below.push(Layer::Points(residuals).of_series(number).named(""));
    }
    Figure {
        title: title.to_owned(),
        doses: false,
        panels: vec![
            Panel {
                x: drawn.x_title.clone(),
                y: drawn.y_title.clone(),
                share: 0.7,
                layers: above,
            },
            Panel {
                x: drawn.x_title.clone(),
                y: residual_of(&drawn.y_title),
                share: 0.3,
                layers: below,
            },
        ],
    }
}

/// The picture of a fit: every point and the curve above, the residuals below.
pub(crate) fn of_fit(title: &str, found: &TraceResult) -> Figure {
    let drawn = &found.drawn;
    if !drawn.levels.is_empty() {
        return of_levels(title, drawn);
    }
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
    if let Some(curve) = &drawn.curve {
        line.clone_from(curve);
    }
    let residuals = drawn
        .used
        .iter()
        .zip(&drawn.residuals)
        .map(|(i, y)| (drawn.x[*i], *y))
        .collect();
    let band: Vec<(f64, f64, f64)> = drawn
        .band
        .iter()
        .map(|along| (along.x, along.curve.0, along.curve.1))
        .collect();
    let interval = drawn.band_level.map_or_else(
        || "its interval".to_owned(),
        |level| format!("its interval, {} %", (1000.0 * level).round() / 10.0),
    );
    let errors = drawn
        .bars_label
        .as_ref()
        .map_or_else(|| "one standard error".to_owned(), |label| format!("± {label}"));
    Figure {
        title: title.to_owned(),
        doses: drawn.doses,
        panels: vec![
            Panel {
                x: drawn.x_title.clone(),
                y: drawn.y_title.clone(),
                share: 0.7,
                layers: vec![
                    Layer::Band(band).named(&interval),
                    Layer::LeftOut(left_out),
                    Layer::Points(points),
                    Layer::Bars(drawn.bars.clone()).named(errors),
                    Layer::Line(line).named("fit"),
                    Layer::Marks(drawn.marks.clone()).named(""),
                ],
            },
            Panel {
                x: drawn.x_title.clone(),
                y: residual_of(&drawn.y_title),
                share: 0.3,
                layers: vec![Layer::Level(0.0), Layer::Points(residuals)],
            },
        ],
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::scale::AxisScale;
    use super::*;

    #[test]
    fn a_line_ends_where_points_are_absent() {
        use curvary_record::{Column, Quantity, Unit};
        let xs = [400.0, 410.0, 420.0, 450.0, 460.0];
        let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, xs.to_vec());
        let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.5; 5]);
        let mut trace = Trace::new(x, y).expect("one length");
        let points: Vec<(f64, f64)> = xs.iter().map(|x| (*x, 0.5)).collect();
        assert_eq!(interrupted(&trace, points.clone()), points);
        trace.absent = 2;
        let all = interrupted(&trace, points);
        assert_eq!(all.len(), 6);
        assert!(all[3].1.is_nan() && (all[3].0 - 435.0).abs() < 1e-9);
    }

    fn figure(points: &[(f64, f64)]) -> Figure {
        let marks = points
            .iter()
            .map(|(x, y)| (*x, *y, "a < b & \"c\"".to_owned()))
            .collect();
        Figure {
            title: "run <1> & others \u{7}".into(),
            doses: false,
            panels: vec![
                Panel {
                    x: "wavelength / nm".into(),
                    y: "absorbance".into(),
                    share: 0.7,
                    layers: vec![
                        Layer::Window(0.0, 1.0),
                        Layer::LeftOut(points.to_vec()),
                        Layer::Points(points.to_vec()),
                        Layer::Points(points.to_vec()).named("measured again"),
                        Layer::Line(points.to_vec()).named("fit"),
                        Layer::Line(points.to_vec()).named("fit again"),
                        Layer::Marks(marks).named("peaks"),
                    ],
                },
                Panel {
                    x: "wavelength / nm".into(),
                    y: "residual".into(),
                    share: 0.3,
                    layers: vec![Layer::Level(0.0), Layer::Points(points.to_vec())],
                },
            ],
        }
    }

    fn svg(figure: &Figure) -> String {
        String::from_utf8(figure.bytes(FigureKind::Svg, Size::Screen).expect("drawn")).expect("text")
    }

    /// Well-formed XML 1.0, with what must be read on it as text.
    fn texts(svg: &str) -> Vec<String> {
        let document = roxmltree::Document::parse(svg).expect("well-formed XML");
        document
            .descendants()
            .filter(|node| node.has_tag_name("text"))
            .filter_map(|node| node.text())
            .map(|text| text.trim().to_owned())
            .collect()
    }

    #[test]
    fn an_svg_is_xml_with_titles_units_and_legend() {
        let points: Vec<(f64, f64)> = (0..50)
            .map(|i| (400.0 + f64::from(i), f64::from(i).sin()))
            .collect();
        let drawn = svg(&figure(&points));
        let texts = texts(&drawn);
        for wanted in [
            "run <1> & others",
            "wavelength / nm",
            "absorbance",
            "residual",
            "measured",
            "left out",
            "stretch used",
            "fit again",
            "400",
        ] {
            assert!(texts.iter().any(|text| text == wanted), "{wanted} in {texts:?}");
        }
        assert_eq!(drawn, svg(&figure(&points)), "the same picture every time");
    }

    #[test]
    fn residuals_are_in_the_unit_of_what_was_measured() {
        assert_eq!(residual_of("absorbance / AU"), "residual / AU");
        assert_eq!(residual_of("rate / AU/s"), "residual / AU/s");
        assert_eq!(residual_of("ln(k / s⁻¹)"), "residual");
        assert_eq!(residual_of("pH"), "residual");
    }

    fn levels(count: usize) -> PlotData {
        let x: Vec<f64> = (0..count * 5).map(|i| 1.0 + (i % 5) as f64).collect();
        let y: Vec<f64> = (0..count * 5)
            .map(|i| (1 + i % 5) as f64 / (2 + i / 5) as f64)
            .collect();
        PlotData {
            x_title: "concentration / mmol/L".into(),
            y_title: "rate / µmol/L/s".into(),
            used: (0..x.len()).collect(),
            fitted: y.clone(),
            residuals: vec![0.01; x.len()],
            levels: (0..count)
                .map(|level| curvary_analysis::study::Level {
                    name: format!("I = {level} mmol/L"),
                    points: (level * 5..level * 5 + 5).collect(),
                    curve: (0..=20)
                        .map(|i| (f64::from(i) * 0.25, f64::from(i) * 0.25 / (2 + level) as f64))
                        .collect(),
                })
                .collect(),
            x,
            y,
            ..PlotData::default()
        }
    }

    /// Each level has a curve and points of its own and stands in the legend with its unit; without colours, lines differ by their
    /// dashes and points by their marks.
    #[test]
    fn levels_have_a_curve_each_and_are_told_apart_in_grey() {
        let drawn = svg(&of_levels("inhibition", &levels(4)));
        let texts = texts(&drawn);
        for wanted in [
            "concentration / mmol/L",
            "rate / µmol/L/s",
            "residual / µmol/L/s",
            "I = 0 mmol/L",
            "I = 3 mmol/L",
        ] {
            assert!(texts.iter().any(|text| text == wanted), "{wanted} in {texts:?}");
        }
        let document = roxmltree::Document::parse(&drawn).expect("well-formed XML");
        // Dashes of a line and kind of the marks, by the colour of each series.
        let mut forms = Vec::new();
        for colour in ["#0072B2", "#D55E00", "#009E73", "#000000"] {
            let of_colour = || {
                document
                    .descendants()
                    .filter(move |node| node.is_element() && node.attribute("stroke") == Some(colour))
            };
            let dashes = of_colour()
                .find(|node| node.has_tag_name("polyline") && node.attribute("stroke-width") == Some("4"))
                .map(|node| node.attribute("stroke-dasharray").unwrap_or_default());
            let mark = of_colour()
                .find(|node| node.attribute("stroke-width") == Some("3"))
                .map(|node| {
                    let corners = node.attribute("points").unwrap_or_default();
                    (node.tag_name().name(), corners.split(' ').count())
                });
            assert!(dashes.is_some() && mark.is_some(), "{colour}");
            forms.push((dashes, mark));
        }
        for (i, one) in forms.iter().enumerate() {
            for other in &forms[i + 1..] {
                assert_ne!(one, other, "two series look the same in grey: {forms:?}");
            }
        }
    }

    /// Sizes of a paper are in millimetres, and 600 dots an inch as dots.
    #[test]
    fn paper_sizes_are_what_they_say() {
        let figure = of_levels("inhibition", &levels(2));
        for (size, width, dots) in [
            (Size::Single, "width=\"85mm\"", 2007),
            (Size::Double, "width=\"175mm\"", 4133),
        ] {
            let text = String::from_utf8(figure.bytes(FigureKind::Svg, size).expect("drawn")).expect("text");
            assert!(text.contains(width), "{}", &text[..200]);
            assert!(
                !texts(&text).iter().any(|text| text == "inhibition"),
                "the caption has the title"
            );
            let bytes = figure.bytes(FigureKind::Png, size).expect("drawn");
            let reader = png::Decoder::new(std::io::Cursor::new(bytes))
                .read_info()
                .expect("a PNG");
            assert!(reader.info().width.abs_diff(dots) <= 1, "{}", reader.info().width);
        }
    }

    /// Decoded by the general-purpose library that reads PNG.
    #[test]
    fn a_png_has_its_size_and_is_not_blank() {
        let points: Vec<(f64, f64)> = (0..50).map(|i| (f64::from(i), f64::from(i * i))).collect();
        let bytes = figure(&points)
            .bytes(FigureKind::Png, Size::Screen)
            .expect("drawn");
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("a PNG");
        let mut dots = vec![0; reader.output_buffer_size().expect("a size")];
        let frame = reader.next_frame(&mut dots).expect("a picture");
        assert_eq!((frame.width, frame.height), (1600, 1200));
        let dark = dots
            .chunks(3)
            .filter(|dot| dot.iter().all(|part| *part < 60))
            .count();
        assert!(dark > 5000, "frame and letters are black: {dark}");
    }

    #[test]
    fn a_long_curve_stays_small() {
        let points: Vec<(f64, f64)> = (0..400_000).map(|i| (f64::from(i), f64::from(i % 977))).collect();
        let figure = Figure {
            title: "long".into(),
            doses: false,
            panels: vec![Panel {
                x: "time / s".into(),
                y: "absorbance".into(),
                share: 1.0,
                layers: vec![Layer::Line(points)],
            }],
        };
        assert!(svg(&figure).len() < 200_000);
    }

    fn odd() -> impl Strategy<Value = f64> {
        prop_oneof![
            any::<f64>(),
            Just(0.0),
            Just(1.0),
            Just(1.0 + f64::EPSILON),
            Just(f64::MAX),
            Just(f64::MIN_POSITIVE),
            Just(5e-324),
            Just(f64::NAN),
            Just(f64::INFINITY),
            -10.0..10.0f64,
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn no_range_is_too_odd(points in proptest::collection::vec((odd(), odd()), 0..12)) {
            let drawn = svg(&figure(&points));
            prop_assert!(roxmltree::Document::parse(&drawn).is_ok());
            prop_assert!(drawn.len() < 2_000_000);
        }

        #[test]
        fn scales_are_finite(a in odd(), b in odd()) {
            let scale = AxisScale::of([a, b].into_iter(), true);
            prop_assert!(scale.low.is_finite() && scale.high.is_finite() && scale.low < scale.high);
            prop_assert!(scale.ticks.len() <= 12);
            prop_assert!(scale.ticks.iter().all(|(at, text)| at.is_finite() && text.len() < 24));
        }
    }
}
