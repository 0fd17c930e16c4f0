//! Lines at the foot of a table, or above it, that are a key and its value and no row of it: `Limit;0.8` below rows of four
//! cells. What the key means plays no part: such a line has fewer cells than the rows, and its value is not written as the
//! readings of its column are.

use super::dialect::{Delimiter, raw_split};
use super::join::form_of;
use super::number::{Cell, Style, cell, marked_number};
use crate::light::LIKE_READINGS;
use crate::preamble::{is_known, pairs};

/// So many rows at least tell how many cells a row has, and so many cells a row has, so that two are too few.
const FEWEST_ROWS: usize = 2;
const FEWEST_CELLS: usize = 3;

/// So many lines at the end of a table are looked at.
pub(super) const LONGEST: usize = 12;

/// The signs that part cells and stand in no number, and the comma.
const SIGNS: [Delimiter; 4] = [
    Delimiter::Tab,
    Delimiter::Semicolon,
    Delimiter::Pipe,
    Delimiter::Comma,
];

/// The filled cells of a line with their places.
fn filled(line: &str, sign: Delimiter) -> Vec<(usize, &str)> {
    raw_split(line, sign)
        .into_iter()
        .map(|range| line[range].trim())
        .enumerate()
        .filter(|(_, cell)| !cell.is_empty())
        .collect()
}

/// The sign that parts the cells of rows: the first that stands in most of them.
fn sign_of(rows: &[&str]) -> Option<Delimiter> {
    SIGNS.into_iter().find(|sign| {
        let byte = sign.byte().unwrap_or(b',');
        let with = rows.iter().filter(|row| row.as_bytes().contains(&byte)).count();
        with * 3 > rows.len() * 2
    })
}

/// How many filled cells a line has.
fn count_filled(line: &str, sign: Delimiter) -> usize {
    match sign
        .byte()
        .filter(|_| sign != Delimiter::Pipe && !line.contains('"'))
    {
        Some(byte) => line
            .split(char::from(byte))
            .filter(|cell| !cell.trim().is_empty())
            .count(),
        None => filled(line, sign).len(),
    }
}

/// How many cells most rows have.
fn usual(rows: &[&str], sign: Delimiter) -> Option<usize> {
    let counts: Vec<usize> = rows.iter().map(|row| count_filled(row, sign)).collect();
    let times = |count: usize| counts.iter().filter(|&&other| other == count).count();
    let usual = counts
        .iter()
        .copied()
        .max_by_key(|&count| (times(count), count))?;
    (times(usual) >= FEWEST_ROWS).then_some(usual)
}

/// The decimals with which a number is written, where a text is one and nothing else.
fn decimals(text: &str) -> Option<u8> {
    [Style::POINT, Style::COMMA]
        .into_iter()
        .find_map(|style| match cell(text, style) {
            Cell::Number { decimals, .. } => Some(decimals),
            _ => None,
        })
}

/// What a number with a mark of somebody's beside it is, `0.612 (repeat)`, below readings with these decimals: a row where it has as
/// many, and either where it has others, as `ca. 0.6` has.
fn marked_reading(value: &str, of_column: &[u8]) -> Option<Foot> {
    let marked = [Style::POINT, Style::COMMA]
        .into_iter()
        .find_map(|style| marked_number(value, style))?;
    if of_column.contains(&marked.decimals) {
        Some(Foot::Row)
    } else if marked.doubtful && is_like_a_reading(&marked.value.to_string()) {
        Some(Foot::Open)
    } else {
        None
    }
}

/// Whether a name is of the form of the names of these rows, with figures in it.
fn is_named_alike(name: &str, rows: &[&str], sign: Delimiter) -> bool {
    let own = form_of(name);
    let same = |row: &&str| {
        filled(row, sign)
            .first()
            .is_some_and(|(_, other)| form_of(other) == own)
    };
    own.contains('0') && rows.iter().any(same)
}

/// The key and the value of a line that has no more cells than these.
fn key_and_value(line: &str, sign: Delimiter) -> Option<(&str, &str)> {
    match filled(line, sign).as_slice() {
        [(0, key), (1, value)] if key.starts_with(char::is_alphabetic) => Some((key, value)),
        _ => None,
    }
}

