//! Rows in any spelling: their cells put under the columns, each looked at before any of them is taken.

use std::collections::BTreeSet;
use std::ops::Range;

use super::super::join::is_furniture;
use super::rows::LineOutcome;
use super::*;

/// The cells of a line under the columns of a table.
struct RowCells<'l> {
    line: &'l str,
    cells: Vec<Option<Range<usize>>>,
    /// How many cells were written.
    written: usize,
    /// Whether somebody's remark stands behind the last column.
    aside: bool,
    /// Whether numbers touch, since a sign fills the blank between them.
    touching: bool,
}

/// What the cells of a row are.
struct SeenCells {
    cells: Vec<Cell>,
    /// How many cells of figures can be taken.
    good: usize,
    bad: usize,
    empty: usize,
    /// Columns whose cell is a length of time in other units than those before it.
    lengths: Vec<usize>,
    /// Whether a number has a mark beside it, `0.612 (repeat)`.
    marked: bool,
    /// Columns whose number is doubted, `ca. 0.6`.
    doubtful: Vec<usize>,
}

impl Grid {
    /// Whether a sign of its own parts the cells, so that an empty one is seen.
    pub(super) fn is_parted_by_signs(&self) -> bool {
        self.dialect.sep.byte().is_some() || self.dialect.sep == Delimiter::CommaBlank
    }

    /// A row of a line in cells. First look, then take: a line that is no row leaves no trace.
    pub(super) fn row_of_cells(
        &mut self,
        line: &str,
        cursor: Cursor,
        cells: Vec<Option<Range<usize>>>,
    ) -> LineOutcome {
        let row = match self.under_columns(line, cells) {
            Ok(row) => row,
            Err(outcome) => return outcome,
        };
        let seen = self.seen(&row);
        if let Some(outcome) = self.is_no_row(&row, &seen) {
            return outcome;
        }
        for column in 0..self.columns() {
            self.take_cell(&row, &seen, column, cursor);
        }
        self.rows += 1;
        for (is, what) in [
            (row.touching, Noted::Touching),
            (row.aside, Noted::Aside),
            (seen.marked, Noted::Marked),
            (self.tells_uncertainty(&row), Noted::Uncertainty),
        ] {
            if is {
                self.notes.push(RowNote {
                    line: cursor.line,
                    what,
                });
            }
        }
        LineOutcome::Yes
    }

