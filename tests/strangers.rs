//! What a stranger gets to see of an archive, and what an archive takes from a stranger.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::io::{Read, Write};
use std::path::Path;

use curvary_tests::{both_streams, run, status};

const TABLE: &str = "\nTime (s)\tAbsorbance\n0\t0.5\n1\t0.4\n2\t0.3\n3\t0.25\n";

fn told(folder: &Path, words: &[&str]) -> (Option<i32>, String) {
    let done = run(folder, words);
    (status(&done), both_streams(&done))
}

/// An archive `lab` of files with these heads over a small table.
fn archive(folder: &Path, files: &[(&str, &str)]) {
    fs::create_dir_all(folder.join("in")).unwrap();
    for (name, head) in files {
        let table = if head.contains("Time (") { "" } else { TABLE };
        fs::write(folder.join("in").join(name), format!("{head}{table}")).unwrap();
    }
    let (ending, words) = told(folder, &["add", "in", "--archive", "lab", "--quiet"]);
    assert!(ending.is_some_and(|ending| ending <= 1), "{words}");
}

fn export(folder: &Path, words: &[&str]) -> (Option<i32>, String) {
    told(
        folder,
        &[&["export"], words, &["--archive", "lab", "--replace"]].concat(),
    )
}

/// All texts of a bundle.
fn texts(path: &Path) -> String {
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut all = String::new();
    for at in 0..zip.len() {
        let mut bytes = Vec::new();
        zip.by_index(at).unwrap().read_to_end(&mut bytes).unwrap();
        all += &String::from_utf8_lossy(&bytes);
    }
    all
}

fn unpack(path: &Path, folder: &Path) {
    zip::ZipArchive::new(fs::File::open(path).unwrap())
        .unwrap()
        .extract(folder)
        .unwrap();
}

#[test]
fn a_slip_in_what_is_left_out_hands_nothing_over() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let head = "Sample: a\nOperator: Quixemia Vantor\nComment: secret\nFlask colour: red\n";
    archive(folder, &[("one.txt", head)]);
    for (slip, near) in [
        ("coment", "comment"),
        ("flask color", "Flask colour"),
        ("nonsense", ""),
    ] {
        for (form, out) in [("bundle", "a.zip"), ("csv", "a.csv"), ("json", "a.json")] {
            let (ending, words) = export(
                folder,
                &["sample:a", "--to", form, "--without", slip, "--out", out],
            );
            assert_eq!(ending, Some(2), "{words}");
            assert!(
                words.contains("nothing was written") && words.contains(near),
                "{words}"
            );
            assert!(!folder.join(out).exists());
        }
    }
    // A field of the source's own by its spelling and by its column.
    for name in ["Flask colour", "flask_colour", "FLASK COLOUR"] {
        let (ending, words) = export(
            folder,
            &["sample:a", "--to", "json", "--without", name, "--out", "a.json"],
        );
        assert_eq!(ending, Some(0), "{words}");
        let text = fs::read_to_string(folder.join("a.json")).unwrap();
        assert!(
            !text.contains("\"red\"") && text.contains("secret"),
            "{name}: {text}"
        );
    }
    // The settings of an archive are no better.
    let settings = fs::read_to_string(folder.join("lab/archive.toml")).unwrap();
    fs::write(
        folder.join("lab/archive.toml"),
        format!("leave-out = [\"operatr\"]\n{settings}"),
    )
    .unwrap();
    let (ending, words) = export(folder, &["sample:a", "--to", "csv", "--out", "b.csv"]);
    assert!(ending == Some(2) && words.contains("operator"), "{words}");
}

#[test]
fn what_is_left_out_of_one_run_stands_in_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let other = "Sample: b\nComment: seen by Quixemia Vantor, as in one.txt\nReviewer: quixemia vantor\n";
    archive(
        folder,
        &[
            ("one.txt", "Sample: a\nOperator: Quixemia Vantor\n"),
            ("two.txt", other),
        ],
    );
    let query = "sample:a or sample:b";
    for (form, out) in [
        ("report", "ab.html"),
        ("csv", "ab.csv"),
        ("wide-csv", "wide.csv"),
        ("json", "ab.json"),
        ("json-lines", "ab.jsonl"),
        ("jcamp-dx", "ab.jdx"),
        ("animl", "ab.animl"),
        ("bundle", "ab.zip"),
    ] {
        let (ending, words) = export(
            folder,
            &[query, "--to", form, "--without", "operator,path", "--out", out],
        );
        assert_eq!(ending, Some(0), "{form}: {words}");
        let text = if form == "bundle" {
            texts(&folder.join(out))
        } else {
            fs::read_to_string(folder.join(out)).unwrap()
        };
        assert!(!text.to_lowercase().contains("quixemia"), "{form}");
        assert!(!text.contains("one.txt"), "{form}");
    }
    // A report of files goes to strangers too.
    let (ending, words) = told(folder, &["convert", "in", "--to", "report", "--out", "reports"]);
    assert_eq!(ending, Some(0), "{words}");
    let text = fs::read_to_string(folder.join("reports/one.txt.html")).unwrap();
    assert!(!text.contains("Quixemia") && text.contains("left out"), "{text}");
}

