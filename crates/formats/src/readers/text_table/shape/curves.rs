//! From columns to curves: the rows that count, what is absent, what is saturated.

use super::*;

/// A table with more columns is wide.
const WIDE: usize = 32;

/// The rows of a table that count for a curve.
pub(super) enum UsedRows {
    /// All of them, so many.
    All(usize),
    Some(Vec<usize>),
}

impl UsedRows {
    pub(super) fn len(&self) -> usize {
        match self {
            Self::All(rows) => *rows,
            Self::Some(rows) => rows.len(),
        }
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = usize> {
        let (all, some) = match self {
            Self::All(rows) => (0..*rows, [].as_slice()),
            Self::Some(rows) => (0..0, rows.as_slice()),
        };
        all.chain(some.iter().copied())
    }
}

impl Shaper<'_> {
    fn has_sentinels(&self, quantity: &Quantity) -> bool {
        *quantity == Quantity::ABSORBANCE || !self.context.sentinels.is_empty()
    }

    /// The curve of one measured column over one running column.
    pub(super) fn trace(
        &mut self,
        x: usize,
        x_quantity: &Quantity,
        x_unit: &Unit,
        y: usize,
        roles: &[ShapeRole],
        rows: Option<std::ops::Range<usize>>,
    ) -> Trace {
        let (quantity, unit) = self.y_meaning(y, x_quantity, roles);
        let (kept, values, decimals) = match rows {
            None => self.kept(y, &quantity, Some(x)),
            Some(rows) => self.kept_rows(y, &quantity, Some(x), rows),
        };
        let axis = self.axis(x, x_quantity, x_unit, &kept);
        let column = Values {
            quantity,
            unit,
            name: self.name(y),
            values,
            decimals,
        };
        // Both columns are made from the same rows.
        let fallback = || {
            let empty = |q: &Quantity| Values::new(q.clone(), Unit::ONE, Vec::new());
            Trace::new(empty(x_quantity), empty(&Quantity::UNKNOWN))
        };
        match self.assemble(axis, column, y, &kept) {
            Some(trace) => trace,
            None => fallback().unwrap_or_else(|_| unreachable!("two empty columns are of one length")),
        }
    }

    pub(super) fn name(&self, column: usize) -> Option<String> {
        let heads = &self.columns[column].heads;
        // A row of units below the names is no row of names.
        let is_unit = |text: &str| {
            let whole = text.trim();
            let text = whole.trim_matches(['[', ']', '(', ')', '<', '>']);
            text == "-"
                || text.len() + 2 == whole.len()
                || !matches!(unit::spelled(text), unit::Spelling::None)
        };
        let text = match heads.as_slice() {
            [.., (above, _), (lowest, _)]
                if is_unit(lowest) && (!is_unit(above) || lowest.trim().starts_with(['(', '[', '<'])) =>
            {
                above
            }
            [.., (lowest, _)] => lowest,
            [] => return None,
        };
        Some(text.trim().to_owned()).filter(|text| !text.is_empty())
    }

    /// The running column at the kept rows.
    pub(super) fn axis(&mut self, x: usize, quantity: &Quantity, unit: &Unit, kept: &UsedRows) -> Values {
        self.used(x, ColumnRole::Axis, quantity, unit);
        self.tell_lost_times(x);
        let grid = &self.table.grid;
        let column = &self.columns[x];
        let (values, decimals): (Numbers, Decimals) = match &column.clock {
            Some(clock) => {
                // Two parts are as many sixtieths whether a person calls them minutes and seconds, in seconds, or hours
                // and minutes, in minutes.
                let parts = kept.iter().filter_map(|row| clock.seconds[row]);
                (parts.collect(), Decimals::uniform(clock.decimals, kept.len()))
            }
            None => {
                let place = grid.place(column.index);
                let whole = kept.len() == grid.rows;
                let decimals = if whole && self.decimals[place].len() == 1 {
                    Decimals::uniform(self.decimals[place][0].1, grid.rows)
                } else {
                    decimals_of(&self.decimals[place], kept.iter())
                };
                let values = if whole {
                    self.values[place].clone()
                } else {
                    kept.iter().map(|row| grid.figure(row, column.index)).collect()
                };
                (values, decimals)
            }
        };
        Values {
            quantity: quantity.clone(),
            unit: unit.clone(),
            name: self.name(x),
            values,
            decimals,
        }
    }

