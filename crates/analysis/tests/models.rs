//! Rate laws against their equations as formulas (exact derivatives), against numeric derivatives, and against the
//! closed forms in `data/closed-form.json` (mpmath, see there).

#![allow(clippy::unwrap_used)]

use curvary_analysis::courses::{Course, Order};
use curvary_analysis::fit::{Data, DataSet, Determination, Options, fit, fit_shared};
use curvary_analysis::models::Model;
use curvary_analysis::models::formula::Formula;
use curvary_analysis::models::law::{LAWS, Law, lambert_of_exp};
use serde_json::Value;

fn closed_form() -> Value {
    let text = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/closed-form.json"
    ));
    serde_json::from_str(&text.unwrap()).unwrap()
}

fn value_of(model: &dyn Model, x: &[f64], p: &[f64]) -> f64 {
    let columns: Vec<[f64; 1]> = x.iter().map(|v| [*v]).collect();
    let columns: Vec<&[f64]> = columns.iter().map(<[f64; 1]>::as_slice).collect();
    let mut out = [0.0];
    model.evaluate(&columns, p, &mut out);
    out[0]
}

/// Parameters in a sensible region for each law.
fn sample(law: &str) -> Vec<f64> {
    match law {
        "michaelis-menten" => vec![100.0, 0.5],
        "substrate-inhibition" => vec![100.0, 0.5, 8.0],
        "hill" => vec![100.0, 0.5, 2.4],
        "mixed" => vec![100.0, 0.5, 1.5, 4.0],
        "partial-competitive" => vec![100.0, 0.5, 1.5, 6.0],
        "partial-noncompetitive" => vec![100.0, 0.5, 1.5, 0.3],
        "morrison" => vec![3.0, 0.1, 0.02],
        "progress-substrate" | "progress-product" => vec![1.5, 0.04, 0.35],
        "progress-substrate+offset" | "progress-product+offset" => vec![1.5, 0.04, 0.35, 0.15],
        "ic50" => vec![1.2, 0.7, 1.3],
        "four-parameter" => vec![1.2, 0.15, 0.7, 1.3],
        "pka" => vec![0.1, 0.9, 3.15],
        "two-pka" => vec![0.1, 0.9, 0.4, 0.7, 4.1],
        "quadratic-binding" => vec![0.05, 0.8, 1.5, 0.2],
        "melting" => vec![0.3, 0.0004, 0.45, 0.0007, 412_000.0, 331.4],
        "slow-binding" => vec![0.1, 0.3, 0.4, 0.2],
        "inactivation" => vec![0.1, 0.3, 0.4],
        "inactivation-series" => vec![0.1, 0.3, 0.5, 2.5],
        "progress-product-inhibited" => vec![0.1, 1.5, 0.4, 0.35, 0.9],
        "job-plot" => vec![2.5, 2.0, 0.02],
        _ => vec![100.0, 0.5, 1.5],
    }
}

/// A place on the axis of a law, for one between 0 and 10.
fn place_of(law: &str, x: f64) -> f64 {
    match law {
        "melting" => 320.0 + 2.0 * x,
        "job-plot" => 0.05 + 0.09 * x,
        _ => x,
    }
}

#[test]
fn laws_are_their_equations() {
    let x1 = [0.05, 0.1, 0.3, 0.7, 1.9, 6.0, 0.5];
    let x2 = [0.0, 0.4, 1.3, 2.2, 0.1, 5.0, 0.0];
    for law in &LAWS {
        let Some(equation) = law.equation else { continue };
        let formula = Formula::parse(equation, law.variables).unwrap();
        let p = sample(law.name);
        let x1 = x1.map(|x| place_of(law.name, x));
        let x2 = x2.map(|x| {
            if law.name == "inactivation-series" {
                x + 0.1
            } else {
                x
            }
        });
        let x: Vec<&[f64]> = [&x1[..], &x2[..]][..law.variables.len()].to_vec();
        // The formula lists its parameters in the order in which they appear.
        let places: Vec<usize> = law
            .parameters()
            .iter()
            .map(|s| formula.position(&s.name).unwrap())
            .collect();
        let mut q = vec![0.0; p.len()];
        for (place, value) in places.iter().zip(&p) {
            q[*place] = *value;
        }
        let n = x1.len();
        let (mut a, mut ja) = (vec![0.0; n], vec![0.0; n * p.len()]);
        let (mut b, mut jb) = (vec![0.0; n], vec![0.0; n * p.len()]);
        law.differentiate(&x, &p, &mut a, &mut ja);
        formula.differentiate(&x, &q, &mut b, &mut jb);
        for i in 0..n {
            assert!(
                (a[i] - b[i]).abs() <= 2e-12 * b[i].abs(),
                "{} at point {i}: {} against {}",
                law.name,
                a[i],
                b[i]
            );
            for (j, place) in places.iter().enumerate() {
                let (got, want) = (ja[j * n + i], jb[place * n + i]);
                assert!(
                    (got - want).abs() <= 1e-10 * (want.abs() + 1e-3),
                    "{}: derivative by {} at point {i}: {got} against {want}",
                    law.name,
                    law.parameters()[j].name
                );
            }
        }
    }
}

