//! Which answers are in force when files were read with them, and what waits for those that were not.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashSet};
use std::sync::atomic::AtomicBool;
use std::sync::{Mutex, PoisonError};

use curvary_archive::{Answer, Archive, SourceKey, SourceView, Unapplied};
use curvary_formats::Reading;
use curvary_record::{Family, Run, Verdict, code};

use super::Filing;
use crate::again::{KeepMode, changes, noted, runs_before};
use crate::desk::ReadingState;
use crate::trouble::Trouble;

/// Files that an answer is about, that did not ask, and that would be read otherwise by it. They stay as they are until somebody has all
/// files read again.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Bystanders {
    /// How many.
    pub files: u64,
    /// Whether there may be more: not all files were tried.
    pub is_more: bool,
    /// The paths of the first few.
    pub examples: Vec<String>,
}

impl Bystanders {
    const EXAMPLES: usize = 3;
    /// So many files are tried at once, and no more once one of them would be read otherwise: then the answer waits in any case.
    const AT_ONCE: usize = 256;
}

impl Filing<'_> {
    /// Says which answers are in force, when all is committed that was read with them.
    pub(super) fn say_what_is_in_force(&self) -> Result<Bystanders, Trouble> {
        // What was known when the lock was taken is asked again only where bystanders are read.
        self.archive.rest();
        let archive = Archive::open(self.archive.root())?;
        let lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let mut waiting = self.waiting.clone();
        if let Some(superseded) = self.superseded.get() {
            self.wait_for_returned(&archive, superseded, &mut waiting)?;
        }
        let given = |line: &Answer| waiting.given.contains(line);
        let rest = UnreadSources {
            rivals: self
                .answers
                .holding()
                .filter(|line| !given(line))
                .chain(&waiting.taken)
                .collect(),
            waiting: &waiting,
            taken_up: &self.taken_up,
            lost: &lost,
        };
        let named = rest.named();
        let bystanders = match named.is_empty() {
            true => Vec::new(),
            false => archive.sources_that(&|source| {
                named
                    .iter()
                    .any(|line| !self.is_read(source, line) && rest.is_bystander(source, line))
            })?,
        };
        let bystanders = self.read_bystanders(bystanders)?;
        let is_left = |source: &SourceView, line: &Answer, is_given: bool| {
            !self.is_read(source, line) && rest.holds_back(source, line, is_given)
        };
        let held = held_back(&archive, &waiting, &is_left)?;
        self.lock()
            .applied(&self.answers, &waiting, &|answer| !held.contains(answer))?;
        Ok(bystanders)
    }

    /// Hands the desk the answers that hold, and those that files rest on for which some of these wait.
    pub(super) fn hand_answers(&mut self) {
        self.desk.answer_with(self.answers.holding().cloned().collect());
        let Unapplied { given, taken, .. } = &self.waiting;
        let waits = |line: &&Answer| line.id.is_empty() || !self.taken_up.contains(&line.id);
        let given: Vec<&Answer> = given.iter().filter(waits).collect();
        let mut taken = taken.iter().filter(waits).peekable();
        let is_waiting = !given.is_empty() || taken.peek().is_some();
        let before = (is_waiting && !self.is_rereading).then(|| {
            let holding = self.answers.holding().filter(|line| !given.contains(line));
            holding.chain(taken).cloned().collect()
        });
        self.desk.answered_before(before);
    }

    /// With which answers a file of the archive, or a newer version of it, is read: an answer that waits is in force for it where it touches
    /// only what is asked, and where what is kept of it was read with that, since a command was cut short. For all others it is when a person
    /// has files [read again](Self::bring_into_force) for it, or gives it once more. `bytes` are those of the file where it was lost.
    pub(crate) fn state_of_kept(
        &self,
        kept: SourceKey,
        bytes: Option<&[u8]>,
    ) -> Result<ReadingState, Trouble> {
        if !self.desk().has_waiting() {
            return Ok(ReadingState::Now);
        }
        let state = match self.archive().source_view(kept)? {
            // It came with this command.
            None if is_among(&self.read_as_before, kept) => ReadingState::Before,
            None => ReadingState::Now,
            Some(source) => self.nearer_state(&source, bytes)?,
        };
        if state == ReadingState::Before {
            self.note_read_as_before(kept);
        }
        Ok(state)
    }

    /// The answers with which a file is read as it is kept; where it is read otherwise with both, those that come nearer to it.
    fn nearer_state(&self, source: &SourceView, bytes: Option<&[u8]>) -> Result<ReadingState, Trouble> {
        let waits = |line: &&Answer| line.id.is_empty() || !self.taken_up.contains(&line.id);
        let mut waiting = self.waiting.given.iter().chain(&self.waiting.taken).filter(waits);
        // What was in no doubt without answers has no family, and none changes it.
        let family = source.record.family.as_ref();
        let may_change = |line: &Answer| family.is_some_and(|own| line.is_about(&source.record.digest, own));
        if !waiting.any(may_change) {
            return Ok(ReadingState::Now);
        }
        let (archive, desk) = (self.archive(), self.desk());
        let digest = &source.record.digest;
        let bytes = match bytes.map_or_else(|| archive.original(digest), |bytes| Ok(bytes.to_vec())) {
            Ok(bytes) => bytes,
            // What cannot be read again stays as it is.
            Err(curvary_archive::Error::NoOriginal { .. } | curvary_archive::Error::Damaged { .. }) => {
                return Ok(ReadingState::Before);
            }
            Err(error) => return Err(error.into()),
        };
        let noted = noted(archive, digest)?;
        let path = source
            .stands_at
            .as_deref()
            .or(source.paths.first().map(String::as_str));
        let path = path.unwrap_or_default();
        let read =
            |state| desk.read_source_as(desk.source_settling(path, bytes.clone().into(), &noted), state);
        let (before, now) = (read(ReadingState::Before), read(ReadingState::Now));
        if touches_what_asks_alone(&before.reading, &now.reading) {
            return Ok(ReadingState::Now);
        }
        let kept = runs_before(archive, digest, source.record.runs)?;
        let differing = |reading| changes(source, &kept, reading).len();
        Ok(match differing(&now) < differing(&before) {
            true => ReadingState::Now,
            false => ReadingState::Before,
        })
    }

    /// Says that a source is read without the answers that wait.
    pub(super) fn note_read_as_before(&self, source: SourceKey) {
        let mut all = self.read_as_before.lock().unwrap_or_else(PoisonError::into_inner);
        all.insert(source);
    }

    /// Whether a source was read with an answer, or without it where it was taken back.
    fn is_read(&self, source: &SourceView, line: &Answer) -> bool {
        let is_taken_up = !line.id.is_empty() && self.taken_up.contains(&line.id);
        is_among(&self.read, source.key()) || is_taken_up && is_among(&self.read_as_before, source.key())
    }

    /// Lets answers wait for versions that count again. Nobody read them again while newer ones had their places, so that they may rest on
    /// any answer that there was.
    fn wait_for_returned(
        &self,
        archive: &Archive,
        superseded: &HashSet<SourceKey>,
        waiting: &mut Unapplied,
    ) -> Result<(), Trouble> {
        let holding: Vec<&Answer> = self.answers.holding().collect();
        let given = self.answers.lines().iter().filter(|line| line.undo.is_none());
        let given: Vec<&Answer> = given.collect();
        let concerned = RefCell::new(BTreeSet::new());
        archive.sources_that(&|source| {
            if superseded.contains(&source.key()) {
                let lines = (0..)
                    .zip(&given)
                    .filter(|(_, line)| may_rest_on(source, line) && !self.is_read(source, line));
                concerned.borrow_mut().extend(lines.map(|(number, _)| number));
            }
            false
        })?;
        for number in concerned.into_inner() {
            let line: &Answer = given[number];
            let waits = if holding.contains(&line) {
                &mut waiting.given
            } else {
                &mut waiting.taken
            };
            if !waits.contains(line) {
                waits.push(line.clone());
            }
        }
        Ok(())
    }

    /// Reads files that did not ask and files nothing of it: an answer touches nothing that was in no doubt before. It waits where one would
    /// be read otherwise by it, so that this is told before it is done.
    fn read_bystanders(&self, sources: Vec<SourceKey>) -> Result<Bystanders, Trouble> {
        let mut found = Bystanders::default();
        let stop = AtomicBool::new(false);
        let mut tried = 0;
        for some in sources.chunks(Bystanders::AT_ONCE) {
            tried += some.len();
            self.read_again(some.to_vec(), KeepMode::Nothing, &stop, |again| {
                if again.is_changed() {
                    found.files += 1;
                    if found.examples.len() < Bystanders::EXAMPLES {
                        found.examples.push(again.fate.path);
                    }
                }
                Ok::<(), Trouble>(())
            })?;
            if found.files > 0 {
                break;
            }
        }
        found.is_more = tried < sources.len();
        Ok(found)
    }
}

