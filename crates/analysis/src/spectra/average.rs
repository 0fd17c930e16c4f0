use serde::Serialize;

use super::blank::partners;
use super::{Curve, SpectrumRefusal};
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
}

impl Average {
    /// Standard error of the mean at each point, s / √n.
    pub fn standard_error(&self) -> Vec<f64> {
        let root = (self.replicates as f64).sqrt();
        self.standard_deviation.iter().map(|s| s / root).collect()
    }
}

/// Averages replicates that were recorded at the same x values (in either direction).
///
/// # Errors
/// `too-few-points` for fewer than two replicates, since one has no spread;
/// `unequal-lengths` and [`SpectrumRefusal::GridsDiffer`] where the x values are not the same.
pub fn average(replicates: &[Curve]) -> Result<Average, SpectrumRefusal> {
    let [first, rest @ ..] = replicates else {
        return Err(SpectrumRefusal::too_few("replicates", 0, 2));
    };
    if rest.is_empty() {
        return Err(SpectrumRefusal::too_few("replicates", 1, 2));
    }
    let mut columns = vec![first.y().to_vec()];
    for (i, other) in rest.iter().enumerate() {
        if other.len() != first.len() {
            return Err(Refusal::UnequalLengths {
                what: format!("replicate {}", i + 2),
                found: other.len(),
                expected: first.len(),
            }
            .into());
        }
        columns.push(partners(first, other)?);
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
    })
}
