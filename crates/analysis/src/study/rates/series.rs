//! The rate law of a whole series of rates.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, RunId, Unit};
use serde::{Deserialize, Serialize};

use super::{RatePlan, RatePoint};
use crate::distribution::chi_squared_upper;
use crate::enzymes::{Rates, add_turnover, compare_laws, direct_linear, fit_weighted_rates};
use crate::fit::{CommonError, Data, Determination, Fit, Options, Weighting, add_shifts, shifts_by};
use crate::models::law::Law;
use crate::refusal::Refusal;
use crate::study::fit::{fuller_law, tell};
use crate::study::replicates::{counted_all_the_same, without_common};
use crate::study::spectrum::as_settings;
use crate::study::{
    BY, DriftEffect, PlotData, STATED_DRIFT, TraceResult, allow_for_scale, curve_of, levels_of,
    stretch_of_law, told, unit_in_terms,
};
use crate::wording::Six;

/// A rate law over rates, of one run or of several together.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesFit {
    /// The record.
    pub found: TraceResult,
    /// Inhibition laws ranked, where that was asked: name, AICc difference, weight.
    pub ranked: Vec<(String, f64, f64)>,
    /// The verdict of the ranking.
    pub verdict: Option<String>,
}

/// How much each rate counts in a law.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RateWeights {
    /// All alike.
    #[default]
    Equal,
    /// By the rates' own standard errors; the size of the errors is taken from the residuals.
    Own,
    /// An error in proportion to the rate.
    Relative,
}

/// What is asked of rates that belong together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct SeriesPlan {
    /// The law by its name.
    pub law: String,
    /// Whether the laws of inhibition are ranked and the best is taken in place of `law`.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub compare: bool,
    /// Concentration of active sites, mol/L, for kcat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub enzyme_mol_per_litre: Option<f64>,
    /// Level of the intervals.
    pub level: f64,
    /// How much each rate counts.
    #[serde(default, skip_serializing_if = "is_equal")]
    pub weights: RateWeights,
    /// Whether profile-likelihood intervals are found too.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub profile: bool,
    /// How the rates were found.
    pub initial_rates: RatePlan,
}

impl SeriesPlan {
    /// A law over rates, with nothing else said.
    pub fn of(law: impl Into<String>) -> Self {
        Self {
            law: law.into(),
            compare: false,
            enzyme_mol_per_litre: None,
            level: 0.95,
            weights: RateWeights::Equal,
            profile: false,
            initial_rates: RatePlan::default(),
        }
    }
}

fn is_equal(weights: &RateWeights) -> bool {
    *weights == RateWeights::Equal
}

/// Fits a law to rates, or ranks the laws of inhibition over them.
pub fn fit_series(plan: &SeriesPlan, points: &[RatePoint]) -> SeriesFit {
    let mut runs: Vec<RunId> = Vec::new();
    for point in points {
        if !runs.contains(&point.run) {
            runs.push(point.run.clone());
        }
    }
    let mut settings = as_settings(plan);
    let kept: Vec<serde_json::Value> = points
        .iter()
        .map(|point| {
            serde_json::json!({
                "run": point.run, "label": point.label,
                "substrate": [point.substrate.0, point.substrate.1.code()],
                "inhibitor": point.inhibitor.as_ref().map(|(value, unit)| (value, unit.code().to_owned())),
                "rate": [point.rate.0, point.rate.2.code()],
            })
        })
        .collect();
    settings.insert("rates".to_owned(), serde_json::json!(kept));
    let mut outcome = Outcome {
        id: String::new(),
        kind: OutcomeKind::Fit,
        runs,
        trace: None,
        model: plan.law.clone(),
        by: BY.into(),
        settings,
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: Vec::new(),
    };
    let mut ranked = Vec::new();
    let mut verdict = None;
    let drawn = match series(plan, points, &mut outcome, &mut ranked, &mut verdict) {
        Ok(drawn) => drawn,
        Err(refusal) => {
            outcome.termination = told(&refusal);
            outcome.parameters.clear();
            PlotData::default()
        }
    };
    SeriesFit {
        found: TraceResult {
            trace: None,
            label: String::new(),
            outcome: outcome.identified(),
            drawn,
        },
        ranked,
        verdict,
    }
}

