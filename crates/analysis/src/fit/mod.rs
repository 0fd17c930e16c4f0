//! The fitting core: nonlinear least squares with everything that says how far to trust the result.
//!
//! ```
//! use curvary_analysis::fit::{Data, Options, fit};
//! use curvary_analysis::models::formula::Formula;
//!
//! let model = Formula::parse("b1*(1-exp(-b2*x))", &["x"]).unwrap();
//! // Box and Hunter's oxygen demand, NIST set BoxBOD.
//! let x = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0];
//! let y = [109.0, 149.0, 149.0, 191.0, 213.0, 224.0];
//! let options = Options { start: Some(vec![100.0, 0.75]), ..Options::default() };
//! let found = fit(&model, &Data::new(&[&x], &y), &options).unwrap();
//! assert!((found.parameters[0].value - 213.809_408_89).abs() < 1e-7);
//! ```

mod compare;
mod diagnostics;
mod profile;
pub(crate) mod solver;
mod weighting;

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

pub use compare::{Choice, FTest, Ranked, compare, f_test, information};
pub use diagnostics::{Diagnostics, Normality, NormalityTest, Runs, Warning};
pub use weighting::{HUBER, Robust, TUKEY, Weighting};

use crate::distribution::{chi_squared_upper, normal_quantile, t_half_width};
use crate::linear::singular_values;
use crate::models::Model;
use crate::refusal::{Refusal, require_finite, require_length};
use solver::{
    End, Minimum, Problem, factorise, minimise, product, settle, sum_of_squares, total, total_of_pairs,
};

/// Columns of numbers to fit.
#[derive(Clone, Copy, Debug)]
pub struct Data<'a> {
    /// One column for each variable of the model.
    pub x: &'a [&'a [f64]],
    /// The measured values.
    pub y: &'a [f64],
    /// What is known of their errors.
    pub weighting: Weighting<'a>,
}

impl<'a> Data<'a> {
    /// Data of equal weight.
    pub fn new(x: &'a [&'a [f64]], y: &'a [f64]) -> Self {
        Self {
            x,
            y,
            weighting: Weighting::Equal,
        }
    }
}

/// How to fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Starting values; without them the model draws its own from the data.
    pub start: Option<Vec<f64>>,
    /// Parameters held at a value, by position.
    pub held: Vec<(usize, f64)>,
    /// Limits by position, in place of those of the model.
    pub bounds: Vec<(usize, Option<f64>, Option<f64>)>,
    /// Whether far points count less.
    pub robust: Robust,
    /// Level of the intervals, between 0 and 1.
    pub level: f64,
    /// Whether to find profile-likelihood intervals as well; costs some tens of fits for each parameter.
    pub profile: bool,
    /// Most iterations of one search.
    pub iterations: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            start: None,
            held: Vec::new(),
            bounds: Vec::new(),
            robust: Robust::No,
            level: 0.95,
            profile: false,
            iterations: 2000,
        }
    }
}

/// An interval; a missing side is open: the data set no limit there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// Whether the data determine a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// The data determine it.
    Determined,
    /// It was held at a given value.
    Held,
    /// It ended on one of its limits; its error is not known.
    AtLimit,
    /// Its interval reaches zero, though it has a meaning only above zero.
    PoorlyDetermined,
    /// Other values with other parameters fit as well: the number says nothing.
    NotDetermined,
}

impl Standing {
    /// The standing in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Determined => "determined by the data",
            Self::Held => "held at the given value",
            Self::AtLimit => "ended on its limit, so its error is not known",
            Self::PoorlyDetermined => "poorly determined: its interval reaches zero, where it has no meaning",
            Self::NotDetermined => "not determined by the data: other values fit as well",
        }
    }
}

/// A fitted parameter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Parameter {
    /// Name.
    pub name: Cow<'static, str>,
    /// Unit in terms of the axes (see [`crate::models::Specification`]).
    pub unit: Cow<'static, str>,
    /// Value.
    pub value: f64,
    /// Standard error; absent where it is not known.
    pub standard_error: Option<f64>,
    /// Interval by Student's t (by the normal distribution for known errors); absent with the standard error.
    pub interval: Option<Interval>,
    /// Profile-likelihood interval, where asked for.
    pub profile: Option<Interval>,
    /// Whether the data determine it.
    pub standing: Standing,
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
    pub interval: Option<Interval>,
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
    pub fn words(self) -> &'static str {
        match self {
            Self::Gradient => "the residuals are at right angles to every derivative",
            Self::Reduction => "the sum of squares could not be lowered any further",
            Self::Step => "the parameters could not be moved any further",
            Self::Exact => "the curve passes through every point",
            Self::Direct => "the model's own way led to the minimum",
        }
    }
}

