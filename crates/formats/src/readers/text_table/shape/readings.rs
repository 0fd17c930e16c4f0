//! Single readings, a name a row, and what names and flags stand beside rows.

use std::borrow::Cow;

use super::row_names::RowNames;
use super::*;
use curvary_record::KnownQuantity;

impl<'a> Shaper<'a> {
    /// Gives time courses the wavelength that the words around state.
    pub(super) fn hold_wavelength(&mut self, traces: &mut [Trace]) {
        // Curves of several wavelengths have their own each.
        let first = traces.first().and_then(|trace| trace.held(&Quantity::WAVELENGTH));
        let first = first.map(|held| (held.value, held.unit.clone()));
        // Behind `A549` a column `HeLa`: what a header calls by its own name alone tells of no other wavelength.
        let first = first.or_else(|| {
            let held = traces.iter().find_map(|trace| trace.held(&Quantity::WAVELENGTH));
            held.map(|held| (held.value, held.unit.clone()))
        });
        let are_at_one = traces.iter().all(|trace| {
            let held = trace.held(&Quantity::WAVELENGTH);
            held.is_none() && !crate::words::is_ours(&trace.y.quantity)
                || held.map(|held| (held.value, held.unit.clone())) == first
        });
        let stated = self.stated_wavelength(traces);
        if let Some((value, unit, line)) = &stated {
            // `Beads 200 nm`, `Beads 300 nm` below a key that states another wavelength than any of them: sizes, or the key is wrong.
            let none_is_stated = *line > 0
                && traces.iter().all(|trace| {
                    trace.held(&Quantity::WAVELENGTH).is_some_and(|held| {
                        held.unit
                            .convert(held.value, unit)
                            .is_ok_and(|at| (at - value).abs() > 1e-6 * value)
                    })
                });
            for trace in traces {
                let disputed = trace
                    .held(&Quantity::WAVELENGTH)
                    .filter(|held| {
                        (are_at_one || none_is_stated)
                            && held
                                .unit
                                .convert(held.value, unit)
                                .is_ok_and(|at| (at - value).abs() > 1e-6 * value)
                    })
                    .cloned();
                if let Some(held) = disputed {
                    self.ask_wavelength(&held, *value, unit);
                    if self.source.assume().get("wavelength") == Some("words") {
                        trace.held.retain(|held| held.quantity != Quantity::WAVELENGTH);
                    }
                }
                let of_rates = || trace.y.quantity == Quantity::RATE && trace.y.unit.code().contains("{AU}");
                let measured = trace.y.quantity.is_of_light() || trace.y.quantity == Quantity::UNKNOWN;
                if (measured || of_rates()) && trace.held(&Quantity::WAVELENGTH).is_none() {
                    let mut held = Coordinate::new(Quantity::WAVELENGTH, unit.clone(), *value);
                    held.line = Some(*line).filter(|&line| line > 0);
                    trace.held.push(held);
                }
            }
        }
    }

    /// The wavelength that the words around state for curves without one of their own. Where two keys state different ones, it is
    /// asked which holds.
    fn stated_wavelength(&mut self, traces: &[Trace]) -> Option<(f64, Unit, u32)> {
        let needed = traces
            .iter()
            .any(|trace| trace.held(&Quantity::WAVELENGTH).is_none() && trace.y.quantity.is_of_light());
        let Some((first, last)) = self.context.disputed.clone().filter(|_| needed) else {
            return self.context.wavelength.clone();
        };
        let of = |(value, unit): (f64, Unit)| Some((value, unit, 0));
        match self.source.assume().get("wavelength") {
            Some("first") => return of(first),
            Some("last") => return of(last),
            Some(_) => return self.context.wavelength.clone(),
            None => {}
        }
        let says = |(value, unit): &(f64, Unit)| format!("{value} {}", unit.display());
        let (one, other) = (says(&first), says(&last));
        self.ask(
            "wavelength-disputed",
            &format!("two lines state the wavelength, {one} and {other}: they disagree"),
            &[
                ("wavelength=first", &format!("{one}, as the first line says")),
                ("wavelength=last", &format!("{other}, as the last line says")),
            ],
            Vec::new(),
        );
        None
    }

