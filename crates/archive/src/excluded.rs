//! A query that may stand under *not*.
//!
//! The engine asks what is excluded about every candidate by `seek_danger`, also about documents that it has already
//! passed. Phrases (tantivy 0.27) take that for an error and panic where debug assertions are on. This wrapper leaves
//! `seek_danger` at the engine's own default, which looks before it seeks and never goes back.

use tantivy::query::{EnableScoring, Explanation, Query, Scorer, Weight};
use tantivy::{DocId, DocSet, Score, SegmentReader, Term};

/// What is excluded.
#[derive(Debug)]
pub(crate) struct Excluded(pub(crate) Box<dyn Query>);

impl Clone for Excluded {
    fn clone(&self) -> Self {
        Self(self.0.box_clone())
    }
}

impl Query for Excluded {
    fn weight(&self, scoring: EnableScoring<'_>) -> tantivy::Result<Box<dyn Weight>> {
        Ok(Box::new(ExcludedWeight(self.0.weight(scoring)?)))
    }

    fn query_terms<'a>(&'a self, visitor: &mut dyn FnMut(&'a Term, bool)) {
        self.0.query_terms(visitor);
    }
}

struct ExcludedWeight(Box<dyn Weight>);

impl Weight for ExcludedWeight {
    fn scorer(&self, reader: &SegmentReader, boost: Score) -> tantivy::Result<Box<dyn Scorer>> {
        Ok(Box::new(Steps(self.0.scorer(reader, boost)?)))
    }

    fn explain(&self, reader: &SegmentReader, doc: DocId) -> tantivy::Result<Explanation> {
        self.0.explain(reader, doc)
    }
}

struct Steps(Box<dyn Scorer>);

impl DocSet for Steps {
    fn advance(&mut self) -> DocId {
        self.0.advance()
    }

    fn seek(&mut self, target: DocId) -> DocId {
        self.0.seek(target)
    }

    fn doc(&self) -> DocId {
        self.0.doc()
    }

    fn size_hint(&self) -> u32 {
        self.0.size_hint()
    }
}

impl Scorer for Steps {
    fn score(&mut self) -> Score {
        self.0.score()
    }
}
