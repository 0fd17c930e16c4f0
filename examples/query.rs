//! Runs of an archive that a query finds, and their points:
//! `cargo run -p curvary-tests --example query -- my-archive "betanin temperature:37"`.

use std::error::Error;
use std::io::Write;
use std::path::Path;

use curvary_archive::{Archive, FindOptions};

fn main() -> Result<(), Box<dyn Error>> {
    let mut given = std::env::args().skip(1);
    let (Some(folder), Some(words)) = (given.next(), given.next()) else {
        return Err("expected the folder of an archive and a query".into());
    };
    let archive = Archive::open(Path::new(&folder))?;
    let query = archive.query(&words)?;
    let found = archive.find(&query, &FindOptions::default())?;
    let mut out = std::io::stdout().lock();
    writeln!(out, "{} runs", found.total)?;
    for hit in found.hits {
        let run = archive.stored(&hit.id)?;
        let points: usize = run.traces.iter().map(|trace| trace.len()).sum();
        writeln!(out, "{}: {points} points from {}", hit.id, run.source.path)?;
    }
    Ok(())
}
