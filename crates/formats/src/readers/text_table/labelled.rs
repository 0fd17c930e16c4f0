//! Lines in which a name or a unit stands beside every value: `t=0.0s A=0.07`, `0 min: 0.123`.
//!
//! Three such lines or more that differ in nothing but their numbers are a table. Its numbers are read as those of any
//! other table; its headers are the names of the first line.

use std::ops::Range;

use curvary_record::Span;
use curvary_record::unit::{Spelling, spelled};

use super::grid::{Cursor, Kind, line_end};
use super::scan::{HeadRow, Table, TextLine};
use super::segments::RowClass;

/// So many lines are the least that make a table.
const LEAST: usize = 3;
/// Longer lines are prose or data of another kind.
const LONGEST: usize = 240;
/// What may stand between the parts of a line, the surest first.
const GAPS: [&str; 7] = [";", "\t", "|", ", ", "  ", ",", " "];

/// One value with its name and its unit, as byte ranges of the line.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Part {
    name: Range<usize>,
    number: Range<usize>,
    unit: Range<usize>,
}

/// The table of labelled values that begins at `cursor`, where the text goes on, and how many bytes beyond the line were
/// looked at; `read` reads rows of plain cells.
pub(super) fn table_at(
    text: &str,
    cursor: Cursor,
    read: impl FnOnce(&str, u32) -> Option<Table>,
) -> (Option<(Table, Cursor)>, usize) {
    let bytes = text.as_bytes();
    let (end, _) = line_end(bytes, cursor.at);
    let Some(first) = parts(&text[cursor.at..end]) else {
        return (None, 0);
    };
    let (rows, after) = gathered(text, cursor, &first);
    let count = (after.line - cursor.line) as usize;
    let table = (count >= LEAST)
        .then(|| read(&rows, cursor.line))
        .flatten()
        .and_then(|table| headed(table, cursor, end, &first, count));
    (table.map(|table| (table, after)), after.at - cursor.at)
}

/// The numbers of the lines like the one at `cursor`, as rows with tabs, and where they end.
fn gathered(text: &str, cursor: Cursor, first: &[Part]) -> (String, Cursor) {
    let bytes = text.as_bytes();
    let (end, _) = line_end(bytes, cursor.at);
    let likeness = form(&text[cursor.at..end], first);
    let mut rows = String::new();
    let mut at = cursor;
    while at.at < bytes.len() {
        let (end, next) = line_end(bytes, at.at);
        let line = &text[at.at..end];
        let Some(parts) = parts(line).filter(|parts| form(line, parts) == likeness) else {
            break;
        };
        for (place, part) in parts.iter().enumerate() {
            let gap = if place == 0 { "" } else { "\t" };
            let unit = &line[part.unit.clone()];
            let blank = if unit.is_empty() { "" } else { " " };
            rows.push_str(&format!("{gap}{}{blank}{unit}", &line[part.number.clone()]));
        }
        rows.push('\n');
        at = Cursor {
            at: next,
            line: at.line + 1,
        };
    }
    (rows, at)
}

/// A table with the names of its first line, which ends at byte `end`, as headers; `None` where a number was not read.
fn headed(mut table: Table, cursor: Cursor, end: usize, first: &[Part], count: usize) -> Option<Table> {
    let grid = &table.grid;
    let plain = grid.kinds.iter().all(|kind| *kind == Kind::Figures) && grid.gaps.is_empty();
    // What could not be read has its place in the rows that were put together, and none in the text.
    if !plain || grid.rows != count || grid.columns() != first.len() || !grid.odd.is_empty() {
        return None;
    }
    if first.iter().any(|part| !part.name.is_empty()) {
        let cell = |part: &Part| {
            (!part.name.is_empty()).then(|| Span::new(cursor.at + part.name.start, cursor.at + part.name.end))
        };
        table.heads = vec![HeadRow {
            line: TextLine {
                span: Span::new(cursor.at, end),
                line: cursor.line,
            },
            class: RowClass::Header,
            cells: first.iter().map(cell).collect(),
        }];
    }
    Some(table)
}

/// What is the same in all lines of a table: names and units.
fn form<'a>(line: &'a str, parts: &[Part]) -> Vec<(&'a str, &'a str)> {
    parts
        .iter()
        .map(|part| (&line[part.name.clone()], &line[part.unit.clone()]))
        .collect()
}

/// The labelled values of a line, two or more; `None` where anything else stands in it.
fn parts(line: &str) -> Option<Vec<Part>> {
    if line.len() > LONGEST {
        return None;
    }
    if !line.contains([':', '=']) {
        return in_words(line);
    }
    if let Some(pair) = unit_in_front(line) {
        return Some(pair);
    }
    GAPS.into_iter().find_map(|gap| {
        let mut parts = Vec::new();
        let mut from = 0;
        // Numbers that are set under each other have blanks behind the mark: `t=   0 s`.
        let mut open: Option<usize> = None;
        for piece in line.split(gap) {
            let range = open.unwrap_or(from)..from + piece.len();
            from += piece.len() + gap.len();
            if line[range.clone()].trim_end().ends_with(['=', ':']) {
                open = Some(range.start);
            } else if !piece.trim().is_empty() {
                parts.push(part(line, &range)?);
                open = None;
            }
        }
        (parts.len() >= 2).then_some(parts)
    })
}

