//! Rate constants of several runs against their temperatures.

use std::collections::BTreeMap;

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Origin, Outcome, OutcomeKind, Parameter,
    Quantity as Measured, Run, RunId, Unit, code,
};
use serde::{Deserialize, Serialize};

use super::spectrum::as_settings;
use super::{BY, Drawn, FitPlan, Found, fit_run, told};
use crate::linear::LinearFit;
use crate::refusal::Refusal;
use crate::temperature::{Quantity, arrhenius, eyring};

/// A rate constant at a temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct AtTemperature {
    /// The run it is of.
    pub run: RunId,
    /// Temperature, K.
    pub kelvin: f64,
    /// The rate constant, its standard error where known, and its unit.
    pub rate: (f64, Option<f64>, Unit),
}

/// What is asked of rate constants at several temperatures, in a form that is kept with the result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct TemperaturePlan {
    /// The parameter that is taken.
    pub of: String,
    /// The model whose kept fits are taken, and which is fitted where none is kept; any if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fitted: Option<String>,
}

/// The rate constants of one run, from what is kept of it, each with its temperature.
///
/// # Errors
/// Why there is none, in words.
pub fn rate_constants(
    plan: &TemperaturePlan,
    run: &Run,
    kept: &[Outcome],
) -> Result<Vec<AtTemperature>, String> {
    // A cell changer may hold each trace at a temperature of its own.
    let of_trace = |number: Option<u32>| {
        let trace = run.traces.get(number? as usize)?;
        let held = trace
            .held
            .iter()
            .find(|held| held.quantity == Measured::TEMPERATURE);
        held.and_then(|held| held.unit.convert(held.value, &Unit::KELVIN).ok())
            .or_else(|| trace.fields.si("temperature"))
    };
    let of_run = || {
        let disputed = run.fields.disputes().any(|(key, claims)| {
            key.as_str() == "temperature" && !matches!(claims[0].origin, Origin::Note { .. })
        });
        if disputed {
            return Err("its temperature is in dispute; a note settles it".to_owned());
        }
        let unknown = "no temperature above absolute zero is known of it; `curvary note RUN temperature='37 °C'` says it";
        run.fields.si("temperature").ok_or_else(|| unknown.to_owned())
    };
    let has = |outcome: &&Outcome| {
        outcome.kind == OutcomeKind::Fit
            && outcome.runs.len() == 1
            && outcome
                .parameter(&plan.of)
                .is_some_and(|parameter| parameter.value.is_some())
            && plan.fitted.as_ref().is_none_or(|model| *model == outcome.model)
    };
    let mut fits: Vec<Outcome> = kept.iter().filter(has).cloned().collect();
    if let Some(model) = plan.fitted.as_ref().filter(|_| fits.is_empty()) {
        let now = FitPlan {
            model: model.clone(),
            ..FitPlan::default()
        };
        let found = fit_run(&now, run);
        if let Some(refused) = found.iter().find(|found| !found.is_result()) {
            return Err(refused.outcome.termination.clone());
        }
        fits = found.into_iter().map(|found| found.outcome).collect();
    }
    let models: std::collections::BTreeSet<&str> = fits.iter().map(|fit| fit.model.as_str()).collect();
    if models.len() > 1 {
        let models: Vec<&str> = models.into_iter().collect();
        return Err(format!(
            "its kept fits are of {}: name one with --model",
            models.join(" and ")
        ));
    }
    // Of several fits of one trace the last one kept counts.
    let mut latest: Vec<&Outcome> = Vec::new();
    for fit in &fits {
        latest.retain(|known| known.trace != fit.trace);
        latest.push(fit);
    }
    if latest.is_empty() {
        of_run()?;
        return Err(format!("no fit with `{}` is kept; --model fits one now", plan.of));
    }
    latest
        .into_iter()
        .map(|fit| {
            let parameter = fit
                .parameter(&plan.of)
                .ok_or_else(|| format!("the fit has no `{}`", plan.of))?;
            let (value, mut unit) = parameter
                .value
                .zip(parameter.unit.clone())
                .ok_or_else(|| format!("its `{}` has no value or no unit", plan.of))?;
            // Results of earlier versions have the absorbance in a remark and not in the unit.
            let per_absorbance = fit
                .remarks
                .iter()
                .any(|remark| remark.code == code::UNIT_PER_ABSORBANCE);
            if per_absorbance && !unit.code().contains(ABSORBANCE) {
                unit = Unit::ucum(&format!("{}/{ABSORBANCE}", unit.code())).unwrap_or(unit);
            }
            // What was recorded during the course is nearer to it than what was set.
            let recorded = fit.statistics.get("recorded_temperature_K").copied();
            let stated = of_trace(fit.trace).map_or_else(of_run, Ok);
            if let (Some(recorded), Ok(stated)) = (recorded, &stated)
                && (recorded - stated).abs() > APART
            {
                return Err(format!(
                    "{:.2} K was recorded on average during the course, and {stated:.2} K is stated; a note settles the temperature, \
                     or leaves the record out",
                    recorded
                ));
            }
            Ok(AtTemperature {
                run: run.id.clone(),
                kelvin: recorded.map_or(stated, Ok)?,
                rate: (value, parameter.standard_error, unit),
            })
        })
        .collect()
}

