//! Double-double arithmetic: a number as the unevaluated sum of two doubles, about 31 decimal digits.
//!
//! Least squares on badly conditioned data (high polynomials, sums of similar exponentials) loses up to ten digits
//! between the data and the parameters. The last steps of such a fit are therefore done in this arithmetic.
//! The basic operations are those of Dekker (Numer. Math. 18, 224, 1971) and Knuth; a general library was tried
//! first, but its exponential and sine were right to 17 digits only, no better than plain doubles.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// What a formula needs of a number, so that one evaluator serves plain and double-double arithmetic.
pub(crate) trait Real:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self> + Neg<Output = Self>
{
    const PI: Self;
    const LN_10: Self;
    /// The double itself, digit for binary digit.
    fn exactly(value: f64) -> Self;
    /// The nearest double.
    fn value(self) -> f64;
    fn sqrt(self) -> Self;
    fn exp(self) -> Self;
    fn ln(self) -> Self;
    fn sin(self) -> Self;
    fn cos(self) -> Self;
    fn atan(self) -> Self;
    fn powi(self, n: i32) -> Self;
    fn powf(self, exponent: Self) -> Self;
}

impl Real for f64 {
    const PI: Self = std::f64::consts::PI;
    const LN_10: Self = std::f64::consts::LN_10;
    fn exactly(value: f64) -> Self {
        value
    }
    fn value(self) -> f64 {
        self
    }
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }
    fn exp(self) -> Self {
        f64::exp(self)
    }
    fn ln(self) -> Self {
        f64::ln(self)
    }
    fn sin(self) -> Self {
        f64::sin(self)
    }
    fn cos(self) -> Self {
        f64::cos(self)
    }
    fn atan(self) -> Self {
        f64::atan(self)
    }
    fn powi(self, n: i32) -> Self {
        f64::powi(self, n)
    }
    fn powf(self, exponent: Self) -> Self {
        f64::powf(self, exponent)
    }
}

/// The sum of two doubles that do not overlap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Double {
    high: f64,
    low: f64,
}

/// The exact sum of two doubles (Knuth).
fn two_sum(a: f64, b: f64) -> Double {
    let sum = a + b;
    let from_b = sum - a;
    Double {
        high: sum,
        low: (a - (sum - from_b)) + (b - from_b),
    }
}

/// The exact sum of two doubles when `|a| >= |b|` (Dekker).
fn quick_two_sum(a: f64, b: f64) -> Double {
    let sum = a + b;
    Double {
        high: sum,
        low: b - (sum - a),
    }
}

/// Splits a double into two halves of 26 bits each.
fn split(a: f64) -> (f64, f64) {
    const SPLITTER: f64 = 134_217_729.0; // 2^27 + 1
    let t = SPLITTER * a;
    let high = t - (t - a);
    (high, a - high)
}

/// The exact product of two doubles (Dekker).
fn two_product(a: f64, b: f64) -> Double {
    let product = a * b;
    let (a_high, a_low) = split(a);
    let (b_high, b_low) = split(b);
    let error = ((a_high * b_high - product) + a_high * b_low + a_low * b_high) + a_low * b_low;
    Double {
        high: product,
        low: error,
    }
}

impl Double {
    pub(crate) const ZERO: Self = Self { high: 0.0, low: 0.0 };
    pub(crate) const ONE: Self = Self { high: 1.0, low: 0.0 };
    const LN_2: Self = Self {
        high: std::f64::consts::LN_2,
        low: 2.319_046_813_846_299_6e-17,
    };
    const FRAC_PI_2: Self = Self {
        high: std::f64::consts::FRAC_PI_2,
        low: 6.123_233_995_736_766e-17,
    };

