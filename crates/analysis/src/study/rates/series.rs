//! The rate law of a whole series of rates.

use std::collections::BTreeMap;

use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, RunId, Unit};
use serde::{Deserialize, Serialize};

use super::{RatePlan, RatePoint};
use crate::distribution::chi_squared_upper;
use crate::enzymes::{Rates, add_turnover, compare_laws, direct_linear, fit_weighted_rates};
use crate::fit::{Data, Determination, Fit, Options, Weighting, add_common_errors};
use crate::models::law::Law;
use crate::refusal::Refusal;
use crate::study::fit::{fuller_law, tell};
use crate::study::spectrum::as_settings;
use crate::study::{
    BY, PlotData, Six, TraceResult, allow_for_scale, curve_of, levels_of, stretch_of_law, told, unit_in_terms,
};

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

/// Puts what the blanks may be wrong into the errors of the parameters, and says how much of these it is.
fn tell_common(
    found: &mut Fit,
    columns: &[&[f64]],
    weights: RateWeights,
    own: Option<&[f64]>,
    common: &[Vec<f64>],
    outcome: &mut Outcome,
) {
    let Some(law) = Law::named(&found.model).filter(|_| !common.is_empty()) else {
        return;
    };
    let counted: Option<Vec<f64>> = match weights {
        RateWeights::Equal => None,
        RateWeights::Own => own.map(|own| own.iter().map(|error| 1.0 / (error * error)).collect()),
        RateWeights::Relative => Some(
            found
                .fitted
                .iter()
                .map(|v| 1.0 / (v * v).max(f64::MIN_POSITIVE))
                .collect(),
        ),
    };
    let Some(shares) = add_common_errors(law, columns, counted.as_deref(), common, found) else {
        return;
    };
    let mut words = Vec::new();
    for (parameter, share) in found.parameters.iter().zip(shares) {
        outcome
            .statistics
            .insert(format!("variance_by_the_blank {}", parameter.name), share);
        words.push(format!("{} {:.0} %", parameter.name, 100.0 * share));
    }
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        format!(
            "the rates have {} in common, whose error moves them all one way; it is in the errors above (part of the variance: {})",
            if common.len() == 1 { "one blank".to_owned() } else { format!("{} blanks", common.len()) },
            words.join(", ")
        ),
    ));
}

