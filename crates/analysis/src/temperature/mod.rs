//! Rate constants against temperature: Arrhenius and Eyring.
//!
//! Both are straight lines in the logarithm, so that relative errors of the rate constants are equal errors of the
//! line; with known errors each point is weighted by `(k/σ)²`.

use serde::{Deserialize, Serialize};

use crate::distribution::{f_upper, t_half_width};
use crate::fit::FitInterval;
use crate::linear::{LinearFit, polynomial_weighted};
use crate::refusal::{Refusal, require_finite, require_length};

/// Molar gas constant, J mol⁻¹ K⁻¹ (exact: the product of the Boltzmann and Avogadro constants of the 2019 SI).
pub const GAS_CONSTANT: f64 = 8.314_462_618_153_24;
/// Boltzmann constant over Planck constant, K⁻¹ s⁻¹ (exact in the 2019 SI: 1.380649e-23 / 6.62607015e-34).
pub const BOLTZMANN_OVER_PLANCK: f64 = 1.380_649e-23 / 6.626_070_15e-34;

/// A quantity with its errors.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DerivedQuantity {
    /// Value.
    pub value: f64,
    /// Standard error.
    pub standard_error: f64,
    /// 95 % interval by Student's t.
    pub interval: FitInterval,
}

/// Arrhenius: `k = A exp(-Ea/RT)`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Arrhenius {
    /// Activation energy, J/mol.
    pub activation_energy: DerivedQuantity,
    /// Natural logarithm of the pre-exponential factor (A in the unit of k).
    pub ln_factor: DerivedQuantity,
    /// The straight line of ln k against 1/T.
    pub line: LinearFit,
    /// Probability of so large a curvature if the line is straight; absent with fewer than four points.
    pub straightness: Option<f64>,
}

/// Eyring: `k = (kB T/h) exp(ΔS‡/R) exp(-ΔH‡/RT)`, transmission coefficient one; k in s⁻¹ (a second-order constant
/// in L mol⁻¹ s⁻¹ refers to the standard state of 1 mol/L).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Eyring {
    /// Activation enthalpy, J/mol.
    pub enthalpy: DerivedQuantity,
    /// Activation entropy, J mol⁻¹ K⁻¹.
    pub entropy: DerivedQuantity,
    /// Activation Gibbs energy at `temperature`, J/mol; its error takes the correlation of the other two into account.
    pub gibbs_energy: DerivedQuantity,
    /// Temperature of the Gibbs energy, K: 298.15.
    pub temperature: f64,
    /// The straight line of ln(k/T) against 1/T.
    pub line: LinearFit,
    /// Probability of so large a curvature if the line is straight; absent with fewer than four points.
    pub straightness: Option<f64>,
}

/// Fits `ln k = ln A - Ea/(R T)`. Temperatures in kelvin; `errors` are standard errors of k.
///
/// # Errors
/// Fewer than three points, one temperature only, temperatures or rate constants that are not above zero.
pub fn arrhenius(temperature: &[f64], k: &[f64], errors: Option<&[f64]>) -> Result<Arrhenius, Refusal> {
    let (line, straightness) = straight(temperature, k, errors, |k, _| k.ln())?;
    let (ln_factor, slope) = coefficients(&line)?;
    let activation_energy = scaled(slope, -GAS_CONSTANT);
    Ok(Arrhenius {
        activation_energy,
        ln_factor,
        line,
        straightness,
    })
}

/// Fits `ln(k/T) = ln(kB/h) + ΔS‡/R - ΔH‡/(R T)`. Temperatures in kelvin, k in s⁻¹; `errors` are standard errors of k.
///
/// # Errors
/// As [`arrhenius`].
pub fn eyring(temperature: &[f64], k: &[f64], errors: Option<&[f64]>) -> Result<Eyring, Refusal> {
    let (line, straightness) = straight(temperature, k, errors, |k, t| (k / t).ln())?;
    let (intercept, slope) = coefficients(&line)?;
    let enthalpy = scaled(slope, -GAS_CONSTANT);
    let mut entropy = scaled(intercept, GAS_CONSTANT);
    let shift = -GAS_CONSTANT * BOLTZMANN_OVER_PLANCK.ln();
    entropy.value += shift;
    entropy.interval.lower = entropy.interval.lower.map(|v| v + shift);
    entropy.interval.upper = entropy.interval.upper.map(|v| v + shift);
    let at = 298.15;
    // ΔG‡ = ΔH‡ - T ΔS‡ = -R (b + T a) + const, with line a + b/T.
    let c = line.covariance.as_ref().ok_or_else(no_freedom)?;
    let variance = c[1][1] + 2.0 * at * c[0][1] + at * at * c[0][0];
    let standard_error = GAS_CONSTANT * variance.max(0.0).sqrt();
    let gibbs_energy = quantity(
        enthalpy.value - at * entropy.value,
        standard_error,
        line.degrees_of_freedom,
    );
    Ok(Eyring {
        enthalpy,
        entropy,
        gibbs_energy,
        temperature: at,
        line,
        straightness,
    })
}

