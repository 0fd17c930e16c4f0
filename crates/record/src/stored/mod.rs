//! The lines of the archive's record files: one JSON object a line, told apart by their only key.
//!
//! A run's line differs from its plain JSON: a trace that runs over the very axis of an earlier trace says `"values_of": n`
//! instead of the numbers, so that a matrix of a thousand scans keeps its wavelengths once; numbers may be written as whole
//! numbers and the steps between them (`steps.rs`); and a run may say only in what it differs from one above (`like.rs`).

mod like;
mod merged;

use std::fmt;
use std::ops::Deref;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use self::like::{ModelRun, RunTree};
use crate::steps::{NumbersShape, StoredNumbers};
use crate::{
    Column, Coordinate, Decimals, Diagnostic, Digest, Family, Fields, LengthMismatch, Lines, Numbers,
    Outcome, Quantity, Question, Run, RunId, SourceRef, Technique, Trace, Unit, Verdict,
};

/// What became of one source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceRecord {
    /// The digest of its bytes.
    pub digest: Digest,
    /// Its length in bytes.
    pub bytes: u64,
    /// How its reading went.
    pub verdict: Verdict,
    /// The reader, unless none knew it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reader: Option<String>,
    /// How many runs it gave.
    pub runs: u32,
    /// How it is written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub family: Option<Family>,
    /// Remarks on the file as a whole.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<Diagnostic>,
}

/// A path under which bytes were met.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PathRecord {
    /// The path, with `/` between folders; inside a container `outer.zip!/inner.txt`.
    pub path: String,
    /// The digest of the bytes that stood there.
    pub digest: Digest,
    /// The digest of what stood there before, when the file has changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<Digest>,
}

/// A file that was met and could not be kept, such as one that may not be read or is too large.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MissedRecord {
    /// Its path, as in the record of a path.
    pub path: String,
    /// Why; absent when a person has decided that it is not wanted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<Diagnostic>,
}

/// One line of a record file, such as `{"run":{…}}`.
///
/// The kind is the key and not a member, so that a reader need not hold a whole object to learn what it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Record {
    /// A run.
    Run(#[schemars(with = "RunShape")] Box<StoredRun>),
    /// What a computation found.
    Outcome(Box<Outcome>),
    /// What became of a source.
    Source(SourceRecord),
    /// Where a source was met.
    Path(PathRecord),
    /// What was met and could not be kept.
    Missed(MissedRecord),
}

/// A line of a record file, for the schema: a record, or a run that says only in what it differs from one above it.
#[derive(JsonSchema)]
#[schemars(rename = "Line")]
#[serde(rename_all = "kebab-case")]
#[expect(dead_code, reason = "for the schema alone")]
enum LineShape {
    /// A run.
    Run(Box<RunShape>),
    /// A run that says in what it differs from one above it in the same frame.
    Like(LikeShape),
    /// What a computation found.
    Outcome(Box<Outcome>),
    /// What became of a source.
    Source(SourceRecord),
    /// Where a source was met.
    Path(PathRecord),
    /// What was met and could not be kept.
    Missed(MissedRecord),
}

/// A run by what it says otherwise: its other members are those of a run, merged as RFC 7396 merges JSON, with lists of
/// objects of one length object by object.
#[derive(JsonSchema)]
#[schemars(rename = "LikeRun")]
#[expect(dead_code, reason = "for the schema alone")]
struct LikeShape {
    /// How many lines above the run stands that it is like.
    #[schemars(range(min = 1))]
    above: u32,
    /// What is added to every line number.
    #[serde(default)]
    moved: i64,
    /// What is added to the starts and lengths of the spans, as steps in the difference form of JCAMP-DX.
    #[serde(default)]
    #[schemars(regex(pattern = "^([%J-Rj-rS-Zs][0-9]*)*$"))]
    spans: String,
}

/// The schema of a line.
pub(crate) fn schema() -> String {
    crate::schema::schema_of::<LineShape>("record-v3.json", "One line of an archive's record files.")
}

/// Why a line of a record file gives no record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LineFault {
    /// It is no JSON of a record, in the words of the library.
    Json(String),
    /// What it says of the run that it is like cannot be, in words.
    Like(&'static str),
    /// No run stands so many lines above it.
    NoModel(u32),
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Json(why) => f.write_str(why),
            Self::Like(why) => f.write_str(why),
            Self::NoModel(above) => write!(f, "no run stands {above} lines above"),
        }
    }
}

impl std::error::Error for LineFault {}

impl From<&'static str> for LineFault {
    fn from(why: &'static str) -> Self {
        Self::Like(why)
    }
}

impl From<LineFault> for String {
    fn from(fault: LineFault) -> Self {
        fault.to_string()
    }
}

