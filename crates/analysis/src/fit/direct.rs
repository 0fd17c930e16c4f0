//! The quick way to a minimum from given starting values: Gauss and Newton's steps by the normal equations.
//!
//! Many points in a smooth valley need neither a trust region nor orthogonal factors. The first steps look at a few of
//! the points only. Whatever does not go smoothly, or is not well conditioned, is left to the general search.

use super::SearchContext;
use super::solver::{product, sum_of_squares, total_of_pairs};

/// Below this many values and parameters the general search is quick as well, and its digits are wanted.
const FEWEST: usize = 600;
/// Most parameters.
const MOST: usize = 8;
/// Points that the first steps look at.
const SEEN: usize = 80;
/// Most steps over those few points, and over all.
const STEPS: (usize, usize) = (20, 12);
/// Cosine of the residuals to what the parameters can take up at which the way over few points, and that over all, is at its end. The
/// second leaves certified fits their ten digits: at 2e-10 Hahn1 of NIST loses them.
const GOALS: (f64, f64) = (0.03, 1e-11);
/// What is left of a column after those before it, squared: below this the normal equations lose too many digits.
const FLAT: f64 = 1e-9;

/// Room for residuals and derivatives.
struct DirectRoom {
    residuals: Vec<f64>,
    columns: Vec<f64>,
}

/// Where a step leads from.
struct DirectStep {
    /// Sum of squares before the step.
    rss: f64,
    by: [f64; MOST],
    /// Cosine of the angle between the residuals and what the parameters can take up: zero in the minimum.
    slope: f64,
}

/// Parameters at the minimum that lies downhill from `start`, or none.
pub(super) fn descend(setting: &SearchContext<'_>, start: &[f64]) -> Option<Vec<f64>> {
    let (n, p) = (setting.data.y.len(), start.len());
    let free: Vec<usize> = (0..p).filter(|j| setting.free[*j]).collect();
    if free.len() > MOST || free.is_empty() || n * free.len() <= FEWEST {
        return None;
    }
    let mut at = start.to_vec();
    for j in (0..p).filter(|j| !setting.free[*j]) {
        at[j] = setting.lower[j];
    }
    let stride = n.div_ceil(SEEN);
    let few = |column: &[f64]| -> Vec<f64> { column.iter().step_by(stride).copied().collect() };
    let x: Vec<Vec<f64>> = setting.data.x.iter().map(|column| few(column)).collect();
    let x: Vec<&[f64]> = x.iter().map(Vec::as_slice).collect();
    let mut room = DirectRoom {
        residuals: vec![0.0; n],
        columns: vec![0.0; n * p],
    };
    if setting.model.takes_any_points() {
        walk(
            setting,
            (&x, &few(setting.data.y)),
            &free,
            &mut at,
            &mut room,
            GOALS.0,
            STEPS.0,
        )?;
    }
    walk(
        setting,
        (setting.data.x, setting.data.y),
        &free,
        &mut at,
        &mut room,
        GOALS.1,
        STEPS.1,
    )?;
    Some(at)
}

/// Steps until the next one would change nothing to `goal`.
fn walk(
    setting: &SearchContext<'_>,
    points: (&[&[f64]], &[f64]),
    free: &[usize],
    at: &mut [f64],
    room: &mut DirectRoom,
    goal: f64,
    steps: usize,
) -> Option<()> {
    let mut last: Option<DirectStep> = None;
    let mut halved = 0;
    for _ in 0..steps {
        let step = step(setting, points, free, at, room);
        match (&last, step) {
            (None, step) => last = Some(step?),
            (Some(before), Some(step)) if step.rss <= before.rss * (1.0 + 1e-12) => {
                halved = 0;
                // Each step shrinks the slope about as the one before did.
                let next = step.slope * (step.slope / before.slope).min(1.0);
                last = Some(step);
                if next < goal {
                    let step = last?;
                    for (j, by) in free.iter().zip(step.by) {
                        at[*j] += by;
                    }
                    return Some(());
                }
            }
            // Uphill, or where there is no value: half the way back.
            (Some(before), _) => {
                halved += 1;
                if halved > 4 {
                    return None;
                }
                let part = 0.5_f64.powi(halved);
                for (j, by) in free.iter().zip(before.by) {
                    at[*j] -= by * part;
                }
                continue;
            }
        }
        let step = last.as_ref()?;
        if step.slope < goal {
            return Some(());
        }
        for (j, by) in free.iter().zip(step.by) {
            at[*j] += by;
        }
    }
    None
}

fn step(
    setting: &SearchContext<'_>,
    (x, y): (&[&[f64]], &[f64]),
    free: &[usize],
    at: &[f64],
    room: &mut DirectRoom,
) -> Option<DirectStep> {
    let (n, m) = (y.len(), free.len());
    let residuals = &mut room.residuals[..n];
    let columns = &mut room.columns[..n * at.len()];
    setting.model.differentiate(x, at, residuals, columns);
    for (r, y) in residuals.iter_mut().zip(y) {
        *r = y - *r;
    }
    let rss = sum_of_squares(residuals);
    let size = total_of_pairs(y, y, |a, b| a * b);
    // Exact data, and places without a value, are for the general search.
    if !rss.is_finite() || rss <= 1e-20 * size {
        return None;
    }
    let column = |a: usize| &columns[free[a] * n..(free[a] + 1) * n];
    let mut lower = [[0.0; MOST]; MOST];
    let mut right = [0.0; MOST];
    for a in 0..m {
        for (b, entry) in lower[a].iter_mut().enumerate().take(a + 1) {
            *entry = product(column(a), column(b));
        }
        right[a] = product(column(a), residuals);
    }
    // Cholesky's factor; on the way `right` becomes what each further parameter takes up of the residuals.
    for j in 0..m {
        let whole = lower[j][j];
        let before: f64 = (0..j).map(|k| lower[j][k] * lower[j][k]).sum();
        let own = whole - before;
        if own.is_nan() || own <= FLAT * whole {
            return None;
        }
        let own = own.sqrt();
        lower[j][j] = own;
        for i in j + 1..m {
            let sum: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            lower[i][j] = (lower[i][j] - sum) / own;
        }
        let sum: f64 = (0..j).map(|k| lower[j][k] * right[k]).sum();
        right[j] = (right[j] - sum) / own;
    }
    let slope = (right[..m].iter().map(|v| v * v).sum::<f64>() / rss).sqrt();
    for j in (0..m).rev() {
        let sum: f64 = (j + 1..m).map(|k| lower[k][j] * right[k]).sum();
        right[j] = (right[j] - sum) / lower[j][j];
    }
    slope.is_finite().then_some(DirectStep {
        rss,
        by: right,
        slope,
    })
}
