//! The program `curvary`: a place where curves are kept.
//!
//! This crate is arguments, commands, drawing, progress and exit status; everything else is done by the crates below
//! it. Only here is anything drawn, and only here does the process end.
//!
//! [`commands`] has a file, or a folder, per command. Beside it stands what several of them share: what a command is about
//! ([`subject`], [`last`], [`whereabouts`], [`parts`]), how files are read and questions asked ([`desk`], [`plugins`],
//! [`questions`]), options of computations ([`steps`], [`courses`], [`again`]), and what is shown ([`screen`], [`table`],
//! [`telling`], [`findings`], [`comparison`], [`drawing`], [`sketch`], [`figure`], [`report`]), why nothing was found ([`why`]), what is
//! handed over ([`output`], [`handover`]), pages of codes ([`codes`]), and how it all ends ([`ending`]).

mod again;
mod codes;
mod commands;
mod comparison;
mod completing;
mod courses;
mod desk;
mod drawing;
mod ending;
mod figure;
mod findings;
mod half;
mod handover;
mod last;
mod likeness;
mod output;
mod parts;
mod plugins;
mod questions;
mod report;
mod screen;
mod sketch;
mod steps;
mod subject;
mod table;
mod telling;
mod whereabouts;
mod why;

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, CommandFactory, Parser};

use crate::commands::Command;
use crate::drawing::Texts;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{Errors, Screen};
use crate::whereabouts::Whereabouts;

/// Keeps the exports of a UV-visible spectrophotometer so that every run is found again, exact and traceable.
///
/// For research and teaching. Results are never for diagnosis.
#[derive(Debug, Parser)]
#[command(name = "curvary", version, max_term_width = 100, after_help = AFTER_HELP)]
struct Program {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Option<Command>,
}

const AFTER_HELP: &str = "Without a command: the archive at a glance. `curvary help COMMAND` says more of a command, \
    `curvary fields` lists what a query can ask for.\nExit status: 0 all done; 1 done in part, with errors; 2 wrong command line; \
    3 nothing could be done.\nThe archive is --archive, else $CURVARY_ARCHIVE, else the nearest folder above with an \
    archive.toml.";

/// What every command takes.
#[derive(Debug, Args)]
struct Common {
    #[command(flatten)]
    archive: Whereabouts,
    /// How to draw what was odd [default: full, and in short where there are many]
    #[arg(long, global = true, value_name = "HOW", help_heading = "Everywhere")]
    errors: Option<Errors>,
    /// Let warnings and open questions change the exit status
    #[arg(long, global = true, help_heading = "Everywhere")]
    strict: bool,
    /// Say nothing but answers and errors
    #[arg(long, short, global = true, help_heading = "Everywhere")]
    quiet: bool,
    /// Print long output at once, and not in $PAGER
    #[arg(long, global = true, help_heading = "Everywhere")]
    no_pager: bool,
}

/// What a command is given beside its own arguments.
pub(crate) struct Environment {
    /// Where the archive is.
    pub(crate) archive: Whereabouts,
    /// Whether warnings and questions change the exit status.
    pub(crate) strict: bool,
}

/// The definitions of all commands, for completions and the man page.
pub(crate) fn definitions() -> clap::Command {
    Program::command()
}

/// Does the command that these words say, as part of another one.
pub(crate) fn perform(words: &[String], screen: &mut Screen) -> CommandResult {
    let words = std::iter::once("curvary".into()).chain(words.iter().map(Into::into));
    let program = Program::try_parse_from(commands::arguments(words)).map_err(Failure::usage)?;
    let Common { archive, strict, .. } = program.common;
    match program.command {
        Some(command) => command.run(&Environment { archive, strict }, screen),
        None => Err(Failure::usage("expected a command")),
    }
}

/// The text that a complaint's places lie in, when it is no file's.
struct Spoken(Option<String>);

impl Texts for Spoken {
    fn text(&self, file: Option<&str>) -> Option<&str> {
        if file.is_some() { None } else { self.0.as_deref() }
    }
}

fn main() -> ExitCode {
    // The worker of a plugin is this program started again: it must be nothing else then.
    if std::env::args_os()
        .nth(1)
        .is_some_and(|first| first == curvary_plugin_host::WORKER)
    {
        return curvary_plugin_host::serve();
    }
    // A shell that asks what may be typed gets its answer and no more.
    clap_complete::CompleteEnv::with_factory(definitions)
        .var(commands::ASKED_BY)
        .complete();
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        // What is caught is told as damage of the file.
        if !curvary_formats::guard::is_guarded() {
            usual(panic);
        }
    }));
    let program = match Program::try_parse_from(commands::arguments(std::env::args_os())) {
        Ok(program) => program,
        Err(error) => {
            // A closed pipe behind `--help` leaves nobody to tell.
            let _ = error.print();
            return if error.use_stderr() {
                Ending::Wrong.into()
            } else {
                Ending::Done.into()
            };
        }
    };
    let Common {
        archive,
        errors,
        strict,
        quiet,
        no_pager,
    } = program.common;
    let mut screen = Screen::new(errors, quiet);
    let setting = Environment { archive, strict };
    let outcome = match program.command {
        Some(command) => {
            if command.is_paged() && !no_pager {
                screen.page();
            }
            command.run(&setting, &mut screen)
        }
        None => commands::alone(&setting, &mut screen),
    };
    // What was answered must arrive before the command may say that it is done.
    let outcome = outcome.and_then(|ending| screen.flush().map(|()| ending).map_err(Failure::from));
    match outcome {
        Ok(ending) => ending.into(),
        Err(Failure::Closed) => Ending::Done.into(),
        Err(Failure::Told { ending, why, text }) => {
            screen.complain(None, &why, &Spoken(text));
            // What is held back for a pager is printed, whatever happened.
            let _ = screen.flush();
            ending.into()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_definitions_are_sound() {
        definitions().debug_assert();
    }

    /// An option of a command that is called as one of every command would take its place, and reading its value would panic:
    /// clap's own check does not see it.
    #[test]
    fn no_option_of_a_command_is_called_as_one_of_all_commands() {
        let program = definitions();
        let everywhere: Vec<clap::Arg> = program
            .get_arguments()
            .filter(|arg| arg.is_global_set())
            .cloned()
            .collect();
        assert!(!everywhere.is_empty());
        let mut clashes = Vec::new();
        let mut left: Vec<&clap::Command> = program.get_subcommands().collect();
        while let Some(command) = left.pop() {
            left.extend(command.get_subcommands());
            for arg in command.get_arguments() {
                for global in &everywhere {
                    let names = |arg: &clap::Arg| {
                        let mut all = arg.get_long_and_visible_aliases().unwrap_or_default();
                        all.extend(arg.get_all_aliases().unwrap_or_default());
                        all.into_iter().map(str::to_owned).collect::<Vec<_>>()
                    };
                    let same_long = names(arg).iter().any(|name| names(global).contains(name));
                    let same_short = arg.get_short().is_some() && arg.get_short() == global.get_short();
                    if arg.get_id() == global.get_id() || same_long || same_short {
                        clashes.push(format!("{} {}", command.get_name(), arg.get_id()));
                    }
                }
            }
        }
        assert!(clashes.is_empty(), "{clashes:?}");
    }
}
