//! JSON in the open schema: one object a source, with all its runs, remarks and reasons.
//!
//! Numbers are written in their shortest form that reads as the same double; nothing is rounded. How many decimals
//! the source wrote stands beside each column of numbers.

use std::io::{self, BufWriter, Write};

use curvary_record::{Diagnostic, Digest, Run, Verdict};
use schemars::JsonSchema;
use serde::Serialize;

use super::json_lines::Maker;
use crate::{ReaderInfo, Reading, Source};

/// The file name of the schema.
const SCHEMA: &str = "source-document-v1.json";

/// What became of one source, ready to be written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct SourceDocument<'a> {
    /// Who wrote the document.
    pub curvary: Maker,
    /// The path of the source, relative to the folder that was given, with `/` between folders; inside a container
    /// `outer.zip!/inner.txt`.
    pub source: &'a str,
    /// The digest of its bytes.
    pub digest: &'a Digest,
    /// Its length in bytes.
    pub bytes: u64,
    /// The reader that read it: `built-in/…`, `layout/…` or `plugin/…`; null when none knew it.
    pub reader: Option<&'a str>,
    /// The reader's version.
    pub reader_version: Option<&'a str>,
    /// The text encoding that was found, by its name in the WHATWG Encoding Standard.
    pub encoding: Option<&'a str>,
    /// How the reading went.
    pub verdict: Verdict,
    /// What was odd: about the source as a whole first, then about each run.
    pub remarks: Vec<RemarkEntry<'a>>,
    /// The runs, in the order of the source.
    pub runs: &'a [Run],
}

/// A diagnostic with its main place at hand.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(rename = "Remark")]
pub struct RemarkEntry<'a> {
    /// The diagnostic.
    #[serde(flatten)]
    pub diagnostic: &'a Diagnostic,
    /// The line of its main place, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<u32>,
    /// The column of its main place in characters, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<u32>,
    /// The run it is about (from 0); absent when it is about the source as a whole.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<u32>,
}

impl<'a> RemarkEntry<'a> {
    fn new(diagnostic: &'a Diagnostic, run: Option<usize>) -> Self {
        let column = diagnostic.labels.first().map(|label| label.place.column);
        Self {
            diagnostic,
            line: diagnostic.line(),
            column: column.filter(|&column| column > 0),
            run: run.and_then(|index| u32::try_from(index).ok()),
        }
    }
}

impl<'a> SourceDocument<'a> {
    /// The document of a source that was read, by the reader with this card.
    #[must_use]
    pub fn new(source: &'a Source, card: Option<&'a ReaderInfo>, reading: &'a Reading) -> Self {
        let of_runs = reading.runs.iter().enumerate().flat_map(|(index, run)| {
            run.remarks
                .iter()
                .map(move |remark| RemarkEntry::new(remark, Some(index)))
        });
        Self {
            curvary: Maker::of(SCHEMA),
            source: source.path(),
            digest: source.digest(),
            bytes: source.bytes().len() as u64,
            reader: card.map(|card| card.id.as_str()),
            reader_version: card.map(|card| card.version.as_str()),
            encoding: Some(source.encoding()),
            verdict: reading.verdict(),
            remarks: reading
                .remarks
                .iter()
                .map(|remark| RemarkEntry::new(remark, None))
                .chain(of_runs)
                .collect(),
            runs: &reading.runs,
        }
    }

    /// Writes the document, compact, on one line that ends with a line end.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn write(&self, out: impl Write) -> io::Result<()> {
        // Serialising writes number by number.
        let mut out = BufWriter::with_capacity(1 << 16, out);
        serde_json::to_writer(&mut out, self)?;
        out.write_all(b"\n")?;
        out.flush()
    }
}

/// The JSON Schema (draft 2020-12) of [`SourceDocument`], as pretty JSON.
#[must_use]
pub fn schema() -> String {
    curvary_record::schema::schema_of::<SourceDocument<'_>>(
        SCHEMA,
        "A source: one file and the runs that were read from it.",
    )
}
