//! The rows of one table as numbers: a quick way for rows of plain numbers, a careful way for all others.

use curvary_record::{Decimals, Span};

use super::dialect::{Dialect, Sep, is_blank, split};
use super::number::{Cell, cell, plain};

/// No table has more cells than this; what lies beyond is left unread, with a remark.
pub(super) const MAX_CELLS: usize = 400_000_000;

/// No table has more columns than this.
pub(super) const MAX_COLUMNS: usize = 50_000;

/// A text from this length on is read by all cores.
const PARALLEL_FROM: usize = 8 << 20;

/// What the cells of a column are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Numbers, with gaps.
    Figures,
    /// Words, clock times or dates, kept as they stand.
    Words,
}

/// Why a cell of figures has no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lack {
    /// Nothing stood there.
    Empty,
    /// A sign or word for a missing value stood there.
    Missing,
    /// A sign or word for a value beyond the range stood there.
    Beyond,
    /// Something stood there that is no number in the style of the table.
    Unreadable,
}

/// A cell of figures without a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gap {
    pub(super) row: u32,
    pub(super) column: u32,
    pub(super) lack: Lack,
    /// What stood there, as bytes of the text.
    pub(super) span: Span,
}

/// A row that was left out, since its cells do not fit the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct OddRow {
    pub(super) line: u32,
    pub(super) span: Span,
    pub(super) cells: u32,
}

/// A table's rows. Numbers lie row by row; an absent one is NaN here and a gap beside it, and never leaves the reader.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    pub(super) dialect: Dialect,
    pub(super) kinds: Vec<Kind>,
    /// For each column its place among the columns of its kind.
    place: Vec<usize>,
    stride: usize,
    figures: Vec<f64>,
    words: Vec<Vec<Span>>,
    /// Where the count of decimals of a figures column changes: row, place, decimals.
    changes: Vec<(u32, u32, u8)>,
    current: Vec<u8>,
    pub(super) gaps: Vec<Gap>,
    pub(super) odd: Vec<OddRow>,
    /// The unit that stood behind the numbers of a column, in its cells.
    pub(super) units: Vec<Option<String>>,
    /// In how many cells of a column it stood.
    united: Vec<u32>,
    /// The line of each row, from 1, run-length coded: first row, its line.
    lines: Vec<(u32, u32)>,
    pub(super) rows: usize,
    /// Columns of the line over which each cell of a blank-separated table stands.
    extents: Vec<(usize, usize)>,
}

/// A place in the text: a byte and the line (from 1) that begins there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Cursor {
    pub(super) at: usize,
    pub(super) line: u32,
}

/// What became of a line.
enum Taken {
    Yes,
    /// Numbers, but not as many as the table has columns.
    Odd(usize),
    /// No row of this table.
    No,
}

impl Grid {
    /// An empty table of columns of these kinds.
    pub(super) fn new(dialect: Dialect, kinds: Vec<Kind>) -> Self {
        let (mut figures, mut words) = (0, 0);
        let place = kinds
            .iter()
            .map(|kind| {
                let counter = if *kind == Kind::Figures {
                    &mut figures
                } else {
                    &mut words
                };
                *counter += 1;
                *counter - 1
            })
            .collect();
        Self {
            dialect,
            units: vec![None; kinds.len()],
            united: vec![0; kinds.len()],
            kinds,
            place,
            stride: figures,
            figures: Vec::new(),
            words: vec![Vec::new(); words],
            changes: Vec::new(),
            current: vec![u8::MAX; figures],
            gaps: Vec::new(),
            odd: Vec::new(),
            lines: Vec::new(),
            rows: 0,
            extents: Vec::new(),
        }
    }

    fn empty_like(&self) -> Self {
        let mut grid = Self::new(self.dialect.clone(), self.kinds.clone());
        grid.extents.clone_from(&self.extents);
        grid.units.clone_from(&self.units);
        grid
    }

    /// How many columns there are.
    pub(super) fn columns(&self) -> usize {
        self.kinds.len()
    }

