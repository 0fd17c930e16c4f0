//! Initial rates of a run's traces, activities, and the rate law of a whole series.

mod activity;
mod drift;
mod series;
mod shape;
mod table;

pub use series::{RateWeights, SeriesFit, SeriesPlan, fit_series};

use std::borrow::Cow;
use std::collections::BTreeMap;

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Outcome, OutcomeKind, Parameter, Run, RunId, Severity,
    Technique, Trace, Unit, code,
};
use serde::{Deserialize, Serialize};

use shape::{Scatter, scatter, tell_beside, tell_end, tell_far};

use super::fit::{Chosen, preparation, prepared};
use super::ordinate::as_absorbance;
use super::plan::{AxisSpan, FitPlan};
use super::spectrum::{as_settings, asked_traces, in_question, is_asked, is_named, still_open};
use super::{
    BY, DriftEffect, PlotData, StatedDrift, TraceResult, allow_for_scale, concentration_of, label_of,
    stated_concentration, tell_apart, told, unit_in_terms,
};
use crate::courses::{
    Course, CourseShape, InitialRate, Order, Preparation, PreparedTrace, RateLaw, RateWindow, SteadyRate,
    initial_rate,
};
use crate::enzymes::{SeriesRate, TraceOfSeries, blank_rate, series_rates};
use crate::refusal::Refusal;
use crate::wording::Six;
pub use activity::AssayPlan;
use activity::put_activity;
use drift::{MovedRates, of_mean};
use table::series_as_it_stands;

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
    /// A drift of the signal that a person knows of the lamp; its effect is in the errors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drift: Option<StatedDrift>,
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
            drift: None,
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
    /// What a drift of the signal does to it.
    pub drift: DriftEffect,
    /// Codes of what its own result holds against it.
    pub doubts: Vec<String>,
}

/// The substrate concentration of a trace; none where it holds several concentrations and nothing says which is which.
fn substrate_of(run: &Run, trace: &Trace, outcome: &mut Outcome) -> Option<(f64, Unit)> {
    stated_concentration(run, trace, &SUBSTRATE).unwrap_or_else(|several| {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("concentration-not-sure"),
            format!(
                "the trace holds {several}, and nothing says which is the concentration of the substrate: it goes into no rate law"
            ),
        ));
        None
    })
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

