//! From the decoded lines of an `(X++(Y..Y))` table to a curve: which points are certain, and where they stand.
//!
//! Three things tell whether a line is sound: its X against the spacing, the count of its ordinates against the X
//! of the next line, and for differences the ordinate that the next line repeats. A point is kept only if nothing
//! of this speaks against it. See the functions for what is decided where.

use crate::asdf::decode::{DataLine, Ends, LONG, MISSING, Ordinates, Setting, decode};
use crate::axis::{Axis, Stated};
use crate::choice::Choice;
use crate::curve::{Curve, Decimals, DecimalsBuilder, LineMap, Missing};
use crate::factors::{Abscissas, Digits, Says, doubt_of_x, doubt_of_y, says};
use crate::grid::Grid;
use crate::number::{Decimal, EXACT, POWERS, decimals_of, parse_long, product, unit};
use crate::records::Source;
use crate::remark::{Code, Notes, Span, quote};
use crate::table::{Doubt, LeftOut, Outcome, Stretch};

/// Which lines start with a check value instead of a new point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Checks {
    /// Every line after one that ends in difference form, as the standard says.
    All,
    /// None, although differences are used.
    None,
    /// Those after a difference, but not those after a repeated difference.
    NotAfterDuplicate,
}

/// Where the points of a table stand.
#[derive(Clone, Copy, Debug)]
struct Layout {
    grid: Grid,
    checks: Checks,
    /// The labels were taken against the X at the line starts, because someone said so.
    by_labels: bool,
}

/// A table under analysis.
struct Table<'a> {
    ordinates: Ordinates,
    lines: &'a [DataLine],
    /// The X printed at each line, as true values.
    x: Vec<f64>,
    /// The line before this one is absent or damaged, so counting cannot go on over it.
    gaps: Vec<bool>,
    axis: &'a Axis,
    /// Nothing was lost: the count of ordinates is the count of points.
    complete: bool,
}

/// Reads the table of a stretch.
pub(crate) fn read(
    source: &Source<'_>,
    stretch: &Stretch,
    axis: &Axis,
    budget: usize,
    notes: &mut Notes<'_>,
) -> Outcome {
    let setting = Setting {
        from: stretch.from,
        to: stretch.to,
        line: stretch.line,
        point: stretch.point,
        exponents: stretch.exponents,
        doubtful_exponents: stretch.doubtful_exponents,
        promised: axis.count(),
        budget,
        open_ended: stretch.open_ended,
    };
    let mut ordinates = decode(source, &setting);
    let mut outcome = Outcome::default();
    remark_lines(source, stretch, &ordinates, &mut outcome, notes);
    let lines: Vec<DataLine> = std::mem::take(&mut ordinates.lines)
        .into_iter()
        .filter(|l| l.len > 0 || l.damage.is_some())
        .collect();
    if lines.is_empty() {
        return outcome;
    }
    let lost_before = |k: usize| {
        let from = if k == 0 { 0 } else { lines[k - 1].number };
        let here = lines[k].number;
        ordinates
            .lost
            .iter()
            .any(|(line, _)| *line > from && *line < here)
    };
    let gaps: Vec<bool> = (0..lines.len())
        .map(|k| (k > 0 && lines[k - 1].damage.is_some()) || (!ordinates.lost.is_empty() && lost_before(k)))
        .collect();
    let complete = !gaps.iter().any(|g| *g)
        && lines.iter().all(|l| l.damage.is_none())
        && ordinates.lost.is_empty()
        && ordinates.cut.is_none();
    let printed = |line: &DataLine| {
        let mantissa = if line.x.negative {
            -line.x.mantissa
        } else {
            line.x.mantissa
        };
        product(mantissa, line.x.exponent, axis.x_factor)
    };
    let table = Table {
        ordinates,
        lines: &lines,
        x: lines.iter().map(printed).collect(),
        gaps,
        axis,
        complete,
    };
    let Some(layout) = table.choose(stretch, notes, &mut outcome) else {
        let first = lines[0].number;
        let last = lines[lines.len() - 1].number;
        outcome.left_out.push(LeftOut {
            first,
            last,
            code: Code::GridUndecided,
        });
        return outcome;
    };
    table.assemble(source, stretch, &layout, &mut outcome, notes);
    outcome
}

