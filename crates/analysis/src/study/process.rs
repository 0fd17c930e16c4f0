//! Curves after steps, and the mean of replicates: made to be handed on, with the record of how they came about.

use crate::study::StudyError;
use std::collections::BTreeSet;

use curvary_record::{
    Claim, Code, Column, Diagnostic, Digest, Fields, Origin, Outcome, OutcomeKind, Parameter, Quantity, Run,
    RunId, Technique, Trace, Unit, code,
};
use serde::{Deserialize, Serialize};

use super::spectrum::{
    References, asked_traces, bare, curve_of_trace, in_question, tell_log, unit_of, with_usual_steps,
};
use super::{BY, PlotData, TraceResult, label_of};
use crate::spectra::{Average, Axis, Chain, Curve, Grids, Interpolation, Ordinate, Spectrum, Step, average};

/// What is asked, in a form that is kept with its result.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct ProcessPlan {
    /// Steps, in order.
    pub steps: Vec<Step>,
    /// Whether the curves are replicates of which the mean is wanted.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub average: bool,
    /// How replicates are interpolated at the points of the first, where theirs differ; they must not differ if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub onto_first: Option<Interpolation>,
    /// Absorbance above which points are left out; [`super::TRUSTED_ABSORBANCE`] if absent, the largest number for no
    /// limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trusted_absorbance: Option<f64>,
    /// Traces by number (from 1) or label; all if empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
}

/// A curve that was made, or why there is none.
#[derive(Clone, Debug, PartialEq)]
pub struct ProcessedCurve {
    /// The record: highest, lowest and mean value, and of replicates their spread.
    pub found: TraceResult,
    /// The curve as a run, to be written: what it was made of and how stands in its fields. The mean of replicates has their
    /// standard deviation as a second trace.
    pub run: Option<Run>,
}

/// Carries out the steps on every trace of a run that the plan speaks of.
pub fn process_run(plan: &ProcessPlan, run: &Run, references: &References) -> Vec<ProcessedCurve> {
    let traces = match usable(plan, run) {
        Ok(traces) => traces,
        Err(why) => return vec![refused(plan, &[run], None, why)],
    };
    traces
        .into_iter()
        .map(|(number, trace)| {
            let mut outcome = bare(OutcomeKind::Processed, "as recorded", run, Some(number), plan);
            let made = ready(plan, trace, references, &mut outcome)
                .and_then(|curve| written(&curve, &curve.spectrum.curve, &[(run, trace)], &mut outcome));
            let drawn = made.as_ref().map_or_else(|_| PlotData::default(), drawn);
            finished(outcome, Some(number), label_of(trace), drawn, made)
        })
        .collect()
}

/// The mean of all traces of all runs that the plan speaks of, after the steps, with their spread.
pub fn average_runs(plan: &ProcessPlan, runs: &[&Run], references: &References) -> ProcessedCurve {
    let Some(first) = runs.first() else {
        return ProcessedCurve {
            found: TraceResult {
                trace: None,
                label: String::new(),
                outcome: empty(plan, &[]).identified(),
                drawn: PlotData::default(),
            },
            run: None,
        };
    };
    let mut outcome = empty(plan, runs);
    let made = averaged(plan, runs, references, &mut outcome);
    let drawn = made.as_ref().map_or_else(|_| PlotData::default(), drawn);
    let label = if runs.len() == 1 {
        label_of_all(first)
    } else {
        String::new()
    };
    finished(outcome, None, label, drawn, made)
}

/// The label that all traces of a run share.
fn label_of_all(run: &Run) -> String {
    let labels: BTreeSet<String> = run.traces.iter().map(label_of).collect();
    match (labels.len(), labels.into_iter().next()) {
        (1, Some(label)) => label,
        _ => String::new(),
    }
}

