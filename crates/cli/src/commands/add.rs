//! `curvary add`: folders of exports into the archive.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use clap::Args;
use curvary_analysis::study::reports_of;
use curvary_archive::{Addition, Archive, Known, Prepared, Preparer, Stat, Writer};
use curvary_formats::Reading;
use curvary_record::stored::Record;
use curvary_record::{Code, Diagnostic, Digest, Severity, Verdict};
use rayon::prelude::*;
use serde::Serialize;

use crate::Setting;
use crate::desk::{self, Desk, Piece, ReadingOptions};
use crate::drawing;
use crate::ending::{Ending, Failure, Outcome};
use crate::flow::{Feed, flow, threads};
use crate::report::{Fate, Report, Summary, SummaryShape};
use crate::screen::{FAINT, Progress, Screen, Styled, plural};
use crate::walk::{self, Found, LeaveOut, Met, Root};

/// Read files and folders, and keep, index and trace every run in them
///
/// Zip and gzip files are opened. Hidden files and the archive's own folder are left out. Files that the archive has
/// already are left alone, so adding twice changes nothing, and an add that was interrupted is completed by the same
/// command. Originals are never touched.
#[derive(Debug, Args)]
pub(crate) struct Add {
    /// Files and folders
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Read and say what would come of it, but store nothing
    #[arg(long)]
    dry_run: bool,
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
struct Shape<'a> {
    archive: Option<String>,
    interrupted: bool,
    #[serde(flatten)]
    summary: SummaryShape<'a>,
}

/// What was done is made to count after so many bytes of sources: a second's work is lost at most when the power goes.
const COMMIT_BYTES: u64 = 64 << 20;
/// … or after so many files.
const COMMIT_FILES: u64 = 20_000;

/// Complaints that are shown before the rest is only counted.
const SHOWN: usize = 10;

impl Add {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let desk = Desk::new(&self.reading, setting.archive.there().as_deref(), screen.errors())?;
        desk.complain(screen);
        let roots = desk::roots(&self.paths);
        let report = self.report.as_deref().map(Report::create).transpose()?;
        let stop = watch_for_interruption()?;
        let progress = Progress::new(screen.quiet());
        let mut tale = Tale {
            summary: Summary::default(),
            report,
            screen,
            progress,
            begun: Instant::now(),
            shown: 0,
        };
        // Where there is nothing to add, no archive is begun.
        let nothing_there = roots.iter().all(|root| !root.real.exists());
        let folder = if self.dry_run || nothing_there {
            try_out(&desk, &roots, &stop, &mut tale)?;
            None
        } else {
            let opened = setting.archive.open_or_begin()?;
            if opened.new {
                tale.screen
                    .say(format_args!("a new archive: {}", opened.archive.root().display()));
            }
            keep(&opened.archive, &desk, &roots, &stop, &mut tale)?;
            Some(opened.archive.root().display().to_string())
        };
        tale.progress.end();
        if let Some(report) = tale.report.take() {
            report.end()?;
        }
        let Tale {
            summary,
            screen,
            shown,
            ..
        } = tale;
        if shown > SHOWN {
            screen.say(format_args!(
                "and {} more; `--errors short` shows all of them, `--report FILE` keeps them",
                plural((shown - SHOWN) as u64, "complaint")
            ));
        }
        let interrupted = stop.load(Ordering::Relaxed);
        if self.json {
            screen.json(&Shape {
                archive: folder.clone(),
                interrupted,
                summary: summary.shape(),
            })?;
        } else {
            write!(screen, "{}", summary.text())?;
            match &folder {
                Some(folder) => writeln!(screen, "{}", Styled(FAINT, format!("archive: {folder}")))?,
                None if self.dry_run => {
                    writeln!(screen, "{}", Styled(FAINT, "nothing was stored: --dry-run"))?
                }
                None => {}
            }
        }
        if interrupted {
            screen.say("interrupted; what was done is kept, and the same command completes it");
        }
        let ending = summary.ending(setting.strict);
        Ok(if interrupted && ending == Ending::Done {
            Ending::Partly
        } else {
            ending
        })
    }
}

/// What is told while the work goes on.
struct Tale<'a> {
    summary: Summary,
    report: Option<Report>,
    screen: &'a mut Screen,
    progress: Progress,
    begun: Instant,
    /// Complaints so far.
    shown: usize,
}

