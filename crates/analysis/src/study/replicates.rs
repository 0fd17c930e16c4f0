//! One quantity from several runs: its mean, how the runs scatter, and whether their own errors explain it.

use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, Unit};
use serde::{Deserialize, Serialize};

use super::{DRIFT_MOVES, STATED_DRIFT};
use crate::distribution::{NORMAL_95, chi_squared_upper, f_upper, t_half_width};
use crate::refusal::Refusal;
use crate::wording::{likely, with_error};

/// What is known of the effect of a drift of the signal on one number of a result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DriftEffect {
    /// A drift that the points cannot show would move the number by so much, in its unit, with its sign.
    Moves(f64),
    /// The errors allow for a steady drift of a size that a person stated, one standard deviation of which moves the number by so much,
    /// with its sign: it moves all results alike.
    Stated(f64),
    /// The errors allow for one, or the number is not of a signal over time.
    Allowed,
    /// It is not known, for this reason: such a result must not be counted as one that no drift moves.
    Unknown(&'static str),
}

impl DriftEffect {
    /// What a result says of it for one of its parameters.
    pub fn of(outcome: &Outcome, parameter: &str) -> Self {
        if let Some(moves) = outcome.statistics.get(&format!("{DRIFT_MOVES}{parameter}")) {
            return Self::Moves(*moves);
        }
        if let Some(moved) = outcome.statistics.get(&format!("{STATED_DRIFT}{parameter}")) {
            // A wandering is of each course by itself, and its own errors say all there is to say.
            let stated = outcome.settings.get("drift");
            let wanders =
                stated.is_some_and(|stated| stated.get("per").is_none_or(serde_json::Value::is_null));
            return if wanders {
                Self::Allowed
            } else {
                Self::Stated(*moved)
            };
        }
        let seen = |code: &str| outcome.remarks.iter().any(|remark| remark.code.as_str() == code);
        let says = |name: &str| outcome.settings.contains_key(name);
        match outcome.kind {
            OutcomeKind::InitialRate if says("blanks") => Self::Allowed,
            OutcomeKind::InitialRate => {
                Self::Unknown("a drift adds to a rate as it is, and only the rate of a blank takes it off")
            }
            OutcomeKind::Fit if !is_over_time(outcome) || outcome.parameter("drift").is_some() => {
                Self::Allowed
            }
            OutcomeKind::Fit if seen("drift-seen") => Self::Unknown("a drift is seen in the course itself"),
            OutcomeKind::Fit => Self::Unknown("it is not computed for such a fit"),
            _ => Self::Allowed,
        }
    }
}

/// That some of these (`which`) come from results that hold something against themselves: each by its name, with the reasons. A code
/// stands in backticks, so that it parts from a sentence.
pub(super) fn counted_all_the_same<'a>(
    which: &str,
    all: impl ExactSizeIterator<Item = (&'a str, &'a [String])>,
) -> Option<Diagnostic> {
    let of = all.len();
    let words = |what: &String| {
        if what.contains(' ') {
            what.clone()
        } else {
            format!("`{what}`")
        }
    };
    let named: Vec<String> = all
        .filter(|(_, doubts)| !doubts.is_empty())
        .map(|(name, doubts)| {
            let doubts: Vec<String> = doubts.iter().map(words).collect();
            format!("{name} ({})", doubts.join("; "))
        })
        .collect();
    (!named.is_empty()).then(|| {
        let message = format!(
            "{} of {of} {which} hold something against themselves, and count all the same: {}",
            named.len(),
            named.join(", ")
        );
        Diagnostic::warning(Code::new("results-doubtful"), message)
    })
}

/// Whether a fit has a number per time or of time: a rate constant, a half-life.
fn is_over_time(outcome: &Outcome) -> bool {
    let second = |unit: &Unit| unit.converts_to(&Unit::SECOND);
    let per_time = |unit: &Unit| {
        unit.code()
            .rsplit_once('/')
            .is_some_and(|(_, below)| Unit::ucum(below).is_ok_and(|below| second(&below)))
    };
    // A law over rates has a rate as its height, and no signal over time of its own.
    let of_rates = outcome.settings.contains_key("rates");
    let mut units = outcome.parameters.iter().filter_map(|own| own.unit.as_ref());
    !of_rates && units.any(|unit| second(unit) || per_time(unit))
}

