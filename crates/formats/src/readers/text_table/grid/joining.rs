//! Grids put together: behind one another, side by side, and rows that were broken over two lines.

use super::*;

impl Grid {
    /// Adds the rows of `part`.
    pub(in crate::readers::text_table) fn append(&mut self, mut part: Self) {
        for (mine, theirs) in self.figures.iter_mut().zip(&part.figures) {
            mine.make_mut().extend_from_slice(theirs);
        }
        self.take_over(&mut part, 0);
    }

    /// Takes over everything of `part` but its numbers. Its lines count from `lines_before` on.
    pub(super) fn take_over(&mut self, part: &mut Self, lines_before: u32) {
        let rows = u32::try_from(self.rows).unwrap_or(u32::MAX);
        for &(row, place, decimals) in &part.changes {
            if self.current[place as usize] != decimals {
                self.current[place as usize] = decimals;
                self.changes.push((row + rows, place, decimals));
            }
        }
        for (mine, theirs) in self.words.iter_mut().zip(&mut part.words) {
            mine.append(theirs);
        }
        for (mine, theirs) in self.united.iter_mut().zip(&part.united) {
            *mine += theirs;
        }
        let behind_empty = part.behind_empty.map(|row| row + rows);
        self.behind_empty = self.behind_empty.or(behind_empty);
        self.by_column = OnceLock::new();
        self.distinct.fill(OnceLock::new());
        self.gaps.extend(part.gaps.drain(..).map(|gap| Gap {
            row: gap.row + rows,
            ..gap
        }));
        self.odd.extend(part.odd.drain(..).map(|odd| OddRow {
            line: odd.line + lines_before,
            ..odd
        }));
        self.notes.extend(part.notes.drain(..).map(|note| RowNote {
            line: note.line + lines_before,
            ..note
        }));
        for (mine, theirs) in self.units.iter_mut().zip(&mut part.units) {
            if mine.is_none() {
                *mine = theirs.take();
            }
        }
        for (row, line) in part.lines.drain(..) {
            let (row, line) = (row + rows, line + lines_before);
            let goes_on = |&(first, at): &(u32, u32)| at + (row - first) == line;
            if !self.lines.last().is_some_and(goes_on) {
                self.lines.push((row, line));
            }
        }
        self.rows += part.rows;
    }

    /// Every second row, from the first or the second on.
    fn every_second(&self, from: usize) -> Self {
        let mut half = self.empty_like();
        half.united.clone_from(&self.united);
        half.odd.clone_from(&self.odd);
        let row_of = |row: u32| row / 2;
        for (mine, theirs) in half.figures.iter_mut().zip(&self.figures) {
            *mine = theirs.iter().skip(from).step_by(2).copied().collect();
        }
        for row in (from..self.rows).step_by(2) {
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
    pub(in crate::readers::text_table) fn unwrapped(&self) -> Option<Self> {
        if self.rows < 4 || self.rows % 2 == 1 || self.kinds.first() != Some(&ColumnKind::Figures) {
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
    pub(in crate::readers::text_table) fn widen(&mut self, other: &Self) {
        let shift = self.columns() - 1;
        let mut wide = Self::new(
            self.dialect.clone(),
            self.kinds.iter().chain(&other.kinds[1..]).copied().collect(),
        );
        let skip = usize::from(other.kinds[0] == ColumnKind::Figures);
        wide.figures = self
            .figures
            .iter()
            .chain(other.figures.iter().skip(skip))
            .cloned()
            .collect();
        wide.words = self
            .words
            .iter()
            .chain(other.words.iter().skip(1 - skip))
            .cloned()
            .collect();
        let place_shift = u32::try_from(self.figures.len() - skip).unwrap_or(u32::MAX);
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
        wide.notes = self.notes.iter().chain(&other.notes).copied().collect();
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
}
