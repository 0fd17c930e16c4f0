//! `curvary run`: commands that were saved under a name in `archive.toml`, done one after another.

use std::io::Write;

use clap::Args;
use curvary_archive::{Archive, Sequence};
use curvary_formats::assume::nearest;
use curvary_record::{Code, Diagnostic};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table as TomlTable, value};

use crate::Environment;
use crate::commands::note::replace;
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{FAINT, STRONG, Screen, StyledText};
use crate::table::{Listing, ListingColumn, Shorten, TableCell, one_line};

/// Do commands again that were saved under a name
///
/// A sequence stands in the archive's `archive.toml` as `[[sequence]]` with a name, a query and steps: command lines without
/// the word curvary. `{query}` in a step stands for the query, `{today}` for the day. The sequence stops at the first step
/// that can do nothing. --save writes one, as in: curvary run weekly --query 'sample:betanin' --save 'fit {query} --model
/// first-order+offset' --save 'export {query} --to report --out weekly.html --replace'. Without a name, lists them.
#[derive(Debug, Args)]
pub(crate) struct RunCommand {
    /// The name of the sequence
    name: Option<String>,
    /// Another query than the saved one, or with --save the one to save
    #[arg(long, value_name = "QUERY")]
    query: Option<String>,
    /// Save this step under the name; give it once for each step, in order
    #[arg(long, value_name = "STEP", requires = "name")]
    save: Vec<String>,
    /// What the saved sequence is for
    #[arg(long, value_name = "TEXT", requires = "save")]
    about: Option<String>,
    /// Take the place of a saved sequence of this name
    #[arg(long, requires = "save")]
    replace: bool,
    /// Print the steps and do nothing
    #[arg(long, requires = "name", conflicts_with = "save")]
    dry_run: bool,
    /// Print JSON: the saved sequences
    #[arg(long, conflicts_with = "name")]
    json: bool,
}

/// Commands that are no step: they do not end, do others, or ask.
const NO_STEPS: [&str; 4] = ["run", "watch", "demo", "unlock"];

