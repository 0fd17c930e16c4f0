//! How many columns a table has, and which of them hold numbers and which words.

use std::collections::BTreeMap;
use std::ops::Range;

use super::super::dialect::{Delimiter, Dialect, split};
use super::super::grid::ColumnKind;
use super::super::number::{
    Cell, cell, durations_differ, is_nearly_number, is_start_of_times, marked_number,
};
use crate::words::WordList;

/// The count of cells that most rows have; for hard separators the largest of them, since rows may end early.
pub(super) fn usual_count(
    rows: &[Vec<Range<usize>>],
    dialect: &Dialect,
    head: Option<&str>,
) -> Option<usize> {
    // How many cells each row has, and how many without empty ones at its end.
    let (whole, mut counts): (Vec<usize>, Vec<usize>) = rows
        .iter()
        .map(|cells| {
            let filled = cells.iter().rposition(|cell| !cell.is_empty());
            (cells.len(), filled.map_or(0, |last| last + 1))
        })
        .unzip();
    counts.sort_unstable();
    if !matches!(dialect.sep, Delimiter::Blank | Delimiter::Wide) && dialect.pieces.is_none() {
        // The largest count that is no slip of a single row; empty cells at the end count where most rows have them.
        let largest = *counts.last()?;
        let with_largest = counts.iter().filter(|&&c| c == largest).count();
        // One row with more cells than all others, which are alike, is two rows on one line, unless there are as many
        // heads.
        let next = counts.iter().rev().copied().find(|&count| count < largest);
        let others = next.map_or(0, |next| counts.iter().filter(|&&count| count == next).count());
        let headed = || head.is_some_and(|head| split(head, dialect).len() == largest);
        let with_largest = if with_largest == 1 && others >= 3 && others + 1 == counts.len() && !headed() {
            0
        } else {
            with_largest
        };
        let agreed = whole
            .first()
            .copied()
            .filter(|first| whole.iter().filter(|c| *c == first).count() * 10 >= whole.len() * 9);
        if let Some(agreed) = agreed.filter(|&n| n >= largest) {
            return Some(agreed);
        }
        // Remarks to the right of a few rows have a header of their own.
        if with_largest * 10 >= counts.len() || with_largest > 0 && headed() {
            return Some(largest);
        }
    }
    // Of two that are as frequent the one that has a header each.
    let headed = head.map(|head| split(head, dialect).len());
    let mut best = (0, false, 0);
    for &count in &counts {
        let times = counts.iter().filter(|&&c| c == count).count();
        best = best.max((times, headed == Some(count), count));
    }
    Some(best.2)
}

/// How many columns the head names where blanks separate and the last of them holds a word in some rows only: `x` under
/// `pooled`.
pub(super) fn columns_with_marks(
    rows: &[&str],
    cells: &[Vec<Range<usize>>],
    dialect: &Dialect,
    head: Option<&str>,
) -> Option<usize> {
    let head = head.filter(|_| matches!(dialect.sep, Delimiter::Blank | Delimiter::Wide))?;
    let count = split(head, dialect).len();
    let marked = rows.iter().zip(cells).any(|(row, cells)| {
        let last = cells.last().map_or("", |range| &row[range.clone()]);
        cells.len() == count && matches!(cell(last, dialect.style), Cell::Words)
    });
    (marked
        && cells
            .iter()
            .all(|cells| (count.saturating_sub(1)..=count).contains(&cells.len())))
    .then_some(count)
}

/// The cells of each row.
pub(super) fn split_all(rows: &[&str], dialect: &Dialect) -> Vec<Vec<Range<usize>>> {
    rows.iter().map(|row| split(row, dialect)).collect()
}

