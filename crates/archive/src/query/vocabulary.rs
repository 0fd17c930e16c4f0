//! What the words of an archive mean in a query: local keys, units and values.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::known_field;

use super::quantity::number_and_unit;
use crate::answer::Answer;

/// Words that a person accepted, and what they mean.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Vocabulary {
    /// The fields that a key means; several where it differs from file to file.
    fields: BTreeMap<String, BTreeSet<&'static str>>,
    /// A value of a key, and what it means.
    values: BTreeMap<(String, String), BTreeSet<String>>,
    /// A unit, and its code.
    units: BTreeMap<String, String>,
}

impl Vocabulary {
    /// The words among answers, and in the settings of an archive.
    pub(crate) fn of<'a>(
        answers: impl Iterator<Item = &'a Answer>,
        words: &BTreeMap<String, String>,
    ) -> Self {
        let mut all = Self::default();
        let pairs = words.iter().map(|(word, field)| (word.as_str(), field.as_str()));
        for (word, field) in pairs {
            all.field(word, field);
        }
        for answer in answers {
            if let Some((key, meaning)) = answer.key() {
                all.field(key, meaning.split(':').next().unwrap_or_default());
            } else if let Some((word, code)) = part(&answer.answer, "unit:") {
                all.units.insert(word.trim().to_owned(), code.trim().to_owned());
            } else if let Some((word, meaning)) = answer
                .answer
                .strip_prefix("value:")
                .and_then(|rest| rest.split_once('='))
                && let Some((key, value)) = word.split_once(':')
                && !meaning.contains('=')
            {
                let meanings = all.values.entry((plain(key), plain(value))).or_default();
                meanings.insert(meaning.trim().to_owned());
            }
        }
        all
    }

    fn field(&mut self, word: &str, field: &str) {
        if let Some(known) = known_field(field.trim()) {
            self.fields.entry(plain(word)).or_default().insert(known.key);
        }
    }

    /// The fields that a key means.
    pub(super) fn fields_of(&self, key: &str) -> impl Iterator<Item = &'static str> + '_ {
        self.fields.get(&plain(key)).into_iter().flatten().copied()
    }

    /// The local keys.
    pub(super) fn keys(&self) -> impl Iterator<Item = &str> {
        self.fields.keys().map(String::as_str)
    }

    /// What a value of a key means.
    pub(super) fn values_of<'v>(&'v self, key: &str, value: &str) -> impl Iterator<Item = &'v str> + use<'v> {
        let meanings = self.values.get(&(plain(key), plain(value)));
        meanings.into_iter().flatten().map(String::as_str)
    }

    /// A number in a local unit, in the unit that it means: `20..25Grd` as `20..25Cel`.
    pub(super) fn in_known_unit(&self, value: &str) -> Option<String> {
        let number = value.rsplit("..").next()?.trim_start_matches(['<', '>', '=']);
        let (_, unit) = number_and_unit(number)?;
        let code = self.units.get(unit.trim())?;
        Some(format!("{}{code}", value.strip_suffix(unit)?))
    }
}

fn part<'a>(answer: &'a str, kind: &str) -> Option<(&'a str, &'a str)> {
    answer.strip_prefix(kind)?.rsplit_once('=')
}

fn plain(word: &str) -> String {
    word.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::query::{Query, QueryNode};

    #[test]
    fn local_words_are_understood_in_queries() {
        let said = [
            "key:Tw=temperature",
            "key:Kz=operator",
            "unit:Grd=Cel",
            "value:operator:im=Ines Mohr",
        ];
        let answers: Vec<Answer> = said
            .iter()
            .map(|text| Answer {
                answer: (*text).to_owned(),
                everywhere: true,
                ..Answer::default()
            })
            .collect();
        let vocabulary = Vocabulary::of(answers.iter(), &BTreeMap::new());
        let parse = |text: &str, house: &[&str]| {
            let house: Vec<String> = house.iter().map(|&key| key.to_owned()).collect();
            Query::with_vocabulary(text, &house, &vocabulary)
                .expect("a query")
                .node
        };
        assert_eq!(parse("Tw:20..25C", &[]), parse("temperature:20..25C", &[]));
        assert_eq!(parse("temperature:25Grd", &[]), parse("temperature:25C", &[]));
        assert_eq!(parse("kz:abc", &[]), parse("operator:abc", &[]));
        // Where some files still have the key under its own name, both are looked for.
        assert!(matches!(parse("Tw:20..25C", &["Tw"]), QueryNode::Or(nodes) if nodes.len() == 2));
        assert!(matches!(parse("operator:im", &[]), QueryNode::Or(nodes) if nodes.len() == 2));
        assert!(Query::parse("Tw:20..25C", &[]).is_err());
    }
}
