use serde::{Deserialize, Serialize};

use super::{Calibration, CalibrationOptions, ConcentrationSet, Remark, Target, positive};
use crate::refusal::Refusal;

/// A concentration found by standard addition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StandardAddition {
    /// Concentration in the sample, in units of the added concentration: b0/b1 times the dilution.
    pub value: f64,
    /// Standard error, (s/|b1|)·√(1/n + ȳ²/(b1²·Sxx)) times the dilution.
    pub standard_error: f64,
    /// Limits by Fieller's theorem.
    pub limits: ConcentrationSet,
    /// Confidence level of the limits.
    pub level: f64,
    /// The factor from the measured solution to the sample.
    pub dilution: f64,
    /// The line of signal against added concentration.
    pub line: Calibration,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// Extrapolates the line of signal against added concentration to a signal of zero.
///
/// `added` is the concentration added, in the solution that was measured; `dilution` leads from that
/// solution back to the sample. The signal must be corrected for blank and volume before: a signal
/// that does not vanish without analyte makes the result wrong, and no statistic shows it.
///
/// # Errors
/// Those of [`Calibration::fit`]; `unsuitable` for a slope of 0 or a line held at the origin; `out-of-range` for a dilution that is
/// not positive or a level outside 0 to 1.
pub fn standard_addition(
    added: &[f64],
    signal: &[f64],
    options: &CalibrationOptions,
    dilution: f64,
    level: f64,
) -> Result<StandardAddition, Refusal> {
    positive("the dilution", dilution)?;
    if options.through_origin {
        return Err(Refusal::Unsuitable {
            why: "standard addition reads where the line meets zero, so it cannot be held at the origin"
                .into(),
        });
    }
    let line = Calibration::fit(added, signal, options)?;
    let zero = line.solve(&Target::MeanResponse(0.0), &[0.0], level, None)?;
    let mut remarks = line.remarks.clone();
    remarks.extend(zero.remarks);
    remarks.push(Remark::new(
        "extrapolated",
        "standard addition extrapolates: it holds only if the line is straight down to zero and the blank was taken off",
    ));
    let value = -zero.x * dilution;
    if value < 0.0 {
        remarks.push(Remark::new(
            "negative-concentration",
            "the concentration comes out below zero",
        ));
    }
    Ok(StandardAddition {
        value,
        standard_error: zero.standard_error * dilution,
        limits: zero.limits.mirrored().scaled(dilution),
        level,
        dilution,
        line,
        remarks,
    })
}
