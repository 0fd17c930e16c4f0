//! Which curves of a run a plan speaks of.

use std::borrow::Cow;
use std::collections::BTreeSet;

use curvary_record::{Code, Column, Coordinate, Diagnostic, Quantity, Run, Technique, Trace, Unit};

use super::column_errors::Recorded;
use super::columns::is_running;
use super::model::Chosen;
use crate::refusal::Refusal;
use crate::scans::Scans;
use crate::study::ordinate::as_absorbance;
use crate::study::plan::{FitPlan, WeightPlan};
use crate::study::recorded::is_recorded_temperature;
use crate::study::spectrum::{all_there, is_asked, labels_of, no_such_trace};
use crate::study::{SD_IN_COMMON, label_of, level_of};

/// One curve to fit: a trace, or what several traces of a run make together.
pub(super) struct FitCurve<'a> {
    pub(super) trace: Cow<'a, Trace>,
    pub(super) number: Option<u32>,
    /// What its values are in the run, and in which unit, before anything was turned into absorbance.
    pub(super) recorded: Recorded,
    pub(super) remarks: Vec<Diagnostic>,
}

/// The curves that are fitted, in absorbance where a law needs it; a formula takes the values as they stand.
pub(super) fn curves<'a>(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &'a Run,
) -> Result<Vec<FitCurve<'a>>, Refusal> {
    let mut all = as_they_stand(plan, chosen, run)?;
    if matches!(chosen, Chosen::Formula(_)) && !plan.concentration && plan.coefficient.is_none() {
        return Ok(all);
    }
    let melts = matches!(chosen, Chosen::Law(law) if law.variables == ["T"]);
    for curve in &mut all {
        if melts && curve.trace.x.quantity == Quantity::TEMPERATURE {
            curve.trace = Cow::Owned(in_kelvin(&curve.trace)?);
        }
        if let Some((trace, remarks)) = as_absorbance(&curve.trace)? {
            curve.trace = Cow::Owned(trace);
            curve.remarks.extend(remarks);
        }
    }
    Ok(all)
}

/// A trace over temperature, its axis in kelvin.
fn in_kelvin(trace: &Trace) -> Result<Trace, Refusal> {
    let mut trace = trace.clone();
    let kelvin: Result<Vec<f64>, _> = trace
        .x
        .values
        .iter()
        .map(|value| trace.x.unit.convert(*value, &Unit::KELVIN))
        .collect();
    let kelvin = kelvin.map_err(|error| Refusal::Unsuitable {
        why: error.to_string(),
    })?;
    trace.x.values = kelvin.into_iter().collect();
    trace.x.unit = Unit::KELVIN;
    Ok(trace)
}

fn as_they_stand<'a>(plan: &FitPlan, chosen: &Chosen, run: &'a Run) -> Result<Vec<FitCurve<'a>>, Refusal> {
    if let Some(wavelength) = plan.at {
        return cut(run, wavelength).map(|curve| vec![curve]);
    }
    all_there(run, &plan.traces)?;
    if matches!(chosen, Chosen::Course(_)) && run.technique == Technique::SPECTRAL_TIME_COURSE {
        return Err(Refusal::Unsuitable {
            why: "these are repeated scans; say at which wavelength they are read as a time course".into(),
        });
    }
    let several = !plan.variables.is_empty();
    let beside_others =
        matches!(chosen, Chosen::Course(_)) && run.traces.iter().any(|trace| !is_recorded_temperature(trace));
    if let Chosen::Law(law) = chosen
        && law.variables.len() > 1
    {
        return over_levels(plan, run).map(|curve| vec![curve]);
    }
    let mut set_aside = errors_beside(plan, run);
    if set_aside.len() + plan.variables.len() >= run.traces.len() {
        // What is measured is named as a variable, and nothing else is left to be fitted.
        set_aside.clear();
    }
    let mut curves: Vec<FitCurve<'a>> = Vec::new();
    let mut keys: Vec<Option<String>> = Vec::new();
    for (number, trace) in (0..).zip(&run.traces) {
        if !is_asked(&plan.traces, number, trace) && !several {
            continue;
        }
        if set_aside.iter().any(|aside| *aside == label_of(trace)) {
            continue;
        }
        // A temperature recorded beside others is no course of its own, unless it is asked for.
        if plan.traces.is_empty() && beside_others && is_recorded_temperature(trace) {
            continue;
        }
        // A table that goes through its x again and again is one set of observations to a fit.
        let key = trace
            .y
            .name
            .clone()
            .or_else(|| trace.label.clone())
            .filter(|_| trace.held.is_empty());
        let sister = match (
            chosen,
            key.is_some() || trace.label.is_none() && trace.held.is_empty(),
        ) {
            (Chosen::Formula(_) | Chosen::Law(_), true) if !several => {
                keys.iter().position(|known| *known == key)
            }
            _ => None,
        };
        match sister {
            Some(place) => {
                let joined = joined(&curves[place].trace, trace);
                curves[place].trace = Cow::Owned(joined);
                curves[place].number = None;
            }
            None => {
                keys.push(key);
                curves.push(FitCurve {
                    trace: Cow::Borrowed(trace),
                    number: Some(number),
                    recorded: Recorded::of(&trace.y),
                    remarks: Vec::new(),
                });
            }
        }
    }
    if !plan.variables.is_empty() {
        let named: Vec<&String> = plan
            .variables
            .iter()
            .map(|(_, column)| column)
            .filter(|column| !is_running(run, column))
            .collect();
        curves.retain(|curve| {
            let label = label_of(&curve.trace);
            !named.contains(&&label)
                && curve
                    .number
                    .is_none_or(|number| is_asked(&plan.traces, number, &curve.trace))
        });
    }
    curves.retain(|curve| !holds_errors(plan, &curve.trace));
    if curves.is_empty() {
        return Err(nothing(plan, run));
    }
    for curve in &mut curves {
        curve.remarks.extend(say_set_aside(&set_aside));
    }
    Ok(curves)
}

