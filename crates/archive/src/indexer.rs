//! Keeps the index in step with the records: the same code follows a writer, catches up after a crash and builds an
//! index from nothing.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use curvary_record::stored::{MissedRecord, PathRecord, Record, SourceRecord};
use curvary_record::{Digest, Outcome, Run, RunId, Verdict};
use tantivy::IndexWriter;

use crate::catalog::Stat;
use crate::catalog::{Catalog, CatalogSource};
use crate::content::same_numbers;
use crate::current::{Current, IndexCoverage};
use crate::digests::{digest_bytes, digest_named};
use crate::disk::{Disk, RealDisk, read_at};
use crate::facts::{Facts, RunContext};
use crate::frames::{At, FrameDamage, FrameReader, FrameWalk, WalkStep, records};
use crate::index::{FiledDocument, Index, Places, UnreadSource};
use crate::manifest::{Manifest, is_whole, records_name};
use crate::note::NoteBook;
use crate::originals::{self, OriginalLocation};
use crate::{Error, Settings, debris};

/// Memory for words that wait to be written. One thread fills it; it is written out as a segment when it is full.
const HEAP: usize = 32 << 20;

/// Sections of the catalogue may take so many bytes together before it is written as a whole again, however small it is.
const SECTIONS_BYTES: u64 = 64 << 10;

/// So many runs are filed again at once. Their documents wait, at some kilobytes each less than [`HEAP`] together, while all that
/// were filed before are struck out by one query: for each query the engine asks every segment.
const TOUCHED: usize = 4096;

/// How many sources' families are remembered.
const FAMILIES: usize = 4096;

/// What was found about a run as it was read at a time.
struct RunAtTime {
    /// Its record then.
    of: At,
    outcomes: Vec<At>,
}

pub(crate) struct Indexer {
    root: PathBuf,
    /// Where the index lives.
    home: PathBuf,
    disk: Arc<dyn Disk>,
    pub(crate) settings: Arc<Settings>,
    pub(crate) catalog: Arc<RwLock<Catalog>>,
    pub(crate) notes: NoteBook,
    pub(crate) index: Index,
    engine: Option<IndexWriter<FiledDocument>>,
    /// Set while a new index grows that is not in use yet.
    fresh_index: Option<Current>,
    covered: IndexCoverage,
    /// Runs that were added since the engine's last commit.
    fresh: HashMap<String, Places>,
    /// Runs that a new reading has not given yet, or no more, since the engine's last commit.
    dropped: HashSet<String>,
    /// Outcomes about runs that were read again since, by the run's name, reading by reading.
    earlier: BTreeMap<String, Vec<RunAtTime>>,
    /// Outcomes that wait for their runs to be filed again.
    pending: BTreeMap<String, Vec<At>>,
    /// Names of outcomes since the engine's last commit.
    outcomes: HashSet<String>,
    /// Runs about which something new was said.
    touched: BTreeSet<String>,
    /// Sources that are new and whose first path is still to come.
    unlinked: HashSet<u32>,
    /// Sources without runs whose first path is still to come.
    unread: HashMap<u32, UnreadSource>,
    /// Where the originals of sources lie whose record is still to come.
    entries: HashMap<[u8; 32], OriginalLocation>,
    looked_for_unrecorded: bool,
    frames: FrameReader,
    /// Short names of the families of sources that were met lately.
    families: HashMap<[u8; 32], Option<String>>,
    /// What could not be kept, read from the index when it is first asked for.
    missed: Option<BTreeMap<String, String>>,
    dirty: bool,
}

