//! Means of one parameter over the results of several runs, with what each of them cannot know.

use std::collections::{BTreeMap, BTreeSet};

use curvary_analysis::study::{DriftEffect, Pooled, of_days, pool, pool_with_common};
use curvary_record::{OutcomeKind, Parameter, Unit};

use super::{LIKE_THE_CURVE, ResultRow, flags};
use crate::commands::find::short;
use crate::screen::plural;
use crate::telling;

/// What is pooled: the group, the model, the parameter and its unit.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct MeanKey {
    /// What the runs have in common, in the order of `--by`.
    pub(super) by: Vec<String>,
    pub(super) model: String,
    pub(super) parameter: String,
    /// Its UCUM code; empty where it has none.
    pub(super) unit: String,
}

/// A mean, or why there is none, with what was left out of it.
pub(super) struct MeanRow {
    pub(super) of: MeanKey,
    pub(super) found: Result<PooledMean, NoMean>,
    /// Results that have no number to be pooled, each with the reason.
    pub(super) left_out: Vec<LeftOutResult>,
}

/// A result that stands in no mean.
pub(super) struct LeftOutResult {
    pub(super) run: String,
    pub(super) trace: Option<u32>,
    pub(super) reason: NoValue,
}

/// Why a value stands in no mean and in no table of values.
#[derive(Debug, thiserror::Error)]
pub(super) enum NoValue {
    /// What the result itself says.
    #[error("{0}")]
    Stated(String),
    #[error("it has no value")]
    Missing,
    /// A parameter that a person held says nothing of the run.
    #[error("{HELD}")]
    Held,
    #[error(transparent)]
    Unit(#[from] curvary_record::unit::Incommensurable),
    #[error("it is no finite number")]
    NotFinite,
}

/// Why there is no mean.
#[derive(Debug, thiserror::Error)]
pub(super) enum NoMean {
    /// The runs were taken under different conditions.
    #[error("the runs were taken at {at}; --by {field} pools them apart")]
    Apart { at: String, field: &'static str },
    #[error("no value")]
    NoValue,
    #[error("one value only")]
    OneValue,
    #[error(transparent)]
    Refused(#[from] curvary_analysis::Refusal),
}

/// A mean over runs, with what it cannot know.
pub(super) struct PooledMean {
    pub(super) pooled: Pooled,
    /// By how much a drift that no course shows would move it, in its unit, by those results of which that is known.
    pub(super) drift: Option<f64>,
    /// Of how many results that is not known.
    pub(super) drift_unknown: usize,
    /// What is to be said beside the statistics.
    pub(super) said: Vec<String>,
}

/// A value that counts in a mean.
struct PooledResult<'a> {
    row: &'a ResultRow,
    parameter: &'a Parameter,
    value: f64,
    error: Option<f64>,
}

impl PooledResult<'_> {
    /// A difference in the unit of the mean.
    fn turned(&self, moved: f64) -> f64 {
        match self.parameter.value {
            Some(own) if own != 0.0 => moved * self.value / own,
            _ => moved,
        }
    }
}

/// The members of a group, and what is left out of it.
#[derive(Default)]
struct Group<'a> {
    members: Vec<PooledResult<'a>>,
    left_out: Vec<LeftOutResult>,
}

