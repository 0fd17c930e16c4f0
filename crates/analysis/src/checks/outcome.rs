use std::fmt;

use serde::{Deserialize, Serialize};

use super::CheckLimits;

/// How an item came out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "verdict", rename_all = "kebab-case")]
pub enum CheckVerdict {
    /// Inside the limits.
    Pass,
    /// Outside the limits.
    Fail,
    /// The data cannot decide.
    Undetermined {
        /// A stable kebab-case code.
        reason: String,
        /// The reason in words.
        words: String,
    },
}

impl CheckVerdict {
    pub(super) fn open(reason: &str, words: impl Into<String>) -> Self {
        Self::Undetermined {
            reason: reason.into(),
            words: words.into(),
        }
    }
}

impl fmt::Display for CheckVerdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Pass => f.write_str("pass"),
            Self::Fail => f.write_str("fail"),
            Self::Undetermined { words, .. } => write!(f, "undetermined: {words}"),
        }
    }
}

/// One item of a check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckItem {
    /// What was checked, for example `holmium band at 241.15 nm`.
    pub item: String,
    /// What was measured, in `unit`.
    pub measured: Option<f64>,
    /// Standard uncertainty of measured less expected, where it can be told.
    pub uncertainty: Option<f64>,
    /// What was expected.
    pub expected: Option<f64>,
    /// Lowest value that passes.
    pub low: Option<f64>,
    /// Highest value that passes.
    pub high: Option<f64>,
    /// Unit of these numbers, in UCUM.
    pub unit: String,
    /// How it came out.
    #[serde(flatten)]
    pub verdict: CheckVerdict,
    /// Where the limits come from.
    pub source: String,
    /// Whether any of them was written down from memory and must be compared with the source.
    pub from_memory: bool,
    /// What a reader must know.
    pub remarks: Vec<String>,
}

impl CheckItem {
    pub(super) fn new(item: impl Into<String>, unit: &str, source: &str, from_memory: bool) -> Self {
        Self {
            item: item.into(),
            measured: None,
            uncertainty: None,
            expected: None,
            low: None,
            high: None,
            unit: unit.into(),
            verdict: CheckVerdict::open("not-measured", "nothing was measured"),
            source: source.into(),
            from_memory,
            remarks: Vec::new(),
        }
    }

    pub(super) fn limits(mut self, expected: Option<f64>, low: Option<f64>, high: Option<f64>) -> Self {
        (self.expected, self.low, self.high) = (expected, low, high);
        self
    }

    pub(super) fn undetermined(mut self, reason: &str, words: impl Into<String>) -> Self {
        self.verdict = CheckVerdict::open(reason, words);
        self
    }

    /// Decides by the rule of the module.
    pub(super) fn decide(mut self, measured: f64, uncertainty: Option<f64>) -> Self {
        if !measured.is_finite() || uncertainty.is_some_and(|u| !(u.is_finite() && u >= 0.0)) {
            return self.undetermined(
                "not-finite",
                "the measured value or its uncertainty is not a finite number",
            );
        }
        (self.measured, self.uncertainty) = (Some(measured), uncertainty);
        if self.low.is_none() && self.high.is_none() {
            return self.undetermined(
                "no-limit",
                "there is no limit to compare with; put the laboratory's own into the limits file",
            );
        }
        // Decimal limits such as 241.15 + 1 are met by decimal values; doubles must not undo that.
        let slack = 1e-9 * measured.abs().max(1.0);
        let reach = 2.0 * uncertainty.unwrap_or(0.0);
        let above_low = |v: f64| self.low.is_none_or(|low| v >= low - slack);
        let below_high = |v: f64| self.high.is_none_or(|high| v <= high + slack);
        let inside = above_low(measured - reach) && below_high(measured + reach);
        let outside = !above_low(measured + reach) || !below_high(measured - reach);
        self.verdict = if inside {
            CheckVerdict::Pass
        } else if outside {
            CheckVerdict::Fail
        } else {
            CheckVerdict::open(
                "uncertainty-reaches-limit",
                format!("a limit lies within two standard uncertainties ({reach}) of the measured value"),
            )
        };
        if uncertainty.is_none() {
            self.remarks
                .push("no uncertainty is known: the bare value decided".into());
        }
        self
    }
}

/// Under which conditions a check was measured; they go into the report as given.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Conditions {
    /// Spectral bandwidth in nm.
    pub bandwidth_nm: Option<f64>,
    /// Temperature in degrees Celsius.
    pub temperature_celsius: Option<f64>,
    /// Largest distance of neighbouring points in nm; filled in by checks that read a spectrum.
    pub interval_nm: Option<f64>,
    /// End of the trusted absorbance range.
    pub ceiling: Option<f64>,
}

/// A check with all its items.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckReport {
    /// Which check, for example `wavelength`.
    pub check: String,
    /// Which entry of the limits file.
    pub id: String,
    /// By which standard.
    pub standard: String,
    /// With what solution or lamp, where one is used.
    pub solution: Option<String>,
    /// The conditions.
    pub conditions: Conditions,
    /// The items.
    pub outcomes: Vec<CheckItem>,
    /// What can hurt. Always shown.
    pub cautions: Vec<String>,
}

impl CheckReport {
    pub(super) fn new(
        limits: &CheckLimits,
        check: &str,
        (id, standard, solution): (&str, &str, Option<&str>),
        conditions: Conditions,
        outcomes: Vec<CheckItem>,
    ) -> Self {
        let used = solution.and_then(|id| limits.solutions.iter().find(|s| s.id == id));
        let mut cautions = limits.cautions.clone();
        cautions.extend(used.iter().flat_map(|s| s.cautions.iter().cloned()));
        Self {
            check: check.into(),
            id: id.into(),
            standard: standard.into(),
            solution: used.map(|s| s.name.clone()),
            conditions,
            outcomes,
            cautions,
        }
    }

    /// All items together: failed if one failed, passed if all passed, undetermined otherwise. An item outside the measured range
    /// is undetermined, too: who compares fewer bands says so in the limits.
    pub fn verdict(&self) -> CheckVerdict {
        if self.outcomes.iter().any(|o| o.verdict == CheckVerdict::Fail) {
            return CheckVerdict::Fail;
        }
        let open: Vec<&str> = self
            .outcomes
            .iter()
            .filter(|o| matches!(&o.verdict, CheckVerdict::Undetermined { .. }))
            .map(|o| o.item.as_str())
            .collect();
        if !self.outcomes.iter().any(|o| o.verdict == CheckVerdict::Pass)
            && self.outcomes.iter().all(
                |o| matches!(&o.verdict, CheckVerdict::Undetermined { reason, .. } if reason == "not-in-range"),
            )
        {
            return CheckVerdict::open("not-in-range", "no item lies in the measured range");
        }
        if !open.is_empty() {
            return CheckVerdict::open("items-undetermined", format!("not decided: {}", open.join("; ")));
        }
        CheckVerdict::Pass
    }
}
