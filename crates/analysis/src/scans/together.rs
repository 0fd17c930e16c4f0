//! Whether the readings of a scan err together, and errors of rate constants that know of it.

use multiversion::multiversion;
use serde::{Deserialize, Serialize};

use super::Scans;
use super::global::{invert, left_over, means};
use super::projection::{ProjectedProblem, project, settle};
use super::scheme::SchemeModel;
use crate::distribution::{f_upper, normal_quantile, t_half_width};
use crate::fit::Dealer;
use crate::fit::solver::{free_of, product, sum_of_squares};

/// That the readings of a scan err together: what a scheme leaves of them goes together over the wavelengths.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ErringTogether {
    /// Standard deviation of what a scan has in common, over scans and wavelengths.
    pub standard_deviation: f64,
    /// How the scans are off.
    pub pattern: ScanErrorPattern,
}

/// How the scans are off that err together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ScanErrorPattern {
    /// By the same at all wavelengths, as far as the noise lets it be seen.
    Shift {
        /// Variance of the means of the scans, times the wavelengths, over that within the scans.
        f: f64,
        /// Degrees of freedom of both.
        degrees_of_freedom: (usize, usize),
        /// Probability of so much if every reading erred by itself.
        probability: f64,
        /// Whether the means go on from one scan to the next, as a drift does: the errors do not allow for that.
        goes_on: bool,
    },
    /// By more than the same at all wavelengths: the errors of the rate constants do not allow for it.
    Other {
        /// Standard deviation of the shifts of whole scans that are seen beside it; absent where none are, or where shifts were fitted.
        shift: Option<f64>,
    },
}

/// Means this unlikely are taken for shifts of the scans. A choice, as for scatters that differ.
const SHIFTS: f64 = 0.01;

/// Quantile of 99 % of the distribution of Tracy and Widom for real matrices (Johnstone, Annals of Statistics 29, 295, 2001, table 1), as
/// [`SHIFTS`].
const LARGEST_OF_NOISE: f64 = 2.0234;

/// Up to so many scans, all products of two of them are summed once, and each round of [`largest_direction`] takes these: half as many
/// products as there are scans take the place of two for each round, of which there are ten to forty. A choice.
const MOST_SUMMED: usize = 64;

/// The direction over time along which columns are largest, of length one, and the square of the largest singular value, from below:
/// powers of the matrix times its transpose, until one more adds no more than the part `still`.
fn largest_direction(all: &[ScaledColumn], still: f64) -> (Vec<f64>, f64) {
    let columns = || all.iter().map(|column| &column.values);
    let longest = columns().max_by(|a, b| sum_of_squares(a).total_cmp(&sum_of_squares(b)));
    let mut next = longest.cloned().unwrap_or_default();
    let n = next.len();
    let summed = (n <= MOST_SUMMED).then(|| sums_of_products(all, n));
    let times = |direction: &[f64]| -> Vec<f64> {
        if let Some(rows) = &summed {
            return rows.iter().map(|row| product(row, direction)).collect();
        }
        let mut next = vec![0.0; n];
        for column in columns() {
            let part = product(column, direction);
            next.iter_mut().zip(column).for_each(|(v, c)| *v += part * c);
        }
        next
    };
    let mut direction = next.clone();
    let mut square = 0.0;
    // Each round takes the ratio of two squares off the error of the direction; what stands out stands out far.
    for _ in 0..200 {
        let length = sum_of_squares(&next).sqrt();
        if length.is_nan() || length <= 0.0 {
            break;
        }
        direction = next.iter().map(|v| v / length).collect();
        next = times(&direction);
        let found = product(&next, &direction);
        if found <= square * (1.0 + still) {
            break;
        }
        square = found;
    }
    (direction, square)
}

/// For every two of `n` scans the sum of the products of their readings over the columns.
#[multiversion(targets("x86_64+avx2"))]
fn sums_of_products(columns: &[ScaledColumn], n: usize) -> Vec<Vec<f64>> {
    let mut rows = vec![vec![0.0; n]; n];
    for column in columns {
        let values = &column.values[..n];
        for (row, own) in rows.iter_mut().zip(values) {
            // Whole rows: what is there twice costs less than rows of uneven lengths.
            row.iter_mut().zip(values).for_each(|(v, c)| *v += own * c);
        }
    }
    rows
}

