//! Legends: which layers they name, with how many words, and in which columns.

use super::canvas::{LINES, MarkInside, SMALL, SeriesLook, WASH, crossed, has_series, level, looks, mark};
use super::pen::{Anchor, Dot, Pen, Stroke, clean, width_of, wrapped};
use super::{Figure, Layer, Panel};

/// More curves than this in an order are told by their shade, and only some of them are named.
const MOST_NAMED: usize = 8;

/// Many series whose names say that they follow each other, such as the times of scans: the place of each, 0 to 1.
pub(super) struct OrderOfSeries {
    /// Numbers of the series in their order; empty where there is no order or where there are few.
    series: Vec<usize>,
}

impl OrderOfSeries {
    pub(super) fn of(figure: &Figure) -> Self {
        let mut series: Vec<usize> = Vec::new();
        let mut names: Vec<String> = Vec::new();
        for layer in figure.panels.iter().flat_map(|panel| &panel.layers) {
            match layer.series() {
                Some(number) if !layer.name().is_empty() && !layer.shape().is_empty() => {
                    series.push(number);
                    names.push(clean(layer.name()));
                }
                _ => {}
            }
        }
        let mut once = series.clone();
        once.sort_unstable();
        once.dedup();
        if series.len() <= MOST_NAMED || once.len() < series.len() || !are_in_order(&names) {
            series.clear();
        }
        Self { series }
    }

    /// Where a series stands in the order.
    pub(super) fn place(&self, series: usize) -> Option<f64> {
        let place = self.series.iter().position(|own| *own == series)?;
        Some(place as f64 / (self.series.len() - 1) as f64)
    }

    fn is_any(&self) -> bool {
        !self.series.is_empty()
    }
}

/// Whether names differ in one number alone, which only grows or only falls.
fn are_in_order(names: &[String]) -> bool {
    let words: Vec<Vec<&str>> = names
        .iter()
        .map(|name| name.split_whitespace().collect())
        .collect();
    let Some(first) = words.first() else {
        return false;
    };
    if words.iter().any(|other| other.len() != first.len()) {
        return false;
    }
    let mut differing =
        (0..first.len()).filter(|place| words.iter().any(|other| other[*place] != first[*place]));
    let (Some(place), None) = (differing.next(), differing.next()) else {
        return false;
    };
    let numbers: Option<Vec<f64>> = words
        .iter()
        .map(|words| words[place].trim_end_matches(',').parse().ok())
        .collect();
    numbers.is_some_and(|numbers| {
        let pairs = || numbers.windows(2);
        pairs().all(|pair| pair[0] < pair[1]) || pairs().all(|pair| pair[0] > pair[1])
    })
}

/// Names without the beginning that all share, and that beginning: whole parts before a comma, then the folder of files.
fn told_apart(names: &[String]) -> (Vec<String>, String) {
    let own = |shared: usize| -> Vec<String> { names.iter().map(|name| name[shared..].to_owned()).collect() };
    let parts = shared_up_to(names, ", ");
    let rest = own(parts);
    if names.len() < 2 || rest.iter().any(|name| name.trim().is_empty()) {
        return (names.to_vec(), String::new());
    }
    let folder = if rest.iter().all(|name| begins_with_file(name)) {
        shared_up_to(&rest, "/").max(shared_up_to(&rest, "\\"))
    } else {
        0
    };
    let said = names[0][..parts].trim_end_matches([',', ' ']).to_owned();
    (own(parts + folder), said)
}

/// Whether a name begins with that of a file: a unit such as `mmol/L` is no folder.
fn begins_with_file(name: &str) -> bool {
    let end = [", ", ": "].iter().filter_map(|sign| name.find(sign)).min();
    let file = std::path::Path::new(&name[..end.unwrap_or(name.len())]);
    let ending = file.extension().and_then(|ending| ending.to_str());
    ending.is_some_and(|ending| {
        ending.starts_with(|sign: char| sign.is_ascii_alphabetic())
            && ending.chars().all(|sign| sign.is_ascii_alphanumeric())
    })
}

