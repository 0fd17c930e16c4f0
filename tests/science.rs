//! The science through the built program: certified values, as somebody would type them.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write;
use std::fs;

use curvary_tests::{json, root, run};
use serde_json::Value;

fn digits(got: &Value, want: &Value) -> f64 {
    let want: f64 = want.as_str().unwrap().parse().unwrap();
    let scale = if want == 0.0 { 1.0 } else { want.abs() };
    got.as_f64()
        .map_or(0.0, |got| (-((got - want).abs() / scale).log10()).min(15.0))
}

/// The only result that the program shows as JSON.
fn only(folder: &std::path::Path, call: &[&str]) -> Value {
    let shown = json(&run(folder, call));
    shown.as_array().map_or(shown.clone(), |all| {
        assert_eq!(all.len(), 1, "{call:?}");
        all[0].clone()
    })
}

fn parameter<'a>(shown: &'a Value, name: &str) -> &'a Value {
    let all = shown["parameters"].as_array().unwrap();
    all.iter()
        .find(|parameter| parameter["name"] == name)
        .unwrap_or(&Value::Null)
}

/// All 11 linear sets (`crates/analysis/tests/data/nist-strd-linear.json`) as formulas without starting values, the
/// columns as NIST prints them. The certified values have fifteen digits.
#[test]
fn certified_linear_sets() {
    let path = root().join("crates/analysis/tests/data/nist-strd-linear.json");
    let file: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    let sets = file["datasets"].as_array().unwrap();
    assert_eq!(sets.len(), 11);
    let folder = tempfile::tempdir().unwrap();
    for set in sets {
        let name = set["name"].as_str().unwrap();
        let heads: Vec<&str> = set["columns"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c.as_str().unwrap())
            .collect();
        let mut table = heads.join(",") + "\n";
        for row in set["data"].as_array().unwrap() {
            let cells: Vec<String> = row.as_array().unwrap().iter().map(Value::to_string).collect();
            table += &(cells.join(",") + "\n");
        }
        fs::write(folder.path().join("set.csv"), table).unwrap();
        let wanted = set["certified"]["parameters"].as_object().unwrap();
        let terms: Vec<String> = wanted
            .keys()
            .map(|b| match (b.trim_start_matches('B'), heads.len()) {
                ("0", _) => b.clone(),
                (power, 2) => format!("{b}*x^{power}"),
                (number, _) => format!("{b}*x{number}"),
            })
            .collect();
        let formula = format!("y = {}", terms.join(" + "));
        let over: Vec<String> = heads[1..].iter().map(|head| format!("{head}={head}")).collect();
        let over = over.join(",");
        let call = ["fit", "set.csv", "--formula", &formula, "--over", &over, "--json"];
        let shown = only(folder.path(), &call);
        for (b, want) in wanted {
            let own = parameter(&shown, b);
            let error = &set["certified"]["standard_deviations"][b];
            let found = digits(&own["value"], want).min(digits(&own["standard_error"], error));
            assert!(found >= 13.0, "{name}: {b} to {found:.1} digits");
        }
    }
}

