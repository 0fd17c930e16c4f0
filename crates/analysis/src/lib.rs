//! The science: rate laws, enzyme models, calibration, spectra and instrument checks.
//!
//! Pure functions from columns of numbers to results. Nothing here opens a file or prints. Every result carries its
//! uncertainty; what the data do not determine is said to be so; bad data give a [`Refusal`] with a reason, never a
//! number that merely looks fine. Results are for research and teaching, never for diagnosis.
//!
//! ```
//! use curvary_analysis::courses::{Course, Order, Preparation, fit_course};
//! use curvary_analysis::fit::Options;
//!
//! // Invented: 0.8 exp(-0.02 t) over 0.1, rounded to three decimals.
//! let time: Vec<f64> = (0..12).map(|n| 10.0 * f64::from(n)).collect();
//! let signal = [0.900, 0.755, 0.636, 0.539, 0.459, 0.394, 0.341, 0.297, 0.262, 0.232, 0.208, 0.189];
//! let law = Course::new(Order::First).with_offset()?;
//! let found = fit_course(&law, &time, &signal, &Preparation::default(), &Options::default())?;
//! let k = found.fit.parameters.iter().find(|parameter| parameter.name == "k").expect("it has a rate constant");
//! assert!((k.value - 0.02).abs() < 2.0 * k.standard_error.expect("the data determine it"));
//!
//! // Two points cannot: a reason, and no number.
//! assert!(fit_course(&law, &time[..2], &signal[..2], &Preparation::default(), &Options::default()).is_err());
//! # Ok::<(), curvary_analysis::Refusal>(())
//! ```

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
mod wording;

pub use refusal::Refusal;
