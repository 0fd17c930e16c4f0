//! A run as it is seen: what was stored, with everything that was said about it since.

use curvary_record::unit::spelled;
use curvary_record::{Claim, Key, Origin, Outcome, Run, Unit, Value, ValueKind};

use crate::query::number_and_unit;
use crate::{Note, Settings};

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

/// Lays words of the house, rules for names and notes over a stored run.
pub(crate) fn lay_over(run: &mut Run, settings: &Settings, paths: &[String], notes: &[Note]) {
    for (spelling, field) in &settings.words {
        take_word(&mut run.fields, spelling, field);
        for trace in &mut run.traces {
            take_word(&mut trace.fields, spelling, field);
        }
    }
    let _ = paths;
    for note in notes {
        for (field, text) in &note.fields {
            let origin = Origin::Note {
                at: Some(note.at.clone()).filter(|at| !at.is_empty()),
                author: note.author.clone(),
            };
            run.fields
                .claim(field.as_str(), typed(field, Claim::text(text.as_str(), origin)));
        }
    }
}

/// Files the claims under a key of the house under the field that it means.
fn take_word(fields: &mut curvary_record::Fields, spelling: &str, field: &str) {
    for claim in fields.remove(spelling) {
        let claim = match claim.spelled {
            Some(_) => claim,
            None => claim.spelled(spelling),
        };
        fields.claim(field, typed(field, claim));
    }
}

/// The claim as its field wants it, when the text says a number with a unit beyond doubt; else as it is.
fn typed(field: &str, claim: Claim) -> Claim {
    let Some(ValueKind::Number(customary)) = Key::new(field).known().map(|known| known.kind) else {
        return claim;
    };
    let Value::Text(text) = &claim.value else {
        return claim;
    };
    let Some((number, unit)) = number_and_unit(text) else {
        return claim;
    };
    let like = Unit::ucum(customary).unwrap_or(Unit::ONE);
    let unit = if unit.is_empty() {
        like
    } else {
        let meant = spelled(unit);
        match meant.like(&like).or(meant.one()) {
            Some(unit) => unit.clone(),
            None => return claim,
        }
    };
    Claim {
        value: Value::Number(number),
        unit: Some(unit),
        ..claim
    }
}
