//! The JSON Schemas (draft 2020-12) of what curvary writes, made from the types themselves.

use schemars::{JsonSchema, generate::SchemaSettings};

use crate::{Outcome, Run, stored};

/// Every schema by its file name in `schemas/`, as pretty JSON that ends with a line end.
#[must_use]
pub fn all() -> Vec<(&'static str, String)> {
    vec![
        (
            "run-v1.json",
            schema_of::<Run>("run-v1.json", "A run: one measurement as it was recorded."),
        ),
        (
            "outcome-v1.json",
            schema_of::<Outcome>(
                "outcome-v1.json",
                "An outcome: what a computation found about one or several runs.",
            ),
        ),
        ("record-v3.json", stored::schema()),
    ]
}

/// The `$id` of the schema with this file name.
#[must_use]
pub fn id_of(name: &str) -> String {
    format!("https://example.org/curvary/schemas/{name}")
}

/// The schema of one type, by its file name, under a title.
#[must_use]
pub fn schema_of<T: JsonSchema>(name: &str, title: &str) -> String {
    let schema = SchemaSettings::draft2020_12()
        .into_generator()
        .into_root_schema_for::<T>();
    let mut schema = serde_json::to_value(schema).unwrap_or_default();
    without_own_formats(&mut schema);
    let mut all = serde_json::Map::new();
    all.insert(
        "$schema".to_owned(),
        "https://json-schema.org/draft/2020-12/schema".into(),
    );
    all.insert("$id".to_owned(), id_of(name).into());
    all.insert("title".to_owned(), title.into());
    if let serde_json::Value::Object(rest) = schema {
        for (key, value) in rest {
            if key != "title" {
                all.entry(key).or_insert(value);
            }
        }
    }
    let mut text = serde_json::to_string_pretty(&serde_json::Value::Object(all)).unwrap_or_default();
    text.push('\n');
    text
}

/// Takes away the formats of numbers (`uint32`, `double`) that no standard knows: strict validators refuse a schema with
/// them, and the bounds stand beside them anyway.
fn without_own_formats(value: &mut serde_json::Value) {
    match value {
        serde_json::Value::Object(map) => {
            let numeric = matches!(
                map.get("type"),
                Some(kind) if kind.to_string().contains("integer") || kind.to_string().contains("number")
            );
            if numeric {
                map.remove("format");
            }
            map.values_mut().for_each(without_own_formats);
        }
        serde_json::Value::Array(all) => all.iter_mut().for_each(without_own_formats),
        _ => {}
    }
}
