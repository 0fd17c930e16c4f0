//! Why something was not computed.
//!
//! A refusal is a value like any other result: it has a stable code, says what was found and where, and what to do.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A named reason why the data give no result.
///
/// Positions count from 0 and refer to the points as they were handed in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Refusal {
    /// Fewer points (or fewer distinct values) than the model needs.
    TooFewPoints {
        /// What was counted, for example "points" or "distinct x values".
        what: String,
        /// How many there were.
        found: usize,
        /// How many are needed.
        needed: usize,
    },
    /// Two columns that belong together differ in length.
    UnequalLengths {
        /// Which column differs.
        what: String,
        /// Its length.
        found: usize,
        /// The length it should have.
        expected: usize,
    },
    /// A value is not a number or infinite.
    NotFinite {
        /// Which column.
        what: String,
        /// Position in the column.
        index: usize,
    },
    /// Every y value is the same, so that no change can be fitted.
    ConstantSignal {
        /// The value.
        value: f64,
    },
    /// Every x value is the same.
    ConstantAxis {
        /// The value.
        value: f64,
    },
    /// Two points have the same x where each x may stand once.
    EqualX {
        /// Position of the first point.
        first: usize,
        /// Position of the second point.
        second: usize,
        /// The common value.
        value: f64,
    },
    /// Time runs backwards.
    ReversedTime {
        /// Position of the first point that lies before its predecessor.
        index: usize,
    },
    /// A quantity that cannot be negative is negative.
    Negative {
        /// Which column or setting.
        what: String,
        /// Position in the column (0 for a single setting).
        index: usize,
        /// The value.
        value: f64,
    },
    /// Every point lies above the limit of trust.
    AllSaturated {
        /// The limit.
        limit: f64,
        /// How many points lay above it.
        count: usize,
    },
    /// A weight or known error is not above zero.
    BadWeight {
        /// Position.
        index: usize,
        /// The value.
        value: f64,
    },
    /// A column is a combination of the columns before it, so that their coefficients cannot be told apart.
    Collinear {
        /// Position of the column.
        column: usize,
    },
    /// A setting lies outside its range.
    OutOfRange {
        /// Which setting.
        what: String,
        /// Its value.
        value: f64,
        /// What is allowed.
        allowed: String,
    },
    /// The model gives no number at a point, for example the logarithm of a negative value.
    Undefined {
        /// What the model tried to compute.
        what: String,
        /// Position of the point.
        index: usize,
    },
    /// No starting values could be drawn from the data.
    NoStart {
        /// Why.
        why: String,
    },
    /// The search did not settle; the values it ended with are not given, because they would look like a result.
    NotConverged {
        /// How the search ended.
        how: String,
        /// Iterations made.
        iterations: usize,
    },
    /// The model and the data do not go together.
    Unsuitable {
        /// What does not fit together.
        why: String,
    },
}

impl Refusal {
    /// The model and the data do not go together, as the sentence says.
    pub(crate) fn unsuitable(why: impl Into<String>) -> Self {
        Self::Unsuitable { why: why.into() }
    }

    /// The stable code of the reason, in kebab case.
    pub fn code(&self) -> &'static str {
        match self {
            Self::TooFewPoints { .. } => "too-few-points",
            Self::UnequalLengths { .. } => "unequal-lengths",
            Self::NotFinite { .. } => "not-finite",
            Self::ConstantSignal { .. } => "constant-signal",
            Self::ConstantAxis { .. } => "constant-axis",
            Self::EqualX { .. } => "equal-x",
            Self::ReversedTime { .. } => "reversed-time",
            Self::Negative { .. } => "negative",
            Self::AllSaturated { .. } => "all-saturated",
            Self::BadWeight { .. } => "bad-weight",
            Self::Collinear { .. } => "collinear",
            Self::OutOfRange { .. } => "out-of-range",
            Self::Undefined { .. } => "undefined",
            Self::NoStart { .. } => "no-start",
            Self::NotConverged { .. } => "not-converged",
            Self::Unsuitable { .. } => "unsuitable",
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewPoints { what, found, needed } => {
                let what = match (found, what.split_once(' ')) {
                    (1, Some((head, rest))) => format!("{} {rest}", head.trim_end_matches('s')),
                    (1, None) => what.trim_end_matches('s').to_owned(),
                    _ => what.clone(),
                };
                write!(f, "{found} {what}, but at least {needed} are needed")
            }
            Self::UnequalLengths {
                what,
                found,
                expected,
            } => {
                write!(f, "{what} has {found} values where {expected} were expected")
            }
            Self::NotFinite { what, index } => {
                write!(f, "{what} at point {} is not a finite number", index + 1)
            }
            Self::ConstantSignal { value } => {
                write!(
                    f,
                    "every y value is {value}: nothing changes, so nothing can be fitted"
                )
            }
            Self::ConstantAxis { value } => write!(f, "every x value is {value}"),
            Self::EqualX { first, second, value } => write!(
                f,
                "points {} and {} have the same x ({value}); each x may stand once here",
                first + 1,
                second + 1
            ),
            Self::ReversedTime { index } => {
                write!(f, "time runs backwards at point {}", index + 1)
            }
            Self::Negative { what, index, value } => {
                write!(
                    f,
                    "{what} at point {} is {value}; it cannot be negative",
                    index + 1
                )
            }
            Self::AllSaturated { limit, count } => {
                write!(f, "all {count} points lie above the limit of {limit}")
            }
            Self::BadWeight { index, value } => write!(
                f,
                "the weight or error at point {} is {value}; it must be a number above zero",
                index + 1
            ),
            Self::Collinear { column } => write!(
                f,
                "column {} is a combination of the columns before it; their coefficients cannot be distinguished",
                column + 1
            ),
            Self::OutOfRange { what, value, allowed } => {
                write!(f, "{what} is {value}; allowed is {allowed}")
            }
            Self::Undefined { what, index } => {
                write!(f, "the model has no value at point {}: {what}", index + 1)
            }
            Self::NoStart { why } => write!(f, "no starting values could be found: {why}"),
            Self::NotConverged { how, iterations } => {
                write!(
                    f,
                    "the search did not settle after {iterations} iterations: {how}"
                )
            }
            Self::Unsuitable { why } => f.write_str(why),
        }
    }
}

impl std::error::Error for Refusal {}

/// Refuses a column that holds a value which is not finite.
pub(crate) fn require_finite(what: &str, values: &[f64]) -> Result<(), Refusal> {
    match values.iter().position(|v| !v.is_finite()) {
        Some(index) => Err(Refusal::NotFinite {
            what: what.into(),
            index,
        }),
        None => Ok(()),
    }
}

/// Refuses a column whose length is not `expected`.
pub(crate) fn require_length(what: &str, values: &[f64], expected: usize) -> Result<(), Refusal> {
    if values.len() == expected {
        return Ok(());
    }
    Err(Refusal::UnequalLengths {
        what: what.into(),
        found: values.len(),
        expected,
    })
}
