//! Instrument checks of a run against limits whose sources are told.

use crate::study::StudyError;
use std::borrow::Cow;

use curvary_record::interpret::{LabelNumber, number_in_label};
use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, Parameter, Quantity, Run, Trace, Unit, code};
use serde::{Deserialize, Serialize};

use super::ordinate::as_absorbance;
use super::spectrum::{asked_traces, bare, in_question, spectrum_of};
use super::{PlotData, TRUSTED_ABSORBANCE, TraceResult, concentration_of, label_of, stated};
use crate::checks::{
    self, BandReading, Certificate, CertifiedBand, CheckLimits, CheckReport, CheckVerdict, Conditions,
    absorbance_certified, absorbance_dichromate, blank_absorbance, blank_everywhere, certified_from_table,
    certified_of_filter, flatness, read_bands, resolution, stability, stray_light, wavelength,
    zero_of_readings, zero_over_time,
};
use crate::quantities::Measured;
use crate::spectra::{Curve, SpectrumRefusal};

/// What is asked of a check, in a form that is kept with its result.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct CheckPlan {
    /// The check: an entry of the limits by its id or by a word of its solution, or `stability`, `flatness`, `zero` or
    /// `blank`. If absent it is recognised from the sample, where that is sure.
    #[serde(rename = "as", skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// A laboratory's own limits as the text of their file; the built-in ones if absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limits: Option<String>,
    /// Concentration of dichromate in mg/L, where the run does not state it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mg_per_l: Option<f64>,
    /// Concentration of the solution of a reference table in g/kg, where the run does not state it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub g_per_kg: Option<f64>,
    /// Where `blank` and `zero` read a spectrum, in nm.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub at: Vec<f64>,
    /// Path length in cm, where the run does not state it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub path_cm: Option<f64>,
    /// Traces by number (from 1) or label; all if empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
}

/// Checks every trace of a run that the plan speaks of.
///
/// The termination is `pass`, `fail` or `undetermined: …`, or the reason why nothing could be measured. Each parameter
/// tells its verdict, limit and source in `reason`: `wavelength-error` and `absorbance-error` (measured less expected),
/// `stray-light-absorbance`, `resolution-ratio`, `noise-rms`, `noise-peak-to-peak`, `drift`, `flatness`, `zero-absorbance`
/// and `blank-absorbance`.
pub fn check_run(plan: &CheckPlan, run: &Run) -> Vec<TraceResult> {
    let traces = match in_question(run) {
        Some(refusal) => Err(refusal),
        None => asked_traces(run, &plan.traces),
    };
    let traces = match traces {
        Ok(traces) => traces,
        Err(refusal) => {
            let mut outcome = bare(OutcomeKind::Check, "not chosen", run, None, plan);
            outcome.termination = super::told(&refusal);
            return vec![TraceResult {
                trace: None,
                label: String::new(),
                outcome: outcome.identified(),
                drawn: PlotData::default(),
            }];
        }
    };
    traces
        .into_iter()
        .map(|(number, trace)| {
            let mut outcome = bare(OutcomeKind::Check, "not chosen", run, Some(number), plan);
            let done = in_absorbance(trace).and_then(|(trace, remarks)| {
                outcome.remarks.extend(remarks);
                outcome.remarks.extend(high(&trace));
                report(plan, run, &trace)
            });
            match done {
                Ok(report) => tell(&report, &mut outcome),
                Err(why) => outcome.termination = why.told(),
            }
            TraceResult {
                trace: Some(number),
                label: label_of(trace),
                outcome: outcome.identified(),
                drawn: PlotData::default(),
            }
        })
        .collect()
}

