//! Whether intervals of what several runs share hold what they promise, by simulation: runs alike, runs that differ, correlated noise;
//! and those of bands that hide each other. `SETS=2000` in the environment, with `--release`, for large ones.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod invented;
mod noise;

use curvary_analysis::courses::{Course, Order};
use curvary_analysis::fit::{Data, DataSet, Options, Robust, fit, fit_shared};
use curvary_analysis::models::Model;
use curvary_analysis::models::law::Law;
use curvary_analysis::spectra::{BandBackground, BandShape, BandStart, Bands};
use curvary_analysis::study::{FitPlan, NamedRun, fit_together};
use curvary_record::{Column, Quantity, Run, Technique, Trace, Unit};
use noise::Noise;

fn sets() -> usize {
    std::env::var("SETS")
        .ok()
        .and_then(|sets| sets.parse().ok())
        .unwrap_or(120)
}

/// Bounds of a share that is 95 % in truth: four standard deviations of chance on either side.
fn holds(name: &str, count: usize, of: usize) {
    let share = count as f64 / of as f64;
    let room = 4.0 * (0.95 * 0.05 / of as f64).sqrt();
    println!("{name}: {:.1} % of {of}", 100.0 * share);
    assert!((share - 0.95).abs() < room.max(0.02), "{name}: {share}");
}

fn times() -> Vec<f64> {
    (0..60).map(|i| 3.0 * f64::from(i)).collect()
}

/// The curve of one run.
fn course(noise: &[f64], k: f64, amplitude: f64) -> Vec<f64> {
    times()
        .iter()
        .zip(noise)
        .map(|(t, e)| 0.1 + amplitude * (-k * t).exp() + 0.003 * e)
        .collect()
}

#[test]
fn a_shared_rate_constant_of_runs_alike() {
    let t = times();
    let law = Course::new(Order::First).with_offset().unwrap();
    let place = law.parameters().iter().position(|p| p.name == "k").unwrap();
    for (name, rho) in [("white noise", 0.0), ("lag-one correlation 0.5", 0.5)] {
        let mut noise = Noise(21);
        let mut held = 0;
        for _ in 0..sets() {
            let runs: Vec<Vec<f64>> = (0..4)
                .map(|r| course(&noise.correlated(t.len(), rho), 0.02, 0.5 + 0.1 * f64::from(r)))
                .collect();
            let columns: [&[f64]; 1] = [&t];
            let all: Vec<DataSet<'_>> = runs
                .iter()
                .map(|y| DataSet {
                    x: &columns,
                    y,
                    errors: None,
                })
                .collect();
            let found = fit_shared(&law, &all, &[place], true, &Options::default()).unwrap();
            let interval = found.fit.parameters[0].interval.unwrap();
            held += usize::from(interval.lower.unwrap() <= 0.02 && 0.02 <= interval.upper.unwrap());
        }
        if rho == 0.0 {
            holds(name, held, sets());
        } else {
            let share = held as f64 / sets() as f64;
            println!("{name}: {:.1} % of {}", 100.0 * share, sets());
            assert!(share > 0.88, "{name}: {share}");
        }
    }
}

/// Courses from 0.4, 0.8 and 1.6 Km to their ends, with Km and Vmax in common, each with a starting concentration and a baseline of its own.
#[test]
fn progress_curves_of_several_starting_concentrations() {
    let law = Law::named("progress-substrate+offset").unwrap();
    let names: Vec<String> = law.parameters().iter().map(|p| p.name.to_string()).collect();
    assert_eq!(names, ["S0", "Vmax", "Km", "y0"]);
    let (km, vmax) = (0.75, 0.125);
    let t: Vec<f64> = (0..61).map(|i| 0.5 * f64::from(i)).collect();
    let clean: Vec<Vec<f64>> = [0.3, 0.6, 1.2]
        .iter()
        .map(|start| {
            let mut y = vec![0.0; t.len()];
            law.evaluate(&[&t], &[*start, vmax, km, 0.08], &mut y);
            y
        })
        .collect();
    let mut noise = Noise(77);
    let mut held = [0; 2];
    for _ in 0..sets() {
        let runs: Vec<Vec<f64>> = clean
            .iter()
            .map(|y| y.iter().map(|y| y + 0.0015 * noise.normal()).collect())
            .collect();
        let columns: [&[f64]; 1] = [&t];
        let all: Vec<DataSet<'_>> = runs
            .iter()
            .map(|y| DataSet {
                x: &columns,
                y,
                errors: None,
            })
            .collect();
        let found = fit_shared(law, &all, &[1, 2], true, &Options::default()).unwrap();
        for (name, (count, truth)) in ["Vmax", "Km"].iter().zip(held.iter_mut().zip([vmax, km])) {
            let of = found.fit.parameters.iter().find(|p| p.name == *name).unwrap();
            let interval = of.interval.unwrap();
            *count += usize::from(interval.lower.unwrap() <= truth && truth <= interval.upper.unwrap());
        }
    }
    holds("Vmax of progress curves together", held[0], sets());
    holds("Km of progress curves together", held[1], sets());
}

