//! The rows of one table as numbers: a quick way for rows of plain numbers, a careful way for all others.

use std::sync::Arc;

use curvary_record::{Decimals, Span};

use super::columns::{Stats, unit_in_cells};
use super::dialect::{Brackets, Dialect, Sep, is_blank, split};
use super::number::{Cell, EXTINCTION, cell, is_uncertainty, plain};

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
    /// A number in parentheses stood there, and nobody has said what that means.
    Bracketed,
    /// The row ended before it.
    Short,
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

/// A row that was read in a way worth telling.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct RowNote {
    pub(super) line: u32,
    pub(super) what: Noted,
}

/// What is worth telling of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Noted {
    /// Its numbers touch, and were parted at the signs.
    Touching,
    /// A number in another unit than the first of its column was converted.
    Converted { column: u32 },
    /// Words behind its last column were left aside.
    Aside,
    /// An uncertainty behind a number was left aside.
    Uncertainty,
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
    pub(super) notes: Vec<RowNote>,
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
            notes: Vec::new(),
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

    /// Takes a lone `E` (extinction) for the unit of a column in which it stands behind every number of `rows`.
    pub(super) fn expect_units(&mut self, rows: &[&str]) {
        for column in 0..self.columns() {
            let everywhere = rows.iter().all(|row| {
                let cells = split(row, &self.dialect);
                let text = cells.get(column).map_or("", |range| &row[range.clone()]);
                matches!(cell(text, self.dialect.style), Cell::WithUnit { unit, .. } if &text[unit..] == EXTINCTION)
            });
            if everywhere && rows.len() >= 3 {
                self.units[column] = Some(EXTINCTION.to_owned());
            }
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
        if end - from.at < PARALLEL_FROM {
            return self.read_here(text, from, end, true);
        }
        // Asked only now: the answer is read from several files of the system.
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        if cores < 2 {
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
        self.notes.extend(part.notes.into_iter().map(|note| RowNote {
            line: note.line + lines_before,
            ..note
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

    /// Every second row, from the first or the second on.
    fn every_second(&self, from: usize) -> Self {
        let mut half = self.empty_like();
        half.united.clone_from(&self.united);
        half.odd.clone_from(&self.odd);
        let row_of = |row: u32| row / 2;
        for row in (from..self.rows).step_by(2) {
            half.figures
                .extend_from_slice(&self.figures[row * self.stride..(row + 1) * self.stride]);
            half.lines.push((
                u32::try_from(half.rows).unwrap_or(u32::MAX),
                u32::try_from(self.line(row)).unwrap_or(u32::MAX),
            ));
            half.rows += 1;
        }
        for (mine, theirs) in half.words.iter_mut().zip(&self.words) {
            mine.extend(theirs.iter().skip(from).step_by(2));
        }
        let changes = self.decimals();
        for (place, changes) in changes.iter().enumerate() {
            let place = u32::try_from(place).unwrap_or(u32::MAX);
            for row in 0..half.rows {
                let whole = row * 2 + from;
                let digits = changes.iter().rev().find(|&&(first, _)| first as usize <= whole);
                if let Some(&(_, digits)) =
                    digits.filter(|(_, digits)| half.current[place as usize] != *digits)
                {
                    half.current[place as usize] = digits;
                    half.changes
                        .push((u32::try_from(row).unwrap_or(u32::MAX), place, digits));
                }
            }
        }
        let mine = self.gaps.iter().filter(|gap| gap.row as usize % 2 == from);
        half.gaps.extend(mine.map(|gap| Gap {
            row: row_of(gap.row),
            ..*gap
        }));
        half
    }

    /// The table with every second row put behind the one before it, where these rows have no number in the first
    /// column and the others have: rows that were broken over two lines.
    pub(super) fn unwrapped(&self) -> Option<Self> {
        if self.rows < 4 || self.rows % 2 == 1 || self.kinds.first() != Some(&Kind::Figures) {
            return None;
        }
        let broken = self
            .column(0)
            .enumerate()
            .all(|(row, value)| value.is_nan() == (row % 2 == 1));
        if !broken {
            return None;
        }
        let mut whole = self.every_second(0);
        whole.widen(&self.every_second(1));
        Some(whole)
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
        wide.notes.clone_from(&self.notes);
        wide.notes.extend(other.notes.iter().map(|note| match note.what {
            Noted::Converted { column } if column > 0 => RowNote {
                what: Noted::Converted {
                    column: column + shift,
                },
                ..*note
            },
            _ => *note,
        }));
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
        // Words behind the last column are somebody's remark on the row.
        let words = |range: &std::ops::Range<usize>| {
            let text = &line[range.clone()];
            text.is_empty()
                || text.contains(char::is_alphabetic) && matches!(cell(text, self.dialect.style), Cell::Words)
        };
        let aside =
            hard && self.rows > 0 && cells.len() > columns && cells[columns..].iter().flatten().all(words);
        if aside {
            cells.truncate(columns);
        }
        let mut touching = false;
        if cells.len() < columns {
            if hard && self.dialect.pieces.is_none() && (cells.len() >= 2 || self.is_next_x(line, &cells)) {
                cells.resize(columns, None);
            } else if let Some(parted) = self.parted(line, &cells) {
                cells = parted;
                touching = true;
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
                        let known = self.units[column].as_deref();
                        if known.map_or(text != EXTINCTION, |known| {
                            known == text || like_units(text, known)
                        }) {
                            good += 1
                        } else {
                            bad += 1
                        }
                    }
                    Cell::Bracketed { .. } => good += 1,
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
                    let late = self.units[column].is_none()
                        && (self.current[place] != u8::MAX || text == EXTINCTION);
                    let known =
                        (!late).then(|| self.units[column].get_or_insert_with(|| text.to_owned()).as_str());
                    match known {
                        Some(known) if known == text => {
                            self.united[column] += 1;
                            (value, Some(decimals), None)
                        }
                        Some(known)
                            if let Some((value, decimals)) = converted(value, decimals, text, known) =>
                        {
                            self.united[column] += 1;
                            self.notes.push(RowNote {
                                line: cursor.line,
                                what: Noted::Converted {
                                    column: u32::try_from(column).unwrap_or(u32::MAX),
                                },
                            });
                            (value, Some(decimals), None)
                        }
                        _ => (f64::NAN, None, Some(Lack::Unreadable)),
                    }
                }
                Cell::Bracketed { value, decimals } => match self.dialect.brackets {
                    Brackets::Negative => (-value, Some(decimals), None),
                    Brackets::Open => (f64::NAN, None, Some(Lack::Bracketed)),
                    Brackets::Absent => (f64::NAN, None, Some(Lack::Unreadable)),
                },
                Cell::Empty if cells[column].is_none() && hard => (f64::NAN, None, Some(Lack::Short)),
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
        let uncertain = line.contains(['±', '+'])
            && cells.iter().flatten().any(|range| {
                let text = &line[range.clone()];
                ["±", "+/-", "+-"]
                    .iter()
                    .filter_map(|mark| text.find(mark))
                    .any(|at| {
                        at > 0
                            && text.is_char_boundary(at - 1)
                            && is_uncertainty(&text[at - 1..], self.dialect.style)
                    })
            });
        for (is, what) in [
            (touching, Noted::Touching),
            (aside, Noted::Aside),
            (uncertain, Noted::Uncertainty),
        ] {
            if is {
                self.notes.push(RowNote {
                    line: cursor.line,
                    what,
                });
            }
        }
        Taken::Yes
    }

    /// Whether a row of one cell is the running number of a table whose other cells are missing: it goes on in the
    /// direction of the two before it, by no more than a few steps.
    fn is_next_x(&self, line: &str, cells: &[Option<std::ops::Range<usize>>]) -> bool {
        let [Some(range)] = cells else { return false };
        let Cell::Number { value, .. } = cell(&line[range.clone()], self.dialect.style) else {
            return false;
        };
        if self.rows < 2 || self.kinds.first() != Some(&Kind::Figures) {
            return false;
        }
        let x = |row: usize| self.figures[row * self.stride];
        let (before, last) = (x(self.rows - 2), x(self.rows - 1));
        let steps = (value - last) / (last - before);
        steps > 0.0 && steps < 3.5
    }

    /// The cells of a row in fixed columns whose numbers touch, since a sign fills the blank between them:
    /// `0.9905-0.0031`. Only where each then stands under a column of its own.
    fn parted(
        &self,
        line: &str,
        cells: &[Option<std::ops::Range<usize>>],
    ) -> Option<Vec<Option<std::ops::Range<usize>>>> {
        if self.dialect.sep != Sep::Blank || self.extents.is_empty() {
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
        let is_number = |range: &std::ops::Range<usize>| {
            matches!(
                cell(&line[range.clone()], self.dialect.style),
                Cell::Number { .. }
            )
        };
        let fits = parted.len() == self.columns() && parted.iter().flatten().all(is_number);
        self.placed(line, &parted).filter(|_| fits)
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

    /// All columns of figures at once, each as long as the table, with what their numbers are like. Wide tables are turned
    /// in tiles that fit the cache.
    pub(super) fn all_columns(&self) -> Vec<(Arc<[f64]>, Stats)> {
        const TILE: usize = 8;
        let stride = self.stride.max(1);
        let turn = |first: usize, columns: &mut [(Arc<[f64]>, Stats)]| {
            // The same room for every tile, so that it stays in the cache.
            let mut room: Vec<Vec<f64>> = vec![Vec::with_capacity(self.rows); TILE.min(columns.len())];
            for (index, tile) in columns.chunks_mut(TILE).enumerate() {
                let first = first + index * TILE;
                room.iter_mut().for_each(Vec::clear);
                for row in self.figures.chunks_exact(stride) {
                    for (column, &value) in room.iter_mut().zip(&row[first..]) {
                        column.push(value);
                    }
                }
                for (column, values) in tile.iter_mut().zip(&room) {
                    *column = (values.as_slice().into(), Stats::of(values.iter().copied()));
                }
            }
        };
        let mut columns: Vec<(Arc<[f64]>, Stats)> = vec![(Arc::default(), Stats::default()); self.stride];
        // A large table is turned by all cores, each some of its columns.
        let cores = if self.figures.len() < PARALLEL_FROM / 8 || self.stride < 2 {
            1
        } else {
            std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
        };
        let share = self.stride.div_ceil(cores).max(1);
        std::thread::scope(|scope| {
            for (index, part) in columns.chunks_mut(share).enumerate() {
                if cores == 1 {
                    turn(index * share, part);
                } else {
                    scope.spawn(move || turn(index * share, part));
                }
            }
        });
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
