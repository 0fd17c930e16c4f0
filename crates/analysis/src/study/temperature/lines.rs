//! The lines of Arrhenius and Eyring through rate constants, and what is to be said of them.

use curvary_record::{Code, Diagnostic, Interval, Outcome, Parameter, Unit, code};

use super::{ABSORBANCE, AtTemperature, TemperaturePlan};
use crate::distribution::NORMAL_95;
use crate::linear::LinearFit;
use crate::refusal::Refusal;
use crate::study::fit::two;
use crate::study::replicates::{counted_all_the_same, without_common};
use crate::study::{DRIFT_MOVES, DriftEffect, PlotData, STATED_DRIFT};
use crate::temperature::{DerivedQuantity, GAS_CONSTANT, arrhenius, eyring};

fn unsuitable(why: String) -> Refusal {
    Refusal::Unsuitable { why }
}

/// Rate constants in one unit, with their temperatures.
struct Constants {
    kelvin: Vec<f64>,
    k: Vec<f64>,
    /// Their standard errors, where every constant has one, without what a stated drift does to all of them.
    errors: Option<Vec<f64>>,
    /// What one standard deviation of a stated drift does to each, where one is stated.
    stated: Option<Vec<f64>>,
    /// What they would be with a drift that the courses cannot show.
    drifted: Vec<f64>,
    unit: Unit,
}

impl Constants {
    fn of(plan: &TemperaturePlan, points: &[AtTemperature], model: &str) -> Result<Self, Refusal> {
        let first = points
            .first()
            .ok_or_else(|| unsuitable("no run has both a rate constant and a temperature".into()))?;
        let wanted = common_unit(plan, &first.rate.2, model)?;
        let mut all = Self {
            kelvin: Vec::new(),
            k: Vec::new(),
            errors: None,
            stated: None,
            drifted: Vec::new(),
            unit: wanted.clone(),
        };
        let (mut errors, mut stated) = (Vec::new(), Vec::new());
        for point in points {
            let own = |value: f64| {
                point.rate.2.convert(value, &wanted).map_err(|_| {
                    unsuitable(format!(
                        "the rate constant of run {} is in {}, others in {}",
                        point.run,
                        point.rate.2.display(),
                        wanted.display()
                    ))
                })
            };
            let (moved, common) = match point.drift {
                DriftEffect::Moves(moved) => (moved, 0.0),
                DriftEffect::Stated(moved) => (0.0, moved),
                DriftEffect::Allowed | DriftEffect::Unknown(_) => (0.0, 0.0),
            };
            let alone = point.rate.1.map(|error| without_common(error, common));
            stated.push(own(common)?);
            all.kelvin.push(point.kelvin);
            all.k.push(own(point.rate.0)?);
            errors.extend(alone.map(own).transpose()?.filter(|error| *error > 0.0));
            all.drifted.push(own(point.rate.0 + moved)?);
        }
        // Weights only where every constant has its error.
        all.stated = Some(stated).filter(|stated| stated.iter().any(|moved| *moved != 0.0));
        all.errors = Some(errors).filter(|errors| errors.len() == all.k.len());
        if let (Some(kelvin_error), Some(errors)) = (plan.temperature_error, &mut all.errors) {
            // An error of a temperature moves its constant by that much of the line's slope.
            let activation = arrhenius(&all.kelvin, &all.k, Some(errors))?
                .activation_energy
                .value;
            for ((error, k), kelvin) in errors.iter_mut().zip(&all.k).zip(&all.kelvin) {
                *error = error.hypot(k * activation / (GAS_CONSTANT * kelvin * kelvin) * kelvin_error);
            }
        }
        Ok(all)
    }

    /// The same without one of them.
    fn without(&self, out: usize) -> Self {
        let rest = |values: &[f64]| -> Vec<f64> {
            let others = values.iter().enumerate().filter(|(index, _)| *index != out);
            others.map(|(_, value)| *value).collect()
        };
        Self {
            kelvin: rest(&self.kelvin),
            k: rest(&self.k),
            errors: self.errors.as_deref().map(rest),
            stated: self.stated.as_deref().map(rest),
            drifted: rest(&self.drifted),
            unit: self.unit.clone(),
        }
    }

