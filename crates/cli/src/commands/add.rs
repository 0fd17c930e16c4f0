//! `curvary add`: folders of exports into the archive.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use clap::Args;
use curvary_analysis::study::reports_of;
use curvary_archive::Archive;
use curvary_ingest::{
    FileReport, Filing, Ingest, IngestLimits, Root, each_piece, is_archive, is_beside_originals,
};
use curvary_record::{Code, Diagnostic, Digest};
use serde::Serialize;

use crate::Environment;
use crate::desk::{self, Complaints, OptionScope, ReadingOptions};
use crate::ending::{CommandResult, Ending, Failure};
use crate::handover::home;
use crate::parts;
use crate::report::{ReportFile, ReportSummary, SummaryShape};
use crate::screen::{Errors, FAINT, Progress, Screen, StyledText};
use crate::whereabouts::OpenedArchive;

/// Read files and folders, and keep, index and trace every run in them
///
/// Packed files (zip, tar, gzip, bzip2, xz, zstd) and mails are opened. Hidden files and the archive's own folder are left out. Files that the archive has
/// already are left alone, so adding twice changes nothing, and an add that was interrupted is completed by the same
/// command. Originals are never touched.
#[derive(Debug, Args)]
pub(crate) struct AddCommand {
    /// Files and folders
    #[arg(required_unless_present = "parts", value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Take in the files of the parts that `convert --files-from` wrote to a folder, from where they were read
    #[arg(long, value_name = "DIR", conflicts_with = "paths")]
    parts: Option<PathBuf>,
    /// Read and say what would come of it, but store nothing
    #[arg(long)]
    dry_run: bool,
    /// Let files that have changed stand beside their earlier versions, also those replaced by an earlier `add`
    #[arg(long)]
    beside: bool,
    #[command(flatten)]
    reading: ReadingOptions,
    /// Write a line of JSON a file: path, digest, verdict, reader, runs, points, remarks
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Print the summary as JSON
    #[arg(long)]
    json: bool,
}

/// The summary as `--json` shows it.
#[derive(Serialize)]
struct AddJson<'a> {
    archive: Option<String>,
    interrupted: bool,
    #[serde(flatten)]
    summary: SummaryShape<'a>,
}

impl AddCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let expected = match &self.parts {
            Some(folder) => parts::expected(folder)?,
            None => BTreeMap::new(),
        };
        let (roots, scope) = if self.parts.is_some() {
            (listed(&expected), OptionScope::Folders)
        } else {
            (Root::all(&self.paths), OptionScope::of(&self.paths))
        };
        let begun = self.with_settings_of_bundles(setting, screen)?;
        let mut desk = self.reading.desk(setting.archive.there().as_deref(), scope)?;
        desk::complain(&desk, screen);
        let report = self.report.as_deref().map(ReportFile::create).transpose()?;
        let stop = watch_for_interruption()?;
        let progress = Progress::new(screen.quiet());
        let mut tale = Tale {
            summary: ReportSummary::default(),
            report,
            screen,
            progress,
            begun: Instant::now(),
            complaints: Complaints::default(),
            done: 0,
            expected,
            changed: 0,
        };
        // Where there is nothing to add, no archive is begun.
        let nothing_there = roots.iter().all(|root| !root.real.exists());
        let folder = if self.dry_run || nothing_there {
            try_out(&desk, &roots, &stop, &mut tale)?;
            None
        } else {
            let opened = match begun {
                Some(opened) => opened,
                None => setting.archive.open_or_begin()?,
            };
            if opened.new {
                tale.screen
                    .say(format_args!("a new archive: {}", opened.archive.root().display()));
            }
            keep(&opened.archive, &mut desk, &roots, &stop, self.beside, &mut tale)?;
            let root = opened.archive.root().to_owned();
            for path in &self.paths {
                home::take_in(path, &root, tale.screen)?;
            }
            Some(opened.archive.root().display().to_string())
        };
        let (summary, changed, screen) = tale.end()?;
        desk::sum_up(&desk, screen);
        let interrupted = stop.load(Ordering::Relaxed);
        self.print(&summary, folder.as_deref(), interrupted, screen)?;
        let ending = match summary.ending(setting.strict) {
            Ending::Done if changed > 0 || interrupted => Ending::Partly,
            ending => ending,
        };
        Ok(ending)
    }

    /// The answers of a bundle are there before its originals are read: the archive that has them, where a bundle is among the
    /// paths and anything is kept.
    fn with_settings_of_bundles(
        &self,
        setting: &Environment,
        screen: &mut Screen,
    ) -> Result<Option<OpenedArchive>, Failure> {
        let mut bundles = false;
        for path in &self.paths {
            bundles |= home::is_bundle(path)?;
        }
        if bundles && setting.archive.there().is_none() {
            self.paths
                .iter()
                .try_for_each(|path| home::must_have_originals(path))?;
        }
        if self.dry_run || !bundles {
            return Ok(None);
        }
        let mut opened = setting.archive.open_or_begin()?;
        for path in &self.paths {
            // Only the first bundle finds an archive without anything of its own.
            let new = opened.new && self.paths.first() == Some(path);
            if home::take_settings(path, &opened.archive, new, screen)? {
                opened.archive = Archive::open(opened.archive.root())?;
            }
            home::take_answers(path, &opened.archive, screen)?;
        }
        Ok(Some(opened))
    }

    /// Prints what became of all files, and where they are kept now.
    fn print(
        &self,
        summary: &ReportSummary,
        folder: Option<&str>,
        interrupted: bool,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        if self.json {
            screen.json(&AddJson {
                archive: folder.map(str::to_owned),
                interrupted,
                summary: summary.shape(),
            })?;
        } else {
            let text = if screen.complains_later() {
                summary.counts()
            } else {
                summary.text(screen.errors().is_some())
            };
            write!(screen, "{text}")?;
            match folder {
                Some(folder) => writeln!(screen, "{}", StyledText(FAINT, format!("archive: {folder}")))?,
                None if self.dry_run => {
                    writeln!(screen, "{}", StyledText(FAINT, "nothing was stored: --dry-run"))?
                }
                None => {}
            }
        }
        if interrupted {
            screen.say("interrupted; what was done is kept, and the same command completes it");
        }
        Ok(())
    }
}

