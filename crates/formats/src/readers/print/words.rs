//! Letters with places into words, and words into lines.
//!
//! All lengths are told in sizes of the font (em). The limits are common practice of typesetting: a blank between words is
//! a quarter to a third of the font's size, thin blanks inside numbers are a sixth, raised signs are set smaller and a
//! fifth to a half of the size above the line.

use std::collections::HashMap;

use super::glyphs::{Glyph, Letter, PrintedPage};

/// A gap between letters from which a word ends, where no blank stands there.
const GAP: f64 = 0.19;
/// A gap from which a word ends where a blank stands there.
const GAP_AT_BLANK: f64 = 0.04;
/// How far the baselines of words of one line may lie apart.
const BASELINE: f64 = 0.28;
/// A letter that is drawn again so near to itself is drawn bold.
const OVERPRINT: f64 = 0.12;
/// Stands for a sign that nobody knows, so that no number with it is read.
pub(super) const UNKNOWN: char = '\u{FFFD}';

/// A word on the page. Coordinates run along and down the lines, in points.
#[derive(Clone, Debug)]
pub(super) struct PrintedWord {
    pub(super) text: String,
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) baseline: f64,
    pub(super) size: f64,
    pub(super) hidden: bool,
    /// Whether a blank was written in front of it.
    after_blank: bool,
}

/// A line of words, from left to right.
#[derive(Clone, Debug)]
pub(super) struct WordLine {
    pub(super) words: Vec<PrintedWord>,
    pub(super) baseline: f64,
    pub(super) size: f64,
}

/// What stands on a page.
#[derive(Debug, Default)]
pub(super) struct PageText {
    /// From the top down.
    pub(super) lines: Vec<WordLine>,
    /// The beginning of what is written in another direction than the lines, and how many letters that are.
    pub(super) turned: Option<(String, usize)>,
    /// Whether the lines run along another edge of the page than its upper one.
    pub(super) sideways: bool,
}

/// The lines of a page.
pub(super) fn written(page: &PrintedPage) -> PageText {
    let (turn, glyphs, turned) = upright(page);
    let mut words = words(&without_overprint(glyphs));
    for word in &mut words {
        word.text = with_raised_signs(&word.text);
    }
    let raised = raised(&mut words);
    let lines = lines(words, raised);
    PageText {
        lines,
        turned,
        sideways: turn != 0,
    }
}

/// Which of the four directions a letter runs in, counted clockwise from rightwards; none between them.
fn direction(glyph: &Glyph) -> Option<usize> {
    let along = glyph.end - glyph.start;
    let length = along.hypot();
    if length == 0.0 {
        return None;
    }
    let (across, down) = (along.x / length, along.y / length);
    // One in fifty is a page that was not put quite straight.
    match (across, down) {
        (0.999.., _) => Some(0),
        (_, 0.999..) => Some(1),
        (..=-0.999, _) => Some(2),
        (_, ..=-0.999) => Some(3),
        _ => None,
    }
}

type TurnedText = Option<(String, usize)>;

/// The letters of the direction that most run in, turned so that it is rightwards, and what runs otherwise.
fn upright(page: &PrintedPage) -> (usize, Vec<Glyph>, TurnedText) {
    let mut counts = [0_usize; 4];
    for glyph in &page.glyphs {
        if let Some(count) = direction(glyph).and_then(|direction| counts.get_mut(direction)) {
            *count += 1;
        }
    }
    let most = (0..4).rev().max_by_key(|&at| counts[at]).unwrap_or(0);
    let mut kept = Vec::with_capacity(page.glyphs.len());
    let (mut others, mut count) = (String::new(), 0);
    for glyph in &page.glyphs {
        // A letter without a width has no direction of its own.
        let own = direction(glyph);
        if own == Some(most) || (own.is_none() && glyph.start == glyph.end) {
            let turned = |point: hayro_interpret::kurbo::Point| match most {
                1 => (point.y, -point.x).into(),
                2 => (-point.x, -point.y).into(),
                3 => (-point.y, point.x).into(),
                _ => point,
            };
            kept.push(Glyph {
                start: turned(glyph.start),
                end: turned(glyph.end),
                ..glyph.clone()
            });
        } else {
            count += usize::from(glyph.letter != Letter::Blank);
            if others.chars().count() < 40 {
                match &glyph.letter {
                    Letter::Known(text) => others.push_str(text),
                    Letter::Blank => others.push(' '),
                    Letter::Unknown => others.push(UNKNOWN),
                }
            }
        }
    }
    (most, kept, (count > 0).then(|| (others.trim().to_owned(), count)))
}

