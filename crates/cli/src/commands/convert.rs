//! `curvary convert`: files into open formats, without an archive.

mod place;

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use clap::Args;
use curvary_formats::writers::export::ExportRemarks;
use curvary_formats::writers::json;
use curvary_ingest::{FileReading, FileReport, Ingest, IngestLimits, Piece, Root, each_piece};
use curvary_record::{Code, Diagnostic, Severity};
use serde::Serialize;

use self::place::{OutputPlace, apart};
use crate::Environment;
use crate::desk::{self, Complaints, OptionScope, ReadingOptions};
use crate::ending::{CommandResult, Ending, Failure, unusable};
use crate::handover::{for_strangers, found_in_file, still_there};
use crate::output::{self, ExistingFile, Format, OutputFiles, OutputOptions, commit_all, prepared};
use crate::parts::{self, PartSet};
use crate::report::{ReportFile, ReportSummary, SummaryShape};
use crate::screen::{Errors, FAINT, Progress, Screen, StyledText, plural};

/// Read files and folders and write what was read in an open format, without an archive
///
/// Writes `DIR/<relative path>.json` (or .csv, .jdx) for each source, or `FILE` where one file is read and FILE has the ending of the format. As JSON every file gets one, also those that were
/// refused, with the reason. The files that are read are never touched, and files that are there already are replaced only
/// where an earlier convert wrote them.
#[derive(Debug, Args)]
#[command(mut_arg("to", |to| to.value_parser(Format::of_files())))]
pub(crate) struct ConvertCommand {
    /// Files and folders
    #[arg(required_unless_present = "files_from", value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Read the files of a list, one path a line, `-` from standard input; as Parquet they become parts of one set
    #[arg(long, value_name = "LIST", conflicts_with = "paths")]
    files_from: Option<PathBuf>,
    /// How many files of a list a part of a set has at most
    #[arg(long, value_name = "COUNT", default_value_t = 1000, requires = "files_from")]
    files_a_part: usize,
    #[command(flatten)]
    output: OutputOptions,
    /// The folder to write to; for one source also a file, by a name with the ending of the format
    #[arg(long, value_name = "DIR|FILE")]
    out: PathBuf,
    #[command(flatten)]
    reading: ReadingOptions,
    /// Write a line of JSON a file: path, digest, verdict, reader, runs, points, remarks
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Take the place of files that are there already, also of such as curvary did not write
    #[arg(long)]
    replace: bool,
    /// Print the summary as JSON
    #[arg(long)]
    json: bool,
}

/// The summary as `--json` shows it.
#[derive(Serialize)]
struct ConvertJson<'a> {
    out: String,
    #[serde(flatten)]
    summary: SummaryShape<'a>,
}

impl ConvertCommand {
    /// Does it.
    pub(crate) fn run(mut self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if self.output.to == Format::Bundle {
            return Err(Failure::wrong(output::no_bundle()));
        }
        let roots = match &self.files_from {
            Some(list) => {
                self.paths = parts::listed(list)?;
                self.paths.iter().map(|path| Root::listed(path)).collect()
            }
            None => Root::all(&self.paths),
        };
        let scope = if self.files_from.is_some() {
            OptionScope::Folders
        } else {
            OptionScope::of(&self.paths)
        };
        let desk = self.reading.desk(setting.archive.there().as_deref(), scope)?;
        desk::complain(&desk, screen);
        if self.files_from.is_some() && self.output.to == Format::Parquet {
            return self.parts(setting, &desk, &roots, screen);
        }
        let made = OutputPlace::open(&self.out, self.output.to, &roots, self.replace)?;
        let mut report = self.report.as_deref().map(ReportFile::create).transpose()?;
        let progress = Progress::new(screen.quiet());
        let own = made.folder().map(Path::to_owned);
        let leave_out = move |path: &Path, folder: bool| folder && own.as_deref() == Some(path);
        desk::count_aside(&progress, roots.clone(), leave_out.clone());
        let several = roots.len() > 1 || made.folder().is_none();
        let mut summary = ReportSummary::default();
        let (begun, mut complaints, mut done) = (Instant::now(), Complaints::default(), 0);
        let (limits, errors) = (IngestLimits::default(), screen.errors());
        let mut taken = BTreeSet::new();
        let mut without_room = 0;
        let mut tell = |converted: ConvertedSource| {
            let ConvertedSource {
                fate,
                drawn,
                lost,
                without_room: some_without,
                ..
            } = converted;
            summary.add(&fate);
            if let Some(report) = &mut report {
                report.line(&fate)?;
            }
            complaints.show(&fate, drawn, screen);
            complaints.lost(&fate, &lost, screen);
            without_room += u64::from(some_without);
            done += 1;
            progress.at(done, summary.bytes(), begun.elapsed().as_secs_f64());
            Ok::<(), Failure>(())
        };
        let (mut waiting, mut committed) = (Vec::new(), Instant::now());
        each_piece(
            &roots,
            &leave_out,
            &limits,
            &AtomicBool::new(false),
            // Two given folders may hold files of one relative path, and a container several for one file: only one can be written.
            |path| {
                let twice = several && !taken.insert(made.target(path, self.output.to.ending()));
                twice.then(|| ConvertedSource::nothing(FileReport::failed(path, taken_already(path))))
            },
            |piece| convert(piece, &desk, (&made, &self.output), &limits, errors),
            |converted| {
                waiting.push(converted);
                if waiting.len() < TOGETHER && committed.elapsed() < PATIENCE {
                    return Ok(());
                }
                let given = committed_all(std::mem::take(&mut waiting), &mut tell);
                committed = Instant::now();
                given
            },
        )?;
        committed_all(waiting, &mut tell)?;
        progress.end();
        if let Some(report) = report {
            report.end()?;
        }
        complaints.end(screen);
        if without_room > 0 {
            screen.say(format_args!(
                "this format had no room for something of {}; `--report FILE` says what",
                plural(without_room, "file")
            ));
        }
        desk::sum_up(&desk, screen);
        crate::half::report_left(screen);
        let folder = self.out.display().to_string();
        if self.json {
            screen.json(&ConvertJson {
                out: folder,
                summary: summary.shape(),
            })?;
        } else {
            write!(screen, "{}", summary.text(screen.errors().is_some()))?;
            // Into a folder goes what can be; a file is there or not.
            if made.folder().is_some() || summary.ending(false) == Ending::Done {
                writeln!(screen, "{}", StyledText(FAINT, format!("written to: {folder}")))?;
            }
        }
        Ok(summary.ending(setting.strict))
    }
}

