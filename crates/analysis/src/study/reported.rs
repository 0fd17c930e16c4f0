//! Results that an export states about itself: kept as *reported*, with their line, and computed anew.
//!
//! What procedure the writer of the export used is seldom said. The usual ones are tried, all of them are told, and the
//! report counts as reproduced where one of them gives its number to the digits that were printed.

use crate::study::StudyError;
use std::collections::BTreeMap;

use curvary_record::interpret::{LabelNumber, number_in_label};
use curvary_record::unit::spelled;
use curvary_record::{
    Claim, Code, Diagnostic, Key, Origin, Outcome, OutcomeKind, Parameter, Quantity, Run, Technique, Trace,
    Unit, Value,
};

use super::ordinate::as_absorbance;
use super::plan::FitPlan;
use super::{BY, PlotData, TraceResult, fit_run, label_of};
use crate::courses::{Preparation, RateWindow, initial_rate};
use crate::linear::polynomial;
use crate::wording::Six;

/// What a reported number is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum ReportedQuantity {
    RateConstant,
    HalfLife,
    Slope,
    Determination,
    Km,
    Vmax,
}

/// Words by which exports name their own results, folded to lower case without blanks and marks.
const NAMES: &[(&str, ReportedQuantity)] = &[
    ("k", ReportedQuantity::RateConstant),
    ("k1", ReportedQuantity::RateConstant),
    ("kobs", ReportedQuantity::RateConstant),
    ("kapp", ReportedQuantity::RateConstant),
    ("kfit", ReportedQuantity::RateConstant),
    ("rateconstant", ReportedQuantity::RateConstant),
    ("rateconstantk", ReportedQuantity::RateConstant),
    ("firstorderrateconstant", ReportedQuantity::RateConstant),
    ("geschwindigkeitskonstante", ReportedQuantity::RateConstant),
    ("geschwindigkeitskonstantek", ReportedQuantity::RateConstant),
    ("constantedevitesse", ReportedQuantity::RateConstant),
    ("constantedevelocidad", ReportedQuantity::RateConstant),
    ("t12", ReportedQuantity::HalfLife),
    ("thalf", ReportedQuantity::HalfLife),
    ("halflife", ReportedQuantity::HalfLife),
    ("halflifetime", ReportedQuantity::HalfLife),
    ("halbwertszeit", ReportedQuantity::HalfLife),
    ("halbwertzeit", ReportedQuantity::HalfLife),
    ("tempsdedemireaction", ReportedQuantity::HalfLife),
    ("demivie", ReportedQuantity::HalfLife),
    ("vidamedia", ReportedQuantity::HalfLife),
    ("semivida", ReportedQuantity::HalfLife),
    ("slope", ReportedQuantity::Slope),
    ("rate", ReportedQuantity::Slope),
    ("initialrate", ReportedQuantity::Slope),
    ("reactionrate", ReportedQuantity::Slope),
    ("v0", ReportedQuantity::Slope),
    ("dadt", ReportedQuantity::Slope),
    ("deltaamin", ReportedQuantity::Slope),
    ("damin", ReportedQuantity::Slope),
    ("amin", ReportedQuantity::Slope),
    ("steigung", ReportedQuantity::Slope),
    ("anfangsgeschwindigkeit", ReportedQuantity::Slope),
    ("pente", ReportedQuantity::Slope),
    ("vitesseinitiale", ReportedQuantity::Slope),
    ("pendiente", ReportedQuantity::Slope),
    ("velocidadinicial", ReportedQuantity::Slope),
    ("r2", ReportedQuantity::Determination),
    ("rsquared", ReportedQuantity::Determination),
    ("rsquare", ReportedQuantity::Determination),
    ("r^2", ReportedQuantity::Determination),
    ("coefficientofdetermination", ReportedQuantity::Determination),
    ("bestimmtheitsmass", ReportedQuantity::Determination),
    ("bestimmtheitsmaß", ReportedQuantity::Determination),
    ("coefficientdedetermination", ReportedQuantity::Determination),
    ("coeficientededeterminacion", ReportedQuantity::Determination),
    ("km", ReportedQuantity::Km),
    ("michaelisconstant", ReportedQuantity::Km),
    ("michaeliskonstante", ReportedQuantity::Km),
    ("constantedemichaelis", ReportedQuantity::Km),
    ("vmax", ReportedQuantity::Vmax),
    ("maximumrate", ReportedQuantity::Vmax),
    ("maximalgeschwindigkeit", ReportedQuantity::Vmax),
    ("vitessemaximale", ReportedQuantity::Vmax),
];

