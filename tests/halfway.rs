//! Commands that were cut short behind the line that they keep: the same command again finishes them, says nothing twice, and until
//! then every command says what is left to do. What a kill leaves behind is made here, so that no moment must be met.
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
