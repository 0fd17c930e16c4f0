//! What is said and found of runs: notes and outcomes, and what becomes of them when a run is read again or gets a newer
//! version.

use std::collections::BTreeSet;

use curvary_record::stored::Record;
use curvary_record::{Diagnostic, Outcome, OutcomeKind, RunId, code};

use super::Writer;
use super::prepared::put_line;
use crate::content::Heir;
use crate::parts::AppendFile;
use crate::{Error, Note, now};

/// A run that was read again, and the one that it is now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    /// Its name before.
    pub before: RunId,
    /// The run of the new reading with the same content; `None` where there is none.
    pub heir: Option<Heir>,
}

impl Moved {
    /// Whether its name is another's now, or nobody's.
    pub(super) fn is_away(&self) -> bool {
        self.heir.as_ref().is_none_or(|heir| heir.after != self.before)
    }
}

impl Writer {
    /// What is taken back of a run's notes because its name is no longer its own, and the same as said of its heir.
    /// Answers stay where they are: they hold for the whole source.
    pub(super) fn moved_notes(&self, moved: &Moved) -> (Note, Vec<Note>) {
        let notes = self.indexer.notes.about(moved.before.as_str());
        let mut taken = Note::about(&moved.before);
        let mut given = Vec::new();
        for (note, said) in notes.iter().zip(crate::holding(notes)) {
            let mut fields = note.fields.clone();
            fields.retain(|field, _| said.contains(&field.as_str()));
            if fields.is_empty() {
                continue;
            }
            taken.undo.extend(fields.keys().cloned());
            given.extend(moved.heir.as_ref().map(|heir| Note {
                at: note.at.clone(),
                author: note.author.clone(),
                fields,
                inherits: Some(moved.before.as_str().to_owned()),
                ..Note::about(&heir.after)
            }));
        }
        (taken, given)
    }

    /// The outcomes about runs that have other names from now on, in those.
    pub(super) fn renamed_outcomes(&self, heirs: &[Heir]) -> Result<Vec<Outcome>, Error> {
        let mut places = BTreeSet::new();
        for Heir { before, .. } in heirs.iter().filter(|heir| heir.results) {
            places.extend(self.indexer.outcomes_of(before.as_str())?);
        }
        let found = places.into_iter().filter_map(|at| match self.indexer.read(at) {
            Ok(Record::Outcome(outcome)) => Some(Ok(*outcome)),
            Ok(_) => None,
            Err(error) => Some(Err(error)),
        });
        let renamed = found.filter_map(|outcome| match outcome {
            Ok(outcome) => renamed(outcome, heirs).map(Ok),
            Err(error) => Some(Err(error)),
        });
        renamed.collect()
    }

    /// Keeps what a computation found. The same outcome twice is kept once; gives whether it is new.
    ///
    /// # Errors
    /// [`Error::NoRun`] when it speaks of a run that the archive has not, or as [`append`](Self::append).
    pub fn put_outcome(&mut self, outcome: Outcome) -> Result<bool, Error> {
        for run in &outcome.runs {
            self.must_have(run.as_str())?;
        }
        if self.indexer.has_outcome(&outcome.id)? {
            return Ok(false);
        }
        self.guarded(|writer| writer.keep_outcome(outcome)).map(|()| true)
    }

    pub(super) fn keep_outcome(&mut self, outcome: Outcome) -> Result<(), Error> {
        self.indexer.expect_outcome(&outcome.id);
        let outcome = Record::Outcome(Box::new(outcome));
        let line = put_line(&mut self.loose.lines, &outcome)?;
        self.loose.ends.push(line.end);
        if let Record::Outcome(outcome) = outcome {
            self.loose.outcomes.push((*outcome, line));
        }
        self.flush_when_long()
    }

    fn must_have(&self, run: &str) -> Result<(), Error> {
        match self.indexer.places(run)? {
            // It must be readable too: nothing is kept about what nobody can look at.
            Some(places) => self.indexer.readable(places.run),
            None => Err(Error::NoRun {
                asked: run.to_owned(),
            }),
        }
    }

