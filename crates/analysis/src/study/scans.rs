//! Repeated scans of a reaction: how many species, which points stay, which rate constants.

use std::borrow::Cow;
use std::collections::BTreeMap;

use curvary_record::{
    Code, Diagnostic, Interval as KeptInterval, Outcome, OutcomeKind, Parameter, Quantity, Run, Technique,
    Trace, Unit, code,
};
use serde::{Deserialize, Serialize};

use super::again::SCANS;
use super::fit::scan_times;
use super::ordinate::as_absorbance;
use super::spectrum::{in_question, still_open};
use super::{BY, PlotData, TRUSTED_ABSORBANCE, TraceResult, told, unit_in_terms};
use crate::refusal::Refusal;
use crate::scans::{
    Equilibrium, ErringTogether, GlobalFit, Network, ScanErrorPattern, Scans, Scheme, SpeciesSpectrum,
    fit_global, fit_global_shifted, fit_network_with, isosbestic_points, rank, refuse_no_change,
};
use crate::wording::{Six, likely};

/// What is asked of repeated scans.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ScanTask {
    /// How many singular values stand out.
    Rank,
    /// Wavelengths at which the absorbance stays.
    Isosbestic,
    /// One reaction scheme over all wavelengths.
    Global(Scheme),
    /// A scheme of a person's own over all wavelengths, such as `A->B, B<->C`.
    Own(String),
    /// A scheme of a person's own, with equilibrium constants that are known.
    OwnWith(String, Vec<Equilibrium>),
    /// A scheme where each scan may be shifted as a whole.
    Shifted(Box<ScanTask>),
}

impl ScanTask {
    /// The task that a result of scans comes from.
    pub fn of(outcome: &Outcome) -> Option<Self> {
        serde_json::from_value(outcome.settings.get(SCANS)?.clone()).ok()
    }
}

/// What scans gave.
#[derive(Clone, Debug, PartialEq)]
pub struct ScanFound {
    /// The record.
    pub found: TraceResult,
    /// Spectra of the species over the wavelengths, for global fits.
    pub spectra: Vec<Series>,
    /// Concentrations of the species over time, for global fits; the first one starts at one.
    pub concentrations: Vec<Series>,
}

/// A name and its points.
pub type Series = (String, Vec<(f64, f64)>);

/// Carries out a task on the scans of a run.
pub fn scan_run(task: ScanTask, run: &Run) -> ScanFound {
    let model = |task: &ScanTask| match task {
        ScanTask::Global(Scheme::FirstOrder) => "first-order over all wavelengths".to_owned(),
        ScanTask::Global(Scheme::Consecutive) => "consecutive over all wavelengths".to_owned(),
        ScanTask::Own(scheme) => format!("{scheme} over all wavelengths"),
        ScanTask::OwnWith(scheme, known) => {
            let known: Vec<String> = known
                .iter()
                .map(|known| format!("{} = {}", known.name, known.value))
                .collect();
            format!("{scheme} over all wavelengths, {}", known.join(", "))
        }
        _ => String::new(),
    };
    let (kind, model) = match &task {
        ScanTask::Rank => (OutcomeKind::Scans, "singular values".to_owned()),
        ScanTask::Isosbestic => (OutcomeKind::Scans, "isosbestic points".to_owned()),
        ScanTask::Global(_) | ScanTask::Own(_) | ScanTask::OwnWith(..) => (OutcomeKind::Fit, model(&task)),
        ScanTask::Shifted(task) => (OutcomeKind::Fit, format!("{}, scans shifted", model(task))),
    };
    let mut outcome = Outcome {
        id: String::new(),
        kind,
        runs: vec![run.id.clone()],
        trace: None,
        model,
        by: BY.into(),
        settings: BTreeMap::from([(SCANS.to_owned(), serde_json::json!(task))]),
        termination: String::new(),
        parameters: Vec::new(),
        covariance: Vec::new(),
        statistics: BTreeMap::new(),
        remarks: still_open(run, &code::ABOUT_CONDITIONS),
    };
    let (mut spectra, mut concentrations) = (Vec::new(), Vec::new());
    let drawn = match computed(&task, run, &mut outcome, (&mut spectra, &mut concentrations)) {
        Ok(drawn) => drawn,
        Err(refusal) => {
            outcome.parameters.clear();
            outcome.termination = told(&refusal);
            PlotData::default()
        }
    };
    ScanFound {
        found: TraceResult {
            trace: None,
            label: String::new(),
            outcome: outcome.identified(),
            drawn,
        },
        spectra,
        concentrations,
    }
}

