//! How alike two curves are, and how the most alike of many are found without reading all of them.
//!
//! The likeness of two curves is Pearson's correlation coefficient r of their absorbances over the range that both
//! cover. A factor (concentration, path length) and an offset (an even baseline) leave it is. It ranks shapes and
//! identifies nothing: many substances absorb alike, and a slope or a turbid sample changes the shape of one.
//!
//! Between its points a curve runs straight, and every stretch of the range weighs as much as any other of its length,
//! however densely it was sampled: the sums of r are integrals,
//!
//! ```text
//!         ∫ (f - f̄)(g - ḡ) dx
//! r = ─────────────────────────────────          over the common range
//!     √(∫ (f - f̄)² dx · ∫ (g - ḡ)² dx)
//! ```
//!
//! which is what the coefficient of samples of both, taken at the same evenly spaced places, tends to as they grow
//! denser. Everything here is a pure function of curves.

mod curve;
mod signature;
#[cfg(test)]
mod tests;

pub use curve::{Curve, NoLikeness};
pub(crate) use signature::{QuerySignature, SignatureBound, signatures};

/// Likeness is told, and runs are ordered, to so many decimals. What lies beyond is noise of the instrument: runs that
/// agree so far are equals.
pub(crate) const DECIMALS: i32 = 4;

/// A likeness in units of the last decimal that is told.
#[expect(clippy::cast_possible_truncation, reason = "|r| is at most 1")]
pub(crate) fn class(likeness: f64) -> i32 {
    (likeness * 10_f64.powi(DECIMALS)).round() as i32
}

/// The number that is told of a class.
pub(crate) fn told(class: i32) -> f64 {
    f64::from(class) / 10_f64.powi(DECIMALS)
}
