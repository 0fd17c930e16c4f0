//! What a command is about: runs of the archive by name, by file, by a query or by `@last`, or files that are read on the
//! spot. Every command that names runs goes through [`named`], [`Sources`] or [`Subjects`].

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_archive::{Archive, FindOptions, Query};
use curvary_formats::Assumptions;
use curvary_ingest::{Content, Desk, Limits, flow, threads};
use curvary_record::{Code, Diagnostic, Digest, Outcome, Run, RunId, code};

use crate::Setting;
use crate::desk::{ReadingOptions, Scope};
use crate::ending::Failure;
use crate::screen::Screen;
use crate::{completing, last, why};

/// Runs or files.
#[derive(Debug, Args)]
pub(crate) struct Sources {
    /// Files, runs by name, a query, or `@last` for the runs that the last `find` listed
    #[arg(value_name = "FILE|RUN|QUERY", required = true, add = ArgValueCompleter::new(completing::subject))]
    what: Vec<String>,
    #[command(flatten)]
    reading: ReadingOptions,
}

/// Runs or files, and what becomes of the results. A command that has nothing to keep takes [`Sources`] alone.
#[derive(Debug, Args)]
pub(crate) struct Subjects {
    #[command(flatten)]
    sources: Sources,
    /// Change nothing: results of runs in the archive are printed only, and no file is written
    #[arg(long)]
    pub(crate) dry_run: bool,
    /// Print JSON: one object a result, or a list of them
    #[arg(long)]
    pub(crate) json: bool,
}

/// The runs that words of the command line name: files of the archive, `@last`, runs by their names or the beginnings of
/// them; what is left is one query together.
pub(crate) fn named(archive: &Archive, what: &[String]) -> Result<Vec<RunId>, Failure> {
    let mut runs: Vec<RunId> = Vec::new();
    let mut rest: Vec<String> = Vec::new();
    for word in what {
        match of_file(archive, word)? {
            Some(found) => runs.extend(found),
            None => rest.push(word.clone()),
        }
    }
    if !rest.is_empty() {
        match by_name(archive, &rest)? {
            Some(names) => runs.extend(names),
            None => {
                let query = query(archive, &rest)?;
                let found = archive.find(&query, &FindOptions::default())?;
                runs.extend(found.hits.into_iter().map(|hit| hit.id));
            }
        }
    }
    let mut seen = std::collections::BTreeSet::new();
    runs.retain(|run| seen.insert(run.clone()));
    Ok(runs)
}

/// Whether these words name single runs, and no query: a slip can only be about what was meant.
pub(crate) fn is_plain(archive: &Archive, what: &[String]) -> Result<bool, Failure> {
    let mut rest: Vec<String> = Vec::new();
    for word in what {
        if word != last::WORD && of_file(archive, word)?.is_none() {
            rest.push(word.clone());
        }
    }
    Ok(rest.is_empty() || by_name(archive, &rest)?.is_some())
}

/// A query of the command line, with `@last` in it.
pub(crate) fn query(archive: &Archive, words: &[String]) -> Result<Query, Failure> {
    let text = crate::commands::query(words);
    Ok(archive.query(&last::put_in(archive, &text)?)?)
}

/// No run is named by these words, and why.
pub(crate) fn no_run(archive: Option<&Archive>, words: &[String], done: &str) -> Failure {
    let text = crate::commands::query(words);
    let why = archive.map_or_else(Vec::new, |archive| why::nothing(archive, &text));
    let help = if why.is_empty() {
        "`curvary find` shows what a query matches".to_owned()
    } else {
        why.join("; ")
    };
    Failure::nothing(
        Diagnostic::error(
            Code::new("no-run"),
            format!("no run matches, so nothing was {done}"),
        )
        .help(help),
    )
}