/// How many bytes at the beginning all names share, up to the last `sign` among them.
fn shared_up_to(names: &[String], sign: &str) -> usize {
    let Some((first, others)) = names.split_first() else {
        return 0;
    };
    let same = |other: &String| -> usize {
        let pairs = first.chars().zip(other.chars());
        pairs.take_while(|(a, b)| a == b).map(|(a, _)| a.len_utf8()).sum()
    };
    let shared = others.iter().map(same).min().unwrap_or(0);
    first[..shared].rfind(sign).map_or(0, |at| at + sign.len())
}

/// A layer that a legend names, and how it looks.
#[derive(Clone, Copy)]
pub(super) struct NamedLayer<'a> {
    layer: &'a Layer,
    look: SeriesLook,
    /// Whether the points of a series have a line, which stands in the legend behind their mark.
    with_line: bool,
}

/// A name of a legend: the lines it takes, and what it stands for.
struct LegendEntry<'a> {
    of: NamedLayer<'a>,
    lines: Vec<String>,
}

/// A legend: the names of layers, in rows.
pub(super) struct Legend<'a> {
    /// What holds of all entries, above them.
    heading: Vec<String>,
    entries: Vec<LegendEntry<'a>>,
    /// How many layers are not named for want of room.
    unnamed: usize,
    /// Columns, and how wide one is.
    columns: usize,
    width: f64,
    /// Size of the letters.
    size: f64,
}

impl<'a> Legend<'a> {
    /// From the middle of one line to that of the next.
    pub(super) const ROW: f64 = 36.0;
    /// Room for the piece that stands before a name.
    const SAMPLE: f64 = 72.0;
    /// Most lines of a name.
    const LINES: usize = 4;
    /// Above so many names they stand in columns.
    const MANY: usize = 6;
    /// Most columns.
    const COLUMNS: usize = 5;

    /// The names of layers below each other, under what all of them share and the title does not say.
    pub(super) fn below_each_other(layers: Vec<NamedLayer<'a>>, title: &str, room: f64) -> Self {
        let all: Vec<String> = layers.iter().map(|of| clean(of.layer.name())).collect();
        let (names, shared) = told_apart(&all);
        let mut legend = Self::with_names(layers, &names, (room, SMALL), 1);
        legend.heading = heading_of(&shared, title, room);
        legend
    }

    fn with_names(
        layers: Vec<NamedLayer<'a>>,
        names: &[String],
        (room, size): (f64, f64),
        columns: usize,
    ) -> Self {
        let longest = names.iter().map(|name| width_of(name, size)).fold(0.0, f64::max);
        let needed = longest + Self::SAMPLE + SMALL;
        let columns = (1..=columns.max(1))
            .rev()
            .find(|columns| needed <= room / *columns as f64)
            .unwrap_or(1);
        let width = room / columns as f64;
        let entries = layers
            .into_iter()
            .zip(names)
            .map(|(of, name)| LegendEntry {
                of,
                lines: wrapped(name, size, width - Self::SAMPLE - SMALL, Self::LINES),
            })
            .collect();
        Self {
            heading: Vec::new(),
            entries,
            unnamed: 0,
            columns,
            width,
            size,
        }
    }

    /// The names that stand between the title and the panels: of series, and of the panels `covered`. It is no taller than `plot`.
    pub(super) fn of_series(
        figure: &'a Figure,
        order: &OrderOfSeries,
        (room, plot): (f64, f64),
        covered: &[usize],
    ) -> Self {
        let panels = figure.panels.iter().enumerate();
        let layers: Vec<NamedLayer<'a>> = panels
            .filter(|(number, panel)| has_series(panel) || covered.contains(number))
            .flat_map(|(_, panel)| named(panel, order))
            .collect();
        let all: Vec<String> = layers.iter().map(|of| clean(of.layer.name())).collect();
        let (names, shared) = told_apart(&all);
        let mut heading = heading_of(&shared, &figure.title, room);
        let mut legend = if order.is_any() {
            heading.push(format!("{} curves in order, from light to dark", names.len()));
            let shown = some_of(names.len());
            let layers = shown.iter().map(|place| layers[*place]).collect();
            let names: Vec<String> = shown.iter().map(|place| names[*place].clone()).collect();
            Self::with_names(layers, &names, (room, SMALL), Self::COLUMNS)
        } else {
            Self::of_all(&layers, &names, (room, plot - Self::ROW * heading.len() as f64))
        };
        legend.heading = heading;
        legend
    }

