//! How parameters that runs share scatter between them, and what that does to the errors.

use crate::distribution::t_half_width;
use crate::fit::solver::solved;
use crate::fit::{FitInterval, SharedFit};
use crate::models::Model;
use crate::study::replicates::{Pooled, pool};

/// Below this probability the runs are taken to differ by more than their own errors. Common practice.
pub(super) const DIFFER: f64 = 0.05;

/// What the runs by themselves say of each shared parameter. Where they differ by more than their own errors, the error of the
/// shared value is made to count runs, not points.
pub(super) fn pooled(
    model: &dyn Model,
    share: &[usize],
    shared: &mut SharedFit,
    level: f64,
) -> (Vec<(String, Pooled)>, bool) {
    let mut all = Vec::new();
    let plain = shared.fit.covariance.clone();
    let mut scattering = Vec::new();
    for (place, j) in share.iter().enumerate() {
        let own: Vec<(f64, Option<f64>)> = shared
            .alone
            .iter()
            .filter_map(|fit| {
                let p = &fit.as_ref().ok()?.parameters[*j];
                p.standard_error.map(|error| (p.value, Some(error)))
            })
            .collect();
        if own.len() < shared.alone.len() {
            continue;
        }
        let Ok(found) = pool(&own) else { continue };
        let differ = found.homogeneity.is_some_and(|(_, chance)| chance < DIFFER);
        // Shared parameters stand first, in the order of the model.
        let place = share.iter().filter(|other| **other < share[place]).count();
        let weights = weights_of_points(&own);
        // The fit of all weighs by points, and not as the mean over runs does: its own error is the larger one.
        let by_points = weights
            .iter()
            .zip(&own)
            .map(|(weight, own)| weight * weight * (own.1.unwrap_or(0.0).powi(2) + found.between.powi(2)))
            .sum::<f64>()
            .sqrt();
        let over_runs = found.standard_error.max(by_points);
        if differ && found.between > 0.0 {
            scattering.push(Scattering {
                place,
                between: found.between,
                weights,
            });
        }
        let parameter = &mut shared.fit.parameters[place];
        if differ && let Some(error) = parameter.standard_error.filter(|error| *error < over_runs) {
            let half = t_half_width(level, found.count as f64 - 1.0) * over_runs;
            parameter.standard_error = Some(over_runs);
            parameter.interval = Some(FitInterval {
                lower: Some(parameter.value - half),
                upper: Some(parameter.value + half),
            });
            let factor = over_runs / error;
            if let Some(covariance) = &mut shared.fit.covariance {
                let size = shared.fit.parameters.len();
                for other in 0..size {
                    covariance[place * size + other] *= factor;
                    covariance[other * size + place] *= factor;
                }
            }
            for derived in &mut shared.fit.derived {
                if derived.follows_from == [place] {
                    derived.standard_error = derived.standard_error.map(|error| error * factor);
                    let half = derived
                        .standard_error
                        .map(|error| t_half_width(level, found.count as f64 - 1.0) * error);
                    derived.interval = half.map(|half| FitInterval {
                        lower: Some(derived.value - half),
                        upper: Some(derived.value + half),
                    });
                }
            }
        }
        all.push((model.parameters()[*j].name.to_string(), found));
    }
    let widened = plain.is_some_and(|plain| widen_own(shared, &plain, share.len(), &scattering, level));
    (all, widened)
}

/// How a shared parameter scatters between the runs.
struct Scattering {
    /// Where it stands among the parameters.
    place: usize,
    /// Standard deviation between runs.
    between: f64,
    /// How much each run counts in the fit of all.
    weights: Vec<f64>,
}

/// How much each run counts in a fit of all points: by the inverse square of its own error.
fn weights_of_points(own: &[(f64, Option<f64>)]) -> Vec<f64> {
    let plain: Vec<f64> = own
        .iter()
        .map(|own| {
            own.1
                .filter(|error| *error > 0.0)
                .map_or(0.0, |error| error.powi(-2))
        })
        .collect();
    let sum: f64 = plain.iter().sum();
    plain.into_iter().map(|weight| weight / sum).collect()
}

/// Lets the errors of the runs' own parameters know that the shared ones scatter from run to run; says whether they do.
///
/// An own parameter holds for the common value `k̂`, but its run has one of its own, `kᵢ`. While `k` moves, it moves by
/// `β = cov(a, k)/var(k)` of the fit of all, so that it is off by `β (k̂ - kᵢ)` beside what the points say. With a scatter `τ` between
/// runs that count `w` in the fit of all the variance of `k̂ - kᵢ` is `τ² (1 - 2 wᵢ + Σ w²)`: the value of the run stands in the mean,
/// too. Of several shared parameters each is taken by itself, with the `β` of all of them together. Degrees of freedom after Welch and
/// Satterthwaite.
fn widen_own(
    shared: &mut SharedFit,
    plain: &[f64],
    first_own: usize,
    scattering: &[Scattering],
    level: f64,
) -> bool {
    let fit = &mut shared.fit;
    let size = fit.parameters.len();
    if scattering.is_empty() || plain.len() != size * size {
        return false;
    }
    // Held ones have no error, and nothing moves along with them.
    let moving: Vec<usize> = (0..first_own).filter(|j| plain[j * size + j] > 0.0).collect();
    let slopes: Vec<Vec<f64>> = (first_own..size)
        .map(|own| {
            let right: Vec<f64> = moving.iter().map(|j| plain[own * size + j]).collect();
            let mut columns: Vec<f64> = moving
                .iter()
                .flat_map(|b| moving.iter().map(move |a| plain[a * size + b]))
                .collect();
            solved(&mut columns, right).unwrap_or_default()
        })
        .collect();
    let runs = shared.alone.len();
    let per_run = (size - first_own) / runs.max(1);
    let added = |a: usize, b: usize| -> f64 {
        scattering
            .iter()
            .map(|of| {
                let at = moving.iter().position(|j| *j == of.place);
                let slope = |own: usize| {
                    at.and_then(|at| slopes[own - first_own].get(at))
                        .copied()
                        .unwrap_or(0.0)
                };
                let weight = of.weights.get((a - first_own) / per_run).copied().unwrap_or(0.0);
                let squares: f64 = of.weights.iter().map(|weight| weight * weight).sum();
                slope(a) * slope(b) * of.between * of.between * (1.0 - 2.0 * weight + squares)
            })
            .sum()
    };
    let freedom = fit.degrees_of_freedom as f64;
    for own in first_own..size {
        let parameter = &mut fit.parameters[own];
        let Some(error) = parameter.standard_error else {
            continue;
        };
        let (points, between) = (error * error, added(own, own));
        let square = points + between;
        if between.is_nan() || between <= 0.0 {
            continue;
        }
        let effective =
            square * square / (points * points / freedom + between * between / (runs as f64 - 1.0));
        let half = t_half_width(level, effective.max(1.0)) * square.sqrt();
        parameter.standard_error = Some(square.sqrt());
        parameter.interval = Some(FitInterval {
            lower: Some(parameter.value - half),
            upper: Some(parameter.value + half),
        });
    }
    // The parameters of one run move together; those of others move the other way, by so little that it is left out.
    if let Some(covariance) = &mut fit.covariance {
        for a in first_own..size {
            for b in first_own..size {
                if (a - first_own) / per_run == (b - first_own) / per_run {
                    covariance[a * size + b] += added(a, b);
                }
            }
        }
    }
    true
}
