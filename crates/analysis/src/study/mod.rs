//! From a run to its results: traces and fields in, [`Outcome`] records out.
//!
//! The other modules of this crate know columns of numbers. This one knows where in a run they stand, which unit each
//! number then has, and how to tell all of it in one record that can be found again and redone. A *plan* is what a
//! person asked for; it is kept whole in the outcome's `settings`.

mod again;
mod bands;
mod check;
mod error;
mod fit;
mod ordinate;
mod peaks;
mod plan;
mod process;
mod quantify;
mod rates;
mod recorded;
mod replicates;
mod reported;
mod scans;
mod spectrum;
mod temperature;

pub use again::{RedoneResult, RunLookup, Work, again, comes_out_alike};
pub use check::{CheckPlan, check_run};
pub use error::StudyError;
pub use fit::{
    DRIFT_MOVES, LawRanking, ModelCard, NamedRun, STATED_DRIFT, StatedDrift, Together, compare_together,
    compare_trace, fit_run, fit_run_for, fit_together,
};
pub use peaks::{PeaksPlan, peaks_run};
pub use plan::{AxisSpan, FitPlan, ParameterPlan, WeightPlan};
pub use process::{ProcessPlan, ProcessedCurve, average_runs, process_run};
pub use quantify::{
    LineForm, QuantifyPlan, ReferenceSpectrum, Standard, Standards, Way, beside_standards, quantify_run,
    standards_of,
};
pub use rates::{
    AssayPlan, RatePlan, RatePoint, RateWeights, RunRates, SeriesFit, SeriesPlan, WhichRate, fit_series,
    rates_run,
};
pub use replicates::{DriftEffect, Pooled, of_days, pool, pool_with_common};
pub use reported::{ReportedCheck, reported, reports_of};
pub use scans::{Differences, ScanFound, ScanTask, Series, scan_differences, scan_run};
pub use spectrum::{References, path_of, reference_of, spectrum_of};
pub use temperature::{AtTemperature, RunConstants, TemperaturePlan, rate_constants, temperature_series};

use curvary_record::{
    Code, Column, Diagnostic, Fields, Origin, Outcome, Parameter, Quantity, Run, Trace, Unit, Value,
};

use crate::distribution::normal_quantile;
use crate::fit::Along;
use crate::models::grid::{even, geometric, sampled};
use crate::refusal::Refusal;
use crate::wording::Six;

/// What computed an outcome: the program and its version.
pub const BY: &str = concat!("curvary ", env!("CARGO_PKG_VERSION"));

/// Absorbance above which a reading is not trusted unless a person sets another limit: of the light that arrives there,
/// one part in a thousand, stray light is no longer a small share in an ordinary instrument. Common practice, not a
/// standard; every point left out is told.
pub const TRUSTED_ABSORBANCE: f64 = 3.0;

/// What a computation drew upon and what it found, point by point: enough for a picture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlotData {
    /// What runs along x, with its unit.
    pub x_title: String,
    /// What was measured, with its unit.
    pub y_title: String,
    /// Every point of the trace.
    pub x: Vec<f64>,
    /// Every measured value.
    pub y: Vec<f64>,
    /// Positions of the points used.
    pub used: Vec<usize>,
    /// Fitted values of the points used.
    pub fitted: Vec<f64>,
    /// Measured less fitted, of the points used.
    pub residuals: Vec<f64>,
    /// The fitted curve between the points; empty where it cannot be drawn over one axis. Without it the fitted values
    /// may be joined by straight lines.
    pub curve: Option<Vec<(f64, f64)>>,
    /// Whether x is of doses, which a picture sets on a logarithmic axis where they span decades.
    pub doses: bool,
    /// The same curve with its errors, where they were asked for and are known.
    pub band: Vec<Along>,
    /// The level of the intervals of the band.
    pub band_level: Option<f64>,
    /// The points used with the errors of the curve there, where they were asked for and are known.
    pub along: Vec<Along>,
    /// The curve at places that were asked for.
    pub predicted: Vec<Along>,
    /// Errors of points: x, and y less and more one standard error.
    pub bars: Vec<(f64, f64, f64)>,
    /// The label of the trace that holds these errors, where they are given with the points.
    pub bars_label: Option<String>,
    /// Points that belong to one level of a second variable, such as an inhibitor's concentration, each with its curve.
    pub levels: Vec<Level>,
    /// Places with a name, such as an unknown on a line.
    pub marks: Vec<(f64, f64, String)>,
    /// The standards of a line, read off it again.
    pub recovered: Vec<CheckedStandard>,
}

