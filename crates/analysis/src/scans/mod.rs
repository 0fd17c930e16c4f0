//! Repeated scans: a spectrum again and again while a reaction runs.

mod global;
mod isosbestic;
mod network;
mod projection;
mod scheme;
mod together;

use serde::{Deserialize, Serialize};

pub use global::{
    Equilibrium, GlobalFit, GlobalRate, Scheme, SpeciesSpectrum, fit_global, fit_global_shifted, fit_network,
    fit_network_shifted, fit_network_with,
};
pub use isosbestic::{Isosbestic, IsosbesticSearch, isosbestic_points, refuse_no_change};
pub use network::Network;
pub use together::{ErringTogether, ScanErrorPattern};

use crate::linear::{Svd, singular_values};
use crate::refusal::{Refusal, require_finite, require_length};

/// Scans over one axis of wavelengths.
#[derive(Clone, Copy, Debug)]
pub struct Scans<'a> {
    /// Wavelengths, strictly rising or strictly falling.
    pub wavelengths: &'a [f64],
    /// Time of each scan, strictly rising.
    pub times: &'a [f64],
    /// Absorbances: one slice for each scan, as long as the wavelengths.
    pub absorbance: &'a [&'a [f64]],
}

/// A trace cut out of scans.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CutTrace {
    /// The wavelength asked for.
    pub wavelength: f64,
    /// Times of the scans.
    pub times: Vec<f64>,
    /// Absorbances.
    pub absorbance: Vec<f64>,
    /// Where the wavelength lies between two measured ones, these; the absorbance is then interpolated on a line.
    pub between: Option<(f64, f64)>,
}

impl Scans<'_> {
    /// Refuses scans that do not belong together.
    fn check(&self) -> Result<(), Refusal> {
        let (m, n) = (self.wavelengths.len(), self.times.len());
        require_finite("wavelength", self.wavelengths)?;
        require_finite("time", self.times)?;
        if self.absorbance.len() != n {
            return Err(Refusal::UnequalLengths {
                what: "the list of scans".into(),
                found: self.absorbance.len(),
                expected: n,
            });
        }
        for (i, scan) in self.absorbance.iter().enumerate() {
            let what = format!("scan {}", i + 1);
            require_length(&what, scan, m)?;
            require_finite(&what, scan)?;
        }
        for i in 1..n {
            if self.times[i] < self.times[i - 1] {
                return Err(Refusal::ReversedTime { index: i });
            }
            if self.times[i] == self.times[i - 1] {
                return Err(Refusal::EqualX {
                    first: i - 1,
                    second: i,
                    value: self.times[i],
                });
            }
        }
        let rising = m > 1 && self.wavelengths[1] > self.wavelengths[0];
        for i in 1..m {
            if self.wavelengths[i] == self.wavelengths[i - 1] {
                return Err(Refusal::EqualX {
                    first: i - 1,
                    second: i,
                    value: self.wavelengths[i],
                });
            }
            if (self.wavelengths[i] > self.wavelengths[i - 1]) != rising {
                return Err(Refusal::Unsuitable {
                    why: format!(
                        "the wavelengths turn round at point {}; one direction is expected",
                        i + 1
                    ),
                });
            }
        }
        for (what, found, needed) in [("scans", n, 2), ("wavelengths", m, 2)] {
            if found < needed {
                return Err(Refusal::TooFewPoints {
                    what: what.into(),
                    found,
                    needed,
                });
            }
        }
        Ok(())
    }

    /// The trace at a wavelength: as measured, or on the line between its neighbours (told in the result).
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] outside the scans; bad data as named there.
    pub fn trace_at(&self, wavelength: f64) -> Result<CutTrace, Refusal> {
        self.check()?;
        let times = self.times.to_vec();
        if let Some(j) = self.wavelengths.iter().position(|w| *w == wavelength) {
            let absorbance = self.absorbance.iter().map(|scan| scan[j]).collect();
            return Ok(CutTrace {
                wavelength,
                times,
                absorbance,
                between: None,
            });
        }
        let inside = |w: &[f64]| (w[0] - wavelength) * (w[1] - wavelength) < 0.0;
        let Some(j) = self.wavelengths.windows(2).position(inside) else {
            let (a, b) = (self.wavelengths[0], self.wavelengths[self.wavelengths.len() - 1]);
            return Err(Refusal::OutOfRange {
                what: "the wavelength".into(),
                value: wavelength,
                allowed: format!("{} to {}", a.min(b), a.max(b)),
            });
        };
        let (a, b) = (self.wavelengths[j], self.wavelengths[j + 1]);
        let share = (wavelength - a) / (b - a);
        let absorbance = self
            .absorbance
            .iter()
            .map(|s| s[j] + share * (s[j + 1] - s[j]))
            .collect();
        Ok(CutTrace {
            wavelength,
            times,
            absorbance,
            between: Some((a, b)),
        })
    }

    /// Every scan less one of them.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] where there is no such scan; bad data as named there.
    pub fn differences(&self, reference: usize) -> Result<Vec<Vec<f64>>, Refusal> {
        self.check()?;
        let Some(base) = self.absorbance.get(reference) else {
            return Err(Refusal::OutOfRange {
                what: "the position of the reference scan".into(),
                value: reference as f64,
                allowed: format!("0 to {}", self.absorbance.len() - 1),
            });
        };
        Ok(self
            .absorbance
            .iter()
            .map(|scan| scan.iter().zip(base.iter()).map(|(a, b)| a - b).collect())
            .collect())
    }

    /// Singular value decomposition with the scans or the wavelengths as columns, whichever are fewer.
    fn decompose(&self) -> (Svd, bool) {
        let by_scan = self.times.len() <= self.wavelengths.len();
        let columns: Vec<Vec<f64>> = if by_scan {
            self.absorbance.iter().map(|s| s.to_vec()).collect()
        } else {
            (0..self.wavelengths.len())
                .map(|j| self.absorbance.iter().map(|s| s[j]).collect())
                .collect()
        };
        (singular_values(&columns), by_scan)
    }
}