impl ConvertCommand {
    /// The files of a list as parts of one set.
    fn parts(
        &self,
        setting: &Environment,
        desk: &Ingest,
        roots: &[Root],
        screen: &mut Screen,
    ) -> CommandResult {
        let out = Root::new(&self.out).real;
        apart(roots, &out)?;
        let mut set = PartSet::open(&self.out, self.files_a_part)?;
        let mut report = self.report.as_deref().map(ReportFile::create).transpose()?;
        let progress = Progress::new(screen.quiet());
        let own = out.clone();
        let leave_out = move |path: &Path, folder: bool| folder && path == own;
        desk::count_aside(&progress, roots.to_vec(), leave_out.clone());
        let mut summary = ReportSummary::default();
        let (begun, mut complaints, mut done) = (Instant::now(), Complaints::default(), 0);
        let (limits, errors) = (IngestLimits::default(), screen.errors());
        let there = set.known();
        each_piece(
            roots,
            &leave_out,
            &limits,
            &AtomicBool::new(false),
            |_| None,
            |piece| {
                let Piece { path, content, .. } = piece;
                let taken = match content.bytes(&path, &limits) {
                    Ok(taken) => taken,
                    Err(why) => return (FileReport::failed(path, *why), None, Vec::new()),
                };
                if there.has(&taken.digest) {
                    let fate = FileReport {
                        bytes: taken.bytes.len() as u64,
                        ..FileReport::unchanged(path)
                    };
                    return (fate, None, Vec::new());
                }
                let finished = desk.read(&path, taken);
                let fate = FileReport::of(&finished);
                let drawn = errors.map(|errors| desk::drawn(&finished, &fate, errors));
                (fate, drawn, finished.reading.runs)
            },
            |(fate, drawn, runs)| {
                summary.add(&fate);
                if let Some(report) = &mut report {
                    report.line(&fate)?;
                }
                complaints.show(&fate, drawn, screen);
                if !fate.known {
                    set.take(&fate, runs)?;
                }
                done += 1;
                progress.at(done, summary.bytes(), begun.elapsed().as_secs_f64());
                Ok::<(), Failure>(())
            },
        )?;
        progress.end();
        let written = set.finish()?;
        if let Some(report) = report {
            report.end()?;
        }
        complaints.end(screen);
        desk::sum_up(desk, screen);
        let folder = self.out.display().to_string();
        if self.json {
            screen.json(&ConvertJson {
                out: folder,
                summary: summary.shape(),
            })?;
        } else {
            write!(screen, "{}", summary.text(screen.errors().is_some()))?;
            let told = format!("{} written to: {folder}", plural(written, "part"));
            writeln!(screen, "{}", StyledText(FAINT, told))?;
        }
        Ok(summary.ending(setting.strict))
    }
}

fn taken_already(path: &str) -> Diagnostic {
    let message =
        format!("`{path}` would be written to the same file as another, and only the first was written");
    Diagnostic::error(Code::new("same-output"), message)
        .help("convert folders one at a time, and what holds several files into a folder")
}

/// So many sources wait at most until what came of them is made durable together, and so long.
const TOGETHER: usize = 256;
const PATIENCE: Duration = Duration::from_secs(1);

