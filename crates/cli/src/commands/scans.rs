//! `curvary scans`: what repeated scans of a reaction say.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use curvary_analysis::Refusal;
use curvary_analysis::scans::{Equilibrium, Network, Scheme};
use curvary_analysis::study::{Differences, ScanFound, ScanTask, Work, scan_differences, scan_run};
use curvary_record::{Diagnostic, Quantity, Run, Unit};
use serde_json::{Value, json};

use crate::Environment;
use crate::again;
use crate::ending::{CommandResult, Ending, Failure};
use crate::figure::{Figure, Layer, Panel};
use crate::findings::{Heading, Pictures, picture_name, shape_with};
use crate::output::ExistingFile;
use crate::screen::Screen;
use crate::subject::{ReadingDemand, Subject, Subjects};
use crate::telling;

/// Repeated scans of a reaction: species, isosbestic points, difference spectra, rate constants over all wavelengths
///
/// Without a choice all of it is done: how many singular values stand out of the noise, at which wavelengths the absorbance
/// stays, and a first-order fit over all wavelengths with the spectra of the species. A time course at one wavelength is
/// fitted with `curvary fit --at NM`. With --scheme, a scheme of your own is fitted, and --concentrations writes how much of each
/// species there is over time.
#[derive(Debug, Args)]
pub(crate) struct ScansCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = ["rank", "isosbestic", "global", "scheme", "hold", "shifted", "concentrations", "difference", "out"])]
    again: bool,
    /// How many independent species the scans show
    #[arg(long)]
    rank: bool,
    /// Wavelengths at which the absorbance stays
    #[arg(long)]
    isosbestic: bool,
    /// Fit one scheme over all wavelengths
    #[arg(long, value_name = "SCHEME")]
    global: Option<SchemeChoice>,
    /// Fit a scheme of your own over all wavelengths, first-order steps parted by commas, such as `A->B, B<->C`
    #[arg(long, value_name = "STEPS", value_parser = scheme)]
    scheme: Option<String>,
    /// The equilibrium constant of a reversible step at an end of the scheme, known from elsewhere: `K1=2.5` or `K2=0.8+-0.05`, what
    /// there is of the second species over what there is of the first; scans alone give the sum of the two rate constants
    #[arg(long, value_name = "K=VALUE", requires = "scheme")]
    hold: Vec<String>,
    /// Let each scan be shifted as a whole, by the same absorbance at all wavelengths, beside the scheme
    #[arg(long)]
    shifted: bool,
    /// The CSV file of the concentrations of the species over time
    #[arg(long, value_name = "FILE", conflicts_with = "dry_run")]
    concentrations: Option<PathBuf>,
    /// Write every scan less this one (from 1) as CSV
    #[arg(long, value_name = "SCAN", requires = "out")]
    difference: Option<usize>,
    /// The CSV file of difference spectra, or of the spectra of species
    #[arg(long, value_name = "FILE", conflicts_with = "dry_run")]
    out: Option<PathBuf>,
    /// Take the place of a file that is there already
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    pictures: Pictures,
}

/// A reaction scheme.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum SchemeChoice {
    /// A to B
    FirstOrder,
    /// A to B to C
    Consecutive,
}

/// The units of wavelengths and times.
struct ScanUnits {
    wavelength: Unit,
    time: Unit,
}

impl ScanUnits {
    fn of(run: &Run) -> Self {
        let first = run.traces.first();
        let held = first.and_then(|trace| trace.held.iter().find(|held| held.quantity == Quantity::TIME));
        Self {
            wavelength: first.map_or(Unit::NANOMETRE, |trace| trace.x.unit.clone()),
            time: held.map_or(Unit::SECOND, |held| held.unit.clone()),
        }
    }
}

/// What one run gave.
struct ScanRunReport {
    heading: Heading,
    found: Vec<ScanFound>,
    units: ScanUnits,
    /// Columns of the CSV file: a head each, the first of wavelengths.
    columns: Vec<(String, Vec<f64>)>,
    trouble: Option<String>,
}

