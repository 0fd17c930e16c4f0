//! What a result says of its own limits: shared parameters, profiles, scans that are off as a whole, ranges that are too short.

#![allow(clippy::unwrap_used)]

mod invented;
mod noise;

use curvary_analysis::fit::{Data, Fit, Options, fit};
use curvary_analysis::models::law::Law;
use curvary_analysis::scans::Scheme;
use curvary_analysis::spectra::Chain;
use curvary_analysis::study::{
    FitPlan, NamedRun, PeaksPlan, References, ScanTask, compare_together, fit_run, fit_together, of_days,
    peaks_run, pool, scan_run,
};
use curvary_record::{Column, Coordinate, Outcome, Quantity, Run, Technique, Trace, Unit};
use noise::Noise;

fn unit(code: &str) -> Unit {
    Unit::ucum(code).unwrap()
}

fn course(number: usize, k: f64, noise: &mut Noise) -> Run {
    let time: Vec<f64> = (0..60).map(|i| 20.0 * f64::from(i)).collect();
    let y: Vec<f64> = time
        .iter()
        .map(|t| 0.05 + 0.8 * (-k * t).exp() + 0.002 * noise.normal())
        .collect();
    let trace = Trace::new(
        Column::new(Quantity::TIME, Unit::SECOND, time),
        Column::new(Quantity::ABSORBANCE, unit("{AU}"), y),
    )
    .unwrap();
    invented::run(&format!("run {number}"), Technique::TIME_COURSE, vec![trace])
}

fn named(runs: &[Run]) -> Vec<NamedRun<'_>> {
    runs.iter()
        .map(|run| NamedRun {
            run,
            name: &run.source.path,
        })
        .collect()
}

fn sharing(names: &[&str]) -> FitPlan {
    FitPlan {
        share: names.iter().map(|name| (*name).to_owned()).collect(),
        ..FitPlan::default()
    }
}

fn said(outcome: &Outcome, words: &str) -> bool {
    outcome
        .remarks
        .iter()
        .any(|remark| remark.message.contains(words))
}

/// Runs whose rate constants differ: a law of two phases has nothing that is called `k`, would fit every run by itself and win.
#[test]
fn a_law_without_the_shared_parameter_is_not_compared() {
    let mut noise = Noise(3);
    let runs: Vec<Run> = (0..3)
        .map(|i| course(i, 0.0015 * (1.0 + 0.1 * i as f64), &mut noise))
        .collect();
    let models = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    let plan = sharing(&["k"]);
    let some = models(&["first-order", "first-order+offset", "biphasic"]);
    let found = compare_together(&plan, &some, &named(&runs)).unwrap();
    assert_eq!(found.ranked.len(), 2, "{:?}", found.ranked);
    assert_eq!(found.ranked[0].0, "first-order+offset");
    assert_eq!(found.refused[0].0, "biphasic");
    assert!(
        found.refused[0].1.contains("has no parameter `k`"),
        "{}",
        found.refused[0].1
    );
    assert!(said(
        &found.found.outcome,
        "biphasic is not among the laws compared"
    ));
    // Too few are left.
    let few = compare_together(&plan, &models(&["first-order+offset", "biphasic"]), &named(&runs)).unwrap();
    assert!(few.ranked.is_empty());
    let why = few.found.outcome.termination;
    assert!(
        why.contains("fewer than two laws") && why.contains("biphasic"),
        "{why}"
    );
    // Names for the laws of one phase and of two share what each of them has; an offset does not stand for a rate constant.
    let both = models(&["first-order+offset", "biphasic+offset"]);
    let found = compare_together(&sharing(&["k", "k1", "k2"]), &both, &named(&runs)).unwrap();
    assert_eq!(found.ranked.len(), 2, "{:?}", found.refused);
    let found = compare_together(&sharing(&["k", "offset"]), &both, &named(&runs)).unwrap();
    assert!(found.ranked.is_empty(), "{:?}", found.ranked);
}

#[test]
fn without_names_the_usual_laws_are_compared() {
    let mut noise = Noise(4);
    let runs: Vec<Run> = (0..3).map(|i| course(i, 0.0015, &mut noise)).collect();
    let found = compare_together(&sharing(&["k"]), &[], &named(&runs)).unwrap();
    assert!(found.ranked.len() >= 3, "{:?} {:?}", found.ranked, found.refused);
    assert_eq!(found.ranked[0].0, "first-order+offset");
    assert!(found.found.outcome.settings["models"].as_array().unwrap().len() >= 3);
}

