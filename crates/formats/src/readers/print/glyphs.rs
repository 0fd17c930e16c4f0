//! The letters of a report with their places on each page, from the library that interprets pages.

use std::collections::HashMap;
use std::panic::resume_unwind;
use std::sync::Arc;
use std::time::{Duration, Instant};

use hayro_interpret::font::{Glyph as Shape, GlyphIdentifier, GlyphRun, OutlineGlyph};
use hayro_interpret::hayro_cmap::BfString;
use hayro_interpret::hayro_syntax::object::{Array, Dict, Object};
use hayro_interpret::hayro_syntax::{DecryptionError, LoadPdfError, Pdf};
use hayro_interpret::kurbo::{Affine, BezPath, PathEl, Point, Rect, Shape as _};
use hayro_interpret::{
    BlendMode, ClipPath, Context, Device, DrawMode, DrawProps, Image, ImageDrawProps, InterpreterCache,
    InterpreterSettings, SoftMask, interpret_page,
};

use super::unfold::{self, Excess, MOST_UNFOLDED};
use crate::guard::guarded;

/// A report with more pages is refused.
pub(super) const MOST_PAGES: usize = 5_000;
/// Letters of all pages together.
const MOST_GLYPHS: usize = 4_000_000;
/// Texts, strokes, clips and pictures of one page. A page that draws a picture out of so many strokes is no report.
const MOST_STEPS: usize = 1_000_000;
/// Corners of drawn lines of one page; what is drawn beyond them is a picture.
const MOST_CORNERS: usize = 500_000;
/// How long a page and all pages may take. A page of a thousand rows takes some milliseconds.
const LONGEST_PAGE: Duration = Duration::from_secs(10);
const LONGEST: Duration = Duration::from_secs(60);
/// Glyph space has a thousand units to the font's size (ISO 32000-1, 9.2.4).
const UNITS: f64 = 1000.0;

/// What a glyph stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Letter {
    /// One or, of a ligature, several letters.
    Known(String),
    Blank,
    /// The font does not tell.
    Unknown,
}

/// A letter on a page. Coordinates are in points from the upper left corner of the page as it is shown.
#[derive(Clone, Debug)]
pub(super) struct Glyph {
    pub(super) letter: Letter,
    /// Where it begins on the baseline.
    pub(super) start: Point,
    /// Where the next one would begin.
    pub(super) end: Point,
    /// The size of the font.
    pub(super) size: f64,
    /// Whether it is not drawn: text that was recognised in a picture lies so behind it.
    pub(super) hidden: bool,
}

/// A page.
#[derive(Clone, Debug, Default)]
pub(super) struct PrintedPage {
    /// From 1.
    pub(super) number: usize,
    pub(super) glyphs: Vec<Glyph>,
    /// The corners of the lines that are drawn on it. Of bent lines, the points between their bends.
    pub(super) drawn: Vec<Vec<Point>>,
    pub(super) pictures: usize,
    /// Whether the library gave up on it.
    pub(super) damaged: bool,
}

/// Why a report was not opened, or not read to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ReportRefusal {
    Encrypted,
    Damaged,
    Objects,
    Unfolded,
    Pages(usize),
    Glyphs,
    Steps,
}

/// All pages of a report.
pub(super) fn pages(bytes: &Arc<Vec<u8>>) -> Result<Vec<PrintedPage>, ReportRefusal> {
    // What is encrypted cannot be measured, and its owner did not want it to be copied.
    if memchr::memmem::find(bytes, b"/Encrypt").is_some() {
        return Err(ReportRefusal::Encrypted);
    }
    unfold::check(bytes).map_err(|excess| match excess {
        Excess::Objects => ReportRefusal::Objects,
        Excess::Unfolded => ReportRefusal::Unfolded,
    })?;
    guarded(|| interpreted(bytes)).unwrap_or_else(|payload| {
        // A panic of the library is damage that it did not expect.
        Err(payload
            .downcast::<ReportRefusal>()
            .map_or(ReportRefusal::Damaged, |refusal| *refusal))
    })
}