/// Every scan less one of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Differences {
    /// Wavelengths of all scans.
    pub wavelengths: Vec<f64>,
    /// Time of each scan.
    pub times: Vec<f64>,
    /// For each scan, one value for each wavelength.
    pub absorbance: Vec<Vec<f64>>,
}

/// Differences of every scan to one of them (from 0).
///
/// # Errors
/// As the scans of [`crate::scans`].
pub fn scan_differences(run: &Run, reference: usize) -> Result<Differences, Refusal> {
    with_scans(run, f64::INFINITY, |scans, _, _| {
        Ok(Differences {
            wavelengths: scans.wavelengths.to_vec(),
            times: scans.times.to_vec(),
            absorbance: scans.differences(reference)?,
        })
    })
}

/// Does `work` on the scans in absorbance, with the unit of their times and what was done to them before. Wavelengths at
/// which any scan lies above `limit`, or was marked as beyond the range of the instrument, are left out.
fn with_scans<T>(
    run: &Run,
    limit: f64,
    work: impl FnOnce(&Scans<'_>, &Unit, Vec<Diagnostic>) -> Result<T, Refusal>,
) -> Result<T, Refusal> {
    let unsuitable = |why: String| Refusal::Unsuitable { why };
    if let Some(refusal) = in_question(run) {
        return Err(refusal);
    }
    if run.technique != Technique::SPECTRAL_TIME_COURSE {
        return Err(unsuitable(format!(
            "repeated scans are needed; this run is a {}",
            run.technique
        )));
    }
    let (first, times) = scan_times(run)?;
    if run.traces.iter().any(|trace| trace.x.values != first.x.values) {
        return Err(unsuitable(
            "the scans do not stand at the same wavelengths".into(),
        ));
    }
    if first.x.quantity != Quantity::WAVELENGTH {
        return Err(unsuitable(format!(
            "the scans run over {}, not over wavelength",
            first.x.quantity
        )));
    }
    let mut remarks = Vec::new();
    let mut traces: Vec<Cow<'_, Trace>> = Vec::new();
    for trace in &run.traces {
        match as_absorbance(trace)? {
            None if trace.y.quantity != Quantity::ABSORBANCE => {
                return Err(unsuitable(format!(
                    "absorbance is needed; these scans are of {}",
                    trace.y.quantity
                )));
            }
            None => traces.push(Cow::Borrowed(trace)),
            Some((converted, _)) if converted.len() < trace.len() => {
                return Err(unsuitable(
                    "some transmittances are zero or below and have no absorbance; leave these wavelengths out".into(),
                ));
            }
            Some((converted, said)) => {
                if traces.is_empty() {
                    remarks = said;
                }
                traces.push(Cow::Owned(converted));
            }
        }
    }
    let trusted = |at: &usize| {
        limit.is_infinite()
            || traces.iter().all(|trace| {
                trace.y.values[*at] <= limit && !trace.saturated.iter().any(|marked| *marked as usize == *at)
            })
    };
    let kept: Vec<usize> = (0..first.len()).filter(trusted).collect();
    let lost = first.len() - kept.len();
    if kept.is_empty() && lost > 0 {
        return Err(Refusal::AllSaturated { limit, count: lost });
    }
    if lost > 0 {
        remarks.push(Diagnostic::warning(
            code::POINTS_LEFT_OUT,
            format!(
                "left out: {lost} of {} wavelengths, since a scan lies above an absorbance of {limit} there, or beyond the \
                 range of the instrument",
                first.len()
            ),
        ));
    }
    let wavelengths: Vec<f64> = kept.iter().map(|at| first.x.values[*at]).collect();
    let columns: Vec<Vec<f64>> = traces
        .iter()
        .map(|trace| kept.iter().map(|at| trace.y.values[*at]).collect())
        .collect();
    let absorbance: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let scans = Scans {
        wavelengths: &wavelengths,
        times: &times.0,
        absorbance: &absorbance,
    };
    work(&scans, &times.1, remarks)
}

fn computed(
    task: &ScanTask,
    run: &Run,
    outcome: &mut Outcome,
    species: (&mut Vec<Series>, &mut Vec<Series>),
) -> Result<PlotData, Refusal> {
    let wavelength = run
        .traces
        .first()
        .map_or(Unit::NANOMETRE, |trace| trace.x.unit.clone());
    with_scans(run, TRUSTED_ABSORBANCE, |scans, time, said| {
        outcome.remarks.extend(said);
        work_on(task, scans, (time, &wavelength), outcome, species)
    })
}

fn work_on(
    task: &ScanTask,
    scans: &Scans<'_>,
    (time, wavelength): (&Unit, &Unit),
    outcome: &mut Outcome,
    (spectra, concentrations): (&mut Vec<Series>, &mut Vec<Series>),
) -> Result<PlotData, Refusal> {
    match task {
        ScanTask::Rank => rank_of(scans, outcome),
        ScanTask::Isosbestic => isosbestic_of(scans, wavelength, outcome),
        ScanTask::Shifted(task) => by_scheme(
            (task.as_ref(), true),
            scans,
            time,
            outcome,
            (spectra, concentrations),
        ),
        task => by_scheme((task, false), scans, time, outcome, (spectra, concentrations)),
    }
}

/// How many species the scans need.
fn rank_of(scans: &Scans<'_>, outcome: &mut Outcome) -> Result<PlotData, Refusal> {
    let found = rank(scans)?;
    outcome
        .parameters
        .push(plain("species", found.rank as f64, Some(Unit::ONE)));
    for (index, value) in found.values.iter().take(8).enumerate() {
        outcome
            .statistics
            .insert(format!("singular_value_{}", index + 1), *value);
    }
    outcome.statistics.insert("threshold".into(), found.threshold);
    outcome.statistics.insert("noise".into(), found.noise);
    outcome.termination = found.rule;
    Ok(PlotData {
        curve: None,
        x_title: "number".into(),
        y_title: "log₁₀ of the singular value".into(),
        x: (1..=found.values.len()).map(|n| n as f64).collect(),
        y: found
            .values
            .iter()
            .map(|value| value.max(f64::MIN_POSITIVE).log10())
            .collect(),
        used: (0..found.values.len()).collect(),
        fitted: Vec::new(),
        residuals: Vec::new(),
        ..PlotData::default()
    })
}

/// Where the absorbance stays while others change.
fn isosbestic_of(scans: &Scans<'_>, wavelength: &Unit, outcome: &mut Outcome) -> Result<PlotData, Refusal> {
    let found = isosbestic_points(scans)?;
    for (number, point) in (1..).zip(&found.points) {
        outcome.parameters.push(Parameter {
            standard_error: Some(point.standard_error),
            ..plain(
                &format!("isosbestic {number}"),
                point.wavelength,
                Some(wavelength.clone()),
            )
        });
        outcome
            .statistics
            .insert(format!("absorbance_at_isosbestic_{number}"), point.absorbance);
        outcome
            .statistics
            .insert(format!("spread_at_isosbestic_{number}"), point.spread);
    }
    for (at, spread) in &found.rejected {
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!("at {at:.1} {} the change crosses zero, but the absorbance does not stay (spread {spread:.2e})", wavelength.display()),
        ));
    }
    outcome.statistics.insert("noise".into(), found.noise);
    outcome.termination = found.verdict;
    Ok(PlotData::default())
}

