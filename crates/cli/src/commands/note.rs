//! `curvary note`: corrections and answers to questions, of single runs.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::Path;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_analysis::study::{RedoneResult, StudyError, Work, again, comes_out_alike};
use curvary_archive::{Archive, FindOptions, SourceKey};
use curvary_formats::assume::nearest;
use curvary_ingest::{Ingest, IngestOptions, KeepMode};
use curvary_record::interpret::interpret;
use curvary_record::{Code, Diagnostic, Key, Outcome as Kept, RunId, ValueKind, known_field, known_fields};
use rayon::prelude::*;

use crate::Environment;
use crate::commands::find::{fact, short};
use crate::desk::assumptions;
use crate::ending::{CommandResult, Ending, Failure};
use crate::questions;
use crate::screen::{ASKED, FAINT, Screen, StyledText, plural};
use crate::subject::{is_plain, named, no_run};
use crate::table::{Listing, ListingColumn, Shorten, one_line};

/// Correct or add a field, or settle an open question, of one run or of many
///
/// KEY=VALUE gives a field a value, as in temperature='37 °C'; what the source says is kept beside it. tag=thesis adds a tag
/// by which runs are found again (`tag:thesis`), tag=-thesis takes it away. assume:decimal=comma settles a question: the
/// original is read again that way. Notes weigh most and are never overwritten. Runs that a query names are shown first, and
/// noted with --yes.
#[derive(Debug, Args)]
pub(crate) struct NoteCommand {
    /// The runs (by name, files, a query or `@last`; left out with --where), then what to note
    #[arg(value_name = "RUN|FILE|QUERY|KEY=VALUE", required = true, add = ArgValueCompleter::new(crate::completing::subject))]
    what: Vec<String>,
    /// Note it for every run that matches a query; shows a preview first
    #[arg(long = "where", value_name = "QUERY")]
    query: Option<String>,
    /// Do it without the preview of --where
    #[arg(long)]
    yes: bool,
    /// List the notes about a run, oldest first
    #[arg(long, conflicts_with_all = ["query", "undo"])]
    history: bool,
    /// Take back the newest note about a run that still holds; of all its fields, or of those that are named
    #[arg(long, conflicts_with = "query")]
    undo: bool,
    /// Who says so
    #[arg(long, value_name = "NAME", env = "CURVARY_AUTHOR", hide_env_values = true)]
    author: Option<String>,
}

/// What is noted, before it is known of which runs.
struct NoteDraft {
    fields: Vec<(String, String)>,
    assume: Vec<String>,
}

/// How many runs a preview shows.
const PREVIEW: usize = 12;

impl NoteCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        if self.history || self.undo {
            let Some((run, rest)) = self.what.split_first() else {
                return Err(Failure::usage("expected RUN"));
            };
            let mut runs = named(&archive, std::slice::from_ref(run))?;
            let run = match (runs.pop(), runs.len()) {
                (Some(run), 0) => run,
                (None, _) => return Err(no_run(Some(&archive), std::slice::from_ref(run), "done")),
                (_, more) => {
                    let message = format!("`{run}` means {} runs; expected one", more + 1);
                    return Err(Failure::usage(message));
                }
            };
            return if self.history {
                history(&archive, &run, screen)
            } else {
                take_back(&archive, &run, rest, self.author, screen)
            };
        }
        let (runs, said) = match &self.query {
            Some(query) => {
                let said = NoteDraft::new(&self.what)?;
                let query = super::query(std::slice::from_ref(query));
                let runs = named(&archive, std::slice::from_ref(&query))?;
                let Some(runs) = matching(&archive, runs, &said, self.yes, screen)? else {
                    return Ok(Ending::Done);
                };
                (runs, said)
            }
            None => {
                let from = self
                    .what
                    .iter()
                    .position(|word| is_said(word))
                    .unwrap_or(self.what.len());
                let (of, what) = self.what.split_at(from);
                if of.is_empty() {
                    return Err(Failure::usage("expected RUN KEY=VALUE…"));
                }
                let said = NoteDraft::new(what)?;
                let runs = named(&archive, of)?;
                if runs.is_empty() {
                    return Err(no_run(Some(&archive), of, "noted"));
                }
                let sure = self.yes || is_plain(&archive, of)?;
                let Some(runs) = matching(&archive, runs, &said, sure, screen)? else {
                    return Ok(Ending::Done);
                };
                (runs, said)
            }
        };
        if runs.is_empty() {
            return Err(Failure::nothing(Diagnostic::error(
                Code::new("no-run"),
                "no run matches, so nothing was noted",
            )));
        }
        let results = ResultsBefore::of(&archive, &runs)?;
        let read_again = keep(&archive, &runs, &said, self.author.as_deref())?;
        writeln!(screen, "noted for {}", plural(runs.len() as u64, "run"))?;
        for (key, value) in &said.fields {
            if let Some(ValueKind::Number(unit)) = known_field(key).map(|known| known.kind)
                && value.parse::<f64>().is_ok()
                && !shown(unit).is_empty()
            {
                screen.say(format_args!("{key}={value} was taken as {value} {}", shown(unit)));
            }
        }
        results.mark_changed(&archive, self.author.as_deref(), screen)?;
        if let Some((sources, found)) = read_again {
            writeln!(
                screen,
                "{} read again: {}",
                plural(sources, "file"),
                plural(found, "run")
            )?;
        }
        Ok(Ending::Done)
    }
}

