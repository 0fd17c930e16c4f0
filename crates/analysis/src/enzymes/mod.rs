//! Enzyme kinetics: rates against concentrations, activities, progress curves and what a report should state.
//!
//! Constants come from direct nonlinear fits of the rate laws in [`crate::models::law`]. The classical linear plots are
//! given as points for pictures; they are never the fit, because they distort the errors.
//!
//! ```
//! use curvary_analysis::enzymes::{Rates, fit_rates};
//! use curvary_analysis::fit::Options;
//!
//! // Wilkinson, Biochem. J. 80, 324 (1961).
//! let rates = Rates {
//!     substrate: &[0.138, 0.22, 0.291, 0.56, 0.766, 1.46],
//!     inhibitor: None,
//!     rate: &[0.148, 0.171, 0.234, 0.324, 0.39, 0.493],
//! };
//! let found = fit_rates("michaelis-menten", &rates, &Options::default()).unwrap();
//! assert!((found.parameter("Km").unwrap().value - 0.5965).abs() < 1e-4);
//! ```

mod activity;
mod checklist;
mod plots;
mod series;

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

pub use activity::{Activity, Assay, activity};
pub use checklist::{ChecklistItem, State, checklist};
pub use plots::{DirectLinear, LinearPlots, direct_linear, linear_plots};
pub use series::{SeriesRate, TraceOfSeries, blank_rate, series_rates};

use crate::fit::{
    Data, FTest, Fit, LawChoice, Options, ProfileEnd, ProfileInterval, Weighting, compare, f_test, fit,
};
use crate::models::law::Law;
use crate::refusal::{Refusal, require_length};

/// Initial rates at known concentrations.
#[derive(Clone, Copy, Debug)]
pub struct Rates<'a> {
    /// Substrate concentrations.
    pub substrate: &'a [f64],
    /// Inhibitor concentrations, for inhibition laws and [`Law`] `morrison`.
    pub inhibitor: Option<&'a [f64]>,
    /// Rates.
    pub rate: &'a [f64],
}

/// Fits a rate law, over all inhibitor levels at once where it has an inhibitor.
///
/// # Errors
/// [`Refusal::Unsuitable`] for a name that is none of [`crate::models::law::LAWS`] or an inhibitor that is missing;
/// [`Refusal::Negative`] for a negative concentration; further as [`fit`].
pub fn fit_rates(law: &str, rates: &Rates<'_>, options: &Options) -> Result<Fit, Refusal> {
    fit_weighted_rates(law, rates, Weighting::Equal, options)
}

/// The same with what is known of the errors of the rates.
///
/// # Errors
/// As [`fit_rates`].
pub fn fit_weighted_rates(
    law: &str,
    rates: &Rates<'_>,
    weighting: Weighting<'_>,
    options: &Options,
) -> Result<Fit, Refusal> {
    let law = Law::named(law).ok_or_else(|| Refusal::Unsuitable {
        why: format!(
            "there is no rate law '{law}'; known are {}",
            crate::models::law::LAWS
                .iter()
                .filter(|l| l.is_of_rates())
                .map(|l| l.name)
                .collect::<Vec<_>>()
                .join(", ")
        ),
    })?;
    let mut columns: Vec<&[f64]> = Vec::new();
    for variable in law.variables {
        let column = match *variable {
            "S" => rates.substrate,
            "I" => rates.inhibitor.ok_or_else(|| Refusal::Unsuitable {
                why: format!("{} needs inhibitor concentrations", law.title),
            })?,
            _ => {
                return Err(Refusal::Unsuitable {
                    why: format!(
                        "{} describes a time course, not rates against concentrations",
                        law.title
                    ),
                });
            }
        };
        let what = if *variable == "S" {
            "substrate concentration"
        } else {
            "inhibitor concentration"
        };
        require_length(what, column, rates.rate.len())?;
        if let Some(index) = column.iter().position(|v| *v < 0.0) {
            return Err(Refusal::Negative {
                what: what.into(),
                index,
                value: column[index],
            });
        }
        if column.iter().all(|v| *v == 0.0) {
            return Err(Refusal::Unsuitable {
                why: format!("every {what} is zero"),
            });
        }
        columns.push(column);
    }
    let data = Data {
        x: &columns,
        y: rates.rate,
        weighting,
    };
    fit(law, &data, options)
}

