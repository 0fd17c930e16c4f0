//! Holds the repository to its own rules: which room may use which, words, code pages.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use curvary_tests::root;
use regex::Regex;

/// Which of our crates each room may use. `cli` stands on the top floor and may use all.
const ROOMS: &[(&str, &[&str])] = &[
    ("record", &[]),
    ("jcamp-dx", &[]),
    ("plugin-abi", &[]),
    ("formats", &["record", "jcamp-dx"]),
    ("analysis", &["record"]),
    ("archive", &["record"]),
    ("plugin-host", &["record", "formats", "plugin-abi"]),
    ("ingest", &["record", "formats", "archive", "plugin-host"]),
    ("page", &["record", "archive", "analysis", "ingest"]),
];

fn rooms() -> Vec<String> {
    let entries = fs::read_dir(root().join("crates"))
        .expect("crates/ is there")
        .filter_map(Result::ok);
    let mut names: Vec<String> = entries
        .filter(|entry| entry.path().join("Cargo.toml").is_file())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok) {
        let path = entry.path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found.sort();
}

#[test]
fn rooms_use_only_the_floors_below_them() {
    for room in rooms().iter().filter(|room| *room != "cli") {
        let (_, allowed) = ROOMS.iter().find(|(name, _)| name == room).unwrap_or_else(|| {
            panic!("crates/{room} is in no floor plan: add it to ROOMS and to DEVELOPERS.md")
        });
        let text =
            fs::read_to_string(root().join("crates").join(room).join("Cargo.toml")).expect("a manifest");
        let manifest: toml::Table = text.parse().expect("TOML");
        let name = manifest["package"]["name"].as_str().expect("a name");
        assert_eq!(name, format!("curvary-{room}"), "package names carry the prefix");
        // What tests use is no matter of the house.
        let used = manifest.get("dependencies").and_then(toml::Value::as_table);
        for (name, _) in used.into_iter().flatten() {
            if let Some(other) = name.strip_prefix("curvary-") {
                assert!(allowed.contains(&other), "{room} may not use {other}");
            }
        }
    }
}

#[test]
fn folders_have_names_that_say_something() {
    let mut found = Vec::new();
    for room in rooms() {
        sources(&root().join("crates").join(room).join("src"), &mut found);
    }
    for path in found {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        let vague = ["utils", "util", "common", "types", "errors", "helpers", "misc"];
        assert!(!vague.contains(&name.as_str()), "{} says nothing", path.display());
    }
}

/// Every diagnostic code that a crate can give has a page for `curvary explain CODE`.
#[test]
fn every_code_has_a_page() {
    let pages = fs::read_to_string(root().join("crates/cli/src/codes.md")).expect("the pages");
    let pages: BTreeSet<&str> = pages
        .lines()
        .filter_map(|line| line.strip_prefix("## "))
        .collect();
    let made = Regex::new(r#"(?:Code::new|remark|note|lost|ask)\(\s*"([a-z0-9]+(?:-[a-z0-9]+)+)"\s*[,)]"#)
        .expect("a sound pattern");
    let mut missing: BTreeMap<String, String> = BTreeMap::new();
    for room in rooms() {
        let mut found = Vec::new();
        sources(&root().join("crates").join(&room).join("src"), &mut found);
        for path in found.into_iter().filter(|path| !path.ends_with("tests.rs")) {
            let text = fs::read_to_string(&path).expect("a source");
            // Tests make up codes of their own.
            let text = text.split("#[cfg(test)]").next().unwrap_or_default();
            for code in made.captures_iter(text) {
                if !pages.contains(&code[1]) {
                    missing.insert(code[1].to_owned(), path.display().to_string());
                }
            }
        }
    }
    assert!(
        missing.is_empty(),
        "codes without a page in crates/cli/src/codes.md: {missing:#?}"
    );
}

#[test]
fn developers_find_every_room_in_the_plan() {
    let Ok(text) = fs::read_to_string(root().join("DEVELOPERS.md")) else {
        panic!("DEVELOPERS.md is not there");
    };
    for room in rooms() {
        assert!(
            text.contains(&format!("`{room}`")),
            "DEVELOPERS.md does not name `{room}`"
        );
    }
}
