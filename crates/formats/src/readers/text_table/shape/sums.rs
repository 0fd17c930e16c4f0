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
    // Every row is added up once, however many stand at the foot.
    let mut above = vec![Tally::default(); figures.len()];
    let mut added = 0;
    // The more rows below, the fewer above.
    (1..=most)
        .rev()
        .find_map(|count| {
            let first = grid.rows - count;
            for (tally, &(column, _)) in above.iter_mut().zip(&figures) {
                (added..first).for_each(|row| tally.add(grid.figure(row, column)));
            }
            added = first;
            let sums: Option<Vec<Sum>> = (first..grid.rows)
                .map(|row| {
                    let by_name = known.contains(&row).then_some(Sum::Named);
                    by_name.or_else(|| sum_of(grid, row, &figures, &above))
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

/// Numbers added up, as far as their sums need them: how many, and the sums of their distances from the first and of the squares.
#[derive(Clone, Copy, Default)]
struct Tally {
    first: f64,
    count: f64,
    sum: f64,
    squares: f64,
}

impl Tally {
    fn add(&mut self, value: f64) {
        if value.is_nan() {
            return;
        }
        if self.count == 0.0 {
            self.first = value;
        }
        let distance = value - self.first;
        self.count += 1.0;
        self.sum += distance;
        self.squares += distance * distance;
    }

    fn mean(&self) -> f64 {
        self.first + self.sum / self.count
    }

    /// The deviation from the mean, by so many degrees of freedom.
    fn deviation(&self, freedom: f64) -> f64 {
        ((self.squares - self.sum * self.sum / self.count).max(0.0) / freedom).sqrt()
    }
}

/// What is worked out from numbers.
type Figure = fn(&Tally) -> f64;

/// What a row is of the rows in front of it that are added up in `above`, the same in all columns.
fn sum_of(grid: &Grid, row: usize, figures: &[(usize, f64)], above: &[Tally]) -> Option<Sum> {
    let all: [(Sum, Figure); 6] = [
        (Sum::Mean, Tally::mean),
        (Sum::Other, |all| all.deviation(all.count - 1.0)),
        (Sum::Other, |all| all.deviation(all.count)),
        (Sum::Other, |all| {
            100.0 * all.deviation(all.count - 1.0) / all.mean()
        }),
        (Sum::Other, |all| all.count),
        (Sum::Other, |all| all.first * all.count + all.sum),
    ];
    all.into_iter().find_map(|(sum, of)| {
        let mut compared = 0;
        for (&(column, rounding), above) in figures.iter().zip(above) {
            let own = grid.figure(row, column);
            // A column without numbers tells nothing.
            if own.is_nan() {
                continue;
            }
            if above.count < FEWEST_ROWS as f64 || (of(above) - own).abs() > rounding {
                return None;
            }
            // Readings that are all alike are their own mean.
            compared += usize::from(above.deviation(above.count) > rounding);
        }
        (compared > 0).then_some(sum)
    })
}
