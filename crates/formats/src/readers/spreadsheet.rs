//! Spreadsheets: every sheet of a workbook, its cells written out as plain lines and understood as any other table.
//!
//! Numbers are the stored values and not what a format shows of them; a formula stands for its stored result. Clock times
//! and dates are written as such, whichever day the workbook counts from. A cell with an error (`#N/A`) is no number and is
//! told as every other marker is. Places are those of the sheet: row and column, under the sheet's name.

mod compound;
mod parts;
mod regions;

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{
    CellErrorType, Data, DataRef, Dimensions, ExcelDateTime, Reader as _, SheetType, SheetVisible, Sheets,
    Xlsx, open_workbook_auto_from_rs,
};
use curvary_record::{Code, Diagnostic, Place, code};

use crate::guard::guarded;
use crate::rendering::Rendering;
use crate::sink::{Sink, SourceLimits, SpanUnit};
use crate::{ExplainedLines, Reader, ReaderInfo, Reading, Recognition, Source, SourcePreview};

/// The reader of spreadsheets.
pub struct Spreadsheet {
    card: ReaderInfo,
}

impl Default for Spreadsheet {
    fn default() -> Self {
        Self {
            card: ReaderInfo {
                id: "built-in/spreadsheet".to_owned(),
                version: "1".to_owned(),
                title: "sheets of workbooks (xlsx, xlsb, xls, ods)".to_owned(),
            },
        }
    }
}

/// A workbook with more filled cells than this is refused: each takes some 360 bytes until it is read.
const MOST_CELLS: usize = 8_000_000;
/// The first bytes of a compound file, in which old workbooks lie (MS-CFB 2.2).
const COMPOUND: &[u8] = &[0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];

impl Reader for Spreadsheet {
    fn card(&self) -> &ReaderInfo {
        &self.card
    }

    fn recognise(&self, glimpse: &SourcePreview<'_>) -> Recognition {
        if glimpse.start.starts_with(COMPOUND) {
            Recognition::Perhaps("a compound file, as old workbooks are".to_owned())
        } else if glimpse.has_manifest {
            Recognition::No("a zip archive with a list of its members, as no workbook has".to_owned())
        } else if glimpse.start.starts_with(b"PK\x03\x04") {
            Recognition::Perhaps("a zip file that holds one document, as workbooks are".to_owned())
        } else {
            Recognition::No("neither a zip file nor a compound file".to_owned())
        }
    }

    fn read(&self, source: &Source) -> Reading {
        let book = match WorkbookReader::open(source.bytes()) {
            Ok(book) => book,
            Err(why) => return Reading::refused(*why),
        };
        let mut remarks = book.remarks;
        if book.sheets.is_empty() {
            remarks.push(Diagnostic::error(
                code::NO_TABLE,
                "no sheet of the workbook has a cell",
            ));
        }
        let readings = book
            .sheets
            .iter()
            .map(|sheet| sheet.rendering.read(source, &self.card));
        // Text was never decoded here.
        let mut sink = Sink::new(source, &self.card, SpanUnit::Bytes, SourceLimits::WHOLE);
        let told = sink
            .parts(readings)
            .and_then(|()| remarks.into_iter().try_for_each(|remark| sink.add_remark(remark)));
        sink.finished(told)
    }

    fn explain(&self, source: &Source) -> Vec<ExplainedLines> {
        WorkbookReader::open(source.bytes()).map_or_else(
            |_| Vec::new(),
            |book| {
                book.sheets
                    .iter()
                    .flat_map(|sheet| sheet.rendering.explain(source, &self.card))
                    .collect()
            },
        )
    }
}

/// The sheets of a workbook, written out; none where the bytes are no workbook.
pub(super) fn sheets_as_text(bytes: &[u8]) -> Vec<String> {
    let book = WorkbookReader::open(bytes);
    let sheets = book.into_iter().flat_map(|book| book.sheets);
    sheets.map(|sheet| sheet.rendering.text().to_owned()).collect()
}

/// A sheet, written out.
struct WrittenSheet {
    rendering: Rendering,
}

struct WorkbookReader {
    sheets: Vec<WrittenSheet>,
    remarks: Vec<Diagnostic>,
}

/// The filled cells of a sheet by row, each with its column, both from 0.
type SheetCells = BTreeMap<u32, Vec<(u32, String)>>;

impl WorkbookReader {
    fn open(bytes: &[u8]) -> Result<Self, Box<Diagnostic>> {
        // A panic of the library is damage that it did not expect, such as a file that ends within a sector.
        guarded(|| Self::opened(bytes))
            .unwrap_or_else(|_| Err(unreadable(&"it is damaged, or its end is missing")))
    }

