//! Time courses: a signal against time, and the rate laws that describe it.
//!
//! ```
//! use curvary_analysis::courses::{Course, Order, Preparation, fit_course};
//! use curvary_analysis::fit::Options;
//!
//! let time: Vec<f64> = (0..60).map(f64::from).collect();
//! let signal: Vec<f64> = time.iter().map(|t| 0.15 + 1.05 * (-0.035 * t).exp()).collect();
//! let course = Course::new(Order::First).with_offset().unwrap();
//! let found = fit_course(&course, &time, &signal, &Preparation::default(), &Options::default()).unwrap();
//! assert!((found.fit.parameter("k").unwrap().value - 0.035).abs() < 1e-12);
//! ```

mod biphasic;
mod compare;
mod exponential;
mod preparation;
mod rate;
mod whole;

use std::borrow::Cow;

use multiversion::multiversion;
use serde::{Deserialize, Serialize};

pub use compare::{Comparison, NestedTest, compare_courses, usual_courses};
pub use preparation::{
    Conversion, CourseFit, Preparation, PreparedTrace, fit_course, fit_prepared, prepare, stages,
};
pub use rate::{CourseShape, InitialRate, RateLaw, RateWindow, SteadyRate, initial_rate};

use crate::models::grid::{best, geometric};
use crate::models::slope::{ProjectedSlope, zero};
use crate::models::{DerivedParameter, Model, Specification};
use crate::refusal::Refusal;
pub(crate) use exponential::{exponentials, exponentials_inline};

/// The rate law of a time course. `y` is the signal (or concentration) and `t` the time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// `y0 - k t`.
    Zero,
    /// `A exp(-k t)`.
    First,
    /// `A / (1 + |A| k t)`, the law `-dy/dt = k y²`.
    Second,
    /// Second order of two reactants that start unequal: `A0 D/(B0 exp(D k t) - A0)`, `D = B0 - A0`.
    SecondUnequal,
    /// `A ⇌ B`: `A0 (kr + kf exp(-(kf+kr) t))/(kf+kr)`.
    ReversibleFirst,
    /// The middle of A→B→C: `A0 k1 (exp(-k1 t) - exp(-k2 t))/(k2-k1)`.
    Consecutive,
    /// `A1 exp(-k1 t) + A2 exp(-k2 t)`.
    Biphasic,
    /// A steady rate after a lag or burst: `y0 + vs t + (v0-vs)(1-exp(-k t))/k`.
    Approach,
}

/// A rate law with what is added to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    order: Order,
    offset: bool,
    drift: bool,
    lag: bool,
    specifications: Vec<Specification>,
    linear: Vec<usize>,
}

impl Course {
    /// The bare rate law.
    pub fn new(order: Order) -> Self {
        let mut course = Self {
            order,
            offset: false,
            drift: false,
            lag: false,
            specifications: Vec::new(),
            linear: Vec::new(),
        };
        course.list_parameters();
        course
    }

