//! The delimiter and the decimal sign of a table, as its rows or a person decide them.

use curvary_record::Code;

use super::super::columns::is_head_of_times;
use super::super::dialect::{Decision, Delimiter, Dialect, is_blank, raw_split, split, style_of};
use super::super::grid::Cursor;
use super::super::number::{Cell, Style, cell, dotted_time};
use crate::Assumptions;

/// The dialect of lines of one number each.
pub(super) fn decide_single(rows: &[&str]) -> Decision {
    let alone = |row: &&str| {
        let text = row.trim_matches(is_blank);
        [Style::POINT, Style::COMMA]
            .iter()
            .any(|style| matches!(cell(text, *style), Cell::Number { .. }))
    };
    if rows.iter().all(alone) {
        style_of(Delimiter::Tab, rows.iter().copied())
    } else {
        Decision::None
    }
}

/// The column of nothing but three digits, some with leading zeros: the rest of numbers written with a
/// thousands mark that is also the separator.
pub(super) fn groups_of_three(rows: &[&str], dialect: &Dialect) -> Option<usize> {
    if !matches!(dialect.sep, Delimiter::Blank | Delimiter::Comma) || dialect.pieces.is_some() {
        return None;
    }
    // A row without such digits has no group of them; neither has a table of such rows.
    if !rows.iter().any(|row| has_group_of_three(row)) {
        return None;
    }
    let cells: Vec<Vec<&str>> = rows
        .iter()
        .map(|row| split(row, dialect).into_iter().map(|range| &row[range]).collect())
        .collect();
    let columns = cells.iter().map(Vec::len).max().unwrap_or(0);
    let ragged = cells.iter().any(|row| row.len() != columns);
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    (1..columns).find(|&column| {
        let (mut zeros, mut seen) = (0, 0);
        for row in &cells {
            let (Some(front), Some(cell)) = (row.get(column - 1), row.get(column)) else {
                continue;
            };
            if !(digits(cell) && cell.len() == 3 && digits(front) && front.len() <= 3) {
                if ragged && cell.contains('.') {
                    continue;
                }
                return false;
            }
            seen += 1;
            zeros += usize::from(cell.starts_with('0'));
        }
        zeros > 0 && seen >= 2
    })
}

/// Whether three digits stand somewhere in a line with no other sign of a number beside them, behind one to three digits that
/// stand so too.
fn has_group_of_three(line: &str) -> bool {
    let of_number = |byte: &u8| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'+');
    let digits = |run: &[u8]| run.iter().all(u8::is_ascii_digit);
    let mut front: &[u8] = b"-";
    for run in line
        .as_bytes()
        .split(|byte| !of_number(byte))
        .filter(|run| !run.is_empty())
    {
        if run.len() == 3 && digits(run) && front.len() <= 3 && digits(front) {
            return true;
        }
        front = run;
    }
    false
}

/// The code of an open question about signs, with its readings.
pub(super) type OpenSigns = Option<(Code, Vec<Dialect>)>;

/// Under a head of time the points of `8.40`, `9.00` say nothing of the decimal sign where all other cells have commas.
pub(super) fn without_dotted_times(decision: Decision, rows: &[&str], heads: Option<&str>) -> Decision {
    let Decision::Open {
        code: "decimal-comma-or-point",
        readings,
    } = &decision
    else {
        return decision;
    };
    let Some(comma) = readings.iter().find(|dialect| dialect.style == Style::COMMA) else {
        return decision;
    };
    let over_times = heads
        .and_then(|line| Some(&line[raw_split(line, comma.sep).first()?.clone()]))
        .is_some_and(is_head_of_times);
    let dotted = |row: &&str| {
        let cells = split(row, comma);
        let first = cells.first().map_or("", |range| &row[range.clone()]);
        dotted_time(first).is_some() && cells[1..].iter().all(|range| !row[range.clone()].contains('.'))
    };
    if over_times && rows.iter().all(dotted) {
        return Decision::Sure(comma.clone());
    }
    decision
}

/// Takes a decision as a person has settled it.
pub(super) fn settle(decision: Decision, assume: &Assumptions) -> Option<(Dialect, OpenSigns)> {
    let chosen = |dialect: &&Dialect| {
        let answer = dialect.answer();
        answer
            .split_once('=')
            .is_some_and(|(about, answer)| assume.get(about) == Some(answer))
    };
    // How the pieces of the cells go together was answered for the whole table; a damaged row must not undo it.
    let by_commas = match &decision {
        Decision::None => false,
        Decision::Sure(dialect) => dialect.sep == Delimiter::Comma,
        Decision::Open { readings, .. } => readings.iter().any(|dialect| dialect.sep == Delimiter::Comma),
    };
    if let Some(dialect) = assume
        .get("columns")
        .and_then(Dialect::of_pieces)
        .filter(|_| by_commas)
    {
        return Some((dialect, None));
    }
    match decision {
        Decision::None => None,
        Decision::Sure(dialect) => Some((dialect, None)),
        Decision::Open { code, readings } => {
            if let Some(dialect) = readings.iter().find(chosen) {
                return Some((dialect.clone(), None));
            }
            let first = readings.first()?.clone();
            Some((first, Some((Code::new(code), readings))))
        }
    }
}

/// The sign that a row beyond the sample decides: rows that fit one reading alone.
pub(super) fn later_evidence(text: &str, from: Cursor, end: usize, readings: &[Dialect]) -> Option<Dialect> {
    use super::super::number::{SignEvidence, evidence};
    let [first, ..] = readings else { return None };
    if first.pieces.is_some() {
        return None;
    }
    let (mut commas, mut points) = (0_usize, 0_usize);
    for line in text[from.at..end].lines() {
        for range in split(line, first) {
            match evidence(&line[range]) {
                SignEvidence::Comma => commas += 1,
                SignEvidence::Point => points += 1,
                _ => {}
            }
        }
    }
    let style = match (commas, points) {
        (0, 0) => return None,
        (c, p) if p * 10 <= c => Style::COMMA,
        (c, p) if c * 10 <= p => Style::POINT,
        _ => return None,
    };
    readings.iter().find(|dialect| dialect.style == style).cloned()
}
