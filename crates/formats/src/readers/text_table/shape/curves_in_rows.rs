//! Curves in rows: spectra, each with a time or a name in front of it, or curves over another axis that stands across.

use super::matrix::NumbersAcross;
use super::*;

/// What stands in front of the rows.
enum RowHead {
    Time(Quantity, Unit),
    /// A coordinate that is held along each row.
    Held(Quantity, Unit),
    Name,
}

/// What was measured in the rows.
struct MeasuredQuantity {
    quantity: Quantity,
    unit: Unit,
    /// Whether the names of the rows say it.
    in_names: bool,
}

/// A column beside the curves that says at what each of them was read.
struct ColumnBeside {
    index: usize,
    quantity: Quantity,
    unit: Unit,
}

/// A table of curves in rows.
struct CurvesInRows<'a> {
    across: &'a NumbersAcross,
    /// The column in front of the rows.
    first: Column,
    head: RowHead,
    x: Values,
    measured: MeasuredQuantity,
    names: Option<Vec<String>>,
    beside: Vec<ColumnBeside>,
}

/// The readings of one row.
#[derive(Default)]
struct RowReadings {
    /// Under which of the numbers across they stand.
    kept: Vec<usize>,
    values: Vec<f64>,
    decimals: Decimals,
}

/// What is noted while the rows are read downwards.
struct RowsPassed {
    /// Of each column, how many changes of its decimals were passed.
    changes: Vec<usize>,
    /// Numbers that stand for missing values.
    sentinels: Vec<(usize, f64)>,
}

impl CurvesInRows<'_> {
    /// The numbers across under which a row has readings, as the x of its curve.
    fn x_of(&self, readings: &RowReadings) -> Values {
        if readings.kept.len() == self.x.values.len() {
            return self.x.clone();
        }
        let values = &self.across.values;
        Values {
            values: readings.kept.iter().map(|&n| values[n]).collect(),
            decimals: Decimals::default(),
            ..self.x.clone()
        }
    }
}

