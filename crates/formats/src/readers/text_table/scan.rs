//! The lines of a text as pieces: words, blank lines, and tables with their heads.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use curvary_record::{Code, Span};

use super::columns::{clock_of, is_head_of_times, parameter};
use super::damaged::is_row_of;
use super::dialect::{Brackets, Decision, Delimiter, Dialect, decide, is_blank, raw_split, split, style_of};
use super::foot;
use super::grid::{ColumnKind, Cursor, Grid, MAX_COLUMNS, MissingCell, line_end};
use super::heads::{glue_units, heads_above, is_summary_word, unmatched_head};
use super::items;
use super::join::{goes_on, is_another_group, list_goes_on};
use super::labelled;
use super::number::{
    Cell, Style, cell, dotted_time, durations_differ, has_concise, is_nearly_number, marked_number,
};
use super::pages::PageBreak;
use super::records::records_at;
use super::segments::RowClass;
use super::surroundings::{are_like_readings, begins_with_name, lines_of_light_above, with_following};
use crate::words::WordList;
use crate::{Assumptions, Source};

/// How many lines are looked at to decide how a table is written.
const SAMPLE: usize = 48;

/// So many lines between two tables are their titles and headers, and are no sign of a text without tables.
const MOST_TRIED: usize = 12;

/// A line of words: its bytes without the line end, and its number from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct TextLine {
    pub(super) span: Span,
    pub(super) line: u32,
}

/// A row of heads: for each column of the table the bytes of its head.
#[derive(Clone, Debug)]
pub(super) struct HeadRow {
    pub(super) line: TextLine,
    pub(super) class: RowClass,
    pub(super) cells: Vec<Option<Span>>,
}

/// A table as it stands in the text.
#[derive(Clone, Debug)]
pub(super) struct ScannedTable {
    pub(super) grid: Grid,
    /// Names and conditions of the curves first, then the headers from top to bottom.
    pub(super) heads: Vec<HeadRow>,
    pub(super) first_line: u32,
    pub(super) last_line: u32,
    /// Where the decimal sign or the separator is open: the code, and the readings that are plausible.
    pub(super) open: Option<(Code, Vec<Dialect>)>,
    /// A line above the table that names quantities, but not as many as the table has columns.
    pub(super) unmatched_head: Option<TextLine>,
    /// The words between its pages, where several were read as one.
    pub(super) joined: Vec<TextLine>,
}

/// A piece of the text.
#[derive(Clone, Debug)]
pub(super) enum TextPiece {
    Text(TextLine),
    Blank,
    Table(Box<ScannedTable>),
}

/// How much of a text was looked at in vain for tables.
#[derive(Clone, Copy, Debug, Default)]
struct Effort {
    /// Bytes of lines that were weighed as the first rows of a table.
    weighed: usize,
    /// Bytes that were read as rows.
    read: usize,
    /// The first line of more cells than a table may have columns, and how many it has.
    too_wide: Option<(u32, usize)>,
    /// Lines that begin in front of this byte were seen to be sentences, and are not weighed one by one.
    sentences_to: usize,
    /// Lines that begin in front of this byte were seen to have no form with values.
    no_form_to: usize,
    /// Lines that begin in front of this byte were seen to begin no records.
    no_records_to: usize,
}

impl Effort {
    /// Whether a text of so many bytes is worth no more. A long text full of digits that are no tables, such as the log
    /// of a program, comes here; one table behind the other never does, however many they are.
    fn is_spent(self, length: usize) -> bool {
        const LEAST: usize = if cfg!(test) { 1 << 14 } else { 4 << 20 };
        self.weighed > LEAST.max(4 * length) || self.read > 8 * (length + LEAST)
    }
}

/// A text in pieces.
#[derive(Clone, Debug)]
pub(super) struct Scanned {
    pub(super) pieces: Vec<TextPiece>,
    /// The first of the lines that may be rows and were not looked at, since too many before them were none.
    pub(super) unsought: Option<u32>,
    /// The first line that has more cells than a table may have columns, and how many it has.
    pub(super) too_wide: Option<(u32, usize)>,
}

/// Cuts a text into pieces. No table begins above byte `from`; one has `least` columns or more. Pages of a report that are
/// all written alike become one table at once, unless each is a piece of its own `by_page`.
pub(super) fn scan(text: &str, assume: &Assumptions, from: usize, least: usize, by_page: bool) -> Scanned {
    let scanned = scan_lines(text, assume, from, least, by_page, false);
    let found = scanned
        .pieces
        .iter()
        .any(|piece| matches!(piece, TextPiece::Table(_)));
    if found || text.len() > items::LONGEST_TEXT {
        return scanned;
    }
    scan_lines(text, assume, from, least, by_page, true)
}

