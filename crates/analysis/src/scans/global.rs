//! One reaction scheme fitted to every wavelength at once.
//!
//! At given rate constants the spectra of the species follow by linear least squares; only the rate constants are
//! searched for (variable projection, Golub and Pereyra, with Kaufman's Jacobian). The scans are first turned into the
//! coordinates of their singular vectors, which changes no sum of squares and shortens every column.

use serde::{Deserialize, Serialize};

use super::network::ReturningEnd;
use super::projection::{ProjectedProblem, Settled, along_time, project, settle};
use super::scheme::SchemeModel;
use super::together::{ErringTogether, RateErrors, allow_for_unequal_scatter, erring_together};
use super::{Network, Scans};
use crate::distribution::t_half_width;
use crate::fit::FitInterval;
use crate::fit::solver::{free_of, product, sum_of_squares};
use crate::refusal::Refusal;

/// The reaction scheme. Concentrations are relative: the first species starts at one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scheme {
    /// A→B.
    FirstOrder,
    /// A→B→C.
    Consecutive,
}

/// A rate constant of a global fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlobalRate {
    /// Name.
    pub name: String,
    /// Value, per unit of time.
    pub value: f64,
    /// Standard error.
    pub standard_error: f64,
    /// 95 % interval by Student's t.
    pub interval: FitInterval,
}

/// The spectrum of a species at the total concentration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpeciesSpectrum {
    /// Name of the species.
    pub species: String,
    /// Absorbance at each wavelength.
    pub absorbance: Vec<f64>,
    /// Standard error at each wavelength, for the rate constants found.
    pub standard_error: Vec<f64>,
}

/// The result of a global fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlobalFit {
    /// The rate constants; for A→B→C the faster one first.
    pub rates: Vec<GlobalRate>,
    /// Correlation of the two rate constants; absent for one, and for more than two.
    pub correlation: Option<f64>,
    /// Spectra of the species.
    pub spectra: Vec<SpeciesSpectrum>,
    /// Concentration of each species at the time of each scan; the first one starts at one.
    pub concentrations: Vec<(String, Vec<f64>)>,
    /// For A→B→C: the spectrum of B if the slower step came first. It fits equally well; only chemistry can choose.
    pub other_intermediate: Option<SpeciesSpectrum>,
    /// By how much each scan is shifted as a whole, where that was allowed; the part of the shifts that runs along with a
    /// concentration cannot be told from the spectra, and is in these.
    pub shifts: Option<Vec<f64>>,
    /// Whether the readings of a scan err together, and how; where no shifts were allowed, the errors of the rate constants allow for shifts.
    pub together: Option<ErringTogether>,
    /// By how much the error of a rate constant had to grow since some readings scatter more than others; 1 where none had to.
    pub unequal_scatter: f64,
    /// Residual standard deviation of a reading.
    pub residual_sd: f64,
    /// Correlation of residuals that follow each other in time, over all wavelengths: near zero where the scheme describes
    /// the scans.
    pub along_time: f64,
    /// Whether it is larger than noise makes it.
    pub lack_of_fit: bool,
    /// Sum of squares over all readings.
    pub residual_sum_of_squares: f64,
    /// Readings less spectra and rate constants.
    pub degrees_of_freedom: usize,
    /// Iterations of the search.
    pub iterations: usize,
    /// Equilibrium constants of reversible steps at an end that scans do not determine, with the smallest value of each that leaves no
    /// absorbance negative.
    pub least_equilibria: Vec<(String, f64)>,
    /// Remarks in words.
    pub remarks: Vec<String>,
}

/// Fits a scheme to scans. Times count from the beginning of the reaction.
///
/// # Errors
/// Bad data as named there; too few scans; [`Refusal::NotConverged`] where no rate constants settle;
/// [`Refusal::ConstantSignal`] where nothing changes.
pub fn fit_global(scans: &Scans<'_>, scheme: Scheme) -> Result<GlobalFit, Refusal> {
    fit_shape(scans, &SchemeModel::Known(scheme), false)
}

/// The same where each scan may be shifted as a whole, by the same absorbance at all wavelengths: a cell that moved, a lamp that
/// breathed.
///
/// # Errors
/// As [`fit_global`]; [`Refusal::TooFewPoints`] at a single wavelength.
pub fn fit_global_shifted(scans: &Scans<'_>, scheme: Scheme) -> Result<GlobalFit, Refusal> {
    fit_shape(scans, &SchemeModel::Known(scheme), true)
}