/// What stands in the unit of a constant per unit of absorbance.
const ABSORBANCE: &str = "{AU}";

/// Recorded and stated temperatures farther apart than this, in kelvin, cannot both be meant. A choice: thermostats and sensors
/// agree better, and an activation energy hardly feels it.
const APART: f64 = 1.0;

/// The Arrhenius and the Eyring line through rate constants of several runs, coldest first whatever their order.
pub fn temperature_series(plan: &TemperaturePlan, points: &[AtTemperature]) -> Vec<Found> {
    let mut points = points.to_vec();
    points.sort_by(|a, b| a.kelvin.total_cmp(&b.kelvin).then_with(|| a.run.cmp(&b.run)));
    vec![line(plan, &points, "arrhenius"), line(plan, &points, "eyring")]
}

fn line(plan: &TemperaturePlan, points: &[AtTemperature], model: &str) -> Found {
    let mut runs: Vec<RunId> = Vec::new();
    for point in points {
        if !runs.contains(&point.run) {
            runs.push(point.run.clone());
        }
    }
    let mut settings = as_settings(plan);
    let kept: Vec<serde_json::Value> = points
        .iter()
        .map(|point| {
            serde_json::json!([
                point.run,
                point.kelvin,
                point.rate.0,
                point.rate.1,
                point.rate.2.code()
            ])
        })
        .collect();
    settings.insert("points".to_owned(), serde_json::json!(kept));
    let mut outcome = Outcome {
        id: String::new(),
        kind: OutcomeKind::Temperature,
        runs,
        trace: None,
        model: model.to_owned(),
        by: BY.into(),
        settings,
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: Vec::new(),
    };
    let drawn = match fitted(plan, points, model, &mut outcome) {
        Ok(drawn) => drawn,
        Err(refusal) => {
            outcome.parameters.clear();
            outcome.termination = told(&refusal);
            Drawn::default()
        }
    };
    Found {
        trace: None,
        label: String::new(),
        outcome: outcome.identified(),
        drawn,
    }
}

