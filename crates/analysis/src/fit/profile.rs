//! Profile-likelihood intervals.
//!
//! The limit of a parameter is where the best sum of squares that the other parameters can reach has risen by
//! `s² t²` (Bates and Watts, Nonlinear Regression Analysis, 1988, section 6.1; for known errors by the square of the
//! normal quantile). It is found as a root, not by interpolation; where no root exists the interval stays open.
//!
//! For a quantity that follows from the parameters the same holds with the best sum of squares among all parameters that give it
//! one value.

use super::finish::half_width;
use super::solver::{FitProblem, Minimum, SearchEnd, minimise, settle};
use super::{Determination, Fit, FitRemark, LostEnd, Options, ProfileEnd, ProfileInterval, SearchContext};
use crate::models::{Model, Specification};
use crate::refusal::Refusal;
use std::borrow::Cow;

/// Fills in the profile interval of every free parameter.
///
/// A lower sum of squares that is met on the way is told, with the parameters there: the fit stays the one that was asked for, in the
/// minimum that its starting values lead to, and whether the other one means anything is for a person to judge.
pub(super) fn intervals(
    setting: &SearchContext<'_>,
    roots: Option<&[f64]>,
    fit: &mut Fit,
    options: &Options,
) {
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
    let best = fit.values();
    let mut walks: Vec<ProfileWalk<'_>> = Vec::new();
    for j in 0..best.len() {
        if fit.parameters[j].standing == Determination::Held {
            continue;
        }
        let mut walk = ProfileWalk {
            setting,
            roots,
            j,
            rss: fit.residual_sum_of_squares,
            variance,
            half,
            trail: Trail::from(best[j], &best),
            within: Vec::new(),
            better: None,
        };
        let step = match fit.parameters[j].standard_error {
            Some(se) if se > 0.0 && se < 1e3 * best[j].abs().max(f64::MIN_POSITIVE) => half * se,
            _ => best[j].abs().max(1e-6),
        };
        let bounds = walk.bounds(&best);
        let (lower, upper) = (
            walk.end((best[j], bounds.0), -1.0, step),
            walk.end((best[j], bounds.1), 1.0, step),
        );
        walks.push(walk);
        fit.parameters[j].profile = Some(ProfileInterval { lower, upper });
    }
    hold_each_other(&mut walks, &best, fit);
    let lowest = |a: &Minimum, b: &Minimum| a.rss.total_cmp(&b.rss);
    let better = walks.into_iter().filter_map(|walk| walk.better).min_by(lowest);
    of_derived(setting, roots, fit, variance, half);
    let sums = (fit.residual_sum_of_squares, variance);
    if let Some((parameters, sum)) = better.and_then(|better| printed(setting, roots, &better, sums)) {
        let again = Options {
            start: Some(parameters.clone()),
            profile: false,
            ..options.clone()
        };
        // Along a slope a sum may be lower than in a minimum, and a start there leads nowhere: none is named then.
        let leads = super::fit(setting.model, setting.data, &again).is_ok_and(|found| {
            found.residual_sum_of_squares < fit.residual_sum_of_squares - LOWER * variance
        });
        let free = fit.parameters.iter().zip(parameters);
        let parameters = free
            .filter(|(own, _)| leads && own.standing != Determination::Held)
            .map(|(own, value)| (own.name.clone(), value))
            .collect();
        fit.remarks.push(FitRemark::LowerMinimum {
            residual_sum_of_squares: sum,
            in_place_of: fit.residual_sum_of_squares,
            parameters,
        });
    }
}

/// Rounds in which ends are mended by what others found. A choice: in 200 fits of two phases two rounds were enough.
const ROUNDS: usize = 4;

/// A place beyond an end lies farther out by at least this part of the interval: what is nearer is the end itself.
const FARTHER: f64 = 1e-4;

