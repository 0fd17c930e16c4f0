//! Units with the substance inside that is measured out: `mg P/l`, `mg NO3-N/L`, `U LDH/ml`, `mg CaCO3/l`.

use super::*;

/// A header without the substance inside its unit, and the substance: `mg/l` and `P` of `mg P/l`, `c (mg/L)` and `NO3-N` of
/// `c (mg NO3-N/L)`. An amount times a unit, over a volume or a mass, is no unit of this trade, but for areas under curves of
/// concentration over time (`mg h/L`).
pub(super) fn without_substance(text: &str) -> Option<(String, &str)> {
    let stroke = text.rfind('/')?;
    let under = text[stroke + 1..].trim_end_matches([')', ']', ' ']).trim();
    let over = text[..stroke].trim_end();
    let blank = over.rfind(' ')?;
    let (front, substance) = (over[..blank].trim_end(), over[blank + 1..].trim());
    let amount = front.rsplit([' ', '(', '[', ',', ';']).next()?;
    let like = |unit: &str, codes: &[&str]| {
        spelled(unit).units().iter().any(|unit| {
            codes
                .iter()
                .any(|code| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other)))
        })
    };
    let named = substance.starts_with(char::is_alphabetic)
        && substance
            .chars()
            .all(|c| c.is_alphanumeric() || matches!(c, '-' | '+' | '−' | '⁻' | '⁺' | '₀'..='₉'))
        && !is_link(substance);
    let of_time = substance.chars().all(char::is_lowercase) && like(substance, &["s", "L", "m"]);
    let amount = amount.starts_with(char::is_alphabetic) && like(amount, &["g", "mol", "U", "[iU]", "kat"]);
    (named && !of_time && amount && like(under, &["L", "g"]))
        .then(|| (format!("{front}/{}", text[stroke + 1..].trim_start()), substance))
}