    /// Adds a constant that the signal approaches (or rests on).
    ///
    /// # Errors
    /// [`Refusal::Unsuitable`] where the law has a constant of its own.
    pub fn with_offset(mut self) -> Result<Self, Refusal> {
        if matches!(self.order, Order::Zero | Order::Approach | Order::ReversibleFirst) {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "{} already has a constant; an offset could not be distinguished from it",
                    self.name()
                ),
            });
        }
        self.offset = true;
        self.list_parameters();
        Ok(self)
    }

    /// Adds a straight drift of the signal.
    ///
    /// # Errors
    /// [`Refusal::Unsuitable`] where the law is a straight line already.
    pub fn with_drift(mut self) -> Result<Self, Refusal> {
        if matches!(self.order, Order::Zero | Order::Approach) {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "{} already has a straight part; a drift could not be distinguished from it",
                    self.name()
                ),
            });
        }
        self.drift = true;
        self.list_parameters();
        Ok(self)
    }

    /// Lets the reaction begin only after a lag.
    ///
    /// # Errors
    /// [`Refusal::Unsuitable`] for [`Order::Approach`], which describes a lag by itself.
    pub fn with_lag(mut self) -> Result<Self, Refusal> {
        if self.order == Order::Approach {
            return Err(Refusal::Unsuitable {
                why: "this law describes a lag by itself".into(),
            });
        }
        self.lag = true;
        self.list_parameters();
        Ok(self)
    }

    /// The rate law.
    pub fn order(&self) -> Order {
        self.order
    }

    fn list_parameters(&mut self) {
        let any = Specification::any;
        let positive = Specification::positive;
        let (mut list, mut linear) = match self.order {
            Order::Zero => (vec![any("y0", "y"), any("k", "y/x")], vec![0, 1]),
            Order::First => (vec![any("A", "y"), positive("k", "1/x")], vec![0]),
            Order::Second => (vec![any("A", "y"), positive("k", "1/(y x)")], vec![]),
            Order::SecondUnequal => (
                vec![positive("A0", "y"), positive("B0", "y"), positive("k", "1/(y x)")],
                vec![],
            ),
            Order::ReversibleFirst => (
                vec![any("A0", "y"), positive("kf", "1/x"), positive("kr", "1/x")],
                vec![0],
            ),
            Order::Consecutive => (
                vec![any("A0", "y"), positive("k1", "1/x"), positive("k2", "1/x")],
                vec![0],
            ),
            Order::Biphasic => (
                vec![
                    any("A1", "y"),
                    positive("k1", "1/x"),
                    any("A2", "y"),
                    positive("k2", "1/x"),
                ],
                vec![0, 2],
            ),
            Order::Approach => (
                vec![
                    any("y0", "y"),
                    any("vs", "y/x"),
                    any("v0", "y/x"),
                    positive("k", "1/x"),
                ],
                vec![0, 1, 2],
            ),
        };
        if self.offset {
            linear.push(list.len());
            list.push(any("offset", "y"));
        }
        if self.drift {
            linear.push(list.len());
            list.push(any("drift", "y/x"));
        }
        if self.lag {
            if self.order == Order::Zero {
                // y0 - k (t - lag) is no longer linear in k and lag together, but still in y0 and k.
                linear.truncate(2);
            }
            list.push(any("lag", "x"));
        }
        self.specifications = list;
        self.linear = linear;
    }

    /// Parameters of the bare law.
    fn own(&self) -> usize {
        match self.order {
            Order::Zero | Order::First | Order::Second => 2,
            Order::SecondUnequal | Order::ReversibleFirst | Order::Consecutive => 3,
            Order::Biphasic | Order::Approach => 4,
        }
    }

    /// Value and derivatives of the bare law at one time; also the derivative by time.
    fn point(&self, t: f64, p: &[f64], g: &mut [f64]) -> (f64, f64) {
        match self.order {
            Order::Zero => {
                g[0] = 1.0;
                g[1] = -t;
                (p[0] - p[1] * t, -p[1])
            }
            Order::First => {
                let e = (-p[1] * t).exp();
                g[0] = e;
                g[1] = -p[0] * t * e;
                (p[0] * e, -p[1] * p[0] * e)
            }
            Order::Second => {
                let size = p[0].abs();
                let part = 1.0 / (1.0 + size * p[1] * t);
                g[0] = part * part;
                g[1] = -p[0] * size * t * part * part;
                (p[0] * part, -p[0] * size * p[1] * part * part)
            }
            Order::SecondUnequal => second_unequal(t, p, g),
            Order::ReversibleFirst => {
                let (a, kf, kr) = (p[0], p[1], p[2]);
                let e = (-(kf + kr) * t).exp();
                let share = (kr + kf * e) / (kf + kr);
                g[0] = share;
                g[1] = a * (e - kf * t * e - share) / (kf + kr);
                g[2] = a * (1.0 - kf * t * e - share) / (kf + kr);
                (a * share, -a * kf * e)
            }
            Order::Consecutive => {
                let (a, k1, k2) = (p[0], p[1], p[2]);
                let slow = (-k1.min(k2) * t).exp();
                let gap = -((k2 - k1) * t).abs();
                let (mean, first) = (ratio(gap), ratio_slope(gap));
                let by_fast = -t * slow * first;
                let by_slow = -t * slow * (mean - first);
                let (by_1, by_2) = if k1 < k2 {
                    (by_slow, by_fast)
                } else {
                    (by_fast, by_slow)
                };
                let h = slow * mean;
                g[0] = k1 * t * h;
                g[1] = a * t * (h + k1 * by_1);
                g[2] = a * k1 * t * by_2;
                let b = a * g[0];
                (b, a * k1 * (-k1 * t).exp() - k2 * b)
            }
            Order::Biphasic => {
                let (e1, e2) = ((-p[1] * t).exp(), (-p[3] * t).exp());
                g[0] = e1;
                g[1] = -p[0] * t * e1;
                g[2] = e2;
                g[3] = -p[2] * t * e2;
                (p[0] * e1 + p[2] * e2, -p[1] * p[0] * e1 - p[3] * p[2] * e2)
            }
            Order::Approach => {
                let (vs, v0, k) = (p[1], p[2], p[3]);
                let bent = t * ratio(-k * t);
                g[0] = 1.0;
                g[1] = t - bent;
                g[2] = bent;
                g[3] = -(v0 - vs) * t * t * ratio_slope(-k * t);
                (p[0] + vs * t + (v0 - vs) * bent, vs + (v0 - vs) * (-k * t).exp())
            }
        }
    }

    fn along(&self, t: &[f64], p: &[f64], values: &mut [f64], mut columns: Option<&mut [f64]>) {
        let n = t.len();
        if !self.lag && matches!(self.order, Order::First | Order::Biphasic) {
            self.along_exponentials(t, p, values, columns);
            return;
        }
        let own = self.own();
        let mut next = own;
        let mut place = |given: bool| {
            next += usize::from(given);
            given.then(|| next - 1)
        };
        let (offset, drift, lag) = (place(self.offset), place(self.drift), place(self.lag));
        let mut g = [0.0; 4];
        for i in 0..n {
            let begin = lag.map_or(0.0, |j| p[j]);
            let since = if lag.is_some() {
                (t[i] - begin).max(0.0)
            } else {
                t[i]
            };
            let (mut value, rate) = self.point(since, p, &mut g);
            value += offset.map_or(0.0, |j| p[j]) + drift.map_or(0.0, |j| p[j] * t[i]);
            values[i] = value;
            if let Some(columns) = columns.as_deref_mut() {
                for (j, slope) in g.iter().enumerate().take(own) {
                    columns[j * n + i] = *slope;
                }
                if let Some(j) = offset {
                    columns[j * n + i] = 1.0;
                }
                if let Some(j) = drift {
                    columns[j * n + i] = t[i];
                }
                if let Some(j) = lag {
                    columns[j * n + i] = if t[i] > begin { -rate } else { 0.0 };
                }
            }
        }
    }

    /// Sums of exponentials, whole columns at a time.
    fn along_exponentials(&self, t: &[f64], p: &[f64], values: &mut [f64], columns: Option<&mut [f64]>) {
        let n = t.len();
        let terms = self.own() / 2;
        let offset = if self.offset { p[2 * terms] } else { 0.0 };
        let drift = if self.drift {
            p[2 * terms + usize::from(self.offset)]
        } else {
            0.0
        };
        let rest = |values: &mut [f64]| {
            if self.drift {
                for (value, t) in values.iter_mut().zip(t) {
                    *value = offset + drift * t;
                }
            } else {
                values.fill(offset);
            }
        };
        rest(values);
        if let Some(columns) = columns {
            let (exponential, others) = columns.split_at_mut(2 * terms * n);
            for (k, pair) in exponential.chunks_exact_mut(2 * n).enumerate() {
                let (amplitude, rate) = (p[2 * k], p[2 * k + 1]);
                let (e, slope) = pair.split_at_mut(n);
                exponentials(-rate, t, e);
                for (((value, slope), e), t) in values.iter_mut().zip(slope).zip(e.iter()).zip(t) {
                    let part = amplitude * e;
                    *value += part;
                    *slope = -part * t;
                }
            }
            let mut others = others.chunks_exact_mut(n);
            if self.offset
                && let Some(column) = others.next()
            {
                column.fill(1.0);
            }
            if self.drift
                && let Some(column) = others.next()
            {
                column.copy_from_slice(t);
            }
        } else {
            let mut e = vec![0.0; n];
            for k in 0..terms {
                exponentials(-p[2 * k + 1], t, &mut e);
                for (value, e) in values.iter_mut().zip(&e) {
                    *value += p[2 * k] * e;
                }
            }
        }
    }
}

