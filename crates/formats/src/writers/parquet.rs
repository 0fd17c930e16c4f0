//! Parquet: runs, curves, points and results as typed columns, for dataframes and query engines.
//!
//! Numbers are doubles, bit for bit; the heads carry the units, and the Table Schema of each file, with units as UCUM
//! codes, stands in its metadata under `table-schema`.

use std::iter::repeat_n;
use std::sync::Arc;

use curvary_record::Diagnostic;
use parquet::basic::{Compression, GzipLevel, LogicalType, Repetition, Type as Physical};
use parquet::column::reader::ColumnReader;
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type};

use super::csv::{CellContent, ColumnStretch, CsvOptions, CsvTable};
use super::export::{ExportError, ExportPart, ExportedRun, Exporter, Files, FormatRoom, Output};
use super::results::Results;
use super::table_schema::{ColumnType, TableField, TableSchema};
use super::tables::{NAMES, Surveys};

/// So many rows are held before they are written.
const ROWS: usize = 1 << 17;

fn failed(error: ParquetError) -> ExportError {
    ExportError::Io(std::io::Error::other(error.to_string()))
}

/// The cells of a column that are not written yet.
enum ColumnBuffer {
    Texts(Vec<ByteArray>),
    Numbers(Vec<f64>),
    Wholes(Vec<i64>),
    Truths(Vec<bool>),
    Days(Vec<i32>),
}

impl ColumnBuffer {
    /// Appends cells; says how many of the rows have one. Those without stand last.
    fn push(&mut self, stretch: &ColumnStretch<'_>, rows: usize) -> usize {
        match (self, stretch) {
            (Self::Texts(cells), ColumnStretch::Same(CellContent::Text(text))) => {
                cells.extend(repeat_n(ByteArray::from(*text), rows));
                rows
            }
            (Self::Texts(cells), ColumnStretch::Names(names)) => {
                cells.extend(names.iter().map(|name| ByteArray::from(name.as_str())));
                names.len()
            }
            (Self::Numbers(cells), ColumnStretch::Same(CellContent::Number(value))) => {
                cells.extend(repeat_n(*value, rows));
                rows
            }
            (Self::Numbers(cells), ColumnStretch::Numbers(numbers)) => {
                cells.extend_from_slice(numbers);
                numbers.len()
            }
            (Self::Wholes(cells), ColumnStretch::Same(CellContent::Whole(count))) => {
                cells.extend(repeat_n(*count, rows));
                rows
            }
            (Self::Wholes(cells), ColumnStretch::Counts(from)) => {
                cells.extend((*from..from + rows).filter_map(|count| i64::try_from(count).ok()));
                rows
            }
            (Self::Truths(cells), ColumnStretch::Same(CellContent::Truth(mark))) => {
                cells.extend(repeat_n(*mark, rows));
                rows
            }
            (Self::Truths(cells), ColumnStretch::Marks(marks)) => {
                cells.extend_from_slice(marks);
                marks.len()
            }
            (Self::Days(cells), ColumnStretch::Same(CellContent::Text(text))) => match days(text) {
                Some(days) => {
                    cells.extend(repeat_n(days, rows));
                    rows
                }
                None => 0,
            },
            _ => 0,
        }
    }
}

impl ColumnBuffer {
    /// Whether so little stands in the cells, run by run, that to prepare the packer costs more than packing saves: it clears
    /// a quarter of a megabyte for each page.
    fn is_small(&self, there: &[i16]) -> bool {
        fn runs<T: PartialEq>(cells: &[T], length: impl Fn(&T) -> usize) -> usize {
            let firsts = cells.iter().take(1).chain(
                cells
                    .windows(2)
                    .filter(|pair| pair[0] != pair[1])
                    .map(|pair| &pair[1]),
            );
            let mut all = 0;
            for first in firsts {
                all += length(first);
                if all > SMALL {
                    break;
                }
            }
            all
        }
        let cells = match self {
            Self::Texts(cells) => runs(cells, |text| text.len() + 8),
            Self::Numbers(cells) => runs(cells, |_| 8),
            Self::Wholes(cells) => runs(cells, |_| 8),
            Self::Truths(cells) => runs(cells, |_| 1),
            Self::Days(cells) => runs(cells, |_| 4),
        };
        cells + runs(there, |_| 2) <= SMALL
    }
}

/// So many bytes of a column are not packed.
const SMALL: usize = 512;

/// A file being written.
struct ParquetFile {
    /// Made when the first rows are written: a file of few rows is known whole then.
    writer: Option<SerializedFileWriter<Box<dyn Output>>>,
    out: Option<Box<dyn Output>>,
    fields: Vec<TableField>,
    columns: Vec<(ColumnBuffer, Vec<i16>)>,
    rows: usize,
}