/// The time in the unit of a rate.
fn time_of(rate: &Unit) -> Option<Unit> {
    Unit::ucum(rate.code().rsplit('/').next()?).ok()
}

/// Whether the rates leave the law by more than their own errors; chance gives as much once in a hundred.
///
/// What the rates have in common moves them all one way, which is no scatter: it counts by the whole covariance (Sherman and
/// Morrison's formula; the commons of several runs touch different rates).
fn against_own_errors(found: &Fit, own: &[f64], common: &[Vec<f64>], outcome: &mut Outcome) {
    let weigh = |a: &[f64], b: &[f64]| -> f64 {
        let both = a.iter().zip(b).zip(own);
        both.map(|((a, b), error)| a * b / (error * error)).sum()
    };
    let mut square = weigh(&found.residuals, &found.residuals);
    for shift in common {
        let along = weigh(shift, &found.residuals);
        square -= along * along / (1.0 + weigh(shift, shift));
    }
    let freedom = found.degrees_of_freedom as f64;
    let chance = chi_squared_upper(square, freedom);
    outcome
        .statistics
        .insert("chi_squared_of_own_errors".into(), square);
    if chance < 0.01 {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("lack-of-fit"),
            format!(
                "the rates leave the law by {:.1} times their own errors on average (probability {}): another law may hold, a rate \
                 may be wrong, or assays differ by more than one course can tell; the errors above are from the scatter about \
                 the law",
                (square / freedom).sqrt(),
                if chance < 1e-4 { "below 0.0001".to_owned() } else { format!("{chance:.4}") }
            ),
        ));
    }
}

/// What one standard deviation of each run's blank does to every rate, in the unit of the law.
fn common_blanks(points: &[RatePoint], y_unit: &Unit) -> Vec<Vec<f64>> {
    let mut runs: Vec<&RunId> = Vec::new();
    for point in points.iter().filter(|point| point.blank.is_some()) {
        if !runs.contains(&&point.run) {
            runs.push(&point.run);
        }
    }
    runs.iter()
        .map(|run| {
            points
                .iter()
                .map(|point| {
                    let error = point.blank.filter(|_| point.run == **run);
                    error
                        .and_then(|error| point.rate.2.convert(error, y_unit).ok())
                        .unwrap_or(0.0)
                })
                .collect()
        })
        .collect()
}

/// What one standard deviation of a stated steady drift does to every rate, in the unit of the law: lamps drift in one direction for
/// long, so that it is taken as common to all courses. A wandering is of each course by itself.
fn common_drift(points: &[RatePoint], y_unit: &Unit) -> Option<Vec<f64>> {
    let moved = |point: &RatePoint| match point.drift {
        DriftEffect::Stated(moved) => point.rate.2.convert(moved, y_unit).unwrap_or(0.0),
        _ => 0.0,
    };
    let all: Vec<f64> = points.iter().map(moved).collect();
    all.iter().any(|moved| *moved != 0.0).then_some(all)
}

