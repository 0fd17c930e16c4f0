//! What a column is for, by its header and its numbers.

use curvary_record::Quantity;

use super::super::columns::Column;
use super::super::grid::ColumnKind;
use super::axis;
use crate::column_header::read_column_header;
use crate::words;
use crate::words::WordList;

/// What a column is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ShapeRole {
    /// It may run: a wavelength, a time, a concentration.
    Coordinate,
    /// It was measured.
    Measured,
    /// It only counts the rows.
    Counter,
    /// It names the rows.
    Names,
    /// It goes beside the measurement: temperature, pH.
    Beside,
    /// Nothing tells.
    Open,
}

pub(super) fn role(column: &Column) -> ShapeRole {
    if column.kind == ColumnKind::Words {
        return if column.clock.is_some() {
            ShapeRole::Coordinate
        } else {
            ShapeRole::Names
        };
    }
    let holds_light = column
        .held
        .iter()
        .any(|held| held.quantity == Quantity::WAVELENGTH || held.quantity == Quantity::TIME);
    // `340 nm` in a head of its own above `s` says where all beside it was measured.
    let in_its_own_head = column
        .heads
        .last()
        .is_none_or(|(text, _)| column.heads.len() == 1 || !read_column_header(text).held.is_empty());
    if numbers_rows(column) {
        return ShapeRole::Counter;
    }
    match column.quantity.as_ref().map(Quantity::as_str) {
        Some("wavelength" | "wavenumber" | "energy" | "time") if holds_light && in_its_own_head => {
            ShapeRole::Measured
        }
        Some("wavelength" | "wavenumber" | "energy" | "time" | "concentration") => ShapeRole::Coordinate,
        Some("absorbance" | "transmittance" | "reflectance" | "rate") => ShapeRole::Measured,
        Some("index" | "sample" | "replicate") => ShapeRole::Counter,
        // `ok` over 1 and 0 tells which rows are good.
        Some("flag") if is_yes_or_no(column) => ShapeRole::Counter,
        Some("temperature" | "ph") => ShapeRole::Beside,
        Some(_)
            if column
                .heads
                .last()
                .is_some_and(|(text, _)| crate::column_header::is_derived_of_light(text)) =>
        {
            ShapeRole::Measured
        }
        Some(_) => ShapeRole::Open,
        None if holds_light => ShapeRole::Measured,
        None if identifies(column) => ShapeRole::Counter,
        None if column.stats.whole
            && column.stats.rising
            && column.heads.last().is_some_and(|(text, _)| {
                words::is(WordList::Counter, text)
                    || words::is(WordList::Numbered, text) && column.stats.step == Some(1.0)
            }) =>
        {
            ShapeRole::Counter
        }
        None => ShapeRole::Open,
    }
}

/// Whether a column numbers the rows under an abbreviation of `number` over 1, 2, 3 in front of all others.
fn numbers_rows(column: &Column) -> bool {
    let Some((text, _)) = column.heads.last() else {
        return false;
    };
    let number = words::is(WordList::CutNumber, text.trim());
    number && column.index == 0 && column.stats.counts()
}

/// Whether whole numbers tell one thing from another, by their header: `Lab no.`, `Patient no.`, `barcode`.
pub(super) fn identifies(column: &Column) -> bool {
    column.kind == ColumnKind::Figures
        && column.stats.whole
        && column.unit.is_none()
        && column.heads.last().is_some_and(|(text, _)| {
            words::is(WordList::Identifier, text)
                || !column.stats.goes_in_other_steps(3) && axis::numbers_things(text)
        })
}

/// Whether numbers are those of a series that was made up: most of one digit, or in one step or one ratio.
pub(super) fn is_series_of_doses(values: &[f64]) -> bool {
    let values: Vec<f64> = values.iter().copied().filter(|value| !value.is_nan()).collect();
    // Digits without the zeros in front and behind: `0.50` has one.
    let digits = |value: &f64| {
        format!("{:e}", value.abs())
            .split('e')
            .next()
            .map_or(0, |digits| digits.len() - usize::from(digits.contains('.')))
    };
    let round = values.iter().filter(|value| digits(value) <= 1).count();
    let even = |of: &dyn Fn(f64, f64) -> f64, values: &[f64]| {
        let steps: Vec<f64> = values.windows(2).map(|pair| of(pair[0], pair[1])).collect();
        steps.len() >= 2
            && steps
                .iter()
                .all(|step| (step - steps[0]).abs() <= 0.02 * steps[0].abs())
    };
    let positive: Vec<f64> = values.iter().copied().filter(|value| *value > 0.0).collect();
    round * 2 >= values.len()
        || even(&|one, other| other - one, &values)
        || even(&|one, other| other / one, &positive)
}

/// The columns that may run by their headers.
pub(super) fn coordinates(roles: &[ShapeRole]) -> Vec<usize> {
    let runs = |&i: &usize| roles[i] == ShapeRole::Coordinate;
    (0..roles.len()).filter(runs).collect()
}

/// Whether a column holds nothing but ones and zeros.
fn is_yes_or_no(column: &Column) -> bool {
    column.kind == ColumnKind::Figures
        && column.stats.whole
        && column.stats.min >= 0.0
        && column.stats.max <= 1.0
}

/// Quantities that make a table one of light absorbed.
pub(super) fn of_the_trade(quantity: &Quantity) -> bool {
    quantity.is_of_light() || matches!(quantity.as_str(), "wavelength" | "wavenumber")
}
