//! Laws of dose, acid, binding, melting, and of enzymes that change while they are watched: entries of
//! [`LAWS`](super::LAWS).

use super::{Law, around, geometric, no_shortcut, nothing_derived, pairs};
use crate::models::{DerivedParameter, Specification};
use crate::temperature::GAS_CONSTANT;

/// A part `1/(1 + eᶻ)` that does not overflow.
fn share(z: f64) -> f64 {
    1.0 / (1.0 + z.exp())
}

pub(super) const IC50: Law = Law {
    name: "ic50",
    title: "inhibition by dose, complete",
    equation: Some("y0/(1+(I/IC50)^h)"),
    variables: &["I"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::positive("IC50", "x"),
        Specification::positive("h", "1"),
    ],
    linear: &[0],
    point: |x, p, g| {
        let s = fall(x[0], p[1], p[2], p[0], &mut g[1..3]);
        g[0] = s;
        p[0] * s
    },
    candidates: |x, _| {
        pairs(&around(x[0]), &SLOPES)
            .map(|(c, h)| vec![1.0, c, h])
            .collect()
    },
    shortcut: no_shortcut,
    derived: nothing_derived,
};

pub(super) const FOUR_PARAMETER: Law = Law {
    name: "four-parameter",
    title: "response to dose with two plateaus",
    equation: Some("yinf+(y0-yinf)/(1+(I/IC50)^h)"),
    variables: &["I"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::any("yinf", "y"),
        Specification::positive("IC50", "x"),
        Specification::positive("h", "1"),
    ],
    linear: &[0, 1],
    point: |x, p, g| {
        let s = fall(x[0], p[2], p[3], p[0] - p[1], &mut g[2..4]);
        g[0] = s;
        g[1] = 1.0 - s;
        p[1] + (p[0] - p[1]) * s
    },
    candidates: |x, _| {
        pairs(&around(x[0]), &SLOPES)
            .map(|(c, h)| vec![1.0, 0.0, c, h])
            .collect()
    },
    shortcut: no_shortcut,
    derived: nothing_derived,
};

const SLOPES: [f64; 6] = [0.5, 0.7, 1.0, 1.5, 2.2, 3.5];

/// `1/(1 + (I/C)^h)`, and the derivatives of `height` times it by C and h.
fn fall(i: f64, c: f64, h: f64, height: f64, g: &mut [f64]) -> f64 {
    if i == 0.0 {
        g[..2].fill(0.0);
        return 1.0;
    }
    let log = (i / c).ln();
    let s = share(h * log);
    let slope = height * s * (1.0 - s);
    g[0] = slope * h / c;
    g[1] = -slope * log;
    s
}

pub(super) const PKA: Law = Law {
    name: "pka",
    title: "one acid by its pH",
    equation: Some("(acid+base*10^(pH-pKa))/(1+10^(pH-pKa))"),
    variables: &["pH"],
    specifications: &[
        Specification::any("acid", "y"),
        Specification::any("base", "y"),
        Specification::any("pKa", "1"),
    ],
    linear: &[0, 1],
    point: |x, p, g| {
        let base = share(std::f64::consts::LN_10 * (p[2] - x[0]));
        g[0] = 1.0 - base;
        g[1] = base;
        g[2] = -(p[1] - p[0]) * base * (1.0 - base) * std::f64::consts::LN_10;
        p[0] + (p[1] - p[0]) * base
    },
    candidates: |x, _| along(x[0], 12).into_iter().map(|k| vec![0.0, 1.0, k]).collect(),
    shortcut: no_shortcut,
    derived: nothing_derived,
};

pub(super) const TWO_PKA: Law = Law {
    name: "two-pka",
    title: "an acid of two steps by its pH",
    equation: Some(
        "(acid+middle*10^(pH-pKa1)+base*10^(2*pH-pKa1-pKa2))/(1+10^(pH-pKa1)+10^(2*pH-pKa1-pKa2))",
    ),
    variables: &["pH"],
    specifications: &[
        Specification::any("acid", "y"),
        Specification::any("middle", "y"),
        Specification::any("base", "y"),
        Specification::any("pKa1", "1"),
        Specification::any("pKa2", "1"),
    ],
    linear: &[0, 1, 2],
    point: two_steps,
    candidates: |x, _| {
        let grid = along(x[0], 10);
        pairs(&grid, &grid)
            .filter(|(a, b)| a < b)
            .map(|(a, b)| vec![0.0, 0.5, 1.0, a, b])
            .collect()
    },
    shortcut: no_shortcut,
    derived: nothing_derived,
};

