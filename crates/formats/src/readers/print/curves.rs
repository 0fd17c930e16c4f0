//! Curves that are only drawn: their corners, measured against the printed ticks of the axes.
//!
//! A line is taken for a curve where it has many corners and never turns back along the page. Its axes are the nearest
//! rows and columns of numbers that rise evenly, each number at a tick of its own. Nothing is taken where an axis is not
//! straight, its numbers can be read in two ways, or a factor stands beside it. What comes out is *digitised*: the
//! corners of a drawn line, and no readings.

use hayro_interpret::kurbo::{Point, Rect};

use super::glyphs::{Glyph, Letter, PrintedPage};
use super::words::{self, PrintedWord, WordLine};

/// Fewer corners than these are a frame, a rule or an arrow.
const FEWEST_CORNERS: usize = 12;
/// A curve is at least so wide, in points (a centimetre and a half).
const NARROWEST: f64 = 40.0;
/// An axis is known by at least so many ticks.
const FEWEST_TICKS: usize = 3;
/// How far a tick may lie from where a straight axis has it, in points.
const STRAIGHT: f64 = 0.35;
/// Coordinates of drawn lines are written with two decimals or more.
const COORDINATES: f64 = 0.01;
/// A tick lies no farther from its number, in points.
const NEAR: f64 = 25.0;

/// An axis with its ticks: the value at a place on the page.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct TickScale {
    pub(super) title: String,
    slope: f64,
    /// The place at which the value is `value`.
    place: f64,
    value: f64,
    /// How sure a value is, in units of the axis.
    pub(super) resolution: f64,
}

impl TickScale {
    /// The value at a place, with no more decimals than the resolution has.
    pub(super) fn text(&self, at: f64) -> String {
        let value = self.value + (at - self.place) * self.slope;
        let text = format!("{value:.*}", self.decimals());
        match text.strip_prefix('-') {
            Some(zero) if zero.bytes().all(|digit| matches!(digit, b'0' | b'.')) => zero.to_owned(),
            _ => text,
        }
    }

    fn decimals(&self) -> usize {
        let digits = (-self.resolution.log10()).ceil();
        // A resolution of no size at all has no digits either.
        if digits.is_finite() {
            digits.clamp(0.0, 12.0) as usize
        } else {
            0
        }
    }

    pub(super) fn resolution_text(&self) -> String {
        format!("{:.*}", self.decimals() + 1, self.resolution)
    }
}

/// Curves that share their axes.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PrintedPlot {
    pub(super) x: TickScale,
    pub(super) y: TickScale,
    pub(super) curves: Vec<Vec<Point>>,
}

/// What is drawn on a page.
#[derive(Clone, Debug, Default)]
pub(super) struct PageDrawing {
    pub(super) plots: Vec<PrintedPlot>,
    /// Why curves were not measured.
    pub(super) reasons: Vec<&'static str>,
    /// Where the numbers at the ticks of axes stand: they are no part of the text.
    pub(super) ticks: Vec<Rect>,
}

/// The plots of a page.
pub(super) fn drawn(page: &PrintedPage) -> PageDrawing {
    let mut drawn = PageDrawing::default();
    let curves: Vec<&Vec<Point>> = page.drawn.iter().filter(|line| is_curve(line)).collect();
    if curves.is_empty() {
        return drawn;
    }
    let written = words::written(page);
    if written.sideways {
        drawn
            .reasons
            .push("the page is written along another edge of the paper");
        return drawn;
    }
    let words: Vec<&PrintedWord> = written.lines.iter().flat_map(|line| &line.words).collect();
    let ticks = Ticks::of(&page.drawn);
    let below = axes(&words, AxisDirection::X);
    let beside = axes(&words, AxisDirection::Y);
    for curve in curves {
        let bounds = bounds(curve);
        drawn.ticks.extend(numbers_at(&below, &beside, bounds, &ticks));
        let found = scale_below(&below, bounds, &ticks).and_then(|(x, row)| {
            let y = scale_beside(&beside, bounds, &ticks)?;
            if words.iter().any(|word| is_factor(word, bounds)) {
                return Err("a factor stands beside an axis");
            }
            Ok((
                TickScale {
                    title: title_below(&written.lines, row),
                    ..x
                },
                TickScale {
                    title: title_beside(&page.glyphs, bounds),
                    ..y
                },
            ))
        });
        match found {
            Ok((x, y)) => match drawn.plots.iter_mut().find(|plot| plot.x == x && plot.y == y) {
                Some(plot) => plot.curves.push(curve.clone()),
                None => drawn.plots.push(PrintedPlot {
                    x,
                    y,
                    curves: vec![curve.clone()],
                }),
            },
            Err(why) if !drawn.reasons.contains(&why) => drawn.reasons.push(why),
            Err(_) => {}
        }
    }
    drawn
}

