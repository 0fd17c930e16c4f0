//! A drift of the signal that a person states: its part of the errors of fits, rates, laws and lines through constants.

#![allow(clippy::unwrap_used)]

mod invented;
mod noise;

use curvary_analysis::fit::{Bootstrap, NoiseDraw};
use curvary_analysis::study::{
    AtTemperature, AxisSpan, DriftEffect, FitPlan, RatePlan, STATED_DRIFT, SeriesPlan, StatedDrift,
    TemperaturePlan, WeightPlan, fit_run, fit_series, pool, pool_with_common, rates_run, temperature_series,
};
use curvary_analysis::temperature::{GAS_CONSTANT, arrhenius};
use curvary_record::{
    Column, Coordinate, Diagnostic, Outcome, Quantity, Run, RunId, Severity, Technique, Trace, Unit,
};
use noise::Noise;

fn course(time: &[f64], signal: Vec<f64>) -> Trace {
    let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, signal);
    Trace::new(Column::new(Quantity::TIME, Unit::SECOND, time.to_vec()), y).unwrap()
}

fn run(name: &str, traces: Vec<Trace>) -> Run {
    invented::run(name, Technique::TIME_COURSE, traces)
}

fn stated(size: f64, per: Option<&str>) -> Option<StatedDrift> {
    Some(StatedDrift {
        size,
        unit: None,
        per: per.map(|per| Unit::ucum(per).unwrap()),
    })
}

fn times() -> Vec<f64> {
    (0..61).map(|i| 5.0 * f64::from(i)).collect()
}

fn fall(noise: &mut Noise) -> Vec<f64> {
    times()
        .iter()
        .map(|t| 0.2 + 0.5 * (-0.01 * t).exp() + 0.001 * noise.normal())
        .collect()
}

/// The first fit of a course whose every reading has this known error.
fn fitted(plan: &FitPlan, y: &[f64], error: impl Fn(usize) -> f64) -> Outcome {
    let mut errors = course(&times(), (0..y.len()).map(error).collect());
    errors.label = Some("SD".into());
    let mut own = course(&times(), y.to_vec());
    own.label = Some("signal".into());
    let plan = FitPlan {
        model: "first-order+offset".into(),
        traces: vec!["signal".into()],
        ..plan.clone()
    };
    fit_run(&plan, &run("course", vec![own, errors]))
        .remove(0)
        .outcome
}

fn k_of(outcome: &Outcome) -> f64 {
    outcome.parameter("k").unwrap().value.unwrap()
}

#[test]
fn a_drift_moves_a_weighted_fit_by_its_weights() {
    let y = fall(&mut Noise(7));
    let slope = 1e-6;
    let drift = stated(3600.0 * slope, Some("h"));
    let by = |weights: Option<WeightPlan>, error: &dyn Fn(usize) -> f64| {
        let plan = FitPlan {
            drift: drift.clone(),
            weights: weights.clone(),
            ..FitPlan::default()
        };
        let told = fitted(&plan, &y, error).statistics[&format!("{STATED_DRIFT}k")];
        // What a fit of drifted points comes to.
        let plain = FitPlan {
            weights,
            ..FitPlan::default()
        };
        let drifted: Vec<f64> = y.iter().zip(times()).map(|(y, t)| y + slope * t).collect();
        let moved = k_of(&fitted(&plain, &drifted, error)) - k_of(&fitted(&plain, &y, error));
        assert!(
            (told - moved).abs() < 0.03 * moved.abs(),
            "{told}, and a fit says {moved}"
        );
        told
    };
    let known = || Some(WeightPlan::Errors("SD".into()));
    let plain = by(None, &|_| 0.002);
    let alike = by(known(), &|_| 0.002);
    assert!((alike - plain).abs() < 1e-6 * plain.abs(), "{alike} {plain}");
    by(known(), &|i| 0.001 * (1.0 + i as f64 / 10.0));
    by(Some(WeightPlan::Relative), &|_| 0.002);
}

