//! Keys and values in cells of their own: `Temperature:,37,C`, `"Sample:","betanin"`, `pH;7,4;;`, and several of them
//! in a row, `Sample,betanin,Temperature (C),25`.
//!
//! A sheet is written out with as many separators as its widest row has cells, so a key stands in one cell, its value in
//! the next that is not empty, and its unit perhaps in the one after that. A decimal comma never reaches over a cell.

use std::ops::Range;

use curvary_record::unit::{Spelling, spelled};

use super::keys::composed;
use super::{KeyValueSpan, MOST_PAIRS, bare, is_field_with_unit, is_key};
use crate::column_header::read_column_header;
use crate::words::{field_of, fields_if_fitting};

/// What a cell is in a line of keys and values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum KeyCell {
    /// It ends with the mark of a key: `Temperature:`.
    Marked(char),
    /// Its words are a key of the trade.
    Known,
    /// Its word may be a key of the trade and other things as well: `t`, `C`, `cell`.
    Perhaps,
    /// Anything else: a value, a unit, an unknown word.
    Other,
}

/// The keys and values of a line of cells, none where they do not go up in keys and values; `None` where its first cell
/// is no key.
pub(super) fn pairs(line: &str, body: &Range<usize>) -> Option<Vec<KeyValueSpan>> {
    ['\t', ';', ',', '|']
        .into_iter()
        .filter(|&mark| line[body.clone()].contains(mark))
        .find_map(|mark| paired(line, body, mark))
}

fn paired(line: &str, body: &Range<usize>, separator: char) -> Option<Vec<KeyValueSpan>> {
    let mut cells: Vec<Range<usize>> = split(line, body, separator)
        .into_iter()
        .filter(|cell| !cell.is_empty())
        .collect();
    let marks = take_marks(line, &mut cells);
    let mut kinds: Vec<KeyCell> = cells.iter().map(|cell| kind(&line[cell.clone()])).collect();
    for (at, mark) in marks {
        if is_key(&line[cells[at].clone()]) {
            kinds[at] = KeyCell::Marked(mark);
        }
    }
    // `start of run; lambda=405nm`: what stands behind it is a key with its own value.
    let states_itself = cells.get(1).is_some_and(|cell| line[cell.clone()].contains('='));
    if kinds.first() == Some(&KeyCell::Other) || kinds.first() == Some(&KeyCell::Perhaps) && states_itself {
        return None;
    }
    let mut pairs = Vec::new();
    let mut at = 0;
    while at < cells.len() {
        let mark = match kinds[at] {
            KeyCell::Marked(mark) => mark,
            KeyCell::Known | KeyCell::Perhaps => separator,
            KeyCell::Other => return Some(left_over(line, &cells, &kinds, separator)),
        };
        let key = without_mark(line, &cells[at]);
        let (value, says, next) = match kinds.get(at + 1) {
            Some(KeyCell::Other | KeyCell::Perhaps) => value_at(line, &cells, &kinds, at + 1),
            // `Operator:;M. W.`: the value behind a marked key may look like a key of the trade (`MW`).
            Some(KeyCell::Known) if matches!(kinds[at], KeyCell::Marked(_)) && cells.len() == 2 => {
                (cells[at + 1].clone(), None, at + 2)
            }
            // `Sample,Temperature,pH` names columns, and `Sample:;Operator:;` leaves a key without its value.
            Some(KeyCell::Known) => return Some(Vec::new()),
            Some(KeyCell::Marked(_)) | None => (cells[at].end..cells[at].end, None, at + 1),
        };
        // Two heads of columns side by side are no key and its value.
        if mark == separator
            && (is_head(&line[value.clone()]) && !is_name_in_brackets(line, &cells, &value)
                || !may_be_value(&line[key.clone()], &line[value.clone()]))
        {
            return Some(Vec::new());
        }
        pairs.push(KeyValueSpan {
            key,
            value,
            mark,
            says,
        });
        at = next;
    }
    if pairs.len() > MOST_PAIRS {
        pairs.clear();
    }
    Some(pairs)
}

