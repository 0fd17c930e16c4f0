//! Rate laws that come with the program, as entries of a table.
//!
//! *To add one:* write its function (value and derivatives at one point), its starting values, and one entry in
//! [`LAWS`]. The entry's equation is also fitted and differentiated as a formula in `tests/models.rs`, which checks the
//! hand-written derivatives against exact ones without another line.

mod curves;

use std::borrow::Cow;

use super::grid::{best, geometric};
use super::slope::{ProjectedSlope, zero};
use super::{DerivedParameter, Model, Specification};
use crate::refusal::Refusal;

/// Trial values for a search, drawn from the columns of x and from y.
type Candidates = fn(&[&[f64]], &[f64]) -> Vec<Vec<f64>>;
/// A law's own way to its minimum, see [`Model::shortcut`].
type Shortcut = fn(&[&[f64]], &[f64]) -> Option<Vec<f64>>;

/// A rate law `v = f(x₁, …)`.
#[derive(Clone, Copy)]
pub struct Law {
    /// Stable name in kebab case.
    pub name: &'static str,
    /// What it is called.
    pub title: &'static str,
    /// The equation as a formula, where algebra can write it.
    pub equation: Option<&'static str>,
    /// Names of the columns of x.
    pub variables: &'static [&'static str],
    specifications: &'static [Specification],
    linear: &'static [usize],
    point: fn(&[f64], &[f64], &mut [f64]) -> f64,
    candidates: Candidates,
    shortcut: Shortcut,
    derived: fn(&[f64]) -> Vec<DerivedParameter>,
}

impl std::fmt::Debug for Law {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Law({})", self.name)
    }
}

/// Most variables and parameters of a law.
const WIDEST: usize = 3;
const MOST: usize = 6;

impl Law {
    /// The law of that name.
    pub fn named(name: &str) -> Option<&'static Self> {
        LAWS.iter().find(|l| l.name == name)
    }

    /// Whether it is a law of rates over concentrations of a substrate or an inhibitor.
    pub fn is_of_rates(&self) -> bool {
        self.variables
            .iter()
            .all(|variable| matches!(*variable, "S" | "I"))
    }

    /// Whether it runs over doses: concentrations of an inhibitor or a ligand, which are set in ratios.
    pub fn is_over_doses(&self) -> bool {
        matches!(self.variables[0], "I" | "L")
    }

    /// What its first column of x is called where it cannot be negative.
    pub fn never_negative(&self) -> Option<&'static str> {
        match self.variables[0] {
            "t" => Some("time"),
            "T" => Some("absolute temperature"),
            "f" => Some("part of the ligand"),
            "S" | "I" | "L" => Some("concentration"),
            _ => None,
        }
    }

    fn gather(x: &[&[f64]], i: usize) -> [f64; WIDEST] {
        let mut point = [0.0; WIDEST];
        for (slot, column) in point.iter_mut().zip(x) {
            *slot = column[i];
        }
        point
    }
}

impl Model for Law {
    fn name(&self) -> Cow<'static, str> {
        Cow::Borrowed(self.name)
    }

    fn parameters(&self) -> &[Specification] {
        self.specifications
    }

    fn variables(&self) -> usize {
        self.variables.len()
    }

    fn evaluate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64]) {
        let mut gradient = [0.0; MOST];
        for (i, value) in values.iter_mut().enumerate() {
            *value = (self.point)(&Self::gather(x, i), p, &mut gradient);
        }
    }

    fn differentiate(&self, x: &[&[f64]], p: &[f64], values: &mut [f64], columns: &mut [f64]) {
        let n = values.len();
        let mut gradient = [0.0; MOST];
        for (i, value) in values.iter_mut().enumerate() {
            *value = (self.point)(&Self::gather(x, i), p, &mut gradient);
            for j in 0..p.len() {
                columns[j * n + i] = gradient[j];
            }
        }
    }

    fn start(&self, x: &[&[f64]], y: &[f64]) -> Result<Vec<f64>, Refusal> {
        best(self, x, y, (self.candidates)(x, y).into_iter()).ok_or_else(|| Refusal::NoStart {
            why: format!("no trial value of {} suits the data", self.title),
        })
    }

    fn linear(&self) -> &[usize] {
        self.linear
    }

    fn shortcut(&self, x: &[&[f64]], y: &[f64]) -> Option<Vec<f64>> {
        (self.shortcut)(x, y)
    }

    fn derived(&self, p: &[f64]) -> Vec<DerivedParameter> {
        (self.derived)(p)
    }
}

