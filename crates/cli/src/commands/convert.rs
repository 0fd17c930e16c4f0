//! `curvary convert`: files into open formats, without an archive.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use clap::Args;
use curvary_formats::writers::json;
use curvary_ingest::{Desk, Fate, Finished, Limits, Piece, Root, each_piece};
use curvary_record::{Code, Diagnostic};
use serde::Serialize;

use crate::Setting;
use crate::desk::{self, Complaints, ReadingOptions, Scope};
use crate::ending::{Failure, Outcome, unusable};
use crate::output::{Format, OutputOptions, write};
use crate::report::{Report, Summary, SummaryShape};
use crate::screen::{Errors, FAINT, Progress, Screen, Styled};

/// Read files and folders and write what was read in an open format, without an archive
///
/// Writes `DIR/<relative path>.json` (or .csv, .jdx) for each source. As JSON every file gets one, also those that were
/// refused, with the reason. The files that are read are never touched.
#[derive(Debug, Args)]
pub(crate) struct Convert {
    /// Files and folders
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    #[command(flatten)]
    output: OutputOptions,
    /// The folder to write to
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
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
    out: String,
    #[serde(flatten)]
    summary: SummaryShape<'a>,
}

impl Convert {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        let desk = self
            .reading
            .desk(setting.archive.there().as_deref(), Scope::of(&self.paths))?;
        desk::complain(&desk, screen);
        let roots = Root::all(&self.paths);
        let out = Root::new(&self.out).real;
        let below = apart(&roots, &out)?;
        fs::create_dir_all(&self.out).map_err(|error| Failure::file("make the folder", &self.out, &error))?;
        let out = Root::new(&self.out).real;
        if below {
            mark(&out)?;
        }
        let mut report = self.report.as_deref().map(Report::create).transpose()?;
        let progress = Progress::new(screen.quiet());
        let own = out.clone();
        let leave_out = move |path: &Path, folder: bool| folder && path == own;
        desk::count_aside(&progress, roots.clone(), leave_out.clone());
        let several = roots.len() > 1;
        let mut summary = Summary::default();
        let (begun, mut complaints, mut done) = (Instant::now(), Complaints::default(), 0);
        let (limits, errors) = (Limits::default(), screen.errors());
        let mut taken = BTreeSet::new();
        each_piece(
            &roots,
            &leave_out,
            &limits,
            &AtomicBool::new(false),
            // Two given folders may hold files of one relative path, and only one can be written.
            |path| {
                let twice = several && !taken.insert(path.to_owned());
                twice.then(|| (Fate::failed(path, taken_already(path)), None))
            },
            |piece| convert(piece, &desk, (&out, &self.output), &limits, errors),
            |(fate, drawn)| {
                summary.add(&fate);
                if let Some(report) = &mut report {
                    report.line(&fate)?;
                }
                complaints.show(&fate, drawn, screen);
                done += 1;
                progress.at(done, summary.bytes(), begun.elapsed().as_secs_f64());
                Ok::<(), Failure>(())
            },
        )?;
        progress.end();
        if let Some(report) = report {
            report.end()?;
        }
        complaints.end(screen);
        let folder = self.out.display().to_string();
        if self.json {
            screen.json(&Shape {
                out: folder,
                summary: summary.shape(),
            })?;
        } else {
            write!(screen, "{}", summary.text())?;
            writeln!(screen, "{}", Styled(FAINT, format!("written to: {folder}")))?;
        }
        Ok(summary.ending(setting.strict))
    }
}

fn taken_already(path: &str) -> Diagnostic {
    let message = format!("`{path}` is in two of the given folders, and only the first was written");
    Diagnostic::error(Code::new("same-output"), message).help("convert them one folder at a time")
}

/// Refuses an output folder in which originals could be overwritten; says whether it lies below what is read.
fn apart(roots: &[Root], out: &Path) -> Result<bool, Failure> {
    if let Some(root) = roots
        .iter()
        .find(|root| root.real.is_dir() && root.real.starts_with(out))
    {
        let message = format!(
            "the output folder `{}` holds what is read, `{}`",
            out.display(),
            root.real.display()
        );
        let why = Diagnostic::error(Code::new("out-overlaps"), message);
        return Err(Failure::wrong(why.help(
            "name a folder of its own with `--out`; originals are never touched",
        )));
    }
    Ok(roots.iter().any(|root| out.starts_with(&root.real)))
}

