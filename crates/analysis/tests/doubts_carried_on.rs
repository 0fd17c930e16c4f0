//! What one result cannot know goes with it into whatever is computed from it; a drift that a person states is in the errors.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod invented;
mod noise;

use curvary_analysis::study::{
    DriftEffect, FitPlan, RatePlan, RatePoint, STATED_DRIFT, SeriesPlan, StatedDrift, TemperaturePlan,
    fit_run, fit_series, rate_constants, rates_run,
};
use curvary_record::{
    Claim, Column, Coordinate, Origin, Outcome, Quantity, Run, RunId, Technique, Trace, Unit,
};
use noise::Noise;

fn sets(usual: usize) -> usize {
    std::env::var("SETS")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(usual)
}

fn course(time: &[f64], signal: Vec<f64>) -> Trace {
    let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, signal);
    Trace::new(Column::new(Quantity::TIME, Unit::SECOND, time.to_vec()), y).unwrap()
}

fn run(name: &str, traces: Vec<Trace>) -> Run {
    invented::run(name, Technique::TIME_COURSE, traces)
}

const K: f64 = 0.01;

fn times() -> Vec<f64> {
    (0..61).map(|i| 5.0 * f64::from(i)).collect()
}

/// A fall of half an absorbance with k = 0.01/s, over five minutes, with what is added to it.
fn fall(noise: &mut Noise, mut drift: impl FnMut(usize, f64, &mut Noise) -> f64) -> Vec<f64> {
    times()
        .iter()
        .enumerate()
        .map(|(i, t)| {
            let drift = drift(i, *t, noise);
            0.2 + 0.5 * (-K * t).exp() + 0.001 * noise.normal() + drift
        })
        .collect()
}

fn fitted(plan: &FitPlan, y: Vec<f64>) -> Outcome {
    fit_run(plan, &run("course", vec![course(&times(), y)]))
        .remove(0)
        .outcome
}

fn plan(drift: Option<StatedDrift>) -> FitPlan {
    FitPlan {
        model: "first-order+offset".into(),
        drift,
        ..FitPlan::default()
    }
}

fn stated(size: f64, per: Option<&str>) -> Option<StatedDrift> {
    Some(StatedDrift {
        size,
        unit: None,
        per: per.map(|per| Unit::ucum(per).unwrap()),
    })
}

/// Shares of 95 % intervals of k that hold the truth, with the drift stated and without a word of it.
fn held(of: &StatedDrift, mut drift: impl FnMut(usize, f64, &mut Noise) -> f64, sets: usize) -> (f64, f64) {
    let mut noise = Noise(2024);
    let (mut with, mut without) = (0, 0);
    for _ in 0..sets {
        let y = fall(&mut noise, &mut drift);
        for (plan, count) in [(plan(Some(of.clone())), &mut with), (plan(None), &mut without)] {
            let outcome = fitted(&plan, y.clone());
            let interval = &outcome.parameter("k").unwrap().intervals[0];
            *count += usize::from(interval.low.unwrap() <= K && K <= interval.high.unwrap());
        }
    }
    (with as f64 / sets as f64, without as f64 / sets as f64)
}

#[test]
fn a_stated_drift_is_in_the_errors() {
    let sets = sets(120);
    // Over five minutes a standard deviation of 0.003, three times the noise of a reading.
    let steady = StatedDrift {
        size: 0.036,
        unit: None,
        per: Unit::ucum("h").ok(),
    };
    let mut slope = 0.0;
    let (with, without) = held(
        &steady,
        |i, t, noise| {
            if i == 0 {
                slope = 0.036 / 3600.0 * noise.normal();
            }
            slope * t
        },
        sets,
    );
    println!("steady drift: {with:.3} with it stated, {without:.3} without");
    // Three standard deviations of what chance does to so few sets.
    assert!(with > 0.95 - 3.0 * (0.0475 / sets as f64).sqrt(), "{with}");
    assert!(without < 0.8, "{without}");
    // A wandering of half the noise from reading to reading.
    let wandering = StatedDrift {
        size: 0.0005,
        unit: None,
        per: None,
    };
    let mut at = 0.0;
    let (with, without) = held(
        &wandering,
        |i, _, noise| {
            at = if i == 0 { 0.0 } else { at + 0.0005 * noise.normal() };
            at
        },
        sets,
    );
    println!("wandering: {with:.3} with it stated, {without:.3} without");
    assert!(with > 0.95 - 3.0 * (0.0475 / sets as f64).sqrt(), "{with}");
}