fn no_shortcut(_: &[&[f64]], _: &[f64]) -> Option<Vec<f64>> {
    None
}

fn nothing_derived(_: &[f64]) -> Vec<DerivedParameter> {
    Vec::new()
}

/// Initial slope `Vmax/Km`, the apparent second-order constant up to the enzyme concentration.
fn specificity(p: &[f64]) -> Vec<DerivedParameter> {
    let mut gradient = vec![0.0; p.len()];
    gradient[0] = 1.0 / p[1];
    gradient[1] = -p[0] / (p[1] * p[1]);
    vec![DerivedParameter {
        name: "Vmax/Km",
        unit: "y/x",
        value: p[0] / p[1],
        gradient,
    }]
}

const VMAX: Specification = Specification::positive("Vmax", "y");
const KM: Specification = Specification::positive("Km", "x");
/// Parameters of a progress curve over a baseline.
const PROGRESS_OFFSET: [Specification; 4] = [
    Specification::positive("S0", "y"),
    Specification::positive("Vmax", "y/x"),
    Specification::positive("Km", "y"),
    Specification::any("y0", "y"),
];

/// Every law. Variables are the substrate concentration S, the inhibitor concentration I, the ligand concentration L, the time
/// t, the temperature T in kelvin, the pH, and the ligand's part f of a total concentration.
pub static LAWS: [Law; 26] = [
    Law {
        name: "michaelis-menten",
        title: "Michaelis-Menten",
        equation: Some("Vmax*S/(Km+S)"),
        variables: &["S"],
        specifications: &[VMAX, KM],
        linear: &[0],
        point: michaelis_menten,
        candidates: one_constant,
        shortcut: michaelis_menten_shortcut,
        derived: specificity,
    },
    Law {
        name: "substrate-inhibition",
        title: "Michaelis-Menten with substrate inhibition",
        equation: Some("Vmax*S/(Km+S+S^2/Ksi)"),
        variables: &["S"],
        specifications: &[VMAX, KM, Specification::positive("Ksi", "x")],
        linear: &[0],
        point: substrate_inhibition,
        candidates: |x, _| {
            let grid = around(x[0]);
            pairs(&grid, &grid).map(|(km, ksi)| vec![1.0, km, ksi]).collect()
        },
        shortcut: no_shortcut,
        derived: |p| {
            let mut list = specificity(p);
            // The fastest rate, at S = √(Km Ksi).
            let value = (p[1] * p[2]).sqrt();
            list.push(DerivedParameter {
                name: "S at the fastest rate",
                unit: "x",
                value,
                gradient: vec![0.0, 0.5 * value / p[1], 0.5 * value / p[2]],
            });
            list
        },
    },
    Law {
        name: "hill",
        title: "Hill",
        equation: Some("Vmax*S^n/(K^n+S^n)"),
        variables: &["S"],
        specifications: &[
            VMAX,
            Specification::positive("K", "x"),
            Specification::positive("n", "1"),
        ],
        linear: &[0],
        point: hill,
        candidates: |x, _| {
            pairs(&around(x[0]), &[0.5, 0.7, 1.0, 1.5, 2.2, 3.5])
                .map(|(k, n)| vec![1.0, k, n])
                .collect()
        },
        shortcut: no_shortcut,
        derived: nothing_derived,
    },
    Law {
        name: "competitive",
        title: "competitive inhibition",
        equation: Some("Vmax*S/(Km*(1+I/Kic)+S)"),
        variables: &["S", "I"],
        specifications: &[VMAX, KM, Specification::positive("Kic", "I")],
        linear: &[0],
        point: competitive,
        candidates: |x, _| {
            pairs(&around(x[0]), &around(x[1]))
                .map(|(km, ki)| vec![1.0, km, ki])
                .collect()
        },
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "uncompetitive",
        title: "uncompetitive inhibition",
        equation: Some("Vmax*S/(Km+S*(1+I/Kiu))"),
        variables: &["S", "I"],
        specifications: &[VMAX, KM, Specification::positive("Kiu", "I")],
        linear: &[0],
        point: uncompetitive,
        candidates: |x, _| {
            pairs(&around(x[0]), &around(x[1]))
                .map(|(km, ki)| vec![1.0, km, ki])
                .collect()
        },
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "noncompetitive",
        title: "pure noncompetitive inhibition",
        equation: Some("Vmax*S/((Km+S)*(1+I/Ki))"),
        variables: &["S", "I"],
        specifications: &[VMAX, KM, Specification::positive("Ki", "I")],
        linear: &[0],
        point: noncompetitive,
        candidates: |x, _| {
            pairs(&around(x[0]), &around(x[1]))
                .map(|(km, ki)| vec![1.0, km, ki])
                .collect()
        },
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "mixed",
        title: "mixed inhibition",
        equation: Some("Vmax*S/(Km*(1+I/Kic)+S*(1+I/Kiu))"),
        variables: &["S", "I"],
        specifications: &[
            VMAX,
            KM,
            Specification::positive("Kic", "I"),
            Specification::positive("Kiu", "I"),
        ],
        linear: &[0],
        point: mixed,
        candidates: |x, _| {
            let (km, ki) = (around(x[0]), around(x[1]));
            let both: Vec<(f64, f64)> = pairs(&ki, &ki).collect();
            km.iter()
                .flat_map(|km| both.iter().map(move |(c, u)| vec![1.0, *km, *c, *u]))
                .collect()
        },
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "partial-competitive",
        title: "partial competitive inhibition",
        equation: Some("Vmax*S/(Km*(1+I/Kic)/(1+I/(alpha*Kic))+S)"),
        variables: &["S", "I"],
        specifications: &[
            VMAX,
            KM,
            Specification::positive("Kic", "I"),
            Specification::positive("alpha", "1"),
        ],
        linear: &[0],
        point: partial_competitive,
        candidates: |x, _| {
            let both: Vec<(f64, f64)> = pairs(&around(x[0]), &around(x[1])).collect();
            [1.5, 5.0, 20.0]
                .iter()
                .flat_map(|a| both.iter().map(move |(km, ki)| vec![1.0, *km, *ki, *a]))
                .collect()
        },
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "partial-noncompetitive",
        title: "partial noncompetitive inhibition",
        equation: Some("Vmax*S*(1+beta*I/Ki)/((Km+S)*(1+I/Ki))"),
        variables: &["S", "I"],
        specifications: &[
            VMAX,
            KM,
            Specification::positive("Ki", "I"),
            Specification::any("beta", "1"),
        ],
        linear: &[0],
        point: partial_noncompetitive,
        candidates: |x, _| {
            let both: Vec<(f64, f64)> = pairs(&around(x[0]), &around(x[1])).collect();
            [0.1, 0.4, 0.7]
                .iter()
                .flat_map(|b| both.iter().map(move |(km, ki)| vec![1.0, *km, *ki, *b]))
                .collect()
        },
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "morrison",
        title: "tight-binding inhibition (Morrison)",
        equation: Some("v0*(1-((E0+I+Kapp)-sqrt((E0+I+Kapp)^2-4*E0*I))/(2*E0))"),
        variables: &["I"],
        specifications: &[
            Specification::positive("v0", "y"),
            Specification::positive("E0", "x"),
            Specification::positive("Kapp", "x"),
        ],
        linear: &[0],
        point: morrison,
        candidates: |x, _| {
            pairs(&around(x[0]), &around(x[0]))
                .map(|(e, k)| vec![1.0, e, k])
                .collect()
        },
        shortcut: no_shortcut,
        derived: nothing_derived,
    },
    Law {
        name: "progress-substrate",
        title: "Michaelis-Menten progress curve, substrate left",
        equation: None,
        variables: &["t"],
        specifications: &[
            Specification::positive("S0", "y"),
            Specification::positive("Vmax", "y/x"),
            Specification::positive("Km", "y"),
        ],
        linear: &[],
        point: |x, p, g| progress(x[0], p, g),
        candidates: |x, y| progress_candidates(x[0], y, y.iter().fold(0.0, |m: f64, v| m.max(*v))),
        shortcut: no_shortcut,
        derived: nothing_derived,
    },
    Law {
        name: "progress-product",
        title: "Michaelis-Menten progress curve, product formed",
        equation: None,
        variables: &["t"],
        specifications: &[
            Specification::positive("S0", "y"),
            Specification::positive("Vmax", "y/x"),
            Specification::positive("Km", "y"),
        ],
        linear: &[],
        point: |x, p, g| {
            let left = progress(x[0], p, g);
            g[0] = 1.0 - g[0];
            g[1] = -g[1];
            g[2] = -g[2];
            p[0] - left
        },
        candidates: |x, y| {
            let highest = y.iter().fold(0.0, |m: f64, v| m.max(*v));
            [1.02, 1.2, 2.0]
                .iter()
                .flat_map(|f| progress_candidates(x[0], y, f * highest))
                .collect()
        },
        shortcut: no_shortcut,
        derived: nothing_derived,
    },
    Law {
        name: "michaelis-menten+offset",
        title: "Michaelis-Menten over a rate without substrate",
        equation: Some("Vmax*S/(Km+S)+v0"),
        variables: &["S"],
        specifications: &[VMAX, KM, Specification::any("v0", "y")],
        linear: &[0, 2],
        point: |x, p, g| {
            g[2] = 1.0;
            michaelis_menten(x, p, g) + p[2]
        },
        candidates: |x, y| behind(one_constant(x, y), &[0.0]),
        shortcut: no_shortcut,
        derived: specificity,
    },
    Law {
        name: "progress-product+offset",
        title: "Michaelis-Menten progress curve, product formed, over a baseline",
        equation: None,
        variables: &["t"],
        specifications: &PROGRESS_OFFSET,
        linear: &[3],
        point: |x, p, g| {
            let left = progress(x[0], p, g);
            g[0] = 1.0 - g[0];
            g[1] = -g[1];
            g[2] = -g[2];
            g[3] = 1.0;
            p[0] - left + p[3]
        },
        candidates: |x, y| {
            let (first, highest) = (y[0], y.iter().fold(f64::NEG_INFINITY, |m: f64, v| m.max(*v)));
            let list = [1.02, 1.2, 2.0]
                .iter()
                .flat_map(|f| progress_candidates(x[0], y, f * (highest - first).max(f64::MIN_POSITIVE)))
                .collect();
            behind(list, &[first])
        },
        shortcut: no_shortcut,
        derived: nothing_derived,
    },
    Law {
        name: "progress-substrate+offset",
        title: "Michaelis-Menten progress curve, substrate left, over a baseline",
        equation: None,
        variables: &["t"],
        specifications: &PROGRESS_OFFSET,
        linear: &[3],
        point: |x, p, g| {
            g[3] = 1.0;
            progress(x[0], p, g) + p[3]
        },
        candidates: |x, y| {
            let lowest = y.iter().fold(f64::INFINITY, |m: f64, v| m.min(*v));
            [0.98, 0.8, 0.0]
                .iter()
                .flat_map(|f| {
                    let base = f * lowest;
                    behind(
                        progress_candidates(x[0], y, (y[0] - base).max(f64::MIN_POSITIVE)),
                        &[base],
                    )
                })
                .collect()
        },
        shortcut: no_shortcut,
        derived: nothing_derived,
    },
    curves::IC50,
    curves::FOUR_PARAMETER,
    curves::PKA,
    curves::TWO_PKA,
    curves::QUADRATIC,
    curves::MELTING,
    curves::SLOW_BINDING,
    curves::INACTIVATION,
    curves::INACTIVATION_SERIES,
    curves::PRODUCT_INHIBITED,
    curves::CONTINUOUS_VARIATION,
];

