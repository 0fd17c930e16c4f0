//! What can be asked of a run, drawn from its record and everything laid over it. The index files these facts, and
//! nothing else.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{
    Claim, Coordinate, Outcome, Quantity, Run, Severity, Unit, Value, ValueKind, known_field,
};

use crate::query::dimension;
use crate::summary::{Fact, Summary, unit_of};
use crate::{Note, Settings, asks, holding, likeness, view};

/// What can be asked of a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Facts {
    pub(crate) id: String,
    pub(crate) digest: String,
    /// Words of closed lists: `technique`, `reader`, `has`, `is`, `question`, `remark`, `dispute`, `house`, `year`, …
    pub(crate) exact: BTreeMap<String, BTreeSet<String>>,
    /// The strongest short text of a field, for ordering and counting.
    pub(crate) shown: Vec<(String, String)>,
    /// Texts by field.
    pub(crate) texts: BTreeMap<String, Vec<String>>,
    /// Numbers by field and SI unit; under the empty unit as they were written.
    pub(crate) numbers: BTreeMap<(String, String), Vec<f64>>,
    /// Spans by field and SI unit, smaller end first.
    pub(crate) spans: BTreeMap<(String, String), (f64, f64)>,
    /// Day of the measurement, as year, month, day in one decimal number.
    pub(crate) day: Option<i64>,
    /// Second of that day.
    pub(crate) second: i64,
    /// The signatures of the curves.
    pub(crate) shapes: Vec<Vec<u8>>,
    pub(crate) summary: Summary,
}

/// Longer texts are cut in the summary; the record has them whole.
const SUMMARY_TEXT: usize = 240;

/// Everything that is said about a run beside its record.
pub(crate) struct RunContext<'a> {
    pub(crate) settings: &'a Settings,
    pub(crate) paths: &'a [String],
    pub(crate) superseded: bool,
    pub(crate) notes: &'a [Note],
    pub(crate) outcomes: &'a [Outcome],
    /// The short name of the source's family.
    pub(crate) family: Option<String>,
}

impl Facts {
    /// The facts of a run as it is seen today.
    pub(crate) fn of(run: &Run, around: &RunContext<'_>) -> Self {
        let mut seen;
        let settings = around.settings;
        let run = if settings.words.is_empty() && settings.names.is_empty() && around.notes.is_empty() {
            run
        } else {
            // The curves are shared, not copied.
            seen = run.clone();
            view::lay_over(&mut seen, settings, around.paths, around.notes);
            &seen
        };
        let mut facts = Self {
            id: run.id.as_str().to_owned(),
            digest: run.source.digest.as_str().to_owned(),
            shapes: likeness::signatures(run),
            ..Self::default()
        };
        facts.lists(run, around);
        for (key, claims) in run.fields.iter() {
            facts.claims(key.as_str(), claims);
            facts
                .summary
                .fields
                .insert(key.as_str().to_owned(), fact(&claims[0]));
        }
        for trace in &run.traces {
            if let Some(label) = &trace.label {
                facts.text("label", label);
            }
            for (key, claims) in trace.fields.iter() {
                facts.claims(key.as_str(), claims);
            }
            for held in &trace.held {
                facts.held(held);
            }
        }
        facts.names_of_points(run);
        facts.of_traces(run);
        facts.scanned(run);
        for path in around.paths {
            facts.text("path", path);
        }
        for outcome in view::standing(around.outcomes, around.notes) {
            facts.outcome(outcome);
        }
        if let Some(family) = &around.family {
            facts.asked(run, family);
        }
        facts.shown();
        facts.count("traces", run.traces.len());
        facts.count("points", run.points());
        if let Some(Fact {
            value: Value::Text(date),
            ..
        }) = facts.summary.fields.get("date")
        {
            facts.day = day(date);
        }
        if let Some(Fact {
            value: Value::Text(time),
            ..
        }) = facts.summary.fields.get("time")
            && let Some(second) = second(time)
        {
            facts.second = second;
            #[expect(clippy::cast_precision_loss, reason = "a day has 86,400 seconds")]
            facts.number("time", "s", second as f64);
        }
        if let Some(day) = facts.day {
            facts.exact("year", (day / 10_000).to_string());
        }
        facts
    }

