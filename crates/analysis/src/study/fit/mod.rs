//! Fits of a run's traces: time courses, rate laws and formulas of one's own.

mod columns;
mod compare;
mod curve;
mod doubt;
mod model;
mod points;
mod record;
mod shared;

pub use compare::{LawRanking, compare_trace};
pub(super) use curve::{scan_times, stands_for_errors};
pub use doubt::DRIFT_MOVES;
pub(in crate::study) use doubt::two;
pub(super) use doubt::{correlated, fuller_law};
pub(super) use model::Chosen;
pub use model::ModelCard;
pub(super) use points::{preparation, prepared};
pub(super) use record::{statistics, tell};
pub use shared::{NamedRun, Together, compare_together, fit_together};

use curvary_record::{Code, Diagnostic, Interval, Outcome, OutcomeKind, Quantity, Run, Trace, Unit, code};

use super::plan::{FitPlan, WeightPlan};
use super::recorded::temperature_between;
use super::spectrum::bare;
use super::{
    PlotData, Six, TraceResult, Wanted, allow_for_scale, concentration_of, curve_of, label_of, levels_of,
    likely, stretch_of_law, tell_apart, title, told, unit_in_terms,
};
use crate::courses::{Order, Preparation, PreparedTrace, fit_prepared};
use crate::fit::{
    Along, Bootstrap, BootstrapRounds, Data, FTest, Fit, Options, Robust, Weighting, allow_for_correlation,
    bootstrap, f_test, fit,
};
use crate::models::Model;
use crate::refusal::Refusal;
use columns::{arrange, is_running};
use curve::{FitCurve, curves};
use doubt::{HiddenDrift, far_readings, no_finer_than_readings, over_time, say_coarse};
use points::{beside, levels, negative};

/// Fits every trace of a run that the plan speaks of. Each gives a result or the reason why there is none.
pub fn fit_run(plan: &FitPlan, run: &Run) -> Vec<TraceResult> {
    fit_run_for(plan, run, &Wanted::default())
}

