//! Errors of a fit in which far points count less.
//!
//! The errors of the last weighted least squares are too small, even without outliers: weights that shrink the residuals
//! shrink the variance that is taken from them. The variance of an M-estimate (Huber, Robust Statistics, 1981, sections
//! 7.6 and 7.10) is `K² Σψ²/(n-p) / (mean ψ')² (JᵀJ)⁻¹` with `K = 1 + p/n var(ψ')/(mean ψ')²`.

use super::weighting::robust_sd;
use super::{Fit, HUBER, Robust, TUKEY};

/// How many times as large the errors are as those of the last weighted fit would be with unit weights and a residual
/// standard deviation of one: the standard deviation that stands for `s` in `s² (JᵀJ)⁻¹`.
pub(super) fn deviation(robust: Robust, scaled: &[f64], parameters: usize) -> Option<f64> {
    let sd = robust_sd(scaled);
    let n = scaled.len() as f64;
    if sd.is_nan() || sd <= 0.0 || scaled.len() <= parameters {
        return None;
    }
    let (mut square, mut slope, mut slopes) = (0.0, 0.0, 0.0);
    for residual in scaled {
        let u = residual / sd;
        let (psi, by) = match robust {
            Robust::No => (u, 1.0),
            Robust::Huber => (u.clamp(-HUBER, HUBER), f64::from(u8::from(u.abs() < HUBER))),
            Robust::Tukey => {
                let v = 1.0 - (u / TUKEY) * (u / TUKEY);
                if v > 0.0 {
                    (u * v * v, v * (1.0 - 5.0 * (u / TUKEY) * (u / TUKEY)))
                } else {
                    (0.0, 0.0)
                }
            }
        };
        square += psi * psi;
        slope += by;
        slopes += by * by;
    }
    let mean = slope / n;
    let spread = (slopes / n - mean * mean).max(0.0);
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let correction = 1.0 + parameters as f64 / n * spread / (mean * mean);
    Some(sd * correction * (square / (n - parameters as f64)).sqrt() / mean)
}

/// Puts the errors of an M-estimate in the place of those of the last weighted fit. `unweighted` are the errors for unit
/// weights and unit deviation, by position.
pub(super) fn put_errors(fit: &mut Fit, deviation: f64, unweighted: &[Option<f64>], covariance: Vec<f64>) {
    let p = fit.parameters.len();
    let half = super::finish::half_width(fit.level, fit.degrees_of_freedom as f64, false);
    for (parameter, unit) in fit.parameters.iter_mut().zip(unweighted) {
        if let Some(unit) = unit {
            let error = unit * deviation;
            parameter.standard_error = Some(error);
            parameter.interval = Some(super::finish::around(parameter.value, half * error));
        }
    }
    if covariance.len() == p * p {
        fit.covariance = Some(
            covariance
                .into_iter()
                .map(|c| c * deviation * deviation)
                .collect(),
        );
    }
}
