//! The index: facts of runs in a full-text engine, and the catalogue beside it. All of it may be deleted at any time.

mod document;
mod named;
mod names;
mod queries;
mod ranks;
mod seven_bits;
mod struck;

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::path::{Path, PathBuf};

use curvary_record::RunId;
use tantivy::directory::error::OpenReadError;
use tantivy::query::{EnableScoring, Query as EngineQuery};
use tantivy::schema::{Field, Value as _};
use tantivy::{DocAddress, DocId, IndexReader, ReloadPolicy, Searcher, SegmentReader, TantivyDocument};

pub(crate) use self::document::{FiledDocument, FiledDocuments};
use self::named::beginning_so;
pub(crate) use self::names::{IndexFields, Places, UnreadSource, schema, sort_path};
use self::names::{order_of, step};
pub(crate) use self::ranks::Key;
use self::ranks::{RunRank, keep_first, ranks};
use crate::current::IndexCoverage;
use crate::digests::digest_named;
use crate::likeness::{QuerySignature, SignatureBound};
use crate::query::{Query, QueryNode};
use crate::sealed::Sealed;
use crate::{Error, words};

/// So many matches are ranked at once, and then only the first of them kept: some 3 MB of ranks and places, at 24 to 40 bytes
/// and the texts by which they are ordered, however many there are.
const AT_ONCE: usize = 1 << 16;

/// An index, open for asking.
pub(crate) struct Index {
    pub(crate) path: PathBuf,
    pub(crate) engine: tantivy::Index,
    pub(crate) names: IndexFields,
    pub(crate) reader: IndexReader,
    files: Sealed,
}

/// What is done with the living matches of one segment: its number, its reader, the matches.
type EachSegment<'a> = dyn FnMut(u32, &SegmentReader, &[DocId]) -> tantivy::Result<()> + 'a;

/// A run that may be alike.
pub(crate) struct AlikeCandidate {
    when: i64,
    order: u64,
    pub(crate) address: DocAddress,
    pub(crate) screened: SignatureBound,
}

impl Index {
    pub(crate) fn trouble(&self, error: &tantivy::TantivyError) -> Error {
        Error::Index {
            path: self.path.clone(),
            message: error.to_string(),
            damaged: self.files.is_damaged(),
        }
    }

    /// Whether something was read that is not what was written.
    pub(crate) fn is_damaged(&self) -> bool {
        self.files.is_damaged()
    }

    /// An entry is not what was filed.
    pub(crate) fn damaged(&self) -> Error {
        Error::Index {
            path: self.path.clone(),
            message: "an entry is damaged".into(),
            damaged: true,
        }
    }

    pub(crate) fn create(path: &Path) -> Result<Self, Error> {
        let settings = tantivy::IndexSettings {
            // A third less than with LZ4, and a block is unpacked in some 30 µs; 32 of them, 1 MB, are kept of each segment.
            docstore_compression: tantivy::store::Compressor::Zstd(tantivy::store::ZstdCompressor::default()),
            docstore_blocksize: 32_768,
            docstore_compress_dedicated_thread: false,
            ..tantivy::IndexSettings::default()
        };
        Self::of(path, |files| tantivy::Index::create(files, schema().0, settings))
    }

    pub(crate) fn open(path: &Path) -> Result<Self, Error> {
        Self::of(path, tantivy::Index::open)
    }

    fn of(
        path: &Path,
        engine: impl FnOnce(Sealed) -> tantivy::Result<tantivy::Index>,
    ) -> Result<Self, Error> {
        let wrong = |message: String, damaged| Error::Index {
            path: path.to_owned(),
            message,
            damaged,
        };
        let files = Sealed::open(path).map_err(|error| wrong(error.to_string(), false))?;
        // A list of files that is not there or cannot be understood is as bad as a damaged one.
        let engine = engine(files.clone()).map_err(|error| {
            let damaged = files.is_damaged()
                || matches!(
                    error,
                    tantivy::TantivyError::DataCorruption(_)
                        | tantivy::TantivyError::OpenReadError(OpenReadError::FileDoesNotExist(_))
                );
            wrong(error.to_string(), damaged)
        })?;
        engine.tokenizers().register("words", words::analyzer());
        let reader = engine
            .reader_builder()
            .reload_policy(ReloadPolicy::Manual)
            .doc_store_cache_num_blocks(32)
            .try_into()
            .map_err(|error: tantivy::TantivyError| wrong(error.to_string(), files.is_damaged()))?;
        Ok(Self {
            path: path.to_owned(),
            engine,
            names: schema().1,
            reader,
            files,
        })
    }

