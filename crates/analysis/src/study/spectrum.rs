//! A trace of a run as a spectrum, and what the commands over spectra have in common.

use crate::study::StudyError;
use std::collections::BTreeMap;

use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, Quantity, Run, Trace, Unit, code};

use super::{BY, TRUSTED_ABSORBANCE, label_of};
use crate::refusal::Refusal;
use crate::spectra::{Axis, Chain, Curve, LogEntry, LogNote, Ordinate, Spectrum, SpectrumRefusal, Step};

/// Spectra by the names that stand in a chain: the names of their runs.
pub type References = BTreeMap<String, Spectrum>;

/// The spectrum of a trace, in nm, cm⁻¹ or eV. Points that were marked as beyond the range of the instrument are left
/// out and counted.
///
/// # Errors
/// `wrong-axis` for a trace that does not run over the light, and what [`Curve::new`] refuses.
pub fn spectrum_of(trace: &Trace) -> Result<(Spectrum, usize), SpectrumRefusal> {
    let wrong = || SpectrumRefusal::WrongAxis {
        found: super::title(&trace.x),
        wanted: "a wavelength, a wavenumber or an energy of light".into(),
    };
    let (axis, unit) = match &trace.x.quantity {
        quantity if *quantity == Quantity::WAVELENGTH => (Axis::Nanometre, Unit::NANOMETRE),
        quantity if *quantity == Quantity::WAVENUMBER => (Axis::PerCentimetre, Unit::PER_CENTIMETRE),
        quantity if *quantity == Quantity::ENERGY => {
            (Axis::ElectronVolt, Unit::ucum("eV").map_err(|_| wrong())?)
        }
        _ => return Err(wrong()),
    };
    let x = in_unit(&trace.x.values, &trace.x.unit, &unit).ok_or_else(wrong)?;
    over(axis, x, trace)
}

/// The curve of a trace over whatever runs along it: as [`spectrum_of`] over the light, else in the axis's own unit.
///
/// # Errors
/// What [`Curve::new`] refuses.
pub(crate) fn curve_of_trace(trace: &Trace) -> Result<(Spectrum, usize), SpectrumRefusal> {
    match spectrum_of(trace) {
        Err(SpectrumRefusal::WrongAxis { .. }) => over(Axis::Other, trace.x.values.to_vec(), trace),
        done => done,
    }
}

/// The values of a trace over `x`, without the points that were marked; and how many these were.
fn over(axis: Axis, x: Vec<f64>, trace: &Trace) -> Result<(Spectrum, usize), SpectrumRefusal> {
    let (ordinate, y) = ordinate(trace);
    let curve = Curve::new(x, y)?;
    let marked: Vec<usize> = trace.saturated.iter().map(|at| *at as usize).collect();
    if marked.is_empty() {
        return Ok((
            Spectrum {
                curve,
                axis,
                ordinate,
            },
            0,
        ));
    }
    let kept: Vec<usize> = (0..curve.len()).filter(|i| !marked.contains(i)).collect();
    if kept.is_empty() {
        return Err(Refusal::AllSaturated {
            limit: TRUSTED_ABSORBANCE,
            count: curve.len(),
        }
        .into());
    }
    let curve = curve.pick(&kept)?;
    Ok((
        Spectrum {
            curve,
            axis,
            ordinate,
        },
        marked.len(),
    ))
}

/// The one spectrum of a run that serves as a blank or a reference: whole, and not in question.
///
/// # Errors
/// Why it cannot serve, in words.
pub fn reference_of(run: &Run) -> Result<Spectrum, StudyError> {
    let [trace] = run.traces.as_slice() else {
        return Err(StudyError::unsuitable(format!(
            "it has {} traces; expected one",
            run.traces.len()
        )));
    };
    if run.question_about_curves().is_some() {
        return Err(StudyError::unsuitable(
            "the run is in question; `curvary worklist` says what is asked",
        ));
    }
    let (spectrum, marked) = spectrum_of(trace)?;
    if marked > 0 {
        return Err(StudyError::unsuitable(format!(
            "{marked} points of it lie beyond the range of the instrument"
        )));
    }
    Ok(spectrum)
}

