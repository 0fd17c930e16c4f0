//! What files rest on after an answer: nothing that was in no doubt changes unasked and untold, and what waits is said until `reread`.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use curvary_tests::{both_streams, copy_folder, json, root, run, status};
use serde_json::Value;

/// Files whose first column has no unit, each with a line about its mode.
fn files(here: &Path, folder: &str, modes: &[&str]) {
    fs::create_dir_all(here.join(folder)).unwrap();
    for (file, mode) in modes.iter().enumerate() {
        let mut text = format!("Mode: {mode}\nSample: dye {file}\nt,absorbance\n");
        for point in 0..30 {
            let value = 0.9 - (point * (file % 30 + 1)) as f64 / 900.0;
            text.push_str(&format!("{},{value:.4}\n", point * 10));
        }
        fs::write(here.join(folder).join(format!("f{file}.csv")), text).unwrap();
    }
}

/// What a command says on both streams; it must end with this status.
fn said(here: &Path, arguments: &[&str], expected: i32) -> String {
    let output = run(here, arguments);
    let text = both_streams(&output);
    assert_eq!(status(&output), Some(expected), "{arguments:?}: {text}");
    text
}

/// The name of the question about the axis, and how many files ask it.
fn question(here: &Path, archive: &str) -> Option<(String, u64)> {
    let list = json(&run(here, &["worklist", "--json", "--archive", archive]));
    let questions = list["questions"].as_array().unwrap().clone();
    let first = questions.into_iter().find(|one| one["kind"] != "key-unknown")?;
    Some((first["id"].as_str()?.to_owned(), first["files"].as_u64()?))
}

/// The unit of every run's first axis, by the name of its file; `1` while it is asked.
fn units(here: &Path, archive: &str) -> BTreeSet<(String, String)> {
    let ids = said(here, &["find", "--ids", "--archive", archive, "--quiet"], 0);
    let mut arguments = vec!["show", "--json", "--archive", archive];
    arguments.extend(ids.lines());
    let shown = json(&run(here, &arguments));
    let each = shown.as_array().unwrap().iter();
    each.map(|run| {
        let path = run["source"]["path"].as_str().unwrap();
        let unit = run["traces"][0]["x"]["unit"].as_str().unwrap();
        (path.rsplit('/').next().unwrap().to_owned(), unit.to_owned())
    })
    .collect()
}

fn pairs(all: &[(&str, &str)]) -> BTreeSet<(String, String)> {
    let each = all.iter();
    each.map(|(file, unit)| ((*file).to_owned(), (*unit).to_owned()))
        .collect()
}

fn is_alarmed(here: &Path, archive: &str) -> bool {
    let verified = both_streams(&run(here, &["verify", "--archive", archive]));
    let found = both_streams(&run(here, &["find", "--archive", archive]));
    let waits = |text: &str| text.contains("curvary reread");
    assert_eq!(waits(&verified), waits(&found), "{verified}{found}");
    waits(&found)
}