impl ParquetFile {
    fn new(out: Box<dyn Output>, fields: &[TableField]) -> Self {
        let columns = fields.iter().map(|field| {
            let cells = match field.kind {
                ColumnType::String => ColumnBuffer::Texts(Vec::new()),
                ColumnType::Number => ColumnBuffer::Numbers(Vec::new()),
                ColumnType::Integer => ColumnBuffer::Wholes(Vec::new()),
                ColumnType::Boolean => ColumnBuffer::Truths(Vec::new()),
                ColumnType::Date => ColumnBuffer::Days(Vec::new()),
            };
            (cells, Vec::new())
        });
        Self {
            writer: None,
            out: Some(out),
            fields: fields.to_vec(),
            columns: columns.collect(),
            rows: 0,
        }
    }

    /// Begins the file. Where no more rows will come, columns of next to nothing are not packed.
    fn begin(&mut self, whole: bool) -> Result<(), ExportError> {
        let Some(out) = self.out.take() else { return Ok(()) };
        let leaf = |field: &TableField| {
            let (physical, logical) = match field.kind {
                ColumnType::String => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
                ColumnType::Number => (Physical::DOUBLE, None),
                ColumnType::Integer => (Physical::INT64, None),
                ColumnType::Boolean => (Physical::BOOLEAN, None),
                ColumnType::Date => (Physical::INT32, Some(LogicalType::Date)),
            };
            Type::primitive_type_builder(&field.name, physical)
                .with_repetition(Repetition::OPTIONAL)
                .with_logical_type(logical)
                .build()
                .map(Arc::new)
        };
        let leaves = self.fields.iter().map(leaf).collect::<Result<Vec<_>, _>>();
        let schema = Type::group_type_builder("row")
            .with_fields(leaves.map_err(failed)?)
            .build()
            .map_err(failed)?;
        let described = TableSchema::new(self.fields.clone()).to_json();
        // Engines pass over groups of rows by the least and the greatest number in them. Of names, which come in no order,
        // these tell nothing, and to find them takes as long as to write the names.
        let mut properties = WriterProperties::builder()
            .set_compression(Compression::GZIP(GzipLevel::default()))
            .set_statistics_enabled(EnabledStatistics::Chunk)
            // Rows are held as groups already: a page for each twenty thousand of them would only begin the packer anew.
            .set_data_page_row_count_limit(ROWS)
            .set_key_value_metadata(Some(vec![KeyValue::new("table-schema".to_owned(), described)]));
        for (field, (cells, there)) in self.fields.iter().zip(&self.columns) {
            let column = ColumnPath::from(vec![field.name.clone()]);
            if field.kind == ColumnType::String {
                properties =
                    properties.set_column_statistics_enabled(column.clone(), EnabledStatistics::None);
            }
            if whole && cells.is_small(there) {
                properties = properties.set_column_compression(column, Compression::UNCOMPRESSED);
            }
        }
        let writer = SerializedFileWriter::new(out, Arc::new(schema), Arc::new(properties.build()));
        self.writer = Some(writer.map_err(failed)?);
        Ok(())
    }

