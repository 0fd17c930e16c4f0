//! EnzymeML, the open standard for enzymatic experiments: a document of the Systems Biology Markup Language (SBML) with
//! notes, and tables of measurements, in a COMBINE archive.
//!
//! Each measurement is a run: its time column the axis, every other column a curve with the name of its substance. The
//! tables are plain CSV whose columns the document describes (`enzymeml:format`); units are built from their
//! definitions, never from their names.

mod model;
mod package;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use curvary_record::{Code, Diagnostic, Severity, Span};

use self::model::{DescribedColumn, EnzymeModel, Measurement};
use self::package::CombineArchive;
use super::xml;
use crate::sink::{
    ColumnInput, ContractViolation, CurveInput, LocatedText, Sink, SourceLimits, SpanUnit, Values,
};
use crate::{Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of EnzymeML archives.
pub struct EnzymeMl {
    card: ReaderInfo,
}

impl Default for EnzymeMl {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/enzymeml".to_owned(),
                version: "1".to_owned(),
                title: "EnzymeML archives, the open standard for enzymatic experiments".to_owned(),
            },
        }
    }
}

/// Whether a zip file is one such experiment, and so a document and no container of files of their own.
pub(crate) fn is_experiment(bytes: &[u8]) -> bool {
    CombineArchive::open(bytes).is_some()
}

impl Reader for EnzymeMl {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        if glimpse.has_manifest {
            Recognition::Yes(
                "a zip archive that lists its members in `manifest.xml`, and is one document".to_owned(),
            )
        } else {
            Recognition::No("no zip archive that lists its members".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let Some(mut package) = CombineArchive::open(source.bytes()) else {
            return Reading::refused(
                Diagnostic::error(
                    Code::new("no-experiment"),
                    "the archive holds no document of an enzymatic experiment",
                )
                .help("expected a `manifest.xml` and an SBML document with the notes of EnzymeML"),
            );
        };
        let root = match xml::parse(&package.document) {
            Ok(root) => root,
            Err(why) => return Reading::refused(*why),
        };
        let model = EnzymeModel::of(&root);
        let mut sink = Sink::new(source, &self.card, SpanUnit::Bytes, SourceLimits::USUAL);
        sink.within(&package.name);
        let read = (|| {
            for remark in &model.remarks {
                sink.remark(Severity::Warning, "condition-left-out", remark, Span::default())?;
            }
            for measurement in &model.measurements {
                run(&mut sink, &mut package, measurement)?;
            }
            Ok(())
        })();
        match read.and_then(|()| sink.finish()) {
            Ok(reading) => reading,
            Err(breach) => Reading::refused(Diagnostic::error(
                Code::new("xml-refused"),
                format!("the document says what cannot be: {breach}"),
            )),
        }
    }
}

/// The cells of a column.
type ColumnCells = Vec<String>;

/// A measurement as a run.
fn run(
    sink: &mut Sink<'_>,
    package: &mut CombineArchive<'_>,
    measurement: &Measurement,
) -> Result<(), ContractViolation> {
    let location = measurement.file.location.as_str();
    let name = measurement
        .pairs
        .iter()
        .find(|(key, _)| key == "measurement")
        .map_or(location, |(_, name)| name);
    let leave = |sink: &mut Sink<'_>, why: &str| {
        let message = format!("the measurement `{name}` was left out: {why}");
        sink.remark(
            Severity::Warning,
            "measurement-left-out",
            &message,
            Span::default(),
        )
    };
    if location.is_empty() {
        return leave(sink, "no file with its numbers is named");
    }
    let text = match package.member(location) {
        Ok(text) => text,
        Err(why) => return leave(sink, &format!("of its file `{location}`: {why}")),
    };
    let columns = &measurement.file.columns;
    let times: Vec<&DescribedColumn> = columns.iter().filter(|column| column.kind == "time").collect();
    let time = match times.as_slice() {
        [time] => *time,
        [] => return leave(sink, "none of its columns is described as the time"),
        _ => return leave(sink, "several of its columns are described as the time"),
    };
    let cells = match table(&text, columns, time.index) {
        Ok(cells) => cells,
        Err(why) => return leave(sink, &format!("its file `{location}`: {why}")),
    };
    sink.begin_run("", Span::default())?;
    for (key, value) in &measurement.pairs {
        sink.claim(LocatedText::of(key), LocatedText::of(value))?;
    }
    sink.claim(LocatedText::of("data file"), LocatedText::of(location))?;
    with_column(time, &cells, |column| sink.axis(column))?;
    for described in columns.iter().filter(|column| column.kind != "time") {
        let several = columns
            .iter()
            .filter(|other| other.substance == described.substance && other.kind == described.kind)
            .count()
            > 1;
        let label = match (described.substance.as_str(), several) {
            (substance, true) if !described.replica.is_empty() => {
                format!("{substance}, {}", described.replica)
            }
            (substance, _) => substance.to_owned(),
        };
        let calculated = [(LocatedText::of("calculated"), LocatedText::of("yes"))];
        with_column(described, &cells, |column| {
            sink.curve(&CurveInput {
                label: label.trim_start_matches(", "),
                column: *column,
                claims: if described.is_calculated { &calculated } else { &[] },
                ..CurveInput::default()
            })
        })?;
    }
    sink.end_run()
}