/// A remark about how a fit came about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
pub enum Remark {
    /// Two ways of searching ended in different minima; the lower one is given.
    OtherMinimum {
        /// Residual sum of squares of the higher minimum.
        residual_sum_of_squares: f64,
    },
    /// Weights were found by iteration and the errors are those of the last weighted fit.
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
    /// Something else worth knowing.
    Words {
        /// In words.
        text: String,
    },
}

impl Remark {
    /// The remark in words.
    pub fn words(&self) -> String {
        match self {
            Self::OtherMinimum {
                residual_sum_of_squares,
            } => format!(
                "another, higher minimum was found (residual sum of squares {residual_sum_of_squares:e})"
            ),
            Self::Reweighted { rounds } => {
                format!("weights settled in {rounds} rounds; errors are those of the last weighted fit")
            }
            Self::Sharpened => "the last digits were found in arithmetic of 31 digits".into(),
            Self::Saturated { left_out, limit } => {
                format!("{left_out} points above {limit} were left out as saturated")
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
    pub parameters: Vec<Parameter>,
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
    /// Akaike's criterion for small samples (see [`information`]); absent where there are too few points for it.
    pub aicc: Option<f64>,
    /// Fitted values in the order of the data.
    pub fitted: Vec<f64>,
    /// Residuals y - fitted in the order of the data, not weighted.
    pub residuals: Vec<f64>,
    /// What the residuals say.
    pub diagnostics: Diagnostics,
    /// Why the search ended.
    pub termination: Termination,
    /// Iterations of the search.
    pub iterations: usize,
    /// Evaluations of the model over all points.
    pub evaluations: usize,
    /// How the fit came about.
    pub remarks: Vec<Remark>,
}

impl Fit {
    /// The parameter of that name.
    pub fn parameter(&self, name: &str) -> Option<&Parameter> {
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
                || matches!(self.parameters[j].standing, Standing::Held)
                || self.parameters[j].standard_error.is_some()
        });
        let variance = self.covariance.as_ref().filter(|_| known).map(|c| {
            let mut sum = 0.0;
            for i in (0..p).filter(|i| used(*i)) {
                for j in (0..p).filter(|j| used(*j)) {
                    sum += gradient[i] * gradient[j] * c[i * p + j];
                }
            }
            sum
        });
        let standard_error = variance.map(|v| v.max(0.0).sqrt()).filter(|v| v.is_finite());
        let half = half_width(
            self.level,
            self.degrees_of_freedom,
            self.fit_probability.is_some(),
        );
        let interval = standard_error.map(|se| around(value, half * se));
        if value.is_finite() {
            self.derived.push(Derived {
                name,
                unit,
                value,
                standard_error,
                interval,
            });
        }
    }
}

/// What a search leaves behind when the last digits were found in higher arithmetic.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
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

fn around(value: f64, half: f64) -> Interval {
    Interval {
        lower: Some(value - half),
        upper: Some(value + half),
    }
}

/// Half the width of an interval in standard errors.
fn half_width(level: f64, degrees_of_freedom: usize, known_errors: bool) -> f64 {
    if known_errors {
        normal_quantile(0.5 + level / 2.0)
    } else {
        t_half_width(level, degrees_of_freedom as f64)
    }
}

/// What stays the same through all searches of one fit.
struct Setting<'a> {
    model: &'a dyn Model,
    data: &'a Data<'a>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    free: Vec<bool>,
}

impl Setting<'_> {
    fn problem<'b>(&'b self, roots: Option<&'b [f64]>) -> Problem<'b> {
        Problem {
            model: self.model,
            x: self.data.x,
            y: self.data.y,
            roots,
            lower: &self.lower,
            upper: &self.upper,
            free: &self.free,
        }
    }
}

