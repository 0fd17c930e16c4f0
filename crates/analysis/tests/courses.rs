//! Time courses on made data with known answers: every order, comparison of orders, initial rates, stages.

#![allow(clippy::unwrap_used)]

use curvary_analysis::courses::{
    Conversion, Course, Order, Preparation, RateWindow, compare_courses, fit_course, initial_rate, stages,
    usual_courses,
};
use curvary_analysis::fit::{Options, Warning};
use curvary_analysis::models::Model;

struct Noise(u64);

impl Noise {
    fn normal(&mut self) -> f64 {
        let mut uniform = || {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
        };
        (-2.0 * uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * uniform()).cos()
    }
}

fn plain() -> Preparation {
    Preparation::default()
}

fn made(course: &Course, t: &[f64], p: &[f64], sd: f64, seed: u64) -> Vec<f64> {
    let mut y = vec![0.0; t.len()];
    course.evaluate(&[t], p, &mut y);
    let mut noise = Noise(seed);
    y.iter().map(|v| v + sd * noise.normal()).collect()
}

fn ramp(n: usize, step: f64) -> Vec<f64> {
    (0..n).map(|i| i as f64 * step).collect()
}

#[test]
fn every_law_finds_its_own_parameters() {
    let offset = |o: Order| Course::new(o).with_offset().unwrap();
    let cases: Vec<(Course, Vec<f64>)> = vec![
        (Course::new(Order::Zero), vec![1.0, 0.01]),
        (Course::new(Order::First), vec![1.2, 0.05]),
        (offset(Order::First), vec![-0.8, 0.05, 1.1]),
        (
            offset(Order::First).with_drift().unwrap(),
            vec![1.0, 0.15, 0.2, 0.001],
        ),
        (
            offset(Order::First).with_lag().unwrap(),
            vec![1.0, 0.08, 0.2, 9.3],
        ),
        (Course::new(Order::Second), vec![0.9, 0.2]),
        (offset(Order::Second), vec![-0.9, 0.2, 1.0]),
        (Course::new(Order::SecondUnequal), vec![0.5, 0.8, 0.1]),
        (Course::new(Order::ReversibleFirst), vec![1.0, 0.06, 0.02]),
        (Course::new(Order::Consecutive), vec![1.0, 0.2, 0.05]),
        (offset(Order::Biphasic), vec![0.7, 0.3, 0.5, 0.03, 0.1]),
        (Course::new(Order::Approach), vec![0.1, 0.012, 0.001, 0.08]),
    ];
    let t = ramp(200, 0.5);
    for (course, truth) in cases {
        let y = made(&course, &t, &truth, 1e-4, 5);
        let found = fit_course(&course, &t, &y, &plain(), &Options::default())
            .unwrap_or_else(|e| panic!("{}: {e}", course.name()));
        for (p, truth) in found.fit.parameters.iter().zip(&truth) {
            let error = p.standard_error.unwrap();
            assert!(
                (p.value - truth).abs() < 4.5 * error,
                "{} {}: {} +- {error}",
                course.name(),
                p.name,
                p.value
            );
        }
        // And without noise to the last digits.
        let y = made(&course, &t, &truth, 0.0, 5);
        let found = fit_course(&course, &t, &y, &plain(), &Options::default()).unwrap();
        for (p, truth) in found.fit.parameters.iter().zip(&truth) {
            assert!(
                (p.value / truth - 1.0).abs() < 1e-7,
                "{} {}: {} for {truth}",
                course.name(),
                p.name,
                p.value
            );
        }
    }
}

#[test]
fn half_lives_have_errors() {
    let t = ramp(100, 1.0);
    let course = Course::new(Order::First).with_offset().unwrap();
    let y = made(&course, &t, &[1.0, 0.035, 0.15], 1e-3, 3);
    let found = fit_course(&course, &t, &y, &plain(), &Options::default()).unwrap();
    let (k, half) = (
        found.fit.parameter("k").unwrap(),
        found.fit.derived("half-life").unwrap(),
    );
    // ln2/k, and the same relative error.
    assert!((half.value - std::f64::consts::LN_2 / k.value).abs() < 1e-12);
    let relative = k.standard_error.unwrap() / k.value;
    assert!((half.standard_error.unwrap() / half.value - relative).abs() < 1e-12);
    assert!((found.half_lives.unwrap() - 99.0 / half.value).abs() < 1e-12);
}

