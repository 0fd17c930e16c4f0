//! `--dry-run` changes nothing: no byte of an archive and no file, with any command that takes it; and whoever offers `--json`
//! prints JSON.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use curvary_tests::{copy_folder, root, run, status};

/// Every command that takes `--dry-run`, each with lines that would change something without it, and whether such a line is
/// refused at once because it names a file to be written.
const LINES: &[(&str, &[&str], bool)] = &[
    ("add", &["add", "more"], false),
    ("reread", &["reread"], false),
    ("run", &["run", "weekly"], false),
    ("fit", &["fit", "b6570f5e", "--model", "zero-order"], false),
    (
        "fit",
        &[
            "fit",
            "b6570f5e",
            "--model",
            "zero-order",
            "--points",
            "points.csv",
        ],
        true,
    ),
    (
        "fit",
        &[
            "fit",
            "b6570f5e",
            "--model",
            "zero-order",
            "--figures",
            "pictures",
        ],
        true,
    ),
    (
        "fit",
        &[
            "fit",
            "b6570f5e",
            "fe7f9f96",
            "--model",
            "first-order",
            "--share",
            "k",
        ],
        false,
    ),
    (
        "rates",
        &["rates", "enzyme:phosphatase", "--law", "michaelis-menten"],
        false,
    ),
    (
        "temperature",
        &[
            "temperature",
            "sample:betanin",
            "technique:time-course",
            "--model",
            "first-order",
        ],
        false,
    ),
    ("scans", &["scans", "technique:spectral-time-course"], false),
    ("scans", &["scans", "3ac6768a", "--out", "scans.csv"], true),
    (
        "scans",
        &["scans", "3ac6768a", "--concentrations", "scans.csv"],
        true,
    ),
    ("peaks", &["peaks", "technique:spectrum"], false),
    ("quantify", &["quantify", "path:calibration", "--line"], false),
    ("check", &["check", "potassium chloride"], false),
    (
        "process",
        &[
            "process",
            "technique:spectrum",
            "--step",
            "smooth(window=11, order=3)",
        ],
        false,
    ),
    (
        "process",
        &["process", "technique:spectrum", "--out", "all.csv"],
        true,
    ),
    ("results", &["results", "has:result", "--undo", "--yes"], false),
];

/// Every file below a folder with its bytes; what a lock or a cache would leave is a file too.
fn all_files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(inner) = folders.pop() {
        for entry in fs::read_dir(&inner).expect("a folder") {
            let path = entry.expect("an entry").path();
            let name = path
                .strip_prefix(folder)
                .expect("it lies in it")
                .display()
                .to_string();
            if path.is_dir() {
                // The settings and the cache of the person are no part of the archive.
                if !name.starts_with('.') {
                    folders.push(path);
                }
                all.insert(name, Vec::new());
            } else {
                all.insert(name, fs::read(&path).expect("a file"));
            }
        }
    }
    all
}

/// The commands whose help offers an option.
fn offering(folder: &Path, option: &str) -> BTreeSet<String> {
    let help = run(folder, &["help"]);
    let help = String::from_utf8_lossy(&help.stdout).into_owned();
    let names = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| line.starts_with("  "))
        // What goes on from the line above is indented further.
        .filter_map(|line| {
            line.strip_prefix("  ")
                .filter(|line| !line.starts_with(' '))?
                .split(' ')
                .next()
        })
        .filter(|name| *name != "help");
    let offers = |name: &str| {
        let help = run(folder, &[name, "--help"]);
        String::from_utf8_lossy(&help.stdout).contains(option)
    };
    let names: Vec<&str> = names.collect();
    assert!(names.len() > 20, "the commands are listed: {names:?}");
    names
        .into_iter()
        .filter(|name| offers(name))
        .map(str::to_owned)
        .collect()
}

