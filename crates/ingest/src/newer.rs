//! A newer version of a file: what was said and found of the runs of the earlier one, and for which it still holds.

use std::collections::BTreeSet;

use curvary_archive::{Archive, Heir, Moved, heirs_of_reading, heirs_of_version};
use curvary_formats::{Assumptions, Intake, family};
use curvary_record::{Digest, OutcomeKind, Run, RunId};

use crate::desk::{FileReading, Ingest, ReadingState};
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
    desk: &Ingest,
    archive: &Archive,
    path: &str,
    taken: Intake,
    before: &Digest,
    state: ReadingState,
) -> Result<FileReading, Trouble> {
    let mut noted = Assumptions::none();
    for answer in archive.assumed(before)? {
        // What was noted by an older program may be no answer any more.
        let _ = noted.add(&answer);
    }
    if noted.is_empty() {
        return Ok(desk.read_source_as(desk.source(path, taken), state));
    }
    let earlier = family::of(&desk.source(path, archive.original(before)?.into()));
    let later = desk.source(path, taken.clone());
    let alike = match (&earlier, &family::of(&later)) {
        (Some(earlier), Some(later)) => earlier.is_kin(later),
        _ => false,
    };
    Ok(if alike {
        desk.read_source_as(desk.source_settling(path, taken, &noted.precise()), state)
    } else {
        desk.read_source_as(later, state)
    })
}

/// Which runs of the newer version are the same as before.
pub(crate) fn inheritance(archive: &Archive, before: &Digest, runs: &[Run]) -> Result<Inheritance, Trouble> {
    let (earlier, mut all) = spoken_of(archive, before)?;
    let heirs = heirs_of_version(&earlier.runs, runs);
    for (run, heir) in earlier.runs.iter().zip(heirs) {
        if !earlier.spoken.contains(&run.id) {
            continue;
        }
        if heir
            .as_ref()
            .is_none_or(|heir| !heir.results && earlier.found.contains(&run.id))
        {
            all.left_behind.push(run.id.clone());
        }
        all.heirs.extend(heir);
    }
    Ok(all)
}

/// What becomes of what was said and found of a source's runs when its bytes are read otherwise.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rereading {
    /// Every run about which something was noted or found, with the run that it is now.
    pub(crate) moved: Vec<Moved>,
    /// How many of them have other names now.
    pub(crate) renamed: u64,
    /// Those of which something holds no more.
    pub(crate) left_behind: Vec<RunId>,
}

/// Which runs of a new reading are those of the one before.
pub(crate) fn rereading(archive: &Archive, source: &Digest, runs: &[Run]) -> Result<Rereading, Trouble> {
    let (earlier, lost) = spoken_of(archive, source)?;
    let mut all = Rereading {
        left_behind: lost.left_behind,
        ..Rereading::default()
    };
    if earlier.spoken.is_empty() {
        return Ok(all);
    }
    for (run, heir) in earlier.runs.iter().zip(heirs_of_reading(&earlier.runs, runs)) {
        if !earlier.spoken.contains(&run.id) {
            continue;
        }
        if heir
            .as_ref()
            .is_none_or(|heir| !heir.results && earlier.found.contains(&run.id))
        {
            all.left_behind.push(run.id.clone());
        }
        all.renamed += u64::from(heir.as_ref().is_some_and(|heir| heir.after != run.id));
        all.moved.push(Moved {
            before: run.id.clone(),
            heir,
        });
    }
    Ok(all)
}

/// The runs of a source as they are stored.
#[derive(Default)]
struct Earlier {
    runs: Vec<Run>,
    /// Those about which something was noted or found.
    spoken: BTreeSet<RunId>,
    /// Those about which something was found.
    found: BTreeSet<RunId>,
}

/// The runs of a source, if something was noted or found of any; left behind are those whose records are damaged, of which
/// `verify` tells.
fn spoken_of(archive: &Archive, source: &Digest) -> Result<(Earlier, Inheritance), Trouble> {
    let mut earlier = Earlier::default();
    let mut lost = Inheritance::default();
    earlier.spoken.extend(archive.spoken_of(source)?);
    if earlier.spoken.is_empty() {
        return Ok((earlier, lost));
    }
    let count = archive.source(source)?.map_or(0, |source| source.runs);
    for ordinal in 0..count as usize {
        let id = RunId::new(source, ordinal);
        match archive.stored(&id) {
            Ok(run) => earlier.runs.push(run),
            Err(_) if earlier.spoken.contains(&id) => lost.left_behind.push(id.clone()),
            Err(_) => {}
        }
        if earlier.spoken.contains(&id)
            && archive
                .outcomes(&id)
                .is_ok_and(|found| found.iter().any(|one| one.kind != OutcomeKind::Reported))
        {
            earlier.found.insert(id);
        }
    }
    Ok((earlier, lost))
}
