//! The table that begins at a line, decided one step after another.

use std::collections::BTreeSet;
use std::ops::Range;

use curvary_record::{Code, Span};

use super::super::columns::clock_of;
use super::super::damaged::is_row_of;
use super::super::dialect::{Brackets, Delimiter, Dialect, decide, raw_split, split};
use super::super::foot;
use super::super::grid::{ColumnKind, Cursor, Grid, MAX_COLUMNS, line_end};
use super::super::heads::{glue_units, heads_above, unmatched_head};
use super::super::segments::RowClass;
use super::super::surroundings::{
    are_like_percents, are_like_readings, begins_with_name, lines_of_light_above, with_following,
};
use super::column_kinds::{
    columns_with_marks, kinds_of, split_all, take_coordinates, take_names, take_numbers_of_standards,
    usual_count,
};
use super::header_rows::{
    is_head_of_numbers, is_reading_of_none, is_row_of_conditions, is_row_of_levels, is_row_over_others,
    is_row_under_parameter, names_levels, stands_over_a_plate, sums_up_below,
};
use super::key_lines::{
    all_keys, foot_of, heads_are_a_key, is_key_below_key, is_key_over_headers, is_key_with_number,
    is_line_of_keys, stands_over_headers,
};
use super::lines::{
    LineGlance, hard_marks, is_prose, is_ruler_piece, leading_number, names_quantity, strip_remark,
};
use super::rows_behind::uncut;
use super::sample::{SAMPLE, sample};
use super::signs::{decide_single, groups_of_three, later_evidence, settle, without_dotted_times};
use super::{Effort, HeadRow, ScannedTable, TextLine, TextPiece};
use crate::Assumptions;

/// So many bytes behind the first row are searched for the header again before the rows are read.
const NEAR_HEADER: usize = 1 << 14;

