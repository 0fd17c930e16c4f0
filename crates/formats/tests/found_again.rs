//! Every number, unit and field of a source is found again in every export that can carry it: over the whole corpus and the
//! demonstration data, as libraries for CSV, JSON, workbooks and Parquet read what was written.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Cursor, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use calamine::{Data, Reader as _, Xlsx};
use curvary_formats::writers::csv::CsvOptions;
use curvary_formats::writers::export::{
    ExportError, ExportPart, Exporter, Files, Output, TidyCsvExporter, export,
};
use curvary_formats::writers::json_lines::Json;
use curvary_formats::writers::table_schema::TableSchema;
use curvary_formats::writers::units::Units;
use curvary_formats::writers::{animl, jcamp, parquet, tables, wide, xlsx};
use curvary_formats::{Readers, Source};
use curvary_record::{Fields, Run, Unit, Value};

type Written = BTreeMap<String, Vec<u8>>;

/// Files in memory.
#[derive(Clone, Default)]
struct Memory(Arc<Mutex<Written>>);

struct File {
    name: String,
    bytes: Cursor<Vec<u8>>,
    all: Memory,
}

impl Write for File {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.bytes.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Seek for File {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.bytes.seek(to)
    }
}

impl Drop for File {
    fn drop(&mut self) {
        let bytes = std::mem::take(self.bytes.get_mut());
        self.all.0.lock().unwrap().insert(self.name.clone(), bytes);
    }
}

impl Files for Memory {
    fn create(&mut self, part: ExportPart<'_>) -> io::Result<Box<dyn Output>> {
        let name = match part {
            ExportPart::Main => "main",
            ExportPart::Schema => "schema",
            ExportPart::Member(name) => name,
        };
        Ok(Box::new(File {
            name: name.to_owned(),
            bytes: Cursor::default(),
            all: self.clone(),
        }))
    }
}

fn written(mut exporter: impl Exporter, runs: &[Run]) -> Written {
    let mut memory = Memory::default();
    let mut runs = runs;
    export(&mut exporter, &mut runs, Units::AsRead, &mut memory).expect("memory takes all");
    drop(exporter);
    let all = memory.0.lock().unwrap();
    all.clone()
}

/// What stands in a cell, whatever the format.
#[derive(Clone, Debug, PartialEq)]
enum Cell {
    Empty,
    Number(f64),
    Text(String),
    Truth(bool),
}

impl Cell {
    fn is(&self, value: f64) -> bool {
        match self {
            Self::Number(number) => *number == value,
            Self::Text(text) => text.parse::<f64>().is_ok_and(|number| number == value),
            _ => false,
        }
    }

    fn says(&self, words: &str) -> bool {
        matches!(self, Self::Text(text) if text == words || text.strip_prefix('\'') == Some(words) || text.split('\n').any(|line| line == words))
    }
}

/// A table: heads, units of the columns where they are described, rows.
struct Table {
    heads: Vec<String>,
    units: BTreeMap<String, String>,
    rows: Vec<Vec<Cell>>,
}

fn units_of(schema: &TableSchema) -> BTreeMap<String, String> {
    let fields = schema.fields.iter();
    fields
        .filter_map(|field| Some((field.name.clone(), field.unit.clone()?)))
        .collect()
}

fn csv_table(bytes: &[u8], schema: &TableSchema) -> Table {
    let mut reader = csv::Reader::from_reader(bytes);
    let heads = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let cell = |text: &str| {
        if text.is_empty() {
            Cell::Empty
        } else {
            Cell::Text(text.to_owned())
        }
    };
    let rows = reader
        .records()
        .map(|row| row.unwrap().iter().map(cell).collect());
    Table {
        heads,
        units: units_of(schema),
        rows: rows.collect(),
    }
}

fn of_package(all: &Written, name: &str) -> Table {
    let package: serde_json::Value = serde_json::from_slice(&all["datapackage.json"]).unwrap();
    let resource = package["resources"]
        .as_array()
        .unwrap()
        .iter()
        .find(|one| one["name"] == name)
        .unwrap();
    let schema: TableSchema = serde_json::from_value(resource["schema"].clone()).unwrap();
    csv_table(&all[resource["path"].as_str().unwrap()], &schema)
}

