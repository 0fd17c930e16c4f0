//! Which of the columns that may run does, and which only counts, names or was computed.

use std::borrow::Cow;
use std::collections::BTreeMap;

use curvary_record::{Quantity, Span, Unit};

use super::super::grid::ColumnKind;
use super::Shaper;
use super::roles::{ShapeRole, identifies, is_series_of_doses};
use crate::words;
use crate::words::WordList;

impl Shaper<'_> {
    /// The columns of these that may run: elapsed numbers beside clock times are the axis, and what was computed from the
    /// readings is none.
    pub(super) fn running(&self, coordinates: &[usize], roles: &[ShapeRole]) -> Vec<usize> {
        if self.is_computed(coordinates, roles) {
            return Vec::new();
        }
        // Of two concentrations the doses run, and what was found from the readings does not.
        let concentrations: Vec<usize> = coordinates
            .iter()
            .copied()
            .filter(|&i| {
                self.columns[i].quantity == Some(Quantity::CONCENTRATION)
                    && self.columns[i].kind == ColumnKind::Figures
            })
            .collect();
        let doses = |i: &usize| is_series_of_doses(self.table.grid.numbers(self.columns[*i].index));
        let (made, found): (Vec<usize>, Vec<usize>) = concentrations.into_iter().partition(doses);
        let coordinates: Vec<usize> = match made.as_slice() {
            [_] => coordinates
                .iter()
                .copied()
                .filter(|i| !found.contains(i))
                .collect(),
            _ => coordinates.to_vec(),
        };
        let coordinates = coordinates.as_slice();
        let figures: Vec<usize> = coordinates
            .iter()
            .copied()
            .filter(|&i| self.columns[i].kind == ColumnKind::Figures)
            .collect();
        // The wavelength runs in a spectrum, whatever the clock says of each of its points.
        let clocked = |i: &usize| self.columns[*i].clock.is_some();
        let spectrum = |i: &usize| {
            let column = &self.columns[*i];
            column.quantity == Some(Quantity::WAVELENGTH)
                && column.kind == ColumnKind::Figures
                && column.stats.orderly()
                && column.stats.count >= 4
        };
        if let &[one, other] = coordinates
            && let Some(scanned) = [one, other].into_iter().find(spectrum)
            && [one, other].iter().any(clocked)
        {
            return vec![scanned];
        }
        let timed = |&i: &usize| self.columns[i].quantity == Some(Quantity::TIME);
        if figures.len() < coordinates.len() && figures.iter().any(timed) {
            figures
        } else {
            coordinates.to_vec()
        }
    }

    /// Where a time runs, a concentration in front of it was followed and is no axis.
    pub(super) fn put_time_first(&self, xs: &mut Vec<usize>) {
        let of = |i: usize, quantity: &Quantity| self.columns[i].quantity.as_ref() == Some(quantity);
        if let Some(at) = xs
            .iter()
            .position(|&i| of(i, &Quantity::TIME) && self.columns[i].stats.rising)
            && xs.first().is_some_and(|&i| of(i, &Quantity::CONCENTRATION))
        {
            let time = xs.remove(at);
            xs.insert(0, time);
        }
    }

    /// Whether a condition was changed on purpose, from the first row to the last: a temperature or a pH that only drifts
    /// while samples are read changes by less.
    pub(super) fn is_swept(&self, place: usize) -> bool {
        const LEAST_KELVIN: f64 = 5.0;
        const LEAST_PH: f64 = 1.0;
        let column = &self.columns[place];
        let least = match &column.quantity {
            Some(quantity) if *quantity == Quantity::TEMPERATURE => LEAST_KELVIN,
            _ => LEAST_PH,
        };
        let stats = &column.stats;
        // A step of a degree Fahrenheit is no kelvin.
        let unit = self.unit_of(column).unwrap_or(Unit::ONE);
        let range = match unit.converts_to(&Unit::KELVIN) {
            true => (unit.to_si(stats.max) - unit.to_si(stats.min)).abs(),
            false => stats.max - stats.min,
        };
        stats.count >= 4 && stats.orderly() && range >= least
    }

    /// Whether the rows of one name all have one value on the axis, `S1 0`, `S1 0`, `S2 2.5`, `S2 2.5`: the names stand for the values
    /// and part no curves.
    pub(super) fn names_stand_for(&self, x: usize, roles: &[ShapeRole]) -> bool {
        let Some(names) = self.row_names(roles) else {
            return false;
        };
        let mut values: BTreeMap<Cow<'_, str>, u64> = BTreeMap::new();
        let mut repeated = false;
        for (row, name) in names.iter().enumerate() {
            let value = self.table.grid.figure(row, self.columns[x].index);
            match values.insert(name, value.to_bits()) {
                Some(before) if before != value.to_bits() => return false,
                before => repeated |= before.is_some(),
            }
        }
        let distinct: std::collections::BTreeSet<u64> = values.values().copied().collect();
        repeated && distinct.len() >= 3
    }

    /// Whether a concentration stands behind all readings, goes up and down, and numbers that identify stand in front.
    pub(super) fn is_result_behind(&self, x: usize, roles: &[ShapeRole]) -> bool {
        let last = roles.iter().rposition(|role| *role == ShapeRole::Measured);
        self.columns[x].quantity == Some(Quantity::CONCENTRATION)
            && last.is_some_and(|last| last < x)
            && !self.columns[x].stats.orderly()
            && self.columns[..x].iter().any(identifies)
    }

    /// Whether the rows are named as samples, `Echantillon`, and no name is that of a standard or a blank.
    fn are_samples(&self, roles: &[ShapeRole]) -> bool {
        let grid = &self.table.grid;
        let text = self.source.text();
        let mut named = self
            .columns
            .iter()
            .zip(roles)
            .filter(|(_, role)| **role == ShapeRole::Names);
        let Some((column, _)) = named.next() else {
            return false;
        };
        let head = column.heads.last().map_or("", |(text, _)| text.trim());
        let standard = |name: &str| {
            let lower = name.trim().to_lowercase();
            words::begins(WordList::StandardSample, &lower) || words::is_blank(name)
        };
        let names = grid.words(column.index);
        words::field_of(head) == Some("sample")
            && !names.is_empty()
            && !names.iter().any(|name| standard(&text[name.range()]))
    }

    /// Whether the only coordinates are concentrations that were computed from the readings beside them: samples in any
    /// order, each read at several wavelengths.
    pub(super) fn is_computed(&self, xs: &[usize], roles: &[ShapeRole]) -> bool {
        let Some(x) = xs.first() else { return false };
        let all = xs
            .iter()
            .all(|&x| self.columns[x].quantity == Some(Quantity::CONCENTRATION));
        let mut wavelengths: Vec<u64> = self
            .columns
            .iter()
            .flat_map(|column| &column.held)
            .filter(|held| held.quantity == Quantity::WAVELENGTH)
            .map(|held| held.value.to_bits())
            .collect();
        wavelengths.sort_unstable();
        wavelengths.dedup();
        // Behind the only reading it may have been computed from it as well.
        let behind = roles
            .iter()
            .position(|role| *role == ShapeRole::Measured)
            .is_some_and(|y| y < *x);
        // What was diluted was read off a line.
        let diluted = self.columns.iter().any(|column| {
            let head = column.heads.last().map_or("", |(text, _)| text.trim());
            words::field_of(head) == Some("dilution")
        });
        all && roles.contains(&ShapeRole::Names)
            && if behind && (diluted || self.is_worked_out(*x) || self.are_samples(roles)) {
                true
            } else if xs.len() > 1 {
                behind && wavelengths.len() >= 2
            } else if self.columns[*x].stats.orderly() {
                behind
                    && (wavelengths.len() >= 2 && self.table.grid.rows > 2 || self.is_proportional(*x, roles))
            } else {
                wavelengths.len() >= 2 || behind
            }
    }

    /// Whether the header of a concentration says that it was worked out, `berechnet (mg/l)`, or its rows are called no
    /// standards and its numbers are no round ones: what somebody calls `Teich` was measured, and not weighed in.
    fn is_worked_out(&self, x: usize) -> bool {
        let column = &self.columns[x];
        if column
            .heads
            .iter()
            .any(|(head, _)| words::contains(WordList::WorkedOut, head))
        {
            return true;
        }
        let text = self.source.text();
        let standard = |span: &Span| {
            words::begins(
                WordList::StandardSample,
                &text[span.range()].trim().to_lowercase(),
            )
        };
        let names = self
            .columns
            .iter()
            .find(|column| column.kind == ColumnKind::Words && !self.is_sparse(column));
        names.is_some_and(|names| {
            let cells = self.table.grid.words(names.index);
            let blank = |span: &Span| words::is_blank(text[span.range()].trim());
            cells.len() >= 2 && !cells.iter().any(|span| standard(span) || blank(span))
        }) && !is_series_of_doses(&self.table.grid.column(column.index).collect::<Vec<_>>())
    }

    /// Whether a column is a measured one times one factor, but for rounding: no readings of standards are.
    fn is_proportional(&self, x: usize, roles: &[ShapeRole]) -> bool {
        const FEWEST: usize = 3;
        let decimals = |place: usize| {
            let changes = &self.decimals[self.table.grid.place(self.columns[place].index)];
            changes.iter().map(|&(_, digits)| digits).min().unwrap_or(0)
        };
        let half_digit = |place: usize| 0.5 * 10f64.powi(-i32::from(decimals(place)));
        let computed: Vec<f64> = self.table.grid.column(self.columns[x].index).collect();
        (0..roles.len())
            .filter(|&y| roles[y] == ShapeRole::Measured && self.columns[y].kind == ColumnKind::Figures)
            .any(|y| {
                let pairs: Vec<(f64, f64)> = self
                    .table
                    .grid
                    .column(self.columns[y].index)
                    .zip(computed.iter().copied())
                    .filter(|(read, computed)| !read.is_nan() && !computed.is_nan())
                    .collect();
                let Some(&(read, found)) = pairs.iter().max_by(|a, b| a.0.total_cmp(&b.0)) else {
                    return false;
                };
                let factor = found / read;
                let fits = |&(read, found): &(f64, f64)| {
                    (found - factor * read).abs() <= half_digit(x) * 2.0 + factor.abs() * half_digit(y)
                };
                let spans = pairs.iter().any(|(other, _)| *other < 0.8 * read);
                read > 0.0 && found != 0.0 && spans && pairs.len() >= FEWEST && pairs.iter().all(fits)
            })
    }

    /// Whether of these coordinates one is a time and another a wavelength that goes to and fro.
    pub(super) fn mixes_wavelengths(&self, xs: &[usize]) -> bool {
        let has = |i: usize, quantity: Quantity| self.columns[i].quantity == Some(quantity);
        let changes = |i: usize| {
            let stats = &self.columns[i].stats;
            stats.min < stats.max && !stats.orderly()
        };
        xs.iter().any(|&i| has(i, Quantity::TIME))
            && xs
                .iter()
                .any(|&i| (has(i, Quantity::WAVELENGTH) || has(i, Quantity::WAVENUMBER)) && changes(i))
    }
}
