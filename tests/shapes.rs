//! What every command prints with `--json` is as the schemas in `schemas/output` say, by a validator that is not ours.
//!
//! `UPDATE_SCHEMAS=1` draws the schemas anew from what the commands print about the demonstration data: names, types, and which
//! names are always there. Read the difference before committing it: a name that is gone breaks somebody's script.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;

use curvary_tests::{copy_folder, json, root, run};
use serde_json::{Map, Value, json};

/// The name of the schema, and command lines that print such JSON.
const COMMANDS: [(&str, &[&[&str]]); 21] = [
    ("add", &[&["add", "demo-data"]]),
    ("status", &[&["status"]]),
    ("fields", &[&["fields"]]),
    (
        "find",
        &[
            &["find"],
            &["find", "betanin"],
            &["find", "nothing-of-the-kind"],
            &["find", "--like", "b6570f5e"],
        ],
    ),
    ("facets", &[&["find", "--facets"]]),
    (
        "fit",
        &[
            &["fit", "b6570f5e", "--model", "first-order+offset"],
            &["fit", "b6570f5e", "fe7f9f96", "--compare"],
            &[
                "fit",
                "b6570f5e",
                "--model",
                "first-order+offset",
                "--predict",
                "100",
                "--points",
                "points.csv",
            ],
            &[
                "fit",
                "b6570f5e",
                "fe7f9f96",
                "--model",
                "first-order+offset",
                "--share",
                "k",
            ],
            &[
                "fit",
                "b6570f5e",
                "fe7f9f96",
                "--model",
                "first-order,first-order+offset",
                "--share",
                "k",
                "--compare",
            ],
        ],
    ),
    (
        "rates",
        &[&[
            "rates",
            "enzyme:phosphatase",
            "date:2021",
            "--law",
            "michaelis-menten",
        ]],
    ),
    (
        "temperature",
        &[&[
            "temperature",
            "sample:betanin",
            "technique:time-course",
            "--model",
            "first-order+offset",
        ]],
    ),
    (
        "scans",
        &[
            &["scans", "demo-data/2023/scans/fading 60C.csv"],
            &["scans", "technique:spectral-time-course"],
            &[
                "scans",
                "demo-data/2023/scans/fading 60C.csv",
                "--scheme",
                "A->B",
                "--shifted",
            ],
        ],
    ),
    (
        "peaks",
        &[
            &["peaks", "demo-data/2016/spectra/beet juice 1.csv"],
            &["peaks", "technique:spectrum", "date:2016"],
        ],
    ),
    (
        "quantify",
        &[&["quantify", "demo-data/2022/calibration/food blue.csv", "--line"]],
    ),
    (
        "results",
        &[
            &["results", "has:result"],
            &["results", ""],
            &["results", "has:result", "--mean"],
        ],
    ),
    (
        "show",
        &[
            &["show", "b6570f5e"],
            &["show", "technique:time-course"],
            &["show", "has:result"],
        ],
    ),
    (
        "explain",
        &[
            &["explain", "demo-data/2021/undecided/comma-comma.txt"],
            &["explain", "demo-data/2016/practical-3/betanin_37C_1.csv"],
        ],
    ),
    ("worklist", &[&["worklist"]]),
    ("answers", &[&["answer", "--list"]]),
    ("vocabulary", &[&["vocabulary"], &["vocabulary", "--suggested"]]),
    ("reread", &[&["reread", "--dry-run"]]),
    ("verify", &[&["verify"]]),
    ("readers", &[&["readers"]]),
    ("sequences", &[&["run"]]),
];

/// Objects whose names are data: fields, settings, parameters.
const MAPS: [&str; 9] = [
    "fields",
    "statistics",
    "settings",
    "kinds",
    "by",
    "options",
    "more",
    "starts",
    "words_by_key",
];

