//! How time courses are taken, as options that `fit` and `rates` share, and stretches of an axis.

use clap::Args;
use curvary_analysis::quantities::Measured;
use curvary_analysis::study::{AxisSpan, StatedDrift};
use curvary_record::Unit;
use curvary_record::unit::spelled;

use crate::ending::Failure;
use crate::steps::{number, trusted};

/// Which traces and points are taken, and in which unit.
#[derive(Debug, Args)]
pub(crate) struct CourseOptions {
    /// Traces by number (from 1) or label
    #[arg(long, value_name = "TRACE", value_delimiter = ',', help_heading = "Data")]
    pub(crate) trace: Vec<String>,
    /// Time between mixing and the first reading's zero, s
    #[arg(long, value_name = "SECONDS", help_heading = "Data")]
    pub(crate) dead_time: Option<f64>,
    /// Absorbance above which points are left out; `none` for no limit [default: 3]
    #[arg(long, value_name = "A", help_heading = "Data")]
    trust_below: Option<String>,
    /// Turn absorbance into concentration with the run's absorption coefficient and path length
    #[arg(long, help_heading = "Data")]
    pub(crate) concentration: bool,
    /// Molar absorption coefficient in place of the run's own, with its unit (`6.22 mM-1cm-1`); without one in L/(mol cm);
    /// `6220+-60` gives its error too
    #[arg(
        long,
        value_name = "EPSILON",
        help_heading = "Data",
        allow_hyphen_values = true
    )]
    coefficient: Option<String>,
    /// Path length, cm, in place of the run's own; `1.000+-0.005` gives its error too
    #[arg(long, value_name = "CM", help_heading = "Data")]
    path: Option<String>,
    /// A drift of the signal as it is known of the lamp, as a standard deviation that goes into the errors: `0.0005/h` a steady one,
    /// `0.0001/reading` a wandering by so much from each reading to the next; with a unit as in `0.5 mAU/h`
    #[arg(long, value_name = "SD/TIME", help_heading = "Errors")]
    drift: Option<String>,
}

/// The level of intervals.
#[derive(Clone, Copy, Debug, Args)]
pub(crate) struct IntervalLevel {
    /// Level of the intervals
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95, help_heading = "Errors")]
    level: f64,
}

impl CourseOptions {
    /// The limit of trust in absorbance.
    pub(crate) fn trusted(&self) -> Result<Option<f64>, Failure> {
        trusted(self.trust_below.as_deref())
    }

    /// The molar absorption coefficient, L/(mol cm).
    pub(crate) fn coefficient(&self) -> Result<Option<f64>, Failure> {
        let parts = self.coefficient.as_deref().map(coefficient_with_error);
        Ok(parts.transpose()?.map(|(value, _)| value))
    }

    /// The path length, cm.
    pub(crate) fn path(&self) -> Result<Option<f64>, Failure> {
        Ok(self
            .path
            .as_deref()
            .map(measured)
            .transpose()?
            .map(|path| path.value))
    }

    /// The drift of the signal that is stated.
    pub(crate) fn drift(&self) -> Result<Option<StatedDrift>, Failure> {
        self.drift.as_deref().map(drift).transpose()
    }

    /// Relative standard error of coefficient times path length, where one was said.
    pub(crate) fn scale_error(&self) -> Result<Option<f64>, Failure> {
        let coefficient = self
            .coefficient
            .as_deref()
            .map(coefficient_with_error)
            .transpose()?;
        let path = self.path.as_deref().map(measured).transpose()?;
        Ok(together([
            coefficient.and_then(|(_, relative)| relative),
            path.and_then(relative_error),
        ]))
    }
}

/// `5400`, `5400+-60`, `5400±60`.
pub(crate) fn measured(text: &str) -> Result<Measured, Failure> {
    match text.split_once("+-").or_else(|| text.split_once('±')) {
        None => Ok(Measured::bare(number(text)?)),
        Some((value, error)) => {
            let error = number(error)?;
            if error < 0.0 {
                return Err(Failure::usage(format!("`{text}` has an error below zero")));
            }
            Ok(Measured::with_error(number(value)?, error))
        }
    }
}