/// Fits a person's own scheme to scans. Times count from the beginning of the reaction, and rise.
///
/// # Errors
/// As [`fit_global`]; [`Refusal::Unsuitable`] for a scheme whose rate constants scans do not determine. Of a reversible step at
/// the end of a scheme they determine the sum of its constants, which is given as such.
pub fn fit_network(scans: &Scans<'_>, network: &Network) -> Result<GlobalFit, Refusal> {
    fit_network_with(scans, network, &[], false)
}

/// The same where each scan may be shifted as a whole; see [`fit_global_shifted`].
///
/// # Errors
/// As [`fit_network`] and [`fit_global_shifted`].
pub fn fit_network_shifted(scans: &Scans<'_>, network: &Network) -> Result<GlobalFit, Refusal> {
    fit_network_with(scans, network, &[], true)
}

/// An equilibrium constant of a reversible step at the end of a scheme, known from elsewhere.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Equilibrium {
    /// `K1` for the first step.
    pub name: String,
    /// What there is of the second species over what there is of the first, in the end.
    pub value: f64,
    /// Its standard error; zero if it counts as exact.
    #[serde(default)]
    pub standard_error: f64,
}

/// The same with equilibrium constants that are known: both constants of such a step and the spectra of both its species follow
/// from them.
///
/// # Errors
/// As [`fit_network`] and [`fit_network_shifted`]; [`Refusal::Unsuitable`] for a constant of no such step,
/// [`Refusal::OutOfRange`] for one that is not positive.
pub fn fit_network_with(
    scans: &Scans<'_>,
    network: &Network,
    known: &[Equilibrium],
    shifted: bool,
) -> Result<GlobalFit, Refusal> {
    let (network, ends) = network.without_ends_that_return();
    let mut parted = Vec::new();
    for equilibrium in known {
        let Some(end) = ends.iter().find(|end| end.equilibrium() == equilibrium.name) else {
            let names: Vec<String> = ends.iter().map(ReturningEnd::equilibrium).collect();
            return Err(Refusal::Unsuitable {
                why: format!(
                    "{} is no equilibrium constant of a reversible step at an end of this scheme: {}",
                    equilibrium.name,
                    if names.is_empty() {
                        "it has none".to_owned()
                    } else {
                        format!("it has {}", names.join(", "))
                    }
                ),
            });
        };
        if !(equilibrium.value > 0.0 && equilibrium.value.is_finite()) {
            return Err(Refusal::OutOfRange {
                what: equilibrium.name.clone(),
                value: equilibrium.value,
                allowed: "above zero".into(),
            });
        }
        parted.push((end.from, end.to, equilibrium.value));
    }
    let mut found = fit_shape(scans, &SchemeModel::Own(&network, &parted), shifted)?;
    let mut said = Vec::new();
    for end in &ends {
        match known.iter().find(|known| known.name == end.equilibrium()) {
            Some(known) => said.extend(found.part(end, known)),
            None => {
                let least = if shifted {
                    None
                } else {
                    found.least_equilibrium(end)
                };
                found
                    .least_equilibria
                    .extend(least.map(|least| (end.equilibrium(), least)));
                said.push(end.words(least));
            }
        }
    }
    found.remarks.splice(0..0, said);
    Ok(found)
}

