//! Frames, axes, lines, marks and legends on a picture.

use std::collections::HashSet;

use super::pen::{Anchor, Colour, Dot, Pen, Stroke, clean, titled, width_of, wrapped};
use super::scale::AxisScale;
use super::{Figure, Layer, Panel};

/// How large a picture is, in dots, and what stands on it.
#[derive(Clone, Copy, Debug)]
pub(super) struct PictureSheet {
    pub(super) width: f64,
    pub(super) height: f64,
    /// Whether the title stands above the panels; a paper has it in the caption.
    pub(super) titled: bool,
}

impl PictureSheet {
    fn right(self) -> f64 {
        self.width - RIGHT
    }

    fn above(self) -> f64 {
        if self.titled { ABOVE } else { RIGHT }
    }
}

/// Room at the left for numbers and the title of y.
const LEFT: f64 = 200.0;
/// Room at the right.
const RIGHT: f64 = 60.0;
/// Room above for the title.
const ABOVE: f64 = 90.0;
/// Room under the last panel for numbers and the title of x.
const BELOW: f64 = 130.0;
/// Room between panels.
const BETWEEN: f64 = 60.0;
/// Letters of numbers along the axes, of legends, and of titles.
const SMALL: f64 = 24.0;
const TITLE: f64 = 26.0;
const HEADING: f64 = 30.0;

const BLACK: Colour = Colour(0, 0, 0);
const GREY: Colour = Colour(120, 120, 120);
const PALE: Colour = Colour(225, 225, 225);
const WHITE: Colour = Colour(255, 255, 255);
/// Sky blue of the palette, mixed with white.
const WASH: Colour = Colour(221, 240, 250);
/// Okabe-Ito colours of lines, the most distinct first.
const LINES: [Colour; 6] = [
    Colour(0xD5, 0x5E, 0x00),
    Colour(0x00, 0x9E, 0x73),
    Colour(0x00, 0x00, 0x00),
    Colour(0xCC, 0x79, 0xA7),
    Colour(0x56, 0xB4, 0xE9),
    Colour(0xE6, 0x9F, 0x00),
];
/// Okabe-Ito colours of series, each for its points and its line; with eight marks and eight dashes, 28 are told apart.
const SERIES: [Colour; 7] = [
    Colour(0x00, 0x72, 0xB2),
    Colour(0xD5, 0x5E, 0x00),
    Colour(0x00, 0x9E, 0x73),
    Colour(0x00, 0x00, 0x00),
    Colour(0xCC, 0x79, 0xA7),
    Colour(0x56, 0xB4, 0xE9),
    Colour(0xE6, 0x9F, 0x00),
];
/// Okabe-Ito colours of points.
const POINTS: [Colour; 4] = [
    Colour(0x00, 0x72, 0xB2),
    Colour(0x00, 0x9E, 0x73),
    Colour(0xE6, 0x9F, 0x00),
    Colour(0x00, 0x00, 0x00),
];
/// Dashes of lines, drawn and left out, in dots; the first is whole.
const DASHES: [&[f64]; 8] = [
    &[],
    &[24.0, 12.0],
    &[6.0, 10.0],
    &[24.0, 8.0, 6.0, 8.0],
    &[48.0, 12.0],
    &[24.0, 8.0, 6.0, 8.0, 6.0, 8.0],
    &[12.0, 24.0],
    &[48.0, 8.0, 12.0, 8.0],
];
/// More points than this of one layer hide what lies under them: side by side they fill the narrowest picture, which has 590 dots
/// between `LEFT` and `RIGHT` of 850, at 19 dots a mark with its outline (twice `R` and 3).
const CROWDED: usize = 30;
/// Names of marks are drawn for the first so many of them.
const MOST_NAMES: usize = 40;

/// `text` in one line, cut to the width that there is room for.
fn fitted(text: &str, size: f64, room: f64) -> String {
    let text = clean(text);
    let text = text.trim();
    if width_of(text, size) <= room {
        return text.to_owned();
    }
    wrapped(text, size, room, 1).swap_remove(0)
}

/// Which dashes a series has. Marks come again after eight series, and dashes do then in another order, so that in grey the pairs of both
/// come again after 64; with the seven colours, both dashes and marks differ over 28.
fn dashes_of(form: usize) -> usize {
    (form + 3 * (form / DASHES.len())) % DASHES.len()
}