/// A word settled two files; an answer to the others, which are written alike, is about those two as well and weighs more.
#[test]
fn what_a_word_settled_does_not_change_untold() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    files(here, "in", &["Kin", "Kin", "Slow", "Slow"]);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    copy_folder(&here.join("lab"), &here.join("alike"));
    let word = ["vocabulary", "value:Mode:Kin=x=time:s", "--archive"];
    let answered = |archive: &str, answer: &str| {
        said(here, &[&word[..], &[archive]].concat(), 0);
        let (id, asking) = question(here, archive).expect("a question");
        assert_eq!(asking, 2);
        said(here, &["answer", &id, answer, "--archive", archive], 0)
    };
    let told = answered("lab", "x=time:min");
    assert!(
        told.contains("2 files more would be read otherwise by this") && told.contains("in/f0.csv"),
        "{told}"
    );
    let after = pairs(&[
        ("f0.csv", "s"),
        ("f1.csv", "s"),
        ("f2.csv", "min"),
        ("f3.csv", "min"),
    ]);
    assert_eq!(units(here, "lab"), after);
    assert!(is_alarmed(here, "lab"));
    copy_folder(&here.join("lab"), &here.join("undone"));
    let told = said(here, &["reread", "--archive", "lab"], 0);
    assert!(
        told.contains("4 files read again, 2 changed") && told.contains("axes"),
        "{told}"
    );
    assert!(!is_alarmed(here, "lab"));
    // Taken back, it leaves them as the word has them.
    let list = json(&run(here, &["answer", "--list", "--json", "--archive", "undone"]));
    let lines = list.as_array().unwrap();
    let answer = lines.iter().find(|line| line["answer"] == "x=time:min").unwrap();
    let name = answer["id"].as_str().unwrap();
    said(here, &["answer", "--undo", name, "--archive", "undone"], 0);
    assert!(!is_alarmed(here, "undone"));
    let left = units(here, "undone");
    assert!(
        pairs(&[("f0.csv", "s"), ("f1.csv", "s")]).is_subset(&left),
        "{left:?}"
    );
    let told = said(here, &["reread", "--archive", "undone"], 0);
    assert!(told.contains("4 files read again, 0 changed"), "{told}");
    // Where the answer says what the word says, nothing would change, and nothing is told.
    let told = answered("alike", "x=time:s");
    assert!(!told.contains("otherwise"), "{told}");
    assert!(!is_alarmed(here, "alike"));
    let told = said(here, &["reread", "--archive", "alike"], 0);
    assert!(told.contains("4 files read again, 0 changed"), "{told}");
}

/// What waits comes into force for a file when somebody asks for that, and not because a newer version, a word or another answer has it
/// read again.
#[test]
fn what_waits_is_in_force_for_no_file_that_is_read_for_something_else() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    files(here, "in", &["Kin", "Kin", "Kin", "Slow"]);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    said(
        here,
        &["vocabulary", "value:Mode:Kin=x=time:s", "--archive", "lab"],
        0,
    );
    let (id, _) = question(here, "lab").expect("a question");
    let told = said(here, &["answer", &id, "x=time:min", "--archive", "lab"], 0);
    assert!(told.contains("3 files more would be read otherwise"), "{told}");
    let all = |first: &str, unit: &str| {
        pairs(&[
            ("f0.csv", first),
            ("f1.csv", unit),
            ("f2.csv", unit),
            ("f3.csv", "min"),
        ])
    };
    // A newer version.
    let newer = here.join("in/f0.csv");
    let text = fs::read_to_string(&newer).unwrap();
    fs::write(&newer, format!("{text}300,0.5\n")).unwrap();
    let told = said(here, &["add", "in", "--archive", "lab"], 0);
    assert!(told.contains("curvary reread"), "{told}");
    assert_eq!(units(here, "lab"), all("s", "s"));
    // The same file with orders, and once more as it is.
    let _ = run(
        here,
        &["add", "in/f1.csv", "--assume", "y=absorbance", "--archive", "lab"],
    );
    assert_eq!(units(here, "lab"), all("s", "s"));
    // A word that has every file read again.
    said(here, &["vocabulary", "key:Mode=method", "--archive", "lab"], 0);
    assert_eq!(units(here, "lab"), all("s", "s"));
    assert!(is_alarmed(here, "lab"));
    // Only what somebody asks for.
    said(here, &["reread", "path:f1.csv", "--archive", "lab"], 0);
    let now = units(here, "lab");
    assert!(
        now.contains(&("f1.csv".into(), "min".into())) && now.contains(&("f0.csv".into(), "s".into())),
        "{now:?}"
    );
    assert!(is_alarmed(here, "lab"));
    said(here, &["reread", "--archive", "lab"], 0);
    assert_eq!(units(here, "lab"), all("min", "min"));
    assert!(!is_alarmed(here, "lab"));
}

