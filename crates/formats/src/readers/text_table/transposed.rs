//! Tables laid on their side: each row begins with what it holds, `Tube`, `BSA (mg/mL)`, `A595`, and each column is a tube.
//!
//! Such a table is read as it would stand upright: its rows become columns under the cells that they begin with, and all that
//! is known of columns, their headers, conditions, counters and statistics, holds for them.

use curvary_record::{Quantity, Span};

use super::columns::NumberedNames;
use super::grid::{ColumnKind, Grid, MissingCell, UprightColumn};
use super::number::{Cell, cell};
use super::scan::{HeadRow, ScannedTable, TextLine};
use super::segments::RowClass;
use super::shape::numbers_things;
use crate::Source;
use crate::column_header::read_column_header;
use crate::words::{self, WordList};

/// A table of more rows is laid on its side by no person.
const MOST_ROWS: usize = 64;
/// A table of more columns is one of a program, whose rows are curves.
const MOST_COLUMNS: usize = 4096;

/// What a row holds by its first cell.
#[derive(Clone, Copy, PartialEq, Eq)]
enum RowMeaning {
    /// Readings.
    Light,
    /// What readings run over or are taken at.
    Condition,
    /// Names or numbers of the samples, or a field of theirs.
    Names,
    /// Means or deviations.
    Statistics,
    Unknown,
}

impl RowMeaning {
    fn of(name: &str) -> Self {
        let key = name.trim().trim_end_matches([':', '.']).trim_end();
        let head = read_column_header(key);
        let quantity = head.quantity.as_ref();
        let is_light = |quantity: &Quantity| quantity.is_of_light() || *quantity == Quantity::RATE;
        if words::is_statistics(key) {
            Self::Statistics
        } else if quantity.is_some_and(is_light) {
            Self::Light
        } else if words::field_of(key).is_some_and(|field| matches!(field, "sample" | "sample-id"))
            || quantity.is_some_and(|quantity| matches!(quantity.as_str(), "index" | "sample" | "replicate"))
            || [WordList::Identifier, WordList::Counter, WordList::Numbered]
                .into_iter()
                .any(|list| words::is(list, key))
            || numbers_things(key)
        {
            Self::Names
        } else if head.unit.is_some() && quantity.is_some()
            || words::quantity_of(key).is_some_and(|known| words::is_ours(&known))
        {
            Self::Condition
        } else if words::field_of(key).is_some() {
            Self::Names
        } else {
            Self::Unknown
        }
    }
}

/// A row of the table, upright.
struct Row {
    name: Span,
    line: u32,
    meaning: RowMeaning,
    column: UprightColumn,
}

impl Row {
    fn is_of_numbers(&self) -> bool {
        matches!(self.column, UprightColumn::Figures { .. })
    }
}

/// A table that lies on its side as it would stand upright: where the first cells of its rows say what the rows hold and its headers
/// name no columns.
pub(super) fn transposed(source: &Source, table: &ScannedTable) -> Option<ScannedTable> {
    let (text, grid) = (source.text(), &table.grid);
    let plain = grid.odd.is_empty()
        && grid.units.iter().all(Option::is_none)
        && grid.rows + table.heads.len() <= MOST_ROWS
        && (3..=MOST_COLUMNS).contains(&grid.columns())
        && table.joined.is_empty();
    let (first, others) = grid.kinds.split_first()?;
    if !plain
        || *first != ColumnKind::Words
        || others.iter().any(|kind| *kind != ColumnKind::Figures)
        || table
            .heads
            .iter()
            .any(|head| matches!(head.class, RowClass::Title | RowClass::Units | RowClass::Summary))
    {
        return None;
    }
    let mut heads: Vec<&HeadRow> = table.heads.iter().collect();
    heads.sort_by_key(|head| head.line.line);
    let mut rows = Vec::with_capacity(heads.len() + grid.rows);
    for head in &heads {
        rows.push(row_of_head(text, grid, head)?);
    }
    let levels = rows.len();
    let names = grid.words(0);
    for (row, &name) in names.iter().enumerate().take(grid.rows) {
        rows.push(Row {
            name,
            line: u32::try_from(grid.line(row)).ok()?,
            meaning: RowMeaning::of(&text[name.range()]),
            column: grid.upright(row, 1..grid.columns()),
        });
    }
    if !lies_on_its_side(&rows, levels) {
        return None;
    }
    for row in rows.iter_mut().filter(|row| row.meaning == RowMeaning::Light) {
        doubt_readings(row);
    }
    Some(upright(table, rows))
}