/// Rounds in which the scatters of the wavelengths and the weights of the mean are found from each other. A choice: in simulations with 8
/// to 60 scans, 3 to 200 wavelengths and noise that is up to 30 times as large in a fifth of them, the last one changed the weights by
/// less than a tenth.
const ROUNDS_OF_SCATTERS: usize = 5;

/// Residuals over time at a wavelength less what a shift of each scan takes from them, divided by their own scatter.
struct ScaledColumn {
    /// Number of the wavelength.
    at: usize,
    values: Vec<f64>,
    scatter: f64,
}

/// Residuals over time at each wavelength less what a shift of each scan takes from them, each divided by its own scatter; with that
/// scatter.
///
/// Noise that differs between wavelengths has a largest direction of its own, that of the noisiest ones, and readings that err each by
/// itself would be told as erring together. The shift is taken out as the mean over the wavelengths with weights `w` of one over the
/// variance, of all means the one with the least error: with the plain mean the noise of the noisiest wavelengths would be put into all
/// others. What is left at a wavelength then has the variance `s² (1 - w)`, with the weights `w` adding up to one.
#[multiversion(targets("x86_64+avx2"))]
fn scaled_about_shifts(residuals: &[Vec<f64>], freedom: usize) -> Vec<ScaledColumn> {
    let m = residuals.len();
    let mut weights = vec![1.0 / m as f64; m];
    let own: Vec<f64> = residuals.iter().map(|column| sum_of_squares(column)).collect();
    let mut mean = vec![0.0; residuals.first().map_or(0, Vec::len)];
    for _ in 0..ROUNDS_OF_SCATTERS {
        mean.fill(0.0);
        for (column, weight) in residuals.iter().zip(&weights) {
            mean.iter_mut().zip(column).for_each(|(v, c)| *v += weight * c);
        }
        let of_mean = sum_of_squares(&mean);
        let exact: Vec<f64> = residuals
            .iter()
            .zip(own.iter().zip(&weights))
            .map(|(column, (own, weight))| {
                let about = own - 2.0 * product(column, &mean) + of_mean;
                // A column that is the mean itself leaves rounding.
                if about > ROUNDING * (own + of_mean) {
                    (1.0 - weight) / about
                } else {
                    f64::INFINITY
                }
            })
            .collect();
        let whole: f64 = exact.iter().filter(|v| v.is_finite()).sum();
        // A wavelength without scatter tells nothing of how others err.
        weights = exact
            .iter()
            .map(|v| if v.is_finite() { v / whole } else { 0.0 })
            .collect();
    }
    residuals
        .iter()
        .enumerate()
        .filter_map(|(at, column)| {
            let mut values: Vec<f64> = column.iter().zip(&mean).map(|(c, v)| c - v).collect();
            let scatter = (sum_of_squares(&values) / freedom as f64).sqrt();
            values.iter_mut().for_each(|v| *v /= scatter);
            (scatter > 0.0 && scatter.is_finite()).then_some(ScaledColumn { at, values, scatter })
        })
        .collect()
}

/// So small a part of two sums of squares is the rounding of their difference.
const ROUNDING: f64 = 1e-13;

/// A largest direction has settled where one more round adds so little.
const SETTLED: f64 = 1e-9;

/// The same for residuals whose signs were dealt anew: their squares are then about a hundredth too small, and differ among each other by
/// a tenth.
const NEARLY: f64 = 1e-4;

/// So many times the signs are dealt anew: residuals that outdo all of them do so by chance once in a hundred times, as [`SHIFTS`] (a
/// Monte Carlo test: Hope, Journal of the Royal Statistical Society B 30, 582, 1968).
const DEALS: usize = 99;

/// From where the signs are dealt; any other number would do, and the same one gives the same answer.
const FIRST_DEAL: u64 = 0x5CA5;

/// Rounds in which the scatters of the scans and the fit weighed by them are found from each other. A choice: in simulations of 8 to 21
/// scans, one of them eight times as noisy as the others, that many told no more sets than chance does.
const ROUNDS_OF_SCANS: usize = 10;

/// Of a reading of which the fit leaves less, this part of the variance is taken to be left: what is divided by it grows no further. A
/// choice.
const LEAST_LEFT: f64 = 0.05;

/// A scan of which the fit leaves no more than this part of the variance tells nothing.
const LEFT: f64 = 1e-6;

