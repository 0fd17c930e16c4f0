//! Runs into files: tidy CSV with its Table Schema, JCAMP-DX, and JSON in the open schema.
//!
//! Every writer writes numbers as they were read: `0.1200` stays `0.1200`, and nothing is rounded or converted in
//! silence. What a format cannot carry is told by a remark.

pub mod csv;
pub(crate) mod digits;
pub mod jcamp;
pub mod json;
pub mod table_schema;
pub mod units;
