//! Frames, axes, lines and marks on a picture.

use std::collections::HashSet;

use super::legend::{Legend, NamedLayer, OrderOfSeries, named};
use super::pen::{Anchor, Colour, Dot, Pen, Stroke, clean, titled, unbroken_unit, width_of, wrapped};
use super::scale::AxisScale;
use super::{Figure, Layer, Panel};

/// A straight piece of a line, from one place to another.
type Slant = ((f64, f64), (f64, f64));

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
pub(super) const SMALL: f64 = 24.0;
const TITLE: f64 = 26.0;
const HEADING: f64 = 30.0;

const BLACK: Colour = Colour(0, 0, 0);
const GREY: Colour = Colour(120, 120, 120);
const PALE: Colour = Colour(225, 225, 225);
pub(super) const WHITE: Colour = Colour(255, 255, 255);
/// Sky blue of the palette, mixed with white.
pub(super) const WASH: Colour = Colour(221, 240, 250);
/// Okabe-Ito colours of lines, the most distinct first.
pub(super) const LINES: [Colour; 6] = [
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
/// Ends and middle of the shades of many series in an order; the middle is the blue of the palette.
const SHADES: [Colour; 3] = [
    Colour(0x9A, 0xD2, 0xF2),
    Colour(0x00, 0x72, 0xB2),
    Colour(0, 0, 0),
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
/// Between a legend and the frame: 1.4 mm on paper.
const EDGE: f64 = 14.0;
/// More points than this of one layer hide what lies under them: side by side they fill the narrowest picture, which has 590 dots
/// between `LEFT` and `RIGHT` of 850, at 19 dots a mark with its outline (twice `R` and 3).
const CROWDED: usize = 30;
/// With more lines or series of points than this, no white is laid under a line or into a mark: it would erase the others.
const FEW_SERIES: usize = 3;
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
pub(super) struct SeriesLook {
    pub(super) colour: Colour,
    form: usize,
    /// Whether it is one of many in an order, which are told apart by their shade alone.
    shaded: bool,
}

impl SeriesLook {
    fn of_series(number: usize) -> Self {
        Self {
            colour: SERIES[number % SERIES.len()],
            form: number,
            shaded: false,
        }
    }

    /// The look of a place in an order, 0 to 1: from light over the blue of the palette to black, so that the order is seen in grey too.
    fn of_order(place: f64) -> Self {
        let (from, to, part) = if place < 0.5 {
            (SHADES[0], SHADES[1], 2.0 * place)
        } else {
            (SHADES[1], SHADES[2], 2.0 * place - 1.0)
        };
        let mix =
            |from: u8, to: u8| (f64::from(from) + part * (f64::from(to) - f64::from(from))).round() as u8;
        Self {
            colour: Colour(mix(from.0, to.0), mix(from.1, to.1), mix(from.2, to.2)),
            form: 0,
            shaded: true,
        }
    }

    fn of_points(number: usize) -> Self {
        Self {
            colour: POINTS[number % POINTS.len()],
            form: number,
            shaded: false,
        }
    }

    fn of_line(number: usize) -> Self {
        Self {
            colour: LINES[number % LINES.len()],
            form: number,
            shaded: false,
        }
    }

    pub(super) fn stroke(self, width: f64) -> Stroke {
        Stroke {
            colour: self.colour,
            width,
            dashes: DASHES[dashes_of(self.form)],
        }
    }

    /// The colour mixed with white, for a stretch of y.
    pub(super) fn wash(self) -> Colour {
        let mix = |part: u8| 255 - (255 - part) / 5;
        Colour(mix(self.colour.0), mix(self.colour.1), mix(self.colour.2))
    }
}

/// The level line.
pub(super) fn level() -> Stroke {
    Stroke {
        colour: GREY,
        width: 3.0,
        dashes: DASHES[2],
    }
}

/// How each layer of a panel looks.
pub(super) fn looks(panel: &Panel, order: &OrderOfSeries) -> Vec<SeriesLook> {
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
                (Some(series), _) => order
                    .place(series)
                    .map_or_else(|| SeriesLook::of_series(series), SeriesLook::of_order),
                (None, Layer::Points(_)) => SeriesLook::of_points(next(&mut points)),
                (None, Layer::Line(_)) => SeriesLook::of_line(next(&mut lines)),
                (None, Layer::Band(_)) => SeriesLook::of_line(lines),
                // Errors are of the points before them.
                (None, Layer::Bars(_) | Layer::Slants(_)) => SeriesLook::of_points(points.saturating_sub(1)),
                (None, _) => SeriesLook::of_points(0),
            }
        })
        .collect()
}