/// `(eᵘ - 1)/u`, which is one at zero.
fn ratio(u: f64) -> f64 {
    if u == 0.0 { 1.0 } else { u.exp_m1() / u }
}

/// Derivative of [`ratio`], `∫₀¹ θ e^{uθ} dθ`.
fn ratio_slope(u: f64) -> f64 {
    if u.abs() < 0.03 {
        // Σ (n+1) uⁿ/(n+2)!; the next term is below 1e-13 of the sum.
        return 0.5
            + u * (1.0 / 3.0
                + u * (1.0 / 8.0 + u * (1.0 / 30.0 + u * (1.0 / 144.0 + u * (1.0 / 840.0 + u / 5760.0)))));
    }
    (u.exp() - ratio(u)) / u
}

/// `A0 / (1 + B0 k t r(u))` with `u = (B0-A0) k t`: the textbook form without its 0/0 at equal concentrations.
fn second_unequal(t: f64, p: &[f64], g: &mut [f64]) -> (f64, f64) {
    let (a, b, k) = (p[0], p[1], p[2]);
    let gap = b - a;
    let q = k * t;
    // Beyond this, e^u would overflow; A is zero to all digits there.
    let u = (gap * q).min(600.0);
    let (mean, slope) = (ratio(u), ratio_slope(u));
    let n = 1.0 + b * q * mean;
    let factor = -a / (n * n);
    g[0] = 1.0 / n - factor * b * q * q * slope;
    g[1] = factor * (q * mean + b * q * q * slope);
    g[2] = factor * (b * t * mean + b * q * slope * gap * t);
    (a / n, factor * (b * k * mean + b * q * slope * gap * k))
}

