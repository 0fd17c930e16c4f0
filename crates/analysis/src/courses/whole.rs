//! The rate at the beginning from what the whole course says.
//!
//! A straight line through the first part of a course that bends is always flatter than the course at its beginning, and
//! a test that sees no bend is no proof that there is none. So the slope is taken from laws that may bend:
//!
//! * the integrated law of depletion, `k t = (1-a)(-ln s) + a (1-s)` with `y = c + v0 (1-s)/k`, s the part of the
//!   substrate left. With a = 0 it is first order, `y = c + v0 (1 - exp(-k t))/k`, nearly straight where k is small;
//!   with `a = S0/(S0 + Km)` that of Michaelis and Menten; with negative a one of product inhibition. What a is, the
//!   points often cannot tell, and it moves v0: so v0 is the mean over all a by their likelihood, and its error holds what
//!   they differ by;
//!   Laws of another kind that bend alike, second order (`y = c + v0 t/(1 + k t)`) and a rate that falls with what was formed
//!   (`y = c + v0 ln(1 + k t)/k`), count in the error and the interval where the points do not speak against them;
//! * a steady rate after a burst or a lag, `y = c + vs t + (v0-vs)(1 - exp(-k t))/k`, where it fits the points decidedly
//!   better.

use std::borrow::Cow;
use std::sync::OnceLock;

use multiversion::multiversion;

use super::{Course, Order, exponentials, exponentials_inline};
use crate::distribution::{NORMAL_95, f_upper, t_half_width, t_two_sided};
use crate::fit::solver::{total, total_of_pairs};
use crate::fit::{
    Data, Determination, Fit, FitInterval, Options, Warning, allow_for_correlation, fit, wandering,
};
use crate::models::grid::{even, sampled};
use crate::models::{Model, Specification};
use crate::refusal::Refusal;

use super::rate::{CourseShape, RateLaw};

/// The law of depletion at one a; parameters `c, v0, k`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Depletion {
    a: f64,
}

static DEPLETION: [Specification; 3] = [
    Specification::any("c", "y"),
    Specification::any("v0", "y/x"),
    Specification::any("k", "1/x"),
];

/// `u = -ln s` where `(1-a) u + a (1 - exp(-u)) = tau`, looked for from `near`; not a number where there is none.
fn depleted(tau: f64, a: f64, near: f64) -> f64 {
    if a == 0.0 {
        return tau;
    }
    let mut u = near;
    for _ in 0..60 {
        let e = (-u).exp();
        let slope = (1.0 - a) + a * e;
        if slope.is_nan() || slope <= 0.0 {
            return f64::NAN;
        }
        let step = ((1.0 - a) * u + a * (1.0 - e) - tau) / slope;
        u -= step;
        if step.abs() <= 1e-9 * u.abs() {
            // Newton's next step would be of the size of the square of this one.
            return u;
        }
    }
    u
}

/// Where Newton's search for one point begins; on its right side of the root it goes there without overshooting.
fn beginning_of(tau: f64, a: f64) -> f64 {
    if a > 0.0 && tau > 0.0 {
        tau.max((tau - a) / (1.0 - a))
    } else {
        tau
    }
}

/// `(1-s)/k`, which is t at k = 0.
fn used(t: f64, k: f64, a: f64) -> f64 {
    let tau = k * t;
    if tau.abs() < 1e-8 {
        return t * (1.0 - 0.5 * (1.0 - a) * tau);
    }
    -(-depleted(tau, a, beginning_of(tau, a))).exp_m1() / k
}

/// Steps of `u` for one, and the end beyond which `exp(-u)` is nothing beside one.
const KNOTS: (usize, usize) = (16, 40);

/// `exp(-u)` at even steps of u.
fn knots() -> &'static [f64] {
    static ALL: OnceLock<Vec<f64>> = OnceLock::new();
    let (steps, end) = KNOTS;
    ALL.get_or_init(|| {
        let all = 0..=steps * end;
        all.map(|at| (-(at as f64) / steps as f64).exp()).collect()
    })
}

/// A law that bends: what of it is c and v0, and how it goes on from them.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Bend {
    /// The law of depletion at one a.
    Depletion(f64),
    /// The slope falls as `1/(1 + k t)`.
    Logarithm,
    /// The slope falls as `1/(1 + k t)²`.
    SecondOrder,
}

/// Laws beside that of depletion.
const OTHERS: [Bend; 2] = [Bend::Logarithm, Bend::SecondOrder];

impl Bend {
    /// What v0 is multiplied by at each of rising times.
    fn along(self, t: &[f64], k: f64, out: &mut [f64]) {
        if let Self::Depletion(a) = self {
            return used_along(t, k, a, out);
        }
        for (value, t) in out.iter_mut().zip(t) {
            *value = self.at(*t, k).0;
        }
    }

