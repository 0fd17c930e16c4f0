//! `curvary process`: curves after steps, and the mean of replicates, handed on in an open format.

use std::io;
use std::path::PathBuf;

use clap::Args;
use curvary_analysis::study::{
    ProcessPlan, ProcessedCurve, References, TraceResult, Work, average_runs, process_run,
};
use curvary_formats::writers::export::ExportError;
use curvary_record::{Code, Diagnostic, Run};

use crate::Environment;
use crate::again;
use crate::ending::{CommandResult, Failure};
use crate::figure::{Figure, Layer, Panel};
use crate::findings::{Finding, Heading, Pictures, Teller};
use crate::output::{self, ExistingFile, Format, OutputOptions};
use crate::screen::{Screen, plural};
use crate::steps::{How, StepOptions};
use crate::subject::{ReadingDemand, Subject, Subjects};
use crate::telling;

/// Curves after steps (blank, baseline, smoothing, derivative, resampling), and the mean of replicates with its spread
///
/// Steps go in the order given, as for `curvary peaks`: ordinate(absorbance), axis(cm-1), crop(220..400),
/// saturation(above=3), blank(RUN), baseline(line, 240..250, 340..350), smooth(window=11, order=3),
/// derivative(2, window=11, order=3), resample(cubic, 200..800, every=1) and others. The curve goes into a file with --out;
/// what it was made of, and how, goes with it and is kept as a result.
#[derive(Debug, Args)]
pub(crate) struct ProcessCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = ["StepOptions", "average", "onto_first", "trace", "out", "to"])]
    again: bool,
    #[command(flatten)]
    before: StepOptions,
    /// Take all curves as replicates: their mean and, point by point, their standard deviation
    #[arg(long, help_heading = "Replicates")]
    average: bool,
    /// Interpolate replicates at the points of the first where theirs differ
    #[arg(long, value_name = "HOW", requires = "average", help_heading = "Replicates")]
    onto_first: Option<How>,
    /// Traces by number (from 1) or label
    #[arg(long, value_name = "TRACE", value_delimiter = ',')]
    trace: Vec<String>,
    /// The file to write
    #[arg(
        long,
        value_name = "PATH",
        conflicts_with = "dry_run",
        help_heading = "Output"
    )]
    out: Option<PathBuf>,
    /// What to write
    #[arg(
        long,
        value_name = "FORMAT",
        value_parser = Format::of_files(),
        default_value = "csv",
        requires = "out",
        help_heading = "Output"
    )]
    to: Format,
    /// Take the place of a file that is there already
    #[arg(long, requires = "out", help_heading = "Output")]
    replace: bool,
    #[command(flatten)]
    pictures: Pictures,
}

impl ProcessCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let asked = self.subjects.asked(setting)?;
        if self.again {
            return again::results(
                (Work::Process, COMMAND),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                |subject, found| Some(picture(&subject.place, found)),
                print_processed,
            );
        }
        if let Some(out) = self.out.as_ref().filter(|out| out.exists() && !self.replace) {
            let why = Diagnostic::error(
                Code::new("output-there"),
                format!("`{}` is there already", out.display()),
            );
            return Err(Failure::nothing(
                why.help("name another file, or take its place with `--replace`"),
            ));
        }
        let mut references = References::new();
        let plan = ProcessPlan {
            steps: self.before.steps(setting, &mut references)?,
            average: self.average,
            onto_first: self.onto_first.map(Into::into),
            trusted_absorbance: self.before.trusted()?,
            traces: self.trace.clone(),
        };
        let mut teller = Teller::new(self.subjects.json, &self.pictures)?;
        let mut runs: Vec<Run> = Vec::new();
        let mut put = |heading: &Heading, place: &str, made: ProcessedCurve, screen: &mut Screen| {
            let finding = Finding {
                figure: made.run.is_some().then(|| picture(place, &made.found)),
                ..Finding::of(made.found)
            };
            teller.take(heading, &finding, screen, print_processed)?;
            runs.extend(made.run);
            Ok::<(), Failure>(())
        };
        let kept = if self.average {
            let subjects = asked.all(ReadingDemand::Whole)?;
            let all: Vec<&Run> = subjects.iter().map(|subject| &subject.run).collect();
            let made = average_runs(&plan, &all, &references);
            let outcomes =
                Vec::from_iter(Some(made.found.outcome.clone()).filter(|_| made.found.is_result()));
            let place = match subjects.as_slice() {
                [one] => one.place.clone(),
                several => plural(several.len() as u64, "run") + " together",
            };
            put(&Heading::of_several(place.clone()), &place, made, screen)?;
            self.subjects.keep(&asked, COMMAND, outcomes)?
        } else {
            let compute = |subjects: &[Subject]| {
                let given: Vec<(Heading, Vec<ProcessedCurve>)> = subjects
                    .iter()
                    .map(|subject| {
                        let mut made = process_run(&plan, &subject.run, &references);
                        made.retain(|made| subject.means(made.found.trace));
                        (Heading::of(subject), made)
                    })
                    .collect();
                let results = given.iter().flat_map(|(_, all)| all).map(|made| &made.found);
                let outcomes = results
                    .filter(|found| found.is_result())
                    .map(|found| found.outcome.clone())
                    .collect();
                (given, outcomes)
            };
            let mut refused: Vec<(String, Diagnostic)> = Vec::new();
            let kept =
                self.subjects
                    .each(&asked, ReadingDemand::Whole, COMMAND, compute, |place, given| {
                        match given {
                            Err(why) => refused.push((place.to_owned(), why)),
                            Ok(given) => {
                                for (heading, all) in given {
                                    for made in all {
                                        put(&heading, place, made, screen)?;
                                    }
                                }
                            }
                        }
                        Ok(())
                    })?;
            for (place, why) in &refused {
                teller.refuse(place, why, screen);
            }
            kept
        };
        let ending = teller.end(asked.len() == 1 || self.average, screen)?;
        if let (Some(out), false) = (&self.out, runs.is_empty()) {
            let told = OutputOptions::of(self.to)
                .write_all(
                    out,
                    ExistingFile::asked(self.replace),
                    &mut runs.as_slice(),
                    &|_| Ok(()),
                )
                .map_err(|error| match error {
                    ExportError::Refused(why) => Failure::nothing(*why),
                    ExportError::Io(error) => Failure::file("write", out, &error),
                    error @ ExportError::Changed(_) => Failure::file("write", out, &io::Error::other(error)),
                })?;
            output::report_written(out, &told, screen);
            let curves = runs.iter().map(|run| run.traces.len() as u64).sum();
            screen.say(format_args!("{} in {}", plural(curves, "curve"), out.display()));
        }
        kept.say(screen);
        Ok(ending)
    }
}

const COMMAND: &str = "curvary process";

fn print_processed(heading: &str, finding: &Finding, screen: &mut Screen) -> Result<(), Failure> {
    telling::print_outcome(heading, &finding.found.outcome, screen)
}

fn picture(place: &str, found: &TraceResult) -> Figure {
    let drawn = &found.drawn;
    let points = drawn.x.iter().copied().zip(drawn.y.iter().copied()).collect();
    Figure {
        title: format!("{place} {}", found.label).trim_end().to_owned(),
        doses: false,
        panels: vec![Panel {
            x: drawn.x_title.clone(),
            y: drawn.y_title.clone(),
            share: 1.0,
            layers: vec![Layer::Line(points)],
        }],
    }
}
