//! `curvary add` end to end, beside the bare reading of the same bytes in the same run.
//!
//! Ten thousand small two-column exports (13 kB each) are added to a new archive, then added again unchanged, then
//! found. Then as many time courses are added and a law is fitted to all of them. Printed are times, rates, the ratio to
//! merely reading the files, the share of each stage, and the program's peak memory where the system tells it.
//! `FILES=1000` makes it shorter.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    clippy::cast_precision_loss
)]

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use curvary_archive::{Addition, Archive};
use curvary_formats::{Readers, Source};
use curvary_record::{Digest, Verdict};

fn main() {
    let files: u32 = std::env::var("FILES")
        .ok()
        .and_then(|files| files.parse().ok())
        .unwrap_or(10_000);
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    let bytes = exports(&here.join("in"), files);
    println!("{files} files, {:.1} MB", bytes as f64 / 1e6);

    let begun = Instant::now();
    let read = read_all(&here.join("in"));
    let bare = begun.elapsed();
    assert_eq!(read, bytes);
    row("read the bytes alone", bare, bytes, bare, None);

    let (first, memory) = curvary(here, &["add", "in", "--archive", "lab", "--quiet"]);
    row("add to a new archive", first, bytes, bare, memory);
    shares(here);
    let (again, memory) = curvary(here, &["add", "in", "--archive", "lab", "--quiet"]);
    row("add again, unchanged", again, bytes, bare, memory);
    let query = [
        "find",
        "sample:betanin",
        "temperature:36..38C",
        "--limit",
        "20",
        "--ids",
        "--archive",
        "lab",
    ];
    let mut times: Vec<Duration> = (0..40).map(|_| curvary(here, &query).0).collect();
    times.sort();
    println!(
        "find as a whole command: p50 {:.1} ms, p95 {:.1} ms",
        ms(times[20]),
        ms(times[38])
    );
    println!(
        "archive: {:.1} % of the text that came in",
        100.0 * size(&here.join("lab")) as f64 / bytes as f64
    );

    courses(&here.join("courses"), files);
    curvary(here, &["add", "courses", "--archive", "lab", "--quiet"]);
    let (loaded, _) = curvary(
        here,
        &[
            "export",
            "technique:time-course",
            "--to",
            "json",
            "--out",
            "all.json",
            "--archive",
            "lab",
        ],
    );
    let fit = [
        "fit",
        "technique:time-course",
        "--model",
        "first-order+offset",
        "--archive",
        "lab",
        "--json",
    ];
    for (what, words) in [("kept", &fit[..]), ("kept already", &fit[..])] {
        let (took, memory) = curvary(here, words);
        println!(
            "fit of {files} courses of 500 points, results {what}: {:.0} ms, {:.0} a second, {:.2} times their export as JSON, peak {:.0} MB",
            ms(took),
            f64::from(files) / took.as_secs_f64(),
            took.as_secs_f64() / loaded.as_secs_f64(),
            memory.unwrap_or(0) as f64 / 1e3,
        );
    }
}

/// Adds some of the same files in this process, stage by stage on one thread, and prints the share of each.
fn shares(here: &Path) {
    let readers = Readers::built_in();
    let archive = Archive::create(&here.join("stages"), "stages").expect("an archive");
    let mut writer = archive.write("bench").expect("a writer");
    let preparer = writer.preparer();
    let mut stages = [
        ("from the disk", 0.0),
        ("digest", 0.0),
        ("reading", 0.0),
        ("packing", 0.0),
        ("filing", 0.0),
    ];
    let mut timed = |stage: usize, from: Instant| stages[stage].1 += from.elapsed().as_secs_f64();
    for group in 0..4 {
        let folder = here.join(format!("in/{group:03}"));
        let Ok(entries) = fs::read_dir(folder) else {
            continue;
        };
        let mut additions = Vec::new();
        for entry in entries {
            let path = entry.expect("an entry").path();
            let from = Instant::now();
            let bytes = fs::read(&path).expect("a file");
            timed(0, from);
            let from = Instant::now();
            let digest = Digest::of(&bytes);
            timed(1, from);
            let from = Instant::now();
            let name = path
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .expect("a name");
            let source = Source::with_digest(name.clone(), bytes.clone(), digest.clone());
            let (reader, reading) = readers.read(&source, None);
            timed(2, from);
            additions.push(Addition {
                path: name,
                bytes,
                digest,
                stat: None,
                verdict: Verdict::Read,
                reader: reader.map(|card| card.id.clone()),
                remarks: reading.remarks,
                runs: reading.runs,
                family: None,
                again: false,
            });
        }
        let from = Instant::now();
        let prepared = preparer.prepare(additions).expect("it packs");
        timed(3, from);
        let from = Instant::now();
        writer.append(prepared).expect("it is written");
        writer.commit().expect("it is filed");
        timed(4, from);
    }
    writer.finish().expect("it is whole");
    let all: f64 = stages.iter().map(|(_, took)| took).sum();
    for (stage, took) in stages {
        println!(
            "  {stage:<14}{:>5.1} % of the time, one stage after another on one thread",
            100.0 * took / all
        );
    }
}

