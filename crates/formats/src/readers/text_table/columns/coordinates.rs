//! Two rows of headers, of which one holds the number at which each curve was taken, and the other says of what: its unit beside
//! every number, `Wavelength 0 5 10` over `(nm) min min min`; or a parameter once above them, `Temperature (°C)` over `20 40 60`.
//! Columns beside them, `Blank`, keep their own headers.

use curvary_record::unit::spelled;
use curvary_record::{Quantity, Span};

use super::super::grid::ColumnKind;
use super::super::scan::{ScannedTable, leading_number};
use super::units::bare_unit;
use crate::column_header::{read_column_header, split_unit};
use crate::light::LIKE_READINGS;
use crate::words::{self, WordList};

/// Which rows of headers they are, and what each column was taken at.
pub(super) struct PartedCoordinates {
    numbers: usize,
    units: usize,
    /// Of each column, its number with what it is of, `20 °C`, `pH 7`.
    said: Vec<Option<String>>,
    /// The columns without a number over which the parameter stands all the same: it reaches over them, or begins there.
    spread: Vec<bool>,
}

/// What a cell of a header is beside such coordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CoordinateCell<'c> {
    /// It is none of theirs.
    Other,
    /// The header of the first column.
    Corner,
    /// The number, with what it is of.
    Number(&'c str),
    /// Its unit, or the parameter.
    Unit,
}

impl PartedCoordinates {
    /// The coordinates in the headers of a table, whose `rows` have the cells that stand over several columns over each.
    pub(super) fn of(text: &str, table: &ScannedTable, rows: &[Vec<Option<Span>>]) -> Option<Self> {
        (0..rows.len()).find_map(|units| {
            Self::with_units(text, rows, units).or_else(|| Self::below_parameters(text, table, rows, units))
        })
    }

