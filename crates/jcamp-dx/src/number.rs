//! Decimal numbers: scanning, exact scaling, and printing with a stated count of decimals.
//!
//! A number in a file is a decimal, and the `f64` handed out is the one nearest to that decimal (or to the exact
//! decimal product of ordinate and factor). Where both the integer and the power of ten are exact in `f64`
//! (integer up to 2^53, power up to 10^22), a single multiplication or division is correctly rounded
//! (W. D. Clinger, How to read floating point numbers accurately, PLDI 1990). All else goes through the parser
//! of the standard library, which is correctly rounded for every input.

/// The integers up to here are exact in an `f64`: 2^53.
pub(crate) const EXACT: u64 = 1 << 53;

/// Powers of ten that are exact in an `f64`.
pub(crate) const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// A number as it is printed: `mantissa * 10^exponent`, and whether it is too long to be held so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Decimal {
    pub(crate) mantissa: i64,
    pub(crate) exponent: i32,
}

impl Decimal {
    pub(crate) const ONE: Self = Self {
        mantissa: 1,
        exponent: 0,
    };

    pub(crate) fn value(self) -> f64 {
        scaled(self.mantissa, self.exponent)
    }

    /// The same number without trailing zeros in the mantissa.
    pub(crate) fn stripped(mut self) -> Self {
        if self.mantissa == 0 {
            return Self {
                mantissa: 0,
                exponent: 0,
            };
        }
        while self.mantissa % 10 == 0 {
            self.mantissa /= 10;
            self.exponent += 1;
        }
        self
    }

    /// The exact product, if it can be held.
    pub(crate) fn times(self, other: Self) -> Option<Self> {
        let mantissa = self.mantissa.checked_mul(other.mantissa)?;
        Some(Self {
            mantissa,
            exponent: self.exponent.checked_add(other.exponent)?,
        })
    }

    /// Half a unit of the last printed digit.
    pub(crate) fn half_unit(self) -> f64 {
        0.5 * unit(self.exponent)
    }
}

/// `10^exponent`, correctly rounded.
pub(crate) fn unit(exponent: i32) -> f64 {
    scaled(1, exponent)
}

/// `mantissa * 10^exponent`, correctly rounded.
#[inline]
pub(crate) fn scaled(mantissa: i64, exponent: i32) -> f64 {
    if mantissa.unsigned_abs() <= EXACT && exponent.unsigned_abs() <= 22 {
        let m = mantissa as f64;
        let power = POWERS[exponent.unsigned_abs() as usize];
        return if exponent < 0 { m / power } else { m * power };
    }
    slow(i128::from(mantissa), exponent)
}

/// `mantissa * 10^exponent` for any size, correctly rounded.
#[cold]
pub(crate) fn slow(mantissa: i128, exponent: i32) -> f64 {
    // The text is a valid number, so the parser cannot fail; should it, no finite number is handed out.
    format!("{mantissa}e{exponent}").parse().unwrap_or(f64::NAN)
}

/// The exact product of a printed number and a factor, rounded once.
#[inline]
pub(crate) fn product(mantissa: i64, exponent: i32, factor: Decimal) -> f64 {
    let exponent = exponent + factor.exponent;
    match mantissa.checked_mul(factor.mantissa) {
        Some(m) => scaled(m, exponent),
        None => slow(i128::from(mantissa) * i128::from(factor.mantissa), exponent),
    }
}

/// How an `E` behind a number is understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exponents {
    /// Only with a sign and two or three digits: all else is a squeezed digit.
    Strict,
    /// In every spelling: the table holds plain numbers only.
    Free,
}

/// A scanned number.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ScannedNumber {
    pub(crate) negative: bool,
    /// Digits as an integer, when there are at most 18.
    pub(crate) mantissa: i64,
    pub(crate) exponent: i32,
    /// More than 18 digits: `mantissa` is of no use, parse the text.
    pub(crate) long: bool,
    /// An exponent was spelled in another way than the standard's.
    pub(crate) odd_exponent: bool,
    pub(crate) end: usize,
}