    fn opened(bytes: &[u8]) -> Result<Self, Box<Diagnostic>> {
        if bytes.starts_with(COMPOUND) && !compound::has_ends(bytes) {
            return Err(unreadable(&"its list of sectors goes in a circle"));
        }
        if let Some(why) = parts::unfold_too_far(bytes) {
            return Err(why);
        }
        let formulas = parts::may_have_formulas(bytes);
        let mut book: Sheets<Cursor<&[u8]>> =
            open_workbook_auto_from_rs(Cursor::new(bytes)).map_err(|error| unreadable(&error))?;
        let listed = book.sheets_metadata().to_vec();
        let mut remarks = Vec::new();
        let mut sheets = Vec::new();
        let mut count = 0;
        for listed in listed
            .into_iter()
            .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        {
            let cells = match cells(&mut book, &listed.name, &mut count) {
                Ok(cells) => cells,
                Err(WorkbookTrouble::TooMany) => {
                    let why = format!("the workbook has more than {MOST_CELLS} filled cells");
                    return Err(Box::new(
                        Diagnostic::error(Code::new("file-too-large"), why)
                            .help("save the sheets that hold measurements as CSV"),
                    ));
                }
                Err(WorkbookTrouble::Unreadable(why)) => {
                    remarks.push(
                        Diagnostic::error(
                            Code::new("sheet-unreadable"),
                            format!("the sheet `{}` cannot be read: {why}", listed.name),
                        )
                        .help("the other sheets are not affected"),
                    );
                    continue;
                }
            };
            if cells.is_empty() {
                continue;
            }
            if listed.visible != SheetVisible::Visible {
                remarks.push(Diagnostic::note(
                    Code::new("sheet-hidden"),
                    format!(
                        "the sheet `{}` is hidden in the workbook; it was read as the others",
                        listed.name
                    ),
                ));
            }
            let unstored = if formulas {
                unstored(&mut book, &listed.name, &cells)
            } else {
                0
            };
            if unstored > 0 {
                remarks.push(
                    Diagnostic::warning(
                        Code::new("formula-without-value"),
                        format!("{unstored} formulas of the sheet `{}` have no stored value", listed.name),
                    )
                    .help("open the workbook with a spreadsheet program and save it, so that their results are stored"),
                );
            }
            let merged = merged(&mut book, &listed.name);
            let parts = regions::regions(with_midnights(with_headers_repeated(cells, &merged)));
            sheets.push(WrittenSheet {
                rendering: written_out(&listed.name, &parts.pairs, &parts.table),
            });
            for block in parts.beside {
                if regions::sums_up(&block) {
                    remarks.push(left_beside(&listed.name, &block));
                } else {
                    sheets.push(WrittenSheet {
                        rendering: written_out(&listed.name, &[], &block),
                    });
                }
            }
        }
        Ok(Self { sheets, remarks })
    }
}

fn unreadable(error: &dyn std::fmt::Display) -> Box<Diagnostic> {
    let why = format!("the file cannot be read as a workbook: {error}");
    Box::new(
        Diagnostic::error(Code::new("not-a-workbook"), why)
            .help("open it with a spreadsheet program; if that works, save it anew as xlsx, ods or CSV"),
    )
}

enum WorkbookTrouble {
    TooMany,
    Unreadable(String),
}

/// The filled cells of a sheet. Those of xlsx are taken one by one, since two cells far apart would fill the memory as a
/// rectangle.
fn cells(
    book: &mut Sheets<Cursor<&[u8]>>,
    name: &str,
    count: &mut usize,
) -> Result<SheetCells, WorkbookTrouble> {
    let unreadable = |error: &dyn std::fmt::Display| WorkbookTrouble::Unreadable(error.to_string());
    let mut all = SheetCells::new();
    let mut keep = |row: u32, column: u32, text: String| {
        if text.trim().is_empty() {
            return Ok(());
        }
        *count += 1;
        if *count > MOST_CELLS {
            return Err(WorkbookTrouble::TooMany);
        }
        all.entry(row).or_default().push((column, text));
        Ok(())
    };
    if let Sheets::Xlsx(xlsx) = book {
        let mut reader = xlsx
            .worksheet_cells_reader(name)
            .map_err(|error| unreadable(&error))?;
        while let Some(cell) = reader.next_cell().map_err(|error| unreadable(&error))? {
            let (row, column) = cell.get_position();
            keep(row, column, text_of_ref(cell.get_value()))?;
        }
        return Ok(all);
    }
    let range = book.worksheet_range(name).map_err(|error| unreadable(&error))?;
    let (first_row, first_column) = range.start().unwrap_or((0, 0));
    for (row, column, value) in range.used_cells() {
        let at = |first: u32, offset: usize| first.saturating_add(u32::try_from(offset).unwrap_or(u32::MAX));
        keep(at(first_row, row), at(first_column, column), text_of(value))?;
    }
    Ok(all)
}

