//! Points that do not begin at zero where their law does.

use curvary_record::{Code, Diagnostic};

use crate::distribution::{normal_upper, t_two_sided};
use crate::fit::{Data, Fit, Options, Robust};
use crate::models::Model;
use crate::study::{Six, likely};

/// Below this probability a constant beside the law is told; chance gives one in a hundred fits.
const CONSTANT: f64 = 0.01;

/// Says so where a law begins at zero and its points lie closer to it with a constant beside it: a blank that was not taken off.
///
/// The score test: the constant, freed of what the derivatives of the law can make of it, against the residuals. It takes no second
/// fit, so that any law and any formula can be asked; the size of the constant is that of one step from the fit.
pub(super) fn misses_zero(
    model: &dyn Model,
    data: &Data<'_>,
    options: &Options,
    found: &Fit,
) -> Option<Diagnostic> {
    // Somebody who holds or limits parameters has a law of their own in mind.
    if options.robust != Robust::No || !options.held.is_empty() || !options.bounds.is_empty() {
        return None;
    }
    let (n, parameters) = (found.residuals.len(), found.values());
    if !begins_at_zero(model, &parameters, data.x.len(), &found.fitted) {
        return None;
    }
    let (mut fitted, mut slopes) = (vec![0.0; n], vec![0.0; n * parameters.len()]);
    model.differentiate(data.x, &parameters, &mut fitted, &mut slopes);
    let weights = data.weighting.counted(&found.fitted);
    let weighted = |column: &[f64]| -> Vec<f64> {
        match &weights {
            Some(weights) => column
                .iter()
                .zip(weights.iter())
                .map(|(v, w)| v * w.sqrt())
                .collect(),
            None => column.to_vec(),
        }
    };
    let residuals = weighted(&found.residuals);
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for column in slopes.chunks(n) {
        basis.extend(beside(&basis, &weighted(column)).map(|(column, _)| column));
    }
    let (constant, length) = beside(&basis, &weighted(&vec![1.0; n]))?;
    let along: f64 = constant.iter().zip(&residuals).map(|(a, b)| a * b).sum();
    let probability = if found.fit_probability.is_some() {
        2.0 * normal_upper(along.abs())
    } else {
        let freedom = found
            .degrees_of_freedom
            .checked_sub(1)
            .filter(|freedom| *freedom > 0)? as f64;
        let rest = residuals.iter().map(|r| r * r).sum::<f64>() - along * along;
        t_two_sided(along / (rest.max(0.0) / freedom).sqrt(), freedom)
    };
    if probability.is_nan() || probability >= CONSTANT {
        return None;
    }
    Some(Diagnostic::warning(
        Code::new("lack-of-fit"),
        format!(
            "the errors above are too small, and the values may be wrong: the law begins at zero, and with a constant of about {} beside it \
             these points lie closer to it (probability {} by chance); is a blank to be taken off first?",
            Six(along / length),
            likely(probability)
        ),
    ))
}

/// Whether the law is zero where all its variables are, as far as doubles tell it.
fn begins_at_zero(model: &dyn Model, parameters: &[f64], variables: usize, fitted: &[f64]) -> bool {
    let columns: Vec<&[f64]> = vec![&[0.0]; variables];
    let mut at_zero = [f64::NAN];
    model.evaluate(&columns, parameters, &mut at_zero);
    let largest = fitted.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
    at_zero[0].abs() <= 1e-12 * largest
}

/// A column of length one that the basis does not make, with the length that is left of the given one; none where nothing is.
fn beside(basis: &[Vec<f64>], column: &[f64]) -> Option<(Vec<f64>, f64)> {
    /// What is left of a column that others make is rounding.
    const NOTHING: f64 = 1e-9;
    let whole = column.iter().map(|v| v * v).sum::<f64>().sqrt();
    let mut column = column.to_vec();
    for _ in 0..2 {
        for known in basis {
            let along: f64 = known.iter().zip(&column).map(|(a, b)| a * b).sum();
            column.iter_mut().zip(known).for_each(|(c, k)| *c -= along * k);
        }
    }
    let length = column.iter().map(|v| v * v).sum::<f64>().sqrt();
    (length > NOTHING * whole).then(|| {
        column.iter_mut().for_each(|v| *v /= length);
        (column, length)
    })
}
