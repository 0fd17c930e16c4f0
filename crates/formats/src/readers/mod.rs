//! The built-in readers.

use crate::Reader;

/// Every built-in reader.
#[must_use]
pub fn all() -> Vec<Box<dyn Reader>> {
    Vec::new()
}