    fn weights(&self) -> Option<&[f64]> {
        self.errors.as_deref()
    }

    /// The constants with one standard deviation of a stated drift, and their errors, in proportion: in their logarithms, of which the
    /// line is made, to first order, so that each counts as before.
    fn with_stated(&self) -> Option<(Vec<f64>, Option<Vec<f64>>)> {
        let stated = self.stated.as_ref()?;
        let times: Vec<f64> = stated
            .iter()
            .zip(&self.k)
            .map(|(moved, k)| (moved / k).exp())
            .collect();
        let grown = |values: &[f64]| {
            values
                .iter()
                .zip(&times)
                .map(|(value, times)| value * times)
                .collect()
        };
        Some((grown(&self.k), self.errors.as_deref().map(grown)))
    }

    /// How many times as far as their own errors allow the constants lie from the line. A stated drift moves all of them and is no
    /// scatter: it counts by the whole covariance (Sherman and Morrison's formula).
    fn scatter(&self, line: &LinearFit) -> Option<f64> {
        let (Some(sd), Some(errors), Some(stated)) = (line.residual_sd, &self.errors, &self.stated) else {
            return line.residual_sd;
        };
        let (mut along, mut length) = (0.0, 0.0);
        for ((residual, k), (error, moved)) in
            line.residuals.iter().zip(&self.k).zip(errors.iter().zip(stated))
        {
            along += residual * (k / error) * (moved / error);
            length += (moved / error).powi(2);
        }
        let freedom = line.degrees_of_freedom as f64;
        let square = sd * sd * freedom - along * along / (1.0 + length);
        Some((square.max(0.0) / freedom).sqrt())
    }
}

/// The unit in which the constants of a line are compared.
fn common_unit(plan: &TemperaturePlan, first: &Unit, model: &str) -> Result<Unit, Refusal> {
    let unit = |code: &str| Unit::ucum(code).ok().filter(|unit| first.converts_to(unit));
    let no_rate = [Unit::ONE, Unit::ABSORBANCE, Unit::SECOND, Unit::MOLE_PER_LITRE];
    if no_rate.iter().any(|unit| first.converts_to(unit)) {
        return Err(unsuitable(format!(
            "rate constants are needed; `{}` is in {}, which is no unit of one",
            plan.of,
            first.display()
        )));
    }
    match (unit("/s").or_else(|| unit("L/mol/s")), model) {
        (Some(unit), _) => Ok(unit),
        (None, "eyring") => Err(unsuitable(format!(
            "the Eyring equation needs a rate constant in 1/s or L/(mol s); this one is in {}",
            first.display()
        ))),
        (None, _) => Ok(first.clone()),
    }
}

/// A line through the constants.
struct FoundLine {
    line: LinearFit,
    straightness: Option<f64>,
    y_title: String,
}

/// Why a quantity that depends on the unit of the constants is not given.
const PER_ABSORBANCE: &str = "the rate constants are per unit of absorbance, and not per concentration: fit with --concentration, \
                              the absorption coefficient and the path length first";

/// What is done to the errors of a line.
#[derive(Clone, Copy)]
struct Widening {
    /// How many times they are stretched.
    times: f64,
    /// Whether a stated drift is in them.
    stated: bool,
}

impl Widening {
    /// Constants that lie on the line by chance are no surer than their own errors say.
    fn of(line: &LinearFit, constants: &Constants) -> Self {
        let sd = line
            .residual_sd
            .filter(|sd| constants.errors.is_some() && *sd > 0.0);
        let scatter = constants.scatter(line).unwrap_or(1.0).max(1.0);
        Self {
            times: sd.map_or(1.0, |sd| scatter / sd),
            stated: constants.stated.is_some(),
        }
    }
}

