//! What a command is about: runs of the archive by name, by file, by a query or by `@last`, or files that are read on the
//! spot. Every command that names runs goes through [`named`], [`Sources`] or [`Subjects`].

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_archive::{Archive, FindOptions, Query};
use curvary_formats::Assumptions;
use curvary_ingest::{Ingest, IngestLimits, SourceBytes, flow, threads};
use curvary_record::{Code, Diagnostic, Digest, Outcome, Run, RunId, code};

use crate::Environment;
use crate::desk::{OptionScope, ReadingOptions};
use crate::ending::Failure;
use crate::screen::{Screen, plural};
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

/// What words of the command line mean.
pub(crate) struct NamedRuns {
    /// The runs.
    pub(crate) runs: Vec<RunId>,
    /// The query that found some of them, with those that were named by themselves: these are few, and the others may be very many.
    found: Option<(Vec<Query>, BTreeSet<RunId>)>,
}

impl NamedRuns {
    /// The traces (from 0) of a run that are meant: a query about what the traces hold themselves means those that answer it.
    /// `None` where all are meant.
    pub(crate) fn traces(&self, run: &Run) -> Option<Vec<u32>> {
        let (queries, named) = self.found.as_ref()?;
        if named.contains(&run.id) {
            return None;
        }
        let mut meant: Option<Vec<u32>> = None;
        for own in queries.iter().filter_map(|query| query.traces(run)) {
            match &mut meant {
                None => meant = Some(own),
                Some(meant) => meant.retain(|number| own.contains(number)),
            }
        }
        meant
    }
}

/// The runs that words of the command line name: files of the archive, `@last`, runs by their names or the beginnings of
/// them; what is left is one query together.
pub(crate) fn named(archive: &Archive, what: &[String]) -> Result<Vec<RunId>, Failure> {
    Ok(meant(archive, what)?.runs)
}

/// The same, with which traces of them are meant.
pub(crate) fn meant(archive: &Archive, what: &[String]) -> Result<NamedRuns, Failure> {
    let mut runs: Vec<RunId> = Vec::new();
    let mut asked = None;
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
                let own = archive.names(&query)?;
                let mut queries = vec![query];
                if rest.iter().any(|word| word.contains(last::WORD)) {
                    queries.extend(last::query(archive).and_then(|text| archive.query(&text).ok()));
                }
                // A run that is named by itself is meant with all its traces.
                let named: BTreeSet<RunId> = runs.iter().cloned().collect();
                asked = Some((queries, named));
                // A query finds each once.
                if runs.is_empty() {
                    runs = own;
                    return Ok(NamedRuns { runs, found: asked });
                }
                runs.extend(own);
            }
        }
    }
    let mut seen = BTreeSet::new();
    runs.retain(|run| seen.insert(run.clone()));
    Ok(NamedRuns { runs, found: asked })
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
    if on_disk {
        let runs = archive.runs_of(&digest_of(path)?)?;
        if runs.is_empty() {
            return Err(Failure::nothing(
                Diagnostic::error(Code::new("no-run"), format!("the archive has no run of `{word}`"))
                    .help(format!("`curvary add` puts a file into the archive; `curvary explain '{word}'` shows how it is read")),
            ));
        }
        return Ok(Some(runs));
    }
    let name = path.file_name().and_then(|name| name.to_str()).unwrap_or(word);
    let found = archive
        .query(&format!("path:\"{}\"", name.replace('"', "\"\"")))
        .and_then(|query| archive.find(&query, &FindOptions::default()));
    let same = |own: &String| own == word || own.ends_with(&format!("/{word}"));
    let mut hits = found.map_or_else(|_| Vec::new(), |found| found.hits);
    hits.retain(|hit| hit.summary.paths.iter().any(same));
    Ok((!hits.is_empty()).then(|| hits.into_iter().map(|hit| hit.id).collect()))
}

/// The digest of a file's bytes, by which the archive knows it under whatever path.
fn digest_of(path: &Path) -> Result<Digest, Failure> {
    std::fs::read(path)
        .map(|bytes| Digest::of(&bytes))
        .map_err(|error| Failure::file("read", path, &error))
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
    /// The traces (from 0) that are meant, where a query asked for some of them only.
    pub(crate) traces: Option<Vec<u32>>,
}

