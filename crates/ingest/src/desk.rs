//! Where one source is read: bytes in, runs and remarks out, whatever the bytes are.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use curvary_archive::{Answer, StoredAnswers};
use curvary_formats::{
    Assumptions, Intake, ReaderInfo, Readers, Reading, SettledReading, Source, container, family,
};
use curvary_plugin_host::{AllowedPlugin, Plugin};
use curvary_record::{Code, Diagnostic, Family, Run, Verdict, code};

use crate::layout_set::{LayoutSet, Misfit};
use crate::limits::IngestLimits;
use crate::trouble::Trouble;
use crate::vocabulary;

/// What was said about how to read.
#[derive(Clone, Debug, Default)]
pub struct IngestOptions {
    /// Read every source with the reader of this id, instead of asking which one knows it.
    pub reader: Option<String>,
    /// Answers that settle questions.
    pub assume: Assumptions,
    /// Folders of layouts, beside the archive's own.
    pub layouts: Vec<PathBuf>,
    /// Plugins that the person has allowed.
    pub plugins: Vec<AllowedPlugin>,
}

/// The readers and what was said about how to use them.
pub struct Ingest {
    readers: Readers,
    /// Layouts that cannot be used.
    misfits: Vec<Misfit>,
    orders: IngestOptions,
    /// What was answered about files that are written alike.
    answers: Vec<Answer>,
    /// What files rest on for which some of it waits; nothing where none waits.
    before: Option<Vec<Answer>>,
}

/// With which answers a file is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ReadingState {
    /// With all that hold.
    Now,
    /// With those that were in force before: what waits for `reread` is not in force for it.
    Before,
}

/// What reading one source gave.
pub struct FileReading {
    /// The source.
    pub source: Source,
    /// The reader's card, unless none knew the source.
    pub card: Option<ReaderInfo>,
    /// Runs and remarks.
    pub reading: Reading,
    /// How the source is written, where something is asked about it.
    pub family: Option<Family>,
    /// The answers that the source asked for, as `about=answer`.
    pub met: Vec<String>,
}

impl FileReading {
    /// How the reading went. A container of which every member is a source of its own is read, though it gives no run;
    /// so is what a package says of itself.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let remarks = &self.reading.remarks;
        let expected = |remark: &Diagnostic| {
            [code::CONTAINER_UNPACKED, code::PACKAGE_DESCRIPTION].contains(&remark.code)
        };
        if self.reading.runs.is_empty() && remarks.iter().any(expected) {
            Verdict::Read
        } else {
            self.reading.verdict()
        }
    }
}

impl Ingest {
    /// The built-in readers, the layouts of an archive (its folder) and the plugins, used as the orders say.
    ///
    /// # Errors
    /// When a named folder of layouts cannot be read, or no reader has the id that was asked for.
    pub fn new(orders: IngestOptions, archive: Option<&Path>) -> Result<Self, Trouble> {
        let mut readers = Readers::built_in();
        let mut shelf = LayoutSet::open(&orders.layouts, archive)?;
        shelf.try_examples();
        for layout in shelf.layouts {
            readers.add(Box::new(layout));
        }
        for entry in &orders.plugins {
            match Plugin::of_entry(entry) {
                Ok(plugin) => readers.add(Box::new(plugin)),
                Err(why) => shelf.misfits.push(Misfit::without_text(*why)),
            }
        }
        if let Some(asked) = &orders.reader
            && !readers.iter().any(|reader| reader.card().id == *asked)
        {
            let ids: Vec<&str> = readers.iter().map(|reader| reader.card().id.as_str()).collect();
            let why = Diagnostic::error(Code::new("no-reader"), format!("no reader is called `{asked}`"));
            return Err(Trouble::Order(Box::new(
                why.help(format!("there are {}", ids.join(", "))),
            )));
        }
        Ok(Self {
            readers,
            misfits: shelf.misfits,
            orders,
            answers: match archive {
                Some(root) => StoredAnswers::read(root)?.holding().cloned().collect(),
                None => Vec::new(),
            },
            before: None,
        })
    }

    /// Takes these answers in place of those that it has.
    pub fn answer_with(&mut self, answers: Vec<Answer>) {
        self.answers = answers;
        self.before = None;
    }