/// Six runs whose rate constants scatter by 3 %, each with heights of its own: the intervals must hold the truth of each run.
#[test]
fn own_parameters_know_that_the_shared_one_scatters() {
    let mut noise = Noise(5);
    let (mut held, mut of) = ([0, 0], 0);
    let mut told = 0;
    for _ in 0..40 {
        let runs: Vec<Run> = (0..6)
            .map(|i| {
                let k = 0.0015 * (1.0 + 0.03 * noise.normal());
                course(i, k, &mut noise)
            })
            .collect();
        let plan = FitPlan {
            model: "first-order+offset".into(),
            ..sharing(&["k"])
        };
        let found = fit_together(&plan, &named(&runs)).unwrap().found.outcome;
        told += usize::from(said(&found, "found with the shared value"));
        for number in 1..=6 {
            of += 1;
            for (count, (name, truth)) in held.iter_mut().zip([("A", 0.8), ("offset", 0.05)]) {
                let own = found.parameter(&format!("{name}[{number}]")).unwrap();
                let interval = &own.intervals[0];
                *count += usize::from(interval.low.unwrap() <= truth && truth <= interval.high.unwrap());
            }
        }
    }
    println!("A and offset held {held:?} of {of}, told {told} of 40");
    assert!(told >= 38, "told in {told} of 40");
    for held in held {
        assert!(held * 100 >= of * 90, "{held} of {of}");
    }
}

/// Checked against limits by SciPy (`independent_profile_ends.py`): the least sum of squares at each value from several starting
/// points, and the root by Brent's method.
#[test]
fn profiles_begin_at_the_estimate_and_go_outward() {
    fn profiled(law: &str, x: &[f64], y: &[f64]) -> Fit {
        let options = Options {
            profile: true,
            ..Options::default()
        };
        fit(Law::named(law).unwrap(), &Data::new(&[x], y), &options).unwrap()
    }
    fn check(found: &Fit, name: &str, lower: Option<f64>, upper: Option<f64>) {
        let own = found.parameter(name).unwrap();
        let profile = own.profile.unwrap();
        println!("{name} {} {profile:?}", own.value);
        for (found, wanted) in [(profile.lower, lower), (profile.upper, upper)] {
            assert_eq!(found.is_some(), wanted.is_some(), "{name} {profile:?}");
            if let (Some(found), Some(wanted)) = (found, wanted) {
                assert!(
                    (found - wanted).abs() < 1e-4 * wanted.abs(),
                    "{name}: {found} {wanted}"
                );
            }
        }
    }
    let doses = [0.0, 0.05, 0.1, 0.3, 1.0, 3.0];
    let x: Vec<f64> = doses.iter().flat_map(|dose| [*dose, *dose]).collect();
    let y = [
        10.007, 10.162, 10.145, 9.4957, 9.5834, 9.668, 9.1754, 9.0217, 7.4025, 7.4896, 4.6198, 4.229,
    ];
    let found = profiled("four-parameter", &x, &y);
    check(&found, "y0", Some(9.774_098_86), Some(10.374_744_56));
    check(&found, "yinf", None, Some(2.548_600_02));
    check(&found, "IC50", Some(1.503_194_15), None);
    check(&found, "h", Some(0.611_749_46), Some(1.512_847_19));
    let levels = [0.01, 0.02, 0.04, 0.06, 0.08, 0.1];
    let x: Vec<f64> = levels.iter().flat_map(|level| [*level, *level]).collect();
    let y = [
        0.065974, 0.082048, 0.141, 0.1842, 0.38154, 0.37793, 0.61783, 0.61986, 0.72936, 0.72281, 0.94543,
        0.93944,
    ];
    let found = profiled("michaelis-menten", &x, &y);
    check(&found, "Vmax", Some(5.123_895_44), None);
    check(&found, "Km", Some(0.463_323_88), None);
}

fn scans(offset: f64, noise: &mut Noise) -> Run {
    let wavelengths: Vec<f64> = (0..31).map(|i| 400.0 + f64::from(i) * 5.0).collect();
    let band = |w: f64, at: f64, width: f64| (-((w - at) / width).powi(2)).exp();
    let traces = (0..21)
        .map(|scan| {
            let t = f64::from(scan) * 150.0;
            let (a, off) = ((-0.001 * t).exp(), offset * noise.normal());
            let y: Vec<f64> = wavelengths
                .iter()
                .map(|w| {
                    a * band(*w, 520.0, 30.0)
                        + (1.0 - a) * 0.8 * band(*w, 440.0, 25.0)
                        + off
                        + 0.001 * noise.normal()
                })
                .collect();
            let mut trace = Trace::new(
                Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, wavelengths.clone()),
                Column::new(Quantity::ABSORBANCE, unit("{AU}"), y),
            )
            .unwrap();
            trace.held.push(Coordinate::new(Quantity::TIME, Unit::SECOND, t));
            trace
        })
        .collect();
    invented::run("scans", Technique::SPECTRAL_TIME_COURSE, traces)
}

