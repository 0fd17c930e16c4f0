//! Laws of two variables over a table of rates: which columns count, and as what.

#![allow(clippy::unwrap_used)]

mod invented;

use curvary_analysis::study::{
    FitPlan, NamedRun, RatePlan, RunConstants, SeriesPlan, TemperaturePlan, WeightPlan, fit_run, fit_series,
    fit_together, rate_constants, rates_run,
};
use curvary_record::{Column, Coordinate, Outcome, Quantity, Run, Technique, Trace, Unit};

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
    invented::run("levels", Technique::RATE_SERIES, traces)
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

/// Known errors are drawn with the points of a fit, under the label of their column; without them there are none.
#[test]
fn known_errors_of_a_fit_are_in_its_picture() {
    let drawn = |weights: Option<WeightPlan>| {
        let plan = FitPlan {
            model: "competitive".into(),
            weights,
            ..FitPlan::default()
        };
        fit_run(&plan, &table(|rate| 0.02 * rate)).remove(0).drawn
    };
    let with = drawn(Some(WeightPlan::Errors("SD".into())));
    assert_eq!((with.bars.len(), with.bars_label.as_deref()), (24, Some("SD")));
    for ((x, low, high), i) in with.bars.iter().zip(&with.used) {
        let wanted = (with.x[*i], 0.98 * with.y[*i], 1.02 * with.y[*i]);
        assert!((low - wanted.1).abs() < 1e-12 * high && (high - wanted.2).abs() < 1e-12 * high);
        assert_eq!(*x, wanted.0);
    }
    let without = drawn(None);
    assert_eq!((without.bars.len(), without.bars_label), (0, None));
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
    let apart = courses(&[(298.15, 0.002), (308.15, 0.004), (318.15, 0.008)]);
    let single: Vec<Outcome> = fit_run(&law, &apart)
        .into_iter()
        .map(|found| found.outcome)
        .collect();
    let shared = FitPlan {
        share: vec!["k".into()],
        ..law.clone()
    };
    let together = |run: &Run| fit_together(&shared, &[NamedRun { run, name: "a" }]).unwrap();
    let shared = together(&apart).found.outcome;
    // Alone it is none, and said to be none; the courses are fitted where a model is named.
    let why = rate_constants(&plan(None), &apart, std::slice::from_ref(&shared)).unwrap_err();
    assert!(why.to_string().contains("several temperatures"), "{why}");
    let model = Some("first-order+offset");
    let points = |kept: &[Outcome], model| rate_constants(&plan(model), &apart, kept).unwrap().points.len();
    assert_eq!(points(std::slice::from_ref(&shared), model), 3);
    // Beside fits of single courses it does not count a second time.
    let mut kept = single.clone();
    kept.push(shared.clone());
    assert_eq!(points(&kept, None), 3);
    // Of courses at one temperature it is the constant.
    let alike = courses(&[(298.15, 0.002), (298.15, 0.002)]);
    let found = rate_constants(&plan(None), &alike, &[together(&alike).found.outcome]).unwrap();
    assert_eq!(found.points.len(), 1);
    assert!((found.points[0].kelvin - 298.15).abs() < 1e-9);
    assert!(found.left_out.is_empty(), "{:?}", found.left_out);
}

