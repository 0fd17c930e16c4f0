//! What a fit found, and how far to trust it.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::finish::{around, half_width};
use super::{Correlation, Diagnostics};

/// An interval; a missing side is open: the data set no limit there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FitInterval {
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

impl FitInterval {
    /// So many times as wide about a value; on a scale of ratios where value and limits lie above zero, so that no limit
    /// leaves what has a meaning.
    pub(crate) fn stretched(self, value: f64, factor: f64) -> Self {
        let side = |limit: f64| {
            if limit > 0.0 && value > 0.0 {
                value * (limit / value).powf(factor)
            } else {
                value + (limit - value) * factor
            }
        };
        Self {
            lower: self.lower.map(side),
            upper: self.upper.map(side),
        }
    }
}

/// An end of an interval by profile likelihood.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProfileEnd {
    /// The limit lies here.
    At(f64),
    /// The data set no limit: the sum of squares does not rise so far, or a bound comes before.
    Open,
    /// The search for the limit failed: there may be one, and nothing is said of where.
    NotFound(LostEnd),
}

/// Why the search for the limit of a profile failed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LostEnd {
    /// Between two values the least sum of squares that was found goes over the limit, and the search came upon none with the limit
    /// itself: a jump, or a place where other parameters run away.
    Jump {
        /// Here it lies below the limit.
        below: f64,
        /// Here it lies above.
        above: f64,
    },
    /// Beyond this value no search for the other parameters came to an end.
    Undefined {
        /// The last value where one did.
        beyond: f64,
    },
    /// The limit is of a quantity that follows from parameters, and the search for theirs failed.
    OfParameters,
}

impl ProfileEnd {
    /// The limit, where there is one and it was found.
    pub const fn value(self) -> Option<f64> {
        match self {
            Self::At(value) => Some(value),
            Self::Open | Self::NotFound(_) => None,
        }
    }

    /// The last value below the limit, as far as the search came; none where there is no limit, or it is of other parameters.
    pub(super) const fn last_below(self) -> Option<f64> {
        match self {
            Self::At(value)
            | Self::NotFound(LostEnd::Jump { below: value, .. } | LostEnd::Undefined { beyond: value }) => {
                Some(value)
            }
            Self::Open | Self::NotFound(LostEnd::OfParameters) => None,
        }
    }

    /// Why it was not found, in words.
    pub fn why_not_found(self) -> Option<String> {
        let Self::NotFound(lost) = self else { return None };
        Some(match lost {
            LostEnd::Jump { below, above } => {
                let (below, above) = (format!("{below:.5e}"), format!("{above:.5e}"));
                let place = if below == above {
                    format!("at {below}")
                } else {
                    format!("between {below} and {above}")
                };
                format!(
                    "{place} the least sum of squares that was found goes over the limit without a value on it: it jumps there, or other \
                     parameters run away and the search for them fails"
                )
            }
            LostEnd::Undefined { beyond } => {
                format!("beyond {beyond:.5e} no search for the other parameters came to an end")
            }
            LostEnd::OfParameters => {
                "the search for the limits of the parameters it follows from failed".to_owned()
            }
        })
    }

    /// The same end seen through a function of the value; one that was not found stays so.
    pub(crate) fn seen_through(self, of: impl Fn(f64) -> Option<f64>) -> Self {
        match self {
            Self::At(value) => of(value).map_or(Self::Open, Self::At),
            Self::Open => Self::Open,
            Self::NotFound(_) => Self::NotFound(LostEnd::OfParameters),
        }
    }
}

/// An interval by profile likelihood.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProfileInterval {
    /// Lower end.
    pub lower: ProfileEnd,
    /// Upper end.
    pub upper: ProfileEnd,
}

impl ProfileInterval {
    /// So many times as wide about a value, as [`FitInterval::stretched`] makes it.
    pub(crate) fn stretched(self, value: f64, factor: f64) -> Self {
        let plain = FitInterval {
            lower: self.lower.value(),
            upper: self.upper.value(),
        };
        let wide = plain.stretched(value, factor);
        Self {
            lower: wide.lower.map_or(self.lower, ProfileEnd::At),
            upper: wide.upper.map_or(self.upper, ProfileEnd::At),
        }
    }
}

