//! Runs that are one measurement: scans in marked blocks over the same axis, and curves that go on in the newspaper columns
//! of the next page.

use curvary_record::{Fields, Quantity, Technique};

use super::shape::{goes_on, put_behind};
use crate::sink::CompletedRun;

/// The scans of marked blocks as one run, where each block is one run over the very same axis, its mark tells the time, and
/// nothing else tells them apart. `fields` is what is said of the whole file.
pub(super) fn scans(runs: Vec<CompletedRun>, fields: &Fields) -> Vec<CompletedRun> {
    let Some((first, others)) = runs.split_first().filter(|(_, others)| !others.is_empty()) else {
        return runs;
    };
    let of_light = |quantity: &Quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy");
    let timed = |run: &CompletedRun| {
        let one = run.traces.iter().all(|trace| {
            trace.held(&Quantity::TIME).is_some() && of_light(&trace.x.quantity) && trace.len() >= 2
        });
        one && !run.traces.is_empty()
    };
    let alike = |run: &CompletedRun| {
        run.technique == first.technique
            && run.questions == first.questions
            && run.traces.len() == first.traces.len()
            && run.traces.iter().zip(&first.traces).all(|(one, other)| {
                one.x.quantity == other.x.quantity
                    && one.x.unit == other.x.unit
                    && one.x.values == other.x.values
                    && one.y.quantity == other.y.quantity
                    && one.y.unit == other.y.unit
                    && one.label == other.label
            })
            && same_claims(&run.fields, &first.fields)
    };
    if !runs.iter().all(timed) || !others.iter().all(alike) {
        return runs;
    }
    let mut whole = first.clone();
    if same_claims(fields, &first.fields) {
        whole.fields = fields.clone();
    } else {
        whole.fields.remove("title");
    }
    whole.technique = Technique::SPECTRAL_TIME_COURSE;
    whole
        .because
        .push("the lines in front of the blocks give the times of the scans".to_owned());
    for run in others {
        whole.traces.extend(run.traces.iter().cloned());
        for remark in &run.remarks {
            if !whole.remarks.contains(remark) {
                whole.remarks.push(remark.clone());
            }
        }
        whole.lines = span(whole.lines, run.lines);
    }
    vec![whole]
}

/// Whether two runs are said to be the same; the title of a block is its mark, and a comment claims nothing.
fn same_claims(one: &Fields, other: &Fields) -> bool {
    let claims = |fields: &Fields| -> Vec<(String, Vec<String>)> {
        let free = |key: &str| matches!(key, "title" | "comment");
        let mut claims: Vec<(String, Vec<String>)> = fields
            .iter()
            .filter(|(key, _)| !free(key.as_str()))
            .map(|(key, claims)| {
                let values = claims.iter().map(|claim| claim.value.to_string()).collect();
                (key.as_str().to_owned(), values)
            })
            .collect();
        claims.sort();
        claims
    };
    claims(one) == claims(other)
}

fn span(one: Option<(u32, u32)>, other: Option<(u32, u32)>) -> Option<(u32, u32)> {
    match (one, other) {
        (Some(one), Some(other)) => Some((one.0.min(other.0), one.1.max(other.1))),
        (one, other) => one.or(other),
    }
}

/// Puts the run of the next page behind that of the page before, where each of its curves goes on in the very next step.
/// The run that is no part of it comes back.
pub(super) fn next_page(last: &mut CompletedRun, next: CompletedRun) -> Option<CompletedRun> {
    let on = last.technique == next.technique
        && last.questions == next.questions
        && last.traces.len() == next.traces.len()
        && !next.traces.is_empty()
        && last
            .traces
            .iter()
            .zip(&next.traces)
            .all(|(last, next)| last.held == next.held && goes_on(last, next, 0.02));
    if !on {
        return Some(next);
    }
    for (last, next) in last.traces.iter_mut().zip(&next.traces) {
        put_behind(last, next);
    }
    for remark in next.remarks {
        if !last.remarks.contains(&remark) {
            last.remarks.push(remark);
        }
    }
    last.lines = span(last.lines, next.lines);
    None
}
