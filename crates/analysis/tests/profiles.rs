//! Profile-likelihood intervals of quantities that follow from parameters, against SciPy (`independent_profiles.py`).

#![allow(clippy::unwrap_used)]

use curvary_analysis::courses::{Course, Order};
use curvary_analysis::enzymes::add_turnover;
use curvary_analysis::fit::{Data, Fit, FitRemark, Options, ProfileEnd, allow_for_correlation, fit};
use curvary_analysis::models::Model;
use curvary_analysis::models::law::Law;
use serde_json::Value;

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

fn with_profiles(model: &dyn Model, x: &[f64], y: &[f64]) -> Fit {
    let options = Options {
        profile: true,
        ..Options::default()
    };
    fit(model, &Data::new(&[x], y), &options).unwrap()
}

fn limits(fit: &Fit, name: &str) -> (f64, f64) {
    let own = fit.derived(name).unwrap().profile.unwrap();
    (own.lower.value().unwrap(), own.upper.value().unwrap())
}

#[test]
fn limits_of_derived_quantities_are_those_of_the_law_written_in_them() {
    let text = include_str!("data/profiles.json");
    let all: Value = serde_json::from_str(text).unwrap();
    let law = Law::named("michaelis-menten").unwrap();
    let reversible = Course::new(Order::ReversibleFirst);
    let cases: [(&str, &dyn Model, &[&str]); 2] = [
        ("michaelis_menten", law, &["Vmax/Km"]),
        ("reversible", &reversible, &["K", "half-life"]),
    ];
    for (case, model, names) in cases {
        let found = with_profiles(model, &numbers(&all[case]["x"]), &numbers(&all[case]["y"]));
        for name in names {
            let want = numbers(&all[case][*name]);
            let (low, high) = limits(&found, name);
            assert!((low - want[1]).abs() < 1e-5 * want[0], "{name}: {low} {want:?}");
            assert!((high - want[2]).abs() < 1e-5 * want[0], "{name}: {high} {want:?}");
        }
    }
}

#[test]
fn what_follows_from_one_parameter_has_its_limits() {
    let t: Vec<f64> = (0..12).map(|i| f64::from(i) * 5.0).collect();
    let y: Vec<f64> = t
        .iter()
        .enumerate()
        .map(|(i, t)| 0.8 * (-0.03 * t).exp() + 0.01 * (2.3 * i as f64).sin())
        .collect();
    let course = Course::new(Order::First);
    let found = with_profiles(&course, &t, &y);
    let k = found.parameter("k").unwrap().profile.unwrap();
    let (low, high) = limits(&found, "half-life");
    let ln2 = std::f64::consts::LN_2;
    assert!((low - ln2 / k.upper.value().unwrap()).abs() < 1e-9 * low);
    assert!((high - ln2 / k.lower.value().unwrap()).abs() < 1e-9 * high);
    // The profile of a reciprocal leans to the other side than the symmetric interval says.
    let best = found.derived("half-life").unwrap().value;
    assert!(high - best > 1.02 * (best - low));
}

#[test]
fn a_turnover_number_has_the_limits_of_vmax_over_the_enzyme() {
    let law = Law::named("michaelis-menten").unwrap();
    let s = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4];
    let v = [0.021, 0.031, 0.062, 0.083, 0.118, 0.152, 0.157];
    let mut found = with_profiles(law, &s, &v);
    add_turnover(&mut found, 0.01).unwrap();
    let vmax = found.parameter("Vmax").unwrap().profile.unwrap();
    assert_eq!(
        limits(&found, "kcat"),
        (
            vmax.lower.value().unwrap() / 0.01,
            vmax.upper.value().unwrap() / 0.01
        )
    );
    let (low, high) = limits(&found, "Vmax/Km");
    assert_eq!(limits(&found, "kcat/Km"), (low / 0.01, high / 0.01));
}

/// Errors that grow because neighbours err together make the profiles as much wider.
#[test]
fn profiles_allow_for_correlation_as_the_errors_do() {
    let t: Vec<f64> = (0..120).map(f64::from).collect();
    let y: Vec<f64> = t
        .iter()
        .map(|t| 0.8 * (-0.03 * t).exp() + 0.004 * ((t * 0.35).sin() + (t * 0.11).cos() + (t * 1.7).sin()))
        .collect();
    let course = Course::new(Order::First);
    let mut found = with_profiles(&course, &t, &y);
    let width = |fit: &Fit| {
        let own = fit.parameter("k").unwrap().profile.unwrap();
        own.upper.value().unwrap() - own.lower.value().unwrap()
    };
    let error = |fit: &Fit| fit.parameter("k").unwrap().standard_error.unwrap();
    let (plain, plain_error) = (width(&found), error(&found));
    assert!(allow_for_correlation(&course, &[&t], &mut found));
    let grown = error(&found) / plain_error;
    assert!(grown > 1.3, "{grown}");
    assert!(
        width(&found) / plain > 0.97 * grown,
        "{} {grown}",
        width(&found) / plain
    );
    let (low, high) = limits(&found, "half-life");
    let k = found.parameter("k").unwrap().profile.unwrap();
    let ln2 = std::f64::consts::LN_2;
    assert!(
        (low - ln2 / k.upper.value().unwrap()).abs() < 2e-3 * low
            && (high - ln2 / k.lower.value().unwrap()).abs() < 2e-3 * high
    );
}

