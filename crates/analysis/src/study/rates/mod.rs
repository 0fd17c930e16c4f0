//! Initial rates of a run's traces, activities, and the rate law of a whole series.

mod series;
mod shape;

pub use series::{RateWeights, SeriesFit, SeriesPlan, fit_series};

use std::borrow::Cow;
use std::collections::BTreeMap;

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Outcome, OutcomeKind, Parameter, Quantity, Run, RunId,
    Technique, Trace, Unit,
};
use serde::{Deserialize, Serialize};

use shape::{Scatter, scatter, tell_beside, tell_end, tell_far};

use super::fit::{Chosen, preparation, prepared, stands_for_errors};
use super::ordinate::as_absorbance;
use super::plan::{AxisSpan, FitPlan};
use super::spectrum::as_settings;
use super::{
    BY, PlotData, Six, TraceResult, allow_for_factor, allow_for_scale, concentration_of, label_of, stated,
    tell_apart, told, unit_in_terms,
};
use crate::courses::{
    Course, CourseShape, InitialRate, Order, Preparation, PreparedTrace, RateLaw, RateWindow,
};
use crate::enzymes::{Assay, TraceOfSeries, activity, series_rates};
use crate::refusal::Refusal;

/// How an assay was put together, for activities.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct AssayPlan {
    /// Volume in the cell, mL.
    pub total_volume: f64,
    /// Volume of enzyme solution in it, mL.
    pub enzyme_volume: f64,
    /// Times the enzyme solution was diluted before (1: not).
    pub dilution: f64,
    /// Protein in the undiluted enzyme solution, mg/mL.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub protein: Option<f64>,
    /// Signals of the followed substance for each turnover.
    pub per_turnover: f64,
    /// Relative standard error of the volumes and the dilution together, if known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub volumes_error: Option<f64>,
    /// Relative standard error of the protein concentration, if known.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub protein_error: Option<f64>,
}

/// Which rate of a course with a burst or a lag goes on to activities and rate laws.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhichRate {
    /// The one at the beginning.
    Beginning,
    /// The steady one.
    Steady,
}

/// What is asked of initial rates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct RatePlan {
    /// The stretch of time taken by hand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub window: Option<AxisSpan>,
    /// Part of the whole change, in percent, up to which the beginning is taken.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conversion: Option<f64>,
    /// Fewest points of a course, or of a straight beginning that is looked for.
    pub fewest: usize,
    /// Whether the longest straight beginning is taken in place of what the whole course says.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub straight: bool,
    /// The rate that goes on where a course has a burst or a lag; if absent, the one at the beginning, of a lag the
    /// steady one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub which: Option<WhichRate>,
    /// Traces that are blanks, by number (from 1) or label.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub blanks: Vec<String>,
    /// Traces by number or label; all if empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
    /// Whether the signal is of a substance that is used up, so that a fall is a positive rate.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub consumed: bool,
    /// Dead time, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dead_time: Option<f64>,
    /// Absorbance above which points are left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trusted_absorbance: Option<f64>,
    /// Whether rates are given in concentration per time.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub concentration: bool,
    /// Molar absorption coefficient, L mol⁻¹ cm⁻¹.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coefficient: Option<f64>,
    /// Path length, cm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub path: Option<f64>,
    /// Relative standard error of absorption coefficient times path length, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale_error: Option<f64>,
    /// For activities.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assay: Option<AssayPlan>,
}

impl Default for RatePlan {
    fn default() -> Self {
        Self {
            window: None,
            conversion: None,
            fewest: 5,
            straight: false,
            which: None,
            blanks: Vec::new(),
            traces: Vec::new(),
            consumed: false,
            dead_time: None,
            trusted_absorbance: None,
            concentration: false,
            coefficient: None,
            path: None,
            scale_error: None,
            assay: None,
        }
    }
}

