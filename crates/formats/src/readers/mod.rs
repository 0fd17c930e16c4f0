//! The built-in readers.

mod text_table;

pub use text_table::TextTable;

use crate::Reader;

/// Every built-in reader.
#[must_use]
pub fn all() -> Vec<Box<dyn Reader>> {
    vec![Box::new(TextTable::default())]
}
