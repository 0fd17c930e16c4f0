//! Records over several lines, one below the other: `sample: K-01`, `wavelength: 450 nm`, `absorbance: 0.325`, and the same
//! keys again for the next sample.
//!
//! Three things tell records from keys and values: the keys of the first come again in the same order, one of them names what
//! a photometer measures, and it has a number each time. Each record is a row, and its keys are the headers. A known key
//! whose value is the same in all records, `wavelength: 450 nm`, is no column but a key of the whole table.

use std::collections::BTreeSet;
use std::ops::Range;

use curvary_record::{Quantity, Span};

use super::dialect::is_blank;
use super::grid::{ColumnKind, Cursor, line_end};
use super::number::{Cell, Style, cell, marked_number};
use super::scan::{HeadRow, ScannedTable, TextLine, is_ruler};
use super::segments::RowClass;
use crate::column_header::read_column_header;
use crate::slice::range_in;
use crate::words::{fold, means_sample};

/// Of so many keys at most is a record: some twice of what programs write.
const MOST_KEYS: usize = 24;
/// A longer key, in characters, is a sentence: keys of records are a word or three, with a unit behind them.
const LONGEST_KEY: usize = 40;

/// A key and its value, as bytes of the text.
#[derive(Clone, Debug)]
struct Entry {
    line: TextLine,
    key: Range<usize>,
    value: Range<usize>,
}

/// One record, and where the text goes on behind it.
struct KeyedRecord {
    start: Cursor,
    /// The line of its own above its entries, `Probe 3`, where it has one.
    title: Option<TextLine>,
    entries: Vec<Entry>,
    after: Cursor,
}

impl KeyedRecord {
    /// Whether another has the same keys in the same order, and a title where this one has.
    fn is_like(&self, text: &str, other: &Self) -> bool {
        let keys = |record: &Self| {
            record
                .entries
                .iter()
                .map(|entry| fold(&text[entry.key.clone()]))
                .collect::<Vec<_>>()
        };
        self.title.is_some() == other.title.is_some() && keys(self) == keys(other)
    }

    /// The bytes of its title without signs around it.
    fn name(&self, text: &str) -> Option<Range<usize>> {
        let title = self.title?.span.range();
        let name = text[title].trim_matches(|c: char| !c.is_alphanumeric() && !matches!(c, '+' | ')'));
        Some(range_in(text, name))
    }
}

/// Records that were found.
pub(super) struct FoundRecords {
    pub(super) table: ScannedTable,
    /// The lines of the keys that hold for all records.
    pub(super) keys: Vec<TextLine>,
    pub(super) after: Cursor,
}

/// The records that begin at `cursor`, and the byte in front of which no line begins any: many records that are none as a whole are
/// not looked at from each of them on. `read` reads rows whose cells tabs part and whose columns are of certain kinds.
pub(super) fn records_at(
    text: &str,
    cursor: Cursor,
    read: impl Fn(&str, u32, Vec<ColumnKind>) -> Option<ScannedTable>,
) -> (Option<FoundRecords>, usize) {
    let Some((records, whole)) = gathered(text, cursor) else {
        return (None, cursor.at);
    };
    let behind = records.last().map_or(cursor, |record| record.after);
    let found = whole
        .then(|| RecordTable::of(text, &records))
        .flatten()
        .and_then(|table| table.read(text, read));
    (found, behind.at)
}

/// Two records or more with the same keys, of which one is a reading; and whether they are all that the text has of them.
fn gathered(text: &str, cursor: Cursor) -> Option<(Vec<KeyedRecord>, bool)> {
    let first = record_at(text, cursor, MOST_KEYS)?;
    let keys = first.entries.len();
    let light: Vec<String> = first
        .entries
        .iter()
        .filter(|entry| is_reading(text, entry))
        .map(|entry| fold(&text[entry.key.clone()]))
        .collect();
    if keys < 2 || light.is_empty() {
        return None;
    }
    let key = |record: &KeyedRecord| fold(&text[record.entries[0].key.clone()]);
    let mut records = vec![first];
    let mut behind = records[0].after;
    let mut whole = true;
    while let Some(record) = record_at(text, behind_gap(text, behind), keys) {
        if !records[0].is_like(text, &record) {
            // One that breaks off, or has a key more, is no row of this table, and nothing may be lost of it.
            whole = key(&record) != key(&records[0]);
            break;
        }
        behind = record.after;
        records.push(record);
    }
    if records.len() < 2 {
        return None;
    }
    // A reading elsewhere in the text would be lost: of a record with a remark in its midst, or without one of its keys.
    let elsewhere = |part: &str| is_key_of_any(part, &light);
    let whole = whole && !elsewhere(&text[..cursor.at]) && !elsewhere(&text[behind.at..]);
    Some((records, whole))
}

/// Records as a table: the keys of the whole, and the columns.
struct RecordTable<'r> {
    records: &'r [KeyedRecord],
    /// By their place in a record.
    shared: Vec<usize>,
    columns: Vec<usize>,
    kinds: Vec<ColumnKind>,
}

