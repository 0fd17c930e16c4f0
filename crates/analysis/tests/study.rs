//! From runs to outcomes: the right columns, units, remarks and names.

#![allow(clippy::expect_used, reason = "tests may panic")]

mod invented;

use curvary_analysis::study::{
    AtTemperature, AxisSpan, DriftEffect, FitPlan, ParameterPlan, RatePlan, ScanTask, SeriesPlan,
    TemperaturePlan, compare_trace, fit_run, fit_series, rates_run, reported, scan_run, temperature_series,
};
use curvary_record::{
    Claim, Code, Column, Coordinate, Origin, Outcome, Place, Quantity, Question, Run, RunId, Technique,
    Trace, Unit,
};

fn unit(code: &str) -> Unit {
    Unit::ucum(code).expect("a unit")
}

fn trace(x: (&Quantity, &str, Vec<f64>), y: (&Quantity, &str, Vec<f64>)) -> Trace {
    Trace::new(
        Column::new(x.0.clone(), unit(x.1), x.2),
        Column::new(y.0.clone(), unit(y.1), y.2),
    )
    .expect("equal lengths")
}

fn run(technique: Technique, traces: Vec<Trace>) -> Run {
    invented::run("invented", technique, traces)
}

/// A fall from 1.1 to 0.1 with k = 0.03/s and a small ripple in place of noise.
fn course() -> Trace {
    let time: Vec<f64> = (0..80).map(|i| f64::from(i) * 2.0).collect();
    let ripple = |i: usize| 2e-4 * (i as f64 * 2.7).sin();
    let signal = time
        .iter()
        .enumerate()
        .map(|(i, t)| 0.1 + (-0.03 * t).exp() + ripple(i))
        .collect();
    trace(
        (&Quantity::TIME, "s", time),
        (&Quantity::ABSORBANCE, "{AU}", signal),
    )
}

fn plan(model: &str) -> FitPlan {
    FitPlan {
        model: model.into(),
        ..FitPlan::default()
    }
}

fn value(outcome: &Outcome, name: &str) -> (f64, String) {
    let parameter = outcome
        .parameter(name)
        .unwrap_or_else(|| panic!("{name} of {outcome:?}"));
    (
        parameter.value.unwrap_or(f64::NAN),
        parameter
            .unit
            .as_ref()
            .map(|unit| unit.code().to_owned())
            .unwrap_or_default(),
    )
}

#[test]
fn a_course_gives_a_record_with_units_in_terms_of_its_axes() {
    let run = run(Technique::TIME_COURSE, vec![course()]);
    let found = fit_run(&plan("first-order+offset"), &run);
    assert_eq!(found.len(), 1);
    let outcome = &found[0].outcome;
    let (k, code) = value(outcome, "k");
    assert!((k - 0.03).abs() < 2e-4 && code == "/s", "{k} {code}");
    assert_eq!(value(outcome, "A").1, "{AU}");
    assert_eq!(value(outcome, "half-life").1, "s");
    assert!((value(outcome, "half-life").0 - 2f64.ln() / k).abs() < 1e-9);
    assert_eq!(
        (outcome.kind.as_str(), outcome.model.as_str(), outcome.trace),
        ("fit", "first-order+offset", Some(0))
    );
    assert_eq!(outcome.runs, std::slice::from_ref(&run.id));
    assert_eq!(outcome.covariance.len(), 3);
    assert_eq!(found[0].drawn.fitted.len(), 80);
    // The same asked twice has one name; anything else asked has another.
    assert_eq!(
        fit_run(&plan("first-order+offset"), &run)[0].outcome.id,
        outcome.id
    );
    let windowed = FitPlan {
        window: Some(AxisSpan {
            from: 0.5,
            to: 1.5,
            unit: Some(Unit::MINUTE),
        }),
        ..plan("first-order+offset")
    };
    let other = &fit_run(&windowed, &run)[0].outcome;
    assert_ne!(other.id, outcome.id);
    assert_eq!(other.statistics["first_x"], 30.0);
    assert_eq!(other.statistics["last_x"], 90.0);
    // What is kept is enough to do it again.
    let settings: serde_json::Map<String, serde_json::Value> = other.settings.clone().into_iter().collect();
    let again: FitPlan = serde_json::from_value(serde_json::Value::Object(settings)).expect("a plan");
    assert_eq!(again, windowed);
}

