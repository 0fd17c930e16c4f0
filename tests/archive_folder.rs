//! What may stand in the folder of an archive, and whether `docs/archive.md` says it to those who read one without us.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use curvary_tests::{root, run, status};
use regex::Regex;
use serde_json::Value;

fn guide() -> String {
    fs::read_to_string(root().join("docs/archive.md")).expect("the guide")
}

/// The names in the first list of the guide.
fn listed() -> BTreeSet<String> {
    let guide = guide();
    let list = guide.split("```").nth(1).expect("a list");
    let first = |line: &str| line.split_whitespace().next().map(str::to_owned);
    let names = list.lines().skip(1).filter_map(first);
    names
        .map(|name| name.split('/').next().unwrap_or_default().to_owned())
        .collect()
}

/// An archive with all that people can say to it.
fn archive(folder: &Path) {
    let text = "invented data\njacket: 37 °C\n\ntime\tabsorbance\n0\t0.9\n10\t0.8\n20\t0.7\n30\t0.6\n";
    fs::write(folder.join("a.txt"), text).expect("a file");
    fs::write(folder.join("b.txt"), text.replace("0.9", "0.91")).expect("a file");
    for line in [
        &["add", "a.txt", "b.txt"][..],
        &["answer", "a.txt", "x=time:s"],
        &["vocabulary", "key:jacket=temperature"],
        &[
            "note",
            "--where",
            "-has:sample",
            "sample=betanin",
            "--yes",
            "--author",
            "k. l.",
        ],
        &["note", "--where", "-has:ph", "ph=7", "--yes"],
        &["find", "sample:betanin"],
    ] {
        let mut line = line.to_vec();
        line.extend(["--archive", "lab"]);
        let output = run(folder, &line);
        assert!(
            matches!(status(&output), Some(0 | 1)),
            "{line:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
    let answers = fs::read_to_string(folder.join("lab/answers.jsonl")).expect("answers");
    let id: Value = serde_json::from_str(answers.lines().next().expect("a line")).expect("JSON");
    let undone = run(
        folder,
        &[
            "answer",
            "--undo",
            id["id"].as_str().expect("a name"),
            "--archive",
            "lab",
        ],
    );
    assert_eq!(
        status(&undone),
        Some(0),
        "{}",
        String::from_utf8_lossy(&undone.stderr)
    );
}

#[test]
fn every_file_of_an_archive_stands_in_the_guide() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    archive(folder);
    let listed = listed();
    let mut found: BTreeSet<String> = fs::read_dir(folder.join("lab"))
        .expect("the archive")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    assert!(
        found.contains("answers.jsonl") && found.contains("notes.jsonl"),
        "{found:?}"
    );
    // And what stands there only at times: whatever the sources join to the root of an archive.
    let joined = Regex::new(r#"\b(?:root|root\(\)|to)\s*\.join\("([a-z.]+)"\)"#).expect("a sound pattern");
    for file in ["archive", "ingest"].iter().flat_map(|room| {
        let folder = root().join("crates").join(room).join("src");
        fs::read_dir(folder)
            .expect("a room")
            .map(|entry| entry.expect("an entry").path())
    }) {
        if file.extension().is_none_or(|ending| ending != "rs") || file.ends_with("tests.rs") {
            continue;
        }
        let text = fs::read_to_string(&file).expect("a source");
        let text = text.split("#[cfg(test)]").next().unwrap_or_default();
        found.extend(joined.captures_iter(text).map(|name| name[1].to_owned()));
    }
    assert!(
        found.contains("unfinished.json") && found.contains("aside"),
        "{found:?}"
    );
    let own: BTreeSet<String> = curvary_archive::OWN.iter().map(|&name| name.to_owned()).collect();
    assert_eq!(
        own, listed,
        "what is never taken for a source, and what the guide lists"
    );
    let missing: Vec<&String> = found.difference(&listed).collect();
    assert!(missing.is_empty(), "docs/archive.md does not list {missing:?}");
    let gone: Vec<&String> = listed.difference(&found).collect();
    assert!(
        gone.is_empty(),
        "docs/archive.md lists {gone:?}, which nothing writes"
    );
}

/// An archive may lie in the folder of its own exports: nothing that it writes is taken for an export.
#[test]
fn an_archive_among_its_exports_reads_nothing_of_its_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    fs::create_dir_all(folder.join("lab/layouts")).expect("a folder");
    fs::create_dir_all(folder.join("lab/aside")).expect("a folder");
    let table = "wavelength (nm),absorbance\n400,0.1\n410,0.2\n420,0.3\n430,0.4\n";
    fs::write(folder.join("lab/a.csv"), table).expect("a file");
    fs::write(folder.join("lab/aside/b.csv"), table.replace("0.1", "0.15")).expect("a file");
    for round in 0..3 {
        let output = run(folder, &["add", "lab", "--archive", "lab", "--json"]);
        assert_eq!(
            status(&output),
            Some(0),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let said: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        assert_eq!(said["files"], 1, "round {round}: {said}");
    }
}

/// The schemas of lines that people say are current, what is written is valid by them, and the guide names every key.
#[test]
fn what_people_say_is_as_its_schema_and_the_guide_tell() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    archive(folder);
    for (name, text) in curvary_archive::schemas() {
        let path = root().join("schemas").join(name);
        if std::env::var_os("UPDATE_SCHEMAS").is_some() {
            fs::write(&path, &text).expect("the schema can be written");
        }
        let committed = fs::read_to_string(&path).unwrap_or_default();
        assert!(
            committed == text,
            "{} is not current: run with UPDATE_SCHEMAS=1",
            path.display()
        );
        let schema: Value = serde_json::from_str(&text).expect("JSON");
        let validator = jsonschema::validator_for(&schema).expect("a schema");
        let file = if name.starts_with("answer") {
            "answers.jsonl"
        } else {
            "notes.jsonl"
        };
        let lines = fs::read_to_string(folder.join("lab").join(file)).expect("lines");
        assert!(lines.lines().count() >= 1, "{file}");
        for line in lines.lines() {
            let line: Value = serde_json::from_str(line).expect("JSON");
            let wrong: Vec<String> = validator
                .iter_errors(&line)
                .map(|error| error.to_string())
                .collect();
            assert!(wrong.is_empty(), "{file}: {line}: {wrong:?}");
            // A key that the schema does not know would be valid too.
            for key in line.as_object().expect("an object").keys() {
                assert!(schema["properties"].get(key).is_some(), "{file}: `{key}`");
            }
        }
        let guide = guide();
        let (_, section) = guide
            .split_once(&format!("\n`{file}` speaks of"))
            .expect("a section of its own");
        let section = section.split("speaks of").next().unwrap_or_default();
        for key in schema["properties"].as_object().expect("properties").keys() {
            let stands = |line: &str| {
                line.strip_prefix("| ")
                    .and_then(|line| line.split(" | ").next())
                    .is_some_and(|cell| cell.contains(&format!("`{key}`")))
            };
            assert!(
                section.lines().any(stands),
                "docs/archive.md does not say what `{key}` of {file} is"
            );
        }
    }
}

/// The program of the guide reads every run and its numbers; where there is no Python it is not tried.
#[test]
fn the_guide_s_program_reads_every_run() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let mut truth = Vec::new();
    for file in 0..30_u32 {
        let mut text = String::new();
        for run in 0..=file % 4 {
            text.push_str(&format!(
                "Sample: dye {}\nTemperature: {} °C\nTime (s)\tAbsorbance\n",
                file * run,
                20 + run
            ));
            for point in 0..40 + run {
                let y = 9000 - (point * (file + 7 * run + 3)) % 997;
                text.push_str(&format!("{}\t0.{y:04}\n", point * 5));
                if point < 3 {
                    truth.push(f64::from(y) / 1e4);
                }
            }
            text.push('\n');
        }
        fs::write(folder.join(format!("run-{file:02}.txt")), text).expect("a file");
    }
    let added = run(folder, &["add", ".", "--archive", "lab", "--quiet"]);
    assert_eq!(
        status(&added),
        Some(0),
        "{}",
        String::from_utf8_lossy(&added.stderr)
    );
    let packed = fs::read(folder.join("lab/records/000001.jsonl.zst")).expect("records");
    let lines = zstd::stream::decode_all(&packed[..]).expect("zstd");
    assert!(
        String::from_utf8_lossy(&lines).contains("{\"like\":"),
        "there are runs like others"
    );
    let guide = guide();
    let program = guide.split("```python\n").nth(1).expect("a program");
    let program = program.split("```").next().expect("its end");
    let child = Command::new("python3")
        .args(["-c", program])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let Ok(mut child) = child else { return };
    child
        .stdin
        .take()
        .expect("a pipe")
        .write_all(&lines)
        .expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success());
    let printed = String::from_utf8(output.stdout).expect("UTF-8");
    let mut names: Vec<&str> = printed
        .lines()
        .filter_map(|line| line.split(' ').next())
        .collect();
    names.sort_unstable();
    let found = run(folder, &["find", "--ids", "--archive", "lab"]);
    let found = String::from_utf8(found.stdout).expect("UTF-8");
    let mut ids: Vec<&str> = found.lines().collect();
    ids.sort_unstable();
    assert_eq!(names, ids);
    let numbers: Vec<f64> = printed
        .lines()
        .flat_map(|line| line.split(['[', ']']).nth(1).unwrap_or_default().split(", "))
        .map(|number| number.parse().expect("a number"))
        .collect();
    assert_eq!(numbers, truth);
}
