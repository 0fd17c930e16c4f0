//! What is handed over: tables, workbooks, reports and bundles of the demonstration data, and the ways in which it is
//! refused before work is lost.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::Path;

use curvary_formats::{Readers, Source};
use curvary_tests::{call, root, run, status};

/// An archive of some of the demonstration data, with results.
fn laboratory(folder: &Path) {
    let data = root().join("demo-data");
    let data = data.to_str().unwrap();
    let added = call(folder, &["add", data, "--archive", "lab", "--quiet"])
        .output()
        .unwrap();
    assert_eq!(
        status(&added),
        Some(1),
        "{}",
        String::from_utf8_lossy(&added.stderr)
    );
    let fitted = call(
        folder,
        &[
            "fit",
            "betanin",
            "technique:time-course",
            "temperature:37C",
            "--model",
            "first-order+offset",
            "--archive",
            "lab",
        ],
    )
    .output()
    .unwrap();
    assert!(status(&fitted).is_some_and(|status| status <= 1));
}

fn export(folder: &Path, words: &[&str]) -> (Option<i32>, String) {
    let all = ["export"]
        .iter()
        .chain(words)
        .chain(&["--archive", "lab"])
        .copied()
        .collect::<Vec<_>>();
    let output = run(folder, &all);
    let told = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    (status(&output), told)
}

/// The members of a ZIP file.
fn members(path: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut all = BTreeMap::new();
    for at in 0..zip.len() {
        let mut member = zip.by_index(at).unwrap();
        let mut bytes = Vec::new();
        member.read_to_end(&mut bytes).unwrap();
        all.insert(member.name().unwrap().into_owned(), bytes);
    }
    all
}

/// Every file below a folder.
fn left_behind(folder: &Path) -> Vec<String> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.ends_with("lab") {
            all.extend(left_behind(&path));
            all.push(path.display().to_string());
        } else if !path.is_dir() {
            all.push(path.display().to_string());
        }
    }
    all
}

#[test]
fn a_bundle_is_whole_and_tells_no_names() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = ["date:2016..2021", "--to", "bundle", "--dated", "2026-01-02"];
    let (ending, told) = export(folder, &[&words[..], &["--out", "handover.zip"]].concat());
    assert_eq!(ending, Some(0), "{told}");
    assert!(told.contains("left out: operator"), "{told}");
    let all = members(&folder.join("handover.zip"));
    for name in [
        "bagit.txt",
        "bag-info.txt",
        "manifest-sha512.txt",
        "tagmanifest-sha512.txt",
        "data/README.md",
        "data/datapackage.json",
        "data/ro-crate-metadata.json",
        "data/report.html",
        "data/curves.svg",
        "data/runs.jsonl",
        "data/tables/runs.csv",
        "data/tables/curves.csv",
        "data/tables/points.csv",
        "data/tables/results.csv",
        "data/tables/origins.csv",
    ] {
        assert!(all.contains_key(&format!("handover/{name}")), "{name} is missing");
    }
    let manifest = String::from_utf8(all["handover/manifest-sha512.txt"].clone()).unwrap();
    let listed: Vec<&str> = manifest
        .lines()
        .map(|line| line.split_once("  ").unwrap().1)
        .collect();
    let payload: Vec<&str> = all
        .keys()
        .filter_map(|name| name.strip_prefix("handover/"))
        .filter(|name| name.starts_with("data/"))
        .collect();
    assert_eq!(listed, payload);
    // Names of operators and paths of the demonstration data, as their own generator says them.
    let everything: String = all
        .values()
        .map(|bytes| String::from_utf8_lossy(bytes).into_owned())
        .collect();
    assert!(!everything.contains("demo-data/"), "a path is there");
    export(folder, &["date:2016..2021", "--to", "json", "--out", "all.json"]);
    let whole = fs::read_to_string(folder.join("all.json")).unwrap();
    let whole: serde_json::Value = serde_json::from_str(&whole).unwrap();
    let mut tried = 0;
    for one in whole["runs"].as_array().unwrap() {
        if let Some(operator) = one["fields"]["operator"]["value"]
            .as_str()
            .filter(|name| name.len() > 2)
        {
            assert!(!everything.contains(operator), "`{operator}` is there");
            tried += 1;
        }
    }
    assert!(tried > 0);
    // Nothing that was half written is left, and the same is packed again byte for byte.
    assert!(
        left_behind(folder)
            .iter()
            .all(|name| !name.contains(".making") && !name.contains(".part"))
    );
    fs::create_dir(folder.join("again")).unwrap();
    export(folder, &[&words[..], &["--out", "again/handover.zip"]].concat());
    assert_eq!(
        fs::read(folder.join("handover.zip")).unwrap(),
        fs::read(folder.join("again/handover.zip")).unwrap()
    );
}

#[test]
fn originals_come_along_bit_for_bit_if_nothing_is_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = ["date:2019", "--to", "bundle", "--originals", "--out", "all.zip"];
    let (ending, told) = export(folder, &words);
    assert_eq!(ending, Some(2), "{told}");
    assert!(!folder.join("all.zip").exists());
    let (ending, told) = export(folder, &[&words[..], &["--with", "operator,path"]].concat());
    assert_eq!(ending, Some(0), "{told}");
    let all = members(&folder.join("all.zip"));
    let mut tried = 0;
    for (name, bytes) in &all {
        if let Some((_, path)) = name.split_once("data/originals/") {
            let path = root()
                .join("demo-data")
                .join(path.split_once("demo-data/").unwrap().1);
            assert_eq!(&fs::read(path).unwrap(), bytes, "{name}");
            tried += 1;
        }
    }
    assert!(tried > 2);
}

