//! Runs that hold rates already, as they stand in a table.

use curvary_record::{Quantity, Run, Trace};

use super::{RatePlan, RatePoint, RunRates, conditions};
use crate::refusal::Refusal;
use crate::study::fit::{Recorded, errors_in, stands_for_errors};
use crate::study::spectrum::is_asked;
use crate::study::{DriftEffect, label_of, level_of, title};

/// The points of a run that already holds rates over concentrations.
pub(super) fn series_as_it_stands(plan: &RatePlan, run: &Run) -> RunRates {
    let mut all = RunRates::default();
    let mut leave_out = |why: String| {
        if !all.left_out.contains(&why) {
            all.left_out.push(why);
        }
    };
    let is_error = |trace: &Trace| run.traces.len() > 1 && stands_for_errors(&label_of(trace));
    for (number, trace) in (1..).zip(&run.traces) {
        let label = label_of(trace);
        let named = if label.is_empty() {
            format!("trace {number}")
        } else {
            format!("`{label}`")
        };
        if !is_asked(&plan.traces, number - 1, trace) {
            continue;
        }
        if trace.x.quantity != Quantity::CONCENTRATION {
            leave_out(format!(
                "{named} goes into no law: it runs along {}, and not along a concentration",
                title(&trace.x)
            ));
            continue;
        }
        if is_error(trace) {
            let beside = run.traces.iter().filter(|other| !is_error(other));
            if !beside
                .into_iter()
                .any(|other| errors_of(run, other, &is_error).is_ok_and(|own| own.is_some()))
            {
                leave_out(format!(
                    "{named} holds errors by its name, and is used neither as rates nor as their errors"
                ));
            }
            continue;
        }
        if trace.absent > 0 {
            leave_out(format!("{} of {named}: no number stood there", trace.absent));
        }
        let errors = match errors_of(run, trace, &is_error) {
            Ok(errors) => errors,
            Err(why) => {
                leave_out(format!("the errors beside {named}: {why}"));
                None
            }
        };
        for (at, (x, y)) in trace.x.values.iter().zip(trace.y.values.iter()).enumerate() {
            all.points.push(RatePoint {
                run: run.id.clone(),
                label: label_of(trace),
                substrate: (*x, trace.x.unit.clone()),
                // The substrate runs along x, so a concentration that is held is that of something else.
                inhibitor: level_of(run, trace),
                rate: (*y, errors.as_ref().map(|errors| errors[at]), trace.y.unit.clone()),
                blank: None,
                conditions: conditions(run, trace),
                drift: DriftEffect::Allowed,
                doubts: Vec::new(),
            });
        }
    }
    all
}

/// The errors of rates that a column beside them holds by its name, at the same points and levels; none where there is none.
fn errors_of(
    run: &Run,
    trace: &Trace,
    is_error: &dyn Fn(&Trace) -> bool,
) -> Result<Option<Vec<f64>>, Refusal> {
    let level = |trace: &Trace| level_of(run, trace);
    let unsuitable = |why: &str| Refusal::Unsuitable { why: why.to_owned() };
    let beside: Vec<&Trace> = run
        .traces
        .iter()
        .filter(|other| is_error(other) && other.x.values == trace.x.values && level(other) == level(trace))
        .collect();
    let rates = run
        .traces
        .iter()
        .filter(|other| !is_error(other) && other.x.values == trace.x.values && level(other) == level(trace));
    let [errors] = beside.as_slice() else {
        return match beside.len() {
            0 => Ok(None),
            _ => Err(unsuitable(
                "several columns hold errors, and which of them counts is not known",
            )),
        };
    };
    if rates.count() > 1 {
        return Err(unsuitable(
            "several columns of rates stand beside one of errors, and whose they are is not known",
        ));
    }
    let own = errors_in(errors, &Recorded::of(&trace.y), &trace.y)?;
    match own.iter().position(|error| !(*error > 0.0 && error.is_finite())) {
        None => Ok(Some(own)),
        Some(index) => Err(Refusal::BadWeight {
            index,
            value: own[index],
        }),
    }
}