/// Fits a model to data.
///
/// # Errors
/// A [`Refusal`] where the data are not fit for the model, the model has no value at the data, or the search does not
/// settle.
pub fn fit(model: &dyn Model, data: &Data<'_>, options: &Options) -> Result<Fit, Refusal> {
    let specifications = model.parameters();
    let p = specifications.len();
    let mut lower: Vec<f64> = specifications
        .iter()
        .map(|s| s.lower.unwrap_or(f64::NEG_INFINITY))
        .collect();
    let mut upper: Vec<f64> = specifications
        .iter()
        .map(|s| s.upper.unwrap_or(f64::INFINITY))
        .collect();
    for (j, low, high) in &options.bounds {
        require_position(*j, p)?;
        lower[*j] = low.unwrap_or(f64::NEG_INFINITY);
        upper[*j] = high.unwrap_or(f64::INFINITY);
        if lower[*j].is_nan() || upper[*j].is_nan() || lower[*j] > upper[*j] {
            return Err(Refusal::OutOfRange {
                what: format!("the lower limit of {}", specifications[*j].name),
                value: lower[*j],
                allowed: format!("at most the upper limit {}", upper[*j]),
            });
        }
    }
    let mut free = vec![true; p];
    for (j, value) in &options.held {
        require_position(*j, p)?;
        require_finite(&specifications[*j].name, &[*value])?;
        free[*j] = false;
        lower[*j] = *value;
        upper[*j] = *value;
    }
    if !(options.level > 0.0 && options.level < 1.0) {
        return Err(Refusal::OutOfRange {
            what: "the level of the intervals".into(),
            value: options.level,
            allowed: "between 0 and 1".into(),
        });
    }
    check(model, data, free.iter().filter(|f| **f).count())?;
    let setting = Setting {
        model,
        data,
        lower,
        upper,
        free,
    };

    let given = fixed_roots(&data.weighting, data.y.len())?;
    let plain = given.is_none() && options.held.is_empty() && options.start.is_none();
    let mut remarks = Vec::new();
    let reweight = options.robust != Robust::No || matches!(data.weighting, Weighting::Relative);
    // The quick way looks at one minimum only; what it finds is taken where the data determine it, and anything less
    // goes through the whole search.
    if plain
        && !reweight
        && let Some(direct) = model.shortcut(data.x, data.y)
        && let Some(fit) = finish_direct(&setting, direct, options)
        && fit.parameters.iter().all(|p| p.standing == Standing::Determined)
    {
        return Ok(fit);
    }
    let start = match &options.start {
        Some(start) => {
            require_length("start", start, p)?;
            require_finite("start", start)?;
            start.clone()
        }
        None => model.start(data.x, data.y)?,
    };
    let mut roots = given.clone();
    let mut minimum = search(&setting, roots.as_deref(), &start, options, &mut remarks)?;
    if reweight {
        let rounds = reweighted(&setting, given.as_deref(), &mut roots, &mut minimum, options)?;
        remarks.push(Remark::Reweighted { rounds });
    }
    if options.held.is_empty() && options.bounds.is_empty() {
        model.arrange(&start, &mut minimum.parameters);
    }
    let mut result = finish(&setting, roots.as_deref(), minimum, options, remarks);
    // Starts that a model draws from the data have been compared with many others already.
    if !reweight
        && (options.start.is_some() || !model.draws_starts())
        && is_doubtful(&result)
        && let Some(better) = from_elsewhere(&setting, roots.as_deref(), &start, &result, options)
    {
        result = Ok(better);
    }
    let mut result = result?;
    if options.profile {
        profile::intervals(&setting, roots.as_deref(), &mut result, options);
    }
    Ok(result)
}

/// Whether a result is no result, or one in which a parameter's error exceeds itself.
fn is_doubtful(result: &Result<Fit, Refusal>) -> bool {
    match result {
        Err(refusal) => matches!(refusal, Refusal::NotConverged { .. }),
        Ok(fit) => fit.parameters.iter().any(|p| match p.standing {
            Standing::NotDetermined => true,
            Standing::Held | Standing::AtLimit => false,
            _ => p.standard_error.is_none_or(|se| se > p.value.abs()),
        }),
    }
}

