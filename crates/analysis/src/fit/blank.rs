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

/// An error that many points have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CommonError<'a> {
    /// What one standard deviation of it does to every point.
    Shift(&'a [f64]),
    /// From each reading to the next a step of this standard deviation, each independent of the others: a random walk. `at` says
    /// which reading each point is: between two points lie as many steps as between their readings, though some are left out.
    Walk {
        /// Standard deviation of a step.
        size: f64,
        /// The readings of the points, in order.
        at: &'a [usize],
    },
}

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
    let common: Vec<CommonError<'_>> = common.iter().map(|own| CommonError::Shift(own)).collect();
    let shifts = shifts_by(model, x, weights, &common, fit)?;
    add_shifts(model, &shifts, fit)
}

/// By how much one standard deviation of each independent part of errors moves the parameters: `(JᵀWJ)⁻¹ JᵀW e`, to first order. The
/// covariance must still be the plain one of the fit; none where the fit has no errors.
pub fn shifts_by(
    model: &dyn Model,
    x: &[&[f64]],
    weights: Option<&[f64]>,
    common: &[CommonError<'_>],
    fit: &Fit,
) -> Option<Vec<Vec<f64>>> {
    let (n, p) = (fit.residuals.len(), fit.parameters.len());
    let plain = fit.covariance.as_ref()?;
    let fits = |error: &CommonError<'_>| match error {
        CommonError::Shift(own) => own.len() == n,
        CommonError::Walk { at, .. } => at.len() == n,
    };
    if !common.iter().all(fits) || weights.is_some_and(|weights| weights.len() != n) {
        return None;
    }
    let values = fit.values();
    let (mut fitted, mut columns) = (vec![0.0; n], vec![0.0; n * p]);
    model.differentiate(x, &values, &mut fitted, &mut columns);
    let slopes = columns.clone();
    if let Some(weights) = weights {
        for column in columns.chunks_mut(n) {
            column.iter_mut().zip(weights).for_each(|(slope, w)| *slope *= w);
        }
    }
    // The covariance is this variance times (JᵀWJ)⁻¹, whatever it was taken from: known errors, the residuals, or those of a robust
    // fit. Their product has the number of the parameters that have errors as its trace.
    let (mut trace, mut determined) = (0.0, 0);
    for (i, row) in plain.chunks(p).enumerate().filter(|(i, row)| row[*i] > 0.0) {
        determined += 1;
        let own = &slopes[i * n..(i + 1) * n];
        let along = columns.chunks(n).map(|column| product(column, own));
        trace += row.iter().zip(along).map(|(a, b)| a * b).sum::<f64>();
    }
    let unit = trace / f64::from(determined);
    if unit.is_nan() || unit <= 0.0 {
        return None;
    }
    let moved = |slopes: &[f64]| -> Vec<f64> {
        (0..p)
            .map(|i| product(&plain[i * p..(i + 1) * p], slopes) / unit)
            .collect()
    };
    let mut all = Vec::new();
    for error in common {
        match error {
            CommonError::Shift(own) => {
                let slopes: Vec<f64> = columns.chunks(n).map(|column| product(column, own)).collect();
                all.push(moved(&slopes));
            }
            // A step moves all points from its own on: sums from the end.
            CommonError::Walk { size, at: reading } => {
                let mut slopes = vec![0.0; p];
                for at in (1..n).rev() {
                    for (slope, column) in slopes.iter_mut().zip(columns.chunks(n)) {
                        *slope += size * column[at];
                    }
                    let steps = (reading[at].abs_diff(reading[at - 1]) as f64).sqrt();
                    let own = moved(&slopes);
                    all.push(own.into_iter().map(|own| steps * own).collect());
                }
            }
        }
    }
    Some(all)
}

/// Adds independent shifts of the parameters, each by one standard deviation, to their errors. Gives the part of each parameter's
/// variance that comes from them; none where the fit has no errors, or they would not be finite.
pub fn add_shifts(model: &dyn Model, shifts: &[Vec<f64>], fit: &mut Fit) -> Option<Vec<f64>> {
    let p = fit.parameters.len();
    let mut covariance = fit.covariance.clone()?;
    let before: Vec<f64> = (0..p).map(|j| covariance[j * p + j]).collect();
    for moved in shifts {
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
    let half = half_width(fit.level, fit.error_freedom(), fit.fit_probability.is_some());
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
