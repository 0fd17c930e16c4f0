//! The report as a printed page: PDF, with its text, so that it can be searched, copied and read by programs.
//!
//! Blocks are laid out on pages first, line by line, and drawn then. Pictures are the same drawings as on the web page,
//! as lines and not as dots. The same runs are the same bytes.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use ab_glyph::{Font as _, FontRef};
use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};
use resvg::usvg::{self, Node, Tree};

use super::content::{ColumnHeading, ReportBlock, ReportCell, ReportPage, ReportRow, TextWeight};
use crate::ending::Failure;
use crate::figure::{Figure, FigureKind, Size, drawing};

/// A4, in points of a seventy-second of an inch.
const SHEET: (f32, f32) = (595.28, 841.89);
const MARGIN: f32 = 50.0;
const WIDTH: f32 = SHEET.0 - 2.0 * MARGIN;
/// The lowest line of text; the page's number stands below.
const FLOOR: f32 = SHEET.1 - 60.0;
/// Between two columns of a table.
const GAP: f32 = 8.0;
/// From one line of text to the next, in sizes of its letters.
const LEADING: f32 = 1.35;

/// Something at its place on a page; y runs down.
enum PageItem {
    Text {
        x: f32,
        y: f32,
        size: f32,
        strong: bool,
        faint: bool,
        text: String,
    },
    Rule {
        y: f32,
        width: f32,
    },
    Picture {
        y: f32,
        scale: f32,
        tree: Box<Tree>,
    },
}

