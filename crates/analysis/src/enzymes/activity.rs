//! From the slope of an absorbance to an activity.

use serde::{Deserialize, Serialize};

use crate::refusal::Refusal;

/// How an assay was put together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Assay {
    /// Molar absorption coefficient of what is followed, L mol⁻¹ cm⁻¹ (its sign is not used: an activity is positive
    /// where the signal moves in the direction the caller says by the sign of the slope).
    pub coefficient: f64,
    /// Path length, cm.
    pub path: f64,
    /// Volume in the cell, mL.
    pub total_volume: f64,
    /// Volume of enzyme solution put into the cell, mL.
    pub sample_volume: f64,
    /// Times the enzyme solution was diluted before (1: not).
    pub dilution: f64,
    /// Protein in the undiluted enzyme solution, mg/mL.
    pub protein: Option<f64>,
    /// Signals of the followed substance for each turnover (2 where two molecules are formed).
    pub per_turnover: f64,
}

impl Default for Assay {
    fn default() -> Self {
        Self {
            coefficient: f64::NAN,
            path: 1.0,
            total_volume: f64::NAN,
            sample_volume: f64::NAN,
            dilution: 1.0,
            protein: None,
            per_turnover: 1.0,
        }
    }
}

/// An activity in the units of the trade. 1 U = 1 µmol/min; 1 kat = 1 mol/s.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Activity {
    /// Slope less blank, absorbance per minute.
    pub slope: f64,
    /// What the slope was multiplied by to give U per mL of enzyme solution.
    pub factor: f64,
    /// µmol min⁻¹ per mL of reaction mixture.
    pub per_ml_of_reaction: f64,
    /// U in the cell.
    pub units: f64,
    /// kat in the cell.
    pub katal: f64,
    /// U per mL of undiluted enzyme solution.
    pub units_per_ml: f64,
    /// kat per L of undiluted enzyme solution.
    pub katal_per_l: f64,
    /// U per mg of protein; absent without a protein concentration.
    pub units_per_mg: Option<f64>,
    /// Relative standard error of all of these, from those of the slopes; absent where these are not known.
    pub relative_error: Option<f64>,
}

/// Activity from a slope (absorbance per minute, with its standard error where known) less that of a blank.
///
/// Slope (min⁻¹) / (ε l n) is mol L⁻¹ min⁻¹, times 1000 µmol mL⁻¹ min⁻¹ of reaction mixture; times total over sample
/// volume and dilution, U per mL of enzyme solution.
///
/// # Errors
/// [`Refusal::OutOfRange`] for a setting that is missing (`NaN`) or not above zero; [`Refusal::NotFinite`] for slopes.
pub fn activity(
    slope: (f64, Option<f64>),
    blank: Option<(f64, Option<f64>)>,
    assay: &Assay,
) -> Result<Activity, Refusal> {
    let above_zero = |what: &str, value: f64| {
        if value > 0.0 && value.is_finite() {
            return Ok(());
        }
        Err(Refusal::OutOfRange {
            what: what.into(),
            value,
            allowed: "a number above zero".into(),
        })
    };
    above_zero(
        "the size of the molar absorption coefficient",
        assay.coefficient.abs(),
    )?;
    above_zero("the path length", assay.path)?;
    above_zero("the total volume", assay.total_volume)?;
    above_zero("the sample volume", assay.sample_volume)?;
    above_zero("the dilution", assay.dilution)?;
    above_zero("the number of signals per turnover", assay.per_turnover)?;
    if let Some(protein) = assay.protein {
        above_zero("the protein concentration", protein)?;
    }
    if assay.sample_volume > assay.total_volume {
        return Err(Refusal::OutOfRange {
            what: "the sample volume".into(),
            value: assay.sample_volume,
            allowed: format!("at most the total volume {}", assay.total_volume),
        });
    }
    let blank_slope = blank.map_or(0.0, |b| b.0);
    if !slope.0.is_finite() || !blank_slope.is_finite() {
        return Err(Refusal::NotFinite {
            what: "the slope".into(),
            index: 0,
        });
    }
    let net = slope.0 - blank_slope;
    let to_reaction = 1000.0 / (assay.coefficient.abs() * assay.path * assay.per_turnover);
    let per_ml_of_reaction = net * to_reaction;
    let units = per_ml_of_reaction * assay.total_volume;
    let volumes = assay.total_volume / assay.sample_volume * assay.dilution;
    let units_per_ml = per_ml_of_reaction * volumes;
    let variance = match (slope.1, blank) {
        (Some(s), None) => Some(s * s),
        (Some(s), Some((_, Some(b)))) => Some(s * s + b * b),
        _ => None,
    };
    Ok(Activity {
        slope: net,
        factor: to_reaction * volumes,
        per_ml_of_reaction,
        units,
        katal: units / 60e6,
        units_per_ml,
        katal_per_l: units_per_ml * 1000.0 / 60e6,
        units_per_mg: assay.protein.map(|p| units_per_ml / p),
        relative_error: variance.map(|v| v.sqrt() / net.abs()).filter(|e| e.is_finite()),
    })
}
