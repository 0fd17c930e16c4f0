//! The rows of a table as typed cells, for formats that are no text.

use std::ops::Range;

use curvary_record::{Run, Trace};

use super::{CsvCell, CsvTable, WriteError, groups};
use crate::writers::table_schema::ColumnType;

/// One cell. Texts are as they are, without the apostrophe that CSV puts before formulas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CellContent<'a> {
    /// There is no value.
    Empty,
    /// Words, or a day in ISO 8601.
    Text(&'a str),
    /// A number in the column's unit.
    Number(f64),
    /// A count.
    Whole(i64),
    /// A mark.
    Truth(bool),
}

/// One column of many rows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum ColumnStretch<'a> {
    /// The same in all of them.
    Same(CellContent<'a>),
    /// Numbers, one a row.
    Numbers(&'a [f64]),
    /// Names; there may be fewer than rows.
    Names(&'a [String]),
    /// Marks, one a row.
    Marks(&'a [bool]),
    /// Counts from the first one on.
    Counts(usize),
}

impl CsvTable {
    /// Gives every row that a run fills, a stretch of at most `most` rows at a time, column by column.
    ///
    /// # Errors
    /// When the run was not seen by the survey, or `take` fails.
    pub(crate) fn each_stretch<E: From<WriteError>>(
        &self,
        run: &Run,
        most: usize,
        mut take: impl FnMut(&[ColumnStretch<'_>], usize) -> Result<(), E>,
    ) -> Result<(), E> {
        let (of_run, groups) = groups(run, self.options);
        let base = self.row(run, self.base(), &of_run)?;
        for group in &groups {
            let row = self.row(run, base.clone(), &group.own)?;
            let Some(trace) = group.trace else {
                take(&self.stretches(&row, None), 1)?;
                continue;
            };
            let marks = if row.iter().any(|cell| matches!(cell, Some(CsvCell::Saturated))) {
                marks(trace)
            } else {
                Vec::new()
            };
            for from in (0..trace.len()).step_by(most.max(1)) {
                let rows = from..trace.len().min(from + most.max(1));
                let count = rows.len();
                take(&self.stretches(&row, Some((trace, &marks, rows))), count)?;
            }
        }
        Ok(())
    }

    /// The columns of rows of one curve, or of one row of none.
    fn stretches<'c>(
        &self,
        row: &[Option<&'c CsvCell>],
        curve: Option<(&'c Trace, &'c [bool], Range<usize>)>,
    ) -> Vec<ColumnStretch<'c>> {
        let cells = row.iter().zip(&self.columns);
        cells
            .map(|(cell, column)| match (cell, &curve) {
                (Some(CsvCell::X), Some((trace, _, rows))) => {
                    ColumnStretch::Numbers(trace.x.values.get(rows.clone()).unwrap_or_default())
                }
                (Some(CsvCell::Y), Some((trace, _, rows))) => {
                    ColumnStretch::Numbers(trace.y.values.get(rows.clone()).unwrap_or_default())
                }
                (Some(CsvCell::Name { .. }), Some((trace, _, rows))) => {
                    let end = rows.end.min(trace.row_names.len());
                    ColumnStretch::Names(trace.row_names.get(rows.start..end).unwrap_or_default())
                }
                (Some(CsvCell::Saturated), Some((_, marks, rows))) => {
                    ColumnStretch::Marks(marks.get(rows.clone()).unwrap_or_default())
                }
                (Some(CsvCell::Position), Some((_, _, rows))) => ColumnStretch::Counts(rows.start),
                (cell, _) => ColumnStretch::Same(constant(*cell, column.kind)),
            })
            .collect()
    }

    /// Gives every row that a run fills, one after another.
    ///
    /// # Errors
    /// When the run was not seen by the survey, or `take` fails.
    pub fn each_row<E: From<WriteError>>(
        &self,
        run: &Run,
        mut take: impl FnMut(&[CellContent<'_>]) -> Result<(), E>,
    ) -> Result<u64, E> {
        let (of_run, groups) = groups(run, self.options);
        let base = self.row(run, self.base(), &of_run)?;
        let mut rows = 0;
        for group in &groups {
            let row = self.row(run, base.clone(), &group.own)?;
            let mut cells: Vec<CellContent<'_>> = row
                .iter()
                .zip(&self.columns)
                .map(|(cell, column)| constant(*cell, column.kind))
                .collect();
            let Some(trace) = group.trace else {
                take(&cells)?;
                rows += 1;
                continue;
            };
            let marked = marks(trace);
            for (at, (&x, &y)) in trace.x.values.iter().zip(trace.y.values.iter()).enumerate() {
                for (cell, content) in row.iter().zip(&mut cells) {
                    match cell {
                        Some(CsvCell::X) => *content = CellContent::Number(x),
                        Some(CsvCell::Y) => *content = CellContent::Number(y),
                        Some(CsvCell::Name { .. }) => {
                            *content = trace
                                .row_names
                                .get(at)
                                .map_or(CellContent::Empty, |name| CellContent::Text(name));
                        }
                        Some(CsvCell::Saturated) => *content = CellContent::Truth(marked[at]),
                        Some(CsvCell::Position) => {
                            *content = i64::try_from(at).map_or(CellContent::Empty, CellContent::Whole);
                        }
                        _ => {}
                    }
                }
                take(&cells)?;
                rows += 1;
            }
        }
        Ok(rows)
    }
}

/// What a cell holds in all rows of a curve.
fn constant(cell: Option<&CsvCell>, kind: ColumnType) -> CellContent<'_> {
    match cell {
        Some(CsvCell::Text(text)) if kind == ColumnType::Integer => {
            text.parse().map_or(CellContent::Empty, CellContent::Whole)
        }
        Some(CsvCell::Text(text)) => CellContent::Text(text),
        Some(CsvCell::Number(value, _)) => CellContent::Number(*value),
        _ => CellContent::Empty,
    }
}

/// Whether each point of a curve is marked.
fn marks(trace: &Trace) -> Vec<bool> {
    let mut marks = vec![false; trace.len()];
    for &point in &trace.saturated {
        if let Some(mark) = marks.get_mut(point as usize) {
            *mark = true;
        }
    }
    marks
}
