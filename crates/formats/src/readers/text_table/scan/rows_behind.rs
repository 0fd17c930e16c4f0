//! Rows too few to be a table by themselves, which go on with the one before them, and samples below standards.

use std::collections::BTreeSet;
use std::ops::Range;

use curvary_record::Span;

use super::super::dialect::{Dialect, is_blank, split};
use super::super::foot;
use super::super::grid::{ColumnKind, Cursor, Grid, MissingCell, line_end};
use super::super::join::{goes_on, is_another_group, list_goes_on};
use super::super::number::{Cell, cell, marked_number};
use super::lines::strip_remark;
use super::table::heads_over;
use super::{HeadRow, ScannedTable, TextLine, TextPiece};
use crate::words::WordList;

/// The most notes that stand between two rows of one list.
pub(super) const MOST_NOTES: usize = 3;

/// The rows at `cursor` as a table of their own, where they are too few to be one by themselves and go on with the table before
/// them: a last row behind `;;;` in its very step, or the rest of a list of named rows behind a note.
pub(super) fn rows_behind(text: &str, cursor: Cursor, above: &[TextPiece]) -> Option<(ScannedTable, Cursor)> {
    /// More lines between them, and rows belong to no table above; a long text would be walked back for each of its lines.
    const LOOK: usize = 64;
    let none = BTreeSet::new();
    let empty = |piece: &&TextPiece| match piece {
        TextPiece::Blank => true,
        TextPiece::Text(line) => {
            let line = &text[line.span.range()];
            !line.contains(char::is_alphanumeric) || super::super::join::is_furniture(line, &none)
        }
        TextPiece::Table(_) => false,
    };
    let (before, between) =
        above
            .iter()
            .enumerate()
            .rev()
            .take(LOOK)
            .find_map(|(at, piece)| match piece {
                TextPiece::Table(table) => Some((table, &above[at + 1..])),
                _ => None,
            })?;
    if let Some(found) = samples_below(text, cursor, before, between) {
        return Some(found);
    }
    let (line_end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..line_end];
    if foot::is_foot_of(line, &last_rows(text, before)) || before.grid.ends_before(text, line) {
        return None;
    }
    let mut grid = before.grid.empty_like();
    // The rows of means behind it are read along.
    let end = uncut(text, &grid.dialect).max(cursor.at);
    let after = grid.read(text, cursor, end);
    // Half the cells of numbers at least have one.
    let figures = grid
        .kinds
        .iter()
        .filter(|kind| **kind == ColumnKind::Figures)
        .count();
    let filled = grid.gaps.len() * 2 <= grid.rows * figures;
    // A row that ends early may have lost a sign, and all its cells would stand under the wrong columns.
    let told = |gap: &super::super::grid::Gap| {
        matches!(
            gap.lack,
            MissingCell::Empty | MissingCell::Missing | MissingCell::Beyond | MissingCell::Doubtful
        )
    };
    let filled = filled && grid.gaps.iter().all(told);
    let whole = grid.rows >= 1 && filled && grid.odd.is_empty() && before.open.is_none();
    if !whole {
        return None;
    }
    let mut rows = ScannedTable {
        first_line: cursor.line,
        last_line: grid.line(grid.rows - 1) as u32,
        grid,
        heads: Vec::new(),
        open: None,
        unmatched_head: None,
        joined: Vec::new(),
    };
    let mut notes: Vec<TextLine> = between
        .iter()
        .filter(|piece| !empty(piece))
        .filter_map(|piece| match piece {
            TextPiece::Text(line) => Some(*line),
            _ => None,
        })
        .collect();
    // The rows before may go on a list themselves.
    let headed = above.iter().rev().find_map(|piece| match piece {
        TextPiece::Table(table) if !table.heads.is_empty() => Some(table),
        _ => None,
    });
    // The header may stand again above them.
    let again = headed.and_then(|headed| {
        let [head] = headed.heads.as_slice() else {
            return None;
        };
        let line = notes.last()?;
        let same = text[line.span.range()].trim() == text[head.line.span.range()].trim();
        same.then(|| HeadRow {
            line: *line,
            ..head.clone()
        })
    });
    if let Some(head) = again {
        notes.pop();
        rows.heads.push(head);
    }
    let goes_on = notes.is_empty() && rows.grid.rows == 1 && goes_on(before, &rows, 0) == Some(true)
        || notes.len() <= MOST_NOTES
            && headed.is_some_and(|headed| {
                let goes_on = list_goes_on(text, headed, &rows, &notes);
                // Another group is a table of its own, under the same headers unless it has some itself.
                let group = !goes_on && is_another_group(text, headed, &rows, &notes);
                if group && rows.heads.is_empty() {
                    let own = heads_over(text, &rows.grid, cursor, above);
                    rows.heads = if own.is_empty() { headed.heads.clone() } else { own };
                }
                goes_on || group
            });
    goes_on.then_some((rows, after))
}