pub(super) fn kinds_of(
    rows: &[&str],
    cells: &[Vec<Range<usize>>],
    dialect: &Dialect,
    columns: usize,
) -> Vec<ColumnKind> {
    let mut figures = vec![0_usize; columns];
    let mut words = vec![0_usize; columns];
    let mut beyond = vec![0_usize; columns];
    let mut damaged = vec![0_usize; columns];
    // How many numbers have the decimals of a reading.
    let mut readings = vec![0_usize; columns];
    // The columns in which a length of time may stand, by its unit or its parts.
    let mut timed: BTreeMap<usize, Vec<&str>> = BTreeMap::new();
    for (row, cells) in rows.iter().zip(cells) {
        let count = cells
            .iter()
            .rposition(|cell| !cell.is_empty())
            .map_or(0, |last| last + 1);
        // A title between the rows says nothing of the first column.
        let title = count < 2 && columns >= 2;
        if title
            || count > columns
            || (matches!(dialect.sep, Delimiter::Blank | Delimiter::Wide) && count != columns)
        {
            continue;
        }
        for (column, range) in cells.iter().take(columns).enumerate() {
            let found = cell(&row[range.clone()], dialect.style);
            if matches!(found, Cell::WithUnit { .. } | Cell::Clock { .. }) {
                timed.entry(column).or_default();
            }
            readings[column] += usize::from(matches!(found, Cell::Number { decimals: 2.., .. }));
            match found {
                Cell::Number { .. } | Cell::WithUnit { .. } | Cell::Bracketed { .. } => figures[column] += 1,
                Cell::Words if marked_number(&row[range.clone()], dialect.style).is_some() => {
                    figures[column] += 1;
                    readings[column] += 1;
                }
                Cell::Words if is_nearly_number(&row[range.clone()], dialect.style) => damaged[column] += 1,
                Cell::Words | Cell::Clock { .. } => words[column] += 1,
                Cell::Beyond => beyond[column] += 1,
                Cell::Missing | Cell::Empty => {}
            }
        }
    }
    for (row, cells) in rows.iter().zip(cells) {
        for (&column, texts) in &mut timed {
            texts.extend(cells.get(column).map(|range| &row[range.clone()]));
        }
    }
    let differ = |column: usize| {
        let texts = timed.get(&column);
        texts.is_some_and(|texts| durations_differ(texts.iter().copied(), dialect.style))
    };
    figures
        .iter()
        .zip(&words)
        .zip(&beyond)
        .zip(&damaged)
        .enumerate()
        .map(|(column, (((&f, &w), &b), &d))| {
            // Damaged signs make no column of words; where there is but one row, its other cells tell.
            let alone = f == 0 && rows.len() == 1 && figures.iter().any(|&count| count > 0);
            let w = if d <= f || w == 0 && alone { w } else { w + d };
            // Where an overflow is written as such, a word of its own (`dark`) may be another one.
            let overflows = b > 0 && f >= 3 && w < f;
            // A word in one of four wells, `bubble`, makes no names of the readings in the others.
            let remark = f >= 3 && w * 2 < f && readings[column] == f && column > 0;
            if w > 0 && w * 3 >= f && !overflows && !remark || differ(column) {
                ColumnKind::Words
            } else {
                ColumnKind::Figures
            }
        })
        .collect()
}