/// Whether the data determine a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Determination {
    /// The data determine it.
    Determined,
    /// It was held at a given value.
    Held,
    /// It ended on one of its limits; its error is not known.
    AtLimit,
    /// Its interval reaches zero, though it has a meaning only above zero.
    PoorlyDetermined,
    /// All of its interval lies below zero, though it has a meaning only above zero.
    BelowZero,
    /// Other values with other parameters fit as well: the number says nothing.
    NotDetermined,
}

impl Determination {
    /// The standing in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Determined => "determined by the data",
            Self::Held => "held at the given value",
            Self::AtLimit => "ended on its limit, so its error is not known",
            Self::PoorlyDetermined => "poorly determined: its interval reaches zero, where it has no meaning",
            Self::BelowZero => "below zero, where it has no meaning: the model does not describe these data",
            Self::NotDetermined => "not determined by the data: other values fit as well",
        }
    }
}

/// A fitted parameter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FittedParameter {
    /// Name.
    pub name: Cow<'static, str>,
    /// Unit in terms of the axes (see [`crate::models::Specification`]).
    pub unit: Cow<'static, str>,
    /// Value.
    pub value: f64,
    /// Standard error; absent where it is not known.
    pub standard_error: Option<f64>,
    /// Interval by Student's t (by the normal distribution for known errors); absent with the standard error.
    pub interval: Option<FitInterval>,
    /// Profile-likelihood interval, where asked for.
    pub profile: Option<ProfileInterval>,
    /// Whether the data determine it.
    pub standing: Determination,
}

/// A quantity that follows from the parameters, with its error by propagation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Derived {
    /// Name.
    pub name: Cow<'static, str>,
    /// Unit in terms of the axes.
    pub unit: Cow<'static, str>,
    /// Value.
    pub value: f64,
    /// Standard error to first order; absent where one of the parameters has none.
    pub standard_error: Option<f64>,
    /// Interval by Student's t; absent with the standard error.
    pub interval: Option<FitInterval>,
    /// Profile-likelihood interval, where asked for.
    pub profile: Option<ProfileInterval>,
    /// Positions of the parameters it follows from.
    pub follows_from: Vec<usize>,
}

/// Why the search ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Termination {
    /// The residuals are at right angles to every derivative, to the last digits.
    Gradient,
    /// The sum of squares could not be lowered by a part in 10¹⁵.
    Reduction,
    /// The parameters could not be moved by a part in 10¹⁵.
    Step,
    /// The model passes through every point to the rounding of the numbers.
    Exact,
    /// The model's own way led to the minimum.
    Direct,
}

impl Termination {
    /// The reason in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Gradient => "the minimum was found: the residuals are at right angles to every derivative",
            Self::Reduction => "the minimum was found: the sum of squares goes no lower",
            Self::Step => "the minimum was found: no step of the parameters is small enough to go lower",
            Self::Exact => "the curve passes through every point",
            Self::Direct => "the minimum was found",
        }
    }
}