impl<'r> RecordTable<'r> {
    fn of(text: &str, records: &'r [KeyedRecord]) -> Option<Self> {
        let first = records.first()?;
        let value = |record: &KeyedRecord, place: usize| &text[record.entries[place].value.clone()];
        let differ = |place: usize| {
            let values: BTreeSet<&str> = records.iter().map(|record| value(record, place)).collect();
            values.len()
        };
        let (shared, columns): (Vec<usize>, Vec<usize>) = (0..first.entries.len()).partition(|&place| {
            let entry = &first.entries[place];
            let known = crate::preamble::is_known(&text[entry.key.clone()]);
            !is_reading(text, entry) && known && differ(place) == 1
        });
        // Samples at wavelengths of which some come again are no spectrum, nor are different ones at one each.
        let of_samples = |place: usize| means_sample(&text[first.entries[place].key.clone()]);
        let several = columns
            .iter()
            .any(|&place| of_samples(place) && differ(place) > 1);
        let at_wavelengths = |place: usize| {
            let head = read_column_header(&text[first.entries[place].key.clone()]);
            head.quantity == Some(Quantity::WAVELENGTH)
        };
        if columns
            .iter()
            .any(|&place| at_wavelengths(place) && (several || differ(place) < records.len()))
        {
            return None;
        }
        let numbers = |place: usize| {
            let values = || records.iter().map(|record| held(value(record, place)));
            if is_reading(text, &first.entries[place]) {
                return values()
                    .any(|held| held == Held::Number)
                    .then_some(ColumnKind::Figures);
            }
            // Numbers of samples are their names.
            if of_samples(place) {
                return Some(ColumnKind::Words);
            }
            let all = values().all(|held| held != Held::Words) && values().any(|held| held == Held::Number);
            Some(if all {
                ColumnKind::Figures
            } else {
                ColumnKind::Words
            })
        };
        let named = first.title.map(|_| Some(ColumnKind::Words));
        let kinds: Option<Vec<ColumnKind>> = named
            .into_iter()
            .chain(columns.iter().map(|&place| numbers(place)))
            .collect();
        Some(Self {
            records,
            shared,
            columns,
            kinds: kinds?,
        })
    }

    /// The records with a row each; every byte that is kept stands where it stood.
    fn rows(&self, text: &str) -> String {
        let mut rows = String::new();
        let mut end = self.records[0].start.at;
        for record in self.records {
            rows.push_str(&" ".repeat(record.start.at - end));
            let mut row = vec![b' '; record.after.at - record.start.at];
            let values = self
                .columns
                .iter()
                .map(|&column| record.entries[column].value.clone());
            for (place, value) in record.name(text).into_iter().chain(values).enumerate() {
                let from = value.start - record.start.at;
                row[from..from + value.len()].copy_from_slice(&text.as_bytes()[value.clone()]);
                if place > 0 {
                    row[from - 1] = b'\t';
                }
            }
            // The last line of a text may have no end.
            let ends = text[..record.after.at].ends_with(['\n', '\r']);
            if let Some(last) = row.last_mut().filter(|_| ends) {
                *last = b'\n';
            }
            rows.push_str(&String::from_utf8_lossy(&row));
            end = record.after.at;
        }
        rows
    }

    fn read(
        self,
        text: &str,
        read: impl Fn(&str, u32, Vec<ColumnKind>) -> Option<ScannedTable>,
    ) -> Option<FoundRecords> {
        let (first, last) = (self.records.first()?, self.records.last()?);
        let rows = self.rows(text);
        let mut table = read(&rows, first.start.line, self.kinds)?;
        if table.grid.rows != self.records.len() || !table.grid.odd.is_empty() {
            return None;
        }
        table.grid.move_by(first.start.at);
        // Of the lines of a record that of its last column counts, which is mostly the reading.
        let of_row = *self.columns.last()?;
        let lines: Vec<u32> = self
            .records
            .iter()
            .map(|record| record.entries[of_row].line.line)
            .collect();
        table.grid.place_rows(&lines);
        let heads = &first.entries;
        let keys = self.columns.iter().map(|&place| {
            let key = &heads[place].key;
            Some(Span::new(key.start, key.end))
        });
        table.heads = vec![HeadRow {
            line: heads[self.columns[0]].line,
            class: RowClass::Header,
            cells: first.title.map(|_| None).into_iter().chain(keys).collect(),
        }];
        table.first_line = first.start.line;
        table.last_line = last.entries.last()?.line.line;
        Some(FoundRecords {
            keys: self.shared.iter().map(|&place| heads[place].line).collect(),
            table,
            after: last.after,
        })
    }
}