/// What several runs say together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pooled {
    /// How many runs.
    pub count: usize,
    /// Their mean: weighted by own errors and scatter between runs together, plain where an own error is not known.
    pub mean: f64,
    /// Standard error of the mean; it counts runs, not points.
    pub standard_error: f64,
    /// Half the width of its 95 % interval (Student's t, one degree of freedom less than runs).
    pub half_width: f64,
    /// Standard deviation between runs: what the own errors do not explain of the scatter, all of it where they are not known.
    pub between: f64,
    /// Its 95 % interval: from few runs it is wide. By the Q profile (Viechtbauer, Statistics in Medicine 26, 37, 2007): the scatters
    /// between runs with which a weighted scatter as large as the one found is neither too seldom exceeded nor too often. Without own
    /// errors it is that of a standard deviation.
    #[serde(default)]
    pub between_interval: (f64, f64),
    /// How much each value counts in the mean; they come to one.
    pub weights: Vec<f64>,
    /// Cochran's Q, the weighted scatter, and the probability of so much if the runs differ by their own errors alone.
    pub homogeneity: Option<(f64, f64)>,
}

/// Pools values of runs, each with its standard error where known.
///
/// Random effects after DerSimonian and Laird (Controlled Clinical Trials 7, 177, 1986); the error of the mean after Hartung
/// and Knapp (Statistics in Medicine 20, 3875, 2001), which holds its level with few runs, but never below what the own errors
/// leave: two runs that agree by chance are no surer than that.
///
/// # Errors
/// [`Refusal::TooFewPoints`] below two values; [`Refusal::NotFinite`] for one that is none.
pub fn pool(values: &[(f64, Option<f64>)]) -> Result<Pooled, Refusal> {
    let n = values.len();
    if n < 2 {
        return Err(Refusal::TooFewPoints {
            what: "runs".into(),
            found: n,
            needed: 2,
        });
    }
    let plain: Vec<f64> = values.iter().map(|v| v.0).collect();
    crate::refusal::require_finite("the values", &plain)?;
    let count = n as f64;
    let quantile = t_half_width(0.95, count - 1.0);
    let own: Option<Vec<f64>> = values
        .iter()
        .map(|v| v.1.filter(|e| *e > 0.0 && e.is_finite()))
        .collect();
    let Some(own) = own else {
        let mean = plain.iter().sum::<f64>() / count;
        let square: f64 = plain.iter().map(|v| (v - mean) * (v - mean)).sum();
        let between = (square / (count - 1.0)).sqrt();
        let standard_error = between / count.sqrt();
        return Ok(Pooled {
            count: n,
            mean,
            standard_error,
            half_width: quantile * standard_error,
            between,
            between_interval: between_interval(square, count, |extra| square / extra),
            weights: vec![count.recip(); n],
            homogeneity: None,
        });
    };
    let weighted = |extra: f64| {
        let weights: Vec<f64> = own.iter().map(|e| 1.0 / (e * e + extra)).collect();
        let sum: f64 = weights.iter().sum();
        let mean = weights.iter().zip(&plain).map(|(w, v)| w * v).sum::<f64>() / sum;
        let scatter: f64 = weights
            .iter()
            .zip(&plain)
            .map(|(w, v)| w * (v - mean) * (v - mean))
            .sum();
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        (mean, scatter, sum, (squares, weights))
    };
    let (_, q, sum, (squares, _)) = weighted(0.0);
    let tau2 = ((q - (count - 1.0)) / (sum - squares / sum)).max(0.0);
    let (mean, scatter, sum, (_, weights)) = weighted(tau2);
    let standard_error = (scatter / (count - 1.0)).max(1.0).sqrt() / sum.sqrt();
    Ok(Pooled {
        count: n,
        mean,
        standard_error,
        half_width: quantile * standard_error,
        between: tau2.sqrt(),
        between_interval: between_interval(
            own.iter().map(|e| e * e).fold(0.0, f64::max) + plain_square(&plain),
            count,
            |extra| weighted(extra).1,
        ),
        weights: weights.into_iter().map(|weight| weight / sum).collect(),
        homogeneity: Some((q, chi_squared_upper(q, count - 1.0))),
    })
}

