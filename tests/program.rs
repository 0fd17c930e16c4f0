//! The program as its users meet it: exit statuses, listings, quiet pipes.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;
use std::process::Stdio;

use curvary_tests::{call, json, run, status, stderr};
use tempfile::TempDir;

const COURSE: &str = "# sample: betanin\n# temperature: 37 °C\n# wavelength: 535 nm\ntime (s),absorbance\n0,0.9000\n10,0.8123\n\
    20,0.7331\n30,0.6617\n40,0.5972\n50,0.5390\n";
const PROSE: &str = "Wear goggles. Keep water away from the mains.\nThe practical begins at nine.\n";

fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().expect("it has one")).expect("a folder");
        fs::write(path, text).expect("a file");
    }
    folder
}

fn report(path: &Path) -> Vec<serde_json::Value> {
    let text = fs::read_to_string(path).expect("a report");
    text.lines()
        .map(|line| serde_json::from_str(line).expect("a line of JSON"))
        .collect()
}

#[test]
fn all_done_is_0_and_a_second_time_changes_nothing() {
    let folder = folder(&[("in/a.csv", COURSE)]);
    let add = ["add", "in", "--archive", "lab", "--json"];
    let first = run(folder.path(), &add);
    assert_eq!(status(&first), Some(0), "{}", stderr(&first));
    assert_eq!(json(&first)["read"], 1);
    let again = run(folder.path(), &add);
    assert_eq!(status(&again), Some(0), "{}", stderr(&again));
    assert_eq!(
        (&json(&again)["read"], &json(&again)["unchanged"]),
        (&0.into(), &1.into())
    );
    let found = json(&run(folder.path(), &["find", "--archive", "lab", "--json"]));
    assert_eq!(found["total"], 1);
}

#[test]
fn done_in_part_is_1_and_nothing_done_is_3() {
    let folder = folder(&[("in/a.csv", COURSE), ("in/b.txt", PROSE), ("only/b.txt", PROSE)]);
    let output = run(folder.path(), &["add", "in", "--archive", "lab"]);
    assert_eq!(status(&output), Some(1), "{}", stderr(&output));
    let output = run(folder.path(), &["add", "only", "--dry-run"]);
    assert_eq!(status(&output), Some(3), "{}", stderr(&output));
    let output = run(folder.path(), &["add", "no-such-folder", "--archive", "lab"]);
    assert_eq!(status(&output), Some(3), "{}", stderr(&output));
    assert!(stderr(&output).contains("no-such-folder"));
    let output = run(folder.path(), &["add", "no-such-folder", "--archive", "other"]);
    assert_eq!(status(&output), Some(3), "{}", stderr(&output));
    assert!(
        !folder.path().join("other").exists(),
        "an archive was begun for nothing"
    );
    let output = run(folder.path(), &["show", "0123456789abcdef", "--archive", "lab"]);
    assert_eq!(status(&output), Some(3), "{}", stderr(&output));
    assert!(stderr(&output).contains("error[no-run]"), "{}", stderr(&output));
}

#[test]
fn wrong_command_lines_are_2() {
    let folder = folder(&[("in/a.csv", COURSE)]);
    assert_eq!(
        status(&run(folder.path(), &["add", "in", "--archive", "lab"])),
        Some(0)
    );
    for wrong in [
        &["ad", "in"][..],
        &["add"],
        &["convert", "in"],
        &["find", "temprature:37C", "--archive", "lab"],
        &["find", "temperature:37parsec", "--archive", "lab"],
        &["convert", "in", "--to", "csv", "--out", "in"],
        &["add", "in", "--dry-run", "--assume", "decimal=dot"],
        &["add", "in", "--dry-run", "--reader", "built-in/none"],
        &["explain", "no-such-code"],
    ] {
        let output = run(folder.path(), wrong);
        assert_eq!(status(&output), Some(2), "{wrong:?}: {}", stderr(&output));
        assert!(!output.stderr.is_empty(), "{wrong:?}");
    }
    // A misspelt field names the nearest right one.
    let output = run(folder.path(), &["find", "temprature:37C", "--archive", "lab"]);
    assert!(stderr(&output).contains("temperature"), "{}", stderr(&output));
    // Where no archive is named there is none.
    assert_eq!(status(&run(folder.path(), &["find"])), Some(2));
}

#[test]
fn strict_lets_warnings_count() {
    let bare = "0,0.9\n1,0.8\n2,0.7\n3,0.6\n4,0.5\n5,0.45\n6,0.4\n";
    let folder = folder(&[("in/bare.csv", bare)]);
    assert_eq!(status(&run(folder.path(), &["add", "in", "--dry-run"])), Some(0));
    assert_eq!(
        status(&run(folder.path(), &["add", "in", "--dry-run", "--strict"])),
        Some(1)
    );
}