    /// Tells of the cells of a column of times that hold no time; their rows have no place on the axis.
    fn tell_lost_times(&mut self, x: usize) {
        let column = &self.columns[x];
        let Some(clock) = &column.clock else { return };
        let cells = self.table.grid.words(column.index).iter().zip(&clock.seconds);
        let lost: Vec<(usize, Span)> = cells
            .enumerate()
            .filter(|(row, (_, time))| time.is_none() && !self.summed.contains(row))
            .map(|(row, (span, _))| (row, *span))
            .collect();
        let Some(&(_, first)) = lost.first() else { return };
        let raw = &self.source.text()[first.range()];
        let (code, what) = match (raw.is_empty(), lost.len()) {
            (true, 1) => ("empty-cell", "is empty".to_owned()),
            (true, _) => ("empty-cell", "are empty".to_owned()),
            (false, 1) => ("number-not-readable", format!("holds no time (`{raw}`)")),
            (false, _) => (
                "number-not-readable",
                format!("hold no time (the first: `{raw}`)"),
            ),
        };
        let message = format!(
            "{} of the column of times {what}; the row has no place on the axis and is left out",
            count(lost.len(), "cell")
        );
        let mut remark = Diagnostic::warning(Code::new(code), message);
        for &(row, span) in lost.iter().take(PLACES_TOLD) {
            let place = match span.start == span.end {
                true => Place::line(self.table.grid.line(row)),
                false => self.source.place(span),
            };
            remark = remark.at(place, "");
        }
        if !self.remarks.contains(&remark) {
            self.remarks.push(remark);
        }
    }

    /// The rows of a measured column that have numbers for both axes, with the numbers and decimals.
    pub(super) fn kept(
        &mut self,
        y: usize,
        quantity: &Quantity,
        x: Option<usize>,
    ) -> (UsedRows, Numbers, Decimals) {
        let grid = &self.table.grid;
        let clocked = x.is_some_and(|x| self.columns[x].clock.is_some());
        if grid.gaps.is_empty() && self.summed.is_empty() && !clocked {
            // The usual case of a clean column: without sentinels it is handed over whole.
            let place = grid.place(self.columns[y].index);
            let values = &self.values[place];
            let is_sentinel = sentinel_of(self.context, quantity, self.columns[y].unit.as_ref());
            let stats = self.columns[y].stats;
            // Below the least number that custom makes a sentinel none need be looked at.
            let none = self.context.sentinels.is_empty() && stats.min > -9.9 && stats.max < 9.9;
            if none || !self.has_sentinels(quantity) || !values.iter().any(|&value| is_sentinel(value)) {
                let decimals = if self.decimals[place].len() == 1 {
                    Decimals::uniform(self.decimals[place][0].1, values.len())
                } else {
                    decimals_of(&self.decimals[place], 0..values.len())
                };
                return (UsedRows::All(values.len()), values.clone(), decimals);
            }
        }
        self.kept_rows(y, quantity, x, 0..self.table.grid.rows)
    }

