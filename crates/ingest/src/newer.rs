//! A newer version of a file: what was said and found of the runs of the earlier one, and for which it still holds.

use curvary_archive::{Archive, Heir};
use curvary_formats::{Assumptions, Taken, family};
use curvary_record::{Column, Digest, Fields, Run, RunId};

use crate::desk::{Desk, Finished};
use crate::trouble::Trouble;

/// What a newer version took over.
#[derive(Clone, Debug, Default)]
pub(crate) struct Inheritance {
    /// Runs whose numbers are the same as before.
    pub(crate) heirs: Vec<Heir>,
    /// Earlier runs about which something was noted or found that holds for no run of the newer version.
    pub(crate) left_behind: Vec<RunId>,
}

/// Reads a newer version of the file whose bytes were `before`. Answers that people gave about these are used where the
/// newer version is written alike and asks the same.
pub(crate) fn read(
    desk: &Desk,
    archive: &Archive,
    path: &str,
    taken: Taken,
    before: &Digest,
) -> Result<Finished, Trouble> {
    let mut noted = Assumptions::none();
    for answer in archive.assumed(before)? {
        // What was noted by an older program may be no answer any more.
        let _ = noted.add(&answer);
    }
    if noted.is_empty() {
        return Ok(desk.read(path, taken));
    }
    let earlier = family::of(&desk.source(path, archive.original(before)?.into()));
    let later = desk.source(path, taken.clone());
    let alike = match (&earlier, &family::of(&later)) {
        (Some(earlier), Some(later)) => earlier.is_kin(later),
        _ => false,
    };
    Ok(if alike {
        desk.read_source(desk.source_settling(path, taken, &noted.precise()))
    } else {
        desk.read_source(later)
    })
}

/// Which runs of the newer version are the same as before.
pub(crate) fn inheritance(archive: &Archive, before: &Digest, runs: &[Run]) -> Result<Inheritance, Trouble> {
    let mut all = Inheritance::default();
    for id in archive.spoken_of(before)? {
        let Ok(earlier) = archive.stored(&id) else {
            // Its record is damaged; `verify` tells of it.
            all.left_behind.push(id);
            continue;
        };
        match same(&earlier, runs) {
            Some(later) => {
                let results = same_fields(&earlier.fields, &later.fields);
                let found = || {
                    archive
                        .outcomes(&id)
                        .map(|found| found.iter().any(|one| one.kind != "reported"))
                };
                if !results && found()? {
                    all.left_behind.push(id.clone());
                }
                all.heirs.push(Heir {
                    before: id,
                    after: later.id.clone(),
                    results,
                });
            }
            None => all.left_behind.push(id),
        }
    }
    Ok(all)
}

/// The run with the same numbers: the one at the same place, or the only one.
fn same<'a>(earlier: &Run, runs: &'a [Run]) -> Option<&'a Run> {
    let mut alike = runs.iter().filter(|run| same_numbers(earlier, run));
    let first = alike.next()?;
    let mut others = alike.peekable();
    if others.peek().is_none() {
        return Some(first);
    }
    std::iter::once(first)
        .chain(others)
        .find(|run| run.source.ordinal == earlier.source.ordinal)
}

/// Whether two runs have the same curves. Runs without a point say nothing of it.
fn same_numbers(a: &Run, b: &Run) -> bool {
    let column =
        |a: &Column, b: &Column| a.quantity == b.quantity && a.unit == b.unit && a.values == b.values;
    a.points() > 0
        && a.technique == b.technique
        && a.traces.len() == b.traces.len()
        && a.traces.iter().zip(&b.traces).all(|(a, b)| {
            column(&a.x, &b.x) && column(&a.y, &b.y) && a.held == b.held && same_fields(&a.fields, &b.fields)
        })
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