impl ReportedQuantity {
    fn named(key: &str) -> Option<Self> {
        // `k (1/s)`, `k [1/s]`: the unit is no part of the name.
        let name = key.split(['(', '[']).next().unwrap_or(key);
        let folded: String = name
            .to_lowercase()
            .chars()
            .filter_map(|c| match c {
                'é' | 'è' | 'ê' => Some('e'),
                'ó' => Some('o'),
                'ñ' => Some('n'),
                '²' => Some('2'),
                'δ' | '∆' => None,
                '½' => Some('h'),
                c if c.is_alphanumeric() => Some(c),
                _ => None,
            })
            .collect();
        if folded == "th" {
            return Some(Self::HalfLife);
        }
        NAMES
            .iter()
            .find(|(known, _)| *known == folded)
            .map(|(_, kind)| *kind)
    }

    fn name(self) -> &'static str {
        match self {
            Self::RateConstant => "k",
            Self::HalfLife => "half-life",
            Self::Slope => "slope",
            Self::Determination => "r-squared",
            Self::Km => "Km",
            Self::Vmax => "Vmax",
        }
    }
}

/// A number that an export reports, and what became of it when computed anew.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportedCheck {
    /// The report as a record of kind `reported`.
    pub reported: TraceResult,
    /// What was computed to compare.
    pub computed: Vec<TraceResult>,
    /// Whether it is reproduced; absent where nothing could be computed.
    pub reproduced: Option<bool>,
    /// The verdict in words, with how far off each procedure is.
    pub verdict: String,
}

/// One number as it was reported.
struct ReportedNumber {
    kind: ReportedQuantity,
    key: String,
    value: f64,
    /// Half a unit of the last digit printed.
    rounding: f64,
    unit: Option<Unit>,
    line: Option<u32>,
    trace: Option<u32>,
    /// Why it may be another number, where how it is written leaves that open.
    doubtful: Option<String>,
}

/// Every result that a run reports about itself, as a record of kind `reported`; nothing is computed.
pub fn reports_of(run: &Run) -> Vec<Outcome> {
    found_in(run)
        .iter()
        .map(|report| {
            let termination = "reported by the export, not computed anew".to_owned();
            record(run, report, report.unit.clone(), termination).identified()
        })
        .collect()
}

/// Every result that a run reports about itself, computed anew where that can be done.
pub fn reported(run: &Run) -> Vec<ReportedCheck> {
    found_in(run).iter().map(|report| check(run, report)).collect()
}

fn found_in(run: &Run) -> Vec<ReportedNumber> {
    let mut all = Vec::new();
    for (key, claims) in run.fields.iter() {
        all.extend(claims.iter().flat_map(|claim| reports(key, claim, None)));
    }
    for (number, trace) in (0..).zip(&run.traces) {
        for (key, claims) in trace.fields.iter() {
            all.extend(claims.iter().flat_map(|claim| reports(key, claim, Some(number))));
        }
    }
    all
}

fn record(run: &Run, report: &ReportedNumber, unit: Option<Unit>, termination: String) -> Outcome {
    Outcome {
        id: String::new(),
        kind: OutcomeKind::Reported,
        runs: vec![run.id.clone()],
        trace: report.trace,
        model: report.key.clone(),
        by: match report.line {
            Some(line) => format!("line {line} of the export; read by {BY}"),
            None => format!("the export; read by {BY}"),
        },
        settings: BTreeMap::new(),
        termination,
        parameters: vec![Parameter {
            name: report.kind.name().into(),
            value: Some(report.value).filter(|_| report.doubtful.is_none()),
            unit,
            standard_error: None,
            intervals: Vec::new(),
            reason: Some(
                report
                    .doubtful
                    .clone()
                    .unwrap_or_else(|| "as the export states it".into()),
            ),
        }],
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: Vec::new(),
    }
}