fn of_parquet(bytes: &[u8]) -> Table {
    use ::parquet::file::reader::{FileReader, SerializedFileReader};
    use ::parquet::record::Field;
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes.to_vec())).unwrap();
    let metadata = reader.metadata().file_metadata();
    let described = metadata
        .key_value_metadata()
        .unwrap()
        .iter()
        .find(|one| one.key == "table-schema")
        .unwrap();
    let schema: TableSchema = serde_json::from_str(described.value.as_ref().unwrap()).unwrap();
    let heads = schema.fields.iter().map(|field| field.name.clone()).collect();
    let rows = reader.get_row_iter(None).unwrap().map(|row| {
        let row = row.unwrap();
        row.get_column_iter()
            .map(|(_, field)| match field {
                Field::Null => Cell::Empty,
                Field::Double(value) => Cell::Number(*value),
                #[allow(clippy::cast_precision_loss)]
                Field::Long(value) => Cell::Number(*value as f64),
                Field::Bool(mark) => Cell::Truth(*mark),
                Field::Str(text) => Cell::Text(text.clone()),
                Field::Date(_) => Cell::Text(day(field)),
                other => panic!("{other:?}"),
            })
            .collect()
    });
    Table {
        heads,
        units: units_of(&schema),
        rows: rows.collect(),
    }
}

/// A day as it is written, without the time that the library adds.
fn day(field: &::parquet::record::Field) -> String {
    field.to_string().chars().take(10).collect()
}

fn of_sheet(book: &mut Xlsx<Cursor<Vec<u8>>>, name: &str) -> Table {
    let range = book.worksheet_range(name).unwrap();
    let mut rows = range.rows().map(|row| -> Vec<Cell> {
        row.iter()
            .map(|cell| match cell {
                Data::Empty => Cell::Empty,
                Data::Float(value) => Cell::Number(*value),
                #[allow(clippy::cast_precision_loss)]
                Data::Int(value) => Cell::Number(*value as f64),
                Data::Bool(mark) => Cell::Truth(*mark),
                Data::String(text) => Cell::Text(text.clone()),
                Data::DateTime(day) => {
                    let (year, month, day, ..) = day.to_ymd_hms_milli();
                    Cell::Text(format!("{year:04}-{month:02}-{day:02}"))
                }
                other => Cell::Text(other.to_string()),
            })
            .collect()
    });
    let heads = rows
        .next()
        .unwrap_or_default()
        .into_iter()
        .map(|cell| match cell {
            Cell::Text(text) => text,
            other => format!("{other:?}"),
        });
    let heads: Vec<String> = heads.collect();
    let rows: Vec<Vec<Cell>> = rows.collect();
    let columns = book.worksheet_range("columns").unwrap();
    let units = columns
        .rows()
        .filter(|row| row[0] == name && !row[2].to_string().is_empty())
        .map(|row| (row[1].to_string(), row[2].to_string()))
        .collect();
    Table { heads, units, rows }
}

/// Units of one size that share columns: `{AU}` and `1`.
fn same_unit(one: &str, other: &str) -> bool {
    let form = |code: &str| Unit::ucum(code).map(|unit| unit.slug()).unwrap_or_default();
    one == other || form(one) == form(other)
}

impl Table {
    /// Whether a number of this unit stands in the row.
    fn has(&self, row: &[Cell], value: f64, unit: Option<&Unit>) -> bool {
        row.iter().zip(&self.heads).any(|(cell, head)| {
            let fits = match (unit, self.units.get(head)) {
                (Some(unit), Some(own)) => same_unit(unit.code(), own),
                (Some(_), None) => false,
                (None, _) => true,
            };
            fits && cell.is(value)
        })
    }