/// The letters without those that are drawn a second time to look bold, or hidden behind themselves.
fn without_overprint(glyphs: Vec<Glyph>) -> Vec<Glyph> {
    let mut seen: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
    let mut kept: Vec<Glyph> = Vec::with_capacity(glyphs.len());
    let grid = |at: f64| (at / 2.0).floor() as i64;
    for glyph in glyphs {
        let (column, row) = (grid(glyph.start.x), grid(glyph.start.y));
        let near = (-1..=1).flat_map(|a| (-1..=1).map(move |b| (column + a, row + b)));
        let again = near
            .filter_map(|cell| seen.get(&cell))
            .flatten()
            .copied()
            .find(|&at| {
                let other = &kept[at];
                let apart = glyph.start - other.start;
                other.letter == glyph.letter && apart.hypot() < OVERPRINT * glyph.size.max(other.size)
            });
        match again {
            Some(at) => kept[at].hidden &= glyph.hidden,
            None => {
                seen.entry((column, row)).or_default().push(kept.len());
                kept.push(glyph);
            }
        }
    }
    kept
}

/// Letters that follow one another, in the order in which they are drawn.
fn words(glyphs: &[Glyph]) -> Vec<PrintedWord> {
    let mut words: Vec<PrintedWord> = Vec::new();
    let mut after_blank = false;
    for glyph in glyphs {
        let unknown = UNKNOWN.to_string();
        let text = match &glyph.letter {
            Letter::Blank => {
                after_blank = true;
                continue;
            }
            Letter::Known(text) => text,
            Letter::Unknown => &unknown,
        };
        let blank = std::mem::take(&mut after_blank);
        if let Some(last) = words.last_mut() {
            let gap = glyph.start.x - last.right;
            let same = (glyph.start.y - last.baseline).abs() < 0.06 * last.size
                && (glyph.size / last.size - 1.0).abs() < 0.08
                && glyph.hidden == last.hidden;
            let most = if blank { GAP_AT_BLANK } else { GAP };
            if same && gap > -0.3 * last.size && gap < most * last.size {
                last.text.push_str(text);
                last.right = last.right.max(glyph.end.x);
                continue;
            }
        }
        words.push(PrintedWord {
            text: text.clone(),
            left: glyph.start.x,
            right: glyph.end.x,
            baseline: glyph.start.y,
            size: glyph.size,
            hidden: glyph.hidden,
            after_blank: blank,
        });
    }
    words
}

