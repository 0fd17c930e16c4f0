//! Where one source is read: bytes in, runs and remarks out, whatever the bytes are.

use std::fs::File;
use std::io::Read;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use clap::Args;
use curvary_formats::container::{self, Limits};
use curvary_formats::{Assumptions, Card, Readers, Reading, Source, Taken, take_in};
use curvary_record::{Code, Diagnostic};

use crate::drawing::{self, Texts};
use crate::ending::{Failure, unusable};
use crate::layouts::{Shelf, Trouble};
use crate::report::Fate;
use crate::screen::{Errors, Screen};
use crate::walk::{self, Met, Root};

/// A file longer than this is not opened: its numbers alone would fill the memory of a small computer.
pub(crate) const LONGEST: u64 = 1 << 30;

/// How files are read.
#[derive(Clone, Debug, Default, Args)]
pub(crate) struct ReadingOptions {
    /// Read every file with this reader, instead of asking which one knows it
    #[arg(long, value_name = "ID", help_heading = "Reading")]
    pub(crate) reader: Option<String>,
    /// Settle a question, as in decimal=comma or x=wavelength:nm; may be given several times
    #[arg(long, value_name = "ABOUT=ANSWER", help_heading = "Reading")]
    pub(crate) assume: Vec<String>,
    /// Use the layouts of this folder, beside those in the archive's folder `layouts`; may be given several times
    #[arg(long, value_name = "DIR", help_heading = "Reading")]
    pub(crate) layouts: Vec<PathBuf>,
}

/// The readers and what was said about how to use them.
pub(crate) struct Desk {
    readers: Readers,
    /// Layouts that cannot be used.
    troubles: Vec<Trouble>,
    /// Whether layouts were named on the command line.
    named: bool,
    asked: Option<String>,
    assume: Assumptions,
    errors: Option<Errors>,
}

/// What reading one source gave.
pub(crate) struct Finished {
    /// The source.
    pub(crate) source: Source,
    /// The reader's card, unless none knew the source.
    pub(crate) card: Option<Card>,
    /// Runs and remarks.
    pub(crate) reading: Reading,
}

impl Desk {
    /// The built-in readers and the layouts of an archive, used as the options say. With `errors`, every remark is
    /// drawn that way.
    pub(crate) fn new(
        options: &ReadingOptions,
        archive: Option<&Path>,
        errors: Option<Errors>,
    ) -> Result<Self, Failure> {
        let mut readers = Readers::built_in();
        let mut shelf = Shelf::open(&options.layouts, archive)?;
        shelf.try_examples();
        for layout in shelf.layouts {
            readers.add(Box::new(layout));
        }
        if let Some(asked) = &options.reader
            && !readers.iter().any(|reader| reader.card().id == *asked)
        {
            let ids: Vec<&str> = readers.iter().map(|reader| reader.card().id.as_str()).collect();
            let why = Diagnostic::error(Code::new("no-reader"), format!("no reader is called `{asked}`"));
            return Err(Failure::wrong(why.help(format!("there are {}", ids.join(", ")))));
        }
        let assume = assumptions(&options.assume)?;
        Ok(Self {
            readers,
            troubles: shelf.troubles,
            named: !options.layouts.is_empty(),
            asked: options.reader.clone(),
            assume,
            errors,
        })
    }

    /// The readers.
    pub(crate) fn readers(&self) -> &Readers {
        &self.readers
    }

    /// Tells which layouts cannot be used, and why.
    pub(crate) fn complain(&self, screen: &mut Screen) {
        for trouble in &self.troubles {
            screen.complain(None, &trouble.why, &trouble.text);
        }
    }

    /// Whether every layout can be used.
    pub(crate) fn all_usable(&self) -> bool {
        self.troubles.is_empty()
    }

    /// The reader that was asked for.
    pub(crate) fn asked(&self) -> Option<&str> {
        self.asked.as_deref()
    }

    /// Whether something was said that changes how files are read.
    pub(crate) fn has_orders(&self) -> bool {
        self.asked.is_some() || self.named || !self.assume.is_empty()
    }

    /// The source of some bytes, with what was settled about it.
    pub(crate) fn source(&self, path: &str, taken: Taken) -> Source {
        Source::taken(path, taken).assuming(self.assume.clone())
    }

    /// The source of some bytes, with more settled about it than the options say; they weigh more.
    pub(crate) fn source_settling(&self, path: &str, taken: Taken, more: &[&str]) -> Source {
        let mut assume = Assumptions::none();
        for answer in more {
            // The answers are our own, and known.
            let _ = assume.add(answer);
        }
        assume.overlay(&self.assume);
        Source::taken(path, taken).assuming(assume)
    }

