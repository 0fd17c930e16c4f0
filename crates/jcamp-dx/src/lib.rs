//! The JCAMP-DX open standard, read leniently and written strictly.
#![warn(missing_docs)]

mod asdf;
mod axis;
mod block;
mod curve;
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
pub use block::{Block, Document, Limits, ReadOptions, Record, read};
pub use curve::{Curve, Decimals, LineMap, Missing};
pub use label::{Kind, normalise_label};
pub use ntuples::{Ntuples, Page, Variable};
pub use remark::{Code, Place, Remark, Span, Weight};
pub use table::{Assignment, Assignments, Data, LeftOut, Peak, Peaks, Table};
pub use text::NonAscii;
pub use write::{Content, Refusal, Scan, Scans, Sheet, Version, WriteOptions, Written, write};
