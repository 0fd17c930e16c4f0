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
pub use structured::StructuredText;
pub use text_table::TextTable;
pub use tidy_csv::TidyCsv;

use crate::assume::QuestionKind;
use crate::{Reader, Source};

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
        Box::new(StructuredText::default()),
        Box::new(TextTable::default()),
        Box::new(TidyCsv::default()),
    ]
}

/// The tables of a document that is no text, each written out as plain text; none of anything else.
pub(crate) fn written_out(source: &Source) -> Vec<String> {
    if print::is_document(source.bytes()) {
        return printed_text(source).into_iter().collect();
    }
    spreadsheet::sheets_as_text(source.bytes())
}

/// What the built-in readers may ask; each of them owns its questions.
pub(crate) fn asked() -> impl Iterator<Item = QuestionKind> {
    jcamp::asked().chain(print::asked()).chain(text_table::asked())
}

/// Whether a text is one number, with a point or a comma for its decimals, and nothing else.
pub(crate) fn is_plain_number(text: &str) -> bool {
    text.trim().replace(',', ".").parse::<f64>().is_ok()
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

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::path::{Path, PathBuf};

    use crate::{Readers, Source};

    fn texts(folder: &Path, all: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                texts(&path, all);
            } else if path.extension().is_some_and(|ending| ending != "json") {
                all.push(path);
            }
        }
    }

    /// Everything that files give, by a thread that has read nothing before.
    fn read(files: Vec<PathBuf>) -> std::thread::JoinHandle<BTreeMap<PathBuf, String>> {
        std::thread::spawn(move || {
            let readers = Readers::built_in();
            let records = files.into_iter().map(|path| {
                let source = Source::new("a.txt", std::fs::read(&path).expect("a file"));
                let (_, reading) = readers.read(&source, None);
                let record = serde_json::to_string(&(&reading.runs, &reading.remarks)).expect("a record");
                (path, record)
            });
            records.collect()
        })
    }

    /// What is remembered of words, lines, headers and units while files are read, so that it need not be found out anew,
    /// changes no byte of what later files give: the whole corpus from its beginning and from its end, and each file twice.
    #[test]
    fn what_was_read_before_changes_nothing() {
        let mut files = Vec::new();
        texts(
            &Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/corpus/text"),
            &mut files,
        );
        files.sort();
        assert!(files.len() > 1000, "{}", files.len());
        let backwards = files.iter().rev().flat_map(|file| [file.clone(), file.clone()]);
        let (one, other) = (read(files.clone()), read(backwards.collect()));
        let (one, other) = (
            one.join().expect("all are read"),
            other.join().expect("all are read"),
        );
        for (file, record) in &one {
            assert_eq!(other.get(file), Some(record), "{}", file.display());
        }
    }
}
