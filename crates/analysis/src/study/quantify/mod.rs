//! From readings of a run to concentrations: by the Beer-Lambert law, a calibration line, standard addition, reference
//! spectra of several components, or the ratios that are common practice.

mod reading;
mod record;
mod standards;
mod ways;

pub use standards::{Standard, Standards, beside_standards, standards_of};

use curvary_record::{Outcome, OutcomeKind, Quantity, Run, RunId, Trace, Unit};
use serde::{Deserialize, Serialize};

use super::spectrum::{References, asked_traces, bare, in_question};
use super::{PlotData, TRUSTED_ABSORBANCE, TraceResult, label_of, told};
use crate::quantities::{CalibrationOptions, LimitForm, Measured, NucleicAcidKind, StandardWeighting};
use crate::refusal::Refusal;
use crate::spectra::Step;
use crate::study::StudyError;
use reading::{UnknownReading, is_dilution};
use ways::off_the_line;

/// A spectrum of one component at a known concentration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceSpectrum {
    /// What it is called.
    pub name: String,
    /// Its run, by whose name the spectrum stands among the references.
    pub run: RunId,
    /// Its concentration.
    pub concentration: f64,
    /// The unit of that.
    pub unit: Unit,
    /// Its path length, cm, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub path: Option<f64>,
}

/// How a quantity is found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// c = A·D/(ε·l).
    BeerLambert,
    /// A straight line through standards, read backwards.
    Calibration(Standards),
    /// The line itself, from a run that is a table of concentration against absorbance.
    Line,
    /// The line of absorbance against added concentration, down to zero.
    StandardAddition,
    /// Several components by least squares.
    Mixture(Vec<ReferenceSpectrum>),
    /// Ratios and the usual factor: common practice.
    NucleicAcid(NucleicAcidKind),
    /// The usual formula of A280 and A260: common practice.
    Protein,
}

/// The form of a line through standards.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineForm {
    /// b₀ + b₁ c.
    #[default]
    Straight,
    /// b₀ + b₁ c + b₂ c².
    Quadratic,
}

impl LineForm {
    fn is_straight(&self) -> bool {
        *self == Self::Straight
    }
}

/// What is asked, in a form that is kept with its result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct QuantifyPlan {
    /// How.
    pub way: Way,
    /// Where spectra are read, nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<f64>,
    /// Steps before the reading of spectra.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Step>,
    /// Absorbance that is taken off readings which are no spectra.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blank_absorbance: Option<f64>,
    /// Absorbance (before a blank is taken off) above which nothing is read; [`TRUSTED_ABSORBANCE`] if absent, the largest
    /// number for no limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trusted_absorbance: Option<f64>,
    /// Standard deviation of a single reading, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading_error: Option<f64>,
    /// Molar absorption coefficient, L mol⁻¹ cm⁻¹; the run's own field if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coefficient: Option<Measured>,
    /// Path length, cm; the run's own field if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub path: Option<Measured>,
    /// Total over sample volume; the run's own field if absent, else 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dilution: Option<f64>,
    /// Standard error of the dilution, if known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dilution_error: Option<f64>,
    /// Level of intervals.
    pub level: f64,
    /// Weights of a line's standards.
    pub weighting: StandardWeighting,
    /// Whether the line through standards may bend.
    #[serde(default, skip_serializing_if = "LineForm::is_straight")]
    pub line_form: LineForm,
    /// Whether a line is held at the origin.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub through_origin: bool,
    /// Whose definition of detection limits.
    pub limit_form: LimitForm,
    /// Absorbances of the blank, from which detection limits take their σ.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub blank_readings: Vec<f64>,
    /// Whether all readings of a run are repeats of one unknown.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub together: bool,
    /// Whether a constant offset is fitted beside components.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub with_offset: bool,
    /// Traces by number (from 1) or label; all if empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
    /// The one reading of a table (from 0) that a result is of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub point: Option<usize>,
}

impl QuantifyPlan {
    /// A plan with nothing said but the way.
    pub fn new(way: Way) -> Self {
        Self {
            way,
            at: None,
            steps: Vec::new(),
            blank_absorbance: None,
            trusted_absorbance: None,
            reading_error: None,
            coefficient: None,
            path: None,
            dilution: None,
            dilution_error: None,
            level: 0.95,
            weighting: StandardWeighting::Equal,
            line_form: LineForm::Straight,
            through_origin: false,
            limit_form: LimitForm::IchQ2,
            blank_readings: Vec::new(),
            together: false,
            with_offset: false,
            traces: Vec::new(),
            point: None,
        }
    }

    fn ceiling(&self) -> Option<f64> {
        let limit = self.trusted_absorbance.unwrap_or(TRUSTED_ABSORBANCE);
        (limit < f64::MAX).then_some(limit)
    }

    fn model(&self) -> &'static str {
        match self.way {
            Way::BeerLambert => "beer-lambert",
            Way::Calibration(_) | Way::Line => match self.line_form {
                LineForm::Straight => "calibration-line",
                LineForm::Quadratic => "calibration-line-quadratic",
            },
            Way::StandardAddition => "standard-addition",
            Way::Mixture(_) => "several-components",
            Way::NucleicAcid(_) => "nucleic-acid-ratios",
            Way::Protein => "protein-a280-a260",
        }
    }

    fn line(&self) -> CalibrationOptions {
        CalibrationOptions {
            weighting: self.weighting.clone(),
            through_origin: self.through_origin,
            ceiling: self.ceiling(),
            resolution: None,
        }
    }

    /// Why an absorbance is not to be trusted.
    fn refuse_saturated(&self, absorbance: f64) -> Result<(), StudyError> {
        match self.ceiling() {
            Some(limit) if absorbance > limit => Err(StudyError::from(Refusal::OutOfRange {
                what: "the absorbance".into(),
                value: absorbance,
                allowed: format!("at most {limit}, the end of the trusted range: dilute and measure again"),
            })),
            _ => Ok(()),
        }
    }
}

