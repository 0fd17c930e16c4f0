//! `curvary watch`: files that arrive in a folder go into the archive by themselves.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant, SystemTime};

use clap::Args;
use curvary_analysis::study::reports_of;
use curvary_archive::Archive;
use curvary_ingest::{FileReport, Filing, Ingest, IngestLimits, Root, is_archive};
use curvary_record::{Code, Diagnostic, Severity, Verdict, code};
use notify::{RecursiveMode, Watcher};

use crate::Environment;
use crate::commands::add::watch_for_interruption;
use crate::desk::{OptionScope, ReadingOptions};
use crate::ending::{CommandResult, Ending, Failure};
use crate::screen::{Screen, plural};
use crate::table::one_line;

/// Add what arrives in a folder, until it is stopped with Ctrl-C
///
/// What is there already is added first. A file is read once it has not changed for a second, so that half a file is never
/// taken. Each file gives one line, on the screen or in --log. The folder is looked through once a minute too, since network
/// drives do not always say that something has arrived.
#[derive(Debug, Args)]
pub(crate) struct WatchCommand {
    /// The folder
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Write the lines to the end of this file, and say nothing on the screen
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    #[command(flatten)]
    reading: ReadingOptions,
}

/// A file is whole when nothing has changed for so long.
const QUIET: Duration = Duration::from_secs(1);
/// How often Ctrl-C is looked for.
const TICK: Duration = Duration::from_millis(200);
/// How often the folder is looked through without a sign from the system.
const ROUND: Duration = Duration::from_secs(60);

/// Length and time of change of every file.
type FileLook = BTreeMap<PathBuf, (u64, Option<SystemTime>)>;

/// Where the lines go.
enum Log<'a> {
    Screen(&'a mut Screen),
    File(PathBuf, File),
}

impl WatchCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if !self.folder.is_dir() {
            let message = format!("`{}` is no folder", self.folder.display());
            return Err(Failure::nothing(Diagnostic::error(
                Code::new("file-unusable"),
                message,
            )));
        }
        let opened = setting.archive.open_or_begin()?;
        let root = opened.archive.root().to_owned();
        drop(opened);
        let stop = watch_for_interruption()?;
        let (send, arrives) = channel();
        // Without a watcher the rounds are left.
        let watcher = notify::recommended_watcher(move |_| {
            // Nobody listens any more when the command ends.
            let _ = send.send(());
        });
        let watcher = watcher.and_then(|mut watcher| {
            watcher.watch(&self.folder, RecursiveMode::Recursive)?;
            Ok(watcher)
        });
        let mut log = match self.log.clone() {
            None => Log::Screen(screen),
            Some(path) => {
                let file = OpenOptions::new().create(true).append(true).open(&path);
                let file = file.map_err(|error| Failure::file("write the log to", &path, &error))?;
                Log::File(path, file)
            }
        };
        log.line(&format!("watching {}", self.folder.display()))?;
        if let Err(error) = &watcher {
            log.line(&format!(
                "the system does not report changes ({error}); looking once a minute"
            ))?;
        }
        let mut seen = FileLook::new();
        let (mut files, mut runs) = (0, 0);
        while !stop.load(Ordering::Relaxed) {
            let now = whole(&self.folder, &root, &stop);
            if now != seen {
                let (more, of) = self.add(&root, &stop, &mut log)?;
                files += more;
                runs += of;
                seen = now;
            }
            wait(&arrives, &stop);
        }
        let end = format!(
            "stopped; {} added, {}",
            plural(files, "file"),
            plural(runs, "run")
        );
        log.line(&end)?;
        Ok(Ending::Done)
    }

    /// Adds what is new; gives how many files and runs.
    fn add(&self, root: &Path, stop: &AtomicBool, log: &mut Log<'_>) -> Result<(u64, u64), Failure> {
        let archive = Archive::open(root)?;
        let mut desk: Ingest = self.reading.desk(Some(root), OptionScope::Folders)?;
        let filing = match Filing::begin(
            &archive,
            &mut desk,
            IngestLimits::default(),
            "curvary watch",
            &reports_of,
        ) {
            Ok(filing) => filing,
            Err(trouble) => {
                // Another program writes: the next round finds what is new again.
                let failure = Failure::from(trouble);
                if let Failure::Told { why, .. } = &failure
                    && why.code == code::ARCHIVE_LOCKED
                {
                    log.line(&format!("waiting: {}", why.message))?;
                    return Ok((0, 0));
                }
                return Err(failure);
            }
        };
        let roots = Root::all(std::slice::from_ref(&self.folder));
        let (mut files, mut runs) = (0, 0);
        filing.add(
            &roots,
            stop,
            true,
            |_, _| None::<()>,
            |handed| {
                if !handed.fate.known {
                    files += 1;
                    runs += handed.fate.runs;
                    log.line(&line_of(&handed.fate))?;
                }
                Ok::<(), Failure>(())
            },
        )?;
        filing.finish()?;
        Ok((files, runs))
    }
}

