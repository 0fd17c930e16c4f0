//! Tables of groups: `(XY..XY)`, `(XYW..XYW)`, `(XYM..XYM)` and the assignments in parentheses.

mod assignments;
mod fields;
mod peaks;
mod points;

pub(crate) use assignments::read_assignments;
pub(crate) use peaks::read_peaks;
pub(crate) use points::read_points;

use crate::asdf::decode::{cut_line_end, without_last_number};
use crate::axis::{LabelAxis, StatedNumber};
use crate::curve::Decimals;
use crate::factors::{Abscissas, Digits, doubt_of_x, doubt_of_y};
use crate::number::Decimal;
use crate::records::{Line, RecordLines, RecordSource};
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{DataStretch, Doubt, LeftOut};
use fields::{Field, Splitter, VariableFields};

/// Takes the groups of a table, each with its line; what it leaves out goes into the list.
trait Taker {
    /// Whether simple pairs come by [`Taker::pair`].
    const PAIRS: bool = false;

    fn take(&mut self, group: &[Field], line: Line, left_out: &mut Vec<LeftOut>, notes: &mut Notes<'_>);

    fn pair(&mut self, _x: (f64, u16), _y: (f64, u16), _line: u32) {}
}

impl<F: FnMut(&[Field], Line, &mut Vec<LeftOut>, &mut Notes<'_>)> Taker for F {
    fn take(&mut self, group: &[Field], line: Line, left_out: &mut Vec<LeftOut>, notes: &mut Notes<'_>) {
        self(group, line, left_out, notes);
    }
}

/// Splits the lines of a table into whole groups and hands each to `take` with its line. Returns the lines that do
/// not hold whole groups: none of their numbers is certain.
#[expect(clippy::too_many_arguments, reason = "one loop for points and peaks")]
fn each_group<T: Taker>(
    source: &RecordSource<'_>,
    stretch: &DataStretch,
    axis: &LabelAxis,
    columns: &[u8],
    bound: usize,
    left_out: &mut Vec<LeftOut>,
    notes: &mut Notes<'_>,
    taker: &mut T,
) -> Vec<Line> {
    let splitter = Splitter {
        source,
        point: stretch.point,
        columns,
        factors: [axis.x_factor, axis.y_factor, axis.w_factor],
    };
    let bytes = source.text.as_bytes();
    let width = columns.len();
    let pairs = T::PAIRS && axis.x_factor == Decimal::ONE && axis.y_factor == Decimal::ONE;
    let cut_end = cut_line_end(&bytes[..stretch.to], stretch.point).filter(|_| stretch.open_ended);
    let mut fields = VariableFields::default();
    let mut odd_exponent = None;
    let mut taken = 0usize;
    let mut broken: Vec<Line> = Vec::new();
    for mut line in RecordLines::new(source, stretch.from, stretch.to, stretch.line) {
        let cut_end = cut_end.filter(|cut| (line.start + 1..=line.end).contains(cut));
        let cut = cut_end.is_some();
        if let Some(cut) = cut_end {
            let end = line.start + without_last_number(&bytes[line.start..cut]);
            let span = Span {
                start: end,
                end: line.end,
            };
            notes.add(
                Code::TableCutOff,
                line.number,
                span,
                "the end of the text".into(),
                "##END=",
            );
            left_out.push(LeftOut {
                first: line.number,
                last: line.number,
                code: Code::TableCutOff,
            });
            line.end = end;
        }
        let limit = if cut { line.end } else { stretch.to };
        if pairs && let Some((x, y)) = splitter.pair(line.start, line.end, limit) {
            taken += 1;
            if taken > bound {
                left_out.push(LeftOut {
                    first: line.number,
                    last: u32::MAX,
                    code: Code::LimitPoints,
                });
                break;
            }
            taker.pair(x, y, line.number);
            continue;
        }
        if let Err(fault) = splitter.split(line.start, line.end, &mut fields) {
            let mut end = fault.at + 1;
            while !source.text.is_char_boundary(end) {
                end += 1;
            }
            let found = quote(source.text.get(fault.at..end).unwrap_or(""));
            let expected = format!("groups of {width} numbers");
            notes.add(
                fault.code,
                line.number,
                Span { start: fault.at, end },
                found,
                expected,
            );
            left_out.push(LeftOut {
                first: line.number,
                last: line.number,
                code: fault.code,
            });
            continue;
        }
        if let Some(at) = fields.odd_exponent {
            odd_exponent.get_or_insert((line.number, at));
        }
        let whole = fields.fields.len() / width * width;
        if whole < fields.fields.len() && !cut {
            broken.push(line);
            continue;
        }
        taken += whole / width;
        if taken > bound {
            left_out.push(LeftOut {
                first: line.number,
                last: u32::MAX,
                code: Code::LimitPoints,
            });
            break;
        }
        for group in fields.fields[..whole].chunks_exact(width) {
            taker.take(group, line, left_out, notes);
        }
    }
    if let Some((line, at)) = odd_exponent {
        let expected = "sign and two digits, as in E+02";
        notes.add(
            Code::ExponentSpelling,
            line,
            Span {
                start: at,
                end: at + 1,
            },
            "an exponent".into(),
            expected,
        );
    }
    left_out.sort_by_key(|l| l.first);
    broken
}

fn remark_broken(
    source: &RecordSource<'_>,
    broken: &[Line],
    width: usize,
    left_out: &mut Vec<LeftOut>,
    notes: &mut Notes<'_>,
) {
    for line in broken {
        let found = quote(&source.text[line.start..line.end]);
        let span = Span {
            start: line.start,
            end: line.end,
        };
        notes.add(
            Code::PairIncomplete,
            line.number,
            span,
            found,
            format!("groups of {width}"),
        );
        left_out.push(LeftOut {
            first: line.number,
            last: line.number,
            code: Code::PairIncomplete,
        });
    }
    left_out.sort_by_key(|l| l.first);
}

/// Whether the abscissas rise or fall.
fn is_ordered(x: impl Iterator<Item = f64> + Clone) -> bool {
    x.clone().is_sorted() || x.is_sorted_by(|a, b| a >= b)
}

/// Leaves out a table whose groups may be columns over one X.
fn leave_out_columns(
    groups: usize,
    stretch: &DataStretch,
    left_out: &mut Vec<LeftOut>,
    notes: &mut Notes<'_>,
) {
    let found = format!("{groups} groups of numbers, several on a line, whose X go up and down");
    notes.add(
        Code::PointsInColumns,
        stretch.line,
        stretch.head,
        found,
        "X that rises or falls, or NPOINTS",
    );
    left_out.push(LeftOut {
        first: stretch.line,
        last: u32::MAX,
        code: Code::PointsInColumns,
    });
}

/// The printed digits of ordinates whose finest scaled one has the power `exponent`.
fn digits(axis: &LabelAxis, exponent: i32) -> Digits {
    let printed = (exponent - axis.y_factor.exponent).min(0);
    Digits {
        exponent: printed,
        integers: printed == 0,
    }
}

/// Whether the factors of listed rows are in doubt. Their other labels may be those of the whole spectrum, so that
/// nothing is said about labels that differ.
pub(crate) fn factor_doubts(
    axis: &LabelAxis,
    x: impl Iterator<Item = f64>,
    y: impl Iterator<Item = f64>,
    decimals: &Decimals,
) -> Vec<Doubt> {
    let exponent = -i32::from(decimals.greatest().unwrap_or(0));
    let heights = Abscissas::of(y);
    let facts: Vec<(StatedNumber, f64)> = heights
        .iter()
        .flat_map(|y| {
            [
                (axis.first_y, y.first),
                (axis.max_y, y.greatest),
                (axis.min_y, y.least),
            ]
        })
        .filter_map(|(stated, value)| Some((stated?, value)))
        .collect();
    let of_x = Abscissas::of(x).and_then(|read| doubt_of_x(axis, &read));
    let of_y = doubt_of_y(axis, digits(axis, exponent), &facts);
    of_x.into_iter().chain(of_y).collect()
}

/// What NPOINTS says of a count.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Count {
    Agrees,
    Differs,
    Missing,
}

/// Compares NPOINTS with what was read, `points` or `rows`, and tells where it is another or absent.
pub(crate) fn check_count(
    axis: &LabelAxis,
    read: usize,
    what: &str,
    stretch: &DataStretch,
    notes: &mut Notes<'_>,
) -> Count {
    match (axis.npoints, axis.count()) {
        (Some(_), Some(n)) if n == read => Count::Agrees,
        (Some(stated), _) => {
            let found = stated.value().to_string();
            notes.add(
                Code::NpointsDiffers,
                stated.line,
                stated.span,
                found,
                format!("{read} {what}"),
            );
            Count::Differs
        }
        (None, _) => {
            notes.add(
                Code::NpointsMissing,
                stretch.line,
                stretch.head,
                "no NPOINTS".into(),
                format!("NPOINTS={read}"),
            );
            Count::Missing
        }
    }
}