/// A quantity of a line as a parameter. `drifted`: the same of a line through constants with a stated drift; what it differs by is
/// common to all constants and does not average out.
fn parameter(
    name: &str,
    (quantity, drifted): (&DerivedQuantity, Option<&DerivedQuantity>),
    code: &str,
    wider: Widening,
    outcome: &mut Outcome,
) {
    let moved = drifted.map_or(0.0, |drifted| drifted.value - quantity.value);
    if wider.stated {
        outcome.statistics.insert(format!("{STATED_DRIFT}{name}"), moved);
    }
    let end = |end: Option<f64>| {
        end.map(|end| {
            let half = wider.times * (end - quantity.value);
            quantity.value + half.signum() * half.hypot(NORMAL_95 * moved)
        })
    };
    let own = Parameter {
        name: name.into(),
        value: Some(quantity.value),
        unit: Unit::ucum(code).ok(),
        standard_error: Some((wider.times * quantity.standard_error).hypot(moved)),
        intervals: vec![Interval {
            level: 0.95,
            low: end(quantity.interval.lower),
            high: end(quantity.interval.upper),
            kind: "t".into(),
            ..Interval::default()
        }],
        reason: None,
    };
    outcome.parameters.push(own);
}

/// A quantity that cannot be given.
fn not_given(name: &str, unit: Option<Unit>, reason: &str) -> Parameter {
    Parameter {
        name: name.into(),
        value: None,
        unit,
        standard_error: None,
        intervals: Vec::new(),
        reason: Some(reason.to_owned()),
    }
}

/// The frequency factor from its logarithm; `A` alone is an amplitude elsewhere. Its error is one of proportion, so that the interval
/// of the logarithm is turned and no standard error is given.
fn factor(logarithm: &Parameter, unit: &Unit) -> Parameter {
    let turned = |value: Option<f64>| {
        value
            .map(f64::exp)
            .filter(|value| value.is_finite() && *value > 0.0)
    };
    let value = turned(logarithm.value);
    let mut own = not_given(
        "frequency factor",
        Some(unit.clone()),
        "it lies beyond the numbers that a computer holds; ln A says it",
    );
    if value.is_some() {
        let intervals = logarithm.intervals.iter().map(|interval| Interval {
            low: turned(interval.low),
            high: turned(interval.high),
            ..interval.clone()
        });
        own = Parameter {
            value,
            intervals: intervals.collect(),
            reason: None,
            ..own
        };
    }
    own
}

fn arrhenius_line(
    constants: &Constants,
    per_absorbance: bool,
    outcome: &mut Outcome,
) -> Result<FoundLine, Refusal> {
    let found = arrhenius(&constants.kelvin, &constants.k, constants.weights())?;
    let wider = Widening::of(&found.line, constants);
    let drifted = match constants.with_stated() {
        None => None,
        Some((k, errors)) => Some(arrhenius(&constants.kelvin, &k, errors.as_deref())?),
    };
    let drifted = drifted.as_ref();
    let energy = (
        &found.activation_energy,
        drifted.map(|own| &own.activation_energy),
    );
    parameter("Ea", energy, "J/mol", wider, outcome);
    if per_absorbance {
        outcome
            .parameters
            .push(not_given("ln A", Some(Unit::ONE), PER_ABSORBANCE));
    } else {
        let logarithm = (&found.ln_factor, drifted.map(|own| &own.ln_factor));
        parameter("ln A", logarithm, "1", wider, outcome);
        let turned = outcome.parameter("ln A").map(|own| factor(own, &constants.unit));
        outcome.parameters.extend(turned);
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "ln A is the logarithm of the frequency factor A in {}; it is extrapolated to an infinite temperature",
                constants.unit.display()
            ),
        ));
    }
    Ok(FoundLine {
        line: found.line,
        straightness: found.straightness,
        y_title: format!("ln(k / {})", constants.unit.display()),
    })
}

