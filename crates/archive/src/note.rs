//! What people add: corrections of fields and answers to questions. Append-only.

use std::collections::BTreeMap;

use curvary_record::RunId;
use serde::{Deserialize, Serialize};

/// One line of `notes.jsonl`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// When it was written, RFC 3339; filled in by [`Writer::note`](crate::Writer::note) when empty.
    #[serde(default)]
    pub at: String,
    /// Who wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub author: Option<String>,
    /// The run it is about, by its whole name.
    pub run: String,
    /// Values by field, as the person wrote them: `temperature` → `37 °C`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub fields: BTreeMap<String, String>,
    /// Answers that settle questions, such as `decimal=comma`. They hold for the whole source of the run.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub assume: Vec<String>,
}

impl Note {
    /// A note about a run, still empty.
    #[must_use]
    pub fn about(run: &RunId) -> Self {
        Self {
            run: run.as_str().to_owned(),
            ..Self::default()
        }
    }
}
