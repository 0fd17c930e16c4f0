//! The rows of a table as typed cells, for formats that are no text.

use std::ops::Range;

use curvary_record::{Run, Trace};

use super::{Cell, Table, WriteError, groups};
use crate::writers::table_schema::ColumnType;

/// One cell. Texts are as they are, without the apostrophe that CSV puts before formulas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Content<'a> {
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
pub(crate) enum Stretch<'a> {
    /// The same in all of them.
    Same(Content<'a>),
    /// Numbers, one a row.
    Numbers(&'a [f64]),
    /// Names; there may be fewer than rows.
    Names(&'a [String]),
    /// Marks, one a row.
    Marks(&'a [bool]),
    /// Counts from the first one on.
    Counts(usize),
}

impl Table {
    /// Gives every row that a run fills, a stretch of at most `most` rows at a time, column by column.
    ///
    /// # Errors
    /// When the run was not seen by the survey, or `take` fails.
    pub(crate) fn each_stretch<E: From<WriteError>>(
        &self,
        run: &Run,
        most: usize,
        mut take: impl FnMut(&[Stretch<'_>], usize) -> Result<(), E>,
    ) -> Result<(), E> {
        let (of_run, groups) = groups(run, self.options);
        let base = self.row(run, self.base(), &of_run)?;
        for group in &groups {
            let row = self.row(run, base.clone(), &group.own)?;
            let Some(trace) = group.trace else {
                take(&self.stretches(&row, None), 1)?;
                continue;
            };
            let marks = if row.iter().any(|cell| matches!(cell, Some(Cell::Saturated))) {
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
        row: &[Option<&'c Cell>],
        curve: Option<(&'c Trace, &'c [bool], Range<usize>)>,
    ) -> Vec<Stretch<'c>> {
        let cells = row.iter().zip(&self.columns);
        cells
            .map(|(cell, column)| match (cell, &curve) {
                (Some(Cell::X), Some((trace, _, rows))) => {
                    Stretch::Numbers(trace.x.values.get(rows.clone()).unwrap_or_default())
                }
                (Some(Cell::Y), Some((trace, _, rows))) => {
                    Stretch::Numbers(trace.y.values.get(rows.clone()).unwrap_or_default())
                }
                (Some(Cell::Name { .. }), Some((trace, _, rows))) => {
                    let end = rows.end.min(trace.row_names.len());
                    Stretch::Names(trace.row_names.get(rows.start..end).unwrap_or_default())
                }
                (Some(Cell::Saturated), Some((_, marks, rows))) => {
                    Stretch::Marks(marks.get(rows.clone()).unwrap_or_default())
                }
                (Some(Cell::Position), Some((_, _, rows))) => Stretch::Counts(rows.start),
                (cell, _) => Stretch::Same(constant(*cell, column.kind)),
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
        mut take: impl FnMut(&[Content<'_>]) -> Result<(), E>,
    ) -> Result<u64, E> {
        let (of_run, groups) = groups(run, self.options);
        let base = self.row(run, self.base(), &of_run)?;
        let mut rows = 0;
        for group in &groups {
            let row = self.row(run, base.clone(), &group.own)?;
            let mut cells: Vec<Content<'_>> = row
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
                        Some(Cell::X) => *content = Content::Number(x),
                        Some(Cell::Y) => *content = Content::Number(y),
                        Some(Cell::Name { .. }) => {
                            *content = trace
                                .row_names
                                .get(at)
                                .map_or(Content::Empty, |name| Content::Text(name));
                        }
                        Some(Cell::Saturated) => *content = Content::Truth(marked[at]),
                        Some(Cell::Position) => {
                            *content = i64::try_from(at).map_or(Content::Empty, Content::Whole);
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
fn constant(cell: Option<&Cell>, kind: ColumnType) -> Content<'_> {
    match cell {
        Some(Cell::Text(text)) if kind == ColumnType::Integer => {
            text.parse().map_or(Content::Empty, Content::Whole)
        }
        Some(Cell::Text(text)) => Content::Text(text),
        Some(Cell::Number(value, _)) => Content::Number(*value),
        _ => Content::Empty,
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
