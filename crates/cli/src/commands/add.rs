//! `curvary add`: folders of exports into the archive.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Instant;

use clap::Args;
use curvary_archive::{Addition, Archive, Known, Prepared, Preparer, Stat, Writer};
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
        let desk = Desk::new(&self.reading, screen.errors())?;
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
        let folder = if self.dry_run {
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
            print(&summary, folder.as_deref(), screen)?;
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

fn print(summary: &Summary, folder: Option<&str>, screen: &mut Screen) -> Result<(), Failure> {
    use std::io::Write;
    write!(screen, "{}", summary.text())?;
    match folder {
        Some(folder) => writeln!(screen, "{}", Styled(FAINT, format!("archive: {folder}")))?,
        None => writeln!(screen, "{}", Styled(FAINT, "nothing was stored: --dry-run"))?,
    }
    Ok(())
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
            Ok(bytes) => {
                let digest = Digest::of(&bytes);
                desk.fate(&desk.read(&piece.path, bytes, digest))
            }
            Err(why) => desk.failed(&piece.path, why),
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
    /// The digest that the archive has for the path.
    was: Option<Digest>,
}

/// What becomes of sources that stay together.
struct Batch {
    fates: Vec<Fate>,
    prepared: Option<Result<Prepared, curvary_archive::Error>>,
    /// Sources whose bytes the archive has: where they were met.
    met: Vec<(String, Digest, Option<Stat>)>,
}

impl Batch {
    fn known(fates: Vec<Fate>) -> Self {
        Self {
            fates,
            prepared: None,
            met: Vec::new(),
        }
    }
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
    let writer = RwLock::new(writer);
    let mut ledger = tale.report.is_some().then(|| Ledger::new(archive));
    let (mut done, mut since) = (0, 0);
    flow(
        threads(),
        stop,
        |feed| send(feed, roots, &leave_out, &names, &writer, desk.has_orders()),
        |parcels: Vec<Parcel>| read(parcels, desk, &writer, &preparer),
        |batch: Batch| {
            let mut writer = writer.write().unwrap_or_else(PoisonError::into_inner);
            if let Some(prepared) = batch.prepared {
                writer.append(prepared?)?;
            }
            for (path, digest, stat) in batch.met {
                writer.met(&path, &digest, stat)?;
            }
            done += batch.fates.len() as u64;
            since += batch.fates.len() as u64;
            if writer.pending() >= COMMIT_BYTES || since >= COMMIT_FILES && writer.pending() > 0 {
                writer.commit()?;
                since = 0;
            }
            drop(writer);
            for mut fate in batch.fates {
                if let Some(ledger) = &mut ledger {
                    ledger.complete(&mut fate)?;
                }
                tale.tell(&fate)?;
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

/// Walks the folders and sends what is not known to be unchanged, several sources together.
fn send(
    feed: &mut Feed<'_, Vec<Parcel>, Batch>,
    roots: &[Root],
    leave_out: &LeaveOut<'_>,
    names: &Names,
    writer: &RwLock<Writer>,
    again: bool,
) {
    let mut together: Vec<Parcel> = Vec::new();
    let mut weight = 0;
    walk::walk(roots, leave_out, &mut |root, met| {
        let looked: Vec<Looked> = {
            let writer = writer.read().unwrap_or_else(PoisonError::into_inner);
            met.into_par_iter()
                .with_min_len(64)
                .map(|met| look(met, names, root, &writer, again))
                .collect()
        };
        let mut known = Vec::new();
        for looked in looked {
            if looked.unchanged {
                known.push(unchanged(looked.path, looked.was));
                continue;
            }
            // What is known goes in its place among what is new.
            if !known.is_empty()
                && !(send_off(feed, &mut together, &mut weight)
                    && feed.put_done(Batch::known(std::mem::take(&mut known))))
            {
                return false;
            }
            let Looked {
                met,
                path,
                stat,
                was,
                container,
                ..
            } = looked;
            let sent = desk::pieces(met, path, container, &mut |piece| {
                weight += piece.weight;
                together.push(Parcel {
                    piece,
                    stat,
                    was: was.clone(),
                });
                weight < Preparer::BATCH_BYTES as u64 || send_off(feed, &mut together, &mut weight)
            });
            if !sent {
                return false;
            }
        }
        let rest = send_off(feed, &mut together, &mut weight);
        rest && (known.is_empty() || feed.put_done(Batch::known(known)))
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
    was: Option<Digest>,
    unchanged: bool,
    container: bool,
}

fn look(met: Met, names: &Names, root: &Root, writer: &Writer, again: bool) -> Looked {
    let path = names.of(root, met.below());
    let Met::File(Found { stat, .. }) = &met else {
        return Looked {
            met,
            path,
            stat: None,
            was: None,
            unchanged: false,
            container: false,
        };
    };
    let stat = *stat;
    let (was, unchanged) = match writer.known(&path, &stat) {
        Known::Unchanged(digest) => (Some(digest), !again),
        Known::Perhaps(digest) => (Some(digest), false),
        Known::New => (None, false),
    };
    let container = !unchanged && is_container(&met);
    Looked {
        met,
        path,
        stat: (!container).then_some(stat),
        was,
        unchanged,
        container,
    }
}

fn unchanged(path: String, digest: Option<Digest>) -> Fate {
    Fate {
        digest: digest.map(|digest| digest.to_string()),
        verdict: Verdict::Read,
        known: true,
        remarks: Vec::new(),
        points: None,
        ..Fate::failed(path, Diagnostic::note(Code::new("file-unusable"), ""))
    }
}

/// Reads sources and makes them ready for the archive.
fn read(parcels: Vec<Parcel>, desk: &Desk, writer: &RwLock<Writer>, preparer: &Preparer) -> Batch {
    let mut batch = Batch {
        fates: Vec::with_capacity(parcels.len()),
        prepared: None,
        met: Vec::new(),
    };
    let mut additions = Vec::with_capacity(parcels.len());
    for Parcel { piece, stat, was } in parcels {
        let Piece { path, content, .. } = piece;
        let bytes = match content.bytes(&path) {
            Ok(bytes) => bytes,
            Err(why) => {
                batch.fates.push(desk.failed(&path, why));
                continue;
            }
        };
        let digest = Digest::of(&bytes);
        let again = desk.has_orders();
        // While a commit holds the writer nobody waits: reading once more costs less.
        let has = || writer.try_read().is_ok_and(|writer| writer.has(&digest));
        if !again && (was.as_ref() == Some(&digest) || has()) {
            batch.fates.push(unchanged(path.clone(), Some(digest.clone())));
            batch.met.push((path, digest, stat));
            continue;
        }
        let finished = desk.read(&path, bytes, digest.clone());
        batch.fates.push(desk.fate(&finished));
        let bytes = finished.source.bytes().to_vec();
        let curvary_formats::Reading { runs, remarks } = finished.reading;
        let verdict = batch.fates.last().map_or(Verdict::Refused, |fate| fate.verdict);
        let reader = finished.card.map(|card| card.id);
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
    before: Option<BTreeMap<String, Entry>>,
    now: BTreeMap<String, Entry>,
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
        let Some(digest) = fate.digest.clone() else {
            return Ok(());
        };
        if !fate.known {
            let entry = Entry {
                verdict: fate.verdict,
                reader: fate.reader.clone(),
                runs: fate.runs,
                points: fate.points.unwrap_or(0),
                remarks: fate.remarks.clone(),
            };
            self.now.insert(digest, entry);
            return Ok(());
        }
        let entry = match self.now.get(&digest) {
            Some(entry) => Some(entry),
            None => {
                if self.before.is_none() {
                    self.before = Some(before(self.archive)?);
                }
                self.before.as_ref().and_then(|before| before.get(&digest))
            }
        };
        if let Some(entry) = entry.cloned() {
            fate.verdict = entry.verdict;
            fate.reader = entry.reader;
            fate.runs = entry.runs;
            fate.points = Some(entry.points);
            fate.remarks = entry.remarks;
        }
        Ok(())
    }
}

/// How the reading of every source that the archive has went.
fn before(archive: &Archive) -> Result<BTreeMap<String, Entry>, Failure> {
    let mut entries = BTreeMap::new();
    let mut points: BTreeMap<String, (u64, Vec<Diagnostic>)> = BTreeMap::new();
    for record in archive.records() {
        match record? {
            // The runs of a reading stand before the source's own record, and a later reading replaces an earlier one.
            Record::Run(run) => {
                let of = points.entry(run.0.source.digest.to_string()).or_default();
                of.0 += run.0.points() as u64;
                of.1.extend(run.0.remarks);
            }
            Record::Source(source) => {
                let digest = source.digest.to_string();
                let (points, of_runs) = points.remove(&digest).unwrap_or_default();
                let mut remarks = source.remarks;
                remarks.extend(of_runs);
                let runs = u64::from(source.runs);
                let entry = Entry {
                    verdict: source.verdict,
                    reader: source.reader,
                    runs,
                    points,
                    remarks,
                };
                entries.insert(digest, entry);
            }
            Record::Outcome(_) | Record::Path(_) => {}
        }
    }
    Ok(entries)
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