impl ScannedNumber {
    pub(crate) fn decimal(&self) -> Option<Decimal> {
        let mantissa = if self.negative {
            -self.mantissa
        } else {
            self.mantissa
        };
        (!self.long).then_some(Decimal {
            mantissa,
            exponent: self.exponent,
        })
    }

    /// Decimals printed: digits behind the point less the exponent.
    pub(crate) fn decimals(&self) -> u16 {
        decimals_of(self.exponent)
    }
}

/// The count of decimals of a number printed as `integer * 10^exponent`.
pub(crate) fn decimals_of(exponent: i32) -> u16 {
    u16::try_from(-exponent.min(0)).unwrap_or(u16::MAX)
}

/// Scans the number at `at`: sign, digits, one point, exponent. Nothing if no digit is there.
#[inline(always)]
pub(crate) fn scan(bytes: &[u8], at: usize, point: u8, exponents: Exponents) -> Option<ScannedNumber> {
    let mut i = at;
    let negative = match bytes.get(i) {
        Some(b'-') => {
            i += 1;
            true
        }
        Some(b'+') => {
            i += 1;
            false
        }
        _ => false,
    };
    let Some((mantissa, fraction, end)) = short(bytes, i, point) else {
        return scan_digits(bytes, i, negative, 0, 0, point, exponents);
    };
    let mut number = ScannedNumber {
        negative,
        mantissa,
        exponent: -fraction,
        long: false,
        odd_exponent: false,
        end,
    };
    if let Some(b'E' | b'e') = bytes.get(end)
        && let Some((power, end, odd)) = scan_exponent(bytes, end + 1, exponents)
    {
        number.exponent += power;
        number.odd_exponent = odd;
        number.end = end;
    }
    Some(number)
}

/// The digits at `at` with one decimal sign among them, if all of that and the character behind it stand within eight
/// bytes: the digits as an integer, the count of decimals, and where they end. Nothing for all other numbers, which
/// [`scan_digits`] reads.
///
/// Eight bytes are taken at once as a `u64`, the first one lowest. The decimal sign is cut out, the digits are moved to
/// the upper end so that zeros stand before them, and neighbours are joined three times: to two, four, eight digits.
/// Where the number ends is found without the rest, so that the next one can be begun.
#[inline(always)]
pub(crate) fn short(bytes: &[u8], at: usize, point: u8) -> Option<(i64, i32, usize)> {
    let eight = bytes.get(at..)?.first_chunk::<8>()?;
    let word = u64::from_le_bytes(*eight);
    let points = zero_bytes(word ^ (u64::from(point) * LOWEST));
    // A digit becomes its value, everything else 10 or more: adding 118 carries into the highest bit of those below
    // 128, and the others have it anyway.
    let word = word ^ (u64::from(b'0') * LOWEST);
    let others = (((word & !HIGHEST) + 118 * LOWEST) | word) & HIGHEST & !points;
    if others == 0 {
        return None;
    }
    let end = (others.trailing_zeros() / 8) as usize;
    let sign = (points.trailing_zeros() / 8) as usize;
    let (word, digits, fraction) = if sign < end {
        let below = (1u64 << (8 * sign)) - 1;
        let again = points & points.wrapping_sub(1);
        if ((again.trailing_zeros() / 8) as usize) < end {
            return None;
        }
        ((word & below) | ((word >> 8) & !below), end - 1, end - 1 - sign)
    } else {
        (word, end, 0)
    };
    if digits == 0 {
        return None;
    }
    let word = word << (64 - 8 * digits);
    let pairs = (word.wrapping_mul(10 << 8 | 1) >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100 << 16 | 1) >> 16) & 0x0000_FFFF_0000_FFFF;
    let value = fours.wrapping_mul(10_000 << 32 | 1) >> 32;
    Some((value as i64, fraction as i32, at + end))
}

