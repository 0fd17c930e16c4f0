//! Fits of a run's traces: time courses, rate laws and formulas of one's own.

mod column_errors;
mod columns;
mod compare;
mod curve;
mod doubt;
mod drift;
mod model;
mod points;
mod reach;
mod record;
mod scatter;
mod shared;
mod zero;

pub(in crate::study) use column_errors::{Recorded, errors_in};
pub use compare::{LawRanking, compare_trace};
pub(super) use curve::{scan_times, stands_for_errors};
pub(in crate::study) use doubt::two;
pub(super) use doubt::{correlated, fuller_law};
pub use drift::{DRIFT_MOVES, STATED_DRIFT, StatedDrift};
pub(super) use model::Chosen;
pub use model::ModelCard;
pub(super) use points::{preparation, prepared};
pub(super) use record::{statistics, tell};
pub use shared::{NamedRun, Together, compare_together, fit_together};

use curvary_record::{Code, Diagnostic, Interval, Outcome, OutcomeKind, Quantity, Run, Trace, Unit, code};

use super::plan::{FitPlan, WeightPlan};
use super::recorded::temperature_between;
use super::spectrum::{bare, still_open};
use super::{
    Level, PlotData, TraceResult, Wanted, allow_for_scale, curve_of, label_of, level_of, levels_of,
    stretch_of_law, tell_apart, title, told, unit_in_terms,
};
use crate::courses::{Order, Preparation, PreparedTrace, fit_prepared};
use crate::fit::{
    Along, Bootstrap, BootstrapRounds, CommonError, Data, FTest, Fit, NoiseDraw, Options, Robust, Weighting,
    add_shifts, allow_for_correlation, bootstrap, f_test, fit, shifts_by,
};
use crate::models::{Constrained, Model};
use crate::refusal::Refusal;
use crate::wording::{Six, likely};
use columns::{arrange, is_running};
use curve::{FitCurve, curves, of_levels};
use doubt::{far_readings, no_finer_than_readings, over_time, say_coarse};
use drift::{AllowedDrift, HiddenDrift, allow_for_stated};
use points::{beside, errors_beside, levels, moves_beside, negative};

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
        Err(refusal) => return vec![refused(plan, run, None, String::new(), &refusal)],
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
    let mut outcome = bare(OutcomeKind::Fit, &plan.name(), run, trace, plan);
    if plan.is_formula() {
        outcome.remarks.extend(still_open(run, &code::ABOUT_AXES));
    }
    outcome
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
    /// What one standard deviation of each error does to the points that all of them have in common.
    common: Vec<Vec<f64>>,
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

/// The known errors of the points of a fit, for its picture, and the label of the trace that holds them.
fn bars_of(plan: &FitPlan, gathered: &FitPoints) -> (Vec<(f64, f64, f64)>, Option<String>) {
    let (Some(errors), Some(WeightPlan::Errors(label))) = (&gathered.errors, &plan.weights) else {
        return (Vec::new(), None);
    };
    let points = gathered.points.time.iter().zip(&gathered.points.signal);
    let bars = points
        .zip(errors)
        .map(|((x, y), error)| (*x, y - error, y + error));
    (bars.collect(), Some(label.clone()))
}

