//! What the lines around a row tell of it: whether it begins a table, names a row, or stands over others.

use std::ops::Range;

use super::dialect::{Dialect, split};
use super::grid::{ColumnKind, Cursor, Grid};
use super::number::{Cell, cell};
use super::scan::TextPiece;
use crate::light::LIKE_READINGS;

/// Whether the nearest lines above introduce readings of light absorbed at a wavelength, `the absorbance at 410 nm:`, over a list
/// of names with a number each. Above a `long` list a title will do, `absorbance at 254 nm, 5 cm cell`, and the word may stand
/// in the lines that follow.
pub(super) fn lines_of_light_above(text: &str, above: &[TextPiece], behind: &str, long: bool) -> bool {
    const NEAREST: usize = 2;
    const NEAR: usize = 6;
    let lines = || {
        above.iter().rev().filter_map(|piece| match piece {
            TextPiece::Text(line) => Some(text[line.span.range()].trim_end()),
            _ => None,
        })
    };
    let names_light = |line: &str| {
        names_light(line) || long && line.split(|c: char| !c.is_alphanumeric()).any(|word| word == "E")
    };
    let introduces =
        |line: &str| (long || line.ends_with(':')) && names_wavelength(line) && names_light(line);
    if lines().take(NEAREST).any(introduces) {
        return true;
    }
    let near = || {
        lines().take(NEAR).chain(
            behind
                .lines()
                .filter(|line| !line.trim().is_empty())
                .take(NEAREST + 1),
        )
    };
    long && lines().take(NEAR).any(names_wavelength) && near().any(names_light)
}

/// Whether words name light that was measured: by a word of three letters or more, by two, `optical density`, or as `A280`.
pub(super) fn names_light(text: &str) -> bool {
    let is_of_light = |words: &str| {
        words.chars().count() >= 3
            && crate::words::quantity_of(words).is_some_and(|quantity| quantity.is_of_light())
    };
    let mut before = "";
    words_of(text).any(|word| {
        let two = std::mem::replace(&mut before, word);
        // Numbers, of which a table has hundreds, name nothing.
        let figures = |word: &str| word.bytes().all(|byte| byte.is_ascii_digit());
        if figures(word) && figures(two) {
            return false;
        }
        is_of_light(word) || is_light_at(word) || !two.is_empty() && is_of_light(&format!("{two} {word}"))
    }) || is_symbol_at_wavelength(text)
}

/// `A at 595 nm`: what one letter means, the light behind it tells.
fn is_symbol_at_wavelength(text: &str) -> bool {
    const LONGEST: usize = 200;
    if text.len() > LONGEST || !text.contains("nm") {
        return false;
    }
    let words: Vec<&str> = words_of(text).collect();
    words.windows(4).any(|four| {
        matches!(four[0], "A" | "E")
            && crate::words::is(crate::words::WordList::At, four[1])
            && four[2].bytes().all(|byte| byte.is_ascii_digit())
            && four[3] == "nm"
    })
}

/// Whether words name a wavelength in nanometres, or light at one, `A280`.
pub(super) fn names_wavelength(text: &str) -> bool {
    text.contains("nm") || text.contains("нм") || words_of(text).any(is_light_at)
}

fn words_of(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
}

/// `A280`, `OD600`
fn is_light_at(word: &str) -> bool {
    const LONGEST: usize = 6;
    word.len() <= LONGEST
        && word.starts_with(|c: char| c.is_ascii_uppercase())
        && word.ends_with(|c: char| c.is_ascii_digit())
        && {
            let head = crate::column_header::read_column_header(word);
            head.quantity.is_some_and(|quantity| quantity.is_of_light()) && !head.held.is_empty()
        }
}

/// Whether the numbers of a column may be absorbances that were read: they have decimals, and none is above four.
pub(super) fn are_like_readings(grid: &Grid) -> bool {
    let Some(column) = grid.kinds.iter().position(|kind| *kind == ColumnKind::Figures) else {
        return false;
    };
    let numbers = || grid.column(column).filter(|value| !value.is_nan());
    let with_decimals = numbers().filter(|value| value.fract() != 0.0).count();
    with_decimals * 2 > grid.rows && numbers().all(|value| LIKE_READINGS.contains(&value))
}

/// Whether the numbers of a column may be percents of light that went through, and the lines above name it with their sign:
/// `transmittance at 625 nm in %`.
pub(super) fn are_like_percents(grid: &Grid, text: &str, above: &[TextPiece]) -> bool {
    /// A little more than all of the light is read where the reference absorbs.
    const MOST: f64 = 120.0;
    const NEAR: usize = 3;
    let Some(column) = grid.kinds.iter().position(|kind| *kind == ColumnKind::Figures) else {
        return false;
    };
    let numbers = || grid.column(column).filter(|value| !value.is_nan());
    let said = above
        .iter()
        .rev()
        .filter_map(|piece| match piece {
            TextPiece::Text(line) => Some(&text[line.span.range()]),
            _ => None,
        })
        .take(NEAR)
        .any(|line| {
            let named = words_of(line).any(|word| {
                let of = crate::words::quantity_of(word);
                of.is_some_and(|of| of == curvary_record::Quantity::TRANSMITTANCE)
            });
            named && line.contains('%')
        });
    let with_decimals = numbers().filter(|value| value.fract() != 0.0).count();
    said && with_decimals * 2 > grid.rows && numbers().all(|value| (0.0..=MOST).contains(&value))
}

/// Whether the first of these rows begins with a name, `blank;0.081;0.080`, below a row of numbers that all have units,
/// `substrate;0 s;30 s`: then what stands in front of the rows are names, though most of them be numbers.
pub(super) fn begins_with_name(rows: &[&str], dialect: &Dialect, head_above: Option<&str>) -> bool {
    let (Some(row), Some(head)) = (rows.first(), head_above) else {
        return false;
    };
    let (row_cells, head_cells) = (split(row, dialect), split(head, dialect));
    let measured =
        |range: &Range<usize>| matches!(cell(&head[range.clone()], dialect.style), Cell::WithUnit { .. });
    let name = row_cells.first().map(|range| row[range.clone()].trim());
    row_cells.len() == head_cells.len()
        && head_cells.len() >= 3
        && head_cells[1..].iter().all(measured)
        && name.is_some_and(|name| {
            matches!(cell(name, dialect.style), Cell::Words) && name.starts_with(char::is_alphabetic)
        })
}

/// A row and the lines that follow it, as far as they tell what it is.
pub(super) fn with_following<'a>(text: &'a str, cursor: Cursor, sample: &[&'a str]) -> Vec<&'a str> {
    const FEW: usize = 8;
    let behind = text.get(cursor.at..).unwrap_or("").lines().skip(1);
    sample
        .iter()
        .copied()
        .chain(behind.take_while(|line| !line.trim().is_empty()).take(FEW))
        .collect()
}