/// The courses that a query takes of the run say nothing of those that a law was fitted to: `fit --share k`, and then
/// `temperature 'temperature:45C' --of k`.
#[test]
fn a_shared_law_is_of_the_courses_it_was_fitted_to() {
    let law = |taken: Option<Vec<u32>>, run: &Run| {
        let plan = FitPlan {
            model: "first-order+offset".into(),
            share: vec!["k".into()],
            traces_of: taken
                .map(|taken| (run.id.to_string(), taken))
                .into_iter()
                .collect(),
            ..FitPlan::default()
        };
        let together = fit_together(&plan, &[NamedRun { run, name: "a" }]).unwrap();
        assert!(together.found.is_result(), "{:?}", together.found.outcome);
        together.found.outcome
    };
    let plan = |taken: &[u32], run: &Run| TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: [(run.id.to_string(), taken.to_vec())].into(),
        temperature_error: None,
    };
    let kelvins = |found: &RunConstants| found.points.iter().map(|point| point.kelvin).collect::<Vec<_>>();
    let apart = courses(&[(298.15, 0.002), (308.15, 0.004), (318.15, 0.008)]);
    let whole = law(None, &apart);
    for taken in [&[0][..], &[2], &[0, 1], &[0, 1, 2]] {
        let why = rate_constants(&plan(taken, &apart), &apart, std::slice::from_ref(&whole)).unwrap_err();
        assert!(
            why.to_string().contains("several temperatures"),
            "{taken:?}: {why}"
        );
    }
    // Of two courses at one temperature beside a warmer one it is the constant at theirs, and of the other there is none.
    let mixed = courses(&[(318.15, 0.008), (298.15, 0.002), (298.15, 0.002)]);
    let two = law(Some(vec![1, 2]), &mixed);
    for taken in [&[1][..], &[1, 2]] {
        let found = rate_constants(&plan(taken, &mixed), &mixed, std::slice::from_ref(&two)).unwrap();
        assert_eq!(kelvins(&found), [298.15], "{taken:?}");
        assert!((found.points[0].rate.0 - 0.002).abs() < 1e-4, "{found:?}");
        assert!(found.left_out.is_empty(), "{:?}", found.left_out);
    }
    let found = rate_constants(&plan(&[0, 1, 2], &mixed), &mixed, std::slice::from_ref(&two)).unwrap();
    assert_eq!(kelvins(&found), [298.15]);
    assert_eq!(found.left_out.len(), 1, "{:?}", found.left_out);
    let why = rate_constants(&plan(&[0], &mixed), &mixed, std::slice::from_ref(&two)).unwrap_err();
    assert!(why.to_string().contains("no fit with `k` is kept"), "{why}");
    // Two laws, each through two courses at one temperature: each counts once, at its own.
    let pairs = courses(&[(318.15, 0.008), (298.15, 0.002), (298.15, 0.002), (318.15, 0.008)]);
    let both = [law(Some(vec![1, 2]), &pairs), law(Some(vec![0, 3]), &pairs)];
    let found = rate_constants(&plan(&[0, 1, 2, 3], &pairs), &pairs, &both).unwrap();
    assert_eq!(kelvins(&found), [298.15, 318.15]);
    assert!(found.left_out.is_empty(), "{:?}", found.left_out);
    // A law through courses one of which has no known temperature is of none.
    let mut unknown = courses(&[(298.15, 0.002), (298.15, 0.002)]);
    unknown.traces[1].held.clear();
    let shared = law(None, &unknown);
    assert!(rate_constants(&plan(&[0], &unknown), &unknown, &[shared]).is_err());
}

/// A fit that is kept and does not count is named with the reason, and not told to be missing.
#[test]
fn a_shared_law_beside_a_fit_of_one_of_its_courses_is_named() {
    let law = |taken: Vec<u32>, run: &Run| {
        let plan = FitPlan {
            model: "first-order+offset".into(),
            share: vec!["k".into()],
            traces_of: [(run.id.to_string(), taken)].into(),
            ..FitPlan::default()
        };
        let together = fit_together(&plan, &[NamedRun { run, name: "a" }]).unwrap();
        together.found.outcome
    };
    let plan = TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: [].into(),
        temperature_error: None,
    };
    let run = courses(&[(298.15, 0.002), (298.15, 0.002), (298.15, 0.002)]);
    let alone = {
        let plan = FitPlan {
            model: "first-order+offset".into(),
            traces: vec!["1".into()],
            ..FitPlan::default()
        };
        fit_run(&plan, &run).remove(0).outcome
    };
    // `fit --share k` over all of them, and then a fit of the first.
    let found = rate_constants(&plan, &run, &[law(vec![0, 1, 2], &run), alone]).unwrap();
    assert_eq!((found.points.len(), found.left_out.len()), (1, 2), "{found:?}");
    // A later law through two of them puts out one that it shares a course with.
    let later = rate_constants(&plan, &run, &[law(vec![0, 1], &run), law(vec![1, 2], &run)]).unwrap();
    assert_eq!((later.points.len(), later.left_out.len()), (1, 1), "{later:?}");
    for why in found.left_out.iter().chain(&later.left_out) {
        assert!(
            why.contains("beside a fit of one of its courses") && !why.contains("no fit with"),
            "{why}"
        );
    }
}

/// The reason of a run that gives nothing keeps its code: `temperature --model` over a saturated course.
#[test]
fn a_reason_keeps_its_code_on_its_way() {
    let mut run = courses(&[(298.15, 0.002)]);
    let values = run.traces[0]
        .y
        .values
        .iter()
        .map(|y| y + 9.0)
        .collect::<Vec<f64>>();
    run.traces[0].y.values = values.into_iter().collect();
    let plan = TemperaturePlan {
        of: "k".into(),
        fitted: Some("first-order".into()),
        traces_of: [].into(),
        temperature_error: None,
    };
    let own = fit_run(
        &FitPlan {
            model: "first-order".into(),
            ..FitPlan::default()
        },
        &run,
    )
    .remove(0)
    .outcome
    .termination;
    let why = rate_constants(&plan, &run, &[]).unwrap_err();
    assert_eq!(why.code(), "all-saturated");
    assert_eq!(format!("{}: {why}", why.code()), own);
}