    /// Reads every byte of every file that is in use.
    pub(crate) fn check(&self) -> Result<(), Error> {
        let metas = self
            .engine
            .searchable_segment_metas()
            .map_err(|error| self.trouble(&error))?;
        let in_use = |file: &PathBuf| {
            let name = file.to_string_lossy();
            metas.iter().any(|meta| {
                let deleted = meta
                    .delete_opstamp()
                    .is_some_and(|stamp| name.ends_with(&format!(".{stamp}.del")));
                name.starts_with(&meta.id().uuid_string()) && (deleted || !name.ends_with(".del"))
            })
        };
        for file in self.engine.directory().list_managed_files() {
            if !in_use(&file) {
                continue;
            }
            self.files.check(&file).map_err(|error| Error::Index {
                path: self.path.join(&file),
                message: error.to_string(),
                damaged: true,
            })?;
        }
        Ok(())
    }

    pub(crate) fn covered(&self) -> Result<IndexCoverage, Error> {
        let metas = self.engine.load_metas().map_err(|error| self.trouble(&error))?;
        Ok(metas
            .payload
            .and_then(|payload| serde_json::from_str(&payload).ok())
            .unwrap_or_default())
    }

    /// Calls `each` for every living document that matches.
    fn each(
        &self,
        searcher: &Searcher,
        query: &dyn EngineQuery,
        each: &mut EachSegment<'_>,
    ) -> Result<(), Error> {
        let mut all = || -> Result<(), tantivy::TantivyError> {
            let weight = query.weight(EnableScoring::disabled_from_searcher(searcher))?;
            let mut living: Vec<DocId> = Vec::new();
            for (ordinal, segment) in (0_u32..).zip(searcher.segment_readers()) {
                let alive = segment.alive_bitset();
                living.clear();
                weight.for_each_no_score(segment, &mut |documents| {
                    living.extend(
                        documents
                            .iter()
                            .filter(|&&doc| alive.is_none_or(|alive| alive.is_alive(doc))),
                    );
                })?;
                each(ordinal, segment, &living)?;
            }
            Ok(())
        };
        all().map_err(|error| self.trouble(&error))
    }

    /// Every match in order: how many there are, and those from `skip` on, at most `limit` (0 for all).
    pub(crate) fn find(
        &self,
        query: &Query,
        key: &Key,
        falling: bool,
        skip: usize,
        limit: usize,
    ) -> Result<(usize, Vec<DocAddress>), Error> {
        let searcher = self.reader.searcher();
        let engine_query = self.asked(query);
        let end = if limit == 0 {
            usize::MAX
        } else {
            skip.saturating_add(limit)
        };
        let mut total = 0;
        if let Key::When = key {
            // The common case, with plain numbers: a missing date comes last either way.
            let mut all: Vec<(i64, u64, DocAddress)> = Vec::new();
            self.each(&searcher, &*engine_query, &mut |ordinal, segment, documents| {
                let when = segment.fast_fields().i64("when")?;
                let order = segment.fast_fields().u64("order")?;
                total += documents.len();
                for some in documents.chunks(AT_ONCE) {
                    all.extend(some.iter().map(|&doc| {
                        let rank = match when.first(doc) {
                            Some(when) if falling => -when,
                            Some(when) => when,
                            None => i64::MAX,
                        };
                        (rank, order.first(doc).unwrap_or(0), DocAddress::new(ordinal, doc))
                    }));
                    keep_first(&mut all, end, Ord::cmp);
                }
                Ok(())
            })?;
            all.sort_unstable();
            return Ok((total, all.into_iter().skip(skip).map(|one| one.2).collect()));
        }
        let compare = |a: &(RunRank, u64, DocAddress), b: &(RunRank, u64, DocAddress)| {
            let ranks = match (&a.0, &b.0) {
                (RunRank::None, RunRank::None) => Ordering::Equal,
                (RunRank::None, _) => Ordering::Greater,
                (_, RunRank::None) => Ordering::Less,
                (a, b) => {
                    let order = a.partial_cmp(b).unwrap_or(Ordering::Equal);
                    if falling { order.reverse() } else { order }
                }
            };
            ranks.then(a.1.cmp(&b.1))
        };
        let mut all: Vec<(RunRank, u64, DocAddress)> = Vec::new();
        self.each(&searcher, &*engine_query, &mut |ordinal, segment, documents| {
            let order = segment.fast_fields().u64("order")?;
            total += documents.len();
            for some in documents.chunks(AT_ONCE) {
                let ranks = ranks(segment, key, falling, some)?;
                all.extend(ranks.into_iter().zip(some).map(|(rank, &doc)| {
                    (rank, order.first(doc).unwrap_or(0), DocAddress::new(ordinal, doc))
                }));
                keep_first(&mut all, end, compare);
            }
            Ok(())
        })?;
        all.sort_unstable_by(compare);
        Ok((total, all.into_iter().skip(skip).map(|one| one.2).collect()))
    }