/// What a scheme leaves of the scans.
struct LeftOver<'a> {
    /// Residuals over time, and what was fitted, at each wavelength.
    residuals: Vec<Vec<f64>>,
    levels: Vec<Vec<f64>>,
    /// Orthonormal basis of what is fitted over time.
    basis: &'a [Vec<f64>],
    /// By how much the rate constants move what is fitted: at each wavelength a row over time for each constant.
    moves: Vec<Vec<Vec<f64>>>,
    /// How much each wavelength counted for the rate constants.
    weights: Vec<f64>,
    /// Inverse of the normal matrix of these.
    inverse: Vec<Vec<f64>>,
}

impl<'a> LeftOver<'a> {
    /// `about`: whether the rate constants were found about the means of the scans. None where they cannot be told from each other.
    fn of(
        at: &'a ProjectedProblem,
        at_wavelengths: &[Vec<f64>],
        weights: Vec<f64>,
        about: bool,
    ) -> Option<Self> {
        let (n, count) = (at_wavelengths.first().map_or(0, Vec::len), at.normal.len());
        let mut residuals = vec![vec![0.0; n]; at_wavelengths.len()];
        let mut moves = vec![vec![vec![0.0; n]; count]; at_wavelengths.len()];
        for (column, (left, moves)) in at_wavelengths.iter().zip(residuals.iter_mut().zip(&mut moves)) {
            at.left_and_moves(column, left, moves);
        }
        let level =
            |(whole, left): (&Vec<f64>, &Vec<f64>)| whole.iter().zip(left).map(|(w, l)| w - l).collect();
        let levels = at_wavelengths.iter().zip(&residuals).map(level).collect();
        if about {
            for a in 0..count {
                let rows: Vec<Vec<f64>> = moves.iter().map(|own| own[a].clone()).collect();
                for (own, row) in moves.iter_mut().zip(about_weighted_means(&rows, &weights)) {
                    own[a] = row;
                }
            }
        }
        let mut normal = vec![vec![0.0; count]; count];
        for (own, weight) in moves.iter().zip(&weights) {
            for (a, row) in normal.iter_mut().enumerate() {
                for (b, sum) in row.iter_mut().enumerate() {
                    *sum += weight * product(&own[a], &own[b]);
                }
            }
        }
        Some(Self {
            levels,
            residuals,
            basis: &at.basis,
            moves,
            weights,
            inverse: invert(&normal)?,
        })
    }

    /// The part of the variance of each reading that the fit leaves, `1 - h`, if all readings scatter alike; a row for each wavelength.
    fn left_of_variance(&self) -> Vec<Vec<f64>> {
        let of_basis = self.of_basis();
        let at_wavelength = |(moves, weight): (&Vec<Vec<f64>>, &f64)| {
            let of_constants = |i: usize| -> f64 {
                let weighed = |row: &Vec<f64>| -> f64 { row.iter().zip(moves).map(|(v, m)| v * m[i]).sum() };
                self.inverse
                    .iter()
                    .zip(moves)
                    .map(|(row, m)| weighed(row) * m[i])
                    .sum()
            };
            let left = of_basis.iter().enumerate();
            left.map(|(i, of_basis)| 1.0 - of_basis - weight * of_constants(i))
                .collect()
        };
        self.moves.iter().zip(&self.weights).map(at_wavelength).collect()
    }

    /// The part of the variance of each scan that the spectra take, if all scans count alike.
    fn of_basis(&self) -> Vec<f64> {
        let times = self.residuals.first().map_or(0, Vec::len);
        let of_scan = |i: usize| self.basis.iter().map(|q| q[i] * q[i]).sum();
        (0..times).map(of_scan).collect()
    }

