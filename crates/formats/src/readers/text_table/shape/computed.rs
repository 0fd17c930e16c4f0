//! Columns whose names say nothing, beside columns of light: whether their numbers may be light as well, or follow from
//! other numbers in their row.

use super::super::grid::rounding_of;
use super::*;

impl Shaper<'_> {
    /// Whether the numbers of a column are written like those of a column of light beside it, as many decimals, or one more or
    /// less as a mean has, and may be of the same quantity.
    pub(super) fn is_written_like_light(&self, y: usize, roles: &[ShapeRole]) -> bool {
        const FEWEST_DECIMALS: u8 = 2;
        /// Deviations and uncertainties are smaller by more than this than what they are of.
        const LEAST_SHARE: f64 = 1.0 / 30.0;
        let own = &self.columns[y];
        let digits = self.digits_of(own);
        let may_be_of = |quantity: &Quantity, unit: &Option<Unit>| {
            let unit = unit.clone().unwrap_or_else(|| customary_unit(quantity));
            fitting::fits_values(quantity, &unit, &own.stats)
        };
        digits >= FEWEST_DECIMALS
            && self.columns.iter().enumerate().any(|(i, other)| {
                i != y
                    && roles[i] == ShapeRole::Measured
                    && is_light(other)
                    && self.digits_of(other).abs_diff(digits) <= 1
                    && own.stats.max >= LEAST_SHARE * other.stats.max
                    && other
                        .quantity
                        .as_ref()
                        .is_some_and(|quantity| may_be_of(quantity, &other.unit))
            })
    }

    /// Whether a column was computed from others that say what they are: its header is a formula with theirs in it,
    /// `A220-2*A275`, or each of its numbers is the difference or the ratio of two of them in its row, or the sum of all, or
    /// always the same combination of them, but for rounding.
    pub(super) fn follows_from_others(&self, y: usize) -> bool {
        /// From more columns nobody computes one number row by row, and all pairs of them would be many.
        const MOST_OPERANDS: usize = 12;
        const FEWEST_ROWS: usize = 3;
        let column = &self.columns[y];
        let operands: Vec<&Column> = self
            .columns
            .iter()
            .filter(|other| other.index != column.index && other.kind == ColumnKind::Figures)
            .filter(|other| other.quantity.is_some() && role(other) != ShapeRole::Counter)
            .take(MOST_OPERANDS + 1)
            .collect();
        crate::work::looks_at((operands.len() + 1) * self.table.grid.rows);
        if operands.len() > MOST_OPERANDS {
            return false;
        }
        let own_head = head_of(column);
        let formula = |operand: &&Column| {
            let name = head_of(operand);
            name.len() >= 2
                && name.len() < own_head.len()
                && own_head.contains(name)
                && own_head
                    .replace(name, "")
                    .contains(['-', '+', '*', '/', '−', '×'])
        };
        if operands.iter().any(formula) {
            return true;
        }
        let numbers = |column: &Column| self.table.grid.column(column.index).collect::<Vec<f64>>();
        let rounding = |column: &Column| rounding_of(&self.decimals[self.table.grid.place(column.index)]);
        let (own, own_rounding) = (numbers(column), rounding(column));
        let operands: Vec<(Vec<f64>, f64, bool)> = operands
            .into_iter()
            .map(|operand| (numbers(operand), rounding(operand), is_light(operand)))
            .collect();
        // A rule gives the number of a row, and how far the rounding of its operands may move it.
        let follows = |rule: &dyn Fn(usize) -> (f64, f64)| {
            let mut seen = 0;
            let agrees = own.iter().enumerate().all(|(row, own)| {
                let (value, moved) = rule(row);
                let known = !(value + own).is_nan();
                seen += usize::from(known);
                !known || (value - own).abs() <= own_rounding + moved
            });
            agrees && seen >= FEWEST_ROWS
        };
        // A sum is one of readings alone.
        let sum = |row: usize| {
            let parts = operands
                .iter()
                .map(|(numbers, rounding, _)| (numbers[row], rounding));
            parts.fold((0.0, 0.0), |(sum, moved), (number, rounding)| {
                (sum + number, moved + rounding)
            })
        };
        let pair = |one: &(Vec<f64>, f64, bool), other: &(Vec<f64>, f64, bool)| {
            follows(&|row| (one.0[row] - other.0[row], one.1 + other.1))
                || follows(&|row| {
                    let ratio = one.0[row] / other.0[row];
                    (ratio, (one.1 + ratio.abs() * other.1) / other.0[row].abs())
                })
        };
        let all: Vec<&[f64]> = operands.iter().map(|(numbers, ..)| numbers.as_slice()).collect();
        let light = operands.iter().filter(|(_, _, light)| *light);
        let light: Vec<&[f64]> = light.map(|(numbers, ..)| numbers.as_slice()).collect();
        operands.len() >= 2
            && (follows(&sum)
                || (0..operands.len()).any(|one| {
                    (0..operands.len()).any(|other| one != other && pair(&operands[one], &operands[other]))
                }))
            || all.iter().any(|one| is_combination(&own, own_rounding, &[*one]))
            || is_combination(&own, own_rounding, &all)
            || is_combination(&own, own_rounding, &light)
    }

    /// The most decimals that a number of a column has.
    pub(super) fn digits_of(&self, column: &Column) -> u8 {
        let all = &self.decimals[self.table.grid.place(column.index)];
        all.iter().map(|&(_, digits)| digits).max().unwrap_or(0)
    }
}

