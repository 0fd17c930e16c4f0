//! Assignments: groups in parentheses, `(XYA)` and its kin.

use super::check_count;
use crate::axis::LabelAxis;
use crate::curve::DecimalsBuilder;
use crate::number::{Decimal, Exponents, decimals_of, product, scan};
use crate::records::{RecordLines, RecordSource};
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{Assignment, Assignments, DataStretch, LeftOut};
use crate::xydata::long_product;

/// Reads assignments: groups in parentheses, which may go over line ends.
pub(crate) fn read_assignments(
    source: &RecordSource<'_>,
    stretch: &DataStretch,
    axis: &LabelAxis,
    columns: &str,
    bound: usize,
    notes: &mut Notes<'_>,
) -> (Assignments, Vec<LeftOut>) {
    let columns = columns.as_bytes();
    let mut out = Assignments::default();
    let mut builders: [DecimalsBuilder; 3] = Default::default();
    let mut left_out = Vec::new();
    let factors = [axis.x_factor, axis.y_factor, axis.w_factor];
    for group in groups_in_parentheses(source, stretch) {
        if out.rows.len() >= bound {
            left_out.push(LeftOut {
                first: group.line,
                last: u32::MAX,
                code: Code::LimitPoints,
            });
            break;
        }
        match assignment(&group, columns, stretch.point, factors) {
            Some((row, decimals, bracketed)) if group.closed => {
                if !bracketed {
                    let expected = "<text>";
                    notes.add(
                        Code::AssignmentNotBracketed,
                        group.line,
                        group.span,
                        quote(&row.text),
                        expected,
                    );
                }
                for (builder, count) in builders.iter_mut().zip(decimals) {
                    builder.push(count);
                }
                out.rows.push(row);
            }
            _ => {
                let expected = format!("({})", String::from_utf8_lossy(columns));
                notes.add(
                    Code::GroupDamaged,
                    group.line,
                    group.span,
                    quote(&group.text),
                    expected,
                );
                left_out.push(LeftOut {
                    first: group.line,
                    last: group.line,
                    code: Code::GroupDamaged,
                });
            }
        }
    }
    [out.x_decimals, out.y_decimals, out.width_decimals] = builders.map(DecimalsBuilder::finish);
    check_count(axis, out.rows.len(), "rows", stretch, notes);
    (out, left_out)
}

/// The inside of one pair of parentheses, with line ends as blanks.
struct Parenthesis {
    text: String,
    line: u32,
    span: Span,
    closed: bool,
}

fn groups_in_parentheses(source: &RecordSource<'_>, stretch: &DataStretch) -> Vec<Parenthesis> {
    let mut groups = Vec::new();
    let mut open: Option<Parenthesis> = None;
    let mut in_text = false;
    for line in RecordLines::new(source, stretch.from, stretch.to, stretch.line) {
        let whole = &source.text[line.start..line.end];
        let code = whole.split("$$").next().unwrap_or("");
        for (at, c) in code.char_indices() {
            let here = line.start + at;
            match (&mut open, c) {
                (None, '(') => {
                    let span = Span {
                        start: here,
                        end: here + 1,
                    };
                    open = Some(Parenthesis {
                        text: String::new(),
                        line: line.number,
                        span,
                        closed: false,
                    });
                    in_text = false;
                }
                (None, c) if c.is_whitespace() || matches!(c, ',' | ';' | '\0' | '\u{1a}') => {}
                (None, _) => {
                    // Text outside of parentheses belongs to no group: it is handed on as a damaged one.
                    let span = Span {
                        start: here,
                        end: line.end,
                    };
                    groups.push(Parenthesis {
                        text: code[at..].to_owned(),
                        line: line.number,
                        span,
                        closed: false,
                    });
                    break;
                }
                (Some(group), ')') if !in_text => {
                    group.closed = true;
                    group.span.end = here + 1;
                    groups.extend(open.take());
                }
                (Some(group), c) => {
                    match c {
                        '<' => in_text = true,
                        '>' => in_text = false,
                        _ => {}
                    }
                    group.text.push(c);
                    group.span.end = here + c.len_utf8();
                }
            }
        }
        if let Some(group) = &mut open {
            group.text.push(' ');
        }
    }
    groups.extend(open);
    groups
}

fn assignment(
    group: &Parenthesis,
    columns: &[u8],
    point: u8,
    factors: [Decimal; 3],
) -> Option<(Assignment, [u16; 3], bool)> {
    let text = group.text.as_str();
    let (numbers, words, bracketed) = match text.find('<') {
        Some(at) => {
            let end = text.rfind('>').filter(|end| *end > at)?;
            (
                text[..at].trim_end().trim_end_matches(','),
                &text[at + 1..end],
                true,
            )
        }
        None => {
            let count: usize = text.split(',').take(columns.len() - 1).map(|f| f.len() + 1).sum();
            (text.get(..count.checked_sub(1)?)?, text.get(count..)?, false)
        }
    };
    let mut row = Assignment {
        line: group.line,
        text: words.trim().to_owned(),
        ..Assignment::default()
    };
    let mut decimals = [0u16; 3];
    let mut fields = numbers.split(',');
    for column in &columns[..columns.len() - 1] {
        let field = fields.next().unwrap_or("").trim();
        let (slot, factor) = match column {
            b'X' => (0, factors[0]),
            b'Y' => (1, factors[1]),
            b'W' => (2, factors[2]),
            _ => {
                row.multiplicity = (!field.is_empty()).then(|| field.to_owned());
                continue;
            }
        };
        if matches!(field, "" | "?") && slot > 0 {
            continue;
        }
        let number = scan(field.as_bytes(), 0, point, Exponents::Free).filter(|n| n.end == field.len())?;
        let value = match number.decimal() {
            Some(d) if d.mantissa == 0 && number.negative => -0.0,
            Some(d) => product(d.mantissa, d.exponent, factor),
            None => long_product(field, point, factor)?,
        };
        if !value.is_finite() {
            return None;
        }
        decimals[slot] = decimals_of(number.exponent + factor.exponent);
        match slot {
            0 => row.x = value,
            1 => row.y = Some(value),
            _ => row.width = Some(value),
        }
    }
    fields.next().is_none().then_some((row, decimals, bracketed))
}
