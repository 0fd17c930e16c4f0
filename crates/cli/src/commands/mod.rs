//! The commands, one file each.

mod add;
mod answer;
mod backup;
mod check;
mod completions;
mod convert;
mod demo;
mod explain;
pub(crate) mod export;
mod fields;
pub(crate) mod find;
mod fit;
mod man;
pub(crate) mod note;
mod peaks;
mod plot;
mod process;
mod quantify;
mod rates;
mod readers;
mod reread;
pub(crate) mod results;
mod run;
mod scans;
pub(crate) mod show;
mod status;
mod temperature;
mod unlock;
mod upgrade;
mod verify;
mod vocabulary;
mod watch;
mod worklist;

pub(crate) use completions::ASKED_BY;

use std::ffi::OsString;
use std::path::Path;

use clap::Subcommand;
use curvary_archive::{Archive, StoredAnswers};
use curvary_record::code;

use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::Screen;

/// All commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    Status(status::StatusCommand),
    Add(add::AddCommand),
    Watch(watch::WatchCommand),
    Fields(fields::FieldsCommand),
    Find(find::FindCommand),
    Fit(Box<fit::FitCommand>),
    Rates(Box<rates::RatesCommand>),
    Scans(scans::ScansCommand),
    Temperature(temperature::TemperatureCommand),
    Results(results::ResultsCommand),
    Run(run::RunCommand),
    Peaks(Box<peaks::PeaksCommand>),
    Plot(Box<plot::PlotCommand>),
    Process(Box<process::ProcessCommand>),
    Quantify(Box<quantify::QuantifyCommand>),
    Check(Box<check::CheckCommand>),
    Show(show::ShowCommand),
    Explain(explain::ExplainCommand),
    Worklist(worklist::WorklistCommand),
    Answer(answer::AnswerCommand),
    Vocabulary(vocabulary::VocabularyCommand),
    Note(note::NoteCommand),
    Reread(reread::RereadCommand),
    Export(export::ExportCommand),
    Convert(convert::ConvertCommand),
    Verify(verify::VerifyCommand),
    Unlock(unlock::UnlockCommand),
    Upgrade(upgrade::UpgradeCommand),
    Backup(backup::BackupCommand),
    Restore(backup::RestoreCommand),
    Readers(readers::ReadersCommand),
    Demo(demo::DemoCommand),
    Completions(completions::CompletionsCommand),
    Man(man::ManCommand),
}

