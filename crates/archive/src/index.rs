//! The index: facts of runs in a full-text engine, and the catalogue beside it. All of it may be deleted at any time.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::ops::Bound;
use std::path::{Path, PathBuf};

use curvary_record::{Family, RunId};
use serde::{Deserialize, Serialize};
use tantivy::columnar::{ColumnType, MonotonicallyMappableToU64};
use tantivy::directory::error::OpenReadError;
use tantivy::query::{
    AllQuery, BooleanQuery, EnableScoring, Occur, PhraseQuery, Query as EngineQuery, RangeQuery, TermQuery,
};
use tantivy::schema::{
    BytesOptions, Field, IndexRecordOption, JsonObjectOptions, NumericOptions, OwnedValue, STRING, Schema,
    TextFieldIndexing, TextOptions, Value as _,
};
use tantivy::{DocAddress, DocId, IndexReader, ReloadPolicy, Searcher, SegmentReader, TantivyDocument, Term};

use crate::current::Covered;
use crate::excluded::Excluded;
use crate::facts::Facts;
use crate::frames::At;
use crate::likeness::{Screened, Sought};
use crate::manifest::{digest_bytes, digest_named};
use crate::query::{Bounds, Node, Query};
use crate::sealed::Sealed;
use crate::{Error, words};

/// The fields of the engine.
#[derive(Clone, Copy)]
pub(crate) struct Names {
    /// The run's name, or empty for a source.
    id: Field,
    /// The beginning of the source's digest, by which its runs are found.
    digest: Field,
    /// The source's digest as it is shown.
    source: Field,
    /// Words of closed lists, by list.
    list: Field,
    /// All texts.
    all: Field,
    /// Texts by field.
    text: Field,
    /// Numbers by field and SI unit.
    number: Field,
    /// Day of the measurement.
    day: Field,
    /// Moment of the measurement, for ordering.
    when: Field,
    /// The run's name as a number, so that every order is whole.
    order: Field,
    /// The signatures of the curves.
    shape: Field,
    /// What a table shows.
    summary: Field,
    /// Where the records stand.
    places: Field,
}

pub(crate) fn schema() -> (Schema, Names) {
    let mut builder = Schema::builder();
    let positions = TextFieldIndexing::default()
        .set_tokenizer("words")
        .set_index_option(IndexRecordOption::WithFreqsAndPositions)
        .set_fieldnorms(false);
    let exact = TextFieldIndexing::default()
        .set_tokenizer("raw")
        .set_index_option(IndexRecordOption::Basic)
        .set_fieldnorms(false);
    let fast = || NumericOptions::default().set_fast();
    let stored = || BytesOptions::default().set_stored();
    let names = Names {
        id: builder.add_text_field("id", STRING),
        digest: builder.add_text_field("digest", STRING),
        source: builder.add_bytes_field("source", stored()),
        list: builder.add_json_field(
            "list",
            JsonObjectOptions::default()
                .set_indexing_options(exact)
                .set_fast("raw"),
        ),
        all: builder.add_text_field(
            "all",
            TextOptions::default().set_indexing_options(positions.clone()),
        ),
        text: builder.add_json_field(
            "text",
            JsonObjectOptions::default().set_indexing_options(positions),
        ),
        number: builder.add_json_field("number", JsonObjectOptions::default().set_fast("raw")),
        day: builder.add_i64_field("day", fast()),
        when: builder.add_i64_field("when", fast()),
        order: builder.add_u64_field("order", fast()),
        shape: builder.add_bytes_field("shape", BytesOptions::default().set_fast()),
        summary: builder.add_bytes_field("summary", stored()),
        places: builder.add_bytes_field("places", stored()),
    };
    (builder.build(), names)
}

/// Where the records of a run stand.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Places {
    pub(crate) run: At,
    pub(crate) outcomes: Vec<At>,
}