    /// Names beside points are found as labels of curves are, each once; a plate has hundreds.
    fn names_of_points(&mut self, run: &Run) {
        let names: BTreeSet<&String> = run.traces.iter().flat_map(|trace| &trace.row_names).collect();
        if names.is_empty() {
            return;
        }
        let texts = self.texts.entry("label".to_owned()).or_default();
        let labels: BTreeSet<String> = texts.iter().cloned().collect();
        let new = names
            .into_iter()
            .filter(|name| !name.trim().is_empty() && !labels.contains(*name));
        texts.extend(new.cloned());
    }

    fn lists(&mut self, run: &Run, around: &RunContext<'_>) {
        self.exact("technique", run.technique.as_str().to_lowercase());
        let reader = run.source.reader.to_lowercase();
        if let Some((_, name)) = reader.split_once('/') {
            self.exact("reader", name.to_owned());
        }
        self.exact("reader", reader);
        self.exact("is", if run.in_question() { "in-question" } else { "read" });
        if around.superseded {
            self.exact("is", "superseded");
        }
        if around.paths.len() > 1 {
            self.exact("is", "duplicate");
        }
        for question in &run.questions {
            self.exact("question", question.code.as_str());
            self.exact("has", "question");
        }
        for remark in &run.remarks {
            self.exact("remark", remark.code.as_str());
            self.exact("has", "remark");
            if remark.severity >= Severity::Warning {
                self.exact("has", "warning");
            }
        }
        for (key, _) in run.fields.disputes() {
            self.exact("dispute", key.as_str());
            self.exact("has", "dispute");
        }
        if holding(around.notes).iter().any(|said| !said.is_empty()) {
            self.exact("has", "note");
        }
        let mut seen = around.outcomes.to_vec();
        view::see(&mut seen, around.notes);
        if seen.iter().any(Outcome::is_out_of_date) {
            self.exact("is", "out-of-date");
        }
        for outcome in around.outcomes {
            self.exact("outcome", outcome.id.as_str());
        }
        let standing: Vec<&Outcome> = view::standing(around.outcomes, around.notes).collect();
        if !standing.is_empty() {
            self.exact("has", "result");
        }
        let every = |list: &str| {
            self.exact
                .get(list)
                .map_or_else(Vec::new, |all| all.iter().cloned().collect())
        };
        let mut results: Vec<String> = Vec::new();
        for outcome in standing {
            if !results.contains(&outcome.model) {
                results.push(outcome.model.clone());
            }
        }
        self.summary = Summary {
            technique: run.technique.as_str().to_owned(),
            reader: run.source.reader.clone(),
            paths: around.paths.to_vec(),
            // Filed by itself, in fewer bytes.
            digest: String::new(),
            traces: run.traces.len() as u64,
            points: run.points() as u64,
            superseded: around.superseded,
            questions: every("question"),
            disputes: every("dispute"),
            results,
            fields: BTreeMap::new(),
        };
    }

    /// What a person is asked about the family: open questions, and keys that no field is known for.
    fn asked(&mut self, run: &Run, family: &str) {
        for question in &run.questions {
            self.exact("asked", asks::of_question(family, question));
        }
        let keys: Vec<String> = run
            .fields
            .iter()
            .filter(|(key, _)| known_field(key.as_str()).is_none())
            .map(|(key, _)| asks::of_key(family, key.as_str()))
            .collect();
        for key in keys {
            self.exact("asked", key);
        }
    }