    /// Adds a note.
    ///
    /// # Errors
    /// [`Error::NoRun`], [`Error::Note`] when it says nothing, or as [`append`](Self::append).
    pub fn note(&mut self, note: Note) -> Result<(), Error> {
        self.must_have(&note.run)?;
        if note.fields.is_empty() && note.assume.is_empty() && note.undo.is_empty() && note.inherits.is_none()
        {
            return Err(Error::Note {
                message: "the note says nothing: expected a value or an assumption".into(),
            });
        }
        if let Some(wrong) = note.assume.iter().find(|assume| !assume.contains('=')) {
            let message =
                format!("`{wrong}` settles nothing: expected ABOUT=ANSWER, such as `decimal=comma`");
            return Err(Error::Note { message });
        }
        self.guarded(|writer| writer.put_note(note))
    }

    pub(super) fn put_note(&mut self, mut note: Note) -> Result<(), Error> {
        if note.at.is_empty() {
            note.at = now();
        }
        let mut line = serde_json::to_vec(&note).map_err(|error| Error::Note {
            message: format!("the note cannot be kept: {error}"),
        })?;
        line.push(b'\n');
        self.announce()?;
        if self.notes.is_none() {
            self.notes = Some(AppendFile::open(
                &self.root,
                &*self.disk,
                0,
                &self.manifest.notes,
            )?);
        }
        if let Some(notes) = &mut self.notes {
            notes.write(&line)?;
        }
        self.pending += line.len() as u64;
        self.indexer.touch_run(&note.run);
        self.indexer.notes.push(note, line.len() as u64);
        Ok(())
    }

    /// Gives runs that take the place of earlier versions with the same numbers what was said and found of these: pairs of
    /// the earlier run and the later one. Results about a run that `results` does not hold for stay where they are.
    ///
    /// # Errors
    /// As [`note`](Self::note) and [`put_outcome`](Self::put_outcome).
    pub fn inherit(&mut self, heirs: &[Heir]) -> Result<(), Error> {
        for Heir { before, after, .. } in heirs {
            let had = self.indexer.notes.about(after.as_str()).to_vec();
            let given: Vec<Note> = self
                .indexer
                .notes
                .about(before.as_str())
                .iter()
                .map(|note| Note {
                    run: after.as_str().to_owned(),
                    inherits: Some(before.as_str().to_owned()),
                    ..note.clone()
                })
                .collect();
            let fresh = given.into_iter().filter(|note| !had.contains(note));
            let mut said = had
                .iter()
                .any(|note| note.inherits.as_deref() == Some(before.as_str()));
            for note in fresh {
                said = true;
                self.note(note)?;
            }
            if !said {
                self.note(Note {
                    inherits: Some(before.as_str().to_owned()),
                    ..Note::about(after)
                })?;
            }
        }
        for outcome in self.inherited_outcomes(heirs)? {
            self.put_outcome(outcome)?;
        }
        Ok(())
    }

    /// The outcomes about earlier runs that hold for the later ones too, in their names.
    fn inherited_outcomes(&self, heirs: &[Heir]) -> Result<Vec<Outcome>, Error> {
        let mut places = BTreeSet::new();
        for Heir { before, .. } in heirs.iter().filter(|heir| heir.results) {
            places.extend(
                self.indexer
                    .places(before.as_str())?
                    .map_or_else(Vec::new, |at| at.outcomes),
            );
        }
        let mut all = Vec::new();
        for at in places {
            let Record::Outcome(outcome) = self.indexer.read(at)? else {
                continue;
            };
            // What an export states about itself, its later version states or does not.
            if outcome.kind == OutcomeKind::Reported {
                continue;
            }
            let Some(mut outcome) = renamed(*outcome, heirs) else {
                continue;
            };
            let message = "found for an earlier version of the file, in which these numbers are the same";
            let remark = Diagnostic::note(code::INHERITED, message);
            if !outcome.remarks.contains(&remark) {
                outcome.remarks.push(remark);
            }
            all.push(outcome.identified());
        }
        Ok(all)
    }
}

/// An outcome in the names of heirs; `None` when it does not hold for one of them.
fn renamed(outcome: Outcome, heirs: &[Heir]) -> Option<Outcome> {
    let runs = outcome
        .runs
        .iter()
        .map(|run| match heirs.iter().find(|heir| heir.before == *run) {
            Some(heir) => heir.results.then(|| heir.after.clone()),
            None => Some(run.clone()),
        });
    let runs = runs.collect::<Option<Vec<RunId>>>()?;
    Some(Outcome { runs, ..outcome }.identified())
}
