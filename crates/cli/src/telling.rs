//! Results as people read them: values with errors and units, rounded by how sure they are.

use std::io::Write;

use curvary_record::{Diagnostic, Interval, Outcome, Parameter, Severity, code};

use crate::ending::Failure;
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText};
use crate::table::{Listing, ListingColumn, TableCell, one_line};

/// The remark of results whose errors are valid only if nothing drifts.
pub(crate) const DRIFT: &str = "drift-not-excluded";

/// A value and its error, both to two figures of the error; the error is empty where none is known.
///
/// Two figures of the standard uncertainty are the usual practice (GUM, JCGM 100:2008, 7.2.6).
pub(crate) fn rounded(value: f64, error: Option<f64>) -> (String, String) {
    let Some(error) = error.filter(|error| *error > 0.0 && error.is_finite()) else {
        return (significant(value), String::new());
    };
    // The place of the second figure, after rounding the error to two of them (0.0996 becomes 0.10).
    let place = |error: f64| 1 - error.abs().log10().floor() as i32;
    let digits = place(format!("{error:.1e}").parse().unwrap_or(error));
    let size = value.abs().max(error);
    // A double holds fifteen figures: an error below them is that of the arithmetic, not of a measurement.
    if error < size * 1e-15 {
        return (format!("{value:.14e}"), format!("{error:.0e}"));
    }
    if (0..=9).contains(&digits) && size < 1e7 {
        let digits = usize::try_from(digits).unwrap_or(0);
        return (format!("{value:.digits$}"), format!("{error:.digits$}"));
    }
    if (-4..0).contains(&digits) && size < 1e7 {
        let unit = 10f64.powi(-digits);
        let whole = |value: f64| format!("{:.0}", (value / unit).round() * unit);
        return (whole(value), whole(error));
    }
    let power = size.log10().floor() as i32;
    let digits = usize::try_from(digits + power).unwrap_or(0);
    let scaled = |value: f64| format!("{:.digits$}", value / 10f64.powi(power));
    (
        format!("{}e{power}", scaled(value)),
        format!("{}e{power}", scaled(error)),
    )
}

/// A number whose error is not known, to six figures.
pub(crate) fn significant(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let power = value.abs().log10().floor();
    if (-4.0..7.0).contains(&power) {
        let digits = (5.0 - power).max(0.0) as usize;
        let text = format!("{value:.digits$}");
        if text.contains('.') {
            return text.trim_end_matches('0').trim_end_matches('.').to_owned();
        }
        return text;
    }
    format!("{value:.5e}")
}

/// A parameter's value with its error in brackets of ±, and its unit.
pub(crate) fn value(parameter: &Parameter) -> (String, String, String) {
    let unit = parameter
        .unit
        .as_ref()
        .map(|unit| unit.display())
        .unwrap_or_default();
    match parameter.value {
        None => ("not determined".to_owned(), String::new(), String::new()),
        Some(value) => {
            let (shown, error) = rounded(value, parameter.standard_error);
            if error.is_empty() {
                return (rounded(value, half(parameter)).0, error, unit);
            }
            (shown, format!("± {error}"), unit)
        }
    }
}

/// The interval that is shown of a parameter.
fn best_interval(parameter: &Parameter) -> Option<&Interval> {
    let all = &parameter.intervals;
    let best = all
        .iter()
        .rev()
        .find(|interval| !matches!(interval.kind.as_str(), "bootstrap" | "monte-carlo"));
    best.or(all.last())
}

/// By what a value without an error of its own is rounded: half of the way to the nearer end of its interval.
fn half(parameter: &Parameter) -> Option<f64> {
    let (value, interval) = (parameter.value?, best_interval(parameter)?);
    Some((value - interval.low?).min(interval.high? - value) / 2.0)
}

/// The best interval of a parameter in words: `95 %: 1.2 to 3.4`. One by dealing out residuals is a second opinion, and stands in
/// its remark.
pub(crate) fn interval(parameter: &Parameter) -> String {
    let Some(interval) = best_interval(parameter) else {
        return String::new();
    };
    let half = half(parameter);
    let end = |end: Option<f64>, lost: &Option<String>| match (end, parameter.standard_error) {
        (None, _) if lost.is_some() => "not found".to_owned(),
        (None, _) => "open".to_owned(),
        (Some(value), None) => rounded(value, half.map(|half| half.min(value.abs() / 2.0))).0,
        (Some(value), error) => rounded(value, error).0,
    };
    format!(
        "{} % {} to {}",
        significant(interval.level * 100.0),
        end(interval.low, &interval.low_not_found),
        end(interval.high, &interval.high_not_found)
    )
}

/// A result under a heading of its own: parameters, how it ended, and what was odd.
pub(crate) fn print_outcome(heading: &str, outcome: &Outcome, screen: &mut Screen) -> Result<(), Failure> {
    print_beside(heading, outcome, &[], screen)
}