impl Shaper<'_> {
    /// Spectra as rows, or times down and wavelengths across; or curves over another `axis` that stands across.
    pub(super) fn curves_in_rows(
        &mut self,
        across: &NumbersAcross,
        axis: Option<(Quantity, Unit)>,
    ) -> Option<RunDraft> {
        if axis.is_none() {
            self.take_time_of_corner(across);
        }
        let time_down = self.columns[0].clock.is_some()
            || self.columns[0].quantity == Some(Quantity::TIME) && axis.is_none();
        if time_down && across.columns.len() < SCAN_FROM
            || !across.run()
            || axis.is_none() && self.has_single_readings(across)
        {
            return None;
        }
        let rows = self.described_rows(across, axis, time_down);
        let mut traces = Vec::with_capacity(self.table.grid.rows);
        let mut passed = RowsPassed {
            changes: vec![0; across.columns.len()],
            sentinels: Vec::new(),
        };
        for row in (0..self.table.grid.rows).filter(|row| !self.summed.contains(row)) {
            let readings = self.readings_of_row(&rows, row, &mut passed);
            traces.extend(self.curve_of_row(&rows, row, readings));
        }
        for trace in &mut traces {
            self.mark_saturated(trace, f64::INFINITY);
        }
        self.tell_gaps_of_rows(&rows);
        self.tell_sentinels("the table", &passed.sentinels);
        let (from, to) = (
            across.values.first().copied().unwrap_or(0.0),
            across.values.last().copied().unwrap_or(0.0),
        );
        let x_quantity = &rows.x.quantity;
        let over_light = *x_quantity == Quantity::WAVELENGTH;
        self.because.push(if over_light {
            format!("wavelengths from {from} to {to} stand across; each row is a spectrum")
        } else {
            format!("the {x_quantity} from {from} to {to} stands across; each row is a curve")
        });
        if !over_light {
            self.hold_wavelength(&mut traces);
        }
        let technique = match &rows.head {
            _ if !over_light && rows.measured.quantity == Quantity::RATE => Technique::RATE_SERIES,
            _ if !over_light => self.technique_of(x_quantity, &[]),
            RowHead::Time(..) => Technique::SPECTRAL_TIME_COURSE,
            RowHead::Held(..) | RowHead::Name => Technique::SPECTRUM,
        };
        Some(self.finish(technique, traces))
    }

    /// Gives the first column the time that the corner names, where it says nothing of its own.
    fn take_time_of_corner(&mut self, across: &NumbersAcross) {
        let first = &mut self.columns[0];
        let time = across.corner().find(|head| head.0 == Some(Quantity::TIME));
        if let Some((_, unit)) = time.filter(|_| first.quantity.is_none()) {
            first.quantity = Some(Quantity::TIME);
            first.unit.clone_from(unit);
            first.quantities_possible.clear();
        }
    }

    /// Whether samples were read at a few chosen wavelengths: single readings, and no spectra.
    fn has_single_readings(&self, across: &NumbersAcross) -> bool {
        let first = &self.columns[0];
        let named = first.kind == ColumnKind::Words && first.clock.is_none();
        let stated = across.columns.iter().all(|(_, _, held)| held.is_some());
        // Two stand in one step whatever they are.
        let chosen = across.columns.len() <= 2 || !is_even(&across.values);
        named && stated && across.columns.len() < SCAN_FROM && chosen
    }

    /// What the rows hold and what stands in front of them; what each column was used for is noted.
    fn described_rows<'r>(
        &mut self,
        across: &'r NumbersAcross,
        axis: Option<(Quantity, Unit)>,
        time_down: bool,
    ) -> CurvesInRows<'r> {
        let first = self.columns[0].clone();
        let measured = self.measured_in_rows(&first, across.columns[0].0);
        let head = if time_down {
            let (quantity, unit) = self.x_meaning(0);
            RowHead::Time(quantity, unit)
        } else {
            self.held_in_front(&first)
        };
        let (quantity, unit) = axis.unwrap_or_else(|| {
            let told = across.columns[0]
                .2
                .as_ref()
                .filter(|c| c.quantity == Quantity::WAVELENGTH);
            let unit = told.map_or(Unit::NANOMETRE, |c| c.unit.clone());
            (Quantity::WAVELENGTH, unit)
        });
        for (i, _, _) in &across.columns {
            self.used(*i, ColumnRole::Measured, &measured.quantity, &measured.unit);
        }
        match &head {
            RowHead::Time(quantity, unit) | RowHead::Held(quantity, unit) => {
                self.used(0, ColumnRole::Held, quantity, unit);
            }
            RowHead::Name if first.kind == ColumnKind::Figures => {
                self.used(0, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE);
            }
            RowHead::Name => {}
        }
        let heads = across.columns.iter().map(|(i, _, _)| {
            let head = self.columns[*i].heads.last();
            head.map_or("", |(text, _)| text.as_str())
        });
        let x = Values {
            quantity,
            unit,
            name: None,
            values: across.values.as_slice().into(),
            decimals: decimals_in_heads(heads),
        };
        let names = self.row_names(&self.columns.iter().map(role).collect::<Vec<_>>());
        let names = names.map(|names| names.to_vec());
        let beside = self.held_beside(across, &x.quantity);
        CurvesInRows {
            across,
            first,
            head,
            x,
            measured,
            names,
            beside,
        }
    }

    /// What was measured stands in the row names, in the corner, in the words around, or nowhere. `sample` is one of its columns.
    fn measured_in_rows(&mut self, first: &Column, sample: usize) -> MeasuredQuantity {
        if let Some((quantity, unit)) = self.measured_in_names(first) {
            return MeasuredQuantity {
                unit: unit.unwrap_or_else(|| customary_unit(&quantity)),
                quantity,
                in_names: true,
            };
        }
        let in_corner = first
            .heads
            .iter()
            .rev()
            .find_map(|(text, _)| measured_in_corner(text).map(|(quantity, _)| quantity));
        let (quantity, unit) = if let Some(quantity) = in_corner {
            let unit = customary_unit(&quantity);
            (quantity, unit)
        } else {
            let column = &mut self.columns[sample];
            column.quantity = column.quantity.take().filter(Quantity::is_of_light);
            column.held.clear();
            let roles: Vec<ShapeRole> = self.columns.iter().map(|_| ShapeRole::Open).collect();
            self.y_meaning(sample, &Quantity::WAVELENGTH, &roles)
        };
        MeasuredQuantity {
            quantity,
            unit,
            in_names: false,
        }
    }

    /// What the names of all rows say was measured, where they say the same.
    fn measured_in_names(&self, first: &Column) -> Option<(Quantity, Option<Unit>)> {
        if first.kind != ColumnKind::Words {
            return None;
        }
        let text = self.source.text();
        let heads: Vec<_> = self
            .table
            .grid
            .words(first.index)
            .iter()
            .map(|span| head_or_first_word(&text[span.range()]))
            .collect();
        let quantity = heads
            .first()?
            .quantity
            .clone()
            .filter(|quantity| quantity.is_of_light() || *quantity == Quantity::RATE)?;
        let alike = heads.iter().all(|head| head.quantity.as_ref() == Some(&quantity));
        alike.then(|| (quantity, heads[0].unit.clone()))
    }

    /// The coordinate in front of the rows, or that they have names.
    fn held_in_front(&self, first: &Column) -> RowHead {
        let quantity = first.quantity.clone().filter(|quantity| {
            first.kind == ColumnKind::Figures
                && *quantity != Quantity::WAVELENGTH
                && *quantity != Quantity::INDEX
        });
        match quantity.zip(self.unit_of(first)) {
            Some((quantity, unit)) => RowHead::Held(quantity, unit),
            None => RowHead::Name,
        }
    }

    /// The columns beside the curves that say at what each was read: `Group;nm;0 s;60 s`.
    fn held_beside(&mut self, across: &NumbersAcross, x_quantity: &Quantity) -> Vec<ColumnBeside> {
        let mut beside = Vec::new();
        for i in 1..self.columns.len() {
            let column = &self.columns[i];
            if column.kind != ColumnKind::Figures || across.columns.iter().any(|(of, ..)| *of == i) {
                continue;
            }
            let quantity = column.quantity.clone().filter(|quantity| {
                quantity != x_quantity
                    && matches!(
                        quantity.as_str(),
                        "wavelength" | "concentration" | "temperature" | "ph"
                    )
            });
            let Some((quantity, unit)) = quantity.zip(self.unit_of(column)) else {
                continue;
            };
            let index = column.index;
            self.used(i, ColumnRole::Held, &quantity, &unit);
            beside.push(ColumnBeside {
                index,
                quantity,
                unit,
            });
        }
        beside
    }

    /// The readings of a row, those above it having been read.
    fn readings_of_row(&self, rows: &CurvesInRows, row: usize, passed: &mut RowsPassed) -> RowReadings {
        let is_sentinel = sentinel_of(self.context, &rows.measured.quantity, Some(&rows.measured.unit));
        let mut readings = RowReadings::default();
        for (n, (i, _, _)) in rows.across.columns.iter().enumerate() {
            let index = self.columns[*i].index;
            let value = self.table.grid.figure(row, index);
            if value.is_nan() {
                continue;
            }
            if is_sentinel(value) {
                passed.sentinels.push((row, value));
                continue;
            }
            let changes = &self.decimals[self.table.grid.place(index)];
            // The rows go downwards, and so do the changes.
            let passed = &mut passed.changes[n];
            while changes
                .get(*passed)
                .is_some_and(|&(from, _)| from as usize <= row)
            {
                *passed += 1;
            }
            let digits = passed.checked_sub(1).map_or(0, |last| changes[last].1);
            readings.decimals.push(digits);
            readings.kept.push(n);
            readings.values.push(value);
        }
        readings
    }

    /// The curve of a row with its name, and what is held along it; `None` where the row has no readings.
    fn curve_of_row(&self, rows: &CurvesInRows, row: usize, readings: RowReadings) -> Option<Trace> {
        let kept = readings.kept.len();
        let x = rows.x_of(&readings);
        let y = Values {
            quantity: rows.measured.quantity.clone(),
            unit: rows.measured.unit.clone(),
            name: None,
            values: readings.values.into(),
            decimals: readings.decimals,
        };
        let mut trace = Trace::new(x, y).ok()?;
        let line = self.table.grid.line(row);
        trace.lines.push_run(line, 0, kept);
        trace.absent = u32::try_from(rows.across.columns.len() - kept).unwrap_or(u32::MAX);
        self.hold_in_row(&mut trace, rows, row);
        self.name_row(&mut trace, rows, row);
        (!trace.is_empty()).then_some(trace)
    }

    /// Holds what stands in front of a row and beside it.
    fn hold_in_row(&self, trace: &mut Trace, rows: &CurvesInRows, row: usize) {
        let grid = &self.table.grid;
        let line = u32::try_from(grid.line(row)).ok();
        let figure = |index: usize| Some(grid.figure(row, index)).filter(|value| !value.is_nan());
        match &rows.head {
            RowHead::Time(quantity, unit) => {
                let value = match &rows.first.clock {
                    Some(clock) => clock.seconds.get(row).copied().flatten(),
                    None => figure(rows.first.index),
                };
                if let Some(value) = value {
                    let mut held = Coordinate::new(quantity.clone(), unit.clone(), value);
                    held.line = line;
                    trace.held.push(held);
                }
            }
            RowHead::Held(quantity, unit) => trace.held.extend(
                figure(rows.first.index).map(|value| Coordinate::new(quantity.clone(), unit.clone(), value)),
            ),
            RowHead::Name => {}
        }
        for ColumnBeside {
            index,
            quantity,
            unit,
        } in &rows.beside
        {
            if let Some(value) = figure(*index).filter(|_| trace.held(quantity).is_none()) {
                let mut held = Coordinate::new(quantity.clone(), unit.clone(), value);
                held.line = line;
                trace.held.push(held);
            }
        }
    }

    /// Gives the curve of a row its name, and takes what that says.
    fn name_row(&self, trace: &mut Trace, rows: &CurvesInRows, row: usize) {
        let first = &rows.first;
        let names = rows.names.as_deref().filter(|_| first.clock.is_none());
        let Some((names, name)) = names.and_then(|names| Some((names, names.get(row)?))) else {
            if !matches!(rows.head, RowHead::Time(..)) && first.kind == ColumnKind::Figures {
                let written = self.cell_text(row, first.index);
                trace.label = Some(match written {
                    Some(cell) => cell.trim().to_owned(),
                    None => self.table.grid.figure(row, first.index).to_string(),
                });
            }
            return;
        };
        let head = head_or_first_word(name);
        // `E 340 sample 1` says at which wavelength its row was measured.
        for held in head.held {
            let own = held.quantity != Quantity::UNKNOWN && held.quantity != rows.x.quantity;
            if own && trace.held(&held.quantity).is_none() {
                trace.held.push(held);
            }
        }
        // `Wine (2012)`, `Wine (2013)`: what stands in the brackets tells them apart.
        let label = head.label.filter(|label| {
            !names.iter().enumerate().any(|(other, another)| {
                other != row && another != name && head_or_first_word(another).label.as_ref() == Some(label)
            })
        });
        // `Initial rate (µmol/L/min)` says what the row is of, and names no sample.
        let says_more = label.is_some() || !rows.measured.in_names;
        let label = label.unwrap_or_else(|| name.clone());
        if first.names_samples() && says_more {
            let place = Origin::Source(Place::line(self.table.grid.line(row)));
            trace.fields.claim("sample", Claim::text(label.clone(), place));
        }
        trace.label = Some(label);
    }

    /// Tells which cells of the rows lack.
    fn tell_gaps_of_rows(&mut self, rows: &CurvesInRows) {
        if let RowHead::Time(quantity, _) | RowHead::Held(quantity, _) = &rows.head {
            self.tell_gaps(&[rows.first.index], quantity);
        }
        let columns = rows.across.columns.iter();
        let columns: Vec<usize> = columns.map(|(i, _, _)| self.columns[*i].index).collect();
        self.tell_gaps(&columns, &rows.measured.quantity);
    }
}

/// Whether numbers go on in one step.
fn is_even(values: &[f64]) -> bool {
    let step = values.get(1).zip(values.first()).map_or(0.0, |(b, a)| b - a);
    values
        .windows(2)
        .all(|pair| (pair[1] - pair[0] - step).abs() <= 1e-6 * step.abs())
}

/// The decimals with which the numbers across the heads are written.
fn decimals_in_heads<'a>(heads: impl Iterator<Item = &'a str>) -> Decimals {
    let mut decimals = Decimals::default();
    for head in heads {
        let mut digits = 0;
        for style in [Style::POINT, Style::COMMA] {
            if let super::super::number::Cell::Number { decimals, .. }
            | super::super::number::Cell::WithUnit { decimals, .. } =
                super::super::number::cell(head, style)
            {
                digits = decimals;
                break;
            }
        }
        decimals.push(digits);
    }
    decimals
}