/// Looks for ends anew that others contradict.
///
/// All parameters that leave a sum of squares below the limit lie between the ends of all profiles. A search along one parameter may be led
/// into another valley where it has to bend (a phase that grows while it becomes slow), and end there too early; the search along another
/// parameter that runs the same way does not. So what lies beyond an end, and below the limit, is where the search for it goes on.
fn hold_each_other(walks: &mut [ProfileWalk<'_>], best: &[f64], fit: &mut Fit) {
    for _ in 0..ROUNDS {
        let within: Vec<Vec<f64>> = walks.iter().flat_map(|walk| walk.arranged(best)).collect();
        let mut moved = false;
        for walk in &mut *walks {
            let j = walk.j;
            let Some(mut own) = fit.parameters[j].profile else {
                continue;
            };
            let bounds = walk.bounds(best);
            for (sign, bound) in [(-1.0, bounds.0), (1.0, bounds.1)] {
                let end = if sign < 0.0 {
                    &mut own.lower
                } else {
                    &mut own.upper
                };
                let Some(place) = end.last_below() else { continue };
                let reach = (place - best[j]).abs() * (1.0 + FARTHER);
                let mut beyond: Vec<&Vec<f64>> = within
                    .iter()
                    .filter(|p| (p[j] - best[j]) * sign > reach && (bound - p[j]) * sign > 0.0)
                    .collect();
                beyond.sort_by(|a, b| ((b[j] - a[j]) * sign).total_cmp(&0.0));
                let Some((farthest, height)) = beyond.into_iter().find_map(|p| Some((p, walk.height_of(p)?)))
                else {
                    continue;
                };
                walk.trail.add(farthest[j], farthest.clone());
                let reached = (farthest[j], height);
                *end = walk.end_beyond((best[j], bound), sign, reached);
                moved = true;
            }
            fit.parameters[j].profile = Some(own);
        }
        if !moved {
            return;
        }
    }
}

/// The parameters of a lower minimum with as few figures as give it back, six or more, and the sum of squares there; none where the sum
/// at what is printed is not surely lower.
///
fn printed(
    setting: &SearchContext<'_>,
    roots: Option<&[f64]>,
    better: &Minimum,
    (rss, variance): (f64, f64),
) -> Option<(Vec<f64>, f64)> {
    let rounded = |value: f64, figures: usize| {
        let text = format!("{value:.*e}", figures - 1);
        text.parse::<f64>().unwrap_or(value)
    };
    // With 17 figures a double is given back as it is.
    [6, 9, 12, 15, 17].into_iter().find_map(|figures| {
        let places = better.parameters.iter().enumerate();
        let parameters: Vec<f64> = places
            .map(|(j, value)| {
                if setting.free[j] {
                    rounded(*value, figures)
                } else {
                    *value
                }
            })
            .collect();
        let sum = largest_sum(setting, roots, &parameters)?;
        (sum < rss - LOWER * variance && sum <= better.rss + LOWER * variance).then_some((parameters, sum))
    })
}

/// The weighted sum of squares at these parameters, computed anew: what a search along a profile took for it may be made of rounding,
/// where parameters that ran away are subtracted from each other. In 31 digits where the model has them, else in doubles with what rounding may take
/// from it.
///
/// The last digit of each parameter moves the value of the model by its derivative times that digit, and so much, from all of them, is
/// not known of each residual.
fn largest_sum(setting: &SearchContext<'_>, roots: Option<&[f64]>, p: &[f64]) -> Option<f64> {
    let data = setting.data;
    let weights: Option<Vec<f64>> = roots.map(|roots| roots.iter().map(|root| root * root).collect());
    if let Some(sum) = setting.model.exact_sum(data.x, data.y, weights.as_deref(), p) {
        return Some(sum);
    }
    let n = data.y.len();
    let (mut values, mut columns) = (vec![0.0; n], vec![0.0; n * p.len()]);
    setting.model.differentiate(data.x, p, &mut values, &mut columns);
    let sum = (0..n)
        .map(|i| {
            let of_parameters = p.iter().enumerate().map(|(j, p)| (columns[j * n + i] * p).abs());
            let unsure = f64::EPSILON * of_parameters.sum::<f64>();
            let root = roots.map_or(1.0, |roots| roots[i]);
            (((data.y[i] - values[i]).abs() + unsure) * root).powi(2)
        })
        .sum::<f64>();
    sum.is_finite().then_some(sum)
}

/// Where a profile has been, with the parameters that were best there: each search begins beside its goal.
///
/// A search that begins where the one before it happened to end can be caught in another minimum, and everything after it too:
/// the profile then seems to jump, and the limit falls upon the estimate.
///
/// Parameters that run away along a valley without end would lose all their digits from place to place: they are kept within
/// [`RUNAWAY`] of the estimate, from where a search finds them again.
struct Trail(Vec<(f64, Vec<f64>)>);

/// So many times the estimate, a parameter that has no limit is as good as infinite. A choice: a curve that comes near to its limit as
/// one over the parameter lies within a ten-thousandth of it there, and sums of squares keep twelve of their sixteen digits. Searches
/// begin there at most; they may end farther out.
const RUNAWAY: f64 = 1e4;

impl Trail {
    fn from(value: f64, parameters: &[f64]) -> Self {
        Self(vec![(value, parameters.to_vec())])
    }

    /// The parameters at the nearest places on both sides, the nearer one first.
    fn beside(&self, value: f64) -> Vec<Vec<f64>> {
        let nearest = |above: bool| {
            self.0
                .iter()
                .filter(|(place, _)| (*place >= value) == above)
                .min_by(|a, b| (a.0 - value).abs().total_cmp(&(b.0 - value).abs()))
        };
        let mut found: Vec<&(f64, Vec<f64>)> =
            [nearest(false), nearest(true)].into_iter().flatten().collect();
        found.sort_by(|a, b| (a.0 - value).abs().total_cmp(&(b.0 - value).abs()));
        found
            .into_iter()
            .map(|(_, parameters)| parameters.clone())
            .collect()
    }

    fn add(&mut self, value: f64, mut parameters: Vec<f64>) {
        for (own, best) in parameters.iter_mut().zip(&self.0[0].1) {
            let most = RUNAWAY * best.abs();
            if most > 0.0 && own.abs() > most {
                *own = most.copysign(*own);
            }
        }
        self.0.push((value, parameters));
    }
}

/// A sum of squares that is lower by this part of the variance is another minimum. Along a flat valley a search ends a little beside
/// the lowest place. A limit lies where the sum has risen by about four variances, so that a hundredth of one moves it by an eighth of
/// a per cent of its distance (the distance goes as the root): less than is printed.
const LOWER: f64 = 0.01;

struct ProfileWalk<'a> {
    setting: &'a SearchContext<'a>,
    roots: Option<&'a [f64]>,
    j: usize,
    rss: f64,
    variance: f64,
    /// The height of a limit.
    half: f64,
    trail: Trail,
    /// Parameters at places below the limit.
    within: Vec<Vec<f64>>,
    /// What fits better than the estimate.
    better: Option<Minimum>,
}

