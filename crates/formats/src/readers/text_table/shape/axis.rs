//! The column that runs: which one it is, whether it goes up and back, and what stays the same beside it.

use std::borrow::Cow;

use super::row_names::RowNames;
use super::*;

impl Shaper<'_> {
    /// The running column where no head names one.
    pub(super) fn x_by_values(&self, roles: &[ShapeRole]) -> Option<usize> {
        // A standard deviation beside what was measured runs nowhere.
        let sums = |i: usize| {
            self.columns[i]
                .heads
                .last()
                .is_some_and(|(text, _)| words::is_statistics(text.trim()))
        };
        let open: Vec<usize> = (0..roles.len())
            .filter(|&i| matches!(roles[i], ShapeRole::Open | ShapeRole::Counter) && !sums(i))
            .collect();
        let beside: Vec<usize> = (0..roles.len())
            .filter(|&i| roles[i] == ShapeRole::Beside)
            .collect();
        let measured = roles.contains(&ShapeRole::Measured);
        // Flags behind single rows are no names of all, nor are a few words again and again behind numbers that run.
        let runs = self.columns.first().is_some_and(|first| {
            first.kind == ColumnKind::Figures && first.stats.orderly() && first.stats.step.is_some()
        });
        let flags = |i: usize| {
            let behind = (i + 1..roles.len()).all(|other| roles[other] == ShapeRole::Names);
            let words = self
                .table
                .grid
                .distinct(self.source.text(), self.columns[i].index);
            runs && behind && words.words(self.source.text()).len() * 2 <= self.table.grid.rows
        };
        let named = (0..roles.len()).any(|i| {
            roles[i] == ShapeRole::Names && (i == 0 || !self.is_sparse(&self.columns[i]) && !flags(i))
        });
        // So do the numbers of tablets and vials.
        let numbered = || {
            self.columns.iter().any(|column| {
                role(column) == ShapeRole::Counter
                    && column.heads.last().is_some_and(|(text, _)| {
                        words::is(WordList::Numbered, text)
                            || words::is(WordList::Identifier, text)
                            || numbers_things(text)
                    })
            })
        };
        // A lone column of numbers behind names was measured in them.
        let alone = || {
            self.columns
                .iter()
                .filter(|column| column.kind == ColumnKind::Figures)
                .count()
                == 1
        };
        if measured && (named || numbered()) || roles.first() == Some(&ShapeRole::Names) && named && alone() {
            return None;
        }
        // Temperature or pH against what was measured, whatever its name: `T/degC`, `CD/mdeg`; `Temp.`, `oligo A`, `oligo B`.
        if let &[x] = beside.as_slice() {
            let own = |&i: &usize| {
                self.columns[i]
                    .quantity
                    .as_ref()
                    .is_some_and(|quantity| !of_the_trade(quantity))
            };
            let told = self.context.quantities.iter().any(Quantity::is_of_light);
            // What was measured says what it is, and no other column goes on in steps: `T (°C)`, `A`, `fraction unfolded`.
            let alone = || measured && x == 0 && !open.iter().any(|&i| self.columns[i].stats.step.is_some());
            let others = !open.is_empty() && (open.iter().all(own) || told && x == 0 || alone());
            if self.columns[x].stats.orderly()
                && others
                && !open.iter().any(|&i| self.columns[i].stats.counts())
            {
                return Some(x);
            }
        }
        // Temperature against absorbance: a melting curve.
        if measured && open.is_empty() && beside.len() == 1 {
            return beside.first().copied();
        }
        let candidates: Vec<usize> = open
            .iter()
            .copied()
            .filter(|&i| roles[i] == ShapeRole::Open)
            .collect();
        let first = *candidates.first()?;
        // A counter without a head in front of the axis.
        if candidates.len() >= 2
            && self.columns[first].stats.counts()
            && self.columns[first].heads.is_empty()
            && self.columns[candidates[1]].stats.orderly()
            && self.columns[candidates[1]].stats.max > 20.0
        {
            return Some(candidates[1]);
        }
        if self.columns[first].stats.orderly() || self.columns.len() != 2 {
            let headed = |i: usize| self.columns[i].label.is_some() || !self.columns[i].held.is_empty();
            return Some(first).filter(|_| !(headed(first) && named));
        }
        // Two columns, the second of which rises or falls all the way: y stands before x.
        candidates
            .get(1)
            .copied()
            .filter(|&i| self.columns[i].stats.orderly())
            .or(Some(first))
    }

    /// The column of names of a list that stands to the right of the standards, with readings of its own:
    /// `mg/L,A535,sample,A535`.
    pub(super) fn list_beside_standards(
        &self,
        x: usize,
        quantity: &Quantity,
        ys: &[usize],
        roles: &[ShapeRole],
    ) -> Option<usize> {
        let sample = |i: usize| {
            self.columns[i]
                .heads
                .last()
                .is_some_and(|(head, _)| matches!(words::field_of(head), Some("sample" | "sample-id")))
        };
        let names = (x + 1..roles.len()).find(|&i| roles[i] == ShapeRole::Names && sample(i))?;
        let parted = ys.iter().any(|&y| x < y && y < names) && ys.iter().any(|&y| y > names);
        (*quantity == Quantity::CONCENTRATION && parted).then_some(names)
    }

    /// The readings of columns whose rows a column of words names.
    pub(super) fn readings_named_by(
        &mut self,
        names: usize,
        ys: &[usize],
        roles: &[ShapeRole],
    ) -> Vec<Trace> {
        let text = self.source.text();
        let names: Vec<String> = self
            .table
            .grid
            .words(self.columns[names].index)
            .iter()
            .map(|span| text[span.range()].trim().to_owned())
            .collect();
        let mut traces = Vec::with_capacity(ys.len());
        for &y in ys {
            let (quantity, unit) = self.y_meaning(y, &Quantity::INDEX, roles);
            let (kept, values, decimals) = self.kept(y, &quantity, None);
            let counted: Vec<f64> = (1..=kept.len()).map(|place| place as f64).collect();
            let x = Values::new(Quantity::INDEX, Unit::ONE, counted);
            let column = Values {
                quantity,
                unit,
                name: self.name(y),
                values,
                decimals,
            };
            if let Some(mut trace) = self.assemble(x, column, y, &kept) {
                trace.row_names = kept.iter().filter_map(|row| names.get(row).cloned()).collect();
                traces.push(trace);
            }
        }
        self.hold_wavelength(&mut traces);
        traces
    }

    /// The readings of rows without a concentration among rows that have one: the samples among the standards. They are
    /// readings of their own. Rows without a name are called by their place, and only where light was measured: a rate or a
    /// response without a concentration is no sample.
    pub(super) fn samples_beside_standards(
        &mut self,
        x: usize,
        quantity: &Quantity,
        ys: &[usize],
        names: Option<&RowNames<'_>>,
        roles: &[ShapeRole],
    ) -> Option<Vec<Trace>> {
        if *quantity != Quantity::CONCENTRATION || self.columns[x].kind != ColumnKind::Figures {
            return None;
        }
        let grid = &self.table.grid;
        let column = self.columns[x].index;
        let text = self.source.text();
        // A number that cannot be read is a damaged standard; a word says that there is none.
        let says_nothing = |gap: &Gap| match gap.lack {
            MissingCell::Empty | MissingCell::Missing | MissingCell::Short => true,
            MissingCell::Unreadable => {
                let word = text[gap.span.range()].trim();
                word.contains(char::is_alphabetic) && !word.contains(|c: char| c.is_ascii_digit())
            }
            _ => false,
        };
        // Without a column of names the word in place of the concentration is one: `Blank`.
        let word_at = |row: usize| {
            let gap = grid.gaps_of(column).iter().find(|gap| gap.row as usize == row)?;
            let word = text[gap.span.range()].trim();
            word.contains(char::is_alphabetic).then(|| word.to_owned())
        };
        let name_of = |row: usize| {
            names
                .map(|names| names.get(row).into_owned())
                .filter(|name| !name.is_empty())
                .or_else(|| word_at(row))
        };
        let rows: Vec<usize> = grid
            .gaps_of(column)
            .iter()
            .filter(|gap| says_nothing(gap))
            .map(|gap| gap.row as usize)
            .filter(|row| !self.summed.contains(row))
            .collect();
        let words: Vec<String> = grid
            .gaps_of(column)
            .iter()
            .filter(|gap| gap.lack == MissingCell::Unreadable && says_nothing(gap))
            .map(|gap| format!("`{}`", text[gap.span.range()].trim()))
            .collect();
        let mut traces = Vec::new();
        let mut first = None;
        let mut taken = 0;
        // What is the same in every row is held by the samples as it is by the standards.
        let constants = self.constants_of_readings(roles);
        let is_held = |y: &usize| constants.iter().any(|(place, _)| place == y);
        for &y in ys.iter().filter(|y| !rows.is_empty() && !is_held(y)) {
            let (of, unit) = self.y_meaning(y, &Quantity::INDEX, roles);
            let light = [Quantity::ABSORBANCE, Quantity::TRANSMITTANCE].contains(&of);
            let own: Vec<usize> = rows
                .iter()
                .copied()
                .filter(|row| light || name_of(*row).is_some())
                .collect();
            let (kept, values, decimals) = self.kept_rows(y, &of, None, own.iter().copied());
            if kept.len() == 0 {
                continue;
            }
            let counted: Vec<f64> = (1..=kept.len()).map(|place| place as f64).collect();
            let x = Values::new(Quantity::INDEX, Unit::ONE, counted);
            let column = Values {
                quantity: of,
                unit,
                name: self.name(y),
                values,
                decimals,
            };
            if let Some(mut trace) = self.assemble(x, column, y, &kept) {
                trace.row_names = kept
                    .iter()
                    .map(|row| name_of(row).unwrap_or_else(|| format!("row {}", row + 1)))
                    .collect();
                trace.absent = 0;
                for (_, constant) in &constants {
                    if trace.held(&constant.quantity).is_none() {
                        trace.held.push(constant.clone());
                    }
                }
                taken = taken.max(kept.len());
                first = first.or(kept.iter().next());
                traces.push(trace);
            }
        }
        if traces.is_empty() {
            return None;
        }
        self.hold_wavelength(&mut traces);
        let lost = std::mem::take(&mut self.unplaced_told);
        self.remarks.retain(|remark| !lost.contains(remark));
        let said = match words.first() {
            None => String::new(),
            Some(word) => format!(" (or a word in its place, {word})"),
        };
        self.remarks.push(
            Diagnostic::note(
                Code::new("samples-beside-standards"),
                format!(
                    "{} no concentration{said}: what was read there is kept as a run of its own, behind the standards",
                    if taken == 1 {
                        "1 row has".to_owned()
                    } else {
                        format!("{taken} rows have")
                    },
                ),
            )
            .at(
                Place::line(self.table.grid.line(first.unwrap_or(rows[0]))),
                "the first of them",
            ),
        );
        Some(traces)
    }

    /// Asks where a time turns back again and again, and not at the ends of sweeps: a delay, a condition of each reading,
    /// and no time that runs.
    pub(super) fn ask_condition(&mut self, x: usize, quantity: &Quantity, unit: &Unit, sweeps: usize) {
        let column = self.columns[x].clone();
        if *quantity != Quantity::TIME
            || sweeps > 1
            || column.clock.is_some()
            || column.stats.orderly()
            || self.source.assume().get("x").is_some()
        {
            return;
        }
        let turns = rules::turns(self, &column);
        if turns < 3 || turns * 4 < column.stats.count {
            return;
        }
        let message = format!(
            "the times turn back {turns} times in {} rows: are they a condition of each reading, such as a delay?",
            column.stats.count
        );
        let labels = self.label_at(&column, "goes back and forth");
        let one = format!("x={quantity}:{unit}");
        self.ask(
            "axis-unknown",
            &message,
            &[
                ("x=index", "a condition: each row is a reading of its own"),
                (one.as_str(), "one curve, in the order of the rows"),
                NOT_A_MEASUREMENT,
            ],
            labels,
        );
    }

    /// The name in front of a sweep that begins at `row`, where names stand at the beginnings of sweeps and nowhere
    /// else: a name written once counts for the rows below it.
    pub(super) fn carried_name(&self, roles: &[ShapeRole], row: usize) -> Option<Span> {
        let column = self
            .columns
            .iter()
            .zip(roles)
            .find(|(column, role)| **role == ShapeRole::Names && self.is_sparse(column))
            .map(|(column, _)| column)?;
        let sample = column
            .heads
            .last()
            .is_some_and(|(head, _)| matches!(crate::words::field_of(head), Some("sample" | "sample-id")));
        let words = self.table.grid.words(column.index);
        let named = words.iter().filter(|span| span.start < span.end).count();
        let span = words.get(row).filter(|span| span.start < span.end)?;
        (sample && named >= 2).then_some(*span)
    }

    /// The names of a curve's points, found by their lines where rows without a number were left out. Empty where a
    /// line holds several rows.
    pub(super) fn names_of(&self, trace: &Trace, names: &RowNames<'_>) -> Vec<String> {
        if trace.len() == names.len() {
            return names.to_vec();
        }
        let by_line: BTreeMap<usize, Cow<'_, str>> = names
            .iter()
            .enumerate()
            .map(|(row, name)| (self.table.grid.line(row), name))
            .collect();
        let name_at = |point: usize| {
            let line = trace.lines.get(point)? as usize;
            by_line.get(&line).map(|name| name.clone().into_owned())
        };
        if by_line.len() < names.len() {
            return Vec::new();
        }
        let found: Option<Vec<String>> = (0..trace.len()).map(name_at).collect();
        found.unwrap_or_default()
    }

    /// Bare numbers over time courses are wavelengths where the words around speak of nanometres and the numbers suit.
    pub(super) fn hold_bare_wavelengths(&mut self, ys: &[usize], traces: &mut [Trace], alone: bool) {
        let told = self.context.units.contains(&Unit::NANOMETRE) || self.context.names(&Quantity::WAVELENGTH);
        // Several such numbers over names, where light was measured, are nothing else.
        let bare = |y: &&usize| {
            let mut held = self.columns[**y].held.iter();
            held.any(|held| {
                held.quantity == Quantity::UNKNOWN && crate::light::BARE_HEADERS.contains(&held.value)
            })
        };
        let several =
            || alone && self.context.names(&Quantity::ABSORBANCE) && ys.iter().filter(bare).count() >= 2;
        let values = || {
            ys.iter()
                .filter_map(|&y| self.columns[y].held.first().map(|held| held.value))
        };
        if !(told || several())
            || ys.len() != traces.len()
            || self.numbers_are_names(&values().collect::<Vec<f64>>())
        {
            return;
        }
        for (&y, trace) in ys.iter().zip(traces) {
            let column = &self.columns[y];
            let bare = column.held.iter().find(|held| {
                held.quantity == Quantity::UNKNOWN && crate::light::NEAR_WORDS.contains(&held.value)
            });
            if let (Some(bare), Some((text, span))) = (bare, column.heads.last()) {
                let mut held = Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, bare.value);
                held.raw = Some(text.trim().to_owned());
                held.line = Some(self.source.place(*span).line);
                trace.held.push(held);
                self.because_once(if told {
                    "the numbers over the columns are wavelengths in nm: the text around the table mentions nanometres"
                } else {
                    "the numbers over the columns are wavelengths in nm: light was measured, and they are of its range"
                });
            }
        }
    }

    /// Tells where the interval that is stated is not that of the times.
    pub(super) fn tell_interval(&mut self, x: usize) {
        let column = &self.columns[x];
        let unit = match &column.clock {
            Some(clock) => Some(clock.unit.clone().unwrap_or(Unit::SECOND)),
            None => column.unit.clone(),
        };
        let (Some(interval), Some(step), Some(unit)) = (self.context.interval, column.stats.step, unit)
        else {
            return;
        };
        let step = unit.to_si(step).abs();
        if (interval - step).abs() > 0.02 * interval.max(step) {
            self.remarks.push(
                Diagnostic::warning(Code::new("interval-disputed"), format!("the interval is stated as {interval} s, but the times are {step} s apart: they disagree"))
                    .at(Place::line(self.table.first_line as usize), "the times")
                    .help("the times of the table are kept"),
            );
        }
    }

    /// Tells where a running column goes back: a damaged number, or another run appended.
    pub(super) fn tell_disorder(&mut self, x: usize, quantity: &Quantity) {
        let column = &self.columns[x];
        if column.stats.orderly()
            || column.stats.count < 4
            || !matches!(quantity.as_str(), "wavelength" | "wavenumber" | "time")
        {
            return;
        }
        let rows: Vec<(usize, f64)> = match &column.clock {
            Some(clock) => clock
                .seconds
                .iter()
                .enumerate()
                .filter_map(|(row, s)| s.map(|s| (row, s)))
                .collect(),
            None => self
                .table
                .grid
                .column(column.index)
                .enumerate()
                .filter(|(_, v)| !v.is_nan())
                .collect(),
        };
        let rises = rows.windows(2).filter(|w| w[1].1 > w[0].1).count();
        let falls = rows.windows(2).filter(|w| w[1].1 < w[0].1).count();
        let up = rises >= falls;
        let breaks: Vec<usize> = rows
            .windows(2)
            .filter(|w| if up { w[1].1 <= w[0].1 } else { w[1].1 >= w[0].1 })
            .map(|w| w[1].0)
            .collect();
        if self.lists_readings(&breaks, quantity) {
            let labels = breaks.first().map(|&row| Label {
                place: Place::line(self.table.grid.line(row)),
                text: format!("the {quantity} goes back here"),
            });
            let labels = labels.into_iter().collect();
            let message = format!(
                "each row has a name of its own and the {quantity} goes back again and again: these look like single \
                 readings, and not like one curve"
            );
            let readings = [("shape=columns", "one curve over the first axis, in this order")];
            self.ask("layout-unknown", &message, &readings, labels);
            return;
        }
        self.tell_breaks(&breaks, quantity);
    }

    /// Whether the rows are single readings, as in the book of a laboratory: a wavelength that goes back in one of four
    /// rows or more, and a column of words that are nearly all different.
    fn lists_readings(&self, breaks: &[usize], quantity: &Quantity) -> bool {
        let rows = self.table.grid.rows;
        let text = self.source.text();
        matches!(quantity.as_str(), "wavelength" | "wavenumber")
            && breaks.len() * 4 >= rows
            && self.source.assume().get("shape").is_none()
            && self.columns.iter().any(|column| {
                let distinct = self.table.grid.distinct(text, column.index).words(text).count();
                column.kind == ColumnKind::Words && distinct * 4 >= rows * 3
            })
    }

    /// Tells at which rows a running column goes back or repeats.
    pub(super) fn tell_breaks(&mut self, breaks: &[usize], quantity: &Quantity) {
        if breaks.is_empty() {
            return;
        }
        let times = if breaks.len() == 1 {
            "once".to_owned()
        } else {
            format!("{} times", breaks.len())
        };
        let mut remark = Diagnostic::warning(
            Code::new("x-goes-back"),
            format!(
                "the {quantity} is not in order: it jumps back or repeats {times}; a damaged number, or a second run appended"
            ),
        );
        for &row in breaks.iter().take(PLACES_TOLD) {
            remark = remark.at(Place::line(self.table.grid.line(row)), "out of order here");
        }
        self.remarks.push(remark);
    }

    /// Whether the numbers of a column count the rows as they were written: 1, 2, 3, …, those of damaged rows missing.
    pub(super) fn counts_rows(&self, column: &Column) -> bool {
        let stats = &column.stats;
        if stats.counts() || !(stats.whole && stats.rising && matches!(stats.first, 0.0 | 1.0)) {
            return stats.counts();
        }
        let grid = &self.table.grid;
        grid.column(column.index)
            .zip(grid.places_as_written())
            .all(|(value, place)| value.is_nan() || value == stats.first + place as f64)
    }

    /// A column without a head, 1, 2, 3, …, beside an axis that is none: it counts the rows.
    pub(super) fn is_counter_by_values(&self, column: usize, x: usize, roles: &[ShapeRole]) -> bool {
        let this = &self.columns[column];
        roles[column] == ShapeRole::Open
            && column < x
            && self.counts_rows(this)
            && this.stats.count >= 3
            && this.unit.is_none()
            && this.heads.iter().all(|(text, _)| {
                !text.chars().any(char::is_alphabetic)
                    || crate::words::word(text) == crate::words::HeaderWord::Unknown
            })
    }

    /// Whether a column has one value in all rows, three or more.
    pub(super) fn is_constant(&self, place: usize) -> bool {
        const FEWEST: usize = 3;
        let stats = &self.columns[place].stats;
        self.columns[place].kind == ColumnKind::Figures
            && stats.min == stats.max
            && stats.count >= FEWEST
            && stats.count + self.summed.len() >= self.table.grid.rows
    }

    /// Coordinates that have the same value in every row of readings. A length of millimetres in cells of their own is that of the
    /// cell.
    pub(super) fn constants_of_readings(&self, roles: &[ShapeRole]) -> Vec<(usize, Coordinate)> {
        let mut constants = self.constants(usize::MAX, roles);
        constants.retain(|(place, _)| self.is_constant(*place));
        let light = |held: &Coordinate| held.quantity == Quantity::WAVELENGTH;
        let measured = roles.contains(&ShapeRole::Measured);
        for (place, column) in self.columns.iter().enumerate() {
            let bare = column.heads.is_empty() && column.quantity.is_none() && self.is_constant(place);
            let Some(unit) = column.unit.clone().filter(|_| bare && measured) else {
                continue;
            };
            let of_cell = ["mm", "cm"].contains(&unit.code());
            if of_cell && !column.held.iter().any(light) {
                let length = Quantity::named("path-length");
                constants.push((place, Coordinate::new(length, unit, column.stats.min)));
            }
        }
        constants
    }

    /// Coordinates that have the same value in every row.
    pub(super) fn constants(&self, x: usize, roles: &[ShapeRole]) -> Vec<(usize, Coordinate)> {
        let mut constants = Vec::new();
        for (index, column) in self.columns.iter().enumerate() {
            let coordinate = roles[index] == ShapeRole::Coordinate || roles[index] == ShapeRole::Beside;
            if index == x || !coordinate || column.kind != ColumnKind::Figures || column.stats.count < 2 {
                continue;
            }
            if column.stats.min == column.stats.max
                && let (Some(quantity), Some(unit)) = (&column.quantity, self.unit_of(column))
            {
                constants.push((index, Coordinate::new(quantity.clone(), unit, column.stats.min)));
            }
        }
        constants
    }

    pub(super) fn unit_of(&self, column: &Column) -> Option<Unit> {
        column
            .unit
            .clone()
            .or_else(|| match column.quantity.as_ref()?.as_str() {
                "wavelength" if column.stats.like_nanometres() => Some(Unit::NANOMETRE),
                "ph" => Unit::ucum("[pH]").ok(),
                _ => None,
            })
    }

    /// The rows of each sweep: where x goes back to its beginning, another begins.
    pub(super) fn sweeps(&self, x: usize, quantity: &Quantity) -> Vec<Option<std::ops::Range<usize>>> {
        let column = &self.columns[x];
        if column.stats.orderly() || column.stats.count < 6 || column.kind != ColumnKind::Figures {
            return vec![None];
        }
        let values: Vec<f64> = self.table.grid.column(column.index).collect();
        // Instruments scan up and back, and stop at slightly other places each time; other numbers just repeat.
        let scanned = matches!(
            quantity.as_str(),
            "wavelength" | "wavenumber" | "energy" | "temperature"
        );
        let jitter = if scanned { 0.25 } else { 0.0 };
        if let Some(turn) = turning_row(&values).filter(|_| scanned) {
            return vec![Some(0..turn), Some(turn..values.len())];
        }
        let mut starts = vec![0_usize];
        for row in 2..values.len() {
            let start = starts.last().copied().unwrap_or(0);
            if row - start < 3 {
                continue;
            }
            let direction = values[start + 1] - values[start];
            let back = (values[row] - values[row - 1]) * direction < 0.0;
            if back && (values[row] - values[0]).abs() <= jitter * direction.abs() {
                starts.push(row);
            } else if back || values[row].is_nan() || direction == 0.0 {
                return vec![None];
            }
        }
        if starts.len() < 2 {
            return vec![None];
        }
        starts.push(values.len());
        if starts.windows(2).any(|pair| pair[1] - pair[0] < 3) {
            return vec![None];
        }
        starts.windows(2).map(|pair| Some(pair[0]..pair[1])).collect()
    }
}

