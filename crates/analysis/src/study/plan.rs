//! What a person asks of a fit, in a form that is kept with its result.

use std::collections::BTreeMap;

use curvary_record::Unit;
use serde::{Deserialize, Serialize};

use super::fit::StatedDrift;
use crate::fit::{Bootstrap, Robust};

/// A stretch of an axis, both ends included.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AxisSpan {
    /// Where it begins.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// The unit of both, a UCUM code; the axis's own if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
}

/// What is said of one parameter before the fit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ParameterPlan {
    /// Starting value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start: Option<f64>,
    /// Smallest value allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<f64>,
    /// Largest value allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<f64>,
    /// Value at which it is held.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held: Option<f64>,
    /// Unit, a UCUM code, where the model is a formula of one's own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
}

/// How much each point counts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WeightPlan {
    /// The error is in proportion to the fitted value.
    Relative,
    /// Known standard deviations stand in the trace of this label.
    Errors(String),
}

/// What is asked of a fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct FitPlan {
    /// A model by its name; empty for a formula.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub model: String,
    /// A formula of one's own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub formula: Option<String>,
    /// What is fitted in place of the measured values, a formula over y.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub response: Option<String>,
    /// Variables of the formula, each with the column it stands for: `x` for the running axis or the label of a trace.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub variables: Vec<(String, String)>,
    /// What is said of the parameters.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub parameters: BTreeMap<String, ParameterPlan>,
    /// Parameters that follow from others, each as `NAME = FORMULA`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub constraints: Vec<String>,
    /// Level of the intervals.
    pub level: f64,
    /// Whether profile-likelihood intervals are found too.
    #[serde(skip_serializing_if = "is_false")]
    pub profile: bool,
    /// A second opinion about the errors, by residuals dealt out anew.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bootstrap: Option<Bootstrap>,
    /// Whether far points count less.
    #[serde(skip_serializing_if = "is_plain")]
    pub robust: Robust,
    /// How much each point counts; all alike if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weights: Option<WeightPlan>,
    /// Labels of traces that hold what one standard deviation of an error does to each point which all points have in common.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub common: Vec<String>,
    /// The stretch of the running axis that is fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub window: Option<AxisSpan>,
    /// Stretches of the running axis that are left out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub leave_out: Vec<AxisSpan>,
    /// Time from mixing to the first reading's zero, s; the run's own field if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dead_time: Option<f64>,
    /// Absorbance above which points are left out; infinite for no limit.
    pub trusted_absorbance: Option<f64>,
    /// Whether absorbance is turned into concentration.
    #[serde(skip_serializing_if = "is_false")]
    pub concentration: bool,
    /// Molar absorption coefficient, L mol⁻¹ cm⁻¹; the run's own field if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coefficient: Option<f64>,
    /// Path length, cm; the run's own field if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub path: Option<f64>,
    /// Relative standard error of absorption coefficient times path length, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale_error: Option<f64>,
    /// A drift of the signal that a person knows of the lamp; its effect is in the errors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drift: Option<StatedDrift>,
    /// Wavelength, nm, at which repeated scans are read as a time course.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// Parameters that several runs have in common, by name, or `all`; such a plan is for runs together.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub share: Vec<String>,
    /// Traces by number (from 1) or label; all if empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
    /// Of runs that are fitted together, by name, the traces (from 0) that are taken; all of a run that is not named.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub traces_of: BTreeMap<String, Vec<u32>>,
}

fn is_false(value: &bool) -> bool {
    !value
}

fn is_plain(robust: &Robust) -> bool {
    *robust == Robust::No
}

impl Default for FitPlan {
    fn default() -> Self {
        Self {
            model: String::new(),
            formula: None,
            response: None,
            variables: Vec::new(),
            parameters: BTreeMap::new(),
            constraints: Vec::new(),
            level: 0.95,
            profile: false,
            bootstrap: None,
            robust: Robust::No,
            weights: None,
            common: Vec::new(),
            window: None,
            leave_out: Vec::new(),
            dead_time: None,
            trusted_absorbance: None,
            concentration: false,
            coefficient: None,
            path: None,
            scale_error: None,
            drift: None,
            at: None,
            share: Vec::new(),
            traces: Vec::new(),
            traces_of: BTreeMap::new(),
        }
    }
}
