//! What somebody who keeps an archive for others relies on: no answer of another archive, no loss without a word, and counts
//! that are those of the tables.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;

use curvary_tests::{both_streams, run, status};

/// A time course of so many points.
fn export(sample: &str, points: u32, clock: &str) -> String {
    let mut text = format!(
        "sample: {sample}\nwavelength: 535 nm\ntemperature: 20 °C\ndate: 2021-03-04\ntime: {clock}\n\ntime (s),absorbance\n"
    );
    for point in 0..points {
        text.push_str(&format!(
            "{},{:.4}\n",
            point * 10,
            0.8 * (-f64::from(point) / 15.0).exp()
        ));
    }
    text
}

/// Begins an archive `lab` of three runs.
fn archive(here: &Path) {
    fs::create_dir_all(here.join("in")).expect("a folder");
    for (sample, points, clock) in [
        ("alpha", 20, "23:10"),
        ("beta", 30, "01:20"),
        ("gamma", 60, "12:00"),
    ] {
        fs::write(
            here.join("in").join(format!("{sample}.csv")),
            export(sample, points, clock),
        )
        .expect("a file");
    }
    done(here, &["add", "in", "--archive", "lab"]);
}

/// Runs the program, which must be content; gives what it printed.
fn done(here: &Path, arguments: &[&str]) -> String {
    let (said, ended) = told(here, arguments);
    assert_eq!(ended, Some(0), "{arguments:?}: {said}");
    said
}

/// What the program said, on both ways, and how it ended.
fn told(here: &Path, arguments: &[&str]) -> (String, Option<i32>) {
    let output = run(here, arguments);
    (both_streams(&output), status(&output))
}

/// How many runs of an archive match.
fn count(here: &Path, lab: &str, query: &str) -> usize {
    let output = run(here, &["find", query, "--ids", "--archive", lab]);
    String::from_utf8_lossy(&output.stdout).lines().count()
}

fn note(here: &Path, lab: &str, query: &str, said: &str) {
    done(here, &["note", "--where", query, said, "--yes", "--archive", lab]);
}

#[test]
fn points_are_counted_whether_or_not_a_source_states_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    assert_eq!(count(here, "lab", "points:>=30"), 2);
    assert_eq!(count(here, "lab", "points:20"), 1);
    assert_eq!(count(here, "lab", "stated-points:>=1"), 0);
    fs::write(
        here.join("in/delta.csv"),
        format!("points: 25\n{}", export("delta", 24, "09:00")),
    )
    .expect("a file");
    done(here, &["add", "in", "--archive", "lab"]);
    assert_eq!(count(here, "lab", "points:24"), 1);
    assert_eq!(count(here, "lab", "points:25"), 0);
    assert_eq!(count(here, "lab", "stated-points:25"), 1);
    let fields = done(here, &["fields", "points", "--archive", "lab"]);
    let lines = |word: &str| fields.lines().filter(|line| line.starts_with(word)).count();
    assert_eq!((lines("points "), lines("stated-points ")), (1, 1), "{fields}");
}

#[test]
fn the_name_of_a_run_finds_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    let id = done(here, &["find", "beta", "--ids", "--archive", "lab"]);
    let short = id.get(..8).expect("a name");
    assert_eq!(done(here, &["find", short, "--ids", "--archive", "lab"]), id);
}

#[test]
fn files_that_others_left_and_answers_that_cannot_be_read_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    let said = done(here, &["verify", "--archive", "lab"]);
    assert!(!said.contains("never read"), "{said}");
    fs::write(here.join("lab/notes (conflicted copy).jsonl"), "{}").expect("it is written");
    fs::write(here.join("lab/records/000001 (1).jsonl.zst"), "").expect("it is written");
    let said = done(here, &["verify", "--archive", "lab"]);
    assert!(
        said.contains("never read: notes (conflicted copy).jsonl, records/000001 (1).jsonl.zst"),
        "{said}"
    );
    fs::write(here.join("lab/answers.jsonl"), b"{\"id\":\"\xff\"}").expect("it is written");
    let (said, ended) = told(here, &["verify", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("answers.jsonl"), "{said}");
}

#[test]
fn a_file_that_became_a_copy_of_another_is_told_as_changed() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    fs::copy(here.join("in/beta.csv"), here.join("in/alpha.csv")).expect("it is copied");
    let (said, ended) = told(here, &["add", "in", "--archive", "lab"]);
    assert_eq!(ended, Some(0), "{said}");
    assert!(said.contains("other content than before"), "{said}");
    assert_eq!(count(here, "lab", "sample:alpha"), 0);
}

