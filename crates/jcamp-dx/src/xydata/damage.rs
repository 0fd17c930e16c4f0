//! What the decoder met on its way, told.

use crate::asdf::decode::Ordinates;
use crate::records::RecordSource;
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{DataStretch, LeftOut, TableOutcome};

/// Remarks about what the decoder met.
pub(super) fn remark_lines(
    source: &RecordSource<'_>,
    stretch: &DataStretch,
    ordinates: &Ordinates,
    outcome: &mut TableOutcome,
    notes: &mut Notes<'_>,
) {
    let quoted = |from: usize, to: usize| quote(source.text.get(from..to).unwrap_or(""));
    let char_end = |at: usize| {
        let mut end = at + 1;
        while end < source.text.len() && !source.text.is_char_boundary(end) {
            end += 1;
        }
        end.min(source.text.len())
    };
    for (line, damage) in &ordinates.lost {
        let end = memchr::memchr2(b'\n', b'\r', &source.text.as_bytes()[damage.at..stretch.to])
            .map_or(stretch.to, |n| damage.at + n);
        let span = Span {
            start: damage.at,
            end,
        };
        notes.add(damage.code, *line, span, quoted(damage.at, end), "a number");
        outcome.left_out.push(LeftOut {
            first: *line,
            last: *line,
            code: damage.code,
        });
    }
    for line in &ordinates.lines {
        if let Some(damage) = line.damage {
            let end = char_end(damage.at);
            let expected = "an ordinate in one of the forms of the standard";
            let span = Span {
                start: damage.at,
                end,
            };
            notes.add(damage.code, line.number, span, quoted(damage.at, end), expected);
            outcome.left_out.push(LeftOut {
                first: line.number,
                last: line.number,
                code: damage.code,
            });
        } else if line.len == 0 && ordinates.cut.is_none_or(|c| c.0 != line.number) {
            let span = Span {
                start: line.start,
                end: line.end,
            };
            notes.add(
                Code::LineWithoutOrdinates,
                line.number,
                span,
                quoted(line.start, line.end),
                "ordinates",
            );
        }
    }
    if let Some((line, from, to)) = ordinates.cut {
        notes.add(
            Code::TableCutOff,
            line,
            Span { start: from, end: to },
            "the end of the text".into(),
            "##END=",
        );
        outcome.left_out.push(LeftOut {
            first: line,
            last: line,
            code: Code::TableCutOff,
        });
    }
    if let Some((line, at)) = ordinates.odd_exponent {
        let expected = "sign and two digits, as in E+02";
        notes.add(
            Code::ExponentSpelling,
            line,
            Span {
                start: at,
                end: at + 1,
            },
            "an exponent".into(),
            expected,
        );
    }
    if let Some((line, at)) = ordinates.squeezed_or_exponent {
        let span = Span {
            start: at,
            end: at + 1,
        };
        notes.add(
            Code::ExponentOrSqueezed,
            line,
            span,
            "E behind a digit".into(),
            "a sign behind E",
        );
    }
    if let Some((line, _)) = ordinates.stopped {
        let last = line + 1;
        outcome.left_out.push(LeftOut {
            first: last,
            last: u32::MAX,
            code: Code::LimitPoints,
        });
    }
}
