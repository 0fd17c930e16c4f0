//! The standards of a calibration line.

use curvary_record::{Outcome, Quantity, Run, RunId, Trace, Unit};
use serde::{Deserialize, Serialize};

use super::reading::{Place, is_dilution};
use super::{QuantifyPlan, Way, is_table};
use crate::study::spectrum::{References, bare, in_question};
use crate::study::{concentration_of, told};

/// One standard of a calibration line, with where it was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standard {
    /// The run it was read in.
    pub run: RunId,
    /// Its concentration, in the unit of the calibration.
    pub concentration: f64,
    /// Its absorbance.
    pub absorbance: f64,
}

/// The standards of a calibration line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standards {
    /// The unit of all concentrations.
    pub unit: Unit,
    /// The standards, in given order.
    pub points: Vec<Standard>,
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
) -> Result<Standards, (RunId, String)> {
    let mut unit: Option<Unit> = None;
    let mut points = Vec::new();
    for run in runs {
        let fail = |why: String| (run.id.clone(), why);
        if let Some(refusal) = in_question(run) {
            return Err(fail(told(&refusal)));
        }
        for (number, trace) in (0..).zip(&run.traces).filter(|(_, trace)| !is_dilution(trace)) {
            let mut scratch = bare("quantify", plan.model(), run, Some(number), plan);
            let mut put = |value: f64, own: &Unit, absorbance: f64| {
                let common = unit.get_or_insert_with(|| own.clone());
                let concentration = own
                    .convert(value, common)
                    .map_err(|error| fail(error.to_string()))?;
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
                let at = Place {
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
                let (value, own) = concentration_of(run, trace, &["concentration"]).ok_or_else(|| {
                    fail("its concentration is not known; `curvary note` can add it".into())
                })?;
                if is_table(trace) {
                    return Err(fail("it lists several readings of one concentration".into()));
                }
                put(value, &own, read(None, &mut scratch)?)?;
            }
        }
    }
    Ok(Standards {
        unit: unit.unwrap_or(Unit::ONE),
        points,
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
) -> Option<Result<QuantifyPlan, String>> {
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
            .map_err(|(_, why)| format!("the standards of the same table: {why}")),
    )
}
