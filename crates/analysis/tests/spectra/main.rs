//! Spectra against SciPy and NumPy (data/independent-spectra.json, made by independent_spectra.py),
//! against exact conversions (data/closed-form.json) and against properties that must hold.

#![allow(clippy::unwrap_used)]

mod baselines;
mod chains;
mod conversions;
mod noise;
mod peaks;
mod resampling;
mod smoothing;

use curvary_analysis::spectra::{Axis, Curve, Ordinate, Spectrum};
use serde_json::Value;

fn independent() -> Value {
    serde_json::from_str(include_str!("../data/independent-spectra.json")).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    let allowed = relative * expected.abs().max(1e-300);
    assert!(
        (found - expected).abs() <= allowed,
        "found {found}, expected {expected}"
    );
}

#[track_caller]
fn near(found: f64, expected: f64, absolute: f64) {
    assert!(
        (found - expected).abs() <= absolute,
        "found {found}, expected {expected}"
    );
}

fn curve(x: &[f64], y: &[f64]) -> Curve {
    Curve::new(x.to_vec(), y.to_vec()).unwrap()
}

fn invented() -> Curve {
    let data = independent();
    curve(&numbers(&data["spectrum"]["x"]), &numbers(&data["spectrum"]["y"]))
}

fn absorbance(curve: Curve) -> Spectrum {
    Spectrum {
        curve,
        axis: Axis::Nanometre,
        ordinate: Ordinate::Absorbance,
    }
}

fn bell(x: f64, at: f64, fwhm: f64) -> f64 {
    (-4.0 * 2f64.ln() * ((x - at) / fwhm).powi(2)).exp()
}

fn reversed(curve: &Curve) -> Curve {
    let turn = |v: &[f64]| v.iter().rev().copied().collect::<Vec<_>>();
    Curve::new(turn(curve.x()), turn(curve.y())).unwrap()
}
