//! The reader's side: any number of them, and none ever waits.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use curvary_record::stored::{Record, SourceRecord};
use curvary_record::{Digest, Outcome, Run, RunId, Unit, Value};
use serde::Serialize;

use crate::{Error, Note, Query, Settings, View, Worklist, Writer};

/// An archive, open for reading.
pub struct Archive {
    root: PathBuf,
    settings: Settings,
}

/// How to answer a query.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FindOptions {
    /// By what to order; without it by relevance when the query has words, else newest first.
    pub sort: Option<Sort>,
    /// How many runs to give at most; 0 for all.
    pub limit: usize,
    /// How many to leave out in front.
    pub skip: usize,
    /// Whether to cut out the text around the words that were found.
    pub snippets: bool,
}

/// An order of runs by one field. `"date".parse()` and `"-temperature".parse()` work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sort {
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

impl std::str::FromStr for Sort {
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
pub struct Found {
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

/// What is known of a run without opening its record.
#[derive(Clone, Debug, Default, PartialEq, Serialize, serde::Deserialize)]
pub struct Summary {
    /// The technique.
    pub technique: String,
    /// The reader.
    pub reader: String,
    /// Every path of its source, first met first.
    pub paths: Vec<String>,
    /// The digest of its source.
    pub digest: String,
    /// Curves.
    pub traces: u64,
    /// Points of all curves together.
    pub points: u64,
    /// Whether a newer version has taken its place.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub superseded: bool,
    /// Codes of its open questions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub questions: Vec<String>,
    /// Fields whose claims differ.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub disputes: Vec<String>,
    /// Models of its results.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub results: Vec<String>,
    /// The strongest claim of each field.
    pub fields: BTreeMap<String, Fact>,
}

/// The strongest claim of a field, in short.
#[derive(Clone, Debug, PartialEq, Serialize, serde::Deserialize)]
pub struct Fact {
    /// Its value.
    pub value: Value,
    /// Its unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
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
    /// `read` or `in-question`.
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

/// A source with every path under which it was met.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceView {
    /// What became of it.
    pub record: SourceRecord,
    /// Its paths, first met first.
    pub paths: Vec<String>,
    /// Whether a newer version has taken its place under all of its paths.
    pub superseded: bool,
}

/// What a check of the whole archive found.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Checked {
    /// Originals whose bytes agree with their digests.
    pub originals: u64,
    /// Records that were read.
    pub records: u64,
    /// Runs among them that count today.
    pub runs: u64,
    /// What is not as it should be; empty when all is well.
    pub problems: Vec<Problem>,
    /// What is worth knowing and does no harm, such as the tail of a commit that was cut short.
    pub remarks: Vec<String>,
}

/// Something on disk that is not what was committed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// The file, relative to the archive.
    pub file: String,
    /// Where in it.
    pub at: Option<u64>,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// Whether [`Archive::repair`] can put it right.
    pub repairable: bool,
}

impl Archive {
    /// Begins an archive in a folder, which is made if need be.
    ///
    /// # Errors
    /// When there is one already, or the disk refuses.
    pub fn create(root: &Path, name: &str) -> Result<Self, Error> {
        let settings = Settings::path(root);
        if settings.exists() {
            return Err(Error::AlreadyThere {
                path: root.to_owned(),
            });
        }
        std::fs::create_dir_all(root).map_err(Error::io("make the folder", root))?;
        let content = Settings::named(name);
        let text = toml::to_string(&content).map_err(|error| Error::Settings {
            path: settings.clone(),
            line: 0,
            column: 0,
            message: error.to_string(),
        })?;
        std::fs::write(&settings, text).map_err(Error::io("write", &settings))?;
        Ok(Self {
            root: root.to_owned(),
            settings: content,
        })
    }

    /// Opens the archive in a folder.
    ///
    /// # Errors
    /// When there is none, it is of a newer format, or its settings or manifest cannot be read.
    pub fn open(root: &Path) -> Result<Self, Error> {
        Ok(Self {
            root: root.to_owned(),
            settings: Settings::read(root)?,
        })
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

    /// What people have decided about it.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Understands a query with the words of this archive.
    ///
    /// # Errors
    /// [`Error::Query`] with the column and the nearest right word.
    pub fn query(&self, text: &str) -> Result<Query, Error> {
        Ok(Query::parse(text, &[])?)
    }

    /// The runs that match, in order, each with its summary.
    ///
    /// # Errors
    /// When the index cannot be read, or the order names no field.
    pub fn find(&self, query: &Query, options: &FindOptions) -> Result<Found, Error> {
        let _ = (query, options);
        Err(self.unfinished())
    }

    /// How many of the matching runs there are of each value; at most `limit` values each, most frequent first.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn facets(&self, query: &Query, names: &[FacetName], limit: usize) -> Result<Facets, Error> {
        let _ = (query, names, limit);
        Err(self.unfinished())
    }