fn empty(plan: &ProcessPlan, runs: &[&Run]) -> Outcome {
    Outcome {
        id: String::new(),
        kind: OutcomeKind::Processed,
        runs: Vec::from_iter(runs.iter().map(|run| run.id.clone())),
        trace: None,
        model: "mean of replicates".into(),
        by: BY.into(),
        settings: super::spectrum::as_settings(plan),
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: std::collections::BTreeMap::new(),
        remarks: Vec::new(),
    }
}

fn refused(plan: &ProcessPlan, runs: &[&Run], trace: Option<u32>, why: StudyError) -> ProcessedCurve {
    let outcome = Outcome {
        trace,
        model: "as recorded".into(),
        ..empty(plan, runs)
    };
    finished(outcome, trace, String::new(), PlotData::default(), Err(why))
}

fn finished(
    mut outcome: Outcome,
    trace: Option<u32>,
    label: String,
    drawn: PlotData,
    made: Result<Run, StudyError>,
) -> ProcessedCurve {
    let run = match made {
        Ok(run) => {
            outcome.termination = "computed".into();
            Some(run)
        }
        Err(why) => {
            outcome.parameters.clear();
            outcome.termination = why.told();
            None
        }
    };
    ProcessedCurve {
        found: TraceResult {
            trace,
            label,
            outcome: outcome.identified(),
            drawn,
        },
        run,
    }
}

fn usable<'a>(plan: &ProcessPlan, run: &'a Run) -> Result<Vec<(u32, &'a Trace)>, StudyError> {
    if let Some(refusal) = in_question(run) {
        return Err(refusal.into());
    }
    asked_traces(run, &plan.traces).map_err(StudyError::from)
}

/// A curve after the steps, with what its columns are.
struct CurveAfterSteps {
    spectrum: Spectrum,
    x: (Quantity, Unit),
    y: (Quantity, Unit),
}

fn ready(
    plan: &ProcessPlan,
    trace: &Trace,
    references: &References,
    outcome: &mut Outcome,
) -> Result<CurveAfterSteps, StudyError> {
    let (spectrum, marked) = curve_of_trace(trace)?;
    let chain = with_usual_steps(&plan.steps, &spectrum, plan.trusted_absorbance);
    if !chain.steps.is_empty() {
        outcome.model = if plan.average {
            format!("{chain} | mean of replicates")
        } else {
            chain.to_string()
        };
    }
    let processed = chain.apply(&spectrum, |name| references.get(name).cloned())?;
    tell_log(&processed.log, marked, outcome);
    let x = match processed.spectrum.axis {
        Axis::Nanometre => Quantity::WAVELENGTH,
        Axis::PerCentimetre => Quantity::WAVENUMBER,
        Axis::ElectronVolt => Quantity::ENERGY,
        Axis::Other => trace.x.quantity.clone(),
    };
    let x = (
        x,
        unit_of(processed.spectrum.axis).unwrap_or_else(|| trace.x.unit.clone()),
    );
    let y = ordinate(&chain, &processed.spectrum, &x.1, trace)?;
    Ok(CurveAfterSteps {
        spectrum: processed.spectrum,
        x,
        y,
    })
}

/// What the values are after the steps.
fn ordinate(
    chain: &Chain,
    spectrum: &Spectrum,
    along: &Unit,
    trace: &Trace,
) -> Result<(Quantity, Unit), StudyError> {
    let derived = chain
        .steps
        .iter()
        .any(|step| matches!(step, Step::Filter { filter } if filter.derivative > 0));
    Ok(match spectrum.ordinate {
        Ordinate::Absorbance => (Quantity::ABSORBANCE, Unit::ABSORBANCE),
        Ordinate::Transmittance => (Quantity::TRANSMITTANCE, Unit::ONE),
        Ordinate::PercentTransmittance => (Quantity::TRANSMITTANCE, Unit::PERCENT),
        Ordinate::Derivative(order) => {
            // Absorbance has no dimension, so its derivative has that of 1/xⁿ.
            let power = if order == 1 {
                String::new()
            } else {
                order.to_string()
            };
            let unit = Unit::ucum(&format!("/({}){power}", along.code()))
                .or_else(|_| Unit::ucum(&format!("/{}{power}", along.code())));
            let unit = unit.map_err(|error| {
                StudyError::unsuitable(format!("the derivative has no unit here: {error}"))
            })?;
            (Quantity::named(format!("absorbance-derivative-{order}")), unit)
        }
        Ordinate::Other if derived => {
            return Err(StudyError::unsuitable(format!(
                "the derivative of {} has no unit here; turn the values into absorbance first",
                trace.y.quantity
            )));
        }
        Ordinate::Other => (trace.y.quantity.clone(), trace.y.unit.clone()),
    })
}