    /// The cells of a line, each under its column; or what the line is where there are too many of them, or too few.
    fn under_columns<'l>(
        &self,
        line: &'l str,
        mut cells: Vec<Option<Range<usize>>>,
    ) -> Result<RowCells<'l>, LineOutcome> {
        let columns = self.columns();
        let hard = self.is_parted_by_signs();
        while hard
            && cells.len() > columns
            && cells
                .last()
                .is_some_and(|c| c.as_ref().is_none_or(|r| r.is_empty()))
        {
            cells.pop();
        }
        let aside = self.has_remark_aside(line, &cells);
        if aside {
            cells.truncate(columns);
        }
        if cells.len() != columns && self.is_at_seam() {
            return Err(LineOutcome::No);
        }
        let written = cells.len();
        let mut touching = false;
        if written < columns {
            let only_words_lack = self.kinds[written..]
                .iter()
                .all(|kind| *kind == ColumnKind::Words);
            let ends_early =
                hard && self.dialect.pieces.is_none() && (written >= 2 || self.is_next_x(line, &cells));
            let by_blanks = matches!(self.dialect.sep, Delimiter::Blank | Delimiter::Wide);
            if ends_early
                || only_words_lack
                    && by_blanks
                    && (self.rows > 0 || super::list_rows::may_be_first(line, &cells))
            {
                cells.resize(columns, None);
            } else if let Some(parted) = self.parted(line, &cells) {
                cells = parted;
                touching = true;
            } else if let Some(placed) = self.placed(line, &cells).filter(|_| written > 1 || self.rows > 0) {
                cells = placed;
            }
        }
        if cells.len() != columns {
            let words = |range: &Range<usize>| matches!(self.read_cell(line, range), Cell::Words);
            let odd = !cells.is_empty()
                && cells
                    .iter()
                    .all(|cell| cell.as_ref().is_some_and(|range| !words(range)));
            return Err(if odd {
                LineOutcome::Odd(cells.len())
            } else {
                LineOutcome::No
            });
        }
        Ok(RowCells {
            line,
            cells,
            written,
            aside,
            touching,
        })
    }

    fn read_cell(&self, line: &str, range: &Range<usize>) -> Cell {
        cell(&line[range.clone()], self.dialect.style)
    }

    /// Whether words behind the last column are somebody's remark on the row.
    fn has_remark_aside(&self, line: &str, cells: &[Option<Range<usize>>]) -> bool {
        let beyond = cells.get(self.columns()..).unwrap_or_default();
        if beyond.is_empty() || !(self.rows > 0 || self.below) {
            return false;
        }
        let words = |range: &Range<usize>| {
            let text = &line[range.clone()];
            // `<- stirred`
            !text.contains(char::is_alphanumeric) && (text.is_empty() || text.contains(['<', '>']))
                || text.contains(char::is_alphabetic) && matches!(self.read_cell(line, range), Cell::Words)
        };
        let said = |range: &Range<usize>| {
            let text = &line[range.clone()];
            text.is_empty() || text.contains(char::is_alphabetic)
        };
        let remark = |range: &Range<usize>| line[range.clone()].starts_with(['#', '!']);
        (beyond[0].as_ref().is_some_and(remark)
            || beyond.iter().flatten().all(words) && beyond.iter().flatten().any(said))
            // Where single blanks separate, the line may be a sentence that begins with numbers.
            && (self.is_parted_by_signs()
                || self.below
                || self.dialect.sep == Delimiter::Wide
                || self.is_next_x(line, cells))
    }

    /// Looks at the cells of a row.
    fn seen(&self, row: &RowCells) -> SeenCells {
        let mut seen = SeenCells {
            cells: Vec::with_capacity(row.cells.len()),
            good: 0,
            bad: 0,
            empty: 0,
            lengths: Vec::new(),
            marked: false,
            doubtful: Vec::new(),
        };
        for (column, range) in row.cells.iter().enumerate() {
            let text = range.as_ref().map_or("", |range| &row.line[range.clone()]);
            let figures = self.kinds[column] == ColumnKind::Figures;
            let found = match range {
                Some(_) if figures => self.figure_in(text, column, &mut seen),
                Some(range) if !range.is_empty() => Cell::Words,
                _ => Cell::Empty,
            };
            if figures {
                match found {
                    Cell::WithUnit { unit, .. } if !self.suits(&text[unit..], column) => seen.bad += 1,
                    Cell::Number { .. }
                    | Cell::WithUnit { .. }
                    | Cell::Bracketed { .. }
                    | Cell::Missing
                    | Cell::Beyond => seen.good += 1,
                    Cell::Empty => seen.empty += 1,
                    Cell::Clock { .. } | Cell::Words => seen.bad += 1,
                }
            }
            seen.cells.push(found);
        }
        seen
    }

    /// What stands in a cell of a column of figures.
    fn figure_in(&self, text: &str, column: usize, seen: &mut SeenCells) -> Cell {
        let style = self.dialect.style;
        let length = || duration_in(text, self.units[column].as_deref()?, style);
        match cell(text, style) {
            Cell::Words if column == 0 && self.rows == 0 && is_start_of_times(text) => Cell::Number {
                value: 0.0,
                decimals: 0,
            },
            Cell::Clock { .. } if let Some((value, decimals)) = length() => {
                seen.lengths.push(column);
                Cell::Number { value, decimals }
            }
            Cell::Words => match marked_number(text, style) {
                Some(number) if number.doubtful => {
                    seen.doubtful.push(column);
                    Cell::Missing
                }
                Some(number) => {
                    seen.marked = true;
                    Cell::Number {
                        value: number.value,
                        decimals: number.decimals,
                    }
                }
                None => Cell::Words,
            },
            found => found,
        }
    }

    /// Whether what stands behind a number may be the unit of its column.
    fn suits(&self, unit: &str, column: usize) -> bool {
        self.units[column].as_deref().map_or(unit != EXTINCTION, |known| {
            known == unit || like_units(unit, known)
        })
    }

    /// What a line with a cell for each column is, where it is no row.
    fn is_no_row(&self, row: &RowCells, seen: &SeenCells) -> Option<LineOutcome> {
        let (line, hard) = (row.line, self.is_parted_by_signs());
        let &SeenCells { good, bad, empty, .. } = seen;
        // Where a delimiter is lost, all cells behind it stand under the wrong columns.
        if row.written < self.columns()
            && hard
            && (bad > 0
                || self.leaves_its_step(&seen.cells)
                || self.stand_beside(line, &row.cells, &seen.cells))
        {
            return Some(LineOutcome::Odd(row.written));
        }
        // `*** page 2 ***` has four cells too.
        if bad > 0 && line.contains(char::is_alphabetic) && is_furniture(line, &BTreeSet::new()) {
            return Some(LineOutcome::No);
        }
        let x_is_words = self.kinds[0] == ColumnKind::Figures
            && matches!(seen.cells.first(), Some(Cell::Words | Cell::Clock { .. }));
        let first = row
            .cells
            .first()
            .and_then(Option::as_ref)
            .map_or("", |range| &line[range.clone()]);
        let below_rows = self.rows > 0 || self.amid;
        if x_is_words && good > 0 && bad <= 1 && hard && below_rows && crate::words::is_statistics(first) {
            return Some(LineOutcome::Summary);
        }
        let no_row =
            good == 0 && (bad > 0 || empty > 0) || bad > good || (x_is_words && below_rows && good <= 2);
        no_row.then_some(LineOutcome::No)
    }

    /// Takes the cell of a row under a column.
    fn take_cell(&mut self, row: &RowCells, seen: &SeenCells, column: usize, cursor: Cursor) {
        let place = self.place[column];
        let end = row.line.len();
        let range = row.cells[column].clone().unwrap_or(end..end);
        let span = Span::new(cursor.at + range.start, cursor.at + range.end);
        if self.kinds[column] == ColumnKind::Words {
            self.words[place].push(span);
            return;
        }
        match self.number_of(row, seen, column, cursor.line) {
            Ok((value, decimals)) => {
                self.fresh.push(value);
                if decimals != self.current[place] {
                    self.decimals_change(place, decimals);
                }
            }
            Err(lack) => {
                self.fresh.push(f64::NAN);
                self.gaps.push(Gap {
                    row: u32::try_from(self.rows).unwrap_or(u32::MAX),
                    column: u32::try_from(column).unwrap_or(u32::MAX),
                    lack,
                    span,
                });
            }
        }
    }

    /// The number of a cell with its decimals, or why it has none. Units behind the numbers and conversions are noted.
    fn number_of(
        &mut self,
        row: &RowCells,
        seen: &SeenCells,
        column: usize,
        line: u32,
    ) -> Result<(f64, u8), MissingCell> {
        match seen.cells[column] {
            Cell::Number { value, decimals } => {
                if seen.lengths.contains(&column) {
                    self.note_converted(column, line);
                }
                Ok((value, decimals))
            }
            Cell::WithUnit {
                value,
                decimals,
                unit,
            } => {
                let cell = row.cells[column].clone().unwrap_or(0..0);
                let unit = &row.line[cell.start + unit..cell.end];
                self.number_in_unit((value, decimals), unit, column, line)
            }
            Cell::Bracketed { value, decimals } => match self.dialect.brackets {
                Brackets::Negative => Ok((-value, decimals)),
                Brackets::Open => Err(MissingCell::Bracketed),
                Brackets::Absent => Err(MissingCell::Unreadable),
            },
            Cell::Empty if row.cells[column].is_none() && self.is_parted_by_signs() => {
                Err(MissingCell::Short)
            }
            Cell::Empty => Err(MissingCell::Empty),
            Cell::Missing if seen.doubtful.contains(&column) => Err(MissingCell::Doubtful),
            Cell::Missing => Err(MissingCell::Missing),
            Cell::Beyond => Err(MissingCell::Beyond),
            Cell::Clock { .. } | Cell::Words => Err(MissingCell::Unreadable),
        }
    }

    /// A number with a unit behind it in the unit of its column, which the first of them gives it.
    fn number_in_unit(
        &mut self,
        (value, decimals): (f64, u8),
        unit: &str,
        column: usize,
        line: u32,
    ) -> Result<(f64, u8), MissingCell> {
        let place = self.place[column];
        // Behind numbers without a unit, `0.69%` is a damaged `0.695`, and no unit of the column.
        let late = self.units[column].is_none()
            && (self.current[place] != u8::MAX
                || self.bare_before.get(place) == Some(&true)
                || unit == EXTINCTION);
        if late {
            return Err(MissingCell::Unreadable);
        }
        let known = self.units[column].get_or_insert_with(|| unit.to_owned());
        if known.as_str() == unit {
            self.united[column] += 1;
            return Ok((value, decimals));
        }
        let converted = converted(value, decimals, unit, known).ok_or(MissingCell::Unreadable)?;
        self.note_converted(column, line);
        Ok(converted)
    }

    /// Notes that a number was converted into the unit of its column.
    fn note_converted(&mut self, column: usize, line: u32) {
        self.united[column] += 1;
        self.notes.push(RowNote {
            line,
            what: Noted::Converted,
        });
    }

    /// Whether a number of a row has its uncertainty beside it, `0.123(4)`, `0.5 ± 0.1`.
    fn tells_uncertainty(&self, row: &RowCells) -> bool {
        let (line, style) = (row.line, self.dialect.style);
        let concise = || {
            row.cells
                .iter()
                .zip(&self.kinds)
                .filter(|(_, kind)| **kind == ColumnKind::Figures)
                .filter_map(|(range, _)| range.clone())
                .any(|range| has_concise(&line[range], style))
        };
        let uncertain = |range: &Range<usize>| {
            let text = &line[range.clone()];
            ["±", "+/-", "+-"]
                .iter()
                .filter_map(|mark| text.find(mark))
                .any(|at| at > 0 && text.is_char_boundary(at - 1) && is_uncertainty(&text[at - 1..], style))
        };
        line.contains(['±', '+']) && row.cells.iter().flatten().any(uncertain)
            || line.contains('(') && concise()
    }

    /// Whether the first cell of a row that ends early has other decimals than those above it and does not go on in
    /// their steps: two cells that have become one.
    fn leaves_its_step(&self, seen: &[Cell]) -> bool {
        let (Some(&Cell::Number { value, decimals }), Some(&ColumnKind::Figures)) =
            (seen.first(), self.kinds.first())
        else {
            return false;
        };
        if self.rows < 2 || self.current.first() == Some(&decimals) {
            return false;
        }
        let (before, last) = (self.first_figure(1), self.first_figure(0));
        let steps = (value - last) / (last - before);
        !(steps > 0.0 && steps < 3.5)
    }

    /// Whether numbers of a row that ends early are written like those of the next column and not like those of their
    /// own; or a name in front ends like a number of the column behind it.
    fn stand_beside(&self, line: &str, cells: &[Option<Range<usize>>], seen: &[Cell]) -> bool {
        const LOOK: usize = 4096;
        let decimals_of = |column: usize| -> Option<u8> {
            let figures = self.kinds.get(column) == Some(&ColumnKind::Figures);
            let decimals = self.current.get(*self.place.get(column)?).copied();
            decimals.filter(|&decimals| figures && decimals != u8::MAX)
        };
        // Or they have decimals under whole numbers, and the next column has decimals.
        let never_had = |column: usize| {
            let place = self
                .place
                .get(column)
                .and_then(|&place| u32::try_from(place).ok());
            let changes = self.changes.iter().rev().take(LOOK);
            changes
                .filter(|(_, at, _)| Some(*at) == place)
                .all(|&(_, _, decimals)| decimals == 0)
        };
        // In a table on its side the numbers of a column are written in as many ways as there are kinds of rows.
        let has_had = |column: usize, written: u8| {
            let place = self
                .place
                .get(column)
                .and_then(|&place| u32::try_from(place).ok());
            let mut changes = self.changes.iter().rev().take(LOOK);
            changes.any(|&(_, at, decimals)| Some(at) == place && decimals == written)
        };
        let shifted = seen.iter().enumerate().any(|(column, found)| match found {
            Cell::Number { decimals, .. } if column > 0 => {
                let (own, next) = (decimals_of(column), decimals_of(column + 1));
                own.is_some_and(|own| own != *decimals)
                    && next == Some(*decimals)
                    && !has_had(column, *decimals)
                    || self.rows >= 2
                        && *decimals > 0
                        && own == Some(0)
                        && next.is_some_and(|next| next > 0)
                        && never_had(column)
            }
            _ => false,
        });
        let glued = || {
            let front = cells.first()?.as_ref().map(|range| &line[range.clone()])?;
            // The next column may have had no number yet; then the others tell.
            let decimals = (1..self.columns())
                .find_map(decimals_of)
                .filter(|&decimals| decimals > 0)?;
            let (name, behind) = front.rsplit_once(char::from(self.dialect.style.decimal))?;
            let number = behind.len() == usize::from(decimals)
                && behind.bytes().all(|byte| byte.is_ascii_digit())
                && name.ends_with(|c: char| c.is_ascii_digit());
            Some(number)
        };
        shifted || self.kinds.first() == Some(&ColumnKind::Words) && glued() == Some(true)
    }

    /// Whether a row begins with the next running number: it goes on in the direction of the two before it, by no more
    /// than a few steps.
    pub(super) fn is_next_x(&self, line: &str, cells: &[Option<Range<usize>>]) -> bool {
        let Some(Some(range)) = cells.first() else {
            return false;
        };
        let Cell::Number { value, .. } = cell(&line[range.clone()], self.dialect.style) else {
            return false;
        };
        if self.rows < 2 || self.kinds.first() != Some(&ColumnKind::Figures) {
            return false;
        }
        let (before, last) = (self.first_figure(1), self.first_figure(0));
        let steps = (value - last) / (last - before);
        steps > 0.0 && steps < 3.5
    }

    /// The cells of a row in fixed columns whose numbers touch, since a sign fills the blank between them:
    /// `0.9905-0.0031`. Only where each then stands under a column of its own.
    fn parted(&self, line: &str, cells: &[Option<Range<usize>>]) -> Option<Vec<Option<Range<usize>>>> {
        if self.dialect.sep != Delimiter::Blank || self.extents.is_empty() {
            return None;
        }
        let mut parted = Vec::with_capacity(self.columns());
        for range in cells.iter().flatten() {
            let bytes = line.as_bytes();
            let mut start = range.start;
            for at in range.start + 1..range.end {
                if matches!(bytes[at], b'-' | b'+') && bytes[at - 1].is_ascii_digit() {
                    parted.push(Some(start..at));
                    start = at;
                }
            }
            parted.push(Some(start..range.end));
        }
        let is_number = |range: &Range<usize>| {
            matches!(
                cell(&line[range.clone()], self.dialect.style),
                Cell::Number { .. }
            )
        };
        let fits = parted.len() == self.columns() && parted.iter().flatten().all(is_number);
        self.placed(line, &parted).filter(|_| fits)
    }

    /// Puts the cells of a row with holes under the columns over which they stand, where that is sure.
    fn placed(&self, line: &str, cells: &[Option<Range<usize>>]) -> Option<Vec<Option<Range<usize>>>> {
        if self.extents.is_empty() || cells.is_empty() || line.contains('\t') {
            return None;
        }
        // `Series 2` among columns that wide gaps part is a caption.
        let wide = self.extents.windows(2).all(|pair| pair[1].0 - pair[0].1 >= 2);
        let touch = || {
            let ranges: Vec<_> = cells.iter().flatten().collect();
            ranges.windows(2).any(|pair| pair[1].start == pair[0].end + 1)
        };
        if wide && touch() {
            return None;
        }
        let mut placed = vec![None; self.columns()];
        for range in cells.iter().flatten() {
            let (start, end) = (chars(line, range.start), chars(line, range.end));
            let mut over = self
                .extents
                .iter()
                .enumerate()
                .filter(|(_, extent)| start < extent.1 && end > extent.0);
            let (column, _) = over.next()?;
            if over.next().is_some() || placed[column].is_some() {
                return None;
            }
            placed[column] = Some(range.clone());
        }
        Some(placed)
    }
}

/// Whether one unit, as it stands in a cell, can be converted into another.
fn like_units(text: &str, known: &str) -> bool {
    converted(1.0, 0, text, known).is_some()
}

/// A number in the unit `from` in the unit `to`, both as they stand in cells, where that is exact in decimals: by a
/// power of ten or a whole factor.
fn converted(value: f64, decimals: u8, from: &str, to: &str) -> Option<(f64, u8)> {
    let (from, to) = (unit_in_cells(from)?, unit_in_cells(to)?);
    let factor = from.convert(1.0, &to).ok()?;
    if from.convert(0.0, &to).ok()? != 0.0 || factor.is_nan() || factor <= 0.0 {
        return None;
    }
    let shift = factor.log10().round();
    if (factor / 10_f64.powf(shift) - 1.0).abs() < 1e-12 {
        // The decimal digits move; nothing is rounded but the result.
        let shift = shift as i32;
        let value: f64 = format!("{value}e{shift}").parse().ok()?;
        let decimals = i32::from(decimals) - shift;
        return Some((value, u8::try_from(decimals.clamp(0, 255)).unwrap_or(0)));
    }
    let whole = factor.round();
    ((factor / whole - 1.0).abs() < 1e-12).then_some((value * whole, decimals))
}