    /// Reads one source. A reader that fails on it fails on it alone.
    pub(crate) fn read(&self, path: &str, taken: Taken) -> Finished {
        self.read_source(self.source(path, taken))
    }

    /// Reads one source. A reader that fails on it fails on it alone.
    pub(crate) fn read_source(&self, source: Source) -> Finished {
        let read = catch_unwind(AssertUnwindSafe(|| {
            let (card, reading) = self.readers.read(&source, self.asked.as_deref());
            (card.cloned(), reading)
        }));
        let (card, reading) = read.unwrap_or_else(|_| {
            let why = Diagnostic::error(
                Code::new("reader-failed"),
                "the reader came to a state that it was not made for; nothing of this file was used",
            );
            (
                None,
                Reading::refused(
                    why.help("please send the file to those who make curvary: this is our mistake"),
                ),
            )
        });
        Finished {
            source,
            card,
            reading,
        }
    }

    /// What became of a source, for reports.
    pub(crate) fn fate(&self, finished: &Finished) -> Fate {
        let Finished {
            source,
            card,
            reading,
        } = finished;
        let of_runs = reading.runs.iter().flat_map(|run| run.remarks.iter());
        let remarks: Vec<Diagnostic> = reading.remarks.iter().chain(of_runs).cloned().collect();
        let questions = reading.runs.iter().flat_map(|run| run.questions.iter());
        let mut fate = Fate {
            path: source.path().to_owned(),
            digest: Some(source.digest().clone()),
            verdict: reading.verdict(),
            reader: card.as_ref().map(|card| card.id.clone()),
            runs: reading.runs.len() as u64,
            points: Some(reading.runs.iter().map(|run| run.points() as u64).sum()),
            questions: questions
                .map(|question| (question.code.clone(), question.message.clone()))
                .collect(),
            bytes: source.bytes().len() as u64,
            known: false,
            remarks,
            drawn: String::new(),
        };
        fate.drawn = self.drawn(&fate.remarks, finished, source);
        fate
    }

    /// Every remark and question as they are to be shown; nothing unless that was asked for.
    fn drawn(&self, remarks: &[Diagnostic], finished: &Finished, texts: &dyn Texts) -> String {
        let Some(errors) = self.errors else {
            return String::new();
        };
        let path = Some(finished.source.path());
        let mut text: String = remarks
            .iter()
            .map(|remark| drawing::draw(path, remark, texts, errors))
            .collect();
        for question in finished.reading.runs.iter().flat_map(|run| run.questions.iter()) {
            text.push_str(&drawing::question(path, question, texts, errors));
        }
        text
    }

    /// What became of a file that could not be opened.
    pub(crate) fn failed(&self, path: &str, why: Diagnostic) -> Fate {
        let mut fate = Fate::failed(path, why);
        if let Some(errors) = self.errors {
            fate.drawn = fate
                .remarks
                .iter()
                .map(|remark| drawing::draw(Some(path), remark, &drawing::NoTexts, errors))
                .collect();
        }
        fate
    }
}

/// Settled questions from `about=answer` texts.
pub(crate) fn assumptions(texts: &[String]) -> Result<Assumptions, Failure> {
    let mut assume = Assumptions::none();
    for text in texts {
        assume.add(text).map_err(Failure::usage)?;
    }
    Ok(assume)
}

/// One source on its way to a desk.
pub(crate) struct Piece {
    /// The path under which it goes into reports.
    pub(crate) path: String,
    /// Its bytes, or where they are, or why there are none.
    pub(crate) content: Content,
    /// Its length in bytes.
    pub(crate) weight: u64,
}

/// The bytes of a source.
pub(crate) enum Content {
    /// In a file that is still to be read.
    InFile(PathBuf),
    /// Out of a container.
    Here(Vec<u8>),
    /// They cannot be had.
    Nowhere(Diagnostic),
}

impl Content {
    /// The bytes and their digest.
    pub(crate) fn bytes(self, path: &str) -> Result<Taken, Box<Diagnostic>> {
        match self {
            Self::InFile(place) => bytes(&place).map_err(|error| Box::new(unusable("read", path, &error))),
            Self::Here(bytes) => Ok(bytes.into()),
            Self::Nowhere(why) => Err(Box::new(why)),
        }
    }
}