    /// What v0 is multiplied by at a time, and its derivative by k.
    fn at(self, t: f64, k: f64) -> (f64, f64) {
        let tau = k * t;
        match self {
            Self::Depletion(a) => {
                let mut g = [0.0; 3];
                Depletion { a }.at(t, &[0.0, 1.0, k], &mut g);
                (g[1], g[2])
            }
            // Below a ten-thousandth, the first terms of the series.
            Self::Logarithm if tau < 1e-4 => (
                t * (1.0 - tau / 2.0 + tau * tau / 3.0),
                t * t * (2.0 * tau / 3.0 - 0.5),
            ),
            Self::Logarithm => {
                let value = tau.ln_1p() / k;
                (value, (t / (1.0 + tau) - value) / k)
            }
            Self::SecondOrder => {
                let value = t / (1.0 + tau);
                (value, -value * value)
            }
        }
    }
}

/// The same for a whole column of rising times, or of all `t` where `a = 0`.
///
/// A search for the bend asks for it thousands of times. tau is known at even steps of u; a straight line between two of these
/// is off by at most `h²/8 (1 + |a|) = 0.0025` in u, and two of Newton's steps, of whole columns, leave some 1e-10 of that.
fn used_along(t: &[f64], k: f64, a: f64, out: &mut [f64]) {
    let last = t.last().map_or(0.0, |t| (k * t).abs());
    if last < 1e-6 {
        for (value, t) in out.iter_mut().zip(t) {
            *value = t * (1.0 - 0.5 * (1.0 - a) * k * t);
        }
        return;
    }
    if a == 0.0 {
        exponentials(-k, t, out);
        for value in out {
            *value = (1.0 - *value) / k;
        }
        return;
    }
    let e = knots();
    let step = 1.0 / KNOTS.0 as f64;
    let knot = |at: usize| (1.0 - a) * at as f64 * step + a * (1.0 - e[at]);
    let mut next = 1;
    let (mut low, mut high) = (0.0, knot(1));
    for (value, t) in out.iter_mut().zip(t) {
        let tau = k * t;
        while tau > high && next + 1 < e.len() {
            next += 1;
            (low, high) = (high, knot(next));
        }
        *value = if tau > high {
            (tau - a) / (1.0 - a)
        } else {
            step * ((next - 1) as f64 + (tau - low) / (high - low))
        };
    }
    newton_along(t, (k, a), out);
}

/// Two of Newton's steps from the u in `out`, which become `(1 - exp(-u))/k`.
#[multiversion(targets("x86_64+avx2"))]
fn newton_along(t: &[f64], (k, a): (f64, f64), out: &mut [f64]) {
    const MANY: usize = 64;
    let mut room = [0.0; MANY];
    for (t, out) in t.chunks(MANY).zip(out.chunks_mut(MANY)) {
        let e = &mut room[..t.len()];
        for last in [false, true] {
            exponentials_inline(-1.0, out, e);
            for ((u, e), t) in out.iter_mut().zip(e.iter()).zip(t) {
                let by = ((1.0 - a) * *u + a * (1.0 - e) - k * t) / ((1.0 - a) + a * e);
                // exp(-u + by), by being next to nothing.
                *u = if last {
                    (1.0 - e * (1.0 + by + 0.5 * by * by)) / k
                } else {
                    *u - by
                };
            }
        }
    }
}

impl Depletion {
    fn at(self, t: f64, p: &[f64], g: &mut [f64; 3]) -> f64 {
        let (v0, k, a) = (p[1], p[2], self.a);
        let part = used(t, k, a);
        let tau = k * t;
        g[0] = 1.0;
        g[1] = part;
        g[2] = if tau.abs() < 1e-4 {
            // -(1-a) t²/2 + (1-a)(1-3a) k t³/3, beyond which nothing is left.
            v0 * t * t * (1.0 - a) * ((1.0 - 3.0 * a) * tau / 3.0 - 0.5)
        } else {
            let e = (-depleted(tau, a, beginning_of(tau, a))).exp();
            v0 / k * (e * t / ((1.0 - a) + a * e) - part)
        };
        p[0] + v0 * part
    }
}

impl Model for Depletion {
    fn name(&self) -> Cow<'static, str> {
        Cow::Borrowed("depletion")
    }

    fn parameters(&self) -> &[Specification] {
        &DEPLETION
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        let mut g = [0.0; 3];
        for (value, t) in values.iter_mut().zip(x[0]) {
            *value = self.at(*t, p, &mut g);
        }
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len();
        let mut g = [0.0; 3];
        for (i, (value, t)) in values.iter_mut().zip(x[0]).enumerate() {
            *value = self.at(*t, p, &mut g);
            for j in 0..3 {
                columns[j * n + i] = g[j];
            }
        }
    }

    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal> {
        search(x[0], y, Bend::Depletion(self.a))
            .map(|found| found.parameters.to_vec())
            .ok_or_else(|| Refusal::NoStart {
                why: "no trial value of the bend suits the course".into(),
            })
    }

    fn linear(&self) -> &[usize] {
        &[0, 1]
    }
}