fn interpreted(bytes: &Arc<Vec<u8>>) -> Result<Vec<PrintedPage>, ReportRefusal> {
    let pdf = Pdf::new(Arc::clone(bytes)).map_err(|error| match error {
        LoadPdfError::Decryption(
            DecryptionError::PasswordProtected
            | DecryptionError::MissingIDEntry
            | DecryptionError::InvalidEncryption
            | DecryptionError::UnsupportedAlgorithm,
        ) => ReportRefusal::Encrypted,
        LoadPdfError::Invalid => ReportRefusal::Damaged,
    })?;
    if pdf.len() > unfold::MOST_OBJECTS {
        return Err(ReportRefusal::Objects);
    }
    if pdf
        .objects()
        .into_iter()
        .any(|object| object.into_dict().is_some_and(|dict| is_endless_font(&dict, 0)))
    {
        return Err(ReportRefusal::Objects);
    }
    if pdf.pages().len() > MOST_PAGES {
        return Err(ReportRefusal::Pages(pdf.pages().len()));
    }
    let cache = InterpreterCache::new();
    let end = Instant::now() + LONGEST;
    let mut work = WorkDone {
        glyphs: 0,
        steps: 0,
        until: end,
    };
    let mut unfolded = 0;
    let mut pages = Vec::new();
    for (index, page) in pdf.pages().iter().enumerate() {
        work.steps = 0;
        work.until = end.min(Instant::now() + LONGEST_PAGE);
        let mut collector = Collector {
            page: PrintedPage {
                number: index + 1,
                ..PrintedPage::default()
            },
            bounds: {
                let (width, height) = page.render_dimensions();
                Rect::new(0.0, 0.0, f64::from(width), f64::from(height))
            },
            corners: 0,
            work: &mut work,
            shapes: HashMap::new(),
        };
        // The library keeps what it unfolded of each page, and pages may share it.
        let content = page.page_stream();
        collector.page.damaged = content.is_none() && page.raw().contains_key("Contents");
        unfolded += content.map_or(0, <[u8]>::len) as u64;
        if unfolded > MOST_UNFOLDED {
            return Err(ReportRefusal::Unfolded);
        }
        let done = guarded(|| {
            let upright = Affine::new(page.initial_transform(true).as_coeffs());
            // Clips that cover the whole page are not told by the library, and each step has to be counted.
            let everywhere = Rect::new(-1e12, -1e12, 1e12, 1e12);
            let settings = InterpreterSettings::default();
            let mut context = Context::new(upright, everywhere, &cache, pdf.xref(), settings);
            interpret_page(page, &mut context, &mut collector);
        });
        let Collector { mut page, .. } = collector;
        if let Err(payload) = done {
            if payload.is::<ReportRefusal>() {
                resume_unwind(payload);
            }
            page.damaged = true;
        }
        pages.push(page);
    }
    Ok(pages)
}