fn eyring_line(
    constants: &Constants,
    per_absorbance: bool,
    outcome: &mut Outcome,
) -> Result<FoundLine, Refusal> {
    let found = eyring(&constants.kelvin, &constants.k, constants.weights())?;
    let wider = Widening::of(&found.line, constants);
    let drifted = match constants.with_stated() {
        None => None,
        Some((k, errors)) => Some(eyring(&constants.kelvin, &k, errors.as_deref())?),
    };
    let drifted = drifted.as_ref();
    let enthalpy = (&found.enthalpy, drifted.map(|own| &own.enthalpy));
    parameter("activation enthalpy", enthalpy, "J/mol", wider, outcome);
    if per_absorbance {
        for (name, code) in [
            ("activation entropy", "J/mol/K"),
            ("activation Gibbs energy", "J/mol"),
        ] {
            outcome
                .parameters
                .push(not_given(name, Unit::ucum(code).ok(), PER_ABSORBANCE));
        }
        outcome.remarks.push(Diagnostic::warning(
            code::UNIT_PER_ABSORBANCE,
            "the rate constants are per unit of absorbance and time: the activation enthalpy (and Ea) does not depend on that, \
             the activation entropy, the Gibbs energy and ln A do, and are not given",
        ));
    } else {
        let entropy = (&found.entropy, drifted.map(|own| &own.entropy));
        parameter("activation entropy", entropy, "J/mol/K", wider, outcome);
        let energy = (&found.gibbs_energy, drifted.map(|own| &own.gibbs_energy));
        parameter("activation Gibbs energy", energy, "J/mol", wider, outcome);
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "the Gibbs energy is at {} K; transmission coefficient one, standard state 1 mol/L",
                found.temperature
            ),
        ));
    }
    Ok(FoundLine {
        line: found.line,
        straightness: found.straightness,
        y_title: format!("ln(k T⁻¹ / ({} K⁻¹))", constants.unit.display()),
    })
}

/// The line of `model` through the constants; its numbers stand in the outcome.
pub(super) fn fitted(
    plan: &TemperaturePlan,
    points: &[AtTemperature],
    model: &str,
    outcome: &mut Outcome,
) -> Result<PlotData, Refusal> {
    let constants = Constants::of(plan, points, model)?;
    let per_absorbance = points
        .iter()
        .any(|point| point.rate.2.code().contains(ABSORBANCE));
    let found = if model == "arrhenius" {
        arrhenius_line(&constants, per_absorbance, outcome)?
    } else {
        eyring_line(&constants, per_absorbance, outcome)?
    };
    say_of_points(points, outcome);
    say_of_stated(&constants, outcome);
    say_of_drift(model, &constants, points, outcome)?;
    say_of_temperatures(plan, &constants, outcome);
    say_of_line(&found, &constants, outcome);
    say_who_scatters(model, points, &constants, &found.line, outcome);
    let FoundLine { line, y_title, .. } = found;
    let x: Vec<f64> = constants.kelvin.iter().map(|t| 1000.0 / t).collect();
    let residuals = line.fitted.iter().zip(&line.residuals);
    let y: Vec<f64> = residuals.map(|(fitted, residual)| fitted + residual).collect();
    // Of a logarithm the error is that of the constant in proportion, as it counts in the line.
    let parts = constants.weights().into_iter().flatten().zip(&constants.k);
    let bars = x
        .iter()
        .zip(&y)
        .zip(parts)
        .map(|((x, y), (error, k))| (*x, y - error / k, y + error / k))
        .collect();
    Ok(PlotData {
        curve: None,
        bars,
        x_title: "1000 K / temperature".into(),
        y_title,
        x,
        y,
        used: (0..constants.k.len()).collect(),
        fitted: line.fitted,
        residuals: line.residuals,
        ..PlotData::default()
    })
}

/// A run as people call it in a sentence.
fn short(point: &AtTemperature) -> &str {
    point.run.as_str().get(..8).unwrap_or_default()
}

