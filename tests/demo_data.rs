//! Holds `demo-data/` to its generator.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use curvary_tests::{laboratory, root};

fn on_disk(folder: &Path, front: &str, files: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).expect("demo-data is there") {
        let entry = entry.expect("it can be listed");
        let name = format!("{front}{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() {
            on_disk(&entry.path(), &format!("{name}/"), files);
        } else {
            files.insert(name, fs::read(entry.path()).expect("it can be read"));
        }
    }
}

#[test]
fn the_committed_files_are_what_the_generator_writes() {
    let mut there = BTreeMap::new();
    on_disk(&root().join("demo-data"), "", &mut there);
    let made: BTreeMap<String, Vec<u8>> = laboratory::files().into_iter().collect();
    let differ: Vec<&String> = made
        .keys()
        .chain(there.keys())
        .filter(|path| made.get(*path) != there.get(*path))
        .collect();
    assert!(
        differ.is_empty(),
        "run `cargo run -p curvary-tests --bin demo-data`: {differ:?}"
    );
}

#[test]
fn it_is_as_varied_as_it_claims() {
    let files = laboratory::files();
    assert!(files.len() >= 62, "{} files", files.len());
    let years: BTreeSet<&str> = files
        .iter()
        .filter_map(|(path, _)| path.split('/').next())
        .collect();
    assert!(
        years.iter().filter(|year| year.starts_with("20")).count() >= 8,
        "{years:?}"
    );
    let truth = files
        .iter()
        .find(|(path, _)| path == "TRUTH.json")
        .expect("the truth is there");
    let truth: serde_json::Value = serde_json::from_slice(&truth.1).expect("JSON");
    let shapes: BTreeSet<&str> = truth["files"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|f| f["shape"].as_str())
        .collect();
    assert!(shapes.len() >= 15, "{shapes:?}");
    for file in truth["files"].as_array().expect("a list") {
        let path = file["path"].as_str().expect("a path");
        assert!(
            files.iter().any(|(other, _)| other == path),
            "{path} is not there"
        );
    }
}

/// Whoever opens one of these files by chance must see that nobody measured it.
#[test]
fn every_text_says_that_it_is_invented() {
    for (path, bytes) in laboratory::files() {
        let bytes: Vec<u8> = bytes.into_iter().filter(|byte| *byte != 0).collect();
        let text = String::from_utf8_lossy(&bytes).to_lowercase();
        let ending = path.rsplit('.').next().unwrap_or_default();
        let mute = matches!(ending, "zip" | "gz" | "bin")
            || bytes.is_empty()
            || laboratory::MUTE.contains(&path.as_str());
        let says = ["invented", "erfunden", "inventé", "invent\u{fffd}", "inventados"]
            .iter()
            .any(|word| text.contains(word));
        assert!(mute || says, "{path}");
    }
}
