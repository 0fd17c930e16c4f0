//! `curvary verify`: is everything still what was committed?

use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_archive::{Addition, Archive, FindOptions};
use curvary_formats::Assumptions;
use curvary_record::Digest;

use crate::Environment;
use crate::desk::{OptionScope, ReadingOptions};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{BAD, GOOD, Progress, Screen, StyledText, plural};

/// Check that every original, record and index entry is still what was committed
#[derive(Debug, Args)]
pub(crate) struct VerifyCommand {
    /// Put right what can be put right: make a lost manifest again, cut off what was never committed, build the index
    /// anew, read originals again whose records are damaged. Nothing that may be an original or a record is deleted; what
    /// cannot be read goes into the folder `aside`
    #[arg(long)]
    repair: bool,
    /// With --repair: take damaged bytes from this backup first, bit for bit
    #[arg(long, value_name = "BACKUP", requires = "repair")]
    from: Option<PathBuf>,
    /// Print JSON: originals, records, runs, problems and remarks
    #[arg(long)]
    json: bool,
}

impl VerifyCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if let Some(backup) = &self.from {
            for done in setting.archive.mend_from(backup)? {
                screen.say(done);
            }
        }
        let mut lost = Vec::new();
        let mut said = AnnotatedRuns::default();
        if self.repair {
            said = annotated_runs(setting);
            let mended = setting.archive.rebuild()?;
            for done in mended.done {
                screen.say(done);
            }
            lost = mended.lost;
        }
        let mut archive = setting.archive.open()?;
        let progress = Progress::new(screen.quiet());
        let mut told = |done: u64, of: u64| progress.bytes(done, of);
        let mut checked = if self.repair {
            archive.repair(&mut told)?
        } else {
            archive.verify(&mut told)?
        };
        if self.repair && !checked.again.is_empty() {
            let runs = read_again(&archive, &checked.again)?;
            screen.say(format_args!(
                "{} made again from {}",
                plural(runs, "run"),
                plural(checked.again.len() as u64, "original")
            ));
            archive.refresh()?;
            checked = archive.verify(&mut told)?;
        }
        progress.end();
        if self.repair {
            lost.extend(said.gone(&annotated_runs(setting)));
        }
        checked
            .remarks
            .extend(lost.iter().map(|what| format!("lost: {what}")));
        if self.json {
            screen.json(&checked)?;
        } else {
            writeln!(
                screen,
                "{}, {}, {}",
                plural(checked.originals, "original"),
                plural(checked.records, "record"),
                plural(checked.runs, "run")
            )?;
            for problem in &checked.problems {
                let at = problem.at.map(|at| format!(", byte {at}")).unwrap_or_default();
                let repair = if problem.repairable {
                    "; `--repair` puts it right"
                } else {
                    ""
                };
                writeln!(
                    screen,
                    "{} {}{at}: found {}, expected {}{repair}",
                    StyledText(BAD, "damaged"),
                    problem.file,
                    problem.found,
                    problem.expected
                )?;
            }
            for remark in &checked.remarks {
                writeln!(screen, "note: {remark}")?;
            }
            if !lost.is_empty() {
                writeln!(
                    screen,
                    "{}; a backup may have it: `curvary verify --repair --from BACKUP`",
                    StyledText(BAD, "not all that was committed is there any more")
                )?;
            } else if checked.problems.is_empty() {
                writeln!(screen, "{}", StyledText(GOOD, "all as it was committed"))?;
            }
        }
        Ok(if checked.problems.is_empty() && lost.is_empty() {
            Ending::Done
        } else {
            Ending::Partly
        })
    }
}

/// Which runs have notes and which have results, as the index knows.
#[derive(Default)]
struct AnnotatedRuns {
    notes: BTreeSet<String>,
    results: BTreeSet<String>,
}

impl AnnotatedRuns {
    /// What is no longer there, a sentence each.
    fn gone(&self, now: &Self) -> Vec<String> {
        let named = |what: &str, before: &BTreeSet<String>, now: &BTreeSet<String>| {
            // So many names fit into two lines; who wants all of them asks for them.
            const SHOWN: usize = 8;
            let gone: Vec<&str> = before.difference(now).map(String::as_str).collect();
            let first = gone.iter().take(SHOWN).copied().collect::<Vec<_>>().join(", ");
            let others = if gone.len() > SHOWN { " and others" } else { "" };
            (!gone.is_empty()).then(|| {
                let runs = plural(gone.len() as u64, "run");
                format!("every {what} of {runs}: {first}{others}")
            })
        };
        let notes = named("note", &self.notes, &now.notes);
        notes
            .into_iter()
            .chain(named("result", &self.results, &now.results))
            .collect()
    }
}

/// What is said of runs; nothing where the index cannot be asked.
fn annotated_runs(setting: &Environment) -> AnnotatedRuns {
    let Ok(archive) = setting.archive.open() else {
        return AnnotatedRuns::default();
    };
    let of = |query: &str| -> BTreeSet<String> {
        let found = archive
            .query(query)
            .and_then(|query| archive.find(&query, &FindOptions::default()));
        let hits = found.map(|found| found.hits).unwrap_or_default();
        hits.into_iter().map(|hit| hit.id.as_str().to_owned()).collect()
    };
    AnnotatedRuns {
        notes: of("has:note"),
        results: of("has:result"),
    }
}

/// What was read again is made to count after so many bytes of sources.
const COMMIT_BYTES: u64 = 64 << 20;

/// Reads originals again whose records are lost, with what was settled about them; gives how many runs came of it.
fn read_again(archive: &Archive, lost: &[Digest]) -> Result<u64, Failure> {
    let mut writer = archive.write("curvary verify")?;
    let preparer = writer.preparer();
    let desk = ReadingOptions::default().desk(Some(archive.root()), OptionScope::Folders)?;
    let mut found = 0;
    for digest in lost {
        let (path, bytes) = archive.named_original(digest)?;
        let mut noted = Assumptions::none();
        for answer in archive.assumed(digest)? {
            // What was noted by an older program may be no answer any more.
            let _ = noted.add(&answer);
        }
        let finished = desk.read_source(desk.source_settling(&path, bytes.clone().into(), &noted.precise()));
        found += finished.reading.runs.len() as u64;
        let addition = Addition {
            path,
            bytes,
            digest: digest.clone(),
            stat: None,
            verdict: finished.verdict(),
            reader: finished.card.map(|card| card.id),
            remarks: finished.reading.remarks,
            family: finished.family,
            runs: finished.reading.runs,
            again: true,
        };
        writer.append(preparer.prepare(vec![addition])?)?;
        if writer.pending() >= COMMIT_BYTES {
            writer.commit()?;
        }
    }
    writer.finish()?;
    Ok(found)
}
