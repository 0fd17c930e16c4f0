//! The lines of a text as pieces: words, blank lines, and tables with their heads.

mod column_kinds;
mod header_rows;
mod key_lines;
mod lines;
mod named_values;
mod rows_behind;
mod sample;
mod sample_cells;
mod signs;
mod table;
mod table_body;
mod table_start;

use curvary_record::{Code, Span};

use self::header_rows::{is_header_again, is_row_without_reading};
use self::key_lines::{is_caption, is_line_of_conditions};
use self::lines::{LineGlance, class_of, is_numbered_sample};
pub(super) use self::lines::{is_prompt, is_ruler, is_ruler_piece, leading_number, strip_remark};
use self::named_values::{named_values_at, table_of_items};
pub(super) use self::rows_behind::last_rows;
use self::rows_behind::rows_behind;
use self::table::{table_at, take_heads};
use super::dialect::{Dialect, is_blank};
use super::grid::{Cursor, Grid, line_end};
use super::items;
use super::lists::Lists;
use super::pages::PageBreak;
use super::segments::RowClass;
use crate::{Assumptions, Source};

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
    let lists = Lists::of(text);
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
        let words = TextPiece::Text(TextLine {
            span: Span::new(cursor.at, end),
            line: cursor.line,
        });
        let block = lists.as_ref().and_then(|lists| lists.at(cursor.at));
        // The header of a table before, again: it is no row, however many numbers it has.
        if block.is_none() && is_header_again(text, line, &pieces) {
            pieces.push(words);
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
                named_values_at(text, cursor, &mut pieces, block, assume, least, &mut effort)
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
        pieces.push(words);
        cursor = behind;
    }
    Scanned {
        pieces,
        unsought,
        too_wide: effort.too_wide,
    }
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