/// Puts what the blanks and a stated drift may be wrong into the errors of the parameters, and says how much of these it is.
fn tell_common(
    found: &mut Fit,
    data: &Data<'_>,
    (common, blanks): (&[Vec<f64>], usize),
    outcome: &mut Outcome,
) {
    let Some(law) = Law::named(&found.model).filter(|_| !common.is_empty()) else {
        return;
    };
    let weights = data.weighting.counted(&found.fitted);
    let errors: Vec<CommonError<'_>> = common.iter().map(|own| CommonError::Shift(own)).collect();
    let Some(shifts) = shifts_by(law, data.x, weights.as_deref(), &errors, found) else {
        return;
    };
    let Some(shares) = add_shifts(law, &shifts, found) else {
        return;
    };
    let (of_blanks, of_drift) = shifts.split_at(blanks);
    let mut words = Vec::new();
    for (j, (parameter, share)) in found.parameters.iter().zip(shares).enumerate() {
        let all: f64 = shifts.iter().map(|own| own[j] * own[j]).sum();
        for (name, part) in [("blank", of_blanks), ("drift", of_drift)] {
            let own: f64 = part.iter().map(|own| own[j] * own[j]).sum();
            if !part.is_empty() {
                let own = if all > 0.0 { share * own / all } else { 0.0 };
                outcome
                    .statistics
                    .insert(format!("variance_by_the_{name} {}", parameter.name), own);
            }
        }
        // Several laws over rates that one lamp moves have that in common.
        if let [drift] = of_drift {
            let name = format!("{STATED_DRIFT}{}", parameter.name);
            outcome.statistics.insert(name, drift[j]);
        }
        words.push(format!("{} {:.0} %", parameter.name, 100.0 * share));
    }
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        format!(
            "the rates have {} in common, whose error moves them all one way; it is in the errors above (part of the variance: {})",
            [
                (blanks == 1).then(|| "one blank".to_owned()),
                (blanks > 1).then(|| format!("{blanks} blanks")),
                (common.len() > blanks).then(|| "a stated drift".to_owned()),
            ]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(" and "),
            words.join(", ")
        ),
    ));
}

/// Rates as columns in one unit each.
struct SeriesColumns {
    substrate: Vec<f64>,
    rate: Vec<f64>,
    /// Where the law knows of one.
    inhibitor: Option<Vec<f64>>,
    x_unit: Unit,
    y_unit: Unit,
    level_unit: Unit,
    /// The rates' own standard errors, where every rate has one.
    own: Option<Vec<f64>>,
    /// The same without what the rates have in common.
    alone: Option<Vec<f64>>,
    /// What one standard deviation of each error that rates have in common does to every rate.
    common: Vec<Vec<f64>>,
    /// How many of these are blanks; a stated drift is one more.
    blanks: usize,
    inhibited: bool,
}

fn unsuitable(why: String) -> Refusal {
    Refusal::Unsuitable { why }
}

/// One number of every rate in one unit.
fn column(
    points: &[RatePoint],
    what: &str,
    wanted: &Unit,
    of: &dyn Fn(&RatePoint) -> Option<(f64, Unit)>,
) -> Result<Vec<f64>, Refusal> {
    let own = points.iter().map(|point| {
        let (value, unit) =
            of(point).ok_or_else(|| unsuitable(format!("`{}` has no {what}", point.label)))?;
        unit.convert(value, wanted).map_err(|_| {
            unsuitable(format!(
                "the {what} of `{}` is in {}, others in {}",
                point.label,
                unit.display(),
                wanted.display()
            ))
        })
    });
    own.collect()
}

impl SeriesColumns {
    fn of(plan: &SeriesPlan, points: &[RatePoint]) -> Result<Self, Refusal> {
        let law = plan.law.as_str();
        let first = points.first().ok_or_else(|| {
            unsuitable(
                "there is no rate at a known concentration: a law needs traces that have both a rate and a substrate concentration"
                    .into(),
            )
        })?;
        let (x_unit, y_unit) = (first.substrate.1.clone(), first.rate.2.clone());
        let inhibitors = || points.iter().filter_map(|point| point.inhibitor.as_ref());
        let level_unit = inhibitors().next().map_or(Unit::ONE, |(_, unit)| unit.clone());
        let substrate = column(points, "substrate concentration", &x_unit, &|point| {
            Some(point.substrate.clone())
        })?;
        let rate = column(points, "rate", &y_unit, &|point| {
            Some((point.rate.0, point.rate.2.clone()))
        })?;
        if rate.iter().all(|rate| *rate <= 0.0) {
            return Err(unsuitable(
                "no rate lies above zero, and the laws are of rates of formation; where the signal is of what is used up, say so \
                 (--consumed)"
                    .into(),
            ));
        }
        let inhibited = inhibitors().next().is_some();
        let needs_inhibitor = plan.compare && inhibited
            || !plan.compare && Law::named(law).is_some_and(|law| law.variables.contains(&"I"));
        let inhibitor = if needs_inhibitor {
            let of = |point: &RatePoint| point.inhibitor.clone();
            Some(column(points, "inhibitor concentration", &level_unit, &of)?)
        } else {
            one_level(points, law)?;
            None
        };
        of_one_kind(points, law)?;
        let own: Option<Vec<f64>> = points
            .iter()
            .map(|point| {
                let error = point.rate.1.filter(|error| *error > 0.0)?;
                point.rate.2.convert(error, &y_unit).ok()
            })
            .collect();
        // What the rates do not have in common.
        let mut common = common_blanks(points, &y_unit);
        let blanks = common.len();
        common.extend(common_drift(points, &y_unit));
        let alone = own.as_ref().map(|own| {
            let shared = |i: usize| common.iter().map(|shift| shift[i] * shift[i]).sum::<f64>();
            own.iter()
                .enumerate()
                .map(|(i, error)| without_common(*error, shared(i).sqrt()))
                .collect()
        });
        Ok(Self {
            substrate,
            rate,
            inhibitor,
            x_unit,
            y_unit,
            level_unit,
            own,
            alone,
            common,
            blanks,
            inhibited,
        })
    }

