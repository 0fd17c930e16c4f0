//! What a result says of its own limits: shared parameters, profiles, scans that are off as a whole, ranges that are too short.

#![allow(clippy::unwrap_used)]

mod invented;
mod noise;

use curvary_analysis::fit::{Data, Fit, FitRemark, Options, fit};
use curvary_analysis::models::formula::Formula;
use curvary_analysis::models::law::Law;
use curvary_analysis::quantities::{Calibration, CalibrationOptions};
use curvary_analysis::scans::Scheme;
use curvary_analysis::spectra::Chain;
use curvary_analysis::study::{
    FitPlan, NamedRun, ParameterPlan, PeaksPlan, References, ScanTask, compare_together, compare_trace,
    fit_run, fit_together, of_days, peaks_run, pool, scan_run,
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
        for (found, wanted) in [(profile.lower.value(), lower), (profile.upper.value(), upper)] {
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

/// A wave whose frequency many values give a minimum: asking for intervals changes no estimate, and the better one is printed to be
/// tried.
#[test]
fn profiles_tell_of_a_lower_minimum_and_leave_the_fit_alone() {
    let mut noise = Noise(31);
    let mut wave = |n: usize, height: f64, scatter: f64| -> (Vec<f64>, Vec<f64>) {
        let x: Vec<f64> = (0..n).map(|i| 100.0 * i as f64 / (n - 1) as f64).collect();
        let y = x
            .iter()
            .map(|x| height * (0.5 * x).sin() + scatter * noise.normal())
            .collect();
        (x, y)
    };
    let told = |(x, y): &(Vec<f64>, Vec<f64>), start: [f64; 3]| -> Option<f64> {
        let formula = Formula::parse("a*sin(w*x+p)", &["x"]).unwrap();
        let fitted = |profile: bool| {
            let options = Options {
                start: Some(start.to_vec()),
                profile,
                ..Options::default()
            };
            fit(&formula, &Data::new(&[x], y), &options).unwrap()
        };
        let (plain, profiled) = (fitted(false), fitted(true));
        assert_eq!(plain.values(), profiled.values());
        let better = profiled.remarks.iter().find_map(|remark| match remark {
            FitRemark::LowerMinimum {
                residual_sum_of_squares,
                parameters,
                ..
            } => Some((*residual_sum_of_squares, parameters.clone())),
            _ => None,
        });
        println!(
            "{start:?} {} {} {better:?}",
            plain.residual_sum_of_squares, plain.parameters[1].value
        );
        let (sum, parameters) = better?;
        assert!(sum < plain.residual_sum_of_squares && parameters.len() == 3);
        let words: String = profiled.remarks.iter().map(FitRemark::words).collect();
        let (_, start) = words.split_once("`--start ").unwrap();
        let typed: Vec<f64> = start
            .trim_end_matches('`')
            .split(',')
            .map(|one| one.split_once('=').unwrap().1.parse().unwrap())
            .collect();
        assert!(typed.iter().eq(parameters.iter().map(|(_, value)| value)));
        let own: f64 = x
            .iter()
            .zip(y)
            .map(|(x, y)| (y - typed[0] * (typed[1] * x + typed[2]).sin()).powi(2))
            .sum();
        assert!((own / sum - 1.0).abs() < 1e-6, "{own} {sum}");
        Some(1.0 - sum / plain.residual_sum_of_squares)
    };
    let few = wave(40, 1.0, 0.1);
    assert!(told(&few, [0.1, 0.15, 0.0]).is_some());
}

/// What is wrong with a scan as a whole: number of the scan, wavelength, absorbance without error.
type CommonTo<'a> = &'a mut dyn FnMut(usize, f64, f64) -> f64;

/// Scans with errors that are common to their readings, and noise of a size that may differ between wavelengths.
fn scans(common: CommonTo<'_>, size: fn(f64) -> f64, noise: &mut Noise) -> Run {
    let wavelengths: Vec<f64> = (0..31).map(|i| 400.0 + f64::from(i) * 5.0).collect();
    let band = |w: f64, at: f64, width: f64| (-((w - at) / width).powi(2)).exp();
    let traces = (0..21_usize)
        .map(|scan| {
            let t = scan as f64 * 150.0;
            let a = (-0.001 * t).exp();
            let y: Vec<f64> = wavelengths
                .iter()
                .map(|w| {
                    let own = a * band(*w, 520.0, 30.0) + (1.0 - a) * 0.8 * band(*w, 440.0, 25.0);
                    own + common(scan, *w, own) + size(*w) * noise.normal()
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

/// The same in sets, with a number drawn for every scan.
type CommonInSets<'a> = &'a dyn Fn(&[f64], usize, f64, f64) -> f64;

/// How often something was said of sets of scans, and how often the interval of k held the truth.
#[derive(Debug, Default)]
struct SaidOfScans {
    shifted: usize,
    allowed_for: usize,
    otherwise: usize,
    lacking: usize,
    too_small: usize,
    way_out: usize,
    held: usize,
}

/// Sets of scans, each with numbers of its own for every scan.
fn of_scans(
    sets: usize,
    seed: u64,
    task: &ScanTask,
    common: impl Fn(&[f64], usize, f64, f64) -> f64,
) -> SaidOfScans {
    of_noisy_scans((sets, seed), task, common, |_| 0.001)
}

fn of_noisy_scans(
    (sets, seed): (usize, u64),
    task: &ScanTask,
    common: impl Fn(&[f64], usize, f64, f64) -> f64,
    size: fn(f64) -> f64,
) -> SaidOfScans {
    let mut noise = Noise(seed);
    let mut all = SaidOfScans::default();
    for _ in 0..sets {
        let drawn: Vec<f64> = (0..21).map(|_| noise.normal()).collect();
        let run = scans(&mut |scan, w, own| common(&drawn, scan, w, own), size, &mut noise);
        let found = scan_run(task.clone(), &run).found.outcome;
        let interval = &found.parameters[0].intervals[0];
        let coded = |code: &str| found.remarks.iter().any(|remark| remark.code.as_str() == code);
        all.held += usize::from(interval.low.unwrap() <= 0.001 && 0.001 <= interval.high.unwrap());
        all.shifted += usize::from(coded("scans-shifted"));
        all.allowed_for += usize::from(said(&found, "allow for shifts"));
        all.otherwise += usize::from(coded("scans-err-together"));
        all.lacking += usize::from(coded("lack-of-fit"));
        all.too_small += usize::from(said(&found, "the errors above are too small"));
        all.way_out += usize::from(said(&found, "`--shifted`"));
    }
    all
}

/// Shifts that have nothing to do with each other, and none.
#[test]
fn scans_that_are_shifted_are_told_and_the_errors_know_it() {
    let task = ScanTask::Global(Scheme::FirstOrder);
    let none = of_scans(100, 6, &task, |_, _, _, _| 0.0);
    assert!(
        none.shifted + none.otherwise <= 6 && none.lacking <= 4 && none.held >= 88,
        "{none:?}"
    );
    let shifted = of_scans(100, 7, &task, |drawn, scan, _, _| 0.01 * drawn[scan]);
    assert!(
        shifted.shifted >= 92 && shifted.otherwise <= 4 && shifted.held >= 88,
        "{shifted:?}"
    );
    assert!(shifted.allowed_for >= 75, "{shifted:?}");
}

/// A lamp that wanders and one that grows brighter: shifts of the whole scan that go on from one to the next. The errors do not allow
/// for them, and with `--shifted` they do no harm.
#[test]
fn shifts_that_go_on_in_time_keep_the_warning() {
    let task = ScanTask::Global(Scheme::FirstOrder);
    let walk = |drawn: &[f64], scan: usize, _: f64, _: f64| 0.002 * drawn[..=scan].iter().sum::<f64>();
    let drift = |_: &[f64], scan: usize, _: f64, _: f64| 0.01 * scan as f64 / 20.0;
    let wandering = of_scans(40, 8, &task, walk);
    assert!(
        wandering.too_small >= 30 && wandering.lacking >= 30 && wandering.allowed_for <= 10,
        "{wandering:?}"
    );
    let drifting = of_scans(40, 9, &task, drift);
    assert!(drifting.too_small >= 30, "{drifting:?}");
    let shifted = ScanTask::Shifted(Box::new(task));
    for held in [of_scans(40, 8, &shifted, walk), of_scans(40, 9, &shifted, drift)] {
        assert!(held.held >= 34 && held.otherwise <= 3, "{held:?}");
    }
}

/// A gain that differs from scan to scan, and baselines that tilt: no shift of the whole scan, and no cause is asserted.
#[test]
fn what_is_no_shift_is_not_called_one() {
    let task = ScanTask::Global(Scheme::FirstOrder);
    let gain = |drawn: &[f64], scan: usize, _: f64, own: f64| 0.005 * drawn[scan] * own;
    let tilt = |drawn: &[f64], scan: usize, w: f64, _: f64| 0.005 * drawn[scan] * (w - 475.0) / 75.0;
    for (seed, of_gain) in [(10, true), (11, false)] {
        let common: CommonInSets<'_> = if of_gain { &gain } else { &tilt };
        for task in [task.clone(), ScanTask::Shifted(Box::new(task.clone()))] {
            let found = of_scans(40, seed, &task, common);
            assert!(found.shifted == 0 && found.allowed_for == 0, "{found:?}");
            assert!(
                found.otherwise + found.lacking >= 38 && found.too_small >= 38,
                "{found:?}"
            );
        }
    }
}

/// Where a lamp comes to its end every reading still errs by itself, and a shift of the scans is still one.
#[test]
fn noise_that_differs_between_wavelengths_is_no_erring_together() {
    let task = ScanTask::Global(Scheme::FirstOrder);
    let ends: [fn(f64) -> f64; 3] = [
        |w| if w < 430.0 { 0.002 } else { 0.001 },
        |w| if w < 430.0 { 0.003 } else { 0.001 },
        |w| if w < 430.0 { 0.02 } else { 0.001 },
    ];
    for (seed, size) in (40..).zip(ends) {
        let found = of_noisy_scans((60, seed), &task, |_, _, _, _| 0.0, size);
        println!("{found:?}");
        assert!(
            found.otherwise <= 3 && found.too_small <= 5 && found.held >= 51,
            "{found:?}"
        );
    }
    let shift = |drawn: &[f64], scan: usize, _: f64, _: f64| 0.01 * drawn[scan];
    let found = of_noisy_scans((60, 44), &task, shift, ends[1]);
    println!("{found:?}");
    assert!(found.otherwise <= 3 && found.shifted >= 55, "{found:?}");
}

/// A gain beside shifts: neither is passed over, and the way to take the shifts out is told.
#[test]
fn shifts_beside_something_else_keep_their_way_out() {
    let task = ScanTask::Global(Scheme::FirstOrder);
    let both = |drawn: &[f64], scan: usize, _: f64, own: f64| {
        0.01 * drawn[scan] + 0.01 * drawn[(5 * scan + 3) % drawn.len()] * own
    };
    let found = of_scans(40, 45, &task, both);
    println!("{found:?}");
    assert!(found.otherwise >= 34 && found.way_out >= 38, "{found:?}");
}

fn over_within(
    x: (&Quantity, &str, &[f64]),
    y: (&Quantity, &str),
    law: impl Fn(f64) -> f64,
    scatter: f64,
) -> Run {
    let values: Vec<f64> =
        x.2.iter()
            .enumerate()
            .map(|(i, x)| law(*x) * (1.0 + scatter * (2.7 * i as f64).sin()))
            .collect();
    let trace = Trace::new(
        Column::new(x.0.clone(), unit(x.1), x.2.to_vec()),
        Column::new(y.0.clone(), unit(y.1), values),
    )
    .unwrap();
    invented::run("range", Technique::RATE_SERIES, vec![trace])
}

fn over(x: (&Quantity, &str, &[f64]), y: (&Quantity, &str), law: impl Fn(f64) -> f64) -> Run {
    over_within(x, y, law, 0.01)
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
        (4.0, "of Km: Vmax and Km"),
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

/// What a person holds depends on nothing, what the points determine well is not called hardly determined, and with a negative slope the
/// plateaus change their ends.
#[test]
fn ranges_are_said_to_be_short_of_what_needs_them_only() {
    let told = |plan: &FitPlan, run: &Run| -> Vec<String> {
        let found = fit_run(plan, run).remove(0).outcome;
        let short = found
            .remarks
            .iter()
            .filter(|remark| remark.code.as_str() == "range-short");
        short.map(|remark| remark.message.clone()).collect()
    };
    let plan = |model: &str, held: &[(&str, f64)]| FitPlan {
        model: model.into(),
        parameters: held
            .iter()
            .map(|(name, value)| {
                let held = ParameterPlan {
                    held: Some(*value),
                    ..ParameterPlan::default()
                };
                ((*name).to_owned(), held)
            })
            .collect(),
        ..FitPlan::default()
    };
    let levels: Vec<f64> = (1..=12).map(|i| f64::from(i) / 12.0).collect();
    let precise = |x: (&Quantity, &str, &[f64]), y: (&Quantity, &str), law: &dyn Fn(f64) -> f64| {
        over_within(x, y, law, 1e-4)
    };
    let substrate = (&Quantity::CONCENTRATION, "mmol/L", levels.as_slice());
    let rate = (&Quantity::RATE, "umol/L/min");
    let law = |s: f64| 10.0 * s / (2.3 + s);
    let said = told(
        &plan("michaelis-menten", &[]),
        &over_within(substrate, rate, law, 0.05),
    );
    assert!(
        said.len() == 1 && said[0].contains("hardly told apart"),
        "{said:?}"
    );
    let said = told(&plan("michaelis-menten", &[]), &precise(substrate, rate, &law));
    assert!(
        said.len() == 1 && said[0].contains("as the law goes on") && !said[0].contains("hardly"),
        "{said:?}"
    );
    let said = told(
        &plan("michaelis-menten", &[("Km", 2.3)]),
        &over(substrate, rate, law),
    );
    assert!(said.is_empty(), "{said:?}");
    let ph: Vec<f64> = (0..13).map(|i| 4.0 + 0.2 * f64::from(i)).collect();
    let acid = (&Quantity::PH, "[pH]", ph.as_slice());
    let light = (&Quantity::ABSORBANCE, "{AU}");
    let law = |ph: f64| 0.1 + 0.8 / (1.0 + 10f64.powf(7.2 - ph));
    let said = told(&plan("pka", &[]), &precise(acid, light, &law));
    assert!(said.len() == 1 && !said[0].contains("hardly"), "{said:?}");
    let said = told(&plan("pka", &[("pKa", 7.2)]), &over(acid, light, law));
    assert!(said.is_empty(), "{said:?}");
    let doses = [0.001, 0.01, 0.03, 0.1, 0.2, 0.3, 0.4];
    let dose = (&Quantity::CONCENTRATION, "umol/L", doses.as_slice());
    let law = |dose: f64| 1.0 + 9.0 / (1.0 + dose / 0.3);
    let said = told(
        &plan("four-parameter", &[("IC50", 0.3), ("h", 1.0)]),
        &over(dose, rate, law),
    );
    assert!(
        said.len() == 1 && said[0].ends_with("yinf: it is not seen"),
        "{said:?}"
    );
    let wide = [0.001, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 100.0];
    let turned = FitPlan {
        parameters: [("y0", 1.0), ("yinf", 10.0), ("IC50", 0.3), ("h", -1.0)]
            .into_iter()
            .map(|(name, value)| {
                let begun = ParameterPlan {
                    start: Some(value),
                    ..ParameterPlan::default()
                };
                (name.to_owned(), begun)
            })
            .collect(),
        ..plan("four-parameter", &[])
    };
    let run = over((&Quantity::CONCENTRATION, "umol/L", &wide), rate, law);
    let found = fit_run(&turned, &run).remove(0).outcome;
    let steep = found.parameter("h").unwrap().value.unwrap();
    println!("h {steep}");
    let said = told(&turned, &run);
    assert!(steep < 0.0 && said.is_empty(), "{steep} {said:?}");
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
    let said = of_days(&days, &apart, true).unwrap();
    assert!(
        said.contains("6 runs are of 3 days") && said.contains("too small"),
        "{said}"
    );
    assert!(said.contains("F 10000.00 on 2 and 3"), "{said}");
    let alike = [1.0, 1.5, 1.01, 1.49, 1.02, 1.51];
    assert!(of_days(&days, &alike, true).unwrap().contains("not told apart"));
    assert!(of_days(&[1, 2, 3].map(day), &apart[..3], true).is_none());
    assert!(of_days(&[1, 1, 1].map(day), &apart[..3], true).is_none());
    // Where no day is known, runs that differ may be several of a day.
    let unknown = of_days(&[None, None, None], &apart[..3], true).unwrap();
    assert!(
        unknown.contains("the day of 3 of the 3 runs is not known"),
        "{unknown}"
    );
    assert!(of_days(&[None, None, None], &apart[..3], false).is_none());
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

/// What the smoothed peak of a band with a known height and width says, in sets of 40.
#[derive(Debug, Default)]
struct SmoothedBand {
    /// Height and width held by 1.96 errors.
    held: [usize; 2],
    without_error: usize,
    changed: usize,
    too_narrow: usize,
}

fn smoothed_bands(
    (band, truth): (impl Fn(f64) -> f64, [f64; 2]),
    x: &[f64],
    (steps, size): (&str, f64),
    seed: u64,
) -> SmoothedBand {
    let mut noise = Noise(seed);
    let mut all = SmoothedBand::default();
    for _ in 0..40 {
        let y: Vec<f64> = x
            .iter()
            .map(|x| 0.02 + 0.8 * band(x - 503.4) + size * noise.normal())
            .collect();
        let trace = Trace::new(
            Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x.to_vec()),
            Column::new(Quantity::ABSORBANCE, unit("{AU}"), y),
        )
        .unwrap();
        let run = invented::run("band", Technique::SPECTRUM, vec![trace]);
        let plan = PeaksPlan {
            steps: steps.parse::<Chain>().unwrap().steps,
            ..PeaksPlan::default()
        };
        let found = peaks_run(&plan, &run, &References::default()).remove(0).outcome;
        all.changed += usize::from(said(&found, "smoothing changes the peak"));
        all.too_narrow += usize::from(said(&found, "too narrow for this smoothing"));
        let names = ["peak-height", "peak-width"];
        for (count, (name, truth)) in all.held.iter_mut().zip(names.into_iter().zip(truth)) {
            let own = found.parameter(name).unwrap();
            match own.standard_error {
                Some(error) => *count += usize::from((own.value.unwrap() - truth).abs() < 1.96 * error),
                None => all.without_error += 1,
            }
        }
    }
    all
}

/// A Gauss curve of the width `full`, and one of Lorentz.
fn gauss(full: f64) -> impl Fn(f64) -> f64 {
    move |x| (-4.0 * std::f64::consts::LN_2 * (x / full).powi(2)).exp()
}

fn lorentz(full: f64) -> impl Fn(f64) -> f64 {
    move |x| 1.0 / (1.0 + 4.0 * (x / full).powi(2))
}

/// Bands narrower than the window lose much of their height, and a second smoothing does not say how much: there is no error then, not
/// one that is too small. Of the bands between, that lose a few per cent, either holds.
#[test]
fn bands_too_narrow_for_their_smoothing_have_no_errors() {
    let x: Vec<f64> = (300..=700).map(f64::from).collect();
    let steps = "smooth(window=25, order=2)";
    for size in [0.001, 0.01] {
        let found = smoothed_bands((lorentz(12.0), [0.82, 12.0]), &x, (steps, size), 21);
        assert!(found.without_error == 80 && found.too_narrow == 40, "{found:?}");
        let found = smoothed_bands((gauss(14.0), [0.82, 14.0]), &x, (steps, size), 22);
        assert!(found.without_error == 80 && found.too_narrow == 40, "{found:?}");
    }
}

/// Gauss and Lorentz bands that lose less than the stated part: whatever has an error holds, with noise that is small beside the bias.
#[test]
fn errors_of_smoothed_bands_hold() {
    let x: Vec<f64> = (250..=800).map(f64::from).collect();
    for (steps, full) in [
        ("smooth(window=25, order=2)", 52.0),
        ("smooth(window=25, order=2)", 32.0),
        ("smooth(window=11, order=3)", 14.0),
    ] {
        let found = smoothed_bands((gauss(full), [0.82, full]), &x, (steps, 0.001), 23);
        assert_eq!(found.too_narrow, 0, "{full} {found:?}");
        assert!(found.held.into_iter().all(|held| held >= 34), "{full} {found:?}");
    }
    // Half the prominence of a Lorentz band lies above half its height, since its higher end is not zero.
    let full: f64 = 44.0;
    let base = lorentz(full)(250.0 - 503.4);
    let width = full * (2.0 / (1.0 + base) - 1.0).sqrt();
    let steps = "smooth(window=25, order=2)";
    let found = smoothed_bands((lorentz(full), [0.82, width]), &x, (steps, 0.001), 25);
    assert_eq!(found.too_narrow, 0, "{found:?}");
    assert!(found.held.into_iter().all(|held| held >= 34), "{found:?}");
}

/// Smoothing does nothing to a band many times as wide as its window, and noise is not told as what smoothing did.
#[test]
fn broad_bands_are_not_said_to_be_flattened() {
    let x: Vec<f64> = (250..=800).map(f64::from).collect();
    for size in [0.001, 0.01] {
        let found = smoothed_bands(
            (gauss(165.0), [0.82, 165.0]),
            &x,
            ("smooth(window=11, order=3)", size),
            24,
        );
        assert!(found.changed <= 1 && found.too_narrow == 0, "{found:?}");
    }
    // With much noise prominence and width rise and fall by per cents, and the errors know of the noise already.
    for (full, steps, seed) in [
        (165.0, "smooth(window=11, order=3)", 26),
        (52.0, "smooth(window=11, order=2)", 27),
        (52.0, "smooth(window=7, order=2)", 28),
    ] {
        let found = smoothed_bands((gauss(full), [0.82, full]), &x, (steps, 0.08), seed);
        println!("{full} {steps} {found:?}");
        assert_eq!(found.too_narrow, 0, "{full} {found:?}");
    }
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

/// Rates with a blank of 0.38 under a law that begins at zero and has no name with an offset, and under a formula.
#[test]
fn points_that_do_not_begin_at_zero_where_their_law_does_are_told() {
    let levels = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4, 12.8];
    let rates = |blank: f64| {
        over(
            (&Quantity::CONCENTRATION, "mmol/L", &levels),
            (&Quantity::RATE, "umol/L/min"),
            |s| blank + 4.0 * s / (1.5 + s + s * s / 8.0),
        )
    };
    let words = "the law begins at zero";
    assert!(said(&fitted("substrate-inhibition", &rates(0.38)), words));
    assert!(!said(&fitted("substrate-inhibition", &rates(0.0)), words));
    let line = |blank: f64| {
        over(
            (&Quantity::CONCENTRATION, "mmol/L", &levels),
            (&Quantity::RATE, "umol/L/min"),
            |s| blank + 0.4 * s,
        )
    };
    let formula = |run: &Run| {
        let plan = FitPlan {
            formula: Some("a*x".into()),
            ..FitPlan::default()
        };
        fit_run(&plan, run).remove(0).outcome
    };
    assert!(said(&formula(&line(0.38)), words) && !said(&formula(&line(0.0)), words));
}

/// A constant that chance makes in 2 to 4 of 100 fits is told by a law, by a formula and by standards alike, and not as certain.
#[test]
fn points_off_the_origin_are_told_at_one_level() {
    let x = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
    let off = [0.3, -0.2, 0.1, -0.3, 0.2, 0.1, -0.2, 0.0];
    let y: Vec<f64> = x.iter().zip(off).map(|(x, off)| 0.35 + x + off).collect();
    let formula = Formula::parse("a*x", &["x"]).unwrap();
    assert_eq!(
        fit(&formula, &Data::new(&[&x], &y), &Options::default())
            .unwrap()
            .points,
        8
    );
    let run = over(
        (&Quantity::CONCENTRATION, "mmol/L", &x),
        (&Quantity::RATE, "umol/L/min"),
        |at| y[at as usize - 1],
    );
    let plan = FitPlan {
        formula: Some("a*x".into()),
        ..FitPlan::default()
    };
    let outcome = fit_run(&plan, &run).remove(0).outcome;
    assert!(said(
        &outcome,
        "may be too small, and the values may be wrong: the law begins at zero"
    ));
    let held = CalibrationOptions {
        through_origin: true,
        ..CalibrationOptions::default()
    };
    let line = Calibration::fit(&x, &y, &held).unwrap();
    let told = line
        .remarks
        .iter()
        .find(|remark| remark.code == "origin-missed")
        .unwrap();
    let chance: f64 = told.words.split("p = ").nth(1).unwrap()[..5].parse().unwrap();
    assert!((0.01..0.05).contains(&chance), "{}", told.words);
}

/// Points of two phases: of the usual orders one is the best, and none of them describes the points.
#[test]
fn a_ranking_says_where_no_law_describes_the_points() {
    let run = |fast: f64| {
        let mut noise = Noise(3);
        let t: Vec<f64> = (0..61).map(|i| 10.0 * f64::from(i)).collect();
        let y: Vec<f64> = t
            .iter()
            .map(|t| 0.5 * (-fast * t).exp() + 0.3 * (-0.004 * t).exp() + 0.1 + 0.003 * noise.normal())
            .collect();
        let trace = Trace::new(
            Column::new(Quantity::TIME, Unit::SECOND, t),
            Column::new(Quantity::ABSORBANCE, unit("{AU}"), y),
        );
        invented::run("course", Technique::TIME_COURSE, vec![trace.unwrap()])
    };
    let words = "is the best of these laws, and may not describe the points";
    let told = |run: &Run| {
        let ranked = compare_trace(&FitPlan::default(), &[], run).remove(0).unwrap();
        said(&ranked.found.outcome, words)
    };
    assert!(told(&run(0.02)) && !told(&run(0.004)));
}