fn two_steps(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let ten = std::f64::consts::LN_10;
    // Logarithms of the three forms' shares up to a common factor, the largest taken off.
    let logs = [0.0, ten * (x[0] - p[3]), ten * (2.0 * x[0] - p[3] - p[4])];
    let top = logs[0].max(logs[1]).max(logs[2]);
    let parts = logs.map(|log| (log - top).exp());
    let sum: f64 = parts.iter().sum();
    let shares = parts.map(|part| part / sum);
    let value = p[0] * shares[0] + p[1] * shares[1] + p[2] * shares[2];
    g[..3].copy_from_slice(&shares);
    g[3] = -ten * (shares[1] * (p[1] - value) + shares[2] * (p[2] - value));
    g[4] = -ten * shares[2] * (p[2] - value);
    value
}

pub(super) const QUADRATIC: Law = Law {
    name: "quadratic-binding",
    title: "binding that uses up its ligand",
    equation: Some("y0+dy*((P0+L+Kd)-sqrt((P0+L+Kd)^2-4*P0*L))/(2*P0)"),
    variables: &["L"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::any("dy", "y"),
        Specification::positive("P0", "x"),
        Specification::positive("Kd", "x"),
    ],
    linear: &[0, 1],
    point: |x, p, g| {
        let (l, total, k) = (x[0], p[2], p[3]);
        let b = total + l + k;
        let root = (b * b - 4.0 * total * l).sqrt();
        // c² - b c + P L = 0, its smaller root without cancelling.
        let complex = 2.0 * total * l / (b + root);
        let bound = complex / total;
        g[0] = 1.0;
        g[1] = bound;
        g[2] = p[1] * ((l - complex) / root - bound) / total;
        g[3] = -p[1] * bound / root;
        p[0] + p[1] * bound
    },
    candidates: |x, _| {
        pairs(&around(x[0]), &around(x[0]))
            .map(|(total, k)| vec![0.0, 1.0, total, k])
            .collect()
    },
    shortcut: no_shortcut,
    derived: nothing_derived,
};

pub(super) const MELTING: Law = Law {
    name: "melting",
    title: "two states that melt, each with a sloping baseline",
    equation: Some(
        "(folded+mf*(T-Tm)+(unfolded+mu*(T-Tm))*exp(dH/8.31446261815324*(1/Tm-1/T)))/(1+exp(dH/8.31446261815324*(1/Tm-1/T)))",
    ),
    variables: &["T"],
    specifications: &[
        Specification::any("folded", "y"),
        Specification::any("mf", "y/x"),
        Specification::any("unfolded", "y"),
        Specification::any("mu", "y/x"),
        Specification::positive("dH", "=J/mol"),
        Specification::positive("Tm", "x"),
    ],
    linear: &[0, 1, 2, 3],
    point: |x, p, g| {
        let (t, enthalpy, tm) = (x[0], p[4], p[5]);
        let away = t - tm;
        let melted = share(-enthalpy / GAS_CONSTANT * (1.0 / tm - 1.0 / t));
        let (folded, unfolded) = (p[0] + p[1] * away, p[2] + p[3] * away);
        let slope = (unfolded - folded) * melted * (1.0 - melted) / GAS_CONSTANT;
        g[0] = 1.0 - melted;
        g[1] = away * (1.0 - melted);
        g[2] = melted;
        g[3] = away * melted;
        g[4] = slope * (1.0 / tm - 1.0 / t);
        g[5] = -p[1] * (1.0 - melted) - p[3] * melted - slope * enthalpy / (tm * tm);
        folded + (unfolded - folded) * melted
    },
    candidates: |x, _| {
        let enthalpies = geometric(5e4, 1e6, 8);
        pairs(&along(x[0], 12), &enthalpies)
            .map(|(tm, h)| vec![0.0, 0.0, 1.0, 0.0, h, tm])
            .collect()
    },
    shortcut: no_shortcut,
    derived: |p| {
        vec![DerivedParameter {
            name: "dS",
            unit: "=J/mol/K",
            value: p[4] / p[5],
            gradient: vec![0.0, 0.0, 0.0, 0.0, 1.0 / p[5], -p[4] / (p[5] * p[5])],
        }]
    },
};

/// `(1 - e^(-k t))/k` and its derivative by k.
fn settled(t: f64, k: f64) -> (f64, f64) {
    let z = k * t;
    if z.abs() < 1e-5 {
        return (
            t * (1.0 - z / 2.0 + z * z / 6.0),
            t * t * (-0.5 + z / 3.0 - z * z / 8.0),
        );
    }
    let gone = -(-z).exp_m1();
    (gone / k, (t * (-z).exp() - gone / k) / k)
}

