use serde::{Deserialize, Serialize};

use super::{Measured, Remark, all_finite, below_ceiling, positive};
use crate::refusal::Refusal;

/// What the Beer-Lambert law needs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Readings {
    /// Decadic absorbance, blank taken off.
    pub absorbance: Measured,
    /// Molar absorption coefficient in L/mol/cm.
    pub absorption_coefficient: Measured,
    /// Optical path in cm.
    pub path_cm: Measured,
    /// By how much the sample was diluted before it was read: total over sample volume, 1 or more.
    pub dilution: Measured,
    /// End of the trusted absorbance range; a reading above it is refused.
    pub ceiling: Option<f64>,
}

/// The part of one input in the variance of a result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// Which input.
    pub input: String,
    /// Its part of the variance, 0 to 1.
    pub share: f64,
}

/// A concentration by the Beer-Lambert law.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Concentration {
    /// Concentration of the undiluted sample in mol/L.
    pub value: f64,
    /// Its standard error in mol/L by first-order propagation of independent errors; absent where
    /// the error of the absorbance is not known.
    pub standard_error: Option<f64>,
    /// Where the error comes from.
    pub budget: Vec<Share>,
    /// Concentration per absorbance, D/(ε·l), in mol/L.
    pub factor: f64,
    /// The computation in full.
    pub formula: String,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// A number to six figures: more are the arithmetic's and no one's reading.
fn six(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

/// c = A·D/(ε·l).
///
/// A negative absorbance gives a negative concentration with a remark: it is not cut off at zero.
///
/// # Errors
/// `not-finite`; `out-of-range` for a coefficient, path or dilution that is not positive, a
/// dilution below 1, or a saturated reading.
pub fn concentration(readings: &Readings) -> Result<Concentration, Refusal> {
    let Readings {
        absorbance,
        absorption_coefficient,
        path_cm,
        dilution,
        ceiling,
    } = *readings;
    let a = absorbance.check("the absorbance")?;
    below_ceiling("the absorbance", a.value, ceiling)?;
    let e = absorption_coefficient.check_positive("the molar absorption coefficient")?;
    let l = path_cm.check_positive("the path length")?;
    let d = dilution.check_positive("the dilution")?;
    if d.value < 1.0 {
        return Err(Refusal::OutOfRange {
            what: "the dilution".into(),
            value: d.value,
            allowed: "1 or more: total volume over sample volume".into(),
        });
    }
    let factor = d.value / (e.value * l.value);
    positive("the concentration per absorbance", factor)?;
    let value = a.value * factor;
    let inputs = [
        ("absorbance", a, factor),
        ("molar absorption coefficient", e, value / e.value),
        ("path length", l, value / l.value),
        ("dilution", d, value / d.value),
    ];
    let mut remarks = Vec::new();
    let unknown: Vec<&str> = inputs
        .iter()
        .filter(|(_, m, _)| m.standard_error.is_none())
        .map(|(name, ..)| *name)
        .collect();
    let parts: Vec<(&str, f64)> = inputs
        .iter()
        .filter_map(|(name, m, slope)| m.standard_error.map(|s| (*name, (slope * s).powi(2))))
        .collect();
    let variance: f64 = parts.iter().map(|(_, v)| v).sum();
    all_finite(&[value, variance])?;
    // What was stated of the constants is the least; what is missing is named.
    let standard_error = (!parts.is_empty()).then(|| variance.sqrt());
    if !unknown.is_empty() && standard_error.is_some() {
        remarks.push(Remark::new(
            "error-incomplete",
            format!(
                "no error was given for: {}; the standard error leaves that out",
                unknown.join(", ")
            ),
        ));
    }
    if standard_error.is_none() {
        remarks.push(Remark::new(
            "error-unknown",
            "no error was given of the absorbance or of a constant, so the concentration has none",
        ));
    }
    if value < 0.0 {
        remarks.push(Remark::new(
            "negative-concentration",
            "the absorbance is below zero: the blank or the baseline took away more than was there",
        ));
    }
    if a.standard_error.is_some_and(|s| a.value.abs() < 2.0 * s) {
        remarks.push(Remark::new(
            "not-told-from-zero",
            "the absorbance lies within two standard errors of zero",
        ));
    }
    let budget = parts
        .iter()
        .map(|(name, v)| Share {
            input: (*name).to_owned(),
            share: if variance > 0.0 { v / variance } else { 0.0 },
        })
        .collect();
    Ok(Concentration {
        value,
        standard_error,
        budget: if standard_error.is_some() {
            budget
        } else {
            Vec::new()
        },
        factor,
        formula: format!(
            "c = A·D/(ε·l) = {}·{}/({} L/mol/cm · {} cm) = {} mol/L",
            a.value,
            d.value,
            e.value,
            l.value,
            six(value)
        ),
        remarks,
    })
}
