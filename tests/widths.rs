//! Listings fit a terminal of 80 and of 120 columns, and nothing is cut off that matters.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;

use curvary_tests::{call, day, json, run};

/// What a command prints on a terminal of so many columns.
fn printed(folder: &Path, words: &[&str], columns: &str) -> String {
    let output = call(folder, words)
        .args(["--archive", "lab"])
        .env("COLUMNS", columns)
        .output()
        .expect("the program starts");
    assert!(
        output.status.success(),
        "{words:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[test]
fn listings_fit_80_and_120_columns() {
    let place = tempfile::tempdir().expect("a folder");
    let folder = place.path();
    for (name, bytes) in day::files() {
        let path = folder.join("exports").join(name);
        fs::create_dir_all(path.parent().expect("it lies in a folder")).expect("a folder");
        fs::write(path, bytes).expect("a file");
    }
    let _ = run(folder, &["add", "exports", "--archive", "lab"]);
    let fitted = run(
        folder,
        &[
            "fit",
            "sample:betanin",
            "year:2004..2006",
            "--model",
            "first-order+offset",
            "--archive",
            "lab",
        ],
    );
    assert!(fitted.status.success());
    let all = json(&run(folder, &["find", "--json", "--archive", "lab"]));
    let listings: [&[&str]; 7] = [
        &["find"],
        &["find", "--show", "result.k,operator"],
        &["find", "--sort", "-result.k"],
        &["find", "--like", "exports/2014/spectra/beet juice.csv"],
        &["status"],
        &["fields"],
        &["results", "has:result"],
    ];
    for columns in ["80", "120"] {
        let most: usize = columns.parse().expect("a number");
        for words in listings {
            let text = printed(folder, words, columns);
            for line in text.lines() {
                assert!(line.chars().count() <= most, "{words:?} at {columns}: {line}");
            }
        }
        let listed = printed(folder, &["find"], columns);
        for (row, run) in listed.lines().skip(1).zip(all["runs"].as_array().expect("runs")) {
            let name = run["run"].as_str().expect("a name");
            assert!(row.starts_with(&name[..8]), "{row}");
            let path = run["paths"][0].as_str().expect("a path");
            let end: String = path.chars().skip(path.chars().count() - 11).collect();
            assert!(
                row.contains(&end) || row.contains("more)"),
                "the file is cut off: {row}"
            );
            if let Some(sample) = run["fields"]["sample"]["value"]
                .as_str()
                .filter(|sample| sample.len() <= 12)
            {
                assert!(row.contains(sample), "the sample is cut off: {row}");
            }
        }
        // Numbers are never cut.
        let shown = printed(folder, &["find", "--sort", "-result.k", "--limit", "5"], columns);
        assert_eq!(shown.matches("s⁻¹").count(), 5, "{shown}");
        assert!(
            !shown
                .lines()
                .any(|line| line.contains("±…") || line.contains("…s⁻¹")),
            "{shown}"
        );
    }
}
