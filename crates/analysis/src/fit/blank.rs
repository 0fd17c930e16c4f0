//! Errors that many points have in common.
//!
//! Rates from which one blank was taken off all lie too high or too low by what the blank is wrong. Such an error does not show in
//! the scatter about a law and does not become smaller with more points: it moves the parameters, and how far follows from the
//! derivatives. The points' own errors stay as the fit has them.

use std::borrow::Cow;

use super::finish::{around, half_width};
use super::solver::product;
use super::{Determination, Fit, FitInterval};
use crate::models::Model;

/// Adds errors that points have in common to those of the parameters.
///
/// Each of `common` is what one standard deviation of one such error does to every point. `weights` are those of the fit. Gives the
/// part of each parameter's variance that comes from them; none where the fit has no errors.
pub fn add_common_errors(
    model: &dyn Model,
    x: &[&[f64]],
    weights: Option<&[f64]>,
    common: &[Vec<f64>],
    fit: &mut Fit,
) -> Option<Vec<f64>> {
    let (n, p) = (fit.residuals.len(), fit.parameters.len());
    let mut covariance = fit.covariance.clone()?;
    // The covariance holds the residual variance unless the errors were known.
    let unit = if fit.fit_probability.is_some() {
        1.0
    } else {
        fit.residual_sum_of_squares / fit.degrees_of_freedom as f64
    };
    if unit.is_nan() || unit <= 0.0 || common.iter().any(|own| own.len() != n) {
        return None;
    }
    let values = fit.values();
    let (mut fitted, mut columns) = (vec![0.0; n], vec![0.0; n * p]);
    model.differentiate(x, &values, &mut fitted, &mut columns);
    let before: Vec<f64> = (0..p).map(|j| covariance[j * p + j]).collect();
    let plain = covariance.clone();
    for own in common {
        let weighted: Vec<f64> = match weights {
            None => own.clone(),
            Some(weights) => own.iter().zip(weights).map(|(e, w)| e * w).collect(),
        };
        let slopes: Vec<f64> = (0..p)
            .map(|j| product(&columns[j * n..(j + 1) * n], &weighted))
            .collect();
        let moved: Vec<f64> = (0..p)
            .map(|i| product(&plain[i * p..(i + 1) * p], &slopes) / unit)
            .collect();
        for i in 0..p {
            for j in 0..p {
                covariance[i * p + j] += moved[i] * moved[j];
            }
        }
    }
    if covariance.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let share = (0..p)
        .map(|j| {
            let all = covariance[j * p + j];
            if all > 0.0 { 1.0 - before[j] / all } else { 0.0 }
        })
        .collect();
    let active: Vec<usize> = (0..p)
        .filter(|j| fit.parameters[*j].standard_error.is_some())
        .collect();
    replace_errors(model, fit, &active, covariance);
    Some(share)
}

/// Puts a covariance in the place of that of a fit, with all that follows from it.
pub(super) fn replace_errors(model: &dyn Model, fit: &mut Fit, active: &[usize], covariance: Vec<f64>) {
    let p = fit.parameters.len();
    let freedom = fit
        .correlation
        .as_ref()
        .map_or(fit.degrees_of_freedom as f64, |found| found.degrees_of_freedom);
    let half = half_width(fit.level, freedom, fit.fit_probability.is_some());
    for j in active {
        let error = covariance[j * p + j].max(0.0).sqrt();
        let parameter = &mut fit.parameters[*j];
        parameter.profile = parameter
            .profile
            .map(|own| own.stretched(parameter.value, growth(parameter.interval, half * error)));
        parameter.standard_error = Some(error);
        parameter.interval = Some(around(parameter.value, half * error));
        let positive = model.parameters()[*j].positive;
        if positive && parameter.standing == Determination::Determined && half * error >= parameter.value {
            parameter.standing = Determination::PoorlyDetermined;
        }
    }
    fit.covariance = Some(covariance);
    let values = fit.values();
    let before = std::mem::take(&mut fit.derived);
    for c in model.derived(&values) {
        fit.derive(Cow::Borrowed(c.name), Cow::Borrowed(c.unit), c.value, &c.gradient);
    }
    for own in &mut fit.derived {
        let plain = before.iter().find(|plain| plain.name == own.name);
        own.profile = plain
            .and_then(|plain| plain.profile.zip(plain.interval))
            .map(|(profile, interval)| {
                let half = own
                    .interval
                    .and_then(|interval| Some(interval.upper? - own.value));
                profile.stretched(own.value, growth(Some(interval), half.unwrap_or(0.0)))
            });
    }
}

/// How many times as wide an interval becomes that had been this one.
fn growth(before: Option<FitInterval>, half: f64) -> f64 {
    let width = before.and_then(|own| Some(own.upper? - own.lower?));
    width
        .filter(|width| *width > 0.0)
        .map_or(1.0, |width| 2.0 * half / width)
}