#[test]
fn a_stated_drift_moves_a_parameter_as_a_fit_of_drifted_points_does() {
    let mut noise = Noise(7);
    let y = fall(&mut noise, |_, _, _| 0.0);
    let slope = 1e-6;
    let moved = |y: &[f64]| {
        let drifted = y.iter().zip(times()).map(|(y, t)| y + slope * t).collect();
        let of = |outcome: &Outcome| outcome.parameter("k").unwrap().value.unwrap();
        of(&fitted(&plan(None), drifted)) - of(&fitted(&plan(None), y.to_vec()))
    };
    let outcome = fitted(&plan(stated(3600.0 * slope, Some("h"))), y.clone());
    let told = outcome.statistics[&format!("{STATED_DRIFT}k")];
    assert!(
        (told - moved(&y)).abs() < 0.02 * told.abs(),
        "{told} {}",
        moved(&y)
    );
    // Errors in milliabsorbance say the same.
    let milli = StatedDrift {
        size: 3_600_000.0 * slope,
        unit: curvary_record::unit::spelled("mAU").one().cloned(),
        per: Unit::ucum("h").ok(),
    };
    assert!(milli.unit.is_some());
    let other = fitted(&plan(Some(milli)), y);
    let of = |outcome: &Outcome| outcome.parameter("k").unwrap().standard_error.unwrap();
    assert!((of(&other) - of(&outcome)).abs() < 1e-9 * of(&outcome));
}

#[test]
fn rates_carry_a_stated_drift() {
    let time: Vec<f64> = (0..61).map(|i| 10.0 * f64::from(i)).collect();
    let mut noise = Noise(11);
    let y: Vec<f64> = time
        .iter()
        .map(|t| 0.1 + 0.3 * (1.0 - (-0.004 * t).exp()) + 0.001 * noise.normal())
        .collect();
    let of = |drift: Option<StatedDrift>, straight: bool| {
        let plan = RatePlan {
            drift,
            straight,
            ..RatePlan::default()
        };
        let outcome = rates_run(&plan, &run("rates", vec![course(&time, y.clone())]))
            .found
            .remove(0)
            .outcome;
        let moved = outcome.statistics.get(&format!("{STATED_DRIFT}v0")).copied();
        (outcome.parameter("v0").unwrap().standard_error.unwrap(), moved)
    };
    for straight in [false, true] {
        let (plain, none) = of(None, straight);
        let (error, moved) = of(stated(0.36, Some("h")), straight);
        let moved = moved.unwrap();
        assert_eq!(none, None);
        // 0.36 an hour is 0.0001 a second, and a line takes all of it.
        assert!(
            if straight {
                (moved - 1e-4).abs() < 2e-5
            } else {
                moved > 2e-5
            },
            "{straight}: {moved}"
        );
        assert!(
            (error - plain.hypot(moved)).abs() < 1e-9,
            "{error} {plain} {moved}"
        );
        let (_, wandering) = of(stated(0.0005, None), straight);
        assert!(wandering.unwrap() > 0.0);
    }
}

fn at_temperature(run: &mut Run, celsius: f64) {
    let claim = Claim::number(
        celsius,
        Some(Unit::CELSIUS),
        format!("{celsius} °C"),
        Origin::Derived {
            step: "test".into(),
            from: Vec::new(),
        },
    );
    run.fields.claim("temperature", claim);
}

