//! The standards of a calibration line.

use curvary_record::{Outcome, OutcomeKind, Quantity, Run, RunId, Trace, Unit};
use serde::{Deserialize, Serialize};

use super::reading::{UnknownReading, is_dilution};
use super::{QuantifyPlan, Way, is_table};
use crate::study::StudyError;
use crate::study::spectrum::{References, bare, in_question};
use crate::study::stated_concentration;
use crate::wording::Six;

/// One standard of a calibration line, with where it was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standard {
    /// The run it was read in.
    pub run: RunId,
    /// Its concentration, in the unit of the calibration.
    pub concentration: f64,
    /// Its absorbance, turned to the path length of the first standard where paths differ.
    pub absorbance: f64,
}

/// The standards of a calibration line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standards {
    /// The unit of all concentrations.
    pub unit: Unit,
    /// The standards, in given order.
    pub points: Vec<Standard>,
    /// Path length that their absorbances are of, cm, where all say theirs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub path: Option<f64>,
    /// Wavelength that they were read at, nm, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wavelength: Option<f64>,
    /// Step of their readings, AU, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolution: Option<f64>,
}

/// Wavelengths that differ by more than this, in nm, are not the same. A choice: photometers agree within 1 nm (the
/// pharmacopoeias' limit in the ultraviolet), and read-outs are rounded.
const APART: f64 = 1.0;

impl Standards {
    /// The reading of an unknown as it would be in the cells of the standards, by the Beer-Lambert law; with a word where it was
    /// turned. `path` is that of the unknown in cm, `wavelength` where it was read in nm, where they are known.
    ///
    /// # Errors
    /// Another wavelength than that of the standards.
    pub(super) fn as_among_them(
        &self,
        absorbance: f64,
        path: Option<f64>,
        wavelength: Option<f64>,
    ) -> Result<(f64, Option<String>), StudyError> {
        same_wavelength(self.wavelength, wavelength).map_err(|(standards, own)| {
            StudyError::unsuitable(format!(
                    "it was read at {own} nm, the standards at {standards} nm: a line through standards holds at their wavelength only"
                ))
        })?;
        match (self.path, path) {
            (Some(standards), Some(own)) if differs(standards, own) => {
                let turned = absorbance * standards / own;
                Ok((
                    turned,
                    Some(format!(
                        "read through {own} cm, the standards through {standards} cm: by the Beer-Lambert law the absorbance {} is \
                         {} in the cells of the standards; what does not grow with the path (the cell itself) would make that wrong",
                        Six(absorbance),
                        Six(turned)
                    )),
                ))
            }
            _ => Ok((absorbance, None)),
        }
    }
}

/// Whether two path lengths are not the same to a thousandth, finer than cells are made.
pub(super) fn differs(one: f64, other: f64) -> bool {
    (one - other).abs() > 1e-3 * one.abs().max(other.abs())
}

fn same_wavelength(one: Option<f64>, other: Option<f64>) -> Result<(), (f64, f64)> {
    match (one, other) {
        (Some(one), Some(other)) if (one - other).abs() > APART => Err((one, other)),
        _ => Ok(()),
    }
}

