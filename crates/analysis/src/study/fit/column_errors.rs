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

#[cfg(test)]
mod tests {
    use super::*;

    /// The error 2 from a column with this head and unit, of values in `of`.
    fn two(head: &str, code: &str, of: (Quantity, &str)) -> Result<f64, String> {
        let unit = |code: &str| Unit::ucum(code).map_err(|error| error.to_string());
        let x = Column::new(Quantity::INDEX, Unit::ONE, vec![0.0]);
        let mut y = Column::new(Quantity::UNKNOWN, unit(code)?, vec![2.0]);
        y.name = Some(head.to_owned());
        let mut errors = Trace::new(x, y).map_err(|error| error.to_string())?;
        errors.label = Some("SD".to_owned());
        let values = Column::new(of.0, unit(of.1)?, vec![0.5]);
        let all = errors_in(&errors, &Recorded::of(&values), &values);
        all.map(|all| all[0]).map_err(|refusal| refusal.to_string())
    }

    const LIGHT: (Quantity, &str) = (Quantity::ABSORBANCE, "{AU}");

    #[test]
    fn parts_of_one_are_no_errors_of_absorbance() {
        for (head, code) in [
            ("SD (ppm)", "[ppm]"),
            ("SD (ppb)", "[ppb]"),
            ("SD (‰)", "[ppth]"),
            ("SD (%)", "%"),
            ("SD (10^-3)", "10*-3"),
            ("SD (mg/g)", "mg/g"),
        ] {
            let why = two(head, code, LIGHT).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
        }
        assert_eq!(two("SD (mAU)", "10*-3.{AU}", LIGHT), Ok(0.002));
        assert_eq!(two("SD (AU)", "{AU}", LIGHT), Ok(2.0));
        assert_eq!(two("SD", "1", LIGHT), Ok(2.0));
        // A content in parts of a million has errors in such parts.
        let content = (Quantity::CONCENTRATION, "[ppm]");
        assert_eq!(two("SD (ppm)", "[ppm]", content.clone()), Ok(2.0));
        assert_eq!(two("SD (ppb)", "[ppb]", content), Ok(0.002));
    }

    #[test]
    fn a_unit_that_is_not_understood_is_not_taken_for_none() {
        for head in [
            "SD (10^-3)",
            "SD (x1000)",
            "SD (mA)",
            "SD / mA",
            "SD [m]",
            "SD x1000",
            "SD ×10³",
            "SD*1000",
            "10^3 SD",
        ] {
            let why = two(head, "1", LIGHT).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
        }
        for head in ["SD", "SD (n=3)", "SD [n = 12]", "SD A340", "SD (1)", "std. dev.", "SD_2"] {
            assert_eq!(two(head, "1", LIGHT), Ok(2.0), "{head}");
        }
    }

    #[test]
    fn relative_errors_are_no_absolute_ones() {
        let passed = (Quantity::TRANSMITTANCE, "%");
        for (head, code, of) in [
            ("RSD (%)", "%", passed.clone()),
            ("SD (%)", "%", passed.clone()),
            ("RSD", "1", LIGHT),
            ("CV", "1", LIGHT),
            ("CV %", "%", LIGHT),
            ("rel. SD", "1", LIGHT),
            ("relative error", "1", LIGHT),
            ("SD rel", "1", LIGHT),
            ("SD_rel", "1", LIGHT),
            ("coefficient of variation", "1", LIGHT),
            ("RSD", "1", (Quantity::RATE, "{AU}/min")),
        ] {
            let why = two(head, code, of).expect_err(head);
            assert!(why.contains(&format!("`{head}`")), "{why}");
        }
        // Without a unit it is that of the values.
        assert_eq!(two("SD", "1", passed), Ok(2.0));
        // What has the unit of the values is no part of them, whatever its name.
        assert_eq!(two("CV (mAU)", "10*-3.{AU}", LIGHT), Ok(0.002));
    }
}