/// Courses of a first-order decay, each at a temperature in kelvin with a constant in 1/s.
fn courses(all: &[(f64, f64)]) -> Run {
    let time: Vec<f64> = (0..41).map(|i| 30.0 * f64::from(i)).collect();
    let course = |(kelvin, k): &(f64, f64)| {
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
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::KELVIN, *kelvin));
        trace
    };
    Run {
        technique: Technique::TIME_COURSE,
        traces: all.iter().map(course).collect(),
        ..table(|rate| rate)
    }
}

/// A table of rates in `{AU}/min` with errors of it in other units, and what comes of a fit that lets the points count by them.
fn with_errors(code: &str, factor: f64) -> Run {
    let mut run = table(|rate| 0.02 * rate * factor);
    for trace in &mut run.traces {
        if trace.label.as_deref() == Some("v") {
            trace.y.unit = unit("{AU}/min");
        } else {
            trace.y.unit = unit(code);
        }
    }
    run
}

/// Errors count in the unit of what they are of, whatever unit their own column has: as weights, as errors in common and beside rates.
#[test]
fn errors_count_in_the_unit_of_what_they_are_of() {
    let by = |weights: bool, run: &Run| {
        let plan = FitPlan {
            model: "competitive".into(),
            weights: weights.then(|| WeightPlan::Errors("SD".into())),
            common: if weights { Vec::new() } else { vec!["SD".into()] },
            ..FitPlan::default()
        };
        fit_run(&plan, run).remove(0).outcome
    };
    let errors = |outcome: &Outcome| -> Vec<f64> {
        let all = outcome.parameters.iter().filter_map(|own| own.standard_error);
        all.collect()
    };
    let beside = |run: &Run| -> Vec<Option<f64>> {
        let points = rates_run(&RatePlan::default(), run).points;
        points.iter().map(|point| point.rate.1).collect()
    };
    let alike = |one: &[f64], other: &[f64]| {
        assert!(!one.is_empty() && one.len() == other.len(), "{one:?} {other:?}");
        for (one, other) in one.iter().zip(other) {
            assert!((one - other).abs() < 1e-9 * one.abs(), "{one} and {other}");
        }
    };
    let plain = with_errors("{AU}/min", 1.0);
    // A head without a unit means that of what the errors are of.
    for (code, factor) in [("10*-3.{AU}/min", 1e3), ("{AU}/h", 60.0), ("1", 1.0)] {
        let other = with_errors(code, factor);
        for weights in [false, true] {
            alike(&errors(&by(weights, &plain)), &errors(&by(weights, &other)));
        }
        let of = |run: &Run| beside(run).into_iter().flatten().collect::<Vec<f64>>();
        alike(&of(&plain), &of(&other));
    }
    for code in ["{AU}", "umol/L/min", "%"] {
        let other = with_errors(code, 1.0);
        for weights in [false, true] {
            let outcome = by(weights, &other);
            assert!(errors(&outcome).is_empty(), "{code}: {outcome:?}");
            assert!(
                outcome.termination.contains("`SD`"),
                "{code}: {}",
                outcome.termination
            );
        }
        let rates = rates_run(&RatePlan::default(), &other);
        assert!(rates.points.iter().all(|point| point.rate.1.is_none()), "{code}");
        assert!(
            rates.left_out.iter().any(|why| why.to_string().contains("`SD`")),
            "{code}: {:?}",
            rates.left_out
        );
    }
}

