//! What gives the concentrations over time: schemes that come with the program, and those of a person's own.

use super::Network;
use super::global::Scheme;
use super::network::SchemeCourse;
use crate::models::grid::geometric;
use crate::refusal::Refusal;

/// Concentration profiles (one column for each species) and their derivatives by each rate constant.
pub(super) struct Profiles {
    pub(super) species: Vec<Vec<f64>>,
    pub(super) slopes: Vec<Vec<Vec<f64>>>,
}

/// `(e^u - 1)/u` and its derivative.
fn ratio(u: f64) -> (f64, f64) {
    if u.abs() < 0.03 {
        let mean = 1.0 + u * (0.5 + u * (1.0 / 6.0 + u * (1.0 / 24.0 + u * (1.0 / 120.0 + u / 720.0))));
        let slope =
            0.5 + u * (1.0 / 3.0 + u * (1.0 / 8.0 + u * (1.0 / 30.0 + u * (1.0 / 144.0 + u / 840.0))));
        return (mean, slope);
    }
    let mean = u.exp_m1() / u;
    (mean, (u.exp() - mean) / u)
}

fn profiles(scheme: Scheme, times: &[f64], k: &[f64]) -> Profiles {
    let n = times.len();
    match scheme {
        Scheme::FirstOrder => {
            let a: Vec<f64> = times.iter().map(|t| (-k[0] * t).exp()).collect();
            let slope: Vec<f64> = a.iter().zip(times).map(|(a, t)| -t * a).collect();
            let b = a.iter().map(|a| 1.0 - a).collect();
            let minus = slope.iter().map(|s| -s).collect();
            Profiles {
                species: vec![a, b],
                slopes: vec![vec![slope, minus]],
            }
        }
        Scheme::Consecutive => {
            let mut species = vec![vec![0.0; n]; 3];
            let mut slopes = vec![vec![vec![0.0; n]; 3]; 2];
            for (i, t) in times.iter().enumerate() {
                let (fast, slow) = (k[0].max(k[1]), k[0].min(k[1]));
                let a = (-k[0] * t).exp();
                let base = (-slow * t).exp();
                let (mean, first) = ratio(-(fast - slow) * t);
                let h = t * base * mean;
                let by_fast = -t * t * base * first;
                let by_slow = -t * t * base * (mean - first);
                let (by_1, by_2) = if k[0] < k[1] {
                    (by_slow, by_fast)
                } else {
                    (by_fast, by_slow)
                };
                let b = k[0] * h;
                species[0][i] = a;
                species[1][i] = b;
                species[2][i] = 1.0 - a - b;
                slopes[0][0][i] = -t * a;
                slopes[0][1][i] = h + k[0] * by_1;
                slopes[0][2][i] = t * a - slopes[0][1][i];
                slopes[1][1][i] = k[0] * by_2;
                slopes[1][2][i] = -slopes[1][1][i];
            }
            Profiles { species, slopes }
        }
    }
}

/// What gives the concentrations: a scheme that comes with the program, or one of a person's own.
pub(super) enum SchemeModel<'a> {
    Known(Scheme),
    /// Also the equilibria at its ends that are known: from, to, and the constant.
    Own(&'a Network, &'a [(usize, usize, f64)]),
}

impl SchemeModel<'_> {
    pub(super) fn profiles(&self, times: &[f64], k: &[f64]) -> Option<Profiles> {
        match self {
            Self::Known(scheme) => Some(profiles(*scheme, times, k)),
            Self::Own(network, _) => {
                let SchemeCourse { species, slopes } = network.follow(times, k)?;
                Some(Profiles { species, slopes })
            }
        }
    }

    pub(super) fn species(&self) -> Vec<String> {
        match self {
            Self::Known(Scheme::FirstOrder) => vec!["A".into(), "B".into()],
            Self::Known(Scheme::Consecutive) => vec!["A".into(), "B".into(), "C".into()],
            Self::Own(network, _) => network.species.clone(),
        }
    }

    /// Equilibria that part the spectrum of a mixture into those of its species.
    pub(super) fn equilibria(&self) -> &[(usize, usize, f64)] {
        match self {
            Self::Known(_) => &[],
            Self::Own(_, known) => known,
        }
    }

    /// What is said where no rate constants settle.
    pub(super) fn lost(&self, iterations: usize) -> Refusal {
        match self {
            Self::Own(network, _) => network.undetermined(),
            Self::Known(_) => Refusal::NotConverged {
                how: "the rate constants did not settle; the scans may not follow this scheme".into(),
                iterations,
            },
        }
    }

    pub(super) fn constants(&self) -> Vec<String> {
        match self {
            Self::Known(Scheme::FirstOrder) => vec!["k".into()],
            Self::Known(Scheme::Consecutive) => vec!["k1".into(), "k2".into()],
            Self::Own(network, _) => network.steps.iter().map(|step| step.2.clone()).collect(),
        }
    }

    /// Rate constants to begin from, over what scans of such a length can show.
    pub(super) fn candidates(&self, span: f64, scans: usize) -> Vec<Vec<f64>> {
        let fine = geometric(0.05 / span, scans as f64 / span, 14);
        match self {
            Self::Known(Scheme::FirstOrder) => fine.iter().map(|k| vec![*k]).collect(),
            Self::Known(Scheme::Consecutive) => fine
                .iter()
                .enumerate()
                .flat_map(|(i, fast)| fine[..i].iter().map(move |slow| vec![*fast, *slow]))
                .collect(),
            Self::Own(network, _) => {
                let each = match network.steps.len() {
                    1 => 14,
                    2 => 9,
                    3 => 6,
                    _ => 4,
                };
                let grid = geometric(0.1 / span, scans as f64 / span, each);
                let mut all: Vec<Vec<f64>> = vec![Vec::new()];
                for place in 0..network.steps.len() {
                    all = all
                        .iter()
                        .flat_map(|begun| {
                            grid.iter().map(move |k| {
                                let mut next = begun.clone();
                                // Equal constants in a row make concentrations that cannot be told apart.
                                next.push(k * (1.0 + 0.07 * place as f64));
                                next
                            })
                        })
                        .collect();
                }
                all
            }
        }
    }
}
