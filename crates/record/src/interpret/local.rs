//! Local words for fields: those a person has accepted, and what an unknown one probably means.

use std::collections::BTreeMap;

use super::{Customs, interpret, interpret_as};
use crate::light::AMONG_OTHERS;
use crate::moment::{self, DateReading};
use crate::unit::Spelling;
use crate::{Claim, Fields, Key, Unit, Value, known_field};

/// Path lengths of cells in nanometres: 0.1 mm to 20 cm.
const PATH_LENGTHS: std::ops::RangeInclusive<f64> = 1e5..=2e8;
/// No photometer has a wider slit, in nanometres.
const WIDEST_BAND: f64 = 20.0;

/// The fields with the words of the house accepted: claims under an unknown key that `words` names (without regard to
/// case and blanks) move to the field it names, their raw text read anew. Claims that are not of the field's kind
/// stay where they are.
#[must_use]
pub fn apply_words(fields: &Fields, words: &BTreeMap<String, String>) -> Fields {
    let plain = |word: &str| {
        word.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase()
    };
    let accepted: BTreeMap<String, &str> = words
        .iter()
        .filter_map(|(word, field)| Some((plain(word), known_field(field)?.key)))
        .collect();
    let mut all = Fields::default();
    for (key, claims) in fields.iter() {
        let field = accepted
            .get(&plain(key.as_str()))
            .filter(|_| key.known().is_none());
        for claim in claims.iter().rev() {
            // Notes are put in front of each other, so the oldest goes first; the rest keep their order below.
            if claim.origin.rank() == 0 {
                take_over(&mut all, key, field.copied(), claim);
            }
        }
        for claim in claims.iter().filter(|claim| claim.origin.rank() != 0) {
            take_over(&mut all, key, field.copied(), claim);
        }
    }
    all
}

fn take_over(all: &mut Fields, key: &Key, field: Option<&str>, claim: &Claim) {
    let Some(field) = field.map(Key::new) else {
        all.claim(key.clone(), claim.clone());
        return;
    };
    let stated = claim.unit.clone().map(Spelling::One);
    let found = interpret_as(&field, &claim.raw, stated.as_ref(), Customs::default());
    if !found.fits || found.question.is_some() {
        all.claim(key.clone(), claim.clone());
        return;
    }
    let spelled = claim.spelled.clone().unwrap_or_else(|| key.to_string());
    all.claim(
        field,
        found
            .claim(claim.raw.clone(), claim.origin.clone())
            .spelled(spelled),
    );
}

/// The field that an unknown key probably means, going by its values, with the reason; for the worklist.
///
/// Every value must point to the same field. Nothing is claimed by this: a person accepts the word.
#[must_use]
pub fn guess_word(key: &str, values: &[&str]) -> Option<(&'static str, String)> {
    let unknown = Key::new(key);
    if unknown.known().is_some() || values.is_empty() {
        return None;
    }
    let mut guess: Option<&'static str> = None;
    for value in values {
        let found = guess_value(&unknown, value)?;
        if guess.is_some_and(|other| other != found) {
            return None;
        }
        guess = Some(found);
    }
    let field = guess?;
    let examples: Vec<String> = values
        .iter()
        .take(3)
        .map(|value| format!("`{}`", value.trim()))
        .collect();
    Some((
        field,
        format!("its values look like {field}: {}", examples.join(", ")),
    ))
}

fn guess_value(key: &Key, value: &str) -> Option<&'static str> {
    let found = interpret(key, value, None);
    let number = match found.value {
        Value::Number(number) => number,
        Value::Range { from, to } => {
            let unit = found.unit?;
            let nanometres = |value| {
                unit.convert(value, &Unit::NANOMETRE)
                    .is_ok_and(|nm| AMONG_OTHERS.contains(&nm))
            };
            return (nanometres(from) && nanometres(to)).then_some("wavelength-range");
        }
        Value::Text(text) => {
            let moment = moment::read(&text, None);
            return match (moment.date, moment.time) {
                (DateReading::No, Some(_)) => Some("time"),
                (DateReading::No, None) => None,
                _ => Some("date"),
            };
        }
    };
    let unit = found.unit?;
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    let nanometres = unit.convert(number, &Unit::NANOMETRE).ok();
    Some(match nanometres {
        Some(nm) if AMONG_OTHERS.contains(&nm) => "wavelength",
        Some(nm) if PATH_LENGTHS.contains(&nm) => "path-length",
        Some(nm) if nm > 0.0 && nm <= WIDEST_BAND => "bandwidth",
        Some(_) => return None,
        None if like("K") => "temperature",
        None if like("[pH]") => "ph",
        None if like("mol/L") || like("g/L") => "concentration",
        None if like("L/mol/cm") => "molar-absorption-coefficient",
        None if like("nm/min") => "scan-speed",
        None if like("U/mL") || like("U/mg") => "activity",
        None if like("g/mol") => "molar-mass",
        None if like("L") => "volume",
        None if like("K/min") => "heating-rate",
        None => return None,
    })
}
