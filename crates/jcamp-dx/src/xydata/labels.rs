//! Compares what the labels state with the points that were read.

use super::AnalysedTable;
use crate::asdf::decode::{LONG, MISSING};
use crate::axis::{LabelAxis, StatedNumber};
use crate::curve::Curve;
use crate::factors::{Abscissas, Agreement, Digits, agreement_of, doubt_of_x, doubt_of_y};
use crate::grid::EvenGrid;
use crate::groups::{Count, check_count};
use crate::remark::{Code, Notes};
use crate::table::{DataStretch, TableOutcome};

impl AnalysedTable<'_> {
    #[expect(clippy::too_many_arguments, reason = "the facts of one table, used once")]
    pub(super) fn check_labels(
        &self,
        curve: &Curve,
        grid: &EvenGrid,
        placed: usize,
        losses: bool,
        starts_with_a_value: bool,
        stretch: &DataStretch,
        notes: &mut Notes<'_>,
        outcome: &mut TableOutcome,
    ) {
        let axis = self.axis;
        let read = curve.len() + curve.missing.len();
        if check_count(axis, read, "points", stretch, notes) == Count::Differs {
            outcome.disagreed += 1;
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

    /// The first ordinate is one that FIRSTY can be compared with.
    pub(super) fn starts_with_a_value(&self) -> bool {
        self.lines
            .first()
            .filter(|line| line.len > 0)
            .is_some_and(|line| !matches!(self.value(line, 0).0, MISSING | LONG))
    }
}

/// Compares FIRSTY, MAXY, MINY and their kin of X with the points; see [`agreement_of`]. `first` is the first ordinate, where
/// it is there; extremes can only be compared if the table is `whole`.
pub(crate) fn check_ordinates(
    axis: &LabelAxis,
    curve: &Curve,
    whole: bool,
    first: Option<f64>,
    digits: Digits,
    notes: &mut Notes<'_>,
    outcome: &mut TableOutcome,
) {
    let whole = whole && !curve.is_empty();
    // Curves hold finite numbers only, so a plain comparison will do, of several lanes at once.
    let greatest = |values: &[f64]| extreme_of(values, f64::NEG_INFINITY, |a, b| if a > b { a } else { b });
    let least = |values: &[f64]| extreme_of(values, f64::INFINITY, |a, b| if a < b { a } else { b });
    let extreme = |stated: Option<StatedNumber>, value: &dyn Fn(&[f64]) -> f64| {
        stated.filter(|_| whole).map(|stated| (stated, value(&curve.y)))
    };
    let labels = [
        (axis.first_y.zip(first), Code::FirstYDiffers),
        (extreme(axis.max_y, &greatest), Code::ExtremeDiffers),
        (extreme(axis.min_y, &least), Code::ExtremeDiffers),
    ];
    for (fact, differs) in labels {
        let Some((stated, value)) = fact else { continue };
        let code = match agreement_of(axis, digits, &stated, value) {
            Agreement::True => {
                outcome.agreed += 1;
                continue;
            }
            Agreement::Printed => Code::FirstYScaled,
            Agreement::Other => {
                outcome.disagreed += 1;
                differs
            }
        };
        let found = stated.value().to_string();
        notes.add(code, stated.line, stated.span, found, value.to_string());
    }
    let facts: Vec<(StatedNumber, f64)> = labels.iter().filter_map(|(fact, _)| *fact).collect();
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
