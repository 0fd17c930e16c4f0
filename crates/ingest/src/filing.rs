//! Sources into an archive: read on all cores, filed in order.

mod in_force;

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::fs;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

use curvary_archive::{
    Addition, Answer, Archive, Heir, Holder, Moved, PathState, PreparedSources, Preparer, SourceByRuns,
    SourceKey, Stat, StoredAnswers, Unapplied, Writer,
};
use curvary_formats::{Intake, Reading, Source};
use curvary_record::{Diagnostic, Digest, Fields, Outcome, Run, Verdict};
use rayon::prelude::*;

use self::in_force::held_back;
pub use self::in_force::{Bystanders, may_rest_on};
use crate::before::ReadingLedger;
use crate::desk::{FileReading, Ingest, ReadInTurn, ReadingState};
use crate::file_report::FileReport;
use crate::flow::{Feed, flow, threads};
use crate::limits::IngestLimits;
use crate::names::{FileNames, belongs_to};
use crate::newer::{self, Inheritance};
use crate::piece::{FirstLook, Piece, first_look, pieces};
use crate::trouble::Trouble;
use crate::walk::{FoundFile, LeaveOut, Root, WalkEntry, is_archive, is_beside_originals, walk};

/// What an export states about its own results, found in one of its runs.
type ReportedResults<'a> = dyn Fn(&Run) -> Vec<Outcome> + Sync + 'a;

/// So many batches are under way at most: small files are in memory from the first look on, and with some
/// [`Preparer::BATCH_BYTES`] each these are 8 MB; two for each of a dozen cores, and no core waits.
const BATCHES: u64 = 32;

/// An archive that is being filled, with its lock held. Files are read with the answers that stand there from the moment on at which the
/// lock was taken, and those are in force when all is read that they are about.
pub struct Filing<'a> {
    /// As it was when the lock was taken.
    archive: Archive,
    desk: &'a mut Ingest,
    /// The answers that the desk reads with.
    answers: StoredAnswers,
    /// Those of them that files are still to be read again for.
    waiting: Unapplied,
    /// The names of those for which the caller has all files read that they may change.
    taken_up: BTreeSet<String>,
    /// Whether files are read again to bring into force what waits.
    is_rereading: bool,
    /// What was read with the answers and kept, as long as some wait.
    read: Mutex<HashSet<SourceKey>>,
    /// What was read without those that wait.
    read_as_before: Mutex<HashSet<SourceKey>>,
    /// What was to be read with them and is lost.
    lost: Mutex<HashSet<SourceKey>>,
    /// The sources whose place newer versions had taken, from when one of them may count again.
    superseded: OnceLock<HashSet<SourceKey>>,
    limits: IngestLimits,
    writer: Mutex<Writer>,
    preparer: Preparer,
    reported: &'a ReportedResults<'a>,
    beside: bool,
}

/// What became of one file, and what was seen while its text was at hand.
pub struct FiledFile<T> {
    /// What became of it.
    pub fate: FileReport,
    /// What was seen; nothing when the file was not read now.
    pub seen: Option<T>,
}

/// A source on its way into the archive.
struct Parcel {
    piece: Piece,
    stat: Option<Stat>,
    /// Whether the archive knows the path, and the file may only have been touched.
    perhaps: bool,
}

/// What becomes of sources that stay together.
struct Batch<T> {
    handed: Vec<FiledFile<T>>,
    prepared: Vec<Result<PreparedSources, curvary_archive::Error>>,
    /// Files that were only touched: where they are, and their bytes, which the archive has.
    touched: Vec<(String, Digest, Option<Stat>)>,
    /// What the exports state about their own results.
    reported: Vec<Outcome>,
    /// Runs of sources that are read again, and what they are now.
    moved: Vec<Moved>,
    /// Runs of newer versions that take over what was said of earlier ones, version by version.
    heirs: Vec<Vec<Heir>>,
    /// Files that are there and could not be kept, and why.
    missed: Vec<(String, Diagnostic)>,
    /// Why the work cannot go on.
    trouble: Option<Trouble>,
}