/// Every result in a claim: under a word of the source's own, or in a sentence (`the rate constant is k = 0.03 1/s, R² = 0.99`).
fn reports(key: &Key, claim: &Claim, trace: Option<u32>) -> Vec<ReportedNumber> {
    let spelling = claim.spelled.as_deref().unwrap_or(key.as_str());
    // Known fields (activity, concentration …) are conditions; only what the source put under its own word, or in a
    // sentence, is a result.
    let sentence = key.as_str() == "comment";
    if key.known().is_some() && !sentence {
        return Vec::new();
    }
    let line = match &claim.origin {
        Origin::Source(place) => Some(place.line).filter(|line| *line > 0),
        _ => None,
    };
    let raw = if claim.raw.is_empty() {
        claim.value.to_string()
    } else {
        claim.raw.clone()
    };
    let whole = if sentence {
        raw
    } else {
        format!("{spelling} = {raw}")
    };
    let mut all = Vec::new();
    for (name, behind) in pairs(&whole) {
        let Some((name, kind)) = named_at_the_end(name) else {
            continue;
        };
        let Some((number, rest)) = leading_number(behind) else {
            continue;
        };
        let in_brackets = |text: &str| {
            spelled(text.trim().trim_matches(['[', ']', '(', ')']))
                .one()
                .cloned()
        };
        // What follows the number, up to the next sign of a sentence, may be its unit.
        let rest = rest.trim_start();
        let end = rest
            .char_indices()
            .find(|(at, c)| {
                matches!(c, ',' | ';')
                    || (*c == '.' && rest[at + 1..].trim_start().len() < rest[at + 1..].len())
            })
            .map_or(rest.len(), |(at, _)| at);
        let unit = in_brackets(rest[..end].trim_end_matches('.'))
            .or_else(|| in_brackets(rest.split_whitespace().next().unwrap_or_default()))
            .or_else(|| in_brackets(name.split_once(['(', '['])?.1))
            .or_else(|| claim.unit.clone().filter(|_| !sentence && all.is_empty()))
            .filter(|unit| *unit != Unit::ONE);
        all.push(ReportedNumber {
            kind,
            key: name.to_owned(),
            doubtful: number
                .doubtful
                .filter(|_| claim.value != Value::Number(number.value)),
            value: number.value,
            rounding: number.rounding,
            unit,
            line,
            trace,
        });
    }
    all
}

/// `name = value` pairs of a text; a value reaches to the next pair.
fn pairs(text: &str) -> Vec<(&str, &str)> {
    let signs: Vec<(usize, char)> = text
        .char_indices()
        .filter(|(_, c)| matches!(c, '=' | ':'))
        .collect();
    let mut all = Vec::new();
    let mut from = 0;
    for (place, (at, sign)) in signs.iter().enumerate() {
        let behind = at + sign.len_utf8();
        let to = signs.get(place + 1).map_or(text.len(), |(at, _)| *at);
        all.push((text[from..*at].trim(), &text[behind..to]));
        from = behind;
    }
    all
}

/// The name of a result that a text ends with: the whole of it, or what stands behind the last sign or word of a sentence.
fn named_at_the_end(text: &str) -> Option<(&str, ReportedQuantity)> {
    if let Some(kind) = ReportedQuantity::named(text) {
        return Some((text, kind));
    }
    let behind_sign = text.rsplit([',', ';']).next().unwrap_or(text).trim();
    let starts = std::iter::once(0).chain(
        behind_sign
            .char_indices()
            .filter(|(_, c)| c.is_whitespace())
            .map(|(at, c)| at + c.len_utf8()),
    );
    starts
        .filter_map(|at| Some((&behind_sign[at..], ReportedQuantity::named(&behind_sign[at..])?)))
        .next()
}

