use serde::{Deserialize, Serialize};

use super::{Remark, all_finite, level_in_range};
use crate::distribution::t_half_width;
use crate::linear::fit_weighted;
use crate::refusal::{Refusal, require_finite, require_length};

/// A reference spectrum of one component, on the wavelengths of the mixture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Component {
    /// Its name.
    pub name: String,
    /// Absorbance per unit of concentration (ε·l) at each wavelength.
    pub absorptivity: Vec<f64>,
}

/// How a mixture is resolved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MixtureOptions {
    /// Whether a constant offset is fitted beside the components.
    pub with_offset: bool,
    /// Confidence level of the intervals.
    pub level: f64,
    /// End of the trusted absorbance range: wavelengths above it are left out and told.
    pub ceiling: Option<f64>,
    /// Weight of each wavelength, proportional to its reciprocal variance; all alike where absent.
    pub weights: Option<Vec<f64>>,
}

impl Default for MixtureOptions {
    fn default() -> Self {
        Self {
            with_offset: false,
            level: 0.95,
            ceiling: None,
            weights: None,
        }
    }
}

/// What was found of one component.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ComponentFound {
    /// Its name.
    pub name: String,
    /// Its concentration, in the unit that the reference is per.
    pub value: f64,
    /// Standard error, from the residuals.
    pub standard_error: f64,
    /// Confidence interval.
    pub interval: [f64; 2],
    /// By which factor the error is larger than if this component were the only one: the root of the
    /// (uncentred) variance inflation factor. 1 where its spectrum is orthogonal to all others.
    pub inflation: f64,
}

/// A mixture resolved into components.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mixture {
    /// The components, in given order.
    pub components: Vec<ComponentFound>,
    /// The constant offset with its standard error, where one was fitted.
    pub offset: Option<super::Measured>,
    /// The wavelengths that were used, counted from 0 in given order.
    pub used: Vec<usize>,
    /// Absorbance less what the components explain, at each wavelength used.
    pub residuals: Vec<f64>,
    /// Residual standard deviation.
    pub residual_sd: f64,
    /// Wavelengths less coefficients.
    pub degrees_of_freedom: usize,
    /// Correlation of neighbouring residuals; far from 0 there is structure that no component explains.
    pub neighbour_correlation: f64,
    /// Correlation of the estimates of each pair of components: (first, second, correlation).
    pub correlations: Vec<(usize, usize, f64)>,
    /// Confidence level of the intervals.
    pub level: f64,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// Finds the concentrations of several components by least squares, A = Σ cⱼ·(ε·l)ⱼ (+ offset).