/// What is fitted may be something else than what stands in the column: absorbance of a course in thousandths or of transmittance, and
/// concentration of absorbance.
#[test]
fn errors_follow_what_is_fitted() {
    let course = |y: (Quantity, &str, fn(f64) -> f64), sd: (&str, f64)| {
        let time: Vec<f64> = (0..41).map(|i| 30.0 * f64::from(i)).collect();
        let absorbance = |i: usize| 0.1 + 0.6 * (-0.003 * time[i]).exp() + 3e-4 * (i as f64 * 2.7).sin();
        let column = |label: &str, quantity: Quantity, code: &str, values: Vec<f64>| {
            let x = Column::new(Quantity::TIME, Unit::SECOND, time.clone());
            let mut trace = Trace::new(x, Column::new(quantity, unit(code), values)).unwrap();
            trace.label = Some(label.into());
            trace
        };
        let values = (0..time.len()).map(|i| y.2(absorbance(i))).collect();
        let errors = (0..time.len()).map(|i| sd.1 * (1.0 + i as f64 / 40.0)).collect();
        Run {
            technique: Technique::TIME_COURSE,
            traces: vec![
                column("A", y.0, y.1, values),
                column("SD", Quantity::UNKNOWN, sd.0, errors),
            ],
            ..table(|rate| rate)
        }
    };
    let fitted = |run: &Run, concentration: bool| {
        let plan = FitPlan {
            model: "first-order+offset".into(),
            weights: Some(WeightPlan::Errors("SD".into())),
            concentration,
            coefficient: concentration.then_some(6220.0),
            path: concentration.then_some(1.0),
            ..FitPlan::default()
        };
        fit_run(&plan, run).remove(0).outcome
    };
    let k = |outcome: &Outcome| {
        let own = outcome
            .parameter("k")
            .and_then(|own| own.value.zip(own.standard_error));
        own.unwrap_or((f64::NAN, f64::NAN))
    };
    let same = |one: f64, other: f64| (one - other).abs() < 1e-6 * one.abs();
    let plain = k(&fitted(
        &course((Quantity::ABSORBANCE, "{AU}", |a| a), ("{AU}", 3e-4)),
        false,
    ));
    let milli = (
        Quantity::ABSORBANCE,
        "10*-3.{AU}",
        (|a| 1e3 * a) as fn(f64) -> f64,
    );
    for sd in [("1", 0.3), ("10*-3.{AU}", 0.3), ("{AU}", 3e-4)] {
        let own = k(&fitted(&course(milli.clone(), sd), false));
        assert!(
            same(plain.0, own.0) && same(plain.1, own.1),
            "{sd:?}: {plain:?} {own:?}"
        );
    }
    let moles = k(&fitted(
        &course((Quantity::ABSORBANCE, "{AU}", |a| a), ("{AU}", 3e-4)),
        true,
    ));
    assert!(
        same(plain.0, moles.0) && same(plain.1, moles.1),
        "{plain:?} {moles:?}"
    );
    // What is consumed absorbs: the coefficient of a difference is negative, and an error has no sign.
    let plan = FitPlan {
        model: "first-order+offset".into(),
        weights: Some(WeightPlan::Errors("SD".into())),
        concentration: true,
        coefficient: Some(-6220.0),
        path: Some(1.0),
        ..FitPlan::default()
    };
    let run = course((Quantity::ABSORBANCE, "{AU}", |a| a), ("{AU}", 3e-4));
    let down = k(&fit_run(&plan, &run).remove(0).outcome);
    assert!(
        same(plain.0, down.0) && same(plain.1, down.1),
        "{plain:?} {down:?}"
    );
    let common = |concentration: bool| {
        let plan = FitPlan {
            model: "first-order+offset".into(),
            common: vec!["SD".into()],
            concentration,
            coefficient: Some(6220.0).filter(|_| concentration),
            path: Some(1.0).filter(|_| concentration),
            ..FitPlan::default()
        };
        let run = course((Quantity::ABSORBANCE, "{AU}", |a| a), ("{AU}", 3e-3));
        k(&fit_run(&plan, &run).remove(0).outcome)
    };
    let (plain_common, moles) = (common(false), common(true));
    assert!(plain_common.1 > 2.0 * plain.1, "{plain_common:?}");
    assert!(
        same(plain_common.0, moles.0) && same(plain_common.1, moles.1),
        "{plain_common:?} {moles:?}"
    );
    // An error of a transmittance is none of an absorbance.
    let light = (
        Quantity::TRANSMITTANCE,
        "%",
        (|a| 100.0 * 10f64.powf(-a)) as fn(f64) -> f64,
    );
    for sd in [("1", 0.03), ("%", 0.03)] {
        let outcome = fitted(&course(light.clone(), sd), false);
        assert!(
            outcome.termination.contains("transmittance"),
            "{sd:?}: {}",
            outcome.termination
        );
    }
    let own = k(&fitted(&course(light, ("{AU}", 3e-4)), false));
    assert!(same(plain.0, own.0) && same(plain.1, own.1), "{plain:?} {own:?}");
}