/// The same, with what is wanted beside the record.
pub fn fit_run_for(plan: &FitPlan, run: &Run, wanted: &Wanted) -> Vec<TraceResult> {
    if let Some(question) = run.questions.iter().find(|question| weighs(plan, &question.code)) {
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
    let mut all: Vec<TraceResult> = curves
        .iter()
        .map(|curve| fit_curve(plan, &chosen, run, (curve, wanted)))
        .collect();
    tell_apart(&mut all);
    all
}

/// Whether an open question touches the numbers of a curve; a date in doubt does not.
fn weighs(plan: &FitPlan, asked: &Code) -> bool {
    !(code::ABOUT_CONDITIONS.contains(asked) || plan.is_formula() && code::ABOUT_AXES.contains(asked))
}

fn fit_curve(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    (curve, wanted): (&FitCurve<'_>, &Wanted),
) -> TraceResult {
    let label = label_of(&curve.trace);
    match fitted(plan, chosen, run, (curve, wanted)) {
        Ok(found) => found,
        Err(refusal) => refused(plan, run, curve.number, label, &refusal),
    }
}

/// An outcome without a number, with the reason.
fn refused(plan: &FitPlan, run: &Run, number: Option<u32>, label: String, refusal: &Refusal) -> TraceResult {
    let mut outcome = blank(plan, run, number);
    outcome.termination = told(refusal);
    TraceResult {
        trace: number,
        label,
        outcome: outcome.identified(),
        drawn: PlotData::default(),
    }
}

fn blank(plan: &FitPlan, run: &Run, trace: Option<u32>) -> Outcome {
    bare(OutcomeKind::Fit, &plan.name(), run, trace, plan)
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

/// What a fit of one curve takes: points, in the units of the record, and what counts how much.
pub(super) struct FitPoints {
    how: Preparation,
    points: PreparedTrace,
    /// One column for each variable of the model.
    columns: Vec<Vec<f64>>,
    /// What is fitted: the signal, or what a formula makes of it.
    response: Vec<f64>,
    /// Known standard deviations, where the plan names some.
    errors: Option<Vec<f64>>,
    /// The unit in which inhibitor concentrations count.
    level_unit: Unit,
}

impl FitPoints {
    fn weighting(&self, plan: &FitPlan) -> Weighting<'_> {
        match (&self.errors, &plan.weights) {
            (Some(errors), _) => Weighting::KnownErrors(errors),
            (None, Some(WeightPlan::Relative)) => Weighting::Relative,
            (None, _) => Weighting::Equal,
        }
    }

    /// The unit of the fitted values.
    fn y_unit(&self, trace: &Trace) -> Unit {
        match self.how.conversion {
            Some(_) => Unit::MOLE_PER_LITRE,
            None => trace.y.unit.clone(),
        }
    }
}

/// Collects the points of a curve; what is left out is told in the outcome.
fn gather(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    trace: &Trace,
    outcome: &mut Outcome,
) -> Result<FitPoints, Refusal> {
    let how = preparation(plan, chosen, run, trace)?;
    let points = prepared(&how, trace, matches!(chosen, Chosen::Course(_)), outcome)?;
    let errors = match &plan.weights {
        Some(WeightPlan::Errors(label)) => Some(beside(run, trace, label, &points.used)?),
        _ => None,
    };
    // Traces that are fitted together have lost what they held; `levels` counts in the unit of the first.
    let level_unit = run
        .traces
        .first()
        .and_then(|first| concentration_of(run, first, &["inhibitor-concentration", "concentration"]))
        .map_or(Unit::ONE, |found| found.1);
    let mut response = points.signal.clone();
    let columns = match chosen {
        Chosen::Course(_) => {
            if let Some(far) = far_from_zero(&points.time)? {
                outcome.remarks.push(far);
            }
            vec![points.time.clone()]
        }
        Chosen::Law(law) if law.variables.len() > 1 => {
            let levels = levels(run, &points.used)?;
            negative("concentration", &points.time)?;
            vec![points.time.clone(), levels]
        }
        Chosen::Law(law) => {
            if let Some(what) = law.never_negative() {
                negative(what, &points.time)?;
            }
            vec![points.time.clone()]
        }
        Chosen::Formula(formula) => {
            response = formula.respond(&points.signal)?;
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
            columns
        }
    };
    Ok(FitPoints {
        how,
        points,
        columns,
        response,
        errors,
        level_unit,
    })
}

/// The unit of a parameter of a model over a trace.
fn unit_of_parameter(
    plan: &FitPlan,
    chosen: &Chosen,
    (x, y, level): (&Unit, &Unit, &Unit),
    (of, name): (&str, &str),
) -> Option<Unit> {
    if let Some(code) = of.strip_prefix('=') {
        return Unit::ucum(code).ok();
    }
    match chosen {
        Chosen::Formula(_) => plan.parameters.get(name).and_then(|plan| plan.unit.clone()),
        // A rate over concentrations: `y` is the rate, so Vmax is in its unit.
        Chosen::Law(law) if law.variables[0] != "t" => {
            let of = if of == "y/x" && name == "Vmax" { "y" } else { of };
            unit_in_terms(of, x, y, level)
        }
        _ => unit_in_terms(of, x, y, level),
    }
}

/// Puts the intervals of a second opinion beside the others, and says how its deviations compare.
fn say_dealt(dealt: &BootstrapRounds, how: Bootstrap, found: &Fit, outcome: &mut Outcome) {
    let mut words = Vec::new();
    for (j, parameter) in found.parameters.iter().enumerate() {
        let own = outcome
            .parameters
            .iter_mut()
            .find(|own| own.name == parameter.name.as_ref());
        if let Some(own) = own {
            own.intervals.push(Interval {
                level: found.level,
                low: dealt.intervals[j].lower,
                high: dealt.intervals[j].upper,
                kind: "bootstrap".into(),
            });
        }
        if let Some(error) = parameter.standard_error.filter(|error| *error > 0.0) {
            let ends = match (dealt.intervals[j].lower, dealt.intervals[j].upper) {
                (Some(low), Some(high)) => format!(" ({} to {})", Six(low), Six(high)),
                _ => String::new(),
            };
            words.push(format!(
                "{} {:.2}{ends}",
                parameter.name,
                dealt.deviations[j] / error
            ));
        }
        outcome.statistics.insert(
            format!("bootstrap_standard_error {}", parameter.name),
            dealt.deviations[j],
        );
    }
    let together = dealt.lag_one.map_or_else(String::new, |rho| {
        format!(", with a correlation of neighbours of {rho:.2}")
    });
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        format!(
            "by residuals dealt out anew {} times (seed {}{together}), deviations in terms of the standard errors above, and {} % intervals: {}",
            dealt.rounds,
            how.seed,
            100.0 * found.level,
            words.join(", ")
        ),
    ));
}

/// Whether the points agree with the constraints: the law with them against the law without.
fn against_free(
    plan: &FitPlan,
    model: &dyn Model,
    gathered: &FitPoints,
    columns: &[&[f64]],
    found: &Fit,
) -> Option<Diagnostic> {
    let data = Data {
        x: columns,
        y: &gathered.response,
        weighting: gathered.weighting(plan),
    };
    let free = FitPlan {
        constraints: Vec::new(),
        profile: false,
        ..plan.clone()
    };
    let other = fit(model, &data, &free.options(model).ok()?).ok()?;
    Some(say_of_constraint(&f_test(found, &other).ok()?))
}

