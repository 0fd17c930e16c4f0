//! Calibration lines with a squared term: certified values of NIST, the band inverted point by point, and coverage by simulation.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod noise;

use curvary_analysis::distribution::t_half_width;
use curvary_analysis::linear::polynomial;
use curvary_analysis::quantities::{
    BentCalibration, Calibration, CalibrationOptions, ConcentrationSet, StandardWeighting, Target,
};
use noise::Noise;
use serde_json::Value;

fn close(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "found {found}, expected {expected}"
    );
}

fn bent(x: &[f64], y: &[f64]) -> BentCalibration {
    BentCalibration::fit(x, y, &CalibrationOptions::default()).unwrap()
}

/// Pontius, the load cell calibration of the Statistical Reference Datasets (data/nist-strd-linear.json).
#[test]
fn a_certified_quadratic_calibration() {
    let file: Value = serde_json::from_str(include_str!("data/nist-strd-linear.json")).unwrap();
    let sets = file["datasets"].as_array().unwrap();
    let set = sets.iter().find(|set| set["name"] == "Pontius").unwrap();
    let column = |j: usize| -> Vec<f64> {
        let rows = set["data"].as_array().unwrap();
        rows.iter().map(|row| row[j].as_f64().unwrap()).collect()
    };
    let line = bent(&column(1), &column(0));
    let certified = |value: &Value| value.as_str().unwrap().parse::<f64>().unwrap();
    let all = &set["certified"];
    for (j, name) in ["B0", "B1", "B2"].into_iter().enumerate() {
        close(line.coefficients[j], certified(&all["parameters"][name]), 1e-12);
        close(
            line.standard_errors[j],
            certified(&all["standard_deviations"][name]),
            1e-12,
        );
    }
    close(
        line.residual_sd,
        certified(&all["residual_standard_deviation"]),
        1e-12,
    );
}

/// Eight standards of a line that bends down.
fn standards() -> (Vec<f64>, Vec<f64>) {
    let x = vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0];
    let off = [0.002, -0.001, 0.0015, -0.002, 0.001, 0.0005, -0.0015, 0.0005];
    let y = x
        .iter()
        .zip(off)
        .map(|(x, e)| 0.01 + 0.1 * x - 0.004 * x * x + e)
        .collect();
    (x, y)
}

/// The limits are where the prediction band of an independent fit meets the reading.
#[test]
fn limits_are_the_band_read_backwards() {
    let (x, y) = standards();
    let line = bent(&x, &y);
    let plain = polynomial(&x, &y, 2).unwrap();
    let (covariance, b) = (plain.covariance.unwrap(), plain.coefficients.clone());
    let t = t_half_width(0.95, 5.0);
    let sd = plain.residual_sd.unwrap();
    for (readings, m) in [(vec![0.3], 1.0), (vec![0.3, 0.3, 0.3], 3.0)] {
        let found = line.inverse(&readings, 0.95).unwrap();
        close(b[0] + b[1] * found.x + b[2] * found.x * found.x, 0.3, 1e-12);
        let ConcentrationSet::Interval { low, high } = found.limits else {
            panic!("{:?}", found.limits)
        };
        assert!(low < found.x && found.x < high);
        // Repeats without any scatter pool two degrees of freedom more.
        let (t, sd) = if m > 1.0 {
            (t_half_width(0.95, 7.0), sd * (5.0_f64 / 7.0).sqrt())
        } else {
            (t, sd)
        };
        for at in [low, high] {
            let powers = [1.0, at, at * at];
            let mut variance = 0.0;
            for i in 0..3 {
                for j in 0..3 {
                    variance += powers[i] * powers[j] * covariance[i][j];
                }
            }
            let variance = variance * (sd / plain.residual_sd.unwrap()).powi(2) + sd * sd / m;
            let height = b[0] + b[1] * at + b[2] * at * at;
            close((height - 0.3).abs(), t * variance.sqrt(), 1e-9);
        }
    }
}

#[test]
fn a_line_that_is_straight_gives_what_the_straight_one_gives() {
    let x: Vec<f64> = (0..8).map(f64::from).collect();
    let off = [1.0, -1.0, 0.0, 1.0, -2.0, 1.0, 1.0, -1.0];
    let y: Vec<f64> = x
        .iter()
        .zip(off)
        .map(|(x, e)| 0.02 + 0.1 * x + 1e-4 * e)
        .collect();
    let found = bent(&x, &y);
    assert!(
        found
            .remarks
            .iter()
            .any(|remark| remark.code == "straight-is-enough")
    );
    let straight = Calibration::fit(&x, &y, &CalibrationOptions::default()).unwrap();
    let one = straight
        .inverse(&Target::Readings(vec![0.4]), 0.95, None)
        .unwrap();
    let other = found.inverse(&[0.4], 0.95).unwrap();
    assert!((one.x - other.x).abs() < 0.2 * other.standard_error + 0.002);
}