/// Under a header that means sample a cell that is no number shows that all of them are names: `20230115`, `20230118-B`.
pub(super) fn take_names(
    kinds: &mut [ColumnKind],
    head: &str,
    rows: &[&str],
    cells: &[Vec<Range<usize>>],
    dialect: &Dialect,
) {
    let heads = split(head, dialect);
    if heads.len() != kinds.len() {
        return;
    }
    // `sample` beside a wavelength may be the light behind it.
    let runs = heads.iter().any(|range| {
        let head = crate::column_header::read_column_header(&head[range.clone()]);
        let light = head
            .quantity
            .as_ref()
            .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy"));
        light && super::super::segments::is_axis(&head)
    });
    // Beside their concentrations the numbers of standards are names.
    let of_known_concentration = heads.iter().skip(1).any(|range| {
        let head = crate::column_header::read_column_header(&head[range.clone()]);
        head.quantity == Some(curvary_record::Quantity::CONCENTRATION)
    });
    // A count of the rows may stand in front of the names, and so may the number of a rack.
    let identified = heads
        .first()
        .is_some_and(|range| crate::words::is(WordList::Identifier, head[range.clone()].trim()));
    let counted = identified
        || heads.first().is_some_and(|range| {
            let head = head[range.clone()].trim();
            crate::words::quantity_of(head) == Some(curvary_record::Quantity::INDEX)
                || crate::words::is(WordList::Series, head)
        }) && rows.iter().zip(cells).enumerate().all(|(row, (line, cells))| {
            let first = cells
                .first()
                .map(|range| cell(&line[range.clone()], dialect.style));
            matches!(first, Some(Cell::Number { value, decimals: 0 }) if value == (row + 1) as f64)
        });
    for (column, range) in heads.into_iter().enumerate() {
        let head = head[range].trim();
        let names = matches!(crate::words::field_of(head), Some("sample" | "sample-id"))
            || of_known_concentration && crate::words::begins(WordList::StandardSample, &head.to_lowercase());
        // `400 nm`, `410 nm` under `Sample` are wavelengths.
        let wavelengths = rows.len() >= 3
            && rows.iter().zip(cells).all(|(row, cells)| {
                let text = cells.get(column).map_or("", |range| row[range.clone()].trim());
                text.strip_suffix("nm")
                    .is_some_and(|number| matches!(cell(number.trim(), dialect.style), Cell::Number { .. }))
            });
        if wavelengths {
            continue;
        }
        let worded = || {
            rows.iter().zip(cells).any(|(row, cells)| {
                let text = cells.get(column).map_or("", |range| &row[range.clone()]);
                matches!(cell(text, dialect.style), Cell::Words) && text.contains(char::is_alphabetic)
            })
        };
        // Numbers of samples, 101, 102 …, and times or doses in their place are their names; where they only count the rows,
        // nothing is lost without them.
        let numbered = || {
            let mut numbers = rows.iter().zip(cells).map(|(row, cells)| {
                cells
                    .get(column)
                    .map(|range| cell(&row[range.clone()], dialect.style))
            });
            let counts = |(at, found): (usize, Option<Cell>)| matches!(found, Some(Cell::Number { value, decimals: 0 }) if value == (at + 1) as f64);
            // Under the row of names above a spectrum, `Sample;leaf;stem`, wavelengths go on in their step.
            let plain: Vec<f64> = numbers
                .clone()
                .filter_map(|found| match found {
                    Some(Cell::Number { value, .. }) => Some(value),
                    _ => None,
                })
                .collect();
            let even = plain.len() >= 3
                && plain
                    .windows(3)
                    .all(|three| three[2] - three[1] == three[1] - three[0])
                && (plain[1] - plain[0]).abs() != 1.0;
            // `1.1`, `1.2`, `2.1` in front of the concentrations: levels, and the replicates of each.
            let levels = || {
                let texts = rows
                    .iter()
                    .zip(cells)
                    .map(|(row, cells)| cells.get(column).map_or("", |range| row[range.clone()].trim()));
                of_known_concentration && are_levels_with_replicates(texts)
            };
            column == usize::from(counted) && levels()
                || column == usize::from(counted)
                    && !even
                    && !runs
                    && numbers.clone().all(|found| {
                        matches!(
                            found,
                            Some(Cell::Number { decimals: 0, .. } | Cell::WithUnit { .. })
                        )
                    })
                    && !numbers.by_ref().enumerate().all(counts)
        };
        if names && kinds[column] == ColumnKind::Figures && (worded() || numbered()) {
            kinds[column] = ColumnKind::Words;
        }
    }
}

/// Under a header of what runs, with its unit or without, a word without a figure among two numbers or more is a reading without
/// one: a blank, a sample of unknown concentration. The numbers stay numbers.
pub(super) fn take_coordinates(
    kinds: &mut [ColumnKind],
    head: &str,
    rows: &[&str],
    cells: &[Vec<Range<usize>>],
    dialect: &Dialect,
) {
    const FEWEST: usize = 2;
    let heads = split(head, dialect);
    if heads.len() != kinds.len() {
        return;
    }
    for (column, range) in heads.into_iter().enumerate() {
        let head = crate::column_header::read_column_header(head[range].trim());
        let concentration = head.quantity == Some(curvary_record::Quantity::CONCENTRATION);
        let runs = concentration || super::super::segments::is_axis(&head);
        if kinds[column] != ColumnKind::Words || !runs || !head.held.is_empty() {
            continue;
        }
        let texts = || {
            rows.iter()
                .zip(cells)
                .filter_map(|(row, cells)| Some(row[cells.get(column)?.clone()].trim()))
        };
        let number = |text: &str| matches!(cell(text, dialect.style), Cell::Number { .. });
        let numbers = texts().filter(|text| number(text)).count();
        let others: Vec<&str> = texts().filter(|text| !text.is_empty() && !number(text)).collect();
        let timed = head.quantity == Some(curvary_record::Quantity::TIME);
        let words = others
            .iter()
            .all(|text| is_word_for_none(text) || timed && is_start_of_times(text));
        // Only a concentration may lack in several rows.
        if numbers >= FEWEST && words && (concentration || others.len() == 1) {
            kinds[column] = ColumnKind::Figures;
        }
    }
}