#[test]
fn units_and_quantities_are_never_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let minutes = "Sample: g\nOperator: Min\nComment: measured by Min\n\nTime (min)\tAbsorbance\n0\t0.5\n1\t0.4\n2\t0.3\n3\t0.29\n";
    archive(
        folder,
        &[
            ("g.txt", minutes),
            ("h.txt", "Sample: h 0.3\nOperator: absorbance\n"),
            ("i.txt", "Sample: i\nOperator: 0.3\n"),
            ("j.txt", "Sample: j\nOperator: zq\nComment: zq was here\n"),
        ],
    );
    for sample in ["g", "\"h 0.3\"", "i", "j"] {
        let (ending, words) = export(
            folder,
            &[&format!("sample:{sample}"), "--to", "bundle", "--out", "g.zip"],
        );
        assert_eq!(ending, Some(0), "{words}");
        assert!(words.contains("looked for in fields of text alone"), "{words}");
    }
    let (ending, words) = export(
        folder,
        &[
            "technique:time-course",
            "--to",
            "json",
            "--without",
            "operator",
            "--out",
            "all.json",
        ],
    );
    assert_eq!(ending, Some(0), "{words}");
    let text = fs::read_to_string(folder.join("all.json")).unwrap();
    for stays in [
        "\"min\"",
        "\"Time (min)\"",
        "\"absorbance\"",
        "h 0.3",
        "measured by [left out]",
        "[left out] was here",
    ] {
        assert!(text.contains(stays), "{stays}: {text}");
    }
}

#[test]
fn an_archive_keeps_its_own_files() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    archive(folder, &[("one.txt", "Sample: a\n")]);
    let file = |name: &str| {
        let mut names: Vec<_> = fs::read_dir(folder.join("lab").join(name))
            .unwrap()
            .map(|entry| entry.unwrap().path().display().to_string())
            .collect();
        names.sort();
        names[0].clone()
    };
    let own = [
        file("originals"),
        file("records"),
        "lab/archive.toml".to_owned(),
        "lab/index/../archive.toml".to_owned(),
        "lab/manifest.json".to_owned(),
        "lab/originals/new.csv".to_owned(),
    ];
    for out in &own {
        let before = fs::read(folder.join(out)).ok();
        for form in ["csv", "json", "bundle", "tables", "report"] {
            let (ending, words) = export(folder, &["sample:a", "--to", form, "--out", out]);
            assert!(ending.is_some_and(|ending| ending >= 2), "{form} {out}: {words}");
            assert_eq!(fs::read(folder.join(out)).ok(), before, "{form} {out}");
        }
    }
    let (ending, words) = told(
        folder,
        &[
            "plot",
            "sample:a",
            "--archive",
            "lab",
            "--out",
            "lab/originals/x.svg",
        ],
    );
    assert!(ending.is_some_and(|ending| ending >= 2), "{words}");
    let (ending, words) = told(folder, &["verify", "--archive", "lab"]);
    assert_eq!(ending, Some(0), "{words}");
}

#[test]
fn a_bundle_that_was_changed_is_nobodys_word() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    archive(folder, &[("one.txt", "Sample: a\n"), ("two.txt", "Sample: b\n")]);
    let words = [
        "technique:time-course",
        "--to",
        "bundle",
        "--originals",
        "--with",
        "operator,path",
        "--out",
        "back.zip",
    ];
    let (ending, words) = export(folder, &words);
    assert_eq!(ending, Some(0), "{words}");
    let fresh = || {
        let _ = fs::remove_dir_all(folder.join("un"));
        let _ = fs::remove_dir_all(folder.join("new"));
        unpack(&folder.join("back.zip"), &folder.join("un"));
        folder.join("un/back")
    };
    let refused = |path: &str, named: &str| {
        let (ending, words) = told(folder, &["add", path, "--archive", "new"]);
        assert!(
            ending.is_some_and(|ending| ending >= 2) && words.contains(named),
            "{named}: {words}"
        );
        assert!(!folder.join("new/records").exists(), "{named}");
    };
    fresh();
    let (ending, words) = told(folder, &["add", "un/back", "--archive", "new"]);
    assert_eq!(ending, Some(0), "{words}");
    // Changed, taken away, put beside.
    let bag = fresh();
    let line = fs::read_to_string(bag.join("data/runs.jsonl")).unwrap();
    fs::write(bag.join("data/runs.jsonl"), line.replace("0.25", "0.75")).unwrap();
    refused("un/back", "data/runs.jsonl");
    let bag = fresh();
    fs::write(bag.join("data/notes.jsonl"), "\n").unwrap();
    refused("un/back", "data/notes.jsonl");
    let bag = fresh();
    fs::remove_file(bag.join("data/originals/in/one.txt")).unwrap();
    refused("un/back", "one.txt");
    let bag = fresh();
    fs::write(bag.join("data/originals/extra.csv"), TABLE).unwrap();
    refused("un/back", "extra.csv");
    let bag = fresh();
    fs::remove_file(bag.join("manifest-sha512.txt")).unwrap();
    refused("un/back", "manifest-sha512.txt");
    // A ZIP that was cut short on its way, and one with a changed member.
    let _ = fs::remove_dir_all(folder.join("new"));
    let whole = fs::read(folder.join("back.zip")).unwrap();
    fs::write(folder.join("short.zip"), &whole[..whole.len() * 2 / 3]).unwrap();
    refused("short.zip", "cut short");
    let mut from = zip::ZipArchive::new(fs::File::open(folder.join("back.zip")).unwrap()).unwrap();
    let mut to = zip::ZipWriter::new(fs::File::create(folder.join("other.zip")).unwrap());
    for at in 0..from.len() {
        let mut member = from.by_index(at).unwrap();
        let name = member.name().unwrap().into_owned();
        let mut bytes = Vec::new();
        member.read_to_end(&mut bytes).unwrap();
        if name.ends_with("two.txt") {
            bytes = String::from_utf8(bytes)
                .unwrap()
                .replace("0.4", "0.9")
                .into_bytes();
        }
        to.start_file(name, zip::write::SimpleFileOptions::default())
            .unwrap();
        to.write_all(&bytes).unwrap();
    }
    to.finish().unwrap();
    refused("other.zip", "two.txt");
}

