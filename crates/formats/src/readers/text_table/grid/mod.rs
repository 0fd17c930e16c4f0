//! The rows of one table as numbers: a quick way for rows of plain numbers, a careful way for all others.

mod careful_rows;
mod distinct;
mod doubt;
mod joining;
mod list_rows;
mod merged;
mod pages;
mod pieces;
mod rows;
mod upright;

use std::sync::OnceLock;

use curvary_record::{Decimals, Numbers, Span};

use self::distinct::Distinct;
pub(super) use self::upright::UprightColumn;
use super::columns::{Stats, unit_in_cells};
use super::damaged::{is_cut_row, resembles, same_outline};
use super::dialect::{Brackets, Delimiter, Dialect, is_blank, split};
use super::number::{
    Cell, EXTINCTION, cell, duration_in, has_concise, is_start_of_times, is_uncertainty, marked_number, plain,
};

/// No table has more cells than this; what lies beyond begins another one.
pub(super) const MAX_CELLS: usize = 400_000_000;

/// No table has more columns than this.
pub(super) const MAX_COLUMNS: usize = 50_000;

/// The numbers of a table with so many or more are looked over by all cores.
const MANY: usize = 1 << 20;

/// What the cells of a column are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ColumnKind {
    /// Numbers, with gaps.
    Figures,
    /// Words, clock times or dates, kept as they stand.
    Words,
}

/// Why a cell of figures has no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum MissingCell {
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
    /// A number stood there that is not meant exactly, or that somebody doubts.
    Doubtful,
    /// The row ended before it.
    Short,
    /// A number stood there that has lost its decimal sign, as the numbers around it show.
    Unpointed,
    /// Its row lacks a delimiter: two cells have become one, and the others stand under the wrong columns.
    Glued,
    /// Its row lacks a cell, and the numbers of the row go better with those of the next column.
    Shifted,
}

/// A cell of figures without a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gap {
    pub(super) row: u32,
    pub(super) column: u32,
    pub(super) lack: MissingCell,
    /// What stood there, as bytes of the text.
    pub(super) span: Span,
}

/// A row that was left out, since its cells do not fit the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct OddRow {
    pub(super) line: u32,
    pub(super) span: Span,
    /// How many cells it has, where all of them are numbers.
    pub(super) cells: Option<u32>,
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
    Converted,
    /// Words behind its last column were left aside.
    Aside,
    /// An uncertainty behind a number was left aside.
    Uncertainty,
    /// A mark of somebody's stands beside a number, which was kept.
    Marked,
    /// It sums up the rows above it, and was left out.
    Summary,
}

/// How many numbers are gathered row by row before they are put into their columns: few enough to stay in the cache.
const FRESH: usize = 1 << 14;

/// A table's rows. An absent number is NaN here and a gap beside it, and never leaves the reader.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    pub(super) dialect: Dialect,
    pub(super) kinds: Vec<ColumnKind>,
    /// For each column its place among the columns of its kind.
    place: Vec<usize>,
    /// The numbers, column by column.
    figures: Vec<Numbers>,
    /// The numbers of the rows that were read last, row by row; none once reading is over.
    fresh: Vec<f64>,
    /// Room for the row that is being read.
    row: Vec<f64>,
    /// Their decimals, and the words of the row, by place, each with whether they were quoted. Words stay here until
    /// others are read.
    row_decimals: Vec<u8>,
    row_words: Vec<(Span, bool)>,
    /// Every row is read the careful way, for comparison.
    #[cfg(test)]
    careful: bool,
    words: Vec<Vec<Span>>,
    /// For each column of words the different ones among them, found when they are first asked for.
    distinct: Vec<OnceLock<Distinct>>,
    /// Where the count of decimals of a figures column changes: row, place, decimals.
    changes: Vec<(u32, u32, u8)>,
    current: Vec<u8>,
    pub(super) gaps: Vec<Gap>,
    /// The gaps sorted by column, found when they are first asked for so.
    by_column: OnceLock<Vec<Gap>>,
    pub(super) odd: Vec<OddRow>,
    /// How many damaged rows stand directly above the first one.
    pub(super) lost_above: usize,
    pub(super) notes: Vec<RowNote>,
    /// The first row of a list behind an empty one that is written otherwise than those above.
    behind_empty: Option<u32>,
    /// The unit that stood behind the numbers of a column, in its cells.
    pub(super) units: Vec<Option<String>>,
    /// In how many cells of a column it stood.
    united: Vec<u32>,
    /// Whether these rows are a piece from the midst of a table, and which of its columns of figures had numbers before.
    amid: bool,
    /// Whether the row that is tried stands below others, which are not here.
    below: bool,
    bare_before: Vec<bool>,
    /// The line of each row, from 1, run-length coded: first row, its line.
    lines: Vec<(u32, u32)>,
    /// The line of each column of a table that lies on its side.
    lines_across: Vec<u32>,
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