impl Model for Course {
    fn name(&self) -> Cow<'static, str> {
        let base = match self.order {
            Order::Zero => "zero-order",
            Order::First => "first-order",
            Order::Second => "second-order",
            Order::SecondUnequal => "second-order-unequal",
            Order::ReversibleFirst => "reversible-first-order",
            Order::Consecutive => "consecutive",
            Order::Biphasic => "biphasic",
            Order::Approach => "approach-to-steady-rate",
        };
        match (self.order, self.offset, self.drift, self.lag) {
            (_, false, false, false) => Cow::Borrowed(base),
            (Order::First, true, false, false) => Cow::Borrowed("first-order+offset"),
            _ => {
                let mut name = base.to_owned();
                for (given, part) in [
                    (self.offset, "+offset"),
                    (self.drift, "+drift"),
                    (self.lag, "+lag"),
                ] {
                    if given {
                        name.push_str(part);
                    }
                }
                Cow::Owned(name)
            }
        }
    }

    fn parameters(&self) -> &[Specification] {
        &self.specifications
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        self.along(x[0], p, values, None);
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        self.along(x[0], p, values, Some(columns));
    }

    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal> {
        best(self, x, y, self.candidates(x[0], y).into_iter()).ok_or_else(|| Refusal::NoStart {
            why: format!("no trial value of {} suits the data", self.name()),
        })
    }

    fn linear(&self) -> &[usize] {
        &self.linear
    }

    fn shortcut(&self, x: &[&[f64]], y: &[f64]) -> Option<Vec<f64>> {
        if self.order == Order::Biphasic && !self.drift && !self.lag {
            return biphasic::shortcut(x[0], y, self.offset);
        }
        if self.order != Order::First || self.drift || self.lag || y.len() < 5 {
            return None;
        }
        first_order(x[0], y, self.offset)
    }

    fn arrange(&self, _start: &[f64], p: &mut [f64]) {
        match self.order {
            Order::Biphasic if p[1] < p[3] => {
                p.swap(0, 2);
                p.swap(1, 3);
            }
            // The faster step first; the same curve belongs to the other order with another A0.
            Order::Consecutive if p[1] < p[2] => {
                p[0] *= p[1] / p[2];
                p.swap(1, 2);
            }
            _ => {}
        }
    }

    fn derived(&self, p: &[f64]) -> Vec<DerivedParameter> {
        let count = p.len();
        let one = |name, unit, value: f64, slopes: &[(usize, f64)]| {
            let mut gradient = vec![0.0; count];
            for (j, slope) in slopes {
                gradient[*j] = *slope;
            }
            DerivedParameter {
                name,
                unit,
                value,
                gradient,
            }
        };
        let ln2 = std::f64::consts::LN_2;
        let half = |name, j: usize| one(name, "x", ln2 / p[j], &[(j, -ln2 / (p[j] * p[j]))]);
        match self.order {
            Order::Zero => {
                let value = 0.5 * p[0] / p[1];
                // What rises is never half used up.
                if !(value > 0.0 && value.is_finite()) {
                    return Vec::new();
                }
                vec![one(
                    "half-life",
                    "x",
                    value,
                    &[(0, 0.5 / p[1]), (1, -value / p[1])],
                )]
            }
            Order::First => vec![half("half-life", 1)],
            Order::Second => {
                let value = 1.0 / (p[1] * p[0].abs());
                vec![one(
                    "half-life",
                    "x",
                    value,
                    &[(0, -value / p[0]), (1, -value / p[1])],
                )]
            }
            Order::SecondUnequal => Vec::new(),
            Order::ReversibleFirst => {
                let k = p[1] + p[2];
                let slope = -ln2 / (k * k);
                vec![
                    one("half-life", "x", ln2 / k, &[(1, slope), (2, slope)]),
                    one(
                        "K",
                        "1",
                        p[1] / p[2],
                        &[(1, 1.0 / p[2]), (2, -p[1] / (p[2] * p[2]))],
                    ),
                ]
            }
            Order::Consecutive => {
                let (k1, k2) = (p[1], p[2]);
                let gap = k1 - k2;
                let value = (k1 / k2).ln() / gap;
                vec![one(
                    "time of the maximum",
                    "x",
                    value,
                    &[(1, (1.0 / k1 - value) / gap), (2, (value - 1.0 / k2) / gap)],
                )]
            }
            Order::Biphasic => vec![
                half("half-life of the fast phase", 1),
                half("half-life of the slow phase", 3),
            ],
            Order::Approach => vec![one(
                "relaxation time",
                "x",
                1.0 / p[3],
                &[(3, -1.0 / (p[3] * p[3]))],
            )],
        }
    }
}

