//! Quantities: from readings to concentrations, with errors and reasons.
//!
//! - [`concentration`]: the Beer-Lambert law with an error budget;
//! - [`Calibration`]: straight calibration lines, weighted or through the origin, and
//!   [`Calibration::inverse`] for unknowns with the limits of Fieller; [`BentCalibration`] with a squared term;
//! - [`detection_limits`]: ICH Q2, IUPAC 1978 and IUPAC 1995, each saying which sigma it used;
//! - [`standard_addition`];
//! - [`mixture()`]: several components by least squares from reference spectra;
//! - [`nucleic_acid`], [`protein`]: absorbance ratios, common practice and marked so.
//!
//! Nothing is cut off at zero and nothing is extrapolated in silence: [`Remark`]s say what a reader
//! of the number must know.

mod addition;
mod beer_lambert;
mod bent;
mod calibration;
mod detection;
mod inverse;
mod mixture;
mod ratios;

use serde::{Deserialize, Serialize};

pub use addition::{StandardAddition, standard_addition};
pub use beer_lambert::{Concentration, Readings, Share, concentration};
pub use bent::{BentCalibration, BentPrediction};
pub(crate) use calibration::NOT_STRAIGHT;
pub use calibration::{Calibration, CalibrationOptions, LackOfFit, StandardPoint, StandardWeighting};
pub use detection::{DetectionLimits, LimitForm, Sigma, detection_limits};
pub use inverse::{ConcentrationSet, InversePrediction, Target};
pub use mixture::{Component, ComponentFound, Mixture, MixtureOptions, mixture};
pub use ratios::{NucleicAcid, NucleicAcidKind, NucleicAcidReadings, Protein, nucleic_acid, protein};

use crate::refusal::Refusal;

/// A value with its standard error, where that is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard error (one standard deviation of the value), in the same unit.
    pub standard_error: Option<f64>,
}

impl Measured {
    /// A value whose error is not known.
    pub fn bare(value: f64) -> Self {
        Self {
            value,
            standard_error: None,
        }
    }

    /// A value with its standard error.
    pub fn with_error(value: f64, standard_error: f64) -> Self {
        Self {
            value,
            standard_error: Some(standard_error),
        }
    }

    fn check(self, what: &str) -> Result<Self, Refusal> {
        if !self.value.is_finite() {
            return Err(Refusal::NotFinite {
                what: what.into(),
                index: 0,
            });
        }
        if let Some(error) = self.standard_error {
            non_negative(&format!("standard error of {what}"), error)?;
        }
        Ok(self)
    }

    /// As `check`, and above zero.
    fn check_positive(self, what: &str) -> Result<Self, Refusal> {
        self.check(what)?;
        positive(what, self.value)?;
        Ok(self)
    }
}

/// Something that a reader of a result must know; the code is stable.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// The kebab-case code.
    pub code: String,
    /// The words.
    pub words: String,
}

impl Remark {
    fn new(code: &str, words: impl Into<String>) -> Self {
        Self {
            code: code.into(),
            words: words.into(),
        }
    }
}

fn positive(what: &str, value: f64) -> Result<(), Refusal> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(Refusal::OutOfRange {
        what: what.into(),
        value,
        allowed: "a finite number above zero".into(),
    })
}

fn non_negative(what: &str, value: f64) -> Result<(), Refusal> {
    if value.is_finite() && value >= 0.0 {
        return Ok(());
    }
    Err(Refusal::OutOfRange {
        what: what.into(),
        value,
        allowed: "a finite number, zero or above".into(),
    })
}

fn level_in_range(level: f64) -> Result<(), Refusal> {
    if level > 0.0 && level < 1.0 {
        return Ok(());
    }
    Err(Refusal::OutOfRange {
        what: "the confidence level".into(),
        value: level,
        allowed: "between 0 and 1".into(),
    })
}

/// Refuses readings above the range in which the instrument can be trusted.
fn below_ceiling(what: &str, value: f64, ceiling: Option<f64>) -> Result<(), Refusal> {
    match ceiling {
        Some(limit) if value > limit => Err(Refusal::OutOfRange {
            what: what.into(),
            value,
            allowed: format!("at most {limit}, the end of the trusted range: dilute and measure again"),
        }),
        _ => Ok(()),
    }
}

/// The last guard of every result: overflow in the arithmetic must not come out as a number.
fn all_finite(values: &[f64]) -> Result<(), Refusal> {
    if values.iter().all(|v| v.is_finite()) {
        return Ok(());
    }
    Err(Refusal::Unsuitable {
        why: "the numbers are too large or too small to compute with; choose other units".into(),
    })
}
