//! One quantity from several runs: its mean, how the runs scatter, and whether their own errors explain it.

use serde::{Deserialize, Serialize};

use crate::distribution::{chi_squared_upper, t_half_width};
use crate::refusal::Refusal;
use crate::study::likely;

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
        (mean, scatter, sum, squares)
    };
    let (_, q, sum, squares) = weighted(0.0);
    let tau2 = ((q - (count - 1.0)) / (sum - squares / sum)).max(0.0);
    let (mean, scatter, sum, _) = weighted(tau2);
    let standard_error = (scatter / (count - 1.0)).max(1.0).sqrt() / sum.sqrt();
    Ok(Pooled {
        count: n,
        mean,
        standard_error,
        half_width: quantile * standard_error,
        between: tau2.sqrt(),
        homogeneity: Some((q, chi_squared_upper(q, count - 1.0))),
    })
}

impl Pooled {
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