/// Whether a reading differs from one before in nothing but runs that asked there.
fn touches_what_asks_alone(before: &Reading, now: &Reading) -> bool {
    let all_ask = before.runs.iter().all(Run::in_question)
        && !before.remarks.iter().any(|remark| remark.code == code::LEFT_OUT);
    let alike = |(before, now): (&Run, &Run)| before.in_question() || before == now;
    all_ask || before.runs.len() == now.runs.len() && before.runs.iter().zip(&now.runs).all(alike)
}

fn is_among(all: &Mutex<HashSet<SourceKey>>, source: SourceKey) -> bool {
    all.lock()
        .unwrap_or_else(PoisonError::into_inner)
        .contains(&source)
}

/// Whether a source may rest on an answer. One whose place a newer version has taken is read again by nobody.
#[must_use]
pub fn may_rest_on(source: &SourceView, answer: &Answer) -> bool {
    static NONE: Family = Family {
        writing: String::new(),
        keys: Vec::new(),
    };
    let family = source.record.family.as_ref().unwrap_or(&NONE);
    source.stands_at.is_some() && answer.is_about(&source.record.digest, family)
}

/// Those of the answers that wait, and the line about every file that stands for those of which nothing is known, that some source which
/// counts holds back. The sources are looked at one after the other.
pub(super) fn held_back(
    archive: &Archive,
    waiting: &Unapplied,
    holds: &dyn Fn(&SourceView, &Answer, bool) -> bool,
) -> Result<Vec<Answer>, Trouble> {
    let mut lines: Vec<Answer> = waiting.given.iter().chain(&waiting.taken).cloned().collect();
    lines.extend(waiting.is_unknown.then(Unapplied::everything));
    let held = RefCell::new(vec![false; lines.len()]);
    archive.sources_that(&|source| {
        for (number, (held, line)) in held.borrow_mut().iter_mut().zip(&lines).enumerate() {
            let is_given = number < waiting.given.len();
            *held = *held || may_rest_on(source, line) && holds(source, line, is_given);
        }
        false
    })?;
    let held = held.into_inner();
    let all = lines.into_iter().zip(held);
    Ok(all.filter_map(|(line, held)| held.then_some(line)).collect())
}

