//! Activities from rates: how an assay was put together, and what its rate says of the enzyme.

use curvary_record::{Code, Diagnostic, Outcome, Parameter, Run, Unit};
use serde::{Deserialize, Serialize};

use super::RatePlan;
use crate::enzymes::{Assay, activity};
use crate::study::{allow_for_factor, stated};
use crate::wording::{Six, with_error};

/// How an assay was put together, for activities.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct AssayPlan {
    /// Volume in the cell, mL.
    pub total_volume: f64,
    /// Volume of enzyme solution in it, mL.
    pub enzyme_volume: f64,
    /// Times the enzyme solution was diluted before (1: not).
    pub dilution: f64,
    /// Protein in the undiluted enzyme solution, mg/mL.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub protein: Option<f64>,
    /// Signals of the followed substance for each turnover.
    pub per_turnover: f64,
    /// Relative standard error of the volumes and the dilution together, if known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub volumes_error: Option<f64>,
    /// Relative standard error of the protein concentration, if known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub protein_error: Option<f64>,
}

/// Puts the activity that a slope per minute stands for into the record, or why there is none.
pub(super) fn put_activity(
    plan: &RatePlan,
    run: &Run,
    assay: AssayPlan,
    slope: f64,
    error: f64,
    outcome: &mut Outcome,
) {
    let unit = |code: &str| Unit::ucum(code).ok();
    let coefficient = plan.coefficient.or_else(|| {
        stated(
            run,
            None,
            "molar-absorption-coefficient",
            unit("L/mol/cm").as_ref()?,
        )
    });
    let path = plan
        .path
        .or_else(|| stated(run, None, "path-length", unit("cm").as_ref()?));
    let (Some(coefficient), Some(path)) = (coefficient, path) else {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("activity-unknown"),
            "no activity: the molar absorption coefficient or the path length is not known",
        ));
        return;
    };
    // A rate in concentration goes back to the slope of the absorbance it came from.
    let scale = if plan.concentration {
        coefficient * path
    } else {
        1.0
    };
    let assay_plan = assay;
    let assay = Assay {
        coefficient,
        path,
        total_volume: assay.total_volume,
        sample_volume: assay.enzyme_volume,
        dilution: assay.dilution,
        protein: assay.protein,
        per_turnover: assay.per_turnover,
    };
    match activity((slope * scale, Some(error * scale)), None, &assay) {
        Err(refusal) => outcome.remarks.push(Diagnostic::warning(
            Code::new("activity-unknown"),
            format!("no activity: {refusal}"),
        )),
        Ok(found) => {
            let first = outcome.parameters.len();
            let mut put = |name: &str, value: Option<f64>, code: &str| {
                let Some(value) = value else { return };
                outcome.parameters.push(Parameter {
                    name: name.into(),
                    value: Some(value),
                    unit: unit(code),
                    standard_error: found.relative_error.map(|error| error * value.abs()),
                    intervals: Vec::new(),
                    reason: None,
                });
            };
            put("activity in the cell", Some(found.units), "U");
            put("catalytic activity in the cell", Some(found.katal), "kat");
            put("activity", Some(found.units_per_ml), "U/mL");
            put("catalytic activity", Some(found.katal_per_l), "kat/L");
            put("specific activity", found.units_per_mg, "U/mg");
            let of_volumes = assay_plan.volumes_error.unwrap_or(0.0);
            let relative = plan.scale_error.unwrap_or(0.0).hypot(of_volumes);
            let of_protein = assay_plan.protein_error.unwrap_or(0.0);
            for parameter in &mut outcome.parameters[first..] {
                let own = if parameter.name == "specific activity" {
                    relative.hypot(of_protein)
                } else {
                    relative
                };
                allow_for_factor(parameter, own);
            }
            if relative > 0.0 || of_protein > 0.0 {
                let protein = if of_protein > 0.0 {
                    format!(
                        ", and in the specific activity {} % of the protein",
                        Six(100.0 * of_protein)
                    )
                } else {
                    String::new()
                };
                outcome.remarks.push(Diagnostic::note(
                    Code::new("converted"),
                    format!(
                        "in the errors of the activities are those of coefficient and path length, volumes and dilution, {} % \
                         together{protein}",
                        Six(100.0 * relative)
                    ),
                ));
            }
            let catalytic = outcome.parameters[first..]
                .iter()
                .find(|parameter| parameter.name == "catalytic activity")
                .and_then(|parameter| parameter.standard_error)
                .unwrap_or_default();
            outcome
                .statistics
                .insert("units_per_ml_for_a_slope_of_one_per_minute".into(), found.factor);
            outcome.remarks.push(Diagnostic::note(
                Code::new("converted"),
                format!(
                    "activity in U/mL is the slope per minute times {} (coefficient {coefficient} L/(mol cm), path {path} cm, \
                     {} of {} mL, dilution {}, {} per turnover); it is {} µkat/L",
                    Six(found.factor),
                    assay.sample_volume,
                    assay.total_volume,
                    assay.dilution,
                    assay.per_turnover,
                    with_error(1e6 * found.katal_per_l, 1e6 * catalytic)
                ),
            ));
        }
    }
}
