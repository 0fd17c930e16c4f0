//! Laws of two variables over a table of rates: which columns count, and as what.

#![allow(clippy::unwrap_used)]

use curvary_analysis::study::{
    FitPlan, RatePlan, SeriesPlan, TemperaturePlan, WeightPlan, fit_run, fit_series, rate_constants,
    rates_run,
};
use curvary_record::{
    Column, Coordinate, Digest, Fields, Outcome, Quantity, Run, RunId, SourceRef, Technique, Trace, Unit,
};

const SUBSTRATE: [f64; 6] = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2];

fn unit(code: &str) -> Unit {
    Unit::ucum(code).unwrap()
}

fn column(name: &str, quantity: Quantity, inhibitor: f64, values: Vec<f64>) -> Trace {
    let x = Column::new(Quantity::CONCENTRATION, unit("mmol/L"), SUBSTRATE.to_vec());
    let own = if quantity == Quantity::RATE {
        unit("umol/L/min")
    } else {
        Unit::ONE
    };
    let mut trace = Trace::new(x, Column::new(quantity, own, values)).unwrap();
    trace.label = Some(name.into());
    let held = Quantity::named("inhibitor-concentration");
    trace.held.push(Coordinate::new(held, unit("umol/L"), inhibitor));
    trace
}

/// Competitive inhibition, Vmax 12, Km 0.5, Kic 8, off by alternately plus and minus two parts in a hundred; the errors stand in a
/// column of their own, before the rates as some instruments have it.
fn table(errors: impl Fn(f64) -> f64) -> Run {
    let mut traces = Vec::new();
    for (row, inhibitor) in [0.0, 5.0, 10.0, 20.0].into_iter().enumerate() {
        let rates: Vec<f64> = SUBSTRATE
            .iter()
            .enumerate()
            .map(|(i, s)| {
                let off = if (i + row) % 2 == 0 { 1.02 } else { 0.98 };
                off * 12.0 * s / (0.5 * (1.0 + inhibitor / 8.0) + s)
            })
            .collect();
        let own = rates.iter().map(|rate| errors(*rate)).collect();
        traces.push(column("SD", Quantity::UNKNOWN, inhibitor, own));
        traces.push(column("v", Quantity::RATE, inhibitor, rates));
    }
    let digest = Digest::of(b"levels");
    Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: "levels.csv".into(),
            digest,
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: None,
            ordinal: 0,
            lines: None,
        },
        technique: Technique::RATE_SERIES,
        because: Vec::new(),
        fields: Fields::default(),
        traces,
        questions: Vec::new(),
        remarks: Vec::new(),
    }
}

fn fitted(plan: FitPlan) -> Outcome {
    let plan = FitPlan {
        model: "competitive".into(),
        ..plan
    };
    let mut all = fit_run(&plan, &table(|rate| 0.02 * rate));
    assert_eq!(all.len(), 1);
    all.remove(0).outcome
}

fn values(outcome: &Outcome) -> Vec<f64> {
    ["Vmax", "Km", "Kic"]
        .iter()
        .map(|name| {
            outcome
                .parameter(name)
                .and_then(|own| own.value)
                .unwrap_or(f64::NAN)
        })
        .collect()
}

#[test]
fn errors_are_no_rates_and_levels_are_those_of_the_rates() {
    for plan in [
        FitPlan::default(),
        FitPlan {
            traces: vec!["v".into()],
            ..FitPlan::default()
        },
        FitPlan {
            weights: Some(WeightPlan::Errors("SD".into())),
            ..FitPlan::default()
        },
    ] {
        let outcome = fitted(plan.clone());
        let found = values(&outcome);
        for (found, wanted) in found.iter().zip([12.0, 0.5, 8.0]) {
            assert!((found - wanted).abs() < 0.05 * wanted, "{plan:?}: {outcome:?}");
        }
        assert_eq!(outcome.statistics["points"] as usize, 24);
    }
}

#[test]
fn a_column_of_errors_beside_rates_is_theirs() {
    let points = rates_run(&RatePlan::default(), &table(|rate| 0.02 * rate));
    assert!(points.left_out.is_empty(), "{:?}", points.left_out);
    assert_eq!(points.points.len(), 24);
    assert!(
        points
            .points
            .iter()
            .all(|point| point.rate.1.is_some_and(|own| own > 0.0))
    );
    let outcome = fit_series(&SeriesPlan::of("competitive"), &points.points)
        .found
        .outcome;
    assert!((values(&outcome)[1] - 0.5).abs() < 0.03, "{outcome:?}");
    // Errors that are none are told once, and the rates count without.
    let points = rates_run(&RatePlan::default(), &table(|_| 0.0));
    assert_eq!(points.left_out.len(), 2, "{:?}", points.left_out);
    assert!(points.points.iter().all(|point| point.rate.1.is_none()));
}

/// Courses of one run at several temperatures: a law through all of them gives no constant at any of them, and hides none.
#[test]
fn a_law_through_courses_at_several_temperatures_is_no_constant_of_one() {
    let time: Vec<f64> = (0..41).map(|i| 30.0 * f64::from(i)).collect();
    let course = |kelvin: f64, k: f64| {
        let ripple = |i: usize| 3e-4 * (i as f64 * 2.7).sin();
        let y = time
            .iter()
            .enumerate()
            .map(|(i, t)| 0.1 + 0.6 * (-k * t).exp() + ripple(i));
        let x = Column::new(Quantity::TIME, Unit::SECOND, time.clone());
        let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y.collect::<Vec<f64>>());
        let mut trace = Trace::new(x, y).unwrap();
        trace.label = Some(format!("A ({kelvin} K)"));
        trace
            .held
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::KELVIN, kelvin));
        trace
    };
    let run_of = |all: &[(f64, f64)]| Run {
        technique: Technique::TIME_COURSE,
        traces: all.iter().map(|(kelvin, k)| course(*kelvin, *k)).collect(),
        ..table(|rate| rate)
    };
    let plan = |model: Option<&str>| TemperaturePlan {
        of: "k".into(),
        fitted: model.map(str::to_owned),
        traces_of: Default::default(),
        temperature_error: None,
    };
    let law = FitPlan {
        model: "first-order+offset".into(),
        ..FitPlan::default()
    };
    let apart = run_of(&[(298.15, 0.002), (308.15, 0.004), (318.15, 0.008)]);
    let single: Vec<Outcome> = fit_run(&law, &apart)
        .into_iter()
        .map(|found| found.outcome)
        .collect();
    let mut shared = single[0].clone();
    shared.trace = None;
    // Alone it is none, and said to be none; the courses are fitted where a model is named.
    let why = rate_constants(&plan(None), &apart, std::slice::from_ref(&shared)).unwrap_err();
    assert!(why.contains("several temperatures"), "{why}");
    let model = Some("first-order+offset");
    let points = |kept: &[Outcome], model| rate_constants(&plan(model), &apart, kept).unwrap().points.len();
    assert_eq!(points(std::slice::from_ref(&shared), model), 3);
    // Beside fits of single courses it does not count a second time.
    let mut kept = single.clone();
    kept.push(shared.clone());
    assert_eq!(points(&kept, None), 3);
    // Of courses at one temperature it is the constant.
    let alike = run_of(&[(298.15, 0.002), (298.15, 0.002)]);
    let found = rate_constants(&plan(None), &alike, &[shared]).unwrap();
    assert_eq!(found.points.len(), 1);
    assert!((found.points[0].kelvin - 298.15).abs() < 1e-9);
    assert!(found.left_out.is_empty(), "{:?}", found.left_out);
}