/// Whether numbers are one and the same combination of others in their rows, `12.25 E663 - 2.79 E647`, perhaps with a constant:
/// what is left of them when the others are taken out (by the modified method of Gram and Schmidt) is no more than rounding,
/// although they differ by far more, and there are rows enough to tell.
fn is_combination(own: &[f64], rounding: f64, operands: &[&[f64]]) -> bool {
    const MOST_OPERANDS: usize = 5;
    /// Rows beyond as many as there are coefficients; fewer where the numbers differ by more.
    const ROWS_TO_SPARE: [(usize, f64); 2] = [(3, 15.0), (2, 100.0)];
    /// The rounding of the operands adds to that of the result.
    const ROUNDINGS: f64 = 1.6;
    let known: Vec<usize> = (0..own.len())
        .filter(|&row| !own[row].is_nan() && operands.iter().all(|operand| !operand[row].is_nan()))
        .collect();
    let coefficients = operands.len() + 1;
    let spread_needed = ROWS_TO_SPARE
        .iter()
        .find(|(rows, _)| known.len() >= coefficients + rows)
        .map(|(_, spread)| *spread);
    let Some(spread_needed) = spread_needed.filter(|_| (1..=MOST_OPERANDS).contains(&operands.len())) else {
        return false;
    };
    let of = |column: &[f64]| known.iter().map(|&row| column[row]).collect::<Vec<f64>>();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut basis: Vec<Vec<f64>> = Vec::with_capacity(coefficients);
    let without = |mut column: Vec<f64>, basis: &[Vec<f64>]| {
        for unit in basis {
            let part = dot(&column, unit);
            column
                .iter_mut()
                .zip(unit)
                .for_each(|(value, unit)| *value -= part * unit);
        }
        column
    };
    for column in std::iter::once(vec![1.0; known.len()]).chain(operands.iter().map(|operand| of(operand))) {
        let size = dot(&column, &column).sqrt();
        let rest = without(column, &basis);
        let length = dot(&rest, &rest).sqrt();
        // What the ones before it give already adds nothing.
        if length > 1e-9 * size {
            basis.push(rest.iter().map(|value| value / length).collect());
        }
    }
    let own = of(own);
    let (least, most) = own
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), &value| {
            (least.min(value), most.max(value))
        });
    let tolerance = ROUNDINGS * rounding;
    most - least >= spread_needed * tolerance
        && without(own, &basis).iter().all(|rest| rest.abs() <= tolerance)
}

fn is_light(column: &Column) -> bool {
    column.kind == ColumnKind::Figures && column.quantity.as_ref().is_some_and(Quantity::is_of_light)
}

fn head_of(column: &Column) -> &str {
    column.heads.last().map_or("", |(text, _)| text.trim())
}