impl RatePlan {
    fn data(&self) -> FitPlan {
        FitPlan {
            model: "an initial rate".into(),
            dead_time: self.dead_time,
            trusted_absorbance: self.trusted_absorbance,
            concentration: self.concentration,
            coefficient: self.coefficient.filter(|_| self.concentration),
            path: self.path,
            ..FitPlan::default()
        }
    }
}

/// One rate at a known concentration.
#[derive(Clone, Debug, PartialEq)]
pub struct RatePoint {
    /// The run it is of.
    pub run: RunId,
    /// What the trace is called.
    pub label: String,
    /// Substrate concentration with its unit.
    pub substrate: (f64, Unit),
    /// Inhibitor concentration with its unit.
    pub inhibitor: Option<(f64, Unit)>,
    /// Rate, its standard error and its unit.
    pub rate: (f64, Option<f64>, Unit),
    /// Standard error of the blank that was taken off, in the unit of the rate; it is part of the rate's error, and all rates of
    /// the run have it in common.
    pub blank: Option<f64>,
    /// What else it was taken at, in SI units: temperature, pH and whatever the trace holds. One law needs one of each.
    pub conditions: Vec<(String, f64)>,
}

/// The substrate concentration of a trace; none where it holds two concentrations and nothing says which is which.
fn substrate_of(run: &Run, trace: &Trace, outcome: &mut Outcome) -> Option<(f64, Unit)> {
    let plain = trace
        .held
        .iter()
        .filter(|held| held.quantity == Quantity::CONCENTRATION);
    if plain.count() > 1 {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("concentration-not-sure"),
            "the trace holds two concentrations, and nothing says which is the substrate's: it goes into no rate law",
        ));
        return None;
    }
    concentration_of(run, trace, &SUBSTRATE)
}

/// Where the substrate's concentration may stand.
const SUBSTRATE: [&str; 2] = ["substrate-concentration", "concentration"];

/// What a rate was taken at besides its concentrations and its wavelength.
fn conditions(run: &Run, trace: &Trace) -> Vec<(String, f64)> {
    let concentrations = [
        "concentration",
        "substrate-concentration",
        "inhibitor-concentration",
        "wavelength",
    ];
    let mut all: Vec<(String, f64)> = trace
        .held
        .iter()
        .filter(|held| !concentrations.contains(&held.quantity.as_str()))
        .map(|held| (held.quantity.to_string(), held.unit.to_si(held.value)))
        .collect();
    for key in ["temperature", "ph"] {
        if !all.iter().any(|(known, _)| known == key)
            && let Some(value) = trace.fields.si(key).or_else(|| run.fields.si(key))
        {
            all.push((key.to_owned(), value));
        }
    }
    all
}

/// The rates of a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RunRates {
    /// One for each trace.
    pub found: Vec<TraceResult>,
    /// Those that stand at a known concentration.
    pub points: Vec<RatePoint>,
}

