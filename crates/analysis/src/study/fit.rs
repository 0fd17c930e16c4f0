//! Fits of a run's traces: time courses, rate laws and formulas of one's own.

use std::borrow::Cow;
use std::collections::BTreeMap;

use curvary_record::{
    Code, Column, Coordinate, Diagnostic, Interval as KeptInterval, Outcome, Parameter, Quantity, Run,
    Technique, Trace, Unit,
};
use serde_json::json;

use super::plan::{FitPlan, ParameterPlan, WeightPlan};
use super::{
    BY, Drawn, Found, TRUSTED_ABSORBANCE, concentration_of, curve_of, is_absorbance, label_of, stated, told,
    unit_in_terms,
};
use crate::courses::{
    Conversion, Course, Order, Preparation, Prepared, compare_courses, fit_prepared, prepare, usual_courses,
};
use crate::fit::{Data, Fit, Interval, Options, Standing, Weighting, fit};
use crate::models::Model;
use crate::models::formula::Formula;
use crate::models::law::{LAWS, Law};
use crate::refusal::Refusal;
use crate::scans::Scans;

/// A model that a plan names.
pub(super) enum Chosen {
    Course(Course),
    Law(&'static Law),
    Formula(Box<Formula>),
}

/// Names of the rate laws of time courses; each may be followed by `+offset`, `+drift` and `+lag`.
const ORDERS: [(&str, Order); 8] = [
    ("zero-order", Order::Zero),
    ("first-order", Order::First),
    ("second-order", Order::Second),
    ("second-order-unequal", Order::SecondUnequal),
    ("reversible-first-order", Order::ReversibleFirst),
    ("consecutive", Order::Consecutive),
    ("biphasic", Order::Biphasic),
    ("approach-to-steady-rate", Order::Approach),
];

impl FitPlan {
    /// Every model that can be named.
    pub fn models() -> Vec<&'static str> {
        ORDERS
            .iter()
            .map(|(name, _)| *name)
            .chain(LAWS.iter().map(|law| law.name))
            .collect()
    }

    /// Whether the plan can be carried out at all, before any data are seen.
    ///
    /// # Errors
    /// What was found and what was expected, in words.
    pub fn check(&self) -> Result<(), String> {
        if !(self.level > 0.0 && self.level < 1.0) {
            return Err(format!("the level {} lies not between 0 and 1", self.level));
        }
        let chosen = self.chosen()?;
        let names: Vec<&str> = chosen
            .model()
            .parameters()
            .iter()
            .map(|p| p.name.as_ref())
            .collect();
        if let Some(unknown) = self
            .parameters
            .keys()
            .find(|name| !names.contains(&name.as_str()))
        {
            return Err(format!(
                "no parameter is called `{unknown}`: expected one of {}",
                names.join(", ")
            ));
        }
        Ok(())
    }

    /// Whether the model says nothing about what the axes mean.
    pub fn is_formula(&self) -> bool {
        self.formula.is_some()
    }

    fn chosen(&self) -> Result<Chosen, String> {
        if let Some(formula) = &self.formula {
            let whole = match &self.response {
                Some(response) => format!("{response} = {formula}"),
                None => formula.clone(),
            };
            let names: Vec<&str> = self.variables.iter().map(|(name, _)| name.as_str()).collect();
            let names = if names.is_empty() { vec!["x"] } else { names };
            return Formula::parse(&whole, &names)
                .map(|formula| Chosen::Formula(Box::new(formula)))
                .map_err(|error| format!("the formula `{whole}` cannot be read: {error}"));
        }
        if let Some(law) = Law::named(&self.model) {
            return Ok(Chosen::Law(law));
        }
        course(&self.model).map(Chosen::Course)
    }

    /// The name under which results stand.
    fn name(&self) -> String {
        match &self.formula {
            Some(formula) => match &self.response {
                Some(response) => format!("{response} = {formula}"),
                None => formula.clone(),
            },
            None => self.model.clone(),
        }
    }

