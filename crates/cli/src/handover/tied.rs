//! What a bundle says of runs, and of which of them here it holds: tied to their curves, never to a number alone.

use std::collections::{BTreeMap, BTreeSet};

use curvary_archive::{Archive, Error, heirs_of_reading};
use curvary_record::{Digest, Outcome, Run, RunId};
use serde::Deserialize;

/// A line of `runs.jsonl`: the results on it are kept; the run itself is read from its original and compared.
#[derive(Deserialize)]
pub(super) struct RunLine {
    pub(super) run: Run,
    #[serde(default)]
    pub(super) results: Vec<Outcome>,
    /// The digest of all curves of the run, where only some of them are here.
    #[serde(default)]
    pub(super) whole: Option<Digest>,
}

/// Which curves of a run here are those of the same run in a bundle.
enum SameCurves {
    /// All of them.
    Whole,
    /// Those of these numbers; of the others nothing is known.
    Some(BTreeSet<u32>),
    /// There is no such run here.
    NoRun,
}

impl SameCurves {
    fn of(archive: &Archive, line: &RunLine) -> Result<Self, Error> {
        let here = match archive.stored(&line.run.id) {
            Ok(here) => here,
            Err(Error::NoRun { .. }) => return Ok(Self::NoRun),
            Err(error) => return Err(error),
        };
        let theirs = &line.run;
        let whole = match &line.whole {
            Some(digest) => here.curves_digest() == *digest,
            None => {
                here.traces.len() == theirs.traces.len() && here.curves_digest() == theirs.curves_digest()
            }
        };
        if whole {
            return Ok(Self::Whole);
        }
        let same = |index: &usize| {
            let here = here.traces.get(theirs.trace_number(*index) as usize);
            here.is_some_and(|here| here.is_same_curve(&theirs.traces[*index]))
        };
        let numbers = (0..theirs.traces.len()).filter(same);
        Ok(Self::Some(
            numbers.map(|index| theirs.trace_number(index)).collect(),
        ))
    }

    /// Whether a result of these curves holds here.
    fn holds(&self, trace: Option<u32>) -> bool {
        match (self, trace) {
            (Self::Whole, _) => true,
            (Self::Some(numbers), Some(number)) => numbers.contains(&number),
            (Self::Some(_), None) | (Self::NoRun, _) => false,
        }
    }
}

/// What is known of the runs of a bundle in an archive that has read its originals.
#[derive(Default)]
pub(super) struct TiedRuns {
    /// The results, each with how many of its runs have the same curves here.
    results: BTreeMap<String, (Outcome, usize)>,
    /// Runs of the bundle that are not here.
    pub(super) missing: BTreeSet<RunId>,
    /// Runs whose curves here are other ones.
    pub(super) otherwise: BTreeSet<RunId>,
    /// The sources of both.
    troubled: BTreeSet<Digest>,
}

impl TiedRuns {
    /// Compares a run of the bundle with the one of its name here.
    pub(super) fn see(&mut self, archive: &Archive, line: RunLine) -> Result<(), Error> {
        let same = SameCurves::of(archive, &line)?;
        let run = line.run;
        let all_given = match &same {
            SameCurves::Whole => true,
            SameCurves::Some(numbers) => line.whole.is_some() && numbers.len() == run.traces.len(),
            SameCurves::NoRun => {
                self.missing.insert(run.id.clone());
                false
            }
        };
        if !all_given {
            self.troubled.insert(run.source.digest.clone());
            if !self.missing.contains(&run.id) {
                self.otherwise.insert(run.id.clone());
            }
        }
        for result in line.results {
            let holds = same.holds(result.trace);
            let (_, held) = self
                .results
                .entry(result.id.clone())
                .or_insert_with(|| (result, 0));
            *held += usize::from(holds);
        }
        Ok(())
    }

    /// The results that hold here, and how many do not: a result holds where every run that it speaks of has the same curves.
    pub(super) fn results(&mut self) -> (Vec<Outcome>, u64) {
        let mut apart = 0;
        let all = std::mem::take(&mut self.results).into_values();
        let holding = all.filter_map(|(result, held)| {
            let runs: BTreeSet<&RunId> = result.runs.iter().collect();
            let holds = held == runs.len();
            apart += u64::from(!holds);
            holds.then_some(result)
        });
        (holding.collect(), apart)
    }

    /// Whether a run of the bundle is needed to find out which run here is which.
    pub(super) fn is_troubled(&self, run: &Run) -> bool {
        self.troubled.contains(&run.source.digest)
    }

    /// Of which runs here the notes on these runs of the bundle hold, by their names there; a run that is not named is the one
    /// of its name.
    pub(super) fn heirs(
        &self,
        archive: &Archive,
        runs: Vec<Run>,
    ) -> Result<BTreeMap<RunId, Option<RunId>>, Error> {
        let mut by_source: BTreeMap<Digest, Vec<Run>> = BTreeMap::new();
        for run in runs {
            by_source.entry(run.source.digest.clone()).or_default().push(run);
        }
        let mut heirs = BTreeMap::new();
        for (digest, mut before) in by_source {
            before.sort_by_key(|run| run.source.ordinal);
            let after = archive.runs_of(&digest)?;
            let after = after
                .iter()
                .map(|id| archive.stored(id))
                .collect::<Result<Vec<Run>, Error>>()?;
            for (run, heir) in before.iter().zip(heirs_of_reading(&before, &after)) {
                if self.missing.contains(&run.id) || self.otherwise.contains(&run.id) {
                    heirs.insert(run.id.clone(), heir.map(|heir| heir.after));
                }
            }
        }
        Ok(heirs)
    }
}
