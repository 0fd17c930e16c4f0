//! How long tables take to be written by the writers alone, from runs that are in memory: what `write_table.py` sets beside
//! libraries that write from memory too. `cargo bench -p curvary-formats --bench table -- FOLDER`: the files below the folder
//! are read first, and each form is written to a folder beside them five times; a line a form says the least processor time of
//! this thread, in seconds.
#![allow(clippy::print_stdout, clippy::unwrap_used, missing_docs)]

use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::time::Instant;

use curvary_formats::writers::csv::CsvOptions;
use curvary_formats::writers::export::{ExportPart, Exporter, Files, Output, TidyCsvExporter, export};
use curvary_formats::writers::parquet::Parquet;
use curvary_formats::writers::tables::Tables;
use curvary_formats::writers::units::Units;
use curvary_formats::{Readers, Source};
use curvary_record::Run;

/// Files of one export in a folder.
struct Folder(PathBuf);

impl Files for Folder {
    fn create(&mut self, part: ExportPart<'_>) -> io::Result<Box<dyn Output>> {
        let name = match part {
            ExportPart::Main => "main",
            ExportPart::Schema => "schema",
            ExportPart::Member(name) => name,
        };
        let file = File::create(self.0.join(name))?;
        Ok(Box::new(BufWriter::with_capacity(1 << 16, file)))
    }
}

/// Seconds that this thread has had a processor, where the system tells; else those on the clock.
fn used(begun: Instant) -> f64 {
    let told = fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|told| told.split(' ').next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(|| begun.elapsed().as_secs_f64(), |count| count / 1e9)
}

fn below(folder: &Path, all: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            below(&path, all);
        } else {
            all.push(path);
        }
    }
}

fn main() {
    // `cargo bench` adds words of its own.
    let Some(folder) = std::env::args().skip(1).find(|word| !word.starts_with("--")) else {
        println!("give a folder of files after `--`");
        return;
    };
    let mut paths = Vec::new();
    below(Path::new(&folder), &mut paths);
    paths.sort();
    let readers = Readers::built_in();
    let mut runs: Vec<Run> = Vec::new();
    for path in paths {
        let source = Source::new(path.display().to_string(), fs::read(&path).unwrap());
        runs.extend(readers.read(&source, None).1.runs);
    }
    let out = PathBuf::from(format!("{}.written", folder.trim_end_matches('/')));
    fs::create_dir_all(&out).unwrap();
    let begun = Instant::now();
    for form in ["csv", "tables", "parquet"] {
        let least = (0..5)
            .map(|_| {
                let mut exporter: Box<dyn Exporter> = match form {
                    "csv" => Box::new(TidyCsvExporter::new(CsvOptions::default())),
                    "tables" => Box::new(Tables::new(CsvOptions::default())),
                    _ => Box::new(Parquet::default()),
                };
                let before = used(begun);
                export(
                    exporter.as_mut(),
                    &mut runs.as_slice(),
                    Units::OneEach,
                    &mut Folder(out.clone()),
                )
                .unwrap();
                used(begun) - before
            })
            .fold(f64::INFINITY, f64::min);
        println!("{form} {least:.4}");
    }
    fs::remove_dir_all(&out).unwrap();
}