    /// Every layer with its name, as far as the height allows: in smaller letters, and then without the numbers that stand behind the
    /// names. A number is never cut.
    fn of_all(layers: &[NamedLayer<'a>], names: &[String], (room, plot): (f64, f64)) -> Self {
        let usual = if layers.len() > Self::MANY { 2 } else { 1 };
        let mut short: Vec<String> = names
            .iter()
            .map(|name| name.split(": ").next().unwrap_or(name).to_owned())
            .collect();
        let mut once = short.clone();
        once.sort_unstable();
        once.dedup();
        if once.len() < names.len() {
            short = names.to_vec();
        }
        let smaller = 0.85 * SMALL;
        for (names, size, columns) in [
            (names, SMALL, usual),
            (names, smaller, usual),
            (short.as_slice(), SMALL, Self::COLUMNS),
            (short.as_slice(), smaller, Self::COLUMNS),
        ] {
            let legend = Self::with_names(layers.to_vec(), names, (room, size), columns);
            if legend.height() <= plot {
                return legend;
            }
        }
        let mut legend = Self::with_names(layers.to_vec(), &short, (room, smaller), Self::COLUMNS);
        while legend.height() > plot && legend.entries.len() > 1 {
            legend.entries.pop();
            legend.unnamed += 1;
        }
        legend
    }

    /// How high each row is, in lines.
    fn rows(&self) -> Vec<usize> {
        self.entries
            .chunks(self.columns)
            .map(|row| row.iter().map(|entry| entry.lines.len()).max().unwrap_or(1))
            .collect()
    }

    pub(super) fn height(&self) -> f64 {
        let lines = self.heading.len() + self.rows().iter().sum::<usize>() + usize::from(self.unnamed > 0);
        Self::ROW * lines as f64
    }

    /// The same with room below it, where it stands by itself.
    pub(super) fn room(&self) -> f64 {
        if self.entries.is_empty() {
            0.0
        } else {
            self.height() + Self::ROW / 3.0
        }
    }

    /// How wide it is where names stand below each other.
    pub(super) fn needed(&self) -> f64 {
        let widest = |lines: &mut dyn Iterator<Item = &String>, size: f64| {
            lines.map(|line| width_of(line, size)).fold(0.0, f64::max)
        };
        let mut names = self.entries.iter().flat_map(|entry| &entry.lines);
        let names = Self::SAMPLE + widest(&mut names, self.size);
        names.max(widest(&mut self.heading.iter(), SMALL))
    }

    pub(super) fn draw(&self, pen: &mut Pen, (left, top): Dot) {
        let mut above = top;
        for line in &self.heading {
            pen.text(line, (left, above + Self::ROW / 2.0), SMALL, Anchor::Start);
            above += Self::ROW;
        }
        for (row, high) in self.entries.chunks(self.columns).zip(self.rows()) {
            for (place, entry) in row.iter().enumerate() {
                let left = left + self.width * place as f64;
                sample(pen, entry.of, (left, above + Self::ROW / 2.0));
                for (line, text) in entry.lines.iter().enumerate() {
                    let middle = above + Self::ROW * (line as f64 + 0.5);
                    pen.text(text, (left + Self::SAMPLE, middle), self.size, Anchor::Start);
                }
            }
            above += Self::ROW * high as f64;
        }
        if self.unnamed > 0 {
            let words = format!("and {} more, not named here", self.unnamed);
            let at = (left + Self::SAMPLE, above + Self::ROW / 2.0);
            pen.text(&words, at, self.size, Anchor::Start);
        }
    }
}

/// What all names share, in lines, unless the title says it.
fn heading_of(shared: &str, title: &str, room: f64) -> Vec<String> {
    if shared.is_empty() || clean(title).contains(shared) {
        Vec::new()
    } else {
        wrapped(shared, SMALL, room, 2)
    }
}

/// The first, the last and three between of so many.
fn some_of(count: usize) -> Vec<usize> {
    let last = count.saturating_sub(1);
    let mut all: Vec<usize> = (0..=4).map(|part| (part * last + 2) / 4).collect();
    all.dedup();
    all
}

/// The layers of a panel that a legend names.
pub(super) fn named<'a>(panel: &'a Panel, order: &OrderOfSeries) -> Vec<NamedLayer<'a>> {
    let has_line = |series: Option<usize>| {
        let mut lines = panel.layers.iter().filter(|layer| layer.series() == series);
        series.is_some() && lines.any(|layer| matches!(layer.shape(), Layer::Line(all) if !all.is_empty()))
    };
    let layers = panel.layers.iter().zip(looks(panel, order));
    layers
        .filter(|(layer, _)| !layer.name().is_empty() && !layer.shape().is_empty())
        .map(|(layer, look)| NamedLayer {
            layer,
            look,
            with_line: matches!(layer.shape(), Layer::Points(_)) && has_line(layer.series()),
        })
        .collect()
}

