//! Traces as decadic absorbance, before anything is computed that holds for absorbance only.
//!
//! A rate law, a limit of trust and the law of Beer and Lambert speak of absorbance: not of thousandths of it, and not
//! of transmittance, which falls exponentially with the concentration.

use curvary_record::{Code, Column, Decimals, Diagnostic, Lines, Quantity, Trace, Unit, code};

use crate::refusal::Refusal;
use crate::spectra::absorbance_of;

/// The trace in absorbance, with what was done to it in words; none where it is absorbance as it stands, or neither
/// absorbance nor transmittance.
///
/// # Errors
/// [`Refusal::Unsuitable`] where no point of a transmittance has an absorbance.
pub(crate) fn as_absorbance(trace: &Trace) -> Result<Option<(Trace, Vec<Diagnostic>)>, Refusal> {
    let y = &trace.y;
    let (values, words): (Vec<Option<f64>>, String) = if y.quantity == Quantity::ABSORBANCE {
        let Ok(one) = y.unit.convert(1.0, &Unit::ABSORBANCE) else {
            return Ok(None);
        };
        if one == 1.0 {
            return Ok(None);
        }
        let values = y
            .values
            .iter()
            .map(|v| y.unit.convert(*v, &Unit::ABSORBANCE).ok());
        (
            values.collect(),
            format!(
                "{} was turned into {}",
                y.unit.display(),
                Unit::ABSORBANCE.display()
            ),
        )
    } else if y.quantity == Quantity::TRANSMITTANCE && y.unit.convert(1.0, &Unit::ONE).is_ok() {
        let values = y
            .values
            .iter()
            .map(|v| y.unit.convert(*v, &Unit::ONE).ok().and_then(absorbance_of));
        (
            values.collect(),
            "transmittance was turned into absorbance, A = -lg T (decadic)".to_owned(),
        )
    } else {
        return Ok(None);
    };
    let kept: Vec<usize> = (0..values.len()).filter(|i| values[*i].is_some()).collect();
    let mut remarks = vec![Diagnostic::note(Code::new("converted"), words)];
    let lost = values.len() - kept.len();
    if lost > 0 {
        if kept.is_empty() {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "none of the {lost} points has an absorbance: their transmittance is zero or below"
                ),
            });
        }
        remarks.push(Diagnostic::warning(
            code::POINTS_LEFT_OUT,
            format!(
                "{lost} {} left out: a transmittance of zero or below has no absorbance",
                if lost == 1 { "point was" } else { "points were" }
            ),
        ));
    }
    let mut all = trace.clone();
    if lost > 0 {
        let x: Vec<f64> = kept.iter().map(|i| trace.x.values[*i]).collect();
        all.x = Column {
            values: x.into(),
            decimals: Decimals::default(),
            ..trace.x.clone()
        };
        all.saturated = (0..)
            .zip(&kept)
            .filter(|(_, old)| trace.saturated.iter().any(|at| *at as usize == **old))
            .map(|(new, _)| new)
            .collect();
        all.lines = Lines::default();
        if !trace.row_names.is_empty() {
            all.row_names = kept
                .iter()
                .filter_map(|i| trace.row_names.get(*i).cloned())
                .collect();
        }
    }
    let values: Vec<f64> = values.into_iter().flatten().collect();
    all.y = Column {
        quantity: Quantity::ABSORBANCE,
        unit: Unit::ABSORBANCE,
        name: trace.y.name.clone(),
        values: values.into(),
        decimals: Decimals::default(),
    };
    Ok(Some((all, remarks)))
}
