//! Coverage of Vmax and Km where all rates have one blank in common.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

mod noise;

use curvary_analysis::fit::{Data, Options, add_common_errors, fit};
use curvary_analysis::models::law::Law;
use noise::Noise;

/// How often the interval holds the truth without and with the blank's error, which is `blank` times that of a rate.
fn held(blank: f64, sets: usize, seed: u64) -> [[f64; 2]; 2] {
    let law = Law::named("michaelis-menten").unwrap();
    let s = [0.1, 0.2, 0.35, 0.6, 1.0, 1.7, 2.8, 4.5];
    let truth = [1.0, 0.8];
    let sd = 0.015;
    let mut noise = Noise(seed);
    let mut counts = [[0.0; 2]; 2];
    for _ in 0..sets {
        let common = blank * sd * noise.normal();
        let v: Vec<f64> = s
            .iter()
            .map(|s| truth[0] * s / (truth[1] + s) + sd * noise.normal() + common)
            .collect();
        let mut found = fit(law, &Data::new(&[&s], &v), &Options::default()).unwrap();
        for counts in &mut counts {
            for (j, truth) in truth.iter().enumerate() {
                let own = found.parameters[j].interval.unwrap();
                if own.lower.unwrap() <= *truth && *truth <= own.upper.unwrap() {
                    counts[j] += 1.0 / sets as f64;
                }
            }
            let shares =
                add_common_errors(law, &[&s], None, &[vec![blank * sd; s.len()]], &mut found).unwrap();
            assert!(shares.iter().all(|share| (0.0..1.0).contains(share)));
        }
    }
    counts
}

#[test]
fn a_common_blank_is_in_the_errors() {
    let sets = std::env::var("SETS")
        .ok()
        .and_then(|sets| sets.parse().ok())
        .unwrap_or(400);
    for (blank, seed) in [(0.3, 3), (1.0, 5), (3.0, 7)] {
        let [without, with] = held(blank, sets, seed);
        println!("blank {blank} of a rate's error: without {without:.3?}, with {with:.3?}");
        let spread = 3.0 * (0.05 * 0.95 / sets as f64).sqrt();
        for share in with {
            assert!(share > 0.95 - spread - 0.005, "{blank}: {with:?}");
        }
        if blank >= 3.0 {
            assert!(without[1] < 0.85, "the simulation shows nothing: {without:?}");
        }
    }
}