impl Places {
    fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(24 * (1 + self.outcomes.len()));
        for at in std::iter::once(&self.run).chain(&self.outcomes) {
            bytes.extend_from_slice(&at.frame.to_le_bytes());
            for word in [at.part, at.packed, at.line, at.length] {
                bytes.extend_from_slice(&word.to_le_bytes());
            }
        }
        bytes
    }

    fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let mut all = bytes.chunks_exact(24).map(|one| {
            let word = |from: usize| Some(u32::from_le_bytes(one.get(from..from + 4)?.try_into().ok()?));
            Some(At {
                frame: u64::from_le_bytes(one.get(..8)?.try_into().ok()?),
                part: word(8)?,
                packed: word(12)?,
                line: word(16)?,
                length: word(20)?,
            })
        });
        let run = all.next()??;
        Some(Self {
            run,
            outcomes: all.collect::<Option<_>>()?,
        })
    }
}

/// A key as one step of a path: the engine takes paths apart at dots.
fn step(key: &str) -> String {
    key.chars()
        .map(|sign| match sign {
            '.' => '\u{e000}',
            '\\' => '\u{e001}',
            sign if sign.is_control() => '\u{e002}',
            sign => sign,
        })
        .collect()
}

/// A number as a whole number of the same order, for the engine keeps whole numbers exactly and compares them so; numbers
/// with a fraction it may take for whole ones where a whole column happens to be.
fn filed(value: f64) -> i64 {
    turned((value + 0.0).to_bits().cast_signed())
}

/// Turns the bits of negative numbers round, so that the order of the bits is that of the numbers (as `f64::total_cmp`
/// does), and back again.
fn turned(bits: i64) -> i64 {
    bits ^ ((bits >> 63).cast_unsigned() >> 1).cast_signed()
}

/// The first 128 bits of a digest, which tell sources apart as surely and make a dictionary of half the size.
fn short(digest: &str) -> &str {
    digest.get(..32).unwrap_or(digest)
}

fn number_path(key: &str, unit: &str, end: &str) -> String {
    step(&format!("{key}|{unit}{end}"))
}

impl Names {
    /// Everything about a run but the places of its records.
    pub(crate) fn document(&self, facts: &Facts) -> TantivyDocument {
        let mut document = TantivyDocument::new();
        document.add_text(self.id, &facts.id);
        document.add_text(self.digest, short(&facts.digest));
        document.add_bytes(self.source, &digest_bytes(&facts.digest).unwrap_or_default());
        document.add_u64(self.order, order_of(&facts.id));
        let mut lists: BTreeMap<String, OwnedValue> = facts
            .exact
            .iter()
            .map(|(list, words)| {
                (
                    step(list),
                    array(words.iter().map(|word| OwnedValue::Str(word.clone()))),
                )
            })
            .collect();
        lists.insert("kind".into(), OwnedValue::Str("run".into()));
        document.add_object(self.list, lists);
        for texts in facts.texts.values() {
            for text in texts {
                document.add_text(self.all, text);
            }
        }
        let texts = facts
            .texts
            .iter()
            .map(|(key, texts)| {
                (
                    step(key),
                    array(texts.iter().map(|text| OwnedValue::Str(text.clone()))),
                )
            })
            .collect();
        document.add_object(self.text, texts);
        let mut numbers: BTreeMap<String, OwnedValue> = facts
            .numbers
            .iter()
            .map(|((key, unit), values)| {
                (
                    number_path(key, unit, ""),
                    array(values.iter().map(|&value| OwnedValue::I64(filed(value)))),
                )
            })
            .collect();
        for ((key, unit), &(from, to)) in &facts.spans {
            numbers.insert(number_path(key, unit, "|from"), OwnedValue::I64(filed(from)));
            numbers.insert(number_path(key, unit, "|to"), OwnedValue::I64(filed(to)));
        }
        document.add_object(self.number, numbers);
        if let Some(day) = facts.day {
            document.add_i64(self.day, day);
            document.add_i64(self.when, day * 100_000 + facts.second);
        }
        for shape in &facts.shapes {
            document.add_bytes(self.shape, shape);
        }
        document.add_bytes(
            self.summary,
            &serde_json::to_vec(&facts.summary).unwrap_or_default(),
        );
        document
    }

