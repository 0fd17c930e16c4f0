//! The rate constants of one run with their temperatures, from what is kept of it.

use curvary_record::{Origin, Outcome, OutcomeKind, Quantity, Run, RunId, Severity, Trace, Unit, code};

use super::{ABSORBANCE, TemperaturePlan};
use crate::fit::Determination;
use crate::study::{DriftEffect, FitPlan, TraceResult, fit_run, label_of};

/// A rate constant at a temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct AtTemperature {
    /// The run it is of.
    pub run: RunId,
    /// Temperature, K.
    pub kelvin: f64,
    /// The rate constant, its standard error where known, and its unit.
    pub rate: (f64, Option<f64>, Unit),
    /// What a drift that the course cannot show would do to the constant, in its unit.
    pub drift: DriftEffect,
    /// What its own result holds against it, in words or by code.
    pub doubts: Vec<String>,
}

/// The rate constants of one run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RunConstants {
    /// One for each course that has one.
    pub points: Vec<AtTemperature>,
    /// Courses of the run that have none, though others have, each with the reason.
    pub left_out: Vec<String>,
}

/// What holds the temperature of a trace: a cell changer may hold each at one of its own.
fn of_trace(run: &Run, number: Option<u32>) -> Option<f64> {
    let trace = run.traces.get(number? as usize)?;
    let held = trace
        .held
        .iter()
        .find(|held| held.quantity == Quantity::TEMPERATURE);
    held.and_then(|held| held.unit.convert(held.value, &Unit::KELVIN).ok())
        .or_else(|| trace.fields.si("temperature"))
}

fn of_run(run: &Run) -> Result<f64, String> {
    let disputed = run.fields.disputes().any(|(key, claims)| {
        key.as_str() == "temperature" && !matches!(claims[0].origin, Origin::Note { .. })
    });
    if disputed {
        return Err("its temperature is in dispute; a note settles it".to_owned());
    }
    let unknown =
        "no temperature above absolute zero is known of it; `curvary note RUN temperature='37 °C'` says it";
    run.fields.si("temperature").ok_or_else(|| unknown.to_owned())
}

