//! `curvary export`: runs out of the archive in open formats.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::PathBuf;
use std::sync::mpsc::sync_channel;

use clap::Args;
use clap_complete::ArgValueCompleter;
use curvary_archive::{Archive, View};
use curvary_formats::assume;
use curvary_formats::writers::export::{ExportError, ExportRemarks, ExportedRun, ExportedRuns};
use curvary_record::{Code, Diagnostic, Digest, Outcome, Run, RunId, Severity};
use rayon::prelude::*;

use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::handover::bundle::{BundleContent, pack};
use crate::handover::{LeaveOut, LeftOutValues, NOT_FOR_STRANGERS, found_in_file, still_there};
use crate::output::{self, ExistingFile, Format, OutputFiles, OutputOptions};
use crate::screen::{ASKED, Progress, Screen, StyledText, plural};
use crate::subject::{NamedRuns, meant, no_run, report_aside};

/// Write runs out of the archive in an open format
///
/// Runs in question are left out and named, unless --even-in-question is given.
#[derive(Debug, Args)]
pub(crate) struct ExportCommand {
    /// Runs by name, files, a query, or `@last`
    #[arg(value_name = "RUN|FILE|QUERY", required = true, add = ArgValueCompleter::new(crate::completing::subject))]
    what: Vec<String>,
    #[command(flatten)]
    output: OutputOptions,
    /// The file to write
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    /// Write runs too whose meaning a person has not decided yet
    #[arg(long)]
    even_in_question: bool,
    /// Take the place of a file that is there already
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    handing: HandoverArgs,
}

/// What a bundle or report holds beside the runs.
#[derive(Debug, Args)]
struct HandoverArgs {
    /// Leave these fields out, `path` for the paths of files; bundles and reports leave out operator and path anyway
    #[arg(
        long,
        value_name = "FIELD",
        value_delimiter = ',',
        help_heading = "Handing over"
    )]
    without: Vec<String>,
    /// Hand these fields over that are left out otherwise
    #[arg(
        long,
        value_name = "FIELD",
        value_delimiter = ',',
        help_heading = "Handing over"
    )]
    with: Vec<String>,
    /// Put the files as they came from the instrument into the bundle
    #[arg(long, help_heading = "Handing over")]
    originals: bool,
    /// Title of the bundle or report
    #[arg(long, value_name = "TEXT", help_heading = "Handing over")]
    title: Option<String>,
    /// Licence of the bundle: a name such as CC-BY-4.0, or an address
    #[arg(long, value_name = "TEXT", help_heading = "Handing over")]
    licence: Option<String>,
    /// The day that the bundle says it was packed [default: today]
    #[arg(long, value_name = "DAY", help_heading = "Handing over")]
    dated: Option<jiff::civil::Date>,
}

impl HandoverArgs {
    fn leave_out(&self, to: Format, archive: &Archive) -> LeaveOut {
        let by_itself: &[&str] = match to {
            Format::Bundle | Format::Report => &NOT_FOR_STRANGERS,
            _ => &[],
        };
        let settings = archive.settings().leave_out.iter().map(String::as_str);
        let asked = self.without.iter().map(String::as_str);
        let with = LeaveOut::of(&self.with);
        let with = with.names();
        let all = by_itself.iter().copied().chain(settings).chain(asked);
        LeaveOut::of(all.filter(|name| {
            !LeaveOut::of([name])
                .names()
                .iter()
                .any(|name| with.contains(name))
        }))
    }
}

impl HandoverArgs {
    /// The day that a bundle says it was packed.
    fn day(&self) -> String {
        let today = || jiff::Timestamp::now().to_string().chars().take(10).collect();
        self.dated.map_or_else(today, |day| day.to_string())
    }