/// Searches from eight other starting values, half to twice those given, for a minimum that is lower and not doubtful.
fn from_elsewhere(
    setting: &Setting<'_>,
    roots: Option<&[f64]>,
    start: &[f64],
    found: &Result<Fit, Refusal>,
    options: &Options,
) -> Option<Fit> {
    let mut best: Option<Fit> = None;
    for round in 0..8_usize {
        // Fixed factors without pattern, so that every run tries the same places.
        let elsewhere: Vec<f64> = start
            .iter()
            .enumerate()
            .map(|(j, v)| {
                let share = ((round * start.len() + j + 1) as f64 * 0.618_033_988_749_895).fract();
                if setting.free[j] {
                    v * (2.0 * share - 1.0).exp2()
                } else {
                    *v
                }
            })
            .collect();
        let mut remarks = Vec::new();
        let Ok(mut minimum) = search(setting, roots, &elsewhere, options, &mut remarks) else {
            continue;
        };
        if options.held.is_empty() && options.bounds.is_empty() {
            setting.model.arrange(start, &mut minimum.parameters);
        }
        let result = finish(setting, roots, minimum, options, Vec::new());
        if is_doubtful(&result) {
            continue;
        }
        let Ok(fit) = result else { continue };
        let limit = best
            .as_ref()
            .or(found.as_ref().ok())
            .map(|f| f.residual_sum_of_squares);
        if limit.is_none_or(|limit| fit.residual_sum_of_squares < 0.99 * limit) {
            best = Some(fit);
        }
    }
    let mut best = best?;
    best.remarks.push(Remark::Words {
        text: "the starting values led to no minimum in which every parameter is determined; this one was reached \
               from others within a factor of two"
            .into(),
    });
    Some(best)
}

fn require_position(j: usize, p: usize) -> Result<(), Refusal> {
    if j < p {
        return Ok(());
    }
    Err(Refusal::OutOfRange {
        what: "the position of a parameter".into(),
        value: j as f64,
        allowed: format!("0 to {}", p.saturating_sub(1)),
    })
}

/// Refuses what cannot give a meaningful fit.
fn check(model: &dyn Model, data: &Data<'_>, free: usize) -> Result<(), Refusal> {
    let y = data.y;
    if data.x.len() != model.variables() {
        return Err(Refusal::UnequalLengths {
            what: "the list of x columns".into(),
            found: data.x.len(),
            expected: model.variables(),
        });
    }
    for column in data.x {
        require_length("x", column, y.len())?;
        require_finite("x", column)?;
    }
    require_finite("y", y)?;
    for (what, column) in data.x.iter().map(|c| ("x", *c)).chain([("y", y)]) {
        let largest = column
            .iter()
            .fold(0.0_f64, |m, v| if v.abs() > m { v.abs() } else { m });
        if largest != 0.0 && !(1e-100..=1e100).contains(&largest) {
            return Err(Refusal::OutOfRange {
                what: format!("the largest size of {what}"),
                value: largest,
                allowed: "1e-100 to 1e100, so that squares can be held; another unit helps".into(),
            });
        }
    }
    if y.len() <= free {
        return Err(Refusal::TooFewPoints {
            what: "points".into(),
            found: y.len(),
            needed: free + 1,
        });
    }
    if y.iter().all(|v| *v == y[0]) {
        return Err(Refusal::ConstantSignal { value: y[0] });
    }
    let distinct = distinct_rows(data.x, y.len(), free);
    if distinct == 1 {
        return Err(Refusal::ConstantAxis { value: data.x[0][0] });
    }
    if distinct < free {
        return Err(Refusal::TooFewPoints {
            what: "distinct x values".into(),
            found: distinct,
            needed: free,
        });
    }
    Ok(())
}

/// Counts distinct points of x, up to `enough`.
fn distinct_rows(x: &[&[f64]], n: usize, enough: usize) -> usize {
    let mut seen: Vec<usize> = Vec::with_capacity(enough + 1);
    for i in 0..n {
        if seen.iter().all(|s| x.iter().any(|c| c[*s] != c[i])) {
            seen.push(i);
            if seen.len() > enough {
                break;
            }
        }
    }
    seen.len()
}

