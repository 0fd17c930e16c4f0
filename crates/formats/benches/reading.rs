//! How quickly text is read, everything found by the program, beside a bare loop that is told everything.
//!
//! Prints ratios within one run: `cargo bench -p curvary-formats --bench reading`. The bare loop is the `csv` crate
//! with a number parse for each cell; it knows separator, decimal sign, header and shape beforehand. With `FOLDER=PATH`
//! the files in one folder are read, from the disk on, with the greatest memory meanwhile; `read_table.py` does
//! that beside libraries of Python.
#![allow(clippy::print_stdout)]

use std::fs::{self, File};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::Instant;

use curvary_formats::sink::{CompletedRun, Sink, SourceLimits, SpanUnit};
use curvary_formats::{Readers, Source, take_in};

/// The best of several rounds, in seconds.
fn best(rounds: usize, mut work: impl FnMut()) -> f64 {
    (0..rounds)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

/// The same of the time that this thread has had a core for itself, where the system tells it: on a busy machine it
/// varies less.
fn best_of_core(rounds: usize, mut work: impl FnMut()) -> f64 {
    let on_core = || -> Option<f64> {
        let told = fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        Some(told.split(' ').next()?.parse::<f64>().ok()? * 1e-9)
    };
    if on_core().is_none() {
        return best(rounds, work);
    }
    let mut least = f64::INFINITY;
    for _ in 0..rounds {
        let start = on_core().unwrap_or(0.0);
        work();
        least = least.min(on_core().unwrap_or(f64::INFINITY) - start);
    }
    least
}

fn spectrum(rows: usize, comma: bool) -> String {
    let mut text = String::from(
        "Sample: betanin\nDate: 2021-03-14\nTemperature: 37 °C\npH: 7.0\nOperator: invented\nPath length: 1 cm\n\nWavelength (nm)\tAbsorbance\n",
    );
    for row in 0..rows {
        let x = 200.0 + row as f64 * 0.5;
        let y = 0.05 + 0.9 * (-((x - 535.0) / 40.0).powi(2)).exp();
        text.push_str(&format!("{x:.1}\t{y:.4}\n"));
    }
    if comma {
        text.replace(": ", ":\u{1}")
            .replace('.', ",")
            .replace(":\u{1}", ": ")
    } else {
        text
    }
}

fn matrix(rows: usize, columns: usize) -> String {
    let mut text = String::from("Absorbance\nWavelength (nm)");
    for column in 0..columns {
        text.push_str(&format!(",{} s", column * 10));
    }
    text.push('\n');
    for row in 0..rows {
        text.push_str(&format!("{:.1}", 300.0 + row as f64 * 0.5));
        for column in 0..columns {
            let y = (row as f64 * 0.01).sin().abs() * (-(column as f64) * 0.01).exp();
            text.push_str(&format!(",{y:.4}"));
        }
        text.push('\n');
    }
    text
}

/// The bare loop: rows and cells by the `csv` crate, numbers by the standard library.
fn bare(bytes: &[u8], delimiter: u8, skip: usize) -> f64 {
    let body = bytes.splitn(skip + 1, |&b| b == b'\n').nth(skip).unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(body);
    let mut record = csv::ByteRecord::new();
    let mut columns: Vec<Vec<f64>> = Vec::new();
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        for (index, cell) in record.iter().enumerate() {
            let value = std::str::from_utf8(cell)
                .ok()
                .and_then(|cell| cell.parse().ok())
                .unwrap_or(f64::NAN);
            if columns.len() <= index {
                columns.push(Vec::new());
            }
            columns[index].push(value);
        }
    }
    columns.iter().map(|column| column.len() as f64).sum()
}

