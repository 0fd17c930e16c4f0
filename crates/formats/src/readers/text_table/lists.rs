//! Lists with a key in front, one below the other, of which each is a row across: `mg/L : 0 ; 25 ; 50` over `A520 : 0.010 ; 0.058 ;
//! 0.103`, or `wavelength (nm):` with its numbers on the lines below, and then `absorbance:` with as many.
//!
//! The first list is what runs, or the names of the samples; of the others each has as many values, and one names what a
//! photometer measures.

use std::collections::BTreeMap;
use std::ops::Range;

use curvary_record::Span;

use super::dialect::is_blank;
use super::grid::{Cursor, line_end};
use super::records::{Held, held};
use super::scan::TextLine;
use crate::column_header::read_column_header;
use crate::words::{fold, names_samples};

/// So many values are the least: fewer are the conditions of a run, `pH: 7, 8`.
const LEAST: usize = 3;
/// A longer key, in characters, is a sentence: half a line of a screen.
const LONGEST_KEY: usize = 40;
/// A longer text, 256 KiB, is none that somebody wrote by hand: some thousand lines.
const LONGEST_TEXT: usize = 1 << 18;
/// A longer list is of a text that no person wrote line by line.
const MOST_VALUES: usize = 4096;

/// How far apart the columns are to which a tab leads, in programs that show texts.
const TAB_STOPS: [usize; 2] = [8, 4];

/// The blocks of lists of a text, of which nothing else would be lost.
pub(super) struct Lists {
    /// The text with each list on a line of its own and tabs between its cells; every byte that is kept stands where it stood.
    text: String,
    /// By the byte at which they begin.
    blocks: BTreeMap<usize, ListBlock>,
}

impl Lists {
    /// Those of a text; `None` where it has none, or a list or a reading besides.
    pub(super) fn of(text: &str) -> Option<Self> {
        if text.len() > LONGEST_TEXT || !has_block(text) {
            return None;
        }
        let mut blocks = BTreeMap::new();
        let mut counted = false;
        let mut cursor = Cursor { at: 0, line: 1 };
        while cursor.at < text.len() {
            if let Some(block) = ListBlock::at(text, cursor) {
                let after = block.after();
                blocks.insert(cursor.at, block);
                cursor = after;
            } else if has_values(text, cursor) || counted && is_count(text, cursor) {
                return None;
            } else {
                counted |= is_count(text, cursor);
                cursor = Cursor {
                    at: line_end(text.as_bytes(), cursor.at).1,
                    line: cursor.line + 1,
                };
            }
        }
        if blocks.is_empty() {
            return None;
        }
        let mut bytes = text.as_bytes().to_vec();
        for list in blocks
            .values()
            .flat_map(|block| std::iter::once(&block.header).chain(&block.lists))
        {
            let end = list.after.at - usize::from(text[..list.after.at].ends_with('\n'));
            bytes[list.start.at..end].fill(b' ');
            for kept in std::iter::once(&list.key).chain(&list.values) {
                bytes[kept.clone()].copy_from_slice(&text.as_bytes()[kept.clone()]);
            }
            for value in &list.values {
                bytes[value.start - 1] = b'\t';
            }
        }
        Some(Self {
            text: String::from_utf8(bytes).ok()?,
            blocks,
        })
    }

    /// The block that begins at a byte, with the text in which it stands.
    pub(super) fn at(&self, at: usize) -> Option<(&str, &ListBlock)> {
        Some((&self.text, self.blocks.get(&at)?))
    }
}

/// A key and its values, as bytes of the text.
struct List {
    start: Cursor,
    key: Range<usize>,
    values: Vec<Range<usize>>,
    spacing: Spacing,
    after: Cursor,
}

/// What blanks and tabs between the values tell of those that lack.
#[derive(Clone, Copy, Default)]
struct Spacing {
    /// How many tabs stand in front of the first value besides the one behind the key.
    tabs: usize,
    /// Between two values stands a gap that is clearly wider than the others.
    uneven: bool,
    /// Whether all values stand in one line.
    in_line: bool,
}

impl List {
    fn are(&self, text: &str, kind: Held) -> bool {
        self.values.iter().all(|value| held(&text[value.clone()]) == kind)
    }

    /// Whether it is of numbers, of which some may lack.
    fn is_of_numbers(&self, text: &str) -> bool {
        let numbers = |value: &Range<usize>| held(&text[value.clone()]) != Held::Words;
        self.values.iter().all(numbers) && !self.are(text, Held::Nothing)
    }

