//! Keeps originals and records on disk and finds them again.
//!
//! ```text
//! archive.toml              what people decide: name, rules, words of the house        [Settings]
//! originals/000001.tar.zst  every source bit for bit, a tar file in zstd frames
//! records/000001.jsonl.zst  one JSON record a line, many small zstd frames
//! notes.jsonl               people's corrections of single runs                        [Note]
//! answers.jsonl             what people decided for files that are written alike       [Answer]
//! answers.applied.jsonl     which of them were in force when files were last read       [Unapplied]
//! layouts/                  descriptions of this house's exports
//! manifest.json             what is committed, with its own checksum; the one before is manifest.previous.json
//! unfinished.json           stands while a commit is being written
//! index/                    words, numbers, shapes, known paths: may be deleted at any time
//! aside/                    what a repair could not read
//! archive.lock              names the process that writes
//! ```
//!
//! `docs/archive.md` says the same to those who read an archive without us; a test holds it to these sources.
//!
//! [`Archive`] reads and never waits; [`Writer`] writes, one at a time. Adding has a parallel part,
//! [`Preparer::prepare`], which serialises and compresses on the caller's threads and touches nothing, and a
//! serial part, [`Writer::append`], which only writes what is ready. Nothing counts until [`Writer::commit`].
//!
//! [`Archive::find`] answers a query; [`Archive::alike`] orders what answers it by the likeness to a [`Curve`].

mod alike;
mod answer;
mod archive;
mod aside;
mod asked;
mod asking;
mod asks;
mod cache;
mod catalog;
mod content;
mod copies;
mod current;
mod debris;
mod decimal;
mod digests;
mod disk;
mod excluded;
mod facts;
mod frames;
mod holder;
mod index;
mod indexer;
mod likeness;
mod listing;
mod lock;
mod manifest;
mod mend;
mod note;
mod nothing;
mod originals;
mod parts;
mod query;
mod rebuild;
mod sealed;
mod settings;
mod snippet;
mod sources;
mod summary;
#[cfg(test)]
mod tests;
mod trouble;
mod unfinished;
mod upgrade;
mod verify;
mod view;
mod words;
mod worklist;
mod writer;

pub use alike::{AlikeFound, AlikeHit, AlikeOptions};
pub use answer::{Answer, AnsweredFiles, StoredAnswers, Unapplied};
pub use archive::{
    Archive, Direction, FacetCount, FacetName, Facets, FindOptions, Hit, RunOrder, SearchResult,
};
pub use aside::Mended;
pub use asked::{Example, OpenItem, OpenItemKind};
pub use cache::user_cache;
pub use catalog::Stat;
pub use content::{Heir, heirs_of_reading, heirs_of_version};
pub use copies::{CopyReport, CopyTarget};
pub use digests::SourceKey;
pub use holder::Holder;
pub use likeness::{Curve, NoLikeness};
pub use lock::Unlocked;
pub use note::{Note, holding};
pub use nothing::{Near, NoMatchReason};
pub use query::{Query, Vocabulary};
pub use settings::{FORMAT, Sequence, Settings};
pub use sources::SourceView;
pub use summary::{Fact, Summary};
pub use trouble::{Error, QueryError};
pub use verify::{VerifyProblem, VerifyReport};
pub use view::{View, is_taken_back, out_of_date};
pub use worklist::{DisputeGroup, HouseWord, QuestionGroup, Replaced, UnreadGroup, Worklist};
pub use writer::{Addition, AppendStats, Moved, PathState, PreparedSources, Preparer, SourceByRuns, Writer};

/// What stands in the folder of an archive, by name: the list above. None of it is ever a source.
pub const OWN: [&str; 13] = [
    "aside",
    "answers.applied.jsonl",
    "answers.jsonl",
    "archive.lock",
    "archive.toml",
    "index",
    "layouts",
    "manifest.json",
    "manifest.previous.json",
    "notes.jsonl",
    "originals",
    "records",
    "unfinished.json",
];

/// The schemas of what people say to an archive, by their file names in `schemas/`, as pretty JSON: a line of `answers.jsonl`, a
/// line of `notes.jsonl`.
#[must_use]
pub fn schemas() -> Vec<(&'static str, String)> {
    use curvary_record::schema::schema_of;

    vec![
        (
            "answer-v1.json",
            schema_of::<Answer>("answer-v1.json", "One line of an archive's `answers.jsonl`."),
        ),
        (
            "note-v1.json",
            schema_of::<Note>("note-v1.json", "One line of an archive's `notes.jsonl`."),
        ),
    ]
}

/// This moment, RFC 3339 in UTC to the second.
pub(crate) fn now() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}