    fn options(&self, model: &dyn Model) -> Result<Options, Refusal> {
        let places: Vec<(usize, &ParameterPlan)> = model
            .parameters()
            .iter()
            .enumerate()
            .filter_map(|(place, parameter)| Some((place, self.parameters.get(parameter.name.as_ref())?)))
            .collect();
        let count = model.parameters().len();
        let starts: Vec<Option<f64>> = (0..count)
            .map(|place| {
                places
                    .iter()
                    .find(|(at, _)| *at == place)
                    .and_then(|(_, plan)| plan.start.or(plan.held))
            })
            .collect();
        let start = if places.iter().any(|(_, plan)| plan.start.is_some()) {
            let missing: Vec<&str> = (0..count)
                .filter(|place| starts[*place].is_none())
                .map(|place| model.parameters()[place].name.as_ref())
                .collect();
            if !missing.is_empty() {
                return Err(Refusal::NoStart {
                    why: format!(
                        "starting values are given for some parameters only; {} {} none",
                        missing.join(", "),
                        if missing.len() == 1 { "has" } else { "have" }
                    ),
                });
            }
            Some(starts.into_iter().flatten().collect())
        } else {
            None
        };
        Ok(Options {
            start,
            held: places
                .iter()
                .filter_map(|(place, plan)| Some((*place, plan.held?)))
                .collect(),
            bounds: places
                .iter()
                .filter(|(_, plan)| plan.lower.is_some() || plan.upper.is_some())
                .map(|(place, plan)| (*place, plan.lower, plan.upper))
                .collect(),
            robust: self.robust,
            level: self.level,
            profile: self.profile,
            ..Options::default()
        })
    }
}

/// The course of a name such as `first-order+offset`.
fn course(name: &str) -> Result<Course, String> {
    let mut parts = name.split('+').map(str::trim);
    let base = parts.next().unwrap_or_default();
    let order = ORDERS.iter().find(|(known, _)| *known == base).ok_or_else(|| {
        format!(
            "no model is called `{base}`; there are {} (each with +offset, +drift or +lag behind it where wanted) and {}",
            ORDERS.map(|(name, _)| name).join(", "),
            LAWS.iter().map(|law| law.name).collect::<Vec<_>>().join(", ")
        )
    })?;
    let mut course = Course::new(order.1);
    for part in parts {
        course = match part {
            "offset" => course.with_offset(),
            "drift" => course.with_drift(),
            "lag" => course.with_lag(),
            other => {
                return Err(format!(
                    "nothing is called `+{other}`: expected +offset, +drift or +lag"
                ));
            }
        }
        .map_err(|refusal| refusal.to_string())?;
    }
    Ok(course)
}

impl Chosen {
    fn model(&self) -> &dyn Model {
        match self {
            Self::Course(course) => course,
            Self::Law(law) => *law,
            Self::Formula(formula) => formula.as_ref(),
        }
    }
}

/// One curve to fit: a trace, or what several traces of a run make together.
struct Curve<'a> {
    trace: Cow<'a, Trace>,
    number: Option<u32>,
    remarks: Vec<Diagnostic>,
}

/// Fits every trace of a run that the plan speaks of. Each gives a result or the reason why there is none.
pub fn fit_run(plan: &FitPlan, run: &Run) -> Vec<Found> {
    let chosen = match plan.chosen() {
        Ok(chosen) => chosen,
        Err(why) => {
            return vec![refused(
                plan,
                run,
                None,
                String::new(),
                &Refusal::Unsuitable { why },
            )];
        }
    };
    if let Some(question) = run
        .questions
        .iter()
        .find(|question| weighs(plan, question.code.as_str()))
    {
        let why = format!("the run is in question: {}", question.message);
        return vec![refused(
            plan,
            run,
            None,
            String::new(),
            &Refusal::Unsuitable { why },
        )];
    }
    let curves = match curves(plan, &chosen, run) {
        Ok(curves) => curves,
        Err(refusal) => return vec![refused(plan, run, None, String::new(), &refusal)],
    };
    curves
        .iter()
        .map(|curve| fit_curve(plan, &chosen, run, curve))
        .collect()
}

/// Whether an open question touches the numbers of a curve; a date in doubt does not.
fn weighs(plan: &FitPlan, code: &str) -> bool {
    let about_conditions = ["day-or-month-first", "two-units", "wavelength-disputed"];
    let about_axes = ["axis-unknown", "time-unit", "signal-unknown", "technique-unknown"];
    !(about_conditions.contains(&code) || plan.is_formula() && about_axes.contains(&code))
}

