//! Peak tables and assignments as a trace of peaks.

use curvary_jcamp_dx as dx;
use curvary_record::{Code, Column, Decimals, Diagnostic, Lines, Technique, Trace};

use super::curves::{narrow, trace_fields};
use super::gathering::Gathering;
use super::ours::Ours;
use super::told::span_of;

impl Gathering<'_> {
    pub(super) fn peaks(&mut self, block: &dx::Block, table: &dx::Table, ours: &Ours) {
        struct PeakRow<'r> {
            x: f64,
            y: Option<f64>,
            name: &'r str,
            line: u32,
        }
        let (rows, x_decimals, y_decimals): (Vec<PeakRow<'_>>, _, _) = match &table.data {
            dx::Data::Peaks(peaks) => (
                peaks
                    .rows
                    .iter()
                    .map(|peak| PeakRow {
                        x: peak.x,
                        y: peak.y,
                        name: peak.multiplicity.as_deref().unwrap_or(""),
                        line: peak.line,
                    })
                    .collect(),
                &peaks.x_decimals,
                &peaks.y_decimals,
            ),
            dx::Data::Assignments(list) => (
                list.rows
                    .iter()
                    .map(|row| PeakRow {
                        x: row.x,
                        y: row.y,
                        name: &row.text,
                        line: row.line,
                    })
                    .collect(),
                &list.x_decimals,
                &list.y_decimals,
            ),
            _ => return,
        };
        let units = |label: &str| block.value(label).unwrap_or("").trim().to_owned();
        let greatest = || {
            rows.iter()
                .filter_map(|row| row.y)
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let Some(axes) = self.axes(block, ours, &units("XUNITS"), &units("YUNITS"), &greatest) else {
            return;
        };
        let (mut x, mut y, mut names, mut lines, mut absent) = (vec![], vec![], vec![], Lines::default(), 0);
        let (mut x_digits, mut y_digits) = (Decimals::default(), Decimals::default());
        for (index, row) in rows.iter().enumerate() {
            let Some(height) = row.y else {
                absent += 1;
                continue;
            };
            x.push(row.x);
            y.push(height);
            x_digits.push(narrow(x_decimals.of(index).unwrap_or(0)));
            y_digits.push(narrow(y_decimals.of(index).unwrap_or(0)));
            names.push(row.name.to_owned());
            lines.push(row.line as usize);
        }
        let widths =
            matches!(&table.data, dx::Data::Peaks(p) if p.rows.iter().any(|row| row.width.is_some()));
        let place = self.source.place(span_of(table.span));
        if widths {
            let message = "the widths of the peaks are not kept; positions and heights are";
            self.remarks
                .push(Diagnostic::warning(Code::new("peak-widths"), message).at(place.clone(), ""));
        }
        if absent > 0 {
            let message = format!("{absent} peaks have no height and are left out");
            self.remarks
                .push(Diagnostic::warning(Code::new("peaks-without-height"), message).at(place, ""));
        }
        let x = Column::new(axes.x.0.clone(), axes.x.1.clone(), x).with_decimals(x_digits);
        let y = Column::new(axes.y.0.clone(), axes.y.1.clone(), y).with_decimals(y_digits);
        let Ok(mut trace) = Trace::new(x, y) else { return };
        trace.x.name.clone_from(&axes.x_name);
        trace.y.name.clone_from(&axes.y_name);
        if names.iter().any(|name| !name.is_empty()) {
            trace.row_names = names;
        }
        trace.lines = lines;
        trace.absent = absent;
        trace.label.clone_from(&ours.label);
        trace.held.clone_from(&ours.held);
        trace_fields(&mut trace.fields, ours);
        if !trace.is_empty() {
            self.run(block, ours, axes, vec![trace], Technique::PEAK_LIST);
        }
    }
}
