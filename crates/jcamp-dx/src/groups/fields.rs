//! Splits lines into fields.

use crate::number::{Decimal, EXACT, Exponents, ScannedNumber, decimals_of, product, scaled, scan};
use crate::records::RecordSource;
use crate::remark::Code;
use crate::xydata::long_product;

/// A field of a group.
#[derive(Clone, Copy, Debug)]
pub(super) enum Field {
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
pub(super) struct VariableFields {
    pub(super) fields: Vec<Field>,
    pub(super) odd_exponent: Option<usize>,
}

/// Why a line could not be split into fields.
pub(super) struct FieldFault {
    pub(super) code: Code,
    pub(super) at: usize,
}

pub(super) struct Splitter<'a> {
    pub(super) source: &'a RecordSource<'a>,
    pub(super) point: u8,
    pub(super) columns: &'a [u8],
    pub(super) factors: [Decimal; 3],
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
    pub(super) fn split(&self, from: usize, to: usize, out: &mut VariableFields) -> Result<(), FieldFault> {
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
                        return Err(FieldFault {
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
                        return Err(FieldFault {
                            code: Code::IllegalCharacter,
                            at: i,
                        });
                    };
                    // A second decimal sign: `400.0.1` is no number, and two only by chance.
                    if bytes.get(number.end) == Some(&self.point) {
                        return Err(FieldFault {
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
                    return Err(FieldFault {
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
    pub(super) fn pair(&self, from: usize, to: usize, limit: usize) -> Option<((f64, u16), (f64, u16))> {
        let bytes = &self.source.text.as_bytes()[..limit];
        let blanks = |mut i: usize| {
            while bytes.get(i) == Some(&b' ') {
                i += 1;
            }
            i
        };
        let short = |number: &ScannedNumber| {
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
    fn number(&self, at: usize, number: &ScannedNumber, column: u8) -> Result<Field, FieldFault> {
        let factor = self.factor(column);
        let value = match number.decimal() {
            Some(d) if d.mantissa == 0 && number.negative => Some(-0.0),
            Some(d) if factor == Decimal::ONE => Some(d.value()),
            Some(d) => Some(product(d.mantissa, d.exponent, factor)),
            None => long_product(&self.source.text[at..number.end], self.point, factor),
        };
        let value = value.filter(|value| value.is_finite()).ok_or(FieldFault {
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

pub(super) fn number_of(field: Field) -> Option<(f64, u16)> {
    match field {
        Field::Number { value, decimals, .. } => Some((value, decimals)),
        Field::Missing | Field::Word { .. } => None,
    }
}