    pub(super) fn kept_rows(
        &mut self,
        y: usize,
        quantity: &Quantity,
        x: Option<usize>,
        rows: impl IntoIterator<Item = usize>,
    ) -> (UsedRows, Numbers, Decimals) {
        let grid = &self.table.grid;
        let rows = rows.into_iter();
        let mut kept = Vec::with_capacity(rows.size_hint().0);
        let mut values = Vec::with_capacity(rows.size_hint().0);
        let mut sentinels: Vec<(usize, f64)> = Vec::new();
        let mut unplaced: Vec<usize> = Vec::new();
        let is_sentinel = sentinel_of(self.context, quantity, self.columns[y].unit.as_ref());
        let numbers = grid.numbers(self.columns[y].index);
        let (clock, x_numbers) = match x.map(|x| &self.columns[x]) {
            None => (None, None),
            Some(column) => match &column.clock {
                Some(clock) => (Some(clock), None),
                None => (None, Some(grid.numbers(column.index))),
            },
        };
        for row in rows {
            let value = numbers.get(row).copied().unwrap_or(f64::NAN);
            let x_there = match (clock, x_numbers) {
                (Some(clock), _) => clock.seconds.get(row).copied().flatten().is_some(),
                (None, Some(numbers)) => numbers.get(row).is_some_and(|number| !number.is_nan()),
                (None, None) => true,
            };
            if value.is_nan() || !self.summed.is_empty() && self.summed.contains(&row) {
                continue;
            }
            if !x_there {
                unplaced.push(row);
                continue;
            }
            if is_sentinel(value) {
                sentinels.push((row, value));
                continue;
            }
            kept.push(row);
            values.push(value);
        }
        let decimals = decimals_of(
            &self.decimals[grid.place(self.columns[y].index)],
            kept.iter().copied(),
        );
        self.unplaced.insert(y, unplaced.len());
        if let (Some(&row), Some(x)) = (unplaced.first(), x) {
            let head = self
                .name(x)
                .unwrap_or_else(|| format!("column {}", self.columns[x].index + 1));
            let message = format!(
                "{} of `{head}` hold no number; what was measured there cannot be placed and was left out",
                count(unplaced.len(), "cell")
            );
            let remark = Diagnostic::warning(Code::new("missing-value"), message)
                .at(Place::line(grid.line(row)), "the first of them");
            if !self.remarks.contains(&remark) {
                self.unplaced_told.push(remark.clone());
                self.remarks.push(remark);
            }
        }
        if !sentinels.is_empty() {
            let head = self
                .name(y)
                .unwrap_or_else(|| format!("column {}", self.columns[y].index + 1));
            self.tell_sentinels(&format!("`{head}`"), &sentinels);
        }
        (UsedRows::Some(kept), values.into(), decimals)
    }

    /// Tells which numbers, each with its row, were left out since they stand for missing values.
    pub(super) fn tell_sentinels(&mut self, whose: &str, sentinels: &[(usize, f64)]) {
        let Some(&(row, value)) = sentinels.first() else {
            return;
        };
        let (are, they_were) = if sentinels.len() == 1 {
            ("is", "it was")
        } else {
            ("are", "they were")
        };
        let message = format!(
            "{} of {whose} {are} {value}, which stands for a missing or overflowing value; {they_were} left out",
            count(sentinels.len(), "value")
        );
        self.remarks.push(
            Diagnostic::warning(Code::new("sentinel-value"), message)
                .at(Place::line(self.table.grid.line(row)), "the first of them"),
        );
    }

