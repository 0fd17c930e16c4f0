//! Readings that stand one behind the other in a line: `S1 0.732, S2 0.721, S3 0.576`, `0.140 at 400 nm, 0.382 at 420 nm and
//! 0.608 at 440 nm`, `300:0.078  301:0.087`.
//!
//! They are sought only in a text in which no table was found. All items of a line have one form, and there are three or more;
//! each is then read as if it stood on a line of its own.

use std::ops::Range;

use curvary_record::Quantity;
use curvary_record::unit::{Spelling, spelled};

use super::columns::quantity_of_unit;
use super::grid::{Cursor, line_end};
use super::surroundings::{names_light, names_wavelength};
use crate::words::{self, WordList};

/// So many items are the least.
const LEAST: usize = 3;
/// A longer text is none that somebody wrote by hand.
pub(super) const LONGEST_TEXT: usize = 1 << 16;

/// A text in which every item stands on a line of its own; every byte that is kept stands where it stood.
pub(super) struct Items {
    pub(super) text: String,
    /// What stands in front of the first item in its line, `At 620 nm:`.
    pub(super) prefix: Range<usize>,
    /// Where the first item begins.
    pub(super) start: usize,
    /// The line of the source on which each item stands.
    pub(super) lines: Vec<u32>,
    pub(super) after: Cursor,
}

/// The items that begin in the line at `cursor`, and go on in the lines below.
pub(super) fn items_at(text: &str, cursor: Cursor) -> Option<Items> {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let digits = line.bytes().filter(u8::is_ascii_digit).count();
    if digits < 2 * LEAST {
        return None;
    }
    let (from, first) = behind_heading(line)?;
    // `Volumes (mL): S1 10.0, S2 10.5`: the words in front of the items, or above them, say that light was read, or the items do.
    let heading = line[..from].trim();
    let heading = if heading.is_empty() {
        text[..cursor.at]
            .lines()
            .rev()
            // Another list stands under a heading of its own: `Volumes (mL): S1 0.5, S2 0.5, S3 0.4`.
            .find(|line| !line.trim().is_empty() && behind_heading(line).is_none_or(|(from, _)| from == 0))
            .unwrap_or("")
    } else {
        heading
    };
    if is_in_other_unit(heading) {
        return None;
    }
    let of_light = |words: &str| names_light(words) || names_wavelength(words);
    if !of_light(heading) && !names_light(line) {
        return None;
    }
    let form = form_of(&line[from..][first[0].clone()]);
    let is_sample = |item: &str| {
        let name = item.split([' ', ':', '=']).next().unwrap_or("");
        !(name.starts_with(char::is_alphabetic)
            && (words::is_statistics(name) || words::is(WordList::Target, name)))
    };
    let mut bytes = text.as_bytes().to_vec();
    let mut lines = Vec::new();
    let mut at = cursor;
    let start = cursor.at + from + first[0].start;
    while at.at < text.len() {
        let (end, next) = line_end(text.as_bytes(), at.at);
        let begins = if at == cursor { at.at + from } else { at.at };
        let Some(items) = items_of(&text[begins..end], Some(&form)) else {
            break;
        };
        if !items
            .iter()
            .all(|item| is_sample(&text[begins..end][item.clone()]))
        {
            return None;
        }
        let kept: Vec<Range<usize>> = items
            .iter()
            .map(|item| begins + item.start..begins + item.end)
            .collect();
        for (place, byte) in (begins..end).zip(&mut bytes[begins..end]) {
            let in_item = kept.iter().any(|item| item.contains(&place));
            let behind = kept.iter().any(|item| item.end == place)
                && kept.last().is_some_and(|last| last.end != place);
            if !in_item {
                *byte = if behind { b'\n' } else { b' ' };
            }
        }
        lines.extend(kept.iter().map(|_| at.line));
        at = Cursor {
            at: next,
            line: at.line + 1,
        };
    }
    // A line of the same form elsewhere would be lost.
    let again = |line: &str| items_of(line, Some(&form)).is_some();
    if text[..cursor.at].lines().any(again) || text[at.at..].lines().any(again) {
        return None;
    }
    Some(Items {
        text: String::from_utf8(bytes).ok()?,
        prefix: cursor.at..cursor.at + from,
        start,
        lines,
        after: at,
    })
}

/// Whether the words in front of items say that their numbers have a unit which no reading of light has: `Weights in g for A540`,
/// `Tablets (mg)`.
fn is_in_other_unit(heading: &str) -> bool {
    let mut before = "";
    heading.split_whitespace().any(|word| {
        let before = std::mem::replace(&mut before, word);
        let stated = word.starts_with(['(', '[']) || matches!(before, "in" | "en" | "em");
        let unit = word.trim_matches(|c: char| matches!(c, '(' | ')' | '[' | ']' | ',' | ':'));
        // The article is no year.
        let units = if stated && unit != "a" {
            spelled(unit)
        } else {
            Spelling::None
        };
        units.units().first().is_some_and(|unit| {
            let of_light = [Quantity::WAVELENGTH, Quantity::ABSORBANCE];
            !matches!(unit.code(), "%" | "1")
                && quantity_of_unit(unit).is_none_or(|of| !of_light.contains(&of))
        })
    })
}

