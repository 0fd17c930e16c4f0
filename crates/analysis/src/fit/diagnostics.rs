//! What the residuals say about the model.

use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

use super::solver::{sum_of_squares, total, total_of_pairs};
use crate::distribution::{normal_quantile, normal_upper, t_two_sided};

/// Below this probability a test gives a warning. Common practice, and stricter than one in twenty because several
/// tests look at each fit.
const ALARM: f64 = 0.01;

/// Tests of the residuals, taken in the order of x.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Diagnostics {
    /// Wald-Wolfowitz test of the runs of equal sign; absent with fewer than four points or one sign only.
    pub runs: Option<Runs>,
    /// Durbin-Watson statistic: about 2 for independent residuals, near 0 where neighbours agree.
    pub durbin_watson: Option<f64>,
    /// Test of normality; absent with fewer than four points.
    pub normality: Option<Normality>,
    /// What is out of the ordinary.
    pub warnings: Vec<Warning>,
}

/// Test of runs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Runs {
    /// Runs of equal sign.
    pub runs: usize,
    /// Residuals above zero.
    pub above: usize,
    /// Residuals below zero.
    pub below: usize,
    /// Two-sided probability; exact up to 40 points, by the normal approximation above.
    pub probability: f64,
}

/// Test of normality.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Normality {
    /// Which test.
    pub test: NormalityTest,
    /// Its statistic.
    pub statistic: f64,
    /// Probability of a statistic at least as extreme for normal errors.
    pub probability: f64,
}

/// Which test of normality was used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NormalityTest {
    /// Shapiro and Wilk's W after Royston (Appl. Statist. 44, 547, 1995), below 50 points.
    ShapiroWilk,
    /// D'Agostino and Pearson's omnibus test (Biometrika 60, 613, 1973), from 50 points on.
    DAgostinoPearson,
}

/// Something out of the ordinary in the residuals.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
pub enum Warning {
    /// Neighbouring residuals agree in sign more often than chance allows.
    Wandering,
    /// Neighbouring residuals alternate more often than chance allows.
    Alternating,
    /// The spread grows with the fitted value.
    GrowingSpread,
    /// The residuals are not normally distributed.
    NotNormal,
    /// One residual stands far from all others.
    Outlier {
        /// Position of the point.
        index: usize,
        /// The residual in residual standard deviations.
        deviations: f64,
    },
}

impl Warning {
    /// The warning in words.
    pub fn words(&self) -> String {
        match self {
            Self::Wandering => {
                "the residuals wander: neighbours lie on the same side of the curve more often than \
                                chance allows; the model may be wrong, or a drift is left out"
                    .into()
            }
            Self::Alternating => {
                "the residuals alternate from side to side more often than chance allows; the points \
                                  may have been smoothed, averaged or rounded"
                    .into()
            }
            Self::GrowingSpread => {
                "the residuals grow with the fitted value; weights in proportion to it may suit better".into()
            }
            Self::NotNormal => {
                "the residuals are not normally distributed; the intervals are approximate".into()
            }
            Self::Outlier { index, deviations } => format!(
                "point {} lies {deviations:.1} residual standard deviations from the curve",
                index + 1
            ),
        }
    }
}

