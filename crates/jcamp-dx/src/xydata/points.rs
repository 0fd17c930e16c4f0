//! Writes stretches of ordinates as points.

use super::AnalysedTable;
use crate::asdf::decode::{DataLine, LONG, MISSING, Ordinates};
use crate::curve::{Curve, Decimals, DecimalsBuilder, LineMap, Missing};
use crate::grid::EvenGrid;
use crate::number::{Decimal, EXACT, POWERS, decimals_of, parse_long, product};
use crate::records::RecordSource;

/// The ordinates `from..to` of a line, whose first one is point `at`.
#[derive(Clone, Copy, Debug)]
pub(super) struct OrdinatePiece {
    pub(super) line: usize,
    pub(super) at: usize,
    pub(super) from: usize,
    pub(super) to: usize,
}

/// What was written of a table.
pub(super) struct WrittenTable {
    pub(super) curve: Curve,
    /// How many points of the grid were reached.
    pub(super) placed: usize,
    /// Lines with an ordinate beyond the range of an `f64`, once for each.
    pub(super) out_of_range: Vec<u32>,
}

/// How plain integers become true values: times the multiplier, which is exact, and then one division or product.
#[derive(Clone, Copy, Debug)]
struct ValueScale {
    multiplier: i64,
    power: f64,
    divide: bool,
}

/// Turns stretches of ordinates into points.
struct CurveWriter<'a> {
    ordinates: &'a Ordinates,
    source: &'a RecordSource<'a>,
    grid: &'a EvenGrid,
    factor: Decimal,
    point: u8,
    /// The index of the next point to write.
    next: usize,
    x: Vec<f64>,
    y: Vec<f64>,
    lines: LineMap,
    missing: Vec<Missing>,
    decimals: DecimalsBuilder,
    /// Lines with an ordinate beyond the range of an `f64`, once for each.
    out_of_range: Vec<u32>,
    /// All ordinates are plain integers that one multiplication or division makes exact.
    plain: Option<ValueScale>,
}

impl<'a> CurveWriter<'a> {
    fn new(
        table: &'a AnalysedTable<'a>,
        source: &'a RecordSource<'a>,
        grid: &'a EvenGrid,
        point: u8,
    ) -> Self {
        let ordinates = &table.ordinates;
        let factor = table.axis.y_factor;
        let exponent = ordinates.exponent + factor.exponent;
        let regular = ordinates.exponents.is_empty()
            && !ordinates.any_missing
            && ordinates.long.is_empty()
            && ordinates.negative_zero.is_empty()
            && exponent.unsigned_abs() <= 22;
        let greatest = if regular {
            ordinates.values.iter().fold(0, |g, v| v.unsigned_abs().max(g))
        } else {
            0
        };
        let exact = greatest
            .checked_mul(factor.mantissa.unsigned_abs())
            .is_some_and(|g| g <= EXACT);
        let plain = (regular && exact).then(|| ValueScale {
            multiplier: factor.mantissa,
            power: POWERS[exponent.unsigned_abs() as usize],
            divide: exponent < 0,
        });
        Self {
            ordinates,
            source,
            grid,
            factor,
            point,
            next: 0,
            x: Vec::new(),
            y: Vec::new(),
            lines: LineMap::default(),
            missing: Vec::new(),
            decimals: DecimalsBuilder::default(),
            out_of_range: Vec::new(),
            plain,
        }
    }

    /// Writes ordinates `from..to` of a line whose first ordinate is point `at`, but for those written before.
    fn line(&mut self, line: &DataLine, at: usize, from: usize, to: usize) {
        let from = from.max(self.next.saturating_sub(at));
        if from >= to {
            return;
        }
        let (first, count) = (line.first + from, to - from);
        self.next = at + to;
        if let Some(ValueScale {
            multiplier,
            power,
            divide,
        }) = self.plain
        {
            let values = &self.ordinates.values[first..first + count];
            if divide {
                self.y
                    .extend(values.iter().map(|m| (m * multiplier) as f64 / power));
            } else {
                self.y
                    .extend(values.iter().map(|m| (m * multiplier) as f64 * power));
            }
            self.grid.extend(at + from, count, &mut self.x);
            self.lines.push(line.number, count);
            return;
        }
        let mut present = 0;
        for index in 0..count {
            let x = self.grid.at(at + from + index);
            match self.value(first + index) {
                Some(y) => {
                    self.x.push(x);
                    self.y.push(y);
                    let exponent = self.ordinates.exponent_of(first + index) + self.factor.exponent;
                    self.decimals.push(decimals_of(exponent));
                    present += 1;
                }
                None if self.ordinates.values[first + index] == MISSING => {
                    self.missing.push(Missing {
                        x,
                        before: self.x.len(),
                        line: line.number,
                    });
                }
                None => self.out_of_range.push(line.number),
            }
        }
        self.lines.push(line.number, present);
    }