    /// Refuses words of the command line in which a value stands that is left out of the runs.
    fn refuse_left_out(&self, gone: &LeftOutValues, to: Format) -> Result<(), Failure> {
        let day = self.day();
        let dated = (to == Format::Bundle).then_some(day.as_str());
        for (words, name, help) in [
            (
                self.title.as_deref(),
                "the title",
                "give another one with `--title`",
            ),
            (
                self.licence.as_deref(),
                "the licence",
                "give another one with `--licence`",
            ),
            (dated, "the day of packing", "name another day with `--dated`"),
        ] {
            if let Some(value) = words.and_then(|words| gone.found_in_text(words)) {
                let why = Diagnostic::error(
                    Code::new("left-out-value-found"),
                    format!(
                        "`{}`, {}, was to be left out and stands in {name}; nothing was written",
                        value.text, value.of
                    ),
                );
                return Err(Failure::nothing(why.help(help)));
            }
        }
        Ok(())
    }
}

impl ExportCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let archive = setting.archive.open()?;
        let mut meant = meant(&archive, &self.what)?;
        let names = std::mem::take(&mut meant.runs);
        if names.is_empty() {
            return Err(no_run(Some(&archive), &self.what, "written"));
        }
        if self.out.exists() && !self.replace {
            let why = Diagnostic::error(
                Code::new("output-there"),
                format!("`{}` is there already", self.out.display()),
            );
            return Err(Failure::nothing(
                why.help("name another file, or take its place with `--replace`"),
            ));
        }
        output::try_target(&self.out, self.output.to, ExistingFile::asked(self.replace))
            .map_err(|error| Failure::file("write", &self.out, &error))?;
        let leave_out = self.handing.leave_out(self.output.to, &archive);
        if self.handing.originals && !leave_out.is_empty() {
            let names = leave_out.names().join(",");
            let why = Diagnostic::error(
                Code::new("originals-hold-all"),
                format!("the originals hold what is to be left out: {names}"),
            );
            return Err(Failure::wrong(why.help(format!(
                "hand it over with `--with {names}`, or the runs without `--originals`"
            ))));
        }
        let mut kept = ReopenedRuns::new(&archive, names, self.even_in_question, leave_out);
        kept.meant = Some(meant);
        kept.progress = Progress::new(screen.quiet());
        kept.settle()?;
        report_aside(kept.aside, screen);
        if !kept.asked.is_empty() {
            left_out(&kept.asked, screen);
        }
        if kept.names.is_empty() {
            let message = if kept.asked.is_empty() {
                "no run matches"
            } else {
                "every run that matches is in question"
            };
            return Err(Failure::nothing(
                Diagnostic::error(
                    Code::new("nothing-to-export"),
                    format!("{message}, so nothing was written"),
                )
                .help("`curvary find` shows what matches, `curvary worklist` what is in question"),
            ));
        }
        let existing = ExistingFile::asked(self.replace);
        if let Some(words) = kept.gone.words() {
            screen.say(&words);
        }
        if kept.gone.comments_stay() {
            screen.say(
                "parts of names, initials and other spellings in comments are not looked for; `--without comment` leaves comments out \
                 too",
            );
        }
        self.handing.refuse_left_out(&kept.gone, self.output.to)?;
        if let Some(words) = kept.results_of_others() {
            screen.say(words);
        }
        if !kept.of_whole.is_empty() {
            let count = kept.of_whole.len() as u64;
            screen.say(format_args!(
                "{} {} about traces too that are not written here",
                plural(count, "result"),
                if count == 1 { "is" } else { "are" },
            ));
        }
        let told = if self.output.to == Format::Bundle {
            ExportRemarks {
                remarks: self.pack(&archive, &mut kept, existing)?,
                not_carried: None,
            }
        } else {
            self.write(&mut kept, existing)?
        };
        kept.progress.end();
        output::report_written(&self.out, &told, screen);
        if self.output.to == Format::Bundle && !self.handing.originals {
            screen.say("without originals and answers: whoever has no archive with these files can read the bundle, and cannot add it to one; what was noted stands in its tables, and is not taken into an archive");
        }
        if let Some(remark) = &told.not_carried {
            screen.say(&remark.message);
        }
        writeln!(
            screen,
            "{}, {} to {}",
            plural(kept.names.len() as u64, "run"),
            plural(kept.points, "point"),
            self.out.display()
        )?;
        // What the format could not carry is an error to whoever wants it so.
        let warned = told
            .remarks
            .iter()
            .any(|remark| remark.severity == Severity::Warning);
        let ending = match Ending::of(kept.names.len() as u64, kept.asked.len() as u64) {
            Ending::Done if setting.strict && warned => Ending::Partly,
            ending => ending,
        };
        Ok(ending)
    }
}

