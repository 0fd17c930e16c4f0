//! The codes of diagnostics and questions that the program itself decides by.
//!
//! A code that is only told stands where it is told. One that is also compared stands here, so that a mistyped code does
//! not compile: `remark.code == code::LEFT_OUT`.

use crate::Code;

/// Whether a column is absorbance or transmittance.
pub const ABSORBANCE_OR_TRANSMITTANCE: Code = Code::new("absorbance-or-transmittance");
/// An answer was not used, for the numbers cannot be what it says.
pub const ANSWER_DOES_NOT_FIT: Code = Code::new("answer-does-not-fit");
/// What an archive keeps is not what was written.
pub const ARCHIVE_DAMAGED: Code = Code::new("archive-damaged");
/// Another program writes to the archive.
pub const ARCHIVE_LOCKED: Code = Code::new("archive-locked");
/// A formula names columns that a table does not tell apart.
pub const AXES_LEFT_OPEN: Code = Code::new("axes-left-open");
/// What the curves run over.
pub const AXIS_UNKNOWN: Code = Code::new("axis-unknown");
/// What could hurt someone.
pub const CAUTION: Code = Code::new("caution");
/// A packed file was opened.
pub const CONTAINER_UNPACKED: Code = Code::new("container-unpacked");
/// Which number of a date is its day.
pub const DAY_OR_MONTH_FIRST: Code = Code::new("day-or-month-first");
/// A run took over notes or results of an older version of its file.
pub const INHERITED: Code = Code::new("inherited");
/// A key of a preamble that no vocabulary has.
pub const KEY_UNKNOWN: Code = Code::new("key-unknown");
/// A file was left out, as it was said.
pub const LEFT_OUT: Code = Code::new("left-out");
/// No number stood in a cell.
pub const MISSING_VALUE: Code = Code::new("missing-value");
/// There is no archive.
pub const NO_ARCHIVE: Code = Code::new("no-archive");
/// A course does not change.
pub const NO_CHANGE: Code = Code::new("no-change");
/// No table was found.
pub const NO_TABLE: Code = Code::new("no-table");
/// A format has no room for something.
pub const NOT_CARRIED: Code = Code::new("not-carried");
/// A file that only describes a package.
pub const PACKAGE_DESCRIPTION: Code = Code::new("package-description");
/// The library of a plugin came to a panic.
pub const PLUGIN_PANICKED: Code = Code::new("plugin-panicked");
/// A computation left points out.
pub const POINTS_LEFT_OUT: Code = Code::new("points-left-out");
/// In which unit a time is.
pub const TIME_UNIT: Code = Code::new("time-unit");
/// Two units are stated for one value.
pub const TWO_UNITS: Code = Code::new("two-units");
/// A rate constant has the unit of absorbance in it.
pub const UNIT_PER_ABSORBANCE: Code = Code::new("unit-per-absorbance");
/// At which of several stated wavelengths a course was measured.
pub const WAVELENGTH_DISPUTED: Code = Code::new("wavelength-disputed");

/// Questions about what holds for a whole run. They touch no number of a curve.
pub const ABOUT_CONDITIONS: [Code; 3] = [DAY_OR_MONTH_FIRST, TWO_UNITS, WAVELENGTH_DISPUTED];

/// A result is of a run about which something is still asked that does not touch its numbers.
pub const QUESTION_OPEN: Code = Code::new("question-open");

/// Questions about what the axes are. A formula that names its columns needs no answer to them.
pub const ABOUT_AXES: [Code; 2] = [AXIS_UNKNOWN, TIME_UNIT];
