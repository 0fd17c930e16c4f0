//! `curvary verify`: is everything still what was committed?

use std::io::Write;

use clap::Args;

use crate::Setting;
use crate::ending::{Ending, Outcome};
use crate::screen::{BAD, GOOD, Progress, Screen, Styled, plural};

/// Check that every original, record and index entry is still what was committed
#[derive(Debug, Args)]
pub(crate) struct Verify {
    /// Put right what can be put right: make a lost manifest again, cut off what was never committed, build the index
    /// anew. Nothing that may be an original or a record is deleted; what is no whole entry goes into the folder `aside`
    #[arg(long)]
    repair: bool,
    /// Print JSON: originals, records, runs, problems and remarks
    #[arg(long)]
    json: bool,
}

impl Verify {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        if self.repair {
            for done in setting.archive.rebuild()? {
                screen.say(done);
            }
        }
        let mut archive = setting.archive.open()?;
        let progress = Progress::new(screen.quiet());
        let mut told = |done: u64, of: u64| progress.bytes(done, of);
        let checked = if self.repair {
            archive.repair(&mut told)?
        } else {
            archive.verify(&mut told)?
        };
        progress.end();
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
                    Styled(BAD, "damaged"),
                    problem.file,
                    problem.found,
                    problem.expected
                )?;
            }
            for remark in &checked.remarks {
                writeln!(screen, "note: {remark}")?;
            }
            if checked.problems.is_empty() {
                writeln!(screen, "{}", Styled(GOOD, "all as it was committed"))?;
            }
        }
        Ok(if checked.problems.is_empty() {
            Ending::Done
        } else {
            Ending::Partly
        })
    }
}