    fn fields(&self, row: &[Cell], fields: &Fields) -> Result<(), String> {
        for (key, claims) in fields.iter() {
            let claim = &claims[0];
            let unit = claim.unit.as_ref();
            let there = match &claim.value {
                Value::Number(value) => {
                    self.has(row, *value, unit)
                        || key.as_str() == "sample" && row.iter().any(|cell| cell.says(&claim.raw))
                }
                Value::Range { from, to } => {
                    self.has(row, *from, unit) && self.has(row, *to, unit)
                        || key.as_str() == "sample" && row.iter().any(|cell| cell.says(&claim.raw))
                }
                Value::Text(text) => {
                    text.is_empty()
                        || row.iter().any(|cell| cell.says(text))
                        || text.contains('\n')
                            && row
                                .iter()
                                .any(|cell| matches!(cell, Cell::Text(own) if own.contains(text.as_str())))
                }
            };
            let error = claim.plus_minus.is_none_or(|error| self.has(row, error, unit));
            if !there || !error {
                return Err(format!("{key} is not there: {claim:?}"));
            }
        }
        Ok(())
    }

    /// All points in their order; of tidy tables also what is known of the run.
    fn points(&self, runs: &[Run], with_fields: bool) -> Result<(), String> {
        let mut rows = self.rows.iter();
        for run in runs {
            for trace in &run.traces {
                for (at, (&x, &y)) in trace.x.values.iter().zip(trace.y.values.iter()).enumerate() {
                    let row = rows.next().ok_or("rows are missing")?;
                    for (value, unit) in [(x, &trace.x.unit), (y, &trace.y.unit)] {
                        if !self.has(row, value, Some(unit)) {
                            return Err(format!(
                                "{value} {unit} is not in {row:?} of {:?} {:?}",
                                self.heads, self.units
                            ));
                        }
                    }
                    let marked = trace.saturated.contains(&u32::try_from(at).unwrap());
                    let mark = |cell: &Cell| *cell == Cell::Truth(true) || cell.says("true");
                    let column = self.heads.iter().position(|head| head == "saturated");
                    if marked != column.is_some_and(|at| mark(&row[at])) {
                        return Err(format!("its mark is wrong: {row:?}"));
                    }
                    if let Some(name) = trace.row_names.get(at).filter(|name| !name.is_empty())
                        && !row.iter().any(|cell| cell.says(name))
                    {
                        return Err(format!("the name {name} is not there"));
                    }
                    if with_fields && at == 0 {
                        self.fields(row, &trace.fields)?;
                        // What is said of a curve goes before what is said of its run.
                        let mut of_run = run.fields.clone();
                        for (key, _) in trace.fields.iter() {
                            of_run.remove(key.as_str());
                        }
                        self.fields(row, &of_run)?;
                        for held in &trace.held {
                            if !self.has(row, held.value, Some(&held.unit)) {
                                return Err(format!("{} is not there", held.quantity));
                            }
                        }
                    }
                }
            }
        }
        match rows.next() {
            None => Ok(()),
            Some(row) => Err(format!("a row too many: {row:?}")),
        }
    }

    fn runs(&self, runs: &[Run]) -> Result<(), String> {
        for (run, row) in runs.iter().zip(&self.rows) {
            self.fields(row, &run.fields)?;
        }
        (self.rows.len() == runs.len())
            .then_some(())
            .ok_or_else(|| "the count of runs differs".to_owned())
    }

    fn curves(&self, runs: &[Run]) -> Result<(), String> {
        let traces = runs.iter().flat_map(|run| &run.traces);
        for (trace, row) in traces.zip(&self.rows) {
            self.fields(row, &trace.fields)?;
            for held in &trace.held {
                if !self.has(row, held.value, Some(&held.unit)) {
                    return Err(format!("{} is not there", held.quantity));
                }
            }
            if let Some(label) = trace.label.as_deref().filter(|label| !label.is_empty())
                && !row
                    .iter()
                    .any(|cell| cell.says(label) || matches!(cell, Cell::Text(own) if own.contains(label)))
            {
                return Err(format!("the label {label} is not there"));
            }
        }
        Ok(())
    }
}

fn sources(folder: &Path, all: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, all);
        } else if path.extension().is_none_or(|end| end != "json") {
            all.push(path);
        }
    }
}