fn no_freedom() -> Refusal {
    Refusal::TooFewPoints {
        what: "points".into(),
        found: 2,
        needed: 3,
    }
}

fn quantity(value: f64, standard_error: f64, degrees_of_freedom: usize) -> DerivedQuantity {
    let half = t_half_width(0.95, degrees_of_freedom as f64) * standard_error;
    DerivedQuantity {
        value,
        standard_error,
        interval: FitInterval {
            lower: Some(value - half),
            upper: Some(value + half),
        },
    }
}

fn scaled(q: DerivedQuantity, factor: f64) -> DerivedQuantity {
    let (a, b) = (
        q.interval.lower.map(|v| v * factor),
        q.interval.upper.map(|v| v * factor),
    );
    let interval = if factor < 0.0 {
        FitInterval { lower: b, upper: a }
    } else {
        FitInterval { lower: a, upper: b }
    };
    DerivedQuantity {
        value: q.value * factor,
        standard_error: q.standard_error * factor.abs(),
        interval,
    }
}

fn coefficients(line: &LinearFit) -> Result<(DerivedQuantity, DerivedQuantity), Refusal> {
    let errors = line.standard_errors.as_ref().ok_or_else(no_freedom)?;
    let df = line.degrees_of_freedom;
    Ok((
        quantity(line.coefficients[0], errors[0], df),
        quantity(line.coefficients[1], errors[1], df),
    ))
}

fn straight(
    temperature: &[f64],
    k: &[f64],
    errors: Option<&[f64]>,
    transform: impl Fn(f64, f64) -> f64,
) -> Result<(LinearFit, Option<f64>), Refusal> {
    require_length("rate constants", k, temperature.len())?;
    require_finite("temperature", temperature)?;
    require_finite("rate constant", k)?;
    if k.len() < 3 {
        return Err(Refusal::TooFewPoints {
            what: "points".into(),
            found: k.len(),
            needed: 3,
        });
    }
    for (what, column) in [("temperature (in kelvin)", temperature), ("rate constant", k)] {
        if let Some(index) = column.iter().position(|v| *v <= 0.0) {
            return Err(Refusal::OutOfRange {
                what: format!("the {what} at point {}", index + 1),
                value: column[index],
                allowed: "above zero".into(),
            });
        }
    }
    let weights = match errors {
        None => None,
        Some(errors) => {
            require_length("errors of the rate constants", errors, k.len())?;
            if let Some(index) = errors.iter().position(|e| !e.is_finite() || *e <= 0.0) {
                return Err(Refusal::BadWeight {
                    index,
                    value: errors[index],
                });
            }
            Some(
                k.iter()
                    .zip(errors)
                    .map(|(k, e)| (k / e) * (k / e))
                    .collect::<Vec<f64>>(),
            )
        }
    };
    let x: Vec<f64> = temperature.iter().map(|t| 1.0 / t).collect();
    let y: Vec<f64> = k
        .iter()
        .zip(temperature)
        .map(|(k, t)| transform(*k, *t))
        .collect();
    let line = polynomial_weighted(&x, &y, 1, weights.as_deref())?;
    let straightness = polynomial_weighted(&x, &y, 2, weights.as_deref())
        .ok()
        .and_then(|bent| {
            let df = bent.degrees_of_freedom as f64;
            let rest = bent.residual_sum_of_squares;
            let gained = (line.residual_sum_of_squares - rest).max(0.0);
            (df > 0.0 && rest > 0.0).then(|| f_upper(gained / (rest / df), 1.0, df))
        });
    Ok((line, straightness))
}
