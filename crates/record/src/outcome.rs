//! What a computation found, kept as a record so that it can be found again and redone.

use std::collections::BTreeMap;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{Code, Diagnostic, Digest, RunId, Unit};

/// An interval of a parameter; a missing end is open, because the data leave it open, unless it says why it was not found.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Interval {
    /// Nominal coverage, such as 0.95.
    pub level: f64,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// How it was made: `t`, `profile-likelihood`, `fieller`, …
    pub kind: String,
    /// Why the lower end was not found, where the search for it failed: there may be one. A missing end without a reason is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_not_found: Option<String>,
    /// Why the upper end was not found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high_not_found: Option<String>,
}

/// One number that was found, with how sure it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Parameter {
    /// Its name, such as `k`, `km`, `vmax`, `peak`.
    pub name: String,
    /// Its value; absent where the data do not determine it.
    pub value: Option<f64>,
    /// Its unit, a UCUM code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Standard error, in the same unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standard_error: Option<f64>,
    /// Intervals, in the same unit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub intervals: Vec<Interval>,
    /// Why it is absent or doubtful, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// What was done to come to an outcome. Records say it as a text, by its name.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub enum OutcomeKind {
    /// A law was fitted: `fit`.
    Fit,
    /// Several laws were fitted, and set one beside another: `comparison`.
    Comparison,
    /// The rate at the beginning of a course: `initial-rate`.
    InitialRate,
    /// Repeated scans as a whole: `scans`.
    Scans,
    /// Rate constants over temperatures: `temperature`.
    Temperature,
    /// Peaks of a spectrum: `peaks`.
    Peaks,
    /// Bands that lie over one another: `bands`.
    Bands,
    /// Concentrations: `quantify`.
    Quantify,
    /// A check of an instrument: `check`.
    Check,
    /// A curve after steps: `processed`.
    Processed,
    /// What a source says of itself: `reported`.
    Reported,
    /// A kind that this version does not know, from a newer one or another program.
    Other(String),
}

impl OutcomeKind {
    const KNOWN: [Self; 11] = [
        Self::Fit,
        Self::Comparison,
        Self::InitialRate,
        Self::Scans,
        Self::Temperature,
        Self::Peaks,
        Self::Bands,
        Self::Quantify,
        Self::Check,
        Self::Processed,
        Self::Reported,
    ];

    /// Its name, as it stands in records.
    #[must_use]
    pub fn as_str(&self) -> &str {
        match self {
            Self::Fit => "fit",
            Self::Comparison => "comparison",
            Self::InitialRate => "initial-rate",
            Self::Scans => "scans",
            Self::Temperature => "temperature",
            Self::Peaks => "peaks",
            Self::Bands => "bands",
            Self::Quantify => "quantify",
            Self::Check => "check",
            Self::Processed => "processed",
            Self::Reported => "reported",
            Self::Other(name) => name,
        }
    }
}

impl From<String> for OutcomeKind {
    fn from(name: String) -> Self {
        let known = Self::KNOWN.into_iter().find(|kind| kind.as_str() == name);
        known.unwrap_or(Self::Other(name))
    }
}

impl From<OutcomeKind> for String {
    fn from(kind: OutcomeKind) -> Self {
        kind.as_str().to_owned()
    }
}

impl fmt::Display for OutcomeKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// What a computation found about one or several runs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Outcome {
    /// Its name: 16 hexadecimal digits made from what was computed, of what, and with what.
    pub id: String,
    /// What was done: `fit`, `initial-rate`, `peaks`, `quantify`, `check`, `reported`, …
    #[schemars(with = "String")]
    pub kind: OutcomeKind,
    /// The runs it speaks of.
    pub runs: Vec<RunId>,
    /// The trace of the run (from 0), when it speaks of one trace.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trace: Option<u32>,
    /// The model or procedure by its name.
    pub model: String,
    /// The program version that computed it, or the source line of a reported result.
    pub by: String,
    /// What was asked for: windows, starts, weights, tolerances, options. Enough to do it again.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub settings: BTreeMap<String, serde_json::Value>,
    /// How it ended: `converged`, or the reason why there is no number.
    pub termination: String,
    /// The numbers.
    pub parameters: Vec<Parameter>,
    /// Covariance of the parameters, in their order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub covariance: Vec<Vec<f64>>,
    /// Statistics of the whole: `points`, `degrees_of_freedom`, `residual_standard_deviation`, `aicc`, …
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub statistics: BTreeMap<String, f64>,
    /// What was odd.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<Diagnostic>,
}