/// On another machine a bundle with its originals gives the same runs under the same names, with notes and results.
#[test]
fn a_bundle_comes_home() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let query = ["betanin", "temperature:37C", "date:2016"];
    let noted = run(
        folder,
        &[
            "note",
            "--where",
            "betanin temperature:37C date:2016",
            "solvent=water",
            "--yes",
            "--archive",
            "lab",
        ],
    );
    let noted = status(&noted) == Some(0);
    let words = [
        "--to",
        "bundle",
        "--originals",
        "--with",
        "operator,path",
        "--out",
        "all.zip",
    ];
    let (ending, told) = export(folder, &[&query[..], &words].concat());
    assert_eq!(ending, Some(0), "{told}");
    let added = run(folder, &["add", "all.zip", "--archive", "there"]);
    assert_eq!(
        status(&added),
        Some(0),
        "{}",
        String::from_utf8_lossy(&added.stderr)
    );
    let ids = |archive: &str| {
        let found = run(
            folder,
            &[
                "find",
                "betanin",
                "temperature:37C",
                "date:2016",
                "--ids",
                "--archive",
                archive,
            ],
        );
        let text = String::from_utf8(found.stdout).unwrap();
        let mut ids: Vec<String> = text.lines().map(str::to_owned).collect();
        ids.sort();
        ids
    };
    assert!(!ids("lab").is_empty());
    assert_eq!(ids("there"), ids("lab"));
    let results = |archive: &str| {
        let all = run(
            folder,
            &[
                "results",
                "betanin temperature:37C date:2016",
                "--csv",
                "--archive",
                archive,
            ],
        );
        let text = String::from_utf8(all.stdout).unwrap();
        // The paths differ: there they begin with the bundle's.
        text.lines().filter(|line| line.contains("first-order")).count()
    };
    assert!(results("lab") > 0);
    assert_eq!(results("there"), results("lab"));
    if noted {
        let shown = run(folder, &["show", &ids("there")[0], "--archive", "there"]);
        assert!(String::from_utf8_lossy(&shown.stdout).contains("water"));
    }
    // Twice changes nothing, and a bundle without originals says what is wrong with it.
    let again = run(folder, &["add", "all.zip", "--archive", "there"]);
    assert!(!String::from_utf8_lossy(&again.stderr).contains("of the bundle kept"));
    let (ending, _) = export(
        folder,
        &[&query[..], &["--to", "bundle", "--out", "bare.zip"]].concat(),
    );
    assert_eq!(ending, Some(0));
    let bare = run(folder, &["add", "bare.zip", "--archive", "there"]);
    assert!(String::from_utf8_lossy(&bare.stderr).contains("bundle-without-originals"));
}

/// A file of courses at three wavelengths, which fall at other rates; `scale` multiplies those at the second.
fn courses(path: &Path, scale: f64) {
    let rows: String = (0..40)
        .map(|at| {
            let t = f64::from(at) * 5.0;
            let y = |rate: f64| 0.1 + 0.8 * (-rate * t).exp();
            format!("{t}\t{:.5}\t{:.5}\t{:.5}\n", y(0.01), scale * y(0.03), y(0.05))
        })
        .collect();
    let text = format!(
        "Sample: invented\nTime (s)\tAbsorbance 405 nm\tAbsorbance 420 nm\tAbsorbance 450 nm\n{rows}"
    );
    fs::write(path, text).unwrap();
}

/// What tables say of a trace, and results of one, means the same trace of the run whether all of the run is handed over or only
/// what a query asks for; and at home the results are on the traces on which they were.
#[test]
fn a_part_of_a_run_keeps_its_numbers_and_comes_home() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    courses(&folder.join("in/courses.txt"), 1.0);
    let quiet = |words: &[&str]| {
        let done = run(folder, words);
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(status(&done), Some(0), "{words:?}: {told}");
        (String::from_utf8(done.stdout).unwrap(), told)
    };
    quiet(&["add", "in", "--archive", "lab"]);
    quiet(&[
        "fit",
        "sample:invented",
        "--model",
        "first-order+offset",
        "--archive",
        "lab",
    ]);
    let results = |archive: &str| -> BTreeMap<String, serde_json::Value> {
        let (text, _) = quiet(&["show", "sample:invented", "--json", "--archive", archive]);
        let all: serde_json::Value = serde_json::from_str(&text).unwrap();
        let results = all[0]["results"].as_array().unwrap().iter();
        results
            .map(|result| (result["id"].as_str().unwrap().to_owned(), result["trace"].clone()))
            .collect()
    };
    let ours = results("lab");
    assert_eq!(ours.len(), 3);
    let (ending, told) = export(
        folder,
        &[
            "wavelength:450nm",
            "--to",
            "bundle",
            "--originals",
            "--with",
            "operator,path",
            "--out",
            "part.zip",
        ],
    );
    assert_eq!(ending, Some(0), "{told}");
    quiet(&["add", "part.zip", "--archive", "there"]);
    let theirs = results("there");
    assert_eq!(theirs.len(), 1);
    for (id, trace) in &theirs {
        assert_eq!(
            trace, &ours[id],
            "a result is on the trace that it was computed of"
        );
        assert_eq!(trace, 2);
    }
    // The keys of a table are those of a table of the whole run.
    for (query, name) in [("wavelength:450nm", "part"), ("sample:invented", "all")] {
        assert_eq!(
            export(folder, &[query, "--to", "csv", "--out", &format!("{name}.csv")]).0,
            Some(0)
        );
        assert_eq!(
            export(folder, &[query, "--to", "tables", "--out", name]).0,
            Some(0)
        );
    }
    let lines = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
    for table in ["all.csv", "all/points.csv", "all/curves.csv", "all/results.csv"] {
        let all = lines(table);
        let part = lines(&table.replace("all", "part"));
        assert!(part.lines().count() > 1);
        for line in part.lines().skip(1) {
            assert!(all.lines().any(|other| other == line), "{table}: {line}");
        }
    }
    // The page of the report names the trace by its number and draws its fit.
    let members = members(&folder.join("part.zip"));
    let (_, page) = members
        .iter()
        .find(|(name, _)| name.ends_with("report.html"))
        .unwrap();
    let page = String::from_utf8_lossy(page);
    assert!(!page.contains("No picture"));
}

