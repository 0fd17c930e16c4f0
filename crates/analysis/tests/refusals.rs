//! Bad data give a named reason: never a panic, never a number that looks fine.

#![allow(clippy::unwrap_used)]

use curvary_analysis::Refusal;
use curvary_analysis::courses::{
    Conversion, Course, Order, Preparation, RateWindow, compare_courses, fit_course, initial_rate, prepare,
    usual_courses,
};
use curvary_analysis::enzymes::{Rates, fit_progress, fit_rates};
use curvary_analysis::fit::{Data, Determination, Options, Weighting, fit};
use curvary_analysis::models::law::LAWS;

fn first() -> Course {
    Course::new(Order::First).with_offset().unwrap()
}

fn code<T>(result: Result<T, Refusal>) -> &'static str {
    match result {
        Ok(_) => "no refusal",
        Err(refusal) => {
            assert!(!refusal.to_string().is_empty());
            refusal.code()
        }
    }
}

fn course(time: &[f64], signal: &[f64]) -> Result<curvary_analysis::courses::CourseFit, Refusal> {
    fit_course(
        &first(),
        time,
        signal,
        &Preparation::default(),
        &Options::default(),
    )
}

#[test]
fn time_courses() {
    let t: Vec<f64> = (0..20).map(f64::from).collect();
    let y: Vec<f64> = t.iter().map(|t| 0.2 + (-0.2 * t).exp()).collect();
    let with = |i: usize, v: f64| {
        let mut y = y.clone();
        y[i] = v;
        y
    };
    assert_eq!(code(course(&t, &[0.5; 20])), "constant-signal");
    assert_eq!(code(course(&t, &with(3, f64::NAN))), "not-finite");
    assert_eq!(code(course(&t, &with(3, f64::INFINITY))), "not-finite");
    assert_eq!(code(course(&t[..3], &y[..3])), "too-few-points");
    assert_eq!(code(course(&[], &[])), "too-few-points");
    assert_eq!(code(course(&t, &y[..19])), "unequal-lengths");
    let mut reversed = t.clone();
    reversed.reverse();
    assert_eq!(code(course(&reversed, &y)), "reversed-time");
    let mut equal = t.clone();
    equal[7] = equal[6];
    assert_eq!(code(course(&equal, &y)), "equal-x");
    let allowed = Preparation {
        equal_times: true,
        ..Preparation::default()
    };
    assert_eq!(
        code(fit_course(&first(), &equal, &y, &allowed, &Options::default())),
        "no refusal"
    );
    let low = Preparation {
        saturated_above: Some(0.01),
        ..Preparation::default()
    };
    assert_eq!(
        code(fit_course(&first(), &t, &y, &low, &Options::default())),
        "all-saturated"
    );
    let concentration = Preparation {
        concentration: true,
        ..Preparation::default()
    };
    assert_eq!(
        code(fit_course(
            &first(),
            &t,
            &with(19, -0.1),
            &concentration,
            &Options::default()
        )),
        "negative"
    );
    let conversion = Preparation {
        conversion: Some(Conversion {
            coefficient: 6220.0,
            path: 0.0,
        }),
        ..Preparation::default()
    };
    assert_eq!(
        code(fit_course(&first(), &t, &y, &conversion, &Options::default())),
        "out-of-range"
    );
    assert_eq!(code(Course::new(Order::Zero).with_offset()), "unsuitable");
    let late = Preparation {
        dead_time: -1.0,
        ..Preparation::default()
    };
    assert_eq!(code(prepare(&t, &y, &late)), "negative");
    assert_eq!(
        code(compare_courses(
            &usual_courses(),
            &t,
            &[1.0; 20],
            &Preparation::default(),
            &Options::default()
        )),
        "constant-signal"
    );
    for window in [
        RateWindow::Hand { from: 50.0, to: 60.0 },
        RateWindow::Hand { from: 2.0, to: 3.0 },
    ] {
        assert_eq!(
            code(initial_rate(&t, &y, &Preparation::default(), window)),
            "too-few-points"
        );
    }
    let none = RateWindow::Conversion {
        percent: 0.0,
        change: None,
    };
    assert_eq!(
        code(initial_rate(&t, &y, &Preparation::default(), none)),
        "out-of-range"
    );
    let found = RateWindow::Found { fewest: 5 };
    assert_eq!(
        code(initial_rate(&t, &[1.0; 20], &Preparation::default(), found)),
        "constant-signal"
    );
}