    /// Takes those answers too that were in force before, where some of the others wait.
    pub(crate) fn answered_before(&mut self, before: Option<Vec<Answer>>) {
        self.before = before;
    }

    /// Whether some answers wait, so that files may rest on others.
    pub(crate) fn has_waiting(&self) -> bool {
        self.before.is_some()
    }

    /// The readers.
    #[must_use]
    pub fn readers(&self) -> &Readers {
        &self.readers
    }

    /// What is to be said of readers when the work is done: plugins that failed and were put aside.
    #[must_use]
    pub fn summaries(&self) -> Vec<Diagnostic> {
        self.readers
            .iter()
            .filter_map(curvary_formats::Reader::summary)
            .collect()
    }

    /// The layouts and plugins that cannot be used, and why.
    #[must_use]
    pub fn misfits(&self) -> &[Misfit] {
        &self.misfits
    }

    /// The reader that was asked for.
    #[must_use]
    pub fn asked(&self) -> Option<&str> {
        self.orders.reader.as_deref()
    }

    /// Whether something was said that changes how files are read.
    #[must_use]
    pub(crate) fn has_orders(&self) -> bool {
        let IngestOptions {
            reader,
            assume,
            layouts,
            plugins: _,
        } = &self.orders;
        reader.is_some() || !layouts.is_empty() || !assume.is_empty()
    }

    /// The source of some bytes, with what was settled about it.
    #[must_use]
    pub fn source(&self, path: &str, taken: Intake) -> Source {
        Source::taken(path, taken).assuming(self.orders.assume.clone())
    }

    /// The source of some bytes, with more settled about it than the orders say; the orders weigh more.
    #[must_use]
    pub fn source_settling(&self, path: &str, taken: Intake, more: &Assumptions) -> Source {
        let mut assume = more.clone();
        assume.overlay(&self.orders.assume);
        Source::taken(path, taken).assuming(assume)
    }

    /// Reads one source. A reader that fails on it fails on it alone.
    #[must_use]
    pub fn read(&self, path: &str, taken: Intake) -> FileReading {
        self.read_source(self.source(path, taken))
    }

    /// Reads one source. A reader that fails on it fails on it alone.
    ///
    /// What was answered about files written like it comes into force where it asks; what the orders say weighs more.
    #[must_use]
    pub fn read_source(&self, source: Source) -> FileReading {
        self.read_source_as(source, ReadingState::Now)
    }

    /// Reads one source with the answers that are in force for it.
    pub(crate) fn read_source_as(&self, source: Source, state: ReadingState) -> FileReading {
        let known = match (state, &self.before) {
            (ReadingState::Before, Some(before)) => before,
            _ => &self.answers,
        };
        if container::is_container(source.bytes()) {
            return unopened(source);
        }
        if let Some(why) = too_long_a_line(source.bytes(), IngestLimits::USUAL.line) {
            return FileReading {
                source,
                card: None,
                reading: Reading::refused(why),
                family: None,
                met: Vec::new(),
            };
        }
        let (card, settled) = self.attempt(&source);
        let in_doubt = is_in_doubt(&settled.reading);
        let mut finished = FileReading {
            source,
            card,
            reading: settled.reading,
            family: None,
            met: settled.met,
        };
        // What is said on the command line of keys and values holds for every file of it.
        let ordered: Vec<Answer> = self
            .orders
            .assume
            .words()
            .map(|word| Answer {
                answer: word.line(),
                everywhere: true,
                ..Answer::default()
            })
            .collect();
        // How a file is written matters only where it asks something.
        if !in_doubt && !vocabulary::is_wanted(&finished.reading, known) && ordered.is_empty() {
            return finished;
        }
        let family = catch_unwind(AssertUnwindSafe(|| family::of(&finished.source)))
            .ok()
            .flatten();
        // What is asked must be shown and answered, however little is known of the file's manner.
        let asks = finished.reading.runs.iter().any(Run::in_question);
        let Some(family) = family.or_else(|| asks.then(|| Family::of_one(finished.source.digest()))) else {
            return finished;
        };
        let mut answers: Vec<&Answer> = known
            .iter()
            .filter(|answer| answer.is_about(finished.source.digest(), &family))
            .collect();
        // What is said of fewer files weighs more.
        answers.sort_by_key(|answer| answer.closeness());
        answers.extend(&ordered);
        if in_doubt || vocabulary::is_wanted(&finished.reading, &[]) {
            finished.family = Some(family);
        }
        let methods = vocabulary::by_values(&answers, &finished.reading);
        if in_doubt && (!methods.is_empty() || answers.iter().any(|answer| !vocabulary::is_of_fields(answer)))
        {
            let given = given(&answers, &methods, finished.source.assume());
            finished.source = finished.source.assuming(given);
            let (card, settled) = self.attempt(&finished.source);
            finished.card = card;
            finished.reading = settled.reading;
            finished.met = settled.met;
            for (said, line) in methods {
                if finished.met.contains(&said) {
                    finished.met.push(line);
                }
            }
        }
        if is_in_doubt(&finished.reading)
            && let Some(answer) = answers.iter().rev().find(|answer| answer.answer == NONE)
        {
            finished.reading = Reading::refused(left_out(answer));
            finished.met = vec![NONE.to_owned()];
        }
        vocabulary::apply(&answers, &mut finished.reading, &mut finished.met);
        finished
    }

