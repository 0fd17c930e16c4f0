//! The writer's side: prepared in parallel, appended in order, committed at once.
//!
//! A commit writes and syncs the new tails of the originals, the records and the notes, and then swaps the manifest by
//! one atomic rename. Until that rename nothing has happened; after it everything has. The index is brought up
//! afterwards: should that fail, the next writer does it from the records.

mod prepared;
mod said;

use std::collections::HashSet;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use curvary_record::stored::{MissedRecord, PathRecord, Record};
use curvary_record::{Diagnostic, Digest, Outcome};

pub use self::prepared::{Addition, PreparedSources, Preparer, SourceByRuns};
use self::prepared::{
    LineFrames, PackedFrame, PreparedSource, UnpackedRecords, pack_frames, put_line, replaced,
};
pub use self::said::Moved;
use crate::catalog::{Stat, path_hash};
use crate::content::Heir;
use crate::current::{self, Current};
use crate::digests::{SourceKey, digest_bytes};
use crate::disk::{Disk, RealDisk};
use crate::frames::{self, At};
use crate::holder::Holder;
use crate::index::schema;
use crate::indexer::Indexer;
use crate::lock::Lock;
use crate::manifest::{Manifest, original_names, records_name};
use crate::originals::tarred::{self, Packing};
use crate::originals::{self, OriginalLocation};
use crate::parts::{AppendFile, Parts};
use crate::unfinished::{Unfinished, restore};
use crate::{Answer, Error, Settings, StoredAnswers, Unapplied, debris, now};

/// What the archive knows of a path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PathState {
    /// The file is as it was; there is nothing to do.
    Unchanged,
    /// The path is known, but the file may have changed: read its bytes.
    Perhaps,
    /// The path was never met.
    New,
}

/// What an append did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AppendStats {
    /// Sources whose bytes are new.
    pub new: u64,
    /// Sources whose bytes the archive had already.
    pub had: u64,
    /// Files that have changed since they were met under the same path.
    pub changed: u64,
    /// Runs that were added or read again.
    pub runs: u64,
}

/// Lines that wait for a frame: paths of sources that were there already, and outcomes.
#[derive(Default)]
struct Loose {
    lines: Vec<u8>,
    ends: Vec<usize>,
    outcomes: Vec<(Outcome, Range<usize>)>,
}

/// The archive, open for writing, with its lock held. Dropping it without a [`commit`](Self::commit) leaves the archive
/// as it was last committed.
pub struct Writer {
    root: PathBuf,
    disk: Arc<dyn Disk>,
    manifest: Manifest,
    originals: Parts,
    records: Parts,
    notes: Option<AppendFile>,
    indexer: Indexer,
    /// Hashes of the names that originals have, in lower case; gathered when the first is added.
    names: Arc<RwLock<Option<HashSet<u64>>>>,
    loose: Loose,
    pending: u64,
    /// Whether `unfinished.json` says that bytes beyond the manifest are being written.
    announced: bool,
    /// Set when something failed half-way: what is in memory is then no longer what is on disk.
    broken: bool,
    // Last, so that it is given back when all else is done.
    lock: Lock,
}

impl Writer {
    pub(crate) fn open(root: &Path, command: &str) -> Result<Self, Error> {
        Self::open_on(root, command, RealDisk::shared(), false)
    }

    /// `anew` builds the index from nothing.
    pub(crate) fn open_on(
        root: &Path,
        command: &str,
        disk: Arc<dyn Disk>,
        anew: bool,
    ) -> Result<Self, Error> {
        let lock = Lock::take(root, command)?;
        let settings = Arc::new(Settings::read(root)?);
        let manifest = Manifest::read(root)?;
        restore(root, &manifest, &*disk)?;
        debris::clear_locked(root)?;
        let home = current::folder(root);
        let indexer = Indexer::open(root, &home, Arc::clone(&disk), settings, &manifest, anew)?;
        Ok(Self {
            root: root.to_owned(),
            disk,
            manifest,
            originals: Parts::new(|number| original_names(number)[0].clone(), tarred::PART_BYTES),
            records: Parts::new(records_name, frames::PART_BYTES),
            notes: None,
            indexer,
            names: Arc::default(),
            loose: Loose::default(),
            pending: 0,
            announced: false,
            broken: false,
            lock,
        })
    }