/// Whether a font tells the widths of more signs than there can be (ISO 32000-1, 9.7.4.3): the library would list each.
fn is_endless_font(dict: &Dict<'_>, depth: usize) -> bool {
    const MOST_SIGNS: f64 = 65_536.0;
    let too_wide = |widths: Array<'_>| {
        // First sign, last sign, width; or the first sign and a list of widths.
        let mut before: Option<f64> = None;
        widths.iter::<Object<'_>>().any(|entry| {
            let number = entry.into_number().map(|number| number.as_f64());
            // Which of the numbers begin a range is not asked: no sign has such a number, and widths are small.
            let far = before
                .zip(number)
                .is_some_and(|(first, last)| last - first > MOST_SIGNS);
            before = number;
            far
        })
    };
    let descendants = || dict.get::<Array<'_>>("DescendantFonts");
    ["W", "W2"]
        .iter()
        .any(|key| dict.get::<Array<'_>>(key).is_some_and(too_wide))
        || depth == 0
            && descendants()
                .is_some_and(|fonts| fonts.iter::<Dict<'_>>().any(|font| is_endless_font(&font, 1)))
}

/// The work done.
struct WorkDone {
    /// Of all pages.
    glyphs: usize,
    /// Of this page.
    steps: usize,
    until: Instant,
}

impl WorkDone {
    /// Counts a step. The library cannot be told to stop, so that it is left by unwinding, without the message of a panic.
    fn step(&mut self, glyphs: usize) {
        self.steps += 1;
        self.glyphs += glyphs;
        if self.glyphs > MOST_GLYPHS {
            resume_unwind(Box::new(ReportRefusal::Glyphs));
        }
        if self.steps > MOST_STEPS || (self.steps.is_multiple_of(64) && Instant::now() > self.until) {
            resume_unwind(Box::new(ReportRefusal::Steps));
        }
    }
}

struct Collector<'w> {
    page: PrintedPage,
    /// Whether figures of fonts are drawn above the line, by what identifies their shapes.
    shapes: HashMap<GlyphIdentifier, bool>,
    bounds: Rect,
    /// Of the lines drawn so far.
    corners: usize,
    work: &'w mut WorkDone,
}

impl Collector<'_> {
    /// Keeps the corners of a drawn line. Lines that go on where the one before ended are one line.
    fn draw(&mut self, path: &BezPath, place: Affine) {
        let mut line: Vec<Point> = Vec::new();
        for element in path.elements() {
            let (is_new, point) = match element {
                PathEl::MoveTo(point) => (true, *point),
                PathEl::LineTo(point) | PathEl::QuadTo(_, point) | PathEl::CurveTo(_, _, point) => {
                    (false, *point)
                }
                PathEl::ClosePath => match line.first() {
                    Some(first) => {
                        line.push(*first);
                        continue;
                    }
                    None => continue,
                },
            };
            let point = place * point;
            if !point.is_finite() {
                return;
            }
            if is_new {
                self.keep(std::mem::take(&mut line));
            }
            line.push(point);
        }
        self.keep(line);
    }

    fn keep(&mut self, line: Vec<Point>) {
        self.corners += line.len();
        if line.len() < 2 || self.corners > MOST_CORNERS {
            return;
        }
        if let (Some(last), [first, rest @ ..]) = (self.page.drawn.last_mut(), line.as_slice())
            && last.last() == Some(first)
        {
            last.extend_from_slice(rest);
            return;
        }
        self.page.drawn.push(line);
    }

    /// A figure whose shape is raised above the line, as the sign for it. Fonts have such shapes for exponents and marks
    /// of footnotes, and call them by the same figure.
    fn raised(&mut self, text: &str, outline: &OutlineGlyph) -> Option<String> {
        /// A figure on the line begins there; a raised one begins a third of the size above it.
        const ABOVE: f64 = 0.2 * UNITS;
        const RAISED: [&str; 10] = ["⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"];
        let figure: usize = text.parse().ok().filter(|_| text.len() == 1)?;
        let raised = *self
            .shapes
            .entry(outline.identifier())
            .or_insert_with(|| outline.outline().bounding_box().y0 > ABOVE);
        raised.then(|| RAISED.get(figure).copied().unwrap_or_default().to_owned())
    }
}