impl RunCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        let Some(name) = &self.name else {
            return self.list(&archive, screen);
        };
        if !self.save.is_empty() {
            return self.keep(&archive, name, screen);
        }
        let sequence = of_name(&archive, name)?;
        let query = self.query.clone().or(sequence.query).unwrap_or_default();
        let root = archive.root().display().to_string();
        let mut ending = Ending::Done;
        for step in &sequence.steps {
            let words = words(step, &query)?;
            writeln!(
                screen,
                "{}",
                StyledText(STRONG, format!("curvary {}", one_line(&shown(&words))))
            )?;
            if self.dry_run {
                continue;
            }
            let mut whole = words.clone();
            if !whole.iter().any(|word| word == "--archive") {
                whole.extend(["--archive".to_owned(), root.clone()]);
            }
            match crate::perform(&whole, screen)? {
                Ending::Done => {}
                Ending::Partly => ending = Ending::Partly,
                Ending::Wrong | Ending::Nothing => {
                    let message = format!(
                        "the sequence `{name}` stopped: `curvary {}` could do nothing",
                        shown(&words)
                    );
                    return Err(Failure::nothing(Diagnostic::error(
                        Code::new("sequence-stopped"),
                        message,
                    )));
                }
            }
        }
        Ok(ending)
    }

    fn list(&self, archive: &Archive, screen: &mut Screen) -> CommandResult {
        let all = &archive.settings().sequences;
        if self.json {
            screen.json(all)?;
            return Ok(Ending::Done);
        }
        if all.is_empty() {
            screen.say("no sequence is saved; `curvary help run` says how");
            return Ok(Ending::Done);
        }
        let columns = [
            ListingColumn::new("name"),
            ListingColumn::new("steps").right(),
            ListingColumn::new("query"),
            ListingColumn::new("for").shorten(Shorten::End),
        ];
        let mut table = Listing::new(columns);
        for one in all {
            table.row([
                TableCell::styled(one.name.as_str(), STRONG),
                one.steps.len().to_string().into(),
                one.query.clone().unwrap_or_default().into(),
                TableCell::styled(one.about.clone().unwrap_or_default(), FAINT),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        Ok(Ending::Done)
    }

    /// Writes a sequence into `archive.toml`.
    fn keep(&self, archive: &Archive, name: &str, screen: &mut Screen) -> CommandResult {
        let there = archive.settings().sequences.iter().any(|one| one.name == name);
        if there && !self.replace {
            let why = Diagnostic::error(
                Code::new("output-there"),
                format!("a sequence `{name}` is there already"),
            );
            return Err(Failure::nothing(
                why.help("give another name, or take its place with `--replace`"),
            ));
        }
        let query = self.query.clone().unwrap_or_default();
        archive.query(&query)?;
        for step in &self.save {
            let words = words(step, &query)?;
            let line = std::iter::once("curvary".into()).chain(words.iter().map(Into::into));
            let line = crate::commands::arguments(line);
            if let Err(error) = crate::definitions().try_get_matches_from(line) {
                let first = error.to_string();
                let first = first
                    .lines()
                    .next()
                    .unwrap_or_default()
                    .trim_start_matches("error: ")
                    .to_owned();
                return Err(Failure::usage(format!(
                    "the step `{step}` is no command line of curvary: {first}"
                )));
            }
        }
        let path = archive.root().join("archive.toml");
        let text = std::fs::read_to_string(&path).map_err(|error| Failure::file("read", &path, &error))?;
        let wrong = |error: toml_edit::TomlError| {
            Failure::nothing(Diagnostic::error(
                Code::new("settings-wrong"),
                format!("`archive.toml`: {}", error.message()),
            ))
        };
        let mut document: DocumentMut = text.parse().map_err(wrong)?;
        let list = document
            .entry("sequence")
            .or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
        let Some(list) = list.as_array_of_tables_mut() else {
            return Err(Failure::usage("`sequence` in archive.toml is no `[[sequence]]`"));
        };
        list.retain(|one| one.get("name").and_then(Item::as_str) != Some(name));
        let mut table = TomlTable::new();
        table["name"] = value(name);
        if let Some(about) = &self.about {
            table["about"] = value(about.as_str());
        }
        if !query.is_empty() {
            table["query"] = value(query.as_str());
        }
        table["steps"] = value(self.save.iter().map(String::as_str).collect::<toml_edit::Array>());
        list.push(table);
        replace(&path, &document.to_string())?;
        writeln!(screen, "saved: `curvary run {name}`")?;
        Ok(Ending::Done)
    }
}

fn of_name(archive: &Archive, name: &str) -> Result<Sequence, Failure> {
    let all = &archive.settings().sequences;
    if let Some(found) = all.iter().find(|one| one.name == name) {
        return Ok(found.clone());
    }
    let near = nearest(name, all.iter().map(|one| one.name.as_str()));
    let help = match near {
        Some(near) => format!("did you mean `{near}`?"),
        None => "`curvary run` lists those that are saved".to_owned(),
    };
    let message = format!("no sequence is called `{name}`");
    Err(Failure::wrong(
        Diagnostic::error(Code::new("command-line"), message).help(help),
    ))
}

/// The words of a step as a shell would cut them, with what stands for the query and the day filled in.
fn words(step: &str, query: &str) -> Result<Vec<String>, Failure> {
    let cut = |text: &str| {
        shlex::split(text)
            .ok_or_else(|| Failure::usage(format!("a quote is opened and never closed in `{text}`")))
    };
    let today: String = jiff::Timestamp::now().to_string().chars().take(10).collect();
    let mut all = Vec::new();
    for word in cut(step)? {
        if word == "{query}" {
            // Quotes of a query belong to it.
            all.extend(query.split_whitespace().map(str::to_owned));
        } else {
            all.push(word.replace("{query}", query).replace("{today}", &today));
        }
    }
    if all.first().is_some_and(|first| first == "curvary") {
        all.remove(0);
    }
    match all.first() {
        None => Err(Failure::usage("a step is empty")),
        Some(first) if NO_STEPS.contains(&first.as_str()) => Err(Failure::usage(format!(
            "`{first}` cannot be a step of a sequence"
        ))),
        Some(_) => Ok(all),
    }
}

fn shown(words: &[String]) -> String {
    shlex::try_join(words.iter().map(String::as_str)).unwrap_or_else(|_| words.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_cut_as_a_shell_does_and_the_query_is_put_in() {
        let cut = |step: &str| words(step, "sample:\"beet juice\" ph:7").ok();
        assert_eq!(
            cut("curvary fit {query} --out 'a b.csv'"),
            Some(
                ["fit", "sample:\"beet", "juice\"", "ph:7", "--out", "a b.csv"]
                    .map(str::to_owned)
                    .to_vec()
            )
        );
        assert_eq!(cut("run other"), None);
        assert_eq!(cut("fit 'x"), None);
        assert_eq!(cut(""), None);
    }
}