/// Singular values and how many of them stand out from the noise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rank {
    /// Singular values, largest first.
    pub values: Vec<f64>,
    /// How many stand out: the number of absorbing species (or independent changes) that the scans show.
    pub rank: usize,
    /// Values above this stand out.
    pub threshold: f64,
    /// Noise of a single reading that the smaller values stand for.
    pub noise: f64,
    /// The rule, in words.
    pub rule: String,
}

/// Singular values of the scans with a rank by a stated rule.
///
/// A value stands out where it exceeds `ω(β)` times the median one, with `β` the ratio of the sides (Gavish and Donoho,
/// IEEE Trans. Inf. Theory 60, 5040, 2014: the best cut for white noise of unknown size), and 10⁻¹² of the largest.
///
/// # Errors
/// Bad data as named there; fewer than four scans or wavelengths, where a median says nothing of the noise.
pub fn rank(scans: &Scans<'_>) -> Result<Rank, Refusal> {
    scans.check()?;
    let (n, m) = (scans.times.len(), scans.wavelengths.len());
    let short = n.min(m);
    if short < 4 {
        return Err(Refusal::TooFewPoints {
            what: if n < m {
                "scans".into()
            } else {
                "wavelengths".into()
            },
            found: short,
            needed: 4,
        });
    }
    let (svd, _) = scans.decompose();
    let judged = judge(&svd.values, n, m);
    Ok(Rank {
        rank: judged.rank,
        threshold: judged.threshold,
        noise: judged.noise,
        rule: format!(
            "a singular value counts where it exceeds {:.3} times the median one",
            judged.omega
        ),
        values: svd.values,
    })
}

/// How many singular values of an `n` by `m` matrix stand out, and the noise that the others stand for.
struct RankFound {
    rank: usize,
    threshold: f64,
    noise: f64,
    omega: f64,
}

fn judge(values: &[f64], n: usize, m: usize) -> RankFound {
    let (short, long) = (values.len(), n.max(m));
    let beta = short as f64 / long as f64;
    let omega = 0.56 * beta.powi(3) - 0.95 * beta * beta + 1.82 * beta + 1.43;
    let median = if short % 2 == 1 {
        values[short / 2]
    } else {
        0.5 * (values[short / 2 - 1] + values[short / 2])
    };
    let threshold = (omega * median).max(1e-12 * values[0]);
    let rank = values.iter().filter(|v| **v > threshold).count();
    let rest: f64 = values[rank..].iter().map(|v| v * v).sum();
    let freedom = ((n - rank) * (m - rank)) as f64;
    let noise = if freedom > 0.0 {
        (rest / freedom).sqrt()
    } else {
        0.0
    };
    RankFound {
        rank,
        threshold,
        noise,
        omega,
    }
}