/// Results come home to the curves that they were computed of, not to whatever is read of the bytes by that name: where the
/// original is read otherwise there, they are not kept, and told.
#[test]
fn results_are_not_put_on_other_curves() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    courses(&folder.join("in/courses.txt"), 1.0);
    let quiet = |words: &[&str]| {
        let done = run(folder, words);
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(status(&done).is_some_and(|code| code <= 1), "{words:?}: {told}");
        (String::from_utf8(done.stdout).unwrap(), told)
    };
    quiet(&["add", "in", "--archive", "lab"]);
    quiet(&[
        "fit",
        "sample:invented",
        "--model",
        "first-order+offset",
        "--archive",
        "lab",
    ]);
    quiet(&[
        "note",
        "--where",
        "sample:invented",
        "solvent=water",
        "--yes",
        "--archive",
        "lab",
    ]);
    let (ending, told) = export(
        folder,
        &[
            "sample:invented",
            "--to",
            "bundle",
            "--originals",
            "--with",
            "operator,path",
            "--out",
            "all",
        ],
    );
    assert_eq!(ending, Some(0), "{told}");
    // As if another version had read the second course otherwise: its values are other ones in the bundle, whose manifest is
    // made anew.
    let lines = folder.join("all/data/runs.jsonl");
    let text = fs::read_to_string(&lines).unwrap();
    let mut line: serde_json::Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
    assert_eq!(text.lines().count(), 1);
    let first = &mut line["run"]["traces"][1]["y"]["values"][0];
    *first = serde_json::json!(first.as_f64().unwrap() + 0.25);
    fs::write(&lines, format!("{line}\n")).unwrap();
    sealed(&folder.join("all"));
    let (_, told) = quiet(&["add", "all", "--archive", "there"]);
    assert!(told.contains("1 result of the bundle was not kept"), "{told}");
    let (shown, _) = quiet(&["show", "sample:invented", "--json", "--archive", "there"]);
    let shown: serde_json::Value = serde_json::from_str(&shown).unwrap();
    let mut traces: Vec<u64> = shown[0]["results"]
        .as_array()
        .unwrap()
        .iter()
        .map(|result| result["trace"].as_u64().unwrap())
        .collect();
    traces.sort_unstable();
    assert_eq!(traces, [0, 2]);
    assert_eq!(
        shown[0]["notes"].as_array().unwrap().len(),
        1,
        "it stands on the same lines"
    );
}

/// Makes the manifests of a bag anew (RFC 8493).
fn sealed(bag: &Path) {
    use sha2::Digest as _;
    let manifest = fs::read_to_string(bag.join("manifest-sha512.txt")).unwrap();
    let sealed: String = manifest
        .lines()
        .map(|line| {
            let (_, name) = line.split_once("  ").unwrap();
            let digest = sha2::Sha512::digest(fs::read(bag.join(name)).unwrap());
            let digits: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
            format!("{digits}  {name}\n")
        })
        .collect();
    fs::write(bag.join("manifest-sha512.txt"), sealed).unwrap();
}

