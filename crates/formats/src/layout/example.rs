//! A layout tried on its examples.

use std::ops::Range;

use curvary_record::{Claim, Code, Column, Diagnostic, Key, Origin, Trace, interpret};

use super::description::raw_of;
use super::{LayoutExample, Paper};
use crate::{Reader, Reading, Recognition, Source};

impl Paper {
    /// What an example expects and reading its bytes did not give; empty when the example holds.
    pub(crate) fn hold(
        &self,
        reader: &dyn Reader,
        example: &LayoutExample,
        bytes: Vec<u8>,
    ) -> Vec<Diagnostic> {
        let mut complaints = Vec::new();
        let source = Source::new(example.path(), bytes);
        let whole = example
            .file
            .as_ref()
            .or(example.text.as_ref())
            .map_or(0..0, toml::Spanned::span);
        // A long text is shown by its beginning.
        let begin = whole.start..(whole.start + 3).min(whole.end);
        if let Recognition::No(why) = reader.recognise(&source.glimpse()) {
            complaints.push(self.complaint(
                begin.clone(),
                format!("the {} does not know its own example: {why}", self.kind),
            ));
        }
        let reading = reader.read(&source);
        let mut expect = |span: Range<usize>, what: &str, wanted: String, found: String| {
            if wanted != found {
                complaints.push(self.complaint(
                    span,
                    format!("the example expects {what} {wanted}, and reading it gives {found}"),
                ));
            }
        };
        let runs = if example.runs.span().is_empty() {
            begin.clone()
        } else {
            example.runs.span()
        };
        expect(
            runs,
            "runs:",
            example.runs.get_ref().to_string(),
            reading.runs.len().to_string(),
        );
        let points: usize = reading.runs.iter().map(curvary_record::Run::points).sum();
        expect(
            example.points.span(),
            "points:",
            example.points.get_ref().to_string(),
            points.to_string(),
        );
        let first = reading.runs.first().and_then(|run| run.traces.first());
        let last = reading.runs.last().and_then(|run| run.traces.last());
        let at = |trace: Option<&Trace>, from_end: bool| {
            trace
                .filter(|trace| !trace.is_empty())
                .map_or("none".to_owned(), |trace| {
                    let index = if from_end { trace.len() - 1 } else { 0 };
                    pair(trace.x.values[index], trace.y.values[index])
                })
        };
        let [x, y] = *example.first.get_ref();
        expect(
            example.first.span(),
            "the first point",
            pair(x, y),
            at(first, false),
        );
        let [x, y] = *example.last.get_ref();
        expect(example.last.span(), "the last point", pair(x, y), at(last, true));
        for (wanted, what, column) in [
            (&example.x, "x to be", first.map(|trace| &trace.x)),
            (&example.y, "y to be", first.map(|trace| &trace.y)),
        ] {
            if let Some(wanted) = wanted {
                let found = column.map_or("none".to_owned(), axis_of);
                expect(wanted.span(), what, wanted.get_ref().clone(), found);
            }
        }
        if let Some(technique) = &example.technique {
            let found = reading.runs.first().map_or("none", |run| run.technique.as_str());
            expect(
                technique.span(),
                "the technique",
                technique.get_ref().clone(),
                found.to_owned(),
            );
        }
        self.hold_fields(example, &reading, &mut complaints);
        for question in reading.runs.iter().flat_map(|run| &run.questions) {
            let readings: Vec<&str> = question.readings.iter().map(|r| r.assume.as_str()).collect();
            let why = format!(
                "reading the example leaves a question open, {}: {}",
                question.code, question.message
            );
            complaints.push(self.complaint(begin.clone(), why).help(match self.kind {
                "layout" => format!(
                    "settle it under `[settle]`; the readings are {}",
                    readings.join(", ")
                ),
                _ => format!("the plugin can say it; the readings are {}", readings.join(", ")),
            }));
        }
        if reading.runs.is_empty() {
            let why = reading
                .remarks
                .first()
                .map_or("no reason was given", |r| r.message.as_str());
            complaints.push(self.complaint(begin, format!("nothing was read of the example: {why}")));
        }
        complaints
    }

    fn hold_fields(&self, example: &LayoutExample, reading: &Reading, complaints: &mut Vec<Diagnostic>) {
        let fields = reading.runs.first().map(|run| &run.fields);
        for (field, value) in &example.fields {
            let Some(raw) = raw_of(value.get_ref()) else {
                continue;
            };
            let wanted = expected(field, &raw);
            let found = fields.and_then(|fields| fields.get(field));
            if found.is_some_and(|found| found.agrees(&wanted)) {
                continue;
            }
            let found = found.map_or("nothing".to_owned(), shown);
            complaints.push(self.complaint(
                value.span(),
                format!(
                    "the example expects {field} {}, and reading it gives {found}",
                    shown(&wanted)
                ),
            ));
        }
    }

    fn complaint(&self, span: Range<usize>, message: String) -> Diagnostic {
        let code = match self.kind {
            "layout" => Code::new("layout-example"),
            _ => Code::new("plugin-example"),
        };
        Diagnostic::error(code, message).at(self.place(span), "")
    }
}

/// What an example says of a field, as a claim.
pub(super) fn expected(field: &str, raw: &str) -> Claim {
    let origin = Origin::Layout {
        layout: String::new(),
    };
    interpret::interpret(&Key::new(field), raw, None).claim(raw, origin)
}

/// A point as layouts write it.
pub(super) fn pair(x: f64, y: f64) -> String {
    format!("[{x:?}, {y:?}]")
}

/// An axis as layouts write it: `time:s`.
pub(super) fn axis_of(column: &Column) -> String {
    format!("{}:{}", column.quantity, column.unit.code())
}

fn shown(claim: &Claim) -> String {
    let unit = claim
        .unit
        .as_ref()
        .map_or(String::new(), |unit| format!(" {}", unit.code()));
    format!("`{}{unit}`", claim.value)
}