/// Says that columns stand for errors by their name, and what takes them as such.
fn say_set_aside(labels: &[String]) -> Option<Diagnostic> {
    let label = labels.first()?;
    Some(Diagnostic::note(
        Code::new("fit-remark"),
        format!(
            "`{}` stands for errors by its name, and is no curve of its own: --weights '{label}' lets the points count by it",
            labels.join("`, `")
        ),
    ))
}

/// Whether the plan names a trace as one that holds errors of others.
fn holds_errors(plan: &FitPlan, trace: &Trace) -> bool {
    let weights = match &plan.weights {
        Some(WeightPlan::Errors(label)) => Some(label),
        _ => None,
    };
    let mut named = plan.common.iter().chain(weights);
    named.any(|label| *label == label_of(trace) || trace.y.name.as_ref() == Some(label))
}

/// The traces that a law of two variables takes together: those that are asked for, without columns of errors.
pub(super) fn of_levels<'a>(plan: &FitPlan, run: &'a Run) -> Vec<&'a Trace> {
    let aside = errors_beside(plan, run);
    (0..)
        .zip(&run.traces)
        .filter(|(number, trace)| {
            is_asked(&plan.traces, *number, trace)
                && !holds_errors(plan, trace)
                && !aside.contains(&label_of(trace))
        })
        .map(|(_, trace)| trace)
        .collect()
}

/// The points of all levels of a second variable as one curve.
fn over_levels<'a>(plan: &FitPlan, run: &Run) -> Result<FitCurve<'a>, Refusal> {
    let all = of_levels(plan, run);
    let Some(first) = all.first() else {
        return Err(nothing(plan, run));
    };
    let mut together = (*first).clone();
    for trace in &all {
        let kind = (&trace.x.quantity, &trace.x.unit, &trace.y.quantity, &trace.y.unit);
        if kind != (&first.x.quantity, &first.x.unit, &first.y.quantity, &first.y.unit) {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "`{}` and `{}` are not of one kind and unit, so that they are no points of one law: name the columns that are, with \
                     --trace",
                    label_of(first),
                    label_of(trace)
                ),
            });
        }
    }
    for trace in &all[1..] {
        together = joined(&together, trace);
    }
    together.held.clear();
    together.label = None;
    let mut remarks: Vec<Diagnostic> = say_set_aside(&errors_beside(plan, run)).into_iter().collect();
    // Several columns at one level.
    let name = |trace: &Trace| trace.y.name.clone().or_else(|| trace.label.clone());
    let level = |trace: &Trace| level_of(run, trace);
    let same = all.iter().filter(|trace| level(trace) == level(first));
    let names: BTreeSet<String> = same.filter_map(|trace| name(trace)).collect();
    if names.len() > 1 {
        let names: Vec<String> = names.into_iter().collect();
        remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "the columns `{}` count together, as points of one law; --trace takes one of them",
                names.join("`, `")
            ),
        ));
    }
    Ok(FitCurve {
        recorded: Recorded::of(&together.y),
        trace: Cow::Owned(together),
        number: None,
        remarks,
    })
}

/// Names of columns that hold the errors of others.
const ERRORS: [&str; 16] = [
    "sd",
    "s.d.",
    "std",
    "std dev",
    "stdev",
    "st. dev.",
    "standard deviation",
    "se",
    "sem",
    "standard error",
    "std err",
    "error",
    "err",
    "uncertainty",
    "stabw",
    "standardabweichung",
];