/// What is said of readings over time that lie where stray light usually rules: a check takes readings as they are, and
/// over a spectrum its own ceiling decides.
fn high(trace: &Trace) -> Option<Diagnostic> {
    let high = trace
        .y
        .values
        .iter()
        .filter(|value| **value > TRUSTED_ABSORBANCE)
        .count();
    let over_time = trace.x.quantity == Quantity::TIME && trace.y.quantity == Quantity::ABSORBANCE;
    (over_time && high > 0).then(|| {
        Diagnostic::warning(
            Code::new("high-absorbance"),
            format!(
                "{high} of {} readings lie above an absorbance of {TRUSTED_ABSORBANCE}, where stray light rules: they say \
                 little of the instrument at work",
                trace.len()
            ),
        )
    })
}

/// The trace in absorbance, with what was done to it. A check needs all of its points.
fn in_absorbance(trace: &Trace) -> Result<(Cow<'_, Trace>, Vec<Diagnostic>), StudyError> {
    match as_absorbance(trace)? {
        None => Ok((Cow::Borrowed(trace), Vec::new())),
        Some((converted, remarks)) if converted.len() == trace.len() => Ok((Cow::Owned(converted), remarks)),
        Some((converted, _)) => Err(StudyError::new(
            "saturated",
            format!(
                "{} of {} points have no absorbance, since their transmittance is zero or below; a check needs all \
             of its points",
                trace.len() - converted.len(),
                trace.len()
            ),
        )),
    }
}

fn report(plan: &CheckPlan, run: &Run, trace: &Trace) -> Result<CheckReport, StudyError> {
    let limits = match &plan.limits {
        Some(text) => CheckLimits::parse(text),
        None => CheckLimits::built_in(),
    }
    .map_err(|error| StudyError::new("limits-not-readable", error.words))?;
    let name = chosen(plan, run, &limits)?;
    refuse_unused(plan, &limits, &name, trace)?;
    let conditions = Conditions {
        bandwidth_nm: stated(run, Some(trace), "bandwidth", &Unit::NANOMETRE),
        temperature_celsius: Unit::ucum("Cel")
            .ok()
            .and_then(|unit| stated(run, Some(trace), "temperature", &unit)),
        interval_nm: None,
        ceiling: Some(TRUSTED_ABSORBANCE),
    };
    if !trace.saturated.is_empty() {
        return Err(StudyError::new(
            "saturated",
            format!(
                "{} points lie beyond the range of the instrument; a check needs all of its points",
                trace.saturated.len()
            ),
        ));
    }
    let refused = |refusal: SpectrumRefusal| StudyError::from(refusal);
    let over_time = trace.x.quantity == Quantity::TIME;
    match name.as_str() {
        "stability" => return stability(&limits, &seconds(trace)?, conditions).map_err(refused),
        "zero" if over_time => return zero_over_time(&limits, &seconds(trace)?, conditions).map_err(refused),
        _ => {}
    }
    let (spectrum, _) = spectrum_of(trace).map_err(refused)?;
    let read = |nm: &[f64]| read_bands(&spectrum, nm).map_err(refused);
    match name.as_str() {
        "flatness" => return flatness(&limits, &spectrum, None, conditions).map_err(refused),
        "zero" => return Ok(zero_of_readings(&limits, &all_read(plan, read)?, conditions)),
        "blank" if plan.at.is_empty() => {
            return blank_everywhere(&limits, &spectrum, conditions).map_err(refused);
        }
        "blank" => return Ok(blank_absorbance(&limits, &all_read(plan, read)?, conditions)),
        _ => {}
    }
    if let Some(standard) = limits.wavelength.iter().find(|s| s.id == name) {
        return wavelength(&limits, standard, &spectrum, conditions).map_err(refused);
    }
    if let Some(standard) = limits.resolution.iter().find(|s| s.id == name) {
        return resolution(&limits, standard, &spectrum, conditions).map_err(refused);
    }
    if let Some(standard) = limits.stray_light.iter().find(|s| s.id == name) {
        return Ok(stray_light(&limits, standard, &read(&standard.nm)?, conditions));
    }
    if let Some(standard) = limits.absorbance.iter().find(|s| s.id == name) {
        let nm: Vec<f64> = standard.bands.iter().map(|band| band.nm).collect();
        let mg_per_l = concentration(plan.mg_per_l, run, trace, "mg/L", "--mg-per-l")?;
        let path = path(plan, run, trace)?;
        let concentration = Measured::bare(mg_per_l);
        return absorbance_dichromate(&limits, standard, &read(&nm)?, concentration, path, conditions)
            .map_err(StudyError::from);
    }
    let certified = |certificate: &Certificate<'_>, bands: &[CertifiedBand]| {
        let nm: Vec<f64> = bands.iter().map(|band| band.nm).collect();
        absorbance_certified(&limits, certificate, bands, &read(&nm)?, conditions).map_err(StudyError::from)
    };
    if let Some(table) = limits.reference_tables.iter().find(|s| s.id == name) {
        // A mass in a volume is none in a mass without the density, which nothing states.
        let g_per_kg = concentration(plan.g_per_kg, run, trace, "g/kg", "--g-per-kg")?;
        let bands = certified_from_table(table, g_per_kg, path(plan, run, trace)?)?;
        return certified(&table.into(), &bands);
    }
    if let Some(filter) = limits.filters.iter().find(|s| s.id == name) {
        let date = run.fields.text("date").unwrap_or_default();
        let mut report = match filter.held_on(date) {
            Some(false) => {
                return Err(StudyError::new(
                    "certificate-expired",
                    format!(
                        "{} held until {}, and this was measured on {date}",
                        filter.source,
                        filter.valid_until.as_deref().unwrap_or_default()
                    ),
                ));
            }
            _ => certified(&filter.into(), &certified_of_filter(filter))?,
        };
        if let (Some(last), None) = (&filter.valid_until, filter.held_on(date)) {
            let words =
                format!("the certificate holds until {last}, and nothing says when this was measured");
            for outcome in &mut report.outcomes {
                outcome.remarks.push(words.clone());
            }
        }
        return Ok(report);
    }
    Err(StudyError::new(
        "check-unknown",
        format!("the limits have no check `{name}`"),
    ))
}