/// Where the first column counts 1, 2, 3 and rows at once below begin with names, `U1;;0.151` below `3;20;0.241`, with nothing where the
/// numbered rows have what was in them: the numbers are the names of the standards, and the rows are of one table.
pub(super) fn take_numbers_of_standards(
    kinds: &mut [ColumnKind],
    head: &str,
    rows: &[&str],
    following: &[&str],
    dialect: &Dialect,
) {
    const FEWEST: usize = 2;
    let heads = split(head, dialect);
    let columns = kinds.len();
    if heads.len() != columns || columns < 3 || kinds[0] != ColumnKind::Figures || rows.len() < FEWEST {
        return;
    }
    let corner = crate::column_header::read_column_header(head[heads[0].clone()].trim());
    if corner.unit.is_some() || super::super::segments::is_axis(&corner) {
        return;
    }
    let cells_of = |row: &str| -> Vec<Cell> {
        let cells = split(row, dialect).into_iter();
        cells.map(|range| cell(&row[range], dialect.style)).collect()
    };
    let is_number = |cell: &Cell| matches!(cell, Cell::Number { .. });
    let numbered: Vec<Vec<Cell>> = rows.iter().map(|row| cells_of(row)).collect();
    let counts = numbered.iter().zip(1_u32..).all(|(cells, place)| {
        cells.len() == columns
            && matches!(cells[0], Cell::Number { value, decimals: 0 } if value == f64::from(place))
            && cells[1..].iter().all(is_number)
    });
    let is_named = |row: &&&str| {
        let cells = cells_of(row);
        let lacks = cells
            .iter()
            .skip(1)
            .take_while(|cell| matches!(cell, Cell::Empty | Cell::Missing))
            .count();
        cells.len() == columns
            && matches!(cells[0], Cell::Words)
            && row.trim_start_matches('"').starts_with(char::is_alphabetic)
            && lacks >= 1
            && lacks + 1 < columns
            && cells[1 + lacks..].iter().all(is_number)
    };
    if counts && following.iter().take_while(is_named).count() > 0 {
        kinds[0] = ColumnKind::Words;
    }
}

/// Whether a word without a figure stands where a number lacks.
fn is_word_for_none(text: &str) -> bool {
    text.contains(char::is_alphabetic) && !text.contains(|c: char| c.is_ascii_digit())
}

/// Whether texts number levels and the replicates of each with a point between: `1.1`, `1.2`, `2.1`, `2.2`. One of several may be
/// damaged.
fn are_levels_with_replicates<'t>(texts: impl Iterator<Item = &'t str>) -> bool {
    const MOST_REPLICATES: u32 = 9;
    let levels: Vec<Option<(u32, u32)>> = texts
        .map(|text| {
            let (level, replicate) = text.split_once(['.', ','])?;
            let pair = (level.parse().ok()?, replicate.parse().ok()?);
            Some(pair).filter(|(_, replicate)| (1..=MOST_REPLICATES).contains(replicate))
        })
        .collect();
    let read: Vec<(u32, u32)> = levels.iter().flatten().copied().collect();
    read.len() >= 3
        && read.len() + 1 >= levels.len()
        && read[0].1 == 1
        && read.windows(2).all(|pair| pair[0] < pair[1])
        && read.windows(2).any(|pair| pair[0].0 == pair[1].0)
}

#[cfg(test)]
mod tests;
