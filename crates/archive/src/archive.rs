//! The reader's side: any number of them, and none ever waits.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use curvary_record::stored::{Record, SourceRecord};
use curvary_record::{Digest, Outcome, Run, RunId, Unit, ValueKind, known_field};
use serde::Serialize;
use tantivy::DocAddress;

use crate::aside::Mended;
use crate::asking::{Committed, IndexReader, OpenIndex};
use crate::digests::{SourceKey, digest_bytes};
use crate::frames::{At, FrameDamage};
use crate::index::{Key, Places, sort_path};
use crate::listing::PartRecords;
use crate::lock::Unlocked;
use crate::manifest::{Manifest, original_names, records_name};
use crate::note::{NoteBook, holding};
use crate::originals::{self, OriginalLocation, tarred};
use crate::query::dimension;
use crate::snippet::snippet;
use crate::summary::{Sighted, Summary};
use crate::verify::VerifyReport;
use crate::{
    Error, FORMAT, Note, Query, Settings, View, Vocabulary, Writer, rebuild, unfinished, upgrade, verify,
    view,
};

/// An archive, open for reading. What it shows is what was committed when it was opened, or last
/// [refreshed](Self::refresh).
pub struct Archive {
    pub(crate) root: PathBuf,
    pub(crate) settings: Settings,
    pub(crate) manifest: Manifest,
    notes: OnceLock<NoteBook>,
    open: OpenIndex,
}

/// How to answer a query.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FindOptions {
    /// By what to order; without it by relevance when the query has words, else newest first.
    pub sort: Option<RunOrder>,
    /// How many runs to give at most; 0 for all.
    pub limit: usize,
    /// How many to leave out in front.
    pub skip: usize,
    /// Whether to cut out the text around the words that were found.
    pub snippets: bool,
}

/// An order of runs by one field. `"date".parse()` and `"-temperature".parse()` work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunOrder {
    /// A field, or `points`, `traces`, `technique`, `reader`, `path`.
    pub key: String,
    /// Which way.
    pub direction: Direction,
}

/// Which way an order runs. Runs without a value come last either way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Smallest first.
    Rising,
    /// Largest first.
    Falling,
}

impl std::str::FromStr for RunOrder {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(match text.strip_prefix('-') {
            Some(key) => Self {
                key: key.to_owned(),
                direction: Direction::Falling,
            },
            None => Self {
                key: text.to_owned(),
                direction: Direction::Rising,
            },
        })
    }
}

/// The answer to a query.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SearchResult {
    /// How many runs match.
    pub total: usize,
    /// Those that were asked for.
    pub hits: Vec<Hit>,
    /// How many committed bytes of records are not indexed yet, because a writer is at work or the index could not be
    /// written; 0 means the answer is complete.
    pub behind: u64,
}

/// A run that matches.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hit {
    /// Its name.
    pub id: RunId,
    /// What a table shows of it.
    pub summary: Summary,
    /// Text around the words that were found, with the words between `[` and `]`.
    pub snippet: Option<String>,
}

/// By what runs can be counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FacetName {
    /// The technique.
    Technique,
    /// The year of the measurement.
    Year,
    /// The sample.
    Sample,
    /// The reader.
    Reader,
    /// The tags that people gave.
    Tag,
    /// `read` or `in-question`.
    #[serde(rename = "is")]
    Verdict,
}

/// How many runs there are of each value.
pub type Facets = BTreeMap<FacetName, Vec<FacetCount>>;

/// How many runs have a value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FacetCount {
    /// The value.
    pub value: String,
    /// How many runs.
    pub count: u64,
}

/// So many runs a source may have had when answers about them were given, beyond those that it has now.
const LOST_RUNS: u32 = 64;

impl Archive {
    /// Begins an archive in a folder, which is made if need be.
    ///
    /// # Errors
    /// When there is one already, also one whose `archive.toml` is gone, or the disk refuses.
    pub fn create(root: &Path, name: &str) -> Result<Self, Error> {
        let settings = Settings::path(root);
        if settings.exists() {
            return Err(Error::AlreadyThere {
                path: root.to_owned(),
            });
        }
        let remains = [Manifest::path(root), root.join("originals"), root.join("records")];
        if let Some(remains) = remains.iter().find(|remains| remains.exists()) {
            return Err(Error::Unlisted {
                path: settings,
                found: format!("no such file, although {} is there", remains.display()),
                expected: "the settings of the archive that is there".into(),
            });
        }
        fs::create_dir_all(root).map_err(Error::io("make the folder", root))?;
        rebuild::begin(root, name)?;
        Self::open(root)
    }

