use serde::{Deserialize, Serialize};

use super::peaks::tops;
use super::{
    Curve, Extreme, PeakOptions, SavitzkyGolay, SpectrumRefusal, Threshold, Uneven, find_peaks, point_noise,
};

/// A band that shows only as a bend on another's flank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Shoulder {
    /// Where the second derivative is lowest.
    pub x: f64,
    /// y of the recorded point nearest to it.
    pub y: f64,
    /// The second derivative there, in y per x².
    pub second_derivative: f64,
}

/// Finds shoulders: minima below zero of the second derivative that belong to no peak of the curve.
///
/// Common practice; the position depends on the filter, and lies between that of the hidden band
/// and its neighbour's flank. `depth` says from which prominence on a minimum of the second
/// derivative counts, in y per x² or in multiples of its noise (that of the points times the noise
/// gain of the filter).
///
/// # Errors
/// Those of [`SavitzkyGolay::apply`] and [`find_peaks`].
pub fn find_shoulders(
    curve: &Curve,
    window: usize,
    order: usize,
    depth: Threshold,
) -> Result<Vec<Shoulder>, SpectrumRefusal> {
    let filter = SavitzkyGolay {
        window,
        order,
        derivative: 2,
        uneven: Uneven::Fit,
    };
    let filtered = filter.apply(curve)?;
    let second = filtered.curve;
    // Neighbouring points of the derivative are correlated, so its own differences would make its
    // noise look far smaller than it is.
    let depth = match depth {
        Threshold::Noise(k) => k * filtered.noise_gain * point_noise(curve.y())?,
        Threshold::Absolute(depth) => depth,
    };
    let smooth = SavitzkyGolay {
        derivative: 0,
        ..filter
    }
    .apply(curve)?
    .curve;
    let options = PeakOptions {
        extreme: Extreme::Minimum,
        min_prominence: Threshold::Absolute(depth),
        ..PeakOptions::default()
    };
    let half = window / 2;
    let tops = tops(smooth.y(), smooth.breaks());
    let found = find_peaks(&second, &options)?;
    Ok(found
        .peaks
        .iter()
        .filter(|p| p.sampled_y < 0.0 && p.index >= half && p.index + half < curve.len())
        .filter(|p| {
            tops.iter()
                .all(|(first, last)| p.index + half < *first || *last + half < p.index)
        })
        .map(|p| Shoulder {
            x: p.apex.x(),
            y: curve.y()[p.index],
            second_derivative: p.apex.height(),
        })
        .collect())
}
