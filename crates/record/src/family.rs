//! Files that are written alike.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Digest;

/// How a file is written. Files of one family are written alike, and one answer settles a question for all of them.
///
/// It says nothing of what a file means, and is found from its text alone, so that neither a better reader nor an answer
/// moves a file into another family.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub struct Family {
    /// Delimiter, decimal sign, kinds of columns and headers, in words: `tab, decimal comma; number | nm, glimm; keys "k: v"`.
    /// Digits stand as `#`.
    pub writing: String,
    /// The keys of the preamble, folded and sorted. Not every file of a family needs to have all of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub keys: Vec<String>,
}

impl Family {
    /// A short name, for lists and the index: the writing's part, a point, and the keys' part.
    #[must_use]
    pub fn id(&self) -> String {
        let short = |text: &str, length: usize| {
            let digest = Digest::of(text.as_bytes());
            let digits = digest.as_str().trim_start_matches("sha256:");
            digits.get(..length).unwrap_or_default().to_owned()
        };
        format!("{}.{}", short(&self.writing, 8), short(&self.keys.join("\n"), 4))
    }

    /// Whether two files are written alike: the same writing, and keys of which the smaller set is for two thirds in the
    /// larger. Keys may be missing in single files, but a preamble of other keys comes from another hand.
    #[must_use]
    pub fn is_kin(&self, other: &Self) -> bool {
        if self.writing != other.writing {
            return false;
        }
        let (few, many) = if self.keys.len() <= other.keys.len() {
            (&self.keys, &other.keys)
        } else {
            (&other.keys, &self.keys)
        };
        if few.is_empty() {
            return many.is_empty();
        }
        let shared = few.iter().filter(|key| many.contains(key)).count();
        shared * 3 >= few.len() * 2
    }

    /// The family that holds both: the same writing, and every key of either.
    #[must_use]
    pub fn with(mut self, other: &Self) -> Self {
        self.keys.extend(other.keys.iter().cloned());
        self.keys.sort();
        self.keys.dedup();
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn family(writing: &str, keys: &[&str]) -> Family {
        Family {
            writing: writing.to_owned(),
            keys: keys.iter().map(|&key| key.to_owned()).collect(),
        }
    }

    #[test]
    fn keys_may_be_missing_but_not_others() {
        let whole = family("tab", &["date", "operator", "run", "sample"]);
        assert!(whole.is_kin(&family("tab", &["date", "sample"])));
        assert!(whole.is_kin(&family("tab", &["date", "run", "sample", "temperature"])));
        assert!(!whole.is_kin(&family("comma", &["date", "operator", "run", "sample"])));
        assert!(!whole.is_kin(&family("tab", &["dato", "proeve"])));
        assert!(!whole.is_kin(&family("tab", &[])));
        assert_eq!(whole.id(), whole.clone().id());
        assert_ne!(whole.id(), family("tab", &["date"]).id());
    }
}
