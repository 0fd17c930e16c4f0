//! Our search against an independent port of MINPACK (the `levenberg-marquardt` crate) on the NIST sets.

#![allow(clippy::unwrap_used)]

use curvary_analysis::fit::{Data, Options, fit};
use curvary_analysis::models::Model;
use curvary_analysis::models::formula::Formula;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use serde_json::Value;

struct Problem<'a> {
    formula: &'a Formula,
    x: Vec<&'a [f64]>,
    y: &'a [f64],
    p: DVector<f64>,
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, p: &DVector<f64>) {
        self.p.copy_from(p);
    }

    fn params(&self) -> DVector<f64> {
        self.p.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let mut values = vec![0.0; self.y.len()];
        self.formula.evaluate(&self.x, self.p.as_slice(), &mut values);
        Some(DVector::from_iterator(
            values.len(),
            values.iter().zip(self.y).map(|(f, y)| f - y),
        ))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let (n, p) = (self.y.len(), self.p.len());
        let (mut values, mut columns) = (vec![0.0; n], vec![0.0; n * p]);
        self.formula
            .differentiate(&self.x, self.p.as_slice(), &mut values, &mut columns);
        Some(DMatrix::from_vec(n, p, columns))
    }
}

#[test]
fn both_find_the_same_minimum() {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/nist-strd-nonlinear.json"
    ));
    let file: Value = serde_json::from_str(&text.unwrap()).unwrap();
    let mut compared = 0;
    for set in file["datasets"].as_array().unwrap() {
        let name = set["name"].as_str().unwrap();
        let columns: Vec<&str> = set["columns"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| c.as_str().unwrap())
            .collect();
        let formula = Formula::parse(set["model"].as_str().unwrap(), &columns[1..]).unwrap();
        let rows = set["data"].as_array().unwrap();
        let column = |j: usize| rows.iter().map(|r| r[j].as_f64().unwrap()).collect::<Vec<f64>>();
        let y = formula.respond(&column(0)).unwrap();
        let all: Vec<Vec<f64>> = (1..columns.len()).map(column).collect();
        let x: Vec<&[f64]> = all.iter().map(Vec::as_slice).collect();
        let listed: Vec<f64> = set["starts"]["start2"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        let mut start = vec![0.0; listed.len()];
        for (k, value) in listed.iter().enumerate() {
            start[formula.position(&format!("b{}", k + 1)).unwrap()] = *value;
        }
        let problem = Problem {
            formula: &formula,
            x: x.clone(),
            y: &y,
            p: DVector::from_vec(start.clone()),
        };
        let (theirs, report) = LevenbergMarquardt::new().with_patience(500).minimize(problem);
        let options = Options {
            start: Some(start),
            ..Options::default()
        };
        let ours = fit(&formula, &Data::new(&x, &y), &options).unwrap();
        let rss = 2.0 * report.objective_function;
        assert!(
            ours.residual_sum_of_squares <= rss * (1.0 + 1e-9) + 1e-25,
            "{name}: ours {:e}, theirs {rss:e}",
            ours.residual_sum_of_squares
        );
        if rss <= ours.residual_sum_of_squares * (1.0 + 1e-6) {
            compared += 1;
            for (a, b) in ours.parameters.iter().zip(theirs.p.iter()) {
                assert!(
                    (a.value - b).abs() <= 1e-3 * a.standard_error.unwrap(),
                    "{name}: {} against {b}",
                    a.value
                );
            }
        }
    }
    assert!(
        compared >= 12,
        "only {compared} sets led both ways to the same minimum"
    );
}
