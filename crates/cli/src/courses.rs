//! How time courses are taken, as options that `fit` and `rates` share, and stretches of an axis.

use clap::Args;
use curvary_analysis::study::Span;
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
    /// Molar absorption coefficient, L/(mol cm), in place of the run's own
    #[arg(long, value_name = "EPSILON", help_heading = "Data")]
    pub(crate) coefficient: Option<f64>,
    /// Path length, cm, in place of the run's own
    #[arg(long, value_name = "CM", help_heading = "Data")]
    pub(crate) path: Option<f64>,
}

/// The level of intervals.
#[derive(Clone, Copy, Debug, Args)]
pub(crate) struct Level {
    /// Level of the intervals
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95, help_heading = "Errors")]
    level: f64,
}

impl CourseOptions {
    /// The limit of trust in absorbance.
    pub(crate) fn trusted(&self) -> Result<Option<f64>, Failure> {
        trusted(self.trust_below.as_deref())
    }
}

impl Level {
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
pub(crate) fn span(text: &str) -> Result<Span, Failure> {
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
    Ok(Span {
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
