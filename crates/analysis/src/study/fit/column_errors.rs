//! Errors that stand in a column of their own, in the unit of what they are of.

use curvary_record::{Column, Quantity, Trace, Unit};

use crate::refusal::Refusal;
use crate::study::label_of;

/// What a column of values is in the run, and in which unit.
#[derive(Clone, Debug)]
pub(in crate::study) struct Recorded {
    quantity: Quantity,
    unit: Unit,
}

impl Recorded {
    /// What stands in a column.
    pub(in crate::study) fn of(column: &Column) -> Self {
        Self {
            quantity: column.quantity.clone(),
            unit: column.unit.clone(),
        }
    }
}

/// The errors that a trace holds of values that were recorded as `of`, in the unit of `y`, which is what they were turned into.
///
/// A head without a unit, such as `SD`, means that of the values as they stand in the run. An error is a difference: where the zero
/// of two units is not the same, as of °C and K, only its size changes.
///
/// # Errors
/// `unsuitable`, with the name of the column, where its unit does not convert into that of `y`.
pub(in crate::study) fn errors_in(errors: &Trace, of: &Recorded, y: &Column) -> Result<Vec<f64>, Refusal> {
    let own = if errors.y.unit == Unit::ONE {
        &of.unit
    } else {
        &errors.y.unit
    };
    let refused = |why: &str| Refusal::Unsuitable {
        why: format!("the errors in the column `{}` {why}", label_of(errors)),
    };
    let is_light = |unit: &Unit| unit.convert(1.0, &Unit::ONE).is_ok() && *unit != Unit::ABSORBANCE;
    let turned = of.quantity == Quantity::TRANSMITTANCE && y.quantity != Quantity::TRANSMITTANCE;
    if turned && errors.y.quantity != Quantity::ABSORBANCE && is_light(own) {
        return Err(refused(
            "are of transmittance, and what they are wanted of is absorbance",
        ));
    }
    if *own == Unit::PERCENT && of.unit != Unit::PERCENT {
        return Err(refused(
            "are in %, and it is not known of what: of each value, or an absolute part of a hundred",
        ));
    }
    let conversion = own.conversion(&y.unit).map_err(|_| {
        refused(&format!(
            "are in {}, and the values they are of in {}: these do not convert",
            named(own),
            named(&y.unit)
        ))
    })?;
    let zero = conversion.apply(0.0);
    let all = errors.y.values.iter();
    Ok(all.map(|error| conversion.apply(*error) - zero).collect())
}

/// A unit for a sentence.
fn named(unit: &Unit) -> String {
    match unit.display() {
        empty if empty.is_empty() => "pure numbers".to_owned(),
        shown => shown,
    }
}
