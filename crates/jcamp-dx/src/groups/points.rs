//! `(XY..XY)` as a curve.

use super::fields::{Field, Splitter, VariableFields};
use super::{Count, Taker, check_count, digits, each_group, is_ordered, leave_out_columns, remark_broken};
use crate::axis::LabelAxis;
use crate::curve::{Curve, DecimalsBuilder, LineMap, Missing};
use crate::factors::{Abscissas, doubt_of_x};
use crate::number::Decimal;
use crate::records::{Line, RecordLines, RecordSource};
use crate::remark::{Code, Notes, Span};
use crate::table::{DataStretch, LeftOut, TableOutcome};
use crate::xydata::check_ordinates;

/// Reads `(XY..XY)` as a curve.
pub(crate) fn read_points(
    source: &RecordSource<'_>,
    stretch: &DataStretch,
    axis: &LabelAxis,
    bound: usize,
    notes: &mut Notes<'_>,
) -> TableOutcome {
    let mut outcome = TableOutcome::default();
    let mut points = PointsWriter::default();
    // A point takes at least four characters; most take more than ten.
    let room = ((stretch.to - stretch.from) / 12).min(bound);
    points.x.reserve(room);
    points.y.reserve(room);
    let mut left_out = Vec::new();
    let broken = each_group(
        source,
        stretch,
        axis,
        b"XY",
        bound,
        &mut left_out,
        notes,
        &mut points,
    );
    if !broken.is_empty() && left_out.is_empty() && wrapped(source, stretch, axis) {
        let line = broken[0];
        let span = Span {
            start: line.start,
            end: line.end,
        };
        notes.add(
            Code::PairAcrossLines,
            line.number,
            span,
            "half a pair at a line end".into(),
            "whole pairs",
        );
        points = PointsWriter::default();
        points.read_wrapped(source, stretch, axis, &mut left_out, notes);
    } else {
        remark_broken(source, &broken, 2, &mut left_out, notes);
    }
    if points.in_columns(axis) {
        leave_out_columns(points.x.len(), stretch, &mut left_out, notes);
        points = PointsWriter::default();
    }
    points.flush();
    let starts_with_a_value = points.starts_with_a_value;
    let exponent = points.exponent;
    let curve = points.finish();
    check_points(
        axis,
        &curve,
        &left_out,
        starts_with_a_value,
        exponent,
        notes,
        stretch,
        &mut outcome,
    );
    outcome.curve = curve;
    outcome.left_out = left_out;
    outcome
}

#[derive(Default)]
struct PointsWriter {
    x: Vec<f64>,
    y: Vec<f64>,
    x_decimals: DecimalsBuilder,
    y_decimals: DecimalsBuilder,
    lines: LineMap,
    missing: Vec<Missing>,
    /// The line of the points not yet in `lines`, and how many.
    pending: (u32, usize),
    most_on_a_line: usize,
    /// The first point is not marked as missing.
    starts_with_a_value: bool,
    /// The finest power of ten of the ordinates.
    exponent: i32,
}

impl Taker for PointsWriter {
    const PAIRS: bool = true;

    fn take(&mut self, group: &[Field], line: Line, left_out: &mut Vec<LeftOut>, notes: &mut Notes<'_>) {
        match (group[0], group[1]) {
            (
                Field::Number {
                    value: x,
                    decimals: dx,
                },
                Field::Number {
                    value: y,
                    decimals: dy,
                },
            ) => {
                self.push((x, dx), (y, dy), line.number);
            }
            (Field::Number { value: x, .. }, Field::Missing) => {
                self.missing.push(Missing {
                    x,
                    before: self.x.len(),
                    line: line.number,
                });
            }
            _ => {
                let span = Span {
                    start: line.start,
                    end: line.end,
                };
                notes.add(
                    Code::AbscissaMissing,
                    line.number,
                    span,
                    "? in place of X".into(),
                    "a number",
                );
                left_out.push(LeftOut {
                    first: line.number,
                    last: line.number,
                    code: Code::AbscissaMissing,
                });
            }
        }
    }

    #[inline]
    fn pair(&mut self, x: (f64, u16), y: (f64, u16), line: u32) {
        self.push(x, y, line);
    }
}

impl PointsWriter {
    #[inline]
    fn push(&mut self, x: (f64, u16), y: (f64, u16), line: u32) {
        if line != self.pending.0 {
            self.flush();
            self.pending = (line, 0);
        }
        self.pending.1 += 1;
        self.starts_with_a_value |= self.x.is_empty() && self.missing.is_empty();
        self.x.push(x.0);
        self.y.push(y.0);
        self.x_decimals.push(x.1);
        self.y_decimals.push(y.1);
        self.exponent = self.exponent.min(-i32::from(y.1));
    }

    /// Whether the pairs may be columns over one X: several on a line, NPOINTS tells of fewer or is absent, and X goes up
    /// and down.
    fn in_columns(&self, axis: &LabelAxis) -> bool {
        let most = self.most_on_a_line.max(self.pending.1);
        let counted = axis.count() == Some(self.x.len() + self.missing.len());
        most > 1 && !counted && !is_ordered(self.x.iter().copied())
    }

