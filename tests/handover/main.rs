//! What is handed over: tables, workbooks, reports and bundles of the demonstration data, and the ways in which it is
//! refused before work is lost.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod bundles;
mod parts;
mod reports;

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

/// A name with the ending of the format is one file, which holds one source and is never the original.
#[test]
fn one_source_goes_into_one_file() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    fs::create_dir(folder.join("in")).unwrap();
    for name in ["in/a.txt", "in/b.txt"] {
        fs::write(folder.join(name), short("Sample: a")).unwrap();
    }
    let convert = |words: &[&str]| run(folder, &[&["convert"][..], words].concat());
    let made = convert(&["in/a.txt", "--to", "jcamp-dx", "--out", "x.jdx"]);
    assert_eq!(status(&made), Some(0), "{made:?}");
    let first = fs::read(folder.join("x.jdx")).unwrap();
    assert!(first.starts_with(b"##TITLE="));
    // What is there stays, unless it is said otherwise.
    let made = convert(&["in/b.txt", "--to", "jcamp-dx", "--out", "x.jdx"]);
    assert_eq!(status(&made), Some(3), "{made:?}");
    assert_eq!(fs::read(folder.join("x.jdx")).unwrap(), first);
    // Nor is the original ever replaced.
    let made = convert(&["x.jdx", "--to", "jcamp-dx", "--out", "x.jdx", "--replace"]);
    assert_eq!(status(&made), Some(2), "{made:?}");
    assert_eq!(fs::read(folder.join("x.jdx")).unwrap(), first);
    for (words, out) in [
        (&["in/a.txt", "in/b.txt"][..], "y.jdx"),
        (&["in"], "y.jdx"),
        (&["in/a.txt"], "y.csv"),
    ] {
        let made = convert(&[words, &["--to", "jcamp-dx", "--out", out][..]].concat());
        assert_eq!(status(&made), Some(2), "{made:?}");
        assert!(
            String::from_utf8_lossy(&made.stderr).contains("out-is-one-file"),
            "{made:?}"
        );
        assert!(!folder.join(out).exists());
    }
    // Nothing comes of a file that is refused.
    fs::write(folder.join("words.txt"), "nothing but words\n").unwrap();
    let made = convert(&["words.txt", "--to", "jcamp-dx", "--out", "z.jdx"]);
    assert_eq!(status(&made), Some(3), "{made:?}");
    assert!(!folder.join("z.jdx").exists());
    assert!(
        !String::from_utf8_lossy(&made.stdout).contains("written to"),
        "{made:?}"
    );
    // A folder of that name goes on being one.
    fs::create_dir(folder.join("old.jdx")).unwrap();
    let made = convert(&["in", "--to", "jcamp-dx", "--out", "old.jdx"]);
    assert_eq!(status(&made), Some(0), "{made:?}");
    assert!(folder.join("old.jdx/in/a.txt.jdx").exists() || folder.join("old.jdx/a.txt.jdx").exists());
}