    /// Whether its key names what readings run over.
    fn runs(&self, text: &str) -> bool {
        let head = read_column_header(&text[self.key.clone()]);
        let named = head.quantity.is_some_and(|quantity| {
            matches!(
                quantity.as_str(),
                "wavelength" | "wavenumber" | "time" | "concentration" | "temperature" | "ph"
            )
        });
        named && self.are(text, Held::Number)
    }

    /// Whether each of its values stands under one of `header`: as many, and where the space between them is uneven, or tabs are the
    /// space in front of them, in the columns of those.
    fn stands_under(&self, header: &Self, text: &str) -> bool {
        let one_line = self.spacing.in_line && header.spacing.in_line;
        let in_columns = |stop: usize, all: bool| {
            let place = |list: &Self| {
                let line = &text[list.start.at..];
                let places = list.values.iter().map(|value| {
                    let from = column_of(&line[..value.start - list.start.at], stop);
                    (from, from + text[value.clone()].chars().count())
                });
                places.collect::<Vec<_>>()
            };
            let (own, above) = (place(self), place(header));
            let count = if all { own.len() } else { 1 };
            // None stands beneath two, nor beneath another than its own.
            let beneath = |(a, b): (&(usize, usize), &(usize, usize))| a.0 < b.1 && b.0 < a.1;
            (0..count).all(|at| {
                let others = (0..count).filter(|other| *other != at);
                beneath((&own[at], &above[at]))
                    && !others.into_iter().any(|other| beneath((&own[at], &above[other])))
            })
        };
        if self.values.len() != header.values.len() {
            return false;
        }
        let tabbed = self.spacing.tabs != header.spacing.tabs;
        let uneven = self.spacing.uneven || header.spacing.uneven;
        if tabbed {
            return one_line && TAB_STOPS.iter().any(|stop| in_columns(*stop, false));
        }
        !uneven || one_line && in_columns(TAB_STOPS[0], true)
    }

    fn is_of_light(&self, text: &str) -> bool {
        let head = read_column_header(&text[self.key.clone()]);
        head.quantity.is_some_and(|quantity| quantity.is_of_light()) && self.is_of_numbers(text)
    }
}

/// Lists of one length, of which the first says what runs or names the samples.
pub(super) struct ListBlock {
    header: List,
    lists: Vec<List>,
}

impl ListBlock {
    /// The block that begins in the line at `cursor`: up to a list of another length, or one that says anew what runs.
    fn at(text: &str, cursor: Cursor) -> Option<Self> {
        let mut header = list_at(text, cursor)?;
        while header.values.last().is_some_and(Range::is_empty) {
            header.values.pop();
        }
        if header.values.len() < LEAST {
            return None;
        }
        // `Analysts: Kim, Lee, Ray` names no samples.
        let names = || header.are(text, Held::Words) && names_samples(&text[header.key.clone()]);
        if !header.runs(text) && !names() {
            return None;
        }
        let mut lists = Vec::new();
        let mut after = header.after;
        let goes_on = |list: &List| {
            let anew = header.runs(text) && list.runs(text)
                || fold(&text[list.key.clone()]) == fold(&text[header.key.clone()]);
            list.stands_under(&header, text) && list.is_of_numbers(text) && !anew
        };
        while let Some(mut list) = list_at(text, after) {
            // Cells that stand empty at the end of a line are filled up with signs.
            while list.values.len() > header.values.len() && list.values.last().is_some_and(Range::is_empty) {
                list.values.pop();
            }
            if !goes_on(&list) {
                break;
            }
            after = list.after;
            lists.push(list);
        }
        lists
            .iter()
            .any(|list| list.is_of_light(text))
            .then_some(Self { header, lists })
    }

    /// The line of the first list.
    pub(super) fn header(&self, text: &str) -> TextLine {
        TextLine {
            span: Span::new(self.header.start.at, line_before(text, self.header.after.at)),
            line: self.header.start.line,
        }
    }

    /// Where the others begin.
    pub(super) fn first(&self) -> Cursor {
        self.header.after
    }

    /// The line of the source on which each of the others begins.
    pub(super) fn lines(&self) -> Vec<u32> {
        self.lists.iter().map(|list| list.start.line).collect()
    }

    pub(super) fn after(&self) -> Cursor {
        self.lists.last().map_or(self.header.after, |list| list.after)
    }
}

/// Whether a block begins in any line. Most texts have none, and of those no other line is weighed.
fn has_block(text: &str) -> bool {
    let mut cursor = Cursor { at: 0, line: 1 };
    while cursor.at < text.len() {
        let (end, next) = line_end(text.as_bytes(), cursor.at);
        let has_mark = text[cursor.at..end].contains([':', '=']);
        if has_mark && ListBlock::at(text, cursor).is_some() {
            return true;
        }
        cursor = Cursor {
            at: next,
            line: cursor.line + 1,
        };
    }
    false
}

