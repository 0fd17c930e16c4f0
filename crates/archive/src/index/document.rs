//! Documents as the engine takes them, in as few bytes as they need: hundreds of thousands wait while one long source is
//! read.
//!
//! ```text
//! document   field (its number, written as a length) value, again and again
//! value      0 text | 1 bytes | 2 whole number (8 bytes, little-endian) | 3 the same with a sign | 4 list | 5 object
//! text       length, then so many bytes; bytes likewise
//! list       length in bytes (8 bytes, little-endian), then values
//! object     length in bytes (8 bytes, little-endian), then texts without their mark, each with a value
//! length     seven bits a byte (`seven_bits.rs`)
//! ```

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use tantivy::schema::document::{ReferenceValue, ReferenceValueLeaf};
use tantivy::schema::{Document, Field, Value};

use super::seven_bits;
use crate::Error;

const TEXT: u8 = 0;
const BYTES: u8 = 1;
const COUNT: u8 = 2;
const NUMBER: u8 = 3;
const LIST: u8 = 4;
const OBJECT: u8 = 5;

/// Documents of sources with more bytes of them are packed: neighbours say much the same. A document is some hundred bytes to
/// some kilobytes long, so that this is dozens of neighbours; of all that are packed, one block is held unpacked while its
/// documents are taken.
const AT_ONCE: usize = 64 << 10;

/// So many bytes have numbers, and the lengths of lists and objects, which are known only when these are written.
const LENGTH: usize = 8;

/// A document.
#[derive(Clone, Debug)]
pub(crate) struct FiledDocument {
    all: Arc<Vec<u8>>,
    own: Range<usize>,
    /// What is known of it last.
    more: Vec<u8>,
}

/// Writes a document's fields.
pub(crate) struct FieldWriter<'b> {
    bytes: &'b mut Vec<u8>,
}

impl FieldWriter<'_> {
    pub(super) fn text(&mut self, field: Field, text: &str) {
        self.field(field);
        put_text(self.bytes, text);
    }

    pub(super) fn bytes(&mut self, field: Field, bytes: &[u8]) {
        self.field(field);
        self.bytes.push(BYTES);
        put_slice(self.bytes, bytes);
    }

    pub(super) fn count(&mut self, field: Field, count: u64) {
        self.field(field);
        self.bytes.push(COUNT);
        self.bytes.extend_from_slice(&count.to_le_bytes());
    }

    pub(super) fn number(&mut self, field: Field, number: i64) {
        self.field(field);
        put_number(self.bytes, number);
    }

    pub(super) fn object(&mut self, field: Field, entries: impl FnOnce(&mut ObjectWriter<'_>)) {
        self.field(field);
        self.bytes.push(OBJECT);
        within(self.bytes, |bytes| entries(&mut ObjectWriter { bytes }));
    }

    fn field(&mut self, field: Field) {
        seven_bits::put(self.bytes, u64::from(field.field_id()));
    }
}

/// Writes an object's entries.
pub(super) struct ObjectWriter<'b> {
    bytes: &'b mut Vec<u8>,
}

impl ObjectWriter<'_> {
    pub(super) fn texts<'t>(&mut self, key: &str, texts: impl Iterator<Item = &'t str>) {
        put_slice(self.bytes, key.as_bytes());
        self.bytes.push(LIST);
        within(self.bytes, |bytes| {
            for text in texts {
                put_text(bytes, text);
            }
        });
    }

    pub(super) fn numbers(&mut self, key: &str, numbers: impl Iterator<Item = i64>) {
        put_slice(self.bytes, key.as_bytes());
        self.bytes.push(LIST);
        within(self.bytes, |bytes| {
            for number in numbers {
                put_number(bytes, number);
            }
        });
    }
}

fn put_text(bytes: &mut Vec<u8>, text: &str) {
    bytes.push(TEXT);
    put_slice(bytes, text.as_bytes());
}

fn put_number(bytes: &mut Vec<u8>, number: i64) {
    bytes.push(NUMBER);
    bytes.extend_from_slice(&number.to_le_bytes());
}

fn put_slice(bytes: &mut Vec<u8>, slice: &[u8]) {
    seven_bits::put(bytes, slice.len() as u64);
    bytes.extend_from_slice(slice);
}

/// Writes something with its length in front.
fn within(bytes: &mut Vec<u8>, write: impl FnOnce(&mut Vec<u8>)) {
    let from = bytes.len();
    let within = from + LENGTH;
    bytes.resize(within, 0);
    write(bytes);
    let length = (bytes.len() - within) as u64;
    if let Some(there) = bytes.get_mut(from..within) {
        there.copy_from_slice(&length.to_le_bytes());
    }
}