/// A number as it was written.
struct LeadingNumber {
    value: f64,
    /// Half a unit of its last digit.
    rounding: f64,
    /// Why it may be another one.
    doubtful: Option<String>,
}

/// A number at the beginning of a text, and what follows behind an error if there is one.
fn leading_number(text: &str) -> Option<(LeadingNumber, &str)> {
    let text = text.trim();
    let end = text
        .char_indices()
        .find(|(at, c)| {
            let behind = text[at + c.len_utf8()..].chars().next();
            !(c.is_ascii_digit()
                || matches!(c, '.' | ',')
                || (matches!(c, '+' | '-') && (*at == 0 || text[..*at].ends_with(['e', 'E'])))
                || (matches!(c, 'e' | 'E')
                    && behind.is_some_and(|c| c.is_ascii_digit() || matches!(c, '-' | '+'))))
        })
        .map_or(text.len(), |(at, _)| at);
    let (mantissa, _) = text[..end].split_once(['e', 'E']).unwrap_or((&text[..end], ""));
    let doubtful = match number_in_label(mantissa, mantissa.contains('.').then_some(false))? {
        LabelNumber::Sure(_) => None,
        LabelNumber::Doubtful { decimal, thousands } => Some(format!(
            "`{mantissa}` may be {decimal} or {thousands}, and nothing says which"
        )),
    };
    let number = text[..end].replace(',', ".");
    let value: f64 = number.parse().ok().filter(|value: &f64| value.is_finite())?;
    let (digits, power) = match number.find(['e', 'E']) {
        None => (number.as_str(), 0),
        Some(at) => (&number[..at], number[at + 1..].parse::<i32>().ok()?),
    };
    let decimals = digits.split_once('.').map_or(0, |(_, behind)| behind.len());
    let rounding = 0.5 * 10f64.powi(power - i32::try_from(decimals).unwrap_or(0));
    let mut rest = text[end..].trim_start();
    for sign in ["±", "+/-", "+-"] {
        if let Some(behind) = rest.strip_prefix(sign) {
            let behind = behind.trim_start();
            let end = behind
                .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
                .unwrap_or(behind.len());
            rest = behind[end..].trim_start();
        }
    }
    let found = LeadingNumber {
        value,
        rounding,
        doubtful,
    };
    Some((found, rest))
}

/// A value that a procedure gives for the reported quantity, in the unit of the report.
struct ReportCandidate {
    how: String,
    value: f64,
    error: Option<f64>,
}

fn check(run: &Run, report: &ReportedNumber) -> ReportedCheck {
    let mut computed = Vec::new();
    let mut unit = report.unit.clone();
    let mut remarks = Vec::new();
    let candidates = match &report.doubtful {
        Some(why) => Err(StudyError::unsuitable(why.clone())),
        None => candidates(run, report, &mut unit, &mut computed, &mut remarks),
    };
    let shown = |value: f64| match &unit {
        Some(unit) if !unit.display().is_empty() => format!("{value} {}", unit.display()),
        _ => value.to_string(),
    };
    let place = report
        .line
        .map(|line| format!(" (line {line})"))
        .unwrap_or_default();
    let head = format!("`{}` is reported as {}{place}", report.key, shown(report.value));
    let (reproduced, verdict) = match candidates {
        Err(why) => (None, format!("{head}; it was not computed anew: {why}")),
        Ok(list) => {
            let off = |candidate: &ReportCandidate| (candidate.value - report.value).abs();
            let fits = |candidate: &&ReportCandidate| {
                // To the digits that were printed, or one part in a thousand where these are many.
                off(candidate) <= report.rounding * 1.001
                    || report.kind != ReportedQuantity::Determination
                        && off(candidate) <= 1e-3 * report.value.abs()
            };
            let all: Vec<String> = list
                .iter()
                .map(|candidate| {
                    let error = candidate
                        .error
                        .map(|error| format!(" ± {error:.1e}"))
                        .unwrap_or_default();
                    let percent = 100.0 * (candidate.value - report.value) / report.value;
                    let percent = if percent.is_finite() {
                        format!(", {percent:+.2} %")
                    } else {
                        String::new()
                    };
                    format!("{} gives {}{error}{percent}", candidate.how, Six(candidate.value))
                })
                .collect();
            match list.iter().find(fits) {
                Some(found) => (
                    Some(true),
                    format!("{head}; reproduced by {} ({})", found.how, all.join("; ")),
                ),
                None => (Some(false), format!("{head}; not reproduced: {}", all.join("; "))),
            }
        }
    };
    let termination = match reproduced {
        None => "reported, not computed anew",
        Some(true) => "reported, and reproduced",
        Some(false) => "reported, and not reproduced",
    };
    let mut outcome = record(run, report, unit, termination.to_owned());
    outcome
        .settings
        .insert("computed-anew".into(), serde_json::json!(verdict));
    outcome.remarks = remarks;
    ReportedCheck {
        reported: TraceResult {
            trace: report.trace,
            label: String::new(),
            outcome: outcome.identified(),
            drawn: PlotData::default(),
        },
        computed,
        reproduced,
        verdict,
    }
}

