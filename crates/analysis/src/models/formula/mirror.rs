//! Formulas that stay the same when parameters change places, such as sums of exponentials.
//!
//! Such a fit has several minima that differ in names only. Of these the one is given in which the parameters stand
//! in the order of their starting values.

use super::tape::FormulaTape;

/// Above this many parameters the exchanges are not looked for: there would be too many to try.
const MOST: usize = 10;

/// Exchanges of up to three pairs of parameters that leave the formula as it is.
pub(super) fn exchanges(tape: &FormulaTape, variables: usize, parameters: usize) -> Vec<Vec<(usize, usize)>> {
    if !(2..=MOST).contains(&parameters) {
        return Vec::new();
    }
    // Values at a few fixed, unrelated places; two formulas that agree at all of them are taken for the same.
    let place = |k: usize, j: usize| {
        let v = ((k * 31 + j * 17 + 7) as f64 * 0.618_033_988_749_895).fract();
        0.5 + v
    };
    let columns: Vec<Vec<f64>> = (0..variables)
        .map(|i| (0..4).map(|k| place(k, i + 40)).collect())
        .collect();
    let x: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let p: Vec<f64> = (0..parameters).map(|j| place(9, j)).collect();
    let mut original = vec![0.0; 4];
    tape.at_few(&x, &p, &mut original);
    if original.iter().any(|v| !v.is_finite()) {
        return Vec::new();
    }
    let same = |swaps: &[(usize, usize)]| {
        let mut q = p.clone();
        for (i, j) in swaps {
            q.swap(*i, *j);
        }
        let mut values = vec![0.0; 4];
        tape.at_few(&x, &q, &mut values);
        values
            .iter()
            .zip(&original)
            .all(|(a, b)| (a - b).abs() <= 1e-11 * (1.0 + b.abs()))
    };
    let pairs: Vec<(usize, usize)> = (0..parameters)
        .flat_map(|i| (i + 1..parameters).map(move |j| (i, j)))
        .collect();
    let apart = |a: (usize, usize), b: (usize, usize)| a.0 != b.0 && a.0 != b.1 && a.1 != b.0 && a.1 != b.1;
    let mut found = Vec::new();
    for (i, a) in pairs.iter().enumerate() {
        if same(&[*a]) {
            found.push(vec![*a]);
        }
        for (k, b) in pairs
            .iter()
            .enumerate()
            .skip(i + 1)
            .filter(|(_, b)| apart(*a, **b))
        {
            if same(&[*a, *b]) {
                found.push(vec![*a, *b]);
            }
            for c in pairs
                .iter()
                .skip(k + 1)
                .filter(|c| apart(*a, **c) && apart(*b, **c))
            {
                if same(&[*a, *b, *c]) {
                    found.push(vec![*a, *b, *c]);
                }
            }
        }
    }
    found
}

/// Puts parameters that may change places by these exchanges into the order of their starting values.
pub(super) fn arrange(exchanges: &[Vec<(usize, usize)>], linear: &[usize], start: &[f64], p: &mut [f64]) {
    // Each exchange that mends an order is one step of a sort; as many passes as parameters are enough.
    for _ in 0..p.len() {
        let mut moved = false;
        for swaps in exchanges {
            let (i, j) = swaps
                .iter()
                .copied()
                .find(|(i, _)| !linear.contains(i))
                .unwrap_or(swaps[0]);
            if i.abs_diff(j) == 0 || start[i] == start[j] {
                continue;
            }
            if (start[i] < start[j]) != (p[i] < p[j]) && p[i] != p[j] {
                for (i, j) in swaps {
                    p.swap(*i, *j);
                }
                moved = true;
            }
        }
        if !moved {
            return;
        }
    }
}
