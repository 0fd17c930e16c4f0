//! Errors of parameters where neighbouring readings err together.
//!
//! A lamp that breathes, a thermostat that swings or a smoothing circuit makes neighbouring errors alike, and the plain
//! errors of a fit, which count every reading as news, are then too small: at a lag-one correlation of 0.7 by more
//! than half. Here the errors are taken as a first-order autoregression. Its correlation is found by restricted maximum
//! likelihood over the linearised model (Patterson and Thompson, Biometrika 58, 545, 1971), which does not suffer
//! from the downward bias of the residuals' own correlation; since it is never known well, variances are means over its
//! likelihood and not those at its best value. The parameters stay the least-squares ones.

use serde::{Deserialize, Serialize};

use super::blank::replace_errors;
use super::{Determination, Fit, Warning};
use crate::distribution::normal_upper;
use crate::models::Model;

/// Fewest points of which a correlation is told.
const FEWEST: usize = 10;

/// How the errors of a fit allow for neighbours that err together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Correlation {
    /// Correlation of neighbouring errors.
    pub lag_one: f64,
    /// How many independent points would tell a mean as well: `n (1 - ρ)/(1 + ρ)`.
    pub effective_points: f64,
    /// How often independent errors give residuals that go together as much: beyond the normal quantile of their lag-one sum, which
    /// has a standard deviation of 1/√n and is pushed down by about m/n by a fit of m parameters.
    pub chance: f64,
    /// Degrees of freedom of the intervals.
    pub degrees_of_freedom: f64,
    /// The standard errors as if every point were news, in the order of the parameters.
    pub plain: Vec<Option<f64>>,
}

/// Puts errors that allow for correlated neighbours in the place of the plain ones, if the residuals speak for it.
///
/// `x` are the columns the fit was made with, without weights, in the order in which they were measured. Gives whether
/// errors were changed.
pub fn allow_for_correlation(model: &dyn Model, x: &[&[f64]], fit: &mut Fit) -> bool {
    let n = fit.residuals.len();
    let p = fit.parameters.len();
    let active: Vec<usize> = (0..p)
        .filter(|j| {
            !matches!(
                fit.parameters[*j].standing,
                Determination::Held | Determination::AtLimit
            ) && fit.parameters[*j].standard_error.is_some()
        })
        .collect();
    let m = active.len();
    let ordered = x
        .first()
        .is_some_and(|x| x.windows(2).all(|pair| pair[0] <= pair[1]));
    if n < FEWEST.max(2 * p + 2) || m == 0 || !ordered || fit.covariance.is_none() {
        return false;
    }
    let r = &fit.residuals;
    let square: f64 = r.iter().map(|r| r * r).sum();
    let lagged: f64 = r.windows(2).map(|pair| pair[0] * pair[1]).sum();
    // One standard deviation of what chance does; fitting pushes the correlation of residuals down by about p/n.
    let size = n as f64;
    if square.is_nan() || square <= 0.0 || lagged / square < 1.0 / size.sqrt() - m as f64 / size {
        return false;
    }
    let Some(found) = estimate(model, x, fit, &active) else {
        return false;
    };
    let plain: Vec<Option<f64>> = fit.parameters.iter().map(|p| p.standard_error).collect();
    let mut covariance = vec![0.0; p * p];
    for (a, i) in active.iter().enumerate() {
        for (b, j) in active.iter().enumerate() {
            covariance[i * p + j] = found.covariance[a * m + b];
        }
    }
    let grown = active
        .iter()
        .any(|j| covariance[j * p + j].sqrt() > 1.02 * plain[*j].unwrap_or(f64::INFINITY));
    if !grown || covariance.iter().any(|value| !value.is_finite()) {
        return false;
    }
    let degrees_of_freedom = (size * (1.0 - found.rho * found.rho) / (1.0 + found.rho * found.rho)
        - m as f64)
        .clamp(2.0, fit.degrees_of_freedom as f64);
    fit.correlation = Some(Correlation {
        lag_one: found.rho,
        chance: normal_upper((lagged / square + m as f64 / size) * size.sqrt()),
        effective_points: size * (1.0 - found.rho) / (1.0 + found.rho),
        degrees_of_freedom,
        plain,
    });
    replace_errors(model, fit, &active, covariance);
    true
}

/// So rarely independent errors may look alike where neighbours are said to err together; a choice. The errors allow for less.
const SEEN: f64 = 0.01;