/// `0.0005/h`, `0.5 mAU/h`, `1e-4/reading`.
fn drift(text: &str) -> Result<StatedDrift, Failure> {
    let wrong = || {
        Failure::usage(format!(
            "`{text}` states no drift: expected a standard deviation per time or reading, such as 0.0005/h, 0.5 mAU/h or 0.0001/reading"
        ))
    };
    let (size, per) = text.trim().rsplit_once('/').ok_or_else(wrong)?;
    let end = size
        .char_indices()
        .find(|(at, c)| {
            let behind = &size[at + c.len_utf8()..];
            !(c.is_ascii_digit()
                || matches!(c, '.' | '+')
                || (*c == '-' && size[..*at].ends_with(['e', 'E']))
                || (matches!(c, 'e' | 'E')
                    && behind.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+'))))
        })
        .map_or(size.len(), |(at, _)| at);
    let value = number(&size[..end]).map_err(|_| wrong())?;
    if value <= 0.0 {
        return Err(Failure::usage(format!(
            "`{text}` states no drift: a standard deviation lies above zero"
        )));
    }
    let own = size[end..].trim();
    let per = match per.trim() {
        "reading" | "readings" | "point" => None,
        per => Some(
            unit(per)
                .ok()
                .filter(|unit| unit.converts_to(&Unit::SECOND))
                .ok_or_else(wrong)?,
        ),
    };
    Ok(StatedDrift {
        size: value,
        unit: (!own.is_empty()).then(|| unit(own)).transpose()?,
        per,
    })
}

/// The relative standard error of a value, where it has one.
pub(crate) fn relative_error(value: Measured) -> Option<f64> {
    value.standard_error.map(|error| (error / value.value).abs())
}

/// Relative errors that are independent, together; none where none is known.
pub(crate) fn together<const N: usize>(parts: [Option<f64>; N]) -> Option<f64> {
    let known = parts.iter().any(Option::is_some);
    known.then(|| {
        parts
            .iter()
            .flatten()
            .fold(0.0, |all: f64, part| all.hypot(*part))
    })
}

/// A coefficient as below, and its relative error: `6220+-60`, `6.22+-0.06 mM-1cm-1`.
fn coefficient_with_error(text: &str) -> Result<(f64, Option<f64>), Failure> {
    let Some((value, rest)) = text.split_once("+-").or_else(|| text.split_once('±')) else {
        return Ok((coefficient(text)?, None));
    };
    let rest = rest.trim();
    let end = rest
        .find(|c: char| !(c.is_ascii_digit() || c == '.'))
        .unwrap_or(rest.len());
    let found = measured(&format!("{}+-{}", value.trim(), &rest[..end]))?;
    Ok((
        coefficient(&format!("{} {}", value.trim(), &rest[end..]))?,
        relative_error(found),
    ))
}

/// A coefficient as above with its error, in L/(mol cm).
pub(crate) fn measured_coefficient(text: &str) -> Result<Measured, Failure> {
    let (value, relative) = coefficient_with_error(text)?;
    Ok(match relative {
        None => Measured::bare(value),
        Some(relative) => Measured::with_error(value, relative * value.abs()),
    })
}

/// `6220`, `6.22 mM-1cm-1`, `6220 L/(mol cm)`: a molar absorption coefficient in L/(mol cm).
fn coefficient(text: &str) -> Result<f64, Failure> {
    let text = text.trim();
    let end = text
        .char_indices()
        .find(|(at, c)| {
            !(c.is_ascii_digit()
                || matches!(c, '.' | '+')
                || (*c == '-' && (*at == 0 || text[..*at].ends_with(['e', 'E'])))
                || (matches!(c, 'e' | 'E')
                    && text[at + 1..].starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+'))))
        })
        .map_or(text.len(), |(at, _)| at);
    let value = number(&text[..end])?;
    let rest = text[end..].trim();
    if rest.is_empty() {
        return Ok(value);
    }
    let wrong = || {
        Failure::usage(format!(
            "`{rest}` is no unit of a molar absorption coefficient: expected one such as L/(mol cm), M-1cm-1 or mM-1cm-1"
        ))
    };
    // Molar units run into each other as people write them: `mM-1cm-1`.
    let folded: String = rest
        .replace(['·', '*', '.', '(', ')', '^'], "")
        .replace('⁻', "-")
        .replace('¹', "1")
        .replace('²', "2")
        .chars()
        .filter(|c| !c.is_whitespace())
        .collect();
    let code = match folded.as_str() {
        "M-1cm-1" | "Lmol-1cm-1" | "L/molcm" | "L/mol/cm" | "cm-1M-1" | "/M/cm" => "L/mol/cm",
        "mM-1cm-1" | "Lmmol-1cm-1" | "L/mmolcm" | "L/mmol/cm" | "cm-1mM-1" | "/mM/cm" => "L/mmol/cm",
        "uM-1cm-1" | "µM-1cm-1" | "μM-1cm-1" | "Lumol-1cm-1" | "L/umol/cm" => "L/umol/cm",
        "cm2/mol" | "cm2mol-1" => "cm2/mol",
        "m2/mol" | "m2mol-1" => "m2/mol",
        other => other,
    };
    let own = Unit::ucum(code).ok().map_or_else(|| unit(rest), Ok)?;
    let wanted = Unit::ucum("L/mol/cm").map_err(|_| wrong())?;
    own.convert(value, &wanted).map_err(|_| wrong())
}

impl IntervalLevel {
    /// The level, which lies between 0 and 1.
    pub(crate) fn checked(self) -> Result<f64, Failure> {
        if self.level > 0.0 && self.level < 1.0 {
            return Ok(self.level);
        }
        Err(Failure::usage(format!(
            "the level {} lies not between 0 and 1",
            self.level
        )))
    }
}

/// A unit by its code or as people spell it.
pub(crate) fn unit(text: &str) -> Result<Unit, Failure> {
    Unit::ucum(text)
        .ok()
        .or_else(|| spelled(text).one().cloned())
        .ok_or_else(|| Failure::usage(format!("`{text}` is no unit that is known here")))
}

/// `30..600s`, `0.5..10 min`, `400..600nm`.
pub(crate) fn span(text: &str) -> Result<AxisSpan, Failure> {
    let wrong = || {
        Failure::usage(format!(
            "`{text}` is no stretch of an axis: expected FROM..TO, such as 30..600s"
        ))
    };
    let (from, rest) = text.split_once("..").ok_or_else(wrong)?;
    let end = rest
        .char_indices()
        .find(|(at, c)| {
            !(c.is_ascii_digit()
                || matches!(c, '.' | '-' | '+')
                || (matches!(c, 'e' | 'E')
                    && rest[at + 1..].starts_with(|c: char| c.is_ascii_digit() || c == '-')))
        })
        .map_or(rest.len(), |(at, _)| at);
    let (to, unit_text) = rest.split_at(end);
    let unit_text = unit_text.trim();
    Ok(AxisSpan {
        from: number(from).map_err(|_| wrong())?,
        to: number(to).map_err(|_| wrong())?,
        unit: if unit_text.is_empty() {
            None
        } else {
            Some(unit(unit_text)?)
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coefficients_in_many_units() {
        for (text, wanted) in [
            ("6220", 6220.0),
            ("6.22 mM-1cm-1", 6220.0),
            ("6.22mM⁻¹·cm⁻¹", 6220.0),
            ("6.22e3 L/(mol cm)", 6220.0),
            ("6220 M-1 cm-1", 6220.0),
            ("6.22e6 cm2/mol", 6220.0),
            ("622 m2/mol", 6220.0),
        ] {
            let found = coefficient(text).ok();
            assert!(
                found.is_some_and(|found| (found - wanted).abs() < 1e-6 * wanted),
                "{text}: {found:?}"
            );
        }
        let near = |found: Result<(f64, Option<f64>), Failure>, value: f64| {
            found.is_ok_and(|(own, relative)| {
                (own - value).abs() < 1e-9 * value && relative.is_some_and(|r| (r - 0.01).abs() < 1e-12)
            })
        };
        assert!(near(coefficient_with_error("6220+-62.2"), 6220.0));
        assert!(near(coefficient_with_error("6.22±0.0622 mM-1cm-1"), 6220.0));
        assert!(coefficient_with_error("6.22+-a").is_err());
        assert!(coefficient("6220 nm").is_err());
        assert!(coefficient("large").is_err());
    }

    #[test]
    fn drifts_are_per_time_or_per_reading() {
        let plain = drift("0.0005/h").ok();
        assert!(
            plain.is_some_and(|drift| drift.size == 0.0005 && drift.unit.is_none() && drift.per.is_some())
        );
        let milli = drift("0.5 mAU/h").ok().and_then(|drift| drift.unit);
        assert!(milli.is_some_and(|unit| unit.convert(1.0, &Unit::ABSORBANCE) == Ok(0.001)));
        assert!(drift("1e-4/reading").is_ok_and(|drift| drift.size == 1e-4 && drift.per.is_none()));
        for wrong in [
            "0.0005",
            "0/h",
            "-1e-4/h",
            "0.0005/nm",
            "0.0005 furlong/h",
            "/h",
            "a/h",
        ] {
            assert!(drift(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn stretches_have_units_or_none() {
        let plain = span("0.5..10").ok();
        assert!(plain.is_some_and(|span| span.from == 0.5 && span.to == 10.0 && span.unit.is_none()));
        let timed = span("30..600s").ok();
        assert!(timed.is_some_and(|span| span.to == 600.0 && span.unit == Some(Unit::SECOND)));
        let small = span("1e-3..2e-3 min").ok();
        assert!(small.is_some_and(|span| span.to == 0.002 && span.unit == Some(Unit::MINUTE)));
        assert!(span("30").is_err());
        assert!(span("a..b").is_err());
        assert!(span("1..2 furlong").is_err());
    }
}