#[test]
fn saturated_points_are_left_out_and_told_whether_marked_or_high() {
    let mut curve = course();
    let values: Vec<f64> = curve
        .y
        .values
        .iter()
        .enumerate()
        .map(|(i, y)| if i == 5 { 4.5 } else { *y })
        .collect();
    curve.y.values = values.into();
    curve.saturated = vec![0, 1];
    let run = run(Technique::TIME_COURSE, vec![curve]);
    let outcome = &fit_run(&plan("first-order+offset"), &run)[0].outcome;
    assert!((value(outcome, "k").0 - 0.03).abs() < 3e-4);
    assert_eq!(outcome.statistics["points"], 77.0);
    let told: Vec<&str> = outcome
        .remarks
        .iter()
        .filter(|remark| remark.code == Code::new("points-left-out"))
        .map(|remark| remark.message.as_str())
        .collect();
    assert_eq!(told.len(), 2, "{told:?}");
    let all = FitPlan {
        trusted_absorbance: Some(f64::MAX),
        ..plan("first-order+offset")
    };
    assert_eq!(fit_run(&all, &run)[0].outcome.statistics["points"], 78.0);
}

#[test]
fn what_cannot_be_fitted_has_a_reason_and_no_number() {
    let spectrum = trace(
        (
            &Quantity::WAVELENGTH,
            "nm",
            vec![400.0, 401.0, 402.0, 403.0, 404.0, 405.0],
        ),
        (&Quantity::ABSORBANCE, "{AU}", vec![0.1, 0.2, 0.3, 0.2, 0.1, 0.0]),
    );
    let flat = trace(
        (&Quantity::TIME, "s", vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0]),
        (&Quantity::ABSORBANCE, "{AU}", vec![0.3; 6]),
    );
    let backwards = trace(
        (&Quantity::TIME, "s", vec![0.0, 1.0, 2.0, 1.5, 4.0, 5.0]),
        (&Quantity::ABSORBANCE, "{AU}", vec![0.6, 0.5, 0.4, 0.3, 0.25, 0.2]),
    );
    for (curve, code) in [
        (spectrum, "unsuitable"),
        (flat, "constant-signal"),
        (backwards, "reversed-time"),
    ] {
        let run = run(Technique::TIME_COURSE, vec![curve]);
        let found = &fit_run(&plan("first-order"), &run)[0];
        assert!(!found.is_result());
        assert!(
            found.outcome.termination.starts_with(code),
            "{}",
            found.outcome.termination
        );
    }
    let mut asked = run(Technique::TIME_COURSE, vec![course()]);
    asked.questions.push(Question {
        code: Code::new("time-unit"),
        message: "the time has no unit".into(),
        readings: Vec::new(),
        labels: Vec::new(),
    });
    assert!(!fit_run(&plan("first-order"), &asked)[0].is_result());
    assert!(plan("third-order").check().is_err());
    assert!(plan("first-order+warp").check().is_err());
}

#[test]
fn concentration_needs_a_coefficient_and_shows_the_factor() {
    let mut run = run(Technique::TIME_COURSE, vec![course()]);
    let bare = FitPlan {
        concentration: true,
        ..plan("first-order+offset")
    };
    assert!(!fit_run(&bare, &run)[0].is_result());
    let place = Origin::Source(Place::line(3));
    run.fields.claim(
        "path-length",
        Claim::number(10.0, Some(unit("mm")), "10 mm", place),
    );
    let given = FitPlan {
        coefficient: Some(5000.0),
        ..bare
    };
    let outcome = &fit_run(&given, &run)[0].outcome;
    let (amplitude, code) = value(outcome, "A");
    assert!(
        (amplitude - 2e-4).abs() < 2e-6 && code == "mol/L",
        "{amplitude} {code}"
    );
    assert_eq!(outcome.statistics["absorbance_per_mol_per_litre"], 5000.0);
}

/// Reaction velocity of an enzyme treated with puromycin (Bates and Watts, Nonlinear Regression Analysis, 1988, A1.3):
/// Vmax 212.7 and Km 0.06412 with standard errors 6.947 and 0.008281.
#[test]
fn puromycin_as_a_run_of_rates_over_concentrations() {
    let concentration = vec![
        0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.1, 1.1,
    ];
    let rate = vec![
        76.0, 47.0, 97.0, 107.0, 123.0, 139.0, 159.0, 152.0, 191.0, 201.0, 207.0, 200.0,
    ];
    let curve = trace(
        (&Quantity::CONCENTRATION, "mmol/L", concentration),
        (&Quantity::RATE, "umol/L/min", rate),
    );
    let run = run(Technique::RATE_SERIES, vec![curve]);
    for outcome in [
        fit_run(&plan("michaelis-menten"), &run)[0].outcome.clone(),
        fit_series(
            &SeriesPlan::of("michaelis-menten"),
            &rates_run(&RatePlan::default(), &run).points,
        )
        .found
        .outcome,
    ] {
        let (km, code) = value(&outcome, "Km");
        assert!((km - 0.06412).abs() < 5e-6 && code == "mmol/L", "{km} {code}");
        let (vmax, code) = value(&outcome, "Vmax");
        assert!(
            (vmax - 212.68).abs() < 5e-3 && code == "umol/L/min",
            "{vmax} {code}"
        );
        let error = outcome
            .parameter("Km")
            .and_then(|km| km.standard_error)
            .unwrap_or_default();
        assert!((error - 0.008281).abs() < 5e-6, "{error}");
    }
}