/// Refuses what was said and has no part in the check, so that nobody thinks it had.
fn refuse_unused(
    plan: &CheckPlan,
    limits: &CheckLimits,
    name: &str,
    trace: &Trace,
) -> Result<(), StudyError> {
    let by_volume = limits.absorbance.iter().any(|s| s.id == name);
    let by_mass = limits.reference_tables.iter().any(|s| s.id == name);
    let at_wavelengths = name == "blank" || name == "zero" && trace.x.quantity != Quantity::TIME;
    let unused = [
        ("--at", !plan.at.is_empty() && !at_wavelengths),
        ("--mg-per-l", plan.mg_per_l.is_some() && !by_volume),
        ("--g-per-kg", plan.g_per_kg.is_some() && !by_mass),
        ("--path-cm", plan.path_cm.is_some() && !by_volume && !by_mass),
    ];
    match unused.iter().find(|(_, unused)| *unused) {
        None => Ok(()),
        Some((option, _)) => Err(StudyError::new(
            "option-unused",
            format!("`{option}` has no part in the check `{name}`; leave it out"),
        )),
    }
}

/// Readings at the wavelengths that the plan names, every one of them.
fn all_read(
    plan: &CheckPlan,
    read: impl Fn(&[f64]) -> Result<Vec<BandReading>, StudyError>,
) -> Result<Vec<BandReading>, StudyError> {
    if plan.at.is_empty() {
        return Err(StudyError::new(
            "no-wavelength",
            "say with `--at` where the spectrum is read",
        ));
    }
    let readings = read(&plan.at)?;
    match plan.at.iter().find(|nm| !readings.iter().any(|r| r.nm == **nm)) {
        None => Ok(readings),
        Some(nm) => Err(StudyError::new(
            "outside-range",
            format!("the spectrum has no point at {nm} nm, nor two near enough to read between them"),
        )),
    }
}