impl GlobalFit {
    /// Parts the sum of the constants of a reversible step, and what there is of its species, by its equilibrium constant. Gives what
    /// must be said where a spectrum then lies below zero.
    fn part(&mut self, end: &ReturningEnd, known: &Equilibrium) -> Option<String> {
        let (k, error) = (known.value, known.standard_error);
        let sum = end.sum();
        if let Some(at) = self.rates.iter().position(|rate| rate.name == sum) {
            let rate = self.rates[at].clone();
            let times = rate
                .interval
                .upper
                .map_or(f64::NAN, |upper| (upper - rate.value) / rate.standard_error);
            let of = |name: &String, part: f64, slope: f64| {
                let value = rate.value * part;
                let standard_error = (rate.standard_error * part).hypot(rate.value * slope * error);
                GlobalRate {
                    name: name.clone(),
                    value,
                    standard_error,
                    interval: FitInterval {
                        lower: Some(value - times * standard_error),
                        upper: Some(value + times * standard_error),
                    },
                }
            };
            let slope = 1.0 / ((1.0 + k) * (1.0 + k));
            let parts = [
                of(&end.constants.0, k / (1.0 + k), slope),
                of(&end.constants.1, 1.0 / (1.0 + k), slope),
            ];
            self.rates.splice(at + 1..at + 1, parts);
        }
        let made = self.concentrations.get(end.to)?.1.clone();
        for (value, made) in self.concentrations[end.from].1.iter_mut().zip(&made) {
            *value += made / (1.0 + k);
        }
        let (name, last) = &mut self.concentrations[end.to];
        name.clone_from(&end.names.1);
        last.iter_mut().for_each(|value| *value *= k / (1.0 + k));
        let spectrum = &mut self.spectra[end.to];
        spectrum.species.clone_from(&end.names.1);
        let below = spectrum
            .absorbance
            .iter()
            .zip(&spectrum.standard_error)
            .any(|(a, e)| *a < -4.0 * e);
        below.then(|| {
            format!(
                "with {} = {k} the spectrum of {} lies below zero: the constant is larger, or the scheme is another one",
                known.name, end.names.1
            )
        })
    }

    /// The smallest equilibrium constant with which no absorbance of the last species is negative: its spectrum is
    /// `M + (M - A)/K`, with M that of the mixture. None where every constant will do.
    fn least_equilibrium(&self, end: &ReturningEnd) -> Option<f64> {
        /// Errors by which an absorbance may be off by chance, over all wavelengths.
        const CHANCE: f64 = 4.0;
        let (a, m) = (self.spectra.get(end.from)?, self.spectra.get(end.to)?);
        let errors = a.standard_error.iter().zip(&m.standard_error);
        a.absorbance
            .iter()
            .zip(&m.absorbance)
            .zip(errors)
            .map(|((a, m), (of_a, of_m))| (a - m - CHANCE * of_a.hypot(*of_m)) / (m.max(0.0) + CHANCE * of_m))
            .filter(|least| least.is_finite() && *least > 1e-3)
            .max_by(f64::total_cmp)
    }
}

/// Mean of each scan over its wavelengths.
pub(super) fn means(scans: &Scans<'_>) -> Vec<f64> {
    let mean = |scan: &&[f64]| scan.iter().sum::<f64>() / scan.len() as f64;
    scans.absorbance.iter().map(mean).collect()
}

/// Each scan less its mean.
fn about_means(scans: &Scans<'_>) -> Vec<Vec<f64>> {
    let pairs = scans.absorbance.iter().zip(means(scans));
    pairs
        .map(|(scan, mean)| scan.iter().map(|a| a - mean).collect())
        .collect()
}

/// Columns over time: the wavelengths, or fewer combinations of them with the same sums of squares.
fn columns_over_time(scans: &Scans<'_>) -> Vec<Vec<f64>> {
    let (n, m) = (scans.times.len(), scans.wavelengths.len());
    if n < m {
        let (svd, _) = scans.decompose();
        return svd
            .values
            .iter()
            .zip(&svd.right)
            .map(|(value, right)| right.iter().map(|v| v * value).collect())
            .collect();
    }
    (0..m)
        .map(|j| scans.absorbance.iter().map(|s| s[j]).collect())
        .collect()
}

/// What is left of columns over time beside the profiles of the species.
pub(super) fn left_over(at: &ProjectedProblem, columns: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let freed = |column: &Vec<f64>| {
        let mut left = column.clone();
        free_of(&at.basis, &mut left);
        left
    };
    columns.iter().map(freed).collect()
}

/// The rate constants with their errors and intervals; poor ones are told.
fn rates_of(
    names: &[String],
    k: &[f64],
    errors: &[(f64, f64)],
    remarks: &mut Vec<String>,
) -> Vec<GlobalRate> {
    let mut rates = Vec::with_capacity(k.len());
    for ((name, value), (standard_error, half)) in names.iter().zip(k).zip(errors) {
        let (standard_error, half) = (*standard_error, *half);
        if standard_error > 0.5 * value {
            remarks.push(format!(
                "{name} is poorly determined: its error is more than half of itself"
            ));
        }
        rates.push(GlobalRate {
            name: name.clone(),
            value: *value,
            standard_error,
            interval: FitInterval {
                lower: Some(value - half * standard_error),
                upper: Some(value + half * standard_error),
            },
        });
    }
    rates
}

