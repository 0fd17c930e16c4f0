//! What a line is at a glance: a ruler, a remark, words, or a row that begins with a figure.

use super::super::dialect::{Delimiter, is_blank, raw_split};
use super::super::grid::Cursor;
use super::super::heads::glue_units;
use super::super::number::{Cell, Style, cell, has_concise};
use super::TextPiece;

/// Whether a line begins with the number of a sample, `#1;0,3125`, as the next one does, below a header without that sign.
pub(super) fn is_numbered_sample(text: &str, cursor: Cursor) -> bool {
    /// The header stands no farther above.
    const NEAR_SAMPLES: usize = 64;
    let numbered = |line: &str| {
        let number = line.strip_prefix('#').unwrap_or("");
        let digits = number.bytes().take_while(u8::is_ascii_digit).count();
        (1..=4).contains(&digits) && number[digits..].starts_with([';', '\t', ',', '|', ' '])
    };
    // `#001 T+0s A=0.018` above `#002` and `#003`: lines that count are no remarks.
    let number = |line: &str| -> Option<u32> {
        let digits = line.strip_prefix('#')?;
        let end = digits.bytes().take_while(u8::is_ascii_digit).count();
        digits[..end].parse().ok()
    };
    let counts = |pair: [&str; 2]| {
        let [one, next] = pair.map(number);
        numbered(pair[0]) && one.is_some() && one.map(|one| one + 1) == next
    };
    let mut three = text[cursor.at..].lines();
    if let (Some(one), Some(next)) = (three.next(), three.next())
        && one.starts_with('#')
    {
        let last = text[..cursor.at].lines().next_back().unwrap_or("");
        let third = three.next().unwrap_or("");
        if counts([one, next]) && (counts([next, third]) || counts([last, one])) {
            return true;
        }
        if counts([last, one]) {
            return true;
        }
    }
    let here = text[cursor.at..].lines();
    let mut above = text[..cursor.at]
        .lines()
        .rev()
        .take(NEAR_SAMPLES)
        .skip_while(|line| numbered(line));
    let header = above
        .next()
        .is_some_and(|line| line.starts_with(char::is_alphabetic) && line.contains([';', '\t', ',', '|']));
    header && here.take(2).filter(|line| numbered(line)).count() >= 1
}

/// What a line may be, at a glance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LineGlance {
    /// It begins with a figure.
    Figures,
    /// It begins with words and has figures.
    Mixed,
    /// It is no row of a table.
    Words,
}

pub(super) fn class_of(line: &str) -> LineGlance {
    crate::work::looks_at(line.len().min(4096));
    let text = line.trim_start_matches(|c| is_blank(c) || matches!(c, '"' | '\'' | '|'));
    let mut digits = 0_usize;
    let mut letters = 0_usize;
    let mut colon_first = false;
    for byte in text.bytes().take(4096) {
        if byte.is_ascii_digit() {
            digits += 1;
        } else if byte.is_ascii_alphabetic() || byte >= 0x80 {
            letters += 1;
        } else if (byte == b':' || byte == b'=') && digits == 0 {
            colon_first = true;
        }
    }
    if digits == 0 {
        return LineGlance::Words;
    }
    let first = text.as_bytes().first().copied().unwrap_or(b' ');
    let begins = match first {
        b'0'..=b'9' => true,
        b'-' | b'+' | b'.' | b',' => text[1..]
            .trim_start()
            .starts_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | ',')),
        b';' | b'\t' => true,
        _ => text.starts_with('\u{2212}'),
    };
    if begins && letters <= digits * 4 + 24 {
        return LineGlance::Figures;
    }
    if colon_first || letters > digits * 12 + 24 {
        return LineGlance::Words;
    }
    LineGlance::Mixed
}

/// Whether a line is nothing but the sign behind which a console waits.
pub(crate) fn is_prompt(line: &str) -> bool {
    matches!(line.trim_matches(is_blank), ">" | ">>>")
}

/// Whether a line only underlines or separates.
pub(crate) fn is_ruler(line: &str) -> bool {
    let line = line.trim_matches(is_blank);
    // Typesetters rule a table with a lone `_` or `=`.
    matches!(line, "_" | "=")
        || is_prompt(line)
        || line.len() >= 3
            && line.chars().all(|c| {
                matches!(
                    c,
                    '-' | '=' | '_' | '+' | '|' | '*' | '~' | ' ' | '\t' | ';' | ':' | '─' | '═' | '┼'
                )
            })
            && line.contains(['-', '=', '_', '*', '~', '─', '═'])
        // `---,---,---` as a sheet that is saved with commas has it.
        || line.len() >= 7
            && line.split(',').count() >= 2
            && line.split(',').all(|cell| cell.len() >= 3 && cell.bytes().all(|byte| byte == b'-'))
}