/// What is told while the work goes on.
struct Tale<'s> {
    summary: ReportSummary,
    report: Option<ReportFile>,
    screen: &'s mut Screen,
    progress: Progress,
    begun: Instant,
    complaints: Complaints,
    /// Files so far.
    done: u64,
    /// The digests that files of parts had.
    expected: BTreeMap<String, Digest>,
    /// How many have another now.
    changed: u64,
}

impl<'s> Tale<'s> {
    /// Ends the progress and the report; gives the summary and how many files of parts have changed.
    fn end(self) -> Result<(ReportSummary, u64, &'s mut Screen), Failure> {
        self.progress.end();
        if let Some(report) = self.report {
            report.end()?;
        }
        self.complaints.end(self.screen);
        if self.changed > 0 {
            self.screen.say(format_args!(
                "{} changed since the parts were written: the archive has what stands there now",
                if self.changed == 1 {
                    "1 file has".to_owned()
                } else {
                    format!("{} files have", self.changed)
                }
            ));
        }
        Ok((self.summary, self.changed, self.screen))
    }

    /// Tells what became of one file.
    fn report(&mut self, fate: &FileReport, drawn: Option<String>) -> Result<(), Failure> {
        self.summary.add(fate);
        if let Some(report) = &mut self.report {
            report.line(fate)?;
        }
        self.complaints.show(fate, drawn, self.screen);
        self.done += 1;
        if let (Some(expected), Some(digest)) = (self.expected.get(&fate.path), &fate.digest) {
            self.changed += u64::from(expected != digest);
        }
        self.progress.at(
            self.done,
            self.summary.bytes(),
            self.begun.elapsed().as_secs_f64(),
        );
        Ok(())
    }
}

/// The files of parts: of a member of a container, the container.
fn listed(expected: &BTreeMap<String, Digest>) -> Vec<Root> {
    let outer: BTreeSet<&str> = expected
        .keys()
        .map(|path| path.split("!/").next().unwrap_or(path))
        .collect();
    outer
        .into_iter()
        .map(|path| Root::listed(Path::new(path)))
        .collect()
}

/// A flag that is set at the first Ctrl-C; the second ends the process at once.
pub(crate) fn watch_for_interruption() -> Result<Arc<AtomicBool>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    let set = ctrlc::set_handler(move || {
        if flag.swap(true, Ordering::Relaxed) {
            // 128 + SIGINT, as shells count. The archive stays as it was last committed.
            std::process::exit(130);
        }
    });
    set.map_err(|error| {
        Failure::nothing(Diagnostic::error(
            Code::new("command-line"),
            format!("cannot watch for Ctrl-C: {error}"),
        ))
    })?;
    Ok(stop)
}

/// Reads everything and keeps nothing.
fn try_out(desk: &Ingest, roots: &[Root], stop: &AtomicBool, tale: &mut Tale<'_>) -> Result<(), Failure> {
    let leave_out = |path: &Path, folder: bool| folder && is_archive(path) || is_beside_originals(path);
    desk::count_aside(&tale.progress, roots.to_vec(), leave_out);
    let (limits, errors) = (IngestLimits::default(), tale.screen.errors());
    each_piece(
        roots,
        &leave_out,
        &limits,
        stop,
        |_| None,
        |piece| match piece.content.bytes(&piece.path, &limits) {
            Ok(taken) => {
                let finished = desk.read(&piece.path, taken);
                let fate = FileReport::of(&finished);
                let drawn = errors.map(|errors| desk::drawn(&finished, &fate, errors));
                (fate, drawn)
            }
            Err(why) => (FileReport::failed(piece.path, *why), None),
        },
        |(fate, drawn)| tale.report(&fate, drawn),
    )
}

/// Reads everything that is new and keeps it.
fn keep(
    archive: &Archive,
    desk: &mut Ingest,
    roots: &[Root],
    stop: &AtomicBool,
    beside: bool,
    tale: &mut Tale<'_>,
) -> Result<(), Failure> {
    let filing =
        Filing::begin(archive, desk, IngestLimits::default(), "curvary add", &reports_of)?.beside(beside);
    if let Some(holder) = filing.taken_over() {
        tale.screen.say(format_args!(
            "took over the lock that {holder} left behind; what it committed is there"
        ));
    }
    desk::count_aside(&tale.progress, roots.to_vec(), filing.leave_out());
    let errors: Option<Errors> = tale.screen.errors();
    filing.add(
        roots,
        stop,
        tale.report.is_some(),
        |finished, fate| errors.map(|errors| desk::drawn(finished, fate, errors)),
        |handed| tale.report(&handed.fate, handed.seen.flatten()),
    )?;
    filing.finish()?;
    Ok(())
}