impl Indexer {
    /// Opens the index of an archive that lives in `home` for writing, built anew where it must be, and brings it up to the manifest.
    pub(crate) fn open(
        root: &Path,
        home: &Path,
        disk: Arc<dyn Disk>,
        settings: Arc<Settings>,
        manifest: &Manifest,
        anew: bool,
    ) -> Result<Self, Error> {
        let notes = NoteBook::read(root, &manifest.notes)?;
        let current = if anew {
            None
        } else {
            Current::read(home, &settings)?
        };
        let used = match current.map(|current| Self::open_used(root, home, &current, manifest)) {
            // A damaged index is of no use either.
            None | Some(Err(Error::Index { damaged: true, .. })) => None,
            Some(used) => used?,
        };
        let (index, covered, catalog, fresh_index) = match used {
            Some((index, covered, catalog)) => (index, covered, catalog, None),
            None => {
                let current = Current::fresh(home, &settings)?;
                let index = Index::create(&home.join(&current.folder))?;
                (index, IndexCoverage::default(), Catalog::default(), Some(current))
            }
        };
        let mut indexer = Self {
            root: root.to_owned(),
            home: home.to_owned(),
            disk,
            settings,
            catalog: Arc::new(RwLock::new(catalog)),
            notes,
            index,
            engine: None,
            fresh_index,
            covered,
            fresh: HashMap::new(),
            dropped: HashSet::new(),
            earlier: BTreeMap::new(),
            pending: BTreeMap::new(),
            outcomes: HashSet::new(),
            touched: BTreeSet::new(),
            unlinked: HashSet::new(),
            unread: HashMap::new(),
            entries: HashMap::new(),
            looked_for_unrecorded: false,
            frames: FrameReader::default(),
            families: HashMap::new(),
            missed: None,
            dirty: false,
        };
        indexer.catch_up(manifest)?;
        if !indexer.covered.lost.is_empty() {
            indexer.find_unrecorded(manifest)?;
        }
        Ok(indexer)
    }

    /// The index that is in use, with its catalogue; `None` when it lacks that, or was committed in another history.
    fn open_used(
        root: &Path,
        home: &Path,
        current: &Current,
        manifest: &Manifest,
    ) -> Result<Option<(Index, IndexCoverage, Catalog)>, Error> {
        let path = home.join(&current.folder);
        let index = Index::open(&path)?;
        let covered = index.covered()?;
        let file = path.join(&covered.catalog);
        let bytes = match usize::try_from(covered.catalog_bytes) {
            // All of it, before there were sections.
            Ok(0) => fs::read(file),
            length => read_at(&file, 0, length.unwrap_or(usize::MAX)),
        };
        let catalog = bytes.ok().and_then(|bytes| covered.catalog_in(&bytes));
        Ok(catalog
            .filter(|_| within(&covered, manifest) && covered.is_of(root, manifest))
            .map(|catalog| (index, covered, catalog)))
    }