/// Whatever a bundle went through on its way, a copied folder, packed again in another order or without the folder around it:
/// the same runs under the same names, read by the same answers, words, rules for names and layouts, with notes, tags, results and
/// saved sequences. An archive that has files of its own is told of words and sequences and keeps its own.
#[test]
#[expect(clippy::too_many_lines, reason = "cases one after another")]
fn a_bundle_comes_home_however_it_was_carried() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let data = root().join("demo-data");
    let data = data.to_str().unwrap();
    let quiet = |words: &[&str]| {
        let done = run(folder, words);
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(status(&done).is_some_and(|code| code <= 1), "{words:?}: {told}");
        String::from_utf8(done.stdout).unwrap()
    };
    quiet(&["add", data, "--archive", "lab", "--quiet"]);
    // Questions are answered, so that their file is no longer in question.
    for (kind, answer) in [
        ("absorbance-or-transmittance", "y=absorbance"),
        ("axis-unknown", "x=time:s"),
    ] {
        let asked = quiet(&["worklist", "--json", "--archive", "lab"]);
        let asked: serde_json::Value = serde_json::from_str(&asked).unwrap();
        let mut questions = asked["questions"].as_array().unwrap().iter();
        let about = |question: &&serde_json::Value| {
            question["kind"] == kind && question["examples"].to_string().contains("two-columns.csv")
        };
        let id = questions.find(about).unwrap()["id"].as_str().unwrap();
        quiet(&["answer", id, answer, "--archive", "lab"]);
    }
    quiet(&[
        "note",
        "--where",
        "betanin date:2016",
        "tag=thesis",
        "--yes",
        "--archive",
        "lab",
    ]);
    quiet(&[
        "fit",
        "betanin date:2016 technique:time-course",
        "--model",
        "first-order+offset",
        "--archive",
        "lab",
    ]);
    quiet(&[
        "run",
        "weekly",
        "--query",
        "betanin",
        "--save",
        "fit {query} --model first-order",
        "--archive",
        "lab",
    ]);
    // A word of the house, and a layout that fits none of the files.
    let settings = fs::read_to_string(folder.join("lab/archive.toml")).unwrap();
    fs::write(
        folder.join("lab/archive.toml"),
        format!("{settings}\n[words]\njacket = \"temperature\"\n"),
    )
    .unwrap();
    fs::create_dir_all(folder.join("lab/layouts")).unwrap();
    let layout = root().join("plugins/layouts/cell-changer.toml");
    fs::copy(layout, folder.join("lab/layouts/none.toml")).unwrap();
    for out in ["all.zip", "unpacked"] {
        quiet(&[
            "export",
            "technique:time-course",
            "--even-in-question",
            "--to",
            "bundle",
            "--originals",
            "--with",
            "operator,path",
            "--out",
            out,
            "--archive",
            "lab",
        ]);
    }
    // Packed again by hand: backwards, and without the folder around it.
    let all = members(&folder.join("all.zip"));
    let packed_again = |name: &str, front: &str| {
        let mut zip = zip::ZipWriter::new(fs::File::create(folder.join(name)).unwrap());
        for (member, bytes) in all.iter().rev() {
            let member = format!("{front}{}", member.strip_prefix("all/").unwrap());
            zip.start_file(member, zip::write::SimpleFileOptions::default())
                .unwrap();
            std::io::Write::write_all(&mut zip, bytes).unwrap();
        }
        zip.finish().unwrap();
    };
    packed_again("other.zip", "Handed over, 2/");
    packed_again("bare.zip", "");
    let lines = |archive: &str, words: &[&str]| {
        let text = quiet(&[words, &["--archive", archive]].concat());
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        lines.sort();
        lines
    };
    let ids = |archive: &str| lines(archive, &["find", "technique:time-course", "--ids"]);
    let tagged = |archive: &str| lines(archive, &["find", "tag:thesis", "technique:time-course", "--ids"]);
    let results = |archive: &str| {
        let all = lines(archive, &["results", "technique:time-course", "--json"]).join("");
        all.matches("first-order+offset").count()
    };
    assert!(!tagged("lab").is_empty() && results("lab") > 0);
    for (at, carried) in ["all.zip", "other.zip", "bare.zip", "unpacked"]
        .into_iter()
        .enumerate()
    {
        let there = format!("there{at}");
        let added = run(folder, &["add", carried, "--archive", &there]);
        let told = String::from_utf8_lossy(&added.stderr).into_owned();
        // Some runs are in question there as here.
        assert!(status(&added).is_some_and(|code| code <= 1), "{carried}: {told}");
        assert!(told.contains("2 answers of the bundle kept"), "{carried}: {told}");
        assert!(!told.contains("bundle-not-taken-in"), "{carried}: {told}");
        // Several runs may stand in one original: those that were not exported come along with it.
        let here = ids(&there);
        let missing: Vec<_> = ids("lab").into_iter().filter(|id| !here.contains(id)).collect();
        assert!(missing.is_empty(), "{carried}: {missing:?}");
        assert_eq!(tagged(&there), tagged("lab"), "{carried}");
        assert_eq!(results(&there), results("lab"), "{carried}");
        assert!(
            told.contains("1 local word, 1 saved sequence, 1 layout of the bundle kept"),
            "{told}"
        );
        assert!(quiet(&["run", "--archive", &there]).contains("weekly"));
        let settings = fs::read_to_string(folder.join(&there).join("archive.toml")).unwrap();
        assert!(settings.contains("jacket"), "{settings}");
        assert!(folder.join(&there).join("layouts/none.toml").is_file());
        // Twice changes nothing.
        let again = run(folder, &["add", carried, "--archive", &there]);
        let told = String::from_utf8_lossy(&again.stderr).into_owned();
        assert!(!told.contains("of the bundle kept"), "{carried}: {told}");
    }
    // An archive of somebody's own.
    fs::write(folder.join("mine.csv"), course(1)).unwrap();
    quiet(&["add", "mine.csv", "--archive", "mine", "--quiet"]);
    let before = fs::read(folder.join("mine/archive.toml")).unwrap();
    let added = run(folder, &["add", "all.zip", "--archive", "mine"]);
    let told = String::from_utf8_lossy(&added.stderr).into_owned();
    assert!(
        told.contains("1 local word, 1 saved sequence, 1 layout of the bundle left alone"),
        "{told}"
    );
    assert_eq!(fs::read(folder.join("mine/archive.toml")).unwrap(), before);
    assert!(!folder.join("mine/layouts").exists());
}

/// Of what a bundle holds, the tables are those of `--to tables` and the lines those of `--to json-lines`: what is found again in
/// these is found again in it.
#[test]
fn a_bundle_holds_what_tables_and_lines_hold() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = |to: &'static str, out: &'static str| {
        ["date:1900..2100", "--even-in-question", "--to", to, "--out", out]
    };
    for (to, out) in [("tables", "tables"), ("json-lines", "all.jsonl")] {
        assert_eq!(export(folder, &words(to, out)).0, Some(0));
    }
    let bundle = [&words("bundle", "all.zip")[..], &["--with", "operator,path"]].concat();
    assert_eq!(export(folder, &bundle).0, Some(0));
    let all = members(&folder.join("all.zip"));
    for name in ["runs", "curves", "points", "results"] {
        let own = fs::read(folder.join(format!("tables/{name}.csv"))).unwrap();
        assert!(all[&format!("all/data/tables/{name}.csv")] == own, "{name}");
    }
    assert!(all["all/data/runs.jsonl"] == fs::read(folder.join("all.jsonl")).unwrap());
}

/// The workbook is read by our own reader of workbooks, which another library opens: the numbers come home.
#[test]
fn a_workbook_has_every_point() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let (ending, told) = export(
        folder,
        &[
            "date:2016",
            "technique:spectrum",
            "--to",
            "xlsx",
            "--out",
            "a.xlsx",
        ],
    );
    assert_eq!(ending, Some(0), "{told}");
    let source = Source::new("a.xlsx", fs::read(folder.join("a.xlsx")).unwrap());
    let readers = Readers::built_in();
    let (card, _) = readers.read(&source, None);
    assert_eq!(card.map(|card| card.id.as_str()), Some("built-in/spreadsheet"));
    let names = members(&folder.join("a.xlsx"));
    let book = String::from_utf8_lossy(&names["xl/workbook.xml"]).into_owned();
    for sheet in ["runs", "curves", "points", "results", "columns"] {
        assert!(book.contains(&format!("name=\"{sheet}\"")), "{book}");
    }
}