fn fit_shape(given: &Scans<'_>, shape: &SchemeModel<'_>, shifted: bool) -> Result<GlobalFit, Refusal> {
    given.check()?;
    let (n, m) = (given.times.len(), given.wavelengths.len());
    if shifted && m < 2 {
        return Err(Refusal::TooFewPoints {
            what: "wavelengths, where each scan may be shifted".into(),
            found: m,
            needed: 2,
        });
    }
    // A shift of each scan is eliminated with the scan's mean: what is left is fitted, and no other shifts and spectra have a
    // smaller sum of squares.
    let centred: Vec<Vec<f64>> = if shifted { about_means(given) } else { Vec::new() };
    let rows: Vec<&[f64]> = centred.iter().map(Vec::as_slice).collect();
    let scans = &Scans {
        absorbance: if shifted { &rows } else { given.absorbance },
        ..*given
    };
    // Wavelengths that still tell something of their own.
    let told = if shifted { m - 1 } else { m };
    let names = shape.constants();
    let (count, species) = (names.len(), shape.species().len());
    check_scans(scans, species + count + 1)?;
    let data = columns_over_time(scans);
    let lost = |iterations| shape.lost(iterations);
    let Settled {
        mut k,
        mut at,
        iterations,
    } = settle(shape, scans.times, &data)?;
    let mut remarks = Vec::new();
    if let Some(order) = order_of((given, scans), shape, &data, (&k, &at), &mut remarks)
        && order != k
    {
        k = order;
        at = project(shape, scans.times, &data, &k).ok_or_else(|| lost(iterations))?;
    }
    let degrees_of_freedom = (n * told).saturating_sub(species * told + count);
    if degrees_of_freedom == 0 {
        return Err(Refusal::TooFewPoints {
            what: "readings".into(),
            found: n * told,
            needed: species * told + count + 1,
        });
    }
    let variance = at.rss / degrees_of_freedom as f64;
    let covariance = invert(&at.normal).ok_or_else(|| lost(iterations))?;
    let half = t_half_width(0.95, degrees_of_freedom as f64);
    let mut errors: RateErrors = (0..count)
        .map(|j| ((covariance[j][j] * variance).sqrt(), half))
        .collect();
    let at_wavelengths: Vec<Vec<f64>> = (0..m)
        .map(|j| scans.absorbance.iter().map(|scan| scan[j]).collect())
        .collect();
    let plain = (degrees_of_freedom, &mut errors);
    let grown_by = allow_for_unequal_scatter(&at, &at_wavelengths, plain);
    let (along, lack_of_fit) = along_time(&at, &data);
    let together = erring_together(
        (scans, shifted),
        shape,
        (&k, &at),
        &covariance,
        (degrees_of_freedom, &mut errors),
    );
    let rates = rates_of(&names, &k, &errors, &mut remarks);
    remarks.extend(may_go_back(&names));
    let correlation = (count == 2).then(|| covariance[0][1] / (covariance[0][0] * covariance[1][1]).sqrt());
    let spectra = spectra_of(given, &at, variance, (&shape.species(), shape.equilibria()));
    let shifts = shifted.then(|| left_over(&at, &[means(given)]).remove(0));
    let other_intermediate = match shape {
        SchemeModel::Known(Scheme::Consecutive) => project(shape, scans.times, &data, &[k[1], k[0]])
            .and_then(|other| {
                spectra_of(given, &other, variance, (&shape.species(), shape.equilibria()))
                    .into_iter()
                    .nth(1)
            }),
        _ => None,
    };
    let concentrations = shape
        .profiles(scans.times, &k)
        .map(|profiles| shape.species().into_iter().zip(profiles.species).collect())
        .unwrap_or_default();
    Ok(GlobalFit {
        concentrations,
        rates,
        correlation,
        spectra,
        other_intermediate,
        shifts,
        together,
        unequal_scatter: grown_by,
        residual_sd: variance.sqrt(),
        along_time: along,
        lack_of_fit,
        residual_sum_of_squares: at.rss,
        degrees_of_freedom,
        iterations,
        least_equilibria: Vec::new(),
        remarks,
    })
}