/// Looks at (weighted) residuals; `order` says how to put them in the order of x where they are not.
pub(crate) fn examine(
    residuals: &[f64],
    fitted: &[f64],
    order: Option<&[usize]>,
    parameters: usize,
) -> Diagnostics {
    let n = residuals.len();
    let square_sum = sum_of_squares(residuals);
    let mut found = Diagnostics::default();
    // What is left where every point lies on the curve is rounding, and has no shape.
    let rounding = 1e-13 * sum_of_squares(fitted).sqrt();
    if n < 4 || square_sum <= rounding * rounding || !square_sum.is_finite() {
        return found;
    }
    let ordered: Vec<f64>;
    let in_order = match order {
        None => residuals,
        Some(order) => {
            ordered = order.iter().map(|i| residuals[*i]).collect();
            &ordered
        }
    };
    let steps = total_of_pairs(&in_order[1..], &in_order[..n - 1], |b, a| (b - a) * (b - a));
    let durbin_watson = steps / square_sum;
    found.durbin_watson = Some(durbin_watson);
    found.runs = runs(in_order);
    found.normality = normality(residuals);
    // For independent errors d/2 - 1 has standard deviation about 1/√n. Few points: fitting itself pushes d up.
    let dependence = (1.0 - durbin_watson / 2.0) * (n as f64).sqrt();
    let runs_alarm = found.runs.is_some_and(|r| r.probability < ALARM);
    let few = found
        .runs
        .is_some_and(|r| r.runs < 1 + 2 * r.above * r.below / (r.above + r.below).max(1));
    if (runs_alarm && few) || dependence > 3.3 {
        found.warnings.push(Warning::Wandering);
    } else if runs_alarm || (dependence < -3.3 && n > 4 * parameters) {
        found.warnings.push(Warning::Alternating);
    }
    if n >= 8 && spread_grows(residuals, fitted) {
        found.warnings.push(Warning::GrowingSpread);
    }
    if found.normality.is_some_and(|t| t.probability < ALARM) {
        found.warnings.push(Warning::NotNormal);
    }
    if n > parameters + 2 {
        let sd = (square_sum / (n - parameters) as f64).sqrt();
        let mut lanes = [0.0_f64; 4];
        let (fours, rest) = residuals.as_chunks::<4>();
        for r in fours {
            for k in 0..4 {
                lanes[k] = if r[k].abs() > lanes[k] {
                    r[k].abs()
                } else {
                    lanes[k]
                };
            }
        }
        let largest = rest.iter().map(|r| r.abs()).chain(lanes).fold(0.0, f64::max);
        // Expected less than once in a hundred fits of n normal residuals.
        let far = if n < SMALL {
            stands_out(largest / sd, n, parameters)
        } else {
            largest > 3.0 * sd && largest > sd * extreme(n)
        };
        if far && let Some(index) = residuals.iter().position(|r| r.abs() == largest) {
            found.warnings.push(Warning::Outlier {
                index,
                deviations: residuals[index] / sd,
            });
        }
    }
    found
}

/// Whether residuals in the order of x keep to one side of the curve longer than chance allows.
pub(crate) fn wandering(residuals: &[f64], fitted: &[f64], parameters: usize) -> bool {
    examine(residuals, fitted, None, parameters)
        .warnings
        .contains(&Warning::Wandering)
}

/// Below this many points a far one makes up so much of the standard deviation that it must be left out of it.
const SMALL: usize = 40;

/// Whether the largest of few residuals, in residual standard deviations, is too large for chance: the deleted studentised
/// residual by Student's t, with Bonferroni's correction. Leverages are taken as equal.
fn stands_out(largest: f64, n: usize, parameters: usize) -> bool {
    let (count, freedom) = (n as f64, (n - parameters) as f64);
    if largest < 1.7 || freedom < 3.0 {
        return false;
    }
    let inner = largest * largest * count / freedom;
    let rest = freedom - inner;
    rest <= 0.0 || count * t_two_sided((inner * (freedom - 1.0) / rest).sqrt(), freedom - 1.0) < ALARM
}

/// The size that the largest of `n` standard normal values stays below in 99 of 100 cases (Bonferroni).
fn extreme(n: usize) -> f64 {
    // Asymptotic inverse of the upper tail, good to 2 % here and much cheaper than the quantile.
    let tail = 0.005 / n as f64;
    let l = -2.0 * (tail * (2.0 * std::f64::consts::PI).sqrt()).ln();
    (l - l.ln()).sqrt()
}

/// Correlation of the residuals' sizes with the fitted values' sizes, tested by Student's t.
fn spread_grows(residuals: &[f64], fitted: &[f64]) -> bool {
    let n = residuals.len() as f64;
    let a = total(residuals, f64::abs);
    let b = total(fitted, f64::abs);
    let aa = sum_of_squares(residuals);
    let bb = sum_of_squares(fitted);
    let ab = total_of_pairs(residuals, fitted, |r, f| (r * f).abs());
    let (va, vb) = (aa - a * a / n, bb - b * b / n);
    if va <= 0.0 || vb <= 1e-24 * bb {
        return false;
    }
    let r = (ab - a * b / n) / (va * vb).sqrt();
    if r < 0.25 || r.is_nan() {
        return false;
    }
    let t = r * ((n - 2.0) / (1.0 - r * r).max(1e-300)).sqrt();
    t_two_sided(t, n - 2.0) < ALARM
}

