//! How much each point counts.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

/// What is known about the errors of y.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Weighting<'a> {
    /// The same error at every point, its size taken from the residuals.
    #[default]
    Equal,
    /// Known standard deviations. Parameter errors then follow from these alone and not from the residuals.
    KnownErrors(&'a [f64]),
    /// An error in proportion to the fitted value, its size taken from the residuals.
    Relative,
    /// Relative weights (reciprocal variances up to a common factor), the size taken from the residuals.
    Weights(&'a [f64]),
}

impl<'a> Weighting<'a> {
    /// How much each point counts beside the others at these fitted values; none where all count alike.
    pub fn counted(&self, fitted: &[f64]) -> Option<Cow<'a, [f64]>> {
        match *self {
            Self::Equal => None,
            Self::KnownErrors(errors) => Some(errors.iter().map(|error| 1.0 / (error * error)).collect()),
            Self::Relative => {
                // As the fit itself bounds the weight of a value of zero.
                let largest = fitted.iter().fold(0.0_f64, |all, value| all.max(value.abs()));
                let size = |value: &f64| value.abs().max(1e-6 * largest).max(f64::MIN_POSITIVE);
                Some(fitted.iter().map(|value| size(value).powi(-2)).collect())
            }
            Self::Weights(weights) => Some(Cow::Borrowed(weights)),
        }
    }
}

/// Whether points far from the curve are made to count less.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Robust {
    /// Plain least squares.
    #[default]
    No,
    /// Huber's weights with tuning constant 1.345 (95 % efficiency for normal errors; Huber, Robust Statistics, 1981).
    Huber,
    /// Tukey's biweight with tuning constant 4.685 (95 % efficiency; Holland and Welsch, Commun. Stat. A6, 813, 1977).
    Tukey,
}

/// Tuning constant of Huber's weights, in standard deviations.
pub const HUBER: f64 = 1.345;
/// Tuning constant of Tukey's biweight, in standard deviations.
pub const TUKEY: f64 = 4.685;

impl Robust {
    /// Weight of a residual of `u` robust standard deviations.
    pub(crate) fn weight(self, u: f64) -> f64 {
        match self {
            Self::No => 1.0,
            Self::Huber => (HUBER / u.abs()).min(1.0),
            Self::Tukey => {
                let v = 1.0 - (u / TUKEY) * (u / TUKEY);
                // A weight of zero would drop the point from the count; this drops it from the sum.
                if u.abs() < TUKEY {
                    (v * v).max(1e-12)
                } else {
                    1e-12
                }
            }
        }
    }
}

/// Robust standard deviation of residuals about zero: median of their absolute values over 0.6745.
pub(crate) fn robust_sd(residuals: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    sizes.sort_unstable_by(f64::total_cmp);
    let n = sizes.len();
    if n == 0 {
        return 0.0;
    }
    let median = if n % 2 == 1 {
        sizes[n / 2]
    } else {
        0.5 * (sizes[n / 2 - 1] + sizes[n / 2])
    };
    median / 0.674_489_750_196_081_7
}