fn candidates(
    run: &Run,
    report: &ReportedNumber,
    unit: &mut Option<Unit>,
    computed: &mut Vec<TraceResult>,
    remarks: &mut Vec<Diagnostic>,
) -> Result<Vec<ReportCandidate>, StudyError> {
    if run.question_about_curves().is_some() {
        return Err(StudyError::unsuitable("the run is in question"));
    }
    let trace = match report.trace {
        Some(number) => run.traces.get(number as usize),
        None if run.traces.len() == 1 => run.traces.first(),
        None => {
            return Err(StudyError::unsuitable(format!(
                "the run has {} traces, and the export does not say of which",
                run.traces.len()
            )));
        }
    };
    let trace = trace.ok_or_else(|| StudyError::unsuitable("there is no such trace"))?;
    let mut list = Vec::new();
    match report.kind {
        ReportedQuantity::Km | ReportedQuantity::Vmax => {
            if run.technique != Technique::RATE_SERIES {
                return Err(StudyError::unsuitable("the run is no series of rates"));
            }
            from_fit(
                run,
                report,
                "michaelis-menten",
                report.kind.name(),
                unit,
                computed,
                &mut list,
            );
        }
        _ if trace.x.quantity != Quantity::TIME => {
            return Err(StudyError::unsuitable(format!(
                "the run has no time axis but {}",
                trace.x.quantity
            )));
        }
        ReportedQuantity::RateConstant | ReportedQuantity::HalfLife => {
            for model in ["first-order+offset", "first-order"] {
                from_fit(run, report, model, report.kind.name(), unit, computed, &mut list);
            }
            // The logarithm of a transmittance is no logarithm of an absorbance.
            match as_absorbance(trace) {
                Ok(None) => straight_logarithm(report, trace, unit, &mut list),
                Ok(Some((converted, _))) => straight_logarithm(report, &converted, unit, &mut list),
                Err(_) => {}
            }
        }
        ReportedQuantity::Slope => slopes(report, trace, unit, &mut list)?,
        ReportedQuantity::Determination => {
            for (how, y) in [("a straight line", None), ("a straight line of ln y", Some(()))] {
                let transformed: Option<Vec<f64>> = match y {
                    None => Some(trace.y.values.to_vec()),
                    Some(()) if trace.y.values.iter().all(|y| *y > 0.0) => {
                        Some(trace.y.values.iter().map(|y| y.ln()).collect())
                    }
                    Some(()) => None,
                };
                if let Some(values) = transformed
                    && let Ok(line) = polynomial(&trace.x.values, &values, 1)
                    && let Some(value) = line.r_squared
                {
                    list.push(ReportCandidate {
                        how: how.into(),
                        value,
                        error: None,
                    });
                }
            }
            for model in ["first-order+offset", "first-order"] {
                if let Some(found) = fit_one(run, report, model) {
                    if let Some(value) = found.outcome.statistics.get("r_squared") {
                        list.push(ReportCandidate {
                            how: model.into(),
                            value: *value,
                            error: None,
                        });
                    }
                    computed.push(found);
                }
            }
        }
    }
    if report.unit.is_none() && report.kind != ReportedQuantity::Determination {
        remarks.push(Diagnostic::warning(
            Code::new("unit-not-stated"),
            format!(
                "the export gives no unit for `{}`; it is compared in the unit that follows from the axes",
                report.key
            ),
        ));
    }
    if list.is_empty() {
        return Err(StudyError::unsuitable("no procedure gave a number"));
    }
    Ok(list)
}