    /// The run whose name begins so.
    ///
    /// # Errors
    /// [`Error::NoRun`] and [`Error::Ambiguous`], or when the disk refuses.
    pub fn resolve(&self, asked: &str) -> Result<RunId, Error> {
        let _ = asked;
        Err(self.unfinished())
    }

    /// A run as it is seen today, by a beginning of its name.
    ///
    /// # Errors
    /// As [`resolve`](Self::resolve), or when its record is damaged.
    pub fn run(&self, asked: &str) -> Result<View, Error> {
        let _ = asked;
        Err(self.unfinished())
    }

    /// A run as it was stored, by its whole name.
    ///
    /// # Errors
    /// As [`run`](Self::run).
    pub fn stored(&self, id: &RunId) -> Result<Run, Error> {
        let _ = id;
        Err(self.unfinished())
    }

    /// Every committed record in the order in which it was written, superseded readings included.
    ///
    /// # Errors
    /// Each item can be an error; after one the rest of its file is left out.
    pub fn records(&self) -> Box<dyn Iterator<Item = Result<Record, Error>> + '_> {
        Box::new(std::iter::once(Err(self.unfinished())))
    }

    /// Every source, in the order in which it was first added.
    ///
    /// # Errors
    /// When a record is damaged.
    pub fn sources(&self) -> Result<Vec<SourceView>, Error> {
        Err(self.unfinished())
    }

    /// The bytes of an original.
    ///
    /// # Errors
    /// When there is none, or its bytes no longer agree with the digest.
    pub fn original(&self, digest: &Digest) -> Result<Vec<u8>, Error> {
        let _ = digest;
        Err(self.unfinished())
    }

    /// What computations found about a run, oldest first.
    ///
    /// # Errors
    /// When a record is damaged.
    pub fn outcomes(&self, id: &RunId) -> Result<Vec<Outcome>, Error> {
        let _ = id;
        Err(self.unfinished())
    }

    /// Every note, oldest first.
    ///
    /// # Errors
    /// When the file is damaged.
    pub fn notes(&self) -> Result<Vec<Note>, Error> {
        Err(self.unfinished())
    }

    /// The answers to questions that notes give for any run of a source, oldest first: what to assume when it is read
    /// again.
    ///
    /// # Errors
    /// When the notes are damaged.
    pub fn assumed(&self, digest: &Digest) -> Result<Vec<String>, Error> {
        let _ = digest;
        Err(self.unfinished())
    }

    /// What needs a person; at most `examples` examples for each cause.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn worklist(&self, examples: usize) -> Result<Worklist, Error> {
        let _ = examples;
        Err(self.unfinished())
    }

    /// Checks every original, record and index entry. `told` hears of progress: bytes done, bytes in all.
    ///
    /// # Errors
    /// Only when the check itself cannot be done; what it finds is in [`Checked::problems`].
    pub fn verify(&self, told: &mut dyn FnMut(u64, u64)) -> Result<Checked, Error> {
        let _ = told;
        Err(self.unfinished())
    }

    /// Puts right what can be put right: cuts off what was never committed, writes ZIP directories and the index anew.
    /// Gives what a check finds afterwards.
    ///
    /// # Errors
    /// When another process writes, or the disk refuses.
    pub fn repair(&mut self, told: &mut dyn FnMut(u64, u64)) -> Result<Checked, Error> {
        let _ = told;
        Err(self.unfinished())
    }

    /// Builds the index anew from the records, in a new folder that takes the old one's place when it is whole.
    ///
    /// # Errors
    /// When another process writes, or the disk refuses.
    pub fn reindex(&mut self) -> Result<(), Error> {
        Err(self.unfinished())
    }

    /// Opens the archive for writing. `command` is what others are told of the holder, such as `curvary add`.
    ///
    /// # Errors
    /// [`Error::Locked`], or when the disk refuses.
    pub fn write(&self, command: &str) -> Result<Writer, Error> {
        Writer::open(&self.root, command)
    }

    fn unfinished(&self) -> Error {
        Error::Index {
            path: self.root.clone(),
            message: "not written yet".into(),
        }
    }
}
