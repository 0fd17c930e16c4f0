//! The JSON Schemas (draft 2020-12) of what curvary writes, made from the types themselves.

use schemars::{JsonSchema, generate::SchemaSettings};

use crate::{Outcome, Run, stored::Record};

/// Every schema by its file name in `schemas/`, as pretty JSON that ends with a line end.
#[must_use]
pub fn all() -> Vec<(&'static str, String)> {
    vec![
        (
            "run-v1.json",
            schema_of::<Run>("A run: one measurement as it was recorded."),
        ),
        (
            "outcome-v1.json",
            schema_of::<Outcome>("An outcome: what a computation found about one or several runs."),
        ),
        (
            "record-v2.json",
            schema_of::<Record>("One line of an archive's record files."),
        ),
    ]
}

/// The schema of one type under a title.
#[must_use]
pub fn schema_of<T: JsonSchema>(title: &str) -> String {
    let mut schema = SchemaSettings::draft2020_12()
        .into_generator()
        .into_root_schema_for::<T>();
    schema.insert("title".to_owned(), title.into());
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}
