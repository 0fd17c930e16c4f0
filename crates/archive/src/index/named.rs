//! Runs by their whole names.
//!
//! Names are 16 hexadecimal digits of a hash. The engine's dictionary keeps their first three, which many runs share, and the
//! column of names tells these apart: a dictionary of whole names would take some 14 bytes a run for nothing else, one of four
//! digits 8 bytes a run among 3,000. Of a million runs 244 share a beginning, and as many names are looked at.

use std::sync::Arc;

use tantivy::query::{ConstScorer, EnableScoring, Explanation, Query, Scorer, Weight};
use tantivy::schema::{Field, IndexRecordOption};
use tantivy::{DocId, DocSet, Score, SegmentReader, TERMINATED, Term};

/// So many digits of a name are in the dictionary.
const DIGITS: usize = 3;
/// The name of a run has so many.
const WHOLE: usize = 16;
/// From so many names for each run of a segment on, the whole column is gone through.
const MANY: usize = 50;

/// What the dictionary has of a name.
pub(super) fn beginning(name: &str) -> &str {
    name.get(..DIGITS).unwrap_or(name)
}

/// The names, as numbers, that begin with some digits; `None` when these are none.
pub(super) fn names_from(digits: &str) -> Option<(u64, u64)> {
    let known = |digit: u8| matches!(digit, b'0'..=b'9' | b'a'..=b'f');
    if digits.len() > WHOLE || !digits.bytes().all(known) {
        return None;
    }
    let rest = 4 * u32::try_from(WHOLE - digits.len()).ok()?;
    let first = if digits.is_empty() {
        0
    } else {
        u64::from_str_radix(digits, 16).ok()?
    };
    let low = first.checked_shl(rest).unwrap_or(0);
    Some((low, low | u64::MAX.checked_shr(64 - rest).unwrap_or(0)))
}

/// The living documents of a segment whose names begin with some digits, with their names, smallest beginnings first: all of
/// one beginning in the dictionary, until more than `limit` were found.
pub(super) fn beginning_so(
    segment: &SegmentReader,
    id: Field,
    digits: &str,
    limit: usize,
) -> tantivy::Result<Vec<(u64, DocId)>> {
    let Some((low, high)) = names_from(digits) else {
        return Ok(Vec::new());
    };
    let inverted = segment.inverted_index(id)?;
    let order = segment.fast_fields().u64("order")?;
    let from = beginning(digits).as_bytes();
    let alive = segment.alive_bitset();
    let mut stream = inverted.terms().range().ge(from).into_stream()?;
    let mut found = Vec::new();
    while found.len() <= limit && stream.advance() && stream.key().starts_with(from) {
        let mut documents = inverted.read_postings_from_terminfo(stream.value(), IndexRecordOption::Basic)?;
        let mut document = documents.doc();
        while document != TERMINATED {
            let lives = alive.is_none_or(|alive| alive.is_alive(document));
            let name = order.first(document).filter(|_| lives);
            if let Some(name) = name.filter(|name| (low..=high).contains(name)) {
                found.push((name, document));
            }
            document = documents.advance();
        }
    }
    Ok(found)
}

/// Asks for runs by their whole names, as numbers.
#[derive(Clone, Debug)]
pub(crate) struct RunsByName {
    id: Field,
    /// In order.
    names: Arc<[u64]>,
}

impl RunsByName {
    pub(super) fn new(id: Field, mut names: Vec<u64>) -> Self {
        names.sort_unstable();
        names.dedup();
        Self {
            id,
            names: names.into(),
        }
    }

    fn documents(&self, segment: &SegmentReader) -> tantivy::Result<Vec<DocId>> {
        let mut found = Vec::new();
        if self.names.is_empty() {
            return Ok(found);
        }
        let order = segment.fast_fields().u64("order")?;
        let is_asked = |document: DocId| {
            let name = order.first(document);
            name.is_some_and(|name| self.names.binary_search(&name).is_ok())
        };
        if self.names.len() * MANY > segment.max_doc() as usize {
            found.extend((0..segment.max_doc()).filter(|&document| is_asked(document)));
            return Ok(found);
        }
        let inverted = segment.inverted_index(self.id)?;
        let mut last = None;
        for &name in self.names.iter() {
            let name = format!("{name:016x}");
            let term = Term::from_field_text(self.id, beginning(&name));
            if last.as_ref() == Some(&term) {
                continue;
            }
            if let Some(mut documents) = inverted.read_postings(&term, IndexRecordOption::Basic)? {
                let mut document = documents.doc();
                while document != TERMINATED {
                    if is_asked(document) {
                        found.push(document);
                    }
                    document = documents.advance();
                }
            }
            last = Some(term);
        }
        found.sort_unstable();
        Ok(found)
    }
}

