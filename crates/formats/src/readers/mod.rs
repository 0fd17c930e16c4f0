//! The built-in readers.

pub(crate) mod jcamp;
mod spreadsheet;
mod structured;
pub(crate) mod text_table;
mod tidy_csv;

pub use jcamp::JcampDx;
pub use spreadsheet::Spreadsheet;
pub use structured::Structured;
pub use text_table::TextTable;
pub use tidy_csv::TidyCsv;

use crate::Reader;

/// Every built-in reader.
#[must_use]
pub fn all() -> Vec<Box<dyn Reader>> {
    vec![
        Box::new(JcampDx::default()),
        Box::new(Spreadsheet::default()),
        Box::new(Structured::default()),
        Box::new(TextTable::default()),
        Box::new(TidyCsv::default()),
    ]
}
