//! Interval coverage by simulation: of 2,000 seeded data sets, nominal 95 % intervals hold the truth in 93 to 97 %.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use curvary_analysis::courses::{Course, Order};
use curvary_analysis::fit::{Bootstrap, Data, NoiseDraw, Options, Weighting, bootstrap, fit};
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

const SETS: usize = 2000;

fn coverage(model: &dyn Model, x: &[f64], truth: &[f64], sd: &dyn Fn(f64) -> f64, known: bool, seed: u64) {
    let mut noise = Noise(seed);
    let mut exact = vec![0.0; x.len()];
    model.evaluate(&[x], truth, &mut exact);
    let errors: Vec<f64> = exact.iter().map(|v| sd(*v)).collect();
    let mut held = vec![0; truth.len()];
    for _ in 0..SETS {
        let y: Vec<f64> = exact
            .iter()
            .zip(&errors)
            .map(|(v, s)| v + s * noise.normal())
            .collect();
        let weighting = if known {
            Weighting::KnownErrors(&errors)
        } else {
            Weighting::Equal
        };
        let found = fit(
            model,
            &Data {
                x: &[x],
                y: &y,
                weighting,
            },
            &Options::default(),
        )
        .unwrap();
        for (count, (p, truth)) in held.iter_mut().zip(found.parameters.iter().zip(truth)) {
            let interval = p.interval.unwrap();
            *count += usize::from(interval.lower.unwrap() <= *truth && *truth <= interval.upper.unwrap());
        }
    }
    for (count, specification) in held.iter().zip(model.parameters()) {
        let share = *count as f64 / SETS as f64;
        println!("{} {}: {:.1} %", model.name(), specification.name, 100.0 * share);
        assert!(
            (0.93..=0.97).contains(&share),
            "{} {}: {share}",
            model.name(),
            specification.name
        );
    }
}

#[test]
fn rate_constants() {
    let t: Vec<f64> = (0..120).map(|i| f64::from(i) * 0.5).collect();
    let course = Course::new(Order::First).with_offset().unwrap();
    coverage(&course, &t, &[1.05, 0.05, 0.15], &|_| 0.004, false, 11);
    let second = Course::new(Order::Second);
    coverage(&second, &t, &[0.9, 0.12], &|_| 0.004, false, 12);
}

#[test]
fn michaelis_constants() {
    let s = [
        0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.1, 1.1,
    ];
    let law = Law::named("michaelis-menten").unwrap();
    coverage(law, &s, &[212.0, 0.064], &|_| 6.0, false, 13);
    coverage(law, &s, &[212.0, 0.064], &|v| 0.03 * v + 1.0, true, 14);
}

/// Of a straight line with known errors the deviations are known: `(XᵀWX)⁻¹`. Monte Carlo over them gives these, to the chance of 4000
/// rounds (1.1 %); and the same seed the same numbers.
#[test]
fn monte_carlo_gives_the_errors_of_a_straight_line() {
    let x: Vec<f64> = (0..7).map(f64::from).collect();
    let errors: Vec<f64> = x.iter().map(|x| 0.01 + 0.005 * x).collect();
    let y: Vec<f64> = x.iter().map(|x| 0.3 + 0.2 * x).collect();
    let line = Formula::parse("a+b*x", &["x"]).unwrap();
    let columns: [&[f64]; 1] = [&x];
    let data = Data {
        x: &columns,
        y: &y,
        weighting: Weighting::KnownErrors(&errors),
    };
    let found = fit(&line, &data, &Options::default()).unwrap();
    let sums = |power: i32| -> f64 {
        let each = x.iter().zip(&errors);
        each.map(|(x, error)| x.powi(power) / (error * error)).sum()
    };
    let determinant = sums(0) * sums(2) - sums(1) * sums(1);
    let expected = [(sums(2) / determinant).sqrt(), (sums(0) / determinant).sqrt()];
    let how = Bootstrap {
        rounds: 4000,
        seed: 3,
        noise: NoiseDraw::Normal,
    };
    let drawn = bootstrap(&line, &data, &found, &Options::default(), how).unwrap();
    for ((own, expected), interval) in drawn.deviations.iter().zip(expected).zip(&drawn.intervals) {
        assert!((own / expected - 1.0).abs() < 0.05, "{own} for {expected}");
        let half = (interval.upper.unwrap() - interval.lower.unwrap()) / 2.0;
        assert!(
            (half / (1.96 * expected) - 1.0).abs() < 0.08,
            "{half} for {expected}"
        );
    }
    assert_eq!(
        drawn,
        bootstrap(&line, &data, &found, &Options::default(), how).unwrap()
    );
}

/// Where the size of the errors comes from few residuals, the intervals of Monte Carlo hold the truth as often as they say: 95 %, to the
/// chance of so many lines (three binomial errors; one is 1.8 % of 150 lines, 1.0 % of all 450 together). With noise of one size they
/// held it in 79 % at four points.
#[test]
fn monte_carlo_of_few_points_holds_the_truth() {
    second_opinion_holds_the_truth(NoiseDraw::Normal);
}

/// The same for residuals that are dealt out anew: in the size that they have they hold 78 to 90 % at four to eight points.
#[test]
fn dealt_residuals_of_few_points_hold_the_truth() {
    second_opinion_holds_the_truth(NoiseDraw::Residuals);
}

fn second_opinion_holds_the_truth(drawn_noise: NoiseDraw) {
    const LINES: usize = 150;
    let line = Course::new(Order::Zero);
    let binomial = |lines: usize| (0.95 * 0.05 / lines as f64).sqrt();
    let mut all = 0;
    for points in [4_usize, 5, 8] {
        let x: Vec<f64> = (0..points).map(|i| i as f64).collect();
        let mut noise = Noise(20 + points as u64);
        let mut held = 0;
        for seed in 0..LINES as u64 {
            let y: Vec<f64> = x
                .iter()
                .map(|x| 0.9 - 0.05 * x + 0.004 * noise.normal())
                .collect();
            let data = Data {
                x: &[&x],
                y: &y,
                weighting: Weighting::Equal,
            };
            let found = fit(&line, &data, &Options::default()).unwrap();
            let how = Bootstrap {
                rounds: 200,
                seed,
                noise: drawn_noise,
            };
            let drawn = bootstrap(&line, &data, &found, &Options::default(), how).unwrap();
            let interval = &drawn.intervals[1];
            held += usize::from(interval.lower.unwrap() <= 0.05 && 0.05 <= interval.upper.unwrap());
            // The deviation is that of noise of the fit's own size: the standard error, to the chance of 200 rounds (5 %).
            let ratio = drawn.deviations[1] / found.parameters[1].standard_error.unwrap();
            assert!(
                (ratio - 1.0).abs() < 0.25,
                "{points} points, seed {seed}: {ratio}"
            );
        }
        all += held;
        let share = held as f64 / LINES as f64;
        println!("{points} points: {:.1} %", 100.0 * share);
        assert!(
            (share - 0.95).abs() < 3.0 * binomial(LINES),
            "{points} points: {share}"
        );
    }
    let share = all as f64 / (3 * LINES) as f64;
    assert!((share - 0.95).abs() < 3.0 * binomial(3 * LINES), "{share}");
}
