//! Check values: which lines start with one, which of them hold, and what shows damage where there are none.

use super::candidates::By;
use super::{AnalysedTable, Checks};
use crate::asdf::decode::{DataLine, LineEnd};
use crate::grid::EvenGrid;
use crate::remark::{Code, Notes, Span};
use crate::table::DataStretch;

impl AnalysedTable<'_> {
    /// Decides which lines start with check values, from the values themselves, then from NPOINTS.
    pub(super) fn choose_checks(&self) -> Checks {
        let joints: Vec<usize> = (1..self.lines.len())
            .filter(|k| self.is_check(*k, Checks::All))
            .collect();
        if joints.is_empty() {
            return Checks::All;
        }
        let stated = self.axis.count();
        let (all, none) = (self.total(Checks::All), self.total(Checks::None));
        let matches = joints.iter().filter(|k| self.repeats(**k)).count();
        if matches == joints.len() {
            // Equal values prove nothing where the curve is flat anyway.
            let telling = joints.iter().any(|k| {
                let before = &self.lines[k - 1];
                before.len < 2 || self.value(before, before.len - 1) != self.value(before, before.len - 2)
            });
            return if !telling && stated == Some(none) {
                Checks::None
            } else {
                Checks::All
            };
        }
        let (after_dup, plain): (Vec<usize>, Vec<usize>) = joints
            .iter()
            .partition(|k| self.lines[**k - 1].ends == LineEnd::Repeated);
        if after_dup.len() >= 2
            && !plain.is_empty()
            && plain.iter().all(|k| self.repeats(*k))
            && !after_dup.iter().any(|k| self.repeats(*k))
            && stated == Some(self.total(Checks::NotAfterDuplicate))
        {
            return Checks::NotAfterDuplicate;
        }
        if matches * 2 < joints.len()
            && stated == Some(none)
            && none != all
            && self
                .candidates(Checks::None)
                .iter()
                .any(|c| self.tight(&c.grid, Checks::None))
        {
            return Checks::None;
        }
        Checks::All
    }

    pub(super) fn checks_hold(&self, checks: Checks) -> bool {
        (1..self.lines.len()).all(|k| !self.is_check(k, checks) || self.repeats(k))
    }

    /// Whether the first ordinates of lines behind differences may be check values although they were taken for new
    /// points. NPOINTS decides, but it may have counted the check values; where values are repeated, the X have to
    /// speak against that, or DELTAX.
    pub(super) fn checks_in_doubt(&self, checks: Checks, grid: &EvenGrid) -> bool {
        let repeated = || (1..self.lines.len()).any(|k| self.is_check(k, Checks::All) && self.repeats(k));
        if checks != Checks::None || !repeated() {
            return false;
        }
        let others = self.candidates(Checks::All);
        let mut others = others
            .iter()
            .filter(|other| other.by != By::Npoints && self.tight(&other.grid, Checks::All));
        let Some(delta) = self.axis.delta_x else {
            return others.next().is_some();
        };
        let away = |grid: &EvenGrid| (delta.value().abs() - grid.step().abs()).abs();
        let clearly = (10.0 * away(grid)).max(0.01 * grid.step().abs());
        others.any(|other| away(&other.grid) <= clearly)
    }

    /// For each line that starts with a check value, whether it is the last ordinate of the line before.
    pub(super) fn joints(
        &self,
        checks: Checks,
        positions: &[Option<usize>],
        slips: &[bool],
        notes: &mut Notes<'_>,
        stretch: &DataStretch,
    ) -> Vec<Option<bool>> {
        let mut joints = vec![None; self.lines.len()];
        for k in 1..self.lines.len() {
            if !self.is_check(k, checks) || slips[k - 1] || self.lines[k].len == 0 {
                continue;
            }
            let same = self.repeats(k);
            joints[k] = Some(same);
            if !same && positions[k].is_some() {
                let (before, line) = (&self.lines[k - 1], &self.lines[k]);
                let span = Span {
                    start: line.x.end,
                    end: line.end,
                };
                let (found, _) = self.value(line, 0);
                let (wanted, _) = self.value(before, before.len - 1);
                notes.add(
                    Code::YCheckFailed,
                    line.number,
                    span,
                    found.to_string(),
                    wanted.to_string(),
                );
            }
        }
        match checks {
            Checks::All => {}
            Checks::None => {
                let found = "first ordinates that repeat nothing".into();
                notes.add(
                    Code::YCheckAbsent,
                    stretch.line,
                    stretch.head,
                    found,
                    "check values",
                );
            }
            Checks::NotAfterDuplicate => {
                let found = "no check value after a repeated difference".into();
                notes.add(
                    Code::YCheckAbsentAfterDuplicate,
                    stretch.line,
                    stretch.head,
                    found,
                    "check values",
                );
            }
        }
        joints
    }

    /// In a table without check values: the ordinate of line `k` from which on a damaged difference is likely.
    ///
    /// A damaged difference moves all ordinates behind it up to the end of the line, where the next line starts with
    /// its own ordinate again. So it shows as a great step within the line and one as great back behind its end, where
    /// nearly all steps of the table are small. Great is eight times what nine of ten steps stay within; equal is
    /// within twice of that (own choice: what noise does not reach).
    pub(super) fn damaged_difference(
        &self,
        k: usize,
        checks: Checks,
        usual: u64,
        positions: &[Option<usize>],
    ) -> Option<usize> {
        let (line, next) = (self.lines.get(k)?, self.lines.get(k + 1)?);
        let unchecked = checks != Checks::All
            && line.wants_check()
            && line.damage.is_none()
            && !self.is_check(k + 1, checks)
            && next.len > 0
            && positions[k]?.checked_add(line.len) == positions[k + 1];
        if !unchecked {
            return None;
        }
        let step = |from: (&DataLine, usize), to: (&DataLine, usize)| {
            let ((a, _), (b, _)) = (self.value(from.0, from.1), self.value(to.0, to.1));
            b.saturating_sub(a)
        };
        let back = step((line, line.len - 1), (next, 0));
        if back.unsigned_abs() <= usual.saturating_mul(8) {
            return None;
        }
        (line.alone.max(1)..line.len).find(|index| {
            let there = step((line, index - 1), (line, *index));
            there.saturating_add(back).unsigned_abs() <= usual.saturating_mul(2)
        })
    }

    /// What nine of ten steps between neighbours on a line stay within; at least 1.
    pub(super) fn usual_step(&self) -> u64 {
        let values = &self.ordinates.values;
        let mut steps: Vec<u64> = self
            .lines
            .iter()
            .filter_map(|line| values.get(line.first..line.first + line.len))
            .flat_map(|line| line.windows(2).map(|pair| pair[1].abs_diff(pair[0])))
            .collect();
        if steps.is_empty() {
            return 1;
        }
        let at = (steps.len() * 9 / 10).min(steps.len() - 1);
        let (_, usual, _) = steps.select_nth_unstable(at);
        (*usual).max(1)
    }
}