#[test]
fn a_drift_common_to_constants_does_not_average_out() {
    let kelvin = [293.15, 303.15, 313.15, 323.15, 333.15];
    let k: Vec<f64> = kelvin
        .iter()
        .enumerate()
        .map(|(i, t)| 1e8 * (-60_000.0 / (GAS_CONSTANT * t)).exp() * (1.0 + 0.01 * (i as f64 * 2.3).sin()))
        .collect();
    let moved = 0.2 * k[0];
    let own: Vec<f64> = k.iter().map(|k| 0.01 * k).collect();
    let of = |drift: DriftEffect, part: f64| -> Vec<Outcome> {
        let points: Vec<AtTemperature> = kelvin
            .iter()
            .zip(k.iter().zip(&own))
            .map(|(kelvin, (k, own))| AtTemperature {
                run: RunId::named(format!("at {kelvin}")),
                kelvin: *kelvin,
                rate: (*k, Some(own.hypot(part)), Unit::ucum("/s").unwrap()),
                drift,
                doubts: Vec::new(),
            })
            .collect();
        let plan = TemperaturePlan {
            of: "k".into(),
            fitted: None,
            traces_of: Default::default(),
            temperature_error: None,
        };
        let lines = temperature_series(&plan, &points);
        lines.into_iter().map(|line| line.outcome).collect()
    };
    let plain = of(DriftEffect::Allowed, 0.0);
    let stated = of(DriftEffect::Stated(moved), moved);
    // The same line with every constant moved, weighed as before.
    let grown: Vec<f64> = k.iter().map(|k| k * (moved / k).exp()).collect();
    let errors: Vec<f64> = grown.iter().map(|k| 0.01 * k).collect();
    let apart = arrhenius(&kelvin, &grown, Some(&errors))
        .unwrap()
        .activation_energy
        .value
        - arrhenius(&kelvin, &k, Some(&own))
            .unwrap()
            .activation_energy
            .value;
    let error = |outcome: &Outcome| outcome.parameter("Ea").unwrap().standard_error.unwrap();
    let wanted = error(&plain[0]).hypot(apart);
    assert!(
        (error(&stated[0]) - wanted).abs() < 1e-6 * wanted,
        "{} in place of {wanted}",
        error(&stated[0])
    );
    assert!(wanted > 3.0 * error(&plain[0]));
    for (plain, stated) in plain.iter().zip(&stated) {
        let told = stated
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "drift-stated");
        assert!(told, "{:?}", stated.remarks);
        // The scatter about the line is none of the drift's.
        let odd = |outcome: &Outcome| {
            outcome
                .remarks
                .iter()
                .filter(|remark| remark.code.as_str() == "residuals-odd")
                .count()
        };
        assert_eq!(odd(plain), odd(stated), "{:?}", stated.remarks);
        for parameter in &stated.parameters {
            let before = plain.parameter(&parameter.name).unwrap();
            let width = |own: &curvary_record::Parameter| {
                let interval = &own.intervals[0];
                interval.high.unwrap() - interval.low.unwrap()
            };
            assert!(width(parameter) > 1.5 * width(before), "{}", parameter.name);
        }
    }
}

fn rising(noise: &mut Noise, time: &[f64], height: f64) -> Vec<f64> {
    time.iter()
        .map(|t| 0.1 + height * (1.0 - (-0.002 * t).exp()) + 0.0005 * noise.normal())
        .collect()
}

#[test]
fn a_wandering_over_a_short_window_is_that_of_its_points() {
    let time: Vec<f64> = (0..601).map(f64::from).collect();
    let y = rising(&mut Noise(3), &time, 0.3);
    let size = 0.001;
    for (from, to) in [(0.0, 19.0), (100.0, 140.0), (0.0, 600.0)] {
        let plan = RatePlan {
            drift: stated(size, None),
            window: Some(AxisSpan { from, to, unit: None }),
            ..RatePlan::default()
        };
        let outcome = rates_run(&plan, &run("window", vec![course(&time, y.clone())]))
            .found
            .remove(0)
            .outcome;
        let told = outcome.statistics[&format!("{STATED_DRIFT}v0")];
        // The variance of a slope over points whose errors have the covariance of a random walk, size² min(i, j).
        let used: Vec<f64> = time.iter().copied().filter(|t| (from..=to).contains(t)).collect();
        let middle = used.iter().sum::<f64>() / used.len() as f64;
        let square: f64 = used.iter().map(|t| (t - middle).powi(2)).sum();
        let mut variance = 0.0;
        for (i, a) in used.iter().enumerate() {
            for (j, b) in used.iter().enumerate() {
                variance += (a - middle) * (b - middle) * i.min(j) as f64;
            }
        }
        let wanted = size * variance.sqrt() / square;
        assert!(
            (told - wanted).abs() < 1e-3 * wanted,
            "from {from} to {to}: {told} in place of {wanted}"
        );
    }
}