impl Subject {
    /// Whether a trace is meant; what speaks of the whole run is.
    pub(crate) fn means(&self, trace: Option<u32>) -> bool {
        match (&self.traces, trace) {
            (Some(traces), Some(number)) => traces.contains(&number),
            _ => true,
        }
    }

    /// How many traces were left out.
    fn aside(&self) -> usize {
        let meant = self.traces.as_ref();
        meant.map_or(0, |traces| self.run.traces.len() - traces.len())
    }
}

/// Says how many traces a query did not ask for.
pub(crate) fn report_aside(aside: usize, screen: &mut Screen) {
    if aside > 0 {
        let were = if aside == 1 { "was" } else { "were" };
        screen.say(format_args!(
            "{} of these runs {were} left out, as not what the query asks for",
            plural(aside as u64, "trace")
        ));
    }
}

/// What the words of the command line meant.
pub(crate) struct Selection {
    archive: Option<Archive>,
    desk: Ingest,
    named: Vec<NamedSubject>,
    /// Which traces of the runs are meant.
    meant: Option<NamedRuns>,
    /// Files beside an archive that are none of its originals, or are read in another way: nothing of them is kept.
    outside: Vec<String>,
}

/// A thing named on the command line.
enum NamedSubject {
    /// A file that is read on the spot.
    File(PathBuf),
    /// A file whose bytes are those of an original in the archive: it is that original's runs, with what was said of them.
    Original(PathBuf, Vec<RunId>),
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

    /// Finds out what is meant: a file that is there is the runs of the original with the same bytes, or else a file; the
    /// rest are runs by name, or one query together.
    pub(crate) fn asked(&self, setting: &Environment) -> Result<Selection, Failure> {
        let (files, rest): (Vec<&String>, Vec<&String>) = self
            .what
            .iter()
            .partition(|word| Path::new(word.as_str()).is_file());
        let rest: Vec<String> = rest.into_iter().cloned().collect();
        let there = setting.archive.there();
        let archive = match setting.archive.open() {
            Ok(archive) => Some(archive),
            // A file needs no archive; one that is there and cannot be opened would hide what was said of the file.
            Err(failure) if !rest.is_empty() => return Err(missing(&rest, failure)),
            Err(Failure::Told { ref why, .. }) if why.code == code::NO_ARCHIVE => None,
            Err(failure) if there.is_some() => return Err(failure),
            Err(_) => None,
        };
        let mut named = Vec::new();
        let mut outside = Vec::new();
        for file in files {
            let path = PathBuf::from(file);
            let Some(archive) = &archive else {
                named.push(NamedSubject::File(path));
                continue;
            };
            let runs = archive.runs_of(&digest_of(&path)?)?;
            if runs.is_empty() {
                outside.push(format!("`{file}` is not in the archive: nothing is kept"));
                named.push(NamedSubject::File(path));
            } else if self.reading.is_given() {
                outside.push(format!(
                    "`{file}` is in the archive and was read anew here, as the command line says: its notes do not count, and \
                     nothing is kept"
                ));
                named.push(NamedSubject::File(path));
            } else {
                named.push(NamedSubject::Original(path, runs));
            }
        }
        let meant = match archive.as_ref().filter(|_| !rest.is_empty()) {
            Some(archive) => Some(self::meant(archive, &rest)?),
            None => None,
        };
        let runs = meant.iter().flat_map(|meant| &meant.runs);
        named.extend(runs.cloned().map(NamedSubject::Run));
        if named.is_empty() {
            return Err(no_run(archive.as_ref(), &rest, "computed"));
        }
        let desk = self.reading.desk(there.as_deref(), OptionScope::Named)?;
        Ok(Selection {
            archive,
            desk,
            named,
            meant,
            outside,
        })
    }
}

impl Subjects {
    /// Finds out what is meant.
    pub(crate) fn asked(&self, setting: &Environment) -> Result<Selection, Failure> {
        self.sources.asked(setting)
    }

