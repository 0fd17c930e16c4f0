//! Tables of records, of named values and of the items of one line.

use curvary_record::Span;

use super::super::dialect::{Delimiter, raw_split, style_of};
use super::super::grid::{ColumnKind, Cursor, Grid, line_end};
use super::super::lists::ListBlock;
use super::super::records::records_at;
use super::super::segments::RowClass;
use super::super::{items, labelled};
use super::column_kinds::split_all;
use super::lines::{LineGlance, class_of};
use super::sample::SAMPLE;
use super::signs::settle;
use super::table::table_at;
use super::{Effort, HeadRow, ScannedTable, TextLine, TextPiece};
use crate::Assumptions;
use crate::slice::range_in;

/// The table of a `block` of lists, of records, or of lines in which a name stands beside every value, at `cursor`: the keys of the whole, the table, and
/// where the text goes on. Its header is taken out of the pieces above.
pub(super) fn named_values_at(
    text: &str,
    cursor: Cursor,
    above: &mut Vec<TextPiece>,
    block: Option<(&str, &ListBlock)>,
    assume: &Assumptions,
    least: usize,
    effort: &mut Effort,
) -> Option<(Vec<TextLine>, ScannedTable, Cursor)> {
    if let Some((cells, block)) = block
        && let Some(table) = table_of_lists(cells, block, above, assume)
    {
        return Some((Vec::new(), table, block.after()));
    }
    let rows = |rows: &str, line: u32, kinds: Option<Vec<ColumnKind>>| {
        let first = Cursor { at: 0, line };
        if let Some(kinds) = kinds {
            return rows_of_kinds(rows, first, kinds, assume);
        }
        let begins_with_name = rows.trim_start().starts_with(char::is_alphabetic);
        let class = if begins_with_name {
            LineGlance::Mixed
        } else {
            LineGlance::Figures
        };
        table_at(rows, first, class, &[], assume, least, &mut Effort::default()).map(|(table, _)| table)
    };
    let of_kinds = |text: &str, line: u32, kinds| rows(text, line, Some(kinds));
    if cursor.at >= effort.no_records_to {
        let (records, looked_to) = records_at(text, cursor, of_kinds);
        effort.read += looked_to - cursor.at;
        effort.no_records_to = looked_to;
        if let Some(records) = records {
            return Some((records.keys, records.table, records.after));
        }
    }
    let (labelled, looked) = labelled::table_at(text, cursor, &mut effort.no_form_to, rows);
    effort.read += looked;
    let (mut table, after) = labelled?;
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    if table.heads.is_empty()
        && let Some(head) = header_of_pairs(text, &text[cursor.at..end], above.last())
    {
        above.pop();
        table.heads.push(head);
    }
    Some((Vec::new(), table, after))
}

/// The table of a block of lists, a row each, whose `cells` tabs part.
fn table_of_lists(
    cells: &str,
    block: &ListBlock,
    above: &[TextPiece],
    assume: &Assumptions,
) -> Option<ScannedTable> {
    // What stands above another table is none of its words.
    let own = above
        .iter()
        .rposition(|piece| matches!(piece, TextPiece::Table(_)))
        .map_or(0, |table| table + 1);
    let header = block.header(cells);
    let above: Vec<TextPiece> = above[own..]
        .iter()
        .cloned()
        .chain([TextPiece::Text(header)])
        .collect();
    let (lines, after) = (block.lines(), block.after());
    let (mut table, _) = table_at(
        &cells[..after.at],
        block.first(),
        LineGlance::Mixed,
        &above,
        assume,
        2,
        &mut Effort::default(),
    )?;
    if table.grid.rows != lines.len() || !table.grid.odd.is_empty() || table.heads.is_empty() {
        return None;
    }
    table.grid.place_rows(&lines);
    table.first_line = block.first().line;
    table.last_line = after.line - 1;
    Some(table)
}

