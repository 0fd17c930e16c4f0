//! What can go wrong, each with what was found, where, what was expected and what to do.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use curvary_record::{Digest, RunId};

use crate::holder::Holder;

/// Why something could not be done. The archive itself is always left as it was last committed.
#[derive(Debug)]
pub enum Error {
    /// The disk or the operating system refused.
    Io {
        /// What was being done, such as `write`.
        doing: &'static str,
        /// On which file or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// There is no archive in this folder.
    NoArchive {
        /// The folder.
        path: PathBuf,
    },
    /// A new archive was asked for where there is one already.
    AlreadyThere {
        /// Its folder.
        path: PathBuf,
    },
    /// The archive was written in a newer format than this program knows.
    NewerFormat {
        /// The file that says so.
        path: PathBuf,
        /// The format's number there.
        found: u32,
        /// The newest number known here.
        known: u32,
    },
    /// The archive is of an older format, which this program reads and does not write.
    OlderFormat {
        /// The archive.
        path: PathBuf,
        /// The format's number there.
        found: u32,
        /// The number that is written.
        known: u32,
    },
    /// A settings file is not as it should be.
    Settings {
        /// The file.
        path: PathBuf,
        /// Line, from 1; 0 when the whole file is meant.
        line: usize,
        /// Column in characters, from 1; 0 when the whole line is meant.
        column: usize,
        /// What was found and what was expected.
        message: String,
    },
    /// Something on disk is not what was committed.
    Damaged {
        /// The file.
        path: PathBuf,
        /// The byte at which it was seen.
        at: Option<u64>,
        /// What was found there.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// The manifest is absent, or lists less than there is.
    Unlisted {
        /// The manifest.
        path: PathBuf,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// A folder is no earlier copy of this archive.
    NoCopy {
        /// The folder.
        path: PathBuf,
        /// What was found there.
        found: String,
    },
    /// Another process writes to the archive.
    Locked {
        /// The lock file.
        path: PathBuf,
        /// Who holds it.
        holder: Box<Holder>,
    },
    /// No run has a name that begins so.
    NoRun {
        /// What was asked for.
        asked: String,
    },
    /// Several runs have names that begin so.
    Ambiguous {
        /// What was asked for.
        asked: String,
        /// The first few of them.
        candidates: Vec<RunId>,
    },
    /// No original has these bytes.
    NoOriginal {
        /// Their digest.
        digest: Digest,
    },
    /// The query cannot be understood.
    Query(QueryError),
    /// The index cannot be read or written. It can be rebuilt at any time.
    Index {
        /// Its folder.
        path: PathBuf,
        /// What was said.
        message: String,
        /// Whether its bytes are not those that were written, so that it must be built anew.
        damaged: bool,
    },
    /// A source is larger than a part of originals can be.
    TooLarge {
        /// The source's path.
        path: String,
        /// Its length.
        bytes: u64,
    },
    /// A note says something that cannot be kept.
    Note {
        /// What was found and what was expected.
        message: String,
    },
}

impl Error {
    pub(crate) fn io(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { doing, path, source }
    }

    pub(crate) fn damaged(
        path: &Path,
        at: impl Into<Option<u64>>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Self::Damaged {
            path: path.to_owned(),
            at: at.into(),
            found: found.into(),
            expected: expected.into(),
        }
    }

    /// What to do about it, when there is something to do.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        Some(match self {
            Self::Io { source, .. } => match source.kind() {
                io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                    "make room on the disk and say the same command again; what was committed is safe".into()
                }
                io::ErrorKind::PermissionDenied => "check who may read and write there".into(),
                _ => return None,
            },
            Self::NoArchive { .. } => {
                "name the archive with --archive or CURVARY_ARCHIVE, or begin one with `curvary add`".into()
            }
            Self::AlreadyThere { .. } => "add to it, or choose another folder".into(),
            Self::NewerFormat { .. } => "use a newer curvary".into(),
            Self::OlderFormat { .. } => "`curvary upgrade` moves the archive on, in a moment and without touching what is \
                                         there; older programs cannot open it then. All commands that only read work without"
                .into(),
            Self::Settings { .. } => "correct the file by hand; it is plain TOML".into(),
            Self::Damaged { .. } => {
                "run `curvary verify`; `curvary verify --repair --from COPY` mends it from a backup, without one \
                 `curvary verify --repair` rebuilds what can be rebuilt"
                    .into()
            }
            Self::Unlisted { .. } => "put the right manifest.json back from a copy of the archive, or run `curvary verify \
                                      --repair`, which makes it again from the originals and records themselves; nothing \
                                      is deleted meanwhile"
                .into(),
            Self::NoCopy { .. } => "name a new folder, or one that holds an earlier copy of this archive".into(),
            Self::Locked { path, holder } if !holder.is_here() => format!(
                "wait for it; if that process is gone for certain, run `curvary unlock --gone --archive {}`",
                path.parent().unwrap_or(path).display()
            ),
            Self::Locked { .. } => "wait until it has ended".into(),
            Self::NoRun { .. } => "look the run up with `curvary find --ids`".into(),
            Self::Ambiguous { .. } => "give more digits".into(),
            Self::NoOriginal { .. } => return None,
            Self::Query(error) => return error.help.clone(),
            Self::Index { .. } => "run `curvary verify --repair`, which builds the index anew".into(),
            Self::TooLarge { .. } => "split the file; an archive keeps files of at most 3.75 GiB".into(),
            Self::Note { .. } => return None,
        })
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io { doing, path, source } => {
                write!(f, "could not {doing} {}: {source}", path.display())
            }
            Self::NoArchive { path } => {
                write!(
                    f,
                    "there is no archive in {}: no archive.toml there",
                    path.display()
                )
            }
            Self::AlreadyThere { path } => {
                write!(f, "there is an archive in {} already", path.display())
            }
            Self::NewerFormat { path, found, known } => write!(
                f,
                "{}: format {found} was found, this program knows formats up to {known}",
                path.display()
            ),
            Self::OlderFormat { path, found, known } => write!(
                f,
                "{}: the archive is of format {found}; this program reads it and writes only format {known}",
                path.display()
            ),
            Self::Settings {
                path,
                line,
                column,
                message,
            } => match (line, column) {
                (0, _) => write!(f, "{}: {message}", path.display()),
                _ => write!(f, "{}:{line}:{column}: {message}", path.display()),
            },
            Self::Damaged {
                path,
                at,
                found,
                expected,
            } => {
                write!(f, "{}", path.display())?;
                if let Some(at) = at {
                    write!(f, ", byte {at}")?;
                }
                write!(f, ": found {found}, expected {expected}")
            }
            Self::Unlisted {
                path,
                found,
                expected,
            } => write!(f, "{}: found {found}, expected {expected}", path.display()),
            Self::NoCopy { path, found } => write!(
                f,
                "{}: found {found}, expected an empty folder or an earlier copy of this archive",
                path.display()
            ),
            Self::Locked { holder, .. } => write!(f, "the archive is being written by {holder}"),
            Self::NoRun { asked } => write!(f, "no run has a name that begins with `{asked}`"),
            Self::Ambiguous { asked, candidates } => {
                write!(f, "`{asked}` begins the names of several runs:")?;
                for run in candidates {
                    write!(f, " {run}")?;
                }
                Ok(())
            }
            Self::NoOriginal { digest } => write!(f, "no original has the digest {digest}"),
            Self::Query(error) => error.fmt(f),
            Self::Index { path, message, .. } => write!(f, "index {}: {message}", path.display()),
            Self::TooLarge { path, bytes } => {
                write!(
                    f,
                    "{path}: {bytes} bytes were found, at most 4294967295 can be kept"
                )
            }
            Self::Note { message } => f.write_str(message),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io { source, .. } => Some(source),
            Self::Query(error) => Some(error),
            _ => None,
        }
    }
}

/// Why a query cannot be understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QueryError {
    /// The whole query.
    pub query: String,
    /// Where, in characters from 1.
    pub column: usize,
    /// How many characters are meant.
    pub length: usize,
    /// What was found and what was expected.
    pub message: String,
    /// The nearest right thing.
    pub help: Option<String>,
}

impl fmt::Display for QueryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "query, column {}: {}", self.column, self.message)
    }
}

impl std::error::Error for QueryError {}

impl From<QueryError> for Error {
    fn from(error: QueryError) -> Self {
        Self::Query(error)
    }
}