fn fit_one(run: &Run, report: &ReportedNumber, model: &str) -> Option<TraceResult> {
    let plan = FitPlan {
        model: model.into(),
        traces: report
            .trace
            .map(|number| (number + 1).to_string())
            .into_iter()
            .collect(),
        ..FitPlan::default()
    };
    fit_run(&plan, run)
        .into_iter()
        .next()
        .filter(TraceResult::is_result)
}

fn from_fit(
    run: &Run,
    report: &ReportedNumber,
    model: &str,
    name: &str,
    unit: &mut Option<Unit>,
    computed: &mut Vec<TraceResult>,
    list: &mut Vec<ReportCandidate>,
) {
    let Some(found) = fit_one(run, report, model) else {
        return;
    };
    if let Some(parameter) = found.outcome.parameter(name)
        && let (Some(value), Some(own)) = (parameter.value, &parameter.unit)
    {
        let wanted = unit.get_or_insert_with(|| own.clone()).clone();
        if let Ok(value) = own.convert(value, &wanted) {
            list.push(ReportCandidate {
                how: model.into(),
                value,
                error: parameter
                    .standard_error
                    .and_then(|error| own.convert(error, &wanted).ok()),
            });
        }
    }
    computed.push(found);
}

/// The classical straight line of ln y over time, without an end value.
fn straight_logarithm(
    report: &ReportedNumber,
    trace: &Trace,
    unit: &mut Option<Unit>,
    list: &mut Vec<ReportCandidate>,
) {
    if trace.y.values.iter().any(|y| *y <= 0.0) {
        return;
    }
    let logarithms: Vec<f64> = trace.y.values.iter().map(|y| y.ln()).collect();
    let Ok(line) = polynomial(&trace.x.values, &logarithms, 1) else {
        return;
    };
    let Some(slope) = line.coefficients.get(1) else {
        return;
    };
    let k = -slope;
    let (value, own) = match report.kind {
        ReportedQuantity::HalfLife => (std::f64::consts::LN_2 / k, Some(trace.x.unit.clone())),
        _ => (
            k,
            super::unit_in_terms("1/x", &trace.x.unit, &trace.y.unit, &Unit::ONE),
        ),
    };
    let Some(own) = own else { return };
    let wanted = unit.get_or_insert_with(|| own.clone()).clone();
    if let Ok(value) = own.convert(value, &wanted) {
        list.push(ReportCandidate {
            how: "a straight line of ln y".into(),
            value,
            error: None,
        });
    }
}