/// The cells that are merged into one, each with its first and last row and column.
fn merged(book: &mut Sheets<Cursor<&[u8]>>, name: &str) -> Vec<Dimensions> {
    match book {
        Sheets::Xlsx(xlsx) => xlsx.merge_cells_by_sheet_name(name).unwrap_or_default(),
        Sheets::Xls(xls) => xls.merge_cells_by_sheet_name(name).unwrap_or_default(),
        _ => Vec::new(),
    }
}

/// A header that is merged over several columns is the header of each, unless it is all that its row says.
fn with_headers_repeated(mut cells: SheetCells, merged: &[Dimensions]) -> SheetCells {
    const WIDEST: u32 = 1000;
    for area in merged {
        let ((row, first), (last_row, last)) = (area.start, area.end);
        if last_row != row || last <= first || last - first > WIDEST {
            continue;
        }
        let Some(line) = cells.get_mut(&row) else { continue };
        let Some((_, text)) = line.iter().find(|cell| cell.0 == first).cloned() else {
            continue;
        };
        if line.len() < 2 || text.trim().replace(',', ".").parse::<f64>().is_ok() {
            continue;
        }
        let at = line.partition_point(|cell| cell.0 <= first);
        let free = line.get(at).is_none_or(|next| next.0 > last);
        if free {
            line.splice(at..at, (first + 1..=last).map(|column| (column, text.clone())));
        }
    }
    cells
}

/// How many cells have a formula and no value.
fn unstored(book: &mut Sheets<Cursor<&[u8]>>, name: &str, cells: &SheetCells) -> usize {
    let Sheets::Xlsx(xlsx) = book else { return 0 };
    formulas(xlsx, name)
        .into_iter()
        .filter(|(row, column)| {
            !cells
                .get(row)
                .is_some_and(|cells| cells.iter().any(|cell| cell.0 == *column))
        })
        .count()
}

