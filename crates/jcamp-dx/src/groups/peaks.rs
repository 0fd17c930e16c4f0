//! Peak tables: `(XY..XY)`, `(XYW..XYW)`, `(XYM..XYM)`.

use super::fields::{Field, number_of};
use super::{check_count, each_group, is_ordered, leave_out_columns, remark_broken};
use crate::axis::LabelAxis;
use crate::curve::DecimalsBuilder;
use crate::records::{Line, RecordSource};
use crate::remark::{Code, Notes, Span};
use crate::table::{DataStretch, LeftOut, Peak, Peaks};

/// Reads a peak table with the columns `XY`, `XYW` or `XYM`.
pub(crate) fn read_peaks(
    source: &RecordSource<'_>,
    stretch: &DataStretch,
    axis: &LabelAxis,
    columns: &str,
    bound: usize,
    notes: &mut Notes<'_>,
) -> (Peaks, Vec<LeftOut>) {
    let columns = columns.as_bytes();
    let mut peaks = Peaks::default();
    let mut builders: [DecimalsBuilder; 3] = Default::default();
    let mut left_out = Vec::new();
    let column = |name: u8| columns.iter().position(|c| *c == name);
    let (x_at, y_at, w_at, m_at) = (
        column(b'X').unwrap_or(0),
        column(b'Y'),
        column(b'W'),
        column(b'M'),
    );
    let broken = each_group(
        source,
        stretch,
        axis,
        columns,
        bound,
        &mut left_out,
        notes,
        &mut |group: &[Field], line: Line, left: &mut Vec<LeftOut>, notes: &mut Notes<'_>| {
            let Some((x, dx)) = number_of(group[x_at]) else {
                let span = Span {
                    start: line.start,
                    end: line.end,
                };
                notes.add(
                    Code::AbscissaMissing,
                    line.number,
                    span,
                    "no X".into(),
                    "a number",
                );
                left.push(LeftOut {
                    first: line.number,
                    last: line.number,
                    code: Code::AbscissaMissing,
                });
                return;
            };
            let y = y_at.and_then(|at| number_of(group[at]));
            let width = w_at.and_then(|at| number_of(group[at]));
            let multiplicity = m_at.and_then(|at| match group[at] {
                Field::Word { from, to } => Some(source.text[from..to].trim_matches(['<', '>']).to_owned()),
                Field::Number { value, .. } => Some(value.to_string()),
                Field::Missing => None,
            });
            builders[0].push(dx);
            builders[1].push(y.map_or(0, |y| y.1));
            builders[2].push(width.map_or(0, |w| w.1));
            let (y, width) = (y.map(|y| y.0), width.map(|w| w.0));
            peaks.rows.push(Peak {
                x,
                y,
                width,
                multiplicity,
                line: line.number,
            });
        },
    );
    remark_broken(source, &broken, columns.len(), &mut left_out, notes);
    [peaks.x_decimals, peaks.y_decimals, peaks.width_decimals] = builders.map(DecimalsBuilder::finish);
    check_count(axis, peaks.rows.len(), "rows", stretch, notes);
    let several = peaks.rows.windows(2).any(|pair| pair[0].line == pair[1].line);
    if several && axis.count() != Some(peaks.rows.len()) && !is_ordered(peaks.rows.iter().map(|row| row.x)) {
        leave_out_columns(peaks.rows.len(), stretch, &mut left_out, notes);
        peaks = Peaks::default();
    }
    (peaks, left_out)
}
