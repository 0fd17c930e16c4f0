//! An archive of a million runs: what a commit, a start, a note and an answer cost when so much is there already, and the
//! greatest memory. The runs are invented spectra of 81 points, one a file.
//!
//! `RUNS=1000000` is the large form; 20,000 are taken without it. `WHERE` names the folder that it is built in.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, missing_docs)]

mod exports;

use std::path::{Path, PathBuf};
use std::sync::mpsc::sync_channel;
use std::time::{Duration, Instant};

use curvary_archive::{Addition, Archive, Direction, FacetName, FindOptions, Note, Preparer, RunOrder, Stat};
use exports::spectrum;

fn main() {
    let runs: usize = std::env::var("RUNS")
        .ok()
        .and_then(|runs| runs.parse().ok())
        .unwrap_or(20_000);
    let parent = std::env::var("WHERE").map_or_else(|_| std::env::temp_dir(), PathBuf::from);
    let root = parent.join(format!("curvary-scale-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&root);
    let archive = Archive::create(&root, "scale").unwrap();
    println!("{runs} runs; wall times, on as many threads as there are processors");
    fill(&archive, runs);
    sizes(&root);
    println!("greatest memory so far: {} MB", peak());
    drop(archive);
    ask(&root, runs);
    write(&root, runs);
    println!("greatest memory at the end: {} MB", peak());
    let _ = std::fs::remove_dir_all(&root);
}

fn batches(runs: usize) -> impl Iterator<Item = (usize, usize)> {
    const BATCH: usize = 200;
    (0..runs.div_ceil(BATCH)).map(move |batch| (batch * BATCH, runs.min((batch + 1) * BATCH)))
}

/// Adds the runs as `add` does: prepared on all threads, filed in order, committed every 64 MB.
fn fill(archive: &Archive, runs: usize) {
    let begun = Instant::now();
    let mut writer = archive.write("bench").unwrap();
    let preparer = writer.preparer();
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut commits: Vec<(usize, Duration)> = Vec::new();
    std::thread::scope(|scope| {
        let mut out = Vec::new();
        for thread in 0..threads {
            let (send, receive) = sync_channel(4);
            let preparer: Preparer = preparer.clone();
            scope.spawn(move || {
                for (from, to) in batches(runs).skip(thread).step_by(threads) {
                    let all: Vec<Addition> = (from..to).map(spectrum).collect();
                    if send.send(preparer.prepare(all).unwrap()).is_err() {
                        return;
                    }
                }
            });
            out.push(receive);
        }
        for (number, (_, to)) in batches(runs).enumerate() {
            writer.append(out[number % threads].recv().unwrap()).unwrap();
            if writer.pending() > 64 << 20 {
                let from = Instant::now();
                writer.commit().unwrap();
                commits.push((to, from.elapsed()));
            }
        }
    });
    let from = Instant::now();
    writer.finish().unwrap();
    let last = from.elapsed();
    let took = begun.elapsed();
    println!(
        "filled in {:.1} s: {:.0} runs a second, {} commits, the last with merging {:.2} s",
        took.as_secs_f64(),
        runs as f64 / took.as_secs_f64(),
        commits.len() + 1,
        last.as_secs_f64()
    );
    for (at, took) in commits.iter().step_by((commits.len() / 8).max(1)) {
        println!("  commit at {at} runs: {:.3} s", took.as_secs_f64());
    }
}

fn ask(root: &Path, runs: usize) {
    let timed = |what: &str, work: &mut dyn FnMut() -> usize| {
        let from = Instant::now();
        let first = work();
        let cold = from.elapsed();
        let from = Instant::now();
        work();
        println!(
            "{what}: {:.1} ms, again {:.1} ms; {first} runs",
            cold.as_secs_f64() * 1e3,
            from.elapsed().as_secs_f64() * 1e3
        );
    };
    let newest = FindOptions {
        limit: 20,
        ..FindOptions::default()
    };
    timed("open and find one word, 20 shown", &mut || {
        let archive = Archive::open(root).unwrap();
        let query = archive.query("betanin").unwrap();
        archive.find(&query, &newest).unwrap().total
    });
    let archive = Archive::open(root).unwrap();
    for text in [
        "betanin temperature:30..32C",
        "date:2019-03",
        "",
        "\"practice day 7\"",
    ] {
        let query = archive.query(text).unwrap();
        timed(&format!("find `{text}`, newest 20"), &mut || {
            archive.find(&query, &newest).unwrap().total
        });
    }
    let every = archive.query("").unwrap();
    let options = FindOptions {
        limit: 20,
        sort: Some(RunOrder {
            key: "temperature".into(),
            direction: Direction::Rising,
        }),
        ..FindOptions::default()
    };
    timed("all by temperature, first 20", &mut || {
        archive.find(&every, &options).unwrap().total
    });
    timed("how many of each sample and year", &mut || {
        let facets = archive
            .facets(&every, &[FacetName::Sample, FacetName::Year], 0)
            .unwrap();
        facets.values().map(Vec::len).sum()
    });
    let id = spectrum(runs / 2).runs[0].id.clone();
    timed("show one run by its name", &mut || {
        archive.run(id.as_str()).unwrap().run.points()
    });
}

/// What little commands cost where so much is there.
fn write(root: &Path, runs: usize) {
    for n in 0..3 {
        let from = Instant::now();
        let archive = Archive::open(root).unwrap();
        let mut writer = archive.write("bench").unwrap();
        let mut note = Note::about(&spectrum(runs / 3 + n).runs[0].id);
        note.fields.insert("project".into(), "beets".into());
        writer.note(note).unwrap();
        writer.finish().unwrap();
        println!(
            "a note, from opening to the end: {:.2} s",
            from.elapsed().as_secs_f64()
        );
    }
    let from = Instant::now();
    let archive = Archive::open(root).unwrap();
    let writer = archive.write("bench").unwrap();
    let opened = from.elapsed();
    let known = (0..runs)
        .step_by(7)
        .filter(|&n| {
            let path = format!("shelf{}/box{}/scan{n:06}.txt", n / 5000, n / 100 % 50);
            writer.known(&path, &Stat::default()) != curvary_archive::PathState::New
        })
        .count();
    println!(
        "opened for writing in {:.2} s; {known} paths looked up in {:.2} s",
        opened.as_secs_f64(),
        (from.elapsed() - opened).as_secs_f64()
    );
}

fn sizes(root: &Path) {
    for part in ["originals", "records", "index"] {
        println!("{part}: {:.1} MB", size(&root.join(part)) as f64 / 1e6);
    }
}

fn size(folder: &Path) -> u64 {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| match entry.metadata() {
            Ok(data) if data.is_dir() => size(&entry.path()),
            Ok(data) => data.len(),
            Err(_) => 0,
        })
        .sum()
}

/// The greatest memory of this process in megabytes, as far as the system tells.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .unwrap_or("");
    let kilobytes = line
        .split_whitespace()
        .nth(1)
        .and_then(|word| word.parse::<u64>().ok());
    kilobytes.unwrap_or(0) / 1024
}
