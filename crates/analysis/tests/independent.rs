//! Against values that SciPy and NumPy gave: `independent.py` beside this file wrote `data/independent.json`.

#![allow(clippy::unwrap_used)]

use curvary_analysis::courses::{Course, Order};
use curvary_analysis::fit::{Data, Options, Robust, Weighting, allow_for_correlation, fit};
use curvary_analysis::models::formula::Formula;
use curvary_analysis::scans::{Scans, Scheme, fit_global, rank};
use curvary_analysis::temperature::arrhenius;
use serde_json::Value;

fn file() -> Value {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/independent.json"
    ));
    serde_json::from_str(&text.unwrap()).unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

fn near(got: f64, want: f64, relative: f64, what: &str) {
    assert!(
        (got - want).abs() <= relative * want.abs().max(1e-300),
        "{what}: {got} against {want}"
    );
}

#[test]
fn tests_of_residuals() {
    let line = Formula::parse("a+b*x", &["x"]).unwrap();
    for case in file()["residual_tests"].as_array().unwrap() {
        let (x, y) = (numbers(&case["x"]), numbers(&case["y"]));
        let found = fit(&line, &Data::new(&[&x], &y), &Options::default())
            .unwrap()
            .diagnostics;
        let want = |key: &str| case[key].as_f64().unwrap();
        let n = x.len();
        near(
            found.durbin_watson.unwrap(),
            want("durbin_watson"),
            1e-9,
            &format!("d, n = {n}"),
        );
        assert_eq!(found.runs.unwrap().runs as f64, want("runs"));
        near(
            found.runs.unwrap().probability,
            want("runs_probability"),
            1e-9,
            &format!("runs, n = {n}"),
        );
        // Royston's W is a polynomial approximation; SciPy carries it in the precision of the original program.
        let normality = found.normality.unwrap();
        near(
            normality.statistic,
            want("normality_statistic"),
            1e-5,
            &format!("normality, n = {n}"),
        );
        near(
            normality.probability,
            want("normality_probability"),
            1e-3,
            &format!("p of normality, n = {n}"),
        );
    }
}

#[test]
fn weightings() {
    let file = file();
    let set = &file["weighted_fits"];
    let (t, y, sigma) = (numbers(&set["t"]), numbers(&set["y"]), numbers(&set["sigma"]));
    let weights: Vec<f64> = sigma.iter().map(|s| 1.0 / (s * s)).collect();
    let course = Course::new(Order::First).with_offset().unwrap();
    for (key, weighting, robust) in [
        ("equal", Weighting::Equal, Robust::No),
        ("known_errors", Weighting::KnownErrors(&sigma), Robust::No),
        ("weights", Weighting::Weights(&weights), Robust::No),
        ("relative", Weighting::Relative, Robust::No),
        ("huber", Weighting::Equal, Robust::Huber),
        ("tukey", Weighting::Equal, Robust::Tukey),
    ] {
        let options = Options {
            robust,
            ..Options::default()
        };
        let found = fit(
            &course,
            &Data {
                x: &[&t],
                y: &y,
                weighting,
            },
            &options,
        )
        .unwrap();
        let (values, errors) = (
            numbers(&set[key]["parameters"]),
            numbers(&set[key]["standard_errors"]),
        );
        for (p, (value, error)) in found.parameters.iter().zip(values.iter().zip(&errors)) {
            near(p.value, *value, 1e-6, &format!("{key} {}", p.name));
            near(
                p.standard_error.unwrap(),
                *error,
                1e-5,
                &format!("{key} error of {}", p.name),
            );
        }
        assert_eq!(found.fit_probability.is_some(), key == "known_errors");
    }
}

#[test]
fn global_fit() {
    let file = file();
    let set = &file["global_fit"];
    let rows: Vec<Vec<f64>> = set["absorbance"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .collect();
    let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
    let (wavelengths, times) = (numbers(&set["wavelengths"]), numbers(&set["times"]));
    let scans = Scans {
        wavelengths: &wavelengths,
        times: &times,
        absorbance: &rows,
    };
    let found = fit_global(&scans, Scheme::Consecutive).unwrap();
    for (rate, (k, error)) in found
        .rates
        .iter()
        .zip(numbers(&set["k"]).iter().zip(&numbers(&set["standard_errors"])))
    {
        near(rate.value, *k, 1e-6, &rate.name);
        near(rate.standard_error, *error, 1e-5, &rate.name);
    }
    near(
        found.residual_sum_of_squares,
        set["residual_sum_of_squares"].as_f64().unwrap(),
        1e-9,
        "sum of squares",
    );
    for (got, want) in found.spectra[1]
        .absorbance
        .iter()
        .zip(numbers(&set["spectrum_b"]))
    {
        assert!((got - want).abs() < 1e-6, "{got} against {want}");
    }
    let values = rank(&scans).unwrap();
    assert_eq!(values.rank, 3);
    for (got, want) in values.values.iter().zip(numbers(&set["singular_values"])) {
        near(*got, want, 1e-10, "singular value");
    }
}

#[test]
fn arrhenius_lines() {
    let file = file();
    let set = &file["arrhenius"];
    let (t, k, errors) = (numbers(&set["T"]), numbers(&set["k"]), numbers(&set["errors"]));
    for (key, errors) in [("plain", None), ("weighted", Some(errors.as_slice()))] {
        let found = arrhenius(&t, &k, errors).unwrap().activation_energy;
        near(found.value, set[key]["Ea"].as_f64().unwrap(), 1e-10, key);
        near(
            found.standard_error,
            set[key]["standard_error"].as_f64().unwrap(),
            1e-8,
            key,
        );
    }
}

#[test]
fn correlated_errors() {
    let file = file();
    let set = &file["correlated"];
    let (t, y) = (numbers(&set["t"]), numbers(&set["y"]));
    let course = Course::new(Order::First).with_offset().unwrap();
    let mut found = fit(&course, &Data::new(&[&t], &y), &Options::default()).unwrap();
    assert!(allow_for_correlation(&course, &[&t], &mut found));
    let correlation = found.correlation.as_ref().unwrap();
    near(
        correlation.lag_one,
        set["lag_one"].as_f64().unwrap(),
        1e-6,
        "correlation",
    );
    for (p, error) in found.parameters.iter().zip(numbers(&set["standard_errors"])) {
        near(p.standard_error.unwrap(), error, 1e-5, &p.name);
    }
}

#[test]
fn values_of_several_runs_pooled() {
    let file = file();
    let set = &file["pooled"];
    let values: Vec<(f64, Option<f64>)> = numbers(&set["values"])
        .into_iter()
        .zip(numbers(&set["errors"]).into_iter().map(Some))
        .collect();
    let found = curvary_analysis::study::pool(&values).unwrap();
    let wanted = |name: &str| set[name].as_f64().unwrap();
    near(found.mean, wanted("mean"), 1e-12, "mean");
    near(
        found.standard_error,
        wanted("standard_error"),
        1e-10,
        "standard error",
    );
    near(found.half_width, wanted("half_width"), 1e-9, "half width");
    near(found.between, wanted("between"), 1e-9, "between");
    let (q, chance) = found.homogeneity.unwrap();
    near(q, wanted("q"), 1e-10, "Q");
    near(chance, wanted("probability"), 1e-9, "probability");
    // Without own errors, the plain mean.
    let plain = curvary_analysis::study::pool(&[(1.0, None), (2.0, None), (3.0, Some(0.1))]).unwrap();
    assert!((plain.mean, plain.between, plain.homogeneity) == (2.0, 1.0, None));
    assert!(curvary_analysis::study::pool(&[(1.0, None)]).is_err());
}
