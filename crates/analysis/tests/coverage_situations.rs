//! Coverage of initial rates where something is wrong with the course or the line through it: a bad first reading, neighbours that
//! err together, another law, lines taken by hand, coarse readings, blanks.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod noise;

use curvary_analysis::courses::{InitialRate, Preparation, RateWindow, initial_rate};
use noise::Noise;

/// A course, its noise and how the rate is taken; and how much of the simulated intervals must hold the truth at least.
struct Situation {
    name: &'static str,
    points: usize,
    truth: f64,
    course: fn(f64) -> f64,
    /// Standard deviation and lag-one correlation.
    noise: (f64, f64),
    /// Added to the first reading.
    first: f64,
    /// Step of the readings.
    step: f64,
    window: RateWindow,
    /// What of the intervals must hold the truth.
    least: f64,
}

/// The default.
const WHOLE: RateWindow = RateWindow::Whole { fewest: 5 };

/// A straight course of 61 points over 600 s with white noise.
const PLAIN: Situation = Situation {
    name: "straight",
    points: 61,
    truth: 0.001,
    course: |t| 0.1 + 0.001 * t,
    noise: (0.001, 0.0),
    first: 0.0,
    step: 1e-4,
    window: WHOLE,
    least: 0.9,
};

fn bending(t: f64) -> f64 {
    0.1 + 0.001 * (1.0 - (-0.005 * t).exp()) / 0.005
}

fn falling(t: f64) -> f64 {
    0.1 + 0.8 * (-0.005 * t).exp()
}

fn steep(t: f64) -> f64 {
    0.1 + 0.004 * (1.0 - (-0.005 * t).exp()) / 0.005
}

fn situations() -> Vec<Situation> {
    let straight = |name, first| Situation {
        name,
        points: 31,
        first,
        ..PLAIN
    };
    let rho = |name, rho, course, least| Situation {
        name,
        noise: (0.002, rho),
        course,
        least,
        ..PLAIN
    };
    let line = |name, truth, course, window| Situation {
        name,
        truth,
        course,
        window,
        ..PLAIN
    };
    let percent = |percent| RateWindow::Conversion {
        percent,
        change: None,
    };
    let found = RateWindow::Found { fewest: 5 };
    let hand = RateWindow::Hand { from: 0.0, to: 60.0 };
    let level: fn(f64) -> f64 = |t| 0.1 + 0.001 * t;
    vec![
        PLAIN,
        straight("first reading +0.03", 0.03),
        straight("first reading +0.01", 0.01),
        Situation {
            name: "first reading -0.02, bending",
            course: |t| 0.1 + 0.001 * (1.0 - (-0.003 * t).exp()) / 0.003,
            ..straight("", -0.02)
        },
        rho("rho 0.5", 0.5, level, 0.85),
        rho("rho 0.7", 0.7, level, 0.85),
        rho("rho 0.8", 0.8, level, 0.8),
        rho("rho 0.5, bending", 0.5, bending, 0.85),
        rho("rho 0.7, bending", 0.7, bending, 0.85),
        rho("rho 0.8, bending", 0.8, bending, 0.8),
        Situation {
            name: "a logarithm",
            points: 31,
            truth: 0.0015,
            course: |t| 0.1 + 0.15 * (1.0 + t / 100.0).ln(),
            least: 0.85,
            ..PLAIN
        },
        Situation {
            name: "a slow logarithm",
            truth: 0.00075,
            course: |t| 0.1 + 0.15 * (1.0 + t / 200.0).ln(),
            least: 0.8,
            ..PLAIN
        },
        Situation {
            name: "cut off at 2.5",
            truth: 0.02,
            course: |t| (0.1 + 0.02 * t).min(2.5),
            least: 0.85,
            ..PLAIN
        },
        line("straight stretch, bending", 0.001, bending, found),
        line("straight stretch, falling", -0.004, falling, found),
        line("straight stretch, steep", 0.004, steep, found),
        line("straight stretch, straight", 0.001, level, found),
        line("20 % of the change, bending", 0.001, bending, percent(20.0)),
        line("20 % of the change, falling", -0.004, falling, percent(20.0)),
        line("60 s by hand, bending", 0.001, bending, hand),
        line("60 s by hand, steep", 0.004, steep, hand),
        Situation {
            name: "coarse readings",
            truth: 0.0001,
            course: |t| 0.1 + 0.0001 * t,
            step: 0.01,
            ..PLAIN
        },
        Situation {
            name: "coarse readings, no noise",
            truth: 0.0001,
            course: |t| 0.1 + 0.0001 * t,
            step: 0.001,
            noise: (0.0, 0.0),
            ..PLAIN
        },
    ]
}

fn simulated(case: &Situation, sets: usize, seed: u64) -> Vec<InitialRate> {
    let t: Vec<f64> = (0..case.points)
        .map(|i| 600.0 * i as f64 / (case.points - 1) as f64)
        .collect();
    // Half as long for courses of half as many points.
    let t: Vec<f64> = t.iter().map(|t| t * (case.points - 1) as f64 / 60.0).collect();
    let mut noise = Noise(seed);
    let (sd, rho) = case.noise;
    let how = Preparation {
        resolution: Some(case.step),
        ..Preparation::default()
    };
    (0..sets)
        .filter_map(|_| {
            let errors = noise.correlated(t.len(), rho);
            let mut y: Vec<f64> = t
                .iter()
                .zip(errors)
                .map(|(t, e)| (case.course)(*t) + sd * e)
                .collect();
            y[0] += case.first;
            for value in &mut y {
                *value = (*value / case.step).round() * case.step;
            }
            initial_rate(&t, &y, &how, case.window).ok()
        })
        .collect()
}

/// `SETS=400 cargo test --release -p curvary-analysis --test coverage_situations -- --nocapture` prints each case.
#[test]
fn rates_are_as_sure_as_they_say_where_something_is_wrong() {
    let large: Option<usize> = std::env::var("SETS").ok().and_then(|s| s.parse().ok());
    let sets = large.unwrap_or(20);
    let mut short = Vec::new();
    for (number, case) in situations().iter().enumerate() {
        let found = simulated(case, sets, 100 + number as u64);
        let within = |found: &InitialRate| {
            found.interval.lower.unwrap() <= case.truth && case.truth <= found.interval.upper.unwrap()
        };
        let two = found
            .iter()
            .filter(|found| (found.rate - case.truth).abs() <= 2.0 * found.standard_error);
        let two = two.count() as f64 / found.len() as f64;
        let held = found.iter().filter(|found| within(found)).count() as f64 / found.len() as f64;
        let mut errors: Vec<f64> = found
            .iter()
            .map(|found| found.standard_error / case.truth.abs())
            .collect();
        errors.sort_by(f64::total_cmp);
        let told = found
            .iter()
            .filter(|found| !found.far.is_empty() || found.wanders || found.flat_end > 0 || found.stops)
            .count();
        println!(
            "{:30} {:5.1} % held, {:5.1} % within two errors of {}, median error {:.2} %, told {told}",
            case.name,
            100.0 * held,
            100.0 * two,
            found.len(),
            100.0 * errors[errors.len() / 2]
        );
        if found.len() < sets {
            short.push(format!(
                "{}: {} of {sets} are refused",
                case.name,
                sets - found.len()
            ));
        }
        let least = case.least;
        // Twenty sets lie below by chance; a shortfall of two of them is allowed.
        let allowed = least - 2.0 * (0.25 * least * (1.0 - least) / sets as f64).sqrt();
        if held < allowed - if large.is_some() { 0.0 } else { 0.05 } {
            short.push(format!("{}: {held}", case.name));
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}