    /// Residuals over time less what spectra take from them where each scan counts by its own scatter, and the part of the variance of
    /// each scan that is left then. The scatters follow from the residuals, and these from the scatters.
    fn weighed_by_scan(&self, residuals: &[Vec<f64>]) -> (Vec<Vec<f64>>, Vec<f64>) {
        let mut left: Vec<f64> = self.of_basis().iter().map(|of_basis| 1.0 - of_basis).collect();
        let mut own = residuals.to_vec();
        for _ in 0..ROUNDS_OF_SCANS {
            let squares = |i: usize| own.iter().map(|column| column[i] * column[i]).sum::<f64>();
            let weights = (0..left.len()).map(|i| left[i].max(LEAST_LEFT) / squares(i));
            let weights: Vec<f64> = weights.collect();
            // A scan without scatter would be all that counts.
            if weights.iter().any(|weight| !weight.is_finite()) {
                break;
            }
            let weighed = |q: &Vec<f64>| -> Vec<f64> { q.iter().zip(&weights).map(|(q, w)| q * w).collect() };
            let weighed: Vec<Vec<f64>> = self.basis.iter().map(weighed).collect();
            let rows = |one: &Vec<f64>| self.basis.iter().map(|other| product(one, other)).collect();
            let Some(inverse) = invert(&weighed.iter().map(rows).collect::<Vec<_>>()) else {
                break;
            };
            // What a unit of each weighed profile takes.
            let takes: Vec<Vec<f64>> = inverse
                .iter()
                .map(|row| {
                    let mut taken = vec![0.0; weights.len()];
                    for (part, weighed) in row.iter().zip(&weighed) {
                        taken.iter_mut().zip(weighed).for_each(|(t, w)| *t += part * w);
                    }
                    taken
                })
                .collect();
            for (column, residual) in own.iter_mut().zip(residuals) {
                column.clone_from(residual);
                for (q, takes) in self.basis.iter().zip(&takes) {
                    let part = product(takes, residual);
                    column.iter_mut().zip(q).for_each(|(v, q)| *v -= part * q);
                }
            }
            let of_scan = |i: usize| {
                self.basis
                    .iter()
                    .zip(&takes)
                    .map(|(q, takes)| q[i] * takes[i])
                    .sum::<f64>()
            };
            left = (0..weights.len()).map(|i| 1.0 - of_scan(i)).collect();
        }
        (own, left)
    }

    /// Takes out of columns over time what spectra and rate constants fit to them.
    fn fitted_out(&self, columns: &mut [Vec<f64>]) {
        let mut along = vec![0.0; self.inverse.len()];
        for (column, (moves, weight)) in columns.iter_mut().zip(self.moves.iter().zip(&self.weights)) {
            free_of(self.basis, column);
            for (along, own) in along.iter_mut().zip(moves) {
                *along += weight * product(own, column);
            }
        }
        let steps: Vec<f64> = self.inverse.iter().map(|row| product(row, &along)).collect();
        for (column, moves) in columns.iter_mut().zip(&self.moves) {
            for (step, own) in steps.iter().zip(moves) {
                column.iter_mut().zip(own).for_each(|(v, m)| *v -= step * m);
            }
        }
    }

    /// Degrees of freedom at each wavelength.
    fn freedom(&self) -> usize {
        let times = self.residuals.first().map_or(0, Vec::len);
        times.saturating_sub(self.basis.len())
    }

    /// The columns about shifts, as [`scaled_about_shifts`] has them, but of their own size.
    fn about_shifts(&self) -> Vec<Vec<f64>> {
        let mut columns = vec![vec![0.0; self.residuals.first().map_or(0, Vec::len)]; self.residuals.len()];
        for scaled in scaled_about_shifts(&self.residuals, self.freedom()) {
            columns[scaled.at] = scaled.values.iter().map(|v| v * scaled.scatter).collect();
        }
        columns
    }