/// The scans by a scheme of reactions.
fn scheme_fitted(task: &ScanTask, shifted: bool, scans: &Scans<'_>) -> Result<GlobalFit, Refusal> {
    refuse_no_change(scans, shifted)?;
    match task {
        ScanTask::Own(scheme) | ScanTask::OwnWith(scheme, _) => {
            let network = Network::parse(scheme)?;
            let known = match task {
                ScanTask::OwnWith(_, known) => known.as_slice(),
                _ => &[],
            };
            fit_network_with(scans, &network, known, shifted)
        }
        ScanTask::Global(scheme) => {
            let fit = if shifted { fit_global_shifted } else { fit_global };
            fit(scans, *scheme)
        }
        _ => Err(Refusal::Unsuitable {
            why: "only a scheme is fitted with shifted scans".into(),
        }),
    }
}

/// Rate constants and spectra of the species by a scheme of reactions.
fn by_scheme(
    (task, shifted): (&ScanTask, bool),
    scans: &Scans<'_>,
    time: &Unit,
    outcome: &mut Outcome,
    (spectra, concentrations): (&mut Vec<Series>, &mut Vec<Series>),
) -> Result<PlotData, Refusal> {
    let found = scheme_fitted(task, shifted, scans)?;
    if let Some(shifts) = &found.shifts {
        say_shifts(shifts, found.residual_sd, outcome);
    }
    concentrations.extend(found.concentrations.iter().map(|(name, values)| {
        let points = scans.times.iter().copied().zip(values.iter().copied()).collect();
        (name.clone(), points)
    }));
    tell_scheme(&found, scans, time, outcome);
    let pairs = |spectrum: &SpeciesSpectrum| -> Vec<(f64, f64)> {
        scans
            .wavelengths
            .iter()
            .copied()
            .zip(spectrum.absorbance.iter().copied())
            .collect()
    };
    spectra.extend(
        found
            .spectra
            .iter()
            .map(|spectrum| (spectrum.species.clone(), pairs(spectrum))),
    );
    spectra.extend(found.other_intermediate.iter().map(|spectrum| {
        (
            format!("{}, if the slower step comes first", spectrum.species),
            pairs(spectrum),
        )
    }));
    Ok(PlotData::default())
}