/// What came of a source.
struct ConvertedSource {
    fate: FileReport,
    /// Its remarks drawn, where that is wanted.
    drawn: Option<String>,
    /// What the format cannot carry.
    lost: Vec<Diagnostic>,
    /// Whether the format has no room for some of it.
    without_room: bool,
    /// Its files, which have not got their names yet.
    files: Option<OutputFiles>,
}

impl ConvertedSource {
    fn nothing(fate: FileReport) -> Self {
        Self {
            fate,
            drawn: None,
            lost: Vec::new(),
            without_room: false,
            files: None,
        }
    }
}

/// Gives the files of many sources their names, and tells what became of each source, in their order.
fn committed_all(
    mut all: Vec<ConvertedSource>,
    tell: &mut dyn FnMut(ConvertedSource) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let (places, files): (Vec<usize>, Vec<OutputFiles>) = all
        .iter_mut()
        .enumerate()
        .filter_map(|(place, converted)| Some((place, converted.files.take()?)))
        .unzip();
    let targets: Vec<PathBuf> = files.iter().map(|files| files.target().to_owned()).collect();
    let committed = commit_all(files);
    for ((place, target), committed) in places.into_iter().zip(targets).zip(committed) {
        if let (Some(converted), Err(error)) = (all.get_mut(place), committed) {
            note(&mut converted.fate, &target, &error);
        }
    }
    all.into_iter().try_for_each(tell)
}

/// Reads one source and writes what came of it, under other names than the last.
fn convert(
    piece: Piece,
    desk: &Ingest,
    (made, output): (&OutputPlace, &OutputOptions),
    limits: &IngestLimits,
    errors: Option<Errors>,
) -> ConvertedSource {
    let to = output.to;
    let Piece { path, content, .. } = piece;
    let target = made.target(&path, to.ending());
    let taken = match content.bytes(&path, limits) {
        Ok(taken) => taken,
        Err(why) => {
            let mut converted = ConvertedSource::nothing(FileReport::failed(path.as_str(), *why));
            if to == Format::Json {
                let fate = &converted.fate;
                let document = serde_json::json!({
                    "curvary": curvary_formats::writers::json_lines::Maker::of("source-document-v1.json"),
                    "source": path, "digest": null, "bytes": null, "reader": null, "verdict": fate.verdict,
                    "remarks": fate.remarks, "runs": [],
                });
                let files = made
                    .claim(&target)
                    .and_then(|existing| prepared(&target, existing, |file| writeln!(file, "{document}")));
                match files {
                    Ok(files) => converted.files = Some(files),
                    Err(error) => note(&mut converted.fate, &target, &error),
                }
            }
            return converted;
        }
    };
    let finished = desk.read(&path, taken);
    let mut converted = ConvertedSource::nothing(FileReport::of(&finished));
    converted.drawn = errors.map(|errors| desk::drawn(&finished, &converted.fate, errors));
    let written = match to {
        Format::Json => made
            .claim(&target)
            .and_then(|existing| prepare_json(&target, existing, &finished))
            .map(|files| (Some(files), ExportRemarks::default())),
        _ if finished.reading.runs.is_empty() => Ok((None, ExportRemarks::default())),
        _ => made.claim(&target).and_then(|existing| {
            if to != Format::Report {
                return output.prepare(&target, existing, &finished.reading.runs);
            }
            // A report goes to strangers, as one of an archive does.
            let (runs, gone) = for_strangers(&finished.reading.runs);
            let mut output = output.clone();
            output.left_out = gone.words();
            let (files, told) = output.prepare(&target, existing, &runs)?;
            let still = files
                .as_ref()
                .map(|files| files.any(|file| found_in_file(&gone, file)))
                .transpose()?
                .flatten();
            Ok(match still {
                Some((name, value)) => (
                    None,
                    ExportRemarks {
                        remarks: vec![still_there(&value, &name)],
                        ..told
                    },
                ),
                None => (files, told),
            })
        }),
    };
    match written {
        Ok((files, ExportRemarks { remarks, not_carried })) => {
            converted.without_room = not_carried.is_some();
            let weighty = remarks
                .iter()
                .filter(|remark| remark.severity >= Severity::Warning);
            converted.lost.extend(weighty.cloned());
            converted.fate.remarks.extend(remarks);
            converted.fate.remarks.extend(not_carried);
            converted.files = files;
        }
        Err(error) => note(&mut converted.fate, &target, &error),
    }
    converted
}

/// A file that could not be written is an error of its source.
fn note(fate: &mut FileReport, target: &Path, error: &io::Error) {
    fate.verdict = curvary_record::Verdict::Failed;
    fate.remarks
        .push(unusable("write", &target.display().to_string(), error));
}

fn prepare_json(target: &Path, existing: ExistingFile, finished: &FileReading) -> io::Result<OutputFiles> {
    let FileReading {
        source,
        card,
        reading,
        ..
    } = finished;
    prepared(target, existing, |file| {
        json::SourceDocument::new(source, card.as_ref(), reading).write(file)
    })
}