/// How a series looks: its colour, and its mark or dashes.
#[derive(Clone, Copy)]
struct SeriesLook {
    colour: Colour,
    form: usize,
}

impl SeriesLook {
    fn of_series(number: usize) -> Self {
        Self {
            colour: SERIES[number % SERIES.len()],
            form: number,
        }
    }

    fn of_points(number: usize) -> Self {
        Self {
            colour: POINTS[number % POINTS.len()],
            form: number,
        }
    }

    fn of_line(number: usize) -> Self {
        Self {
            colour: LINES[number % LINES.len()],
            form: number,
        }
    }

    fn stroke(self, width: f64) -> Stroke {
        Stroke {
            colour: self.colour,
            width,
            dashes: DASHES[dashes_of(self.form)],
        }
    }

    /// The colour mixed with white, for a stretch of y.
    fn wash(self) -> Colour {
        let mix = |part: u8| 255 - (255 - part) / 5;
        Colour(mix(self.colour.0), mix(self.colour.1), mix(self.colour.2))
    }
}

/// The level line.
fn level() -> Stroke {
    Stroke {
        colour: GREY,
        width: 3.0,
        dashes: DASHES[2],
    }
}

/// How each layer of a panel looks.
fn looks(panel: &Panel) -> Vec<SeriesLook> {
    let (mut lines, mut points) = (0, 0);
    panel
        .layers
        .iter()
        .map(|layer| {
            let next = |count: &mut usize| {
                *count += 1;
                *count - 1
            };
            match (layer.series(), layer.shape()) {
                (Some(series), _) => SeriesLook::of_series(series),
                (None, Layer::Points(_)) => SeriesLook::of_points(next(&mut points)),
                (None, Layer::Line(_)) => SeriesLook::of_line(next(&mut lines)),
                (None, Layer::Band(_)) => SeriesLook::of_line(lines),
                (None, Layer::Bars(_)) => SeriesLook::of_points(points),
                (None, _) => SeriesLook::of_points(0),
            }
        })
        .collect()
}

fn has_series(panel: &Panel) -> bool {
    panel.layers.iter().any(|layer| layer.series().is_some())
}

/// A layer that a legend names, and how it looks.
#[derive(Clone, Copy)]
struct NamedLayer<'a> {
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
struct Legend<'a> {
    entries: Vec<LegendEntry<'a>>,
    /// Columns, and how wide one is.
    columns: usize,
    width: f64,
}

impl<'a> Legend<'a> {
    /// From the middle of one line to that of the next.
    const ROW: f64 = 36.0;
    /// Room for the piece that stands before a name.
    const SAMPLE: f64 = 72.0;
    /// Most lines of a name.
    const LINES: usize = 4;
    /// Above so many names they stand in two columns.
    const MANY: usize = 6;

    fn new(layers: Vec<NamedLayer<'a>>, room: f64, may_part: bool) -> Self {
        let longest = layers
            .iter()
            .map(|of| width_of(&clean(of.layer.name()), SMALL))
            .fold(0.0, f64::max);
        let half = room / 2.0;
        let columns = if may_part && layers.len() > Self::MANY && longest + Self::SAMPLE + SMALL <= half {
            2
        } else {
            1
        };
        let width = if columns == 2 { half } else { room };
        let entries = layers
            .into_iter()
            .map(|of| LegendEntry {
                of,
                lines: wrapped(of.layer.name(), SMALL, width - Self::SAMPLE - SMALL, Self::LINES),
            })
            .collect();
        Self {
            entries,
            columns,
            width,
        }
    }

    /// The names of series, which stand between the title and the panels.
    fn of_series(figure: &'a Figure, room: f64) -> Self {
        let layers = figure.panels.iter().filter(|panel| has_series(panel));
        Self::new(layers.flat_map(named).collect(), room, true)
    }

    /// How high each row is, in lines.
    fn rows(&self) -> Vec<usize> {
        self.entries
            .chunks(self.columns)
            .map(|row| row.iter().map(|entry| entry.lines.len()).max().unwrap_or(1))
            .collect()
    }

    fn height(&self) -> f64 {
        Self::ROW * self.rows().iter().sum::<usize>() as f64
    }