fn runs(residuals: &[f64]) -> Option<Runs> {
    // Signs are as good as random, so this counts without branches; a residual of exactly zero has no sign and is
    // left out beforehand.
    let without_zeros: Vec<f64>;
    let signed = if residuals.contains(&0.0) {
        without_zeros = residuals.iter().copied().filter(|r| *r != 0.0).collect();
        &without_zeros
    } else {
        residuals
    };
    let below = signed.iter().map(|r| usize::from(*r < 0.0)).sum::<usize>();
    let above = signed.len() - below;
    let changes = signed
        .windows(2)
        .map(|w| usize::from((w[0] < 0.0) != (w[1] < 0.0)))
        .sum::<usize>();
    let count = changes + usize::from(!signed.is_empty());
    if above == 0 || below == 0 || above + below < 4 {
        return None;
    }
    let probability = if above + below <= 40 {
        exact_runs(count, above, below)
    } else {
        let (a, b) = (above as f64, below as f64);
        let n = a + b;
        let mean = 1.0 + 2.0 * a * b / n;
        let variance = (mean - 1.0) * (mean - 2.0) / (n - 1.0);
        2.0 * normal_upper(((count as f64 - mean).abs() / variance.sqrt()).min(38.0))
    };
    Some(Runs {
        runs: count,
        above,
        below,
        probability,
    })
}

/// Two-sided probability of the number of runs, by counting arrangements.
fn exact_runs(count: usize, above: usize, below: usize) -> f64 {
    static PASCAL: OnceLock<Vec<[f64; 41]>> = OnceLock::new();
    let pascal = PASCAL.get_or_init(|| {
        let mut rows = vec![[0.0; 41]; 41];
        for n in 0..41 {
            rows[n][0] = 1.0;
            for k in 1..=n {
                rows[n][k] = rows[n - 1][k - 1] + if k < n { rows[n - 1][k] } else { 0.0 };
            }
        }
        rows
    });
    let choose = |n: usize, k: usize| if k <= n { pascal[n][k] } else { 0.0 };
    let ways = |r: usize| {
        let k = r / 2;
        if r.is_multiple_of(2) {
            2.0 * choose(above - 1, k - 1) * choose(below - 1, k - 1)
        } else {
            choose(above - 1, k) * choose(below - 1, k - 1) + choose(above - 1, k - 1) * choose(below - 1, k)
        }
    };
    let total = choose(above + below, above);
    let low: f64 = (2..=count).map(ways).sum();
    let high = total - low + ways(count);
    (2.0 * low.min(high) / total).min(1.0)
}

fn normality(residuals: &[f64]) -> Option<Normality> {
    if residuals.len() < 50 {
        shapiro_wilk(residuals)
    } else {
        dagostino_pearson(residuals)
    }
}

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Coefficients of the upper half of the ordered sample, largest first, for each n below 50.
fn shapiro_coefficients(n: usize) -> &'static [f64] {
    static TABLE: OnceLock<Vec<Vec<f64>>> = OnceLock::new();
    let table = TABLE.get_or_init(|| (0..50).map(shapiro_row).collect());
    table.get(n).map_or(&[], Vec::as_slice)
}

fn shapiro_row(n: usize) -> Vec<f64> {
    let half = n / 2;
    if n < 4 {
        return Vec::new();
    }
    let size = n as f64;
    let scores: Vec<f64> = (0..half)
        .map(|i| normal_quantile((size - i as f64 - 0.375) / (size + 0.25)))
        .collect();
    let square: f64 = 2.0 * scores.iter().map(|m| m * m).sum::<f64>();
    let u = 1.0 / size.sqrt();
    let root = square.sqrt();
    let mut row = vec![0.0; half];
    row[0] = polynomial(
        &[0.0, 0.221_157, -0.147_981, -2.071_190, 4.434_685, -2.706_056],
        u,
    ) + scores[0] / root;
    let (from, rest) = if n > 5 {
        row[1] = polynomial(
            &[0.0, 0.042_981, -0.293_762, -1.752_461, 5.682_633, -3.582_633],
            u,
        ) + scores[1] / root;
        (
            2,
            (square - 2.0 * scores[0] * scores[0] - 2.0 * scores[1] * scores[1])
                / (1.0 - 2.0 * row[0] * row[0] - 2.0 * row[1] * row[1]),
        )
    } else {
        (
            1,
            (square - 2.0 * scores[0] * scores[0]) / (1.0 - 2.0 * row[0] * row[0]),
        )
    };
    let rest = rest.sqrt();
    for i in from..half {
        row[i] = scores[i] / rest;
    }
    row
}

