//! The built-in readers.

pub(crate) mod jcamp;
pub(crate) mod text_table;

pub use jcamp::JcampDx;
pub use text_table::TextTable;

use crate::Reader;

/// Every built-in reader.
#[must_use]
pub fn all() -> Vec<Box<dyn Reader>> {
    vec![Box::new(JcampDx::default()), Box::new(TextTable::default())]
}