/// Why a file of numbers gives no table.
#[derive(Debug, thiserror::Error)]
enum TableFault {
    #[error("its line {line} cannot be read: {error}")]
    Line { line: usize, error: csv::Error },
    #[error("no column that is described has a value")]
    Empty,
}

/// The described columns of a CSV text, by their index.
fn table(
    text: &str,
    columns: &[DescribedColumn],
    time: usize,
) -> Result<BTreeMap<usize, ColumnCells>, TableFault> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(text.trim_start_matches('\u{FEFF}').as_bytes());
    let mut cells: BTreeMap<usize, ColumnCells> = columns
        .iter()
        .map(|column| (column.index, ColumnCells::new()))
        .collect();
    for (row, record) in reader.records().enumerate() {
        let record = record.map_err(|error| TableFault::Line { line: row + 1, error })?;
        // Whether a first line names the columns is not said anywhere.
        if row == 0 && record.get(time).is_some_and(is_name) {
            continue;
        }
        for (index, column) in &mut cells {
            column.push(record.get(*index).unwrap_or("").trim().to_owned());
        }
    }
    match cells.values().find(|column| column.iter().all(String::is_empty)) {
        Some(_) if cells.values().all(|column| column.iter().all(String::is_empty)) => Err(TableFault::Empty),
        _ => Ok(cells),
    }
}

fn is_name(cell: &str) -> bool {
    !cell.trim().is_empty() && cell.trim().parse::<f64>().is_err()
}

fn with_column(
    described: &DescribedColumn,
    cells: &BTreeMap<usize, ColumnCells>,
    call: impl FnOnce(&ColumnInput<'_>) -> Result<(), ContractViolation>,
) -> Result<(), ContractViolation> {
    let none = ColumnCells::new();
    let texts: Vec<LocatedText<'_>> = cells
        .get(&described.index)
        .unwrap_or(&none)
        .iter()
        .map(|text| LocatedText::of(text))
        .collect();
    // Kinds of data of the standard; what is none of the trade's quantities is kept under its own name.
    let (header, quantity, unit) = match described.kind.as_str() {
        "time" => ("time", "time", described.unit.as_str()),
        "conc" => ("concentration", "concentration", described.unit.as_str()),
        "abs" => ("absorbance", "absorbance", "{AU}"),
        other => (other, "", described.unit.as_str()),
    };
    call(&ColumnInput {
        header: LocatedText::of(header),
        quantity,
        unit,
        comma: false,
        values: Values::Texts(&texts),
    })
}