fn shapiro_wilk(residuals: &[f64]) -> Option<Normality> {
    let n = residuals.len();
    let coefficients = shapiro_coefficients(n);
    if coefficients.is_empty() {
        return None;
    }
    let mut buffer = [0.0; 50];
    let sorted = &mut buffer[..n];
    sorted.copy_from_slice(residuals);
    sorted.sort_unstable_by(f64::total_cmp);
    let mean = sorted.iter().sum::<f64>() / n as f64;
    let square: f64 = sorted.iter().map(|r| (r - mean) * (r - mean)).sum();
    if square <= 0.0 {
        return None;
    }
    let contrast: f64 = coefficients
        .iter()
        .enumerate()
        .map(|(i, a)| a * (sorted[n - 1 - i] - sorted[i]))
        .sum();
    let w = (contrast * contrast / square).min(1.0);
    let size = n as f64;
    let rest = (1.0 - w).max(1e-16).ln();
    let z = if n <= 11 {
        let gamma = -2.273 + 0.459 * size;
        if rest >= gamma {
            return Some(Normality {
                test: NormalityTest::ShapiroWilk,
                statistic: w,
                probability: 0.0,
            });
        }
        let mean = polynomial(&[0.544, -0.399_78, 0.025_054, -6.714e-4], size);
        let sd = polynomial(&[1.382_2, -0.778_57, 0.062_767, -0.002_032_2], size).exp();
        (-(gamma - rest).ln() - mean) / sd
    } else {
        let log = size.ln();
        let mean = polynomial(&[-1.586_1, -0.310_82, -0.083_751, 0.003_891_5], log);
        let sd = polynomial(&[-0.480_3, -0.082_676, 0.003_030_2], log).exp();
        (rest - mean) / sd
    };
    Some(Normality {
        test: NormalityTest::ShapiroWilk,
        statistic: w,
        probability: normal_upper(z),
    })
}

fn dagostino_pearson(residuals: &[f64]) -> Option<Normality> {
    let n = residuals.len() as f64;
    let mean = total(residuals, |r| r) / n;
    let m2 = total(residuals, |r| (r - mean) * (r - mean)) / n;
    let m3 = total(residuals, |r| (r - mean) * (r - mean) * (r - mean)) / n;
    let m4 = total(residuals, |r| {
        ((r - mean) * (r - mean)) * ((r - mean) * (r - mean))
    }) / n;
    if m2 <= 0.0 {
        return None;
    }
    let skewness = m3 / (m2 * m2.sqrt());
    let kurtosis = m4 / (m2 * m2);
    let y = skewness * ((n + 1.0) * (n + 3.0) / (6.0 * (n - 2.0))).sqrt();
    let beta = 3.0 * (n * n + 27.0 * n - 70.0) * (n + 1.0) * (n + 3.0)
        / ((n - 2.0) * (n + 5.0) * (n + 7.0) * (n + 9.0));
    let w2 = -1.0 + (2.0 * (beta - 1.0)).sqrt();
    let alpha = (2.0 / (w2 - 1.0)).sqrt();
    let z1 = (y / alpha).asinh() / (0.5 * w2.ln()).sqrt();

    let mean = 3.0 * (n - 1.0) / (n + 1.0);
    let variance = 24.0 * n * (n - 2.0) * (n - 3.0) / ((n + 1.0) * (n + 1.0) * (n + 3.0) * (n + 5.0));
    let x = (kurtosis - mean) / variance.sqrt();
    let root = 6.0 * (n * n - 5.0 * n + 2.0) / ((n + 7.0) * (n + 9.0))
        * (6.0 * (n + 3.0) * (n + 5.0) / (n * (n - 2.0) * (n - 3.0))).sqrt();
    let a = 6.0 + 8.0 / root * (2.0 / root + (1.0 + 4.0 / (root * root)).sqrt());
    let inner = (1.0 - 2.0 / a) / (1.0 + x * (2.0 / (a - 4.0)).sqrt());
    let z2 = (1.0 - 2.0 / (9.0 * a) - inner.cbrt()) / (2.0 / (9.0 * a)).sqrt();
    let statistic = z1 * z1 + z2 * z2;
    Some(Normality {
        test: NormalityTest::DAgostinoPearson,
        statistic,
        probability: (-0.5 * statistic).exp(),
    })
}
