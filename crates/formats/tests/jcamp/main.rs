//! JCAMP-DX: what is written is read again, and the traps of real files.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod collections;
mod questions;
mod recognition;
mod writing;

use self::writing::scans;
use curvary_formats::readers::JcampDx;

use curvary_formats::writers::jcamp::{Form, JcampDxOptions, Version, write};
use curvary_formats::{Assumptions, Reader, Readers, Reading, Recognition, Source};
use curvary_record::{
    Claim, Code, Column, Coordinate, Decimals, Digest, Fields, Origin, Place, Quantity, Question, Run, RunId,
    Severity, SourceRef, Technique, Trace, Unit, Value, Verdict,
};
use proptest::prelude::*;

fn read(text: &str) -> Reading {
    let source = Source::new("a.jdx", text.as_bytes().to_vec());
    let whole = JcampDx::default().read(&source);
    in_turn(&source, &whole);
    whole
}

/// Reads run by run, which must give the same as the reading of the whole; whether it could be read so.
fn in_turn(source: &Source, whole: &Reading) -> bool {
    let mut runs = Vec::new();
    let remarks = JcampDx::default().read_each(source, &mut |run| {
        runs.push(run);
        true
    });
    let Some(remarks) = remarks else {
        return false;
    };
    assert_eq!(
        (&runs, &remarks),
        (&whole.runs, &whole.remarks),
        "{}",
        source.text()
    );
    true
}

fn assuming(text: &str, assumptions: &[&str]) -> Reading {
    let mut assume = Assumptions::none();
    for one in assumptions {
        assume.add(one).unwrap();
    }
    JcampDx::default().read(&Source::new("a.jdx", text.as_bytes().to_vec()).assuming(assume))
}

fn recognised(text: &str) -> Recognition {
    let source = Source::new("a.jdx", text.as_bytes().to_vec());
    JcampDx::default().recognise(&source.glimpse())
}

fn codes(reading: &Reading) -> Vec<String> {
    let of_runs = reading.runs.iter().flat_map(|run| &run.remarks);
    reading
        .remarks
        .iter()
        .chain(of_runs)
        .map(|r| r.code.to_string())
        .collect()
}

fn file(labels: &str, table: &str) -> String {
    format!(
        "##TITLE=t\n##JCAMP-DX=5.01\n##DATA TYPE=UV/VIS SPECTRUM\n##ORIGIN=lab\n##OWNER=us\n{labels}\n{table}\n##END=\n"
    )
}

const PAIRS: &str = "##XYPOINTS=(XY..XY)\n400.0, 0.1200\n400.5, 0.1300";