    /// A curve with its lines, label, held coordinates and marks.
    pub(super) fn assemble(&mut self, x: Values, y: Values, column: usize, kept: &UsedRows) -> Option<Trace> {
        self.used(column, ColumnRole::Measured, &y.quantity, &y.unit);
        let grid = &self.table.grid;
        let quantity = y.quantity.clone();
        let mut trace = Trace::new(x, y).ok()?;
        let described = &self.columns[column];
        trace.lines = if let Some(line) = grid.line_of_column(described.index) {
            let mut lines = Lines::default();
            lines.push_run(line, 0, kept.len());
            lines
        } else if kept.len() == grid.rows {
            whole_lines(grid)
        } else {
            some_lines(grid, kept)
        };
        // Over wavelengths nothing is held at one: the 200 nm of `gold 200 nm` are the particle's.
        let of_light =
            |quantity: &Quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy");
        let over_light = of_light(&trace.x.quantity);
        trace.held.extend(
            described
                .held
                .iter()
                .filter(|held| {
                    held.quantity != Quantity::UNKNOWN && !(over_light && of_light(&held.quantity))
                })
                .cloned(),
        );
        let lost = over_light && described.held.iter().any(|held| of_light(&held.quantity));
        for held in &mut trace.held {
            if let Some((text, span)) = described.heads.last() {
                held.raw.get_or_insert_with(|| text.trim().to_owned());
                held.line.get_or_insert_with(|| self.source.place(*span).line);
            }
        }
        trace.label = described
            .label
            .clone()
            .filter(|_| !lost)
            .or_else(|| self.name(column));
        // The rest of a head is a name for the curve, and no claim.
        if let Some((sample, span)) = &described.sample {
            let place = Origin::Source(self.source.place(*span));
            trace.fields.claim("sample", Claim::text(sample.clone(), place));
        }
        for (field, span) in &described.claims {
            let value = span.range();
            crate::preamble::claim_under(&mut trace.fields, &mut self.questions, self.source, field, value);
        }
        let index = self.columns[column].index;
        let gaps = !grid.gaps_of(index).is_empty();
        let lacking = if gaps { self.lacking(index) } else { 0 };
        let unplaced = self.unplaced.get(&column).copied().unwrap_or(0);
        trace.absent = u32::try_from(lacking + unplaced).unwrap_or(u32::MAX);
        if gaps {
            // Of a wide table they are told together, once all its curves are made.
            if self.columns.len() > WIDE {
                self.untold_gaps.entry(quantity).or_default().push(index);
            } else {
                self.tell_gaps(&[index], &quantity);
            }
        }
        let top = self.columns[column].stats.max;
        self.mark_saturated(&mut trace, top);
        Some(trace)
    }

    /// How many numbers of a column are absent, apart from cells that were left empty.
    fn lacking(&self, column: usize) -> usize {
        let grid = &self.table.grid;
        let last = grid.filled(column).saturating_sub(1);
        let cut = !self.source.text().ends_with(['\n', '\r'])
            && self.table.last_line as usize == self.source.lines().count();
        let counts = |gap: &&Gap| match gap.lack {
            MissingCell::Empty => false,
            // Behind its last number a column is only shorter than its neighbours, unless the file was cut there.
            MissingCell::Short => (gap.row as usize) < last || (cut && gap.row as usize + 1 == grid.rows),
            _ => true,
        };
        grid.gaps_of(column).iter().filter(counts).count()
    }