/// What is set small above or below the line of the word beside it, as the signs of plain text for it; its baseline becomes
/// that of the line. Tells which words those are.
fn raised(words: &mut [PrintedWord]) -> Vec<bool> {
    words.sort_by(|a, b| a.baseline.total_cmp(&b.baseline).then(a.left.total_cmp(&b.left)));
    let mut moves: Vec<(usize, f64, bool)> = Vec::new();
    for (at, word) in words.iter().enumerate() {
        let window = word.size * 3.0;
        let below = words.partition_point(|other| other.baseline < word.baseline - window);
        let around = words[below..]
            .iter()
            .take_while(|other| other.baseline <= word.baseline + window);
        let beside = around
            .filter(|other| {
                // What touches a word may be set nearly as large as it.
                let touches = (-0.1..0.12).contains(&((word.left - other.right) / other.size));
                other.size >= if touches { 1.02 } else { 1.15 } * word.size
            })
            .filter(|other| {
                let (behind, before) = (word.left - other.right, other.left - word.right);
                let near = -0.2 * other.size..0.3 * other.size;
                near.contains(&behind) || near.contains(&before)
            })
            .filter_map(|other| {
                let up = (other.baseline - word.baseline) / other.size;
                ((0.12..0.75).contains(&up) || (-0.45..-0.05).contains(&up)).then_some((
                    other.baseline,
                    up > 0.0,
                    (word.left - other.right).abs(),
                ))
            })
            .min_by(|a, b| a.2.total_cmp(&b.2));
        if let Some((baseline, up, _)) = beside {
            moves.push((at, baseline, up));
        }
    }
    let mut raised = vec![false; words.len()];
    for (at, baseline, up) in moves {
        let word = &mut words[at];
        word.text = as_sign(&word.text, up);
        word.baseline = baseline;
        raised[at] = true;
    }
    raised
}

/// The text with the sign of an exponent raised where its figures are: `cm−¹` is `cm⁻¹`.
fn with_raised_signs(text: &str) -> String {
    let mut signs = text.chars().peekable();
    let mut whole = String::with_capacity(text.len());
    while let Some(sign) = signs.next() {
        let raised = signs.peek().is_some_and(|next| "⁰¹²³⁴⁵⁶⁷⁸⁹".contains(*next));
        whole.push(match sign {
            '-' | '−' | '–' if raised => '⁻',
            '+' if raised => '⁺',
            sign => sign,
        });
    }
    whole
}

/// Raised or lowered letters as the signs that plain text has for them. Figures always have such a sign, so that an
/// exponent or the number of a footnote never becomes a figure of the number beside it.
fn as_sign(text: &str, up: bool) -> String {
    const PLAIN: &str = "0123456789+-−–=()niabcdexyz";
    const UP: &str = "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻⁻⁻⁼⁽⁾ⁿⁱᵃᵇᶜᵈᵉˣʸᶻ";
    const DOWN: &str = "₀₁₂₃₄₅₆₇₈₉₊₋₋₋₌₍₎";
    let signs = if up { UP } else { DOWN };
    text.chars()
        .map(|letter| {
            PLAIN
                .chars()
                .zip(signs.chars())
                .find(|(plain, _)| *plain == letter)
                .map_or(letter, |(_, sign)| sign)
        })
        .collect()
}

/// Words on one baseline as lines, with what touches put together.
fn lines(words: Vec<PrintedWord>, raised: Vec<bool>) -> Vec<WordLine> {
    let mut all: Vec<(PrintedWord, bool)> = words.into_iter().zip(raised).collect();
    all.sort_by(|a, b| a.0.baseline.total_cmp(&b.0.baseline));
    let mut lines: Vec<(WordLine, Vec<bool>)> = Vec::new();
    for (word, raised) in all {
        if let Some((line, flags)) = lines.last_mut()
            && (word.baseline - line.baseline).abs() <= BASELINE * line.size.min(word.size)
        {
            line.size = line.size.max(word.size);
            line.words.push(word);
            flags.push(raised);
            continue;
        }
        let line = WordLine {
            baseline: word.baseline,
            size: word.size,
            words: vec![word],
        };
        lines.push((line, vec![raised]));
    }
    lines
        .into_iter()
        .map(|(mut line, flags)| {
            let mut words: Vec<(PrintedWord, bool)> = line.words.into_iter().zip(flags).collect();
            words.sort_by(|a, b| a.0.left.total_cmp(&b.0.left));
            line.words = together(words);
            line
        })
        .collect()
}

