//! The query language: words, phrases, fields, numbers with units, dates, joined by *and*, `or`, parentheses and `-`.
//!
//! ```text
//! query  = and { "or" and }
//! and    = term { [ "and" ] term }
//! term   = "-" term | "(" query ")" | key ":" value | word | "phrase"
//! value  = word | beginning* | "phrase" | [ "<" "<=" ">" ">=" "=" ] quantity | [ quantity ] ".." [ quantity ]
//! ```
//!
//! Three rules carry the rest:
//! - Numbers are compared in SI units and within one part in 10⁹, so that 310.15 K is 37 °C; `<` and `>` leave out what
//!   is equal in that sense.
//! - A value that a run lacks never matches: `ph:7` needs a pH. A leading `-` turns a whole term round, so `-ph:7` matches
//!   the runs of another pH *and* those without one; `has:ph -ph:7` asks for the former alone.
//! - `betan*` finds every word that begins so, `?` stands for one letter.
//! - A field that a trace holds (the temperature of a cell) counts for that trace: [`Query::traces`] says which are meant.
//! - A field may be cut short where it is clear which is meant: `temp:37C`.
//! - Runs whose source was superseded are left out unless the query says `is:superseded` somewhere.

mod near;
mod pattern;
mod quantity;
mod syntax;
mod traces;
mod values;
mod vocabulary;

use crate::QueryError;
pub(crate) use near::distance;
pub(crate) use pattern::Pattern;
pub(crate) use quantity::Bounds;
pub(crate) use values::dimension;
pub use vocabulary::Vocabulary;

/// A query that was understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Query {
    text: String,
    pub(crate) node: QueryNode,
    /// Whether superseded runs are asked for.
    pub(crate) superseded: bool,
}

/// What a query asks of a run.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum QueryNode {
    /// Everything; an empty one matches every run.
    And(Vec<QueryNode>),
    /// At least one.
    Or(Vec<QueryNode>),
    /// Not this.
    Not(Box<QueryNode>),
    /// These words, one behind the other, in a field or anywhere.
    Words {
        /// The field.
        key: Option<String>,
        /// The words, folded.
        words: Vec<String>,
    },
    /// A word of this shape, in a field or anywhere.
    Like {
        /// The field.
        key: Option<String>,
        /// The shape.
        pattern: Pattern,
    },
    /// One of these runs, by names or beginnings of names.
    Named(Vec<String>),
    /// One of a closed list of words, compared as a whole.
    Exact {
        /// Which list.
        list: String,
        /// The word.
        value: String,
    },
    /// A number within bounds.
    Number {
        /// The field.
        key: String,
        /// The SI unit, or empty for the number as it was written.
        dimension: String,
        /// The bounds.
        bounds: Bounds,
    },
    /// A civil day within bounds, each as year, month, day in one decimal number.
    Day {
        /// The first day that matches.
        from: i64,
        /// The last.
        to: i64,
    },
}

impl Query {
    /// Understands a query. An empty one matches every run.
    ///
    /// `house` are the keys that the archive knows beside the known fields; [`Archive::query`](crate::Archive::query)
    /// fills them in.
    ///
    /// # Errors
    /// When a field, unit or value is not known, with its column and the nearest right one.
    pub fn parse(text: &str, house: &[String]) -> Result<Self, QueryError> {
        Self::with_vocabulary(text, house, &Vocabulary::default())
    }

    /// The same, with what the words of an archive mean.
    ///
    /// # Errors
    /// As for [`Query::parse`].
    pub(crate) fn with_vocabulary(
        text: &str,
        house: &[String],
        vocabulary: &Vocabulary,
    ) -> Result<Self, QueryError> {
        let node = syntax::parse(text, house, vocabulary)?;
        let superseded = node.asks_for("is", "superseded");
        Ok(Self {
            text: text.to_owned(),
            node,
            superseded,
        })
    }

    /// The terms of a query that are joined by *and*, each as it is written; none where `or` joins them or it cannot be
    /// understood.
    pub(crate) fn terms(text: &str) -> Vec<String> {
        syntax::terms(text)
    }

    /// The query that every run answers, save superseded ones.
    pub(crate) fn everything() -> Self {
        Self::of(QueryNode::And(Vec::new()))
    }

    pub(crate) fn of(node: QueryNode) -> Self {
        Self {
            text: String::new(),
            node,
            superseded: false,
        }
    }

    /// The text it was made from.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Every word that is looked for, for showing where it stands.
    pub(crate) fn sought(&self) -> Vec<&str> {
        fn walk<'a>(node: &'a QueryNode, all: &mut Vec<&'a str>) {
            match node {
                QueryNode::And(nodes) | QueryNode::Or(nodes) => nodes.iter().for_each(|node| walk(node, all)),
                QueryNode::Words { words, .. } => all.extend(words.iter().map(String::as_str)),
                _ => {}
            }
        }
        let mut all = Vec::new();
        walk(&self.node, &mut all);
        all
    }
}

impl QueryNode {
    pub(crate) fn exact(list: &str, word: impl Into<String>) -> Self {
        Self::Exact {
            list: list.to_owned(),
            value: word.into(),
        }
    }

    fn asks_for(&self, which: &str, word: &str) -> bool {
        match self {
            Self::And(nodes) | Self::Or(nodes) => nodes.iter().any(|node| node.asks_for(which, word)),
            Self::Not(node) => node.asks_for(which, word),
            Self::Exact { list, value } => list == which && value == word,
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests;
