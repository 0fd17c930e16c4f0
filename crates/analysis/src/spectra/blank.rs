use serde::{Deserialize, Serialize};

use super::{Curve, Interpolation, SpectrumRefusal, resample};

/// What to do where blank and sample were not recorded at the same x values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Grids {
    /// Every x of the sample must be an x of the blank.
    MustMatch,
    /// The blank is interpolated at the sample's x values, and the result says so.
    Resample(Interpolation),
}

/// What was done to the blank before it was subtracted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlankUse {
    /// Points of the blank.
    pub points: usize,
    /// How it was interpolated; absent where every x was met exactly.
    pub resampled: Option<Interpolation>,
}

/// The sample's curve less the blank's, at the sample's x values.
///
/// Values are only subtracted, so both must be absorbances (or both the same derivative of one);
/// [`super::Chain`] checks that. Points that the blank has in addition are not used.
///
/// # Errors
/// [`SpectrumRefusal::GridsDiffer`] where an x has no partner and resampling was not asked for;
/// [`SpectrumRefusal::OutsideRange`] where the blank does not cover the sample.
pub fn subtract_blank(
    sample: &Curve,
    blank: &Curve,
    grids: Grids,
) -> Result<(Curve, BlankUse), SpectrumRefusal> {
    let (values, resampled) = match (partners(sample, blank), grids) {
        (Ok(values), _) => (values, None),
        (Err(refusal), Grids::MustMatch) => return Err(refusal),
        (Err(_), Grids::Resample(how)) => (resample(blank, sample.x(), how)?.y().to_vec(), Some(how)),
    };
    let y = sample.y().iter().zip(&values).map(|(s, b)| s - b).collect();
    Ok((
        sample.with_y(y)?,
        BlankUse {
            points: blank.len(),
            resampled,
        },
    ))
}

/// For each x of `sample` the y of `other` at the same x.
///
/// Two x values are the same where they differ by less than a millionth of the smallest step, which
/// is rounding and nothing else.
pub(super) fn partners(sample: &Curve, other: &Curve) -> Result<Vec<f64>, SpectrumRefusal> {
    let other = other.rising();
    let allowed = |x: f64| 1e-6 * sample.steps().0.min(other.steps().0) + 4.0 * f64::EPSILON * x.abs();
    let xs = other.x();
    sample
        .x()
        .iter()
        .map(|x| {
            let after = xs.partition_point(|v| v < x);
            let nearest = [after.checked_sub(1), (after < xs.len()).then_some(after)]
                .into_iter()
                .flatten()
                .min_by(|a, b| (xs[*a] - x).abs().total_cmp(&(xs[*b] - x).abs()))
                .unwrap_or(0);
            if (xs[nearest] - x).abs() <= allowed(*x) {
                Ok(other.y()[nearest])
            } else {
                Err(SpectrumRefusal::GridsDiffer {
                    x: *x,
                    nearest: xs[nearest],
                })
            }
        })
        .collect()
}
