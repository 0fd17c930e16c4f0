//! Pictures of results: data, fit and residuals, as SVG or PNG.
//!
//! The layout is our own and plain; a plotting library draws it. Every series is told by its colour *and* by its mark
//! or line. The colours are those of Okabe and Ito, Color Universal Design (2008), made to be told apart by people with
//! any kind of colour vision. One font comes with the program, so that a machine without fonts draws the same picture.

use std::collections::HashSet;
use std::path::Path;
use std::sync::Once;

use clap::ValueEnum;
use curvary_analysis::study::Found;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

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
    /// A layer that the legend calls otherwise than its kind.
    Named(String, Box<Self>),
}

impl Layer {
    /// The layer under a name of its own in the legend.
    pub(crate) fn named(self, name: impl Into<String>) -> Self {
        Self::Named(name.into(), Box::new(self))
    }

    fn name(&self) -> &str {
        match self {
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
            Self::Named(_, layer) => layer.shape(),
            layer => layer,
        }
    }
}

impl Figure {
    /// Writes the picture.
    pub(crate) fn write(&self, path: &Path, kind: Kind) -> Result<(), Failure> {
        std::fs::write(path, self.bytes(kind)?).map_err(|error| Failure::file("write", path, &error))
    }

    fn bytes(&self, kind: Kind) -> Result<Vec<u8>, Failure> {
        load_font();
        match kind {
            Kind::Svg => {
                let mut text = String::new();
                let area = SVGBackend::with_string(&mut text, (WIDTH, HEIGHT)).into_drawing_area();
                self.draw(&area).map_err(|why| undrawn(&why))?;
                drop(area);
                Ok(text.into_bytes())
            }
            Kind::Png => {
                let mut dots = vec![255; (WIDTH * HEIGHT * 3) as usize];
                let area = BitMapBackend::with_buffer(&mut dots, (WIDTH, HEIGHT)).into_drawing_area();
                self.draw(&area).map_err(|why| undrawn(&why))?;
                drop(area);
                png_of(&dots).map_err(|why| undrawn(&why.to_string()))
            }
        }
    }
}

fn undrawn(why: &str) -> Failure {
    Failure::file(
        "draw",
        Path::new("the picture"),
        &std::io::Error::other(why.to_owned()),
    )
}

fn png_of(dots: &[u8]) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, WIDTH, HEIGHT);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(dots)?;
    writer.finish()?;
    Ok(bytes)
}

