//! Curves laid on their side and cut into strips.

use super::*;

impl Shaper<'_> {
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
}