/// Says which constants may be of the same readings, and what their own results hold against them.
fn say_of_points(points: &[AtTemperature], outcome: &mut Outcome) {
    let same: Vec<&str> = points
        .iter()
        .filter(|point| {
            let equal = |other: &&AtTemperature| other.run != point.run && other.rate == point.rate;
            point.rate.1.is_some() && points.iter().any(|other| equal(&other))
        })
        .map(short)
        .collect();
    if !same.is_empty() {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("same-readings"),
            format!(
                "the constants of {} are equal to the last digit: the same readings may be counted twice",
                same.join(", ")
            ),
        ));
    }
    let doubts = points.iter().map(|point| (short(point), point.doubts.as_slice()));
    outcome
        .remarks
        .extend(counted_all_the_same("constants come from results that", doubts));
}

/// Says how much of the errors a stated drift is.
fn say_of_stated(constants: &Constants, outcome: &mut Outcome) {
    if constants.stated.is_none() {
        return;
    }
    let share = |parameter: &Parameter| {
        let moved = outcome
            .statistics
            .get(&format!("{STATED_DRIFT}{}", parameter.name))?;
        let part = (moved / parameter.standard_error?).powi(2);
        Some(format!("{} {:.0} %", parameter.name, 100.0 * part))
    };
    let words: Vec<String> = outcome.parameters.iter().filter_map(share).collect();
    outcome.remarks.push(Diagnostic::note(
        Code::new("drift-stated"),
        format!(
            "the steady drift that was stated for the courses moves their constants alike and does not average out: it is in the errors \
             above; part of the variance: {}",
            words.join(", ")
        ),
    ));
}

/// Says what a drift common to all courses would do: it does not average out, and the errors of the constants know nothing of it.
fn say_of_drift(
    model: &str,
    constants: &Constants,
    points: &[AtTemperature],
    outcome: &mut Outcome,
) -> Result<(), Refusal> {
    let unknown: Vec<(&str, &str)> = points
        .iter()
        .filter_map(|point| match point.drift {
            DriftEffect::Unknown(why) => Some((short(point), why)),
            _ => None,
        })
        .collect();
    if !unknown.is_empty() {
        let runs: Vec<&str> = unknown.iter().map(|(run, _)| *run).collect();
        let mut why: Vec<&str> = unknown.iter().map(|(_, why)| *why).collect();
        why.sort_unstable();
        why.dedup();
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            format!(
                "what a drift of the signal would do is not known of {}, so the errors are valid only if nothing drifts ({})",
                runs.join(", "),
                why.join("; ")
            ),
        ));
    }
    let Constants {
        kelvin, k, drifted, ..
    } = constants;
    // Beyond half of a constant the course and a drift look the same, and first-order shifts say nothing.
    if drifted
        .iter()
        .zip(k)
        .any(|(drifted, k)| (drifted - k).abs() > 0.5 * k.abs())
    {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            "the errors are valid only if nothing drifts: a drift of the signal would look the same as some of these courses",
        ));
        return Ok(());
    }
    let values: Vec<f64> = if model == "arrhenius" {
        let found = arrhenius(kelvin, drifted, constants.weights())?;
        vec![found.activation_energy.value, found.ln_factor.value]
    } else {
        let found = eyring(kelvin, drifted, constants.weights())?;
        vec![
            found.enthalpy.value,
            found.entropy.value,
            found.gibbs_energy.value,
        ]
    };
    let mut words = Vec::new();
    for (parameter, value) in outcome.parameters.iter().zip(values) {
        let Some(moved) = parameter.value.map(|own| value - own) else {
            continue;
        };
        outcome
            .statistics
            .insert(format!("{DRIFT_MOVES}{}", parameter.name), moved);
        let error = parameter.standard_error.unwrap_or(0.0);
        if 0.5 * moved.abs() > error {
            let unit = parameter.unit.as_ref().map(Unit::display).unwrap_or_default();
            let text = format!("{} by {} {unit}", parameter.name, two(moved.abs()));
            words.push(text.trim_end().to_owned());
        }
    }
    if !words.is_empty() {
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-not-excluded"),
            format!(
                "the errors are valid only if nothing drifts: a drift of the signal that is common to the courses does not average out, \
                 and one that cannot be seen in any of them would change {}; a model with +drift allows for one",
                words.join(", ")
            ),
        ));
    }
    Ok(())
}