#[test]
fn a_wandering_is_of_one_course_alone() {
    let time: Vec<f64> = (0..61).map(|i| 10.0 * f64::from(i)).collect();
    let mut noise = Noise(5);
    let traces: Vec<Trace> = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0]
        .into_iter()
        .map(|s: f64| {
            let mut trace = course(&time, rising(&mut noise, &time, 0.3 * s / (0.5 + s)));
            trace.label = Some(format!("S {s}"));
            let held = Coordinate::new(Quantity::CONCENTRATION, Unit::ucum("mmol/L").unwrap(), s);
            trace.held.push(held);
            trace
        })
        .collect();
    let own = run("series", traces);
    let law = |drift: Option<StatedDrift>| {
        let plan = RatePlan {
            drift,
            ..RatePlan::default()
        };
        let points = rates_run(&plan, &own).points;
        let outcome = fit_series(&SeriesPlan::of("michaelis-menten"), &points)
            .found
            .outcome;
        (points[0].drift, outcome)
    };
    let (_, plain) = law(None);
    let (wandering, alone) = law(stated(0.001, None));
    let (steady, common) = law(stated(0.036, Some("h")));
    assert!(matches!(steady, DriftEffect::Stated(_)), "{steady:?}");
    assert!(matches!(wandering, DriftEffect::Allowed), "{wandering:?}");
    let error = |outcome: &Outcome| outcome.parameter("Vmax").unwrap().standard_error.unwrap();
    assert!((error(&alone) - error(&plain)).abs() < 1e-9 * error(&plain));
    assert!(error(&common) > error(&plain));
    let has = |outcome: &Outcome, name: &str| outcome.statistics.contains_key(name);
    assert!(has(&common, "variance_by_the_drift Vmax") && !has(&common, "variance_by_the_blank Vmax"));
    assert!(!has(&alone, "variance_by_the_drift Vmax"));
}

#[test]
fn a_mean_is_moved_by_what_moves_the_values_that_count() {
    // Own errors of 0.01 and 1: the second value counts for next to nothing, and so does what the drift does to it.
    let moved: [f64; 2] = [0.03, 5.0];
    let values = [
        (1.0, Some(0.01_f64.hypot(moved[0]))),
        (1.2, Some(1.0_f64.hypot(moved[1]))),
    ];
    let (pooled, common) = pool_with_common(&values, &moved).unwrap();
    let alone = pool(&[(1.0, Some(0.01)), (1.2, Some(1.0))]).unwrap();
    let weights = [1e4 / (1e4 + 1.0), 1.0 / (1e4 + 1.0)];
    let wanted = weights[0] * moved[0] + weights[1] * moved[1];
    assert!((common - wanted).abs() < 1e-9, "{common} in place of {wanted}");
    assert!((pooled.mean - alone.mean).abs() < 1e-12);
    assert!((pooled.standard_error - alone.standard_error.hypot(wanted)).abs() < 1e-9);
    let counted: f64 = alone.weights.iter().sum();
    assert!((counted - 1.0).abs() < 1e-12);
}

#[test]
fn a_drift_that_is_seen_is_compared_with_the_stated_one() {
    let mut noise = Noise(11);
    let slope = 1e-4;
    let y: Vec<f64> = fall(&mut noise)
        .iter()
        .zip(times())
        .map(|(y, t)| y + slope * t)
        .collect();
    let told = |size: f64| {
        let plan = FitPlan {
            drift: stated(size, Some("s")),
            ..FitPlan::default()
        };
        let outcome = fitted(&plan, &y, |_| 0.001);
        let seen = |remark: &&Diagnostic| remark.code.as_str() == "drift-seen";
        let remark = outcome.remarks.iter().find(seen).cloned().unwrap();
        let error = outcome.parameter("k").unwrap().standard_error.unwrap();
        (remark, error)
    };
    let (allowed, wide) = told(slope);
    assert_eq!(allowed.severity, Severity::Note, "{}", allowed.message);
    let (small, narrow) = told(slope / 20.0);
    assert_eq!(small.severity, Severity::Warning, "{}", small.message);
    assert!(
        small.message.contains("times as large as stated"),
        "{}",
        small.message
    );
    assert!(wide > narrow);
    // The error that is quoted is the one that is printed.
    for (remark, error) in [(allowed, wide), (small, narrow)] {
        let quoted: f64 = remark.message.rsplit_once("± ").unwrap().1.parse().unwrap();
        assert!(
            (quoted - error).abs() < 0.06 * error,
            "{error}: {}",
            remark.message
        );
    }
}

