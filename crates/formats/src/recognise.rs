//! Who knows this source? Three-valued recognition with reasons.

use curvary_record::{Code, Diagnostic, Run, Verdict};

use crate::settle::settled;
use crate::{ExplainedLines, SettledReading, Source};

/// What a reader is called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReaderInfo {
    /// `built-in/…`, `layout/…` or `plugin/…`.
    pub id: String,
    /// Changes whenever the reader may read the same bytes differently.
    pub version: String,
    /// One line for people.
    pub title: String,
}

/// What every reader is shown first: made once for all of them. Nothing is decoded for it before a reader asks.
#[derive(Clone, Copy)]
pub struct SourcePreview<'a> {
    /// The path, with `/` between folders.
    pub path: &'a str,
    /// Length of the file in bytes.
    pub bytes: usize,
    /// The first 64 bytes as they are in the file.
    pub start: &'a [u8],
    /// Whether it is a zip archive that lists its members in a `manifest.xml`, as COMBINE archives do.
    pub has_manifest: bool,
    pub(crate) source: &'a Source,
}

impl<'a> SourcePreview<'a> {
    /// The first 8 KiB of decoded text, cut at a character; empty where the bytes are plainly no text, which is seen
    /// without decoding any.
    #[must_use]
    pub fn head(&self) -> &'a str {
        if self.source.may_be_text() {
            self.source.head()
        } else {
            ""
        }
    }

    /// Whether the beginning has these words, as bytes or as text in whatever encoding.
    pub(crate) fn contains(&self, words: &str) -> bool {
        let bytes = self.source.bytes();
        let start = bytes.get(..8192).unwrap_or(bytes);
        memchr::memmem::find(start, words.as_bytes()).is_some() || self.source.head().contains(words)
    }
}

/// A reader's answer, with its reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Recognition {
    /// Not mine.
    No(String),
    /// It may be mine; a surer reader goes first.
    Perhaps(String),
    /// It is mine.
    Yes(String),
}

/// What reading a source gave. An empty list of runs has a remark that says why.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// The runs, in the order of the source.
    pub runs: Vec<Run>,
    /// What was odd about the source as a whole.
    pub remarks: Vec<Diagnostic>,
    /// Whether the reader itself failed, so that nothing is known of the source; a remark says how.
    pub failed: bool,
}

impl Reading {
    /// Nothing was read, for this reason.
    #[must_use]
    pub fn refused(reason: Diagnostic) -> Self {
        Self {
            runs: Vec::new(),
            remarks: vec![reason],
            failed: false,
        }
    }

    /// The reader could not do its work, for this reason; the source may be all right.
    #[must_use]
    pub fn failed(reason: Diagnostic) -> Self {
        Self {
            failed: true,
            ..Self::refused(reason)
        }
    }

    /// The one word for it.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        if self.failed {
            Verdict::Failed
        } else if self.runs.is_empty() {
            Verdict::Refused
        } else if self.runs.iter().any(Run::in_question) {
            Verdict::InQuestion
        } else {
            Verdict::Read
        }
    }
}

/// Turns sources of one kind into runs.
///
/// For implementers: `recognise` is quick and pure and cannot fail; be strict, and say why. `read` reads on as far
/// as the meaning is sure, never invents a number and is never silent: what is left out has a remark with its place.
pub trait Reader: Send + Sync {
    /// Who this is.
    fn card(&self) -> &ReaderInfo;
    /// Whether this reader knows the source.
    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition;
    /// All that can be understood.
    fn read(&self, source: &Source) -> Reading;
    /// The same as [`Reader::read`], with the runs handed out one after the other, so that not all of them must be held, as
    /// long as `each` wants more. What is left is said of the source beside them. `None`: this source must be read as a whole,
    /// and what was handed out is void.
    fn read_each(&self, source: &Source, each: &mut dyn FnMut(Run) -> bool) -> Option<Vec<Diagnostic>> {
        let _ = (source, each);
        None
    }
    /// How each part of the source is understood, in the order of its lines. A reader that cannot tell says nothing.
    ///
    /// What it tells comes from the same steps as [`Reader::read`], never from a second look of its own.
    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        let _ = source;
        Vec::new()
    }
    /// What is to be said of the reader itself when the work is done: that it failed and was put aside.
    fn summary(&self) -> Option<Diagnostic> {
        None
    }
}

/// The readers that are asked; the order in which they were added changes nothing.
#[derive(Default)]
pub struct Readers {
    all: Vec<Box<dyn Reader>>,
}

/// One reader's answer.
pub struct Candidate<'a> {
    /// The reader.
    pub reader: &'a dyn Reader,
    /// What it said.
    pub recognition: Recognition,
}

