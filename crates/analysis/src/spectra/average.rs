use serde::Serialize;

use super::blank::partners;
use super::{Curve, Grids, SpectrumRefusal, resample};
use crate::refusal::Refusal;

/// The mean of replicate curves with the spread at each point.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Average {
    /// The mean, on the x values of the first replicate.
    pub mean: Curve,
    /// Standard deviation of the replicates at each point (n - 1 in the denominator).
    pub standard_deviation: Vec<f64>,
    /// Count of replicates.
    pub replicates: usize,
    /// Those (from 0) that were interpolated at the x values of the first. Their noise is smaller than it was measured, and
    /// so is the spread.
    pub resampled: Vec<usize>,
}

impl Average {
    /// Standard error of the mean at each point, s / √n.
    pub fn standard_error(&self) -> Vec<f64> {
        let root = (self.replicates as f64).sqrt();
        self.standard_deviation.iter().map(|s| s / root).collect()
    }
}

/// Averages replicates at the x values of the first. They must have the same ones (in either direction), unless `grids`
/// says how those that differ are interpolated there.
///
/// # Errors
/// `too-few-points` for fewer than two replicates, since one has no spread;
/// `unequal-lengths` and [`SpectrumRefusal::GridsDiffer`] where the x values must be the same and are not; what
/// [`resample()`] refuses where they need not.
pub fn average(replicates: &[Curve], grids: Grids) -> Result<Average, SpectrumRefusal> {
    let [first, rest @ ..] = replicates else {
        return Err(SpectrumRefusal::too_few("replicates", 0, 2));
    };
    if rest.is_empty() {
        return Err(SpectrumRefusal::too_few("replicates", 1, 2));
    }
    let mut columns = vec![first.y().to_vec()];
    let mut resampled = Vec::new();
    for (i, other) in (1..).zip(rest) {
        let same = if other.len() == first.len() {
            partners(first, other)
        } else {
            let unequal = Refusal::UnequalLengths {
                what: format!("replicate {}", i + 1),
                found: other.len(),
                expected: first.len(),
            };
            Err(unequal.into())
        };
        columns.push(match (same, grids) {
            (Ok(values), _) => values,
            (Err(refusal), Grids::MustMatch) => return Err(refusal),
            (Err(_), Grids::Resample(how)) => {
                resampled.push(i);
                resample(other, first.x(), how)?.y().to_vec()
            }
        });
    }
    let n = columns.len() as f64;
    let mean: Vec<f64> = (0..first.len())
        .map(|i| columns.iter().map(|c| c[i]).sum::<f64>() / n)
        .collect();
    let standard_deviation = (0..first.len())
        .map(|i| (columns.iter().map(|c| (c[i] - mean[i]).powi(2)).sum::<f64>() / (n - 1.0)).sqrt())
        .collect();
    Ok(Average {
        mean: first.with_y(mean)?,
        standard_deviation,
        replicates: columns.len(),
        resampled,
    })
}