/// The rate constants of one run, from what is kept of it, each with its temperature.
///
/// # Errors
/// Why there is none, in words.
pub fn rate_constants(plan: &TemperaturePlan, run: &Run, kept: &[Outcome]) -> Result<RunConstants, String> {
    let is_taken = |number: Option<u32>| {
        let taken = plan.traces_of.get(run.id.as_str());
        taken.is_none_or(|taken| number.is_none_or(|number| taken.contains(&number)))
    };
    let meant = |outcome: &&Outcome| {
        outcome.kind == OutcomeKind::Fit
            && is_taken(outcome.trace)
            && outcome.runs.len() == 1
            && outcome.parameter(&plan.of).is_some()
            && plan.fitted.as_ref().is_none_or(|model| *model == outcome.model)
    };
    let mut refused: Vec<(Option<u32>, String)> = Vec::new();
    let mut fits: Vec<Outcome> = kept
        .iter()
        .filter(meant)
        .filter(|fit| !fit.is_out_of_date())
        .cloned()
        .collect();
    let mut all = RunConstants::default();
    let apart = one_for_several(run, &mut fits, &is_taken);
    let lacking = |number: u32, trace: &Trace, fits: &[Outcome]| {
        let has = fits
            .iter()
            .any(|fit| fit.trace == Some(number) || fit.trace.is_none());
        is_course(trace) && is_taken(Some(number)) && !has
    };
    let mut courses = (0_u32..).zip(&run.traces);
    if let Some(model) = &plan.fitted
        && (fits.is_empty() || courses.any(|(number, trace)| lacking(number, trace, &fits)))
    {
        let now = FitPlan {
            model: model.clone(),
            ..FitPlan::default()
        };
        // A kept fit of a course counts; the others are fitted now, whatever was kept of their neighbours.
        let kept: Vec<Option<u32>> = fits.iter().map(|fit| fit.trace).collect();
        let new = |found: &TraceResult| is_taken(found.trace) && !kept.contains(&found.trace);
        for found in fit_run(&now, run).into_iter().filter(new) {
            if found.is_result() {
                fits.push(found.outcome);
            } else if found.trace.is_none() {
                return Err(found.outcome.termination);
            } else {
                refused.push((found.trace, found.outcome.termination));
            }
        }
        if let (true, [(_, why)]) = (fits.is_empty(), refused.as_slice()) {
            return Err(why.clone());
        }
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
    let is_old = |number: Option<u32>| {
        let mut old = kept.iter().filter(meant).filter(|fit| fit.is_out_of_date());
        old.any(|fit| number.is_none() || fit.trace == number)
    };
    if latest.is_empty() && refused.is_empty() {
        if apart {
            return Err(format!(
                "its kept fit gives one `{}` for courses at several temperatures; --model fits each by itself now",
                plan.of
            ));
        }
        of_run(run)?;
        if is_old(None) {
            return Err("its kept fit is out of date; `curvary fit --again` computes it from what is known now, --model fits one now".into());
        }
        return Err(format!("no fit with `{}` is kept; --model fits one now", plan.of));
    }
    for fit in &latest {
        match constant(plan, run, fit)? {
            Ok(point) => all.points.push(point),
            Err(why) => all.left_out.push(named(run, fit.trace, &why)),
        }
    }
    // A course without a constant, beside others that have one, would be lost from the line in silence.
    for (number, trace) in (0_u32..).zip(&run.traces) {
        if lacking(number, trace, &fits) {
            let number = Some(number);
            let why = if let Some((_, why)) = refused.iter().find(|(own, _)| *own == number) {
                why.clone()
            } else if is_old(number) {
                "its kept fit is out of date; `curvary fit --again` computes it from what is known now"
                    .to_owned()
            } else {
                format!("no fit with `{}` is kept of it", plan.of)
            };
            all.left_out.push(named(run, number, &why));
        }
    }
    if all.points.is_empty() {
        return Err(all.left_out.join("; "));
    }
    Ok(all)
}

/// Takes out of the fits those of one law through several courses of the run (`--share`), where they cannot stand for each of them:
/// beside fits of single courses, which would count twice, and over courses at several temperatures. Gives whether one was taken out
/// for the latter.
fn one_for_several(run: &Run, fits: &mut Vec<Outcome>, is_taken: &dyn Fn(Option<u32>) -> bool) -> bool {
    let courses = (0_u32..).zip(&run.traces);
    let temperatures: Vec<Option<f64>> = courses
        .filter(|(number, trace)| is_course(trace) && is_taken(Some(*number)))
        .map(|(number, _)| of_trace(run, Some(number)).or_else(|| of_run(run).ok()))
        .collect();
    if temperatures.len() < 2 {
        return false;
    }
    let alike = temperatures.windows(2).all(|pair| pair[0] == pair[1]);
    let single = fits.iter().any(|fit| fit.trace.is_some());
    let before = fits.len();
    if !alike || single {
        fits.retain(|fit| fit.trace.is_some());
    }
    !alike && fits.len() < before
}

/// Whether a trace is a course that a law may be fitted to.
fn is_course(trace: &Trace) -> bool {
    trace.x.quantity == Quantity::TIME && trace.y.quantity.is_of_light()
}

/// A reason, with the trace it is of where the run has several.
fn named(run: &Run, number: Option<u32>, why: &str) -> String {
    match number.and_then(|number| run.traces.get(number as usize)) {
        Some(trace) if run.traces.len() > 1 => {
            let label = label_of(trace);
            let number = number.unwrap_or_default() + 1;
            if label.is_empty() {
                format!("trace {number}: {why}")
            } else {
                format!("trace {number} ({label}): {why}")
            }
        }
        _ => why.to_owned(),
    }
}

/// The constant of one fit; the inner error is why this one is left out, the outer one why the run is.
fn constant(
    plan: &TemperaturePlan,
    run: &Run,
    fit: &Outcome,
) -> Result<Result<AtTemperature, String>, String> {
    let Some(parameter) = fit.parameter(&plan.of) else {
        return Ok(Err(format!("the fit has no `{}`", plan.of)));
    };
    if parameter.reason.as_deref() == Some(Determination::Held.words()) {
        return Ok(Err(format!("its `{}` was held and not fitted", plan.of)));
    }
    let Some((value, mut unit)) = parameter.value.zip(parameter.unit.clone()) else {
        let why = parameter
            .reason
            .clone()
            .unwrap_or_else(|| "it has no value or no unit".to_owned());
        return Ok(Err(format!("its `{}`: {why}", plan.of)));
    };
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
    // A law through several courses has the temperature that they have in common.
    let mut courses = (0_u32..).zip(&run.traces).filter(|(_, trace)| is_course(trace));
    let of = fit.trace.or_else(|| courses.next().map(|(number, _)| number));
    let stated = of_trace(run, of).map_or_else(|| of_run(run), Ok);
    if let (Some(recorded), Ok(stated)) = (recorded, &stated)
        && (recorded - stated).abs() > APART
    {
        return Err(format!(
            "{recorded:.2} K was recorded on average during the course, and {stated:.2} K is stated; a note settles the \
             temperature, or leaves the record out"
        ));
    }
    let mut doubts: Vec<String> = parameter.reason.iter().cloned().collect();
    for remark in &fit.remarks {
        // What holds of every constant of absorbance is said of the line itself.
        let own = remark.severity == Severity::Warning && remark.code != code::UNIT_PER_ABSORBANCE;
        let words = remark.code.as_str().to_owned();
        if own && !doubts.contains(&words) {
            doubts.push(words);
        }
    }
    Ok(Ok(AtTemperature {
        run: run.id.clone(),
        kelvin: recorded.map_or(stated, Ok)?,
        rate: (value, parameter.standard_error, unit),
        drift: DriftEffect::of(fit, &plan.of),
        doubts,
    }))
}

/// Recorded and stated temperatures farther apart than this, in kelvin, cannot both be meant. A choice: thermostats and sensors
/// agree better, and an activation energy hardly feels it.
const APART: f64 = 1.0;