/// [`scan`]; of a line of several `items` each may be a row.
fn scan_lines(
    text: &str,
    assume: &Assumptions,
    from: usize,
    least: usize,
    by_page: bool,
    items: bool,
) -> Scanned {
    let bytes = text.as_bytes();
    let mut pieces: Vec<TextPiece> = Vec::new();
    let mut cursor = Cursor { at: 0, line: 1 };
    let mut effort = Effort::default();
    let mut unsought = None;
    let mut failed_before = false;
    // Where the last table ends, the effort until there, and how many lines were weighed in vain behind it.
    let mut table_before = None;
    let mut in_front = None;
    // How the first table is written, as long as all are written so.
    let mut written: Option<Option<Dialect>> = None;
    let mut at_table = effort;
    let mut tried = 0;
    while cursor.at < bytes.len() {
        let (end, next) = line_end(bytes, cursor.at);
        let line = &text[cursor.at..end];
        let behind = Cursor {
            at: next,
            line: cursor.line + 1,
        };
        if line.trim_matches(is_blank).is_empty() {
            if !matches!(pieces.last(), Some(TextPiece::Blank)) {
                pieces.push(TextPiece::Blank);
            }
            cursor = behind;
            failed_before = false;
            continue;
        }
        // The header of a table before, again: it is no row, however many numbers it has.
        if is_header_again(text, line, &pieces) {
            pieces.push(TextPiece::Text(TextLine {
                span: Span::new(cursor.at, end),
                line: cursor.line,
            }));
            cursor = behind;
            failed_before = false;
            continue;
        }
        // A row behind a remark sign was put out of use; it begins no table.
        let remark = matches!(strip_remark(line).0, Some("#" | "##" | "//" | "!" | "%"))
            && !is_numbered_sample(text, cursor);
        let class = if remark || is_line_of_conditions(line) || is_caption(line) {
            LineGlance::Words
        } else if is_row_without_reading(text, cursor, &pieces) {
            LineGlance::Mixed
        } else {
            class_of(line)
        };
        let worth_it = !effort.is_spent(text.len()) || !failed_before && effort.read <= 8 * text.len();
        if class == LineGlance::Figures && !worth_it && cursor.at >= from {
            unsought.get_or_insert(cursor.line);
        }
        if !remark
            && cursor.at >= from
            && effort.read <= 8 * text.len()
            && let Some((keys, table, after)) =
                named_values_at(text, cursor, &mut pieces, assume, least, &mut effort)
        {
            pieces.extend(keys.into_iter().map(TextPiece::Text));
            pieces.push(TextPiece::Table(Box::new(table)));
            cursor = after;
            table_before = None;
            written = Some(None);
            failed_before = false;
            continue;
        }
        if class != LineGlance::Words && worth_it && cursor.at >= from.max(effort.sentences_to) {
            let before = effort;
            if let Some((table, after)) = table_at(text, cursor, class, &pieces, assume, least, &mut effort) {
                // What stands between the pages of a report is no log, however often it is weighed in vain.
                let spent = if tried <= MOST_TRIED { at_table } else { before };
                effort = Effort {
                    too_wide: effort.too_wide,
                    ..spent
                };
                (at_table, tried) = (effort, 0);
                take_heads(text, &mut pieces, &table);
                let mut table = Box::new(table);
                let dialect = &table.grid.dialect;
                let alike = written
                    .get_or_insert_with(|| Some(dialect.clone()))
                    .as_ref()
                    .is_some_and(|first| first == dialect);
                if !alike {
                    written = Some(None);
                }
                let page_break = table_before.filter(|_| alike && !by_page).and_then(|before| {
                    PageBreak::between(text, before, cursor.at, &pieces, &table, &mut in_front)
                });
                cursor = page_break.map_or(after, |found| found.read_on(text, after, &mut table));
                table_before = Some(cursor.at);
                pieces.push(TextPiece::Table(table));
                failed_before = false;
                continue;
            }
            if let Some((row, after)) = rows_behind(text, cursor, &pieces) {
                take_heads(text, &mut pieces, &row);
                pieces.push(TextPiece::Table(Box::new(row)));
                cursor = after;
                continue;
            }
            failed_before = true;
            tried += 1;
        }
        if items
            && !remark
            && cursor.at >= from
            && let Some((table, prefix, after)) = table_of_items(text, cursor, &pieces, assume)
        {
            pieces.extend(prefix.map(TextPiece::Text));
            pieces.push(TextPiece::Table(Box::new(table)));
            cursor = after;
            continue;
        }
        pieces.push(TextPiece::Text(TextLine {
            span: Span::new(cursor.at, end),
            line: cursor.line,
        }));
        cursor = behind;
    }
    Scanned {
        pieces,
        unsought,
        too_wide: effort.too_wide,
    }
}