#[test]
fn the_right_order_is_preferred_where_the_data_tell() {
    let t = ramp(200, 1.0);
    for (course, truth, name) in [
        (Course::new(Order::First), vec![1.0, 0.03], "first-order"),
        (Course::new(Order::Second), vec![1.0, 0.05], "second-order"),
        (Course::new(Order::Zero), vec![1.0, 0.004], "zero-order"),
    ] {
        let y = made(&course, &t, &truth, 0.003, 9);
        let compared = compare_courses(&usual_courses(), &t, &y, &plain(), &Options::default()).unwrap();
        let winner = &compared.choice.ranking[0];
        assert!(winner.model.starts_with(name), "{name}: {}", compared.verdict);
    }
}

#[test]
fn where_the_data_do_not_tell_the_verdict_says_so() {
    let t = ramp(40, 0.1);
    let y = made(&Course::new(Order::First), &t, &[1.0, 0.05], 0.005, 4);
    let compared = compare_courses(&usual_courses(), &t, &y, &plain(), &Options::default()).unwrap();
    assert!(!compared.told_apart);
    assert!(
        compared.verdict.contains("do not distinguish"),
        "{}",
        compared.verdict
    );
}

#[test]
fn a_wrong_law_leaves_wandering_residuals() {
    let t = ramp(200, 1.0);
    let y = made(&Course::new(Order::Second), &t, &[1.0, 0.05], 0.002, 8);
    let found = fit_course(&Course::new(Order::First), &t, &y, &plain(), &Options::default()).unwrap();
    assert!(found.fit.diagnostics.warnings.contains(&Warning::Wandering));
    let found = fit_course(&Course::new(Order::Second), &t, &y, &plain(), &Options::default()).unwrap();
    assert!(
        found.fit.diagnostics.warnings.is_empty(),
        "{:?}",
        found.fit.diagnostics
    );
}

#[test]
fn dead_time_and_conversion_are_accounted_for() {
    let t = ramp(100, 1.0);
    // Absorbance of 6220 L/mol/cm over 0.5 cm; the reaction began 4 s before the first reading.
    let y: Vec<f64> = t
        .iter()
        .map(|t| 6220.0 * 0.5 * 1e-4 * (-0.05 * (t + 4.0)).exp())
        .collect();
    let how = Preparation {
        dead_time: 4.0,
        conversion: Some(Conversion {
            coefficient: 6220.0,
            path: 0.5,
        }),
        ..plain()
    };
    let found = fit_course(&Course::new(Order::First), &t, &y, &how, &Options::default()).unwrap();
    assert_eq!(found.factor, Some(3110.0));
    assert!((found.fit.parameter("A").unwrap().value / 1e-4 - 1.0).abs() < 1e-9);
    assert_eq!(found.window, (4.0, 103.0));
}

#[test]
fn stages_are_fitted_each_on_its_own() {
    let t = ramp(200, 1.0);
    let y: Vec<f64> = t
        .iter()
        .map(|t| {
            if *t < 100.0 {
                (-0.05 * t).exp()
            } else {
                2.0 * (-0.02 * (t - 100.0)).exp()
            }
        })
        .collect();
    let windows = [(0.0, 99.0), (100.0, 199.0), (300.0, 400.0)];
    let found = stages(
        &Course::new(Order::First),
        &t,
        &y,
        &windows,
        &plain(),
        &Options::default(),
    );
    assert!((found[0].as_ref().unwrap().fit.parameter("k").unwrap().value - 0.05).abs() < 1e-9);
    assert!((found[1].as_ref().unwrap().fit.parameter("k").unwrap().value - 0.02).abs() < 1e-9);
    assert_eq!(found[2].as_ref().unwrap_err().code(), "too-few-points");
}

