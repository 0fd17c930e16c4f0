//! Originals read again, and what changes by it.

use std::collections::BTreeSet;
use std::sync::atomic::AtomicBool;

use curvary_archive::{Addition, Archive, Moved, PreparedSources, Preparer, SourceKey, SourceView};
use curvary_formats::Assumptions;
use curvary_record::{Code, Column, Diagnostic, Digest, Outcome, Run, RunId, Verdict};

use crate::desk::FileReading;
use crate::file_report::FileReport;
use crate::filing::{Filing, Pace};
use crate::flow::{Feed, flow, threads};
use crate::newer;
use crate::trouble::Trouble;

/// What reading a source again gave.
#[derive(Clone, Debug)]
pub struct RereadSource {
    /// What became of it now.
    pub fate: FileReport,
    /// How its reading went before.
    pub before: Verdict,
    /// What differs, in a few words each, every kind once; empty when all is as it was.
    pub changes: BTreeSet<&'static str>,
}

impl RereadSource {
    /// Whether anything differs.
    #[must_use]
    pub fn is_changed(&self) -> bool {
        self.changes.iter().any(|change| *change != LOST)
    }

    /// Whether its original is lost, so that it could not be read.
    #[must_use]
    pub fn is_lost(&self) -> bool {
        self.changes.contains(LOST)
    }
}

/// What is told of a source whose original is lost: it stays as it was read before.
pub const LOST: &str = "lost original";

/// Whether what changed is filed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeepMode {
    /// It is only told.
    Nothing,
    /// It takes the place of what was read before.
    Changes,
}

/// A source that was read again, and what is to be filed of it.
type RereadOne = (RereadSource, Option<ChangedSource>);

/// What is to be filed of a source that is read otherwise now.
struct ChangedSource {
    addition: Addition,
    moved: Vec<Moved>,
}

/// What is filed of sources that were read again together.
struct PendingFiling {
    prepared: PreparedSources,
    moved: Vec<Moved>,
    /// What the exports state about their own results.
    reported: Vec<Outcome>,
}

/// Sources that were read again together, in their order.
#[derive(Default)]
struct RereadBatch {
    sources: Vec<(RereadSource, SourceKey)>,
    /// What is filed of them, where any changed.
    ready: Option<PendingFiling>,
    /// Why the work cannot go on behind them.
    trouble: Option<Trouble>,
}

/// What a source counts for beside its bytes: what is made ready of one takes some kilobytes, however short it is.
const LEAST: u64 = 8 << 10;