impl PageDrawing {
    /// Takes the numbers at the ticks out of lines.
    pub(super) fn without_ticks(&self, mut lines: Vec<WordLine>) -> Vec<WordLine> {
        if self.ticks.is_empty() {
            return lines;
        }
        let is_tick = |word: &PrintedWord| {
            let at = |place: &&Rect| (place.x0, place.y1) == (word.left, word.baseline);
            self.ticks.iter().any(|place| at(&place))
        };
        for line in &mut lines {
            line.words.retain(|word| !is_tick(word));
        }
        lines.retain(|line| !line.words.is_empty());
        lines
    }
}

/// Whether a line is a curve over an axis from left to right.
fn is_curve(line: &[Point]) -> bool {
    let (Some(first), Some(last)) = (line.first(), line.last()) else {
        return false;
    };
    let steps = || line.windows(2).map(|pair| pair[1].x - pair[0].x);
    line.len() >= FEWEST_CORNERS
        && (last.x - first.x).abs() >= NARROWEST
        && (steps().all(|step| step >= 0.0) || steps().all(|step| step <= 0.0))
        && steps().filter(|step| *step != 0.0).count() + 1 >= FEWEST_CORNERS
}

fn bounds(line: &[Point]) -> Rect {
    let start = line.first().copied().unwrap_or_default();
    line.iter()
        .fold(Rect::from_points(start, start), |all, point| all.union_pt(*point))
}

/// Short and long lines along the page and across it, of which ticks and grids are made.
struct Ticks {
    upright: Vec<Rect>,
    level: Vec<Rect>,
}