impl Correlation {
    /// Whether more is seen than chance does now and then.
    pub fn is_seen(&self) -> bool {
        self.chance < SEEN
    }

    /// In words, for a person.
    pub fn words(&self, fit: &Fit) -> String {
        let plain: Vec<String> = fit
            .parameters
            .iter()
            .zip(&self.plain)
            .filter(|(parameter, _)| parameter.standing != Determination::Held)
            .filter_map(|(parameter, plain)| Some(format!("{} {}", parameter.name, short((*plain)?))))
            .collect();
        let wanders = if fit.diagnostics.warnings.contains(&Warning::Wandering) {
            "; if the law is wrong, they are still too small"
        } else {
            ""
        };
        let together = if self.is_seen() {
            "neighbouring points err together".to_owned()
        } else {
            format!(
                "neighbouring points may err together, as independent ones seem to in {:.0} of 100 fits",
                100.0 * self.chance
            )
        };
        format!(
            "{together} (lag-one correlation {:.2}), so that {} points are worth about {:.0} \
             independent ones: the errors allow for it as a first-order autoregression{wanders} (plain errors, too small: {})",
            self.lag_one,
            fit.points,
            self.effective_points.max(1.0),
            plain.join(", ")
        )
    }
}

/// Two figures of an error.
fn short(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || (1e-4..1e5).contains(&size) {
        let digits = if size == 0.0 {
            0.0
        } else {
            (1.0 - size.log10().floor()).max(0.0)
        };
        format!("{value:.*}", digits as usize)
    } else {
        format!("{value:.1e}")
    }
}

struct CorrelationEstimate {
    rho: f64,
    /// Covariance of the active parameters, row by row.
    covariance: Vec<f64>,
}

fn estimate(model: &dyn Model, x: &[&[f64]], fit: &Fit, active: &[usize]) -> Option<CorrelationEstimate> {
    let (n, p, m) = (fit.residuals.len(), fit.parameters.len(), active.len());
    let values: Vec<f64> = fit.parameters.iter().map(|p| p.value).collect();
    let mut fitted = vec![0.0; n];
    let mut columns = vec![0.0; n * p];
    model.differentiate(x, &values, &mut fitted, &mut columns);
    // Columns of length one, so that sums of squares are of one size; the residuals stand last.
    let q = m + 1;
    let mut scale = vec![0.0; m];
    let mut rows = vec![0.0; n * q];
    for (a, j) in active.iter().enumerate() {
        let column = &columns[j * n..(j + 1) * n];
        let length = column.iter().map(|v| v * v).sum::<f64>().sqrt();
        if !(length > 0.0 && length.is_finite()) {
            return None;
        }
        scale[a] = length;
        for (i, value) in column.iter().enumerate() {
            rows[i * q + a] = value / length;
        }
    }
    let spread = fit.residuals.iter().map(|r| r * r).sum::<f64>().sqrt();
    for (i, value) in fit.residuals.iter().enumerate() {
        rows[i * q + m] = value / spread;
    }
    // Where V is the correlation of a first-order autoregression, vᵀV⁻¹v (times 1 - ρ²) is A + ρ² C - ρ B.
    let (mut all, mut cross, mut inner) = (vec![0.0; q * q], vec![0.0; q * q], vec![0.0; q * q]);
    for i in 0..n {
        let row = &rows[i * q..(i + 1) * q];
        for a in 0..q {
            for b in a..q {
                let here = row[a] * row[b];
                all[a * q + b] += here;
                if i > 0 {
                    let before = &rows[(i - 1) * q..i * q];
                    cross[a * q + b] += row[a] * before[b] + before[a] * row[b];
                    if i + 1 < n {
                        inner[a * q + b] += here;
                    }
                }
            }
        }
    }
    let freedom = (n - m) as f64;
    const STEPS: u32 = 96;
    let mut trials: Vec<(f64, f64, Vec<f64>)> = Vec::new();
    for step in 0..=STEPS {
        let rho = -0.5 + 1.49 * f64::from(step) / f64::from(STEPS);
        let form: Vec<f64> = (0..q * q)
            .map(|k| all[k] + rho * rho * inner[k] - rho * cross[k])
            .collect();
        let Some(solved) = SolvedForm::of(&form, q) else {
            continue;
        };
        let likelihood =
            0.5 * (1.0 - rho * rho).ln() - 0.5 * solved.log_determinant - 0.5 * freedom * solved.rest.ln();
        let variance = solved.rest / freedom;
        trials.push((
            rho,
            likelihood,
            solved.inverse.iter().map(|value| value * variance).collect(),
        ));
    }
    let best = trials.iter().map(|t| t.1).fold(f64::NEG_INFINITY, f64::max);
    if !best.is_finite() {
        return None;
    }
    let mut weight = 0.0;
    let mut rho = 0.0;
    let mut covariance = vec![0.0; m * m];
    for (at, likelihood, own) in &trials {
        let share = (likelihood - best).exp();
        weight += share;
        rho += share * at;
        for (sum, value) in covariance.iter_mut().zip(own) {
            *sum += share * value;
        }
    }
    rho /= weight;
    // Least squares is not the best that correlated data allow: what its errors are above that is taken at the mean
    // correlation.
    let least = least_squares_growth(&rows, (n, q), rho, &all, (&inner, &cross))?;
    for a in 0..m {
        for b in 0..m {
            covariance[a * m + b] *=
                spread * spread / weight * (least[a] * least[b]).sqrt() / (scale[a] * scale[b]);
        }
    }
    Some(CorrelationEstimate { rho, covariance })
}

