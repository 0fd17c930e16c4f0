//! Places the lines on the grid and keeps the points that are certain.

use super::points::OrdinatePiece;
use super::{AnalysedTable, Checks, PointLayout};
use crate::grid::EvenGrid;
use crate::records::RecordSource;
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{DataStretch, LeftOut, TableOutcome};

impl AnalysedTable<'_> {
    /// Places every line, tests every check, and writes the points that are certain.
    pub(super) fn assemble(
        mut self,
        source: &RecordSource<'_>,
        stretch: &DataStretch,
        layout: &PointLayout,
        outcome: &mut TableOutcome,
        notes: &mut Notes<'_>,
    ) {
        let PointLayout { grid, checks, .. } = layout;
        let checks = *checks;
        let (positions, slips) = self.place(source, layout, outcome, notes);
        let usual = if checks == Checks::All {
            1
        } else {
            self.usual_step()
        };
        let joints = self.joints(checks, &positions, &slips, notes, stretch);
        let mut pieces = Vec::with_capacity(self.lines.len());
        let mut losses = !outcome.left_out.is_empty();
        for k in 0..self.lines.len() {
            let line = &self.lines[k];
            let Some(at) = positions[k] else { continue };
            let next_joint = joints.get(k + 1).copied().flatten();
            let base = joints[k] != Some(false) || next_joint == Some(true);
            let chain = next_joint != Some(false);
            let doubtful = self.damaged_difference(k, checks, usual, &positions);
            if let Some(from) = doubtful {
                let span = Span {
                    start: line.x.end,
                    end: line.end,
                };
                let found = format!("a step at ordinate {}, and one back behind the last", from + 1);
                notes.add(Code::DifferenceInDoubt, line.number, span, found, "small steps");
            }
            let (from, to) = match (base, slips[k]) {
                (false, true) => (0, 0),
                (false, false) => (1, line.alone.max(1)),
                (true, true) => (0, 1),
                (true, false) if line.damage.is_some() || (line.has_differences() && !chain) => {
                    (0, line.alone)
                }
                (true, false) => (0, doubtful.unwrap_or(line.len)),
            };
            if to - from < line.len {
                losses = true;
                if line.damage.is_none() {
                    let code = if slips[k] {
                        Code::LineSlipped
                    } else if doubtful.is_some() {
                        Code::DifferenceInDoubt
                    } else {
                        Code::YCheckFailed
                    };
                    outcome.left_out.push(LeftOut {
                        first: line.number,
                        last: line.number,
                        code,
                    });
                }
            }
            pieces.push(OrdinatePiece {
                line: k,
                at,
                from,
                to: to.min(line.len),
            });
        }
        let starts_with_a_value = self.starts_with_a_value();
        let written = self.write(source, grid, stretch.point, &pieces);
        let (curve, placed) = (written.curve, written.placed);
        for number in written.out_of_range {
            losses = true;
            let found = "an ordinate beyond the range of numbers".into();
            let line = self.lines.iter().find(|l| l.number == number);
            let span = line.map_or(stretch.head, |l| Span {
                start: l.start,
                end: l.end,
            });
            notes.add(
                Code::NumberTooLong,
                number,
                span,
                found,
                "a number below 1.8E+308",
            );
            outcome.left_out.push(LeftOut {
                first: number,
                last: number,
                code: Code::NumberTooLong,
            });
        }
        if checks == Checks::All
            && let Some(last) = self.lines.last().filter(|l| l.wants_check() && !losses)
        {
            let span = Span {
                start: last.start,
                end: last.end,
            };
            let found = "differences at the end".into();
            notes.add(
                Code::YCheckLineMissing,
                last.number,
                span,
                found,
                "a line with the last X and ordinate",
            );
        }
        self.check_labels(
            &curve,
            grid,
            placed,
            losses,
            starts_with_a_value,
            stretch,
            notes,
            outcome,
        );
        outcome.curve = curve;
        outcome.left_out.sort_by_key(|l| l.first);
    }

    /// The place of each line's first printed ordinate, and which lines hold another count of points than the
    /// next line's X tells.
    fn place(
        &self,
        source: &RecordSource<'_>,
        layout: &PointLayout,
        outcome: &mut TableOutcome,
        notes: &mut Notes<'_>,
    ) -> (Vec<Option<usize>>, Vec<bool>) {
        let PointLayout {
            grid,
            checks,
            by_labels,
        } = layout;
        let checks = *checks;
        let n = self.lines.len();
        let count = self.total(checks);
        let whole = self.complete && self.checks_hold(checks) && self.axis.count() == Some(count);
        let mut positions = vec![None; n];
        let mut slips = vec![false; n];
        let mut next: Option<usize> = Some(0);
        let mut last_place: Option<usize> = None;
        for k in 0..n {
            let line = &self.lines[k];
            let expected = next
                .filter(|_| !self.gaps[k])
                .map(|n| n - usize::from(self.is_check(k, checks)).min(n));
            let span = Span {
                start: line.start,
                end: line.start + (line.x.end - line.start),
            };
            let printed = || quote(source.text.get(line.start..line.x.end).unwrap_or("").trim());
            let sound = expected.filter(|e| self.fits(k, *e, grid));
            let at = if let Some(e) = sound {
                if self.off(k, e, grid) > self.tolerance(k, grid) {
                    let expected = format!("X = {}", grid.at(e));
                    notes.add(Code::XCheckOff, line.number, span, printed(), expected);
                }
                Some(e)
            } else if let Some(e) = expected.filter(|e| *by_labels || self.goes_on(k, *e, grid, checks)) {
                notes.add(
                    Code::XCheckFailed,
                    line.number,
                    span,
                    printed(),
                    format!("X = {}", grid.at(e)),
                );
                Some(e)
            } else {
                let by_x = self
                    .index_by_x(k, grid)
                    .filter(|at| last_place.is_none_or(|l| *at > l));
                match by_x {
                    Some(at) => {
                        // Where the labels agree with the count, no line has lost a point.
                        if let Some(e) = expected.filter(|_| !whole)
                            && k > 0
                        {
                            slips[k - 1] = true;
                            let before = &self.lines[k - 1];
                            let span = Span {
                                start: before.start,
                                end: before.end,
                            };
                            let found = format!("{} ordinates", before.len);
                            let wanted = (before.len + at).saturating_sub(e);
                            notes.add(
                                Code::LineSlipped,
                                before.number,
                                span,
                                found,
                                format!("{wanted} ordinates"),
                            );
                        }
                        Some(at)
                    }
                    None => {
                        let wanted =
                            expected.map_or("an X of the spacing".into(), |e| format!("X = {}", grid.at(e)));
                        notes.add(Code::LineOutOfPlace, line.number, span, printed(), wanted);
                        let code = Code::LineOutOfPlace;
                        outcome.left_out.push(LeftOut {
                            first: line.number,
                            last: line.number,
                            code,
                        });
                        None
                    }
                }
            };
            positions[k] = at;
            if at.is_some() {
                last_place = at;
            }
            next = at.filter(|_| line.damage.is_none()).map(|at| at + line.len);
        }
        (positions, slips)
    }

    /// Whether the lines go on as counted although the X of line `k` says otherwise: then that X is a misprint.
    pub(super) fn goes_on(&self, k: usize, at: usize, grid: &EvenGrid, checks: Checks) -> bool {
        let line = &self.lines[k];
        if line.damage.is_some() {
            return false;
        }
        let next = at + line.len;
        if k + 1 < self.lines.len() {
            !self.gaps[k + 1] && self.fits(k + 1, next - usize::from(self.is_check(k + 1, checks)), grid)
        } else {
            self.complete && self.axis.count() == Some(next)
        }
    }
}