fn all_exports(runs: &[Run]) -> Result<(), String> {
    let told = |format: &'static str| move |why: String| format!("{format}: {why}");
    let tidy = written(TidyCsvExporter::new(CsvOptions::default()), runs);
    let schema: TableSchema = serde_json::from_slice(&tidy["schema"]).unwrap();
    csv_table(&tidy["main"], &schema)
        .points(runs, true)
        .map_err(told("csv"))?;
    let four = written(tables::Tables::new(CsvOptions::default()), runs);
    of_package(&four, "runs").runs(runs).map_err(told("runs.csv"))?;
    of_package(&four, "curves")
        .curves(runs)
        .map_err(told("curves.csv"))?;
    of_package(&four, "points")
        .points(runs, false)
        .map_err(told("points.csv"))?;
    let four = written(parquet::Parquet::default(), runs);
    of_parquet(&four["runs.parquet"])
        .runs(runs)
        .map_err(told("runs.parquet"))?;
    of_parquet(&four["curves.parquet"])
        .curves(runs)
        .map_err(told("curves.parquet"))?;
    of_parquet(&four["points.parquet"])
        .points(runs, false)
        .map_err(told("points.parquet"))?;
    let book = written(xlsx::Xlsx::default(), runs);
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(book["main"].clone())).unwrap();
    of_sheet(&mut book, "runs").runs(runs).map_err(told("xlsx"))?;
    of_sheet(&mut book, "curves").curves(runs).map_err(told("xlsx"))?;
    of_sheet(&mut book, "points")
        .points(runs, false)
        .map_err(told("xlsx"))?;
    let lines = written(Json::lines(), runs);
    let lines = String::from_utf8(lines["main"].clone()).unwrap();
    let back: Vec<Run> = lines
        .lines()
        .map(|line| {
            serde_json::from_value(serde_json::from_str::<serde_json::Value>(line).unwrap()["run"].take())
                .unwrap()
        })
        .collect();
    if back != runs {
        return Err("json-lines: another run comes back".to_owned());
    }
    let document = written(Json::document(), runs);
    let mut document: serde_json::Value = serde_json::from_slice(&document["main"]).unwrap();
    let back: Vec<Run> = serde_json::from_value(document["runs"].take()).unwrap();
    if back != runs {
        return Err("json: another run comes back".to_owned());
    }
    for run in runs {
        side_by_side(run).map_err(told("wide-csv"))?;
    }
    // Plain numbers of 5.01 go through the other test with every file; here each file takes one of the other ways.
    let ways = ways_of_the_standard();
    let points: usize = runs.iter().map(Run::points).sum();
    let options = &ways[(points + runs.len()) % ways.len()];
    by_the_standard(runs, options)
        .map_err(|why| format!("jcamp-dx {:?} {:?}: {why}", options.form, options.version))?;
    comes_home(runs).map_err(told("animl"))
}

/// Wide CSV: every number in the column of its curve, in the row of its x, with the units that the schema states. The format
/// has no room for fields.
fn side_by_side(run: &Run) -> Result<(), String> {
    let mut memory = Memory::default();
    let mut wide = wide::Wide::new(true, false);
    let told = export(
        &mut wide,
        &mut std::slice::from_ref(run),
        Units::AsRead,
        &mut memory,
    );
    if let Err(ExportError::Refused(why)) = told {
        // Axes of several kinds, or an x that comes twice.
        return (why.code.as_str() == "axes-differ")
            .then_some(())
            .ok_or(why.message);
    }
    told.map_err(|why| why.to_string())?;
    let all = memory.0.lock().unwrap().clone();
    let schema: TableSchema = serde_json::from_slice(&all["schema"]).unwrap();
    let table = csv_table(&all["main"], &schema);
    let curves: Vec<_> = run.traces.iter().filter(|trace| !trace.is_empty()).collect();
    if table.heads.len() != curves.len() + 1 {
        return Err(format!("{:?} for {} curves", table.heads, curves.len()));
    }
    for (at, trace) in curves.iter().enumerate() {
        let there = |row: &&Vec<Cell>| row[at + 1] != Cell::Empty;
        let mut rows: Vec<&Vec<Cell>> = table.rows.iter().filter(there).collect();
        let falling = |first: f64, last: f64| first > last;
        let mut points: Vec<(f64, f64)> = trace
            .x
            .values
            .iter()
            .copied()
            .zip(trace.y.values.iter().copied())
            .collect();
        if curves.len() > 1 {
            // Rows of a union are in the order of the first curve.
            points.sort_by(|one, other| one.0.total_cmp(&other.0));
            if let [first, .., last] = &rows[..]
                && let (Cell::Text(first), Cell::Text(last)) = (&first[0], &last[0])
                && falling(first.parse().unwrap(), last.parse().unwrap())
            {
                rows.reverse();
            }
            rows.sort_by(|one, other| {
                let x = |row: &[Cell]| match &row[0] {
                    Cell::Text(text) => text.parse::<f64>().unwrap(),
                    _ => f64::NAN,
                };
                x(one).total_cmp(&x(other))
            });
        }
        if rows.len() != points.len() {
            return Err(format!("{} rows for {} points", rows.len(), points.len()));
        }
        for (row, (x, y)) in rows.iter().zip(points) {
            if !row[0].is(x) || !row[at + 1].is(y) {
                return Err(format!("{x} {y} is not {:?} {:?}", row[0], row[at + 1]));
            }
        }
        let units = [
            (&table.heads[0], &trace.x.unit),
            (&table.heads[at + 1], &trace.y.unit),
        ];
        for (head, unit) in units {
            if !table
                .units
                .get(head)
                .is_some_and(|own| same_unit(own, unit.code()))
            {
                return Err(format!("{head} is not in {unit}"));
            }
        }
    }
    Ok(())
}