    /// Whether residuals measure more than they would if every reading erred by itself, each as much as it does.
    ///
    /// Errors that have nothing to do with each other are as likely with the other sign, whatever the size of each: noise that grows with
    /// the absorbance, ends of a lamp, single scans that are worse, outliers. So the residuals are compared with themselves after their
    /// signs were dealt anew, which leaves nothing that goes together (the wild bootstrap: Wu, Annals of Statistics 14, 1261, 1986). What is
    /// fitted is taken out again, spectra and rate constants: a few noisy readings pull these, and all others are off by that together.
    /// So does a single scan that is far worse than all others: the residuals that are dealt are those of a fit in which each scan counts
    /// by its own scatter, which it does not pull. Each is divided by the part of it that the fit leaves, `1 - h`, so that one that is far
    /// larger than all others is the same after that (form HC3 of MacKinnon and White, Journal of Econometrics 29, 305, 1985).
    fn beyond_chance(&self, residuals: &[Vec<f64>], measure: &dyn Fn(&[Vec<f64>]) -> Option<f64>) -> bool {
        let Some(found) = measure(residuals) else {
            return false;
        };
        let (weighed, left_of_scans) = self.weighed_by_scan(residuals);
        let of_basis = self.of_basis();
        let grown: Vec<Vec<f64>> = weighed
            .iter()
            .zip(self.left_of_variance())
            .map(|(column, left)| {
                let left = left.iter().zip(&of_basis).zip(&left_of_scans);
                let left = left.map(|((left, of_basis), of_scan)| left + of_basis - (1.0 - of_scan));
                column
                    .iter()
                    .zip(left)
                    .map(|(value, left)| value / left.max(LEAST_LEFT))
                    .collect()
            })
            .collect();
        let mut dealer = Dealer::new(FIRST_DEAL);
        let mut signs = DealtSigns::default();
        (0..DEALS).all(|_| {
            let mut dealt: Vec<Vec<f64>> = grown
                .iter()
                .map(|column| {
                    column
                        .iter()
                        .map(|value| value * signs.next(&mut dealer))
                        .collect()
                })
                .collect();
            self.fitted_out(&mut dealt);
            measure(&dealt).is_none_or(|chance| chance < found)
        })
    }

    /// What the residuals have in common about shifts of the scans, over scans and wavelengths, where they go together: along one
    /// direction over time, or as gains of the scans. At a `first` look the signs are not dealt.
    fn common_about_shifts(&self, first: bool) -> Option<f64> {
        self.common_direction(first).or_else(|| self.common_gain(first))
    }

    /// The same where the largest singular value, each wavelength by its own scatter, is more than noise makes it.
    ///
    /// Of a matrix of white noise with `n` rows and `m` columns its square, over the variance, is distributed after Tracy and Widom about
    /// `(√(n-½) + √(m-½))²` (Johnstone, Annals of Statistics 29, 295, 2001; the halves after Ma, Bernoulli 18, 322, 2012). The variance is
    /// that of all residuals, with what stands out among them: a little too large. Noise that differs between wavelengths is taken out.
    /// Where it differs from scan to scan as well, the noisiest ones are a largest direction of their own: what stands out must stand out
    /// of [`Self::beyond_chance`] too.
    fn common_direction(&self, first: bool) -> Option<f64> {
        let freedom = self.freedom();
        let measured = |residuals: &[Vec<f64>], still: f64| {
            let scaled = scaled_about_shifts(residuals, freedom);
            let whole: f64 = scaled.iter().map(|column| sum_of_squares(&column.values)).sum();
            let (direction, square) = largest_direction(&scaled, still);
            let m = scaled.len();
            (square * (freedom * m) as f64 / whole, direction, scaled)
        };
        let (square, direction, scaled) = measured(&self.residuals, SETTLED);
        let m = scaled.len().checked_sub(1)?;
        if freedom < 2 || m < 2 {
            return None;
        }
        let (tall, wide) = ((freedom as f64 - 0.5).sqrt(), (m as f64 - 0.5).sqrt());
        let spread = (tall + wide) * (1.0 / tall + 1.0 / wide).cbrt();
        // The squares of the scaled columns add up to as many as there are of them.
        let most = (tall + wide).powi(2) + LARGEST_OF_NOISE * spread;
        if square * m as f64 / (m + 1) as f64 <= most
            || !(first || self.beyond_chance(&self.about_shifts(), &|dealt| Some(measured(dealt, NEARLY).0)))
        {
            return None;
        }
        let of_readings =
            |column: &ScaledColumn| (product(&column.values, &direction) * column.scatter).powi(2);
        let common: f64 = scaled.iter().map(of_readings).sum();
        Some((common / (freedom * scaled.len()) as f64).sqrt())
    }

