//! What needs a person, most frequent cause first.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use curvary_record::interpret::guess_word;
use curvary_record::{Alternative, Outcome, OutcomeKind, RunId, code};
use serde::Serialize;

use crate::asked::digest_of;
use crate::asking::IndexReader;
use crate::digests::SourceKey;
use crate::index::{Key, Places};
use crate::query::QueryNode;
use crate::{Archive, Error, OpenItem, OpenItemKind, Query, Summary};

/// Everything that needs a person. Every list is ordered by count, largest first, then by name.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Worklist {
    /// Files that no reader could read, by cause.
    pub unread: Vec<UnreadGroup>,
    /// Open questions, by kind.
    pub questions: Vec<QuestionGroup>,
    /// Fields on which sources, names and notes do not agree.
    pub disputes: Vec<DisputeGroup>,
    /// Files that a newer version has taken the place of.
    pub replaced: Replaced,
    /// How many runs have no sample name.
    pub nameless: u64,
    /// The first few of them.
    pub nameless_examples: Vec<RunId>,
    /// Keys that no field is known for.
    pub words: Vec<HouseWord>,
}

/// Files that could not be read for one cause.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UnreadGroup {
    /// The diagnostic's code.
    pub code: String,
    /// The first file's message.
    pub message: String,
    /// How many files.
    pub count: u64,
    /// The first few paths.
    pub examples: Vec<String>,
}

/// Runs with one kind of question.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct QuestionGroup {
    /// The question's code; `question:CODE` is the query for all of them.
    pub code: String,
    /// The first run's question.
    pub message: String,
    /// The readings of the first run's question.
    pub readings: Vec<Alternative>,
    /// How many runs.
    pub count: u64,
    /// The first few runs.
    pub examples: Vec<RunId>,
}

/// Runs in which the claims about one field differ.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DisputeGroup {
    /// The field; `dispute:FIELD` is the query for all of them.
    pub field: String,
    /// How many runs.
    pub count: u64,
    /// The first few runs, each with the claims as they stood.
    pub examples: Vec<(RunId, Vec<String>)>,
}

/// Versions of files that have another content at the same path today.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Replaced {
    /// How many earlier versions stand nowhere today; `is:superseded` is the query for their runs.
    pub versions: u64,
    /// The paths of the latest few.
    pub examples: Vec<String>,
    /// Runs of earlier versions whose notes or results no later run has inherited, since the numbers differ.
    pub left_behind: Vec<RunId>,
}

/// A key of the house: one that no field is known for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HouseWord {
    /// The key in its own spelling.
    pub key: String,
    /// How many runs have it.
    pub count: u64,
    /// The first few different values, as they stood.
    pub values: Vec<String>,
    /// The field that it probably means, where unit or values suggest one.
    pub suggests: Option<String>,
    /// Why.
    pub because: Option<String>,
}

impl Archive {
    /// What needs a person; at most `examples` examples for each cause. Of the files that no reader could read those are left out that
    /// questions `asked` beside the list are about.
    ///
    /// # Errors
    /// When the index cannot be read or a record is damaged.
    pub fn worklist(&self, asked: &[OpenItem], examples: usize) -> Result<Worklist, Error> {
        self.asked(|asking| self.worklist_in(asking, asked, examples))
    }

    fn worklist_in(
        &self,
        asking: &IndexReader,
        asked: &[OpenItem],
        examples: usize,
    ) -> Result<Worklist, Error> {
        let index = &asking.index;
        let everything = Query::everything();
        let mut list = Worklist {
            unread: unread_in(asking, asked, examples)?,
            ..Worklist::default()
        };
        let some = |node: QueryNode| -> Result<(usize, Vec<WorklistRow>), Error> {
            let (total, addresses) = index.find(&Query::of(node), &Key::When, true, 0, examples.max(1))?;
            let shown = addresses
                .into_iter()
                .map(|address| index.shown(address))
                .collect::<Result<_, _>>()?;
            Ok((total, shown))
        };
        for (code, count) in ranked(index.count(&everything, "question")?) {
            let (_, runs) = some(QueryNode::exact("question", code.as_str()))?;
            let mut message = String::new();
            let mut readings: Vec<Alternative> = Vec::new();
            if let Some((id, _, places)) = runs.first() {
                let run = self.run_at(asking, &RunId::named(id.as_str()), places.run)?;
                if let Some(question) = run
                    .questions
                    .into_iter()
                    .find(|question| question.code.as_str() == code)
                {
                    message = question.message;
                    readings = question.readings;
                }
            }
            let examples = runs
                .into_iter()
                .take(examples)
                .map(|one| RunId::named(one.0))
                .collect();
            list.questions.push(QuestionGroup {
                code,
                message,
                readings,
                count,
                examples,
            });
        }
        for (field, count) in ranked(index.count(&everything, "dispute")?) {
            let (_, runs) = some(QueryNode::exact("dispute", field.as_str()))?;
            let mut shown = Vec::new();
            for (id, _, _) in runs.into_iter().take(examples) {
                let view = self.run(&id)?;
                let claims = view
                    .run
                    .fields
                    .all(&field)
                    .iter()
                    .map(|claim| claim.raw.clone())
                    .collect();
                shown.push((RunId::named(id), claims));
            }
            list.disputes.push(DisputeGroup {
                field,
                count,
                examples: shown,
            });
        }
        list.replaced = self.replaced_in(asking, examples)?;
        let (nameless, runs) = some(QueryNode::Not(Box::new(QueryNode::exact("has", "sample"))))?;
        list.nameless = nameless as u64;
        list.nameless_examples = runs
            .into_iter()
            .take(examples)
            .map(|one| RunId::named(one.0))
            .collect();
        for (key, count) in ranked(index.count(&everything, "house")?) {
            let (_, runs) = some(QueryNode::exact("house", key.as_str()))?;
            let mut values: Vec<String> = Vec::new();
            for (_, summary, _) in &runs {
                if let Some(fact) = summary.fields.get(&key) {
                    let unit = fact
                        .unit
                        .as_ref()
                        .map(|unit| format!(" {unit}"))
                        .unwrap_or_default();
                    let value = format!("{}{unit}", fact.value);
                    if !values.contains(&value) {
                        values.push(value);
                    }
                }
            }
            let texts: Vec<&str> = values.iter().map(String::as_str).collect();
            let (suggests, because) = guess_word(&key, &texts)
                .map(|(field, why)| (field.to_owned(), why))
                .unzip();
            list.words.push(HouseWord {
                key,
                count,
                values,
                suggests,
                because,
            });
        }
        Ok(list)
    }
}