/// Every form of ordinates, both versions, scans as NTUPLES and as blocks of LINK.
fn ways_of_the_standard() -> Vec<jcamp::JcampDxOptions> {
    use jcamp::{Form, Version};
    let of = |form, version, scans_as_blocks| jcamp::JcampDxOptions {
        form,
        version,
        scans_as_blocks,
        ..jcamp::JcampDxOptions::default()
    };
    let forms = [Form::Pac, Form::Sqz, Form::Dif, Form::DifDup];
    let mut all: Vec<jcamp::JcampDxOptions> = forms
        .into_iter()
        .map(|form| of(form, Version::V5_01, false))
        .collect();
    all.push(of(Form::Affn, Version::V5_01, true));
    all.push(of(Form::DifDup, Version::V4_24, false));
    all
}

/// JCAMP-DX gives the same runs back, but for what its remarks tell.
fn by_the_standard(runs: &[Run], options: &jcamp::JcampDxOptions) -> Result<(), String> {
    let file = jcamp::write(runs, options).map_err(|why| why.message)?;
    all_mean_the_same(runs, &read("a.jdx", file.text.into_bytes()), &lost(&file.remarks))
}

/// AnIML is read by our own reader as the same runs: every number to the bit with its decimals, every unit and field.
fn comes_home(runs: &[Run]) -> Result<(), String> {
    let document = written(animl::AnimlExporter::default(), runs)["main"].clone();
    let (_, reading) = Readers::built_in().read(&Source::new("a.animl", document), None);
    if reading.runs.len() != runs.len() {
        return Err(format!(
            "{} runs become {}: {:?}",
            runs.len(),
            reading.runs.len(),
            reading.remarks
        ));
    }
    for (one, other) in runs.iter().zip(&reading.runs) {
        if one.technique != other.technique || one.traces.len() != other.traces.len() {
            return Err(format!("{} with {} curves", other.technique, other.traces.len()));
        }
        same_fields(&one.fields, &other.fields)?;
        for (one, other) in one.traces.iter().zip(&other.traces) {
            for (own, back) in [(&one.x, &other.x), (&one.y, &other.y)] {
                let bits = |column: &curvary_record::Column| -> Vec<u64> {
                    column.values.iter().map(|value| value.to_bits()).collect()
                };
                let same = bits(own) == bits(back) && own.texts().eq(back.texts());
                if !same || own.quantity != back.quantity || own.unit != back.unit || own.name != back.name {
                    return Err(format!("another column: {own:?} becomes {back:?}"));
                }
            }
            let held = |trace: &curvary_record::Trace| -> Vec<_> {
                let all = trace.held.iter();
                all.map(|held| (held.quantity.clone(), held.unit.clone(), held.value.to_bits()))
                    .collect()
            };
            let rest = |trace: &curvary_record::Trace| {
                (
                    trace.label.clone(),
                    trace.saturated.clone(),
                    trace.absent,
                    trace.row_names.clone(),
                )
            };
            if held(one) != held(other) || rest(one) != rest(other) {
                return Err(format!("another curve: {one:?} becomes {other:?}"));
            }
            same_fields(&one.fields, &other.fields)?;
        }
    }
    Ok(())
}