/// Rates of every trace of a run; of a run that is a series of rates already, its points as they stand.
#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
pub fn rates_run(plan: &RatePlan, run: &Run) -> RunRates {
    let fail = |refusal: &Refusal| RunRates {
        found: vec![refused(plan, run, None, String::new(), refusal)],
        points: Vec::new(),
    };
    if let Some(question) = run.questions.first() {
        return fail(&Refusal::Unsuitable {
            why: format!("the run is in question: {}", question.message),
        });
    }
    if run.technique == Technique::RATE_SERIES {
        return series_as_it_stands(run);
    }
    let parts = parts_of(plan, run);
    if let Some(refusal) = wrong_blank(plan, &parts) {
        return fail(&refusal);
    }
    let ready: Vec<TraceOfSeries<'_>> = parts
        .iter()
        .filter_map(|part| {
            let (points, _) = part.points.as_ref().ok()?;
            let decimals = part.trace.y.decimals.max();
            Some(TraceOfSeries {
                time: &points.time,
                signal: &points.signal,
                blank: part.blank,
                resolution: decimals
                    .map(|decimals| 10f64.powi(-i32::from(decimals)) / points.factor.map_or(1.0, f64::abs)),
            })
        })
        .collect();
    let window = match window(plan, run) {
        Ok(window) => window,
        Err(refusal) => return fail(&refusal),
    };
    let series = match series_rates(&ready, &Preparation::default(), window) {
        Ok(series) => series,
        Err(refusal) => return fail(&refusal),
    };
    let mut series = series.into_iter();
    let mut all = RunRates::default();
    // Where some traces are told to be at a concentration, one that is not would be lost from a law in silence.
    let some_known = parts
        .iter()
        .any(|part| !part.blank && concentration_of(run, &part.trace, &SUBSTRATE).is_some());
    for part in parts {
        let Part {
            number,
            trace,
            blank,
            mut outcome,
            points,
        } = part;
        let trace = trace.as_ref();
        let label = label_of(trace);
        let (points, how) = match points {
            Ok(points) => points,
            Err(refusal) => {
                all.found.push(refused(plan, run, Some(number), label, &refusal));
                continue;
            }
        };
        let Some(rate) = series.next() else { continue };
        let measured = match rate.measured {
            Ok(measured) => measured,
            Err(refusal) => {
                all.found.push(refused(plan, run, Some(number), label, &refusal));
                continue;
            }
        };
        let y_unit = if how.conversion.is_some() {
            Unit::MOLE_PER_LITRE
        } else {
            trace.y.unit.clone()
        };
        let unit = unit_in_terms("y/x", &trace.x.unit, &y_unit, &Unit::ONE);
        let sign = if plan.consumed { -1.0 } else { 1.0 };
        let net = sign * rate.net.unwrap_or(measured.rate);
        let error = rate.standard_error.unwrap_or(measured.standard_error);
        let fitted = measured.fitted.clone();
        let residuals: Vec<f64> = measured
            .used
            .iter()
            .zip(&fitted)
            .map(|(i, fitted)| points.signal[*i] - fitted)
            .collect();
        let shape = scatter(&measured, &points, &residuals);
        put_rate(&mut outcome, &measured, net, error, unit.clone(), shape, blank);
        let x_unit = trace.x.unit.display();
        let whole = matches!(window, RateWindow::Whole { .. }) && !blank;
        tell_end(&measured, points.time.len(), (whole, &x_unit), &mut outcome);
        tell_far(&measured, &points, (&trace.x, how.dead_time, sign), &mut outcome);
        tell_beside(
            plan,
            &measured,
            (points.time.first().copied(), sign),
            (blank, &unit),
            &mut outcome,
        );
        let (net, error) = match steady_goes_on(plan, &measured, (sign, rate.blank), &unit, &mut outcome) {
            Some(steady) => steady,
            None => (net, error),
        };
        if blank {
            outcome.model = "initial rate of a blank".into();
        } else if !plan.blanks.is_empty() {
            outcome.remarks.push(Diagnostic::note(
                Code::new("fit-remark"),
                format!(
                    "the rate of the blank, {}, was taken off",
                    Six(sign * rate.blank.0)
                ),
            ));
        }
        // Rates as they go on to a law keep their own errors: the scale is common to all of them.
        if plan.concentration {
            let units = vec!["y/x"; outcome.parameters.len()];
            allow_for_scale(&mut outcome, units.into_iter(), plan.scale_error);
        }
        if let Some(factor) = points.factor {
            outcome
                .statistics
                .insert("absorbance_per_mol_per_litre".into(), factor);
        }
        if let Some(assay) = plan.assay.filter(|_| !blank) {
            let per_minute = net / trace.x.unit.convert(1.0, &Unit::MINUTE).unwrap_or(f64::NAN);
            let error = error / trace.x.unit.convert(1.0, &Unit::MINUTE).unwrap_or(f64::NAN);
            put_activity(plan, run, assay, per_minute, error, &mut outcome);
        }
        let told = outcome.remarks.len();
        let substrate = if blank {
            None
        } else {
            substrate_of(run, trace, &mut outcome)
        };
        if some_known && !blank && substrate.is_none() && outcome.remarks.len() == told {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("concentration-not-sure"),
                "no substrate concentration is known for this trace, though others of the run have one: it goes into no rate law",
            ));
        }
        if let (Some(unit), false) = (&unit, blank)
            && let Some(substrate) = substrate
        {
            all.points.push(RatePoint {
                run: run.id.clone(),
                label: label.clone(),
                substrate,
                inhibitor: concentration_of(run, trace, &["inhibitor-concentration"]),
                rate: (net, Some(error), unit.clone()),
                blank: (!plan.blanks.is_empty())
                    .then(|| rate.blank.1.sqrt())
                    .filter(|error| *error > 0.0),
                conditions: conditions(run, trace),
            });
        }
        let used: Vec<usize> = measured.used.iter().map(|i| points.used[*i]).collect();
        all.found.push(TraceResult {
            trace: Some(number),
            label,
            outcome: outcome.identified(),
            drawn: PlotData {
                curve: Some(measured.curve),
                x_title: super::title(&trace.x),
                y_title: super::title(&trace.y),
                x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
                y: trace
                    .y
                    .values
                    .iter()
                    .map(|y| y / points.factor.unwrap_or(1.0))
                    .collect(),
                used,
                fitted,
                residuals,
                ..PlotData::default()
            },
        });
    }
    tell_apart(&mut all.found);
    all
}

