//! Numbers that have lost their decimal sign, and rows that have lost a delimiter: they no longer say what was measured.

use std::collections::{BTreeMap, BTreeSet};

use super::*;

/// Columns with fewer numbers say nothing of how their numbers are written.
const FEWEST: usize = 5;

impl Grid {
    /// Takes out numbers without a decimal sign that stand in columns of numbers with one, where their digits with a sign
    /// would go with the numbers around it, and as they stand do not: `0106` between `0.104` and `0.109`. The rows
    /// begin at `from` or behind it.
    pub(in crate::readers::text_table) fn doubt_numbers(&mut self, text: &str, from: Cursor) {
        if self.dialect.pieces.is_some() {
            return;
        }
        self.doubt_short_rows(text);
        let all = self.decimals();
        let mut doubted: Vec<(usize, usize)> = self.whole_among_decimals(&all);
        doubted.extend(self.zeros_among_decimals(&all));
        for (column, kind) in self.kinds.iter().enumerate() {
            if *kind != ColumnKind::Figures {
                continue;
            }
            let place = self.place[column];
            if self.rows >= FEWEST
                && let (Some(changes), Some(numbers)) = (all.get(place), self.figures.get(place))
            {
                doubted.extend(
                    out_of_scale(changes, numbers)
                        .into_iter()
                        .map(|row| (row, column)),
                );
            }
        }
        if doubted.is_empty() {
            return;
        }
        doubted.sort_unstable();
        doubted.dedup();
        let mut cursor = from;
        for (row, column) in doubted {
            let Some(cell) = self.cell_of(text, &mut cursor, row, column) else {
                continue;
            };
            let others = self.decimals_near(&all[self.place[column]], row);
            let lack = if self.is_cut_off(&text[cell.range()], row, column, others) {
                MissingCell::Unreadable
            } else if self.has_lost_its_sign(&text[cell.range()], row, column, others) {
                MissingCell::Unpointed
            } else {
                continue;
            };
            if let Some(figures) = self.figures.get_mut(self.place[column])
                && let Some(number) = figures.make_mut().get_mut(row)
            {
                *number = f64::NAN;
                self.gaps.push(Gap {
                    row: u32::try_from(row).unwrap_or(u32::MAX),
                    column: u32::try_from(column).unwrap_or(u32::MAX),
                    lack,
                    span: cell,
                });
            }
        }
        self.gaps.sort_by_key(|gap| (gap.row, gap.column));
        self.by_column = OnceLock::new();
    }

    /// Zeros without decimals, single ones in columns of numbers that have some: `0.` and `0` may be beginnings of numbers.
    fn zeros_among_decimals(&self, all: &[Vec<(u32, u8)>]) -> Vec<(usize, usize)> {
        const SINGLE: usize = 2;
        let mut found = Vec::new();
        for column in (0..self.columns()).filter(|&column| self.kinds[column] == ColumnKind::Figures) {
            let place = self.place[column];
            let (Some(changes), Some(numbers)) = (all.get(place), self.figures.get(place)) else {
                continue;
            };
            if numbers.len() < FEWEST || !changes.iter().any(|&(_, decimals)| decimals > 0) {
                continue;
            }
            let mut zeros = Vec::new();
            for (at, &(first, decimals)) in changes.iter().enumerate() {
                let end = changes
                    .get(at + 1)
                    .map_or(numbers.len(), |&(next, _)| next as usize);
                let rows = first as usize..end.min(numbers.len());
                if decimals == 0 && rows.len() <= SINGLE {
                    zeros.extend(rows.filter(|&row| numbers[row] == 0.0));
                }
            }
            if zeros.len() <= SINGLE {
                found.extend(zeros.into_iter().map(|row| (row, column)));
            }
        }
        found
    }

    /// Whether the last cell of a row is the beginning of a number whose rest was cut off: it ends in its decimal sign and
    /// lies beyond both its neighbours, or is a lone zero while these lie together and far from it. Some programs print
    /// whole numbers as `0.` and `12.`, which go with their neighbours.
    fn is_cut_off(&self, cell: &str, row: usize, column: usize, others: u8) -> bool {
        if others < 2 || column + 1 != self.columns() || row == 0 || row + 1 >= self.rows {
            return false;
        }
        // The nearest that are numbers: a neighbour may be damaged as well.
        let number = |at: usize| Some(self.figure(at, column)).filter(|number| !number.is_nan());
        let (Some(above), Some(below)) = (
            (0..row).rev().find_map(number),
            (row + 1..self.rows).find_map(number),
        ) else {
            return false;
        };
        if above * below <= 0.0 {
            return false;
        }
        let value = self.figure(row, column);
        if cell.ends_with(char::from(self.dialect.style.decimal)) {
            return value < above.min(below) || value > above.max(below);
        }
        cell == "0" && (above - below).abs() < (above + below).abs() / 2.0
    }

