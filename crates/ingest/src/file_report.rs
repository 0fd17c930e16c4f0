//! What became of one file.

use curvary_record::{Code, Diagnostic, Digest, RunId, Verdict};
use serde::Serialize;

use crate::desk::FileReading;

/// What became of one file. As JSON it is a line of `--report`.
#[derive(Clone, Debug, Serialize)]
pub struct FileReport {
    /// The path, with `/` between folders; inside a container `outer.zip!/inner.txt`.
    pub path: String,
    /// The digest of the bytes, unless they could not be read.
    pub digest: Option<Digest>,
    /// How its reading went.
    pub verdict: Verdict,
    /// The reader, unless none knew it.
    pub reader: Option<String>,
    /// How many runs it gave.
    pub runs: u64,
    /// How many points these have.
    pub points: Option<u64>,
    /// What was odd, about the file and about its runs.
    pub remarks: Vec<Diagnostic>,
    /// Codes of the questions that its runs leave open, with what is asked.
    #[serde(skip)]
    pub questions: Vec<(Code, String)>,
    /// The answers that the file asked for, as `about=answer`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<String>,
    /// The digest of what stood at this path before, when the file has changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaces: Option<Digest>,
    /// How many runs took over notes or results from the earlier version, since their numbers are the same.
    #[serde(skip_serializing_if = "is_zero")]
    pub inherited: u64,
    /// Runs of the earlier version whose notes or results hold for no run of this one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left_behind: Vec<RunId>,
    /// The path of another file with the same bytes, when this path is new.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub same_as: Option<String>,
    /// Length in bytes.
    #[serde(skip)]
    pub bytes: u64,
    /// Whether the archive had it already, under this path.
    #[serde(skip)]
    pub known: bool,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "the serialiser hands it over so"
)]
fn is_zero(number: &u64) -> bool {
    *number == 0
}

impl FileReport {
    /// A file that was read, or refused.
    #[must_use]
    pub fn of(finished: &FileReading) -> Self {
        let FileReading {
            source,
            card,
            reading,
            met,
            ..
        } = finished;
        let of_runs = reading.runs.iter().flat_map(|run| run.remarks.iter());
        let questions = reading.runs.iter().flat_map(|run| run.questions.iter());
        Self {
            path: source.path().to_owned(),
            digest: Some(source.digest().clone()),
            verdict: finished.verdict(),
            reader: card.as_ref().map(|card| card.id.clone()),
            runs: reading.runs.len() as u64,
            points: Some(reading.runs.iter().map(|run| run.points() as u64).sum()),
            remarks: reading.remarks.iter().chain(of_runs).cloned().collect(),
            questions: questions
                .map(|question| (question.code.clone(), question.message.clone()))
                .collect(),
            answers: met.clone(),
            replaces: None,
            inherited: 0,
            left_behind: Vec::new(),
            same_as: None,
            bytes: source.bytes().len() as u64,
            known: false,
        }
    }

    /// A file that could not be read at all.
    #[must_use]
    pub fn failed(path: impl Into<String>, why: Diagnostic) -> Self {
        Self {
            path: path.into(),
            digest: None,
            verdict: Verdict::Failed,
            reader: None,
            runs: 0,
            points: Some(0),
            remarks: vec![why],
            questions: Vec::new(),
            answers: Vec::new(),
            replaces: None,
            inherited: 0,
            left_behind: Vec::new(),
            same_as: None,
            bytes: 0,
            known: false,
        }
    }

    /// A file that the archive has under this path, unchanged.
    #[must_use]
    pub fn unchanged(path: impl Into<String>) -> Self {
        Self {
            path: path.into(),
            digest: None,
            verdict: Verdict::Read,
            reader: None,
            runs: 0,
            points: None,
            remarks: Vec::new(),
            questions: Vec::new(),
            answers: Vec::new(),
            replaces: None,
            inherited: 0,
            left_behind: Vec::new(),
            same_as: None,
            bytes: 0,
            known: true,
        }
    }
}
