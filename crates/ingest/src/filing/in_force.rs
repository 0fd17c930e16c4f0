//! Which answers are in force when files were read with them, and what waits for those that were not.

use std::collections::{BTreeSet, HashSet};
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;

use curvary_archive::{Answer, Archive, SourceView, StoredAnswers, Unapplied};
use curvary_record::{Digest, Family, Verdict};

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
        let mut unread = standing(&Archive::open(self.archive.root())?)?;
        let lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let mut waiting = self.waiting.clone();
        self.leave_unread(&mut unread);
        if let Some(superseded) = self.superseded.get() {
            wait_for_returned(&mut waiting, &self.answers, superseded, &unread);
        }
        let mut rest = UnreadSources {
            answers: &self.answers,
            waiting: &waiting,
            taken_up: &self.taken_up,
            lost: &lost,
            unread,
        };
        let bystanders = self.read_bystanders(rest.bystanders())?;
        self.leave_unread(&mut rest.unread);
        self.lock()
            .applied(&self.answers, &waiting, &|answer| !rest.hold_back(answer))?;
        Ok(bystanders)
    }

    /// Leaves those of some sources that were not read with the answers.
    fn leave_unread(&self, sources: &mut Vec<SourceView>) {
        let read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        sources.retain(|source| !read.contains(&source.record.digest));
    }

    /// Reads files that did not ask and files nothing of it: an answer touches nothing that was in no doubt before. It waits where one would
    /// be read otherwise by it, so that this is told before it is done.
    fn read_bystanders(&self, sources: Vec<SourceView>) -> Result<Bystanders, Trouble> {
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

/// The sources that count.
pub(super) fn standing(archive: &Archive) -> Result<Vec<SourceView>, Trouble> {
    let mut sources = archive.sources()?;
    sources.retain(|source| source.stands_at.is_some());
    Ok(sources)
}

/// Lets answers wait for versions that count again. Nobody read them again while newer ones had their places, so that they may rest on
/// any answer that there was.
fn wait_for_returned(
    waiting: &mut Unapplied,
    answers: &StoredAnswers,
    superseded: &HashSet<Digest>,
    unread: &[SourceView],
) {
    let is_returned = |source: &&SourceView| superseded.contains(&source.record.digest);
    let returned: Vec<&SourceView> = unread.iter().filter(is_returned).collect();
    let concerned = |line: &&Answer| returned.iter().any(|source| may_rest_on(source, line));
    let holding: Vec<&Answer> = answers.holding().collect();
    let given = answers.lines().iter().filter(|line| line.undo.is_none());
    for line in given.filter(concerned) {
        let waits = if holding.contains(&line) {
            &mut waiting.given
        } else {
            &mut waiting.taken
        };
        if !waits.contains(line) {
            waits.push(line.clone());
        }
    }
}

/// What counts and was not read now, and which answers wait for it.
struct UnreadSources<'a> {
    answers: &'a StoredAnswers,
    waiting: &'a Unapplied,
    taken_up: &'a BTreeSet<String>,
    lost: &'a HashSet<Digest>,
    unread: Vec<SourceView>,
}

impl UnreadSources<'_> {
    /// Whether an answer waits for one of them.
    fn hold_back(&self, answer: &Answer) -> bool {
        let is_given = self.waiting.given.contains(answer);
        let is_named = !answer.id.is_empty() && self.taken_up.contains(&answer.id);
        self.unread
            .iter()
            .filter(|source| may_rest_on(source, answer))
            .any(|source| match self.lost.contains(&source.record.digest) {
                // It rests on nothing that this one says otherwise, so that no number of it is wrong by it.
                true => !is_given || self.rests_on_rival(source, answer),
                // The caller had all read that it may change, but what did not ask.
                false => !is_named || is_given && self.may_be_touched(source, answer),
            })
    }

    /// Those that did not ask and may be changed by an answer that was given or taken up now.
    fn bystanders(&self) -> Vec<SourceView> {
        let is_named = |line: &&Answer| !line.id.is_empty() && self.taken_up.contains(&line.id);
        let named: Vec<&Answer> = self.waiting.given.iter().filter(is_named).collect();
        let concerned = |source: &&SourceView| {
            let is_about = |line: &&Answer| may_rest_on(source, line) && self.may_be_touched(source, line);
            !self.lost.contains(&source.record.digest) && named.iter().any(is_about)
        };
        self.unread.iter().filter(concerned).cloned().collect()
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