    fn flush(&mut self) {
        self.most_on_a_line = self.most_on_a_line.max(self.pending.1);
        self.lines.push(self.pending.0, self.pending.1);
        self.pending.1 = 0;
    }

    /// Reads pairs that go on over line ends, as [`wrapped`] found.
    fn read_wrapped(
        &mut self,
        source: &RecordSource<'_>,
        stretch: &DataStretch,
        axis: &LabelAxis,
        left_out: &mut Vec<LeftOut>,
        notes: &mut Notes<'_>,
    ) {
        let factors = [axis.x_factor, axis.y_factor, axis.w_factor];
        let mut splitter = Splitter {
            source,
            point: stretch.point,
            columns: b"XY",
            factors,
        };
        let mut fields = VariableFields::default();
        let mut carried: Option<Field> = None;
        for line in RecordLines::new(source, stretch.from, stretch.to, stretch.line) {
            splitter.columns = if carried.is_some() { b"YX" } else { b"XY" };
            if splitter.split(line.start, line.end, &mut fields).is_err() {
                return;
            }
            for field in fields.fields.drain(..) {
                match carried.take() {
                    Some(x) => self.take(&[x, field], line, left_out, notes),
                    None => carried = Some(field),
                }
            }
        }
    }

    fn finish(self) -> Curve {
        Curve {
            x: self.x.into(),
            y: self.y,
            x_decimals: self.x_decimals.finish(),
            y_decimals: self.y_decimals.finish(),
            missing: self.missing,
            lines: self.lines,
        }
    }
}

/// Whether groups go over line ends: some line is not whole, but all numbers together are as many as NPOINTS asks.
fn wrapped(source: &RecordSource<'_>, stretch: &DataStretch, axis: &LabelAxis) -> bool {
    let Some(count) = axis.count() else { return false };
    let splitter = Splitter {
        source,
        point: stretch.point,
        columns: b"XY",
        factors: [Decimal::ONE; 3],
    };
    let mut fields = VariableFields::default();
    let (mut total, mut odd) = (0usize, false);
    for line in RecordLines::new(source, stretch.from, stretch.to, stretch.line) {
        if splitter.split(line.start, line.end, &mut fields).is_err() {
            return false;
        }
        total += fields.fields.len();
        odd |= fields.fields.len() % 2 == 1;
    }
    odd && total == 2 * count
}

/// Compares the labels with the points.
#[expect(clippy::too_many_arguments, reason = "the facts of one table, used once")]
fn check_points(
    axis: &LabelAxis,
    curve: &Curve,
    left_out: &[LeftOut],
    starts_with_a_value: bool,
    exponent: i32,
    notes: &mut Notes<'_>,
    stretch: &DataStretch,
    outcome: &mut TableOutcome,
) {
    let read = curve.len() + curve.missing.len();
    match check_count(axis, read, "points", stretch, notes) {
        Count::Agrees => outcome.agreed += 1,
        Count::Differs => outcome.disagreed += 1,
        Count::Missing => {}
    }
    let ends = |first: bool| {
        let own = if first { curve.x.first() } else { curve.x.last() }.copied();
        let missing = if first {
            curve.missing.first()
        } else {
            curve.missing.last()
        };
        let outer = missing.filter(|m| {
            if first {
                m.before == 0
            } else {
                m.before == curve.len()
            }
        });
        outer.map(|m| m.x).or(own)
    };
    for (first, stated) in [(true, axis.first_x), (false, axis.last_x)] {
        let (Some(stated), Some(x)) = (stated, ends(first)) else {
            continue;
        };
        let slack = stated.decimal.half_unit().max(x.abs() * 1e-12) * 1.000_001;
        let scaled = stated.value() * axis.x_factor.value();
        let as_scaled = axis.x_factor != Decimal::ONE && (scaled - x).abs() <= slack.max(x.abs() * 1e-9);
        if (stated.value() - x).abs() <= slack {
            outcome.agreed += 1;
        } else if as_scaled {
            let code = Code::FirstXScaled;
            notes.add(
                code,
                stated.line,
                stated.span,
                stated.value().to_string(),
                x.to_string(),
            );
        } else {
            outcome.disagreed += 1;
            let code = if first {
                Code::FirstXDiffers
            } else {
                Code::LastXDiffers
            };
            notes.add(
                code,
                stated.line,
                stated.span,
                stated.value().to_string(),
                x.to_string(),
            );
        }
    }
    let first = curve.y.first().copied().filter(|_| starts_with_a_value);
    let digits = digits(axis, exponent);
    check_ordinates(axis, curve, left_out.is_empty(), first, digits, notes, outcome);
    let read = Abscissas::of(curve.x.iter().copied());
    outcome
        .doubts
        .extend(read.and_then(|read| doubt_of_x(axis, &read)));
}