pub(super) const SLOW_BINDING: Law = Law {
    name: "slow-binding",
    title: "progress curves under a slowly binding inhibitor",
    equation: Some("y0+v0/(1+I/Ki)*t+(v0-v0/(1+I/Ki))*(1-exp(-koff*(1+I/Ki)*t))/(koff*(1+I/Ki))"),
    variables: &["t", "I"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::any("v0", "y/x"),
        Specification::positive("Ki", "I"),
        Specification::positive("koff", "1/x"),
    ],
    linear: &[0, 1],
    point: |x, p, g| {
        let (t, i) = (x[0], x[1]);
        let f = 1.0 + i / p[2];
        let (part, by_k) = settled(t, p[3] * f);
        let steady = 1.0 / f;
        let shape = steady * t + (1.0 - steady) * part;
        g[0] = 1.0;
        g[1] = shape;
        let by_f = p[1] * (-(t - part) * steady * steady + (1.0 - steady) * by_k * p[3]);
        g[2] = -by_f * i / (p[2] * p[2]);
        g[3] = p[1] * (1.0 - steady) * by_k * f;
        p[0] + p[1] * shape
    },
    candidates: |x, _| {
        pairs(&around(x[1]), &over_time(x[0]))
            .map(|(ki, k)| vec![0.0, 1.0, ki, k])
            .collect()
    },
    shortcut: no_shortcut,
    derived: |p| {
        // Binding: kon = koff/Ki.
        vec![DerivedParameter {
            name: "kon",
            unit: "1/(I x)",
            value: p[3] / p[2],
            gradient: vec![0.0, 0.0, -p[3] / (p[2] * p[2]), 1.0 / p[2]],
        }]
    },
};

pub(super) const INACTIVATION: Law = Law {
    name: "inactivation",
    title: "a progress curve whose enzyme dies away",
    equation: Some("y0+v0*(1-exp(-k*t))/k"),
    variables: &["t"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::any("v0", "y/x"),
        Specification::positive("k", "1/x"),
    ],
    linear: &[0, 1],
    point: |x, p, g| {
        let (part, by_k) = settled(x[0], p[2]);
        g[0] = 1.0;
        g[1] = part;
        g[2] = p[1] * by_k;
        p[0] + p[1] * part
    },
    candidates: |x, _| over_time(x[0]).into_iter().map(|k| vec![0.0, 1.0, k]).collect(),
    shortcut: no_shortcut,
    derived: nothing_derived,
};

pub(super) const INACTIVATION_SERIES: Law = Law {
    name: "inactivation-series",
    title: "progress curves under an inactivator that binds first",
    equation: Some("y0+v0*(1-exp(-kinact*I/(KI+I)*t))/(kinact*I/(KI+I))"),
    variables: &["t", "I"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::any("v0", "y/x"),
        Specification::positive("kinact", "1/x"),
        Specification::positive("KI", "I"),
    ],
    linear: &[0, 1],
    point: |x, p, g| {
        let (t, i) = (x[0], x[1]);
        let saturated = i / (p[3] + i);
        let (part, by_k) = settled(t, p[2] * saturated);
        g[0] = 1.0;
        g[1] = part;
        g[2] = p[1] * by_k * saturated;
        g[3] = -p[1] * by_k * p[2] * saturated / (p[3] + i);
        p[0] + p[1] * part
    },
    candidates: |x, _| {
        pairs(&over_time(x[0]), &around(x[1]))
            .map(|(k, ki)| vec![0.0, 1.0, k, ki])
            .collect()
    },
    shortcut: no_shortcut,
    derived: |p| {
        vec![DerivedParameter {
            name: "kinact/KI",
            unit: "1/(I x)",
            value: p[2] / p[3],
            gradient: vec![0.0, 0.0, 1.0 / p[3], -p[2] / (p[3] * p[3])],
        }]
    },
};

pub(super) const PRODUCT_INHIBITED: Law = Law {
    name: "progress-product-inhibited",
    title: "Michaelis-Menten progress curve of the product, which competes with the substrate, over a baseline",
    equation: None,
    variables: &["t"],
    specifications: &[
        Specification::any("y0", "y"),
        Specification::positive("S0", "y"),
        Specification::positive("Vmax", "y/x"),
        Specification::positive("Km", "y"),
        Specification::positive("Kp", "y"),
    ],
    linear: &[0],
    point: product_inhibited,
    candidates: |x, y| {
        let (first, highest) = (y[0], y.iter().fold(f64::NEG_INFINITY, |m, v| m.max(*v)));
        let change = (highest - first).max(f64::MIN_POSITIVE);
        let span = x[0].iter().fold(0.0_f64, |m, v| m.max(*v)).max(f64::MIN_POSITIVE);
        let mut list = Vec::new();
        for part in [1.02, 1.3, 2.5] {
            for km in [0.05, 0.3, 1.0, 4.0] {
                for kp in [0.1, 0.5, 2.0, 10.0] {
                    for rate in [0.7, 1.5, 4.0] {
                        let s0 = part * change;
                        list.push(vec![
                            first,
                            s0,
                            rate * change / span * (1.0 + km),
                            km * s0,
                            kp * s0,
                        ]);
                    }
                }
            }
        }
        list
    },
    shortcut: no_shortcut,
    derived: nothing_derived,
};