impl ExportCommand {
    fn write(&self, kept: &mut ReopenedRuns<'_>, existing: ExistingFile) -> Result<ExportRemarks, Failure> {
        let mut output = self.output.clone();
        output.title.clone_from(&self.handing.title);
        output.left_out = kept.gone.words();
        let gone = kept.gone.clone();
        let looked = |files: &OutputFiles| match files.any(|file| found_in_file(&gone, file))? {
            Some((name, value)) => Err(ExportError::Refused(Box::new(still_there(&value, &name)))),
            None => Ok(()),
        };
        match output.write_all(&self.out, existing, kept, &looked) {
            Ok(told) => Ok(told),
            Err(ExportError::Io(error)) => Err(Failure::file("write", &self.out, &error)),
            Err(ExportError::Refused(why)) => Err(Failure::nothing(*why)),
            Err(error @ ExportError::Changed(_)) => {
                Err(Failure::file("write", &self.out, &std::io::Error::other(error)))
            }
        }
    }

    fn pack(
        &self,
        archive: &Archive,
        kept: &mut ReopenedRuns<'_>,
        existing: ExistingFile,
    ) -> Result<Vec<Diagnostic>, Failure> {
        let title = self.handing.title.clone();
        let order = BundleContent {
            title: title.unwrap_or_else(|| format!("Runs of {}", archive.settings().name)),
            licence: self.handing.licence.clone(),
            dated: self.handing.day(),
            originals: self.handing.originals.then_some(archive),
            runs: kept.names.len() as u64,
            points: kept.points,
        };
        let gone = kept.gone.clone();
        pack(&self.out, existing, kept, &gone, &order)
    }
}

/// Runs of the archive, read again for every pass; few are kept in memory meanwhile.
pub(crate) struct ReopenedRuns<'a> {
    archive: &'a Archive,
    /// The runs to write.
    pub(crate) names: Vec<RunId>,
    even_in_question: bool,
    /// Those that are left out, since a person must decide something first.
    pub(crate) asked: Vec<RunId>,
    /// Which of their traces are meant; all where it is not said.
    meant: Option<NamedRuns>,
    /// Traces that a query did not ask for.
    aside: usize,
    /// Points of all runs to write.
    pub(crate) points: u64,
    held: Option<Vec<HeldRun>>,
    leave_out: LeaveOut,
    /// What was left out.
    gone: LeftOutValues,
    progress: Progress,
    /// How often the runs were gone through.
    passes: u64,
    /// Results that are about all traces of a run of which some are not written.
    of_whole: BTreeSet<String>,
    /// Results that are about several runs, with these.
    shared: BTreeMap<String, Vec<RunId>>,
}

/// A run as it is handed over.
struct HeldRun {
    run: Run,
    results: Vec<Outcome>,
    /// The digest of all curves of the run, where only some of them are handed over.
    whole: Option<Digest>,
}

impl HeldRun {
    /// What is meant of a run of the archive; the second is how many traces are not.
    fn of(view: View, meant: Option<&NamedRuns>) -> (Self, usize) {
        let (mut run, mut results) = (view.run, view.outcomes);
        let (whole, aside) = only_meant(meant, &mut run, &mut results);
        (Self { run, results, whole }, aside)
    }

    /// Without what is left out.
    fn without(self, leave_out: &LeaveOut, gone: &mut LeftOutValues) -> Self {
        let (run, results) = leave_out.apply(self.run, self.results, gone);
        Self { run, results, ..self }
    }

    fn exported(&self) -> ExportedRun<'_> {
        ExportedRun {
            run: &self.run,
            results: &self.results,
            whole: self.whole.as_ref(),
        }
    }
}

/// So many points are held between the passes; more are read again.
const HELD: u64 = 1 << 20;
/// So many runs, with all that is known of them.
const HELD_RUNS: usize = 1 << 12;