fn averaged(
    plan: &ProcessPlan,
    runs: &[&Run],
    references: &References,
    outcome: &mut Outcome,
) -> Result<Run, StudyError> {
    let unsuitable = StudyError::unsuitable;
    let mut parts: Vec<(&Run, &Trace)> = Vec::new();
    for run in runs {
        let traces = usable(plan, run).map_err(|why| why.of_run(&run.id))?;
        parts.extend(traces.into_iter().map(|(_, trace)| (*run, trace)));
    }
    of_one_kind(&parts, outcome)?;
    let mut all: Vec<CurveAfterSteps> = Vec::new();
    for (run, trace) in &parts {
        let mut own = empty(plan, &[*run]);
        let ready = ready(plan, trace, references, &mut own).map_err(|why| why.of_run(&run.id))?;
        outcome.model = own.model;
        for mut remark in own.remarks {
            if remark.code == code::POINTS_LEFT_OUT {
                remark.message = format!("{} (run {})", remark.message, run.id);
            }
            // What the steps did alike to every replicate is told once.
            if !outcome.remarks.contains(&remark) {
                outcome.remarks.push(remark);
            }
        }
        if let Some(first) = all.first()
            && (first.x != ready.x || first.y != ready.y)
        {
            return Err(unsuitable(format!(
                "the first replicate is {} in {} over {} in {}, that of run {} {} in {} over {} in {}",
                first.y.0,
                first.y.1,
                first.x.0,
                first.x.1,
                run.id,
                ready.y.0,
                ready.y.1,
                ready.x.0,
                ready.x.1
            )));
        }
        all.push(ready);
    }
    let curves: Vec<Curve> = all.iter().map(|ready| ready.spectrum.curve.clone()).collect();
    let grids = plan.onto_first.map_or(Grids::MustMatch, Grids::Resample);
    let found = average(&curves, grids).map_err(|refusal| match (refusal.code(), plan.onto_first) {
        ("grids-differ" | "unequal-lengths", None) => StudyError::from(refusal).reworded(|why| {
            format!("{why}; `--onto-first` interpolates the others at the points of the first")
        }),
        _ => refusal.into(),
    })?;
    if let (Some(how), false) = (plan.onto_first, found.resampled.is_empty()) {
        let which: Vec<String> = found.resampled.iter().map(|at| (at + 1).to_string()).collect();
        outcome.remarks.push(Diagnostic::warning(
            Code::new("resampled"),
            format!(
                "replicate {} of {} did not stand at the points of the first and was resampled ({}) there: its values are \
                 interpolated, and their noise, with the spread, comes out too small",
                which.join(", "),
                found.replicates,
                how.name()
            ),
        ));
    }
    let Some(first) = all.first() else {
        return Err(unsuitable("there is no replicate".into()));
    };
    tell_spread(&found, first, outcome);
    let mut run = written(first, &found.mean, &parts, outcome)?;
    if let Some(mean) = run.traces.first_mut() {
        // Sums of decimal numbers: 0.67022, not 0.6702200000000001.
        let plain = |value: &f64| format!("{value:.11e}").parse().unwrap_or(*value);
        mean.y.values = mean.y.values.iter().map(plain).collect::<Vec<f64>>().into();
    }
    let spread = Column::new(
        Quantity::named("standard-deviation"),
        first.y.1.clone(),
        found.standard_deviation,
    );
    if let Some(mean) = run.traces.first_mut() {
        mean.label = Some(format!("mean of {}", found.replicates));
        let mut trace =
            Trace::new(mean.x.clone(), spread).map_err(|error| StudyError::unsuitable(error.to_string()))?;
        trace.label = Some(format!("standard deviation of {}", found.replicates));
        trace.held.clone_from(&mean.held);
        run.traces.push(trace);
    }
    Ok(run)
}