#[test]
fn every_file_has_a_line_in_the_report() {
    let folder = folder(&[
        ("in/a.csv", COURSE),
        ("in/b.txt", PROSE),
        ("in/empty.txt", ""),
        ("in/.hidden.csv", COURSE),
        ("in/deep/er/c.csv", COURSE),
    ]);
    let convert = [
        "convert", "in", "--to", "json", "--out", "out", "--report", "r.jsonl", "--quiet",
    ];
    let output = run(folder.path(), &convert);
    assert_eq!(status(&output), Some(1), "{}", stderr(&output));
    let lines = report(&folder.path().join("r.jsonl"));
    let paths: Vec<&str> = lines.iter().filter_map(|line| line["path"].as_str()).collect();
    assert_eq!(paths, ["a.csv", "b.txt", "deep/er/c.csv", "empty.txt"]);
    let verdicts: Vec<&str> = lines.iter().filter_map(|line| line["verdict"].as_str()).collect();
    assert_eq!(verdicts, ["read", "refused", "read", "refused"]);
    for line in &lines {
        let keys: Vec<&str> = line
            .as_object()
            .expect("an object")
            .keys()
            .map(String::as_str)
            .collect();
        assert_eq!(
            keys,
            ["path", "digest", "verdict", "reader", "runs", "points", "remarks"]
        );
        let document = folder
            .path()
            .join("out")
            .join(format!("{}.json", line["path"].as_str().expect("a path")));
        let document: serde_json::Value =
            serde_json::from_slice(&fs::read(document).expect("a document for each")).expect("JSON");
        assert_eq!(document["verdict"], line["verdict"]);
        assert_eq!(
            document["runs"].as_array().map(Vec::len),
            line["runs"].as_u64().and_then(|n| n.try_into().ok())
        );
    }
    assert_eq!((&lines[0]["runs"], &lines[0]["points"]), (&1.into(), &6.into()));
    // An archive tells the same of them, and a second time too.
    for report_file in ["first.jsonl", "second.jsonl"] {
        let add = [
            "add",
            "in",
            "--archive",
            "lab",
            "--report",
            report_file,
            "--quiet",
        ];
        assert_eq!(
            status(&run(folder.path(), &add)),
            Some(if report_file == "first.jsonl" { 1 } else { 0 })
        );
        let told = report(&folder.path().join(report_file));
        for (told, line) in told.iter().zip(&lines) {
            assert_eq!(
                told["path"].as_str(),
                line["path"].as_str().map(|path| format!("in/{path}")).as_deref()
            );
            for key in ["digest", "verdict", "reader", "runs", "points"] {
                assert_eq!(told[key], line[key], "{report_file}, {key} of {}", line["path"]);
            }
        }
    }
}

#[cfg(unix)]
#[test]
fn what_cannot_be_read_is_told_and_the_rest_is_read() {
    let folder = folder(&[("in/a.csv", COURSE), ("in/c.csv", &COURSE.replace("37", "38"))]);
    // A link that leads nowhere cannot be read by anybody; permissions do not stop a superuser.
    std::os::unix::fs::symlink("nowhere", folder.path().join("in/b.csv")).expect("a link");
    let output = run(
        folder.path(),
        &[
            "add",
            "in",
            "--archive",
            "lab",
            "--report",
            "r.jsonl",
            "--errors",
            "short",
        ],
    );
    assert_eq!(status(&output), Some(1), "{}", stderr(&output));
    assert!(
        stderr(&output).contains("in/b.csv: error[file-unusable]: cannot read"),
        "{}",
        stderr(&output)
    );
    let lines = report(&folder.path().join("r.jsonl"));
    let failed: Vec<_> = lines.iter().filter(|line| line["verdict"] == "failed").collect();
    assert_eq!(failed.len(), 1);
    assert_eq!(
        (&failed[0]["path"], &failed[0]["digest"]),
        (&"in/b.csv".into(), &serde_json::Value::Null)
    );
    assert_eq!(
        json(&run(folder.path(), &["find", "--archive", "lab", "--json"]))["total"],
        2
    );
}

/// A reader that goes away has read enough.
#[test]
fn a_closed_pipe_is_a_quiet_success() {
    let folder = folder(&[("a.csv", COURSE)]);
    for words in [
        &["man"][..],
        &["explain", "a.csv", "--json"],
        &["readers"],
        &["completions", "bash"],
    ] {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let output = call(folder.path(), words)
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn()
            .and_then(std::process::Child::wait_with_output)
            .expect("the program starts");
        assert_eq!(
            (status(&output), stderr(&output).as_str()),
            (Some(0), ""),
            "{words:?}"
        );
    }
}