/// The mark of a result that a later note has made out of date: other numbers would come out now.
pub const OUT_OF_DATE: &str = "result-out-of-date";

impl Outcome {
    /// Whether a later note has made it out of date.
    #[must_use]
    pub fn is_out_of_date(&self) -> bool {
        self.remarks
            .iter()
            .any(|remark| remark.code.as_str() == OUT_OF_DATE)
    }

    /// Marks it as out of date, or takes the mark away.
    pub fn mark_out_of_date(&mut self, is_so: bool) {
        self.remarks.retain(|remark| remark.code.as_str() != OUT_OF_DATE);
        if is_so {
            self.remarks.push(
                Diagnostic::warning(
                    Code::new(OUT_OF_DATE),
                    "out of date: a note has changed since what this was computed from, and other numbers would come out now",
                )
                .help("the same command with `--again` computes it from what is known now"),
            );
        }
    }

    /// Gives the outcome its name, which follows from what was computed, of what, with what and by which version, and what
    /// came out: the same computation done twice has one name, and one that a note has changed since has another.
    ///
    /// Values count to twelve figures, so that the last digits of another machine's arithmetic make no other name.
    #[must_use]
    pub fn identified(mut self) -> Self {
        let runs: Vec<&str> = self.runs.iter().map(RunId::as_str).collect();
        let values: Vec<Option<String>> = self
            .parameters
            .iter()
            .map(|parameter| parameter.value.map(|value| format!("{value:.11e}")))
            .collect();
        let asked = serde_json::json!([
            self.kind,
            runs,
            self.trace,
            self.model,
            self.settings,
            self.by,
            values
        ]);
        let digest = Digest::of(asked.to_string().as_bytes());
        self.id = digest
            .as_str()
            .trim_start_matches("sha256:")
            .chars()
            .take(16)
            .collect();
        self
    }

    /// The parameter of a name.
    #[must_use]
    pub fn parameter(&self, name: &str) -> Option<&Parameter> {
        self.parameters.iter().find(|parameter| parameter.name == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_are_read_back_by_their_names_and_unknown_ones_stay() {
        for kind in OutcomeKind::KNOWN {
            assert!(!matches!(
                OutcomeKind::from(kind.to_string()),
                OutcomeKind::Other(_)
            ));
            assert_eq!(OutcomeKind::from(kind.to_string()), kind);
            assert_eq!(serde_json::json!(kind), serde_json::json!(kind.as_str()));
        }
        let later: OutcomeKind = serde_json::from_str("\"titration\"").expect("any name");
        assert_eq!(later, OutcomeKind::Other("titration".to_owned()));
        assert_eq!(serde_json::json!(later), serde_json::json!("titration"));
    }

    fn outcome(value: f64) -> Outcome {
        Outcome {
            id: String::new(),
            kind: OutcomeKind::Fit,
            runs: vec![RunId::named("a")],
            trace: Some(0),
            model: "first-order".into(),
            by: "curvary 0".into(),
            settings: BTreeMap::new(),
            termination: "converged".into(),
            parameters: vec![Parameter {
                name: "k".into(),
                value: Some(value),
                unit: None,
                standard_error: None,
                intervals: Vec::new(),
                reason: None,
            }],
            covariance: Vec::new(),
            statistics: BTreeMap::new(),
            remarks: Vec::new(),
        }
        .identified()
    }

    #[test]
    fn what_comes_out_is_part_of_the_name_but_not_its_last_digits() {
        assert_eq!(outcome(0.1).id, outcome(0.1).id);
        assert_eq!(outcome(0.1).id, outcome(0.1 + 1e-16).id);
        assert_ne!(outcome(0.1).id, outcome(0.11).id);
        assert_eq!(outcome(0.1).id.len(), 16);
    }
}