#[test]
fn rates_of_a_series_lose_their_blank_and_give_the_constants_back() {
    // Vmax 2e-6 mol/(L s) and Km 0.5 mmol/L by construction, seen through 8000 L/(mol cm) and 1 cm, on a drift of 1e-4/s.
    let (vmax, km, epsilon, drift) = (2e-6, 0.5, 8000.0, 1e-4);
    let time: Vec<f64> = (0..31).map(|i| f64::from(i) * 2.0).collect();
    let at = |s: f64| {
        let slope = epsilon * vmax * s / (km + s) + drift;
        let signal = time
            .iter()
            .enumerate()
            .map(|(i, t)| 0.05 + slope * t + 1e-5 * (i as f64 * 1.9).sin())
            .collect();
        let mut curve = trace(
            (&Quantity::TIME, "s", time.clone()),
            (&Quantity::ABSORBANCE, "{AU}", signal),
        );
        curve.label = Some(format!("{s} mM"));
        curve
            .held
            .push(Coordinate::new(Quantity::CONCENTRATION, unit("mmol/L"), s));
        curve
    };
    let traces = [0.0, 0.1, 0.2, 0.5, 1.0, 2.0, 4.0].map(at).to_vec();
    let run = run(Technique::TIME_COURSE, traces);
    let plan = RatePlan {
        blanks: vec!["0 mM".into()],
        concentration: true,
        coefficient: Some(epsilon),
        path: Some(1.0),
        trusted_absorbance: Some(f64::MAX),
        ..RatePlan::default()
    };
    let rates = rates_run(&plan, &run);
    assert_eq!((rates.found.len(), rates.points.len()), (7, 6));
    let (v0, code) = value(&rates.found[3].outcome, "v0");
    assert!(
        (v0 / (vmax / 2.0) - 1.0).abs() < 2e-3 && code == "mol/L/s",
        "{v0} {code}"
    );
    let series = fit_series(
        &SeriesPlan {
            enzyme_mol_per_litre: Some(1e-8),
            initial_rates: plan.clone(),
            ..SeriesPlan::of("michaelis-menten")
        },
        &rates.points,
    );
    let outcome = &series.found.outcome;
    assert!((value(outcome, "Km").0 / km - 1.0).abs() < 5e-3, "{outcome:?}");
    let (kcat, code) = value(outcome, "kcat");
    assert!(
        (kcat / (vmax / 1e-8) - 1.0).abs() < 5e-3 && code == "/s",
        "{kcat} {code}"
    );
    let missing = RatePlan {
        blanks: vec!["nowhere".into()],
        ..plan
    };
    assert!(!rates_run(&missing, &run).found[0].is_result());
}

#[test]
fn orders_are_ranked_and_a_short_course_is_not_told_apart() {
    let whole = run(Technique::TIME_COURSE, vec![course()]);
    let compared = compare_trace(&FitPlan::default(), &[], &whole);
    let compared = compared[0].as_ref().expect("a comparison");
    assert_eq!(compared.ranked[0].0, "first-order+offset");
    let early = FitPlan {
        window: Some(AxisSpan {
            from: 0.0,
            to: 14.0,
            unit: None,
        }),
        ..FitPlan::default()
    };
    let compared = compare_trace(
        &early,
        &["zero-order".into(), "first-order+offset".into()],
        &whole,
    );
    assert!(
        compared[0]
            .as_ref()
            .is_ok_and(|compared| compared.verdict.len() > 20)
    );
}

#[test]
fn a_reported_constant_is_reproduced_or_not() {
    let said = |raw: &str| {
        let mut run = run(Technique::TIME_COURSE, vec![course()]);
        run.fields
            .claim("k (1/s)", Claim::text(raw, Origin::Source(Place::line(9))));
        reported(&run)
    };
    let right = said("0.0300");
    assert_eq!(right.len(), 1);
    assert_eq!(right[0].reproduced, Some(true), "{}", right[0].verdict);
    assert_eq!(
        right[0].reported.outcome.kind,
        curvary_record::OutcomeKind::Reported
    );
    assert_eq!(value(&right[0].reported.outcome, "k"), (0.03, "/s".to_owned()));
    assert!(right[0].reported.outcome.by.starts_with("line 9"));
    let wrong = said("0,0417 s-1");
    assert_eq!(wrong[0].reproduced, Some(false));
    assert!(
        wrong[0].verdict.contains("not reproduced"),
        "{}",
        wrong[0].verdict
    );
    assert_eq!(value(&wrong[0].reported.outcome, "k"), (0.0417, "/s".to_owned()));
}

