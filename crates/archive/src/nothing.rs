//! Why no run answers a query: which of its terms nothing answers, and what comes nearest.

use std::collections::BTreeMap;

use curvary_record::{Unit, Value, ValueKind, known_field};

use crate::query::{Bounds, QueryNode, dimension, distance};
use crate::{Archive, Error, Fact, FindOptions, Query};

/// A term of a query that no run answers, or that no run answers beside the others.
#[derive(Clone, Debug, PartialEq)]
pub struct NoMatchReason {
    /// The term as it is written.
    pub term: String,
    /// How many runs answer it alone.
    pub alone: usize,
    /// How many runs answer the query without it.
    pub without: usize,
    /// What comes nearest: values or words that runs have, nearest first.
    pub near: Vec<Near>,
    /// Of a temperature: how many runs lie within five degrees.
    pub within_five_degrees: Option<usize>,
}

/// A value that comes near what was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Near {
    /// The value.
    pub value: Fact,
    /// How many runs have it.
    pub runs: usize,
}

/// How many values are named that come near.
const NEAR: usize = 3;
/// Of how many words it is found out in how many runs they stand.
const COUNTED: usize = 4 * NEAR;
/// How many runs are looked at for such values.
const LOOKED_AT: usize = 20_000;

impl Archive {
    /// Why no run answers a query: the terms that are to blame, in their order. Nothing is found out where `or` joins
    /// the terms.
    ///
    /// # Errors
    /// When the index cannot be read.
    pub fn why_nothing(&self, text: &str) -> Result<Vec<NoMatchReason>, Error> {
        let terms = Query::terms(text);
        let count = |text: &str| -> Result<usize, Error> {
            let options = FindOptions {
                limit: 1,
                ..FindOptions::default()
            };
            Ok(self.find(&self.query(text)?, &options)?.total)
        };
        let mut lacks = Vec::new();
        for (at, term) in terms.iter().enumerate() {
            let others: Vec<&str> = (terms.iter().enumerate())
                .filter(|(other, _)| *other != at)
                .map(|(_, term)| term.as_str())
                .collect();
            let others = others.join(" ");
            let alone = count(term)?;
            let without = if terms.len() > 1 { count(&others)? } else { 0 };
            if alone > 0 && without == 0 {
                continue;
            }
            let node = self.query(term)?.node;
            // Where the other terms find nothing either, the whole archive is looked at.
            let among = if without > 0 {
                self.query(&others)?
            } else {
                Query::everything()
            };
            // A word that runs have is spelled rightly.
            let is_word = matches!(node, QueryNode::Words { .. } | QueryNode::Exact { .. });
            let near = if alone > 0 && is_word {
                Vec::new()
            } else {
                self.near(&node, &among)?
            };
            lacks.push(NoMatchReason {
                term: term.clone(),
                alone,
                without,
                near,
                within_five_degrees: self.warm(&node, &among)?,
            });
        }
        Ok(lacks)
    }

    fn near(&self, node: &QueryNode, among: &Query) -> Result<Vec<Near>, Error> {
        match node {
            QueryNode::Words { key, words } => self.near_words(key.as_deref(), words),
            QueryNode::Exact { list, value } if matches!(list.as_str(), "technique" | "reader") => {
                let counts = self.asked(|asking| asking.index.count(among, list))?;
                let value: Vec<char> = value.chars().collect();
                Ok(nearest(counts.into_iter().map(|(word, count)| {
                    let steps = distance(&value, &word);
                    (
                        f64::from(u32::try_from(steps).unwrap_or(u32::MAX)),
                        text(word),
                        count,
                    )
                })))
            }
            QueryNode::Number {
                key,
                dimension,
                bounds,
            } if !key.starts_with("result.") => self.near_numbers(key, dimension, *bounds, among),
            QueryNode::Day { from, to } => {
                let years = self.asked(|asking| asking.index.count(among, "year"))?;
                let off = |year: &str| {
                    let year: i64 = year.parse().unwrap_or(0);
                    let (first, last) = (from / 10_000, to / 10_000);
                    (first - year).max(year - last).max(0)
                };
                Ok(nearest(years.into_iter().map(|(year, count)| {
                    #[expect(clippy::cast_precision_loss, reason = "years are small")]
                    let far = off(&year) as f64;
                    (far, text(year), count)
                })))
            }
            _ => Ok(Vec::new()),
        }
    }

