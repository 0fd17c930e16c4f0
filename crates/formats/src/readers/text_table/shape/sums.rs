//! Rows at the foot of a table that sum up those above them, known by their numbers, in whatever language or letter their names are:
//! `n;3;3`, `x̄;0.601;0.321`, `s;0.100;0.050`.

use std::collections::BTreeSet;

use super::super::grid::{ColumnKind, Grid, rounding_of};
use super::Column;

/// A mean of fewer rows may be one of them by chance.
const FEWEST_ROWS: usize = 3;
/// A mean, a deviation, a relative one, a least, a greatest, a count, a sum.
const MOST_SUMS: usize = 7;

/// The rows at the foot of a table of which each, in all its columns, is the same sum of the rows above them all, where one of them
/// is their mean, in several columns or beside another sum, or is `known` to sum up by its name. They stand together, and the last one is the last row.
pub(super) fn at_the_foot(grid: &Grid, columns: &[Column], known: &BTreeSet<usize>) -> Vec<usize> {
    let decimals = grid.decimals();
    let figures: Vec<(usize, f64)> = columns
        .iter()
        .filter(|column| column.kind == ColumnKind::Figures)
        .map(|column| (column.index, rounding_of(&decimals[grid.place(column.index)])))
        .collect();
    let most = MOST_SUMS.min(grid.rows.saturating_sub(FEWEST_ROWS));
    // The more rows above, the fewer below.
    (1..=most)
        .rev()
        .find_map(|count| {
            let first = grid.rows - count;
            let sums: Option<Vec<Sum>> = (first..grid.rows)
                .map(|row| {
                    let by_name = known.contains(&row).then_some(Sum::Named);
                    by_name.or_else(|| sum_of(grid, row, first, &figures))
                })
                .collect();
            let sums = sums?;
            // One number may be the mean of a few readings by chance; two columns or two sums of them hardly are.
            let several = figures.len() >= 2 || sums.len() >= 2;
            let sure = sums
                .iter()
                .any(|sum| *sum == Sum::Named || *sum == Sum::Mean && several);
            (sure && !known.contains(&(first.wrapping_sub(1)))).then(|| (first..grid.rows).collect())
        })
        .unwrap_or_default()
}

/// What a row is of the rows above.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Sum {
    /// Its name says so.
    Named,
    Mean,
    /// A deviation, a relative one in percent, a count or a sum.
    Other,
}

/// What is worked out from numbers.
type Figure = fn(&[f64]) -> f64;

/// What a row is of the rows in front of row `first`, the same in all columns.
fn sum_of(grid: &Grid, row: usize, first: usize, figures: &[(usize, f64)]) -> Option<Sum> {
    let all: [(Sum, Figure); 6] = [
        (Sum::Mean, mean),
        (Sum::Other, |all| deviation(all, all.len() - 1)),
        (Sum::Other, |all| deviation(all, all.len())),
        (Sum::Other, |all| {
            100.0 * deviation(all, all.len() - 1) / mean(all)
        }),
        (Sum::Other, |all| all.len() as f64),
        (Sum::Other, |all| all.iter().sum()),
    ];
    all.into_iter().find_map(|(sum, of)| {
        let mut compared = 0;
        for &(column, rounding) in figures {
            let own = grid.figure(row, column);
            let above: Vec<f64> = (0..first)
                .map(|row| grid.figure(row, column))
                .filter(|value| !value.is_nan())
                .collect();
            // A column without numbers tells nothing.
            if own.is_nan() {
                continue;
            }
            if above.len() < FEWEST_ROWS || (of(&above) - own).abs() > rounding {
                return None;
            }
            // Readings that are all alike are their own mean.
            compared += usize::from(deviation(&above, above.len()) > rounding);
        }
        (compared > 0).then_some(sum)
    })
}

fn mean(all: &[f64]) -> f64 {
    all.iter().sum::<f64>() / all.len() as f64
}

/// The deviation of numbers from their mean, by so many degrees of freedom.
fn deviation(all: &[f64], freedom: usize) -> f64 {
    let mean = mean(all);
    let squares: f64 = all.iter().map(|value| (value - mean).powi(2)).sum();
    (squares / freedom as f64).sqrt()
}
