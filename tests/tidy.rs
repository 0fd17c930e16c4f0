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

/// What the program decides by has a name that the compiler knows: `record::code`, never the letters of a code.
#[test]
fn codes_are_compared_by_their_names() {
    let by_letters = Regex::new(r#"\.code(?:\.as_str\(\))? *[!=]= *"[a-z]|match [a-z_.]*code\.as_str\(\)"#)
        .expect("a pattern");
    let mut found = Vec::new();
    for room in rooms() {
        sources(&root().join("crates").join(room).join("src"), &mut found);
    }
    for path in found.into_iter().filter(|path| !path.ends_with("tests.rs")) {
        let text = fs::read_to_string(&path).expect("a source");
        let text = text.split("#[cfg(test)]").next().unwrap_or_default();
        for line in text.lines().filter(|line| !line.trim_start().starts_with("//")) {
            assert!(!by_letters.is_match(line), "{}: {line}", path.display());
        }
    }
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

/// The crate that plugins copy builds without the workspace, so its values are plain; they are the workspace's own all the same.
#[test]
fn the_crate_that_plugins_copy_stands_alone() {
    let manifest = |path: &str| -> toml::Table {
        let text = fs::read_to_string(root().join(path)).expect("a manifest");
        text.parse().expect("TOML")
    };
    let own = manifest("crates/plugin-abi/Cargo.toml");
    let house = manifest("Cargo.toml");
    for (key, value) in house["workspace"]["package"].as_table().expect("a table") {
        assert_eq!(
            own["package"].get(key),
            Some(value),
            "`{key}` of crates/plugin-abi"
        );
    }
    assert!(own.get("dependencies").is_none(), "it depends on nothing");
    assert!(!toml::to_string(&own).expect("TOML").contains("workspace"));
}

/// The glossary's last column names what stands in the crates, so that a reader can go from a word to its type.
#[test]
fn the_glossary_names_types_that_there_are() {
    let text = fs::read_to_string(root().join("docs/glossary.md")).expect("the glossary");
    let mut all = String::new();
    for room in rooms() {
        let mut found = Vec::new();
        sources(&root().join("crates").join(&room).join("src"), &mut found);
        for path in found {
            all.push_str(&fs::read_to_string(&path).expect("a source"));
        }
    }
    let word = Regex::new("`(?:[a-z_]+::)?([A-Z][A-Za-z]+)`").expect("a sound pattern");
    let mut seen = 0;
    for line in text.lines().filter(|line| line.starts_with("| ")) {
        let last = line
            .trim_end_matches(['|', ' '])
            .rsplit('|')
            .next()
            .unwrap_or_default();
        for name in word.captures_iter(last) {
            let made = ["struct", "enum", "trait", "type"];
            let is_there = made.iter().any(|kind| {
                let begin = format!("{kind} {}", &name[1]);
                all.match_indices(&begin).any(|(at, _)| {
                    let next = all[at + begin.len()..].chars().next();
                    !next.is_some_and(|c| c.is_alphanumeric() || c == '_')
                })
            });
            assert!(
                is_there,
                "docs/glossary.md names `{}`, and no crate has it",
                &name[1]
            );
            seen += 1;
        }
    }
    assert!(seen > 30, "{seen} names");
}

/// Every page of a folder and of those in it.
fn pages(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok) {
        let path = entry.path();
        if path.is_dir() {
            pages(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "md") {
            found.push(path);
        }
    }
}

#[test]
fn links_lead_somewhere_and_every_page_is_reached() {
    let mut all = Vec::new();
    pages(&root().join("docs"), &mut all);
    all.extend(
        ["README.md", "DEVELOPERS.md", "CONTRIBUTING.md", "SECURITY.md"].map(|name| root().join(name)),
    );
    let link = Regex::new(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)").expect("a sound pattern");
    let mut reached = BTreeSet::new();
    for page in &all {
        let text = fs::read_to_string(page).expect("a page");
        let folder = page.parent().expect("it lies in a folder");
        for target in link.captures_iter(&text) {
            let path = folder.join(&target[1]);
            let path = path
                .canonicalize()
                .unwrap_or_else(|_| panic!("{} links to {}, which is not there", page.display(), &target[1]));
            reached.insert(path);
        }
    }
    for page in all.iter().filter(|page| page.starts_with(root().join("docs"))) {
        let page = page.canonicalize().expect("it is there");
        assert!(reached.contains(&page), "nothing links to {}", page.display());
    }
}

/// Who opens a crate's documentation sees how it is used, and the tests run what stands there.
#[test]
fn every_front_page_shows_how_a_crate_is_used() {
    for room in rooms() {
        let Ok(text) = fs::read_to_string(root().join("crates").join(&room).join("src/lib.rs")) else {
            continue;
        };
        let front = text.lines().take_while(|line| line.starts_with("//!"));
        assert!(
            front.into_iter().any(|line| line == "//! ```"),
            "the front page of crates/{room} has no example that is run"
        );
    }
}

/// An error has a type, so that whoever meets it can tell its kinds apart; only at the border it becomes a sentence.
#[test]
fn errors_have_types() {
    let sentence = Regex::new(SENTENCE).expect("a pattern");
    for room in [
        "record",
        "jcamp-dx",
        "plugin-abi",
        "formats",
        "plugin-host",
        "ingest",
    ] {
        let mut found = Vec::new();
        sources(&root().join("crates").join(room).join("src"), &mut found);
        for path in found.into_iter().filter(|path| !path.ends_with("tests.rs")) {
            let text = fs::read_to_string(&path).expect("a source");
            let text = text.split("#[cfg(test)]").next().unwrap_or_default();
            for line in text.lines() {
                assert!(!sentence.is_match(line), "{}: {line}", path.display());
            }
        }
    }
}

/// Where a type gets its name; `.ci/sizes.py` counts by the same pattern.
const MADE: &str = r"(?m)^\s*(?:pub(?:\([^)]*\))?\s+)?(?:struct|enum|trait|union)\s+([A-Z]\w*)";

/// A result whose error is a bare sentence; `.ci/sizes.py` counts by the same pattern.
const SENTENCE: &str = r"Result<[^;{]*, *String *>";

/// What is counted under "Sizes" of DEVELOPERS.md is what these tests hold.
#[test]
fn sizes_are_counted_by_the_same_patterns() {
    let script = fs::read_to_string(root().join(".ci/sizes.py")).expect("the script");
    for pattern in [MADE, SENTENCE] {
        assert!(
            script.contains(&format!("r\"{pattern}\"")) || script.contains(&format!("r'{pattern}'")),
            ".ci/sizes.py has not the pattern {pattern}"
        );
    }
}

/// Names of types that stand for more than one thing, and why each may.
const SHARED_NAMES: &[(&str, &[&str])] = &[
    (
        "the contract of plugins as C has it and as Rust has it, and what the program makes of it",
        &[
            "Answer",
            "Column",
            "Curve",
            "FixedCoordinate",
            "Pair",
            "Question",
            "Reader",
            "Severity",
            "Sink",
            "Source",
            "Text",
        ],
    ),
    (
        "words of the standard in `jcamp-dx`, which is used alone",
        &[
            "Code", "Data", "Decimals", "Peak", "Place", "Record", "Remark", "Scans", "Span",
        ],
    ),
    (
        "rooms that do not know each other, each with its own module in front of the name",
        &["Key", "Part"],
    ),
];

/// One name, one thing. Who needs a name again says above why it may be.
#[test]
fn a_name_of_a_type_stands_for_one_thing() {
    let made = Regex::new(MADE).expect("a sound pattern");
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for room in rooms() {
        let mut found = Vec::new();
        sources(&root().join("crates").join(room).join("src"), &mut found);
        for path in found.into_iter().filter(|path| !path.ends_with("tests.rs")) {
            let text = fs::read_to_string(&path).expect("a source");
            let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
            for name in made.captures_iter(text) {
                let place = path.display().to_string();
                places.entry(name[1].to_owned()).or_default().push(place);
            }
        }
    }
    let known: BTreeSet<&str> = SHARED_NAMES
        .iter()
        .flat_map(|(_, names)| names.iter().copied())
        .collect();
    places.retain(|name, places| places.len() > 1 && !known.contains(name.as_str()));
    assert!(places.is_empty(), "names used more than once: {places:#?}");
}

/// A name of a type stands in prose as code does, in backticks. Where it stands bare, a renaming ran over a sentence, and some
/// of these sentences are the help that people read.
#[test]
fn no_renaming_ran_over_prose() {
    let made = Regex::new(MADE).expect("a sound pattern");
    let mut texts = Vec::new();
    for room in rooms() {
        let mut found = Vec::new();
        sources(&root().join("crates").join(&room).join("src"), &mut found);
        texts.extend(found.into_iter().map(|path| {
            let text = fs::read_to_string(&path).expect("a source");
            (path, text)
        }));
    }
    // A name of one word is a word of the language as well.
    let capitals = |name: &str| name.chars().filter(|sign| sign.is_uppercase()).count();
    let names: BTreeSet<&str> = texts
        .iter()
        .flat_map(|(_, text)| made.captures_iter(text))
        .filter_map(|name| name.get(1))
        .map(|name| name.as_str())
        .filter(|name| capitals(name) > 1)
        .collect();
    let code = Regex::new(r"`[^`]*`|\[[^\]]*\](\([^)]*\))?").expect("a pattern");
    let word = Regex::new(r"\w+").expect("a pattern");
    for (path, text) in &texts {
        let mut in_code = false;
        for line in text.lines() {
            let line = line.trim_start();
            let Some(prose) = line.strip_prefix("///").or_else(|| line.strip_prefix("//")) else {
                in_code = false;
                continue;
            };
            let prose = prose.trim_start_matches('!').trim_start();
            in_code ^= prose.starts_with("```");
            if in_code {
                continue;
            }
            let prose = code.replace_all(prose, "");
            for name in word.find_iter(&prose) {
                assert!(!names.contains(name.as_str()), "{}: {line}", path.display());
            }
        }
    }
}

/// The science is functions over numbers; only `study`, beside it, takes them from runs to outcomes.
#[test]
fn the_science_knows_no_record_outside_of_study() {
    let science = root().join("crates/analysis/src");
    let mut found = Vec::new();
    sources(&science, &mut found);
    let mut outside = 0;
    for path in found
        .iter()
        .filter(|path| !path.starts_with(science.join("study")))
    {
        let text = fs::read_to_string(path).expect("a source");
        assert!(
            !text.contains("curvary_record::"),
            "{} uses `record`",
            path.display()
        );
        outside += 1;
    }
    assert!(outside > 40, "{outside} files");
}

/// What draws on a screen, into a picture or on paper lies in `cli` alone.
#[test]
fn only_the_program_draws() {
    const DRAWING: [&str; 8] = [
        "ab_glyph",
        "annotate-snippets",
        "anstream",
        "anstyle",
        "indicatif",
        "krilla",
        "png",
        "resvg",
    ];
    for room in rooms().iter().filter(|room| *room != "cli") {
        let path = root().join("crates").join(room).join("Cargo.toml");
        let manifest: toml::Table = fs::read_to_string(path)
            .expect("a manifest")
            .parse()
            .expect("TOML");
        let used = manifest.get("dependencies").and_then(toml::Value::as_table);
        for (name, _) in used.into_iter().flatten() {
            assert!(!DRAWING.contains(&name.as_str()), "{room} draws with {name}");
        }
    }
}

/// The fuzz targets are built with the versions that the program is built with.
#[test]
fn the_fuzz_targets_have_the_same_dependencies() {
    let versions = |path: &str| -> BTreeMap<String, BTreeSet<String>> {
        let text = fs::read_to_string(root().join(path)).expect("a lock file");
        let lock: toml::Table = text.parse().expect("TOML");
        let mut all: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for package in lock["package"].as_array().expect("packages") {
            let text = |key: &str| package[key].as_str().expect("a text").to_owned();
            all.entry(text("name")).or_default().insert(text("version"));
        }
        all
    };
    let own = versions("Cargo.lock");
    let mut shared = 0;
    for (name, versions) in versions("fuzz/Cargo.lock") {
        // What only the targets need.
        let Some(ours) = own.get(&name) else { continue };
        assert!(
            versions.is_subset(ours),
            "fuzz/Cargo.lock has {name} {versions:?}, Cargo.lock {ours:?}: see DEVELOPERS.md"
        );
        shared += 1;
    }
    assert!(shared > 50, "{shared} packages");
}
