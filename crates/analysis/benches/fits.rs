//! Fits per second and core, all standard errors, intervals, covariance and residual tests included.
//!
//! `cargo bench -p curvary-analysis --bench fits`; the first two problems with SciPy, on the same data:
//! `scipy_curve_fit.py` beside this. Noise is drawn anew for every fit, so that no fit profits from the one before.

#![allow(clippy::print_stdout, clippy::expect_used)]

use std::hint::black_box;
use std::time::Instant;

use curvary_analysis::courses::{Course, Order, Preparation, RateWindow, initial_rate};
use curvary_analysis::fit::{Data, Options, fit};
use curvary_analysis::linear::line;
use curvary_analysis::models::Model;
use curvary_analysis::models::formula::Formula;
use curvary_analysis::models::law::Law;

struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }
}

fn measure(
    title: &str,
    model: &dyn Model,
    x: &[f64],
    truth: &[f64],
    sd: f64,
    count: usize,
    options: &Options,
) {
    // A word on the command line chooses among the problems.
    let wanted = std::env::args().skip(1).find(|word| !word.starts_with('-'));
    if wanted.is_some_and(|word| !title.contains(&word)) {
        return;
    }
    let mut noise = Noise(7);
    let mut exact = vec![0.0; x.len()];
    model.evaluate(&[x], truth, &mut exact);
    let sets: Vec<Vec<f64>> = (0..count)
        .map(|_| exact.iter().map(|v| v + sd * noise.normal()).collect())
        .collect();
    // Small batches, the best of which counts: on a shared machine whole seconds are never undisturbed.
    let size = (count / 400).max(1);
    let mut times = Vec::new();
    let mut failed = 0;
    for batch in sets.chunks_exact(size).chain(sets.chunks_exact(size)) {
        let begin = Instant::now();
        for y in batch {
            match fit(model, &Data::new(&[x], y), options) {
                Ok(found) => {
                    black_box(&found);
                }
                Err(_) => failed += 1,
            }
        }
        times.push(begin.elapsed().as_secs_f64() / size as f64);
    }
    times.sort_by(f64::total_cmp);
    let (best, middle) = (times[0], times[times.len() / 2]);
    println!(
        "{title}: {:.0} fits/s ({:.2} us a fit; median batch {:.2} us), {failed} refused",
        1.0 / best,
        best * 1e6,
        middle * 1e6
    );
    // What was found in the first set stands beside what SciPy finds in the same one.
    if let Some(Ok(found)) = sets.first().map(|y| fit(model, &Data::new(&[x], y), options)) {
        let shown: Vec<String> = found
            .parameters
            .iter()
            .map(|p| {
                let error = p.standard_error.map_or("none".to_owned(), |e| format!("{e:.9}"));
                format!("{} {:.9} ± {error}", p.name, p.value)
            })
            .collect();
        println!("  first set: {}", shown.join(", "));
    }
}

fn main() {
    let time: Vec<f64> = (0..500).map(|i| f64::from(i) * 0.2).collect();
    let first = Course::new(Order::First)
        .with_offset()
        .expect("a first-order course takes an offset");
    let options = Options::default();
    measure(
        "first order with offset, 500 points",
        &first,
        &time,
        &[1.05, 0.05, 0.15],
        0.003,
        4000,
        &options,
    );

    let substrate = [
        0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.1, 1.1,
    ];
    let michaelis = Law::named("michaelis-menten").expect("the table has this law");
    measure(
        "Michaelis-Menten, 12 points",
        michaelis,
        &substrate,
        &[212.0, 0.064],
        8.0,
        100_000,
        &options,
    );

    let biphasic = Course::new(Order::Biphasic)
        .with_offset()
        .expect("a biphasic course takes an offset");
    measure(
        "biphasic with offset, 500 points",
        &biphasic,
        &time,
        &[0.8, 0.2, 0.5, 0.03, 0.1],
        0.003,
        2000,
        &options,
    );

    let formula = Formula::parse("a*exp(-k*x)+c", &["x"]).expect("a formula");
    let options = Options {
        start: Some(vec![1.0, 0.1, 0.0]),
        ..options
    };
    measure(
        "the first one as a formula",
        &formula,
        &time,
        &[1.05, 0.05, 0.15],
        0.003,
        4000,
        &options,
    );

    // Rates at the beginning, by the whole course, curve for the picture included.
    for points in [61_u32, 500] {
        let title = format!("rate of a bending course, {points} points");
        let wanted = std::env::args().skip(1).find(|word| !word.starts_with('-'));
        if wanted.is_some_and(|word| !title.contains(&word)) {
            continue;
        }
        let time: Vec<f64> = (0..points)
            .map(|i| 600.0 * f64::from(i) / f64::from(points - 1))
            .collect();
        let mut noise = Noise(11);
        let sets: Vec<Vec<f64>> = (0..200)
            .map(|_| {
                let course = |t: &f64| 0.1 + 0.3 * (1.0 - (-0.004 * t).exp());
                time.iter().map(|t| course(t) + 0.001 * noise.normal()).collect()
            })
            .collect();
        let how = Preparation::default();
        let best = |window: Option<RateWindow>| {
            let mut times: Vec<f64> = sets
                .iter()
                .map(|y| {
                    let begin = Instant::now();
                    match window {
                        Some(window) => drop(black_box(initial_rate(&time, y, &how, window))),
                        None => drop(black_box(line(&time, y))),
                    }
                    begin.elapsed().as_secs_f64()
                })
                .collect();
            times.sort_by(f64::total_cmp);
            (1.0 / times[0], 1.0 / times[times.len() / 2])
        };
        // In one run, so that the ratios hold on a busy machine too.
        let plain = best(None);
        for (name, window) in [
            ("whole course", Some(RateWindow::Whole { fewest: 5 })),
            (
                "longest straight beginning",
                Some(RateWindow::Found { fewest: 5 }),
            ),
            ("stretch by hand", Some(RateWindow::Hand { from: 0.0, to: 120.0 })),
            ("nothing but a line", None),
        ] {
            let (first, middle) = best(window);
            println!(
                "{title}, {name}: {first:.0} a second (the middle one {middle:.0}), a line {:.1} times as many",
                plain.0 / first
            );
        }
    }
}
