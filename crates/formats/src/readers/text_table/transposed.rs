//! Tables laid on their side: each row begins with what it holds, `Tube`, `BSA (mg/mL)`, `A595`, and each column is a tube.
//!
//! Such a table is read as it would stand upright: its rows become columns under the cells that they begin with, and all that
//! is known of columns, their headers, conditions, counters and statistics, holds for them.

use std::cell::RefCell;

use curvary_record::{Quantity, Span};
use hashbrown::HashMap;

use super::columns::NumberedNames;
use super::dialect::split;
use super::grid::{ColumnKind, Grid, MissingCell, UprightColumn};
use super::number::{Cell, cell};
use super::scan::{HeadRow, ScannedTable, TextLine};
use super::segments::RowClass;
use super::shape::numbers_things;
use crate::Source;
use crate::column_header::read_column_header;
use crate::words;

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

thread_local! {
    /// What names were found to hold: the first cells of a table are looked at again for each of its rows.
    static KNOWN: RefCell<HashMap<String, RowMeaning>> = RefCell::new(HashMap::new());
}

impl RowMeaning {
    fn of(name: &str) -> Self {
        /// So many names are remembered, none of them longer.
        const REMEMBERED: usize = 1024;
        const LONGEST: usize = 64;
        if name.len() > LONGEST {
            return Self::understood(name);
        }
        KNOWN.with_borrow_mut(|known| {
            if let Some(meaning) = known.get(name) {
                return *meaning;
            }
            if known.len() >= REMEMBERED {
                known.clear();
            }
            let meaning = Self::understood(name);
            known.insert(name.to_owned(), meaning);
            meaning
        })
    }