impl Tale<'_> {
    /// Tells what became of one file.
    fn tell(&mut self, fate: &Fate) -> Result<(), Failure> {
        self.summary.add(fate);
        if let Some(report) = &mut self.report {
            report.line(fate)?;
        }
        if !fate.drawn.is_empty() {
            self.screen.say_drawn(&fate.drawn);
        } else if self.screen.errors().is_none() {
            self.complain(fate);
        }
        Ok(())
    }

    /// Shows the first few errors in short.
    fn complain(&mut self, fate: &Fate) {
        for remark in fate
            .remarks
            .iter()
            .filter(|remark| remark.severity == Severity::Error)
        {
            self.shown += 1;
            if self.shown <= SHOWN {
                self.screen
                    .say_drawn(&format!("{}\n", drawing::short(Some(&fate.path), remark)));
            }
        }
    }

    /// Moves the progress bar.
    fn progress(&self, done: u64) {
        self.progress
            .at(done, self.summary.bytes(), self.begun.elapsed().as_secs_f64());
    }
}

/// A flag that is set at the first Ctrl-C; the second ends the process at once.
fn watch_for_interruption() -> Result<Arc<AtomicBool>, Failure> {
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
fn try_out(desk: &Desk, roots: &[Root], stop: &AtomicBool, tale: &mut Tale<'_>) -> Result<(), Failure> {
    let leave_out = |path: &Path, folder: bool| folder && is_archive(path);
    desk::count_aside(&tale.progress, roots.to_vec(), leave_out);
    let mut done = 0;
    flow(
        threads(),
        stop,
        |feed: &mut Feed<'_, Piece, Fate>| {
            walk::walk(roots, &leave_out, &mut |_, met| {
                let containers: Vec<bool> = met.par_iter().map(is_container).collect();
                met.into_iter().zip(containers).all(|(met, container)| {
                    let path = met.below().to_owned();
                    desk::pieces(met, path, container, &mut |piece| {
                        let weight = piece.weight;
                        feed.put(piece, weight)
                    })
                })
            });
        },
        |piece| match piece.content.bytes(&piece.path) {
            Ok(taken) => desk.fate(&desk.read(&piece.path, taken)),
            Err(why) => desk.failed(&piece.path, *why),
        },
        |fate| {
            done += 1;
            tale.tell(&fate)?;
            tale.progress(done);
            Ok(())
        },
    )
}

fn is_container(met: &Met) -> bool {
    matches!(met, Met::File(found) if desk::may_be_container(&found.place))
}

/// A folder that is an archive of curvary: its originals were read before they came there.
fn is_archive(path: &Path) -> bool {
    path.join("archive.toml").is_file() && path.join("manifest.json").is_file()
}

/// A source on its way into the archive.
struct Parcel {
    piece: Piece,
    stat: Option<Stat>,
    /// Whether the archive knows the path, and the file may only have been touched.
    perhaps: bool,
}

/// What becomes of sources that stay together.
struct Batch {
    fates: Vec<Fate>,
    prepared: Option<Result<Prepared, curvary_archive::Error>>,
    /// Files that were only touched: where they are, and their bytes, which the archive has.
    touched: Vec<(String, Digest, Option<Stat>)>,
    /// What the exports state about their own results.
    reported: Vec<curvary_record::Outcome>,
}

impl Batch {
    fn unchanged(fates: Vec<Fate>) -> Self {
        Self {
            fates,
            prepared: None,
            touched: Vec::new(),
            reported: Vec::new(),
        }
    }
}

fn lock(writer: &Mutex<Writer>) -> MutexGuard<'_, Writer> {
    writer.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Reads everything that is new and keeps it.
