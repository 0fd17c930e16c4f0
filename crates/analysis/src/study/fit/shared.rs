//! One law over the curves of several runs at once, with parameters that they share and others of their own.

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Outcome, OutcomeKind, Parameter, Quantity, Run, Trace, Unit,
};
use serde_json::json;

use super::columns::arrange;
use super::compare::usual_laws;
use super::curve::curves;
use super::doubt::two;
use super::drift::{DRIFT_MOVES, HiddenDrift};
use super::scatter::{DIFFER, pooled};
use super::{
    Chosen, FitPoints, bars_of, blank, gather, say_of_constraint, tell, title, unit_of_parameter, weighs,
};
use crate::courses::{Course, usual_courses};
use crate::fit::{DataSet, Fit, Options, SharedFit, Weighting, compare, f_test, fit_shared};
use crate::models::{Constrained, Model};
use crate::refusal::Refusal;
use crate::study::plan::FitPlan;
use crate::study::replicates::{Pooled, of_days};
use crate::study::spectrum::has_trace;
use crate::study::{PlotData, TraceResult, allow_for_scale, curve_of, label_of, told};
use crate::wording::{likely, with_error};

/// A run to be fitted with others, under the name that people know it by.
#[derive(Clone, Copy, Debug)]
pub struct NamedRun<'a> {
    /// The run.
    pub run: &'a Run,
    /// A name for it, such as its file.
    pub name: &'a str,
}

/// What a law over several runs gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// The record; it names every run.
    pub found: TraceResult,
    /// Each curve with its name, for pictures.
    pub sets: Vec<(String, PlotData)>,
    /// Laws ranked over all runs with their AICc above the best and their weight, best first, where several were compared.
    pub ranked: Vec<(String, f64, f64)>,
    /// Laws that could not be fitted, with the reason.
    pub refused: Vec<(String, String)>,
}

/// One curve among those that are fitted together.
struct SharedMember {
    label: String,
    /// The day it was measured on, where the run says it.
    day: Option<String>,
    trace: Trace,
    gathered: FitPoints,
}

