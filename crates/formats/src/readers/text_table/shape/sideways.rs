//! Single readings laid on their side: each column is a sample, and each row is named by what was read, `A420`, `A520`.

use super::*;

impl Shaper<'_> {
    /// The names of the rows, where they say what was read and the headers do not: the only words stand in the first column,
    /// every header is a name, and two rows or all of them name light.
    pub(super) fn light_down_the_rows(&self) -> Option<Vec<String>> {
        let (first, samples) = self.columns.split_first()?;
        let told = |column: &Column| {
            column.kind != ColumnKind::Figures
                // `flow` among `lysate`, `wash 1` names a sample.
                || column.quantity.as_ref().is_some_and(of_the_trade)
                || column.unit.is_some()
                || column.held.iter().any(|held| held.quantity != Quantity::UNKNOWN)
                || column.heads.is_empty()
        };
        if first.kind != ColumnKind::Words
            || first.clock.is_some()
            || samples.is_empty()
            || samples.iter().any(told)
        {
            return None;
        }
        let text = self.source.text();
        let names: Vec<String> = self
            .table
            .grid
            .words(first.index)
            .iter()
            .map(|span| text[span.range()].trim().to_owned())
            .collect();
        let of_light = names
            .iter()
            .filter(|name| {
                let head = read_column_header(name);
                let quantity = head.quantity.is_some_and(|quantity| quantity.is_of_light());
                quantity && head.held.iter().any(|held| held.quantity == Quantity::WAVELENGTH)
            })
            .count();
        // Beside one row of light may stand what is known of each sample: its dilution, or a result in its unit.
        let known = || {
            let of_sample = |name: &&String| {
                let head = read_column_header(name);
                let other =
                    head.unit.is_some() && head.quantity.is_some_and(|quantity| !quantity.is_of_light());
                words::field_of(name).is_some() || other
            };
            names.iter().filter(of_sample).count() + of_light == names.len()
        };
        (of_light >= 2 || of_light > 0 && known()).then_some(names)
    }

    /// Curves laid on their side and cut into strips: `time (min)  0  3  6` above `absorbance  0.048  0.132  0.205`, and again
    /// with the next times.
    pub(super) fn strips(&mut self) -> Option<RunDraft> {
        let (first, figures) = self.columns.split_first()?;
        let plain = first.kind == ColumnKind::Words
            && first.clock.is_none()
            && !figures.is_empty()
            && figures.iter().all(|column| column.kind == ColumnKind::Figures)
            && self.columns.iter().all(|column| column.heads.is_empty());
        if !plain {
            return None;
        }
        let text = self.source.text();
        let names: Vec<&str> = self
            .table
            .grid
            .words(first.index)
            .iter()
            .map(|span| text[span.range()].trim())
            .collect();
        let axis = read_column_header(names.first()?);
        let (x_quantity, x_unit) = axis.quantity.clone().zip(axis.unit.clone())?;
        let runs = matches!(
            x_quantity.as_str(),
            "time" | "wavelength" | "concentration" | "temperature"
        );
        let height = (1..names.len())
            .find(|&row| names[row] == names[0])
            .unwrap_or(names.len());
        let of_light = |name: &&str| {
            let head = read_column_header(name);
            head.quantity
                .filter(Quantity::is_of_light)
                .map(|quantity| (quantity, head.unit, head.held))
        };
        let measured: Option<Vec<_>> = names.get(1..height)?.iter().map(of_light).collect();
        let measured = measured.filter(|measured| !measured.is_empty())?;
        let alike = names.chunks(height).all(|strip| strip == &names[..height]);
        // Each strip goes on where the one before it ends.
        let over: Vec<f64> = (0..names.len())
            .step_by(height)
            .flat_map(|row| figures.iter().map(move |column| (row, column.index)))
            .map(|(row, index)| self.table.grid.figure(row, index))
            .filter(|value| !value.is_nan())
            .collect();
        let on =
            over.windows(2).all(|pair| pair[0] < pair[1]) || over.windows(2).all(|pair| pair[0] > pair[1]);
        if !runs || !alike || !on {
            return None;
        }
        let indexes: Vec<usize> = figures.iter().map(|column| column.index).collect();
        let strips = names.len() / height;
        let mut traces = Vec::with_capacity(measured.len());
        for (place, (quantity, unit, held)) in measured.into_iter().enumerate() {
            let (mut xs, mut ys) = (Vec::new(), Vec::new());
            let (mut x_decimals, mut y_decimals) = (Decimals::default(), Decimals::default());
            let mut lines = Vec::with_capacity(strips);
            for strip in 0..strips {
                let (over, row) = (strip * height, strip * height + place + 1);
                let from = ys.len();
                for &index in &indexes {
                    let (x, y) = (
                        self.table.grid.figure(over, index),
                        self.table.grid.figure(row, index),
                    );
                    if !x.is_nan() && !y.is_nan() {
                        xs.push(x);
                        ys.push(y);
                        x_decimals.push(self.digits_at(over, index));
                        y_decimals.push(self.digits_at(row, index));
                    }
                }
                lines.push((self.table.grid.line(row), from, ys.len() - from));
            }
            let name = names[place + 1].to_owned();
            let unit = unit.unwrap_or_else(|| customary_unit(&quantity));
            let x = Values {
                quantity: x_quantity.clone(),
                unit: x_unit.clone(),
                name: Some(names[0].to_owned()),
                values: xs.into(),
                decimals: x_decimals,
            };
            let y = Values {
                quantity,
                unit,
                name: Some(name.clone()),
                values: ys.into(),
                decimals: y_decimals,
            };
            let Ok(mut trace) = Trace::new(x, y) else { continue };
            for (line, _, count) in lines {
                trace.lines.push_run(line, 0, count);
            }
            trace.label = Some(name);
            trace
                .held
                .extend(held.into_iter().filter(|held| held.quantity != x_quantity));
            traces.push(trace);
        }
        for place in 1..self.columns.len() {
            self.used(
                place,
                ColumnRole::Measured,
                &Quantity::ABSORBANCE,
                &Unit::ABSORBANCE,
            );
        }
        self.tell_gaps(&indexes, &Quantity::ABSORBANCE);
        self.because.push(format!(
            "the {x_quantity} stands across, and each row below it is a curve"
        ));
        if x_quantity != Quantity::WAVELENGTH {
            self.hold_wavelength(&mut traces);
        }
        let technique = self.technique_of(&x_quantity, &[]);
        Some(self.finish(technique, traces))
    }

    /// How many digits stand behind the decimal sign of a cell.
    fn digits_at(&self, row: usize, index: usize) -> u8 {
        let changes = &self.decimals[self.table.grid.place(index)];
        let last = changes
            .iter()
            .take_while(|&&(from, _)| from as usize <= row)
            .last();
        last.map_or(0, |&(_, digits)| digits)
    }

    /// Readings laid on their side: a trace for each row, over the samples.
    pub(super) fn sideways(&mut self, roles: &[ShapeRole]) -> Option<RunDraft> {
        let names = self.light_down_the_rows()?;
        let samples: Vec<usize> = (1..self.columns.len()).collect();
        let counted: Numbers = (1..=samples.len()).map(|place| place as f64).collect();
        // Of several rows of headers the one that says so holds the names: `Sample;W1;W2` above `Operator;KM;PV`.
        let of_names = self.columns[0]
            .heads
            .iter()
            .position(|(key, _)| matches!(words::field_of(key.trim()), Some("sample" | "sample-id")));
        let sample_names: Vec<String> = samples
            .iter()
            .map(|&sample| {
                let column = &self.columns[sample];
                let named = of_names
                    .filter(|_| column.heads.len() == self.columns[0].heads.len())
                    .and_then(|level| column.heads.get(level))
                    .map(|(text, _)| text.trim().to_owned());
                named.or_else(|| self.name(sample)).unwrap_or_default()
            })
            .collect();
        let mut traces = Vec::with_capacity(names.len());
        for (row, name) in names.iter().enumerate() {
            let head = read_column_header(name);
            let kept: Vec<usize> = (0..samples.len())
                .filter(|&place| {
                    !self
                        .table
                        .grid
                        .figure(row, self.columns[samples[place]].index)
                        .is_nan()
                })
                .collect();
            let values = |place: usize| self.table.grid.figure(row, self.columns[samples[place]].index);
            let quantity = head
                .quantity
                .clone()
                .unwrap_or_else(|| Quantity::named(name.to_lowercase()));
            let unit = match head.unit.clone() {
                Some(unit) => unit,
                None if quantity.is_of_light() && quantity == Quantity::ABSORBANCE => Unit::ABSORBANCE,
                None => Unit::ONE,
            };
            let mut decimals = Decimals::default();
            for &place in &kept {
                decimals.push(self.digits_at(row, self.columns[samples[place]].index));
            }
            let x = Values {
                quantity: Quantity::INDEX,
                unit: Unit::ONE,
                name: None,
                values: kept.iter().map(|&place| counted[place]).collect(),
                decimals: Decimals::default(),
            };
            let y = Values {
                quantity,
                unit,
                name: Some(name.clone()),
                values: kept.iter().map(|&place| values(place)).collect(),
                decimals,
            };
            let Ok(mut trace) = Trace::new(x, y) else { continue };
            trace.lines.push_run(self.table.grid.line(row), 0, kept.len());
            trace.absent = u32::try_from(samples.len() - kept.len()).unwrap_or(u32::MAX);
            trace.row_names = kept.iter().map(|&place| sample_names[place].clone()).collect();
            trace.label = Some(name.clone());
            trace.held.extend(
                head.held
                    .into_iter()
                    .filter(|held| held.quantity == Quantity::WAVELENGTH),
            );
            traces.push(trace);
        }
        for &sample in &samples {
            self.used(
                sample,
                ColumnRole::Measured,
                &Quantity::ABSORBANCE,
                &Unit::ABSORBANCE,
            );
        }
        let columns: Vec<usize> = samples.iter().map(|&sample| self.columns[sample].index).collect();
        self.tell_gaps(&columns, &Quantity::ABSORBANCE);
        self.tell_flags(roles);
        self.because
            .push("each row is named by what was read, and each column is a sample".to_owned());
        Some(self.finish(Technique::FIXED_WAVELENGTH, traces))
    }
}