/// The concentration that the plan or the run states, in the unit of a standard.
fn concentration(
    in_plan: Option<f64>,
    run: &Run,
    trace: &Trace,
    code: &str,
    option: &str,
) -> Result<f64, StudyError> {
    let in_run = || {
        let (value, unit) = concentration_of(run, trace, &["concentration"])?;
        unit.convert(value, &Unit::ucum(code).ok()?).ok()
    };
    if let Some(stated) = in_plan.or_else(in_run) {
        return Ok(stated);
    }
    let in_doubt = |what: String| {
        Err(StudyError::new(
            "concentration-not-sure",
            format!("{what}; say with `{option}` what the concentration in {code} is"),
        ))
    };
    let sample = run.fields.text("sample").unwrap_or_default();
    match in_label(sample, code).as_slice() {
        [] => Err(StudyError::new(
            "no-concentration",
            format!("the concentration of the solution in {code} is not stated; say it with `{option}`"),
        )),
        [(_, LabelNumber::Sure(value))] => Ok(*value),
        [(word, LabelNumber::Doubtful { decimal, thousands })] => in_doubt(format!(
            "`{word} {code}` on the label may be {decimal} or {thousands}"
        )),
        several => {
            let all: Vec<&str> = several.iter().map(|(word, _)| *word).collect();
            in_doubt(format!(
                "the label states several concentrations, {}",
                all.join(" and ")
            ))
        }
    }
}

/// The numbers of a label that stand before a unit: the 60 of `potassium dichromate 60 mg/L`.
fn in_label<'a>(label: &'a str, code: &str) -> Vec<(&'a str, LabelNumber)> {
    let words: Vec<&str> = label.split_whitespace().collect();
    words
        .windows(2)
        .filter_map(|pair| {
            let unit = pair[1].trim_end_matches([',', ';', ')']);
            let word = pair[0].trim_start_matches('(');
            if !unit.eq_ignore_ascii_case(code) {
                return None;
            }
            Some((word, number_in_label(word, None)?))
        })
        .collect()
}

fn path(plan: &CheckPlan, run: &Run, trace: &Trace) -> Result<f64, StudyError> {
    plan.path_cm
        .or_else(|| stated(run, Some(trace), "path-length", &Unit::ucum("cm").ok()?))
        .ok_or_else(|| {
            StudyError::new(
                "no-path-length",
                "the path length of the cell is not stated; say it with `--path-cm`",
            )
        })
}

/// The trace over time, in seconds and absorbance.
fn seconds(trace: &Trace) -> Result<Curve, StudyError> {
    let wrong = || StudyError::new("wrong-axis", "noise and drift need an absorbance over time");
    if trace.x.quantity != Quantity::TIME || trace.y.quantity != Quantity::ABSORBANCE {
        return Err(wrong());
    }
    let second = Unit::ucum("s").map_err(|_| wrong())?;
    let in_unit = |values: &[f64], from: &Unit, to: &Unit| -> Option<Vec<f64>> {
        values.iter().map(|value| from.convert(*value, to).ok()).collect()
    };
    let x = in_unit(&trace.x.values, &trace.x.unit, &second).ok_or_else(wrong)?;
    let y = in_unit(&trace.y.values, &trace.y.unit, &Unit::ABSORBANCE).ok_or_else(wrong)?;
    Curve::new(x, y).map_err(StudyError::from)
}

/// The checks of which the name of the sample has a long word, where it does not have them all.
fn near<'a>(all: &[(&'a str, Option<&'a str>)], run: &Run) -> Vec<(&'a str, Option<&'a str>)> {
    /// Shorter words stand in many names, and so do these.
    const LONG: usize = 6;
    const COMMON: [&str; 2] = ["potassium", "sodium"];
    let sample = run.fields.text("sample").unwrap_or_default().to_lowercase();
    let said: Vec<&str> = sample.split(|c: char| !c.is_alphanumeric()).collect();
    let speaks = |words: &str| {
        words
            .to_lowercase()
            .split('-')
            .any(|part| part.len() >= LONG && !COMMON.contains(&part) && said.contains(&part))
    };
    all.iter()
        .filter(|(id, words)| speaks(id) || words.is_some_and(speaks))
        .copied()
        .collect()
}