    /// The same where each scan is larger or smaller than what was fitted by a part of its own, as under a lamp that flickers.
    ///
    /// The parts are a regression of each scan's residuals on what was fitted, both about the shifts and each wavelength by its scatter.
    /// Without gains each has the variance of a reading: an F test, as that of shifts, which finds much smaller gains than the largest
    /// direction does, since it knows how they look. As there, [`Self::beyond_chance`] has the last word.
    fn common_gain(&self, first: bool) -> Option<f64> {
        let freedom = self.freedom();
        let measured = |residuals: &[Vec<f64>]| {
            let scaled = scaled_about_shifts(residuals, freedom);
            let others = freedom * scaled.len().checked_sub(2).filter(|others| *others > 0)?;
            let gains = gains(&scaled, &self.levels);
            let of_gains: f64 = gains.iter().map(|gain| gain.part * gain.part).sum();
            let whole: f64 = scaled.iter().map(|column| sum_of_squares(&column.values)).sum();
            let f = of_gains / freedom as f64 / ((whole - of_gains) / others as f64);
            let common: f64 = gains.iter().map(|gain| gain.square_of_readings).sum();
            let common = (common / (freedom * scaled.len()) as f64).sqrt();
            f.is_finite().then_some((f, others, common))
        };
        let (f, others, common) = measured(&self.residuals)?;
        let unlikely = f_upper(f, freedom as f64, others as f64) <= SHIFTS;
        let measure = |dealt: &[Vec<f64>]| measured(dealt).map(|(f, ..)| f);
        (unlikely && (first || self.beyond_chance(&self.about_shifts(), &measure))).then_some(common)
    }

    /// The variance of the means of the scans, times the wavelengths, over that within the scans.
    fn shifts_beyond_chance(&self, others: usize) -> bool {
        let (freedom, m) = (self.freedom(), self.residuals.len());
        let measure = |residuals: &[Vec<f64>]| {
            let whole: f64 = residuals.iter().map(|column| sum_of_squares(column)).sum();
            let mut sums = vec![0.0; residuals.first().map_or(0, Vec::len)];
            for column in residuals {
                sums.iter_mut().zip(column).for_each(|(sum, v)| *sum += v);
            }
            let of_means = sum_of_squares(&sums) / m as f64;
            let f = of_means / freedom as f64 / ((whole - of_means) / others as f64);
            f.is_finite().then_some(f)
        };
        self.beyond_chance(&self.residuals, &measure)
    }
}

/// Signs by the bits of random numbers.
#[derive(Default)]
struct DealtSigns {
    bits: u64,
    left: u32,
}

impl DealtSigns {
    fn next(&mut self, dealer: &mut Dealer) -> f64 {
        if self.left == 0 {
            self.bits = dealer.next();
            self.left = u64::BITS;
        }
        let sign = if self.bits & 1 == 0 { 1.0 } else { -1.0 };
        self.bits >>= 1;
        self.left -= 1;
        sign
    }
}

/// How much of a scan's residuals looks like the scan.
struct Gain {
    /// Along the scan about shifts, of length one, in scatters.
    part: f64,
    /// The sum of the squares of what that is of the readings.
    square_of_readings: f64,
}

/// The gain of each scan.
fn gains(scaled: &[ScaledColumn], levels: &[Vec<f64>]) -> Vec<Gain> {
    let times = scaled.first().map_or(0, |column| column.values.len());
    // A shift is as large at all wavelengths: one over the scatter in each scaled column.
    let whole: f64 = scaled.iter().map(|column| column.scatter.powi(-2)).sum();
    (0..times)
        .map(|i| {
            let of_shift: f64 = scaled
                .iter()
                .map(|column| levels[column.at][i] / column.scatter.powi(2))
                .sum::<f64>()
                / whole;
            let (mut square, mut along, mut readings) = (0.0, 0.0, 0.0);
            for column in scaled {
                let level = levels[column.at][i] - of_shift;
                square += (level / column.scatter).powi(2);
                along += level / column.scatter * column.values[i];
                readings += level * level;
            }
            let length = square.sqrt();
            if length > 0.0 {
                Gain {
                    part: along / length,
                    square_of_readings: (along / square).powi(2) * readings,
                }
            } else {
                Gain {
                    part: 0.0,
                    square_of_readings: 0.0,
                }
            }
        })
        .collect()
}

/// Columns over time less their mean over the wavelengths with these weights.
fn about_weighted_means(columns: &[Vec<f64>], weights: &[f64]) -> Vec<Vec<f64>> {
    let whole: f64 = weights.iter().sum();
    let mut mean = vec![0.0; columns.first().map_or(0, Vec::len)];
    for (column, weight) in columns.iter().zip(weights) {
        mean.iter_mut()
            .zip(column)
            .for_each(|(v, c)| *v += weight / whole * c);
    }
    let about = |column: &Vec<f64>| column.iter().zip(&mean).map(|(c, v)| c - v).collect();
    columns.iter().map(about).collect()
}

