//! The science: rate laws, enzyme models, calibration, spectra and instrument checks.
//!
//! Pure functions from columns of numbers to results. Nothing here opens a file or prints. Every result carries its
//! uncertainty; what the data do not determine is said to be so; bad data give a [`Refusal`] with a reason, never a
//! number that merely looks fine. Results are for research and teaching, never for diagnosis.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod checks;
pub mod courses;
pub mod distribution;
pub mod enzymes;
pub mod fit;
pub mod linear;
pub mod models;
pub mod quantities;
pub mod scans;
pub mod spectra;
pub mod study;
pub mod temperature;

mod double;
mod refusal;

pub use refusal::Refusal;
