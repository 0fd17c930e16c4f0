//! Exponentials of whole columns.

use multiversion::multiversion;

/// Writes `exp(factor·t)` for every t, to one unit in the last place.
///
/// A fit of a time course spends most of its time here. The library function takes one value at a time; this one is
/// plain arithmetic without branches, which the compiler turns into vector instructions. Range reduction by
/// `n ln 2` in two parts (Cody and Waite), Taylor's series to the thirteenth power on |r| ≤ 0.347, where the next term
/// is below 4e-18; the power of two is added to the exponent bits.
#[multiversion(targets("x86_64+avx2"))]
pub(crate) fn exponentials(factor: f64, t: &[f64], out: &mut [f64]) {
    exponentials_inline(factor, t, out);
}

/// The same as a part of the function that calls it, so that it becomes instructions of the kind that function is made for.
#[inline(always)]
pub(crate) fn exponentials_inline(factor: f64, t: &[f64], out: &mut [f64]) {
    const LN_2_HIGH: f64 = 0.693_147_180_369_123_8;
    const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    const ROUND: f64 = 6_755_399_441_055_744.0; // 1.5 · 2⁵²: adding it leaves the integer in the low bits
    for (value, t) in out.iter_mut().zip(t) {
        let x = factor * t;
        let x = if x < -707.0 { -707.0 } else { x };
        let x = if x > 707.0 { 707.0 } else { x };
        let shifted = x * std::f64::consts::LOG2_E + ROUND;
        let n = shifted - ROUND;
        let r = (x - n * LN_2_HIGH) - n * LN_2_LOW;
        let mut sum = 1.0 / 6_227_020_800.0;
        sum = sum * r + 1.0 / 479_001_600.0;
        sum = sum * r + 1.0 / 39_916_800.0;
        sum = sum * r + 1.0 / 3_628_800.0;
        sum = sum * r + 1.0 / 362_880.0;
        sum = sum * r + 1.0 / 40_320.0;
        sum = sum * r + 1.0 / 5_040.0;
        sum = sum * r + 1.0 / 720.0;
        sum = sum * r + 1.0 / 120.0;
        sum = sum * r + 1.0 / 24.0;
        sum = sum * r + 1.0 / 6.0;
        sum = sum * r + 0.5;
        let e = 1.0 + (r + r * r * sum);
        *value = f64::from_bits(e.to_bits().wrapping_add(shifted.to_bits() << 52));
    }
}

#[cfg(test)]
mod tests {
    use super::exponentials;

    #[test]
    fn agrees_with_the_library_to_the_last_place() {
        let t: Vec<f64> = (-70_000..70_000).map(|i| f64::from(i) * 0.01).collect();
        let mut out = vec![0.0; t.len()];
        exponentials(1.0, &t, &mut out);
        for (t, e) in t.iter().zip(&out) {
            assert!((e / t.exp() - 1.0).abs() < 4.5e-16, "exp({t}) = {e}");
        }
    }
}
