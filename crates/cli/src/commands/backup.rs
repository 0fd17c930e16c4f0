//! `curvary backup` and `curvary restore`: copies of the archive, compared with its digests.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use curvary_archive::{Archive, CopyReport, CopyTarget, VerifyReport};
use curvary_record::{Code, Diagnostic};
use serde::Serialize;

use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{BAD, GOOD, Progress, Screen, StyledText, megabytes, plural};

/// Copy the archive into another folder, while others may write, and check the copy
///
/// Into a folder that holds an earlier backup only what has been added since is copied. A damaged part is never copied over a
/// whole one. A backup is an archive like any other: `--archive` opens it, and `curvary verify --repair --from` mends from it.
#[derive(Debug, Args)]
pub(crate) struct BackupCommand {
    /// The folder to copy to: a new one, an empty one, or that of an earlier backup
    #[arg(value_name = "DIR")]
    to: PathBuf,
    /// Print JSON: commit, bytes, had, originals, records, runs, problems
    #[arg(long)]
    json: bool,
}

/// Copy a backup into a new folder, and check it there
///
/// A restore that was cut short is completed by the same command.
#[derive(Debug, Args)]
pub(crate) struct RestoreCommand {
    /// The backup's folder
    #[arg(value_name = "BACKUP")]
    from: PathBuf,
    /// The folder of the new archive, which must not be there yet or be empty
    #[arg(value_name = "DIR")]
    to: PathBuf,
    /// Print JSON: commit, bytes, had, originals, records, runs, problems
    #[arg(long)]
    json: bool,
}

/// What was copied, and what a check of the copy found, as `--json` shows it.
#[derive(Serialize)]
struct BackupJson<'a> {
    to: String,
    #[serde(flatten)]
    copied: CopyReport,
    #[serde(flatten)]
    checked: &'a VerifyReport,
}

impl BackupCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        copy(&archive, &self.to, self.json, screen)
    }
}

impl RestoreCommand {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> CommandResult {
        let backup = Archive::open(&self.from)?;
        let (message, help) = match backup.copy_in(&self.to) {
            CopyTarget::Free | CopyTarget::Begun => return copy(&backup, &self.to, self.json, screen),
            CopyTarget::Done => (
                format!("`{}` holds all of this backup already", self.to.display()),
                "`curvary verify --archive DIR` reads it once more",
            ),
            CopyTarget::Taken => (
                format!("`{}` is there already and not empty", self.to.display()),
                "name a new folder; `curvary verify --repair --from BACKUP` mends an archive that is damaged",
            ),
        };
        let why = Diagnostic::error(Code::new("output-there"), message);
        Err(Failure::wrong(why.help(help)))
    }
}

/// Copies an archive and checks what came of it.
fn copy(archive: &Archive, to: &Path, json: bool, screen: &mut Screen) -> CommandResult {
    let progress = Progress::new(screen.quiet());
    let mut told = |done: u64, of: u64| progress.bytes(done, of);
    let copied = archive.copy_to(to, &mut told)?;
    let checked = Archive::open(to)?.verify(&mut told)?;
    progress.end();
    if json {
        screen.json(&BackupJson {
            to: to.display().to_string(),
            copied,
            checked: &checked,
        })?;
    } else {
        writeln!(
            screen,
            "{} copied, {} were there: {}, {}, {} in {}",
            megabytes(copied.bytes),
            megabytes(copied.had),
            plural(checked.originals, "original"),
            plural(checked.records, "record"),
            plural(checked.runs, "run"),
            to.display()
        )?;
        for problem in &checked.problems {
            let file = &problem.file;
            writeln!(
                screen,
                "{} {file}: found {}, expected {}",
                StyledText(BAD, "damaged"),
                problem.found,
                problem.expected
            )?;
        }
        if checked.problems.is_empty() {
            writeln!(
                screen,
                "{}",
                StyledText(GOOD, "the copy was read back and is whole")
            )?;
        }
    }
    Ok(if checked.problems.is_empty() {
        Ending::Done
    } else {
        Ending::Partly
    })
}