/// Square roots of the weights that are known beforehand.
fn fixed_roots(weighting: &Weighting<'_>, n: usize) -> Result<Option<Vec<f64>>, Refusal> {
    let checked = |what: &str, values: &[f64]| {
        require_length(what, values, n)?;
        match values.iter().position(|v| !v.is_finite() || *v <= 0.0) {
            Some(index) => Err(Refusal::BadWeight {
                index,
                value: values[index],
            }),
            None => Ok(()),
        }
    };
    match weighting {
        Weighting::Equal | Weighting::Relative => Ok(None),
        Weighting::KnownErrors(errors) => {
            checked("known errors", errors)?;
            Ok(Some(errors.iter().map(|e| 1.0 / e).collect()))
        }
        Weighting::Weights(weights) => {
            checked("weights", weights)?;
            Ok(Some(weights.iter().map(|w| w.sqrt()).collect()))
        }
    }
}

/// Searches with and without elimination of the linear parameters and keeps the lower minimum.
fn search(
    setting: &Setting<'_>,
    roots: Option<&[f64]>,
    start: &[f64],
    options: &Options,
    remarks: &mut Vec<Remark>,
) -> Result<Minimum, Refusal> {
    let problem = setting.problem(roots);
    let mut best = minimise(&problem, start, false, options.iterations);
    settle(&problem, &mut best);
    let separable = setting.model.linear().iter().any(|j| setting.free[*j]);
    if separable {
        let mut other = minimise(&problem, start, true, options.iterations);
        settle(&problem, &mut other);
        other.evaluations += best.evaluations;
        let (low, high) = if other.rss < best.rss {
            (other, best)
        } else {
            (best, other)
        };
        if high.rss.is_finite()
            && !matches!(high.end, End::Iterations | End::Undefined)
            && high.rss > low.rss * (1.0 + 1e-3)
            && low.end != End::Exact
        {
            remarks.push(Remark::OtherMinimum {
                residual_sum_of_squares: high.rss,
            });
        }
        best = low;
    }
    if best.end == End::Undefined {
        let (index, what) = setting
            .model
            .undefined(setting.data.x, &best.parameters)
            .unwrap_or((
                0,
                "the value is not a finite number at the starting values".into(),
            ));
        return Err(Refusal::Undefined { what, index });
    }
    Ok(best)
}

/// Fits again with weights that follow from the last fit, until the parameters stay.
fn reweighted(
    setting: &Setting<'_>,
    given: Option<&[f64]>,
    roots: &mut Option<Vec<f64>>,
    minimum: &mut Minimum,
    options: &Options,
) -> Result<usize, Refusal> {
    let n = setting.data.y.len();
    let mut values = vec![0.0; n];
    for round in 1..=200 {
        setting
            .model
            .evaluate(setting.data.x, &minimum.parameters, &mut values);
        let mut next = given.map_or_else(|| vec![1.0; n], <[f64]>::to_vec);
        if matches!(setting.data.weighting, Weighting::Relative) {
            let largest = values.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            for (root, value) in next.iter_mut().zip(&values) {
                // A fitted value of zero would have no error at all; a millionth of the largest bounds the weight.
                *root /= value.abs().max(1e-6 * largest).max(f64::MIN_POSITIVE);
            }
        }
        if options.robust != Robust::No {
            let mut scaled: Vec<f64> = (0..n)
                .map(|i| (setting.data.y[i] - values[i]) * next[i])
                .collect();
            let sd = weighting::robust_sd(&scaled);
            for (root, residual) in next.iter_mut().zip(scaled.iter_mut()) {
                if sd > 0.0 {
                    *root *= options.robust.weight(*residual / sd).sqrt();
                }
            }
        }
        let before = minimum.parameters.clone();
        *roots = Some(next);
        let mut ignored = Vec::new();
        let found = search(setting, roots.as_deref(), &before, options, &mut ignored)?;
        let moved = found
            .parameters
            .iter()
            .zip(&before)
            .map(|(a, b)| (a - b).abs() / a.abs().max(b.abs()).max(f64::MIN_POSITIVE))
            .fold(0.0, f64::max);
        let evaluations = minimum.evaluations + found.evaluations;
        *minimum = Minimum { evaluations, ..found };
        if moved < 1e-10 {
            return Ok(round);
        }
    }
    Err(Refusal::NotConverged {
        how: "the weights did not settle".into(),
        iterations: 200,
    })
}

