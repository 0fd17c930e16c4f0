//! What the labels of a block state about its table: ends, spacing, factors, counts, extremes.

use crate::number::{Decimal, Exponents, parse_long, scan};
use crate::remark::{Code, Notes, Span, quote};

/// A number that a label states.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StatedNumber {
    pub(crate) decimal: Decimal,
    pub(crate) line: u32,
    pub(crate) span: Span,
}

impl StatedNumber {
    pub(crate) fn value(&self) -> f64 {
        self.decimal.value()
    }
}

/// Everything the labels say about one table. Absent where the label is absent or unreadable.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LabelAxis {
    pub(crate) first_x: Option<StatedNumber>,
    pub(crate) last_x: Option<StatedNumber>,
    pub(crate) delta_x: Option<StatedNumber>,
    pub(crate) max_x: Option<StatedNumber>,
    pub(crate) min_x: Option<StatedNumber>,
    pub(crate) first_y: Option<StatedNumber>,
    pub(crate) max_y: Option<StatedNumber>,
    pub(crate) min_y: Option<StatedNumber>,
    pub(crate) npoints: Option<StatedNumber>,
    pub(crate) x_factor: Decimal,
    pub(crate) y_factor: Decimal,
    pub(crate) w_factor: Decimal,
    /// YFACTOR is stated again with another value.
    pub(crate) other_y_factor: Option<Decimal>,
    /// YFACTOR is not stated.
    pub(crate) y_factor_missing: bool,
    /// A label of the table has a decimal comma.
    pub(crate) comma: bool,
}

impl LabelAxis {
    /// The stated count of points, if it is a whole number.
    pub(crate) fn count(&self) -> Option<usize> {
        let stated = self.npoints?;
        let value = stated.value();
        (value >= 0.0 && value.fract() == 0.0 && value < 1e15).then_some(value as usize)
    }
}

/// Reads the number at the start of a label's value. A comma between digits is a decimal sign there, because one
/// label holds one number.
pub(crate) fn stated(
    label: &str,
    text: &str,
    line: u32,
    span: Span,
    comma: &mut bool,
    notes: &mut Notes<'_>,
) -> Option<StatedNumber> {
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    let bytes = text.as_bytes();
    let has_comma = !text.contains('.')
        && bytes
            .windows(3)
            .any(|w| w[0].is_ascii_digit() && w[1] == b',' && w[2].is_ascii_digit())
        && bytes.iter().filter(|b| **b == b',').count() == 1;
    let point = if has_comma { b',' } else { b'.' };
    let Some(number) = scan(bytes, 0, point, Exponents::Free) else {
        notes.add(
            Code::LabelNotANumber,
            line,
            span,
            format!("{label}={}", quote(text)),
            "a number",
        );
        return None;
    };
    if has_comma {
        *comma = true;
        notes.add(
            Code::DecimalCommaInLabel,
            line,
            span,
            quote(text),
            "a decimal point",
        );
    }
    let rest = text[number.end..].trim();
    if changes_the_number(rest) {
        notes.add(
            Code::LabelNotANumber,
            line,
            span,
            format!("{label}={}", quote(text)),
            "one plain number",
        );
        return None;
    }
    if !rest.is_empty() {
        notes.add(
            Code::TextAfterNumber,
            line,
            span,
            quote(rest),
            "nothing behind the number",
        );
    }
    let decimal = number
        .decimal()
        .or_else(|| shortest(parse_long(&text[..number.end], point)?));
    match decimal.filter(|d| d.value().is_finite()) {
        Some(decimal) => Some(StatedNumber { decimal, line, span }),
        None => {
            notes.add(
                Code::LabelNotANumber,
                line,
                span,
                format!("{label}={}", quote(text)),
                "a number in range",
            );
            None
        }
    }
}

/// Whether text behind a number may belong to it: `1/1000`, `1 x 10-3`, `1D-3`, `1,400.5`, `1 400.5`. A unit or a word
/// may not.
fn changes_the_number(rest: &str) -> bool {
    let mut chars = rest.chars();
    let Some(first) = chars.next() else { return false };
    let next = chars.next();
    match first {
        '(' | '[' | '%' | '°' | '$' | ';' => false,
        'x' | 'X' => next.is_none_or(|c| !c.is_alphabetic()),
        'e' | 'E' | 'd' | 'D' => next.is_some_and(|c| c.is_ascii_digit() || matches!(c, '+' | '-')),
        first => !first.is_alphabetic(),
    }
}

/// The shortest decimal that gives `value` back.
pub(crate) fn shortest(value: f64) -> Option<Decimal> {
    let text = format!("{value:e}");
    scan(text.as_bytes(), 0, b'.', Exponents::Free)?.decimal()
}