impl Course {
    fn candidates(&self, t: &[f64], y: &[f64]) -> Vec<Vec<f64>> {
        let (low, high) = t.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
            (a.min(*v), b.max(*v))
        });
        let span = (high - low).max(f64::MIN_POSITIVE);
        let rates = geometric(0.03 / span, 30.0_f64.max(t.len() as f64 / 4.0) / span, 16);
        let first = y[0];
        let last = y[y.len() - 1];
        let size = y
            .iter()
            .fold(0.0_f64, |m, v| m.max(v.abs()))
            .max(f64::MIN_POSITIVE);
        let swing = if self.offset { first - last } else { first };
        let swing = if swing == 0.0 { size } else { swing };
        let mut list: Vec<Vec<f64>> = match self.order {
            Order::Zero => vec![vec![first, 0.0]],
            Order::First => rates.iter().map(|k| vec![1.0, *k]).collect(),
            Order::Second => [0.7, 1.0, 1.4]
                .iter()
                .flat_map(|f| rates.iter().map(move |k| vec![f * swing, k / swing.abs()]))
                .collect(),
            Order::SecondUnequal => [0.3, 0.7, 1.3, 3.0, 10.0]
                .iter()
                .flat_map(|f| {
                    rates
                        .iter()
                        .map(move |k| vec![size, f * size, k / (f.max(1.0) * size)])
                })
                .collect(),
            Order::ReversibleFirst => [0.05, 0.3, 1.0, 3.0]
                .iter()
                .flat_map(|f| {
                    rates
                        .iter()
                        .map(move |k| vec![1.0, k / (1.0 + f), k * f / (1.0 + f)])
                })
                .collect(),
            Order::Consecutive | Order::Biphasic => rates
                .iter()
                .enumerate()
                .flat_map(|(i, fast)| rates[..i].iter().map(move |slow| (*fast, *slow)))
                .map(|(fast, slow)| {
                    if self.order == Order::Biphasic {
                        vec![1.0, fast, 1.0, slow]
                    } else {
                        vec![1.0, fast, slow]
                    }
                })
                .collect(),
            Order::Approach => rates.iter().map(|k| vec![first, 1.0, 0.0, *k]).collect(),
        };
        for candidate in &mut list {
            if self.offset {
                candidate.push(last);
            }
            if self.drift {
                candidate.push(0.0);
            }
        }
        if self.lag {
            let lags = [0.0, 0.03, 0.08, 0.15, 0.25, 0.4];
            list = lags
                .iter()
                .flat_map(|f| {
                    list.iter().map(move |c| {
                        let mut c = c.clone();
                        c.push(low + f * span);
                        c
                    })
                })
                .collect();
        }
        list
    }
}

