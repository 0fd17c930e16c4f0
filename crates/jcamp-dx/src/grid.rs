//! The abscissas of evenly spaced points, computed without accumulated error.

use crate::curve::Decimals;
use crate::number::{Decimal, EXACT, POWERS, unit};

/// Evenly spaced abscissas: `x(i) = (base + i * step) / divisor`.
///
/// All three are integers, so a decimal grid (400, 400.1, 400.2) gives the nearest `f64` to each decimal, and any
/// other grid the nearest `f64` to the exact quotient FIRSTX + i (LASTX-FIRSTX)/(NPOINTS-1), as long as the
/// integers stay below 2^53. Beyond that the quotient of the rounded integers is used (relative error below 4e-16).
#[derive(Clone, Copy, Debug)]
pub(crate) struct EvenGrid {
    base: i128,
    step: i128,
    decimals: Option<u16>,
    /// Base, step and divisor as floating-point numbers.
    float: [f64; 3],
    /// All points before this one are computed from integers that are exact in `f64`.
    exact_before: usize,
}

fn gcd(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

fn power(exponent: i32) -> Option<i128> {
    10i128.checked_pow(u32::try_from(exponent).ok().filter(|e| *e <= 36)?)
}

impl EvenGrid {
    fn new(base: i128, step: i128, divisor: i128, decimals: Option<u16>) -> Self {
        let exact = u128::from(EXACT);
        let (b, s) = (base.unsigned_abs(), step.unsigned_abs());
        let room = if b <= exact && s <= exact && divisor.unsigned_abs() <= exact {
            exact - b
        } else {
            0
        };
        let exact_before = match (room, s) {
            (0, _) => 0,
            (_, 0) => usize::MAX,
            (room, s) => usize::try_from(room / s).unwrap_or(usize::MAX),
        };
        let float = [base as f64, step as f64, divisor as f64];
        Self {
            base,
            step,
            decimals,
            float,
            exact_before,
        }
    }

    /// From the first to the last abscissa in `intervals` equal steps. Nothing if the numbers are too far apart in
    /// magnitude to be held together.
    pub(crate) fn between(first: Decimal, last: Decimal, intervals: usize) -> Option<Self> {
        let scale = first.exponent.min(last.exponent).min(0);
        let a = i128::from(first.mantissa).checked_mul(power(first.exponent - scale)?)?;
        let b = i128::from(last.mantissa).checked_mul(power(last.exponent - scale)?)?;
        let n = i128::try_from(intervals.max(1)).ok()?;
        let span = if intervals == 0 { 0 } else { b.checked_sub(a)? };
        let common = i128::try_from(gcd(span.unsigned_abs(), n.unsigned_abs()))
            .ok()?
            .max(1);
        let (step, parts) = (span / common, n / common);
        let base = a.checked_mul(parts)?;
        base.checked_add(step.checked_mul(n)?)?;
        let divisor = parts.checked_mul(power(-scale)?)?;
        // The quotient is a finite decimal if only twos and fives divide it.
        let (mut rest, mut twos, mut fives) = (parts, 0u16, 0u16);
        while rest % 2 == 0 {
            rest /= 2;
            twos += 1;
        }
        while rest % 5 == 0 {
            rest /= 5;
            fives += 1;
        }
        let printed = u16::try_from(-scale).ok()?;
        let decimals = (rest == 1).then_some(printed + twos.max(fives));
        Some(Self::new(base, step, divisor, decimals))
    }

    /// From the first abscissa in steps of `delta`.
    pub(crate) fn stepping(first: Decimal, delta: Decimal) -> Option<Self> {
        let scale = first.exponent.min(delta.exponent).min(0);
        let base = i128::from(first.mantissa).checked_mul(power(first.exponent - scale)?)?;
        let step = i128::from(delta.mantissa).checked_mul(power(delta.exponent - scale)?)?;
        let decimals = Some(u16::try_from(-scale).ok()?);
        Some(Self::new(base, step, power(-scale)?, decimals))
    }

    /// The spacing; negative where x falls.
    pub(crate) fn step(&self) -> f64 {
        self.float[1] / self.float[2]
    }

    pub(crate) fn decimals(&self) -> Decimals {
        self.decimals.map_or(Decimals::Unlimited, Decimals::Same)
    }

    /// The abscissa of point `i`.
    #[inline]
    pub(crate) fn at(&self, i: usize) -> f64 {
        let [base, step, divisor] = self.float;
        if i < self.exact_before {
            return (base + i as f64 * step) / divisor;
        }
        let sum = self
            .step
            .checked_mul(i as i128)
            .and_then(|s| self.base.checked_add(s));
        match sum {
            Some(sum) => sum as f64 / divisor,
            None => base / divisor + i as f64 * self.step(),
        }
    }

    /// Adds the abscissas of points `from..from + count`.
    pub(crate) fn extend(&self, from: usize, count: usize, out: &mut Vec<f64>) {
        let to = from + count;
        match (u32::try_from(from), u32::try_from(to)) {
            (Ok(from), Ok(to_short)) if to <= self.exact_before => {
                // All integers are exact in f64, so sums and products are too, and the division rounds once.
                let [base, step, divisor] = self.float;
                out.extend((from..to_short).map(|i| (base + f64::from(i) * step) / divisor));
            }
            _ => out.extend((from..to).map(|i| self.at(i))),
        }
    }

    /// The index, with fraction, at which `x` stands.
    pub(crate) fn index_of(&self, x: f64) -> f64 {
        (x * self.float[2] - self.float[0]) / self.float[1]
    }
}

/// The decimals with which a unit of the last digit is below a thousandth of `step`, for printing X at line starts.
pub(crate) fn line_decimals(step: f64) -> u16 {
    (0..POWERS.len() as u16)
        .find(|d| unit(-i32::from(*d)) <= step.abs() / 1000.0)
        .unwrap_or(22)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dec(mantissa: i64, exponent: i32) -> Decimal {
        Decimal { mantissa, exponent }
    }

    #[test]
    fn decimal_grids_are_the_decimals() {
        let grid = EvenGrid::between(dec(4000, -1), dec(4010, -1), 10).expect("small numbers");
        let mut x = Vec::new();
        grid.extend(0, 11, &mut x);
        assert_eq!(x[2], 400.2);
        assert_eq!(
            x,
            [
                400.0, 400.1, 400.2, 400.3, 400.4, 400.5, 400.6, 400.7, 400.8, 400.9, 401.0
            ]
        );
        assert_eq!(grid.decimals(), Decimals::Same(1));
        // Half steps between whole numbers have one decimal.
        assert_eq!(
            EvenGrid::between(dec(400, 0), dec(402, 0), 4)
                .expect("small")
                .decimals(),
            Decimals::Same(1)
        );
        assert_eq!(
            EvenGrid::between(dec(400, 0), dec(401, 0), 3)
                .expect("small")
                .decimals(),
            Decimals::Unlimited
        );
    }

    #[test]
    fn the_last_abscissa_is_exact() {
        // JCAMP-DX 4.24 Table VI: 53 points from 599.860 to 700.158.
        let grid = EvenGrid::between(dec(599_860, -3), dec(700_158, -3), 52).expect("small");
        assert_eq!(grid.at(52), 700.158);
        assert!((grid.step() - 1.928_808).abs() < 5e-7);
    }
}
