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

mod along;
mod blank;
mod bootstrap;
mod compare;
mod correlation;
mod diagnostics;
mod direct;
mod finish;
mod found;
mod profile;
mod robust;
mod shared;
pub(crate) mod solver;
mod tangent;
mod weighting;

pub use along::Along;
pub use blank::{CommonError, add_common_errors, add_shifts, shifts_by};
pub(crate) use bootstrap::Dealer;
pub use bootstrap::{Bootstrap, BootstrapRounds, NoiseDraw, bootstrap};
pub use compare::{FTest, LawChoice, Ranked, compare, f_test, information};
pub use correlation::Correlation;
pub use correlation::allow_for_correlation;
pub use diagnostics::{Diagnostics, Normality, NormalityTest, Runs, Warning};
pub(crate) use diagnostics::{examine, wandering};
pub use found::{
    Derived, Determination, Fit, FitInterval, FitRemark, FittedParameter, LostEnd, ProfileEnd,
    ProfileInterval, RefinedSolution, Termination,
};
pub use shared::{DataSet, SharedFit, fit_shared};
pub(crate) use tangent::TangentPlane;
pub use weighting::{HUBER, Robust, TUKEY, Weighting};

use crate::models::Model;
use crate::refusal::{Refusal, require_finite, require_length};
use finish::{finish, finish_direct};
use solver::{FitProblem, Minimum, SearchEnd, minimise, settle};

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

impl Options {
    /// Whether a person has a law of their own in mind, who holds or limits parameters, or whose far points count less: other laws are
    /// not tried beside it.
    pub(crate) fn is_own_law(&self) -> bool {
        !self.held.is_empty() || !self.bounds.is_empty() || self.robust != Robust::No
    }
}

/// Below this probability it is told that points do not begin at zero where their law does; chance tells it of one in twenty.
///
/// One level for laws, formulas and calibration lines held at the origin. A choice, by simulation of lines through the origin beside a
/// constant of twice the scatter, 8 points: the interval of the slope holds it in 7 of 100 sets. At 5 % 57 of 100 are told, at 1 % 25 of
/// 100, and what is wrong and untold is the worst that can happen; a blank is quickly looked after. From 1 % on it is only said that it
/// may be so.
pub(crate) const ORIGIN_MISSED: f64 = 0.05;

/// What stays the same through all searches of one fit.
struct SearchContext<'a> {
    model: &'a dyn Model,
    data: &'a Data<'a>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    free: Vec<bool>,
}

