//! Commands that were cut short behind the line that they keep: the same command again finishes them, says nothing twice, and until
//! then every command says what is left to do. What a kill leaves behind is made here, so that no moment must be met. And damage that
//! stops no command from what it still can do, and is told.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;

use curvary_tests::{copy_folder, json, run, status};

/// Three files written alike whose first column does not say what it is.
fn laboratory(folder: &Path) {
    fs::create_dir_all(folder.join("in")).unwrap();
    for file in 0..3_u32 {
        let mut text = String::from("t,absorbance\n");
        for point in 0..30_u32 {
            let value = 0.9 - f64::from(point * (file + 1)) / 900.0;
            text.push_str(&format!("{},{value:.4}\n", point * 10));
        }
        fs::write(folder.join(format!("in/open-{file}.csv")), text).unwrap();
    }
    let _ = run(folder, &["add", "in", "--archive", "lab", "--quiet"]);
}

/// What a command says on both streams; it must end with this status.
fn said(folder: &Path, arguments: &[&str], expected: i32) -> String {
    let output = run(folder, arguments);
    let both = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    let text = String::from_utf8_lossy(&both).into_owned();
    assert_eq!(status(&output), Some(expected), "{arguments:?}: {text}");
    text
}

fn question(folder: &Path, archive: &str) -> Option<(String, u64)> {
    let list = json(&run(folder, &["worklist", "--json", "--archive", archive]));
    let first = list["questions"].as_array().unwrap().first()?.clone();
    Some((first["id"].as_str()?.to_owned(), first["files"].as_u64()?))
}

fn lines(folder: &Path, archive: &str) -> usize {
    let text = fs::read_to_string(folder.join(archive).join("answers.jsonl")).unwrap();
    text.lines().count()
}

#[test]
fn an_answer_that_was_cut_short_is_taken_up_again() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, files) = question(here, "lab").expect("a question");
    assert_eq!(files, 3);
    copy_folder(&here.join("lab"), &here.join("half"));
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    // Killed behind its line.
    fs::copy(here.join("lab/answers.jsonl"), here.join("half/answers.jsonl")).unwrap();
    fs::write(here.join("half/answers.applied.jsonl"), "").unwrap();
    let text = said(here, &["answer", &id, "x=time:s", "--archive", "half"], 0);
    assert!(text.contains("stands already as"), "{text}");
    assert_eq!(lines(here, "half"), 1);
    assert_eq!(question(here, "half"), None);
    // One line, so that taking it back asks again.
    let list = json(&run(here, &["answer", "--list", "--json", "--archive", "half"]));
    assert_eq!(list.as_array().unwrap().len(), 1);
    let name = list[0]["id"].as_str().unwrap();
    said(here, &["answer", "--undo", name, "--archive", "half"], 0);
    assert_eq!(question(here, "half"), Some((id, 3)));
}

#[test]
fn a_word_is_not_written_twice() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    said(here, &["vocabulary", "header:t=time:s", "--archive", "lab"], 0);
    assert_eq!(question(here, "lab"), None);
    let text = said(here, &["vocabulary", "header:t=time:s", "--archive", "lab"], 0);
    assert!(text.contains("stands already as"), "{text}");
    assert_eq!(lines(here, "lab"), 1);
    // Another meaning takes its place as before.
    said(here, &["vocabulary", "header:t=time:min", "--archive", "lab"], 0);
    let list = json(&run(here, &["vocabulary", "--json", "--archive", "lab"]));
    assert_eq!(list["words"].as_array().unwrap().len(), 1, "{list}");
}