#[test]
fn constants_at_several_temperatures_give_the_activation_energy() {
    // k = 1e10 exp(-60000/(R T)) by construction (R of the 2019 SI).
    let r = 8.314_462_618_153_24;
    let points: Vec<AtTemperature> = [293.15, 303.15, 313.15, 323.15]
        .into_iter()
        .map(|kelvin: f64| AtTemperature {
            run: RunId::named(format!("{kelvin}")),
            drift: DriftEffect::Allowed,
            doubts: Vec::new(),
            kelvin,
            rate: (60.0 * 1e10 * (-60_000.0 / (r * kelvin)).exp(), None, unit("/min")),
        })
        .collect();
    let plan = TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: Default::default(),
        temperature_error: None,
    };
    let lines = temperature_series(&plan, &points);
    let (energy, code) = value(&lines[0].outcome, "Ea");
    assert!(
        (energy - 60_000.0).abs() < 1e-3 && code == "J/mol",
        "{energy} {code}"
    );
    assert!(
        (value(&lines[0].outcome, "ln A").0 - 1e10f64.ln()).abs() < 1e-6,
        "A is in 1/s whatever the unit of k"
    );
    assert!(lines[1].is_result());
    let one = temperature_series(&plan, &points[..1]);
    assert!(!one[0].is_result() && !one[1].is_result());
    // Errors of the constants are drawn in their logarithms; without errors there is nothing to draw.
    assert!(lines.iter().all(|line| line.drawn.bars.is_empty()));
    let known: Vec<AtTemperature> = points
        .iter()
        .cloned()
        .map(|mut point| {
            point.rate.1 = Some(0.05 * point.rate.0);
            point
        })
        .collect();
    for line in temperature_series(&plan, &known) {
        let drawn = line.drawn;
        assert_eq!(drawn.bars.len(), 4);
        for ((x, low, high), (own, y)) in drawn.bars.iter().zip(drawn.x.iter().zip(&drawn.y)) {
            assert!(x == own && (y - low - 0.05).abs() < 1e-9 && (high - y - 0.05).abs() < 1e-9);
        }
    }
}

#[test]
fn scans_are_cut_at_a_wavelength_and_fitted_as_a_whole() {
    let wavelengths: Vec<f64> = (0..31).map(|i| 400.0 + f64::from(i) * 5.0).collect();
    let mut state = 7_u64;
    // SplitMix64 (public domain, Vigna 2015), evenly from -1 to 1.
    let mut even = move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / 2f64.powi(52) - 1.0
    };
    let band = |w: f64, at: f64, width: f64| (-((w - at) / width).powi(2)).exp();
    let scans: Vec<Trace> = (0..12)
        .map(|scan| {
            let t = f64::from(scan) * 30.0;
            let a = (-0.01 * t).exp();
            let y = wavelengths
                .iter()
                .map(|w| a * band(*w, 520.0, 30.0) + (1.0 - a) * 0.8 * band(*w, 440.0, 25.0) + 2e-4 * even())
                .collect();
            let mut curve = trace(
                (&Quantity::WAVELENGTH, "nm", wavelengths.clone()),
                (&Quantity::ABSORBANCE, "{AU}", y),
            );
            curve.held.push(Coordinate::new(Quantity::TIME, Unit::SECOND, t));
            curve
        })
        .collect();
    let run = run(Technique::SPECTRAL_TIME_COURSE, scans);
    assert!(
        !fit_run(&plan("first-order+offset"), &run)[0].is_result(),
        "which wavelength is asked"
    );
    let cut = FitPlan {
        at: Some(521.0),
        ..plan("first-order+offset")
    };
    let found = &fit_run(&cut, &run)[0];
    let (k, code) = value(&found.outcome, "k");
    assert!((k - 0.01).abs() < 1e-4 && code == "/s", "{k} {code}");
    assert!(
        found
            .outcome
            .remarks
            .iter()
            .any(|remark| remark.code == Code::new("between-points"))
    );
    let global = scan_run(
        ScanTask::Global(curvary_analysis::scans::Scheme::FirstOrder),
        &run,
    );
    let (k, _) = value(&global.found.outcome, "k");
    assert!((k - 0.01).abs() < 1e-5, "{k}");
    assert_eq!(global.spectra.len(), 2);
    assert_eq!(
        value(&scan_run(ScanTask::Rank, &run).found.outcome, "species").0,
        2.0
    );
    let isosbestic = scan_run(ScanTask::Isosbestic, &run);
    assert!(isosbestic.found.is_result(), "{:?}", isosbestic.found.outcome);
}