/// Sums over a column, in four lanes so that they run as vectors.
struct Sums {
    e: f64,
    ee: f64,
    ey: f64,
    u: f64,
    ue: f64,
    uu: f64,
    uy: f64,
}

/// First order with or without offset: amplitudes projected out, a zero of the slope in k.
fn first_order(t: &[f64], y: &[f64], offset: bool) -> Option<Vec<f64>> {
    let n = y.len() as f64;
    let sum_y: f64 = y.iter().sum();
    let start = rate_by_area(t, y, offset)?;
    let mut e = vec![0.0; y.len()];
    // Amplitude and offset at the last k, and how they change with k.
    let mut found = [0.0; 4];
    let mut solve = |k: f64| {
        exponentials(-k, t, &mut e);
        let s = sums(&e, t, y);
        let (a, c, by_a, by_c, gradient, curvature);
        if offset {
            // The amplitude about the means, then what is left of u = t e beside e and 1.
            let ee = s.ee - s.e * s.e / n;
            if ee <= 1e-12 * s.ee {
                return None;
            }
            a = (s.ey - s.e * sum_y / n) / ee;
            c = (sum_y - a * s.e) / n;
            let ue = s.ue - s.u * s.e / n;
            by_a = (2.0 * a * ue - (s.uy - s.u * sum_y / n)) / ee;
            by_c = (a * s.u - by_a * s.e) / n;
            gradient = -a * (s.uy - a * s.ue - c * s.u);
            curvature = a * a * (s.uu - s.u * s.u / n - ue * ue / ee);
        } else {
            if s.ee <= 0.0 {
                return None;
            }
            a = s.ey / s.ee;
            c = 0.0;
            by_a = (2.0 * a * s.ue - s.uy) / s.ee;
            by_c = 0.0;
            gradient = -a * (s.uy - a * s.ue);
            curvature = a * a * (s.uu - s.ue * s.ue / s.ee);
        }
        found = [a, c, by_a, by_c];
        (curvature > 0.0).then_some(ProjectedSlope { gradient, curvature })
    };
    let (k, last) = zero(start, &mut solve)?;
    let [a, c, by_a, by_c] = found;
    let a = a + by_a * last;
    Some(if offset {
        vec![a, k, c + by_c * last]
    } else {
        vec![a, k]
    })
}