impl NoteDraft {
    fn new(what: &[String]) -> Result<Self, Failure> {
        let mut said = Self {
            fields: Vec::new(),
            assume: Vec::new(),
        };
        for text in what {
            if let Some(answer) = text.strip_prefix("assume:") {
                said.assume.push(answer.to_owned());
                continue;
            }
            match text.split_once('=') {
                Some((key, value)) if !key.trim().is_empty() => {
                    said.fields.push((key.trim().to_owned(), value.trim().to_owned()));
                }
                _ => {
                    return Err(Failure::usage(format!(
                        "`{text}` says nothing: expected KEY=VALUE or assume:ABOUT=ANSWER"
                    )));
                }
            }
        }
        if said.fields.is_empty() && said.assume.is_empty() {
            return Err(Failure::usage(
                "nothing was said: expected KEY=VALUE or assume:ABOUT=ANSWER",
            ));
        }
        assumptions(&said.assume)?;
        for (key, value) in &said.fields {
            check(key, value)?;
        }
        Ok(said)
    }

    fn about(&self, run: &RunId, author: Option<&str>) -> curvary_archive::Note {
        let mut note = curvary_archive::Note::about(run);
        note.author = author.map(str::to_owned);
        note.fields.extend(self.fields.iter().map(|(key, value)| {
            (
                key.strip_prefix(NEW).unwrap_or(key).trim().to_owned(),
                value.clone(),
            )
        }));
        note.assume.clone_from(&self.assume);
        note
    }
}

/// What stands before the name of a field of one's own, so that a slip of the pen makes no new one.
const NEW: &str = "new:";

/// Whether a word is something to note and names no run: a query has its colon before any `=`.
fn is_said(word: &str) -> bool {
    word.starts_with("assume:")
        || word.split_once('=').is_some_and(|(key, _)| {
            key.strip_prefix(NEW).is_some() || !key.is_empty() && !key.contains([':', '/'])
        })
}

/// The tags of a run after a note: those that it has, with more or fewer.
fn tags(now: &str, said: &str) -> String {
    let cut = |text: &str| -> Vec<String> {
        let tags = text.split(',').map(|tag| tag.trim().to_owned());
        tags.filter(|tag| !tag.is_empty()).collect()
    };
    let mut all = cut(now);
    for tag in cut(said) {
        match tag.strip_prefix('-') {
            Some(gone) => all.retain(|known| known != gone.trim()),
            None if all.contains(&tag) => {}
            None => all.push(tag),
        }
    }
    all.join(", ")
}

/// Whether a field is known, or new on purpose, and the value is of its kind.
fn check(key: &str, value: &str) -> Result<(), Failure> {
    if key.strip_prefix(NEW).is_some_and(|name| !name.trim().is_empty()) {
        return Ok(());
    }
    let Some(known) = known_field(key) else {
        let near = nearest(key, known_fields().iter().map(|known| known.key))
            .map(|near| format!("did you mean `{near}`? "))
            .unwrap_or_default();
        return Err(Failure::usage(format!(
            "no field is called `{key}`; {near}write `{NEW}{key}={value}` for a field of your own"
        )));
    };
    if value.trim().is_empty() {
        return Err(Failure::usage(format!(
            "nothing stands behind `{key}=`: expected a value; `curvary note --undo RUN {key}` takes a note back"
        )));
    }
    let meant = interpret(&Key::new(known.key), value, None);
    if let Some(question) = meant.question {
        return Err(Failure::usage(format!(
            "`{value}` can be read in two ways: {}",
            question.message
        )));
    }
    if !meant.fits {
        let expected = match known.kind {
            ValueKind::Number(unit) if shown(unit).is_empty() => "a number without a unit".to_owned(),
            ValueKind::Number(unit) => format!("a number in a unit such as `{}`", shown(unit)),
            ValueKind::Range(unit) => format!("two numbers in a unit such as `{}`", shown(unit)),
            ValueKind::Date => "a date such as 2024-03-05".to_owned(),
            ValueKind::TimeOfDay => "a time of day such as 14:05".to_owned(),
            ValueKind::Text => "words".to_owned(),
        };
        return Err(Failure::usage(format!(
            "`{value}` is no {key}: expected {expected}"
        )));
    }
    Ok(())
}