/// The best of one a.
#[derive(Clone, Copy)]
struct AtA {
    /// Not a number for a law of another kind.
    a: f64,
    parameters: [f64; 3],
    rss: f64,
    /// Variance of v0 for a residual variance of one.
    variance: f64,
}

/// Sum of squares with c and v0 solved for.
fn projected(t: &[f64], y: &[f64], (bend, k): (Bend, f64), column: &mut [f64]) -> (f64, f64, f64) {
    let n = t.len() as f64;
    bend.along(t, k, column);
    let (mb, my) = (total(column, |b| b) / n, total(y, |y| y) / n);
    let bb = total(column, |b| (b - mb) * (b - mb));
    let by = total_of_pairs(column, y, |b, y| (b - mb) * (y - my));
    let yy = total(y, |y| (y - my) * (y - my));
    let v0 = by / bb;
    let rss = yy - v0 * by;
    if rss.is_finite() {
        (rss, my - v0 * mb, v0)
    } else {
        (f64::INFINITY, my, 0.0)
    }
}

/// Bends that are tried first, in lengths of the course.
const BENDS: [f64; 15] = [
    -3.0, -1.5, -0.7, -0.3, -0.1, 0.0, 0.1, 0.3, 0.7, 1.2, 2.0, 3.5, 6.0, 12.0, 30.0,
];

fn search(t: &[f64], y: &[f64], law: Bend) -> Option<AtA> {
    let span = t[t.len() - 1] - t[0];
    if span.is_nan() || span <= 0.0 {
        return None;
    }
    // A bend to the other side needs no a: what would tell one is of third order.
    let bends: &[f64] = if law == Bend::Depletion(0.0) {
        &BENDS
    } else {
        &BENDS[5..]
    };
    let mut column = vec![0.0; t.len()];
    let mut height = |bend: f64| projected(t, y, (law, bend / span), &mut column).0;
    let heights: Vec<f64> = bends.iter().map(|bend| height(*bend)).collect();
    let lowest = (0..bends.len()).min_by(|i, j| heights[*i].total_cmp(&heights[*j]))?;
    let (mut low, mut high) = (
        bends[lowest.saturating_sub(1)],
        bends[(lowest + 1).min(bends.len() - 1)],
    );
    // Golden section: no slope is needed, and eighteen steps leave a part in five thousand of the bracket, far below the error.
    const PART: f64 = 0.618_033_988_749_894_9;
    let (mut left, mut right) = (high - PART * (high - low), low + PART * (high - low));
    let (mut at_left, mut at_right) = (height(left), height(right));
    for _ in 0..18 {
        if at_left <= at_right {
            high = right;
            (right, at_right) = (left, at_left);
            left = high - PART * (high - low);
            at_left = height(left);
        } else {
            low = left;
            (left, at_left) = (right, at_right);
            right = low + PART * (high - low);
            at_right = height(right);
        }
    }
    let k = 0.5 * (low + high) / span;
    let (rss, c, v0) = projected(t, y, (law, k), &mut column);
    let parameters = [c, v0, k];
    // Gram and Schmidt: what of v0's column is left beside those of c and k.
    let n = t.len() as f64;
    let (mut sums, mut vv, mut vk, mut kk) = ([0.0; 2], 0.0, 0.0, 0.0);
    for t in t {
        let (by_v0, by_k) = law.at(*t, k);
        let by_k = v0 * by_k;
        sums[0] += by_v0;
        sums[1] += by_k;
        vv += by_v0 * by_v0;
        vk += by_v0 * by_k;
        kk += by_k * by_k;
    }
    vv -= sums[0] * sums[0] / n;
    vk -= sums[0] * sums[1] / n;
    kk -= sums[1] * sums[1] / n;
    let left = if kk > 0.0 { vv - vk * vk / kk } else { vv };
    (rss.is_finite() && left > 0.0).then_some(AtA {
        a: match law {
            Bend::Depletion(a) => a,
            Bend::Logarithm | Bend::SecondOrder => f64::NAN,
        },
        parameters,
        rss,
        variance: 1.0 / left,
    })
}

/// A course whose slope falls below this part of that at its beginning has stopped.
const STOPPED: f64 = 0.2;

impl AtA {
    /// Slope at a time in terms of that at the beginning.
    fn slope_at(&self, t: f64) -> f64 {
        let tau = self.parameters[2] * t;
        let e = (-depleted(tau, self.a, beginning_of(tau, self.a))).exp();
        e / ((1.0 - self.a) + self.a * e)
    }
}

/// The mean over all a.
struct Mean {
    rate: f64,
    /// Mean variance of v0 at one a, for white noise.
    own: f64,
    /// Part of the error that is there because a is not known.
    spread: f64,
}

