//! One curve in lines of several values: each line begins with the axis and goes on from there in steps.

use super::*;
use crate::explanation::ColumnRole;

/// What a line of several values begins with.
#[derive(Clone, Copy)]
enum Begins {
    /// With its x, from which it goes on by this step.
    WithX(f64),
    /// With a value: the x of the first line and the step are stated elsewhere.
    WithValue { first: f64, step: f64 },
}

impl Shaper<'_> {
    /// The step in which the values of a line go on, where the table may be such a curve: a bare first column that goes
    /// on by as many steps as there are values behind it.
    pub(super) fn packed_step(&self) -> Option<f64> {
        let [first, values @ ..] = self.columns.as_slice() else {
            return None;
        };
        let rows = self.table.grid.rows;
        let enough = values.len() >= 4 && self.is_bare_and_full();
        let step = first.stats.step.filter(|_| enough && first.stats.count == rows)? / values.len() as f64;
        // A step as people choose it has few digits.
        let chosen = step.abs() >= 1e-3 && (step * 1e4).round() / 1e4 == step;
        let even = |column: &Column| column.stats.orderly() && column.stats.step.is_some();
        (chosen && !values.iter().any(even)).then_some(step)
    }

    /// Whether no column says what it is, and all lines but the last are full.
    fn is_bare_and_full(&self) -> bool {
        let bare = |column: &Column| {
            column.kind == ColumnKind::Figures
                && column.clock.is_none()
                && column.heads.is_empty()
                && column.quantity.is_none()
        };
        let grid = &self.table.grid;
        grid.rows >= 3
            && self.columns.iter().all(bare)
            && grid.gaps.iter().all(|gap| gap.row as usize + 1 == grid.rows)
    }

    /// The first wavelength and the step that are stated, where the last or the count of points agrees with how many
    /// values there are.
    fn stated_axis(&self) -> Option<Begins> {
        if self.columns.len() < 2 || !self.is_bare_and_full() {
            return None;
        }
        let count: usize = self.columns.iter().map(|column| column.stats.count).sum();
        let context = self.context;
        let in_words = context.axis_in_words;
        let of = |first: Option<f64>, last: Option<f64>, step: Option<f64>, points: Option<f64>| {
            let (first, step) = (first?, step?.abs());
            let step = if last.is_some_and(|last| last < first) {
                -step
            } else {
                step
            };
            let ends = first + step * (count - 1) as f64;
            let last = last.map(|last| (last - ends).abs() < 1e-6);
            let points = points.map(|points| points == count as f64);
            let agrees = [last, points].into_iter().flatten().all(|agrees| agrees);
            let stated = step != 0.0 && agrees && last.or(points).is_some();
            stated.then_some(Begins::WithValue { first, step })
        };
        of(context.first, context.last, context.step, context.points).or_else(|| {
            of(
                context.first.or(in_words.first),
                context.last.or(in_words.last),
                context.step.or(in_words.step),
                context.points.or(in_words.points),
            )
        })
    }

    /// What the lines begin with, where the table may be such a curve.
    fn begins(&self) -> Option<Begins> {
        let answer = self.source.assume().get("shape");
        if answer == Some("columns") {
            return None;
        }
        let with_x = self
            .packed_step()
            .filter(|&step| answer == Some("packed") || self.says_step(step))
            .map(Begins::WithX);
        with_x.or_else(|| self.stated_axis())
    }

    /// Whether the table may be one curve in lines of several values.
    pub(super) fn may_be_packed(&self) -> bool {
        self.begins().is_some()
    }

    /// The curve of such a table, where its words state the step or somebody has answered so.
    pub(super) fn packed(&mut self) -> Option<RunDraft> {
        let begins = self.begins()?;
        let roles: Vec<ShapeRole> = self.columns.iter().map(role).collect();
        let (values_from, x_quantity, x_unit) = match begins {
            Begins::WithX(_) => {
                let (quantity, unit) = self.x_meaning(0);
                (1, quantity, unit)
            }
            Begins::WithValue { .. } => (0, Quantity::WAVELENGTH, Unit::NANOMETRE),
        };
        let (y_quantity, y_unit) = self.y_meaning(values_from, &x_quantity, &roles);
        let grid = &self.table.grid;
        // Reckoned in ten-thousandths, in which such steps are whole, so that no error adds up.
        let whole = |number: f64| (number * 1e4).round();
        let (mut xs, mut ys) = (Vec::new(), Vec::new());
        let mut decimals = Decimals::default();
        let mut lines = Lines::default();
        for row in 0..grid.rows {
            for (n, column) in self.columns[values_from..].iter().enumerate() {
                let value = grid.figure(row, column.index);
                if value.is_nan() {
                    continue;
                }
                let x = match begins {
                    Begins::WithX(step) => {
                        whole(grid.figure(row, self.columns[0].index)) + whole(step) * n as f64
                    }
                    Begins::WithValue { first, step } => whole(first) + whole(step) * xs.len() as f64,
                };
                xs.push(x / 1e4);
                ys.push(value);
                let changes = &self.decimals[grid.place(column.index)];
                let digits = changes.iter().rev().find(|&&(first, _)| first as usize <= row);
                decimals.push(digits.map_or(0, |&(_, digits)| digits));
                lines.push(grid.line(row));
            }
        }
        let x = Values::new(x_quantity.clone(), x_unit.clone(), xs);
        let y = Values::new(y_quantity.clone(), y_unit.clone(), ys).with_decimals(decimals);
        let mut trace = Trace::new(x, y).ok()?;
        trace.lines = lines;
        self.mark_saturated(&mut trace, f64::INFINITY);
        if values_from == 1 {
            self.used(0, ColumnRole::Axis, &x_quantity, &x_unit);
        }
        for column in values_from..self.columns.len() {
            self.used(column, ColumnRole::Measured, &y_quantity, &y_unit);
        }
        self.because.push(match begins {
            Begins::WithX(step) => {
                format!("each line begins with x and goes on from there in steps of {step}: one curve")
            }
            Begins::WithValue { first, step } => {
                format!("the values of all lines are one curve from {first} in steps of {step}, as is stated")
            }
        });
        let mut traces = vec![trace];
        if x_quantity == Quantity::TIME {
            self.hold_wavelength(&mut traces);
        }
        let technique = self.technique_of(&x_quantity, &[values_from]);
        Some(self.finish(technique, traces))
    }

    /// Whether a line above the table states this step.
    fn says_step(&self, step: f64) -> bool {
        let above = self
            .source
            .text()
            .lines()
            .take(self.table.first_line as usize - 1);
        above.filter(|line| line.len() <= 400).any(|line| {
            let parts: Vec<&str> = line
                .split([' ', '\t', ':', '=', ';', '(', ')'])
                .filter(|w| !w.is_empty())
                .collect();
            let is_step = |word: &str| words::begins(WordList::Step, &word.to_lowercase());
            let is_this = |word: &str| {
                word.trim_end_matches([',', '.'])
                    .replace(',', ".")
                    .parse::<f64>()
                    .is_ok_and(|n| n == step.abs())
            };
            (1..parts.len()).any(|at| {
                is_this(parts[at]) && parts[at.saturating_sub(2)..at].iter().any(|word| is_step(word))
            })
        })
    }
}