/// All 27 nonlinear sets of the NIST Statistical Reference Datasets
/// (`crates/analysis/tests/data/nist-strd-nonlinear.json`), their formulas as NIST prints them, from both starts. The
/// second time the columns stand as NIST prints them, the measured one first: the heads say which is which.
#[test]
fn certified_nonlinear_sets() {
    let path = root().join("crates/analysis/tests/data/nist-strd-nonlinear.json");
    let file: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    let sets = file["datasets"].as_array().unwrap();
    assert_eq!(sets.len(), 27);
    let folder = tempfile::tempdir().unwrap();
    let mut failures = Vec::new();
    for set in sets {
        let name = set["name"].as_str().unwrap();
        let heads: Vec<&str> = set["columns"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c.as_str().unwrap())
            .collect();
        for (k, start) in set["starts"].as_object().unwrap().values().enumerate() {
            let mut order: Vec<usize> = (0..heads.len()).collect();
            if k == 0 {
                order.rotate_left(1);
            }
            let line = |cell: &dyn Fn(usize) -> String| {
                order.iter().map(|j| cell(*j)).collect::<Vec<_>>().join(",") + "\n"
            };
            let mut table = line(&|j| heads[j].to_owned());
            for row in set["data"].as_array().unwrap() {
                table += &line(&|j| row[j].to_string());
            }
            fs::write(folder.path().join("set.csv"), table).unwrap();
            let mut starts = String::new();
            for (j, value) in (1..).zip(start.as_array().unwrap()) {
                write!(starts, "{}b{j}={value}", if j == 1 { "" } else { "," }).unwrap();
            }
            let formula = set["model"].as_str().unwrap();
            let call = [
                "fit",
                "set.csv",
                "--formula",
                formula,
                "--start",
                &starts,
                "--json",
            ];
            let shown = only(folder.path(), &call);
            for (parameter, want) in set["certified"]["parameters"].as_object().unwrap() {
                let own = self::parameter(&shown, parameter);
                let error = &set["certified"]["standard_deviations"][parameter];
                let (value, error) = (digits(&own["value"], want), digits(&own["standard_error"], error));
                // NIST prints eleven digits.
                if value < 10.0 || error < 10.0 {
                    failures.push(format!(
                        "{name} start {}: {parameter} {value:.1}, {error:.1}",
                        k + 1
                    ));
                }
            }
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
}

/// The sum of squares and the parameters of a fit through the program.
fn fitted(folder: &std::path::Path, more: &[&str]) -> Value {
    let mut call = vec!["fit", "course.csv", "--model", "first-order+offset", "--json"];
    call.extend(more);
    only(folder, &call)
}

fn profile<'a>(shown: &'a Value, name: &str) -> &'a Value {
    let intervals = parameter(shown, name)["intervals"].as_array().unwrap();
    intervals
        .iter()
        .find(|interval| interval["kind"] == "profile-likelihood")
        .unwrap()
}

/// A course that was followed for an eighth of its half-life leaves the amplitude open upwards and the end value
/// downwards: both may go as far as they like, as long as they go together. The ends that are there lie where the sum
/// of squares has risen by t² variances, t being 2.776445 for four degrees of freedom (tables of Student's t).
#[test]
fn profiles_stay_open_where_the_data_leave_them_open() {
    let folder = tempfile::tempdir().unwrap();
    let course =
        "time (s),absorbance\n0,0.801\n30,0.772\n60,0.739\n90,0.711\n120,0.679\n150,0.650\n180,0.622\n";
    fs::write(folder.path().join("course.csv"), course).unwrap();
    let shown = fitted(folder.path(), &["--profile"]);
    assert_eq!(profile(&shown, "A")["high"], Value::Null);
    assert_eq!(profile(&shown, "offset")["low"], Value::Null);
    let sum = |shown: &Value| shown["statistics"]["residual_sum_of_squares"].as_f64().unwrap();
    let variance = sum(&shown) / 4.0;
    // Below zero a rate constant has no meaning.
    assert_eq!(profile(&shown, "k")["low"], Value::Null);
    for (name, end) in [("A", "low"), ("offset", "high"), ("k", "high")] {
        let limit = profile(&shown, name)[end].as_f64().unwrap();
        let hold = format!("{name}={limit:e}");
        let held = fitted(folder.path(), &["--hold", &hold]);
        let risen = (sum(&held) - sum(&shown)) / variance;
        assert!(
            (risen / 2.776_445_f64.powi(2) - 1.0).abs() < 1e-4,
            "{name} {end}: {risen}"
        );
    }
    // However far the amplitude goes, the sum of squares stays below that of the ends.
    let far = fitted(folder.path(), &["--hold", "A=1e6"]);
    assert!((sum(&far) - sum(&shown)) / variance < 2.776_445_f64.powi(2));
    let text = run(
        folder.path(),
        &["fit", "course.csv", "--model", "first-order+offset", "--profile"],
    );
    let text = String::from_utf8_lossy(&text.stdout).into_owned();
    assert!(
        text.contains("0.9 to open") && text.contains("open to -0.1"),
        "{text}"
    );
}
