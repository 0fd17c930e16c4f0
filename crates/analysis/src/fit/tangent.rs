//! What a model can make of a column of numbers by small moves of its parameters, and what it cannot.

use super::solver::{free_of, sum_of_squares};
use crate::models::Model;

/// What is left of a column that others make is rounding below this part of its length.
const ROUNDING: f64 = 1e-9;

/// The plane that the derivatives of a model span at given parameters: what small moves of these make of the fitted values.
///
/// The score test asks of it whether a term beside the model shows in the residuals, without a second fit (Rao, Proceedings of the
/// Cambridge Philosophical Society 44, 50, 1948).
pub(crate) struct TangentPlane {
    /// Columns of length one, at right angles to each other.
    basis: Vec<Vec<f64>>,
}

/// What a column has beside a [`TangentPlane`].
pub(crate) struct BesidePlane {
    /// Its direction, of length one.
    pub(crate) direction: Vec<f64>,
    /// Its length, in units of the column.
    pub(crate) length: f64,
}

impl TangentPlane {
    /// The plane at `n` points with a column in `x` for each variable; `roots` are the roots of their weights, none where all count
    /// alike.
    pub(crate) fn of(
        model: &dyn Model,
        x: &[&[f64]],
        parameters: &[f64],
        (n, roots): (usize, Option<&[f64]>),
    ) -> Self {
        let (mut fitted, mut slopes) = (vec![0.0; n], vec![0.0; n * parameters.len()]);
        model.differentiate(x, parameters, &mut fitted, &mut slopes);
        let mut plane = Self { basis: Vec::new() };
        for column in slopes.chunks_mut(n) {
            if let Some(roots) = roots {
                column.iter_mut().zip(roots).for_each(|(v, root)| *v *= root);
            }
            if let Some(beside) = plane.beside(column) {
                plane.basis.push(beside.direction);
            }
        }
        plane
    }

    /// What a column has that the model cannot make; none where that is rounding. The column counts as the points do.
    pub(crate) fn beside(&self, column: &[f64]) -> Option<BesidePlane> {
        let whole = sum_of_squares(column).sqrt();
        let mut direction = column.to_vec();
        // Gram and Schmidt, twice, is enough.
        for _ in 0..2 {
            free_of(&self.basis, &mut direction);
        }
        let length = sum_of_squares(&direction).sqrt();
        (length > ROUNDING * whole).then(|| {
            direction.iter_mut().for_each(|v| *v /= length);
            BesidePlane { direction, length }
        })
    }
}