    /// The same with room below it, where it stands by itself.
    fn room(&self) -> f64 {
        if self.entries.is_empty() {
            0.0
        } else {
            self.height() + Self::ROW / 3.0
        }
    }

    /// How wide it is where names stand below each other.
    fn needed(&self) -> f64 {
        let longest = self.entries.iter().flat_map(|entry| &entry.lines);
        Self::SAMPLE + longest.map(|line| width_of(line, SMALL)).fold(0.0, f64::max)
    }

    fn draw(&self, pen: &mut Pen, (left, top): Dot) {
        let mut above = top;
        for (row, high) in self.entries.chunks(self.columns).zip(self.rows()) {
            for (place, entry) in row.iter().enumerate() {
                let left = left + self.width * place as f64;
                sample(pen, entry.of, (left, above + Self::ROW / 2.0));
                for (line, text) in entry.lines.iter().enumerate() {
                    let middle = above + Self::ROW * (line as f64 + 0.5);
                    pen.text(text, (left + Self::SAMPLE, middle), SMALL, Anchor::Start);
                }
            }
            above += Self::ROW * high as f64;
        }
    }
}

/// The layers of a panel that a legend names.
fn named(panel: &Panel) -> Vec<NamedLayer<'_>> {
    let has_line = |series: Option<usize>| {
        let mut lines = panel.layers.iter().filter(|layer| layer.series() == series);
        series.is_some() && lines.any(|layer| matches!(layer.shape(), Layer::Line(all) if !all.is_empty()))
    };
    let layers = panel.layers.iter().zip(looks(panel));
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
        Layer::Points(_) => mark(pen, centre, look),
        Layer::LeftOut(_) => crossed(pen, centre),
        Layer::Line(_) => pen.line(&[(from, middle), (to, middle)], look.stroke(4.0)),
        Layer::Level(_) => pen.line(&[(from, middle), (to, middle)], level()),
        Layer::Bars(_) => pen.line(
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

/// Where a panel lies on the picture, and its scales.
struct PanelFrame<'a> {
    x: &'a AxisScale,
    y: AxisScale,
    top: f64,
    bottom: f64,
    right: f64,
}

impl PanelFrame<'_> {
    fn across(&self, x: f64) -> f64 {
        LEFT + self.x.place(x) * (self.right - LEFT)
    }

    fn down(&self, y: f64) -> f64 {
        self.bottom - self.y.place(y) * (self.bottom - self.top)
    }

    fn at(&self, (x, y): (f64, f64)) -> Option<Dot> {
        (self.x.holds(x) && self.y.holds(y)).then(|| (self.across(x), self.down(y)))
    }
}

/// The dot that holds a place.
fn dot_of((x, y): Dot) -> (i64, i64) {
    (x.round() as i64, y.round() as i64)
}

impl Figure {
    /// The picture as SVG; `printed` gives its width and height on paper from those in dots.
    pub(super) fn draw(&self, sheet: PictureSheet, printed: impl Fn(f64) -> String) -> String {
        let all = || self.panels.iter().flat_map(|panel| &panel.layers);
        let doses = self.doses.then(|| {
            let points = all().filter(|layer| matches!(layer.shape(), Layer::Points(_)));
            AxisScale::of_doses(points.flat_map(|layer| layer.shape().xs()))
        });
        let x = doses
            .flatten()
            .unwrap_or_else(|| AxisScale::of(all().flat_map(|layer| layer.shape().xs()), true));
        let legend = Legend::of_series(self, sheet.right() - LEFT);
        // A long legend makes the picture higher, and no panel flatter.
        let height = sheet.height + (legend.height() - 2.0 * Legend::ROW).max(0.0);
        let mut pen = Pen::new(sheet.width, height, (&printed(sheet.width), &printed(height)));
        if sheet.titled {
            let title = fitted(&self.title, HEADING, sheet.width - 80.0);
            pen.text(&title, (sheet.width / 2.0, ABOVE / 2.0), HEADING, Anchor::Middle);
        }
        let shares: f64 = self.panels.iter().map(|panel| panel.share.max(0.0)).sum();
        let gaps = BETWEEN * self.panels.len().saturating_sub(1) as f64;
        let above = sheet.above() + legend.room();
        legend.draw(&mut pen, (LEFT, sheet.above()));
        let room = (height - above - BELOW - gaps).max(100.0);
        let mut top = above;
        for (number, panel) in self.panels.iter().enumerate() {
            let height = room * panel.share.max(0.0) / shares.max(f64::MIN_POSITIVE);
            let frame = PanelFrame {
                x: &x,
                y: AxisScale::of(panel.layers.iter().flat_map(|layer| layer.shape().ys()), true),
                top,
                bottom: top + height,
                right: sheet.right(),
            };
            frame.draw(&mut pen, panel, number + 1 == self.panels.len());
            top = frame.bottom + BETWEEN;
        }
        pen.finish()
    }
}

