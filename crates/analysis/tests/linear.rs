//! Linear least squares against the certified values of the NIST Statistical Reference Datasets
//! (`data/nist-strd-linear.json`; US government work, see there).

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use curvary_analysis::Refusal;
use curvary_analysis::linear::{LinearFit, fit, line, polynomial, polynomial_weighted, proportional};
use serde_json::Value;

fn digits(got: f64, certified: &Value) -> f64 {
    let want: f64 = certified.as_str().unwrap().parse().unwrap();
    if got == want {
        return 15.0;
    }
    let scale = if want == 0.0 { 1.0 } else { want.abs() };
    (-((got - want).abs() / scale).log10()).min(15.0)
}

fn fit_set(set: &Value) -> LinearFit {
    let rows: Vec<Vec<f64>> = set["data"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            row.as_array()
                .unwrap()
                .iter()
                .map(|v| v.as_f64().unwrap())
                .collect()
        })
        .collect();
    let column = |j: usize| rows.iter().map(|r| r[j]).collect::<Vec<f64>>();
    let y = column(0);
    let p = set["n_parameters"].as_u64().unwrap() as usize;
    let model = set["model"].as_str().unwrap();
    if rows[0].len() > 2 {
        let ones = vec![1.0; y.len()];
        let others: Vec<Vec<f64>> = (1..rows[0].len()).map(column).collect();
        let mut columns: Vec<&[f64]> = vec![&ones];
        columns.extend(others.iter().map(Vec::as_slice));
        return fit(&columns, &y).unwrap();
    }
    if model == "y = B1*x" {
        proportional(&column(1), &y).unwrap()
    } else {
        polynomial(&column(1), &y, p - 1).unwrap()
    }
}

#[test]
fn certified_sets_to_thirteen_digits() {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/nist-strd-linear.json"
    ));
    let file: Value = serde_json::from_str(&text.unwrap()).unwrap();
    let sets = file["datasets"].as_array().unwrap();
    assert_eq!(sets.len(), 11, "all that NIST publishes");
    for set in sets {
        let name = set["name"].as_str().unwrap();
        let certified = &set["certified"];
        let fit = fit_set(set);
        let mut worst: f64 = 15.0;
        for (j, value) in certified["parameters"].as_object().unwrap().values().enumerate() {
            worst = worst.min(digits(fit.coefficients[j], value));
        }
        let errors = fit.standard_errors.unwrap();
        for (j, value) in certified["standard_deviations"]
            .as_object()
            .unwrap()
            .values()
            .enumerate()
        {
            worst = worst.min(digits(errors[j], value));
        }
        worst = worst.min(digits(
            fit.residual_sd.unwrap(),
            &certified["residual_standard_deviation"],
        ));
        worst = worst.min(digits(fit.r_squared.unwrap(), &certified["r_squared"]));
        println!("{name}: {worst:.1} digits");
        assert!(worst >= 13.0, "{name}: only {worst} digits");
    }
}

/// A polynomial of degree ten over a narrow range, against a solution in 60-digit arithmetic
/// (`data/independent.json`, written by `independent.py`). Plain doubles keep about seven digits here.
#[test]
fn tenth_degree_keeps_its_digits() {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/independent.json"
    ));
    let file: Value = serde_json::from_str(&text.unwrap()).unwrap();
    let set = &file["hard_polynomial"];
    let numbers = |key: &str| -> Vec<f64> {
        set[key]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect()
    };
    let fit = polynomial(&numbers("x"), &numbers("y"), 10).unwrap();
    for (got, want) in fit.coefficients.iter().zip(numbers("coefficients")) {
        assert!((got / want - 1.0).abs() < 1e-13, "{got} against {want}");
    }
    for (got, want) in fit
        .standard_errors
        .unwrap()
        .iter()
        .zip(numbers("standard_errors"))
    {
        assert!((got / want - 1.0).abs() < 1e-13, "{got} against {want}");
    }
}

#[test]
fn weights_act_like_repeated_points() {
    let weighted =
        polynomial_weighted(&[1.0, 2.0, 4.0], &[1.1, 1.9, 4.3], 1, Some(&[1.0, 2.0, 1.0])).unwrap();
    let repeated = line(&[1.0, 2.0, 2.0, 4.0], &[1.1, 1.9, 1.9, 4.3]).unwrap();
    for (a, b) in weighted.coefficients.iter().zip(&repeated.coefficients) {
        assert!((a - b).abs() < 1e-14);
    }
    assert!((weighted.residual_sum_of_squares - repeated.residual_sum_of_squares).abs() < 1e-15);
}

#[test]
fn bad_data_have_a_named_reason() {
    let code = |r: Result<LinearFit, Refusal>| r.unwrap_err().code();
    assert_eq!(code(line(&[1.0], &[1.0])), "too-few-points");
    assert_eq!(code(line(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0])), "constant-axis");
    assert_eq!(code(line(&[1.0, f64::NAN, 2.0], &[1.0, 2.0, 3.0])), "not-finite");
    assert_eq!(code(line(&[1.0, 2.0], &[1.0, 2.0, 3.0])), "unequal-lengths");
    let x = [1.0, 2.0, 3.0, 4.0];
    let twice = [0.1, 0.2, 0.3, 0.4];
    assert_eq!(code(fit(&[&x, &twice], &x)), "collinear");
    assert_eq!(
        code(polynomial_weighted(&x, &x, 1, Some(&[1.0, 0.0, 1.0, 1.0]))),
        "bad-weight"
    );
    assert!(line(&[1.0, 2.0], &[1.0, 2.0]).unwrap().standard_errors.is_none());
    assert!(
        line(&[1.0, 2.0, 3.0], &[5.0, 5.0, 5.0])
            .unwrap()
            .r_squared
            .is_none()
    );
}
