//! The quick way to two exponentials: amplitudes projected out, a grid of pairs of rates, then Gauss and Newton's steps.

use multiversion::multiversion;

use super::exponential::exponentials;
use crate::fit::solver::product;
use crate::models::grid::geometric;

/// Rates of the grid.
const GRID: usize = 12;
/// Points that the grid looks at: enough to tell which pair is near.
const SEEN: usize = 96;
/// Steps before the general search takes over.
const MOST_STEPS: usize = 30;

/// Sum of a column.
fn total(column: &[f64]) -> f64 {
    crate::fit::solver::total(column, |v| v)
}

/// Solves a small positive system in place; none where it is singular to twelve digits.
fn solve<const M: usize>(mut a: [[f64; M]; M], mut b: [f64; M], m: usize) -> Option<[f64; M]> {
    for j in 0..m {
        let own = a[j][j];
        if own.is_nan() || own <= 0.0 {
            return None;
        }
        for i in j + 1..m {
            let factor = a[i][j] / own;
            let before = a[i][i];
            let row = a[j];
            for (value, own) in a[i].iter_mut().zip(row).take(m).skip(j) {
                *value -= factor * own;
            }
            if a[i][i] <= 1e-12 * before {
                return None;
            }
            b[i] -= factor * b[j];
        }
    }
    for j in (0..m).rev() {
        for k in j + 1..m {
            b[j] -= a[j][k] * b[k];
        }
        b[j] /= a[j][j];
    }
    Some(b)
}

/// Of a grid for `points` points: the pair of rates, the faster first, whose exponentials with their amplitudes leave the least of the points.
fn begin(t: &[f64], y: &[f64], points: usize, offset: bool) -> Option<(f64, f64)> {
    let span = t[t.len() - 1] - t[0];
    if span.is_nan() || span <= 0.0 {
        return None;
    }
    let rates = geometric(0.03 / span, 30.0_f64.max(points as f64 / 4.0) / span, GRID);
    let n = t.len();
    let mut columns = vec![0.0; n * GRID];
    for (k, column) in rates.iter().zip(columns.chunks_mut(n)) {
        exponentials(-k, t, column);
    }
    let of = |i: usize| &columns[i * n..(i + 1) * n];
    let sum_y = total(y);
    let with_y: Vec<f64> = (0..GRID).map(|i| product(of(i), y)).collect();
    let sums: Vec<f64> = (0..GRID).map(|i| total(of(i))).collect();
    let mut products = [[0.0; GRID]; GRID];
    for (i, row) in products.iter_mut().enumerate() {
        for (j, entry) in row.iter_mut().enumerate().take(i + 1) {
            *entry = product(of(i), of(j));
        }
    }
    let m = if offset { 3 } else { 2 };
    let mut best: Option<(f64, usize, usize)> = None;
    for fast in 1..GRID {
        for slow in 0..fast {
            let matrix = [
                [products[fast][fast], products[fast][slow], sums[fast]],
                [products[fast][slow], products[slow][slow], sums[slow]],
                [sums[fast], sums[slow], n as f64],
            ];
            let right = [with_y[fast], with_y[slow], sum_y];
            let Some(found) = solve(matrix, right, m) else {
                continue;
            };
            let explained: f64 = found.iter().zip(right).take(m).map(|(a, b)| a * b).sum();
            if best.is_none_or(|(most, _, _)| explained > most) {
                best = Some((explained, fast, slow));
            }
        }
    }
    best.map(|(_, fast, slow)| (rates[fast], rates[slow]))
}

/// Every so many points of a column.
fn thin(column: &[f64], stride: usize) -> Vec<f64> {
    column.iter().step_by(stride).copied().collect()
}

/// Sums that the equations of Gauss and Newton are made of: products of e₁, e₂, 1, u₁ = t e₁ and u₂ = t e₂ with each other and
/// with y, in one pass over the points.
#[derive(Default)]
struct BiphasicSums {
    e: [f64; 2],
    ee: [f64; 3],
    ey: [f64; 2],
    u: [f64; 2],
    ue: [[f64; 2]; 2],
    uu: [f64; 3],
    uy: [f64; 2],
}

/// Sums over four columns, in lanes that run as vectors. Few sums at a time: more would not stay in registers.
#[inline(always)]
fn sum_up<const N: usize>(columns: [&[f64]; 4], terms: impl Fn([f64; 4]) -> [f64; N]) -> [f64; N] {
    let [(a4, a), (b4, b), (t4, t), (y4, y)] = columns.map(|column| column.as_chunks::<4>());
    let mut lanes = [[0.0_f64; 4]; N];
    for (((a, b), t), y) in a4.iter().zip(b4).zip(t4).zip(y4) {
        for k in 0..4 {
            for (lane, term) in lanes.iter_mut().zip(terms([a[k], b[k], t[k], y[k]])) {
                lane[k] += term;
            }
        }
    }
    for (((a, b), t), y) in a.iter().zip(b).zip(t).zip(y) {
        for (lane, term) in lanes.iter_mut().zip(terms([*a, *b, *t, *y])) {
            lane[0] += term;
        }
    }
    lanes.map(|l| (l[0] + l[1]) + (l[2] + l[3]))
}