/// Takes readings of a row out that have lost their decimal sign: a whole number far above others that all have decimals.
fn doubt_readings(row: &mut Row) {
    /// So many times the greatest of the others.
    const FAR: f64 = 10.0;
    let name = row.name;
    let UprightColumn::Figures {
        values,
        decimals,
        gaps,
        ..
    } = &mut row.column
    else {
        return;
    };
    let with_decimals = |at: usize| !values[at].is_nan() && decimals[at] >= 2;
    let parted: Vec<f64> = (0..values.len())
        .filter(|&at| with_decimals(at))
        .map(|at| values[at].abs())
        .collect();
    let most = parted.iter().copied().fold(0.0, f64::max);
    let lost: Vec<usize> = (0..values.len())
        .filter(|&at| decimals[at] == 0 && values[at].abs() > FAR * most)
        .collect();
    if parted.len() < 2 || lost.len() >= parted.len() {
        return;
    }
    for at in lost {
        values[at] = f64::NAN;
        gaps.push((at, MissingCell::Unpointed, name));
    }
}

/// Whether rows of which the first `levels` stand as headers are columns laid on their side.
fn lies_on_its_side(rows: &[Row], levels: usize) -> bool {
    let (heads, below) = rows.split_at(levels);
    let count = |rows: &[Row], meaning: RowMeaning| rows.iter().filter(|row| row.meaning == meaning).count();
    let lights = rows.iter().filter(|row| row.meaning == RowMeaning::Light);
    // What stands in front of names may be any word.
    let of_names = |place: usize, row: &Row| place < levels && !row.is_of_numbers();
    let known = |(place, row): (usize, &Row)| row.meaning != RowMeaning::Unknown || of_names(place, row);
    let numbers = |(place, row): (usize, &Row)| {
        row.is_of_numbers() || row.meaning == RowMeaning::Names || of_names(place, row)
    };
    let readings = lights.clone().all(Row::is_of_numbers) && count(below, RowMeaning::Light) > 0;
    if !readings || !rows.iter().enumerate().all(known) || !rows.iter().enumerate().all(numbers) {
        return false;
    }
    // Numbers in the only header over rows of light alone run over them all.
    let is_matrix = levels == 1
        && heads[0].is_of_numbers()
        && heads[0].meaning == RowMeaning::Condition
        && count(below, RowMeaning::Light) == below.len();
    let conditions = count(rows, RowMeaning::Condition);
    let beside = conditions + count(rows, RowMeaning::Names);
    !is_matrix && (beside > 0 || levels > 0 && rows.len() > levels + 1)
}