impl ProfileWalk<'_> {
    /// How far the parameter may go. Below zero a rate constant or a dissociation constant has no meaning, and a limit there is none.
    fn bounds(&self, best: &[f64]) -> (f64, f64) {
        let (lower, upper) = (self.setting.lower[self.j], self.setting.upper[self.j]);
        if self.setting.model.parameters()[self.j].positive && best[self.j] > 0.0 {
            (lower.max(0.0), upper)
        } else {
            (lower, upper)
        }
    }

    /// The end on one side of the estimate; `step`: half the plain interval.
    fn end(&mut self, span: (f64, f64), sign: f64, step: f64) -> ProfileEnd {
        let half = self.half;
        limit(&mut |value| self.height(value), span, (sign, None), step, half)
    }

    /// The end on one side beyond a place with a height below the limit.
    fn end_beyond(&mut self, span: (f64, f64), sign: f64, reached: (f64, f64)) -> ProfileEnd {
        let half = self.half;
        let step = (reached.0 - span.0).abs();
        limit(
            &mut |value| self.height(value),
            span,
            (sign, Some(reached)),
            step,
            half,
        )
    }

    /// The height at given parameters, computed anew; none where it is not surely below the limit.
    fn height_of(&self, p: &[f64]) -> Option<f64> {
        let sum = largest_sum(self.setting, self.roots, p)?;
        let height = ((sum - self.rss).max(0.0) / self.variance).sqrt();
        (height < self.half).then_some(height)
    }

    /// The places below the limit, with parameters that may change places in the order of the estimate.
    fn arranged(&self, best: &[f64]) -> Vec<Vec<f64>> {
        let model = self.setting.model;
        self.within
            .iter()
            .map(|p| {
                let mut p = p.clone();
                model.arrange(best, &mut p);
                p
            })
            .filter(|p| {
                let mut own = p.iter().zip(best).enumerate();
                // Held ones must not change places, and below zero a rate constant has no meaning.
                own.all(|(i, (own, best))| {
                    let has_meaning = !model.parameters()[i].positive || *best <= 0.0 || *own > 0.0;
                    has_meaning && (self.setting.free[i] || own == best)
                })
            })
            .collect()
    }

    /// Root of the risen sum of squares over the variance at a value of the parameter.
    fn height(&mut self, value: f64) -> f64 {
        let mut free = self.setting.free.clone();
        free[self.j] = false;
        let (mut lower, mut upper) = (self.setting.lower.clone(), self.setting.upper.clone());
        lower[self.j] = value;
        upper[self.j] = value;
        let problem = FitProblem {
            model: self.setting.model,
            x: self.setting.data.x,
            y: self.setting.data.y,
            roots: self.roots,
            lower: &lower,
            upper: &upper,
            free: &free,
        };
        let separable = self.setting.model.linear().iter().any(|l| free[*l]);
        let mut least: Option<Minimum> = None;
        for mut start in self.trail.beside(value) {
            start[self.j] = value;
            for eliminated in [false, true] {
                if eliminated && !separable {
                    continue;
                }
                let mut minimum = minimise(&problem, &start, eliminated, 300);
                if minimum.end != SearchEnd::Undefined {
                    settle(&problem, &mut minimum);
                }
                let lower = |known: &Minimum| minimum.rss < known.rss;
                if minimum.rss.is_finite() && least.as_ref().is_none_or(lower) {
                    least = Some(minimum);
                }
            }
        }
        let Some(minimum) = least else {
            return f64::INFINITY;
        };
        self.trail.add(value, minimum.parameters.clone());
        let risen = ((minimum.rss - self.rss).max(0.0) / self.variance).sqrt();
        if risen < self.half {
            self.within.push(minimum.parameters.clone());
        }
        let known = self.better.as_ref().map_or(self.rss, |better| better.rss);
        let lower = known - LOWER * self.variance;
        if minimum.rss < lower
            && let Some(rss) = largest_sum(self.setting, self.roots, &minimum.parameters)
            && rss < lower
        {
            self.better = Some(Minimum { rss, ..minimum });
        }
        risen
    }
}

