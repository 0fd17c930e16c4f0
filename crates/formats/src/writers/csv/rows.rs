//! The rows of a table as typed cells, for formats that are no text.

use curvary_record::Run;

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

impl Table {
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
                .map(|(cell, column)| match cell {
                    Some(Cell::Text(text)) if column.kind == ColumnType::Integer => {
                        text.parse().map_or(Content::Empty, Content::Whole)
                    }
                    Some(Cell::Text(text)) => Content::Text(text),
                    Some(Cell::Number(value, _)) => Content::Number(*value),
                    _ => Content::Empty,
                })
                .collect();
            let Some(trace) = group.trace else {
                take(&cells)?;
                rows += 1;
                continue;
            };
            let mut marked = vec![false; trace.len()];
            for &point in &trace.saturated {
                if let Some(mark) = marked.get_mut(point as usize) {
                    *mark = true;
                }
            }
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
