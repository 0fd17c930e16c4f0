//! Lines, areas, marks and letters as SVG, with places to a hundredth of a dot.
//!
//! Why our own and not a library: the ready-made ones round every place to a whole dot, so that curves show steps on paper. What is
//! needed of SVG 1.1 is five elements.

use std::fmt::Write as _;

use ab_glyph::{Font as _, FontRef};

/// A place on the picture, in dots from its upper left corner.
pub(super) type Dot = (f64, f64);

/// Red, green and blue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Colour(pub(super) u8, pub(super) u8, pub(super) u8);

impl std::fmt::Display for Colour {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "#{:02X}{:02X}{:02X}", self.0, self.1, self.2)
    }
}

/// The way a line is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stroke {
    pub(super) colour: Colour,
    pub(super) width: f64,
    /// Lengths that are drawn and left out in turn; none for a whole line.
    pub(super) dashes: &'static [f64],
}

impl Stroke {
    pub(super) fn whole(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dashes: &[],
        }
    }
}

/// Which part of a text stands at its place, across.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A picture in the making.
pub(super) struct Pen {
    svg: String,
}

/// Digits behind the point that say nothing are left out.
fn number(value: f64) -> String {
    let mut text = format!("{value:.2}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".into() } else { text }
}

fn places(points: &[Dot]) -> String {
    let mut text = String::with_capacity(points.len() * 14);
    for (x, y) in points {
        let _ = write!(text, "{},{} ", number(*x), number(*y));
    }
    text.pop();
    text
}

/// Text that XML can hold: no control characters.
pub(super) fn clean(text: &str) -> String {
    let plain = |c: char| {
        if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') {
            ' '
        } else {
            c
        }
    };
    text.chars().map(plain).collect()
}

