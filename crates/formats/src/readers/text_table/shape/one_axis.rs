//! One running column, with the others measured over it.

use super::axis::runs_over_light;
use super::row_names::RowNames;
use super::*;

/// The columns of a table with one that runs.
struct AxisColumns {
    x: usize,
    /// Other columns that may run.
    others: Vec<usize>,
    /// Why another column was not taken for the curves.
    why_another: &'static str,
    /// What was measured over x.
    ys: Vec<usize>,
    /// Columns that have numbers in a few rows only.
    sparse: Vec<usize>,
}

/// What runs under the curves of a table.
struct RunningColumn {
    x: usize,
    quantity: Quantity,
    unit: Unit,
    /// The rows of each sweep, where it goes up and back.
    sweeps: Vec<Option<std::ops::Range<usize>>>,
    /// Coordinates that are the same in every row.
    constants: Vec<(usize, Coordinate)>,
}

impl Shaper<'_> {
    /// One running column, the others measured over it.
    pub(super) fn one_axis(&mut self, x: usize, roles: &[ShapeRole]) -> TableReading {
        let mut axis = self.columns_over(x, roles);
        self.ask_about_cells_beyond(&axis.sparse, &axis.ys);
        self.leave_out_sparse(&axis.sparse);
        if let Some(other) = self.axis_of_its_own(&axis) {
            // Only an answer that counts the rows settles it: one about the quantity of x tells of no curve.
            let counted = self.source.assume().axis("x");
            if counted.is_some_and(|(x, _)| x == Quantity::INDEX) {
                return self.readings(roles);
            }
            let labels = self.label_at(&self.columns[other].clone(), "another x column");
            self.ask(
                "axis-unknown",
                "there are several x columns, and nothing says which curve goes over which",
                &[("x=index", "the rows are to be counted")],
                labels,
            );
        }
        for &i in &axis.others {
            self.used(i, ColumnRole::LeftOut, &Quantity::UNKNOWN, &Unit::ONE);
            self.tell_second_axis(i, axis.why_another);
        }
        self.ask_about_lacking_heads(&axis);
        self.ask_about_offsets(&axis.ys);
        self.ask_about_unmatched_heads();
        self.ask_about_headless_column(&axis.ys);
        if axis.ys.is_empty() {
            axis.ys = self.measured_of_two_axes(&axis.others);
        }
        if axis.ys.is_empty() {
            return self.column_of_numbers(axis.x);
        }
        if let Some(reason) = self.all_other(axis.x, &axis.ys) {
            return TableReading::Other(reason);
        }
        self.curves_over(axis.x, axis.ys, roles)
    }

    /// Which columns were measured over x, which may run as well, and which hold too few numbers.
    fn columns_over(&self, x: usize, roles: &[ShapeRole]) -> AxisColumns {
        let (x, why_another) = match self.steadier_than(x, roles) {
            Some(other) => (
                other,
                "is another x column; the one that changes in every row was taken for the curves",
            ),
            None => (x, "is another x column; the first was taken for the curves"),
        };
        let same_axis = |i: usize| {
            roles[i] == ShapeRole::Coordinate
                && (self.columns[i].quantity == self.columns[x].quantity || self.columns[i].clock.is_some())
                || self.has_header_of(i, x)
        };
        let others: Vec<usize> = (0..roles.len()).filter(|&i| i != x && same_axis(i)).collect();
        let (ys, sparse) = (0..roles.len())
            .filter(|&i| {
                i != x && !matches!(roles[i], ShapeRole::Counter | ShapeRole::Names) && !others.contains(&i)
            })
            .filter(|&i| !self.is_counter_by_values(i, x, roles))
            .filter(|&i| self.columns[i].kind == ColumnKind::Figures)
            .partition(|&i| {
                let column = &self.columns[i];
                column.quantity.as_ref().is_some_and(of_the_trade)
                    || column.stats.count * 2 >= self.table.grid.rows
            });
        AxisColumns {
            x,
            others,
            why_another,
            ys,
            sparse,
        }
    }

    /// Leaves columns out that have numbers in a few rows only.
    fn leave_out_sparse(&mut self, sparse: &[usize]) {
        for &i in sparse {
            self.used(i, ColumnRole::LeftOut, &Quantity::UNKNOWN, &Unit::ONE);
            let head = self
                .name(i)
                .unwrap_or_else(|| format!("column {}", self.columns[i].index + 1));
            self.remarks.push(
                Diagnostic::warning(
                    Code::new("column-left-out"),
                    format!("`{head}` has numbers in a few rows only and was not taken for a curve"),
                )
                .at(
                    Place::line(self.table.first_line as usize),
                    "its table begins here",
                ),
            );
        }
    }

    /// Whether the header of a column is word for word that of the x axis: `NM` over the first and again over the fourth.
    fn has_header_of(&self, i: usize, x: usize) -> bool {
        let header = |i: usize| self.columns[i].heads.last().map(|(text, _)| text.trim());
        let (own, of_x) = (header(i), header(x));
        let names_axis = |text: &str| {
            let head = read_column_header(text);
            super::super::segments::is_axis(&head) || head.units_possible.contains(&Unit::NANOMETRE)
        };
        i != x && own == of_x && own.is_some_and(names_axis)
    }

    /// A second x column with other numbers, and curves on both sides of it: which curve goes over which of two wavelengths is not
    /// for us to say.
    fn axis_of_its_own(&self, axis: &AxisColumns) -> Option<usize> {
        let (x, ys) = (axis.x, &axis.ys);
        let between = |range: std::ops::Range<usize>| ys.iter().any(|y| range.contains(y));
        let values = |i: usize| self.table.grid.column(self.columns[i].index);
        axis.others.iter().copied().find(|&i| {
            let same =
                self.columns[i].quantity.is_some() && self.columns[i].quantity == self.columns[x].quantity;
            (same || self.has_header_of(i, x))
                && i > x
                && between(x..i)
                && between(i..self.columns.len())
                && values(i)
                    .zip(values(x))
                    .any(|(own, first)| own != first && !own.is_nan() && !first.is_nan())
        })
    }

    /// Asks what the columns of a table without headers are.
    fn ask_about_lacking_heads(&mut self, axis: &AxisColumns) {
        const FEWEST: usize = 3;
        let (x, ys) = (&self.columns[axis.x], &axis.ys);
        // `;tank 1;tank 2` under `absorbance over wavelength in nm`: the words say what the first column is.
        let told = self.context.names(&Quantity::WAVELENGTH)
            && x.stats.orderly()
            && x.stats.step.is_some()
            && x.stats.like_nanometres()
            && ys.iter().all(|&y| !self.columns[y].heads.is_empty());
        let headless = x.heads.is_empty() && x.quantity.is_none() && !told && ys.len() >= FEWEST;
        if !headless || self.source.assume().get("shape").is_some() {
            return;
        }
        let labels = self.label_at(&x.clone(), "the first row");
        let message = format!(
            "a table of {} columns without headers: it is not known what each column is",
            ys.len() + 1
        );
        let mut readings = vec![(
            "shape=columns",
            "the first column runs, each other one is a curve",
        )];
        if self.packed_step().is_some() {
            readings.push((
                "shape=packed",
                "each line begins with x and goes on from there: one curve",
            ));
        }
        self.ask("layout-unknown", &message, &readings, labels);
    }

    /// Asks about a line of headers that does not fit the columns.
    fn ask_about_unmatched_heads(&mut self) {
        let settled = self.source.assume().get("shape").is_some();
        let Some(line) = self.table.unmatched_head.filter(|_| !settled) else {
            return;
        };
        let labels = vec![Label {
            place: self.source.place(line.span),
            text: "these headers".to_owned(),
        }];
        let message = format!(
            "the headers above do not fit the {} columns of the table",
            self.table.grid.columns()
        );
        self.ask(
            "heads-do-not-fit",
            &message,
            &[("shape=columns", "ignore the headers")],
            labels,
        );
    }

    /// Asks about a column without a header beside one whose header says what was measured.
    fn ask_about_headless_column(&mut self, ys: &[usize]) {
        let settled = self.source.assume().get("shape").is_some();
        // A unit behind every number says as much as a head.
        let headless = ys
            .iter()
            .find(|&&y| self.columns[y].heads.is_empty() && self.columns[y].quantity.is_none());
        let headed = ys.iter().any(|&y| {
            self.columns[y]
                .quantity
                .as_ref()
                .is_some_and(Quantity::is_of_light)
        });
        let Some(&y) = headless.filter(|_| headed && !settled) else {
            return;
        };
        let labels = self.label_at(&self.columns[y].clone(), "the first row");
        let message = format!(
            "column {} has no header, and another has one",
            self.columns[y].index + 1
        );
        self.ask(
            "heads-do-not-fit",
            &message,
            &[(
                "shape=columns",
                "the column is of the same kind as the one with a header",
            )],
            labels,
        );
    }

    /// Of columns that may all run, those that may have been measured over the first; what the first of them is of is asked.
    fn measured_of_two_axes(&mut self, others: &[usize]) -> Vec<usize> {
        let mut ys = others.to_vec();
        ys.retain(|&i| self.columns[i].kind == ColumnKind::Figures && self.columns[i].clock.is_none());
        let settled = self.source.assume().axis("y").is_some();
        if let Some(&y) = ys.first().filter(|_| !settled) {
            self.ask_measured(&self.columns[y].clone());
        }
        ys
    }

    /// A column of numbers with nothing measured over it. Words that name light speak for a measurement; what it is of is asked then.
    fn column_of_numbers(&mut self, x: usize) -> TableReading {
        let may_run = self.columns[x]
            .quantity
            .as_ref()
            .is_none_or(|quantity| matches!(quantity.as_str(), "time" | "wavelength" | "concentration"));
        let spoken_of = self.context.quantities.iter().any(Quantity::is_of_light);
        let settled = self.source.assume().get("shape").is_some();
        if may_run && spoken_of && !settled {
            self.ask_measured(&self.columns[x].clone());
            let draft = self.finish(Technique::UNKNOWN, Vec::new());
            return TableReading::Runs(vec![draft]);
        }
        TableReading::Other("a single column of numbers, with nothing measured over it".to_owned())
    }

    /// The curves of the columns `ys` over x, and lists of samples beside a series of standards.
    fn curves_over(&mut self, x: usize, mut ys: Vec<usize>, roles: &[ShapeRole]) -> TableReading {
        let (quantity, unit) = self.x_meaning(x);
        let sweeps = self.sweeps(x, &quantity);
        self.tell_disorder(x, &quantity);
        self.ask_condition(x, &quantity, &unit, sweeps.len());
        let technique = self.technique_of(&quantity, &ys);
        let constants = self.constants(x, roles);
        for (column, constant) in &constants {
            self.used(*column, ColumnRole::Held, &constant.quantity, &constant.unit);
        }
        // A list of samples to the right of the standards names none of these.
        let list = self.list_beside_standards(x, &quantity, &ys, roles);
        let (mut roles, mut listed) = (roles.to_vec(), Vec::new());
        if let Some(names) = list {
            (ys, listed) = ys.into_iter().partition(|&y| y < names);
            roles[names] = ShapeRole::Counter;
        }
        let roles = roles.as_slice();
        let names = self.row_names(roles);
        let running = RunningColumn {
            x,
            quantity,
            unit,
            sweeps,
            constants,
        };
        let mut traces = self.traces_over(&running, &ys, names.as_ref(), roles);
        let quantity = &running.quantity;
        if *quantity == Quantity::TIME {
            self.hold_bare_wavelengths(&ys, &mut traces, false);
            self.tell_interval(x);
        }
        // A calibration or a titration was read at one wavelength as a time course was; only a spectrum runs over several.
        if !runs_over_light(quantity) {
            self.hold_wavelength(&mut traces);
        }
        let beside = self.samples_beside_standards(x, quantity, &ys, names.as_ref(), roles);
        if let Some(samples) = beside.as_ref().filter(|_| traces.iter().all(Trace::is_empty)) {
            return TableReading::Runs(vec![self.finish(Technique::FIXED_WAVELENGTH, samples.clone())]);
        }
        let standards = self.finish(technique, traces);
        let samples = beside.map(|traces| self.finish(Technique::FIXED_WAVELENGTH, traces));
        let listed = list.map(|names| {
            let traces = self.readings_named_by(names, &listed, roles);
            self.finish(Technique::FIXED_WAVELENGTH, traces)
        });
        TableReading::Runs(std::iter::once(standards).chain(samples).chain(listed).collect())
    }

    /// One curve for each column and each sweep, with what is held along it and the names of its rows.
    fn traces_over(
        &mut self,
        running: &RunningColumn,
        ys: &[usize],
        names: Option<&RowNames<'_>>,
        roles: &[ShapeRole],
    ) -> Vec<Trace> {
        let mut traces = Vec::with_capacity(ys.len());
        for &y in ys {
            if running.constants.iter().any(|(column, _)| *column == y) {
                continue;
            }
            for rows in running.sweeps.iter().cloned() {
                let name = rows
                    .as_ref()
                    .and_then(|rows| self.carried_name(roles, rows.start));
                let mut trace = self.trace(running.x, &running.quantity, &running.unit, y, roles, rows);
                if let Some(span) = name {
                    let name = self.source.text()[span.range()].trim().to_owned();
                    let place = Origin::Source(self.source.place(span));
                    trace.fields.claim("sample", Claim::text(name.clone(), place));
                    trace.label = Some(name);
                }
                for (_, constant) in &running.constants {
                    if trace.held(&constant.quantity).is_none() {
                        trace.held.push(constant.clone());
                    }
                }
                if let Some(names) = names {
                    trace.row_names = self.names_of(&trace, names);
                }
                traces.push(trace);
            }
        }
        traces
    }

    /// Asks about rows that have more numbers than the header has names, at once behind the others: which of them stand under
    /// which name is not known.
    fn ask_about_cells_beyond(&mut self, sparse: &[usize], ys: &[usize]) {
        let beyond = sparse
            .iter()
            .find(|&&i| self.columns[i].heads.is_empty() && i > 0 && ys.contains(&(i - 1)));
        let headed = ys.iter().all(|&y| !self.columns[y].heads.is_empty());
        let Some(&i) = beyond.filter(|_| headed && self.source.assume().get("shape").is_none()) else {
            return;
        };
        let rows = self.columns[i].stats.count;
        let labels = self.label_at(&self.columns[i].clone(), "its table begins here");
        let message = match rows {
            1 => "1 row has more numbers than the header has names".to_owned(),
            _ => format!("{rows} rows have more numbers than the header has names"),
        };
        self.ask(
            "heads-do-not-fit",
            &message,
            &[(
                "shape=columns",
                "the first numbers belong to the names, the others are left out",
            )],
            labels,
        );
    }

    /// Headers such as `+0`, `+5`, `+10` may be steps beyond the number in front of the row, which makes one curve of all: asked.
    fn ask_about_offsets(&mut self, ys: &[usize]) {
        const FEWEST: usize = 3;
        let steps = |&i: &usize| {
            let head = self.columns[i].heads.last().map_or("", |(text, _)| text.trim());
            head.rsplit(' ')
                .next()
                .unwrap_or("")
                .strip_prefix('+')
                .is_some_and(|step| step.parse::<f64>().is_ok())
        };
        let offsets = ys.iter().filter(|i| steps(i)).count();
        if offsets < FEWEST || offsets * 2 < ys.len() || self.source.assume().get("shape").is_some() {
            return;
        }
        let labels = self.label_at(&self.columns[ys[0]].clone(), "the first of these headers");
        self.ask(
            "layout-unknown",
            "the headers with a plus sign may be steps beyond the number in front of each row, or names of curves",
            &[("shape=columns", "the first column runs, each other one is a curve")],
            labels,
        );
    }

    /// The x column beside another of the same quantity that stays the same from row to row, `day;hours` over 1, 1, 2, 2 and 0, 6, 24,
    /// 30: the hours tell more.
    fn steadier_than(&self, x: usize, roles: &[ShapeRole]) -> Option<usize> {
        let of = self.columns[x].quantity.as_ref()?;
        let mut others = (0..roles.len()).filter(|&i| {
            i != x && roles[i] == ShapeRole::Coordinate && self.columns[i].quantity.as_ref() == Some(of)
        });
        let other = others.next().filter(|_| others.next().is_none())?;
        let steady = |i: usize| {
            let values: Vec<f64> = self.table.grid.column(self.columns[i].index).collect();
            values.windows(2).all(|pair| pair[0] < pair[1])
        };
        let no_curve = |role: &ShapeRole| {
            matches!(
                role,
                ShapeRole::Coordinate | ShapeRole::Counter | ShapeRole::Names
            )
        };
        let first_measured = roles.iter().position(|role| !no_curve(role))?;
        let plain = [x, other]
            .iter()
            .all(|&i| self.columns[i].kind == ColumnKind::Figures && self.columns[i].clock.is_none());
        (plain && x.max(other) < first_measured && !steady(x) && steady(other)).then_some(other)
    }
}
