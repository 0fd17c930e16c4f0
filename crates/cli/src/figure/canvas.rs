//! Frames, axes, lines, marks and legends on a drawing area.

use std::collections::HashSet;
use std::sync::Once;

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::scale::Scale;
use super::{Figure, Layer, Panel};

/// How large a picture is, in dots, and what stands on it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet {
    pub(super) width: u32,
    pub(super) height: u32,
    /// Whether the title stands above the panels; a paper has it in the caption.
    pub(super) titled: bool,
}

impl Sheet {
    fn right(self) -> i32 {
        i32::try_from(self.width).unwrap_or(i32::MAX) - RIGHT
    }

    fn above(self) -> i32 {
        if self.titled { ABOVE } else { RIGHT }
    }
}

/// Room at the left for numbers and the title of y.
const LEFT: i32 = 200;
/// Room at the right.
const RIGHT: i32 = 60;
/// Room above for the title.
const ABOVE: i32 = 90;
/// Room under the last panel for numbers and the title of x.
const BELOW: i32 = 130;
/// Room between panels.
const BETWEEN: i32 = 60;
/// The font's name, in the SVG too, where the viewer's own stands for it.
const FONT: &str = "sans-serif";

const BLACK: RGBColor = RGBColor(0, 0, 0);
const GREY: RGBColor = RGBColor(120, 120, 120);
const PALE: RGBColor = RGBColor(225, 225, 225);
/// Sky blue of the palette, mixed with white.
const WASH: RGBColor = RGBColor(221, 240, 250);
/// Okabe-Ito colours of lines, the most distinct first.
const LINES: [RGBColor; 6] = [
    RGBColor(0xD5, 0x5E, 0x00),
    RGBColor(0x00, 0x9E, 0x73),
    RGBColor(0x00, 0x00, 0x00),
    RGBColor(0xCC, 0x79, 0xA7),
    RGBColor(0x56, 0xB4, 0xE9),
    RGBColor(0xE6, 0x9F, 0x00),
];
/// Okabe-Ito colours of series, each for its points and its line; with four marks and four dashes, 28 are told apart.
const SERIES: [RGBColor; 7] = [
    RGBColor(0x00, 0x72, 0xB2),
    RGBColor(0xD5, 0x5E, 0x00),
    RGBColor(0x00, 0x9E, 0x73),
    RGBColor(0x00, 0x00, 0x00),
    RGBColor(0xCC, 0x79, 0xA7),
    RGBColor(0x56, 0xB4, 0xE9),
    RGBColor(0xE6, 0x9F, 0x00),
];
/// Okabe-Ito colours of points.
const POINTS: [RGBColor; 4] = [
    RGBColor(0x00, 0x72, 0xB2),
    RGBColor(0x00, 0x9E, 0x73),
    RGBColor(0xE6, 0x9F, 0x00),
    RGBColor(0x00, 0x00, 0x00),
];
/// Dashes of lines, drawn and left out, in dots; the first is whole.
const DASHES: [&[i32]; 4] = [&[], &[24, 12], &[6, 10], &[24, 8, 6, 8]];
/// Names of marks are drawn for the first so many of them.
const MOST_NAMES: usize = 40;

/// Hands the font to the plotting library, once.
pub(super) fn load_font() {
    static LOADED: Once = Once::new();
    LOADED.call_once(|| {
        // A font that is part of the program; a picture without letters would be told by the tests.
        let _ = plotters::style::register_font(FONT, FontStyle::Normal, dejavu::sans::regular());
    });
}

/// Text that XML can hold: no control characters.
fn clean(text: &str) -> String {
    let plain = |c: char| {
        if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') {
            ' '
        } else {
            c
        }
    };
    text.chars().map(plain).collect()
}

/// `text` cut to the width that there is room for, in dots.
fn fitted(text: &str, size: i32, room: i32) -> String {
    let text = clean(text);
    // DejaVu Sans letters are 0.6 of the font's size wide on the average.
    let most = usize::try_from(room * 10 / (size * 5)).unwrap_or(0).max(8);
    if text.chars().count() <= most {
        return text;
    }
    let mut cut: String = text.chars().take(most - 1).collect();
    cut.push('…');
    cut
}

fn letters(size: i32, colour: RGBColor, across: HPos, along: VPos) -> TextStyle<'static> {
    (FONT, size)
        .into_font()
        .color(&colour)
        .pos(Pos::new(across, along))
}