/// A trace on its way to a rate.
struct Part<'a> {
    number: u32,
    trace: Cow<'a, Trace>,
    blank: bool,
    outcome: Outcome,
    points: Result<(PreparedTrace, Preparation), Refusal>,
}

/// The traces that are meant, in absorbance, with their points prepared.
fn parts_of<'a>(plan: &RatePlan, run: &'a Run) -> Vec<Part<'a>> {
    let data = plan.data();
    let chosen = Chosen::Course(Course::new(Order::Zero));
    let mut parts = Vec::new();
    for (number, trace) in (0_u32..).zip(&run.traces) {
        let label = label_of(trace);
        let is = |names: &[String]| {
            names
                .iter()
                .any(|name| *name == label || name.parse() == Ok(number + 1))
        };
        let blank = is(&plan.blanks);
        if !plan.traces.is_empty() && !blank && !is(&plan.traces) {
            continue;
        }
        let mut outcome = empty(plan, run, Some(number));
        let (trace, points) = match as_absorbance(trace) {
            Err(refusal) => (Cow::Borrowed(trace), Err(refusal)),
            Ok(converted) => {
                let trace = converted.map_or(Cow::Borrowed(trace), |(trace, remarks)| {
                    outcome.remarks.extend(remarks);
                    Cow::Owned(trace)
                });
                let points = preparation(&data, &chosen, run, &trace)
                    .map(|how| Preparation {
                        equal_times: false,
                        ..how
                    })
                    .and_then(|how| Ok((prepared(&how, &trace, true, &mut outcome)?, how)));
                (trace, points)
            }
        };
        parts.push(Part {
            number,
            trace,
            blank,
            outcome,
            points,
        });
    }
    parts
}

