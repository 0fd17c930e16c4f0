//! The second table beside tidy CSV: who said what.

use std::io::{self, Write};

use curvary_record::{Claim, Fields, Origin, Run, Unit, Value};

use super::push_text;
use crate::writers::digits::as_written;
use crate::writers::table_schema::{ColumnType, TableField, TableSchema};

/// The second table: every claim of every field with who said it, strongest first within a field.
pub struct Origins<W: Write> {
    out: W,
    block: Vec<u8>,
}

const ORIGIN_COLUMNS: [(&str, ColumnType, &str); 9] = [
    ("run", ColumnType::String, "The run, by its name."),
    (
        "trace",
        ColumnType::Integer,
        "The curve within its run, from 0, when the field is of one curve.",
    ),
    (
        "key",
        ColumnType::String,
        "The field; a known one, or the source's own spelling.",
    ),
    ("value", ColumnType::String, "The value, as it was understood."),
    ("unit", ColumnType::String, "The value's unit, a UCUM code."),
    ("raw", ColumnType::String, "The text that stood there."),
    (
        "origin",
        ColumnType::String,
        "Who said it: note, source, name, layout or derived.",
    ),
    (
        "detail",
        ColumnType::String,
        "Which note, file-name rule, layout or step.",
    ),
    ("line", ColumnType::Integer, "The line of the source, from 1."),
];

impl<W: Write> Origins<W> {
    /// Writes the head.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn new(mut out: W) -> io::Result<Self> {
        let heads: Vec<&str> = ORIGIN_COLUMNS.iter().map(|column| column.0).collect();
        out.write_all(heads.join(",").as_bytes())?;
        out.write_all(b"\r\n")?;
        Ok(Self {
            out,
            block: Vec::new(),
        })
    }

    /// The table's description.
    #[must_use]
    pub fn schema() -> TableSchema {
        let fields = ORIGIN_COLUMNS.iter().map(|&(name, kind, about)| TableField {
            name: name.to_owned(),
            kind,
            title: None,
            description: if kind == ColumnType::String {
                format!(
                    "{about} An apostrophe stands before texts that a spreadsheet would run as a formula."
                )
            } else {
                about.to_owned()
            },
            unit: None,
        });
        TableSchema::new(fields.collect())
    }

    /// Writes the claims of a run and of its curves.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn write(&mut self, run: &Run) -> io::Result<()> {
        self.block.clear();
        self.fields(run, "", &run.fields);
        for (index, trace) in run.traces.iter().enumerate() {
            self.fields(run, &run.trace_number(index).to_string(), &trace.fields);
        }
        self.out.write_all(&self.block)
    }

    fn fields(&mut self, run: &Run, trace: &str, fields: &Fields) {
        for (key, claims) in fields.iter() {
            for claim in claims {
                let unit = claim.unit.as_ref().map_or("", Unit::code);
                let (origin, detail, line) = origin_cells(&claim.origin);
                let cells = [
                    run.id.as_str(),
                    trace,
                    key.as_str(),
                    &value_text(claim),
                    unit,
                    &claim.raw,
                    origin,
                    &detail,
                    &line,
                ];
                for (at, cell) in cells.iter().enumerate() {
                    if at > 0 {
                        self.block.push(b',');
                    }
                    push_text(&mut self.block, cell);
                }
                self.block.extend_from_slice(b"\r\n");
            }
        }
    }

    /// Gives `out` back.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn finish(mut self) -> io::Result<W> {
        self.out.flush()?;
        Ok(self.out)
    }
}

fn value_text(claim: &Claim) -> String {
    let mut text = match &claim.value {
        Value::Text(text) => text.clone(),
        Value::Number(number) => as_written(*number, &claim.raw),
        Value::Range { from, to } => {
            format!(
                "{}..{}",
                as_written(*from, &claim.raw),
                as_written(*to, &claim.raw)
            )
        }
    };
    if let Some(plus_minus) = claim.plus_minus {
        text.push_str(" ± ");
        text.push_str(&as_written(plus_minus, &claim.raw));
    }
    text
}

fn origin_cells(origin: &Origin) -> (&'static str, String, String) {
    let none = String::new;
    match origin {
        Origin::Note { at, author } => {
            let parts: Vec<&str> = author.iter().chain(at).map(String::as_str).collect();
            ("note", parts.join(", "), none())
        }
        Origin::Source(place) => {
            let line = if place.line == 0 {
                none()
            } else {
                place.line.to_string()
            };
            let parts: Vec<&str> = place.file.iter().chain(&place.part).map(String::as_str).collect();
            ("source", parts.join(", "), line)
        }
        Origin::Name { rule, part } => ("name", format!("{rule}: {part}"), none()),
        Origin::Layout { layout } => ("layout", layout.clone(), none()),
        Origin::Derived { step, from } if from.is_empty() => ("derived", step.clone(), none()),
        Origin::Derived { step, from } => ("derived", format!("{step}, from {}", from.join(", ")), none()),
    }
}