/// Puts together what touches: raised signs and what was drawn in pieces. Words that are printed over one another are none.
fn together(words: Vec<(PrintedWord, bool)>) -> Vec<PrintedWord> {
    let mut whole: Vec<PrintedWord> = Vec::new();
    let mut last_raised = false;
    for (mut word, raised) in words {
        if let Some(last) = whole.last_mut() {
            let size = last.size.max(word.size);
            let gap = (word.left - last.right) / size;
            let touches = if raised || last_raised {
                gap < if word.after_blank { 0.1 } else { 0.3 }
            } else {
                gap < if word.after_blank { GAP_AT_BLANK } else { 0.1 }
            };
            if gap < -0.35 && !raised && !last_raised {
                // One over the other: neither is sure.
                last.text.push(UNKNOWN);
                word.text.push(UNKNOWN);
            } else if touches {
                last.text.push_str(&word.text);
                last.right = last.right.max(word.right);
                last.size = size;
                last.hidden |= word.hidden;
                last_raised = raised;
                continue;
            }
        }
        last_raised = raised;
        whole.push(word);
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Letters of half the font's size in width, from a place on.
    fn set(text: &str, left: f64, baseline: f64, size: f64) -> Vec<Glyph> {
        text.chars()
            .enumerate()
            .map(|(at, letter)| {
                let start = left + at as f64 * size / 2.0;
                Glyph {
                    letter: match letter {
                        ' ' => Letter::Blank,
                        '?' => Letter::Unknown,
                        letter => Letter::Known(letter.to_string()),
                    },
                    start: (start, baseline).into(),
                    end: (start + size / 2.0, baseline).into(),
                    size,
                    hidden: false,
                }
            })
            .collect()
    }

    fn texts(glyphs: Vec<Glyph>) -> Vec<Vec<String>> {
        let page = PrintedPage {
            glyphs,
            ..PrintedPage::default()
        };
        let line = |line: WordLine| line.words.into_iter().map(|word| word.text).collect();
        written(&page).lines.into_iter().map(line).collect()
    }

    #[test]
    fn words_end_at_gaps_and_blanks() {
        let glyphs = [set("400 nm", 0.0, 10.0, 10.0), set("0.123", 60.0, 11.0, 10.0)].concat();
        assert_eq!(texts(glyphs), [["400", "nm", "0.123"]]);
    }

    #[test]
    fn raised_figures_never_join_the_number() {
        let glyphs = [set("1.5×10", 0.0, 10.0, 10.0), set("−3", 30.0, 6.0, 7.0)].concat();
        assert_eq!(texts(glyphs), [["1.5×10⁻³"]]);
        let glyphs = [set("0.94", 0.0, 10.0, 10.0), set("2", 20.5, 6.0, 6.0)].concat();
        assert_eq!(texts(glyphs), [["0.94²"]]);
        let glyphs = [set("A", 0.0, 10.0, 10.0), set("340", 5.0, 12.0, 7.0)].concat();
        assert_eq!(texts(glyphs), [["A₃₄₀"]]);
    }

    #[test]
    fn bold_by_drawing_twice_is_read_once() {
        let glyphs = [set("11.5", 0.0, 10.0, 10.0), set("11.5", 0.4, 10.0, 10.0)].concat();
        assert_eq!(texts(glyphs), [["11.5"]]);
    }

    #[test]
    fn what_is_printed_over_another_is_no_number() {
        let glyphs = [set("0.123", 0.0, 10.0, 10.0), set("0.456", 10.0, 10.0, 10.0)].concat();
        assert_eq!(texts(glyphs), [["0.123\u{FFFD}", "0.456\u{FFFD}"]]);
    }

    #[test]
    fn lines_along_another_edge_are_read() {
        let turned = |glyph: Glyph| Glyph {
            start: (glyph.start.y, -glyph.start.x).into(),
            end: (glyph.end.y, -glyph.end.x).into(),
            ..glyph
        };
        let glyphs = [set("400 0.1", 0.0, 10.0, 10.0), set("410 0.2", 0.0, 22.0, 10.0)].concat();
        let glyphs = glyphs.into_iter().map(turned).collect();
        assert_eq!(texts(glyphs), [["400", "0.1"], ["410", "0.2"]]);
    }
}