/// What the points say of every a.
struct OverA {
    all: Vec<AtA>,
    /// The best of laws of another kind that bend.
    others: Vec<AtA>,
    best: AtA,
    /// Residual variance at the best.
    variance: f64,
}

/// First values of a: from strong product inhibition to saturation (`S0 = 60 Km`) and a course that stops all at once.
const FIRST: [f64; 13] = [
    -4.0, -2.0, -1.0, -0.4, 0.0, 0.25, 0.45, 0.65, 0.82, 0.93, 0.984, 0.996, 0.999,
];

/// How much a range of a counts before any points are seen: all alike from -1 on, below it, where a product would bind more tightly than
/// the substrate does, ever less.
fn measure(a: f64) -> f64 {
    if a < -1.0 { -1.0 - 0.3 * (-a).ln() } else { a }
}

/// Saturation above which a course stops all at once.
const STOPS: f64 = 0.99;

fn over_a(t: &[f64], y: &[f64]) -> Option<OverA> {
    let plain = search(t, y, Bend::Depletion(0.0))?;
    let freedom = (t.len() as f64 - 4.0).max(1.0);
    let (mut all, mut others) = (vec![plain], Vec::new());
    if plain.parameters[2] > 0.0 && t.len() >= 7 {
        all = FIRST
            .iter()
            .filter_map(|a| {
                if *a == 0.0 {
                    Some(plain)
                } else {
                    search(t, y, Bend::Depletion(*a))
                }
            })
            .collect();
        // Finer where the points speak.
        for _ in 0..3 {
            let lowest = (0..all.len()).min_by(|i, j| all[*i].rss.total_cmp(&all[*j].rss))?;
            let beside = [lowest.checked_sub(1), Some(lowest + 1).filter(|i| *i < all.len())];
            let middles: Vec<f64> = beside
                .into_iter()
                .flatten()
                .map(|i| 0.5 * (all[i].a + all[lowest].a))
                .collect();
            all.extend(
                middles
                    .into_iter()
                    .filter_map(|a| search(t, y, Bend::Depletion(a))),
            );
            all.sort_by(|p, q| p.a.total_cmp(&q.a));
        }
        others.extend(OTHERS.iter().filter_map(|law| search(t, y, *law)));
    }
    let best = *all.iter().min_by(|p, q| p.rss.total_cmp(&q.rss))?;
    Some(OverA {
        all,
        others,
        best,
        variance: best.rss.max(0.0) / freedom,
    })
}

impl OverA {
    /// The mean of v0 by likelihood. Where neighbours err together the points say less of a: their variance counts `inflation`
    /// times.
    fn mean(&self, inflation: f64) -> Mean {
        let (all, best) = (&self.all, self.best);
        let variance = self.variance * inflation;
        let (mut weight, mut rate, mut own, mut square) = (0.0, 0.0, 0.0, 0.0);
        for (i, at) in all.iter().enumerate() {
            let before = measure(i.checked_sub(1).map_or(at.a, |j| all[j].a));
            let after = measure(all.get(i + 1).map_or(at.a, |next| next.a));
            let width = if all.len() == 1 { 1.0 } else { after - before };
            let likelihood = if variance > 0.0 {
                (-0.5 * (at.rss - best.rss) / variance).exp()
            } else {
                f64::from(u8::from(at.a == best.a))
            };
            let share = width * likelihood;
            let v0 = at.parameters[1];
            weight += share;
            rate += share * v0;
            square += share * v0 * v0;
            own += share * at.variance * self.variance;
        }
        rate /= weight;
        Mean {
            rate,
            own: own / weight,
            spread: (square / weight - rate * rate).max(0.0).sqrt(),
        }
    }
}

impl OverA {
    /// How far from `rate`, below it and above it, a slope at the beginning lies that the points do not speak against by any of the
    /// laws: its likelihood lies within `quantile` standard deviations of the best (profile likelihood; a and k are free). The variance
    /// of a slope is `grown` times, that of a likelihood `inflation` times as large as for independent errors.
    fn reach(&self, rate: f64, (quantile, grown, inflation): (f64, f64, f64)) -> (f64, f64) {
        /// Steps between two values of a.
        const STEPS: u32 = 12;
        let everyone = || self.all.iter().chain(&self.others);
        let least = everyone().map(|at| at.rss).fold(f64::INFINITY, f64::min);
        let mut reach = (0.0_f64, 0.0_f64);
        let mut take = |v0: f64, rss: f64, variance: f64| {
            let left = quantile * quantile - (rss - least) / (self.variance * inflation);
            if left >= 0.0 {
                let half = (left * variance * self.variance * grown).sqrt();
                reach = (reach.0.max(rate - v0 + half), reach.1.max(v0 + half - rate));
            }
        };
        for at in everyone() {
            take(at.parameters[1], at.rss, at.variance);
        }
        for pair in self.all.windows(2) {
            for step in 1..STEPS {
                let part = f64::from(step) / f64::from(STEPS);
                let between = |of: &dyn Fn(&AtA) -> f64| of(&pair[0]) + part * (of(&pair[1]) - of(&pair[0]));
                take(
                    between(&|at| at.parameters[1]),
                    between(&|at| at.rss),
                    between(&|at| at.variance),
                );
            }
        }
        reach
    }
}

