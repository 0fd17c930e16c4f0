//! What a measurement is: the ground floor of curvary.
//!
//! A [`Run`] is one measurement as it was recorded; its [`Trace`]s are curves, `y` over one running axis with the
//! other coordinates held. What is known about a run are [`Claim`]s in its [`Fields`]: a value, its unit, the text
//! that stood there and the [`Origin`] that said so. What a computation found is an [`Outcome`]. What was odd is a
//! [`Diagnostic`]; what only a person can decide is a [`Question`].
//!
//! It knows how people write values, dates, units and names of files ([`interpret`], [`moment`], [`mod@unit`], [`names`]). It knows no
//! file system, no file format and no mathematics beyond units. The JSON Schemas in `schemas/` are generated from these types
//! ([`schema`]).
//!
//! ```
//! use curvary_record::{Column, Quantity, Trace, Unit};
//!
//! let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, vec![400.0, 401.0]);
//! let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.12, 0.13]);
//! let trace = Trace::new(x, y).expect("two columns of one length");
//! assert_eq!(trace.len(), 2);
//! ```

pub mod code;
mod column;
mod diagnostic;
mod difference;
mod family;
mod field;
pub mod interpret;
pub mod light;
pub mod moment;
pub mod names;
mod numbers;
mod outcome;
mod place;
mod run;
pub mod schema;
mod steps;
pub mod stored;
mod topic;
mod trace;
pub mod unit;

pub use column::{Column, Decimals, KnownQuantity, Quantity, write_decimal};
pub use diagnostic::{Alternative, Code, Diagnostic, Label, Question, Severity};
pub use family::{Around, Family, Headers, Manner};
pub use field::{Claim, Fields, Key, KnownField, Origin, Value, ValueKind, known_field, known_fields};
pub use numbers::Numbers;
pub use outcome::{Interval, OUT_OF_DATE, Outcome, OutcomeKind, Parameter};
pub use place::{LineTable, Lines, Place, Span};
pub use run::{Digest, Run, RunId, SourceRef, Technique, Verdict};
pub use topic::{Topic, TopicAnswer};
pub use trace::{Coordinate, LengthMismatch, Trace};
pub use unit::{Unit, UnitConversion};