/// The result of a model's own way, if it did lead to a minimum.
fn finish_direct(setting: &Setting<'_>, parameters: Vec<f64>, options: &Options) -> Option<Fit> {
    if options.profile
        || parameters
            .iter()
            .zip(&setting.lower)
            .any(|(v, low)| v.is_nan() || v <= low)
    {
        return None;
    }
    if parameters.iter().zip(&setting.upper).any(|(v, high)| v >= high) {
        return None;
    }
    let minimum = Minimum {
        parameters,
        rss: 0.0,
        end: End::Gradient,
        iterations: 1,
        evaluations: 1,
    };
    let mut fit = finish_within(setting, None, minimum, options, Vec::new(), 1e-7).ok()?;
    fit.termination = Termination::Direct;
    fit.covariance.is_some().then_some(fit)
}

fn finish(
    setting: &Setting<'_>,
    roots: Option<&[f64]>,
    minimum: Minimum,
    options: &Options,
    remarks: Vec<Remark>,
) -> Result<Fit, Refusal> {
    finish_within(setting, roots, minimum, options, remarks, 1e-5)
}

/// Errors, tests and all the rest at a minimum. `allowed` is the largest cosine between residuals and a derivative.
fn finish_within(
    setting: &Setting<'_>,
    roots: Option<&[f64]>,
    minimum: Minimum,
    options: &Options,
    mut remarks: Vec<Remark>,
    allowed: f64,
) -> Result<Fit, Refusal> {
    let (model, data) = (setting.model, setting.data);
    let specifications = model.parameters();
    let (n, p) = (data.y.len(), specifications.len());
    let mut parameters = minimum.parameters;
    let on_limit =
        |j: usize, value: f64| setting.free[j] && (value <= setting.lower[j] || value >= setting.upper[j]);
    let mut active: Vec<bool> = (0..p)
        .map(|j| setting.free[j] && !on_limit(j, parameters[j]))
        .collect();

    let mut residuals = vec![0.0; n];
    let mut columns = vec![0.0; n * p];
    let problem = setting.problem(roots);
    let mut rss = problem.linearise(&parameters, &mut residuals, &mut columns);
    if !rss.is_finite() {
        let (index, what) = model
            .undefined(data.x, &parameters)
            .unwrap_or((0, "the value is not a finite number".into()));
        return Err(Refusal::Undefined { what, index });
    }
    let cosine = |j: usize| {
        let column = &columns[j * n..(j + 1) * n];
        let (slope, length) = (product(column, &residuals), sum_of_squares(column));
        if length > 0.0 && rss > 0.0 {
            slope.abs() / (length * rss).sqrt()
        } else {
            0.0
        }
    };
    let mut steepest = 0.0_f64;
    for (j, active) in active.iter_mut().enumerate().filter(|(_, active)| **active) {
        let slope = cosine(j);
        // A parameter on its way to infinity leaves a slope behind that no step can use up.
        if slope > allowed && leaves_no_trace(&problem, &parameters, j, rss) {
            *active = false;
            continue;
        }
        steepest = steepest.max(slope);
    }
    let mut fitted = vec![0.0; n];
    let mut plain_residuals = Vec::new();
    match roots {
        None => {
            for ((f, y), r) in fitted.iter_mut().zip(data.y).zip(&residuals) {
                *f = y - r;
            }
        }
        Some(roots) => {
            plain_residuals = residuals.iter().zip(roots).map(|(r, w)| r / w).collect();
            for ((f, y), r) in fitted.iter_mut().zip(data.y).zip(&plain_residuals) {
                *f = y - r;
            }
        }
    }
    let weights: Option<Vec<f64>> = roots.map(|r| r.iter().map(|v| v * v).collect());
    let m = active.iter().filter(|a| **a).count();
    let mut variances: Vec<Option<f64>> = vec![None; p];
    let mut inverse: Option<Vec<f64>> = None;
    let exact = (64.0 * f64::EPSILON).powi(2) * sum_of_squares(data.y);
    let settled = steepest <= allowed || minimum.end == End::Exact || (roots.is_none() && rss <= exact);
    spread(&mut columns, n, &active, &mut variances, &mut inverse);
    // Rounding of y moves a parameter by about this part of itself.
    let size = f64::EPSILON
        * total_of_pairs(&fitted, roots.unwrap_or(&fitted), |f, w| {
            f * if roots.is_some() { w * w * f } else { f }
        })
        .sqrt();
    let moved = (0..p)
        .filter(|j| active[*j])
        .map(|j| variances[j].map_or(f64::INFINITY, |v| size * v.sqrt() / parameters[j].abs()))
        .fold(size / rss.sqrt(), f64::max);
    let enough = n * m > 600 && settled && steepest < 1e-9 && moved < 1e-12;
    let sharpened = if enough {
        None
    } else {
        model.sharpen(data.x, data.y, weights.as_deref(), &parameters, &active)
    };
    if let Some(solved) = sharpened {
        parameters = solved.parameters;
        fitted = solved.fitted;
        residuals = match roots {
            None => solved.residuals.clone(),
            Some(roots) => solved.residuals.iter().zip(roots).map(|(r, w)| r * w).collect(),
        };
        plain_residuals = if roots.is_some() {
            solved.residuals
        } else {
            Vec::new()
        };
        rss = solved.residual_sum_of_squares;
        for j in (0..p).filter(|j| active[*j]) {
            variances[j] = Some(solved.inverse[j * p + j]);
        }
        inverse = Some(solved.inverse);
        remarks.push(Remark::Sharpened);
    } else if !settled || minimum.end == End::Iterations {
        let how = if minimum.end == End::Iterations {
            "the limit of iterations was reached"
        } else {
            "the search came to rest on a slope, not in a minimum; other starting values or a simpler model may help"
        };
        return Err(Refusal::NotConverged {
            how: how.into(),
            iterations: minimum.iterations,
        });
    }

    let known_errors = matches!(data.weighting, Weighting::KnownErrors(_));
    let degrees_of_freedom = n - setting.free.iter().filter(|f| **f).count();
    let df = degrees_of_freedom as f64;
    let variance = if known_errors { 1.0 } else { rss / df };
    let half = half_width(options.level, degrees_of_freedom, known_errors);
    let listed = specifications
        .iter()
        .enumerate()
        .map(|(j, specification)| {
            let value = parameters[j];
            let standard_error = variances[j]
                .map(|v| (v * variance).sqrt())
                .filter(|v| v.is_finite());
            let standing = if !setting.free[j] {
                Standing::Held
            } else if on_limit(j, value) {
                Standing::AtLimit
            } else {
                match standard_error {
                    None => Standing::NotDetermined,
                    Some(se) if specification.positive && (half * se >= value) => {
                        if se > 100.0 * value.abs() {
                            Standing::NotDetermined
                        } else {
                            Standing::PoorlyDetermined
                        }
                    }
                    Some(_) => Standing::Determined,
                }
            };
            Parameter {
                name: specification.name.clone(),
                unit: specification.unit.clone(),
                value,
                standard_error,
                interval: standard_error.map(|se| around(value, half * se)),
                profile: None,
                standing,
            }
        })
        .collect();
    let covariance = inverse.map(|mut c| {
        for value in &mut c {
            *value *= variance;
        }
        c
    });

    let order = order_by_x(data.x[0]);
    let diagnostics = diagnostics::examine(&residuals, &fitted, order.as_deref(), m);
    let variation = match &weights {
        None => {
            let mean = total(data.y, |y| y) / n as f64;
            total(data.y, |y| (y - mean) * (y - mean))
        }
        Some(w) => {
            let mean = product(data.y, w) / total(w, |w| w);
            total_of_pairs(data.y, w, |y, w| w * (y - mean) * (y - mean))
        }
    };
    let consequences = model.derived(&parameters);
    let aicc = information(n, n - degrees_of_freedom, rss, weights.as_deref()).map(|i| i.1);
    let mut fit = Fit {
        model: model.name(),
        parameters: listed,
        derived: Vec::with_capacity(consequences.len()),
        covariance,
        level: options.level,
        points: n,
        degrees_of_freedom,
        residual_sum_of_squares: rss,
        residual_sd: (rss / df).sqrt(),
        r_squared: (variation > 0.0).then(|| 1.0 - rss / variation),
        fit_probability: known_errors.then(|| chi_squared_upper(rss, df)),
        aicc,
        fitted,
        residuals: if roots.is_some() {
            plain_residuals
        } else {
            residuals
        },
        diagnostics,
        termination: match minimum.end {
            End::Gradient => Termination::Gradient,
            End::Exact => Termination::Exact,
            End::Step => Termination::Step,
            End::Reduction | End::Iterations | End::Undefined => Termination::Reduction,
        },
        iterations: minimum.iterations,
        evaluations: minimum.evaluations,
        remarks,
    };
    for c in consequences {
        fit.derive(Cow::Borrowed(c.name), Cow::Borrowed(c.unit), c.value, &c.gradient);
    }
    Ok(fit)
}