impl Archive {
    fn replaced_in(&self, asking: &IndexReader, examples: usize) -> Result<Replaced, Error> {
        let catalog = asking.catalog()?;
        let mut replaced = Replaced::default();
        for (number, source) in catalog.sources.iter().enumerate().rev() {
            if source.current > 0 {
                continue;
            }
            replaced.versions += 1;
            if replaced.examples.len() < examples {
                let number = u32::try_from(number).unwrap_or(u32::MAX);
                replaced
                    .examples
                    .extend(catalog.paths_of(number).into_iter().next());
            }
        }
        if replaced.versions == 0 {
            return Ok(replaced);
        }
        let spoken_of = QueryNode::Or(vec![
            QueryNode::exact("has", "note"),
            QueryNode::exact("has", "result"),
        ]);
        let mut query = Query::of(QueryNode::And(vec![
            QueryNode::exact("is", "superseded"),
            spoken_of,
        ]));
        query.superseded = true;
        let (_, addresses) = asking.index.find(&query, &Key::When, true, 0, 0)?;
        let book = self.note_book()?;
        for address in addresses {
            let (id, _, places) = asking.index.shown(address)?;
            // What an export states about itself goes with it.
            let is_found = |one: &Outcome| one.kind != OutcomeKind::Reported;
            let found = self.outcomes_at(asking, &places)?.iter().any(is_found);
            let left = match book.heir(&id) {
                None => found || book.says(&id),
                Some(heir) if found => {
                    let places = asking.index.places(heir)?.unwrap_or_default();
                    let inherited =
                        |one: &Outcome| one.remarks.iter().any(|remark| remark.code == code::INHERITED);
                    !self.outcomes_at(asking, &places)?.iter().any(inherited)
                }
                Some(_) => false,
            };
            if left {
                replaced.left_behind.push(RunId::named(id));
            }
        }
        Ok(replaced)
    }
}

/// The files that could not be read, but for those that are asked about.
fn unread_in(asking: &IndexReader, asked: &[OpenItem], examples: usize) -> Result<Vec<UnreadGroup>, Error> {
    let mut groups = Vec::new();
    for (code, mut count) in asking.index.count_unread()? {
        let refused = asked
            .iter()
            .filter(|asked| matches!(&asked.about, OpenItemKind::Refusal { code: why } if *why == code));
        let sources: BTreeSet<&SourceKey> = refused.flat_map(|asked| &asked.sources).collect();
        // Only where some of them are asked about, all must be looked at.
        let most = if sources.is_empty() {
            examples.max(1)
        } else {
            usize::MAX
        };
        let (mut message, mut others, mut paths) = (None, 0, Vec::new());
        asking.index.each_unread("code", &code, most, &mut |one| {
            if !sources.is_empty() && sources.contains(&SourceKey::of(&digest_of(&one.digest))) {
                return;
            }
            others += 1;
            message.get_or_insert(one.message);
            if paths.len() < examples {
                paths.push(one.path);
            }
        })?;
        if !sources.is_empty() {
            count = others;
        }
        if count > 0 {
            groups.push(UnreadGroup {
                code,
                message: message.unwrap_or_default(),
                count,
                examples: paths,
            });
        }
    }
    // The sort is stable: the order of the names stays among equals.
    groups.sort_by_key(|group| Reverse(group.count));
    Ok(groups)
}

/// A run's name, what a table shows of it, and where its records stand.
type WorklistRow = (String, Summary, Places);

/// Counts, largest first, then by name.
fn ranked(counts: BTreeMap<String, u64>) -> Vec<(String, u64)> {
    let mut all: Vec<(String, u64)> = counts.into_iter().collect();
    all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    all
}