#[test]
fn what_a_bent_line_cannot_tell_is_refused() {
    let (x, y) = standards();
    let line = bent(&x, &y);
    // Its top is 0.01 + 0.1²/0.016 = 0.635.
    assert_eq!(line.inverse(&[0.7], 0.95).unwrap_err().code(), "out-of-range");
    // Near the top the upper limit is open.
    let near = line.inverse(&[0.632], 0.95).unwrap();
    assert!(
        matches!(near.limits, ConcentrationSet::AtLeast { .. }),
        "{:?}",
        near.limits
    );
    assert!(
        near.remarks
            .iter()
            .any(|remark| remark.code == "outside-standards")
    );
    let turned: Vec<f64> = x.iter().map(|x| 0.5 - (x - 4.0) * (x - 4.0) / 40.0).collect();
    let refused = BentCalibration::fit(&x, &turned, &CalibrationOptions::default()).unwrap_err();
    assert!(refused.to_string().contains("two concentrations") || refused.to_string().contains("turns"));
    let few = BentCalibration::fit(&x[..3], &y[..3], &CalibrationOptions::default()).unwrap_err();
    assert_eq!(few.code(), "too-few-points");
}

/// 95 % intervals over a bent line, read by itself and weighted by 1/x², hold the truth in 95 of 100 cases.
#[test]
fn intervals_hold_what_they_promise() {
    let sets: usize = std::env::var("SETS")
        .ok()
        .and_then(|sets| sets.parse().ok())
        .unwrap_or(400);
    let height = |x: f64| 0.01 + 0.1 * x - 0.004 * x * x;
    for weighted in [false, true] {
        let mut noise = Noise(77);
        let levels = [0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0];
        let (mut held, mut line_held) = (0, 0);
        for _ in 0..sets {
            let mut read = |x: f64| {
                let sd = if weighted { 0.004 * x } else { 0.003 };
                height(x) + sd * noise.normal()
            };
            let y: Vec<f64> = levels.iter().map(|x| read(*x)).collect();
            let truth = 3.7;
            let reading = read(truth);
            let options = CalibrationOptions {
                weighting: if weighted {
                    StandardWeighting::InverseXSquared
                } else {
                    StandardWeighting::Equal
                },
                ..CalibrationOptions::default()
            };
            let found = BentCalibration::fit(&levels, &y, &options)
                .unwrap()
                .inverse(&[reading], 0.95)
                .unwrap();
            let within = |limits: ConcentrationSet| {
                limits
                    .interval()
                    .is_some_and(|[low, high]| low <= truth && truth <= high)
            };
            held += usize::from(within(found.limits));
            let straight = Calibration::fit(&levels, &y, &options)
                .unwrap()
                .inverse(&Target::Readings(vec![reading]), 0.95, None)
                .unwrap();
            line_held += usize::from(within(straight.limits));
        }
        let share = held as f64 / sets as f64;
        println!(
            "bent line, weighted {weighted}: {:.1} % (a straight one {:.1} %)",
            100.0 * share,
            100.0 * line_held as f64 / sets as f64
        );
        let room = 4.0 * (0.95 * 0.05 / sets as f64).sqrt();
        assert!((share - 0.95).abs() < room.max(0.02), "{share}");
    }
}

/// One standard out of six that was pipetted wrongly is told; noise alone is told in about one of a hundred lines.
#[test]
fn a_standard_far_off_its_line_is_told() {
    let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    let y = [0.0097, 0.1101, 0.2106, 0.3295, 0.4103, 0.5100];
    let far = |remarks: &[curvary_analysis::quantities::Remark]| {
        remarks.iter().any(|r| r.code == "standard-far-off")
    };
    let options = CalibrationOptions::default();
    assert!(far(&Calibration::fit(&x, &y, &options).unwrap().remarks));
    let mut noise = Noise(7);
    let mut told = 0;
    for _ in 0..1000 {
        let y: Vec<f64> = x
            .iter()
            .map(|x| 0.01 + 0.1 * x + 0.001 * noise.normal())
            .collect();
        told += usize::from(far(&Calibration::fit(&x, &y, &options).unwrap().remarks));
    }
    assert!((1..=25).contains(&told), "{told} of 1000");
}