    /// Computes with every subject on all cores and takes the results in order; results of runs in the archive are kept
    /// unless this is a dry run.
    pub(crate) fn each<T: Send>(
        &self,
        asked: &Selection,
        how: ReadingDemand,
        command: &str,
        work: impl Fn(&[Subject]) -> (T, Vec<Outcome>) + Sync,
        mut take: impl FnMut(&str, Result<T, Diagnostic>) -> Result<(), Failure>,
    ) -> Result<KeptResults, Failure> {
        let stop = AtomicBool::new(false);
        let mut keeper = self.keeper(asked, command);
        flow(
            threads(),
            &IngestLimits::default(),
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
                    NamedSubject::File(path) | NamedSubject::Original(path, _) => path.display().to_string(),
                    NamedSubject::Run(id) => id.to_string(),
                };
                let found = asked.load(named, how).map(|subjects| {
                    let aside: usize = subjects.iter().map(Subject::aside).sum();
                    let place = subjects
                        .first()
                        .map_or_else(|| place.clone(), |subject| subject.place.clone());
                    let keep = subjects.iter().all(|subject| subject.kept);
                    let (told, mut outcomes) = work(&subjects);
                    outcomes.retain(|outcome| {
                        let own = |subject: &&Subject| outcome.runs.first() == Some(&subject.run.id);
                        subjects
                            .iter()
                            .find(own)
                            .is_none_or(|subject| subject.means(outcome.trace))
                    });
                    (place, told, if keep { outcomes } else { Vec::new() }, aside)
                });
                (place, found)
            },
            |(place, found)| match found {
                Ok((place, told, outcomes, aside)) => {
                    keeper.kept.aside += aside;
                    keeper.keep(outcomes)?;
                    take(&place, Ok(told))
                }
                Err(why) => take(&place, Err(*why)),
            },
        )?;
        keeper.finish()
    }

    /// Keeps results that speak of several runs together.
    pub(crate) fn keep(
        &self,
        asked: &Selection,
        command: &str,
        outcomes: Vec<Outcome>,
    ) -> Result<KeptResults, Failure> {
        let mut keeper = self.keeper(asked, command);
        // A file is no run of the archive, and what several say together has no place there.
        if asked.all_kept() {
            keeper.keep(outcomes)?;
        }
        keeper.finish()
    }

    fn keeper<'a>(&self, asked: &'a Selection, command: &'a str) -> Keeper<'a> {
        let outside = if self.dry_run {
            &[]
        } else {
            asked.outside.as_slice()
        };
        Keeper {
            archive: asked.archive.as_ref().filter(|_| !self.dry_run),
            command,
            writer: None,
            kept: KeptResults {
                outside: outside.to_vec(),
                ..KeptResults::default()
            },
        }
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
pub(crate) enum ReadingDemand {
    /// Everything.
    Whole,
    /// The numbers: what the axes mean is left open where the file does not say it.
    Numbers,
}

impl Selection {
    /// How many things were named.
    pub(crate) fn len(&self) -> usize {
        self.named.len()
    }

    /// Whether everything named is in the archive.
    pub(crate) fn all_kept(&self) -> bool {
        !self
            .named
            .iter()
            .any(|named| matches!(named, NamedSubject::File(_)))
    }

    /// Whether a run of the archive is among what was named.
    pub(crate) fn names(&self, id: &RunId) -> bool {
        self.named.iter().any(|named| match named {
            NamedSubject::File(_) => false,
            NamedSubject::Original(_, runs) => runs.contains(id),
            NamedSubject::Run(own) => own == id,
        })
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

    /// Says how many traces of these the query did not ask for.
    pub(crate) fn report_aside(subjects: &[Subject], screen: &mut Screen) {
        report_aside(subjects.iter().map(Subject::aside).sum(), screen);
    }

    /// Every subject, one after another.
    pub(crate) fn all(&self, how: ReadingDemand) -> Result<Vec<Subject>, Failure> {
        let mut all = Vec::new();
        for named in &self.named {
            all.extend(self.load(named, how).map_err(|why| Failure::nothing(*why))?);
        }
        Ok(all)
    }

    fn load(&self, named: &NamedSubject, how: ReadingDemand) -> Result<Vec<Subject>, Box<Diagnostic>> {
        match named {
            NamedSubject::File(path) => from_file(&self.desk, path, how),
            NamedSubject::Original(path, runs) => {
                let place = path.display().to_string();
                runs.iter().map(|id| self.kept(id, Some(&place))).collect()
            }
            NamedSubject::Run(id) => Ok(vec![self.kept(id, None)?]),
        }
    }

    /// A run of the archive, told by the path under which it was named, or else by its first one.
    fn kept(&self, id: &RunId, place: Option<&str>) -> Result<Subject, Box<Diagnostic>> {
        let missing = || {
            Box::new(Diagnostic::error(
                Code::new("no-run"),
                format!("run {id} is not in the archive"),
            ))
        };
        let archive = self.archive.as_ref().ok_or_else(missing)?;
        let view = archive
            .run(id.as_str())
            .map_err(|error| match Failure::from(error) {
                Failure::Told { why, .. } => why,
                Failure::Closed => Box::new(Diagnostic::error(
                    Code::new("file-unusable"),
                    "the archive was closed",
                )),
            })?;
        let first = || view.paths.first().cloned().unwrap_or_else(|| id.to_string());
        Ok(Subject {
            place: place.map_or_else(first, str::to_owned),
            kept: true,
            traces: self.meant.as_ref().and_then(|meant| meant.traces(&view.run)),
            run: view.run,
            outcomes: view.outcomes,
        })
    }
}

/// The runs of a file.
fn from_file(desk: &Ingest, path: &Path, how: ReadingDemand) -> Result<Vec<Subject>, Box<Diagnostic>> {
    let name = path.display().to_string();
    let taken = SourceBytes::InFile(path.to_owned()).bytes(&name, &IngestLimits::default())?;
    let mut reading = desk.read(&name, taken.clone()).reading;
    if how == ReadingDemand::Numbers && (reading.runs.is_empty() || reading.runs.iter().any(Run::in_question))
    {
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
            traces: None,
        })
        .collect())
}