/// Of very many files that an answer would read otherwise not all are tried: it waits in any case.
#[test]
fn of_very_many_files_that_would_be_read_otherwise_some_are_tried() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let mut modes = vec!["Kin"; 300];
    modes.push("Slow");
    files(here, "in", &modes);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    said(
        here,
        &["vocabulary", "value:Mode:Kin=x=time:s", "--archive", "lab"],
        0,
    );
    let (id, asking) = question(here, "lab").expect("a question");
    assert_eq!(asking, 1);
    let told = said(here, &["answer", &id, "x=time:min", "--archive", "lab"], 0);
    assert!(
        told.contains("at least 256 files more would be read otherwise"),
        "{told}"
    );
    assert!(is_alarmed(here, "lab"));
    let told = said(here, &["reread", "--archive", "lab"], 0);
    assert!(told.contains("301 files read again, 300 changed"), "{told}");
    assert!(!is_alarmed(here, "lab"));
}

/// Where a command was cut short behind its last file, what it read stays as it is, whatever has it read again.
#[test]
fn what_was_read_with_an_answer_that_waits_is_read_with_it_again() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    files(here, "in", &["Kin", "Slow"]);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    let (id, _) = question(here, "lab").expect("a question");
    said(here, &["answer", &id, "x=time:min", "--archive", "lab"], 0);
    let resting = here.join("lab/answers.applied.jsonl");
    // As before that answer.
    fs::write(&resting, "").unwrap();
    let all = pairs(&[("f0.csv", "min"), ("f1.csv", "min")]);
    assert!(is_alarmed(here, "lab"));
    said(here, &["vocabulary", "key:Mode=method", "--archive", "lab"], 0);
    assert_eq!(units(here, "lab"), all);
    // Taken back, and cut short before its first file.
    let list = json(&run(here, &["answer", "--list", "--json", "--archive", "lab"]));
    let lines = list.as_array().unwrap();
    let answer = lines.iter().find(|line| line["answer"] == "x=time:min").unwrap();
    let rested = fs::read(&resting).unwrap();
    let name = answer["id"].as_str().unwrap();
    copy_folder(&here.join("lab"), &here.join("back"));
    said(here, &["answer", "--undo", name, "--archive", "back"], 0);
    let lines = fs::read(here.join("back/answers.jsonl")).unwrap();
    fs::write(here.join("lab/answers.jsonl"), lines).unwrap();
    said(here, &["reread", "--archive", "lab", "--dry-run"], 0);
    assert_eq!(fs::read(&resting).unwrap(), rested);
    said(
        here,
        &["vocabulary", "key:Sample=operator", "--archive", "lab"],
        0,
    );
    assert_eq!(units(here, "lab"), all);
    assert!(is_alarmed(here, "lab"));
    said(here, &["reread", "--archive", "lab"], 0);
    assert_eq!(units(here, "lab"), pairs(&[("f0.csv", "1"), ("f1.csv", "1")]));
    assert!(!is_alarmed(here, "lab"));
}

/// What says which answers are in force may be anything but a file that can be read: then it is not known, and `add` goes on.
#[test]
fn where_it_cannot_be_read_what_is_in_force_it_is_not_known_and_nothing_ends() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    files(here, "in", &["Kin", "Kin"]);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    let (id, _) = question(here, "lab").expect("a question");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    files(here, "more", &["Kin", "Kin", "Slow"]);
    let resting = |archive: &str| here.join(archive).join("answers.applied.jsonl");
    let whole = fs::read(resting("lab")).unwrap();
    type Damage<'a> = (&'a str, &'a dyn Fn(&Path));
    let damages: [Damage<'_>; 3] = [
        ("folder", &|path| {
            fs::remove_file(path).unwrap();
            fs::create_dir_all(path.join("mine")).unwrap();
        }),
        ("lines", &|path| {
            fs::write(path, [&whole[..], b"{\"id\":"].concat()).unwrap()
        }),
        ("locked", &|path| {
            #[cfg(unix)]
            {
                use std::os::unix::fs::PermissionsExt as _;
                // Some may read it all the same; then it tells what it told before.
                fs::set_permissions(path, fs::Permissions::from_mode(0o000)).unwrap();
            }
            #[cfg(not(unix))]
            fs::write(path, b"\xff").unwrap();
        }),
    ];
    for (archive, damage) in damages {
        copy_folder(&here.join("lab"), &here.join(archive));
        damage(&resting(archive));
        let is_readable = fs::read(resting(archive)).is_ok_and(|bytes| bytes == whole);
        let told = said(here, &["add", "more", "--archive", archive], 0);
        assert_eq!(
            told.matches("is not known").count(),
            usize::from(!is_readable),
            "{archive}: {told}"
        );
        // Backups are made as before; what the copy rests on is not known there either.
        let copy = format!("copy-{archive}");
        said(here, &["backup", &copy, "--archive", archive], 0);
        assert_eq!(is_alarmed(here, archive), !is_readable);
        assert_eq!(is_alarmed(here, &copy), !is_readable);
        said(here, &["reread", "--archive", archive], 0);
        assert!(!is_alarmed(here, archive), "{archive}");
        said(here, &["verify", "--archive", archive], 0);
        assert!(fs::read(resting(archive)).is_ok(), "{archive}");
    }
    let kept = fs::read_dir(here.join("folder/aside")).unwrap();
    let kept: Vec<_> = kept.flatten().map(|entry| entry.path()).collect();
    assert!(kept.len() == 1 && kept[0].join("mine").is_dir(), "{kept:?}");
}