#[multiversion(targets("x86_64+avx2"))]
fn sums(e1: &[f64], e2: &[f64], t: &[f64], y: &[f64]) -> BiphasicSums {
    let columns = [e1, e2, t, y];
    let [e_1, e_2, e_11, e_12, e_22, ey_1, ey_2] =
        sum_up(columns, |[a, b, _, y]| [a, b, a * a, a * b, b * b, a * y, b * y]);
    let [u_1, ue_11, ue_12, uu_11, uu_12, uy_1] = sum_up(columns, |[a, b, t, y]| {
        let u = t * a;
        [u, u * a, u * b, u * u, u * t * b, u * y]
    });
    let [u_2, ue_22, uu_22, uy_2] = sum_up(columns, |[_, b, t, y]| {
        let u = t * b;
        [u, u * b, u * u, u * y]
    });
    BiphasicSums {
        e: [e_1, e_2],
        ee: [e_11, e_12, e_22],
        ey: [ey_1, ey_2],
        u: [u_1, u_2],
        // t e₂ e₁ is t e₁ e₂.
        ue: [[ue_11, ue_12], [ue_12, ue_22]],
        uu: [uu_11, uu_12, uu_22],
        uy: [uy_1, uy_2],
    }
}

/// Amplitude and rate of the faster exponential, those of the slower one, and the offset where there is one; none where the steps
/// do not settle.
pub(super) fn shortcut(t: &[f64], y: &[f64], offset: bool) -> Option<Vec<f64>> {
    let n = y.len();
    if n < if offset { 7 } else { 6 } {
        return None;
    }
    let stride = n.div_ceil(SEEN);
    let (seen, values) = (thin(t, stride), thin(y, stride));
    let mut rates = begin(&seen, &values, t.len(), offset)?;
    // Most of the way by a few of the points, where they are few.
    if stride > 1
        && let Some(found) = descend(&seen, &values, offset, rates, 1e-2)
    {
        rates = (found[1], found[3]);
    }
    descend(t, y, offset, rates, 1e-9)
}

/// Gauss and Newton's steps from a pair of rates until the next one would be smaller than `goal` of the rates.
fn descend(t: &[f64], y: &[f64], offset: bool, rates: (f64, f64), goal: f64) -> Option<Vec<f64>> {
    let n = y.len();
    let m = if offset { 5 } else { 4 };
    let count = m - 2;
    let span = t[n - 1] - t[0];
    let (mut fast, mut slow) = rates;
    let sum_y: f64 = total(y);
    let mut e = vec![0.0; 2 * n];
    let mut last = f64::INFINITY;
    let mut worse = 0;
    for _ in 0..MOST_STEPS {
        let (e1, e2) = e.split_at_mut(n);
        exponentials(-fast, t, e1);
        exponentials(-slow, t, e2);
        let s = sums(e1, e2, t, y);
        let linear = [
            [s.ee[0], s.ee[1], s.e[0]],
            [s.ee[1], s.ee[2], s.e[1]],
            [s.e[0], s.e[1], n as f64],
        ];
        let amounts = solve(linear, [s.ey[0], s.ey[1], sum_y], count)?;
        let (a, b, c) = (amounts[0], amounts[1], if offset { amounts[2] } else { 0.0 });
        // What the residuals say of the rates; of the amounts they say nothing any more.
        let down = [-a, -b];
        let mut matrix = [[0.0; 5]; 5];
        let mut right = [0.0; 5];
        for i in 0..count {
            matrix[i][..count].copy_from_slice(&linear[i][..count]);
        }
        for i in 0..2 {
            let with = [s.ue[i][0], s.ue[i][1], s.u[i]];
            for j in 0..count {
                matrix[count + i][j] = down[i] * with[j];
                matrix[j][count + i] = matrix[count + i][j];
            }
            for j in 0..2 {
                matrix[count + i][count + j] = down[i] * down[j] * s.uu[i + j];
            }
            right[count + i] = down[i] * (s.uy[i] - a * with[0] - b * with[1] - c * with[2]);
        }
        let step = solve(matrix, right, m)?;
        let (by_fast, by_slow) = (step[count], step[count + 1]);
        let size = (by_fast / fast).abs().max((by_slow / slow).abs());
        if size.is_nan() || size > 1e3 {
            return None;
        }
        worse = if size > last { worse + 1 } else { 0 };
        if worse > 3 {
            return None;
        }
        // Each step is smaller than the one before by about the same factor.
        let next = if last.is_finite() {
            size * (size / last).min(1.0)
        } else {
            size
        };
        last = size;
        fast += by_fast.clamp(-0.5 * fast, fast);
        slow += by_slow.clamp(-0.5 * slow, slow);
        if fast <= slow || slow * span < 1e-3 {
            return None;
        }
        if next < goal {
            let amount = |place: usize| amounts[place] + step[place];
            let mut found = vec![amount(0), fast, amount(1), slow];
            if offset {
                found.push(amount(2));
            }
            return Some(found);
        }
    }
    None
}
