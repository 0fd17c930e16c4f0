//! `curvary add` of many small files with several runs each, and of mixed files: time, peak memory and size, in one run
//! beside a plain copy of the same tree and a tar file of it under zstd.
//!
//! `FILES=118000` and `MEGABYTES=518` are the large form; 12,000 files and 60 MB are taken without them.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    clippy::cast_precision_loss
)]

mod tree;

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

fn main() {
    let number = |name: &str, usual: u64| {
        std::env::var(name)
            .ok()
            .and_then(|value| value.parse().ok())
            .unwrap_or(usual)
    };
    let folder = tempfile::tempdir().expect("a folder");
    println!("| tree | what | s | MB/s | of the text | peak MB |");
    println!("|---|---|---|---|---|---|");
    let small = folder.path().join("small");
    let (bytes, runs) = tree::small(&small, number("FILES", 12_000));
    measure(
        &small,
        bytes,
        &format!("{:.0} MB of small files, {runs} runs", bytes as f64 / 1e6),
    );
    fs::remove_dir_all(&small).expect("it goes");
    let mixed = folder.path().join("mixed");
    let (bytes, files) = tree::mixed(&mixed, number("MEGABYTES", 60) * 1_000_000);
    measure(
        &mixed,
        bytes,
        &format!("{:.0} MB of mixed files, {files} files", bytes as f64 / 1e6),
    );
}

/// A row for each way of keeping a tree.
fn measure(tree: &Path, bytes: u64, name: &str) {
    let here = tree.parent().expect("a parent").to_owned();
    let row = |what: &str, took: Duration, size: u64, peak: Option<u64>| {
        println!(
            "| {name} | {what} | {:.2} | {:.0} | {:.3} | {} |",
            took.as_secs_f64(),
            bytes as f64 / 1e6 / took.as_secs_f64(),
            size as f64 / bytes as f64,
            peak.map_or_else(String::new, |peak| format!("{:.0}", peak as f64 / 1e3))
        );
    };
    let files = files(tree);
    let begun = Instant::now();
    let copy = here.join("copy");
    for file in &files {
        let to = copy.join(file.strip_prefix(tree).expect("below"));
        fs::create_dir_all(to.parent().expect("a parent")).expect("a folder");
        fs::copy(file, to).expect("it is copied");
    }
    row("plain copy", begun.elapsed(), bytes, None);
    fs::remove_dir_all(&copy).expect("it goes");

    let begun = Instant::now();
    let packed = here.join("tree.tar.zst");
    let file = fs::File::create(&packed).expect("a file");
    let mut tar = tar::Builder::new(zstd::Encoder::new(file, 3).expect("zstd").auto_finish());
    tar.append_dir_all(".", tree).expect("it is packed");
    drop(tar.into_inner().expect("it is packed"));
    let size = fs::metadata(&packed).expect("it is there").len();
    row("tar under zstd, level 3", begun.elapsed(), size, None);
    fs::remove_file(&packed).expect("it goes");

    let arguments = [
        tree.as_os_str(),
        "--archive".as_ref(),
        "lab".as_ref(),
        "--quiet".as_ref(),
    ];
    let begun = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_curvary"))
        .arg("add")
        .args(arguments)
        .current_dir(&here)
        .stdout(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut peak = None;
    let status = loop {
        if let Some(status) = child.try_wait().expect("it can be waited for") {
            break status;
        }
        peak = highest(child.id()).or(peak);
        std::thread::sleep(Duration::from_millis(2));
    };
    assert!(status.code().is_some_and(|code| code < 2), "{status}");
    let lab = here.join("lab");
    row("curvary add", begun.elapsed(), size_of(&lab), peak);
    for part in ["originals", "records", "index"] {
        println!(
            "| {name} | of that {part} | | | {:.3} | |",
            size_of(&lab.join(part)) as f64 / bytes as f64
        );
    }
    fs::remove_dir_all(&lab).expect("it goes");
}

/// The greatest memory of a process in kilobytes, as far as the system tells.
fn highest(id: u32) -> Option<u64> {
    let mut text = String::new();
    fs::File::open(format!("/proc/{id}/status"))
        .ok()?
        .read_to_string(&mut text)
        .ok()?;
    let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Every file below a folder, in order.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    let mut entries: Vec<PathBuf> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    entries.sort();
    for entry in entries {
        if entry.is_dir() {
            all.extend(files(&entry));
        } else {
            all.push(entry);
        }
    }
    all
}

fn size_of(folder: &Path) -> u64 {
    let length = |file: &PathBuf| fs::metadata(file).map_or(0, |metadata| metadata.len());
    files(folder).iter().map(length).sum()
}
