//! What a person is asked, once for all files that are written alike.
//!
//! The index files, for every run and every refused source, what is asked about it together with the short name of its
//! family. So what is open is counted without opening a record.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::stored::Record;
use curvary_record::{Digest, Family, Question, RunId};
use serde::Serialize;

use crate::asking::IndexReader;
use crate::asks::APART;
use crate::asks::of_question;
use crate::digests::{SourceKey, digest_bytes, digest_named};
use crate::index::{Key, UnreadSource};
use crate::query::{Query, QueryNode};
use crate::{Archive, Error};

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum OpenItemKind {
    /// A question of a reader: its code, and what answers to it are about, joined by `+`.
    Question {
        /// The question's code.
        code: String,
        /// `x`, `decimal`, …
        about: String,
    },
    /// What a key means that no field is known for.
    Key {
        /// The key in its own spelling.
        key: String,
    },
    /// Whether a file that was refused is a measurement after all.
    Refusal {
        /// The refusal's code.
        code: String,
    },
}

impl OpenItemKind {
    fn parse(filed: &str) -> Option<(&str, Self)> {
        let mut parts = filed.split(APART);
        let (family, kind, what, about) = (parts.next()?, parts.next()?, parts.next()?, parts.next()?);
        let what = what.to_owned();
        let about = match kind {
            "question" => Self::Question {
                code: what,
                about: about.to_owned(),
            },
            "key" => Self::Key { key: what },
            "refusal" => Self::Refusal { code: what },
            _ => return None,
        };
        Some((family, about))
    }
}

/// One thing that is asked about files written alike.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenItem {
    /// A short name that stays the same while files come and go: from the writing and what is asked.
    pub id: String,
    /// What.
    pub about: OpenItemKind,
    /// The family: what all of the files have in common, and every key that one of them has.
    pub family: Family,
    /// The families of the files, each with keys of its own. What is said of one is not always about the others.
    pub ways: Vec<Family>,
    /// The files.
    pub sources: Vec<SourceKey>,
    /// How many runs of theirs ask it; none where the files were refused.
    pub runs: u64,
    /// The first few files.
    pub examples: Vec<Example>,
}

/// The short name of what is asked about files written so; `turn` tells those apart that only differ in their keys.
fn name(about: &OpenItemKind, family: &Family, turn: usize) -> String {
    let (kind, what, about) = match about {
        OpenItemKind::Question { code, about } => ("question", code, about.as_str()),
        OpenItemKind::Key { key } => ("key", key, ""),
        OpenItemKind::Refusal { code } => ("refusal", code, ""),
    };
    let text = format!("{}\n{kind}\n{what}\n{about}\n{turn}", family.writing);
    let digest = Digest::of(text.as_bytes());
    let hexadecimal = digest.as_str().trim_start_matches("sha256:");
    hexadecimal.get(..6).unwrap_or_default().to_owned()
}

/// A file about which something is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Example {
    /// Its digest.
    pub digest: Digest,
    /// Its first path.
    pub path: String,
    /// The run that asks; none where the file was refused.
    pub run: Option<RunId>,
    /// The question, or the refusal as a question without readings.
    pub question: Option<Question>,
    /// What stands there, for a key.
    pub value: Option<String>,
}

/// A part of a family with one set of keys, before kin are put together.
struct FamilyPart {
    family: Family,
    sources: BTreeSet<SourceKey>,
    runs: u64,
    examples: Vec<Example>,
}

impl FamilyPart {
    /// One without files.
    fn of(family: Family) -> Self {
        Self {
            family,
            sources: BTreeSet::new(),
            runs: 0,
            examples: Vec::new(),
        }
    }

    /// Takes in a file that was refused; the first few are examples.
    fn put_refused(&mut self, refused: UnreadSource, examples: usize) {
        let digest = digest_of(&refused.digest);
        self.sources.insert(SourceKey::of(&digest));
        if self.examples.len() < examples {
            self.examples.push(Example {
                digest,
                path: refused.path,
                run: None,
                question: Some(Question {
                    code: curvary_record::Code::named(refused.code),
                    message: refused.message,
                    readings: Vec::new(),
                    labels: Vec::new(),
                }),
                value: None,
            });
        }
    }
}

impl Archive {
    /// Everything that is asked, once for files written alike: most files first, then by name. With `examples` files
    /// each.
    ///
    /// # Errors
    /// When the index cannot be read or a record is damaged.
    pub fn open_questions(&self, examples: usize) -> Result<Vec<OpenItem>, Error> {
        self.asked(|asking| self.open_questions_in(asking, examples))
    }