/// The bytes of a file and their digest. No more than [`LONGEST`] are read, however the file grows meanwhile.
fn bytes(place: &Path) -> std::io::Result<Taken> {
    let file = File::open(place)?;
    let size = usize::try_from(file.metadata()?.len().min(LONGEST)).unwrap_or(0);
    take_in(file.take(LONGEST), size)
}

/// Whether a file begins as zip and gzip files do. A look into its first bytes; the whole decides later.
pub(crate) fn may_be_container(place: &Path) -> bool {
    let mut head = [0; 4];
    let read = File::open(place).and_then(|mut file| file.read_exact(&mut head));
    read.is_ok() && (head.starts_with(&[0x1f, 0x8b]) || head.starts_with(b"PK"))
}

/// Hands on a file that was met as one piece, or as a piece a member when it is a container; `false` when no more is
/// wanted. `path` is the file's path in reports.
pub(crate) fn pieces(met: Met, path: String, container: bool, each: &mut dyn FnMut(Piece) -> bool) -> bool {
    let found = match met {
        Met::Trouble { why, .. } => {
            return each(Piece {
                path,
                content: Content::Nowhere(why),
                weight: 0,
            });
        }
        Met::File(found) => found,
    };
    if found.stat.bytes > LONGEST {
        let message = format!(
            "the file has {} bytes; at most {LONGEST} are read",
            found.stat.bytes
        );
        let why = Diagnostic::error(Code::new("file-too-large"), message).help("split the file");
        return each(Piece {
            path,
            content: Content::Nowhere(why),
            weight: 0,
        });
    }
    if !container {
        return each(Piece {
            path,
            content: Content::InFile(found.place),
            weight: found.stat.bytes,
        });
    }
    let whole = match bytes(&found.place) {
        Ok(whole) => whole.bytes,
        Err(error) => {
            let why = unusable("read", &path, &error);
            return each(Piece {
                path,
                content: Content::Nowhere(why),
                weight: 0,
            });
        }
    };
    if !container::is_container(&whole) {
        let weight = whole.len() as u64;
        return each(Piece {
            path,
            content: Content::Here(whole),
            weight,
        });
    }
    let mut empty = true;
    for member in container::members(path.clone(), whole, Limits::default()) {
        let piece = match member {
            Ok(member) if is_hidden(&member.path) => continue,
            Ok(member) => {
                let weight = member.bytes.len() as u64;
                Piece {
                    path: member.path,
                    content: Content::Here(member.bytes),
                    weight,
                }
            }
            Err(why) => {
                let file = why.labels.first().and_then(|label| label.place.file.clone());
                Piece {
                    path: file.unwrap_or_else(|| path.clone()),
                    content: Content::Nowhere(why),
                    weight: 0,
                }
            }
        };
        empty = false;
        if !each(piece) {
            return false;
        }
    }
    if empty {
        let why = Diagnostic::error(Code::new("container-empty"), "no file is packed in it");
        return each(Piece {
            path,
            content: Content::Nowhere(why),
            weight: 0,
        });
    }
    true
}

/// Whether a member of a container is hidden, by the same rule as files in folders.
fn is_hidden(path: &str) -> bool {
    let inner = path.rsplit("!/").next().unwrap_or(path);
    inner
        .split('/')
        .any(|part| part.starts_with('.') || part == "__MACOSX")
}

/// The paths that were given, as they are on this disk.
pub(crate) fn roots(paths: &[PathBuf]) -> Vec<Root> {
    paths.iter().map(|path| Root::new(path)).collect()
}

/// A count of files in a thread of its own, for a progress bar that is seen.
pub(crate) fn count_aside(
    progress: &crate::screen::Progress,
    roots: Vec<Root>,
    leave_out: impl Fn(&Path, bool) -> bool + Send + Sync + 'static,
) {
    if progress.visible() {
        let total = progress.total();
        std::thread::spawn(move || total(walk::count(&roots, &leave_out)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_members_are_told_by_their_own_path() {
        assert!(is_hidden("/home/.x/a.zip!/__MACOSX/b.txt"));
        assert!(is_hidden("a.zip!/d/.b.txt"));
        assert!(!is_hidden("/home/.x/a.zip!/d/b.txt"));
    }

    #[test]
    fn wrong_assumptions_and_readers_are_wrong_command_lines() {
        let options = ReadingOptions {
            reader: Some("built-in/none".into()),
            ..ReadingOptions::default()
        };
        assert!(matches!(
            Desk::new(&options, None, None),
            Err(Failure::Told { .. })
        ));
        assert!(matches!(
            assumptions(&["decimal=dot".to_owned()]),
            Err(Failure::Told { .. })
        ));
    }
}