impl<T> Batch<T> {
    fn unchanged(paths: Vec<String>) -> Self {
        let handed = |path| FiledFile {
            fate: FileReport::unchanged(path),
            seen: None,
        };
        Self {
            handed: paths.into_iter().map(handed).collect(),
            prepared: Vec::new(),
            touched: Vec::new(),
            reported: Vec::new(),
            moved: Vec::new(),
            heirs: Vec::new(),
            missed: Vec::new(),
            trouble: None,
        }
    }

    /// Takes a source that was read run by run.
    fn take_in_turn(
        &mut self,
        done: Result<InTurn<'_>, curvary_archive::Error>,
        look: &impl Fn(&FileReading, &FileReport) -> T,
    ) {
        let InTurn {
            finished,
            fate,
            reported,
            ready,
            mut addition,
        } = match done {
            Ok(done) => done,
            Err(error) => return self.prepared.push(Err(error)),
        };
        let seen = Some(look(&finished, &fate));
        self.handed.push(FiledFile { fate, seen });
        self.reported.extend(reported);
        addition.bytes = finished.source.into_bytes();
        self.prepared.push(ready.finish(addition));
    }
}

/// A source that was read run by run, each of which is ready.
struct InTurn<'p> {
    /// What was read; of its runs only the questions of those that ask some.
    finished: FileReading,
    fate: FileReport,
    reported: Vec<Outcome>,
    ready: SourceByRuns<'p>,
    /// The source itself, still without its bytes.
    addition: Addition,
}

impl<'a> Filing<'a> {
    /// Takes the archive's lock in the name of a command, and gives the desk the answers that stand there now. `reported` finds what
    /// exports state about their own results.
    ///
    /// # Errors
    /// When the archive cannot be written, or another program writes it.
    pub fn begin(
        archive: &Archive,
        desk: &'a mut Ingest,
        limits: IngestLimits,
        command: &str,
        reported: &'a ReportedResults<'a>,
    ) -> Result<Self, Trouble> {
        let writer = archive.write(command)?;
        let answers = writer.answers()?;
        let mut filing = Self {
            // What was committed since it was opened is to be read again like all else.
            archive: Archive::open(archive.root())?,
            desk,
            waiting: answers.unapplied(),
            answers,
            taken_up: BTreeSet::new(),
            is_rereading: false,
            read: Mutex::default(),
            read_as_before: Mutex::default(),
            lost: Mutex::default(),
            superseded: OnceLock::new(),
            limits,
            preparer: writer.preparer(),
            writer: Mutex::new(writer),
            reported,
            beside: false,
        };
        filing.hand_answers();
        Ok(filing)
    }

    /// Lets earlier versions of the files that are met count beside the newer ones: two files that had one path, such as
    /// those of two memory sticks, are no versions of each other.
    #[must_use]
    pub fn beside(mut self, beside: bool) -> Self {
        self.beside = beside;
        self
    }

    /// Whose lock was taken over, because its holder is gone.
    #[must_use]
    pub fn taken_over(&self) -> Option<Holder> {
        self.lock().taken_over().cloned()
    }