/// Simulated: `0.5 exp(-0.02 t) + 0.3 exp(-0.005 t) + 0.1` with noise of 0.01. Where the slower rate constant goes to zero, its amplitude
/// and the offset run away against each other, and what is left of their difference is rounding: on a grid over all rate constants,
/// amplitudes and offset by least squares (NumPy), no sum of squares is lower than that of the fit.
#[test]
fn rounding_of_parameters_that_run_away_is_no_lower_minimum() {
    let y = [
        0.88399, 0.75050, 0.62718, 0.54057, 0.46053, 0.41359, 0.36328, 0.34376, 0.30602, 0.26746, 0.26420,
        0.24634, 0.22961, 0.20603, 0.21952, 0.19226, 0.20709, 0.17721, 0.17742, 0.17056, 0.16699, 0.18686,
        0.15082, 0.17226, 0.15390, 0.13713, 0.15332, 0.14613, 0.14445, 0.11896, 0.13492, 0.12365, 0.12420,
        0.12240, 0.12236, 0.13623, 0.12261, 0.09898, 0.12860, 0.11582,
    ];
    let t: Vec<f64> = (0..40).map(|i| 600.0 * f64::from(i) / 39.0).collect();
    let found = with_profiles(&Course::new(Order::Biphasic).with_offset().unwrap(), &t, &y);
    let lower = |remark: &FitRemark| matches!(remark, FitRemark::LowerMinimum { .. });
    assert!(!found.remarks.iter().any(lower), "{:?}", found.remarks);
    // As the slower constant goes to zero its phase becomes a straight line, and the profile comes to an end at a height of 1.476, where the
    // limit is 2.030 (SciPy, amplitudes over (1 - exp(-kt))/k by linear least squares, k1 by bounded search at each of 120 k2): no limit.
    let k2 = found.parameter("k2").unwrap().profile.unwrap();
    assert_eq!(k2.lower, ProfileEnd::Open);
    assert!(k2.upper.value().is_some());
    let slow = found
        .derived("half-life of the slow phase")
        .unwrap()
        .profile
        .unwrap();
    assert_eq!(slow.upper, ProfileEnd::Open);
}

/// Simulated, two phases of which the slower one is small. The amplitude of the slower phase grows without end while it becomes a straight line
/// and the offset falls against it: the height rises to 0.939 of the 2.030 of the limit, and no higher (SciPy, both rate constants on a grid and by
/// Nelder and Mead's search, the rest by linear least squares, at amplitudes up to 100). Its own search was led into another valley and ended at 0.361.
#[test]
fn ends_of_profiles_do_not_contradict_each_other() {
    let y = [
        0.69816, 0.58074, 0.48234, 0.40861, 0.34859, 0.30804, 0.26646, 0.22820, 0.21044, 0.18606, 0.16524,
        0.16328, 0.16016, 0.14628, 0.13416, 0.12905, 0.13230, 0.12418, 0.12018, 0.11678, 0.11462, 0.11555,
        0.11272, 0.10983, 0.10349, 0.10859, 0.10286, 0.10916, 0.09901, 0.10295, 0.10297, 0.09727, 0.10909,
        0.10773, 0.09976, 0.10447, 0.10270, 0.09056, 0.10187, 0.10050,
    ];
    let t: Vec<f64> = (0..40).map(|i| 600.0 * f64::from(i) / 39.0).collect();
    let found = with_profiles(&Course::new(Order::Biphasic).with_offset().unwrap(), &t, &y);
    let of = |name: &str| found.parameter(name).unwrap().profile.unwrap();
    assert_eq!(of("offset").lower, ProfileEnd::Open);
    assert_eq!(of("A2").upper, ProfileEnd::Open);
    // What a slower rate constant below zero could make of an amplitude below zero is nothing: SciPy, 4.417 at 0 and 0.570 at 0.05.
    assert!((0.0..0.05).contains(&of("A2").lower.value().unwrap()));
    assert!((0.1..0.12).contains(&of("offset").upper.value().unwrap()));
    // SciPy: 2.178 at 0.2 and 1.794 at 0.3.
    let low = of("A1").lower.value().unwrap();
    assert!((0.2..0.3).contains(&low), "{low}");
}