    /// The whole numbers in columns of which most numbers have decimals; in a table of one row, or two, most of its
    /// numbers. Those that stand between their neighbours in a column that runs on are left out: `401` between `400.5`
    /// and `401.5`.
    fn whole_among_decimals(&self, all: &[Vec<(u32, u8)>]) -> Vec<(usize, usize)> {
        // Of the rows of a column: how many have decimals, and which whole numbers are none below one.
        let look = |place: usize| -> (usize, Vec<usize>) {
            let (Some(changes), Some(numbers)) = (all.get(place), self.figures.get(place)) else {
                return (0, Vec::new());
            };
            let (mut pointed, mut whole) = (0, Vec::new());
            let rising = numbers.windows(2).filter(|pair| pair[1] > pair[0]).count();
            let falling = numbers.windows(2).filter(|pair| pair[1] < pair[0]).count();
            let runs = rising.max(falling) * 10 >= numbers.len().saturating_sub(1) * 9 && numbers.len() >= 8;
            for (at, &(first, decimals)) in changes.iter().enumerate() {
                let first = first as usize;
                let end = changes
                    .get(at + 1)
                    .map_or(numbers.len(), |&(next, _)| next as usize);
                let rows = first..end.min(numbers.len());
                if decimals > 0 {
                    pointed += rows.len();
                    continue;
                }
                whole.extend(rows.filter(|&row| {
                    let near = |at: Option<usize>| at.and_then(|at| numbers.get(at)).copied();
                    let between = runs
                        && match (near(row.checked_sub(1)), near(row.checked_add(1))) {
                            (Some(above), Some(below)) => (above < numbers[row]) == (numbers[row] < below),
                            _ => false,
                        };
                    numbers[row].abs() >= 1.0 && !between
                }));
            }
            (pointed, whole)
        };
        let few = self.rows <= 2;
        // Most columns have decimals throughout, or none.
        let mixed = |column: usize| {
            let changes = all.get(self.place[column]).map_or(&[][..], Vec::as_slice);
            let has = |pointed: bool| changes.iter().any(|&(_, decimals)| (decimals > 0) == pointed);
            few || has(true) && has(false)
        };
        let columns: Vec<(usize, (usize, Vec<usize>))> = (0..self.columns())
            .filter(|&column| self.kinds[column] == ColumnKind::Figures && mixed(column))
            .map(|column| (column, look(self.place[column])))
            .collect();
        let pointed_of_all: usize = columns.iter().map(|(_, (pointed, _))| pointed).sum();
        let whole_of_all: usize = columns.iter().map(|(_, (_, whole))| whole.len()).sum();
        let mut found = Vec::new();
        for (column, (pointed, whole)) in columns {
            let few_among_many = few && pointed_of_all > 2 * whole_of_all;
            if pointed > 0 && pointed >= whole.len() || few_among_many {
                found.extend(whole.into_iter().map(|row| (row, column)));
            }
        }
        found
    }

    /// Takes out the numbers of rows that end early and whose first number looks like two that have become one: `4100.12`
    /// between `400` and `420`. All cells behind the lost delimiter stand under the wrong columns.
    fn doubt_short_rows(&mut self, text: &str) {
        let hard = self.dialect.sep.byte().is_some() || self.dialect.sep == Delimiter::CommaBlank;
        if !hard {
            let short = self.short_between_blanks();
            self.take_out(&short, 1, MissingCell::Shifted);
            return;
        }
        let mut short: Vec<usize> = self
            .gaps
            .iter()
            .filter(|gap| gap.lack == MissingCell::Short)
            .map(|gap| gap.row as usize)
            .collect();
        short.dedup();
        if self.kinds.first() == Some(&ColumnKind::Words) {
            let glued = self.names_with_a_number(&short, text);
            self.take_out(&glued, 0, MissingCell::Glued);
            return;
        }
        if self.kinds.first() != Some(&ColumnKind::Figures) {
            return;
        }
        let glued = self.glued_among(&short);
        self.take_out(&glued, 0, MissingCell::Glued);
        // Where every second row ends early, rows were broken over two lines.
        if short.len() * 2 < self.rows {
            let shifted: Vec<usize> = short
                .into_iter()
                .filter(|row| !glued.contains(row))
                .filter(|&row| !self.figure(row, 0).is_nan() && self.goes_with_next_column(row))
                .collect();
            self.take_out(&shifted, 1, MissingCell::Shifted);
        }
    }

