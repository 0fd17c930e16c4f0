//! The rate constants of one run with their temperatures, from what is kept of it.

use crate::study::StudyError;
use curvary_record::{Origin, Outcome, OutcomeKind, Quantity, Run, RunId, Severity, Trace, Unit, code};

use super::{ABSORBANCE, TemperaturePlan};
use crate::fit::Determination;
use crate::study::spectrum::is_asked;
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
fn of_trace(run: &Run, number: u32) -> Option<f64> {
    let trace = run.traces.get(number as usize)?;
    let held = trace
        .held
        .iter()
        .find(|held| held.quantity == Quantity::TEMPERATURE);
    held.and_then(|held| held.unit.convert(held.value, &Unit::KELVIN).ok())
        .or_else(|| trace.fields.si("temperature"))
}

/// The temperature of a run, where its traces say none of their own.
fn of_run(run: &Run) -> Result<f64, StudyError> {
    let disputed = run.fields.disputes().any(|(key, claims)| {
        key.as_str() == "temperature" && !matches!(claims[0].origin, Origin::Note { .. })
    });
    if disputed {
        return Err(StudyError::unsuitable(
            "its temperature is in dispute; a note settles it",
        ));
    }
    let unknown = "its temperature is not known; `curvary note RUN temperature='37 °C'` says it";
    run.fields
        .si("temperature")
        .ok_or_else(|| StudyError::unsuitable(unknown))
}

/// The temperature that is stated of a trace, or of the whole run.
fn stated(run: &Run, number: u32) -> Result<f64, StudyError> {
    of_trace(run, number).map_or_else(|| of_run(run), Ok)
}

/// Refuses a run of which a temperature that is wanted is not known.
fn all_stated(run: &Run, is_taken: &dyn Fn(Option<u32>) -> bool) -> Result<(), StudyError> {
    let courses = (0_u32..).zip(&run.traces).filter(|(_, trace)| is_course(trace));
    let taken: Vec<u32> = courses
        .map(|(number, _)| number)
        .filter(|number| is_taken(Some(*number)))
        .collect();
    if taken.is_empty() {
        return of_run(run).map(|_| ());
    }
    taken
        .iter()
        .try_for_each(|number| stated(run, *number).map(|_| ()))
}

/// A kept fit with what it was fitted to.
struct KeptFit {
    outcome: Outcome,
    /// The traces, from 0. What a query takes of the run says nothing of them.
    courses: Vec<u32>,
}

impl KeptFit {
    /// Its own settings say which traces a law through several of them was fitted to; all of the run, where they do not.
    fn new(run: &Run, outcome: Outcome) -> Self {
        let courses = match outcome.trace {
            Some(number) => vec![number],
            None => {
                let settings = outcome.settings.clone().into_iter().collect();
                let plan: FitPlan =
                    serde_json::from_value(serde_json::Value::Object(settings)).unwrap_or_default();
                taken_together(&plan, run)
            }
        };
        Self { outcome, courses }
    }

    /// Whether a law goes through several courses, or one that is made of several traces.
    fn is_shared(&self) -> bool {
        self.outcome.trace.is_none()
    }

    fn is_of(&self, number: u32) -> bool {
        self.courses.contains(&number)
    }

    fn overlaps(&self, other: &Self) -> bool {
        self.courses.iter().any(|number| other.is_of(*number))
    }

    /// The temperature, in kelvin, that everything it was fitted to has in common; the inner none where they were at several.
    ///
    /// # Errors
    /// Where the temperature of one of them is not known.
    fn temperature(&self, run: &Run) -> Result<Option<f64>, StudyError> {
        let own = self.courses.iter().map(|number| stated(run, *number));
        let all: Vec<f64> = own.collect::<Result<_, _>>()?;
        let Some(first) = all.first() else {
            return of_run(run).map(Some);
        };
        let alike = all.iter().all(|kelvin| (kelvin - first).abs() < ROUNDING);
        Ok(alike.then_some(*first))
    }
}

/// Temperatures nearer to each other than this, in kelvin, differ by the rounding of their units only: that of a double at 300 K is
/// 6e-14 K, and nobody states a temperature to a millionth of a kelvin.
const ROUNDING: f64 = 1e-6;

