//! Spectra: from what was recorded to peaks, baselines and noise, each step told.
//!
//! A [`Curve`] is a checked pair of columns; a [`Spectrum`] also knows what its axes mean. Everything
//! here is a pure function of them. Nothing is repaired in silence: a curve that cannot carry an
//! answer gets a [`SpectrumRefusal`] with a stable code and words, and what was left out or assumed stands in
//! the notes of the result.
//!
//! The parts:
//!
//! - [`absorbance_of`], [`transmittance_of`], [`Axis`]: ordinates and axes, both ways;
//! - [`subtract_blank`], [`Baseline`]: what is taken away before a peak is read;
//! - [`SavitzkyGolay`]: smoothing and derivatives by a moving polynomial;
//! - [`find_peaks`], [`find_shoulders`]: position, height, width, prominence, area;
//! - [`noise()`], [`average()`], [`resample()`];
//! - [`Chain`]: a written, repeatable sequence of such steps.

mod average;
mod axis;
mod background;
mod bands;
mod baseline;
mod blank;
mod chain;
mod curve;
mod measure;
mod noise;
mod peaks;
mod polynomial;
mod refusal;
mod resample;
mod shoulders;
mod smooth;

pub use average::{Average, average};
pub use axis::{
    Axis, ELEMENTARY_CHARGE_C, HC_OVER_E_EV_NM, Ordinate, PLANCK_J_S, SPEED_OF_LIGHT_M_PER_S, Spectrum,
    absorbance_of, ev_of_nm, nm_of_ev, nm_of_per_cm, per_cm_of_nm, transmittance_of,
};
pub use background::{Background, BandArea, NoArea};
pub use bands::{BandBackground, BandShape, BandSize, BandStart, Bands};
pub use baseline::{Baseline, BaselineFound, subtract_baseline};
pub use blank::{BlankUse, Grids, subtract_blank};
pub use chain::{Chain, ChainError, ChainRefused, LogEntry, LogNote, Processed, Step};
pub use curve::{Curve, Window};
pub use measure::{Estimate, MeasuredPeak, Measuring, measure_peak};
pub use noise::{AlikeNoise, Noise, alike_noise, noise, point_noise};
pub use peaks::{
    Apex, Area, AreaBaseline, Extreme, Peak, PeakOptions, PeakTable, Refinement, Threshold, Width,
    WidthLevel, area_between, find_peaks,
};
pub use refusal::SpectrumRefusal;
pub use resample::{Interpolation, resample, value_at};
pub use shoulders::{Shoulder, find_shoulders};
pub use smooth::{SavitzkyGolay, Smoothed, Uneven};
