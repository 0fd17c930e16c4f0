//! Queries of ours as queries of the engine.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Bound;

use tantivy::Term;
use tantivy::query::{
    AllQuery, BooleanQuery, Occur, PhraseQuery, Query as EngineQuery, RangeQuery, TermQuery,
};
use tantivy::schema::IndexRecordOption;

use super::Index;
use super::names::{filed, first_moment, number_path, step};
use crate::Error;
use crate::excluded::Excluded;
use crate::query::{Bounds, Query, QueryNode};

/// More runs than this are not looked for by one beginning of a name.
const ALL_NAMED: usize = 4096;
/// The name of a run has so many digits.
const WHOLE_NAME: usize = 16;
/// Stands between the path of a text and its words in the engine's dictionary.
const END_OF_PATH: u8 = 0;

impl Index {
    pub(super) fn engine_query(&self, node: &QueryNode) -> Box<dyn EngineQuery> {
        match node {
            QueryNode::And(nodes) => {
                let mut clauses: Vec<(Occur, Box<dyn EngineQuery>)> = Vec::with_capacity(nodes.len() + 1);
                for node in nodes {
                    clauses.push(match node {
                        QueryNode::Not(node) => (Occur::MustNot, self.excluded(node)),
                        node => (Occur::Must, self.engine_query(node)),
                    });
                }
                if !clauses.iter().any(|clause| clause.0 == Occur::Must) {
                    clauses.push((Occur::Must, Box::new(AllQuery)));
                }
                Box::new(BooleanQuery::new(clauses))
            }
            QueryNode::Or(nodes) => Box::new(BooleanQuery::new(
                nodes
                    .iter()
                    .map(|node| (Occur::Should, self.engine_query(node)))
                    .collect(),
            )),
            QueryNode::Not(node) => Box::new(BooleanQuery::new(vec![
                (Occur::Must, Box::new(AllQuery)),
                (Occur::MustNot, self.excluded(node)),
            ])),
            QueryNode::Words { key, words } => {
                let all_of_it = |key: &str| -> Box<dyn EngineQuery> {
                    let term = |word: &String| self.word_term(key, word);
                    match words.as_slice() {
                        [word] => Box::new(TermQuery::new(term(word), IndexRecordOption::Basic)),
                        words => Box::new(PhraseQuery::new(words.iter().map(term).collect())),
                    }
                };
                if let Some(key) = key {
                    return all_of_it(key);
                }
                let keys = self.keys_with(words).unwrap_or_default();
                let clauses = keys.iter().map(|key| (Occur::Should, all_of_it(key)));
                Box::new(BooleanQuery::new(clauses.collect()))
            }
            QueryNode::Like { key, pattern } => {
                let words =
                    self.words_by_key(key.as_deref(), pattern.beginning(), &|word| pattern.fits(word));
                let clauses = words
                    .unwrap_or_default()
                    .keys()
                    .map(|(key, word)| any_of_it(self.word_term(key, word)))
                    .collect();
                Box::new(BooleanQuery::new(clauses))
            }
            QueryNode::Named(names) => {
                let mut whole = Vec::with_capacity(names.len());
                for name in names {
                    if name.len() == WHOLE_NAME {
                        whole.push(name.clone());
                    } else {
                        // A whole name needs no look at the others.
                        let found = self.beginning(name, ALL_NAMED).unwrap_or_default();
                        whole.extend(found.into_iter().map(|one| one.0));
                    }
                }
                Box::new(self.names.runs(whole.iter().map(String::as_str)))
            }
            QueryNode::Exact { list, value } => Box::new(TermQuery::new(
                self.names.list_term(list, value),
                IndexRecordOption::Basic,
            )),
            QueryNode::Number {
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
            QueryNode::Day { from, to } => {
                let moment = |day: i64| Term::from_field_i64(self.names.when, first_moment(day));
                let end = Bound::Excluded(moment(to.saturating_add(1)));
                Box::new(RangeQuery::new(Bound::Included(moment(*from)), end))
            }
        }
    }

    /// A word in the texts of a field, by its step in the engine's path.
    fn word_term(&self, key: &str, word: &str) -> Term {
        let mut term = Term::from_field_json_path(self.names.text, &step(key), false);
        term.append_type_and_str(word);
        term
    }

    /// The words that begin so and pass, in a field or anywhere, each with in how many texts it stands: as many entries have it at most,
    /// since one may have it in several fields, and those that were replaced meanwhile may be among them.
    pub(crate) fn words_that(
        &self,
        key: Option<&str>,
        beginning: &str,
        pass: &dyn Fn(&str) -> bool,
    ) -> Result<BTreeMap<String, u64>, Error> {
        let mut found = BTreeMap::new();
        for ((_, word), count) in self.words_by_key(key, beginning, pass)? {
            *found.entry(word).or_insert(0) += count;
        }
        Ok(found)
    }

    /// The words that begin so and pass, by field.
    fn words_by_key(
        &self,
        key: Option<&str>,
        beginning: &str,
        pass: &dyn Fn(&str) -> bool,
    ) -> Result<BTreeMap<(String, String), u64>, Error> {
        let keys = match key {
            Some(key) => BTreeSet::from([key.to_owned()]),
            None => self.keys_with(&[])?,
        };
        let mut found: BTreeMap<(String, String), u64> = BTreeMap::new();
        let mut all = || -> tantivy::Result<()> {
            for segment in self.reader.searcher().segment_readers() {
                let inverted = segment.inverted_index(self.names.text)?;
                for key in &keys {
                    let before = self.word_term(key, "");
                    let before = before.serialized_value_bytes();
                    let from = self.word_term(key, beginning);
                    let from = from.serialized_value_bytes();
                    let mut stream = inverted.terms().range().ge(from).into_stream()?;
                    while stream.advance() && stream.key().starts_with(from) {
                        let word = stream.key().get(before.len()..).unwrap_or_default();
                        if let Ok(word) = std::str::from_utf8(word)
                            && pass(word)
                        {
                            *found.entry((key.clone(), word.to_owned())).or_insert(0) +=
                                u64::from(stream.value().doc_freq);
                        }
                    }
                }
            }
            Ok(())
        };
        all().map_err(|error| self.trouble(&error))?;
        Ok(found)
    }

    /// The fields with texts in which all of these words stand, in whichever entries. A word anywhere is looked for in each of
    /// them: a field of all texts beside them would be a seventh of the index. The dictionary has the words of one field behind those of
    /// another, so that one look past the last word of a field finds the next field.
    fn keys_with(&self, words: &[String]) -> Result<BTreeSet<String>, Error> {
        let mut keys = BTreeSet::new();
        let mut all = || -> tantivy::Result<()> {
            for segment in self.reader.searcher().segment_readers() {
                let inverted = segment.inverted_index(self.names.text)?;
                let dictionary = inverted.terms();
                let mut from = Vec::new();
                loop {
                    let mut stream = dictionary.range().ge(&from).into_stream()?;
                    if !stream.advance() {
                        break;
                    }
                    from.clear();
                    let path = stream.key().split(|&byte| byte == END_OF_PATH).next();
                    from.extend_from_slice(path.unwrap_or_default());
                    if let Ok(key) = std::str::from_utf8(&from)
                        && !keys.contains(key)
                    {
                        let mut has_all = true;
                        for word in words {
                            let term = self.word_term(key, word);
                            has_all &= dictionary.get(term.serialized_value_bytes())?.is_some();
                        }
                        if has_all {
                            keys.insert(key.to_owned());
                        }
                    }
                    from.push(END_OF_PATH + 1);
                }
            }
            Ok(())
        };
        all().map_err(|error| self.trouble(&error))?;
        Ok(keys)
    }

    pub(super) fn excluded(&self, node: &QueryNode) -> Box<dyn EngineQuery> {
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

    pub(super) fn between(&self, path: &str, low: Option<f64>, high: Option<f64>) -> Box<dyn EngineQuery> {
        let term = |value: f64| {
            let mut term = Term::from_field_json_path(self.names.number, path, false);
            term.append_type_and_fast_value(filed(value));
            Bound::Included(term)
        };
        // An open end is the last number on that side: the engine wants at least one bound to know the path.
        let low = term(low.unwrap_or(f64::MIN));
        Box::new(RangeQuery::new(low, term(high.unwrap_or(f64::MAX))))
    }

    pub(super) fn asked(&self, query: &Query) -> Box<dyn EngineQuery> {
        let mut clauses: Vec<(Occur, Box<dyn EngineQuery>)> = vec![
            (Occur::Must, self.engine_query(&query.node)),
            (Occur::Must, self.engine_query(&QueryNode::exact("kind", "run"))),
        ];
        if !query.superseded {
            clauses.push((
                Occur::MustNot,
                self.engine_query(&QueryNode::exact("is", "superseded")),
            ));
        }
        Box::new(BooleanQuery::new(clauses))
    }
}

fn any_of_it(term: Term) -> (Occur, Box<dyn EngineQuery>) {
    (
        Occur::Should,
        Box::new(TermQuery::new(term, IndexRecordOption::Basic)),
    )
}

#[cfg(test)]
mod tests {
    use tantivy::IndexWriter;

    use crate::index::{FiledDocument, Index};
    use crate::query::{Query, QueryNode};
    use crate::tests::Folder;

    #[test]
    fn words_anywhere_are_those_of_any_one_field() {
        let folder = Folder::new();
        let index = Index::create(&folder.0).expect("an index");
        let mut writer: IndexWriter<FiledDocument> = index
            .engine
            .writer_with_num_threads(1, 15 << 20)
            .expect("a writer");
        let texts = [
            [("sample", "red dye"), ("lot.no", "12 blue")],
            [("sample", "blue"), ("lot.no", "red")],
            [("samples", "dye red"), ("z", "green dye")],
        ];
        for (number, texts) in (0..).zip(texts) {
            let document = FiledDocument::new(|document| {
                document.count(index.names.order, number);
                document.object(index.names.list, |lists| lists.texts("kind", ["run"].into_iter()));
                document.object(index.names.text, |object| {
                    for (key, text) in texts {
                        object.texts(&super::step(key), [text].into_iter());
                    }
                });
            });
            writer.add_document(document).expect("it is added");
        }
        writer.commit().expect("it is written");
        index.reader.reload().expect("it is read");
        let found = |words: &[&str]| -> Vec<String> {
            let words = words.iter().map(|&word| word.to_owned()).collect();
            let query = Query::of(QueryNode::Words { key: None, words });
            let mut found = index.every_run(&query).expect("it is asked");
            found.sort();
            found.into_iter().map(|one| one.0[15..].to_owned()).collect()
        };
        assert_eq!(found(&["red"]), ["0", "1", "2"]);
        assert_eq!(found(&["blue"]), ["0", "1"]);
        assert_eq!(found(&["red", "dye"]), ["0"]);
        assert_eq!(found(&["dye", "red"]), ["2"]);
        assert_eq!(found(&["green", "dye"]), ["2"]);
        assert_eq!(found(&["yellow"]), [""; 0]);
        // In three texts, two of them of one run.
        let words = index.words_that(None, "d", &|_| true).expect("it is asked");
        assert_eq!(words.into_iter().collect::<Vec<_>>(), [("dye".to_owned(), 3)]);
    }
}