impl ScansCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let asked = self.subjects.asked(setting)?;
        if self.again {
            return again::results(
                (Work::Scans, "curvary scans"),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                |subject, found| {
                    // The spectra of the species stand in no record: they are computed once more, from the same task.
                    let task = ScanTask::of(&found.outcome).filter(|_| self.pictures.wanted())?;
                    of_species(
                        &Heading::of(subject),
                        &scan_run(task, &subject.run),
                        &ScanUnits::of(&subject.run),
                    )
                },
                |heading, finding, screen| telling::print_outcome(heading, &finding.found.outcome, screen),
            );
        }
        self.pictures.make_folder()?;
        if (self.out.is_some() || self.concentrations.is_some()) && asked.len() > 1 {
            return Err(Failure::usage(
                "`--out` and `--concentrations` take the numbers of one run; several are named",
            ));
        }
        let tasks = self.tasks()?;
        let compute = |subjects: &[Subject]| {
            let given: Vec<ScanRunReport> = subjects
                .iter()
                .map(|subject| self.compute(&tasks, subject))
                .collect();
            let outcomes = given
                .iter()
                .flat_map(|given| &given.found)
                .filter(|scan| scan.found.is_result())
                .map(|scan| scan.found.outcome.clone())
                .collect();
            (given, outcomes)
        };
        let (mut good, mut bad, mut pictures) = (0, 0, 0);
        let mut all: Vec<Value> = Vec::new();
        let take = |place: &str, given: Result<Vec<ScanRunReport>, Diagnostic>| {
            let given = match given {
                Ok(given) => given,
                Err(why) => {
                    bad += 1;
                    screen.complain(Some(place), &why, &crate::drawing::NoTexts);
                    return Ok(());
                }
            };
            for given in given {
                if let Some(trouble) = &given.trouble {
                    bad += 1;
                    writeln!(screen, "{}: {trouble}", given.heading.title())?;
                }
                for scan in &given.found {
                    // No isosbestic point is a finding, too.
                    let answered = scan.found.is_result() || !scan.found.outcome.statistics.is_empty();
                    if answered {
                        good += 1
                    } else {
                        bad += 1
                    }
                    if self.subjects.json {
                        all.push(shape(&given, scan));
                    } else {
                        telling::print_outcome(&given.heading.title(), &scan.found.outcome, screen)?;
                    }
                    if let Some(figure) = of_species(&given.heading, scan, &given.units) {
                        pictures += self
                            .pictures
                            .draw(&picture_name(&given.heading, &scan.found), &figure)?;
                    }
                    if self.concentrations.is_some()
                        && let Some(figure) = over_time(&given.heading, scan, &given.units)
                    {
                        let name = format!("{}-concentrations", picture_name(&given.heading, &scan.found));
                        pictures += self.pictures.draw(&name, &figure)?;
                    }
                    if let Some(path) = self
                        .concentrations
                        .as_ref()
                        .filter(|_| !scan.concentrations.is_empty())
                    {
                        write(
                            path,
                            ExistingFile::asked(self.replace),
                            &columns_over_time(scan, &given.units),
                        )?;
                        screen.say(format_args!("{}", path.display()));
                    }
                }
                if let (Some(path), false) = (&self.out, given.columns.is_empty()) {
                    write(path, ExistingFile::asked(self.replace), &given.columns)?;
                    good += 1;
                    screen.say(format_args!("{}", path.display()));
                }
            }
            Ok(())
        };
        let kept = self
            .subjects
            .each(&asked, ReadingDemand::Whole, "curvary scans", compute, take)?;
        if self.subjects.json {
            screen.json(&all)?;
        }
        kept.say(screen);
        self.pictures.say(pictures, screen);
        Ok(Ending::of(good, bad))
    }

    fn tasks(&self) -> Result<Vec<ScanTask>, Failure> {
        let known = self
            .hold
            .iter()
            .map(|text| equilibrium(text))
            .collect::<Result<Vec<_>, _>>()?;
        let mut tasks = Vec::new();
        if self.rank {
            tasks.push(ScanTask::Rank);
        }
        if self.isosbestic {
            tasks.push(ScanTask::Isosbestic);
        }
        let fitted = |task: ScanTask| {
            if self.shifted {
                ScanTask::Shifted(Box::new(task))
            } else {
                task
            }
        };
        tasks.extend(self.global.map(|way| {
            fitted(ScanTask::Global(match way {
                SchemeChoice::FirstOrder => Scheme::FirstOrder,
                SchemeChoice::Consecutive => Scheme::Consecutive,
            }))
        }));
        tasks.extend(self.scheme.clone().map(|scheme| {
            fitted(if known.is_empty() {
                ScanTask::Own(scheme)
            } else {
                ScanTask::OwnWith(scheme, known)
            })
        }));
        if tasks.is_empty() && self.difference.is_none() {
            tasks = vec![
                ScanTask::Rank,
                ScanTask::Isosbestic,
                fitted(ScanTask::Global(Scheme::FirstOrder)),
            ];
        }
        Ok(tasks)
    }

    fn compute(&self, tasks: &[ScanTask], subject: &Subject) -> ScanRunReport {
        let found: Vec<ScanFound> = tasks
            .iter()
            .map(|task| scan_run(task.clone(), &subject.run))
            .collect();
        let mut columns: Vec<(String, Vec<f64>)> = Vec::new();
        let mut trouble = None;
        let unit = subject
            .run
            .traces
            .first()
            .map(|trace| trace.x.unit.slug())
            .unwrap_or_default();
        let axis = format!("wavelength_{unit}");
        if let Some(reference) = self.difference {
            match scan_differences(&subject.run, reference.wrapping_sub(1)) {
                Err(refusal) => trouble = Some(refusal.to_string()),
                Ok(Differences {
                    wavelengths,
                    times,
                    absorbance,
                }) => {
                    columns.push((axis, wavelengths));
                    let of = |i: usize| {
                        subject.run.traces[i]
                            .held
                            .iter()
                            .find(|held| held.quantity == Quantity::TIME)
                    };
                    columns.extend(
                        times
                            .iter()
                            .zip(absorbance)
                            .enumerate()
                            .map(|(i, (time, values))| {
                                let unit = of(i).map(|held| held.unit.slug()).unwrap_or_default();
                                (format!("difference_at_{time}_{unit}"), values)
                            }),
                    );
                }
            }
        } else if let Some(scan) = found.iter().find(|scan| !scan.spectra.is_empty()) {
            columns.push((axis, scan.spectra[0].1.iter().map(|point| point.0).collect()));
            columns.extend(scan.spectra.iter().map(|(species, points)| {
                (
                    format!("absorbance_{}", species.replace([' ', ','], "_")),
                    points.iter().map(|point| point.1).collect(),
                )
            }));
        }
        ScanRunReport {
            heading: Heading::of(subject),
            units: ScanUnits::of(&subject.run),
            found,
            columns,
            trouble,
        }
    }
}