/// How a series looks: its colour, and its mark or dashes.
#[derive(Clone, Copy)]
struct Look {
    colour: RGBColor,
    form: usize,
}

impl Look {
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

    fn dashes(self) -> &'static [i32] {
        DASHES[self.form % DASHES.len()]
    }

    /// The colour mixed with white, for a stretch of y.
    fn wash(self) -> RGBColor {
        let mix = |part: u8| 255 - (255 - part) / 5;
        RGBColor(mix(self.colour.0), mix(self.colour.1), mix(self.colour.2))
    }
}

/// How each layer of a panel looks.
fn looks(panel: &Panel) -> Vec<Look> {
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
                (Some(series), _) => Look::of_series(series),
                (None, Layer::Points(_)) => Look::of_points(next(&mut points)),
                (None, Layer::Line(_)) => Look::of_line(next(&mut lines)),
                (None, Layer::Band(_)) => Look::of_line(lines),
                (None, Layer::Bars(_)) => Look::of_points(points),
                (None, _) => Look::of_points(0),
            }
        })
        .collect()
}

fn has_series(panel: &Panel) -> bool {
    panel.layers.iter().any(|layer| layer.series().is_some())
}

/// The names of series, in rows between the title and the panels.
struct Names<'a> {
    entries: Vec<(&'a Layer, Look)>,
    columns: i32,
}

impl<'a> Names<'a> {
    const SIZE: i32 = 26;
    const ROW: i32 = 38;
    /// Above so many names they stand in two columns.
    const MANY: usize = 6;

    fn of(figure: &'a Figure) -> Self {
        let mut entries: Vec<(&Layer, Look)> = Vec::new();
        for panel in figure.panels.iter().filter(|panel| has_series(panel)) {
            for (layer, look) in panel.layers.iter().zip(looks(panel)) {
                if !layer.name().is_empty() && !layer.shape().is_empty() {
                    entries.push((layer, look));
                }
            }
        }
        let columns = if entries.len() > Self::MANY { 2 } else { 1 };
        Self { entries, columns }
    }

    fn height(&self) -> i32 {
        let rows = self
            .entries
            .len()
            .div_ceil(usize::try_from(self.columns).unwrap_or(1));
        Self::ROW * i32::try_from(rows).unwrap_or(0)
    }

    fn draw<B: DrawingBackend>(&self, area: &Area<B>, top: i32, right: i32) -> Result<(), String> {
        let width = (right - LEFT) / self.columns;
        for (number, (layer, look)) in (0..).zip(&self.entries) {
            let left = LEFT + width * (number % self.columns);
            let middle = top + Self::ROW * (number / self.columns) + Self::ROW / 2;
            sample(area, layer, *look, (left, middle))?;
            let style = letters(Self::SIZE, BLACK, HPos::Left, VPos::Center);
            let name = fitted(layer.name(), Self::SIZE, width - 110);
            area.draw(&Text::new(name, (left + 72, middle), style))
                .map_err(words)?;
        }
        Ok(())
    }
}

/// A small piece of a layer, for a legend.
fn sample<B: DrawingBackend>(
    area: &Area<B>,
    layer: &Layer,
    look: Look,
    (left, middle): (i32, i32),
) -> Result<(), String> {
    let (from, to) = (left, left + 60);
    let centre = (left + 30, middle);
    let fill = |colour: RGBColor| {
        let box_of = [(from, middle - 12), (to, middle + 12)];
        area.draw(&Rectangle::new(box_of, colour.filled())).map_err(words)
    };
    match layer.shape() {
        Layer::Points(_) => mark(area, centre, look),
        Layer::LeftOut(_) => crossed(area, centre),
        Layer::Line(_) => stroke(
            area,
            &[(from, middle), (to, middle)],
            look.dashes(),
            look.colour.stroke_width(4),
        ),
        Layer::Level(_) => stroke(
            area,
            &[(from, middle), (to, middle)],
            DASHES[2],
            GREY.stroke_width(3),
        ),
        Layer::Bars(_) => {
            let ends = vec![(centre.0, middle - 12), (centre.0, middle + 12)];
            area.draw(&PathElement::new(ends, look.colour.stroke_width(2)))
                .map_err(words)
        }
        Layer::Band(_) => fill(look.wash()),
        Layer::Window(..) => fill(WASH),
        Layer::Marks(_) => {
            let (x, y) = centre;
            let tip = vec![(x, y + 9), (x - 9, y - 9), (x + 9, y - 9)];
            area.draw(&Polygon::new(tip, LINES[0].filled())).map_err(words)
        }
        Layer::Named(..) | Layer::Series(..) => Ok(()),
    }
}