/// A unit as people write it.
fn shown(code: &str) -> String {
    curvary_record::Unit::ucum(code).map_or_else(|_| code.to_owned(), |unit| unit.display())
}

/// The runs; `None` when only a preview was shown.
fn matching(
    archive: &Archive,
    runs: Vec<RunId>,
    said: &NoteDraft,
    yes: bool,
    screen: &mut Screen,
) -> Result<Option<Vec<RunId>>, Failure> {
    if !yes {
        let names: Vec<&str> = runs.iter().map(RunId::as_str).collect();
        let query = archive.query(&format!("run:{}", names.join(",")))?;
        let options = FindOptions {
            limit: PREVIEW,
            ..FindOptions::default()
        };
        let found = archive.find(&query, &options)?;
        let columns = [
            ListingColumn::new("run"),
            ListingColumn::new("now").shorten(Shorten::End),
            ListingColumn::new("path").shorten(Shorten::Middle),
        ];
        let mut table = Listing::new(columns);
        for hit in found.hits.iter().take(PREVIEW) {
            let now: Vec<String> = said
                .fields
                .iter()
                .filter_map(|(key, _)| Some(format!("{key} {}", fact(hit.summary.fields.get(key)?))))
                .collect();
            let path = hit.summary.paths.first().map(String::as_str).unwrap_or_default();
            table.row([
                short(hit.id.as_str()).into(),
                now.join(", ").into(),
                one_line(path).into(),
            ]);
        }
        write!(screen, "{}", table.draw(screen.width()))?;
        let total = plural(runs.len() as u64, "run");
        writeln!(
            screen,
            "{}",
            StyledText(
                FAINT,
                format!("{total} would get this note; say it again with --yes")
            )
        )?;
        return Ok(None);
    }
    Ok(Some(runs))
}

/// Writes the notes; where questions were settled, reads the originals again. Gives how many and the runs they gave.
fn keep(
    archive: &Archive,
    runs: &[RunId],
    said: &NoteDraft,
    author: Option<&str>,
) -> Result<Option<(u64, u64)>, Failure> {
    let mut writer = archive.write("curvary note")?;
    for run in runs {
        let mut note = said.about(run, author);
        if let Some(said) = note.fields.get_mut("tag") {
            let view = archive.run(run.as_str())?;
            *said = tags(view.run.fields.text("tag").unwrap_or_default(), said);
        }
        writer.note(note)?;
    }
    writer.finish()?;
    if said.assume.is_empty() {
        return Ok(None);
    }
    read_again(archive, runs).map(Some)
}

/// Reads the originals of some runs again with everything that was ever settled about them; gives how many there were
/// and the runs they gave.
fn read_again(archive: &Archive, runs: &[RunId]) -> Result<(u64, u64), Failure> {
    // Notes count only once they are committed.
    let archive = Archive::open(archive.root())?;
    let mut wanted = BTreeSet::new();
    for run in runs {
        wanted.insert(SourceKey::of(&archive.stored(run)?.source.digest));
    }
    let sources = archive.sources_that(&|source| wanted.contains(&source.key()))?;
    let mut found = 0;
    let mut desk = Ingest::new(IngestOptions::default(), Some(archive.root()))?;
    let filing = questions::begin(&archive, &mut desk, "curvary note")?;
    let effect = questions::read_again(&filing, sources, KeepMode::Changes, &mut |again| {
        found += again.fate.runs;
        Ok(())
    })?;
    filing.finish()?;
    Ok((effect.files, found))
}

/// The kept results of runs before something is noted of them, each with what comes out of doing it again.
struct ResultsBefore {
    before: Vec<(Kept, RedoneResult)>,
}

/// What a note does to a kept result.
#[derive(Clone, Copy, PartialEq, Eq)]
enum ResultChange {
    /// It is out of date now.
    Old,
    /// It is valid again.
    Valid,
    /// It cannot be done again, neither before nor now, so that nothing says whether the note touches it.
    NotKnown,
}