impl FiledDocument {
    /// A document of its own.
    pub(crate) fn new(write: impl FnOnce(&mut FieldWriter<'_>)) -> Self {
        let mut own = Vec::new();
        write(&mut FieldWriter { bytes: &mut own });
        Self {
            own: 0..own.len(),
            all: Arc::new(own),
            more: Vec::new(),
        }
    }

    /// Adds fields.
    pub(crate) fn add(&mut self, write: impl FnOnce(&mut FieldWriter<'_>)) {
        write(&mut FieldWriter {
            bytes: &mut self.more,
        });
    }
}

/// Many documents, in order.
#[derive(Default)]
pub(crate) struct FiledDocuments {
    open: Vec<u8>,
    /// Where each of those ends that are open.
    ends: Vec<usize>,
    /// Those that are packed, with their ends.
    packed: Vec<(Vec<u8>, Vec<usize>)>,
}

impl FiledDocuments {
    pub(crate) fn put(&mut self, write: impl FnOnce(&mut FieldWriter<'_>)) {
        write(&mut FieldWriter {
            bytes: &mut self.open,
        });
        self.ends.push(self.open.len());
        if self.open.len() >= AT_ONCE
            && let Ok(mut packed) = zstd::bulk::compress(&self.open, 1)
        {
            packed.shrink_to_fit();
            self.packed.push((packed, std::mem::take(&mut self.ends)));
            self.open.clear();
        }
    }

    /// Hands each with its number to `take`.
    ///
    /// # Errors
    /// The first that `take` gives; [`Error::Damaged`] where documents do not come out as they were packed.
    pub(crate) fn take(
        self,
        mut take: impl FnMut(usize, FiledDocument) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let mut number = 0;
        let mut each = |bytes: Vec<u8>, ends: Vec<usize>| {
            let all = Arc::new(bytes);
            let mut from = 0;
            for end in ends {
                let document = FiledDocument {
                    all: Arc::clone(&all),
                    own: std::mem::replace(&mut from, end)..end,
                    more: Vec::new(),
                };
                take(number, document)?;
                number += 1;
            }
            Ok(())
        };
        for (packed, ends) in self.packed {
            let length = ends.last().copied().unwrap_or(0);
            each(unpacked(&packed, length)?, ends)?;
        }
        each(self.open, self.ends)
    }
}

/// Unpacks so many bytes of documents. They were packed in this process, a moment ago; where they do not come back, what ails
/// the memory is told, since a document without its words is a run that no query finds.
fn unpacked(packed: &[u8], length: usize) -> Result<Vec<u8>, Error> {
    let wrong = |found: String| {
        let expected = format!("{length} bytes of documents, as they were packed");
        Error::damaged(Path::new("index"), None, found, expected)
    };
    let bytes = zstd::bulk::decompress(packed, length).map_err(|error| wrong(error.to_string()))?;
    if bytes.len() == length {
        Ok(bytes)
    } else {
        Err(wrong(format!("{} bytes", bytes.len())))
    }
}

impl Document for FiledDocument {
    type Value<'a> = FiledValue<'a>;
    type FieldsValuesIter<'a> = FiledFields<'a>;

    fn iter_fields_and_values(&self) -> FiledFields<'_> {
        FiledFields {
            own: FiledCursor(self.all.get(self.own.clone()).unwrap_or_default()),
            more: FiledCursor(&self.more),
        }
    }
}

/// The fields of a document.
pub(crate) struct FiledFields<'a> {
    own: FiledCursor<'a>,
    more: FiledCursor<'a>,
}

impl<'a> Iterator for FiledFields<'a> {
    type Item = (Field, FiledValue<'a>);

    fn next(&mut self) -> Option<Self::Item> {
        let cursor = if self.own.0.is_empty() {
            &mut self.more
        } else {
            &mut self.own
        };
        let field = u32::try_from(cursor.length()?).ok()?;
        Some((Field::from_field_id(field), cursor.value()?))
    }
}

/// A value of a field.
#[derive(Clone, Copy, Debug)]
pub(crate) enum FiledValue<'a> {
    Text(&'a str),
    Bytes(&'a [u8]),
    Count(u64),
    Number(i64),
    List(FiledCursor<'a>),
    Object(FiledCursor<'a>),
}

impl<'a> Value<'a> for FiledValue<'a> {
    type ArrayIter = FiledItems<'a>;
    type ObjectIter = FiledEntries<'a>;

    fn as_value(&self) -> ReferenceValue<'a, Self> {
        match *self {
            Self::Text(text) => ReferenceValueLeaf::Str(text).into(),
            Self::Bytes(bytes) => ReferenceValueLeaf::Bytes(bytes).into(),
            Self::Count(count) => ReferenceValueLeaf::U64(count).into(),
            Self::Number(number) => ReferenceValueLeaf::I64(number).into(),
            Self::List(items) => ReferenceValue::Array(FiledItems(items)),
            Self::Object(entries) => ReferenceValue::Object(FiledEntries(entries)),
        }
    }
}

/// The values of a list.
pub(crate) struct FiledItems<'a>(FiledCursor<'a>);

impl<'a> Iterator for FiledItems<'a> {
    type Item = FiledValue<'a>;

