//! Why an ingest cannot begin or go on.

use std::io;
use std::path::Path;

use curvary_record::{Code, Diagnostic};

/// Why an ingest cannot begin or go on. What is wrong with a single file is no trouble but its [`FileReport`](crate::FileReport).
#[derive(Debug)]
pub enum Trouble {
    /// What was asked for cannot be done: a reader that is not there, an answer that settles nothing.
    Order(Box<Diagnostic>),
    /// A file or folder that is needed cannot be used.
    File(Box<Diagnostic>),
    /// The archive cannot be used.
    Archive(curvary_archive::Error),
}

impl Trouble {
    /// A file or folder cannot be used.
    pub(crate) fn file(doing: &str, path: &Path, error: &io::Error) -> Self {
        Self::File(Box::new(unusable(doing, &path.display().to_string(), error)))
    }
}

impl From<curvary_archive::Error> for Trouble {
    fn from(error: curvary_archive::Error) -> Self {
        Self::Archive(error)
    }
}

/// The remark on a file or folder that the operating system refuses: `cannot read`, `cannot write`, …
#[must_use]
pub fn unusable(doing: &str, path: &str, error: &io::Error) -> Diagnostic {
    if error.kind() == io::ErrorKind::AlreadyExists {
        let why = Diagnostic::error(
            Code::new("output-there"),
            format!("cannot {doing} `{path}`: {error}"),
        );
        return why.help("name another file, or take its place with `--replace`");
    }
    let help = match error.kind() {
        io::ErrorKind::NotFound => "look for a misspelt name or a drive that is not connected",
        io::ErrorKind::PermissionDenied => "ask whoever looks after the folder for permission",
        io::ErrorKind::InvalidInput => "name a file, outside of the folders of archives",
        io::ErrorKind::InvalidFilename => "give it a shorter name of plain letters",
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "make room on the disk and run the same command again; what was done stays done"
        }
        io::ErrorKind::IsADirectory => "name a file, or a path inside of the folder",
        _ => "try again; if it stays so, copy the file elsewhere first",
    };
    let message = format!("cannot {doing} `{path}`: {}", reason(error));
    Diagnostic::error(Code::new("file-unusable"), message).help(help)
}

/// The operating system's reason without its number, which helps nobody.
fn reason(error: &io::Error) -> String {
    let text = error.to_string();
    match text.find(" (os error") {
        Some(at) => text[..at].to_lowercase(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_carry_no_error_numbers() {
        let error = io::Error::from_raw_os_error(2);
        assert!(!unusable("read", "a.txt", &error).message.contains("os error"));
    }
}
