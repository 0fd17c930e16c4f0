//! A run as it is seen: what was stored, with everything that was said about it since.

use std::collections::BTreeMap;

use curvary_record::interpret::{apply_words, interpret};
use curvary_record::{Claim, Key, Origin, Outcome, Run};

use crate::{Note, Settings, holding};

/// A run with the words of the house, the rules for names over all its paths, and the notes laid over it.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// The run; its fields hold the claims of every origin, strongest first.
    pub run: Run,
    /// Every path under which its source was met, first met first.
    pub paths: Vec<String>,
    /// Whether a newer version has taken the source's place under all of its paths.
    pub superseded: bool,
    /// The notes about it, oldest first.
    pub notes: Vec<Note>,
    /// What computations found about it, oldest first.
    pub outcomes: Vec<Outcome>,
}

/// What stands before a result's name where a note takes it back.
const RESULT: &str = "result:";

/// What stands before a result's name where a note says that it is out of date, or, said again, that it is not.
const OUTDATED: &str = "outdated:";

/// The results of a run as they are seen: those that were taken back are gone, those that a note has made out of date are marked.
pub(crate) fn see(outcomes: &mut Vec<Outcome>, notes: &[Note]) {
    outcomes.retain(|outcome| !is_taken_back(&outcome.id, notes));
    for outcome in outcomes {
        let is_so = said_of_result(OUTDATED, &outcome.id, notes);
        outcome.mark_out_of_date(is_so);
    }
}

/// What a note says to mark a result as out of date, and, said once more, to take the mark away.
#[must_use]
pub fn out_of_date(result: &str) -> String {
    format!("{OUTDATED}{result}")
}

/// The results that count: a note that takes one back for the second time lets it count again.
pub(crate) fn standing<'a>(outcomes: &'a [Outcome], notes: &'a [Note]) -> impl Iterator<Item = &'a Outcome> {
    outcomes
        .iter()
        .filter(move |outcome| !is_taken_back(&outcome.id, notes))
}

/// Whether the notes about a run say that one of its results does not count.
#[must_use]
pub fn is_taken_back(result: &str, notes: &[Note]) -> bool {
    said_of_result(RESULT, result, notes)
}

/// Whether notes say a thing of a result an odd number of times: the second time takes it back.
fn said_of_result(what: &str, result: &str, notes: &[Note]) -> bool {
    let undone = notes.iter().flat_map(|note| &note.undo);
    undone
        .filter(|said| said.strip_prefix(what) == Some(result))
        .count()
        % 2
        == 1
}

/// Lays words of the house, rules for names and notes over a stored run.
pub(crate) fn lay_over(run: &mut Run, settings: &Settings, paths: &[String], notes: &[Note]) {
    if !settings.words.is_empty() {
        run.fields = apply_words(&run.fields, &settings.words);
        for trace in run.traces.iter_mut().filter(|trace| !trace.fields.is_empty()) {
            trace.fields = apply_words(&trace.fields, &settings.words);
        }
    }
    if !settings.rules.is_empty() {
        for path in paths {
            for (key, claim) in settings.rules.apply(path) {
                run.fields.claim(key, claim);
            }
        }
    }
    let holding = holding(notes);
    // Of several notes about a field the newest counts; older ones are history and no dispute.
    let mut newest: BTreeMap<&str, usize> = BTreeMap::new();
    for (number, said) in holding.iter().enumerate() {
        newest.extend(said.iter().map(|field| (*field, number)));
    }
    for (number, note) in notes.iter().enumerate() {
        for (field, text) in &note.fields {
            if newest.get(field.as_str()) != Some(&number) {
                continue;
            }
            let origin = Origin::Note {
                at: Some(note.at.clone()).filter(|at| !at.is_empty()),
                author: note.author.clone(),
            };
            let key = Key::new(field.as_str());
            let meant = interpret(&key, text, None);
            // What cannot be understood, or in two ways, stays words: nothing computes with those.
            let claim = if meant.fits && meant.question.is_none() {
                meant.claim(text.as_str(), origin)
            } else {
                Claim::text(text.as_str(), origin)
            };
            run.fields.claim(key, claim);
        }
    }
}