/// The means of what `shown` gives of each row, or why there is none: a mean over different temperatures or pH is one of different
/// things. Rows of which something that `--by` names is not known stand in none.
pub(super) fn means<'a, I>(rows: &[&'a ResultRow], shown: impl Fn(&'a ResultRow) -> I) -> Vec<MeanRow>
where
    I: Iterator<Item = &'a Parameter>,
{
    // What is compared as the same is shown as it was met first.
    let mut names: BTreeMap<(usize, &str), &str> = BTreeMap::new();
    for row in rows {
        for (at, (shown, compared)) in row.by.iter().enumerate() {
            names.entry((at, compared)).or_insert(shown);
        }
    }
    let mut groups: BTreeMap<MeanKey, Group<'_>> = BTreeMap::new();
    for row in rows.iter().copied() {
        for parameter in shown(row) {
            let own = parameter.unit.clone().unwrap_or(Unit::ONE);
            let by = row.by.iter().enumerate();
            let by: Vec<String> = by
                .map(|(at, by)| names[&(at, by.1.as_str())].to_owned())
                .collect();
            // A constant per minute and one per second are pooled in the unit that was met first.
            let known = groups.keys().find_map(|key| {
                let code = if key.unit.is_empty() {
                    "1"
                } else {
                    key.unit.as_str()
                };
                let unit = Unit::ucum(code).ok()?;
                let alike = key.by == by
                    && key.model == row.outcome.model
                    && key.parameter == parameter.name
                    && own.converts_to(&unit);
                alike.then(|| (key.clone(), unit))
            });
            let (key, unit) = known.unwrap_or_else(|| {
                let code = parameter.unit.as_ref().map(|unit| unit.code().to_owned());
                let key = MeanKey {
                    by,
                    model: row.outcome.model.clone(),
                    parameter: parameter.name.clone(),
                    unit: code.unwrap_or_default(),
                };
                (key, own.clone())
            });
            let group = groups.entry(key).or_default();
            match in_unit(parameter, &own, &unit, &row.outcome.kind) {
                Ok((value, error)) => group.members.push(PooledResult {
                    row,
                    parameter,
                    value,
                    error,
                }),
                Err(reason) => group.left_out.push(LeftOutResult {
                    run: row.first().to_owned(),
                    trace: row.trace,
                    reason,
                }),
            }
        }
    }
    let all = groups.into_iter().map(|(of, group)| MeanRow {
        found: group.mean(&of.parameter),
        of,
        left_out: group.left_out,
    });
    all.collect()
}

/// A value with its error in another unit, or why it is none to be pooled.
pub(super) fn in_unit(
    parameter: &Parameter,
    own: &Unit,
    unit: &Unit,
    kind: &OutcomeKind,
) -> Result<(f64, Option<f64>), NoValue> {
    let reason = || parameter.reason.clone().map(NoValue::Stated);
    let value = parameter
        .value
        .ok_or_else(|| reason().unwrap_or(NoValue::Missing))?;
    if *kind == OutcomeKind::Fit && parameter.reason.as_deref() == Some(HELD) {
        return Err(NoValue::Held);
    }
    let conversion = own.conversion(unit)?;
    let value = conversion.apply(value);
    if !value.is_finite() {
        return Err(NoValue::NotFinite);
    }
    let error = parameter
        .standard_error
        .map(|error| conversion.of_difference(error));
    Ok((value, error))
}

/// What a fit says of a parameter that was not fitted.
const HELD: &str = curvary_analysis::fit::Determination::Held.words();

impl Group<'_> {
    fn mean(&self, name: &str) -> Result<PooledMean, NoMean> {
        let rows: Vec<&ResultRow> = self.members.iter().map(|member| member.row).collect();
        if let Some(why) = apart(&rows) {
            return Err(why);
        }
        match self.members.len() {
            0 => return Err(NoMean::NoValue),
            1 => return Err(NoMean::OneValue),
            _ => {}
        }
        let values: Vec<(f64, Option<f64>)> = self
            .members
            .iter()
            .map(|member| (member.value, member.error))
            .collect();
        let mut said = Vec::new();
        let pooled = self.pooled(&values, name, &mut said)?;
        let runs: BTreeSet<&str> = rows.iter().map(|row| row.first()).collect();
        if runs.len() < rows.len() {
            said.push(format!(
                "the values are of {} of {}",
                plural(rows.len() as u64, "curve"),
                plural(runs.len() as u64, "run")
            ));
        }
        let days: Vec<Option<String>> = rows.iter().map(|row| row.day.clone()).collect();
        let plain: Vec<f64> = values.iter().map(|value| value.0).collect();
        said.extend(of_days(&days, &plain, pooled.differ()));
        let (drift, drift_unknown) = self.drift(name, &pooled, &mut said);
        for (what, without) in [
            (
                "temperature",
                rows.iter().filter(|row| row.celsius.is_none()).count(),
            ),
            ("pH", rows.iter().filter(|row| row.ph.is_none()).count()),
        ] {
            if without > 0 && without < rows.len() {
                said.push(format!("of {without} of these no {what} is known"));
            }
        }
        let old = rows.iter().filter(|row| row.outcome.is_out_of_date()).count() as u64;
        if old > 0 {
            let are = if old == 1 { "is" } else { "are" };
            said.push(format!(
                "{} of these {are} out of date, and counted all the same",
                plural(old, "result")
            ));
        }
        said.extend(self.doubts(name));
        said.extend(same_readings(&self.members));
        Ok(PooledMean {
            pooled,
            drift,
            drift_unknown,
            said,
        })
    }

    /// Pools the values. A drift that a person stated is of one lamp, and moves all runs alike: it is taken out of their own errors and
    /// put into that of the mean.
    fn pooled(
        &self,
        values: &[(f64, Option<f64>)],
        name: &str,
        said: &mut Vec<String>,
    ) -> Result<Pooled, NoMean> {
        let moved: Vec<f64> = self
            .members
            .iter()
            .map(|member| match DriftEffect::of(&member.row.outcome, name) {
                DriftEffect::Stated(moved) => member.turned(moved),
                _ => 0.0,
            })
            .collect();
        if moved.iter().all(|moved| *moved == 0.0) {
            return Ok(pool(values)?);
        }
        let (pooled, common) = pool_with_common(values, &moved)?;
        said.push(format!(
            "the drift that was stated moves these runs alike and does not average out: {} of the error of the mean",
            telling::rounded(common, Some(common)).0
        ));
        Ok(pooled)
    }

    /// What a drift would do to the mean, as far as that is known, and of how many results it is not.
    fn drift(&self, name: &str, pooled: &Pooled, said: &mut Vec<String>) -> (Option<f64>, usize) {
        let (mut moves, mut unknown) = (Vec::new(), Vec::new());
        for member in &self.members {
            match DriftEffect::of(&member.row.outcome, name) {
                // In the unit of the mean: what is moved is a difference.
                DriftEffect::Moves(moved) => moves.push(Some(member.turned(moved))),
                DriftEffect::Allowed | DriftEffect::Stated(_) => moves.push(Some(0.0)),
                DriftEffect::Unknown(why) => {
                    moves.push(None);
                    unknown.push((member.row.first(), why));
                }
            }
        }
        // Drifts of one lamp have one sign: the mean is moved by the mean of what each result would be moved by, each as much as it
        // counts.
        let any = moves.iter().flatten().any(|moved| *moved != 0.0);
        let drift = pooled.mean_of(moves.into_iter()).filter(|_| any);
        if let Some(moved) = drift.filter(|moved| 0.5 * moved.abs() > pooled.standard_error) {
            let (by, part) = (moved.abs(), 100.0 * (moved / pooled.mean).abs());
            said.push(if part > LIKE_THE_CURVE {
                "a drift of the signal would look the same as these curves: the mean and its error are valid only if nothing drifts"
                    .to_owned()
            } else {
                format!(
                    "a drift of the signal that is common to these runs does not average out: one that cannot be seen in any of them \
                     would change the mean by {} ({} %)",
                    telling::rounded(by, Some(by)).0,
                    telling::rounded(part, Some(part)).0
                )
            });
        }
        if !unknown.is_empty() {
            let all = unknown.len() == self.members.len();
            let mut why: Vec<&str> = unknown.iter().map(|(_, why)| *why).collect();
            why.sort_unstable();
            why.dedup();
            said.push(format!(
                "what a drift of the signal would do is not known of {}, so the mean and its error are valid only if nothing drifts \
                 ({})",
                if all { "these results".to_owned() } else { runs_of(unknown.iter().map(|(run, _)| *run)) },
                why.join("; ")
            ));
        }
        (drift, unknown.len())
    }

    /// What the results themselves hold against the values that are pooled.
    fn doubts(&self, name: &str) -> Vec<String> {
        let mut all: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for member in &self.members {
            let of_value = member
                .parameter
                .reason
                .as_ref()
                .filter(|_| member.row.outcome.kind == OutcomeKind::Fit);
            let own = of_value.map(|reason| format!("{name} is {reason}"));
            let flags = flags(&member.row.outcome)
                .into_iter()
                .filter(|flag| !matches!(flag.as_str(), telling::DRIFT | curvary_record::OUT_OF_DATE));
            for what in own.into_iter().chain(flags) {
                all.entry(what).or_default().push(member.row.first());
            }
        }
        all.into_iter()
            .map(|(what, runs)| {
                if runs.len() == self.members.len() {
                    format!("all of these results say: {what}")
                } else {
                    format!(
                        "{} of these {} say: {what}",
                        runs_of(runs.into_iter()),
                        self.members.len()
                    )
                }
            })
            .collect()
    }
}

