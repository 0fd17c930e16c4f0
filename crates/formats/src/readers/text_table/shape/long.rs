//! The long form: one observation a row.

use hashbrown::HashMap;

use super::*;

/// Whether a column of whole numbers says by its head which run, injection or replicate each row belongs to.
pub(super) fn is_series(column: &Column) -> bool {
    let head = column.heads.last().map_or("", |(text, _)| text.as_str());
    column.kind == ColumnKind::Figures
        && column.stats.whole
        && column.stats.min < column.stats.max
        && !column.stats.counts()
        && (words::is(WordList::Series, head) || words::field_of(head) == Some("replicate"))
}

/// Rows of the same names and numbers in some columns, which are one curve.
type RowGroup = (Vec<String>, Vec<usize>);

/// The rows of a table sorted into curves.
#[derive(Clone)]
struct SortedRows {
    /// The columns by which they are sorted.
    keys: Vec<usize>,
    groups: Vec<RowGroup>,
    /// The rows at which the running column of a curve goes back to where it has been.
    breaks: Vec<usize>,
}

/// A column by which rows are sorted.
struct RowKey {
    column: usize,
    role: ShapeRole,
    unit: Option<Unit>,
    /// What its head says of what stands below it: a field of each curve.
    field: Option<&'static str>,
    /// Or that it is the name of a sample.
    names_samples: bool,
}

/// What runs under the curves.
struct RunningCoordinate {
    column: usize,
    quantity: Quantity,
    unit: Unit,
}