impl Layer {
    fn xs(&self) -> Vec<f64> {
        match self {
            Self::Points(points) | Self::LeftOut(points) | Self::Line(points) => {
                points.iter().map(|(x, _)| *x).collect()
            }
            Self::Level(_) => Vec::new(),
            Self::Window(from, to) => vec![*from, *to],
            Self::Marks(marks) => marks.iter().map(|(x, _, _)| *x).collect(),
            Self::Bars(all) | Self::Band(all) => all.iter().map(|(x, _, _)| *x).collect(),
            Self::Named(_, layer) | Self::Series(_, layer) => layer.xs(),
        }
    }

    fn ys(&self) -> Vec<f64> {
        match self {
            Self::Points(points) | Self::LeftOut(points) | Self::Line(points) => {
                points.iter().map(|(_, y)| *y).collect()
            }
            Self::Level(level) => vec![*level],
            Self::Window(..) => Vec::new(),
            Self::Marks(marks) => marks.iter().map(|(_, y, _)| *y).collect(),
            Self::Bars(all) | Self::Band(all) => {
                all.iter().flat_map(|(_, low, high)| [*low, *high]).collect()
            }
            Self::Named(_, layer) | Self::Series(_, layer) => layer.ys(),
        }
    }
}

impl PanelFrame<'_> {
    fn draw(&self, pen: &mut Pen, panel: &Panel, last: bool) {
        let looks = looks(panel);
        let layers = || panel.layers.iter().zip(&looks);
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Window(from, to) => self.window(pen, *from, *to),
                Layer::Band(all) => self.band(pen, all, *look),
                _ => {}
            }
        }
        self.axes(pen, panel, last);
        let most = layers().map(|(layer, _)| match layer.shape() {
            Layer::Points(all) => all.len(),
            _ => 0,
        });
        // Many points would hide a line that lies under them; few are whole where they stand over it.
        let crowded = most.max().unwrap_or(0) > CROWDED;
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Points(all) if crowded => self.points(all, |at| mark(pen, at, *look)),
                Layer::LeftOut(all) => self.points(all, |at| crossed(pen, at)),
                Layer::Bars(all) => self.bars(pen, all, *look),
                _ => {}
            }
        }
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Line(all) => self.line(pen, all, *look, crowded),
                Layer::Level(at) if self.y.holds(*at) => {
                    let down = self.down(*at);
                    pen.line(&[(LEFT, down), (self.right, down)], level());
                }
                _ => {}
            }
        }
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Points(all) if !crowded => self.points(all, |at| mark(pen, at, *look)),
                Layer::Marks(all) => self.marks(pen, all),
                _ => {}
            }
        }
        // Series are named above the panels, where nothing is covered.
        let named = named(panel);
        if named.len() > 1 && !has_series(panel) {
            self.legend(pen, named);
        }
    }

    /// A stretch of y along a curve.
    fn band(&self, pen: &mut Pen, all: &[(f64, f64, f64)], look: SeriesLook) {
        let inside = |y: f64| self.down(y.clamp(self.y.low, self.y.high));
        let finite = || {
            all.iter()
                .filter(|(x, low, high)| self.x.holds(*x) && low.is_finite() && high.is_finite())
        };
        // What lies beyond the break is no neighbour.
        let beyond = |x: f64| self.x.gap.is_some() && x <= 0.0;
        for (x, low, high) in finite().filter(|(x, _, _)| beyond(*x)) {
            let at = self.across(*x);
            pen.filled((at - 12.0, inside(*low)), (at + 12.0, inside(*high)), look.wash());
        }
        let seen = || finite().filter(|(x, _, _)| !beyond(*x));
        let mut outline: Vec<Dot> = seen()
            .map(|(x, low, _)| (self.across(*x), inside(*low)))
            .collect();
        let back: Vec<Dot> = seen()
            .map(|(x, _, high)| (self.across(*x), inside(*high)))
            .collect();
        outline.extend(back.into_iter().rev());
        if outline.len() >= 4 {
            pen.area(&outline, look.wash());
        }
    }

    /// Error bars with short ends.
    fn bars(&self, pen: &mut Pen, all: &[(f64, f64, f64)], look: SeriesLook) {
        let mut seen = HashSet::new();
        for (x, low, high) in all {
            if !(self.x.holds(*x) && low.is_finite() && high.is_finite()) {
                continue;
            }
            let inside = |y: &f64| self.down(y.clamp(self.y.low, self.y.high));
            let (across, from, to) = (self.across(*x), inside(low), inside(high));
            if !seen.insert((dot_of((across, from)), dot_of((across, to)))) {
                continue;
            }
            for pair in [
                [(across, from), (across, to)],
                [(across - 6.0, from), (across + 6.0, from)],
                [(across - 6.0, to), (across + 6.0, to)],
            ] {
                pen.line(&pair, Stroke::whole(look.colour, 2.0));
            }
        }
    }

    fn window(&self, pen: &mut Pen, from: f64, to: f64) {
        if from.is_finite() && to.is_finite() {
            let inside = |x: f64| self.across(x.clamp(self.x.low, self.x.high));
            pen.filled((inside(from), self.top), (inside(to), self.bottom), WASH);
        }
    }

    fn axes(&self, pen: &mut Pen, panel: &Panel, last: bool) {
        let right = self.right;
        let short = Stroke::whole(BLACK, 2.0);
        for (value, text) in &self.y.ticks {
            let at = self.down(*value);
            pen.line(&[(LEFT, at), (right, at)], Stroke::whole(PALE, 1.0));
            pen.line(&[(LEFT - 10.0, at), (LEFT, at)], short);
            pen.text(text, (LEFT - 16.0, at), SMALL, Anchor::End);
        }
        // Numbers that would stand in each other are left out.
        let mut free = f64::NEG_INFINITY;
        for (value, text) in &self.x.ticks {
            let at = self.across(*value);
            pen.line(&[(at, self.top), (at, self.bottom)], Stroke::whole(PALE, 1.0));
            pen.line(&[(at, self.bottom), (at, self.bottom + 10.0)], short);
            let half = width_of(text, SMALL) / 2.0;
            if last && at - half > free {
                pen.text(text, (at, self.bottom + 28.0), SMALL, Anchor::Middle);
                free = at + half + SMALL / 2.0;
            }
        }
        pen.framed((LEFT, self.top), (right, self.bottom), BLACK, 2.0);
        if let Some(gap) = self.x.gap {
            let at = LEFT + gap * (right - LEFT);
            for down in [self.top, self.bottom] {
                pen.filled((at - 6.0, down - 3.0), (at + 6.0, down + 3.0), WHITE);
                for side in [-6.0, 6.0] {
                    pen.line(
                        &[(at + side - 4.0, down + 10.0), (at + side + 4.0, down - 10.0)],
                        short,
                    );
                }
            }
        }
        let height = self.bottom - self.top;
        let (lines, size) = titled(&panel.y, TITLE, height + BETWEEN, 2);
        let apart = 32.0 / TITLE * size;
        // Two lines of the usual size fill the room beside the numbers.
        let first = if lines.len() == 1 {
            36.0
        } else {
            22.0 * size / TITLE
        };
        for (line, text) in lines.iter().enumerate() {
            let across = first + apart * line as f64;
            pen.upright(text, (across, self.top + height / 2.0), size);
        }
        if last {
            let words = match (self.x.logarithmic, self.x.gap) {
                (true, Some(_)) => format!("{} (logarithmic; 0 before the break)", panel.x),
                (true, None) => format!("{} (logarithmic)", panel.x),
                (false, _) => panel.x.clone(),
            };
            let lines = wrapped(&words, TITLE, right - LEFT + RIGHT, 2);
            let first = if lines.len() == 1 { 90.0 } else { 74.0 };
            for (line, text) in lines.iter().enumerate() {
                let down = self.bottom + first + 34.0 * line as f64;
                pen.text(text, ((LEFT + right) / 2.0, down), TITLE, Anchor::Middle);
            }
        }
    }

    /// Each dot of the picture is marked once, so that its size is bounded by that of the picture.
    fn points(&self, points: &[(f64, f64)], mut put: impl FnMut(Dot)) {
        let mut seen = HashSet::new();
        for at in points.iter().filter_map(|point| self.at(*point)) {
            if seen.insert(dot_of(at)) {
                put(at);
            }
        }
    }

    fn line(&self, pen: &mut Pen, points: &[(f64, f64)], look: SeriesLook, over_points: bool) {
        let stroke = look.stroke(4.0);
        let mut piece: Vec<Dot> = Vec::new();
        let mut end = |piece: &mut Vec<Dot>| {
            match piece.as_slice() {
                [] => {}
                [at] if self.x.gap.is_some() => pen.line(&[(at.0 - 12.0, at.1), (at.0 + 12.0, at.1)], stroke),
                [at] => pen.disc(*at, 3.0, stroke.colour),
                piece => {
                    let piece = thinned(piece);
                    // Points of the same colour would swallow the line.
                    if over_points && piece.len() < 2000 {
                        pen.line(&piece, Stroke::whole(WHITE, 8.0));
                    }
                    pen.line(&piece, stroke);
                }
            }
            piece.clear();
        };
        for point in points {
            match self.at(*point) {
                Some(at) => {
                    if piece.last() != Some(&at) {
                        piece.push(at);
                    }
                    // What lies beyond the break is no neighbour.
                    if self.x.gap.is_some() && point.0 <= 0.0 {
                        end(&mut piece);
                    }
                }
                // A value that is none is a gap.
                None => end(&mut piece),
            }
        }
        end(&mut piece);
    }

    fn marks(&self, pen: &mut Pen, marks: &[(f64, f64, String)]) {
        for (number, (x, y, name)) in marks.iter().enumerate() {
            let Some((across, down)) = self.at((*x, *y)) else {
                continue;
            };
            pen.area(
                &[
                    (across, down - 6.0),
                    (across - 9.0, down - 24.0),
                    (across + 9.0, down - 24.0),
                ],
                LINES[0],
            );
            if number >= MOST_NAMES {
                continue;
            }
            let name = fitted(name, SMALL, 400.0);
            let half = width_of(&name, SMALL) / 2.0;
            // Above the mark; beside it where there is no room above.
            let above = down - 24.0 - SMALL;
            if above - SMALL / 2.0 > self.top {
                let inside = across.clamp(
                    LEFT + half + 4.0,
                    (self.right - half - 4.0).max(LEFT + half + 4.0),
                );
                pen.text(&name, (inside, above), SMALL, Anchor::Middle);
            } else if across + 18.0 + 2.0 * half < self.right {
                pen.text(&name, (across + 18.0, down - 15.0), SMALL, Anchor::Start);
            } else {
                pen.text(&name, (across - 18.0, down - 15.0), SMALL, Anchor::End);
            }
        }
    }

    /// The legend stands inside the panel, in the corner where it covers the fewest points.
    fn legend(&self, pen: &mut Pen, layers: Vec<NamedLayer<'_>>) {
        // Between the legend and the frame: 1.4 mm on paper.
        const EDGE: f64 = 14.0;
        let places: Vec<Dot> = layers
            .iter()
            .flat_map(|of| of.layer.shape().places())
            .filter_map(|point| self.at(point))
            .collect();
        let legend = Legend::new(layers, (self.right - LEFT) * 0.6, false);
        let (width, height) = (legend.needed() + 2.0 * EDGE, legend.height() + EDGE);
        let corners = [
            (self.right - width - EDGE, self.top + EDGE),
            (LEFT + EDGE, self.top + EDGE),
            (self.right - width - EDGE, self.bottom - height - EDGE),
            (LEFT + EDGE, self.bottom - height - EDGE),
        ];
        let covered = |corner: &Dot| {
            places
                .iter()
                .filter(|(x, y)| {
                    (corner.0..=corner.0 + width).contains(x) && (corner.1..=corner.1 + height).contains(y)
                })
                .count()
        };
        let corner = corners.into_iter().min_by_key(covered).unwrap_or(corners[0]);
        let far = (corner.0 + width, corner.1 + height);
        pen.filled(corner, far, WHITE);
        pen.framed(corner, far, GREY, 1.0);
        legend.draw(pen, (corner.0 + EDGE, corner.1 + EDGE / 2.0));
    }
}