/// Says whether points agree with constraints, by the law with them against the law without.
fn say_of_constraint(test: &FTest) -> Diagnostic {
    let words = format!(
        "F {:.2} on {} and {}, probability {} by chance",
        test.f,
        test.df1,
        test.df2,
        likely(test.probability)
    );
    // As for a fuller law: once in a hundred fits by chance.
    if test.probability < 0.01 {
        Diagnostic::warning(
            Code::new("lack-of-fit"),
            format!(
                "without the constraint the law fits these points better ({words}): it does not hold, or the law does not"
            ),
        )
    } else {
        Diagnostic::note(
            Code::new("fit-remark"),
            format!("the points agree with the constraint ({words})"),
        )
    }
}

/// Holds the errors of a fit to what readings in steps of `resolution` can show; gives whether that was needed. `one`: the column of x,
/// where there is one.
fn held_to_readings(
    resolution: f64,
    (model, one): (&dyn Model, Option<&[f64]>),
    response: &[f64],
    options: &Options,
    found: &mut Fit,
    outcome: &mut Outcome,
) -> bool {
    // What is left is the rounding of the arithmetic: its intervals are of nothing that was read.
    const NEXT_TO_NOTHING: f64 = 1e-9;
    let known = vec![resolution / 12f64.sqrt(); response.len()];
    if found.residual_sd <= NEXT_TO_NOTHING * resolution
        && let Some(x) = one.filter(|_| model.variables() == 1)
        && let Ok(other) = fit(
            model,
            &Data {
                x: &[x],
                y: response,
                weighting: Weighting::KnownErrors(&known),
            },
            options,
        )
    {
        // Every point lies on the curve: nothing is left that could be scaled.
        *found = Fit {
            fit_probability: None,
            residual_sd: 0.0,
            ..other
        };
        say_coarse(resolution, outcome);
        return true;
    }
    no_finer_than_readings(resolution, found, outcome)
}

/// Tells what absorbance and times were turned into, and a constant that is per absorbance.
fn tell_units(
    chosen: &Chosen,
    y_unit: &Unit,
    (points, how, x_unit): (&PreparedTrace, &Preparation, &Unit),
    outcome: &mut Outcome,
) {
    let second = matches!(chosen, Chosen::Course(course) if matches!(course.order(), Order::Second | Order::SecondUnequal));
    if second && *y_unit == Unit::ABSORBANCE {
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
                x_unit.display()
            ),
        ));
    }
}

