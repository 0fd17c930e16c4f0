//! What words mean that only one laboratory uses: its answers about keys, values and units, applied to what was read.
//!
//! Words of headers and block marks, and units in headers, are heard by the readers; what stands in fields is heard here.

use std::collections::BTreeSet;

use curvary_archive::Answer;
use curvary_formats::vocabulary::{LocalWord, WordKind, unit_of};
use curvary_formats::{Reading, words};
use curvary_record::interpret::{Customs, interpret_as};
use curvary_record::unit::Spelling;
use curvary_record::{Claim, Fields, Key, Run, Unit, Value, known_field};

/// The answer that a key means no field.
pub const NOTHING: &str = curvary_formats::vocabulary::NOTHING;

/// Whether an answer is heard here, and by no reader.
pub(crate) fn is_of_fields(answer: &Answer) -> bool {
    LocalWord::read(&answer.answer).is_some_and(|word| matches!(word.kind, WordKind::Key | WordKind::Value))
}

/// Whether a reading has keys that no field is known for, or answers may concern fields that are.
pub(crate) fn is_wanted(reading: &Reading, answers: &[Answer]) -> bool {
    concerns_any(answers) && !reading.runs.is_empty() || reading.runs.iter().any(has_unknown)
}

/// Whether answers may concern fields that are known.
pub(crate) fn concerns_any(answers: &[Answer]) -> bool {
    answers.iter().any(|answer| {
        LocalWord::read(&answer.answer)
            .is_some_and(|word| matches!(word.kind, WordKind::Value | WordKind::Unit))
    })
}

/// Whether a run has keys that no field is known for.
pub(crate) fn has_unknown(run: &Run) -> bool {
    let unknown = |fields: &Fields| fields.iter().any(|(key, _)| key.known().is_none());
    unknown(&run.fields) || run.traces.iter().any(|trace| unknown(&trace.fields))
}

/// The answers about axes that values of fields stand for, such as the names of methods: each with the line it came from.
pub(crate) fn by_values(answers: &[&Answer], reading: &Reading) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for answer in answers {
        let Some(word) = LocalWord::read(&answer.answer).filter(|word| word.kind == WordKind::Value) else {
            continue;
        };
        let said = |fields: &Fields| {
            fields.iter().any(|(key, claims)| {
                claims
                    .iter()
                    .any(|claim| is_under(&word, key, claim) && word.is(&claim.raw))
            })
        };
        if word.meaning.contains('=') && reading.runs.iter().any(|run| said(&run.fields)) {
            all.push((word.meaning, answer.answer.clone()));
        }
    }
    all
}

/// Moves claims under keys that were answered about to the fields they mean, and gives values and units their meaning;
/// tells which answers were met.
///
/// A value that is not of the field's kind stays where it was: the key is then asked about again.
pub(crate) fn apply(answers: &[&Answer], reading: &mut Reading, met: &mut Vec<String>) {
    // A later answer about the same word takes the place of an earlier one.
    let mut seen = BTreeSet::new();
    let words: Vec<(&Answer, LocalWord)> = answers
        .iter()
        .rev()
        .filter_map(|answer| Some((*answer, LocalWord::read(&answer.answer)?)))
        .filter(|(_, word)| seen.insert(plain(&word.about())))
        .collect();
    let units: Vec<&(&Answer, LocalWord)> = words
        .iter()
        .filter(|(_, word)| word.kind == WordKind::Unit)
        .collect();
    let mut each = |change: &mut dyn FnMut(&mut Fields) -> bool| {
        let mut changed = false;
        for run in &mut reading.runs {
            changed |= change(&mut run.fields);
            for trace in &mut run.traces {
                changed |= change(&mut trace.fields);
            }
        }
        changed
    };
    let mut note = |answer: &Answer, changed: bool| {
        if changed && !met.contains(&answer.answer) {
            met.push(answer.answer.clone());
        }
    };
    for (answer, word) in &words {
        match word.kind {
            WordKind::Key if word.meaning != NOTHING => {
                let (field, unit) = parts(&word.meaning);
                let Some(field) = known_field(field).map(|known| Key::new(known.key)) else {
                    continue;
                };
                let moved = each(&mut |fields| take_over(fields, &word.word, &field, unit.as_ref(), &units));
                note(answer, moved);
            }
            WordKind::Value if !word.meaning.contains('=') => {
                let moved = each(&mut |fields| translate(fields, word));
                note(answer, moved);
            }
            _ => {}
        }
    }
    for (answer, word) in &units {
        let moved = each(&mut |fields| measure(fields, word));
        note(answer, moved);
    }
}

