//! Starting values by trying: the linear parameters are solved for at each candidate, and the best candidate wins.

use super::Model;
use crate::fit::solver::{Problem, relax_linear, sum_of_squares};

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
    let problem = Problem {
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