    /// Every match but the run called `but`, newest first, with what its signatures tell of its likeness.
    pub(crate) fn screen(
        &self,
        query: &Query,
        sought: &mut QuerySignature<'_>,
        but: Option<&RunId>,
    ) -> Result<Vec<AlikeCandidate>, Error> {
        let searcher = self.reader.searcher();
        let engine_query = self.asked(query);
        let but = but.map(|id| order_of(id.as_str()));
        let mut all: Vec<AlikeCandidate> = Vec::new();
        self.each(&searcher, &*engine_query, &mut |ordinal, segment, documents| {
            let when = segment.fast_fields().i64("when")?;
            let order = segment.fast_fields().u64("order")?;
            let from = all.len();
            all.extend(documents.iter().filter_map(|&doc| {
                let order = order.first(doc).unwrap_or(0);
                (Some(order) != but).then(|| AlikeCandidate {
                    when: when.first(doc).map_or(i64::MAX, |when| -when),
                    order,
                    address: DocAddress::new(ordinal, doc),
                    screened: SignatureBound::Nothing,
                })
            }));
            let Some(shapes) = segment.fast_fields().bytes("shape")? else {
                return Ok(());
            };
            let fresh = all.get_mut(from..).unwrap_or_default();
            // In the order of the dictionary, so that it is read once from one end to the other, range by range.
            let mut pairs: Vec<(u64, usize)> = Vec::with_capacity(fresh.len());
            for (place, candidate) in fresh.iter().enumerate() {
                pairs.extend(
                    shapes
                        .term_ords(candidate.address.doc_id)
                        .map(|shape| (shape, place)),
                );
            }
            pairs.sort_unstable();
            let ordinals: Vec<u64> = pairs.iter().map(|pair| pair.0).collect();
            let mut places = pairs.iter().map(|pair| pair.1);
            let whole = shapes.dictionary().sorted_ords_to_term_cb(&ordinals, |shape| {
                if let Some(candidate) = places.next().and_then(|place| fresh.get_mut(place)) {
                    candidate.screened = candidate.screened.or(sought.screen(shape));
                }
            })?;
            if whole {
                Ok(())
            } else {
                Err(tantivy::TantivyError::InternalError(
                    "a signature is missing".into(),
                ))
            }
        })?;
        all.sort_unstable_by_key(|candidate| (candidate.when, candidate.order));
        Ok(all)
    }

    /// How many matches there are of each word of a list.
    pub(crate) fn count(&self, query: &Query, list: &str) -> Result<BTreeMap<String, u64>, Error> {
        let engine_query = self.asked(query);
        self.count_of(&*engine_query, list)
    }

    /// How many unread sources there are of each word of a list.
    pub(crate) fn count_unread_by(&self, list: &str) -> Result<BTreeMap<String, u64>, Error> {
        let query = self.engine_query(&QueryNode::exact("kind", "unread"));
        self.count_of(&*query, list)
    }