    /// The rows that end early where one blank parts the columns, so that a cell that lacks anywhere in them leaves them short at
    /// their end. The last row may have been cut.
    fn short_between_blanks(&self) -> Vec<usize> {
        let single = self.extents.windows(2).any(|pair| pair[1].0 - pair[0].1 <= 1);
        if !single || self.columns() < 3 {
            return Vec::new();
        }
        let last = u32::try_from(self.columns() - 1).unwrap_or(u32::MAX);
        let short: Vec<usize> = self
            .gaps
            .iter()
            .filter(|gap| gap.column == last && gap.lack == MissingCell::Empty)
            .map(|gap| gap.row as usize)
            .filter(|row| row + 1 < self.rows)
            .collect();
        // Where all rows from one on end early, the curve of the last column ends before the others.
        let ends = short
            .first()
            .is_some_and(|first| self.rows - 1 - first <= short.len());
        if ends { Vec::new() } else { short }
    }

    /// The lines of rows of which nothing tells which cell lacks.
    pub(in crate::readers::text_table) fn lines_short_between_blanks(&self) -> Vec<usize> {
        if self.dialect.sep != Delimiter::Blank {
            return Vec::new();
        }
        let shifted = self.gaps.iter().filter(|gap| gap.lack == MissingCell::Shifted);
        let mut lines: Vec<usize> = shifted.map(|gap| self.line(gap.row as usize)).collect();
        lines.dedup();
        lines
    }

    /// Of the rows that end early, those whose name ends in a number with a decimal sign, as that of no whole row does:
    /// `0.1 mM0.053`; or of which another column of words does, `BMalt;0,112` among `A;Tea;0,111`. The first reading has gone into
    /// the words, and all others stand under the wrong columns.
    fn names_with_a_number(&self, short: &[usize], text: &str) -> Vec<usize> {
        let decimal = char::from(self.dialect.style.decimal);
        let ends_in_number = |span: &Span| {
            let name = text.get(span.range()).unwrap_or("").trim_end();
            let head = name.trim_end_matches(|c: char| c.is_ascii_digit());
            head.len() < name.len() && head.ends_with(decimal)
        };
        let whole = |row: &usize| short.binary_search(row).is_err();
        let mut glued: Vec<usize> = (0..self.columns())
            .filter(|column| self.kinds[*column] == ColumnKind::Words)
            .flat_map(|column| {
                let words = self.words(column);
                let ends = |row: &usize| words.get(*row).is_some_and(ends_in_number);
                let ending: Vec<usize> = short.iter().copied().filter(ends).collect();
                // Nearly always there is none, and the whole rows need not be looked at.
                let unlike_others = || !(0..self.rows).filter(whole).any(|row| ends(&row));
                if ending.is_empty() || !unlike_others() {
                    return Vec::new();
                }
                ending
            })
            .collect();
        glued.sort_unstable();
        glued.dedup();
        glued
    }

    /// Of the rows that end early, those whose first number looks like two that have become one.
    fn glued_among(&self, short: &[usize]) -> Vec<usize> {
        // Where many rows end early, that is how the table is written.
        if short.is_empty() || short.len() * 10 > self.rows.max(10) {
            return Vec::new();
        }
        let place = self.place[0];
        let changes = self.decimals().swap_remove(place);
        let most = |rows: std::ops::Range<usize>| -> u8 {
            let runs = changes.iter().enumerate().filter_map(|(at, &(first, decimals))| {
                let end = changes.get(at + 1).map_or(self.rows, |&(next, _)| next as usize);
                ((first as usize) < rows.end && end > rows.start).then_some(decimals)
            });
            runs.max().unwrap_or(0)
        };
        let orderly = |numbers: &[f64]| {
            numbers.windows(2).all(|pair| pair[1] > pair[0])
                || numbers.windows(2).all(|pair| pair[1] < pair[0])
        };
        let numbers: Vec<f64> = self.column(0).collect();
        short
            .iter()
            .copied()
            .filter(|&row| {
                let own = most(row..row + 1);
                let finer = own > most(0..row).max(most(row + 1..self.rows));
                let near = row.saturating_sub(3)..(row + 4).min(numbers.len());
                let with = &numbers[near.clone()];
                let without: Vec<f64> = near
                    .filter(|&other| other != row)
                    .map(|other| numbers[other])
                    .collect();
                finer || without.len() >= 2 && orderly(&without) && !orderly(with)
            })
            .collect()
    }