/// A file of a few points under some lines of keys.
fn short(keys: &str) -> String {
    format!("{keys}\nTime (s)\tAbsorbance\n0\t0.5\n1\t0.4\n2\t0.3\n3\t0.25\n")
}

#[test]
fn names_are_left_out_however_their_blanks_are_written() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    for (name, comment) in [
        ("a", "by Example  Person"),
        ("b", "of Example_Person"),
        ("c", "Example\tPerson said so"),
    ] {
        let text = short(&format!(
            "Sample: {name}\nOperator: Example Person\nComment: {comment}\nDate: 2020-03-27"
        ));
        fs::write(folder.join(format!("in/{name}.txt")), text).unwrap();
    }
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let (ending, told) = export(folder, &["", "--to", "bundle", "--out", "a.zip"]);
    assert_eq!(ending, Some(0), "{told}");
    assert!(
        told.contains("`--without comment` leaves comments out too"),
        "{told}"
    );
    for (name, bytes) in members(&folder.join("a.zip")) {
        let text = String::from_utf8_lossy(&bytes);
        assert!(!text.contains("Person"), "{name}");
    }
    // What the command line itself would tell is refused with its place, in every form.
    for (to, out) in [("bundle", "b.zip"), ("report", "b.html"), ("report", "b.pdf")] {
        let words = ["", "--to", to, "--out", out, "--title", "Data of example person"];
        let (ending, told) = export(folder, &words);
        assert_eq!(ending, Some(3), "{told}");
        assert!(
            told.contains("stands in the title") && told.contains("`--title`"),
            "{told}"
        );
        assert!(told.contains("the Operator of run"), "{told}");
    }
    let words = [
        "",
        "--to",
        "bundle",
        "--out",
        "b.zip",
        "--without",
        "date",
        "--dated",
        "2020-03-27",
    ];
    let (ending, told) = export(folder, &words);
    assert_eq!(ending, Some(3), "{told}");
    assert!(told.contains("`--dated`"), "{told}");
    assert!(!folder.join("b.zip").exists());
}

#[test]
fn originals_that_hold_more_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    let two = format!("{}\n\n{}", short("Sample: first"), short("Sample: second"));
    fs::write(folder.join("in/two.txt"), two).unwrap();
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let words = [
        "sample:second",
        "--to",
        "bundle",
        "--originals",
        "--with",
        "operator,path",
        "--out",
        "a.zip",
    ];
    let (ending, told) = export(folder, &words);
    assert_eq!(ending, Some(0), "{told}");
    assert!(told.contains("the originals hold 1 run more"), "{told}");
    let all = members(&folder.join("a.zip"));
    let readme = all
        .iter()
        .find(|(name, _)| name.ends_with("data/README.md"))
        .unwrap()
        .1;
    assert!(String::from_utf8_lossy(readme).contains("The originals hold 1 run more"));
}

#[test]
fn results_of_runs_that_are_not_written_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    for (name, rate) in [("a", 0.02_f64), ("b", 0.03)] {
        let rows: String = (0..30)
            .map(|at| format!("{at}\t{:.4}\n", 0.1 + 0.8 * (-rate * f64::from(at)).exp()))
            .collect();
        let text = format!("Sample: {name}\nTime (s)\tAbsorbance\n{rows}");
        fs::write(folder.join(format!("in/{name}.txt")), text).unwrap();
    }
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let words = [
        "fit",
        "technique:time-course",
        "--model",
        "first-order+offset",
        "--share",
        "k",
        "--archive",
        "lab",
    ];
    let fitted = run(folder, &words);
    assert!(
        status(&fitted).is_some_and(|status| status <= 1),
        "{}",
        String::from_utf8_lossy(&fitted.stderr)
    );
    let (ending, told) = export(folder, &["sample:a", "--to", "json", "--out", "a.json"]);
    assert_eq!(ending, Some(0), "{told}");
    assert!(
        told.contains("about runs too that are not written here"),
        "{told}"
    );
    let (_, told) = export(
        folder,
        &["technique:time-course", "--to", "json", "--out", "b.json"],
    );
    assert!(!told.contains("not written here"), "{told}");
}

#[test]
fn one_run_in_fahrenheit_leaves_the_others_in_degrees_celsius() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    let degrees = ["21 °C", "22.5 °C", "23 °C", "77 °F", "298.15 K"];
    for (at, temperature) in degrees.iter().enumerate() {
        fs::write(
            folder.join(format!("in/{at}.txt")),
            short(&format!("Temperature: {temperature}")),
        )
        .unwrap();
    }
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let (ending, told) = export(folder, &["", "--to", "tables", "--out", "t"]);
    assert_eq!(ending, Some(0), "{told}");
    let table = fs::read_to_string(folder.join("t/runs.csv")).unwrap();
    let head = table.lines().next().unwrap();
    assert!(
        head.contains("temperature_Cel") && !head.contains("degF") && !head.contains("temperature_K"),
        "{head}"
    );
    let at = head
        .split(',')
        .position(|name| name == "temperature_Cel")
        .unwrap();
    let mut found: Vec<f64> = table
        .lines()
        .skip(1)
        .map(|line| line.split(',').nth(at).unwrap().parse().unwrap())
        .collect();
    found.sort_by(f64::total_cmp);
    assert_eq!(found, [21.0, 22.5, 23.0, 25.0, 25.0]);
}

