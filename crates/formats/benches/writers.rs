//! How fast runs become files, with a plain way to do the same beside each figure. `cargo bench -p curvary-formats
//! --bench writers`.
#![allow(clippy::print_stdout, clippy::unwrap_used, missing_docs)]

use std::hint::black_box;
use std::time::Instant;

use curvary_formats::readers::JcampDx;
use curvary_formats::writers::csv::{CsvWriter, Survey};
use curvary_formats::writers::jcamp::{Form, JcampDxOptions, write};
use curvary_formats::{Reader, Source};
use curvary_record::{
    Claim, Column, Coordinate, Decimals, Digest, Fields, Numbers, Origin, Place, Quantity, Run, RunId,
    SourceRef, Technique, Trace, Unit,
};

/// Scans of `points` points that share an axis, with a field or two.
fn scans(scans: usize, points: usize) -> Run {
    let digest = Digest::of(b"bench");
    let axis: Numbers = (0..points).map(|i| (2000 + i as u64) as f64 / 10.0).collect();
    let traces = (0..scans).map(|scan| {
        let y: Vec<f64> = (0..points)
            .map(|i| ((i * 7919 + scan * 104_729) % 30_000) as f64 / 1e4)
            .collect();
        let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, axis.clone())
            .with_decimals(Decimals::uniform(1, points));
        let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y)
            .with_decimals(Decimals::uniform(4, points));
        let mut trace = Trace::new(x, y).unwrap();
        let time = scan as f64 * 30.0;
        trace
            .held
            .push(Coordinate::new(Quantity::TIME, Unit::SECOND, time));
        trace
    });
    let mut fields = Fields::default();
    let origin = || Origin::Source(Place::line(1));
    fields.claim("sample", Claim::text("betanin", origin()));
    fields.claim(
        "temperature",
        Claim::number(37.0, Some(Unit::CELSIUS), "37.0", origin()),
    );
    Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: "2019/scans.txt".into(),
            digest,
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: None,
            ordinal: 0,
            lines: None,
        },
        technique: Technique::SPECTRAL_TIME_COURSE,
        because: Vec::new(),
        fields,
        traces: traces.collect(),
        questions: Vec::new(),
        remarks: Vec::new(),
    }
}

fn tidy(run: &Run) -> Vec<u8> {
    let mut survey = Survey::default();
    survey.see(run);
    let table = survey.table();
    let mut writer = CsvWriter::new(Vec::new(), &table).unwrap();
    writer.write(run).unwrap();
    writer.finish().unwrap()
}

/// The same rows by the `csv` crate and the standard library's number formatting.
fn plain(run: &Run) -> Vec<u8> {
    let mut out = csv::Writer::from_writer(Vec::new());
    for (index, trace) in run.traces.iter().enumerate() {
        let (trace_number, time) = (index.to_string(), trace.held[0].value.to_string());
        for (x, y) in trace.x.values.iter().zip(trace.y.values.iter()) {
            let (x, y) = (format!("{x:.1}"), format!("{y:.4}"));
            let cells = [
                run.id.as_str(),
                &trace_number,
                "betanin",
                "spectral-time-course",
                &x,
                &time,
                "37.0",
                &run.source.path,
                &y,
            ];
            out.write_record(cells).unwrap();
        }
    }
    out.into_inner().unwrap()
}

/// The shortest of several times, in seconds.
fn best<T>(mut work: impl FnMut() -> T) -> f64 {
    (0..7)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let many = scans(500, 2001);
    let long = scans(1, 1_000_000);
    for (name, run) in [
        ("500 scans of 2001 points", &many),
        ("one curve of 1,000,000 points", &long),
    ] {
        let rows = run.points() as f64;
        let (ours, theirs) = (best(|| tidy(run)), best(|| plain(run)));
        println!(
            "tidy CSV, {name}: {:.1} million rows/s, {:.0} MB/s; csv crate and format!: {:.1} million rows/s; ratio {:.2}",
            rows / ours / 1e6,
            tidy(run).len() as f64 / ours / 1e6,
            rows / theirs / 1e6,
            theirs / ours
        );
    }
    // A smooth curve, as instruments write: two bands on a slope, four decimals.
    let mut smooth = scans(1, 1_000_000);
    let y: Vec<f64> = (0..1_000_000)
        .map(|i| {
            let x = f64::from(i) / 1e6;
            let band = |at: f64, width: f64| (-((x - at) / width).powi(2)).exp();
            ((band(0.3, 0.05) + 0.7 * band(0.6, 0.1) + 0.1 * x) * 1e4).round() / 1e4
        })
        .collect();
    smooth.traces[0].y.values = y.into();
    for form in [Form::Affn, Form::Dif, Form::DifDup] {
        let options = JcampDxOptions {
            form,
            ..JcampDxOptions::default()
        };
        let runs = std::slice::from_ref(&smooth);
        let text = write(runs, &options).unwrap().text;
        let source = Source::new("bench.jdx", text.clone().into_bytes());
        let reader = JcampDx::default();
        let (out, back) = (
            best(|| write(runs, &options).unwrap()),
            best(|| reader.read(&source)),
        );
        let codec = best(|| curvary_jcamp_dx::read(source.text(), &curvary_jcamp_dx::ReadOptions::default()));
        println!(
            "JCAMP-DX {form:?}: written at {:.1} and read at {:.1} million points/s (the codec alone: {:.1}), {:.2} bytes a point",
            1.0 / out,
            1.0 / back,
            1.0 / codec,
            text.len() as f64 / 1e6
        );
    }
}