impl Ticks {
    fn of(drawn: &[Vec<Point>]) -> Self {
        const LEAST: f64 = 1.5;
        const THIN: f64 = 0.3;
        let mut ticks = Self {
            upright: Vec::new(),
            level: Vec::new(),
        };
        for line in drawn {
            // There, and perhaps back again.
            if line.len() > 3 {
                continue;
            }
            let stroke = bounds(line);
            if stroke.width() < THIN && stroke.height() >= LEAST {
                ticks.upright.push(stroke);
            } else if stroke.height() < THIN && stroke.width() >= LEAST {
                ticks.level.push(stroke);
            }
        }
        ticks
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum AxisDirection {
    X,
    Y,
}

/// A number on the page.
#[derive(Clone, Copy, Debug)]
struct PrintedNumber {
    value: f64,
    /// Its middle along the axis.
    middle: f64,
    place: Rect,
    size: f64,
}

/// Numbers that rise evenly along a row or a column.
#[derive(Clone, Debug)]
struct TickRow {
    marks: Vec<PrintedNumber>,
    /// Whether commas in it could mean decimals as well as thousands.
    ambiguous: bool,
}

impl TickRow {
    fn place(&self) -> Rect {
        self.marks
            .iter()
            .map(|mark| mark.place)
            .reduce(|all, place| all.union(place))
            .unwrap_or_default()
    }

    /// From the first to the last number and one step beyond.
    fn reach(&self) -> (f64, f64) {
        let (first, last) = (self.marks.first(), self.marks.last());
        let (first, last) = (first.map_or(0.0, |m| m.middle), last.map_or(0.0, |m| m.middle));
        let step = (last - first) / (self.marks.len().max(2) - 1) as f64;
        (first - 1.05 * step, last + 1.05 * step)
    }
}

/// How a comma is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum CommaReading {
    Decimal,
    Thousands,
}

/// A number as it is printed at a tick.
fn number(text: &str, comma: CommaReading) -> Option<f64> {
    let text = text.replace(['−', '–'], "-");
    let digits = text.strip_prefix(['-', '+']).unwrap_or(&text);
    if digits.is_empty()
        || !digits
            .bytes()
            .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
    {
        return None;
    }
    let plain = match (digits.split_once(','), comma) {
        (None, _) => text.clone(),
        (Some((_, behind)), CommaReading::Decimal) if !behind.contains([',', '.']) => text.replace(',', "."),
        (Some((before, behind)), CommaReading::Thousands)
            if behind.len() == 3 && (1..=3).contains(&before.len()) && !before.starts_with('0') =>
        {
            text.replace(',', "")
        }
        _ => return None,
    };
    plain.parse().ok()
}

/// The rows or columns of numbers that may be the ticks of an axis.
fn axes(words: &[&PrintedWord], along: AxisDirection) -> Vec<TickRow> {
    let mut all = Vec::new();
    for comma in [CommaReading::Decimal, CommaReading::Thousands] {
        let marks: Vec<(PrintedNumber, bool)> = words
            .iter()
            .filter(|word| !word.hidden)
            .filter_map(|word| {
                let value = number(&word.text, comma)?;
                let place = Rect::new(
                    word.left,
                    word.baseline - 0.7 * word.size,
                    word.right,
                    word.baseline,
                );
                let middle = match along {
                    AxisDirection::X => place.center().x,
                    AxisDirection::Y => place.center().y,
                };
                let mark = PrintedNumber {
                    value,
                    middle,
                    place,
                    size: word.size,
                };
                Some((mark, word.text.contains(',')))
            })
            .collect();
        if comma == CommaReading::Thousands && !marks.iter().any(|(_, has_comma)| *has_comma) {
            continue;
        }
        for group in aligned(&marks, along) {
            for run in even(&group) {
                let same = |row: &&mut TickRow| {
                    row.place()
                        == run
                            .iter()
                            .map(|m| m.0.place)
                            .reduce(|a, b| a.union(b))
                            .unwrap_or_default()
                };
                match all.iter_mut().find(same) {
                    Some(row) => {
                        row.ambiguous |= comma == CommaReading::Thousands && run.iter().any(|mark| mark.1)
                    }
                    None => all.push(TickRow {
                        marks: run.iter().map(|mark| mark.0).collect(),
                        ambiguous: false,
                    }),
                }
            }
        }
    }
    all
}

/// Numbers of one size on a line, or under one another by their left ends, middles or right ends; each in order.
fn aligned(marks: &[(PrintedNumber, bool)], along: AxisDirection) -> Vec<Vec<(PrintedNumber, bool)>> {
    const APART: f64 = 2.0;
    let lines: Vec<fn(&PrintedNumber) -> f64> = match along {
        AxisDirection::X => vec![|mark| mark.place.y1],
        AxisDirection::Y => vec![|mark| mark.place.x1, |mark| mark.place.x0, |mark| {
            mark.place.center().x
        }],
    };
    let mut groups = Vec::new();
    for line in lines {
        let mut sorted = marks.to_vec();
        sorted.sort_by(|a, b| line(&a.0).total_cmp(&line(&b.0)));
        for group in sorted.chunk_by(|a, b| line(&b.0) - line(&a.0) <= APART) {
            let mut group = group.to_vec();
            group.sort_by(|a, b| a.0.middle.total_cmp(&b.0.middle));
            if group.len() >= FEWEST_TICKS {
                groups.push(group);
            }
        }
    }
    groups
}

/// The longest parts of a row that rise or fall evenly.
fn even(group: &[(PrintedNumber, bool)]) -> Vec<&[(PrintedNumber, bool)]> {
    const UNEVEN: f64 = 0.06;
    let slope = |at: usize| {
        let (one, next) = (&group[at].0, &group[at + 1].0);
        (next.value - one.value) / (next.middle - one.middle)
    };
    let mut parts = Vec::new();
    let mut start = 0;
    for at in 1..group.len() {
        let ends = at + 1 == group.len() || {
            let (before, behind) = (slope(at - 1), slope(at));
            !(before.is_finite() && before != 0.0 && (behind / before - 1.0).abs() < UNEVEN)
        };
        if ends {
            if at + 1 - start >= FEWEST_TICKS {
                parts.push(&group[start..=at]);
            }
            start = at;
        }
    }
    parts
}

const NO_NUMBERS: &str = "no row of numbers that rise evenly stands at one of its axes";
const NO_TICKS: &str = "the numbers at one of its axes have no ticks";
const NOT_STRAIGHT: &str = "the ticks of one of its axes do not lie evenly";
const TWO_WAYS: &str = "the numbers at one of its axes can be read in two ways";
const TWO_AXES: &str = "it has axes of its own on both sides";

/// The nearest row of numbers below a curve.
fn row_below(rows: &[TickRow], curve: Rect) -> Option<&TickRow> {
    rows.iter()
        .filter(|row| row.place().y1 >= curve.y1 - 5.0)
        .filter(|row| {
            let (from, to) = row.reach();
            from <= curve.x0 && curve.x1 <= to
        })
        .min_by(|a, b| a.place().y0.total_cmp(&b.place().y0))
}

/// The columns of numbers beside a curve: the nearest on its left, and those on its right.
fn rows_beside(rows: &[TickRow], curve: Rect) -> (Option<&TickRow>, Vec<&TickRow>) {
    let fits = |row: &&TickRow| {
        let (from, to) = row.reach();
        from <= curve.y0 && curve.y1 <= to
    };
    let nearest = |a: &&TickRow, b: &&TickRow| {
        let (one, other) = (a.place().x1, b.place().x1);
        one.total_cmp(&other).then(a.marks.len().cmp(&b.marks.len()))
    };
    let left = rows
        .iter()
        .filter(fits)
        .filter(|row| row.place().x1 <= curve.x0 + 5.0)
        .max_by(nearest);
    let right = rows
        .iter()
        .filter(fits)
        .filter(|row| row.place().x0 >= curve.x1 - 5.0 && row.place().x0 <= curve.x1 + 4.0 * NEAR)
        .collect();
    (left, right)
}

/// The side of a row of numbers on which its ticks stand: between the numbers and the curve. The rules of a table run
/// through its numbers, and are none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Above,
    Right,
    Left,
}