/// What counts and was not read now, and which answers wait for it.
struct UnreadSources<'a> {
    /// What files may rest on: what was in force before, and what was taken back.
    rivals: Vec<&'a Answer>,
    waiting: &'a Unapplied,
    taken_up: &'a BTreeSet<String>,
    lost: &'a HashSet<SourceKey>,
}

impl UnreadSources<'_> {
    /// Whether a source that an answer is about, and that was not read with it, holds it back.
    fn holds_back(&self, source: &SourceView, answer: &Answer, is_given: bool) -> bool {
        match self.lost.contains(&source.key()) {
            // It rests on nothing that this one says otherwise, so that no number of it is wrong by it.
            true => !is_given || self.rests_on_rival(source, answer),
            // The caller had all read that it may change, but what did not ask.
            false => !self.is_named(answer) || is_given && self.may_be_touched(source, answer),
        }
    }

    fn is_named(&self, answer: &Answer) -> bool {
        !answer.id.is_empty() && self.taken_up.contains(&answer.id)
    }

    /// The answers that were given or taken up now.
    fn named(&self) -> Vec<&Answer> {
        let given = self.waiting.given.iter();
        given.filter(|line| self.is_named(line)).collect()
    }

    /// Whether a source did not ask and may be changed by an answer that was given or taken up now.
    fn is_bystander(&self, source: &SourceView, answer: &Answer) -> bool {
        !self.lost.contains(&source.key())
            && may_rest_on(source, answer)
            && self.may_be_touched(source, answer)
    }

    /// Whether an answer may change a source that it is about and that did not ask.
    fn may_be_touched(&self, source: &SourceView, answer: &Answer) -> bool {
        // What was in no doubt without answers has no family, and none changes it.
        source.record.family.is_some()
            && (source.record.verdict != Verdict::Read || self.rests_on_rival(source, answer))
    }

    /// Whether a source may rest on another answer or word that says otherwise. A closer one goes on to weigh more.
    fn rests_on_rival(&self, source: &SourceView, answer: &Answer) -> bool {
        self.rivals.iter().any(|line| {
            line.closeness() <= answer.closeness() && line.contends_with(answer) && may_rest_on(source, line)
        })
    }
}
