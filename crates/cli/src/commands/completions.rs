//! `curvary completions`: what a shell needs to complete our words.

use clap::Args;
use clap_complete::Shell;
use clap_complete::env::{Bash, Elvish, EnvCompleter, Fish, Powershell, Zsh};

use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::Screen;

/// Print completions for a shell
///
/// For bash: `curvary completions bash > ~/.local/share/bash-completion/completions/curvary`. The shell then asks curvary
/// itself, which knows the fields, samples, tags, models and runs of the archive from here upwards or in $CURVARY_ARCHIVE.
#[derive(Debug, Args)]
pub(crate) struct CompletionsCommand {
    /// The shell
    shell: Shell,
}

/// The variable by which a shell asks.
pub(crate) const ASKED_BY: &str = "CURVARY_COMPLETE";

impl CompletionsCommand {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> CommandResult {
        let shell: &dyn EnvCompleter = match self.shell {
            Shell::Bash => &Bash,
            Shell::Elvish => &Elvish,
            Shell::Fish => &Fish,
            Shell::PowerShell => &Powershell,
            Shell::Zsh => &Zsh,
            other => return Err(Failure::usage(format!("there are no completions for {other}"))),
        };
        shell.write_registration(ASKED_BY, "curvary", "curvary", "curvary", screen)?;
        Ok(Ending::Done)
    }
}