/// What a note turned, seen by doing the result again before and after it. A result that did not come out again before, such as one of
/// an earlier version, is out of date if the note changes what comes out.
fn turned(kept: &Kept, before: &RedoneResult, now: &RedoneResult) -> Option<ResultChange> {
    if kept.is_out_of_date() {
        return now.reproduced.then_some(ResultChange::Valid);
    }
    if before.reproduced {
        return (!now.reproduced).then_some(ResultChange::Old);
    }
    match (before.done, now.done) {
        (false, false) => Some(ResultChange::NotKnown),
        (true, true) if comes_out_alike(&before.found.outcome, &now.found.outcome) => None,
        _ => Some(ResultChange::Old),
    }
}

impl ResultsBefore {
    fn of(archive: &Archive, runs: &[RunId]) -> Result<Self, Failure> {
        let mut all: BTreeMap<String, Kept> = BTreeMap::new();
        for run in runs {
            for kept in archive.run(run.as_str())?.outcomes {
                if Work::of(&kept).is_some() {
                    all.entry(kept.id.clone()).or_insert(kept);
                }
            }
        }
        let before = all.into_values().collect::<Vec<_>>().into_par_iter();
        Ok(Self {
            before: before
                .map(|kept| {
                    let redone = done_again(archive, &kept);
                    (kept, redone)
                })
                .collect(),
        })
    }

    /// Marks those that the note makes out of date, takes the mark from those that are valid again, and says how many there are.
    fn mark_changed(
        self,
        archive: &Archive,
        author: Option<&str>,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        if self.before.is_empty() {
            return Ok(());
        }
        // Notes count only once they are committed.
        let archive = Archive::open(archive.root())?;
        let (not_known, changed): (Vec<_>, Vec<_>) = self
            .before
            .into_par_iter()
            .filter_map(|(kept, before)| {
                let turn = turned(&kept, &before, &done_again(&archive, &kept))?;
                Some((kept, turn))
            })
            .partition(|(_, turn)| *turn == ResultChange::NotKnown);
        if !not_known.is_empty() {
            let names: Vec<&str> = not_known.iter().map(|(kept, _)| short(&kept.id)).collect();
            let words = format!(
                "{} cannot be computed again, so it is not known whether this note touches {}: {}",
                plural(names.len() as u64, "kept result"),
                if names.len() == 1 { "it" } else { "them" },
                names.join(", ")
            );
            writeln!(screen, "{}", StyledText(ASKED, words))?;
        }
        if changed.is_empty() {
            return Ok(());
        }
        let mut writer = archive.write("curvary note")?;
        for (kept, _) in &changed {
            for run in &kept.runs {
                let mut note = curvary_archive::Note::about(run);
                note.author = author.map(str::to_owned);
                note.undo.push(curvary_archive::out_of_date(&kept.id));
                writer.note(note)?;
            }
        }
        writer.finish()?;
        let valid = changed
            .iter()
            .filter(|(_, turn)| *turn == ResultChange::Valid)
            .count() as u64;
        let old = changed.len() as u64 - valid;
        if old > 0 {
            let (are, were, them) = if old == 1 {
                ("is", "was", "it")
            } else {
                ("are", "were", "them")
            };
            writeln!(
                screen,
                "{}",
                StyledText(
                    ASKED,
                    format!(
                        "{} {are} out of date: {were} computed from what was known before; the command that made {them}, with --again, computes \
                         anew",
                        plural(old, "kept result")
                    )
                )
            )?;
        }
        if valid > 0 {
            let are = if valid == 1 { "is" } else { "are" };
            writeln!(screen, "{} {are} valid again", plural(valid, "kept result"))?;
        }
        Ok(())
    }
}

/// A kept result done again from its runs as they are known now.
fn done_again(archive: &Archive, kept: &Kept) -> RedoneResult {
    let shelf = |id: &RunId| {
        let view = archive
            .run(id.as_str())
            .map_err(|error| StudyError::unsuitable(error.to_string()))?;
        Ok((view.run, view.outcomes))
    };
    again(kept, &shelf)
}

