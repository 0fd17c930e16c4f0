//! From the decoded lines of an `(X++(Y..Y))` table to a curve: which points are certain, and where they stand.
//!
//! Three things tell whether a line is sound: its X against the spacing, the count of its ordinates against the X
//! of the next line, and for differences the ordinate that the next line repeats. A point is kept only if nothing
//! of this speaks against it. See the functions for what is decided where.

mod candidates;
mod checks;
mod damage;
mod labels;
mod placing;
mod points;
mod spacing;

pub(crate) use labels::check_ordinates;
pub(crate) use points::long_product;

use crate::asdf::decode::{DataLine, DecodeContext, LineEnd, Ordinates, decode};
use crate::axis::LabelAxis;
use crate::grid::EvenGrid;
use crate::number::{Decimal, product, unit};
use crate::records::RecordSource;
use crate::remark::{Code, Notes};
use crate::table::{DataStretch, LeftOut, TableOutcome};
use damage::remark_lines;

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
struct PointLayout {
    grid: EvenGrid,
    checks: Checks,
    /// The labels were taken against the X at the line starts, because someone said so.
    by_labels: bool,
}

/// A table under analysis.
struct AnalysedTable<'a> {
    ordinates: Ordinates,
    lines: &'a [DataLine],
    /// The X printed at each line, as true values.
    x: Vec<f64>,
    /// The line before this one is absent or damaged, so counting cannot go on over it.
    gaps: Vec<bool>,
    axis: &'a LabelAxis,
    /// Nothing was lost: the count of ordinates is the count of points.
    complete: bool,
}

/// Reads the table of a stretch.
pub(crate) fn read(
    source: &RecordSource<'_>,
    stretch: &DataStretch,
    axis: &LabelAxis,
    budget: usize,
    notes: &mut Notes<'_>,
) -> TableOutcome {
    let setting = DecodeContext {
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
    let mut outcome = TableOutcome::default();
    remark_lines(source, stretch, &ordinates, &mut outcome, notes);
    let lines: Vec<DataLine> = std::mem::take(&mut ordinates.lines)
        .into_iter()
        .filter(|l| l.len > 0 || l.damage.is_some())
        .collect();
    if lines.is_empty() {
        outcome.disagreed += u32::from(axis.count().is_some_and(|count| count > 0));
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
    let table = AnalysedTable {
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

impl AnalysedTable<'_> {
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
                Checks::NotAfterDuplicate => self.lines[k - 1].ends == LineEnd::Difference,
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
    fn tolerance(&self, k: usize, grid: &EvenGrid) -> f64 {
        let (unit, step) = (self.x_unit(k) * 1.000_001, grid.step().abs());
        if unit > 0.5 * step && unit <= step * 1.000_01 {
            0.5 * unit
        } else {
            unit.max(0.1 * step)
        }
    }

    fn off(&self, k: usize, at: usize, grid: &EvenGrid) -> f64 {
        (self.printed_x(k) - grid.at(at)).abs()
    }

    /// Whether the X of line `k` can be that of point `at`: not farther than half a spacing. An X printed more
    /// coarsely than the spacing can only be right within its last digit.
    fn fits(&self, k: usize, at: usize, grid: &EvenGrid) -> bool {
        let (off, unit, step) = (self.off(k, at, grid), self.x_unit(k), grid.step().abs());
        off <= 0.5 * step * 1.000_001 || (unit > step * 1.000_01 && off <= unit * 1.000_001)
    }

    /// The point that the X of line `k` names, if it names one clearly.
    fn index_by_x(&self, k: usize, grid: &EvenGrid) -> Option<usize> {
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
}
