//! `curvary worklist`: what needs a person, most frequent cause first.

use std::io::Write;

use clap::Args;

use crate::Setting;
use crate::commands::find::short;
use crate::ending::{Ending, Failure, Outcome};
use crate::screen::{FAINT, STRONG, Screen, Styled, count};
use crate::table::one_line;

/// List what needs a person, most frequent cause first
///
/// Open questions with their plausible readings, files that were not read, fields on which the sources do not agree,
/// runs without a sample name, and keys that only this laboratory uses.
#[derive(Debug, Args)]
pub(crate) struct Worklist {
    /// Print JSON: unread, questions, disputes, nameless and words
    #[arg(long)]
    json: bool,
    /// List the words of the house alone: keys that no field is known for
    #[arg(long)]
    words: bool,
    /// How many examples to give of each cause
    #[arg(long, value_name = "N", default_value_t = 3)]
    examples: usize,
}

impl Worklist {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let archive = setting.archive.open()?;
        let list = archive.worklist(self.examples)?;
        if self.json {
            if self.words {
                screen.json(&list.words)?;
            } else {
                screen.json(&list)?;
            }
            return Ok(Ending::Done);
        }
        if self.words {
            words(&list, screen)?;
        } else {
            all(&list, screen)?;
        }
        Ok(Ending::Done)
    }
}

fn all(list: &curvary_archive::Worklist, screen: &mut Screen) -> Result<(), Failure> {
    let heading = |screen: &mut Screen, text: &str| writeln!(screen, "{}", Styled(STRONG, text));
    if !list.questions.is_empty() {
        heading(screen, "open questions")?;
        for group in &list.questions {
            writeln!(
                screen,
                "{:>8}  {}: {}",
                count(group.count),
                group.code,
                one_line(&group.message)
            )?;
            for reading in &group.readings {
                writeln!(
                    screen,
                    "          {}  {}",
                    reading.assume,
                    Styled(FAINT, one_line(&reading.says))
                )?;
            }
            let runs: Vec<&str> = group.examples.iter().map(|run| short(run.as_str())).collect();
            writeln!(
                screen,
                "          {}",
                Styled(FAINT, format!("as in {}", runs.join(", ")))
            )?;
            if let (Some(run), Some(reading)) = (runs.first(), group.readings.first()) {
                let settle = format!("settle with `curvary note {run} assume:{}`", reading.assume);
                writeln!(screen, "          {}", Styled(FAINT, settle))?;
            }
        }
    }
    if !list.unread.is_empty() {
        heading(screen, "files that were not read")?;
        for group in &list.unread {
            writeln!(
                screen,
                "{:>8}  {}: {}",
                count(group.count),
                group.code,
                one_line(&group.message)
            )?;
            for path in &group.examples {
                writeln!(screen, "          {}", Styled(FAINT, one_line(path)))?;
            }
        }
    }
    if !list.disputes.is_empty() {
        heading(screen, "disputes")?;
        for group in &list.disputes {
            writeln!(screen, "{:>8}  {}", count(group.count), group.field)?;
            for (run, claims) in &group.examples {
                let claims: Vec<String> = claims.iter().map(|claim| one_line(claim)).collect();
                writeln!(
                    screen,
                    "          {}  {}",
                    short(run.as_str()),
                    Styled(FAINT, claims.join(" | "))
                )?;
            }
        }
    }
    if list.nameless > 0 {
        heading(screen, "runs without a sample name")?;
        let runs: Vec<&str> = list
            .nameless_examples
            .iter()
            .map(|run| short(run.as_str()))
            .collect();
        writeln!(
            screen,
            "{:>8}  {}",
            count(list.nameless),
            Styled(FAINT, format!("as {}", runs.join(", ")))
        )?;
    }
    words(list, screen)?;
    if list.questions.is_empty()
        && list.unread.is_empty()
        && list.disputes.is_empty()
        && list.nameless == 0
        && list.words.is_empty()
    {
        screen.say("nothing needs a person");
    }
    Ok(())
}

fn words(list: &curvary_archive::Worklist, screen: &mut Screen) -> Result<(), Failure> {
    if list.words.is_empty() {
        return Ok(());
    }
    writeln!(screen, "{}", Styled(STRONG, "words of the house"))?;
    for word in &list.words {
        let values: Vec<String> = word.values.iter().map(|value| one_line(value)).collect();
        writeln!(
            screen,
            "{:>8}  {}: {}",
            count(word.count),
            one_line(&word.key),
            Styled(FAINT, values.join(" | "))
        )?;
        if let Some(field) = &word.suggests {
            let because = word
                .because
                .as_deref()
                .map(|because| format!(": {because}"))
                .unwrap_or_default();
            writeln!(screen, "          looks like {field}{because}")?;
            let accept = format!(
                "accept with `curvary note --word '{}={field}'`",
                one_line(&word.key)
            );
            writeln!(screen, "          {}", Styled(FAINT, accept))?;
        }
    }
    Ok(())
}
