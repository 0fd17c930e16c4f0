//! The search for the minimum: a trust region after Levenberg, Marquardt and Moré.
//!
//! Why our own and not a library: a fit of twelve points has to take two microseconds with all its errors, which
//! rules out heap-allocated matrices of general size; parameters have bounds and may be held; and separable models
//! want their linear parameters eliminated inside the same loop. The method is that of MINPACK's `lmder`
//! (J. J. Moré, Lecture Notes in Mathematics 630, 105, 1978): scaled trust region, step from the triangle of a
//! Householder factorisation. It is compared with an independent Rust port of MINPACK in `tests/minpack.rs`.
//!
//! *Separable models.* Where some parameters enter linearly, the columns that belong to them are eliminated first and
//! the trust region governs the others alone; the linear ones are solved anew at each trial point. This is variable
//! projection with Kaufman's Jacobian (BIT 15, 49, 1975).

use multiversion::multiversion;

use crate::models::Model;

/// What is minimised: the weighted squared distance between `y` and the model, over the free parameters.
pub(crate) struct FitProblem<'a> {
    pub(crate) model: &'a dyn Model,
    pub(crate) x: &'a [&'a [f64]],
    pub(crate) y: &'a [f64],
    /// Square roots of the weights.
    pub(crate) roots: Option<&'a [f64]>,
    pub(crate) lower: &'a [f64],
    pub(crate) upper: &'a [f64],
    pub(crate) free: &'a [bool],
}

/// How a search ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum SearchEnd {
    Gradient,
    Reduction,
    Step,
    Exact,
    Iterations,
    Undefined,
}

pub(crate) struct Minimum {
    pub(crate) parameters: Vec<f64>,
    pub(crate) rss: f64,
    pub(crate) end: SearchEnd,
    pub(crate) iterations: usize,
    pub(crate) evaluations: usize,
}

const EPSILON: f64 = f64::EPSILON;

impl FitProblem<'_> {
    /// Weighted residuals at `p`, and half-way sums: gives the sum of squares, infinite where the model has no value.
    pub(crate) fn residuals(&self, p: &[f64], r: &mut [f64]) -> f64 {
        self.model.evaluate(self.x, p, r);
        self.to_residuals(r)
    }

    /// Turns model values into weighted residuals.
    fn to_residuals(&self, r: &mut [f64]) -> f64 {
        for (value, y) in r.iter_mut().zip(self.y) {
            *value = y - *value;
        }
        if let Some(roots) = self.roots {
            for (value, root) in r.iter_mut().zip(roots) {
                *value *= root;
            }
        }
        let rss = sum_of_squares(r);
        if rss.is_finite() { rss } else { f64::INFINITY }
    }

    /// Weighted residuals and weighted derivatives, column by column.
    pub(crate) fn linearise(&self, p: &[f64], r: &mut [f64], jacobian: &mut [f64]) -> f64 {
        self.model.differentiate(self.x, p, r, jacobian);
        if let Some(roots) = self.roots {
            for column in jacobian.chunks_exact_mut(roots.len()) {
                for (value, root) in column.iter_mut().zip(roots) {
                    *value *= root;
                }
            }
        }
        self.to_residuals(r)
    }

    fn clip(&self, p: &mut [f64]) {
        for ((value, low), high) in p.iter_mut().zip(self.lower).zip(self.upper) {
            *value = value.clamp(*low, *high);
        }
    }
}

/// Sum of squares, in lanes.
pub(crate) fn sum_of_squares(values: &[f64]) -> f64 {
    product(values, values)
}

/// Scalar product, in lanes.
#[multiversion(targets("x86_64+avx2"))]
pub(crate) fn product(a: &[f64], b: &[f64]) -> f64 {
    in_lanes(a, b, |x, y| x * y)
}

/// Takes out of a column what columns of length one, at right angles to each other, make of it.
#[multiversion(targets("x86_64+avx2"))]
pub(crate) fn free_of(basis: &[Vec<f64>], column: &mut [f64]) {
    for known in basis {
        let along = product(known, column);
        column
            .iter_mut()
            .zip(known)
            .for_each(|(v, known)| *v -= along * known);
    }
}