/// The table of records, or of lines in which a name stands beside every value, at `cursor`: the keys of the whole, the table, and
/// where the text goes on. Its header is taken out of the pieces above.
fn named_values_at(
    text: &str,
    cursor: Cursor,
    above: &mut Vec<TextPiece>,
    assume: &Assumptions,
    least: usize,
    effort: &mut Effort,
) -> Option<(Vec<TextLine>, ScannedTable, Cursor)> {
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

/// The table of the items of the line at `cursor`, the words in front of them, and where the text goes on.
fn table_of_items(
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

/// Whether the line at `cursor` is the first row below a header, and lacks its readings: `Tea;n.d.` under `Sample;A420`.
fn is_row_without_reading(text: &str, cursor: Cursor, above: &[TextPiece]) -> bool {
    let (end, next) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let Some(TextPiece::Text(head)) = above.last() else {
        return false;
    };
    let head = &text[head.span.range()];
    let Some(mark) = parting_of(head, line) else {
        return false;
    };
    let of_light = |cell: &str| {
        let quantity = crate::column_header::read_column_header(cell.trim()).quantity;
        quantity.is_some_and(|quantity| quantity.is_of_light())
    };
    if !head.split(char::from(mark)).skip(1).any(of_light) {
        return false;
    }
    let mut cells = line
        .split(char::from(mark))
        .map(|cell| cell.trim_matches(is_blank));
    let named = cells
        .next()
        .is_some_and(|name| name.contains(char::is_alphanumeric));
    let (mut markers, mut others) = (0, 0);
    for cell in cells.filter(|cell| !cell.is_empty()) {
        if crate::words::marker(cell).is_some() {
            markers += 1;
        } else {
            others += 1;
        }
    }
    let below = &text[next.min(text.len())..line_end(text.as_bytes(), next.min(text.len())).0];
    named
        && markers > 0
        && others == 0
        && parting_of(head, below).is_some()
        && class_of(below) != LineGlance::Words
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
        let from = cell.as_ptr() as usize - text.as_ptr() as usize;
        Span::new(from, from + cell.len())
    };
    (cells.len() == 2 && pair.matches(mark).count() == 1 && cells.iter().all(|cell| names(cell))).then(|| {
        HeadRow {
            line: *line,
            class: RowClass::Header,
            cells: cells.iter().map(|cell| Some(span(cell))).collect(),
        }
    })
}

/// Whether a line begins with the number of a sample, `#1;0,3125`, as the next one does, below a header without that sign.
fn is_numbered_sample(text: &str, cursor: Cursor) -> bool {
    /// The header stands no farther above.
    const NEAR_SAMPLES: usize = 64;
    let numbered = |line: &str| {
        let number = line.strip_prefix('#').unwrap_or("");
        let digits = number.bytes().take_while(u8::is_ascii_digit).count();
        (1..=4).contains(&digits) && number[digits..].starts_with([';', '\t', ',', '|', ' '])
    };
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

/// [`scan`] of the part of a text in which a layout says that its tables stand; what is around it is words.
pub(super) fn scan_within(text: &str, source: &Source, least: usize, by_page: bool) -> Scanned {
    let (from, to) = (source.hints().from, source.hints().to.unwrap_or(text.len()));
    let mut scanned = scan(&text[..to], source.assume(), from, least, by_page);
    let bytes = text.as_bytes();
    let mut cursor = Cursor { at: 0, line: 1 };
    while cursor.at < bytes.len() && to < bytes.len() {
        let (end, next) = line_end(bytes, cursor.at);
        if cursor.at >= to {
            let blank = text[cursor.at..end].trim_matches(is_blank).is_empty();
            scanned.pieces.push(if blank {
                TextPiece::Blank
            } else {
                TextPiece::Text(TextLine {
                    span: Span::new(cursor.at, end),
                    line: cursor.line,
                })
            });
        }
        cursor = Cursor {
            at: next,
            line: cursor.line + 1,
        };
    }
    scanned
}

/// Whether a line is one of the header lines of the last table.
fn is_header_again(text: &str, line: &str, above: &[TextPiece]) -> bool {
    /// So many lines at most stand between a table and its header again; looking back farther would cost a log of many lines dear.
    const NEAR: usize = 24;
    let before = above.iter().rev().take(NEAR).find_map(|piece| match piece {
        TextPiece::Table(table) if !table.heads.is_empty() => Some(table),
        _ => None,
    });
    let line = line.trim_end();
    before.is_some_and(|table| {
        table
            .heads
            .iter()
            .any(|head| head.class != RowClass::Summary && text[head.line.span.range()].trim_end() == line)
    })
}

/// The most notes that stand between two rows of one list.
const MOST_NOTES: usize = 3;

/// The rows at `cursor` as a table of their own, where they are too few to be one by themselves and go on with the table before
/// them: a last row behind `;;;` in its very step, or the rest of a list of named rows behind a note.
fn rows_behind(text: &str, cursor: Cursor, above: &[TextPiece]) -> Option<(ScannedTable, Cursor)> {
    let none = BTreeSet::new();
    let empty = |piece: &&TextPiece| match piece {
        TextPiece::Blank => true,
        TextPiece::Text(line) => {
            let line = &text[line.span.range()];
            !line.contains(char::is_alphanumeric) || super::join::is_furniture(line, &none)
        }
        TextPiece::Table(_) => false,
    };
    let (before, between) = above
        .iter()
        .enumerate()
        .rev()
        .find_map(|(at, piece)| match piece {
            TextPiece::Table(table) => Some((table, &above[at + 1..])),
            _ => None,
        })?;
    if let Some(found) = samples_below(text, cursor, before, between) {
        return Some(found);
    }
    let (line_end, _) = line_end(text.as_bytes(), cursor.at);
    if foot::is_foot_of(&text[cursor.at..line_end], &last_rows(text, before)) {
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
    let told = |gap: &super::grid::Gap| {
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
        TextPiece::Text(line) => is_title_of_samples(&text[line.span.range()]),
        TextPiece::Table(_) => false,
    });
    if !over_standards || !of_light || !figures || !at_once || before.open.is_some() || before.grid.rows < 3 {
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
            break;
        }
        at = next;
    }
    let mut grid = Grid::new(dialect.clone(), kinds);
    let after = grid.read(text, cursor, end.min(uncut));
    let told = |gap: &super::grid::Gap| {
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

/// So many bytes behind the first row are searched for the header again before the rows are read.
const NEAR_HEADER: usize = 1 << 14;

/// The last rows of a table with names in front.
pub(super) fn last_rows<'t>(text: &'t str, table: &ScannedTable) -> Vec<&'t str> {
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

/// The heads above a table that begins at `cursor`. A damaged row may stand between them.
fn heads_over(text: &str, grid: &Grid, cursor: Cursor, above: &[TextPiece]) -> Vec<HeadRow> {
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let row = &text[cursor.at..end];
    let none = BTreeSet::new();
    let damaged = |piece: &&TextPiece| match piece {
        TextPiece::Text(line) => {
            let line = &text[line.span.range()];
            is_row_of(line, row, grid) || super::join::is_furniture(line, &none)
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
fn take_heads(text: &str, pieces: &mut Vec<TextPiece>, table: &ScannedTable) {
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

/// What a line may be, at a glance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum LineGlance {
    /// It begins with a figure.
    Figures,
    /// It begins with words and has figures.
    Mixed,
    /// It is no row of a table.
    Words,
}

fn class_of(line: &str) -> LineGlance {
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

/// Whether a line only underlines or separates.
pub(super) fn is_ruler(line: &str) -> bool {
    let line = line.trim_matches(is_blank);
    // Typesetters rule a table with a lone `_` or `=`; consoles wait behind `>` or `>>>`.
    matches!(line, "_" | "=" | ">" | ">>>")
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

/// Whether a line and the one above it are keys with a colon, `Sample 2: Malt` below `Sample 1: Tea`.
fn is_key_below_key(above: Option<&str>, line: &str) -> bool {
    let is_key = |line: &str| matches!(crate::preamble::pairs(line).first(), Some(pair) if pair.mark == ':');
    above.is_some_and(is_key) && is_key(line)
}

/// Whether a line of a word and a number stands directly over the headers of a wider table: `Ramp;0.5 °C/min` is a key there.
fn stands_over_headers(text: &str, cursor: Cursor) -> bool {
    let (end, next) = line_end(text.as_bytes(), cursor.at);
    let (below, _) = line_end(text.as_bytes(), next.min(text.len()));
    let (line, below) = (&text[cursor.at..end], &text[next.min(text.len())..below]);
    class_of(below) == LineGlance::Words
        && ['\t', ';', ',']
            .into_iter()
            .any(|mark| filled(line, mark) >= 2 && filled(below, mark) > filled(line, mark))
}

/// Whether a line is a known key with its value, or one of several, and the first line below them that is none is the header
/// of a wider table: `Path length,1 mm` over `Tank,420 nm,520 nm` is no row, though it has a word and a number as the rows do.
fn is_key_over_headers(text: &str, cursor: Cursor) -> bool {
    const FURTHEST: usize = 24;
    let mut lines = text[cursor.at..]
        .lines()
        .filter(|line| !line.trim_matches(is_blank).is_empty())
        .take(FURTHEST);
    let Some(line) = lines.next() else { return false };
    let Some(delimiter) = ['\t', ';', ','].into_iter().find(|mark| filled(line, *mark) == 2) else {
        return false;
    };
    let is_key = |line: &str| {
        let mut cells = line
            .split(delimiter)
            .map(|cell| cell.trim_matches(is_blank))
            .filter(|cell| !cell.is_empty());
        let key = cells
            .next()
            .unwrap_or_default()
            .trim_end_matches([':', '='])
            .trim_end();
        // `b` and `c` name samples.
        filled(line, delimiter) == 2 && key.chars().count() >= 3 && crate::preamble::is_known(key)
    };
    if !is_key(line) {
        return false;
    }
    let Some(header) = lines.find(|line| !is_key(line)) else {
        return false;
    };
    let Some(row) = lines.next() else { return false };
    // Words over numbers, or numbers with a unit over numbers without one.
    let lettered = |cell: &str| cell.contains(char::is_alphabetic);
    filled(header, delimiter) >= 3
        && header
            .split(delimiter)
            .zip(row.split(delimiter))
            .skip(1)
            .any(|(name, below)| lettered(name) && !lettered(below) && leading_number(below).is_some())
}

/// How many cells of a line hold something, where `delimiter` parts them.
fn filled(line: &str, delimiter: char) -> usize {
    line.split(delimiter)
        .filter(|cell| !cell.trim_matches(is_blank).is_empty())
        .count()
}

/// The table that begins at `cursor`, if one does, and where the text goes on behind it.
#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
fn table_at(
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
            || is_row_of_conditions(&sample, &dialect)
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
            effort.sentences_to = (line.as_ptr() as usize).saturating_sub(text.as_ptr() as usize);
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
    if let Some(foot) = foot_of(text, cursor.at..after.at, open_are_keys).filter(|foot| *foot > cursor.at) {
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
    let enough = if words_first {
        let list = || {
            (parted || columns == 2)
                && grid.rows >= 3
                && !prose
                && are_like_readings(&grid)
                && lines_of_light_above(text, above, &text[after.at..], grid.rows >= 3)
        };
        worded || numbered_heads || (figures >= 2 && grid.rows >= 3 && !prose) || list() || row_tells()
    } else {
        grid.rows >= 2 || worded || numbered_heads
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

/// Where the lines begin that end a part of a text, which was read as rows, and are keys with their values.
fn foot_of(text: &str, rows: Range<usize>, open_are_keys: bool) -> Option<usize> {
    let part = &text[rows.clone()];
    let mut last: Vec<&str> = part
        .lines()
        .rev()
        .filter(|line| !line.trim_matches(is_blank).is_empty())
        .take(2 * foot::LONGEST)
        .collect();
    last.reverse();
    let body = foot::without_foot(&last, open_are_keys);
    let first = last.get(body)?;
    Some(first.as_ptr() as usize - text.as_ptr() as usize)
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

/// Where the last whole cell of a text ends: before one that the end of the file cuts behind a decimal sign, `472 0.`.
/// Where blanks part the cells, the whole line is left out, since its cells may stand under any column.
fn uncut(text: &str, dialect: &Dialect) -> usize {
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

/// The dialect of lines of one number each.
fn decide_single(rows: &[&str]) -> Decision {
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
fn groups_of_three(rows: &[&str], dialect: &Dialect) -> Option<usize> {
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

pub(super) fn is_ruler_piece(text: &str, piece: &TextPiece) -> bool {
    match piece {
        TextPiece::Blank => true,
        TextPiece::Text(line) => is_ruler(&text[line.span.range()]),
        TextPiece::Table(_) => false,
    }
}

/// The lines from `cursor` on that may be rows of one table: of one class, with at most single blank lines between.
fn sample<'t>(text: &'t str, cursor: Cursor, class: LineGlance, head: Option<&str>) -> Vec<&'t str> {
    let bytes = text.as_bytes();
    let parting = head.and_then(|head| parting_of(head, &text[cursor.at..line_end(bytes, cursor.at).0]));
    let mut rows: Vec<&str> = Vec::with_capacity(SAMPLE);
    let mut marks: Vec<[bool; 3]> = Vec::with_capacity(SAMPLE);
    let mut at = cursor.at;
    let mut blanks = 0;
    let mut notes = 0;
    while at < bytes.len() && rows.len() < SAMPLE {
        let (end, next) = line_end(bytes, at);
        let line = &text[at..end];
        at = next;
        if line.trim_matches(is_blank).is_empty() {
            blanks += 1;
            if blanks > 1 {
                break;
            }
            continue;
        }
        // A sentence below a blank line is no row: `Results on sheet 2. Outlet in duplicate.`
        if blanks > 0 && rows.len() >= 2 && is_sentence(line) {
            break;
        }
        if blanks > 0
            && !rows.is_empty()
            && (rows.len() >= 2 && lacks_the_separator(&rows, line) || is_another_header(line))
        {
            break;
        }
        // Below rows that are parted as their header is, what lacks the sign is no row of theirs: `3 readings`.
        if let Some(mark) = parting
            && !rows.is_empty()
            && !line.as_bytes().contains(&mark)
            && goes_on_without(text, at, mark)
            && begins_otherwise(line, rows[0])
        {
            break;
        }
        // A note without the sign that parts the cells, `lamp flickered here`, stands between two rows.
        if let [first, ..] = marks[..]
            && first != [false; 3]
            && notes < MOST_NOTES
            && blanks == 0
            && hard_marks(line) == [false; 3]
            && (!line.contains(|c: char| c.is_ascii_digit() || matches!(c, ':' | '='))
                || super::join::is_furniture(line, &BTreeSet::new()))
        {
            let (end, _) = line_end(bytes, next);
            let behind = &text[next.min(end)..end];
            if !behind.trim().is_empty()
                && hard_marks(behind) == first
                && class_of(behind) != LineGlance::Words
            {
                notes += 1;
                continue;
            }
        }
        blanks = 0;
        let this = class_of(line);
        let fits = match class {
            LineGlance::Figures => this == LineGlance::Figures,
            _ => this != LineGlance::Words,
        };
        if !fits && !rows.is_empty() {
            // A row of nothing but markers, or one that begins with one, is still a row.
            let first = line.trim_matches(is_blank);
            if !(rows.len() >= 2
                && first.starts_with(['*', '-', '#', '>', '?'])
                && !first.contains(char::is_alphabetic))
            {
                break;
            }
        }
        // Where the hard separators change, another table or another hand begins. One of the first three rows that
        // differs from the other two is damaged.
        let own = hard_marks(line);
        let model = match marks[..] {
            [_, second] if !change(second, own) => Some(second),
            [first, second, third, ..] if change(first, second) => {
                if change(first, third) {
                    Some(second)
                } else {
                    Some(first)
                }
            }
            _ => marks.first().copied(),
        };
        if model.is_some_and(|model| change(model, own)) && rows.len() >= 2 {
            break;
        }
        rows.push(line);
        marks.push(own);
    }
    rows
}

/// The sign that stands as often in a row as in the header above it, and so parts both beyond doubt.
fn parting_of(head: &str, row: &str) -> Option<u8> {
    let count = |line: &str, mark: u8| memchr::memchr_iter(mark, line.as_bytes()).count();
    [b'\t', b';', b'|']
        .into_iter()
        .find(|&mark| count(head, mark) >= 1 && count(head, mark) == count(row, mark))
}

/// Whether a line of words does not begin as a row does, and so is none that was cut off: `3 readings` below `Tea<tab>0.101`.
fn begins_otherwise(line: &str, row: &str) -> bool {
    let worded = |line: &str| line.trim_start().starts_with(char::is_alphabetic);
    line.contains(char::is_alphabetic) && (worded(line) != worded(row) || !worded(row))
}

/// Whether no line from `at` on up to the next blank line has a sign.
fn goes_on_without(text: &str, at: usize, mark: u8) -> bool {
    text[at.min(text.len())..]
        .lines()
        .take_while(|line| !line.trim_matches(is_blank).is_empty())
        .take(SAMPLE)
        .all(|line| !line.as_bytes().contains(&mark))
}

/// Whether a line below a blank one is the header of another table: cells of words, of which one says what was measured, and none
/// is a number.
fn is_another_header(line: &str) -> bool {
    let Some(mark) = ['\t', ';', '|', ',']
        .into_iter()
        .find(|mark| line.contains(*mark))
    else {
        return false;
    };
    let mut cells = line
        .split(mark)
        .map(|cell| cell.trim_matches(|c| is_blank(c) || c == '"'))
        .filter(|cell| !cell.is_empty());
    let worded = |cell: &str| cell.starts_with(|c: char| c.is_alphabetic() || matches!(c, '[' | '(' | '%'));
    let of_light = |cell: &str| {
        let head = crate::column_header::read_column_header(cell);
        head.quantity.is_some_and(|quantity| quantity.is_of_light())
    };
    let mut light = false;
    let mut count = 0;
    let all = cells.all(|cell| {
        count += 1;
        light |= count > 1 && of_light(cell);
        worded(cell)
    });
    all && light && count >= 2
}

/// Whether a line has none of a separator that stands in all rows above it: `Slope 0.0123` below a table with
/// tabs.
fn lacks_the_separator(rows: &[&str], line: &str) -> bool {
    let has = |line: &str, mark: u8| line.as_bytes().contains(&mark);
    let all_have = |mark: u8| rows.iter().all(|row| has(row, mark));
    // A comma in every number parts nothing.
    let decimal = || super::dialect::commas_stand_in_numbers(rows);
    let parting = [b'\t', b';', b'|', b',']
        .into_iter()
        .find(|mark| all_have(*mark) && !(*mark == b',' && decimal()));
    // Two blanks or more part cells that hold single ones.
    let wide = |line: &str| line.trim_matches(is_blank).contains("  ");
    let lacks = parting.map_or_else(
        || rows.iter().all(|row| wide(row)) && !wide(line),
        |mark| !has(line, mark),
    );
    // `4414 was spilt` below tabs is no row either.
    let hard = matches!(parting, Some(b'\t' | b';' | b'|'));
    let worded = |c: char| c.is_alphabetic() || c == '(';
    (hard || line.trim_matches(is_blank).starts_with(worded)) && lacks
}

/// Whether a line is a sentence: it begins with a word, ends in a full stop, and has more words than numbers.
fn is_sentence(line: &str) -> bool {
    const FEWEST_WORDS: usize = 4;
    let line = line.trim_matches(is_blank);
    if !line.ends_with('.')
        || !line.starts_with(char::is_alphabetic)
        || line.contains(['\t', ';', '|'])
        || line.contains("  ")
    {
        return false;
    }
    let (words, numbers): (Vec<&str>, Vec<&str>) = line
        .split_whitespace()
        .partition(|word| word.starts_with(char::is_alphabetic));
    words.len() >= FEWEST_WORDS && words.len() > 2 * numbers.len()
}

/// Whether each of two lines has a separator that the other has not. A mark too many or too few is a damaged row.
fn change(one: [bool; 3], other: [bool; 3]) -> bool {
    let has_more =
        |one: [bool; 3], other: [bool; 3]| one.iter().zip(other).any(|(&mine, theirs)| mine && !theirs);
    has_more(one, other) && has_more(other, one)
}

/// Which of the separators that stand in no number a line has.
fn hard_marks(line: &str) -> [bool; 3] {
    [b'\t', b';', b'|'].map(|mark| line.as_bytes().contains(&mark))
}

/// The code of an open question about signs, with its readings.
type OpenSigns = Option<(Code, Vec<Dialect>)>;

/// Under a head of time the points of `8.40`, `9.00` say nothing of the decimal sign where all other cells have commas.
fn without_dotted_times(decision: Decision, rows: &[&str], heads: Option<&str>) -> Decision {
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
fn settle(decision: Decision, assume: &Assumptions) -> Option<(Dialect, OpenSigns)> {
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
fn later_evidence(text: &str, from: Cursor, end: usize, readings: &[Dialect]) -> Option<Dialect> {
    use super::number::{SignEvidence, evidence};
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

/// The count of cells that most rows have; for hard separators the largest of them, since rows may end early.
fn usual_count(rows: &[Vec<Range<usize>>], dialect: &Dialect, head: Option<&str>) -> Option<usize> {
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
    let mut best = (0, 0);
    for &count in &counts {
        let times = counts.iter().filter(|&&c| c == count).count();
        if (times, count) > best {
            best = (times, count);
        }
    }
    Some(best.1)
}

/// How many columns the head names where blanks separate and the last of them holds a word in some rows only: `x` under
/// `pooled`.
fn columns_with_marks(
    rows: &[&str],
    cells: &[Vec<Range<usize>>],
    dialect: &Dialect,
    head: Option<&str>,
) -> Option<usize> {
    let head = head.filter(|_| dialect.sep == Delimiter::Blank)?;
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
fn split_all(rows: &[&str], dialect: &Dialect) -> Vec<Vec<Range<usize>>> {
    rows.iter().map(|row| split(row, dialect)).collect()
}

fn kinds_of(
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
            // One damaged sign makes no column of words; where there is but one row, its other cells tell.
            let alone = f == 0 && rows.len() == 1 && figures.iter().any(|&count| count > 0);
            let w = if w == 0 && (d <= f || alone) { 0 } else { w + d };
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
fn take_names(
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
        light && super::segments::is_axis(&head)
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

/// Whether the first of these rows is the `min`, `max` or `n` of others that begin with numbers.
fn sums_up_below(rows: &[&str], dialect: &Dialect) -> bool {
    let first = |row: &str| {
        let cells = split(row, dialect);
        cells
            .first()
            .map_or(String::new(), |range| row[range.clone()].to_owned())
    };
    let [head, rest @ ..] = rows else { return false };
    let word = first(head);
    if !is_summary_word(&word) && !super::segments::is_summary_word(word.trim()) {
        return false;
    }
    let numbered = rest
        .iter()
        .filter(|row| leading_number(&first(row)).is_some())
        .count();
    numbered >= 3 && numbered * 2 > rest.len()
}

/// So many rows of conditions and headers stand over one table.
const MOST_CONDITIONS: usize = 4;

/// Whether the first of these rows holds a condition for each curve and is none of them: `T (°C),25,30,35` over rows that
/// begin with numbers.
fn is_row_of_conditions(rows: &[&str], dialect: &Dialect) -> bool {
    let [first, rest @ ..] = rows else { return false };
    let cells = split(first, dialect);
    let Some((key, values)) = cells.split_first() else {
        return false;
    };
    let key = &first[key.clone()];
    let head = crate::column_header::read_column_header(key);
    let known = head.quantity.is_some() || head.unit.is_some() || crate::words::field_of(key).is_some();
    let is_number = |cell: &Range<usize>| cell.is_empty() || leading_number(&first[cell.clone()]).is_some();
    let begins_with_number = |row: &&&str| {
        split(row, dialect)
            .first()
            .is_some_and(|range| leading_number(&row[range.clone()]).is_some())
    };
    if !known || leading_number(key).is_some() || values.len() < 2 || !values.iter().all(is_number) {
        return false;
    }
    // Other rows of conditions and the header may stand below it.
    let above = rest.iter().take_while(|row| !begins_with_number(row)).count();
    let rest = rest.get(above.min(MOST_CONDITIONS)..).unwrap_or(&[]);
    rest.len() >= 2 && rest.iter().filter(begins_with_number).count() * 10 >= rest.len() * 9
}

/// Whether the first of these rows holds numbers of what the line above it names with its unit, and nothing is measured in it:
/// `Strain;0;4;8` under `;Time (h);;`, `No.;Sample;0;5` under `;;Time (min);`.
fn is_row_under_parameter(rows: &[&str], head: Option<&str>, dialect: &Dialect) -> bool {
    let (Some(first), Some(head)) = (rows.first(), head) else {
        return false;
    };
    let apart = matches!(dialect.sep, Delimiter::Blank | Delimiter::Wide);
    let over: Vec<&str> = raw_split(
        head.trim_end_matches(['\r', '\n']),
        if apart { Delimiter::Wide } else { dialect.sep },
    )
    .into_iter()
    .map(|cell| head[cell].trim())
    .collect();
    let filled: Vec<usize> = (0..over.len()).filter(|&at| !over[at].is_empty()).collect();
    // Between blanks, and where it stands alone, it may stand over the middle of its numbers.
    let reaches: Vec<Range<usize>> = match filled.as_slice() {
        [alone] => parameter(over[*alone])
            .map(|_| 1..usize::MAX)
            .into_iter()
            .collect(),
        _ if apart => Vec::new(),
        several => several
            .iter()
            .filter(|&&from| from > 0 && parameter(over[from]).is_some())
            .map(|&from| {
                from..several
                    .iter()
                    .copied()
                    .find(|at| *at > from)
                    .unwrap_or(usize::MAX)
            })
            .collect(),
    };
    let mut numbers: Vec<Vec<f64>> = vec![Vec::new(); reaches.len()];
    for (at, range) in split(first, dialect).into_iter().enumerate() {
        let reach = reaches.iter().position(|reach| reach.contains(&at));
        match (cell(&first[range.clone()], dialect.style), reach) {
            (Cell::Number { value, .. }, Some(reach)) => numbers[reach].push(value),
            // What stands in front of them, or beside them, is no number.
            _ if leading_number(&first[range]).is_some() => return false,
            _ => {}
        }
    }
    let runs = |numbers: &Vec<f64>| {
        let pairs = || numbers.windows(2);
        numbers.len() >= 2 && (pairs().all(|pair| pair[0] < pair[1]) || pairs().all(|pair| pair[0] > pair[1]))
    };
    !numbers.is_empty() && numbers.iter().all(runs)
}

/// Whether the first of these rows tells the columns of the others apart: nothing over the first column, a number with
/// its unit over each of the rest (`;0 µM;5 µM;10 µM`), and no unit in the rows below.
fn is_row_of_levels(rows: &[&str], dialect: &Dialect) -> bool {
    let [first, rest @ ..] = rows else { return false };
    let united = |row: &str, range: &Range<usize>| {
        matches!(cell(&row[range.clone()], dialect.style), Cell::WithUnit { .. })
    };
    let cells = split(first, dialect);
    let Some((corner, levels)) = cells.split_first() else {
        return false;
    };
    first[corner.clone()].trim_matches(is_blank).is_empty()
        && levels.len() >= 2
        && levels.iter().all(|range| united(first, range))
        && rest.len() >= 2
        && rest
            .iter()
            .all(|row| !split(row, dialect).iter().any(|range| united(row, range)))
}

/// Whether a line of nothing but `1 2 3` stands over rows that blanks part, of the letters `A`, `B` and as many numbers.
fn stands_over_a_plate(text: &str, cursor: Cursor) -> bool {
    const FEWEST: usize = 2;
    let mut lines = text[cursor.at..].lines();
    let Some(header) = lines.next() else { return false };
    let mut count = 0;
    let counts = header.split_whitespace().all(|cell| {
        count += 1;
        cell.parse() == Ok(count)
    });
    if !counts || count < FEWEST || !header.starts_with([' ', '\t']) {
        return false;
    }
    let rows = lines.zip('A'..).take_while(|(line, letter)| {
        let mut cells = line.split_whitespace();
        let named = cells
            .next()
            .is_some_and(|cell| cell.chars().eq(std::iter::once(*letter)));
        named && cells.count() == count
    });
    rows.count() >= FEWEST
}

/// Whether the first of these rows is a header of numbers with an empty corner, ` ;1;2;3` over `A;0.183;0.060`: nothing over
/// the first column, numbers that rise over all others, and the rows below are full.
fn is_row_over_others(rows: &[&str], dialect: &Dialect) -> bool {
    const FEWEST: usize = 3;
    if dialect.sep.byte().is_none() {
        return false;
    }
    let [first, rest @ ..] = rows else { return false };
    let cells = raw_split(first, dialect.sep);
    let empty = |row: &str, range: &Range<usize>| row[range.clone()].trim_matches(is_blank).is_empty();
    let Some((corner, others)) = cells.split_first() else {
        return false;
    };
    if !empty(first, corner) || others.len() < FEWEST {
        return false;
    }
    // A line without the sign between the cells ends the rows: `Lamp hours: 812`.
    let parted = |row: &&&str| raw_split(row, dialect.sep).len() > 1;
    let rest = &rest[..rest.iter().take_while(parted).count()];
    let numbers: Vec<f64> = others
        .iter()
        .map_while(|range| match cell(&first[range.clone()], dialect.style) {
            Cell::Number { value, .. } => Some(value),
            _ => None,
        })
        .collect();
    // Behind them may stand `Row mean`, or nothing where each line ends with the sign.
    let worded = others[numbers.len()..].iter().all(|range| {
        matches!(
            cell(&first[range.clone()], dialect.style),
            Cell::Words | Cell::Empty
        )
    });
    let rises = numbers.windows(2).all(|pair| pair[0] < pair[1]);
    // A note among the rows is none of them, and the same header again begins others.
    let full: Vec<&&str> = rest[..foot::without_foot(rest, false)]
        .iter()
        .take_while(|row| row.trim_end() != first.trim_end())
        .filter(|row| raw_split(row, dialect.sep).len() == cells.len())
        .collect();
    let first_cell = |row: &str| {
        raw_split(row, dialect.sep)
            .first()
            .map_or("", |range| row[range.clone()].trim())
            .to_owned()
    };
    // `A`, `B`, `C` name the rows of a plate.
    let lettered = full
        .iter()
        .zip('A'..)
        .all(|(row, letter)| first_cell(row) == letter.to_string());
    let enough = full.len() >= if lettered { 1 } else { 2 };
    worded
        && numbers.len() >= FEWEST
        && rises
        && enough
        && full.iter().all(|row| {
            let below = raw_split(row, dialect.sep);
            below.iter().take(2).all(|range| !empty(row, range))
        })
}

/// Whether the first of these rows, words with numbers behind them, is the head of the others: `Wavelength (nm);420;435`.
fn is_head_of_numbers(rows: &[&str], dialect: &Dialect) -> bool {
    let [first, rest @ ..] = rows else { return false };
    // `wavelength/nm  500  505`, and two rows below it `wavelength/nm  520  525`: strips of a curve.
    let name = |row: &str| {
        split(row, dialect)
            .first()
            .map_or("", |range| row[range.clone()].trim())
            .to_owned()
    };
    let own = name(first);
    if rest.len() >= 3 && rest.iter().any(|row| name(row) == own) && rest.iter().all(|row| row != first) {
        return false;
    }
    // In the style of the table: `1,365` is no thousand where the comma is the decimal sign.
    let numbers = |row: &str| -> Vec<f64> {
        split(row, dialect)
            .into_iter()
            .skip(1)
            .filter_map(|range| match cell(&row[range], dialect.style) {
                Cell::Number { value, .. } | Cell::WithUnit { value, .. } => Some(value),
                _ => None,
            })
            .collect()
    };
    let across = numbers(first);
    // `substrate;0 s;30 s;60 s`: a unit behind every number of the first row, and behind none below.
    let with_unit = |row: &str| {
        let cells = split(row, dialect).into_iter().skip(1);
        cells
            .filter(|range| matches!(cell(&row[range.clone()], dialect.style), Cell::WithUnit { .. }))
            .count()
    };
    let rises = across.windows(2).all(|pair| pair[0] < pair[1]);
    // Wavelengths may stand in any order: `664 nm;647 nm;630 nm;750 nm`.
    let wavelengths = || {
        let cells = split(first, dialect).into_iter().skip(1);
        cells
            .map(|range| first[range].trim())
            .filter(|cell| cell.starts_with(|c: char| c.is_ascii_digit()))
            .all(|cell| cell.ends_with("nm"))
    };
    if across.len() >= 2
        && (rises || wavelengths())
        && with_unit(first) == across.len()
        && rest.len() >= 2
        && rest.iter().all(|row| with_unit(row) == 0)
    {
        return true;
    }
    let Some(corner) = split(first, dialect).first().map(|range| &first[range.clone()]) else {
        return false;
    };
    if across.len() < 2 {
        return false;
    }
    let orderly = across.windows(2).all(|w| w[0] < w[1]) || across.windows(2).all(|w| w[0] > w[1]);
    let names = |text: &str| {
        let head = crate::column_header::read_column_header(text);
        // `S0` is a sample as often as a concentration; with its unit it is none.
        let concentration =
            head.quantity == Some(curvary_record::Quantity::CONCENTRATION) && head.unit.is_some();
        let mut quantities = head.quantity.iter().chain(&head.quantities_possible);
        concentration || quantities.any(|q| matches!(q.as_str(), "wavelength" | "wavenumber" | "time"))
    };
    // `nm\s` over a matrix names what runs down and what runs across.
    let both = corner
        .split_once(['\\', '/', '|'])
        .is_some_and(|(down, over)| names(down) && names(over));
    let corner_tells = (names(corner) || both)
        && rest.iter().all(|row| {
            split(row, dialect)
                .first()
                .is_none_or(|range| !names(&row[range.clone()]))
        });
    let light = across
        .iter()
        .all(|&value| crate::light::AMONG_OTHERS.contains(&value))
        && rest
            .iter()
            .all(|row| numbers(row).iter().all(|value| value.abs() < 100.0));
    // `Clock;;1;2;3;4` over the rows of a plate: a count over readings.
    let counts = across
        .iter()
        .enumerate()
        .all(|(at, &value)| value == (at + 1) as f64);
    let readings = || {
        rest.iter()
            .all(|row| numbers(row).iter().any(|value| value.fract() != 0.0))
    };
    corner_tells || (orderly && light && !rest.is_empty()) || counts && rest.len() >= 2 && readings()
}

/// Whether the lowest of the heads over two columns is a key and its value and so are the rows: `Slit;2 nm` over
/// `Averaging;0.1 s`, `Wavelength (nm);278` over `Cell (cm);1`. The unit of a head is that of the numbers below it.
fn heads_are_a_key(text: &str, heads: &[HeadRow], grid: &Grid) -> bool {
    let Some([Some(key), Some(value), beside @ ..]) = heads.last().map(|head| head.cells.as_slice()) else {
        return false;
    };
    // Below stands a wider table; the cells beside keys are empty.
    let empty = |column: usize| match grid.kinds[column] {
        ColumnKind::Figures => grid.column(column).all(f64::is_nan),
        ColumnKind::Words => grid.words(column).iter().all(|span| span.start == span.end),
    };
    if !beside.iter().all(Option::is_none) || !(2..grid.columns()).all(empty) {
        return false;
    }
    let value = &text[value.range()];
    let is_key = |span: &Span| {
        let key = text[span.range()].trim();
        let name = crate::column_header::split_unit(key).map_or(key, |(name, _)| name);
        crate::words::field_of(key).is_some() || crate::preamble::is_known(name)
    };
    if is_key(key)
        && matches!(cell(value, grid.dialect.style), Cell::Number { .. })
        && grid.words(0).iter().all(is_key)
    {
        return true;
    }
    match (cell(value, grid.dialect.style), grid.units.get(1)) {
        (Cell::WithUnit { unit, .. }, Some(Some(below))) => value[unit..].trim() != below.trim(),
        _ => false,
    }
}

/// Whether the first words of all rows are keys of known fields: `Temperature  37` is no row of a table.
fn all_keys(text: &str, grid: &Grid) -> bool {
    let words = grid.words(0);
    let keys = words.iter().filter(|span| {
        let word = text[span.range()].trim_end_matches([':', '=']).trim();
        let bare = crate::column_header::split_unit(word).map_or(word, |(name, _)| name);
        // `b` and `c` name samples.
        word.chars().count() >= 3 && crate::preamble::is_known(word) || crate::words::field_of(bare).is_some()
    });
    keys.count() * 2 >= words.len()
}

/// Whether a line is nothing but known keys with their values: its first cell is empty or a key.
fn is_line_of_keys(line: &str) -> bool {
    let pairs = crate::preamble::pairs(line.trim_matches(|c| is_blank(c) || c == ';'));
    !pairs.is_empty()
        && pairs.iter().all(|pair| {
            let line = line.trim_matches(|c| is_blank(c) || c == ';');
            crate::preamble::is_known(&line[pair.key.clone()]) && !pair.value.is_empty()
        })
}

/// Whether a line states conditions and nothing else: `37 °C; pH 9.8`.
fn is_line_of_conditions(line: &str) -> bool {
    const LONGEST: usize = 80;
    let may_be = line.len() <= LONGEST && (line.contains("pH") || line.contains(['°', 'º']));
    let statements = || {
        crate::preamble::statements(line)
            .into_iter()
            .map(|statement| line[statement].trim())
            .filter(|statement| !statement.is_empty())
    };
    may_be && statements().count() >= 2 && statements().all(crate::preamble::is_condition)
}

/// Whether a line says what was measured and at which wavelength, and nothing else: `OD 600 nm`, `Absorbance at 405 nm`. It is no row
/// of a name and a number.
fn is_caption(line: &str) -> bool {
    const LONGEST: usize = 48;
    let line = line.trim_matches(is_blank);
    if line.len() > LONGEST
        || !line.ends_with("nm")
        || line.contains(['\t', ';', '|', ','])
        || line.contains("  ")
    {
        return false;
    }
    let head = crate::column_header::read_column_header(line);
    let at = |held: &curvary_record::Coordinate| held.quantity == curvary_record::Quantity::WAVELENGTH;
    head.quantity.is_some_and(|quantity| quantity.is_of_light())
        && head.label.is_none()
        && head.held.len() == 1
        && head.held.iter().all(at)
}

/// Whether a line is a key that is known with a number behind it: `Slit;2 nm`. What follows are more of them.
fn is_key_with_number(line: &str) -> bool {
    let pairs = crate::preamble::pairs(line);
    let [pair] = pairs.as_slice() else { return false };
    crate::preamble::is_known(&line[pair.key.clone()])
        && line[pair.value.clone()].starts_with(|c: char| c.is_ascii_digit())
}

/// Whether a word of a line, or two of them, name a quantity: it may be a row of heads.
fn names_quantity(line: &str) -> bool {
    let words = glue_units(line, raw_split(line, Delimiter::Blank));
    words.into_iter().any(|range| {
        crate::column_header::read_column_header(&line[range])
            .quantity
            .is_some()
    })
}

fn is_prose(rows: &[&str]) -> bool {
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
pub(super) fn strip_remark(line: &str) -> (Option<&str>, &str) {
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
pub(super) fn leading_number(text: &str) -> Option<f64> {
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