impl Grid {
    /// Moves the places of what was read `by` bytes on, where the rows were read out of a text of their own.
    pub(super) fn move_by(&mut self, by: usize) {
        let moved = |span: Span| Span::new(span.range().start + by, span.range().end + by);
        for word in self.words.iter_mut().flatten() {
            *word = moved(*word);
        }
        for gap in &mut self.gaps {
            gap.span = moved(gap.span);
        }
        for odd in &mut self.odd {
            odd.span = moved(odd.span);
        }
    }

    /// Says on which line each row begins, where the rows were read out of a text of their own.
    pub(super) fn place_rows(&mut self, lines: &[u32]) {
        let before = std::mem::take(&mut self.lines);
        let row_of = |line: u32| {
            let index = before.partition_point(|&(_, first)| first <= line);
            let (row, first) = before[index.saturating_sub(1).min(before.len() - 1)];
            (row + line.saturating_sub(first)) as usize
        };
        for note in &mut self.notes {
            note.line = lines.get(row_of(note.line)).copied().unwrap_or(note.line);
        }
        for (row, &line) in (0_u32..).zip(lines) {
            let goes_on = self
                .lines
                .last()
                .is_some_and(|&(first, begins)| begins + (row - first) == line);
            if !goes_on {
                self.lines.push((row, line));
            }
        }
    }