/// The path length that a run of one trace states, in cm.
pub fn path_of(run: &Run) -> Option<f64> {
    let unit = Unit::ucum("cm").ok()?;
    super::stated(run, run.traces.first(), "path-length", &unit).filter(|path| *path > 0.0)
}

fn in_unit(values: &[f64], from: &Unit, to: &Unit) -> Option<Vec<f64>> {
    values.iter().map(|value| from.convert(*value, to).ok()).collect()
}

/// What the values are, as absorbance (not thousandths of it) or transmittance where they are one of these.
fn ordinate(trace: &Trace) -> (Ordinate, Vec<f64>) {
    let y = &trace.y;
    if y.quantity == Quantity::ABSORBANCE
        && let Some(values) = in_unit(&y.values, &y.unit, &Unit::ABSORBANCE)
    {
        return (Ordinate::Absorbance, values);
    }
    if y.quantity == Quantity::TRANSMITTANCE {
        if y.unit == Unit::PERCENT {
            return (Ordinate::PercentTransmittance, y.values.to_vec());
        }
        if let Some(values) = in_unit(&y.values, &y.unit, &Unit::ONE) {
            return (Ordinate::Transmittance, values);
        }
    }
    (Ordinate::Other, y.values.to_vec())
}

/// The unit of an optical axis.
pub(crate) fn unit_of(axis: Axis) -> Option<Unit> {
    match axis {
        Axis::Nanometre => Some(Unit::NANOMETRE),
        Axis::PerCentimetre => Some(Unit::PER_CENTIMETRE),
        Axis::ElectronVolt => Unit::ucum("eV").ok(),
        Axis::Other => None,
    }
}

/// What runs along an optical axis, with its unit.
pub(crate) fn axis_title(axis: Axis) -> String {
    match axis {
        Axis::Nanometre => "wavelength / nm",
        Axis::PerCentimetre => "wavenumber / cm⁻¹",
        Axis::ElectronVolt => "energy / eV",
        Axis::Other => "x",
    }
    .to_owned()
}

/// The open question of a run that touches the numbers of its curves; one about a date does not.
pub(crate) fn in_question(run: &Run) -> Option<Refusal> {
    run.question_about_curves().map(|question| Refusal::Unsuitable {
        why: format!("the run is in question: {}", question.message),
    })
}

/// Whether a trace (counted from 0) was asked for, by number (from 1) or label; every one is where none was named.
pub(crate) fn is_asked(names: &[String], number: u32, trace: &Trace) -> bool {
    names.is_empty() || is_named(names, number, trace)
}

/// Whether a trace (counted from 0) is one of these, by number (from 1) or label.
pub(crate) fn is_named(names: &[String], number: u32, trace: &Trace) -> bool {
    let label = label_of(trace);
    names
        .iter()
        .any(|name| *name == label || name.parse() == Ok(number + 1))
}

/// Whether a run has a trace of this name, a number (from 1) or a label.
pub(crate) fn has_trace(run: &Run, name: &String) -> bool {
    let name = std::slice::from_ref(name);
    (0..)
        .zip(&run.traces)
        .any(|(number, trace)| is_named(name, number, trace))
}

/// Refuses names that no trace of a run has: beside one that is there they would be lost in silence.
///
/// # Errors
/// `unsuitable`, with these names.
pub(crate) fn all_there(run: &Run, names: &[String]) -> Result<(), Refusal> {
    let missing: Vec<String> = names
        .iter()
        .filter(|name| !has_trace(run, name))
        .cloned()
        .collect();
    if missing.is_empty() {
        Ok(())
    } else {
        Err(no_such_trace(run, &missing))
    }
}

/// The traces that were asked for, by number (from 1) or label; all where none was named.
///
/// # Errors
/// `unsuitable`, where there is none, or none of one of the names.
pub(crate) fn asked_traces<'a>(run: &'a Run, names: &[String]) -> Result<Vec<(u32, &'a Trace)>, Refusal> {
    all_there(run, names)?;
    let found: Vec<(u32, &Trace)> = (0..)
        .zip(&run.traces)
        .filter(|(number, trace)| is_asked(names, *number, trace))
        .collect();
    if found.is_empty() {
        return Err(no_such_trace(run, names));
    }
    Ok(found)
}