impl Query for RunsByName {
    fn weight(&self, _: EnableScoring<'_>) -> tantivy::Result<Box<dyn Weight>> {
        Ok(Box::new(self.clone()))
    }
}

impl Weight for RunsByName {
    fn scorer(&self, segment: &SegmentReader, boost: Score) -> tantivy::Result<Box<dyn Scorer>> {
        let documents = self.documents(segment)?;
        Ok(Box::new(ConstScorer::new(Documents { documents, at: 0 }, boost)))
    }

    fn explain(&self, _: &SegmentReader, _: DocId) -> tantivy::Result<Explanation> {
        Ok(Explanation::new("a run of one of the names", 1.0))
    }
}

/// Documents in order.
struct Documents {
    documents: Vec<DocId>,
    at: usize,
}

impl DocSet for Documents {
    fn advance(&mut self) -> DocId {
        self.at += 1;
        self.doc()
    }

    fn doc(&self) -> DocId {
        self.documents.get(self.at).copied().unwrap_or(TERMINATED)
    }

    fn size_hint(&self) -> u32 {
        u32::try_from(self.documents.len()).unwrap_or(u32::MAX)
    }
}

#[cfg(test)]
mod tests {
    use tantivy::IndexWriter;
    use tantivy::merge_policy::NoMergePolicy;

    use super::names_from;
    use crate::index::{FiledDocument, Index};
    use crate::tests::Folder;

    #[test]
    fn runs_that_are_gone_take_no_room_from_those_that_live() {
        let folder = Folder::new();
        let index = Index::create(&folder.0).expect("an index");
        let mut writer: IndexWriter<FiledDocument> = index
            .engine
            .writer_with_num_threads(1, 15 << 20)
            .expect("a writer");
        writer.set_merge_policy(Box::new(NoMergePolicy));
        // Twenty beginnings in the dictionary; of the first twelve no run is left.
        for number in 0..20_u64 {
            let name = 0xa000_0000_0000_0000 + (number << 48);
            let source = if number < 12 { "00" } else { "11" };
            let document = FiledDocument::new(|document| {
                document.text(index.names.id, super::beginning(&format!("{name:016x}")));
                document.bytes(index.names.digest, source.as_bytes());
                document.count(index.names.order, name);
            });
            writer.add_document(document).expect("it is added");
        }
        writer.commit().expect("it is written");
        let gone = Box::new(index.names.filed_of("00"));
        writer.delete_query(gone).expect("it is struck");
        writer.commit().expect("it is written");
        index.reader.reload().expect("it is read");
        let found = |limit| -> Vec<String> {
            let found = index.beginning("a", limit).expect("it is asked");
            found.into_iter().map(|one| one.0).collect()
        };
        assert_eq!(found(8).len(), 8);
        assert_eq!(found(2), ["a00c000000000000", "a00d000000000000"]);
    }

    #[test]
    fn digits_are_a_range_of_names() {
        assert_eq!(names_from(""), Some((0, u64::MAX)));
        assert_eq!(names_from("0"), Some((0, 0x0fff_ffff_ffff_ffff)));
        assert_eq!(
            names_from("ab"),
            Some((0xab00_0000_0000_0000, 0xabff_ffff_ffff_ffff))
        );
        assert_eq!(
            names_from("0123456789abcdef"),
            Some((0x0123_4567_89ab_cdef, 0x0123_4567_89ab_cdef))
        );
        for none in ["A", "g", "+1", "0123456789abcdef0"] {
            assert_eq!(names_from(none), None, "{none}");
        }
    }
}
