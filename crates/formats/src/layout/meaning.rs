//! What a layout adds to the runs that the built-in reader made: meanings of keys, constants, the technique.

use curvary_record::interpret::{Customs, interpret, interpret_as};
use curvary_record::moment::DatePartOrder;
use curvary_record::unit::Spelling;
use curvary_record::{
    Claim, Code, Coordinate, Diagnostic, Fields, Key, Label, Origin, Place, Quantity, Question, Run,
    Technique, Unit, Value,
};

use super::Layout;
use super::description::{KeyMeaning, raw_of};
use crate::{Reading, Source};

impl Layout {
    /// Gives a run what the layout knows of it.
    pub(super) fn give_meaning(&self, source: &Source, run: &mut Run) {
        if let Some(reason) = self.settles() {
            run.because.push(reason);
        }
        if !self.description.column.is_empty() {
            run.because
                .push(format!("the layout `{}` says what the columns are", self.name()));
        }
        run.fields = self.with_keys(source, &run.fields, &mut run.questions);
        for trace in &mut run.traces {
            if !trace.fields.is_empty() {
                trace.fields = self.with_keys(source, &trace.fields, &mut run.questions);
            }
        }
        for (field, value) in &self.description.fields {
            let Some(raw) = raw_of(value.get_ref()) else {
                continue;
            };
            let key = Key::new(field.as_str());
            let found = interpret(&key, &raw, None);
            run.fields.claim(key, found.claim(raw, self.origin()));
        }
        if let Some(technique) = &self.description.technique {
            let told = Technique::ALL
                .into_iter()
                .find(|known| known.as_str() == technique.get_ref());
            if let Some(told) = told.filter(|told| *told != run.technique) {
                run.because
                    .push(format!("{told}: the layout `{}` says so", self.name()));
                run.technique = told;
            }
        }
        self.hold_wavelength(run);
    }

    fn origin(&self) -> Origin {
        Origin::Layout {
            layout: self.name().to_owned(),
        }
    }

    /// What the layout settles, as a reason.
    fn settles(&self) -> Option<String> {
        let answers: Vec<String> = self
            .settled
            .iter()
            .map(|(about, answer)| format!("{about}={answer}"))
            .collect();
        (!answers.is_empty()).then(|| format!("the layout `{}` settles {}", self.name(), answers.join(", ")))
    }

    /// The fields with the layout's keys moved to what they mean. The value stood in the source, so its origin stays.
    fn with_keys(&self, source: &Source, fields: &Fields, questions: &mut Vec<Question>) -> Fields {
        if self.description.key.is_empty() {
            return fields.clone();
        }
        let mut all = Fields::default();
        for (key, claims) in fields.iter() {
            for claim in claims {
                let spelling = claim.spelled.as_deref().unwrap_or(key.as_str());
                match self.meaning_of(spelling) {
                    Some(meaning) => {
                        let (field, claim) = read_again(source, meaning, key, claim, questions);
                        all.claim(field, claim);
                    }
                    None => all.claim(key.clone(), claim.clone()),
                }
            }
        }
        all
    }

    fn meaning_of(&self, spelling: &str) -> Option<&KeyMeaning> {
        let plain = |text: &str| {
            text.split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .to_lowercase()
        };
        let spelling = plain(spelling);
        self.description
            .key
            .iter()
            .find(|meaning| plain(meaning.key.get_ref()) == spelling)
    }

    /// Time courses hold the wavelength that the layout's keys or constants tell.
    fn hold_wavelength(&self, run: &mut Run) {
        let told = |claim: &&Claim| match &claim.origin {
            Origin::Layout { .. } => true,
            _ => claim
                .spelled
                .as_deref()
                .is_some_and(|spelling| self.meaning_of(spelling).is_some()),
        };
        let Some(claim) = run.fields.get("wavelength").filter(told) else {
            return;
        };
        let (Value::Number(value), Some(unit)) = (&claim.value, &claim.unit) else {
            return;
        };
        let line = match &claim.origin {
            Origin::Source(place) => Some(place.line).filter(|&line| line > 0),
            _ => None,
        };
        let held = Coordinate {
            quantity: Quantity::WAVELENGTH,
            unit: unit.clone(),
            value: *value,
            raw: Some(claim.raw.clone()),
            line,
        };
        for trace in &mut run.traces {
            if trace.x.quantity == Quantity::TIME && trace.held(&Quantity::WAVELENGTH).is_none() {
                trace.held.push(held.clone());
            }
        }
    }

    /// A remark where the last row of the file is not ended: its last number may be cut.
    pub(super) fn open_end(&self, source: &Source, reading: &Reading) -> Option<Diagnostic> {
        let text = source.text();
        let last = u32::try_from(source.lines().count()).unwrap_or(u32::MAX);
        let cut_off = Code::new("cut-off");
        let told = reading
            .runs
            .iter()
            .any(|run| run.remarks.iter().any(|remark| remark.code == cut_off));
        let reaches = reading
            .runs
            .iter()
            .any(|run| run.source.lines.is_some_and(|(_, line)| line == last));
        if self.description.open_end || told || !reaches || text.ends_with(['\n', '\r']) {
            return None;
        }
        let remark = Diagnostic::warning(
            cut_off,
            "the last row of the file is not ended: its last number may be incomplete",
        );
        Some(
            remark
                .at(Place::line(last as usize), "the end of the file")
                .help("compare it with the original; where this export never ends its last line, the layout can say `open-end = true`"),
        )
    }
}

/// A claim under the field that its key means, its raw text read anew; as it was where the text is not of that kind.
fn read_again(
    source: &Source,
    meaning: &KeyMeaning,
    key: &Key,
    claim: &Claim,
    questions: &mut Vec<Question>,
) -> (Key, Claim) {
    let spelling = claim.spelled.as_deref().unwrap_or(key.as_str());
    let field = Key::new(meaning.field.get_ref().as_str());
    let customs = Customs {
        order: source.assume().get("date").and_then(DatePartOrder::named),
        decimal_comma: source.assume().get("decimal").map(|answer| answer == "comma"),
    };
    let unit = meaning
        .unit
        .as_ref()
        .and_then(|code| Unit::ucum(code.get_ref()).ok());
    let stated = unit.or_else(|| claim.unit.clone()).map(Spelling::One);
    let found = interpret_as(&field, &claim.raw, stated.as_ref(), customs);
    let place = match &claim.origin {
        Origin::Source(place) => place.clone(),
        _ => Place::default(),
    };
    let labels = vec![Label {
        place,
        text: format!("`{spelling}`"),
    }];
    if let Some(mut question) = found.question.clone() {
        question.labels.extend(labels);
        if !source.assume().settle(&question) && !questions.contains(&question) {
            questions.push(question);
        }
    }
    if !found.fits {
        return (key.clone(), claim.clone());
    }
    let claim = found
        .claim(claim.raw.clone(), claim.origin.clone())
        .spelled(spelling);
    (field, claim)
}