/// An xlsx workbook with a table of two columns.
fn workbook(rows: u32) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let Ok(sheet) = book.add_worksheet_with_constant_memory() else {
        return Vec::new();
    };
    let _ = sheet.write(0, 0, "Wavelength (nm)");
    let _ = sheet.write(0, 1, "Absorbance");
    for row in 0..rows {
        let x = 200.0 + f64::from(row) * 0.5;
        let y = 0.05 + 0.9 * (-((x - 535.0) / 40_000.0).powi(2)).exp();
        let _ = sheet.write(row + 1, 0, x);
        let _ = sheet.write(row + 1, 1, (y * 1e4).round() / 1e4);
    }
    book.save_to_buffer().unwrap_or_default()
}

/// The library's own reading of all cells of the first sheet; their sum.
fn bare_sheet(bytes: &[u8]) -> f64 {
    let Ok(calamine::Sheets::Xlsx(mut book)) =
        calamine::open_workbook_auto_from_rs(std::io::Cursor::new(bytes))
    else {
        return 0.0;
    };
    let name = calamine::Reader::sheet_names(&book)
        .first()
        .cloned()
        .unwrap_or_default();
    let Ok(mut cells) = book.worksheet_cells_reader(&name) else {
        return 0.0;
    };
    let mut sum = 0.0;
    while let Ok(Some(cell)) = cells.next_cell() {
        if let calamine::DataRef::Float(number) = cell.get_value() {
            sum += number;
        }
    }
    sum
}

fn read(readers: &Readers, bytes: &[u8]) -> usize {
    let source = Source::new("bench.txt", bytes.to_vec());
    let (_, reading) = readers.read(&source, None);
    reading.runs.iter().map(curvary_record::Run::points).sum()
}

/// What the hand-over of runs to the sink takes of the whole reading.
fn handing_over(readers: &Readers, name: &str, bytes: &[u8], repeat: usize) {
    let source = Source::new("bench.txt", bytes.to_vec());
    let (card, reading) = readers.read(&source, None);
    let Some(card) = card else { return };
    let whole = best_of_core(7, || {
        for _ in 0..repeat {
            black_box(readers.read(&source, None));
        }
    });
    let mut least = f64::INFINITY;
    for _ in 0..7 {
        let mut ready: Vec<Vec<CompletedRun>> = (0..repeat)
            .map(|_| reading.runs.iter().cloned().map(CompletedRun::from).collect())
            .collect();
        let start = Instant::now();
        for runs in ready.drain(..) {
            let mut sink = Sink::new(&source, card, SpanUnit::Text, SourceLimits::WHOLE);
            let told = runs.into_iter().try_for_each(|run| sink.understood(run));
            black_box(sink.finished(told));
        }
        least = least.min(start.elapsed().as_secs_f64());
    }
    println!(
        "handing over, {name}: {:.2} % of reading, {:.2} µs a file",
        least / whole * 100.0,
        least / repeat as f64 * 1e6
    );
}

/// How many runs and points a file has, from the disk on and with its digest, as `curvary add` reads it.
fn from_disk(readers: &Readers, path: &Path) -> std::io::Result<(usize, usize)> {
    let file = File::open(path)?;
    let size = usize::try_from(file.metadata()?.len()).unwrap_or(0);
    let name = path
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let source = Source::taken(name, take_in(file, size)?);
    let (_, reading) = readers.read(&source, None);
    let points = reading.runs.iter().map(curvary_record::Run::points).sum();
    Ok((reading.runs.len(), points))
}

/// The greatest memory of this process since it was last asked for, in kilobytes, where the system tells it.
fn peak() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let _ = fs::write("/proc/self/clear_refs", "5");
    line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok())
        .unwrap_or(0)
}

/// Reads the files in a folder and prints how long it took.
fn read_folder(readers: &Readers, folder: &Path, rounds: usize) -> std::io::Result<()> {
    let mut files = fs::read_dir(folder)?
        .map(|entry| Ok(entry?.path()))
        .collect::<std::io::Result<Vec<PathBuf>>>()?;
    files.sort();
    let (mut runs, mut points) = (0, 0);
    peak();
    let time = best_of_core(rounds, || {
        (runs, points) = (0, 0);
        for file in &files {
            let read = from_disk(readers, file).unwrap_or_default();
            runs += read.0;
            points += read.1;
        }
    });
    println!(
        "{runs} runs, {points} points in {:.3} ms, peak {} kB",
        time * 1e3,
        peak()
    );
    Ok(())
}

