//! Rows that sum up others, known by their names: means, deviations, extremes.

use curvary_record::Span;

use super::super::columns::Column;
use super::super::grid::ColumnKind;
use super::super::scan::ScannedTable;
use super::sums;
use crate::words;

/// The rows whose name says that they sum up others.
pub(super) fn summed_rows(
    text: &str,
    table: &ScannedTable,
    columns: &[Column],
) -> std::collections::BTreeSet<usize> {
    let mut rows = std::collections::BTreeSet::new();
    // `Mean` below times of day.
    for column in columns.iter().filter(|column| column.clock.is_some()) {
        let spans = table.grid.words(column.index).iter().enumerate();
        let sums = |span: &Span| {
            let word = text[span.range()].trim();
            word.starts_with(char::is_alphabetic) && super::super::segments::is_summary_word(word)
        };
        rows.extend(spans.filter(|(_, span)| sums(span)).map(|(row, _)| row));
    }
    for column in columns
        .iter()
        .filter(|column| column.kind == ColumnKind::Words && column.clock.is_none())
    {
        let spans = table.grid.words(column.index);
        // `max` behind one row of many is a flag.
        let empty = spans.iter().filter(|span| span.start == span.end).count();
        if column.index > 0 && empty * 3 > spans.len() {
            continue;
        }
        // The same few names stand in many rows.
        let names = ColumnNames::of(text, &table.grid, column.index);
        if names.are_kinds_of_peaks() {
            continue;
        }
        let sums_up: Vec<bool> = (0..names.words.len()).map(|name| names.sums_up(name)).collect();
        if sums_up.contains(&true) || !rows.is_empty() {
            for (row, &name) in names.of_row.iter().enumerate() {
                // `n` behind a mean and a deviation counts what they are of.
                let counts = row > 0
                    && rows.contains(&(row - 1))
                    && super::super::heads::is_summary_word(names.words[name as usize].1);
                if sums_up[name as usize] && !names.is_standard(row) || counts {
                    rows.insert(row);
                }
            }
        }
        rows.extend(names.sums_of_series(&rows));
        rows.extend(names.means_again_and_again(&table.grid, columns));
        // Numbers of the rows may stand in front of the first names.
        let before = columns.iter().filter(|before| before.index < column.index);
        let is_first = before
            .clone()
            .all(|before| before.kind == ColumnKind::Figures && before.stats.counts());
        if is_first {
            // `W4` below `W1`, `W2`, `W3` is a sample, whatever was read of it, and so is the second `SMP`.
            let name = |row: usize| text[spans[row].range()].trim();
            let form = |row: usize| super::super::join::form_of(name(row));
            let named_alike = |row: usize| {
                let own = form(row);
                let again = !name(row).is_empty() && (0..row).any(|other| name(other) == name(row));
                again || own.contains('0') && (0..row).any(|other| form(other) == own)
            };
            let sums = sums::at_the_foot(&table.grid, columns, &rows);
            if !sums.iter().any(|row| !rows.contains(row) && named_alike(*row)) {
                rows.extend(sums);
            }
        }
    }
    rows
}

/// The names in a column of words, each once.
struct ColumnNames<'a> {
    /// For each row the place of its name.
    pub(super) of_row: &'a [u32],
    /// The first row of each name, and the name.
    pub(super) words: Vec<(usize, &'a str)>,
}

impl<'a> ColumnNames<'a> {
    pub(super) fn of(text: &'a str, grid: &'a super::super::grid::Grid, column: usize) -> Self {
        let distinct = grid.distinct(text, column);
        Self {
            of_row: distinct.of_row(),
            words: distinct.words(text).collect(),
        }
    }

    /// Whether each row is a `max` or a `min`, and they come again.
    fn are_kinds_of_peaks(&self) -> bool {
        let is_named = |name: usize| !self.words[name].1.is_empty();
        let distinct = (0..self.words.len()).filter(|&name| is_named(name)).count();
        let rows = self
            .of_row
            .iter()
            .filter(|&&name| is_named(name as usize))
            .count();
        self.of_row.len() >= 3
            && distinct < rows
            && self
                .words
                .iter()
                .all(|(_, word)| word.is_empty() || names_extreme(word))
    }

    /// Whether a row is one of several under `Std`: standards, and no deviation. No table begins with a deviation.
    fn is_standard(&self, row: usize) -> bool {
        let at = |row: Option<usize>| row.and_then(|row| self.of_row.get(row));
        let own = at(Some(row));
        own.is_some_and(|&name| crate::words::fold(self.words[name as usize].1) == "std")
            && (at(Some(0)) == own || at(row.checked_sub(1)) == own || at(Some(row + 1)) == own)
    }

    pub(super) fn sums_up(&self, name: usize) -> bool {
        let word = self.words[name].1;
        // Beside an `r1`, `r2` is the second of several and no measure of a fit.
        let is_numbered = || {
            let stem = |word: &str| word.trim_end_matches(|c: char| c.is_ascii_digit()).len();
            stem(word) < word.len()
                && self.words.iter().any(|&(_, other)| {
                    other != word
                        && stem(other) < other.len()
                        && other.get(..stem(other)) == word.get(..stem(word))
                })
        };
        word.chars().nth(1).is_some() && crate::words::is_statistics(word) && !is_numbered()
    }

