//! Instrument checks: what was measured against limits whose sources are named.
//!
//! The limits stand in a data file ([`Limits::built_in`], or one's own by [`Limits::parse`]). Each
//! check gives a [`Report`] with one [`Outcome`] an item: measured, uncertainty, expected, limits and a
//! [`Verdict`]. Where the data cannot decide, the verdict is `undetermined` with a reason.
//!
//! **How it is decided.** With a known standard uncertainty u, an item passes (fails) only if the whole
//! of measured ± 2u lies inside (outside) the limits; in between it is undetermined. Without u the bare
//! value decides, as in the pharmacopoeias, and the outcome says so.
//!
//! Each report carries the cautions for its solution and lamps. Local rules come first.

mod absorbance;
mod history;
mod limits;
mod outcome;
mod resolution;
mod stability;
mod stray_light;
mod wavelength;

pub use absorbance::{
    BandReading, Certificate, CertifiedBand, absorbance_certified, absorbance_dichromate,
    certified_from_table, certified_of_filter, read_bands,
};
pub use history::{HistoryPoint, Reach, Trend, TrendVerdict, trend};
pub use limits::{
    AbsorbanceBand, AbsorbanceStandard, Bands, BandwidthRange, BlankLimit, CertifiedFilter,
    CertifiedTolerance, FilterBand, Limits, LimitsError, LocalLimit, LocalLimits, ReferenceTable,
    ResolutionStandard, Solution, Sourced, StrayLightStandard, TableRow, TemperatureRange, ToleranceRange,
    WavelengthStandard,
};
pub use outcome::{Conditions, Outcome, Report, Verdict};
pub use resolution::{resolution, resolution_of_readings};
pub use stability::{
    blank_absorbance, blank_everywhere, flatness, stability, zero_of_readings, zero_over_time,
};
pub use stray_light::stray_light;
pub use wavelength::wavelength;