/// A blank that is not there, or gives no rate: without its rate nothing can be taken off, and nothing taken off would be a wrong rate.
fn wrong_blank(plan: &RatePlan, parts: &[Part<'_>]) -> Option<Refusal> {
    let is_there = |name: &String| {
        parts
            .iter()
            .any(|part| *name == label_of(&part.trace) || name.parse() == Ok(part.number + 1))
    };
    if let Some(name) = plan.blanks.iter().find(|name| !is_there(name)) {
        return Some(Refusal::Unsuitable {
            why: format!("no trace is called `{name}`, so it cannot be a blank"),
        });
    }
    parts.iter().filter(|part| part.blank).find_map(|part| {
        let refusal = part.points.as_ref().err()?;
        Some(Refusal::Unsuitable {
            why: format!(
                "the blank `{}` gives no rate to take off: {refusal}",
                label_of(&part.trace)
            ),
        })
    })
}

fn window(plan: &RatePlan, run: &Run) -> Result<RateWindow, Refusal> {
    if let Some(span) = &plan.window {
        let axis = run
            .traces
            .first()
            .map_or(Unit::SECOND, |trace| trace.x.unit.clone());
        let own = |value: f64| match &span.unit {
            None => Ok(value),
            Some(unit) => unit.convert(value, &axis).map_err(|_| Refusal::Unsuitable {
                why: format!(
                    "the window is in {}, the axis in {}",
                    unit.display(),
                    axis.display()
                ),
            }),
        };
        return Ok(RateWindow::Hand {
            from: own(span.from)?,
            to: own(span.to)?,
        });
    }
    Ok(match plan.conversion {
        Some(percent) => RateWindow::Conversion {
            percent,
            change: None,
        },
        None if plan.straight => RateWindow::Found { fewest: plan.fewest },
        None => RateWindow::Whole { fewest: plan.fewest },
    })
}

fn empty(plan: &RatePlan, run: &Run, trace: Option<u32>) -> Outcome {
    Outcome {
        id: String::new(),
        kind: OutcomeKind::InitialRate,
        runs: vec![run.id.clone()],
        trace,
        model: "initial rate".into(),
        by: BY.into(),
        settings: as_settings(plan),
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: Vec::new(),
    }
}

fn refused(plan: &RatePlan, run: &Run, trace: Option<u32>, label: String, refusal: &Refusal) -> TraceResult {
    let mut outcome = empty(plan, run, trace);
    outcome.termination = told(refusal);
    TraceResult {
        trace,
        label,
        outcome: outcome.identified(),
        drawn: PlotData::default(),
    }
}

/// Tells the steady rate of a course with a burst or a lag; gives it with its error where it is the one that goes on.
fn steady_goes_on(
    plan: &RatePlan,
    measured: &InitialRate,
    (sign, blank): (f64, (f64, f64)),
    unit: &Option<Unit>,
    outcome: &mut Outcome,
) -> Option<(f64, f64)> {
    let Some(steady) = measured.steady else {
        if plan.which == Some(WhichRate::Steady) && measured.shape != CourseShape::Straight {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("rate-shape"),
                "the steady rate that was asked for cannot be determined from the course: the rate is the one at its beginning",
            ));
        }
        return None;
    };
    let net = sign * (steady.rate - blank.0);
    let error = (steady.standard_error * steady.standard_error + blank.1).sqrt();
    let half = steady
        .interval
        .upper
        .map(|upper| (upper - steady.rate) / steady.standard_error * error);
    outcome.parameters.push(Parameter {
        name: "vs".into(),
        value: Some(net),
        unit: unit.clone(),
        standard_error: Some(error),
        intervals: half
            .map(|half| KeptInterval {
                level: 0.95,
                low: Some(net - half),
                high: Some(net + half),
                kind: "t".into(),
            })
            .into_iter()
            .collect(),
        reason: None,
    });
    let lag = measured.shape == CourseShape::Lag;
    let which = plan.which.unwrap_or(if lag {
        WhichRate::Steady
    } else {
        WhichRate::Beginning
    });
    let goes_on = match which {
        WhichRate::Steady => "vs goes on to laws and activities (--rate beginning takes v0)",
        WhichRate::Beginning => "v0 goes on to laws and activities (--rate steady takes vs)",
    };
    outcome.remarks.push(Diagnostic::warning(
        Code::new("rate-shape"),
        if lag {
            format!("the course begins slowly and comes to a steady rate, a lag: v0 is its rate at the beginning, vs the steady one; {goes_on}")
        } else {
            format!("the course begins fast and comes to a steady rate, a burst: v0 is its rate at the beginning, vs the steady one; {goes_on}")
        },
    ));
    (which == WhichRate::Steady).then_some((net, error))
}