/// Remarks about what the decoder met.
fn remark_lines(
    source: &Source<'_>,
    stretch: &Stretch,
    ordinates: &Ordinates,
    outcome: &mut Outcome,
    notes: &mut Notes<'_>,
) {
    let quoted = |from: usize, to: usize| quote(source.text.get(from..to).unwrap_or(""));
    let char_end = |at: usize| {
        let mut end = at + 1;
        while end < source.text.len() && !source.text.is_char_boundary(end) {
            end += 1;
        }
        end.min(source.text.len())
    };
    for (line, damage) in &ordinates.lost {
        let end = memchr::memchr2(b'\n', b'\r', &source.text.as_bytes()[damage.at..stretch.to])
            .map_or(stretch.to, |n| damage.at + n);
        let span = Span {
            start: damage.at,
            end,
        };
        notes.add(damage.code, *line, span, quoted(damage.at, end), "a number");
        outcome.left_out.push(LeftOut {
            first: *line,
            last: *line,
            code: damage.code,
        });
    }
    for line in &ordinates.lines {
        if let Some(damage) = line.damage {
            let end = char_end(damage.at);
            let expected = "an ordinate in one of the forms of the standard";
            let span = Span {
                start: damage.at,
                end,
            };
            notes.add(damage.code, line.number, span, quoted(damage.at, end), expected);
            outcome.left_out.push(LeftOut {
                first: line.number,
                last: line.number,
                code: damage.code,
            });
        } else if line.len == 0 && ordinates.cut.is_none_or(|c| c.0 != line.number) {
            let span = Span {
                start: line.start,
                end: line.end,
            };
            notes.add(
                Code::LineWithoutOrdinates,
                line.number,
                span,
                quoted(line.start, line.end),
                "ordinates",
            );
        }
    }
    if let Some((line, from, to)) = ordinates.cut {
        notes.add(
            Code::TableCutOff,
            line,
            Span { start: from, end: to },
            "the end of the text".into(),
            "##END=",
        );
        outcome.left_out.push(LeftOut {
            first: line,
            last: line,
            code: Code::TableCutOff,
        });
    }
    if let Some((line, at)) = ordinates.odd_exponent {
        let expected = "sign and two digits, as in E+02";
        notes.add(
            Code::ExponentSpelling,
            line,
            Span {
                start: at,
                end: at + 1,
            },
            "an exponent".into(),
            expected,
        );
    }
    if let Some((line, at)) = ordinates.squeezed_or_exponent {
        let span = Span {
            start: at,
            end: at + 1,
        };
        notes.add(
            Code::ExponentOrSqueezed,
            line,
            span,
            "E behind a digit".into(),
            "a sign behind E",
        );
    }
    if let Some((line, _)) = ordinates.stopped {
        let last = line + 1;
        outcome.left_out.push(LeftOut {
            first: last,
            last: u32::MAX,
            code: Code::LimitPoints,
        });
    }
}