/// Central differences with Richardson's correction, good to about ten digits.
fn numeric(model: &dyn Model, x: &[f64], p: &[f64], j: usize) -> f64 {
    let h = 1e-3 * p[j].abs().max(1e-3);
    let at = |step: f64| {
        let mut q = p.to_vec();
        q[j] += step;
        value_of(model, x, &q)
    };
    let rough = (at(h) - at(-h)) / (2.0 * h);
    let fine = (at(0.5 * h) - at(-0.5 * h)) / h;
    (4.0 * fine - rough) / 3.0
}

fn check_numerically(model: &dyn Model, points: &[Vec<f64>], p: &[f64]) {
    for x in points {
        let columns: Vec<[f64; 1]> = x.iter().map(|v| [*v]).collect();
        let columns: Vec<&[f64]> = columns.iter().map(<[f64; 1]>::as_slice).collect();
        let mut value = [0.0];
        let mut row = vec![0.0; p.len()];
        model.differentiate(&columns, p, &mut value, &mut row);
        assert!((value[0] - value_of(model, x, p)).abs() <= 1e-14 * value[0].abs());
        for (j, got) in row.iter().enumerate() {
            let want = numeric(model, x, p, j);
            assert!(
                (got - want).abs() <= 2e-8 * (want.abs() + value[0].abs() / p[j].abs().max(1e-3) * 1e-2),
                "{}: derivative by parameter {j} at {x:?}: {got} against {want}",
                model.name()
            );
        }
    }
}

#[test]
fn derivatives_are_those_of_differences() {
    // A thousandth of a melting temperature is too large a step; its derivatives are those of its formula, above.
    for law in LAWS.iter().filter(|law| law.name != "melting") {
        let points: Vec<Vec<f64>> = [0.07, 0.4, 1.7, 9.0]
            .iter()
            .map(|s| [place_of(law.name, *s), 0.8][..law.variables.len()].to_vec())
            .collect();
        check_numerically(law, &points, &sample(law.name));
    }
    let times: Vec<Vec<f64>> = [0.5, 3.0, 11.0, 27.0].iter().map(|t| vec![*t]).collect();
    let with = |order, offset: bool, drift: bool, lag: bool| {
        let mut course = Course::new(order);
        if offset {
            course = course.with_offset().unwrap();
        }
        if drift {
            course = course.with_drift().unwrap();
        }
        if lag {
            course = course.with_lag().unwrap();
        }
        course
    };
    let cases: Vec<(Course, Vec<f64>)> = vec![
        (with(Order::Zero, false, false, false), vec![1.0, 0.02]),
        (with(Order::Zero, false, false, true), vec![1.0, 0.02, 1.3]),
        (with(Order::First, false, false, false), vec![1.2, 0.05]),
        (
            with(Order::First, true, true, true),
            vec![1.2, 0.05, 0.2, 0.003, 1.3],
        ),
        (
            with(Order::First, true, true, false),
            vec![-1.2, 0.05, 0.2, 0.003],
        ),
        (with(Order::Second, true, false, false), vec![-0.8, 0.1, 0.3]),
        (with(Order::Second, false, true, true), vec![0.8, 0.1, 0.01, 0.4]),
        (
            with(Order::SecondUnequal, false, false, false),
            vec![0.7, 1.1, 0.09],
        ),
        (
            with(Order::SecondUnequal, false, false, false),
            vec![1.1, 0.7, 0.09],
        ),
        (
            with(Order::SecondUnequal, true, false, false),
            vec![0.7, 0.700_1, 0.09, 0.1],
        ),
        (
            with(Order::ReversibleFirst, false, false, false),
            vec![1.0, 0.08, 0.02],
        ),
        (
            with(Order::Consecutive, true, false, false),
            vec![1.0, 0.12, 0.045, 0.1],
        ),
        (
            with(Order::Consecutive, false, false, false),
            vec![1.0, 0.045, 0.12],
        ),
        (
            with(Order::Consecutive, false, false, false),
            vec![1.0, 0.12, 0.120_01],
        ),
        (
            with(Order::Biphasic, true, true, false),
            vec![1.0, 0.3, 0.5, 0.02, 0.1, 0.001],
        ),
        (
            with(Order::Biphasic, true, false, true),
            vec![1.0, 0.3, 0.5, 0.02, 0.1, 0.3],
        ),
        (
            with(Order::Approach, false, false, false),
            vec![0.1, 0.03, 0.001, 0.4],
        ),
    ];
    for (course, p) in cases {
        assert_eq!(course.parameters().len(), p.len(), "{}", course.name());
        check_numerically(&course, &times, &p);
    }
}