/// Trial values over the range of a concentration column, in thirds of a decade.
fn around(column: &[f64]) -> Vec<f64> {
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    for v in column.iter().filter(|v| **v > 0.0) {
        low = low.min(*v);
        high = high.max(*v);
    }
    if high <= 0.0 {
        return vec![1.0];
    }
    geometric(0.2 * low, 5.0 * high, 10)
}

/// Each trial with these values behind it.
fn behind(list: Vec<Vec<f64>>, values: &[f64]) -> Vec<Vec<f64>> {
    list.into_iter()
        .map(|mut trial| {
            trial.extend_from_slice(values);
            trial
        })
        .collect()
}

fn pairs<'a>(a: &'a [f64], b: &'a [f64]) -> impl Iterator<Item = (f64, f64)> + 'a {
    a.iter().flat_map(move |x| b.iter().map(move |y| (*x, *y)))
}

fn one_constant(x: &[&[f64]], _: &[f64]) -> Vec<Vec<f64>> {
    around(x[0]).into_iter().map(|k| vec![1.0, k]).collect()
}

fn progress_candidates(t: &[f64], y: &[f64], s0: f64) -> Vec<Vec<f64>> {
    let span = t
        .iter()
        .fold(0.0_f64, |m, v| m.max(v.abs()))
        .max(f64::MIN_POSITIVE);
    let change = y
        .iter()
        .fold(0.0_f64, |m, v| m.max((v - y[0]).abs()))
        .max(f64::MIN_POSITIVE);
    let mut list = Vec::new();
    for km in [0.02, 0.1, 0.3, 1.0, 3.0, 10.0] {
        for factor in [0.5, 1.0, 2.0, 5.0] {
            let v = factor * change / span;
            list.push(vec![s0, v * (1.0 + km), km * s0]);
            list.push(vec![s0, v, km * s0]);
        }
    }
    list
}

