//! Numbers into JSON, fast where they are short decimals, which those of measurements are.

use std::io::{self, Write};

use serde_json::ser::Formatter;

/// Writes the same text as `serde_json` does by itself; a test holds it to that.
///
/// A number that is a whole number divided by a power of ten is written from that whole number. Below 10¹⁵ no two
/// decimals of so many digits are the same `f64` (DBL_DIG of ISO C is 15), so a decimal that divides back to the
/// number exactly is the shortest one.
#[derive(Default)]
pub(crate) struct DecimalFormatter {
    /// How many digits the last number had behind the point; neighbours mostly have the same.
    last: usize,
}

const POWERS: [f64; 7] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6];

impl DecimalFormatter {
    fn short(&mut self, value: f64) -> Option<(u64, usize)> {
        // Zero has one form; minus zero is left to the library.
        if value.to_bits() == 0 {
            return Some((0, 1));
        }
        // Smaller and larger numbers may be written with an exponent.
        if !(1e-4..1e8).contains(&value) {
            return None;
        }
        let whole = |digits: usize| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "between 0 and 10^14"
            )]
            let whole = (value * POWERS[digits] + 0.5) as u64;
            #[expect(
                clippy::float_cmp,
                clippy::cast_precision_loss,
                reason = "the decimal must be the number itself, and numbers below 2^53 are exact"
            )]
            let same = whole as f64 / POWERS[digits] == value;
            same.then_some(whole)
        };
        let mut digits = self.last.max(1);
        let mut number = whole(digits);
        while number.is_none() && digits + 1 < POWERS.len() {
            digits += 1;
            number = whole(digits);
        }
        let mut number = number?;
        self.last = digits;
        while digits > 1 && number.is_multiple_of(10) {
            number /= 10;
            digits -= 1;
        }
        Some((number, digits))
    }
}

impl Formatter for DecimalFormatter {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        let Some((mut number, digits)) = self.short(value) else {
            return serde_json::ser::CompactFormatter.write_f64(writer, value);
        };
        let mut text = [b'0'; 24];
        let mut at = text.len();
        let mut put = |byte: u8| {
            at -= 1;
            text[at] = byte;
        };
        for _ in 0..digits {
            put(b'0' + (number % 10) as u8);
            number /= 10;
        }
        put(b'.');
        loop {
            put(b'0' + (number % 10) as u8);
            number /= 10;
            if number == 0 {
                break;
            }
        }
        writer.write_all(&text[at..])
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde::Serialize;

    use super::*;

    fn ours(values: &[f64]) -> String {
        let mut bytes = Vec::new();
        let mut writer = serde_json::Serializer::with_formatter(&mut bytes, DecimalFormatter::default());
        values.serialize(&mut writer).expect("it writes");
        String::from_utf8(bytes).expect("UTF-8")
    }

    #[test]
    fn known_numbers() {
        assert_eq!(
            ours(&[
                400.0, 0.1234, 0.5, 1e-3, 0.0, -0.0, -0.5, 350.5, 1e-4, 0.000_12, 9.9e-5
            ]),
            "[400.0,0.1234,0.5,0.001,0.0,-0.0,-0.5,350.5,0.0001,0.00012,0.000099]"
        );
    }

    proptest! {
        #[test]
        fn the_text_is_that_of_the_library(
            any in prop::collection::vec(any::<f64>().prop_filter("finite", |value| value.is_finite()), 1..20),
            whole in prop::collection::vec((0_u64..100_000_000_000, 0_usize..9), 1..40),
        ) {
            #[expect(clippy::cast_precision_loss)]
            let short = whole.iter().map(|&(number, digits)| number as f64 / 10_f64.powi(i32::try_from(digits).expect("small")));
            let all: Vec<f64> = any.into_iter().chain(short).collect();
            prop_assert_eq!(ours(&all), serde_json::to_string(&all).expect("it writes"));
        }
    }
}