/// Takes the marks of keys that stand in a cell of their own, or in front of a value, out of the cells: `Sample;:;beet`,
/// `Sample;: beet`. Says which cells they belong to.
fn take_marks(line: &str, cells: &mut Vec<Range<usize>>) -> Vec<(usize, char)> {
    let mut marks = Vec::new();
    let mut at = 1;
    while at < cells.len() {
        let text = &line[cells[at].clone()];
        let mark = text.chars().next().filter(|mark| matches!(mark, ':' | '='));
        let Some(mark) = mark.filter(|_| text.len() == 1 || text[1..].starts_with(' ')) else {
            at += 1;
            continue;
        };
        marks.push((at - 1, mark));
        if text.len() == 1 {
            cells.remove(at);
        } else {
            cells[at] = bare(line, cells[at].start + 1..cells[at].end);
            at += 1;
        }
    }
    marks
}

/// A line whose first cell is a key, and whose cells do not go up in keys and values: the commas of prose go on in the
/// value. Several numbers or names behind a key stand over columns, and are its value only where the key is marked.
fn left_over(line: &str, cells: &[Range<usize>], kinds: &[KeyCell], separator: char) -> Vec<KeyValueSpan> {
    let [first, values @ ..] = cells else {
        return Vec::new();
    };
    let (Some(from), Some(to)) = (values.first(), values.last()) else {
        return Vec::new();
    };
    let value = from.start..to.end;
    let text = &line[value.clone()];
    let numbers = values
        .iter()
        .filter(|cell| is_figures(&line[(*cell).clone()]))
        .count();
    let heads = values
        .iter()
        .all(|cell| read_column_header(&line[cell.clone()]).quantity.is_some());
    let prose = separator == ',' && (values.len() == 2 || text.contains(", "));
    let mark = match kinds[0] {
        KeyCell::Marked(mark) => mark,
        KeyCell::Known if prose && numbers < 2 && !heads => separator,
        _ => return Vec::new(),
    };
    // Numbers in cells of their own are never one number.
    let says = (numbers >= 1).then(|| {
        let texts: Vec<&str> = values.iter().map(|cell| &line[cell.clone()]).collect();
        texts.join("; ")
    });
    vec![KeyValueSpan {
        key: without_mark(line, first),
        value,
        mark,
        says,
    }]
}

/// The value that begins with cell `at`, what it says where several cells make it up, and the next cell behind it.
fn value_at(
    line: &str,
    cells: &[Range<usize>],
    kinds: &[KeyCell],
    at: usize,
) -> (Range<usize>, Option<String>, usize) {
    let text = |at: usize| &line[cells[at].clone()];
    let other = |at: usize| kinds.get(at) == Some(&KeyCell::Other);
    // `C` behind a number is its unit, unless a value of its own follows.
    let unit = |at: usize| {
        let free = other(at) || kinds.get(at) == Some(&KeyCell::Perhaps) && !other(at + 1);
        free && is_unit(text(at))
    };
    let span = |last: usize| cells[at].start..cells[last].end;
    if is_figures(text(at)) {
        if unit(at + 1) {
            return (
                span(at + 1),
                Some(format!("{} {}", text(at), text(at + 1))),
                at + 2,
            );
        }
        // From and to, with their unit behind both.
        if other(at + 1) && is_figures(text(at + 1)) && unit(at + 2) {
            let says = format!("{} - {} {}", text(at), text(at + 1), text(at + 2));
            return (span(at + 2), Some(says), at + 3);
        }
    }
    // A date and its time of day.
    let digits = |text: &str| text.bytes().filter(u8::is_ascii_digit).count();
    if other(at + 1) && text(at + 1).contains(':') && digits(text(at + 1)) >= 3 && digits(text(at)) >= 4 {
        return (
            span(at + 1),
            Some(format!("{} {}", text(at), text(at + 1))),
            at + 2,
        );
    }
    (cells[at].clone(), None, at + 1)
}

fn kind(text: &str) -> KeyCell {
    if let Some(mark) = text.chars().next_back().filter(|mark| matches!(mark, ':' | '=')) {
        let words = text[..text.len() - 1].trim_end();
        let simple = !words.contains([':', '=']) && is_key(words);
        return if simple {
            KeyCell::Marked(mark)
        } else {
            KeyCell::Other
        };
    }
    if !is_key(text) {
        KeyCell::Other
    } else if field_of(text).is_some() || is_field_with_unit(text) || is_of_something(text) {
        KeyCell::Known
    } else if fields_if_fitting(text).is_empty() && composed(text).is_none() {
        KeyCell::Other
    } else {
        KeyCell::Perhaps
    }
}

