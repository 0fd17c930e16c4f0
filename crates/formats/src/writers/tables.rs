//! Runs, curves, points and results as four tables that refer to one another, with a description of all of them.
//!
//! What is known of a run stands once and not on every row: `points.csv` has a run's name, its curve and the numbers.
//! `datapackage.json` (Frictionless Data Package 2.0) has the types, the units, and which column refers to which.

use std::sync::Arc;

use curvary_record::{Diagnostic, write_decimal};
use serde_json::{Value, json};

use super::csv::{CellContent, CsvOptions, CsvWriter, RowKind, Survey};
use super::export::{ExportError, ExportPart, ExportedRun, Exporter, Files, FormatRoom, Output, TableWriter};
use super::results::Results;
use super::table_schema::{TableField, TableSchema};

/// The tables of a set, in their order.
pub const NAMES: [&str; 4] = ["runs", "curves", "points", "results"];

const ROWS: [RowKind; 3] = [RowKind::Runs, RowKind::Curves, RowKind::Points];

/// The surveys of a set of tables.
#[derive(Debug)]
pub(super) struct Surveys([Survey; 3]);

impl Surveys {
    pub(super) fn new(options: CsvOptions) -> Self {
        Self(ROWS.map(|rows| Survey::new(CsvOptions { rows, ..options })))
    }

    /// With the columns that such tables usually have, filled or not.
    pub(super) fn with_usual_columns(options: CsvOptions) -> Self {
        Self(ROWS.map(|rows| Survey::with_usual_columns(CsvOptions { rows, ..options })))
    }

    pub(super) fn see(&mut self, subject: &ExportedRun<'_>) {
        for survey in &mut self.0 {
            survey.see(subject.run);
        }
    }

    pub(super) fn tables(&self) -> [super::csv::CsvTable; 3] {
        [self.0[0].table(), self.0[1].table(), self.0[2].table()]
    }
}

/// What refers to what, as Table Schema says it.
fn schema(name: &str, fields: Vec<TableField>) -> Value {
    let mut schema = serde_json::to_value(TableSchema::new(fields)).unwrap_or_default();
    let refers = |fields: Value, resource: &str| json!({ "fields": fields, "reference": { "resource": resource, "fields": fields } });
    // A claim may be made twice: that table has no key.
    let (key, references) = match name {
        "runs" => (Some(json!(["run"])), json!([])),
        "curves" => (
            Some(json!(["run", "trace"])),
            json!([refers(json!(["run"]), "runs")]),
        ),
        "points" => (
            Some(json!(["run", "trace", "position"])),
            json!([refers(json!(["run", "trace"]), "curves")]),
        ),
        "results" => (Some(json!(["result", "row"])), json!([])),
        "origins" => (None, json!([refers(json!(["run"]), "runs")])),
        _ => (None, json!([])),
    };
    if let Some(key) = key {
        schema["primaryKey"] = key;
    }
    if references != json!([]) {
        schema["foreignKeys"] = references;
    }
    schema
}

/// The description of one table as a resource of a Data Package.
#[must_use]
pub fn resource(name: &str, path: &str, format: &str, fields: Vec<TableField>) -> Value {
    let media = match format {
        "csv" => "text/csv",
        _ => "application/vnd.apache.parquet",
    };
    json!({
        "name": name, "type": "table", "path": path, "format": format, "mediatype": media, "encoding": "utf-8",
        "schema": schema(name, fields),
    })
}

/// The exporter of four CSV files.
pub struct Tables {
    options: CsvOptions,
    surveys: Surveys,
    writers: Vec<TableWriter>,
    results: Results,
    rest: Option<Box<dyn Output>>,
    resources: Vec<Value>,
}

impl Tables {
    /// Four tables in these options.
    #[must_use]
    pub fn new(options: CsvOptions) -> Self {
        Self {
            options,
            surveys: Surveys::new(options),
            writers: Vec::new(),
            results: Results::default(),
            rest: None,
            resources: Vec::new(),
        }
    }
}

impl Exporter for Tables {
    fn room(&self) -> FormatRoom {
        FormatRoom {
            results: true,
            fields: true,
            marks: true,
            ..FormatRoom::default()
        }
    }

    fn see(&mut self, subject: &ExportedRun<'_>) {
        self.surveys.see(subject);
    }

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        let surveys = std::mem::replace(&mut self.surveys, Surveys::new(self.options));
        for (name, table) in NAMES.iter().zip(surveys.tables()) {
            let path = format!("{name}.csv");
            let out = files.create(ExportPart::Member(&path))?;
            self.resources
                .push(resource(name, &path, "csv", table.schema().fields));
            self.writers.push(CsvWriter::new(out, Arc::new(table))?);
        }
        let columns = Results::columns();
        let mut out = files.create(ExportPart::Member("results.csv"))?;
        if self.options.byte_order_mark {
            out.write_all("\u{FEFF}".as_bytes())?;
        }
        let heads: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
        out.write_all(heads.join(",").as_bytes())?;
        out.write_all(b"\r\n")?;
        self.rest = Some(out);
        self.resources
            .push(resource("results", "results.csv", "csv", columns));
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        for writer in &mut self.writers {
            writer.write(subject.run)?;
        }
        if let Some(out) = &mut self.rest {
            self.results
                .each(subject.results, |row| -> Result<(), ExportError> {
                    out.write_all(&line(row))?;
                    Ok(())
                })?;
        }
        Ok(())
    }

    fn finish(&mut self, files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        for writer in self.writers.drain(..) {
            writer.finish()?;
        }
        if let Some(mut out) = self.rest.take() {
            out.flush()?;
        }
        let package = json!({
            "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
            "name": "runs",
            "description": format!("Written by curvary {}.", env!("CARGO_PKG_VERSION")),
            "resources": self.resources,
        });
        let mut out = files.create(ExportPart::Member("datapackage.json"))?;
        serde_json::to_writer_pretty(&mut out, &package)?;
        out.write_all(b"\n")?;
        out.flush()?;
        Ok(Vec::new())
    }
}

/// A row of typed cells as CSV.
pub(super) fn line(row: &[CellContent<'_>]) -> Vec<u8> {
    let mut line = Vec::new();
    for (at, cell) in row.iter().enumerate() {
        if at > 0 {
            line.push(b',');
        }
        match cell {
            CellContent::Empty => {}
            CellContent::Text(text) => super::csv::push_text(&mut line, text),
            CellContent::Number(value) => line.extend_from_slice(write_decimal(*value, None).as_bytes()),
            CellContent::Whole(count) => line.extend_from_slice(count.to_string().as_bytes()),
            CellContent::Truth(mark) => line.extend_from_slice(mark.to_string().as_bytes()),
        }
    }
    line.extend_from_slice(b"\r\n");
    line
}
