//! A run in short, as listings show it and the index keeps it.

use std::collections::BTreeMap;

use curvary_record::{Unit, Value, ValueKind, known_field};
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

/// The unit of a claim; a bare number of a known field is in its customary unit.
pub(crate) fn unit_of(key: &str, unit: Option<&Unit>) -> Option<Unit> {
    let customary = match known_field(key).map(|known| known.kind) {
        Some(ValueKind::Number(code) | ValueKind::Range(code)) => Unit::ucum(code).ok(),
        _ => None,
    };
    match (unit, customary) {
        // pH is a pure number to many writers.
        (Some(unit), Some(customary)) if *unit == Unit::ONE && customary == Unit::PH => Some(customary),
        (Some(unit), _) => Some(unit.clone()),
        (None, customary) => customary,
    }
}
