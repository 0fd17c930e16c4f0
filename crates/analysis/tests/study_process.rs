//! Curves after steps, means of replicates, and kept results done again: invented runs with closed forms.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "tests may panic")]

mod invented;

use curvary_analysis::quantities::Measured;
use curvary_analysis::scans::Scheme;
use curvary_analysis::spectra::{Chain, Interpolation};
use curvary_analysis::study::{
    CheckPlan, FitPlan, PeaksPlan, ProcessPlan, QuantifyPlan, RatePlan, References, ScanTask, SeriesPlan,
    StudyError, TemperaturePlan, TraceResult, Way, Work, again, average_runs, check_run, compare_trace,
    fit_run, fit_series, peaks_run, process_run, quantify_run, rate_constants, rates_run, reference_of,
    scan_run, temperature_series,
};
use curvary_record::{
    Claim, Column, Coordinate, Origin, Outcome, OutcomeKind, Place, Quantity, Run, RunId, Technique, Trace,
    Unit, Value,
};
use invented::run;

fn unit(code: &str) -> Unit {
    Unit::ucum(code).expect("a unit")
}

fn trace(x: (Quantity, &str, Vec<f64>), y: Vec<f64>) -> Trace {
    Trace::new(
        Column::new(x.0, unit(x.1), x.2),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .expect("equal lengths")
}

fn spectrum(name: &str, x: Vec<f64>, y: Vec<f64>) -> Run {
    run(
        name,
        Technique::SPECTRUM,
        vec![trace((Quantity::WAVELENGTH, "nm", x), y)],
    )
}

fn said(mut run: Run, key: &str, value: f64, code: &str) -> Run {
    let claim = Claim::number(
        value,
        Some(unit(code)),
        "invented",
        Origin::Source(Place::line(1)),
    );
    run.fields.claim(key, claim);
    run
}

fn worded(mut run: Run, key: &str, words: &str) -> Run {
    run.fields
        .claim(key, Claim::text(words, Origin::Source(Place::line(1))));
    run
}

fn value(outcome: &Outcome, name: &str) -> f64 {
    let found = outcome.parameter(name).and_then(|p| p.value);
    found.unwrap_or_else(|| panic!("no `{name}`: {outcome:?}"))
}

fn chain(text: &str) -> Chain {
    text.parse().expect("a chain")
}

fn grid() -> Vec<f64> {
    (0..101).map(|i| 400.0 + 2.0 * f64::from(i)).collect()
}

/// A Gauss band at 500 nm, with a fixed pattern that stands for noise.
fn band(noise: f64) -> Vec<f64> {
    let shape = |(i, x): (usize, &f64)| {
        0.8 * (-0.5 * ((x - 500.0) / 20.0).powi(2)).exp() + noise * [0.0, 1.0, -1.0, 2.0, -2.0][i * 3 % 5]
    };
    grid().iter().enumerate().map(shape).collect()
}

// --- Steps --------------------------------------------------------------------------------------------------------

#[test]
fn steps_give_a_run_that_says_what_was_done() {
    let blank = spectrum("blank", grid(), vec![0.1; 101]);
    let references: References = [(blank.id.to_string(), reference_of(&blank).unwrap())].into();
    let y = band(0.0).iter().map(|y| y + 0.1).collect();
    let sample = worded(spectrum("sample", grid(), y), "sample", "invented dye");
    let plan = ProcessPlan {
        steps: chain(&format!("blank({}) | derivative(1, window=5, order=4)", blank.id)).steps,
        ..ProcessPlan::default()
    };
    let made = process_run(&plan, &sample, &references).remove(0);
    let outcome = &made.found.outcome;
    assert_eq!(outcome.termination, "computed");
    assert!(outcome.model.contains("derivative(1"), "{}", outcome.model);
    let run = made.run.expect("a curve");
    let curve = &run.traces[0];
    assert_eq!(curve.y.quantity, Quantity::named("absorbance-derivative-1"));
    assert_eq!(curve.y.unit, unit("/nm"));
    // d/dx of the band is -(x - 500)/20² of its height.
    for (x, y) in curve.x.values.iter().zip(curve.y.values.iter()) {
        let expected = -(x - 500.0) / 400.0 * 0.8 * (-0.5 * ((x - 500.0) / 20.0).powi(2)).exp();
        assert!((y - expected).abs() < 2e-5, "at {x}: {y}, expected {expected}");
    }
    assert!(run.id != sample.id && run.fields.text("sample") == Some("invented dye"));
    let said = &run.fields.get("processing").expect("how it was made");
    assert!(matches!(&said.origin, Origin::Derived { from, .. } if *from == [sample.id.to_string()]));
    assert!(matches!(&said.value, Value::Text(words) if words.contains(&blank.id.to_string())));
    // Second derivatives have the square of the axis below the line.
    let plan = ProcessPlan {
        steps: chain("derivative(2, window=7, order=4)").steps,
        ..ProcessPlan::default()
    };
    let made = process_run(&plan, &sample, &references).remove(0);
    let second = &made.run.expect("a curve").traces[0];
    assert_eq!(second.y.unit, unit("/nm2"));
}

#[test]
fn steps_that_cannot_be_done_give_no_curve() {
    let sample = spectrum("sample", grid(), band(0.0));
    for (steps, why) in [
        ("blank(nowhere)", "unknown-reference"),
        ("crop(700..800)", "too-few-points"),
        ("resample(linear, 300..500, every=1)", "outside-range"),
    ] {
        let plan = ProcessPlan {
            steps: chain(steps).steps,
            ..ProcessPlan::default()
        };
        let made = process_run(&plan, &sample, &References::new()).remove(0);
        assert!(made.run.is_none() && !made.found.is_result());
        assert!(
            made.found.outcome.termination.starts_with(why),
            "{}",
            made.found.outcome.termination
        );
    }
}

// --- Replicates ----------------------------------------------------------------------------------------------------

fn average(plan: &ProcessPlan, runs: &[&Run]) -> (Outcome, Option<Run>) {
    let made = average_runs(plan, runs, &References::new());
    (made.found.outcome, made.run)
}

fn mean() -> ProcessPlan {
    ProcessPlan {
        average: true,
        ..ProcessPlan::default()
    }
}

/// Three replicates that lie d below, at and d above a curve have the mean of that curve and the standard deviation d.
#[test]
fn replicates_have_a_mean_and_a_spread() {
    let at = |name: &str, off: f64, date: &str| {
        let y = band(0.0).iter().map(|y| y + off).collect();
        let run = worded(spectrum(name, grid(), y), "sample", "invented dye");
        worded(run, "date", date)
    };
    let all = [
        at("a", -0.01, "2021-03-01"),
        at("b", 0.0, "2021-03-01"),
        at("c", 0.01, "2021-03-02"),
    ];
    let runs: Vec<&Run> = all.iter().collect();
    let (outcome, run) = average(&mean(), &runs);
    assert_eq!(outcome.runs.len(), 3);
    assert!((value(&outcome, "spread") - 0.01).abs() < 1e-12);
    assert!((value(&outcome, "largest-spread") - 0.01).abs() < 1e-12);
    assert!((value(&outcome, "highest") - 0.8).abs() < 1e-12);
    assert_eq!(outcome.statistics["replicates"], 3.0);
    let run = run.expect("a mean");
    for (found, expected) in run.traces[0].y.values.iter().zip(band(0.0)) {
        assert!((found - expected).abs() < 1e-12);
    }
    assert_eq!(run.traces[1].y.quantity, Quantity::named("standard-deviation"));
    assert!(run.traces[1].y.values.iter().all(|s| (s - 0.01).abs() < 1e-12));
    // The mean has what all have, and no date where they have two.
    assert_eq!(run.fields.text("sample"), Some("invented dye"));
    assert!(run.fields.get("date").is_none());
    assert!(
        outcome
            .remarks
            .iter()
            .any(|r| r.message.contains("the same date"))
    );

    let (alone, none) = average(&mean(), &runs[..1]);
    assert!(none.is_none() && alone.termination.starts_with("too-few-points"));
}

#[test]
fn replicates_on_other_grids_are_refused_or_told() {
    let fine: Vec<f64> = (0..201).map(|i| 400.0 + f64::from(i)).collect();
    let line = |x: &[f64]| x.iter().map(|x| 0.001 * x).collect::<Vec<f64>>();
    let first = spectrum("first", grid(), line(&grid()));
    let same = spectrum("same", grid(), line(&grid()));
    let other = spectrum("other", fine.clone(), line(&fine));
    let (refused, none) = average(&mean(), &[&first, &other]);
    assert!(
        none.is_none() && refused.termination.contains("--onto-first"),
        "{}",
        refused.termination
    );
    let plan = ProcessPlan {
        onto_first: Some(Interpolation::Linear),
        ..mean()
    };
    let (outcome, run) = average(&plan, &[&first, &same, &other]);
    let told: Vec<&str> = outcome.remarks.iter().map(|r| r.message.as_str()).collect();
    assert!(
        told.iter()
            .any(|words| words.starts_with("replicate 3 of 3 ") && words.contains("(linear)")),
        "{told:?}"
    );
    assert_eq!(run.expect("a mean").traces[0].len(), 101);
    let (outcome, _) = average(&plan, &[&first, &same]);
    assert!(!outcome.remarks.iter().any(|r| r.code.as_str() == "resampled"));
    // Nothing is extrapolated.
    let short = spectrum("short", grid()[10..].to_vec(), line(&grid()[10..]));
    assert!(
        average(&plan, &[&first, &short])
            .0
            .termination
            .starts_with("outside-range")
    );
    // What is measured over time is no replicate of a spectrum.
    let course = run_of_times("course", &[0.1, 0.2, 0.3]);
    assert!(
        average(&plan, &[&first, &course])
            .0
            .termination
            .starts_with("unsuitable")
    );
}

fn run_of_times(name: &str, y: &[f64]) -> Run {
    let x = (0..y.len()).map(|i| 10.0 * i as f64).collect();
    run(
        name,
        Technique::TIME_COURSE,
        vec![trace((Quantity::TIME, "s", x), y.to_vec())],
    )
}

#[test]
fn time_courses_are_replicates_too() {
    let (a, b) = (
        run_of_times("a", &[0.1, 0.3, 0.5]),
        run_of_times("b", &[0.3, 0.3, 0.7]),
    );
    let (outcome, run) = average(&mean(), &[&a, &b]);
    let run = run.expect("a mean");
    assert_eq!(run.technique, Technique::TIME_COURSE);
    for (found, expected) in run.traces[0].y.values.iter().zip([0.2, 0.3, 0.6]) {
        assert!((found - expected).abs() < 1e-12);
    }
    // Pairs 0.2 apart have s = 0.1·√2; of three points one has none: √((0.02 + 0 + 0.02)/3).
    assert!((value(&outcome, "spread") - (0.04f64 / 3.0).sqrt()).abs() < 1e-12);
}

// --- Done again -----------------------------------------------------------------------------------------------------

/// Does a result again among some runs, each with what is kept of it.
fn redo(kept: &Outcome, all: &[(Run, Vec<Outcome>)]) -> curvary_analysis::study::RedoneResult {
    again(kept, &|id: &RunId| {
        all.iter()
            .find(|(run, _)| run.id == *id)
            .cloned()
            .ok_or_else(|| StudyError::unsuitable(format!("run {id} is not here")))
    })
}

#[track_caller]
fn comes_out_again(work: Work, found: &TraceResult, all: &[(Run, Vec<Outcome>)]) {
    let kept = &found.outcome;
    // As it comes out of the archive.
    let kept: Outcome = serde_json::from_str(&serde_json::to_string(kept).unwrap()).unwrap();
    assert_eq!(Work::of(&kept), Some(work));
    let again = redo(&kept, all);
    assert!(
        again.reproduced,
        "{}: {}",
        again.words, again.found.outcome.termination
    );
    assert!(again.words.ends_with("to the last digit"), "{}", again.words);
    assert_eq!(again.found.outcome, kept);
    // Without its runs there is a reason and no number.
    let lost = redo(&kept, &[]);
    assert!(!lost.reproduced && !lost.found.is_result());
    assert!(lost.found.outcome.termination.contains("is not here"));
}

fn decay(k: f64) -> Vec<f64> {
    (0..41)
        .map(|i| (-k * 10.0 * f64::from(i)).exp() + 1e-4 * [0.0, 1.0, -1.0, 2.0, -2.0][i as usize * 3 % 5])
        .collect()
}

fn plan(model: &str) -> FitPlan {
    FitPlan {
        model: model.into(),
        ..FitPlan::default()
    }
}

#[test]
fn fits_and_rankings_come_out_again() {
    let run = run_of_times("course", &decay(0.01));
    let all = [(run.clone(), Vec::new())];
    comes_out_again(Work::Fit, &fit_run(&plan("first-order"), &run)[0], &all);
    let models = ["zero-order".to_owned(), "first-order".to_owned()];
    let ranked = compare_trace(&FitPlan::default(), &models, &run)
        .remove(0)
        .expect("a ranking");
    comes_out_again(Work::Fit, &ranked.found, &all);

    // Other values under the same name are told.
    let mut changed = run;
    changed.traces[0].y.values = decay(0.011).into();
    let kept = &fit_run(&plan("first-order"), &all[0].0)[0].outcome;
    let again = redo(kept, &[(changed.clone(), Vec::new())]);
    assert!(
        !again.reproduced && again.words.contains("something else comes out now"),
        "{}",
        again.words
    );
    let again = redo(&ranked.found.outcome, &[(changed, Vec::new())]);
    assert!(!again.reproduced, "{}", again.words);
}

#[test]
fn rates_and_laws_over_them_come_out_again() {
    let at = |s: f64| {
        let slope = 2e-3 * s / (0.5 + s);
        let y = (0..31)
            .map(|i| 0.05 + slope * f64::from(i) + 1e-5 * [0.0, 1.0, -1.0, 2.0, -2.0][i as usize * 3 % 5]);
        let mut curve = trace(
            (Quantity::TIME, "s", (0..31).map(f64::from).collect()),
            y.collect(),
        );
        curve.label = Some(format!("{s} mM"));
        curve
            .held
            .push(Coordinate::new(Quantity::CONCENTRATION, unit("mmol/L"), s));
        curve
    };
    let first = run("low", Technique::TIME_COURSE, [0.1, 0.2, 0.5].map(at).to_vec());
    let second = run("high", Technique::TIME_COURSE, [1.0, 2.0, 4.0].map(at).to_vec());
    let rates = RatePlan {
        fewest: 7,
        ..RatePlan::default()
    };
    let found = [rates_run(&rates, &first), rates_run(&rates, &second)];
    let all = [(first, Vec::new()), (second, Vec::new())];
    comes_out_again(Work::Rates, &found[0].found[1], &all);
    let series = SeriesPlan {
        initial_rates: rates,
        ..SeriesPlan::of("michaelis-menten")
    };
    let points: Vec<_> = found.iter().flat_map(|rates| rates.points.clone()).collect();
    let law = fit_series(&series, &points);
    assert!((value(&law.found.outcome, "Km") / 0.5 - 1.0).abs() < 0.01);
    comes_out_again(Work::Rates, &law.found, &all);
}

#[test]
fn scans_come_out_again() {
    let scans = (0..8)
        .map(|scan| {
            let part = (-0.02 * 20.0 * f64::from(scan)).exp();
            let y = band(0.0).into_iter().enumerate().map(|(i, y)| {
                part * y
                    + (1.0 - part) * 0.3
                    + 1e-4 * [0.0, 1.0, -1.0, 2.0, -2.0][(i * 7 + scan as usize * 3) % 5]
            });
            let mut curve = trace((Quantity::WAVELENGTH, "nm", grid()), y.collect());
            curve.held.push(Coordinate::new(
                Quantity::TIME,
                Unit::SECOND,
                20.0 * f64::from(scan),
            ));
            curve
        })
        .collect();
    let run = run("scans", Technique::SPECTRAL_TIME_COURSE, scans);
    let all = [(run.clone(), Vec::new())];
    for task in [
        ScanTask::Rank,
        ScanTask::Isosbestic,
        ScanTask::Global(Scheme::FirstOrder),
    ] {
        let found = scan_run(task, &run).found;
        assert!(found.is_result(), "{:?}", found.outcome);
        comes_out_again(Work::Scans, &found, &all);
    }
}

#[test]
fn lines_over_temperatures_come_out_again() {
    let all: Vec<(Run, Vec<Outcome>)> = [293.15, 303.15, 313.15, 323.15]
        .into_iter()
        .map(|kelvin: f64| {
            let k = 1e8 * (-60_000.0 / (8.314_462_618_153_24 * kelvin)).exp();
            let course = said(
                run_of_times(&format!("{kelvin}"), &decay(k)),
                "temperature",
                kelvin,
                "K",
            );
            let kept = fit_run(&plan("first-order"), &course).remove(0).outcome;
            (course, vec![kept])
        })
        .collect();
    let plan = TemperaturePlan {
        of: "k".into(),
        fitted: None,
        traces_of: Default::default(),
        temperature_error: None,
    };
    let points: Vec<_> = all
        .iter()
        .flat_map(|(run, kept)| rate_constants(&plan, run, kept).expect("a constant").points)
        .collect();
    for line in temperature_series(&plan, &points) {
        assert!(line.is_result(), "{:?}", line.outcome);
        comes_out_again(Work::Temperature, &line, &all);
    }
}

#[test]
fn peaks_quantities_checks_and_means_come_out_again() {
    let blank = spectrum("blank", grid(), vec![0.1; 101]);
    let sample = spectrum("sample", grid(), band(1e-4).iter().map(|y| y + 0.1).collect());
    let second = spectrum("second", grid(), band(-1e-4).iter().map(|y| y + 0.1).collect());
    let references: References = [(blank.id.to_string(), reference_of(&blank).unwrap())].into();
    let steps = chain(&format!("blank({})", blank.id)).steps;
    let all = [blank, sample, second].map(|run| (run, Vec::new()));
    let (sample, second) = (&all[1].0, &all[2].0);

    let peaks = PeaksPlan {
        steps: steps.clone(),
        ..PeaksPlan::default()
    };
    comes_out_again(Work::Peaks, &peaks_run(&peaks, sample, &references)[0], &all);
    let quantify = QuantifyPlan {
        at: Some(500.0),
        steps: steps.clone(),
        coefficient: Some(Measured::bare(8000.0)),
        path: Some(Measured::bare(1.0)),
        ..QuantifyPlan::new(Way::BeerLambert)
    };
    comes_out_again(
        Work::Quantify,
        &quantify_run(&quantify, sample, &references)[0],
        &all,
    );
    let processed = ProcessPlan {
        steps,
        ..ProcessPlan::default()
    };
    comes_out_again(
        Work::Process,
        &process_run(&processed, sample, &references)[0].found,
        &all,
    );
    let mean = ProcessPlan {
        average: true,
        ..processed
    };
    comes_out_again(
        Work::Process,
        &average_runs(&mean, &[sample, second], &references).found,
        &all,
    );

    let check = CheckPlan {
        name: Some("blank".into()),
        at: vec![420.0],
        ..CheckPlan::default()
    };
    let found = check_run(&check, sample).remove(0);
    comes_out_again(Work::Check, &found, &all);
    // A verdict that would turn is told, though the reading stays.
    let mut kept = found.outcome;
    kept.termination = "fail".into();
    let again = redo(&kept, &all);
    assert!(
        !again.reproduced && again.words.contains("the verdict was `fail`"),
        "{}",
        again.words
    );
    // What an export reports of itself was not computed here.
    kept.kind = OutcomeKind::Reported;
    assert_eq!(Work::of(&kept), None);
}

#[test]
fn settings_that_are_no_plan_give_a_reason() {
    let run = run_of_times("course", &decay(0.01));
    let mut kept = fit_run(&plan("first-order"), &run).remove(0).outcome;
    kept.settings.insert("level".into(), serde_json::json!("high"));
    let again = redo(&kept, &[(run.clone(), Vec::new())]);
    assert!(
        again
            .found
            .outcome
            .termination
            .contains("settings cannot be read")
    );
    let mut kept = fit_run(&plan("first-order"), &run).remove(0).outcome;
    kept.trace = Some(7);
    let again = redo(&kept, &[(run, Vec::new())]);
    assert!(
        again.found.outcome.termination.contains("no such trace"),
        "{:?}",
        again.found.outcome
    );
}