/// Where a panel lies on the picture, and its scales.
struct Frame<'a> {
    x: &'a Scale,
    y: Scale,
    top: i32,
    bottom: i32,
    right: i32,
}

impl Frame<'_> {
    fn across(&self, x: f64) -> i32 {
        LEFT + (self.x.place(x) * f64::from(self.right - LEFT)).round() as i32
    }

    fn down(&self, y: f64) -> i32 {
        self.bottom - (self.y.place(y) * f64::from(self.bottom - self.top)).round() as i32
    }

    fn at(&self, (x, y): (f64, f64)) -> Option<(i32, i32)> {
        (self.x.holds(x) && self.y.holds(y)).then(|| (self.across(x), self.down(y)))
    }
}

type Area<B> = DrawingArea<B, Shift>;

/// A drawing error in words; the kinds of error of the two backends have nothing in common but that.
fn words(error: impl std::fmt::Display) -> String {
    error.to_string()
}

impl Figure {
    pub(super) fn draw<B: DrawingBackend>(&self, area: &Area<B>, sheet: Sheet) -> Result<(), String> {
        area.fill(&WHITE).map_err(words)?;
        let width = sheet.right() + RIGHT;
        if sheet.titled {
            let title = Text::new(
                fitted(&self.title, 36, width - 80),
                (width / 2, ABOVE / 2),
                letters(36, BLACK, HPos::Center, VPos::Center),
            );
            area.draw(&title).map_err(words)?;
        }
        let all = || self.panels.iter().flat_map(|panel| &panel.layers);
        let x = Scale::of(all().flat_map(|layer| layer.shape().xs()), true);
        let shares: f64 = self.panels.iter().map(|panel| panel.share.max(0.0)).sum();
        let gaps = BETWEEN * i32::try_from(self.panels.len().saturating_sub(1)).unwrap_or(0);
        let names = Names::of(self);
        let height = i32::try_from(sheet.height).unwrap_or(i32::MAX);
        let above = sheet.above() + names.height();
        names.draw(area, sheet.above(), sheet.right())?;
        let room = f64::from((height - above - BELOW - gaps).max(100));
        let mut top = above;
        for (number, panel) in self.panels.iter().enumerate() {
            let height = (room * panel.share.max(0.0) / shares.max(f64::MIN_POSITIVE)).round() as i32;
            let frame = Frame {
                x: &x,
                y: Scale::of(panel.layers.iter().flat_map(|layer| layer.shape().ys()), true),
                top,
                bottom: top + height,
                right: sheet.right(),
            };
            frame.draw(area, panel, number + 1 == self.panels.len())?;
            top = frame.bottom + BETWEEN;
        }
        area.present().map_err(words)
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

impl Frame<'_> {
    fn draw<B: DrawingBackend>(&self, area: &Area<B>, panel: &Panel, last: bool) -> Result<(), String> {
        let looks = looks(panel);
        for (layer, look) in panel.layers.iter().zip(&looks) {
            match layer.shape() {
                Layer::Window(from, to) => self.window(area, *from, *to)?,
                Layer::Band(all) => self.band(area, all, *look)?,
                _ => {}
            }
        }
        self.axes(area, panel, last)?;
        let mut legend: Vec<(&Layer, Look)> = Vec::new();
        for (layer, look) in panel.layers.iter().zip(&looks) {
            match layer.shape() {
                Layer::Window(..) | Layer::Band(_) | Layer::Named(..) | Layer::Series(..) => {}
                Layer::Points(all) => self.points(area, all, |at| mark(area, at, *look))?,
                Layer::LeftOut(all) => self.points(area, all, |at| crossed(area, at))?,
                Layer::Line(all) => self.line(area, all, *look)?,
                Layer::Bars(all) => self.bars(area, all, *look)?,
                Layer::Level(level) => {
                    let whole = [(self.x.low, *level), (self.x.high, *level)];
                    let ends: Vec<(i32, i32)> = whole.into_iter().filter_map(|at| self.at(at)).collect();
                    stroke(area, &ends, DASHES[2], GREY.stroke_width(3))?;
                }
                Layer::Marks(all) => self.marks(area, all)?,
            }
            if !layer.name().is_empty() && !layer.shape().is_empty() {
                legend.push((layer, *look));
            }
        }
        // Series are named above the panels, where nothing is covered.
        if legend.len() > 1 && !has_series(panel) {
            self.legend(area, &legend)?;
        }
        Ok(())
    }

    /// A stretch of y along a curve.
    fn band<B: DrawingBackend>(
        &self,
        area: &Area<B>,
        all: &[(f64, f64, f64)],
        look: Look,
    ) -> Result<(), String> {
        let inside = |y: f64| self.down(y.clamp(self.y.low, self.y.high));
        let seen = || {
            all.iter()
                .filter(|(x, low, high)| self.x.holds(*x) && low.is_finite() && high.is_finite())
        };
        let mut outline: Vec<(i32, i32)> = seen()
            .map(|(x, low, _)| (self.across(*x), inside(*low)))
            .collect();
        let back: Vec<(i32, i32)> = seen()
            .map(|(x, _, high)| (self.across(*x), inside(*high)))
            .collect();
        outline.extend(back.into_iter().rev());
        if outline.len() < 4 {
            return Ok(());
        }
        area.draw(&Polygon::new(outline, look.wash().filled()))
            .map_err(words)
    }

    /// Error bars with short ends.
    fn bars<B: DrawingBackend>(
        &self,
        area: &Area<B>,
        all: &[(f64, f64, f64)],
        look: Look,
    ) -> Result<(), String> {
        let mut seen = HashSet::new();
        for (x, low, high) in all {
            if !(self.x.holds(*x) && low.is_finite() && high.is_finite()) {
                continue;
            }
            let inside = |y: &f64| self.down(y.clamp(self.y.low, self.y.high));
            let (across, from, to) = (self.across(*x), inside(low), inside(high));
            if !seen.insert((across, from, to)) {
                continue;
            }
            for pair in [
                [(across, from), (across, to)],
                [(across - 6, from), (across + 6, from)],
                [(across - 6, to), (across + 6, to)],
            ] {
                area.draw(&PathElement::new(pair.to_vec(), look.colour.stroke_width(2)))
                    .map_err(words)?;
            }
        }
        Ok(())
    }

    fn window<B: DrawingBackend>(&self, area: &Area<B>, from: f64, to: f64) -> Result<(), String> {
        if !(from.is_finite() && to.is_finite()) {
            return Ok(());
        }
        let inside = |x: f64| self.across(x.clamp(self.x.low, self.x.high));
        let corners = [(inside(from), self.top), (inside(to), self.bottom)];
        area.draw(&Rectangle::new(corners, WASH.filled())).map_err(words)
    }

    fn axes<B: DrawingBackend>(&self, area: &Area<B>, panel: &Panel, last: bool) -> Result<(), String> {
        let right = self.right;
        let small = 28;
        for (value, text) in &self.y.ticks {
            let at = self.down(*value);
            area.draw(&PathElement::new(
                vec![(LEFT, at), (right, at)],
                PALE.stroke_width(1),
            ))
            .map_err(words)?;
            area.draw(&PathElement::new(
                vec![(LEFT - 10, at), (LEFT, at)],
                BLACK.stroke_width(2),
            ))
            .map_err(words)?;
            let style = letters(small, BLACK, HPos::Right, VPos::Center);
            area.draw(&Text::new(text.clone(), (LEFT - 16, at), style))
                .map_err(words)?;
        }
        for (value, text) in &self.x.ticks {
            let at = self.across(*value);
            area.draw(&PathElement::new(
                vec![(at, self.top), (at, self.bottom)],
                PALE.stroke_width(1),
            ))
            .map_err(words)?;
            area.draw(&PathElement::new(
                vec![(at, self.bottom), (at, self.bottom + 10)],
                BLACK.stroke_width(2),
            ))
            .map_err(words)?;
            if last {
                let style = letters(small, BLACK, HPos::Center, VPos::Top);
                area.draw(&Text::new(text.clone(), (at, self.bottom + 18), style))
                    .map_err(words)?;
            }
        }
        let corners = [(LEFT, self.top), (right, self.bottom)];
        area.draw(&Rectangle::new(corners, BLACK.stroke_width(2)))
            .map_err(words)?;
        let height = self.bottom - self.top;
        let upright = letters(30, BLACK, HPos::Center, VPos::Center).transform(FontTransform::Rotate270);
        let text = fitted(&panel.y, 30, height + BETWEEN);
        area.draw(&Text::new(text, (36, self.top + height / 2), upright))
            .map_err(words)?;
        if last {
            let style = letters(30, BLACK, HPos::Center, VPos::Center);
            let text = fitted(&panel.x, 30, right - LEFT);
            area.draw(&Text::new(text, ((LEFT + right) / 2, self.bottom + 90), style))
                .map_err(words)?;
        }
        Ok(())
    }

    /// Each place of the picture is marked once, so that its size is bounded by that of the picture.
    fn points<E>(
        &self,
        _: &Area<E>,
        points: &[(f64, f64)],
        mut put: impl FnMut((i32, i32)) -> Result<(), String>,
    ) -> Result<(), String>
    where
        E: DrawingBackend,
    {
        let mut seen = HashSet::new();
        for at in points.iter().filter_map(|point| self.at(*point)) {
            if seen.insert(at) {
                put(at)?;
            }
        }
        Ok(())
    }

    fn line<B: DrawingBackend>(
        &self,
        area: &Area<B>,
        points: &[(f64, f64)],
        look: Look,
    ) -> Result<(), String> {
        let style = look.colour.stroke_width(4);
        let dashes = look.dashes();
        let mut piece: Vec<(i32, i32)> = Vec::new();
        for point in points {
            match self.at(*point) {
                Some(at) => {
                    if piece.last() != Some(&at) {
                        piece.push(at);
                    }
                }
                // A value that is none is a gap.
                None => stroke(area, &thinned(&std::mem::take(&mut piece)), dashes, style)?,
            }
        }
        stroke(area, &thinned(&piece), dashes, style)
    }

    fn marks<B: DrawingBackend>(&self, area: &Area<B>, marks: &[(f64, f64, String)]) -> Result<(), String> {
        let colour = LINES[0];
        for (number, (x, y, name)) in marks.iter().enumerate() {
            let Some((across, down)) = self.at((*x, *y)) else {
                continue;
            };
            let tip = vec![
                (across, down - 6),
                (across - 9, down - 24),
                (across + 9, down - 24),
            ];
            area.draw(&Polygon::new(tip, colour.filled())).map_err(words)?;
            if number < MOST_NAMES {
                let style = letters(26, BLACK, HPos::Center, VPos::Bottom);
                let at = (across, (down - 30).max(self.top + 24));
                area.draw(&Text::new(fitted(name, 26, 400), at, style))
                    .map_err(words)?;
            }
        }
        Ok(())
    }

    /// The legend stands inside the panel, in the upper corner with fewer points under it.
    fn legend<B: DrawingBackend>(&self, area: &Area<B>, entries: &[(&Layer, Look)]) -> Result<(), String> {
        const SIZE: i32 = 26;
        const ROW: i32 = 38;
        let names: Vec<String> = entries
            .iter()
            .map(|(layer, _)| fitted(layer.name(), SIZE, (self.right - LEFT - 200).min(520)))
            .collect();
        let longest = names.iter().map(|name| name.chars().count()).max().unwrap_or(0);
        let width = 100 + i32::try_from(longest).unwrap_or(0) * SIZE * 55 / 100;
        let height = 16 + ROW * i32::try_from(names.len()).unwrap_or(0);
        let corners = [
            (self.right - width - 14, self.top + 14),
            (LEFT + 14, self.top + 14),
            (self.right - width - 14, self.bottom - height - 14),
            (LEFT + 14, self.bottom - height - 14),
        ];
        let covered = |corner: &(i32, i32)| {
            entries
                .iter()
                .flat_map(|(layer, _)| layer.shape().places())
                .filter_map(|point| self.at(point))
                .filter(|(x, y)| {
                    (corner.0..=corner.0 + width).contains(x) && (corner.1..=corner.1 + height).contains(y)
                })
                .count()
        };
        let corner = corners.into_iter().min_by_key(covered).unwrap_or(corners[0]);
        let far = (corner.0 + width, corner.1 + height);
        area.draw(&Rectangle::new([corner, far], WHITE.filled()))
            .map_err(words)?;
        area.draw(&Rectangle::new([corner, far], GREY.stroke_width(1)))
            .map_err(words)?;
        let mut middle = corner.1 + 8 + ROW / 2;
        for ((layer, look), name) in entries.iter().zip(names) {
            sample(area, layer, *look, (corner.0 + 14, middle))?;
            let style = letters(SIZE, BLACK, HPos::Left, VPos::Center);
            area.draw(&Text::new(name, (corner.0 + 86, middle), style))
                .map_err(words)?;
            middle += ROW;
        }
        Ok(())
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
fn thinned(points: &[(i32, i32)]) -> Vec<(i32, i32)> {
    /// More points than a picture has columns of dots, four times.
    const MANY: usize = 6400;
    if points.len() <= MANY {
        return points.to_vec();
    }
    let mut all = Vec::new();
    for column in points.chunk_by(|a, b| a.0 == b.0) {
        let by_height = || column.iter().enumerate();
        let lowest = by_height()
            .max_by_key(|(_, at)| at.1)
            .map_or(0, |(place, _)| place);
        let highest = by_height()
            .min_by_key(|(_, at)| at.1)
            .map_or(0, |(place, _)| place);
        let mut places = [0, lowest, highest, column.len() - 1];
        places.sort_unstable();
        all.extend(places.map(|place| column[place]));
    }
    all.dedup();
    all
}

/// A line with dashes: `dashes` holds lengths that are drawn and left out in turn; none for a whole line.
fn stroke<B: DrawingBackend>(
    area: &Area<B>,
    points: &[(i32, i32)],
    dashes: &[i32],
    style: ShapeStyle,
) -> Result<(), String> {
    if points.len() < 2 {
        return match points {
            [at] => area.draw(&Circle::new(*at, 3, style.filled())).map_err(words),
            _ => Ok(()),
        };
    }
    if dashes.is_empty() {
        return area
            .draw(&PathElement::new(points.to_vec(), style))
            .map_err(words);
    }
    let (mut turn, mut left) = (0, f64::from(dashes[0]));
    let mut piece = vec![points[0]];
    for pair in points.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let length = f64::from(to.0 - from.0).hypot(f64::from(to.1 - from.1));
        let mut done = 0.0;
        while length - done > left {
            done += left;
            let part = done / length;
            let place = |a: i32, b: i32| a + (f64::from(b - a) * part).round() as i32;
            let at = (place(from.0, to.0), place(from.1, to.1));
            piece.push(at);
            if turn % 2 == 0 {
                area.draw(&PathElement::new(std::mem::take(&mut piece), style))
                    .map_err(words)?;
            }
            piece = vec![at];
            turn = (turn + 1) % dashes.len();
            left = f64::from(dashes[turn]);
        }
        left -= length - done;
        piece.push(to);
    }
    if turn % 2 == 0 && piece.len() > 1 {
        area.draw(&PathElement::new(piece, style)).map_err(words)?;
    }
    Ok(())
}

/// The mark of the points of one series.
fn mark<B: DrawingBackend>(area: &Area<B>, (x, y): (i32, i32), look: Look) -> Result<(), String> {
    const R: i32 = 8;
    let style = look.colour.stroke_width(3);
    match look.form % 4 {
        0 => area.draw(&Circle::new((x, y), R, style)).map_err(words),
        1 => {
            let corners = vec![(x, y - R), (x - R, y + R), (x + R, y + R), (x, y - R)];
            area.draw(&PathElement::new(corners, style)).map_err(words)
        }
        2 => {
            let corners = vec![
                (x - R, y - R),
                (x + R, y - R),
                (x + R, y + R),
                (x - R, y + R),
                (x - R, y - R),
            ];
            area.draw(&PathElement::new(corners, style)).map_err(words)
        }
        _ => {
            let corners = vec![(x, y - R), (x + R, y), (x, y + R), (x - R, y), (x, y - R)];
            area.draw(&PathElement::new(corners, style)).map_err(words)
        }
    }
}

/// The mark of a point that was left out.
fn crossed<B: DrawingBackend>(area: &Area<B>, (x, y): (i32, i32)) -> Result<(), String> {
    const R: i32 = 8;
    for strokes in [[(x - R, y - R), (x + R, y + R)], [(x - R, y + R), (x + R, y - R)]] {
        area.draw(&PathElement::new(strokes.to_vec(), GREY.stroke_width(3)))
            .map_err(words)?;
    }
    Ok(())
}
