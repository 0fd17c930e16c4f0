//! The quick way to two exponentials: amplitudes projected out, a grid of pairs of rates, then Gauss and Newton's steps.

use super::exponential::exponentials;
use crate::models::grid::geometric;

/// Rates of the grid.
const GRID: usize = 12;
/// Points that the grid looks at: enough to tell which pair is near.
const SEEN: usize = 128;
/// Steps before the general search takes over.
const MOST_STEPS: usize = 30;

/// Sums of products of two columns, in four lanes so that they run as vectors.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0_f64; 4];
    let ((a4, a_rest), (b4, b_rest)) = (a.as_chunks::<4>(), b.as_chunks::<4>());
    for (a, b) in a4.iter().zip(b4) {
        for k in 0..4 {
            lanes[k] += a[k] * b[k];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
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

/// The pair of rates, the faster first, whose exponentials with their amplitudes leave the least of the points.
fn begin(t: &[f64], y: &[f64], offset: bool) -> Option<(f64, f64)> {
    let stride = t.len().div_ceil(SEEN);
    let pick = |column: &[f64]| -> Vec<f64> { column.iter().step_by(stride).copied().collect() };
    let (seen, values) = (pick(t), pick(y));
    let span = t[t.len() - 1] - t[0];
    if span.is_nan() || span <= 0.0 {
        return None;
    }
    let rates = geometric(0.03 / span, 30.0_f64.max(t.len() as f64 / 4.0) / span, GRID);
    let n = seen.len();
    let mut columns = vec![0.0; n * GRID];
    for (k, column) in rates.iter().zip(columns.chunks_mut(n)) {
        exponentials(-k, &seen, column);
    }
    let of = |i: usize| &columns[i * n..(i + 1) * n];
    let ones = vec![1.0; n];
    let sum_y = dot(&ones, &values);
    let with_y: Vec<f64> = (0..GRID).map(|i| dot(of(i), &values)).collect();
    let sums: Vec<f64> = (0..GRID).map(|i| dot(of(i), &ones)).collect();
    let mut products = [[0.0; GRID]; GRID];
    for (i, row) in products.iter_mut().enumerate() {
        for (j, product) in row.iter_mut().enumerate().take(i + 1) {
            *product = dot(of(i), of(j));
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

/// Amplitude and rate of the faster exponential, those of the slower one, and the offset where there is one; none where the steps
/// do not settle.
pub(super) fn shortcut(t: &[f64], y: &[f64], offset: bool) -> Option<Vec<f64>> {
    let n = y.len();
    let m = if offset { 5 } else { 4 };
    if n < m + 2 {
        return None;
    }
    let (mut fast, mut slow) = begin(t, y, offset)?;
    let ones = vec![1.0; n];
    // The columns e₁, e₂, t e₁, t e₂ and what is left of y.
    let mut columns = vec![0.0; 4 * n];
    let mut left = vec![0.0; n];
    let mut last = f64::INFINITY;
    let mut worse = 0;
    for _ in 0..MOST_STEPS {
        let (exponents, slopes) = columns.split_at_mut(2 * n);
        let (e1, e2) = exponents.split_at_mut(n);
        let (u1, u2) = slopes.split_at_mut(n);
        exponentials(-fast, t, e1);
        exponentials(-slow, t, e2);
        for i in 0..n {
            u1[i] = t[i] * e1[i];
            u2[i] = t[i] * e2[i];
        }
        let sums = [dot(e1, &ones), dot(e2, &ones)];
        let product = dot(e1, e2);
        let squares = [dot(e1, e1), dot(e2, e2)];
        let linear = [
            [squares[0], product, sums[0]],
            [product, squares[1], sums[1]],
            [sums[0], sums[1], n as f64],
        ];
        let count = m - 2;
        let amounts = solve(linear, [dot(e1, y), dot(e2, y), dot(&ones, y)], count)?;
        let (a, b, c) = (amounts[0], amounts[1], if offset { amounts[2] } else { 0.0 });
        for i in 0..n {
            left[i] = y[i] - a * e1[i] - b * e2[i] - c;
        }
        // What is left of the points after one step of all parameters: the equations of Gauss and Newton.
        let down = [-a, -b];
        let cross = [
            [dot(u1, e1), dot(u1, e2), dot(u1, &ones)],
            [dot(u2, e1), dot(u2, e2), dot(u2, &ones)],
        ];
        let bent = [[dot(u1, u1), dot(u1, u2)], [dot(u1, u2), dot(u2, u2)]];
        let mut matrix = [[0.0; 5]; 5];
        let mut right = [0.0; 5];
        for i in 0..count {
            for j in 0..count {
                matrix[i][j] = linear[i][j];
            }
        }
        for i in 0..2 {
            for j in 0..count {
                matrix[count + i][j] = down[i] * cross[i][j];
                matrix[j][count + i] = matrix[count + i][j];
            }
            for j in 0..2 {
                matrix[count + i][count + j] = down[i] * down[j] * bent[i][j];
            }
        }
        right[..count].copy_from_slice(&[dot(e1, &left), dot(e2, &left), dot(&ones, &left)][..count]);
        right[count] = down[0] * dot(u1, &left);
        right[count + 1] = down[1] * dot(u2, &left);
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
        last = size;
        fast += by_fast.clamp(-0.5 * fast, fast);
        slow += by_slow.clamp(-0.5 * slow, slow);
        if fast <= slow || slow * (t[n - 1] - t[0]) < 1e-3 {
            return None;
        }
        if size < 1e-9 {
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