    /// Tells what is left out when the folders are walked: archives, this one among them, and what bundles hold beside the
    /// originals.
    pub fn leave_out(&self) -> impl Fn(&Path, bool) -> bool + Clone + Send + Sync + 'static {
        let own = Root::new(self.archive.root()).real;
        move |path, folder| {
            belongs_to(path, &own)
                || (folder && (path == own || is_archive(path)))
                || is_beside_originals(path)
        }
    }

    /// Reads everything below the given paths that is new, keeps it, and hands over what became of each file, in order.
    ///
    /// `look` sees each source that is read while its text is at hand, on any thread. With `complete`, fates of known
    /// files tell how these were read before. What is done counts from time to time, and at the latest after
    /// [`finish`](Self::finish).
    ///
    /// # Errors
    /// When the archive cannot be written, or the first that `take` gives.
    pub fn add<T: Send, E: From<Trouble>>(
        &self,
        roots: &[Root],
        stop: &AtomicBool,
        complete: bool,
        look: impl Fn(&FileReading, &FileReport) -> T + Sync,
        mut take: impl FnMut(FiledFile<T>) -> Result<(), E>,
    ) -> Result<(), E> {
        self.begin_with_files_to_come()?;
        let names = FileNames::new(self.archive.root(), roots);
        let leave_out = self.leave_out();
        let mut ledger = complete.then(|| ReadingLedger::new(&self.archive));
        let mut pace = Pace::new(self.limits.commit_files);
        let limits = IngestLimits {
            things: self.limits.things.min(BATCHES),
            ..self.limits
        };
        flow(
            threads(),
            &limits,
            stop,
            |feed| self.send(feed, roots, &leave_out, &names),
            |parcels: Vec<Parcel>| self.read(parcels, &look),
            |batch: Batch<T>| {
                for mut handed in self.file(batch, &mut pace)? {
                    if let Some(ledger) = &mut ledger {
                        ledger.complete(&mut handed.fate)?;
                    }
                    take(handed)?;
                }
                Ok(())
            },
        )
    }

    /// What people answered; the desk reads with those that hold.
    #[must_use]
    pub fn answers(&self) -> &StoredAnswers {
        &self.answers
    }

    /// Adds lines to the answers, and reads with those that hold then; gives their names. The caller is to have all files
    /// [read again](Self::read_again) that they may change.
    ///
    /// # Errors
    /// When the disk refuses; then none is added.
    pub fn answer(&mut self, new: Vec<Answer>) -> Result<Vec<String>, Trouble> {
        let undone: Vec<String> = new.iter().filter_map(|line| line.undo.clone()).collect();
        let writer = self.writer.get_mut().unwrap_or_else(PoisonError::into_inner);
        let names = writer.answer(&mut self.answers, new)?;
        self.waiting = self.answers.unapplied();
        self.take_up(names.iter().cloned().chain(undone));
        Ok(names)
    }

    /// Says that the caller has all files read again that the answers of these names may change.
    pub fn take_up(&mut self, names: impl IntoIterator<Item = String>) {
        self.taken_up.extend(names);
        self.hand_answers();
    }

    /// Has all files that are read again read with all answers that hold, also with those that wait: this is what a person asked for.
    pub fn bring_into_force(&mut self) {
        self.is_rereading = true;
        self.hand_answers();
    }

    /// Answers that no file of the archive rests on are in force: all that come are read with them, also when this is cut short.
    fn begin_with_files_to_come(&self) -> Result<(), Trouble> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let held = held_back(&self.archive, &self.waiting, &|_, _, _| true)?;
        Ok(self
            .lock()
            .applied(&self.answers, &self.waiting, &|answer| !held.contains(answer))?)
    }

    /// Makes everything count, says which answers are in force now, and gives the lock back. Gives the files that an answer is about,
    /// did not ask, and would be changed by it.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn finish(self) -> Result<Bystanders, Trouble> {
        self.lock().commit()?;
        let mut bystanders = Bystanders::default();
        if !self.waiting.is_empty() || self.superseded.get().is_some() {
            bystanders = self.say_what_is_in_force()?;
        }
        let writer = self.writer.into_inner().unwrap_or_else(PoisonError::into_inner);
        writer.finish()?;
        Ok(bystanders)
    }

    /// Notes which versions do not count, before what is filed may make one of them count again.
    fn expect_earlier_versions(&self) -> Result<(), Trouble> {
        if self.superseded.get().is_none() && !self.answers.lines().is_empty() {
            let superseded = self.archive.sources_that(&|source| source.stands_at.is_none())?;
            // Where two threads looked, they saw the same.
            let _ = self.superseded.set(superseded.into_iter().collect());
        }
        Ok(())
    }

    /// Says that sources were read with the answers, and that this is kept.
    pub(crate) fn note_read(&self, sources: impl IntoIterator<Item = SourceKey>) {
        if !self.waiting.is_empty() || self.superseded.get().is_some() {
            let as_before = self.read_as_before.lock().unwrap_or_else(PoisonError::into_inner);
            let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
            read.extend(sources.into_iter().filter(|source| !as_before.contains(source)));
        }
    }

    /// Says that a source was to be read with the answers, and is lost.
    pub(crate) fn note_lost(&self, source: SourceKey) {
        let mut lost = self.lost.lock().unwrap_or_else(PoisonError::into_inner);
        lost.insert(source);
    }

    /// The archive as it was when the lock was taken.
    #[must_use]
    pub fn archive(&self) -> &Archive {
        &self.archive
    }

    /// The desk that reads for it.
    #[must_use]
    pub fn desk(&self) -> &Ingest {
        self.desk
    }

    /// What an export states about its own results in one of its runs.
    pub(crate) fn reported(&self, run: &Run) -> Vec<Outcome> {
        (self.reported)(run)
    }

    pub(crate) fn limits(&self) -> &IngestLimits {
        &self.limits
    }

    pub(crate) fn preparer(&self) -> &Preparer {
        &self.preparer
    }

    /// Files what was read again.
    pub(crate) fn append(
        &self,
        prepared: PreparedSources,
        moved: &[Moved],
        reported: Vec<Outcome>,
        pace: &mut Pace,
    ) -> Result<(), Trouble> {
        let mut writer = self.lock();
        let files = prepared.count() as u64;
        writer.append_moved(prepared, moved)?;
        for outcome in reported {
            writer.put_outcome(outcome)?;
        }
        pace.step(files, &mut writer, &self.limits)
    }

    /// Adds a note, such as one that settles a question of one run.
    ///
    /// # Errors
    /// When there is no such run, or the disk refuses.
    pub fn note(&self, note: curvary_archive::Note) -> Result<(), Trouble> {
        Ok(self.lock().note(note)?)
    }

    fn lock(&self) -> MutexGuard<'_, Writer> {
        self.writer.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Files what was read.
    fn file<T>(&self, batch: Batch<T>, pace: &mut Pace) -> Result<Vec<FiledFile<T>>, Trouble> {
        if let Some(trouble) = batch.trouble {
            return Err(trouble);
        }
        let mut handed = batch.handed;
        let mut writer = self.lock();
        if !self.desk.has_orders() {
            mark_known(&mut handed, &writer);
        }
        let mut moved = batch.moved;
        for prepared in batch.prepared {
            let prepared = prepared?;
            let kept = writer.kept_of(&prepared);
            if kept.len() < prepared.count() {
                self.expect_earlier_versions()?;
            }
            self.note_read(kept);
            // What is read again stays together.
            writer.append_moved(prepared, &std::mem::take(&mut moved))?;
        }
        for outcome in batch.reported {
            writer.put_outcome(outcome)?;
        }
        for heirs in batch.heirs {
            writer.inherit(&heirs)?;
        }
        for (path, why) in batch.missed {
            writer.missed(&path, Some(why))?;
        }
        for (path, digest, stat) in batch.touched {
            if writer.stands(&path).as_ref() != Some(&digest) {
                self.expect_earlier_versions()?;
            }
            writer.met(&path, &digest, stat)?;
        }
        if self.beside {
            self.expect_earlier_versions()?;
            let paths = handed.iter().map(|one| one.fate.path.as_str());
            writer.keep_earlier(&paths.collect())?;
        }
        pace.step(handed.len() as u64, &mut writer, &self.limits)?;
        Ok(handed)
    }

    /// Walks the folders and sends what is not known to be unchanged, several sources together.
    fn send<T>(
        &self,
        feed: &mut Feed<'_, Vec<Parcel>, Batch<T>>,
        roots: &[Root],
        leave_out: &LeaveOut<'_>,
        names: &FileNames,
    ) {
        let mut together: Vec<Parcel> = Vec::new();
        let mut weight = 0;
        walk(roots, leave_out, &mut |met| {
            let mut unchanged = Vec::new();
            for Peek {
                met,
                path,
                stat,
                known,
                look,
            } in self.look(met, names)
            {
                if known == PathState::Unchanged {
                    unchanged.push(path);
                    continue;
                }
                // What is unchanged goes in its place among what is new.
                if !unchanged.is_empty() {
                    let batch = Batch::unchanged(std::mem::take(&mut unchanged));
                    if !(send_off(feed, &mut together, &mut weight) && feed.put_done(batch)) {
                        return false;
                    }
                }
                // What stood there was kept as a whole, so the newer version must take its place as a whole.
                let always = known == PathState::Perhaps;
                let sent = pieces(met, path, look, always, &self.limits, &mut |piece| {
                    weight += piece.weight;
                    together.push(Parcel {
                        piece,
                        stat,
                        perhaps: known == PathState::Perhaps,
                    });
                    weight < Preparer::BATCH_BYTES as u64 || send_off(feed, &mut together, &mut weight)
                });
                if !sent {
                    return false;
                }
            }
            unchanged.is_empty()
                || (send_off(feed, &mut together, &mut weight) && feed.put_done(Batch::unchanged(unchanged)))
        });
        send_off(feed, &mut together, &mut weight);
    }

    /// Looks at many files: what the archive knows of them, and which are containers. With orders none is unchanged.
    fn look(&self, met: Vec<(&Root, WalkEntry)>, names: &FileNames) -> Vec<Peek> {
        let again = self.desk.has_orders();
        let mut looked: Vec<Peek> = {
            let writer = self.lock();
            let one = |(root, met): (&Root, WalkEntry)| {
                let path = names.of(root, met.below());
                let stat = if let WalkEntry::File(FoundFile { stat, .. }) = &met {
                    Some(*stat)
                } else {
                    None
                };
                let known = match stat.map(|stat| writer.known(&path, &stat)) {
                    Some(PathState::Unchanged) if again => PathState::Perhaps,
                    Some(known) => known,
                    None => PathState::New,
                };
                Peek {
                    met,
                    path,
                    stat,
                    known,
                    look: FirstLook::default(),
                }
            };
            met.into_iter().map(one).collect()
        };
        looked
            .par_iter_mut()
            .with_min_len(64)
            .filter(|one| one.known != PathState::Unchanged)
            .for_each(|one| {
                one.look = first_look(&one.met, &self.limits);
                // The members of a container are no files of their own, and the system says nothing of them.
                if one.look.container {
                    one.stat = None;
                }
            });
        looked
    }

    /// Reads one source, the newer version of another where something else stood at its path.
    fn read_one(
        &self,
        path: &str,
        taken: Intake,
        before: Option<&Digest>,
        again: bool,
    ) -> Result<(FileReading, Inheritance), Trouble> {
        let own = SourceKey::of(&taken.digest);
        let state = match before {
            Some(before) => self.state_of_kept(SourceKey::of(before), None)?,
            None if again => self.state_of_kept(own, None)?,
            // What was lost and comes back; all others are new.
            None => self.state_of_kept(own, Some(&taken.bytes))?,
        };
        if state == ReadingState::Before {
            self.note_read_as_before(own);
        }
        let Some(before) = before else {
            let source = self.desk.source(path, taken);
            return Ok((self.desk.read_source_as(source, state), Inheritance::default()));
        };
        let finished = newer::read(self.desk, &self.archive, path, taken, before, state)?;
        let inheritance = newer::inheritance(&self.archive, before, &finished.reading.runs)?;
        Ok((finished, inheritance))
    }

    /// Reads sources and makes them ready for the archive.
    fn read<T>(&self, parcels: Vec<Parcel>, look: &impl Fn(&FileReading, &FileReport) -> T) -> Batch<T> {
        let mut batch = Batch::unchanged(Vec::new());
        let mut additions = Vec::with_capacity(parcels.len());
        let again = self.desk.has_orders();
        for Parcel { piece, stat, perhaps } in parcels {
            let Piece { path, content, .. } = piece;
            let place = content.place().map(Path::to_owned);
            let taken = match content.bytes(&path, &self.limits) {
                Ok(taken) => taken,
                Err(why) => {
                    if place.is_some_and(|place| fs::symlink_metadata(place).is_ok()) {
                        batch.missed.push((path.clone(), (*why).clone()));
                    }
                    batch.handed.push(FiledFile {
                        fate: FileReport::failed(path, *why),
                        seen: None,
                    });
                    continue;
                }
            };
            let digest = taken.digest.clone();
            if perhaps && !again && self.lock().has(&digest) {
                let replaces = self.lock().stands(&path).filter(|before| *before != digest);
                batch.handed.push(FiledFile {
                    fate: FileReport {
                        digest: Some(digest.clone()),
                        replaces,
                        ..FileReport::unchanged(path.clone())
                    },
                    seen: None,
                });
                batch.touched.push((path, digest, stat));
                continue;
            }
            let before = self.lock().stands(&path).filter(|before| *before != digest);
            let long = taken.bytes.len() as u64 > self.limits.whole;
            let read = if long && before.is_none() && !again {
                // It stays alone, behind what is ready.
                if !additions.is_empty() {
                    let ready = self.preparer.prepare(std::mem::take(&mut additions));
                    batch.prepared.push(ready);
                }
                match self.read_in_turn(self.desk.source(&path, taken), stat) {
                    Ok(done) => {
                        batch.take_in_turn(done, look);
                        continue;
                    }
                    Err(source) => Ok((self.desk.read_source(*source), Inheritance::default())),
                }
            } else {
                self.read_one(&path, taken, before.as_ref(), again)
            };
            let (finished, inheritance) = match read {
                Ok(done) => done,
                Err(trouble) => {
                    batch.trouble = Some(trouble);
                    break;
                }
            };
            let mut fate = FileReport::of(&finished);
            fate.replaces = before;
            if again && self.lock().has(&digest) {
                match newer::rereading(&self.archive, &digest, &finished.reading.runs) {
                    Ok(rereading) => {
                        batch.moved.extend(rereading.moved);
                        fate.left_behind = rereading.left_behind;
                    }
                    Err(trouble) => {
                        batch.trouble = Some(trouble);
                        break;
                    }
                }
            }
            fate.inherited = inheritance.heirs.len() as u64;
            fate.left_behind.extend(inheritance.left_behind);
            if !inheritance.heirs.is_empty() {
                batch.heirs.push(inheritance.heirs);
            }
            let seen = look(&finished, &fate);
            let bytes = finished.source.into_bytes();
            let Reading { runs, remarks, .. } = finished.reading;
            let (verdict, reader) = (fate.verdict, fate.reader.clone());
            let family = finished.family;
            batch.handed.push(FiledFile {
                fate,
                seen: Some(seen),
            });
            batch
                .reported
                .extend(runs.iter().flat_map(|run| (self.reported)(run)));
            additions.push(Addition {
                path,
                bytes,
                digest,
                stat,
                verdict,
                reader,
                remarks,
                family,
                runs,
                again,
            });
        }
        if !additions.is_empty() {
            batch.prepared.push(self.preparer.prepare(additions));
        }
        batch
    }

    /// Reads a long source run by run and makes each ready at once; the source itself where it must be read as a whole.
    fn read_in_turn(
        &self,
        source: Source,
        stat: Option<Stat>,
    ) -> Result<Result<InTurn<'_>, curvary_archive::Error>, Box<Source>> {
        let digest = source.digest().clone();
        let Ok(mut ready) = self.preparer.by_runs(source.path(), &digest) else {
            return Err(Box::new(source));
        };
        let (mut runs, mut points, mut of_runs, mut reported) = (0, 0, Vec::new(), Vec::new());
        let mut asking = Vec::new();
        let mut failed = None;
        let read = self.desk.read_each(&source, &mut |run, family| {
            runs += 1;
            points += run.points() as u64;
            of_runs.extend(run.remarks.iter().cloned());
            reported.extend((self.reported)(&run));
            if run.in_question() {
                // What is asked is all that is told of it later.
                asking.push(Run {
                    id: run.id.clone(),
                    source: run.source.clone(),
                    technique: run.technique.clone(),
                    because: Vec::new(),
                    fields: Fields::default(),
                    traces: Vec::new(),
                    questions: run.questions.clone(),
                    remarks: Vec::new(),
                });
            }
            ready.written_as(family.cloned());
            failed = ready.run(run).err();
            failed.is_none()
        });
        if let Some(error) = failed {
            return Ok(Err(error));
        }
        let Some(ReadInTurn {
            card,
            remarks,
            family,
        }) = read
        else {
            return Err(Box::new(source));
        };
        let reading = Reading {
            runs: asking,
            remarks,
            failed: false,
        };
        let finished = FileReading {
            source,
            card: Some(card),
            reading,
            family: family.clone(),
            met: Vec::new(),
        };
        let mut fate = FileReport::of(&finished);
        if finished.reading.runs.is_empty() {
            fate.verdict = Verdict::Read;
        }
        (fate.runs, fate.points) = (runs, Some(points));
        fate.remarks.extend(of_runs);
        let addition = Addition {
            path: finished.source.path().to_owned(),
            bytes: Vec::new(),
            digest,
            stat,
            verdict: fate.verdict,
            reader: fate.reader.clone(),
            remarks: finished.reading.remarks.clone(),
            family,
            runs: Vec::new(),
            again: false,
        };
        Ok(Ok(InTurn {
            finished,
            fate,
            reported,
            ready,
            addition,
        }))
    }
}