/// What a line at the foot of a table is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Foot {
    Row,
    /// A key and its value.
    Key,
    /// Either: its number is written as a reading of its column, but nothing else speaks for a row.
    Open,
}

/// Whether a row of words and numbers stands over others as their header, `Sample;400;410`: whole numbers over numbers with decimals.
fn is_header(row: &str, below: &[&str], sign: Delimiter) -> bool {
    let numbers = |row: &str| {
        filled(row, sign)
            .into_iter()
            .skip(1)
            .filter_map(|(_, cell)| decimals(cell))
            .collect::<Vec<_>>()
    };
    let own = numbers(row);
    own.len() >= 2
        && own.iter().all(|decimals| *decimals == 0)
        && below
            .iter()
            .all(|row| numbers(row).iter().all(|decimals| *decimals > 0))
}

/// What a line is at the foot of these rows.
fn at_foot(line: &str, rows: &[&str], sign: Delimiter, usual: usize) -> Foot {
    let Some((key, value)) = key_and_value(line, sign) else {
        return Foot::Row;
    };
    // A name that stands in front of a row already is one of a row.
    let again = rows.iter().any(|row| {
        filled(row, sign)
            .first()
            .is_some_and(|(at, name)| *at == 0 && *name == key)
    });
    if usual < 2 || again || is_named_alike(key, rows, sign) {
        return Foot::Row;
    }
    // What has a unit of its own, or sums up, below times of day is none of them: `rate (AU/min),0.0540`.
    let timed = |cell: &str| {
        cell.contains(':')
            && cell
                .bytes()
                .all(|byte| byte.is_ascii_digit() || matches!(byte, b':' | b'.' | b','))
    };
    let is_timed = |row: &&&str| matches!(filled(row, sign).first(), Some((0, cell)) if timed(cell));
    let measure = || crate::column_header::split_unit(key).is_some() || crate::words::is_statistics(key);
    // Other keys may stand in front of it.
    let times = rows.iter().take_while(is_timed).count();
    let keys = || rows[times..].iter().all(|row| key_and_value(row, sign).is_some());
    if times >= FEWEST_ROWS && keys() && measure() {
        return Foot::Key;
    }
    // Another row ends where this one does: the last column holds remarks on some.
    let own: Vec<usize> = filled(line, sign).iter().map(|(at, _)| *at).collect();
    let as_short = |row: &str| {
        let cells = filled(row, sign);
        cells.iter().map(|(at, _)| *at).eq(own.iter().copied())
            && cells
                .get(1)
                .is_some_and(|(_, cell)| decimals(cell).is_some() && decimals(cell) == decimals(value))
    };
    let whole = rows.iter().rposition(|row| count_filled(row, sign) == usual);
    if usual >= FEWEST_CELLS && rows[..whole.unwrap_or(0)].iter().copied().any(as_short) {
        return Foot::Row;
    }
    let rows = match rows {
        [header, below @ ..] if is_header(header, below, sign) => below,
        _ => rows,
    };
    let column: Vec<&str> = rows
        .iter()
        .filter_map(|row| {
            let cells = filled(row, sign);
            let whole = cells.len() == usual;
            let second = cells.into_iter().find(|(at, _)| *at == 1)?;
            whole.then_some(second.1)
        })
        .collect();
    let of_column: Vec<u8> = column.iter().filter_map(|cell| decimals(cell)).collect();
    if usual < FEWEST_CELLS {
        return in_a_list(key, value, &column, &of_column);
    }
    if let Some(own) = decimals(value) {
        // With another decimal sign than all readings it is none of them.
        let comma = |cell: &str| cell.contains(',');
        let alike = own == 0 || column.iter().any(|cell| comma(cell) == comma(value));
        return match of_column.contains(&own) && alike {
            true => Foot::Open,
            false if crate::words::is_blank(key) || may_be_shortened(key, value, &column) => Foot::Open,
            false => Foot::Key,
        };
    }
    if let Some(foot) = marked_reading(value, &of_column).filter(|_| !is_known(key)) {
        return foot;
    }
    let key = match cell(value, Style::POINT) {
        // `S-4;OVER;` lacks both readings.
        Cell::Missing | Cell::Beyond | Cell::Empty => false,
        Cell::WithUnit { unit, .. } => {
            let unit = value[unit..].trim();
            !column.iter().any(|cell| cell.ends_with(unit))
        }
        // Words below words are a row of names.
        _ => 2 * of_column.len() > column.len(),
    };
    if key { Foot::Key } else { Foot::Row }
}

