//! Reads every file of a folder: `cargo run -p curvary-tests --example read_folder -- demo-data/2019`.

use std::error::Error;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use curvary_formats::{Readers, Source};

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os().nth(1).unwrap_or_else(|| "demo-data".into());
    let readers = Readers::built_in();
    let mut out = std::io::stdout().lock();
    for path in files(Path::new(&folder))? {
        let source = Source::new(path.display().to_string(), fs::read(&path)?);
        let (card, reading) = readers.read(&source, None);
        let reader = card.map_or("no reader", |card| card.id.as_str());
        writeln!(out, "{}: {:?} by {reader}", path.display(), reading.verdict())?;
        for run in &reading.runs {
            let sample = run.fields.text("sample").unwrap_or("without a name");
            writeln!(out, "  {} of {sample}", run.technique.as_str())?;
            for trace in &run.traces {
                let (x, y) = (&trace.x, &trace.y);
                writeln!(
                    out,
                    "    {} points, {} in {} over {} in {}",
                    trace.len(),
                    y.quantity.as_str(),
                    y.unit,
                    x.quantity.as_str(),
                    x.unit
                )?;
            }
            for question in &run.questions {
                writeln!(out, "  asked: {}", question.message)?;
            }
        }
        for remark in &reading.remarks {
            writeln!(out, "  {}", remark.message)?;
        }
    }
    Ok(())
}

/// The files of a folder and of those inside it, in order.
fn files(folder: &Path) -> Result<Vec<PathBuf>, std::io::Error> {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder)?
        .map(|entry| Ok(entry?.path()))
        .collect::<Result<_, std::io::Error>>()?;
    entries.sort();
    let mut all = Vec::new();
    for entry in entries {
        if entry.is_dir() {
            all.extend(files(&entry)?);
        } else {
            all.push(entry);
        }
    }
    Ok(all)
}