fn put_rate(
    outcome: &mut Outcome,
    measured: &InitialRate,
    net: f64,
    error: f64,
    unit: Option<Unit>,
    shape: Scatter,
    blank: bool,
) {
    // The interval keeps its width in standard errors when a blank is taken off.
    let half = match (measured.interval.upper, measured.standard_error) {
        (Some(upper), own) if own > 0.0 => Some((upper - measured.rate) / own * error),
        _ => None,
    };
    outcome.parameters.push(Parameter {
        name: "v0".into(),
        value: Some(net),
        unit,
        // No scatter is no knowledge of the error.
        standard_error: Some(error).filter(|error| *error > 0.0),
        intervals: half
            .map(|half| KeptInterval {
                level: 0.95,
                low: Some(net - half),
                high: Some(net + half),
                kind: "t".into(),
            })
            .into_iter()
            .collect(),
        reason: None,
    });
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value.filter(|value| value.is_finite()) {
            outcome.statistics.insert(name.into(), value);
        }
    };
    put("points", Some(measured.used.len() as f64));
    put("first_x", Some(measured.window.0));
    put("last_x", Some(measured.window.1));
    put("r_squared", measured.r_squared);
    put("residual_standard_deviation", Some(measured.residual_sd));
    put("straightness_probability", measured.straightness);
    put(
        "error_from_the_choice_of_law",
        Some(measured.bias).filter(|bias| *bias > 0.0),
    );
    put("lag_one_correlation", measured.correlation);
    let mut say = |words: String| {
        outcome
            .remarks
            .push(Diagnostic::warning(Code::new("residuals-odd"), words));
    };
    if shape == Scatter::Bent {
        let chance = measured.straightness.unwrap_or(0.0);
        let chance = if chance < 1e-4 {
            "below 0.0001".to_owned()
        } else {
            format!("{chance:.4}")
        };
        let instead = if blank {
            ""
        } else {
            "; without --window, --conversion or --straight the bend is taken into account"
        };
        say(format!(
            "the points bend away from the line (probability {chance} of so much by chance): this is a mean over the \
             stretch, and what it differs from the rate at its beginning is in the error{instead}"
        ));
    } else if shape == Scatter::Still {
        say(if error > 0.0 {
            "every reading of the stretch is the same: the rate is smaller than the readings can show, and its error is that of \
                 their rounding"
                    .into()
        } else {
            "every reading of the stretch is the same: the rate is smaller than the readings can show, and its error is not \
                 known"
                    .into()
        });
    } else if shape == Scatter::Wandering {
        say(
            "the course leaves the curve fitted to it by more than chance (a step, a drift, another law): a rate from it may mean \
             nothing; look at the picture"
                .into(),
        );
    }
    let mut note = |words: &str| {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("rate-shape"), words.to_owned()));
    };
    match (measured.law, measured.shape) {
        (RateLaw::Line, _) => {}
        (_, CourseShape::Bending) => note(
            "the course bends: the rate is its slope at the beginning, by the integrated law of depletion over all points",
        ),
        (_, CourseShape::Straight) => note(
            "no significant curvature was found; the error allows for curvature too small to see; --straight takes a line, for a \
             course that is known to be straight",
        ),
        _ => {}
    }
    if measured.correlation.is_some() {
        note("neighbouring readings err together, and the error allows for it (see lag_one_correlation)");
    }
    outcome.termination = format!("from {} to {}", measured.window.0, measured.window.1);
}