    pub(crate) fn catalog(&self) -> std::sync::RwLockReadGuard<'_, Catalog> {
        self.catalog.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn catalog_mut(&self) -> std::sync::RwLockWriteGuard<'_, Catalog> {
        self.catalog.write().unwrap_or_else(PoisonError::into_inner)
    }

    fn engine(&mut self) -> Result<&mut IndexWriter<FiledDocument>, Error> {
        self.dirty = true;
        if self.engine.is_none() {
            let engine = self
                .index
                .engine
                .writer_with_num_threads(1, HEAP)
                .map_err(|error| self.index.trouble(&error))?;
            // Files of a commit that was cut short would stand in the way of the next one of the same number.
            engine
                .garbage_collect_files()
                .wait()
                .map_err(|error| self.index.trouble(&error))?;
            debris::clear_index(&self.index.path)?;
            self.engine = Some(engine);
        }
        self.engine.as_mut().ok_or_else(|| Error::Index {
            path: self.root.clone(),
            message: "no engine".into(),
            damaged: false,
        })
    }

    fn add(&mut self, document: FiledDocument) -> Result<(), Error> {
        let added = self.engine()?.add_document(document).map(drop);
        added.map_err(|error| self.index.trouble(&error))
    }

    /// Strikes everything that is filed under a digest so far.
    fn strike(&mut self, digest: &str) -> Result<(), Error> {
        let filed = self.index.names.filed_of(digest);
        let struck = self.engine()?.delete_query(Box::new(filed)).map(drop);
        struck.map_err(|error| self.index.trouble(&error))
    }

    /// Strikes what is filed of runs so far.
    fn drop_runs<'n>(&mut self, names: impl Iterator<Item = &'n str>) -> Result<(), Error> {
        let runs = self.index.names.runs(names);
        let dropped = self.engine()?.delete_query(Box::new(runs)).map(drop);
        dropped.map_err(|error| self.index.trouble(&error))
    }

    fn catch_up(&mut self, manifest: &Manifest) -> Result<(), Error> {
        let behind = self.covered.behind(manifest);
        if behind == 0 && self.fresh_index.is_none() {
            return Ok(());
        }
        let (first, from) = self.covered.originals;
        for (part, original) in (0_u32..).zip(&manifest.originals).skip(first as usize) {
            // What is whole can be used; what is damaged is told by `verify`, and when it is asked for.
            for member in originals::members(&self.root, part, original)?.all {
                if part > first || u64::from(member.held.at) >= from {
                    self.entries.insert(member.digest, member.held);
                }
            }
        }
        let (first, from) = self.covered.records;
        for (part, record) in (0_u32..).zip(&manifest.records).skip(first as usize) {
            let path = self.root.join(&record.name);
            // All of it is read anyway when an index is built anew.
            let whole = self.fresh_index.is_none() || is_whole(&self.root, record);
            let mut walk = FrameWalk::new(&path, part, if part == first { from } else { 0 }, record.length)?;
            while let Some(step) = walk.next()? {
                match step {
                    WalkStep::Frame(frame, bytes) if !whole && self.is_strange(frame, &bytes) => {
                        self.covered.lost.push(FrameDamage {
                            part,
                            at: frame.frame,
                            length: u64::from(frame.packed),
                        });
                    }
                    WalkStep::Frame(frame, bytes) => self.frame(&path, frame, &bytes)?,
                    // What is whole can be used; what is lost is told with every answer.
                    WalkStep::Damaged(damage) => self.covered.lost.push(damage),
                }
            }
        }
        let unread: Vec<String> = self
            .notes
            .beyond(self.covered.notes)
            .map(|note| note.run.clone())
            .collect();
        self.touched.extend(unread);
        self.commit(manifest)
    }

    /// Finds the originals whose record was lost, so that none is kept twice when it is read again.
    pub(crate) fn find_unrecorded(&mut self, manifest: &Manifest) -> Result<(), Error> {
        if std::mem::replace(&mut self.looked_for_unrecorded, true) {
            return Ok(());
        }
        for (part, original) in (0_u32..).zip(&manifest.originals) {
            for member in originals::members(&self.root, part, original)?.all {
                if self.catalog().source(&member.digest).is_none() {
                    self.entries.insert(member.digest, member.held);
                }
            }
        }
        Ok(())
    }

    /// Whether the archive keeps these bytes, whatever is known of them.
    pub(crate) fn keeps(&self, digest: &[u8; 32]) -> bool {
        self.catalog().keeps(digest) || self.entries.contains_key(digest)
    }

    /// Whether a frame of a part that is not what was committed speaks of files alone that this archive does not keep: whole
    /// records of another archive.
    fn is_strange(&self, frame: At, bytes: &[u8]) -> bool {
        let mut sources = records(frame, bytes)
            .filter_map(|(_, record)| match record {
                Ok(Record::Source(source)) => digest_bytes(source.digest.as_str()),
                Ok(Record::Run(run)) => digest_bytes(run.0.source.digest.as_str()),
                _ => None,
            })
            .peekable();
        sources.peek().is_some() && !sources.any(|digest| self.keeps(&digest))
    }

    fn frame(&mut self, path: &Path, frame: At, bytes: &[u8]) -> Result<(), Error> {
        for (at, record) in records(frame, bytes) {
            let record = record.map_err(|error| {
                let found = format!("{error} in the line at byte {}", at.line);
                Error::damaged(path, at.frame, found, "a record")
            })?;
            self.record(&record, at)?;
        }
        Ok(())
    }

    /// Files a record that stands at `at`.
    fn record(&mut self, record: &Record, at: At) -> Result<(), Error> {
        match record {
            Record::Source(source) => self.source(source, at),
            Record::Path(path) => self.path(path, None),
            Record::Run(run) => {
                let paths = self.paths_of(&run.0.source.digest, &run.0.source.path);
                let document = self.document(&run.0, &paths, &[])?;
                self.run(&run.0.id, at, document)
            }
            Record::Outcome(outcome) => {
                self.outcome(outcome, at);
                Ok(())
            }
            Record::Missed(missed) => self.missed(missed),
        }
    }

    /// The original of a source whose record comes next.
    pub(crate) fn original(&mut self, digest: [u8; 32], held: OriginalLocation) {
        self.entries.insert(digest, held);
    }

    /// Files a source, or a newer reading of one, whose runs come next.
    pub(crate) fn source(&mut self, record: &SourceRecord, at: At) -> Result<(), Error> {
        let Some(digest) = digest_bytes(record.digest.as_str()) else {
            return Ok(());
        };
        self.remember_family(digest, record);
        let before = {
            let catalog = self.catalog();
            catalog
                .source(&digest)
                .map(|index| catalog.sources[index as usize])
        };
        let held = match before {
            Some(before) if before.held != OriginalLocation::NOWHERE => before.held,
            _ => self.entries.remove(&digest).unwrap_or(OriginalLocation::NOWHERE),
        };
        let (index, new) = self.catalog_mut().add_source(CatalogSource {
            digest,
            bytes: record.bytes,
            runs: record.runs,
            current: 0,
            held,
            record: at,
        });
        if new {
            self.unlinked.insert(index);
            if !self.covered.lost.is_empty() {
                // Runs whose source's record was lost may be filed already.
                self.strike(record.digest.as_str())?;
            }
        } else if let Some(before) = before {
            // What was found about its runs holds for the runs of the same names where the numbers are the same.
            for ordinal in 0..before.runs {
                let id = RunId::new(&record.digest, ordinal as usize);
                if let Some(places) = self.places(id.as_str())? {
                    let mut outcomes = places.outcomes;
                    outcomes.extend(self.pending.remove(id.as_str()).unwrap_or_default());
                    if !outcomes.is_empty() {
                        let earlier = self.earlier.entry(id.as_str().to_owned()).or_default();
                        earlier.push(RunAtTime {
                            of: places.run,
                            outcomes,
                        });
                        self.touched.insert(id.as_str().to_owned());
                    }
                }
                self.fresh.remove(id.as_str());
                self.dropped.insert(id.as_str().to_owned());
            }
            self.strike(record.digest.as_str())?;
        }
        if let Some(unread) = unread_of(record) {
            let path = self.catalog().paths_of(index).into_iter().next();
            if new {
                // Its path comes next.
                self.unread.insert(index, unread);
            } else {
                let unread = UnreadSource {
                    path: path.unwrap_or_default(),
                    ..unread
                };
                let document = self.index.names.unread(record.digest.as_str(), &unread);
                self.add(document)?;
            }
        }
        Ok(())
    }

    /// Files a path of a source.
    pub(crate) fn path(&mut self, record: &PathRecord, stat: Option<Stat>) -> Result<(), Error> {
        let index = digest_bytes(record.digest.as_str()).and_then(|digest| self.catalog().source(&digest));
        let Some(index) = index else {
            return Ok(());
        };
        let first = self.unlinked.remove(&index);
        if !first {
            self.stand_again(index);
        }
        let replaced = self.catalog_mut().link(&record.path, index, stat);
        self.dirty = true;
        if !first {
            self.touch(index);
        }
        if let Some(unread) = self.unread.remove(&index) {
            let unread = UnreadSource {
                path: record.path.clone(),
                ..unread
            };
            let document = self.index.names.unread(record.digest.as_str(), &unread);
            self.add(document)?;
        }
        if let Some(old) = replaced {
            self.touch(old);
            self.leave_unread(old)?;
        }
        self.keep_missed(&record.path)
    }

    /// Lists a source without runs among what was not read again, before it stands at a path again.
    fn stand_again(&mut self, source: u32) {
        let known = self.catalog().sources[source as usize];
        if known.current > 0 || known.runs > 0 {
            return;
        }
        if let Ok(Record::Source(record)) = self.read(known.record)
            && let Some(unread) = unread_of(&record)
        {
            self.unread.insert(source, unread);
        }
    }

    /// Strikes a source without runs from the list of what was not read, when it stands nowhere any more.
    fn leave_unread(&mut self, source: u32) -> Result<(), Error> {
        let source = self.catalog().sources[source as usize];
        if source.current == 0 && source.runs == 0 {
            self.strike(digest_named(&source.digest).as_str())?;
        }
        Ok(())
    }

    /// Files what was met and could not be kept, in place of what was said of its path before.
    pub(crate) fn missed(&mut self, record: &MissedRecord) -> Result<(), Error> {
        self.keep_missed(&record.path)?;
        let Some(why) = &record.why else {
            return Ok(());
        };
        let name = missed_name(&record.path);
        let unread = UnreadSource {
            code: why.code.as_str().to_owned(),
            message: why.message.clone(),
            path: record.path.clone(),
            digest: String::new(),
            family: None,
        };
        let document = self.index.names.unread(name.as_str(), &unread);
        self.add(document)?;
        self.all_missed()?.insert(record.path.clone(), unread.code);
        Ok(())
    }

    /// Strikes a path that could not be kept before from the list.
    fn keep_missed(&mut self, path: &str) -> Result<(), Error> {
        if self.all_missed()?.remove(path).is_some() {
            self.strike(missed_name(path).as_str())?;
        }
        Ok(())
    }

    /// Every path that could not be kept, with the code of the reason.
    pub(crate) fn all_missed(&mut self) -> Result<&mut BTreeMap<String, String>, Error> {
        let missed = match self.missed.take() {
            Some(missed) => missed,
            None => self.index.missed()?,
        };
        Ok(self.missed.insert(missed))
    }

    /// Marks every run of a source to be filed again.
    fn touch(&mut self, source: u32) {
        let source = self.catalog().sources[source as usize];
        let digest = digest_named(&source.digest);
        for ordinal in 0..source.runs {
            self.touched
                .insert(RunId::new(&digest, ordinal as usize).as_str().to_owned());
        }
    }

    /// Files a run.
    pub(crate) fn run(&mut self, id: &RunId, at: At, mut document: FiledDocument) -> Result<(), Error> {
        let id = id.as_str().to_owned();
        let places = Places {
            run: at,
            outcomes: Vec::new(),
        };
        self.index.names.place(&mut document, &places);
        if !self.notes.about(&id).is_empty() {
            self.touched.insert(id.clone());
        }
        self.dropped.remove(&id);
        self.fresh.insert(id, places);
        self.add(document)
    }

    /// Files an outcome.
    pub(crate) fn outcome(&mut self, outcome: &Outcome, at: At) {
        for run in &outcome.runs {
            self.pending.entry(run.as_str().to_owned()).or_default().push(at);
            self.touched.insert(run.as_str().to_owned());
        }
        self.outcomes.insert(outcome.id.clone());
        self.dirty = true;
    }

    /// Whether an outcome of this name is kept already.
    pub(crate) fn has_outcome(&self, id: &str) -> Result<bool, Error> {
        Ok(self.outcomes.contains(id) || self.index.listed("outcome", id)? > 0)
    }

    /// Tells that an outcome of this name comes soon.
    pub(crate) fn expect_outcome(&mut self, id: &str) {
        self.outcomes.insert(id.to_owned());
    }

    pub(crate) fn touch_run(&mut self, id: &str) {
        self.touched.insert(id.to_owned());
        self.dirty = true;
    }

    pub(crate) fn places(&self, id: &str) -> Result<Option<Places>, Error> {
        match self.fresh.get(id) {
            Some(places) => Ok(Some(places.clone())),
            None if self.dropped.contains(id) => Ok(None),
            None => self.index.places(id),
        }
    }

    /// Where everything stands that was found about a run.
    pub(crate) fn outcomes_of(&self, id: &str) -> Result<Vec<At>, Error> {
        let mut all = self.places(id)?.unwrap_or_default().outcomes;
        let earlier = self.earlier.get(id).into_iter().flatten();
        all.extend(earlier.flat_map(|found| &found.outcomes));
        all.extend(self.pending.get(id).into_iter().flatten());
        Ok(all)
    }

    fn paths_of(&self, digest: &Digest, first: &str) -> Vec<String> {
        let catalog = self.catalog();
        let paths = digest_bytes(digest.as_str())
            .and_then(|digest| catalog.source(&digest))
            .map_or_else(Vec::new, |source| catalog.paths_of(source));
        if paths.is_empty() {
            vec![first.to_owned()]
        } else {
            paths
        }
    }

    fn remember_family(&mut self, digest: [u8; 32], record: &SourceRecord) {
        // Runs follow their source's record, and a run that is filed again stands near others of its source.
        if self.families.len() >= FAMILIES {
            self.families.clear();
        }
        let family = record.family.as_ref().map(curvary_record::Family::id);
        self.families.insert(digest, family);
    }

    /// The short name of a source's family.
    fn family(&mut self, digest: &Digest) -> Option<String> {
        let digest = digest_bytes(digest.as_str())?;
        if let Some(known) = self.families.get(&digest) {
            return known.clone();
        }
        let at = {
            let catalog = self.catalog();
            catalog
                .source(&digest)
                .map(|source| catalog.sources[source as usize].record)?
        };
        // A record that cannot be read is told where it is needed itself.
        if let Ok(Record::Source(record)) = self.read(at) {
            self.remember_family(digest, &record);
        }
        self.families.get(&digest).cloned().flatten()
    }

    fn document(
        &mut self,
        run: &Run,
        paths: &[String],
        outcomes: &[Outcome],
    ) -> Result<FiledDocument, Error> {
        let superseded = digest_bytes(run.source.digest.as_str())
            .and_then(|digest| {
                let catalog = self.catalog();
                catalog
                    .source(&digest)
                    .map(|source| catalog.sources[source as usize].current == 0)
            })
            .unwrap_or(false);
        let family = self.family(&run.source.digest);
        let around = RunContext {
            settings: &self.settings,
            family,
            paths,
            superseded,
            notes: self.notes.about(run.id.as_str()),
            outcomes,
        };
        let facts = Facts::of(run, &around);
        Ok(FiledDocument::new(|document| {
            self.index.names.run(&facts, document)
        }))
    }

    pub(crate) fn read(&self, at: At) -> Result<Record, Error> {
        let path = self.root.join(records_name(at.part));
        self.frames.record(&path, at)
    }

    /// Whether the record at `at` can be read.
    pub(crate) fn readable(&self, at: At) -> Result<(), Error> {
        self.read(at).map(drop)
    }

    /// The outcomes that hold no more, since a run of theirs was read again with other numbers: an outcome speaks of numbers,
    /// and so it holds for no others under the same name. All runs of theirs are filed again.
    fn outcomes_gone(&mut self) -> Result<BTreeSet<At>, Error> {
        let mut gone = BTreeSet::new();
        for (id, all) in std::mem::take(&mut self.earlier) {
            let now = self.places(&id)?.map(|places| self.read(places.run));
            let mut holding = Vec::new();
            for found in all {
                let holds = match (self.read(found.of), &now) {
                    (Ok(Record::Run(before)), Some(Ok(Record::Run(now)))) => same_numbers(&before.0, &now.0),
                    (_, now) => now.is_some(),
                };
                if holds {
                    holding.extend(found.outcomes);
                    continue;
                }
                for at in found.outcomes {
                    if let Ok(Record::Outcome(outcome)) = self.read(at) {
                        let runs = outcome.runs.iter().map(|run| run.as_str().to_owned());
                        self.touched.extend(runs);
                    }
                    gone.insert(at);
                }
            }
            let pending = self.pending.entry(id).or_default();
            holding.append(pending);
            *pending = holding;
        }
        Ok(gone)
    }

    /// Files again every run about which something new was said.
    fn refresh(&mut self) -> Result<(), Error> {
        let gone = self.outcomes_gone()?;
        // In the order in which they lie on the disk, so that each frame is unpacked once.
        let mut touched: Vec<(String, Places)> = Vec::with_capacity(self.touched.len());
        for id in std::mem::take(&mut self.touched) {
            if let Some(places) = self.places(&id)? {
                touched.push((id, places));
            }
        }
        touched.sort_by_key(|(_, places)| places.run);
        for some in touched.chunks(TOUCHED) {
            self.refresh_some(some, &gone)?;
        }
        self.pending.clear();
        Ok(())
    }

    fn refresh_some(&mut self, some: &[(String, Places)], gone: &BTreeSet<At>) -> Result<(), Error> {
        let mut documents = Vec::with_capacity(some.len());
        for (id, places) in some {
            let mut places = places.clone();
            // What cannot be read stays filed as it was; asking for it tells why.
            let Ok(Record::Run(run)) = self.read(places.run) else {
                continue;
            };
            let mut found = std::mem::take(&mut places.outcomes);
            found.extend(self.pending.remove(id).unwrap_or_default());
            found.retain(|at| !gone.contains(at));
            let mut outcomes: Vec<Outcome> = Vec::new();
            for at in found {
                let outcome = match self.read(at) {
                    Ok(Record::Outcome(outcome)) => *outcome,
                    _ if places.outcomes.contains(&at) => continue,
                    _ => {
                        places.outcomes.push(at);
                        continue;
                    }
                };
                if !outcomes.iter().any(|other| other.id == outcome.id) {
                    places.outcomes.push(at);
                    outcomes.push(outcome);
                }
            }
            let paths = self.paths_of(&run.0.source.digest, &run.0.source.path);
            let mut document = self.document(&run.0, &paths, &outcomes)?;
            self.index.names.place(&mut document, &places);
            documents.push((id, places, document));
        }
        // Of many runs at once: each time the engine asks every segment.
        self.drop_runs(documents.iter().map(|(id, ..)| id.as_str()))?;
        for (id, places, document) in documents {
            self.add(document)?;
            self.fresh.insert(id.clone(), places);
        }
        Ok(())
    }

    /// Whether anything waits to be committed.
    pub(crate) fn is_dirty(&self) -> bool {
        self.dirty || !self.touched.is_empty() || self.catalog().dirty
    }

    /// Commits everything that was filed, as covering what the manifest says.
    pub(crate) fn commit(&mut self, manifest: &Manifest) -> Result<(), Error> {
        self.refresh()?;
        let mut covered = IndexCoverage::whole(manifest);
        covered.lost = self.covered.lost.clone();
        covered.ends = covered.end_of(&self.root, manifest);
        let path = self.write_catalog(manifest.commit, &mut covered)?;
        let payload = serde_json::to_string(&covered).unwrap_or_default();
        let committed = {
            let engine = self.engine()?;
            engine.prepare_commit().and_then(|mut commit| {
                commit.set_payload(&payload);
                commit.commit()
            })
        };
        committed.map_err(|error| self.index.trouble(&error))?;
        self.index
            .reader
            .reload()
            .map_err(|error| self.index.trouble(&error))?;
        self.catalog_mut().written();
        self.share(&path);
        if let Some(current) = self.fresh_index.take() {
            current.write(&self.home, &*self.disk)?;
        }
        let old = std::mem::replace(&mut self.covered, covered).catalog;
        if !old.is_empty() && old != self.covered.catalog {
            // An old catalogue that cannot be deleted does no harm.
            let _ = fs::remove_file(self.index.path.join(old));
        }
        self.fresh.clear();
        self.dropped.clear();
        self.outcomes.clear();
        self.dirty = false;
        Ok(())
    }

    /// Adds a section to the catalogue's file, or begins another file when the sections have outgrown what it began with.
    /// What counts of a file never changes: readers may be at it.
    fn write_catalog(&self, commit: u64, covered: &mut IndexCoverage) -> Result<PathBuf, Error> {
        let had = &self.covered;
        let catalog = self.catalog();
        let grows = had.catalog_bytes > 0
            && (had.catalog_bytes - had.catalog_first) < had.catalog_first.max(SECTIONS_BYTES);
        covered.catalog = if grows {
            had.catalog.clone()
        } else {
            format!("known-{commit}-{}", self.serial())
        };
        let path = self.index.path.join(&covered.catalog);
        let from = if grows { had.catalog_bytes } else { 0 };
        let bytes = if grows { catalog.section() } else { catalog.whole() };
        covered.catalog_bytes = from + bytes.len() as u64;
        let mut sum = crc32fast::Hasher::new_with_initial(if grows { had.catalog_sum } else { 0 });
        sum.update(&bytes);
        covered.catalog_sum = sum.finalize();
        covered.catalog_first = if grows {
            had.catalog_first
        } else {
            covered.catalog_bytes
        };
        RealDisk
            .open_at(&path, from)
            .and_then(|mut file| file.write(&bytes))
            .map_err(Error::io("write", &path))?;
        Ok(path)
    }

    /// A number that no catalogue file has yet.
    fn serial(&self) -> u64 {
        let last = self
            .covered
            .catalog
            .rsplit('-')
            .next()
            .and_then(|number| number.parse::<u64>().ok());
        last.map_or(0, |last| last + 1)
    }

    /// The engine keeps its lists of files to their owner. An archive on a shared disk is for all who may read the rest
    /// of it, so they get the permissions of the catalogue.
    fn share(&self, like: &Path) {
        let Ok(permissions) = fs::metadata(like).map(|metadata| metadata.permissions()) else {
            return;
        };
        for name in ["meta.json", ".managed.json"] {
            // Where this is refused, the others are told that they may not read the index.
            let _ = fs::set_permissions(self.index.path.join(name), permissions.clone());
        }
    }

    /// Waits until merges have ended.
    pub(crate) fn finish(&mut self) -> Result<(), Error> {
        if let Some(engine) = self.engine.take() {
            engine
                .wait_merging_threads()
                .map_err(|error| self.index.trouble(&error))?;
            self.share(&self.index.path.join(&self.covered.catalog));
        }
        Ok(())
    }
}