fn curves<'a>(plan: &FitPlan, chosen: &Chosen, run: &'a Run) -> Result<Vec<Curve<'a>>, Refusal> {
    if let Some(wavelength) = plan.at {
        return cut(run, wavelength).map(|curve| vec![curve]);
    }
    if matches!(chosen, Chosen::Course(_)) && run.technique == Technique::SPECTRAL_TIME_COURSE {
        return Err(Refusal::Unsuitable {
            why: "these are repeated scans; say at which wavelength they are read as a time course".into(),
        });
    }
    let several = matches!(chosen, Chosen::Law(law) if law.variables.len() > 1) || !plan.variables.is_empty();
    let mut curves: Vec<Curve<'a>> = Vec::new();
    let mut keys: Vec<Option<String>> = Vec::new();
    for (number, trace) in (0..).zip(&run.traces) {
        if !wanted(plan, number, trace) && !several {
            continue;
        }
        // A table that goes through its x again and again is one set of observations to a fit.
        let key = trace
            .y
            .name
            .clone()
            .or_else(|| trace.label.clone())
            .filter(|_| trace.held.is_empty());
        let sister = match (
            chosen,
            key.is_some() || trace.label.is_none() && trace.held.is_empty(),
        ) {
            (Chosen::Formula(_) | Chosen::Law(_), true) if !several => {
                keys.iter().position(|known| *known == key)
            }
            _ => None,
        };
        match sister {
            Some(place) => {
                let joined = joined(&curves[place].trace, trace);
                curves[place].trace = Cow::Owned(joined);
                curves[place].number = None;
            }
            None => {
                keys.push(key);
                curves.push(Curve {
                    trace: Cow::Borrowed(trace),
                    number: Some(number),
                    remarks: Vec::new(),
                });
            }
        }
    }
    if several && let Chosen::Law(_) = chosen {
        let mut first = match curves.first() {
            Some(first) => first.trace.clone().into_owned(),
            None => return Err(nothing(plan, run)),
        };
        for curve in &curves[1..] {
            first = joined(&first, &curve.trace);
        }
        first.held.clear();
        first.label = None;
        return Ok(vec![Curve {
            trace: Cow::Owned(first),
            number: None,
            remarks: Vec::new(),
        }]);
    }
    if !plan.variables.is_empty() {
        let named: Vec<&String> = plan.variables.iter().map(|(_, column)| column).collect();
        curves.retain(|curve| {
            let label = label_of(&curve.trace);
            !named.contains(&&label)
                && curve
                    .number
                    .is_none_or(|number| wanted(plan, number, &curve.trace))
        });
    }
    if let Some(WeightPlan::Errors(label)) = &plan.weights {
        curves.retain(|curve| label_of(&curve.trace) != *label);
    }
    if curves.is_empty() {
        return Err(nothing(plan, run));
    }
    Ok(curves)
}

fn nothing(plan: &FitPlan, run: &Run) -> Refusal {
    let labels: Vec<String> = run.traces.iter().map(label_of).collect();
    Refusal::Unsuitable {
        why: format!(
            "no trace is called {}; there are {}",
            plan.traces.join(" or "),
            labels.join(", ")
        ),
    }
}

fn wanted(plan: &FitPlan, number: u32, trace: &Trace) -> bool {
    plan.traces.is_empty()
        || plan
            .traces
            .iter()
            .any(|name| *name == label_of(trace) || name.parse() == Ok(number + 1))
}

/// Two traces one behind the other.
fn joined(first: &Trace, second: &Trace) -> Trace {
    let mut all = first.clone();
    let put = |column: &mut Column, more: &Column| {
        column.values = column.values.iter().chain(more.values.iter()).copied().collect();
    };
    let before = u32::try_from(first.len()).unwrap_or(u32::MAX);
    put(&mut all.x, &second.x);
    put(&mut all.y, &second.y);
    all.saturated
        .extend(second.saturated.iter().map(|at| at + before));
    all
}

/// Repeated scans read as a time course at one wavelength.
fn cut(run: &Run, wavelength: f64) -> Result<Curve<'_>, Refusal> {
    let unsuitable = |why: &str| Refusal::Unsuitable { why: why.into() };
    let (first, times) = scan_times(run)?;
    let nanometres: Vec<f64> = first
        .x
        .values
        .iter()
        .map(|value| first.x.unit.convert(*value, &Unit::NANOMETRE))
        .collect::<Result<_, _>>()
        .map_err(|_| unsuitable("the scans do not run over a wavelength"))?;
    let absorbance: Vec<&[f64]> = run.traces.iter().map(|trace| trace.y.values.as_ref()).collect();
    let scans = Scans {
        wavelengths: &nanometres,
        times: &times.0,
        absorbance: &absorbance,
    };
    let cut = scans.trace_at(wavelength)?;
    let x = Column::new(Quantity::TIME, times.1, cut.times);
    let y = Column::new(first.y.quantity.clone(), first.y.unit.clone(), cut.absorbance);
    let mut trace = Trace::new(x, y).map_err(|error| unsuitable(&error.to_string()))?;
    trace
        .held
        .push(Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, wavelength));
    let remarks = cut.between.map(|(low, high)| {
        Diagnostic::note(
            Code::new("between-points"),
            format!("no scan has a point at {wavelength} nm: the absorbance was taken on the line between {low} and {high} nm"),
        )
    });
    Ok(Curve {
        trace: Cow::Owned(trace),
        number: None,
        remarks: remarks.into_iter().collect(),
    })
}