/// `Température du bain`: a quantity that is stated of something.
fn is_of_something(text: &str) -> bool {
    if text.contains(|c: char| c.is_ascii_digit() || matches!(c, ':' | '=')) {
        return false;
    }
    crate::words::about_its_genitive(text)
        .and_then(|(field, _)| field_of(field))
        .is_some_and(|field| matches!(field, "temperature" | "ph" | "path-length" | "wavelength"))
}

/// A key without the mark at its end.
fn without_mark(line: &str, cell: &Range<usize>) -> Range<usize> {
    let text = line[cell.clone()].trim_end_matches([':', '=']).trim_end();
    bare(line, cell.start..cell.start + text.len())
}

/// Whether a cell is one number and nothing else.
fn is_figures(text: &str) -> bool {
    let text = text.trim_start_matches(['-', '+', '\u{2212}']);
    text.starts_with(|c: char| c.is_ascii_digit())
        && text
            .bytes()
            .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
}

fn is_unit(text: &str) -> bool {
    let bare = text.trim().trim_matches(['(', ')', '[', ']']);
    bare.contains(|c: char| !c.is_ascii_digit()) && spelled(bare) != Spelling::None
}

/// Whether a cell may be the value of a key without a mark: `Raw` is no wavelength, and `525 nm` no sample.
fn may_be_value(key: &str, value: &str) -> bool {
    let Some(field) = field_of(key) else { return true };
    if value.is_empty() {
        return true;
    }
    if field == "sample" {
        let of_light = value.starts_with(|c: char| c.is_ascii_digit()) && value.ends_with("nm");
        return !of_light;
    }
    field != "wavelength" || value.contains(|c: char| c.is_numeric())
}

/// Whether the second and last cell of a line behind a key of the sample is a name that brackets go into, `Campione;poli(dA-dT)`, though
/// what stands in them may be a symbol.
fn is_name_in_brackets(line: &str, cells: &[Range<usize>], value: &Range<usize>) -> bool {
    /// Shorter words in front of a bracket are symbols, `A(260)`.
    const SHORTEST: usize = 3;
    let text = &line[value.clone()];
    let glued = text
        .find('(')
        .is_some_and(|at| at >= SHORTEST && text[..at].ends_with(char::is_alphanumeric));
    let front = text.split('(').next().unwrap_or("");
    cells.len() == 2
        && field_of(&line[cells[0].clone()]) == Some("sample")
        && glued
        && read_column_header(front).quantity.is_none()
}

/// Whether a cell names what a column holds, and no value of it.
fn is_head(text: &str) -> bool {
    let head = read_column_header(text);
    // `Datum;E254;Bemerkung`: what was read at a wavelength.
    let read = head
        .quantity
        .as_ref()
        .is_some_and(curvary_record::Quantity::is_of_light)
        && head
            .held
            .iter()
            .any(|held| held.quantity == curvary_record::Quantity::WAVELENGTH);
    let names = head.quantity.is_some() && head.held.is_empty() || read;
    // `Okoro, J.` ends in an initial, not in a unit.
    let initial = text.ends_with('.') && text.trim_end_matches('.').ends_with(|c: char| c.is_uppercase());
    names && !initial && !text.starts_with(|c: char| c.is_ascii_digit())
}

/// The cells of a line, without blanks and quotes; a separator between quotes parts nothing.
fn split(line: &str, body: &Range<usize>, separator: char) -> Vec<Range<usize>> {
    let text = &line[body.clone()];
    let mut cells = Vec::new();
    let (mut from, mut quoted, mut begun) = (0, false, false);
    for (at, sign) in text.char_indices() {
        if sign == '"' && (quoted || !begun) {
            quoted = !quoted;
            begun = true;
        } else if sign == separator && !quoted {
            cells.push(bare(line, body.start + from..body.start + at));
            from = at + sign.len_utf8();
            begun = false;
        } else if !sign.is_whitespace() {
            begun = true;
        }
    }
    cells.push(bare(line, body.start + from..body.end));
    cells
}