/// A slope of a course with its error.
#[derive(Clone, Copy, Debug)]
pub(super) struct CourseSlope {
    pub(super) rate: f64,
    pub(super) error: f64,
    /// How far its 95 % interval reaches below it and above it.
    pub(super) reach: (f64, f64),
}

/// What the whole course says.
pub(super) struct Whole {
    pub(super) law: RateLaw,
    pub(super) shape: CourseShape,
    /// The slope at the beginning; without an error where a burst or lag is over before it could be seen.
    pub(super) beginning: CourseSlope,
    pub(super) steady: Option<CourseSlope>,
    /// Signal at the beginning.
    pub(super) intercept: f64,
    pub(super) fit: Fit,
    /// Part of the error that is for the choice of the law.
    pub(super) bias: f64,
    /// Probability of so much bend in a straight course.
    pub(super) straightness: f64,
    /// How many of the points were used.
    pub(super) points: usize,
    /// Whether even the fullest law leaves residuals that wander, or a free curve follows the points decidedly better.
    pub(super) wanders: bool,
    /// Points that lie far from what the others say, with how far in standard deviations.
    pub(super) far: Vec<(usize, f64)>,
    /// The slope at the beginning, and the steady one, without those points.
    pub(super) without: Option<(CourseSlope, CourseShape)>,
    /// Whether it runs straight and stops all at once.
    pub(super) stops: bool,
    /// The a of the law of depletion.
    a: f64,
}

/// Below this probability a bend, a burst or a lag is named. Common practice.
const NAMED: f64 = 0.01;

fn slope_of(fit: &Fit, name: &str) -> Option<CourseSlope> {
    let found = fit.parameter(name)?;
    let error = found.standard_error?;
    let freedom = fit
        .correlation
        .as_ref()
        .map_or(fit.degrees_of_freedom as f64, |c| c.degrees_of_freedom);
    Some(CourseSlope {
        rate: found.value,
        error,
        reach: alike(t_half_width(0.95, freedom) * error),
    })
}

/// The same reach to both sides.
fn alike(half: f64) -> (f64, f64) {
    (half, half)
}

/// Fewest points of which a far one is told.
const FEWEST_WITHOUT: usize = 8;

/// Most far points that are looked for.
const FAR: usize = 3;

/// Below this probability, counting all points, one is told to lie far from the others.
const FAR_CHANCE: f64 = 0.01;

/// The rate of a course by its shape. `since` is the time since the beginning.
pub(super) fn whole_course(since: &[f64], signal: &[f64]) -> Result<Whole, Refusal> {
    let mut found = followed(since, signal)?;
    let mut kept: Vec<usize> = (0..since.len()).collect();
    let mut last: Option<Whole> = None;
    let mut far = Vec::new();
    while far.len() < FAR && kept.len() > FEWEST_WITHOUT {
        let now = last.as_ref().unwrap_or(&found);
        let (residuals, sd) = (&now.fit.residuals, now.fit.residual_sd);
        let size = |i: &usize| residuals[*i].abs();
        let largest = (0..residuals.len()).max_by(|i, j| size(i).total_cmp(&size(j)));
        // A first point draws the slope at the beginning to itself and shows in its residual least of all.
        let mut candidates = Vec::new();
        candidates.extend(may_be_far(&kept, since, signal).then_some(0));
        candidates.extend(largest.filter(|i| *i > 0 && size(i) > 3.0 * sd));
        let count = kept.len() as f64;
        let worst = candidates
            .into_iter()
            .filter_map(|at| {
                let others: Vec<usize> = kept.iter().copied().filter(|i| *i != kept[at]).collect();
                let pick = |column: &[f64]| others.iter().map(|i| column[*i]).collect::<Vec<f64>>();
                let without = followed(&pick(since), &pick(signal)).ok()?;
                let (chance, deviations) = without.chance_of(since[kept[at]], signal[kept[at]])?;
                (chance * count < FAR_CHANCE).then_some((chance, at, deviations, without))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0).then(b.2.abs().total_cmp(&a.2.abs())));
        let Some((_, at, deviations, without)) = worst else {
            break;
        };
        far.push((kept.remove(at), deviations));
        last = Some(without);
    }
    if let Some(without) = last {
        // What broke the course off may have been that point.
        if found.points < since.len() && !without.wanders && without.points + far.len() >= since.len() {
            found = over(since, signal)?;
            found.wanders = false;
        }
        // Whether the far point is wrong nobody knows here: the error holds what it does.
        let moved = found.beginning.rate - without.beginning.rate;
        found.beginning.widen(moved);
        if let (Some(steady), Some(other)) = (&mut found.steady, without.steady) {
            steady.widen(steady.rate - other.rate);
        }
        found.bias = found.bias.hypot(moved);
        found.without = Some((without.beginning, without.shape));
        found.far = far;
    }
    Ok(found)
}

