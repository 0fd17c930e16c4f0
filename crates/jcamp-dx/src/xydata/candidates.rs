//! The spacings that the labels and the lines of a table allow, and how well each fits.

use super::{AnalysedTable, Checks};
use crate::grid::EvenGrid;
use crate::number::Decimal;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum FirstPoint {
    /// FIRSTX as stated.
    Label,
    /// FIRSTX times XFACTOR.
    Scaled,
    /// The X printed on the first line.
    Printed,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum By {
    Npoints,
    Count,
    Delta,
    MinusDelta,
    Lines,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct TableCandidate {
    pub(super) grid: EvenGrid,
    pub(super) kind: FirstPoint,
    pub(super) by: By,
}

impl AnalysedTable<'_> {
    /// The spacings that the labels allow, most trusted first.
    pub(super) fn candidates(&self, checks: Checks) -> Vec<TableCandidate> {
        let axis = self.axis;
        let mut out = Vec::new();
        let mut firsts: Vec<(Decimal, FirstPoint)> = Vec::new();
        let printed = self.exact_x(0);
        let unscaled = self.lines[0].x.decimal();
        if let Some(first) = axis.first_x {
            firsts.push((first.decimal, FirstPoint::Label));
            let scaled = axis.x_factor != Decimal::ONE
                && unscaled
                    .is_some_and(|x| (x.value() - first.value()).abs() <= 2.0 * x.half_unit() * 1.000_001);
            if scaled && let Some(product) = first.decimal.times(axis.x_factor) {
                firsts.push((product, FirstPoint::Scaled));
            }
        }
        if let Some(printed) = printed {
            firsts.push((printed, FirstPoint::Printed));
        }
        let count = self.total(checks);
        for (first, kind) in firsts {
            let mut lasts: Vec<Decimal> = axis.last_x.iter().map(|l| l.decimal).collect();
            let mut deltas: Vec<Decimal> = axis.delta_x.iter().map(|d| d.decimal).collect();
            if axis.x_factor != Decimal::ONE && kind != FirstPoint::Label {
                lasts.extend(axis.last_x.and_then(|l| l.decimal.times(axis.x_factor)));
                deltas.extend(axis.delta_x.and_then(|d| d.decimal.times(axis.x_factor)));
            }
            for last in lasts {
                if let Some(n) = axis.count().filter(|n| *n >= 2) {
                    out.extend(EvenGrid::between(first, last, n - 1).map(|grid| TableCandidate {
                        grid,
                        kind,
                        by: By::Npoints,
                    }));
                }
                if self.complete && count >= 2 && axis.count() != Some(count) {
                    out.extend(
                        EvenGrid::between(first, last, count - 1).map(|grid| TableCandidate {
                            grid,
                            kind,
                            by: By::Count,
                        }),
                    );
                }
            }
            for delta in deltas {
                out.extend(EvenGrid::stepping(first, delta).map(|grid| TableCandidate {
                    grid,
                    kind,
                    by: By::Delta,
                }));
                let minus = Decimal {
                    mantissa: -delta.mantissa,
                    exponent: delta.exponent,
                };
                out.extend(EvenGrid::stepping(first, minus).map(|grid| TableCandidate {
                    grid,
                    kind,
                    by: By::MinusDelta,
                }));
            }
        }
        out.retain(|c| c.grid.step() != 0.0 && c.grid.step().is_finite());
        out
    }

    /// The spacing by FIRSTX, LASTX and NPOINTS, if the count of points is that of NPOINTS; else by FIRSTX and DELTAX.
    pub(super) fn labels_grid(&self, count: usize) -> Option<EvenGrid> {
        let axis = self.axis;
        let first = axis.first_x?.decimal;
        let between = axis
            .last_x
            .filter(|_| self.complete && axis.count() == Some(count))
            .and_then(|last| EvenGrid::between(first, last.decimal, count.saturating_sub(1)));
        between
            .or_else(|| EvenGrid::stepping(first, axis.delta_x?.decimal))
            .filter(|grid| count == 1 || (grid.step() != 0.0 && grid.step().is_finite()))
    }

    /// The spacing from the X printed at the lines. Two lines always agree, so with labels that disagree it takes
    /// more of them.
    pub(super) fn lines_grid(&self, checks: Checks, no_labels: bool) -> Option<EvenGrid> {
        let enough = if no_labels { 2 } else { 4 };
        let whole = !self.gaps.iter().any(|g| *g) && self.checks_hold(checks) && (self.complete || no_labels);
        if self.lines.len() < enough || !whole {
            return None;
        }
        let last = self.lines.len() - 1;
        let before: usize = (0..last)
            .map(|k| self.lines[k].len - usize::from(self.is_check(k, checks)))
            .sum();
        let at = before - usize::from(self.is_check(last, checks));
        let grid = EvenGrid::between(self.exact_x(0)?, self.exact_x(last)?, at)?;
        let known = at > 0 && grid.step() != 0.0 && grid.step().is_finite();
        (known && self.tight(&grid, checks)).then_some(grid)
    }

    /// Whether every line stands where the count puts it. After a gap the count starts anew from the X.
    pub(super) fn tight(&self, grid: &EvenGrid, checks: Checks) -> bool {
        let mut next = Some(0usize);
        for k in 0..self.lines.len() {
            let expected = match next {
                Some(n) if !self.gaps[k] => Some(n - usize::from(self.is_check(k, checks)).min(n)),
                _ => None,
            };
            let at = match expected {
                Some(e) if self.off(k, e, grid) <= self.tolerance(k, grid) => e,
                Some(_) => return false,
                None => match self.index_by_x(k, grid) {
                    Some(at) => at,
                    None => return false,
                },
            };
            next = self.lines[k].damage.is_none().then_some(at + self.lines[k].len);
        }
        true
    }

    /// How many lines follow the line before them as the count says, by their X alone.
    fn score(&self, grid: &EvenGrid, checks: Checks) -> usize {
        (1..self.lines.len())
            .filter(|k| {
                let (Some(a), Some(b)) = (self.index_by_x(k - 1, grid), self.index_by_x(*k, grid)) else {
                    return false;
                };
                b + usize::from(self.is_check(*k, checks)) == a + self.lines[k - 1].len
            })
            .count()
    }

    /// Of all spacings that every line agrees with, the one that most labels support; nothing if two are equal.
    pub(super) fn vote(
        &self,
        candidates: &[TableCandidate],
        checks: Checks,
        count: usize,
    ) -> Option<TableCandidate> {
        let tight: Vec<&TableCandidate> = candidates
            .iter()
            .filter(|c| {
                self.tight(&c.grid, checks) && (c.by != By::Count || self.count_holds(&c.grid, checks))
            })
            .collect();
        let best_kind = tight.iter().map(|c| c.kind).min()?;
        let tight: Vec<&TableCandidate> = tight.into_iter().filter(|c| c.kind == best_kind).collect();
        let reach = count.max(self.axis.count().unwrap_or(0)).saturating_sub(1);
        let same = |a: &EvenGrid, b: &EvenGrid| (a.at(reach) - b.at(reach)).abs() <= 0.1 * a.step().abs();
        let votes: Vec<usize> = tight
            .iter()
            .map(|c| tight.iter().filter(|other| same(&c.grid, &other.grid)).count())
            .collect();
        let most = *votes.iter().max()?;
        let winner = tight[votes.iter().position(|v| *v == most)?];
        let contested = tight
            .iter()
            .zip(&votes)
            .any(|(c, v)| *v == most && !same(&winner.grid, &c.grid));
        (!contested).then_some(*winner)
    }

    /// Whether the counted points may stand against NPOINTS: no check value speaks against the count, and either
    /// DELTAX supports the spacing, or every line does within a tenth of it. Otherwise a lost point would only
    /// stretch the spacing a little.
    fn count_holds(&self, grid: &EvenGrid, checks: Checks) -> bool {
        let step = grid.step();
        // One point more or less among n changes the spacing by its n-th part; that much DELTAX has to tell.
        let n = self.total(checks).max(1) as f64;
        let supported = self.axis.delta_x.is_some_and(|d| {
            (d.value().abs() - step.abs()).abs()
                <= (d.decimal.half_unit() * 1.000_001).min(0.2 * step.abs() / n)
        });
        let exact = || {
            let mut next = 0usize;
            (0..self.lines.len()).all(|k| {
                let at = next - usize::from(self.is_check(k, checks)).min(next);
                next = at + self.lines[k].len;
                self.off(k, at, grid) <= 0.1 * step.abs()
            })
        };
        self.checks_hold(checks) && (supported || exact())
    }

    /// For damaged tables: the spacing with which most neighbouring lines agree.
    pub(super) fn best_scored(
        &self,
        candidates: &[TableCandidate],
        checks: Checks,
    ) -> Option<TableCandidate> {
        let pairs = self.lines.len() - 1;
        let mut best: Option<(usize, TableCandidate)> = None;
        for candidate in candidates {
            let score = self.score(&candidate.grid, checks);
            let enough = score >= 1 && score * 2 >= pairs;
            if enough && best.is_none_or(|(s, _)| score > s) {
                best = Some((score, *candidate));
            }
        }
        best.map(|(_, candidate)| candidate)
    }
}