/// A remark about how a fit came about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
pub enum FitRemark {
    /// Two ways of searching ended in different minima; the lower one is given.
    OtherMinimum {
        /// Residual sum of squares of the higher minimum.
        residual_sum_of_squares: f64,
    },
    /// Weights were found by iteration; the errors of a robust fit are those of an M-estimate.
    Reweighted {
        /// Rounds made.
        rounds: usize,
    },
    /// The last digits were found in arithmetic of 31 digits.
    Sharpened,
    /// Points above the limit of trust were left out.
    Saturated {
        /// How many.
        left_out: usize,
        /// The limit.
        limit: f64,
    },
    /// A profile came upon a lower sum of squares: there is another minimum.
    LowerMinimum {
        /// Residual sum of squares at the parameters as they are printed.
        residual_sum_of_squares: f64,
        /// That of the fit.
        in_place_of: f64,
        /// The free parameters there, with as many figures as give the sum back; empty where no fit from there comes to its
        /// end.
        parameters: Vec<(Cow<'static, str>, f64)>,
    },
    /// Something else worth knowing.
    Words {
        /// In words.
        text: String,
    },
}

/// A number as it is typed in, with all of its figures.
fn typed_in(value: f64) -> String {
    if value == 0.0 || (1e-4..1e7).contains(&value.abs()) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

impl FitRemark {
    /// The remark in words.
    pub fn words(&self) -> String {
        match self {
            Self::OtherMinimum {
                residual_sum_of_squares,
            } => format!(
                "another, higher minimum was found (residual sum of squares {residual_sum_of_squares:e})"
            ),
            Self::Reweighted { rounds } => {
                format!("weights settled in {rounds} rounds")
            }
            Self::Sharpened => "the last digits were found in arithmetic of 31 digits".into(),
            Self::Saturated { left_out, limit } => {
                format!("{left_out} points above {limit} were left out as saturated")
            }
            Self::LowerMinimum {
                residual_sum_of_squares,
                in_place_of,
                parameters,
            } => {
                let start: Vec<String> = parameters
                    .iter()
                    .map(|(name, value)| format!("{name}={}", typed_in(*value)))
                    .collect();
                if start.is_empty() {
                    return format!(
                        "while the profiles were followed, a lower sum of squares was met ({residual_sum_of_squares:.4e} in place of \
                         {in_place_of:.4e}): other parameters fit better, and the errors and intervals above say nothing of them; no \
                         search from there came to its end, so that no starting values are named"
                    );
                }
                format!(
                    "while the profiles were followed, a lower sum of squares was met ({residual_sum_of_squares:.4e} in place of \
                     {in_place_of:.4e}): there is another minimum, and the errors and intervals above say nothing of it; to try it: \
                     `--start {}`",
                    start.join(",")
                )
            }
            Self::Words { text } => text.clone(),
        }
    }
}

/// The result of a fit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    /// Name of the model.
    pub model: Cow<'static, str>,
    /// The parameters, in the order of the model.
    pub parameters: Vec<FittedParameter>,
    /// Quantities that follow from them.
    pub derived: Vec<Derived>,
    /// Covariance matrix row by row, zero where a parameter was held, is on its limit or went to infinity; absent where
    /// parameters cannot be told apart.
    pub covariance: Option<Vec<f64>>,
    /// Level of all intervals.
    pub level: f64,
    /// Points used.
    pub points: usize,
    /// Points less free parameters.
    pub degrees_of_freedom: usize,
    /// Weighted sum of squared residuals.
    pub residual_sum_of_squares: f64,
    /// Square root of the residual variance.
    pub residual_sd: f64,
    /// Part of the (weighted) variation about the mean that the model explains; absent where y does not vary.
    pub r_squared: Option<f64>,
    /// For known errors: probability of a larger sum of squares if model and errors are right.
    pub fit_probability: Option<f64>,
    /// Akaike's criterion for small samples (see [`super::information`]); absent where there are too few points for it.
    pub aicc: Option<f64>,
    /// Fitted values in the order of the data.
    pub fitted: Vec<f64>,
    /// Residuals y - fitted in the order of the data, not weighted.
    pub residuals: Vec<f64>,
    /// What the residuals say.
    pub diagnostics: Diagnostics,
    /// How the errors allow for neighbours that err together; absent where they are the plain ones.
    pub correlation: Option<Correlation>,
    /// Why the search ended.
    pub termination: Termination,
    /// Iterations of the search.
    pub iterations: usize,
    /// Evaluations of the model over all points.
    pub evaluations: usize,
    /// How the fit came about.
    pub remarks: Vec<FitRemark>,
}

impl Fit {
    /// The values of the parameters, in their order.
    pub fn values(&self) -> Vec<f64> {
        self.parameters.iter().map(|p| p.value).collect()
    }

    /// Degrees of freedom that the errors have: fewer where neighbours err together.
    pub fn error_freedom(&self) -> f64 {
        let correlation = self.correlation.as_ref();
        correlation.map_or(self.degrees_of_freedom as f64, |found| found.degrees_of_freedom)
    }

    /// The units of the parameters and of what follows from them, in terms of the axes.
    pub(crate) fn units(&self) -> impl Iterator<Item = &str> {
        let own = self.parameters.iter().map(|p| p.unit.as_ref());
        own.chain(self.derived.iter().map(|d| d.unit.as_ref()))
    }