impl Layer {
    fn is_empty(&self) -> bool {
        match self {
            Self::Points(points) | Self::LeftOut(points) | Self::Line(points) => points.is_empty(),
            Self::Marks(marks) => marks.is_empty(),
            Self::Bars(all) | Self::Band(all) => all.is_empty(),
            Self::Named(_, layer) | Self::Series(_, layer) => layer.is_empty(),
            Self::Level(_) | Self::Window(..) => false,
        }
    }

    fn places(&self) -> Vec<(f64, f64)> {
        match self {
            Self::Points(points) | Self::LeftOut(points) | Self::Line(points) => points.clone(),
            Self::Marks(marks) => marks.iter().map(|(x, y, _)| (*x, *y)).collect(),
            Self::Bars(all) | Self::Band(all) => all.iter().map(|(x, low, _)| (*x, *low)).collect(),
            Self::Named(_, layer) | Self::Series(_, layer) => layer.places(),
            Self::Level(_) | Self::Window(..) => Vec::new(),
        }
    }
}

/// A curve of very many points, thinned to what can be seen: the first, lowest, highest and last of each column of dots.
fn thinned(points: &[Dot]) -> Vec<Dot> {
    /// More points than a picture has columns of dots, four times.
    const MANY: usize = 6400;
    if points.len() <= MANY {
        return points.to_vec();
    }
    let mut all = Vec::new();
    for column in points.chunk_by(|a, b| a.0.round() == b.0.round()) {
        let place = |order: &dyn Fn(f64, f64) -> std::cmp::Ordering| {
            (0..column.len())
                .min_by(|i, j| order(column[*i].1, column[*j].1))
                .unwrap_or(0)
        };
        let lowest = place(&|a, b| b.total_cmp(&a));
        let highest = place(&|a, b| a.total_cmp(&b));
        let mut places = [0, lowest, highest, column.len() - 1];
        places.sort_unstable();
        all.extend(places.map(|place| column[place]));
    }
    all.dedup();
    all
}