fn michaelis_menten(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let part = 1.0 / (p[1] + x[0]);
    g[0] = x[0] * part;
    let v = p[0] * g[0];
    g[1] = -v * part;
    v
}

/// Projects out Vmax and looks for the zero of the slope in Km; begins with the straight line `v S = Vmax S - Km v`.
fn michaelis_menten_shortcut(x: &[&[f64]], y: &[f64]) -> Option<Vec<f64>> {
    let s = x[0];
    if s.iter().any(|v| *v < 0.0) {
        return None;
    }
    let (mut ss, mut sv, mut vv, mut ssv, mut svv) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (s, v) in s.iter().zip(y) {
        ss += s * s;
        sv += s * v;
        vv += v * v;
        ssv += s * s * v;
        svv += s * v * v;
    }
    // Normal equations of v S = V S - K v.
    let determinant = ss * vv - sv * sv;
    let km = (sv * ssv - ss * svv) / determinant;
    let highest = s.iter().fold(0.0_f64, |m, v| m.max(*v));
    let start = if km > 1e-3 * highest && km < 30.0 * highest {
        km
    } else {
        0.3 * highest
    };
    let mut vmax = 0.0;
    let (km, _) = zero(start, |km| {
        let (mut a, mut b, mut c, mut d, mut e) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (s, v) in s.iter().zip(y) {
            let part = 1.0 / (km + s);
            let share = s * part;
            let slope = share * part;
            a += share * share;
            b += share * v;
            c += share * slope;
            d += slope * slope;
            e += slope * v;
        }
        if a <= 0.0 {
            return None;
        }
        vmax = b / a;
        Some(ProjectedSlope {
            gradient: -vmax * (e - vmax * c),
            curvature: vmax * vmax * (d - c * c / a),
        })
    })?;
    let (mut a, mut b) = (0.0, 0.0);
    for (s, v) in s.iter().zip(y) {
        let share = s / (km + s);
        a += share * share;
        b += share * v;
    }
    Some(vec![b / a, km])
}