#[test]
fn an_answer_that_is_taken_back_half_way_is_told_and_finished() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, _) = question(here, "lab").expect("a question");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    let list = json(&run(here, &["answer", "--list", "--json", "--archive", "lab"]));
    let name = list[0]["id"].as_str().unwrap().to_owned();
    for copy in ["again", "reread"] {
        copy_folder(&here.join("lab"), &here.join(copy));
    }
    let text = said(here, &["answer", "--undo", &name, "--archive", "lab"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
    for copy in ["again", "reread"] {
        // Killed behind its line: the runs are settled by an answer that holds no more.
        fs::copy(
            here.join("lab/answers.jsonl"),
            here.join(copy).join("answers.jsonl"),
        )
        .unwrap();
        assert_eq!(question(here, copy), None);
        for command in [
            ["worklist"].as_slice(),
            &["verify"],
            &["status"],
            &["find"],
            &["add", "in"],
        ] {
            let arguments = [command, &["--archive", copy]].concat();
            let text = said(here, &arguments, 0);
            assert!(
                text.contains("1 answer or word was taken back") && text.contains("curvary reread"),
                "{command:?}: {text}"
            );
        }
    }
    let text = said(here, &["answer", "--undo", &name, "--archive", "again"], 0);
    assert!(text.contains("taken back before"), "{text}");
    said(here, &["reread", "--archive", "reread"], 0);
    for copy in ["again", "reread"] {
        assert_eq!(question(here, copy), Some((id.clone(), 3)));
        assert_eq!(lines(here, copy), 2);
        let text = said(here, &["verify", "--archive", copy], 0);
        assert!(!text.contains("curvary reread"), "{text}");
    }
    // One that never was is refused as before.
    said(here, &["answer", "--undo", "nobody", "--archive", "again"], 2);
}

/// Turns one bit of a file.
fn turn(path: &Path, at: usize) {
    let mut bytes = fs::read(path).unwrap();
    bytes[at] ^= 4;
    fs::write(path, bytes).unwrap();
}

#[test]
fn a_question_is_shown_without_the_lines_of_a_lost_original() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    // A commit each, so that each original is packed for itself.
    let _ = fs::remove_dir_all(here.join("lab"));
    let packed = here.join("lab/originals/000001.tar.zst");
    let mut ends = Vec::new();
    for file in 0..3 {
        let path = format!("in/open-{file}.csv");
        let _ = run(here, &["add", &path, "--archive", "lab", "--quiet"]);
        ends.push(usize::try_from(fs::metadata(&packed).unwrap().len()).unwrap());
    }
    let worklist = || {
        let output = run(here, &["worklist", "--json", "--archive", "lab"]);
        let list = json(&output)["questions"][0].clone();
        let told = |key: &str, of: &str| -> Vec<String> {
            let lines = list[key].as_array().cloned().unwrap_or_default();
            let paths = lines
                .iter()
                .map(|line| if of.is_empty() { line } else { &line[of] });
            paths.map(|path| path.as_str().unwrap().to_owned()).collect()
        };
        (
            status(&output),
            told("lost", ""),
            told("examples", "path"),
            list["files"].as_u64().unwrap(),
        )
    };
    let (code, lost, shown, _) = worklist();
    assert_eq!((code, lost.len()), (Some(0), 0));
    assert!(shown.iter().any(|path| path.ends_with("open-0.csv")));
    turn(&packed, ends[0] / 2);
    let (code, lost, shown, files) = worklist();
    assert_eq!((code, files), (Some(1), 3));
    assert!(lost.len() == 1 && lost[0].ends_with("open-0.csv"), "{lost:?}");
    assert!(!shown.is_empty() && !shown.iter().any(|path| path.ends_with("open-0.csv")));
    // With every original lost the question and its choices are still there; an answer is refused with the reason.
    turn(&packed, (ends[0] + ends[1]) / 2);
    turn(&packed, (ends[1] + ends[2]) / 2);
    let text = said(here, &["worklist", "--archive", "lab"], 1);
    assert!(
        text.contains("the original is lost of") && text.contains("answer with"),
        "{text}"
    );
    let (_, lost, shown, _) = worklist();
    assert_eq!((lost.len(), shown.len()), (3, 0));
    let (id, _) = question(here, "lab").expect("a question");
    let text = said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 2);
    assert!(text.contains("is lost"), "{text}");
    said(here, &["verify", "--repair", "--archive", "lab"], 1);
    said(here, &["worklist", "--archive", "lab"], 1);
}