#[test]
fn where_a_folder_stands_nothing_is_written_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir_all(folder.join("in")).unwrap();
    fs::create_dir(folder.join("d")).unwrap();
    fs::write(folder.join("in/a.txt"), short("Sample: a")).unwrap();
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let before = left_behind(folder);
    let (ending, told) = export(folder, &["sample:a", "--to", "csv", "--out", "d", "--replace"]);
    assert_eq!(ending, Some(3), "{told}");
    assert!(
        told.contains("a folder of this name") && told.contains("name a file"),
        "{told}"
    );
    // Nor where there can be no file at all.
    let long = format!("{}.csv", "x".repeat(300));
    for out in [long.as_str(), "in/a.txt/b.csv", "lab/records/b.csv"] {
        let (ending, told) = export(folder, &["sample:a", "--to", "csv", "--out", out]);
        assert_eq!(ending, Some(3), "{told}");
        assert!(told.contains("cannot write"), "{told}");
    }
    assert_eq!(left_behind(folder), before);
}

#[test]
fn days_are_cells_of_days() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    fs::write(folder.join("in/a.txt"), short("Sample: a\nDate: 2020-03-27")).unwrap();
    fs::write(folder.join("in/b.txt"), short("Sample: b\nDate: 1899-12-31")).unwrap();
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let (ending, told) = export(folder, &["", "--to", "xlsx", "--out", "a.xlsx"]);
    assert_eq!(ending, Some(0), "{told}");
    let all = members(&folder.join("a.xlsx"));
    let sheet = String::from_utf8_lossy(&all["xl/worksheets/sheet1.xml"]).into_owned();
    // 43917 days after the last of 1899, as spreadsheets count.
    assert!(sheet.contains("<v>43917</v>"), "{sheet}");
    assert!(sheet.contains("1899-12-31"), "{sheet}");
    assert!(String::from_utf8_lossy(&all["xl/styles.xml"]).contains("yyyy-mm-dd"));
}

#[test]
fn what_comes_with_a_bundle_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    fs::write(folder.join("in/a.txt"), short("Sample: a")).unwrap();
    assert_eq!(status(&run(folder, &["add", "in", "--archive", "lab"])), Some(0));
    let noted = run(
        folder,
        &[
            "note",
            "sample:a",
            "temperature=26 °C",
            "--yes",
            "--archive",
            "lab",
        ],
    );
    assert_eq!(
        status(&noted),
        Some(0),
        "{}",
        String::from_utf8_lossy(&noted.stderr)
    );
    let words = [
        "sample:a",
        "--to",
        "bundle",
        "--originals",
        "--with",
        "operator,path",
        "--out",
        "theirs.zip",
    ];
    let (ending, told) = export(folder, &words);
    assert_eq!(ending, Some(0), "{told}");
    assert_eq!(
        status(&run(folder, &["add", "theirs.zip", "--archive", "new"])),
        Some(0)
    );
    let shown = run(folder, &["show", "sample:a", "--archive", "new"]);
    let shown = String::from_utf8_lossy(&shown.stdout).into_owned();
    assert!(shown.contains("note by whoever packed theirs.zip"), "{shown}");
    // Where it comes from nothing is said twice.
    let back = run(folder, &["add", "theirs.zip", "--archive", "lab"]);
    let told = format!(
        "{}{}",
        String::from_utf8_lossy(&back.stdout),
        String::from_utf8_lossy(&back.stderr)
    );
    assert!(!told.contains("1 note"), "{told}");
}

#[test]
fn wide_tables_need_one_axis() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (name, from) in [("a", 0), ("b", 0), ("c", 5)] {
        let mut text = format!("sample: {name}\nwavelength: 535 nm\n\ntime (s),absorbance\n");
        for point in 0..12_u32 {
            text += &format!("{},{:.4}\n", from + point * 10, 0.8 - f64::from(point) / 100.0);
        }
        fs::write(folder.join(format!("{name}.csv")), text).unwrap();
    }
    let added = run(
        folder,
        &["add", "a.csv", "b.csv", "c.csv", "--archive", "lab", "--quiet"],
    );
    assert_eq!(status(&added), Some(0));
    let wide = |query: &str, more: &[&str]| {
        export(
            folder,
            &[
                &[query, "--to", "wide-csv", "--out", "wide.csv", "--replace"][..],
                more,
            ]
            .concat(),
        )
    };
    let (ending, told) = wide("sample:a or sample:b", &[]);
    assert_eq!(ending, Some(0), "{told}");
    let text = fs::read_to_string(folder.join("wide.csv")).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].starts_with("time in s,"), "{text}");
    assert_eq!(
        lines[1..5],
        [
            "0,0.8000,0.8000",
            "10,0.7900,0.7900",
            "20,0.7800,0.7800",
            "30,0.7700,0.7700"
        ]
    );
    fs::remove_file(folder.join("wide.csv")).unwrap();
    let (ending, told) = wide("technique:time-course", &[]);
    assert_eq!(ending, Some(3));
    assert!(told.contains("axes-differ") && told.contains("--union"), "{told}");
    assert!(!folder.join("wide.csv").exists());
    let (ending, told) = wide("technique:time-course", &["--union", "--bom"]);
    assert_eq!(ending, Some(0), "{told}");
    let text = fs::read_to_string(folder.join("wide.csv")).unwrap();
    assert!(text.starts_with('\u{FEFF}'));
    assert_eq!(text.lines().count(), 25);
    assert!(
        text.lines()
            .any(|line| line.starts_with("5,") && line.matches("0.8000").count() == 1),
        "{text}"
    );
}

#[test]
fn a_report_is_one_page_without_scripts() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = [
        "betanin",
        "temperature:37C",
        "--to",
        "report",
        "--out",
        "report.html",
        "--title",
        "Beet red at 37 °C",
    ];
    let (ending, told) = export(folder, &words);
    assert_eq!(ending, Some(0), "{told}");
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    for there in [
        "<h1>Beet red at 37 °C</h1>",
        "first-order+offset",
        "<svg",
        "standard error",
        "@media print",
        "residual",
    ] {
        assert!(page.contains(there), "{there} is missing");
    }
    for never in [
        "<script",
        "<link",
        "<iframe",
        " src=",
        "@import",
        "javascript:",
        "demo-data/",
    ] {
        assert!(!page.contains(never), "{never} is there");
    }
}

