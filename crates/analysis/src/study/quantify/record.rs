//! Quantities and lines, put into the record.

use curvary_record::{Code, Diagnostic, Interval as KeptInterval, Outcome, Parameter, Unit};

use super::QuantifyPlan;
use crate::distribution::t_half_width;
use crate::quantities::{
    BentCalibration, Calibration, ConcentrationSet, Measured, Remark, Sigma, detection_limits,
};
use crate::study::StudyError;
use crate::study::unit_in_terms;

/// Fieller limits as an interval: an end that the data leave open is open, and a set that is none is told in words.
pub(super) fn limit(parameter: &mut Parameter, limits: ConcentrationSet, level: f64) {
    let (low, high, why) = match limits {
        ConcentrationSet::Interval { low, high } => (Some(low), Some(high), None),
        ConcentrationSet::AtLeast { low } => (Some(low), None, Some("no upper limit".to_owned())),
        ConcentrationSet::AtMost { high } => (None, Some(high), Some("no lower limit".to_owned())),
        ConcentrationSet::WholeLine => (
            None,
            None,
            Some("every concentration agrees with the reading".into()),
        ),
        ConcentrationSet::Complement { below, above } => (
            None,
            None,
            Some(format!(
                "unbounded: all up to {below} and all from {above} agree with the reading"
            )),
        ),
    };
    parameter.intervals.push(KeptInterval {
        level,
        low,
        high,
        kind: "fieller".into(),
        ..KeptInterval::default()
    });
    parameter.reason = why.map(|why| format!("{why}: the slope cannot be distinguished from zero"));
}

/// The parameters of a line, with the limits of detection and quantitation.
pub(super) fn tell_line(line: &Calibration, plan: &QuantifyPlan, unit: &Unit, outcome: &mut Outcome) {
    let slope_unit = unit_in_terms("y/x", unit, &Unit::ABSORBANCE, &Unit::ONE);
    let mut slope = simple("slope", line.slope, slope_unit);
    slope.standard_error = Some(line.slope_error);
    if let Ok([low, high]) = line.slope_interval(plan.level) {
        slope.intervals.push(KeptInterval {
            level: plan.level,
            low: Some(low),
            high: Some(high),
            kind: "t".into(),
            ..KeptInterval::default()
        });
    }
    outcome.parameters.push(slope);
    if !line.through_origin {
        let mut intercept = simple("intercept", line.intercept, Some(Unit::ABSORBANCE));
        intercept.standard_error = line.intercept_error;
        outcome.parameters.push(intercept);
    }
    let sigma = if plan.blank_readings.is_empty() {
        Sigma::ResidualSd
    } else {
        Sigma::BlankReadings(plan.blank_readings.clone())
    };
    let mut put = |name: &str, value: Option<f64>, why: Result<f64, StudyError>| {
        outcome.parameters.push(Parameter {
            value,
            standard_error: value
                .zip(why.as_ref().ok())
                .map(|(value, part)| value.abs() * part),
            reason: why.err().map(|why| why.told()),
            ..simple(name, 0.0, Some(unit.clone()))
        });
    };
    match detection_limits(line, plan.limit_form, &sigma) {
        Ok(limits) => {
            if limits.critical.is_some() {
                put("critical-value", limits.critical, Ok(limits.relative_error));
            }
            put(
                "detection-limit",
                Some(limits.detection),
                Ok(limits.relative_error),
            );
            if limits.quantitation.is_some() {
                put(
                    "quantitation-limit",
                    limits.quantitation,
                    Ok(limits.relative_error),
                );
            }
            outcome.remarks.push(note(
                "limit-form",
                format!("{}; σ is {}", limits.formula, limits.sigma_kind),
            ));
            remarks(&limits.remarks, outcome);
        }
        Err(refusal) => put("detection-limit", None, Err(refusal.into())),
    }
    statistics(line, outcome);
    remarks(&line.remarks, outcome);
}