/// Writes time courses of 500 points.
fn courses(folder: &Path, files: u32) {
    for file in 0..files {
        let group = folder.join(format!("{:03}", file / 250));
        fs::create_dir_all(&group).expect("a folder");
        let mut text = format!(
            "# sample: betanin {}\n# wavelength: 535 nm\n# temperature: {} °C\ntime (s),absorbance\n",
            file % 97,
            20 + file % 50
        );
        let k = 0.001 * f64::from(1 + file % 40);
        for point in 0..500_u32 {
            let x = f64::from(point) * 2.0;
            let y = 0.05 + 0.9 * (-k * x).exp() + f64::from((point * 7 + file) % 13) * 1e-4;
            let _ = writeln!(text, "{x:.0},{y:.4}");
        }
        fs::write(group.join(format!("course-{file:06}.csv")), text).expect("a file");
    }
}

fn row(what: &str, took: Duration, bytes: u64, bare: Duration, memory: Option<u64>) {
    let rate = bytes as f64 / 1e6 / took.as_secs_f64();
    let ratio = took.as_secs_f64() / bare.as_secs_f64();
    let memory = memory
        .map(|kilobytes| format!(", peak {:.0} MB", kilobytes as f64 / 1e3))
        .unwrap_or_default();
    println!(
        "{what:<24}{:>9.0} ms{rate:>9.0} MB/s{ratio:>8.1} times the bare reading{memory}",
        ms(took)
    );
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

/// Writes the exports; returns how many bytes they have.
fn exports(folder: &Path, files: u32) -> u64 {
    let mut bytes = 0;
    for file in 0..files {
        let group = folder.join(format!("{:03}", file / 250));
        fs::create_dir_all(&group).expect("a folder");
        let mut text = format!(
            "# sample: betanin {}\n# temperature: {} °C\n# date: 20{:02}-03-{:02}\nwavelength (nm),absorbance\n",
            file % 97,
            20 + file % 50,
            10 + file % 14,
            1 + file % 28
        );
        let centre = 480.0 + f64::from(file % 80);
        for point in 0..1_000_u32 {
            let x = 300.0 + f64::from(point) * 0.5;
            let y = 0.9 * (-((x - centre) / 40.0).powi(2)).exp() + f64::from((point * 7 + file) % 13) * 1e-4;
            let _ = writeln!(text, "{x:.1},{y:.4}");
        }
        bytes += text.len() as u64;
        fs::write(group.join(format!("run-{file:06}.csv")), text).expect("a file");
    }
    bytes
}

fn read_all(folder: &Path) -> u64 {
    let mut bytes = 0;
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        bytes += if path.is_dir() {
            read_all(&path)
        } else {
            fs::read(path).expect("a file").len() as u64
        };
    }
    bytes
}

fn size(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path());
    entries
        .map(|path| {
            if path.is_dir() {
                size(&path)
            } else {
                fs::metadata(path).map_or(0, |m| m.len())
            }
        })
        .sum()
}

/// Runs the program; how long it took, and its greatest memory in kilobytes as far as `/proc` tells.
fn curvary(folder: &Path, words: &[&str]) -> (Duration, Option<u64>) {
    let begun = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_curvary"))
        .args(words)
        .current_dir(folder)
        .stdout(Stdio::null())
        .spawn()
        .expect("the program starts");
    let status = format!("/proc/{}/status", child.id());
    let mut memory = None;
    let took = loop {
        if let Some(status) = child.try_wait().expect("it can be waited for") {
            assert!(status.success(), "{words:?}");
            break begun.elapsed();
        }
        // The greatest value is kept by the system, so looking now and then misses little.
        let peak = fs::read_to_string(&status).ok().and_then(|text| {
            let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
            line.split_whitespace().nth(1)?.parse().ok()
        });
        memory = peak.or(memory);
        std::thread::sleep(Duration::from_micros(500));
    };
    (took, memory)
}