    /// The decimal number that the double stands for: the shortest decimal that reads back as this double.
    ///
    /// Measured values are decimals (`0.8116`), which doubles hold only to 16 digits. An ill-conditioned fit
    /// magnifies that difference; taking the decimal at its word removes it.
    pub(crate) fn decimal(value: f64) -> Self {
        if value == 0.0 || !value.is_finite() || value.fract() == 0.0 {
            return Self {
                high: value,
                low: 0.0,
            };
        }
        let text = format!("{:e}", value.abs());
        let Some((mantissa, exponent)) = text.split_once('e') else {
            return Self {
                high: value,
                low: 0.0,
            };
        };
        let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
        let Ok(mut exponent) = exponent.parse::<i32>() else {
            return Self {
                high: value,
                low: 0.0,
            };
        };
        exponent -= i32::try_from(fraction.len()).unwrap_or(0);
        let mut digits: u64 = 0;
        for digit in whole.bytes().chain(fraction.bytes()) {
            digits = digits * 10 + u64::from(digit - b'0');
        }
        // 17 digits need 57 bits: the two halves are exact.
        let integer = two_sum(
            (digits >> 30) as f64 * 1_073_741_824.0,
            (digits & 0x3fff_ffff) as f64,
        );
        let power = Self { high: 10.0, low: 0.0 }.powi(exponent.abs());
        let scaled = if exponent < 0 {
            integer / power
        } else {
            integer * power
        };
        if !scaled.high.is_finite() || !scaled.low.is_finite() {
            return Self {
                high: value,
                low: 0.0,
            };
        }
        if value < 0.0 { -scaled } else { scaled }
    }

    fn scaled(self, factor: f64) -> Self {
        Self {
            high: self.high * factor,
            low: self.low * factor,
        }
    }

    /// Sine and cosine together.
    fn sin_cos(self) -> (Self, Self) {
        let quarter = (self.high / std::f64::consts::FRAC_PI_2).round();
        let r = self - Self::FRAC_PI_2 * Self::exactly(quarter);
        let square = r * r;
        let (mut sine, mut cosine) = (r, Self::ONE);
        let (mut term_s, mut term_c) = (r, Self::ONE);
        let mut k = 1.0;
        while k < 30.0 {
            term_c = -term_c * square / Self::exactly(k * (k + 1.0));
            term_s = -term_s * square / Self::exactly((k + 1.0) * (k + 2.0));
            cosine = cosine + term_c;
            sine = sine + term_s;
            k += 2.0;
        }
        match quarter.rem_euclid(4.0) as u8 {
            0 => (sine, cosine),
            1 => (cosine, -sine),
            2 => (-sine, -cosine),
            _ => (-cosine, sine),
        }
    }
}

impl Add for Double {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        let high = two_sum(self.high, other.high);
        let low = two_sum(self.low, other.low);
        let carried = quick_two_sum(high.high, high.low + low.high);
        quick_two_sum(carried.high, carried.low + low.low)
    }
}

impl Neg for Double {
    type Output = Self;
    fn neg(self) -> Self {
        Self {
            high: -self.high,
            low: -self.low,
        }
    }
}

impl Sub for Double {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Double {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        let product = two_product(self.high, other.high);
        quick_two_sum(
            product.high,
            product.low + (self.high * other.low + self.low * other.high),
        )
    }
}

impl Div for Double {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let first = self.high / other.high;
        if !first.is_finite() {
            return Self {
                high: first,
                low: 0.0,
            };
        }
        let rest = self - other * Self::exactly(first);
        let second = rest.high / other.high;
        let rest = rest - other * Self::exactly(second);
        let third = rest.high / other.high;
        let sum = quick_two_sum(first, second);
        sum + Self::exactly(third)
    }
}

impl Real for Double {
    const PI: Self = Self {
        high: std::f64::consts::PI,
        low: 1.224_646_799_147_353_2e-16,
    };
    const LN_10: Self = Self {
        high: std::f64::consts::LN_10,
        low: -2.170_756_223_382_249_4e-16,
    };

    fn exactly(value: f64) -> Self {
        Self {
            high: value,
            low: 0.0,
        }
    }

    fn value(self) -> f64 {
        self.high + self.low
    }

    fn sqrt(self) -> Self {
        if self.high <= 0.0 {
            return Self::exactly(self.high.sqrt());
        }
        let root = self.high.sqrt();
        let rest = self - two_product(root, root);
        quick_two_sum(root, rest.high / (2.0 * root))
    }