impl<'a> ReopenedRuns<'a> {
    /// Runs by name.
    pub(crate) fn new(
        archive: &'a Archive,
        names: Vec<RunId>,
        even_in_question: bool,
        leave_out: LeaveOut,
    ) -> Self {
        Self {
            archive,
            names,
            even_in_question,
            asked: Vec::new(),
            meant: None,
            aside: 0,
            points: 0,
            held: Some(Vec::new()),
            leave_out,
            gone: LeftOutValues::default(),
            progress: Progress::new(true),
            passes: 0,
            of_whole: BTreeSet::new(),
            shared: BTreeMap::new(),
        }
    }

    /// Results that are about runs too which are not written, in words.
    fn results_of_others(&self) -> Option<String> {
        let written: BTreeSet<&RunId> = self.names.iter().collect();
        let (mut results, mut missing) = (0, BTreeSet::new());
        for runs in self.shared.values() {
            let others = runs.iter().filter(|run| !written.contains(run)).count();
            results += u64::from(others > 0);
            missing.extend(
                runs.iter()
                    .filter(|run| !written.contains(run))
                    .map(RunId::as_str),
            );
        }
        let some: Vec<&str> = missing.iter().take(5).copied().collect();
        (results > 0).then(|| {
            format!(
                "{} {} about runs too that are not written here: {}{}; to hand {} over, name them too",
                plural(results, "result"),
                if results == 1 { "is" } else { "are" },
                some.join(", "),
                if missing.len() > some.len() { ", …" } else { "" },
                if missing.len() == 1 { "it" } else { "them" },
            )
        })
    }

    fn begin_pass(&mut self) {
        self.passes += 1;
        self.progress.pass(self.passes, self.names.len() as u64);
    }

    /// Parts the runs in question from the others.
    pub(crate) fn settle(&mut self) -> Result<(), Failure> {
        self.begin_pass();
        let mut names = std::mem::take(&mut self.names);
        let mut is_sure = Vec::with_capacity(names.len());
        each_view(self.archive, &names, |name, view| {
            let view = view?;
            is_sure.push(false);
            self.progress.step();
            if view.run.in_question() && !self.even_in_question {
                self.asked.push(name.clone());
                return Ok(());
            }
            let (one, aside) = HeldRun::of(view, self.meant.as_ref());
            self.aside += aside;
            if one.run.traces.is_empty() && self.meant.is_some() {
                return Ok(());
            }
            self.points += one.run.points() as u64;
            self.leave_out.see(&one.run, &mut self.gone);
            if one.whole.is_some() {
                let of_run = one.results.iter().filter(|result| result.trace.is_none());
                self.of_whole.extend(of_run.map(|result| result.id.clone()));
            }
            for result in one.results.iter().filter(|result| result.runs.len() > 1) {
                self.shared
                    .entry(result.id.clone())
                    .or_insert_with(|| result.runs.clone());
            }
            if let Some(last) = is_sure.last_mut() {
                *last = true;
            }
            match &mut self.held {
                Some(held) if self.points <= HELD && held.len() < HELD_RUNS => {
                    held.push(one);
                }
                held => *held = None,
            }
            Ok::<(), Failure>(())
        })?;
        // Every run is seen now: a text of one may name what is left out of another.
        let held = self.held.take();
        self.held = held.map(|held| {
            held.into_iter()
                .map(|one| one.without(&self.leave_out, &mut self.gone))
                .collect()
        });
        self.gone.prepare();
        self.known_names()?;
        let mut is_sure = is_sure.into_iter();
        names.retain(|_| is_sure.next() == Some(true));
        self.names = names;
        Ok(())
    }
}

impl ReopenedRuns<'_> {
    /// Refuses to leave out what is no field: a slip would hand over what somebody wanted to keep.
    fn known_names(&self) -> Result<(), Failure> {
        let Some(name) = self.leave_out.unknown(&self.gone).next() else {
            return Ok(());
        };
        let known = curvary_record::known_fields().iter().map(|field| field.key);
        let near = assume::nearest(name, known.chain(self.gone.met()));
        let why = Diagnostic::error(
            Code::new("unknown-field"),
            format!("`{name}` is to be left out and is no field of these runs; nothing was written"),
        );
        Err(Failure::wrong(why.help(match near {
            Some(near) => format!("did you mean `{near}`? `curvary fields` lists all of them"),
            None => "`curvary fields` lists all of them; a field is left out by its own name or that of its column".to_owned(),
        })))
    }
}

