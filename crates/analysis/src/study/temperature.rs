//! Rate constants of several runs against their temperatures.

use std::collections::BTreeMap;

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Origin, Outcome, OutcomeKind, Parameter,
    Quantity as Measured, Run, RunId, Unit, code,
};
use serde::{Deserialize, Serialize};

use super::fit::two;
use super::spectrum::as_settings;
use super::{BY, DRIFT_MOVES, FitPlan, PlotData, TraceResult, fit_run, told};
use crate::linear::LinearFit;
use crate::refusal::Refusal;
use crate::temperature::{DerivedQuantity, GAS_CONSTANT, arrhenius, eyring};

/// A rate constant at a temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct AtTemperature {
    /// The run it is of.
    pub run: RunId,
    /// Temperature, K.
    pub kelvin: f64,
    /// The rate constant, its standard error where known, and its unit.
    pub rate: (f64, Option<f64>, Unit),
    /// By how much a drift that the course cannot show would move the constant, in its unit, with its sign; absent where that is not
    /// known, or the law allowed for a drift.
    pub drift: Option<f64>,
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
    /// Of runs, by name, the traces (from 0) that are taken; all of a run that is not named.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub traces_of: BTreeMap<String, Vec<u32>>,
    /// Standard error of each temperature, K, independent from run to run; not known if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_error: Option<f64>,
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
    let is_taken = |number: Option<u32>| {
        let taken = plan.traces_of.get(run.id.as_str());
        taken.is_none_or(|taken| number.is_none_or(|number| taken.contains(&number)))
    };
    let has = |outcome: &&Outcome| {
        outcome.kind == OutcomeKind::Fit
            && is_taken(outcome.trace)
            && !outcome.is_out_of_date()
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
        let mut found = fit_run(&now, run);
        found.retain(|found| is_taken(found.trace));
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
        if kept
            .iter()
            .any(|outcome| outcome.kind == OutcomeKind::Fit && outcome.is_out_of_date())
        {
            return Err("its kept fit is out of date; `curvary fit --again` computes it from what is known now, --model fits one now".into());
        }
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
                drift: fit.statistics.get(&format!("{DRIFT_MOVES}{}", plan.of)).copied(),
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
pub fn temperature_series(plan: &TemperaturePlan, points: &[AtTemperature]) -> Vec<TraceResult> {
    let mut points = points.to_vec();
    points.sort_by(|a, b| a.kelvin.total_cmp(&b.kelvin).then_with(|| a.run.cmp(&b.run)));
    vec![line(plan, &points, "arrhenius"), line(plan, &points, "eyring")]
}

fn line(plan: &TemperaturePlan, points: &[AtTemperature], model: &str) -> TraceResult {
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
            PlotData::default()
        }
    };
    TraceResult {
        trace: None,
        label: String::new(),
        outcome: outcome.identified(),
        drawn,
    }
}

/// Says what a drift common to all courses would do: it does not average out, and the errors of the constants know nothing of it.
fn say_of_drift(
    model: &str,
    (kelvin, k, drifted): (&[f64], &[f64], &[f64]),
    weights: Option<&[f64]>,
    outcome: &mut Outcome,
) -> Result<(), Refusal> {
    // Beyond half of a constant the course and a drift look the same, and first-order shifts say nothing.
    if drifted
        .iter()
        .zip(k)
        .any(|(drifted, k)| (drifted - k).abs() > 0.5 * k.abs())
    {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            "the errors are valid only if nothing drifts: a drift of the signal would look the same as some of these courses",
        ));
        return Ok(());
    }
    let values: Vec<f64> = if model == "arrhenius" {
        let found = arrhenius(kelvin, drifted, weights)?;
        vec![found.activation_energy.value, found.ln_factor.value]
    } else {
        let found = eyring(kelvin, drifted, weights)?;
        vec![
            found.enthalpy.value,
            found.entropy.value,
            found.gibbs_energy.value,
        ]
    };
    let mut words = Vec::new();
    for (parameter, value) in outcome.parameters.iter().zip(values) {
        let Some(moved) = parameter.value.map(|own| value - own) else {
            continue;
        };
        outcome
            .statistics
            .insert(format!("{DRIFT_MOVES}{}", parameter.name), moved);
        let error = parameter.standard_error.unwrap_or(0.0);
        if 0.5 * moved.abs() > error {
            let unit = parameter.unit.as_ref().map(Unit::display).unwrap_or_default();
            let text = format!("{} by {} {unit}", parameter.name, two(moved.abs()));
            words.push(text.trim_end().to_owned());
        }
    }
    if !words.is_empty() {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            format!(
                "the errors are valid only if nothing drifts: a drift of the signal that is common to the courses does not average out, \
                 and one that cannot be seen in any of them would change {}; a model with +drift allows for one",
                words.join(", ")
            ),
        ));
    }
    Ok(())
}