    pub(crate) fn count_unread(&self) -> Result<BTreeMap<String, u64>, Error> {
        let query = self.engine_query(&QueryNode::exact("kind", "unread"));
        self.count_of(&*query, "code")
    }

    /// Every path that could not be kept, with the code of the reason.
    pub(crate) fn missed(&self) -> Result<BTreeMap<String, String>, Error> {
        let mut all = BTreeMap::new();
        self.each_unread("missed", "yes", usize::MAX, &mut |one| {
            all.insert(one.path, one.code);
        })?;
        Ok(all)
    }

    /// The first few sources that gave no run and have a word of a list, one after the other: each brings its message and its family, and
    /// there may be very many.
    pub(crate) fn each_unread(
        &self,
        list: &str,
        word: &str,
        limit: usize,
        take: &mut dyn FnMut(UnreadSource),
    ) -> Result<(), Error> {
        let query = self.engine_query(&QueryNode::And(vec![
            QueryNode::exact("kind", "unread"),
            QueryNode::exact(list, word),
        ]));
        let searcher = self.reader.searcher();
        let mut all: Vec<(u64, DocAddress)> = Vec::new();
        self.each(&searcher, &*query, &mut |ordinal, segment, documents| {
            let order = segment.fast_fields().u64("order")?;
            all.extend(
                documents
                    .iter()
                    .map(|&doc| (order.first(doc).unwrap_or(0), DocAddress::new(ordinal, doc))),
            );
            keep_first(&mut all, limit, Ord::cmp);
            Ok(())
        })?;
        all.sort_unstable();
        for (_, address) in all {
            let document = self.document(address)?;
            let one = self.bytes(&document, self.names.summary);
            take(
                one.and_then(|bytes| serde_json::from_slice(bytes).ok())
                    .unwrap_or_default(),
            );
        }
        Ok(())
    }

    fn count_of(&self, query: &dyn EngineQuery, list: &str) -> Result<BTreeMap<String, u64>, Error> {
        let searcher = self.reader.searcher();
        let mut counts = BTreeMap::new();
        self.each(&searcher, query, &mut |_, segment, documents| {
            let Some(column) = segment.fast_fields().str(&words_column(list))? else {
                return Ok(());
            };
            let mut by_ordinal = vec![0_u64; column.num_terms()];
            for &doc in documents {
                for ordinal in column.term_ords(doc) {
                    if let Some(count) = usize::try_from(ordinal)
                        .ok()
                        .and_then(|ordinal| by_ordinal.get_mut(ordinal))
                    {
                        *count += 1;
                    }
                }
            }
            let mut word = String::new();
            for (ordinal, count) in (0..).zip(by_ordinal).filter(|&(_, count)| count > 0) {
                word.clear();
                column.ord_to_str(ordinal, &mut word)?;
                *counts.entry(word.clone()).or_insert(0) += count;
            }
            Ok(())
        })?;
        Ok(counts)
    }

    fn document(&self, address: DocAddress) -> Result<TantivyDocument, Error> {
        self.reader
            .searcher()
            .doc(address)
            .map_err(|error| self.trouble(&error))
    }