/// Whether a first point may lie far from the others, before the longer way of fitting them without it: it lies off a parabola
/// through the seven after it.
fn may_be_far(kept: &[usize], t: &[f64], y: &[f64]) -> bool {
    const NEXT: usize = 7;
    let Some(next) = kept.get(1..=NEXT) else {
        return true;
    };
    let mut steps: Vec<f64> = kept
        .windows(3)
        .map(|w| (y[w[0]] - 2.0 * y[w[1]] + y[w[2]]).abs())
        .collect();
    steps.sort_by(f64::total_cmp);
    // Normal errors: the median of second differences is 0.674 √6 of their standard deviation.
    let noise = steps[steps.len() / 2] / 1.652;
    let x: Vec<f64> = next.iter().map(|i| t[*i] - t[kept[0]]).collect();
    let z: Vec<f64> = next.iter().map(|i| y[*i]).collect();
    crate::linear::polynomial(&x, &z, 2).map_or(true, |fit| {
        let error = noise * (1.0 + fit.unscaled_covariance[0][0]).sqrt();
        (y[kept[0]] - fit.coefficients[0]).abs() > 2.5 * error
    })
}

impl CourseSlope {
    /// Takes a further error into the error and the interval.
    fn widen(&mut self, by: f64) {
        // A normal quantile: the error is none of the scatter of the points.
        let reach = NORMAL_95 * by;
        self.reach = (self.reach.0.hypot(reach), self.reach.1.hypot(reach));
        self.error = self.error.hypot(by);
    }

    /// Makes the interval so many times as wide.
    pub(super) fn stretch(&mut self, times: f64) {
        self.reach = (self.reach.0 * times, self.reach.1 * times);
    }

    /// Its interval.
    pub(super) fn interval(&self) -> FitInterval {
        FitInterval {
            lower: Some(self.rate - self.reach.0),
            upper: Some(self.rate + self.reach.1),
        }
    }
}

impl Whole {
    fn model(&self) -> Box<dyn Model> {
        match self.law {
            RateLaw::Approach => Box::new(Course::new(Order::Approach)),
            _ => Box::new(Depletion { a: self.a }),
        }
    }

    /// The law between two times since the beginning, on a time that begins at `begin`.
    pub(super) fn curve(&self, from: f64, to: f64, begin: f64) -> Vec<(f64, f64)> {
        const STEPS: u32 = 40;
        let model = self.model();
        let values = self.fit.values();
        let since = sampled(even(from, to, STEPS), |t| {
            let mut y = vec![0.0; t.len()];
            model.evaluate(&[t], &values, &mut y);
            y
        });
        since.into_iter().map(|(t, y)| (t + begin, y)).collect()
    }

    /// What a course that stops all at once says before it does: where the end is that of the instrument and no substrate ran out, the
    /// corner is no part of any law, and drags the slope with it.
    fn before_it_stops(&self, t: &[f64], y: &[f64]) -> Option<Self> {
        const RUNS: f64 = 0.98;
        if !self.stops {
            return None;
        }
        let law = AtA {
            a: self.a,
            parameters: [0, 1, 2].map(|place| self.fit.parameters[place].value),
            rss: 0.0,
            variance: 0.0,
        };
        let runs = t.iter().take_while(|t| law.slope_at(**t) > RUNS).count();
        // Noise blurs where the corner is.
        let end = runs - runs.div_ceil(12).min(runs);
        if end < FEWEST_WITHOUT {
            return None;
        }
        let mut before = over(&t[..end], &y[..end]).ok()?;
        refute(&mut before, &t[..end], &y[..end]);
        before.stops = true;
        Some(before)
    }

    /// How likely a reading lies so far from the curve by chance, and how far it lies in its standard deviations.
    fn chance_of(&self, t: f64, y: f64) -> Option<(f64, f64)> {
        let along = self.fit.along(self.model().as_ref(), &[t], true)?;
        let at = along.first()?;
        let deviations = (y - at.y) / at.standard_error.hypot(self.fit.residual_sd);
        let freedom = self
            .fit
            .correlation
            .as_ref()
            .map_or(self.fit.degrees_of_freedom as f64, |c| c.degrees_of_freedom);
        deviations
            .is_finite()
            .then(|| (t_two_sided(deviations, freedom), deviations))
    }
}

