//! Curves: the points of a table, with their decimals and source lines.

use std::fmt;
use std::ops::{Deref, DerefMut};
use std::sync::Arc;

/// How many decimals the values of a column are printed with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Decimals {
    /// Every value has this count.
    Same(u16),
    /// The count of each value.
    Each(Vec<u16>),
    /// The values are quotients that end after no count of decimals (a grid such as thirds).
    Unlimited,
}

impl Default for Decimals {
    fn default() -> Self {
        Self::Same(0)
    }
}

impl Decimals {
    /// The count of value `index`; nothing if it has no end.
    #[must_use]
    pub fn of(&self, index: usize) -> Option<u16> {
        match self {
            Self::Same(count) => Some(*count),
            Self::Each(counts) => counts.get(index).copied(),
            Self::Unlimited => None,
        }
    }

    /// The greatest count in the column; nothing if it has no end.
    #[must_use]
    pub fn greatest(&self) -> Option<u16> {
        match self {
            Self::Same(count) => Some(*count),
            Self::Each(counts) => Some(counts.iter().copied().max().unwrap_or(0)),
            Self::Unlimited => None,
        }
    }
}

/// Gathers counts of decimals; takes room only where they differ.
#[derive(Default)]
pub(crate) struct DecimalsBuilder {
    same: u16,
    count: usize,
    each: Vec<u16>,
}

impl DecimalsBuilder {
    #[inline]
    pub(crate) fn push(&mut self, decimals: u16) {
        if self.each.is_empty() {
            if self.count == 0 {
                self.same = decimals;
            } else if self.same != decimals {
                self.each = vec![self.same; self.count];
                self.each.push(decimals);
            }
        } else {
            self.each.push(decimals);
        }
        self.count += 1;
    }

    pub(crate) fn finish(self) -> Decimals {
        if self.each.is_empty() {
            Decimals::Same(self.same)
        } else {
            Decimals::Each(self.each)
        }
    }
}

/// A point whose ordinate the file marks as missing (`?`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Missing {
    /// Its abscissa.
    pub x: f64,
    /// How many points of the curve stand before it.
    pub before: usize,
    /// Its line in the source; 0 if it has none.
    pub line: u32,
}

/// Abscissas, which the pages of NTUPLES share where they have the same. They are used as the list that they are; a change
/// copies it.
#[derive(Clone, Default, PartialEq)]
pub struct SharedAbscissas(Arc<Vec<f64>>);

impl SharedAbscissas {
    /// Shares the abscissas of another curve where they are the same to the last bit.
    pub(crate) fn share_with(&mut self, other: &Self) {
        let same = self.len() == other.len()
            && self
                .iter()
                .zip(other.iter())
                .all(|(own, other)| own.to_bits() == other.to_bits());
        if same {
            self.0 = Arc::clone(&other.0);
        }
    }
}

impl fmt::Debug for SharedAbscissas {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Deref for SharedAbscissas {
    type Target = Vec<f64>;

    fn deref(&self) -> &Vec<f64> {
        &self.0
    }
}

impl DerefMut for SharedAbscissas {
    fn deref_mut(&mut self) -> &mut Vec<f64> {
        Arc::make_mut(&mut self.0)
    }
}

impl From<Vec<f64>> for SharedAbscissas {
    fn from(x: Vec<f64>) -> Self {
        Self(Arc::new(x))
    }
}

impl<const N: usize> PartialEq<[f64; N]> for SharedAbscissas {
    fn eq(&self, other: &[f64; N]) -> bool {
        **self == *other
    }
}

/// From which source line each point comes, held as runs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LineMap {
    runs: Vec<RepeatRun>,
    points: usize,
    /// Lines in the last run.
    lines: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct RepeatRun {
    first: usize,
    line: u32,
    per_line: usize,
}

impl LineMap {
    /// Gives back room that was made for more.
    pub(crate) fn fit(&mut self) {
        self.runs.shrink_to_fit();
    }

    /// The line of point `index`, counted from 1; nothing if the point is not from a file.
    #[must_use]
    pub fn line_of(&self, index: usize) -> Option<u32> {
        if index >= self.points {
            return None;
        }
        let at = self
            .runs
            .partition_point(|run| run.first <= index)
            .checked_sub(1)?;
        let run = self.runs[at];
        Some(run.line + ((index - run.first) / run.per_line) as u32)
    }

    /// The next `count` points come from `line`.
    #[inline]
    pub(crate) fn push(&mut self, line: u32, count: usize) {
        if count == 0 {
            return;
        }
        match self.runs.last() {
            // The run goes on if all its lines are full so far and this is the next one.
            Some(run)
                if count <= run.per_line
                    && line == run.line.wrapping_add(self.lines)
                    && self.points == run.first + run.per_line * self.lines as usize =>
            {
                self.lines += 1;
            }
            _ => {
                self.runs.push(RepeatRun {
                    first: self.points,
                    line,
                    per_line: count,
                });
                self.lines = 1;
            }
        }
        self.points += count;
    }
}

/// The points of one table in the order of the file.
///
/// `x` and `y` have the same length and hold finite numbers only. Points whose ordinate is marked as missing are
/// not among them but in `missing`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    /// Abscissas in the unit of the block's XUNITS.
    pub x: SharedAbscissas,
    /// Ordinates in the unit of the block's YUNITS.
    pub y: Vec<f64>,
    /// Decimals of the abscissas.
    pub x_decimals: Decimals,
    /// Decimals of the ordinates.
    pub y_decimals: Decimals,
    /// The points marked as missing, in order.
    pub missing: Vec<Missing>,
    /// The source line of each point.
    pub lines: LineMap,
}

impl Curve {
    /// A curve that does not come from a file: `x_decimals` and `y_decimals` are the counts to print with.
    #[must_use]
    pub fn new(x: Vec<f64>, y: Vec<f64>, x_decimals: u16, y_decimals: u16) -> Self {
        Self {
            x: x.into(),
            y,
            x_decimals: Decimals::Same(x_decimals),
            y_decimals: Decimals::Same(y_decimals),
            ..Self::default()
        }
    }

    /// The number of points that have an ordinate.
    #[must_use]
    pub fn len(&self) -> usize {
        self.x.len()
    }

    /// Whether no point has an ordinate.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.x.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_found_again() {
        let mut map = LineMap::default();
        let layout = [
            (10, 5),
            (11, 5),
            (12, 3),
            (13, 5),
            (15, 5),
            (16, 6),
            (17, 1),
            (18, 1),
        ];
        let mut expected = Vec::new();
        for (line, count) in layout {
            map.push(line, count);
            expected.extend(std::iter::repeat_n(line, count));
        }
        for (index, line) in expected.iter().enumerate() {
            assert_eq!(map.line_of(index), Some(*line), "point {index}");
        }
        assert_eq!(map.line_of(expected.len()), None);
    }
}