/// The first scan, and the times of all with their unit.
pub(super) fn scan_times(run: &Run) -> Result<(&Trace, (Vec<f64>, Unit)), Refusal> {
    let unsuitable = |why: &str| Refusal::Unsuitable { why: why.into() };
    let first = run
        .traces
        .first()
        .ok_or_else(|| unsuitable("the run has no trace"))?;
    let held = |trace: &Trace| {
        trace
            .held
            .iter()
            .find(|held| held.quantity == Quantity::TIME)
            .cloned()
    };
    let unit = held(first)
        .ok_or_else(|| unsuitable("no time is known for these scans"))?
        .unit;
    let times = run
        .traces
        .iter()
        .map(|trace| held(trace).and_then(|held| held.unit.convert(held.value, &unit).ok()))
        .collect::<Option<Vec<f64>>>()
        .ok_or_else(|| unsuitable("the time of a scan is not known"))?;
    Ok((first, (times, unit)))
}

fn fit_curve(plan: &FitPlan, chosen: &Chosen, run: &Run, curve: &Curve<'_>) -> Found {
    let label = label_of(&curve.trace);
    match fitted(plan, chosen, run, curve) {
        Ok(found) => found,
        Err(refusal) => refused(plan, run, curve.number, label, &refusal),
    }
}

/// An outcome without a number, with the reason.
fn refused(plan: &FitPlan, run: &Run, number: Option<u32>, label: String, refusal: &Refusal) -> Found {
    let mut outcome = blank(plan, run, number);
    outcome.termination = told(refusal);
    Found {
        trace: number,
        label,
        outcome: outcome.identified(),
        drawn: Drawn::default(),
    }
}

fn blank(plan: &FitPlan, run: &Run, trace: Option<u32>) -> Outcome {
    let settings = match serde_json::to_value(plan) {
        Ok(serde_json::Value::Object(map)) => map.into_iter().collect(),
        _ => BTreeMap::new(),
    };
    Outcome {
        id: String::new(),
        kind: "fit".into(),
        runs: vec![run.id.clone()],
        trace,
        model: plan.name(),
        by: BY.into(),
        settings,
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: Vec::new(),
    }
}

/// What a model needs to run along, where it minds.
fn needs(chosen: &Chosen) -> Option<Quantity> {
    match chosen {
        Chosen::Course(_) => Some(Quantity::TIME),
        Chosen::Law(law) if law.variables == ["t"] => Some(Quantity::TIME),
        Chosen::Law(_) => Some(Quantity::CONCENTRATION),
        Chosen::Formula(_) => None,
    }
}

pub(super) fn preparation(
    plan: &FitPlan,
    chosen: &Chosen,
    run: &Run,
    trace: &Trace,
) -> Result<Preparation, Refusal> {
    let needed = needs(chosen);
    let known = trace.x.quantity != Quantity::UNKNOWN
        && trace.x.quantity != Quantity::INDEX
        && trace.x.unit != Unit::ONE;
    if let Some(needed) = &needed
        && known
        && trace.x.quantity != *needed
    {
        return Err(Refusal::Unsuitable {
            why: format!(
                "the running axis is {}, and {} needs {needed}",
                trace.x.quantity, plan.model
            ),
        });
    }
    let is_time = needed == Some(Quantity::TIME);
    let window = plan
        .window
        .as_ref()
        .map(|span| {
            let own = |value: f64| match &span.unit {
                None => Ok(value),
                Some(unit) => unit
                    .convert(value, &trace.x.unit)
                    .map_err(|_| Refusal::Unsuitable {
                        why: format!(
                            "the window is in {}, the axis in {}",
                            unit.display(),
                            trace.x.unit.display()
                        ),
                    }),
            };
            Ok((own(span.from)?, own(span.to)?))
        })
        .transpose()?;
    let dead_time = if is_time {
        let seconds = plan
            .dead_time
            .or_else(|| stated(run, Some(trace), "dead-time", &Unit::SECOND));
        seconds.map_or(0.0, |seconds| {
            Unit::SECOND.convert(seconds, &trace.x.unit).unwrap_or(seconds)
        })
    } else {
        0.0
    };
    let saturated_above =
        is_absorbance(&trace.y).then(|| plan.trusted_absorbance.unwrap_or(TRUSTED_ABSORBANCE));
    let conversion = if plan.concentration || plan.coefficient.is_some() {
        let missing = |what: &str| Refusal::Unsuitable {
            why: format!("no {what} is known, so absorbance cannot be turned into concentration"),
        };
        let coefficient = Unit::ucum("L/mol/cm").ok();
        let coefficient = plan.coefficient.or_else(|| {
            stated(
                run,
                Some(trace),
                "molar-absorption-coefficient",
                coefficient.as_ref()?,
            )
        });
        let centimetre = Unit::ucum("cm").ok();
        let path = plan
            .path
            .or_else(|| stated(run, Some(trace), "path-length", centimetre.as_ref()?));
        Some(Conversion {
            coefficient: coefficient.ok_or_else(|| missing("molar absorption coefficient"))?,
            path: path.ok_or_else(|| missing("path length"))?,
        })
    } else {
        None
    };
    if conversion.is_some() && !is_absorbance(&trace.y) {
        return Err(Refusal::Unsuitable {
            why: format!(
                "only absorbance is turned into concentration; this is {}",
                trace.y.quantity
            ),
        });
    }
    Ok(Preparation {
        window,
        saturated_above,
        dead_time,
        conversion,
        concentration: false,
        equal_times: !is_time,
    })
}