impl Filing<'_> {
    /// Reads sources of the archive again, and hands over what changes, in their order. What is superseded is left alone.
    ///
    /// # Errors
    /// When an original or record is damaged, the archive cannot be written, or the first that `take` gives.
    pub fn read_again<E: From<Trouble>>(
        &self,
        sources: Vec<SourceKey>,
        keeping: KeepMode,
        stop: &AtomicBool,
        mut take: impl FnMut(RereadSource) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut pace = Pace::new(self.limits().commit_again);
        flow(
            threads(),
            self.limits(),
            stop,
            |feed| self.feed_again(feed, sources),
            |batch: Vec<Result<SourceView, Trouble>>| self.some_again(batch, keeping),
            |batch: RereadBatch| {
                for (again, key) in &batch.sources {
                    if again.is_lost() {
                        self.note_lost(*key);
                    } else if keeping == KeepMode::Changes || !again.is_changed() {
                        // What is only told stays as it was read before.
                        self.note_read([*key]);
                    }
                }
                if let Some(ready) = batch.ready {
                    self.append(ready.prepared, &ready.moved, ready.reported, &mut pace)?;
                }
                batch.sources.into_iter().try_for_each(|(again, _)| take(again))?;
                batch.trouble.map_or(Ok(()), |trouble| Err(trouble.into()))
            },
        )
    }

    /// Sends neighbours together: their records are packed together. What is known of each is looked up when it is its turn.
    fn feed_again(
        &self,
        feed: &mut Feed<'_, Vec<Result<SourceView, Trouble>>, RereadBatch>,
        sources: Vec<SourceKey>,
    ) {
        let (mut together, mut weight) = (Vec::new(), 0);
        for key in sources {
            let source = match self.archive().source_view(key) {
                Ok(Some(source)) if source.stands_at.is_some() => Ok(source),
                Ok(_) => continue,
                Err(error) => Err(Trouble::from(error)),
            };
            weight += LEAST + source.as_ref().map_or(0, |source| source.record.bytes);
            together.push(source);
            let is_full = weight >= Preparer::BATCH_BYTES as u64;
            if is_full && !feed.put(std::mem::take(&mut together), std::mem::take(&mut weight)) {
                return;
            }
        }
        if !together.is_empty() {
            feed.put(together, weight);
        }
    }

    /// Reads neighbours again, up to the first that cannot be.
    fn some_again(&self, sources: Vec<Result<SourceView, Trouble>>, keeping: KeepMode) -> RereadBatch {
        let mut batch = RereadBatch::default();
        let mut additions = Vec::new();
        let mut moved = Vec::new();
        let mut reported = Vec::new();
        for source in sources {
            let done = source.and_then(|source| Ok((source.key(), self.one_again(&source, keeping)?)));
            let (key, (again, changed)) = match done {
                Ok(done) => done,
                Err(trouble) => {
                    batch.trouble = Some(trouble);
                    break;
                }
            };
            batch.sources.push((again, key));
            if let Some(changed) = changed {
                reported.extend(changed.addition.runs.iter().flat_map(|run| self.reported(run)));
                additions.push(changed.addition);
                moved.extend(changed.moved);
            }
        }
        if additions.is_empty() {
            return batch;
        }
        match self.preparer().prepare(additions) {
            Ok(prepared) => {
                batch.ready = Some(PendingFiling {
                    prepared,
                    moved,
                    reported,
                });
            }
            // None of it is filed, and so none of it is told.
            Err(error) => {
                batch = RereadBatch {
                    trouble: Some(error.into()),
                    ..RereadBatch::default()
                };
            }
        }
        batch
    }

    fn one_again(&self, source: &SourceView, keeping: KeepMode) -> Result<RereadOne, Trouble> {
        let archive = self.archive();
        let digest = &source.record.digest;
        let path = source.stands_at.clone().unwrap_or_default();
        let bytes = match archive.original(digest) {
            Ok(bytes) => bytes,
            // One that is lost is no reason to leave the others as they are.
            Err(
                error @ (curvary_archive::Error::NoOriginal { .. } | curvary_archive::Error::Damaged { .. }),
            ) => {
                let why = Diagnostic::error(Code::new("original-lost"), error.to_string())
                    .help("`curvary verify` names every original that is lost; add the same file again");
                let again = RereadSource {
                    changes: BTreeSet::from([LOST]),
                    before: source.record.verdict,
                    fate: FileReport::failed(path, why),
                };
                return Ok((again, None));
            }
            Err(error) => return Err(error.into()),
        };
        let noted = noted(archive, digest)?;
        let desk = self.desk();
        let state = self.state_of_kept(source.key(), None)?;
        let finished = desk.read_source_as(desk.source_settling(&path, bytes.into(), &noted), state);
        let mut fate = FileReport::of(&finished);
        let before = runs_before(archive, digest, source.record.runs)?;
        let rereading = newer::rereading(archive, digest, &finished.reading.runs)?;
        fate.inherited = rereading.renamed;
        fate.left_behind = rereading.left_behind;
        let again = RereadSource {
            changes: changes(source, &before, &finished),
            before: source.record.verdict,
            fate,
        };
        if keeping == KeepMode::Nothing || !again.is_changed() {
            return Ok((again, None));
        }
        let addition = Addition {
            path,
            digest: digest.clone(),
            stat: None,
            verdict: again.fate.verdict,
            reader: again.fate.reader.clone(),
            remarks: finished.reading.remarks,
            family: finished.family,
            runs: finished.reading.runs,
            bytes: finished.source.into_bytes(),
            again: true,
        };
        let changed = ChangedSource {
            addition,
            moved: rereading.moved,
        };
        Ok((again, Some(changed)))
    }
}

/// What was settled about a file by notes.
pub(crate) fn noted(archive: &Archive, digest: &Digest) -> Result<Assumptions, Trouble> {
    let mut noted = Assumptions::none();
    for answer in archive.assumed(digest)? {
        // What was noted by an older program may be no answer any more.
        let _ = noted.add(&answer);
    }
    Ok(noted.precise())
}

pub(crate) fn runs_before(archive: &Archive, digest: &Digest, count: u32) -> Result<Vec<Run>, Trouble> {
    (0..count as usize)
        .map(|ordinal| Ok(archive.stored(&RunId::new(digest, ordinal))?))
        .collect()
}