    /// Makes again what an archive cannot be opened without: `archive.toml` where it is gone, and the manifest, from the
    /// originals, records and notes themselves. Nothing is deleted: what is no whole entry is moved into `aside/`.
    ///
    /// # Errors
    /// When another process writes, or the disk refuses.
    pub fn rebuild(root: &Path) -> Result<Mended, Error> {
        rebuild::rebuild(root)
    }

    /// Opens the archive in a folder.
    ///
    /// # Errors
    /// When there is none, it is of a newer format, or its settings or manifest cannot be read.
    pub fn open(root: &Path) -> Result<Self, Error> {
        let settings = Settings::read(root)?;
        let mut manifest = Manifest::read(root)?;
        // A writer may have put a newer manifest there between two of our looks, and begun the next commit.
        for look in 0.. {
            match unfinished::explained(root, &manifest) {
                Ok(()) => break,
                Err(error) => {
                    let again = Manifest::read(root)?;
                    if again == manifest || look > 20 {
                        return Err(error);
                    }
                    manifest = again;
                }
            }
        }
        Ok(Self {
            root: root.to_owned(),
            settings,
            manifest,
            notes: OnceLock::new(),
            open: OpenIndex::default(),
        })
    }

    /// Looks again at what is committed.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub fn refresh(&mut self) -> Result<(), Error> {
        *self = Self::open(&self.root)?;
        Ok(())
    }

    /// The nearest folder, from `folder` upwards, that holds an archive.
    #[must_use]
    pub fn nearest(folder: &Path) -> Option<PathBuf> {
        folder
            .ancestors()
            .find(|above| Settings::path(above).is_file())
            .map(Path::to_owned)
    }

    /// Its folder.
    #[must_use]
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The number of the commit that it was opened at.
    #[must_use]
    pub fn commit(&self) -> u64 {
        self.manifest.commit
    }

    /// What people have decided about it.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    pub(crate) fn note_book(&self) -> Result<&NoteBook, Error> {
        if let Some(notes) = self.notes.get() {
            return Ok(notes);
        }
        let notes = NoteBook::read(&self.root, &self.manifest.notes)?;
        Ok(self.notes.get_or_init(|| notes))
    }

    /// Does some work with the index, which is built anew where it turns out to be damaged.
    pub(crate) fn asked<T>(&self, work: impl Fn(&IndexReader) -> Result<T, Error>) -> Result<T, Error> {
        let committed = Committed {
            root: &self.root,
            settings: &self.settings,
            manifest: &self.manifest,
        };
        self.open.with(committed, work)
    }

    /// Stretches of records that could not be read, a sentence each: the runs in them are missing from every answer.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn lost(&self) -> Result<Vec<String>, Error> {
        let told = |lost: &FrameDamage| {
            format!(
                "{}, byte {}: {} bytes of records are damaged, and what they hold is missing",
                records_name(lost.part),
                lost.at,
                lost.length
            )
        };
        self.asked(|asking| Ok(asking.lost.iter().map(told).collect()))
    }

    /// Gives back the memory that questions to it have taken; it is opened again when the next one is asked.
    pub fn rest(&self) {
        self.open.close();
    }

    /// Builds the index anew from the records, in a new folder that takes the old one's place when it is whole.
    ///
    /// # Errors
    /// When another process writes, or the disk refuses.
    pub fn reindex(&self) -> Result<(), Error> {
        self.open.build_anew(&self.root)
    }

    pub(crate) fn read(&self, asking: &IndexReader, at: At) -> Result<Record, Error> {
        let path = self.root.join(records_name(at.part));
        asking.frames.record(&path, at)
    }

    /// Understands a query with the words of this archive.
    ///
    /// # Errors
    /// [`Error::Query`] with the column and the nearest right word.
    pub fn query(&self, text: &str) -> Result<Query, Error> {
        // Most queries use known fields alone; the words of the house cost a look at the index.
        let vocabulary = self.vocabulary()?;
        if vocabulary == Vocabulary::default()
            && let Ok(query) = Query::parse(text, &[])
        {
            return Ok(query);
        }
        Ok(Query::with_vocabulary(text, &self.house_words()?, &vocabulary)?)
    }

    /// What people said that keys, units and values mean.
    ///
    /// # Errors
    /// When the answers cannot be read.
    pub fn vocabulary(&self) -> Result<Vocabulary, Error> {
        Ok(Vocabulary::of(self.answers()?.holding(), &self.settings().words))
    }

    /// The keys of this archive that no field is known for, each in its own spelling.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn house_words(&self) -> Result<Vec<String>, Error> {
        let counts = self.asked(|asking| asking.index.count(&Query::everything(), "house"))?;
        Ok(counts.into_keys().collect())
    }

    /// The runs that match, in order, each with its summary.
    ///
    /// # Errors
    /// When the index cannot be read, or the order names no field.
    pub fn find(&self, query: &Query, options: &FindOptions) -> Result<SearchResult, Error> {
        self.asked(|asking| {
            let (total, addresses) = self.in_order(asking, query, options)?;
            let mut hits = Vec::with_capacity(addresses.len());
            let names = asking.index.ids_at(&addresses)?;
            for (id, address) in names.into_iter().zip(addresses) {
                let (summary, _) = asking.index.shown_of(address)?;
                let snippet = if options.snippets {
                    snippet(&summary, &query.sought())
                } else {
                    None
                };
                hits.push(Hit {
                    id: RunId::named(id),
                    summary,
                    snippet,
                });
            }
            Ok(SearchResult {
                total,
                hits,
                behind: asking.behind,
            })
        })
    }

    /// The names of the runs that match, latest first. What a table shows of each is not looked up.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn names(&self, query: &Query) -> Result<Vec<RunId>, Error> {
        self.names_in_order(query, &FindOptions::default())
    }

    /// The same in an order and of those that are asked for.
    ///
    /// # Errors
    /// As [`find`](Self::find).
    pub fn names_in_order(&self, query: &Query, options: &FindOptions) -> Result<Vec<RunId>, Error> {
        self.asked(|asking| {
            let (_, addresses) = self.in_order(asking, query, options)?;
            let names = asking.index.ids_at(&addresses)?;
            Ok(names.into_iter().map(RunId::named).collect())
        })
    }

    /// How many runs match, and where those stand that are asked for.
    fn in_order(
        &self,
        asking: &IndexReader,
        query: &Query,
        options: &FindOptions,
    ) -> Result<(usize, Vec<DocAddress>), Error> {
        let (key, falling) = match &options.sort {
            None => (Key::When, true),
            Some(sort) => (self.sort_key(&sort.key)?, sort.direction == Direction::Falling),
        };
        asking
            .index
            .find(query, &key, falling, options.skip, options.limit)
    }

    fn sort_key(&self, key: &str) -> Result<Key, Error> {
        let number = |unit: &str| Key::Number(sort_path(key, unit));
        Ok(match (key, known_field(key).map(|known| known.kind)) {
            ("date", _) => Key::When,
            ("points" | "traces", _) => number(""),
            ("technique" | "reader", _) => Key::Text(key.to_owned()),
            ("path", _) | (_, Some(ValueKind::Text)) => Key::Text(format!("={key}")),
            (_, Some(ValueKind::Number(unit))) => number(&dimension(&Unit::ucum(unit).unwrap_or(Unit::ONE))),
            (_, Some(ValueKind::Range(unit))) => Key::Number(sort_path(
                key,
                &format!("{}|from", dimension(&Unit::ucum(unit).unwrap_or(Unit::ONE))),
            )),
            (_, Some(ValueKind::TimeOfDay)) => number("s"),
            _ if key.starts_with("result.") => number("si"),
            _ if self.house_words()?.iter().any(|word| word == key) => number(""),
            _ => {
                // The query language finds the nearest right word and says so.
                Query::parse(&format!("\"{}\":x", key.replace('"', "")), &self.house_words()?)?;
                number("")
            }
        })
    }

    /// How many of the matching runs there are of each value; at most `limit` values each (0 for all), most frequent
    /// first.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn facets(&self, query: &Query, names: &[FacetName], limit: usize) -> Result<Facets, Error> {
        self.asked(|asking| {
            let mut facets = Facets::new();
            for &name in names {
                let list = match name {
                    FacetName::Technique => "technique",
                    FacetName::Year => "year",
                    FacetName::Sample => "=sample",
                    FacetName::Reader => "reader",
                    FacetName::Tag => "tag",
                    FacetName::Verdict => "is",
                };
                let counts = asking
                    .index
                    .count(query, list)?
                    .into_iter()
                    .filter(|(value, _)| match name {
                        // Readers are filed under their short names too; what else a run is says nothing of its reading.
                        FacetName::Reader => value.contains('/'),
                        FacetName::Verdict => matches!(value.as_str(), "read" | "in-question"),
                        _ => true,
                    });
                let mut counts: Vec<FacetCount> =
                    counts.map(|(value, count)| FacetCount { value, count }).collect();
                counts.sort_by(|a, b| b.count.cmp(&a.count).then_with(|| a.value.cmp(&b.value)));
                if limit > 0 {
                    counts.truncate(limit);
                }
                facets.insert(name, counts);
            }
            Ok(facets)
        })
    }

    /// The run whose name begins so.
    ///
    /// # Errors
    /// [`Error::NoRun`] and [`Error::Ambiguous`], or when the disk refuses.
    pub fn resolve(&self, asked: &str) -> Result<RunId, Error> {
        self.asked(|asking| self.found(asking, asked))
            .map(|found| found.0)
    }

    fn found(&self, asking: &IndexReader, asked: &str) -> Result<(RunId, Sighted, Places), Error> {
        const SHOWN: usize = 8;
        let asked = asked.strip_prefix("run-").unwrap_or(asked);
        let prefix = asked.trim().to_lowercase();
        let none = || Error::NoRun {
            asked: asked.to_owned(),
        };
        if prefix.is_empty() {
            return Err(none());
        }
        let mut all = asking.index.beginning(&prefix, SHOWN)?;
        if let Some(exact) = all.iter().position(|one| one.0 == prefix) {
            all.swap(0, exact);
            all.truncate(1);
        }
        match all.as_slice() {
            [] => Err(none()),
            [(id, address)] => {
                let (sighted, places) = asking.index.sighted(*address)?;
                Ok((RunId::named(id.as_str()), sighted, places))
            }
            several => Err(Error::Ambiguous {
                asked: asked.to_owned(),
                candidates: several.iter().map(|one| RunId::named(one.0.as_str())).collect(),
            }),
        }
    }

    /// A run as it is seen today, by a beginning of its name.
    ///
    /// # Errors
    /// As [`resolve`](Self::resolve), or when its record is damaged.
    pub fn run(&self, asked: &str) -> Result<View, Error> {
        self.asked(|asking| {
            let (id, sighted, places) = self.found(asking, asked)?;
            let mut run = self.run_at(asking, &id, places.run)?;
            let notes = self.note_book()?.about(id.as_str()).to_vec();
            let Sighted { paths, superseded } = sighted;
            view::lay_over(&mut run, &self.settings, &paths, &notes);
            let mut outcomes = self.outcomes_at(asking, &places)?;
            view::see(&mut outcomes, &notes);
            Ok(View {
                run,
                paths,
                superseded,
                notes,
                outcomes,
            })
        })
    }

    pub(crate) fn run_at(&self, asking: &IndexReader, id: &RunId, at: At) -> Result<Run, Error> {
        match self.read(asking, at)? {
            Record::Run(run) if run.0.id == *id => Ok(run.0),
            _ => Err(Error::damaged(
                &self.root.join(records_name(at.part)),
                at.frame,
                "another record",
                format!("the run {id}"),
            )),
        }
    }

    pub(crate) fn outcomes_at(&self, asking: &IndexReader, places: &Places) -> Result<Vec<Outcome>, Error> {
        let mut all = Vec::with_capacity(places.outcomes.len());
        for &at in &places.outcomes {
            if let Record::Outcome(outcome) = self.read(asking, at)? {
                all.push(*outcome);
            }
        }
        Ok(all)
    }

    /// A run as it was stored, by its whole name.
    ///
    /// # Errors
    /// As [`run`](Self::run).
    pub fn stored(&self, id: &RunId) -> Result<Run, Error> {
        self.asked(|asking| {
            let (found, _, places) = self.found(asking, id.as_str())?;
            self.run_at(asking, &found, places.run)
        })
    }

    /// Every committed record in the order in which it was written, superseded readings included.
    ///
    /// # Errors
    /// Each item can be an error; what follows a damaged stretch is given all the same.
    pub fn records(&self) -> impl Iterator<Item = Result<Record, Error>> + '_ {
        (0_u32..).zip(&self.manifest.records).flat_map(|(number, part)| {
            let path = self.root.join(&part.name);
            PartRecords::new(number, path, part.length)
        })
    }

    /// What is known of a source.
    ///
    /// # Errors
    /// When the index cannot be read or the record is damaged.
    pub fn source(&self, digest: &Digest) -> Result<Option<SourceRecord>, Error> {
        self.asked(|asking| {
            let Some(source) = asking.source(digest)? else {
                return Ok(None);
            };
            Ok(match self.read(asking, source.record)? {
                Record::Source(record) => Some(record),
                _ => None,
            })
        })
    }

    /// The runs that a source gave, in their order in it; none where the archive has no such source.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn runs_of(&self, digest: &Digest) -> Result<Vec<RunId>, Error> {
        self.asked(|asking| {
            let runs = asking.source(digest)?.map_or(0, |source| source.runs);
            Ok((0..runs)
                .map(|ordinal| RunId::new(digest, ordinal as usize))
                .collect())
        })
    }

    /// The runs of a source about which something was noted or found.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn spoken_of(&self, digest: &Digest) -> Result<Vec<RunId>, Error> {
        self.asked(|asking| {
            let runs = asking.source(digest)?.map_or(0, |source| source.runs);
            let book = self.note_book()?;
            let mut all = Vec::new();
            for ordinal in 0..runs {
                let id = RunId::new(digest, ordinal as usize);
                let found = || {
                    Ok::<_, Error>(
                        asking
                            .index
                            .places(id.as_str())?
                            .is_some_and(|at| !at.outcomes.is_empty()),
                    )
                };
                if book.says(id.as_str()) || found()? {
                    all.push(id);
                }
            }
            Ok(all)
        })
    }

    /// The bytes of an original.
    ///
    /// # Errors
    /// When there is none, or its bytes no longer agree with the digest.
    pub fn original(&self, digest: &Digest) -> Result<Vec<u8>, Error> {
        self.named_original(digest).map(|named| named.1)
    }

    /// The bytes of an original and the path under which it was met first. Where its records are lost, the path is the
    /// name that it has among the originals.
    ///
    /// # Errors
    /// As [`original`](Self::original).
    pub fn named_original(&self, digest: &Digest) -> Result<(String, Vec<u8>), Error> {
        let known = self.asked(|asking| {
            let source = asking.source(digest)?;
            let known = source.filter(|source| source.held != OriginalLocation::NOWHERE);
            Ok(known.map(|source| (source.held, asking.first_path(digest))))
        })?;
        let none = || Error::NoOriginal {
            digest: digest.clone(),
        };
        let (held, met) = match known {
            Some((held, path)) => (held, path?),
            None => (self.unrecorded(digest)?.ok_or_else(none)?, None),
        };
        let listed = self.manifest.originals.get(held.part as usize);
        let path = match listed {
            Some(part) => self.root.join(&part.name),
            // A writer has begun a part since this archive was opened.
            None => original_names(held.part)
                .map(|name| self.root.join(name))
                .into_iter()
                .find(|path| path.exists())
                .ok_or_else(none)?,
        };
        let (name, bytes) = originals::read(&path, held)?;
        let found = Digest::of(&bytes);
        if found != *digest {
            return Err(Error::damaged(
                &path,
                u64::from(held.at),
                found.to_string(),
                digest.to_string(),
            ));
        }
        Ok((met.unwrap_or(name), bytes))
    }

    /// Those of some sources whose originals are lost, each with its first path. Every frame that holds one is unpacked once, up to its
    /// checksum.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn lost_among(
        &self,
        sources: impl IntoIterator<Item = SourceKey>,
    ) -> Result<BTreeMap<SourceKey, String>, Error> {
        let mut frames: BTreeMap<(u32, u32), Vec<SourceKey>> = BTreeMap::new();
        for key in sources {
            let source = self.asked(|asking| asking.source(&key.digest()))?;
            let held = source.map_or(OriginalLocation::NOWHERE, |source| source.held);
            frames.entry((held.part, held.at)).or_default().push(key);
        }
        let mut lost = BTreeMap::new();
        for ((part, at), keys) in frames {
            let listed = self.manifest.originals.get(part as usize);
            let is_whole = listed
                .filter(|part| !originals::is_zip(&part.name))
                .is_some_and(|part| tarred::is_whole(&self.root.join(&part.name), at));
            if is_whole {
                continue;
            }
            // What the index does not know is looked for in all parts, once for all.
            let unrecorded = (part == OriginalLocation::NOWHERE.part).then(|| self.members());
            for key in keys {
                let digest = &key.digest();
                let is_there = match &unrecorded {
                    Some(all) => all.contains(key.bytes()),
                    // In a frame that is damaged the first members may be whole.
                    None => self.original(digest).is_ok(),
                };
                if !is_there {
                    let path = self.asked(|asking| asking.first_path(digest))?;
                    lost.insert(key, path.unwrap_or_default());
                }
            }
        }
        Ok(lost)
    }

    /// The digests of all originals that are whole.
    fn members(&self) -> BTreeSet<[u8; 32]> {
        let parts = (0_u32..).zip(&self.manifest.originals);
        let found = parts.filter_map(|(number, part)| originals::members(&self.root, number, part).ok());
        found
            .flat_map(|members| members.all)
            .map(|member| member.digest)
            .collect()
    }

    /// Where an original lies that no record knows.
    fn unrecorded(&self, digest: &Digest) -> Result<Option<OriginalLocation>, Error> {
        let sought = digest_bytes(digest.as_str());
        for (part, original) in (0_u32..).zip(&self.manifest.originals) {
            let members = originals::members(&self.root, part, original)?;
            if let Some(member) = members
                .all
                .into_iter()
                .find(|member| Some(member.digest) == sought)
            {
                return Ok(Some(member.held));
            }
        }
        Ok(None)
    }

    /// What computations found about a run, oldest first.
    ///
    /// # Errors
    /// When a record is damaged.
    pub fn outcomes(&self, id: &RunId) -> Result<Vec<Outcome>, Error> {
        self.asked(|asking| {
            let (id, _, places) = self.found(asking, id.as_str())?;
            let mut outcomes = self.outcomes_at(asking, &places)?;
            let notes = self.note_book()?.about(id.as_str());
            view::see(&mut outcomes, notes);
            Ok(outcomes)
        })
    }

    /// The results that were kept last, the newest first, each once.
    ///
    /// # Errors
    /// When the index cannot be read or a record is damaged.
    pub fn latest_outcomes(&self, limit: usize) -> Result<Vec<Outcome>, Error> {
        const LOOKED_AT: usize = 20_000;
        self.asked(|asking| {
            let query = Query::of(crate::query::QueryNode::exact("has", "result"));
            let (_, addresses) = asking.index.find(&query, &Key::When, true, 0, LOOKED_AT)?;
            let mut places: Vec<At> = Vec::new();
            for address in addresses {
                places.extend(asking.index.shown(address)?.2.outcomes);
            }
            places.sort_by_key(|at| std::cmp::Reverse((at.part, at.frame, at.line)));
            places.dedup_by_key(|at| (at.part, at.frame, at.line));
            let mut all: Vec<Outcome> = Vec::new();
            for at in places {
                if all.len() == limit {
                    break;
                }
                let Record::Outcome(outcome) = self.read(asking, at)? else {
                    continue;
                };
                let book = self.note_book()?;
                let counts = |run: &RunId| !view::is_taken_back(&outcome.id, book.about(run.as_str()));
                if outcome.runs.iter().all(counts) {
                    all.push(*outcome);
                }
            }
            Ok(all)
        })
    }

    /// What people answered.
    ///
    /// # Errors
    /// When a line is no answer.
    pub fn answers(&self) -> Result<crate::StoredAnswers, Error> {
        crate::StoredAnswers::read(&self.root)
    }

    /// Every note, oldest first.
    ///
    /// # Errors
    /// When the file is damaged.
    pub fn notes(&self) -> Result<Vec<Note>, Error> {
        Ok(self.note_book()?.iter().cloned().collect())
    }

    /// The answers to questions that notes give for any run of a source, oldest first: what to assume when it is read
    /// again.
    ///
    /// # Errors
    /// When the notes are damaged.
    pub fn assumed(&self, digest: &Digest) -> Result<Vec<String>, Error> {
        self.asked(|asking| {
            // An answer was perhaps given about a run that the source has no longer.
            let runs = asking.source(digest)?.map_or(0, |source| source.runs);
            let runs = if self.manifest.notes.length == 0 {
                0
            } else {
                runs.max(LOST_RUNS)
            };
            let names: Vec<RunId> = (0..runs)
                .map(|ordinal| RunId::new(digest, ordinal as usize))
                .collect();
            let book = self.note_book()?;
            let mut all: Vec<(&str, String)> = Vec::new();
            for name in &names {
                let notes = book.about(name.as_str());
                for (note, said) in notes.iter().zip(holding(notes)) {
                    let answers = note
                        .assume
                        .iter()
                        .filter(|answer| said.contains(&answer.as_str()));
                    all.extend(answers.map(|answer| (note.at.as_str(), answer.clone())));
                }
            }
            // Oldest first, whichever run of the source they were said of.
            all.sort_by_key(|(at, _)| *at);
            Ok(all.into_iter().map(|(_, answer)| answer).collect())
        })
    }

    /// Checks every original, record and index entry. `told` hears of progress: bytes done, bytes in all.
    ///
    /// # Errors
    /// Only when the check itself cannot be done; what it finds is in [`VerifyReport::problems`].
    pub fn verify(&self, told: &mut dyn FnMut(u64, u64)) -> Result<VerifyReport, Error> {
        verify::all(&self.root, &self.settings, &self.manifest, told)
    }

    /// Puts right what can be put right: cuts off what was never committed, writes ZIP directories and the index anew.
    /// Gives what a check finds afterwards.
    ///
    /// # Errors
    /// When another process writes, or the disk refuses.
    pub fn repair(&mut self, told: &mut dyn FnMut(u64, u64)) -> Result<VerifyReport, Error> {
        let built = self.reindex();
        self.refresh()?;
        let checked = self.verify(told)?;
        // An index cannot be built from damaged records; the check says which.
        match built {
            Err(error) if checked.problems.is_empty() => Err(error),
            _ => Ok(checked),
        }
    }

    /// Frees a lock that a writer left behind. `gone` says that it is known to be gone: of a process on another machine
    /// nothing here can tell.
    ///
    /// # Errors
    /// [`Error::Locked`] when its holder is at work, or may be.
    pub fn unlock(root: &Path, gone: bool) -> Result<Unlocked, Error> {
        crate::lock::unlock(root, gone)
    }

    /// Moves the archive on to the newest format; gives the number of the format before, unless it had it already. What
    /// is there stays as it is, and what is written from now on is in the newest format, which older programs refuse.
    ///
    /// # Errors
    /// When another process writes, or the disk refuses.
    pub fn upgrade(&mut self) -> Result<Option<u32>, Error> {
        let before = upgrade::upgrade(&self.root)?;
        self.refresh()?;
        Ok(before)
    }

    /// Opens the archive for writing. `command` is what others are told of the holder, such as `curvary add`.
    ///
    /// # Errors
    /// [`Error::OlderFormat`], [`Error::Locked`], or when the disk refuses.
    pub fn write(&self, command: &str) -> Result<Writer, Error> {
        if self.manifest.format < FORMAT {
            return Err(Error::OlderFormat {
                path: self.root.clone(),
                found: self.manifest.format,
                known: FORMAT,
            });
        }
        Writer::open(&self.root, command)
    }
}
