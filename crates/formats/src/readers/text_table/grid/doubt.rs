//! Numbers that have lost their decimal sign, and no longer are what was measured.

use super::*;

/// Columns with fewer numbers say nothing of how their numbers are written.
const FEWEST: usize = 5;

impl Grid {
    /// Takes out numbers without a decimal sign that stand in columns of numbers with one, where their digits with a sign
    /// would go with the numbers above and below, and as they stand do not: `0106` between `0.104` and `0.109`. The rows
    /// begin at `from` or behind it.
    pub(in crate::readers::text_table) fn doubt_numbers(&mut self, text: &str, from: Cursor) {
        if self.dialect.pieces.is_some() || self.rows < FEWEST {
            return;
        }
        let mut doubted: Vec<(usize, usize)> = Vec::new();
        let all = self.decimals();
        for (column, kind) in self.kinds.iter().enumerate() {
            if *kind != Kind::Figures {
                continue;
            }
            let place = self.place[column];
            if let (Some(changes), Some(numbers)) = (all.get(place), self.figures.get(place)) {
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
        let mut cursor = from;
        for (row, column) in doubted {
            let Some(cell) = self.cell_of(text, &mut cursor, row, column) else {
                continue;
            };
            let others = self.decimals_near(&all[self.place[column]], row);
            if !self.has_lost_its_sign(&text[cell.range()], row, column, others) {
                continue;
            }
            if let Some(figures) = self.figures.get_mut(self.place[column])
                && let Some(number) = figures.make_mut().get_mut(row)
            {
                *number = f64::NAN;
                self.gaps.push(Gap {
                    row: u32::try_from(row).unwrap_or(u32::MAX),
                    column: u32::try_from(column).unwrap_or(u32::MAX),
                    lack: Lack::Unpointed,
                    span: cell,
                });
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
        let raw = text.get(cursor.at..end)?;
        let cells = split(raw, &self.dialect);
        // A row that was read in another way than cell by cell is left as it is.
        let range = cells.get(column).filter(|_| cells.len() == self.columns())?;
        Some(Span::new(cursor.at + range.start, cursor.at + range.end))
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
        let numbers = self.column(column).enumerate().filter(|&(other, _)| other != row);
        let scale = 10_f64.powi(i32::from(others));
        let value = self.figure(row, column).abs();
        let mut largest = 0.0_f64;
        let mut keeps_zeros = false;
        for (_, number) in numbers.filter(|(_, number)| !number.is_nan()) {
            largest = largest.max(number.abs());
            let digits = (number * scale).round();
            keeps_zeros |= number.fract() != 0.0 && digits % 10.0 == 0.0;
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