fn fitted(
    plan: &TemperaturePlan,
    points: &[AtTemperature],
    model: &str,
    outcome: &mut Outcome,
) -> Result<Drawn, Refusal> {
    let unsuitable = |why: String| Refusal::Unsuitable { why };
    let first = points
        .first()
        .ok_or_else(|| unsuitable("no run has both a rate constant and a temperature".into()))?;
    let unit = |code: &str| Unit::ucum(code).ok();
    let per_second = unit("/s").filter(|unit| first.rate.2.converts_to(unit));
    let second_order = unit("L/mol/s").filter(|unit| first.rate.2.converts_to(unit));
    let no_rate = [Unit::ONE, Unit::ABSORBANCE, Unit::SECOND, Unit::MOLE_PER_LITRE];
    if no_rate.iter().any(|unit| first.rate.2.converts_to(unit)) {
        return Err(unsuitable(format!(
            "rate constants are needed; `{}` is in {}, which is no unit of one",
            plan.of,
            first.rate.2.display()
        )));
    }
    let wanted = match (per_second, second_order, model) {
        (Some(unit), _, _) | (None, Some(unit), _) => unit,
        (None, None, "eyring") => {
            return Err(unsuitable(format!(
                "the Eyring equation needs a rate constant in 1/s or L/(mol s); this one is in {}",
                first.rate.2.display()
            )));
        }
        _ => first.rate.2.clone(),
    };
    let mut kelvin = Vec::new();
    let mut k = Vec::new();
    let mut errors = Vec::new();
    for point in points {
        let own = |value: f64| {
            point.rate.2.convert(value, &wanted).map_err(|_| {
                unsuitable(format!(
                    "the rate constant of run {} is in {}, others in {}",
                    point.run,
                    point.rate.2.display(),
                    wanted.display()
                ))
            })
        };
        kelvin.push(point.kelvin);
        k.push(own(point.rate.0)?);
        errors.extend(point.rate.1.map(own).transpose()?.filter(|error| *error > 0.0));
    }
    // Weights only where every constant has its error.
    let weights = (errors.len() == k.len()).then_some(errors.as_slice());
    let mut put = |name: &str, quantity: &Quantity, code: &str| {
        outcome.parameters.push(Parameter {
            name: name.into(),
            value: Some(quantity.value),
            unit: unit(code),
            standard_error: Some(quantity.standard_error),
            intervals: vec![KeptInterval {
                level: 0.95,
                low: quantity.interval.lower,
                high: quantity.interval.upper,
                kind: "t".into(),
            }],
            reason: None,
        });
    };
    let (line, straightness, y_title): (LinearFit, Option<f64>, String) = if model == "arrhenius" {
        let found = arrhenius(&kelvin, &k, weights)?;
        put("Ea", &found.activation_energy, "J/mol");
        put("ln A", &found.ln_factor, "1");
        (
            found.line,
            found.straightness,
            format!("ln(k / {})", wanted.display()),
        )
    } else {
        let found = eyring(&kelvin, &k, weights)?;
        put("activation enthalpy", &found.enthalpy, "J/mol");
        if points
            .iter()
            .any(|point| point.rate.2.code().contains(ABSORBANCE))
        {
            for (name, code) in [
                ("activation entropy", "J/mol/K"),
                ("activation Gibbs energy", "J/mol"),
            ] {
                outcome.parameters.push(Parameter {
                    name: name.into(),
                    value: None,
                    unit: unit(code),
                    standard_error: None,
                    intervals: Vec::new(),
                    reason: Some(
                        "the rate constants are per unit of absorbance, and not per concentration: fit with --concentration, the \
                         absorption coefficient and the path length first"
                            .into(),
                    ),
                });
            }
            outcome.remarks.push(Diagnostic::warning(
                code::UNIT_PER_ABSORBANCE,
                "the rate constants are per unit of absorbance and time: the activation enthalpy (and Ea) does not depend on that, \
                 the activation entropy and Gibbs energy do, and are not given",
            ));
        } else {
            put("activation entropy", &found.entropy, "J/mol/K");
            put("activation Gibbs energy", &found.gibbs_energy, "J/mol");
            outcome.remarks.push(Diagnostic::note(
                Code::new("fit-remark"),
                format!(
                    "the Gibbs energy is at {} K; transmission coefficient one, standard state 1 mol/L",
                    found.temperature
                ),
            ));
        }
        (
            found.line,
            found.straightness,
            format!("ln(k T⁻¹ / ({} K⁻¹))", wanted.display()),
        )
    };
    outcome.termination = match weights {
        Some(_) => "straight line, weighted by the errors of the rate constants".into(),
        None => "straight line, all points alike".into(),
    };
    if let Some(straightness) = straightness {
        outcome
            .statistics
            .insert("straightness_probability".into(), straightness);
        if straightness < 0.05 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("residuals-odd"),
                format!("the line is curved (probability {straightness:.3} of so much by chance): one activation energy may not do"),
            ));
        }
    }
    outcome.statistics.insert("points".into(), k.len() as f64);
    if let Some(sd) = line.residual_sd {
        if weights.is_some() && sd > 2.0 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("residuals-odd"),
                format!(
                    "the rate constants scatter {sd:.1} times as far as their own errors allow: the model behind them, or the \
                     temperatures, may not be right; the errors given take the scatter into account"
                ),
            ));
        }
        outcome
            .statistics
            .insert("residual_standard_deviation".into(), sd);
    }
    let y: Vec<f64> = line
        .fitted
        .iter()
        .zip(&line.residuals)
        .map(|(fitted, residual)| fitted + residual)
        .collect();
    Ok(Drawn {
        curve: None,
        x_title: "1000 K / temperature".into(),
        y_title,
        x: kelvin.iter().map(|t| 1000.0 / t).collect(),
        y,
        used: (0..k.len()).collect(),
        fitted: line.fitted,
        residuals: line.residuals,
        ..Drawn::default()
    })
}