/// The lowest bit of each byte.
const LOWEST: u64 = 0x0101_0101_0101_0101;
/// The highest bit of each byte.
const HIGHEST: u64 = 0x8080_8080_8080_8080;

/// The highest bit of each byte that is zero.
#[inline(always)]
fn zero_bytes(word: u64) -> u64 {
    !(((word & !HIGHEST) + 127 * LOWEST) | word) & HIGHEST
}

/// Goes on with a number of which `seen` digits are already known as `mantissa`.
#[inline(always)]
pub(crate) fn scan_digits(
    bytes: &[u8],
    at: usize,
    negative: bool,
    mantissa: i64,
    seen: usize,
    point: u8,
    exponents: Exponents,
) -> Option<ScannedNumber> {
    let mut i = at;
    let mut m = mantissa as u64;
    while let Some(d) = bytes.get(i).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        m = m.wrapping_mul(10).wrapping_add(u64::from(d));
        i += 1;
    }
    let mut digits = i - at + seen;
    let mut exponent = 0i32;
    if bytes.get(i) == Some(&point) {
        let from = i + 1;
        let mut j = from;
        while let Some(d) = bytes.get(j).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
            m = m.wrapping_mul(10).wrapping_add(u64::from(d));
            j += 1;
        }
        let fraction = j - from;
        if digits + fraction > 0 {
            digits += fraction;
            exponent = -i32::try_from(fraction).unwrap_or(i32::MAX);
            i = j;
        }
    }
    if digits == 0 {
        return None;
    }
    let mut odd_exponent = false;
    if let Some(b'E' | b'e') = bytes.get(i)
        && let Some((power, end, odd)) = scan_exponent(bytes, i + 1, exponents)
    {
        exponent = exponent.saturating_add(power);
        odd_exponent = odd;
        i = end;
    }
    let mut long = false;
    if digits > 18 {
        // Leading zeros are no digits that count.
        let significant = bytes[at..i]
            .iter()
            .take_while(|b| !matches!(b, b'E' | b'e'))
            .filter(|b| b.is_ascii_digit())
            .skip_while(|b| **b == b'0')
            .count();
        long = significant + seen > 18;
    }
    Some(ScannedNumber {
        negative,
        mantissa: if long { 0 } else { m as i64 },
        exponent,
        long,
        odd_exponent,
        end: i,
    })
}

fn scan_exponent(bytes: &[u8], at: usize, exponents: Exponents) -> Option<(i32, usize, bool)> {
    let (sign, from) = match bytes.get(at) {
        Some(b'+') => (Some(1), at + 1),
        Some(b'-') => (Some(-1), at + 1),
        _ => (None, at),
    };
    let mut i = from;
    let mut power = 0i32;
    while let Some(d) = bytes.get(i).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        power = power.saturating_mul(10).saturating_add(i32::from(d));
        i += 1;
    }
    let digits = i - from;
    let standard = sign.is_some() && (2..=3).contains(&digits);
    let allowed = match exponents {
        Exponents::Strict => standard,
        Exponents::Free => (1..=4).contains(&digits),
    };
    allowed.then_some((sign.unwrap_or(1) * power, i, !standard))
}

/// Parses the printed text of a number of any length, `point` being its decimal sign.
pub(crate) fn parse_long(text: &str, point: u8) -> Option<f64> {
    let plain = text.trim().replace(point as char, ".");
    let value: f64 = plain.parse().ok()?;
    value.is_finite().then_some(value)
}

