//! From the end of a search to the finished fit: errors, intervals, standings.

use std::borrow::Cow;

use super::solver::{
    FitProblem, Minimum, SearchEnd, factorise, product, sum_of_squares, total, total_of_pairs,
};
use super::{
    Determination, Fit, FitInterval, FitRemark, FittedParameter, Options, RefinedSolution, SearchContext,
    Termination, Weighting, diagnostics, information,
};
use crate::distribution::{chi_squared_upper, normal_quantile, t_half_width};
use crate::linear::singular_values;
use crate::models::Model;
use crate::refusal::Refusal;

pub(super) fn around(value: f64, half: f64) -> FitInterval {
    FitInterval {
        lower: Some(value - half),
        upper: Some(value + half),
    }
}

/// Half the width of an interval in standard errors.
pub(super) fn half_width(level: f64, degrees_of_freedom: f64, known_errors: bool) -> f64 {
    if known_errors {
        normal_quantile(0.5 + level / 2.0)
    } else {
        t_half_width(level, degrees_of_freedom)
    }
}

/// The result of a model's own way, if it did lead to a minimum.
pub(super) fn finish_direct(
    setting: &SearchContext<'_>,
    parameters: Vec<f64>,
    options: &Options,
) -> Option<Fit> {
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
        end: SearchEnd::Gradient,
        iterations: 1,
        evaluations: 1,
    };
    let mut fit = finish_within(setting, None, minimum, options, Vec::new(), 1e-7).ok()?;
    fit.termination = Termination::Direct;
    fit.covariance.is_some().then_some(fit)
}

pub(super) fn finish(
    setting: &SearchContext<'_>,
    roots: Option<&[f64]>,
    minimum: Minimum,
    options: &Options,
    remarks: Vec<FitRemark>,
) -> Result<Fit, Refusal> {
    finish_within(setting, roots, minimum, options, remarks, 1e-5)
}

/// The largest cosine between residuals and a derivative by a parameter in play. One that leaves no trace on its way to infinity is put
/// out of play.
fn steepest(
    problem: &FitProblem<'_>,
    parameters: &[f64],
    (residuals, columns, rss): (&[f64], &[f64], f64),
    active: &mut [bool],
    allowed: f64,
) -> f64 {
    let n = residuals.len();
    let cosine = |j: usize| {
        let column = &columns[j * n..(j + 1) * n];
        let (slope, length) = (product(column, residuals), sum_of_squares(column));
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
        if slope > allowed && leaves_no_trace(problem, parameters, j, rss) {
            *active = false;
            continue;
        }
        steepest = steepest.max(slope);
    }
    steepest
}

/// What holds at a minimum.
struct AtMinimum {
    parameters: Vec<f64>,
    /// Weighted, and plain where there are weights.
    residuals: Vec<f64>,
    plain_residuals: Vec<f64>,
    fitted: Vec<f64>,
    rss: f64,
    variances: Vec<Option<f64>>,
    inverse: Option<Vec<f64>>,
}

impl AtMinimum {
    /// Puts the last digits, found in higher arithmetic, in the place of those of doubles.
    fn sharpen(&mut self, solved: RefinedSolution, roots: Option<&[f64]>, active: &[bool]) {
        let p = active.len();
        self.parameters = solved.parameters;
        self.fitted = solved.fitted;
        self.residuals = match roots {
            None => solved.residuals.clone(),
            Some(roots) => solved.residuals.iter().zip(roots).map(|(r, w)| r * w).collect(),
        };
        self.plain_residuals = if roots.is_some() {
            solved.residuals
        } else {
            Vec::new()
        };
        self.rss = solved.residual_sum_of_squares;
        for j in (0..p).filter(|j| active[*j]) {
            self.variances[j] = Some(solved.inverse[j * p + j]);
        }
        self.inverse = Some(solved.inverse);
    }
}