/// A folder of tables appears whole or not at all, and no file of another person is touched.
#[test]
fn folders_appear_whole() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    for form in ["tables", "parquet"] {
        let (ending, told) = export(folder, &["date:2016", "--to", form, "--out", form]);
        assert_eq!(ending, Some(0), "{told}");
        let count = fs::read_dir(folder.join(form)).unwrap().count();
        assert_eq!(count, if form == "tables" { 5 } else { 4 });
    }
    fs::create_dir(folder.join("theirs")).unwrap();
    fs::write(folder.join("theirs/points.csv"), "measured").unwrap();
    let (ending, _) = export(folder, &["date:2016", "--to", "tables", "--out", "theirs"]);
    assert_eq!(ending, Some(3));
    assert_eq!(left_behind(&folder.join("theirs")).len(), 1);
    assert_eq!(fs::read(folder.join("theirs/points.csv")).unwrap(), b"measured");
}

#[test]
fn a_file_gets_no_second_ending() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    fs::write(
        folder.join("in/leaf 1.csv"),
        "wavelength (nm),absorbance\n400,0.10\n410,0.20\n420,0.30\n430,0.1\n",
    )
    .unwrap();
    let converted = run(folder, &["convert", "in", "--to", "csv", "--out", "out"]);
    assert_eq!(status(&converted), Some(0));
    assert!(
        folder.join("out/leaf 1.curvary.csv").is_file(),
        "{:?}",
        left_behind(&folder.join("out"))
    );
}

/// The manifests of a set of parts, in the order of their names.
fn manifests(set: &Path) -> Vec<serde_json::Value> {
    let mut paths: Vec<_> = fs::read_dir(set.join("manifests"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| serde_json::from_slice(&fs::read(path).unwrap()).unwrap())
        .collect()
}

/// Digests of all files of a set, which is an error where one occurs twice.
fn digests(set: &Path) -> Vec<String> {
    let mut all: Vec<String> = manifests(set)
        .iter()
        .flat_map(|manifest| manifest["sources"].as_array().unwrap().clone())
        .map(|source| source["digest"].as_str().unwrap().to_owned())
        .collect();
    all.sort();
    let count = all.len();
    all.dedup();
    assert_eq!(all.len(), count, "a file is there twice");
    all
}

/// A course of its own for each number.
fn course(number: u32) -> String {
    let mut text = format!("sample: course {number}\nwavelength: 535 nm\n\ntime (s),absorbance\n");
    for point in 0..12_u32 {
        text += &format!(
            "{},{:.4}\n",
            point * 10,
            0.8 - f64::from(point * (number + 1)) / 10_000.0
        );
    }
    text
}

/// Lists that overlap, worked on by several processes at once, again, and after one was cut short: every file counts once,
/// and each table has exactly the files of the manifests.
#[test]
fn parts_count_every_file_once() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for number in 0..40 {
        fs::create_dir_all(folder.join(format!("in/{}", number % 3))).unwrap();
        // Of the same name in several folders, and two with the same bytes.
        let name = folder.join(format!("in/{}/run {}.csv", number % 3, number / 3));
        fs::write(name, course(number.min(38))).unwrap();
    }
    fs::write(folder.join("in/letter.txt"), "nothing was measured here\n").unwrap();
    let mut names: Vec<String> = left_behind(&folder.join("in"))
        .iter()
        .map(Path::new)
        .filter(|path| path.is_file())
        .map(|path| path.strip_prefix(folder).unwrap().display().to_string())
        .collect();
    names.sort();
    let list = |name: &str, some: &[String]| fs::write(folder.join(name), some.join("\n")).unwrap();
    list("a.txt", &names[..25]);
    list("b.txt", &names[15..]);
    list("all.txt", &names);
    let words = |list: &'static str| {
        [
            "convert",
            "--files-from",
            list,
            "--files-a-part",
            "7",
            "--to",
            "parquet",
            "--out",
            "set",
            "--quiet",
        ]
    };
    let workers: Vec<_> = ["a.txt", "b.txt", "a.txt", "all.txt"]
        .into_iter()
        .map(|list| call(folder, &words(list)).spawn().unwrap())
        .collect();
    for mut worker in workers {
        let ended = worker.wait().unwrap();
        assert!(ended.code().is_some_and(|code| code <= 1), "{ended:?}");
    }
    let set = folder.join("set");
    let all = digests(&set);
    assert_eq!(all.len(), 40, "39 courses and a letter");
    let whole = |set: &Path| {
        let listed: Vec<String> = manifests(set)
            .iter()
            .flat_map(|manifest| manifest["files"].as_array().unwrap().clone())
            .map(|file| file.as_str().unwrap().to_owned())
            .collect();
        for table in ["runs", "curves", "points"] {
            let there = fs::read_dir(set.join(table)).unwrap().count();
            let of_table = listed.iter().filter(|file| file.starts_with(table)).count();
            assert_eq!(there, of_table, "{table}");
        }
        assert!(listed.iter().all(|file| set.join(file).is_file()));
    };
    whole(&set);
    let runs: u64 = manifests(&set)
        .iter()
        .map(|one| one["runs"].as_u64().unwrap())
        .sum();
    assert_eq!(runs, 39);
    // Again: nothing is written.
    let before = manifests(&set);
    let again = run(folder, &words("all.txt"));
    assert!(status(&again).is_some_and(|code| code <= 1));
    assert_eq!(manifests(&set), before);
    // A worker that was killed between the tables and the manifest leaves a part that nobody knows; and files that were in
    // a part which is gone are read again.
    let lost = fs::read_dir(set.join("manifests")).unwrap().find_map(|entry| {
        let path = entry.unwrap().path();
        path.extension()
            .is_some_and(|ending| ending == "json")
            .then_some(path)
    });
    fs::remove_file(lost.unwrap()).unwrap();
    fs::write(set.join("points/part-0000000000000000.parquet"), "half").unwrap();
    let mended = run(folder, &words("all.txt"));
    assert!(status(&mended).is_some_and(|code| code <= 1));
    assert_eq!(digests(&set), all);
    whole(&set);
    // The set has the runs under the names that an archive gives them.
    let added = run(folder, &["add", "--parts", "set", "--archive", "lab", "--quiet"]);
    assert!(status(&added).is_some_and(|code| code <= 1));
    let found = run(
        folder,
        &["find", "technique:time-course", "--ids", "--archive", "lab"],
    );
    assert_eq!(String::from_utf8(found.stdout).unwrap().lines().count(), 39);
    // What has changed meanwhile is told.
    fs::write(folder.join("in/0/run 1.csv"), course(77)).unwrap();
    let added = run(folder, &["add", "--parts", "set", "--archive", "lab"]);
    let told = String::from_utf8_lossy(&added.stderr).into_owned();
    assert!(
        told.contains("1 file has changed since the parts were written"),
        "{told}"
    );
    // A folder of something else is left alone.
    fs::create_dir(folder.join("theirs")).unwrap();
    fs::write(folder.join("theirs/a.txt"), "measured").unwrap();
    let refused = run(
        folder,
        &[
            "convert",
            "--files-from",
            "a.txt",
            "--to",
            "parquet",
            "--out",
            "theirs",
        ],
    );
    assert_eq!(status(&refused), Some(2));
    assert_eq!(fs::read_dir(folder.join("theirs")).unwrap().count(), 1);
}