fn keep(
    archive: &Archive,
    desk: &Desk,
    roots: &[Root],
    stop: &AtomicBool,
    tale: &mut Tale<'_>,
) -> Result<(), Failure> {
    let writer = archive.write("curvary add")?;
    if let Some(holder) = writer.taken_over() {
        tale.screen.say(format_args!(
            "took over the lock that {holder} left behind; what it committed is there"
        ));
    }
    let names = Names::new(archive.root(), roots);
    let own = names.archive.clone();
    let leave_out = move |path: &Path, folder: bool| {
        belongs_to(path, &own) || (folder && (path == own || is_archive(path)))
    };
    desk::count_aside(&tale.progress, roots.to_vec(), leave_out.clone());
    let preparer = writer.preparer();
    let writer = Mutex::new(writer);
    let mut ledger = tale.report.is_some().then(|| Ledger::new(archive));
    let (mut done, mut since) = (0, 0);
    flow(
        threads(),
        stop,
        |feed| send(feed, roots, &leave_out, &names, &writer, desk.has_orders()),
        |parcels: Vec<Parcel>| read(parcels, desk, &writer, &preparer),
        |batch: Batch| {
            let mut fates = batch.fates;
            let mut writer = lock(&writer);
            if !desk.has_orders() {
                mark_known(&mut fates, &writer);
            }
            if let Some(prepared) = batch.prepared {
                writer.append(prepared?)?;
            }
            for outcome in batch.reported {
                writer.put_outcome(outcome)?;
            }
            for (path, digest, stat) in batch.touched {
                writer.met(&path, &digest, stat)?;
            }
            done += fates.len() as u64;
            since += fates.len() as u64;
            if writer.pending() >= COMMIT_BYTES || since >= COMMIT_FILES && writer.pending() > 0 {
                writer.commit()?;
                since = 0;
            }
            drop(writer);
            for fate in &mut fates {
                if let Some(ledger) = &mut ledger {
                    ledger.complete(fate)?;
                }
                tale.tell(fate)?;
            }
            tale.progress(done);
            Ok::<(), Failure>(())
        },
    )?;
    writer
        .into_inner()
        .unwrap_or_else(PoisonError::into_inner)
        .finish()?;
    Ok(())
}

/// Marks what the archive has already. It is asked in the order of the files, so the answer depends on no thread.
fn mark_known(fates: &mut [Fate], writer: &Writer) {
    let mut here = BTreeSet::new();
    for fate in fates {
        if let Some(digest) = &fate.digest {
            fate.known = writer.has(digest) || !here.insert(digest.clone());
        }
    }
}

/// Walks the folders and sends what is not known to be unchanged, several sources together.
fn send(
    feed: &mut Feed<'_, Vec<Parcel>, Batch>,
    roots: &[Root],
    leave_out: &LeaveOut<'_>,
    names: &Names,
    writer: &Mutex<Writer>,
    again: bool,
) {
    let mut together: Vec<Parcel> = Vec::new();
    let mut weight = 0;
    walk::walk(roots, leave_out, &mut |root, met| {
        let mut unchanged = Vec::new();
        for Looked {
            met,
            path,
            stat,
            known,
            container,
        } in look(met, names, root, writer, again)
        {
            if known == Known::Unchanged {
                unchanged.push(Fate::unchanged(path));
                continue;
            }
            // What is unchanged goes in its place among what is new.
            if !unchanged.is_empty() {
                let batch = Batch::unchanged(std::mem::take(&mut unchanged));
                if !(send_off(feed, &mut together, &mut weight) && feed.put_done(batch)) {
                    return false;
                }
            }
            let sent = desk::pieces(met, path, container, &mut |piece| {
                weight += piece.weight;
                together.push(Parcel {
                    piece,
                    stat,
                    perhaps: known == Known::Perhaps,
                });
                weight < Preparer::BATCH_BYTES as u64 || send_off(feed, &mut together, &mut weight)
            });
            if !sent {
                return false;
            }
        }
        unchanged.is_empty()
            || (send_off(feed, &mut together, &mut weight) && feed.put_done(Batch::unchanged(unchanged)))
    });
    send_off(feed, &mut together, &mut weight);
}

fn send_off(feed: &mut Feed<'_, Vec<Parcel>, Batch>, together: &mut Vec<Parcel>, weight: &mut u64) -> bool {
    together.is_empty() || feed.put(std::mem::take(together), std::mem::take(weight))
}

/// What one look at a file told.
struct Looked {
    met: Met,
    path: String,
    stat: Option<Stat>,
    known: Known,
    container: bool,
}

