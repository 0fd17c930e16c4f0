//! Bundles: what is in them, what is left out, and what comes home.

use super::*;

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

/// The demo data in the archive `lab` with answers, a tag, results, a sequence, a word and a layout; and its time courses as the bundle
/// `all.zip` and the folder `unpacked`.
fn bundles_of_a_full_archive(folder: &Path, quiet: &dyn Fn(&[&str]) -> String) {
    let data = root().join("demo-data");
    let data = data.to_str().unwrap();
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
}

/// Whatever a bundle went through on its way, a copied folder, packed again in another order or without the folder around it:
/// the same runs under the same names, read by the same answers, words, rules for names and layouts, with notes, tags, results and
/// saved sequences. An archive that has files of its own is told of words and sequences and keeps its own.
#[test]
fn a_bundle_comes_home_however_it_was_carried() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let quiet = |words: &[&str]| {
        let done = run(folder, words);
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(status(&done).is_some_and(|code| code <= 1), "{words:?}: {told}");
        String::from_utf8(done.stdout).unwrap()
    };
    bundles_of_a_full_archive(folder, &quiet);
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