/// Where a line that is the same as another begins within a part of a text.
fn next_line_like(text: &str, line: &str, within: Range<usize>) -> Option<usize> {
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

/// The few lines at once behind so many rows that begin at `cursor`.
fn rows_following(text: &str, cursor: Cursor, rows: usize) -> Vec<&str> {
    const FEW: usize = 4;
    let lines = text[cursor.at..].lines().skip(rows);
    lines
        .take_while(|line| !line.trim().is_empty())
        .take(FEW)
        .collect()
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
    let lines = above.iter().rev().take_while(damaged).count();
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

/// Whether the first of several cells is a key, a mark and a number: `A520, Tea: 0.01 ; 0.06 ; 0.10`.
fn begins_with_key_and_number(row: &str) -> bool {
    let Some(cell) = row
        .split([';', '\t', '|'])
        .next()
        .filter(|cell| cell.len() < row.trim_end().len())
    else {
        return false;
    };
    let Some((key, value)) = cell.split_once([':', '=']) else {
        return false;
    };
    let decimal = value.contains(['.', ',']) && value.trim().parse::<f64>().is_ok()
        || value.trim().replace(',', ".").parse::<f64>().is_ok() && value.contains(['.', ',']);
    key.trim_start().starts_with(char::is_alphabetic) && decimal && value.starts_with(' ')
}

/// Whether headers name what was worked out of a fit, `(Intercept)  conc`, and nothing that was read.
fn of_results_alone(text: &str, heads: &[HeadRow]) -> bool {
    let cells = || heads.iter().flat_map(|head| head.cells.iter().flatten());
    let bracketed = |span: &Span| text[span.range()].trim().starts_with('(');
    cells().count() >= 2
        && cells().any(bracketed)
        && !cells().any(|span| {
            let head = crate::column_header::read_column_header(text[span.range()].trim());
            head.quantity.is_some_and(|quantity| quantity.is_of_light())
        })
}

/// The header of a list of samples and a number for each, where a number that may be a wavelength stands beside the word: `Sample;540`.
fn header_of_samples(text: &str, line: TextLine, grid: &Grid) -> Option<HeadRow> {
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
#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
pub(super) fn table_at(
    text: &str,
    cursor: Cursor,
    class: LineGlance,
    above: &[TextPiece],
    assume: &Assumptions,
    least: usize,
    effort: &mut Effort,
) -> Option<(ScannedTable, Cursor)> {
    // The line above, as it stands.
    let head_line = match above.iter().rev().find(|piece| !is_ruler_piece(text, piece)) {
        Some(TextPiece::Text(line)) => Some(&text[line.span.range()]),
        _ => None,
    };
    let head_above = head_line.map(|line| strip_remark(line).1);
    let mut sample = sample(text, cursor, class, head_above);
    effort.weighed += sample.iter().map(|row| row.len()).sum::<usize>();
    // The header again, as behind a page break, is no row.
    if let Some(again) = head_above.and_then(|head| sample.iter().position(|row| row.trim() == head.trim())) {
        sample.truncate(again);
    }
    // So is one that stands again itself: `Sample;400;420`.
    if let Some(again) = sample.iter().skip(1).position(|row| *row == sample[0]) {
        sample.truncate(again + 1);
    }
    if class == LineGlance::Mixed
        && sample.len() < 2
        && (head_above.is_none()
            || stands_over_headers(text, cursor)
            || sample
                .first()
                .is_none_or(|line| is_key_below_key(head_above, line)))
    {
        return None;
    }
    if class == LineGlance::Mixed
        && (is_key_over_headers(text, cursor) || foot::is_key_above(&text[cursor.at..], head_above))
    {
        return None;
    }
    // Keys with their values below the rows, `Limit;0.8`, are none of them, and say nothing of their columns.
    let open_are_keys = assume.get("foot") == Some("key");
    let body = foot::without_foot(&sample, open_are_keys);
    if body > 0 {
        sample.truncate(body);
    }
    // `A520: 0.01; 0.06`: the first value stands behind a key, and is none of its name.
    if class == LineGlance::Mixed
        && sample
            .iter()
            .filter(|row| begins_with_key_and_number(row))
            .count()
            * 2
            > sample.len()
    {
        return None;
    }
    // `Group 1` above rows that a sign of its own parts: a caption.
    let marked = |row: &&str| hard_marks(row) != [false; 3];
    if class == LineGlance::Mixed
        && sample.len() >= 2
        && !marked(&sample[0])
        && marked(&sample[1])
        && sample.iter().filter(|row| marked(row)).count() * 2 > sample.len()
    {
        return None;
    }
    let (decision, parted) = if least == 1 && class == LineGlance::Figures && sample.len() >= 5 {
        (decide_single(&sample), None)
    } else {
        decide(&sample, head_above)
    };
    let (mut dialect, open) = settle(without_dotted_times(decision, &sample, head_above), assume)?;
    dialect.brackets = match assume.get("parentheses") {
        Some("negative") => Brackets::Negative,
        Some(_) => Brackets::Absent,
        None => Brackets::Open,
    };
    let cells = match parted {
        Some((sep, cells)) if sep == dialect.sep && dialect.pieces.is_none() => cells,
        _ => split_all(&sample, &dialect),
    };
    let mut columns = usual_count(&cells, &dialect, head_above)?;
    if columns_with_marks(&sample, &cells, &dialect, head_above) == Some(columns + 1) {
        columns += 1;
    }
    if !(least..=MAX_COLUMNS).contains(&columns) {
        if columns > MAX_COLUMNS {
            effort.too_wide.get_or_insert((cursor.line, columns));
        }
        return None;
    }
    // `Wavelength,570 nm` above a plate of twelve columns.
    let filled = cells[0].iter().filter(|cell| !cell.is_empty()).count();
    if class == LineGlance::Mixed && columns >= 4 && filled == 2 {
        let key = sample[0][cells[0][0].clone()].trim();
        if !key.is_empty() && crate::preamble::is_known(key) {
            return None;
        }
    }
    let named = class == LineGlance::Mixed && begins_with_name(&sample, &dialect, head_above);
    if class == LineGlance::Mixed
        && !named
        && (is_head_of_numbers(&sample, &dialect)
            || sums_up_below(&sample, &dialect)
            || is_row_of_conditions(&sample, &dialect) && !is_reading_of_none(&sample, head_above, &dialect)
            || sample.len() == 1 && is_row_of_conditions(&with_following(text, cursor, &sample), &dialect))
    {
        return None;
    }
    if is_row_under_parameter(&sample, head_line, &dialect)
        || is_row_of_levels(&sample, &dialect)
        || class == LineGlance::Figures && stands_over_a_plate(text, cursor)
        || is_row_over_others(&with_following(text, cursor, &sample[..1]), &dialect)
    {
        return None;
    }
    let mut kinds = kinds_of(&sample, &cells, &dialect, columns);
    if named {
        kinds[0] = ColumnKind::Words;
    }
    if let Some(head) = head_above.filter(|_| dialect.sep.byte().is_some()) {
        take_names(&mut kinds, head, &sample, &cells, &dialect);
        take_coordinates(&mut kinds, head, &sample, &cells, &dialect);
        let following = rows_following(text, cursor, sample.len());
        take_numbers_of_standards(&mut kinds, head, &sample, &following, &dialect);
    }
    let figures = kinds.iter().filter(|kind| **kind == ColumnKind::Figures).count();
    if figures == 0 {
        return None;
    }
    let wordy = kinds.iter().filter(|kind| **kind == ColumnKind::Words).count();
    let sentences = is_prose(&sample);
    let parted = matches!(
        dialect.sep,
        Delimiter::Tab | Delimiter::Semicolon | Delimiter::Pipe
    );
    // Seen at once, before pages of prose are read as a table.
    let words_in_front = class == LineGlance::Mixed && kinds[0] == ColumnKind::Words;
    if words_in_front && (sentences && !parted || dialect.sep == Delimiter::Blank && wordy >= 4) {
        return None;
    }
    // Lines of a log, `17 59 pump 8 on, valve 2 off`, are sentences too, though they begin with numbers.
    let named = || head_above.is_some_and(names_quantity);
    if dialect.sep == Delimiter::Blank && wordy >= 4 && wordy >= figures && !named() {
        // A table that begins in the first half of the sample would have shown in it.
        if let Some(line) = sample.get(sample.len() / 2) {
            effort.sentences_to = crate::slice::offset_in(text, line);
        }
        return None;
    }
    let mut grid = Grid::new(dialect.clone(), kinds);
    grid.learn_extents(&sample, &cells);
    grid.expect_units(&sample);
    let end = uncut(text, &grid.dialect).max(cursor.at);
    // A header of numbers that soon stands again ends the rows: they are not read beyond it, and then once more.
    let near = head_above.and_then(|head| {
        let to = text.floor_char_boundary((cursor.at + NEAR_HEADER).min(end));
        next_line_like(text, head, cursor.at..to)
    });
    let mut after = grid.read(text, cursor, near.unwrap_or(end));
    effort.read += after.at - cursor.at;
    // A header of numbers that stands again among the rows was read as one of them.
    if let Some(again) = head_above.and_then(|head| next_line_like(text, head, cursor.at..after.at)) {
        let mut anew = Grid::new(dialect.clone(), grid.kinds.clone());
        anew.learn_extents(&sample, &cells);
        anew.expect_units(&sample);
        grid = anew;
        after = grid.read(text, cursor, again);
    }
    let behind_empty = grid.row_behind_empty(text).filter(|_| open_are_keys);
    let foot = foot_of(text, cursor.at..after.at, open_are_keys)
        .into_iter()
        .chain(behind_empty.map(|row| row.start))
        .min();
    if let Some(foot) = foot.filter(|foot| *foot > cursor.at) {
        let mut anew = Grid::new(dialect.clone(), grid.kinds.clone());
        anew.learn_extents(&sample, &cells);
        anew.expect_units(&sample);
        grid = anew;
        after = grid.read(text, cursor, foot);
    }
    grid.doubt_numbers(text, cursor);
    if grid.rows == 0 {
        return None;
    }
    // Names at the end of a table of numbers, `unknown 1,0.305`, are none of its rows.
    let last = grid.line(grid.rows - 1) as u32;
    let is_name = |line: &str| {
        let name = line.trim_start();
        name.chars().take_while(|c| c.is_alphabetic()).count() >= 3
    };
    if grid.kinds[0] == ColumnKind::Figures
        && let Some(at) = grid.odd.iter().position(|odd| odd.line > last)
        && grid.odd[at..].iter().all(|odd| is_name(&text[odd.span.range()]))
    {
        after = Cursor {
            at: grid.odd[at].span.start as usize,
            line: grid.odd[at].line,
        };
        grid.odd.truncate(at);
    }
    let mut heads = heads_over(text, &grid, cursor, above);
    let worded = heads.iter().any(|head| {
        head.cells.iter().flatten().any(|span| {
            crate::column_header::read_column_header(&text[span.range()])
                .quantity
                .is_some()
        })
    });
    let first_line = grid.line(0) as u32;
    // A single row, or rows that begin with words, need a head that says what they are.
    // Clock times and lengths of time run as well as numbers do.
    let clocked = grid.rows >= 4 && grid.kinds[0] == ColumnKind::Words && {
        let cells = grid.words(0);
        let cells = cells.get(..SAMPLE).unwrap_or(cells);
        clock_of(text, cells, grid.dialect.style, None, false).is_some()
    };
    let words_first = grid.kinds[0] == ColumnKind::Words && !clocked;
    // A line of the same form as the rows, `tap  0.268` above `well  0.159`, is one of them.
    let like_row = |span: &Span| {
        let cell = text[span.range()].trim();
        let decimals = cell
            .split_once(['.', ','])
            .map_or(0, |(_, decimals)| decimals.len());
        decimals >= 2 && leading_number(cell).is_some_and(|value| value.abs() < 10.0)
    };
    let numbered_heads = heads.iter().any(|head| {
        let numbers = || {
            let cells = head.cells.iter().flatten();
            cells.filter(|span| leading_number(&text[span.range()]).is_some())
        };
        numbers().count() * 2 > columns && !(numbers().all(like_row) && are_like_readings(&grid))
    });
    // Words between separators that stand in no sentence, under heads that say what they are, are no prose however many.
    let prose = sentences && !(worded && parted);
    // A row alone may say what it holds: `Ext. 810 nm;0,005;0,061` under the names of samples.
    let row_tells = || {
        let full = heads.last().is_some_and(|head| {
            head.cells.len() == columns && head.cells.iter().skip(1).all(Option::is_some)
        });
        let light = |span: &Span| {
            crate::column_header::read_column_header(&text[span.range()])
                .quantity
                .is_some_and(|quantity| quantity.is_of_light())
        };
        parted && columns >= 3 && full && grid.words(0).iter().any(light)
    };
    // `Sample;540`: a list of samples at a wavelength that has no unit; a person is asked.
    let list_of_samples =
        words_first && parted && heads.is_empty() && grid.rows >= 3 && !prose && are_like_readings(&grid);
    let of_samples = match above.last() {
        Some(TextPiece::Text(line)) if list_of_samples => header_of_samples(text, *line, &grid),
        _ => None,
    };
    let enough = if words_first {
        let list = || {
            (parted || columns == 2)
                && grid.rows >= 3
                && !prose
                && (are_like_readings(&grid) || are_like_percents(&grid, text, above))
                && lines_of_light_above(text, above, &text[after.at..], grid.rows >= 3)
        };
        worded
            || numbered_heads
            || (figures >= 2 && grid.rows >= 3 && !prose)
            || list()
            || row_tells()
            || of_samples.is_some()
    } else {
        grid.rows >= 2 || worded && !of_results_alone(text, &heads) || numbered_heads
    };
    if !enough || (class == LineGlance::Mixed && !words_first && grid.rows < 2) {
        return None;
    }
    if words_first && (prose || dialect.sep == Delimiter::Blank && wordy >= 4) {
        return None;
    }
    // A key, its number and its unit in cells of their own.
    if words_first && grid.rows == 1 && figures == 1 && wordy >= 2 {
        let last = &sample[0][cells[0].last().cloned().unwrap_or(0..0)];
        if !last.is_empty()
            && curvary_record::unit::spelled(last.trim()) != curvary_record::unit::Spelling::None
        {
            return None;
        }
    }
    // `;Wellenlänge;405 nm`: keys and values behind an empty cell.
    if grid.rows <= 3 && !words_first && sample.len() <= 3 && sample.iter().all(|row| is_line_of_keys(row)) {
        return None;
    }
    // `run 1` under a title of two words is no sample with a reading of one, nor is `3 readings` under `A at 450 nm`.
    if wordy > 0 && grid.rows == 1 && figures == 1 && dialect.sep == Delimiter::Blank {
        return None;
    }
    if words_first && grid.rows <= 6 && heads_are_a_key(text, &heads, &grid) {
        return None;
    }
    let below_a_key = || grid.rows <= 2 && head_above.is_some_and(is_key_with_number);
    // Under headers that name what was measured, `blank` and `sample` are names, in a table of three columns or more.
    let pairs = columns == 2 && figures == 1;
    let read_there = || {
        // A separator at the end of each line leaves a column in which nothing stands.
        let empty = |at: usize| match grid.kinds[at] {
            ColumnKind::Words => grid.words(at).iter().all(|span| span.start == span.end),
            ColumnKind::Figures => grid.column(at).all(f64::is_nan),
        };
        let named = |(at, cell): (usize, &Option<Span>)| cell.is_some() || empty(at);
        let whole = heads
            .last()
            .is_some_and(|head| head.cells.len() == columns && head.cells.iter().enumerate().all(named));
        whole
            && heads
                .iter()
                .flat_map(|head| head.cells.iter().flatten())
                .any(|span| {
                    let quantity = crate::column_header::read_column_header(&text[span.range()]).quantity;
                    quantity.is_some_and(|quantity| quantity.is_of_light())
                })
    };
    // A key has one value: `reference  0.512  0.514` is a row.
    // `Check  Abs 700 nm` over readings of two rows or more: a key has no header that says what was measured.
    let pairs_of_readings = pairs && grid.rows >= 2 && read_there() && are_like_readings(&grid);
    let full_of_readings = || grid.gaps.is_empty() && grid.rows >= 2 && are_like_readings(&grid);
    if words_first
        && !row_tells()
        && !pairs_of_readings
        && (pairs || grid.rows <= 6 && !(columns > 2 && (read_there() || figures >= 2 && full_of_readings())))
        && (all_keys(text, &grid) || below_a_key())
    {
        return None;
    }
    let last_line = grid.line(grid.rows - 1) as u32;
    // An undecided decimal sign is decided by the whole table where a later row tells.
    let mut open = open;
    if let Some((_, readings)) = &open {
        let end = after.at;
        if let Some(dialect) = later_evidence(text, cursor, end, readings) {
            open = None;
            if dialect != grid.dialect {
                let cells = split_all(&sample, &dialect);
                let columns = usual_count(&cells, &dialect, head_above)?;
                let kinds = kinds_of(&sample, &cells, &dialect, columns);
                grid = Grid::new(dialect, kinds);
                grid.learn_extents(&sample, &cells);
                grid.expect_units(&sample);
                after = grid.read(text, cursor, end);
                grid.doubt_numbers(text, cursor);
            }
        }
    }
    if open.is_none()
        && assume.get("decimal").is_none()
        && let Some(group) = groups_of_three(&sample, &grid.dialect)
    {
        // As many heads as there are columns without the groups of three settle it.
        let settled = head_above.is_some_and(|line| {
            let words = glue_units(line, raw_split(line, Delimiter::Blank));
            let named = |range: &Range<usize>| {
                crate::column_header::read_column_header(&line[range.clone()])
                    .quantity
                    .is_some()
            };
            words.len() + 1 == columns && words.iter().all(named)
        });
        if settled && grid.dialect.sep == Delimiter::Blank {
            let mut pieces = vec![1; columns - 1];
            pieces[group - 1] = 2;
            let dialect = Dialect {
                pieces: Some(pieces),
                ..grid.dialect.clone()
            };
            let kinds = kinds_of(&sample, &split_all(&sample, &dialect), &dialect, columns - 1);
            grid = Grid::new(dialect, kinds);
            after = grid.read(text, cursor, end);
            heads = heads_over(text, &grid, cursor, above);
        } else {
            open = Some((Code::new("columns-run-together"), vec![grid.dialect.clone()]));
        }
    }
    heads.extend(of_samples.filter(|_| heads.is_empty()));
    let (grid, heads) = unwrap(grid, heads);
    let unmatched_head = if heads.is_empty() {
        unmatched_head(text, above)
    } else {
        None
    };
    Some((
        ScannedTable {
            grid,
            heads,
            first_line,
            last_line,
            open,
            unmatched_head,
            joined: Vec::new(),
        },
        after,
    ))
}

/// Rows broken over two lines put together, where the heads above are broken in the same way: two rows of them, the
/// lower without a head over the first column.
fn unwrap(grid: Grid, heads: Vec<HeadRow>) -> (Grid, Vec<HeadRow>) {
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