    /// Words that are spelled nearly so, or begin so.
    fn near_words(&self, key: Option<&str>, words: &[String]) -> Result<Vec<Near>, Error> {
        let [word] = words else {
            return Ok(Vec::new());
        };
        let letters: Vec<char> = word.chars().collect();
        let most = (letters.len() / 3).clamp(1, 3);
        let steps = |other: &str| {
            if letters.len() >= 3 && other.starts_with(word.as_str()) {
                return 1;
            }
            distance(&letters, other)
        };
        let near = |other: &str| {
            let long = other.chars().count();
            let may = long.abs_diff(letters.len()) <= most || other.starts_with(word.as_str());
            long >= 3 && may && other.chars().any(char::is_alphabetic) && steps(other) <= most
        };
        let found = self.asked(|asking| asking.index.words_that(key, "", &near))?;
        let mut likely: Vec<(usize, String, u64)> = found
            .into_iter()
            .map(|(other, texts)| (steps(&other), other, texts))
            .collect();
        likely.sort_by(|one, other| one.0.cmp(&other.0).then(other.2.cmp(&one.2)));
        let mut counted = Vec::new();
        // The dictionary counts texts, and those of runs that were replaced too; each run counts once, as a search for the word finds it.
        for (far, word, _) in likely.into_iter().take(COUNTED) {
            let query = Query::of(QueryNode::Words {
                key: key.map(str::to_owned),
                words: vec![word.clone()],
            });
            let options = FindOptions {
                limit: 1,
                ..FindOptions::default()
            };
            let runs = self.find(&query, &options)?.total as u64;
            if runs > 0 {
                let far = f64::from(u32::try_from(far).unwrap_or(u32::MAX));
                counted.push((far, text(word), runs));
            }
        }
        Ok(nearest(counted.into_iter()))
    }

    /// The values of a number field that lie nearest to the bounds.
    fn near_numbers(&self, key: &str, unit: &str, bounds: Bounds, among: &Query) -> Result<Vec<Near>, Error> {
        let options = FindOptions {
            limit: LOOKED_AT,
            ..FindOptions::default()
        };
        let mut counts: BTreeMap<String, (f64, Fact, u64)> = BTreeMap::new();
        for hit in self.find(among, &options)?.hits {
            let Some(fact) = hit.summary.fields.get(key) else {
                continue;
            };
            let Value::Number(number) = fact.value else {
                continue;
            };
            let own = fact.unit.clone().unwrap_or(Unit::ONE);
            let filed = if unit.is_empty() {
                number
            } else {
                own.to_si(number)
            };
            if !unit.is_empty() && dimension(&own) != unit {
                continue;
            }
            let below = bounds.low.map_or(0.0, |low| low - filed);
            let above = bounds.high.map_or(0.0, |high| filed - high);
            let far = below.max(above).max(0.0);
            let fact = customary(key, number, &own).unwrap_or_else(|| fact.clone());
            let name = format!("{} {:?}", fact.value, fact.unit);
            counts.entry(name).or_insert((far, fact, 0)).2 += 1;
        }
        Ok(nearest(counts.into_values()))
    }

    /// How many runs lie within five degrees of a temperature.
    fn warm(&self, node: &QueryNode, among: &Query) -> Result<Option<usize>, Error> {
        let QueryNode::Number {
            key,
            dimension,
            bounds,
        } = node
        else {
            return Ok(None);
        };
        if key != "temperature" {
            return Ok(None);
        }
        let wide = QueryNode::Number {
            key: key.clone(),
            dimension: dimension.clone(),
            bounds: Bounds {
                low: bounds.low.map(|low| low - 5.0),
                high: bounds.high.map(|high| high + 5.0),
            },
        };
        let query = Query::of(QueryNode::And(vec![wide, among.node.clone()]));
        let options = FindOptions {
            limit: 1,
            ..FindOptions::default()
        };
        Ok(Some(self.find(&query, &options)?.total))
    }
}

/// A number in the unit that its field is customarily in, so that values of many sources can be compared.
fn customary(key: &str, number: f64, own: &Unit) -> Option<Fact> {
    let ValueKind::Number(code) = known_field(key)?.kind else {
        return None;
    };
    let unit = Unit::ucum(code).ok()?;
    let value = own.convert(number, &unit).ok()?;
    // The arithmetic of units leaves its trace behind the tenth digit.
    let value = format!("{value:.9e}").parse().unwrap_or(value);
    Some(Fact {
        value: Value::Number(value),
        unit: Some(unit),
    })
}

fn text(word: String) -> Fact {
    Fact {
        value: Value::Text(word),
        unit: None,
    }
}

/// The first few by distance, then by how many there are.
fn nearest(all: impl Iterator<Item = (f64, Fact, u64)>) -> Vec<Near> {
    let mut all: Vec<(f64, Fact, u64)> = all.collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.2.cmp(&a.2)));
    all.into_iter()
        .take(NEAR)
        .map(|(_, value, count)| Near {
            value,
            runs: usize::try_from(count).unwrap_or(usize::MAX),
        })
        .collect()
}