/// The error of each rate constant with the number of errors in half an interval.
pub(super) type RateErrors = Vec<(f64, f64)>;

/// Puts errors that know that some readings scatter more than others in the place of those that are smaller, and gives by how much
/// the one that grew most is larger.
///
/// The formula of least squares takes one variance for all readings. Where those that say most of a rate constant scatter most (a sample
/// that absorbs strongly at the beginning), its errors are too small. With `g` the weight of a reading in the rate constant,
/// `N⁻¹ ∂/∂k`, the variance is the sum of `g² r² / (1 - h)` over the readings, whatever the variance of each (White, Econometrica
/// 48, 817, 1980, in the form HC2 of MacKinnon and White, Journal of Econometrics 29, 305, 1985). Few readings may decide it: its degrees of
/// freedom follow after Satterthwaite, with `r⁴` three times the square of the variance.
pub(super) fn allow_for_unequal_scatter(
    at: &ProjectedProblem,
    at_wavelengths: &[Vec<f64>],
    (degrees_of_freedom, errors): (usize, &mut RateErrors),
) -> f64 {
    let Some(left) = LeftOver::of(at, at_wavelengths, vec![1.0; at_wavelengths.len()], false) else {
        return 1.0;
    };
    let mut sums = vec![(0.0, 0.0); errors.len()];
    let columns = left
        .residuals
        .iter()
        .zip(left.left_of_variance())
        .zip(&left.moves);
    for ((residuals, kept), moves) in columns {
        for (i, (residual, kept)) in residuals.iter().zip(kept).enumerate() {
            if kept <= LEFT {
                continue;
            }
            for (own, sums) in left.inverse.iter().zip(&mut sums) {
                let weight: f64 = own
                    .iter()
                    .zip(moves)
                    .map(|(inverse, moves)| inverse * moves[i])
                    .sum();
                let part = weight * weight * residual * residual / kept;
                sums.0 += part;
                sums.1 += part * part;
            }
        }
    }
    let mut most: f64 = 1.0;
    for ((error, half), (variance, of_squares)) in errors.iter_mut().zip(sums) {
        let freedom = (3.0 * variance * variance / of_squares).clamp(1.0, degrees_of_freedom as f64);
        if variance.sqrt() > *error {
            most = most.max(variance.sqrt() / *error);
            *error = variance.sqrt();
            *half = half.max(t_half_width(0.95, freedom));
        }
    }
    most
}