fn slopes(
    report: &ReportedNumber,
    trace: &Trace,
    unit: &mut Option<Unit>,
    list: &mut Vec<ReportCandidate>,
) -> Result<(), StudyError> {
    let own = super::unit_in_terms("y/x", &trace.x.unit, &trace.y.unit, &Unit::ONE)
        .ok_or_else(|| StudyError::unsuitable("the unit of a slope of this trace is not known"))?;
    let wanted = unit.get_or_insert_with(|| own.clone()).clone();
    let sign = if report.value < 0.0 { -1.0 } else { 1.0 };
    let mut put = |how: &str, value: f64, error: Option<f64>| {
        // The sign is often left away for a fall.
        let value = value.abs() * sign;
        if let Ok(value) = own.convert(value, &wanted) {
            list.push(ReportCandidate {
                how: how.into(),
                value,
                error: error.and_then(|error| own.convert(error, &wanted).ok()),
            });
        }
    };
    if let Ok(line) = polynomial(&trace.x.values, &trace.y.values, 1)
        && let Some(slope) = line.coefficients.get(1)
    {
        let error = line
            .standard_errors
            .as_ref()
            .and_then(|errors| errors.get(1).copied());
        put("a straight line through all points", *slope, error);
    }
    for (how, window) in [
        (
            "the beginning of the whole course",
            RateWindow::Whole { fewest: 5 },
        ),
        ("the longest straight beginning", RateWindow::Found { fewest: 5 }),
    ] {
        let found = initial_rate(&trace.x.values, &trace.y.values, &Preparation::default(), window);
        if let Ok(rate) = found {
            put(how, rate.rate, Some(rate.standard_error));
        }
    }
    if list.is_empty() {
        return Err(StudyError::unsuitable(format!(
            "no slope can be had from {}",
            label_of(trace)
        )));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_results_in_many_spellings() {
        for (name, kind) in [
            ("k (1/s)", ReportedQuantity::RateConstant),
            ("k_obs", ReportedQuantity::RateConstant),
            ("Geschwindigkeitskonstante", ReportedQuantity::RateConstant),
            ("t 1/2", ReportedQuantity::HalfLife),
            ("t½", ReportedQuantity::HalfLife),
            ("R²", ReportedQuantity::Determination),
            ("ΔA/min", ReportedQuantity::Slope),
            ("Steigung", ReportedQuantity::Slope),
            ("Km", ReportedQuantity::Km),
        ] {
            assert_eq!(ReportedQuantity::named(name), Some(kind), "{name}");
        }
        assert_eq!(ReportedQuantity::named("kitchen"), None);
    }

    #[test]
    fn sentences_report_too() {
        let claim = |text: &str| Claim::text(text, Origin::Source(curvary_record::Place::line(7)));
        let found = |key: &str, text: &str| -> Vec<(ReportedQuantity, f64, Option<String>)> {
            reports(&Key::new(key), &claim(text), None)
                .into_iter()
                .map(|report| {
                    (
                        report.kind,
                        report.value,
                        report.unit.map(|unit| unit.code().to_owned()),
                    )
                })
                .collect()
        };
        let per_second = Some("/s".to_owned());
        assert_eq!(
            found("The rate constant is k", "0.0412 1/s, R² = 0.998"),
            [
                (ReportedQuantity::RateConstant, 0.0412, per_second.clone()),
                (ReportedQuantity::Determination, 0.998, None)
            ]
        );
        assert_eq!(
            found("comment", "Ergebnis: k = 0,0300 1/s."),
            [(ReportedQuantity::RateConstant, 0.03, per_second.clone())]
        );
        assert_eq!(
            found("comment", "first-order fit: k = 3.0e-2 s-1; t1/2 = 23.1 s"),
            [
                (ReportedQuantity::RateConstant, 0.03, per_second),
                (ReportedQuantity::HalfLife, 23.1, Some("s".to_owned()))
            ]
        );
        assert_eq!(
            found("comment", "cell 3 = the left one, beware: slope of the bench"),
            []
        );
        assert_eq!(found("temperature", "37"), []);
    }

    #[test]
    fn numbers_at_the_beginning_of_a_text() {
        let read = |text: &'static str| {
            leading_number(text)
                .map(|(number, rest)| (number.value, number.rounding, number.doubtful.is_some(), rest))
        };
        assert_eq!(read("0,0123 1/s"), Some((0.0123, 0.000_05, false, "1/s")));
        assert_eq!(read("1.5e-3 ± 0.1 min-1"), Some((1.5e-3, 0.5e-4, false, "min-1")));
        assert_eq!(read("about 3"), None);
        assert_eq!(read("12"), Some((12.0, 0.5, false, "")));
        // A thousand or one, and twelve and a half.
        assert!(read("1,000 s").is_some_and(|(_, _, doubtful, _)| doubtful));
        assert_eq!(read("12.500 s"), Some((12.5, 0.0005, false, "s")));
    }
}