/// The letters of both weights, for their widths.
fn letters(strong: bool) -> Option<&'static FontRef<'static>> {
    static LETTERS: OnceLock<[Option<FontRef<'static>>; 2]> = OnceLock::new();
    let all = LETTERS.get_or_init(|| {
        [dejavu::sans::regular(), dejavu::sans::bold()].map(|font| FontRef::try_from_slice(font).ok())
    });
    all[usize::from(strong)].as_ref()
}

fn width_of(text: &str, size: f32, strong: bool) -> f32 {
    let Some(font) = letters(strong) else {
        return size * 0.6 * text.chars().count() as f32;
    };
    // A size of the font is the height of its lines; ours is that of its em.
    let units = font.units_per_em().unwrap_or(2048.0);
    text.chars()
        .map(|sign| font.h_advance_unscaled(font.glyph_id(sign)))
        .sum::<f32>()
        * size
        / units
}

/// A text in lines no wider than `width`; a word that is wider is cut.
fn lines_of(text: &str, size: f32, strong: bool, width: f32) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let joined = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if width_of(&joined, size, strong) <= width {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for sign in word.chars() {
            line.push(sign);
            if width_of(&line, size, strong) > width && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::replace(&mut line, sign.to_string()));
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// Pages in the making.
struct PageLayout {
    pages: Vec<Vec<PageItem>>,
    /// Where the next line begins.
    y: f32,
}

impl PageLayout {
    fn item(&mut self, item: PageItem) {
        if let Some(page) = self.pages.last_mut() {
            page.push(item);
        }
    }

    fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = MARGIN;
    }

    /// Begins a new page unless there is so much room.
    fn room(&mut self, height: f32) {
        if self.y + height > FLOOR && self.y > MARGIN {
            self.turn();
        }
    }

    fn words(&mut self, text: &str, (size, strong, faint): (f32, bool, bool), indent: f32) {
        for line in lines_of(text, size, strong, WIDTH - indent) {
            self.room(size * LEADING);
            self.y += size * LEADING;
            self.item(PageItem::Text {
                x: MARGIN + indent,
                y: self.y,
                size,
                strong,
                faint,
                text: line,
            });
        }
    }

    fn block(&mut self, block: ReportBlock) -> Result<(), Failure> {
        match block {
            ReportBlock::Chapter { anchor } => {
                // Each run begins a page, as on paper from the web page.
                if anchor.is_some() {
                    self.turn();
                }
                self.y += 10.0;
            }
            ReportBlock::Heading {
                order, words, note, ..
            } => {
                let size = match order {
                    2 => 14.0,
                    3 => 11.0,
                    _ => 9.5,
                };
                // A heading never stands alone at the foot of a page.
                self.room(size * LEADING + 50.0);
                self.y += size * 0.7;
                let words = if note.is_empty() {
                    words
                } else {
                    format!("{words} ({note})")
                };
                self.words(&words, (size, true, false), 0.0);
                self.y += 3.0;
            }
            ReportBlock::Words(weight, text) => {
                let (size, text) = match weight {
                    TextWeight::Plain => (9.0, text),
                    TextWeight::Told => (8.0, text),
                    TextWeight::Warning => (9.0, format!("! {text}")),
                };
                self.words(&text, (size, false, weight == TextWeight::Told), 0.0);
                self.y += 3.0;
            }
            ReportBlock::List(all) => {
                for text in all {
                    self.words(&format!("– {text}"), (9.0, false, false), 8.0);
                }
                self.y += 3.0;
            }
            ReportBlock::Table(heads, rows) => self.table(heads, &rows),
            ReportBlock::Picture(_, figure) => self.picture(&figure)?,
        }
        Ok(())
    }

    fn table(&mut self, heads: &[ColumnHeading], rows: &[ReportRow]) {
        const SIZE: f32 = 8.0;
        let widths = widths(heads, rows, SIZE);
        let cells: Vec<ReportCell> = heads
            .iter()
            .map(|(head, _)| ReportCell {
                strong: true,
                ..ReportCell::from(*head)
            })
            .collect();
        self.room(3.0 * SIZE * LEADING);
        let head = ReportRow { cells, weak: false };
        self.row(heads, &head, &widths, SIZE);
        for row in rows {
            if self.row(heads, row, &widths, SIZE) {
                continue;
            }
            // The head stands again where a table goes on.
            self.turn();
            self.row(heads, &head, &widths, SIZE);
            self.row(heads, row, &widths, SIZE);
        }
        self.y += 6.0;
    }

    /// Sets a row where there is room for it; a row that no page has room for goes on below the foot of its page.
    fn row(&mut self, heads: &[ColumnHeading], row: &ReportRow, widths: &[f32], size: f32) -> bool {
        let cells: Vec<Vec<String>> = row
            .cells
            .iter()
            .zip(widths)
            .map(|(cell, width)| lines_of(&cell.text, size, cell.strong, *width))
            .collect();
        let count = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
        let height = count as f32 * size * LEADING + 3.0;
        if self.y + height > FLOOR && self.y > MARGIN + 4.0 * size {
            return false;
        }
        let mut x = MARGIN;
        for (((lines, cell), width), (_, number)) in cells.into_iter().zip(&row.cells).zip(widths).zip(heads)
        {
            for (at, text) in lines.into_iter().enumerate() {
                let room = width - width_of(&text, size, cell.strong);
                self.item(PageItem::Text {
                    x: x + if *number { room.max(0.0) } else { 0.0 },
                    y: self.y + (at + 1) as f32 * size * LEADING,
                    size,
                    strong: cell.strong,
                    faint: row.weak,
                    text,
                });
            }
            x += width + GAP;
        }
        self.y += height;
        self.item(PageItem::Rule {
            y: self.y,
            width: if row.cells.iter().all(|cell| cell.strong) {
                0.8
            } else {
                0.3
            },
        });
        true
    }

    fn picture(&mut self, figure: &Figure) -> Result<(), Failure> {
        let svg = figure.bytes(FigureKind::Svg, Size::Screen)?;
        let tree = drawing(&String::from_utf8_lossy(&svg))?;
        let mut scale = WIDTH * 0.85 / tree.size().width();
        let mut height = tree.size().height() * scale;
        // A picture that almost fits is made a little smaller.
        let left = FLOOR - self.y - 6.0;
        if left < height && left > 0.7 * height {
            scale *= left / height;
            height = left;
        }
        self.room(height + 6.0);
        let y = self.y;
        self.item(PageItem::Picture {
            y,
            scale,
            tree: Box::new(tree),
        });
        self.y += height + 6.0;
        Ok(())
    }
}

/// The widths of columns: what they need, as far as there is room, else the wide ones give.
fn widths(heads: &[ColumnHeading], rows: &[ReportRow], size: f32) -> Vec<f32> {
    let mut needed: Vec<f32> = heads
        .iter()
        .map(|(head, _)| width_of(head, size, true) + 1.0)
        .collect();
    let least = needed.clone();
    for row in rows {
        for (cell, needed) in row.cells.iter().zip(&mut needed) {
            *needed = needed.max(width_of(&cell.text, size, cell.strong) + 1.0);
        }
    }
    let room = WIDTH - GAP * heads.len().saturating_sub(1) as f32;
    for _ in 0..200 {
        let total: f32 = needed.iter().sum();
        if total <= room {
            break;
        }
        let widest = needed
            .iter()
            .zip(&least)
            .enumerate()
            .max_by(|(_, (a, la)), (_, (b, lb))| (*a - *la).total_cmp(&(*b - *lb)))
            .map(|(at, _)| at);
        let Some(at) = widest else { break };
        let given = (total - room).min((needed[at] - least[at]) * 0.3).max(0.5);
        needed[at] -= given;
    }
    needed
}

impl ReportPage {
    /// The report as PDF, with the letters that the font lacks: they are printed as boxes.
    pub(crate) fn pdf(&self) -> Result<(Vec<u8>, BTreeSet<char>), Failure> {
        let mut layout = PageLayout {
            pages: vec![Vec::new()],
            y: MARGIN,
        };
        layout.words(&self.title, (20.0, true, false), 0.0);
        layout.y += 6.0;
        for (weight, text) in self.opening() {
            layout.block(ReportBlock::Words(weight, text))?;
        }
        for block in self.blocks() {
            layout.block(block)?;
        }
        let missing = missing(&layout.pages);
        if !missing.is_empty() {
            let codes: Vec<String> = missing
                .iter()
                .map(|sign| format!("U+{:04X}", u32::from(*sign)))
                .collect();
            let told = format!(
                "Letters that the font of this print lacks stand as empty boxes: {}. The same report as HTML shows them.",
                codes.join(", ")
            );
            layout.block(ReportBlock::Words(TextWeight::Warning, told))?;
        }
        layout.room(60.0);
        layout.y += 12.0;
        for text in Self::closing() {
            layout.words(&text, (8.0, false, true), 0.0);
        }
        let bytes = drawn(&self.title, &layout.pages).map_err(|why| {
            Failure::file(
                "write",
                std::path::Path::new("the report"),
                &std::io::Error::other(why.to_string()),
            )
        })?;
        Ok((bytes, missing))
    }
}

/// The letters of all pages that the font lacks.
fn missing(pages: &[Vec<PageItem>]) -> BTreeSet<char> {
    let mut missing = BTreeSet::new();
    for item in pages.iter().flatten() {
        if let PageItem::Text { text, strong, .. } = item
            && let Some(font) = letters(*strong)
        {
            missing.extend(
                text.chars()
                    .filter(|sign| !sign.is_control() && font.glyph_id(*sign).0 == 0),
            );
        }
    }
    missing
}

fn colour(grey: u8) -> rgb::Color {
    rgb::Color::new(grey, grey, grey)
}

fn ink(grey: u8) -> Fill {
    Fill {
        paint: colour(grey).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::default(),
    }
}

/// Why no document could be set.
#[derive(Debug, thiserror::Error)]
enum SettingFault {
    #[error("the font cannot be used")]
    Font,
    #[error("the page has no size")]
    Page,
    #[error("{0:?}")]
    Document(krilla::error::KrillaError),
}

fn drawn(title: &str, pages: &[Vec<PageItem>]) -> Result<Vec<u8>, SettingFault> {
    let font = |data: &'static [u8]| Font::new(data.to_vec().into(), 0).ok_or(SettingFault::Font);
    let fonts = [font(dejavu::sans::regular())?, font(dejavu::sans::bold())?];
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new()
            .title(title.to_owned())
            .language("en".to_owned())
            .creator(format!("curvary {}", env!("CARGO_PKG_VERSION"))),
    );
    for (number, items) in pages.iter().enumerate() {
        let settings = PageSettings::from_wh(SHEET.0, SHEET.1).ok_or(SettingFault::Page)?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for item in items {
            set(item, &fonts, &mut surface);
        }
        let foot = PageItem::Text {
            x: MARGIN,
            y: SHEET.1 - 30.0,
            size: 7.5,
            strong: false,
            faint: true,
            text: format!("{title}, page {} of {}", number + 1, pages.len()),
        };
        set(&foot, &fonts, &mut surface);
        surface.finish();
        page.finish();
    }
    document.finish().map_err(SettingFault::Document)
}