#[test]
fn closed_forms_are_met() {
    let file = closed_form();
    let mut seen = 0;
    for case in file["time_courses"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let get = |key: &str| case["parameters"][key].as_f64().unwrap();
        let (model, p): (Box<dyn Model>, Vec<f64>) = match name {
            "zero_order" => (Box::new(Course::new(Order::Zero)), vec![get("A0"), get("k")]),
            "first_order_decay" => (
                Box::new(Course::new(Order::First).with_offset().unwrap()),
                vec![get("A0") - get("Ainf"), get("k"), get("Ainf")],
            ),
            "second_order_single" => (Box::new(Course::new(Order::Second)), vec![get("A0"), get("k")]),
            "second_order_two_reactants" => (
                Box::new(Course::new(Order::SecondUnequal)),
                vec![get("A0"), get("B0"), get("k")],
            ),
            "consecutive_B" => (
                Box::new(Course::new(Order::Consecutive)),
                vec![get("A0"), get("k1"), get("k2")],
            ),
            "reversible_first_order" => (
                Box::new(Course::new(Order::ReversibleFirst)),
                vec![get("A0"), get("kf"), get("kr")],
            ),
            "integrated_michaelis_menten" => (
                Box::new(*Law::named("progress-substrate").unwrap()),
                vec![get("S0"), get("Vmax"), get("Km")],
            ),
            other => panic!("unknown closed form {other}"),
        };
        for point in case["points"].as_array().unwrap() {
            let (t, want) = (point[0].as_f64().unwrap(), point[1].as_f64().unwrap());
            let got = value_of(model.as_ref(), &[t], &p);
            assert!(
                (got - want).abs() <= 2e-13 * want.abs().max(1e-3),
                "{name} at {t}: {got} against {want}"
            );
            seen += 1;
        }
    }
    for case in file["rate_laws"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let (law, keys, scale): (&str, &[&str], f64) = match name {
            "competitive" => ("competitive", &["Vmax", "Km", "Ki"], 1.0),
            "uncompetitive" => ("uncompetitive", &["Vmax", "Km", "Ki"], 1.0),
            "noncompetitive_pure" => ("noncompetitive", &["Vmax", "Km", "Ki"], 1.0),
            "mixed" => ("mixed", &["Vmax", "Km", "Kic", "Kiu"], 1.0),
            "substrate_inhibition" => ("substrate-inhibition", &["Vmax", "Km", "Ksi"], 1.0),
            "hill" => ("hill", &["Vmax", "K", "n"], 1.0),
            "tight_binding_morrison" => ("morrison", &["E0", "Kapp"], 1.0),
            other => panic!("unknown rate law {other}"),
        };
        let law = Law::named(law).unwrap();
        let mut p: Vec<f64> = keys
            .iter()
            .map(|k| case["parameters"][k].as_f64().unwrap())
            .collect();
        if law.name == "morrison" {
            p.insert(0, scale);
        }
        for point in case["points"].as_array().unwrap() {
            let x: Vec<f64> = law.variables.iter().map(|v| point[v].as_f64().unwrap()).collect();
            let want = point["v"].as_f64().or(point["v_over_v0"].as_f64()).unwrap();
            let got = value_of(law, &x, &p);
            assert!(
                (got - want).abs() <= 1e-13 * want.abs(),
                "{name} at {x:?}: {got} against {want}"
            );
            seen += 1;
        }
    }
    assert!(seen > 50, "only {seen} points checked");
}

/// Values of `data/laws.json`: mpmath, 40 digits, by root search and quadrature on the rate laws and mass balances themselves
/// (`independent_laws.py`).
#[test]
fn laws_of_dose_binding_melting_and_progress_have_their_values() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/laws.json");
    let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let numbers = |value: &Value| -> Vec<f64> {
        value
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect()
    };
    let mut seen = 0;
    for case in file["cases"].as_array().unwrap() {
        let law = Law::named(case["law"].as_str().unwrap()).unwrap();
        let p = numbers(&case["parameters"]);
        for point in case["points"].as_array().unwrap() {
            let (x, want) = (numbers(&point[0]), point[1].as_f64().unwrap());
            let got = value_of(law, &x, &p);
            assert!(
                (got - want).abs() <= 5e-13 * want.abs(),
                "{} at {x:?}: {got} against {want}",
                law.name
            );
            seen += 1;
        }
    }
    assert_eq!(seen, 47);
}