/// Errors, tests and all the rest at a minimum. `allowed` is the largest cosine between residuals and a derivative.
pub(super) fn finish_within(
    setting: &SearchContext<'_>,
    roots: Option<&[f64]>,
    minimum: Minimum,
    options: &Options,
    mut remarks: Vec<FitRemark>,
    allowed: f64,
) -> Result<Fit, Refusal> {
    let (model, data) = (setting.model, setting.data);
    let (n, p) = (data.y.len(), model.parameters().len());
    let parameters = minimum.parameters;
    let on_limit =
        |j: usize, value: f64| setting.free[j] && (value <= setting.lower[j] || value >= setting.upper[j]);
    let mut active: Vec<bool> = (0..p)
        .map(|j| setting.free[j] && !on_limit(j, parameters[j]))
        .collect();

    let mut residuals = vec![0.0; n];
    let mut columns = vec![0.0; n * p];
    let problem = setting.problem(roots);
    let rss = problem.linearise(&parameters, &mut residuals, &mut columns);
    if !rss.is_finite() {
        let (index, what) = model
            .undefined(data.x, &parameters)
            .unwrap_or((0, "the value is not a finite number".into()));
        return Err(Refusal::Undefined { what, index });
    }
    let steepest = steepest(
        &problem,
        &parameters,
        (&residuals, &columns, rss),
        &mut active,
        allowed,
    );
    let plain_residuals = roots.map_or_else(Vec::new, |roots| {
        residuals.iter().zip(roots).map(|(r, w)| r / w).collect()
    });
    let own = if roots.is_some() {
        &plain_residuals
    } else {
        &residuals
    };
    let fitted: Vec<f64> = data.y.iter().zip(own).map(|(y, r)| y - r).collect();
    let weights: Option<Vec<f64>> = roots.map(|r| r.iter().map(|v| v * v).collect());
    let m = active.iter().filter(|a| **a).count();
    let mut variances: Vec<Option<f64>> = vec![None; p];
    let mut inverse: Option<Vec<f64>> = None;
    let exact = (64.0 * f64::EPSILON).powi(2) * sum_of_squares(data.y);
    let settled = steepest <= allowed || minimum.end == SearchEnd::Exact || (roots.is_none() && rss <= exact);
    spread(&mut columns, n, &active, &mut variances, &mut inverse);
    let moved = moved_by_rounding((&fitted, roots), &parameters, &active, (&variances, rss));
    let enough = n * m > 600 && settled && steepest < 1e-9 && moved < 1e-12;
    let sharpened = if enough {
        None
    } else {
        model.sharpen(data.x, data.y, weights.as_deref(), &parameters, &active)
    };
    let mut at = AtMinimum {
        parameters,
        residuals,
        plain_residuals,
        fitted,
        rss,
        variances,
        inverse,
    };
    if let Some(solved) = sharpened {
        at.sharpen(solved, roots, &active);
        remarks.push(FitRemark::Sharpened);
    } else if !settled || minimum.end == SearchEnd::Iterations {
        return Err(not_converged(minimum.end, minimum.iterations));
    }
    let AtMinimum {
        parameters,
        residuals,
        plain_residuals,
        fitted,
        rss,
        variances,
        inverse,
    } = at;

    let known_errors = matches!(data.weighting, Weighting::KnownErrors(_));
    let degrees_of_freedom = n - setting.free.iter().filter(|f| **f).count();
    let df = degrees_of_freedom as f64;
    let variance = if known_errors { 1.0 } else { rss / df };
    let half = half_width(options.level, df, known_errors);
    let listed = listed(setting, &parameters, &variances, (variance, half));
    let covariance = inverse.map(|mut c| {
        for value in &mut c {
            *value *= variance;
        }
        c
    });

    let order = order_of_points(model, data.x);
    let diagnostics = diagnostics::examine(&residuals, &fitted, order.as_deref(), m);
    let variation = variation(data.y, weights.as_deref());
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
        correlation: None,
        termination: termination(minimum.end),
        iterations: minimum.iterations,
        evaluations: minimum.evaluations,
        remarks,
    };
    for c in consequences {
        fit.derive(Cow::Borrowed(c.name), Cow::Borrowed(c.unit), c.value, &c.gradient);
    }
    Ok(fit)
}

fn termination(end: SearchEnd) -> Termination {
    match end {
        SearchEnd::Gradient => Termination::Gradient,
        SearchEnd::Exact => Termination::Exact,
        SearchEnd::Step => Termination::Step,
        SearchEnd::Reduction | SearchEnd::Iterations | SearchEnd::Undefined => Termination::Reduction,
    }
}

fn not_converged(end: SearchEnd, iterations: usize) -> Refusal {
    let how = if end == SearchEnd::Iterations {
        "the limit of iterations was reached"
    } else {
        "the search came to rest on a slope, not in a minimum; other starting values or a simpler model may help"
    };
    Refusal::NotConverged {
        how: how.into(),
        iterations,
    }
}

