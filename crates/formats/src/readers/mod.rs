//! The built-in readers.

mod animl;
pub(crate) mod enzymeml;
pub(crate) mod jcamp;
mod package;
pub(crate) mod print;
mod spreadsheet;
mod structured;
pub(crate) mod text_table;
pub(crate) mod tidy_csv;
mod xml;

pub use animl::Animl;
pub use enzymeml::EnzymeMl;
pub use jcamp::JcampDx;
pub use package::Package;
pub use print::{Print, printed_text};
pub use spreadsheet::Spreadsheet;
pub use structured::Structured;
pub use text_table::TextTable;
pub use tidy_csv::TidyCsv;

use crate::Reader;
use crate::assume::Asked;

/// Every built-in reader.
#[must_use]
pub fn all() -> Vec<Box<dyn Reader>> {
    vec![
        Box::new(Animl::default()),
        Box::new(EnzymeMl::default()),
        Box::new(JcampDx::default()),
        Box::new(Package::default()),
        Box::new(Print::default()),
        Box::new(Spreadsheet::default()),
        Box::new(Structured::default()),
        Box::new(TextTable::default()),
        Box::new(TidyCsv::default()),
    ]
}

/// What the built-in readers may ask; each of them owns its questions.
pub(crate) fn asked() -> impl Iterator<Item = Asked> {
    jcamp::asked().chain(print::asked()).chain(text_table::asked())
}

/// The power of ten in a line `1.0e+03 *`, by which consoles mean all numbers below to be multiplied.
pub(crate) fn common_factor(line: &str) -> Option<i32> {
    let number = line.trim().strip_suffix('*')?.trim_end();
    let (mantissa, power) = number.split_once(['e', 'E'])?;
    let is_one = matches!(mantissa.trim_end_matches('0'), "1" | "1.");
    power
        .parse()
        .ok()
        .filter(|power: &i32| is_one && power.abs() < 300)
}