impl<'a> Device<'a> for Collector<'_> {
    fn draw_path(&mut self, path: &BezPath, props: DrawProps<'a>, mode: &DrawMode) {
        self.work.step(0);
        if matches!(mode, DrawMode::Stroke(_) | DrawMode::FillAndStroke(..)) {
            self.draw(path, props.transform);
        }
    }

    fn push_clip_path(&mut self, _: &ClipPath) {
        self.work.step(0);
    }

    fn push_transparency_group(&mut self, _: f32, _: Option<SoftMask<'a>>, _: BlendMode) {
        self.work.step(0);
    }

    fn draw_glyph_run(&mut self, run: &GlyphRun<'_, 'a>, props: DrawProps<'a>, mode: &DrawMode) {
        self.work.step(run.glyphs().len());
        for glyph in run.glyphs() {
            let place = props.transform * glyph.transform();
            let start = place * Point::ZERO;
            let size = (place * Point::new(0.0, UNITS) - start).hypot();
            let advance = match &**glyph {
                Shape::Outline(outline) => outline.advance_width(),
                Shape::Type3(shape) => shape.advance_width(),
            };
            let end = place * Point::new(advance.map_or(UNITS / 2.0, f64::from), 0.0);
            let finite = start.is_finite() && end.is_finite() && size.is_finite();
            // What lies beside the page is on no print.
            if !finite || size < 0.5 || !self.bounds.inflate(1.0, 1.0).contains(start) {
                continue;
            }
            let mut letter = letter(glyph.as_unicode());
            if let (Letter::Known(text), Shape::Outline(outline)) = (&letter, &**glyph)
                && let Some(sign) = self.raised(text, outline)
            {
                letter = Letter::Known(sign);
            }
            self.page.glyphs.push(Glyph {
                letter,
                start,
                end,
                size,
                hidden: matches!(mode, DrawMode::Invisible),
            });
        }
    }

    fn draw_image(&mut self, _: Image<'a, '_>, _: ImageDrawProps<'a>) {
        self.work.step(0);
        self.page.pictures += 1;
    }

    fn pop_clip(&mut self) {}

    fn pop_transparency_group(&mut self) {}
}

/// The plain letter for a mathematical one, italic, bold or both (Unicode, Mathematical Alphanumeric Symbols): formulas are
/// set in them, and they are no letters of their own.
fn plain(sign: char) -> char {
    const GREEK: &str = "ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡϴΣΤΥΦΧΨΩ∇αβγδεζηθικλμνξοπρςστυφχψω∂ϵϑϰϕϱϖ";
    let code = u32::from(sign);
    let nth = |letters: &str, at: u32| letters.chars().nth(at as usize).unwrap_or(sign);
    match code {
        // Alphabets of 26 capitals and 26 small letters each.
        0x1D400..=0x1D6A3 => {
            let at = (code - 0x1D400) % 52;
            let base = if at < 26 {
                u32::from(b'A') + at
            } else {
                u32::from(b'a') + at - 26
            };
            char::from_u32(base).unwrap_or(sign)
        }
        0x1D6A8..=0x1D7C9 => nth(GREEK, (code - 0x1D6A8) % 58),
        0x1D7CE..=0x1D7FF => nth("0123456789", (code - 0x1D7CE) % 10),
        // The italic h stood in Unicode before the others did.
        0x210E => 'h',
        _ => sign,
    }
}

/// What a font says of a glyph. Signs of private use and control characters say nothing.
fn letter(said: Option<BfString>) -> Letter {
    let text = match said {
        Some(BfString::Char(sign)) => sign.to_string(),
        Some(BfString::String(text)) => text,
        None => return Letter::Unknown,
    };
    let private = |sign: char| matches!(u32::from(sign), 0xE000..=0xF8FF | 0xF_0000.. | 0xFFFD);
    // Marks of no width: soft hyphens and joiners are no letters.
    let text: String = text
        .chars()
        .filter(|sign| !matches!(sign, '\u{200B}'..='\u{200F}' | '\u{FEFF}'))
        .map(plain)
        .collect();
    if text.chars().all(|sign| sign.is_whitespace() || sign == '\u{A0}') {
        Letter::Blank
    } else if text.chars().any(|sign| private(sign) || sign.is_control()) {
        Letter::Unknown
    } else {
        Letter::Known(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_of_formulas_are_plain_letters() {
        let letters: String = "𝑣𝐴𝐀𝟗𝜆𝛥𝑧𝒂ℎx".chars().map(plain).collect();
        assert_eq!(letters, "vAA9λΔzahx");
        assert!("𝜀".chars().map(plain).eq("ε".chars()));
    }
}