/// When to commit next.
pub(crate) struct Pace {
    /// Files since the last commit.
    files: u64,
    /// The end of the last commit.
    since: Instant,
    /// How long that commit took.
    took: Duration,
    /// Files after which it is time, however short the time was.
    most: u64,
}

impl Pace {
    /// A commit at the latest after so many files.
    pub(crate) fn new(most: u64) -> Self {
        Self {
            files: 0,
            since: Instant::now(),
            took: Duration::ZERO,
            most,
        }
    }

    /// Counts files that were filed, and commits when it is time.
    fn step(&mut self, files: u64, writer: &mut Writer, limits: &IngestLimits) -> Result<(), Trouble> {
        self.files += files;
        let due = writer.pending() >= limits.commit_bytes
            || self.files >= self.most
            || self.since.elapsed() >= limits.commit_time.max(self.took * 10);
        if due && writer.pending() > 0 {
            let begun = Instant::now();
            writer.commit()?;
            *self = Self {
                files: 0,
                since: Instant::now(),
                took: begun.elapsed(),
                most: self.most,
            };
        }
        Ok(())
    }
}

/// Marks what the archive has already, and under which other path. It is asked in the order of the files, so the answer
/// depends on no thread.
fn mark_known<T>(handed: &mut [FiledFile<T>], writer: &Writer) {
    let mut here: BTreeMap<Digest, String> = BTreeMap::new();
    for FiledFile { fate, .. } in handed {
        let Some(digest) = &fate.digest else {
            continue;
        };
        fate.known = writer.has(digest) || here.contains_key(digest);
        if !fate.known {
            here.insert(digest.clone(), fate.path.clone());
        } else if writer.stands(&fate.path).as_ref() != Some(digest) {
            let first = writer.first_path(digest).or_else(|| here.get(digest).cloned());
            fate.same_as = first.filter(|first| *first != fate.path);
        }
    }
}

fn send_off<T>(
    feed: &mut Feed<'_, Vec<Parcel>, Batch<T>>,
    together: &mut Vec<Parcel>,
    weight: &mut u64,
) -> bool {
    together.is_empty() || feed.put(std::mem::take(together), std::mem::take(weight))
}

/// What one look at a file told.
struct Peek {
    met: WalkEntry,
    path: String,
    stat: Option<Stat>,
    known: PathState,
    look: FirstLook,
}
