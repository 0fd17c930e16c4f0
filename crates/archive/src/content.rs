//! What a run consists of: by this, and not by its number in the file, what was said and found of it is given on when the
//! file is read otherwise, or a newer version takes its place.

use curvary_record::{Column, Fields, Quantity, Run, RunId, Trace, Unit};

/// Whether two runs have the same curves, point for point and in the same units. Runs without a point say nothing of it.
pub(crate) fn same_numbers(a: &Run, b: &Run) -> bool {
    a.points() > 0
        && a.technique == b.technique
        && a.traces.len() == b.traces.len()
        && a.traces.iter().zip(&b.traces).all(|(a, b)| same_curve(a, b))
}

fn same_curve(a: &Trace, b: &Trace) -> bool {
    let column =
        |a: &Column, b: &Column| a.quantity == b.quantity && a.unit == b.unit && a.values == b.values;
    // On which line it stands that a wavelength was held changes when a table is added in front.
    let held = |trace: &Trace| -> Vec<(Quantity, Unit, f64)> {
        let all = trace.held.iter();
        all.map(|one| (one.quantity.clone(), one.unit.clone(), one.value))
            .collect()
    };
    column(&a.x, &b.x) && column(&a.y, &b.y) && held(a) == held(b) && same_fields(&a.fields, &b.fields)
}

/// Whether the same was read of two runs, wherever it stood.
fn same_fields(a: &Fields, b: &Fields) -> bool {
    let values = |fields: &Fields| {
        let claims = fields.iter().flat_map(|(key, claims)| {
            claims
                .iter()
                .map(move |claim| (key.clone(), claim.value.clone(), claim.unit.clone()))
        });
        claims.collect::<Vec<_>>()
    };
    values(a) == values(b)
}

/// The lines of the source on which the points of a run stand, first and last; `None` where they are not known.
fn lines(run: &Run) -> Option<(u32, u32)> {
    let all = run
        .traces
        .iter()
        .flat_map(|trace| (0..trace.lines.len()).filter_map(|point| trace.lines.get(point)));
    all.fold(None, |ends, line| {
        Some(ends.map_or((line, line), |(first, last): (u32, u32)| {
            (first.min(line), last.max(line))
        }))
    })
}

/// For each run of an earlier version of a file, the run of the newer one that has the same numbers. Of several with the
/// same numbers each goes to the one in its turn, if there are as many as before.
#[must_use]
pub fn heirs_of_version(before: &[Run], after: &[Run]) -> Vec<Option<Heir>> {
    let heir = |earlier: &Run| {
        let later = in_turn(earlier, before, after)?;
        Some(Heir {
            before: earlier.id.clone(),
            after: later.id.clone(),
            results: same_fields(&earlier.fields, &later.fields),
        })
    };
    before.iter().map(heir).collect()
}

fn in_turn<'a>(earlier: &Run, before: &[Run], after: &'a [Run]) -> Option<&'a Run> {
    let alike: Vec<&Run> = after.iter().filter(|run| same_numbers(earlier, run)).collect();
    let were: Vec<&Run> = before.iter().filter(|run| same_numbers(earlier, run)).collect();
    match alike.as_slice() {
        [] => None,
        [one] if were.len() <= 1 => Some(one),
        several if several.len() == were.len() => {
            let turn = were.iter().position(|run| run.id == earlier.id)?;
            several.get(turn).copied()
        }
        several => several
            .iter()
            .find(|run| run.source.ordinal == earlier.source.ordinal)
            .copied(),
    }
}

/// For each run that was read of a source before, the run that it is among those that are read of the same bytes now: the one
/// with the same numbers, on the same lines if there are several, or else the only one on any of its lines. Results hold where the numbers are
/// the same. Where nothing is known of lines, a run stays the one of its number as long as there are as many as before.
#[must_use]
pub fn heirs_of_reading(before: &[Run], after: &[Run]) -> Vec<Option<Heir>> {
    let lines_of = |runs: &[Run]| runs.iter().map(lines).collect::<Vec<_>>();
    let (were, are) = (lines_of(before), lines_of(after));
    let overlap = |a: Option<(u32, u32)>, b: Option<(u32, u32)>| match (a, b) {
        (Some(a), Some(b)) => a.0 <= b.1 && b.0 <= a.1,
        _ => false,
    };
    let same = |one: usize, other: usize| same_numbers(&before[one], &after[other]);
    let only = |all: &mut dyn Iterator<Item = usize>| {
        let one = all.next()?;
        all.next().is_none().then_some(one)
    };
    let heir = |one: usize| {
        // Columns of one table stand on the same lines, so the numbers are asked first.
        let mut alike = (0..after.len()).filter(|&other| are[other] == were[one] && same(one, other));
        // Of several with the same numbers on the same lines, that of the same number.
        let exact = alike
            .clone()
            .find(|&other| other == one)
            .or_else(|| only(&mut alike));
        let elsewhere = || {
            let other = only(&mut (0..after.len()).filter(|&other| same(one, other)))?;
            only(&mut (0..before.len()).filter(|&own| same(own, other))).map(|_| other)
        };
        let on_its_lines = || {
            let other = only(&mut (0..after.len()).filter(|&other| overlap(were[one], are[other])))?;
            // Two runs that have become one would each speak of the other's points.
            only(&mut (0..before.len()).filter(|&own| overlap(were[own], are[other]))).map(|_| other)
        };
        let numbered = || {
            let count = before.len() == after.len();
            let lineless = were[one].is_none() || are.get(one).copied().flatten().is_none();
            let beside = is_beside_others(&were, one) && were.get(one) == are.get(one);
            (count && (lineless || beside)).then_some(one)
        };
        let other = exact.or_else(elsewhere).or_else(on_its_lines).or_else(numbered)?;
        Some(Heir {
            before: before[one].id.clone(),
            after: after[other].id.clone(),
            results: same_numbers(&before[one], &after[other]),
        })
    };
    (0..before.len()).map(heir).collect()
}

/// Whether other runs stand on just the lines of this one, as the columns of one table do.
fn is_beside_others(all: &[Option<(u32, u32)>], one: usize) -> bool {
    all.iter().filter(|lines| **lines == all[one]).count() > 1
}

/// A run that takes the place of an earlier version with the same numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Heir {
    /// The earlier run.
    pub before: RunId,
    /// The later one.
    pub after: RunId,
    /// Whether results hold as well: nothing else that was read of the run, such as a path length, has changed.
    pub results: bool,
}
