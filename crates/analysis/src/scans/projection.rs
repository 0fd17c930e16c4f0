//! Scans at given rate constants: what the concentrations leave of them, and the search for the constants that leave the least.

use super::scheme::SchemeModel;
use crate::fit::solver::{free_of, product, solved, sum_of_squares};
use crate::refusal::Refusal;

/// The state of the projected problem at given rate constants.
pub(super) struct ProjectedProblem {
    pub(super) rss: f64,
    /// Projected gradient (over -2) and normal matrix of the rate constants.
    pub(super) gradient: Vec<f64>,
    pub(super) normal: Vec<Vec<f64>>,
    /// Orthonormal basis of the profiles, and the triangle that leads back: profiles = basis · triangle.
    pub(super) basis: Vec<Vec<f64>>,
    pub(super) triangle: Vec<f64>,
    /// For each rate constant the slope of each profile by it, freed of the profiles themselves.
    slopes: Vec<Vec<Vec<f64>>>,
}

impl ProjectedProblem {
    /// What is left of a column over time beside the profiles, and by how much the rate constants move what is fitted to it: `moves` has
    /// a row over time for each of them.
    pub(super) fn left_and_moves(&self, column: &[f64], left: &mut [f64], moves: &mut [Vec<f64>]) {
        let s = self.basis.len();
        // What stands for the spectrum of each species in this column.
        let mut spectrum: Vec<f64> = self.basis.iter().map(|q| product(q, column)).collect();
        left.copy_from_slice(column);
        for (q, part) in self.basis.iter().zip(&spectrum) {
            for (r, q) in left.iter_mut().zip(q) {
                *r -= part * q;
            }
        }
        for j in (0..s).rev() {
            for i in j + 1..s {
                spectrum[j] -= self.triangle[j * s + i] * spectrum[i];
            }
            spectrum[j] /= self.triangle[j * s + j];
        }
        for (own, by_k) in moves.iter_mut().zip(&self.slopes) {
            own.fill(0.0);
            for (slope, amount) in by_k.iter().zip(&spectrum) {
                for (m, v) in own.iter_mut().zip(slope) {
                    *m += amount * v;
                }
            }
        }
    }
}

pub(super) fn project(
    shape: &SchemeModel<'_>,
    times: &[f64],
    data: &[Vec<f64>],
    k: &[f64],
) -> Option<ProjectedProblem> {
    let profiles = shape.profiles(times, k)?;
    let s = profiles.species.len();
    let n = times.len();
    // Orthonormal basis by Gram and Schmidt, twice.
    let mut basis: Vec<Vec<f64>> = Vec::with_capacity(s);
    let mut triangle = vec![0.0; s * s];
    for (j, species) in profiles.species.iter().enumerate() {
        let mut column = species.clone();
        let whole = sum_of_squares(&column).sqrt();
        for _ in 0..2 {
            for (i, q) in basis.iter().enumerate() {
                let part = product(q, &column);
                triangle[i * s + j] += part;
                for (c, q) in column.iter_mut().zip(q) {
                    *c -= part * q;
                }
            }
        }
        let length = sum_of_squares(&column).sqrt();
        if length.is_nan() || length <= 1e-10 * whole {
            return None;
        }
        triangle[j * s + j] = length;
        for c in &mut column {
            *c /= length;
        }
        basis.push(column);
    }
    // Slopes of the profiles, freed of the profiles themselves.
    let slopes: Vec<Vec<Vec<f64>>> = profiles
        .slopes
        .iter()
        .map(|by_k| {
            by_k.iter()
                .map(|slope| {
                    let mut slope = slope.clone();
                    free_of(&basis, &mut slope);
                    slope
                })
                .collect()
        })
        .collect();
    let count = k.len();
    let mut at = ProjectedProblem {
        rss: 0.0,
        gradient: vec![0.0; count],
        normal: vec![vec![0.0; count]; count],
        basis,
        triangle,
        slopes,
    };
    let mut residual = vec![0.0; n];
    let mut moves = vec![vec![0.0; n]; count];
    for column in data {
        at.left_and_moves(column, &mut residual, &mut moves);
        at.rss += sum_of_squares(&residual);
        for a in 0..count {
            at.gradient[a] += product(&moves[a], &residual);
            for b in 0..count {
                at.normal[a][b] += product(&moves[a], &moves[b]);
            }
        }
    }
    at.rss.is_finite().then_some(at)
}