#[test]
fn scans_that_are_off_as_a_whole_are_told_and_the_errors_know_it() {
    let mut noise = Noise(6);
    for (offset, least, most) in [(0.01, 92, 100), (0.0, 0, 6)] {
        let (mut told, mut held, mut lacking) = (0, 0, 0);
        for _ in 0..100 {
            let found = scan_run(ScanTask::Global(Scheme::FirstOrder), &scans(offset, &mut noise))
                .found
                .outcome;
            let k = &found.parameters[0];
            let interval = &k.intervals[0];
            held += usize::from(interval.low.unwrap() <= 0.001 && 0.001 <= interval.high.unwrap());
            told += usize::from(said(&found, "`--shifted`"));
            lacking += usize::from(
                found
                    .remarks
                    .iter()
                    .any(|remark| remark.code.as_str() == "lack-of-fit"),
            );
        }
        println!("offset {offset}: told {told}, held {held}, lack of fit {lacking} of 100");
        assert!((least..=most).contains(&told), "{offset}: told {told}");
        assert!(held >= 88, "{offset}: held {held}");
        assert!(lacking <= 4, "{offset}: {lacking}");
    }
}

fn over(x: (&Quantity, &str, &[f64]), y: (&Quantity, &str), law: impl Fn(f64) -> f64) -> Run {
    let values: Vec<f64> =
        x.2.iter()
            .enumerate()
            .map(|(i, x)| law(*x) * (1.0 + 0.01 * (2.7 * i as f64).sin()))
            .collect();
    let trace = Trace::new(
        Column::new(x.0.clone(), unit(x.1), x.2.to_vec()),
        Column::new(y.0.clone(), unit(y.1), values),
    )
    .unwrap();
    invented::run("range", Technique::RATE_SERIES, vec![trace])
}

fn fitted(model: &str, run: &Run) -> Outcome {
    let plan = FitPlan {
        model: model.into(),
        ..FitPlan::default()
    };
    fit_run(&plan, run).remove(0).outcome
}

#[test]
fn ranges_that_do_not_reach_what_a_parameter_needs_are_told() {
    let rates = |levels: &[f64], km: f64| {
        over(
            (&Quantity::CONCENTRATION, "mmol/L", levels),
            (&Quantity::RATE, "umol/L/min"),
            |s| 10.0 * s / (km + s),
        )
    };
    let levels = [0.1, 0.2, 0.3, 0.5, 0.8, 1.0];
    for (km, words) in [
        (4.0, "of Km: Vmax and Km are hardly told apart"),
        (0.02, "times Km: all rates are near Vmax"),
    ] {
        let found = fitted("michaelis-menten", &rates(&levels, km));
        assert!(said(&found, words), "{:?}", found.remarks);
    }
    let found = fitted("michaelis-menten", &rates(&levels, 0.4));
    assert!(
        !found
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "range-short")
    );
    let doses = [0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0];
    for (middle, words) in [(0.3, ""), (10.0, "plateau yinf"), (0.01, "plateau y0")] {
        let run = over(
            (&Quantity::CONCENTRATION, "umol/L", &doses),
            (&Quantity::RATE, "umol/L/min"),
            |dose| 1.0 + 9.0 / (1.0 + dose / middle),
        );
        let found = fitted("four-parameter", &run);
        let short = found
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "range-short");
        assert_eq!(short, !words.is_empty(), "{middle} {:?}", found.remarks);
        assert!(
            said(&found, words) || words.is_empty(),
            "{middle} {:?}",
            found.remarks
        );
    }
    let ph: Vec<f64> = (0..12).map(|i| 4.0 + 0.2 * f64::from(i)).collect();
    for (pka, short) in [(5.0, false), (7.2, true)] {
        let run = over(
            (&Quantity::PH, "[pH]", &ph),
            (&Quantity::ABSORBANCE, "{AU}"),
            |ph| 0.1 + 0.8 / (1.0 + 10f64.powf(pka - ph)),
        );
        let found = fitted("pka", &run);
        let told = found
            .remarks
            .iter()
            .any(|remark| remark.code.as_str() == "range-short");
        assert_eq!(told, short, "{pka} {:?} {:?}", found.parameters, found.remarks);
    }
}

