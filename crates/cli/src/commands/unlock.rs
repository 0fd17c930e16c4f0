//! `curvary unlock`: frees a lock that was left behind.

use std::io::Write;

use clap::Args;
use curvary_archive::{Archive, Unlocked};

use crate::Environment;
use crate::ending::{CommandResult, Ending};
use crate::screen::Screen;

/// Free the lock of a writer that is gone
///
/// Mostly nothing is to be done: a lock that a crashed command left behind on this machine is taken over by the next one.
/// Of a command on another machine nobody here can tell whether it still writes; look there first. A lock that is held at
/// this moment is never freed. What the writer had committed stays; what it had not was never there.
#[derive(Debug, Args)]
pub(crate) struct UnlockCommand {
    /// The process that holds the lock on another machine is gone for certain
    #[arg(long)]
    gone: bool,
}

impl UnlockCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        match Archive::unlock(archive.root(), self.gone)? {
            Unlocked::Free => writeln!(screen, "nobody holds the lock")?,
            Unlocked::Freed(holder) => writeln!(screen, "freed the lock that {holder} left behind")?,
        }
        Ok(Ending::Done)
    }
}