    /// Tells what stands where numbers are absent in these columns.
    pub(super) fn tell_gaps(&mut self, columns: &[usize], quantity: &Quantity) {
        let grid = &self.table.grid;
        let mut all: Vec<&Gap> = columns.iter().flat_map(|&column| grid.gaps_of(column)).collect();
        all.sort_by_key(|gap| gap.row);
        for (lack, code, one, several) in [
            (
                MissingCell::Missing,
                "missing-value",
                "says that there is no value",
                "say that there is no value",
            ),
            (
                MissingCell::Beyond,
                "beyond-range",
                "says that the value lies beyond the range (overflow, saturated)",
                "say that the value lies beyond the range (overflow, saturated)",
            ),
            (
                MissingCell::Doubtful,
                "number-doubtful",
                "is a number that is not meant exactly, or that somebody doubts",
                "are numbers that are not meant exactly, or that somebody doubts",
            ),
            (
                MissingCell::Unreadable,
                "number-not-readable",
                "is no number in the style of this table",
                "are no numbers in the style of this table",
            ),
            (
                MissingCell::Unpointed,
                "decimal-sign-lost",
                "has no decimal sign, and with one it would go with the numbers around it",
                "have no decimal sign, and with one they would go with the numbers around it",
            ),
            (
                MissingCell::Glued,
                "row-does-not-fit",
                "stands in a row that lacks a delimiter: its first number looks like two that have become one",
                "stand in rows that lack a delimiter: their first number looks like two that have become one",
            ),
            (
                MissingCell::Shifted,
                "row-does-not-fit",
                "stands in a row that lacks a cell, and goes better with the next column",
                "stand in rows that lack a cell, and go better with the next column",
            ),
            (
                MissingCell::Bracketed,
                "number-in-parentheses",
                "is a number in parentheses",
                "are numbers in parentheses",
            ),
            (MissingCell::Empty, "empty-cell", "is empty", "are empty"),
            (
                MissingCell::Short,
                "row-ends-early",
                "is missing: its row ends early",
                "are missing: their rows end early",
            ),
        ] {
            let gaps: Vec<&Gap> = all.iter().copied().filter(|gap| gap.lack == lack).collect();
            let gaps: Vec<_> = match lack {
                // Empty cells at the end of a column only say that it is shorter than its neighbours.
                MissingCell::Empty | MissingCell::Short => gaps
                    .into_iter()
                    .filter(|gap| (gap.row as usize) < grid.filled(gap.column as usize))
                    .collect(),
                _ => gaps,
            };
            let Some(first) = gaps.first() else { continue };
            let raw = &self.source.text()[first.span.range()];
            let head = self
                .columns
                .iter()
                .find(|c| c.index == first.column as usize)
                .and_then(|c| c.heads.last());
            let head = head.map_or_else(
                || format!("column {}", first.column + 1),
                |(text, _)| format!("`{}`", text.trim()),
            );
            let head = if gaps.iter().all(|gap| gap.column == first.column) {
                head
            } else {
                format!("{head} and other columns")
            };
            let example = if raw.is_empty() {
                String::new()
            } else {
                format!(" (the first: `{raw}`)")
            };
            let what = if gaps.len() == 1 { one } else { several };
            let message = format!(
                "{} of {head} {what}{example}; absent from the {quantity}",
                count(gaps.len(), "cell")
            );
            let mut remark = Diagnostic::warning(Code::new(code), message);
            for gap in gaps.iter().take(PLACES_TOLD) {
                let place = if gap.span.start == gap.span.end {
                    Place::line(grid.line(gap.row as usize))
                } else {
                    self.source.place(gap.span)
                };
                remark = remark.at(place, "");
            }
            if !self.remarks.contains(&remark) {
                self.remarks.push(remark);
            }
        }
    }

    /// Marks a flat top of a curve: the same highest value three times or more in a row, beyond what detectors resolve
    /// well. None of its numbers lies above `limit`.
    pub(super) fn mark_saturated(&mut self, trace: &mut Trace, limit: f64) {
        if trace.y.quantity != Quantity::ABSORBANCE || trace.len() < 5 {
            return;
        }
        // Below an absorbance of two a flat top is a real plateau (1 % of the light still comes through).
        let of_note = |absorbance: f64| absorbance * trace.y.unit.to_si(1.0) >= 2.0;
        if !of_note(limit) {
            return;
        }
        let y = &trace.y.values;
        let top = y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if !of_note(top) {
            return;
        }
        let mut run = 0;
        let mut longest = 0;
        for &value in y.iter() {
            run = if value == top { run + 1 } else { 0 };
            longest = longest.max(run);
        }
        if longest < 3 || eases_into_its_top(y, top) {
            return;
        }
        trace.saturated = (0..y.len())
            .filter(|&i| y[i] == top)
            .filter_map(|i| u32::try_from(i).ok())
            .collect();
        let label = trace
            .label
            .clone()
            .map_or(String::new(), |label| format!(" of `{label}`"));
        let first = trace
            .saturated
            .first()
            .and_then(|&i| trace.lines.get(i as usize))
            .unwrap_or(0);
        self.remarks.push(
            Diagnostic::warning(
                Code::new("saturated"),
                format!(
                    "the curve{label} has a flat top at {top} ({}): the instrument was saturated there",
                    count(trace.saturated.len(), "point")
                ),
            )
            .at(Place::line(first as usize), "the first of them")
            .help("the values are kept as they stand and marked; fits leave them out"),
        );
    }
}