    /// Reads a source whose runs are handed out one after the other, each with how the source is written where that matters
    /// for it. Gives what is left to be said; nothing where the source must be read as a whole, and then what was handed out
    /// is void: something was answered that may concern it.
    pub(crate) fn read_each(
        &self,
        source: &Source,
        each: &mut dyn FnMut(Run, Option<&Family>) -> bool,
    ) -> Option<ReadInTurn> {
        if container::is_container(source.bytes())
            || too_long_a_line(source.bytes(), IngestLimits::USUAL.line).is_some()
            || !source.assume().is_empty()
            || vocabulary::concerns_any(&self.answers)
        {
            return None;
        }
        let mut family = None;
        let mut looked = false;
        let mut as_is = true;
        let read = catch_unwind(AssertUnwindSafe(|| {
            let (card, remarks) = self.readers.read_each(source, self.asked(), &mut |run| {
                if !looked && (run.in_question() || vocabulary::has_unknown(&run)) {
                    // What is in no doubt needs no family; answers may be about this one.
                    looked = true;
                    family = family::of(source);
                    let about = |family: &Family| {
                        let mut answers = self.answers.iter();
                        answers.any(|answer| answer.is_about(source.digest(), family))
                    };
                    as_is = !family.as_ref().is_some_and(about);
                }
                as_is = as_is && each(run, family.as_ref());
                as_is
            })?;
            Some((card.clone(), remarks))
        }));
        // A reader that came to a state that it was not made for is asked once more, and then told of.
        let (card, remarks) = read.ok().flatten().filter(|_| as_is)?;
        Some(ReadInTurn {
            card,
            remarks,
            family,
        })
    }

    fn attempt(&self, source: &Source) -> (Option<ReaderInfo>, SettledReading) {
        let read = catch_unwind(AssertUnwindSafe(|| {
            let (card, settled) = self.readers.settle(source, self.asked());
            (card.cloned(), settled)
        }));
        read.unwrap_or_else(|_| {
            let why = Diagnostic::error(
                Code::new("reader-failed"),
                "the reader came to a state that it was not made for; nothing of this file was used",
            );
            let reading = Reading::failed(
                why.help("please send the file to those who make curvary: this is our mistake"),
            );
            let settled = SettledReading {
                reading,
                met: Vec::new(),
            };
            (None, settled)
        })
    }
}

/// What is left to be said of a source whose runs were handed out.
pub(crate) struct ReadInTurn {
    /// The reader's card.
    pub(crate) card: ReaderInfo,
    /// Remarks on the source as a whole.
    pub(crate) remarks: Vec<Diagnostic>,
    /// How the source is written, where it asks something or has keys that no field is known for.
    pub(crate) family: Option<Family>,
}

