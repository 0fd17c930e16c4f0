//! Runs into files: tables as CSV, XLSX and Parquet, JCAMP-DX, AnIML, and JSON in the open schema.
//!
//! Every writer writes numbers as they were read: `0.1200` stays `0.1200`, and nothing is rounded or converted in
//! silence. What a format cannot carry is told by a remark. All of them are [`export::Exporter`]s, equal under one small
//! trait: each run is seen once, so that columns and limits are known before anything is written, and then written once.

pub mod animl;
pub mod csv;
pub(crate) mod digits;
pub mod export;
pub mod jcamp;
pub mod json;
pub mod json_lines;
pub mod parquet;
pub mod results;
pub mod table_schema;
pub mod tables;
pub mod units;
pub mod wide;
pub mod xlsx;
