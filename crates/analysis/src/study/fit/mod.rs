//! Fits of a run's traces: time courses, rate laws and formulas of one's own.

mod columns;
mod compare;
mod curve;
mod doubt;
mod model;
mod points;
mod record;

pub use compare::{Comparison, compare_trace};
pub(super) use curve::scan_times;
pub(super) use model::Chosen;
pub use model::ModelCard;
pub(super) use points::{preparation, prepared};
pub(super) use record::tell;

use curvary_record::{Code, Diagnostic, Outcome, Quantity, Run, Unit};

use super::plan::{FitPlan, WeightPlan};
use super::spectrum::bare;
use super::{Drawn, Found, concentration_of, curve_of, label_of, tell_apart, told, unit_in_terms};
use crate::courses::{Order, Prepared, fit_prepared};
use crate::fit::{Data, Robust, Weighting, fit};
use crate::refusal::Refusal;
use columns::{arrange, is_running};
use curve::{Curve, curves};
use doubt::{no_finer_than_readings, over_time};
use points::{beside, levels, negative};

/// Fits every trace of a run that the plan speaks of. Each gives a result or the reason why there is none.
pub fn fit_run(plan: &FitPlan, run: &Run) -> Vec<Found> {
    if let Some(question) = run
        .questions
        .iter()
        .find(|question| weighs(plan, question.code.as_str()))
    {
        let why = format!("the run is in question: {}", question.message);
        return vec![refused(
            plan,
            run,
            None,
            String::new(),
            &Refusal::Unsuitable { why },
        )];
    }
    let arranged = match arrange(plan, run) {
        Ok(arranged) => arranged,
        Err(refusal) => return vec![refused(plan, run, None, String::new(), &refusal)],
    };
    let (plan, run) = (&arranged.plan, arranged.run.as_ref());
    let chosen = match plan.chosen() {
        Ok(chosen) => chosen,
        Err(why) => {
            return vec![refused(
                plan,
                run,
                None,
                String::new(),
                &Refusal::Unsuitable { why },
            )];
        }
    };
    let mut curves = match curves(plan, &chosen, run) {
        Ok(curves) => curves,
        Err(refusal) => return vec![refused(plan, run, None, String::new(), &refusal)],
    };
    for curve in &mut curves {
        curve.remarks.extend(arranged.remarks.iter().cloned());
    }
    let mut all: Vec<Found> = curves
        .iter()
        .map(|curve| fit_curve(plan, &chosen, run, curve))
        .collect();
    tell_apart(&mut all);
    all
}

/// Whether an open question touches the numbers of a curve; a date in doubt does not.
fn weighs(plan: &FitPlan, code: &str) -> bool {
    let about_conditions = ["day-or-month-first", "two-units", "wavelength-disputed"];
    let about_axes = ["axis-unknown", "time-unit", "signal-unknown", "technique-unknown"];
    !(about_conditions.contains(&code) || plan.is_formula() && about_axes.contains(&code))
}

fn fit_curve(plan: &FitPlan, chosen: &Chosen, run: &Run, curve: &Curve<'_>) -> Found {
    let label = label_of(&curve.trace);
    match fitted(plan, chosen, run, curve) {
        Ok(found) => found,
        Err(refusal) => refused(plan, run, curve.number, label, &refusal),
    }
}

/// An outcome without a number, with the reason.
fn refused(plan: &FitPlan, run: &Run, number: Option<u32>, label: String, refusal: &Refusal) -> Found {
    let mut outcome = blank(plan, run, number);
    outcome.termination = told(refusal);
    Found {
        trace: number,
        label,
        outcome: outcome.identified(),
        drawn: Drawn::default(),
    }
}

fn blank(plan: &FitPlan, run: &Run, trace: Option<u32>) -> Outcome {
    bare("fit", &plan.name(), run, trace, plan)
}

/// Amplitudes are those at time zero: how sure they are, and whether they can be computed at all, depends on how long
/// before the first point that was.
///
/// Ten lengths of the course and a thousand are choices: the first is worth a word, at the second `exp(k t)` of any
/// reaction that was seen to run leaves the range of a double.
fn far_from_zero(time: &[f64]) -> Result<Option<Diagnostic>, Refusal> {
    let (Some(first), Some(last)) = (time.first(), time.last()) else {
        return Ok(None);
    };
    let lengths = first / (last - first);
    if lengths > 1000.0 {
        return Err(Refusal::Unsuitable {
            why: format!(
                "the time begins at {first}, {lengths:.0} times the length of the course, so it is no time since mixing; \
                 give times from the beginning"
            ),
        });
    }
    Ok((lengths > 10.0).then(|| {
        Diagnostic::warning(
            Code::new("fit-remark"),
            format!(
                "the time begins at {first}, {lengths:.0} times the length of the course: the amplitude is that at time zero, \
                 far outside the data"
            ),
        )
    }))
}