    /// A source that gave no run.
    pub(crate) fn unread(&self, digest: &str, unread: &Unread) -> TantivyDocument {
        let mut document = TantivyDocument::new();
        document.add_text(self.digest, short(digest));
        document.add_u64(self.order, order_of(digest));
        let asked = unread
            .family
            .as_ref()
            .map(|family| crate::asked::of_refusal(&family.id(), &unread.code));
        let lists = [("kind", "unread"), ("code", unread.code.as_str())]
            .into_iter()
            .chain(asked.iter().map(|asked| ("asked", asked.as_str())))
            .chain(unread.digest.is_empty().then_some(("missed", "yes")))
            .map(|(list, word)| (list.to_owned(), OwnedValue::Str(word.to_owned())));
        document.add_object(self.list, lists.collect());
        document.add_bytes(self.summary, &serde_json::to_vec(unread).unwrap_or_default());
        document
    }

    pub(crate) fn place(&self, document: &mut TantivyDocument, places: &Places) {
        document.add_bytes(self.places, &places.to_bytes());
    }

    pub(crate) fn id_term(&self, id: &str) -> Term {
        Term::from_field_text(self.id, id)
    }

    pub(crate) fn digest_term(&self, digest: &str) -> Term {
        Term::from_field_text(self.digest, short(digest))
    }

    fn list_term(&self, list: &str, word: &str) -> Term {
        let mut term = Term::from_field_json_path(self.list, &step(list), false);
        term.append_type_and_str(word);
        term
    }
}

/// Why a source gave no run.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Unread {
    pub(crate) code: String,
    pub(crate) message: String,
    pub(crate) path: String,
    #[serde(default)]
    pub(crate) digest: String,
    #[serde(default)]
    pub(crate) family: Option<Family>,
}

fn array(values: impl Iterator<Item = OwnedValue>) -> OwnedValue {
    OwnedValue::Array(values.collect())
}

/// The first 16 hexadecimal digits of a name as a number; another name's hash.
fn order_of(id: &str) -> u64 {
    id.get(..16)
        .and_then(|digits| u64::from_str_radix(digits, 16).ok())
        .unwrap_or_else(|| crate::catalog::path_hash(id.as_bytes()))
}

/// An index, open for asking.
pub(crate) struct Index {
    pub(crate) path: PathBuf,
    pub(crate) engine: tantivy::Index,
    pub(crate) names: Names,
    pub(crate) reader: IndexReader,
    files: Sealed,
}

/// What is done with the living matches of one segment: its number, its reader, the matches.
type EachSegment<'a> = dyn FnMut(u32, &SegmentReader, &[DocId]) -> tantivy::Result<()> + 'a;

/// By what runs are ordered.
pub(crate) enum Key {
    When,
    Number(String),
    Text(String),
}

/// A value of a run by which it is ordered; missing values come last.
#[derive(Clone, Debug, PartialEq, PartialOrd)]
enum Rank {
    Number(f64),
    Text(String),
    None,
}

/// A run that may be alike.
pub(crate) struct Candidate {
    when: i64,
    order: u64,
    pub(crate) address: DocAddress,
    pub(crate) screened: Screened,
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
            docstore_compression: tantivy::store::Compressor::Lz4,
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

    pub(crate) fn covered(&self) -> Result<Covered, Error> {
        let metas = self.engine.load_metas().map_err(|error| self.trouble(&error))?;
        Ok(metas
            .payload
            .and_then(|payload| serde_json::from_str(&payload).ok())
            .unwrap_or_default())
    }