    fn rates(&self) -> Rates<'_> {
        Rates {
            substrate: &self.substrate,
            inhibitor: self.inhibitor.as_deref(),
            rate: &self.rate,
        }
    }

    /// The variables of the law.
    fn columns(&self) -> Vec<&[f64]> {
        let both = [Some(self.substrate.as_slice()), self.inhibitor.as_deref()];
        both.into_iter().flatten().collect()
    }

    /// One over the square of each rate's own error.
    fn reciprocals(&self) -> Option<Vec<f64>> {
        let alone = self.alone.as_ref()?;
        Some(alone.iter().map(|error| 1.0 / (error * error)).collect())
    }
}

/// Refuses rates at several levels of an inhibitor for a law that knows of none, and rates of which only some have a level: one
/// that is not known is not none.
fn one_level(points: &[RatePoint], law: &str) -> Result<(), Refusal> {
    let mut levels: Vec<f64> = points
        .iter()
        .filter_map(|point| point.inhibitor.as_ref().map(|(value, unit)| unit.to_si(*value)))
        .collect();
    let without = points.iter().find(|point| point.inhibitor.is_none());
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    if levels.len() > 1 {
        return Err(unsuitable(format!(
            "the rates were taken at {} concentrations of an inhibitor or another second substance, which {law} knows nothing of",
            levels.len()
        )));
    }
    match (levels.first(), without) {
        (Some(level), Some(without)) if *level != 0.0 => Err(unsuitable(format!(
            "some rates were taken with an inhibitor or another second substance, and of `{}` no concentration of it is known (0 where \
             there was none): one law needs the same in all of them",
            without.label
        ))),
        _ => Ok(()),
    }
}

/// Refuses rates that were not taken at one temperature, pH and whatever else the traces hold, as far as the law knows nothing of it.
fn of_one_kind(points: &[RatePoint], law: &str) -> Result<(), Refusal> {
    let of = |point: &RatePoint, key: &str| {
        let known = point.conditions.iter().find(|(known, _)| known == key);
        known.map(|(_, value)| *value)
    };
    let keys: BTreeSet<&str> = points
        .iter()
        .flat_map(|point| point.conditions.iter().map(|(key, _)| key.as_str()))
        .collect();
    for key in keys {
        let Some((first, value)) = points.iter().find_map(|point| Some((point, of(point, key)?))) else {
            continue;
        };
        for other in points {
            match of(other, key) {
                Some(own) if (own - value).abs() <= 1e-9 * value.abs() => {}
                Some(_) => {
                    return Err(unsuitable(format!(
                        "`{}` and `{}` were not taken at one {key}, which {law} knows nothing of; choose runs or traces that were",
                        first.label, other.label
                    )));
                }
                None => {
                    return Err(unsuitable(format!(
                        "the {key} of `{}` is known and that of `{}` is not, and {law} knows nothing of it: `curvary note` says it, or \
                         choose runs or traces of which it is known",
                        first.label, other.label
                    )));
                }
            }
        }
    }
    Ok(())
}