    /// What the cell of a row of headers over a column is.
    pub(super) fn takes(&self, level: usize, index: usize) -> CoordinateCell<'_> {
        if level != self.numbers && level != self.units {
            return CoordinateCell::Other;
        }
        match self.said.get(index) {
            _ if index == 0 => CoordinateCell::Corner,
            Some(Some(said)) if level == self.numbers => CoordinateCell::Number(said),
            Some(Some(_)) => CoordinateCell::Unit,
            _ if level == self.units && self.spread.get(index) == Some(&true) => CoordinateCell::Unit,
            _ => CoordinateCell::Other,
        }
    }

    /// A number over each curve, and its unit above or below it, where all are of one quantity that readings are taken at.
    /// Behind a word that counts, `Run 1 2 3`, the unit is that of the column.
    fn with_units(text: &str, rows: &[Vec<Option<Span>>], units: usize) -> Option<Self> {
        let cell = |span: &Span| text[span.range()].trim();
        // A sign at the end of each line leaves a column without a name.
        let width = rows
            .iter()
            .filter_map(|row| row.iter().rposition(Option::is_some))
            .max()
            .map_or(0, |last| last + 1);
        let over_curves = |level: usize| -> Option<Vec<&str>> {
            let cells: Vec<&str> = rows[level].iter().skip(1).flatten().map(cell).collect();
            (cells.len() >= 2 && cells.len() + 1 == width).then_some(cells)
        };
        let of_curves: Vec<&str> = over_curves(units)?.into_iter().map(bare_unit).collect();
        let no_unit = |unit: &&str| leading_number(unit).is_some() || spelled(unit).units().is_empty();
        if of_curves.iter().any(no_unit) {
            return None;
        }
        let plain = |cells: &Vec<&str>| {
            cells.iter().all(|cell| is_number_alone(cell)) && cells.windows(2).all(|pair| pair[0] != pair[1])
        };
        let (numbers, cells) =
            beside(units, rows.len()).find_map(|level| Some((level, over_curves(level).filter(plain)?)))?;
        let counts = rows[numbers][0].is_some_and(|key| {
            let of = read_column_header(cell(&key)).quantity;
            of.is_some_and(|of| matches!(of.as_str(), "index" | "sample" | "replicate" | "flag"))
                || words::is(WordList::Series, cell(&key))
                || words::is(WordList::Numbered, cell(&key))
        });
        let said: Vec<String> = cells
            .iter()
            .zip(&of_curves)
            .map(|(number, unit)| format!("{number} {unit}"))
            .collect();
        let taken_at = |said: &String| {
            let head = read_column_header(said);
            let [held] = head.held.as_slice() else { return None };
            (head.quantity.is_none() && held.quantity != Quantity::UNKNOWN).then(|| held.quantity.clone())
        };
        let first = taken_at(said.first()?)?;
        let alike = said.iter().all(|said| taken_at(said).as_ref() == Some(&first));
        (!counts && alike).then(|| Self {
            numbers,
            units,
            said: std::iter::once(None).chain(said.into_iter().map(Some)).collect(),
            spread: Vec::new(),
        })
    }

    /// A parameter once above its numbers, or again over each: it reaches to the next header beside it, and has two numbers at
    /// least.
    fn below_parameters(
        text: &str,
        table: &ScannedTable,
        rows: &[Vec<Option<Span>>],
        units: usize,
    ) -> Option<Self> {
        let cell = |span: &Span| text[span.range()].trim();
        let own = &table.heads.get(units)?.cells;
        let filled: Vec<usize> = (1..own.len()).filter(|&index| own[index].is_some()).collect();
        let parameters: Vec<(usize, Quantity, String)> = filled
            .iter()
            .filter_map(|&index| {
                let (quantity, unit) = parameter(cell(&own[index]?))?;
                Some((index, quantity, unit))
            })
            .collect();
        let timed = parameters
            .iter()
            .all(|(_, quantity, _)| *quantity == Quantity::TIME);
        if parameters.is_empty() {
            return None;
        }
        // One that stands alone may stand over the middle of its numbers.
        let alone = filled.len() == 1;
        let reach = |from: usize| {
            let next = filled.iter().copied().find(|index| *index > from);
            let from = if alone { 1 } else { from };
            from..next.unwrap_or(own.len())
        };
        beside(units, rows.len()).find_map(|numbers| {
            let mut said: Vec<Option<String>> = vec![None; own.len()];
            let mut spread = vec![false; own.len()];
            for (from, _, unit) in &parameters {
                for index in reach(*from) {
                    let number = rows[numbers][index]
                        .map(|span| cell(&span))
                        .filter(|cell| is_number_alone(cell));
                    said[index] = number.map(|number| match unit.as_str() {
                        "pH" => format!("pH {number}"),
                        unit => format!("{number} {unit}"),
                    });
                    spread[index] = said[index].is_none() && (own[index].is_none() || index == *from);
                }
            }
            let told: Vec<(usize, &String)> = said
                .iter()
                .enumerate()
                .filter_map(|(index, said)| Some((index, said.as_ref()?)))
                .collect();
            let differ = told.windows(2).all(|pair| pair[0].1 != pair[1].1);
            // Every column of numbers without a name of its own has one.
            let nameless = (1..own.len()).any(|index| {
                table.grid.kinds[index] == ColumnKind::Figures
                    && said[index].is_none()
                    && (own[index].is_none() || spread[index])
                    && rows[numbers][index].is_none()
                    && rows.iter().any(|row| row[index].is_some())
            });
            // `1 2 3` may count what was measured; times run so.
            let counted = !timed
                && told.iter().zip(1_u32..).all(|((_, said), number)| {
                    leading_number(said.trim_start_matches("pH ")) == Some(f64::from(number))
                });
            let readings = || told.iter().all(|(index, _)| holds_readings(table, *index));
            (told.len() >= 2 && differ && !nameless && (!counted || readings())).then_some(Self {
                numbers,
                units,
                said,
                spread,
            })
        })
    }
}

/// The rows of headers above and below one, the one below first.
fn beside(level: usize, count: usize) -> impl Iterator<Item = usize> {
    let below = Some(level + 1).filter(|below| *below < count);
    below.into_iter().chain(level.checked_sub(1))
}

/// Whether a header is a number and nothing else.
fn is_number_alone(cell: &str) -> bool {
    leading_number(cell).is_some() && !cell.contains(|c: char| c.is_alphabetic() || c == '/')
}

/// Whether a column holds numbers as absorbances are: some with decimals, all of the size of readings.
fn holds_readings(table: &ScannedTable, index: usize) -> bool {
    let numbers = || table.grid.column(index).filter(|value| !value.is_nan());
    table.grid.kinds[index] == ColumnKind::Figures
        && numbers().any(|value| value.fract() != 0.0)
        && numbers().all(|value| LIKE_READINGS.contains(&value))
}

/// What readings are taken at, where a header names it with its unit and nothing else, and the unit as it is spelled: `°C` of
/// `Temperature (°C)`; `pH` for itself.
pub(in super::super) fn parameter(header: &str) -> Option<(Quantity, String)> {
    let head = read_column_header(header);
    let quantity = head.quantity.filter(|_| head.held.is_empty())?;
    if quantity == Quantity::named("ph") {
        return Some((quantity, "pH".to_owned()));
    }
    let taken_at = matches!(
        quantity.as_str(),
        "temperature" | "time" | "concentration" | "wavelength"
    );
    let (_, unit) = split_unit(header).filter(|_| taken_at && head.unit.is_some())?;
    Some((quantity, bare_unit(unit).to_owned()))
}