/// Checked by hand: six values with equal errors `e` have `Q(τ²) = S/(e² + τ²)`, so that the ends are `√(S/χ² - e²)` with the
/// quantiles of chi-squared on 5: 0.831212 and 12.832502 (published tables).
#[test]
fn the_scatter_between_runs_has_an_interval() {
    let values = [1.0, 1.1, 0.9, 1.3, 0.8, 1.2];
    let mean = values.iter().sum::<f64>() / 6.0;
    let square: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    for error in [0.05, 0.12] {
        let own: Vec<(f64, Option<f64>)> = values.iter().map(|v| (*v, Some(error))).collect();
        let found = pool(&own).unwrap().between_interval;
        let end = |quantile: f64| (square / quantile - error * error).max(0.0).sqrt();
        assert!((found.0 - end(12.832_502)).abs() < 1e-6, "{found:?}");
        assert!((found.1 - end(0.831_212)).abs() < 1e-5, "{found:?}");
    }
    let bare: Vec<(f64, Option<f64>)> = values.iter().map(|v| (*v, None)).collect();
    let found = pool(&bare).unwrap().between_interval;
    assert!((found.0 - (square / 12.832_502).sqrt()).abs() < 1e-6, "{found:?}");
    assert!((found.1 - (square / 0.831_212).sqrt()).abs() < 1e-5, "{found:?}");
}

/// F by hand: three days half a unit apart with two runs each that differ by 0.01, so 2 (0.25 + 0.25)/2 over 3 · 5e-5/3.
#[test]
fn days_with_several_runs_are_looked_at() {
    let day = |number: usize| Some(format!("2024-03-0{number}"));
    let days: Vec<Option<String>> = [1, 1, 2, 2, 3, 3].map(day).to_vec();
    let apart = [1.0, 1.01, 1.5, 1.51, 2.0, 2.01];
    let said = of_days(&days, &apart).unwrap();
    assert!(
        said.contains("6 runs are of 3 days") && said.contains("too small"),
        "{said}"
    );
    assert!(said.contains("F 10000.00 on 2 and 3"), "{said}");
    let alike = [1.0, 1.5, 1.01, 1.49, 1.02, 1.51];
    assert!(of_days(&days, &alike).unwrap().contains("not told apart"));
    assert!(of_days(&[1, 2, 3].map(day), &apart[..3]).is_none());
    assert!(of_days(&[1, 1, 1].map(day), &apart[..3]).is_none());
    assert!(of_days(&[None, None, None], &apart[..3]).is_none());
}

/// A column called SD is of errors to a formula as to any law.
#[test]
fn a_formula_takes_no_column_of_errors_for_a_curve() {
    let x: Vec<f64> = (0..8).map(f64::from).collect();
    let named = |name: &str, y: Vec<f64>| {
        let mut column = Column::new(Quantity::UNKNOWN, Unit::ONE, y);
        column.name = Some(name.into());
        let mut trace = Trace::new(
            Column::new(Quantity::CONCENTRATION, unit("mmol/L"), x.clone()),
            column,
        )
        .unwrap();
        trace.label = Some(name.into());
        trace
    };
    let y = x.iter().map(|x| 1.0 + 2.0 * x + 0.01 * (2.7 * x).sin()).collect();
    let run = invented::run(
        "formula",
        Technique::RATE_SERIES,
        vec![named("signal", y), named("SD", vec![0.01; 8])],
    );
    let plan = FitPlan {
        formula: Some("a + b*x".into()),
        ..FitPlan::default()
    };
    let found = fit_run(&plan, &run);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(said(&found[0].outcome, "SD"), "{:?}", found[0].outcome.remarks);
}

/// A band as wide as the filter's window, smoothed: its height is lower, and the error must know it.
#[test]
fn smoothed_peaks_know_that_they_are_flattened() {
    let mut noise = Noise(8);
    let x: Vec<f64> = (0..201).map(|i| 400.0 + f64::from(i)).collect();
    let (mut held, mut told) = ([0; 2], 0);
    let of = 60;
    for _ in 0..of {
        let y: Vec<f64> = x
            .iter()
            .map(|x| 0.02 + 0.8 * (-0.5 * ((x - 503.4) / 22.0).powi(2)).exp() + 0.001 * noise.normal())
            .collect();
        let trace = Trace::new(
            Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x.clone()),
            Column::new(Quantity::ABSORBANCE, unit("{AU}"), y),
        )
        .unwrap();
        let run = invented::run("band", Technique::SPECTRUM, vec![trace]);
        let chain: Chain = "smooth(window=25, order=2)".parse().unwrap();
        let plan = PeaksPlan {
            steps: chain.steps,
            ..PeaksPlan::default()
        };
        let found = peaks_run(&plan, &run, &References::default()).remove(0).outcome;
        told += usize::from(said(&found, "smoothing changes the peak"));
        for (count, (name, truth)) in held
            .iter_mut()
            .zip([("peak-height", 0.82), ("peak-width", 51.806)])
        {
            let own = found.parameter(name).unwrap();
            *count += usize::from((own.value.unwrap() - truth).abs() < 1.96 * own.standard_error.unwrap());
        }
    }
    println!("height and width held {held:?}, told {told} of {of}");
    assert!(told >= of * 9 / 10, "told {told}");
    for held in held {
        assert!(held >= of * 9 / 10, "{held} of {of}");
    }
}