    fn open_questions_in(&self, asking: &IndexReader, examples: usize) -> Result<Vec<OpenItem>, Error> {
        let mut parts: BTreeMap<OpenItemKind, Vec<FamilyPart>> = BTreeMap::new();
        for filed in asking.index.count(&Query::everything(), "asked")?.into_keys() {
            let Some((_, about)) = OpenItemKind::parse(&filed) else {
                continue;
            };
            if let Some(part) = self.asked_by_runs(asking, &filed, &about, examples)? {
                parts.entry(about).or_default().push(part);
            }
        }
        for filed in asking.index.count_unread_by("asked")?.into_keys() {
            let Some((_, about)) = OpenItemKind::parse(&filed) else {
                continue;
            };
            let mut part: Option<FamilyPart> = None;
            let mut is_first = true;
            asking
                .index
                .each_unread("asked", &filed, usize::MAX, &mut |one| {
                    if std::mem::take(&mut is_first) {
                        part = one.family.clone().map(FamilyPart::of);
                    }
                    if let Some(part) = &mut part {
                        part.put_refused(one, examples);
                    }
                })?;
            let Some(part) = part else {
                continue;
            };
            parts.entry(about).or_default().push(part);
        }
        let mut all: Vec<OpenItem> = parts
            .into_iter()
            .flat_map(|(about, parts)| put_together(&about, parts, examples))
            .collect();
        all.sort_by(|a, b| {
            let files = b.sources.len().cmp(&a.sources.len());
            files
                .then_with(|| a.about.cmp(&b.about))
                .then_with(|| a.family.cmp(&b.family))
        });
        let mut names = BTreeSet::new();
        for asked in &mut all {
            let mut turn = 0;
            while !names.insert(name(&asked.about, &asked.family, turn)) {
                turn += 1;
            }
            asked.id = name(&asked.about, &asked.family, turn);
        }
        Ok(all)
    }

    /// The values that runs have under fields of text: for each field, which, folded to lower case.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn known_texts(&self, fields: &[&str]) -> Result<BTreeMap<String, BTreeSet<String>>, Error> {
        self.asked(|asking| {
            let mut all = BTreeMap::new();
            for field in fields {
                let counts = asking.index.count(&Query::everything(), &format!("={field}"))?;
                let texts = counts
                    .into_keys()
                    .map(|text| text.trim().to_lowercase())
                    .collect();
                all.insert((*field).to_owned(), texts);
            }
            Ok(all)
        })
    }

    fn asked_by_runs(
        &self,
        asking: &IndexReader,
        filed: &str,
        about: &OpenItemKind,
        examples: usize,
    ) -> Result<Option<FamilyPart>, Error> {
        let query = Query::of(QueryNode::exact("asked", filed));
        let (total, addresses) = asking.index.find(&query, &Key::When, true, 0, 0)?;
        let mut part = FamilyPart::of(Family::default());
        part.runs = total as u64;
        let mut rest = addresses.into_iter();
        while part.examples.len() < examples || part.sources.is_empty() {
            let Some(address) = rest.next() else { break };
            let (id, summary, places) = asking.index.shown(address)?;
            let digest = digest_of(&summary.digest);
            let new = part.sources.insert(SourceKey::of(&digest));
            if part.sources.len() == 1 && new {
                let Some(family) = self.family(asking, &digest)? else {
                    return Ok(None);
                };
                part.family = family;
            }
            if new && part.examples.len() < examples {
                let run = self.run_at(asking, &RunId::named(id.as_str()), places.run)?;
                let value = match about {
                    OpenItemKind::Key { key } => run
                        .fields
                        .iter()
                        .find(|(own, _)| own.as_str() == key)
                        .and_then(|(_, claims)| claims.first().map(|claim| claim.raw.clone())),
                    _ => None,
                };
                let question = match about {
                    OpenItemKind::Question { .. } => run
                        .questions
                        .iter()
                        .find(|question| filed.ends_with(of_question("", question).as_str()))
                        .cloned(),
                    _ => None,
                };
                part.examples.push(Example {
                    digest,
                    path: summary.paths.first().cloned().unwrap_or_default(),
                    run: Some(RunId::named(id)),
                    question,
                    value,
                });
            }
        }
        // Of the others only the name is wanted: in the order in which they lie, so that each block is unpacked once.
        let mut rest: Vec<_> = rest.collect();
        rest.sort_unstable();
        for address in rest {
            let (_, summary, _) = asking.index.shown(address)?;
            part.sources.insert(SourceKey::of(&digest_of(&summary.digest)));
        }
        Ok((!part.sources.is_empty()).then_some(part))
    }

    fn family(&self, asking: &IndexReader, digest: &Digest) -> Result<Option<Family>, Error> {
        let Some(source) = asking.source(digest)? else {
            return Ok(None);
        };
        match self.read(asking, source.record)? {
            Record::Source(record) => Ok(record.family),
            _ => Ok(None),
        }
    }
}

/// A digest as the index has it; what is none names no source.
pub(crate) fn digest_of(text: &str) -> Digest {
    digest_named(&digest_bytes(text).unwrap_or_default())
}

/// Puts kin together: the part with most files first, and to it whatever is written like it.
fn put_together(about: &OpenItemKind, mut parts: Vec<FamilyPart>, examples: usize) -> Vec<OpenItem> {
    parts.sort_by(|a, b| {
        let files = b.sources.len().cmp(&a.sources.len());
        files.then_with(|| a.family.cmp(&b.family))
    });
    let mut all: Vec<OpenItem> = Vec::new();
    for part in parts {
        match all.iter_mut().find(|asked| asked.family.is_kin(&part.family)) {
            Some(asked) => {
                let family = std::mem::take(&mut asked.family);
                asked.family = family.with(&part.family);
                asked.ways.push(part.family);
                asked.sources.extend(part.sources);
                asked.runs += part.runs;
                asked.examples.extend(part.examples);
                asked.examples.truncate(examples);
            }
            None => all.push(OpenItem {
                id: String::new(),
                about: about.clone(),
                ways: vec![part.family.clone()],
                family: part.family,
                sources: part.sources.into_iter().collect(),
                runs: part.runs,
                examples: part.examples,
            }),
        }
    }
    all
}