    /// Asks at which of two wavelengths was measured: that of the header or that of the words around the table.
    fn ask_wavelength(&mut self, held: &Coordinate, value: f64, unit: &Unit) {
        if self.source.assume().get("wavelength").is_some() {
            return;
        }
        let (header, words) = (
            format!("{} {}", held.value, held.unit.display()),
            format!("{value} {}", unit.display()),
        );
        let message =
            format!("a header says {header}, but the words around the table say {words}: they disagree");
        let labels = vec![Label {
            place: Place::line(held.line.unwrap_or(self.table.first_line) as usize),
            text: "the header".to_owned(),
        }];
        self.ask(
            "wavelength-disputed",
            &message,
            &[
                ("wavelength=header", &format!("{header}, as the header says")),
                (
                    "wavelength=words",
                    &format!("{words}, as the words around the table say"),
                ),
            ],
            labels,
        );
    }

    pub(super) fn row_names(&self, roles: &[ShapeRole]) -> Option<RowNames<'a>> {
        self.names_in(&self.columns_of_names(roles))
    }

    /// The columns that name the rows.
    fn columns_of_names(&self, roles: &[ShapeRole]) -> Vec<&Column> {
        self.columns
            .iter()
            .zip(roles)
            .enumerate()
            .filter(|(_, (column, role))| **role == ShapeRole::Names && !self.is_sparse(column))
            // What one word says of the whole run names no row of it.
            .filter(|(place, _)| self.uses[*place].is_none())
            .map(|(_, (column, _))| column)
            .collect()
    }

    /// The names of the rows for the column at `y`, where lists of the same form stand side by side, `ID  A280  ID  A280`: those
    /// of the column in front of it.
    fn names_beside(&self, y: usize, roles: &[ShapeRole]) -> Option<RowNames<'a>> {
        let names = self.columns_of_names(roles);
        let [first, others @ ..] = names.as_slice() else {
            return None;
        };
        let head = |column: &Column| column.heads.last().map(|(text, _)| text.trim().to_lowercase());
        let alike = !others.is_empty()
            && head(first).is_some()
            && others.iter().all(|other| head(other) == head(first));
        let index = self.columns[y].index;
        let gaps = names.windows(2).all(|pair| pair[1].index - pair[0].index >= 2);
        let own = names.iter().rfind(|column| column.index < index)?;
        let starts = first.index == 0;
        (alike && gaps && starts).then(|| self.names_in(&[*own]))?
    }

    /// What stands in some columns, row by row.
    fn names_in(&self, columns: &[&Column]) -> Option<RowNames<'a>> {
        let grid = &self.table.grid;
        let spans = columns.iter().map(|column| grid.words(column.index)).collect();
        RowNames::of(self.source.text(), spans, grid.rows)
    }

    /// The names of the rows, with the numbers that stand under `No.` or `Tube` in front of them, unless these only count the
    /// rows from 1 on: nothing else tells which row is which.
    fn row_names_and_numbers(&self, roles: &[ShapeRole]) -> Option<Vec<String>> {
        let mut names = self.row_names(roles).map(|names| names.to_vec());
        let grid = &self.table.grid;
        let numbers = self.columns.iter().zip(roles).filter(|(column, role)| {
            let flag = column
                .quantity
                .as_ref()
                .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Flag));
            let counts = || {
                grid.column(column.index)
                    .enumerate()
                    .all(|(row, value)| value == (row + 1) as f64)
            };
            // One rack for all tells none of them from the others.
            let alike = names.is_some() && column.stats.min == column.stats.max;
            **role == ShapeRole::Counter && column.kind == ColumnKind::Figures && !flag && !counts() && !alike
        });
        let columns: Vec<&Column> = numbers.map(|(column, _)| column).collect();
        for column in columns.into_iter().rev() {
            let unit = grid
                .units
                .get(column.index)
                .and_then(Option::as_deref)
                .unwrap_or("");
            let all = names.get_or_insert_with(|| vec![String::new(); grid.rows]);
            for ((row, value), name) in grid.column(column.index).enumerate().zip(all) {
                if value.is_nan() {
                    continue;
                }
                // A name as it is written: `007` is not `7`.
                let number = match self.cell_text(row, column.index) {
                    Some(cell) => cell.to_owned(),
                    None => format!("{value} {unit}"),
                };
                *name = if name.is_empty() {
                    number.trim_end().to_owned()
                } else {
                    format!("{} / {name}", number.trim_end())
                };
            }
        }
        names
    }

    /// The text of a cell, where its row was read cell by cell.
    pub(super) fn cell_text(&self, row: usize, column: usize) -> Option<&str> {
        let line = self.table.grid.line(row).checked_sub(1)?;
        let lines = self.source.lines();
        let span = (line < lines.count()).then(|| lines.span(line))?;
        let line = &self.source.text()[span.range()];
        let cell = self.table.grid.cell_in(line, column)?;
        Some(line[cell].trim().trim_matches('"'))
            .filter(|cell| cell.starts_with(|c: char| c.is_ascii_digit()))
    }

    /// Whether every row has a name of its own. A date is none.
    pub(super) fn named_one_by_one(&self, roles: &[ShapeRole]) -> bool {
        let dated = |name: &Cow<'_, str>| !matches!(moment::read(name, None).date, moment::DateReading::No);
        // Numbers that identify name as well as words do.
        let numbered = || {
            self.row_names_and_numbers(roles)
                .filter(|_| self.columns.iter().any(identifies))
        };
        let names = self.row_names(roles).map(|names| names.iter().collect());
        let names: Option<Vec<Cow<'_, str>>> =
            names.or_else(|| Some(numbered()?.into_iter().map(Cow::Owned).collect()));
        names.is_some_and(|names| {
            let named = names
                .into_iter()
                .enumerate()
                .filter(|(row, _)| !self.summed.contains(row));
            let mut names: Vec<Cow<'_, str>> = named.map(|(_, name)| name).collect();
            let rows = names.len();
            if names.iter().all(dated) {
                return false;
            }
            names.sort_unstable();
            names.dedup();
            names.len() == rows
        })
    }

    /// A column of words in which most rows have none: flags and events, not names. Rows that sum up others have no name.
    pub(super) fn is_sparse(&self, column: &Column) -> bool {
        let words = self.table.grid.words(column.index);
        // `D1`, nothing, `D2`, nothing under `Sample`: a name holds for the rows below it.
        let names = column.index == 0 && column.names_samples() && !self.summed.is_empty();
        if names {
            return false;
        }
        let is_empty = |(row, span): (usize, &Span)| span.start == span.end && !self.summed.contains(&row);
        let empty = words.iter().enumerate().filter(|one| is_empty(*one)).count();
        empty * 3 > words.len() - self.summed.len().min(words.len())
    }

    /// Tells the flags and events that stand beside the rows.
    pub(super) fn tell_flags(&mut self, roles: &[ShapeRole]) {
        let text = self.source.text();
        let mut told = Vec::new();
        for (column, role) in self.columns.iter().zip(roles) {
            if *role != ShapeRole::Names || !self.is_sparse(column) {
                continue;
            }
            let flags = self
                .table
                .grid
                .words(column.index)
                .iter()
                .filter(|span| span.start < span.end);
            for span in flags.take(PLACES_TOLD * 4) {
                told.push(
                    Diagnostic::note(
                        Code::new("row-flag"),
                        format!("a row is marked `{}`", text[span.range()].trim()),
                    )
                    .at(self.source.place(*span), ""),
                );
            }
        }
        for (column, role) in self.columns.iter().zip(roles) {
            let flag = column
                .quantity
                .as_ref()
                .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Flag));
            if *role != ShapeRole::Counter || !flag || column.stats.min == column.stats.max {
                continue;
            }
            let head = column.heads.last().map_or("", |(text, _)| text.trim());
            let ones = self
                .table
                .grid
                .column(column.index)
                .filter(|value| *value == 1.0)
                .count();
            let rare = if ones * 2 > column.stats.count { 0.0 } else { 1.0 };
            let rows = self.table.grid.column(column.index).enumerate();
            for (row, _) in rows.filter(|(_, value)| *value == rare).take(PLACES_TOLD * 4) {
                told.push(
                    Diagnostic::note(Code::new("row-flag"), format!("a row has {rare} under `{head}`"))
                        .at(Place::line(self.table.grid.line(row)), ""),
                );
            }
        }
        self.remarks.extend(told);
    }

    /// Rows that are readings of their own: x is a mere count.
    pub(super) fn readings(&mut self, roles: &[ShapeRole]) -> TableReading {
        let ys: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                matches!(
                    roles[i],
                    ShapeRole::Measured | ShapeRole::Open | ShapeRole::Beside
                ) && self.columns[i].kind == ColumnKind::Figures
            })
            .filter(|&i| i > 0 || !self.columns[i].heads.is_empty() || !self.columns[i].stats.counts())
            .collect();
        let constants = self.constants_of_readings(roles);
        let is_held = |y: &usize| constants.iter().any(|(place, _)| place == y);
        let (held, ys): (Vec<usize>, Vec<usize>) = ys.into_iter().partition(is_held);
        // A table of nothing else is one of conditions.
        let (constants, ys) = if ys.is_empty() {
            (Vec::new(), held)
        } else {
            (constants, ys)
        };
        if ys.is_empty() {
            return TableReading::Other("rows of names, and no numbers beside them".to_owned());
        }
        for (place, constant) in &constants {
            self.used(*place, ColumnRole::Held, &constant.quantity, &constant.unit);
        }
        let rows = self.table.grid.rows;
        let names = self.row_names_and_numbers(roles);
        let counted: Numbers = self
            .table
            .grid
            .places_as_written()
            .map(|place| (place + 1) as f64)
            .collect();
        let times = match self.axis_by_steps() {
            Some(axis) => axis,
            None => self.times_by_interval(&ys, roles),
        };
        let mut traces = Vec::new();
        let headed = ys.iter().any(|&y| self.columns[y].quantity.is_some());
        let settled = self.source.assume().get("shape").is_some();
        for &y in &ys {
            let (mut quantity, mut unit) = self.y_meaning(y, &Quantity::INDEX, roles);
            if headed && !settled && self.name(y).is_none() && self.columns[y].unit.is_none() {
                // Numbers without a head beside a column that has one: nothing says that they were measured.
                (quantity, unit) = (Quantity::UNKNOWN, Unit::ONE);
                self.ask(
                    "heads-do-not-fit",
                    "a column of numbers has no header, and another has one",
                    &[(
                        "shape=columns",
                        "the column is of the same kind as the one with a header",
                    )],
                    Vec::new(),
                );
            }
            let (kept, values, decimals) = self.kept(y, &quantity, None);
            let places = |all: &Numbers| {
                if kept.len() == rows {
                    all.clone()
                } else {
                    kept.iter().map(|row| all[row]).collect()
                }
            };
            let x = match &times {
                Times::Reckoned(quantity, unit, all) => {
                    Values::new(quantity.clone(), unit.clone(), places(all))
                }
                _ => Values::new(Quantity::INDEX, Unit::ONE, places(&counted)),
            };
            let column = Values {
                quantity,
                unit,
                name: self.name(y),
                values,
                decimals,
            };
            if let Some(mut trace) = self.assemble(x, column, y, &kept) {
                let own = match (self.names_beside(y, roles), &names) {
                    (Some(beside), _) => Some(kept.iter().map(|row| beside.get(row).into_owned()).collect()),
                    (None, Some(names)) => {
                        Some(kept.iter().filter_map(|row| names.get(row).cloned()).collect())
                    }
                    (None, None) => None,
                };
                if let Some(own) = own {
                    trace.row_names = own;
                    self.name_wells(y, &mut trace.row_names);
                }
                for (_, constant) in &constants {
                    if trace.held(&constant.quantity).is_none() {
                        trace.held.push(constant.clone());
                    }
                }
                traces.push(trace);
            }
        }
        if matches!(times, Times::None) {
            self.hold_bare_wavelengths(&ys, &mut traces, true);
        }
        self.hold_wavelength(&mut traces);
        let technique = match times {
            Times::None => Technique::FIXED_WAVELENGTH,
            Times::Reckoned(quantity, ..) if quantity == Quantity::WAVELENGTH => Technique::SPECTRUM,
            _ => Technique::TIME_COURSE,
        };
        TableReading::Runs(vec![self.finish(technique, traces)])
    }

    /// Puts what stands in the wells of a column of a plate behind the letters of their rows: `A / blank`.
    fn name_wells(&self, y: usize, rows: &mut [String]) {
        let head = self.columns[y].heads.last();
        let Some(column) = head.and_then(|(head, _)| head.trim().parse::<u32>().ok()) else {
            return;
        };
        for row in rows {
            let letter = row.chars().next().filter(|_| row.len() == 1);
            if let Some(name) = letter.and_then(|letter| self.context.wells.get(&(letter, column))) {
                *row = format!("{row} / {name}");
            }
        }
    }

    /// A single column of numbers: what it runs over must be stated.
    pub(super) fn column_alone(&mut self) -> TableReading {
        let n = self.table.grid.rows;
        let context = self.context;
        if let (Some(first), Some(last), Some(step)) = (context.first, context.last, context.step)
            && self.axis_by_steps().is_none()
        {
            return TableReading::Other(format!(
                "{n} numbers from {first} nm in steps of {step} nm do not end at {last} nm, as it is stated"
            ));
        }
        if self.axis_by_steps().is_none() && context.interval.is_none() {
            return TableReading::Other(
                "a single column of numbers, and nothing says what its x axis is: expected where it begins and its step"
                    .to_owned(),
            );
        }
        let roles = vec![ShapeRole::Measured];
        self.readings(&roles)
    }

    /// The wavelengths of a single column, where the first and the step are stated, and the last, where it is stated,
    /// agrees.
    fn axis_by_steps(&mut self) -> Option<Times> {
        let n = self.table.grid.rows;
        let (first, step) = (self.context.first?, self.context.step?);
        if self.columns.len() != 1 || step <= 0.0 || n < 5 {
            return None;
        }
        let falls = self.context.last.is_some_and(|last| last < first);
        let step = if falls { -step } else { step };
        // Reckoned in thousandths, in which such steps are whole, so that no error adds up.
        let (from, by) = ((first * 1000.0).round(), (step * 1000.0).round());
        let exact = (first * 1000.0 - from).abs() < 1e-6 && (step * 1000.0 - by).abs() < 1e-6;
        let values: Vec<f64> = self
            .table
            .grid
            .places_as_written()
            .map(|place| (from + by * place as f64) / 1000.0)
            .collect();
        let ends = values.last().copied()?;
        let agrees = self.context.last.is_none_or(|last| (ends - last).abs() < 1e-6);
        if !exact || !agrees {
            return None;
        }
        self.because_once("the wavelengths are computed from the first and the step that are stated");
        Some(Times::Reckoned(
            Quantity::WAVELENGTH,
            Unit::NANOMETRE,
            values.into(),
        ))
    }

    /// The times of counted readings where an interval is stated. Whether the first was taken at once or after one
    /// interval is not written, so it is asked.
    fn times_by_interval(&mut self, ys: &[usize], roles: &[ShapeRole]) -> Times {
        let rows = self.table.grid.rows;
        let names = roles.contains(&ShapeRole::Names);
        let (Some(interval), false, true) = (self.context.interval, names, rows >= 5 && ys.len() <= 8) else {
            return Times::None;
        };
        let first = match self.source.assume().get("times") {
            Some("from-zero") => 0,
            Some("after-interval") => 1,
            _ if self.source.assume().get("x") == Some("index") => return Times::Counted,
            _ => {
                let message = format!(
                    "the times of {rows} readings are not written, only their interval of {interval} s: when was the first taken?"
                );
                let place = Place::line(self.table.first_line as usize);
                let labels = vec![Label {
                    place,
                    text: "the first reading".to_owned(),
                }];
                self.ask(
                    "times-not-written",
                    &message,
                    &[
                        ("times=from-zero", "at 0 s"),
                        ("times=after-interval", "after one interval"),
                        ("x=index", "it is not known: the readings are counted"),
                    ],
                    labels,
                );
                return Times::Counted;
            }
        };
        self.because_once("the times are the count of the readings times the interval that is stated");
        let places = self.table.grid.places_as_written();
        let times = places.map(|place| (place + first) as f64 * interval);
        Times::Reckoned(Quantity::TIME, Unit::SECOND, times.collect())
    }
}

/// What counted readings run over.
enum Times {
    /// Nothing speaks of times.
    None,
    /// They were taken at an interval, but from when on is not known.
    Counted,
    /// The axis that was computed from what is stated.
    Reckoned(Quantity, Unit, Numbers),
}