/// Fits the plan's law to the curves of all runs at once; what `plan.share` names is the same in all of them (`all`: every
/// parameter, so that one curve goes through replicates).
///
/// None where no run is given.
pub fn fit_together(plan: &FitPlan, runs: &[NamedRun<'_>]) -> Option<Together> {
    let taken = taken(plan, runs);
    let runs = &renamed(&taken, runs);
    let mut outcome = several(plan, runs)?;
    Some(match together(plan, runs, &mut outcome) {
        Ok((sets, _)) => Together {
            found: found(outcome, &sets),
            sets,
            ranked: Vec::new(),
            refused: Vec::new(),
        },
        Err(refusal) => refused(outcome, &refusal),
    })
}

/// The runs with those of their traces that the plan takes; curves are shared, not copied.
fn taken(plan: &FitPlan, runs: &[NamedRun<'_>]) -> Vec<Run> {
    let runs = runs.iter().map(|named| {
        let mut run = named.run.clone();
        if let Some(taken) = plan.traces_of.get(run.id.as_str()) {
            let mut numbers = 0..;
            run.traces
                .retain(|_| numbers.next().is_some_and(|number: u32| taken.contains(&number)));
        }
        run
    });
    runs.collect()
}

fn renamed<'a>(taken: &'a [Run], runs: &[NamedRun<'a>]) -> Vec<NamedRun<'a>> {
    let pairs = taken.iter().zip(runs).filter(|(run, _)| !run.traces.is_empty());
    pairs
        .map(|(run, named)| NamedRun {
            run,
            name: named.name,
        })
        .collect()
}

/// Ranks laws over all runs at once, each with those of the parameters `plan.share` names that it has; the usual ones where `models` is
/// empty. A law that lacks one of them is left out and named.
///
/// None where no run is given.
pub fn compare_together(plan: &FitPlan, models: &[String], runs: &[NamedRun<'_>]) -> Option<Together> {
    let taken = taken(plan, runs);
    let runs = &renamed(&taken, runs);
    let usual = usual_of(runs);
    let models = if models.is_empty() { &usual } else { models };
    let named = FitPlan {
        model: if plan.model.is_empty() {
            models.first().cloned().unwrap_or_default()
        } else {
            plan.model.clone()
        },
        ..plan.clone()
    };
    let plan = &named;
    let mut outcome = several(plan, runs)?;
    outcome.kind = OutcomeKind::Comparison;
    outcome.model = models.join(", ");
    outcome.settings.insert("models".into(), json!(models));
    let (mut fits, mut failed, mut laws) = (Vec::new(), Vec::new(), Vec::new());
    for model in models {
        let own = FitPlan {
            model: model.clone(),
            ..plan.clone()
        };
        let own = match own.chosen() {
            Ok(chosen) => {
                if let Some(why) = lacking(plan, chosen.model()) {
                    failed.push((model.clone(), why));
                    continue;
                }
                let own = own.for_law(&chosen);
                let share = match own.tied(&chosen) {
                    Ok(Some(tied)) => shared_names(&own, &tied),
                    _ => shared_names(&own, chosen.model()),
                };
                laws.push(chosen);
                FitPlan { share, ..own }
            }
            Err(_) => FitPlan {
                share: Vec::new(),
                ..own
            },
        };
        let mut scratch = several(&own, runs)?;
        match together(&own, runs, &mut scratch) {
            Ok((sets, fit)) => fits.push((model.clone(), sets, fit.fit)),
            Err(refusal) => failed.push((model.clone(), told(&refusal))),
        }
    }
    match plan.say_of_constraints(&laws) {
        Ok(said) => outcome.remarks.extend(said),
        Err(refusal) => return Some(refused(outcome, &refusal)),
    }
    let list: Vec<&Fit> = fits.iter().map(|(_, _, fit)| fit).collect();
    let choice = match compare(&list) {
        Ok(choice) => choice,
        Err(refusal) => {
            let refusal = if fits.len() < 2 && !failed.is_empty() {
                too_few_left(&failed)
            } else {
                refusal
            };
            let mut all = refused(outcome, &refusal);
            all.refused = failed;
            return Some(all);
        }
    };
    for (name, why) in &failed {
        outcome.remarks.push(Diagnostic::note(
            Code::new("law-not-compared"),
            format!("{name} is not among the laws compared: {why}"),
        ));
    }
    let ranked: Vec<(String, f64, f64)> = choice
        .ranking
        .iter()
        .map(|ranked| (fits[ranked.index].0.clone(), ranked.difference, ranked.weight))
        .collect();
    for (name, difference, _) in &ranked {
        outcome
            .statistics
            .insert(format!("aicc_difference {name}"), *difference);
    }
    outcome.termination = if choice.not_told_apart.is_empty() {
        format!("distinguished: {}", ranked[0].0)
    } else {
        "not distinguished".into()
    };
    outcome
        .remarks
        .push(Diagnostic::note(Code::new("fit-remark"), choice.verdict.clone()));
    let sets = fits[choice.ranking[0].index].1.clone();
    Some(Together {
        found: found(outcome, &sets),
        sets,
        ranked,
        refused: failed,
    })
}

fn several(plan: &FitPlan, runs: &[NamedRun<'_>]) -> Option<Outcome> {
    let mut outcome = blank(plan, runs.first()?.run, None);
    outcome.runs = Vec::new();
    // What is asked about a run is said with its name, among its curves.
    outcome.remarks.clear();
    for named in runs {
        if !outcome.runs.contains(&named.run.id) {
            outcome.runs.push(named.run.id.clone());
        }
    }
    // Half a kelvin changes most rate constants by 3 to 5 %.
    let of = |run: &Run, trace: &Trace| {
        let held = trace
            .held
            .iter()
            .find(|held| held.quantity == Quantity::TEMPERATURE)
            .map(|held| held.unit.to_si(held.value));
        held.or_else(|| trace.fields.si("temperature"))
            .or_else(|| run.fields.si("temperature"))
    };
    let kelvin: Vec<Option<f64>> = runs
        .iter()
        .flat_map(|named| named.run.traces.iter().map(|trace| of(named.run, trace)))
        .collect();
    let (low, high) = kelvin
        .iter()
        .flatten()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
    let without = kelvin.iter().filter(|kelvin| kelvin.is_none()).count();
    if without > 0 && without < kelvin.len() {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("fit-remark"),
            format!(
                "of {without} of {} curves no temperature is known: what they share is taken as the same in all of them",
                kelvin.len()
            ),
        ));
    }
    if high - low > 0.5 {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("fit-remark"),
            format!(
                "the runs were taken at {:.1} to {:.1} °C, and what they share is taken as the same at all of these",
                low - 273.15,
                high - 273.15
            ),
        ));
    }
    Some(outcome)
}

fn found(outcome: Outcome, sets: &[(String, PlotData)]) -> TraceResult {
    TraceResult {
        trace: None,
        label: String::new(),
        outcome: outcome.identified(),
        drawn: sets.first().map(|set| set.1.clone()).unwrap_or_default(),
    }
}

fn refused(mut outcome: Outcome, refusal: &Refusal) -> Together {
    outcome.termination = told(refusal);
    Together {
        found: TraceResult {
            trace: None,
            label: String::new(),
            outcome: outcome.identified(),
            drawn: PlotData::default(),
        },
        sets: Vec::new(),
        ranked: Vec::new(),
        refused: Vec::new(),
    }
}

/// The laws that are compared where none is named.
fn usual_of(runs: &[NamedRun<'_>]) -> Vec<String> {
    let of_rates = runs
        .first()
        .map(|named| usual_laws(named.run))
        .unwrap_or_default();
    if !of_rates.is_empty() {
        return of_rates;
    }
    let courses = usual_courses();
    courses.iter().map(|course| course.name().into_owned()).collect()
}

/// Why a law has no place beside laws that share what `plan.share` names; none where it has.
///
/// A law that does not share what the others do has a value of its own for each run where they have one for all. That it fits better then
/// says nothing about the law. Numbered parameters stand for each other: with `k,k1,k2` a law of one phase shares `k`, one of two
/// phases `k1` and `k2`.
fn lacking(plan: &FitPlan, model: &dyn Model) -> Option<String> {
    if plan.share.iter().any(|name| name == "all") {
        return None;
    }
    let stem = |name: &str| name.trim_end_matches(|c: char| c.is_ascii_digit()).to_owned();
    let has = |name: &str| model.parameters().iter().any(|p| p.name == name);
    let shared: Vec<String> = plan
        .share
        .iter()
        .filter(|name| has(name))
        .map(|name| stem(name))
        .collect();
    let lacks = plan
        .share
        .iter()
        .find(|name| !has(name) && !shared.contains(&stem(name)))?;
    let own: Vec<&str> = model.parameters().iter().map(|p| p.name.as_ref()).collect();
    Some(format!(
        "it has no parameter `{lacks}` for the runs to share, and would have values of its own for every run; it has {}",
        own.join(", ")
    ))
}

fn too_few_left(failed: &[(String, String)]) -> Refusal {
    let all: Vec<String> = failed
        .iter()
        .map(|(name, why)| format!("{name}: {why}"))
        .collect();
    Refusal::Unsuitable {
        why: format!("fewer than two laws are left to be compared: {}", all.join("; ")),
    }
}

/// The names of `plan.share` that a model has.
fn shared_names(plan: &FitPlan, model: &dyn Model) -> Vec<String> {
    plan.share
        .iter()
        .filter(|name| *name == "all" || model.parameters().iter().any(|p| p.name == name.as_str()))
        .cloned()
        .collect()
}

/// Positions of the shared parameters.
fn positions(plan: &FitPlan, model: &dyn Model) -> Result<Vec<usize>, Refusal> {
    let own = model.parameters();
    if plan.share.iter().any(|name| name == "all") {
        return Ok((0..own.len()).collect());
    }
    plan.share
        .iter()
        .map(|name| {
            own.iter().position(|p| p.name == name.as_str()).ok_or_else(|| {
                let names: Vec<&str> = own.iter().map(|p| p.name.as_ref()).collect();
                Refusal::Unsuitable {
                    why: format!(
                        "no parameter of {} is called `{name}`, so the runs cannot share it: expected one of {}, or `all`",
                        plan.name(),
                        names.join(", ")
                    ),
                }
            })
        })
        .collect()
}

fn together(
    plan: &FitPlan,
    runs: &[NamedRun<'_>],
    outcome: &mut Outcome,
) -> Result<(Vec<(String, PlotData)>, SharedFit), Refusal> {
    let unsuitable = |why: String| Refusal::Unsuitable { why };
    let chosen = plan.chosen()?;
    let tied = plan.tied(&chosen)?;
    let model: &dyn Model = match &tied {
        Some(tied) => tied,
        None => chosen.model(),
    };
    let share = positions(plan, model)?;
    if plan.drift.is_some() {
        return Err(unsuitable(
            "a stated drift goes into the errors of each course by itself; fit the runs without --share, and `curvary results --mean` \
             pools them"
                .into(),
        ));
    }
    let members = members(plan, runs, outcome)?;
    let columns: Vec<Vec<&[f64]>> = members
        .iter()
        .map(|member| member.gathered.columns.iter().map(Vec::as_slice).collect())
        .collect();
    let sets: Vec<DataSet<'_>> = members
        .iter()
        .zip(&columns)
        .map(|(member, columns)| DataSet {
            x: columns,
            y: &member.gathered.response,
            errors: match member.gathered.weighting(plan) {
                Weighting::KnownErrors(errors) => Some(errors),
                _ => None,
            },
        })
        .collect();
    let options: Options = plan.options(model)?;
    let first = members
        .first()
        .ok_or_else(|| unsuitable("no run is named".into()))?;
    let serial = plan.weights.is_none() && first.trace.x.quantity == Quantity::TIME;
    let mut shared = fit_shared(model, &sets, &share, serial, &options)?;
    let against = tied
        .as_ref()
        .filter(|_| shared.correlation.is_none())
        .and_then(|_| {
            let free = FitPlan {
                constraints: Vec::new(),
                profile: false,
                ..plan.clone()
            };
            let (whole, share) = (chosen.model(), positions(&free, chosen.model()).ok()?);
            let other = fit_shared(whole, &sets, &share, serial, &free.options(whole).ok()?).ok()?;
            f_test(&shared.fit, &other.fit).ok()
        });
    let (pooled, widened) = pooled(model, &share, &mut shared, options.level);
    let y_unit = first.gathered.y_unit(&first.trace);
    let level_unit = first.gathered.level_unit.clone();
    let unit = |of: &str, name: &str| -> Option<Unit> {
        let name = name.split('[').next().unwrap_or_default();
        unit_of_parameter(
            plan,
            &chosen,
            (&first.trace.x.unit, &y_unit, &level_unit),
            (of, name),
        )
    };
    if let Some(tied) = &tied {
        derive_tied(tied, members.len(), &share, &mut shared.fit);
    }
    tell(outcome, &shared.fit, &unit);
    let converted = first.gathered.how.conversion.is_some();
    allow_for_scale(
        outcome,
        shared.fit.units(),
        plan.scale_error.filter(|_| converted),
    );
    outcome.remarks.extend(against.as_ref().map(say_of_constraint));
    say(plan, &members, &shared, &pooled, &share, outcome);
    if widened {
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            "what each run has of its own was found with the shared value, which is not its own: the errors allow for the scatter between the runs, and a fit of each run by itself says more of it",
        ));
    }
    if let (Chosen::Course(course), None) = (&chosen, &tied) {
        say_drift(course, &members, &shared, &share, outcome);
    }
    say_between(model, &members, (&shared, &pooled), &unit, outcome);
    let drawn = members
        .iter()
        .enumerate()
        .map(|(i, member)| {
            (
                member.label.clone(),
                drawn((plan, model), member, i, &shared, &share),
            )
        })
        .collect();
    Ok((drawn, shared))
}

/// Tells how the shared parameters scatter between the runs, and whether the runs of a day are more alike than those of several.
fn say_between(
    model: &dyn Model,
    members: &[SharedMember],
    (shared, pooled): (&SharedFit, &[(String, Pooled)]),
    unit: &dyn Fn(&str, &str) -> Option<Unit>,
    outcome: &mut Outcome,
) {
    for (name, pooled) in pooled {
        let own = model.parameters().iter().find(|p| p.name == name.as_str());
        let unit = own.and_then(|own| unit(&own.unit, name));
        let between = Parameter {
            name: format!("{name} between runs"),
            value: Some(pooled.between),
            unit,
            standard_error: None,
            intervals: vec![KeptInterval {
                level: 0.95,
                low: Some(pooled.between_interval.0),
                high: Some(pooled.between_interval.1),
                kind: "q-profile".into(),
                ..KeptInterval::default()
            }],
            reason: None,
        };
        outcome.parameters.push(between);
        let days: Vec<Option<String>> = members.iter().map(|member| member.day.clone()).collect();
        let values: Option<Vec<f64>> = shared
            .alone
            .iter()
            .map(|fit| Some(fit.as_ref().ok()?.parameter(name)?.value))
            .collect();
        if let Some(said) = values.and_then(|values| of_days(&days, &values, pooled.differ())) {
            outcome.remarks.push(Diagnostic::note(
                Code::new("days"),
                format!("{name} by itself: {said}"),
            ));
        }
    }
}

/// The curves of all runs, in the units of the first.
fn members(
    plan: &FitPlan,
    runs: &[NamedRun<'_>],
    outcome: &mut Outcome,
) -> Result<Vec<SharedMember>, Refusal> {
    let mut all: Vec<SharedMember> = Vec::new();
    for named in runs {
        let of_run = |refusal: Refusal| Refusal::Unsuitable {
            why: format!("{}: {refusal}", named.name),
        };
        let run = named.run;
        if let Some(question) = run.questions.iter().find(|question| weighs(plan, &question.code)) {
            return Err(Refusal::Unsuitable {
                why: format!("{}: the run is in question: {}", named.name, question.message),
            });
        }
        let plan = &FitPlan {
            traces: names_for(run, plan, runs),
            ..plan.clone()
        };
        let arranged = arrange(plan, run).map_err(of_run)?;
        let (plan, run) = (&arranged.plan, arranged.run.as_ref());
        let chosen = plan.chosen()?;
        let curves = curves(plan, &chosen, run).map_err(of_run)?;
        let several = curves.len() > 1;
        for curve in curves {
            let mut trace = curve.trace.into_owned();
            if let Some(first) = all.first() {
                in_units_of(&mut trace, &first.trace).map_err(of_run)?;
            }
            let mut own = blank(plan, run, None);
            let gathered = gather(plan, &chosen, run, (&trace, &curve.recorded), &mut own).map_err(of_run)?;
            let trace_label = label_of(&trace);
            let label = if several && !trace_label.is_empty() {
                format!("{}, {trace_label}", named.name)
            } else {
                named.name.to_owned()
            };
            for remark in curve.remarks.into_iter().chain(own.remarks) {
                outcome.remarks.push(Diagnostic {
                    message: format!("{label}: {}", remark.message),
                    ..remark
                });
            }
            all.push(SharedMember {
                label,
                day: run.fields.text("date").map(|day| day.to_string()),
                trace,
                gathered,
            });
        }
    }
    Ok(all)
}

/// The names of traces that count for one of several runs: a trace that only another one has is not missing in this one, as long as this
/// one has any.
fn names_for(run: &Run, plan: &FitPlan, runs: &[NamedRun<'_>]) -> Vec<String> {
    let elsewhere = |name: &String| runs.iter().any(|other| has_trace(other.run, name));
    let own = plan
        .traces
        .iter()
        .filter(|name| has_trace(run, name) || !elsewhere(name));
    let own: Vec<String> = own.cloned().collect();
    if own.is_empty() { plan.traces.clone() } else { own }
}

/// Brings both columns into the units of the first curve.
fn in_units_of(trace: &mut Trace, first: &Trace) -> Result<(), Refusal> {
    for (column, wanted) in [(&mut trace.x, &first.x), (&mut trace.y, &first.y)] {
        if column.quantity != wanted.quantity || !column.unit.converts_to(&wanted.unit) {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "its {} does not go together with the {} of the first run",
                    title(column),
                    title(wanted)
                ),
            });
        }
        if column.unit != wanted.unit {
            let values: Result<Vec<f64>, _> = column
                .values
                .iter()
                .map(|value| column.unit.convert(*value, &wanted.unit))
                .collect();
            column.values = values
                .map_err(|error| Refusal::Unsuitable {
                    why: error.to_string(),
                })?
                .into_iter()
                .collect();
            column.unit = wanted.unit.clone();
        }
    }
    Ok(())
}