    fn exp(self) -> Self {
        if self.high > 709.0 || self.high < -708.0 || self.high.is_nan() {
            return Self::exactly(self.high.exp());
        }
        // x = k ln 2 + 512 r; the series of exp(r) - 1 is short, and squaring nine times brings back the rest.
        let k = (self.high / std::f64::consts::LN_2).round();
        let r = (self - Self::LN_2 * Self::exactly(k)).scaled(1.0 / 512.0);
        let mut term = r;
        let mut sum = r;
        for n in 2..=10 {
            term = term * r / Self::exactly(f64::from(n));
            sum = sum + term;
        }
        for _ in 0..9 {
            sum = sum.scaled(2.0) + sum * sum;
        }
        let result = sum + Self::ONE;
        // Two steps, because 2^1023 is the largest power a double holds.
        let half = (k / 2.0).trunc();
        result.scaled(half.exp2()).scaled((k - half).exp2())
    }

    fn ln(self) -> Self {
        let first = self.high.ln();
        if !first.is_finite() {
            return Self::exactly(first);
        }
        // One Newton step on exp doubles the digits of the plain logarithm.
        let first = Self::exactly(first);
        first + (self * (-first).exp() - Self::ONE)
    }

    fn sin(self) -> Self {
        self.sin_cos().0
    }

    fn cos(self) -> Self {
        self.sin_cos().1
    }

    fn atan(self) -> Self {
        if !self.high.is_finite() {
            return Self::exactly(self.high.atan());
        }
        let first = Self::exactly(self.high.atan());
        let (sine, cosine) = first.sin_cos();
        first + (self * cosine - sine) / (cosine + self * sine)
    }

    fn powi(self, n: i32) -> Self {
        let mut base = self;
        let mut left = n.unsigned_abs();
        let mut result = Self::ONE;
        while left > 0 {
            if left & 1 == 1 {
                result = result * base;
            }
            left >>= 1;
            if left > 0 {
                base = base * base;
            }
        }
        if n < 0 { Self::ONE / result } else { result }
    }

    fn powf(self, exponent: Self) -> Self {
        if self.high == 0.0 || !self.high.is_finite() {
            return Self::exactly(self.high.powf(exponent.value()));
        }
        (self.ln() * exponent).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::{Double, Real};

    const EXP: (f64, f64) = (1.3956124250860895, 1.444687188480344e-17);
    const LN: (f64, f64) = (-1.0986122886681098, 9.07129723500153e-17);
    const SIN: (f64, f64) = (0.32719469679615226, -1.8145824272594887e-17);
    const COS: (f64, f64) = (0.9449569463147377, -3.581052075189009e-17);
    const ATAN: (f64, f64) = (0.3217505543966422, 7.917392525722143e-18);
    const SQRT: (f64, f64) = (0.5773502691896257, 3.3450280739356345e-17);
    const POWF: (f64, f64) = (0.06415002990995841, 6.800650706109473e-18);
    const EXP_M20: (f64, f64) = (2.061153622438558e-09, -4.19755767595054e-26);
    const SIN_100: (f64, f64) = (0.9405295766287642, -2.5776940505567315e-17);
    const LN_1: (f64, f64) = (0.0003332777901203712, 3.200592705968521e-21);
    const ATAN_10: (f64, f64) = (1.4711276743037347, -1.0849222762061424e-16);
    const DECIMAL: (f64, f64) = (8.1163245e-07, 3.7147235114332044e-23);

    /// Reference: mpmath 1.4 with 50 digits, x = 1/3.
    #[test]
    fn elementary_functions_have_thirty_digits() {
        let x = Double::ONE / Double::exactly(3.0);
        let cases = [
            (x.exp(), EXP),
            (x.ln(), LN),
            (x.sin(), SIN),
            (x.cos(), COS),
            (x.atan(), ATAN),
            (x.sqrt(), SQRT),
            (x.powf(Double::exactly(2.5)), POWF),
            ((x * Double::exactly(-60.0)).exp(), EXP_M20),
            ((x * Double::exactly(100.0)).sin(), SIN_100),
            ((Double::ONE + x / Double::exactly(1000.0)).ln(), LN_1),
            ((x * Double::exactly(30.0)).atan(), ATAN_10),
            (Double::decimal(8.1163245e-7), DECIMAL),
        ];
        for (place, (got, (high, low))) in cases.into_iter().enumerate() {
            let rest = got - Double { high, low };
            let allowed = 3e-31 * f64::abs(high) + 1e-32;
            assert!(
                rest.value().abs() < allowed,
                "case {place}: {got:?} is off by {rest:?}"
            );
        }
    }
}