/// Runs by their names; `None` where some word is none.
fn by_name(archive: &Archive, words: &[String]) -> Result<Option<Vec<RunId>>, Failure> {
    // A name as tables have it where it would read as a number.
    fn bare(word: &str) -> &str {
        word.strip_prefix("run-").unwrap_or(word)
    }
    let looks_like_name = |word: &String| {
        let word = bare(word);
        word.len() >= 4 && word.bytes().all(|byte| byte.is_ascii_hexdigit())
    };
    if !words.iter().all(looks_like_name) {
        return Ok(None);
    }
    let names: Result<Vec<RunId>, curvary_archive::Error> =
        words.iter().map(|word| archive.resolve(bare(word))).collect();
    match names {
        Ok(names) => Ok(Some(names)),
        // A word such as `cafe` may be meant as a word.
        Err(curvary_archive::Error::NoRun { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// The runs of a file: of one that is on disk by its bytes, else of one that the archive has under such a path. `None`
/// where the word is no file.
fn of_file(archive: &Archive, word: &str) -> Result<Option<Vec<RunId>>, Failure> {
    let path = Path::new(word);
    let on_disk = path.is_file();
    let ending = path.extension().and_then(|ending| ending.to_str());
    let like_a_path = !word.contains([':', '*', '"'])
        && (word.contains('/') || ending.is_some_and(|ending| ending.len() <= 5));
    if !on_disk && !like_a_path {
        return Ok(None);
    }
    let digest = if on_disk {
        let bytes = std::fs::read(path).map_err(|error| Failure::file("read", path, &error))?;
        Some(Digest::of(&bytes))
    } else {
        None
    };
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or(word);
    let found = archive
        .query(&format!("path:\"{}\"", name.replace('"', "\"\"")))
        .and_then(|query| archive.find(&query, &FindOptions::default()));
    let same = |own: &String| own == word || own.ends_with(&format!("/{word}"));
    let mut hits = found.map_or_else(|_| Vec::new(), |found| found.hits);
    hits.retain(|hit| match &digest {
        Some(digest) => hit.summary.digest == digest.as_str(),
        None => hit.summary.paths.iter().any(same),
    });
    if hits.is_empty() {
        return if on_disk {
            Err(Failure::nothing(
                Diagnostic::error(Code::new("no-run"), format!("the archive has no run of `{word}`"))
                    .help(format!("`curvary add` puts a file into the archive; `curvary explain '{word}'` shows how it is read")),
            ))
        } else {
            Ok(None)
        };
    }
    Ok(Some(hits.into_iter().map(|hit| hit.id).collect()))
}

/// One run to compute with.
pub(crate) struct Subject {
    /// The run, with everything that was said about it since.
    pub(crate) run: Run,
    /// What was found about it before.
    pub(crate) outcomes: Vec<Outcome>,
    /// Where it is: the file, or the first path in the archive.
    pub(crate) place: String,
    /// Whether it is in the archive.
    pub(crate) kept: bool,
}

/// What the words of the command line meant.
pub(crate) struct Asked {
    archive: Option<Archive>,
    desk: Desk,
    named: Vec<Named>,
}

/// A thing named on the command line.
enum Named {
    File(PathBuf),
    Run(RunId),
}

impl Sources {
    /// What words of another option name.
    pub(crate) fn of(what: Vec<String>) -> Self {
        Self {
            what,
            reading: ReadingOptions::default(),
        }
    }

    /// Finds out what is meant: a file that is there is a file; the rest are runs by name, or one query together.
    pub(crate) fn asked(&self, setting: &Setting) -> Result<Asked, Failure> {
        let is_file = |word: &&String| Path::new(word.as_str()).is_file();
        let mut named: Vec<Named> = self
            .what
            .iter()
            .filter(is_file)
            .map(|path| Named::File(PathBuf::from(path)))
            .collect();
        let rest: Vec<String> = self.what.iter().filter(|word| !is_file(word)).cloned().collect();
        let archive = if rest.is_empty() {
            None
        } else {
            let archive = setting
                .archive
                .open()
                .map_err(|failure| missing(&rest, failure))?;
            named.extend(self::named(&archive, &rest)?.into_iter().map(Named::Run));
            Some(archive)
        };
        if named.is_empty() {
            return Err(no_run(archive.as_ref(), &rest, "computed"));
        }
        let folder = setting.archive.there();
        let desk = self.reading.desk(folder.as_deref(), Scope::Named)?;
        Ok(Asked { archive, desk, named })
    }
}

impl Subjects {
    /// Finds out what is meant.
    pub(crate) fn asked(&self, setting: &Setting) -> Result<Asked, Failure> {
        self.sources.asked(setting)
    }

    /// Computes with every subject on all cores and takes the results in order; results of runs in the archive are kept
    /// unless this is a dry run.
    pub(crate) fn each<T: Send>(
        &self,
        asked: &Asked,
        how: Reading,
        command: &str,
        work: impl Fn(&[Subject]) -> (T, Vec<Outcome>) + Sync,
        mut take: impl FnMut(&str, Result<T, Diagnostic>) -> Result<(), Failure>,
    ) -> Result<Kept, Failure> {
        let stop = AtomicBool::new(false);
        let mut keeper = Keeper::new(asked.archive.as_ref().filter(|_| !self.dry_run), command);
        flow(
            threads(),
            &Limits::default(),
            &stop,
            |feed| {
                for named in &asked.named {
                    if !feed.put(named, 1 << 16) {
                        break;
                    }
                }
            },
            |named| {
                let place = match named {
                    Named::File(path) => path.display().to_string(),
                    Named::Run(id) => id.to_string(),
                };
                let found = asked.load(named, how).map(|subjects| {
                    let place = subjects
                        .first()
                        .map_or_else(|| place.clone(), |subject| subject.place.clone());
                    let keep = subjects.iter().all(|subject| subject.kept);
                    let (told, outcomes) = work(&subjects);
                    (place, told, if keep { outcomes } else { Vec::new() })
                });
                (place, found)
            },
            |(place, found)| match found {
                Ok((place, told, outcomes)) => {
                    keeper.keep(outcomes)?;
                    take(&place, Ok(told))
                }
                Err(why) => take(&place, Err(*why)),
            },
        )?;
        keeper.finish()
    }

    /// Keeps results that speak of several runs together.
    pub(crate) fn keep(&self, asked: &Asked, command: &str, outcomes: Vec<Outcome>) -> Result<Kept, Failure> {
        let mut keeper = Keeper::new(asked.archive.as_ref().filter(|_| !self.dry_run), command);
        keeper.keep(outcomes)?;
        keeper.finish()
    }
}

/// A word that is no file, where there is no archive either.
fn missing(words: &[String], failure: Failure) -> Failure {
    match (words, failure) {
        ([word], Failure::Told { ending, why, text }) if why.code == code::NO_ARCHIVE => Failure::Told {
            ending,
            why: Box::new(
                Diagnostic::error(
                    why.code.clone(),
                    format!("there is no file `{word}`, and {}", why.message),
                )
                .help(why.help.clone().unwrap_or_default()),
            ),
            text,
        },
        (_, failure) => failure,
    }
}

/// How much of a file must be understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reading {
    /// Everything.
    Whole,
    /// The numbers: what the axes mean is left open where the file does not say it.
    Numbers,
}

impl Asked {
    /// How many things were named.
    pub(crate) fn len(&self) -> usize {
        self.named.len()
    }

    /// Whether everything named is in the archive.
    pub(crate) fn all_kept(&self) -> bool {
        self.named.iter().all(|named| matches!(named, Named::Run(_)))
    }

    /// Whether a run of the archive is among what was named.
    pub(crate) fn names(&self, id: &RunId) -> bool {
        self.named
            .iter()
            .any(|named| matches!(named, Named::Run(own) if own == id))
    }

    /// Another run of the archive, with what is kept of it.
    pub(crate) fn look_up(&self, id: &RunId) -> Result<(Run, Vec<Outcome>), String> {
        let missing = || format!("run {id} is not in the archive");
        let archive = self.archive.as_ref().ok_or_else(missing)?;
        let view = archive.run(id.as_str()).map_err(|error| match error {
            curvary_archive::Error::NoRun { .. } => missing(),
            error => error.to_string(),
        })?;
        Ok((view.run, view.outcomes))
    }

    /// Every subject, one after another.
    pub(crate) fn all(&self, how: Reading) -> Result<Vec<Subject>, Failure> {
        let mut all = Vec::new();
        for named in &self.named {
            all.extend(self.load(named, how).map_err(|why| Failure::nothing(*why))?);
        }
        Ok(all)
    }

    fn load(&self, named: &Named, how: Reading) -> Result<Vec<Subject>, Box<Diagnostic>> {
        match (named, &self.archive) {
            (Named::File(path), _) => from_file(&self.desk, path, how),
            (Named::Run(id), Some(archive)) => {
                let view = archive
                    .run(id.as_str())
                    .map_err(|error| match Failure::from(error) {
                        Failure::Told { why, .. } => why,
                        Failure::Closed => Box::new(Diagnostic::error(
                            Code::new("file-unusable"),
                            "the archive was closed",
                        )),
                    })?;
                Ok(vec![Subject {
                    place: view.paths.first().cloned().unwrap_or_else(|| id.to_string()),
                    run: view.run,
                    outcomes: view.outcomes,
                    kept: true,
                }])
            }
            (Named::Run(_), None) => Ok(Vec::new()),
        }
    }
}

/// The runs of a file.
fn from_file(desk: &Desk, path: &Path, how: Reading) -> Result<Vec<Subject>, Box<Diagnostic>> {
    let name = path.display().to_string();
    let taken = Content::InFile(path.to_owned()).bytes(&name, &Limits::default())?;
    let mut reading = desk.read(&name, taken.clone()).reading;
    if how == Reading::Numbers && (reading.runs.is_empty() || reading.runs.iter().any(Run::in_question)) {
        let mut left_open = Assumptions::none();
        for answer in ["x=x:1", "y=y:1"] {
            // The answers are our own, and known.
            let _ = left_open.add(answer);
        }
        let open = desk.source_settling(&name, taken, &left_open.precise());
        let again = desk.read_source(open).reading;
        if !again.runs.is_empty() {
            reading = again;
            for run in &mut reading.runs {
                run.remarks.push(Diagnostic::note(
                    code::AXES_LEFT_OPEN,
                    "what the axes mean was left open, since the formula does not need it",
                ));
            }
        }
    }
    if reading.runs.is_empty() {
        let why = reading.remarks.into_iter().next();
        return Err(Box::new(why.unwrap_or_else(|| {
            Diagnostic::error(Code::new("no-table"), "no curve was found")
        })));
    }
    Ok(reading
        .runs
        .into_iter()
        .map(|run| Subject {
            run,
            outcomes: Vec::new(),
            place: name.clone(),
            kept: false,
        })
        .collect())
}

/// What became of the results.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Kept {
    /// Results that are new in the archive.
    new: u64,
    /// Results that were there already.
    known: u64,
}

impl Kept {
    /// Says it, where there is something to say.
    pub(crate) fn say(self, screen: &mut Screen) {
        match (self.new, self.known) {
            (0, 0) => {}
            (new, 0) => screen.say(format_args!("{} kept", crate::screen::plural(new, "result"))),
            (new, known) => screen.say(format_args!(
                "{} kept, {known} known already",
                crate::screen::plural(new, "result")
            )),
        }
    }
}

/// Puts results into the archive, which is locked only once there is one.
struct Keeper<'a> {
    archive: Option<&'a Archive>,
    command: &'a str,
    writer: Option<curvary_archive::Writer>,
    kept: Kept,
}

impl<'a> Keeper<'a> {
    fn new(archive: Option<&'a Archive>, command: &'a str) -> Self {
        Self {
            archive,
            command,
            writer: None,
            kept: Kept::default(),
        }
    }

    fn keep(&mut self, outcomes: Vec<Outcome>) -> Result<(), Failure> {
        let Some(archive) = self.archive else {
            return Ok(());
        };
        for outcome in outcomes {
            if self.writer.is_none() {
                self.writer = Some(archive.write(self.command)?);
            }
            if let Some(writer) = &mut self.writer {
                let (id, runs) = (outcome.id.clone(), outcome.runs.clone());
                if writer.put_outcome(outcome)? || self.counts_again(&id, &runs)? {
                    self.kept.new += 1;
                } else {
                    self.kept.known += 1;
                }
            }
        }
        Ok(())
    }

    /// Lets a result count again that was taken back; whether it was.
    fn counts_again(&mut self, result: &str, runs: &[RunId]) -> Result<bool, Failure> {
        let (Some(archive), Some(writer)) = (self.archive, &mut self.writer) else {
            return Ok(false);
        };
        let mut again = false;
        for run in runs {
            if curvary_archive::is_taken_back(result, &archive.run(run.as_str())?.notes) {
                let mut note = curvary_archive::Note::about(run);
                note.undo.push(format!("result:{result}"));
                writer.note(note)?;
                again = true;
            }
        }
        Ok(again)
    }

    fn finish(self) -> Result<Kept, Failure> {
        if let Some(writer) = self.writer {
            writer.finish()?;
        }
        Ok(self.kept)
    }
}