/// Says what a drift that is common to the runs would do to what they share: it does not average out. The runs by themselves say by
/// how much, each weighted as it counts in the fit of all.
fn say_drift(
    course: &Course,
    members: &[SharedMember],
    shared: &SharedFit,
    share: &[usize],
    outcome: &mut Outcome,
) {
    let mut words = Vec::new();
    let mut unknown: Vec<&str> = Vec::new();
    let allows = course
        .clone()
        .with_drift()
        .is_ok_and(|full| full.name() == course.name());
    for at in share {
        let Some(own) = course.parameters().get(*at).map(|own| own.name.to_string()) else {
            continue;
        };
        let (mut weights, mut moved) = (0.0, 0.0);
        for (member, alone) in members.iter().zip(&shared.alone) {
            let Ok(alone) = alone else { continue };
            let error = alone.parameter(&own).and_then(|own| own.standard_error);
            let Some(weight) = error.filter(|error| *error > 0.0).map(|error| error.powi(-2)) else {
                continue;
            };
            // A run of which it is not known is not one that no drift moves.
            match HiddenDrift::of(course, &member.gathered.points.time, alone) {
                Some(hidden) => {
                    weights += weight;
                    moved += weight * hidden.moves.get(*at).copied().unwrap_or(0.0);
                }
                None if !allows && !unknown.contains(&member.label.as_str()) => unknown.push(&member.label),
                None => {}
            }
        }
        let moved = moved / weights;
        let Some(all) = shared.fit.parameter(&own).filter(|_| moved.is_finite()) else {
            continue;
        };
        outcome.statistics.insert(format!("{DRIFT_MOVES}{own}"), moved);
        if all.standard_error.is_some_and(|error| 0.5 * moved.abs() > error) {
            let part = two(100.0 * (moved / all.value).abs());
            words.push(format!("{own} by {} ({part} %)", two(moved.abs())));
        }
    }
    if !unknown.is_empty() {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            format!(
                "what a drift of the signal would do is not known of {}, so the errors are valid only if nothing drifts",
                if unknown.len() == members.len() { "these runs".to_owned() } else { unknown.join(", ") }
            ),
        ));
    }
    if !words.is_empty() {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            format!(
                "the errors are valid only if nothing drifts: a drift of the signal that is common to the runs does not average out, and \
                 one that cannot be seen in any of them would change {}; with +drift the errors allow for one",
                words.join(", ")
            ),
        ));
    }
}