/// Runs by name, and how many they are.
fn runs_of<'a>(runs: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<&str> = runs.map(short).collect();
    format!("{} ({})", plural(names.len() as u64, "result"), names.join(", "))
}

/// Values that are equal to the last digit with their errors come from the same readings, most likely.
fn same_readings(members: &[PooledResult<'_>]) -> Option<String> {
    let mut same: Vec<&str> = Vec::new();
    for member in members.iter().filter(|member| member.error.is_some()) {
        let twin = members.iter().any(|other| {
            (other.value, other.error) == (member.value, member.error) && other.row.runs != member.row.runs
        });
        if twin {
            same.push(short(member.row.first()));
        }
    }
    same.dedup();
    (!same.is_empty()).then(|| {
        format!(
            "{} are equal to the last digit: the same readings may be counted twice",
            same.join(", ")
        )
    })
}

/// Why results are not of one thing.
fn apart(rows: &[&ResultRow]) -> Option<NoMean> {
    let (at, field) = taken_apart(rows.iter().map(|row| (row.celsius, row.ph)))?;
    Some(NoMean::Apart { at, field })
}

/// Where things were taken whose temperatures (°C) or pH differ by more than rounding of what was noted, and the field that does.
pub(crate) fn taken_apart(
    all: impl Iterator<Item = (Option<f64>, Option<f64>)>,
) -> Option<(String, &'static str)> {
    let (celsius, ph): (Vec<Option<f64>>, Vec<Option<f64>>) = all.unzip();
    let differ = |values: &[Option<f64>], room: f64| {
        let known = values.iter().flatten();
        let (low, high) = known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(*value), high.max(*value))
        });
        (high - low > room).then(|| (telling::significant(low), telling::significant(high)))
    };
    // Half a kelvin changes most rate constants by 3 to 5 %, less than runs differ from day to day.
    if let Some((low, high)) = differ(&celsius, 0.5) {
        return Some((format!("{low} to {high} °C"), "temperature"));
    }
    let (low, high) = differ(&ph, 0.05)?;
    Some((format!("pH {low} to {high}"), "ph"))
}
