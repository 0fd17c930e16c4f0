//! `curvary upgrade`: moves an archive on to the newest format.

use std::io::Write;

use clap::Args;
use curvary_archive::FORMAT;

use crate::Environment;
use crate::ending::{CommandResult, Ending};
use crate::screen::Screen;

/// Move an archive on to the newest format, in which this program writes
///
/// Archives of older formats are read without it. It takes a moment: what is there stays as it is, and what is written from
/// now on is in the newest format. Programs that know only the older one refuse the archive then and change nothing.
#[derive(Debug, Args)]
pub(crate) struct UpgradeCommand {}

impl UpgradeCommand {
    /// Does it.
    #[expect(clippy::unused_self, reason = "commands are values")]
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let mut archive = setting.archive.open()?;
        match archive.upgrade()? {
            None => writeln!(screen, "the archive is of format {FORMAT} already")?,
            Some(before) => writeln!(
                screen,
                "moved on from format {before} to {FORMAT}; what was there stays as it is"
            )?,
        }
        Ok(Ending::Done)
    }
}