/// Says what the errors of the temperatures do.
fn say_of_temperatures(plan: &TemperaturePlan, constants: &Constants, outcome: &mut Outcome) {
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        match plan.temperature_error {
            None => "the errors of the temperatures are not included; --temperature-error 0.1K includes them".to_owned(),
            Some(_) if constants.errors.is_none() => {
                "not every constant has an error of its own: the scatter around the line stands for all errors, and that of the \
                 temperatures was not used"
                    .to_owned()
            }
            Some(kelvin) => format!(
                "a standard error of {kelvin} K of each temperature is included, as independent from run to run; one that is common to \
                 all of them is not"
            ),
        },
    ));
}

/// Names the constant without which the line fits far better, where the constants scatter: it is looked at first.
///
/// Each is left out in turn. Twice and half are choices: below, the scatter is of all constants and no one's.
fn say_who_scatters(
    model: &str,
    points: &[AtTemperature],
    constants: &Constants,
    line: &LinearFit,
    outcome: &mut Outcome,
) {
    let weighted = constants.errors.is_some();
    let Some(all) = constants.scatter(line).filter(|sd| !weighted || *sd > 2.0) else {
        return;
    };
    // With fewer than six, one of them leaves too little scatter behind by chance.
    if points.len() < 6 {
        return;
    }
    let without = |out: usize| {
        let rest = constants.without(out);
        let line = if model == "arrhenius" {
            arrhenius(&rest.kelvin, &rest.k, rest.weights()).ok()?.line
        } else {
            eyring(&rest.kelvin, &rest.k, rest.weights()).ok()?.line
        };
        Some((out, rest.scatter(&line)?))
    };
    let best = (0..points.len())
        .filter_map(without)
        .min_by(|one, other| one.1.total_cmp(&other.1));
    let Some((out, rest)) = best.filter(|(_, rest)| *rest < all / 2.0) else {
        return;
    };
    let point = &points[out];
    let celsius = Unit::KELVIN
        .convert(point.kelvin, &Unit::CELSIUS)
        .unwrap_or(f64::NAN);
    let ratio = line
        .residuals
        .get(out)
        .map_or(f64::NAN, |residual| residual.exp());
    let far = if ratio >= 1.0 {
        format!("{} times above the line", two(ratio))
    } else {
        format!("{} times below the line", two(1.0 / ratio))
    };
    outcome.remarks.push(Diagnostic::warning(
        Code::new("residuals-odd"),
        format!(
            "most of the scatter is of run {} at {:.1} °C, {far}: without it the constants would scatter {} as much; look at its \
             time unit, its temperature and its course",
            short(point),
            celsius,
            two(rest / all)
        ),
    ));
}

/// Says how the line was found, and whether the constants leave it.
fn say_of_line(found: &FoundLine, constants: &Constants, outcome: &mut Outcome) {
    let weighted = constants.errors.is_some();
    outcome.termination = if weighted {
        "straight line, weighted by the errors of the rate constants".into()
    } else {
        "straight line, all points alike".into()
    };
    if let Some(straightness) = found.straightness {
        outcome
            .statistics
            .insert("straightness_probability".into(), straightness);
        if straightness < 0.05 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("residuals-odd"),
                format!("the line is curved (probability {straightness:.3} of so much by chance): one activation energy may not do"),
            ));
        }
    }
    outcome
        .statistics
        .insert("points".into(), constants.k.len() as f64);
    if let Some(sd) = constants.scatter(&found.line) {
        if weighted && sd > 2.0 {
            outcome.remarks.push(Diagnostic::warning(
                Code::new("residuals-odd"),
                format!(
                    "the rate constants scatter {sd:.1} times as far as their own errors allow: the model behind them, or the \
                     temperatures, may not be right; the errors given take the scatter into account"
                ),
            ));
        }
        outcome
            .statistics
            .insert("residual_standard_deviation".into(), sd);
    }
}