/// Checks and cuts a trace; points that were marked as saturated are left out first.
pub(super) fn prepared(
    how: &Preparation,
    trace: &Trace,
    ordered: bool,
    outcome: &mut Outcome,
) -> Result<Prepared, Refusal> {
    let marked: Vec<usize> = trace.saturated.iter().map(|at| *at as usize).collect();
    let kept: Vec<usize> = (0..trace.len()).filter(|i| !marked.contains(i)).collect();
    let pick = |column: &Column| -> Vec<f64> { kept.iter().map(|i| column.values[*i]).collect() };
    let (x, y) = (pick(&trace.x), pick(&trace.y));
    if kept.is_empty() && !marked.is_empty() {
        return Err(Refusal::AllSaturated {
            limit: how.saturated_above.unwrap_or(f64::INFINITY),
            count: marked.len(),
        });
    }
    let mut found = if ordered {
        prepare(&x, &y, how)?
    } else {
        // Order means nothing to a law of concentrations or a formula.
        let mut order: Vec<usize> = (0..x.len()).collect();
        order.sort_by(|a, b| x[*a].total_cmp(&x[*b]));
        let sorted = |column: &[f64]| -> Vec<f64> { order.iter().map(|i| column[*i]).collect() };
        let mut found = prepare(&sorted(&x), &sorted(&y), how)?;
        // Back into the order of the source, which decides nothing but is what people know.
        let mut places: Vec<(usize, f64, f64)> = found
            .used
            .iter()
            .zip(found.time.iter().zip(&found.signal))
            .map(|(at, (x, y))| (order[*at], *x, *y))
            .collect();
        places.sort_by_key(|place| place.0);
        found.used = places.iter().map(|place| place.0).collect();
        found.time = places.iter().map(|place| place.1).collect();
        found.signal = places.iter().map(|place| place.2).collect();
        found
    };
    found.used = found.used.iter().map(|i| kept[*i]).collect();
    let mut say = |count: usize, why: String| {
        if count > 0 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("points-left-out"),
                format!(
                    "{count} {} left out: {why}",
                    if count == 1 { "point was" } else { "points were" }
                ),
            ));
        }
    };
    say(
        marked.len(),
        "marked as beyond the range of the instrument".into(),
    );
    if let Some(limit) = how.saturated_above {
        say(
            found.saturated,
            format!("an absorbance above {limit}, where stray light rules"),
        );
    }
    say(trace.absent as usize, "no number stood there".into());
    Ok(found)
}