/// Lists the notes about a run.
fn history(archive: &Archive, run: &RunId, screen: &mut Screen) -> CommandResult {
    let view = archive.run(run.as_str())?;
    if view.notes.is_empty() {
        screen.say("there are no notes about this run");
    }
    for note in &view.notes {
        let who = note
            .author
            .as_deref()
            .map(|by| format!(" by {by}"))
            .unwrap_or_default();
        let mut said: Vec<String> = note
            .fields
            .iter()
            .map(|(key, value)| format!("{key}={value}"))
            .collect();
        said.extend(note.assume.iter().map(|answer| format!("assume:{answer}")));
        said.extend(note.undo.iter().map(|what| match what.strip_prefix("outdated:") {
            Some(result) => format!("result {result} marked as out of date, or valid again"),
            None => format!("{what} taken back"),
        }));
        writeln!(
            screen,
            "{}  {}",
            one_line(&said.join(", ")),
            StyledText(FAINT, one_line(&format!("{}{who}", note.at)))
        )?;
    }
    Ok(Ending::Done)
}

/// Takes back what the newest note that still holds says of some fields, or all that it says.
fn take_back(
    archive: &Archive,
    run: &RunId,
    fields: &[String],
    author: Option<String>,
    screen: &mut Screen,
) -> CommandResult {
    let view = archive.run(run.as_str())?;
    let holding = curvary_archive::holding(&view.notes);
    let wanted: Vec<String> = if fields.is_empty() {
        let newest = holding.iter().rev().find(|said| !said.is_empty());
        newest
            .map(|said| said.iter().map(|one| (*one).to_owned()).collect())
            .unwrap_or_default()
    } else {
        for field in fields {
            if !holding.iter().flatten().any(|said| said == field) {
                return Err(Failure::usage(format!(
                    "no note that holds says anything of `{field}`"
                )));
            }
        }
        fields.to_vec()
    };
    if wanted.is_empty() {
        return Err(Failure::nothing(Diagnostic::error(
            Code::new("no-note"),
            "no note about this run holds, so nothing was taken back",
        )));
    }
    let mut note = curvary_archive::Note::about(run);
    note.author = author;
    note.undo.clone_from(&wanted);
    let results = ResultsBefore::of(archive, std::slice::from_ref(run))?;
    let by = note.author.clone();
    let mut writer = archive.write("curvary note")?;
    writer.note(note)?;
    writer.finish()?;
    writeln!(screen, "taken back: {}", one_line(&wanted.join(", ")))?;
    results.mark_changed(archive, by.as_deref(), screen)?;
    if wanted.iter().any(|what| what.contains('=')) {
        let (files, found) = read_again(archive, std::slice::from_ref(run))?;
        writeln!(
            screen,
            "{} read again: {}",
            plural(files, "file"),
            plural(found, "run")
        )?;
    }
    Ok(Ending::Done)
}

/// Changes `archive.toml` and indexes anew.
pub(crate) fn change_settings(
    archive: &Archive,
    change: impl FnOnce(&str) -> Result<String, Failure>,
) -> Result<(), Failure> {
    let path = archive.root().join("archive.toml");
    let text = fs::read_to_string(&path).map_err(|error| Failure::file("read", &path, &error))?;
    replace(&path, &change(&text)?)?;
    Archive::open(archive.root())?.reindex()?;
    Ok(())
}

/// Writes a file under another name first, so that nobody ever finds half of it.
pub(crate) fn replace(path: &Path, text: &str) -> Result<(), Failure> {
    crate::output::write(path, crate::output::ExistingFile::Own, |file| {
        file.write_all(text.as_bytes())
    })
    .map_err(|error| Failure::file("write", path, &error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_are_added_and_taken_away() {
        assert_eq!(tags("", "thesis"), "thesis");
        assert_eq!(tags("thesis", "poster, thesis"), "thesis, poster");
        assert_eq!(tags("thesis, poster", "-thesis"), "poster");
        assert!(is_said("tag=thesis") && is_said("temperature=37 °C") && is_said("new:x=1"));
        assert!(!is_said("ph:>=7") && !is_said("betanin") && is_said("comment=a/b"));
    }

    #[test]
    fn what_says_nothing_is_refused() {
        assert!(NoteDraft::new(&["temperature".to_owned()]).is_err());
        assert!(NoteDraft::new(&["assume:decimal=dot".to_owned()]).is_err());
        let said = NoteDraft::new(&["temperature=37 °C".to_owned(), "assume:decimal=comma".to_owned()]);
        assert!(said.is_ok_and(|said| said.fields.len() == 1 && said.assume.len() == 1));
        for wrong in [
            "temperature=37 apples",
            "temprature=37 °C",
            "date=03/04/2021",
            "jacket=37 °C",
        ] {
            assert!(NoteDraft::new(&[wrong.to_owned()]).is_err(), "{wrong}");
        }
        assert!(NoteDraft::new(&["new:jacket=37 °C".to_owned()]).is_ok());
    }
}