/// Which reader a source goes to.
pub enum ReaderChoice<'a> {
    /// One knows it best, for this reason.
    One(&'a dyn Reader, String),
    /// None knows it.
    None,
    /// Several know it equally well: an open question.
    Several(Vec<Candidate<'a>>),
}

impl Readers {
    /// The built-in readers.
    #[must_use]
    pub fn built_in() -> Self {
        let mut readers = Self::default();
        for reader in crate::readers::all() {
            readers.add(reader);
        }
        readers
    }

    /// Adds a reader. One with the same id is replaced.
    pub fn add(&mut self, reader: Box<dyn Reader>) {
        self.all.retain(|other| other.card().id != reader.card().id);
        self.all.push(reader);
        self.all.sort_by(|a, b| a.card().id.cmp(&b.card().id));
    }

    /// The readers, by id.
    pub fn iter(&self) -> impl Iterator<Item = &dyn Reader> {
        self.all.iter().map(AsRef::as_ref)
    }

    /// Every reader's answer, by id.
    #[must_use]
    pub fn ask(&self, source: &Source) -> Vec<Candidate<'_>> {
        let glimpse = source.glimpse();
        self.iter()
            .map(|reader| Candidate {
                reader,
                recognition: reader.recognise(&glimpse),
            })
            .collect()
    }

    /// Which reader the source goes to: *yes* beats *perhaps*; `asked` (an id) skips the question.
    #[must_use]
    pub fn choose(&self, source: &Source, asked: Option<&str>) -> ReaderChoice<'_> {
        if let Some(id) = asked {
            return match self.iter().find(|reader| reader.card().id == id) {
                Some(reader) => ReaderChoice::One(reader, "it was asked for".to_owned()),
                None => ReaderChoice::None,
            };
        }
        let answers = self.ask(source);
        let (mut sure, mut perhaps) = (Vec::new(), Vec::new());
        for candidate in answers {
            match candidate.recognition {
                Recognition::Yes(_) => sure.push(candidate),
                Recognition::Perhaps(_) => perhaps.push(candidate),
                Recognition::No(_) => {}
            }
        }
        let mut best = if sure.is_empty() { perhaps } else { sure };
        match (best.len(), best.pop()) {
            (
                1,
                Some(Candidate {
                    reader,
                    recognition: Recognition::Yes(why) | Recognition::Perhaps(why),
                }),
            ) => ReaderChoice::One(reader, why),
            (_, Some(last)) => {
                best.push(last);
                ReaderChoice::Several(best)
            }
            (_, None) => ReaderChoice::None,
        }
    }

    /// Reads a source with the reader it belongs to. Returns that reader's card too.
    ///
    /// Answers that the source carries come into force only where the source asks for them.
    #[must_use]
    pub fn read(&self, source: &Source, asked: Option<&str>) -> (Option<&ReaderInfo>, Reading) {
        let (card, settled) = self.settle(source, asked);
        (card, settled.reading)
    }

    /// The same with the runs handed out one after the other, as [`Reader::read_each`] does. Answers are none of its
    /// business: of a source that carries some it is `None`.
    #[must_use]
    pub fn read_each(
        &self,
        source: &Source,
        asked: Option<&str>,
        each: &mut dyn FnMut(Run) -> bool,
    ) -> Option<(&ReaderInfo, Vec<Diagnostic>)> {
        if !source.assume().is_empty() {
            return None;
        }
        let ReaderChoice::One(reader, _) = self.choose(source, asked) else {
            return None;
        };
        let mut remarks = reader.read_each(source, each)?;
        remarks.extend(source.remarks().iter().cloned());
        Some((reader.card(), remarks))
    }

    /// The same as [`Readers::read`], with the answers that the source asked for.
    #[must_use]
    pub fn settle(&self, source: &Source, asked: Option<&str>) -> (Option<&ReaderInfo>, SettledReading) {
        let refused = |remark| {
            let settled = SettledReading {
                reading: Reading::refused(remark),
                ..SettledReading::default()
            };
            (None, settled)
        };
        match self.choose(source, asked) {
            ReaderChoice::One(reader, _) => {
                let mut settled = if source.assume().is_empty() {
                    SettledReading {
                        reading: reader.read(source),
                        ..SettledReading::default()
                    }
                } else {
                    settled(source.assume(), |assume| {
                        reader.read(&source.under(assume, source.hints().clone()))
                    })
                };
                settled.reading.remarks.extend(source.remarks().iter().cloned());
                (Some(reader.card()), settled)
            }
            ReaderChoice::None => {
                let message = match asked {
                    Some(id) => format!("no reader is called `{id}`"),
                    None => "no reader knows this kind of file".to_owned(),
                };
                let remark = Diagnostic::error(Code::new("not-recognised"), message)
                    .help("`curvary explain FILE` shows what each reader said; a layout can teach curvary a new shape");
                refused(remark)
            }
            ReaderChoice::Several(candidates) => {
                let ids: Vec<&str> = candidates.iter().map(|c| c.reader.card().id.as_str()).collect();
                let remark = Diagnostic::error(
                    Code::new("several-readers"),
                    format!("several readers know this file equally well: {}", ids.join(", ")),
                )
                .help(format!(
                    "name one with `--reader {}`",
                    ids.first().copied().unwrap_or("ID")
                ));
                refused(remark)
            }
        }
    }
}
