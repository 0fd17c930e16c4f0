//! Records over several lines, one below the other: `sample: K-01`, `wavelength: 450 nm`, `absorbance: 0.325`, and the same
//! keys again for the next sample.
//!
//! Three things tell records from keys and values: the keys of the first come again in the same order, one of them names what
//! a photometer measures, and it has a number each time. Each record is a row, and its keys are the headers. A known key
//! whose value is the same in all records, `wavelength: 450 nm`, is no column but a key of the whole table.

use std::ops::Range;

use curvary_record::Span;
use curvary_record::unit::{Spelling, spelled};

use super::dialect::is_blank;
use super::grid::{ColumnKind, Cursor, line_end};
use super::scan::{HeadRow, ScannedTable, TextLine, is_ruler};
use super::segments::RowClass;

/// Of so many keys at most is a record.
const MOST_KEYS: usize = 24;
/// A longer key is a sentence.
const LONGEST_KEY: usize = 40;

/// A key and its value, as bytes of the text.
#[derive(Clone, Debug)]
struct Entry {
    line: TextLine,
    key: Range<usize>,
    value: Range<usize>,
}

/// One record, and where the text goes on behind it.
struct Record {
    start: Cursor,
    /// The line of its own above its entries, `Probe 3`, where it has one.
    title: Option<TextLine>,
    entries: Vec<Entry>,
    after: Cursor,
}

impl Record {
    /// Whether another has the same keys in the same order, and a title where this one has.
    fn is_like(&self, text: &str, other: &Self) -> bool {
        let keys = |record: &Self| {
            record
                .entries
                .iter()
                .map(|entry| &text[entry.key.clone()])
                .collect::<Vec<_>>()
        };
        self.title.is_some() == other.title.is_some() && keys(self) == keys(other)
    }

    /// The bytes of its title without signs around it.
    fn name(&self, text: &str) -> Option<Range<usize>> {
        let title = self.title?.span.range();
        let name = text[title].trim_matches(|c: char| !c.is_alphanumeric() && !matches!(c, '+' | ')'));
        let from = name.as_ptr() as usize - text.as_ptr() as usize;
        Some(from..from + name.len())
    }
}

/// Records that were found.
pub(super) struct FoundRecords {
    pub(super) table: ScannedTable,
    /// The lines of the keys that hold for all records.
    pub(super) keys: Vec<TextLine>,
    pub(super) after: Cursor,
}

/// The records that begin at `cursor`. `read` reads rows whose cells tabs part and whose columns are of certain kinds.
pub(super) fn records_at(
    text: &str,
    cursor: Cursor,
    read: impl Fn(&str, u32, Vec<ColumnKind>) -> Option<ScannedTable>,
) -> Option<FoundRecords> {
    let first = record_at(text, cursor, MOST_KEYS)?;
    let keys = first.entries.len();
    if keys < 2 || !first.entries.iter().any(|entry| is_reading(text, entry)) {
        return None;
    }
    let mut records = vec![first];
    let mut behind = records[0].after;
    while let Some(record) = record_at(text, behind_gap(text, behind), keys) {
        let like = records[0].is_like(text, &record);
        // One that breaks off, or has a key more, is no row of this table, and nothing may be lost of it.
        if !like && text[record.entries[0].key.clone()] == text[records[0].entries[0].key.clone()] {
            return None;
        }
        if !like {
            break;
        }
        behind = record.after;
        records.push(record);
    }
    // A reading elsewhere in the text would be lost: of a record with a remark in its midst, or without one of its keys.
    let light: Vec<&str> = records[0]
        .entries
        .iter()
        .filter(|entry| is_reading(text, entry))
        .map(|entry| &text[entry.key.clone()])
        .collect();
    if records.len() < 2
        || is_key_of_any(&text[..cursor.at], &light)
        || is_key_of_any(&text[behind.at..], &light)
    {
        return None;
    }
    let value = |record: &Record, place: usize| &text[record.entries[place].value.clone()];
    let (shared, columns): (Vec<usize>, Vec<usize>) = (0..records[0].entries.len()).partition(|&place| {
        let entry = &records[0].entries[place];
        !is_reading(text, entry)
            && crate::preamble::is_known(&text[entry.key.clone()])
            && records
                .iter()
                .all(|record| value(record, place) == value(&records[0], place))
    });
    // Samples at wavelengths of which some come again are no spectrum.
    let at_wavelengths = |place: usize| {
        let head = crate::column_header::read_column_header(&text[records[0].entries[place].key.clone()]);
        head.quantity == Some(curvary_record::Quantity::WAVELENGTH)
    };
    let comes_again = |place: usize| {
        let values: std::collections::BTreeSet<&str> =
            records.iter().map(|record| value(record, place)).collect();
        values.len() < records.len()
    };
    if columns
        .iter()
        .any(|&place| at_wavelengths(place) && comes_again(place))
    {
        return None;
    }
    let named = records[0].title.map(|_| ColumnKind::Words);
    let kinds: Vec<ColumnKind> = named
        .into_iter()
        .chain(columns.iter().map(|&place| {
            let mut filled = records
                .iter()
                .map(|record| value(record, place))
                .filter(|value| !value.is_empty());
            if is_reading(text, &records[0].entries[place]) || filled.all(is_number) {
                ColumnKind::Figures
            } else {
                ColumnKind::Words
            }
        }))
        .collect();
    let mut rows = String::new();
    let mut end = cursor.at;
    for record in &records {
        rows.push_str(&" ".repeat(record.start.at - end));
        let mut row = vec![b' '; record.after.at - record.start.at];
        let cells = record
            .name(text)
            .into_iter()
            .chain(columns.iter().map(|&column| record.entries[column].value.clone()));
        for (place, value) in cells.enumerate() {
            let from = value.start - record.start.at;
            row[from..from + value.len()].copy_from_slice(&text.as_bytes()[value.clone()]);
            if place > 0 {
                row[from - 1] = b'\t';
            }
        }
        if let Some(last) = row.last_mut() {
            *last = b'\n';
        }
        rows.push_str(&String::from_utf8_lossy(&row));
        end = record.after.at;
    }
    let mut table = read(&rows, cursor.line, kinds)?;
    let whole = table.grid.rows == records.len() && table.grid.odd.is_empty();
    if !whole {
        return None;
    }
    table.grid.move_by(cursor.at);
    let lines: Vec<u32> = records.iter().map(|record| record.start.line).collect();
    // Of the lines of a record the last counts, which is mostly that of the reading.
    table.grid.place_rows(&lines);
    let heads = &records[0].entries;
    table.heads = vec![HeadRow {
        line: heads[columns[0]].line,
        class: RowClass::Header,
        cells: named
            .iter()
            .map(|_| None)
            .chain(columns.iter().map(|&place| {
                let key = &heads[place].key;
                Some(Span::new(key.start, key.end))
            }))
            .collect(),
    }];
    let last = records.last()?;
    table.first_line = records[0].start.line;
    table.last_line = last.entries.last()?.line.line;
    Some(FoundRecords {
        keys: shared.iter().map(|&place| heads[place].line).collect(),
        table,
        after: last.after,
    })
}