    /// Tells where the cells of a blank-separated table stand, so that a row with a hole can be placed.
    pub(super) fn learn_extents<'a>(&mut self, rows: impl Iterator<Item = &'a str>) {
        if self.dialect.sep != Sep::Blank {
            return;
        }
        let mut extents: Vec<(usize, usize)> = Vec::new();
        for row in rows {
            let cells = split(row, &self.dialect);
            if cells.len() != self.columns() || row.contains('\t') {
                continue;
            }
            let columns = cells
                .iter()
                .map(|cell| (chars(row, cell.start), chars(row, cell.end)));
            if extents.is_empty() {
                extents = columns.collect();
            } else {
                for (extent, (start, end)) in extents.iter_mut().zip(columns) {
                    extent.0 = extent.0.min(start);
                    extent.1 = extent.1.max(end);
                }
            }
        }
        // Columns that overlap are not fixed, and a hole cannot be placed.
        if extents.windows(2).all(|pair| pair[0].1 < pair[1].0) {
            self.extents = extents;
        }
    }

    /// Columns in which a unit stands behind some numbers and not behind others, with how many have it.
    pub(super) fn units_in_some_cells(&self) -> impl Iterator<Item = (usize, &str, u32)> {
        self.units.iter().enumerate().filter_map(|(column, unit)| {
            let unit = unit.as_deref()?;
            let numbers = self.rows - self.gaps_of(column).count();
            let united = self.united[column];
            ((united as usize) < numbers).then_some((column, unit, united))
        })
    }

    /// Where each column of a table in fixed columns stands, in characters; empty when it is none.
    pub(super) fn extents(&self) -> &[(usize, usize)] {
        &self.extents
    }

    /// Reads rows from `from` on, as far as they fit, but not beyond byte `end`. Returns where the next line begins.
    pub(super) fn read(&mut self, text: &str, from: Cursor, end: usize) -> Cursor {
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        if end - from.at < PARALLEL_FROM || cores < 2 {
            return self.read_here(text, from, end, true);
        }
        // Pieces of whole lines, one for each core. A piece that stops early makes those behind it void.
        let mut bounds = vec![from.at];
        for core in 1..cores {
            let about = from.at + (end - from.at) / cores * core;
            let next =
                memchr::memchr2(b'\n', b'\r', &text.as_bytes()[about..end]).map_or(end, |n| about + n + 1);
            let crlf =
                text.as_bytes().get(next - 1) == Some(&b'\r') && text.as_bytes().get(next) == Some(&b'\n');
            bounds.push(next + usize::from(crlf && next < end));
        }
        bounds.push(end);
        let this = &*self;
        let parts: Vec<(Self, Cursor)> = std::thread::scope(|scope| {
            let workers: Vec<_> = bounds
                .windows(2)
                .map(|piece| {
                    let (start, stop) = (piece[0], piece[1]);
                    scope.spawn(move || {
                        let mut part = this.empty_like();
                        part.figures.reserve((stop - start) / 8);
                        let cursor = part.read_here(text, Cursor { at: start, line: 1 }, stop, false);
                        (part, cursor)
                    })
                })
                .collect();
            workers
                .into_iter()
                .map_while(|worker| worker.join().ok())
                .collect()
        });
        let mut line = from.line;
        let mut reached = from;
        for (index, (part, cursor)) in parts.into_iter().enumerate() {
            let rows_before = self.rows;
            self.append(part, line - 1);
            line += cursor.line - 1;
            reached = Cursor { at: cursor.at, line };
            if cursor.at < bounds[index + 1] {
                // The sequential way decides whether the table really ends here.
                return if self.rows > rows_before {
                    self.read_here(text, reached, end, true)
                } else {
                    reached
                };
            }
        }
        reached
    }

    /// Adds the rows of `part`, whose lines count from `lines_before` on.
    pub(super) fn append(&mut self, part: Self, lines_before: u32) {
        let rows = u32::try_from(self.rows).unwrap_or(u32::MAX);
        for (row, place, decimals) in part.changes {
            if self.current[place as usize] != decimals {
                self.current[place as usize] = decimals;
                self.changes.push((row + rows, place, decimals));
            }
        }
        self.current = part
            .current
            .iter()
            .zip(&self.current)
            .map(|(&new, &old)| if new == u8::MAX { old } else { new })
            .collect();
        if self.figures.is_empty() {
            self.figures = part.figures;
        } else {
            self.figures.extend_from_slice(&part.figures);
        }
        for (mine, theirs) in self.words.iter_mut().zip(part.words) {
            mine.extend(theirs);
        }
        for (mine, theirs) in self.united.iter_mut().zip(&part.united) {
            *mine += theirs;
        }
        self.gaps.extend(part.gaps.into_iter().map(|gap| Gap {
            row: gap.row + rows,
            ..gap
        }));
        self.odd.extend(part.odd.into_iter().map(|odd| OddRow {
            line: odd.line + lines_before,
            ..odd
        }));
        for (mine, theirs) in self.units.iter_mut().zip(part.units) {
            if mine.is_none() {
                *mine = theirs;
            }
        }
        self.lines.extend(
            part.lines
                .into_iter()
                .map(|(row, line)| (row + rows, line + lines_before)),
        );
        self.rows += part.rows;
    }

    /// Puts the columns of `other` but its first behind these; both have the same rows.
    pub(super) fn widen(&mut self, other: &Self) {
        let shift = self.columns() - 1;
        let mut wide = Self::new(
            self.dialect.clone(),
            self.kinds.iter().chain(&other.kinds[1..]).copied().collect(),
        );
        let stride = self.stride;
        let skip = usize::from(other.kinds[0] == Kind::Figures);
        for row in 0..self.rows {
            wide.figures
                .extend_from_slice(&self.figures[row * stride..(row + 1) * stride]);
            wide.figures
                .extend_from_slice(&other.figures[row * other.stride + skip..(row + 1) * other.stride]);
        }
        wide.words = self
            .words
            .iter()
            .chain(other.words.iter().skip(1 - skip))
            .cloned()
            .collect();
        let place_shift = u32::try_from(stride - skip).unwrap_or(u32::MAX);
        wide.changes.clone_from(&self.changes);
        let behind = other
            .changes
            .iter()
            .filter(|&&(_, place, _)| place as usize >= skip);
        wide.changes
            .extend(behind.map(|&(row, place, decimals)| (row, place + place_shift, decimals)));
        wide.gaps.clone_from(&self.gaps);
        let shift = u32::try_from(shift).unwrap_or(u32::MAX);
        wide.gaps
            .extend(other.gaps.iter().filter(|gap| gap.column > 0).map(|gap| Gap {
                column: gap.column + shift,
                ..*gap
            }));
        wide.odd = self.odd.iter().chain(&other.odd).copied().collect();
        wide.units = self
            .units
            .iter()
            .chain(other.units.iter().skip(1))
            .cloned()
            .collect();
        wide.united = self
            .united
            .iter()
            .chain(other.united.iter().skip(1))
            .copied()
            .collect();
        wide.lines.clone_from(&self.lines);
        wide.rows = self.rows;
        *self = wide;
    }

    /// The sequential way. `whole` is false for a piece of a table, whose end is decided by the caller.
    fn read_here(&mut self, text: &str, from: Cursor, end: usize, whole: bool) -> Cursor {
        let bytes = &text.as_bytes()[..end];
        let mut cursor = from;
        let quick = self.dialect.pieces.is_none()
            && self.dialect.sep != Sep::CommaBlank
            && self.kinds.iter().all(|kind| *kind == Kind::Figures);
        let mut expected_line = u32::MAX;
        while cursor.at < end {
            if self.figures.len() > MAX_CELLS {
                break;
            }
            if cursor.line != expected_line {
                self.lines
                    .push((u32::try_from(self.rows).unwrap_or(u32::MAX), cursor.line));
            }
            if quick && let Some(next) = self.quick_row(bytes, cursor.at) {
                self.rows += 1;
                expected_line = cursor.line + 1;
                cursor = Cursor {
                    at: next,
                    line: cursor.line + 1,
                };
                continue;
            }
            if cursor.line != expected_line {
                self.lines.pop();
            }
            let (line_end, next) = line_end(bytes, cursor.at);
            let line = &text[cursor.at..line_end];
            if line.trim_matches(is_blank).is_empty() {
                if whole
                    && !self.goes_on(
                        text,
                        Cursor {
                            at: next,
                            line: cursor.line + 1,
                        },
                        end,
                    )
                {
                    break;
                }
                cursor = Cursor {
                    at: next,
                    line: cursor.line + 1,
                };
                continue;
            }
            match self.careful_row(line, cursor) {
                Taken::Yes => {
                    if cursor.line != expected_line {
                        self.lines
                            .push((u32::try_from(self.rows - 1).unwrap_or(u32::MAX), cursor.line));
                    }
                    expected_line = cursor.line + 1;
                }
                Taken::Odd(cells) => {
                    // Left out only where the table goes on behind it; else it may begin another table.
                    let behind = Cursor {
                        at: next,
                        line: cursor.line + 1,
                    };
                    if self.rows == 0 || !self.goes_on(text, behind, end) {
                        break;
                    }
                    self.odd.push(OddRow {
                        line: cursor.line,
                        span: Span::new(cursor.at, line_end),
                        cells: u32::try_from(cells).unwrap_or(u32::MAX),
                    });
                }
                Taken::No => break,
            }
            cursor = Cursor {
                at: next,
                line: cursor.line + 1,
            };
        }
        cursor
    }

    /// Whether the next line with something on it is a row of this table and goes on in the direction of its x.
    fn goes_on(&self, text: &str, mut cursor: Cursor, end: usize) -> bool {
        let bytes = &text.as_bytes()[..end];
        while cursor.at < end {
            let (stop, next) = line_end(bytes, cursor.at);
            let line = &text[cursor.at..stop];
            if !line.trim_matches(is_blank).is_empty() {
                let mut trial = self.empty_like();
                if !matches!(trial.careful_row(line, cursor), Taken::Yes) {
                    return false;
                }
                let step =
                    |grid: &Self, row: usize| grid.kinds.first() == Some(&Kind::Figures) && row < grid.rows;
                if step(&trial, 0) && self.rows >= 2 {
                    let x = |row: usize| self.figures[row * self.stride];
                    let (before, last, new) = (x(self.rows - 2), x(self.rows - 1), trial.figures[0]);
                    return (last - before) * (new - last) >= 0.0
                        || new.is_nan()
                        || before.is_nan()
                        || last.is_nan();
                }
                return true;
            }
            cursor = Cursor {
                at: next,
                line: cursor.line + 1,
            };
        }
        false
    }

    /// A row of plain numbers that begins at `at`; returns where the next line begins, or nothing and leaves no trace.
    #[inline]
    fn quick_row(&mut self, bytes: &[u8], at: usize) -> Option<usize> {
        let before = self.figures.len();
        let changed = self.changes.len();
        let done = match self.dialect.sep.byte() {
            Some(sep) => self.quick_cells(bytes, at, |bytes, at, last| {
                let mut at = at;
                while matches!(bytes.get(at), Some(b' ' | b'\t')) && bytes[at] != sep {
                    at += 1;
                }
                if last {
                    Some(at)
                } else {
                    (bytes.get(at) == Some(&sep)).then_some(at + 1)
                }
            }),
            None => self.quick_cells(bytes, at, |bytes, at, _| {
                matches!(bytes.get(at), None | Some(b' ' | b'\t' | b'\r' | b'\n')).then_some(at)
            }),
        };
        let next = done.and_then(|mut at| {
            // Blanks at the end are none of the row's cells, and a separator there closes an empty one.
            while matches!(bytes.get(at), Some(b' ' | b'\t')) {
                at += 1;
            }
            match bytes.get(at) {
                None => Some(at),
                Some(b'\n') => Some(at + 1),
                Some(b'\r') => Some(at + 1 + usize::from(bytes.get(at + 1) == Some(&b'\n'))),
                Some(_) => None,
            }
        });
        if next.is_none() {
            self.figures.truncate(before);
            while self.changes.len() > changed {
                if let Some((_, place, _)) = self.changes.pop() {
                    self.current[place as usize] = self.last_decimals(place);
                }
            }
        }
        next
    }

    #[inline(always)]
    fn quick_cells(
        &mut self,
        bytes: &[u8],
        mut at: usize,
        between: impl Fn(&[u8], usize, bool) -> Option<usize>,
    ) -> Option<usize> {
        let decimal = self.dialect.style.decimal;
        let last = self.stride - 1;
        // A tab that separates is never skipped: behind it may lie an empty cell.
        let tab = if self.dialect.sep == Sep::Tab { b' ' } else { b'\t' };
        for place in 0..self.stride {
            while bytes.get(at).is_some_and(|&b| b == b' ' || b == tab) {
                at += 1;
            }
            let (value, decimals, end) = plain(bytes, at, decimal)?;
            at = between(bytes, end, place == last)?;
            self.figures.push(value);
            if self.current[place] != decimals {
                self.decimals_change(place, decimals);
            }
        }
        Some(at)
    }

    #[cold]
    fn decimals_change(&mut self, place: usize, decimals: u8) {
        self.current[place] = decimals;
        let row = u32::try_from(self.rows).unwrap_or(u32::MAX);
        self.changes
            .push((row, u32::try_from(place).unwrap_or(u32::MAX), decimals));
    }

    fn last_decimals(&self, place: u32) -> u8 {
        self.changes
            .iter()
            .rev()
            .find(|&&(_, p, _)| p == place)
            .map_or(u8::MAX, |&(_, _, decimals)| decimals)
    }

    /// A row in any spelling.
    fn careful_row(&mut self, line: &str, cursor: Cursor) -> Taken {
        let mut cells: Vec<Option<std::ops::Range<usize>>> =
            split(line, &self.dialect).into_iter().map(Some).collect();
        let columns = self.columns();
        let hard = self.dialect.sep.byte().is_some() || self.dialect.sep == Sep::CommaBlank;
        while hard
            && cells.len() > columns
            && cells
                .last()
                .is_some_and(|c| c.as_ref().is_none_or(|r| r.is_empty()))
        {
            cells.pop();
        }
        if cells.len() < columns {
            if hard && self.dialect.pieces.is_none() && cells.len() >= 2 {
                cells.resize(columns, None);
            } else if let Some(placed) = self
                .placed(line, &cells)
                .filter(|_| cells.len() > 1 || self.rows > 0)
            {
                cells = placed;
            }
        }
        let read = |range: &std::ops::Range<usize>| cell(&line[range.clone()], self.dialect.style);
        if cells.len() != columns {
            let figures = cells
                .iter()
                .flatten()
                .filter(|range| !matches!(read(range), Cell::Words))
                .count();
            let odd = figures == cells.len() && figures > 0 && !cells.is_empty();
            return if odd { Taken::Odd(cells.len()) } else { Taken::No };
        }
        // First look, then take: a line that is no row leaves no trace.
        let mut seen: Vec<Cell> = Vec::with_capacity(columns);
        let (mut good, mut bad, mut empty) = (0, 0, 0);
        for (column, range) in cells.iter().enumerate() {
            let found = match range {
                Some(range) if self.kinds[column] == Kind::Figures => read(range),
                Some(range) if range.is_empty() => Cell::Empty,
                Some(_) => Cell::Words,
                None => Cell::Empty,
            };
            if self.kinds[column] == Kind::Figures {
                match found {
                    Cell::Number { .. } => good += 1,
                    Cell::WithUnit { unit, .. } => {
                        let text = range.as_ref().map_or("", |r| &line[r.clone()][unit..]);
                        if self.units[column].as_deref().is_none_or(|known| known == text) {
                            good += 1
                        } else {
                            bad += 1
                        }
                    }
                    Cell::Empty => empty += 1,
                    Cell::Missing | Cell::Beyond => good += 1,
                    Cell::Clock { .. } | Cell::Words => bad += 1,
                }
            }
            seen.push(found);
        }
        let x_is_words =
            self.kinds[0] == Kind::Figures && matches!(seen.first(), Some(Cell::Words | Cell::Clock { .. }));
        if good == 0 && (bad > 0 || empty > 0) || bad > good || (x_is_words && self.rows > 0 && good <= 2) {
            return Taken::No;
        }
        let row = u32::try_from(self.rows).unwrap_or(u32::MAX);
        for (column, found) in seen.into_iter().enumerate() {
            let place = self.place[column];
            let range = cells[column].clone().unwrap_or(line.len()..line.len());
            let span = Span::new(cursor.at + range.start, cursor.at + range.end);
            if self.kinds[column] == Kind::Words {
                self.words[place].push(span);
                continue;
            }
            let (value, decimals, lack) = match found {
                Cell::Number { value, decimals } => (value, Some(decimals), None),
                Cell::WithUnit {
                    value,
                    decimals,
                    unit,
                } => {
                    let text = &line[range.start + unit..range.end];
                    // Behind numbers without a unit, `0.69%` is a damaged `0.695`, and no unit of the column.
                    let late = self.units[column].is_none() && self.current[place] != u8::MAX;
                    if !late && *self.units[column].get_or_insert_with(|| text.to_owned()) == text {
                        self.united[column] += 1;
                        (value, Some(decimals), None)
                    } else {
                        (f64::NAN, None, Some(Lack::Unreadable))
                    }
                }
                Cell::Empty => (f64::NAN, None, Some(Lack::Empty)),
                Cell::Missing => (f64::NAN, None, Some(Lack::Missing)),
                Cell::Beyond => (f64::NAN, None, Some(Lack::Beyond)),
                Cell::Clock { .. } | Cell::Words => (f64::NAN, None, Some(Lack::Unreadable)),
            };
            self.figures.push(value);
            if let Some(decimals) = decimals.filter(|&d| d != self.current[place]) {
                self.decimals_change(place, decimals);
            }
            if let Some(lack) = lack {
                let column = u32::try_from(column).unwrap_or(u32::MAX);
                self.gaps.push(Gap {
                    row,
                    column,
                    lack,
                    span,
                });
            }
        }
        self.rows += 1;
        Taken::Yes
    }

    /// Puts the cells of a row with holes under the columns over which they stand, where that is sure.
    fn placed(
        &self,
        line: &str,
        cells: &[Option<std::ops::Range<usize>>],
    ) -> Option<Vec<Option<std::ops::Range<usize>>>> {
        if self.extents.is_empty() || cells.is_empty() || line.contains('\t') {
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

    /// The numbers of a column of figures, NaN where there is none.
    pub(super) fn column(&self, column: usize) -> impl Iterator<Item = f64> + Clone + '_ {
        let place = self.place[column];
        self.figures
            .iter()
            .copied()
            .skip(place)
            .step_by(self.stride.max(1))
    }

    /// One number of a column of figures.
    pub(super) fn figure(&self, row: usize, column: usize) -> f64 {
        self.figures
            .get(row * self.stride + self.place[column])
            .copied()
            .unwrap_or(f64::NAN)
    }

    /// All columns of figures at once, each as long as the table. Wide tables are turned in tiles that fit the cache.
    pub(super) fn all_columns(&self) -> Vec<Vec<f64>> {
        let mut columns: Vec<Vec<f64>> = (0..self.stride).map(|_| Vec::with_capacity(self.rows)).collect();
        const TILE: usize = 32;
        for (index, tile) in columns.chunks_mut(TILE).enumerate() {
            let first = index * TILE;
            for row in self.figures.chunks_exact(self.stride.max(1)) {
                for (column, &value) in tile.iter_mut().zip(&row[first..]) {
                    column.push(value);
                }
            }
        }
        columns
    }

    /// The place of a column among the figures, for use with [`Grid::all_columns`].
    pub(super) fn place(&self, column: usize) -> usize {
        self.place[column]
    }

    /// The words of a column.
    pub(super) fn words(&self, column: usize) -> &[Span] {
        self.words.get(self.place[column]).map_or(&[], Vec::as_slice)
    }

    /// The decimals of every column of figures, by place. `keep` says which rows count, for columns with gaps.
    pub(super) fn decimals(&self) -> Vec<Vec<(u32, u8)>> {
        let mut all = vec![Vec::new(); self.stride];
        for &(row, place, decimals) in &self.changes {
            all[place as usize].push((row, decimals));
        }
        all
    }

    /// The line of a row, from 1.
    pub(super) fn line(&self, row: usize) -> usize {
        let row = u32::try_from(row).unwrap_or(u32::MAX);
        let index = self
            .lines
            .partition_point(|&(first, _)| first <= row)
            .saturating_sub(1);
        self.lines
            .get(index)
            .map_or(0, |&(first, line)| (line + (row - first)) as usize)
    }

    /// The pieces of consecutive lines: first row, its line, how many rows.
    pub(super) fn line_pieces(&self) -> impl Iterator<Item = (usize, usize, usize)> + '_ {
        self.lines.iter().enumerate().map(|(index, &(first, line))| {
            let end = self
                .lines
                .get(index + 1)
                .map_or(self.rows, |&(next, _)| next as usize);
            (first as usize, line as usize, end.saturating_sub(first as usize))
        })
    }

    /// The gaps by column.
    pub(super) fn gaps_of(&self, column: usize) -> impl Iterator<Item = &Gap> + '_ {
        self.gaps.iter().filter(move |gap| gap.column as usize == column)
    }
}

/// Decimals of the rows `rows`, from the changes of one column.
pub(super) fn decimals_of(changes: &[(u32, u8)], rows: impl Iterator<Item = usize>) -> Decimals {
    let mut decimals = Decimals::default();
    let mut next = 0;
    let mut current = 0;
    for row in rows {
        while changes.get(next).is_some_and(|&(first, _)| first as usize <= row) {
            current = changes[next].1;
            next += 1;
        }
        decimals.push(current);
    }
    decimals
}

/// Where the line that begins at `at` ends, and where the next one begins.
pub(super) fn line_end(bytes: &[u8], at: usize) -> (usize, usize) {
    match memchr::memchr2(b'\n', b'\r', &bytes[at..]) {
        None => (bytes.len(), bytes.len()),
        Some(n) => {
            let end = at + n;
            let crlf = bytes[end] == b'\r' && bytes.get(end + 1) == Some(&b'\n');
            (end, end + 1 + usize::from(crlf))
        }
    }
}

fn chars(line: &str, byte: usize) -> usize {
    line.get(..byte).map_or(byte, |front| front.chars().count())
}