impl Log<'_> {
    fn line(&mut self, text: &str) -> Result<(), Failure> {
        let now = jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ");
        let line = format!("{now}  {}\n", one_line(text));
        match self {
            Self::Screen(screen) => {
                screen.write_all(line.as_bytes())?;
                Ok(screen.flush()?)
            }
            Self::File(path, file) => file
                .write_all(line.as_bytes())
                .map_err(|error| Failure::file("write the log to", path, &error)),
        }
    }
}

/// What became of a file, in one line.
fn line_of(fate: &FileReport) -> String {
    let why = || {
        let worst = fate.remarks.iter().rev().max_by_key(|remark| remark.severity);
        worst.map_or_else(String::new, |remark| format!(": {}", remark.message))
    };
    let odd = fate
        .remarks
        .iter()
        .filter(|remark| remark.severity >= Severity::Warning)
        .count();
    match fate.verdict {
        Verdict::Read if odd > 0 => {
            format!(
                "{}: {}, {}",
                fate.path,
                plural(fate.runs, "run"),
                plural(odd as u64, "warning")
            )
        }
        Verdict::Read => format!("{}: {}", fate.path, plural(fate.runs, "run")),
        Verdict::InQuestion => {
            let asked = fate.questions.first().map_or("", |question| question.1.as_str());
            format!("{}: {} in question: {asked}", fate.path, plural(fate.runs, "run"))
        }
        Verdict::Refused | Verdict::Failed => format!("{}: not read{}", fate.path, why()),
    }
}

/// Waits for a sign that something has arrived, or for the next round, or for the end.
fn wait(arrives: &Receiver<()>, stop: &AtomicBool) {
    let begun = Instant::now();
    while !stop.load(Ordering::Relaxed) && begun.elapsed() < ROUND {
        if arrives.recv_timeout(TICK).is_ok() {
            // Of many signs one is enough.
            while arrives.try_recv().is_ok() {}
            return;
        }
    }
}

/// The folder once nothing in it changes any more.
fn whole(folder: &Path, archive: &Path, stop: &AtomicBool) -> FileLook {
    let mut before = look(folder, archive);
    loop {
        let begun = Instant::now();
        while begun.elapsed() < QUIET && !stop.load(Ordering::Relaxed) {
            std::thread::sleep(TICK);
        }
        let now = look(folder, archive);
        if now == before || stop.load(Ordering::Relaxed) {
            return now;
        }
        before = now;
    }
}

fn look(folder: &Path, archive: &Path) -> FileLook {
    let mut all = FileLook::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        if folder == archive || is_archive(&folder) {
            continue;
        }
        // What cannot be listed now is listed in a later round.
        for entry in std::fs::read_dir(&folder)
            .into_iter()
            .flatten()
            .filter_map(Result::ok)
        {
            let Ok(metadata) = entry.metadata() else { continue };
            if metadata.is_dir() {
                folders.push(entry.path());
            } else if metadata.is_file() {
                all.insert(entry.path(), (metadata.len(), metadata.modified().ok()));
            }
        }
    }
    all
}
