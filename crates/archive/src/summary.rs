//! A run in short, as listings show it and the index keeps it.

use std::collections::BTreeMap;

use curvary_record::{Unit, Value};
use serde::{Deserialize, Serialize};

/// What is known of a run without opening its record.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// The technique.
    pub technique: String,
    /// The reader.
    pub reader: String,
    /// Every path of its source, first met first.
    pub paths: Vec<String>,
    /// The digest of its source.
    #[serde(default)]
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

/// What of a [`Summary`] is laid over a run that is read from its record: the rest need not be unpacked.
#[derive(Debug, Deserialize)]
pub(crate) struct Sighted {
    /// Every path of its source, first met first.
    pub(crate) paths: Vec<String>,
    /// Whether a newer version has taken its place.
    #[serde(default)]
    pub(crate) superseded: bool,
}

/// The strongest claim of a field, in short.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// Its value.
    pub value: Value,
    /// Its unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
}
