use serde::{Deserialize, Serialize};

use super::polynomial::Polynomial;
use super::{Curve, SpectrumRefusal};

/// Noise and drift of a stretch that ought to be flat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Degree of the polynomial that was taken away first.
    pub detrended_by_degree: usize,
    /// Standard deviation of what is left (residuals over their degrees of freedom): rms noise.
    pub rms: f64,
    /// Highest less lowest of what is left.
    pub peak_to_peak: f64,
    /// Slope of the straight line through all points, in y per unit of x: drift.
    pub drift: f64,
    /// Standard error of the drift for independent noise.
    pub drift_error: f64,
    /// Correlation of neighbouring residuals. Far from 0 means that the noise is not independent
    /// and that `drift_error` is too small.
    pub neighbour_correlation: f64,
    /// Count of points.
    pub points: usize,
}

/// Noise after a polynomial of this degree (0 to 2) is taken away, and the drift.
///
/// # Errors
/// [`SpectrumRefusal::BadSetting`] for a degree above 2; `too-few-points` for fewer than ten points,
/// from which no noise can be told; `constant-signal` where all values are equal, which is a closed
/// shutter or a rounded export and not a quiet instrument.
pub fn noise(curve: &Curve, degree: usize) -> Result<Noise, SpectrumRefusal> {
    if degree > 2 {
        return Err(SpectrumRefusal::setting("degree", degree, "0, 1 or 2"));
    }
    let (x, y) = (curve.x(), curve.y());
    if y.len() < 10 {
        return Err(SpectrumRefusal::too_few("points for noise", y.len(), 10));
    }
    refuse_constant(y)?;
    let open = || SpectrumRefusal::undetermined("the noise", "the points are too close together in x");
    let trend = Polynomial::fit(x, y, degree).ok_or_else(open)?;
    let line = Polynomial::fit(x, y, 1).ok_or_else(open)?;
    let rest: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - trend.at(*x, 0)).collect();
    let (low, high) = rest.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
        (l.min(*v), h.max(*v))
    });
    let own: f64 = rest.iter().map(|r| r * r).sum();
    let neighbours: f64 = rest.windows(2).map(|p| p[0] * p[1]).sum();
    let (Some(rms), Some(sd)) = (trend.residual_sd(), line.residual_sd()) else {
        return Err(open());
    };
    Ok(Noise {
        detrended_by_degree: degree,
        rms,
        peak_to_peak: high - low,
        drift: line.at(x[0], 1),
        drift_error: sd * line.variance_at(x[0], 1).sqrt(),
        neighbour_correlation: if own > 0.0 { neighbours / own } else { 0.0 },
        points: y.len(),
    })
}

/// Standard deviation of independent noise from second differences of neighbours:
/// median |y₋ - 2y + y₊| / (0.67449 · √6).
///
/// Common practice for a curve that is smooth from point to point: a straight piece of signal drops
/// out, and the median leaves the few points on sharp peaks aside. For white noise the differences
/// have the variance 6σ², and 0.67449 is the normal quantile of 3/4. Noise that was smoothed before
/// it was recorded is underestimated. Where most differences are lost in rounding, the noise is that of
/// the rounding: the smallest step between neighbours over √12 (a uniform distribution).
///
/// # Errors
/// `too-few-points` for fewer than ten points, `constant-signal`.
pub fn point_noise(y: &[f64]) -> Result<f64, SpectrumRefusal> {
    crate::refusal::require_finite("y", y)?;
    if y.len() < 10 {
        return Err(SpectrumRefusal::too_few("points for noise", y.len(), 10));
    }
    refuse_constant(y)?;
    let mut differences: Vec<f64> = y.windows(3).map(|p| (p[0] - 2.0 * p[1] + p[2]).abs()).collect();
    differences.sort_by(f64::total_cmp);
    let half = differences.len() / 2;
    let median = if differences.len().is_multiple_of(2) {
        (differences[half - 1] + differences[half]) / 2.0
    } else {
        differences[half]
    };
    let smallest_step = y
        .windows(2)
        .map(|p| (p[1] - p[0]).abs())
        .filter(|d| *d > 0.0)
        .fold(f64::INFINITY, f64::min);
    Ok((median / (0.674_489_750_196_081_7 * 6f64.sqrt())).max(smallest_step / 12f64.sqrt()))
}

fn refuse_constant(y: &[f64]) -> Result<(), SpectrumRefusal> {
    if y.iter().all(|v| *v == y[0]) {
        return Err(crate::refusal::Refusal::ConstantSignal { value: y[0] }.into());
    }
    Ok(())
}
