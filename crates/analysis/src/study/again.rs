//! Kept results done again from their settings, and whether the same comes out.

use crate::study::StudyError;
use curvary_record::{Outcome, OutcomeKind, Run, RunId};
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::spectrum::reference_of;
use super::{
    CheckPlan, FitPlan, NamedRun, PeaksPlan, PlotData, ProcessPlan, QuantifyPlan, RatePlan, References,
    ScanTask, SeriesPlan, TemperaturePlan, TraceResult, Way, average_runs, check_run, compare_together,
    compare_trace, fit_run, fit_series, fit_together, peaks_run, process_run, quantify_run, rate_constants,
    rates_run, scan_run, temperature_series,
};
use crate::spectra::Step;

/// The kind of work that a result comes from, as the commands divide it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// Models over the traces of a run, and their ranking.
    Fit,
    /// Initial rates, and laws over a series of them.
    Rates,
    /// Repeated scans as a whole.
    Scans,
    /// Rate constants over temperatures.
    Temperature,
    /// Peaks of spectra.
    Peaks,
    /// Concentrations.
    Quantify,
    /// Instrument checks.
    Check,
    /// Curves after steps, and means of replicates.
    Process,
}

impl Work {
    /// The work that a kept result comes from; none for what an export reports about itself.
    pub fn of(kept: &Outcome) -> Option<Self> {
        let says = |key: &str| kept.settings.contains_key(key);
        Some(match kept.kind {
            OutcomeKind::Fit if says(SCANS) => Self::Scans,
            OutcomeKind::Fit if says(SERIES) => Self::Rates,
            OutcomeKind::Fit | OutcomeKind::Comparison => Self::Fit,
            OutcomeKind::InitialRate => Self::Rates,
            OutcomeKind::Scans => Self::Scans,
            OutcomeKind::Temperature => Self::Temperature,
            OutcomeKind::Peaks | OutcomeKind::Bands => Self::Peaks,
            OutcomeKind::Quantify => Self::Quantify,
            OutcomeKind::Check => Self::Check,
            OutcomeKind::Processed => Self::Process,
            OutcomeKind::Reported | OutcomeKind::Other(_) => return None,
        })
    }
}

/// What tells a fit of repeated scans as a whole from one of a trace: [`ScanTask`] stands under it.
pub(super) const SCANS: &str = "task";
/// What tells a law over a series of rates from one over a trace: [`SeriesPlan`] has it.
const SERIES: &str = "law";
/// What tells a law over several runs at once: `share` of [`FitPlan`].
const SHARE: &str = "share";

/// A kept result that was done again.
#[derive(Clone, Debug, PartialEq)]
pub struct RedoneResult {
    /// What comes out now; without a number where it cannot be done again.
    pub found: TraceResult,
    /// Whether it could be done at all; a refusal is done, too.
    pub done: bool,
    /// Whether it is what was kept.
    pub reproduced: bool,
    /// The same in words.
    pub words: String,
}

/// Runs by name, with what is kept of them: where [`again`] looks.
pub type RunLookup<'a> = &'a dyn Fn(&RunId) -> Result<(Run, Vec<Outcome>), StudyError>;

/// Does a kept result again from its settings, with its runs as they are known now.
pub fn again(kept: &Outcome, shelf: RunLookup<'_>) -> RedoneResult {
    match redone(kept, shelf) {
        Ok(found) => {
            let (reproduced, words) = compared(kept, &found.outcome);
            RedoneResult {
                found,
                done: true,
                reproduced,
                words,
            }
        }
        Err(why) => {
            let mut outcome = kept.clone();
            outcome.parameters.clear();
            outcome.covariance.clear();
            outcome.statistics.clear();
            outcome.remarks.clear();
            outcome.termination = format!("cannot be done again: {why}");
            RedoneResult {
                found: TraceResult {
                    trace: kept.trace,
                    label: String::new(),
                    outcome,
                    drawn: PlotData::default(),
                },
                done: false,
                reproduced: false,
                words: format!("result {}: it cannot be done again", kept.id),
            }
        }
    }
}