/// Field and unit of a meaning such as `path-length:cm`.
#[must_use]
pub fn parts(meaning: &str) -> (&str, Option<Unit>) {
    match meaning.split_once(':') {
        Some((field, unit)) => (field.trim(), unit_of(unit)),
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

/// Whether a claim stands under the key of a word's value: the field, or the key as it is spelled.
fn is_under(word: &LocalWord, key: &Key, claim: &Claim) -> bool {
    let of = plain(word.of.as_deref().unwrap_or_default());
    plain(key.as_str()) == of
        || claim
            .spelled
            .as_deref()
            .is_some_and(|spelled| plain(spelled) == of)
}

/// The claims of all fields anew, each as `change` gives it; whether any differs.
fn changed(fields: &mut Fields, change: impl Fn(&Key, &Claim) -> Option<(Key, Claim)>) -> bool {
    let mut all = Fields::default();
    let mut differs = false;
    for (key, claims) in fields.iter() {
        for claim in claims {
            match change(key, claim) {
                Some((key, claim)) => {
                    all.claim(key, claim);
                    differs = true;
                }
                None => all.claim(key.clone(), claim.clone()),
            }
        }
    }
    if differs {
        *fields = all;
    }
    differs
}

fn take_over(
    fields: &mut Fields,
    key: &str,
    field: &Key,
    unit: Option<&Unit>,
    units: &[&(&Answer, LocalWord)],
) -> bool {
    changed(fields, |own, claim| {
        if own.known().is_some() || plain(own.as_str()) != plain(key) {
            return None;
        }
        let in_local_unit = units
            .iter()
            .find_map(|(_, word)| measured(own, claim, field, word));
        let claim = in_local_unit.or_else(|| understood(own, claim, field, unit))?;
        Some((field.clone(), claim))
    })
}

/// Gives a value the meaning of a word, in place of its own spelling, which stays as the raw text.
fn translate(fields: &mut Fields, word: &LocalWord) -> bool {
    changed(fields, |own, claim| {
        if !is_under(word, own, claim) || !word.is(&claim.raw) {
            return None;
        }
        let found = interpret_as(own, &word.meaning, None, Customs::default());
        if own.known().is_some() && (!found.fits || found.question.is_some()) {
            return None;
        }
        let meant = found.claim(claim.raw.clone(), claim.origin.clone());
        let meant = match &claim.spelled {
            Some(spelled) => meant.spelled(spelled.clone()),
            None => meant,
        };
        (meant != *claim).then(|| (own.clone(), meant))
    })
}

/// Takes numbers in a local unit for what they are, under the field that their key means.
fn measure(fields: &mut Fields, word: &LocalWord) -> bool {
    changed(fields, |own, claim| {
        let known = words::field_of(own.as_str()).map_or_else(|| own.clone(), Key::new);
        let claim = measured(own, claim, &known, word)?;
        Some((known, claim))
    })
}

/// A claim that is a number in a local unit, as one of a field.
fn measured(own: &Key, claim: &Claim, field: &Key, word: &LocalWord) -> Option<Claim> {
    let Value::Text(_) = &claim.value else {
        return None;
    };
    let raw = claim.raw.trim();
    let number = raw.strip_suffix(word.word.as_str())?.trim();
    if number.is_empty() || !number.ends_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let unit = unit_of(&word.meaning)?;
    let stated = Spelling::One(unit);
    let found = interpret_as(field, number, Some(&stated), Customs::default());
    let is_number = matches!(found.value, Value::Number(_) | Value::Range { .. });
    (is_number && found.fits && found.question.is_none()).then(|| {
        let spelled = claim.spelled.clone().unwrap_or_else(|| own.to_string());
        found
            .claim(claim.raw.clone(), claim.origin.clone())
            .spelled(spelled)
    })
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
