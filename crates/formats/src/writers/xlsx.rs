//! Workbooks (Office Open XML): sheets for points, curves, runs with their conditions, results, and what the columns are.
//!
//! Cells are typed: numbers are numbers, and no text is ever taken for a formula. A sheet has at most 1,048,576 rows;
//! more points than that are refused before any work is done.

use curvary_record::{Code, Diagnostic};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use super::csv::{CellContent, CsvOptions, CsvTable};
use super::export::{ExportError, ExportPart, ExportedRun, Exporter, Files, FormatRoom};
use super::results::Results;
use super::table_schema::TableField;
use super::tables::{NAMES, Surveys};

/// Rows of a sheet, by the limits of the format.
const MOST_ROWS: u64 = 1_048_576;
/// Signs of a cell.
const LONGEST: usize = 32_767;

/// The exporter.
pub struct Xlsx {
    surveys: Surveys,
    points: u64,
    book: Workbook,
    tables: Vec<CsvTable>,
    /// Rows written of each sheet, the head among them.
    rows: [u32; 4],
    results: Results,
    cut: u64,
}

impl Default for Xlsx {
    fn default() -> Self {
        Self {
            surveys: Surveys::new(CsvOptions::default()),
            points: 0,
            book: Workbook::new(),
            tables: Vec::new(),
            rows: [0; 4],
            results: Results::default(),
            cut: 0,
        }
    }
}

fn failed(error: XlsxError) -> ExportError {
    ExportError::Io(std::io::Error::other(error.to_string()))
}

impl Xlsx {
    fn heads(sheet: &mut Worksheet, fields: &[TableField]) -> Result<(), ExportError> {
        let strong = Format::new().set_bold();
        for (at, field) in fields.iter().enumerate() {
            sheet
                .write_string_with_format(0, column(at), &field.name, &strong)
                .map_err(failed)?;
        }
        sheet.set_freeze_panes(1, 0).map_err(failed)?;
        Ok(())
    }
}

fn column(at: usize) -> u16 {
    u16::try_from(at).unwrap_or(u16::MAX)
}

/// A day as a cell of its own type. A sheet begins with the year 1900; what lies before stays a text.
fn day(text: &str) -> Option<ExcelDateTime> {
    let day: jiff::civil::Date = text.parse().ok()?;
    let part = |number: i8| u8::try_from(number).ok();
    let year = u16::try_from(day.year()).ok().filter(|&year| year >= 1900)?;
    ExcelDateTime::from_ymd(year, part(day.month())?, part(day.day())?).ok()
}

/// Writes a row; columns of `days` hold days.
fn write_row(
    sheet: &mut Worksheet,
    row: u32,
    cells: &[CellContent<'_>],
    days: &[bool],
    cut: &mut u64,
) -> Result<(), ExportError> {
    for (place, cell) in cells.iter().enumerate() {
        let at = column(place);
        let is_day = days.get(place).copied().unwrap_or(false);
        let written = match *cell {
            CellContent::Empty => continue,
            CellContent::Text(text) if is_day && let Some(day) = day(text) => {
                let form = Format::new().set_num_format("yyyy-mm-dd");
                sheet.write_datetime_with_format(row, at, &day, &form)
            }
            CellContent::Text(text) if text.chars().count() > LONGEST => {
                *cut += 1;
                let short: String = text.chars().take(LONGEST).collect();
                sheet.write_string(row, at, short)
            }
            CellContent::Text(text) => sheet.write_string(row, at, text),
            CellContent::Number(value) => sheet.write_number(row, at, value),
            #[allow(clippy::cast_precision_loss)]
            CellContent::Whole(count) => sheet.write_number(row, at, count as f64),
            CellContent::Truth(mark) => sheet.write_boolean(row, at, mark),
        };
        written.map_err(failed)?;
    }
    Ok(())
}

impl Exporter for Xlsx {
    fn room(&self) -> FormatRoom {
        FormatRoom {
            results: true,
            fields: true,
            marks: true,
            ..FormatRoom::default()
        }
    }

    fn see(&mut self, subject: &ExportedRun<'_>) {
        self.points += subject.run.points() as u64;
        self.surveys.see(subject);
    }

    fn begin(&mut self, _files: &mut dyn Files) -> Result<(), ExportError> {
        if self.points >= MOST_ROWS {
            return Err(ExportError::Refused(Box::new(
                Diagnostic::error(
                    Code::new("too-many-rows"),
                    format!(
                        "a sheet of a workbook has room for {} points, and these runs have {}",
                        MOST_ROWS - 1,
                        self.points
                    ),
                )
                .help("take fewer runs, or `--to csv` or `--to parquet`, which have no such limit"),
            )));
        }
        // The same runs give the same bytes.
        let fixed = ExcelDateTime::from_ymd(2000, 1, 1).map_err(failed)?;
        self.book
            .set_properties(&DocProperties::new().set_creation_datetime(&fixed));
        self.tables = self.surveys.tables().into();
        let mut all: Vec<Vec<TableField>> = self.tables.iter().map(|table| table.schema().fields).collect();
        all.push(Results::columns());
        for (name, fields) in NAMES.iter().zip(&all) {
            let sheet = self.book.add_worksheet_with_constant_memory().map_err(failed)?;
            sheet.set_name(*name).map_err(failed)?;
            Self::heads(sheet, fields)?;
        }
        self.rows = [1; 4];
        let sheet = self.book.add_worksheet_with_constant_memory().map_err(failed)?;
        sheet.set_name("columns").map_err(failed)?;
        write_row(
            sheet,
            0,
            &["sheet", "column", "unit (UCUM)", "what it is"].map(CellContent::Text),
            &[],
            &mut self.cut,
        )?;
        let mut row = 1;
        for (name, fields) in NAMES.iter().zip(&all) {
            for field in fields {
                let cells = [
                    name,
                    field.name.as_str(),
                    field.unit.as_deref().unwrap_or(""),
                    &field.description,
                ];
                write_row(sheet, row, &cells.map(CellContent::Text), &[], &mut self.cut)?;
                row += 1;
            }
        }
        Ok(())
    }

    fn write(&mut self, subject: &ExportedRun<'_>) -> Result<(), ExportError> {
        let Self {
            book,
            tables,
            rows,
            results,
            cut,
            ..
        } = self;
        for (at, table) in tables.iter().enumerate() {
            let days = table.days();
            let sheet = book.worksheet_from_index(at).map_err(failed)?;
            table.each_row(subject.run, |cells| -> Result<(), ExportError> {
                write_row(sheet, rows[at], cells, &days, cut)?;
                rows[at] += 1;
                Ok(())
            })?;
        }
        let sheet = book.worksheet_from_index(3).map_err(failed)?;
        results.each(subject.results, |cells| {
            write_row(sheet, rows[3], cells, &[], cut)?;
            rows[3] += 1;
            Ok(())
        })
    }

    fn finish(&mut self, files: &mut dyn Files) -> Result<Vec<Diagnostic>, ExportError> {
        // The points are what most people open it for.
        self.book
            .worksheet_from_index(2)
            .map_err(failed)?
            .set_active(true);
        let mut out = files.create(ExportPart::Main)?;
        self.book.save_to_writer(&mut out).map_err(failed)?;
        out.flush()?;
        let cut = (self.cut > 0).then(|| {
            Diagnostic::warning(
                Code::new("text-cut"),
                format!(
                    "{} texts are longer than a cell of a workbook may be, and were cut",
                    self.cut
                ),
            )
        });
        Ok(cut.into_iter().collect())
    }
}