/// The table of the items of the line at `cursor`, the words in front of them, and where the text goes on.
pub(super) fn table_of_items(
    text: &str,
    cursor: Cursor,
    above: &[TextPiece],
    assume: &Assumptions,
) -> Option<(ScannedTable, Option<TextLine>, Cursor)> {
    let found = items::items_at(text, cursor)?;
    let prefix = (!text[found.prefix.clone()].trim().is_empty()).then(|| TextLine {
        span: Span::new(found.prefix.start, found.prefix.end),
        line: cursor.line,
    });
    let above: Vec<TextPiece> = above.iter().cloned().chain(prefix.map(TextPiece::Text)).collect();
    let first = Cursor {
        at: found.start,
        line: cursor.line,
    };
    // The items alone, with what stands above them.
    let part = &found.text[..found.after.at];
    let read = |above: &[TextPiece], text: &str, first: Cursor| {
        let (end, _) = line_end(text.as_bytes(), first.at);
        let class = class_of(&text[first.at..end]);
        table_at(text, first, class, above, assume, 2, &mut Effort::default())
    };
    let rows = |rows: &str, line: u32, kinds: Option<Vec<ColumnKind>>| {
        let first = Cursor { at: 0, line };
        match kinds {
            Some(kinds) => rows_of_kinds(rows, first, kinds, assume),
            None => read(&[], rows, first).map(|(table, _)| table),
        }
    };
    let (labelled, _) = labelled::table_at(part, first, &mut 0, rows);
    let (mut table, _) = labelled.or_else(|| read(&above, part, first))?;
    if table.grid.rows != found.lines.len() || !table.grid.odd.is_empty() {
        return None;
    }
    table.grid.place_rows(&found.lines);
    table.first_line = cursor.line;
    table.last_line = found.after.line - 1;
    Some((table, prefix, found.after))
}

/// The header of pairs, which the same sign parts: `Wavelength (nm):Absorbance` above `400:0.0292`.
fn header_of_pairs(text: &str, pair: &str, above: Option<&TextPiece>) -> Option<HeadRow> {
    let Some(TextPiece::Text(line)) = above else {
        return None;
    };
    let mark = ["->", "=", ":"].into_iter().find(|mark| pair.contains(mark))?;
    let header = &text[line.span.range()];
    let cells: Vec<&str> = header.split(mark).map(str::trim).collect();
    let names = |cell: &str| {
        cell.starts_with(char::is_alphabetic)
            && crate::column_header::read_column_header(cell).quantity.is_some()
    };
    let span = |cell: &str| {
        let at = range_in(text, cell);
        Span::new(at.start, at.end)
    };
    (cells.len() == 2 && pair.matches(mark).count() == 1 && cells.iter().all(|cell| names(cell))).then(|| {
        HeadRow {
            line: *line,
            class: RowClass::Header,
            cells: cells.iter().map(|cell| Some(span(cell))).collect(),
        }
    })
}

/// The table of rows that tabs part, whose columns are known to be of these kinds.
fn rows_of_kinds(
    text: &str,
    cursor: Cursor,
    kinds: Vec<ColumnKind>,
    assume: &Assumptions,
) -> Option<ScannedTable> {
    let rows: Vec<&str> = text
        .lines()
        .filter(|line| !line.trim().is_empty())
        .take(SAMPLE)
        .collect();
    let cells = rows.iter().flat_map(|row| {
        let cells = raw_split(row, Delimiter::Tab).into_iter().zip(&kinds);
        let numbers = cells.filter(|(_, kind)| **kind == ColumnKind::Figures);
        numbers.filter_map(|(cell, _)| row[cell].split_whitespace().next())
    });
    let (dialect, open) = settle(style_of(Delimiter::Tab, cells), assume)?;
    let cells = split_all(&rows, &dialect);
    let mut grid = Grid::new(dialect, kinds);
    grid.learn_extents(&rows, &cells);
    grid.expect_units(&rows);
    grid.read(text, cursor, text.len());
    grid.doubt_numbers(text, cursor);
    if grid.rows == 0 {
        return None;
    }
    let (first_line, last_line) = (grid.line(0) as u32, grid.line(grid.rows - 1) as u32);
    Some(ScannedTable {
        grid,
        heads: Vec::new(),
        first_line,
        last_line,
        open,
        unmatched_head: None,
        joined: Vec::new(),
    })
}