pub(super) fn has_series(panel: &Panel) -> bool {
    panel.layers.iter().any(|layer| layer.series().is_some())
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
        let order = OrderOfSeries::of(self);
        let gaps = BETWEEN * self.panels.len().saturating_sub(1) as f64;
        // The legend is no taller than this.
        let plot = sheet.height - sheet.above() - BELOW - gaps - 2.0 * Legend::ROW;
        let room = (sheet.right() - LEFT, plot);
        let mut legend = Legend::of_series(self, &order, room, &[]);
        // A long legend makes the picture higher, and no panel flatter.
        let mut height = sheet.height + (legend.height() - 2.0 * Legend::ROW).max(0.0);
        let mut frames = self.frames(sheet, &x, sheet.above() + legend.room(), height);
        // What has no free place in its panel stands above the panels, which keep their size.
        let covered: Vec<usize> = (0..self.panels.len())
            .filter(|number| frames[*number].is_covered(&self.panels[*number], &order, &self.title))
            .collect();
        if !covered.is_empty() {
            let before = legend.room();
            legend = Legend::of_series(self, &order, room, &covered);
            height += legend.room() - before;
            frames = self.frames(sheet, &x, sheet.above() + legend.room(), height);
        }
        let mut pen = Pen::new(sheet.width, height, (&printed(sheet.width), &printed(height)));
        if sheet.titled {
            let title = fitted(&self.title, HEADING, sheet.width - 80.0);
            pen.text(&title, (sheet.width / 2.0, ABOVE / 2.0), HEADING, Anchor::Middle);
        }
        legend.draw(&mut pen, (LEFT, sheet.above()));
        for (number, (panel, frame)) in self.panels.iter().zip(&frames).enumerate() {
            let last = number + 1 == self.panels.len();
            frame.draw(&mut pen, panel, last, &order);
            // Series are named above the panels, where nothing is covered.
            let names = named(panel, &order);
            if names.len() > 1 && !has_series(panel) && !covered.contains(&number) {
                frame.legend(&mut pen, panel, &frame.small_legend(names, &self.title));
            }
        }
        pen.finish()
    }

    /// Where the panels lie on a picture of this height that begin at `above`.
    fn frames<'a>(
        &self,
        sheet: PictureSheet,
        x: &'a AxisScale,
        above: f64,
        height: f64,
    ) -> Vec<PanelFrame<'a>> {
        let shares: f64 = self.panels.iter().map(|panel| panel.share.max(0.0)).sum();
        let gaps = BETWEEN * self.panels.len().saturating_sub(1) as f64;
        let room = (height - above - BELOW - gaps).max(100.0);
        let mut top = above;
        let mut frames = Vec::with_capacity(self.panels.len());
        for panel in &self.panels {
            let bottom = top + room * panel.share.max(0.0) / shares.max(f64::MIN_POSITIVE);
            frames.push(PanelFrame {
                x,
                y: AxisScale::of(panel.layers.iter().flat_map(|layer| layer.shape().ys()), true),
                top,
                bottom,
                right: sheet.right(),
            });
            top = bottom + BETWEEN;
        }
        frames
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
            Self::Slants(all) => all.iter().flat_map(|(from, to)| [from.0, to.0]).collect(),
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
            Self::Slants(all) => all.iter().flat_map(|(from, to)| [from.1, to.1]).collect(),
            Self::Named(_, layer) | Self::Series(_, layer) => layer.ys(),
        }
    }
}