/// The rate of as much of a course as a law follows.
fn followed(since: &[f64], signal: &[f64]) -> Result<Whole, Refusal> {
    let mut taken = since.len();
    loop {
        let mut found = over(&since[..taken], &signal[..taken])?;
        let next = taken * 2 / 3;
        // Where no law follows the course to its end, its beginning is looked at alone.
        if !found.wanders || next < 12 {
            refute(&mut found, &since[..taken], &signal[..taken]);
            return Ok(match found.before_it_stops(&since[..taken], &signal[..taken]) {
                Some(before) => before,
                None => found,
            });
        }
        taken = next;
    }
}

/// Degree of the free curve that a law is held against.
const FREE: usize = 5;

/// Where a free curve follows the points decidedly better than the law, the law is refuted, and its error says nothing: that
/// of the free curve's slope, and what the two differ by, take its place.
fn refute(found: &mut Whole, t: &[f64], y: &[f64]) {
    let n = t.len();
    if n < 3 * FREE {
        return;
    }
    let Ok(free) = crate::linear::polynomial(t, y, FREE) else {
        return;
    };
    let (rest, freedom) = (free.residual_sum_of_squares, free.degrees_of_freedom as f64);
    let more = (FREE + 1 - 4) as f64;
    let gained = (found.fit.residual_sum_of_squares - rest).max(0.0) / more;
    let lagged: f64 = free.residuals.windows(2).map(|pair| pair[0] * pair[1]).sum();
    // What the curve takes up of the correlation: about its coefficients over the points.
    let rho = (lagged / rest + (FREE + 1) as f64 / n as f64).clamp(0.0, 0.95);
    let f = gained / (rest / freedom) * (1.0 - rho) / (1.0 + rho);
    if !(rest > 0.0 && f_upper(f, more, freedom) < REFUTED) {
        return;
    }
    if let Some(errors) = &free.standard_errors {
        let wider = (free.coefficients[1] - found.beginning.rate).hypot(errors[1]);
        let own = found.beginning.error;
        if wider > own {
            found.beginning.widen((wider * wider - own * own).sqrt());
            found.bias = found.bias.hypot(wider);
        }
    }
    found.wanders = true;
}

/// Below this probability a law is refuted by a free curve. The two are not nested, so that the test is not exact: stricter than the
/// others.
const REFUTED: f64 = 0.002;

/// Whether the residuals leave the curve in a way that neighbours which err together do not explain.
fn leaves(fit: &Fit) -> bool {
    if !fit.diagnostics.warnings.contains(&Warning::Wandering) {
        return false;
    }
    let Some(correlation) = &fit.correlation else {
        return true;
    };
    let rho = correlation.lag_one;
    let news: Vec<f64> = fit
        .residuals
        .windows(2)
        .map(|pair| pair[1] - rho * pair[0])
        .collect();
    rho > HIGHEST || wandering(&news, &fit.fitted[1..], fit.parameters.len())
}

/// Correlation above which residuals are a lack of fit and no noise.
const HIGHEST: f64 = 0.93;

/// What the lag-one correlation of a fit makes of an F ratio for slow deviations, and how many degrees of freedom are left.
fn tempered(fit: &Fit) -> (f64, f64) {
    match &fit.correlation {
        None => (1.0, fit.degrees_of_freedom as f64),
        Some(found) => {
            let rho = found.lag_one.clamp(0.0, 0.98);
            ((1.0 - rho) / (1.0 + rho), found.degrees_of_freedom)
        }
    }
}

/// A burst or a lag, if it fits decidedly better than depletion and lasts for some points.
fn approach(t: &[f64], y: &[f64], rss: f64) -> Option<(Fit, CourseShape)> {
    let n = t.len();
    if n < 8 {
        return None;
    }
    let span = t[n - 1] - t[0];
    let options = Options {
        bounds: vec![(3, Some(0.7 / span), Some(0.35 * (n - 1) as f64 / span))],
        ..Options::default()
    };
    let columns: [&[f64]; 1] = [t];
    let model = Course::new(Order::Approach);
    let mut found = fit(&model, &Data::new(&columns, y), &options).ok()?;
    let gained = (rss - found.residual_sum_of_squares)
        / (found.residual_sum_of_squares / found.degrees_of_freedom as f64);
    let free = found
        .parameters
        .iter()
        .all(|p| p.standing != Determination::AtLimit);
    if !free || f_upper(gained.max(0.0), 1.0, found.degrees_of_freedom as f64) > NAMED {
        return None;
    }
    allow_for_correlation(&model, &columns, &mut found);
    let (factor, freedom) = tempered(&found);
    if f_upper(gained.max(0.0) * factor, 1.0, freedom) > NAMED {
        return None;
    }
    let (v0, vs) = (slope_of(&found, "v0")?, slope_of(&found, "vs")?);
    if t_two_sided(vs.rate / vs.error, freedom) > NAMED {
        return None;
    }
    let shape = if vs.rate.abs() > v0.rate.abs() || v0.rate * vs.rate < 0.0 {
        CourseShape::Lag
    } else {
        CourseShape::Burst
    };
    Some((found, shape))
}

