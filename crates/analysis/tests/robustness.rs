//! Hard shapes from far starts: formulas of the kind that reference collections use, on invented data.
//!
//! The true values and starts are round numbers near well-known hard problems; the data are generated here.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use curvary_analysis::fit::{Data, Options, fit};
use curvary_analysis::models::formula::Formula;

/// Normal deviates by Box and Muller from a linear congruential generator (Knuth's MMIX constants).
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }
}

struct Case {
    name: &'static str,
    formula: &'static str,
    names: &'static [&'static str],
    truth: Vec<f64>,
    starts: Vec<Vec<f64>>,
    x: Vec<Vec<f64>>,
    sd: f64,
}

fn ramp(from: f64, to: f64, n: usize) -> Vec<f64> {
    (0..n)
        .map(|i| from + (to - from) * i as f64 / (n - 1) as f64)
        .collect()
}

fn cases() -> Vec<Case> {
    let cubic = "(b1+b2*x+b3*x^2+b4*x^3)/(1+b5*x+b6*x^2+b7*x^3)";
    let mut aging = (Vec::new(), Vec::new());
    for weeks in [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 48.0, 64.0] {
        for temperature in [180.0, 225.0, 250.0, 275.0] {
            for _ in 0..4 {
                aging.0.push(weeks);
                aging.1.push(temperature);
            }
        }
    }
    vec![
        Case {
            name: "power of a shifted variable",
            formula: "b1*(b2+x)^(-1/b3)",
            names: &["x"],
            truth: vec![-2523.5, 46.7, 0.932],
            starts: vec![vec![-2000.0, 50.0, 0.8], vec![-1500.0, 45.0, 0.85]],
            x: vec![ramp(7.4, 13.9, 154)],
            sd: 1.3e-3,
        },
        Case {
            name: "cubic over cubic, wide range",
            formula: cubic,
            names: &["x"],
            truth: vec![
                1.0776, -0.12269, 4.0864e-3, -1.4263e-6, -5.7609e-3, 2.4054e-4, -1.2314e-7,
            ],
            starts: vec![
                vec![10.0, -1.0, 0.05, -1e-5, -0.05, 0.001, -1e-6],
                vec![1.0, -0.1, 0.005, -1e-6, -0.005, 1e-4, -1e-7],
            ],
            x: vec![ramp(14.0, 850.0, 236)],
            sd: 0.08,
        },
        Case {
            name: "ageing with two variables",
            formula: "b1 - b2*x1*exp(-b3*x2)",
            names: &["x1", "x2"],
            truth: vec![2.59, 5.6e-9, -0.0577],
            starts: vec![vec![2.0, 1e-4, -0.01], vec![2.5, 5e-9, -0.05]],
            x: vec![aging.0, aging.1],
            sd: 0.16,
        },
        Case {
            name: "exponential of a reciprocal",
            formula: "b1*exp(b2/(x+b3))",
            names: &["x"],
            truth: vec![5.61e-3, 6181.0, 345.2],
            starts: vec![vec![2.0, 400_000.0, 25_000.0], vec![0.02, 4000.0, 250.0]],
            x: vec![ramp(50.0, 125.0, 16)],
            sd: 2.6,
        },
        Case {
            name: "three periods",
            formula: "b1 + b2*cos(2*pi*x/12) + b3*sin(2*pi*x/12) + b5*cos(2*pi*x/b4) + b6*sin(2*pi*x/b4) \
                      + b8*cos(2*pi*x/b7) + b9*sin(2*pi*x/b7)",
            names: &["x"],
            // Parameters in the order of the formula.
            truth: vec![10.5, 3.08, 0.53, -1.62, 44.3, 0.53, 0.21, 26.9, 1.5],
            starts: vec![
                vec![11.0, 3.0, 0.5, -0.7, 40.0, -1.3, -0.3, 25.0, 1.4],
                vec![10.0, 3.0, 0.5, -1.5, 44.0, 0.5, -0.1, 26.0, 1.5],
            ],
            x: vec![ramp(1.0, 168.0, 168)],
            sd: 2.2,
        },
        Case {
            name: "sigmoid growth",
            formula: "b1/(1+exp(b2-b3*x))",
            names: &["x"],
            truth: vec![72.5, 2.62, 0.067],
            starts: vec![vec![100.0, 1.0, 0.1], vec![75.0, 2.5, 0.07]],
            x: vec![ramp(9.0, 79.0, 9)],
            sd: 1.1,
        },
        Case {
            name: "three exponentials, six digits",
            formula: "b1*exp(-b2*x) + b3*exp(-b4*x) + b5*exp(-b6*x)",
            names: &["x"],
            truth: vec![0.0951, 1.0, 0.8607, 3.0, 1.5576, 5.0],
            starts: vec![
                vec![1.2, 0.3, 5.6, 5.5, 6.5, 7.6],
                vec![0.5, 0.7, 3.6, 4.2, 4.0, 6.3],
            ],
            x: vec![ramp(0.0, 1.15, 24)],
            sd: 3e-7,
        },
        Case {
            name: "three exponentials, fourteen digits",
            formula: "b1*exp(-b2*x) + b3*exp(-b4*x) + b5*exp(-b6*x)",
            names: &["x"],
            truth: vec![0.0951, 1.0, 0.8607, 3.0, 1.5576, 5.0],
            starts: vec![
                vec![1.2, 0.3, 5.6, 5.5, 6.5, 7.6],
                vec![0.5, 0.7, 3.6, 4.2, 4.0, 6.3],
            ],
            x: vec![ramp(0.0, 1.15, 24)],
            sd: 3e-14,
        },
        Case {
            name: "saturation with a root",
            formula: "b1*(1-(1+2*b2*x)^(-0.5))",
            names: &["x"],
            truth: vec![636.0, 2.08e-4],
            starts: vec![vec![500.0, 1e-4], vec![600.0, 2e-4]],
            x: vec![ramp(77.6, 760.0, 14)],
            sd: 0.06,
        },
        Case {
            name: "two peaks on a decay",
            formula: "b1*exp(-b2*x) + b3*exp(-(x-b4)^2/b5^2) + b6*exp(-(x-b7)^2/b8^2)",
            names: &["x"],
            truth: vec![99.0, 0.011, 101.9, 107.0, 23.6, 72.0, 153.3, 19.5],
            starts: vec![
                vec![96.0, 0.009, 103.0, 106.0, 18.0, 72.0, 151.0, 18.0],
                vec![98.0, 0.0105, 103.0, 105.0, 20.0, 73.0, 150.0, 20.0],
            ],
            x: vec![ramp(1.0, 250.0, 250)],
            sd: 2.2,
        },
    ]
}

