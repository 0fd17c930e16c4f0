//! Wavelengths at which the absorbance stays while the spectrum changes.

use serde::{Deserialize, Serialize};

use super::{Scans, judge};
use crate::linear::singular_values;
use crate::refusal::Refusal;

/// An isosbestic point.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Isosbestic {
    /// Wavelength, where the main change of the spectrum crosses zero.
    pub wavelength: f64,
    /// Standard error of the wavelength, from the scatter of the single scans' crossings.
    pub standard_error: f64,
    /// Mean absorbance there.
    pub absorbance: f64,
    /// Standard deviation over the scans there.
    pub spread: f64,
}

/// What was found, and what was not.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IsosbesticSearch {
    /// The points, in the order of the wavelengths.
    pub points: Vec<Isosbestic>,
    /// Crossings at which the absorbance does *not* stay within the noise, so that more than two species (or a drift)
    /// are at work: wavelength and standard deviation over the scans.
    pub rejected: Vec<(f64, f64)>,
    /// Noise of a single reading, from the singular values that do not stand out (see [`super::rank`]).
    pub noise: f64,
    /// The outcome in words.
    pub verdict: String,
}

/// What is said of scans that differ by noise alone.
const NO_CHANGE: &str = "no change is seen: what the scans differ by is no more than their noise, so that nothing reacts and nothing crosses";

/// Refuses scans that differ by noise alone. `shifted`: each may lie higher or lower as a whole.
///
/// # Errors
/// Bad data as named there; [`Refusal::Unsuitable`] where no change is seen.
pub fn refuse_no_change(scans: &Scans<'_>, shifted: bool) -> Result<(), Refusal> {
    scans.check()?;
    let (n, m) = (scans.times.len(), scans.wavelengths.len());
    if n < 4 {
        return Ok(());
    }
    let mean: Vec<f64> = (0..m)
        .map(|j| scans.absorbance.iter().map(|s| s[j]).sum::<f64>() / n as f64)
        .collect();
    let changes: Vec<Vec<f64>> = scans
        .absorbance
        .iter()
        .map(|s| {
            let mut change: Vec<f64> = s.iter().zip(&mean).map(|(a, b)| a - b).collect();
            if shifted {
                let shift = change.iter().sum::<f64>() / m as f64;
                change.iter_mut().for_each(|value| *value -= shift);
            }
            change
        })
        .collect();
    // With few scans the middle singular value may be one of a change; neighbours in the spectrum tell change from noise.
    let (mut own, mut beside) = (0.0, 0.0);
    for change in &changes {
        own += change.iter().map(|c| c * c).sum::<f64>();
        beside += change.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>();
    }
    if beside > 0.5 * own {
        return Ok(());
    }
    let by_scan = n <= m;
    let columns: Vec<Vec<f64>> = if by_scan {
        changes
    } else {
        (0..m).map(|j| changes.iter().map(|c| c[j]).collect()).collect()
    };
    let svd = singular_values(&columns);
    let count = if by_scan { n - 1 } else { m };
    if svd.values[0] > 0.0 && judge(&svd.values[..count], n - 1, m).rank == 0 {
        return Err(Refusal::Unsuitable {
            why: NO_CHANGE.into(),
        });
    }
    Ok(())
}

/// A crossing counts where the spread over the scans stays below this many times the noise. Common practice for a
/// three-sigma limit.
const LIMIT: f64 = 3.0;