/// The points of one level of a second variable, with the curve through them.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// The level with its unit, for people.
    pub name: String,
    /// Positions of its points among those used.
    pub points: Vec<usize>,
    /// The law at this level.
    pub curve: Vec<(f64, f64)>,
}

/// A value as people write it: what a conversion left in the last digits is rounded off.
fn shortest(value: f64) -> f64 {
    format!("{value:.9e}").parse().unwrap_or(value)
}

/// Curves of a law of two variables, one for each level of the second.
fn levels_of(
    law: &crate::models::law::Law,
    parameters: &[f64],
    x: &[f64],
    level: &[f64],
    unit: &Unit,
) -> Vec<Level> {
    let mut values: Vec<f64> = level.to_vec();
    values.sort_by(f64::total_cmp);
    values.dedup();
    let (low, high) = x
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(*x), high.max(*x))
        });
    // More levels than marks and dashes are told apart would be no picture.
    if law.variables.len() != 2 || values.len() > 14 || low >= high {
        return Vec::new();
    }
    let from = if law.is_of_rates() && low >= 0.0 { 0.0 } else { low };
    values
        .into_iter()
        .map(|value| {
            let curve = sampled(even(from, high, STEPS), |grid| {
                let mut y = vec![0.0; grid.len()];
                crate::models::Model::evaluate(law, &[grid, &vec![value; grid.len()]], parameters, &mut y);
                y
            });
            Level {
                name: format!("{} = {} {}", law.variables[1], shortest(value), unit.display())
                    .trim_end()
                    .to_owned(),
                points: (0..level.len()).filter(|i| level[*i] == value).collect(),
                curve,
            }
        })
        .collect()
}

/// A standard of a calibration line, read off the line as if it were an unknown.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckedStandard {
    /// Its concentration.
    pub given: f64,
    /// Its absorbance.
    pub absorbance: f64,
    /// The concentration by the line; none where the line gives none.
    pub found: Option<f64>,
    /// Found over given, in percent; none for a standard without any of the substance.
    pub percent: Option<f64>,
}

/// What is wanted of a fit beside its record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wanted {
    /// The errors of the curve, for pictures and tables.
    pub band: bool,
    /// Places, in the unit of the running axis, at which the curve is asked for.
    pub places: Vec<f64>,
}

/// The stretch of the axis over which the curve of a law is drawn: from zero, and beyond the last point where the law levels off
/// there, so that a picture shows how far its plateau is extrapolated. `x` where the law is not of rates over concentrations.
pub(crate) fn stretch_of_law(law: &crate::models::law::Law, fit: &crate::fit::Fit, x: &[f64]) -> Vec<f64> {
    /// Times the last point, at most.
    const BEYOND: f64 = 2.5;
    if !law.is_of_rates() || law.variables.len() != 1 || x.iter().any(|x| *x < 0.0) {
        return x.to_vec();
    }
    let last = x.iter().copied().fold(0.0, f64::max);
    let half = ["Km", "K"].iter().find_map(|name| {
        let own = fit.parameter(name)?;
        (own.standing == crate::fit::Determination::Determined).then_some(own.value)
    });
    // At three times its half-saturation a hyperbola has three quarters of its height.
    let end = half.map_or(last, |half| (3.0 * half).clamp(last, BEYOND * last));
    vec![0.0, end]
}