impl Shaper<'_> {
    /// One observation a row, with its coordinates and names in columns.
    pub(super) fn long_form(&mut self, xs: &[usize], roles: &[ShapeRole]) -> Option<RunDraft> {
        let mut measured: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                roles[i] == ShapeRole::Measured
                    || (roles[i] == ShapeRole::Open && self.columns[i].kind == ColumnKind::Figures)
            })
            .collect();
        if measured.is_empty() || xs.iter().any(|&x| self.columns[x].kind != ColumnKind::Figures) {
            return None;
        }
        let running = self.running_of(xs)?;
        let sorted = self.sorted_by_names(running, xs, roles);
        if self.has_standards_alone(running, &sorted.groups) {
            return None;
        }
        let SortedRows { keys, groups, breaks } = self.sorted_finer(sorted, running, roles);
        measured.retain(|i| *i != running && !keys.contains(i));
        if measured.is_empty() {
            return None;
        }
        // Readings that have nothing in common are no curves.
        if groups.len() * 2 > self.table.grid.rows || (groups.len() == 1 && xs.len() < 2) {
            return None;
        }
        let (quantity, unit) = self.x_meaning(running);
        self.tell_breaks(&breaks, &quantity);
        let x = RunningCoordinate {
            column: running,
            quantity,
            unit,
        };
        let keys = self.use_keys(&keys, &x, roles);
        let mut traces = Vec::with_capacity(measured.len() * groups.len());
        for &y in &measured {
            let (y_quantity, y_unit) = self.y_meaning(y, &x.quantity, roles);
            for (parts, rows) in &groups {
                if let Some(mut trace) = self.curve_of_rows(&x, y, (&y_quantity, &y_unit), rows) {
                    self.name_by_keys(&mut trace, &keys, parts, rows);
                    traces.push(trace);
                }
            }
        }
        if x.quantity == Quantity::TIME {
            self.hold_wavelength(&mut traces);
        }
        let scans = traces
            .iter()
            .filter(|trace| trace.held(&Quantity::TIME).is_some())
            .count();
        let technique = if scans > 1 {
            Technique::SPECTRAL_TIME_COURSE
        } else {
            self.technique_of(&x.quantity, &measured)
        };
        self.because.push(
            "each row is one observation; the rows are sorted into curves by their names and coordinates"
                .to_owned(),
        );
        Some(self.finish(technique, traces))
    }

    /// The temperature or pH that goes one way in the rows of each name, three at least: `A1,30`, `A1,40`, `A1,50`, `A2,30`.
    pub(super) fn condition_swept_by_names(&self, roles: &[ShapeRole]) -> Option<usize> {
        const FEWEST: usize = 3;
        let names = roles.iter().position(|role| *role == ShapeRole::Names)?;
        let measured = roles.contains(&ShapeRole::Measured);
        let beside = (0..roles.len())
            .filter(|&i| roles[i] == ShapeRole::Beside && self.columns[i].kind == ColumnKind::Figures);
        let mut beside = beside.filter(|_| measured);
        let (condition, None) = (beside.next()?, beside.next()) else {
            return None;
        };
        let index = self.columns[condition].index;
        let groups = self.groups(&[names]);
        let goes_one_way = |(_, rows): &RowGroup| {
            let values: Vec<f64> = rows
                .iter()
                .map(|&row| self.table.grid.figure(row, index))
                .collect();
            values.len() >= FEWEST
                && (values.windows(2).all(|pair| pair[0] < pair[1])
                    || values.windows(2).all(|pair| pair[0] > pair[1]))
        };
        (groups.len() >= 2 && groups.iter().all(goes_one_way)).then_some(condition)
    }

    /// Which of several coordinates runs under the curves.
    fn running_of(&self, xs: &[usize]) -> Option<usize> {
        let of = |quantity: &Quantity| {
            xs.iter()
                .copied()
                .find(|&x| self.columns[x].quantity.as_ref() == Some(quantity))
        };
        let light = of(&Quantity::WAVELENGTH).or_else(|| of(&Quantity::WAVENUMBER));
        match (light, of(&Quantity::TIME)) {
            (Some(light), Some(time)) => {
                // Where both are few, the longer curves tell more.
                let scans = || self.has_different(light, 3) && self.distinct(light) >= self.distinct(time);
                if self.has_different(light, SCAN_FROM) || !self.has_different(time, 2) || scans() {
                    Some(light)
                } else {
                    Some(time)
                }
            }
            (Some(light), None) if self.has_different(light, 2) => Some(light),
            (None, Some(time)) => Some(time),
            _ => xs.iter().copied().max_by_key(|&x| self.distinct(x)),
        }
    }

    /// How many different numbers a column has.
    fn distinct(&self, column: usize) -> usize {
        let numbers = self.table.grid.column(self.columns[column].index);
        let mut seen: Vec<u64> = numbers.map(f64::to_bits).collect();
        seen.sort_unstable();
        seen.dedup();
        seen.len()
    }

    /// Whether there are so many different numbers, few, which mostly the first rows tell.
    fn has_different(&self, column: usize, few: usize) -> bool {
        let mut seen: Vec<u64> = Vec::with_capacity(few);
        self.table.grid.column(self.columns[column].index).any(|value| {
            let bits = value.to_bits();
            if seen.last() != Some(&bits) && !seen.contains(&bits) {
                seen.push(bits);
            }
            seen.len() >= few
        })
    }

    /// The rows sorted by their names and coordinates.
    fn sorted_by_names(&self, running: usize, xs: &[usize], roles: &[ShapeRole]) -> SortedRows {
        let keys: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                let names = roles[i] == ShapeRole::Names
                    && !self.is_sparse(&self.columns[i])
                    && !self.tells_kinds_of_peaks(i);
                i != running && (names || (roles[i] == ShapeRole::Coordinate && xs.contains(&i)))
            })
            .collect();
        self.sorted_by(keys, running)
    }

    fn sorted_by(&self, keys: Vec<usize>, running: usize) -> SortedRows {
        let groups = self.groups(&keys);
        let breaks = self.breaks(&groups, running);
        SortedRows { keys, groups, breaks }
    }

    /// Whether the rows of one group alone have a concentration, and are the standards of all others: `STD;2;0.121` above
    /// `SMP;;0.151`.
    fn has_standards_alone(&self, running: usize, groups: &[RowGroup]) -> bool {
        let index = self.columns[running].index;
        let has_x = |(_, rows): &&RowGroup| {
            rows.iter()
                .any(|&row| !self.table.grid.figure(row, index).is_nan())
        };
        self.columns[running].quantity == Some(Quantity::CONCENTRATION)
            && groups.len() > 1
            && groups.iter().filter(has_x).count() == 1
    }

    /// Where rows of one name run over the same axis again, a column of whole numbers may say which of several curves each
    /// belongs to: `replicate` 1, 1, … 2, 2, ….
    fn sorted_finer(&self, sorted: SortedRows, running: usize, roles: &[ShapeRole]) -> SortedRows {
        let rows = self.table.grid.rows;
        let plain = sorted.clone();
        let mut sorted = sorted;
        for (i, role) in roles.iter().enumerate() {
            let column = &self.columns[i];
            let counts = column.kind == ColumnKind::Figures
                && column.stats.whole
                && column.unit.is_none()
                && matches!(role, ShapeRole::Open | ShapeRole::Counter)
                // What marks single rows parts no curves.
                && column.quantity.as_ref().is_none_or(|quantity| quantity.as_str() != "flag")
                && self.distinct(i) * 2 <= rows;
            if !counts || i == running || sorted.keys.contains(&i) {
                continue;
            }
            let finer = self.sorted_by(sorted.keys.iter().copied().chain([i]).collect(), running);
            // One that is the same all through each curve only names it.
            let only_names = sorted.groups.len() > 1 && finer.groups.len() == sorted.groups.len();
            let series = is_series(column) && finer.groups.len() * 3 <= rows;
            let fewer_breaks = finer.breaks.len() < sorted.breaks.len() && finer.groups.len() * 2 <= rows;
            if only_names || series || fewer_breaks {
                sorted = finer;
            }
        }
        let split_by_name = sorted
            .keys
            .iter()
            .any(|&i| roles[i] != ShapeRole::Names && is_series(&self.columns[i]));
        if !sorted.breaks.is_empty() && !split_by_name {
            plain
        } else {
            sorted
        }
    }

    /// Notes what the columns are used for by which rows are sorted; units that coordinates lack are asked about.
    fn use_keys(&mut self, keys: &[usize], x: &RunningCoordinate, roles: &[ShapeRole]) -> Vec<RowKey> {
        let keys: Vec<RowKey> = keys
            .iter()
            .map(|&column| {
                let head = self.columns[column].heads.last();
                RowKey {
                    column,
                    role: roles[column],
                    unit: self.unit_of(&self.columns[column]),
                    field: head
                        .and_then(|(head, _)| words::field_of(head.trim()))
                        .filter(|field| matches!(*field, "date" | "operator" | "comment")),
                    names_samples: self.columns[column].names_samples(),
                }
            })
            .collect();
        for key in &keys {
            if key.role == ShapeRole::Coordinate && key.unit.is_none() {
                let column = self.columns[key.column].clone();
                let named = column.quantity.clone().unwrap_or(Quantity::UNKNOWN);
                self.x_unit(&column, &named);
            }
        }
        self.used(x.column, ColumnRole::Axis, &x.quantity, &x.unit);
        for key in &keys {
            match key.role {
                ShapeRole::Names | ShapeRole::Open | ShapeRole::Counter => {
                    self.used(key.column, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE);
                }
                _ => {
                    let named = self.quantity_of(key);
                    let unit = key.unit.as_ref().unwrap_or(&Unit::ONE);
                    self.used(key.column, ColumnRole::Held, &named, unit);
                }
            }
        }
        keys
    }

    fn quantity_of(&self, key: &RowKey) -> Quantity {
        let quantity = self.columns[key.column].quantity.clone();
        quantity.unwrap_or(Quantity::UNKNOWN)
    }

    /// The curve of some rows.
    fn curve_of_rows(
        &mut self,
        x: &RunningCoordinate,
        y: usize,
        (y_quantity, y_unit): (&Quantity, &Unit),
        rows: &[usize],
    ) -> Option<Trace> {
        let (kept, values, decimals) = self.kept_rows(y, y_quantity, Some(x.column), rows.iter().copied());
        let index = self.columns[x.column].index;
        let numbers = self.table.grid.numbers(index);
        let x_values: Vec<f64> = kept
            .iter()
            .map(|row| numbers.get(row).copied().unwrap_or(f64::NAN))
            .collect();
        let x_decimals = decimals_of(&self.decimals[self.table.grid.place(index)], kept.iter());
        let x = Values {
            quantity: x.quantity.clone(),
            unit: x.unit.clone(),
            name: self.name(x.column),
            values: x_values.into(),
            decimals: x_decimals,
        };
        let column = Values {
            quantity: y_quantity.clone(),
            unit: y_unit.clone(),
            name: self.name(y),
            values,
            decimals,
        };
        self.assemble(x, column, y, &kept)
    }

    /// Gives a curve what the columns say by which its rows are sorted: its label, its sample, what is held along it. `parts` is what
    /// stands in them.
    fn name_by_keys(&mut self, trace: &mut Trace, keys: &[RowKey], parts: &[String], rows: &[usize]) {
        let Some(&first) = rows.first() else { return };
        let (mut words, mut names) = (Vec::new(), Vec::new());
        for (key, part) in keys.iter().zip(parts) {
            let index = self.columns[key.column].index;
            match key.role {
                ShapeRole::Names => {
                    let cell = self.table.grid.words(index).get(first);
                    if let (Some(field), Some(cell)) = (key.field, cell) {
                        // A date beside each row is said of the curve, and names no sample.
                        let (fields, questions) = (&mut trace.fields, &mut self.questions);
                        crate::preamble::claim_under(fields, questions, self.source, field, cell.range());
                    } else if !part.is_empty() {
                        words.push(part.clone());
                        if key.names_samples {
                            names.push(part.clone());
                        }
                    }
                }
                ShapeRole::Open | ShapeRole::Counter => {
                    let numbered = format!("{} {part}", self.name(key.column).unwrap_or_default());
                    words.push(numbered.trim().to_owned());
                }
                _ => {
                    let value = self.table.grid.figure(first, index);
                    if !value.is_nan() {
                        let unit = key.unit.clone().unwrap_or(Unit::ONE);
                        trace
                            .held
                            .push(Coordinate::new(self.quantity_of(key), unit, value));
                    }
                }
            }
        }
        if words.is_empty() {
            return;
        }
        // The number of a cell or a run is a part of the label, and names no sample.
        if !names.is_empty() {
            let place = Place::line(self.table.grid.line(first));
            let name = Claim::text(names.join(" / "), Origin::Source(place));
            trace.fields.claim("sample", name);
        }
        trace.label = Some(words.join(" / "));
    }

    /// Whether a column of words says of each row which kind of peak it is, `max` or `min`: a list of peaks is one curve.
    fn tells_kinds_of_peaks(&self, place: usize) -> bool {
        let text = self.source.text();
        let mut words = self.table.grid.words(self.columns[place].index).iter();
        words.all(|span| super::summaries::names_extreme(text[span.range()].trim()))
    }

    /// The rows that have the same names and numbers in the columns `keys`, in the order of the table.
    fn groups(&self, keys: &[usize]) -> Vec<RowGroup> {
        let text = self.source.text();
        let grid = &self.table.grid;
        let key_of = |row: usize| -> Vec<String> {
            keys.iter()
                .map(|&i| {
                    let column = &self.columns[i];
                    match column.kind {
                        ColumnKind::Words => grid
                            .words(column.index)
                            .get(row)
                            .map_or(String::new(), |span| text[span.range()].trim().to_owned()),
                        ColumnKind::Figures => grid.figure(row, column.index).to_string(),
                    }
                })
                .collect()
        };
        // Column by column: rows that were together stay so where they have the same word or number.
        let mut group_of: Vec<u32> = vec![0; grid.rows];
        let mut groups_are_one = true;
        for &i in keys {
            let column = &self.columns[i];
            match column.kind {
                ColumnKind::Words if groups_are_one => {
                    let words = grid.distinct(text, column.index).of_row();
                    group_of
                        .iter_mut()
                        .zip(words)
                        .for_each(|(group, &word)| *group = word);
                }
                ColumnKind::Words => {
                    let words = grid.distinct(text, column.index).of_row();
                    part_finer(&mut group_of, words.iter().map(|&word| u64::from(word)));
                }
                // An absent number is always the same NaN.
                ColumnKind::Figures => part_finer(&mut group_of, grid.column(column.index).map(f64::to_bits)),
            }
            groups_are_one = false;
        }
        let mut sizes: Vec<usize> = Vec::new();
        for &group in &group_of {
            match sizes.get_mut(group as usize) {
                Some(size) => *size += 1,
                None => sizes.push(1),
            }
        }
        let mut groups: Vec<RowGroup> = Vec::with_capacity(sizes.len());
        for (row, &group) in group_of.iter().enumerate() {
            let group = group as usize;
            if group == groups.len() {
                groups.push((key_of(row), Vec::with_capacity(sizes[group])));
            }
            groups[group].1.push(row);
        }
        groups
    }

    /// The rows at which the running column of a group goes back to where it has been.
    fn breaks(&self, groups: &[RowGroup], running: usize) -> Vec<usize> {
        let place = self.table.grid.place(self.columns[running].index);
        let Some(x) = self.values.get(place) else {
            return Vec::new();
        };
        let mut breaks = Vec::new();
        for (_, rows) in groups {
            let steps = || rows.windows(2).map(|pair| (pair[1], x[pair[1]] - x[pair[0]]));
            let rises = steps().filter(|(_, step)| *step > 0.0).count();
            let falls = steps().filter(|(_, step)| *step < 0.0).count();
            // Most groups run one way all through.
            if rises.max(falls) + 1 == rows.len() {
                continue;
            }
            let forth = if rises >= falls { 1.0 } else { -1.0 };
            breaks.extend(
                steps()
                    .filter(|(_, step)| step * forth <= 0.0)
                    .map(|(row, _)| row),
            );
        }
        breaks
    }
}

/// Parts groups of rows by what stands in each row, one `part` for each; groups are counted in the order in which they
/// come first.
fn part_finer(group_of: &mut [u32], parts: impl Iterator<Item = u64>) {
    let mut finer: HashMap<(u32, u64), u32> = HashMap::new();
    let mut last: Option<((u32, u64), u32)> = None;
    for (group, part) in group_of.iter_mut().zip(parts) {
        let key = (*group, part);
        // Rows of one curve mostly stand together.
        let place = match last {
            Some((before, place)) if before == key => place,
            _ => {
                let next = u32::try_from(finer.len()).unwrap_or(u32::MAX);
                *finer.entry(key).or_insert(next)
            }
        };
        *group = place;
        last = Some((key, place));
    }
}