/// Reads a line. `model` finds the run that stands so many lines above it.
///
/// # Errors
/// With what is wrong.
pub fn read<M: Deref<Target = ModelRun>>(
    line: &[u8],
    model: impl FnOnce(u32) -> Option<M>,
) -> Result<Record, LineFault> {
    #[derive(Deserialize)]
    struct Like {
        like: serde_json::Value,
    }
    // Looked at once, and not text by text.
    let text = std::str::from_utf8(line).map_err(|error| LineFault::Json(error.to_string()))?;
    let json = |error: serde_json::Error| LineFault::Json(error.to_string());
    if !text.starts_with("{\"like\"") {
        return serde_json::from_str(text).map_err(json);
    }
    let Like { like } = serde_json::from_str(text).map_err(json)?;
    let above = like.get("above").and_then(serde_json::Value::as_u64);
    let above = above
        .and_then(|above| u32::try_from(above).ok())
        // A run is like none that stands in its own line.
        .filter(|&above| above > 0)
        .ok_or("`above` is no count of lines")?;
    let model = model(above).ok_or(LineFault::NoModel(above))?;
    let run = model.differing(like)?;
    Ok(Record::Run(Box::new(StoredRun(run))))
}

/// A run as a line of a record file, made of the run itself: a run of thousands of curves is not copied to be written.
#[derive(Serialize)]
pub struct StoredLine {
    run: RunShape,
}

impl From<Run> for StoredLine {
    fn from(run: Run) -> Self {
        Self {
            run: StoredRun(run).into(),
        }
    }
}

/// A run as a line of a record file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "RunShape", into = "RunShape")]
pub struct StoredRun(pub Run);

#[derive(Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "StoredRun")]
struct RunShape {
    id: RunId,
    source: SourceRef,
    technique: Technique,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    because: Vec<String>,
    fields: Fields,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    questions: Vec<Question>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    remarks: Vec<Diagnostic>,
    traces: Vec<TraceShape>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "StoredTrace")]
struct TraceShape {
    label: Option<String>,
    x: AxisShape,
    y: ColumnShape,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    held: Vec<Coordinate>,
    #[serde(default, skip_serializing_if = "Fields::is_empty")]
    fields: Fields,
    #[serde(default, skip_serializing_if = "Lines::is_empty")]
    lines: Lines,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    row_names: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    absent: Option<u32>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    saturated: Vec<u32>,
}

/// An axis: its own numbers, or those of an earlier trace.
#[derive(Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "StoredAxis")]
struct AxisShape {
    quantity: Quantity,
    unit: Unit,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// The numbers, unless `values_of` names an earlier trace that has them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<NumbersShape>")]
    values: Option<StoredNumbers>,
    /// The earlier trace (from 0) over whose axis this one runs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    values_of: Option<u32>,
    #[serde(default, skip_serializing_if = "Decimals::is_empty")]
    decimals: Decimals,
}

/// A column with its own numbers.
#[derive(Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "StoredColumn")]
struct ColumnShape {
    quantity: Quantity,
    unit: Unit,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// The numbers.
    #[schemars(with = "NumbersShape")]
    values: StoredNumbers,
    #[serde(default, skip_serializing_if = "Decimals::is_empty")]
    decimals: Decimals,
}

impl From<Column> for ColumnShape {
    fn from(column: Column) -> Self {
        Self {
            quantity: column.quantity,
            unit: column.unit,
            name: column.name,
            values: StoredNumbers::new(column.values, &column.decimals),
            decimals: column.decimals,
        }
    }
}

impl From<ColumnShape> for Column {
    fn from(stored: ColumnShape) -> Self {
        Self {
            quantity: stored.quantity,
            unit: stored.unit,
            name: stored.name,
            values: stored.values.into_numbers(),
            decimals: stored.decimals,
        }
    }
}

impl From<StoredRun> for RunShape {
    fn from(StoredRun(run): StoredRun) -> Self {
        let mut owners: Vec<(Numbers, u32)> = Vec::new();
        let mut traces = Vec::with_capacity(run.traces.len());
        for (index, trace) in run.traces.into_iter().enumerate() {
            let owner = owners
                .iter()
                .rev()
                .find(|(values, _)| values.is_shared_with(&trace.x.values))
                .map(|o| o.1);
            if owner.is_none() {
                owners.push((trace.x.values.clone(), u32::try_from(index).unwrap_or(u32::MAX)));
            }
            let Column {
                quantity,
                unit,
                name,
                values,
                decimals,
            } = trace.x;
            let x = AxisShape {
                quantity,
                unit,
                name,
                values: owner.is_none().then(|| StoredNumbers::new(values, &decimals)),
                values_of: owner,
                decimals,
            };
            traces.push(TraceShape {
                label: trace.label,
                x,
                y: trace.y.into(),
                held: trace.held,
                fields: trace.fields,
                lines: trace.lines,
                row_names: trace.row_names,
                absent: Some(trace.absent).filter(|&n| n > 0),
                saturated: trace.saturated,
            });
        }
        let Run {
            id,
            source,
            technique,
            because,
            fields,
            questions,
            remarks,
            ..
        } = run;
        Self {
            id,
            source,
            technique,
            because,
            fields,
            questions,
            remarks,
            traces,
        }
    }
}

