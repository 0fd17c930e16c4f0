//! Whether the range of the data reaches what the parameters of a law need.
//!
//! A law fits points that show a part of it only, and its parameters then lean on the law, not on the points: their errors are right while
//! the law is, and say nothing of what lies outside.

use curvary_record::{Code, Diagnostic};

use super::doubt::two;
use crate::fit::{Determination, Fit, FittedParameter};

/// Below this part of Km rates show hardly more than the slope Vmax/Km: at half of it the line through zero lies above them by half
/// (`1 + s/Km` times a rate), and the bend that parts Vmax from Km is as much. A choice; with a tenth the error decides alone.
const LOW: f64 = 0.5;
/// Above this multiple of Km two thirds of Vmax (`s/(Km + s)`) and more are reached by every rate, and half the range in which a rate
/// changes with Km is not seen. A choice.
const HIGH: f64 = 2.0;
/// An end that lies more than so much of the whole change away from the points is extrapolated. A choice.
const FAR_END: f64 = 0.25;
/// Least part of a change from one form to the other that shows both: less, and the middle lies outside of the points or both ends do.
const HALF: f64 = 0.5;
/// Parameters are called hardly determined where the error of one is more than so much of itself; of pKa, more than the same part of
/// the constant, `log10(1 + 0.1)`. A choice: a tenth is more than what standards and pipettes leave of the concentrations.
const HARDLY: f64 = 0.1;

/// What a person holds is known without the points, and nothing is to be said of it.
fn free<'a>(found: &'a Fit, name: &str) -> Option<&'a FittedParameter> {
    let parameter = found.parameter(name)?;
    (parameter.standing != Determination::Held).then_some(parameter)
}

/// Whether the error of a parameter says that the points hardly determine it: none, or more than `most`.
fn is_hardly_determined(parameter: &FittedParameter, most: f64) -> bool {
    parameter.standing != Determination::Determined
        || parameter
            .standard_error
            .is_none_or(|error| error.is_nan() || error > most)
}

/// What must be said of a fit whose points do not reach what its parameters need; `x` is the variable of the law, at all points that
/// count.
pub(super) fn short_range(law: &str, x: &[f64], found: &Fit) -> Vec<Diagnostic> {
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
        "michaelis-menten" | "michaelis-menten+offset" => {
            saturation((positive, high), found).into_iter().collect()
        }
        "four-parameter" => plateaus((low, high), found),
        "pka" => one_form((low, high), found).into_iter().collect(),
        _ => Vec::new(),
    };
    said.into_iter()
        .map(|text| Diagnostic::warning(Code::new("range-short"), text))
        .collect()
}

fn saturation((low, high): (f64, f64), found: &Fit) -> Option<String> {
    let (km, vmax) = (free(found, "Km")?, free(found, "Vmax")?);
    let hardly = is_hardly_determined(km, HARDLY * km.value.abs());
    let km = km.value;
    if !(km > 0.0 && low.is_finite()) {
        return None;
    }
    if high < LOW * km {
        let reached = two(high / km);
        return Some(
            if hardly || is_hardly_determined(vmax, HARDLY * vmax.value.abs()) {
                format!(
                    "the concentrations reach only {reached} of Km: Vmax and Km are hardly told apart, only Vmax/Km is; concentrations up to \
                 twice Km or more would part them"
                )
            } else {
                format!(
                    "the concentrations reach only {reached} of Km: Vmax and Km lie outside of the points, and are right only as far as the law \
                 goes on there"
                )
            },
        );
    }
    (low > HIGH * km).then(|| {
        let begun = two(low / km);
        if hardly {
            format!(
                "the concentrations begin at {begun} times Km: all rates are near Vmax, and Km is hardly determined; concentrations about \
                 Km and below would determine it"
            )
        } else {
            format!(
                "the concentrations begin at {begun} times Km: all rates are near Vmax, and Km lies outside of the points and is right only \
                 as far as the law goes on there"
            )
        }
    })
}

fn plateaus((low, high): (f64, f64), found: &Fit) -> Vec<String> {
    let value = |name: &str| found.parameter(name).map(|parameter| parameter.value);
    let (Some(middle), Some(steep)) = (value("IC50"), value("h")) else {
        return Vec::new();
    };
    // Which of IC50 and h a plateau that is not seen can lead astray.
    let leaning: Vec<&str> = ["IC50", "h"]
        .into_iter()
        .filter(|name| free(found, name).is_some())
        .collect();
    let lean = match leaning[..] {
        [] => String::new(),
        [one] => format!(", and {one} depends on where the law puts it"),
        _ => ", and IC50 and h depend on where the law puts it".to_owned(),
    };
    // How much of the way from y0 to yinf is gone at a dose: at dose zero none of it, or with h below zero all.
    let gone = |dose: f64| {
        if dose > 0.0 {
            1.0 / (1.0 + (middle / dose).powf(steep))
        } else if steep < 0.0 {
            1.0
        } else {
            0.0
        }
    };
    let (first, last) = (gone(low), gone(high));
    let (most, least) = (first.max(last), first.min(last));
    let mut said = Vec::new();
    if free(found, "yinf").is_some() && most < 1.0 - FAR_END {
        said.push(format!(
            "the doses go only {} of the way to the plateau yinf: it is not seen{lean}",
            two(most)
        ));
    }
    if free(found, "y0").is_some() && least > FAR_END {
        let end = if first < last { "lowest" } else { "highest" };
        said.push(format!(
            "at the {end} dose {} of the way from the plateau y0 is gone: it is not seen{lean}",
            two(least)
        ));
    }
    said
}

fn one_form((low, high): (f64, f64), found: &Fit) -> Option<String> {
    let pka = free(found, "pKa")?;
    if free(found, "acid").is_none() || free(found, "base").is_none() {
        return None;
    }
    let basic = |ph: f64| 1.0 / (1.0 + 10f64.powf(pka.value - ph));
    let seen = basic(high) - basic(low);
    (seen < HALF).then(|| {
        let part = format!(
            "the values of pH go through only {} of the change from one form to the other",
            two(seen)
        );
        if is_hardly_determined(pka, (1.0 + HARDLY).log10()) {
            format!("{part}: pKa and the signal of the form that is not seen are hardly told apart")
        } else {
            format!(
                "{part}: one form is not seen, and pKa and its signal are right only as far as the law goes on there"
            )
        }
    })
}