/// Rows of samples at once below a table of standards, with a name in place of the concentration: `river,0.288` below `40,0.812`.
/// They are a table of their own under the other headers.
fn samples_below(
    text: &str,
    cursor: Cursor,
    before: &ScannedTable,
    between: &[TextPiece],
) -> Option<(ScannedTable, Cursor)> {
    let quantity = |span: &Span| crate::column_header::read_column_header(&text[span.range()]).quantity;
    let head = before.heads.last()?;
    let over_standards = head
        .cells
        .first()
        .copied()
        .flatten()
        .and_then(|span| quantity(&span))
        == Some(curvary_record::Quantity::CONCENTRATION);
    let of_light = head
        .cells
        .iter()
        .skip(1)
        .flatten()
        .all(|span| quantity(span).is_some_and(|quantity| quantity.is_of_light()));
    let figures = before.grid.kinds.iter().all(|kind| *kind == ColumnKind::Figures);
    let at_once = between.iter().all(|piece| match piece {
        TextPiece::Blank => true,
        TextPiece::Text(line) => {
            let line = &text[line.span.range()];
            is_title_of_samples(line) || states_the_line(line, &before.grid.dialect)
        }
        TextPiece::Table(_) => false,
    });
    let last_row = before.grid.line(before.grid.rows.saturating_sub(1));
    let left_out = before.grid.odd.iter().any(|odd| odd.line as usize > last_row);
    if left_out
        || !over_standards
        || !of_light
        || !figures
        || !at_once
        || before.open.is_some()
        || before.grid.rows < 3
    {
        return None;
    }
    let mut kinds = before.grid.kinds.clone();
    *kinds.first_mut()? = ColumnKind::Words;
    let is_sample = |name: &str| {
        name.starts_with(char::is_alphabetic)
            && !name.split_whitespace().any(crate::words::is_statistics)
            && !crate::words::is(WordList::Target, name)
            && !crate::preamble::is_known(name)
    };
    // Slopes and limits, which have other decimals than readings, and whatever else follows, end them.
    let digits: Vec<BTreeSet<u8>> = before
        .grid
        .decimals()
        .into_iter()
        .map(|changes| changes.into_iter().map(|(_, digits)| digits).collect())
        .collect();
    let dialect = &before.grid.dialect;
    let is_row = |line: &str| {
        let cells = split(line, dialect);
        let name = cells.first().map_or("", |range| line[range.clone()].trim());
        let read = |(column, range): (usize, &Range<usize>)| match cell(&line[range.clone()], dialect.style) {
            Cell::Number { decimals, .. } => digits[before.grid.place(column)].contains(&decimals),
            Cell::Missing | Cell::Beyond => true,
            Cell::Words => marked_number(&line[range.clone()], dialect.style).is_some(),
            _ => false,
        };
        cells.len() == before.grid.columns() && is_sample(name) && cells.iter().enumerate().skip(1).all(read)
    };
    let mut end = cursor.at;
    let mut at = cursor.at;
    let uncut = uncut(text, dialect).max(cursor.at);
    while at < uncut {
        let (line, next) = line_end(text.as_bytes(), at);
        let row = &text[at..line];
        if is_row(row) {
            end = next;
        } else if !row.trim_matches(is_blank).is_empty() {
            // `R kare,0.9997` directly below `eğim,0.684`: the block holds results, in whatever language, and no samples.
            let cells = split(row, dialect);
            let is_number = |range: &Range<usize>| {
                matches!(cell(&row[range.clone()], dialect.style), Cell::Number { .. })
            };
            let is_result = cells.len() == before.grid.columns() && cells.iter().skip(1).all(is_number);
            if at == end && is_result && !crate::words::is_statistics(row[cells[0].clone()].trim()) {
                return None;
            }
            break;
        }
        at = next;
    }
    let mut grid = Grid::new(dialect.clone(), kinds);
    let after = grid.read(text, cursor, end.min(uncut));
    let told = |gap: &super::super::grid::Gap| {
        matches!(
            gap.lack,
            MissingCell::Missing | MissingCell::Beyond | MissingCell::Doubtful
        )
    };
    if grid.rows == 0 || !grid.odd.is_empty() || !grid.gaps.iter().all(told) {
        return None;
    }
    let mut heads = before.heads.clone();
    for head in &mut heads {
        if let Some(first) = head.cells.first_mut() {
            *first = None;
        }
    }
    let rows = ScannedTable {
        first_line: cursor.line,
        last_line: grid.line(grid.rows - 1) as u32,
        grid,
        heads,
        open: None,
        unmatched_head: None,
        joined: Vec::new(),
    };
    Some((rows, after))
}

