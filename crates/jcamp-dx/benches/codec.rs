//! Speed of reading and writing, beside a plain scan of the same bytes in the same run.
//!
//! `cargo bench -p curvary-jcamp-dx`. One core; the best of several runs is printed, since everything else on the
//! machine can only make a run slower.
#![allow(
    clippy::print_stdout,
    clippy::expect_used,
    reason = "a benchmark prints and may fail"
)]

use std::hint::black_box;
use std::time::Instant;

use curvary_jcamp_dx::{Content, Curve, Form, ReadOptions, Sheet, WriteOptions, read, write};

/// An invented absorbance curve: bands on a slope with a little noise, four decimals.
fn curve(points: usize) -> Curve {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let y = (0..points).map(|i| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let noise = (state % 7) as f64 - 3.0;
        let t = i as f64 / 400.0;
        let band = (-(t % 10.0 - 5.0).powi(2)).exp() * 9000.0 + (t * 0.7).sin() * 900.0 + 2000.0;
        (band + noise).round() / 10_000.0
    });
    let y: Vec<f64> = y.collect();
    let x = (0..points)
        .map(|i| (190_000 + i as i64) as f64 / 1000.0)
        .collect();
    Curve::new(x, y, 3, 4)
}

fn sheet(curve: Curve) -> Sheet {
    Sheet {
        title: "benchmark".into(),
        data_type: "UV/VIS SPECTRUM".into(),
        origin: "invented".into(),
        owner: "PUBLIC DOMAIN".into(),
        x_units: "NANOMETERS".into(),
        y_units: "ABSORBANCE".into(),
        records: Vec::new(),
        content: Content::Curve(curve),
    }
}

/// Seconds of the fastest of a thousand runs.
fn best<T>(mut run: impl FnMut() -> T) -> f64 {
    (0..1000)
        .map(|_| {
            let start = Instant::now();
            black_box(run());
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let points = 20_000;
    let source = curve(points);
    let mut uneven = source.clone();
    uneven.x[points - 1] += 0.5;
    println!(
        "{points} points                 MB  read MB/s  M points/s  scan GB/s  read/scan  write M points/s"
    );
    let cases = [
        ("XYDATA DIFDUP", Form::DifDup, &source),
        ("XYDATA DIF", Form::Dif, &source),
        ("XYDATA SQZ", Form::Sqz, &source),
        ("XYDATA PAC", Form::Pac, &source),
        ("XYDATA AFFN", Form::Affn, &source),
        ("XYPOINTS AFFN", Form::Affn, &uneven),
    ];
    // `cargo bench -- DIFDUP` runs one case only.
    let only = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    for (name, form, curve) in cases {
        if only.as_ref().is_some_and(|only| !name.ends_with(only.as_str())) {
            continue;
        }
        let sheets = [sheet(curve.clone())];
        let options = WriteOptions {
            form,
            ..WriteOptions::default()
        };
        let text = write(&sheets, &options).expect("a sound curve").text;
        let document = read(&text, &ReadOptions::default());
        assert!(document.remarks.is_empty(), "{:?}", document.remarks);
        assert_eq!(
            document.blocks[0].tables[0].data.curve().expect("a curve").y,
            curve.y
        );
        let scan = best(|| text.bytes().fold(0u64, |sum, b| sum.wrapping_add(u64::from(b))));
        let reading = best(|| read(&text, &ReadOptions::default()));
        let writing = best(|| write(&sheets, &options));
        let (bytes, count) = (text.len() as f64, points as f64);
        println!(
            "{name:<22} {:>10.1} {:>10.0} {:>11.1} {:>10.2} {:>10.4} {:>17.1}",
            bytes / 1e6,
            bytes / reading / 1e6,
            count / reading / 1e6,
            bytes / scan / 1e9,
            scan / reading,
            count / writing / 1e6,
        );
    }
}