/// Exact data give their own parameters back from the law's own starts.
#[test]
fn laws_find_their_own_parameters() {
    let even = |from: f64, to: f64| -> Vec<f64> {
        (0..40)
            .map(|i| from + (to - from) * f64::from(i) / 39.0)
            .collect()
    };
    let doses: Vec<f64> = (0..16).map(|i| 0.01 * 2f64.powi(i)).collect();
    for (name, p, x) in [
        ("ic50", vec![1.2, 0.7, 1.3], doses.clone()),
        ("four-parameter", vec![0.2, 1.4, 3.0, 0.8], doses.clone()),
        ("four-parameter", vec![1.2, 0.15, 0.7, 1.9], doses.clone()),
        ("pka", vec![0.1, 0.9, 7.15], even(3.0, 11.0)),
        ("two-pka", vec![0.1, 0.9, 0.4, 4.2, 8.1], even(2.0, 11.0)),
        ("quadratic-binding", vec![0.05, 0.8, 1.5, 0.05], even(0.0, 5.0)),
        (
            "melting",
            vec![0.3, 0.0004, 0.45, 0.0007, 412_000.0, 331.4],
            even(298.0, 363.0),
        ),
        ("inactivation", vec![0.1, 0.03, 0.004], even(0.0, 900.0)),
        ("job-plot", vec![2.5, 2.0, 0.02], even(0.0, 1.0)),
        ("job-plot", vec![2.5, 1.0, 0.3], even(0.0, 1.0)),
    ] {
        let law = Law::named(name).unwrap();
        let mut y = vec![0.0; x.len()];
        law.evaluate(&[&x], &p, &mut y);
        let found = fit(law, &Data::new(&[&x], &y), &Options::default()).unwrap();
        for (parameter, want) in found.parameters.iter().zip(&p) {
            assert!(
                (parameter.value - want).abs() <= 1e-6 * want.abs(),
                "{name}: {} is {}, expected {want}",
                parameter.name,
                parameter.value
            );
        }
    }
    // One curve gives three numbers where this law has four constants, and says so; curves from several starting concentrations
    // together determine them.
    let law = Law::named("progress-product-inhibited").unwrap();
    let times = even(0.0, 200.0);
    let runs: Vec<Vec<f64>> = [0.4, 1.0, 2.5]
        .iter()
        .map(|s0| {
            let mut y = vec![0.0; times.len()];
            law.evaluate(&[&times], &[0.1, *s0, 0.04, 0.35, 0.9], &mut y);
            y
        })
        .collect();
    let alone = fit(law, &Data::new(&[&times], &runs[1]), &Options::default());
    if let Ok(alone) = &alone {
        let vmax = alone.parameter("Vmax").unwrap();
        assert!(
            vmax.standard_error.is_none_or(|error| error > 1e-3 * vmax.value)
                || vmax.standing == Determination::NotDetermined,
            "{vmax:?}"
        );
    }
    let columns: [&[f64]; 1] = [&times];
    let sets: Vec<DataSet<'_>> = runs
        .iter()
        .map(|y| DataSet {
            x: &columns,
            y,
            errors: None,
        })
        .collect();
    let together = fit_shared(law, &sets, &[2, 3, 4], false, &Options::default()).unwrap();
    for (parameter, want) in together.fit.parameters.iter().zip([0.04, 0.35, 0.9]) {
        assert!(
            (parameter.value - want).abs() <= 1e-5 * want,
            "{parameter:?}, {want}"
        );
    }
    // Two columns: every time at every concentration.
    let times: Vec<f64> = (0..4).flat_map(|_| even(0.0, 900.0)).collect();
    let levels: Vec<f64> = [0.0, 0.3, 1.0, 4.0].iter().flat_map(|i| vec![*i; 40]).collect();
    for (name, p) in [
        ("slow-binding", vec![0.1, 0.03, 0.4, 0.002]),
        ("inactivation-series", vec![0.1, 0.03, 0.01, 2.5]),
    ] {
        let law = Law::named(name).unwrap();
        let levels: Vec<f64> = levels.iter().map(|i| i + 0.05).collect();
        let mut y = vec![0.0; times.len()];
        law.evaluate(&[&times, &levels], &p, &mut y);
        let found = fit(law, &Data::new(&[&times, &levels], &y), &Options::default()).unwrap();
        for (parameter, want) in found.parameters.iter().zip(&p) {
            assert!(
                (parameter.value - want).abs() <= 1e-6 * want.abs(),
                "{name}: {parameter:?}, {want}"
            );
        }
    }
}

#[test]
fn lambert_solves_its_equation_everywhere() {
    for z in [-700.0, -41.0, -39.0, -5.0, -1.0, 0.0, 1.0, 1.5, 30.0, 709.0, 1e6] {
        let w = lambert_of_exp(z);
        let rest = if z < -30.0 { w.ln() - z } else { w + w.ln() - z };
        assert!(
            rest.abs() <= 4e-16 * z.abs().max(4.0),
            "z = {z}: w = {w}, off by {rest}"
        );
    }
}