#[test]
fn a_steady_drift_is_taken_off_with_the_blank() {
    let time: Vec<f64> = (0..61).map(|i| 10.0 * f64::from(i)).collect();
    let mut noise = Noise(13);
    let mut traces: Vec<Trace> = Vec::new();
    for (name, slope) in [("blank", 0.0), ("S 1", 4e-4), ("S 2", 6e-4)] {
        let y = time
            .iter()
            .map(|t| 0.1 + slope * t + 0.0005 * noise.normal())
            .collect();
        let mut trace = course(&time, y);
        trace.label = Some(name.into());
        traces.push(trace);
    }
    let own = run("blanks", traces);
    let error = |drift: Option<StatedDrift>, blanks: &[&str]| {
        let plan = RatePlan {
            drift,
            blanks: blanks.iter().map(|name| (*name).to_owned()).collect(),
            window: Some(AxisSpan {
                from: 0.0,
                to: 600.0,
                unit: None,
            }),
            ..RatePlan::default()
        };
        let found = rates_run(&plan, &own).found;
        let outcome = &found.last().unwrap().outcome;
        outcome.parameter("v0").unwrap().standard_error.unwrap()
    };
    let hour = |size: f64| stated(size, Some("h"));
    let plain = error(None, &["blank"]);
    let with = error(hour(0.36), &["blank"]);
    assert!((with - plain).abs() < 1e-6 * plain, "{with} in place of {plain}");
    let alone = error(None, &[]);
    let (with, wanted) = (error(hour(0.36), &[]), alone.hypot(0.36 / 3600.0));
    assert!(
        (with - wanted).abs() < 1e-6 * wanted,
        "{with} in place of {wanted}"
    );
    // A wandering of the blank is another one than that of the course: both count.
    let wandering = |blanks: &[&str], plain: f64| {
        let with = error(stated(0.001, None), blanks);
        (with * with - plain * plain).sqrt()
    };
    let (one, two) = (wandering(&[], alone), wandering(&["blank"], plain));
    assert!((two / one - 2.0_f64.sqrt()).abs() < 1e-3, "{one} {two}");
}

#[test]
fn a_drift_that_cannot_be_put_in_is_refused() {
    let plan = FitPlan {
        drift: stated(0.01, Some("h")),
        bootstrap: Some(Bootstrap {
            rounds: 500,
            seed: 1,
            noise: NoiseDraw::Residuals,
        }),
        ..FitPlan::default()
    };
    let outcome = fitted(&plan, &fall(&mut Noise(1)), |_| 0.001);
    assert!(outcome.parameters.is_empty(), "{outcome:?}");
    assert!(
        outcome.termination.contains("--bootstrap"),
        "{}",
        outcome.termination
    );
    let concentration = Column::new(
        Quantity::CONCENTRATION,
        Unit::ucum("mmol/L").unwrap(),
        vec![1.0, 2.0, 3.0],
    );
    let rates = Column::new(
        Quantity::RATE,
        Unit::ucum("mmol/L/s").unwrap(),
        vec![1.0, 1.5, 1.8],
    );
    let mut own = run("rates", vec![Trace::new(concentration, rates).unwrap()]);
    own.technique = Technique::RATE_SERIES;
    let plan = RatePlan {
        drift: stated(0.01, Some("h")),
        ..RatePlan::default()
    };
    let found = rates_run(&plan, &own);
    assert!(found.points.is_empty());
    let said = &found.found[0].outcome.termination;
    assert!(said.contains("drift"), "{said}");
}

#[test]
fn a_wandering_under_a_law_is_as_large_as_walks_make_it() {
    let time: Vec<f64> = (0..61).map(|i| 20.0 * f64::from(i)).collect();
    let y = rising(&mut Noise(17), &time, 0.3);
    let size = 0.0003;
    let rate = |drift: Option<StatedDrift>, y: Vec<f64>| {
        let plan = RatePlan {
            drift,
            ..RatePlan::default()
        };
        let mut found = rates_run(&plan, &run("law", vec![course(&time, y)])).found;
        found.remove(0).outcome
    };
    let told = rate(stated(size, None), y.clone()).statistics[&format!("{STATED_DRIFT}v0")];
    let v0 = |y: Vec<f64>| rate(None, y).parameter("v0").unwrap().value.unwrap();
    let plain = v0(y.clone());
    // The law of such a rate is no straight one: walks of the stated size, dealt out, say what they do to it. 120 of them hold their
    // own size to 7 % or so.
    let mut noise = Noise(99);
    let walks = 120;
    let mean: f64 = (0..walks)
        .map(|_| {
            let mut at = 0.0;
            let walk = y.iter().map(|y| {
                at += size * noise.normal();
                y + at
            });
            (v0(walk.collect()) - plain).powi(2) / f64::from(walks)
        })
        .sum();
    let wanted = mean.sqrt();
    assert!(
        told > 0.8 * wanted && told < 1.6 * wanted,
        "{told}, and walks say {wanted}"
    );
}