fn redone(kept: &Outcome, shelf: RunLookup<'_>) -> Result<TraceResult, StudyError> {
    let work = Work::of(kept).ok_or_else(|| {
        StudyError::unsuitable(format!(
            "results of the kind `{}` are not computed here",
            kept.kind
        ))
    })?;
    let mut runs = Vec::new();
    for id in &kept.runs {
        runs.push(shelf(id)?);
    }
    let run = &runs
        .first()
        .ok_or_else(|| StudyError::unsuitable("it names no run"))?
        .0;
    let named: Vec<NamedRun<'_>> = runs
        .iter()
        .map(|(run, _)| NamedRun {
            run,
            name: run.source.path.as_str(),
        })
        .collect();
    let all = match work {
        Work::Fit if kept.settings.contains_key(SHARE) => {
            let plan: FitPlan = plan(kept)?;
            let found = if kept.kind == OutcomeKind::Comparison {
                compare_together(&plan, &models(kept)?, &named)
            } else {
                fit_together(&plan, &named)
            };
            found.map(|together| together.found).into_iter().collect()
        }
        Work::Fit if kept.kind == OutcomeKind::Comparison => {
            compare_trace(&plan::<FitPlan>(kept)?, &models(kept)?, run)
                .into_iter()
                .map(|compared| match compared {
                    Ok(compared) => compared.found,
                    Err(refused) => *refused,
                })
                .collect()
        }
        Work::Fit => {
            let plan: FitPlan = plan(kept)?;
            if plan.model.is_empty() && plan.formula.is_none() {
                return Err(StudyError::unsuitable("its settings name no model"));
            }
            fit_run(&plan, run)
        }
        Work::Rates if kept.kind == OutcomeKind::InitialRate => {
            rates_run(&plan::<RatePlan>(kept)?, run).found
        }
        Work::Rates => {
            let plan: SeriesPlan = plan(kept)?;
            let points: Vec<_> = runs
                .iter()
                .flat_map(|(run, _)| rates_run(&plan.initial_rates, run).points)
                .collect();
            vec![fit_series(&plan, &points).found]
        }
        Work::Scans => {
            let task = kept
                .settings
                .get(SCANS)
                .ok_or_else(|| StudyError::unsuitable("its settings name no task"))?;
            let task: ScanTask = serde_json::from_value(task.clone()).map_err(unreadable("task"))?;
            vec![scan_run(task, run).found]
        }
        Work::Temperature => {
            let plan: TemperaturePlan = plan(kept)?;
            let mut points = Vec::new();
            for (run, outcomes) in &runs {
                let own = rate_constants(&plan, run, outcomes);
                points.extend(own.map_err(|why| why.of_run(&run.id))?.points);
            }
            temperature_series(&plan, &points)
                .into_iter()
                .filter(|line| line.outcome.model == kept.model)
                .collect()
        }
        Work::Peaks => {
            let plan: PeaksPlan = plan(kept)?;
            peaks_run(&plan, run, &references(&plan.steps, &[], shelf)?)
        }
        Work::Quantify => {
            let plan: QuantifyPlan = plan(kept)?;
            let components: Vec<&RunId> = match &plan.way {
                Way::Mixture(components) => components.iter().map(|component| &component.run).collect(),
                _ => Vec::new(),
            };
            quantify_run(&plan, run, &references(&plan.steps, &components, shelf)?)
        }
        Work::Check => check_run(&plan::<CheckPlan>(kept)?, run),
        Work::Process => {
            let plan: ProcessPlan = plan(kept)?;
            let references = references(&plan.steps, &[], shelf)?;
            if plan.average {
                let runs: Vec<&Run> = runs.iter().map(|(run, _)| run).collect();
                vec![average_runs(&plan, &runs, &references).found]
            } else {
                let all = process_run(&plan, run, &references);
                all.into_iter().map(|made| made.found).collect()
            }
        }
    };
    // Several curves without a number of their own, such as joined ones, are told apart by nothing but their order.
    let same = |found: &&TraceResult| found.outcome.trace == kept.trace;
    let exact = all
        .iter()
        .find(|found| same(found) && found.outcome.id == kept.id);
    exact
        .or_else(|| all.iter().find(same))
        .cloned()
        .ok_or_else(|| match all.first() {
            // A run that is refused as a whole gives its reason without a trace.
            Some(refused) if !refused.is_result() => StudyError::of_told(&refused.outcome.termination),
            _ => StudyError::unsuitable("the run has no such trace any more"),
        })
}