/// What is listed of a source that gave no run, still without its path; `None` when it gave some.
fn unread_of(record: &SourceRecord) -> Option<UnreadSource> {
    if record.runs > 0 || !matches!(record.verdict, Verdict::Refused | Verdict::Failed) {
        return None;
    }
    let cause = record.remarks.iter().max_by_key(|remark| remark.severity);
    Some(UnreadSource {
        code: cause.map_or_else(
            || record.verdict.as_str().to_owned(),
            |remark| remark.code.as_str().to_owned(),
        ),
        message: cause.map_or_else(String::new, |remark| remark.message.clone()),
        path: String::new(),
        digest: record.digest.as_str().to_owned(),
        family: record.family.clone(),
    })
}

/// What a path that could not be kept is filed under.
fn missed_name(path: &str) -> Digest {
    Digest::of(format!("missed {path}").as_bytes())
}

/// Whether what an index covers was committed in this archive's history.
fn within(covered: &IndexCoverage, manifest: &Manifest) -> bool {
    let inside = |(part, length): (u32, u64), parts: &[crate::manifest::Part]| match parts.get(part as usize)
    {
        Some(part) => length <= part.length,
        None => part == 0 && length == 0,
    };
    inside(covered.originals, &manifest.originals)
        && inside(covered.records, &manifest.records)
        && covered.notes <= manifest.notes.length
}
