//! Repeated scans made from known spectra and rate constants.

#![allow(clippy::unwrap_used, clippy::print_stdout)]

use curvary_analysis::scans::{
    Network, Scans, Scheme, fit_global, fit_global_shifted, fit_network, fit_network_shifted,
    isosbestic_points, rank,
};

struct Noise(u64);

impl Noise {
    fn normal(&mut self) -> f64 {
        let mut uniform = || {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
        };
        (-2.0 * uniform().ln()).sqrt() * (2.0 * std::f64::consts::PI * uniform()).cos()
    }
}

fn band(w: f64, centre: f64, width: f64, height: f64) -> f64 {
    height * (-((w - centre) / width).powi(2)).exp()
}

struct Made {
    wavelengths: Vec<f64>,
    times: Vec<f64>,
    scans: Vec<Vec<f64>>,
}

impl Made {
    fn new(k: &[f64], sd: f64, scans: usize) -> Self {
        let wavelengths: Vec<f64> = (0..121).map(|i| 300.0 + f64::from(i)).collect();
        let times: Vec<f64> = (0..scans).map(|i| i as f64 * 60.0 / scans as f64).collect();
        let mut noise = Noise(77);
        let rows = times
            .iter()
            .map(|t| {
                let a = (-k[0] * t).exp();
                let b = if k.len() > 1 {
                    k[0] / (k[1] - k[0]) * ((-k[0] * t).exp() - (-k[1] * t).exp())
                } else {
                    1.0 - a
                };
                let c = 1.0 - a - b;
                wavelengths
                    .iter()
                    .map(|w| {
                        a * band(*w, 340.0, 18.0, 1.0)
                            + b * band(*w, 385.0, 20.0, 0.8)
                            + c * band(*w, 360.0, 25.0, 0.5)
                            + sd * noise.normal()
                    })
                    .collect()
            })
            .collect();
        Self {
            wavelengths,
            times,
            scans: rows,
        }
    }