/// Whether a curve over a quantity is of several wavelengths, or may be.
pub(super) fn runs_over_light(quantity: &Quantity) -> bool {
    matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy") || *quantity == Quantity::UNKNOWN
}

/// Whether a header names what it numbers, `Tank no`, `Einwaage Nr.`, and no points or cycles of one curve.
pub(in super::super) fn numbers_things(head: &str) -> bool {
    let known = words::quantity_of(head).is_some_and(|quantity| quantity != Quantity::INDEX)
        || words::field_of(head).is_some();
    let ends = head.trim().rsplit_once([' ', '-', '_']);
    !known && ends.is_some_and(|(_, last)| words::quantity_of(last) == Some(Quantity::INDEX))
}

/// The row at which an axis turns back on itself: up and then down again over the same values, or the other way round.
fn turning_row(values: &[f64]) -> Option<usize> {
    let forth = values.get(1)? - values.first()?;
    let goes = |pair: &[f64], sign: f64| (pair[1] - pair[0]) * forth * sign > 0.0;
    let last = values.windows(2).position(|pair| !goes(pair, 1.0))?;
    // The last value on the way may stand at the first place on the way back, too.
    let turn = last + 1;
    let back = &values[turn..];
    let returns = back.len() >= 3 && turn >= 3 && back.windows(2).all(|pair| goes(pair, -1.0));
    let same = back.iter().all(|value| values[..turn].contains(value));
    (returns && same).then_some(turn)
}