/// Collects the points of a curve; what is left out is told in the outcome.
fn gather(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    (trace, recorded): (&Trace, &Recorded),
    outcome: &mut Outcome,
) -> Result<FitPoints, Refusal> {
    let how = preparation(plan, chosen, run, trace)?;
    let points = prepared(&how, trace, matches!(chosen, Chosen::Course(_)), outcome)?;
    let errors = match &plan.weights {
        Some(WeightPlan::Errors(label)) => Some(errors_beside(run, (trace, recorded), label, &points)?),
        _ => None,
    };
    let common: Vec<Vec<f64>> = plan
        .common
        .iter()
        .map(|label| moves_beside(run, (trace, recorded), label, &points))
        .collect::<Result<_, _>>()?;
    // Traces that are fitted together have lost what they held; `levels` counts in the unit of the first.
    let of_law = of_levels(plan, run);
    let level_unit = of_law
        .first()
        .and_then(|first| level_of(run, first))
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
            let levels = levels(run, &of_law, &points.used)?;
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
            if response != points.signal && (errors.is_some() || !plan.common.is_empty()) {
                return Err(Refusal::Unsuitable {
                    why: "errors are stated of the values as they stand, and something else is fitted".into(),
                });
            }
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
        common,
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

/// What was laid on the curve for a second opinion, and how sure its size is.
fn what_was_dealt(how: Bootstrap, weights: Option<&WeightPlan>, found: &Fit) -> String {
    let sd = Six(found.residual_sd);
    let size = match (how.noise, weights) {
        (NoiseDraw::Residuals, _) => {
            return format!(
                "residuals dealt out anew (in a size varied as far as {:.0} degrees of freedom leave it open)",
                found.error_freedom()
            );
        }
        (NoiseDraw::Normal, Some(WeightPlan::Errors(_))) => {
            return "normal noise of the stated errors drawn".to_owned();
        }
        (NoiseDraw::Normal, Some(WeightPlan::Relative)) => "relative residual standard deviation",
        (NoiseDraw::Normal, None) => "residual standard deviation",
    };
    format!(
        "normal noise of the {size} {sd} (varied as far as {:.0} degrees of freedom leave it open) drawn",
        found.error_freedom()
    )
}

/// Puts the intervals of a second opinion beside the others, and says how its deviations compare.
fn say_dealt(
    dealt: &BootstrapRounds,
    (plan, how): (&FitPlan, Bootstrap),
    found: &Fit,
    outcome: &mut Outcome,
) {
    let (kind, statistic) = match how.noise {
        NoiseDraw::Residuals => ("bootstrap", "bootstrap"),
        NoiseDraw::Normal => ("monte-carlo", "monte_carlo"),
    };
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
                kind: kind.into(),
                ..Interval::default()
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
            format!("{statistic}_standard_error {}", parameter.name),
            dealt.deviations[j],
        );
    }
    let together = dealt.lag_one.map_or_else(String::new, |rho| {
        format!(", with a correlation of neighbours of {rho:.2}")
    });
    let lost = match how.rounds as usize - dealt.rounds {
        0 => String::new(),
        lost => format!(", and {lost} times more without a result"),
    };
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        format!(
            "by {} {} times (seed {}{together}){lost}, deviations in terms of the standard errors above, and {} % intervals: {}",
            what_was_dealt(how, plan.weights.as_ref(), found),
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

/// One curve with the model that is fitted to it.
struct Fitting<'a> {
    plan: &'a FitPlan,
    chosen: &'a Chosen,
    trace: &'a Trace,
    /// The model with what is tied in it.
    model: &'a dyn Model,
    tied: Option<&'a Constrained<'a>>,
    options: &'a Options,
    gathered: &'a FitPoints,
    /// One for each variable of the model.
    columns: Vec<&'a [f64]>,
    /// The unit of the fitted values.
    y_unit: Unit,
}