/// `[15s] abs 0.741`, `nm 440 A 0.123`: values behind words that name a quantity, or in brackets with their unit, and nothing
/// else in the line.
fn in_words(line: &str) -> Option<Vec<Part>> {
    const MOST: usize = 6;
    let body = line.trim();
    let begins = body.starts_with(['[', '(']) && body[1..].starts_with(|c: char| c.is_ascii_digit());
    if !begins && !body.starts_with(char::is_alphabetic) || body.len() < 5 {
        return None;
    }
    let mut parts = Vec::new();
    let mut at = line.len() - line.trim_start().len();
    while at < line.trim_end().len() {
        let rest = &line[at..];
        let end = rest.find(' ').map_or(rest.len(), |end| end);
        let word = &rest[..end];
        let part = if let Some(inner) = word.strip_prefix(['[', '(']) {
            let inner = inner.strip_suffix([']', ')'])?;
            let from = at + 1;
            let (number, unit) = number_and_unit(line, &(from..from + inner.len()))?;
            (!unit.is_empty()).then_some(())?;
            Part {
                name: at..at,
                number,
                unit,
            }
        } else {
            let head = crate::head::read_head(word);
            let named =
                word.starts_with(char::is_alphabetic) && head.quantity.is_some() && head.held.is_empty();
            named.then_some(())?;
            let behind = at + end + (rest[end..].len() - rest[end..].trim_start().len());
            let value = line[behind..].find(' ').map_or(line.len(), |end| behind + end);
            let (number, unit) = number_and_unit(line, &(behind..value))?;
            Part {
                name: at..at + end,
                number,
                unit,
            }
        };
        at = part.unit.end.max(part.number.end);
        at += usize::from(line[at..].starts_with([']', ')']));
        at += line[at..].len() - line[at..].trim_start().len();
        parts.push(part);
        if parts.len() > MOST {
            return None;
        }
    }
    (parts.len() >= 2).then_some(parts)
}

/// `0 min: 0.123`: a number with its unit, and behind a mark what was measured there.
fn unit_in_front(line: &str) -> Option<Vec<Part>> {
    let at = line.find([':', '='])?;
    let nameless = |range: Range<usize>| {
        let (number, unit) = number_and_unit(line, &range)?;
        Some(Part {
            name: range.start..range.start,
            number,
            unit,
        })
    };
    let (x, y) = (nameless(0..at)?, nameless(at + 1..line.len())?);
    (!x.unit.is_empty()).then(|| vec![x, y])
}

/// `t = 0.0 s`: a name, a mark, a number and perhaps its unit.
fn part(line: &str, range: &Range<usize>) -> Option<Part> {
    let piece = &line[range.clone()];
    let at = piece.find([':', '='])?;
    let name = &piece[..at];
    let start = range.start + (name.len() - name.trim_start().len());
    let name = start..start + name.trim().len();
    if !line[name.clone()].starts_with(char::is_alphabetic) {
        return None;
    }
    let (number, unit) = number_and_unit(line, &(range.start + at + 1..range.end))?;
    Some(Part { name, number, unit })
}

fn number_and_unit(line: &str, range: &Range<usize>) -> Option<(Range<usize>, Range<usize>)> {
    let piece = &line[range.clone()];
    let start = range.start + (piece.len() - piece.trim_start().len());
    let body = piece.trim();
    let digits = body.trim_start_matches(['-', '+', '\u{2212}']);
    if !digits.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let end = digits
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
        .unwrap_or(digits.len());
    let number = start..start + (body.len() - digits.len()) + end;
    let rest = &body[number.end - start..];
    let unit = rest.trim();
    let from = number.end + (rest.len() - rest.trim_start().len());
    let known =
        unit.is_empty() || !unit.contains(|c: char| c.is_ascii_digit()) && spelled(unit) != Spelling::None;
    known.then_some((number, from..from + unit.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(line: &str) -> String {
        parts(line).map_or(String::new(), |parts| {
            let part = |part: &Part| {
                let text = |range: &Range<usize>| &line[range.clone()];
                format!(
                    "{}={}[{}]",
                    text(&part.name),
                    text(&part.number),
                    text(&part.unit)
                )
            };
            parts.iter().map(part).collect::<Vec<_>>().join(" ")
        })
    }

    #[test]
    fn values_with_names_and_units() {
        let table = [
            ("t=0.0s A=0.07", "t=0.0[s] A=0.07[]"),
            ("t=   0 s  A=0.841", "t=0[s] A=0.841[]"),
            ("t=  15 s  A= 0.741", "t=15[s] A=0.741[]"),
            ("t=  15 s  A=", ""),
            ("time: 30 s, absorbance: 0.7012", "time=30[s] absorbance=0.7012[]"),
            ("λ = 400 nm; A = 0,112", "λ=400[nm] A=0,112[]"),
            ("0 min: 0.123", "=0[min] =0.123[]"),
            ("400 nm = 0.112", "=400[nm] =0.112[]"),
            ("[15s] abs 0.741", "=15[s] abs=0.741[]"),
            ("wavelength 440 A 0.123", "wavelength=440[] A=0.123[]"),
            ("[15] abs 0.741", ""),
            ("[15s] abs 0.741 bubble", ""),
            ("absorbance of 3 samples", ""),
            ("10:32:05", ""),
            ("10:32 0.123", ""),
            ("t = 2 min", ""),
            ("Sample: betanin, T: 25 °C", ""),
            ("400: 0.112", ""),
        ];
        for (line, wanted) in table {
            assert_eq!(shown(line), wanted, "{line}");
        }
    }
}