/// Codes of the warnings of a result, each once.
fn doubts(outcome: &Outcome) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for remark in &outcome.remarks {
        let code = remark.code.as_str().to_owned();
        if remark.severity == Severity::Warning && !all.contains(&code) {
            all.push(code);
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
    /// Columns of a run of rates that go into no law, each with the reason.
    pub left_out: Vec<String>,
}

/// Rates of every trace of a run; of a run that is a series of rates already, its points as they stand.
pub fn rates_run(plan: &RatePlan, run: &Run) -> RunRates {
    let fail = |refusal: &Refusal| RunRates {
        found: vec![refused(plan, run, None, String::new(), refusal)],
        ..RunRates::default()
    };
    if let Some(refusal) = in_question(run).or_else(|| asked_traces(run, &plan.traces).err()) {
        return fail(&refusal);
    }
    if run.technique == Technique::RATE_SERIES {
        if plan.drift.is_some() {
            return fail(&Refusal::Unsuitable {
                why: "a drift of the signal is stated, and the run holds rates and no courses of the signal: what the drift does to \
                      them is not known"
                    .into(),
            });
        }
        return series_as_it_stands(plan, run);
    }
    let parts = parts_of(plan, run);
    if let Some(refusal) = wrong_blank(plan, &parts) {
        return fail(&refusal);
    }
    let ready: Vec<TraceOfSeries<'_>> = parts
        .iter()
        .filter_map(|part| {
            let (points, _) = part.points.as_ref().ok()?;
            Some(TraceOfSeries {
                time: &points.time,
                signal: &points.signal,
                blank: part.blank,
                resolution: part.resolution(points),
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
    let moved_blanks = match moved_blanks(plan, &parts, &series) {
        Ok(moved) => moved,
        Err(refusal) => return fail(&refusal),
    };
    let mut series = series.into_iter();
    let of = RatesOf {
        plan,
        run,
        window,
        moved_blanks,
        // Where some traces are told to be at a concentration, one that is not would be lost from a law in silence.
        some_known: parts
            .iter()
            .any(|part| !part.blank && concentration_of(run, &part.trace, &SUBSTRATE).is_some()),
    };
    let mut all = RunRates::default();
    for part in parts {
        let (number, label) = (part.number, label_of(&part.trace));
        let found = match &part.points {
            Err(refusal) => Err(refusal.clone()),
            Ok(_) => match series.next() {
                Some(rate) => of.finished(part, rate),
                None => continue,
            },
        };
        match found {
            Ok((found, point)) => {
                all.found.push(found);
                all.points.extend(point);
            }
            Err(refusal) => all.found.push(refused(plan, run, Some(number), label, &refusal)),
        }
    }
    tell_apart(&mut all.found);
    all
}

/// What the rates of a run have in common.
struct RatesOf<'a> {
    plan: &'a RatePlan,
    run: &'a Run,
    window: RateWindow,
    /// By how much one standard deviation of a stated drift moves the rate of each blank.
    moved_blanks: Vec<f64>,
    some_known: bool,
}

impl RatesOf<'_> {
    /// By how much one standard deviation of a stated drift moves the rates of a trace, those of the blanks taken off.
    fn moved(
        &self,
        part: &Part<'_>,
        measured: &InitialRate,
        sign: f64,
    ) -> Result<Option<MovedRates>, Refusal> {
        let Some(stated) = &self.plan.drift else {
            return Ok(None);
        };
        let own = part.moved_by(stated, measured, self.window)?;
        let net = if part.blank {
            own
        } else {
            own.less(stated, &self.moved_blanks)
        };
        Ok(Some(net.signed(sign)))
    }

    /// The result of one trace, and its rate at a known concentration.
    fn finished(
        &self,
        part: Part<'_>,
        rate: SeriesRate,
    ) -> Result<(TraceResult, Option<RatePoint>), Refusal> {
        let plan = self.plan;
        let measured = rate.measured?;
        let sign = if plan.consumed { -1.0 } else { 1.0 };
        let drift = self.moved(&part, &measured, sign)?;
        let Part {
            number,
            trace,
            blank,
            mut outcome,
            points,
        } = part;
        let (points, how) = points?;
        let trace = trace.as_ref();
        let label = label_of(trace);
        let y_unit = if how.conversion.is_some() {
            Unit::MOLE_PER_LITRE
        } else {
            trace.y.unit.clone()
        };
        let unit = unit_in_terms("y/x", &trace.x.unit, &y_unit, &Unit::ONE);
        let net = sign * rate.net.unwrap_or(measured.rate);
        let of_drift = drift.unwrap_or_default();
        let error = rate
            .standard_error
            .unwrap_or(measured.standard_error)
            .hypot(of_drift.beginning);
        let fitted = measured.fitted.clone();
        let residuals: Vec<f64> = measured
            .used
            .iter()
            .zip(&fitted)
            .map(|(i, fitted)| points.signal[*i] - fitted)
            .collect();
        let shape = scatter(&measured, &points, &residuals);
        put_rate(
            &mut outcome,
            &measured,
            (net, error, sign),
            unit.clone(),
            shape,
            blank,
        );
        let x_unit = trace.x.unit.display();
        let whole = matches!(self.window, RateWindow::Whole { .. }) && !blank;
        tell_end(&measured, points.time.len(), (whole, &x_unit), &mut outcome);
        tell_far(&measured, &points, (&trace.x, how.dead_time, sign), &mut outcome);
        tell_beside(
            plan,
            &measured,
            (points.time.first().copied(), sign),
            (blank, &unit),
            &mut outcome,
        );
        let taken_off = (sign, rate.blank, of_drift.steady);
        let steady = steady_goes_on(plan, &measured, taken_off, &unit, &mut outcome);
        let name = if steady.is_some() { "vs" } else { "v0" };
        let (net, error) = steady.unwrap_or((net, error));
        if let (Some(stated), Some(moved)) = (&plan.drift, drift) {
            let beside = !blank && !self.moved_blanks.is_empty();
            moved.tell(stated, (&trace.y.unit, beside), &mut outcome);
        }
        self.tell_scale((blank, sign * rate.blank.0), points.factor, &mut outcome);
        if let Some(assay) = plan.assay.filter(|_| !blank) {
            let per_minute = trace.x.unit.convert(1.0, &Unit::MINUTE).unwrap_or(f64::NAN);
            let (net, error) = (net / per_minute, error / per_minute);
            put_activity(plan, self.run, assay, net, error, &mut outcome);
        }
        let substrate = self.substrate(trace, blank, &mut outcome);
        let point = match (&unit, substrate) {
            (Some(unit), Some(substrate)) => Some(RatePoint {
                run: self.run.id.clone(),
                label: label.clone(),
                substrate,
                inhibitor: concentration_of(self.run, trace, &["inhibitor-concentration"]),
                rate: (net, Some(error), unit.clone()),
                blank: (!plan.blanks.is_empty())
                    .then(|| rate.blank.1.sqrt().hypot(self.wandering_blank()))
                    .filter(|error| *error > 0.0),
                conditions: conditions(self.run, trace),
                drift: DriftEffect::of(&outcome, name),
                doubts: doubts(&outcome),
            }),
            _ => None,
        };
        let drawn = PlotData {
            curve: Some(measured.curve),
            x_title: super::title(&trace.x),
            y_title: if how.conversion.is_some() {
                "concentration / mol/L".to_owned()
            } else {
                super::title(&trace.y)
            },
            x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
            y: (trace.y.values.iter().map(|y| y / points.factor.unwrap_or(1.0))).collect(),
            used: measured.used.iter().map(|i| points.used[*i]).collect(),
            fitted,
            residuals,
            ..PlotData::default()
        };
        let found = TraceResult {
            trace: Some(number),
            label,
            outcome: outcome.identified(),
            drawn,
        };
        Ok((found, point))
    }

    /// Tells what was taken off and what absorbance was divided by, and lets the errors have that of the scale.
    fn tell_scale(&self, (blank, taken_off): (bool, f64), factor: Option<f64>, outcome: &mut Outcome) {
        if blank {
            outcome.model = "initial rate of a blank".into();
        } else if !self.plan.blanks.is_empty() {
            outcome.remarks.push(Diagnostic::note(
                Code::new("fit-remark"),
                format!("the rate of the blank, {}, was taken off", Six(taken_off)),
            ));
        }
        // Rates as they go on to a law keep their own errors: the scale is common to all of them.
        if self.plan.concentration {
            let units = vec!["y/x"; outcome.parameters.len()];
            allow_for_scale(outcome, units.into_iter(), self.plan.scale_error);
        }
        if let Some(factor) = factor {
            outcome
                .statistics
                .insert("absorbance_per_mol_per_litre".into(), factor);
        }
    }

    /// The standard deviation of a stated wandering in the mean rate of the blanks, which all rates of the run have in common.
    fn wandering_blank(&self) -> f64 {
        let wandering = self.plan.drift.as_ref().filter(|stated| stated.per.is_none());
        wandering.map_or(0.0, |stated| of_mean(stated, &self.moved_blanks))
    }

    /// The substrate concentration of a trace; that it is not known is told where others of the run have one.
    fn substrate(&self, trace: &Trace, blank: bool, outcome: &mut Outcome) -> Option<(f64, Unit)> {
        if blank {
            return None;
        }
        let told = outcome.remarks.len();
        let substrate = substrate_of(self.run, trace, outcome);
        if self.some_known && substrate.is_none() && outcome.remarks.len() == told {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("concentration-not-sure"),
                "no substrate concentration is known for this trace, though others of the run have one: it goes into no rate law",
            ));
        }
        substrate
    }
}

/// A trace on its way to a rate.
struct Part<'a> {
    number: u32,
    trace: Cow<'a, Trace>,
    blank: bool,
    outcome: Outcome,
    points: Result<(PreparedTrace, Preparation), Refusal>,
}