/// Competitive inhibition with Vmax 12, Km 18 and Ki 7 by construction, one trace an inhibitor level.
#[test]
fn rates_at_several_levels_are_never_pooled_in_silence() {
    let substrate = [5.0, 10.0, 20.0, 50.0, 100.0, 200.0];
    let at = |i: f64| {
        let rate = substrate
            .iter()
            .map(|s| 12.0 * s / (18.0 * (1.0 + i / 7.0) + s))
            .collect();
        let mut curve = trace(
            (&Quantity::CONCENTRATION, "umol/L", substrate.to_vec()),
            (&Quantity::RATE, "umol/L/min", rate),
        );
        curve
            .held
            .push(Coordinate::new(Quantity::CONCENTRATION, unit("umol/L"), i));
        curve
    };
    let series = run(Technique::RATE_SERIES, [0.0, 5.0, 20.0].map(at).to_vec());
    let points = rates_run(&RatePlan::default(), &series).points;
    assert!(
        !fit_series(&SeriesPlan::of("michaelis-menten"), &points)
            .found
            .is_result()
    );
    for outcome in [
        fit_series(&SeriesPlan::of("competitive"), &points).found.outcome,
        fit_run(&plan("competitive"), &series)[0].outcome.clone(),
    ] {
        let (ki, code) = value(&outcome, "Kic");
        assert!((ki - 7.0).abs() < 1e-6 && code == "umol/L", "{ki} {code}");
        assert!((value(&outcome, "Km").0 - 18.0).abs() < 1e-6);
    }
    // Nor are rates of two temperatures.
    let mut warm = at(0.0);
    let mut cold = at(0.0);
    warm.held = vec![Coordinate::new(Quantity::TEMPERATURE, unit("Cel"), 37.0)];
    cold.held = vec![Coordinate::new(Quantity::TEMPERATURE, unit("Cel"), 25.0)];
    let both = run(Technique::RATE_SERIES, vec![warm, cold]);
    let points = rates_run(&RatePlan::default(), &both).points;
    let found = fit_series(&SeriesPlan::of("michaelis-menten"), &points).found;
    assert!(
        found.outcome.termination.contains("temperature"),
        "{}",
        found.outcome.termination
    );
}

/// Rates of a sigmoid law, with a column of errors beside them.
fn sigmoid() -> Run {
    let s: Vec<f64> = vec![0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2];
    let off = [1.01, 0.99, 1.02, 0.98, 1.01, 0.99, 1.0];
    let rates: Vec<f64> = s
        .iter()
        .zip(off)
        .map(|(s, e)| 0.2 * s * s / (0.25 + s * s) * e)
        .collect();
    let errors = rates.iter().map(|rate| 0.02 * rate).collect();
    let mut rate = trace(
        (&Quantity::CONCENTRATION, "mmol/L", s.clone()),
        (&Quantity::RATE, "{AU}/min", rates),
    );
    rate.label = Some("rate".into());
    let mut error = trace(
        (&Quantity::CONCENTRATION, "mmol/L", s),
        (&Quantity::RATE, "{AU}/min", errors),
    );
    error.label = Some("SD".into());
    run(Technique::RATE_SERIES, vec![rate, error])
}

#[test]
fn a_law_that_a_fuller_one_beats_is_told_with_its_numbers() {
    let run = sigmoid();
    let told = |outcome: &Outcome| {
        outcome
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "lack-of-fit")
    };
    let found = fit_run(&plan("michaelis-menten"), &run);
    // The column of errors is no curve of its own, and that is told.
    assert_eq!(found.len(), 1);
    assert!(told(&found[0].outcome));
    let words: Vec<&str> = found[0]
        .outcome
        .remarks
        .iter()
        .map(|remark| remark.message.as_str())
        .collect();
    assert!(
        words
            .iter()
            .any(|text| text.contains("hill fits these points better")),
        "{words:?}"
    );
    assert!(
        words.iter().any(|text| text.contains("--weights 'SD'")),
        "{words:?}"
    );
    let right = fit_run(&plan("hill"), &run);
    assert!(!told(&right[0].outcome));
    // Asked for by name, it is fitted.
    let asked = FitPlan {
        traces: vec!["SD".into()],
        ..plan("hill")
    };
    assert_eq!(fit_run(&asked, &run)[0].label, "SD");
}