/// Width of every picture, in dots.
const WIDTH: u32 = 1600;
/// Height of every picture.
const HEIGHT: u32 = 1200;
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
fn load_font() {
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

/// The ends of an axis and the numbers along it.
#[derive(Clone, Debug, PartialEq)]
struct Scale {
    low: f64,
    high: f64,
    ticks: Vec<(f64, String)>,
}

impl Scale {
    /// The scale that shows all finite values, with a little air where `air`; a single value stands in the middle.
    fn of(values: impl Iterator<Item = f64>, air: bool) -> Self {
        // Beyond this the arithmetic of a scale overflows; nothing measured is that large.
        const LARGEST: f64 = 1e300;
        let (mut low, mut high) = values
            .filter(|value| value.is_finite())
            .map(|value| value.clamp(-LARGEST, LARGEST))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        let size = low.abs().max(high.abs());
        // Below a billionth of the values, differences drown in the digits of doubles and of labels.
        if high - low <= 1e-9 * size || high - low < 1e-300 {
            let half = if size < 1e-290 { 1.0 } else { 0.05 * size };
            (low, high) = (low - half, high + half);
        } else if air {
            let more = 0.05 * (high - low);
            (low, high) = (low - more, high + more);
        }
        let ticks = ticks(low, high);
        Self { low, high, ticks }
    }

    /// Where a value lies, 0 to 1 inside the scale.
    fn place(&self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }

    fn holds(&self, value: f64) -> bool {
        value.is_finite() && value >= self.low && value <= self.high
    }
}

/// Round numbers between two ends: steps of 1, 2 or 5 times a power of ten, at most about seven.
fn ticks(low: f64, high: f64) -> Vec<(f64, String)> {
    let rough = (high - low) / 6.0;
    let power = rough.log10().floor();
    let unit = 10f64.powf(power);
    let factor = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .find(|factor| factor * unit >= rough)
        .unwrap_or(10.0);
    let step = factor * unit;
    if !(step.is_finite() && step > 0.0) {
        return Vec::new();
    }
    let first = (low / step).ceil();
    let power = power as i32 + i32::from(factor == 10.0);
    let size = low.abs().max(high.abs());
    (0..12)
        .map(|i| (first + f64::from(i)) * step)
        .take_while(|value| *value <= high + 1e-9 * step)
        .map(|value| {
            (
                value,
                label(if value.abs() < 1e-9 * step { 0.0 } else { value }, power, size),
            )
        })
        .collect()
}

/// A number with as many digits as steps of this power of ten need.
fn label(value: f64, power: i32, size: f64) -> String {
    if !(1e-3..1e6).contains(&size) {
        if value == 0.0 {
            return "0".into();
        }
        let own = value.abs().log10().floor() as i32;
        let digits = usize::try_from(own - power).unwrap_or(0).min(12);
        return format!("{value:.digits$e}");
    }
    let digits = usize::try_from(-power).unwrap_or(0).min(12);
    format!("{value:.digits$}")
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
    fn draw<B: DrawingBackend>(&self, area: &Area<B>) -> Result<(), String> {
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
    if let Some(curve) = &drawn.curve {
        line.clone_from(curve);
    }
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
                layers: vec![
                    Layer::LeftOut(left_out),
                    Layer::Points(points),
                    Layer::Line(line).named("fit"),
                ],
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn figure(points: &[(f64, f64)]) -> Figure {
        let marks = points
            .iter()
            .map(|(x, y)| (*x, *y, "a < b & \"c\"".to_owned()))
            .collect();
        Figure {
            title: "run <1> & others \u{7}".into(),
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
        String::from_utf8(figure.bytes(Kind::Svg).expect("drawn")).expect("text")
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

    /// Decoded by the general-purpose library that reads PNG.
    #[test]
    fn a_png_has_its_size_and_is_not_blank() {
        let points: Vec<(f64, f64)> = (0..50).map(|i| (f64::from(i), f64::from(i * i))).collect();
        let bytes = figure(&points).bytes(Kind::Png).expect("drawn");
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("a PNG");
        let mut dots = vec![0; reader.output_buffer_size().expect("a size")];
        let frame = reader.next_frame(&mut dots).expect("a picture");
        assert_eq!((frame.width, frame.height), (WIDTH, HEIGHT));
        let dark = dots
            .chunks(3)
            .filter(|dot| dot.iter().all(|part| *part < 60))
            .count();
        assert!(dark > 5000, "frame and letters are black: {dark}");
    }

    #[test]
    fn ticks_are_round_and_few() {
        let shown = |low: f64, high: f64| -> Vec<String> {
            ticks(low, high).into_iter().map(|(_, text)| text).collect()
        };
        assert_eq!(shown(0.0, 1.0), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        assert_eq!(shown(195.0, 505.0), ["200", "300", "400", "500"]);
        assert_eq!(shown(-1e-6, 1.0e-6), ["-1.0e-6", "-5e-7", "0", "5e-7", "1.0e-6"]);
    }

    #[test]
    fn a_long_curve_stays_small() {
        let points: Vec<(f64, f64)> = (0..400_000).map(|i| (f64::from(i), f64::from(i % 977))).collect();
        let figure = Figure {
            title: "long".into(),
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
            let scale = Scale::of([a, b].into_iter(), true);
            prop_assert!(scale.low.is_finite() && scale.high.is_finite() && scale.low < scale.high);
            prop_assert!(scale.ticks.len() <= 12);
            prop_assert!(scale.ticks.iter().all(|(at, text)| at.is_finite() && text.len() < 24));
        }
    }
}