/// Tells which run is which, whether they agree, and what each says by itself.
fn say(
    plan: &FitPlan,
    members: &[SharedMember],
    shared: &SharedFit,
    pooled: &[(String, Pooled)],
    share: &[usize],
    outcome: &mut Outcome,
) {
    let mut note = |text: String| {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("fit-remark"), text));
    };
    let names: Vec<String> = (1..)
        .zip(members)
        .map(|(number, member)| format!("[{number}] {}", member.label))
        .collect();
    note(format!("the runs: {}", names.join(", ")));
    for (set, fit) in members.iter().zip(&shared.alone) {
        if let Err(refusal) = fit {
            note(format!(
                "{} by itself gives nothing ({refusal}); it counts in the fit of all",
                set.label
            ));
        }
    }
    for j in share {
        let Some(name) = shared
            .alone
            .iter()
            .flatten()
            .find_map(|fit| Some(fit.parameters.get(*j)?.name.to_string()))
        else {
            continue;
        };
        if !pooled.iter().any(|(known, _)| *known == name) {
            note(format!(
                "whether the runs agree in {name} is not tested: not every run by itself gives it with an error"
            ));
        }
    }
    let units: std::collections::BTreeMap<String, Unit> = outcome
        .parameters
        .iter()
        .filter_map(|own| Some((own.name.clone(), own.unit.clone()?)))
        .collect();
    let mut warn = |text: String| {
        outcome
            .remarks
            .push(Diagnostic::warning(Code::new("runs-differ"), text));
    };
    let mut remarks = Vec::new();
    for (name, found) in pooled {
        let alone: Vec<String> = shared
            .alone
            .iter()
            .filter_map(|fit| {
                let p = fit.as_ref().ok()?.parameter(name)?;
                Some(with_error(p.value, p.standard_error?))
            })
            .collect();
        let unit = units.get(name).map(Unit::display).unwrap_or_default();
        let alone = format!("{} {unit}", alone.join(", "));
        let words = format!("{name} by itself is {}: {}", alone.trim_end(), found.words());
        if found.homogeneity.is_some_and(|(_, chance)| chance < DIFFER) {
            warn(
                format!(
                    "{words}; the mean over runs is {} {unit}",
                    with_error(found.mean, found.standard_error)
                )
                .trim_end()
                .to_owned(),
            );
        } else {
            remarks.push(words);
        }
        if let Some((q, chance)) = found.homogeneity {
            outcome
                .statistics
                .insert(format!("homogeneity_chi_squared {name}"), q);
            outcome
                .statistics
                .insert(format!("homogeneity_probability {name}"), chance);
        }
    }
    if let (Some(test), None) = (&shared.test, shared.correlation) {
        outcome.statistics.insert("shared_f".into(), test.f);
        outcome
            .statistics
            .insert("shared_probability".into(), test.probability);
        let text = format!(
            "against own values of {} in every run: F {:.2} on {} and {}, probability {}",
            if share.len() == 1 {
                plan.share.join(", ")
            } else {
                "what is shared".into()
            },
            test.f,
            test.df1,
            test.df2,
            likely(test.probability)
        );
        if test.probability < DIFFER {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("runs-differ"),
                format!("{text}: what is shared is not the same in all runs, as far as the law holds"),
            ));
        } else {
            remarks.push(text);
        }
    }
    if shared.weighted {
        remarks.push(
            "the runs scatter differently about their curves, and the points of each count by its scatter"
                .into(),
        );
    }
    if let Some(factor) = shared.correlation.filter(|factor| *factor > 1.0) {
        outcome.statistics.insert("correlation_factor".into(), factor);
        remarks.push(format!(
            "neighbouring points err together, and every error is {factor:.2} times the plain one, as in the runs by themselves"
        ));
    }
    for text in remarks {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("fit-remark"), text));
    }
}

