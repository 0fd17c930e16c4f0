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
        && words::is(WordList::Series, head)
}

impl Shaper<'_> {
    /// One observation a row, with its coordinates and names in columns.
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    pub(super) fn long_form(&mut self, xs: &[usize], roles: &[ShapeRole]) -> Option<RunDraft> {
        let rows = self.table.grid.rows;
        let measured: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                roles[i] == ShapeRole::Measured
                    || (roles[i] == ShapeRole::Open && self.columns[i].kind == ColumnKind::Figures)
            })
            .collect();
        if measured.is_empty() || xs.iter().any(|&x| self.columns[x].kind != ColumnKind::Figures) {
            return None;
        }
        let distinct = |i: usize| -> usize {
            let mut seen: Vec<u64> = self
                .table
                .grid
                .column(self.columns[i].index)
                .map(f64::to_bits)
                .collect();
            seen.sort_unstable();
            seen.dedup();
            seen.len()
        };
        // Whether there are so many different numbers, few, which mostly the first rows tell.
        let has_different = |i: usize, few: usize| -> bool {
            let mut seen: Vec<u64> = Vec::with_capacity(few);
            self.table.grid.column(self.columns[i].index).any(|value| {
                let bits = value.to_bits();
                if seen.last() != Some(&bits) && !seen.contains(&bits) {
                    seen.push(bits);
                }
                seen.len() >= few
            })
        };
        let of = |quantity: &Quantity| {
            xs.iter()
                .copied()
                .find(|&x| self.columns[x].quantity.as_ref() == Some(quantity))
        };
        let light = of(&Quantity::WAVELENGTH).or_else(|| of(&Quantity::WAVENUMBER));
        let running = match (light, of(&Quantity::TIME)) {
            (Some(light), Some(time)) => {
                // Where both are few, the longer curves tell more.
                let scans = || has_different(light, 3) && distinct(light) >= distinct(time);
                if has_different(light, SCAN_FROM) || !has_different(time, 2) || scans() {
                    light
                } else {
                    time
                }
            }
            (Some(light), None) if has_different(light, 2) => light,
            (None, Some(time)) => time,
            _ => *xs.iter().max_by_key(|&&x| distinct(x))?,
        };
        let mut keys: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                let names = roles[i] == ShapeRole::Names
                    && !self.is_sparse(&self.columns[i])
                    && !self.tells_kinds_of_peaks(i);
                i != running && (names || (roles[i] == ShapeRole::Coordinate && xs.contains(&i)))
            })
            .collect();
        let mut groups = self.groups(&keys);
        // `STD;2;0.121` above `SMP;;0.151`: the rows of one group alone have a concentration, and are the standards of all others.
        let of_concentration = self.columns[running].quantity == Some(Quantity::CONCENTRATION);
        let index = self.columns[running].index;
        let has_x = |rows: &[usize]| {
            rows.iter()
                .any(|&row| !self.table.grid.figure(row, index).is_nan())
        };
        if of_concentration && groups.len() > 1 && groups.iter().filter(|(_, rows)| has_x(rows)).count() == 1
        {
            return None;
        }
        // Where rows of one name run over the same axis again, a column of whole numbers may say which of several
        // curves each belongs to: `replicate` 1, 1, … 2, 2, ….
        let mut breaks = self.breaks(&groups, running);
        let plain = (keys.clone(), groups.clone(), breaks.clone());
        for (i, role) in roles.iter().enumerate() {
            let column = &self.columns[i];
            let counts = column.kind == ColumnKind::Figures
                && column.stats.whole
                && column.unit.is_none()
                && matches!(role, ShapeRole::Open | ShapeRole::Counter)
                // What marks single rows parts no curves.
                && column.quantity.as_ref().is_none_or(|quantity| quantity.as_str() != "flag")
                && distinct(i) * 2 <= rows;
            if !counts || i == running || keys.contains(&i) {
                continue;
            }
            let more: Vec<usize> = keys.iter().copied().chain([i]).collect();
            let finer = self.groups(&more);
            let left = self.breaks(&finer, running);
            // One that is the same all through each curve only names it.
            let only_names = groups.len() > 1 && finer.len() == groups.len();
            let series = is_series(column) && finer.len() * 3 <= rows;
            if only_names || series || left.len() < breaks.len() && finer.len() * 2 <= rows {
                (keys, groups, breaks) = (more, finer, left);
            }
        }
        let split_by_name = keys
            .iter()
            .any(|&i| roles[i] != ShapeRole::Names && is_series(&self.columns[i]));
        if !breaks.is_empty() && !split_by_name {
            (keys, groups, breaks) = plain;
        }
        let measured: Vec<usize> = measured
            .into_iter()
            .filter(|i| *i != running && !keys.contains(i))
            .collect();
        if measured.is_empty() {
            return None;
        }
        // Readings that have nothing in common are no curves.
        if groups.len() * 2 > rows || (groups.len() == 1 && xs.len() < 2) {
            return None;
        }
        let (quantity, unit) = self.x_meaning(running);
        self.tell_breaks(&breaks, &quantity);
        let units: Vec<Option<Unit>> = keys.iter().map(|&i| self.unit_of(&self.columns[i])).collect();
        for (&key, unit) in keys.iter().zip(&units) {
            if roles[key] == ShapeRole::Coordinate && unit.is_none() {
                let column = self.columns[key].clone();
                let named = column.quantity.clone().unwrap_or(Quantity::UNKNOWN);
                self.x_unit(&column, &named);
            }
        }
        self.used(running, ColumnRole::Axis, &quantity, &unit);
        for (&key, unit) in keys.iter().zip(&units) {
            let named = self.columns[key].quantity.clone().unwrap_or(Quantity::UNKNOWN);
            match roles[key] {
                ShapeRole::Names => self.used(key, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE),
                ShapeRole::Open | ShapeRole::Counter => {
                    self.used(key, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE);
                }
                _ => self.used(key, ColumnRole::Held, &named, unit.as_ref().unwrap_or(&Unit::ONE)),
            }
        }
        // What the heads of the keys say of what stands below them: a field of each curve, or names of samples.
        let heads: Vec<(Option<&str>, bool)> = keys
            .iter()
            .map(|&i| {
                let head = self.columns[i].heads.last();
                let field = head
                    .and_then(|(head, _)| crate::words::field_of(head.trim()))
                    .filter(|field| matches!(*field, "date" | "operator" | "comment"));
                (field, self.columns[i].names_samples())
            })
            .collect();
        let mut traces = Vec::with_capacity(measured.len() * groups.len());
        for &y in &measured {
            let (y_quantity, y_unit) = self.y_meaning(y, &quantity, roles);
            for (key, rows) in &groups {
                let (kept, values, decimals) =
                    self.kept_rows(y, &y_quantity, Some(running), rows.iter().copied());
                let place = self.table.grid.place(self.columns[running].index);
                let numbers = self.table.grid.numbers(self.columns[running].index);
                let x_values: Vec<f64> = kept
                    .iter()
                    .map(|row| numbers.get(row).copied().unwrap_or(f64::NAN))
                    .collect();
                let x_decimals = decimals_of(&self.decimals[place], kept.iter());
                let x = Values {
                    quantity: quantity.clone(),
                    unit: unit.clone(),
                    name: self.name(running),
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
                let Some(mut trace) = self.assemble(x, column, y, &kept) else {
                    continue;
                };
                let (mut words, mut names) = (Vec::new(), Vec::new());
                for (((&i, unit), part), &(field, samples)) in keys.iter().zip(&units).zip(key).zip(&heads) {
                    if roles[i] == ShapeRole::Names {
                        let cell = rows
                            .first()
                            .and_then(|&row| self.table.grid.words(self.columns[i].index).get(row));
                        if let (Some(field), Some(cell)) = (field, cell) {
                            // A date beside each row is said of the curve, and names no sample.
                            let questions = &mut self.questions;
                            crate::preamble::claim_under(
                                &mut trace.fields,
                                questions,
                                self.source,
                                field,
                                cell.range(),
                            );
                        } else if !part.is_empty() {
                            words.push(part.clone());
                            if samples {
                                names.push(part.clone());
                            }
                        }
                    } else if matches!(roles[i], ShapeRole::Open | ShapeRole::Counter) {
                        words.push(
                            format!("{} {part}", self.name(i).unwrap_or_default())
                                .trim()
                                .to_owned(),
                        );
                    } else if let Some(&first) = rows.first() {
                        let named = self.columns[i].quantity.clone().unwrap_or(Quantity::UNKNOWN);
                        let value = self.table.grid.figure(first, self.columns[i].index);
                        if !value.is_nan() {
                            trace
                                .held
                                .push(Coordinate::new(named, unit.clone().unwrap_or(Unit::ONE), value));
                        }
                    }
                }
                if !words.is_empty() {
                    let label = words.join(" / ");
                    // The number of a cell or a run is a part of the label, and names no sample.
                    if let Some(&first) = rows.first().filter(|_| !names.is_empty()) {
                        let place = Place::line(self.table.grid.line(first));
                        let name = Claim::text(names.join(" / "), Origin::Source(place));
                        trace.fields.claim("sample", name);
                    }
                    trace.label = Some(label);
                }
                traces.push(trace);
            }
        }
        if quantity == Quantity::TIME {
            self.hold_wavelength(&mut traces);
        }
        let scans = traces
            .iter()
            .filter(|trace| trace.held(&Quantity::TIME).is_some())
            .count();
        let technique = if scans > 1 {
            Technique::SPECTRAL_TIME_COURSE
        } else {
            self.technique_of(&quantity, &measured)
        };
        self.because.push(
            "each row is one observation; the rows are sorted into curves by their names and coordinates"
                .to_owned(),
        );
        Some(self.finish(technique, traces))
    }

    /// Whether a column of words says of each row which kind of peak it is, `max` or `min`: a list of peaks is one curve.
    fn tells_kinds_of_peaks(&self, place: usize) -> bool {
        let text = self.source.text();
        let mut words = self.table.grid.words(self.columns[place].index).iter();
        words.all(|span| super::summaries::names_extreme(text[span.range()].trim()))
    }

    /// The rows that have the same names and numbers in the columns `keys`, in the order of the table.
    fn groups(&self, keys: &[usize]) -> Vec<(Vec<String>, Vec<usize>)> {
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
        let mut groups: Vec<(Vec<String>, Vec<usize>)> = Vec::with_capacity(sizes.len());
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
    fn breaks(&self, groups: &[(Vec<String>, Vec<usize>)], running: usize) -> Vec<usize> {
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