/// The first step outward, in half-widths of the plain interval: the profile is looked at four times before its limit, where it is as
/// plain as that. A choice; a longer one leads searches for the other parameters astray where a profile bends.
const FIRST_STEP: f64 = 0.25;
/// Where the limit is expected from the heights so far, a tenth is added, so that it lies between two places.
const BEYOND: f64 = 1.1;
/// The next place lies between so many times the last distance and so many. Choices: with less the way to an open end is long (1e9
/// widths are 114 steps of 1.2 and 19 of 3), with more searches go astray.
const STEPS: (f64, f64) = (1.2, 3.0);
/// Of what is left to a bound, no step goes farther than this part; a choice, so that 15 steps come within [`AT_BOUND`] of it
/// (`0.4^15 = 1e-6`).
const TOWARDS_BOUND: f64 = 0.6;
/// When so small a part is left, the bound itself is tried.
const AT_BOUND: f64 = 1e-6;
/// Steps of [`TOWARDS_BOUND`] from there to where doubles no longer tell a place from the bound: `0.4^25 = 1e-10`, and `1e-6 · 1e-10` is a
/// rounding.
const STEPS_TO_ROUNDING: f64 = 25.0;
/// A height this near to the limit, as a part of it, is the limit. So small a part of the height is as small a part of the interval;
/// rounding leaves more where parameters run away.
const NEAR: f64 = 1e-7;
/// The same where 80 halvings came no nearer: a part that is not printed. What is farther off has jumped.
const NEAR_ENOUGH: f64 = 1e-4;