fn fitted(plan: &FitPlan, chosen: &Chosen, run: &Run, curve: &Curve<'_>) -> Result<Found, Refusal> {
    let trace = curve.trace.as_ref();
    let mut outcome = blank(plan, run, curve.number);
    outcome.remarks.clone_from(&curve.remarks);
    let how = preparation(plan, chosen, run, trace)?;
    let ordered = matches!(chosen, Chosen::Course(_));
    let points = prepared(&how, trace, ordered, &mut outcome)?;
    let options = plan.options(chosen.model())?;
    let errors;
    let weighting = match &plan.weights {
        None => Weighting::Equal,
        Some(WeightPlan::Relative) => Weighting::Relative,
        Some(WeightPlan::Errors(label)) => {
            errors = beside(run, trace, label, &points.used)?;
            Weighting::KnownErrors(&errors)
        }
    };
    // Traces that are fitted together have lost what they held; `levels` counts in the unit of the first.
    let level_unit = run
        .traces
        .first()
        .and_then(|first| concentration_of(run, first, &["inhibitor-concentration", "concentration"]))
        .map_or(Unit::ONE, |found| found.1);
    let found = match chosen {
        Chosen::Course(course) => {
            // What was left out has been told above.
            let points = Prepared {
                saturated: 0,
                ..points.clone()
            };
            fit_prepared(course, points, &how, weighting, &options)?.fit
        }
        Chosen::Law(law) if law.variables.len() > 1 => {
            let levels = levels(run, &points.used)?;
            let columns: [&[f64]; 2] = [&points.time, &levels];
            negative("concentration", &points.time)?;
            let data = Data {
                x: &columns,
                y: &points.signal,
                weighting,
            };
            fit(*law, &data, &options)?
        }
        Chosen::Law(law) => {
            negative(
                if law.variables == ["t"] {
                    "time"
                } else {
                    "concentration"
                },
                &points.time,
            )?;
            let columns: [&[f64]; 1] = [&points.time];
            let data = Data {
                x: &columns,
                y: &points.signal,
                weighting,
            };
            fit(*law, &data, &options)?
        }
        Chosen::Formula(formula) => {
            let response = formula.respond(&points.signal)?;
            let mut columns: Vec<Vec<f64>> = Vec::new();
            for (_, column) in &plan.variables {
                columns.push(match column.as_str() {
                    "x" => points.time.clone(),
                    label => beside(run, trace, label, &points.used)?,
                });
            }
            if columns.is_empty() {
                columns.push(points.time.clone());
            }
            let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
            let data = Data {
                x: &columns,
                y: &response,
                weighting,
            };
            fit(formula.as_ref(), &data, &options)?
        }
    };
    let y_unit = match (&how.conversion, chosen) {
        (Some(_), _) => Unit::MOLE_PER_LITRE,
        _ => trace.y.unit.clone(),
    };
    let unit = |of: &str, name: &str| match chosen {
        Chosen::Formula(_) => plan.parameters.get(name).and_then(|plan| plan.unit.clone()),
        // A rate over concentrations: `y` is the rate, so Vmax is in its unit.
        Chosen::Law(law) if law.variables != ["t"] => {
            let of = if of == "y/x" && name == "Vmax" { "y" } else { of };
            unit_in_terms(of, &trace.x.unit, &y_unit, &level_unit)
        }
        _ => unit_in_terms(of, &trace.x.unit, &y_unit, &level_unit),
    };
    tell(&mut outcome, &found, &unit);
    if let Some(factor) = points.factor {
        outcome
            .statistics
            .insert("absorbance_per_mol_per_litre".into(), factor);
        outcome.remarks.push(Diagnostic::note(
            Code::new("converted"),
            format!("absorbance was divided by {factor} L/mol (absorption coefficient times path length) to give mol/L"),
        ));
    }
    if how.dead_time > 0.0 {
        outcome.remarks.push(Diagnostic::note(
            Code::new("converted"),
            format!(
                "a dead time of {} {} was added to every time",
                how.dead_time,
                trace.x.unit.display()
            ),
        ));
    }
    if let (Some(first), Some(last)) = (points.time.first(), points.time.last())
        && ordered
    {
        outcome.statistics.insert("first_x".into(), *first);
        outcome.statistics.insert("last_x".into(), *last);
    }
    let y_title = if how.conversion.is_some() {
        "concentration / mol/L".to_owned()
    } else {
        super::title(&trace.y)
    };
    let scale = points.factor.unwrap_or(1.0);
    Ok(Found {
        trace: curve.number,
        label: label_of(trace),
        outcome: outcome.identified(),
        drawn: Drawn {
            x_title: super::title(&trace.x),
            y_title,
            x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
            y: trace.y.values.iter().map(|y| y / scale).collect(),
            curve: Some(curve_of(chosen.model(), &found, &points.time)),
            used: points.used,
            fitted: found.fitted,
            residuals: found.residuals,
        },
    })
}

fn negative(what: &str, column: &[f64]) -> Result<(), Refusal> {
    match column.iter().position(|value| *value < 0.0) {
        None => Ok(()),
        Some(index) => Err(Refusal::Negative {
            what: format!("the {what}"),
            index,
            value: column[index],
        }),
    }
}

