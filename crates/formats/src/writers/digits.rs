//! Decimal numbers into bytes, fast where it is safe and exact everywhere.

use std::io::Write as _;

use curvary_record::write_decimal;

/// Ten to the power of the index; each is exact as a double (they are up to 10²²).
const POWERS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Writes decimals; keeps in mind how many digits the last number without known decimals took.
#[derive(Default)]
pub(super) struct DigitWriter {
    hint: u8,
}

impl DigitWriter {
    /// Appends what [`write_decimal`] says, without allocating in the usual case.
    #[inline]
    pub(super) fn push(&mut self, out: &mut Vec<u8>, value: f64, decimals: Option<u8>) {
        match decimals {
            Some(digits) => match scaled(value, digits) {
                Some(integer) => push_scaled(out, value.is_sign_negative(), integer, digits),
                None => out.extend_from_slice(write_decimal(value, decimals).as_bytes()),
            },
            None => self.push_shortest(out, value),
        }
    }

    /// The shortest decimal that is this number.
    ///
    /// A decimal of at most fifteen digits that reads as `value` is the only one of its length, so dropping its
    /// closing zeros gives the shortest.
    fn push_shortest(&mut self, out: &mut Vec<u8>, value: f64) {
        for digits in self.hint..16 {
            if let Some(mut integer) = scaled(value, digits) {
                self.hint = digits;
                let mut digits = digits;
                while digits > 0 && integer.is_multiple_of(10) {
                    integer /= 10;
                    digits -= 1;
                }
                push_scaled(out, value.is_sign_negative(), integer, digits);
                return;
            }
        }
        // Writing to a vector cannot fail.
        let _ = write!(out, "{value}");
    }
}

/// The integer that is `|value|` times ten to the `digits`, when the decimal made of it reads as `value` again.
///
/// Integer and power of ten are exact doubles and IEEE 754 division rounds correctly, as does the reading of a
/// decimal; so the quotient *is* what a reader of the decimal gets. Below 10¹⁵ no two integers share a quotient.
#[inline]
fn scaled(value: f64, digits: u8) -> Option<u64> {
    let power = *POWERS.get(usize::from(digits))?;
    let magnitude = value.abs();
    let product = magnitude * power + 0.5;
    if product >= 1e15 {
        return None;
    }
    // A wrongly rounded product fails the check below; it never gives a wrong number.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let integer = product as u64;
    #[allow(clippy::cast_precision_loss)]
    let again = integer as f64 / power;
    (again.to_bits() == magnitude.to_bits()).then_some(integer)
}

/// The numbers from 00 to 99: two digits are written at a time.
#[allow(clippy::cast_possible_truncation, reason = "both digits are below ten")]
const PAIRS: [[u8; 2]; 100] = {
    let mut pairs = [[b'0'; 2]; 100];
    let mut number = 0;
    while number < 100 {
        // Both are below ten.
        pairs[number] = [b'0' + (number / 10) as u8, b'0' + (number % 10) as u8];
        number += 1;
    }
    pairs
};

/// Appends `integer` with its last `digits` behind the point.
#[inline]
fn push_scaled(out: &mut Vec<u8>, negative: bool, mut integer: u64, digits: u8) {
    // Fifteen digits at most, with zeros in front as far as the point needs them, and room for point and sign.
    let mut text = [b'0'; 24];
    let mut at = text.len();
    while integer >= 10 {
        at -= 2;
        // The remainder is below a hundred.
        #[allow(clippy::cast_possible_truncation)]
        let pair = PAIRS[(integer % 100) as usize];
        text[at] = pair[0];
        text[at + 1] = pair[1];
        integer /= 100;
    }
    if integer > 0 {
        at -= 1;
        // It is below ten.
        #[allow(clippy::cast_possible_truncation)]
        let digit = b'0' + integer as u8;
        text[at] = digit;
    }
    let point = text.len() - usize::from(digits);
    let mut begin = at.min(point - 1);
    if digits > 0 {
        // The digits in front make room for the point, so that all is appended at once.
        for place in begin..point {
            text[place - 1] = text[place];
        }
        text[point - 1] = b'.';
        begin -= 1;
    }
    if negative {
        begin -= 1;
        text[begin] = b'-';
    }
    out.extend_from_slice(&text[begin..]);
}

/// `value` with the digits it was written with in `raw`, when they stand there; else its shortest decimal.
///
/// `raw` may carry a unit or other words: `37.0 °C` and `37,0` give `37.0`.
pub(crate) fn as_written(value: f64, raw: &str) -> String {
    let magnitude = value.abs();
    for token in raw.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',')) {
        let token = token.trim_matches([',', '.']);
        let Some((whole, fraction)) = token.rsplit_once(['.', ',']) else {
            continue;
        };
        let Ok(decimals) = u8::try_from(fraction.len()) else {
            continue;
        };
        let text = write_decimal(magnitude, Some(decimals));
        if text.split_once('.') == Some((whole, fraction)) {
            return if value.is_sign_negative() {
                format!("-{text}")
            } else {
                text
            };
        }
    }
    write_decimal(value, None)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn pushed(value: f64, decimals: Option<u8>) -> String {
        let mut out = Vec::new();
        DigitWriter::default().push(&mut out, value, decimals);
        String::from_utf8_lossy(&out).into_owned()
    }

    #[test]
    fn edges() {
        assert_eq!(pushed(0.12, Some(4)), "0.1200");
        assert_eq!(pushed(-0.0, Some(2)), "-0.00");
        assert_eq!(pushed(-0.0, None), "-0");
        assert_eq!(pushed(0.125, Some(2)), "0.125");
        assert_eq!(pushed(999_999_999_999_999.0, Some(0)), "999999999999999");
        assert_eq!(pushed(1e22, None), "10000000000000000000000");
        assert_eq!(pushed(1e-15, Some(15)), "0.000000000000001");
    }

    #[test]
    fn digits_as_they_were_written() {
        assert_eq!(as_written(37.0, "37.0 °C"), "37.0");
        assert_eq!(as_written(-0.5, "-0,50"), "-0.50");
        assert_eq!(as_written(0.0012, "1.2e-3"), "0.0012");
        assert_eq!(as_written(310.15, "310.15 K (37.00 °C)"), "310.15");
        assert_eq!(as_written(5.0, "see above"), "5");
    }

    proptest! {
        /// Against the standard library by way of `write_decimal`.
        #[test]
        fn the_fast_way_is_the_slow_way(bits in any::<u64>(), scaled in -2_000_000_i64..2_000_000, digits in 0_u8..18) {
            let plain = scaled as f64 / 10_f64.powi(i32::from(digits.min(15)));
            for value in [plain, f64::from_bits(bits)] {
                prop_assume!(value.is_finite());
                prop_assert_eq!(pushed(value, Some(digits)), write_decimal(value, Some(digits)));
                prop_assert_eq!(pushed(value, None), format!("{value}"));
            }
        }
    }
}
