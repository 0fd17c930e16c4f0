//! The table that begins at a line, decided one step after another.

use std::collections::BTreeSet;
use std::ops::Range;

use curvary_record::Span;

use super::super::damaged::is_row_of;
use super::super::dialect::{raw_split, split};
use super::super::grid::{Cursor, Grid, line_end};
use super::super::heads::heads_above;
use super::super::segments::RowClass;
use super::header_rows::names_levels;
use super::lines::{LineGlance, is_ruler_piece, leading_number};
use super::sample_cells::SampleCells;
use super::table_body::TableBody;
use super::table_start::TableStart;
use super::{Effort, HeadRow, ScannedTable, TextLine, TextPiece};
use crate::Assumptions;

/// Where a line that is the same as another begins within a part of a text.
pub(super) fn next_line_like(text: &str, line: &str, within: Range<usize>) -> Option<usize> {
    let line = line.trim();
    if !line.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let part = &text[within.clone()];
    memchr::memmem::find_iter(part.as_bytes(), line.as_bytes()).find_map(|at| {
        let start = part[..at].rfind('\n').map_or(0, |end| end + 1);
        let whole = part[start..].lines().next().unwrap_or("");
        (start > 0 && whole.trim() == line).then_some(within.start + start)
    })
}

/// The heads above a table that begins at `cursor`. A damaged row may stand between them.
pub(super) fn heads_over(text: &str, grid: &Grid, cursor: Cursor, above: &[TextPiece]) -> Vec<HeadRow> {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let row = &text[cursor.at..end];
    let none = BTreeSet::new();
    let damaged = |piece: &&TextPiece| match piece {
        TextPiece::Text(line) => {
            let line = &text[line.span.range()];
            let cells = split(line, &grid.dialect);
            let numbers = || {
                cells
                    .iter()
                    .any(|cell| leading_number(&line[cell.clone()]).is_some())
            };
            let of_light = |cell: &Range<usize>| {
                let head = crate::column_header::read_column_header(line[cell.clone()].trim());
                head.quantity.is_some_and(|quantity| quantity.is_of_light())
            };
            // A header that names what was measured is no damaged row: `Probe  A405`.
            let names =
                || names_levels(line, &cells, &grid.dialect) || !numbers() && cells.iter().any(of_light);
            is_row_of(line, row, grid) && !names() || super::super::join::is_furniture(line, &none)
        }
        _ => false,
    };
    /// No header stands above more damaged rows; lines like rows that are none may be thousands.
    const MOST_DAMAGED: usize = 32;
    let lines = above.iter().rev().take(MOST_DAMAGED).take_while(damaged).count();
    if lines > 0 {
        let heads = heads_above(text, grid, &above[..above.len() - lines]);
        if !heads.is_empty() {
            return heads;
        }
    }
    heads_above(text, grid, above)
}

/// Takes the heads of a table out of the words above it, and the rulers and blank lines between.
pub(super) fn take_heads(text: &str, pieces: &mut Vec<TextPiece>, table: &ScannedTable) {
    let lines: Vec<u32> = table.heads.iter().map(|head| head.line.line).collect();
    let is_head = |piece: &TextPiece| matches!(piece, TextPiece::Text(line) if lines.contains(&line.line));
    let Some(last) = pieces.iter().rposition(is_head) else {
        return;
    };
    let first = pieces[..=last].iter().rposition(|piece| {
        !is_head(piece) && !is_ruler_piece(text, piece) && {
            let above = |line: &TextLine| lines.iter().all(|head| line.line < *head);
            !matches!(piece, TextPiece::Text(line) if !above(line))
        }
    });
    let words = pieces.split_off(first.map_or(0, |above| above + 1));
    let mut met = false;
    pieces.extend(words.into_iter().filter(|piece| {
        met |= is_head(piece);
        !(is_head(piece) || met && is_ruler_piece(text, piece))
    }));
}

/// The header of a list of samples and a number for each, where a number that may be a wavelength stands beside the word: `Sample;540`.
pub(super) fn header_of_samples(text: &str, line: TextLine, grid: &Grid) -> Option<HeadRow> {
    let written = &text[line.span.range()];
    let cells = raw_split(written, grid.dialect.sep);
    let [key, number] = cells.as_slice() else {
        return None;
    };
    let samples = matches!(
        crate::words::field_of(written[key.clone()].trim()),
        Some("sample" | "sample-id")
    );
    let light = written[number.clone()]
        .trim()
        .parse::<f64>()
        .is_ok_and(|number| crate::light::IN_PASSING.contains(&number));
    let at = |cell: &Range<usize>| {
        let start = line.span.start as usize;
        Some(Span::new(start + cell.start, start + cell.end))
    };
    (samples && light && grid.columns() == 2).then(|| HeadRow {
        line,
        class: RowClass::Header,
        cells: cells.iter().map(at).collect(),
    })
}

/// The table that begins at `cursor`, if one does, and where the text goes on behind it.
pub(super) fn table_at(
    text: &str,
    cursor: Cursor,
    class: LineGlance,
    above: &[TextPiece],
    assume: &Assumptions,
    least: usize,
    effort: &mut Effort,
) -> Option<(ScannedTable, Cursor)> {
    let mut start = TableStart::at(text, cursor, class, above, assume, effort);
    if start.is_key() {
        return None;
    }
    start.leave_out_foot();
    if start.is_list_of_keys() || start.is_caption() {
        return None;
    }
    let cells = SampleCells::of(&start, least, effort)?;
    if cells.are_sentences(&start, effort) {
        return None;
    }
    let body = TableBody::read(&start, cells, effort)?;
    if !body.is_table() {
        return None;
    }
    body.finish()
}

/// Rows broken over two lines put together, where the heads above are broken in the same way: two rows of them, the
/// lower without a head over the first column.
pub(super) fn unwrap(grid: Grid, heads: Vec<HeadRow>) -> (Grid, Vec<HeadRow>) {
    let [.., upper, lower] = heads.as_slice() else {
        return (grid, heads);
    };
    let first = |row: &HeadRow| row.cells.first().copied().flatten();
    if first(upper).is_none() || first(lower).is_some() {
        return (grid, heads);
    }
    let Some(whole) = grid.unwrapped() else {
        return (grid, heads);
    };
    let cells: Vec<Option<Span>> = upper.cells.iter().chain(&lower.cells[1..]).copied().collect();
    let heads = vec![
        HeadRow {
            line: upper.line,
            class: RowClass::Header,
            cells: vec![None; cells.len()],
        },
        HeadRow {
            line: lower.line,
            class: RowClass::Header,
            cells,
        },
    ];
    (whole, heads)
}