impl ExportedRuns for ReopenedRuns<'_> {
    fn each(
        &mut self,
        take: &mut dyn FnMut(&ExportedRun<'_>) -> Result<(), ExportError>,
    ) -> Result<(), ExportError> {
        if let Some(held) = &self.held {
            return held.iter().try_for_each(|one| take(&one.exported()));
        }
        self.begin_pass();
        let mut gone = self.gone.clone();
        each_view(self.archive, &self.names, |_, view| {
            self.progress.step();
            let view = view.map_err(|error| {
                ExportError::Refused(match Failure::from(error) {
                    Failure::Told { why, .. } => why,
                    Failure::Closed => Box::new(Diagnostic::error(
                        Code::new("file-unusable"),
                        "the archive was closed",
                    )),
                })
            })?;
            let (one, _) = HeldRun::of(view, self.meant.as_ref());
            take(&one.without(&self.leave_out, &mut gone).exported())
        })
    }
}

/// Leaves the traces of a run that a query does not ask for out, with the results on these alone; gives the digest of the whole
/// run where it did, and how many. What is left keeps its numbers, since results, tables and people speak of traces by them.
fn only_meant(
    meant: Option<&NamedRuns>,
    run: &mut Run,
    results: &mut Vec<Outcome>,
) -> (Option<Digest>, usize) {
    let Some(traces) = meant.and_then(|meant| meant.traces(run)) else {
        return (None, 0);
    };
    let before = run.traces.len();
    if (0_u32..).take(before).all(|number| traces.contains(&number)) {
        return (None, 0);
    }
    let whole = run.curves_digest();
    for (number, trace) in (0..).zip(&mut run.traces) {
        trace.number = Some(number);
    }
    run.traces
        .retain(|trace| trace.number.is_some_and(|number| traces.contains(&number)));
    // The trace of a result is one of its own run, which is its only one.
    results.retain(|result| {
        let own = result.runs.as_slice() == std::slice::from_ref(&run.id);
        !own || result.trace.is_none_or(|number| traces.contains(&number))
    });
    (Some(whole), before - run.traces.len())
}

/// So many points are read ahead at a time, and so many runs at most.
const AHEAD: usize = 1 << 16;
const AHEAD_RUNS: usize = 16;

/// Takes runs of the archive in the order of their names. All cores read the next ones while some are taken.
fn each_view<E>(
    archive: &Archive,
    names: &[RunId],
    mut take: impl FnMut(&RunId, Result<View, curvary_archive::Error>) -> Result<(), E>,
) -> Result<(), E> {
    let (ahead, read) = sync_channel(1);
    std::thread::scope(|scope| {
        scope.spawn(move || {
            let (mut rest, mut many) = (names, 1);
            while !rest.is_empty() {
                let (next, others) = rest.split_at(many.min(rest.len()));
                rest = others;
                let views: Vec<_> = next.par_iter().map(|name| archive.run(name.as_str())).collect();
                // Runs of a million points are read singly, small ones many at a time.
                let points: usize = views.iter().flatten().map(|view| view.run.points()).sum();
                many = (AHEAD / (points / next.len()).max(1)).clamp(1, AHEAD_RUNS);
                if ahead.send((next, views)).is_err() {
                    // One could not be taken, and nobody waits for the others.
                    return;
                }
            }
        });
        for (names, views) in read {
            for (name, view) in names.iter().zip(views) {
                take(name, view)?;
            }
        }
        Ok(())
    })
}

fn left_out(asked: &[RunId], screen: &mut Screen) {
    let names: Vec<&str> = asked.iter().take(5).map(RunId::as_str).collect();
    let more = if asked.len() > names.len() { ", …" } else { "" };
    screen.say(format_args!(
        "{} {} in question and {} left out: {}{more}; `curvary show RUN` says what is asked, `--even-in-question` writes them too",
        StyledText(ASKED, plural(asked.len() as u64, "run")),
        if asked.len() == 1 { "is" } else { "are" },
        if asked.len() == 1 { "was" } else { "were" },
        names.join(", ")
    ));
}