/// A row of headers upright; none where it names columns.
fn row_of_head(text: &str, grid: &Grid, head: &HeadRow) -> Option<Row> {
    let (&name, cells) = head.cells.split_first()?;
    let end = head.line.span.range().end;
    let texts: Vec<&str> = cells
        .iter()
        .map(|cell| cell.map_or("", |span| text[span.range()].trim()))
        .collect();
    let read: Vec<Cell> = texts.iter().map(|text| cell(text, grid.dialect.style)).collect();
    let is_number = |cell: &Cell| matches!(cell, Cell::Number { .. });
    let is_figure =
        |cell: &Cell| is_number(cell) || matches!(cell, Cell::Missing | Cell::Beyond | Cell::Empty);
    // `0 mg/L`, `10 mg/L`: one unit behind every number.
    let unit = read
        .iter()
        .zip(&texts)
        .find_map(|(cell, text)| unit_behind(cell, text));
    let united = |(cell, text): (&Cell, &&str)| *cell == Cell::Empty || unit_behind(cell, text) == unit;
    let all_united = unit.is_some() && read.iter().zip(&texts).all(united);
    let column = if all_united || read.iter().all(is_figure) && read.iter().any(is_number) {
        let mut values = Vec::with_capacity(read.len());
        let mut decimals = Vec::with_capacity(read.len());
        let mut gaps = Vec::new();
        for (place, found) in read.iter().enumerate() {
            let (value, places) = match found {
                Cell::Number { value, decimals } | Cell::WithUnit { value, decimals, .. } => {
                    (*value, *decimals)
                }
                _ => (f64::NAN, 0),
            };
            let lack = match found {
                Cell::Missing => Some(MissingCell::Missing),
                Cell::Beyond => Some(MissingCell::Beyond),
                Cell::Empty => Some(MissingCell::Empty),
                _ => None,
            };
            gaps.extend(lack.map(|lack| (place, lack, cells[place].unwrap_or(Span::new(end, end)))));
            values.push(value);
            decimals.push(places);
        }
        UprightColumn::Figures {
            values,
            decimals,
            gaps,
            unit: unit.map(str::to_owned),
        }
    } else {
        let names = NumberedNames::of(texts.iter().copied());
        // `well` among `lysate`, `wash 1` names a sample.
        let of_columns = |quantity: &Quantity| {
            quantity.is_of_light()
                || matches!(
                    quantity.as_str(),
                    "wavelength" | "wavenumber" | "time" | "concentration" | "temperature" | "ph" | "rate"
                )
        };
        let names_column = |text: &&str| {
            let head = read_column_header(text);
            !names.has(text) && (head.quantity.as_ref().is_some_and(of_columns) || head.unit.is_some())
        };
        if texts.iter().any(names_column) {
            return None;
        }
        UprightColumn::Words(
            cells
                .iter()
                .map(|cell| cell.unwrap_or(Span::new(end, end)))
                .collect(),
        )
    };
    let name = name.unwrap_or(Span::new(
        head.line.span.range().start,
        head.line.span.range().start,
    ));
    Some(Row {
        name,
        line: head.line.line,
        meaning: RowMeaning::of(&text[name.range()]),
        column,
    })
}

/// The unit behind the number of a cell.
fn unit_behind<'t>(cell: &Cell, text: &'t str) -> Option<&'t str> {
    match cell {
        Cell::WithUnit { unit, .. } => text.get(*unit..),
        _ => None,
    }
}

/// The table whose columns are these rows.
fn upright(table: &ScannedTable, rows: Vec<Row>) -> ScannedTable {
    let readings = rows.iter().find(|row| row.meaning == RowMeaning::Light);
    let at = readings.map_or(table.first_line, |row| row.line);
    let (heads, columns): (Vec<Option<Span>>, Vec<(u32, UprightColumn)>) = rows
        .into_iter()
        .map(|row| {
            let name = Some(row.name).filter(|name| !name.range().is_empty());
            (name, (row.line, row.column))
        })
        .unzip();
    // The header lies down the first column: what is said of its line is said of the first row.
    let line = table.heads.first().map_or_else(
        || TextLine {
            span: heads.iter().copied().flatten().next().unwrap_or(Span::new(0, 0)),
            line: table.first_line,
        },
        |head| head.line,
    );
    let heads = HeadRow {
        line,
        class: RowClass::Header,
        cells: heads,
    };
    ScannedTable {
        grid: Grid::of_columns(table.grid.dialect.clone(), columns, at),
        heads: vec![heads],
        first_line: table.first_line,
        last_line: table.last_line,
        open: table.open.clone(),
        unmatched_head: table.unmatched_head,
        joined: Vec::new(),
    }
}