/// Prints `value` with exactly `decimals` decimals, or with more where they are needed to keep the value.
///
/// Reading the text gives the same bits back. Short numbers are printed plainly, all others with an exponent of a
/// sign and two or three digits. Returns whether more decimals than asked for were needed.
pub(crate) fn print(value: f64, decimals: Option<u16>, out: &mut String) -> bool {
    if let Some(d) = decimals
        && print_fast(value, d, out)
    {
        return false;
    }
    let start = out.len();
    if let Some(d) = decimals.filter(|d| *d <= 20)
        && value.abs() < 1e17
    {
        let text = format!("{value:.*}", d as usize);
        if text.len() <= 24 && same(&text, value) {
            out.push_str(&text);
            return false;
        }
    }
    // The shortest digits that give the value back: d.ddde-5.
    let text = format!("{value:e}");
    let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
    let power: i32 = power.parse().unwrap_or(0);
    let fraction = digits.split_once('.').map_or(0, |(_, f)| f.len()) as i32;
    let natural = (fraction - power).max(0);
    let wanted = decimals.map_or(natural, i32::from);
    if natural <= wanted && (-5..15).contains(&power) && wanted <= 30 {
        let fixed = format!("{value:.*}", wanted as usize);
        if fixed.len() <= 40 && same(&fixed, value) {
            out.push_str(&fixed);
            return false;
        }
    }
    out.push_str(digits);
    // A zero has no leading digit to count from, so its zeros go in front of the exponent as they are.
    // Great numbers get no hundreds of zeros; a zero gets its decimals by the exponent.
    let zeros = (wanted + power - fraction).max(0);
    let fits = natural < wanted && value != 0.0 && digits.len() + zeros as usize <= 30;
    let pad = if fits { zeros } else { 0 };
    if pad > 0 {
        if fraction == 0 {
            out.push('.');
        }
        out.extend(std::iter::repeat_n('0', pad as usize));
    }
    if power != 0 || value == 0.0 && wanted > 0 {
        let mut power = power;
        if value == 0.0 {
            power = -wanted.min(999);
        }
        let sign = if power < 0 { '-' } else { '+' };
        out.push_str(&format!("E{sign}{:02}", power.unsigned_abs()));
    }
    if !same(&out[start..], value) {
        out.truncate(start);
        out.push_str(&text.replace('e', "E"));
    }
    natural > wanted
}

fn same(text: &str, value: f64) -> bool {
    text.parse::<f64>().is_ok_and(|v| v.to_bits() == value.to_bits())
}

/// The integer that `value` is in units of `10^-decimals`, if that integer gives the value back bit for bit.
/// A negative zero is no integer.
#[inline]
pub(crate) fn integer(value: f64, decimals: u16) -> Option<i64> {
    if decimals > 22 {
        return None;
    }
    integer_in(value, POWERS[decimals as usize])
}

/// As [`integer`], with the power of ten given.
#[inline]
pub(crate) fn integer_in(value: f64, power: f64) -> Option<i64> {
    // Adding and taking away 1.5 * 2^52 rounds to a whole number wherever the sum has no fraction, without a call.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let scaled = value * power;
    let m = if scaled.abs() < 2_251_799_813_685_248.0 {
        (scaled + ROUND) - ROUND + 0.0
    } else {
        scaled.round()
    };
    (m.abs() <= EXACT as f64 && (m / power).to_bits() == value.to_bits()).then_some(m as i64)
}