#[test]
fn rates_are_compared_by_the_usual_laws_and_courses_by_the_usual_orders() {
    let compared = compare_trace(&FitPlan::default(), &[], &sigmoid());
    let first = compared[0].as_ref().expect("a ranking");
    assert_eq!(first.ranked[0].0, "hill");
    let course = run(Technique::TIME_COURSE, vec![course()]);
    let compared = compare_trace(&FitPlan::default(), &[], &course);
    assert!(
        compared[0].as_ref().expect("a ranking").ranked[0]
            .0
            .starts_with("first-order")
    );
}

#[test]
fn laws_not_told_apart_are_averaged_with_their_differences() {
    let run = run(Technique::TIME_COURSE, vec![course()]);
    let laws = [
        "first-order+offset".to_owned(),
        "first-order+offset+drift".to_owned(),
    ];
    let compared = compare_trace(&FitPlan::default(), &laws, &run);
    let outcome = &compared[0].as_ref().expect("a ranking").found.outcome;
    let mean = outcome.statistics.get("averaged k").copied().unwrap_or(f64::NAN);
    let error = outcome
        .statistics
        .get("averaged_standard_error k")
        .copied()
        .unwrap_or(f64::NAN);
    assert!(
        (mean - 0.03).abs() < 4.0 * error && error > 0.0,
        "{mean} ± {error}"
    );
}

#[test]
fn parameters_that_follow_from_others_have_their_own_errors() {
    let time: Vec<f64> = (0..80).map(|i| f64::from(i) * 5.0).collect();
    let signal = time
        .iter()
        .enumerate()
        .map(|(i, t)| 0.4 * (-0.1 * t).exp() + 0.4 * (-0.025 * t).exp() + 3e-4 * (i as f64 * 2.7).sin())
        .collect();
    let run = run(
        Technique::TIME_COURSE,
        vec![trace(
            (&Quantity::TIME, "s", time),
            (&Quantity::ABSORBANCE, "{AU}", signal),
        )],
    );
    let tied = |rule: &str| FitPlan {
        constraints: vec![rule.into()],
        ..plan("biphasic")
    };
    let outcome = &fit_run(&tied("k2 = k1/4"), &run)[0].outcome;
    let (fast, slow) = (value(outcome, "k1"), value(outcome, "k2"));
    assert!((fast.0 - 0.1).abs() < 1e-3 && (slow.0 - fast.0 / 4.0).abs() < 1e-12);
    assert_eq!(slow.1, "/s");
    let error = |name: &str| {
        outcome
            .parameter(name)
            .and_then(|p| p.standard_error)
            .expect("known")
    };
    assert!((error("k2") - error("k1") / 4.0).abs() < 1e-9 * error("k1"));
    let says =
        |outcome: &Outcome, text: &str| outcome.remarks.iter().any(|remark| remark.message.contains(text));
    assert!(
        says(outcome, "agree with the constraint"),
        "{:?}",
        outcome.remarks
    );
    let wrong = &fit_run(&tied("k2 = k1/2"), &run)[0].outcome;
    assert!(says(
        wrong,
        "without the constraint the law fits these points better"
    ));
    assert!(tied("k2 = q").check().is_err());
}

/// The laws are of absorbance and concentration; a chromatogram follows none of them, however much it looks like one.
#[test]
fn no_law_is_fitted_to_what_another_technique_measured() {
    let absorbance = course();
    let volts = trace(
        (&Quantity::TIME, "s", absorbance.x.values.to_vec()),
        (
            &Quantity::named("millivolts"),
            "{millivolts}",
            absorbance.y.values.to_vec(),
        ),
    );
    let chromatogram = run(Technique::named("chromatogram"), vec![volts.clone()]);
    let fitted = |plan: &FitPlan, run: &Run| fit_run(plan, run)[0].outcome.parameter("k").is_some();
    assert!(!fitted(&plan("first-order+offset"), &chromatogram));
    assert!(!rates_run(&RatePlan::default(), &chromatogram).found[0].is_result());
    // What a person writes out is their own.
    let start = |value| ParameterPlan {
        start: Some(value),
        ..ParameterPlan::default()
    };
    let formula = FitPlan {
        formula: Some("A*exp(-k*x)+b".into()),
        parameters: [("A", 1.0), ("k", 0.05), ("b", 0.1)]
            .map(|(name, value)| (name.to_owned(), start(value)))
            .into(),
        ..FitPlan::default()
    };
    let outcome = &fit_run(&formula, &chromatogram)[0].outcome;
    assert!(outcome.parameter("k").is_some(), "{}", outcome.termination);
    // The quantity of a time course may have a name of its own, and absorbance is absorbance under any technique.
    assert!(fitted(
        &plan("first-order+offset"),
        &run(Technique::TIME_COURSE, vec![volts])
    ));
    assert!(fitted(
        &plan("first-order+offset"),
        &run(Technique::named("stopped-flow"), vec![absorbance])
    ));
}