/// So many files are named of which nothing is kept.
const FEW: usize = 5;

/// What became of the results.
#[derive(Clone, Debug, Default)]
pub(crate) struct KeptResults {
    /// Results that are new in the archive.
    new: u64,
    /// Results that were there already.
    known: u64,
    /// Why nothing is kept of some files.
    outside: Vec<String>,
    /// Traces that a query did not ask for.
    aside: usize,
}

impl KeptResults {
    /// The traces alone that were left out, where the rest is told with what follows.
    pub(crate) fn only_traces(self) -> Self {
        Self {
            aside: self.aside,
            ..Self::default()
        }
    }

    /// Without the files of which nothing is kept, where these are told with what follows.
    pub(crate) fn only_results(mut self) -> Self {
        self.outside.clear();
        self
    }

    /// Says it, where there is something to say.
    pub(crate) fn say(self, screen: &mut Screen) {
        report_aside(self.aside, screen);
        for words in self.outside.iter().take(FEW) {
            screen.say(words);
        }
        if self.outside.len() > FEW {
            let more = plural((self.outside.len() - FEW) as u64, "more file");
            screen.say(format_args!("{more} of which nothing is kept either"));
        }
        match (self.new, self.known) {
            (0, 0) => {}
            (new, 0) => screen.say(format_args!("{} kept", plural(new, "result"))),
            (new, known) => screen.say(format_args!(
                "{} kept, {known} known already",
                plural(new, "result")
            )),
        }
    }
}

/// Puts results into the archive, which is locked only once there is one.
struct Keeper<'a> {
    archive: Option<&'a Archive>,
    command: &'a str,
    writer: Option<curvary_archive::Writer>,
    kept: KeptResults,
}

impl Keeper<'_> {
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

    fn finish(self) -> Result<KeptResults, Failure> {
        if let Some(writer) = self.writer {
            writer.finish()?;
        }
        Ok(self.kept)
    }
}