/// Looks at many files: what the archive knows of them, and which are containers. With `again` none is unchanged.
fn look(met: Vec<Met>, names: &Names, root: &Root, writer: &Mutex<Writer>, again: bool) -> Vec<Looked> {
    let mut looked: Vec<Looked> = {
        let writer = lock(writer);
        let one = |met: Met| {
            let path = names.of(root, met.below());
            let stat = if let Met::File(Found { stat, .. }) = &met {
                Some(*stat)
            } else {
                None
            };
            let known = match stat.map(|stat| writer.known(&path, &stat)) {
                Some(Known::Unchanged) if again => Known::Perhaps,
                Some(known) => known,
                None => Known::New,
            };
            Looked {
                met,
                path,
                stat,
                known,
                container: false,
            }
        };
        met.into_iter().map(one).collect()
    };
    looked
        .par_iter_mut()
        .with_min_len(64)
        .filter(|one| one.known != Known::Unchanged)
        .for_each(|one| {
            one.container = is_container(&one.met);
            // The members of a container are no files of their own, and the system says nothing of them.
            if one.container {
                one.stat = None;
            }
        });
    looked
}

/// Reads sources and makes them ready for the archive.
fn read(parcels: Vec<Parcel>, desk: &Desk, writer: &Mutex<Writer>, preparer: &Preparer) -> Batch {
    let mut batch = Batch {
        fates: Vec::with_capacity(parcels.len()),
        prepared: None,
        touched: Vec::new(),
        reported: Vec::new(),
    };
    let mut additions = Vec::with_capacity(parcels.len());
    let again = desk.has_orders();
    for Parcel { piece, stat, perhaps } in parcels {
        let Piece { path, content, .. } = piece;
        let taken = match content.bytes(&path) {
            Ok(taken) => taken,
            Err(why) => {
                batch.fates.push(desk.failed(&path, *why));
                continue;
            }
        };
        let digest = taken.digest.clone();
        if perhaps && !again && lock(writer).has(&digest) {
            batch.fates.push(Fate {
                digest: Some(digest.clone()),
                ..Fate::unchanged(path.clone())
            });
            batch.touched.push((path, digest, stat));
            continue;
        }
        let finished = desk.read(&path, taken);
        let fate = desk.fate(&finished);
        let bytes = finished.source.into_bytes();
        let Reading { runs, remarks } = finished.reading;
        let (verdict, reader) = (fate.verdict, fate.reader.clone());
        batch.fates.push(fate);
        batch.reported.extend(runs.iter().flat_map(reports_of));
        additions.push(Addition {
            path,
            bytes,
            digest,
            stat,
            verdict,
            reader,
            remarks,
            runs,
            again,
        });
    }
    if !additions.is_empty() {
        batch.prepared = Some(preparer.prepare(additions));
    }
    batch
}

/// Whether a path is one of the archive's own files.
fn belongs_to(path: &Path, archive: &Path) -> bool {
    const OWN: [&str; 7] = [
        "archive.toml",
        "archive.lock",
        "originals",
        "records",
        "notes.jsonl",
        "manifest.json",
        "index",
    ];
    path.parent() == Some(archive)
        && path
            .file_name()
            .is_some_and(|name| OWN.iter().any(|own| name == *own))
}

/// What files are called in the archive.
///
/// The name must be the same each time the same file is added, wherever the command was given, and no two files may
/// share one. So it is the path from the folder that holds the archive, for files below it; for others the whole path.
struct Names {
    archive: PathBuf,
    fronts: BTreeMap<PathBuf, Name>,
}

/// The beginning of the names of everything below one given path.
struct Name {
    front: String,
    is_file: bool,
}

impl Names {
    fn new(archive: &Path, roots: &[Root]) -> Self {
        let archive = Root::new(archive).real;
        let base = archive.parent();
        let front = |root: &Root| {
            let below = base.and_then(|base| root.real.strip_prefix(base).ok());
            Name {
                front: walk::slashed(below.unwrap_or(&root.real)),
                is_file: !root.real.is_dir(),
            }
        };
        let fronts = roots
            .iter()
            .map(|root| (root.real.clone(), front(root)))
            .collect();
        Self { archive, fronts }
    }

    /// The name of what was met below a given path.
    fn of(&self, root: &Root, below: &str) -> String {
        match self.fronts.get(&root.real) {
            Some(Name { front, is_file: true }) => front.clone(),
            Some(Name { front, .. }) if !front.is_empty() => {
                let mut name = String::with_capacity(front.len() + 1 + below.len());
                name.push_str(front);
                name.push('/');
                name.push_str(below);
                name
            }
            _ => below.to_owned(),
        }
    }
}

/// What is known of one source's reading.
#[derive(Clone)]
struct Entry {
    verdict: Verdict,
    reader: Option<String>,
    runs: u64,
    points: u64,
    remarks: Vec<Diagnostic>,
}