/// Whether the replicates were taken at one temperature and pH, as far as that is known: a mean over several is one of different things.
fn of_one_kind(parts: &[(&Run, &Trace)], outcome: &mut Outcome) -> Result<(), StudyError> {
    // As for means of results: half a kelvin changes most rate constants by 3 to 5 %.
    for (key, room, zero, shown) in [("temperature", 0.5, 273.15, " °C"), ("ph", 0.05, 0.0, "")] {
        let all: Vec<Option<f64>> = parts
            .iter()
            .map(|(run, trace)| {
                let held = trace.held.iter().find(|held| held.quantity.as_str() == key);
                held.map(|held| held.unit.to_si(held.value))
                    .or_else(|| trace.fields.si(key))
                    .or_else(|| run.fields.si(key))
                    .map(|si| si - zero)
            })
            .collect();
        let (low, high) = all
            .iter()
            .flatten()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(*value), high.max(*value))
            });
        if high - low > room {
            return Err(StudyError::unsuitable(format!(
                "the replicates were taken at a {key} of {low:.2} to {high:.2}{shown}, and a mean over them is one of different things: \
                 choose runs or traces of one {key}"
            )));
        }
        let unknown = all.iter().filter(|value| value.is_none()).count();
        if unknown > 0 && unknown < all.len() {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("replicates-differ"),
                format!("of {unknown} of {} replicates no {key} is known", all.len()),
            ));
        }
    }
    Ok(())
}

/// The pooled standard deviation √(Σs²/n) over all points, and the largest with its place.
fn tell_spread(found: &Average, first: &CurveAfterSteps, outcome: &mut Outcome) {
    let all = &found.standard_deviation;
    let pooled = (all.iter().map(|s| s * s).sum::<f64>() / all.len() as f64).sqrt();
    let worst = (0..all.len()).fold(0, |best, i| if all[i] > all[best] { i } else { best });
    let unit = &first.y.1;
    outcome.parameters.push(plain("spread", pooled, unit));
    let mut largest = plain("largest-spread", all[worst], unit);
    largest.reason = Some(format!("at {} {}", found.mean.x()[worst], first.x.1.display()));
    outcome.parameters.push(largest);
    outcome
        .statistics
        .insert("replicates".into(), found.replicates as f64);
}

