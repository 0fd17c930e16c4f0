//! Models: what can be fitted.
//!
//! Everything the fitting core needs of a model is the trait [`Model`]. Rate laws that come with the program are
//! entries of a table ([`law`]); time courses are put together from parts (see [`crate::courses`]); a person's own
//! model is a [`formula`].

pub mod formula;
pub mod law;

mod constrained;

pub(crate) mod grid;
pub(crate) mod slope;

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

pub use constrained::{Constrained, TiedParameter};

use crate::fit::RefinedSolution;
use crate::refusal::Refusal;

/// What is known of a parameter before any data.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Specification {
    /// Name, as it stands in results.
    pub name: Cow<'static, str>,
    /// Unit in terms of the data's axes: `x`, `y`, `y/x`, `1/x`, `1` … The caller, who knows the axes, puts in theirs.
    pub unit: Cow<'static, str>,
    /// Whether the quantity has a meaning only above zero (a rate constant, a dissociation constant). Where its interval
    /// reaches zero, such a parameter is reported as poorly determined.
    pub positive: bool,
    /// Smallest value allowed; none: no limit.
    pub lower: Option<f64>,
    /// Largest value allowed; none: no limit.
    pub upper: Option<f64>,
}

impl Specification {
    /// A parameter of any sign.
    pub const fn any(name: &'static str, unit: &'static str) -> Self {
        Self {
            name: Cow::Borrowed(name),
            unit: Cow::Borrowed(unit),
            positive: false,
            lower: None,
            upper: None,
        }
    }

    /// A parameter that has a meaning only above zero; the search itself is free.
    pub const fn positive(name: &'static str, unit: &'static str) -> Self {
        Self {
            name: Cow::Borrowed(name),
            unit: Cow::Borrowed(unit),
            positive: true,
            lower: None,
            upper: None,
        }
    }
}

/// A model `y = f(x₁, x₂, …; p₁, p₂, …)`.
///
/// # For those who add a model
/// Columns come and go whole, so that a model can be as fast as its arithmetic. A value that does not exist is `NaN`
/// (never a panic): the search keeps away from it, and [`Model::undefined`] then says why.
pub trait Model {
    /// Stable name in kebab case.
    fn name(&self) -> Cow<'static, str>;

    /// The parameters, in the order of every parameter list.
    fn parameters(&self) -> &[Specification];

    /// How many columns of x the model takes.
    fn variables(&self) -> usize {
        1
    }

    /// Model values at every point, into `values`.
    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]);

    /// Model values, and the derivative by each parameter as one column after another.
    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]);

    /// Starting values drawn from the data.
    ///
    /// # Errors
    /// [`Refusal::NoStart`] and others, where the data do not suit the model.
    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal>;

    /// Whether [`Model::start`] draws its values from the data, rather than from what a person said.
    fn draws_starts(&self) -> bool {
        true
    }

    /// Whether the value at a point depends on that point alone, so that a part of the points can be looked at.
    fn takes_any_points(&self) -> bool {
        true
    }

    /// Positions of the parameters in which the model is linear while the others stay fixed.
    fn linear(&self) -> &[usize] {
        &[]
    }

    /// A quicker way to the minimum that the model knows by itself, for unweighted data; the general search goes on
    /// from where it leads, and takes over where it gives nothing.
    fn shortcut(&self, _x: &[&[f64]], _y: &[f64]) -> Option<Vec<f64>> {
        None
    }

    /// The last digits of a minimum in higher arithmetic, for models that have it.
    fn sharpen(
        &self,
        _x: &[&[f64]],
        _y: &[f64],
        _weights: Option<&[f64]>,
        _p: &[f64],
        _free: &[bool],
    ) -> Option<RefinedSolution> {
        None
    }

    /// The weighted sum of squares at `p` in higher arithmetic, for models that have it.
    fn exact_sum(&self, _x: &[&[f64]], _y: &[f64], _weights: Option<&[f64]>, _p: &[f64]) -> Option<f64> {
        None
    }

    /// The first point at which the model has no value, and what it tried to compute there.
    fn undefined(&self, _x: &[&[f64]], _p: &[f64]) -> Option<(usize, String)> {
        None
    }

    /// Puts equivalent solutions (interchanged exponentials) into one agreed order; `start` is where the search began.
    fn arrange(&self, _start: &[f64], _p: &mut [f64]) {}

    /// Quantities that follow from the parameters, each with its gradient.
    fn derived(&self, _p: &[f64]) -> Vec<DerivedParameter> {
        Vec::new()
    }
}

/// A quantity that follows from the parameters, before its error is known.
#[derive(Clone, Debug, PartialEq)]
pub struct DerivedParameter {
    /// Name.
    pub name: &'static str,
    /// Unit in terms of the data's axes.
    pub unit: &'static str,
    /// Value.
    pub value: f64,
    /// Derivative by each parameter.
    pub gradient: Vec<f64>,
}