#[test]
fn constants_per_absorbance_have_no_entropy() {
    let points: Vec<AtTemperature> = [293.15, 303.15, 313.15, 323.15]
        .into_iter()
        .map(|kelvin: f64| AtTemperature {
            run: RunId::named(format!("{kelvin}")),
            drift: DriftEffect::Allowed,
            doubts: Vec::new(),
            kelvin,
            rate: (
                1e10 * (-60_000.0 / (8.314_462_618 * kelvin)).exp(),
                None,
                unit("/{AU}/s"),
            ),
        })
        .collect();
    let plan = TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: Default::default(),
        temperature_error: None,
    };
    let lines = temperature_series(&plan, &points);
    assert!((value(&lines[0].outcome, "Ea").0 - 60_000.0).abs() < 1e-3);
    let eyring = &lines[1].outcome;
    assert!(value(eyring, "activation enthalpy").0 > 0.0);
    for name in ["activation entropy", "activation Gibbs energy"] {
        let parameter = eyring.parameter(name).expect("told");
        assert!(parameter.value.is_none() && parameter.reason.is_some(), "{name}");
    }
}

/// A second-order constant over absorbance says so in its unit.
#[test]
fn a_second_order_constant_over_absorbance_is_per_absorbance() {
    let time: Vec<f64> = (0..40).map(|i| f64::from(i) * 10.0).collect();
    let signal = time
        .iter()
        .enumerate()
        .map(|(i, t)| 0.8 / (1.0 + 0.8 * 0.01 * t) + 1e-4 * (i as f64 * 2.7).sin())
        .collect();
    let run = run(
        Technique::TIME_COURSE,
        vec![trace(
            (&Quantity::TIME, "s", time),
            (&Quantity::ABSORBANCE, "{AU}", signal),
        )],
    );
    let found = fit_run(&plan("second-order"), &run);
    assert!(
        value(&found[0].outcome, "k").1.contains("{AU}"),
        "{:?}",
        value(&found[0].outcome, "k")
    );
}

/// Rates of competitive inhibition, fitted by a law that contains none of the others: the right law is named, though `mixed` runs to
/// its end.
#[test]
fn a_rival_at_the_end_of_a_fuller_law_is_told() {
    let substrates = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0];
    let rate = |s: f64, i: f64| 10.0 * s / (0.5 * (1.0 + i / 1.5) + s);
    let mut count = 0.0;
    let traces = [0.0, 1.0, 2.0, 5.0]
        .into_iter()
        .map(|inhibitor| {
            let rates = substrates
                .iter()
                .map(|s| {
                    count += 1.0;
                    rate(*s, inhibitor) * (1.0 + 0.01 * (count * 2.7_f64).sin())
                })
                .collect();
            let mut one = trace(
                (&Quantity::CONCENTRATION, "mmol/L", substrates.to_vec()),
                (&Quantity::RATE, "umol/min", rates),
            );
            one.held.push(Coordinate::new(
                Quantity::CONCENTRATION,
                unit("mmol/L"),
                inhibitor,
            ));
            one
        })
        .collect();
    let run = run(Technique::RATE_SERIES, traces);
    for (law, told) in [
        ("noncompetitive", true),
        ("uncompetitive", true),
        ("competitive", false),
    ] {
        let rates = rates_run(&RatePlan::default(), &run);
        let found = fit_series(&SeriesPlan::of(law), &rates.points);
        let words = format!("{:?}", found.found.outcome.remarks);
        assert_eq!(
            words.contains("competitive fits these points better"),
            told,
            "{law}: {words}"
        );
    }
}