/// A model's curve over the range of `x`; empty for a model of several variables.
pub(crate) fn curve_of(model: &dyn crate::models::Model, parameters: &[f64], x: &[f64]) -> Vec<(f64, f64)> {
    let (low, high) = x
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| {
            (low.min(*x), high.max(*x))
        });
    if model.variables() != 1 || low >= high {
        return Vec::new();
    }
    let mut places = even(low, high, STEPS);
    // Over decades the smaller ones have places of their own.
    let smallest = x
        .iter()
        .copied()
        .filter(|x| *x > 0.0)
        .fold(f64::INFINITY, f64::min);
    if low >= 0.0 && high > 30.0 * smallest {
        places.extend(geometric(smallest, high, 4 * STEPS as usize));
        places.sort_by(f64::total_cmp);
        places.dedup();
    }
    sampled(places, |grid| {
        let mut values = vec![0.0; grid.len()];
        model.evaluate(&[grid], parameters, &mut values);
        values
    })
}

/// Places of a curve along an axis before those where it bends.
pub(crate) const STEPS: u32 = 40;

/// What one trace of a run gave.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceResult {
    /// The trace (from 0), where the result is of one trace.
    pub trace: Option<u32>,
    /// What the trace is called.
    pub label: String,
    /// The record; one without parameters says in `termination` why.
    pub outcome: curvary_record::Outcome,
    /// Points and curve.
    pub drawn: PlotData,
}

impl TraceResult {
    /// Whether there is a number.
    pub fn is_result(&self) -> bool {
        self.outcome
            .parameters
            .iter()
            .any(|parameter| parameter.value.is_some())
    }

    /// Whether the numbers say anything: a constant does not describe the points as well, and at least one parameter is
    /// determined.
    pub fn is_determined(&self) -> bool {
        let numbers = || {
            self.outcome
                .parameters
                .iter()
                .filter(|parameter| parameter.value.is_some())
        };
        let flat = self
            .outcome
            .remarks
            .iter()
            .any(|remark| remark.code == curvary_record::code::NO_CHANGE);
        !flat && numbers().any(|parameter| parameter.reason.is_none())
    }
}

/// The unit of a parameter from its unit in terms of the axes, such as `1/x` or `y/x`; none where no code can say it.
///
/// Absorbance, counts and fractions have no dimension and leave no trace in the unit, but for rates of absorbance, which are in `{AU}/s`.
pub(crate) fn unit_in_terms(of: &str, x: &Unit, y: &Unit, level: &Unit) -> Option<Unit> {
    let plain = |unit: &Unit| matches!(unit.code(), "1" | "{AU}" | "%" | "[pH]");
    // A rate of absorbance is no rate constant, and its unit says so.
    if of == "y/x" && *y == Unit::ABSORBANCE && x.converts_to(&Unit::SECOND) {
        return Unit::ucum(&format!("{}/{}", y.code(), x.code())).ok();
    }
    let (above, below) = of.split_once('/').unwrap_or((of, ""));
    let mut pieces: Vec<(char, String)> = Vec::new();
    let mut put = |text: &str, sign: char| -> Option<()> {
        for part in text.trim().trim_matches(['(', ')', ' ']).split([' ', '.']) {
            let unit = match part {
                "" | "1" => continue,
                "x" => x,
                "y" => y,
                "I" => level,
                _ => return None,
            };
            // A constant per unit of absorbance is none per concentration, and its unit says so.
            if part == "y" && sign == '/' && *unit == Unit::ABSORBANCE && !above.contains('y') {
                pieces.push(('/', unit.code().to_owned()));
                continue;
            }
            if plain(unit) {
                continue;
            }
            // `mol/L` below the line is `L/mol`: divide by the first and multiply by what it is divided by.
            let mut parts = unit.code().split('/');
            let first = parts.next().unwrap_or_default();
            let flip = |sign: char| if sign == '.' { '/' } else { '.' };
            for (piece, sign) in std::iter::once((first, sign)).chain(parts.map(|piece| (piece, flip(sign))))
            {
                if piece.is_empty() {
                    continue;
                }
                // What stands on both sides of the line falls away.
                match pieces
                    .iter()
                    .position(|(other, known)| known == piece && *other != sign)
                {
                    Some(at) => {
                        pieces.remove(at);
                    }
                    None => pieces.push((sign, piece.to_owned())),
                }
            }
        }
        Some(())
    };
    if !matches!(of, "1" | "") && above.trim().is_empty() && below.is_empty() {
        return None;
    }
    put(above, '.')?;
    put(below, '/')?;
    let code: String = pieces
        .iter()
        .map(|(sign, piece)| format!("{sign}{piece}"))
        .collect();
    if code.is_empty() {
        return Some(if of == "y" { y.clone() } else { Unit::ONE });
    }
    // Codes begin with what stands above the line.
    let text = match code.strip_prefix('.') {
        Some(rest) => rest.to_owned(),
        None => match code.split_once('.') {
            Some((front, behind)) => format!("{behind}{front}"),
            None => code,
        },
    };
    Unit::ucum(&text).ok()
}