/// Why a record of a run is none.
#[derive(Debug)]
enum StoredRunError {
    AxisOfLaterTrace { trace: usize, owner: u32 },
    NoAxis(usize),
    Lengths { trace: usize, mismatch: LengthMismatch },
}

impl fmt::Display for StoredRunError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AxisOfLaterTrace { trace, owner } => write!(
                f,
                "trace {trace} runs over the axis of trace {owner}, which is no earlier one"
            ),
            Self::NoAxis(trace) => write!(
                f,
                "the x axis of trace {trace} has neither `values` nor `values_of`"
            ),
            Self::Lengths { trace, mismatch } => write!(f, "trace {trace}: {mismatch}"),
        }
    }
}

impl std::error::Error for StoredRunError {}

impl TryFrom<RunShape> for StoredRun {
    type Error = StoredRunError;

    fn try_from(shape: RunShape) -> Result<Self, StoredRunError> {
        let mut traces: Vec<Trace> = Vec::with_capacity(shape.traces.len());
        for (index, stored) in shape.traces.into_iter().enumerate() {
            let AxisShape {
                quantity,
                unit,
                name,
                values,
                values_of,
                decimals,
            } = stored.x;
            let values = match (values, values_of) {
                (Some(values), _) => values.into_numbers(),
                (None, Some(owner)) => traces
                    .get(owner as usize)
                    .map(|trace| trace.x.values.clone())
                    .ok_or(StoredRunError::AxisOfLaterTrace { trace: index, owner })?,
                (None, None) => {
                    return Err(StoredRunError::NoAxis(index));
                }
            };
            let x = Column {
                quantity,
                unit,
                name,
                values,
                decimals,
            };
            let mut trace = Trace::new(x, stored.y.into()).map_err(|mismatch| StoredRunError::Lengths {
                trace: index,
                mismatch,
            })?;
            trace.label = stored.label;
            trace.held = stored.held;
            trace.fields = stored.fields;
            trace.lines = stored.lines;
            trace.row_names = stored.row_names;
            trace.absent = stored.absent.unwrap_or(0);
            trace.saturated = stored.saturated;
            traces.push(trace);
        }
        let RunShape {
            id,
            source,
            technique,
            because,
            fields,
            questions,
            remarks,
            ..
        } = shape;
        Ok(Self(Run {
            id,
            source,
            technique,
            because,
            fields,
            traces,
            questions,
            remarks,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Digest;

    fn run() -> Run {
        let digest = Digest::of(b"x");
        let axis: Numbers = vec![400.0, 401.0].into();
        let trace = |y: [f64; 2]| {
            let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, axis.clone());
            let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y.to_vec())
                .with_decimals(Decimals::uniform(4, 2));
            Trace::new(x, y).expect("two columns of one length")
        };
        Run {
            id: RunId::new(&digest, 0),
            source: SourceRef {
                path: "a.txt".into(),
                digest,
                reader: "built-in/text-table".into(),
                reader_version: "1".into(),
                encoding: Some("UTF-8".into()),
                ordinal: 0,
                lines: Some((1, 3)),
            },
            technique: Technique::SPECTRUM,
            because: vec!["the header says nm".into()],
            fields: Fields::default(),
            traces: vec![trace([0.1, 0.2]), trace([0.3, f64::MIN_POSITIVE])],
            questions: Vec::new(),
            remarks: Vec::new(),
        }
    }

    #[test]
    fn a_shared_axis_is_stored_once_and_shared_again() {
        let line = serde_json::to_string(&Record::Run(Box::new(StoredRun(run())))).expect("it serialises");
        assert_eq!(line.matches("401.0").count(), 1, "{line}");
        assert!(!line.contains('\n'));
        let Record::Run(again) = serde_json::from_str(&line).expect("it reads") else {
            panic!("a run")
        };
        assert_eq!(again.0, run());
        let axis = |trace: usize| &again.0.traces[trace].x.values;
        assert!(axis(0).is_shared_with(axis(1)));
    }

    #[test]
    fn a_damaged_line_is_refused_with_its_reason() {
        let line = serde_json::to_string(&StoredRun(run())).expect("it serialises");
        let broken = line.replace("\"values_of\":0", "\"values_of\":7");
        let error = serde_json::from_str::<StoredRun>(&broken).expect_err("no such trace");
        assert!(error.to_string().contains("axis of trace 7"), "{error}");
    }

    #[test]
    fn a_run_is_like_none_in_its_own_line() {
        let model = || Some(Box::new(RunTree::of(run()).expect("JSON").into_model()));
        let said = |above: u32| {
            let line = format!(r#"{{"like":{{"above":{above},"source":{{"ordinal":1}}}}}}"#);
            read(line.as_bytes(), |asked| {
                assert_eq!(asked, above);
                model()
            })
        };
        assert!(said(1).is_ok());
        assert_eq!(
            said(0).map_err(|fault| fault.to_string()),
            Err("`above` is no count of lines".into())
        );
    }
}
