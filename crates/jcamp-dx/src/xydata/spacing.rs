//! Chooses the spacing of a table, and tells where another one is as plausible.

use super::candidates::{By, FirstPoint, TableCandidate};
use super::{AnalysedTable, Checks, PointLayout};
use crate::axis::StatedNumber;
use crate::choice::Choice;
use crate::grid::EvenGrid;
use crate::number::Decimal;
use crate::remark::{Code, Notes};
use crate::table::{DataStretch, Doubt, TableOutcome};

impl AnalysedTable<'_> {
    /// Chooses the spacing and the meaning of the first ordinates; remarks on labels that disagree.
    pub(super) fn choose(
        &self,
        stretch: &DataStretch,
        notes: &mut Notes<'_>,
        outcome: &mut TableOutcome,
    ) -> Option<PointLayout> {
        let checks = match stretch.told.get(Choice::YChecks) {
            Some(true) => Checks::All,
            _ => self.choose_checks(),
        };
        let count = self.total(checks);
        let axis = self.axis;
        let layout = |grid: EvenGrid| PointLayout {
            grid,
            checks,
            by_labels: false,
        };
        if [Choice::Spacing, Choice::Form]
            .iter()
            .any(|choice| stretch.told.get(*choice) == Some(true))
        {
            let Some(grid) = self.labels_grid(count) else {
                self.note_undecided(count, stretch, notes);
                return None;
            };
            return Some(PointLayout {
                by_labels: true,
                ..layout(grid)
            });
        }
        // The usual case: all labels agree with all lines.
        if let (Some(first), Some(last), Some(n)) = (axis.first_x, axis.last_x, axis.count())
            && n >= 2
            && n == count
            && self.complete
            && let Some(grid) = EvenGrid::between(first.decimal, last.decimal, n - 1)
            && grid.step() != 0.0
            && self.tight(&grid, checks)
        {
            outcome.agreed += 3;
            if let Some(by_lines) = self.lines_fit_better(&grid, checks) {
                match stretch.told.get(Choice::Spacing) {
                    Some(_) => {
                        outcome.agreed = 0;
                        return Some(layout(by_lines));
                    }
                    None => outcome.doubts.push(Doubt::new(Choice::Spacing, true)),
                }
            }
            if self.checks_in_doubt(checks, &grid) {
                outcome.doubts.push(Doubt::new(Choice::YChecks, false));
            }
            return Some(layout(grid));
        }
        // The labels agree with the count to the point, and the X at the lines do not: no point is lost, whichever holds.
        if stretch.told.get(Choice::Spacing).is_none()
            && count == axis.count().unwrap_or(0)
            && count > 2
            && axis.last_x.is_some()
            && self.complete
            && self.checks_hold(checks)
            && let Some(grid) = self.labels_grid(count)
            && !self.stays(&grid, checks)
            && self.labels_agree(&grid, count)
            && !self.may_be_pairs()
        {
            outcome.agreed += 3;
            outcome.doubts.push(Doubt::new(Choice::Spacing, true));
            return Some(PointLayout {
                by_labels: true,
                ..layout(grid)
            });
        }
        if count == 1 && self.lines.len() <= 2 {
            return self.single(notes, stretch, outcome).map(layout);
        }
        let candidates = self.candidates(checks);
        let chosen = self
            .vote(&candidates, checks, count)
            .or_else(|| self.best_scored(&candidates, checks));
        let chosen = match chosen {
            Some(chosen) => chosen,
            None if self.may_be_pairs() && (self.is_ordered() || self.labels_grid(count).is_some()) => {
                outcome.as_pairs = true;
                if !self.are_pairs(count) {
                    outcome.doubts.push(Doubt::new(Choice::Form, false));
                }
                return None;
            }
            None => match self.lines_grid(checks, candidates.is_empty()) {
                Some(grid) => TableCandidate {
                    grid,
                    kind: FirstPoint::Printed,
                    by: By::Lines,
                },
                None => return self.by_labels_alone((checks, count), stretch, notes, outcome),
            },
        };
        let by_lines = self.lines_grid(checks, true);
        let chosen = match (chosen.by, by_lines, stretch.told.get(Choice::Spacing)) {
            (By::Delta | By::MinusDelta, Some(grid), Some(false)) => TableCandidate {
                grid,
                kind: FirstPoint::Printed,
                by: By::Lines,
            },
            _ => chosen,
        };
        if stretch.told.get(Choice::Spacing).is_none()
            && let Some(standard) = self.spacing_in_doubt(&chosen, by_lines, checks)
        {
            outcome.doubts.push(Doubt::new(Choice::Spacing, standard));
        }
        if self.checks_in_doubt(checks, &chosen.grid) {
            outcome.doubts.push(Doubt::new(Choice::YChecks, false));
        }
        self.remark_choice(&chosen, stretch, notes);
        outcome.agreed += u32::from(chosen.kind == FirstPoint::Label) + u32::from(chosen.by == By::Npoints);
        Some(layout(chosen.grid))
    }

    /// The spacing by the labels, where the lines give none.
    fn by_labels_alone(
        &self,
        (checks, count): (Checks, usize),
        stretch: &DataStretch,
        notes: &mut Notes<'_>,
        outcome: &mut TableOutcome,
    ) -> Option<PointLayout> {
        let layout = |grid: EvenGrid, by_labels: bool| PointLayout {
            grid,
            checks,
            by_labels,
        };
        let stated = self
            .labels_grid(count)
            .filter(|_| self.axis.count() == Some(count));
        // A single misprint, and all else agrees: in a short table too few lines are left to vote.
        if let Some(grid) = stated.filter(|grid| {
            self.stays(grid, checks) && self.labels_agree(grid, count) && self.misprints(grid, checks) < 2
        }) {
            outcome.agreed += 3;
            return Some(layout(grid, false));
        }
        // Nothing is lost, so counting on by the labels is a reading; the other is none at all.
        let asked = stretch.told.get(Choice::Spacing).is_none() && self.complete;
        if let Some(grid) = self.labels_grid(count).filter(|_| asked) {
            outcome.doubts.push(Doubt::new(Choice::Spacing, true));
            return Some(layout(grid, true));
        }
        self.note_undecided(count, stretch, notes);
        None
    }

    fn note_undecided(&self, count: usize, stretch: &DataStretch, notes: &mut Notes<'_>) {
        let found = self.describe(count);
        notes.add(
            Code::GridUndecided,
            stretch.line,
            stretch.head,
            found,
            "labels that agree",
        );
    }

    /// The spacing by the X at the line starts, if it gives them all to the digit and that of the labels does not. X
    /// that are printed more coarsely than the spacing let a wrong FIRSTX or LASTX pass otherwise.
    fn lines_fit_better(&self, grid: &EvenGrid, checks: Checks) -> Option<EvenGrid> {
        let step = grid.step().abs();
        let mut next = 0usize;
        let mut rounded = true;
        let mut places = Vec::with_capacity(self.lines.len());
        for k in 0..self.lines.len() {
            let at = next - usize::from(self.is_check(k, checks)).min(next);
            next = at + self.lines[k].len;
            places.push(at);
            // Coarse is a tenth of the spacing: what is finer was compared closely enough.
            let coarse = self.x_unit(k) > 0.1 * step;
            rounded &= !coarse || self.off(k, at, grid) <= 0.5 * self.x_unit(k) * 1.000_001;
        }
        if rounded || self.lines.len() < 3 {
            return None;
        }
        let by_lines = self.lines_grid(checks, true)?;
        let exact = places
            .iter()
            .enumerate()
            .all(|(k, at)| self.off(k, *at, &by_lines) <= 1e-9 * step);
        exact.then_some(by_lines)
    }

    fn single(
        &self,
        notes: &mut Notes<'_>,
        stretch: &DataStretch,
        outcome: &mut TableOutcome,
    ) -> Option<EvenGrid> {
        let printed = self.exact_x(0)?;
        let first = self.axis.first_x;
        let agrees = first.is_some_and(|f| (f.value() - printed.value()).abs() <= self.x_unit(0) * 1.000_001);
        let one = self.axis.count().is_none_or(|n| n == 1);
        match first {
            Some(f) if agrees => {
                outcome.agreed += 1 + u32::from(self.axis.count() == Some(1));
                EvenGrid::between(f.decimal, f.decimal, 0)
            }
            Some(f) => {
                let (found, expected) = (f.value().to_string(), printed.value().to_string());
                notes.add(Code::FirstXDiffers, f.line, f.span, found, expected);
                outcome.doubts.push(Doubt::new(Choice::Spacing, false));
                EvenGrid::between(printed, printed, 0)
            }
            None => {
                if one {
                    notes.add(
                        Code::FirstXMissing,
                        stretch.line,
                        stretch.head,
                        "no FIRSTX".into(),
                        "FIRSTX",
                    );
                }
                EvenGrid::between(printed, printed, 0)
            }
        }
    }

    /// Whether another spacing is as plausible as the chosen one, and if so, whether the chosen one is that of the
    /// labels.
    fn spacing_in_doubt(
        &self,
        chosen: &TableCandidate,
        by_lines: Option<EvenGrid>,
        checks: Checks,
    ) -> Option<bool> {
        let axis = self.axis;
        let (grid, last) = (&chosen.grid, self.total(checks).saturating_sub(1));
        let step = grid.step().abs();
        let differs = |stated: Option<StatedNumber>, value: f64| {
            stated.is_some_and(|stated| {
                (stated.value() - value).abs() > stated.decimal.half_unit().max(0.1 * step) * 1.000_001
            })
        };
        let delta_agrees = axis.delta_x.is_some_and(|delta| {
            (delta.value().abs() - step).abs() <= delta.decimal.half_unit().max(0.001 * step) * 1.000_001
        });
        let standard = chosen.by != By::Lines && chosen.kind != FirstPoint::Printed;
        let doubtful = match chosen.by {
            // Two lines tell nothing of a lost point, and labels that say otherwise may be right. Where the X are
            // printed coarsely, they do not tell the others exactly.
            By::Lines => {
                let fine = self.x_unit(0) <= 0.001 * step;
                let exact = (0..self.lines.len()).all(|k| {
                    self.index_by_x(k, grid).is_some_and(|at| {
                        self.off(k, at, grid) <= if fine { 0.5 * self.x_unit(k) } else { 1e-9 * step }
                    })
                });
                let denied = differs(axis.first_x, grid.at(0))
                    || differs(axis.last_x, grid.at(last))
                    || axis.npoints.is_some() && axis.count() != Some(last + 1)
                    || axis.delta_x.is_some() && !delta_agrees;
                denied || !exact || (self.lines.len() < 3 && axis.count().is_none() && !delta_agrees)
            }
            // One line cannot tell whether its X or FIRSTX is wrong.
            By::Npoints | By::Count => {
                chosen.kind == FirstPoint::Printed
                    && self.lines.len() == 1
                    && differs(axis.first_x, grid.at(0))
                    && !delta_agrees
            }
            // A rounded DELTAX runs away from the X at the lines.
            By::Delta | By::MinusDelta => by_lines.is_some_and(|lines| {
                let printed = 0.5 * self.x_unit(self.lines.len() - 1);
                (lines.at(last) - grid.at(last)).abs() > printed.max(0.001 * step) * 1.000_001
            }),
        };
        doubtful.then_some(standard)
    }

    /// Whether counting alone places every line on the grid, single misprinted X passed over.
    fn stays(&self, grid: &EvenGrid, checks: Checks) -> bool {
        let mut next = 0usize;
        (0..self.lines.len()).all(|k| {
            let at = next - usize::from(self.is_check(k, checks)).min(next);
            next = at + self.lines[k].len;
            self.fits(k, at, grid) || self.goes_on(k, at, grid, checks)
        })
    }

    /// How many lines do not stand where counting places them.
    fn misprints(&self, grid: &EvenGrid, checks: Checks) -> usize {
        let mut next = 0usize;
        let misplaced = (0..self.lines.len()).filter(|&k| {
            let at = next - usize::from(self.is_check(k, checks)).min(next);
            next = at + self.lines[k].len;
            !self.fits(k, at, grid)
        });
        misplaced.count()
    }

    /// Whether DELTAX, where it is stated, is the spacing by FIRSTX, LASTX and NPOINTS.
    fn labels_agree(&self, grid: &EvenGrid, count: usize) -> bool {
        let step = grid.step();
        let delta = self.axis.delta_x.is_none_or(|delta| {
            let slack = (0.5 * step.abs() / count.max(1) as f64).max(delta.decimal.half_unit()) * 1.000_001;
            (delta.value().abs() - step.abs()).abs() <= slack
        });
        // With a factor the labels may hold the X without it: that is another question.
        delta && (self.axis.x_factor == Decimal::ONE || self.fits(0, 0, grid))
    }

    /// Every line holds one ordinate that stands alone: the printed X are all there is.
    fn may_be_pairs(&self) -> bool {
        self.lines.len() > 2 && self.lines.iter().all(|l| l.len == 1 && l.damage.is_none())
    }

    /// Whether the X of all lines rise or fall.
    fn is_ordered(&self) -> bool {
        let steps = || (1..self.lines.len()).map(|k| self.printed_x(k) - self.printed_x(k - 1));
        steps().all(|step| step > 0.0) || steps().all(|step| step < 0.0)
    }

    /// Whether lines of one ordinate are certainly pairs: the X rise or fall, and hardly any of them stands where an
    /// even spacing would put it. If most did, or if only a few tell, the others might be misprints.
    fn are_pairs(&self, count: usize) -> bool {
        let Some(grid) = self.labels_grid(count) else {
            return self.is_ordered();
        };
        let inner = 1..self.lines.len().saturating_sub(1);
        let even = inner
            .clone()
            .filter(|k| self.off(*k, *k, &grid) <= self.tolerance(*k, &grid));
        self.is_ordered() && inner.len() >= 3 && even.count() * 4 <= inner.len()
    }

    fn remark_choice(&self, chosen: &TableCandidate, stretch: &DataStretch, notes: &mut Notes<'_>) {
        let axis = self.axis;
        let at_zero = chosen.grid.at(0);
        match (chosen.kind, axis.first_x) {
            (FirstPoint::Label, _) => {}
            (FirstPoint::Scaled, Some(f)) => {
                let (found, expected) = (f.value().to_string(), at_zero.to_string());
                notes.add(Code::FirstXScaled, f.line, f.span, found, expected);
            }
            (_, Some(f)) => {
                let (found, expected) = (f.value().to_string(), at_zero.to_string());
                notes.add(Code::FirstXDiffers, f.line, f.span, found, expected);
            }
            (_, None) => {
                notes.add(
                    Code::FirstXMissing,
                    stretch.line,
                    stretch.head,
                    "no FIRSTX".into(),
                    "FIRSTX",
                );
            }
        }
        match chosen.by {
            By::Lines => {
                let found = self.describe(self.total(Checks::All));
                notes.add(
                    Code::GridFromLines,
                    stretch.line,
                    stretch.head,
                    found,
                    "FIRSTX, LASTX and NPOINTS",
                );
            }
            By::Delta | By::MinusDelta => {
                let (line, span) = axis
                    .last_x
                    .map_or((stretch.line, stretch.head), |l| (l.line, l.span));
                let found = axis
                    .last_x
                    .map_or("no LASTX".to_owned(), |l| l.value().to_string());
                notes.add(
                    Code::GridFromDelta,
                    line,
                    span,
                    found,
                    "LASTX that agrees with the lines",
                );
            }
            By::Npoints | By::Count => {}
        }
    }

    fn describe(&self, count: usize) -> String {
        let text = |s: Option<StatedNumber>| s.map_or("absent".to_owned(), |s| s.value().to_string());
        format!(
            "FIRSTX {}, LASTX {}, NPOINTS {}, DELTAX {} and {count} points",
            text(self.axis.first_x),
            text(self.axis.last_x),
            text(self.axis.npoints),
            text(self.axis.delta_x),
        )
    }
}
