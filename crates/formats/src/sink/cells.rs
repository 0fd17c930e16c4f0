//! Cells into numbers: nothing but plain decimals, and none of them guessed.

use curvary_record::{Column, Decimals, Numbers, Quantity, Span, Unit};

use super::{ColumnInput, ContractViolation, SpanUnit, Values, breach};
use crate::Source;

/// What a column is of.
#[derive(Clone, Debug)]
pub(super) struct CellMeaning {
    pub(super) quantity: Quantity,
    pub(super) unit: Unit,
    pub(super) name: Option<String>,
}

impl CellMeaning {
    pub(super) fn column(&self, numbers: Numbers, decimals: Decimals) -> Column {
        Column {
            quantity: self.quantity.clone(),
            unit: self.unit.clone(),
            name: self.name.clone(),
            values: numbers,
            decimals,
        }
    }
}

/// The numbers of a column, as many as it has cells; those that are absent stand as zero and are never shown.
#[derive(Clone, Debug, Default)]
pub(super) struct ColumnNumbers {
    pub(super) count: usize,
    pub(super) numbers: Numbers,
    pub(super) decimals: Decimals,
    /// Cells without a number, in order.
    pub(super) absent: Vec<usize>,
    /// How many of these are not empty.
    pub(super) unreadable: usize,
    /// The line of each cell, where lines are known.
    pub(super) lines: Vec<u32>,
}

impl ColumnNumbers {
    pub(super) fn has(&self, at: usize) -> bool {
        self.absent.binary_search(&at).is_err()
    }

    /// The numbers at which `both` holds.
    pub(super) fn only(&self, both: &[bool]) -> (Numbers, Decimals) {
        let kept = |at: &usize| both.get(*at).copied().unwrap_or(false);
        let numbers: Numbers = (0..self.count)
            .filter(kept)
            .filter_map(|at| self.numbers.get(at).copied())
            .collect();
        let mut decimals = Decimals::default();
        for (_, digits) in self.decimals.iter().enumerate().filter(|(at, _)| kept(at)) {
            decimals.push(digits);
        }
        (numbers, decimals)
    }
}

/// The numbers of a column; `odd` is told of each cell that is not empty and no number.
pub(super) fn read<'c>(
    said: &ColumnInput<'c>,
    source: &Source,
    counting: SpanUnit,
    mut odd: impl FnMut(&'c str, Span),
) -> Result<ColumnNumbers, ContractViolation> {
    let mut numbered = ColumnNumbers::default();
    match said.values {
        Values::Texts(cells) => {
            let mut numbers = Vec::with_capacity(cells.len());
            for (at, cell) in cells.iter().enumerate() {
                let text = cell.text.trim();
                match number(text, said.comma) {
                    Some((value, digits)) => {
                        numbers.push(value);
                        numbered.decimals.push(digits);
                    }
                    None => {
                        numbers.push(0.0);
                        numbered.decimals.push(0);
                        numbered.absent.push(at);
                        if !text.is_empty() {
                            numbered.unreadable += 1;
                            odd(cell.text, cell.span);
                        }
                    }
                }
            }
            numbered.count = numbers.len();
            numbered.numbers = numbers.into();
            numbered.lines = lines(source, counting, cells.iter().map(|cell| cell.span));
        }
        Values::Numbers(given, spans) => {
            if !spans.is_empty() && spans.len() != given.len() {
                return breach(format!(
                    "a column of {} numbers came with {} places",
                    given.len(),
                    spans.len()
                ));
            }
            if given.iter().any(|value| value.is_infinite()) {
                return breach("a column holds an infinite number");
            }
            numbered.count = given.len();
            numbered.absent = (0..given.len()).filter(|&at| given[at].is_nan()).collect();
            numbered.numbers = if numbered.absent.is_empty() {
                Numbers::from(given)
            } else {
                given
                    .iter()
                    .map(|value| if value.is_nan() { 0.0 } else { *value })
                    .collect()
            };
            numbered.lines = lines(source, counting, spans.iter().copied());
        }
    }
    Ok(numbered)
}

/// The lines of cells; none where one of them has no place.
fn lines(source: &Source, counting: SpanUnit, spans: impl Iterator<Item = Span>) -> Vec<u32> {
    if counting == SpanUnit::Bytes {
        return Vec::new();
    }
    let mut found = Vec::new();
    // Cells mostly stand on the line of the cell before, or on the next.
    let mut known: Option<(Span, u32)> = None;
    for span in spans {
        if span.start >= span.end {
            return Vec::new();
        }
        let line = match known {
            Some((of, line)) if (of.start..of.end).contains(&span.start) => line,
            _ => {
                let index = source.lines().index_of(span.start as usize);
                let line = u32::try_from(index + 1).unwrap_or(u32::MAX);
                known = Some((source.lines().span(index), line));
                line
            }
        };
        found.push(line);
    }
    found
}

/// A plain decimal and its count of decimals: a sign, digits with at most one decimal sign, an exponent.
///
/// Nothing else is a number here: no thousands, no words, nothing that is too great or too small to be held.
pub(super) fn number(text: &str, comma: bool) -> Option<(f64, u8)> {
    let sign = if comma { b',' } else { b'.' };
    let bytes = text.as_bytes();
    let mut at = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let (mut digits, mut behind, mut seen, mut some) = (0_usize, 0_usize, false, false);
    while let Some(&byte) = bytes.get(at) {
        if byte.is_ascii_digit() {
            digits += 1;
            behind += usize::from(seen);
            some |= byte != b'0';
        } else if byte == sign && !seen {
            seen = true;
        } else {
            break;
        }
        at += 1;
    }
    if digits == 0 {
        return None;
    }
    let mut decimals = i64::try_from(behind).ok()?;
    if at < bytes.len() {
        if !matches!(bytes[at], b'e' | b'E') {
            return None;
        }
        let exponent: i32 = text.get(at + 1..)?.parse().ok()?;
        decimals = (decimals - i64::from(exponent)).max(0);
    }
    let value: f64 = if comma {
        text.replace(',', ".").parse()
    } else {
        text.parse()
    }
    .ok()?;
    // What is too small would become zero in silence.
    let held = value.is_finite() && (value != 0.0 || !some);
    held.then_some((value, u8::try_from(decimals).unwrap_or(u8::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_decimals_are_numbers() {
        for (text, wanted) in [
            ("0.1200", Some((0.12, 4))),
            ("-5", Some((-5.0, 0))),
            ("+.5", Some((0.5, 1))),
            ("1.", Some((1.0, 0))),
            ("1.25e-3", Some((0.001_25, 5))),
            ("2E2", Some((200.0, 0))),
            ("0e-999", Some((0.0, 255))),
            ("1e-999", None),
            ("1e999", None),
            ("1,5", None),
            ("1.2.3", None),
            ("nan", None),
            ("inf", None),
            ("0x10", None),
            ("1e", None),
            ("1 000", None),
            ("--1", None),
            ("", None),
            (".", None),
        ] {
            assert_eq!(number(text, false), wanted, "{text}");
        }
        assert_eq!(number("0,1200", true), Some((0.12, 4)));
        assert_eq!(number("0.12", true), None);
    }
}