/// The scale of a row by the ticks on one side of it.
fn scale_on(row: &TickRow, ticks: &Ticks, side: Side) -> Result<TickScale, &'static str> {
    const TOUCH: f64 = 1.0;
    let place = row.place();
    let (strokes, along) = match side {
        Side::Above => (&ticks.upright, AxisDirection::X),
        Side::Right | Side::Left => (&ticks.level, AxisDirection::Y),
    };
    let between: Vec<Rect> = strokes
        .iter()
        .filter(|tick| match side {
            Side::Above => tick.y1 <= place.y0 + TOUCH,
            Side::Right => tick.x0 >= place.x1 - TOUCH,
            Side::Left => tick.x1 <= place.x0 + TOUCH,
        })
        .copied()
        .collect();
    scale(row, &between, along)
}

/// The axis below a curve, and the place of its numbers.
fn scale_below(rows: &[TickRow], curve: Rect, ticks: &Ticks) -> Result<(TickScale, Rect), &'static str> {
    let row = row_below(rows, curve).ok_or(NO_NUMBERS)?;
    Ok((scale_on(row, ticks, Side::Above)?, row.place()))
}

fn scale_beside(rows: &[TickRow], curve: Rect, ticks: &Ticks) -> Result<TickScale, &'static str> {
    let (left, right) = rows_beside(rows, curve);
    let own = scale_on(left.ok_or(NO_NUMBERS)?, ticks, Side::Right)?;
    for row in right {
        // Numbers on the other side count where they have ticks of their own.
        if let Ok(other) = scale_on(row, ticks, Side::Left)
            && (other.slope / own.slope - 1.0).abs() > 1e-3
        {
            return Err(TWO_AXES);
        }
    }
    Ok(own)
}