/// The value on one side of `best` at which `height` is `target`; open where it is never reached. `bound` is as far as the value may
/// go.
///
/// The search begins at the estimate, where the height is zero, or at a place beyond it with the height there (`reached`), and goes outward
/// in steps that are short beside what the heights so far let expect: a step far over the limit leads the search for the other parameters
/// astray. It comes near to the bound before it stands upon it, since there the others may have no best values.
fn limit(
    height: &mut dyn FnMut(f64) -> f64,
    (best, bound): (f64, f64),
    (sign, reached): (f64, Option<(f64, f64)>),
    step: f64,
    target: f64,
) -> ProfileEnd {
    let far = 1e9 * step.max(best.abs());
    let room = (bound - best) * sign;
    if room <= 0.0 {
        return ProfileEnd::Open;
    }
    let (mut inside, mut inside_height) = reached.unwrap_or((best, 0.0));
    let mut before_height = f64::NEG_INFINITY;
    let mut distance = match reached {
        Some((place, _)) => STEPS.0 * (place - best).abs(),
        None => FIRST_STEP * step,
    };
    let (mut outside, mut outside_height);
    let (mut flat, mut last) = (0, false);
    loop {
        let gone = (inside - best).abs();
        if room.is_finite() && distance > gone + TOWARDS_BOUND * (room - gone) {
            last = room - gone <= AT_BOUND * room;
            distance = if last {
                room
            } else {
                gone + TOWARDS_BOUND * (room - gone)
            };
        }
        outside = if last { bound } else { best + sign * distance };
        outside_height = height(outside);
        if outside_height >= target {
            // Just before the bound the heights come to an end below the limit, and upon it they are other ones: there the model falls
            // together, as where a phase so slow that it is a line has become a constant, and the bound belongs to nothing that leads to it.
            let risen_to = inside_height + STEPS_TO_ROUNDING * (inside_height - before_height).abs();
            if last && risen_to < target {
                return ProfileEnd::Open;
            }
            break;
        }
        if last || distance > far {
            return ProfileEnd::Open;
        }
        // A profile that no longer rises while the parameter grows tenfold has no limit.
        flat = if outside_height <= inside_height * (1.0 + 1e-5) {
            flat + 1
        } else {
            0
        };
        if flat >= 6 && !room.is_finite() {
            return ProfileEnd::Open;
        }
        inside = outside;
        before_height = inside_height;
        inside_height = outside_height;
        let expected = BEYOND * distance * target / outside_height;
        distance = expected.clamp(STEPS.0 * distance, STEPS.1 * distance);
    }
    // False position with the Illinois rule and a bisection where the profile is undefined outside.
    let (mut f_in, mut f_out) = (inside_height - target, outside_height - target);
    for _ in 0..80 {
        let middle = if f_out.is_finite() {
            inside - f_in * (outside - inside) / (f_out - f_in)
        } else {
            0.5 * (inside + outside)
        };
        if (outside - inside).abs() <= 1e-11 * middle.abs().max(1e-300) {
            break;
        }
        let h = height(middle);
        let f = h - target;
        if f.abs() <= NEAR * target {
            return ProfileEnd::At(middle);
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
    if !f_out.is_finite() {
        return ProfileEnd::NotFound(LostEnd::Undefined { beyond: inside });
    }
    // Where the heights jump over the limit, or rounding of parameters that run away is larger than what they rise by, no value has it;
    // no limit is claimed then, nor that there is none.
    if (height(inside) - target).abs() <= NEAR_ENOUGH * target {
        ProfileEnd::At(inside)
    } else {
        ProfileEnd::NotFound(LostEnd::Jump {
            below: inside,
            above: outside,
        })
    }
}

/// Fills in the profile interval of every quantity that follows from the parameters.
fn of_derived(setting: &SearchContext<'_>, roots: Option<&[f64]>, fit: &mut Fit, variance: f64, half: f64) {
    let best = fit.values();
    let value_of = |p: &[f64], name: &str| {
        let all = setting.model.derived(p);
        all.into_iter()
            .find(|found| found.name == name)
            .map(|found| found.value)
    };
    for place in 0..fit.derived.len() {
        let found = &fit.derived[place];
        let free: Vec<usize> = found
            .follows_from
            .iter()
            .copied()
            .filter(|j| setting.free[*j])
            .collect();
        let (name, value) = (found.name.clone(), found.value);
        let interval = if let [j] = free[..] {
            // One parameter: its own limits, seen through the quantity.
            let Some(own) = fit.parameters[j].profile else {
                continue;
            };
            let at = |limit: ProfileEnd| {
                limit.seen_through(|limit| {
                    let mut p = best.clone();
                    p[j] = limit;
                    value_of(&p, &name).filter(|value| value.is_finite())
                })
            };
            let (low, high) = (at(own.lower), at(own.upper));
            let falls =
                low.value().is_some_and(|low| low > value) || high.value().is_some_and(|high| high < value);
            let (lower, upper) = if falls { (high, low) } else { (low, high) };
            ProfileInterval { lower, upper }
        } else {
            let Some(error) = found.standard_error.filter(|error| *error > 0.0) else {
                continue;
            };
            let side = |sign| {
                pulled_limit(
                    setting,
                    roots,
                    &best,
                    (&name, value, error),
                    (variance, half, sign),
                )
            };
            ProfileInterval {
                lower: side(-1.0),
                upper: side(1.0),
            }
        };
        fit.derived[place].profile = Some(interval);
    }
}

/// A model with one more point, at which its value is a quantity that follows from its parameters.
///
/// A reading there that lies away from the quantity's best value pulls the parameters. Wherever they come to rest, no others
/// that give the quantity the same value have a lower sum of squares: that is the profile.
struct PulledModel<'a> {
    model: &'a dyn Model,
    quantity: &'a str,
}

impl PulledModel<'_> {
    fn quantity(&self, p: &[f64]) -> Option<(f64, Vec<f64>)> {
        let all = self.model.derived(p);
        let found = all.into_iter().find(|found| found.name == self.quantity)?;
        Some((found.value, found.gradient))
    }
}