    /// The true value of ordinate `index`; nothing if it is missing or out of range of an `f64`.
    fn value(&self, index: usize) -> Option<f64> {
        let value = match self.ordinates.values[index] {
            MISSING => return None,
            LONG => {
                let at = self.ordinates.long.partition_point(|l| l.0 < index);
                let (_, from, to) = *self.ordinates.long.get(at)?;
                long_product(self.source.text.get(from..to)?, self.point, self.factor)?
            }
            0 if self.ordinates.negative_zero.binary_search(&index).is_ok() => -0.0,
            m => product(m, self.ordinates.exponent_of(index), self.factor),
        };
        value.is_finite().then_some(value)
    }

    /// The count of decimals that all plain values have.
    fn decimals_of_y(&self) -> Decimals {
        Decimals::Same(decimals_of(self.ordinates.exponent + self.factor.exponent))
    }

    fn finish(self) -> WrittenTable {
        let y_decimals = if self.plain.is_some() {
            self.decimals_of_y()
        } else {
            self.decimals.finish()
        };
        WrittenTable {
            curve: Curve {
                x: self.x.into(),
                y: self.y,
                x_decimals: self.grid.decimals(),
                y_decimals,
                missing: self.missing,
                lines: self.lines,
            },
            placed: self.next,
            out_of_range: self.out_of_range,
        }
    }
}

/// A number of more than 18 digits times a factor. Exact for factors that are powers of ten; for others the number
/// is rounded before it is multiplied (relative error below 3e-16).
pub(crate) fn long_product(text: &str, point: u8, factor: Decimal) -> Option<f64> {
    if factor.mantissa == 1 {
        let plain = text.trim().replace(point as char, ".");
        let (digits, power) = match plain.find(['E', 'e']) {
            Some(at) => (&plain[..at], plain[at + 1..].parse::<i32>().ok()?),
            None => (plain.as_str(), 0),
        };
        let value: f64 = format!("{digits}e{}", power.checked_add(factor.exponent)?)
            .parse()
            .ok()?;
        return value.is_finite().then_some(value);
    }
    Some(parse_long(text, point)? * factor.value())
}

impl AnalysedTable<'_> {
    /// Writes the pieces of the lines as a curve. Takes the ordinates along.
    pub(super) fn write(
        &mut self,
        source: &RecordSource<'_>,
        grid: &EvenGrid,
        point: u8,
        pieces: &[OrdinatePiece],
    ) -> WrittenTable {
        let mut next = 0;
        let whole = pieces.len() == self.lines.len()
            && pieces.iter().all(|piece| {
                let line = &self.lines[piece.line];
                let follows = piece.at == next && line.first == next;
                next += line.len;
                follows && piece.from == 0 && piece.to == line.len
            });
        let mut writer = CurveWriter::new(self, source, grid, point);
        let Some(scale) = writer.plain.filter(|_| whole) else {
            let room = pieces.iter().map(|piece| piece.to - piece.from).sum();
            writer.x.reserve(room);
            writer.y.reserve(room);
            for piece in pieces {
                writer.line(&self.lines[piece.line], piece.at, piece.from, piece.to);
            }
            return writer.finish();
        };
        // Every ordinate is a point, as in all plain tables: their room becomes that of the points.
        let y_decimals = writer.decimals_of_y();
        let (mut x, mut lines) = (Vec::with_capacity(next), LineMap::default());
        grid.extend(0, next, &mut x);
        for line in self.lines {
            lines.push(line.number, line.len);
        }
        let values = std::mem::take(&mut self.ordinates.values);
        let y = if scale.divide {
            values
                .into_iter()
                .map(|m| (m * scale.multiplier) as f64 / scale.power)
                .collect()
        } else {
            values
                .into_iter()
                .map(|m| (m * scale.multiplier) as f64 * scale.power)
                .collect()
        };
        WrittenTable {
            curve: Curve {
                x: x.into(),
                y,
                x_decimals: grid.decimals(),
                y_decimals,
                missing: Vec::new(),
                lines,
            },
            placed: next,
            out_of_range: Vec::new(),
        }
    }
}