/// Quantities of every reading of a run that the plan speaks of; each gives a result or the reason why there is none.
pub fn quantify_run(plan: &QuantifyPlan, run: &Run, references: &References) -> Vec<TraceResult> {
    let whole = |why: String| {
        let mut outcome = bare(OutcomeKind::Quantify, plan.model(), run, None, plan);
        outcome.termination = why;
        vec![found(outcome, None, String::new(), PlotData::default())]
    };
    if let Some(refusal) = in_question(run) {
        return whole(told(&refusal));
    }
    let traces = match asked_traces(run, &plan.traces) {
        Ok(traces) => traces,
        Err(refusal) => return whole(told(&refusal)),
    };
    // What dilutes the readings is no reading.
    let traces: Vec<(u32, &Trace)> = if traces.iter().all(|(_, trace)| is_dilution(trace)) {
        traces
    } else {
        traces
            .into_iter()
            .filter(|(_, trace)| !is_dilution(trace))
            .collect()
    };
    if plan.together {
        return vec![repeats(plan, run, &traces, references)];
    }
    traces
        .into_iter()
        .flat_map(|(number, trace)| match (&plan.way, is_table(trace)) {
            (Way::Line | Way::StandardAddition | Way::Mixture(_), _) | (_, false) => {
                vec![of_trace(plan, run, (number, trace), None, references)]
            }
            (_, true) => (0..trace.len())
                .filter(|point| plan.point.is_none_or(|only| only == *point))
                .map(|point| of_trace(plan, run, (number, trace), Some(point), references))
                .collect(),
        })
        .collect()
}

/// Whether each point of a trace is a reading of its own: a list of samples or of concentrations.
fn is_table(trace: &Trace) -> bool {
    trace.x.quantity == Quantity::INDEX || trace.x.quantity == Quantity::CONCENTRATION
}

fn found(outcome: Outcome, trace: Option<u32>, label: String, drawn: PlotData) -> TraceResult {
    TraceResult {
        trace,
        label,
        outcome: outcome.identified(),
        drawn,
    }
}

fn of_trace(
    plan: &QuantifyPlan,
    run: &Run,
    (number, trace): (u32, &Trace),
    point: Option<usize>,
    references: &References,
) -> TraceResult {
    let own = QuantifyPlan {
        point,
        ..plan.clone()
    };
    let mut outcome = bare(OutcomeKind::Quantify, plan.model(), run, Some(number), &own);
    let mut drawn = PlotData::default();
    let at = UnknownReading {
        plan: &own,
        run,
        trace,
        references,
    };
    let done = match &plan.way {
        Way::BeerLambert => at.beer_lambert(&mut outcome),
        Way::Calibration(standards) => at.absorbance(&mut outcome).and_then(|absorbance| {
            let dilution = at.dilution(&mut outcome)?;
            let absorbance = at.among(standards, absorbance, &mut outcome)?;
            off_the_line(
                (plan, standards, dilution),
                &[absorbance],
                &mut outcome,
                &mut drawn,
            )
        }),
        Way::Line => at.line(&mut outcome, &mut drawn),
        Way::StandardAddition => at.standard_addition(&mut outcome, &mut drawn),
        Way::Mixture(components) => at.mixture(components, &mut outcome, &mut drawn),
        Way::NucleicAcid(kind) => at.nucleic_acid(*kind, &mut outcome),
        Way::Protein => at.protein(&mut outcome),
    };
    if let Err(why) = done {
        outcome.parameters.clear();
        outcome.termination = why.told();
    }
    let name = point.map(|point| {
        let name = trace
            .row_names
            .get(point)
            .filter(|name| !name.is_empty())
            .cloned();
        name.unwrap_or_else(|| format!("reading {}", point + 1))
    });
    found(
        outcome,
        Some(number),
        name.unwrap_or_else(|| label_of(trace)),
        drawn,
    )
}

/// All readings of a run as repeats of one unknown.
fn repeats(plan: &QuantifyPlan, run: &Run, traces: &[(u32, &Trace)], references: &References) -> TraceResult {
    let mut outcome = bare(OutcomeKind::Quantify, plan.model(), run, None, plan);
    let mut drawn = PlotData::default();
    let done = (|| {
        let Way::Calibration(standards) = &plan.way else {
            return Err(StudyError::unsuitable(
                "only a calibration line takes repeated readings of one unknown together",
            ));
        };
        let mut readings = Vec::new();
        for (_, trace) in traces {
            let points: Vec<Option<usize>> = if is_table(trace) {
                (0..trace.len()).map(Some).collect()
            } else {
                vec![None]
            };
            for point in points {
                let own = QuantifyPlan {
                    point,
                    ..plan.clone()
                };
                let at = UnknownReading {
                    plan: &own,
                    run,
                    trace,
                    references,
                };
                let absorbance = at.absorbance(&mut outcome)?;
                readings.push(at.among(standards, absorbance, &mut outcome)?);
            }
        }
        outcome.parameters.clear();
        let dilution = match traces.first() {
            None => Measured::bare(1.0),
            Some((_, trace)) => {
                let at = UnknownReading {
                    plan,
                    run,
                    trace,
                    references,
                };
                at.dilution(&mut outcome)?
            }
        };
        off_the_line((plan, standards, dilution), &readings, &mut outcome, &mut drawn)
    })();
    if let Err(why) = done {
        outcome.parameters.clear();
        outcome.termination = why.told();
    }
    found(outcome, None, String::new(), drawn)
}