#[test]
fn a_progress_curve_may_stand_on_a_baseline() {
    let time: Vec<f64> = (0..80).map(|i| f64::from(i) * 10.0).collect();
    let left = |t: f64| {
        // S + Km ln(S/S0) = S0 - Vmax t, by bisection.
        let (mut low, mut high): (f64, f64) = (1e-12, 0.4);
        for _ in 0..200 {
            let s = 0.5 * (low + high);
            if s - 0.4 + 0.1 * (s / 0.4).ln() + 0.001 * t > 0.0 {
                high = s
            } else {
                low = s
            }
        }
        0.5 * (low + high)
    };
    let signal = time
        .iter()
        .enumerate()
        .map(|(i, t)| 0.15 + 0.4 - left(*t) + 1e-4 * (i as f64 * 2.7).sin())
        .collect();
    let run = run(
        Technique::TIME_COURSE,
        vec![trace(
            (&Quantity::TIME, "s", time),
            (&Quantity::ABSORBANCE, "{AU}", signal),
        )],
    );
    let found = fit_run(&plan("progress-product+offset"), &run);
    for (name, truth) in [("S0", 0.4), ("Vmax", 0.001), ("Km", 0.1), ("y0", 0.15)] {
        let own = value(&found[0].outcome, name).0;
        assert!((own / truth - 1.0).abs() < 0.02, "{name} {own}");
    }
}

/// A time course of 61 readings over 600 s with a fixed pattern in place of noise.
fn followed(course: impl Fn(f64) -> f64, noise: f64) -> Run {
    let time: Vec<f64> = (0..61).map(|i| f64::from(i) * 10.0).collect();
    let signal = time
        .iter()
        .enumerate()
        .map(|(i, t)| course(*t) + noise * ((i * i) as f64 * 1.7).sin())
        .collect();
    run(
        Technique::TIME_COURSE,
        vec![trace(
            (&Quantity::TIME, "s", time),
            (&Quantity::ABSORBANCE, "{AU}", signal),
        )],
    )
}

fn says(outcome: &Outcome, code: &str, words: &str) -> bool {
    outcome
        .remarks
        .iter()
        .any(|remark| remark.code.as_str() == code && remark.message.contains(words))
}

#[test]
fn what_a_hidden_drift_would_do_is_told() {
    let run = followed(|t| 0.8 * (-0.005 * t).exp() + 0.1, 0.001);
    let found = fit_run(&plan("first-order+offset"), &run);
    assert!(
        says(&found[0].outcome, "drift-not-excluded", ", k by "),
        "{:?}",
        found[0].outcome.remarks
    );
    let beside = fit_run(&plan("first-order+offset+drift"), &run);
    assert!(!says(&beside[0].outcome, "drift-not-excluded", ""));
}

#[test]
fn a_straight_course_has_no_half_life() {
    let bend = fit_run(&plan("first-order+offset"), &followed(|t| 0.1 + 0.001 * t, 0.001));
    assert!(
        says(&bend[0].outcome, "no-change", "a straight line"),
        "{:?}",
        bend[0].outcome.remarks
    );
    let rising = fit_run(&plan("zero-order"), &followed(|t| 0.1 + 0.001 * t, 0.0));
    assert!(rising[0].outcome.parameter("half-life").is_none());
    let falling = fit_run(&plan("zero-order"), &followed(|t| 0.9 - 0.001 * t, 0.001));
    assert!((value(&falling[0].outcome, "half-life").0 - 450.0).abs() < 5.0);
}

/// Errors that are those of the readings' steps have intervals to match.
#[test]
fn intervals_of_coarse_readings_match_their_errors() {
    let mut run = followed(|t| 0.1 + 0.001 * t, 1e-16);
    run.traces[0].y.decimals = curvary_record::Decimals::uniform(3, 61);
    let found = fit_run(&plan("zero-order"), &run);
    for name in ["y0", "k"] {
        let parameter = found[0].outcome.parameter(name).expect("fitted");
        let (error, interval) = (parameter.standard_error.expect("known"), &parameter.intervals[0]);
        let width = interval.high.expect("an end") - interval.low.expect("an end");
        assert!(
            (3.9..4.1).contains(&(width / error)),
            "{name}: {width} for {error}"
        );
    }
}

/// A reading at the start that is far off is named, the rate without it stands beside, and the error holds it.
#[test]
fn a_far_reading_is_named_by_rates() {
    let mut run = followed(|t| 0.1 + 0.001 * t, 0.001);
    let mut readings = run.traces[0].y.values.to_vec();
    readings[0] += 0.03;
    run.traces[0].y.values = readings.into();
    let found = rates_run(&RatePlan::default(), &run).found.remove(0).outcome;
    assert!(
        says(&found, "point-far-off", "the point at 0"),
        "{:?}",
        found.remarks
    );
    let rate = found.parameter("v0").expect("a rate");
    let (value, error) = (
        rate.value.expect("a number"),
        rate.standard_error.expect("an error"),
    );
    assert!((value - 0.001).abs() < 2.0 * error, "{value} {error}");
    assert!((found.statistics["rate_without_far_points"] - 0.001).abs() < 2e-5);
}