impl Model for PulledModel<'_> {
    fn name(&self) -> Cow<'static, str> {
        self.model.name()
    }

    fn parameters(&self) -> &[Specification] {
        self.model.parameters()
    }

    fn variables(&self) -> usize {
        self.model.variables()
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        let n = values.len() - 1;
        let x: Vec<&[f64]> = x.iter().map(|column| &column[..n]).collect();
        self.model.evaluate(&x, p, &mut values[..n]);
        values[n] = self.quantity(p).map_or(f64::NAN, |found| found.0);
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len() - 1;
        let x: Vec<&[f64]> = x.iter().map(|column| &column[..n]).collect();
        let mut own = vec![0.0; n * p.len()];
        self.model.differentiate(&x, p, &mut values[..n], &mut own);
        let (value, gradient) = self.quantity(p).unwrap_or_else(|| (f64::NAN, vec![0.0; p.len()]));
        values[n] = value;
        for (j, column) in columns.chunks_exact_mut(n + 1).enumerate() {
            column[..n].copy_from_slice(&own[j * n..(j + 1) * n]);
            column[n] = gradient[j];
        }
    }

    fn takes_any_points(&self) -> bool {
        false
    }

    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal> {
        self.model.start(x, y)
    }
}

/// How much stronger the pull is than what holds the quantity in its place: it goes that part squared of the way.
const PULL: f64 = 10.0;