/// Two columns without a word of what they are.
const BARE: &str = "0,0.91\n60,0.82\n120,0.74\n180,0.67\n240,0.61\n300,0.55\n";

#[test]
fn answers_of_a_bundle_settle_its_own_files_alone() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    archive(folder, &[("clear.txt", "Sample: a\n")]);
    fs::write(folder.join("in/bare.csv"), BARE).unwrap();
    let _ = told(folder, &["add", "in", "--archive", "lab", "--quiet"]);
    for answer in ["y=absorbance", "x=time:s"] {
        let (ending, words) = told(folder, &["answer", "in/bare.csv", answer, "--archive", "lab"]);
        assert!(ending.is_some_and(|ending| ending <= 1), "{words}");
    }
    let bundle = |query: &str, out: &str| {
        let words = [
            query,
            "--to",
            "bundle",
            "--originals",
            "--with",
            "operator,path",
            "--out",
            out,
        ];
        let (ending, words) = export(folder, &words);
        assert_eq!(ending, Some(0), "{words}");
    };
    // Runs that rest on no answer take none along.
    bundle("sample:a", "clear.zip");
    let (_, words) = told(folder, &["add", "clear.zip", "--archive", "one", "--quiet"]);
    assert!(!words.contains("answer"), "{words}");
    // Those that do settle the bundle's file, and ask about one of the same writing.
    bundle("path:bare", "bare.zip");
    let (ending, words) = told(folder, &["add", "bare.zip", "--archive", "two"]);
    assert_eq!(ending, Some(0), "{words}");
    assert!(words.contains("of the bundle kept"), "{words}");
    let asked = || {
        let done = run(folder, &["worklist", "--json", "--archive", "two"]);
        let all: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
        all["questions"].to_string()
    };
    assert!(!asked().contains("bare.csv"), "{}", asked());
    fs::create_dir(folder.join("own")).unwrap();
    fs::write(folder.join("own/mine.csv"), BARE.replace('9', "8")).unwrap();
    let _ = told(folder, &["add", "own", "--archive", "two"]);
    assert!(asked().contains("mine.csv"), "{}", asked());
}

#[test]
fn a_head_has_the_unit_of_the_numbers_below() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let spectrum = |unit: &str, factor: f64| {
        let mut text = format!("Sample,glass {factor}\nWavelength (nm),Transmittance{unit}\n");
        for point in 0..8_u32 {
            text += &format!(
                "{},{:.4}\n",
                400 + point * 10,
                factor * (0.9 + f64::from(point) / 100.0)
            );
        }
        text
    };
    fs::create_dir(folder.join("in")).unwrap();
    fs::write(folder.join("in/pct.csv"), spectrum(" (%)", 100.0)).unwrap();
    fs::write(folder.join("in/frac.csv"), spectrum(" (1)", 1.0)).unwrap();
    let _ = told(folder, &["add", "in", "--archive", "lab", "--quiet"]);
    let (ending, words) = export(
        folder,
        &["", "--to", "wide-csv", "--out", "w.csv", "--even-in-question"],
    );
    assert_eq!(ending, Some(0), "{words}");
    let text = fs::read_to_string(folder.join("w.csv")).unwrap();
    let head = text.lines().next().unwrap();
    assert!(!head.contains('%') && head.contains("(fraction)"), "{text}");
}