/// Half the width of a mark: 0.8 mm on paper, as large as a letter of the ticks.
const R: f64 = 8.0;

/// The mark of the points of one series: four shapes, white inside and then filled.
fn mark(pen: &mut Pen, (x, y): Dot, look: SeriesLook) {
    let inside = if (look.form / 4).is_multiple_of(2) {
        WHITE
    } else {
        look.colour
    };
    let corners: &[Dot] = match look.form % 4 {
        0 => {
            pen.disc((x, y), R, inside);
            pen.ring((x, y), R, look.colour, 3.0);
            return;
        }
        1 => &[(x, y - R), (x - R, y + R), (x + R, y + R)],
        2 => &[(x - R, y - R), (x + R, y - R), (x + R, y + R), (x - R, y + R)],
        _ => &[(x, y - R), (x + R, y), (x, y + R), (x - R, y)],
    };
    pen.area(corners, inside);
    let outline: Vec<Dot> = corners.iter().chain(corners.first()).copied().collect();
    pen.line(&outline, Stroke::whole(look.colour, 3.0));
}

/// The mark of a point that was left out.
fn crossed(pen: &mut Pen, (x, y): Dot) {
    for strokes in [[(x - R, y - R), (x + R, y + R)], [(x - R, y + R), (x + R, y - R)]] {
        pen.line(&strokes, Stroke::whole(GREY, 3.0));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All curves that one picture takes differ: in grey by dashes and mark together, in colour by either of them.
    #[test]
    fn curves_of_one_picture_are_told_apart() {
        let mut seen = [const { Vec::new() }; 3];
        for number in 0..28 {
            let colour = number % SERIES.len();
            let (dashes, mark) = (dashes_of(number), number % 8);
            for (seen, pair) in seen
                .iter_mut()
                .zip([(dashes, mark), (colour, dashes), (colour, mark)])
            {
                assert!(!seen.contains(&pair), "{number}");
                seen.push(pair);
            }
        }
    }
}
