//! Which of several models the data prefer, and whether they can tell them apart.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::Fit;
use crate::distribution::f_upper;
use crate::refusal::Refusal;

/// Akaike's criterion, its form for small samples, and the Bayesian criterion `(AIC, AICc, BIC)`, for normal errors of
/// unknown size: `n ln 2π + n ln(RSS/n) + n - Σ ln w + 2K`, where `K` counts the free parameters and the variance.
///
/// AICc is after Hurvich and Tsai (Biometrika 76, 297, 1989). None where the sum of squares is zero or there are
/// fewer than `K + 2` points.
pub fn information(
    points: usize,
    free_parameters: usize,
    residual_sum_of_squares: f64,
    weights: Option<&[f64]>,
) -> Option<(f64, f64, f64)> {
    let (n, k) = (points as f64, free_parameters as f64 + 1.0);
    if residual_sum_of_squares <= 0.0 || !residual_sum_of_squares.is_finite() || n - k - 1.0 <= 0.0 {
        return None;
    }
    let weights: f64 = weights.map_or(0.0, |w| w.iter().map(|v| v.ln()).sum());
    let fit = n * (2.0 * std::f64::consts::PI).ln() + n * (residual_sum_of_squares / n).ln() + n - weights;
    let aic = fit + 2.0 * k;
    Some((aic, aic + 2.0 * k * (k + 1.0) / (n - k - 1.0), fit + k * n.ln()))
}

/// F test of a model against a fuller one that contains it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FTest {
    /// The F ratio.
    pub f: f64,
    /// Parameters that the fuller model has more.
    pub df1: usize,
    /// Degrees of freedom of the fuller model.
    pub df2: usize,
    /// Probability of so large a ratio if the simpler model is right.
    pub probability: f64,
}

/// F test of `simple` against `full`, which must contain it as a special case and be fitted to the same points.
///
/// # Errors
/// [`Refusal::Unsuitable`] where the fits are not of the same points or `full` has no more parameters.
pub fn f_test(simple: &Fit, full: &Fit) -> Result<FTest, Refusal> {
    if simple.points != full.points || simple.degrees_of_freedom <= full.degrees_of_freedom {
        return Err(Refusal::Unsuitable {
            why: format!(
                "an F test needs two fits of the same points, the fuller one with more parameters; {} has {} points \
                 and {} degrees of freedom, {} has {} and {}",
                simple.model,
                simple.points,
                simple.degrees_of_freedom,
                full.model,
                full.points,
                full.degrees_of_freedom
            ),
        });
    }
    let df1 = simple.degrees_of_freedom - full.degrees_of_freedom;
    let df2 = full.degrees_of_freedom;
    let gained = (simple.residual_sum_of_squares - full.residual_sum_of_squares).max(0.0);
    if full.residual_sum_of_squares <= 0.0 {
        return Err(Refusal::Unsuitable {
            why: "the fuller model leaves no residuals to compare with".into(),
        });
    }
    let f = (gained / df1 as f64) / (full.residual_sum_of_squares / df2 as f64);
    Ok(FTest {
        f,
        df1,
        df2,
        probability: f_upper(f, df1 as f64, df2 as f64),
    })
}

/// A place in a comparison.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ranked {
    /// Position in the list handed in.
    pub index: usize,
    /// Name of the model.
    pub model: Cow<'static, str>,
    /// AICc.
    pub aicc: f64,
    /// AICc less the smallest one.
    pub difference: f64,
    /// Akaike weight: the share of belief among the models compared.
    pub weight: f64,
}

/// The outcome of a comparison.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LawChoice {
    /// Best first.
    pub ranking: Vec<Ranked>,
    /// Positions (in the list handed in) of the models that the data do not tell from the best one.
    pub not_told_apart: Vec<usize>,
    /// What this means, in words.
    pub verdict: String,
}

/// Differences of AICc below this leave two models on a level. A rule of thumb in common use (Burnham and Anderson,
/// Model Selection and Multimodel Inference, 2002, section 2.6), no test.
const LEVEL: f64 = 4.0;

/// Ranks fits of the same points by AICc.
///
/// # Errors
/// [`Refusal::Unsuitable`] with fewer than two fits, unequal points, or a fit without AICc.
pub fn compare(fits: &[&Fit]) -> Result<LawChoice, Refusal> {
    let Some(first) = fits.first().filter(|_| fits.len() > 1) else {
        return Err(Refusal::Unsuitable {
            why: "a comparison needs two laws or more, named one behind the other with commas (--model first-order,second-order)".into(),
        });
    };
    let mut ranking = Vec::with_capacity(fits.len());
    for (index, fit) in fits.iter().enumerate() {
        if fit.points != first.points {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "{} was fitted to {} points and {} to {}; only fits of the same points compare",
                    first.model, first.points, fit.model, fit.points
                ),
            });
        }
        let Some(aicc) = fit.aicc else {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "{} leaves too few points, or no residuals, for a comparison",
                    fit.model
                ),
            });
        };
        ranking.push(Ranked {
            index,
            model: fit.model.clone(),
            aicc,
            difference: 0.0,
            weight: 0.0,
        });
    }
    ranking.sort_by(|a, b| a.aicc.total_cmp(&b.aicc).then(a.index.cmp(&b.index)));
    let best = ranking[0].aicc;
    let total: f64 = ranking.iter().map(|r| (-0.5 * (r.aicc - best)).exp()).sum();
    for r in &mut ranking {
        r.difference = r.aicc - best;
        r.weight = (-0.5 * r.difference).exp() / total;
    }
    let not_told_apart: Vec<usize> = ranking[1..]
        .iter()
        .filter(|r| r.difference < LEVEL)
        .map(|r| r.index)
        .collect();
    let verdict = if not_told_apart.is_empty() {
        format!(
            "the data prefer {} (next: {}, AICc higher by {:.1})",
            ranking[0].model, ranking[1].model, ranking[1].difference
        )
    } else {
        let others: Vec<&str> = ranking[1..]
            .iter()
            .filter(|r| r.difference < LEVEL)
            .map(|r| r.model.as_ref())
            .collect();
        format!(
            "the data do not distinguish {} from {}: the AICc differ by less than {LEVEL}",
            ranking[0].model,
            others.join(", ")
        )
    };
    Ok(LawChoice {
        ranking,
        not_told_apart,
        verdict,
    })
}