#[test]
fn edited_notes_are_a_matter_of_the_notes() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    note(here, "lab", "alpha", "project=one");
    let path = here.join("lab/notes.jsonl");
    let text = fs::read_to_string(&path).expect("a text");
    fs::write(&path, text.replace("one", "another")).expect("it is written");
    let (said, ended) = told(here, &["find", "alpha", "--archive", "lab"]);
    assert_eq!(ended, Some(3), "{said}");
    assert!(
        said.contains("notes.jsonl") && said.contains("other bytes than were committed"),
        "{said}"
    );
    let (said, _) = told(here, &["verify", "--repair", "--archive", "lab"]);
    assert!(
        said.contains("notes.jsonl: 1 note can be read and 0 not; look through them"),
        "{said}"
    );
    assert!(said.contains("kept in aside/"), "{said}");
    assert_eq!(count(here, "lab", "project:another"), 1);
    done(here, &["verify", "--archive", "lab"]);
}

#[test]
fn times_from_the_evening_to_the_morning_go_over_midnight() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    assert_eq!(count(here, "lab", "time:22:00..02:00"), 2);
    assert_eq!(count(here, "lab", "time:02:00..22:00"), 1);
}

#[test]
fn notes_of_another_copy_are_never_answered_from() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    note(here, "lab", "alpha", "title=common");
    done(here, &["backup", "copy", "--archive", "lab"]);
    note(here, "copy", "alpha", "temperature=30 °C");
    assert_eq!(count(here, "copy", "temp:30C"), 1);
    note(here, "lab", "alpha", "operator=somebody with a long name");
    // The copy went its own way: what was noted there is in no other place.
    let (said, ended) = told(here, &["backup", "copy", "--archive", "lab"]);
    assert_eq!(ended, Some(3), "{said}");
    assert!(said.contains("1 of its notes is not in the archive"), "{said}");
    assert_eq!(count(here, "copy", "temp:30C"), 1);

    // Files put there by hand, without the index: longer and shorter than what it had filed.
    for name in ["notes.jsonl", "manifest.json"] {
        fs::copy(here.join("lab").join(name), here.join("copy").join(name)).expect("it is copied");
    }
    assert_eq!(count(here, "copy", "temp:30C"), 0);
    assert_eq!(count(here, "copy", "operator:somebody"), 1);
    done(here, &["verify", "--archive", "copy"]);
}

#[test]
fn lost_notes_are_told_and_those_of_a_copy_come_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    note(here, "lab", "alpha", "project=one");
    done(here, &["backup", "copy", "--archive", "lab"]);
    note(here, "lab", "beta", "project=two");
    fs::remove_file(here.join("lab/notes.jsonl")).expect("it goes");
    let (said, ended) = told(
        here,
        &["verify", "--repair", "--from", "copy", "--archive", "lab"],
    );
    assert_eq!(ended, Some(1), "{said}");
    assert!(
        said.contains("bytes of notes are gone") && said.contains("every note of 1 run"),
        "{said}"
    );
    assert!(!said.contains("all as it was committed"), "{said}");
    assert_eq!(count(here, "lab", "project:one"), 1);
    assert_eq!(count(here, "lab", "project:two"), 0);
    // What is there is whole again, and the next check has nothing to say.
    done(here, &["verify", "--archive", "lab"]);

    // Without a copy.
    fs::remove_file(here.join("lab/notes.jsonl")).expect("it goes");
    let (said, ended) = told(here, &["verify", "--repair", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("bytes of notes are gone"), "{said}");
}