/// The picture of a global fit: the spectra of the species, one panel each.
fn of_species(heading: &Heading, scan: &ScanFound, units: &ScanUnits) -> Option<Figure> {
    if scan.spectra.is_empty() {
        return None;
    }
    Some(Figure {
        title: format!("{}: spectra of the species", heading.title()),
        doses: false,
        panels: scan
            .spectra
            .iter()
            .map(|(species, points)| Panel {
                x: format!("wavelength / {}", units.wavelength.display()),
                y: format!("absorbance of {species}"),
                share: 1.0 / scan.spectra.len() as f64,
                layers: vec![Layer::Line(points.clone())],
            })
            .collect(),
    })
}

/// The concentrations of the species over time, in one panel.
fn over_time(heading: &Heading, scan: &ScanFound, units: &ScanUnits) -> Option<Figure> {
    if scan.concentrations.is_empty() {
        return None;
    }
    let layers = (0..)
        .zip(&scan.concentrations)
        .map(|(number, (species, points))| Layer::Line(points.clone()).of_series(number).named(species))
        .collect();
    Some(Figure {
        title: format!("{}: concentrations of the species", heading.title()),
        doses: false,
        panels: vec![Panel {
            x: format!("time / {}", units.time.display()),
            y: "part of the first species' beginning".into(),
            share: 1.0,
            layers,
        }],
    })
}

fn columns_over_time(scan: &ScanFound, units: &ScanUnits) -> Vec<(String, Vec<f64>)> {
    let times = scan.concentrations[0].1.iter().map(|point| point.0).collect();
    let species = scan.concentrations.iter().map(|(species, points)| {
        (
            format!("part_{species}"),
            points.iter().map(|point| point.1).collect(),
        )
    });
    std::iter::once((format!("time_{}", units.time.slug()), times))
        .chain(species)
        .collect()
}

/// A scheme, checked before any file is read.
fn scheme(text: &str) -> Result<String, Refusal> {
    Network::parse(text).map(|_| text.trim().to_owned())
}

/// An equilibrium constant, such as `K1=2.5+-0.1`.
fn equilibrium(text: &str) -> Result<Equilibrium, Failure> {
    let Some((name, value)) = text.split_once('=') else {
        return Err(Failure::usage(format!(
            "`{text}` is no constant with its value: expected K1=2.5"
        )));
    };
    let measured = crate::courses::measured(value)?;
    Ok(Equilibrium {
        name: name.trim().to_owned(),
        value: measured.value,
        standard_error: measured.standard_error.unwrap_or(0.0),
    })
}

/// A result as `--json` shows it, with the spectra of the species.
fn shape(given: &ScanRunReport, scan: &ScanFound) -> Value {
    let spectra: Vec<Value> = scan
        .spectra
        .iter()
        .map(|(species, points)| json!({ "species": species, "points": points }))
        .collect();
    let spectra = (!spectra.is_empty()).then(|| ("spectra".to_owned(), json!(spectra)));
    let concentrations: Vec<Value> = scan
        .concentrations
        .iter()
        .map(|(species, points)| json!({ "species": species, "points": points }))
        .collect();
    let concentrations =
        (!concentrations.is_empty()).then(|| ("concentrations".to_owned(), json!(concentrations)));
    shape_with(
        &given.heading,
        &scan.found,
        spectra.into_iter().chain(concentrations),
    )
}

fn write(path: &Path, existing: ExistingFile, columns: &[(String, Vec<f64>)]) -> Result<(), Failure> {
    crate::output::write(path, existing, |file| {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(file);
        writer.write_record(columns.iter().map(|column| &column.0))?;
        for row in 0..columns.first().map_or(0, |column| column.1.len()) {
            writer.write_record(
                columns
                    .iter()
                    .map(|column| column.1.get(row).map(f64::to_string).unwrap_or_default()),
            )?;
        }
        writer.flush()
    })
    .map_err(|error| Failure::file("write", path, &error))
}
