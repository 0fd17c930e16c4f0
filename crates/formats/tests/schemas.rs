//! The schemas in `schemas/` are what the types say, and what is written is valid by a validator that is not ours.
//!
//! `UPDATE_SCHEMAS=1 cargo test -p curvary-formats --test schemas` renews the files.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::PathBuf;

use curvary_formats::{Readers, Source, layout, manifest, writers};
use curvary_record::stored::{Record, StoredRun};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../schemas")
}

fn schemas() -> Vec<(&'static str, String)> {
    let mut all = curvary_record::schema::all();
    all.push(("source-document-v1.json", writers::json::schema()));
    all.push(("layout-v1.json", layout::schema()));
    all.push(("plugin-v1.json", manifest::schema()));
    all.extend(writers::json_lines::schemas());
    all
}

#[test]
fn schemas_are_current() {
    for (name, text) in schemas() {
        let path = folder().join(name);
        if std::env::var_os("UPDATE_SCHEMAS").is_some() {
            fs::write(&path, &text).expect("the schema can be written");
        }
        let committed = fs::read_to_string(&path).unwrap_or_default();
        assert!(
            committed == text,
            "{} is not current: run with UPDATE_SCHEMAS=1",
            path.display()
        );
    }
}

/// What strict validators ask for: an identifier of its own, and no format that the standard does not name.
#[test]
fn schemas_are_strict() {
    fn formats(value: &serde_json::Value, all: &mut Vec<String>) {
        match value {
            serde_json::Value::Object(map) => {
                all.extend(
                    map.get("format")
                        .and_then(|format| format.as_str())
                        .map(str::to_owned),
                );
                map.values().for_each(|value| formats(value, all));
            }
            serde_json::Value::Array(list) => list.iter().for_each(|value| formats(value, all)),
            _ => {}
        }
    }
    for (name, text) in schemas() {
        let schema: serde_json::Value = serde_json::from_str(&text).expect("a schema is JSON");
        assert_eq!(
            schema["$id"],
            format!("https://example.org/curvary/schemas/{name}")
        );
        let mut all = Vec::new();
        formats(&schema, &mut all);
        assert!(all.is_empty(), "{name}: {all:?}");
    }
}

#[test]
fn what_is_written_is_valid() {
    let text = "Sample: betanin\nTemperature: 37,0 °C\nDate: 03/04/2021\n\nWavelength (nm);Abs;OVER\n400,0;0,1200;0,2\n401,0;OVER;0,3\n402,0;0,1300;\n";
    let source = Source::new("folder/odd.txt", text.as_bytes().to_vec());
    let readers = Readers::built_in();
    let (card, reading) = readers.read(&source, None);
    assert!(!reading.runs.is_empty());
    let validator = |name: &str| {
        let (_, text) = schemas()
            .into_iter()
            .find(|(n, _)| *n == name)
            .expect("a schema of this name");
        let schema: serde_json::Value = serde_json::from_str(&text).expect("a schema is JSON");
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        jsonschema::validator_for(&schema).expect("a schema is a schema")
    };
    let mut written = Vec::new();
    writers::json::SourceDocument::new(&source, card, &reading)
        .write(&mut written)
        .expect("a vector takes all");
    let document: serde_json::Value = serde_json::from_slice(&written).expect("JSON");
    let complaints: Vec<String> = validator("source-document-v1.json")
        .iter_errors(&document)
        .map(|e| format!("{e} at {}", e.instance_path()))
        .collect();
    assert!(complaints.is_empty(), "{complaints:#?}");
    let (runs, records) = (validator("run-v1.json"), validator("record-v3.json"));
    for run in &reading.runs {
        let json = serde_json::to_value(run).expect("a run is JSON");
        assert!(runs.is_valid(&json), "{json}");
        let record =
            serde_json::to_value(Record::Run(Box::new(StoredRun(run.clone())))).expect("a record is JSON");
        assert!(records.is_valid(&record), "{record}");
        // The validator tells: a record without its traces is none.
        let mut broken = record;
        broken["run"].as_object_mut().expect("an object").remove("traces");
        assert!(!records.is_valid(&broken));
    }
}

#[test]
fn the_layouts_that_come_along_are_valid() {
    let (_, text) = schemas()
        .into_iter()
        .find(|(name, _)| *name == "layout-v1.json")
        .expect("the schema of layouts");
    let schema: serde_json::Value = serde_json::from_str(&text).expect("a schema is JSON");
    let validator = jsonschema::validator_for(&schema).expect("a schema is a schema");
    let layouts = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../plugins/layouts");
    let mut tried = 0;
    for entry in fs::read_dir(layouts).expect("the folder is there") {
        let path = entry.expect("it can be listed").path();
        if path.extension().is_none_or(|ending| ending != "toml") {
            continue;
        }
        let text = fs::read_to_string(&path).expect("it can be read");
        let mut value: serde_json::Value = toml::from_str(&text).expect("TOML");
        let complaints: Vec<String> = validator
            .iter_errors(&value)
            .map(|e| format!("{e} at {}", e.instance_path()))
            .collect();
        assert!(complaints.is_empty(), "{}: {complaints:#?}", path.display());
        // The validator tells: a key that no layout has is refused.
        value["recognise"]["colour"] = "blue".into();
        assert!(!validator.is_valid(&value));
        tried += 1;
    }
    assert!(tried >= 3);
}