#[test]
fn originals_are_never_written_over() {
    let folder = folder(&[("in/a.csv", COURSE), ("in/sub/b.csv", COURSE)]);
    for out in ["in", ".", "in/sub"] {
        let output = run(folder.path(), &["convert", "in", "--to", "csv", "--out", out]);
        assert_eq!(status(&output), Some(2), "{out}: {}", stderr(&output));
        assert!(stderr(&output).contains("out-overlaps"), "{}", stderr(&output));
    }
    // A folder of its own below them is fine, also twice, and is not read itself.
    for _ in 0..2 {
        let output = run(
            folder.path(),
            &["convert", "in", "--to", "csv", "--out", "in/out", "--json"],
        );
        assert_eq!(status(&output), Some(0), "{}", stderr(&output));
        assert_eq!(json(&output)["files"], 2);
    }
    assert_eq!(
        fs::read_to_string(folder.path().join("in/a.csv")).expect("it is there"),
        COURSE
    );
}

#[test]
fn colours_are_for_terminals() {
    let folder = folder(&[("a.csv", COURSE)]);
    let output = run(folder.path(), &["explain", "a.csv"]);
    assert_eq!(status(&output), Some(0), "{}", stderr(&output));
    assert!(
        !output.stdout.contains(&0x1b),
        "{}",
        String::from_utf8_lossy(&output.stdout)
    );
    let forced = call(folder.path(), &["explain", "a.csv"])
        .env("CLICOLOR_FORCE", "1")
        .output()
        .expect("it runs");
    assert!(forced.stdout.contains(&0x1b));
}

#[test]
fn completions_and_man_page_come_from_the_same_definitions() {
    let folder = folder(&[]);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let output = run(folder.path(), &["completions", shell]);
        assert_eq!(status(&output), Some(0));
        assert!(
            String::from_utf8_lossy(&output.stdout).contains("CURVARY_COMPLETE"),
            "{shell}"
        );
    }
    // The shell asks the program itself.
    let asked = call(folder.path(), &["--", "curvary", "work"])
        .env("CURVARY_COMPLETE", "bash")
        .env("_CLAP_COMPLETE_INDEX", "1")
        .env("_CLAP_IFS", "\n")
        .output()
        .expect("the program starts");
    assert_eq!(String::from_utf8_lossy(&asked.stdout).trim(), "worklist");
    let page = run(folder.path(), &["man"]);
    for word in ["add", "worklist", "CURVARY_ARCHIVE", "Exit status"] {
        assert!(String::from_utf8_lossy(&page.stdout).contains(word), "{word}");
    }
}

#[test]
fn every_listing_is_json_too() {
    let folder = folder(&[("in/a.csv", COURSE)]);
    assert_eq!(
        status(&run(folder.path(), &["add", "in", "--archive", "lab", "--quiet"])),
        Some(0)
    );
    let found = json(&run(
        folder.path(),
        &["find", "betanin", "--archive", "lab", "--json"],
    ));
    let id = found["runs"][0]["run"].as_str().expect("a run").to_owned();
    assert_eq!(found["runs"][0]["fields"]["sample"]["value"], "betanin");
    let shown = json(&run(
        folder.path(),
        &["show", &id[..6], "--archive", "lab", "--json"],
    ));
    assert_eq!(shown[0]["id"], id.as_str());
    assert_eq!(shown[0]["traces"][0]["y"]["values"][1], 0.8123);
    for listing in [
        &["worklist", "--json", "--archive", "lab"][..],
        &["vocabulary", "--json", "--archive", "lab"],
        &["verify", "--json", "--archive", "lab"],
        &["readers", "--json"],
        &["find", "--facets", "--json", "--archive", "lab"],
        &["explain", "in/a.csv", "--json"],
        &["explain", "no-run", "--json"],
    ] {
        let output = run(folder.path(), listing);
        assert_eq!(status(&output), Some(0), "{listing:?}: {}", stderr(&output));
        let _ = json(&output);
    }
    let ids = run(folder.path(), &["find", "--ids", "--archive", "lab"]);
    assert_eq!(String::from_utf8_lossy(&ids.stdout).trim(), id);
}