/// From where errors that had to grow since readings scatter unequally are told. A choice: of white noise in 21 scans at 31 wavelengths they
/// grow by less in nearly all simulated sets.
const TOLD_UNEQUAL: f64 = 1.25;
/// In fewer scans or wavelengths chance alone makes them grow by as much: of white noise in 7 scans at 4 wavelengths in a fifth of the sets.
const FEWEST_TOLD: usize = 12;

/// Puts the rate constants of a scheme into the record, with what is to be said of them.
fn tell_scheme(found: &GlobalFit, scans: &Scans<'_>, time: &Unit, outcome: &mut Outcome) {
    for rate in &found.rates {
        outcome.parameters.push(Parameter {
            name: rate.name.clone(),
            value: Some(rate.value),
            unit: unit_in_terms("1/x", time, &Unit::ONE, &Unit::ONE),
            standard_error: Some(rate.standard_error),
            intervals: vec![KeptInterval {
                level: 0.95,
                low: rate.interval.lower,
                high: rate.interval.upper,
                kind: "t".into(),
                ..KeptInterval::default()
            }],
            reason: None,
        });
    }
    for (name, least) in &found.least_equilibria {
        outcome.statistics.insert(format!("least_{name}"), *least);
    }
    for remark in &found.remarks {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("fit-remark"), remark.clone()));
    }
    outcome
        .statistics
        .insert("residual_standard_deviation".into(), found.residual_sd);
    outcome
        .statistics
        .insert("residual_sum_of_squares".into(), found.residual_sum_of_squares);
    outcome
        .statistics
        .insert("correlation_along_time".into(), found.along_time);
    let enough = scans.times.len() >= FEWEST_TOLD && scans.wavelengths.len() >= FEWEST_TOLD;
    if enough && found.together.is_none() && found.unequal_scatter >= TOLD_UNEQUAL {
        outcome.remarks.push(Diagnostic::note(
            Code::new("scatter-unequal"),
            format!(
                "some readings scatter more than others, as where the absorbance is high or there is little light, and they say much of the \
                 rate constants: the errors allow for it, and are up to {:.1} times as large as if all scattered alike; without these wavelengths \
                 they may be smaller",
                found.unequal_scatter
            ),
        ));
    }
    if let Some(together) = &found.together {
        tell_together(together, found, outcome);
    }
    if found.lack_of_fit {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("lack-of-fit"),
            format!(
                "what is left of the scans goes on from one to the next (correlation along time {:.2}): the scheme does not \
                 describe them, or a drift is in them; the errors above are too small, and another scheme may fit (`--global consecutive`, or \
                 one of your own with `--scheme`)",
                found.along_time
            ),
        ));
    }
    outcome
        .statistics
        .insert("degrees_of_freedom".into(), found.degrees_of_freedom as f64);
    outcome.statistics.insert(
        "points".into(),
        (scans.times.len() * scans.wavelengths.len()) as f64,
    );
    outcome.termination = format!("converged in {} steps", found.iterations);
}