fn substrate_inhibition(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let s = x[0];
    let part = 1.0 / (p[1] + s + s * s / p[2]);
    g[0] = s * part;
    let v = p[0] * g[0];
    g[1] = -v * part;
    g[2] = v * part * s * s / (p[2] * p[2]);
    v
}

fn hill(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let s = x[0];
    if s == 0.0 {
        g[..3].fill(0.0);
        return 0.0;
    }
    // S^n / (K^n + S^n) with the ratio alone, which cannot overflow on one side only.
    let log = (p[1] / s).ln();
    let share = 1.0 / (1.0 + (p[2] * log).exp());
    let v = p[0] * share;
    let slope = -v * (1.0 - share);
    g[0] = share;
    g[1] = slope * p[2] / p[1];
    g[2] = slope * log;
    v
}

fn competitive(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (s, i) = (x[0], x[1]);
    let factor = 1.0 + i / p[2];
    let part = 1.0 / (p[1] * factor + s);
    g[0] = s * part;
    let v = p[0] * g[0];
    g[1] = -v * part * factor;
    g[2] = v * part * p[1] * i / (p[2] * p[2]);
    v
}

fn uncompetitive(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (s, i) = (x[0], x[1]);
    let part = 1.0 / (p[1] + s * (1.0 + i / p[2]));
    g[0] = s * part;
    let v = p[0] * g[0];
    g[1] = -v * part;
    g[2] = v * part * s * i / (p[2] * p[2]);
    v
}

