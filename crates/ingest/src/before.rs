//! How known sources were read before.

use std::collections::BTreeMap;

use curvary_archive::Archive;
use curvary_record::stored::Record;
use curvary_record::{Diagnostic, Digest, Verdict};

use crate::file_report::FileReport;
use crate::trouble::Trouble;

/// What is known of one source's reading.
#[derive(Clone)]
struct KnownReading {
    verdict: Verdict,
    reader: Option<String>,
    runs: u64,
    points: u64,
    remarks: Vec<Diagnostic>,
}

/// How the readings of known sources went, for the report alone: a report has a line a file, new or not.
pub(crate) struct ReadingLedger<'a> {
    archive: &'a Archive,
    /// Filled from the archive's records when the first known source comes.
    before: Option<Before>,
    now: BTreeMap<Digest, KnownReading>,
}

/// What the archive had before.
#[derive(Default)]
struct Before {
    paths: BTreeMap<String, Digest>,
    sources: BTreeMap<Digest, KnownReading>,
}

impl<'a> ReadingLedger<'a> {
    pub(crate) fn new(archive: &'a Archive) -> Self {
        Self {
            archive,
            before: None,
            now: BTreeMap::new(),
        }
    }

    /// Notes how a reading went, or fills in how it went before.
    pub(crate) fn complete(&mut self, fate: &mut FileReport) -> Result<(), Trouble> {
        if !fate.known {
            if let Some(digest) = &fate.digest {
                self.now.insert(digest.clone(), KnownReading::of(fate));
            }
            return Ok(());
        }
        if let Some(entry) = fate.digest.as_ref().and_then(|digest| self.now.get(digest)) {
            entry.clone().fill(fate);
            return Ok(());
        }
        let before = match &mut self.before {
            Some(before) => before,
            none => none.insert(Before::of(self.archive)?),
        };
        if fate.digest.is_none() {
            fate.digest = before.paths.get(&fate.path).cloned();
        }
        if let Some(entry) = fate.digest.as_ref().and_then(|digest| before.sources.get(digest)) {
            entry.clone().fill(fate);
        }
        Ok(())
    }
}

impl KnownReading {
    fn of(fate: &FileReport) -> Self {
        Self {
            verdict: fate.verdict,
            reader: fate.reader.clone(),
            runs: fate.runs,
            points: fate.points.unwrap_or(0),
            remarks: fate.remarks.clone(),
        }
    }

    fn fill(self, fate: &mut FileReport) {
        fate.verdict = self.verdict;
        fate.reader = self.reader;
        fate.runs = self.runs;
        fate.points = Some(self.points);
        fate.remarks = self.remarks;
    }
}

impl Before {
    /// How the reading of every source that the archive has went, and under which paths it was met.
    fn of(archive: &Archive) -> Result<Self, Trouble> {
        let mut before = Self::default();
        // The runs of a reading stand beside their source's record, and a later reading replaces an earlier one.
        let mut runs: BTreeMap<Digest, (u64, Vec<Diagnostic>)> = BTreeMap::new();
        for record in archive.records() {
            match record? {
                Record::Run(run) => {
                    let of = runs.entry(run.0.source.digest.clone()).or_default();
                    of.0 += run.0.points() as u64;
                    of.1.extend(run.0.remarks);
                }
                Record::Source(source) => {
                    runs.remove(&source.digest);
                    let entry = KnownReading {
                        verdict: source.verdict,
                        reader: source.reader,
                        runs: u64::from(source.runs),
                        points: 0,
                        remarks: source.remarks,
                    };
                    before.sources.insert(source.digest, entry);
                }
                Record::Path(path) => {
                    before.paths.insert(path.path, path.digest);
                }
                Record::Outcome(_) | Record::Missed(_) => {}
            }
        }
        for (digest, (points, remarks)) in runs {
            if let Some(entry) = before.sources.get_mut(&digest) {
                entry.points = points;
                entry.remarks.extend(remarks);
            }
        }
        Ok(before)
    }
}
