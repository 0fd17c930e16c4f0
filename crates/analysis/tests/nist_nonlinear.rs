//! Nonlinear least squares through formulas, against the certified values of the NIST Statistical Reference Datasets
//! (`data/nist-strd-nonlinear.json`; US government work, see there).

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use curvary_analysis::fit::{Data, Fit, Options, fit};
use curvary_analysis::models::formula::Formula;
use serde_json::Value;

fn number(value: &Value) -> f64 {
    value.as_str().unwrap().parse().unwrap()
}

fn digits(got: f64, want: f64) -> f64 {
    if got == want {
        15.0
    } else {
        (-((got - want) / want).abs().log10()).min(15.0)
    }
}

struct Set {
    name: String,
    formula: Formula,
    x: Vec<Vec<f64>>,
    y: Vec<f64>,
    starts: Vec<Vec<f64>>,
    parameters: Vec<f64>,
    errors: Vec<f64>,
    rss: f64,
}

fn sets() -> Vec<Set> {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/nist-strd-nonlinear.json"
    ));
    let file: Value = serde_json::from_str(&text.unwrap()).unwrap();
    let sets = file["datasets"].as_array().unwrap().iter().map(|set| {
        let columns: Vec<&str> = set["columns"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c.as_str().unwrap())
            .collect();
        assert_eq!(columns[0], "y");
        let rows: Vec<Vec<f64>> = set["data"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| {
                r.as_array()
                    .unwrap()
                    .iter()
                    .map(|v| v.as_f64().unwrap())
                    .collect()
            })
            .collect();
        let formula = Formula::parse(set["model"].as_str().unwrap(), &columns[1..]).unwrap();
        // The file lists parameters as b1, b2 …; ours stand in the order of the formula.
        let count = set["n_parameters"].as_u64().unwrap() as usize;
        let places: Vec<usize> = (1..=count)
            .map(|k| formula.position(&format!("b{k}")).unwrap())
            .collect();
        let arranged = |values: Vec<f64>| {
            let mut out = vec![0.0; count];
            for (place, value) in places.iter().zip(values) {
                out[*place] = value;
            }
            out
        };
        let certified = &set["certified"];
        let named = |key: &str| {
            arranged(
                (1..=count)
                    .map(|k| number(&certified[key][format!("b{k}")]))
                    .collect(),
            )
        };
        Set {
            name: set["name"].as_str().unwrap().into(),
            x: (1..columns.len())
                .map(|j| rows.iter().map(|r| r[j]).collect())
                .collect(),
            y: rows.iter().map(|r| r[0]).collect(),
            starts: set["starts"]
                .as_object()
                .unwrap()
                .values()
                .map(|s| {
                    arranged(
                        s.as_array()
                            .unwrap()
                            .iter()
                            .map(|v| v.as_f64().unwrap())
                            .collect(),
                    )
                })
                .collect(),
            parameters: named("parameters"),
            errors: named("standard_deviations"),
            rss: number(&certified["residual_sum_of_squares"]),
            formula,
        }
    });
    sets.collect()
}

fn run(set: &Set, start: &[f64]) -> Fit {
    let x: Vec<&[f64]> = set.x.iter().map(Vec::as_slice).collect();
    let y = set.formula.respond(&set.y).unwrap();
    let options = Options {
        start: Some(start.to_vec()),
        ..Options::default()
    };
    fit(&set.formula, &Data::new(&x, &y), &options).unwrap_or_else(|e| panic!("{}: {e}", set.name))
}

#[test]
fn certified_sets_from_both_starts() {
    let sets = sets();
    assert_eq!(sets.len(), 27, "all that NIST publishes");
    let mut failures = Vec::new();
    for set in &sets {
        for (k, start) in set.starts.iter().enumerate() {
            let found = run(set, start);
            let mut parameters = 15.0_f64;
            let mut errors = 15.0_f64;
            for ((p, want), error) in found.parameters.iter().zip(&set.parameters).zip(&set.errors) {
                parameters = parameters.min(digits(p.value, *want));
                errors = errors.min(digits(p.standard_error.unwrap_or(f64::NAN), *error));
            }
            let rss = digits(found.residual_sum_of_squares, set.rss);
            println!(
                "{:9} start {}: {parameters:4.1} digits of the parameters, {errors:4.1} of their deviations, {rss:4.1} of \
                 the sum of squares; {} iterations, {} evaluations",
                set.name,
                k + 1,
                found.iterations,
                found.evaluations
            );
            if !(parameters >= 10.0 && errors >= 10.0 && rss >= 10.0) {
                failures.push(format!("{} start {}", set.name, k + 1));
            }
        }
    }
    assert!(failures.is_empty(), "{failures:?}");
}