/// Whether a line that begins no block holds a list, a number alone, numbers behind a word, or a number behind a key that names light:
/// with the lists read, it would be lost. A row of numbers belongs to a table of its own, or is told of.
fn has_values(text: &str, cursor: Cursor) -> bool {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let number = |value: &Range<usize>| held(&text[value.clone()]) == Held::Number;
    let Some(mark) = mark_of(line) else {
        let (values, _) = values_of(text, line);
        let numbers = values.iter().rev().take_while(|value| number(value)).count();
        let alone = values.len() == 1 && numbers == 1 && !is_count(text, cursor);
        return alone || numbers >= LEAST && numbers < values.len();
    };
    let (values, _) = values_of(text, &line[mark + 1..]);
    let of = read_column_header(line[..mark].trim_matches(is_blank)).quantity;
    let of_light = of.is_some_and(|of| of.is_of_light());
    of_light && values.iter().any(number) || list_at(text, cursor).is_some()
}

/// Whether a line is a single whole number, as that of a page is.
fn is_count(text: &str, cursor: Cursor) -> bool {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = text[cursor.at..end].trim_matches(is_blank);
    !line.is_empty() && line.bytes().all(|byte| byte.is_ascii_digit())
}

/// Where the line ends behind which byte `next` begins another.
fn line_before(text: &str, next: usize) -> usize {
    text[..next].trim_end_matches(['\r', '\n']).len()
}

/// The list at `cursor`: its values behind the key, or on the lines of numbers below.
fn list_at(text: &str, cursor: Cursor) -> Option<List> {
    if cursor.at >= text.len() {
        return None;
    }
    let (end, next) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let mark = mark_of(line)?;
    let key = line[..mark].trim_matches(is_blank);
    let key = crate::slice::range_in(text, key);
    let (mut values, mut spacing) = values_of(text, &line[mark + 1..]);
    let mut after = Cursor {
        at: next,
        line: cursor.line + 1,
    };
    let numbers = |values: &[Range<usize>]| {
        values
            .iter()
            .all(|value| held(&text[value.clone()]) == Held::Number)
    };
    if values.is_empty() || numbers(&values) {
        while after.at < text.len() {
            let (end, next) = line_end(text.as_bytes(), after.at);
            let (below, space) = values_of(text, &text[after.at..end]);
            if below.is_empty() || !numbers(&below) || mark_of(&text[after.at..end]).is_some() {
                break;
            }
            values.extend(below);
            spacing.uneven |= space.uneven;
            spacing.in_line = false;
            after = Cursor {
                at: next,
                line: after.line + 1,
            };
        }
    }
    (LEAST..=MOST_VALUES).contains(&values.len()).then_some(List {
        start: cursor,
        key,
        values,
        spacing,
        after,
    })
}

/// Where the sign behind the key of a line stands.
fn mark_of(line: &str) -> Option<usize> {
    let mark = line.find([':', '='])?;
    let (key, behind) = (line[..mark].trim_matches(is_blank), &line[mark + 1..]);
    let key_like = key.starts_with(|c: char| c.is_alphabetic() || c == '[')
        && key.chars().count() <= LONGEST_KEY
        && !key.contains(['\t', ';', '|'])
        // `time, minutes`
        && (!key.contains(',') || read_column_header(key).quantity.is_some());
    // Neither a clock nor an address, and no second key in the line.
    let plain =
        (behind.is_empty() || behind.starts_with([' ', '\t'])) && !behind.contains(['=', ':', '[', '{']);
    (key_like && plain).then_some(mark)
}

/// The values of a part of a line that one sign parts: a semicolon, a tab, a bar, a comma before a blank, or blanks; single ones
/// where all are numbers. A cell between two signs in which nothing stands is one of them.
fn values_of(text: &str, part: &str) -> (Vec<Range<usize>>, Spacing) {
    let part = part.trim_end_matches(['\r', '\n']).trim_matches(' ');
    let plain = part.trim_matches(is_blank).trim_end_matches([';', ',']);
    let mut spacing = Spacing {
        in_line: true,
        ..Spacing::default()
    };
    if plain.is_empty() {
        return (Vec::new(), spacing);
    }
    let place = |value: &str| crate::slice::range_in(text, value);
    let single = || plain.split_whitespace().map(place).collect::<Vec<Range<usize>>>();
    let is_number = |value: &Range<usize>| held(&text[value.clone()]) == Held::Number;
    let sign = [";", "|", "\t", ", ", "  "]
        .into_iter()
        .find(|sign| plain.contains(sign));
    let values = match sign {
        Some("  ") | None => {
            let words = single();
            let values = if sign.is_none() || words.iter().all(is_number) {
                words
            } else {
                let cells = plain.split("  ").map(|value| value.trim_matches(is_blank));
                cells.filter(|value| !value.is_empty()).map(place).collect()
            };
            spacing.uneven = sign.is_some() && is_uneven(text, &values);
            values
        }
        Some(sign) => {
            // The first tab stands between the key and the values.
            let front = part.len() - part.trim_start_matches('\t').len();
            let body = match sign {
                "\t" => {
                    spacing.tabs = front.saturating_sub(1);
                    &part[front..]
                }
                _ => plain,
            };
            body.split(sign)
                .map(|value| place(value.trim_matches(is_blank)))
                .collect()
        }
    };
    (values, spacing)
}