#[test]
fn saturated_points_are_left_out_and_counted() {
    let t: Vec<f64> = (0..60).map(f64::from).collect();
    let y: Vec<f64> = t
        .iter()
        .map(|t| (0.2 + 4.0 * (-0.1 * t).exp()).min(3.0))
        .collect();
    let how = Preparation {
        saturated_above: Some(2.5),
        ..Preparation::default()
    };
    let found = fit_course(&first(), &t, &y, &how, &Options::default()).unwrap();
    assert_eq!(found.used.len() + 6, 60);
    assert!((found.fit.parameter("k").unwrap().value - 0.1).abs() < 1e-10);
    assert!(
        found
            .fit
            .remarks
            .iter()
            .any(|r| r.words().contains("6 points above 2.5"))
    );
}

#[test]
fn rates() {
    let s = [0.1, 0.2, 0.5, 1.0, 2.0];
    let v = [1.0, 1.7, 2.9, 3.7, 4.4];
    let run = |s: &[f64], v: &[f64]| {
        fit_rates(
            "michaelis-menten",
            &Rates {
                substrate: s,
                inhibitor: None,
                rate: v,
            },
            &Options::default(),
        )
    };
    assert_eq!(code(run(&s, &v)), "no refusal");
    assert_eq!(code(run(&[0.5; 5], &v)), "constant-axis");
    assert_eq!(code(run(&[0.1, 0.1, 0.2, 0.2, -0.1], &v)), "negative");
    assert_eq!(code(run(&[0.0; 5], &v)), "unsuitable");
    assert_eq!(code(run(&s, &[2.0; 5])), "constant-signal");
    assert_eq!(code(run(&s[..2], &v[..2])), "too-few-points");
    assert_eq!(code(run(&s, &[1.0, f64::NAN, 1.0, 1.0, 1.0])), "not-finite");
    let rates = Rates {
        substrate: &s,
        inhibitor: None,
        rate: &v,
    };
    assert_eq!(
        code(fit_rates("competitive", &rates, &Options::default())),
        "unsuitable"
    );
    assert_eq!(
        code(fit_rates("no-such-law", &rates, &Options::default())),
        "unsuitable"
    );
    assert_eq!(
        code(fit_progress(
            &[-1.0, 0.0, 1.0, 2.0, 3.0],
            &v,
            true,
            &Options::default()
        )),
        "negative"
    );
    let two = [0.1, 0.1, 0.1, 0.4, 0.4];
    let hill = fit_rates(
        "hill",
        &Rates {
            substrate: &two,
            inhibitor: None,
            rate: &v,
        },
        &Options::default(),
    );
    assert_eq!(code(hill), "too-few-points");
}

#[test]
fn settings() {
    let x: [&[f64]; 1] = [&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0]];
    let y = [1.0, 0.7, 0.5, 0.4, 0.33, 0.3];
    let with = |change: &dyn Fn(&mut Options), weighting| {
        let mut options = Options::default();
        change(&mut options);
        code(fit(
            &first(),
            &Data {
                x: &x,
                y: &y,
                weighting,
            },
            &options,
        ))
    };
    let zeros = [0.0; 6];
    assert_eq!(with(&|_| {}, Weighting::Equal), "no refusal");
    assert_eq!(with(&|_| {}, Weighting::KnownErrors(&zeros)), "bad-weight");
    assert_eq!(with(&|_| {}, Weighting::Weights(&y[..5])), "unequal-lengths");
    assert_eq!(with(&|o| o.level = 1.0, Weighting::Equal), "out-of-range");
    assert_eq!(
        with(&|o| o.held = vec![(9, 1.0)], Weighting::Equal),
        "out-of-range"
    );
    assert_eq!(
        with(&|o| o.bounds = vec![(0, Some(2.0), Some(1.0))], Weighting::Equal),
        "out-of-range"
    );
    assert_eq!(
        with(&|o| o.start = Some(vec![1.0]), Weighting::Equal),
        "unequal-lengths"
    );
    assert_eq!(
        with(&|o| o.start = Some(vec![f64::NAN, 1.0, 1.0]), Weighting::Equal),
        "not-finite"
    );
}

