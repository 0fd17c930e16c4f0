//! Instrument checks: what was measured against limits whose sources are named.
//!
//! The limits stand in a data file ([`CheckLimits::built_in`], or one's own by [`CheckLimits::parse`]). Each
//! check gives a [`CheckReport`] with one [`CheckItem`] an item: measured, uncertainty, expected, limits and a
//! [`CheckVerdict`]. Where the data cannot decide, the verdict is `undetermined` with a reason.
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
    AbsorbanceBand, AbsorbanceStandard, BandLimits, BandwidthRange, BlankLimit, CertifiedFilter,
    CertifiedTolerance, CheckLimits, FilterBand, LimitsError, LocalLimit, LocalLimits, ReferenceSolution,
    ReferenceTable, ResolutionStandard, Sourced, StrayLightStandard, TableRow, TemperatureRange,
    ToleranceRange, WavelengthStandard,
};
pub use outcome::{CheckItem, CheckReport, CheckVerdict, Conditions};
pub use resolution::{resolution, resolution_of_readings};
pub use stability::{
    blank_absorbance, blank_everywhere, flatness, stability, zero_of_readings, zero_over_time,
};
pub use stray_light::stray_light;
pub use wavelength::wavelength;