/// Correlation of neighbours in time among the residuals of all wavelengths, and whether it is more than noise makes.
///
/// Readings at one time may err together (a lamp, a shifted baseline), so that all wavelengths count as ten at most.
pub(super) fn along_time(at: &ProjectedProblem, data: &[Vec<f64>]) -> (f64, bool) {
    let (mut square, mut lagged) = (0.0, 0.0);
    let mut residual = Vec::new();
    for column in data {
        residual.clone_from(column);
        free_of(&at.basis, &mut residual);
        square += sum_of_squares(&residual);
        lagged += product(&residual[1..], &residual[..residual.len() - 1]);
    }
    if square.is_nan() || square <= 0.0 {
        return (0.0, false);
    }
    let times = residual.len() as f64;
    let independent = times * (data.len() as f64).min(10.0);
    let found = lagged / square;
    (found, found * independent.sqrt() > 3.3)
}

/// Solves the one or two equations of the rate constants with damping.
fn step(at: &ProjectedProblem, damping: f64) -> Option<Vec<f64>> {
    let m = at.gradient.len();
    let mut columns = vec![0.0; m * m];
    for a in 0..m {
        for b in 0..m {
            columns[b * m + a] = at.normal[a][b] * if a == b { 1.0 + damping } else { 1.0 };
        }
    }
    solved(&mut columns, at.gradient.clone())
}

/// Rate constants at the minimum.
pub(super) struct Settled {
    pub(super) k: Vec<f64>,
    pub(super) at: ProjectedProblem,
    pub(super) iterations: usize,
}

/// Searches the rate constants from the best of many trial values.
pub(super) fn settle(shape: &SchemeModel<'_>, times: &[f64], data: &[Vec<f64>]) -> Result<Settled, Refusal> {
    let n = times.len();
    let span = times[n - 1] - times[0];
    let mut best: Option<(f64, Vec<f64>)> = None;
    for k in shape.candidates(span, n) {
        if let Some(at) = project(shape, times, data, &k)
            && best.as_ref().is_none_or(|(rss, _)| at.rss < *rss)
        {
            best = Some((at.rss, k));
        }
    }
    let Some((_, mut k)) = best else {
        return Err(Refusal::NoStart {
            why: "no trial rate constants suit the scans".into(),
        });
    };
    let mut at = project(shape, times, data, &k).ok_or_else(|| shape.lost(0))?;
    let mut damping = 1e-3;
    let mut iterations = 0;
    let mut settled = false;
    while iterations < 200 && !settled {
        iterations += 1;
        let Some(move_by) = step(&at, damping) else {
            return Err(shape.lost(iterations));
        };
        let trial: Vec<f64> = k
            .iter()
            .zip(&move_by)
            .map(|(k, s)| (k + s).max(0.1 * k))
            .collect();
        let size = move_by
            .iter()
            .zip(&k)
            .map(|(s, k)| (s / k).abs())
            .fold(0.0, f64::max);
        match project(shape, times, data, &trial) {
            Some(next) if next.rss <= at.rss * (1.0 + 1e-14) => {
                settled = size < 1e-11;
                k = trial;
                at = next;
                damping = if damping < 1e-12 { 0.0 } else { damping * 0.1 };
            }
            // At the bottom rounding decides; a step this small changes nothing.
            _ if size < 1e-9 => settled = true,
            _ => damping = if damping == 0.0 { 1e-6 } else { damping * 10.0 },
        }
        if damping > 1e12 {
            return Err(shape.lost(iterations));
        }
    }
    if !settled {
        return Err(shape.lost(iterations));
    }
    Ok(Settled { k, at, iterations })
}