/// The same below a list of names with a number each, all with as many decimals.
fn in_a_list(key: &str, value: &str, column: &[&str], of_column: &[u8]) -> Foot {
    /// Fewer decimals are no sign of a reading.
    const FEWEST_DECIMALS: u8 = 2;
    const FEWEST: usize = 3;
    let [first, others @ ..] = of_column else {
        return Foot::Row;
    };
    let even = of_column.len() >= FEWEST
        && of_column.len() == column.len()
        && *first >= FEWEST_DECIMALS
        && others.iter().all(|decimals| decimals == first);
    if !even {
        return Foot::Row;
    }
    match decimals(value) {
        Some(own) if own == *first => Foot::Row,
        Some(own) if crate::words::is_blank(key) => {
            if own == 0 {
                Foot::Open
            } else {
                Foot::Row
            }
        }
        Some(_) if may_be_shortened(key, value, column) => Foot::Open,
        Some(own) if own == 0 || is_known(key) || !is_like_a_reading(value) => Foot::Key,
        Some(_) => Foot::Open,
        None if let Some(foot) = marked_reading(value, of_column).filter(|_| !is_known(key)) => foot,
        None => match cell(value, Style::POINT) {
            Cell::WithUnit { .. } | Cell::Clock { .. } => Foot::Key,
            // One word stands for a reading that was lost.
            Cell::Words if !value.contains(['<', '>']) => {
                let dated = value.bytes().filter(u8::is_ascii_digit).count() >= 4;
                if dated || value.contains(' ') {
                    Foot::Key
                } else {
                    Foot::Row
                }
            }
            _ => Foot::Row,
        },
    }
}

/// Whether a number below a column may be a reading whose last zeros are not written, `0.6` and `1` below `0.312` and `1.204`: it lies
/// among the others.
fn may_be_shortened(key: &str, value: &str, column: &[&str]) -> bool {
    let number = |text: &str| text.replace(',', ".").parse::<f64>().ok();
    let readings = || column.iter().filter_map(|cell| number(cell));
    let (Some(own), Some(least), Some(most)) = (
        number(value),
        readings().reduce(f64::min),
        readings().reduce(f64::max),
    ) else {
        return false;
    };
    !is_known(key) && (least..=most).contains(&own)
}

/// Whether a number may be an absorbance.
fn is_like_a_reading(value: &str) -> bool {
    value
        .replace(',', ".")
        .parse::<f64>()
        .is_ok_and(|value| LIKE_READINGS.contains(&value))
}

/// Whether the first cell of a line is a word of statistics: `slope;0.0187`.
pub(super) fn begins_with_statistics(line: &str) -> bool {
    let name = line.split(['\t', ';', '|', ',']).next().unwrap_or("").trim();
    name.len() < line.len() && name.chars().nth(1).is_some() && crate::words::is_statistics(name)
}

/// How many of these rows are left without the lines at their end that are keys with their values; `open_are_keys`: those that may be
/// either, too.
pub(super) fn without_foot(rows: &[&str], open_are_keys: bool) -> usize {
    let is_key = |foot: Foot| foot == Foot::Key || open_are_keys && foot == Foot::Open;
    let Some((sign, usual, body)) = body(rows) else {
        return rows.len();
    };
    let keys = (body..rows.len())
        .rev()
        .take_while(|&at| is_key(at_foot(rows[at], &rows[..at], sign, usual)));
    keys.last().unwrap_or(rows.len())
}

