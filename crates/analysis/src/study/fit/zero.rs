//! Points that do not begin at zero where their law does.

use curvary_record::{Code, Diagnostic};

use crate::distribution::{normal_upper, t_two_sided};
use crate::fit::solver::product;
use crate::fit::{Data, Fit, ORIGIN_MISSED, Options, TangentPlane};
use crate::models::Model;
use crate::wording::{Six, likely};

/// Below this probability it is said to be so; above it, that it may be.
const SURE: f64 = 0.01;

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
    if options.is_own_law() {
        return None;
    }
    let (n, parameters) = (found.residuals.len(), found.values());
    if !begins_at_zero(model, &parameters, data.x.len(), &found.fitted) {
        return None;
    }
    let roots: Option<Vec<f64>> = data
        .weighting
        .counted(&found.fitted)
        .map(|weights| weights.iter().map(|weight| weight.sqrt()).collect());
    let weighted = |column: &[f64]| -> Vec<f64> {
        match &roots {
            Some(roots) => column.iter().zip(roots).map(|(v, root)| v * root).collect(),
            None => column.to_vec(),
        }
    };
    let plane = TangentPlane::of(model, data.x, &parameters, (n, roots.as_deref()));
    let constant = plane.beside(&weighted(&vec![1.0; n]))?;
    let residuals = weighted(&found.residuals);
    let along = product(&constant.direction, &residuals);
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
    if probability.is_nan() || probability >= ORIGIN_MISSED {
        return None;
    }
    Some(Diagnostic::warning(
        Code::new("lack-of-fit"),
        format!(
            "the errors above {} too small, and the values may be wrong: the law begins at zero, and with a constant of about {} beside it \
             these points lie closer to it (probability {} by chance); is a blank to be taken off first?",
            if probability < SURE { "are" } else { "may be" },
            Six(along / constant.length),
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
