//! What a file costs through a plugin, beside the same reader built in: `cargo bench -p curvary-plugin-host`.
//!
//! A C compiler builds `plugins/pegboard`; the built-in twin below takes the same text apart and speaks to the same sink.
//! The program of the bench is its own worker.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

use curvary_formats::sink::{ColumnInput, CurveInput, LocatedText, Sink, SourceLimits, SpanUnit, Values};
use curvary_formats::{Reader, ReaderInfo, Reading, Source};
use curvary_plugin_host::{Plugin, WORKER, serve};
use curvary_record::Span;

const FILES: usize = 300;
const ROUNDS: usize = 5;

fn main() -> ExitCode {
    if std::env::args().nth(1).is_some_and(|first| first == WORKER) {
        return serve();
    }
    let folder = tempfile::tempdir().expect("a folder");
    let plugin = built(folder.path());
    let begun = Instant::now();
    let example = Source::new("a.peg", board(20).into_bytes());
    assert_eq!(plugin.read(&example).runs.len(), 1);
    println!(
        "a worker started, the library loaded, a first file read: {:?}",
        begun.elapsed()
    );
    for rows in [20, 2_000, 200_000] {
        let files = if rows > 100_000 { 5 } else { FILES };
        let source = Source::new("a.peg", board(rows).into_bytes());
        let card = plugin.card().clone();
        assert_eq!(plugin.read(&source).runs, twin(&source, &card).runs);
        let aside = least(|| {
            for _ in 0..files {
                std::hint::black_box(plugin.read(&source));
            }
        });
        let inside = least(|| {
            for _ in 0..files {
                std::hint::black_box(twin(&source, &card));
            }
        });
        let each = |time: Duration| time.as_secs_f64() * 1e3 / files as f64;
        println!(
            "{rows} rows: {:.4} ms a file through the plugin, {:.4} ms built in; {:+.4} ms, {:.2} times",
            each(aside),
            each(inside),
            each(aside) - each(inside),
            each(aside) / each(inside),
        );
    }
    ExitCode::SUCCESS
}

fn least(mut work: impl FnMut()) -> Duration {
    let rounds = (0..ROUNDS).map(|_| {
        let begun = Instant::now();
        work();
        begun.elapsed()
    });
    rounds.min().expect("there are rounds")
}

fn board(rows: usize) -> String {
    let mut text = "PEGBOARD 2\n!material betanin in citrate\n!cell 1 cm\nboard nm / A\n".to_owned();
    for row in 0..rows {
        let _ = writeln!(
            text,
            "{}.{}'{}.{:04}",
            200 + row / 10,
            row % 10,
            row % 3,
            row * 7 % 10_000
        );
    }
    let _ = writeln!(text, "pegs {rows}");
    text
}

fn built(folder: &Path) -> Plugin {
    let plugins = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plugins");
    let status = Command::new("cc")
        .args(["-std=c99", "-O2", "-fPIC", "-shared"])
        .arg(format!("-I{}", plugins.join("include").display()))
        .arg("-o")
        .arg(folder.join("libpegboard.so"))
        .arg(plugins.join("pegboard/pegboard.c"))
        .status()
        .expect("a C compiler is there");
    assert!(status.success());
    std::fs::copy(plugins.join("pegboard/plugin.toml"), folder.join("plugin.toml")).expect("a copy");
    Plugin::of_folder(folder).expect("a plugin")
}

/// The same reader, built in.
fn twin(source: &Source, card: &ReaderInfo) -> Reading {
    let text = source.text();
    let said = |part: &str| {
        let start = part.as_ptr() as usize - text.as_ptr() as usize;
        Span::new(start, start + part.len())
    };
    let of = |part| LocatedText {
        text: part,
        span: said(part),
    };
    let mut sink = Sink::new(source, card, SpanUnit::Text, SourceLimits::USUAL);
    let (mut x, mut y) = (Vec::new(), Vec::new());
    let mut begun = false;
    for line in text.lines().skip(1) {
        if !begun {
            sink.begin_run("", said(line)).expect("in order");
            begun = true;
        }
        if let Some(value) = line.strip_prefix("!material ") {
            sink.claim(LocatedText::of("sample"), of(value))
                .expect("in order");
        } else if let Some(value) = line.strip_prefix("!cell ") {
            sink.claim(LocatedText::of("path length"), of(value))
                .expect("in order");
        } else if let Some((left, right)) = line.split_once('\'') {
            x.push(of(left));
            y.push(of(right));
        }
    }
    let column = |quantity, unit, cells| ColumnInput {
        quantity,
        unit,
        values: Values::Texts(cells),
        ..ColumnInput::default()
    };
    sink.axis(&column("wavelength", "nm", &x)).expect("in order");
    sink.curve(&CurveInput {
        column: column("absorbance", "", &y),
        ..CurveInput::default()
    })
    .expect("in order");
    sink.end_run().expect("in order");
    sink.finish().expect("in order")
}