pub(crate) fn is_ruler_piece(text: &str, piece: &TextPiece) -> bool {
    match piece {
        TextPiece::Blank => true,
        TextPiece::Text(line) => is_ruler(&text[line.span.range()]),
        TextPiece::Table(_) => false,
    }
}

/// The sign that stands as often in a row as in the header above it, and so parts both beyond doubt.
pub(super) fn parting_of(head: &str, row: &str) -> Option<u8> {
    let count = |line: &str, mark: u8| memchr::memchr_iter(mark, line.as_bytes()).count();
    [b'\t', b';', b'|']
        .into_iter()
        .find(|&mark| count(head, mark) >= 1 && count(head, mark) == count(row, mark))
}

/// Whether each of two lines has a separator that the other has not. A mark too many or too few is a damaged row.
pub(super) fn change(one: [bool; 3], other: [bool; 3]) -> bool {
    let has_more =
        |one: [bool; 3], other: [bool; 3]| one.iter().zip(other).any(|(&mine, theirs)| mine && !theirs);
    has_more(one, other) && has_more(other, one)
}

/// Which of the separators that stand in no number a line has.
pub(super) fn hard_marks(line: &str) -> [bool; 3] {
    [b'\t', b';', b'|'].map(|mark| line.as_bytes().contains(&mark))
}

/// Whether a word of a line, or two of them, name a quantity: it may be a row of heads.
pub(super) fn names_quantity(line: &str) -> bool {
    let words = glue_units(line, raw_split(line, Delimiter::Blank));
    words.into_iter().any(|range| {
        crate::column_header::read_column_header(&line[range])
            .quantity
            .is_some()
    })
}

pub(super) fn is_prose(rows: &[&str]) -> bool {
    let lettered = |row: &&&str| row.bytes().any(|byte| byte.is_ascii_alphabetic() || byte >= 0x80);
    let words = rows.iter().filter(lettered).filter(|row| {
        row.split_whitespace()
            .filter(|w| w.chars().all(char::is_alphabetic))
            .count()
            >= 5
    });
    words.count() * 2 > rows.len()
}

/// A line without the sign that makes it a remark, and that sign.
pub(crate) fn strip_remark(line: &str) -> (Option<&str>, &str) {
    crate::work::looks_at(line.len());
    let text = line.trim_matches(is_blank);
    for mark in ["//", "##", "#", "%", "!", "*", "'", "$", ";;", ";", "\""] {
        if let Some(rest) = text.strip_prefix(mark) {
            // `%T` is a head, `;0;30` a row with an empty first cell, and a quoted cell is no remark.
            let is_mark = match mark {
                "%" => !rest.starts_with(['T', 'R', 't', 'r']) || rest.starts_with(char::is_whitespace),
                // `;;nm;Abs` is a row of a sheet whose first columns are empty.
                ";" | ";;" => {
                    !rest.contains(';') && rest.starts_with(|c: char| c.is_whitespace() || c.is_alphabetic())
                }
                "\"" => {
                    !rest.trim_end().trim_end_matches('"').contains('"')
                        && !rest.contains("\",")
                        && !rest.contains("\";")
                        && !rest.contains("\"\t")
                }
                // `'Wavelength';'Absorbance'` are quoted cells.
                "'" if rest.contains("';") || rest.contains("',") || rest.contains("'\t") => false,
                "'" | "*" | "!" | "$" => rest.starts_with(|c: char| c.is_whitespace() || c.is_alphabetic()),
                _ => true,
            };
            if is_mark {
                let rest = rest.trim_start_matches(is_blank);
                let rest = if mark == "\"" {
                    rest.trim_end().trim_end_matches('"')
                } else {
                    rest
                };
                return (Some(mark), rest);
            }
        }
    }
    (None, text)
}

/// The number with which a head begins, in either style.
pub(crate) fn leading_number(text: &str) -> Option<f64> {
    for style in [Style::POINT, Style::COMMA] {
        // In a head `405(1)` and `405(2)` are told apart by their brackets.
        if has_concise(text, style) {
            return None;
        }
        match cell(text, style) {
            Cell::Number { value, .. } | Cell::WithUnit { value, .. } => return Some(value),
            _ => {}
        }
    }
    None
}