    /// The writer that died and whose lock was taken over, so that people can be told.
    #[must_use]
    pub fn taken_over(&self) -> Option<&Holder> {
        self.lock.taken_over.as_ref()
    }

    /// What is known of a path whose file looks like this. Takes some 100 ns.
    #[must_use]
    pub fn known(&self, path: &str, stat: &Stat) -> PathState {
        let catalog = self.indexer.catalog();
        match catalog.path(path).map(|index| catalog.paths[index as usize]) {
            Some(entry)
                if stat.tells()
                    && entry.stat == *stat
                    && catalog.sources[entry.source as usize].held != OriginalLocation::NOWHERE =>
            {
                PathState::Unchanged
            }
            Some(_) => PathState::Perhaps,
            None => PathState::New,
        }
    }

    /// Whether the archive has these bytes, so that they need not be read again. Of an original that was lost it has not.
    #[must_use]
    pub fn has(&self, digest: &Digest) -> bool {
        digest_bytes(digest.as_str()).is_some_and(|digest| self.indexer.catalog().keeps(&digest))
    }

    /// The bytes that stand at a path today.
    #[must_use]
    pub fn stands(&self, path: &str) -> Option<Digest> {
        let catalog = self.indexer.catalog();
        let source = catalog.paths[catalog.path(path)? as usize].source;
        Some(crate::digests::digest_named(
            &catalog.sources[source as usize].digest,
        ))
    }

    /// The path under which bytes were met first.
    #[must_use]
    pub fn first_path(&self, digest: &Digest) -> Option<String> {
        let catalog = self.indexer.catalog();
        let source = catalog.source(&digest_bytes(digest.as_str())?)?;
        catalog.paths_of(source).into_iter().next()
    }

    /// Lets what stood at these paths earlier, and stands nowhere today, count again beside what stands there now, each
    /// under the path with eight digits of its digest.
    ///
    /// # Errors
    /// As [`append`](Self::append).
    pub fn keep_earlier(&mut self, paths: &HashSet<&str>) -> Result<(), Error> {
        let earlier: Vec<(String, [u8; 32])> = {
            let catalog = self.indexer.catalog();
            let named = catalog.superseded().into_iter().filter_map(|(source, path)| {
                let path = catalog.path_text(path);
                let here = paths.contains(path.as_str());
                here.then(|| (path, catalog.sources[source as usize].digest))
            });
            named.collect()
        };
        for (path, digest) in earlier {
            let beside = originals::version_name(&path, &digest);
            self.guarded(|writer| writer.put_path(beside, &digest, None))?;
        }
        Ok(())
    }

    /// What people answered, read under the lock: until it is given back, nobody but a person with an editor changes it.
    ///
    /// # Errors
    /// When a line is no answer.
    pub fn answers(&self) -> Result<StoredAnswers, Error> {
        StoredAnswers::read(&self.root)
    }

    /// Adds lines to answers that this writer read, all or none, at once; gives their names. Files are still to be read with them.
    ///
    /// # Errors
    /// When the disk refuses; then none is added.
    pub fn answer(&self, answers: &mut StoredAnswers, new: Vec<Answer>) -> Result<Vec<String>, Error> {
        answers.append_on(&*self.disk, new)
    }