impl SearchContext<'_> {
    fn problem<'b>(&'b self, roots: Option<&'b [f64]>) -> FitProblem<'b> {
        FitProblem {
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
    let setting = SearchContext {
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
        && fit
            .parameters
            .iter()
            .all(|p| p.standing == Determination::Determined)
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
    // Starts that a model draws from the data are compared by the search itself, both with linear parameters eliminated and without.
    if given.is_none()
        && !reweight
        && (options.start.is_some() || !model.draws_starts())
        && let Some(fit) = directly(&setting, &start, options)
    {
        return Ok(fit);
    }
    let mut roots = given.clone();
    let mut minimum = search(&setting, roots.as_deref(), &start, options, &mut remarks)?;
    if reweight {
        let rounds = reweighted(&setting, given.as_deref(), &mut roots, &mut minimum, options)?;
        remarks.push(FitRemark::Reweighted { rounds });
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
    if options.robust != Robust::No {
        robust_errors(&setting, given.as_deref(), &mut result, options);
    }
    if options.profile {
        profile::intervals(&setting, roots.as_deref(), &mut result, options);
    }
    Ok(result)
}

/// The fit that plain steps from the starting values lead to; none where there is anything to be said against it.
fn directly(setting: &SearchContext<'_>, start: &[f64], options: &Options) -> Option<Fit> {
    let mut found = direct::descend(setting, start)?;
    if options.held.is_empty() && options.bounds.is_empty() {
        setting.model.arrange(start, &mut found);
    }
    let fit = finish_direct(setting, found, options)?;
    let sure = fit.parameters.iter().all(|p| {
        p.standing == Determination::Held
            || (p.standing == Determination::Determined
                && p.standard_error.is_some_and(|se| se <= p.value.abs()))
    });
    // In another minimum the curve misses the points, and the residuals show it.
    let close =
        fit.r_squared.is_some_and(|r| r > 0.5) && !fit.diagnostics.warnings.contains(&Warning::Wandering);
    (sure && close).then_some(fit)
}

/// Puts the errors of an M-estimate in the place of those of the last weighted fit.
fn robust_errors(setting: &SearchContext<'_>, given: Option<&[f64]>, result: &mut Fit, options: &Options) {
    let base: Option<Vec<f64>> = if matches!(setting.data.weighting, Weighting::Relative) {
        let largest = result.fitted.iter().fold(0.0_f64, |all, v| all.max(v.abs()));
        let root = |v: &f64| 1.0 / v.abs().max(1e-6 * largest).max(f64::MIN_POSITIVE);
        Some(result.fitted.iter().map(root).collect())
    } else {
        given.map(<[f64]>::to_vec)
    };
    let scaled: Vec<f64> = match &base {
        None => result.residuals.clone(),
        Some(base) => result.residuals.iter().zip(base).map(|(r, w)| r * w).collect(),
    };
    let free = result.points - result.degrees_of_freedom;
    let Some(deviation) = robust::deviation(options.robust, &scaled, free) else {
        return;
    };
    let minimum = Minimum {
        parameters: result.parameters.iter().map(|p| p.value).collect(),
        rss: result.residual_sum_of_squares,
        end: SearchEnd::Step,
        iterations: 0,
        evaluations: 0,
    };
    let plain = Options {
        robust: Robust::No,
        profile: false,
        ..options.clone()
    };
    // Known errors would set the deviation to one; here only the derivatives are wanted.
    let Ok(unweighted) = finish::finish_within(
        setting,
        base.as_deref(),
        minimum,
        &plain,
        Vec::new(),
        f64::INFINITY,
    ) else {
        return;
    };
    let unit = if unweighted.fit_probability.is_some() {
        1.0
    } else {
        unweighted.residual_sd
    };
    if unit.is_nan() || unit <= 0.0 {
        return;
    }
    let errors: Vec<Option<f64>> = unweighted
        .parameters
        .iter()
        .map(|p| p.standard_error.map(|error| error / unit))
        .collect();
    let covariance = unweighted
        .covariance
        .map(|c| c.into_iter().map(|value| value / (unit * unit)).collect())
        .unwrap_or_default();
    robust::put_errors(result, deviation, &errors, covariance);
    let values: Vec<f64> = result.parameters.iter().map(|p| p.value).collect();
    result.derived.clear();
    for c in setting.model.derived(&values) {
        result.derive(c.name.into(), c.unit.into(), c.value, &c.gradient);
    }
}

/// Whether a result is no result, or one in which a parameter's error exceeds itself.
fn is_doubtful(result: &Result<Fit, Refusal>) -> bool {
    match result {
        Err(refusal) => matches!(refusal, Refusal::NotConverged { .. }),
        Ok(fit) => fit.parameters.iter().any(|p| match p.standing {
            Determination::NotDetermined => true,
            Determination::Held | Determination::AtLimit => false,
            _ => p.standard_error.is_none_or(|se| se > p.value.abs()),
        }),
    }
}

/// Searches from eight other starting values, half to twice those given, for a minimum that is lower and not doubtful.
fn from_elsewhere(
    setting: &SearchContext<'_>,
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
    best.remarks.push(FitRemark::Words {
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
    setting: &SearchContext<'_>,
    roots: Option<&[f64]>,
    start: &[f64],
    options: &Options,
    remarks: &mut Vec<FitRemark>,
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
            && !matches!(high.end, SearchEnd::Iterations | SearchEnd::Undefined)
            && high.rss > low.rss * (1.0 + 1e-3)
            && low.end != SearchEnd::Exact
        {
            remarks.push(FitRemark::OtherMinimum {
                residual_sum_of_squares: high.rss,
            });
        }
        best = low;
    }
    if best.end == SearchEnd::Undefined {
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
    setting: &SearchContext<'_>,
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
