//! Remarks, questions and places of the codec in the words of the house.

use curvary_jcamp_dx as dx;
use curvary_record::{Alternative, Code, Diagnostic, Label, Place, Question, Severity, Span};

pub(super) fn comma_question(place: Option<Place>) -> Question {
    Question {
        code: Code::new("decimal-comma-or-separator"),
        message:
            "the commas of the table may be decimal signs or separators, and nothing in the block decides"
                .into(),
        readings: alternatives(&[
            ("decimal=comma", "the commas are decimal signs"),
            ("decimal=point", "the commas separate numbers"),
        ]),
        labels: labels(place),
    }
}

pub(super) fn alternatives(list: &[(&str, &str)]) -> Vec<Alternative> {
    list.iter()
        .map(|&(assume, says)| Alternative {
            assume: assume.to_owned(),
            says: says.to_owned(),
        })
        .collect()
}

pub(super) fn labels(place: Option<Place>) -> Vec<Label> {
    place
        .into_iter()
        .map(|place| Label {
            place,
            text: String::new(),
        })
        .collect()
}

pub(super) fn span_of(span: dx::Span) -> Span {
    Span::new(span.start, span.end)
}

pub(super) fn place_of(place: &dx::Place) -> Place {
    Place {
        file: None,
        part: None,
        line: place.line,
        column: place.column,
        span: Some(span_of(place.span)),
        bytes: None,
    }
}

/// A remark of the codec as a diagnostic; its code gets the standard's name in front.
pub(crate) fn diagnostic(remark: &dx::Remark) -> Diagnostic {
    let severity = match remark.weight() {
        dx::Weight::Note => Severity::Note,
        dx::Weight::Doubt => Severity::Warning,
        dx::Weight::Loss => Severity::Error,
    };
    let mut message = format!("found {}", remark.found);
    if !remark.expected.is_empty() {
        message.push_str(", expected ");
        message.push_str(&remark.expected);
    }
    let code = Code::named(format!("jcamp-dx-{}", remark.code.as_str()));
    let diagnostic = Diagnostic::new(code, severity, message).help(remark.code.advice());
    if remark.place.line > 0 {
        diagnostic.at(place_of(&remark.place), "")
    } else {
        diagnostic
    }
}