impl Fitting<'_> {
    fn data(&self) -> Data<'_> {
        Data {
            x: &self.columns,
            y: &self.gathered.response,
            weighting: self.gathered.weighting(self.plan),
        }
    }

    fn fit(&self) -> Result<Fit, Refusal> {
        match self.chosen {
            Chosen::Course(course) if self.tied.is_none() => {
                // What was left out has been told before.
                let points = PreparedTrace {
                    saturated: 0,
                    ..self.gathered.points.clone()
                };
                let weighting = self.gathered.weighting(self.plan);
                Ok(fit_prepared(course, points, &self.gathered.how, weighting, self.options)?.fit)
            }
            _ => fit(self.model, &self.data(), self.options),
        }
    }

    /// The second opinion about the errors, where one is asked for.
    fn dealt(&self, found: &Fit) -> Result<Option<BootstrapRounds>, Refusal> {
        let Some(how) = self.plan.bootstrap else {
            return Ok(None);
        };
        let mut serial = found.clone();
        if self.trace.x.quantity == Quantity::TIME && self.plan.weights.is_none() {
            allow_for_correlation(self.model, &self.columns, &mut serial);
        }
        bootstrap(self.model, &self.data(), &serial, self.options, how).map(Some)
    }

    /// What the law at each level of a second variable looks like.
    fn levels(&self, found: &Fit) -> Vec<Level> {
        match (self.chosen, self.columns.get(1)) {
            (Chosen::Law(law), Some(level)) if self.tied.is_none() => levels_of(
                law,
                &found.values(),
                &self.gathered.points.time,
                level,
                &self.gathered.level_unit,
            ),
            _ => Vec::new(),
        }
    }

    /// Whether every point counts alike, by least squares.
    fn plainly(&self) -> bool {
        self.plan.weights.is_none() && self.options.robust == Robust::No
    }

    fn has_one_variable(&self) -> bool {
        self.plan.variables.is_empty() && self.model.variables() == 1
    }

    /// What one standard deviation of the drift that a person states does to the parameters, by the plain errors.
    fn stated(&self, found: &Fit) -> Result<Option<AllowedDrift<'_>>, Refusal> {
        let Some(stated) = &self.plan.drift else {
            return Ok(None);
        };
        if self.trace.x.quantity != Quantity::TIME || !self.has_one_variable() {
            return Err(Refusal::Unsuitable {
                why: "a drift is stated, and this is no course over time by a law of one variable".into(),
            });
        }
        if self.plan.response.is_some() {
            return Err(Refusal::Unsuitable {
                why: "a drift of the signal is stated, and something else than the signal is fitted".into(),
            });
        }
        if self.plan.bootstrap.is_some() {
            return Err(Refusal::Unsuitable {
                why: "a drift is stated, and a second opinion about the errors (--bootstrap, --monte-carlo) knows nothing of it: ask \
                      for one of them"
                    .into(),
            });
        }
        let size = stated.along(&self.trace.x.unit, &self.trace.y.unit)?;
        let size = size / self.gathered.points.factor.unwrap_or(1.0);
        let fitted = (self.model, &self.data());
        match AllowedDrift::of(stated, size, &self.gathered.points, fitted, found) {
            Some(allowed) => Ok(Some(allowed)),
            None => Err(Refusal::Unsuitable {
                why: "the fit has no errors, so that a stated drift cannot be put into them".into(),
            }),
        }
    }

    /// What one standard deviation of the errors that all points have in common does to the parameters, by the plain errors.
    fn in_common(&self, found: &Fit) -> Result<Vec<Vec<f64>>, Refusal> {
        if self.plan.common.is_empty() {
            return Ok(Vec::new());
        }
        let weights = self.data().weighting.counted(&found.fitted);
        let columns = self.gathered.common.iter();
        let common: Vec<CommonError<'_>> = columns.map(|own| CommonError::Shift(own)).collect();
        let shifts = shifts_by(self.model, &self.columns, weights.as_deref(), &common, found);
        shifts.ok_or_else(|| Refusal::Unsuitable {
            why: "the fit has no errors, so that those in common cannot be put into them".into(),
        })
    }

    /// Brings the errors to what the readings can show, and tells what else a person should know of them.
    fn tell_errors(&self, found: &mut Fit, outcome: &mut Outcome) -> Result<(), Refusal> {
        let allowed = self.stated(found)?;
        let shared = self.in_common(found)?;
        let FitPoints { points, response, .. } = self.gathered;
        let step = self.trace.y.decimals.max();
        let mut coarse = false;
        if let Some(decimals) = step.filter(|_| self.plainly() && !matches!(self.chosen, Chosen::Formula(_)))
        {
            let resolution = 10f64.powi(-i32::from(decimals)) / points.factor.map_or(1.0, f64::abs);
            let one = self.plan.variables.is_empty().then_some(points.time.as_slice());
            coarse = held_to_readings(
                resolution,
                (self.model, one),
                response,
                self.options,
                found,
                outcome,
            );
        }
        if self.has_one_variable() {
            let unit = self.trace.x.unit.display();
            far_readings(&points.time, &unit, self.options.robust, found, outcome);
        }
        if let (Chosen::Course(course), true) = (
            self.chosen,
            self.options.robust != Robust::No && self.tied.is_none() && allowed.is_none(),
        ) && let Some(hidden) = HiddenDrift::of(course, &points.time, found)
        {
            hidden.tell(found, outcome);
        }
        let over = self.has_one_variable() && self.trace.x.quantity == Quantity::TIME;
        if self.plainly() && !coarse && over {
            if self.tied.is_some() {
                correlated(self.model, &[points.time.as_slice()], found, outcome);
            } else {
                let course = (points.time.as_slice(), response.as_slice());
                over_time(
                    self.chosen,
                    course,
                    (self.options, allowed.as_ref()),
                    found,
                    outcome,
                );
            }
        }
        if let Some(allowed) = &allowed {
            let y = match self.gathered.how.conversion {
                Some(_) => &self.trace.y.unit,
                None => &self.y_unit,
            };
            allow_for_stated(allowed, (self.model, y), found, outcome);
        }
        if let Some(shares) = add_shifts(self.model, &shared, found).filter(|_| !shared.is_empty()) {
            let pairs = found.parameters.iter().zip(shares);
            let words: Vec<String> = pairs
                .map(|(parameter, share)| format!("{} {:.0} %", parameter.name, 100.0 * share))
                .collect();
            outcome.remarks.push(Diagnostic::note(
                Code::new("fit-remark"),
                format!(
                    "`{}`, an error that all points have in common, is in the errors above; part of the variance: {}",
                    self.plan.common.join("`, `"),
                    words.join(", ")
                ),
            ));
        }
        let values = found.values();
        for follows in self.tied.iter().flat_map(|tied| tied.tied(&values)) {
            let specification = follows.specification;
            found.derive(
                specification.name,
                specification.unit,
                follows.value,
                &follows.gradient,
            );
        }
        Ok(())
    }

    /// Tells the stretch that was fitted, and the temperature recorded along it.
    fn tell_stretch(&self, run: &Run, outcome: &mut Outcome) {
        let FitPoints { points, how, .. } = self.gathered;
        if let (Some(first), Some(last)) = (points.time.first(), points.time.last())
            && matches!(self.chosen, Chosen::Course(_))
        {
            outcome.statistics.insert("first_x".into(), *first);
            outcome.statistics.insert("last_x".into(), *last);
            // Times of the record, without the dead time.
            let between = (first - how.dead_time, last - how.dead_time);
            if let Some(recorded) = temperature_between(run, between, &self.trace.x.unit) {
                recorded.tell(outcome);
            }
        }
    }

    /// Points and curve, with the errors of the curve where they are wanted.
    fn drawn(&self, found: Fit, levels: Vec<Level>, wanted: &Wanted, outcome: &mut Outcome) -> PlotData {
        let FitPoints { points, how, .. } = self.gathered;
        let scale = points.factor.unwrap_or(1.0);
        let plainly = self.plainly();
        let along = |x: &[f64]| -> Vec<Along> {
            found
                .along(self.model, x, plainly)
                .filter(|_| !x.is_empty())
                .unwrap_or_default()
        };
        let stretch = match self.chosen {
            Chosen::Law(law) => stretch_of_law(law, &found, &points.time),
            _ => points.time.clone(),
        };
        let curve = curve_of(self.model, &found.values(), &stretch);
        let (band, at_points) = if wanted.band {
            let grid: Vec<f64> = curve.iter().map(|(x, _)| *x).collect();
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
        let (bars, bars_label) = bars_of(self.plan, self.gathered);
        PlotData {
            bars,
            bars_label,
            x_title: title(&self.trace.x),
            y_title: if how.conversion.is_some() {
                "concentration / mol/L".to_owned()
            } else {
                title(&self.trace.y)
            },
            x: self.trace.x.values.iter().map(|x| x + how.dead_time).collect(),
            y: self.trace.y.values.iter().map(|y| y / scale).collect(),
            curve: Some(curve),
            doses: matches!(self.chosen, Chosen::Law(law) if law.is_over_doses()),
            levels,
            band,
            band_level: Some(self.options.level),
            along: at_points,
            predicted,
            used: points.used.clone(),
            fitted: found.fitted,
            residuals: found.residuals,
            ..PlotData::default()
        }
    }
}