fn over(t: &[f64], y: &[f64]) -> Result<Whole, Refusal> {
    let columns: [&[f64]; 1] = [t];
    let not_told = || Refusal::Unsuitable {
        why: "the slope at the beginning is not determined by the points".into(),
    };
    let depletion = over_a(t, y).ok_or_else(not_told)?;
    let best = depletion.best;
    let line = crate::linear::line(t, y)?;
    let freedom = (t.len() as f64 - 3.0).max(1.0);
    let bend = (line.residual_sum_of_squares - best.rss).max(0.0) / (best.rss / freedom);
    if let Some((found, shape)) = approach(t, y, best.rss) {
        return Ok(Whole {
            law: RateLaw::Approach,
            shape,
            beginning: slope_of(&found, "v0").ok_or_else(not_told)?,
            steady: slope_of(&found, "vs"),
            intercept: found.parameters[0].value,
            bias: 0.0,
            straightness: f_upper(bend, 1.0, freedom),
            points: t.len(),
            wanders: leaves(&found),
            far: Vec::new(),
            without: None,
            stops: false,
            a: 0.0,
            fit: found,
        });
    }
    let model = Depletion { a: best.a };
    let options = Options {
        start: Some(best.parameters.to_vec()),
        ..Options::default()
    };
    let mut found = fit(&model, &Data::new(&columns, y), &options)?;
    let plain = slope_of(&found, "v0").ok_or_else(not_told)?;
    allow_for_correlation(&model, &columns, &mut found);
    let allowed = slope_of(&found, "v0").unwrap_or(plain);
    let (factor, independent) = tempered(&found);
    let mean = depletion.mean(1.0 / factor);
    let straightness = f_upper(bend * factor, 1.0, independent.min(freedom));
    // What the choice of a does to v0's own error, and what it does to v0.
    let grown = (mean.own / (plain.error * plain.error)).max(1.0);
    let grown_by_neighbours = (allowed.error / plain.error).powi(2);
    let error = (allowed.error * allowed.error * grown + mean.spread * mean.spread).sqrt();
    let few = (t.len() as f64 - 4.0).max(1.0);
    let quantile = (allowed.reach.0 / allowed.error).max(t_half_width(0.95, few));
    let half = quantile * error;
    let far = depletion.reach(mean.rate, (quantile, grown_by_neighbours, 1.0 / factor));
    // Points on a curve to the last digit speak against everything else.
    let told = far.0 > 0.0 && far.1 > 0.0 && far.0.is_finite() && far.1.is_finite();
    let reach = match found.correlation {
        // How much neighbours go together is known badly: the wider of both.
        Some(_) => (half.max(far.0), half.max(far.1)),
        None if told => far,
        None => alike(half),
    };
    // What goes on as one error to both sides holds as much.
    let error = error.max(0.5 * (reach.0 + reach.1) / quantile);
    Ok(Whole {
        law: if best.a == 0.0 {
            RateLaw::Saturating
        } else {
            RateLaw::Depletion
        },
        shape: if straightness < NAMED {
            CourseShape::Bending
        } else {
            CourseShape::Straight
        },
        beginning: CourseSlope {
            rate: mean.rate,
            error,
            reach,
        },
        steady: None,
        intercept: found.parameters[0].value,
        bias: mean.spread,
        straightness,
        points: t.len(),
        wanders: leaves(&found),
        far: Vec::new(),
        without: None,
        stops: best.a > STOPS && straightness < NAMED && best.slope_at(t[t.len() - 1]) < STOPPED,
        a: best.a,
        fit: found,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whole columns by knots and two steps, beside each point by itself.
    #[test]
    fn a_column_is_as_exact_as_its_points() {
        let t: Vec<f64> = (0..101).map(|i| f64::from(i) * 0.6).collect();
        let mut out = vec![0.0; t.len()];
        for a in FIRST {
            for bend in [1e-9, 1e-7, 1e-5, 0.01, 0.3, 1.2, 6.0, 30.0, 200.0] {
                // Points by themselves are taken by the series a little longer.
                let allowed = if bend < 1e-4 { 3e-8 } else { 1e-9 };
                let k = bend / 60.0;
                used_along(&t, k, a, &mut out);
                for (t, value) in t.iter().zip(&out) {
                    let wanted = used(*t, k, a);
                    // Against the whole column: what is small at its beginning is subtracted from one.
                    assert!(
                        (value - wanted).abs() <= allowed * used(60.0, k, a),
                        "a {a}, k {k}, t {t}: {value} for {wanted}"
                    );
                }
            }
        }
    }
}