///
/// Concentrations are not held above zero: a negative one tells that a component or the baseline is
/// wrong, and holding it would hide that. Errors of the reference spectra are not included.
///
/// # Errors
/// `unequal-lengths`, `not-finite`; `too-few-points` for fewer wavelengths than one more than the
/// coefficients; `collinear` (counted in given order, the offset last) where a reference is a
/// combination of others; `all-saturated`; `out-of-range` for the level.
pub fn mixture(
    absorbance: &[f64],
    references: &[Component],
    options: &MixtureOptions,
) -> Result<Mixture, Refusal> {
    let MixtureOptions {
        with_offset,
        level,
        ceiling,
        weights,
    } = options;
    let (with_offset, level) = (*with_offset, *level);
    level_in_range(level)?;
    require_finite("the absorbances", absorbance)?;
    let too_few = |what: &str, found, needed| Refusal::TooFewPoints {
        what: what.into(),
        found,
        needed,
    };
    if references.is_empty() {
        return Err(too_few("reference spectra", 0, 1));
    }
    for reference in references {
        let name = format!("the reference {}", reference.name);
        require_length(&name, &reference.absorptivity, absorbance.len())?;
    }
    if let Some(weights) = weights {
        require_length("weights", weights, absorbance.len())?;
    }
    let used: Vec<usize> = (0..absorbance.len())
        .filter(|i| ceiling.is_none_or(|c| absorbance[*i] <= c))
        .collect();
    let mut remarks = Vec::new();
    if let Some(limit) = ceiling
        && used.len() < absorbance.len()
    {
        if used.is_empty() {
            return Err(Refusal::AllSaturated {
                limit: *limit,
                count: absorbance.len(),
            });
        }
        remarks.push(Remark::new(
            "saturated-left-out",
            format!(
                "{} of {} wavelengths lie above {limit} and were left out",
                absorbance.len() - used.len(),
                absorbance.len()
            ),
        ));
    }
    let pick = |values: &[f64]| used.iter().map(|i| values[*i]).collect::<Vec<f64>>();
    let readings = pick(absorbance);
    let weights = weights.as_deref().map(pick);
    let mut kept: Vec<Vec<f64>> = references.iter().map(|r| pick(&r.absorptivity)).collect();
    if with_offset {
        kept.push(vec![1.0; used.len()]);
    }
    let columns: Vec<&[f64]> = kept.iter().map(Vec::as_slice).collect();
    let short = || too_few("wavelengths", used.len(), columns.len() + 1);
    if used.len() <= columns.len() {
        return Err(short());
    }
    let fit = fit_weighted(&columns, &readings, weights.as_deref())?;
    let (Some(errors), Some(residual_sd)) = (fit.standard_errors, fit.residual_sd) else {
        return Err(short());
    };
    all_finite(&fit.coefficients)?;
    all_finite(&errors)?;
    let quantile = t_half_width(level, fit.degrees_of_freedom as f64);
    let weight = |i: usize| weights.as_ref().map_or(1.0, |w| w[i]);
    let inverse = &fit.unscaled_covariance;
    let components: Vec<ComponentFound> = references
        .iter()
        .enumerate()
        .map(|(j, reference)| {
            let square: f64 = kept[j].iter().enumerate().map(|(i, a)| weight(i) * a * a).sum();
            let (value, error) = (fit.coefficients[j], errors[j]);
            ComponentFound {
                name: reference.name.clone(),
                value,
                standard_error: error,
                interval: [value - quantile * error, value + quantile * error],
                inflation: (inverse[j][j] * square).sqrt(),
            }
        })
        .collect();
    let mut correlations = Vec::new();
    for a in 0..references.len() {
        for b in a + 1..references.len() {
            correlations.push((a, b, inverse[a][b] / (inverse[a][a] * inverse[b][b]).sqrt()));
        }
    }
    let own: f64 = fit.residuals.iter().map(|r| r * r).sum();
    let neighbours: f64 = fit.residuals.windows(2).map(|p| p[0] * p[1]).sum();
    let neighbour_correlation = if own > 0.0 { neighbours / own } else { 0.0 };
    remarks.extend(said_of(&components, neighbour_correlation, used.len()));
    remarks.push(Remark::new(
        "references-taken-as-exact",
        "errors of the reference spectra are not included",
    ));
    Ok(Mixture {
        offset: with_offset.then(|| {
            super::Measured::with_error(fit.coefficients[references.len()], errors[references.len()])
        }),
        components,
        used,
        residuals: fit.residuals,
        residual_sd,
        degrees_of_freedom: fit.degrees_of_freedom,
        neighbour_correlation,
        correlations,
        level,
        remarks,
    })
}

/// What a reader must know of the components that were found: `count` readings, whose neighbouring residuals are so correlated.
fn said_of(components: &[ComponentFound], neighbour_correlation: f64, count: usize) -> Vec<Remark> {
    let mut remarks = Vec::new();
    for c in components {
        // A variance inflation factor above 10 is where common practice begins to speak of collinearity.
        if c.inflation * c.inflation > 10.0 {
            remarks.push(Remark::new(
                "collinear",
                format!(
                    "{} looks much like a combination of the other references: its error is {:.1} times what it would be alone",
                    c.name, c.inflation
                ),
            ));
        }
        if c.value < -2.0 * c.standard_error {
            remarks.push(Remark::new(
                "negative-concentration",
                format!("{} comes out below zero by more than two standard errors: a component is missing, or the baseline is wrong", c.name),
            ));
        }
    }
    // 2/√n is about the 95 % limit of the correlation of independent residuals.
    if neighbour_correlation > 2.0 / (count as f64).sqrt() {
        remarks.push(Remark::new(
            "structured-residuals",
            format!("neighbouring residuals are correlated ({neighbour_correlation:.2}): something is left that no reference explains, or the points are not independent, and the errors are too small"),
        ));
    }
    remarks
}