/// A small piece of a layer, for a legend.
fn sample(pen: &mut Pen, of: NamedLayer<'_>, (left, middle): Dot) {
    let NamedLayer {
        layer,
        look,
        with_line,
    } = of;
    let (from, to) = (left, left + 56.0);
    let centre = (left + 28.0, middle);
    if with_line {
        pen.line(&[(from, middle), (to, middle)], look.stroke(4.0));
    }
    match layer.shape() {
        Layer::Points(_) => mark(pen, centre, look, MarkInside::White),
        Layer::LeftOut(_) => crossed(pen, centre),
        Layer::Line(_) => pen.line(&[(from, middle), (to, middle)], look.stroke(4.0)),
        Layer::Level(_) => pen.line(&[(from, middle), (to, middle)], level()),
        Layer::Bars(_) | Layer::Slants(_) => pen.line(
            &[(centre.0, middle - 12.0), (centre.0, middle + 12.0)],
            Stroke::whole(look.colour, 2.0),
        ),
        Layer::Band(_) => pen.filled((from, middle - 12.0), (to, middle + 12.0), look.wash()),
        Layer::Window(..) => pen.filled((from, middle - 12.0), (to, middle + 12.0), WASH),
        Layer::Marks(_) => {
            let (x, y) = centre;
            pen.area(&[(x, y + 9.0), (x - 9.0, y - 9.0), (x + 9.0, y - 9.0)], LINES[0]);
        }
        Layer::Named(..) | Layer::Series(..) => {}
    }
}

#[cfg(test)]
mod tests {
    use curvary_analysis::study::PlotData;

    use super::*;
    use crate::figure::{FigureKind, Size, of_runs};

    fn svg(figure: &Figure, size: Size) -> String {
        String::from_utf8(figure.bytes(FigureKind::Svg, size).expect("drawn")).expect("text")
    }

    fn texts(svg: &str) -> Vec<String> {
        let document = roxmltree::Document::parse(svg).expect("well-formed XML");
        let all = document.descendants().filter(|node| node.has_tag_name("text"));
        all.filter_map(|node| node.text())
            .map(|text| text.trim().to_owned())
            .collect()
    }

    /// Numbers of an attribute that holds places.
    fn dots(node: roxmltree::Node<'_, '_>) -> Vec<(f64, f64)> {
        let number = |text: &str| text.parse::<f64>().expect("a number");
        node.attribute("points")
            .unwrap_or_default()
            .split(' ')
            .filter_map(|pair| pair.split_once(','))
            .map(|(x, y)| (number(x), number(y)))
            .collect()
    }

    /// Left, top, width and height of the rectangles with an outline of this colour.
    fn outlined(svg: &str, colour: &str) -> Vec<[f64; 4]> {
        let document = roxmltree::Document::parse(svg).expect("well-formed XML");
        let all = document.descendants();
        all.filter(|node| node.has_tag_name("rect") && node.attribute("stroke") == Some(colour))
            .map(|node| {
                ["x", "y", "width", "height"].map(|name| {
                    node.attribute(name)
                        .and_then(|text| text.parse().ok())
                        .expect("a number")
                })
            })
            .collect()
    }

    fn one_panel(title: &str, layers: Vec<Layer>) -> Figure {
        Figure {
            title: title.into(),
            doses: false,
            panels: vec![Panel {
                x: "wavelength / nm".into(),
                y: "absorbance / AU".into(),
                share: 1.0,
                layers,
            }],
        }
    }