/// Where the parameters of one run stand among all: shared ones first, then those of each run.
fn places_of(count: usize, number: usize, share: &[usize]) -> Vec<usize> {
    let (mut next_shared, mut next_own) = (0, share.len() + number * (count - share.len()));
    (0..count)
        .map(|j| {
            let next = if share.contains(&j) {
                &mut next_shared
            } else {
                &mut next_own
            };
            *next += 1;
            *next - 1
        })
        .collect()
}

/// Adds what follows from constraints: once where it follows from shared parameters alone, else for every run.
fn derive_tied(tied: &Constrained<'_>, runs: usize, share: &[usize], fit: &mut Fit) {
    let count = tied.parameters().len();
    for number in 0..runs {
        let places = places_of(count, number, share);
        let values: Vec<f64> = places.iter().map(|place| fit.parameters[*place].value).collect();
        for follows in tied.tied(&values) {
            let common = (0..count).all(|j| share.contains(&j) || follows.gradient[j] == 0.0);
            if common && number > 0 {
                continue;
            }
            let mut gradient = vec![0.0; fit.parameters.len()];
            for (place, slope) in places.iter().zip(&follows.gradient) {
                gradient[*place] = *slope;
            }
            let name = if common {
                follows.specification.name
            } else {
                format!("{}[{}]", follows.specification.name, number + 1).into()
            };
            fit.derive(name, follows.specification.unit, follows.value, &gradient);
        }
    }
}

