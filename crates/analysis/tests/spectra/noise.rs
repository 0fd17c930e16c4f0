//! Noise, drift and rounding, and averages.

use curvary_analysis::spectra::{Grids, PeakOptions, average, find_peaks, noise, point_noise};

use super::{bell, close, curve, independent, near, number, numbers, reversed};

#[test]
fn noise_and_drift_agree_with_scipy() {
    let data = &independent()["noise"];
    let trace = curve(&numbers(&data["t"]), &numbers(&data["y"]));
    for degree in 0..3 {
        let found = noise(&trace, degree).unwrap();
        close(found.rms, number(&data[format!("rms_{degree}")]), 1e-10);
        close(found.drift, number(&data["drift"]), 1e-9);
        close(found.drift_error, number(&data["drift_error"]), 1e-9);
    }
    close(
        noise(&trace, 1).unwrap().peak_to_peak,
        number(&data["peak_to_peak_1"]),
        1e-9,
    );
    close(
        point_noise(trace.y()).unwrap(),
        number(&data["point_noise"]),
        1e-9,
    );
    assert_eq!(
        noise(&curve(&[1.0, 2.0], &[0.0, 1.0]), 1).unwrap_err().code(),
        "too-few-points"
    );
    let x: Vec<f64> = (0..12).map(f64::from).collect();
    assert_eq!(
        noise(&curve(&x, &[0.1; 12]), 1).unwrap_err().code(),
        "constant-signal"
    );
}

#[test]
fn point_noise_finds_the_noise_that_was_put_in() {
    // 20,000 normal numbers from a congruential generator (Knuth's MMIX constants), on a slow wave.
    let mut state = 20_240_501u64;
    let y: Vec<f64> = (0..20_000)
        .map(|i| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let uniform = ((state >> 11) as f64 + 0.5) / 2f64.powi(53);
            0.3 * (f64::from(i) / 900.0).sin()
                + 2e-3 * curvary_analysis::distribution::normal_quantile(uniform)
        })
        .collect();
    close(point_noise(&y).unwrap(), 2e-3, 0.03);
}

#[test]
fn rounding_is_a_noise_too() {
    // A band far above the last digit, on a floor where only the last digit flickers.
    let x: Vec<f64> = (0..301).map(f64::from).collect();
    let y: Vec<f64> = (0..301)
        .map(|i| {
            let flicker = if i % 9 == 0 { 0.001 } else { 0.0 };
            ((0.5 * bell(f64::from(i), 150.0, 20.0) + flicker) * 1000.0).round() / 1000.0
        })
        .collect();
    near(point_noise(&y).unwrap(), 0.001 / 12f64.sqrt(), 1e-9);
    let table = find_peaks(&curve(&x, &y), &PeakOptions::default()).unwrap();
    assert_eq!(
        table.peaks.len(),
        1,
        "{:?}",
        table.peaks.iter().map(|p| p.sampled_x).collect::<Vec<_>>()
    );
}

#[test]
fn averages_carry_their_spread() {
    let a = curve(&[1.0, 2.0], &[0.10, 0.20]);
    let b = reversed(&curve(&[1.0, 2.0], &[0.12, 0.20]));
    let c = curve(&[1.0, 2.0], &[0.14, 0.23]);
    let found = average(&[a.clone(), b, c], Grids::MustMatch).unwrap();
    near(found.mean.y()[0], 0.12, 1e-15);
    near(found.mean.y()[1], 0.21, 1e-15);
    near(found.standard_deviation[0], 0.02, 1e-15);
    near(found.standard_error()[1], (0.0003f64).sqrt() / 3f64.sqrt(), 1e-15);
    assert_eq!(
        average(std::slice::from_ref(&a), Grids::MustMatch)
            .unwrap_err()
            .code(),
        "too-few-points"
    );
    let shifted = curve(&[1.0, 2.1], &[0.1, 0.2]);
    assert_eq!(
        average(&[a, shifted], Grids::MustMatch).unwrap_err().code(),
        "grids-differ"
    );
}
