//! Whether the range of the data reaches what the parameters of a law need.
//!
//! A law fits points that show a part of it only, and its parameters then lean on the law, not on the points: their errors are right while
//! the law is, and say nothing of what lies outside.

use curvary_record::{Code, Diagnostic};

use super::doubt::two;
use crate::fit::{Determination, Fit};

/// Below this part of Km a rate is as good as proportional: at half of it the line through zero is left by a third.
const LOW: f64 = 0.5;
/// Above this multiple of Km two thirds of Vmax are reached by every rate.
const HIGH: f64 = 2.0;
/// An end that lies more than so much of the whole change away from the points is extrapolated. A choice.
const FAR_END: f64 = 0.25;
/// Least part of a change from one form to the other that fixes both.
const HALF: f64 = 0.5;

/// What must be said of a fit whose points do not reach what its parameters need; `x` is the variable of the law, at all points that
/// count.
pub(super) fn short_range(law: &str, x: &[f64], found: &Fit) -> Vec<Diagnostic> {
    let value = |name: &str| found.parameter(name).map(|parameter| parameter.value);
    // What a person holds is known without the points.
    let is_free = |name: &str| {
        found
            .parameter(name)
            .is_some_and(|parameter| parameter.standing != Determination::Held)
    };
    let (low, high) = x
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(*x), high.max(*x))
        });
    let positive = x
        .iter()
        .copied()
        .filter(|x| *x > 0.0)
        .fold(f64::INFINITY, f64::min);
    let said: Vec<String> = match law {
        "michaelis-menten" | "michaelis-menten+offset" => value("Km")
            .into_iter()
            .filter_map(|km| saturation((positive, high), km))
            .collect(),
        "four-parameter" => match (value("IC50"), value("h")) {
            (Some(middle), Some(steep)) => {
                plateaus((low, high), (middle, steep), ["y0", "yinf"].map(is_free))
            }
            _ => Vec::new(),
        },
        "pka" => value("pKa")
            .filter(|_| is_free("acid") && is_free("base"))
            .into_iter()
            .filter_map(|pka| one_form((low, high), pka))
            .collect(),
        _ => Vec::new(),
    };
    said.into_iter()
        .map(|text| Diagnostic::warning(Code::new("range-short"), text))
        .collect()
}

fn saturation((low, high): (f64, f64), km: f64) -> Option<String> {
    if !(km > 0.0 && low.is_finite()) {
        return None;
    }
    if high < LOW * km {
        return Some(format!(
            "the concentrations reach only {} of Km: Vmax and Km are hardly told apart, only Vmax/Km is; concentrations up to twice Km or \
             more would part them",
            two(high / km)
        ));
    }
    (low > HIGH * km).then(|| {
        format!(
            "the concentrations begin at {} times Km: all rates are near Vmax, and Km is hardly determined; concentrations about Km and \
             below would determine it",
            two(low / km)
        )
    })
}

fn plateaus(
    (low, high): (f64, f64),
    (middle, steep): (f64, f64),
    [of_y0, of_yinf]: [bool; 2],
) -> Vec<String> {
    // How much of the way from y0 to yinf is gone at a dose.
    let gone = |dose: f64| {
        if dose > 0.0 {
            1.0 / (1.0 + (middle / dose).powf(steep))
        } else {
            0.0
        }
    };
    let (first, last) = (gone(low), gone(high));
    let mut said = Vec::new();
    if of_yinf && last < 1.0 - FAR_END {
        said.push(format!(
            "the doses go only {} of the way to the plateau yinf: it is not seen, and IC50 and h depend on where the law puts it",
            two(last)
        ));
    }
    if of_y0 && first > FAR_END {
        said.push(format!(
            "at the lowest dose {} of the way from the plateau y0 is gone: it is not seen, and IC50 and h depend on where the law puts it",
            two(first)
        ));
    }
    said
}

fn one_form((low, high): (f64, f64), pka: f64) -> Option<String> {
    let basic = |ph: f64| 1.0 / (1.0 + 10f64.powf(pka - ph));
    let seen = basic(high) - basic(low);
    (seen < HALF).then(|| {
        format!(
            "the values of pH go through only {} of the change from one form to the other: pKa and the signal of the form that is not seen \
             are hardly told apart",
            two(seen)
        )
    })
}