/// Collects the standards of a calibration line from runs: tables of concentration against absorbance, and runs whose
/// concentration is known and that are read like an unknown. All concentrations are turned into the unit of the first.
///
/// # Errors
/// The first run that is no standard, with the reason.
pub fn standards_of(
    plan: &QuantifyPlan,
    runs: &[Run],
    references: &References,
) -> Result<Standards, (RunId, StudyError)> {
    let mut unit: Option<Unit> = None;
    let mut points = Vec::new();
    let mut wavelength: Option<f64> = None;
    let mut paths: Vec<Option<f64>> = Vec::new();
    let mut decimals: Option<u8> = None;
    for run in runs {
        let fail = |why: StudyError| (run.id.clone(), why);
        let unsuitable = |why: String| fail(StudyError::unsuitable(why));
        if let Some(refusal) = in_question(run) {
            return Err(fail(refusal.into()));
        }
        for (number, trace) in (0..).zip(&run.traces).filter(|(_, trace)| !is_dilution(trace)) {
            let mut scratch = bare(OutcomeKind::Quantify, plan.model(), run, Some(number), plan);
            let place = UnknownReading {
                plan,
                run,
                trace,
                references,
            };
            let own = place.wavelength();
            same_wavelength(wavelength, own).map_err(|(first, own)| {
                unsuitable(format!(
                    "it was read at {own} nm, another standard at {first} nm: one line holds at one wavelength"
                ))
            })?;
            wavelength = wavelength.or(own);
            let path = place.path_of_trace();
            decimals = match trace.y.decimals.max() {
                Some(own) if trace.y.quantity == Quantity::ABSORBANCE && plan.steps.is_empty() => {
                    Some(decimals.map_or(own, |known| known.max(own)))
                }
                _ => decimals,
            };
            let mut put = |value: f64, own: &Unit, absorbance: f64| {
                let common = unit.get_or_insert_with(|| own.clone());
                let concentration = own
                    .convert(value, common)
                    .map_err(|error| unsuitable(error.to_string()))?;
                paths.push(path);
                points.push(Standard {
                    run: run.id.clone(),
                    concentration,
                    absorbance,
                });
                Ok(())
            };
            let read = |point: Option<usize>, scratch: &mut Outcome| {
                let own = QuantifyPlan {
                    point,
                    // Standards beyond the trusted range are left out by the line and told there.
                    trusted_absorbance: Some(f64::MAX),
                    ..plan.clone()
                };
                let at = UnknownReading {
                    plan: &own,
                    run,
                    trace,
                    references,
                };
                at.absorbance(scratch).map_err(fail)
            };
            if trace.x.quantity == Quantity::CONCENTRATION {
                for (point, value) in trace.x.values.iter().enumerate() {
                    put(*value, &trace.x.unit, read(Some(point), &mut scratch)?)?;
                }
            } else {
                let (value, own) = stated_concentration(run, trace, &["concentration"])
                    .map_err(|several| {
                        let advice = match run.traces.len() {
                            1 => "; `curvary note` can say it",
                            _ => "",
                        };
                        unsuitable(format!(
                            "it is said to hold {several}, and not which of these is its concentration{advice}"
                        ))
                    })?
                    .ok_or_else(|| {
                        unsuitable("its concentration is not known; `curvary note` can add it".into())
                    })?;
                if is_table(trace) {
                    return Err(unsuitable(
                        "it lists several readings of one concentration".into(),
                    ));
                }
                put(value, &own, read(None, &mut scratch)?)?;
            }
        }
    }
    let mut path = paths.first().copied().flatten();
    if paths.iter().any(Option::is_none) {
        let known: Vec<f64> = paths.iter().copied().flatten().collect();
        let other = points.iter().zip(&paths).find(|(_, path)| path.is_none());
        if let (Some(first), Some((without, _))) = (known.first(), other)
            && known.iter().any(|path| differs(*path, *first))
        {
            return Err((
                without.run.clone(),
                StudyError::unsuitable(
                    "its path length is not known, and those of the others differ: `curvary note` can add it",
                ),
            ));
        }
        path = None;
    }
    if let Some(first) = path {
        for (point, path) in points.iter_mut().zip(&paths) {
            if let Some(own) = path.filter(|own| differs(first, *own)) {
                point.absorbance *= first / own;
            }
        }
    }
    Ok(Standards {
        unit: unit.unwrap_or(Unit::ONE),
        points,
        path,
        wavelength,
        resolution: decimals.map(|decimals| 10f64.powi(-i32::from(decimals))),
    })
}

/// Where standards and unknowns stand in one table, the rows without a concentration are a run of their own. Gives the plan by which
/// such a run is read off the line through the standards of `others`, the runs of the same table; none where a line was not asked
/// for, or this is no list of readings, or none of the others is a table of standards.
///
/// # Errors
/// Why the others are no standards.
pub fn beside_standards(
    plan: &QuantifyPlan,
    run: &Run,
    others: &[&Run],
    references: &References,
) -> Option<Result<QuantifyPlan, StudyError>> {
    let runs_along = |run: &Run, quantity: &Quantity| {
        let mut readings = run
            .traces
            .iter()
            .filter(|trace: &&Trace| !is_dilution(trace))
            .peekable();
        readings.peek().is_some() && readings.all(|trace| trace.x.quantity == *quantity)
    };
    if plan.way != Way::Line || !runs_along(run, &Quantity::INDEX) {
        return None;
    }
    let standards: Vec<Run> = others
        .iter()
        .filter(|other| other.id != run.id && runs_along(other, &Quantity::CONCENTRATION))
        .map(|other| (*other).clone())
        .collect();
    if standards.is_empty() {
        return None;
    }
    Some(
        standards_of(plan, &standards, references)
            .map(|standards| QuantifyPlan {
                way: Way::Calibration(standards),
                ..plan.clone()
            })
            .map_err(|(_, why)| why.reworded(|why| format!("the standards of the same table: {why}"))),
    )
}