/// The inhibitor concentration of each point of all traces together.
fn levels(run: &Run, used: &[usize]) -> Result<Vec<f64>, Refusal> {
    let mut unit = None;
    let mut all = Vec::new();
    for trace in &run.traces {
        let (value, own) = concentration_of(run, trace, &["inhibitor-concentration", "concentration"])
            .ok_or_else(|| Refusal::Unsuitable {
                why: format!(
                    "no inhibitor concentration is known for the trace `{}`",
                    label_of(trace)
                ),
            })?;
        let unit = unit.get_or_insert_with(|| own.clone());
        let value = own.convert(value, unit).map_err(|_| Refusal::Unsuitable {
            why: "the inhibitor concentrations have units that do not convert into each other".into(),
        })?;
        all.extend(std::iter::repeat_n(value, trace.len()));
    }
    negative("inhibitor concentration", &all)?;
    Ok(used.iter().filter_map(|i| all.get(*i).copied()).collect())
}

/// The values that another trace of the run has at the same x, for the points used.
fn beside(run: &Run, trace: &Trace, label: &str, used: &[usize]) -> Result<Vec<f64>, Refusal> {
    let other = run
        .traces
        .iter()
        .find(|other| label_of(other) == label || other.y.name.as_deref() == Some(label))
        .ok_or_else(|| {
            let labels: Vec<String> = run.traces.iter().map(label_of).collect();
            Refusal::Unsuitable {
                why: format!("no column is called `{label}`; there are {}", labels.join(", ")),
            }
        })?;
    if other.x.values != trace.x.values {
        return Err(Refusal::Unsuitable {
            why: format!("the column `{label}` does not stand at the same points"),
        });
    }
    Ok(used.iter().map(|i| other.y.values[*i]).collect())
}

/// Puts what was found into the record.
pub(super) fn tell(outcome: &mut Outcome, fit: &Fit, unit: &dyn Fn(&str, &str) -> Option<Unit>) {
    let interval = |interval: &Option<Interval>, kind: &str| {
        interval.as_ref().map(|interval| KeptInterval {
            level: fit.level,
            low: interval.lower,
            high: interval.upper,
            kind: kind.into(),
        })
    };
    outcome.termination = fit.termination.words().into();
    outcome.parameters = fit
        .parameters
        .iter()
        .map(|found| Parameter {
            name: found.name.to_string(),
            value: (found.standing != Standing::NotDetermined).then_some(found.value),
            unit: unit(&found.unit, &found.name),
            standard_error: found.standard_error,
            intervals: [
                interval(&found.interval, "t"),
                interval(&found.profile, "profile-likelihood"),
            ]
            .into_iter()
            .flatten()
            .collect(),
            reason: (found.standing != Standing::Determined).then(|| found.standing.words().to_owned()),
        })
        .collect();
    let doubtful = fit
        .parameters
        .iter()
        .find(|found| !matches!(found.standing, Standing::Determined | Standing::Held));
    outcome.parameters.extend(fit.derived.iter().map(|found| {
        Parameter {
            name: found.name.to_string(),
            value: doubtful
                .is_none_or(|parameter| parameter.standing != Standing::NotDetermined)
                .then_some(found.value),
            unit: unit(&found.unit, &found.name),
            standard_error: found.standard_error,
            intervals: interval(&found.interval, "t").into_iter().collect(),
            reason: doubtful.map(|parameter| format!("{} is {}", parameter.name, parameter.standing.words())),
        }
    }));
    let size = fit.parameters.len().max(1);
    outcome.covariance = fit
        .covariance
        .as_ref()
        .map(|all| all.chunks(size).map(<[f64]>::to_vec).collect())
        .unwrap_or_default();
    let mut put = |name: &str, value: Option<f64>| {
        if let Some(value) = value.filter(|value| value.is_finite()) {
            outcome.statistics.insert(name.into(), value);
        }
    };
    put("points", Some(fit.points as f64));
    put("degrees_of_freedom", Some(fit.degrees_of_freedom as f64));
    put("residual_sum_of_squares", Some(fit.residual_sum_of_squares));
    put("residual_standard_deviation", Some(fit.residual_sd));
    put("r_squared", fit.r_squared);
    put("aicc", fit.aicc);
    put("fit_probability", fit.fit_probability);
    put("durbin_watson", fit.diagnostics.durbin_watson);
    put(
        "runs_probability",
        fit.diagnostics.runs.map(|runs| runs.probability),
    );
    put(
        "normality_probability",
        fit.diagnostics.normality.map(|found| found.probability),
    );
    for warning in &fit.diagnostics.warnings {
        outcome
            .remarks
            .push(Diagnostic::warning(Code::new("residuals-odd"), warning.words()));
    }
    for remark in &fit.remarks {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("fit-remark"), remark.words()));
    }
}

