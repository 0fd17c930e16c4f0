//! Profile-likelihood intervals.
//!
//! The limit of a parameter is where the best sum of squares that the other parameters can reach has risen by
//! `s² t²` (Bates and Watts, Nonlinear Regression Analysis, 1988, section 6.1; for known errors by the square of the
//! normal quantile). It is found as a root, not by interpolation; where no root exists the interval stays open.

use super::finish::half_width;
use super::solver::{End, Problem, minimise, settle};
use super::{Fit, Interval, Options, Remark, Setting, Standing};

/// Fills in the profile interval of every free parameter.
pub(super) fn intervals(setting: &Setting<'_>, roots: Option<&[f64]>, fit: &mut Fit, options: &Options) {
    let known_errors = fit.fit_probability.is_some();
    let half = half_width(options.level, fit.degrees_of_freedom as f64, known_errors);
    let variance = if known_errors {
        1.0
    } else {
        fit.residual_sum_of_squares / fit.degrees_of_freedom as f64
    };
    if variance <= 0.0 {
        return;
    }
    let best: Vec<f64> = fit.parameters.iter().map(|p| p.value).collect();
    let mut lower_found = false;
    for j in 0..best.len() {
        if fit.parameters[j].standing == Standing::Held {
            continue;
        }
        let mut side = |sign: f64| {
            let mut walk = Walk {
                setting,
                roots,
                j,
                rss: fit.residual_sum_of_squares,
                variance,
                at: best.clone(),
                lower_found: false,
            };
            let step = match fit.parameters[j].standard_error {
                Some(se) if se > 0.0 && se < 1e3 * best[j].abs().max(f64::MIN_POSITIVE) => half * se,
                _ => best[j].abs().max(1e-6),
            };
            let limit = walk.limit(best[j], sign, step, half);
            lower_found |= walk.lower_found;
            limit
        };
        let (lower, upper) = (side(-1.0), side(1.0));
        fit.parameters[j].profile = Some(Interval { lower, upper });
    }
    if lower_found {
        fit.remarks.push(Remark::Words {
            text: "while the profiles were followed, a lower sum of squares was met: there is another minimum, and \
                   other starting values should be tried"
                .into(),
        });
    }
}

struct Walk<'a> {
    setting: &'a Setting<'a>,
    roots: Option<&'a [f64]>,
    j: usize,
    rss: f64,
    variance: f64,
    at: Vec<f64>,
    lower_found: bool,
}

impl Walk<'_> {
    /// Root of the risen sum of squares over the variance at a value of the parameter.
    fn height(&mut self, value: f64) -> f64 {
        let mut free = self.setting.free.clone();
        free[self.j] = false;
        let (mut lower, mut upper) = (self.setting.lower.clone(), self.setting.upper.clone());
        lower[self.j] = value;
        upper[self.j] = value;
        let problem = Problem {
            model: self.setting.model,
            x: self.setting.data.x,
            y: self.setting.data.y,
            roots: self.roots,
            lower: &lower,
            upper: &upper,
            free: &free,
        };
        let mut start = self.at.clone();
        start[self.j] = value;
        let mut minimum = minimise(&problem, &start, false, 300);
        if minimum.end != End::Undefined {
            settle(&problem, &mut minimum);
        }
        if self.setting.model.linear().iter().any(|l| free[*l]) {
            let mut other = minimise(&problem, &start, true, 300);
            if other.end != End::Undefined {
                settle(&problem, &mut other);
            }
            if other.rss < minimum.rss {
                minimum = other;
            }
        }
        if !minimum.rss.is_finite() {
            return f64::INFINITY;
        }
        self.lower_found |= minimum.rss < self.rss * (1.0 - 1e-6);
        self.at = minimum.parameters;
        ((minimum.rss - self.rss).max(0.0) / self.variance).sqrt()
    }

    /// The value on one side of `best` at which the height is `target`; none where it is never reached.
    fn limit(&mut self, best: f64, sign: f64, step: f64, target: f64) -> Option<f64> {
        let bound = if sign < 0.0 {
            self.setting.lower[self.j]
        } else {
            self.setting.upper[self.j]
        };
        let far = 1e9 * step.max(best.abs());
        let (mut inside, mut inside_height) = (best, 0.0);
        let mut distance = step;
        let (mut outside, mut outside_height);
        let mut flat = 0;
        loop {
            outside = best + sign * distance;
            let stopped = (bound - outside) * sign <= 0.0;
            if stopped {
                outside = bound;
            }
            outside_height = self.height(outside);
            if outside_height >= target {
                break;
            }
            if stopped || distance > far {
                return None;
            }
            // A profile that no longer rises while the parameter grows tenfold has no limit.
            flat = if outside_height <= inside_height * (1.0 + 1e-5) {
                flat + 1
            } else {
                0
            };
            if flat >= 6 {
                return None;
            }
            inside = outside;
            inside_height = outside_height;
            distance *= 1.7;
        }
        // False position with the Illinois rule and a bisection where the profile is undefined outside.
        let keep = self.at.clone();
        let (mut f_in, mut f_out) = (inside_height - target, outside_height - target);
        self.at = keep;
        for _ in 0..80 {
            let middle = if f_out.is_finite() {
                inside - f_in * (outside - inside) / (f_out - f_in)
            } else {
                0.5 * (inside + outside)
            };
            if (outside - inside).abs() <= 1e-11 * middle.abs().max(1e-300) {
                break;
            }
            let h = self.height(middle);
            let f = h - target;
            if f.abs() <= 1e-9 * target {
                return Some(middle);
            }
            if f < 0.0 {
                inside = middle;
                f_in = f;
                if f_out.is_finite() {
                    f_out *= 0.5;
                }
            } else {
                outside = middle;
                f_out = f;
                f_in *= 0.5;
            }
        }
        f_out.is_finite().then_some(0.5 * (inside + outside))
    }
}