/// Whether a gap between values that blanks part is clearly wider than another, and they stand in no columns of one width.
fn is_uneven(text: &str, values: &[Range<usize>]) -> bool {
    const CLEARLY: usize = 2;
    let width = |from: usize, to: usize| text[from..to].chars().count();
    let pairs = || values.windows(2);
    let of_one = |widths: &[usize]| widths.windows(2).all(|pair| pair[0] == pair[1]);
    let gaps: Vec<usize> = pairs().map(|pair| width(pair[0].end, pair[1].start)).collect();
    let starts: Vec<usize> = pairs().map(|pair| width(pair[0].start, pair[1].start)).collect();
    let ends: Vec<usize> = pairs().map(|pair| width(pair[0].end, pair[1].end)).collect();
    let (least, most) = (gaps.iter().min(), gaps.iter().max());
    let apart = least
        .zip(most)
        .is_some_and(|(least, most)| *most > CLEARLY * least);
    apart && !of_one(&starts) && !of_one(&ends)
}

/// The column in which a text ends, where a tab leads to the next multiple of `stop`.
fn column_of(text: &str, stop: usize) -> usize {
    text.chars().fold(0, |column, sign| match sign {
        '\t' => (column / stop + 1) * stop,
        _ => column + 1,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(text: &str) -> Option<Vec<String>> {
        let lists = Lists::of(text)?;
        let (text, block) = lists.at(0)?;
        let rows = text[..block.after().at].lines();
        let cells = rows.map(|row| row.split('\t').map(str::trim).collect::<Vec<_>>().join("|"));
        Some(cells.filter(|row| !row.is_empty()).collect())
    }

    #[test]
    fn lists_with_keys() {
        let cases = [
            (
                "mg/L : 0 ; 25 ; 50\nA520 : 0.010 ; 0.058 ; 0.103\n",
                Some(vec!["mg/L|0|25|50", "A520|0.010|0.058|0.103"]),
            ),
            (
                "prov:     inlopp  sjö 1   bäck\nabsorbans:  0,512  0,288  0,467\n\nkyvett 50 mm\n",
                Some(vec!["prov|inlopp|sjö 1|bäck", "absorbans|0,512|0,288|0,467"]),
            ),
            (
                "wavelength (nm):\n  350  352\n  354\nabsorbance:\n  0.1  0.2\n  0.3",
                Some(vec!["wavelength (nm)|350|352|354", "absorbance|0.1|0.2|0.3"]),
            ),
            // Samples with three readings each; one that breaks off; keys with one value.
            ("A: 0.1 0.2 0.3\nB: 0.4 0.5 0.6\n", None),
            ("nm: 400 410 420\nA: 0.1 0.2 0.3\nB: 0.1 0.2 0.3 0.4\n", None),
            ("date: 2020-01-01\ntime: 10:00\n", None),
            // Unknowns below standards, and a second curve without its axis.
            (
                "mg/L: 0; 1; 2\nA540: 0.001; 0.101; 0.201\nSamples: Tea; Malt\nA540: 0.155; 0.255\n",
                None,
            ),
            (
                "nm:\n400\n410\n420\nA:\n0.1\n0.2\n0.3\nMalt\nA:\n0.15\n0.25\n0.35\n",
                None,
            ),
            (
                "Time (s): 0; 10; 20\nTea A340: 0.1; 0.2; 0.3\nTime (s): 0; 15; 30\nMalt A340: 0.15; 0.25; 0.35\n",
                Some(vec!["Time (s)|0|10|20", "Tea A340|0.1|0.2|0.3"]),
            ),
        ];
        for (text, wanted) in cases {
            let wanted: Option<Vec<String>> =
                wanted.map(|rows: Vec<&str>| rows.into_iter().map(str::to_owned).collect());
            assert_eq!(cells(text), wanted, "{text}");
        }
    }
}
