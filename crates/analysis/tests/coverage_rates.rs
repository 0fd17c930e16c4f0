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
        case(name, vmax * s0 / (km + s0), false, Box::new(move |t| 0.1 + product(t, s0, vmax, km)))
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

#[test]
fn initial_rates() {
    let sets: u64 = std::env::var("SETS").ok().and_then(|s| s.parse().ok()).unwrap_or(60);
    let points = 61;
    let t: Vec<f64> = (0..points).map(|i| 60.0 * f64::from(i) / 60.0).collect();
    for case in cases() {
        for sd in [0.0005, 0.002, 0.006] {
            let mut noise = Noise(77);
            let (mut held, mut absent, mut sum, mut size) = (0, 0, 0.0, 0.0);
            let mut laws = std::collections::BTreeMap::new();
            for _ in 0..sets {
                let y: Vec<f64> = t.iter().map(|t| (case.course)(*t) + sd * noise.normal()).collect();
                let found = initial_rate(&t, &y, &Preparation::default(), RateWindow::Whole { fewest: 5 });
                let Ok(found) = found else {
                    absent += 1;
                    continue;
                };
                *laws.entry(format!("{:?}/{:?}", found.law, found.shape)).or_insert(0) += 1;
                let (rate, interval, se) = if case.steady {
                    match found.steady {
                        Some(s) => (s.rate, s.interval, s.standard_error),
                        None => {
                            absent += 1;
                            continue;
                        }
                    }
                } else {
                    (found.rate, found.interval, found.standard_error)
                };
                sum += rate / case.truth - 1.0;
                size += se / case.truth;
                held += u64::from(interval.lower.unwrap() <= case.truth && case.truth <= interval.upper.unwrap());
            }
            let given = (sets - absent) as f64;
            println!(
                "{:18} sd {sd}: {:.1} % held of {given}, bias {:.2} %, se {:.2} %; {laws:?}",
                case.name,
                100.0 * held as f64 / given,
                100.0 * sum / given,
                100.0 * size / given
            );
        }
    }
}