fn print_fast(value: f64, decimals: u16, out: &mut String) -> bool {
    if decimals > 15 {
        return false;
    }
    let Some(m) = integer(value, decimals) else {
        return false;
    };
    if m == 0 && value.is_sign_negative() {
        return false;
    }
    // Digits from the right, the point among them, the sign in front.
    let mut buffer = [b'0'; 24];
    let mut rest = m.unsigned_abs();
    let mut at = 24;
    let mut left = decimals;
    while rest > 0 || left > 0 || at == 24 || buffer[at] == b'.' {
        at -= 1;
        buffer[at] = b'0' + (rest % 10) as u8;
        rest /= 10;
        if left > 0 {
            left -= 1;
            if left == 0 {
                at -= 1;
                buffer[at] = b'.';
            }
        }
    }
    if m < 0 {
        at -= 1;
        buffer[at] = b'-';
    }
    // Only ASCII was written, so this cannot fail.
    out.push_str(std::str::from_utf8(&buffer[at..]).unwrap_or_default());
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        /// The quick way through short numbers gives what the careful one gives, whatever stands around them.
        #[test]
        fn short_numbers_are_read_alike(
            text in "[ +-]?[0-9]{0,9}[.,]?[0-9]{0,9}([Ee][+-]?[0-9]{0,4})?[ -~\n\u{e9}]{0,9}",
            comma in any::<bool>(),
        ) {
            let bytes = text.as_bytes();
            let point = if comma { b',' } else { b'.' };
            for exponents in [Exponents::Strict, Exponents::Free] {
                let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
                let negative = bytes.first() == Some(&b'-');
                let careful = scan_digits(bytes, sign, negative, 0, 0, point, exponents);
                prop_assert_eq!(format!("{:?}", scan(bytes, 0, point, exponents)), format!("{careful:?}"));
            }
        }

        /// Every number is the `f64` that the standard library reads, bit for bit.
        #[test]
        fn numbers_are_the_nearest_ones(
            text in "[+-]?([0-9]{1,19}|[0-9]{0,18}[.][0-9]{1,18}|[0-9]{1,5}[.])([Ee][+-][0-9]{1,3})?",
        ) {
            let number = scan(text.as_bytes(), 0, b'.', Exponents::Free).expect("a number");
            prop_assert_eq!(number.end, text.len());
            let wanted: f64 = text.parse().expect("a number");
            let value = match number.decimal() {
                Some(decimal) if decimal.mantissa == 0 && number.negative => Some(-0.0),
                Some(decimal) => Some(decimal.value()),
                None => parse_long(&text, b'.'),
            };
            let value = value.unwrap_or(f64::INFINITY.copysign(wanted));
            prop_assert_eq!(value.to_bits(), wanted.to_bits(), "{}", text);
        }
    }

    fn printed(value: f64, decimals: Option<u16>) -> String {
        let mut out = String::new();
        print(value, decimals, &mut out);
        out
    }

    #[test]
    fn prints_the_decimals_asked_for() {
        // Derivation: plain decimal notation.
        assert_eq!(printed(0.12, Some(4)), "0.1200");
        assert_eq!(printed(-400.0, Some(1)), "-400.0");
        assert_eq!(printed(1e300, Some(0)), "1E+300");
        assert_eq!(printed(1.234e-300, Some(303)), "1.234E-300");
        assert_eq!(printed(1.2e-300, Some(303)), "1.200E-300");
        assert_eq!(printed(-0.0, Some(2)), "-0.00");
        assert_eq!(printed(0.0, Some(40)), "0E-40");
        assert_eq!(printed(0.1, None), "0.1");
        assert!(print(0.123, Some(2), &mut String::new()));
    }

    #[test]
    fn product_is_rounded_once() {
        // 1234 * 0.0001 in f64 is 0.12340000000000001; the decimal product is 0.1234.
        assert_eq!(
            product(
                1234,
                0,
                Decimal {
                    mantissa: 1,
                    exponent: -4
                }
            ),
            0.1234
        );
        assert_eq!(
            product(
                3,
                0,
                Decimal {
                    mantissa: 1,
                    exponent: -1
                }
            ),
            0.3
        );
        // 2^-16, a common factor of 16 bit converters.
        assert_eq!(
            product(
                32767,
                0,
                Decimal {
                    mantissa: 152_587_890_625,
                    exponent: -16
                }
            ),
            32767.0 / 65536.0
        );
    }

    #[test]
    fn exponents_need_sign_and_digits() {
        // JCAMP-DX 4.24 section 5.3: E3 without sign is the squeezed number 53.
        let end = |t: &str, e| scan(t.as_bytes(), 0, b'.', e).map(|s| s.end);
        assert_eq!(end("1.5E+02", Exponents::Strict), Some(7));
        assert_eq!(end("1.5E3", Exponents::Strict), Some(3));
        assert_eq!(end("1.5E+2", Exponents::Strict), Some(3));
        assert_eq!(end("1.5E+2", Exponents::Free), Some(6));
        assert_eq!(end("1.5E3", Exponents::Free), Some(5));
        assert_eq!(end(".", Exponents::Free), None);
    }
}