/// What a reader makes of a file.
fn read(name: &str, bytes: Vec<u8>) -> Vec<Run> {
    let (_, reading) = Readers::built_in().read(&Source::new(name, bytes), None);
    reading.runs
}

/// Through tidy CSV, JCAMP-DX and tidy CSV again.
fn there_and_back(runs: &[Run]) -> Result<(), String> {
    let csv = |runs: &[Run]| {
        let bytes = written(TidyCsvExporter::new(CsvOptions::default()), runs)["main"].clone();
        read("a.csv", bytes)
    };
    let first = csv(runs);
    all_mean_the_same(runs, &first, &[]).map_err(|why| format!("as CSV {why}"))?;
    let file = jcamp::write(&first, &jcamp::JcampDxOptions::default()).map_err(|why| why.message)?;
    let second = read("a.jdx", file.text.into_bytes());
    all_mean_the_same(&first, &second, &lost(&file.remarks)).map_err(|why| format!("as JCAMP-DX {why}"))?;
    all_mean_the_same(runs, &csv(&second), &lost(&file.remarks))
}

/// What a writer says to be lost.
fn lost(remarks: &[curvary_record::Diagnostic]) -> Vec<&str> {
    let all = remarks.iter();
    all.filter(|remark| remark.severity >= curvary_record::Severity::Warning)
        .map(|remark| remark.message.as_str())
        .collect()
}

fn all_mean_the_same(runs: &[Run], back: &[Run], lost: &[&str]) -> Result<(), String> {
    if back.len() != runs.len() {
        return Err(format!("{} runs become {}", runs.len(), back.len()));
    }
    let wrong: Vec<String> = runs
        .iter()
        .zip(back)
        .flat_map(|(one, other)| means_the_same(one, other, lost))
        .collect();
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("; "))
    }
}

/// In what a run differs from what it was, apart from what a remark says to be lost: all numbers to the bit, their decimals,
/// quantities and units, labels, marks, names of points, held coordinates and fields. The same is only spelt otherwise where
///
/// - a unit is another of the same size and form (`{AU}` and `1`);
/// - a key of the source's own has come through the name of a column (`Flask colour`, `flask-colour`);
/// - what a run states of a coordinate (`wavelength: 535 nm` above a time course) is held along each of its curves, or
///   what is held along a curve, or said of it, is said of its run, which has no other;
/// - a text is empty.
fn means_the_same(one: &Run, other: &Run, lost: &[&str]) -> Vec<String> {
    let mut wrong = Vec::new();
    if one.technique != other.technique {
        wrong.push(format!("{} becomes {}", one.technique, other.technique));
    }
    let curves = |run: &Run| -> Vec<curvary_record::Trace> {
        let all = run.traces.iter().filter(|trace| !trace.is_empty());
        all.cloned().collect()
    };
    let (before, after) = (curves(one), curves(other));
    if before.len() != after.len() {
        wrong.push(format!("{} curves become {}", before.len(), after.len()));
        return wrong;
    }
    for (own, back) in before.iter().zip(&after) {
        curve_means_the_same((own, back), other, lost, &mut wrong);
    }
    for (key, claims) in one.fields.iter() {
        // Comments add to one another.
        let count = if key.as_str() == "comment" {
            claims.len()
        } else {
            1
        };
        for claim in claims[..count]
            .iter()
            .filter(|claim| claim.value != Value::Text(String::new()))
        {
            let held = || {
                !after.is_empty()
                    && after.iter().all(|trace| {
                        trace.held.iter().any(|held| {
                            held.quantity.as_str() == key.as_str()
                                && claim.value == Value::Number(held.value)
                                && claim
                                    .unit
                                    .as_ref()
                                    .is_some_and(|unit| same_unit(unit.code(), held.unit.code()))
                        })
                    })
            };
            let of_all_curves =
                || !after.is_empty() && after.iter().all(|trace| said(&trace.fields, key.as_str(), claim));
            if !said(&other.fields, key.as_str(), claim)
                && !held()
                && !of_all_curves()
                && !is_told(lost, key.as_str())
            {
                wrong.push(format!("`{key}`: {:?} {:?} is lost", claim.value, claim.unit));
            }
        }
    }
    wrong
}