#[test]
fn results_that_a_repair_cannot_save_are_told_by_their_runs() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    done(here, &["rates", "beta", "--archive", "lab"]);
    done(here, &["rates", "alpha", "--archive", "lab"]);
    assert_eq!(count(here, "lab", "has:result"), 2);
    let id = done(here, &["find", "alpha", "--ids", "--archive", "lab"]);
    let path = here.join("lab/records/000001.jsonl.zst");
    let mut bytes = fs::read(&path).expect("a file");
    let at = bytes.len() - 20;
    bytes[at] ^= 4;
    fs::write(&path, bytes).expect("it is written");
    // A table without the damaged one says so by its status.
    let (said, ended) = told(here, &["results", "has:result", "--csv", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("archive-damaged"), "{said}");
    let (said, ended) = told(here, &["verify", "--repair", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(
        said.contains("every result of 1 run") && said.contains(id.trim()),
        "{said}"
    );
    assert_eq!(count(here, "lab", ""), 3);
}

#[test]
fn settings_and_answers_come_back_from_a_copy() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    done(
        here,
        &["vocabulary", "key:jacket=temperature", "--archive", "lab"],
    );
    let kept = ["archive.toml", "answers.jsonl"].map(|name| {
        let bytes = fs::read(here.join("lab").join(name));
        (name, bytes.unwrap_or_else(|error| panic!("{name}: {error}")))
    });
    done(here, &["backup", "copy", "--archive", "lab"]);
    for (name, _) in &kept {
        fs::remove_file(here.join("lab").join(name)).expect("it goes");
    }
    let said = done(
        here,
        &["verify", "--repair", "--from", "copy", "--archive", "lab"],
    );
    for (name, bytes) in &kept {
        assert!(said.contains(&format!("{name}: was gone")), "{said}");
        assert_eq!(&fs::read(here.join("lab").join(name)).expect("it is back"), bytes);
    }
}

#[test]
fn lost_originals_are_named_come_back_when_added_and_close_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    note(here, "lab", "alpha", "project=one");
    done(here, &["rates", "beta", "--archive", "lab"]);
    let shown = || done(here, &["show", "alpha", "--archive", "lab"]);
    let before = shown();
    // All three lie in one frame; a fourth comes into another.
    fs::write(here.join("in/delta.csv"), export("delta", 40, "10:00")).expect("a file");
    done(here, &["add", "in", "--archive", "lab"]);
    let path = here.join("lab/originals/000001.tar.zst");
    let whole = fs::read(&path).expect("a file");
    let mut bytes = whole.clone();
    bytes[60] ^= 16;
    fs::write(&path, &bytes).expect("it is written");

    let (said, ended) = told(here, &["verify", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("no whole original of `in/alpha.csv`"), "{said}");
    assert!(!said.contains("no whole original of `in/delta.csv`"), "{said}");
    let (said, ended) = told(here, &["verify", "--repair", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("no whole original of `in/alpha.csv`"), "{said}");
    // What is whole is copied and read again, and new files are taken.
    let (said, ended) = told(here, &["backup", "copy", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("no whole original of `in/alpha.csv`"), "{said}");
    assert_eq!(count(here, "copy", ""), 4);
    let (said, ended) = told(here, &["reread", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    assert!(said.contains("lost original"), "{said}");
    fs::write(here.join("in/epsilon.csv"), export("epsilon", 40, "10:00")).expect("a file");
    // And the same files bring back what was lost.
    done(here, &["add", "in", "--archive", "lab"]);
    done(here, &["verify", "--archive", "lab"]);
    assert_eq!(count(here, "lab", ""), 5);
    assert_eq!(count(here, "lab", "project:one"), 1);
    assert_eq!(count(here, "lab", "beta has:result"), 1);
    assert_eq!(shown(), before);

    // A file of originals that is cut short.
    let bytes = fs::read(&path).expect("a file");
    fs::write(&path, &bytes[..whole.len() - 10]).expect("it is written");
    let (said, ended) = told(here, &["verify", "--repair", "--archive", "lab"]);
    assert_eq!(ended, Some(1), "{said}");
    done(here, &["add", "in", "--archive", "lab"]);
    done(here, &["verify", "--archive", "lab"]);
    assert_eq!(count(here, "lab", ""), 5);
}

#[test]
fn a_copy_put_back_over_an_archive_is_not_answered_from_its_index() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here);
    note(here, "lab", "alpha", "title=common");
    let kept: Vec<(&str, Vec<u8>)> = ["notes.jsonl", "manifest.json", "manifest.previous.json"]
        .into_iter()
        .map(|name| (name, fs::read(here.join("lab").join(name)).expect("a file")))
        .collect();
    note(here, "lab", "alpha", "temperature=30 °C");
    assert_eq!(count(here, "lab", "temp:30C"), 1);
    for (name, bytes) in kept {
        fs::write(here.join("lab").join(name), bytes).expect("it is written");
    }
    assert_eq!(count(here, "lab", "temp:30C"), 0);
    assert_eq!(count(here, "lab", "common"), 1);
    done(here, &["verify", "--archive", "lab"]);
}