pub(super) fn statistics(line: &Calibration, outcome: &mut Outcome) {
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value {
            outcome.statistics.insert(name.into(), value);
        }
    };
    put("points", Some(line.points.len() as f64));
    put("slope", Some(line.slope));
    put("intercept", Some(line.intercept));
    put("residual_standard_deviation", Some(line.residual_sd));
    put("degrees_of_freedom", Some(line.degrees_of_freedom as f64));
    put("r_squared", line.r_squared);
    put("lack_of_fit_probability", line.lack_of_fit.map(|found| found.p));
}

/// The coefficients of a bent line. It has no detection limit of its own: those of the guidelines are of straight lines.
pub(super) fn tell_bent(line: &BentCalibration, plan: &QuantifyPlan, unit: &Unit, outcome: &mut Outcome) {
    let units = [
        Some(Unit::ABSORBANCE),
        unit_in_terms("y/x", unit, &Unit::ABSORBANCE, &Unit::ONE),
        unit_in_terms("y/x", unit, &Unit::ABSORBANCE, &Unit::ONE)
            .and_then(|slope| unit_in_terms("y/x", unit, &slope, &Unit::ONE)),
    ];
    let quantile = t_half_width(plan.level, line.degrees_of_freedom as f64);
    for ((name, unit), (value, error)) in ["intercept", "slope", "squared-term"]
        .into_iter()
        .zip(units)
        .zip(line.coefficients.into_iter().zip(line.standard_errors))
    {
        if name == "intercept" && plan.through_origin {
            continue;
        }
        outcome.parameters.push(Parameter {
            standard_error: Some(error),
            intervals: vec![KeptInterval {
                level: plan.level,
                low: Some(value - quantile * error),
                high: Some(value + quantile * error),
                kind: "t".into(),
                ..KeptInterval::default()
            }],
            ..simple(name, value, unit)
        });
    }
    outcome.remarks.push(note(
        "limit-form",
        "no detection limit: those of the guidelines are of straight lines; take the lowest standards by themselves".into(),
    ));
    statistics_of_bent(line, outcome);
    remarks(&line.remarks, outcome);
}

pub(super) fn statistics_of_bent(line: &BentCalibration, outcome: &mut Outcome) {
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value {
            outcome.statistics.insert(name.into(), value);
        }
    };
    let [intercept, slope, squared] = line.coefficients;
    put("points", Some(line.points.len() as f64));
    put("intercept", Some(intercept));
    put("slope", Some(slope));
    put("squared_term", Some(squared));
    put("residual_standard_deviation", Some(line.residual_sd));
    put("degrees_of_freedom", Some(line.degrees_of_freedom as f64));
    put("r_squared", line.r_squared);
    put("lack_of_fit_probability", line.lack_of_fit.map(|found| found.p));
}

pub(super) fn simple(name: &str, value: f64, unit: Option<Unit>) -> Parameter {
    Parameter {
        name: name.into(),
        value: Some(value),
        unit,
        standard_error: None,
        intervals: Vec::new(),
        reason: None,
    }
}

pub(super) fn measured(name: &str, found: Measured, unit: Option<Unit>) -> Parameter {
    Parameter {
        standard_error: found.standard_error,
        ..simple(name, found.value, unit)
    }
}

pub(super) fn note(code: &'static str, words: String) -> Diagnostic {
    Diagnostic::note(Code::new(code), words)
}

pub(super) fn remarks(all: &[Remark], outcome: &mut Outcome) {
    for remark in all {
        let told = outcome.remarks.iter().any(|known| known.message == remark.words);
        if !told {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("quantity-remark"),
                remark.words.clone(),
            ));
        }
    }
}

/// A name as part of a parameter's name: letters and digits, the rest as hyphens.
pub(super) fn slug(name: &str) -> String {
    let plain: String = name
        .to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect();
    plain
        .split('-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-")
}