/// Says that no trace of a run has one of these names, and which there are.
pub(crate) fn no_such_trace(run: &Run, names: &[String]) -> Refusal {
    let labels = labels_of(run);
    let why = if labels.is_empty() {
        "the run has no trace".to_owned()
    } else {
        format!(
            "no trace is called {}; there are {}",
            names.join(" or "),
            labels.join(", ")
        )
    };
    Refusal::Unsuitable { why }
}

/// The labels of a run's traces, each once; the number (from 1) of one that has none.
pub(crate) fn labels_of(run: &Run) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for (number, trace) in (1..).zip(&run.traces) {
        let label = label_of(trace);
        let label = if label.is_empty() {
            number.to_string()
        } else {
            label
        };
        if !all.contains(&label) {
            all.push(label);
        }
    }
    all
}

/// The chain with what goes before every measurement of an absorbance: transmittance becomes absorbance, and what lies
/// above the trusted range is left out.
pub(crate) fn with_usual_steps(steps: &[Step], spectrum: &Spectrum, trusted: Option<f64>) -> Chain {
    let mut chain = Chain::default();
    let says_ordinate = steps.iter().any(|step| matches!(step, Step::Ordinate { .. }));
    let is_transmittance = matches!(
        spectrum.ordinate,
        Ordinate::Transmittance | Ordinate::PercentTransmittance
    );
    if is_transmittance && !says_ordinate {
        chain.steps.push(Step::Ordinate {
            to: Ordinate::Absorbance,
        });
    }
    let says_saturation = steps.iter().any(|step| matches!(step, Step::Saturation { .. }));
    let becomes_absorbance = spectrum.ordinate == Ordinate::Absorbance || !chain.steps.is_empty();
    let limit = trusted.unwrap_or(TRUSTED_ABSORBANCE);
    if becomes_absorbance && !says_saturation && limit < f64::MAX {
        chain.steps.push(Step::Saturation { above: limit });
    }
    chain.steps.extend(steps.iter().cloned());
    chain
}

/// What the steps assumed and left out, as remarks; steps that changed nothing are not told.
pub(crate) fn tell_log(log: &[LogEntry], marked: usize, outcome: &mut Outcome) {
    if marked > 0 {
        outcome.remarks.push(left_out(&format!(
            "{marked} {} marked as beyond the range of the instrument and left out",
            if marked == 1 { "point was" } else { "points were" }
        )));
    }
    for entry in log {
        for note in &entry.notes {
            outcome.remarks.push(match note {
                LogNote::LeftOut(words) => left_out(words),
                LogNote::Said(words) => {
                    Diagnostic::note(Code::new("processing-remark"), format!("{}: {words}", entry.step))
                }
            });
        }
    }
}

fn left_out(words: &str) -> Diagnostic {
    Diagnostic::warning(code::POINTS_LEFT_OUT, words.to_owned())
}

/// A plan as it is kept with its result.
pub(crate) fn as_settings(plan: &impl serde::Serialize) -> BTreeMap<String, serde_json::Value> {
    match serde_json::to_value(plan) {
        Ok(serde_json::Value::Object(map)) => map.into_iter().collect(),
        _ => BTreeMap::new(),
    }
}

/// An outcome without a number yet.
pub(crate) fn bare(
    kind: OutcomeKind,
    model: &str,
    run: &Run,
    trace: Option<u32>,
    plan: &impl serde::Serialize,
) -> Outcome {
    Outcome {
        id: String::new(),
        kind,
        runs: vec![run.id.clone()],
        trace,
        model: model.into(),
        by: BY.into(),
        settings: as_settings(plan),
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: still_open(run, &code::ABOUT_CONDITIONS),
    }
}

/// What is still asked about a run though it touches none of the numbers: it is told with every result, and flagged.
pub(crate) fn still_open(run: &Run, about: &[Code]) -> Vec<Diagnostic> {
    let asked = run
        .questions
        .iter()
        .filter(|question| about.contains(&question.code));
    let told = asked.map(|question| {
        let words = format!(
            "the run is in question, though not its numbers: {}; `curvary worklist` lists the answers",
            question.message
        );
        Diagnostic::warning(code::QUESTION_OPEN, words)
    });
    told.collect()
}