/// Sum of a function of each value, in lanes.
#[multiversion(targets("x86_64+avx2"))]
pub(crate) fn total<F: Fn(f64) -> f64>(values: &[f64], f: F) -> f64 {
    in_lanes(values, values, |x, _| f(x))
}

/// Sum of a function of each pair of values, in lanes.
#[multiversion(targets("x86_64+avx2"))]
pub(crate) fn total_of_pairs<F: Fn(f64, f64) -> f64>(a: &[f64], b: &[f64], f: F) -> f64 {
    in_lanes(a, b, f)
}

/// A sum in sixteen lanes, and what is left in four, which is both faster and more exact than one running sum: an addition waits
/// for the one before it in its lane only. The order of the additions is the same on every processor, and so is the sum.
#[inline(always)]
fn in_lanes(a: &[f64], b: &[f64], f: impl Fn(f64, f64) -> f64) -> f64 {
    let ((a16, a), (b16, b)) = (a.as_chunks::<16>(), b.as_chunks::<16>());
    let mut lanes = [0.0; 4];
    if !a16.is_empty() {
        let mut wide = [0.0; 16];
        for (x, y) in a16.iter().zip(b16) {
            for k in 0..16 {
                wide[k] += f(x[k], y[k]);
            }
        }
        for k in 0..4 {
            lanes[k] = (wide[k] + wide[k + 4]) + (wide[k + 8] + wide[k + 12]);
        }
    }
    let ((a4, a_rest), (b4, b_rest)) = (a.as_chunks::<4>(), b.as_chunks::<4>());
    for (x, y) in a4.iter().zip(b4) {
        for k in 0..4 {
            lanes[k] += f(x[k], y[k]);
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(x, y)| f(*x, *y)).sum();
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
}

/// Adds `factor` times one column to another.
#[multiversion(targets("x86_64+avx2"))]
fn add_times(to: &mut [f64], factor: f64, column: &[f64]) {
    for (to, value) in to.iter_mut().zip(column) {
        *to += factor * value;
    }
}

/// Householder factorisation in place of the first `m` columns (each `n` long); `r` becomes `Qᵀr` (it may be empty).
/// The triangle is given row by row in `upper`.
pub(crate) fn factorise(columns: &mut [f64], n: usize, m: usize, r: &mut [f64], upper: &mut [f64]) {
    for j in 0..m {
        let (head, tail) = columns.split_at_mut((j + 1) * n);
        let column = &mut head[j * n..];
        for i in 0..j {
            upper[i * m + j] = column[i];
        }
        for below in upper[j * m..j * m + j].iter_mut() {
            *below = 0.0;
        }
        if j >= n {
            upper[j * m + j] = 0.0;
            continue;
        }
        let reflector = &mut column[j..];
        let norm = sum_of_squares(reflector).sqrt();
        if norm == 0.0 || !norm.is_finite() {
            upper[j * m + j] = 0.0;
            continue;
        }
        let diagonal = if reflector[0] > 0.0 { -norm } else { norm };
        upper[j * m + j] = diagonal;
        reflector[0] -= diagonal;
        // |v|² = 2 norm (norm + |a₁|) without cancellation.
        let scale = -1.0 / (diagonal * reflector[0]);
        for k in 0..m - j - 1 {
            let other = &mut tail[k * n + j..(k + 1) * n];
            let factor = product(reflector, other) * scale;
            add_times(other, -factor, reflector);
        }
        if r.is_empty() {
            continue;
        }
        let factor = product(reflector, &r[j..]) * scale;
        add_times(&mut r[j..], -factor, reflector);
    }
}

/// Solves `R x = b` for an upper triangle; a zero on the diagonal gives a zero in its place.
pub(crate) fn back_substitute(upper: &[f64], m: usize, b: &[f64]) -> Vec<f64> {
    let mut x = b[..m].to_vec();
    for j in (0..m).rev() {
        for k in j + 1..m {
            x[j] -= upper[j * m + k] * x[k];
        }
        x[j] = if upper[j * m + j] == 0.0 {
            0.0
        } else {
            x[j] / upper[j * m + j]
        };
    }
    x
}

/// The step that minimises `|R s - b|` within `|D s| <= radius`, and the damping that gave it (Moré, section 3).
fn trust_step(
    upper: &[f64],
    m: usize,
    b: &[f64],
    scale: &[f64],
    radius: f64,
    damping: f64,
) -> (Vec<f64>, f64) {
    let scaled_norm = |s: &[f64]| {
        s.iter()
            .zip(scale)
            .map(|(v, d)| (v * d) * (v * d))
            .sum::<f64>()
            .sqrt()
    };
    let singular = (0..m).any(|j| upper[j * m + j].abs() <= EPSILON * scale[j]);
    let newton = back_substitute(upper, m, b);
    let length = scaled_norm(&newton);
    if !singular && length <= 1.1 * radius {
        return (newton, 0.0);
    }
    // Bounds for the damping.
    let mut lowest = 0.0;
    if !singular {
        let w: Vec<f64> = newton
            .iter()
            .zip(scale)
            .map(|(v, d)| d * (d * v) / length)
            .collect();
        let z = forward_substitute(upper, m, &w);
        let z2: f64 = z.iter().map(|v| v * v).sum();
        lowest = ((length - radius) / radius / z2).max(0.0);
    }
    let gradient: f64 = (0..m)
        .map(|j| {
            let g: f64 = (0..=j).map(|i| upper[i * m + j] * b[i]).sum();
            (g / scale[j]) * (g / scale[j])
        })
        .sum::<f64>()
        .sqrt();
    let mut highest = gradient / radius;
    if highest == 0.0 || !highest.is_finite() {
        highest = f64::MIN_POSITIVE / radius.min(0.1);
    }
    let mut damping = damping.max(lowest).min(highest);
    if damping == 0.0 {
        damping = (gradient / length.max(f64::MIN_POSITIVE)).min(highest);
    }
    let mut step = newton;
    for round in 0..10 {
        if damping == 0.0 {
            damping = f64::MIN_POSITIVE.max(0.001 * highest);
        }
        let root = damping.sqrt();
        let mut augmented = vec![0.0; 2 * m * m];
        for j in 0..m {
            for i in 0..=j {
                augmented[j * 2 * m + i] = upper[i * m + j];
            }
            augmented[j * 2 * m + m + j] = root * scale[j];
        }
        let mut right = vec![0.0; 2 * m];
        right[..m].copy_from_slice(&b[..m]);
        let mut triangle = vec![0.0; m * m];
        factorise(&mut augmented, 2 * m, m, &mut right, &mut triangle);
        step = back_substitute(&triangle, m, &right);
        let length = scaled_norm(&step);
        let excess = length - radius;
        if excess.abs() <= 0.1 * radius
            || round == 9
            || (lowest == 0.0 && excess <= 0.0 && damping <= f64::MIN_POSITIVE)
        {
            break;
        }
        let w: Vec<f64> = step
            .iter()
            .zip(scale)
            .map(|(v, d)| d * (d * v) / length)
            .collect();
        let z = forward_substitute(&triangle, m, &w);
        let z2: f64 = z.iter().map(|v| v * v).sum();
        let correction = excess / radius / z2;
        if excess > 0.0 {
            lowest = f64::max(lowest, damping);
        } else {
            highest = highest.min(damping);
        }
        damping = (damping + correction).max(lowest);
        if damping > highest {
            damping = 0.5 * (lowest + highest);
        }
    }
    (step, damping)
}

/// Solves `Rᵀ z = w`.
fn forward_substitute(upper: &[f64], m: usize, w: &[f64]) -> Vec<f64> {
    let mut z = w[..m].to_vec();
    for j in 0..m {
        for i in 0..j {
            z[j] -= upper[i * m + j] * z[i];
        }
        z[j] /= upper[j * m + j];
    }
    z
}

/// Solves a few equations, the columns one behind the other; none where they are singular.
pub(crate) fn solved(columns: &mut [f64], mut right: Vec<f64>) -> Option<Vec<f64>> {
    let n = right.len();
    let mut upper = vec![0.0; n * n];
    factorise(columns, n, n, &mut right, &mut upper);
    if (0..n).any(|j| upper[j * n + j] == 0.0) {
        return None;
    }
    let found = back_substitute(&upper, n, &right);
    found.iter().all(|v| v.is_finite()).then_some(found)
}

/// Searches from `start`. With `separate` the parameters that the model calls linear are eliminated.
#[expect(clippy::too_many_lines, reason = "one loop over one state")]
pub(crate) fn minimise(problem: &FitProblem<'_>, start: &[f64], separate: bool, limit: usize) -> Minimum {
    let n = problem.y.len();
    let p = start.len();
    let mut at = start.to_vec();
    problem.clip(&mut at);
    let mut r = vec![0.0; n];
    let mut jacobian = vec![0.0; n * p];
    let mut rss = problem.linearise(&at, &mut r, &mut jacobian);
    let mut evaluations = 1;
    let finish = |at: Vec<f64>, rss: f64, end: SearchEnd, iterations: usize, evaluations: usize| Minimum {
        parameters: at,
        rss,
        end,
        iterations,
        evaluations,
    };
    if !rss.is_finite() {
        return finish(at, rss, SearchEnd::Undefined, 0, evaluations);
    }
    let is_linear = |j: usize| separate && problem.model.linear().contains(&j);
    if separate && relax_linear(problem, &mut at, &mut r, &mut jacobian, &mut rss) {
        evaluations += 1;
    }
    let y_scale = match problem.roots {
        None => sum_of_squares(problem.y),
        Some(roots) => problem.y.iter().zip(roots).map(|(y, w)| (y * w) * (y * w)).sum(),
    };
    // Residuals this small against y are rounding errors of the model.
    let exact = (4.0 * EPSILON) * (4.0 * EPSILON) * y_scale;

    let mut norms = vec![0.0_f64; p];
    let mut radius = 0.0;
    let mut damping = 0.0;
    let mut trial_r = vec![0.0; n];
    let mut work = vec![0.0; n * p];
    let mut trial_jacobian = if separate { vec![0.0; n * p] } else { Vec::new() };
    for iteration in 1..=limit {
        if rss <= exact {
            return finish(at, rss, SearchEnd::Exact, iteration, evaluations);
        }
        // Columns in play: linear ones first; a parameter on its bound that wants to leave it is put aside.
        let column = |j: usize| &jacobian[j * n..(j + 1) * n];
        let mut order: Vec<usize> = Vec::with_capacity(p);
        let mut steepest = 0.0_f64;
        for j in (0..p).filter(|j| problem.free[*j]) {
            let length = sum_of_squares(column(j)).sqrt();
            norms[j] = norms[j].max(length);
            let slope = product(column(j), &r);
            let held =
                (at[j] <= problem.lower[j] && slope < 0.0) || (at[j] >= problem.upper[j] && slope > 0.0);
            if held {
                continue;
            }
            if length > 0.0 {
                steepest = steepest.max(slope.abs() / (length * rss.sqrt()));
            }
            order.push(j);
        }
        if steepest <= 1e-15 || order.is_empty() {
            return finish(at, rss, SearchEnd::Gradient, iteration, evaluations);
        }
        order.sort_by_key(|j| !is_linear(*j));
        let l = order.iter().filter(|j| is_linear(**j)).count();
        let m = order.len();
        for (k, j) in order.iter().enumerate() {
            work[k * n..(k + 1) * n].copy_from_slice(column(*j));
        }
        let mut b = r.clone();
        let mut upper = vec![0.0; m * m];
        factorise(&mut work[..m * n], n, m, &mut b, &mut upper);
        b.resize(n.max(m), 0.0);
        let inner: Vec<f64> = (l..m)
            .flat_map(|i| upper[i * m + l..(i + 1) * m].to_vec())
            .collect();
        let scale: Vec<f64> = order[l..]
            .iter()
            .map(|j| if norms[*j] > 0.0 { norms[*j] } else { 1.0 })
            .collect();
        let size = |at: &[f64]| {
            order[l..]
                .iter()
                .zip(&scale)
                .map(|(j, d)| (at[*j] * d) * (at[*j] * d))
                .sum::<f64>()
                .sqrt()
        };
        if radius == 0.0 {
            let whole = size(&at);
            radius = if whole > 0.0 { 100.0 * whole } else { 100.0 };
        }
        for attempt in 0.. {
            let (tail, new_damping) = trust_step(&inner, m - l, &b[l..], &scale, radius, damping);
            damping = new_damping;
            // The linear parameters follow from the triangle above.
            let mut step = vec![0.0; m];
            step[l..].copy_from_slice(&tail);
            for i in (0..l).rev() {
                let mut sum = b[i];
                for k in i + 1..m {
                    sum -= upper[i * m + k] * step[k];
                }
                step[i] = if upper[i * m + i] == 0.0 {
                    0.0
                } else {
                    sum / upper[i * m + i]
                };
            }
            let mut trial = at.clone();
            for (k, j) in order.iter().enumerate() {
                trial[*j] += step[k];
            }
            problem.clip(&mut trial);
            for (k, j) in order.iter().enumerate() {
                step[k] = trial[*j] - at[*j];
            }
            let length = step[l..]
                .iter()
                .zip(&scale)
                .map(|(v, d)| (v * d) * (v * d))
                .sum::<f64>()
                .sqrt();
            if iteration == 1 {
                radius = radius.min(length.max(f64::MIN_POSITIVE));
            }
            // Predicted sum of squares, from the triangle.
            let mut predicted = rss;
            for i in 0..m {
                let moved: f64 = (i..m).map(|k| upper[i * m + k] * step[k]).sum();
                predicted += moved * moved - 2.0 * b[i] * moved;
            }
            let trial_rss = if separate {
                let mut rss = problem.linearise(&trial, &mut trial_r, &mut trial_jacobian);
                if rss.is_finite() {
                    relax_linear(problem, &mut trial, &mut trial_r, &mut trial_jacobian, &mut rss);
                }
                rss
            } else {
                problem.residuals(&trial, &mut trial_r)
            };
            evaluations += 1;
            let gained = if trial_rss.is_finite() {
                1.0 - trial_rss / rss
            } else {
                -1.0
            };
            let hoped = 1.0 - predicted / rss;
            let ratio = if hoped > 0.0 { gained / hoped } else { 0.0 };
            if ratio <= 0.25 {
                let slope = damping * length * length / rss - hoped;
                let shrink = if gained >= 0.0 {
                    0.5
                } else {
                    (0.5 * slope / (slope + 0.5 * gained)).clamp(0.1, 0.5)
                };
                let shrink = if trial_rss.is_finite() { shrink } else { 0.1 };
                radius = shrink * radius.min(10.0 * length);
                damping /= shrink;
            } else if damping == 0.0 || ratio >= 0.75 {
                radius = 2.0 * length;
                damping *= 0.5;
            }
            let whole = size(&at);
            let accepted = ratio >= 1e-4;
            if accepted {
                at = trial;
                rss = trial_rss;
                std::mem::swap(&mut r, &mut trial_r);
                if separate {
                    std::mem::swap(&mut jacobian, &mut trial_jacobian);
                }
            }
            let end = if gained.abs() <= 1e-15 && hoped.abs() <= 1e-15 && ratio <= 2.0 {
                Some(SearchEnd::Reduction)
            } else if radius <= 1e-15 * whole
                || (length == 0.0 && !accepted)
                || radius < 1e-280
                || !radius.is_finite()
                || attempt >= 100
            {
                Some(SearchEnd::Step)
            } else {
                None
            };
            if let Some(end) = end {
                return finish(at, rss, end, iteration, evaluations);
            }
            if accepted {
                break;
            }
        }
        if !separate {
            rss = problem.linearise(&at, &mut r, &mut jacobian);
        }
    }
    finish(at, rss, SearchEnd::Iterations, limit, evaluations)
}

/// Solves the linear parameters anew at fixed values of the others, where that lowers the sum of squares.
pub(crate) fn relax_linear(
    problem: &FitProblem<'_>,
    at: &mut Vec<f64>,
    r: &mut Vec<f64>,
    jacobian: &mut Vec<f64>,
    rss: &mut f64,
) -> bool {
    let n = r.len();
    let linear: Vec<usize> = problem
        .model
        .linear()
        .iter()
        .copied()
        .filter(|j| problem.free[*j])
        .collect();
    if linear.is_empty() {
        return false;
    }
    let l = linear.len();
    let mut work: Vec<f64> = Vec::with_capacity(l * n);
    for j in &linear {
        work.extend_from_slice(&jacobian[j * n..(j + 1) * n]);
    }
    let mut b = r.clone();
    let mut upper = vec![0.0; l * l];
    factorise(&mut work, n, l, &mut b, &mut upper);
    let largest = (0..l).map(|j| upper[j * l + j].abs()).fold(0.0, f64::max);
    if (0..l).any(|j| upper[j * l + j].abs() <= 1e-13 * largest) {
        return false;
    }
    b.resize(n.max(l), 0.0);
    let step = back_substitute(&upper, l, &b);
    let mut trial = at.clone();
    for (j, s) in linear.iter().zip(&step) {
        trial[*j] += s;
    }
    problem.clip(&mut trial);
    let mut trial_r = vec![0.0; n];
    let mut trial_jacobian = vec![0.0; jacobian.len()];
    let trial_rss = problem.linearise(&trial, &mut trial_r, &mut trial_jacobian);
    if trial_rss < *rss {
        *at = trial;
        *r = trial_r;
        *jacobian = trial_jacobian;
        *rss = trial_rss;
        return true;
    }
    false
}

/// Undamped steps at the end of a search, as long as each is less than half the one before: they settle the last
/// digits, where the sum of squares itself no longer changes.
pub(crate) fn settle(problem: &FitProblem<'_>, minimum: &mut Minimum) {
    let n = problem.y.len();
    let free: Vec<usize> = (0..minimum.parameters.len())
        .filter(|j| {
            let at = minimum.parameters[*j];
            problem.free[*j] && at > problem.lower[*j] && at < problem.upper[*j]
        })
        .collect();
    let m = free.len();
    if m == 0 || n < m {
        return;
    }
    let p = minimum.parameters.len();
    let mut r = vec![0.0; n];
    let mut jacobian = vec![0.0; n * p];
    let mut last = f64::INFINITY;
    for _ in 0..12 {
        let rss = problem.linearise(&minimum.parameters, &mut r, &mut jacobian);
        minimum.evaluations += 1;
        if !rss.is_finite() {
            return;
        }
        let mut work: Vec<f64> = Vec::with_capacity(m * n);
        for j in &free {
            work.extend_from_slice(&jacobian[j * n..(j + 1) * n]);
        }
        let mut upper = vec![0.0; m * m];
        factorise(&mut work, n, m, &mut r, &mut upper);
        if (0..m).any(|j| upper[j * m + j] == 0.0) {
            return;
        }
        let step = back_substitute(&upper, m, &r);
        let mut trial = minimum.parameters.clone();
        let mut size = 0.0_f64;
        for (j, s) in free.iter().zip(&step) {
            trial[*j] += s;
            size = size.max(s.abs() / minimum.parameters[*j].abs().max(f64::MIN_POSITIVE));
        }
        problem.clip(&mut trial);
        let mut trial_r = vec![0.0; n];
        let trial_rss = problem.residuals(&trial, &mut trial_r);
        let small = size < 0.5 * last && size < 1e-3;
        if !small || trial_rss.is_nan() || trial_rss > rss * (1.0 + 1e-13) {
            return;
        }
        last = size;
        minimum.parameters = trial;
        minimum.rss = trial_rss;
        if size < 1e-16 {
            return;
        }
    }
}