/// How the readings of known sources went, for the report alone: a report has a line a file, new or not.
struct Ledger<'a> {
    archive: &'a Archive,
    /// Filled from the archive's records when the first known source comes.
    before: Option<Before>,
    now: BTreeMap<Digest, Entry>,
}

/// What the archive had before.
#[derive(Default)]
struct Before {
    paths: BTreeMap<String, Digest>,
    sources: BTreeMap<Digest, Entry>,
}

impl<'a> Ledger<'a> {
    fn new(archive: &'a Archive) -> Self {
        Self {
            archive,
            before: None,
            now: BTreeMap::new(),
        }
    }

    /// Notes how a reading went, or fills in how it went before.
    fn complete(&mut self, fate: &mut Fate) -> Result<(), Failure> {
        if !fate.known {
            if let Some(digest) = &fate.digest {
                self.now.insert(digest.clone(), Entry::of(fate));
            }
            return Ok(());
        }
        if let Some(entry) = fate.digest.as_ref().and_then(|digest| self.now.get(digest)) {
            entry.clone().fill(fate);
            return Ok(());
        }
        let before = match &mut self.before {
            Some(before) => before,
            none => none.insert(Before::of(self.archive)?),
        };
        if fate.digest.is_none() {
            fate.digest = before.paths.get(&fate.path).cloned();
        }
        if let Some(entry) = fate.digest.as_ref().and_then(|digest| before.sources.get(digest)) {
            entry.clone().fill(fate);
        }
        Ok(())
    }
}

impl Entry {
    fn of(fate: &Fate) -> Self {
        Self {
            verdict: fate.verdict,
            reader: fate.reader.clone(),
            runs: fate.runs,
            points: fate.points.unwrap_or(0),
            remarks: fate.remarks.clone(),
        }
    }

    fn fill(self, fate: &mut Fate) {
        fate.verdict = self.verdict;
        fate.reader = self.reader;
        fate.runs = self.runs;
        fate.points = Some(self.points);
        fate.remarks = self.remarks;
    }
}

impl Before {
    /// How the reading of every source that the archive has went, and under which paths it was met.
    fn of(archive: &Archive) -> Result<Self, Failure> {
        let mut before = Self::default();
        // The runs of a reading stand beside their source's record, and a later reading replaces an earlier one.
        let mut runs: BTreeMap<Digest, (u64, Vec<Diagnostic>)> = BTreeMap::new();
        for record in archive.records() {
            match record? {
                Record::Run(run) => {
                    let of = runs.entry(run.0.source.digest.clone()).or_default();
                    of.0 += run.0.points() as u64;
                    of.1.extend(run.0.remarks);
                }
                Record::Source(source) => {
                    runs.remove(&source.digest);
                    let entry = Entry {
                        verdict: source.verdict,
                        reader: source.reader,
                        runs: u64::from(source.runs),
                        points: 0,
                        remarks: source.remarks,
                    };
                    before.sources.insert(source.digest, entry);
                }
                Record::Path(path) => {
                    before.paths.insert(path.path, path.digest);
                }
                Record::Outcome(_) => {}
            }
        }
        for (digest, (points, remarks)) in runs {
            if let Some(entry) = before.sources.get_mut(&digest) {
                entry.points = points;
                entry.remarks.extend(remarks);
            }
        }
        Ok(before)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_the_same_wherever_the_command_is_given() {
        let here = std::env::current_dir().expect("a folder");
        let base = here.parent().expect("it has one").to_owned();
        let root = Root::new(&here);
        let names = Names::new(&base.join("archive"), std::slice::from_ref(&root));
        let own = here
            .file_name()
            .expect("it has one")
            .to_string_lossy()
            .into_owned();
        assert_eq!(names.of(&root, "a/b.txt"), format!("{own}/a/b.txt"));
        let far = Names::new(Path::new("/elsewhere/archive"), std::slice::from_ref(&root));
        assert_eq!(far.of(&root, "a.txt"), format!("{}/a.txt", walk::slashed(&here)));
    }

    #[test]
    fn the_archives_own_files_are_told_from_others() {
        let archive = Path::new("/data/archive");
        assert!(belongs_to(Path::new("/data/archive/records"), archive));
        assert!(!belongs_to(Path::new("/data/archive/exports"), archive));
        assert!(!belongs_to(Path::new("/data/records"), archive));
    }
}