/// What differs between what is kept of a source and its reading today.
pub(crate) fn changes(source: &SourceView, before: &[Run], now: &FileReading) -> BTreeSet<&'static str> {
    let mut changes = BTreeSet::new();
    let runs = &now.reading.runs;
    let mut note = |differs: bool, what: &'static str| {
        if differs {
            changes.insert(what);
        }
    };
    note(source.record.verdict != now.verdict(), "verdict");
    note(
        source.record.reader != now.card.as_ref().map(|card| card.id.clone()),
        "reader",
    );
    note(
        now.family.is_some() && source.record.family != now.family,
        "family",
    );
    note(before.len() != runs.len(), "number of runs");
    note(source.record.remarks != now.reading.remarks, "remarks");
    for (old, new) in before.iter().zip(runs) {
        note(old.technique != new.technique, "technique");
        note(old.fields != new.fields, "fields");
        note(old.questions != new.questions, "questions");
        note(old.remarks != new.remarks, "remarks");
        note(old.traces.len() != new.traces.len(), "number of traces");
        for (old, new) in old.traces.iter().zip(&new.traces) {
            let axis = |a: &Column, b: &Column| a.quantity != b.quantity || a.unit != b.unit;
            note(axis(&old.x, &new.x) || axis(&old.y, &new.y), "axes");
            let values = |a: &Column, b: &Column| a.values != b.values;
            note(values(&old.x, &new.x) || values(&old.y, &new.y), "values");
            note(old.held != new.held, "held coordinates");
            note(old.label != new.label || old.row_names != new.row_names, "labels");
            note(old.fields != new.fields, "fields");
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use std::fs;

    use curvary_archive::Answer;

    use super::*;
    use crate::desk::{Ingest, IngestOptions};
    use crate::limits::IngestLimits;
    use crate::walk::Root;

    /// What waits in memory for a commit is so many files at most, however many an answer is about; and what was committed of an answer that
    /// was cut short is not read again for nothing.
    #[test]
    fn an_answer_about_many_files_is_committed_as_it_goes() {
        const FILES: u64 = 100;
        let folder = tempfile::tempdir().expect("a folder");
        let data = folder.path().join("in");
        fs::create_dir_all(&data).expect("a folder");
        for file in 0..FILES {
            let rows: String = (0..8)
                .map(|row| format!("{},0.{}\n", row * 7, 1_000 + file * 8 + row))
                .collect();
            fs::write(data.join(format!("{file:03}.csv")), format!("t,A\n{rows}")).expect("a file");
        }
        let root = folder.path().join("lab");
        let archive = Archive::create(&root, "lab").expect("an archive");
        let limits = IngestLimits {
            commit_again: 8,
            // One batch after the other.
            under_way: 4 * LEAST,
            commit_time: std::time::Duration::from_secs(3600),
            ..IngestLimits::USUAL
        };
        let none = |_: &Run| Vec::new();
        let stop = AtomicBool::new(false);
        let mut desk = Ingest::new(IngestOptions::default(), Some(&root)).expect("a desk");
        let filing = Filing::begin(&archive, &mut desk, limits, "a test", &none).expect("a lock");
        let roots = Root::all(&[data]);
        filing
            .add(&roots, &stop, false, |_, _| (), |_| Ok::<(), Trouble>(()))
            .expect("they are added");
        filing.finish().expect("it ends");
        let before = Archive::open(&root).expect("an archive");
        let asked = before.open_questions(1).expect("a question");
        assert_eq!((asked.len(), asked[0].sources.len() as u64), (1, FILES));
        let mut filing = Filing::begin(&before, &mut desk, limits, "a test", &none).expect("a lock");
        let line = Answer {
            answer: "x=time:s".to_owned(),
            family: Some(asked[0].family.clone()),
            ..Answer::default()
        };
        filing.answer(vec![line]).expect("it is kept");
        let mut taken = 0;
        let cut = filing.read_again(asked[0].sources.clone(), KeepMode::Changes, &stop, |again| {
            assert!(again.is_changed());
            taken += 1;
            // A command that is cut short in the middle.
            if taken == FILES / 2 {
                Err(Trouble::Order(Box::new(Diagnostic::error(
                    Code::new("cut"),
                    "cut",
                ))))
            } else {
                Ok(())
            }
        });
        assert!(cut.is_err());
        drop(filing);
        let half = Archive::open(&root).expect("an archive");
        let left = half.open_questions(1).expect("a question");
        let left = left.first().map_or(0, |asked| asked.sources.len() as u64);
        // At most a batch and what a commit waits for are lost of the half that was read.
        let batch = Preparer::BATCH_BYTES as u64 / LEAST;
        assert!(
            half.commit() > before.commit(),
            "nothing was committed on the way"
        );
        assert!(
            left < FILES && left <= FILES / 2 + 8 + batch,
            "{left} of {FILES} ask still"
        );
    }
}