/// Adds the turnover number `kcat = Vmax / E` (and `kcat/Km`) to a fit, for a known concentration of active sites in
/// the same unit as the rate's amount.
///
/// # Errors
/// [`Refusal::OutOfRange`] for a concentration that is not above zero; [`Refusal::Unsuitable`] for a fit without Vmax.
pub fn add_turnover(fit: &mut Fit, enzyme: f64) -> Result<(), Refusal> {
    if enzyme.is_nan() || enzyme <= 0.0 || enzyme.is_infinite() {
        return Err(Refusal::OutOfRange {
            what: "the enzyme concentration".into(),
            value: enzyme,
            allowed: "above zero".into(),
        });
    }
    let place = |name: &str| fit.parameters.iter().position(|p| p.name == name);
    let Some(vmax) = place("Vmax") else {
        return Err(Refusal::Unsuitable {
            why: format!("{} has no Vmax to take kcat from", fit.model),
        });
    };
    let km = place("Km");
    // A known enzyme concentration only scales: so it does with the profiles.
    let scaled = |own: Option<ProfileInterval>| {
        let end = |end: ProfileEnd| end.seen_through(|value| Some(value / enzyme));
        own.map(|own| ProfileInterval {
            lower: end(own.lower),
            upper: end(own.upper),
        })
    };
    let profile = scaled(fit.parameters[vmax].profile);
    let of_ratio = scaled(fit.derived("Vmax/Km").and_then(|own| own.profile));
    let v = fit.parameters[vmax].value;
    let mut gradient = vec![0.0; fit.parameters.len()];
    gradient[vmax] = 1.0 / enzyme;
    fit.derive(Cow::Borrowed("kcat"), Cow::Borrowed("y/E"), v / enzyme, &gradient);
    if let Some(own) = fit.derived.last_mut() {
        own.profile = profile;
    }
    if let Some(km) = km {
        let k = fit.parameters[km].value;
        gradient[vmax] = 1.0 / (enzyme * k);
        gradient[km] = -v / (enzyme * k * k);
        fit.derive(
            Cow::Borrowed("kcat/Km"),
            Cow::Borrowed("y/(E x)"),
            v / (enzyme * k),
            &gradient,
        );
        if let Some(own) = fit.derived.last_mut() {
            own.profile = of_ratio;
        }
    }
    Ok(())
}

/// Laws fitted to the same rates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LawComparison {
    /// The fits that came about.
    pub fits: Vec<Fit>,
    /// Laws that could not be fitted, with the reason.
    pub refused: Vec<(String, Refusal)>,
    /// The ranking; positions refer to `fits`.
    pub choice: LawChoice,
    /// F tests of each simple law against the fullest, which contains it as a limit (mixed inhibition): `(simple law, test)`.
    pub against_mixed: Vec<(String, FTest)>,
}

/// Fits competitive, uncompetitive, pure noncompetitive and mixed inhibition and ranks them.
///
/// # Errors
/// As [`fit_rates`], where fewer than two of the laws could be fitted.
pub fn compare_inhibition(rates: &Rates<'_>, options: &Options) -> Result<LawComparison, Refusal> {
    compare_laws(
        &["competitive", "uncompetitive", "noncompetitive", "mixed"],
        rates,
        Weighting::Equal,
        options,
    )
}

/// Fits several laws to the same rates and ranks them.
///
/// # Errors
/// As [`fit_rates`], where fewer than two of the laws could be fitted.
pub fn compare_laws(
    laws: &[&str],
    rates: &Rates<'_>,
    weighting: Weighting<'_>,
    options: &Options,
) -> Result<LawComparison, Refusal> {
    let mut fits: Vec<Fit> = Vec::new();
    let mut refused = Vec::new();
    for law in laws.iter().copied() {
        match fit_weighted_rates(law, rates, weighting, options) {
            Ok(fit) => fits.push(fit),
            Err(refusal) => refused.push((law.to_owned(), refusal)),
        }
    }
    if fits.len() < 2
        && let Some((_, refusal)) = refused.first()
    {
        return Err(refusal.clone());
    }
    let list: Vec<&Fit> = fits.iter().collect();
    let choice = compare(&list)?;
    let mixed = fits.iter().find(|f| f.model == "mixed");
    let against_mixed = fits
        .iter()
        .filter(|f| f.model != "mixed")
        .filter_map(|f| Some((f.model.clone().into_owned(), f_test(f, mixed?).ok()?)))
        .collect();
    Ok(LawComparison {
        fits,
        refused,
        choice,
        against_mixed,
    })
}

/// Fits a whole progress curve by the integrated Michaelis-Menten equation (Lambert's W). `product` says whether the
/// signal is the product formed or the substrate left; both in concentration units, zero at the blank.
///
/// # Errors
/// [`Refusal::Negative`] for negative times; further as [`fit`].
pub fn fit_progress(time: &[f64], signal: &[f64], product: bool, options: &Options) -> Result<Fit, Refusal> {
    if let Some(index) = time.iter().position(|t| *t < 0.0) {
        return Err(Refusal::Negative {
            what: "time".into(),
            index,
            value: time[index],
        });
    }
    let name = if product {
        "progress-product"
    } else {
        "progress-substrate"
    };
    let law = Law::named(name).ok_or_else(|| Refusal::Unsuitable {
        why: "the table of laws lacks progress curves".into(),
    })?;
    fit(law, &Data::new(&[time], signal), options)
}
