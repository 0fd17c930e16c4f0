//! Labels as claims.

use curvary_jcamp_dx::{self as dx, LabelKind};
use curvary_record::interpret::{Customs, Interpretation, interpret_as};
use curvary_record::moment::DatePartOrder;
use curvary_record::unit::Spelling;
use curvary_record::{Claim, Code, Diagnostic, Fields, Key, Origin, Question, Unit};

use super::claim::{claim, key_of, long_date, only_concentration, private_claim};
use super::gathering::Gathering;
use super::ours::{OURS, Ours};
use super::told::{labels, place_of};

use crate::words;

impl Gathering<'_> {
    /// The labels of a block as claims, and what a person must decide about them.
    pub(super) fn claims(&mut self, block: &dx::Block, ours: &Ours, fields: &mut Fields) -> Vec<Question> {
        let prefix = OURS;
        let mut questions = Vec::new();
        for record in &block.records {
            let text = record.value.trim();
            let of_ours =
                record.label.starts_with(prefix) || ours.made.iter().any(|made| *made == *record.label);
            if text.is_empty() || is_structure(&record.label) || of_ours {
                continue;
            }
            if ours.run.is_some() {
                own_claims(record, text, fields);
            } else {
                questions.extend(self.claims_of(record, text, fields));
            }
        }
        for (key, text, place) in &ours.fields {
            let key = Key::new(key.as_str());
            let said = private_claim(&key, text, Origin::Source(place.clone()));
            fields.claim(key, said);
        }
        questions
    }

    /// The claims of one record of another program's file.
    fn claims_of(&mut self, record: &dx::Record, text: &str, fields: &mut Fields) -> Option<Question> {
        let place = place_of(&record.place);
        let assume = self.source.assume();
        let settled = assume.get("date").and_then(DatePartOrder::named);
        // DATE of 4.24 is `YY/MM/DD`; four digits tell the year in any order.
        let two_digit_years = text.split('/').map(str::len).eq([2, 2, 2]);
        let customs = Customs {
            order: settled
                .or((record.label == "DATE" && two_digit_years).then_some(DatePartOrder::YearFirst)),
            decimal_comma: assume.get("decimal").map(|sign| sign == "comma"),
        };
        let listed = (record.label == "CONCENTRATIONS")
            .then(|| only_concentration(text))
            .flatten();
        let (key, meant) = match (&listed, record.kind, record.label.as_str()) {
            (Some(one), ..) => {
                let key = Key::new("concentration");
                let meant = interpret_as(&key, one, None, customs);
                (key, meant)
            }
            (_, LabelKind::Comment, _) => {
                let key = Key::new("comment");
                let meant = interpret_as(&key, text, None, customs);
                (key, meant)
            }
            (_, _, "LONGDATE") => {
                let key = Key::new("date");
                let meant = interpret_as(&key, text, None, customs);
                (key, meant)
            }
            (_, kind, label) => meaning(kind, label, record.spelled.trim(), text, customs),
        };
        let claim = meant
            .claim(text, Origin::Source(place.clone()))
            .spelled(record.spelled.trim());
        if let Some((other, value)) = &meant.aside {
            let mut aside = claim.clone();
            aside.value = value.clone();
            fields.claim(other.clone(), aside);
        }
        fields.claim(key, claim);
        if let Some(assumed) = meant.assumed {
            self.remarks
                .push(Diagnostic::note(Code::new("century-assumed"), assumed).at(place.clone(), ""));
        }
        meant.question.map(|question| Question {
            labels: labels(Some(place)),
            ..question
        })
    }
}

/// The field that a label means, and what its text says. The words of the trade help with labels that are no part of
/// the standard.
pub(super) fn meaning(
    kind: LabelKind,
    label: &str,
    spelled: &str,
    text: &str,
    customs: Customs,
) -> (Key, Interpretation) {
    let key = key_of(label, spelled);
    // By the standard both are in these units.
    let stated = match label {
        "TEMPERATURE" => Some(Spelling::One(Unit::CELSIUS)),
        "PATHLENGTH" => Unit::ucum("cm").ok().map(Spelling::One),
        _ => None,
    };
    let understood = |key: Key| {
        let meant = interpret_as(&key, text, stated.as_ref(), customs);
        (key, meant)
    };
    if key.known().is_some() || kind == LabelKind::Core {
        return understood(key);
    }
    let name = spelled.trim_start_matches(['$', '.']);
    if let Some(field) = words::field_of(name) {
        return understood(Key::new(field));
    }
    let fitting = words::fields_if_fitting(name)
        .iter()
        .map(|field| understood(Key::new(*field)))
        .find(|(_, meant)| meant.fits && meant.unit_written);
    fitting.unwrap_or_else(|| understood(key))
}

/// The claims of a record that our own writer wrote: exactly what it meant.
fn own_claims(record: &dx::Record, text: &str, fields: &mut Fields) {
    let origin = || Origin::Source(place_of(&record.place));
    let spelled = record.spelled.trim();
    let as_stood = |claim: Claim| Claim {
        raw: text.to_owned(),
        ..claim.spelled(spelled)
    };
    let concentration = Key::new("concentration");
    match record.label.as_str() {
        "LONGDATE" => {
            if let Some((date, time)) = long_date(text) {
                fields.claim("date", as_stood(Claim::text(date, origin())));
                if let Some(time) = time {
                    fields.claim("time", as_stood(Claim::text(time, origin())));
                }
            }
        }
        "CONCENTRATIONS" if only_concentration(text).is_some() => {
            let one = only_concentration(text).unwrap_or_default();
            fields.claim(
                concentration.clone(),
                as_stood(claim(&concentration, &one, origin())),
            );
        }
        label => {
            let key = key_of(label, spelled);
            let said = claim(&key, text, origin());
            fields.claim(key, as_stood(said));
        }
    }
}

/// Labels that describe the table or the file, not the measurement.
pub(super) fn is_structure(label: &str) -> bool {
    dx::describes_table(label) || matches!(label, "JCAMP" | "LASTY" | "XLABEL" | "YLABEL")
}
