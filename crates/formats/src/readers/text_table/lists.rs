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
use crate::words::fold;

/// So many values are the least: fewer are the conditions of a run, `pH: 7, 8`.
const LEAST: usize = 3;
/// A longer key is a sentence.
const LONGEST_KEY: usize = 40;
/// A longer text is none that somebody wrote by hand.
const LONGEST_TEXT: usize = 1 << 18;
/// A longer list is of a text that no person wrote line by line.
const MOST_VALUES: usize = 4096;

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
        if text.len() > LONGEST_TEXT {
            return None;
        }
        let mut blocks = BTreeMap::new();
        let mut cursor = Cursor { at: 0, line: 1 };
        while cursor.at < text.len() {
            if let Some(block) = ListBlock::at(text, cursor) {
                let after = block.after();
                blocks.insert(cursor.at, block);
                cursor = after;
            } else if has_values(text, cursor) {
                return None;
            } else {
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
    after: Cursor,
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
        let header = list_at(text, cursor)?;
        if !header.runs(text) && !header.are(text, Held::Words) {
            return None;
        }
        let mut lists = Vec::new();
        let mut after = header.after;
        let goes_on = |list: &List| {
            let anew = header.runs(text) && list.runs(text)
                || fold(&text[list.key.clone()]) == fold(&text[header.key.clone()]);
            list.values.len() == header.values.len() && list.is_of_numbers(text) && !anew
        };
        while let Some(list) = list_at(text, after).filter(goes_on) {
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

/// Whether a line that begins no block holds a list, a key whose values stand below it, or a number behind a key that names light.
fn has_values(text: &str, cursor: Cursor) -> bool {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let Some(mark) = mark_of(line) else { return false };
    let values = values_of(text, &line[mark + 1..]);
    let number = |value: &Range<usize>| held(&text[value.clone()]) == Held::Number;
    let of = read_column_header(line[..mark].trim_matches(is_blank)).quantity;
    let of_light = of.is_some_and(|of| of.is_of_light());
    values.is_empty() || of_light && values.iter().any(number) || list_at(text, cursor).is_some()
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
    let mut values = values_of(text, &line[mark + 1..]);
    let mut after = Cursor {
        at: next,
        line: cursor.line + 1,
    };
    if values.is_empty()
        || values
            .iter()
            .all(|value| held(&text[value.clone()]) == Held::Number)
    {
        while after.at < text.len() {
            let (end, next) = line_end(text.as_bytes(), after.at);
            let below = values_of(text, &text[after.at..end]);
            let numbers = below
                .iter()
                .all(|value| held(&text[value.clone()]) == Held::Number);
            if below.is_empty() || !numbers || mark_of(&text[after.at..end]).is_some() {
                break;
            }
            values.extend(below);
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
        after,
    })
}

/// Where the sign behind the key of a line stands.
fn mark_of(line: &str) -> Option<usize> {
    let mark = line.find([':', '='])?;
    let (key, behind) = (line[..mark].trim_matches(is_blank), &line[mark + 1..]);
    let key_like = key.starts_with(|c: char| c.is_alphabetic() || c == '[')
        && key.len() <= LONGEST_KEY
        && !key.contains(['\t', ';', '|'])
        // `time, minutes`
        && (!key.contains(',') || read_column_header(key).quantity.is_some());
    // Neither a clock nor an address, and no second key in the line.
    let plain =
        (behind.is_empty() || behind.starts_with([' ', '\t'])) && !behind.contains(['=', ':', '[', '{']);
    (key_like && plain).then_some(mark)
}

/// The values of a part of a line that one sign parts: a semicolon, a tab, a bar, a comma before a blank, or blanks; single ones
/// where all are numbers.
fn values_of(text: &str, part: &str) -> Vec<Range<usize>> {
    let part = part.trim_matches(is_blank).trim_end_matches([';', ',']);
    if part.is_empty() {
        return Vec::new();
    }
    let parted = |sign: &str| -> Vec<Range<usize>> {
        part.split(sign)
            .map(|value| value.trim_matches(is_blank))
            .filter(|value| !value.is_empty() || sign.trim() == sign && sign != "\t")
            .map(|value| crate::slice::range_in(text, value))
            .collect()
    };
    let sign = [";", "|", "\t", ", ", "  "]
        .into_iter()
        .find(|sign| part.contains(sign));
    let single: Vec<Range<usize>> = part
        .split_whitespace()
        .map(|value| crate::slice::range_in(text, value))
        .collect();
    let all_numbers = || {
        single
            .iter()
            .all(|value| held(&text[value.clone()]) == Held::Number)
    };
    match sign {
        Some("  ") if all_numbers() => single,
        Some(sign) => parted(sign),
        None => single,
    }
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