/// The interval of a standard deviation between runs: where the weighted scatter `q` with a variance between runs has the probabilities
/// of 2.5 % and 97.5 %. `scale`: a variance of the size in question.
fn between_interval(scale: f64, count: f64, q: impl Fn(f64) -> f64) -> (f64, f64) {
    let chance = |variance: f64| chi_squared_upper(q(variance), count - 1.0);
    let at = |wanted: f64| {
        let (mut low, mut high) = (0.0, scale);
        if scale.is_nan() || scale <= 0.0 || chance(1e-12 * scale) >= wanted {
            return 0.0;
        }
        for _ in 0..60 {
            if chance(high) >= wanted {
                break;
            }
            high *= 4.0;
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if chance(middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        high.sqrt()
    };
    (at(0.025), at(0.975))
}

/// Sum of the squares about the mean.
fn plain_square(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|value| (value - mean) * (value - mean)).sum()
}

/// What is to be said of runs of several days, several of a day among them: whether the days differ by more than the runs of a day do
/// (analysis of variance in one way). None where each day has one run, or all runs have one day. Where days are not known, that is said
/// of runs that `differ` by more than their own errors explain: several of a day then say less than as many of different days.
pub fn of_days(days: &[Option<String>], values: &[f64], differ: bool) -> Option<String> {
    let unknown = days.iter().filter(|day| day.is_none()).count();
    if unknown > 0 {
        return (differ && values.len() > 2).then(|| {
            format!(
                "the day of {unknown} of the {} runs is not known: where several runs are of one day, or of one preparation, the error of the \
                 mean, which counts runs, is too small (note the date of each run)",
                values.len()
            )
        });
    }
    let mut groups: std::collections::BTreeMap<&str, Vec<f64>> = std::collections::BTreeMap::new();
    for (day, value) in days.iter().zip(values) {
        groups.entry(day.as_deref()?).or_default().push(*value);
    }
    let (all, many) = (values.len(), groups.len());
    if many < 2 || many == all {
        return None;
    }
    let means: Vec<f64> = groups
        .values()
        .map(|own| own.iter().sum::<f64>() / own.len() as f64)
        .collect();
    let within: f64 = groups.values().map(|own| plain_square(own)).sum();
    let between = (plain_square(values) - within).max(0.0);
    let (of, against) = (many as f64 - 1.0, (all - many) as f64);
    let f = (between / of) / (within / against);
    let chance = f_upper(f, of, against);
    if !f.is_finite() || chance.is_nan() {
        return Some(format!(
            "the {all} runs are of {many} days, and whether the days differ cannot be told: the error of the mean counts runs"
        ));
    }
    let mean = means.iter().sum::<f64>() / many as f64;
    let error = (plain_square(&means) / (of * many as f64)).sqrt();
    let test = format!("F {f:.2} on {of} and {against}, probability {}", likely(chance));
    Some(if chance < 0.05 {
        format!(
            "the {all} runs are of {many} days, and the days differ by more than the runs of a day do ({test}): the error of the mean counts runs as if each were of a day of its own and is too small; the mean over days is {}",
            with_error(mean, error)
        )
    } else {
        format!(
            "the {all} runs are of {many} days, which are not told apart ({test}): the error of the mean counts runs; the mean over days is {}",
            with_error(mean, error)
        )
    })
}

/// What is left of an error without a part of it that results have in common. A part that is all of it leaves a thousandth.
pub(super) fn without_common(error: f64, common: f64) -> f64 {
    (error * error - common * common).max(1e-6 * error * error).sqrt()
}

/// Pools values whose errors hold one that moves all of them, each by so much for one standard deviation: it is taken out of their own
/// errors, and does not average out of the mean. Gives the part of the error of the mean that it is, too.
///
/// # Errors
/// As [`pool`].
pub fn pool_with_common(values: &[(f64, Option<f64>)], moved: &[f64]) -> Result<(Pooled, f64), Refusal> {
    let alone: Vec<(f64, Option<f64>)> = values
        .iter()
        .zip(moved)
        .map(|((value, error), moved)| (*value, error.map(|error| without_common(error, *moved))))
        .collect();
    let mut pooled = pool(&alone)?;
    let common = pooled.mean_of(moved.iter().copied().map(Some)).unwrap_or(0.0);
    pooled.standard_error = pooled.standard_error.hypot(common);
    // Its size is known, so that its quantile is the normal one.
    pooled.half_width = pooled.half_width.hypot(NORMAL_95 * common);
    Ok((pooled, common.abs()))
}

impl Pooled {
    /// The mean of something else of the same results, each as much as its value counts; those of which it is not known count nothing.
    pub fn mean_of(&self, all: impl Iterator<Item = Option<f64>>) -> Option<f64> {
        let known = self
            .weights
            .iter()
            .zip(all)
            .filter_map(|(weight, own)| Some((weight, own?)));
        let (sum, of) = known.fold((0.0, 0.0), |(sum, of), (weight, own)| {
            (sum + weight, of + weight * own)
        });
        (sum > 0.0).then(|| of / sum)
    }

    /// Whether the runs differ by more than their own errors explain, at 5 %; where these are not known, that is not excluded.
    pub fn differ(&self) -> bool {
        self.homogeneity.is_none_or(|(_, chance)| chance < 0.05)
    }

    /// Whether the runs agree within their own errors, in words.
    pub fn words(&self) -> String {
        let runs = self.count;
        match self.homogeneity {
            None => format!(
                "{runs} runs, not all with an error of their own: the error of the mean is from their scatter"
            ),
            Some((q, chance)) if chance < 0.05 => format!(
                "the {runs} runs differ by more than their own errors explain (homogeneity: chi-squared {q:.2} on {}, probability \
                 {}): something varies from run to run, and the error of the mean counts runs, not points",
                runs - 1,
                likely(chance)
            ),
            Some((q, chance)) => format!(
                "the {runs} runs agree within their own errors (homogeneity: chi-squared {q:.2} on {}, probability {chance:.2})",
                runs - 1
            ),
        }
    }
}