impl PanelFrame<'_> {
    fn draw(&self, pen: &mut Pen, panel: &Panel, last: bool, order: &OrderOfSeries) {
        let looks = looks(panel, order);
        let layers = || panel.layers.iter().zip(&looks);
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Window(from, to) => self.window(pen, *from, *to),
                Layer::Band(all) => self.band(pen, all, *look),
                _ => {}
            }
        }
        self.axes(pen, panel, last);
        let (mut most, mut points, mut lines) = (0, 0, 0);
        for layer in &panel.layers {
            match layer.shape() {
                Layer::Points(all) if !all.is_empty() => {
                    most = most.max(all.len());
                    points += 1;
                }
                Layer::Line(all) if !all.is_empty() => lines += 1,
                _ => {}
            }
        }
        // Many points would hide a line that lies under them; few are whole where they stand over it.
        let crowded = most > CROWDED;
        let inside = match (points > FEW_SERIES, crowded) {
            (false, _) => MarkInside::White,
            (true, false) => MarkInside::Clear,
            (true, true) => MarkInside::Small,
        };
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Points(all) if crowded => self.points(all, |at| mark(pen, at, *look, inside)),
                Layer::LeftOut(all) => self.points(all, |at| crossed(pen, at)),
                Layer::Bars(all) => self.bars(pen, all, *look),
                Layer::Slants(all) => self.slants(pen, all, *look),
                _ => {}
            }
        }
        // Points of the same colour would swallow a line. All white lies under all lines, so that none erases another.
        if crowded && lines <= FEW_SERIES {
            for (layer, _) in layers() {
                if let Layer::Line(all) = layer.shape()
                    && all.len() < 2000
                {
                    self.line(pen, all, Stroke::whole(WHITE, 8.0));
                }
            }
        }
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Line(all) => self.line(pen, all, look.stroke(4.0)),
                Layer::Level(at) if self.y.holds(*at) => {
                    let down = self.down(*at);
                    pen.line(&[(LEFT, down), (self.right, down)], level());
                }
                _ => {}
            }
        }
        for (layer, look) in layers() {
            match layer.shape() {
                Layer::Points(all) if !crowded => self.points(all, |at| mark(pen, at, *look, inside)),
                Layer::Marks(all) => self.marks(pen, all),
                _ => {}
            }
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

    /// Error bars with short ends; one without an end goes on to the frame.
    fn bars(&self, pen: &mut Pen, all: &[(f64, f64, f64)], look: SeriesLook) {
        let mut seen = HashSet::new();
        for (x, low, high) in all {
            if !self.x.holds(*x) || low.is_nan() || high.is_nan() {
                continue;
            }
            let inside = |y: &f64| self.down(y.clamp(self.y.low, self.y.high));
            let (across, from, to) = (self.across(*x), inside(low), inside(high));
            if !seen.insert((dot_of((across, from)), dot_of((across, to)))) {
                continue;
            }
            let stroke = Stroke::whole(look.colour, 2.0);
            pen.line(&[(across, from), (across, to)], stroke);
            for (end, at) in [(low, from), (high, to)] {
                if end.is_finite() {
                    pen.line(&[(across - 6.0, at), (across + 6.0, at)], stroke);
                }
            }
        }
    }

    /// Errors that move a point along x and y at once.
    fn slants(&self, pen: &mut Pen, all: &[Slant], look: SeriesLook) {
        let mut seen = HashSet::new();
        for (from, to) in all {
            if let (Some(from), Some(to)) = (self.at(*from), self.at(*to))
                && seen.insert((dot_of(from), dot_of(to)))
            {
                pen.line(&[from, to], Stroke::whole(look.colour, 2.0));
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
            let title = unbroken_unit(&panel.x);
            let words = match (self.x.logarithmic, self.x.gap) {
                (true, Some(_)) => format!("{title} (logarithmic; 0 before the break)"),
                (true, None) => format!("{title} (logarithmic)"),
                (false, _) => title,
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

    fn line(&self, pen: &mut Pen, points: &[(f64, f64)], stroke: Stroke) {
        let mut piece: Vec<Dot> = Vec::new();
        let mut end = |piece: &mut Vec<Dot>| {
            match piece.as_slice() {
                [] => {}
                [at] if self.x.gap.is_some() => pen.line(&[(at.0 - 12.0, at.1), (at.0 + 12.0, at.1)], stroke),
                [at] => pen.disc(*at, 3.0, stroke.colour),
                piece => pen.line(&thinned(piece), stroke),
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

    /// Whether the legend of this panel would cover something wherever it stands.
    fn is_covered(&self, panel: &Panel, order: &OrderOfSeries, title: &str) -> bool {
        let named = named(panel, order);
        named.len() > 1 && !has_series(panel) && self.place_of(panel, &self.small_legend(named, title)).1 > 0
    }

    fn small_legend<'a>(&self, layers: Vec<NamedLayer<'a>>, title: &str) -> Legend<'a> {
        Legend::below_each_other(layers, title, (self.right - LEFT) * 0.6)
    }

    /// The place inside the panel where a legend covers the fewest pieces of data and curves, corners first, with how many it covers.
    fn place_of(&self, panel: &Panel, legend: &Legend<'_>) -> (Dot, usize) {
        let (width, height) = (legend.needed() + 2.0 * EDGE, legend.height() + EDGE);
        if width + 2.0 * EDGE > self.right - LEFT || height + 2.0 * EDGE > self.bottom - self.top {
            return ((LEFT + EDGE, self.top + EDGE), usize::MAX);
        }
        let right = self.right - width - EDGE;
        let bottom = self.bottom - height - EDGE;
        let middle = f64::midpoint(LEFT, self.right) - width / 2.0;
        let places = [
            (right, self.top + EDGE),
            (LEFT + EDGE, self.top + EDGE),
            (right, bottom),
            (LEFT + EDGE, bottom),
            (middle, self.top + EDGE),
            (middle, bottom),
        ];
        let drawn: Vec<(Dot, Dot)> = panel
            .layers
            .iter()
            .flat_map(|layer| self.pieces(layer.shape()))
            .collect();
        places
            .into_iter()
            .map(|(x, y)| {
                // As far off as a mark is wide.
                let (from, to) = (
                    (x - R - 3.0, y - R - 3.0),
                    (x + width + R + 3.0, y + height + R + 3.0),
                );
                let covered = drawn.iter().filter(|(a, b)| meets(*a, *b, from, to)).count();
                ((x, y), covered)
            })
            .min_by_key(|(_, covered)| *covered)
            .unwrap_or(((right, self.top + EDGE), usize::MAX))
    }

    /// What a layer draws, as straight pieces; a point is one without length.
    fn pieces(&self, layer: &Layer) -> Vec<(Dot, Dot)> {
        let inside = |y: f64| self.down(y.clamp(self.y.low, self.y.high));
        match layer {
            Layer::Points(all) | Layer::LeftOut(all) => {
                let seen = all.iter().filter_map(|point| self.at(*point));
                seen.map(|at| (at, at)).collect()
            }
            Layer::Line(all) => {
                let seen: Vec<Option<Dot>> = all.iter().map(|point| self.at(*point)).collect();
                let alone = seen.iter().flatten().map(|at| (*at, *at));
                let pairs = seen.windows(2).filter_map(|pair| Some((pair[0]?, pair[1]?)));
                alone.chain(pairs).collect()
            }
            Layer::Level(at) if self.y.holds(*at) => {
                vec![((LEFT, self.down(*at)), (self.right, self.down(*at)))]
            }
            // A name stands above its mark.
            Layer::Marks(all) => {
                let seen = all.iter().filter_map(|(x, y, _)| self.at((*x, *y)));
                seen.map(|(x, y)| ((x, y - 24.0 - 1.5 * SMALL), (x, y))).collect()
            }
            Layer::Bars(all) | Layer::Band(all) => all
                .iter()
                .filter(|(x, low, high)| self.x.holds(*x) && !low.is_nan() && !high.is_nan())
                .map(|(x, low, high)| ((self.across(*x), inside(*low)), (self.across(*x), inside(*high))))
                .collect(),
            Layer::Slants(all) => all
                .iter()
                .filter_map(|(from, to)| Some((self.at(*from)?, self.at(*to)?)))
                .collect(),
            Layer::Level(_) | Layer::Window(..) | Layer::Named(..) | Layer::Series(..) => Vec::new(),
        }
    }

    /// The legend stands inside the panel, where it covers nothing.
    fn legend(&self, pen: &mut Pen, panel: &Panel, legend: &Legend<'_>) {
        let (corner, _) = self.place_of(panel, legend);
        let far = (
            corner.0 + legend.needed() + 2.0 * EDGE,
            corner.1 + legend.height() + EDGE,
        );
        pen.filled(corner, far, WHITE);
        pen.framed(corner, far, GREY, 1.0);
        legend.draw(pen, (corner.0 + EDGE, corner.1 + EDGE / 2.0));
    }
}

/// Whether the straight piece from `a` to `b` has a part in a rectangle (Liang and Barsky's way of clipping).
fn meets(a: Dot, b: Dot, from: Dot, to: Dot) -> bool {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut first, mut last) = (0.0_f64, 1.0_f64);
    for (step, room) in [
        (-dx, a.0 - from.0),
        (dx, to.0 - a.0),
        (-dy, a.1 - from.1),
        (dy, to.1 - a.1),
    ] {
        if step == 0.0 {
            if room < 0.0 {
                return false;
            }
        } else if step < 0.0 {
            first = first.max(room / step);
        } else {
            last = last.min(room / step);
        }
    }
    first <= last
}

impl Layer {
    pub(super) fn is_empty(&self) -> bool {
        match self {
            Self::Points(points) | Self::LeftOut(points) | Self::Line(points) => points.is_empty(),
            Self::Marks(marks) => marks.is_empty(),
            Self::Bars(all) | Self::Band(all) => all.is_empty(),
            Self::Slants(all) => all.is_empty(),
            Self::Named(_, layer) | Self::Series(_, layer) => layer.is_empty(),
            Self::Level(_) | Self::Window(..) => false,
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

/// What fills a mark that is not of its own colour.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum MarkInside {
    /// White, which lifts it off what lies behind.
    White,
    /// Nothing, so that what lies behind is seen.
    Clear,
    /// The same, of a smaller mark: many points of many series.
    Small,
}

/// The mark of the points of one series: four shapes, not filled and then filled; a smaller disc for those that only their shade tells.
pub(super) fn mark(pen: &mut Pen, (x, y): Dot, look: SeriesLook, inside: MarkInside) {
    if look.shaded {
        pen.disc((x, y), 0.6 * R, look.colour);
        return;
    }
    let (r, width) = if inside == MarkInside::Small {
        (0.6 * R, 2.0)
    } else {
        (R, 3.0)
    };
    let filling = if !(look.form / 4).is_multiple_of(2) {
        Some(look.colour)
    } else {
        (inside == MarkInside::White).then_some(WHITE)
    };
    let corners: &[Dot] = match look.form % 4 {
        0 => {
            if let Some(colour) = filling {
                pen.disc((x, y), r, colour);
            }
            pen.ring((x, y), r, look.colour, width);
            return;
        }
        1 => &[(x, y - r), (x - r, y + r), (x + r, y + r)],
        2 => &[(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)],
        _ => &[(x, y - r), (x + r, y), (x, y + r), (x - r, y)],
    };
    if let Some(colour) = filling {
        pen.area(corners, colour);
    }
    let outline: Vec<Dot> = corners.iter().chain(corners.first()).copied().collect();
    pen.line(&outline, Stroke::whole(look.colour, width));
}

/// The mark of a point that was left out.
pub(super) fn crossed(pen: &mut Pen, (x, y): Dot) {
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