/// Says what the rates themselves hold against a law over them.
fn say_of_rates(points: &[RatePoint], outcome: &mut Outcome) {
    let doubts = points
        .iter()
        .map(|point| (point.label.as_str(), point.doubts.as_slice()));
    outcome.remarks.extend(counted_all_the_same("rates", doubts));
    let unknown = points
        .iter()
        .filter(|point| matches!(point.drift, DriftEffect::Unknown(_)))
        .count();
    if unknown > 0 {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            format!(
                "the errors are valid only if nothing drifts: a drift of the signal adds to {} as it is, and only the rate of a blank \
                 (--blank) takes it off; --drift puts one of a stated size into the errors",
                if unknown == points.len() { "every rate".to_owned() } else { format!("{unknown} of the rates") }
            ),
        ));
    }
}

/// The laws among which a comparison chooses.
fn compared(inhibited: bool) -> &'static [&'static str] {
    if inhibited {
        &["competitive", "uncompetitive", "noncompetitive", "mixed"]
    } else {
        &["michaelis-menten", "hill", "substrate-inhibition"]
    }
}

fn series(
    plan: &SeriesPlan,
    points: &[RatePoint],
    outcome: &mut Outcome,
    ranked: &mut Vec<(String, f64, f64)>,
    verdict: &mut Option<String>,
) -> Result<PlotData, Refusal> {
    let of = SeriesColumns::of(plan, points)?;
    let options = Options {
        level: plan.level,
        profile: plan.profile,
        ..Options::default()
    };
    let reciprocals = of.reciprocals();
    let weighting = match (plan.weights, &reciprocals) {
        (RateWeights::Equal, _) => Weighting::Equal,
        (RateWeights::Relative, _) => Weighting::Relative,
        (RateWeights::Own, Some(reciprocals)) => Weighting::Weights(reciprocals),
        (RateWeights::Own, None) => {
            return Err(unsuitable(
                "a rate has no error of its own, so that they cannot be weighted by them".into(),
            ));
        }
    };
    let mut found: Fit = if plan.compare {
        let comparison = compare_laws(compared(of.inhibited), &of.rates(), weighting, &options)?;
        for place in &comparison.choice.ranking {
            ranked.push((place.model.to_string(), place.difference, place.weight));
        }
        *verdict = Some(comparison.choice.verdict.clone());
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            comparison.choice.verdict.clone(),
        ));
        let best = comparison.choice.ranking[0].index;
        outcome.model = comparison.fits[best].model.to_string();
        comparison.fits[best].clone()
    } else {
        fit_weighted_rates(&plan.law, &of.rates(), weighting, &options)?
    };
    if let Some(alone) = &of.alone {
        against_own_errors(&found, alone, &of.common, outcome);
    }
    let columns = of.columns();
    let data = Data {
        x: &columns,
        y: &of.rate,
        weighting,
    };
    tell_common(&mut found, &data, (&of.common, of.blanks), outcome);
    turnover(plan, &of.y_unit, &mut found, outcome)?;
    let unit = |of_axes: &str, name: &str| unit_of(&of, of_axes, name);
    tell(outcome, &found, &unit);
    say_of_rates(points, outcome);
    let rates = &plan.initial_rates;
    allow_for_scale(
        outcome,
        found.units(),
        rates.scale_error.filter(|_| rates.concentration),
    );
    if !plan.compare
        && let Some(law) = Law::named(&plan.law)
    {
        outcome.remarks.extend(fuller_law(law, &data, &options, &found));
    }
    if outcome.model == "michaelis-menten" {
        second_opinion(&of, &found, outcome);
    }
    Ok(drawn(
        of,
        found,
        (&outcome.model, plan.weights == RateWeights::Equal),
    ))
}

/// The unit of a parameter of a law over rates.
fn unit_of(of: &SeriesColumns, of_axes: &str, name: &str) -> Option<Unit> {
    let (x, y, level) = (&of.x_unit, &of.y_unit, &of.level_unit);
    match (of_axes, name) {
        ("y/x", "Vmax") => Some(y.clone()),
        (_, "kcat") => time_of(y).and_then(|time| Unit::ucum(&format!("/{}", time.code())).ok()),
        (_, "kcat/Km") => time_of(y).and_then(|time| unit_in_terms("1/(y x)", &time, x, level)),
        _ => unit_in_terms(of_axes, x, y, level),
    }
}