impl Part<'_> {
    /// Step of the readings, in the unit of the signal that is looked at.
    fn resolution(&self, points: &PreparedTrace) -> Option<f64> {
        let decimals = self.trace.y.decimals.max()?;
        Some(10f64.powi(-i32::from(decimals)) / points.factor.map_or(1.0, f64::abs))
    }

    /// By how much one standard deviation of a stated drift moves the rates.
    fn moved_by(
        &self,
        stated: &StatedDrift,
        measured: &InitialRate,
        window: RateWindow,
    ) -> Result<MovedRates, Refusal> {
        let (points, _) = self.points.as_ref().map_err(Clone::clone)?;
        let size = stated.along(&self.trace.x.unit, &self.trace.y.unit)? / points.factor.unwrap_or(1.0);
        let how = Preparation {
            resolution: self.resolution(points),
            ..Preparation::default()
        };
        let time = &points.time;
        MovedRates::by(stated, size, points, measured, &|signal| {
            if self.blank {
                blank_rate(time, signal, &how)
            } else {
                initial_rate(time, signal, &how, window)
            }
        })
    }
}

/// By how much one standard deviation of a stated drift moves the rate of each blank.
fn moved_blanks(plan: &RatePlan, parts: &[Part<'_>], series: &[SeriesRate]) -> Result<Vec<f64>, Refusal> {
    let Some(stated) = &plan.drift else {
        return Ok(Vec::new());
    };
    let with_points = parts.iter().filter(|part| part.points.is_ok());
    let mut all = Vec::new();
    for (part, rate) in with_points.zip(series).filter(|(part, _)| part.blank) {
        if let Ok(measured) = &rate.measured {
            // A blank has no window of its own.
            let whole = RateWindow::Whole { fewest: plan.fewest };
            all.push(part.moved_by(stated, measured, whole)?.beginning);
        }
    }
    Ok(all)
}

/// The traces that are meant, in absorbance, with their points prepared.
fn parts_of<'a>(plan: &RatePlan, run: &'a Run) -> Vec<Part<'a>> {
    let data = plan.data();
    let chosen = Chosen::Course(Course::new(Order::Zero));
    let mut parts = Vec::new();
    for (number, trace) in (0_u32..).zip(&run.traces) {
        let blank = is_named(&plan.blanks, number, trace);
        if !blank && !is_asked(&plan.traces, number, trace) {
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
        let name = std::slice::from_ref(name);
        parts.iter().any(|part| is_named(name, part.number, &part.trace))
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
        remarks: still_open(run, &code::ABOUT_CONDITIONS),
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
    (sign, blank, drift): (f64, (f64, f64), f64),
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
    let error = (steady.standard_error * steady.standard_error + blank.1)
        .sqrt()
        .hypot(drift);
    outcome.parameters.push(Parameter {
        name: "vs".into(),
        value: Some(net),
        unit: unit.clone(),
        standard_error: Some(error),
        intervals: interval_about((net, error), sign, steady).into_iter().collect(),
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

/// The interval of a rate that goes on from a measured one: its reach to both sides stays the same in standard errors, whatever of a
/// blank or a drift came to the error; a rate of the other sign reaches to the other sides.
fn interval_about((net, error): (f64, f64), sign: f64, of: SteadyRate) -> Option<KeptInterval> {
    let own = of.standard_error;
    let (below, above) = (of.rate - of.interval.lower?, of.interval.upper? - of.rate);
    let (below, above) = if sign < 0.0 {
        (above, below)
    } else {
        (below, above)
    };
    (own > 0.0).then(|| KeptInterval {
        level: 0.95,
        low: Some(net - below / own * error),
        high: Some(net + above / own * error),
        kind: "t".into(),
        ..KeptInterval::default()
    })
}

fn put_rate(
    outcome: &mut Outcome,
    measured: &InitialRate,
    (net, error, sign): (f64, f64, f64),
    unit: Option<Unit>,
    shape: Scatter,
    blank: bool,
) {
    let own = SteadyRate {
        rate: measured.rate,
        standard_error: measured.standard_error,
        interval: measured.interval,
    };
    outcome.parameters.push(Parameter {
        name: "v0".into(),
        value: Some(net),
        unit,
        // No scatter is no knowledge of the error.
        standard_error: Some(error).filter(|error| *error > 0.0),
        intervals: interval_about((net, error), sign, own).into_iter().collect(),
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
    if let Some(correlation) = measured.correlation {
        note(&format!(
            "neighbouring readings err together (lag-one correlation {correlation:.2}), and the error allows for it"
        ));
    }
    outcome.termination = format!("from {} to {}", measured.window.0, measured.window.1);
}