/// Whether a line is a title over samples, `Samples`, `Proben:`: a word or two without figures that state nothing.
fn is_title_of_samples(line: &str) -> bool {
    const MOST_WORDS: usize = 4;
    let line = strip_remark(line).1;
    line.split_whitespace().count() <= MOST_WORDS
        && !line.contains(|c: char| c.is_ascii_digit())
        && crate::preamble::pairs(line)
            .iter()
            .all(|pair| pair.value.is_empty())
}

/// Whether a line states what was fitted to the standards above it, `y = 0.1005x + 0.0018`, `R2 = 0.9999`: an equation in no cells.
fn states_the_line(line: &str, dialect: &Dialect) -> bool {
    let cells = dialect
        .sep
        .byte()
        .is_some_and(|sep| line.as_bytes().contains(&sep));
    let right = line.split_once('=').map(|(_, right)| right);
    !cells && right.is_some_and(|right| right.contains(|c: char| c.is_ascii_digit()))
}

/// The last rows of a table with names in front.
pub(crate) fn last_rows<'t>(text: &'t str, table: &ScannedTable) -> Vec<&'t str> {
    if table.grid.kinds.first() != Some(&ColumnKind::Words) {
        return Vec::new();
    }
    let names = table.grid.words(0);
    let last = &names[names.len().saturating_sub(foot::LONGEST)..];
    let whole = |span: &Span| {
        let at = span.range().start;
        let begins = text[..at].rfind(['\n', '\r']).map_or(0, |end| end + 1);
        &text[begins..line_end(text.as_bytes(), at).0]
    };
    last.iter().map(whole).collect()
}

/// Where the last whole cell of a text ends: before one that the end of the file cuts behind a decimal sign, `472 0.`.
/// Where blanks part the cells, the whole line is left out, since its cells may stand under any column.
pub(super) fn uncut(text: &str, dialect: &Dialect) -> usize {
    let cut = text
        .strip_suffix(['.', ','])
        .is_some_and(|front| front.ends_with(|c: char| c.is_ascii_digit()));
    let line = text.rfind(['\n', '\r']).map_or(0, |at| at + 1);
    let sign = dialect
        .sep
        .byte()
        .filter(|_| dialect.pieces.is_none())
        .map(char::from);
    match sign.and_then(|sign| text[line..].rfind(sign)) {
        // With a cell or two in front of it.
        Some(at) if cut && text[line..line + at].contains(|c: char| c.is_ascii_digit()) => line + at,
        _ if cut => line,
        _ => text.len(),
    }
}