    /// Whether a number of a row that ends early lies far nearer to those above and below it in the next column than to
    /// those in its own.
    fn goes_with_next_column(&self, row: usize) -> bool {
        let filled = |column: usize| self.kinds.get(column) == Some(&ColumnKind::Figures);
        // What would stand there: the middle of the numbers around it.
        let middle = |column: usize| -> Option<f64> {
            let above = row.checked_sub(1).map(|row| self.figure(row, column))?;
            let below = self.figure(row + 1, column);
            Some((above + below) / 2.0).filter(|middle| middle.is_finite())
        };
        (1..self.columns().saturating_sub(1)).any(|column| {
            let value = self.figure(row, column);
            if !filled(column) || !filled(column + 1) || value.is_nan() {
                return false;
            }
            match (middle(column), middle(column + 1)) {
                (Some(own), Some(next)) => (value - next).abs() * 4.0 < (value - own).abs(),
                _ => false,
            }
        })
    }

    /// Takes the numbers of rows, from this column on, out for this reason.
    fn take_out(&mut self, rows: &[usize], from: usize, lack: MissingCell) {
        if rows.is_empty() {
            return;
        }
        let number = |row: usize| u32::try_from(row).unwrap_or(u32::MAX);
        let of_rows = |gap: &&Gap| rows.binary_search(&(gap.row as usize)).is_ok();
        let lacking: BTreeSet<(u32, u32)> = self
            .gaps
            .iter()
            .filter(of_rows)
            .map(|gap| (gap.row, gap.column))
            .collect();
        // Where the row ends.
        let spans: BTreeMap<u32, Span> = self
            .gaps
            .iter()
            .filter(of_rows)
            .map(|gap| (gap.row, gap.span))
            .collect();
        for column in (from..self.columns()).filter(|&column| self.kinds[column] == ColumnKind::Figures) {
            let index = number(column);
            let Some(figures) = self.figures.get_mut(self.place[column]) else {
                continue;
            };
            let figures = figures.make_mut();
            for &row in rows {
                if let Some(value) = figures.get_mut(row) {
                    *value = f64::NAN;
                }
                let row = number(row);
                if let Some(&span) = spans.get(&row).filter(|_| !lacking.contains(&(row, index))) {
                    self.gaps.push(Gap {
                        row,
                        column: index,
                        lack,
                        span,
                    });
                }
            }
        }
        self.gaps.sort_by_key(|gap| (gap.row, gap.column));
        self.by_column = OnceLock::new();
    }

    /// The cell of a row and column in the text. The cursor only goes forward.
    fn cell_of(&self, text: &str, cursor: &mut Cursor, row: usize, column: usize) -> Option<Span> {
        let line = self.line(row);
        while (cursor.line as usize) < line && cursor.at < text.len() {
            cursor.at = line_end(text.as_bytes(), cursor.at).1;
            cursor.line += 1;
        }
        let (end, _) = line_end(text.as_bytes(), cursor.at);
        let range = self.cell_in(text.get(cursor.at..end)?, column)?;
        Some(Span::new(cursor.at + range.start, cursor.at + range.end))
    }

    /// Where the cell of a column stands in the line of its row; nothing where the row was read in another way than cell
    /// by cell.
    pub(in crate::readers::text_table) fn cell_in(
        &self,
        line: &str,
        column: usize,
    ) -> Option<std::ops::Range<usize>> {
        let cells = split(line, &self.dialect);
        let whole = cells.len() == self.columns();
        cells.into_iter().nth(column).filter(|_| whole)
    }