    fn engine_query(&self, node: &Node) -> Box<dyn EngineQuery> {
        match node {
            Node::And(nodes) => {
                let mut clauses: Vec<(Occur, Box<dyn EngineQuery>)> = Vec::with_capacity(nodes.len() + 1);
                for node in nodes {
                    clauses.push(match node {
                        Node::Not(node) => (Occur::MustNot, self.excluded(node)),
                        node => (Occur::Must, self.engine_query(node)),
                    });
                }
                if !clauses.iter().any(|clause| clause.0 == Occur::Must) {
                    clauses.push((Occur::Must, Box::new(AllQuery)));
                }
                Box::new(BooleanQuery::new(clauses))
            }
            Node::Or(nodes) => Box::new(BooleanQuery::new(
                nodes
                    .iter()
                    .map(|node| (Occur::Should, self.engine_query(node)))
                    .collect(),
            )),
            Node::Not(node) => Box::new(BooleanQuery::new(vec![
                (Occur::Must, Box::new(AllQuery)),
                (Occur::MustNot, self.excluded(node)),
            ])),
            Node::Words { key, words } => {
                let term = |word: &String| self.word_term(key.as_deref(), word);
                match words.as_slice() {
                    [word] => Box::new(TermQuery::new(term(word), IndexRecordOption::Basic)),
                    words => Box::new(PhraseQuery::new(words.iter().map(term).collect())),
                }
            }
            Node::Like { key, pattern } => {
                let words = self.words_that(key.as_deref(), pattern.beginning(), &|word| pattern.fits(word));
                let term = |word: &String| self.word_term(key.as_deref(), word);
                let clauses = words
                    .unwrap_or_default()
                    .keys()
                    .map(term)
                    .map(any_of_it)
                    .collect();
                Box::new(BooleanQuery::new(clauses))
            }
            Node::Named(names) => {
                let mut clauses: Vec<(Occur, Box<dyn EngineQuery>)> = Vec::new();
                for name in names {
                    // A whole name needs no look at the others.
                    let whole = name.len() == 16;
                    let found = if whole {
                        Vec::new()
                    } else {
                        self.beginning(name, ALL_NAMED).unwrap_or_default()
                    };
                    let found = found
                        .into_iter()
                        .map(|one| one.0)
                        .chain(whole.then(|| name.clone()));
                    clauses.extend(found.map(|id| any_of_it(self.names.id_term(&id))));
                }
                Box::new(BooleanQuery::new(clauses))
            }
            Node::Exact { list, value } => Box::new(TermQuery::new(
                self.names.list_term(list, value),
                IndexRecordOption::Basic,
            )),
            Node::Number {
                key,
                dimension,
                bounds,
            } => {
                let value = self.between(&number_path(key, dimension, ""), bounds.low, bounds.high);
                Box::new(BooleanQuery::new(vec![
                    (Occur::Should, value),
                    (Occur::Should, self.covering(key, dimension, *bounds)),
                ]))
            }
            Node::Day { from, to } => {
                let term = |day: i64| Bound::Included(Term::from_field_i64(self.names.day, day));
                Box::new(RangeQuery::new(term(*from), term(*to)))
            }
        }
    }

    fn word_term(&self, key: Option<&str>, word: &str) -> Term {
        match key {
            None => Term::from_field_text(self.names.all, word),
            Some(key) => {
                let mut term = Term::from_field_json_path(self.names.text, &step(key), false);
                term.append_type_and_str(word);
                term
            }
        }
    }