/// Robust weights cost nothing of the promise where no reading is far off, and keep it where one of twenty is, by ten times the noise.
#[test]
fn robust_fits_with_and_without_outliers() {
    let t = times();
    let law = Course::new(Order::First).with_offset().unwrap();
    let place = law.parameters().iter().position(|p| p.name == "k").unwrap();
    for (name, robust) in [("Tukey", Robust::Tukey), ("Huber", Robust::Huber)] {
        for outliers in [0, 3] {
            let mut noise = Noise(5);
            let mut held = 0;
            for set in 0..sets() {
                let mut y = course(&noise.correlated(t.len(), 0.0), 0.02, 0.8);
                for far in 0..outliers {
                    let sign = if (set + far) % 2 == 0 { 1.0 } else { -1.0 };
                    y[(7 * set + 19 * far) % t.len()] += sign * 0.03;
                }
                let options = Options {
                    robust,
                    ..Options::default()
                };
                let columns: [&[f64]; 1] = [&t];
                let found = fit(&law, &Data::new(&columns, &y), &options).unwrap();
                let interval = found.parameters[place].interval.unwrap();
                held += usize::from(interval.lower.unwrap() <= 0.02 && 0.02 <= interval.upper.unwrap());
            }
            holds(&format!("{name}, {outliers} of 60 far off"), held, sets());
        }
    }
}

fn run_of(y: Vec<f64>, number: u32) -> Run {
    let trace = Trace::new(
        Column::new(Quantity::TIME, Unit::SECOND, times()),
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .unwrap();
    invented::run(&number.to_string(), Technique::TIME_COURSE, vec![trace])
}

/// Rate constants vary from run to run by 3 %, many times their own errors.
#[test]
fn a_shared_rate_constant_of_runs_that_differ() {
    let plan = FitPlan {
        model: "first-order+offset".into(),
        share: vec!["k".into()],
        ..FitPlan::default()
    };
    let mut noise = Noise(22);
    let (mut held, mut told) = (0, 0);
    for _ in 0..sets() {
        let runs: Vec<Run> = (0..6)
            .map(|r| {
                let k = 0.02 * (1.0 + 0.03 * noise.normal());
                run_of(course(&noise.correlated(times().len(), 0.0), k, 0.7), r)
            })
            .collect();
        let named: Vec<NamedRun<'_>> = runs.iter().map(|run| NamedRun { run, name: "a" }).collect();
        let found = fit_together(&plan, &named).unwrap();
        let k = found.found.outcome.parameter("k").unwrap();
        let interval = &k.intervals[0];
        held += usize::from(interval.low.unwrap() <= 0.02 && 0.02 <= interval.high.unwrap());
        let between = found.found.outcome.parameter("k between runs").unwrap();
        assert!(between.value.unwrap() > 0.0);
        let mut remarks = found.found.outcome.remarks.iter();
        told += usize::from(remarks.any(|remark| remark.code.as_str() == "runs-differ"));
    }
    assert!(told * 100 >= sets() * 95, "told in {told} of {}", sets());
    holds("runs that differ", held, sets());
}

#[test]
fn bands_that_hide_each_other() {
    let x: Vec<f64> = (0..121).map(|i| 400.0 + 1.5 * f64::from(i)).collect();
    let truth = [0.8, 460.0, 40.0, 0.4, 500.0, 35.0, 0.05, 1e-4];
    let start = |position: f64| BandStart {
        position,
        width: 40.0,
    };
    let bands = Bands::new(
        BandShape::Gauss,
        vec![start(458.0), start(505.0)],
        (400.0, 580.0),
        BandBackground::Line,
    );
    let mut exact = vec![0.0; x.len()];
    bands.evaluate(&[&x], &truth, &mut exact);
    let mut noise = Noise(23);
    let mut held = [0; 8];
    for _ in 0..sets() {
        let y: Vec<f64> = exact.iter().map(|v| v + 0.005 * noise.normal()).collect();
        let found = fit(&bands, &Data::new(&[&x], &y), &Options::default()).unwrap();
        for (count, (p, truth)) in held.iter_mut().zip(found.parameters.iter().zip(truth)) {
            let interval = p.interval.unwrap();
            *count += usize::from(interval.lower.unwrap() <= truth && truth <= interval.upper.unwrap());
        }
    }
    for (count, parameter) in held.iter().zip(bands.parameters()) {
        holds(&format!("bands, {}", parameter.name), *count, sets());
    }
}

/// Sets whose points are many enough for the quick way: it must not take a part of them.
#[test]
fn many_points_of_several_sets_are_fitted_as_they_stand() {
    let t: Vec<f64> = (0..240).map(f64::from).collect();
    let course = |a: f64, shift: u32| -> Vec<f64> {
        t.iter()
            .enumerate()
            .map(|(i, t)| {
                a * (-0.02 * t).exp() + 0.1 + 0.001 * ((i as u32 * i as u32 + shift) as f64 * 0.7).sin()
            })
            .collect()
    };
    let (one, two) = (course(0.5, 3), course(0.7, 11));
    let columns: [&[f64]; 1] = [&t];
    let sets = [&one, &two].map(|y| DataSet {
        x: &columns,
        y,
        errors: None,
    });
    let model = Course::new(Order::First).with_offset().unwrap();
    let found = fit_shared(&model, &sets, &[1], false, &Options::default()).unwrap();
    let k = found.fit.parameter("k").unwrap();
    assert!((k.value - 0.02).abs() < 4.0 * k.standard_error.unwrap(), "{k:?}");
    assert!((found.fit.parameter("A[2]").unwrap().value - 0.7).abs() < 0.01);
}