/// What stands beside the record of a result, in words: the schema, the name, and what it is.
const BESIDE: [(&str, &str, &str); 15] = [
    (
        "fit",
        "predicted",
        "The curve at the places of --predict: y with its standard error, and the interval of the curve and of one more reading",
    ),
    (
        "fit",
        "points",
        "Every point used, with --points: x, y, fitted value and residual, in the units of the axes",
    ),
    (
        "fit",
        "ranked",
        "Laws compared, best first: AICc above the best, and the Akaike weight",
    ),
    ("fit", "refused", "Laws that could not be fitted, with the reason"),
    ("fit", "told_apart", "Whether the data single out one law"),
    ("fit", "verdict", "What the comparison says, in words"),
    (
        "scans",
        "spectra",
        "Spectra of the species: pairs of wavelength and absorbance at the total concentration",
    ),
    (
        "scans",
        "concentrations",
        "Species over time: pairs of time and part of what the first species began with",
    ),
    (
        "quantify",
        "recovered",
        "Standards read off their own line: concentration given and found, absorbance, and recovery in percent",
    ),
    (
        "temperature",
        "points",
        "The rate constants that the line goes through",
    ),
    (
        "*",
        "reason",
        "Why there is no number, why a number is not to be trusted, or by what definition it was found",
    ),
    ("*", "termination", "How the computation ended, in words"),
    ("*", "standard_error", "Standard error, in the unit of the value"),
    (
        "*",
        "intervals",
        "Intervals with their level and kind: t, profile-likelihood, bootstrap, fieller; null is an open end",
    ),
    ("*", "settings", "The plan by which --again does the same again"),
];

/// Schemas of results, whose names are explained.
const RESULTS: [&str; 6] = ["fit", "rates", "scans", "peaks", "quantify", "temperature"];

/// Puts words to the names of a schema of results.
fn explain(schema: &mut Value, of: &str) {
    match schema {
        Value::Object(map) => {
            if let Some(Value::Object(properties)) = map.get_mut("properties") {
                for (name, property) in properties {
                    let words = BESIDE
                        .iter()
                        .find(|(schema, own, _)| own == name && (*schema == of || *schema == "*"));
                    if let (Some((_, _, words)), Value::Object(property)) = (words, property) {
                        property.insert("description".into(), (*words).into());
                    }
                }
            }
            map.values_mut().for_each(|value| explain(value, of));
        }
        Value::Array(all) => all.iter_mut().for_each(|value| explain(value, of)),
        _ => {}
    }
}

/// Every name that stands beside a record is in a schema, with words.
#[test]
fn what_stands_beside_a_record_is_explained() {
    for (schema, name, words) in BESIDE.iter().filter(|(schema, _, _)| *schema != "*") {
        let text =
            fs::read_to_string(folder().join(format!("{schema}-v1.json"))).expect("the schema is there");
        let quoted = serde_json::to_string(words).expect("JSON");
        assert!(
            text.contains(&format!("\"{name}\": {{")) && text.contains(&quoted),
            "{schema}: `{name}` is not explained; UPDATE_SCHEMAS=1 draws the schemas anew"
        );
    }
}

fn folder() -> PathBuf {
    root().join("schemas/output")
}

/// What each command prints about the demonstration data.
fn printed() -> BTreeMap<&'static str, Vec<Value>> {
    let place = tempfile::tempdir().expect("a folder");
    copy_folder(&root().join("demo-data"), &place.path().join("demo-data"));
    let mut all = BTreeMap::new();
    for (name, lines) in COMMANDS {
        let outputs = lines.iter().map(|line| {
            let mut words = line.to_vec();
            words.extend(["--json", "--archive", "lab"]);
            json(&run(place.path(), &words))
        });
        all.insert(name, outputs.collect());
        if name == "add" {
            // Something of every kind is there then.
            let words = ["answer", "undecided", "x=time:s", "--archive", "lab"];
            let _ = run(place.path(), &words);
            let words = ["vocabulary", "key:jacket=temperature", "--archive", "lab"];
            assert!(run(place.path(), &words).status.success());
            let words = ["note", "b6570f5e", "tag=shown", "--archive", "lab"];
            assert!(run(place.path(), &words).status.success());
            let words = [
                "run",
                "weekly",
                "--query",
                "betanin",
                "--save",
                "find {query}",
                "--archive",
                "lab",
            ];
            assert!(run(place.path(), &words).status.success());
        }
    }
    all
}