/// Looks for isosbestic points.
///
/// The main change of the spectra is the first singular vector of the scans less their mean. Where it crosses zero the
/// absorbance should stay; whether it does is judged against the noise. Crossings where the change is nowhere near
/// (both sides below a fiftieth of its largest value) are passed over as edges of regions without absorption.
///
/// # Errors
/// Bad data as named there; fewer than four scans; [`Refusal::ConstantSignal`] where nothing changes.
pub fn isosbestic_points(scans: &Scans<'_>) -> Result<IsosbesticSearch, Refusal> {
    scans.check()?;
    let (n, m) = (scans.times.len(), scans.wavelengths.len());
    if n < 4 {
        return Err(Refusal::TooFewPoints {
            what: "scans".into(),
            found: n,
            needed: 4,
        });
    }
    refuse_no_change(scans, false)?;
    let mean: Vec<f64> = (0..m)
        .map(|j| scans.absorbance.iter().map(|s| s[j]).sum::<f64>() / n as f64)
        .collect();
    let changes: Vec<Vec<f64>> = scans
        .absorbance
        .iter()
        .map(|s| s.iter().zip(&mean).map(|(a, b)| a - b).collect())
        .collect();
    let svd = singular_values(&changes);
    if svd.values[0] <= 1e-13 * mean.iter().map(|v| v * v).sum::<f64>().sqrt() {
        return Err(Refusal::ConstantSignal { value: mean[0] });
    }
    let shape = &svd.left[0];
    // The mean has taken one degree of freedom from the scans.
    let noise = judge(&svd.values[..n - 1], n - 1, m).noise;
    let largest = shape.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    // Around a crossing the change has to reach this within a tenth of the points.
    let reach = (m / 10).max(1);
    let mut points = Vec::new();
    let mut rejected = Vec::new();
    for j in 0..m - 1 {
        if shape[j] == 0.0 && j > 0 || shape[j] * shape[j + 1] > 0.0 || shape[j] == shape[j + 1] {
            continue;
        }
        let left = shape[j.saturating_sub(reach)..=j]
            .iter()
            .fold(0.0_f64, |a, v| a.max(v.abs()));
        let right = shape[j + 1..(j + 2 + reach).min(m)]
            .iter()
            .fold(0.0_f64, |a, v| a.max(v.abs()));
        if left.min(right) < largest / 50.0 {
            continue;
        }
        let share = shape[j] / (shape[j] - shape[j + 1]);
        let step = scans.wavelengths[j + 1] - scans.wavelengths[j];
        let wavelength = scans.wavelengths[j] + share * step;
        let at = |values: &[f64]| values[j] + share * (values[j + 1] - values[j]);
        let spread = (changes.iter().map(|c| at(c) * at(c)).sum::<f64>() / (n - 1) as f64).sqrt();
        // Noise and what is left of the second shape move each scan's crossing by its change there over its slope.
        let slope = (shape[j + 1] - shape[j]) / step;
        let pull: f64 = changes
            .iter()
            .zip(&svd.right[0])
            .map(|(c, v)| at(c) * v)
            .sum::<f64>()
            / svd.values[0];
        let interpolated = (1.0 - share) * (1.0 - share) + share * share;
        let from_noise = noise * interpolated.sqrt() / svd.values[0];
        let standard_error = (pull.abs().max(from_noise) / slope.abs()).abs();
        // Interpolation halves the variance at the middle of a step.
        if spread <= LIMIT * noise * interpolated.sqrt() || spread <= 1e-12 * largest * svd.values[0] {
            points.push(Isosbestic {
                wavelength,
                standard_error,
                absorbance: at(&mean),
                spread,
            });
        } else {
            rejected.push((wavelength, spread));
        }
    }
    let verdict = match (points.len(), rejected.len()) {
        (0, 0) => "none found: the change of the spectrum has one sign throughout".into(),
        (0, r) => format!(
            "none found: at {r} crossings of the main change the absorbance still moves by more than {LIMIT} times \
             the noise, so that more than two species or a drift are at work"
        ),
        (p, 0) => format!("{p} found; the absorbance stays within {LIMIT} times the noise there"),
        (p, r) => format!(
            "{p} found; at {r} other crossings the absorbance moves by more than {LIMIT} times the noise"
        ),
    };
    Ok(IsosbesticSearch {
        points,
        rejected,
        noise,
        verdict,
    })
}