fn fitted(plan: &FitPlan, chosen: &Chosen, run: &Run, curve: &Curve<'_>) -> Result<Found, Refusal> {
    let trace = curve.trace.as_ref();
    let mut outcome = blank(plan, run, curve.number);
    outcome.remarks.clone_from(&curve.remarks);
    let how = preparation(plan, chosen, run, trace)?;
    let ordered = matches!(chosen, Chosen::Course(_));
    let points = prepared(&how, trace, ordered, &mut outcome)?;
    let options = plan.options(chosen.model())?;
    let errors;
    let weighting = match &plan.weights {
        None => Weighting::Equal,
        Some(WeightPlan::Relative) => Weighting::Relative,
        Some(WeightPlan::Errors(label)) => {
            errors = beside(run, trace, label, &points.used)?;
            Weighting::KnownErrors(&errors)
        }
    };
    // Traces that are fitted together have lost what they held; `levels` counts in the unit of the first.
    let level_unit = run
        .traces
        .first()
        .and_then(|first| concentration_of(run, first, &["inhibitor-concentration", "concentration"]))
        .map_or(Unit::ONE, |found| found.1);
    let mut found = match chosen {
        Chosen::Course(course) => {
            if let Some(far) = far_from_zero(&points.time)? {
                outcome.remarks.push(far);
            }
            // What was left out has been told above.
            let points = Prepared {
                saturated: 0,
                ..points.clone()
            };
            fit_prepared(course, points, &how, weighting, &options)?.fit
        }
        Chosen::Law(law) if law.variables.len() > 1 => {
            let levels = levels(run, &points.used)?;
            let columns: [&[f64]; 2] = [&points.time, &levels];
            negative("concentration", &points.time)?;
            let data = Data {
                x: &columns,
                y: &points.signal,
                weighting,
            };
            fit(*law, &data, &options)?
        }
        Chosen::Law(law) => {
            negative(
                if law.variables == ["t"] {
                    "time"
                } else {
                    "concentration"
                },
                &points.time,
            )?;
            let columns: [&[f64]; 1] = [&points.time];
            let data = Data {
                x: &columns,
                y: &points.signal,
                weighting,
            };
            fit(*law, &data, &options)?
        }
        Chosen::Formula(formula) => {
            let response = formula.respond(&points.signal)?;
            let mut columns: Vec<Vec<f64>> = Vec::new();
            for (_, column) in &plan.variables {
                columns.push(if is_running(run, column) {
                    points.time.clone()
                } else {
                    beside(run, trace, column, &points.used)?
                });
            }
            if columns.is_empty() {
                columns.push(points.time.clone());
            }
            let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
            let data = Data {
                x: &columns,
                y: &response,
                weighting,
            };
            fit(formula.as_ref(), &data, &options)?
        }
    };
    let y_unit = match (&how.conversion, chosen) {
        (Some(_), _) => Unit::MOLE_PER_LITRE,
        _ => trace.y.unit.clone(),
    };
    let unit = |of: &str, name: &str| match chosen {
        Chosen::Formula(_) => plan.parameters.get(name).and_then(|plan| plan.unit.clone()),
        // A rate over concentrations: `y` is the rate, so Vmax is in its unit.
        Chosen::Law(law) if law.variables != ["t"] => {
            let of = if of == "y/x" && name == "Vmax" { "y" } else { of };
            unit_in_terms(of, &trace.x.unit, &y_unit, &level_unit)
        }
        _ => unit_in_terms(of, &trace.x.unit, &y_unit, &level_unit),
    };
    let plainly = plan.weights.is_none() && options.robust == Robust::No;
    let mut coarse = false;
    if plainly && !matches!(chosen, Chosen::Formula(_)) {
        let step = trace
            .y
            .decimals
            .max()
            .map(|decimals| 10f64.powi(-i32::from(decimals)));
        if let Some(step) = step {
            let resolution = step / points.factor.map_or(1.0, f64::abs);
            coarse = no_finer_than_readings(resolution, &mut found, &mut outcome);
        }
    }
    let one_variable = plan.variables.is_empty() && chosen.model().variables() == 1;
    if plainly && !coarse && one_variable && trace.x.quantity == Quantity::TIME {
        let response = match chosen {
            Chosen::Formula(formula) => formula.respond(&points.signal)?,
            _ => points.signal.clone(),
        };
        over_time(
            chosen,
            (&points.time, &response),
            &options,
            &mut found,
            &mut outcome,
        );
    }
    tell(&mut outcome, &found, &unit);
    let second = matches!(chosen, Chosen::Course(course) if matches!(course.order(), Order::Second | Order::SecondUnequal));
    if second && y_unit == Unit::ABSORBANCE {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("unit-per-absorbance"),
            "k is per unit of absorbance and time, not per concentration: --concentration with the absorption coefficient and \
             the path length gives it in L/(mol s)",
        ));
    }
    if let Some(factor) = points.factor {
        outcome
            .statistics
            .insert("absorbance_per_mol_per_litre".into(), factor);
        outcome.remarks.push(Diagnostic::note(
            Code::new("converted"),
            format!("absorbance was divided by {factor} L/mol (absorption coefficient times path length) to give mol/L"),
        ));
    }
    if how.dead_time > 0.0 {
        outcome.remarks.push(Diagnostic::note(
            Code::new("converted"),
            format!(
                "a dead time of {} {} was added to every time",
                how.dead_time,
                trace.x.unit.display()
            ),
        ));
    }
    if let (Some(first), Some(last)) = (points.time.first(), points.time.last())
        && ordered
    {
        outcome.statistics.insert("first_x".into(), *first);
        outcome.statistics.insert("last_x".into(), *last);
    }
    let y_title = if how.conversion.is_some() {
        "concentration / mol/L".to_owned()
    } else {
        super::title(&trace.y)
    };
    let scale = points.factor.unwrap_or(1.0);
    Ok(Found {
        trace: curve.number,
        label: label_of(trace),
        outcome: outcome.identified(),
        drawn: Drawn {
            x_title: super::title(&trace.x),
            y_title,
            x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
            y: trace.y.values.iter().map(|y| y / scale).collect(),
            curve: Some(curve_of(chosen.model(), &found, &points.time)),
            used: points.used,
            fitted: found.fitted,
            residuals: found.residuals,
        },
    })
}