fn set(item: &PageItem, fonts: &[Font; 2], surface: &mut Surface<'_>) {
    match item {
        PageItem::Text {
            x,
            y,
            size,
            strong,
            faint,
            text,
        } => {
            surface.set_stroke(None);
            surface.set_fill(Some(ink(if *faint { 90 } else { 20 })));
            surface.draw_text(
                Point::from_xy(*x, *y),
                fonts[usize::from(*strong)].clone(),
                *size,
                text,
                false,
                TextDirection::LeftToRight,
            );
        }
        PageItem::Rule { y, width } => {
            let mut path = PathBuilder::new();
            path.move_to(MARGIN, *y);
            path.line_to(SHEET.0 - MARGIN, *y);
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke {
                paint: colour(150).into(),
                width: *width,
                ..Stroke::default()
            }));
            if let Some(path) = path.finish() {
                surface.draw_path(&path);
            }
        }
        PageItem::Picture { y, scale, tree } => {
            let place = usvg::tiny_skia_path::Transform::from_row(*scale, 0.0, 0.0, *scale, MARGIN, *y);
            nodes(tree.root().children(), place, *scale, surface);
        }
    }
}

/// Draws the lines, areas and letters of a picture; it has nothing else.
fn nodes(all: &[Node], place: usvg::tiny_skia_path::Transform, scale: f32, surface: &mut Surface<'_>) {
    for node in all {
        match node {
            Node::Group(group) => nodes(group.children(), place, scale, surface),
            Node::Text(text) => nodes(text.flattened().children(), place, scale, surface),
            Node::Image(_) => {}
            Node::Path(path) => {
                let whole = place.pre_concat(path.abs_transform());
                let Some(outline) = path
                    .data()
                    .clone()
                    .transform(whole)
                    .and_then(|data| outline(&data))
                else {
                    continue;
                };
                surface.set_fill(path.fill().and_then(|fill| {
                    Some(Fill {
                        paint: plain(fill.paint())?.into(),
                        opacity: NormalizedF32::new(fill.opacity().get()).unwrap_or(NormalizedF32::ONE),
                        rule: FillRule::default(),
                    })
                }));
                surface.set_stroke(path.stroke().and_then(|stroke| {
                    Some(Stroke {
                        paint: plain(stroke.paint())?.into(),
                        width: stroke.width().get() * scale,
                        opacity: NormalizedF32::new(stroke.opacity().get()).unwrap_or(NormalizedF32::ONE),
                        ..Stroke::default()
                    })
                }));
                surface.draw_path(&outline);
            }
        }
    }
}