/// Points and curve of one run.
fn drawn(
    (plan, model): (&FitPlan, &dyn Model),
    member: &SharedMember,
    number: usize,
    shared: &SharedFit,
    share: &[usize],
) -> PlotData {
    let parameters: Vec<f64> = places_of(model.parameters().len(), number, share)
        .into_iter()
        .map(|place| shared.fit.parameters[place].value)
        .collect();
    let gathered = &member.gathered;
    let columns: Vec<&[f64]> = gathered.columns.iter().map(Vec::as_slice).collect();
    let mut fitted = vec![0.0; gathered.response.len()];
    model.evaluate(&columns, &parameters, &mut fitted);
    let scale = gathered.points.factor.unwrap_or(1.0);
    let (bars, bars_label) = bars_of(plan, gathered);
    PlotData {
        bars,
        bars_label,
        x_title: title(&member.trace.x),
        y_title: if gathered.how.conversion.is_some() {
            "concentration / mol/L".to_owned()
        } else {
            title(&member.trace.y)
        },
        x: member
            .trace
            .x
            .values
            .iter()
            .map(|x| x + gathered.how.dead_time)
            .collect(),
        y: member.trace.y.values.iter().map(|y| y / scale).collect(),
        used: gathered.points.used.clone(),
        residuals: gathered
            .response
            .iter()
            .zip(&fitted)
            .map(|(y, f)| y - f)
            .collect(),
        curve: Some(curve_of(model, &parameters, &gathered.points.time)),
        fitted,
        ..PlotData::default()
    }
}