    fn scans(count: usize) -> Figure {
        let scan = |i: usize| {
            let points = (0..=50).map(|j| (350.0 + 5.0 * f64::from(j), (1 + i) as f64 * f64::from(j)));
            Layer::Points(points.collect())
                .of_series(i)
                .named(format!("data/scans/a.csv, {} s", 150 * i))
        };
        one_panel("data/scans/a.csv", (0..count).map(scan).collect())
    }

    #[test]
    fn many_scans_have_a_short_legend_and_go_from_light_to_dark() {
        for size in [Size::Screen, Size::Single, Size::Double] {
            let drawn = svg(&scans(21), size);
            let texts = texts(&drawn);
            let with_path = texts.iter().filter(|text| text.contains("a.csv")).count();
            assert!(with_path <= 1, "the path stands in the title alone: {texts:?}");
            let entries: Vec<&String> = texts.iter().filter(|text| text.ends_with(" s")).collect();
            assert!((3..=MOST_NAMED).contains(&entries.len()), "{entries:?}");
            assert_eq!(
                (entries[0].as_str(), entries.last().expect("some").as_str()),
                ("0 s", "3000 s")
            );
            let [_, top, _, height] = outlined(&drawn, "#000000")[0];
            assert!(
                top < height,
                "the legend is no taller than the plot: {top} over {height}"
            );
        }
    }

    #[test]
    fn shades_of_an_order_fall() {
        let figure = scans(21);
        let order = OrderOfSeries::of(&figure);
        let light: Vec<f64> = looks(&figure.panels[0], &order)
            .into_iter()
            .map(|look| {
                let part = f64::from;
                0.2126 * part(look.colour.0) + 0.7152 * part(look.colour.1) + 0.0722 * part(look.colour.2)
            })
            .collect();
        // The luminance of Rec. ITU-R BT.709.
        assert_eq!(light.len(), 21);
        assert!(light.windows(2).all(|pair| pair[0] > pair[1] + 5.0), "{light:?}");
        // Few are told apart by colour and mark, and files in no order too.
        assert!(!OrderOfSeries::of(&scans(8)).is_any());
    }