/// Product after a time: the root of `a (S₀ - S) + b ln(S₀/S) = Vmax t` with `a = 1 - Km/Kp` and `b = Km (1 + S₀/Kp)`, the
/// integral of `Vmax S/(Km (1 + P/Kp) + S)`.
fn product_inhibited(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (t, s0, vmax, km, kp) = (x[0], p[1], p[2], p[3], p[4]);
    if !(s0 > 0.0 && km > 0.0 && kp > 0.0) {
        g[..5].fill(f64::NAN);
        return f64::NAN;
    }
    let (a, b) = (1.0 - km / kp, km * (1.0 + s0 / kp));
    // In the logarithm of what is left the equation falls steadily and bends one way: Newton's way leads there from anywhere.
    let mut log = -vmax * t / (b + s0.max(a * s0));
    for _ in 0..100 {
        let left = log.exp();
        let off = -a * s0 * log.exp_m1() - b * log - vmax * t;
        let step = off / (-a * s0 * left - b);
        log -= step;
        if step.abs() <= 4e-16 * log.abs() {
            break;
        }
    }
    let product = -s0 * log.exp_m1();
    let left = s0 * log.exp();
    // The equation differentiated: F = a (S₀ - S) - b ln(S/S₀) - Vmax t.
    let by_s = -a - b / left;
    let by_s0 = a - km / kp * log + b / s0;
    let by_km = -product / kp - (1.0 + s0 / kp) * log;
    let by_kp = km / (kp * kp) * product + km * s0 / (kp * kp) * log;
    g[0] = 1.0;
    g[1] = 1.0 + by_s0 / by_s;
    g[2] = -t / by_s;
    g[3] = by_km / by_s;
    g[4] = by_kp / by_s;
    p[0] + product
}

pub(super) const CONTINUOUS_VARIATION: Law = Law {
    name: "job-plot",
    title: "continuous variation: a complex of one with n ligands",
    equation: None,
    variables: &["f"],
    specifications: &[
        Specification::any("dy", "y"),
        Specification::positive("n", "1"),
        Specification::positive("K", "1"),
    ],
    linear: &[0],
    point: varied,
    candidates: |_, _| {
        let grid: Vec<(f64, f64)> = pairs(&[0.5, 1.0, 2.0, 3.0], &geometric(1e-4, 10.0, 8)).collect();
        grid.into_iter().map(|(n, k)| vec![1.0, n, k]).collect()
    },
    shortcut: no_shortcut,
    derived: |p| {
        let sum = 1.0 + p[1];
        vec![DerivedParameter {
            name: "f at the top",
            unit: "1",
            value: p[1] / sum,
            gradient: vec![0.0, 1.0 / (sum * sum), 0.0],
        }]
    },
};

/// `dy` times the complex over the total concentration: the root of `(1 - f - c)(f - n c)ⁿ = K c`, where f is the ligand's
/// part of the total.
fn varied(x: &[f64], p: &[f64], g: &mut [f64]) -> f64 {
    let (f, n, k) = (x[0], p[1], p[2]);
    g[..3].fill(0.0);
    if !(n > 0.0 && k >= 0.0 && (0.0..=1.0).contains(&f)) {
        g[..3].fill(f64::NAN);
        return f64::NAN;
    }
    let most = (1.0 - f).min(f / n);
    if most <= 0.0 {
        return 0.0;
    }
    let off = |c: f64| (1.0 - f - c) * (f - n * c).max(0.0).powf(n) - k * c;
    let (mut low, mut high) = (0.0, most);
    // The left side falls and the right side grows: halving never fails, and 60 times reach the last digit.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if off(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mut c = 0.5 * (low + high);
    let rest = (f - n * c).max(f64::MIN_POSITIVE);
    let free = 1.0 - f - c;
    let power = rest.powf(n);
    let by_c = -power - n * n * free * power / rest - k;
    c -= off(c) / by_c;
    g[0] = c;
    g[1] = -p[0] * free * power * (rest.ln() - n * c / rest) / by_c;
    g[2] = p[0] * c / by_c;
    p[0] * c
}

/// Values evenly over the range of a column.
fn along(column: &[f64], count: usize) -> Vec<f64> {
    let (low, high) = column
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(*v), high.max(*v))
        });
    let steps = count as f64 + 1.0;
    (1..=count)
        .map(|i| low + (high - low) * i as f64 / steps)
        .collect()
}

/// Rate constants that a time course of such a length can show.
fn over_time(time: &[f64]) -> Vec<f64> {
    let last = time
        .iter()
        .fold(0.0_f64, |m, v| m.max(v.abs()))
        .max(f64::MIN_POSITIVE);
    geometric(0.1 / last, 60.0 / last, 12)
}