/// By which part of itself the parameter that rounding of y moves most is moved.
fn moved_by_rounding(
    (fitted, roots): (&[f64], Option<&[f64]>),
    parameters: &[f64],
    active: &[bool],
    (variances, rss): (&[Option<f64>], f64),
) -> f64 {
    let size = f64::EPSILON
        * total_of_pairs(fitted, roots.unwrap_or(fitted), |f, w| {
            f * if roots.is_some() { w * w * f } else { f }
        })
        .sqrt();
    (0..parameters.len())
        .filter(|j| active[*j])
        .map(|j| variances[j].map_or(f64::INFINITY, |v| size * v.sqrt() / parameters[j].abs()))
        .fold(size / rss.sqrt(), f64::max)
}

/// The order in which residuals are examined; none where the points stand in it.
fn order_of_points(model: &dyn Model, x: &[&[f64]]) -> Option<Vec<usize>> {
    match x.last() {
        // The points of several runs: each run by itself, since neighbours in x are of different ones.
        Some(sets) if !model.takes_any_points() => {
            let mut order: Vec<usize> = (0..x[0].len()).collect();
            order.sort_by(|a, b| sets[*a].total_cmp(&sets[*b]).then(x[0][*a].total_cmp(&x[0][*b])));
            Some(order)
        }
        _ => order_by_x(x[0]),
    }
}

/// The weighted sum of squares about the mean.
fn variation(y: &[f64], weights: Option<&[f64]>) -> f64 {
    match weights {
        None => {
            let mean = total(y, |y| y) / y.len() as f64;
            total(y, |y| (y - mean) * (y - mean))
        }
        Some(w) => {
            let mean = product(y, w) / total(w, |w| w);
            total_of_pairs(y, w, |y, w| w * (y - mean) * (y - mean))
        }
    }
}

/// The parameters with their errors, intervals and standings: `variance` of the residuals, `half` an interval in standard errors.
fn listed(
    setting: &SearchContext<'_>,
    parameters: &[f64],
    variances: &[Option<f64>],
    (variance, half): (f64, f64),
) -> Vec<FittedParameter> {
    let size = setting.data.y.iter().fold(0.0_f64, |all, y| all.max(y.abs()));
    let specifications = setting.model.parameters();
    let all = specifications.iter().enumerate().map(|(j, specification)| {
        let value = parameters[j];
        let standard_error = variances[j]
            .map(|v| (v * variance).sqrt())
            .filter(|v| v.is_finite());
        let on_limit = setting.free[j] && (value <= setting.lower[j] || value >= setting.upper[j]);
        let standing = match standard_error {
            _ if !setting.free[j] => Determination::Held,
            _ if on_limit => Determination::AtLimit,
            None => Determination::NotDetermined,
            Some(se) if specification.positive && half * se >= value => {
                if se > 100.0 * value.abs() {
                    Determination::NotDetermined
                } else if value + half * se < 0.0 {
                    Determination::BelowZero
                } else {
                    Determination::PoorlyDetermined
                }
            }
            // An amplitude that is uncertain to a hundred times the whole signal says nothing.
            Some(se) if specification.unit == "y" && se > 100.0 * size => Determination::NotDetermined,
            Some(_) => Determination::Determined,
        };
        FittedParameter {
            name: specification.name.clone(),
            unit: specification.unit.clone(),
            value,
            standard_error,
            interval: standard_error.map(|se| around(value, half * se)),
            profile: None,
            standing,
        }
    });
    all.collect()
}

/// Whether the sum of squares stays the same to a part in a million when a parameter is made ten times as large.
pub(super) fn leaves_no_trace(problem: &FitProblem<'_>, parameters: &[f64], j: usize, rss: f64) -> bool {
    let mut far = parameters.to_vec();
    far[j] *= 10.0;
    let mut residuals = vec![0.0; problem.y.len()];
    let there = problem.residuals(&far, &mut residuals);
    far[j] != parameters[j] && (there - rss).abs() <= 1e-6 * rss
}

/// The order that puts x in rising order; none where it rises already.
pub(super) fn order_by_x(x: &[f64]) -> Option<Vec<usize>> {
    if x.windows(2).all(|w| w[0] <= w[1]) {
        return None;
    }
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
    Some(order)
}

/// Variances for a residual variance of one, from the derivatives. Where columns depend on each other, those
/// parameters that take part in the dependence get none.
pub(super) fn spread(
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