#[test]
fn notes_correct_and_settle() {
    let bare = "0,0.9\n10,0.8\n20,0.7\n30,0.6\n40,0.5\n50,0.45\n60,0.4\n";
    let folder = folder(&[("in/a.csv", COURSE), ("in/bare.csv", bare)]);
    let lab = |arguments: &[&str]| {
        let mut all = arguments.to_vec();
        all.extend(["--archive", "lab"]);
        run(folder.path(), &all)
    };
    assert_eq!(status(&lab(&["add", "in", "--quiet"])), Some(0));
    let id = |query: &str| {
        let ids = lab(&["find", "--ids", query]);
        String::from_utf8_lossy(&ids.stdout).trim().to_owned()
    };
    let course = id("betanin");
    let noted = lab(&["note", &course, "temperature=38 °C", "--author", "t. u."]);
    assert_eq!(status(&noted), Some(0), "{}", stderr(&noted));
    let shown = &json(&lab(&["show", &course, "--json"]))[0];
    assert_eq!(shown["fields"]["temperature"]["value"], 38.0);
    assert_eq!(shown["fields"]["temperature"]["also"][0]["value"], 37.0);
    assert_eq!(id("temperature:38C"), course);
    // A preview changes nothing.
    assert_eq!(status(&lab(&["note", "--where", "betanin", "ph=5"])), Some(0));
    assert_eq!(id("ph:5"), "");
    assert_eq!(
        status(&lab(&["note", "--where", "betanin", "ph=5", "--yes"])),
        Some(0)
    );
    assert_eq!(id("ph:5"), course);
    // An answer to a question reads the original again.
    let asked = json(&lab(&["worklist", "--json"]));
    assert!(asked["questions"][0]["examples"][0]["path"].is_string());
    let run_asked = id("is:in-question");
    assert!(!run_asked.is_empty(), "a run in question");
    let refused = lab(&["export", &run_asked, "--to", "csv", "--out", "bare.csv"]);
    assert_eq!(status(&refused), Some(3), "{}", stderr(&refused));
    let settled = lab(&["note", &run_asked, "assume:x=time:s", "assume:y=absorbance:{AU}"]);
    assert_eq!(status(&settled), Some(0), "{}", stderr(&settled));
    assert_eq!(
        json(&lab(&["worklist", "--json"]))["questions"]
            .as_array()
            .map(Vec::len),
        Some(0)
    );
    let written = lab(&[
        "export",
        "technique:time-course",
        "--to",
        "csv",
        "--out",
        "both.csv",
    ]);
    assert_eq!(status(&written), Some(0), "{}", stderr(&written));
    assert!(folder.path().join("both.csv").is_file() && folder.path().join("both.schema.json").is_file());
    assert_eq!(status(&lab(&["verify"])), Some(0));
}

/// Outputs never replace what they did not make.
#[test]
fn originals_are_never_overwritten_by_outputs() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let export = "wavelength (nm),absorbance\n400,0.1\n410,0.2\n420,0.3\n430,0.4\n";
    fs::write(here.join("a.csv"), export).unwrap();
    fs::write(here.join("a.curvary.csv"), "measured once and never again\n").unwrap();
    fs::write(here.join("b.csv"), export).unwrap();
    let output = run(here, &["convert", "a.csv", "b.csv", "--to", "csv", "--out", "."]);
    assert_eq!(status(&output), Some(1), "one was written, one was refused");
    let read = |name: &str| fs::read_to_string(here.join(name)).unwrap();
    assert_eq!(read("a.curvary.csv"), "measured once and never again\n");
    assert!(read("b.curvary.csv").starts_with("run,"));
    // What convert wrote it may write again.
    let output = run(here, &["convert", "b.csv", "--to", "csv", "--out", "."]);
    assert_eq!(
        status(&output),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let output = run(
        here,
        &["convert", "a.csv", "--to", "csv", "--out", ".", "--replace"],
    );
    assert_eq!(status(&output), Some(0));
    assert!(read("a.curvary.csv").starts_with("run,"));
    // A report replaces a report and nothing else.
    for (report, expected) in [("a.csv", Some(2)), ("r.jsonl", Some(0)), ("r.jsonl", Some(0))] {
        let output = run(here, &["add", "b.csv", "--archive", "lab", "--report", report]);
        assert_eq!(status(&output), expected, "{report}");
    }
    assert_eq!(read("a.csv"), export);
    // The description beside a table is an output too.
    fs::write(here.join("out.schema.json"), "mine\n").unwrap();
    let export = [
        "export",
        "",
        "--to",
        "csv",
        "--out",
        "out.csv",
        "--archive",
        "lab",
    ];
    let output = run(here, &export);
    assert_eq!(read("out.schema.json"), "mine\n");
    assert_eq!(
        status(&output),
        Some(3),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(!here.join("out.csv").exists());
}