/// Whether the sum of squares stays the same to a part in a million when a parameter is made ten times as large.
fn leaves_no_trace(problem: &Problem<'_>, parameters: &[f64], j: usize, rss: f64) -> bool {
    let mut far = parameters.to_vec();
    far[j] *= 10.0;
    let mut residuals = vec![0.0; problem.y.len()];
    let there = problem.residuals(&far, &mut residuals);
    far[j] != parameters[j] && (there - rss).abs() <= 1e-6 * rss
}

/// The order that puts x in rising order; none where it rises already.
fn order_by_x(x: &[f64]) -> Option<Vec<usize>> {
    if x.windows(2).all(|w| w[0] <= w[1]) {
        return None;
    }
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
    Some(order)
}

/// Variances for a residual variance of one, from the derivatives. Where columns depend on each other, those
/// parameters that take part in the dependence get none.
fn spread(
    columns: &mut [f64],
    n: usize,
    active: &[bool],
    variances: &mut [Option<f64>],
    inverse: &mut Option<Vec<f64>>,
) {
    /// Below this sine of the angle to the others, a derivative says nothing of its own: finer angles are rounding.
    const BLIND: f64 = 1e-11;
    let p = active.len();
    let used: Vec<usize> = (0..p).filter(|j| active[*j]).collect();
    let m = used.len();
    for (k, j) in used.iter().enumerate() {
        columns.copy_within(j * n..(j + 1) * n, k * n);
    }
    let norms: Vec<f64> = (0..m)
        .map(|k| sum_of_squares(&columns[k * n..(k + 1) * n]).sqrt())
        .collect();
    // Small triangles live on the stack: in a fit of twelve points the heap would take a tenth of the time.
    let mut near = [0.0; 2 * 36];
    let mut far = Vec::new();
    let (upper, triangle) = if m <= 6 {
        near.split_at_mut(36)
    } else {
        far.resize(2 * m * m, 0.0);
        far.split_at_mut(m * m)
    };
    factorise(&mut columns[..m * n], n, m, &mut [], upper);
    let blind = (0..m).any(|k| norms[k] == 0.0 || upper[k * m + k].abs() <= BLIND * norms[k]);
    if !blind {
        for j in 0..m {
            triangle[j * m + j] = 1.0 / upper[j * m + j];
            for i in (0..j).rev() {
                let sum: f64 = (i + 1..=j).map(|k| upper[i * m + k] * triangle[k * m + j]).sum();
                triangle[i * m + j] = -sum / upper[i * m + i];
            }
        }
        let mut full = vec![0.0; p * p];
        for (a, i) in used.iter().enumerate() {
            for (b, j) in used.iter().enumerate() {
                let sum: f64 = (a.max(b)..m)
                    .map(|k| triangle[a * m + k] * triangle[b * m + k])
                    .sum();
                full[i * p + j] = sum;
            }
            variances[*i] = Some(full[i * p + i]);
        }
        *inverse = Some(full);
        return;
    }
    // Scaled triangle, column by column; its right singular vectors tell who takes part in the dependence.
    let scaled: Vec<Vec<f64>> = (0..m)
        .map(|j| {
            (0..m)
                .map(|i| {
                    if i <= j && norms[j] > 0.0 {
                        upper[i * m + j] / norms[j]
                    } else {
                        0.0
                    }
                })
                .collect()
        })
        .collect();
    let svd = singular_values(&scaled);
    for (a, i) in used.iter().enumerate() {
        let mut blind_part = if norms[a] > 0.0 { 0.0 } else { 1.0 };
        let mut variance = 0.0;
        for (value, right) in svd.values.iter().zip(&svd.right) {
            if *value <= BLIND {
                blind_part += right[a] * right[a];
            } else {
                variance += (right[a] / value) * (right[a] / value);
            }
        }
        if blind_part < 1e-8 {
            variances[*i] = Some(variance / (norms[a] * norms[a]));
        }
    }
}