fn formulas(xlsx: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Vec<(u32, u32)> {
    let mut all = Vec::new();
    let Ok(mut reader) = xlsx.worksheet_cells_reader(name) else {
        return all;
    };
    while let Ok(Some(cell)) = reader.next_formula() {
        if all.len() >= MOST_CELLS {
            break;
        }
        if !cell.get_value().is_empty() {
            all.push(cell.get_position());
        }
    }
    all
}

/// A block beside a table that sums up what stands in it.
fn left_beside(name: &str, block: &SheetCells) -> Diagnostic {
    let row = block.keys().next().copied().unwrap_or(0);
    let column = block.values().flatten().map(|cell| cell.0).min().unwrap_or(0);
    Diagnostic::note(
        Code::new("block-beside"),
        format!(
            "a block of {} rows beside the table sums up numbers; it was left out",
            block.len()
        ),
    )
    .at(place(name, row, column), "it begins here")
}

fn place(name: &str, row: u32, column: u32) -> Place {
    Place {
        file: None,
        part: Some(format!("sheet `{name}`")),
        line: row + 1,
        column: column + 1,
        span: None,
        bytes: None,
    }
}

/// Midnight is stored as a date without a time of day; between cells with one it is written as they are.
fn with_midnights(mut cells: SheetCells) -> SheetCells {
    let is_date = |text: &str| text.len() == 10 && text.as_bytes().get(4) == Some(&b'-');
    let is_timed = |text: &str| text.len() >= 19 && text.get(..10).is_some_and(is_date) && text.contains(':');
    let timed: std::collections::HashSet<(u32, u32)> = cells
        .iter()
        .flat_map(|(row, line)| line.iter().map(move |cell| (*row, cell)))
        .filter(|(_, cell)| is_timed(&cell.1))
        .map(|(row, cell)| (row, cell.0))
        .collect();
    if timed.is_empty() {
        return cells;
    }
    for (row, line) in &mut cells {
        for (column, text) in line {
            let beside = [row.checked_sub(1), row.checked_add(1)];
            let is_beside = beside
                .into_iter()
                .flatten()
                .any(|row| timed.contains(&(row, *column)));
            if is_beside && is_date(text) {
                text.push_str(" 00:00:00");
            }
        }
    }
    cells
}

fn written_out(name: &str, pairs: &[regions::CellPair], cells: &SheetCells) -> Rendering {
    let mut rendering = Rendering::default();
    for pair in pairs {
        rendering.pair(
            (&pair.key.1, place(name, pair.row, pair.key.0)),
            (&pair.value.1, place(name, pair.row, pair.value.0)),
        );
    }
    let first_column = cells.values().flatten().map(|cell| cell.0).min().unwrap_or(0);
    let mut next = None;
    for (&row, cells) in cells {
        if next.is_some_and(|next| next != row) {
            rendering.blank();
        }
        next = Some(row + 1);
        let place = |column: u32| place(name, row, column);
        let mut column = first_column;
        let mut line: Vec<(&str, Place)> = Vec::with_capacity(cells.len());
        for (at, text) in cells {
            while column < *at {
                line.push(("", place(column)));
                column += 1;
            }
            line.push((text, place(*at)));
            column = at + 1;
        }
        rendering.line(line);
    }
    rendering
}

fn text_of(value: &Data) -> String {
    match value {
        Data::Int(number) => number.to_string(),
        Data::Float(number) => number.to_string(),
        Data::String(text) | Data::DateTimeIso(text) => text.clone(),
        Data::DurationIso(text) => iso_duration(text),
        Data::Bool(flag) => flag.to_string(),
        Data::DateTime(time) => clock(time),
        Data::Error(error) => error_text(error),
        Data::Empty => String::new(),
    }
}

fn text_of_ref(value: &DataRef<'_>) -> String {
    match value {
        DataRef::SharedString(text) => (*text).to_owned(),
        other => text_of(&Data::from(other.clone())),
    }
}

fn error_text(error: &CellErrorType) -> String {
    error.to_string()
}

/// A date, a time of day or a length of time, as people write them.
fn clock(time: &ExcelDateTime) -> String {
    const DAY: f64 = 86_400_000.0;
    let milliseconds = (time.as_f64() * DAY).round();
    if time.is_duration() || (0.0..1.0).contains(&time.as_f64()) {
        // Below 2^53 and not negative where it is shown as such.
        if !(0.0..=9e15).contains(&milliseconds) {
            return time.as_f64().to_string();
        }
        return hours(milliseconds);
    }
    let (year, month, day, hour, minute, second, milli) = time.to_ymd_hms_milli();
    let date = format!("{year:04}-{month:02}-{day:02}");
    match (hour, minute, second, milli) {
        (0, 0, 0, 0) => date,
        (_, _, _, 0) => format!("{date} {hour:02}:{minute:02}:{second:02}"),
        _ => format!("{date} {hour:02}:{minute:02}:{second:02}.{milli:03}"),
    }
}

/// `h:mm:ss`, with thousandths where there are any.
fn hours(milliseconds: f64) -> String {
    let whole = |number: f64| number.trunc();
    let (seconds, milli) = (whole(milliseconds / 1000.0), milliseconds % 1000.0);
    let (minutes, second) = (whole(seconds / 60.0), seconds % 60.0);
    let (hour, minute) = (whole(minutes / 60.0), minutes % 60.0);
    if milli == 0.0 {
        format!("{hour:02}:{minute:02}:{second:02}")
    } else {
        format!("{hour:02}:{minute:02}:{second:02}.{milli:03}")
    }
}

/// `PT1H30M5S` (ISO 8601) as `01:30:05`; what is written otherwise stays as it stands.
fn iso_duration(text: &str) -> String {
    let parts = || -> Option<f64> {
        let mut rest = text.strip_prefix("PT")?;
        let mut seconds = 0.0;
        for (mark, weight) in [('H', 3600.0), ('M', 60.0), ('S', 1.0)] {
            if let Some((number, behind)) = rest.split_once(mark) {
                seconds += number.replace(',', ".").parse::<f64>().ok()? * weight;
                rest = behind;
            }
        }
        rest.is_empty().then_some(seconds)
    };
    parts().map_or_else(|| text.to_owned(), |seconds| hours((seconds * 1000.0).round()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_of_time_are_written_as_clocks() {
        assert_eq!(hours(5_405_000.0), "01:30:05");
        assert_eq!(hours(90_000_250.0), "25:00:00.250");
        assert_eq!(iso_duration("PT1H30M5S"), "01:30:05");
        assert_eq!(iso_duration("PT00H00M30S"), "00:00:30");
        assert_eq!(iso_duration("P1D"), "P1D");
    }

    #[test]
    fn what_is_no_workbook_is_refused() {
        for bytes in [&b"PK\x03\x04 nothing"[..], COMPOUND, b""] {
            let Err(why) = WorkbookReader::open(bytes) else {
                panic!("it was opened");
            };
            assert_eq!(why.code.as_str(), "not-a-workbook");
        }
    }
}
