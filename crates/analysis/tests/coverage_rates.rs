//! Coverage of initial rates by simulation: courses that bend, burst, lag or are straight.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod noise;

use curvary_analysis::courses::{Preparation, RateWindow, initial_rate};
use curvary_analysis::models::law::lambert_of_exp;
use noise::Noise;

/// Product of a Michaelis-Menten reaction, by the integrated law (Lambert's W).
fn product(t: f64, s0: f64, vmax: f64, km: f64) -> f64 {
    s0 - km * lambert_of_exp((s0 / km).ln() + (s0 - vmax * t) / km)
}

struct Case {
    name: &'static str,
    truth: f64,
    steady: bool,
    course: Box<dyn Fn(f64) -> f64>,
}

fn cases() -> Vec<Case> {
    let case = |name, truth, steady, course: Box<dyn Fn(f64) -> f64>| Case {
        name,
        truth,
        steady,
        course,
    };
    let mm = |name, s0: f64, km: f64, done: f64| {
        // Followed over 0..60 until the part `done` of S0 is used.
        let left = s0 * (1.0 - done);
        let vmax = (s0 - left + km * (s0 / left).ln()) / 60.0;
        case(
            name,
            vmax * s0 / (km + s0),
            false,
            Box::new(move |t| 0.1 + product(t, s0, vmax, km)),
        )
    };
    vec![
        case("straight", 0.005, false, Box::new(|t| 0.1 + 0.005 * t)),
        case(
            "first order",
            0.005,
            false,
            Box::new(|t| 0.1 + 0.005 * (1.0 - (-0.02 * t).exp()) / 0.02),
        ),
        case(
            "fast first order",
            0.03,
            false,
            Box::new(|t| 0.1 + 0.03 * (1.0 - (-0.1 * t).exp()) / 0.1),
        ),
        mm("S0 = 0.1 Km, 50 %", 0.4, 4.0, 0.5),
        mm("S0 = Km, 30 %", 0.4, 0.4, 0.3),
        mm("S0 = Km, 80 %", 0.4, 0.4, 0.8),
        mm("S0 = 5 Km, 40 %", 0.4, 0.08, 0.4),
        mm("S0 = 5 Km, 95 %", 0.4, 0.08, 0.95),
        case(
            "burst",
            0.02,
            false,
            Box::new(|t| 0.1 + 0.003 * t + 0.017 * (1.0 - (-0.15 * t).exp()) / 0.15),
        ),
        case(
            "burst, steady",
            0.003,
            true,
            Box::new(|t| 0.1 + 0.003 * t + 0.017 * (1.0 - (-0.15 * t).exp()) / 0.15),
        ),
        case(
            "lag",
            0.006,
            true,
            Box::new(|t| 0.1 + 0.006 * t - 0.006 * (1.0 - (-0.12 * t).exp()) / 0.12),
        ),
    ]
}

/// Of how many simulated courses the interval held the truth, of how many a rate was given, and mean error and bias.
fn simulated(case: &Case, sd: f64, sets: usize, seed: u64) -> (usize, usize, f64, f64) {
    let t: Vec<f64> = (0..=60).map(f64::from).collect();
    let mut noise = Noise(seed);
    let (mut held, mut given, mut sum, mut size) = (0, 0, 0.0, 0.0);
    for _ in 0..sets {
        let y: Vec<f64> = t
            .iter()
            .map(|t| (case.course)(*t) + sd * noise.normal())
            .collect();
        let found = initial_rate(&t, &y, &Preparation::default(), RateWindow::Whole { fewest: 5 }).unwrap();
        let (rate, interval, error) = match (case.steady, found.steady) {
            (false, _) => (found.rate, found.interval, found.standard_error),
            (true, Some(steady)) => (steady.rate, steady.interval, steady.standard_error),
            (true, None) => continue,
        };
        given += 1;
        sum += rate / case.truth - 1.0;
        size += error / case.truth;
        held += usize::from(interval.lower.unwrap() <= case.truth && case.truth <= interval.upper.unwrap());
    }
    let count = given as f64;
    (held, given, sum / count, size / count)
}

/// The share held over all cases together; `SETS=1000 cargo test --release --test coverage_rates -- --nocapture` prints
/// each case, at three sizes of the noise.
#[test]
fn initial_rates_are_as_sure_as_they_say() {
    let large: Option<usize> = std::env::var("SETS").ok().and_then(|s| s.parse().ok());
    let sizes: &[f64] = if large.is_some() {
        &[0.0005, 0.002, 0.006]
    } else {
        &[0.002]
    };
    let (mut held, mut given) = (0, 0);
    for (number, case) in cases().iter().enumerate() {
        for sd in sizes {
            let (own, of, bias, error) = simulated(case, *sd, large.unwrap_or(16), 77 + number as u64);
            println!(
                "{:18} noise {sd}: {:.1} % held of {of}, bias {:.2} %, error {:.2} %",
                case.name,
                100.0 * own as f64 / of as f64,
                100.0 * bias,
                100.0 * error
            );
            held += own;
            given += of;
        }
    }
    let share = held as f64 / given as f64;
    println!("all: {:.1} % of {given}", 100.0 * share);
    assert!((0.91..=0.99).contains(&share), "{share}");
}

/// A line through the first part of a course that bends is flatter than the course at its beginning; its error says so.
#[test]
fn a_line_has_its_bias_in_its_error() {
    let t: Vec<f64> = (0..=60).map(f64::from).collect();
    let mut noise = Noise(5);
    let truth = 0.005;
    let (mut held, mut plain) = (0, 0);
    for _ in 0..24 {
        let y: Vec<f64> = t
            .iter()
            .map(|t| 0.1 + truth * (1.0 - (-0.02 * t).exp()) / 0.02 + 0.0005 * noise.normal())
            .collect();
        let window = RateWindow::Hand { from: 0.0, to: 30.0 };
        let line = initial_rate(&t, &y, &Preparation::default(), window).unwrap();
        let own = (line.standard_error.powi(2) - line.bias.powi(2)).sqrt();
        held += usize::from((line.rate - truth).abs() < 2.05 * line.standard_error);
        plain += usize::from((line.rate - truth).abs() < 2.05 * own);
    }
    assert!(
        plain == 0 && held >= 21,
        "{plain} by the line's own error, {held} with its bias"
    );
}