#[test]
fn initial_rates() {
    let t = ramp(200, 1.0);
    let y: Vec<f64> = {
        let mut noise = Noise(6);
        t.iter()
            .map(|t| 0.1 + 0.5 * (1.0 - (-0.01 * t).exp()) + 2e-4 * noise.normal())
            .collect()
    };
    // Slope at the beginning: 0.005; over a stretch it is a little less.
    let hand = initial_rate(&t, &y, &plain(), RateWindow::Hand { from: 0.0, to: 10.0 }).unwrap();
    assert!(
        (hand.rate / 0.005 - 1.0).abs() < 0.08 && hand.used.len() == 11,
        "{hand:?}"
    );
    let part = initial_rate(
        &t,
        &y,
        &plain(),
        RateWindow::Conversion {
            percent: 10.0,
            change: Some(0.5),
        },
    )
    .unwrap();
    assert!(
        part.window.1 < 12.0 && (part.rate / 0.005 - 1.0).abs() < 0.1,
        "{part:?}"
    );
    let found = initial_rate(&t, &y, &plain(), RateWindow::Found { fewest: 8 }).unwrap();
    assert!(found.straightness.unwrap() > 0.04, "{found:?}");
    assert!((found.rate / 0.005 - 1.0).abs() < 0.15, "{found:?}");
    // A perfectly straight course is used whole, and a lag at its beginning is skipped.
    let straight: Vec<f64> = t.iter().map(|t| 0.1 + 0.002 * t).collect();
    let whole = initial_rate(&t, &straight, &plain(), RateWindow::Found { fewest: 8 }).unwrap();
    assert_eq!(whole.used.len(), 200);
    assert!((whole.rate - 0.002).abs() < 1e-15);
    let mut noise = Noise(17);
    let lagging: Vec<f64> = t
        .iter()
        .map(|t| 0.1 + 0.002 * (t - 20.0).max(0.0) + 1e-4 * noise.normal())
        .collect();
    let after = initial_rate(&t, &lagging, &plain(), RateWindow::Found { fewest: 8 }).unwrap();
    assert!(
        after.window.0 >= 17.0 && (after.rate / 0.002 - 1.0).abs() < 0.01,
        "{after:?}"
    );
}

#[test]
fn results_are_records() {
    let t = ramp(50, 1.0);
    let course = Course::new(Order::First).with_offset().unwrap();
    let y = made(&course, &t, &[1.0, 0.1, 0.2], 0.01, 2);
    let found = fit_course(&course, &t, &y, &plain(), &Options::default()).unwrap();
    let text = serde_json::to_string(&found).unwrap();
    let back: curvary_analysis::courses::CourseFit = serde_json::from_str(&text).unwrap();
    assert_eq!(back, found);
}

/// The curve of a rate is drawn for itself, and not from reading to reading: between two of them it is the law's.
#[test]
fn the_curve_of_a_rate_keeps_to_the_law_between_readings() {
    let burst = |t: f64| 0.1 + 0.001 * t + 0.12 * (1.0 - (-0.01 * t).exp());
    let t: Vec<f64> = (0..31).map(|i| 20.0 * f64::from(i)).collect();
    let mut noise = Noise(31);
    let y: Vec<f64> = t.iter().map(|t| burst(*t) + 3e-4 * noise.normal()).collect();
    let found = initial_rate(&t, &y, &Preparation::default(), RateWindow::Whole { fewest: 5 }).unwrap();
    assert!(found.curve.len() > t.len(), "{}", found.curve.len());
    assert_eq!(
        (found.curve[0].0, found.curve[found.curve.len() - 1].0),
        (0.0, 600.0)
    );
    for (t, y) in &found.curve {
        assert!((y - burst(*t)).abs() < 2e-3, "{t}: {y} beside {}", burst(*t));
    }
    let straight = initial_rate(
        &t,
        &y,
        &Preparation::default(),
        RateWindow::Hand {
            from: 200.0,
            to: 600.0,
        },
    )
    .unwrap();
    assert_eq!(straight.curve.len(), 2);
}
