//! `curvary completions`: what a shell needs to complete our words.

use clap::Args;
use clap_complete::Shell;

use crate::ending::{Ending, Outcome};
use crate::screen::Screen;

/// Print completions for a shell
#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// The shell
    shell: Shell,
}

impl Completions {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> Outcome {
        clap_complete::generate(self.shell, &mut crate::definitions(), "curvary", screen);
        Ok(Ending::Done)
    }
}
