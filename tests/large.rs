//! Many runs take little memory, whatever they are handed over as: what a process held at its greatest, for 1,000 runs and for
//! 10,000. As Linux counts it; elsewhere nothing is measured.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Stdio;
use std::thread::sleep;
use std::time::Duration;

use curvary_tests::{call, run, status};

const POINTS: u32 = 5;

/// Invented time courses as one tidy table, which is quickly added.
fn courses(path: &Path, runs: u32) {
    let mut table =
        String::from("run,trace,sample,technique,time_s,temperature_Cel,operator,source,absorbance\r\n");
    for run in 0..runs {
        for point in 0..POINTS {
            let y = 0.9 - f64::from(point * (run % 97 + 1)) / 4000.0;
            let x = point * 5;
            writeln!(
                table,
                "course-{run},0,dye {run},time-course,{x},37,nobody,in/{run}.csv,{y:.4}\r"
            )
            .unwrap();
        }
    }
    fs::write(path, table).unwrap();
}

/// How a command ended, and the most that it held, in kB.
fn greatest(folder: &Path, words: &[&str]) -> (Option<i32>, u64) {
    let mut process = call(folder, words)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let path = format!("/proc/{}/status", process.id());
    let mut most = 0;
    loop {
        let told = fs::read_to_string(&path).unwrap_or_default();
        let peak = told.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        if let Some(kilobytes) = peak.and_then(|peak| peak.trim().trim_end_matches(" kB").parse().ok()) {
            most = kilobytes;
        }
        if let Some(ended) = process.try_wait().unwrap() {
            return (ended.code(), most);
        }
        sleep(Duration::from_millis(3));
    }
}

#[test]
#[ignore = "takes minutes: `CURVARY_BIN=target/release/curvary cargo test --workspace --test large -- --ignored --nocapture`"]
fn ten_thousand_runs_take_little_more_memory_than_a_thousand() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for (runs, lab) in [(1000, "few"), (10_000, "many")] {
        courses(&folder.join(format!("{lab}.csv")), runs);
        let added = run(
            folder,
            &["add", &format!("{lab}.csv"), "--archive", lab, "--quiet"],
        );
        assert_eq!(
            status(&added),
            Some(0),
            "{}",
            String::from_utf8_lossy(&added.stderr)
        );
    }
    let mut wrong = Vec::new();
    // In kB. Some 25 MB are what is known of the 4,096 runs that are held between the passes.
    for (form, ending, allowed) in [
        ("csv", ".csv", 32_000),
        ("tables", "", 32_000),
        ("parquet", "", 44_000),
        ("xlsx", ".xlsx", 32_000),
        ("json", ".json", 32_000),
        ("json-lines", ".jsonl", 32_000),
        ("jcamp-dx", ".jdx", 32_000),
        ("animl", ".animl", 32_000),
        ("wide-csv", ".csv", 40_000),
        ("report", ".html", 32_000),
        ("bundle", ".zip", 44_000),
    ] {
        let most = |lab: &str| {
            let out = format!("{lab}-{form}{ending}");
            let words = [
                "export",
                "technique:time-course",
                "--to",
                form,
                "--out",
                &out,
                "--archive",
                lab,
            ];
            let (ending, most) = greatest(folder, &words);
            assert_eq!(ending, Some(0), "{form}");
            most
        };
        let (few, many) = (most("few"), most("many"));
        println!("{form}: {few} kB for 1,000 runs, {many} kB for 10,000");
        if many > few + allowed {
            wrong.push(format!("{form}: {few} kB become {many}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
