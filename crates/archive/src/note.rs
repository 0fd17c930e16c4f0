//! What people add: corrections of fields and answers to questions. Append-only.

use std::collections::BTreeMap;
use std::path::Path;

use curvary_record::RunId;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Error;
use crate::disk::read_at;
use crate::manifest::Part;

/// One line of `notes.jsonl`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Note {
    /// When it was written, RFC 3339; filled in by `Writer::note` when empty.
    #[serde(default)]
    pub at: String,
    /// Who wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub author: Option<String>,
    /// The run it is about, by its whole name.
    pub run: String,
    /// Values by field, as the person wrote them: `temperature` → `37 °C`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub fields: BTreeMap<String, String>,
    /// Answers that settle questions, such as `decimal=comma`. They hold for the whole source of the run.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub assume: Vec<String>,
    /// What is taken back of earlier notes: fields by name, answers as `about=answer`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub undo: Vec<String>,
    /// The run, an earlier version of this one with the same numbers, that all of this was said of. Such a note may say
    /// nothing more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inherits: Option<String>,
}

/// What each of the notes about a run still says, in their order: fields by name, answers as `about=answer`.
///
/// A later note about the same field takes the place of an earlier one, and what a note takes back holds no more.
/// What a note said before that holds again then.
#[must_use]
pub fn holding(notes: &[Note]) -> Vec<Vec<&str>> {
    let mut all: Vec<Vec<&str>> = Vec::with_capacity(notes.len());
    for note in notes {
        for undone in &note.undo {
            // The newest that says it is taken back.
            for said in all.iter_mut().rev() {
                if let Some(at) = said.iter().position(|one| one == undone) {
                    said.remove(at);
                    break;
                }
            }
        }
        let fields = note.fields.keys().map(String::as_str);
        all.push(fields.chain(note.assume.iter().map(String::as_str)).collect());
    }
    all
}

impl Note {
    /// A note about a run, still empty.
    #[must_use]
    pub fn about(run: &RunId) -> Self {
        Self {
            run: run.as_str().to_owned(),
            ..Self::default()
        }
    }
}

/// Every note, by run.
#[derive(Default)]
pub(crate) struct NoteBook {
    by_run: BTreeMap<String, Vec<Note>>,
    /// Each note's run with the byte at which the note ends, in order.
    order: Vec<(u64, String, usize)>,
    /// Runs whose notes and results later versions have inherited, each with the later run.
    heirs: BTreeMap<String, String>,
    length: u64,
}

impl NoteBook {
    /// The committed notes of an archive, compared with their digests: a note that says something else than the person
    /// wrote must never be believed.
    pub(crate) fn read(root: &Path, part: &Part) -> Result<Self, Error> {
        let mut book = Self::default();
        if part.length == 0 {
            return Ok(book);
        }
        let path = root.join(&part.name);
        let bytes = read_at(&path, 0, usize::try_from(part.length).unwrap_or(usize::MAX))
            .map_err(Error::io("read", &path))?;
        part.compare(&path, &bytes)?;
        for line in bytes.split_inclusive(|&byte| byte == b'\n') {
            let note = serde_json::from_slice(line)
                .map_err(|error| Error::damaged(&path, book.length, error.to_string(), "a note"))?;
            book.push(note, line.len() as u64);
        }
        Ok(book)
    }

    /// Adds a note whose line has `bytes` bytes.
    pub(crate) fn push(&mut self, note: Note, bytes: u64) {
        self.length += bytes;
        if let Some(before) = &note.inherits {
            self.heirs.insert(before.clone(), note.run.clone());
        }
        let notes = self.by_run.entry(note.run.clone()).or_default();
        self.order.push((self.length, note.run.clone(), notes.len()));
        notes.push(note);
    }

    /// The notes about a run, oldest first.
    pub(crate) fn about(&self, run: &str) -> &[Note] {
        self.by_run.get(run).map_or(&[], Vec::as_slice)
    }

    /// Whether any note about a run still says something.
    pub(crate) fn says(&self, run: &str) -> bool {
        holding(self.about(run)).iter().any(|said| !said.is_empty())
    }

    /// The later version of a run that has inherited what was said of it.
    pub(crate) fn heir(&self, run: &str) -> Option<&str> {
        self.heirs.get(run).map(String::as_str)
    }

    /// Every note, oldest first.
    pub(crate) fn iter(&self) -> impl Iterator<Item = &Note> {
        self.beyond(0)
    }

    /// The notes that stand beyond a byte.
    pub(crate) fn beyond(&self, byte: u64) -> impl Iterator<Item = &Note> {
        self.order
            .iter()
            .filter(move |one| one.0 > byte)
            .filter_map(|(_, run, nth)| self.by_run.get(run)?.get(*nth))
    }
}
