//! Sources into runs, and runs into files.
//!
//! A [`Source`] is a file's bytes decoded once. [`Readers`] asks each [`Reader`] whether it knows the source, with
//! reasons; the chosen one returns a [`Reading`]: runs *and* remarks, never all or nothing. [`writers`] turn runs
//! into tables (tidy and wide CSV, four tables that refer to one another, XLSX, Parquet), JCAMP-DX, AnIML and JSON.
//!
//! No reader opens a file and nothing here prints.
//!
//! ```
//! use curvary_formats::{Assumptions, Readers, Source};
//! use curvary_record::Verdict;
//!
//! let readers = Readers::built_in();
//! let text = "Sample: beet red\nWavelength (nm);Absorbance\n400;0,12\n401;0,13\n402;0,15\n".as_bytes();
//! let (reader, reading) = readers.read(&Source::new("beet.txt", text.into()), None);
//! assert_eq!(reader.expect("one knows it").id, "built-in/text-table");
//! assert_eq!(reading.verdict(), Verdict::Read);
//! let run = &reading.runs[0];
//! assert_eq!(run.fields.text("sample"), Some("beet red"));
//! assert_eq!(&run.traces[0].y.values[..], [0.12, 0.13, 0.15]);
//!
//! // Nothing says what these numbers are of: that is asked, and an answer settles it.
//! let bare = b"400 0.12\n401 0.13\n402 0.15\n403 0.18\n";
//! let (_, reading) = readers.read(&Source::new("bare.txt", bare.into()), None);
//! assert!(!reading.runs[0].questions.is_empty());
//! let mut answers = Assumptions::default();
//! answers.add("x=wavelength:nm").expect("an answer");
//! answers.add("y=absorbance").expect("an answer");
//! let (_, reading) = readers.read(&Source::new("bare.txt", bare.into()).assuming(answers), None);
//! assert!(reading.runs[0].questions.is_empty());
//! ```

pub mod assume;
pub mod column_header;
pub mod container;
pub mod evidence;
pub mod explanation;
pub mod family;
pub mod guard;
mod hints;
mod intake;
pub mod layout;
pub mod manifest;
pub mod preamble;
pub mod readers;
mod recognise;
mod rendering;
mod settle;
pub mod sink;
mod slice;
pub mod source;
pub mod vocabulary;
pub mod words;
mod work;
pub mod writers;

pub use assume::Assumptions;
use curvary_record::light;
pub use explanation::ExplainedLines;
pub use intake::{Intake, take_in};
pub use layout::Layout;
pub use manifest::PluginManifest;
pub use readers::printed_text;
pub use recognise::{
    Candidate, Reader, ReaderChoice, ReaderInfo, Readers, Reading, Recognition, SourcePreview,
};
pub use settle::SettledReading;
pub use source::Source;
