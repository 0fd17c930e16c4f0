//! Frames, axes, lines, marks and legends on a drawing area.

use std::collections::HashSet;
use std::sync::Once;

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::scale::Scale;
use super::{Figure, Layer, Panel};

/// Width of every picture, in dots.
pub(super) const WIDTH: u32 = 1600;
/// Height of every picture.
pub(super) const HEIGHT: u32 = 1200;
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

/// Where a panel lies on the picture, and its scales.
struct Frame<'a> {
    x: &'a Scale,
    y: Scale,
    top: i32,
    bottom: i32,
}

impl Frame<'_> {
    fn right() -> i32 {
        WIDTH as i32 - RIGHT
    }

    fn across(&self, x: f64) -> i32 {
        LEFT + (self.x.place(x) * f64::from(Self::right() - LEFT)).round() as i32
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
    pub(super) fn draw<B: DrawingBackend>(&self, area: &Area<B>) -> Result<(), String> {
        area.fill(&WHITE).map_err(words)?;
        let title = Text::new(
            fitted(&self.title, 36, WIDTH as i32 - 80),
            (WIDTH as i32 / 2, ABOVE / 2),
            letters(36, BLACK, HPos::Center, VPos::Center),
        );
        area.draw(&title).map_err(words)?;
        let all = || self.panels.iter().flat_map(|panel| &panel.layers);
        let x = Scale::of(all().flat_map(|layer| layer.shape().xs()), true);
        let shares: f64 = self.panels.iter().map(|panel| panel.share.max(0.0)).sum();
        let gaps = BETWEEN * i32::try_from(self.panels.len().saturating_sub(1)).unwrap_or(0);
        let room = f64::from(HEIGHT as i32 - ABOVE - BELOW - gaps);
        let mut top = ABOVE;
        for (number, panel) in self.panels.iter().enumerate() {
            let height = (room * panel.share.max(0.0) / shares.max(f64::MIN_POSITIVE)).round() as i32;
            let frame = Frame {
                x: &x,
                y: Scale::of(panel.layers.iter().flat_map(|layer| layer.shape().ys()), true),
                top,
                bottom: top + height,
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
            Self::Named(_, layer) => layer.xs(),
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
            Self::Named(_, layer) => layer.ys(),
        }
    }
}

impl Frame<'_> {
    fn draw<B: DrawingBackend>(&self, area: &Area<B>, panel: &Panel, last: bool) -> Result<(), String> {
        for layer in &panel.layers {
            if let Layer::Window(from, to) = layer.shape() {
                self.window(area, *from, *to)?;
            }
        }
        self.axes(area, panel, last)?;
        let (mut lines, mut points) = (0, 0);
        let mut legend: Vec<(&Layer, usize)> = Vec::new();
        for layer in &panel.layers {
            let mut number = 0;
            match layer.shape() {
                Layer::Window(..) | Layer::Named(..) => {}
                Layer::Points(all) => {
                    number = points;
                    points += 1;
                    self.points(area, all, |at| mark(area, at, number))?;
                }
                Layer::LeftOut(all) => self.points(area, all, |at| crossed(area, at))?,
                Layer::Line(all) => {
                    number = lines;
                    lines += 1;
                    self.line(area, all, number)?;
                }
                Layer::Level(level) => {
                    let whole = [(self.x.low, *level), (self.x.high, *level)];
                    let ends: Vec<(i32, i32)> = whole.into_iter().filter_map(|at| self.at(at)).collect();
                    stroke(area, &ends, DASHES[2], GREY.stroke_width(3))?;
                }
                Layer::Marks(all) => self.marks(area, all)?,
            }
            if !layer.name().is_empty() && !layer.shape().is_empty() {
                legend.push((layer, number));
            }
        }
        if legend.len() > 1 {
            self.legend(area, &legend)?;
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
        let right = Self::right();
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
        number: usize,
    ) -> Result<(), String> {
        let style = LINES[number % LINES.len()].stroke_width(4);
        let dashes = DASHES[number % DASHES.len()];
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
    fn legend<B: DrawingBackend>(&self, area: &Area<B>, entries: &[(&Layer, usize)]) -> Result<(), String> {
        const SIZE: i32 = 26;
        const ROW: i32 = 38;
        let names: Vec<String> = entries
            .iter()
            .map(|(layer, _)| fitted(layer.name(), SIZE, 520))
            .collect();
        let longest = names.iter().map(|name| name.chars().count()).max().unwrap_or(0);
        let width = 100 + i32::try_from(longest).unwrap_or(0) * SIZE * 55 / 100;
        let height = 16 + ROW * i32::try_from(names.len()).unwrap_or(0);
        let corners = [
            (Self::right() - width - 14, self.top + 14),
            (LEFT + 14, self.top + 14),
            (Self::right() - width - 14, self.bottom - height - 14),
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
        for ((layer, number), name) in entries.iter().zip(names) {
            let (from, to) = (corner.0 + 14, corner.0 + 74);
            let centre = (corner.0 + 44, middle);
            match layer.shape() {
                Layer::Points(_) => mark(area, centre, *number)?,
                Layer::LeftOut(_) => crossed(area, centre)?,
                Layer::Line(_) => stroke(
                    area,
                    &[(from, middle), (to, middle)],
                    DASHES[number % DASHES.len()],
                    LINES[number % LINES.len()].stroke_width(4),
                )?,
                Layer::Level(_) => {
                    stroke(
                        area,
                        &[(from, middle), (to, middle)],
                        DASHES[2],
                        GREY.stroke_width(3),
                    )?;
                }
                Layer::Named(..) => {}
                Layer::Window(..) => {
                    let box_of = [(from, middle - 12), (to, middle + 12)];
                    area.draw(&Rectangle::new(box_of, WASH.filled())).map_err(words)?;
                }
                Layer::Marks(_) => {
                    let (x, y) = centre;
                    let tip = vec![(x, y + 9), (x - 9, y - 9), (x + 9, y - 9)];
                    area.draw(&Polygon::new(tip, LINES[0].filled())).map_err(words)?;
                }
            }
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
            Self::Named(_, layer) => layer.is_empty(),
            Self::Level(_) | Self::Window(..) => false,
        }
    }

    fn places(&self) -> Vec<(f64, f64)> {
        match self {
            Self::Points(points) | Self::LeftOut(points) | Self::Line(points) => points.clone(),
            Self::Marks(marks) => marks.iter().map(|(x, y, _)| (*x, *y)).collect(),
            Self::Named(_, layer) => layer.places(),
            Self::Level(_) | Self::Window(..) => Vec::new(),
        }
    }
}

/// A curve of very many points, thinned to what can be seen: the first, lowest, highest and last of each column of dots.
fn thinned(points: &[(i32, i32)]) -> Vec<(i32, i32)> {
    if points.len() <= 4 * WIDTH as usize {
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
fn mark<B: DrawingBackend>(area: &Area<B>, (x, y): (i32, i32), number: usize) -> Result<(), String> {
    const R: i32 = 8;
    let style = POINTS[number % POINTS.len()].stroke_width(3);
    match number % POINTS.len() {
        0 => area.draw(&Circle::new((x, y), R, style)).map_err(words),
        1 => {
            let corners = vec![(x, y - R), (x - R, y + R), (x + R, y + R), (x, y - R)];
            area.draw(&PathElement::new(corners, style)).map_err(words)
        }
        2 => area
            .draw(&Rectangle::new([(x - R, y - R), (x + R, y + R)], style))
            .map_err(words),
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