/// Whether a curve comes to its greatest value ever more slowly, on either side of every stretch of three or more of them: a plateau or a
/// rounded top. What an instrument cuts off ends in a bend: the last steps in front of it are as large as those before.
fn eases_into_its_top(y: &[f64], top: f64) -> bool {
    const LONGEST_STEP: f64 = 2.5;
    // The last place that the readings are written in.
    let is_whole = |value: f64| (value - value.round()).abs() < 1e-6;
    let Some(place) = (0..=6)
        .map(|digits| 10_f64.powi(digits))
        .find(|size| y.iter().all(|value| value.is_nan() || is_whole(value * size)))
        .map(f64::recip)
    else {
        return false;
    };
    // `near`: the value beside the stretch, then those farther out.
    let eases = |near: [f64; 3]| {
        let (last, before, first) = (top - near[0], near[0] - near[1], near[1] - near[2]);
        let slack = 0.01 * place;
        last <= LONGEST_STEP * place
            && before + slack >= last
            && first + slack >= before
            && first + slack >= 2.0 * last
    };
    let mut at = 0;
    let mut eased = false;
    while at < y.len() {
        let length = y[at..].iter().take_while(|value| **value == top).count();
        if length >= 3 {
            let front = at.checked_sub(3).map(|from| [y[at - 1], y[at - 2], y[from]]);
            let behind = y
                .get(at + length..at + length + 3)
                .map(|next| [next[0], next[1], next[2]]);
            // A curve may begin or end on its plateau.
            let open = (at == 0, at + length == y.len());
            let sides = (front.map_or(open.0, eases), behind.map_or(open.1, eases));
            if !(sides.0 && sides.1) || open == (true, true) {
                return false;
            }
            eased = true;
        }
        at += length.max(1);
    }
    eased
}

/// Whether a number stands for a missing value: by custom, or because a line of the file says so. Quantity and unit are
/// looked at once, not for every number.
pub(super) fn sentinel_of<'a>(
    context: &'a Context,
    quantity: &Quantity,
    unit: Option<&Unit>,
) -> impl Fn(f64) -> bool + Copy + use<'a> {
    let by_custom = *quantity == Quantity::ABSORBANCE;
    // In thousandths 999 is an absorbance as good as any, and 9999 is none.
    let thousandths = unit.is_some_and(|unit| (unit.to_si(1.0) - 1e-3).abs() < 1e-9);
    move |value| {
        let absorbance = if thousandths && value > 0.0 {
            value / 1000.0
        } else {
            value
        };
        context.sentinels.contains(&value) || (by_custom && is_common_sentinel(absorbance))
    }
}

/// Absorbances written with nothing but nines (`9.999`, `-9.999`, `99.99`) stand for no value; so do numbers that no
/// detector gives (`1E+38`, `-99`).
fn is_common_sentinel(value: f64) -> bool {
    let size = value.abs();
    if size < 9.9 {
        return false;
    }
    size >= 1e6
        || [
            9.99, 9.999, 9.9999, 9.99999, 99.0, 99.9, 99.99, 99.999, 99.9999, 999.0, 999.9, 999.99, 999.999,
            9999.0, 9999.9, 99999.0,
        ]
        .contains(&size)
}

fn whole_lines(grid: &super::super::grid::Grid) -> Lines {
    let mut lines = Lines::default();
    for (_, line, rows) in grid.line_pieces() {
        lines.push_run(line, 1, rows);
    }
    lines
}

fn some_lines(grid: &super::super::grid::Grid, rows: &UsedRows) -> Lines {
    let mut lines = Lines::default();
    for line in grid.lines_of(rows.iter()) {
        lines.push(line);
    }
    lines
}