/// That the readings of a scan err together, and whether as a shift of the scan.
fn tell_together(together: &ErringTogether, found: &GlobalFit, outcome: &mut Outcome) {
    let size = Six(together.standard_deviation);
    let reading = Six(found.residual_sd);
    let (code, text) = match together.pattern {
        ScanErrorPattern::Shift {
            f,
            degrees_of_freedom: (of, against),
            probability,
            goes_on,
        } => {
            let statistics = &mut outcome.statistics;
            statistics.insert(
                "offset_of_scans_standard_deviation".into(),
                together.standard_deviation,
            );
            statistics.insert("offset_of_scans_f".into(), f);
            statistics.insert("offset_of_scans_probability".into(), probability);
            let errors = if goes_on || found.lack_of_fit {
                "they go on from one scan to the next, as a drift does, and the errors above are too small for that; with `--shifted` shifts \
                 of any kind are fitted"
            } else {
                "the errors of the rate constants allow for shifts that do not hang together from scan to scan; with `--shifted` the shifts \
                 are fitted"
            };
            let text = format!(
                "all wavelengths of a scan err together and alike, as far as the noise shows it, as if each scan were shifted as a whole by {size} (a reading scatters by \
                 {reading}; F {f:.1} on {of} and {against}, probability {}): {errors}",
                likely(probability)
            );
            ("scans-shifted", text)
        }
        // That the scheme does not describe the scans is said already, and that the errors are too small.
        ScanErrorPattern::Other { shift: None } if found.lack_of_fit => return,
        ScanErrorPattern::Other { shift } => {
            let statistics = &mut outcome.statistics;
            statistics.insert(
                "common_to_scans_standard_deviation".into(),
                together.standard_deviation,
            );
            let way_out = match shift {
                Some(shift) => {
                    statistics.insert("offset_of_scans_standard_deviation".into(), shift);
                    format!(
                        "; shifts of whole scans by about {} are seen beside it: try `--shifted`, which fits these, and not the rest",
                        Six(shift)
                    )
                }
                None if found.shifts.is_some() => " beside the shifts that are fitted".to_owned(),
                None => String::new(),
            };
            let text = format!(
                "what is left of a scan goes together over the wavelengths, not as a shift of the whole scan alone (by about {size}; a \
                 reading scatters by {reading}): if the readings of a scan err together, the errors above are too small{way_out}"
            );
            ("scans-err-together", text)
        }
    };
    outcome.remarks.push(Diagnostic::warning(Code::new(code), text));
}

/// By how much the scans are shifted as a whole.
fn say_shifts(shifts: &[f64], residual_sd: f64, outcome: &mut Outcome) {
    let size = (shifts.iter().map(|s| s * s).sum::<f64>() / shifts.len() as f64).sqrt();
    outcome
        .statistics
        .insert("shift_of_scans_standard_deviation".into(), size);
    for (number, shift) in (1..).zip(shifts) {
        outcome
            .statistics
            .insert(format!("shift_of_scan_{number}"), *shift);
    }
    outcome.remarks.push(Diagnostic::note(
        Code::new("fit-remark"),
        format!(
            "each scan may be shifted as a whole: by {} on average (a reading scatters by {}); a shift that runs along with a \
             concentration would stand in the spectra of the species, not in the rate constants",
            Six(size),
            Six(residual_sd)
        ),
    ));
}

fn plain(name: &str, value: f64, unit: Option<Unit>) -> Parameter {
    Parameter {
        name: name.into(),
        value: Some(value),
        unit,
        standard_error: None,
        intervals: Vec::new(),
        reason: None,
    }
}