    /// The words that begin so and pass, in a field or anywhere, each with in how many entries it stands; those of entries
    /// that were replaced meanwhile may be among them.
    pub(crate) fn words_that(
        &self,
        key: Option<&str>,
        beginning: &str,
        pass: &dyn Fn(&str) -> bool,
    ) -> Result<BTreeMap<String, u64>, Error> {
        let field = if key.is_some() {
            self.names.text
        } else {
            self.names.all
        };
        let before = self.word_term(key, "");
        let before = before.serialized_value_bytes();
        let from = self.word_term(key, beginning);
        let from = from.serialized_value_bytes();
        let mut found: BTreeMap<String, u64> = BTreeMap::new();
        let mut all = || -> tantivy::Result<()> {
            for segment in self.reader.searcher().segment_readers() {
                let inverted = segment.inverted_index(field)?;
                let mut stream = inverted.terms().range().ge(from).into_stream()?;
                while stream.advance() && stream.key().starts_with(from) {
                    let word = stream.key().get(before.len()..).unwrap_or_default();
                    if let Ok(word) = std::str::from_utf8(word)
                        && pass(word)
                    {
                        *found.entry(word.to_owned()).or_insert(0) += u64::from(stream.value().doc_freq);
                    }
                }
            }
            Ok(())
        };
        all().map_err(|error| self.trouble(&error))?;
        Ok(found)
    }

    fn excluded(&self, node: &Node) -> Box<dyn EngineQuery> {
        Box::new(Excluded(self.engine_query(node)))
    }

    /// Runs whose span answers, in the sense of `Bounds::covered`.
    fn covering(&self, key: &str, unit: &str, bounds: Bounds) -> Box<dyn EngineQuery> {
        let (from, to) = (number_path(key, unit, "|from"), number_path(key, unit, "|to"));
        match bounds.to_cover() {
            (Some(low), Some(high)) => Box::new(BooleanQuery::new(vec![
                (Occur::Must, self.between(&from, None, Some(low))),
                (Occur::Must, self.between(&to, Some(high), None)),
            ])),
            (Some(_), None) => self.between(&to, bounds.low, None),
            (None, _) => self.between(&from, None, bounds.high),
        }
    }

    fn between(&self, path: &str, low: Option<f64>, high: Option<f64>) -> Box<dyn EngineQuery> {
        let term = |value: f64| {
            let mut term = Term::from_field_json_path(self.names.number, path, false);
            term.append_type_and_fast_value(filed(value));
            Bound::Included(term)
        };
        // An open end is the last number on that side: the engine wants at least one bound to know the path.
        let low = term(low.unwrap_or(f64::MIN));
        Box::new(RangeQuery::new(low, term(high.unwrap_or(f64::MAX))))
    }