#[test]
fn fields_say_of_damage_what_every_command_says() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    said(here, &["note", "in/open-0.csv", "ph=7", "--archive", "lab"], 0);
    let whole = said(here, &["fields", "ph", "--archive", "lab"], 0);
    assert!(whole.contains("ph"), "{whole}");
    type Damage = fn(&Path);
    let damages: [(&str, Damage); 3] = [
        ("the manifest is damaged", |lab| {
            turn(&lab.join("manifest.json"), 600)
        }),
        ("the manifest is gone", |lab| {
            fs::remove_file(lab.join("manifest.json")).unwrap()
        }),
        ("other notes stand there", |lab| {
            turn(&lab.join("notes.jsonl"), 30)
        }),
    ];
    for (what, damage) in damages {
        let _ = fs::remove_dir_all(here.join("hurt"));
        copy_folder(&here.join("lab"), &here.join("hurt"));
        damage(&here.join("hurt"));
        let _ = fs::remove_dir_all(here.join("hurt/index"));
        let found = run(here, &["find", "--archive", "hurt"]);
        assert_eq!(status(&found), Some(3), "{what}: find");
        let fields = run(here, &["fields", "ph", "--archive", "hurt"]);
        assert_eq!(status(&fields), Some(3), "{what}: fields");
        assert_eq!(found.stderr, fields.stderr, "{what}");
    }
    // Where there is no archive, the program's own fields are listed, and it is said.
    let text = said(here, &["fields", "ph", "--archive", "nowhere"], 0);
    assert!(text.contains("no archive is in") && text.contains("ph"), "{text}");
    said(here, &["fields", "ph"], 0);
}

#[test]
fn what_killed_commands_left_in_the_folder_is_told_and_put_aside() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let left = ["archive.toml.part", "manifest.json.new", "answers.jsonl.new"];
    let others = ["mine.part", "notes.jsonl.new", "archive.toml.part1"];
    for name in left.iter().chain(&others) {
        fs::write(here.join("lab").join(name), "what I wrote").unwrap();
    }
    // Settings are written without the lock: what is young is perhaps being written.
    let old = std::time::SystemTime::now() - std::time::Duration::from_secs(9000);
    let part = fs::File::options()
        .write(true)
        .open(here.join("lab/archive.toml.part"));
    part.unwrap().set_modified(old).unwrap();
    let told = |text: &str| {
        let line = text
            .lines()
            .find(|line| line.contains("left behind"))
            .unwrap_or_default();
        left.iter().all(|name| line.contains(name)) && !line.contains("part1")
    };
    let text = said(here, &["verify", "--archive", "lab"], 0);
    assert!(told(&text), "{text}");
    said(here, &["verify", "--repair", "--archive", "lab"], 0);
    assert!(left.iter().all(|name| !here.join("lab").join(name).exists()));
    assert!(others.iter().all(|name| here.join("lab").join(name).exists()));
    let kept: Vec<_> = fs::read_dir(here.join("lab/aside")).unwrap().flatten().collect();
    assert_eq!(kept.len(), left.len());
    assert!(
        kept.iter()
            .all(|kept| fs::read(kept.path()).unwrap() == b"what I wrote")
    );
    let text = said(here, &["verify", "--archive", "lab"], 0);
    assert!(!text.contains("left behind"), "{text}");
}

/// Takes the lock of an archive as a program on another machine has it.
fn lock(archive: &Path) {
    let holder = r#"{"pid":4711,"host":"elsewhere","machine":"0123456789abcdef","boot":"fedcba9876543210","since":"2026-11-30T10:00:00Z","command":"curvary add"}"#;
    fs::write(archive.join("archive.lock"), holder).unwrap();
}

#[test]
fn nothing_is_kept_while_another_program_writes() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, _) = question(here, "lab").expect("a question");
    lock(&here.join("lab"));
    fs::write(here.join("lab/answers.jsonl.new"), "half").unwrap();
    for command in [
        ["answer", &id, "x=time:s"].as_slice(),
        &["vocabulary", "header:t=time:s"],
    ] {
        let text = said(here, &[command, &["--archive", "lab"]].concat(), 3);
        assert!(text.contains("elsewhere"), "{text}");
    }
    assert!(!here.join("lab/answers.jsonl").exists());
    // Nor is anything of it cleared away.
    let output = run(here, &["verify", "--repair", "--archive", "lab"]);
    assert_eq!(status(&output), Some(3));
    assert!(here.join("lab/answers.jsonl.new").exists());
    fs::write(here.join("lab/archive.lock"), "").unwrap();
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    assert_eq!(question(here, "lab"), None);
}