/// The traces (from 0) of a run that a law through several of them is fitted to: courses, where there are some.
fn taken_together(plan: &FitPlan, run: &Run) -> Vec<u32> {
    let of_run = plan.traces_of.get(run.id.as_str());
    let taken = (0_u32..)
        .zip(&run.traces)
        .filter(|(number, _)| of_run.is_none_or(|taken| taken.contains(number)));
    // A number among `traces` counts those that are taken of the run.
    let named: Vec<(u32, &Trace)> = (0_u32..)
        .zip(taken)
        .filter(|(place, (_, trace))| is_asked(&plan.traces, *place, trace))
        .map(|(_, own)| own)
        .collect();
    let courses = named.iter().filter(|(_, trace)| is_course(trace));
    let courses: Vec<u32> = courses.map(|(number, _)| *number).collect();
    if courses.is_empty() {
        named.into_iter().map(|(number, _)| number).collect()
    } else {
        courses
    }
}

/// The rate constants of one run, from what is kept of it, each with its temperature.
///
/// # Errors
/// Why there is none, in words.
pub fn rate_constants(
    plan: &TemperaturePlan,
    run: &Run,
    kept: &[Outcome],
) -> Result<RunConstants, StudyError> {
    let is_taken = |number: Option<u32>| {
        let taken = plan.traces_of.get(run.id.as_str());
        taken.is_none_or(|taken| number.is_none_or(|number| taken.contains(&number)))
    };
    let meant = |outcome: &&Outcome| {
        outcome.kind == OutcomeKind::Fit
            && outcome.runs.len() == 1
            && outcome.parameter(&plan.of).is_some()
            && plan.fitted.as_ref().is_none_or(|model| *model == outcome.model)
    };
    let mut refused: Vec<(Option<u32>, StudyError)> = Vec::new();
    let (old, mut fits): (Vec<KeptFit>, Vec<KeptFit>) = kept
        .iter()
        .filter(meant)
        .map(|outcome| KeptFit::new(run, outcome.clone()))
        .filter(|fit| fit.courses.is_empty() || fit.courses.iter().any(|number| is_taken(Some(*number))))
        .partition(|fit| fit.outcome.is_out_of_date());
    let mut all = RunConstants::default();
    let SharedApart {
        at_several: apart,
        mut beside,
    } = without_shared(run, &mut fits);
    let one_for_several = format!(
        "its kept fit gives one `{}` for courses at several temperatures; --model fits each by itself now",
        plan.of
    );
    let lacking = |number: u32, trace: &Trace, fits: &[KeptFit]| {
        is_course(trace) && is_taken(Some(number)) && !fits.iter().any(|fit| fit.is_of(number))
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
        let kept: Vec<u32> = fits.iter().flat_map(|fit| fit.courses.iter().copied()).collect();
        let new = |found: &TraceResult| {
            is_taken(found.trace) && !found.trace.is_some_and(|number| kept.contains(&number))
        };
        for found in fit_run(&now, run).into_iter().filter(new) {
            if found.is_result() {
                fits.push(KeptFit::new(run, found.outcome));
            } else if found.trace.is_none() {
                return Err(StudyError::of_told(&found.outcome.termination));
            } else {
                refused.push((found.trace, StudyError::of_told(&found.outcome.termination)));
            }
        }
        if let (true, [(_, why)]) = (fits.is_empty(), refused.as_slice()) {
            return Err(why.clone());
        }
    }
    let models: std::collections::BTreeSet<&str> =
        fits.iter().map(|fit| fit.outcome.model.as_str()).collect();
    if models.len() > 1 {
        let models: Vec<&str> = models.into_iter().collect();
        return Err(StudyError::unsuitable(format!(
            "its kept fits are of {}: name one with --model",
            models.join(" and ")
        )));
    }
    let latest = latest_of(fits, &mut beside);
    let is_old = |number: Option<u32>| {
        old.iter()
            .any(|fit| number.is_none_or(|number| fit.is_of(number)))
    };
    if latest.is_empty() && refused.is_empty() {
        if !apart.is_empty() {
            return Err(StudyError::unsuitable(one_for_several));
        }
        all_stated(run, &is_taken)?;
        if is_old(None) {
            return Err(StudyError::unsuitable(
                "its kept fit is out of date; `curvary fit --again` computes it from what is known now, --model fits one now",
            ));
        }
        return Err(StudyError::unsuitable(format!(
            "no fit with `{}` is kept; --model fits one now",
            plan.of
        )));
    }
    for fit in &latest {
        match constant(plan, run, fit)? {
            Ok(point) => all.points.push(point),
            Err(why) => all.left_out.push(named(run, fit.outcome.trace, &why.to_string())),
        }
    }
    // A course without a constant, beside others that have one, would be lost from the line in silence.
    for (number, trace) in (0_u32..).zip(&run.traces) {
        if lacking(number, trace, &latest) {
            let why = if let Some((_, why)) = refused.iter().find(|(own, _)| *own == Some(number)) {
                why.to_string()
            } else if is_old(Some(number)) {
                "its kept fit is out of date; `curvary fit --again` computes it from what is known now"
                    .to_owned()
            } else if apart.contains(&number) {
                one_for_several.clone()
            } else if beside.contains(&number) {
                format!(
                    "its kept fit gives one `{}` for several courses, and does not count beside a fit of one of its courses that was \
                     kept too; --model fits each by itself now",
                    plan.of
                )
            } else {
                format!("no fit with `{}` is kept of it", plan.of)
            };
            all.left_out.push(named(run, Some(number), &why));
        }
    }
    if all.points.is_empty() {
        return Err(StudyError::unsuitable(all.left_out.join("; ")));
    }
    Ok(all)
}