/// Where the items of a line begin, behind the words that head them, and the items.
fn behind_heading(line: &str) -> Option<(usize, Vec<Range<usize>>)> {
    /// Words that head a line have no more colons.
    const MOST_MARKS: usize = 8;
    let starts = std::iter::once(0).chain(line.match_indices(": ").map(|(at, _)| at + 2));
    starts
        .take(1 + MOST_MARKS)
        .filter_map(|from| Some((from, items_of(&line[from..], None)?)))
        .find(|(_, items)| items.len() >= LEAST)
}

/// The items of a line, as bytes of it, where all of it is items of one form.
fn items_of(line: &str, form: Option<&[char]>) -> Option<Vec<Range<usize>>> {
    let body = line.trim_end().trim_end_matches(['.', ',', ';']);
    [";", "|", ", ", "  ", "\t"]
        .into_iter()
        .find_map(|separator| items_parted_by(body, separator, form))
}

fn items_parted_by(body: &str, separator: &str, form: Option<&[char]>) -> Option<Vec<Range<usize>>> {
    let place = |part: &str| crate::slice::range_in(body, part.trim());
    let mut items: Vec<Range<usize>> = body
        .split(separator)
        .filter(|part| !part.trim().is_empty())
        .map(place)
        .collect();
    let first = form_of(&body[items.first()?.clone()]);
    let form = form.unwrap_or(&first);
    if !holds_a_reading(form) {
        return None;
    }
    // `… and 0.075 at 500 nm`: the last two may be parted by a word.
    let last = items.last()?.clone();
    if form_of(&body[last.clone()]) != form {
        let text = &body[last.clone()];
        let words = text.match_indices(' ').map(|(at, _)| at);
        let mut parted = words.rev().filter_map(|at| {
            let behind = text[at + 1..].find(' ')? + at + 2;
            let word = text[at + 1..behind - 1].trim();
            let joins =
                !word.is_empty() && word.chars().count() <= 4 && word.chars().all(char::is_alphabetic);
            let (front, back) = (text[..at].trim_end(), text[behind..].trim_start());
            (joins && form_of(front) == form && form_of(back) == form).then_some((front, back))
        });
        let (front, back) = parted.next()?;
        items.pop();
        items.extend([place(front), place(back)]);
    }
    let alike = items.iter().all(|item| form_of(&body[item.clone()]) == form);
    alike.then_some(items)
}

/// What an item is made of: `L` for a name, `D` for a number with decimals, `N` for another, `W` for a word, and its signs.
fn form_of(item: &str) -> Vec<char> {
    let mut form = Vec::new();
    let mut rest = item.trim();
    while let Some(first) = rest.chars().next() {
        let word = |c: char| c.is_alphanumeric() || matches!(c, '_' | '\'' | '%' | '°' | 'µ');
        if first.is_ascii_digit() {
            let end = rest
                .find(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | ','))
                .unwrap_or(rest.len());
            let number = rest[..end].trim_end_matches(['.', ',']);
            form.push(if number.contains(['.', ',']) { 'D' } else { 'N' });
            rest = &rest[number.len()..];
        } else if word(first) {
            let end = rest.find(|c: char| !word(c) && c != '-').unwrap_or(rest.len());
            form.push('W');
            rest = &rest[end..];
        } else {
            form.push(first);
            rest = &rest[first.len_utf8()..];
        }
        rest = rest.trim_start();
    }
    // A name has one word or several, and perhaps a number of its own: `Most 1`, `river`.
    let name = form.iter().take_while(|piece| matches!(piece, 'W' | 'N')).count();
    if name > 0 && form[0] == 'W' && form.get(name).is_some() {
        form.splice(..name, ['L']);
    }
    form
}

/// Whether a form has a name and a number with decimals, or two numbers.
fn holds_a_reading(form: &[char]) -> bool {
    let numbers = form.iter().filter(|piece| matches!(piece, 'D' | 'N')).count();
    let apart = form
        .iter()
        .any(|piece| !matches!(piece, 'D' | 'N' | ',' | '.' | '-' | '+'));
    form.contains(&'D') && apart && (numbers == 2 || numbers == 1 && form[0] == 'L')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn items_of_one_form() {
        let cases = [
            ("S1 0.732, S2 0.721, S3 0.576, blank 0.012", 4),
            (
                "0.140 at 400 nm, 0.382 at 420 nm, 0.608 at 440 nm and 0.075 at 500 nm.",
                4,
            ),
            ("300:0.078  301:0.087  302:0.097", 3),
            ("Most 1: 0,312; Most 2: 0,405; Wein: 0,101", 3),
            // Plain numbers, conditions, and words are none.
            ("0.123, 0.231, 0.312", 0),
            ("0.5 mg/L, 1.0 mg/L, 2.0 mg/L", 0),
            ("slit 2 nm, speed 3.0, gain 4", 0),
            ("first we waited, then the lamp was on for 3.5 h, then off", 0),
        ];
        for (line, count) in cases {
            assert_eq!(
                items_of(line, None)
                    .map(|items| items.len())
                    .filter(|count| *count >= LEAST)
                    .unwrap_or(0),
                count,
                "{line}"
            );
        }
    }
}
