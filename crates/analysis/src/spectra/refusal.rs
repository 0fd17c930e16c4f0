use std::fmt;

use serde::{Deserialize, Serialize};

use crate::refusal::Refusal;

/// Why a spectrum or a step could not give an answer: a stable code, and words with what was found.
///
/// Serialised, the code stands under `code` beside the values that the words are made of. What can
/// be wrong with any columns of numbers is said by the crate's common [`Refusal`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum SpectrumRefusal {
    /// The x values turn back.
    NotMonotonic {
        /// Place of the first point that turns back, counted from 0.
        index: usize,
        /// The x value there.
        x: f64,
    },
    /// A window is empty, reversed or holds a number that is not finite.
    BadWindow {
        /// Where it begins.
        from: f64,
        /// Where it ends.
        to: f64,
    },
    /// A setting is out of its range.
    BadSetting {
        /// Which one.
        setting: String,
        /// What was given.
        found: String,
        /// What is possible.
        wanted: String,
    },
    /// A value is asked for where the curve was not measured.
    OutsideRange {
        /// Where it was asked for.
        x: f64,
        /// Lowest x of the curve.
        lowest: f64,
        /// Highest x of the curve.
        highest: f64,
    },
    /// The x values of two curves are not the same, and resampling was not asked for.
    GridsDiffer {
        /// The first x that has no partner.
        x: f64,
        /// The nearest x of the other curve.
        nearest: f64,
    },
    /// Points are missing between two places, and the answer would have to reach across.
    Gap {
        /// Last x before the gap.
        from: f64,
        /// First x after it.
        to: f64,
    },
    /// The method needs even steps.
    UnevenSteps {
        /// Smallest distance of neighbours.
        smallest: f64,
        /// Largest distance of neighbours.
        largest: f64,
    },
    /// The step needs another ordinate.
    WrongOrdinate {
        /// What the spectrum has.
        found: String,
        /// What the step takes.
        wanted: String,
    },
    /// The step needs an optical axis (nm, cm-1 or eV), or another one.
    WrongAxis {
        /// What the spectrum has.
        found: String,
        /// What the step takes.
        wanted: String,
    },
    /// A wavelength, wavenumber or energy is zero or negative.
    NotPositive {
        /// What it is.
        what: String,
        /// Its value.
        found: f64,
    },
    /// A blank or reference of this name was not given.
    UnknownReference {
        /// The name.
        name: String,
    },
    /// The data do not determine what was asked.
    Undetermined {
        /// What was asked.
        what: String,
        /// Why it stays open.
        why: String,
    },
    /// Something is wrong with the columns themselves.
    #[serde(untagged)]
    Data(Refusal),
}

impl SpectrumRefusal {
    /// The stable kebab-case code.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NotMonotonic { .. } => "not-monotonic",
            Self::BadWindow { .. } => "bad-window",
            Self::BadSetting { .. } => "bad-setting",
            Self::OutsideRange { .. } => "outside-range",
            Self::GridsDiffer { .. } => "grids-differ",
            Self::Gap { .. } => "gap",
            Self::UnevenSteps { .. } => "uneven-steps",
            Self::WrongOrdinate { .. } => "wrong-ordinate",
            Self::WrongAxis { .. } => "wrong-axis",
            Self::NotPositive { .. } => "not-positive",
            Self::UnknownReference { .. } => "unknown-reference",
            Self::Undetermined { .. } => "undetermined",
            Self::Data(refusal) => refusal.code(),
        }
    }

    pub(crate) fn setting(setting: &str, found: impl fmt::Display, wanted: &str) -> Self {
        Self::BadSetting {
            setting: setting.into(),
            found: found.to_string(),
            wanted: wanted.into(),
        }
    }

    pub(crate) fn undetermined(what: &str, why: impl Into<String>) -> Self {
        Self::Undetermined {
            what: what.into(),
            why: why.into(),
        }
    }

    pub(crate) fn too_few(what: impl Into<String>, found: usize, needed: usize) -> Self {
        Self::Data(Refusal::TooFewPoints {
            what: what.into(),
            found,
            needed,
        })
    }
}

impl From<Refusal> for SpectrumRefusal {
    fn from(refusal: Refusal) -> Self {
        Self::Data(refusal)
    }
}

impl fmt::Display for SpectrumRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotMonotonic { index, x } => {
                write!(
                    f,
                    "x turns back at point {} (x = {x}); sort the points or split the trace",
                    index + 1
                )
            }
            Self::BadWindow { from, to } => {
                write!(
                    f,
                    "{from}..{to} is no window: it must be finite and its end above its beginning"
                )
            }
            Self::BadSetting {
                setting,
                found,
                wanted,
            } => {
                write!(f, "{setting} is {found}, but must be {wanted}")
            }
            Self::OutsideRange { x, lowest, highest } => {
                write!(
                    f,
                    "{x} lies outside the measured range {lowest}..{highest}; nothing is extrapolated"
                )
            }
            Self::GridsDiffer { x, nearest } => write!(
                f,
                "the x values differ: {x} has no partner (nearest is {nearest}); ask for resampling or measure on one grid"
            ),
            Self::Gap { from, to } => {
                write!(
                    f,
                    "points are missing between {from} and {to}, and nothing is guessed across; crop to one side"
                )
            }
            Self::UnevenSteps { smallest, largest } => write!(
                f,
                "the steps in x are uneven ({smallest} to {largest}); ask for the local polynomial on uneven points or resample first"
            ),
            Self::WrongOrdinate { found, wanted } => {
                write!(f, "the ordinate is {found}, but this takes {wanted}")
            }
            Self::WrongAxis { found, wanted } => write!(f, "the axis is {found}, but this takes {wanted}"),
            Self::NotPositive { what, found } => write!(f, "{what} must be positive, found {found}"),
            Self::UnknownReference { name } => write!(f, "no spectrum was given under the name {name:?}"),
            Self::Undetermined { what, why } => write!(f, "{what} is not determined: {why}"),
            Self::Data(refusal) => refusal.fmt(f),
        }
    }
}

impl std::error::Error for SpectrumRefusal {}