/// Every name that `reread --json` prints stands in its schema, also where an original is lost.
#[test]
fn what_reread_prints_stands_in_its_schema() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    files(here, "in", &["Kin"]);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    let schema = fs::read_to_string(root().join("schemas/output/reread-v1.json")).unwrap();
    let schema: Value = serde_json::from_str(&schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for lost in [0, 1] {
        if lost > 0 {
            let packed = here.join("lab/originals/000001.tar.zst");
            let mut bytes = fs::read(&packed).unwrap();
            let middle = bytes.len() / 2;
            bytes[middle] ^= 4;
            fs::write(&packed, bytes).unwrap();
        }
        let output = run(here, &["reread", "--json", "--archive", "lab"]);
        assert_eq!(status(&output), Some(lost));
        let printed = json(&output);
        assert_eq!(printed["lost"], lost, "{printed}");
        assert!(validator.is_valid(&printed), "{printed}");
        for name in printed.as_object().unwrap().keys() {
            assert!(
                schema["properties"].get(name).is_some(),
                "`{name}` is not in the schema"
            );
        }
    }
}

/// Answers of a bundle about files that the archive had already wait until `reread`, and this is said until then.
#[test]
fn answers_of_a_bundle_about_files_that_were_there_wait_and_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    files(here, "in", &["Kin", "Slow"]);
    let _ = run(here, &["add", "in", "--archive", "base", "--quiet"]);
    for (archive, answer) in [
        ("theirs", Some("x=time:s")),
        ("asked", None),
        ("answered", Some("x=time:min")),
    ] {
        copy_folder(&here.join("base"), &here.join(archive));
        let (id, _) = question(here, archive).expect("a question");
        if let Some(answer) = answer {
            said(here, &["answer", &id, answer, "--archive", archive], 0);
        }
    }
    let bundle = [
        "export",
        "",
        "--to",
        "bundle",
        "--originals",
        "--with",
        "operator,path",
        "--out",
        "b.zip",
        "--archive",
        "theirs",
    ];
    said(here, &bundle, 0);
    for (archive, unit) in [("asked", "1"), ("answered", "min")] {
        let before = question(here, archive);
        let told = said(here, &["add", "b.zip", "--archive", archive], 0);
        assert!(told.contains("1 answer of the bundle kept"), "{told}");
        assert!(told.contains("curvary reread"), "{archive}: {told}");
        // Nothing is read otherwise yet.
        assert_eq!(question(here, archive), before);
        let all = pairs(&[("f0.csv", unit), ("f1.csv", unit)]);
        assert_eq!(units(here, archive), all, "{archive}");
        assert!(is_alarmed(here, archive), "{archive}");
        let told = said(here, &["reread", "--archive", archive], 0);
        assert!(
            told.contains("2 files read again, 2 changed"),
            "{archive}: {told}"
        );
        assert_eq!(
            units(here, archive),
            pairs(&[("f0.csv", "s"), ("f1.csv", "s")]),
            "{archive}"
        );
        assert!(!is_alarmed(here, archive), "{archive}");
        assert_eq!(question(here, archive), None);
    }
}