/// Of several fits of one course the last one kept counts. `beside` gets the courses of laws through several that are put out by it.
fn latest_of(fits: Vec<KeptFit>, beside: &mut Vec<u32>) -> Vec<KeptFit> {
    let mut latest: Vec<KeptFit> = Vec::new();
    for fit in fits {
        latest.retain(|known| {
            let stays = !known.overlaps(&fit) && (!known.courses.is_empty() || !fit.courses.is_empty());
            if !stays && known.is_shared() {
                beside.extend(&known.courses);
            }
            stays
        });
        latest.push(fit);
    }
    latest
}

/// Courses of laws through several of them that cannot stand for each.
#[derive(Default)]
struct SharedApart {
    /// They are at several temperatures.
    at_several: Vec<u32>,
    /// One of them was fitted by itself, or by a later law, too.
    beside: Vec<u32>,
}

/// Takes out of the fits those of one law through several courses of the run (`--share`) that cannot stand for each of them: beside a
/// fit of one of these courses, which would count twice, and over courses at several temperatures. Gives the courses of those that
/// were taken out.
fn without_shared(run: &Run, fits: &mut Vec<KeptFit>) -> SharedApart {
    let single: Vec<u32> = fits.iter().filter_map(|fit| fit.outcome.trace).collect();
    let mut taken = SharedApart::default();
    fits.retain(|fit| {
        if !fit.is_shared() {
            return true;
        }
        let is_apart = matches!(fit.temperature(run), Ok(None));
        let is_beside = single.iter().any(|number| fit.is_of(*number));
        if is_apart {
            taken.at_several.extend(&fit.courses);
        } else if is_beside {
            taken.beside.extend(&fit.courses);
        }
        !is_apart && !is_beside
    });
    taken
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
    of: &KeptFit,
) -> Result<Result<AtTemperature, StudyError>, StudyError> {
    let fit = &of.outcome;
    let Some(parameter) = fit.parameter(&plan.of) else {
        return Ok(Err(StudyError::unsuitable(format!(
            "the fit has no `{}`",
            plan.of
        ))));
    };
    if parameter.reason.as_deref() == Some(Determination::Held.words()) {
        return Ok(Err(StudyError::unsuitable(format!(
            "its `{}` was held and not fitted",
            plan.of
        ))));
    }
    let Some((value, mut unit)) = parameter.value.zip(parameter.unit.clone()) else {
        let why = parameter
            .reason
            .clone()
            .unwrap_or_else(|| "it has no value or no unit".to_owned());
        return Ok(Err(StudyError::unsuitable(format!("its `{}`: {why}", plan.of))));
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
    let stated = of.temperature(run).and_then(|common| {
        common.ok_or_else(|| {
            StudyError::unsuitable(format!(
                "its kept fit gives one `{}` for courses at several temperatures",
                plan.of
            ))
        })
    });
    if let (Some(recorded), Ok(stated)) = (recorded, &stated)
        && (recorded - stated).abs() > APART
    {
        return Err(StudyError::unsuitable(format!(
            "{recorded:.2} K was recorded on average during the course, and {stated:.2} K is stated; a note settles the \
             temperature, or leaves the record out"
        )));
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