    fn asked(&self, query: &Query) -> Box<dyn EngineQuery> {
        let mut clauses: Vec<(Occur, Box<dyn EngineQuery>)> = vec![
            (Occur::Must, self.engine_query(&query.node)),
            (Occur::Must, self.engine_query(&Node::exact("kind", "run"))),
        ];
        if !query.superseded {
            clauses.push((
                Occur::MustNot,
                self.engine_query(&Node::exact("is", "superseded")),
            ));
        }
        Box::new(BooleanQuery::new(clauses))
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
        let compare = |a: &(Rank, u64, DocAddress), b: &(Rank, u64, DocAddress)| {
            let ranks = match (&a.0, &b.0) {
                (Rank::None, Rank::None) => Ordering::Equal,
                (Rank::None, _) => Ordering::Greater,
                (_, Rank::None) => Ordering::Less,
                (a, b) => {
                    let order = a.partial_cmp(b).unwrap_or(Ordering::Equal);
                    if falling { order.reverse() } else { order }
                }
            };
            ranks.then(a.1.cmp(&b.1))
        };
        let mut all: Vec<(Rank, u64, DocAddress)> = Vec::new();
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
        sought: &mut Sought<'_>,
        but: Option<&RunId>,
    ) -> Result<Vec<Candidate>, Error> {
        let searcher = self.reader.searcher();
        let engine_query = self.asked(query);
        let but = but.map(|id| order_of(id.as_str()));
        let mut all: Vec<Candidate> = Vec::new();
        self.each(&searcher, &*engine_query, &mut |ordinal, segment, documents| {
            let when = segment.fast_fields().i64("when")?;
            let order = segment.fast_fields().u64("order")?;
            let from = all.len();
            all.extend(documents.iter().filter_map(|&doc| {
                let order = order.first(doc).unwrap_or(0);
                (Some(order) != but).then(|| Candidate {
                    when: when.first(doc).map_or(i64::MAX, |when| -when),
                    order,
                    address: DocAddress::new(ordinal, doc),
                    screened: Screened::Nothing,
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
        let query = self.engine_query(&Node::exact("kind", "unread"));
        self.count_of(&*query, list)
    }

    pub(crate) fn count_unread(&self) -> Result<BTreeMap<String, u64>, Error> {
        let query = self.engine_query(&Node::exact("kind", "unread"));
        self.count_of(&*query, "code")
    }

    /// Every path that could not be kept, with the code of the reason.
    pub(crate) fn missed(&self) -> Result<BTreeMap<String, String>, Error> {
        let all = self.unread_by("missed", "yes", usize::MAX)?;
        Ok(all.into_iter().map(|one| (one.path, one.code)).collect())
    }

    /// The first few sources that gave no run for one cause.
    pub(crate) fn unread(&self, code: &str, limit: usize) -> Result<Vec<Unread>, Error> {
        self.unread_by("code", code, limit)
    }

    /// The first few sources that gave no run and have a word of a list.
    pub(crate) fn unread_by(&self, list: &str, word: &str, limit: usize) -> Result<Vec<Unread>, Error> {
        let query = self.engine_query(&Node::And(vec![
            Node::exact("kind", "unread"),
            Node::exact(list, word),
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
            Ok(())
        })?;
        all.sort_unstable();
        all.truncate(limit);
        all.into_iter()
            .map(|(_, address)| {
                let document = self.document(address)?;
                Ok(self
                    .bytes(&document, self.names.summary)
                    .and_then(|bytes| serde_json::from_slice(bytes).ok())
                    .unwrap_or_default())
            })
            .collect()
    }

    fn count_of(&self, query: &dyn EngineQuery, list: &str) -> Result<BTreeMap<String, u64>, Error> {
        let searcher = self.reader.searcher();
        let mut counts = BTreeMap::new();
        self.each(&searcher, query, &mut |_, segment, documents| {
            let Some(column) = segment.fast_fields().str(&format!("list.{}", step(list)))? else {
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
    ) -> Result<(String, crate::archive::Summary, Places), Error> {
        let document = self.document(address)?;
        let broken = || self.damaged();
        let id = self.id_at(address)?;
        let mut summary: crate::archive::Summary = self
            .bytes(&document, self.names.summary)
            .and_then(|bytes| serde_json::from_slice(bytes).ok())
            .ok_or_else(broken)?;
        let source = self.bytes(&document, self.names.source);
        let source: [u8; 32] = source
            .and_then(|bytes| bytes.try_into().ok())
            .ok_or_else(broken)?;
        digest_named(&source).as_str().clone_into(&mut summary.digest);
        let places = self
            .bytes(&document, self.names.places)
            .and_then(Places::from_bytes)
            .ok_or_else(broken)?;
        Ok((id, summary, places))
    }

    /// The name of the run in a document.
    fn id_at(&self, address: DocAddress) -> Result<String, Error> {
        let searcher = self.reader.searcher();
        let segment = searcher.segment_reader(address.segment_ord);
        let order = segment.fast_fields().u64("order");
        let order = order.map_err(|error| self.trouble(&error))?;
        let number = order.first(address.doc_id).ok_or_else(|| self.damaged())?;
        Ok(format!("{number:016x}"))
    }

    /// The names of living runs that begin so, with their documents; at most `limit`.
    pub(crate) fn beginning(&self, prefix: &str, limit: usize) -> Result<Vec<(String, DocAddress)>, Error> {
        let searcher = self.reader.searcher();
        let mut found: BTreeMap<String, DocAddress> = BTreeMap::new();
        let mut all = || -> Result<(), tantivy::TantivyError> {
            for (ordinal, segment) in (0_u32..).zip(searcher.segment_readers()) {
                let inverted = segment.inverted_index(self.names.id)?;
                let mut stream = inverted.terms().range().ge(prefix.as_bytes()).into_stream()?;
                let mut here = 0;
                while stream.advance() && here <= limit {
                    if !stream.key().starts_with(prefix.as_bytes()) {
                        break;
                    }
                    let mut postings =
                        inverted.read_postings_from_terminfo(stream.value(), IndexRecordOption::Basic)?;
                    let mut doc = tantivy::DocSet::doc(&postings);
                    while doc != tantivy::TERMINATED {
                        if segment.alive_bitset().is_none_or(|alive| alive.is_alive(doc)) {
                            let id = String::from_utf8_lossy(stream.key()).into_owned();
                            found.insert(id, DocAddress::new(ordinal, doc));
                            here += 1;
                        }
                        doc = tantivy::DocSet::advance(&mut postings);
                    }
                }
            }
            Ok(())
        };
        all().map_err(|error| self.trouble(&error))?;
        Ok(found.into_iter().take(limit).collect())
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
        addresses
            .into_iter()
            .map(|address| Ok((self.id_at(address)?, address)))
            .collect()
    }

    /// How many living documents have a word in a list.
    pub(crate) fn listed(&self, list: &str, word: &str) -> Result<usize, Error> {
        let query = self.engine_query(&Node::exact(list, word));
        let mut count = 0;
        self.each(&self.reader.searcher(), &*query, &mut |_, _, documents| {
            count += documents.len();
            Ok(())
        })?;
        Ok(count)
    }
}

fn any_of_it(term: Term) -> (Occur, Box<dyn EngineQuery>) {
    (
        Occur::Should,
        Box::new(TermQuery::new(term, IndexRecordOption::Basic)),
    )
}

/// More runs than this are not looked for by one beginning of a name.
const ALL_NAMED: usize = 4096;

/// So many matches are ranked at once.
const AT_ONCE: usize = 1 << 16;

/// Leaves out what does not come among the first `end`, in no order.
fn keep_first<T>(all: &mut Vec<T>, end: usize, compare: impl Fn(&T, &T) -> Ordering) {
    if end < all.len() {
        all.select_nth_unstable_by(end, compare);
        all.truncate(end);
    }
}

fn ranks(
    segment: &SegmentReader,
    key: &Key,
    falling: bool,
    documents: &[DocId],
) -> tantivy::Result<Vec<Rank>> {
    let none = || documents.iter().map(|_| Rank::None).collect();
    match key {
        Key::When => Ok(none()),
        Key::Number(path) => {
            let types = [ColumnType::I64];
            let path = format!("number.{path}");
            let Some((column, _)) = segment.fast_fields().u64_lenient_for_type(Some(&types), &path)? else {
                return Ok(none());
            };
            let value = |raw: u64| f64::from_bits(turned(i64::from_u64(raw)).cast_unsigned());
            Ok(documents
                .iter()
                .map(|&doc| {
                    let values = column.values_for_doc(doc).map(value);
                    let best = if falling {
                        values.reduce(f64::max)
                    } else {
                        values.reduce(f64::min)
                    };
                    best.map_or(Rank::None, Rank::Number)
                })
                .collect())
        }
        Key::Text(list) => {
            let Some(column) = segment.fast_fields().str(&format!("list.{}", step(list)))? else {
                return Ok(none());
            };
            let mut all = Vec::with_capacity(documents.len());
            let mut word = String::new();
            for &doc in documents {
                all.push(match column.term_ords(doc).next() {
                    Some(ordinal) => {
                        word.clear();
                        column.ord_to_str(ordinal, &mut word)?;
                        Rank::Text(word.to_lowercase())
                    }
                    None => Rank::None,
                });
            }
            Ok(all)
        }
    }
}

/// The path by which a number field is ordered.
pub(crate) fn sort_path(key: &str, unit: &str) -> String {
    number_path(key, unit, "")
}