#[test]
fn of_several_writers_each_keeps_all_or_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let words: Vec<String> = (0..6).map(|number| format!("header:w{number}=time:s")).collect();
    let ended: Vec<bool> = std::thread::scope(|scope| {
        let all: Vec<_> = words
            .iter()
            .map(|word| scope.spawn(|| status(&run(here, &["vocabulary", word, "--archive", "lab"]))))
            .collect();
        let ended = all.into_iter().map(|one| one.join().unwrap());
        ended.map(|code| code == Some(0)).collect()
    });
    let text = fs::read_to_string(here.join("lab/answers.jsonl")).unwrap_or_default();
    for (word, well) in words.iter().zip(&ended) {
        assert_eq!(text.contains(word), *well, "{word}: {text}");
    }
    let text = said(here, &["verify", "--archive", "lab"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
}

#[test]
fn what_stands_for_kin_of_some_files_is_no_answer_for_all() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let write = |file: &str, keys: &[&str], number: u32| {
        let mut text: String = keys.iter().map(|key| format!("{key}: v{number}\n")).collect();
        text.push_str("\nt,absorbance\n");
        for point in 0..30_u32 {
            text.push_str(&format!(
                "{},{:.4}\n",
                point * 10,
                0.9 - f64::from(point + number) / 900.0
            ));
        }
        fs::create_dir_all(here.join(file).parent().unwrap()).unwrap();
        fs::write(here.join(file), text).unwrap();
    };
    write("in/r.csv", &["operator", "instrument", "sample"], 1);
    let _ = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    let first = || {
        let list = json(&run(here, &["worklist", "--json", "--archive", "lab"]));
        let questions = list["questions"].as_array().unwrap().clone();
        let of_axis = questions.into_iter().find(|one| one["kind"] != "key-unknown");
        of_axis.map(|one| {
            (
                one["id"].as_str().unwrap().to_owned(),
                one["files"].as_u64().unwrap(),
            )
        })
    };
    let (id, _) = first().expect("a question");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    write("in2/p.csv", &["sample", "buffer", "comment"], 2);
    write("in2/q.csv", &["instrument", "buffer", "comment"], 3);
    let _ = run(here, &["add", "in2", "--archive", "lab", "--quiet"]);
    let (id, files) = first().expect("a question");
    assert_eq!(files, 2, "both files ask together");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    assert_eq!(first(), None);
    assert_eq!(lines(here, "lab"), 2);
    // Another meaning of these is none of the first file, which did not ask: nothing of it is read otherwise.
    let text = fs::read_to_string(here.join("lab/answers.jsonl")).unwrap();
    let second: serde_json::Value = serde_json::from_str(text.lines().nth(1).unwrap()).unwrap();
    assert_eq!(second["ways"].as_array().map(Vec::len), Some(2), "{second}");
    said(
        here,
        &[
            "answer",
            "--undo",
            second["id"].as_str().unwrap(),
            "--archive",
            "lab",
        ],
        0,
    );
    let (id, _) = first().expect("a question");
    said(here, &["answer", &id, "x=time:min", "--archive", "lab"], 0);
    let text = said(here, &["verify", "--archive", "lab"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
    let text = said(here, &["reread", "--archive", "lab"], 0);
    assert!(text.contains("3 files read again, 0 changed"), "{text}");
}

/// An archive of so many files that ask alike, each original packed for itself; gives where each ends.
fn apart(here: &Path, files: usize) -> Vec<usize> {
    fs::create_dir_all(here.join("in")).unwrap();
    let mut ends = vec![0];
    for file in 0..files {
        let mut text = String::from("t,absorbance\n");
        for point in 0..20 {
            text.push_str(&format!(
                "{},{:.5}\n",
                point * 10,
                0.9 - (point * (file + 1)) as f64 / 9000.0
            ));
        }
        let path = format!("in/open-{file}.csv");
        fs::write(here.join(&path), text).unwrap();
        let _ = run(here, &["add", &path, "--archive", "lab", "--quiet"]);
        let packed = fs::metadata(here.join("lab/originals/000001.tar.zst")).unwrap();
        ends.push(usize::try_from(packed.len()).unwrap());
    }
    ends
}

#[test]
fn every_lost_original_of_a_question_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let ends = apart(here, 6);
    for file in 0..6 {
        let _ = fs::remove_dir_all(here.join("hurt"));
        copy_folder(&here.join("lab"), &here.join("hurt"));
        let packed = here.join("hurt/originals/000001.tar.zst");
        turn(&packed, (ends[file] + ends[file + 1]) / 2);
        let output = run(here, &["worklist", "--json", "--archive", "hurt"]);
        let lost = json(&output)["questions"][0]["lost"].clone();
        assert_eq!(status(&output), Some(1), "{file}: {lost}");
        assert_eq!(lost.as_array().map(Vec::len), Some(1), "{file}: {lost}");
        assert!(lost[0].as_str().unwrap().ends_with(&format!("open-{file}.csv")));
    }
}

#[test]
fn a_lost_original_holds_no_answer_up_and_is_read_with_it_when_it_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let ends = apart(here, 3);
    said(here, &["backup", "copy", "--archive", "lab"], 0);
    turn(&here.join("lab/originals/000001.tar.zst"), ends[1] / 2);
    let (id, _) = question(here, "lab").expect("a question");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    copy_folder(&here.join("lab"), &here.join("added"));
    copy_folder(&here.join("lab"), &here.join("mended"));
    let text = said(here, &["reread", "--archive", "lab"], 1);
    assert!(!text.contains("not every file"), "{text}");
    let text = said(here, &["find", "--archive", "lab"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
    // The file again, once it is known to be lost.
    let _ = run(here, &["verify", "--repair", "--archive", "added"]);
    let _ = run(here, &["add", "in", "--archive", "added"]);
    let text = said(here, &["worklist", "--archive", "added"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
    assert_eq!(question(here, "added"), None);
    // From a copy: nobody has read it since, and that is said.
    said(
        here,
        &["verify", "--repair", "--from", "copy", "--archive", "mended"],
        0,
    );
    let text = said(here, &["find", "--archive", "mended"], 0);
    assert!(text.contains("curvary reread"), "{text}");
    said(here, &["reread", "--archive", "mended"], 0);
    assert_eq!(question(here, "mended"), None);
    let text = said(here, &["find", "--archive", "mended"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
}

#[test]
fn an_answer_about_files_that_were_replaced_waits_for_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, _) = question(here, "lab").expect("a question");
    copy_folder(&here.join("lab"), &here.join("half"));
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    // Killed behind its line.
    fs::copy(here.join("lab/answers.jsonl"), here.join("half/answers.jsonl")).unwrap();
    fs::write(here.join("half/answers.applied.jsonl"), "").unwrap();
    for file in 0..3 {
        let path = here.join(format!("in/open-{file}.csv"));
        let text = fs::read_to_string(&path).unwrap();
        fs::write(path, text.replace("290,", "291,")).unwrap();
    }
    let text = said(here, &["add", "in", "--archive", "half"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
    assert_eq!(question(here, "half"), None);
}

#[test]
fn where_nothing_tells_what_is_in_force_it_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, _) = question(here, "lab").expect("a question");
    copy_folder(&here.join("lab"), &here.join("byhand"));
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    // The first answers of an archive, written by a person; the same as where the file was removed.
    fs::copy(here.join("lab/answers.jsonl"), here.join("byhand/answers.jsonl")).unwrap();
    for command in ["worklist", "verify"] {
        let text = said(here, &[command, "--archive", "byhand"], 0);
        assert!(
            text.contains("is not known") && text.contains("curvary reread"),
            "{text}"
        );
    }
    said(here, &["reread", "--archive", "byhand"], 0);
    assert_eq!(question(here, "byhand"), None);
    let text = said(here, &["verify", "--archive", "byhand"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
    // One that cannot be read is a finding like another, and ends nothing.
    let applied = here.join("lab/answers.applied.jsonl");
    fs::remove_file(&applied).unwrap();
    fs::create_dir(&applied).unwrap();
    let text = said(here, &["verify", "--archive", "lab"], 1);
    assert!(
        text.contains("answers.applied.jsonl") && text.contains("3 runs"),
        "{text}"
    );
    let text = said(here, &["find", "--archive", "lab"], 0);
    assert!(text.contains("answers.applied.jsonl"), "{text}");
}

/// The name of the first answer or word.
fn first_line(here: &Path, archive: &str) -> String {
    let text = fs::read_to_string(here.join(archive).join("answers.jsonl")).unwrap();
    let line: serde_json::Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
    line["id"].as_str().unwrap().to_owned()
}

#[test]
fn what_is_taken_back_waits_for_lost_originals() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let ends = apart(here, 3);
    said(here, &["vocabulary", "header:t=time:s", "--archive", "lab"], 0);
    let whole = fs::read(here.join("lab/originals/000001.tar.zst")).unwrap();
    let name = first_line(here, "lab");
    for (archive, command) in [
        ("undone", ["answer", "--undo", name.as_str()].as_slice()),
        ("replaced", &["vocabulary", "header:t=time:min"]),
    ] {
        copy_folder(&here.join("lab"), &here.join(archive));
        let packed = here.join(archive).join("originals/000001.tar.zst");
        turn(&packed, ends[1] / 2);
        let text = said(here, &[command, &["--archive", archive]].concat(), 0);
        assert!(text.contains("1 original is lost"), "{text}");
        said(here, &["reread", "--archive", archive], 1);
        for asked in ["worklist", "find"] {
            let output = run(here, &[asked, "--archive", archive]);
            let text = String::from_utf8_lossy(&output.stderr).into_owned();
            assert!(text.contains("curvary reread"), "{archive}: {text}");
        }
        // The bytes come back by hand: the next reading ends it.
        fs::write(&packed, &whole).unwrap();
        let text = said(here, &["verify", "--archive", archive], 0);
        assert!(text.contains("curvary reread"), "{archive}: {text}");
        said(here, &["reread", "--archive", archive], 0);
        let text = said(here, &["verify", "--archive", archive], 0);
        assert!(!text.contains("curvary reread"), "{archive}: {text}");
    }
}

#[test]
fn a_duplicate_whose_reading_is_thrown_away_is_not_read() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, _) = question(here, "lab").expect("a question");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    copy_folder(&here.join("lab"), &here.join("undone"));
    let name = first_line(here, "lab");
    said(here, &["answer", "--undo", &name, "--archive", "undone"], 0);
    // Killed behind the line that takes it back; then copies of the files come.
    fs::copy(here.join("undone/answers.jsonl"), here.join("lab/answers.jsonl")).unwrap();
    copy_folder(&here.join("in"), &here.join("copies"));
    let text = said(here, &["add", "copies", "--archive", "lab"], 0);
    assert!(text.contains("curvary reread"), "{text}");
    let text = said(here, &["verify", "--archive", "lab"], 0);
    assert!(text.contains("curvary reread"), "{text}");
    said(here, &["reread", "--archive", "lab"], 0);
    assert_eq!(question(here, "lab"), Some((id, 3)));
    let text = said(here, &["verify", "--archive", "lab"], 0);
    assert!(!text.contains("curvary reread"), "{text}");
}

#[test]
fn an_earlier_version_that_counts_again_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    laboratory(here);
    let (id, _) = question(here, "lab").expect("a question");
    said(here, &["answer", &id, "x=time:s", "--archive", "lab"], 0);
    let path = here.join("in/open-0.csv");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replace("290,", "291,")).unwrap();
    said(here, &["add", "in", "--archive", "lab"], 0);
    let name = first_line(here, "lab");
    let told = said(here, &["answer", "--undo", &name, "--archive", "lab"], 0);
    assert!(!told.contains("curvary reread"), "{told}");
    fs::write(&path, text).unwrap();
    said(here, &["add", "in", "--archive", "lab"], 0);
    let told = said(here, &["verify", "--archive", "lab"], 0);
    assert!(told.contains("curvary reread"), "{told}");
    said(here, &["reread", "--archive", "lab"], 0);
    assert_eq!(question(here, "lab"), Some((id, 3)));
    let told = said(here, &["verify", "--archive", "lab"], 0);
    assert!(!told.contains("curvary reread"), "{told}");
}