impl Command {
    /// Does what was asked, and tells what was missing from it because it cannot be read.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let asks = self.asks_the_archive();
        let tells = asks || matches!(self, Self::Add(_) | Self::Watch(_) | Self::Vocabulary(_));
        let ending = self.done(setting, screen);
        if ending.is_ok() {
            screen.print_cautions()?;
        }
        // Also where a command failed behind an answer that it had kept. Where another writes, what waits is perhaps being read.
        let is_locked = matches!(&ending, Err(Failure::Told { why, .. }) if why.code == code::ARCHIVE_LOCKED);
        if let Some(root) = setting.archive.there().filter(|_| tells && !is_locked) {
            report_waiting(&root, screen);
        }
        let ending = ending?;
        let asked = setting.archive.there().filter(|_| asks);
        // One that cannot be opened was not asked.
        let lost = asked.and_then(|root| Archive::open(&root).ok()?.lost().ok());
        Ok(report_lost(&lost.unwrap_or_default(), ending, screen))
    }

    /// Whether runs that cannot be read would be missing from what it does.
    fn asks_the_archive(&self) -> bool {
        matches!(
            self,
            Self::Status(_)
                | Self::Show(_)
                | Self::Find(_)
                | Self::Fields(_)
                | Self::Fit(_)
                | Self::Rates(_)
                | Self::Scans(_)
                | Self::Temperature(_)
                | Self::Results(_)
                | Self::Peaks(_)
                | Self::Plot(_)
                | Self::Process(_)
                | Self::Quantify(_)
                | Self::Check(_)
                | Self::Worklist(_)
                | Self::Answer(_)
                | Self::Note(_)
                | Self::Reread(_)
                | Self::Export(_)
        )
    }

    fn done(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        match self {
            Self::Status(status) => status.run(setting, screen),
            Self::Add(add) => add.run(setting, screen),
            Self::Watch(watch) => watch.run(setting, screen),
            Self::Fields(fields) => fields.run(setting, screen),
            Self::Run(run) => run.run(setting, screen),
            Self::Find(find) => find.run(setting, screen),
            Self::Fit(fit) => fit.run(setting, screen),
            Self::Rates(rates) => rates.run(setting, screen),
            Self::Scans(scans) => scans.run(setting, screen),
            Self::Temperature(temperature) => temperature.run(setting, screen),
            Self::Results(results) => results.run(setting, screen),
            Self::Peaks(peaks) => peaks.run(setting, screen),
            Self::Plot(plot) => plot.run(setting, screen),
            Self::Process(process) => process.run(setting, screen),
            Self::Quantify(quantify) => quantify.run(setting, screen),
            Self::Check(check) => check.run(setting, screen),
            Self::Show(show) => show.run(setting, screen),
            Self::Explain(explain) => explain.run(setting, screen),
            Self::Worklist(worklist) => worklist.run(setting, screen),
            Self::Answer(answer) => answer.run(setting, screen),
            Self::Vocabulary(vocabulary) => vocabulary.run(setting, screen),
            Self::Reread(reread) => reread.run(setting, screen),
            Self::Note(note) => note.run(setting, screen),
            Self::Export(export) => export.run(setting, screen),
            Self::Convert(convert) => convert.run(setting, screen),
            Self::Verify(verify) => verify.run(setting, screen),
            Self::Unlock(unlock) => unlock.run(setting, screen),
            Self::Upgrade(upgrade) => upgrade.run(setting, screen),
            Self::Backup(backup) => backup.run(setting, screen),
            Self::Restore(restore) => restore.run(screen),
            Self::Readers(readers) => readers.run(setting, screen),
            Self::Demo(demo) => demo.run(screen),
            Self::Completions(completions) => completions.run(screen),
            Self::Man(man) => man.run(screen),
        }
    }
}

impl Command {
    /// Whether a person reads what it prints, page by page where it is long.
    pub(crate) fn is_paged(&self) -> bool {
        match self {
            Self::Worklist(worklist) => !worklist.asks(),
            Self::Find(_)
            | Self::Fields(_)
            | Self::Show(_)
            | Self::Explain(_)
            | Self::Results(_)
            | Self::Status(_)
            | Self::Vocabulary(_) => true,
            _ => false,
        }
    }
}

/// What `curvary` alone does: the archive at a glance, or how to begin one.
pub(crate) fn alone(setting: &Environment, screen: &mut Screen) -> CommandResult {
    match setting.archive.there() {
        Some(_) => Command::Status(status::StatusCommand::default()).run(setting, screen),
        None => status::first_steps(screen),
    }
}

/// Stands for the hyphen of an excluded term, `-comment:practice`, which clap would take for an option.
const EXCLUDED: char = '\u{2212}';

/// Commands that take a query.
const ASKING: [&str; 16] = [
    "show",
    "plot",
    "answer",
    "reread",
    "find",
    "export",
    "note",
    "fit",
    "rates",
    "scans",
    "temperature",
    "results",
    "peaks",
    "process",
    "quantify",
    "check",
];
/// Options whose value is a path, which may begin with a hyphen too.
const PATHS: [&str; 3] = ["--out", "--archive", "--limits"];