    /// How many decimals the numbers next to a row have.
    fn decimals_near(&self, changes: &[(u32, u8)], row: usize) -> u8 {
        let at = changes.partition_point(|&(first, _)| first as usize <= row);
        let before = at.checked_sub(2).and_then(|at| changes.get(at));
        before.or(changes.get(at)).map_or(0, |&(_, decimals)| decimals)
    }

    /// Whether a cell's text, which the numbers about it show to be out of scale, lacks a decimal sign.
    fn has_lost_its_sign(&self, cell: &str, row: usize, column: usize, others: u8) -> bool {
        let decimal = char::from(self.dialect.style.decimal);
        let mantissa = cell
            .split(['e', 'E'])
            .next()
            .unwrap_or("")
            .trim_start_matches(['-', '+']);
        let whole = !mantissa.is_empty() && mantissa.bytes().all(|byte| byte.is_ascii_digit());
        if !whole || cell.contains(decimal) || mantissa.len() < 2 {
            return false;
        }
        if mantissa.starts_with('0') {
            return true;
        }
        if mantissa.len() == cell.trim_start_matches(['-', '+']).len()
            && mantissa.len() <= usize::from(others)
        {
            return false;
        }
        // What the digits and their scale tell takes some numbers to compare with.
        if self.rows < FEWEST {
            return false;
        }
        let scale = 10_f64.powi(i32::from(others));
        // `100` behind 0.1, 1 and 10 goes on as the column runs; with a sign it would go back.
        let runs = |own: f64| {
            let numbers = self.column(column).enumerate();
            let numbers: Vec<f64> = numbers
                .map(|(other, number)| if other == row { own } else { number })
                .filter(|number| !number.is_nan())
                .collect();
            numbers.windows(2).all(|pair| pair[0] < pair[1])
                || numbers.windows(2).all(|pair| pair[0] > pair[1])
        };
        let own = self.figure(row, column);
        if runs(own) && !runs(own / scale) {
            return false;
        }
        let numbers = self.column(column).enumerate().filter(|&(other, _)| other != row);
        let value = own.abs();
        let mut largest = 0.0_f64;
        let mut keeps_zeros = false;
        for (_, number) in numbers.filter(|(_, number)| !number.is_nan()) {
            largest = largest.max(number.abs());
            let digits = (number * scale).round();
            // A number with more decimals than the others near the row says nothing of its last one.
            let is_whole = (number * scale - digits).abs() < 1e-6 * digits.abs().max(1.0);
            keeps_zeros |= number.fract() != 0.0 && is_whole && digits % 10.0 == 0.0;
        }
        keeps_zeros || value > 3.0 * largest
    }
}

/// The rows of whole numbers, few in a column of numbers with decimals, that would go better with the numbers above and
/// below if they had as many decimals as these.
fn out_of_scale(changes: &[(u32, u8)], numbers: &[f64]) -> Vec<usize> {
    let runs = changes.iter().enumerate().map(|(at, &(first, decimals))| {
        let end = changes
            .get(at + 1)
            .map_or(numbers.len(), |&(next, _)| next as usize);
        (first as usize, end, decimals)
    });
    let fewer = |at: usize| -> u8 {
        let near = [at.checked_sub(1), Some(at + 1)];
        let near = near.into_iter().flatten().filter_map(|at| changes.get(at));
        near.map(|&(_, decimals)| decimals).max().unwrap_or(0)
    };
    let few = (numbers.len() / 10).max(1);
    let mut found = Vec::new();
    let mut seen = 0;
    for (at, (first, end, decimals)) in runs.enumerate() {
        let others = fewer(at);
        if decimals >= others {
            continue;
        }
        // Numbers in powers of ten have some decimals without a sign as well; plain ones have none.
        seen += if decimals == 0 { end - first } else { 0 };
        if seen > few {
            return Vec::new();
        }
        if end - first > few {
            continue;
        }
        let scale = 10_f64.powi(i32::from(others));
        for row in first..end {
            let value = numbers[row];
            let near = [row.checked_sub(1), Some(row + 1)];
            let near: Vec<f64> = near
                .into_iter()
                .flatten()
                .filter_map(|row| numbers.get(row).copied())
                .filter(|near| !near.is_nan())
                .collect();
            if value.is_nan() || near.is_empty() {
                continue;
            }
            let middle = near.iter().sum::<f64>() / near.len() as f64;
            if (value / scale - middle).abs() < (value - middle).abs() {
                found.push(row);
            }
        }
    }
    found
}