/// Whether a line of a text has one of these keys, which are folded.
fn is_key_of_any(text: &str, keys: &[String]) -> bool {
    let mut cursor = Cursor { at: 0, line: 1 };
    while cursor.at < text.len() {
        if entry_at(text, cursor).is_some_and(|entry| keys.contains(&fold(&text[entry.key]))) {
            return true;
        }
        cursor = next_line(text, cursor);
    }
    false
}

/// The record at `cursor`: lines of keys with values, up to a blank line, a ruler, another item, a key that was there, or `most`
/// of them; perhaps under a title of its own.
fn record_at(text: &str, cursor: Cursor, most: usize) -> Option<KeyedRecord> {
    let mut entries: Vec<Entry> = Vec::new();
    let mut at = cursor;
    let title = title_at(text, cursor);
    if title.is_some() {
        at = next_line(text, at);
    }
    while let Some(entry) = entry_at(text, at) {
        let key = &text[entry.key.clone()];
        let item = is_item(&text[entry.line.span.range()]) && !entries.is_empty();
        let known = entries
            .iter()
            .any(|before| fold(&text[before.key.clone()]) == fold(key));
        if item || known || entries.len() == most {
            break;
        }
        at = next_line(text, at);
        entries.push(entry);
    }
    (!entries.is_empty()).then_some(KeyedRecord {
        start: cursor,
        title,
        entries,
        after: at,
    })
}

/// The line at `cursor` where it is a name above a key.
fn title_at(text: &str, cursor: Cursor) -> Option<TextLine> {
    if cursor.at >= text.len() || entry_at(text, cursor).is_some() {
        return None;
    }
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let name = line.chars().count() <= LONGEST_KEY
        && line.contains(char::is_alphanumeric)
        && !line.contains([':', '=', '\t', ';']);
    (name && entry_at(text, next_line(text, cursor)).is_some()).then_some(TextLine {
        span: Span::new(cursor.at, end),
        line: cursor.line,
    })
}

/// The line below.
fn next_line(text: &str, cursor: Cursor) -> Cursor {
    Cursor {
        at: line_end(text.as_bytes(), cursor.at).1,
        line: cursor.line + 1,
    }
}

/// The key and the value of the line at `cursor`: `sample: K-01`, `- absorbance = 0.357`.
fn entry_at(text: &str, cursor: Cursor) -> Option<Entry> {
    if cursor.at >= text.len() {
        return None;
    }
    let (end, _) = line_end(text.as_bytes(), cursor.at);
    let line = &text[cursor.at..end];
    let mark = line.find([':', '='])?;
    let key = line[..mark].trim_matches(is_blank);
    let key = key.strip_prefix(['-', '*']).unwrap_or(key).trim_start();
    let value = line[mark + 1..].trim_matches(is_blank);
    let plain = key.starts_with(char::is_alphabetic)
        && key.chars().count() <= LONGEST_KEY
        && !key.contains(['\t', ';', ',', '|'])
        // A second pair in the line is a line of another form.
        && !value.contains(['=', '\t', ';', '|'])
        && !line[mark + 1..].starts_with(['=', ':', '/']);
    let place = |part: &str| range_in(text, part);
    plain.then(|| Entry {
        line: TextLine {
            span: Span::new(cursor.at, end),
            line: cursor.line,
        },
        key: place(key),
        value: place(value),
    })
}

/// Whether a line is an item of a list: `- sample: soil-A`.
fn is_item(line: &str) -> bool {
    line.trim_start().starts_with("- ")
}

/// Where the next record may begin: behind blank lines and rulers.
fn behind_gap(text: &str, mut cursor: Cursor) -> Cursor {
    while cursor.at < text.len() {
        let (end, _) = line_end(text.as_bytes(), cursor.at);
        let line = &text[cursor.at..end];
        if !line.trim_matches(is_blank).is_empty() && !is_ruler(line) {
            break;
        }
        cursor = next_line(text, cursor);
    }
    cursor
}

/// Whether an entry is a reading under a key that names light, or what stands in the place of one.
fn is_reading(text: &str, entry: &Entry) -> bool {
    let head = read_column_header(&text[entry.key.clone()]);
    head.quantity.is_some_and(|quantity| quantity.is_of_light())
        && held(&text[entry.value.clone()]) != Held::Words
}

/// What a value is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Held {
    /// A number, perhaps with its unit.
    Number,
    /// Nothing, or a word for a number that lacks or lies beyond the range.
    Nothing,
    Words,
}

/// What stands in the place of a value.
pub(super) fn held(value: &str) -> Held {
    let kinds = [Style::POINT, Style::COMMA].map(|style| {
        if marked_number(value, style).is_some() {
            return Held::Number;
        }
        match cell(value, style) {
            Cell::Number { .. } | Cell::WithUnit { .. } => Held::Number,
            Cell::Empty | Cell::Missing | Cell::Beyond => Held::Nothing,
            _ => Held::Words,
        }
    });
    kinds
        .into_iter()
        .find(|kind| *kind != Held::Words)
        .unwrap_or(Held::Words)
}