/// A column's title with its unit, for axes and tables.
pub fn title_of(column: &Column) -> String {
    title(column)
}

pub(crate) fn title(column: &Column) -> String {
    let name = match (&column.name, column.quantity.as_str()) {
        (Some(name), "unknown") => name.clone(),
        // The name is the unit, too.
        (_, "ph") => return "pH".to_owned(),
        (_, quantity) => quantity.replace('-', " "),
    };
    let unit = column.unit.display();
    if unit.is_empty() {
        name
    } else {
        format!("{name} / {unit}")
    }
}

/// What a trace is called among its sisters.
pub fn label_of(trace: &Trace) -> String {
    if let Some(label) = trace.label.as_deref().filter(|label| !label.is_empty()) {
        return label.to_owned();
    }
    let held: Vec<String> = trace
        .held
        .iter()
        .map(|held| {
            format!("{} {}", held.value, held.unit.display())
                .trim_end()
                .to_owned()
        })
        .collect();
    held.join(", ")
}

/// The same for a legend: a bare number that the trace holds, such as the time of a scan, has its unit.
pub fn legend_of(trace: &Trace) -> String {
    let label = label_of(trace);
    let number = label.parse::<f64>().ok();
    let held = trace.held.iter().find(|held| Some(held.value) == number);
    let unit = held.map(|held| held.unit.display()).unwrap_or_default();
    format!("{label} {unit}").trim_end().to_owned()
}

/// The strongest claim of a field, of the trace first and then of the run, in `unit`.
pub(crate) fn stated(run: &Run, trace: Option<&Trace>, key: &str, unit: &Unit) -> Option<f64> {
    let held = trace.and_then(|trace| trace.held.iter().find(|held| held.quantity.as_str() == key));
    if let Some(held) = held {
        return held.unit.convert(held.value, unit).ok();
    }
    let in_fields = |fields: &Fields| {
        let claim = fields.get(key)?;
        match (&claim.value, &claim.unit) {
            (Value::Number(number), Some(own)) => own.convert(*number, unit).ok(),
            (Value::Number(number), None) => Some(*number),
            _ => None,
        }
    };
    trace
        .and_then(|trace| in_fields(&trace.fields))
        .or_else(|| in_fields(&run.fields))
}

/// The substrate (or other) concentration that a trace was taken at, with the unit it was stated in; none, too, where several are stated
/// and nothing tells them apart.
pub(crate) fn concentration_of(run: &Run, trace: &Trace, keys: &[&str]) -> Option<(f64, Unit)> {
    stated_concentration(run, trace, keys).ok().flatten()
}