    /// The parameter of that name.
    pub fn parameter(&self, name: &str) -> Option<&FittedParameter> {
        self.parameters.iter().find(|p| p.name == name)
    }

    /// The derived quantity of that name.
    pub fn derived(&self, name: &str) -> Option<&Derived> {
        self.derived.iter().find(|p| p.name == name)
    }

    /// Correlation of two parameters by position; absent without a covariance.
    pub fn correlation(&self, i: usize, j: usize) -> Option<f64> {
        let p = self.parameters.len();
        let c = self.covariance.as_ref()?;
        let value = c.get(i * p + j)? / (c.get(i * p + i)? * c.get(j * p + j)?).sqrt();
        value.is_finite().then_some(value)
    }

    /// Adds a quantity that follows from the parameters, its error propagated from the covariance.
    pub(crate) fn derive(
        &mut self,
        name: Cow<'static, str>,
        unit: Cow<'static, str>,
        value: f64,
        gradient: &[f64],
    ) {
        let p = self.parameters.len();
        let used = |j: usize| gradient[j] != 0.0;
        let known = (0..p).all(|j| {
            !used(j)
                || matches!(self.parameters[j].standing, Determination::Held)
                || self.parameters[j].standard_error.is_some()
        });
        // What follows from given values alone has no error of its own.
        let given = (0..p).all(|j| !used(j) || self.parameters[j].standing == Determination::Held);
        let variance = self.covariance.as_ref().filter(|_| known && !given).map(|c| {
            let mut sum = 0.0;
            for i in (0..p).filter(|i| used(*i)) {
                for j in (0..p).filter(|j| used(*j)) {
                    sum += gradient[i] * gradient[j] * c[i * p + j];
                }
            }
            sum
        });
        let standard_error = variance.map(|v| v.max(0.0).sqrt()).filter(|v| v.is_finite());
        let half = half_width(self.level, self.error_freedom(), self.fit_probability.is_some());
        let interval = standard_error.map(|se| around(value, half * se));
        if value.is_finite() {
            self.derived.push(Derived {
                name,
                unit,
                value,
                standard_error,
                interval,
                profile: None,
                follows_from: (0..p).filter(|j| used(*j)).collect(),
            });
        }
    }

    /// Makes every error and interval so many times as large.
    pub(crate) fn grow_errors(&mut self, scale: f64) {
        let quantile = half_width(
            self.level,
            self.degrees_of_freedom as f64,
            self.fit_probability.is_some(),
        );
        let grow = |value: f64, error: &mut Option<f64>, interval: &mut Option<FitInterval>| {
            if let Some(error) = error {
                *error *= scale;
            }
            if let Some(interval) = interval {
                // Ends that lie on the value for rounding grow with the error alone.
                let least = error.map_or(0.0, |error| quantile * error);
                if let Some(lower) = &mut interval.lower {
                    let half = (value - *lower) * scale;
                    *lower = value - if *lower == value { least } else { half };
                }
                if let Some(upper) = &mut interval.upper {
                    let half = (*upper - value) * scale;
                    *upper = value + if *upper == value { least } else { half };
                }
            }
        };
        for p in &mut self.parameters {
            grow(p.value, &mut p.standard_error, &mut p.interval);
            p.profile = p.profile.map(|own| own.stretched(p.value, scale));
        }
        for d in &mut self.derived {
            grow(d.value, &mut d.standard_error, &mut d.interval);
            d.profile = d.profile.map(|own| own.stretched(d.value, scale));
        }
        for value in self.covariance.iter_mut().flatten() {
            *value *= scale * scale;
        }
    }
}

/// What a search leaves behind when the last digits were found in higher arithmetic.
#[derive(Clone, Debug, PartialEq)]
pub struct RefinedSolution {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Model values.
    pub fitted: Vec<f64>,
    /// y - model, before rounding to doubles.
    pub residuals: Vec<f64>,
    /// Weighted sum of squares.
    pub residual_sum_of_squares: f64,
    /// `(JᵀWJ)⁻¹` over all parameters, row by row, zero for those held.
    pub inverse: Vec<f64>,
}