impl Table<'_> {
    fn value(&self, line: &DataLine, index: usize) -> (i64, i32) {
        let at = line.first + index;
        (self.ordinates.values[at], self.ordinates.exponent_of(at))
    }

    /// Whether line `k` starts with the last ordinate of the line before.
    fn repeats(&self, k: usize) -> bool {
        let (before, line) = (&self.lines[k - 1], &self.lines[k]);
        before.len > 0 && line.len > 0 && self.value(before, before.len - 1) == self.value(line, 0)
    }

    /// Whether line `k` should start with a check value.
    fn is_check(&self, k: usize, checks: Checks) -> bool {
        k > 0
            && !self.gaps[k]
            && self.lines[k - 1].wants_check()
            && match checks {
                Checks::All => true,
                Checks::None => false,
                Checks::NotAfterDuplicate => self.lines[k - 1].ends == Ends::Difference,
            }
    }

    /// Points that the lines hold if nothing is lost.
    fn total(&self, checks: Checks) -> usize {
        let all: usize = self.lines.iter().map(|l| l.len).sum();
        all - (0..self.lines.len())
            .filter(|k| self.is_check(*k, checks))
            .count()
    }

    fn printed_x(&self, k: usize) -> f64 {
        self.x[k]
    }

    /// The printed X of line `k` as a true, exact decimal.
    fn exact_x(&self, k: usize) -> Option<Decimal> {
        self.lines[k].x.decimal()?.times(self.axis.x_factor)
    }

    /// One unit of the last printed digit of the X of line `k`.
    fn x_unit(&self, k: usize) -> f64 {
        (unit(self.lines[k].x.exponent) * self.axis.x_factor.value()).abs()
    }

    /// How far a printed X may be off without a word: one unit of its last digit (in the standard's own Table VI
    /// the X are off by up to 0.0008 with 0.001 printed) or a tenth of the spacing. Where the last digit is nearly
    /// the spacing itself, half of it, or the neighbouring point would pass too.
    fn tolerance(&self, k: usize, grid: &Grid) -> f64 {
        let (unit, step) = (self.x_unit(k) * 1.000_001, grid.step().abs());
        if unit > 0.5 * step && unit <= step * 1.000_01 {
            0.5 * unit
        } else {
            unit.max(0.1 * step)
        }
    }

    fn off(&self, k: usize, at: usize, grid: &Grid) -> f64 {
        (self.printed_x(k) - grid.at(at)).abs()
    }

    /// Whether the X of line `k` can be that of point `at`: not farther than half a spacing. An X printed more
    /// coarsely than the spacing can only be right within its last digit.
    fn fits(&self, k: usize, at: usize, grid: &Grid) -> bool {
        let (off, unit, step) = (self.off(k, at, grid), self.x_unit(k), grid.step().abs());
        off <= 0.5 * step * 1.000_001 || (unit > step * 1.000_01 && off <= unit * 1.000_001)
    }

    /// The point that the X of line `k` names, if it names one clearly.
    fn index_by_x(&self, k: usize, grid: &Grid) -> Option<usize> {
        let index = grid.index_of(self.printed_x(k)).round();
        if !(0.0..1e15).contains(&index) {
            return None;
        }
        let index = index as usize;
        let (unit, step) = (self.x_unit(k), grid.step().abs());
        let allowed = if unit <= 0.5 * step {
            self.tolerance(k, grid)
        } else {
            0.1 * step
        };
        (unit <= step * 1.000_01 && self.off(k, index, grid) <= allowed).then_some(index)
    }

    /// Whether every line stands where the count puts it. After a gap the count starts anew from the X.
    fn tight(&self, grid: &Grid, checks: Checks) -> bool {
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
    fn score(&self, grid: &Grid, checks: Checks) -> usize {
        (1..self.lines.len())
            .filter(|k| {
                let (Some(a), Some(b)) = (self.index_by_x(k - 1, grid), self.index_by_x(*k, grid)) else {
                    return false;
                };
                b + usize::from(self.is_check(*k, checks)) == a + self.lines[k - 1].len
            })
            .count()
    }

    /// Decides which lines start with check values, from the values themselves, then from NPOINTS.
    fn choose_checks(&self) -> Checks {
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
            .partition(|k| self.lines[**k - 1].ends == Ends::Repeated);
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

    /// The spacings that the labels allow, most trusted first.
    fn candidates(&self, checks: Checks) -> Vec<Candidate> {
        let axis = self.axis;
        let mut out = Vec::new();
        let mut firsts: Vec<(Decimal, First)> = Vec::new();
        let printed = self.exact_x(0);
        let unscaled = self.lines[0].x.decimal();
        if let Some(first) = axis.first_x {
            firsts.push((first.decimal, First::Label));
            let scaled = axis.x_factor != Decimal::ONE
                && unscaled
                    .is_some_and(|x| (x.value() - first.value()).abs() <= 2.0 * x.half_unit() * 1.000_001);
            if scaled && let Some(product) = first.decimal.times(axis.x_factor) {
                firsts.push((product, First::Scaled));
            }
        }
        if let Some(printed) = printed {
            firsts.push((printed, First::Printed));
        }
        let count = self.total(checks);
        for (first, kind) in firsts {
            let mut lasts: Vec<Decimal> = axis.last_x.iter().map(|l| l.decimal).collect();
            let mut deltas: Vec<Decimal> = axis.delta_x.iter().map(|d| d.decimal).collect();
            if axis.x_factor != Decimal::ONE && kind != First::Label {
                lasts.extend(axis.last_x.and_then(|l| l.decimal.times(axis.x_factor)));
                deltas.extend(axis.delta_x.and_then(|d| d.decimal.times(axis.x_factor)));
            }
            for last in lasts {
                if let Some(n) = axis.count().filter(|n| *n >= 2) {
                    out.extend(Grid::between(first, last, n - 1).map(|grid| Candidate {
                        grid,
                        kind,
                        by: By::Npoints,
                    }));
                }
                if self.complete && count >= 2 && axis.count() != Some(count) {
                    out.extend(Grid::between(first, last, count - 1).map(|grid| Candidate {
                        grid,
                        kind,
                        by: By::Count,
                    }));
                }
            }
            for delta in deltas {
                out.extend(Grid::stepping(first, delta).map(|grid| Candidate {
                    grid,
                    kind,
                    by: By::Delta,
                }));
                let minus = Decimal {
                    mantissa: -delta.mantissa,
                    exponent: delta.exponent,
                };
                out.extend(Grid::stepping(first, minus).map(|grid| Candidate {
                    grid,
                    kind,
                    by: By::MinusDelta,
                }));
            }
        }
        out.retain(|c| c.grid.step() != 0.0 && c.grid.step().is_finite());
        out
    }

    /// Chooses the spacing and the meaning of the first ordinates; remarks on labels that disagree.
    fn choose(&self, stretch: &Stretch, notes: &mut Notes<'_>, outcome: &mut Outcome) -> Option<Layout> {
        let checks = match stretch.told.get(Choice::YChecks) {
            Some(true) => Checks::All,
            _ => self.choose_checks(),
        };
        let count = self.total(checks);
        let axis = self.axis;
        let layout = |grid: Grid| Layout {
            grid,
            checks,
            by_labels: false,
        };
        if [Choice::Spacing, Choice::Form]
            .iter()
            .any(|choice| stretch.told.get(*choice) == Some(true))
        {
            let Some(grid) = self.labels_grid(count) else {
                let found = self.describe(count);
                notes.add(
                    Code::GridUndecided,
                    stretch.line,
                    stretch.head,
                    found,
                    "labels that agree",
                );
                return None;
            };
            return Some(Layout {
                by_labels: true,
                ..layout(grid)
            });
        }
        // The usual case: all labels agree with all lines.
        if let (Some(first), Some(last), Some(n)) = (axis.first_x, axis.last_x, axis.count())
            && n >= 2
            && n == count
            && self.complete
            && let Some(grid) = Grid::between(first.decimal, last.decimal, n - 1)
            && grid.step() != 0.0
            && self.tight(&grid, checks)
        {
            outcome.agreed += 3;
            if self.checks_in_doubt(checks, &grid) {
                outcome.doubts.push(Doubt::new(Choice::YChecks, false));
            }
            return Some(layout(grid));
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
                Some(grid) => Candidate {
                    grid,
                    kind: First::Printed,
                    by: By::Lines,
                },
                None => {
                    let found = self.describe(count);
                    notes.add(
                        Code::GridUndecided,
                        stretch.line,
                        stretch.head,
                        found,
                        "labels that agree",
                    );
                    return None;
                }
            },
        };
        let by_lines = self.lines_grid(checks, true);
        let chosen = match (chosen.by, by_lines, stretch.told.get(Choice::Spacing)) {
            (By::Delta | By::MinusDelta, Some(grid), Some(false)) => Candidate {
                grid,
                kind: First::Printed,
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
        outcome.agreed += u32::from(chosen.kind == First::Label) + u32::from(chosen.by == By::Npoints);
        Some(layout(chosen.grid))
    }

    /// The spacing by FIRSTX, LASTX and NPOINTS, if the count of points is that of NPOINTS; else by FIRSTX and DELTAX.
    fn labels_grid(&self, count: usize) -> Option<Grid> {
        let axis = self.axis;
        let first = axis.first_x?.decimal;
        let between = axis
            .last_x
            .filter(|_| self.complete && axis.count() == Some(count))
            .and_then(|last| Grid::between(first, last.decimal, count.saturating_sub(1)));
        between
            .or_else(|| Grid::stepping(first, axis.delta_x?.decimal))
            .filter(|grid| count == 1 || (grid.step() != 0.0 && grid.step().is_finite()))
    }

    /// Whether the first ordinates of lines behind differences may be check values although they were taken for new
    /// points. NPOINTS decides, but it may have counted the check values; where values are repeated, the X have to
    /// speak against that, or DELTAX.
    fn checks_in_doubt(&self, checks: Checks, grid: &Grid) -> bool {
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
        let away = |grid: &Grid| (delta.value().abs() - grid.step().abs()).abs();
        let clearly = (10.0 * away(grid)).max(0.01 * grid.step().abs());
        others.any(|other| away(&other.grid) <= clearly)
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

    /// Whether another spacing is as plausible as the chosen one, and if so, whether the chosen one is that of the
    /// labels.
    fn spacing_in_doubt(&self, chosen: &Candidate, by_lines: Option<Grid>, checks: Checks) -> Option<bool> {
        let axis = self.axis;
        let (grid, last) = (&chosen.grid, self.total(checks).saturating_sub(1));
        let step = grid.step().abs();
        let differs = |stated: Option<Stated>, value: f64| {
            stated.is_some_and(|stated| {
                (stated.value() - value).abs() > stated.decimal.half_unit().max(0.1 * step) * 1.000_001
            })
        };
        let delta_agrees = axis.delta_x.is_some_and(|delta| {
            (delta.value().abs() - step).abs() <= delta.decimal.half_unit().max(0.001 * step) * 1.000_001
        });
        let standard = chosen.by != By::Lines && chosen.kind != First::Printed;
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
                chosen.kind == First::Printed
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

    fn describe(&self, count: usize) -> String {
        let text = |s: Option<Stated>| s.map_or("absent".to_owned(), |s| s.value().to_string());
        format!(
            "FIRSTX {}, LASTX {}, NPOINTS {}, DELTAX {} and {count} points",
            text(self.axis.first_x),
            text(self.axis.last_x),
            text(self.axis.npoints),
            text(self.axis.delta_x),
        )
    }

    /// Of all spacings that every line agrees with, the one that most labels support; nothing if two are equal.
    fn vote(&self, candidates: &[Candidate], checks: Checks, count: usize) -> Option<Candidate> {
        let tight: Vec<&Candidate> = candidates
            .iter()
            .filter(|c| {
                self.tight(&c.grid, checks) && (c.by != By::Count || self.count_holds(&c.grid, checks))
            })
            .collect();
        let best_kind = tight.iter().map(|c| c.kind).min()?;
        let tight: Vec<&Candidate> = tight.into_iter().filter(|c| c.kind == best_kind).collect();
        let reach = count.max(self.axis.count().unwrap_or(0)).saturating_sub(1);
        let same = |a: &Grid, b: &Grid| (a.at(reach) - b.at(reach)).abs() <= 0.1 * a.step().abs();
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
    fn count_holds(&self, grid: &Grid, checks: Checks) -> bool {
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

    fn checks_hold(&self, checks: Checks) -> bool {
        (1..self.lines.len()).all(|k| !self.is_check(k, checks) || self.repeats(k))
    }

    /// For damaged tables: the spacing with which most neighbouring lines agree.
    fn best_scored(&self, candidates: &[Candidate], checks: Checks) -> Option<Candidate> {
        let pairs = self.lines.len() - 1;
        let mut best: Option<(usize, Candidate)> = None;
        for candidate in candidates {
            let score = self.score(&candidate.grid, checks);
            let enough = score >= 1 && score * 2 >= pairs;
            if enough && best.is_none_or(|(s, _)| score > s) {
                best = Some((score, *candidate));
            }
        }
        best.map(|(_, candidate)| candidate)
    }

    /// The spacing from the X printed at the lines. Two lines always agree, so with labels that disagree it takes
    /// more of them.
    fn lines_grid(&self, checks: Checks, no_labels: bool) -> Option<Grid> {
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
        let grid = Grid::between(self.exact_x(0)?, self.exact_x(last)?, at)?;
        let known = at > 0 && grid.step() != 0.0 && grid.step().is_finite();
        (known && self.tight(&grid, checks)).then_some(grid)
    }

    /// Every line holds one ordinate that stands alone: the printed X are all there is.
    fn may_be_pairs(&self) -> bool {
        self.lines.len() > 2 && self.lines.iter().all(|l| l.len == 1 && l.damage.is_none())
    }

    fn single(&self, notes: &mut Notes<'_>, stretch: &Stretch, outcome: &mut Outcome) -> Option<Grid> {
        let printed = self.exact_x(0)?;
        let first = self.axis.first_x;
        let agrees = first.is_some_and(|f| (f.value() - printed.value()).abs() <= self.x_unit(0) * 1.000_001);
        let one = self.axis.count().is_none_or(|n| n == 1);
        match first {
            Some(f) if agrees => Grid::between(f.decimal, f.decimal, 0),
            Some(f) => {
                let (found, expected) = (f.value().to_string(), printed.value().to_string());
                notes.add(Code::FirstXDiffers, f.line, f.span, found, expected);
                outcome.doubts.push(Doubt::new(Choice::Spacing, false));
                Grid::between(printed, printed, 0)
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
                Grid::between(printed, printed, 0)
            }
        }
    }

    fn remark_choice(&self, chosen: &Candidate, stretch: &Stretch, notes: &mut Notes<'_>) {
        let axis = self.axis;
        let at_zero = chosen.grid.at(0);
        match (chosen.kind, axis.first_x) {
            (First::Label, _) => {}
            (First::Scaled, Some(f)) => {
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

    /// Places every line, tests every check, and writes the points that are certain.
    fn assemble(
        mut self,
        source: &Source<'_>,
        stretch: &Stretch,
        layout: &Layout,
        outcome: &mut Outcome,
        notes: &mut Notes<'_>,
    ) {
        let Layout { grid, checks, .. } = layout;
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
            pieces.push(Piece {
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

    /// In a table without check values: the ordinate of line `k` from which on a damaged difference is likely.
    ///
    /// A damaged difference moves all ordinates behind it up to the end of the line, where the next line starts with
    /// its own ordinate again. So it shows as a great step within the line and one as great back behind its end, where
    /// nearly all steps of the table are small. Great is eight times what nine of ten steps stay within; equal is
    /// within twice of that (own choice: what noise does not reach).
    fn damaged_difference(
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
    fn usual_step(&self) -> u64 {
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

    /// Writes the pieces of the lines as a curve. Takes the ordinates along.
    fn write(&mut self, source: &Source<'_>, grid: &Grid, point: u8, pieces: &[Piece]) -> Written {
        let mut next = 0;
        let whole = pieces.len() == self.lines.len()
            && pieces.iter().all(|piece| {
                let line = &self.lines[piece.line];
                let follows = piece.at == next && line.first == next;
                next += line.len;
                follows && piece.from == 0 && piece.to == line.len
            });
        let mut writer = CurveWriter::new(self, source, grid, point);
        let Some(scale) = writer.plain.filter(|_| whole) else {
            let room = pieces.iter().map(|piece| piece.to - piece.from).sum();
            writer.x.reserve(room);
            writer.y.reserve(room);
            for piece in pieces {
                writer.line(&self.lines[piece.line], piece.at, piece.from, piece.to);
            }
            return writer.finish();
        };
        // Every ordinate is a point, as in all plain tables: their room becomes that of the points.
        let y_decimals = writer.decimals_of_y();
        let (mut x, mut lines) = (Vec::with_capacity(next), LineMap::default());
        grid.extend(0, next, &mut x);
        for line in self.lines {
            lines.push(line.number, line.len);
        }
        let values = std::mem::take(&mut self.ordinates.values);
        let y = if scale.divide {
            values
                .into_iter()
                .map(|m| (m * scale.multiplier) as f64 / scale.power)
                .collect()
        } else {
            values
                .into_iter()
                .map(|m| (m * scale.multiplier) as f64 * scale.power)
                .collect()
        };
        Written {
            curve: Curve {
                x,
                y,
                x_decimals: grid.decimals(),
                y_decimals,
                missing: Vec::new(),
                lines,
            },
            placed: next,
            out_of_range: Vec::new(),
        }
    }

    /// The first ordinate is one that FIRSTY can be compared with.
    fn starts_with_a_value(&self) -> bool {
        self.lines
            .first()
            .filter(|line| line.len > 0)
            .is_some_and(|line| !matches!(self.value(line, 0).0, MISSING | LONG))
    }

    /// The place of each line's first printed ordinate, and which lines hold another count of points than the
    /// next line's X tells.
    fn place(
        &self,
        source: &Source<'_>,
        layout: &Layout,
        outcome: &mut Outcome,
        notes: &mut Notes<'_>,
    ) -> (Vec<Option<usize>>, Vec<bool>) {
        let Layout {
            grid,
            checks,
            by_labels,
        } = layout;
        let checks = *checks;
        let n = self.lines.len();
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
                        if let Some(e) = expected
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
    fn goes_on(&self, k: usize, at: usize, grid: &Grid, checks: Checks) -> bool {
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

    /// For each line that starts with a check value, whether it is the last ordinate of the line before.
    fn joints(
        &self,
        checks: Checks,
        positions: &[Option<usize>],
        slips: &[bool],
        notes: &mut Notes<'_>,
        stretch: &Stretch,
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

    #[expect(clippy::too_many_arguments, reason = "the facts of one table, used once")]
    fn check_labels(
        &self,
        curve: &Curve,
        grid: &Grid,
        placed: usize,
        losses: bool,
        starts_with_a_value: bool,
        stretch: &Stretch,
        notes: &mut Notes<'_>,
        outcome: &mut Outcome,
    ) {
        let axis = self.axis;
        let read = curve.len() + curve.missing.len();
        match (axis.npoints, axis.count()) {
            (Some(_), Some(n)) if n == read => {}
            (Some(stated), _) => {
                outcome.disagreed += 1;
                let found = stated.value().to_string();
                notes.add(
                    Code::NpointsDiffers,
                    stated.line,
                    stated.span,
                    found,
                    format!("{read} points"),
                );
            }
            (None, _) => {
                let found = "no NPOINTS".into();
                notes.add(
                    Code::NpointsMissing,
                    stretch.line,
                    stretch.head,
                    found,
                    format!("NPOINTS={read}"),
                );
            }
        }
        let step = grid.step();
        if placed > 0
            && let Some(last) = axis.last_x
        {
            let x = grid.at(placed - 1);
            let slack = (0.1 * step.abs()).max(last.decimal.half_unit() * 1.000_001);
            let scaled = last.value() * axis.x_factor.value();
            if (last.value() - x).abs() > slack && (scaled - x).abs() > slack {
                outcome.disagreed += 1;
                notes.add(
                    Code::LastXDiffers,
                    last.line,
                    last.span,
                    last.value().to_string(),
                    x.to_string(),
                );
            }
        }
        if step != 0.0
            && let Some(delta) = axis.delta_x
        {
            let slack = delta.decimal.half_unit().max(step.abs() * 1e-9) * 1.000_001;
            let value = delta.value();
            let scaled = value * axis.x_factor.value();
            if (value - step).abs() > slack && (scaled - step).abs() > slack {
                let code = if (value + step).abs() <= slack {
                    Code::DeltaXSign
                } else {
                    Code::DeltaXDiffers
                };
                notes.add(code, delta.line, delta.span, value.to_string(), step.to_string());
            }
        }
        let ordinates = &self.ordinates;
        let digits = Digits {
            exponent: ordinates.exponent,
            integers: ordinates.exponent >= 0 && ordinates.exponents.iter().all(|e| *e >= 0),
        };
        let first_is_there = starts_with_a_value && curve.missing.first().is_none_or(|m| m.before > 0);
        let first = curve.y.first().copied().filter(|_| first_is_there);
        check_ordinates(axis, curve, !losses, first, digits, notes, outcome);
        if placed > 0 {
            let (first, last) = (grid.at(0), grid.at(placed - 1));
            let read = Abscissas {
                first,
                last,
                least: first.min(last),
                greatest: first.max(last),
                step: (step != 0.0).then_some(step),
            };
            outcome.doubts.extend(doubt_of_x(axis, &read));
        }
    }
}

/// Compares FIRSTY, MAXY, MINY and their kin of X with the points; see [`says`]. `first` is the first ordinate, where
/// it is there; extremes can only be compared if the table is `whole`.
pub(crate) fn check_ordinates(
    axis: &Axis,
    curve: &Curve,
    whole: bool,
    first: Option<f64>,
    digits: Digits,
    notes: &mut Notes<'_>,
    outcome: &mut Outcome,
) {
    let whole = whole && !curve.is_empty();
    // Curves hold finite numbers only, so a plain comparison will do, of several lanes at once.
    let greatest = |values: &[f64]| extreme_of(values, f64::NEG_INFINITY, |a, b| if a > b { a } else { b });
    let least = |values: &[f64]| extreme_of(values, f64::INFINITY, |a, b| if a < b { a } else { b });
    let extreme = |stated: Option<Stated>, value: &dyn Fn(&[f64]) -> f64| {
        stated.filter(|_| whole).map(|stated| (stated, value(&curve.y)))
    };
    let labels = [
        (axis.first_y.zip(first), Code::FirstYDiffers),
        (extreme(axis.max_y, &greatest), Code::ExtremeDiffers),
        (extreme(axis.min_y, &least), Code::ExtremeDiffers),
    ];
    for (fact, differs) in labels {
        let Some((stated, value)) = fact else { continue };
        let code = match says(axis, digits, &stated, value) {
            Says::True => {
                outcome.agreed += 1;
                continue;
            }
            Says::Printed => Code::FirstYScaled,
            Says::Other => {
                outcome.disagreed += 1;
                differs
            }
        };
        let found = stated.value().to_string();
        notes.add(code, stated.line, stated.span, found, value.to_string());
    }
    let facts: Vec<(Stated, f64)> = labels.iter().filter_map(|(fact, _)| *fact).collect();
    outcome.doubts.extend(doubt_of_y(axis, digits, &facts));
    if !whole {
        return;
    }
    for (stated, value) in [(axis.max_x, greatest(&curve.x)), (axis.min_x, least(&curve.x))] {
        let Some(stated) = stated else { continue };
        let slack = stated.decimal.half_unit().max(value.abs() * 1e-12) * 1.000_001;
        if (stated.value() - value).abs() <= slack {
            outcome.agreed += 1;
        } else {
            outcome.disagreed += 1;
            let found = stated.value().to_string();
            notes.add(
                Code::ExtremeDiffers,
                stated.line,
                stated.span,
                found,
                value.to_string(),
            );
        }
    }
}

/// The outermost of `values`, in eight lanes, which need not wait for each other.
fn extreme_of(values: &[f64], start: f64, outer: impl Fn(f64, f64) -> f64 + Copy) -> f64 {
    let mut lanes = [start; 8];
    let chunks = values.chunks_exact(lanes.len());
    let rest = chunks.remainder();
    for chunk in chunks {
        for (lane, value) in lanes.iter_mut().zip(chunk) {
            *lane = outer(*value, *lane);
        }
    }
    lanes.iter().chain(rest).copied().fold(start, |a, b| outer(b, a))
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum First {
    /// FIRSTX as stated.
    Label,
    /// FIRSTX times XFACTOR.
    Scaled,
    /// The X printed on the first line.
    Printed,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum By {
    Npoints,
    Count,
    Delta,
    MinusDelta,
    Lines,
}

#[derive(Clone, Copy, Debug)]
struct Candidate {
    grid: Grid,
    kind: First,
    by: By,
}

/// The ordinates `from..to` of a line, whose first one is point `at`.
#[derive(Clone, Copy, Debug)]
struct Piece {
    line: usize,
    at: usize,
    from: usize,
    to: usize,
}

/// What was written of a table.
struct Written {
    curve: Curve,
    /// How many points of the grid were reached.
    placed: usize,
    /// Lines with an ordinate beyond the range of an `f64`, once for each.
    out_of_range: Vec<u32>,
}

/// How plain integers become true values: times the multiplier, which is exact, and then one division or product.
#[derive(Clone, Copy, Debug)]
struct Scale {
    multiplier: i64,
    power: f64,
    divide: bool,
}

/// Turns stretches of ordinates into points.
struct CurveWriter<'a> {
    ordinates: &'a Ordinates,
    source: &'a Source<'a>,
    grid: &'a Grid,
    factor: Decimal,
    point: u8,
    /// The index of the next point to write.
    next: usize,
    x: Vec<f64>,
    y: Vec<f64>,
    lines: LineMap,
    missing: Vec<Missing>,
    decimals: DecimalsBuilder,
    /// Lines with an ordinate beyond the range of an `f64`, once for each.
    out_of_range: Vec<u32>,
    /// All ordinates are plain integers that one multiplication or division makes exact.
    plain: Option<Scale>,
}

impl<'a> CurveWriter<'a> {
    fn new(table: &'a Table<'a>, source: &'a Source<'a>, grid: &'a Grid, point: u8) -> Self {
        let ordinates = &table.ordinates;
        let factor = table.axis.y_factor;
        let exponent = ordinates.exponent + factor.exponent;
        let regular = ordinates.exponents.is_empty()
            && !ordinates.any_missing
            && ordinates.long.is_empty()
            && ordinates.negative_zero.is_empty()
            && exponent.unsigned_abs() <= 22;
        let greatest = if regular {
            ordinates.values.iter().fold(0, |g, v| v.unsigned_abs().max(g))
        } else {
            0
        };
        let exact = greatest
            .checked_mul(factor.mantissa.unsigned_abs())
            .is_some_and(|g| g <= EXACT);
        let plain = (regular && exact).then(|| Scale {
            multiplier: factor.mantissa,
            power: POWERS[exponent.unsigned_abs() as usize],
            divide: exponent < 0,
        });
        Self {
            ordinates,
            source,
            grid,
            factor,
            point,
            next: 0,
            x: Vec::new(),
            y: Vec::new(),
            lines: LineMap::default(),
            missing: Vec::new(),
            decimals: DecimalsBuilder::default(),
            out_of_range: Vec::new(),
            plain,
        }
    }

    /// Writes ordinates `from..to` of a line whose first ordinate is point `at`, but for those written before.
    fn line(&mut self, line: &DataLine, at: usize, from: usize, to: usize) {
        let from = from.max(self.next.saturating_sub(at));
        if from >= to {
            return;
        }
        let (first, count) = (line.first + from, to - from);
        self.next = at + to;
        if let Some(Scale {
            multiplier,
            power,
            divide,
        }) = self.plain
        {
            let values = &self.ordinates.values[first..first + count];
            if divide {
                self.y
                    .extend(values.iter().map(|m| (m * multiplier) as f64 / power));
            } else {
                self.y
                    .extend(values.iter().map(|m| (m * multiplier) as f64 * power));
            }
            self.grid.extend(at + from, count, &mut self.x);
            self.lines.push(line.number, count);
            return;
        }
        let mut present = 0;
        for index in 0..count {
            let x = self.grid.at(at + from + index);
            match self.value(first + index) {
                Some(y) => {
                    self.x.push(x);
                    self.y.push(y);
                    let exponent = self.ordinates.exponent_of(first + index) + self.factor.exponent;
                    self.decimals.push(decimals_of(exponent));
                    present += 1;
                }
                None if self.ordinates.values[first + index] == MISSING => {
                    self.missing.push(Missing {
                        x,
                        before: self.x.len(),
                        line: line.number,
                    });
                }
                None => self.out_of_range.push(line.number),
            }
        }
        self.lines.push(line.number, present);
    }

    /// The true value of ordinate `index`; nothing if it is missing or out of range of an `f64`.
    fn value(&self, index: usize) -> Option<f64> {
        let value = match self.ordinates.values[index] {
            MISSING => return None,
            LONG => {
                let at = self.ordinates.long.partition_point(|l| l.0 < index);
                let (_, from, to) = *self.ordinates.long.get(at)?;
                long_product(self.source.text.get(from..to)?, self.point, self.factor)?
            }
            0 if self.ordinates.negative_zero.binary_search(&index).is_ok() => -0.0,
            m => product(m, self.ordinates.exponent_of(index), self.factor),
        };
        value.is_finite().then_some(value)
    }

    /// The count of decimals that all plain values have.
    fn decimals_of_y(&self) -> Decimals {
        Decimals::Same(decimals_of(self.ordinates.exponent + self.factor.exponent))
    }

    fn finish(self) -> Written {
        let y_decimals = if self.plain.is_some() {
            self.decimals_of_y()
        } else {
            self.decimals.finish()
        };
        Written {
            curve: Curve {
                x: self.x,
                y: self.y,
                x_decimals: self.grid.decimals(),
                y_decimals,
                missing: self.missing,
                lines: self.lines,
            },
            placed: self.next,
            out_of_range: self.out_of_range,
        }
    }
}

/// A number of more than 18 digits times a factor. Exact for factors that are powers of ten; for others the number
/// is rounded before it is multiplied (relative error below 3e-16).
pub(crate) fn long_product(text: &str, point: u8, factor: Decimal) -> Option<f64> {
    if factor.mantissa == 1 {
        let plain = text.trim().replace(point as char, ".");
        let (digits, power) = match plain.find(['E', 'e']) {
            Some(at) => (&plain[..at], plain[at + 1..].parse::<i32>().ok()?),
            None => (plain.as_str(), 0),
        };
        let value: f64 = format!("{digits}e{}", power.checked_add(factor.exponent)?)
            .parse()
            .ok()?;
        return value.is_finite().then_some(value);
    }
    Some(parse_long(text, point)? * factor.value())
}