/// Variance of least squares over that of the best linear estimate, for each parameter, at a correlation.
fn least_squares_growth(
    rows: &[f64],
    (n, q): (usize, usize),
    rho: f64,
    all: &[f64],
    (inner, cross): (&[f64], &[f64]),
) -> Option<Vec<f64>> {
    let m = q - 1;
    let form: Vec<f64> = (0..q * q)
        .map(|k| all[k] + rho * rho * inner[k] - rho * cross[k])
        .collect();
    let best = SolvedForm::of(&form, q)?.inverse;
    let plain = SolvedForm::of(all, q)?.inverse;
    // JᵀVJ by the running sum u_i = ρ (u_{i-1} + J_{i-1}).
    let mut sum = vec![0.0; m * m];
    let mut running = vec![0.0; m];
    for i in 0..n {
        let row = &rows[i * q..i * q + m];
        if i > 0 {
            for (u, before) in running.iter_mut().zip(&rows[(i - 1) * q..(i - 1) * q + m]) {
                *u = rho * (*u + before);
            }
        }
        for a in 0..m {
            for b in 0..m {
                sum[a * m + b] += row[a] * row[b] + row[a] * running[b] + running[a] * row[b];
            }
        }
    }
    let growth = (0..m)
        .map(|j| {
            let mut variance = 0.0;
            for a in 0..m {
                for b in 0..m {
                    variance += plain[j * m + a] * sum[a * m + b] * plain[b * m + j];
                }
            }
            (variance / (1.0 - rho * rho) / best[j * m + j]).max(1.0)
        })
        .collect();
    Some(growth)
}

/// A quadratic form in parameters and residuals, solved for the parameters.
struct SolvedForm {
    inverse: Vec<f64>,
    log_determinant: f64,
    rest: f64,
}

impl SolvedForm {
    /// By Cholesky's factor of the upper triangle; none where the form is not positive.
    fn of(form: &[f64], q: usize) -> Option<Self> {
        let m = q - 1;
        let mut lower = vec![0.0; q * q];
        for j in 0..q {
            for i in j..q {
                let mut value = form[j * q + i];
                for k in 0..j {
                    value -= lower[i * q + k] * lower[j * q + k];
                }
                if i == j {
                    if value.is_nan() || value <= 1e-14 * form[j * q + j].abs() {
                        return None;
                    }
                    lower[j * q + j] = value.sqrt();
                } else {
                    lower[i * q + j] = value / lower[j * q + j];
                }
            }
        }
        let mut inverse_of_lower = vec![0.0; m * m];
        for j in 0..m {
            inverse_of_lower[j * m + j] = 1.0 / lower[j * q + j];
            for i in j + 1..m {
                let sum: f64 = (j..i)
                    .map(|k| lower[i * q + k] * inverse_of_lower[k * m + j])
                    .sum();
                inverse_of_lower[i * m + j] = -sum / lower[i * q + i];
            }
        }
        let mut inverse = vec![0.0; m * m];
        for a in 0..m {
            for b in 0..m {
                inverse[a * m + b] = (a.max(b)..m)
                    .map(|k| inverse_of_lower[k * m + a] * inverse_of_lower[k * m + b])
                    .sum();
            }
        }
        Some(Self {
            inverse,
            log_determinant: (0..m).map(|j| 2.0 * lower[j * q + j].ln()).sum(),
            rest: lower[m * q + m] * lower[m * q + m],
        })
    }
}
