//! Tables of groups: `(XY..XY)`, `(XYW..XYW)`, `(XYM..XYM)` and the assignments in parentheses.

use crate::asdf::decode::{cut_line_end, without_last_number};
use crate::axis::{Axis, Stated};
use crate::curve::{Curve, Decimals, DecimalsBuilder, LineMap, Missing};
use crate::factors::{Abscissas, Digits, doubt_of_x, doubt_of_y};
use crate::number::{Decimal, EXACT, Exponents, Scanned, decimals_of, product, scaled, scan};
use crate::records::{Line, Lines, Source};
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{Assignment, Assignments, Doubt, LeftOut, Outcome, Peak, Peaks, Stretch};
use crate::xydata::{check_ordinates, long_product};

/// A field of a group.
#[derive(Clone, Copy, Debug)]
enum Field {
    Number {
        value: f64,
        decimals: u16,
    },
    /// `?`
    Missing,
    /// A word, by its span: only multiplicities are words.
    Word {
        from: usize,
        to: usize,
    },
}

/// The fields of a line.
#[derive(Default)]
struct Fields {
    fields: Vec<Field>,
    odd_exponent: Option<usize>,
}

/// Why a line could not be split into fields.
struct Fault {
    code: Code,
    at: usize,
}

struct Splitter<'a> {
    source: &'a Source<'a>,
    point: u8,
    columns: &'a [u8],
    factors: [Decimal; 3],
}