/// Where the numbers at the axes of a curve stand, as far as they have ticks.
fn numbers_at(below: &[TickRow], beside: &[TickRow], curve: Rect, ticks: &Ticks) -> Vec<Rect> {
    let (left, right) = rows_beside(beside, curve);
    let rows = row_below(below, curve)
        .map(|row| (row, Side::Above))
        .into_iter()
        .chain(left.map(|row| (row, Side::Right)))
        .chain(right.into_iter().map(|row| (row, Side::Left)));
    rows.filter(|(row, side)| !matches!(scale_on(row, ticks, *side), Err(NO_TICKS)))
        .flat_map(|(row, _)| row.marks.iter().map(|mark| mark.place))
        .collect()
}

/// The line through the ticks at the numbers of a row.
fn scale(row: &TickRow, ticks: &[Rect], along: AxisDirection) -> Result<TickScale, &'static str> {
    if row.ambiguous {
        return Err(TWO_WAYS);
    }
    let points: Vec<(f64, f64)> = row
        .marks
        .iter()
        .filter_map(|mark| {
            let near = ticks.iter().filter(|tick| {
                let gap = tick.union(mark.place);
                let apart = match along {
                    AxisDirection::X => gap.height() - tick.height() - mark.place.height(),
                    AxisDirection::Y => gap.width() - tick.width() - mark.place.width(),
                };
                apart <= NEAR
            });
            let middle = |tick: &Rect| match along {
                AxisDirection::X => tick.center().x,
                AxisDirection::Y => tick.center().y,
            };
            near.map(middle)
                .filter(|at| (at - mark.middle).abs() <= (0.5 * mark.size).max(2.5))
                .min_by(|a, b| (a - mark.middle).abs().total_cmp(&(b - mark.middle).abs()))
                .map(|at| (at, mark.value))
        })
        .collect();
    if points.len() < FEWEST_TICKS || points.len() * 3 < row.marks.len() * 2 {
        return Err(NO_TICKS);
    }
    let count = points.len() as f64;
    let (place, value) = points
        .iter()
        .fold((0.0, 0.0), |sum, point| (sum.0 + point.0, sum.1 + point.1));
    let (place, value) = (place / count, value / count);
    let (mut across, mut square) = (0.0, 0.0);
    for (at, of) in &points {
        across += (at - place) * (of - value);
        square += (at - place).powi(2);
    }
    let slope = across / square;
    let farthest = points
        .iter()
        .map(|(at, of)| ((of - value) / slope - (at - place)).abs())
        .fold(0.0, f64::max);
    if !slope.is_finite() || slope == 0.0 || farthest > STRAIGHT {
        return Err(NOT_STRAIGHT);
    }
    Ok(TickScale {
        title: String::new(),
        slope,
        place,
        value,
        resolution: (farthest + COORDINATES) * slope.abs(),
    })
}