    fn row(&mut self, row: &[CellContent<'_>]) -> Result<(), ExportError> {
        let row: Vec<ColumnStretch<'_>> = row.iter().copied().map(ColumnStretch::Same).collect();
        self.rows(&row, 1)
    }

    /// Takes many rows, column by column.
    fn rows(&mut self, row: &[ColumnStretch<'_>], rows: usize) -> Result<(), ExportError> {
        for ((cells, there), stretch) in self.columns.iter_mut().zip(row) {
            let filled = cells.push(stretch, rows);
            there.extend(repeat_n(1, filled));
            there.extend(repeat_n(0, rows.saturating_sub(filled)));
        }
        self.rows += rows;
        if self.rows >= ROWS {
            self.hand_on(false)?;
        }
        Ok(())
    }

    /// Writes the rows that are held as a group; they may be the last.
    fn hand_on(&mut self, last: bool) -> Result<(), ExportError> {
        self.begin(last)?;
        let Some(writer) = self.writer.as_mut().filter(|_| self.rows > 0) else {
            return Ok(());
        };
        let mut group = writer.next_row_group().map_err(failed)?;
        for (cells, there) in &mut self.columns {
            let Some(mut column) = group.next_column().map_err(failed)? else {
                break;
            };
            let there = Some(there.as_slice());
            match cells {
                ColumnBuffer::Texts(cells) => column.typed::<ByteArrayType>().write_batch(cells, there, None),
                ColumnBuffer::Numbers(cells) => column.typed::<DoubleType>().write_batch(cells, there, None),
                ColumnBuffer::Wholes(cells) => column.typed::<Int64Type>().write_batch(cells, there, None),
                ColumnBuffer::Truths(cells) => column.typed::<BoolType>().write_batch(cells, there, None),
                ColumnBuffer::Days(cells) => column.typed::<Int32Type>().write_batch(cells, there, None),
            }
            .map_err(failed)?;
            column.close().map_err(failed)?;
        }
        group.close().map_err(failed)?;
        for (cells, there) in &mut self.columns {
            match cells {
                ColumnBuffer::Texts(cells) => cells.clear(),
                ColumnBuffer::Numbers(cells) => cells.clear(),
                ColumnBuffer::Wholes(cells) => cells.clear(),
                ColumnBuffer::Truths(cells) => cells.clear(),
                ColumnBuffer::Days(cells) => cells.clear(),
            }
            there.clear();
        }
        self.rows = 0;
        Ok(())
    }

    fn finish(mut self) -> Result<(), ExportError> {
        self.hand_on(true)?;
        if let Some(writer) = self.writer {
            writer.into_inner().map_err(failed)?.flush()?;
        }
        Ok(())
    }
}

/// Gives every text of a Parquet file: those of its metadata, the names of its columns, and the cells of text. Ends when
/// `take` says that it wants no more.
///
/// # Errors
/// When the file does not read back.
pub fn each_text(file: std::fs::File, mut take: impl FnMut(&str) -> bool) -> std::io::Result<()> {
    let broken = |error: ParquetError| std::io::Error::other(error.to_string());
    let reader = SerializedFileReader::new(file).map_err(broken)?;
    let about = reader.metadata().file_metadata();
    for pair in about.key_value_metadata().into_iter().flatten() {
        if !take(&pair.key) || pair.value.as_deref().is_some_and(|value| !take(value)) {
            return Ok(());
        }
    }
    for column in about.schema_descr().columns() {
        if !take(column.name()) {
            return Ok(());
        }
    }
    for group in 0..reader.num_row_groups() {
        let group = reader.get_row_group(group).map_err(broken)?;
        for at in 0..group.num_columns() {
            let ColumnReader::ByteArrayColumnReader(mut column) =
                group.get_column_reader(at).map_err(broken)?
            else {
                continue;
            };
            let mut last = ByteArray::new();
            let (mut texts, mut there) = (Vec::new(), Vec::new());
            loop {
                texts.clear();
                there.clear();
                let (rows, ..) = column
                    .read_records(ROWS_AT_ONCE, Some(&mut there), None, &mut texts)
                    .map_err(broken)?;
                if rows == 0 {
                    break;
                }
                for text in texts.drain(..) {
                    // The same stands in many rows one after another.
                    if text != last && !take(&String::from_utf8_lossy(text.data())) {
                        return Ok(());
                    }
                    last = text;
                }
            }
        }
    }
    Ok(())
}

/// So many rows are read back at a time.
const ROWS_AT_ONCE: usize = 1 << 13;

/// Days since 1970-01-01.
fn days(text: &str) -> Option<i32> {
    let day: jiff::civil::Date = text.parse().ok()?;
    let begin = jiff::civil::date(1970, 1, 1);
    begin.until(day).ok().map(|span| span.get_days())
}

/// The exporter of four files.
pub struct Parquet {
    surveys: Surveys,
    tables: Vec<CsvTable>,
    sheets: Vec<ParquetFile>,
    results: Results,
}

impl Default for Parquet {
    fn default() -> Self {
        Self {
            surveys: Surveys::new(CsvOptions::default()),
            tables: Vec::new(),
            sheets: Vec::new(),
            results: Results::default(),
        }
    }
}

impl Parquet {
    /// A part of a set: the columns that such tables usually have are there in every part, filled or not, and always of one
    /// type, so that all parts are read as one table.
    #[must_use]
    pub fn part() -> Self {
        Self {
            surveys: Surveys::with_usual_columns(CsvOptions::default()),
            ..Self::default()
        }
    }
}

impl Exporter for Parquet {
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
        self.tables = self.surveys.tables().into();
        let mut all: Vec<Vec<TableField>> = self.tables.iter().map(|table| table.schema().fields).collect();
        all.push(Results::columns());
        for (name, fields) in NAMES.iter().zip(&all) {
            let out = files.create(ExportPart::Member(&format!("{name}.parquet")))?;
            self.sheets.push(ParquetFile::new(out, fields));
        }
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        let Self {
            tables,
            sheets,
            results,
            ..
        } = self;
        for (table, sheet) in tables.iter().zip(sheets.iter_mut()) {
            table.each_stretch(subject.run, ROWS, |row, rows| sheet.rows(row, rows))?;
        }
        match sheets.last_mut() {
            Some(sheet) => results.each(subject.results, |row| sheet.row(row)),
            None => Ok(()),
        }
    }

    fn finish(&mut self, _files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        for sheet in self.sheets.drain(..) {
            sheet.finish()?;
        }
        Ok(Vec::new())
    }
}