/// Several laws ranked over one trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The record of the ranking.
    pub found: Found,
    /// Each law with its AICc difference to the best and its weight, best first; those that failed stand in `refused`.
    pub ranked: Vec<(String, f64, f64)>,
    /// Laws that could not be fitted, with the reason.
    pub refused: Vec<(String, String)>,
    /// Whether the data single out one law.
    pub told_apart: bool,
    /// The verdict in words.
    pub verdict: String,
}

/// Ranks laws over every trace of a run that the plan speaks of; the usual orders where `models` is empty.
///
/// # Errors
/// The reason, where no comparison came about.
pub fn compare_trace(plan: &FitPlan, models: &[String], run: &Run) -> Vec<Result<Comparison, Box<Found>>> {
    let courses: Result<Vec<Course>, String> = if models.is_empty() {
        Ok(usual_courses())
    } else {
        models.iter().map(|name| course(name)).collect()
    };
    let fail = |label: String, refusal: &Refusal| Err(Box::new(refused(plan, run, None, label, refusal)));
    let courses = match courses {
        Ok(courses) => courses,
        Err(why) => return vec![fail(String::new(), &Refusal::Unsuitable { why })],
    };
    let first = match courses.first() {
        Some(first) => Chosen::Course(first.clone()),
        None => return Vec::new(),
    };
    let curves = match curves(plan, &first, run) {
        Ok(curves) => curves,
        Err(refusal) => return vec![fail(String::new(), &refusal)],
    };
    curves
        .iter()
        .map(|curve| {
            let trace = curve.trace.as_ref();
            compared(plan, &first, &courses, run, curve).or_else(|refusal| fail(label_of(trace), &refusal))
        })
        .collect()
}

fn compared(
    plan: &FitPlan,
    first: &Chosen,
    courses: &[Course],
    run: &Run,
    curve: &Curve<'_>,
) -> Result<Comparison, Refusal> {
    let trace = curve.trace.as_ref();
    let how = preparation(plan, first, run, trace)?;
    let names: Vec<String> = courses.iter().map(|course| course.name().into_owned()).collect();
    let mut outcome = blank(plan, run, curve.number);
    outcome.kind = "comparison".into();
    outcome.model = names.join(", ");
    outcome.settings.insert("models".into(), json!(names));
    // What is left out is told as by a fit; the laws below see the same points.
    let points = prepared(&how, trace, true, &mut outcome)?;
    let bare = Preparation::default();
    let options = Options {
        level: plan.level,
        ..Options::default()
    };
    let found = compare_courses(courses, &points.time, &points.signal, &bare, &options)?;
    let ranked: Vec<(String, f64, f64)> = found
        .choice
        .ranking
        .iter()
        .map(|ranked| {
            let name = found.fits[ranked.index].fit.model.to_string();
            (name, ranked.difference, ranked.weight)
        })
        .collect();
    for (name, difference, _) in &ranked {
        outcome
            .statistics
            .insert(format!("aicc_difference {name}"), *difference);
    }
    outcome.termination = if found.told_apart {
        format!("told apart: {}", ranked[0].0)
    } else {
        "not told apart".into()
    };
    outcome
        .remarks
        .push(Diagnostic::note(Code::new("fit-remark"), found.verdict.clone()));
    let best = &found.fits[found.choice.ranking[0].index].fit;
    let drawn = Drawn {
        curve: None,
        x_title: super::title(&trace.x),
        y_title: super::title(&trace.y),
        x: trace.x.values.iter().map(|x| x + how.dead_time).collect(),
        y: trace
            .y
            .values
            .iter()
            .map(|y| y / points.factor.unwrap_or(1.0))
            .collect(),
        used: points.used,
        fitted: best.fitted.clone(),
        residuals: best.residuals.clone(),
    };
    Ok(Comparison {
        found: Found {
            trace: curve.number,
            label: label_of(trace),
            outcome: outcome.identified(),
            drawn,
        },
        ranked,
        refused: found
            .refused
            .iter()
            .map(|(name, refusal)| (name.clone(), told(refusal)))
            .collect(),
        told_apart: found.told_apart,
        verdict: found.verdict,
    })
}