    /// The short texts by which runs are ordered and counted.
    fn shown(&mut self) {
        for (key, fact) in &self.summary.fields {
            if let Value::Text(text) = &fact.value
                && matches!(known_field(key).map(|known| known.kind), Some(ValueKind::Text))
                && text.len() <= SUMMARY_TEXT
            {
                self.shown.push((key.clone(), text.trim().to_owned()));
            }
        }
        if let Some(path) = self.summary.paths.first() {
            self.shown.push(("path".to_owned(), path.clone()));
        }
    }

    fn exact(&mut self, list: &str, word: impl Into<String>) {
        // Most lists are there already, and a name for a new one is not made in vain.
        match self.exact.get_mut(list) {
            Some(words) => words.insert(word.into()),
            None => self.exact.entry(list.to_owned()).or_default().insert(word.into()),
        };
    }

    fn text(&mut self, key: &str, text: &str) {
        if text.trim().is_empty() {
            return;
        }
        match self.texts.get_mut(key) {
            // The same words in the same order, `2023/02/07` and `2023-02-07`, are found by the same queries.
            Some(texts) if texts.iter().any(|known| are_same_words(known, text)) => {}
            Some(texts) => texts.push(text.to_owned()),
            None => {
                self.texts.insert(key.to_owned(), vec![text.to_owned()]);
            }
        }
    }

    fn number(&mut self, key: &str, unit: &str, value: f64) {
        if value.is_finite() {
            // A negative zero is a zero.
            let value = value + 0.0;
            let values = self.numbers.entry((key.to_owned(), unit.to_owned())).or_default();
            if !values.contains(&value) {
                values.push(value);
            }
        }
    }

    fn count(&mut self, key: &str, count: usize) {
        #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
        self.number(key, "", count as f64);
    }

    /// Files the claims of one field: every text, and the value of the strongest claim.
    fn claims(&mut self, key: &str, claims: &[Claim]) {
        self.exact("has", key);
        if known_field(key).is_none() {
            self.exact("house", key);
        }
        for claim in claims {
            if let Value::Text(text) = &claim.value {
                self.text(key, text);
            }
            self.text(key, &claim.raw);
        }
        let Some(claim) = claims.first() else {
            return;
        };
        if key == "tag"
            && let Value::Text(tags) = &claim.value
        {
            for tag in tags.split(',').map(str::trim).filter(|tag| !tag.is_empty()) {
                self.exact("tag", tag);
            }
        }
        match claim.value {
            Value::Number(value) => self.quantity(key, value, claim.unit.as_ref()),
            Value::Range { from, to } => self.span(key, from, to, claim.unit.as_ref()),
            Value::Text(_) => {}
        }
    }

    fn quantity(&mut self, key: &str, value: f64, unit: Option<&Unit>) {
        if let Some(unit) = unit_of(key, unit) {
            self.number(key, &dimension(&unit), unit.to_si(value));
        }
        if known_field(key).is_none() {
            self.number(key, "", value);
        }
        // Results of one name are in many units, and are ordered in one.
        if key.starts_with("result.")
            && let Some(unit) = unit_of(key, unit)
        {
            self.number(key, "si", unit.to_si(value));
        }
    }

    fn span(&mut self, key: &str, from: f64, to: f64, unit: Option<&Unit>) {
        let mut file = |unit: String, a: f64, b: f64| {
            if a.is_finite() && b.is_finite() {
                let (low, high) = (a.min(b) + 0.0, a.max(b) + 0.0);
                let span = self.spans.entry((key.to_owned(), unit)).or_insert((low, high));
                *span = (span.0.min(low), span.1.max(high));
            }
        };
        if let Some(unit) = unit_of(key, unit) {
            file(dimension(&unit), unit.to_si(from), unit.to_si(to));
        }
        if known_field(key).is_none() {
            file(String::new(), from, to);
        }
    }

    /// A coordinate that a curve holds is a value of the field of the same name.
    fn held(&mut self, held: &Coordinate) {
        let key = held.quantity.as_str();
        if matches!(
            known_field(key).map(|known| known.kind),
            Some(ValueKind::Number(_))
        ) {
            self.exact("has", key);
            self.quantity(key, held.value, Some(&held.unit));
        }
    }