/// The same of one of several results of the same values; `said`: remarks about these values that the one before has printed.
pub(crate) fn print_beside(
    heading: &str,
    outcome: &Outcome,
    said: &[Diagnostic],
    screen: &mut Screen,
) -> Result<(), Failure> {
    writeln!(
        screen,
        "{}  {}",
        StyledText(STRONG, one_line(heading)),
        StyledText(FAINT, one_line(&outcome.model))
    )?;
    if outcome.parameters.is_empty() {
        let style = if outcome.statistics.is_empty() {
            ASKED
        } else {
            FAINT
        };
        writeln!(screen, "  {}", StyledText(style, one_line(&outcome.termination)))?;
    } else {
        parameters(outcome, screen)?;
        writeln!(screen, "  {}", StyledText(FAINT, ended(outcome)))?;
    }
    let (again, own): (Vec<&Diagnostic>, Vec<&Diagnostic>) = outcome
        .remarks
        .iter()
        .filter(|remark| !is_caution(remark))
        .partition(|remark| said.contains(remark));
    for own in own {
        remark(own, screen)?;
    }
    if !again.is_empty() {
        let words = "what is said above of the values that went in holds of this, too";
        writeln!(screen, "  {}", StyledText(FAINT, words))?;
    }
    screen.caution(&outcome.remarks);
    Ok(())
}

/// Whether a remark is about the safety of people, which is said once a command.
pub(crate) fn is_caution(remark: &Diagnostic) -> bool {
    remark.code == code::CAUTION
}

/// The parameters of a result as a table.
pub(crate) fn parameters(outcome: &Outcome, screen: &mut Screen) -> Result<(), Failure> {
    let mut table = Listing::new([
        ListingColumn::new(""),
        ListingColumn::new("").right(),
        ListingColumn::new(""),
        ListingColumn::new(""),
        ListingColumn::new("").rank(2),
        ListingColumn::new("").rank(1),
    ]);
    for parameter in &outcome.parameters {
        let (value, error, unit) = value(parameter);
        let reason = parameter.reason.as_deref().unwrap_or_default();
        table.row([
            format!("  {}", parameter.name).into(),
            value.into(),
            error.into(),
            unit.into(),
            TableCell::styled(interval(parameter), FAINT),
            TableCell::styled(one_line(reason).as_str(), ASKED),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    Ok(())
}

/// How a result ended: points, scatter, and how the search came to its end.
pub(crate) fn ended(outcome: &Outcome) -> String {
    let mut parts = Vec::new();
    if let Some(points) = outcome.statistics.get("points") {
        parts.push(format!("{points} points"));
    }
    if let Some(sd) = outcome.statistics.get("residual_standard_deviation") {
        parts.push(format!("residual standard deviation {}", significant(*sd)));
    }
    if !outcome.termination.is_empty() {
        parts.push(outcome.termination.clone());
    }
    one_line(&parts.join(", "))
}

/// A remark in one line.
pub(crate) fn remark(remark: &Diagnostic, screen: &mut Screen) -> Result<(), Failure> {
    let style = if remark.severity == Severity::Note {
        FAINT
    } else {
        ASKED
    };
    writeln!(screen, "  {}", StyledText(style, one_line(&remark.message)))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_rounded_to_two_figures_of_their_error() {
        for (value, error, wanted) in [
            (0.012_345, 0.000_123, ("0.01235", "0.00012")),
            (123.456, 9.87, ("123.5", "9.9")),
            (0.5, 0.0996, ("0.50", "0.10")),
            (123_456.0, 1234.0, ("123500", "1200")),
            (2.0e-9, 3.0e-11, ("2.000e-9", "0.030e-9")),
            (-1.5, 0.25, ("-1.50", "0.25")),
        ] {
            let (shown, sure) = rounded(value, Some(error));
            assert_eq!((shown.as_str(), sure.as_str()), wanted, "{value} ± {error}");
        }
        assert_eq!(rounded(0.25, None), ("0.25".to_owned(), String::new()));
        assert_eq!(significant(500.0), "500");
    }

    #[test]
    fn a_value_without_an_error_is_rounded_by_its_interval() {
        let own = |value, low, high| Parameter {
            name: "frequency factor".into(),
            value: Some(value),
            unit: None,
            standard_error: None,
            intervals: vec![Interval {
                level: 0.95,
                low,
                high,
                kind: "t".into(),
                ..Interval::default()
            }],
            reason: None,
        };
        let both = own(6.736_44e8, Some(2.586_97e8), Some(1.754_16e9));
        assert_eq!(value(&both).0, "6.7e8");
        assert_eq!(interval(&both), "95 % 2.6e8 to 1.75e9");
        let wide = own(30.0, Some(0.001), Some(1e6));
        assert_eq!(value(&wide).0, "30");
        assert_eq!(interval(&wide), "95 % 0.00100 to 1000000");
        assert_eq!(value(&own(0.123_456_7, None, Some(0.2))).0, "0.123457");
    }

    #[test]
    fn numbers_without_an_error_have_six_figures() {
        assert_eq!(significant(1.234_567_8e-7), "1.23457e-7");
    }
}