fn noncompetitive(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (s, i) = (x[0], x[1]);
    let factor = 1.0 + i / p[2];
    let part = 1.0 / (p[1] + s);
    g[0] = s * part / factor;
    let v = p[0] * g[0];
    g[1] = -v * part;
    g[2] = v * i / (p[2] * p[2] * factor);
    v
}

fn mixed(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (s, i) = (x[0], x[1]);
    let (low, high) = (1.0 + i / p[2], 1.0 + i / p[3]);
    let part = 1.0 / (p[1] * low + s * high);
    g[0] = s * part;
    let v = p[0] * g[0];
    g[1] = -v * part * low;
    g[2] = v * part * p[1] * i / (p[2] * p[2]);
    g[3] = v * part * s * i / (p[3] * p[3]);
    v
}

fn partial_competitive(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (s, i) = (x[0], x[1]);
    let (top, bottom) = (1.0 + i / p[2], 1.0 + i / (p[3] * p[2]));
    let factor = top / bottom;
    let part = 1.0 / (p[1] * factor + s);
    g[0] = s * part;
    let v = p[0] * g[0];
    g[1] = -v * part * factor;
    let by_factor = -v * part * p[1];
    let by_ki = (-i / (p[2] * p[2]) + factor * i / (p[3] * p[2] * p[2])) / bottom;
    g[2] = by_factor * by_ki;
    g[3] = by_factor * factor / bottom * i / (p[3] * p[3] * p[2]);
    v
}

fn partial_noncompetitive(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (s, i) = (x[0], x[1]);
    let ratio = i / p[2];
    let part = 1.0 / (p[1] + s);
    let share = s * part;
    let factor = (1.0 + p[3] * ratio) / (1.0 + ratio);
    g[0] = share * factor;
    let v = p[0] * g[0];
    g[1] = -v * part;
    g[2] = p[0] * share * (1.0 - p[3]) / ((1.0 + ratio) * (1.0 + ratio)) * ratio / p[2];
    g[3] = p[0] * share * ratio / (1.0 + ratio);
    v
}

/// Free share of the enzyme, in the form that does not cancel: `(b + √(b² + 4 E K)) / 2E` with `b = E - I - K`.
fn morrison(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (i, e, k) = (x[0], p[1], p[2]);
    let b = e - i - k;
    let root = (b * b + 4.0 * e * k).sqrt();
    let free = if b >= 0.0 {
        0.5 * (b + root)
    } else {
        2.0 * e * k / (root - b)
    };
    g[0] = free / e;
    // free² - b free - e k = 0, differentiated.
    let by_e = (free + k) / root;
    let by_k = (e - free) / root;
    g[1] = p[0] * (by_e - free / e) / e;
    g[2] = p[0] * by_k / e;
    p[0] * g[0]
}

/// Substrate left after time t, by Lambert's W in the form that does not overflow: `w + ln w = z`, `S = Km w`,
/// `z = ln(S₀/Km) + (S₀ - Vmax t)/Km`.
fn progress(t: f64, p: &[f64], g: &mut [f64]) -> f64 {
    let (s0, vmax, km) = (p[0], p[1], p[2]);
    if !(s0 > 0.0 && km > 0.0) {
        g[..3].fill(f64::NAN);
        return f64::NAN;
    }
    let w = lambert_of_exp((s0 / km).ln() + (s0 - vmax * t) / km);
    let s = km * w;
    let part = w / (1.0 + w); // 1/(1 + Km/S)
    g[0] = (1.0 + km / s0) * part;
    g[1] = -t * part;
    g[2] = if w > 0.0 {
        ((s0 / km).ln() - w.ln()) * part
    } else {
        0.0
    };
    s
}

/// Lambert's `W(eᶻ)`: the `w` with `w + ln w = z`.
pub fn lambert_of_exp(z: f64) -> f64 {
    if z < -40.0 {
        return z.exp(); // w = eᶻ - e²ᶻ + …, and e²ᶻ is below the last digit
    }
    let mut w = if z > 1.0 {
        z - z.ln()
    } else {
        (1.0 + (z - 1.0).exp()).ln().max(1e-20)
    };
    for _ in 0..12 {
        // Newton on w + ln w - z, written for ln w: stays positive and converges from anywhere.
        let next = w * (1.0 + z - w.ln()) / (1.0 + w);
        let next = if next > 0.0 { next } else { 0.25 * w };
        if (next - w).abs() <= 1e-16 * next {
            return next;
        }
        w = next;
    }
    w
}