    /// What the traces have each of their own is shown as a range where the run says nothing of it.
    fn of_traces(&mut self, run: &Run) {
        let mut all: BTreeMap<&str, Vec<(f64, Option<&Unit>)>> = BTreeMap::new();
        for trace in &run.traces {
            for held in &trace.held {
                let own = (held.value, Some(&held.unit));
                all.entry(held.quantity.as_str()).or_default().push(own);
            }
            for (key, claims) in trace.fields.iter() {
                if let Some(Value::Number(value)) = claims.first().map(|claim| &claim.value) {
                    let own = (*value, claims[0].unit.as_ref());
                    all.entry(key.as_str()).or_default().push(own);
                }
            }
        }
        for (key, values) in all {
            let known = known_field(key).map(|known| known.kind);
            let said = self.summary.fields.contains_key(key);
            let one_unit = values.iter().all(|value| value.1 == values[0].1);
            if said || !one_unit || !matches!(known, Some(ValueKind::Number(_))) {
                continue;
            }
            let (from, to) = values
                .iter()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (value, _)| {
                    (low.min(*value), high.max(*value))
                });
            let value = if from < to {
                Value::Range { from, to }
            } else {
                Value::Number(from)
            };
            let unit = values[0].1.cloned();
            self.summary.fields.insert(key.to_owned(), Fact { value, unit });
        }
    }

    /// The wavelengths that the curves run over, unless a claim says them.
    fn scanned(&mut self, run: &Run) {
        const KEY: &str = "wavelength-range";
        if self.spans.keys().any(|(key, _)| key == KEY) {
            return;
        }
        for trace in run
            .traces
            .iter()
            .filter(|trace| trace.x.quantity == Quantity::WAVELENGTH)
        {
            let ends = trace.x.values.iter().fold(None, |ends: Option<(f64, f64)>, &x| {
                Some(ends.map_or((x, x), |(low, high)| (low.min(x), high.max(x))))
            });
            if let Some((low, high)) = ends {
                self.span(KEY, low, high, Some(&trace.x.unit));
            }
        }
    }

    fn outcome(&mut self, outcome: &Outcome) {
        self.text("result.model", &outcome.model);
        self.text("result.kind", outcome.kind.as_str());
        self.text("result.termination", &outcome.termination);
        for parameter in &outcome.parameters {
            if let Some(value) = parameter.value {
                let key = format!("result.{}", parameter.name.to_lowercase());
                self.quantity(&key, value, Some(parameter.unit.as_ref().unwrap_or(&Unit::ONE)));
            }
        }
    }
}

/// Whether two texts are the same words, as far as plain letters and digits tell.
fn are_same_words(one: &str, other: &str) -> bool {
    fn words(text: &str) -> impl Iterator<Item = &str> {
        text.split(|sign: char| sign.is_ascii() && !sign.is_ascii_alphanumeric())
            .filter(|word| !word.is_empty())
    }
    one == other || words(one).eq(words(other))
}

fn fact(claim: &Claim) -> Fact {
    let value = match &claim.value {
        Value::Text(text) if text.len() > SUMMARY_TEXT => {
            Value::Text(format!("{}…", &text[..text.floor_char_boundary(SUMMARY_TEXT)]))
        }
        value => value.clone(),
    };
    Fact {
        value,
        unit: claim.unit.clone(),
    }
}

/// The day that an ISO 8601 date begins with.
fn day(text: &str) -> Option<i64> {
    let date: jiff::civil::Date = text.get(..10)?.parse().ok()?;
    Some((i64::from(date.year()) * 100 + i64::from(date.month())) * 100 + i64::from(date.day()))
}

fn second(text: &str) -> Option<i64> {
    let time: jiff::civil::Time = text.parse().ok()?;
    Some((i64::from(time.hour()) * 60 + i64::from(time.minute())) * 60 + i64::from(time.second()))
}