/// The sign between the cells, how many most rows have, and how many rows at least are in front of the foot.
fn body(rows: &[&str]) -> Option<(Delimiter, usize, usize)> {
    let sign = sign_of(rows)?;
    let may_be = |row: &&&str| key_and_value(row, sign).is_some();
    let foot = rows.iter().rev().take(LONGEST).take_while(may_be).count();
    // Most tables end in rows.
    if foot == 0 {
        return None;
    }
    let whole = usual(rows, sign)?;
    // Where two cells are all, half of the rows at least are a list.
    let foot = if whole < FEWEST_CELLS {
        foot.min(rows.len() / 2)
    } else {
        foot
    };
    let body = rows.len() - foot;
    let usual = usual(&rows[..body], sign)?;
    (foot > 0).then_some((sign, usual, body))
}

/// The last of these rows that may be keys with their values as well as rows.
pub(super) fn open<'r>(rows: &[&'r str]) -> Vec<&'r str> {
    let Some((sign, usual, body)) = body(rows) else {
        return Vec::new();
    };
    (body..rows.len())
        .rev()
        .take_while(|&at| at_foot(rows[at], &rows[..at], sign, usual) == Foot::Open)
        .map(|at| rows[at])
        .collect()
}

/// Whether a line is a key and its value below these rows.
pub(super) fn is_foot_of(line: &str, rows: &[&str]) -> bool {
    let Some(sign) = sign_of(rows) else { return false };
    usual(rows, sign).is_some_and(|usual| at_foot(line, rows, sign, usual) == Foot::Key)
}

/// Whether the first line of a text is a key and its value above a wider table: it and those that follow have two cells, and below
/// them stand rows with more. `head` is the line above it.
pub(super) fn is_key_above(text: &str, head: Option<&str>) -> bool {
    const FURTHEST: usize = 24;
    const NEAR: usize = 6;
    let mut lines = text
        .lines()
        .filter(|line| {
            !line
                .trim_matches(|c: char| c.is_whitespace() || matches!(c, ';' | ',' | '|'))
                .is_empty()
        })
        .take(FURTHEST);
    let Some(line) = lines.next() else { return false };
    let Some(sign) = SIGNS
        .into_iter()
        .find(|sign| sign.byte().is_some_and(|byte| line.as_bytes().contains(&byte)))
    else {
        return false;
    };
    let is_pair = |line: &str| key_and_value(line, sign).is_some();
    if !is_pair(line) {
        return false;
    }
    // Most tables are nowhere wider than the line.
    let lines: Vec<&str> = std::iter::once(line).chain(lines).collect();
    let mark = sign.byte().unwrap_or(b',');
    let may_be_wider = |line: &&&str| memchr::memchr_iter(mark, line.as_bytes()).count() + 1 >= FEWEST_CELLS;
    if lines.iter().filter(may_be_wider).count() < FEWEST_ROWS {
        return false;
    }
    // A header of two columns stands over rows of two cells.
    let names = |cell: &str| {
        let head = crate::column_header::read_column_header(cell);
        head.quantity.is_some() || head.unit.is_some() || !head.held.is_empty()
    };
    let headed = head.is_some_and(|head| {
        let known = pairs(head)
            .iter()
            .any(|pair| is_known(&head[pair.key.clone()]) && !pair.value.is_empty());
        matches!(filled(head, sign).as_slice(), [_, (_, second)] if !known || names(second))
    });
    if headed {
        return false;
    }
    let below = lines.iter().take_while(|line| is_pair(line)).count();
    // Two readings or more with as many decimals are a list.
    let readings: Vec<Option<u8>> = lines[..below]
        .iter()
        .map(|line| key_and_value(line, sign).and_then(|(_, value)| decimals(value)))
        .collect();
    let list = readings.len() >= 2
        && readings[0].is_some_and(|decimals| decimals >= 2)
        && readings.iter().all(|decimals| *decimals == readings[0]);
    let wider: Vec<&str> = lines[below..]
        .iter()
        .copied()
        .take(NEAR)
        .filter(|line| filled(line, sign).len() >= FEWEST_CELLS)
        .collect();
    let numbers = |line: &&str| {
        let cells = filled(line, sign);
        cells.iter().filter(|(_, cell)| decimals(cell).is_some()).count() >= 2
    };
    !list && wider.len() >= FEWEST_ROWS && wider.iter().any(numbers)
}