fn escaped(text: &str) -> String {
    clean(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// How wide a text is in letters of a size, in dots.
pub(super) fn width_of(text: &str, size: f64) -> f64 {
    static LETTERS: std::sync::OnceLock<Option<FontRef<'static>>> = std::sync::OnceLock::new();
    let letters = LETTERS.get_or_init(|| FontRef::try_from_slice(dejavu::sans::regular()).ok());
    let Some(font) = letters else {
        return size * 0.6 * text.chars().count() as f64;
    };
    let units = font.units_per_em().unwrap_or(2048.0);
    let wide: f32 = text
        .chars()
        .map(|sign| font.h_advance_unscaled(font.glyph_id(sign)))
        .sum();
    f64::from(wide / units) * size
}

/// A space at which no line ends while there is another way.
const UNBROKEN: char = '\u{A0}';

/// A title whose unit, behind ` / `, is one piece.
pub(super) fn unbroken_unit(title: &str) -> String {
    match outside_brackets(title, |rest| rest.starts_with(" / ")).last() {
        Some(at) => {
            let (what, unit) = title.split_at(*at);
            let unit = unit.trim_start().replace(' ', &UNBROKEN.to_string());
            format!("{what} {unit}")
        }
        None => title.to_owned(),
    }
}

/// Places of a text outside of brackets whose rest `is_one`.
fn outside_brackets(text: &str, is_one: impl Fn(&str) -> bool) -> Vec<usize> {
    let mut depth = 0_usize;
    let mut places = Vec::new();
    for (at, sign) in text.char_indices() {
        match sign {
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth == 0 && is_one(&text[at..]) {
            places.push(at);
        }
    }
    places
}

/// How hard a text had to be broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Breaking {
    /// At spaces outside of brackets and units.
    Plain,
    /// Within a unit or a name, behind its signs.
    BehindSigns,
    /// Within brackets that alone are wider than a line.
    InBrackets,
}

/// The pieces of a text that no line parts where it need not.
fn pieces(text: &str, how: Breaking) -> Vec<&str> {
    let ends = |rest: &str| {
        let sign = rest.chars().next().unwrap_or(' ');
        match how {
            Breaking::Plain => sign == ' ',
            _ => matches!(sign, ' ' | UNBROKEN | '·' | '/' | '.' | ')' | '_'),
        }
    };
    let places = if how == Breaking::InBrackets {
        let all = text.char_indices().map(|(at, _)| at);
        all.filter(|at| ends(&text[*at..])).collect()
    } else {
        outside_brackets(text, ends)
    };
    let mut all = Vec::new();
    let mut from = 0;
    for at in places {
        let to = at + text[at..].chars().next().map_or(1, char::len_utf8);
        all.push(&text[from..to]);
        from = to;
    }
    all.push(&text[from..]);
    all.retain(|piece| !piece.is_empty());
    all
}

/// A text in lines, and how hard it had to be broken.
struct BrokenText {
    lines: Vec<String>,
    how: Breaking,
    /// Whether a part is left out.
    cut: bool,
}

impl BrokenText {
    fn new(text: &str, size: f64, room: f64, most: usize) -> Self {
        let text = clean(text);
        let words: Vec<&str> = text
            .split(|sign: char| sign.is_whitespace() && sign != UNBROKEN)
            .filter(|word| !word.is_empty())
            .collect();
        let text = words.join(" ");
        let mut how = Breaking::Plain;
        let fits = |text: &str| width_of(text.trim_end(), size) <= room;
        // A piece that is longer than a line is parted the next harder way.
        let mut all = pieces(&text, Breaking::Plain);
        for harder in [Breaking::BehindSigns, Breaking::InBrackets] {
            let parted = all.iter().flat_map(|piece| {
                if fits(piece) {
                    vec![*piece]
                } else {
                    how = harder;
                    pieces(piece, harder)
                }
            });
            all = parted.collect();
        }
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for piece in all {
            let joined = format!("{line}{piece}");
            if line.is_empty() || fits(&joined) {
                line = joined;
            } else {
                lines.push(std::mem::replace(&mut line, piece.to_owned()));
            }
        }
        lines.push(line);
        for line in &mut lines {
            *line = line.trim().replace(UNBROKEN, " ");
        }
        let over = lines.len() > most;
        lines.truncate(most.max(1));
        let mut cut = over;
        let last = lines.len() - 1;
        for (place, line) in lines.iter_mut().enumerate() {
            let more = over && place == last;
            if !more && width_of(line, size) <= room {
                continue;
            }
            let mut kept: Vec<char> = line.chars().collect();
            while !kept.is_empty() && width_of(&kept.iter().collect::<String>(), size) + size > room {
                kept.pop();
            }
            kept.push('…');
            *line = kept.into_iter().collect();
            cut = true;
        }
        Self { lines, how, cut }
    }
}

/// A text in lines no wider than `room`, at most so many; what does not go into them is cut with `…`.
pub(super) fn wrapped(text: &str, size: f64, room: f64, most: usize) -> Vec<String> {
    BrokenText::new(text, size, room, most).lines
}

/// The title of an axis in lines with their size: smaller and in one line more where it would be cut else, or broken within its unit or
/// brackets. The smallest, 0.7 of the usual, is 5 points high in a picture of one column.
pub(super) fn titled(text: &str, size: f64, room: f64, most: usize) -> (Vec<String>, f64) {
    let text = unbroken_unit(text);
    let ways = [(size, most), (0.85 * size, most + 1), (0.7 * size, most + 1)];
    let mut all: Vec<(BrokenText, f64)> = ways
        .into_iter()
        .map(|(size, most)| (BrokenText::new(&text, size, room, most), size))
        .collect();
    // The first of the best: nothing is left out before nothing is broken.
    all.sort_by_key(|(broken, _)| (broken.cut, broken.how));
    let (broken, size) = all.swap_remove(0);
    (broken.lines, size)
}

impl Pen {
    pub(super) fn new(width: f64, height: f64, printed: (&str, &str)) -> Self {
        let (w, h) = (number(width), number(height));
        let (across, down) = printed;
        Self {
            svg: format!(
                "<svg width=\"{across}\" height=\"{down}\" viewBox=\"0 0 {w} {h}\" xmlns=\"http://www.w3.org/2000/svg\">\n\
                 <rect x=\"0\" y=\"0\" width=\"{w}\" height=\"{h}\" fill=\"#FFFFFF\"/>\n"
            ),
        }
    }

    pub(super) fn finish(mut self) -> String {
        self.svg.push_str("</svg>\n");
        self.svg
    }

    fn element(&mut self, words: std::fmt::Arguments<'_>) {
        let _ = writeln!(self.svg, "<{words}/>");
    }

    pub(super) fn line(&mut self, points: &[Dot], stroke: Stroke) {
        if points.len() < 2 {
            return;
        }
        let Stroke {
            colour,
            width,
            dashes,
        } = stroke;
        let dashes = if dashes.is_empty() {
            String::new()
        } else {
            let all: Vec<String> = dashes.iter().map(|length| number(*length)).collect();
            format!(" stroke-dasharray=\"{}\"", all.join(" "))
        };
        self.element(format_args!(
            "polyline fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\" stroke-linejoin=\"round\"{dashes} points=\"{}\"",
            number(width),
            places(points)
        ));
    }

    pub(super) fn area(&mut self, corners: &[Dot], colour: Colour) {
        self.element(format_args!(
            "polygon fill=\"{colour}\" points=\"{}\"",
            places(corners)
        ));
    }

    fn rectangle(&mut self, (left, top): Dot, (right, bottom): Dot, how: &str) {
        self.element(format_args!(
            "rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {how}",
            number(left.min(right)),
            number(top.min(bottom)),
            number((right - left).abs()),
            number((bottom - top).abs())
        ));
    }

    pub(super) fn filled(&mut self, from: Dot, to: Dot, colour: Colour) {
        self.rectangle(from, to, &format!("fill=\"{colour}\""));
    }

    pub(super) fn framed(&mut self, from: Dot, to: Dot, colour: Colour, width: f64) {
        self.rectangle(
            from,
            to,
            &format!(
                "fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\"",
                number(width)
            ),
        );
    }

    pub(super) fn ring(&mut self, (x, y): Dot, radius: f64, colour: Colour, width: f64) {
        self.element(format_args!(
            "circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\"",
            number(x),
            number(y),
            number(radius),
            number(width)
        ));
    }

    pub(super) fn disc(&mut self, (x, y): Dot, radius: f64, colour: Colour) {
        self.element(format_args!(
            "circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{colour}\"",
            number(x),
            number(y),
            number(radius)
        ));
    }

    /// A text whose small letters stand in the middle of a height.
    pub(super) fn text(&mut self, text: &str, at: Dot, size: f64, anchor: Anchor) {
        self.letters(text, at, size, anchor, "");
    }

    /// The same, to be read from below.
    pub(super) fn upright(&mut self, text: &str, at: Dot, size: f64) {
        let turn = format!(" transform=\"rotate(-90 {} {})\"", number(at.0), number(at.1));
        self.letters(text, at, size, Anchor::Middle, &turn);
    }

    fn letters(&mut self, text: &str, (x, y): Dot, size: f64, anchor: Anchor, turn: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        // Capitals of DejaVu Sans are 0.73 of its size high; `dy` of half of that would not be known to every viewer.
        let _ = writeln!(
            self.svg,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"{anchor}\" font-family=\"DejaVu Sans, sans-serif\" font-size=\"{}\" fill=\"#000000\"{turn}>\n{}\n</text>",
            number(x),
            number(y + 0.365 * size),
            number(size),
            escaped(text)
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_have_two_decimals() {
        let shown: Vec<String> = [0.0, -0.001, 1.0, 1.5, 12.346, 100.0, -3.25]
            .into_iter()
            .map(number)
            .collect();
        assert_eq!(shown, ["0", "0", "1", "1.5", "12.35", "100", "-3.25"]);
    }

    #[test]
    fn a_long_unit_is_whole_in_a_low_panel() {
        for unit in [
            "residual / mAU·L/(mmol·min)",
            "residual / (nmol/min)/(mg/mL)",
            "residual / 10⁻³ AU·L/(µmol·min)",
        ] {
            let (lines, size) = titled(unit, 26.0, 180.0, 2);
            let kept: String = lines.concat().split_whitespace().collect();
            assert_eq!(kept, unit.split_whitespace().collect::<String>());
            assert!(size >= 0.7 * 26.0 && lines.len() <= 3, "{lines:?} at {size}");
            assert!(
                lines.iter().all(|line| width_of(line, size) <= 180.0),
                "{lines:?}"
            );
        }
        assert_eq!(
            titled("absorbance / AU", 26.0, 400.0, 2),
            (vec!["absorbance / AU".to_owned()], 26.0)
        );
    }

    #[test]
    fn no_line_ends_within_a_unit_or_brackets() {
        for (title, parts) in [
            ("residual / µmol L⁻¹ min⁻¹", ["residual", "/ µmol L⁻¹ min⁻¹"]),
            ("residual / (µmol L⁻¹) min⁻¹", ["residual", "/ (µmol L⁻¹) min⁻¹"]),
            (
                "value of ln(k T⁻¹ / (s⁻¹ K⁻¹))",
                ["value of", "ln(k T⁻¹ / (s⁻¹ K⁻¹))"],
            ),
        ] {
            // Of a panel of residuals in a picture of one column.
            let (lines, _) = titled(title, 26.0, 210.0, 2);
            assert_eq!(lines, parts);
        }
        let lines = wrapped("dye in buffer (pH 7.4, 25 °C) again", 24.0, 300.0, 4);
        assert!(
            lines.iter().any(|line| line.contains("(pH 7.4, 25 °C)")),
            "{lines:?}"
        );
        // What is wider than a line alone is parted all the same, and not cut.
        let lines = wrapped("(one two three four five six)", 24.0, 150.0, 4);
        assert_eq!(lines.join(" "), "(one two three four five six)");
    }

    #[test]
    fn long_names_are_wrapped_and_at_last_cut() {
        let name = "series.csv, 0.5 mM: k 0.0046343 ± 0.0000084 s⁻¹, Vmax 12.5 ± 0.3 µmol/L/s";
        let lines = wrapped(name, 24.0, 400.0, 4);
        assert!(lines.len() > 1 && lines.len() <= 4, "{lines:?}");
        assert!(
            lines.iter().all(|line| width_of(line, 24.0) <= 400.0),
            "{lines:?}"
        );
        assert_eq!(lines.join(" "), name);
        let cut = wrapped(name, 24.0, 400.0, 1);
        assert!(
            cut[0].ends_with('…') && width_of(&cut[0], 24.0) <= 400.0,
            "{cut:?}"
        );
        assert_eq!(wrapped("x", 24.0, 400.0, 1), ["x"]);
        // DejaVu Sans: 1139 of 2048 for an `i`'s double, 1303 for `0`.
        assert!((width_of("0", 2048.0) - 1303.0).abs() < 1.0);
    }
}