    fn understood(name: &str) -> Self {
        let key = name.trim().trim_end_matches([':', '.']).trim_end();
        let head = read_column_header(key);
        let quantity = head.quantity.as_ref();
        let is_light = |quantity: &Quantity| quantity.is_of_light() || *quantity == Quantity::RATE;
        if words::is_statistics(key) {
            Self::Statistics
        } else if quantity.is_some_and(is_light) {
            Self::Light
        } else if words::names_samples(key) || numbers_things(key) {
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

/// Whether curves run over such a quantity.
fn runs(quantity: &Quantity) -> bool {
    matches!(
        quantity.as_str(),
        "wavelength" | "wavenumber" | "energy" | "time" | "concentration" | "temperature" | "ph"
    )
}

/// So many lines of names and conditions stand over readings at most.
const MOST_LEVELS: usize = 6;

/// Whether the line at byte `at` begins another block on its side, `Sample;C1;C2` or `mg/L;0;2` over `A540;0.3;0.4`: it holds names or
/// what readings run over, and readings stand below it. A condition that stands in the block above as well goes on with it, as a
/// strip. Without an empty line between them, readings of the block above come again below.
pub(super) fn begins_block(text: &str, at: usize) -> bool {
    let mut below = text[at..].lines();
    let Some(own) = below.next().and_then(first_cell) else {
        return false;
    };
    let meaning = RowMeaning::of(own);
    if !matches!(meaning, RowMeaning::Names | RowMeaning::Condition) {
        return false;
    }
    let filled = |line: &&str| !line.trim().is_empty();
    let lights: Vec<&str> = below
        .take_while(filled)
        .take(MOST_LEVELS)
        .filter(|line| line.contains(|c: char| c.is_ascii_digit()))
        .filter_map(first_cell)
        .filter(|name| RowMeaning::of(name) == RowMeaning::Light)
        .collect();
    if lights.is_empty() {
        return false;
    }
    let mut above = text[..at].lines().rev().peekable();
    let mut apart = false;
    while above.next_if(|line| !filled(line)).is_some() {
        apart = true;
    }
    let above: Vec<&str> = above
        .take_while(filled)
        .take(MOST_ROWS)
        .filter_map(first_cell)
        .collect();
    let strip = meaning == RowMeaning::Condition && above.contains(&own);
    let again = || lights.iter().any(|light| above.contains(light));
    !strip && (apart || again())
}

/// The first cell of a line that begins with a word, where there are others.
fn first_cell(line: &str) -> Option<&str> {
    let line = line.trim();
    if !line.starts_with(|c: char| c.is_alphabetic() || c == '[') {
        return None;
    }
    let end = line
        .find(['\t', ';', '|'])
        .or_else(|| line.find("  "))
        .or_else(|| line.find(','))?;
    Some(line[..end].trim())
}

/// A row of the table, upright.
struct Row {
    name: Span,
    line: u32,
    meaning: RowMeaning,
    /// Its name says at which wavelength was read.
    at_wavelength: bool,
    /// Its name is of what curves run over.
    runs: bool,
    column: UprightColumn,
}

impl Row {
    fn new(text: &str, name: Span, line: u32, column: UprightColumn) -> Self {
        let of = &text[name.range()];
        let head = read_column_header(of.trim());
        let light = |held: &curvary_record::Coordinate| held.quantity == Quantity::WAVELENGTH;
        Self {
            name,
            line,
            meaning: RowMeaning::of(of),
            at_wavelength: head.held.iter().any(light),
            runs: head.quantity.is_some_and(|of| runs(&of)),
            column,
        }
    }

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
        let line = grid.line(row);
        let mut column = grid.upright(row, 1..grid.columns());
        leave_out_damaged(source, line, grid, &mut column);
        rows.push(Row::new(text, name, u32::try_from(line).ok()?, column));
    }
    if !lies_on_its_side(&rows, levels) || lacks_cells(&rows) {
        return None;
    }
    Some(upright(table, rows))
}

/// Takes numbers out that have lost their decimal sign: `0863` among numbers with decimals, and a whole number that no detector tells
/// among numbers of two decimals or more, `163` AU beside `0.113` and `0.304`.
fn leave_out_damaged(source: &Source, line: usize, grid: &Grid, column: &mut UprightColumn) {
    let UprightColumn::Figures {
        values,
        decimals,
        gaps,
        ..
    } = column
    else {
        return;
    };
    // What was doubted beside the numbers around it, of other rows, was none of their kind.
    gaps.retain(|(at, lack, span)| {
        let read = match lack {
            MissingCell::Unpointed => cell(source.text()[span.range()].trim(), grid.dialect.style),
            _ => Cell::Words,
        };
        if let Cell::Number {
            value,
            decimals: places,
        } = read
        {
            (values[*at], decimals[*at]) = (value, places);
            return false;
        }
        true
    });
    let span = source.lines().span(line.saturating_sub(1));
    let written = &source.text()[span.range()];
    let cells = split(written, &grid.dialect);
    // Lists are read out of a text of their own.
    if cells.len() != values.len() + 1 || decimals.iter().all(|decimals| *decimals == 0) {
        return;
    }
    /// No absorbance is so great, whatever stands behind it.
    const IMPOSSIBLE: f64 = 10.0;
    let head = read_column_header(written[cells[0].clone()].trim());
    let unit = head.unit.as_ref().map_or(1.0, |unit| unit.to_si(1.0));
    let of_light = head.quantity.as_ref().is_some_and(Quantity::is_of_light);
    let read: Vec<u8> = (0..values.len())
        .filter(|&at| !values[at].is_nan())
        .map(|at| decimals[at])
        .collect();
    let whole = read.iter().filter(|places| **places == 0).count();
    let precise = whole == 1 && read.len() >= 3 && read.iter().all(|places| matches!(places, 0 | 2..));
    for (at, cell) in cells[1..].iter().enumerate() {
        let digits = written[cell.clone()].trim();
        let figures = digits.len() >= 2 && digits.bytes().all(|byte| byte.is_ascii_digit());
        let impossible = precise && of_light && decimals[at] == 0 && values[at] * unit > IMPOSSIBLE;
        let damaged = figures && (digits.starts_with('0') || impossible);
        if damaged && !values[at].is_nan() {
            let start = span.start as usize;
            values[at] = f64::NAN;
            gaps.push((
                at,
                MissingCell::Unpointed,
                Span::new(start + cell.start, start + cell.end),
            ));
        }
    }
}

/// Whether readings end before the names or conditions that they stand under, or a reading has no name over it: the cells may stand
/// under the wrong names. The last strip of a curve may be shorter as a whole, and a mean may stand alone.
fn lacks_cells(rows: &[Row]) -> bool {
    let filled = |row: &Row| match &row.column {
        UprightColumn::Figures { values, gaps, .. } => {
            values.len()
                - gaps
                    .iter()
                    .filter(|(_, lack, _)| *lack == MissingCell::Short)
                    .count()
        }
        UprightColumn::Words(names) => names.len(),
    };
    let mut over = None;
    let ends_early = rows.iter().any(|row| match row.meaning {
        RowMeaning::Names | RowMeaning::Condition => {
            over = Some(filled(row));
            false
        }
        RowMeaning::Light => over.is_some_and(|over| over != filled(row)),
        RowMeaning::Statistics | RowMeaning::Unknown => false,
    });
    let read = |at: usize| {
        rows.iter()
            .filter(|row| row.meaning == RowMeaning::Light)
            .any(|row| match &row.column {
                UprightColumn::Figures { values, .. } => !values[at].is_nan(),
                UprightColumn::Words(_) => false,
            })
    };
    let nameless = |row: &Row| match &row.column {
        UprightColumn::Words(names) => (0..names.len()).any(|at| names[at].range().is_empty() && read(at)),
        UprightColumn::Figures { .. } => false,
    };
    ends_early || rows.iter().any(nameless)
}

/// Whether rows of which the first `levels` stand as headers are columns laid on their side.
fn lies_on_its_side(rows: &[Row], levels: usize) -> bool {
    let (heads, below) = rows.split_at(levels);
    let count = |rows: &[Row], meaning: RowMeaning| rows.iter().filter(|row| row.meaning == meaning).count();
    let lights = rows.iter().filter(|row| row.meaning == RowMeaning::Light);
    // What stands in front of names may be any word.
    let of_names = |place: usize, row: &Row| place < levels && !row.is_of_numbers();
    // Beside readings at several wavelengths may stand what was worked out of them, `hue`.
    let several = rows
        .iter()
        .filter(|row| row.meaning == RowMeaning::Light && row.at_wavelength)
        .count()
        >= 2;
    let known = |(place, row): (usize, &Row)| {
        row.meaning != RowMeaning::Unknown || of_names(place, row) || several && row.is_of_numbers()
    };
    let numbers = |(place, row): (usize, &Row)| {
        row.is_of_numbers() || row.meaning == RowMeaning::Names || of_names(place, row)
    };
    let readings = lights.clone().all(Row::is_of_numbers) && count(below, RowMeaning::Light) > 0;
    if !readings || !rows.iter().enumerate().all(known) || !rows.iter().enumerate().all(numbers) {
        return false;
    }
    // Numbers in the only header over rows of light alone run over them all; those that may be wavelengths do, where no row says at
    // which one it was read.
    let is_matrix = levels == 1
        && match &heads[0].column {
            UprightColumn::Figures { values, .. } => {
                // `301`, `302`, `303` behind `Sample` number them.
                let counted = values.windows(2).all(|pair| pair[1] - pair[0] == 1.0);
                let light = !counted
                    && count(rows, RowMeaning::Condition) == 0
                    && values
                        .iter()
                        .all(|value| crate::light::IN_PASSING.contains(value));
                heads[0].runs && count(below, RowMeaning::Light) == below.len()
                    || light
                        && heads[0].meaning != RowMeaning::Condition
                        && !lights.clone().any(|row| row.at_wavelength)
            }
            UprightColumn::Words(_) => false,
        };
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
        let alike = are_numbered_alike(&texts);
        let of_samples = name.is_some_and(|name| RowMeaning::of(&text[name.range()]) == RowMeaning::Names);
        // `well` among `lysate`, `wash 1` names a sample, and so does `A` behind `Sample`.
        let names_column = |text: &&str| {
            let head = read_column_header(text);
            let of_columns =
                |quantity: &Quantity| quantity.is_of_light() || *quantity == Quantity::RATE || runs(quantity);
            let letter = of_samples && text.chars().count() == 1;
            !letter
                && !alike
                && !names.has(text)
                && (head.quantity.as_ref().is_some_and(of_columns) || head.unit.is_some())
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
    Some(Row::new(text, name, head.line.line, column))
}

/// Whether texts are one word with numbers behind it, `S0`, `S1`, `S2`: names, whatever the first may mean alone.
fn are_numbered_alike(texts: &[&str]) -> bool {
    let stem = |text: &&str| -> Option<String> {
        let stem = text.trim_end_matches(|c: char| c.is_ascii_digit());
        (stem.len() < text.len() && stem.starts_with(char::is_alphabetic)).then(|| stem.to_owned())
    };
    let Some(first) = texts.first().and_then(stem) else {
        return false;
    };
    texts.len() >= 2 && texts.iter().all(|text| stem(text).as_ref() == Some(&first))
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