#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
fn fitted(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    (curve, wanted): (&FitCurve<'_>, &Wanted),
) -> Result<TraceResult, Refusal> {
    let trace = curve.trace.as_ref();
    let mut outcome = blank(plan, run, curve.number);
    outcome.remarks.clone_from(&curve.remarks);
    let tied = plan.tied(chosen)?;
    let model: &dyn Model = match &tied {
        Some(tied) => tied,
        None => chosen.model(),
    };
    let options = plan.options(model)?;
    let gathered = gather(plan, chosen, run, trace, &mut outcome)?;
    let columns: Vec<&[f64]> = gathered.columns.iter().map(Vec::as_slice).collect();
    let mut found = match chosen {
        Chosen::Course(course) if tied.is_none() => {
            // What was left out has been told above.
            let points = PreparedTrace {
                saturated: 0,
                ..gathered.points.clone()
            };
            fit_prepared(course, points, &gathered.how, gathered.weighting(plan), &options)?.fit
        }
        _ => {
            let data = Data {
                x: &columns,
                y: &gathered.response,
                weighting: gathered.weighting(plan),
            };
            fit(model, &data, &options)?
        }
    };
    let against = tied
        .as_ref()
        .and_then(|_| against_free(plan, chosen.model(), &gathered, &columns, &found));
    let dealt = plan
        .bootstrap
        .map(|how| {
            let data = Data {
                x: &columns,
                y: &gathered.response,
                weighting: gathered.weighting(plan),
            };
            let mut serial = found.clone();
            if trace.x.quantity == Quantity::TIME && plan.weights.is_none() {
                allow_for_correlation(model, &columns, &mut serial);
            }
            bootstrap(model, &data, &serial, &options, how)
        })
        .transpose()?;
    let fuller = match chosen {
        Chosen::Law(law) if tied.is_none() => {
            let data = Data {
                x: &columns,
                y: &gathered.response,
                weighting: gathered.weighting(plan),
            };
            fuller_law(law, &data, &options, &found)
        }
        _ => None,
    };
    let y_unit = gathered.y_unit(trace);
    let level_unit = gathered.level_unit.clone();
    let levels = match (chosen, gathered.columns.get(1)) {
        (Chosen::Law(law), Some(level)) if tied.is_none() => {
            levels_of(law, &found.values(), &gathered.points.time, level, &level_unit)
        }
        _ => Vec::new(),
    };
    let FitPoints {
        how,
        points,
        response,
        ..
    } = gathered;
    let unit = |of: &str, name: &str| {
        unit_of_parameter(plan, chosen, (&trace.x.unit, &y_unit, &level_unit), (of, name))
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
            let one = plan.variables.is_empty().then_some(points.time.as_slice());
            coarse = held_to_readings(
                resolution,
                (model, one),
                &response,
                &options,
                &mut found,
                &mut outcome,
            );
        }
    }
    let one_variable = plan.variables.is_empty() && model.variables() == 1;
    if one_variable {
        let unit = trace.x.unit.display();
        far_readings(&points.time, &unit, options.robust, &found, &mut outcome);
    }
    if let (Chosen::Course(course), true) = (chosen, options.robust != Robust::No && tied.is_none())
        && let Some(hidden) = HiddenDrift::of(course, &points.time, &found)
    {
        hidden.tell(&found, &mut outcome);
    }
    if plainly && !coarse && one_variable && trace.x.quantity == Quantity::TIME {
        if tied.is_some() {
            correlated(model, &[points.time.as_slice()], &mut found, &mut outcome);
        } else {
            over_time(
                chosen,
                (&points.time, &response),
                &options,
                &mut found,
                &mut outcome,
            );
        }
    }
    let values = found.values();
    for follows in tied.iter().flat_map(|tied| tied.tied(&values)) {
        let specification = follows.specification;
        found.derive(
            specification.name,
            specification.unit,
            follows.value,
            &follows.gradient,
        );
    }
    tell(&mut outcome, &found, &unit);
    allow_for_scale(
        &mut outcome,
        found.units(),
        plan.scale_error.filter(|_| how.conversion.is_some()),
    );
    outcome.remarks.extend(fuller);
    outcome.remarks.extend(against);
    if let (Some(dealt), Some(how)) = (&dealt, plan.bootstrap) {
        say_dealt(dealt, how, &found, &mut outcome);
    }
    tell_units(chosen, &y_unit, (&points, &how, &trace.x.unit), &mut outcome);
    if let (Some(first), Some(last)) = (points.time.first(), points.time.last())
        && matches!(chosen, Chosen::Course(_))
    {
        outcome.statistics.insert("first_x".into(), *first);
        outcome.statistics.insert("last_x".into(), *last);
        // Times of the record, without the dead time.
        let between = (first - how.dead_time, last - how.dead_time);
        if let Some(recorded) = temperature_between(run, between, &trace.x.unit) {
            recorded.tell(&mut outcome);
        }
    }
    let y_title = if how.conversion.is_some() {
        "concentration / mol/L".to_owned()
    } else {
        title(&trace.y)
    };
    let scale = points.factor.unwrap_or(1.0);
    let along = |x: &[f64]| -> Vec<Along> {
        found
            .along(model, x, plainly)
            .filter(|_| !x.is_empty())
            .unwrap_or_default()
    };
    let stretch = match chosen {
        Chosen::Law(law) => stretch_of_law(law, &found, &points.time),
        _ => points.time.clone(),
    };
    let curve_drawn = curve_of(model, &found.values(), &stretch);
    let (band, at_points) = if wanted.band {
        let grid: Vec<f64> = curve_drawn.iter().map(|(x, _)| *x).collect();
        (along(&grid), along(&points.time))
    } else {
        (Vec::new(), Vec::new())
    };
    let predicted = along(&wanted.places);
    if !wanted.places.is_empty() && predicted.is_empty() {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("fit-remark"),
            "no prediction: the data do not determine the curve, or it runs along several columns",
        ));
    }
    Ok(TraceResult {
        trace: curve.number,
        label: label_of(trace),
        outcome: outcome.identified(),
        drawn: PlotData {
            x_title: title(&trace.x),
            y_title,
            x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
            y: trace.y.values.iter().map(|y| y / scale).collect(),
            curve: Some(curve_drawn),
            doses: matches!(chosen, Chosen::Law(law) if law.is_over_doses()),
            levels,
            band,
            along: at_points,
            predicted,
            used: points.used,
            fitted: found.fitted,
            residuals: found.residuals,
            ..PlotData::default()
        },
    })
}
