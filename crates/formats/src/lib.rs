//! Sources into runs, and runs into files.
//!
//! A [`Source`] is a file's bytes decoded once. [`Readers`] asks each [`Reader`] whether it knows the source, with
//! reasons; the chosen one returns a [`Reading`]: runs *and* remarks, never all or nothing. [`writers`] turn runs
//! into tables (tidy and wide CSV, four tables that refer to one another, XLSX, Parquet), JCAMP-DX, AnIML and JSON.
//!
//! No reader opens a file and nothing here prints.

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
mod light;
pub mod manifest;
pub mod preamble;
pub mod readers;
mod recognise;
mod rendering;
mod settle;
pub mod sink;
pub mod source;
pub mod vocabulary;
pub mod words;
mod work;
pub mod writers;

pub use assume::Assumptions;
pub use explanation::ExplainedLines;
pub use intake::{Taken, take_in};
pub use layout::Layout;
pub use manifest::Manifest;
pub use readers::printed_text;
pub use recognise::{
    Candidate, Reader, ReaderChoice, ReaderInfo, Readers, Reading, Recognition, SourcePreview,
};
pub use settle::SettledReading;
pub use source::Source;
