//! How fast the archive takes runs in and finds them again. Each figure stands beside another of the same run.
//!
//! Latencies are measured over 10,000 and over 100,000 runs; `CURVARY_BENCH_RUNS=2000` does so many alone.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, missing_docs)]

mod exports;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::sync_channel;
use std::time::{Duration, Instant};

use curvary_archive::{
    Addition, AlikeOptions, Archive, Curve, FindOptions, PathState, Preparer, Stat, Writer,
};
use curvary_record::Digest;
use curvary_record::stored::{Record, StoredRun};
use exports::{addition, spectrum};

/// Time this thread has spent on a processor, so that a busy machine does not spoil a figure. Zero where the system does
/// not tell.
fn processor() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    Duration::from_nanos(
        told.split_whitespace()
            .next()
            .and_then(|first| first.parse().ok())
            .unwrap_or(0),
    )
}

/// Adds ready-made batches with some threads that prepare and this one that appends, in order.
fn add(writer: &mut Writer, batches: Vec<Vec<Addition>>, threads: usize) -> [Duration; 3] {
    let preparer = writer.preparer();
    let next = AtomicUsize::new(0);
    let batches: Vec<std::sync::Mutex<Option<Vec<Addition>>>> = batches
        .into_iter()
        .map(|batch| std::sync::Mutex::new(Some(batch)))
        .collect();
    let preparing = std::sync::Mutex::new(Duration::ZERO);
    let mut appending = Duration::ZERO;
    let mut committing = Duration::ZERO;
    std::thread::scope(|scope| {
        let (send, receive) = sync_channel(4);
        for _ in 0..threads {
            let (send, preparer, next, batches, preparing) =
                (send.clone(), preparer.clone(), &next, &batches, &preparing);
            scope.spawn(move || {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(batch) = batches.get(index) else { break };
                    let batch = batch.lock().unwrap().take().unwrap();
                    let from = processor();
                    let prepared = preparer.prepare(batch).unwrap();
                    *preparing.lock().unwrap() += processor() - from;
                    send.send((index, prepared)).unwrap();
                }
            });
        }
        drop(send);
        let mut waiting = BTreeMap::new();
        let mut due = 0;
        for (index, prepared) in receive {
            waiting.insert(index, prepared);
            while let Some(prepared) = waiting.remove(&due) {
                let from = processor();
                writer.append(prepared).unwrap();
                appending += processor() - from;
                if writer.pending() > 64 << 20 {
                    let from = Instant::now();
                    writer.commit().unwrap();
                    committing += from.elapsed();
                }
                due += 1;
            }
        }
    });
    let from = Instant::now();
    writer.commit().unwrap();
    committing += from.elapsed();
    [preparing.into_inner().unwrap(), appending, committing]
}

fn batches(additions: impl Iterator<Item = Addition>) -> (Vec<Vec<Addition>>, usize) {
    let mut all = vec![Vec::new()];
    let (mut open, mut bytes) = (0, 0);
    for one in additions {
        open += one.bytes.len();
        bytes += one.bytes.len();
        all.last_mut().unwrap().push(one);
        if open >= Preparer::BATCH_BYTES {
            all.push(Vec::new());
            open = 0;
        }
    }
    (all, bytes)
}

fn size(folder: &Path) -> u64 {
    std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| match entry.metadata() {
            Ok(data) if data.is_dir() => size(&entry.path()),
            Ok(data) => data.len(),
            Err(_) => 0,
        })
        .sum()
}