/// What people write for a solution, or for a check without one, in the sample's name, small letters. Common names in English, German
/// and French.
const OTHER_NAMES: [(&str, &[&str]); 7] = [
    (
        "holmium-perchlorate",
        &["holmium", "holmiumperchlorat", "holmiumoxid", "holmiumlösung"],
    ),
    (
        "dichromate-sulfuric",
        &["dichromate", "dichromat", "kaliumdichromat"],
    ),
    (
        "dichromate-perchloric",
        &["dichromate", "dichromat", "kaliumdichromat"],
    ),
    ("potassium-chloride", &["kaliumchlorid", "kcl"]),
    ("stability", &["stability", "stabilität", "stabilité"]),
    ("flatness", &["flatness", "baseline", "basislinie"]),
    ("sodium-nitrite", &["natriumnitrit", "nano2"]),
];

/// The id of the check that was named, or the only one that the words of the sample speak of.
fn chosen(plan: &CheckPlan, run: &Run, limits: &CheckLimits) -> Result<String, StudyError> {
    let all: Vec<(&str, Option<&str>)> = limits.names().collect();
    let listed =
        |entries: &[(&str, Option<&str>)]| entries.iter().map(|(id, _)| *id).collect::<Vec<_>>().join(", ");
    let having = |is: &dyn Fn(&str) -> bool| -> Vec<(&str, Option<&str>)> {
        let named = |(_, words): &&(&str, Option<&str>)| words.is_some_and(is);
        all.iter().filter(named).copied().collect()
    };
    let (found, what) = match &plan.name {
        Some(name) if all.iter().any(|(id, _)| id == name) => return Ok(name.clone()),
        Some(name) => (
            having(&|words| words.split('-').any(|part| part == name)),
            format!("`{name}`"),
        ),
        None => {
            let sample = run.fields.text("sample").unwrap_or_default().to_lowercase();
            let said: Vec<&str> = sample.split(|c: char| !c.is_alphanumeric()).collect();
            let mut found = having(&|words| words.to_lowercase().split('-').all(|part| said.contains(&part)));
            let other_names = |id: &str| {
                let names = OTHER_NAMES.iter().filter(|(of, _)| *of == id);
                names
                    .flat_map(|(_, names)| *names)
                    .any(|name| said.contains(name))
            };
            if found.is_empty() {
                found = having(&other_names);
                let without = all
                    .iter()
                    .filter(|(id, words)| words.is_none() && other_names(id));
                found.extend(without);
            }
            (found, format!("the sample `{sample}`"))
        }
    };
    match found.as_slice() {
        [(id, _)] => Ok((*id).to_owned()),
        [] if plan.name.is_none() && !near(&all, run).is_empty() => Err(StudyError::new(
            "check-not-sure",
            format!(
                "{what} may mean {}; say which with `--as`",
                listed(&near(&all, run))
            ),
        )),
        [] => Err(StudyError::new(
            "check-unknown",
            format!("{what} names no check; say it with `--as`: {}", listed(&all)),
        )),
        several => Err(StudyError::new(
            "check-not-sure",
            format!(
                "{what} may mean several checks; say which with `--as`: {}",
                listed(several)
            ),
        )),
    }
}