    /// An empty table of columns of these kinds.
    pub(super) fn new(dialect: Dialect, kinds: Vec<ColumnKind>) -> Self {
        let (mut figures, mut words) = (0, 0);
        let place = kinds
            .iter()
            .map(|kind| {
                let counter = if *kind == ColumnKind::Figures {
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
            figures: vec![Numbers::default(); figures],
            fresh: Vec::new(),
            row: vec![0.0; figures],
            row_decimals: vec![0; figures],
            row_words: vec![(Span::new(0, 0), false); words],
            #[cfg(test)]
            careful: false,
            words: vec![Vec::new(); words],
            distinct: vec![OnceLock::new(); words],
            changes: Vec::new(),
            current: vec![u8::MAX; figures],
            gaps: Vec::new(),
            by_column: OnceLock::new(),
            odd: Vec::new(),
            lost_above: 0,
            notes: Vec::new(),
            behind_empty: None,
            amid: false,
            below: false,
            bare_before: Vec::new(),
            lines: Vec::new(),
            lines_across: Vec::new(),
            rows: 0,
            extents: Vec::new(),
        }
    }

    /// A grid of the same columns without rows.
    pub(super) fn empty_like(&self) -> Self {
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
    pub(super) fn learn_extents(&mut self, rows: &[&str], cells: &[Vec<std::ops::Range<usize>>]) {
        if self.dialect.sep != Delimiter::Blank {
            return;
        }
        let mut extents: Vec<(usize, usize)> = Vec::new();
        for (row, cells) in rows.iter().zip(cells) {
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
        // Few texts have one at all.
        if rows.len() < 3 || !rows.iter().all(|row| row.contains(EXTINCTION)) {
            return;
        }
        let rows: Vec<Vec<&str>> = rows
            .iter()
            .map(|row| {
                split(row, &self.dialect)
                    .into_iter()
                    .map(|range| &row[range])
                    .collect()
            })
            .collect();
        for column in 0..self.columns() {
            let everywhere = rows.iter().all(|row| {
                let text = row.get(column).copied().unwrap_or("");
                matches!(cell(text, self.dialect.style), Cell::WithUnit { unit, .. } if &text[unit..] == EXTINCTION)
            });
            if everywhere {
                self.units[column] = Some(EXTINCTION.to_owned());
            }
        }
    }

    /// Columns in which a unit stands behind some numbers and not behind others, with how many have it.
    pub(super) fn units_in_some_cells(&self) -> impl Iterator<Item = (usize, &str, u32)> {
        self.units.iter().enumerate().filter_map(|(column, unit)| {
            let unit = unit.as_deref()?;
            let numbers = self.rows - self.gaps_of(column).len();
            let united = self.united[column];
            ((united as usize) < numbers).then_some((column, unit, united))
        })
    }

    /// Where each column of a table in fixed columns stands, in characters; empty when it is none.
    pub(super) fn extents(&self) -> &[(usize, usize)] {
        &self.extents
    }

    /// The numbers of a column of figures, NaN where there is none.
    pub(super) fn numbers(&self, column: usize) -> &[f64] {
        let figures = self.figures.get(self.place[column]);
        figures.map_or(&[][..], |figures| figures)
    }

    /// The same one by one.
    pub(super) fn column(&self, column: usize) -> impl Iterator<Item = f64> + Clone + '_ {
        self.numbers(column).iter().copied()
    }

    /// How many rows a column has up to its last number.
    pub(super) fn filled(&self, column: usize) -> usize {
        let last = self.numbers(column).iter().rposition(|value| !value.is_nan());
        last.map_or(0, |row| row + 1)
    }

    /// One number of a column of figures.
    pub(super) fn figure(&self, row: usize, column: usize) -> f64 {
        let figures = self.figures.get(self.place[column]);
        figures
            .and_then(|figures| figures.get(row))
            .copied()
            .unwrap_or(f64::NAN)
    }

    /// All columns of figures at once, each as long as the table, with what their numbers are like.
    pub(super) fn all_columns(&self) -> (Vec<Numbers>, Vec<Stats>) {
        let mut stats = vec![Stats::default(); self.figures.len()];
        let look = |figures: &[Numbers], stats: &mut [Stats]| {
            for (stats, numbers) in stats.iter_mut().zip(figures) {
                *stats = Stats::of(numbers);
            }
        };
        // A large table is looked over by all cores, each some of its columns.
        let share = self.figures.len().div_ceil(self.cores()).max(1);
        if share >= self.figures.len() {
            look(&self.figures, &mut stats);
        } else {
            std::thread::scope(|scope| {
                for (figures, stats) in self.figures.chunks(share).zip(stats.chunks_mut(share)) {
                    scope.spawn(move || look(figures, stats));
                }
            });
        }
        (self.figures.clone(), stats)
    }

    /// How many cores a table as large as this one is worth.
    fn cores(&self) -> usize {
        if self.rows * self.figures.len() < MANY {
            return 1;
        }
        std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
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
        crate::work::looks_at(self.changes.len());
        let mut all = vec![Vec::new(); self.figures.len()];
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

    /// The line of each of `rows`, from 1; quick where they go from top to bottom.
    pub(super) fn lines_of(&self, rows: impl Iterator<Item = usize>) -> impl Iterator<Item = usize> {
        // The rows that stand on consecutive lines with the last one, and the line of the first of them.
        let (mut run, mut line) = (0..0, 0);
        rows.map(move |row| {
            if !run.contains(&row) {
                let at = u32::try_from(row).unwrap_or(u32::MAX);
                let index = self.lines.partition_point(|&(first, _)| first <= at);
                let (first, first_line) = index
                    .checked_sub(1)
                    .and_then(|index| self.lines.get(index))
                    .copied()
                    .unwrap_or((at, 0));
                let end = self.lines.get(index).map_or(u32::MAX, |&(next, _)| next);
                run = first as usize..end as usize;
                line = first_line as usize;
            }
            line + (row - run.start)
        })
    }

    /// The place of each row among all that were written, from 0, those among them that were left out.
    pub(super) fn places_as_written(&self) -> impl Iterator<Item = usize> + '_ {
        let mut odd = self.odd.iter().map(|odd| odd.line as usize).peekable();
        let mut left_out = self.lost_above;
        (0..self.rows).map(move |row| {
            while odd.next_if(|&line| line < self.line(row)).is_some() {
                left_out += 1;
            }
            row + left_out
        })
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

    /// The gaps of a column, from top to bottom.
    pub(super) fn gaps_of(&self, column: usize) -> &[Gap] {
        let gaps = self.by_column.get_or_init(|| {
            let mut gaps = self.gaps.clone();
            gaps.sort_by_key(|gap| gap.column);
            gaps
        });
        let start = gaps.partition_point(|gap| (gap.column as usize) < column);
        let length = gaps[start..].partition_point(|gap| gap.column as usize == column);
        &gaps[start..start + length]
    }
}

/// By how much a printed number of a column may be off, where `changes` are those of its decimals: half of the last place that any
/// of them has, and a tenth of that more for the arithmetic of whoever computed it.
pub(super) fn rounding_of(changes: &[(u32, u8)]) -> f64 {
    const HALF_PLACE: f64 = 0.55;
    let most = changes.iter().map(|&(_, decimals)| decimals).max();
    HALF_PLACE * 10_f64.powi(-i32::from(most.unwrap_or(0)))
}

/// Decimals of the rows `rows`, which go from top to bottom, from the changes of one column.
pub(super) fn decimals_of(changes: &[(u32, u8)], rows: impl Iterator<Item = usize>) -> Decimals {
    let mut decimals = Decimals::default();
    let mut rows = rows.peekable();
    let Some(&first) = rows.peek() else {
        return decimals;
    };
    // A curve may begin far down in a long table.
    let mut next = changes.partition_point(|&(row, _)| row as usize <= first);
    let mut current = next.checked_sub(1).map_or(0, |before| changes[before].1);
    while next < changes.len() {
        let Some(row) = rows.next() else {
            return decimals;
        };
        while changes
            .get(next)
            .is_some_and(|&(change, _)| change as usize <= row)
        {
            current = changes[next].1;
            next += 1;
        }
        decimals.push(current);
    }
    decimals.push_run(current, rows.count());
    decimals
}

/// Where the line that begins at `at` ends, and where the next one begins.
pub(super) fn line_end(bytes: &[u8], at: usize) -> (usize, usize) {
    match memchr::memchr2(b'\n', b'\r', &bytes[at..]) {
        None => (bytes.len(), bytes.len()),
        Some(n) => {
            crate::work::looks_at(n);
            let end = at + n;
            let crlf = bytes[end] == b'\r' && bytes.get(end + 1) == Some(&b'\n');
            (end, end + 1 + usize::from(crlf))
        }
    }
}

fn chars(line: &str, byte: usize) -> usize {
    line.get(..byte).map_or(byte, |front| front.chars().count())
}
