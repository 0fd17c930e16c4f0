//! The first rows of a table parted into cells: their signs, how many columns there are and of which kind.

use std::ops::Range;

use super::super::dialect::{Brackets, Delimiter, Dialect, decide};
use super::super::grid::{ColumnKind, Cursor, Grid, MAX_COLUMNS};
use super::super::surroundings::begins_with_name;
use super::Effort;
use super::column_kinds::{
    columns_with_marks, kinds_of, split_all, take_coordinates, take_names, take_numbers_of_standards,
    usual_count,
};
use super::lines::{LineGlance, is_prose, names_quantity};
use super::signs::{OpenSigns, decide_single, settle, without_dotted_times};
use super::table_start::TableStart;

/// The first rows of a table in cells.
pub(super) struct SampleCells {
    pub(super) dialect: Dialect,
    /// The signs that are open.
    pub(super) open: OpenSigns,
    cells: Vec<Vec<Range<usize>>>,
    pub(super) columns: usize,
    pub(super) kinds: Vec<ColumnKind>,
    /// How many columns are of figures.
    pub(super) figures: usize,
    /// How many columns are of words.
    pub(super) wordy: usize,
    /// Whether the rows are sentences.
    pub(super) sentences: bool,
}

impl SampleCells {
    /// The cells of the first rows, where they may be rows of a table of `least` columns or more.
    pub(super) fn of(start: &TableStart, least: usize, effort: &mut Effort) -> Option<Self> {
        let TableStart {
            sample, head_above, ..
        } = start;
        let (decision, parted) = if least == 1 && start.class == LineGlance::Figures && sample.len() >= 5 {
            (decide_single(sample), None)
        } else {
            decide(sample, *head_above)
        };
        let decision = without_dotted_times(decision, sample, *head_above);
        let (mut dialect, open) = settle(decision, start.assume)?;
        dialect.brackets = match start.assume.get("parentheses") {
            Some("negative") => Brackets::Negative,
            Some(_) => Brackets::Absent,
            None => Brackets::Open,
        };
        let cells = match parted {
            Some((sep, cells)) if sep == dialect.sep && dialect.pieces.is_none() => cells,
            _ => split_all(sample, &dialect),
        };
        let mut columns = usual_count(&cells, &dialect, *head_above)?;
        if columns_with_marks(sample, &cells, &dialect, *head_above) == Some(columns + 1) {
            columns += 1;
        }
        if columns > MAX_COLUMNS {
            effort.too_wide.get_or_insert((start.cursor.line, columns));
        }
        if !(least..=MAX_COLUMNS).contains(&columns) || is_key_in_cells(start, &cells, columns) {
            return None;
        }
        let named = start.class == LineGlance::Mixed && begins_with_name(sample, &dialect, *head_above);
        if start.is_header(&dialect, named) {
            return None;
        }
        let kinds = kinds(start, &dialect, &cells, columns, named);
        let count = |of: ColumnKind| kinds.iter().filter(|kind| **kind == of).count();
        Some(Self {
            figures: count(ColumnKind::Figures),
            wordy: count(ColumnKind::Words),
            sentences: is_prose(sample),
            dialect,
            open,
            cells,
            columns,
            kinds,
        })
        .filter(|cells| cells.figures > 0)
    }

    /// Whether a sign of its own parts the cells, and no comma or blank of a sentence.
    pub(super) fn are_parted(&self) -> bool {
        matches!(
            self.dialect.sep,
            Delimiter::Tab | Delimiter::Semicolon | Delimiter::Pipe
        )
    }

    /// Whether blanks part so many words in each row as sentences have.
    pub(super) fn have_many_words(&self) -> bool {
        const MANY: usize = 4;
        self.dialect.sep == Delimiter::Blank && self.wordy >= MANY
    }

    /// Whether the rows are plainly sentences: seen at once, before pages of prose are read as a table.
    pub(super) fn are_sentences(&self, start: &TableStart, effort: &mut Effort) -> bool {
        let words_in_front = start.class == LineGlance::Mixed && self.kinds[0] == ColumnKind::Words;
        if words_in_front && (self.sentences && !self.are_parted() || self.have_many_words()) {
            return true;
        }
        // Lines of a log, `17 59 pump 8 on, valve 2 off`, are sentences too, though they begin with numbers.
        let named = || start.head_above.is_some_and(names_quantity);
        let log = self.have_many_words() && self.wordy >= self.figures && !named();
        // A table that begins in the first half of the sample would have shown in it.
        if log && let Some(line) = start.sample.get(start.sample.len() / 2) {
            effort.sentences_to = crate::slice::offset_in(start.text, line);
        }
        log
    }

    /// A grid for such rows.
    pub(super) fn grid(&self, sample: &[&str], kinds: Vec<ColumnKind>) -> Grid {
        let mut grid = Grid::new(self.dialect.clone(), kinds);
        grid.learn_extents(sample, &self.cells);
        grid.expect_units(sample);
        grid
    }

    /// The last cell of the first row.
    pub(super) fn last_of_first(&self) -> Range<usize> {
        self.cells[0].last().cloned().unwrap_or(0..0)
    }

    /// The grid of the same rows under signs that later rows have told.
    pub(super) fn grid_under(start: &TableStart, dialect: Dialect) -> Option<Grid> {
        let cells = split_all(&start.sample, &dialect);
        let columns = usual_count(&cells, &dialect, start.head_above)?;
        let kinds = kinds_of(&start.sample, &cells, &dialect, columns);
        let mut grid = Grid::new(dialect, kinds);
        grid.learn_extents(&start.sample, &cells);
        grid.expect_units(&start.sample);
        Some(grid)
    }
}

/// Whether a line is a key and its value in cells, `Wavelength,570 nm` above a plate of twelve columns.
fn is_key_in_cells(start: &TableStart, cells: &[Vec<Range<usize>>], columns: usize) -> bool {
    const FEWEST_COLUMNS: usize = 4;
    let filled = cells[0].iter().filter(|cell| !cell.is_empty()).count();
    if start.class != LineGlance::Mixed || columns < FEWEST_COLUMNS || filled != 2 {
        return false;
    }
    let key = start.sample[0][cells[0][0].clone()].trim();
    !key.is_empty() && crate::preamble::is_known(key)
}

/// The kinds of the columns, as the rows and the header above them tell.
fn kinds(
    start: &TableStart,
    dialect: &Dialect,
    cells: &[Vec<Range<usize>>],
    columns: usize,
    named: bool,
) -> Vec<ColumnKind> {
    let sample = &start.sample;
    let mut kinds = kinds_of(sample, cells, dialect, columns);
    if named {
        kinds[0] = ColumnKind::Words;
    }
    if let Some(head) = start.head_above.filter(|_| dialect.sep.byte().is_some()) {
        take_names(&mut kinds, head, sample, cells, dialect);
        take_coordinates(&mut kinds, head, sample, cells, dialect);
        let following = rows_following(start.text, start.cursor, sample.len());
        take_numbers_of_standards(&mut kinds, head, sample, &following, dialect);
    }
    kinds
}

/// The few lines at once behind so many rows that begin at `cursor`.
fn rows_following(text: &str, cursor: Cursor, rows: usize) -> Vec<&str> {
    const FEW: usize = 4;
    let lines = text[cursor.at..].lines().skip(rows);
    lines
        .take_while(|line| !line.trim().is_empty())
        .take(FEW)
        .collect()
}
