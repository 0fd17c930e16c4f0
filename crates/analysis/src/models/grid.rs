//! Starting values by trying: the linear parameters are solved for at each candidate, and the best candidate wins.

use super::Model;
use crate::fit::solver::{FitProblem, relax_linear, sum_of_squares};

/// The best of `candidates`, its linear parameters solved for; none where no candidate has a value.
pub(crate) fn best(
    model: &dyn Model,
    x: &[&[f64]],
    y: &[f64],
    candidates: impl Iterator<Item = Vec<f64>>,
) -> Option<Vec<f64>> {
    let p = model.parameters().len();
    let n = y.len();
    let (lower, upper) = (vec![f64::NEG_INFINITY; p], vec![f64::INFINITY; p]);
    let free = vec![true; p];
    let problem = FitProblem {
        model,
        x,
        y,
        roots: None,
        lower: &lower,
        upper: &upper,
        free: &free,
    };
    let mut r = vec![0.0; n];
    let mut jacobian = vec![0.0; n * p];
    let mut best: Option<(f64, Vec<f64>)> = None;
    let limit = 1e6 * sum_of_squares(y);
    for mut candidate in candidates {
        let mut rss = problem.linearise(&candidate, &mut r, &mut jacobian);
        if !rss.is_finite() {
            continue;
        }
        relax_linear(&problem, &mut candidate, &mut r, &mut jacobian, &mut rss);
        if rss <= limit && best.as_ref().is_none_or(|(least, _)| rss < *least) {
            best = Some((rss, candidate));
        }
    }
    best.map(|(_, p)| p)
}

/// `count` values from `from` to `to`, each the same factor above the last.
pub(crate) fn geometric(from: f64, to: f64, count: usize) -> Vec<f64> {
    let steps = count.saturating_sub(1).max(1) as f64;
    (0..count)
        .map(|i| from * (to / from).powf(i as f64 / steps))
        .collect()
}

/// A curve for a picture: from the places given, with more between them where it bends, so that straight lines from place to place
/// keep to it within a five-thousandth of its height. Places without a value are left out.
pub(crate) fn sampled(first: Vec<f64>, values_at: impl Fn(&[f64]) -> Vec<f64>) -> Vec<(f64, f64)> {
    const WITHIN: f64 = 2e-4;
    const ROUNDS: usize = 8;
    const MOST: usize = 2000;
    let mut y = values_at(&first);
    let mut x = first;
    // Stretches, by the place at which they begin, in whose middle the curve has not been looked at yet.
    let mut open: Vec<usize> = (0..x.len().saturating_sub(1)).collect();
    for _ in 0..ROUNDS {
        if open.is_empty() || x.len() + open.len() > MOST {
            break;
        }
        let finite = y.iter().filter(|y| y.is_finite());
        let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), y| {
            (low.min(*y), high.max(*y))
        });
        let middles: Vec<f64> = open.iter().map(|i| 0.5 * (x[*i] + x[i + 1])).collect();
        let between = values_at(&middles);
        let (mut all_x, mut all_y, mut next) = (Vec::new(), Vec::new(), Vec::new());
        let mut looked = open.iter().zip(middles.iter().zip(&between)).peekable();
        for i in 0..x.len() {
            all_x.push(x[i]);
            all_y.push(y[i]);
            let Some((_, (at, value))) = looked.next_if(|(place, _)| **place == i) else {
                continue;
            };
            let off = value - 0.5 * (y[i] + y[i + 1]);
            if off.abs() > WITHIN * (high - low) {
                next.extend([all_x.len() - 1, all_x.len()]);
            }
            all_x.push(*at);
            all_y.push(*value);
        }
        (x, y, open) = (all_x, all_y, next);
    }
    x.into_iter().zip(y).filter(|(_, y)| y.is_finite()).collect()
}

/// Even places from one end to the other.
pub(crate) fn even(low: f64, high: f64, steps: u32) -> Vec<f64> {
    (0..=steps)
        .map(|step| low + (high - low) * f64::from(step) / f64::from(steps))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Between places the line keeps to the curve, which falls within a hundredth of the axis.
    #[test]
    fn a_curve_is_sampled_where_it_bends() {
        let f = |x: f64| (-x / 0.01).exp() + 0.1 * x;
        let curve = sampled(even(0.0, 1.0, 40), |x| x.iter().map(|x| f(*x)).collect());
        assert!(curve.len() < 300, "{}", curve.len());
        for pair in curve.windows(2) {
            assert!(pair[0].0 < pair[1].0);
            for part in [0.25, 0.5, 0.75] {
                let x = pair[0].0 + part * (pair[1].0 - pair[0].0);
                let line = pair[0].1 + part * (pair[1].1 - pair[0].1);
                assert!((f(x) - line).abs() < 3e-4, "{x}: {line}");
            }
        }
        let odd = sampled(even(-1.0, 1.0, 40), |x| x.iter().map(|x| x.ln()).collect());
        assert!(odd.iter().all(|(x, y)| *x > 0.0 && y.is_finite()));
    }
}