fn plain(paint: &usvg::Paint) -> Option<rgb::Color> {
    match paint {
        usvg::Paint::Color(colour) => Some(rgb::Color::new(colour.red, colour.green, colour.blue)),
        _ => None,
    }
}

fn outline(data: &usvg::tiny_skia_path::Path) -> Option<Path> {
    use usvg::tiny_skia_path::PathSegment;
    let mut path = PathBuilder::new();
    for segment in data.segments() {
        match segment {
            PathSegment::MoveTo(to) => path.move_to(to.x, to.y),
            PathSegment::LineTo(to) => path.line_to(to.x, to.y),
            PathSegment::QuadTo(by, to) => path.quad_to(by.x, by.y, to.x, to.y),
            PathSegment::CubicTo(one, two, to) => path.cubic_to(one.x, one.y, two.x, two.y, to.x, to.y),
            PathSegment::Close => path.close(),
        }
    }
    path.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_their_width() {
        let text = "a few words and averylongwordthatisalonewiderthanacolumn and more";
        let lines = lines_of(text, 8.0, false, 60.0);
        assert!(lines.len() > 3);
        assert!(
            lines.iter().all(|line| width_of(line, 8.0, false) <= 60.0),
            "{lines:?}"
        );
        assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
    }

    #[test]
    fn an_empty_report_is_a_document_and_always_the_same() {
        let pdf = || ReportPage::new("a title").pdf().unwrap_or_default();
        assert!(pdf().0.starts_with(b"%PDF-"));
        assert_eq!(pdf(), pdf());
        assert!(pdf().1.is_empty());
        let missing = ReportPage::new("größe µ Ω 漢").pdf().unwrap_or_default().1;
        assert_eq!(missing.into_iter().collect::<String>(), "漢");
    }
}
