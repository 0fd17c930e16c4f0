//! What keys mean that only one hand uses: answers about keys, applied to what was read.

use std::collections::BTreeSet;

use curvary_archive::Answer;
use curvary_formats::Reading;
use curvary_record::interpret::{Customs, interpret_as};
use curvary_record::unit::Spelling;
use curvary_record::{Claim, Fields, Key, Unit, known_field};

/// The answer that a key means no field.
pub const NOTHING: &str = "nothing";

/// Whether a reading has keys that no field is known for.
pub(crate) fn is_wanted(reading: &Reading) -> bool {
    let unknown = |fields: &Fields| fields.iter().any(|(key, _)| key.known().is_none());
    reading
        .runs
        .iter()
        .any(|run| unknown(&run.fields) || run.traces.iter().any(|trace| unknown(&trace.fields)))
}

/// Moves claims under keys that were answered about to the fields they mean; tells which answers were met.
///
/// A value that is not of the field's kind stays where it was: the key is then asked about again.
pub(crate) fn apply(answers: &[&Answer], reading: &mut Reading, met: &mut Vec<String>) {
    // A later answer about the same key takes the place of an earlier one.
    let mut seen = BTreeSet::new();
    let keys: Vec<(&Answer, &str, &str)> = answers
        .iter()
        .rev()
        .filter_map(|answer| answer.key().map(|(key, meaning)| (*answer, key, meaning)))
        .filter(|(_, key, _)| seen.insert(plain(key)))
        .collect();
    for (answer, key, meaning) in keys {
        if meaning == NOTHING {
            continue;
        }
        let (field, unit) = parts(meaning);
        let Some(field) = known_field(field) else {
            continue;
        };
        let field = Key::new(field.key);
        let mut moved = false;
        for run in &mut reading.runs {
            moved |= take_over(&mut run.fields, key, &field, unit.as_ref());
            for trace in &mut run.traces {
                moved |= take_over(&mut trace.fields, key, &field, unit.as_ref());
            }
        }
        if moved {
            met.push(answer.answer.clone());
        }
    }
}

/// Field and unit of a meaning such as `path-length:cm`.
#[must_use]
pub fn parts(meaning: &str) -> (&str, Option<Unit>) {
    match meaning.split_once(':') {
        Some((field, unit)) => (field.trim(), Unit::ucum(unit.trim()).ok()),
        None => (meaning.trim(), None),
    }
}

/// A key without case and without blanks that say nothing.
pub(crate) fn plain(key: &str) -> String {
    key.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase()
}

fn take_over(fields: &mut Fields, key: &str, field: &Key, unit: Option<&Unit>) -> bool {
    let is_meant = |own: &Key| own.known().is_none() && plain(own.as_str()) == plain(key);
    if !fields.iter().any(|(own, _)| is_meant(own)) {
        return false;
    }
    let mut all = Fields::default();
    let mut moved = false;
    for (own, claims) in fields.iter() {
        for claim in claims {
            match understood(own, claim, field, unit).filter(|_| is_meant(own)) {
                Some(claim) => {
                    all.claim(field.clone(), claim);
                    moved = true;
                }
                None => all.claim(own.clone(), claim.clone()),
            }
        }
    }
    if moved {
        *fields = all;
    }
    moved
}

/// A claim as one of the field, where its value is of the field's kind.
fn understood(own: &Key, claim: &Claim, field: &Key, unit: Option<&Unit>) -> Option<Claim> {
    let stated = claim.unit.clone().or_else(|| unit.cloned()).map(Spelling::One);
    let found = interpret_as(field, &claim.raw, stated.as_ref(), Customs::default());
    (found.fits && found.question.is_none()).then(|| {
        let spelled = claim.spelled.clone().unwrap_or_else(|| own.to_string());
        found
            .claim(claim.raw.clone(), claim.origin.clone())
            .spelled(spelled)
    })
}