/// The curve as a run of its own, and its numbers in the record.
fn written(
    ready: &CurveAfterSteps,
    curve: &Curve,
    parts: &[(&Run, &Trace)],
    outcome: &mut Outcome,
) -> Result<Run, StudyError> {
    let (x, y) = (curve.x(), curve.y());
    let at = |i: usize| Some(format!("at {} {}", x[i], ready.x.1.display()));
    let highest = (0..y.len()).fold(0, |best, i| if y[i] > y[best] { i } else { best });
    let lowest = (0..y.len()).fold(0, |best, i| if y[i] < y[best] { i } else { best });
    let unit = &ready.y.1;
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let numbers = [
        Parameter {
            reason: at(highest),
            ..plain("highest", y[highest], unit)
        },
        Parameter {
            reason: at(lowest),
            ..plain("lowest", y[lowest], unit)
        },
        plain("mean", mean, unit),
    ];
    outcome.parameters.splice(0..0, numbers);
    outcome.statistics.insert("points".into(), y.len() as f64);
    outcome.statistics.insert("first_x".into(), x[0]);
    outcome.statistics.insert("last_x".into(), x[x.len() - 1]);

    let Some((first, sample)) = parts.first() else {
        return Err(StudyError::unsuitable("there is nothing to write"));
    };
    let mut trace = Trace::new(
        Column::new(ready.x.0.clone(), ready.x.1.clone(), x.to_vec()),
        Column::new(ready.y.0.clone(), ready.y.1.clone(), y.to_vec()),
    )
    .map_err(|error| StudyError::unsuitable(error.to_string()))?;
    // A derivative is not what the column's head says.
    if !matches!(ready.spectrum.ordinate, Ordinate::Derivative(_)) {
        trace.label.clone_from(&sample.label);
    }
    trace.held = sample
        .held
        .iter()
        .filter(|held| {
            parts
                .iter()
                .all(|(_, other)| other.held.iter().any(|own| same_place(own, held)))
        })
        .cloned()
        .collect();
    let (mut fields, lost) = common(parts);
    if !lost.is_empty() {
        outcome.remarks.push(Diagnostic::note(
            Code::new("fields-left-out"),
            format!(
                "the replicates do not all state the same {}, so the mean states none",
                lost.join(", ")
            ),
        ));
    }
    let runs: BTreeSet<&RunId> = parts.iter().map(|(run, _)| &run.id).collect();
    let from: Vec<String> = runs.iter().map(|id| id.to_string()).collect();
    let words = match parts.len() {
        1 => format!("{} (of run {})", outcome.model, from.join(", ")),
        n => format!("{} ({n} of runs {})", outcome.model, from.join(", ")),
    };
    let origin = Origin::Derived {
        step: outcome.model.clone(),
        from,
    };
    fields.claim("processing", Claim::text(words, origin));
    let digest = Digest::of(outcome.clone().identified().id.as_bytes());
    let mut source = first.source.clone();
    source.reader = "derived".into();
    source.reader_version = env!("CARGO_PKG_VERSION").into();
    source.lines = None;
    let paths: BTreeSet<&str> = parts.iter().map(|(run, _)| run.source.path.as_str()).collect();
    source.path = Vec::from_iter(paths).join(", ");
    Ok(Run {
        id: RunId::new(&digest, 0),
        source,
        technique: if parts.len() == 1 && first.traces.len() == 1 || ready.spectrum.axis == Axis::Other {
            first.technique.clone()
        } else {
            Technique::SPECTRUM
        },
        because: Vec::new(),
        fields,
        traces: vec![trace],
        questions: Vec::new(),
        remarks: Vec::new(),
    })
}

fn same_place(a: &curvary_record::Coordinate, b: &curvary_record::Coordinate) -> bool {
    a.quantity == b.quantity && a.unit == b.unit && a.value == b.value
}

/// The fields on which all runs agree, and the keys of the others.
fn common(parts: &[(&Run, &Trace)]) -> (Fields, Vec<String>) {
    let mut fields = Fields::default();
    let mut lost: BTreeSet<String> = BTreeSet::new();
    for (run, trace) in parts {
        for (key, claims) in trace.fields.iter().chain(run.fields.iter()) {
            let Some(claim) = claims.first() else { continue };
            let agreed = parts.iter().all(|(run, trace)| {
                let own = trace
                    .fields
                    .get(key.as_str())
                    .or_else(|| run.fields.get(key.as_str()));
                own.is_some_and(|own| own.agrees(claim))
            });
            if !agreed {
                lost.insert(key.as_str().to_owned());
            } else if fields.get(key.as_str()).is_none() {
                fields.claim(key.as_str(), claim.clone());
            }
        }
    }
    (fields, lost.into_iter().collect())
}

fn plain(name: &str, value: f64, unit: &Unit) -> Parameter {
    Parameter {
        name: name.into(),
        value: Some(value),
        unit: Some(unit.clone()),
        standard_error: None,
        intervals: Vec::new(),
        reason: None,
    }
}

fn drawn(run: &Run) -> PlotData {
    let Some(trace) = run.traces.first() else {
        return PlotData::default();
    };
    PlotData {
        x_title: super::title(&trace.x),
        y_title: super::title(&trace.y),
        x: trace.x.values.to_vec(),
        y: trace.y.values.to_vec(),
        used: (0..trace.len()).collect(),
        ..PlotData::default()
    }
}
