//! Which answers are in force when files were read with them, and what waits for those that were not.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashSet};
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;

use curvary_archive::{Answer, Archive, SourceKey, SourceView, StoredAnswers, Unapplied};
use curvary_record::{Family, Verdict};

use super::Filing;
use crate::again::KeepMode;
use crate::trouble::Trouble;

/// Files that an answer is about, that did not ask, and that would be read otherwise by it. They stay as they are until somebody has all
/// files read again.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Bystanders {
    /// How many.
    pub files: u64,
    /// The paths of the first few.
    pub examples: Vec<String>,
}

impl Bystanders {
    const EXAMPLES: usize = 3;
}

impl Filing<'_> {
    /// Says which answers are in force, when all is committed that was read with them.
    pub(super) fn say_what_is_in_force(&self) -> Result<Bystanders, Trouble> {
        let archive = Archive::open(self.archive.root())?;
        let lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let mut waiting = self.waiting.clone();
        if let Some(superseded) = self.superseded.get() {
            self.wait_for_returned(&archive, superseded, &mut waiting)?;
        }
        let rest = UnreadSources {
            answers: &self.answers,
            waiting: &waiting,
            taken_up: &self.taken_up,
            lost: &lost,
        };
        let named = rest.named();
        let bystanders = match named.is_empty() {
            true => Vec::new(),
            false => archive.sources_that(&|source| {
                !self.is_read(source) && named.iter().any(|line| rest.is_bystander(source, line))
            })?,
        };
        let bystanders = self.read_bystanders(bystanders)?;
        let is_left =
            |source: &SourceView, line: &Answer| !self.is_read(source) && rest.holds_back(source, line);
        let held = held_back(&archive, &waiting, &is_left)?;
        self.lock()
            .applied(&self.answers, &waiting, &|answer| !held.contains(answer))?;
        Ok(bystanders)
    }

    /// Whether a source was read with the answers.
    fn is_read(&self, source: &SourceView) -> bool {
        let read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        read.contains(&source.key())
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
            if superseded.contains(&source.key()) && !self.is_read(source) {
                let lines = (0..).zip(&given).filter(|(_, line)| may_rest_on(source, line));
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
        self.read_again(sources, KeepMode::Nothing, &stop, |again| {
            if again.is_changed() {
                found.files += 1;
                if found.examples.len() < Bystanders::EXAMPLES {
                    found.examples.push(again.fate.path);
                }
            }
            Ok::<(), Trouble>(())
        })?;
        Ok(found)
    }
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
    holds: &dyn Fn(&SourceView, &Answer) -> bool,
) -> Result<Vec<Answer>, Trouble> {
    let mut lines: Vec<Answer> = waiting.given.iter().chain(&waiting.taken).cloned().collect();
    lines.extend(waiting.is_unknown.then(Unapplied::everything));
    let held = RefCell::new(vec![false; lines.len()]);
    archive.sources_that(&|source| {
        for (held, line) in held.borrow_mut().iter_mut().zip(&lines) {
            *held = *held || may_rest_on(source, line) && holds(source, line);
        }
        false
    })?;
    let held = held.into_inner();
    let all = lines.into_iter().zip(held);
    Ok(all.filter_map(|(line, held)| held.then_some(line)).collect())
}

/// What counts and was not read now, and which answers wait for it.
struct UnreadSources<'a> {
    answers: &'a StoredAnswers,
    waiting: &'a Unapplied,
    taken_up: &'a BTreeSet<String>,
    lost: &'a HashSet<SourceKey>,
}

impl UnreadSources<'_> {
    /// Whether a source that an answer is about, and that was not read with it, holds it back.
    fn holds_back(&self, source: &SourceView, answer: &Answer) -> bool {
        let is_given = self.waiting.given.contains(answer);
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
        let in_force = |line: &&Answer| !self.waiting.given.contains(line);
        let before = self.answers.holding().filter(in_force);
        before.chain(&self.waiting.taken).any(|line| {
            line.closeness() <= answer.closeness() && line.contends_with(answer) && may_rest_on(source, line)
        })
    }
}