/// The profile's limit on one side of a quantity that follows from several parameters.
fn pulled_limit(
    setting: &SearchContext<'_>,
    roots: Option<&[f64]>,
    best: &[f64],
    (name, value, error): (&str, f64, f64),
    (variance, half, sign): (f64, f64, f64),
) -> ProfileEnd {
    let n = setting.data.y.len();
    let model = PulledModel {
        model: setting.model,
        quantity: name,
    };
    let longer = |column: &[f64], last: f64| -> Vec<f64> { column.iter().copied().chain([last]).collect() };
    let x: Vec<Vec<f64>> = setting
        .data
        .x
        .iter()
        .map(|column| longer(column, column[n - 1]))
        .collect();
    let x: Vec<&[f64]> = x.iter().map(Vec::as_slice).collect();
    let ones = vec![1.0; n];
    let roots = longer(roots.unwrap_or(&ones), variance.sqrt() * PULL / error);
    let mut y = longer(setting.data.y, value);
    let mut residuals = vec![0.0; n + 1];
    let mut rest = |p: &[f64], y: &[f64]| {
        let problem = FitProblem {
            model: &model,
            x: &x,
            y,
            roots: Some(&roots),
            lower: &setting.lower,
            upper: &setting.upper,
            free: &setting.free,
        };
        problem.residuals(p, &mut residuals);
        residuals[..n].iter().map(|r| r * r).sum::<f64>()
    };
    let least = rest(best, &y);
    let mut trail = Trail::from(value, best);
    let mut reached = value;
    let mut height = |pull: f64| {
        y[n] = pull;
        let problem = FitProblem {
            model: &model,
            x: &x,
            y: &y,
            roots: Some(&roots),
            lower: &setting.lower,
            upper: &setting.upper,
            free: &setting.free,
        };
        let mut lowest: Option<Minimum> = None;
        for start in trail.beside(pull) {
            let mut minimum = minimise(&problem, &start, false, 300);
            if minimum.end == SearchEnd::Undefined {
                continue;
            }
            settle(&problem, &mut minimum);
            let lower = |known: &Minimum| minimum.rss < known.rss;
            if minimum.rss.is_finite() && lowest.as_ref().is_none_or(lower) {
                lowest = Some(minimum);
            }
        }
        let Some(minimum) = lowest else {
            return f64::INFINITY;
        };
        let risen = rest(&minimum.parameters, &y) - least;
        if let Some((quantity, _)) = model.quantity(&minimum.parameters) {
            reached = quantity;
        }
        trail.add(pull, minimum.parameters);
        (risen.max(0.0) / variance).sqrt()
    };
    let pull = limit(
        &mut height,
        (value, sign * f64::INFINITY),
        (sign, None),
        half * error,
        half,
    );
    let ProfileEnd::At(pull) = pull else {
        return pull.seen_through(|_| None);
    };
    if (height(pull) - half).abs() <= NEAR_ENOUGH * half {
        ProfileEnd::At(reached)
    } else {
        ProfileEnd::NotFound(LostEnd::OfParameters)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The upper end of an interval about 1 that is given by a function of the distance.
    fn upper(height: impl Fn(f64) -> f64, bound: f64) -> ProfileEnd {
        limit(
            &mut |value| height(value - 1.0),
            (1.0, bound),
            (1.0, None),
            0.5,
            2.0,
        )
    }

    #[test]
    fn an_end_is_a_number_open_or_not_found() {
        let ProfileEnd::At(found) = upper(|d| d, f64::INFINITY) else {
            panic!("a height that rises is not followed");
        };
        assert!((found - 3.0).abs() < 1e-6, "{found}");
        // It never rises so far, or a bound comes before.
        assert_eq!(upper(|d| d / (1.0 + d), f64::INFINITY), ProfileEnd::Open);
        assert_eq!(upper(|d| d, 2.0), ProfileEnd::Open);
        assert_eq!(upper(|d| d, 1.0), ProfileEnd::Open);
        // It jumps over the limit at 2.3.
        let jump = upper(|d| if d < 1.3 { d } else { 3.0 }, f64::INFINITY);
        let ProfileEnd::NotFound(LostEnd::Jump { below, above }) = jump else {
            panic!("{jump:?}");
        };
        assert!(below < 2.3 && (2.3 - below) < 1e-6 && above >= 2.3 && above - 2.3 < 1e-6);
        // The two places print alike, and stand there once.
        let why = jump.why_not_found().unwrap();
        assert!(
            why.starts_with("at 2.30000e0 the least sum of squares that was found goes over the limit"),
            "{why}"
        );
        // Beside the bound it comes to an end below the limit, and upon it the model is another one; where it still rises, a limit is there.
        let falls_together = |d: f64| if d < 1.0 { 1.5 * d } else { 3.0 };
        assert_eq!(upper(falls_together, 2.0), ProfileEnd::Open);
        let rises = |d: f64| 0.13 * (1.0 / (1.0 - d).max(1e-300)).ln();
        let ProfileEnd::At(found) = upper(rises, 2.0) else {
            panic!("a height that rises up to the bound is not followed");
        };
        assert!((0.13 * (1.0 / (2.0 - found)).ln() - 2.0).abs() < 1e-3, "{found}");
        // Nothing is defined beyond 2.3.
        let lost = upper(|d| if d < 1.3 { d } else { f64::INFINITY }, f64::INFINITY);
        assert!(
            matches!(lost, ProfileEnd::NotFound(LostEnd::Undefined { .. })),
            "{lost:?}"
        );
        assert_eq!(lost.value(), None);
    }
}