/// The printed report is text: its numbers are found by the reader of printed reports, as it reads those of others.
#[test]
fn a_printed_report_is_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let words = ["betanin", "temperature:37C", "--to", "report"];
    for out in ["report.pdf", "again.pdf", "report.html"] {
        let (ending, told) = export(folder, &[&words[..], &["--out", out]].concat());
        assert_eq!(ending, Some(0), "{told}");
    }
    let pdf = fs::read(folder.join("report.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF-"));
    assert_eq!(pdf, fs::read(folder.join("again.pdf")).unwrap());
    let text = curvary_formats::printed_text(&Source::new("report.pdf", pdf)).unwrap();
    let squeezed = |text: &str| text.split_whitespace().collect::<String>();
    let text = squeezed(&text);
    let html = fs::read_to_string(folder.join("report.html")).unwrap();
    let mut cells = 0;
    for cell in html.split("<td").skip(1) {
        let cell = cell.split_once('>').unwrap().1.split("</td>").next().unwrap();
        let cell = cell
            .rsplit_once("</a>")
            .map_or(cell, |(linked, _)| linked.rsplit('>').next().unwrap());
        // A cell that fills several lines stands in pieces between its neighbours.
        if cell.len() > 20 || cell.contains('&') {
            continue;
        }
        assert!(text.contains(&squeezed(cell)), "`{cell}` is missing");
        cells += 1;
    }
    assert!(cells > 100, "{cells}");
}

/// AnIML comes home: the same curves under the same sample in another archive.
#[test]
fn animl_comes_home() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    let (ending, told) = export(folder, &["date:2016", "--to", "animl", "--out", "all.animl"]);
    assert_eq!(ending, Some(0), "{told}");
    export(folder, &["date:2016", "--to", "json", "--out", "all.json"]);
    let added = run(folder, &["add", "all.animl", "--archive", "there", "--quiet"]);
    assert_eq!(
        status(&added),
        Some(0),
        "{}",
        String::from_utf8_lossy(&added.stderr)
    );
    let home = run(
        folder,
        &[
            "export",
            "date:2016",
            "--to",
            "json",
            "--out",
            "home.json",
            "--archive",
            "there",
        ],
    );
    assert_eq!(status(&home), Some(0));
    let runs = |name: &str| {
        let text = fs::read_to_string(folder.join(name)).unwrap();
        let mut all: serde_json::Value = serde_json::from_str(&text).unwrap();
        let mut found: Vec<String> = all["runs"]
            .as_array_mut()
            .unwrap()
            .iter_mut()
            .map(|run| {
                let curves: Vec<_> = run["traces"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|trace| (trace["x"].clone(), trace["y"].clone(), trace["label"].clone()))
                    .collect();
                format!(
                    "{} {} {curves:?}",
                    run["fields"]["sample"]["value"], run["technique"]
                )
            })
            .collect();
        found.sort();
        found
    };
    assert!(runs("all.json").len() > 5);
    assert_eq!(runs("home.json"), runs("all.json"));
}

/// What goes wrong while a file is written leaves nothing under its name.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    laboratory(folder);
    // `ulimit -f` counts blocks of 1024 bytes: no file may be larger.
    for form in [
        "csv", "json", "jcamp-dx", "animl", "tables", "parquet", "report", "bundle",
    ] {
        let out = format!("out-{form}");
        let program = call(folder, &[]).get_program().to_string_lossy().into_owned();
        let line = format!(
            "trap '' XFSZ; ulimit -f 4; exec '{program}' export date:2016..2021 --to {form} --out {out} --archive lab"
        );
        let output = std::process::Command::new("bash")
            .args(["-c", &line])
            .current_dir(folder)
            .env("XDG_CACHE_HOME", folder.join("cache"))
            .output()
            .unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{form}: {told}");
        assert!(!told.contains("panicked"), "{told}");
        let left: Vec<String> = left_behind(folder)
            .into_iter()
            .filter(|name| name.contains("out-"))
            .collect();
        assert!(left.is_empty(), "{form}: {left:?}");
    }
}
