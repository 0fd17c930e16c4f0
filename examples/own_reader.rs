//! A reader of one's own beside the built-in ones. The form is invented: a first line `%beads`, then one
//! `wavelength > absorbance` a line.

use std::error::Error;
use std::io::Write;

use curvary_formats::sink::{
    ColumnInput, ContractViolation, CurveInput, LocatedText, Sink, SourceLimits, SpanUnit, Values,
};
use curvary_formats::{Reader, ReaderInfo, Readers, Reading, Recognition, Source, SourcePreview};
use curvary_record::{Code, Diagnostic, Span};

struct Beads {
    card: ReaderInfo,
}

impl Reader for Beads {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        if glimpse.head().starts_with("%beads") {
            Recognition::Yes("its first line is `%beads`".to_owned())
        } else {
            Recognition::No("its first line is not `%beads`".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let sink = Sink::new(source, &self.card, SpanUnit::Text, SourceLimits::USUAL);
        beads(source, sink).unwrap_or_else(|breach| {
            Reading::refused(Diagnostic::error(Code::new("reader-failed"), breach.to_string()))
        })
    }
}

/// The sink checks what it is told: the order, the lengths of the columns, the units.
fn beads(source: &Source, mut sink: Sink<'_>) -> Result<Reading, ContractViolation> {
    let text = source.text();
    // A part of the text, with its place in it, so that every number can be traced to its line.
    let said = |part: &'_ str| -> Span {
        let start = part.as_ptr() as usize - text.as_ptr() as usize;
        Span::new(start, start + part.len())
    };
    let rows = text.lines().skip(1).filter_map(|line| line.split_once('>'));
    let (x, y): (Vec<LocatedText<'_>>, Vec<LocatedText<'_>>) = rows
        .map(|(x, y)| (x.trim(), y.trim()))
        .map(|(x, y)| {
            let cell = |text| LocatedText {
                text,
                span: said(text),
            };
            (cell(x), cell(y))
        })
        .unzip();
    sink.begin_run("spectrum", Span::default())?;
    sink.axis(&ColumnInput {
        quantity: "wavelength",
        unit: "nm",
        values: Values::Texts(&x),
        ..ColumnInput::default()
    })?;
    sink.curve(&CurveInput {
        column: ColumnInput {
            quantity: "absorbance",
            values: Values::Texts(&y),
            ..ColumnInput::default()
        },
        ..CurveInput::default()
    })?;
    sink.end_run()?;
    sink.finish()
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut readers = Readers::built_in();
    readers.add(Box::new(Beads {
        card: ReaderInfo {
            id: "example/beads".to_owned(),
            version: "1".to_owned(),
            title: "beads, an invented form".to_owned(),
        },
    }));
    let source = Source::new(
        "a.txt",
        b"%beads\n400 > 0.120\n410 > 0.155\n420 > 0.171\n".to_vec(),
    );
    let (card, reading) = readers.read(&source, None);
    let mut out = std::io::stdout().lock();
    writeln!(out, "read by {}", card.map_or("nobody", |card| &card.id))?;
    for trace in reading.runs.iter().flat_map(|run| &run.traces) {
        for ((x, y), at) in trace.x.texts().zip(trace.y.texts()).zip(0..) {
            let line = trace.lines.get(at).unwrap_or(0);
            writeln!(out, "{x} nm  {y}  (line {line})")?;
        }
    }
    Ok(())
}