#[test]
fn a_result_whose_drift_is_not_known_is_not_one_without() {
    let mut noise = Noise(3);
    let plain = fitted(&self::plan(None), fall(&mut noise, |_, _, _| 0.0));
    assert!(matches!(DriftEffect::of(&plain, "k"), DriftEffect::Moves(_)));
    // Where neighbours err together a drift is hidden all the more.
    let mut before = 0.0;
    let y = fall(&mut noise, |_, _, noise| {
        before = 0.8 * before + 0.003 * noise.normal();
        before
    });
    let alike = fitted(&self::plan(None), y.clone());
    assert!(
        alike
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "errors-correlated"),
        "{alike:?}"
    );
    let size = |outcome: &Outcome| outcome.statistics.get("drift_not_seen").copied();
    assert!(
        size(&alike) > size(&plain),
        "{:?} {:?}",
        size(&alike),
        size(&plain)
    );
    // Of a robust fit over readings of which one is far off it is known, of a weighted one not.
    let weighted = FitPlan {
        weights: Some(curvary_analysis::study::WeightPlan::Relative),
        ..self::plan(None)
    };
    let weighted = fitted(&weighted, y);
    assert!(
        matches!(DriftEffect::of(&weighted, "k"), DriftEffect::Unknown(_)),
        "{weighted:?}"
    );
    let allowed = FitPlan {
        model: "first-order+offset+drift".into(),
        ..FitPlan::default()
    };
    let allowed = fitted(&allowed, fall(&mut noise, |_, _, _| 0.0));
    assert_eq!(DriftEffect::of(&allowed, "k"), DriftEffect::Allowed);
    let stated = fitted(
        &self::plan(stated(0.01, Some("h"))),
        fall(&mut noise, |_, _, _| 0.0),
    );
    assert!(matches!(DriftEffect::of(&stated, "k"), DriftEffect::Stated(_)));

    let of = TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: Default::default(),
        temperature_error: None,
    };
    let mut points = Vec::new();
    for (celsius, kept) in [
        (20.0, plain.clone()),
        (30.0, weighted),
        (35.0, alike),
        (40.0, plain),
    ] {
        let mut own = run(
            &format!("at {celsius}"),
            vec![course(&times(), fall(&mut noise, |_, _, _| 0.0))],
        );
        at_temperature(&mut own, celsius);
        let kept = Outcome {
            runs: vec![own.id.clone()],
            ..kept
        };
        points.extend(rate_constants(&of, &own, &[kept]).unwrap().points);
    }
    let lines = curvary_analysis::study::temperature_series(&of, &points);
    let said: Vec<&str> = lines[0]
        .outcome
        .remarks
        .iter()
        .map(|remark| remark.message.as_str())
        .collect();
    let weighted = &points[1].run.as_str()[..8];
    assert!(
        said.iter()
            .any(|words| words.contains("not known of") && words.contains(weighted)),
        "{said:?}"
    );
    assert!(
        said.iter().any(|words| words.contains("errors-correlated")),
        "{said:?}"
    );
    assert!(
        lines[0]
            .outcome
            .parameter("frequency factor")
            .is_some_and(|a| a.value.is_some())
    );
}

#[test]
fn courses_without_a_constant_are_named() {
    let mut noise = Noise(5);
    let traces = (0..3)
        .map(|_| course(&times(), fall(&mut noise, |_, _, _| 0.0)))
        .collect();
    let mut own = run("three", traces);
    at_temperature(&mut own, 25.0);
    let mut kept: Vec<Outcome> = fit_run(&plan(None), &own)
        .into_iter()
        .map(|found| found.outcome)
        .collect();
    kept.truncate(1);
    let of = TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: Default::default(),
        temperature_error: None,
    };
    let found = rate_constants(&of, &own, &kept).unwrap();
    assert_eq!(
        (found.points.len(), found.left_out.len()),
        (1, 2),
        "{:?}",
        found.left_out
    );
    // A constant that was held is none that was found.
    let mut held = plan(None);
    held.parameters.entry("k".into()).or_default().held = Some(0.02);
    let kept: Vec<Outcome> = fit_run(&held, &own)
        .into_iter()
        .map(|found| found.outcome)
        .collect();
    assert!(rate_constants(&of, &own, &kept).is_err_and(|why| why.to_string().contains("held")));
}

fn point(label: &str, substrate: f64, rate: f64) -> RatePoint {
    RatePoint {
        run: RunId::named("series"),
        label: label.into(),
        substrate: (substrate, Unit::ucum("mmol/L").unwrap()),
        inhibitor: None,
        rate: (rate, Some(0.01 * rate), Unit::ucum("{AU}/s").unwrap()),
        blank: None,
        conditions: Vec::new(),
        drift: DriftEffect::Allowed,
        doubts: Vec::new(),
    }
}

fn hyperbola() -> Vec<RatePoint> {
    [0.1, 0.2, 0.5, 1.0, 2.0, 5.0]
        .into_iter()
        .enumerate()
        .map(|(i, s): (usize, f64)| {
            point(
                &format!("S{i}"),
                s,
                0.01 * s / (0.5 + s) * (1.0 + 0.004 * (i as f64 * 2.3).sin()),
            )
        })
        .collect()
}

