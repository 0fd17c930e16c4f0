//! Runs with their results as JSON: one document, or a line a run.
//!
//! Both are written run by run, so that any number of them passes through flat memory.

use std::collections::BTreeSet;
use std::io::Write;

use curvary_record::{Diagnostic, Digest, Outcome, Run};
use schemars::JsonSchema;
use serde::Serialize;

use super::export::{ExportError, ExportPart, ExportedRun, Exporter, Files, FormatRoom, Output};

/// Who wrote a document, and in which form.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Maker {
    /// The program and its version.
    pub program: String,
    /// The schema that the document follows, by its `$id`.
    pub schema: String,
}

impl Maker {
    /// This program, and the schema of that file name.
    #[must_use]
    pub fn of(schema: &str) -> Self {
        Self {
            program: format!("curvary {}", env!("CARGO_PKG_VERSION")),
            schema: curvary_record::schema::id_of(schema),
        }
    }
}

/// What `export --to json` writes.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ExportDocument {
    /// Who wrote it.
    pub curvary: Maker,
    /// The runs.
    pub runs: Vec<Run>,
    /// What computations found about them; each once.
    pub results: Vec<Outcome>,
}

/// A line of what `export --to json-lines` writes.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ExportLine {
    /// Who wrote it.
    pub curvary: Maker,
    /// The run.
    pub run: Run,
    /// What computations found about it. One that speaks of several runs stands with each of them.
    pub results: Vec<Outcome>,
    /// The digest of all curves of the run, where only some of them are here; each of these has its number in the whole run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub whole: Option<Digest>,
}

/// The file names of the schemas.
pub const DOCUMENT: &str = "export-v1.json";
/// As [`DOCUMENT`], for a line.
pub const LINE: &str = "export-line-v1.json";

/// The JSON Schemas of [`ExportDocument`] and [`ExportLine`], by their file names.
#[must_use]
pub fn schemas() -> [(&'static str, String); 2] {
    use curvary_record::schema::schema_of;
    [
        (
            DOCUMENT,
            schema_of::<ExportDocument>(DOCUMENT, "An export: runs with what was found about them."),
        ),
        (
            LINE,
            schema_of::<ExportLine>(LINE, "A line of an export: a run with what was found about it."),
        ),
    ]
}

/// The exporter of both forms.
pub struct Json {
    lines: bool,
    out: Option<Box<dyn Output>>,
    first: bool,
    known: BTreeSet<String>,
    results: Vec<Outcome>,
}

impl Json {
    /// One document.
    #[must_use]
    pub fn document() -> Self {
        Self {
            lines: false,
            out: None,
            first: true,
            known: BTreeSet::new(),
            results: Vec::new(),
        }
    }

    /// A line a run.
    #[must_use]
    pub fn lines() -> Self {
        Self {
            lines: true,
            ..Self::document()
        }
    }
}

/// A line with borrowed content.
#[derive(Serialize)]
struct JsonLine<'a> {
    curvary: Maker,
    run: &'a Run,
    results: &'a [Outcome],
    #[serde(skip_serializing_if = "Option::is_none")]
    whole: Option<&'a Digest>,
}

impl Exporter for Json {
    fn room(&self) -> FormatRoom {
        FormatRoom::ALL
    }

    fn see(&mut self, _subject: &ExportedRun<'_>) {}

    fn begin(&mut self, files: &mut dyn Files) -> Result<(), ExportError> {
        let mut out = files.create(ExportPart::Main)?;
        if !self.lines {
            out.write_all(b"{\"curvary\":")?;
            serde_json::to_writer(&mut out, &Maker::of(DOCUMENT))?;
            out.write_all(b",\"runs\":[")?;
        }
        self.out = Some(out);
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        let Some(out) = &mut self.out else { return Ok(()) };
        if self.lines {
            let line = JsonLine {
                curvary: Maker::of(LINE),
                run: subject.run,
                results: subject.results,
                whole: subject.whole,
            };
            serde_json::to_writer(&mut *out, &line)?;
            out.write_all(b"\n")?;
            return Ok(());
        }
        if !self.first {
            out.write_all(b",")?;
        }
        self.first = false;
        serde_json::to_writer(&mut *out, subject.run)?;
        for result in subject.results {
            if self.known.insert(result.id.clone()) {
                self.results.push(result.clone());
            }
        }
        Ok(())
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        if let Some(mut out) = self.out.take() {
            if !self.lines {
                out.write_all(b"],\"results\":")?;
                serde_json::to_writer(&mut out, &self.results)?;
                out.write_all(b"}\n")?;
            }
            out.flush()?;
        }
        Ok(Vec::new())
    }
}