#[test]
fn what_commands_print_is_as_the_schemas_say() {
    for (name, values) in printed() {
        let path = folder().join(format!("{name}-v1.json"));
        if std::env::var_os("UPDATE_SCHEMAS").is_some() {
            let mut schema = Map::new();
            schema.insert(
                "$schema".into(),
                "https://json-schema.org/draft/2020-12/schema".into(),
            );
            schema.insert(
                "$id".into(),
                format!("https://example.org/curvary/schemas/output/{name}-v1.json").into(),
            );
            schema.insert(
                "title".into(),
                format!("What curvary prints with --json: {name}").into(),
            );
            let mut shape = drawn(&values.iter().collect::<Vec<_>>(), "");
            if RESULTS.contains(&name) {
                explain(&mut shape, name);
            }
            if let Value::Object(shape) = shape {
                schema.extend(shape);
            }
            fs::create_dir_all(folder()).expect("a folder");
            let text = serde_json::to_string_pretty(&schema).expect("JSON") + "\n";
            fs::write(&path, text).expect("the schema can be written");
        }
        let text = fs::read_to_string(&path).unwrap_or_else(|_| panic!("{} is there", path.display()));
        let schema: Value = serde_json::from_str(&text).expect("a schema is JSON");
        let validator = jsonschema::validator_for(&schema).expect("a schema");
        for value in &values {
            let wrong: Vec<String> = validator
                .iter_errors(value)
                .take(5)
                .map(|error| format!("{error} at {}", error.instance_path()))
                .collect();
            assert!(wrong.is_empty(), "{name}: {}", wrong.join("\n"));
        }
    }
}

/// The schema that all of these values hold.
fn drawn(values: &[&Value], name: &str) -> Value {
    let kind = |value: &Value| match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    let kinds: BTreeSet<&str> = values.iter().map(|value| kind(value)).collect();
    let mut schema = Map::new();
    if kinds.len() > 1 {
        // A schema for each kind: strict validators refuse a list of types.
        let each = kinds.iter().map(|own| {
            let of_kind: Vec<&Value> = values
                .iter()
                .copied()
                .filter(|value| kind(value) == *own)
                .collect();
            let mut schema = drawn(&of_kind, name);
            if *own == "null" {
                schema = json!({ "type": "null" });
            }
            schema
        });
        schema.insert("anyOf".into(), each.collect());
        return Value::Object(schema);
    }
    // Where all are null nothing is known of what else may stand there.
    if let Some(own) = kinds.first().filter(|own| **own != "null") {
        schema.insert("type".into(), (*own).into());
    }
    let items: Vec<&Value> = values
        .iter()
        .filter_map(|value| value.as_array())
        .flatten()
        .collect();
    if !items.is_empty() {
        schema.insert("items".into(), drawn(&items, ""));
    }
    let objects: Vec<&Map<String, Value>> = values.iter().filter_map(|value| value.as_object()).collect();
    if objects.is_empty() {
        return Value::Object(schema);
    }
    let names: BTreeSet<&String> = objects.iter().flat_map(|object| object.keys()).collect();
    if MAPS.contains(&name) {
        let inner: Vec<&Value> = objects.iter().flat_map(|object| object.values()).collect();
        schema.insert("additionalProperties".into(), drawn(&inner, ""));
        return Value::Object(schema);
    }
    let properties: Map<String, Value> = names
        .iter()
        .map(|name| {
            let inner: Vec<&Value> = objects.iter().filter_map(|object| object.get(*name)).collect();
            ((*name).clone(), drawn(&inner, name))
        })
        .collect();
    let always: Vec<&&String> = names
        .iter()
        .filter(|name| objects.iter().all(|object| object.contains_key(**name)))
        .collect();
    schema.insert("required".into(), json!(always));
    schema.insert("properties".into(), Value::Object(properties));
    Value::Object(schema)
}