/// The command line with excluded terms made safe for clap; [`query`] undoes it.
///
/// Our own short options have one letter, so a longer word behind a single hyphen can only be an excluded term.
pub(crate) fn arguments(given: impl Iterator<Item = OsString>) -> Vec<OsString> {
    let mut asking = false;
    let mut literal = false;
    let mut before = String::new();
    given
        .map(|argument| {
            let Some(text) = argument.to_str() else {
                return argument;
            };
            asking |= ASKING.contains(&text);
            literal |= text == "--";
            let excluded = asking && !literal && !PATHS.contains(&before.as_str()) && is_excluded(text);
            text.clone_into(&mut before);
            if excluded {
                format!("{EXCLUDED}{}", &text[1..]).into()
            } else {
                argument
            }
        })
        .collect()
}

fn is_excluded(text: &str) -> bool {
    let mut letters = text.chars();
    letters.next() == Some('-')
        && letters
            .next()
            .is_some_and(|c| c.is_alphanumeric() || matches!(c, '(' | '"' | '@'))
        && letters.next().is_some()
        && !is_number(text)
}

fn is_number(text: &str) -> bool {
    text.parse::<f64>().is_ok()
}

/// The query that was given as words of a command line.
///
/// The shell takes quotes away: `buffer:"citrate phosphate"` arrives as one word with a blank in it, and is given its
/// quotes back. A word that holds a whole query is left as it is.
pub(crate) fn query(words: &[String]) -> String {
    let words: Vec<String> = words.iter().map(|word| quoted(&plain(word))).collect();
    words.join(" ")
}

/// A word of the command line as it was given.
pub(crate) fn plain(word: &str) -> String {
    match word.strip_prefix(EXCLUDED) {
        Some(rest) => format!("-{rest}"),
        None => word.to_owned(),
    }
}

fn quoted(word: &str) -> String {
    let Some((key, value)) = word.split_once(':') else {
        return word.to_owned();
    };
    let one_term = value.contains(char::is_whitespace)
        && !key.contains(char::is_whitespace)
        && !value.contains(['"', '(', ')', ':'])
        && !value.split_whitespace().any(|part| part == "or");
    if one_term {
        format!("{key}:\"{value}\"")
    } else {
        word.to_owned()
    }
}

/// Tells that files are still to be read again for answers.
fn report_waiting(root: &Path, screen: &mut Screen) {
    // Answers that cannot be read are told by what asks for them.
    let Ok(answers) = StoredAnswers::read(root) else {
        return;
    };
    if let Some(advice) = answers.unapplied().advice() {
        screen.say(advice);
    }
}

/// Tells which stretches of records cannot be read, since what they hold is missing from an answer.
fn report_lost(lost: &[String], ending: Ending, screen: &mut Screen) -> Ending {
    for lost in lost {
        screen.say(format_args!(
            "{lost}; `curvary verify --repair` makes it again from the originals"
        ));
    }
    if lost.is_empty() { ending } else { Ending::Partly }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(given: &[&str]) -> Vec<String> {
        let given = given.iter().map(OsString::from);
        arguments(given)
            .into_iter()
            .filter_map(|word| word.into_string().ok())
            .collect()
    }

    #[test]
    fn excluded_terms_pass_through_clap() {
        let passed = words(&[
            "curvary",
            "find",
            "betanin",
            "-comment:practice",
            "--json",
            "-q",
            "--limit",
            "-1",
        ]);
        assert_eq!(passed[3], "\u{2212}comment:practice");
        assert_eq!(passed[4..], ["--json", "-q", "--limit", "-1"]);
        assert_eq!(query(&passed[2..4]), "betanin -comment:practice");
        assert_eq!(words(&["curvary", "find", "x", "--archive", "-lab"])[4], "-lab");
        assert_eq!(words(&["curvary", "add", "-lab"])[2], "-lab");
    }

    #[test]
    fn the_shell_takes_quotes_and_we_give_them_back() {
        let one = |word: &str| query(&[word.to_owned()]);
        assert_eq!(one("buffer:citrate phosphate"), "buffer:\"citrate phosphate\"");
        assert_eq!(one("betanin ph:>=7"), "betanin ph:>=7");
        assert_eq!(one("sample:a or sample:b"), "sample:a or sample:b");
        assert_eq!(one("sample:\"a b\""), "sample:\"a b\"");
    }
}
