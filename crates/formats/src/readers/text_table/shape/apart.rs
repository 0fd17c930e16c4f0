//! Two tables side by side that an empty column parts.

use curvary_record::{Code, Diagnostic, Place};

use super::super::columns::Column;
use super::super::grid::ColumnKind;
use super::super::scan::ScannedTable;
use super::{Shaper, TableReading, shape_columns};
use crate::evidence::Evidence;
use crate::explanation::ColumnPart;

/// Where the columns behind an empty one without a header begin, if names begin a table of its own there: standards on the
/// left, the samples on the right.
pub(super) fn apart_at_an_empty_column(columns: &[Column], table: &ScannedTable) -> Option<usize> {
    let grid = &table.grid;
    let empty = |index: usize| match grid.kinds[index] {
        ColumnKind::Figures => grid.column(index).all(f64::is_nan),
        ColumnKind::Words => grid.words(index).iter().all(|span| span.start == span.end),
    };
    let headed = |column: &Column| !column.heads.is_empty();
    let gap = |pair: &[Column]| (pair[0].index + 1..pair[1].index).any(empty);
    let at = 1 + columns.windows(2).position(gap)?;
    let (left, right) = columns.split_at(at);
    let names = right.first().filter(|column| headed(column))?;
    /// Fewer rows are a remark beside the table.
    const FEWEST_ROWS: usize = 3;
    let measured = |column: &Column| {
        headed(column) && column.kind == ColumnKind::Figures && column.stats.count >= FEWEST_ROWS
    };
    let apart = names.kind == ColumnKind::Words && names.clock.is_none() && right.iter().any(measured);
    (apart && left.len() >= 2 && left.iter().all(headed)).then_some(at)
}

/// Shapes the parts of a table that stand side by side, each as a table of its own.
pub(super) fn shape_apart(
    parts: [Shaper<'_>; 2],
    mut told: Option<&mut (Vec<ColumnPart>, Vec<Evidence>)>,
) -> TableReading {
    let table = parts[0].table;
    let mut drafts = Vec::new();
    let mut reason = None;
    let mut from = 0;
    for part in parts {
        let end = part.columns.last().map_or(from, |column| column.index + 1);
        let indices = std::mem::replace(&mut from, end)..end;
        let mut own = (Vec::new(), Vec::new());
        let shaped = shape_columns(part, told.is_some().then_some(&mut own));
        if let Some(told) = told.as_deref_mut() {
            let (first, last) = (indices.start + 1, indices.end);
            own.0.retain(|told| told.last >= first && told.first <= last);
            for columns in &mut own.0 {
                (columns.first, columns.last) = (columns.first.max(first), columns.last.min(last));
            }
            told.0.append(&mut own.0);
            told.1.append(&mut own.1);
        }
        match shaped {
            TableReading::Runs(mut found) => drafts.append(&mut found),
            TableReading::Other(why) => reason = Some(why),
        }
    }
    match (drafts.first_mut(), reason) {
        (Some(draft), Some(why)) => {
            let line = Place::line(table.first_line as usize);
            draft.remarks.push(
                Diagnostic::note(
                    Code::new("part-left-out"),
                    format!("the columns on one side of the empty column were left out: {why}"),
                )
                .at(line, "the table begins here"),
            );
            TableReading::Runs(drafts)
        }
        (None, Some(why)) => TableReading::Other(why),
        _ => TableReading::Runs(drafts),
    }
}