    fn with<T>(&self, f: impl FnOnce(&Scans<'_>) -> T) -> T {
        let rows: Vec<&[f64]> = self.scans.iter().map(Vec::as_slice).collect();
        f(&Scans {
            wavelengths: &self.wavelengths,
            times: &self.times,
            absorbance: &rows,
        })
    }
}

#[test]
fn traces_and_differences() {
    let made = Made::new(&[0.1], 0.0, 20);
    made.with(|s| {
        let on = s.trace_at(340.0).unwrap();
        assert_eq!(on.absorbance[0], made.scans[0][40]);
        assert!(on.between.is_none());
        let off = s.trace_at(340.25).unwrap();
        assert_eq!(off.between, Some((340.0, 341.0)));
        assert!((off.absorbance[3] - (0.75 * made.scans[3][40] + 0.25 * made.scans[3][41])).abs() < 1e-15);
        assert_eq!(s.trace_at(500.0).unwrap_err().code(), "out-of-range");
        assert_eq!(
            s.differences(0).unwrap()[0].iter().filter(|v| **v != 0.0).count(),
            0
        );
    });
}

#[test]
fn the_isosbestic_point_is_found_where_the_spectra_cross() {
    // Where 1.0 exp(-((w-340)/18)^2) = 0.8 exp(-((w-385)/20)^2), by bisection.
    let (mut low, mut high) = (340.0, 385.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if band(middle, 340.0, 18.0, 1.0) > band(middle, 385.0, 20.0, 0.8) {
            low = middle
        } else {
            high = middle
        }
    }
    let made = Made::new(&[0.08], 5e-4, 30);
    made.with(|s| {
        let found = isosbestic_points(s).unwrap();
        println!("{found:?}");
        assert_eq!(found.points.len(), 1, "{found:?}");
        let point = found.points[0];
        assert!((point.wavelength - low).abs() < 0.05, "{point:?} against {low}");
        assert!(point.standard_error > 0.0 && point.standard_error < 0.1);
    });
    // With an intermediate that absorbs there is none, and that is said.
    let made = Made::new(&[0.2, 0.05], 5e-4, 30);
    made.with(|s| {
        let found = isosbestic_points(s).unwrap();
        assert!(found.points.is_empty() && !found.rejected.is_empty(), "{found:?}");
        assert!(found.verdict.contains("none found"));
    });
}

#[test]
fn the_rank_counts_the_species() {
    for (k, species) in [(vec![0.1], 2), (vec![0.2, 0.05], 3)] {
        Made::new(&k, 5e-4, 40).with(|s| {
            let found = rank(s).unwrap();
            assert_eq!(found.rank, species, "{:?}", &found.values[..6]);
            assert!((found.noise / 5e-4 - 1.0).abs() < 0.1, "{}", found.noise);
        });
        // Without noise the values beyond are rounding.
        Made::new(&k, 0.0, 40).with(|s| assert_eq!(rank(s).unwrap().rank, species));
    }
}

#[test]
fn global_fits_give_rates_and_spectra() {
    Made::new(&[0.08], 5e-4, 40).with(|s| {
        let found = fit_global(s, Scheme::FirstOrder).unwrap();
        let k = &found.rates[0];
        assert!((k.value - 0.08).abs() < 4.0 * k.standard_error, "{k:?}");
        assert!(k.standard_error < 1e-4);
        assert!((found.residual_sd / 5e-4 - 1.0).abs() < 0.05);
        let b = &found.spectra[1];
        assert!((b.absorbance[85] - 0.8).abs() < 4.0 * b.standard_error[85] + 1e-3);
    });
    Made::new(&[0.25, 0.05], 5e-4, 60).with(|s| {
        let found = fit_global(s, Scheme::Consecutive).unwrap();
        for (rate, truth) in found.rates.iter().zip([0.25, 0.05]) {
            assert!((rate.value - truth).abs() < 4.0 * rate.standard_error, "{rate:?}");
        }
        // B absorbs 0.8 at 385 nm; with the rates interchanged it would have to absorb something else.
        let b = &found.spectra[1];
        assert!((b.absorbance[85] - 0.8).abs() < 4.0 * b.standard_error[85] + 1e-3);
        let other = found.other_intermediate.as_ref().unwrap();
        assert!((other.absorbance[85] - 0.8).abs() > 0.1);
    });
    // Without noise: all digits; more scans than wavelengths; rates that were given in the other order come sorted.
    Made::new(&[0.05, 0.25], 0.0, 150).with(|s| {
        let found = fit_global(s, Scheme::Consecutive).unwrap();
        assert!((found.rates[0].value - 0.25).abs() < 1e-8 && (found.rates[1].value - 0.05).abs() < 1e-8);
    });
}

/// A scheme of one's own is the built-in one where they are the same, to the digits of the minimum.
#[test]
fn own_schemes_give_the_same_and_say_what_they_cannot_tell() {
    Made::new(&[0.25, 0.05], 5e-4, 60).with(|s| {
        let known = fit_global(s, Scheme::Consecutive).unwrap();
        let own = fit_network(s, &Network::parse("A->B, B->C").unwrap()).unwrap();
        assert!((own.residual_sum_of_squares / known.residual_sum_of_squares - 1.0).abs() < 1e-9);
        let mut found: Vec<f64> = own.rates.iter().map(|rate| rate.value).collect();
        found.sort_by(|a, b| b.total_cmp(a));
        for (found, known) in found.iter().zip(&known.rates) {
            assert!((found / known.value - 1.0).abs() < 1e-7, "{found} {known:?}");
        }
        assert!(!own.remarks.is_empty());
        for i in 0..own.concentrations[0].1.len() {
            let sum: f64 = own.concentrations.iter().map(|species| species.1[i]).sum();
            assert!((sum - 1.0).abs() < 1e-12);
        }
    });
    // What is first there and goes back again cannot be told.
    Made::new(&[0.25, 0.05], 5e-4, 60).with(|s| {
        let refused = fit_network(s, &Network::parse("A<->B, B->C").unwrap()).unwrap_err();
        assert_eq!(refused.code(), "unsuitable");
    });
}

/// Scans of `A<->B` and of `A->B, B<->C` by their closed forms: the sum of the constants of the reversible step to all digits, and the
/// spectrum of the mixture at its end.
#[test]
fn of_a_reversible_step_the_sum_is_found() {
    let (forth, back, k1) = (0.05, 0.03, 0.31);
    let sum: f64 = forth + back;
    let times: Vec<f64> = (0..40).map(|i| 2.5 * f64::from(i)).collect();
    let wavelengths: Vec<f64> = (0..30).map(|i| 400.0 + 5.0 * f64::from(i)).collect();
    let band = |w: f64, at: f64, height: f64| height * (-((w - at) / 25.0).powi(2)).exp();
    let spectra = |w: f64| [band(w, 420.0, 0.9), band(w, 470.0, 0.7), band(w, 520.0, 0.5)];
    // Of what takes part in the reversible step, the share that has gone on.
    let alone = |t: f64| forth / sum * (1.0 - (-sum * t).exp());
    let chain = |t: f64| {
        let made = |k: f64| (1.0 - (-k * t).exp()) / k;
        // C' = forth (1 - A) - sum C
        forth * (made(sum) - ((-k1 * t).exp() - (-sum * t).exp()) / (sum - k1))
    };
    let (single, end) = (
        Network::parse("A<->B").unwrap(),
        Network::parse("A->B, B<->C").unwrap(),
    );
    for (network, parts, names) in [
        (
            &single,
            Box::new(|t: f64| [1.0 - alone(t), alone(t), 0.0]) as Box<dyn Fn(f64) -> [f64; 3]>,
            vec!["k1 + k-1"],
        ),
        (
            &end,
            Box::new(|t: f64| {
                let a = (-k1 * t).exp();
                [a, 1.0 - a - chain(t), chain(t)]
            }),
            vec!["k1", "k2 + k-2"],
        ),
    ] {
        let rows: Vec<Vec<f64>> = times
            .iter()
            .map(|t| {
                let parts = parts(*t);
                let one = |w: &f64| spectra(*w).iter().zip(parts).map(|(e, c)| e * c).sum();
                wavelengths.iter().map(one).collect()
            })
            .collect();
        let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
        let scans = Scans {
            wavelengths: &wavelengths,
            times: &times,
            absorbance: &rows,
        };
        let found = fit_network(&scans, network).unwrap();
        let named: Vec<&str> = found.rates.iter().map(|rate| rate.name.as_str()).collect();
        assert_eq!(named, names);
        let last = found.rates.last().unwrap();
        let found_sum = if names.len() == 2 {
            found
                .rates
                .iter()
                .map(|rate| rate.value)
                .fold(f64::INFINITY, f64::min)
        } else {
            last.value
        };
        assert!((found_sum / sum - 1.0).abs() < 1e-8, "{found_sum}");
        assert!(
            found
                .remarks
                .iter()
                .any(|said| said.contains("the sum") && said.contains("k-")),
            "{:?}",
            found.remarks
        );
        let mixture = found.spectra.last().unwrap();
        assert!(mixture.species.contains("at equilibrium"));
        for (w, a) in wavelengths.iter().zip(&mixture.absorbance) {
            let [first, second, third] = spectra(*w);
            let (before, behind) = if names.len() == 2 {
                (second, third)
            } else {
                (first, second)
            };
            let wanted = (back * before + forth * behind) / sum;
            assert!((a - wanted).abs() < 1e-6, "{w}: {a} for {wanted}");
        }
    }
}

#[test]
fn bad_scans_are_refused() {
    let made = Made::new(&[0.1], 0.0, 10);
    let rows: Vec<&[f64]> = made.scans.iter().map(Vec::as_slice).collect();
    let code = |wavelengths: &[f64], times: &[f64], rows: &[&[f64]]| {
        fit_global(
            &Scans {
                wavelengths,
                times,
                absorbance: rows,
            },
            Scheme::FirstOrder,
        )
        .unwrap_err()
        .code()
    };
    let mut reversed = made.times.clone();
    reversed.reverse();
    assert_eq!(code(&made.wavelengths, &reversed, &rows), "reversed-time");
    assert_eq!(
        code(&made.wavelengths, &made.times[..9], &rows),
        "unequal-lengths"
    );
    assert_eq!(
        code(&made.wavelengths, &made.times[..3], &rows[..3]),
        "too-few-points"
    );
    let same = vec![rows[0]; 10];
    assert_eq!(code(&made.wavelengths, &made.times, &same), "constant-signal");
    let mut turned = made.wavelengths.clone();
    turned.swap(3, 4);
    assert_eq!(code(&turned, &made.times, &rows), "unsuitable");
    let mut broken = made.scans.clone();
    broken[2][7] = f64::NAN;
    let rows: Vec<&[f64]> = broken.iter().map(Vec::as_slice).collect();
    assert_eq!(code(&made.wavelengths, &made.times, &rows), "not-finite");
}

/// Scans that are shifted as a whole: with a shift of each the interval of the rate constant holds and is many times narrower, and
/// the shifts are found.
#[test]
fn shifted_scans_are_fitted_with_their_shifts() {
    let mut held = 0;
    const SETS: u64 = 40;
    for seed in 0..SETS {
        let mut made = Made::new(&[0.08], 0.0, 40);
        let mut noise = Noise(1000 + seed);
        let shifts: Vec<f64> = (0..40).map(|_| 0.005 * noise.normal()).collect();
        for (scan, shift) in made.scans.iter_mut().zip(&shifts) {
            for value in scan.iter_mut() {
                *value += shift + 5e-4 * noise.normal();
            }
        }
        made.with(|s| {
            let holds = |rate: &curvary_analysis::scans::GlobalRate| {
                u64::from(rate.interval.lower.unwrap() <= 0.08 && 0.08 <= rate.interval.upper.unwrap())
            };
            let without = fit_global(s, Scheme::FirstOrder).unwrap();
            let found = fit_global_shifted(s, Scheme::FirstOrder).unwrap();
            held += holds(&found.rates[0]);
            assert!(found.rates[0].standard_error < 0.3 * without.rates[0].standard_error);
            assert!(
                (found.residual_sd / 5e-4 - 1.0).abs() < 0.1,
                "{}",
                found.residual_sd
            );
            assert!(!found.lack_of_fit, "{}", found.along_time);
            // What is found is the shift less its part along the concentrations.
            let own = found.shifts.unwrap();
            let mean = shifts.iter().sum::<f64>() / 40.0;
            let both: f64 = own.iter().zip(&shifts).map(|(a, b)| a * (b - mean)).sum();
            let squares = |v: &[f64], m: f64| v.iter().map(|v| (v - m) * (v - m)).sum::<f64>();
            assert!(both / (squares(&own, 0.0) * squares(&shifts, mean)).sqrt() > 0.9);
            if seed == 0 {
                let network = fit_network_shifted(s, &Network::parse("A->B").unwrap()).unwrap();
                assert!((network.rates[0].value / found.rates[0].value - 1.0).abs() < 1e-8);
            }
        });
    }
    assert!(held >= SETS * 85 / 100, "{held} of {SETS}");
}

/// Scans of a solution in which nothing happens have no isosbestic point and no rate constant.
#[test]
fn scans_that_differ_by_noise_alone_say_nothing() {
    use curvary_analysis::scans::refuse_no_change;
    for seed in 0..20 {
        let mut noise = Noise(1000 + seed);
        let wavelengths: Vec<f64> = (0..61).map(|i| 350.0 + 5.0 * f64::from(i)).collect();
        let times: Vec<f64> = (0..31).map(|i| 10.0 * f64::from(i)).collect();
        let rows: Vec<Vec<f64>> = times
            .iter()
            .map(|_| {
                let mut at = |w: &f64| band(*w, 500.0, 40.0, 0.8) + 0.001 * noise.normal();
                wavelengths.iter().map(&mut at).collect()
            })
            .collect();
        let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
        let scans = Scans {
            wavelengths: &wavelengths,
            times: &times,
            absorbance: &rows,
        };
        assert_eq!(refuse_no_change(&scans, false).unwrap_err().code(), "unsuitable");
        assert_eq!(isosbestic_points(&scans).unwrap_err().code(), "unsuitable");
    }
    for (k, scans) in [
        (vec![0.05], 5),
        (vec![0.05], 40),
        (vec![0.2, 0.03], 4),
        (vec![0.2, 0.03], 30),
    ] {
        let made = Made::new(&k, 0.001, scans);
        let rows: Vec<&[f64]> = made.scans.iter().map(Vec::as_slice).collect();
        let scans = Scans {
            wavelengths: &made.wavelengths,
            times: &made.times,
            absorbance: &rows,
        };
        refuse_no_change(&scans, false).unwrap();
    }
}

/// A known equilibrium constant parts the sum of the two constants, and the spectrum of the mixture; without it the spectra say how
/// small it may be. Truth: k1 0.03, k-1 0.01 (K = 3), spectra of Gauss.
#[test]
fn a_known_equilibrium_constant_gives_both_constants_and_the_spectrum() {
    use curvary_analysis::scans::{Equilibrium, Network, fit_network, fit_network_with};
    let wavelengths: Vec<f64> = (0..61).map(|i| 400.0 + 5.0 * f64::from(i)).collect();
    let times: Vec<f64> = (0..41).map(|i| 5.0 * f64::from(i)).collect();
    let gauss = |x: f64, at: f64| (-0.5 * ((x - at) / 30.0).powi(2)).exp();
    let of_a: Vec<f64> = wavelengths.iter().map(|x| 0.9 * gauss(*x, 480.0)).collect();
    let of_b: Vec<f64> = wavelengths.iter().map(|x| 0.6 * gauss(*x, 620.0)).collect();
    let mut noise = 12345_u64;
    let mut draw = || {
        noise = noise
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        1e-3 * ((noise >> 11) as f64 / 9_007_199_254_740_992.0 - 0.5) * 12f64.sqrt()
    };
    let rows: Vec<Vec<f64>> = times
        .iter()
        .map(|t| {
            let a = (1.0 + 3.0 * (-0.04 * t).exp()) / 4.0;
            of_a.iter()
                .zip(&of_b)
                .map(|(of_a, of_b)| a * of_a + (1.0 - a) * of_b + draw())
                .collect()
        })
        .collect();
    let absorbance: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
    let scans = Scans {
        wavelengths: &wavelengths,
        times: &times,
        absorbance: &absorbance,
    };
    let network = Network::parse("A<->B").unwrap();
    let unknown = fit_network(&scans, &network).unwrap();
    let (name, least) = &unknown.least_equilibria[0];
    // Where B does not absorb, A goes down to a quarter of itself: nothing below 3 leaves no absorbance negative.
    assert!(name == "K1" && (2.5..3.0).contains(least), "{name} {least}");
    assert!(
        unknown.remarks[0].contains("--hold K1=VALUE"),
        "{:?}",
        unknown.remarks
    );
    let known = [Equilibrium {
        name: "K1".into(),
        value: 3.0,
        standard_error: 0.3,
    }];
    let found = fit_network_with(&scans, &network, &known, false).unwrap();
    for (name, truth) in [("k1 + k-1", 0.04), ("k1", 0.03), ("k-1", 0.01)] {
        let rate = found.rates.iter().find(|rate| rate.name == name).unwrap();
        assert!(
            (rate.value - truth).abs() < 4.0 * rate.standard_error && rate.standard_error < 0.1 * truth,
            "{name}: {rate:?}"
        );
    }
    // d k1 = s dK/(1 + K)², of K's own error alone.
    let k1 = found.rates.iter().find(|rate| rate.name == "k1").unwrap();
    assert!(
        (k1.standard_error - 0.04 * 0.3 / 16.0).abs() < 1e-4 * 0.04,
        "{k1:?}"
    );
    assert_eq!(found.spectra[1].species, "B");
    for ((a, e), truth) in found.spectra[1]
        .absorbance
        .iter()
        .zip(&found.spectra[1].standard_error)
        .zip(&of_b)
    {
        assert!((a - truth).abs() < 5.0 * e, "{a} {truth} {e}");
    }
    let last = |place: usize| found.concentrations[place].1[times.len() - 1];
    assert!((last(0) - 0.25).abs() < 1e-3 && (last(1) - 0.75).abs() < 1e-3);
    let small = [Equilibrium {
        value: 0.5,
        ..known[0].clone()
    }];
    let odd = fit_network_with(&scans, &network, &small, false).unwrap();
    assert!(odd.remarks[0].contains("below zero"), "{:?}", odd.remarks);
    let lost = [Equilibrium {
        name: "K2".into(),
        ..known[0].clone()
    }];
    assert!(fit_network_with(&scans, &network, &lost, false).is_err());
}

/// `A <-> B` runs by one exponential with the sum of its constants: a scheme without the way back finds that sum, and says that it may be one.
#[test]
fn constants_that_may_be_sums_are_told() {
    let made = Made::new(&[0.1], 0.001, 30);
    let rows: Vec<&[f64]> = made.scans.iter().map(Vec::as_slice).collect();
    let scans = Scans {
        wavelengths: &made.wavelengths,
        times: &made.times,
        absorbance: &rows,
    };
    let said = |remarks: &[String], words: &str| remarks.iter().any(|remark| remark.contains(words));
    let first = fit_global(&scans, Scheme::FirstOrder).unwrap();
    assert!(
        said(&first.remarks, "k is the sum of the constants of both directions"),
        "{:?}",
        first.remarks
    );
    let back = fit_network(&scans, &Network::parse("A<->B").unwrap()).unwrap();
    assert!(
        !said(&back.remarks, "scans alone do not tell"),
        "{:?}",
        back.remarks
    );
}