/// A straight line holds no rate constant: the constant must not come out as if the data determined it.
#[test]
fn what_the_data_do_not_determine_is_said_to_be_so() {
    let t: Vec<f64> = (0..30).map(f64::from).collect();
    let line: Vec<f64> = t.iter().map(|t| 1.0 - 0.01 * t).collect();
    match course(&t, &line) {
        Err(_) => {}
        Ok(found) => {
            let k = found.fit.parameter("k").unwrap();
            assert_ne!(k.standing, Determination::Determined, "{k:?}");
        }
    }
    // Substrate far below Km: only Vmax/Km is determined.
    let s = [0.01, 0.02, 0.03, 0.04, 0.05, 0.06];
    let v: Vec<f64> = s
        .iter()
        .zip([0.4, -0.3, 0.2, -0.5, 0.3, -0.1])
        .map(|(s, e)| 100.0 * s / (50.0 + s) + 1e-4 * e)
        .collect();
    match fit_rates(
        "michaelis-menten",
        &Rates {
            substrate: &s,
            inhibitor: None,
            rate: &v,
        },
        &Options::default(),
    ) {
        Err(_) => {}
        Ok(found) => assert_ne!(
            found.parameter("Km").unwrap().standing,
            Determination::Determined,
            "{found:?}"
        ),
    }
}

/// Every model over hostile columns: a fit or a refusal, and every number in a fit is finite.
#[test]
fn nothing_panics() {
    let ramps: Vec<Vec<f64>> = vec![
        (0..9).map(f64::from).collect(),
        (0..9).map(|i| 1e-90 * f64::from(i)).collect(),
        (0..9).map(|i| 1e90 * f64::from(i)).collect(),
        vec![0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 2.0],
        (0..9).map(|i| f64::from(i) - 4.0).collect(),
    ];
    let signals: Vec<Vec<f64>> = vec![
        vec![0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
        (0..9).map(f64::from).collect(),
        (0..9).map(|i| 1e90 * f64::from(i % 3)).collect(),
        (0..9).map(|i| 1e-90 * f64::from(i * i)).collect(),
        vec![1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0],
        vec![5.0, 4.0, 3.0, 2.0, 1.0, 0.0, -1.0, -2.0, -3.0],
    ];
    let orders = [
        Order::Zero,
        Order::First,
        Order::Second,
        Order::SecondUnequal,
        Order::ReversibleFirst,
        Order::Consecutive,
        Order::Biphasic,
        Order::Approach,
    ];
    let options = Options {
        iterations: 200,
        ..Options::default()
    };
    let look = |found: Result<curvary_analysis::fit::Fit, Refusal>| {
        if let Ok(found) = found {
            for p in &found.parameters {
                assert!(p.value.is_finite(), "{found:?}");
                assert!(p.standard_error.is_none_or(f64::is_finite), "{found:?}");
            }
            assert!(found.residual_sum_of_squares.is_finite());
        }
    };
    for x in &ramps {
        for y in &signals {
            for order in orders {
                let course = Course::new(order);
                look(fit(&course, &Data::new(&[x], y), &options));
                if let Ok(course) = course.with_offset() {
                    look(fit(&course, &Data::new(&[x], y), &options));
                }
            }
            for law in &LAWS {
                let columns: Vec<&[f64]> = [x.as_slice(), x.as_slice()][..law.variables.len()].to_vec();
                look(fit(law, &Data::new(&columns, y), &options));
            }
        }
    }
}