/// The same by the first of these keys that says anything. What a person says counts before what stands in the head of a trace, and that
/// before what the file says of all. A note about a run of traces that hold different ones is about none of these.
///
/// # Errors
/// The concentrations that are stated, where several are and nothing tells them apart: neither is the one that is asked for.
pub fn stated_concentration(
    run: &Run,
    trace: &Trace,
    keys: &[&str],
) -> Result<Option<(f64, Unit)>, SeveralConcentrations> {
    for key in keys {
        let held = |trace: &Trace| -> Vec<(f64, Unit)> {
            let mut all: Vec<(f64, Unit)> = Vec::new();
            let held = trace.held.iter().filter(|held| held.quantity.as_str() == *key);
            for own in held.map(|held| (held.value, held.unit.clone())) {
                if !all.iter().any(|known| is_same(known, &own)) {
                    all.push(own);
                }
            }
            all
        };
        let own = held(trace);
        let alike = run.traces.iter().map(held).all(|other| {
            other.is_empty()
                || other.len() == own.len() && other.iter().zip(&own).all(|(one, other)| is_same(one, other))
        });
        let claims = [(&trace.fields, true), (&run.fields, own.is_empty() || alike)];
        let mut claims = claims.iter().filter_map(|(fields, is_of_trace)| {
            let claim = fields.get(key)?;
            match (&claim.value, &claim.unit) {
                (Value::Number(number), Some(unit)) => {
                    let noted = *is_of_trace && matches!(claim.origin, Origin::Note { .. });
                    Some(((*number, unit.clone()), noted))
                }
                _ => None,
            }
        });
        let noted = claims.clone().find(|(_, noted)| *noted);
        match (noted, own.as_slice()) {
            (Some((value, _)), _) => return Ok(Some(value)),
            (None, [one]) => return Ok(Some(one.clone())),
            (None, []) => {
                if let Some((value, _)) = claims.next() {
                    return Ok(Some(value));
                }
            }
            (None, _) => return Err(SeveralConcentrations(own)),
        }
    }
    Ok(None)
}

/// Concentrations that one trace holds, and nothing says which of them is meant. They are shown as `0.1 mmol/L and 10 µmol/L`.
#[derive(Clone, Debug, PartialEq)]
pub struct SeveralConcentrations(Vec<(f64, Unit)>);

impl std::fmt::Display for SeveralConcentrations {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (place, (value, unit)) in self.0.iter().enumerate() {
            let and = if place == 0 { "" } else { " and " };
            write!(f, "{and}{value} {}", unit.display())?;
        }
        Ok(())
    }
}

impl std::error::Error for SeveralConcentrations {}

/// Whether two values are one in different words: to far below what anybody states.
fn is_same((value, unit): &(f64, Unit), (other, into): &(f64, Unit)) -> bool {
    unit.convert(*value, into)
        .is_ok_and(|value| (value - other).abs() <= 1e-9 * other.abs())
}

/// The concentration of what is held at one level for each trace where the substrate runs along x: that of an inhibitor, or one that is
/// named by nothing nearer.
pub(crate) fn level_of(run: &Run, trace: &Trace) -> Option<(f64, Unit)> {
    concentration_of(run, trace, &["inhibitor-concentration", "concentration"])
}

/// The head of a column that holds what each value has of one error that is common to all of them. `curvary results --over` writes
/// it, and a fit knows such a column by it.
pub const SD_IN_COMMON: &str = "SD in common";

/// Labels that stand over several traces of a run get the trace's number, so that results can be told apart.
pub(crate) fn tell_apart<'a>(found: impl IntoIterator<Item = &'a mut TraceResult>) {
    let found: Vec<&mut TraceResult> = found.into_iter().collect();
    let labels: Vec<String> = found.iter().map(|found| found.label.clone()).collect();
    for found in found {
        if let Some(number) = found.trace
            && !found.label.is_empty()
            && labels.iter().filter(|label| **label == found.label).count() > 1
        {
            found.label = format!("{} (trace {})", found.label, number + 1);
        }
    }
}

/// A refusal as the outcome tells it.
pub(crate) fn told(refusal: &Refusal) -> String {
    StudyError::from(refusal.clone()).told()
}