fn main() {
    let readers = Readers::built_in();
    let rounds = 7;
    if let Some(folder) = std::env::var_os("FOLDER") {
        let rounds = std::env::var("ROUNDS")
            .ok()
            .and_then(|rounds| rounds.parse().ok());
        if let Err(error) = read_folder(&readers, Path::new(&folder), rounds.unwrap_or(5)) {
            println!("{}: {error}", Path::new(&folder).display());
        }
        return;
    }
    let row = |name: &str, bytes: &[u8], repeat: usize, bare_time: f64| {
        let points = read(&readers, bytes);
        let time = best(rounds, || {
            for _ in 0..repeat {
                black_box(read(&readers, black_box(bytes)));
            }
        });
        let size = (bytes.len() * repeat) as f64;
        println!(
            "{name:<34} {points:>9} points  {:>7.1} MB/s  {:>8.0} files/s  {:>5.2} of the bare loop",
            size / time / 1e6,
            repeat as f64 / time,
            bare_time / time
        );
        time
    };

    let sheet = workbook(600_000);
    let bare_time = best(3, || {
        black_box(bare_sheet(black_box(&sheet)));
    });
    println!(
        "bare reading of the cells of a sheet of {:.1} MB: {:.3} s",
        sheet.len() as f64 / 1e6,
        bare_time
    );
    let time = row("the same sheet", &sheet, 1, bare_time);
    println!("a sheet takes {:.2} times its bare reading", time / bare_time);
    handing_over(
        &readers,
        "files of 40 points",
        spectrum(40, false).as_bytes(),
        2000,
    );
    handing_over(&readers, "a wide matrix", matrix(1000, 200).as_bytes(), 1);
    handing_over(
        &readers,
        "a million rows",
        spectrum(1_000_000, false).as_bytes(),
        1,
    );
    if std::env::var_os("SHORT").is_some() {
        return;
    }
    let small = spectrum(1000, false);
    let repeat = 400;
    let bare_small = best(rounds, || {
        for _ in 0..repeat {
            black_box(bare(black_box(small.as_bytes()), b'\t', 8));
        }
    });
    println!(
        "bare csv loop, small two-column text: {:.1} MB/s",
        (small.len() * repeat) as f64 / bare_small / 1e6
    );
    let plain = row("small two-column text", small.as_bytes(), repeat, bare_small);
    let comma = spectrum(1000, true);
    let comma_time = row("  with decimal commas", comma.as_bytes(), repeat, bare_small);
    let utf16: Vec<u8> = [0xFF, 0xFE]
        .into_iter()
        .chain(small.encode_utf16().flat_map(u16::to_le_bytes))
        .collect();
    let utf16_time = row("  in UTF-16", &utf16, repeat, bare_small);
    println!(
        "decimal comma at {:.2}, UTF-16 at {:.2} of the plain twin's speed (text for text)",
        plain / comma_time,
        plain / utf16_time
    );

    let wide = matrix(1000, 200);
    let bare_wide = best(rounds, || {
        black_box(bare(black_box(wide.as_bytes()), b',', 2));
    });
    println!(
        "bare csv loop, wide matrix: {:.1} MB/s",
        wide.len() as f64 / bare_wide / 1e6
    );
    row("wide matrix, 1000 by 200", wide.as_bytes(), 1, bare_wide);

    let long = spectrum(1_000_000, false);
    let bare_long = best(3, || {
        black_box(bare(black_box(long.as_bytes()), b'\t', 8));
    });
    row("one long table, a million rows", long.as_bytes(), 1, bare_long);
}