#[multiversion(targets("x86_64+avx2"))]
fn sums(e: &[f64], t: &[f64], y: &[f64]) -> Sums {
    let mut lanes = [[0.0_f64; 4]; 7];
    let add = |lanes: &mut [[f64; 4]; 7], e: &[f64; 4], t: &[f64; 4], y: &[f64; 4]| {
        let u: [f64; 4] = std::array::from_fn(|k| t[k] * e[k]);
        for k in 0..4 {
            lanes[0][k] += e[k];
            lanes[1][k] += e[k] * e[k];
            lanes[2][k] += e[k] * y[k];
            lanes[3][k] += u[k];
            lanes[4][k] += u[k] * e[k];
            lanes[5][k] += u[k] * u[k];
            lanes[6][k] += u[k] * y[k];
        }
    };
    let ((e4, e_rest), (t4, t_rest), (y4, y_rest)) =
        (e.as_chunks::<4>(), t.as_chunks::<4>(), y.as_chunks::<4>());
    for ((e, t), y) in e4.iter().zip(t4).zip(y4) {
        add(&mut lanes, e, t, y);
    }
    for ((e, t), y) in e_rest.iter().zip(t_rest).zip(y_rest) {
        add(
            &mut lanes,
            &[*e, 0.0, 0.0, 0.0],
            &[*t, 0.0, 0.0, 0.0],
            &[*y, 0.0, 0.0, 0.0],
        );
    }
    let [e, ee, ey, u, ue, uu, uy] = lanes.map(|l| (l[0] + l[1]) + (l[2] + l[3]));
    Sums {
        e,
        ee,
        ey,
        u,
        ue,
        uu,
        uy,
    }
}

/// A first value of k from areas: `y = y₀ + k c t - k ∫y dt`, a straight-line problem in 1, t and the running area.
/// Up to fifty means of neighbouring points are enough, and keep noise out of the area.
fn rate_by_area(t: &[f64], y: &[f64], offset: bool) -> Option<f64> {
    let size = t.len().div_ceil(50);
    let first = t[0];
    let span = t[t.len() - 1] - first;
    if span.is_nan() || span <= 0.0 {
        return None;
    }
    let (mut area, mut last) = (0.0, None);
    // Moments of (1, T, S) with y; T and S scaled by the span.
    let mut m = [0.0; 9];
    for (t, y) in t.chunks(size).zip(y.chunks(size)) {
        let count = t.len() as f64;
        let (tm, ym) = (
            (t.iter().sum::<f64>() / count - first) / span,
            y.iter().sum::<f64>() / count,
        );
        if let Some((t0, y0)) = last {
            area += 0.5 * (tm - t0) * (ym + y0);
        }
        last = Some((tm, ym));
        let row = [
            1.0,
            tm,
            area,
            tm * tm,
            tm * area,
            area * area,
            ym,
            tm * ym,
            area * ym,
        ];
        for (sum, value) in m.iter_mut().zip(row) {
            *sum += value;
        }
    }
    let n = m[0];
    // Centred moments.
    let (tt, ts, ss) = (
        m[3] - m[1] * m[1] / n,
        m[4] - m[1] * m[2] / n,
        m[5] - m[2] * m[2] / n,
    );
    let (ty, sy) = (m[7] - m[1] * m[6] / n, m[8] - m[2] * m[6] / n);
    let slope = if offset {
        (tt * sy - ts * ty) / (tt * ss - ts * ts)
    } else {
        sy / ss
    };
    let k = -slope / span;
    if k.is_finite() && k * span > 0.02 && k * span < 0.5 * t.len() as f64 {
        Some(k)
    } else {
        Some(2.0 / span)
    }
}
