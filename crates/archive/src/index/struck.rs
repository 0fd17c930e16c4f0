//! All that is filed of a source, to be struck.
//!
//! The engine keeps what is to be struck until the next commit, one entry for each source that is read again. Its own query for a word comes
//! with a table for ranking of more than a kilobyte, which is of no use here and would be most of the memory of a large rereading.

use tantivy::query::{ConstScorer, EmptyScorer, EnableScoring, Explanation, Query, Scorer, Weight};
use tantivy::schema::IndexRecordOption;
use tantivy::{DocId, Score, SegmentReader, Term};

/// Asks for everything that is filed under a digest.
#[derive(Clone, Debug)]
pub(crate) struct FiledOfSource(Term);

impl FiledOfSource {
    pub(super) fn new(digest: Term) -> Self {
        Self(digest)
    }
}

impl Query for FiledOfSource {
    fn weight(&self, _: EnableScoring<'_>) -> tantivy::Result<Box<dyn Weight>> {
        Ok(Box::new(self.clone()))
    }
}

impl Weight for FiledOfSource {
    fn scorer(&self, segment: &SegmentReader, boost: Score) -> tantivy::Result<Box<dyn Scorer>> {
        let inverted = segment.inverted_index(self.0.field())?;
        let found = inverted.read_postings(&self.0, IndexRecordOption::Basic)?;
        Ok(match found {
            Some(documents) => Box::new(ConstScorer::new(documents, boost)),
            None => Box::new(EmptyScorer),
        })
    }

    fn explain(&self, _: &SegmentReader, _: DocId) -> tantivy::Result<Explanation> {
        Ok(Explanation::new("filed under the digest", 1.0))
    }
}