fn fresh(name: &str) -> (PathBuf, Archive) {
    let root = std::env::temp_dir().join(format!("curvary-bench-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&root);
    let archive = Archive::create(&root, name).unwrap();
    (root, archive)
}

fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .unwrap_or("");
    line.split_whitespace()
        .nth(1)
        .and_then(|kilobytes| kilobytes.parse::<u64>().ok())
        .unwrap_or(0)
        / 1024
}

/// The share of each stage of preparing, on one thread, with the same libraries over the same data.
fn stages() {
    let all: Vec<Addition> = (0..800).map(|n| addition(n, 1000)).collect();
    let bytes: usize = all.iter().map(|one| one.bytes.len()).sum();
    let mut out = vec![0; 1 << 20];
    let time = |name: &str, from: Instant| {
        println!(
            "  {name}: {:.1} MB/s of text",
            bytes as f64 / 1e6 / from.elapsed().as_secs_f64()
        );
    };
    println!("stages of preparing, each alone");
    let from = Instant::now();
    all.iter()
        .for_each(|one| drop(std::hint::black_box(Digest::of(&one.bytes))));
    time("SHA-256", from);
    for level in [1, 2, 4, 6] {
        let mut deflate = libdeflater::Compressor::new(libdeflater::CompressionLvl::new(level).unwrap());
        let from = Instant::now();
        let packed: usize = all
            .iter()
            .map(|one| deflate.deflate_compress(&one.bytes, &mut out).unwrap())
            .sum();
        time(
            &format!("deflate {level} ({:.3})", packed as f64 / bytes as f64),
            from,
        );
    }
    let from = Instant::now();
    let lines: Vec<Vec<u8>> = all
        .iter()
        .map(|one| serde_json::to_vec(&Record::Run(Box::new(StoredRun(one.runs[0].clone())))).unwrap())
        .collect();
    time("JSON", from);
    let joined: Vec<Vec<u8>> = lines.chunks(40).map(<[Vec<u8>]>::concat).collect();
    for level in [-1, 1, 3] {
        let from = Instant::now();
        let packed: usize = joined
            .iter()
            .map(|lines| zstd::bulk::compress(lines, level).unwrap().len())
            .sum();
        time(
            &format!("zstd {level} ({:.3})", packed as f64 / bytes as f64),
            from,
        );
    }
}

fn main() {
    #[expect(clippy::cast_precision_loss)]
    fn rate(bytes: usize, time: Duration) -> f64 {
        bytes as f64 / 1e6 / time.as_secs_f64()
    }
    stages();
    println!("taking in: 3,000 exports of 13 kB");
    for threads in [1, 2] {
        let (root, archive) = fresh("add");
        let (all, bytes) = batches((0..3000).map(|n| addition(n, 1000)));
        let mut writer = archive.write("bench").unwrap();
        let from = Instant::now();
        let [preparing, appending, committing] = add(&mut writer, all, threads);
        let whole = from.elapsed();
        writer.finish().unwrap();
        let kept = size(&root.join("originals")) + size(&root.join("records"));
        println!(
            "  {threads} preparing: {:6.1} MB/s by the clock; by processor time preparing {:.0} and appending {:.0} MB/s; commits {:.0} ms by the clock",
            rate(bytes, whole),
            rate(bytes, preparing),
            rate(bytes, appending),
            committing.as_secs_f64() * 1e3
        );
        println!(
            "  size: originals {:.3}, records {:.3}, together {:.3} of the text; index {:.3}",
            size(&root.join("originals")) as f64 / bytes as f64,
            size(&root.join("records")) as f64 / bytes as f64,
            kept as f64 / bytes as f64,
            size(&root.join("index")) as f64 / bytes as f64
        );
        std::fs::remove_dir_all(root).unwrap();
    }
    let asked = std::env::var("CURVARY_BENCH_RUNS")
        .ok()
        .and_then(|runs| runs.parse().ok());
    for runs in asked.map_or(vec![10_000, 100_000], |runs| vec![runs]) {
        finding(runs);
        likeness(runs);
    }
    println!("peak memory of this process, made data included: {} MB", peak());
}

/// How long it takes to take in `runs` small runs, to see that they are unchanged, and to find some of them.
fn finding(runs: usize) {
    let (root, archive) = fresh("find");
    let mut writer = archive.write("bench").unwrap();
    let from = Instant::now();
    for start in (0..runs).step_by(5000) {
        let some = (start..(start + 5000).min(runs)).map(|n| addition(n, 40));
        add(&mut writer, batches(some).0, 1);
    }
    writer.finish().unwrap();
    println!(
        "{runs} small runs taken in: {:.0} a second, made included",
        runs as f64 / from.elapsed().as_secs_f64()
    );

    let stats: Vec<(String, Stat)> = (0..runs)
        .map(|n| addition(n, 40))
        .map(|one| (one.path, one.stat.unwrap()))
        .collect();
    let from = Instant::now();
    let writer = archive.write("bench").unwrap();
    let opened = from.elapsed();
    let unchanged = stats
        .iter()
        .filter(|(path, stat)| writer.known(path, stat) == PathState::Unchanged)
        .count();
    assert_eq!(unchanged, runs);
    let asked = from.elapsed() - opened;
    writer.finish().unwrap();
    println!(
        "{runs} unchanged files: open {:.1} ms, ask {:.1} ms, end {:.1} ms",
        opened.as_secs_f64() * 1e3,
        asked.as_secs_f64() * 1e3,
        (from.elapsed() - opened - asked).as_secs_f64() * 1e3
    );

    let from = Instant::now();
    let archive = Archive::open(&root).unwrap();
    let options = FindOptions {
        limit: 20,
        ..FindOptions::default()
    };
    archive
        .find(
            &archive
                .query("betanin temperature:36..38C date:2019..2021-06")
                .unwrap(),
            &options,
        )
        .unwrap();
    println!(
        "open and first answer: {:.2} ms",
        from.elapsed().as_secs_f64() * 1e3
    );
    for (name, make) in [
        (
            "words + temperature + date",
            (|n| {
                format!(
                    "betanin temperature:{}..{}C date:2019..2021-06",
                    20 + n % 20,
                    22 + n % 20
                )
            }) as fn(usize) -> String,
        ),
        ("one word", |n| format!("practice place {}", n % 30)),
        ("phrase and not", |n| {
            format!("\"phenol red\" -comment:\"day {}\"", n % 200)
        }),
        ("everything", |_| String::new()),
    ] {
        let mut times: Vec<Duration> = (0..300)
            .map(|n| {
                let from = Instant::now();
                let query = archive.query(&make(n)).unwrap();
                std::hint::black_box(archive.find(&query, &options).unwrap());
                from.elapsed()
            })
            .collect();
        times.sort();
        let at = |part: usize| times[times.len() * part / 100].as_secs_f64() * 1e3;
        println!(
            "find among {runs}, {name}: p50 {:.2} ms, p95 {:.2} ms",
            at(50),
            at(95)
        );
    }
    std::fs::remove_dir_all(root).unwrap();
}

/// How long it takes to find the most alike among `runs` spectra.
fn likeness(runs: usize) {
    let (root, archive) = fresh("like");
    let mut writer = archive.write("bench").unwrap();
    for start in (0..runs).step_by(5000) {
        add(
            &mut writer,
            batches((start..(start + 5000).min(runs)).map(spectrum)).0,
            1,
        );
    }
    writer.finish().unwrap();
    let ask = |archive: &Archive, n: usize, query: &str, limit: usize| {
        let own = spectrum(n * 7919 % runs);
        let run = &own.runs[0];
        let curve = Curve::of(run, &run.traces[0]).unwrap();
        let options = AlikeOptions {
            least: 0.9,
            limit,
            skip: 0,
            but: Some(run.id.clone()),
        };
        let from = Instant::now();
        let query = archive.query(query).unwrap();
        let found = archive.alike(&curve, &query, &options).unwrap();
        (from.elapsed(), found)
    };
    let from = Instant::now();
    let archive = Archive::open(&root).unwrap();
    let (_, found) = ask(&archive, 0, "", 50);
    println!(
        "likeness among {runs} spectra ({} kB of index): open and first answer {:.1} ms, {} alike",
        size(&root.join("index")) / 1000,
        from.elapsed().as_secs_f64() * 1e3,
        found.total
    );
    for (name, query, limit) in [
        ("everything, best 50", "", 50),
        ("everything, best 10", "", 10),
        ("one word, best 50", "betanin", 50),
    ] {
        let mut times: Vec<Duration> = (1..=100).map(|n| ask(&archive, n, query, limit).0).collect();
        times.sort();
        let at = |part: usize| times[times.len() * part / 100].as_secs_f64() * 1e3;
        println!(
            "likeness among {runs}, {name}: p50 {:.2} ms, p95 {:.2} ms",
            at(50),
            at(95)
        );
    }
    std::fs::remove_dir_all(root).unwrap();
}
