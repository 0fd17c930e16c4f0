//! `curvary man`: the manual page.

use clap::Args;
use clap_mangen::Man as Page;
use clap_mangen::roff::{Roff, bold, roman};

use crate::ending::{CommandResult, Ending};
use crate::screen::Screen;

/// Print the manual page, for `man -l -`
#[derive(Debug, Args)]
pub(crate) struct ManCommand {}

impl ManCommand {
    /// Does it.
    pub(crate) fn run(self, screen: &mut Screen) -> CommandResult {
        let mut program = crate::definitions();
        program.build();
        let page = Page::new(program.clone());
        page.render_title(screen)?;
        page.render_name_section(screen)?;
        page.render_synopsis_section(screen)?;
        page.render_description_section(screen)?;
        page.render_options_section(screen)?;
        let mut commands = Roff::new();
        commands.control("SH", ["COMMANDS"]);
        for command in program.get_subcommands().filter(|command| !command.is_hide_set()) {
            commands.control("TP", []);
            commands.text([bold(command.get_name())]);
            let about = command.get_long_about().or(command.get_about());
            commands.text([roman(about.map(ToString::to_string).unwrap_or_default())]);
            for argument in command
                .get_arguments()
                .filter(|argument| !argument.is_global_set() && argument.get_id() != "help")
            {
                commands.control("RS", []);
                commands.control("TP", []);
                commands.text([bold(argument.to_string())]);
                commands.text([roman(
                    argument.get_help().map(ToString::to_string).unwrap_or_default(),
                )]);
                commands.control("RE", []);
            }
        }
        commands.to_writer(screen)?;
        page.render_extra_section(screen)?;
        page.render_version_section(screen)?;
        Ok(Ending::Done)
    }
}