fn tell(report: &CheckReport, outcome: &mut Outcome) {
    outcome.model = if report.id == "local" {
        report.check.clone()
    } else {
        report.id.clone()
    };
    outcome.termination = report.verdict().to_string();
    outcome.parameters = report
        .outcomes
        .iter()
        .map(|item| parameter(&report.check, item))
        .collect();
    // The limits of each item, as its parameter is counted, for the history of a check.
    for (number, item) in (1..).zip(&report.outcomes) {
        let shift = if matches!(report.check.as_str(), "wavelength" | "absorbance") {
            item.expected.unwrap_or(0.0)
        } else {
            0.0
        };
        if shift != 0.0 {
            outcome.statistics.insert(format!("expected_{number}"), shift);
        }
        for (end, limit) in [("low", item.low), ("high", item.high)] {
            if let Some(limit) = limit {
                outcome
                    .statistics
                    .insert(format!("limit_{end}_{number}"), limit - shift);
            }
        }
    }
    let count = |wanted: fn(&CheckVerdict) -> bool| {
        report.outcomes.iter().filter(|o| wanted(&o.verdict)).count() as f64
    };
    outcome
        .statistics
        .insert("passed".into(), count(|v| *v == CheckVerdict::Pass));
    outcome
        .statistics
        .insert("failed".into(), count(|v| *v == CheckVerdict::Fail));
    outcome.statistics.insert(
        "undetermined".into(),
        count(|v| matches!(v, CheckVerdict::Undetermined { .. })),
    );
    for caution in &report.cautions {
        outcome
            .remarks
            .push(Diagnostic::warning(code::CAUTION, caution.clone()));
    }
    outcome.remarks.push(Diagnostic::note(
        Code::new("research-and-teaching"),
        "this result is for research and teaching",
    ));
}

fn parameter(check: &str, item: &checks::CheckItem) -> Parameter {
    let error = matches!(check, "wavelength" | "absorbance");
    let name = match (check, item.item.as_str()) {
        ("wavelength", _) => "wavelength-error",
        ("absorbance", _) => "absorbance-error",
        ("stray-light", _) => "stray-light-absorbance",
        ("resolution", _) => "resolution-ratio",
        ("zero", _) => "zero-absorbance",
        ("blank", _) => "blank-absorbance",
        (_, "noise, rms") => "noise-rms",
        (_, "noise, peak to peak") => "noise-peak-to-peak",
        (_, "drift") => "drift",
        _ => check,
    };
    let value = match (item.measured, item.expected) {
        (Some(measured), Some(expected)) if error => Some(measured - expected),
        (_, None) if error => None,
        (measured, _) => measured,
    };
    // Limits are sums and products of decimal numbers: 0.4923, not 0.49229999999999996.
    let plain = |limit: Option<f64>| limit.map(|v| format!("{v:.11e}").parse().unwrap_or(v));
    // As people write it: AU, nm, %.
    let unit = Unit::ucum(&item.unit).map_or_else(|_| item.unit.clone(), |unit| unit.display());
    let limits = match (plain(item.low), plain(item.high)) {
        (Some(low), Some(high)) => format!("from {low} to {high} {unit}"),
        (Some(low), None) => format!("at least {low} {unit}"),
        (None, Some(high)) => format!("at most {high} {unit}"),
        (None, None) => "no limit".into(),
    };
    let measured = match (
        item.measured,
        item.uncertainty.filter(|u| u.is_finite() && *u > 0.0),
    ) {
        (None, _) => "nothing".to_owned(),
        (Some(v), None) => format!("{} {unit}", crate::wording::Six(v)),
        (Some(v), Some(u)) => {
            // As many decimals as two figures of the uncertainty have.
            let decimals = (1.0 - u.log10().floor()).clamp(0.0, 9.0) as usize;
            format!("{v:.decimals$} ± {u:.decimals$} {unit}")
        }
    };
    let measured = measured.trim_end();
    let memory = if item.from_memory {
        " (written down from memory: compare with the source)"
    } else {
        ""
    };
    let mut reason = format!(
        "{}: {}; measured {measured}; limit {limits}; source: {}{memory}",
        item.item, item.verdict, item.source
    );
    for remark in &item.remarks {
        reason.push_str("; ");
        reason.push_str(remark);
    }
    Parameter {
        name: name.into(),
        value,
        unit: Unit::ucum(&item.unit).ok(),
        standard_error: item.uncertainty,
        intervals: Vec::new(),
        reason: Some(reason),
    }
}