/// [`means_the_same`] of one curve, which may say of itself what the other run says of the whole.
fn curve_means_the_same(
    (own, back): (&curvary_record::Trace, &curvary_record::Trace),
    other: &Run,
    lost: &[&str],
    wrong: &mut Vec<String>,
) {
    for (own, back) in [(&own.x, &back.x), (&own.y, &back.y)] {
        // A zero has no sign.
        let bits = |column: &curvary_record::Column| -> Vec<u64> {
            column
                .values
                .iter()
                .map(|value| (value + 0.0).to_bits())
                .collect()
        };
        if bits(own) != bits(back) {
            wrong.push(format!("other numbers of {}", own.quantity));
        }
        if plain(own.quantity.as_str()) != plain(back.quantity.as_str())
            || !same_unit(own.unit.code(), back.unit.code())
        {
            wrong.push(format!(
                "{} {} becomes {} {}",
                own.quantity, own.unit, back.quantity, back.unit
            ));
        }
    }
    let marks = |trace: &curvary_record::Trace| {
        let mut marks = trace.saturated.clone();
        marks.sort_unstable();
        marks
    };
    if marks(own) != marks(back) || own.absent != back.absent {
        wrong.push(format!(
            "marks: {:?} {} becomes {:?} {}",
            own.saturated, own.absent, back.saturated, back.absent
        ));
    }
    let label = |trace: &curvary_record::Trace| trace.label.clone().unwrap_or_default();
    if label(own) != label(back) {
        wrong.push(format!("label {:?} becomes {:?}", own.label, back.label));
    }
    if own.row_names != back.row_names && !lost.iter().any(|message| message.contains("names of the points"))
    {
        wrong.push(format!(
            "names {:?} become {:?}",
            own.row_names.first(),
            back.row_names.first()
        ));
    }
    for held in &own.held {
        let there = back.held.iter().any(|other| {
            other.quantity == held.quantity
                && same_unit(other.unit.code(), held.unit.code())
                && other.value.to_bits() == held.value.to_bits()
        });
        let field = || {
            let claim = curvary_record::Claim::number(
                held.value,
                Some(held.unit.clone()),
                "",
                curvary_record::Origin::Source(curvary_record::Place::default()),
            );
            let key = held.quantity.as_str();
            said(&back.fields, key, &claim) || said(&other.fields, key, &claim)
        };
        if !there && !field() {
            wrong.push(format!(
                "held {} {} becomes {:?}",
                held.value, held.unit, back.held
            ));
        }
    }
    for (key, claims) in own.fields.iter() {
        let found =
            said(&back.fields, key.as_str(), &claims[0]) || said(&other.fields, key.as_str(), &claims[0]);
        if !found && !is_told(lost, key.as_str()) {
            wrong.push(format!(
                "`{key}` of a curve: {:?} {:?} is lost",
                claims[0].value, claims[0].unit
            ));
        }
    }
}

fn is_told(lost: &[&str], key: &str) -> bool {
    lost.iter().any(|message| message.contains(&format!("`{key}`")))
}

/// The letters and digits of a name, whatever their case and what stands between them.
fn plain(name: &str) -> String {
    if name.starts_with('±') {
        return "plusminus".to_owned();
    }
    let letters = name.chars().flat_map(char::to_lowercase);
    letters.filter(|letter| letter.is_alphanumeric()).collect()
}