/// What a part of the settings says of itself that this version cannot read.
fn unreadable(part: &str) -> impl Fn(serde_json::Error) -> StudyError {
    move |error| StudyError::unsuitable(format!("its {part} cannot be read: {error}"))
}

/// The models that were compared.
fn models(kept: &Outcome) -> Result<Vec<String>, StudyError> {
    match kept.settings.get("models") {
        Some(models) => serde_json::from_value(models.clone()).map_err(unreadable("models")),
        None => Ok(Vec::new()),
    }
}

/// The plan that stands in the settings.
fn plan<T: DeserializeOwned>(kept: &Outcome) -> Result<T, StudyError> {
    let settings: serde_json::Map<String, Value> = kept.settings.clone().into_iter().collect();
    serde_json::from_value(Value::Object(settings)).map_err(unreadable("settings"))
}

/// The blanks that steps name, and other spectra, by the names of their runs.
fn references(steps: &[Step], others: &[&RunId], shelf: RunLookup<'_>) -> Result<References, StudyError> {
    let blanks = steps.iter().filter_map(|step| match step {
        Step::Blank { reference, .. } => Some(RunId::named(reference.clone())),
        _ => None,
    });
    blanks
        .chain(others.iter().map(|id| (*id).clone()))
        .map(|id| {
            let (run, _) = shelf(&id)?;
            let spectrum = reference_of(&run).map_err(|why| why.of_run(&id))?;
            Ok((id.to_string(), spectrum))
        })
        .collect()
}

/// How far a number may lie from what was kept, as a part of it or of its standard error, whichever is larger: far above the
/// rounding of another machine's arithmetic, far below what anybody reads off.
const SAME: f64 = 1e-9;

/// Whether two results are the same to far below what anybody reads off.
pub fn comes_out_alike(one: &Outcome, other: &Outcome) -> bool {
    compared(one, other).0
}

/// Whether two results are the same, and in words how nearly.
fn compared(kept: &Outcome, now: &Outcome) -> (bool, String) {
    let other = |what: &str| {
        let words = format!(
            "result {}: {what} ({} then): its conditions, notes or the program have changed since",
            kept.id, kept.by
        );
        (false, words)
    };
    let same_names = kept.parameters.len() == now.parameters.len()
        && kept
            .parameters
            .iter()
            .zip(&now.parameters)
            .all(|(old, new)| old.name == new.name && old.unit == new.unit);
    let away = |old: Option<f64>, new: Option<f64>, error: Option<f64>| match (old, new) {
        (Some(old), Some(new)) if old == new => 0.0,
        (Some(old), Some(new)) => {
            let size = old.abs().max(error.unwrap_or(0.0)).max(f64::MIN_POSITIVE);
            ((old - new) / size).abs()
        }
        (None, None) => 0.0,
        _ => f64::INFINITY,
    };
    let statistic = |name: &String| {
        away(
            kept.statistics.get(name).copied(),
            now.statistics.get(name).copied(),
            None,
        )
    };
    // A ranking has no parameters: its differences are statistics.
    let ranked = kept.parameters.is_empty().then(|| {
        let names = kept.statistics.keys().chain(now.statistics.keys());
        names.map(statistic).fold(0.0, f64::max)
    });
    let worst = kept
        .parameters
        .iter()
        .zip(&now.parameters)
        .flat_map(|(old, new)| {
            [
                away(old.value, new.value, old.standard_error),
                away(old.standard_error, new.standard_error, None),
            ]
        })
        .fold(ranked.unwrap_or(0.0), f64::max);
    if !same_names || worst.is_nan() || worst > SAME {
        return other("something else comes out now");
    }
    // A verdict may turn where its numbers stay, when a limit was changed.
    if matches!(kept.kind, OutcomeKind::Check | OutcomeKind::Comparison)
        && kept.termination != now.termination
    {
        return other(&format!("the verdict was `{}`", kept.termination));
    }
    let within = if worst == 0.0 {
        "to the last digit".to_owned()
    } else {
        format!("within {worst:.0e} of every value")
    };
    (
        true,
        format!("result {}: the same comes out again, {within}", kept.id),
    )
}