    /// Rows that sum up others by where they stand: `mean ctrl` below `ctrl-1`, `ctrl-2`, and `rel. %` at the end of a
    /// table, behind a mean, where the readings above are all of one series (`leaf 1`, `leaf 2`).
    fn sums_of_series(&self, sums: &std::collections::BTreeSet<usize>) -> Vec<usize> {
        /// A mean is followed by no more: a deviation, a relative one, a count.
        const MOST_BEHIND: usize = 3;
        let series = |name: &str| {
            let end = name.find(|c: char| !c.is_alphabetic()).unwrap_or(name.len());
            name[..end].to_lowercase()
        };
        let numbered = |name: &str| name.ends_with(|c: char| c.is_ascii_digit());
        // For each name that a word of statistics begins the first row of the series it is of.
        let begins: Vec<Option<usize>> = self
            .words
            .iter()
            .map(|(_, name)| {
                let (word, of) = name.split_once(' ')?;
                if !crate::words::is_statistics(word) {
                    return None;
                }
                // `RSD A %`, `mean A (n = 3)`
                let of = of.split(['(', '[', '%']).next().unwrap_or(of);
                let of = of.trim().to_lowercase();
                let mut others = self.words.iter();
                let first = others.find(|(_, name)| numbered(name) && series(name) == of)?;
                Some(first.0)
            })
            .collect();
        let mut found = Vec::new();
        if begins.iter().any(Option::is_some) {
            let rows = self.of_row.iter().enumerate();
            let behind = rows.filter(|&(row, &name)| begins[name as usize].is_some_and(|first| first < row));
            found.extend(behind.map(|(row, _)| row).filter(|row| !sums.contains(row)));
        }
        if let Some(&first) = sums.first() {
            let name = |row: usize| self.words[self.of_row[row] as usize].1;
            let mut above = self.words.iter().take_while(|&&(row, _)| row < first);
            let of_one = above.next().map(|(_, name)| series(name)).filter(|of| {
                let mut above = self.words.iter().take_while(|&&(row, _)| row < first);
                !of.is_empty() && first >= 3 && above.all(|(_, name)| numbered(name) && series(name) == *of)
            });
            let behind = first + 1..self.of_row.len();
            if let Some(of) = of_one
                && behind.len() <= MOST_BEHIND
                && behind
                    .clone()
                    .all(|row| series(name(row)) != of && !numbered(name(row)))
            {
                found.extend(behind.filter(|row| !sums.contains(row)));
            }
        }
        found
    }
}

impl ColumnNames<'_> {
    /// The rows of a name that comes again and again, each time with the means of the rows since the last time, in whatever
    /// language it is.
    fn means_again_and_again(&self, grid: &super::super::grid::Grid, columns: &[Column]) -> Vec<usize> {
        const FEWEST_TIMES: usize = 2;
        const FEWEST_ROWS: usize = 2;
        let mut times = vec![0; self.words.len()];
        for &name in self.of_row {
            times[name as usize] += 1;
        }
        let is_word = |name: usize| {
            let word = self.words[name].1;
            times[name] >= FEWEST_TIMES
                && times[name] * (FEWEST_ROWS + 1) <= self.of_row.len()
                && word.chars().count() >= 2
                && !word.contains(|c: char| c.is_ascii_digit())
        };
        let candidates: Vec<usize> = (0..self.words.len()).filter(|&name| is_word(name)).collect();
        if candidates.is_empty() {
            return Vec::new();
        }
        let decimals = grid.decimals();
        let figures: Vec<(usize, f64)> = columns
            .iter()
            .filter(|column| column.kind == ColumnKind::Figures)
            .map(|column| {
                let rounding = super::super::grid::rounding_of(&decimals[grid.place(column.index)]);
                (column.index, rounding)
            })
            .collect();
        let is_mean = |row: usize, block: std::ops::Range<usize>| {
            if block.len() < FEWEST_ROWS {
                return false;
            }
            let mut compared = figures.iter().filter_map(|&(column, rounding)| {
                let numbers = block.clone().map(|row| grid.figure(row, column));
                let mean = numbers.sum::<f64>() / block.len() as f64;
                let deviation = (mean - grid.figure(row, column)).abs();
                (!deviation.is_nan()).then_some(deviation <= rounding)
            });
            compared.next().is_some_and(|same| same) && compared.all(|same| same)
        };
        let mut found = Vec::new();
        for name in candidates {
            let rows = || (0..self.of_row.len()).filter(|&row| self.of_row[row] as usize == name);
            let mut from = 0;
            let mut means = 0;
            // A damaged row may keep one of them from agreeing.
            let mut others_left = times[name] - (times[name] * 2).div_ceil(3);
            let mostly_means = rows().all(|row| {
                let mean = is_mean(row, from..row);
                from = row + 1;
                means += usize::from(mean);
                let goes_on = mean || others_left > 0;
                others_left -= usize::from(!mean && goes_on);
                goes_on
            });
            if mostly_means && means >= FEWEST_TIMES {
                found.extend(rows());
            }
        }
        found
    }
}

/// Whether a word names a greatest or a least value, in a few languages: `max`, `mín`, `Maximum`.
pub(super) fn names_extreme(word: &str) -> bool {
    let folded = words::fold(word);
    folded.starts_with("max") || folded.starts_with("min")
}