/// Whether a line of a text has one of these keys.
fn is_key_of_any(text: &str, keys: &[&str]) -> bool {
    let mut cursor = Cursor { at: 0, line: 1 };
    while cursor.at < text.len() {
        if entry_at(text, cursor).is_some_and(|entry| keys.contains(&&text[entry.key])) {
            return true;
        }
        cursor = next_line(text, cursor);
    }
    false
}

/// The record at `cursor`: lines of keys with values, up to a blank line, a ruler, another item, a key that was there, or `most`
/// of them; perhaps under a title of its own.
fn record_at(text: &str, cursor: Cursor, most: usize) -> Option<Record> {
    let mut entries: Vec<Entry> = Vec::new();
    let mut at = cursor;
    let title = title_at(text, cursor);
    if title.is_some() {
        at = next_line(text, at);
    }
    while let Some(entry) = entry_at(text, at) {
        let key = &text[entry.key.clone()];
        let item = is_item(&text[entry.line.span.range()]) && !entries.is_empty();
        let known = entries.iter().any(|before| &text[before.key.clone()] == key);
        if item || known || entries.len() == most {
            break;
        }
        at = next_line(text, at);
        entries.push(entry);
    }
    (!entries.is_empty()).then_some(Record {
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
    let name = line.len() <= LONGEST_KEY
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
        && key.len() <= LONGEST_KEY
        && !key.contains(['\t', ';', ',', '|'])
        // A second pair in the line is a line of another form.
        && !value.contains(['=', '\t', ';', '|'])
        && !line[mark + 1..].starts_with(['=', ':', '/']);
    let place = |part: &str| {
        let from = part.as_ptr() as usize - text.as_ptr() as usize;
        from..from + part.len()
    };
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

/// Whether an entry is a number under a key that names light.
fn is_reading(text: &str, entry: &Entry) -> bool {
    let head = crate::column_header::read_column_header(&text[entry.key.clone()]);
    head.quantity.is_some_and(|quantity| quantity.is_of_light()) && is_number(&text[entry.value.clone()])
}

/// Whether a value is a number, perhaps with its unit.
fn is_number(value: &str) -> bool {
    let body = value.trim_start_matches(['-', '+', '\u{2212}']);
    let digits = body
        .find(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | ','))
        .unwrap_or(body.len());
    let (number, rest) = body.split_at(digits);
    let rest = rest.strip_prefix(['e', 'E']).map_or(rest, |power| {
        power
            .trim_start_matches(['-', '+'])
            .trim_start_matches(|c: char| c.is_ascii_digit())
    });
    let unit = rest.trim();
    number.starts_with(|c: char| c.is_ascii_digit()) && (unit.is_empty() || spelled(unit) != Spelling::None)
}