#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
fn fitted(
    plan: &TemperaturePlan,
    points: &[AtTemperature],
    model: &str,
    outcome: &mut Outcome,
) -> Result<PlotData, Refusal> {
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
    let mut drifted = Vec::new();
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
        drifted.push(own(point.rate.0 + point.drift.unwrap_or(0.0))?);
    }
    if let Some(kelvin_error) = plan.temperature_error.filter(|_| errors.len() == k.len()) {
        // An error of a temperature moves its constant by that much of the line's slope.
        let activation = arrhenius(&kelvin, &k, Some(&errors))?.activation_energy.value;
        for ((error, k), kelvin) in errors.iter_mut().zip(&k).zip(&kelvin) {
            *error = error.hypot(k * activation / (GAS_CONSTANT * kelvin * kelvin) * kelvin_error);
        }
    }
    // Weights only where every constant has its error.
    let weights = (errors.len() == k.len()).then_some(errors.as_slice());
    // Constants that lie on the line by chance are no surer than their own errors say.
    let wider = |line: &LinearFit| match line.residual_sd {
        Some(sd) if weights.is_some() && sd > 0.0 => sd.recip().max(1.0),
        _ => 1.0,
    };
    let mut put = |name: &str, quantity: &DerivedQuantity, code: &str, wider: f64| {
        let end = |end: Option<f64>| end.map(|end| quantity.value + wider * (end - quantity.value));
        outcome.parameters.push(Parameter {
            name: name.into(),
            value: Some(quantity.value),
            unit: unit(code),
            standard_error: Some(wider * quantity.standard_error),
            intervals: vec![KeptInterval {
                level: 0.95,
                low: end(quantity.interval.lower),
                high: end(quantity.interval.upper),
                kind: "t".into(),
            }],
            reason: None,
        });
    };
    let (line, straightness, y_title): (LinearFit, Option<f64>, String) = if model == "arrhenius" {
        let found = arrhenius(&kelvin, &k, weights)?;
        put("Ea", &found.activation_energy, "J/mol", wider(&found.line));
        put("ln A", &found.ln_factor, "1", wider(&found.line));
        (
            found.line,
            found.straightness,
            format!("ln(k / {})", wanted.display()),
        )
    } else {
        let found = eyring(&kelvin, &k, weights)?;
        put(
            "activation enthalpy",
            &found.enthalpy,
            "J/mol",
            wider(&found.line),
        );
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
            put(
                "activation entropy",
                &found.entropy,
                "J/mol/K",
                wider(&found.line),
            );
            put(
                "activation Gibbs energy",
                &found.gibbs_energy,
                "J/mol",
                wider(&found.line),
            );
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
    let same: Vec<&str> = points
        .iter()
        .filter(|point| {
            let equal = |other: &&AtTemperature| other.run != point.run && other.rate == point.rate;
            point.rate.1.is_some() && points.iter().any(|other| equal(&other))
        })
        .map(|point| point.run.as_str().get(..8).unwrap_or_default())
        .collect();
    if !same.is_empty() {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("same-readings"),
            format!(
                "the constants of {} are equal to the last digit: the same readings may be counted twice",
                same.join(", ")
            ),
        ));
    }
    say_of_drift(model, (&kelvin, &k, &drifted), weights, outcome)?;
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        match plan.temperature_error {
            None => "the errors of the temperatures are not included; --temperature-error 0.1K includes them".to_owned(),
            Some(_) if weights.is_none() => "not every constant has an error of its own: the scatter around the line stands for all \
                                             errors, and that of the temperatures was not used"
                .to_owned(),
            Some(kelvin) => format!(
                "a standard error of {kelvin} K of each temperature is included, as independent from run to run; one that is common to \
                 all of them is not"
            ),
        },
    ));
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
    Ok(PlotData {
        curve: None,
        x_title: "1000 K / temperature".into(),
        y_title,
        x: kelvin.iter().map(|t| 1000.0 / t).collect(),
        y,
        used: (0..k.len()).collect(),
        fitted: line.fitted,
        residuals: line.residuals,
        ..PlotData::default()
    })
}