/// The file that says a folder below the originals is ours.
const MARK: &str = ".written-by-curvary";

/// Makes sure that an output folder below the originals holds only what we wrote.
fn mark(out: &Path) -> Result<(), Failure> {
    let mark = out.join(MARK);
    let fail = |error: io::Error| Failure::file("use", out, &error);
    if !mark.exists() && fs::read_dir(out).map_err(fail)?.next().is_some() {
        let message = format!(
            "the output folder `{}` holds files that curvary did not write",
            out.display()
        );
        let why = Diagnostic::error(Code::new("out-overlaps"), message);
        return Err(Failure::wrong(
            why.help("name a new folder with `--out`; originals are never touched"),
        ));
    }
    fs::write(
        &mark,
        "What is in this folder was written by curvary and may be overwritten by it.\n",
    )
    .map_err(fail)
}

/// Reads one source and writes what came of it; gives what became of it and, where that is wanted, its remarks drawn.
fn convert(
    piece: Piece,
    desk: &Desk,
    (out, output): (&Path, &OutputOptions),
    limits: &Limits,
    errors: Option<Errors>,
) -> (Fate, Option<String>) {
    let to = output.to;
    let Piece { path, content, .. } = piece;
    let target = target(out, &path, to.ending());
    let taken = match content.bytes(&path, limits) {
        Ok(taken) => taken,
        Err(why) => {
            let mut fate = Fate::failed(path.as_str(), *why);
            if to == Format::Json {
                let document = serde_json::json!({
                    "source": path, "digest": null, "bytes": null, "reader": null, "verdict": fate.verdict,
                    "remarks": fate.remarks, "runs": [],
                });
                note(
                    &mut fate,
                    &target,
                    write(&target, |file| writeln!(file, "{document}")),
                );
            }
            return (fate, None);
        }
    };
    let finished = desk.read(&path, taken);
    let mut fate = Fate::of(&finished);
    let drawn = errors.map(|errors| desk::drawn(&finished, &fate, errors));
    let written = match to {
        Format::Json => write_json(&target, &finished),
        _ if finished.reading.runs.is_empty() => Ok(()),
        _ => output
            .write(&target, &finished.reading.runs)
            .map(|remarks| fate.remarks.extend(remarks)),
    };
    note(&mut fate, &target, written);
    (fate, drawn)
}

/// A file that could not be written is an error of its source.
fn note(fate: &mut Fate, target: &Path, written: io::Result<()>) {
    if let Err(error) = written {
        fate.verdict = curvary_record::Verdict::Failed;
        fate.remarks
            .push(unusable("write", &target.display().to_string(), &error));
    }
}

/// `OUT/<relative path>.<ending>`; the members of a container go into a folder of its name.
fn target(out: &Path, path: &str, ending: &str) -> PathBuf {
    let mut target = out.to_owned();
    for part in path
        .split('/')
        .filter(|part| !part.is_empty() && *part != "." && *part != "..")
    {
        target.push(part);
    }
    let mut name = target.into_os_string();
    name.push(".");
    name.push(ending);
    name.into()
}

fn write_json(target: &Path, finished: &Finished) -> io::Result<()> {
    let Finished {
        source,
        card,
        reading,
        ..
    } = finished;
    write(target, |file| {
        json::SourceDocument::new(source, card.as_ref(), reading).write(file)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn targets_stay_below_the_output_folder() {
        let out = Path::new("/out");
        assert_eq!(target(out, "a/b.txt", "json"), Path::new("/out/a/b.txt.json"));
        assert_eq!(
            target(out, "../../b.zip!/../c.txt", "csv"),
            Path::new("/out/b.zip!/c.txt.csv")
        );
    }

    #[test]
    fn output_may_not_hold_the_originals() {
        let here = std::env::current_dir().expect("a folder");
        let roots = [Root::new(&here)];
        assert!(apart(&roots, &here).is_err());
        assert!(apart(&roots, here.parent().expect("it has one")).is_err());
        assert_eq!(apart(&roots, &here.join("out")).ok(), Some(true));
        assert_eq!(apart(&roots, Path::new("/elsewhere")).ok(), Some(false));
    }
}