#[test]
fn what_is_not_known_of_a_rate_is_not_nothing() {
    let law = SeriesPlan::of("michaelis-menten");
    assert!(fit_series(&law, &hyperbola()).found.is_result());
    let refused = |change: &dyn Fn(&mut RatePoint), at: usize| {
        let mut points = hyperbola();
        change(&mut points[at]);
        let found = fit_series(&law, &points).found;
        assert!(!found.is_result(), "{at}");
        found.outcome.termination
    };
    // An inhibitor in one of them, and none known of the others.
    for at in [0, 3] {
        let why = refused(
            &|point| point.inhibitor = Some((1.0, Unit::ucum("umol/L").unwrap())),
            at,
        );
        assert!(why.contains("no concentration of it is known"), "{why}");
        let why = refused(&|point| point.conditions.push(("temperature".into(), 298.15)), at);
        assert!(why.contains("temperature"), "{why}");
    }
    // Doubts of rates are told of the law.
    let mut points = hyperbola();
    points[2].doubts.push("readings-far".into());
    points[2].drift = DriftEffect::Unknown("test");
    let outcome = fit_series(&law, &points).found.outcome;
    let said: Vec<&str> = outcome
        .remarks
        .iter()
        .map(|remark| remark.message.as_str())
        .collect();
    assert!(
        said.iter().any(|words| words.contains("S2 (`readings-far`)")),
        "{said:?}"
    );
    assert!(
        said.iter().any(|words| words.contains("nothing drifts")),
        "{said:?}"
    );
}

#[test]
fn columns_of_a_run_of_rates_that_are_not_used_are_named() {
    let x: Vec<f64> = vec![0.1, 0.2, 0.5, 1.0, 2.0];
    let column = |label: &str, factor: f64| {
        let mut trace = Trace::new(
            Column::new(Quantity::CONCENTRATION, Unit::ucum("mmol/L").unwrap(), x.clone()),
            Column::new(
                Quantity::RATE,
                Unit::ucum("{AU}/s").unwrap(),
                x.iter().map(|s| factor * s / (0.5 + s)).collect::<Vec<_>>(),
            ),
        )
        .unwrap();
        trace.label = Some(label.into());
        trace
    };
    let of = |errors: &[&str]| {
        let rate = std::iter::once(column("rate", 0.01));
        let traces = rate.chain(errors.iter().map(|label| column(label, 0.0001)));
        let mut own = run("series", traces.collect());
        own.technique = Technique::RATE_SERIES;
        rates_run(&RatePlan::default(), &own)
    };
    // One column of errors is that of the rates; of several it is not known which counts, and none does.
    let one = of(&["SD"]);
    assert!(one.left_out.is_empty(), "{:?}", one.left_out);
    assert!(one.points.len() == 5 && one.points.iter().all(|point| point.rate.1.is_some()));
    let two = of(&["SD", "SEM"]);
    assert_eq!(two.left_out.len(), 3, "{:?}", two.left_out);
    assert!(two.points.len() == 5 && two.points.iter().all(|point| point.rate.1.is_none()));
}

#[test]
fn a_trace_among_blanks_holds_its_own_concentration() {
    // A rate without a concentration among others that have one is told; a blank is none.
    let time: Vec<f64> = (0..31).map(|i| 10.0 * f64::from(i)).collect();
    let traces = (0..4)
        .map(|n| {
            let mut trace = course(
                &time,
                time.iter()
                    .enumerate()
                    .map(|(i, t)| 0.1 + 1e-4 * f64::from(n + 1) * t + 1e-4 * (i as f64).sin())
                    .collect(),
            );
            trace.label = Some(format!("cell {n}"));
            if n < 2 {
                trace.held.push(Coordinate::new(
                    Quantity::CONCENTRATION,
                    Unit::ucum("mmol/L").unwrap(),
                    f64::from(n + 1),
                ));
            }
            trace
        })
        .collect();
    let own = run("cells", traces);
    let plan = RatePlan {
        blanks: vec!["cell 3".into()],
        ..RatePlan::default()
    };
    let found = rates_run(&plan, &own);
    let told = found
        .found
        .iter()
        .filter(|found| {
            found
                .outcome
                .remarks
                .iter()
                .any(|remark| remark.code.as_str() == "concentration-not-sure")
        })
        .count();
    assert_eq!((found.points.len(), told), (2, 1));
}