/// That the constants of steps which do not go back in the scheme are sums if they do in the cell: concentrations then run by the same
/// exponentials. `names`: all constants, `k1` for the first step and `k-1` for its way back; sums are named as such.
fn may_go_back(names: &[String]) -> Option<String> {
    let returns = |name: &String| names.contains(&name.replacen('k', "k-", 1));
    let one_way: Vec<&str> = names
        .iter()
        .filter(|name| !name.contains(['+', '-']) && !returns(name))
        .map(String::as_str)
        .collect();
    match one_way[..] {
        [] => None,
        [one] if names.len() == 1 => Some(format!(
            "{one} is the rate constant if the step does not go back; if it does, {one} is the sum of the constants of both directions: scans \
             alone do not tell"
        )),
        [one] => Some(format!(
            "{one} is a rate constant if its step does not go back; if it does, {one} is made up of the constants of both directions: scans \
             alone do not tell"
        )),
        _ => Some(format!(
            "{} are rate constants if their steps do not go back; where one does, they are made up of the constants of both directions: scans \
             alone do not tell",
            one_way.join(" and ")
        )),
    }
}

/// Scans enough, from time zero on, that are not all the same.
fn check_scans(scans: &Scans<'_>, needed: usize) -> Result<(), Refusal> {
    let found = scans.times.len();
    if found < needed {
        return Err(Refusal::TooFewPoints {
            what: "scans".into(),
            found,
            needed,
        });
    }
    if scans.times[0] < 0.0 {
        return Err(Refusal::Negative {
            what: "time".into(),
            index: 0,
            value: scans.times[0],
        });
    }
    let first = scans.absorbance[0];
    if scans.absorbance.iter().all(|s| *s == first) {
        return Err(Refusal::ConstantSignal { value: first[0] });
    }
    Ok(())
}

/// The order in which rate constants are given, where the scans fit as well in others, and what must be said of that.
fn order_of(
    scans: (&Scans<'_>, &Scans<'_>),
    shape: &SchemeModel<'_>,
    data: &[Vec<f64>],
    (k, at): (&[f64], &ProjectedProblem),
    remarks: &mut Vec<String>,
) -> Option<Vec<f64>> {
    match shape {
        SchemeModel::Known(Scheme::Consecutive) => {
            remarks.push(
                "the same scans fit with the two rate constants in the other order and another spectrum of B; the faster \
                 step is given first"
                    .to_owned(),
            );
            let mut order = k.to_vec();
            order.sort_by(|a, b| b.total_cmp(a));
            Some(order)
        }
        SchemeModel::Own(..) => {
            let (order, said) = most_sensible(scans, shape, data, k, at);
            remarks.extend(said);
            Some(order)
        }
        SchemeModel::Known(_) => None,
    }
}

/// Of the same rate constants in other orders that fit as well, the one whose spectra are least negative; and what must be said
/// of the others.
fn most_sensible(
    (given, scans): (&Scans<'_>, &Scans<'_>),
    shape: &SchemeModel<'_>,
    data: &[Vec<f64>],
    k: &[f64],
    at: &ProjectedProblem,
) -> (Vec<f64>, Vec<String>) {
    /// Errors by which a spectrum may lie below zero by chance, over all its wavelengths.
    const BELOW: f64 = -4.0;
    if k.len() < 2 {
        return (k.to_vec(), Vec::new());
    }
    let readings = (scans.times.len() * scans.wavelengths.len()) as f64;
    let variance = at.rss / readings;
    let mut found: Vec<(f64, Vec<f64>)> = Vec::new();
    for order in orders(k.len()) {
        let trial: Vec<f64> = order.iter().map(|place| k[*place]).collect();
        let Some(other) = project(shape, scans.times, data, &trial) else {
            continue;
        };
        if other.rss > at.rss * (1.0 + 1e-6) {
            continue;
        }
        let spectra = spectra_of(given, &other, variance, (&shape.species(), shape.equilibria()));
        let lowest = spectra
            .iter()
            .flat_map(|s| s.absorbance.iter().zip(&s.standard_error))
            .map(|(a, e)| a / e.max(f64::MIN_POSITIVE))
            .fold(f64::INFINITY, f64::min);
        found.push((lowest.min(0.0), trial));
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut said = Vec::new();
    let Some((lowest, best)) = found.first().cloned() else {
        return (k.to_vec(), said);
    };
    if lowest < BELOW {
        said.push(
            "in every order of the rate constants the spectrum of some species is negative somewhere by more than four of its \
             errors: the scheme is wrong, or something is missing from the scans"
                .to_owned(),
        );
    } else if found.len() > 1 {
        let others = found.iter().filter(|(lowest, _)| *lowest >= BELOW).count() - 1;
        said.push(if others == 0 {
            "the same rate constants fit as well in another order; this is the only one in which no spectrum is negative".to_owned()
        } else {
            format!(
                "the same rate constants fit as well in {others} other {}, with other spectra that are nowhere negative either: only \
                 chemistry can choose",
                if others == 1 { "order" } else { "orders" }
            )
        });
    }
    (best, said)
}

/// All orders of so many things, the given one first.
fn orders(count: usize) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = vec![Vec::new()];
    for _ in 0..count {
        all = all
            .iter()
            .flat_map(|begun| {
                (0..count).filter(|place| !begun.contains(place)).map(|place| {
                    let mut next = begun.clone();
                    next.push(place);
                    next
                })
            })
            .collect();
    }
    all
}