    #[test]
    fn what_all_names_share_is_left_out() {
        let own = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
            told_apart(&names)
        };
        assert_eq!(
            own(&["a/b c/d1.csv: k 0.1 s⁻¹", "a/b c/d2.csv: k 0.2 s⁻¹"]).0,
            ["d1.csv: k 0.1 s⁻¹", "d2.csv: k 0.2 s⁻¹"]
        );
        assert_eq!(
            own(&["buffer, 25 °C, 0 s", "buffer, 25 °C, 60 s"]),
            (vec!["0 s".to_owned(), "60 s".into()], "buffer, 25 °C".into())
        );
        // Units are no folders, and one name is whole.
        for whole in [
            vec!["1 mmol/L", "1 mmol/kg"],
            vec!["I = 0.5 mmol/L", "I = 0.5 mmol/kg"],
            vec!["a/b.csv, 0 s"],
        ] {
            assert_eq!(own(&whole).0, whole);
        }
    }

    fn runs(count: usize) -> Figure {
        let sets: Vec<(String, PlotData)> = (0..count)
            .map(|i| {
                let x: Vec<f64> = (0..=60).map(|j| 30.0 * f64::from(j)).collect();
                let y: Vec<f64> = x.iter().map(|x| (-0.001 * (1 + i) as f64 * x).exp()).collect();
                let drawn = PlotData {
                    x_title: "time / s".into(),
                    y_title: "absorbance / AU".into(),
                    used: (0..x.len()).collect(),
                    fitted: y.clone(),
                    residuals: vec![0.0; x.len()],
                    x,
                    y,
                    ..PlotData::default()
                };
                (
                    format!("folder/run {}.csv: k 0.00{} ± 0.0001 s⁻¹", i % 3 * 7 + i, i + 1),
                    drawn,
                )
            })
            .collect();
        of_runs("runs together", &sets)
    }

    /// White under a line or inside a mark hides the other runs.
    #[test]
    fn no_run_erases_another() {
        let white = |count: usize| -> Vec<bool> {
            let drawn = svg(&runs(count), Size::Screen);
            let [_, top, ..] = outlined(&drawn, "#000000")[0];
            let document = roxmltree::Document::parse(&drawn).expect("well-formed XML");
            let lines = document
                .descendants()
                .filter(|node| node.has_tag_name("polyline"));
            let long = lines.filter(|node| dots(*node).len() > 50 && dots(*node)[0].1 > top);
            long.map(|node| node.attribute("stroke") == Some("#FFFFFF"))
                .collect()
        };
        assert_eq!(white(3), [true, true, true, false, false, false]);
        assert_eq!(white(9), [false; 9]);
        let drawn = svg(&runs(9), Size::Screen);
        let white_discs = drawn
            .lines()
            .filter(|line| line.starts_with("<circle") && line.contains("fill=\"#FFFFFF\""))
            .count();
        assert!(white_discs <= 9, "in the legend alone: {white_discs}");
    }

    /// Runs in no order are all named as far as there is room, and a number is never cut.
    #[test]
    fn a_legend_is_never_taller_than_the_plot() {
        for count in [9, 20, 28] {
            for size in [Size::Screen, Size::Single, Size::Double] {
                let drawn = svg(&runs(count), size);
                let frames = outlined(&drawn, "#000000");
                let plot: f64 = frames.iter().map(|frame| frame[3]).sum();
                assert!(frames[0][1] - 90.0 <= plot, "{count}: {frames:?}");
                let texts = texts(&drawn);
                assert!(
                    !texts
                        .iter()
                        .any(|text| text.contains('…') || text.contains("folder/"))
                );
                assert!(texts.iter().filter(|text| text.contains("run ")).count() >= count.min(9));
            }
        }
    }

    #[test]
    fn a_legend_covers_no_curve() {
        // A step whose points are few: only the line runs where the upper left corner would be free of points.
        let line: Vec<(f64, f64)> = (0..=100)
            .map(|i| f64::from(i) / 100.0)
            .map(|x| (x, 1.0 / (1.0 + (-40.0 * (x - 0.3)).exp())))
            .collect();
        let few = vec![(0.0, 0.0), (0.1, 0.0), (0.9, 1.0), (1.0, 1.0)];
        let figure = one_panel(
            "step",
            vec![
                Layer::Points(few),
                Layer::Line(line).named("a law with a rather long name"),
            ],
        );
        for size in [Size::Screen, Size::Single, Size::Double] {
            let drawn = svg(&figure, size);
            let boxes = outlined(&drawn, "#787878");
            let document = roxmltree::Document::parse(&drawn).expect("well-formed XML");
            let curve = document
                .descendants()
                .filter(|node| node.attribute("stroke-width") == Some("4") && dots(*node).len() > 50)
                .flat_map(dots);
            for (x, y) in curve {
                for [left, top, width, height] in &boxes {
                    let inside = (*left..=left + width).contains(&x) && (*top..=top + height).contains(&y);
                    assert!(!inside, "{size:?}: {x} {y} in {boxes:?}");
                }
            }
        }
    }

    /// With curves everywhere the legend stands above the panel, which is as large as before.
    #[test]
    fn a_legend_without_a_free_place_stands_above_the_plot() {
        let wave: Vec<(f64, f64)> = (0..=200)
            .map(|i| (f64::from(i), if i % 2 == 0 { 0.0 } else { 1.0 }))
            .collect();
        let both = |second: Vec<(f64, f64)>| {
            one_panel(
                "waves",
                vec![
                    Layer::Line(wave.clone()).named("one"),
                    Layer::Line(second).named("two"),
                ],
            )
        };
        let drawn = svg(&both(wave.clone()), Size::Single);
        assert!(outlined(&drawn, "#787878").is_empty(), "no box inside the panel");
        let alone = outlined(&svg(&both(Vec::new()), Size::Single), "#000000")[0];
        let frame = outlined(&drawn, "#000000")[0];
        assert_eq!((frame[2], frame[3]), (alone[2], alone[3]));
        let texts = texts(&drawn);
        assert!(
            ["one", "two"]
                .iter()
                .all(|name| texts.iter().any(|text| text == name))
        );
        assert!(frame[1] > alone[1] + 2.0 * Legend::ROW);
    }
}