impl Splitter<'_> {
    fn factor(&self, column: u8) -> Decimal {
        match column {
            b'Y' => self.factors[1],
            b'W' => self.factors[2],
            b'M' => Decimal::ONE,
            _ => self.factors[0],
        }
    }

    /// Splits `from..to` into `out`, which is emptied first.
    #[inline]
    fn split(&self, from: usize, to: usize, out: &mut Fields) -> Result<(), Fault> {
        let bytes = &self.source.text.as_bytes()[..to];
        out.fields.clear();
        let mut i = from;
        let mut after_comma = false;
        while i < to {
            let b = bytes[i];
            match b {
                b' ' | b'\t' | b';' | b'(' | b')' | 0x00 | 0x1A | 0x0C => i += 1,
                b',' if self.point != b',' => {
                    if after_comma || out.fields.is_empty() {
                        return Err(Fault {
                            code: Code::FieldEmpty,
                            at: i,
                        });
                    }
                    after_comma = true;
                    i += 1;
                    continue;
                }
                b'$' if bytes.get(i + 1) == Some(&b'$') => break,
                b'?' => {
                    out.fields.push(Field::Missing);
                    i += 1;
                }
                b'0'..=b'9' | b'+' | b'-' | b'.' => {
                    let Some(number) = scan(bytes, i, self.point, Exponents::Free) else {
                        return Err(Fault {
                            code: Code::IllegalCharacter,
                            at: i,
                        });
                    };
                    // A second decimal sign: `400.0.1` is no number, and two only by chance.
                    if bytes.get(number.end) == Some(&self.point) {
                        return Err(Fault {
                            code: Code::IllegalCharacter,
                            at: number.end,
                        });
                    }
                    if number.odd_exponent {
                        out.odd_exponent.get_or_insert(i);
                    }
                    let column = self.columns[out.fields.len() % self.columns.len()];
                    out.fields.push(self.number(i, &number, column)?);
                    i = number.end;
                }
                _ if self.columns.contains(&b'M') && (b.is_ascii_alphabetic() || b == b'<') => {
                    let start = i;
                    while i < to && !matches!(bytes[i], b' ' | b'\t' | b',' | b';' | b')') {
                        i += 1;
                    }
                    out.fields.push(Field::Word { from: start, to: i });
                }
                _ => {
                    return Err(Fault {
                        code: Code::IllegalCharacter,
                        at: i,
                    });
                }
            }
            if !matches!(b, b' ' | b'\t') {
                after_comma = false;
            }
        }
        Ok(())
    }

    /// Splits a line of exactly two short numbers without factors, which most lines of pairs are; nothing for all
    /// others. Numbers end at the line's end by themselves, so they may be looked for up to `limit`.
    #[inline(always)]
    fn pair(&self, from: usize, to: usize, limit: usize) -> Option<((f64, u16), (f64, u16))> {
        let bytes = &self.source.text.as_bytes()[..limit];
        let blanks = |mut i: usize| {
            while bytes.get(i) == Some(&b' ') {
                i += 1;
            }
            i
        };
        let short = |number: &Scanned| {
            let exact = number.mantissa.unsigned_abs() <= EXACT && number.exponent.unsigned_abs() <= 22;
            let value = scaled(number.mantissa, number.exponent);
            // The sign is put on last, so that a negative zero stays one.
            let value = if number.negative { -value } else { value };
            (exact && !number.long).then_some((value, number.decimals()))
        };
        let x = scan(bytes, blanks(from), self.point, Exponents::Strict)?;
        let mut next = blanks(x.end);
        if bytes.get(next) == Some(&b',') && self.point != b',' {
            next = blanks(next + 1);
        }
        let y = scan(bytes, next, self.point, Exponents::Strict)?;
        if blanks(y.end) != to || next == x.end {
            return None;
        }
        Some((short(&x)?, short(&y)?))
    }

    #[inline]
    fn number(&self, at: usize, number: &Scanned, column: u8) -> Result<Field, Fault> {
        let factor = self.factor(column);
        let value = match number.decimal() {
            Some(d) if d.mantissa == 0 && number.negative => Some(-0.0),
            Some(d) if factor == Decimal::ONE => Some(d.value()),
            Some(d) => Some(product(d.mantissa, d.exponent, factor)),
            None => long_product(&self.source.text[at..number.end], self.point, factor),
        };
        let value = value.filter(|value| value.is_finite()).ok_or(Fault {
            code: Code::NumberTooLong,
            at,
        })?;
        let decimals = if factor == Decimal::ONE {
            number.decimals()
        } else {
            decimals_of(number.exponent + factor.exponent)
        };
        Ok(Field::Number { value, decimals })
    }
}

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
    source: &Source<'_>,
    stretch: &Stretch,
    axis: &Axis,
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
    let mut fields = Fields::default();
    let mut odd_exponent = None;
    let mut taken = 0usize;
    let mut broken: Vec<Line> = Vec::new();
    for mut line in Lines::new(source, stretch.from, stretch.to, stretch.line) {
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
    source: &Source<'_>,
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

/// Whether groups go over line ends: some line is not whole, but all numbers together are as many as NPOINTS asks.
fn wrapped(source: &Source<'_>, stretch: &Stretch, axis: &Axis) -> bool {
    let Some(count) = axis.count() else { return false };
    let splitter = Splitter {
        source,
        point: stretch.point,
        columns: b"XY",
        factors: [Decimal::ONE; 3],
    };
    let mut fields = Fields::default();
    let (mut total, mut odd) = (0usize, false);
    for line in Lines::new(source, stretch.from, stretch.to, stretch.line) {
        if splitter.split(line.start, line.end, &mut fields).is_err() {
            return false;
        }
        total += fields.fields.len();
        odd |= fields.fields.len() % 2 == 1;
    }
    odd && total == 2 * count
}

/// Reads `(XY..XY)` as a curve.
pub(crate) fn read_points(
    source: &Source<'_>,
    stretch: &Stretch,
    axis: &Axis,
    bound: usize,
    notes: &mut Notes<'_>,
) -> Outcome {
    let mut outcome = Outcome::default();
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
    fn in_columns(&self, axis: &Axis) -> bool {
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
        source: &Source<'_>,
        stretch: &Stretch,
        axis: &Axis,
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
        let mut fields = Fields::default();
        let mut carried: Option<Field> = None;
        for line in Lines::new(source, stretch.from, stretch.to, stretch.line) {
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
            x: self.x,
            y: self.y,
            x_decimals: self.x_decimals.finish(),
            y_decimals: self.y_decimals.finish(),
            missing: self.missing,
            lines: self.lines,
        }
    }
}

/// Whether the abscissas rise or fall.
fn is_ordered(x: impl Iterator<Item = f64> + Clone) -> bool {
    x.clone().is_sorted() || x.is_sorted_by(|a, b| a >= b)
}

/// Leaves out a table whose groups may be columns over one X.
fn leave_out_columns(groups: usize, stretch: &Stretch, left_out: &mut Vec<LeftOut>, notes: &mut Notes<'_>) {
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

/// Compares the labels with the points.
#[expect(clippy::too_many_arguments, reason = "the facts of one table, used once")]
fn check_points(
    axis: &Axis,
    curve: &Curve,
    left_out: &[LeftOut],
    starts_with_a_value: bool,
    exponent: i32,
    notes: &mut Notes<'_>,
    stretch: &Stretch,
    outcome: &mut Outcome,
) {
    let read = curve.len() + curve.missing.len();
    match (axis.npoints, axis.count()) {
        (Some(_), Some(n)) if n == read => outcome.agreed += 1,
        (Some(stated), _) => {
            outcome.disagreed += 1;
            let found = stated.value().to_string();
            notes.add(
                Code::NpointsDiffers,
                stated.line,
                stated.span,
                found,
                format!("{read} points"),
            );
        }
        (None, _) => {
            let found = "no NPOINTS".into();
            notes.add(
                Code::NpointsMissing,
                stretch.line,
                stretch.head,
                found,
                format!("NPOINTS={read}"),
            );
        }
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

/// The printed digits of ordinates whose finest scaled one has the power `exponent`.
fn digits(axis: &Axis, exponent: i32) -> Digits {
    let printed = (exponent - axis.y_factor.exponent).min(0);
    Digits {
        exponent: printed,
        integers: printed == 0,
    }
}

/// Whether the factors of listed rows are in doubt. Their other labels may be those of the whole spectrum, so that
/// nothing is said about labels that differ.
pub(crate) fn factor_doubts(
    axis: &Axis,
    x: impl Iterator<Item = f64>,
    y: impl Iterator<Item = f64>,
    decimals: &Decimals,
) -> Vec<Doubt> {
    let exponent = -i32::from(decimals.greatest().unwrap_or(0));
    let heights = Abscissas::of(y);
    let facts: Vec<(Stated, f64)> = heights
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

fn number_of(field: Field) -> Option<(f64, u16)> {
    match field {
        Field::Number { value, decimals, .. } => Some((value, decimals)),
        Field::Missing | Field::Word { .. } => None,
    }
}

/// Reads a peak table with the columns `XY`, `XYW` or `XYM`.
pub(crate) fn read_peaks(
    source: &Source<'_>,
    stretch: &Stretch,
    axis: &Axis,
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
    check_rows(axis, peaks.rows.len(), stretch, notes);
    let several = peaks.rows.windows(2).any(|pair| pair[0].line == pair[1].line);
    if several && axis.count() != Some(peaks.rows.len()) && !is_ordered(peaks.rows.iter().map(|row| row.x)) {
        leave_out_columns(peaks.rows.len(), stretch, &mut left_out, notes);
        peaks = Peaks::default();
    }
    (peaks, left_out)
}

fn check_rows(axis: &Axis, rows: usize, stretch: &Stretch, notes: &mut Notes<'_>) {
    match (axis.npoints, axis.count()) {
        (Some(_), Some(n)) if n == rows => {}
        (Some(stated), _) => {
            let found = stated.value().to_string();
            notes.add(
                Code::NpointsDiffers,
                stated.line,
                stated.span,
                found,
                format!("{rows} rows"),
            );
        }
        (None, _) => {
            let found = "no NPOINTS".into();
            notes.add(
                Code::NpointsMissing,
                stretch.line,
                stretch.head,
                found,
                format!("NPOINTS={rows}"),
            );
        }
    }
}

/// Reads assignments: groups in parentheses, which may go over line ends.
pub(crate) fn read_assignments(
    source: &Source<'_>,
    stretch: &Stretch,
    axis: &Axis,
    columns: &str,
    bound: usize,
    notes: &mut Notes<'_>,
) -> (Assignments, Vec<LeftOut>) {
    let columns = columns.as_bytes();
    let mut out = Assignments::default();
    let mut builders: [DecimalsBuilder; 3] = Default::default();
    let mut left_out = Vec::new();
    let factors = [axis.x_factor, axis.y_factor, axis.w_factor];
    for group in groups_in_parentheses(source, stretch) {
        if out.rows.len() >= bound {
            left_out.push(LeftOut {
                first: group.line,
                last: u32::MAX,
                code: Code::LimitPoints,
            });
            break;
        }
        match assignment(&group, columns, stretch.point, factors) {
            Some((row, decimals, bracketed)) if group.closed => {
                if !bracketed {
                    let expected = "<text>";
                    notes.add(
                        Code::AssignmentNotBracketed,
                        group.line,
                        group.span,
                        quote(&row.text),
                        expected,
                    );
                }
                for (builder, count) in builders.iter_mut().zip(decimals) {
                    builder.push(count);
                }
                out.rows.push(row);
            }
            _ => {
                let expected = format!("({})", String::from_utf8_lossy(columns));
                notes.add(
                    Code::GroupDamaged,
                    group.line,
                    group.span,
                    quote(&group.text),
                    expected,
                );
                left_out.push(LeftOut {
                    first: group.line,
                    last: group.line,
                    code: Code::GroupDamaged,
                });
            }
        }
    }
    [out.x_decimals, out.y_decimals, out.width_decimals] = builders.map(DecimalsBuilder::finish);
    check_rows(axis, out.rows.len(), stretch, notes);
    (out, left_out)
}

/// The inside of one pair of parentheses, with line ends as blanks.
struct Group {
    text: String,
    line: u32,
    span: Span,
    closed: bool,
}

fn groups_in_parentheses(source: &Source<'_>, stretch: &Stretch) -> Vec<Group> {
    let mut groups = Vec::new();
    let mut open: Option<Group> = None;
    let mut in_text = false;
    for line in Lines::new(source, stretch.from, stretch.to, stretch.line) {
        let whole = &source.text[line.start..line.end];
        let code = whole.split("$$").next().unwrap_or("");
        for (at, c) in code.char_indices() {
            let here = line.start + at;
            match (&mut open, c) {
                (None, '(') => {
                    let span = Span {
                        start: here,
                        end: here + 1,
                    };
                    open = Some(Group {
                        text: String::new(),
                        line: line.number,
                        span,
                        closed: false,
                    });
                    in_text = false;
                }
                (None, c) if c.is_whitespace() || matches!(c, ',' | ';' | '\0' | '\u{1a}') => {}
                (None, _) => {
                    // Text outside of parentheses belongs to no group: it is handed on as a damaged one.
                    let span = Span {
                        start: here,
                        end: line.end,
                    };
                    groups.push(Group {
                        text: code[at..].to_owned(),
                        line: line.number,
                        span,
                        closed: false,
                    });
                    break;
                }
                (Some(group), ')') if !in_text => {
                    group.closed = true;
                    group.span.end = here + 1;
                    groups.extend(open.take());
                }
                (Some(group), c) => {
                    match c {
                        '<' => in_text = true,
                        '>' => in_text = false,
                        _ => {}
                    }
                    group.text.push(c);
                    group.span.end = here + c.len_utf8();
                }
            }
        }
        if let Some(group) = &mut open {
            group.text.push(' ');
        }
    }
    groups.extend(open);
    groups
}

fn assignment(
    group: &Group,
    columns: &[u8],
    point: u8,
    factors: [Decimal; 3],
) -> Option<(Assignment, [u16; 3], bool)> {
    let text = group.text.as_str();
    let (numbers, words, bracketed) = match text.find('<') {
        Some(at) => {
            let end = text.rfind('>').filter(|end| *end > at)?;
            (
                text[..at].trim_end().trim_end_matches(','),
                &text[at + 1..end],
                true,
            )
        }
        None => {
            let count: usize = text.split(',').take(columns.len() - 1).map(|f| f.len() + 1).sum();
            (text.get(..count.checked_sub(1)?)?, text.get(count..)?, false)
        }
    };
    let mut row = Assignment {
        line: group.line,
        text: words.trim().to_owned(),
        ..Assignment::default()
    };
    let mut decimals = [0u16; 3];
    let mut fields = numbers.split(',');
    for column in &columns[..columns.len() - 1] {
        let field = fields.next().unwrap_or("").trim();
        let (slot, factor) = match column {
            b'X' => (0, factors[0]),
            b'Y' => (1, factors[1]),
            b'W' => (2, factors[2]),
            _ => {
                row.multiplicity = (!field.is_empty()).then(|| field.to_owned());
                continue;
            }
        };
        if matches!(field, "" | "?") && slot > 0 {
            continue;
        }
        let number = scan(field.as_bytes(), 0, point, Exponents::Free).filter(|n| n.end == field.len())?;
        let value = match number.decimal() {
            Some(d) if d.mantissa == 0 && number.negative => -0.0,
            Some(d) => product(d.mantissa, d.exponent, factor),
            None => long_product(field, point, factor)?,
        };
        if !value.is_finite() {
            return None;
        }
        decimals[slot] = decimals_of(number.exponent + factor.exponent);
        match slot {
            0 => row.x = value,
            1 => row.y = Some(value),
            _ => row.width = Some(value),
        }
    }
    fields.next().is_none().then_some((row, decimals, bracketed))
}