fn put_activity(plan: &RatePlan, run: &Run, assay: AssayPlan, slope: f64, error: f64, outcome: &mut Outcome) {
    let unit = |code: &str| Unit::ucum(code).ok();
    let coefficient = plan.coefficient.or_else(|| {
        stated(
            run,
            None,
            "molar-absorption-coefficient",
            unit("L/mol/cm").as_ref()?,
        )
    });
    let path = plan
        .path
        .or_else(|| stated(run, None, "path-length", unit("cm").as_ref()?));
    let (Some(coefficient), Some(path)) = (coefficient, path) else {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("activity-unknown"),
            "no activity: the molar absorption coefficient or the path length is not known",
        ));
        return;
    };
    // A rate in concentration goes back to the slope of the absorbance it came from.
    let scale = if plan.concentration {
        coefficient * path
    } else {
        1.0
    };
    let assay_plan = assay;
    let assay = Assay {
        coefficient,
        path,
        total_volume: assay.total_volume,
        sample_volume: assay.enzyme_volume,
        dilution: assay.dilution,
        protein: assay.protein,
        per_turnover: assay.per_turnover,
    };
    match activity((slope * scale, Some(error * scale)), None, &assay) {
        Err(refusal) => outcome.remarks.push(Diagnostic::warning(
            Code::new("activity-unknown"),
            format!("no activity: {refusal}"),
        )),
        Ok(found) => {
            let first = outcome.parameters.len();
            let mut put = |name: &str, value: Option<f64>, code: &str| {
                let Some(value) = value else { return };
                outcome.parameters.push(Parameter {
                    name: name.into(),
                    value: Some(value),
                    unit: unit(code),
                    standard_error: found.relative_error.map(|error| error * value.abs()),
                    intervals: Vec::new(),
                    reason: None,
                });
            };
            put("activity in the cell", Some(found.units), "U");
            put("catalytic activity in the cell", Some(found.katal), "kat");
            put("activity", Some(found.units_per_ml), "U/mL");
            put("catalytic activity", Some(found.katal_per_l), "kat/L");
            put("specific activity", found.units_per_mg, "U/mg");
            let of_volumes = assay_plan.volumes_error.unwrap_or(0.0);
            let relative = plan.scale_error.unwrap_or(0.0).hypot(of_volumes);
            let of_protein = assay_plan.protein_error.unwrap_or(0.0);
            for parameter in &mut outcome.parameters[first..] {
                let own = if parameter.name == "specific activity" {
                    relative.hypot(of_protein)
                } else {
                    relative
                };
                allow_for_factor(parameter, own);
            }
            if relative > 0.0 || of_protein > 0.0 {
                let protein = if of_protein > 0.0 {
                    format!(
                        ", and in the specific activity {} % of the protein",
                        Six(100.0 * of_protein)
                    )
                } else {
                    String::new()
                };
                outcome.remarks.push(Diagnostic::note(
                    Code::new("converted"),
                    format!(
                        "in the errors of the activities are those of coefficient and path length, volumes and dilution, {} % \
                         together{protein}",
                        Six(100.0 * relative)
                    ),
                ));
            }
            outcome
                .statistics
                .insert("units_per_ml_for_a_slope_of_one_per_minute".into(), found.factor);
            outcome.remarks.push(Diagnostic::note(
                Code::new("converted"),
                format!(
                    "activity in U/mL is the slope per minute times {} (coefficient {coefficient} L/(mol cm), path {path} cm, \
                     {} of {} mL, dilution {}, {} per turnover)",
                    Six(found.factor),
                    assay.sample_volume,
                    assay.total_volume,
                    assay.dilution,
                    assay.per_turnover
                ),
            ));
        }
    }
}

/// The points of a run that already holds rates over concentrations.
fn series_as_it_stands(run: &Run) -> RunRates {
    let mut all = RunRates::default();
    for trace in &run.traces {
        // A column of errors beside the rates holds no rates.
        let label = label_of(trace);
        if trace.x.quantity != Quantity::CONCENTRATION || run.traces.len() > 1 && stands_for_errors(&label) {
            continue;
        }
        for (x, y) in trace.x.values.iter().zip(trace.y.values.iter()) {
            all.points.push(RatePoint {
                run: run.id.clone(),
                label: label_of(trace),
                substrate: (*x, trace.x.unit.clone()),
                // The substrate runs along x, so a concentration that is held is that of something else.
                inhibitor: concentration_of(run, trace, &["inhibitor-concentration", "concentration"]),
                rate: (*y, None, trace.y.unit.clone()),
                blank: None,
                conditions: conditions(run, trace),
            });
        }
    }
    all
}