#[test]
fn both_starts_lead_to_the_minimum() {
    for case in cases() {
        let formula = Formula::parse(case.formula, case.names).unwrap();
        let x: Vec<&[f64]> = case.x.iter().map(Vec::as_slice).collect();
        let mut noise = Noise(20_260);
        let n = x[0].len();
        let mut exact = vec![0.0; n];
        curvary_analysis::models::Model::evaluate(&formula, &x, &case.truth, &mut exact);
        let y: Vec<f64> = exact.iter().map(|v| v + case.sd * noise.normal()).collect();
        let at_truth: f64 = y.iter().zip(&exact).map(|(a, b)| (a - b) * (a - b)).sum();
        let mut found = Vec::new();
        for start in &case.starts {
            let options = Options {
                start: Some(start.clone()),
                ..Options::default()
            };
            let fit = fit(&formula, &Data::new(&x, &y), &options)
                .unwrap_or_else(|e| panic!("{} from {start:?}: {e}", case.name));
            println!(
                "{}: rss {:e}, {} iterations, {:?}",
                case.name, fit.residual_sum_of_squares, fit.iterations, fit.remarks
            );
            assert!(
                fit.residual_sum_of_squares <= at_truth,
                "{}: not the minimum",
                case.name
            );
            found.push(fit);
        }
        for (a, b) in found[0].parameters.iter().zip(&found[1].parameters) {
            assert!(
                ((a.value - b.value) / b.value).abs() < 1e-9,
                "{}: {} is {} from one start and {} from the other",
                case.name,
                a.name,
                a.value,
                b.value
            );
        }
    }
}