/// Whether the readings of a scan err together, and errors that know of shifts; never smaller than `plain` ones.
///
/// A shift is looked for by an F test of the means of the residuals of each scan against their scatter. Readings with a variance `s²` of
/// their own and `u²` in common have, along the direction of the mean over `m` wavelengths, the variance `s² + m u²`, and `s²` along all
/// others. Both follow from the residuals. With the normal matrix `N = N' + M`, of which `M` is what the mean says of the rate constants,
/// their covariance is `N⁻¹ (s² N' + (s² + m u²) M) N⁻¹`, with degrees of freedom after Welch and Satterthwaite. That holds of shifts that
/// have nothing to do with each other. Anything that goes together about the means is no shift: a lamp that grows weaker by a part, a
/// baseline that tilts, neighbours that the instrument smooths, a scheme that does not describe the scans. Which of them is not asserted.
pub(super) fn erring_together(
    (scans, shifted): (&Scans<'_>, bool),
    shape: &SchemeModel<'_>,
    (k, at): (&[f64], &ProjectedProblem),
    inverse: &[Vec<f64>],
    (degrees_of_freedom, plain): (usize, &mut RateErrors),
) -> Option<ErringTogether> {
    let (n, m) = (scans.times.len(), scans.wavelengths.len());
    let freedom = n.checked_sub(at.basis.len()).filter(|freedom| *freedom > 0)?;
    let others = degrees_of_freedom
        .checked_sub(if shifted { 0 } else { freedom })
        .filter(|others| *others > 0)?;
    // What is left of exact scans is rounding.
    let whole: f64 = scans.absorbance.iter().map(|scan| sum_of_squares(scan)).sum();
    if at.rss.is_nan() || at.rss <= f64::EPSILON * f64::EPSILON * 1e4 * whole {
        return None;
    }
    let at_wavelengths: Vec<Vec<f64>> = (0..m)
        .map(|j| scans.absorbance.iter().map(|scan| scan[j]).collect())
        .collect();
    let left = LeftOver::of(at, &at_wavelengths, vec![1.0; m], shifted)?;
    let mut common = left.common_about_shifts(true);
    if common.is_some() {
        // Shifts and the noisiest wavelengths pull the rate constants, and what these leave then goes together about the means as well: the
        // constants are found anew about the means, each wavelength by its scatter.
        let weight = |column: &Vec<f64>| (freedom as f64 / sum_of_squares(column)).min(f64::MAX);
        let weights: Vec<f64> = left.residuals.iter().map(weight).collect();
        let whole: f64 = weights.iter().sum();
        let weights: Vec<f64> = weights.iter().map(|weight| weight / whole).collect();
        let mut about = about_weighted_means(&at_wavelengths, &weights);
        for (column, weight) in about.iter_mut().zip(&weights) {
            column.iter_mut().for_each(|v| *v *= weight.sqrt());
        }
        let anew = if whole.is_finite() {
            settle(shape, scans.times, &about).ok()
        } else {
            None
        };
        common = match &anew {
            Some(own) => LeftOver::of(&own.at, &at_wavelengths, weights, true)
                .and_then(|left| left.common_about_shifts(false)),
            None => left.common_about_shifts(false),
        };
    }
    let other = common.map(|standard_deviation| ErringTogether {
        standard_deviation,
        pattern: ScanErrorPattern::Other { shift: None },
    });
    if shifted {
        return other;
    }
    let mean: Vec<f64> = means(scans).iter().map(|mean| mean * (m as f64).sqrt()).collect();
    let of_means = project(shape, scans.times, std::slice::from_ref(&mean), k)?;
    let whole = of_means.rss / freedom as f64;
    let own = (at.rss - of_means.rss) / others as f64;
    let f = whole / own;
    let probability = f_upper(f, freedom as f64, others as f64);
    if own.is_nan()
        || own <= 0.0
        || probability.is_nan()
        || probability > SHIFTS
        || !left.shifts_beyond_chance(others)
    {
        return other;
    }
    widen((&of_means, at), inverse, [(whole, freedom), (own, others)], plain);
    let shift = ((whole - own) / m as f64).sqrt();
    Some(match other {
        Some(other) => ErringTogether {
            pattern: ScanErrorPattern::Other { shift: Some(shift) },
            ..other
        },
        None => ErringTogether {
            standard_deviation: shift,
            pattern: ScanErrorPattern::Shift {
                f,
                degrees_of_freedom: (freedom, others),
                probability,
                goes_on: follow_each_other(&left_over(at, &[mean])[0]),
            },
        },
    })
}

/// Whether the residuals of the means go on from one scan to the next: their correlation with the one before against its standard
/// deviation in white noise, `1/√n`, at 5 % on the one side that a drift makes (Bartlett's approximation). What was fitted pulls it
/// below zero, so that chance is found less often than that.
fn follow_each_other(means: &[f64]) -> bool {
    let lagged = product(&means[1..], &means[..means.len() - 1]);
    let n = means.len() as f64;
    lagged / sum_of_squares(means) * n.sqrt() > normal_quantile(0.95)
}

/// Puts errors that know of shifts in the place of those that are smaller.
fn widen(
    (of_means, at): (&ProjectedProblem, &ProjectedProblem),
    inverse: &[Vec<f64>],
    [(whole, freedom), (own, others)]: [(f64, usize); 2],
    errors: &mut RateErrors,
) {
    let count = errors.len();
    let part = |j: usize, normal: &dyn Fn(usize, usize) -> f64| -> f64 {
        let pairs = (0..count).flat_map(|a| (0..count).map(move |b| (a, b)));
        pairs
            .map(|(a, b)| inverse[j][a] * normal(a, b) * inverse[b][j])
            .sum()
    };
    for (j, (error, half)) in errors.iter_mut().enumerate() {
        let of_whole = whole * part(j, &|a, b| of_means.normal[a][b]);
        let of_own = own * part(j, &|a, b| at.normal[a][b] - of_means.normal[a][b]).max(0.0);
        let square = of_whole + of_own;
        let effective =
            square * square / (of_whole * of_whole / freedom as f64 + of_own * of_own / others as f64);
        if square.sqrt() > *error {
            *error = square.sqrt();
            *half = half.max(t_half_width(0.95, effective.max(1.0)));
        }
    }
}