/// Whether a word beside a curve multiplies or shifts the numbers of an axis, as `×10⁻³`, `1e−3` or `+2.5`.
fn is_factor(word: &PrintedWord, curve: Rect) -> bool {
    const AROUND: f64 = 80.0;
    if !curve
        .inflate(AROUND, AROUND)
        .contains(Point::new(word.left, word.baseline))
    {
        return false;
    }
    let text = word.text.replace(['−', '–'], "-");
    let power = text.strip_prefix(['×', 'x', '·']).unwrap_or(&text);
    let is_power = power.strip_prefix("10").is_some_and(|rest| {
        rest.starts_with(['⁻', '⁺', '⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹', '^'])
    });
    let with_exponent = text
        .split_once(['e', 'E'])
        .is_some_and(|(front, behind)| front.parse::<f64>().is_ok() && behind.parse::<i32>().is_ok());
    let shift = text
        .strip_prefix('+')
        .is_some_and(|rest| rest.parse::<f64>().is_ok());
    is_power || with_exponent || shift
}

/// The words under the numbers of an axis, and in their middle.
fn title_below(lines: &[WordLine], row: Rect) -> String {
    let line = lines
        .iter()
        .filter(|line| line.baseline > row.y1 + 1.0 && line.baseline < row.y1 + 3.0 * line.size)
        .min_by(|a, b| a.baseline.total_cmp(&b.baseline));
    let words = line.into_iter().flat_map(|line| &line.words);
    let within = words.filter(|word| word.left >= row.x0 - NEAR && word.right <= row.x1 + NEAR);
    within
        .map(|word| word.text.as_str())
        .collect::<Vec<_>>()
        .join(" ")
}

/// What is written upwards, left of a curve and beside it.
fn title_beside(glyphs: &[Glyph], curve: Rect) -> String {
    const FARTHEST: f64 = 110.0;
    let mut upwards: Vec<&Glyph> = glyphs
        .iter()
        .filter(|glyph| {
            let along = glyph.end - glyph.start;
            along.x.abs() < 0.02 * along.hypot() && along.y < 0.0
        })
        .filter(|glyph| glyph.start.x < curve.x0 && glyph.start.x > curve.x0 - FARTHEST)
        .filter(|glyph| glyph.start.y > curve.y0 - FARTHEST && glyph.start.y < curve.y1 + FARTHEST)
        .collect();
    // The one that stands nearest, with what is raised or lowered in it.
    let Some(nearest) = upwards.iter().map(|glyph| glyph.start.x).max_by(f64::total_cmp) else {
        return String::new();
    };
    upwards.retain(|glyph| nearest - glyph.start.x < glyph.size);
    upwards.sort_by(|a, b| b.start.y.total_cmp(&a.start.y));
    let mut text = String::new();
    let mut end: Option<f64> = None;
    for glyph in upwards {
        let gap = end.map_or(0.0, |end| end - glyph.start.y);
        if gap > 0.19 * glyph.size && !text.ends_with(' ') {
            text.push(' ');
        }
        match &glyph.letter {
            Letter::Known(known) => text.push_str(known),
            Letter::Blank => text.push(' '),
            Letter::Unknown => text.push(words::UNKNOWN),
        }
        end = Some(glyph.end.y);
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_at_ticks_are_read_in_one_way_only() {
        assert_eq!(number("−0.5", CommaReading::Decimal), Some(-0.5));
        assert_eq!(number("0,25", CommaReading::Decimal), Some(0.25));
        assert_eq!(number("0,250", CommaReading::Thousands), None);
        assert_eq!(number("1,000", CommaReading::Thousands), Some(1000.0));
        assert_eq!(number("1e3", CommaReading::Decimal), None);
        assert_eq!(number("10⁻³", CommaReading::Decimal), None);
    }

    fn scale_of(resolution: f64) -> TickScale {
        TickScale {
            title: String::new(),
            slope: 1.0,
            place: 0.0,
            value: 0.0,
            resolution,
        }
    }

    #[test]
    fn values_have_the_digits_of_their_resolution() {
        assert_eq!(scale_of(0.004).text(1.23456), "1.235");
        assert_eq!(scale_of(0.4).text(512.34), "512.3");
        assert_eq!(scale_of(3.0).text(512.34), "512");
        assert_eq!(scale_of(0.01).text(-0.001), "0.00");
    }
}