fn fitted(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    (curve, wanted): (&FitCurve<'_>, &Wanted),
) -> Result<TraceResult, Refusal> {
    let trace = curve.trace.as_ref();
    let mut outcome = blank(plan, run, curve.number);
    outcome.remarks.extend(curve.remarks.iter().cloned());
    let tied = plan.tied(chosen)?;
    let model: &dyn Model = match &tied {
        Some(tied) => tied,
        None => chosen.model(),
    };
    let options = plan.options(model)?;
    let gathered = gather(plan, chosen, run, (trace, &curve.recorded), &mut outcome)?;
    let of = Fitting {
        plan,
        chosen,
        trace,
        model,
        tied: tied.as_ref(),
        options: &options,
        columns: gathered.columns.iter().map(Vec::as_slice).collect(),
        y_unit: gathered.y_unit(trace),
        gathered: &gathered,
    };
    let mut found = of.fit()?;
    let against = tied
        .as_ref()
        .and_then(|_| against_free(plan, chosen.model(), &gathered, &of.columns, &found));
    let dealt = of.dealt(&found)?;
    let fuller = match chosen {
        Chosen::Law(law) if tied.is_none() => fuller_law(law, &of.data(), &options, &found),
        _ => None,
    };
    // Neighbours in time err together, which the test does not know, and a common error of a blank is a constant itself.
    let asked = trace.x.quantity != Quantity::TIME && plan.common.is_empty();
    let misses_zero = (fuller.is_none() && tied.is_none() && asked)
        .then(|| zero::misses_zero(model, &of.data(), &options, &found))
        .flatten();
    let reach = match chosen {
        Chosen::Law(law) => reach::short_range(&law.name(), of.columns[0], &found),
        _ => Vec::new(),
    };
    let levels = of.levels(&found);
    of.tell_errors(&mut found, &mut outcome)?;
    let unit = |of_axes: &str, name: &str| {
        let units = (&trace.x.unit, &of.y_unit, &gathered.level_unit);
        unit_of_parameter(plan, chosen, units, (of_axes, name))
    };
    tell(&mut outcome, &found, &unit);
    let is_converted = gathered.how.conversion.is_some();
    allow_for_scale(
        &mut outcome,
        found.units(),
        plan.scale_error.filter(|_| is_converted),
    );
    outcome.remarks.extend(fuller.or(misses_zero));
    outcome.remarks.extend(reach);
    outcome.remarks.extend(against);
    if let (Some(dealt), Some(how)) = (&dealt, plan.bootstrap) {
        say_dealt(dealt, (plan, how), &found, &mut outcome);
    }
    let axes = (&gathered.points, &gathered.how, &trace.x.unit);
    tell_units(chosen, &of.y_unit, axes, &mut outcome);
    of.tell_stretch(run, &mut outcome);
    let drawn = of.drawn(found, levels, wanted, &mut outcome);
    Ok(TraceResult {
        trace: curve.number,
        label: label_of(trace),
        outcome: outcome.identified(),
        drawn,
    })
}
