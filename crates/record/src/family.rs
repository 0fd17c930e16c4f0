//! Files that are written alike.

use std::fmt;

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
    /// The family of one file alone, of which nothing is known that another could have in common with it.
    #[must_use]
    pub fn of_one(file: &Digest) -> Self {
        Self {
            writing: format!("written as no other file, {}", file.as_str()),
            keys: Vec::new(),
        }
    }

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

/// How a table is written. Its text is [`Family::writing`], by which families are told apart and kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Manner {
    /// Delimiter, and the decimal signs that stand in numbers: `tabs, points in numbers`.
    pub cells: String,
    /// What the columns hold, neighbours of one kind once: `clock, number`.
    pub kinds: String,
    /// What stands above the columns.
    pub headers: Headers,
    /// What the lines outside the table look like.
    pub around: Around,
}

/// What stands above the columns of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Headers {
    /// Nothing; the table looks like this: `two columns, rising`.
    Absent(String),
    /// These headers, folded.
    Present(String),
}

/// What the lines outside a table look like.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Around {
    /// There are none, or they say nothing in a manner of their own.
    Plain,
    /// Keys and values, with `k` and `v` in their places: `# k: v`.
    Keys(String),
    /// Lines without keys behind a sign.
    Marked(String),
}

const ABSENT: &str = "no header, ";
const KEYS: &str = "keys as ";
const MARKED: &str = "lines after ";

impl fmt::Display for Manner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {} | ", self.cells, self.kinds)?;
        match &self.headers {
            Headers::Absent(table) => write!(f, "{ABSENT}{table}")?,
            Headers::Present(headers) => f.write_str(headers)?,
        }
        match &self.around {
            Around::Plain => Ok(()),
            Around::Keys(form) => write!(f, "; {KEYS}{form}"),
            Around::Marked(sign) => write!(f, "; {MARKED}{sign}"),
        }
    }
}

impl Manner {
    /// The manner that a text of [`Family::writing`] tells; none where it tells of labelled records, or of nothing known.
    #[must_use]
    pub fn of(writing: &str) -> Option<Self> {
        let (front, rest) = writing.split_once(" | ")?;
        let (cells, kinds) = front.split_once("; ")?;
        // The sign before keys may be a semicolon itself.
        let (headers, around) = if let Some((headers, form)) = rest.rsplit_once(&format!("; {KEYS}")) {
            (headers, Around::Keys(form.to_owned()))
        } else if let Some((headers, sign)) = rest.rsplit_once(&format!("; {MARKED}")) {
            (headers, Around::Marked(sign.to_owned()))
        } else {
            (rest, Around::Plain)
        };
        Some(Self {
            cells: cells.to_owned(),
            kinds: kinds.to_owned(),
            headers: match headers.strip_prefix(ABSENT) {
                Some(table) => Headers::Absent(table.to_owned()),
                None => Headers::Present(headers.to_owned()),
            },
            around,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_manner_is_read_back_from_the_text_that_it_is_kept_as() {
        for text in [
            "tabs, points in numbers; number | time, a; keys as # k: v",
            "blanks; clock, number | no header, two columns, rising; lines after %",
            "semicolons, commas in numbers; number | nm, a; b",
            "commas; number | ",
            "tabs; number | nm, a; keys as ; k: v",
            "tabs; number | nm, a; lines after ;",
        ] {
            assert_eq!(Manner::of(text).expect(text).to_string(), text);
        }
        let bare = Manner::of("tabs; number | no header, many columns, falling").expect("a table");
        assert_eq!(bare.headers, Headers::Absent("many columns, falling".to_owned()));
        assert_eq!(Manner::of("labelled records; xunits nm"), None);
    }

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
