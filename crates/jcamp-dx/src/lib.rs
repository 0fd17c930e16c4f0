//! The JCAMP-DX open standard, read leniently and written strictly.
//!
//! JCAMP-DX is the oldest open format for spectra: plain text made of labelled records, with tables of numbers in
//! plain or compressed form. Its definitions are published by IUPAC: version 4.24 (McDonald and Wilks, Appl.
//! Spectrosc. 42, 151, 1988), 5.00 (Davies and Lampen, Appl. Spectrosc. 47, 1093, 1993) and 5.01 (Lampen et al.,
//! Pure Appl. Chem. 71, 1549, 1999). This crate reads all of them, and the provisional 6.00 by the rules of 5.01
//! with a remark. It writes 4.24 and 5.01.
//!
//! # What it does
//!
//! * [`read`] never fails and never guesses in silence. Every deviation from the standard is a [`Remark`] with a
//!   stable [`Code`], its line, column and byte span, what was found and what was expected. Its [`Weight`] tells
//!   whether what was read is certain (a note), rests on a choice (a doubt), or is incomplete (a loss).
//! * A damaged table gives the points that are certain, and [`Table::left_out`] lists the other lines. X checks,
//!   Y checks and the labels decide. No point is invented: missing ordinates (`?`) are listed apart, never as NaN.
//! * Values are exact: each `f64` is the one nearest to the decimal that stands in the file, or to the exact
//!   decimal product of ordinate and factor. 1234 times 0.0001 is `0.1234`, and abscissas of an even decimal grid
//!   are its decimals, so 400.2 and not 400.20000000000005. Two cases are rounded twice (relative error below
//!   4e-16): numbers of more than 18 digits times a factor that is no power of ten, and grids of quotients whose
//!   integers are above 2^53. The count of decimals is kept ([`Decimals`]), so `0.1200` can be written as `0.1200`.
//! * Where two readings of a table give different numbers and nothing in the block decides, the table names them in
//!   its [`doubts`](Table::doubts): its numbers are not certain until [`ReadOptions::choices`] settles the [`Choice`].
//! * [`write()`] gives files that any reader can check, in AFFN, PAC, SQZ, DIF or DIFDUP form, as simple files, LINK
//!   files or NTUPLES. Reading them gives every value back bit for bit. What does not fit the chosen form without
//!   loss is written in a plainer one, with a remark.
//! * Limits are parameters ([`Limits`]), and memory stays within a multiple of the input that they state.
//!
//! # What it does not do
//!
//! It takes text, not bytes: decoding (Latin-1, UTF-16) is the caller's. It does not interpret units, dates or data
//! types, and hands them out as they stand. It opens no files. Pages of NTUPLES with more than three columns and
//! the connection tables of the chemical-structure protocol are not decoded; the latter are kept as records.
//!
//! # Reading
//!
//! ```
//! use curvary_jcamp_dx::{ReadOptions, read};
//!
//! let text = [
//!     "##TITLE= invented example",
//!     "##JCAMP-DX= 4.24",
//!     "##DATA TYPE= UV/VIS SPECTRUM",
//!     "##ORIGIN= nowhere",
//!     "##OWNER= PUBLIC DOMAIN",
//!     "##XUNITS= NANOMETERS",
//!     "##YUNITS= ABSORBANCE",
//!     "##XFACTOR= 1",
//!     "##YFACTOR= 0.001",
//!     "##FIRSTX= 400",
//!     "##LASTX= 405",
//!     "##FIRSTY= 0.1",
//!     "##NPOINTS= 7",
//!     "##XYDATA= (X++(Y..Y))",
//!     "400A00J0J0j5",
//!     "403A05K5%",
//!     "405A30",
//!     "##END=",
//! ]
//! .join("\n");
//! let document = read(&text, &ReadOptions::default());
//! let block = &document.blocks[0];
//! assert_eq!(block.value("data-type"), Some("UV/VIS SPECTRUM"));
//!
//! let curve = block.tables[0].data.curve().expect("a curve");
//! assert_eq!(curve.x, [400.0, 401.0, 402.0, 403.0, 404.0, 405.0]);
//! assert_eq!(curve.y, [0.1, 0.11, 0.12, 0.105, 0.13, 0.13]);
//! assert_eq!(curve.lines.line_of(4), Some(16));
//!
//! // NPOINTS is wrong: the points stay, and the remark says where.
//! let remark = &document.remarks[0];
//! assert_eq!(remark.code.as_str(), "npoints-differs");
//! assert_eq!((remark.place.line, remark.place.column), (13, 1));
//! ```
//!
//! # Writing
//!
//! ```
//! use curvary_jcamp_dx::{Content, Curve, Form, ReadOptions, Sheet, WriteOptions, read, write};
//!
//! // Wavelengths with one decimal, absorbances with four.
//! let curve = Curve::new(vec![400.0, 400.5, 401.0], vec![0.12, 0.1234, 0.1235], 1, 4);
//! let sheet = Sheet {
//!     title: "invented example".into(),
//!     data_type: "UV/VIS SPECTRUM".into(),
//!     origin: "nowhere".into(),
//!     owner: "PUBLIC DOMAIN".into(),
//!     x_units: "NANOMETERS".into(),
//!     y_units: "ABSORBANCE".into(),
//!     records: vec![("PATHLENGTH".into(), "1.0".into())],
//!     content: Content::Curve(curve.clone()),
//! };
//! let options = WriteOptions { form: Form::DifDup, ..WriteOptions::default() };
//! let written = write(&[sheet], &options)?;
//! assert!(written.text.contains("400.0A200L4J\r\n401.0A235\r\n"));
//!
//! let document = read(&written.text, &ReadOptions::default());
//! assert!(document.remarks.is_empty());
//! assert_eq!(document.blocks[0].tables[0].data.curve().expect("a curve").y, curve.y);
//! # Ok::<(), curvary_jcamp_dx::WriteRefusal>(())
//! ```
//!
//! # Main types
//!
//! [`Document`] holds [`Block`]s; a block holds [`Record`]s, [`Table`]s, [`Ntuples`] and inner blocks. The data of a
//! table are a [`Curve`], [`Peaks`] or [`Assignments`]. For writing, a [`Sheet`] holds one measurement with its
//! [`Content`].
#![warn(missing_docs)]
#![forbid(unsafe_code)]

mod asdf;
mod axis;
mod block;
mod choice;
mod curve;
mod factors;
mod form;
mod grid;
mod groups;
mod label;
mod ntuples;
mod number;
mod records;
mod remark;
mod table;
mod text;
mod write;
mod xydata;

pub use asdf::encode::Form;
pub use block::{Block, Document, Limits, ReadOptions, Record, read, read_each};
pub use choice::{Choice, Choices};
pub use curve::{Curve, Decimals, LineMap, Missing, SharedAbscissas};
pub use label::{LabelKind, describes_table, normalise_label};
pub use ntuples::{NtupleVariable, Ntuples, Page};
pub use remark::{Code, Place, Remark, Span, Weight};
pub use table::{Assignment, Assignments, Data, LeftOut, Peak, Peaks, Table};
pub use text::NonAscii;
pub use write::{
    Content, Scan, Scans, Sheet, Stream, Version, WriteOptions, WriteRefusal, WrittenDocument, write,
};