/// Whether a column holds the errors of others, by its name.
pub(in crate::study) fn stands_for_errors(label: &str) -> bool {
    // A unit in parentheses is no part of the name.
    let name = label.split(['(', '[', '/']).next().unwrap_or(label);
    let name = name.trim();
    ERRORS.contains(&name.to_lowercase().as_str()) || name.eq_ignore_ascii_case(SD_IN_COMMON)
}

/// Labels of traces that hold the errors of others by their name, where nobody asked for them.
fn errors_beside(plan: &FitPlan, run: &Run) -> Vec<String> {
    if !plan.traces.is_empty() || matches!(plan.weights, Some(WeightPlan::Errors(_))) {
        return Vec::new();
    }
    let labels = labels_of(run);
    let errors: Vec<String> = labels
        .iter()
        .filter(|label| stands_for_errors(label))
        .cloned()
        .collect();
    if errors.len() == labels.len() {
        Vec::new()
    } else {
        errors
    }
}

/// Why no curve is left to be fitted.
fn nothing(plan: &FitPlan, run: &Run) -> Refusal {
    if !plan.traces.is_empty() || run.traces.is_empty() {
        return no_such_trace(run, &plan.traces);
    }
    Refusal::Unsuitable {
        why: format!(
            "every measured column is named as a variable or as weights, so that none is left to be fitted; there are {}",
            labels_of(run).join(", ")
        ),
    }
}

/// Two traces one behind the other.
pub(super) fn joined(first: &Trace, second: &Trace) -> Trace {
    let mut all = first.clone();
    let put = |column: &mut Column, more: &Column| {
        column.values = column.values.iter().chain(more.values.iter()).copied().collect();
    };
    let before = u32::try_from(first.len()).unwrap_or(u32::MAX);
    put(&mut all.x, &second.x);
    put(&mut all.y, &second.y);
    all.saturated
        .extend(second.saturated.iter().map(|at| at + before));
    all.absent += second.absent;
    all
}

/// Repeated scans read as a time course at one wavelength.
pub(super) fn cut(run: &Run, wavelength: f64) -> Result<FitCurve<'_>, Refusal> {
    let unsuitable = |why: &str| Refusal::Unsuitable { why: why.into() };
    let (first, times) = scan_times(run)?;
    let nanometres: Vec<f64> = first
        .x
        .values
        .iter()
        .map(|value| first.x.unit.convert(*value, &Unit::NANOMETRE))
        .collect::<Result<_, _>>()
        .map_err(|_| unsuitable("the scans do not run over a wavelength"))?;
    let absorbance: Vec<&[f64]> = run.traces.iter().map(|trace| trace.y.values.as_ref()).collect();
    let scans = Scans {
        wavelengths: &nanometres,
        times: &times.0,
        absorbance: &absorbance,
    };
    let cut = scans.trace_at(wavelength)?;
    let x = Column::new(Quantity::TIME, times.1, cut.times);
    let y = Column::new(first.y.quantity.clone(), first.y.unit.clone(), cut.absorbance);
    let mut trace = Trace::new(x, y).map_err(|error| unsuitable(&error.to_string()))?;
    trace
        .held
        .push(Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, wavelength));
    let remarks = cut.between.map(|(low, high)| {
        Diagnostic::note(
            Code::new("between-points"),
            format!("no scan has a point at {wavelength} nm: the absorbance was taken on the line between {low} and {high} nm"),
        )
    });
    Ok(FitCurve {
        recorded: Recorded::of(&trace.y),
        trace: Cow::Owned(trace),
        number: None,
        remarks: remarks.into_iter().collect(),
    })
}

/// The first scan, and the times of all with their unit.
pub(in crate::study) fn scan_times(run: &Run) -> Result<(&Trace, (Vec<f64>, Unit)), Refusal> {
    let unsuitable = |why: &str| Refusal::Unsuitable { why: why.into() };
    let first = run
        .traces
        .first()
        .ok_or_else(|| unsuitable("the run has no trace"))?;
    let held = |trace: &Trace| {
        trace
            .held
            .iter()
            .find(|held| held.quantity == Quantity::TIME)
            .cloned()
    };
    let unit = held(first)
        .ok_or_else(|| unsuitable("no time is known for these scans"))?
        .unit;
    let times = run
        .traces
        .iter()
        .map(|trace| held(trace).and_then(|held| held.unit.convert(held.value, &unit).ok()))
        .collect::<Option<Vec<f64>>>()
        .ok_or_else(|| unsuitable("the time of a scan is not known"))?;
    Ok((first, (times, unit)))
}