#[test]
fn a_dry_run_changes_no_byte() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let demo = root().join("demo-data").display().to_string();
    // Invented: a solution that lets almost no light through at 198 nm.
    fs::write(
        folder.join("kcl.csv"),
        "sample: potassium chloride in water\nwavelength (nm),absorbance\n196,2.8\n197,2.7\n198,2.6\n199,2.05\n200,2.0\n",
    )
    .expect("a file");
    let _ = run(folder, &["add", &demo, "kcl.csv", "--archive", "lab"]);
    fs::create_dir_all(folder.join("more")).expect("a folder");
    fs::write(
        folder.join("more/new.csv"),
        "time (s),absorbance\n0,0.9\n10,0.8\n20,0.7\n30,0.6\n",
    )
    .expect("a file");
    for line in [
        &["fit", "e51f728c", "--model", "first-order", "--archive", "lab"][..],
        &[
            "run",
            "weekly",
            "--query",
            "betanin",
            "--save",
            "peaks {query}",
            "--save",
            "export {query} --to csv --out w.csv",
            "--archive",
            "lab",
        ],
    ] {
        let output = run(folder, line);
        assert_eq!(
            status(&output),
            Some(0),
            "{line:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
    // An index that is brought up to date by asking is none of what a dry run changes.
    let _ = run(folder, &["find", "betanin", "--archive", "lab"]);
    let walked: BTreeSet<String> = LINES.iter().map(|(name, ..)| (*name).to_owned()).collect();
    assert_eq!(
        walked,
        offering(folder, "--dry-run"),
        "every command that offers it is walked"
    );
    let before = all_files(folder);
    for (_, line, refused) in LINES {
        let mut line = line.to_vec();
        line.extend(["--archive", "lab", "--dry-run"]);
        let output = run(folder, &line);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        if *refused {
            assert_eq!(status(&output), Some(2), "{line:?}: {said}");
        } else {
            assert!(
                matches!(status(&output), Some(0 | 1)),
                "{line:?}: {:?} {said}",
                status(&output)
            );
        }
        let after = all_files(folder);
        let changed: Vec<&String> = after
            .iter()
            .filter(|(name, bytes)| before.get(*name) != Some(bytes))
            .map(|(name, _)| name)
            .chain(before.keys().filter(|name| !after.contains_key(*name)))
            .collect();
        assert!(changed.is_empty(), "{line:?} changes {changed:?}");
    }
    // And the results are really there still.
    let output = run(folder, &["results", "has:result", "--archive", "lab"]);
    assert_eq!(
        status(&output),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// A bundle is made of an archive; files alone are refused on the command line, and nothing is written or said to be.
#[test]
fn files_alone_become_no_bundle() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    fs::write(
        folder.join("a.csv"),
        "wavelength (nm),absorbance\n400,0.1\n410,0.2\n420,0.3\n430,0.2\n",
    )
    .expect("a file");
    for line in [
        &["convert", "a.csv", "--to", "bundle", "--out", "out"][..],
        &["process", "a.csv", "--to", "bundle", "--out", "out.zip"],
    ] {
        let output = run(folder, line);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(status(&output), Some(2), "{line:?}: {said}");
        assert_eq!(
            said.matches("a bundle is packed from runs of an archive").count(),
            1,
            "{said}"
        );
        assert!(
            !folder.join("out").exists() && !folder.join("out.zip").exists(),
            "{line:?}"
        );
        let help = run(folder, &[line[0], "--help"]);
        assert!(
            !String::from_utf8_lossy(&help.stdout).contains("bundle:"),
            "it is not offered"
        );
    }
    // What a command does not do is no option of it.
    for option in ["--dry-run", "--json"] {
        let output = run(folder, &["plot", "a.csv", "--out", "a.svg", option]);
        assert_eq!(status(&output), Some(2));
        assert!(!folder.join("a.svg").exists());
    }
}

/// A line of every command that offers `--json`.
const AS_JSON: &[&[&str]] = &[
    &["status"],
    &["add", "demo-data"],
    &["fields"],
    &["find", "betanin"],
    &["fit", "e51f728c", "--model", "first-order"],
    &["rates", "enzyme:phosphatase"],
    &["scans", "technique:spectral-time-course"],
    &["temperature", "sample:betanin", "--model", "first-order"],
    &["results", "has:result"],
    &["run"],
    &["peaks", "technique:spectrum"],
    &[
        "process",
        "technique:spectrum",
        "--step",
        "smooth(window=11, order=3)",
    ],
    &["quantify", "path:calibration", "--line"],
    &["check", "technique:spectrum", "--as", "zero"],
    &["show", "e51f728c"],
    &["explain", "axis-unknown"],
    &["worklist"],
    &["answer", "--list"],
    &["vocabulary"],
    &["reread"],
    &["convert", "demo-data/2016", "--to", "csv", "--out", "converted"],
    &["verify"],
    &["backup", "copy"],
    &["restore", "copy", "restored"],
    &["readers", "list"],
];

#[test]
fn whoever_offers_json_prints_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let demo = root().join("demo-data");
    for entry in ["2016", "2017", "2020", "2021", "2023"] {
        let to = folder.join("demo-data").join(entry);
        copy_folder(&demo.join(entry), &to);
    }
    let _ = run(folder, &["add", "demo-data", "--archive", "lab"]);
    let walked: BTreeSet<String> = AS_JSON.iter().map(|line| line[0].to_owned()).collect();
    assert_eq!(
        walked,
        offering(folder, "--json"),
        "every command that offers it is walked"
    );
    for line in AS_JSON {
        let mut line = line.to_vec();
        line.extend(["--archive", "lab", "--json"]);
        let output = run(folder, &line);
        let said = String::from_utf8_lossy(&output.stdout);
        let parsed: Result<serde_json::Value, _> = serde_json::from_str(&said);
        assert!(
            parsed.is_ok_and(|value| value.is_object() || value.is_array()),
            "{line:?} prints `{said}`, and says {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
}
