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
        // Beside one row of light may stand what is known of each sample: its dilution.
        let known = || {
            let of_sample = |name: &&String| words::field_of(name).is_some();
            names.iter().filter(of_sample).count() + of_light == names.len()
        };
        (of_light >= 2 || of_light > 0 && known()).then_some(names)
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
                let changes = &self.decimals[self.table.grid.place(self.columns[samples[place]].index)];
                let last = changes
                    .iter()
                    .take_while(|&&(from, _)| from as usize <= row)
                    .last();
                decimals.push(last.map_or(0, |&(_, digits)| digits));
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