/// Whether fields say what a claim says, under its key or a spelling of it.
fn said(fields: &Fields, key: &str, claim: &curvary_record::Claim) -> bool {
    let known = curvary_record::known_field(key).is_some();
    let own_unit = |unit: &Option<Unit>| unit.as_ref().map_or_else(String::new, Unit::slug);
    fields
        .iter()
        .filter(|(other, _)| other.as_str() == key || !known && plain(other.as_str()) == plain(key))
        .flat_map(|(_, claims)| claims)
        .any(|back| match (&claim.value, &back.value) {
            (Value::Text(own), Value::Text(text)) => {
                own.trim() == text.trim()
                    || key == "comment" && own.trim().lines().all(|line| text.contains(line.trim()))
            }
            (own, value) => {
                own == value
                    && (own_unit(&claim.unit) == own_unit(&back.unit))
                    && claim.plus_minus == back.plus_minus
            }
        })
}

fn same_fields(one: &Fields, other: &Fields) -> Result<(), String> {
    let strongest = |fields: &Fields| -> BTreeMap<String, _> {
        let all = fields.iter().filter_map(|(key, claims)| {
            let claim = claims.first()?;
            let what = (claim.value.clone(), claim.unit.clone(), claim.plus_minus);
            Some((key.as_str().to_owned(), what))
        });
        all.collect()
    };
    if strongest(one) == strongest(other) {
        Ok(())
    } else {
        Err(format!("{:?} becomes {:?}", strongest(one), strongest(other)))
    }
}

/// Files of which something is not found again, and why.
const EXCEPTIONS: [(&str, &str); 2] = [
    (
        "tests/corpus/generate_text_corpus.py",
        "a program, no measurement: of hundreds of its lines that look like keys two have the same letters and digits",
    ),
    (
        "documents/forms/sentences-of-keys/input.pdf",
        "its key `Run 2` stands beside the key of the run's own name, once that came through a document of JCAMP-DX",
    ),
];

/// Files that a run of the test goes through, and what it says of each.
fn of_all_files(test: impl Fn(&[Run]) -> Result<(), String>) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut all = Vec::new();
    sources(&root.join("tests/corpus"), &mut all);
    sources(&root.join("demo-data"), &mut all);
    all.sort();
    let readers = Readers::built_in();
    let (mut tried, mut wrong) = (0, Vec::new());
    for path in all {
        let name = path.display().to_string();
        let source = Source::new(name.clone(), fs::read(&path).expect("a file"));
        let (_, reading) = readers.read(&source, None);
        let runs: Vec<Run> = reading.runs.into_iter().filter(|run| run.points() > 0).collect();
        if runs.is_empty() {
            continue;
        }
        tried += 1;
        let excepted = EXCEPTIONS.iter().find(|(file, _)| name.ends_with(file));
        if let Err(why) = test(&runs)
            && excepted.is_none()
        {
            wrong.push(format!("{name}: {why}"));
        }
    }
    assert!(tried > 700, "{tried} files");
    assert!(
        wrong.is_empty(),
        "{} of {tried}:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn everything_is_found_again() {
    of_all_files(all_exports);
}

#[test]
fn the_same_comes_through_csv_and_jcamp_dx_and_csv() {
    of_all_files(there_and_back);
}

/// A document of our own in which something was changed is read like that of any other program, and it is told.
#[test]
fn what_was_changed_in_our_own_document_is_told() {
    let table = "sample: a\n\nwavelength (nm),absorbance\n400,0.10\n410,0.20\n420,0.30\n430,0.1\n";
    let runs = read("a.csv", table.into());
    let text = String::from_utf8(written(animl::AnimlExporter::default(), &runs)["main"].clone()).unwrap();
    let told = |text: String| {
        let source = Source::new("a.animl", text.into_bytes());
        let (_, reading) = Readers::built_in().read(&source, None);
        assert_eq!(reading.runs.len(), 1, "{:?}", reading.remarks);
        assert_eq!(reading.runs[0].points(), 4);
        let mut codes = reading.remarks.iter().map(|remark| remark.code.as_str());
        codes.any(|code| code == "not-as-written")
    };
    assert!(!told(text.clone()));
    for (from, to) in [
        ("curvary series-2", "curvary series-7"),
        ("label=\"nm\"", "label=\"nanometre squared\""),
        (">spectrum<", ">Spectrum of mine<"),
    ] {
        assert!(text.contains(from), "{from}");
        assert!(told(text.replacen(from, to, 1)), "{to}");
    }
}