/// Whether a column holds what is called absorbance.
pub(crate) fn is_absorbance(column: &Column) -> bool {
    column.quantity == Quantity::ABSORBANCE
}

/// Takes the relative standard error of a factor into the errors of what was multiplied by it: independent errors, to first order.
fn allow_for_factor(parameter: &mut Parameter, relative: f64) {
    let Some(value) = parameter.value else { return };
    let own = value.abs() * relative.abs();
    if let Some(error) = &mut parameter.standard_error {
        *error = error.hypot(own);
    }
    for interval in &mut parameter.intervals {
        let own = own * normal_quantile(0.5 + interval.level / 2.0);
        if let Some(low) = &mut interval.low {
            *low = value - (value - *low).hypot(own);
        }
        if let Some(high) = &mut interval.high {
            *high = value + (*high - value).hypot(own);
        }
    }
}

/// The power with which a quantity grows with the scale of y, by its unit in terms of the axes.
fn power_of_y(unit: &str) -> i32 {
    match unit {
        "y" | "y/x" | "y/E" | "y/(E x)" => 1,
        "1/(y x)" => -1,
        _ => 0,
    }
}

/// Takes the relative error of the scale of y (absorption coefficient times path length) into the errors of what grows with it, and
/// says so. `units` are those of the parameters in terms of the axes, in their order.
fn allow_for_scale<'a>(outcome: &mut Outcome, units: impl Iterator<Item = &'a str>, relative: Option<f64>) {
    let Some(relative) = relative.filter(|relative| *relative > 0.0) else {
        return;
    };
    let mut names = Vec::new();
    for (parameter, unit) in outcome.parameters.iter_mut().zip(units) {
        let power = power_of_y(unit);
        if power != 0 {
            allow_for_factor(parameter, relative * f64::from(power));
            names.push(parameter.name.clone());
        }
    }
    if !names.is_empty() {
        outcome.remarks.push(Diagnostic::note(
            Code::new("converted"),
            format!(
                "the error of absorption coefficient and path length, {} % together, is in the errors of {}",
                Six(100.0 * relative),
                names.join(", ")
            ),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_follow_from_the_axes() {
        let unit = |code: &str| Unit::ucum(code).expect("a code");
        for (of, x, y, wanted) in [
            ("1/x", "s", "{AU}", "/s"),
            ("1/x", "min", "1", "/min"),
            ("y/x", "s", "{AU}", "/s"),
            ("y/x", "s", "mol/L", "mol/L/s"),
            ("1/(y x)", "s", "{AU}", "/s"),
            ("1/(y x)", "s", "mol/L", "L/mol/s"),
            ("x", "mmol/L", "{AU}", "mmol/L"),
            ("y", "s", "{AU}", "{AU}"),
            ("y/x", "mmol/L", "umol/L/min", "umol/mmol/min"),
            ("1", "s", "{AU}", "1"),
            ("I", "s", "1", "umol/L"),
        ] {
            let found = unit_in_terms(of, &unit(x), &unit(y), &unit("umol/L"));
            assert!(
                found
                    .as_ref()
                    .is_some_and(|found| found.converts_to(&unit(wanted))
                        && found.convert(1.0, &unit(wanted)) == Ok(1.0)),
                "{of} of x {x} and y {y}: {found:?}, expected {wanted}"
            );
        }
        let code = |of: &str, x: &str, y: &str| {
            unit_in_terms(of, &unit(x), &unit(y), &Unit::ONE).map(|unit| unit.code().to_owned())
        };
        assert_eq!(code("y/x", "s", "{AU}").as_deref(), Some("{AU}/s"));
        assert_eq!(code("1/x", "s", "{AU}").as_deref(), Some("/s"));
        assert_eq!(code("y/x", "mg/L", "{AU}").as_deref(), Some("L/mg"));
        assert_eq!(unit_in_terms("furlong", &unit("s"), &unit("1"), &unit("1")), None);
    }
}
