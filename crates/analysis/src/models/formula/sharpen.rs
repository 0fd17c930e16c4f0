//! The last digits of a fit, in arithmetic of 31 digits.
//!
//! The search in doubles ends near the minimum; undamped (Gauss-Newton) steps with residuals, derivatives and
//! elimination in double-double arithmetic take it to where doubles can no longer tell. The data, and the numbers in
//! the formula, count as the decimals that stand in the source.

use super::tape::FormulaTape;
use crate::double::{Double, Real};
use crate::fit::RefinedSolution;
use crate::linear::{dot, solve};

/// Above this many multiplications an iteration is left out: the gain is in small, hard problems.
const DEAREST: usize = 40_000_000;

pub(super) fn sharpen(
    tape: &FormulaTape,
    x: &[&[f64]],
    y: &[f64],
    weights: Option<&[f64]>,
    start: &[f64],
    free: &[bool],
) -> Option<RefinedSolution> {
    let (n, p) = (y.len(), start.len());
    let used: Vec<usize> = (0..p).filter(|j| free[*j]).collect();
    let m = used.len();
    if m == 0 || n <= m || n * (m * m + 20 * m) > DEAREST / 20 {
        return None;
    }
    let points: Vec<Vec<Double>> = (0..n)
        .map(|i| x.iter().map(|column| Double::decimal(column[i])).collect())
        .collect();
    let target: Vec<Double> = y.iter().map(|v| Double::decimal(*v)).collect();
    let roots: Option<Vec<Double>> = weights.map(|w| w.iter().map(|v| Double::exactly(*v).sqrt()).collect());
    let mut scratch = Vec::new();
    let mut gradient = vec![Double::ZERO; p];
    let mut linearise = |at: &[Double]| {
        let mut residuals = Vec::with_capacity(n);
        let mut columns = vec![Vec::with_capacity(n); m];
        for i in 0..n {
            let value = tape.at_point(&points[i], Double::decimal, at, &mut scratch, &mut gradient);
            let root = roots.as_ref().map_or(Double::ONE, |r| r[i]);
            residuals.push((target[i] - value) * root);
            for (column, j) in columns.iter_mut().zip(&used) {
                column.push(gradient[*j] * root);
            }
        }
        let rss = dot(&residuals, &residuals);
        (residuals, columns, rss)
    };
    let mut at: Vec<Double> = start.iter().map(|v| Double::exactly(*v)).collect();
    let (mut residuals, mut columns, mut rss) = linearise(&at);
    if !rss.value().is_finite() {
        return None;
    }
    let mut last = f64::INFINITY;
    for _ in 0..60 {
        let solution = solve(columns.clone(), residuals.clone()).ok()?;
        let mut trial = at.clone();
        let mut size = 0.0_f64;
        for (j, step) in used.iter().zip(&solution.coefficients) {
            trial[*j] = trial[*j] + *step;
            size = size.max((step.value() / at[*j].value()).abs());
        }
        // Far from the minimum, or where the steps do not shrink, plain doubles have the word.
        if size.is_nan() || size > 0.1 || size > 2.0 * last {
            return None;
        }
        let (next_residuals, next_columns, next_rss) = linearise(&trial);
        if !next_rss.value().is_finite() || next_rss.value() > rss.value() * (1.0 + 1e-9) + 1e-300 {
            return None;
        }
        at = trial;
        residuals = next_residuals;
        columns = next_columns;
        rss = next_rss;
        last = size;
        if size < 1e-20 {
            break;
        }
    }
    if last > 1e-12 {
        return None;
    }
    let solution = solve(columns, residuals.clone()).ok()?;
    let mut inverse = vec![0.0; p * p];
    for (a, i) in used.iter().enumerate() {
        for (b, j) in used.iter().enumerate() {
            inverse[i * p + j] = solution.inverse[a * m + b].value();
        }
    }
    let plain: Vec<f64> = match &roots {
        None => residuals.iter().map(|r| r.value()).collect(),
        Some(roots) => residuals
            .iter()
            .zip(roots)
            .map(|(r, w)| (*r / *w).value())
            .collect(),
    };
    Some(RefinedSolution {
        parameters: at.iter().map(|v| v.value()).collect(),
        fitted: target
            .iter()
            .zip(&plain)
            .map(|(t, r)| (*t - Double::exactly(*r)).value())
            .collect(),
        residuals: plain,
        residual_sum_of_squares: rss.value(),
        inverse,
    })
}

/// The weighted sum of squares at parameters that count as the doubles they are.
pub(super) fn sum_of_squares(
    tape: &FormulaTape,
    x: &[&[f64]],
    y: &[f64],
    weights: Option<&[f64]>,
    p: &[f64],
) -> Option<f64> {
    let at: Vec<Double> = p.iter().map(|v| Double::exactly(*v)).collect();
    let (mut scratch, mut gradient) = (Vec::new(), vec![Double::ZERO; p.len()]);
    let mut sum = Double::ZERO;
    for (i, y) in y.iter().enumerate() {
        let point: Vec<Double> = x.iter().map(|column| Double::decimal(column[i])).collect();
        let value = tape.at_point(&point, Double::decimal, &at, &mut scratch, &mut gradient);
        let residual = Double::decimal(*y) - value;
        let weight = weights.map_or(Double::ONE, |weights| Double::exactly(weights[i]));
        sum = sum + residual * residual * weight;
    }
    Some(sum.value()).filter(|sum| sum.is_finite())
}