/// A container that is kept as a whole, mostly since not all of it can be unpacked: why, for each member that is left out.
fn unopened(source: Source) -> FileReading {
    let path = source.path().to_owned();
    let mut unpacked = 0;
    let mut remarks = Vec::new();
    for member in container::members(path, source.bytes().to_vec(), IngestLimits::USUAL.container) {
        match member {
            Ok(_) => unpacked += 1,
            Err(why) => remarks.push(why),
        }
    }
    if remarks.is_empty() && unpacked == 0 {
        remarks.push(Diagnostic::error(
            Code::new("container-empty"),
            "no file is packed in it",
        ));
    }
    if remarks.is_empty() {
        let message = "every file packed in it is read by itself";
        remarks.push(Diagnostic::note(code::CONTAINER_UNPACKED, message));
    } else if let Some(first) = remarks.first_mut() {
        let note = "the whole file is kept as it is, and what can be unpacked is read";
        *first = std::mem::replace(first, Diagnostic::note(first.code.clone(), "")).with_note(note);
    }
    FileReading {
        source,
        card: None,
        reading: Reading {
            runs: Vec::new(),
            remarks,
            failed: false,
        },
        family: None,
        met: Vec::new(),
    }
}

/// Why a file with a line of more than `most` bytes is not read; `None` where there is none.
fn too_long_a_line(bytes: &[u8], most: usize) -> Option<Diagnostic> {
    let mut from = 0;
    // A line that is too long covers one of these places.
    while bytes.len() - from > most {
        let ahead = &bytes[from..=from + most];
        let Some(end) = memchr::memrchr2(b'\n', b'\r', ahead) else {
            let end = memchr::memchr2(b'\n', b'\r', &bytes[from..]).unwrap_or(bytes.len() - from);
            let message = format!("a line has {end} bytes; lines of at most {most} are read");
            return Some(
                Diagnostic::error(Code::new("line-too-long"), message)
                    .help("end each row of the table with a line end, or export it again"),
            );
        };
        from += end + 1;
    }
    None
}

fn is_in_doubt(reading: &Reading) -> bool {
    let is_description = |remark: &Diagnostic| remark.code == code::PACKAGE_DESCRIPTION;
    reading.runs.is_empty() && !reading.remarks.iter().any(is_description)
        || reading.runs.iter().any(|run| run.in_question())
}

/// The answer that files are no measurements.
const NONE: &str = "measurement=no";

fn left_out(answer: &Answer) -> Diagnostic {
    let who = answer.by.as_deref().unwrap_or("a person");
    let message = format!("{who} answered that files written like this are no measurements");
    Diagnostic::note(code::LEFT_OUT, message).help(format!(
        "`curvary answer --undo {}` takes the answer back",
        answer.id
    ))
}

/// What was answered about files like a source, closer and later answers before others, under what was said beside it.
/// What the name of a method means weighs less than an answer.
fn given(answers: &[&Answer], methods: &[(String, String)], said: &Assumptions) -> Assumptions {
    let mut given = Assumptions::none();
    for (about, _) in methods {
        let _ = given.add(about);
    }
    for answer in answers.iter().filter(|answer| !vocabulary::is_of_fields(answer)) {
        // A line that a person has spoilt settles nothing; `answer --list` tells of it.
        let _ = given.add(&answer.answer);
    }
    given = given.precise();
    given.overlay(said);
    given
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_measured_wherever_they_end() {
        let long = |bytes: &[u8]| too_long_a_line(bytes, 4).map(|why| why.message);
        for fine in ["", "abcd", "abcd\n", "abcd\nabcd\rabcd", "a\n\n\nabcd\n"] {
            assert_eq!(long(fine.as_bytes()), None, "{fine:?}");
        }
        for (bad, bytes) in [("abcde", 5), ("abcd\nabcdefg\n", 7), ("\n\nabc\rabcdefghi", 9)] {
            let message = long(bad.as_bytes()).expect("it is too long");
            assert!(
                message.starts_with(&format!("a line has {bytes} bytes")),
                "{message}"
            );
        }
    }

    #[test]
    fn a_reader_that_is_not_there_is_a_wrong_order() {
        let orders = IngestOptions {
            reader: Some("built-in/none".into()),
            ..IngestOptions::default()
        };
        assert!(matches!(Ingest::new(orders, None), Err(Trouble::Order(_))));
    }
}