/// A straight line through rates whose errors have a part in common, as `results --over` writes them: by the algebra of least squares,
/// what is common to all of them alike moves the intercept by itself and the slope not at all, and what grows with x the slope only.
/// The errors without it are those of weights 1/SD², which the normal equations of two parameters give in closed form.
#[test]
fn what_errors_have_in_common_goes_into_a_line_in_full() {
    let x: Vec<f64> = (0..9).map(f64::from).collect();
    let sd: Vec<f64> = x.iter().map(|x| 0.01 * (1.0 + 0.2 * x)).collect();
    let table_of = |code: &str, factor: f64, moved: &dyn Fn(f64) -> f64| {
        let column = |label: &str, code: &str, values: Vec<f64>| {
            let along = Column::new(Quantity::CONCENTRATION, unit("mmol/L"), x.clone());
            let y = Column::new(Quantity::UNKNOWN, unit(code), values);
            let mut trace = Trace::new(along, y).unwrap();
            trace.label = Some(label.into());
            trace
        };
        // Off the line by a known part of each error, so that chi-squared is not zero.
        let off = [0.9, -1.1, 0.3, 1.2, -0.8, -0.4, 1.0, -1.3, 0.5];
        let y = (0..9).map(|i| 0.5 + 0.25 * x[i] + off[i] * sd[i]).collect();
        let own = sd.iter().map(|sd| factor * sd).collect();
        let common = x.iter().map(|x| factor * moved(*x)).collect();
        let traces = vec![
            column("v", "{AU}/min", y),
            column("SD", code, own),
            column("SD in common", code, common),
        ];
        invented::run("line", Technique::RATE_SERIES, traces)
    };
    let weights: Vec<f64> = sd.iter().map(|sd| sd.powi(-2)).collect();
    let sum = |power: i32| -> f64 { x.iter().zip(&weights).map(|(x, w)| w * x.powi(power)).sum() };
    let determinant = sum(0) * sum(2) - sum(1) * sum(1);
    let plain = [(sum(2) / determinant).sqrt(), (sum(0) / determinant).sqrt()];
    let plan = FitPlan {
        formula: Some("a + b*x".into()),
        weights: Some(WeightPlan::Errors("SD".into())),
        common: vec!["SD in common".into()],
        ..FitPlan::default()
    };
    for (moved, by) in [
        (&(|_| 0.05) as &dyn Fn(f64) -> f64, [0.05, 0.0]),
        (&|x| -0.03 * x, [0.0, 0.03]),
    ] {
        for (code, factor) in [
            ("{AU}/min", 1.0),
            ("10*-3.{AU}/min", 1e3),
            ("{AU}/h", 60.0),
            ("1", 1.0),
        ] {
            let found = fit_run(&plan, &table_of(code, factor, moved));
            assert_eq!(found.len(), 1);
            let outcome = &found[0].outcome;
            for ((name, plain), by) in ["a", "b"].iter().zip(plain).zip(by) {
                let error = outcome.parameter(name).and_then(|own| own.standard_error);
                let wanted = plain.hypot(by);
                assert!(
                    error.is_some_and(|error| (error - wanted).abs() < 1e-6 * wanted),
                    "{code}, {name}: {error:?} for {wanted}: {outcome:?}"
                );
            }
        }
    }
    // Of a logarithm they are others.
    let turned = FitPlan {
        formula: Some("log(y) = a + b*x".into()),
        ..plan
    };
    let run = table_of("{AU}/min", 1.0, &|_| 0.05);
    for plan in [
        FitPlan {
            common: Vec::new(),
            ..turned.clone()
        },
        FitPlan {
            weights: None,
            ..turned
        },
    ] {
        let said = &fit_run(&plan, &run)[0].outcome.termination;
        assert!(said.contains("something else is fitted"), "{said}");
    }
}

/// `rates --trace nosuch` over a table.
#[test]
fn a_trace_that_is_not_there_is_named_with_those_that_are() {
    for run in [table(|rate| 0.02 * rate), courses(&[(298.15, 0.002)])] {
        let label = run.traces.last().and_then(|trace| trace.label.clone()).unwrap();
        // One that is there does not hide one that is not.
        for beside in [None, Some(label.clone()), Some("1".to_owned())] {
            let traces: Vec<String> = beside.into_iter().chain(["nosuch".to_owned()]).collect();
            let plan = RatePlan {
                traces: traces.clone(),
                ..RatePlan::default()
            };
            let found = rates_run(&plan, &run);
            let said = found.found.first().map_or("", |found| &found.outcome.termination);
            assert!(
                found.points.is_empty() && said.contains("no trace is called nosuch"),
                "{said}"
            );
            assert!(said.contains(&label), "{said}");
            for (model, formula) in [
                ("first-order", None),
                ("competitive", None),
                ("", Some("a + b*x".to_owned())),
            ] {
                let plan = FitPlan {
                    model: model.into(),
                    formula,
                    traces: traces.clone(),
                    ..FitPlan::default()
                };
                for found in fit_run(&plan, &run) {
                    let said = &found.outcome.termination;
                    assert!(said.contains("no trace is called nosuch"), "{model}: {said}");
                }
            }
        }
    }
}