    fn bytes<'a>(&self, document: &'a TantivyDocument, field: Field) -> Option<&'a [u8]> {
        document.get_first(field).and_then(|value| value.as_bytes())
    }

    /// A run's name, what a table shows of it, and where its records stand.
    pub(crate) fn shown(
        &self,
        address: DocAddress,
    ) -> Result<(String, crate::summary::Summary, Places), Error> {
        let id = self.id_at(address)?;
        let (summary, places) = self.shown_of(address)?;
        Ok((id, summary, places))
    }

    /// What a table shows of a run whose name is known, and where its records stand.
    pub(crate) fn shown_of(&self, address: DocAddress) -> Result<(crate::summary::Summary, Places), Error> {
        let document = self.document(address)?;
        let mut summary: crate::summary::Summary = self.summary_in(&document)?;
        let source = self.bytes(&document, self.names.source);
        let source: [u8; 32] = source
            .and_then(|bytes| bytes.try_into().ok())
            .ok_or_else(|| self.damaged())?;
        digest_named(&source).as_str().clone_into(&mut summary.digest);
        Ok((summary, self.places_in(&document)?))
    }

    /// The same without what a run's record says itself.
    pub(crate) fn sighted(&self, address: DocAddress) -> Result<(crate::summary::Sighted, Places), Error> {
        let document = self.document(address)?;
        Ok((self.summary_in(&document)?, self.places_in(&document)?))
    }

    fn summary_in<S: serde::de::DeserializeOwned>(&self, document: &TantivyDocument) -> Result<S, Error> {
        self.bytes(document, self.names.summary)
            .and_then(|bytes| serde_json::from_slice(bytes).ok())
            .ok_or_else(|| self.damaged())
    }

    fn places_in(&self, document: &TantivyDocument) -> Result<Places, Error> {
        self.bytes(document, self.names.places)
            .and_then(Places::from_bytes)
            .ok_or_else(|| self.damaged())
    }

    /// The name of the run in a document.
    fn id_at(&self, address: DocAddress) -> Result<String, Error> {
        Ok(self.ids_at(&[address])?.pop().unwrap_or_default())
    }

    /// The names of the runs in documents. The column of names is opened once for all of a segment: that costs more than to
    /// read from it.
    pub(crate) fn ids_at(&self, addresses: &[DocAddress]) -> Result<Vec<String>, Error> {
        let searcher = self.reader.searcher();
        let mut columns = BTreeMap::new();
        let mut names = Vec::with_capacity(addresses.len());
        for address in addresses {
            let column = match columns.entry(address.segment_ord) {
                Entry::Occupied(there) => there.into_mut(),
                Entry::Vacant(free) => {
                    let segment = searcher.segment_reader(address.segment_ord);
                    let order = segment.fast_fields().u64("order");
                    free.insert(order.map_err(|error| self.trouble(&error))?)
                }
            };
            let number = column.first(address.doc_id).ok_or_else(|| self.damaged())?;
            names.push(format!("{number:016x}"));
        }
        Ok(names)
    }

    /// The names of living runs that begin so, with their documents; at most `limit`.
    pub(crate) fn beginning(&self, prefix: &str, limit: usize) -> Result<Vec<(String, DocAddress)>, Error> {
        let searcher = self.reader.searcher();
        let mut found: BTreeMap<u64, DocAddress> = BTreeMap::new();
        for (ordinal, segment) in (0_u32..).zip(searcher.segment_readers()) {
            let here = beginning_so(segment, self.names.id, prefix, limit);
            let here = here.map_err(|error| self.trouble(&error))?;
            let here = here.into_iter();
            found.extend(here.map(|(name, document)| (name, DocAddress::new(ordinal, document))));
        }
        let named = found.into_iter().take(limit);
        Ok(named
            .map(|(name, address)| (format!("{name:016x}"), address))
            .collect())
    }

    /// The document of the run with this whole name.
    pub(crate) fn places(&self, id: &str) -> Result<Option<Places>, Error> {
        match self.beginning(id, 2)?.into_iter().find(|one| one.0 == id) {
            Some((_, address)) => Ok(Some(self.shown(address)?.2)),
            None => Ok(None),
        }
    }

    /// The name and place of every run that answers, in no order.
    pub(crate) fn every_run(&self, query: &Query) -> Result<Vec<(String, DocAddress)>, Error> {
        let (_, addresses) = self.find(query, &Key::When, true, 0, 0)?;
        let names = self.ids_at(&addresses)?;
        Ok(names.into_iter().zip(addresses).collect())
    }

    /// How many living documents have a word in a list.
    pub(crate) fn listed(&self, list: &str, word: &str) -> Result<usize, Error> {
        let query = self.engine_query(&QueryNode::exact(list, word));
        let mut count = 0;
        self.each(&self.reader.searcher(), &*query, &mut |_, _, documents| {
            count += documents.len();
            Ok(())
        })?;
        Ok(count)
    }
}

/// The column of a list, or with `=` in front of the short texts of a field.
fn words_column(list: &str) -> String {
    match list.strip_prefix('=') {
        Some(field) => format!("shown.{}", step(field)),
        None => format!("list.{}", step(list)),
    }
}
