//! What needs a person, most frequent cause first.

use curvary_record::{Alternative, RunId};
use serde::Serialize;

/// Everything that needs a person. Every list is ordered by count, largest first, then by name.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Worklist {
    /// Files that no reader could read, by cause.
    pub unread: Vec<UnreadGroup>,
    /// Open questions, by kind.
    pub questions: Vec<QuestionGroup>,
    /// Fields on which sources, names and notes do not agree.
    pub disputes: Vec<DisputeGroup>,
    /// How many runs have no sample name.
    pub nameless: u64,
    /// The first few of them.
    pub nameless_examples: Vec<RunId>,
    /// Keys that no field is known for.
    pub words: Vec<HouseWord>,
}

/// Files that could not be read for one cause.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UnreadGroup {
    /// The diagnostic's code.
    pub code: String,
    /// The first file's message.
    pub message: String,
    /// How many files.
    pub count: u64,
    /// The first few paths.
    pub examples: Vec<String>,
}

/// Runs with one kind of question.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct QuestionGroup {
    /// The question's code; `question:CODE` is the query for all of them.
    pub code: String,
    /// The first run's question.
    pub message: String,
    /// The readings of the first run's question.
    pub readings: Vec<Alternative>,
    /// How many runs.
    pub count: u64,
    /// The first few runs.
    pub examples: Vec<RunId>,
}

/// Runs in which the claims about one field differ.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DisputeGroup {
    /// The field; `dispute:FIELD` is the query for all of them.
    pub field: String,
    /// How many runs.
    pub count: u64,
    /// The first few runs, each with the claims as they stood.
    pub examples: Vec<(RunId, Vec<String>)>,
}

/// A key of the house: one that no field is known for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HouseWord {
    /// The key in its own spelling.
    pub key: String,
    /// How many runs have it.
    pub count: u64,
    /// The first few different values, as they stood.
    pub values: Vec<String>,
    /// The field that it probably means, where unit or values suggest one.
    pub suggests: Option<String>,
    /// Why.
    pub because: Option<String>,
}