#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
fn series(
    plan: &SeriesPlan,
    points: &[RatePoint],
    outcome: &mut Outcome,
    ranked: &mut Vec<(String, f64, f64)>,
    verdict: &mut Option<String>,
) -> Result<PlotData, Refusal> {
    let law = plan.law.as_str();
    let unsuitable = |why: String| Refusal::Unsuitable { why };
    let first = points.first().ok_or_else(|| {
        unsuitable(
            "there is no rate at a known concentration: a law needs traces that have both a rate and a substrate concentration"
                .into(),
        )
    })?;
    let (x_unit, y_unit) = (first.substrate.1.clone(), first.rate.2.clone());
    let level_unit = first
        .inhibitor
        .as_ref()
        .map_or(Unit::ONE, |(_, unit)| unit.clone());
    let column = |what: &str, wanted: &Unit, of: &dyn Fn(&RatePoint) -> Option<(f64, Unit)>| {
        points
            .iter()
            .map(|point| {
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
            })
            .collect::<Result<Vec<f64>, Refusal>>()
    };
    let substrate = column("substrate concentration", &x_unit, &|point| {
        Some(point.substrate.clone())
    })?;
    let rate = column("rate", &y_unit, &|point| {
        Some((point.rate.0, point.rate.2.clone()))
    })?;
    if rate.iter().all(|rate| *rate <= 0.0) {
        return Err(unsuitable(
            "no rate lies above zero, and the laws are of rates of formation; where the signal is of what is used up, say so \
             (--consumed)"
                .into(),
        ));
    }
    let inhibited = points.iter().any(|point| point.inhibitor.is_some());
    let needs_inhibitor = plan.compare && inhibited
        || !plan.compare && Law::named(law).is_some_and(|law| law.variables.contains(&"I"));
    let inhibitor = if needs_inhibitor {
        Some(column("inhibitor concentration", &level_unit, &|point| {
            point.inhibitor.clone()
        })?)
    } else {
        let mut levels: Vec<f64> = points
            .iter()
            .filter_map(|point| Some(point.inhibitor.as_ref()?.0))
            .collect();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        if levels.len() > 1 {
            return Err(unsuitable(format!(
                "the rates were taken at {} concentrations of an inhibitor or another second substance, which {law} knows nothing of",
                levels.len()
            )));
        }
        None
    };
    for (key, value) in &first.conditions {
        let other = points.iter().find(|point| {
            let same = point.conditions.iter().find(|(known, _)| known == key);
            same.is_none_or(|(_, other)| (other - value).abs() > 1e-9 * value.abs())
        });
        if let Some(other) = other {
            return Err(unsuitable(format!(
                "`{}` and `{}` were not taken at one {key}, which {law} knows nothing of; choose runs or traces that were",
                first.label, other.label
            )));
        }
    }
    let rates = Rates {
        substrate: &substrate,
        inhibitor: inhibitor.as_deref(),
        rate: &rate,
    };
    let options = Options {
        level: plan.level,
        profile: plan.profile,
        ..Options::default()
    };
    let own: Option<Vec<f64>> = points
        .iter()
        .map(|point| {
            let error = point.rate.1.filter(|error| *error > 0.0)?;
            point.rate.2.convert(error, &y_unit).ok()
        })
        .collect();
    // What the rates do not have in common.
    let common = common_blanks(points, &y_unit);
    let alone: Option<Vec<f64>> = own.as_ref().map(|own| {
        let shared = |i: usize| common.iter().map(|shift| shift[i] * shift[i]).sum::<f64>();
        own.iter()
            .enumerate()
            .map(|(i, error)| (error * error - shared(i)).max(1e-6 * error * error).sqrt())
            .collect()
    });
    let reciprocals: Vec<f64>;
    let weighting = match (plan.weights, &alone) {
        (RateWeights::Equal, _) => Weighting::Equal,
        (RateWeights::Relative, _) => Weighting::Relative,
        (RateWeights::Own, Some(alone)) => {
            reciprocals = alone.iter().map(|error| 1.0 / (error * error)).collect();
            Weighting::Weights(&reciprocals)
        }
        (RateWeights::Own, None) => {
            return Err(unsuitable(
                "a rate has no error of its own, so that they cannot be weighted by them".into(),
            ));
        }
    };
    let mut found: Fit = if plan.compare {
        let laws: &[&str] = if inhibited {
            &["competitive", "uncompetitive", "noncompetitive", "mixed"]
        } else {
            &["michaelis-menten", "hill", "substrate-inhibition"]
        };
        let comparison = compare_laws(laws, &rates, weighting, &options)?;
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
        fit_weighted_rates(law, &rates, weighting, &options)?
    };
    if let Some(alone) = &alone {
        against_own_errors(&found, alone, &common, outcome);
    }
    let columns: Vec<&[f64]> = [Some(substrate.as_slice()), inhibitor.as_deref()]
        .into_iter()
        .flatten()
        .collect();
    tell_common(
        &mut found,
        &columns,
        plan.weights,
        alone.as_deref(),
        &common,
        outcome,
    );
    if let Some(enzyme) = plan.enzyme_mol_per_litre {
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
            Some(scale) => add_turnover(&mut found, enzyme / scale)?,
            None => outcome.remarks.push(Diagnostic::warning(
                Code::new("fit-remark"),
                format!(
                    "no kcat: the rates are in {}, and {} per time is needed; give the absorption coefficient",
                    y_unit.display(),
                    per_time.display()
                ),
            )),
        }
    }
    let unit = |of: &str, name: &str| match (of, name) {
        ("y/x", "Vmax") => Some(y_unit.clone()),
        (_, "kcat") => time_of(&y_unit).and_then(|time| Unit::ucum(&format!("/{}", time.code())).ok()),
        (_, "kcat/Km") => {
            time_of(&y_unit).and_then(|time| unit_in_terms("1/(y x)", &time, &x_unit, &level_unit))
        }
        _ => unit_in_terms(of, &x_unit, &y_unit, &level_unit),
    };
    tell(outcome, &found, &unit);
    let rates = &plan.initial_rates;
    allow_for_scale(
        outcome,
        found.units(),
        rates.scale_error.filter(|_| rates.concentration),
    );
    if !plan.compare
        && let Some(law) = Law::named(law)
    {
        let data = Data {
            x: &columns,
            y: &rate,
            weighting,
        };
        outcome.remarks.extend(fuller_law(law, &data, &options, &found));
    }
    if outcome.model == "michaelis-menten"
        && let Ok(second) = direct_linear(&substrate, &rate)
    {
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
        if let (Some(km), Some(vmax), true) = (second.km, second.vmax, determined) {
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
    }
    let levels = Law::named(&outcome.model)
        .zip(inhibitor.as_ref())
        .map_or_else(Vec::new, |(law, inhibitor)| {
            levels_of(law, &found.values(), &substrate, inhibitor, &level_unit)
        });
    Ok(PlotData {
        levels,
        curve: Some(Law::named(&outcome.model).map_or_else(Vec::new, |law| {
            curve_of(law, &found.values(), &stretch_of_law(law, &found, &substrate))
        })),
        bars: own
            .iter()
            .flatten()
            .enumerate()
            .map(|(i, error)| (substrate[i], rate[i] - error, rate[i] + error))
            .collect(),
        x_title: format!("concentration / {}", x_unit.display()),
        y_title: format!("rate / {}", y_unit.display()),
        used: (0..substrate.len()).collect(),
        x: substrate,
        y: rate,
        fitted: found.fitted,
        residuals: found.residuals,
        ..PlotData::default()
    })
}