    fn next(&mut self) -> Option<Self::Item> {
        self.0.value()
    }
}

/// The entries of an object.
pub(crate) struct FiledEntries<'a>(FiledCursor<'a>);

impl<'a> Iterator for FiledEntries<'a> {
    type Item = (&'a str, FiledValue<'a>);

    fn next(&mut self) -> Option<Self::Item> {
        let key = self.0.text()?;
        Some((key, self.0.value()?))
    }
}

/// Bytes that are read from the front.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FiledCursor<'a>(&'a [u8]);

impl<'a> FiledCursor<'a> {
    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(taken)
    }

    fn length(&mut self) -> Option<usize> {
        seven_bits::take(|| self.byte()).and_then(|length| usize::try_from(length).ok())
    }

    fn slice(&mut self) -> Option<&'a [u8]> {
        let length = self.length()?;
        self.take(length)
    }

    fn text(&mut self) -> Option<&'a str> {
        std::str::from_utf8(self.slice()?).ok()
    }

    fn eight(&mut self) -> Option<[u8; 8]> {
        self.take(LENGTH)?.try_into().ok()
    }

    fn inner(&mut self) -> Option<Self> {
        let length = u64::from_le_bytes(self.eight()?);
        self.take(usize::try_from(length).ok()?).map(Self)
    }

    fn value(&mut self) -> Option<FiledValue<'a>> {
        Some(match self.byte()? {
            TEXT => FiledValue::Text(self.text()?),
            BYTES => FiledValue::Bytes(self.slice()?),
            COUNT => FiledValue::Count(u64::from_le_bytes(self.eight()?)),
            NUMBER => FiledValue::Number(i64::from_le_bytes(self.eight()?)),
            LIST => FiledValue::List(self.inner()?),
            OBJECT => FiledValue::Object(self.inner()?),
            _ => return None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn documents_come_back_whether_packed_or_not() {
        let (a, b, c) = (
            Field::from_field_id(0),
            Field::from_field_id(3),
            Field::from_field_id(9),
        );
        let long = "x".repeat(300);
        let mut all = FiledDocuments::default();
        for number in 0..2_000_u64 {
            all.put(|document| {
                document.text(a, &long);
                document.count(b, number);
                document.object(c, |object| {
                    object.texts("words", ["one", "two"].into_iter());
                    object.numbers("", [-1, i64::MAX].into_iter());
                });
            });
        }
        assert!(all.packed.len() > 5);
        let mut seen = 0;
        all.take(|number, mut document| {
            document.add(|more| more.bytes(b, &[1, 2, 3]));
            let fields: Vec<_> = document.iter_fields_and_values().collect();
            assert_eq!(fields.len(), 4);
            assert!(matches!(fields[0], (field, FiledValue::Text(text)) if field == a && text == long));
            assert!(matches!(fields[1].1, FiledValue::Count(count) if count == number as u64));
            let FiledValue::Object(entries) = fields[2].1 else {
                panic!("an object")
            };
            let mut texts = Vec::new();
            for (key, value) in FiledEntries(entries) {
                let FiledValue::List(items) = value else {
                    panic!("a list")
                };
                texts.push((key, FiledItems(items).count()));
            }
            assert_eq!(texts, [("words", 2), ("", 2)]);
            assert!(matches!(fields[3].1, FiledValue::Bytes([1, 2, 3])));
            seen += 1;
            Ok(())
        })
        .expect("all are taken");
        assert_eq!(seen, 2_000);
    }

    fn packed() -> FiledDocuments {
        let mut all = FiledDocuments::default();
        for number in 0..2_000_u64 {
            all.put(|document| document.text(Field::from_field_id(0), &format!("{number:>100}")));
        }
        assert!(all.packed.len() > 2);
        all
    }

    #[test]
    fn documents_that_do_not_come_back_are_an_error() {
        let mut cut = packed();
        let length = cut.packed[1].0.len();
        cut.packed[1].0.truncate(length / 2);
        let mut shorter = packed();
        shorter.packed[1].0 = zstd::bulk::compress(b"few", 1).expect("it packs");
        for damaged in [cut, shorter] {
            let mut empty = 0;
            let taken = damaged.take(|_, document| {
                empty += usize::from(document.iter_fields_and_values().next().is_none());
                Ok(())
            });
            assert!(matches!(taken, Err(Error::Damaged { .. })), "{taken:?}");
            assert_eq!(empty, 0);
        }
    }

    #[test]
    fn one_document_is_itself_however_long_and_whichever_its_field() {
        let long = "x".repeat(3 * AT_ONCE);
        let field = Field::from_field_id(300);
        let document = FiledDocument::new(|document| document.text(field, &long));
        let fields: Vec<_> = document.iter_fields_and_values().collect();
        assert!(matches!(fields[..], [(own, FiledValue::Text(text))] if own == field && text == long));
    }
}