/// Adds the turnover number, where the enzyme's concentration is known and the rates are in concentration.
fn turnover(plan: &SeriesPlan, y_unit: &Unit, found: &mut Fit, outcome: &mut Outcome) -> Result<(), Refusal> {
    let Some(enzyme) = plan.enzyme_mol_per_litre else {
        return Ok(());
    };
    // kcat is per time only where rate and enzyme are in one unit of amount.
    let per_time = Unit::MOLE_PER_LITRE;
    let scale = ["s", "min", "h"].iter().find_map(|time| {
        let wanted = Unit::ucum(&format!("mol/L/{time}")).ok()?;
        y_unit
            .code()
            .ends_with(&format!("/{time}"))
            .then(|| y_unit.convert(1.0, &wanted).ok())?
    });
    match scale {
        Some(scale) => add_turnover(found, enzyme / scale)?,
        None => outcome.remarks.push(Diagnostic::warning(
            Code::new("fit-remark"),
            format!(
                "no kcat: the rates are in {}, and {} per time is needed; give the absorption coefficient",
                y_unit.display(),
                per_time.display()
            ),
        )),
    }
    Ok(())
}

/// The medians of the direct linear plot beside the fit.
fn second_opinion(of: &SeriesColumns, found: &Fit, outcome: &mut Outcome) {
    let Ok(second) = direct_linear(&of.substrate, &of.rate) else {
        return;
    };
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value {
            outcome.statistics.insert(name.into(), value);
        }
    };
    put("direct_linear_Km", second.km);
    put("direct_linear_Vmax", second.vmax);
    // Where the rates do not determine the law, medians only look as if they did.
    let determined = found
        .parameters
        .iter()
        .all(|p| p.standing == Determination::Determined);
    let (Some(km), Some(vmax), true) = (second.km, second.vmax, determined) else {
        return;
    };
    let outside = |name: &str, value: f64| {
        let own = found.parameter(name).and_then(|own| own.interval);
        own.is_some_and(|own| {
            own.lower.is_some_and(|low| value < low) || own.upper.is_some_and(|high| value > high)
        })
    };
    let words = format!(
        "second opinion, medians of the direct linear plot: Km {} and Vmax {} in the same units",
        Six(km),
        Six(vmax)
    );
    outcome.remarks.push(if outside("Km", km) || outside("Vmax", vmax) {
        Diagnostic::warning(
            Code::new("lack-of-fit"),
            format!("{words}; that lies outside the intervals above: a rate may be far off, or another law may hold"),
        )
    } else {
        Diagnostic::note(Code::new("fit-remark"), words)
    });
}

/// The rates and the law through them; `alike`: every rate counts alike.
fn drawn(of: SeriesColumns, found: Fit, (model, alike): (&str, bool)) -> PlotData {
    let law = Law::named(model);
    let levels = law
        .zip(of.inhibitor.as_ref())
        .map_or_else(Vec::new, |(law, inhibitor)| {
            levels_of(law, &found.values(), &of.substrate, inhibitor, &of.level_unit)
        });
    let curve = law.map_or_else(Vec::new, |law| {
        curve_of(law, &found.values(), &stretch_of_law(law, &found, &of.substrate))
    });
    // The errors of the law, and where one more rate would lie.
    let grid: Vec<f64> = curve.iter().map(|(x, _)| *x).collect();
    let band = law
        .and_then(|law| found.along(law, &grid, alike))
        .unwrap_or_default();
    PlotData {
        levels,
        band,
        curve: Some(curve),
        bars: of
            .own
            .iter()
            .flatten()
            .enumerate()
            .map(|(i, error)| (of.substrate[i], of.rate[i] - error, of.rate[i] + error))
            .collect(),
        x_title: format!("concentration / {}", of.x_unit.display()),
        y_title: format!("rate / {}", of.y_unit.display()),
        used: (0..of.substrate.len()).collect(),
        x: of.substrate,
        y: of.rate,
        fitted: found.fitted,
        residuals: found.residuals,
        ..PlotData::default()
    }
}