/// Spectra of the species from the scans at the projected state, with errors from the residual variance.
fn spectra_of(
    scans: &Scans<'_>,
    at: &ProjectedProblem,
    variance: f64,
    (names, equilibria): (&[String], &[(usize, usize, f64)]),
) -> Vec<SpeciesSpectrum> {
    let s = at.basis.len();
    let m = scans.wavelengths.len();
    let mut spectra: Vec<SpeciesSpectrum> = names
        .iter()
        .map(|name| SpeciesSpectrum {
            species: name.clone(),
            absorbance: Vec::with_capacity(m),
            standard_error: Vec::with_capacity(m),
        })
        .collect();
    let mut inverse = vec![0.0; s * s];
    for j in 0..s {
        inverse[j * s + j] = 1.0 / at.triangle[j * s + j];
        for i in (0..j).rev() {
            let sum: f64 = (i + 1..=j)
                .map(|k| at.triangle[i * s + k] * inverse[k * s + j])
                .sum();
            inverse[i * s + j] = -sum / at.triangle[i * s + i];
        }
    }
    // Of the mixture's spectrum M = (A + K B)/(1 + K), that of B is M + (M - A)/K.
    for (from, to, k) in equilibria {
        for i in 0..s {
            inverse[to * s + i] += (inverse[to * s + i] - inverse[from * s + i]) / k;
        }
    }
    for l in 0..m {
        let column: Vec<f64> = scans.absorbance.iter().map(|scan| scan[l]).collect();
        let parts: Vec<f64> = at.basis.iter().map(|q| product(q, &column)).collect();
        for (j, spectrum) in spectra.iter_mut().enumerate() {
            let row = &inverse[j * s..(j + 1) * s];
            spectrum.absorbance.push(product(row, &parts));
            spectrum
                .standard_error
                .push((variance * sum_of_squares(row)).sqrt());
        }
    }
    spectra
}

/// The inverse of a small matrix that is positive, by Gauss and Jordan on a scaled copy; none where it is singular to 13 digits.
pub(super) fn invert(normal: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let m = normal.len();
    let scale: Vec<f64> = (0..m).map(|i| normal[i][i].sqrt()).collect();
    if scale.iter().any(|s| s.is_nan() || *s <= 0.0) {
        return None;
    }
    let mut rows: Vec<Vec<f64>> = (0..m)
        .map(|i| {
            let own = (0..m).map(|j| normal[i][j] / (scale[i] * scale[j]));
            let unit = (0..m).map(|j| f64::from(u8::from(i == j)));
            own.chain(unit).collect()
        })
        .collect();
    for j in 0..m {
        // A scaled positive matrix has ones on its diagonal, and what is left of them says how singular it is.
        if rows[j][j] <= 1e-13 {
            return None;
        }
        let pivot = rows[j][j];
        rows[j].iter_mut().for_each(|v| *v /= pivot);
        let row = rows[j].clone();
        for (i, other) in rows.iter_mut().enumerate() {
            let factor = other[j];
            if i != j {
                other.iter_mut().zip(&row).for_each(|(v, r)| *v -= factor * r);
            }
        }
    }
    Some(
        (0..m)
            .map(|i| (0..m).map(|j| rows[i][m + j] / (scale[i] * scale[j])).collect())
            .collect(),
    )
}
