//! How a command ends: four exit statuses, and what is said when it ends badly.

use std::fmt;
use std::io;
use std::path::Path;
use std::process::ExitCode;

use curvary_archive::Error;
use curvary_ingest::Trouble;
pub(crate) use curvary_ingest::unusable;
use curvary_record::{Code, Diagnostic, Place, Span};

/// How a command ended, as the exit status says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ending {
    /// Status 0: all was done.
    Done,
    /// Status 1: something was read or written, and there were errors.
    Partly,
    /// Status 2: the command line was wrong.
    Wrong,
    /// Status 3: nothing could be done.
    Nothing,
}

impl Ending {
    /// The ending of a job over many things, of which `good` went well and `bad` did not.
    ///
    /// Things that were well already count as good; a job that found nothing to do has done nothing.
    pub(crate) fn of(good: u64, bad: u64) -> Self {
        match (good, bad) {
            (0, _) => Self::Nothing,
            (_, 0) => Self::Done,
            _ => Self::Partly,
        }
    }
}

impl From<Ending> for ExitCode {
    fn from(ending: Ending) -> Self {
        Self::from(match ending {
            Ending::Done => 0,
            Ending::Partly => 1,
            Ending::Wrong => 2,
            Ending::Nothing => 3,
        })
    }
}

/// Why a command stopped before its end.
#[derive(Debug)]
pub(crate) enum Failure {
    /// It is told, and the exit status says how bad it is.
    Told {
        /// The exit status.
        ending: Ending,
        /// What went wrong.
        why: Box<Diagnostic>,
        /// The text that the diagnostic's places lie in, when it is no file's.
        text: Option<String>,
    },
    /// Nobody reads our output any more, which is the reader's good right.
    Closed,
}

/// What every command returns.
pub(crate) type CommandResult = Result<Ending, Failure>;

impl Failure {
    /// The command line was wrong.
    pub(crate) fn wrong(why: Diagnostic) -> Self {
        Self::Told {
            ending: Ending::Wrong,
            why: Box::new(why),
            text: None,
        }
    }

    /// The command line was wrong in this way.
    pub(crate) fn usage(message: impl fmt::Display) -> Self {
        Self::wrong(Diagnostic::error(Code::new("command-line"), message.to_string()))
    }

    /// Nothing could be done.
    pub(crate) fn nothing(why: Diagnostic) -> Self {
        Self::Told {
            ending: Ending::Nothing,
            why: Box::new(why),
            text: None,
        }
    }

    /// A file or folder could not be used.
    pub(crate) fn file(doing: &str, path: &Path, error: &io::Error) -> Self {
        Self::nothing(unusable(doing, &path.display().to_string(), error))
    }
}

impl From<Trouble> for Failure {
    fn from(trouble: Trouble) -> Self {
        match trouble {
            Trouble::Order(why) => Self::wrong(*why),
            Trouble::File(why) => Self::nothing(*why),
            Trouble::Archive(error) => error.into(),
        }
    }
}

impl From<io::Error> for Failure {
    /// An error while writing to the standard output; those of files are told apart by [`Failure::file`].
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::Closed
        } else {
            Self::nothing(unusable("write to", "standard output", &error))
        }
    }
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        let code = match &error {
            Error::Io { .. } => "file-unusable",
            Error::NoArchive { .. } => "no-archive",
            Error::AlreadyThere { .. } => "archive-there",
            Error::NewerFormat { .. } => "archive-newer",
            Error::OlderFormat { .. } => "archive-older",
            Error::Settings { .. } => "settings-wrong",
            Error::Damaged { .. } => "archive-damaged",
            Error::Unlisted { .. } => "archive-unlisted",
            Error::NoCopy { .. } => "backup-elsewhere",
            Error::Locked { .. } => "archive-locked",
            Error::NoRun { .. } => "no-run",
            Error::Ambiguous { .. } => "run-ambiguous",
            Error::NoOriginal { .. } => "no-original",
            Error::Query(_) => "query-wrong",
            Error::Index { .. } => "index-unusable",
            Error::TooLarge { .. } => "file-too-large",
            Error::Note { .. } => "note-wrong",
        };
        if let Error::Io { doing, path, source } = &error {
            return Self::file(doing, path, source);
        }
        let mut why = Diagnostic::error(Code::new(code), error.to_string());
        why.help = error.help();
        match error {
            Error::Query(error) => {
                why.message = error.message;
                let start = error
                    .query
                    .chars()
                    .take(error.column.saturating_sub(1))
                    .map(char::len_utf8)
                    .sum();
                let length: usize = error.query[start..]
                    .chars()
                    .take(error.length.max(1))
                    .map(char::len_utf8)
                    .sum();
                let place = Place {
                    file: None,
                    part: None,
                    line: 1,
                    column: u32::try_from(error.column).unwrap_or(u32::MAX),
                    span: Some(Span::new(start, start + length)),
                    bytes: None,
                };
                let why = Box::new(why.at(place, ""));
                Self::Told {
                    ending: Ending::Wrong,
                    why,
                    text: Some(error.query),
                }
            }
            Error::Note { .. } => Self::wrong(why),
            _ => Self::nothing(why),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endings_follow_what_went_well_and_what_did_not() {
        assert_eq!(Ending::of(3, 0), Ending::Done);
        assert_eq!(Ending::of(3, 1), Ending::Partly);
        assert_eq!(Ending::of(0, 1), Ending::Nothing);
        assert_eq!(Ending::of(0, 0), Ending::Nothing);
    }

    #[test]
    fn a_closed_pipe_is_no_error() {
        assert!(matches!(
            Failure::from(io::Error::from(io::ErrorKind::BrokenPipe)),
            Failure::Closed
        ));
    }
}