    /// Says that what is committed rests on answers that this writer read: on those of the `waiting` ones for which `is_done`, since every
    /// file that they are about was read with them. Where it was not known what files rest on, `is_done` is asked of a line that is
    /// about every file.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn applied(
        &self,
        answers: &StoredAnswers,
        waiting: &Unapplied,
        is_done: &dyn Fn(&Answer) -> bool,
    ) -> Result<(), Error> {
        answers.applied(waiting, is_done, &*self.disk)
    }

    /// Those of some sources whose records are kept when they are appended. Of another that the archive has already only the path is
    /// noted, and what was read of it is thrown away.
    #[must_use]
    pub fn kept_of(&self, prepared: &PreparedSources) -> Vec<SourceKey> {
        let catalog = self.indexer.catalog();
        let kept = |ready: &&PreparedSource| ready.again || catalog.source(&ready.digest).is_none();
        let sources = prepared.sources.iter().filter(kept);
        sources.map(|ready| SourceKey::of(&ready.record.digest)).collect()
    }

    /// What makes sources ready, for any number of threads.
    #[must_use]
    pub fn preparer(&self) -> Preparer {
        Preparer {
            settings: Arc::clone(&self.indexer.settings),
            catalog: Arc::clone(&self.indexer.catalog),
            names: Arc::clone(&self.names),
            fields: schema().1,
        }
    }

    /// Runs `work` unless something failed before, and remembers when it fails.
    fn guarded<T>(&mut self, work: impl FnOnce(&mut Self) -> Result<T, Error>) -> Result<T, Error> {
        if self.broken {
            return Err(Error::Index {
                path: self.root.clone(),
                message: "an earlier error stopped this writer; open the archive again".into(),
                damaged: false,
            });
        }
        let done = work(self);
        self.broken = done.is_err();
        done
    }

    /// Appends what was prepared. Nothing counts before [`commit`](Self::commit).
    ///
    /// # Errors
    /// When the disk refuses; the archive stays as it was last committed.
    pub fn append(&mut self, prepared: PreparedSources) -> Result<AppendStats, Error> {
        self.append_moved(prepared, &[])
    }

    /// Appends what was prepared, and takes what was said and found of runs that are read again to the runs of the same
    /// content: notes where the heir is, results where its numbers are the same. `moved` has every run that something was
    /// said or found of.
    ///
    /// # Errors
    /// As [`append`](Self::append).
    pub fn append_moved(&mut self, prepared: PreparedSources, moved: &[Moved]) -> Result<AppendStats, Error> {
        self.guarded(|writer| {
            writer.flush_loose()?;
            let away = moved.iter().filter(|one| one.is_away());
            let heirs: Vec<Heir> = away.clone().filter_map(|one| one.heir.clone()).collect();
            let outcomes = writer.renamed_outcomes(&heirs)?;
            let mut notes = Vec::new();
            for one in away {
                let (taken, given) = writer.moved_notes(one);
                // First all is taken from the names that runs had, and then given to those that they have.
                notes.insert(0, taken);
                notes.extend(given);
            }
            let done = writer.append_all(prepared)?;
            for note in notes
                .into_iter()
                .filter(|note| !note.undo.is_empty() || note.inherits.is_some())
            {
                writer.put_note(note)?;
            }
            for outcome in outcomes {
                writer.keep_outcome(outcome)?;
            }
            Ok(done)
        })
    }

    fn append_all(&mut self, prepared: PreparedSources) -> Result<AppendStats, Error> {
        let PreparedSources {
            sources,
            frames,
            originals,
        } = prepared;
        let mut done = AppendStats::default();
        self.gather_names();
        if sources
            .iter()
            .any(|ready| ready.again && self.indexer.catalog().source(&ready.digest).is_none())
        {
            // Its records may have been lost while the archive keeps its bytes.
            self.indexer.find_unrecorded(&self.manifest)?;
        }
        if self.is_as_prepared(&sources) {
            let places = self.put_originals(&originals)?;
            for ready in &sources {
                self.count(ready, ready.original.is_some(), &mut done);
                self.keep(ready.digest, &ready.name, ready.original, &places);
            }
            self.put_frames(sources, frames)?;
            return Ok(done);
        }
        // Rare: a source that another had brought already, or a path or name that has changed hands since. What is new is
        // packed again; each source is looked at by itself, and its line about the path is written anew.
        let fresh = self.repack(&sources, &originals)?;
        let mut records = UnpackedRecords::new(&frames);
        for mut ready in sources {
            let (known, replaces) = {
                let catalog = self.indexer.catalog();
                let replaces = replaced(&catalog, &ready.path.path, &ready.digest);
                (catalog.source(&ready.digest).is_some(), replaces)
            };
            if known && !ready.again {
                let met = self.put_path(ready.path.path, &ready.digest, ready.stat)?;
                done.had += met.had;
                done.changed += met.changed;
                continue;
            }
            self.flush_loose()?;
            ready.path.replaces = replaces;
            self.count(&ready, fresh.contains(&ready.digest), &mut done);
            let mut own = LineFrames::default();
            ready.source_line = own.put(records.take(&ready.source_line)?)?;
            ready.path_line = own.put(Record::Path(ready.path.clone()))?;
            for run in &mut ready.runs {
                run.1 = own.put(records.take(&run.1)?)?;
            }
            let frames = own.finish()?;
            self.put_frames(vec![ready], frames)?;
        }
        Ok(done)
    }

    /// Whether nothing has changed since these were prepared.
    fn is_as_prepared(&self, sources: &[PreparedSource]) -> bool {
        let catalog = self.indexer.catalog();
        let names = self.names.read().unwrap_or_else(PoisonError::into_inner);
        let mut digests = HashSet::new();
        let mut paths = HashSet::new();
        let mut fresh = HashSet::new();
        sources.iter().all(|ready| {
            let name = name_hash(&ready.name);
            (ready.again || catalog.source(&ready.digest).is_none())
                && digests.insert(ready.digest)
                && paths.insert(ready.path.path.as_str())
                && replaced(&catalog, &ready.path.path, &ready.digest) == ready.path.replaces
                && ready.original.is_none() == self.indexer.keeps(&ready.digest)
                && (ready.original.is_none()
                    || fresh.insert(name) && !names.as_ref().is_some_and(|names| names.contains(&name)))
        })
    }

    /// Counts a source; `fresh` says that its bytes are new.
    fn count(&mut self, ready: &PreparedSource, fresh: bool, done: &mut AppendStats) {
        done.changed += u64::from(ready.path.replaces.is_some());
        done.runs += ready.runs.len() as u64;
        self.pending += ready.record.bytes;
        done.new += u64::from(fresh);
        done.had += u64::from(!fresh);
    }

    /// Packs those originals again that the archive has not, each under a name that is free today; gives their digests.
    fn repack(
        &mut self,
        sources: &[PreparedSource],
        originals: &[Vec<u8>],
    ) -> Result<HashSet<[u8; 32]>, Error> {
        let mut bytes = Vec::new();
        for frame in originals {
            bytes.extend(tarred::unpacked(frame)?);
        }
        let mut packing = Packing::default();
        let mut kept = Vec::new();
        let mut seen = HashSet::new();
        let packed = sources.iter().filter(|ready| ready.original.is_some());
        for (ready, (_, bytes, _)) in packed.zip(bytes) {
            if self.indexer.keeps(&ready.digest) || !seen.insert(ready.digest) {
                continue;
            }
            let mut name = originals::entry_name(&ready.path.path);
            if self.is_taken(&name) {
                name = originals::version_name(&name, &ready.digest);
            }
            let modified = ready.stat.map(|stat| stat.modified);
            let place = packing.put(&name, &bytes, modified)?;
            self.take_name(&name);
            kept.push((ready.digest, name, place));
        }
        let places = self.put_originals(&packing.finish()?)?;
        for (digest, name, place) in kept {
            self.keep(digest, &name, Some(place), &places);
        }
        Ok(seen)
    }

    /// Writes packed originals; gives where each frame begins.
    fn put_originals(&mut self, frames: &[Vec<u8>]) -> Result<Vec<(u32, u64)>, Error> {
        let mut places = Vec::with_capacity(frames.len());
        for frame in frames {
            self.announce()?;
            let committed = &self.manifest.originals;
            places.push(self.originals.put(&self.root, &*self.disk, committed, frame)?);
        }
        Ok(places)
    }

    /// Remembers where an original lies until its source's record is filed.
    fn keep(
        &mut self,
        digest: [u8; 32],
        name: &str,
        original: Option<tarred::Packed>,
        places: &[(u32, u64)],
    ) {
        if let Some(original) = original
            && let Some(&(part, at)) = places.get(original.frame)
        {
            self.take_name(name);
            let held = OriginalLocation {
                part,
                at: u32::try_from(at).unwrap_or(u32::MAX),
                within: original.within,
            };
            self.indexer.original(digest, held);
        }
    }

    /// Gathers the names that originals have.
    fn gather_names(&mut self) {
        let mut names = self.names.write().unwrap_or_else(PoisonError::into_inner);
        if names.is_none() {
            let catalog = self.indexer.catalog();
            let all = 0..u32::try_from(catalog.sources.len()).unwrap_or(u32::MAX);
            *names = Some(
                all.filter_map(|source| catalog.first_path_of(source))
                    .map(|path| name_hash(&originals::entry_name(&path)))
                    .collect(),
            );
        }
    }

    fn is_taken(&self, name: &str) -> bool {
        let names = self.names.read().unwrap_or_else(PoisonError::into_inner);
        names
            .as_ref()
            .is_some_and(|names| names.contains(&name_hash(name)))
    }

    fn take_name(&self, name: &str) {
        let mut names = self.names.write().unwrap_or_else(PoisonError::into_inner);
        names.get_or_insert_default().insert(name_hash(name));
    }

    /// Says on the disk that bytes beyond the manifest are about to be written, once a commit.
    fn announce(&mut self) -> Result<(), Error> {
        if !self.announced {
            Unfinished::announce(&self.root, &self.manifest, &*self.disk)?;
            self.announced = true;
        }
        Ok(())
    }

    fn put_frames(&mut self, sources: Vec<PreparedSource>, frames: Vec<PackedFrame>) -> Result<(), Error> {
        let mut places = Vec::with_capacity(frames.len());
        for (range, frame) in frames {
            places.push((range, self.put_frame(&frame)?));
        }
        for ready in sources {
            self.indexer
                .source(&ready.record, place(&places, &ready.source_line))?;
            self.indexer.path(&ready.path, ready.stat)?;
            let (indexer, runs) = (&mut self.indexer, &ready.runs);
            ready.documents.take(|number, document| match runs.get(number) {
                Some((id, line)) => indexer.run(id, place(&places, line), document),
                None => Ok(()),
            })?;
        }
        Ok(())
    }

    fn put_frame(&mut self, frame: &[u8]) -> Result<At, Error> {
        self.announce()?;
        let committed = &self.manifest.records;
        let (part, at) = self.records.put(&self.root, &*self.disk, committed, frame)?;
        Ok(At {
            part,
            frame: at,
            packed: u32::try_from(frame.len()).unwrap_or(u32::MAX),
            line: 0,
            length: 0,
        })
    }

    /// Tells that bytes which the archive [`has`](Self::has) were met under a path. Without news nothing is written.
    ///
    /// # Errors
    /// As [`append`](Self::append); [`Error::NoOriginal`] when it has not.
    pub fn met(&mut self, path: &str, digest: &Digest, stat: Option<Stat>) -> Result<AppendStats, Error> {
        let key = digest_bytes(digest.as_str())
            .filter(|_| self.has(digest))
            .ok_or_else(|| Error::NoOriginal {
                digest: digest.clone(),
            })?;
        self.guarded(|writer| writer.put_path(path.to_owned(), &key, stat))
    }

    fn put_path(
        &mut self,
        path: String,
        digest: &[u8; 32],
        stat: Option<Stat>,
    ) -> Result<AppendStats, Error> {
        let (news, replaces) = {
            let catalog = self.indexer.catalog();
            let source = catalog.source(digest);
            let there = catalog
                .path(&path)
                .map(|index| catalog.paths[index as usize].source);
            (
                there.is_none() || there != source,
                replaced(&catalog, &path, digest),
            )
        };
        let changed = u64::from(replaces.is_some());
        let record = PathRecord {
            path,
            digest: crate::digests::digest_named(digest),
            replaces,
        };
        self.indexer.path(&record, stat)?;
        if news {
            put_line(&mut self.loose.lines, &Record::Path(record))?;
            self.loose.ends.push(self.loose.lines.len());
            self.flush_when_long()?;
        }
        Ok(AppendStats {
            had: 1,
            changed,
            ..AppendStats::default()
        })
    }

    /// Tells that a file was met and could not be kept, so that it stays listed until it can or a person decides that it
    /// is not wanted (without a reason). Without news nothing is written; a path that leads to a source needs no such
    /// line.
    ///
    /// # Errors
    /// As [`append`](Self::append).
    pub fn missed(&mut self, path: &str, why: Option<Diagnostic>) -> Result<(), Error> {
        let listed = self.indexer.all_missed()?.get(path).cloned();
        let code = why.as_ref().map(|why| why.code.as_str().to_owned());
        if listed == code || self.indexer.catalog().path(path).is_some() {
            return Ok(());
        }
        self.guarded(|writer| {
            let record = MissedRecord {
                path: path.to_owned(),
                why,
            };
            writer.indexer.missed(&record)?;
            put_line(&mut writer.loose.lines, &Record::Missed(record))?;
            writer.loose.ends.push(writer.loose.lines.len());
            // Worth a commit, even without anything else.
            writer.pending += 1;
            writer.flush_when_long()
        })
    }

    /// The paths that were met and could not be kept.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn all_missed(&mut self) -> Result<Vec<String>, Error> {
        Ok(self.indexer.all_missed()?.keys().cloned().collect())
    }

    fn flush_when_long(&mut self) -> Result<(), Error> {
        if self.loose.lines.len() >= frames::FRAME_BYTES {
            self.flush_loose()
        } else {
            Ok(())
        }
    }

    fn flush_loose(&mut self) -> Result<(), Error> {
        let Loose {
            lines,
            ends,
            outcomes,
        } = std::mem::take(&mut self.loose);
        let mut places = Vec::new();
        for (range, frame) in pack_frames(&lines, ends.into_iter())? {
            places.push((range, self.put_frame(&frame)?));
        }
        for (outcome, line) in outcomes {
            self.indexer.outcome(&outcome, place(&places, &line));
        }
        self.pending += lines.len() as u64;
        Ok(())
    }

    /// Bytes of sources, outcomes and notes appended since the last commit, for deciding when to commit.
    #[must_use]
    pub fn pending(&self) -> u64 {
        self.pending
    }

    /// Makes everything appended so far count: writes and syncs the new tails, then swaps the manifest.
    ///
    /// # Errors
    /// When the disk refuses; the archive stays as it was last committed. When only the index could not be written
    /// ([`Error::Index`], or a path inside `index/`), everything counts and the next writer completes the index.
    pub fn commit(&mut self) -> Result<(), Error> {
        self.guarded(Self::commit_all)
    }

    fn commit_all(&mut self) -> Result<(), Error> {
        self.flush_loose()?;
        if self.has_grown() {
            let mut manifest = self.manifest.clone();
            manifest.commit += 1;
            manifest.at = now();
            self.originals.commit(&mut manifest.originals)?;
            self.records.commit(&mut manifest.records)?;
            if let Some(file) = self.notes.as_mut().filter(|file| file.grown) {
                file.sync()?;
                manifest.notes = file.part();
            }
            manifest.write(&self.root, &*self.disk)?;
            self.manifest = manifest;
            self.announced = false;
            // One that stays names a manifest that is no longer there, which explains nothing and harms nothing.
            let _ = Unfinished::clear(&self.root);
        }
        self.pending = 0;
        if self.indexer.is_dirty() {
            self.indexer.commit(&self.manifest)
        } else {
            Ok(())
        }
    }

    fn has_grown(&self) -> bool {
        self.originals.has_grown()
            || self.records.has_grown()
            || self.notes.as_ref().is_some_and(|notes| notes.grown)
    }

    /// Waits until the index is tidy.
    pub(crate) fn tidy(&mut self) -> Result<(), Error> {
        self.indexer.finish()
    }

    /// Commits, tidies the index and gives the lock back.
    ///
    /// # Errors
    /// As [`commit`](Self::commit).
    pub fn finish(mut self) -> Result<(), Error> {
        self.commit()?;
        self.indexer.finish()
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if self.has_grown() {
            self.originals.close();
            self.records.close();
            self.notes = None;
        }
        if self.announced {
            // Should this fail, the next writer does it.
            let _ = restore(&self.root, &self.manifest, &*self.disk);
        }
        if self.indexer.index.is_damaged() {
            Current::forget(&current::folder(&self.root));
        }
    }
}

/// A name as it is compared: two that differ in case are one to some systems.
fn name_hash(name: &str) -> u64 {
    path_hash(name.to_lowercase().as_bytes())
}

/// The place of a line of packed frames.
fn place(frames: &[(Range<usize>, At)], line: &Range<usize>) -> At {
    let which = frames.partition_point(|(range, _)| range.end <= line.start);
    frames.get(which).map_or_else(At::default, |(range, at)| At {
        line: u32::try_from(line.start - range.start).unwrap_or(u32::MAX),
        // Without the line end.
        length: u32::try_from(line.len().saturating_sub(1)).unwrap_or(u32::MAX),
        ..*at
    })
}
