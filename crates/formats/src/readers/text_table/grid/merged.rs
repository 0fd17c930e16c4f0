//! Cells of a sheet that were merged: only the first of several rows holds the number that is meant for all of them.

use super::{ColumnKind, Grid, MissingCell};

/// So many groups of rows at least, and so many rows a group at most.
const FEWEST_GROUPS: usize = 3;
const MOST_ROWS: usize = 12;

impl Grid {
    /// Gives the empty cells of the first column the number above them, where they were merged with it: every group has as many rows, its
    /// first row alone has a number, and another column tells the rows of each group apart in the same way, `1`, `2`, `1`, `2`. Returns
    /// how many cells were filled.
    pub(in crate::readers::text_table) fn fill_merged(&mut self, text: &str) -> usize {
        if self.kinds.first() != Some(&ColumnKind::Figures) || self.columns() < 3 {
            return 0;
        }
        let Some(size) = self.rows_of_group() else {
            return 0;
        };
        let tells_apart = |column: usize| {
            let cell = |row: usize| match self.kinds[column] {
                ColumnKind::Figures => {
                    let figure = self.figure(row, column);
                    (!figure.is_nan()).then(|| figure.to_string())
                }
                ColumnKind::Words => {
                    let word = text[self.words(column).get(row)?.range()].trim();
                    (!word.is_empty()).then(|| word.to_owned())
                }
            };
            let first: Option<Vec<String>> = (0..size).map(cell).collect();
            // `value` and `error` in turn are two kinds of numbers.
            let computed = |cell: &String| {
                crate::words::is_statistics(cell)
                    || crate::words::is(crate::words::WordList::Spread, cell)
                    || crate::words::is(crate::words::WordList::Error, cell)
            };
            first.is_some_and(|first| {
                let apart = (1..size).all(|row| !first[..row].contains(&first[row]));
                apart
                    && !first.iter().any(computed)
                    && (size..self.rows).all(|row| cell(row).as_ref() == Some(&first[row % size]))
            })
        };
        if !(1..self.columns()).any(tells_apart) {
            return 0;
        }
        let place = self.place[0];
        let Some(numbers) = self.figures.get_mut(place) else {
            return 0;
        };
        let mut filled = numbers.to_vec();
        for row in 0..filled.len() {
            if row % size != 0 {
                filled[row] = filled[row - 1];
            }
        }
        *numbers = filled.into();
        let before = self.gaps.len();
        self.gaps.retain(|gap| gap.column != 0);
        self.by_column.take();
        before - self.gaps.len()
    }

    /// How many rows each number of the first column is of, where the rows between are empty there and nothing else.
    fn rows_of_group(&self) -> Option<usize> {
        let numbers = self.numbers(0);
        let is_empty = |row: usize| numbers.get(row).is_none_or(|number| number.is_nan());
        let size = (1..self.rows).find(|&row| !is_empty(row))?;
        let groups = self.rows / size;
        let regular = (2..=MOST_ROWS).contains(&size)
            && groups >= FEWEST_GROUPS
            && self.rows == groups * size
            && (0..self.rows).all(|row| is_empty(row) == (row % size != 0));
        let mut gaps = self.gaps.iter().filter(|gap| gap.column == 0);
        (regular && gaps.all(|gap| gap.lack == MissingCell::Empty)).then_some(size)
    }
}
