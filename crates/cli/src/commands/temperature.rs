//! `curvary temperature`: Arrhenius and Eyring over runs at several temperatures.

use std::collections::BTreeMap;
use std::io::Write;

use clap::Args;
use curvary_analysis::study::{
    AtTemperature, DriftEffect, FitPlan, RunConstants, StudyError, TemperaturePlan, Work, rate_constants,
    temperature_series,
};
use curvary_record::{Diagnostic, Outcome, Unit};
use serde_json::{Value, json};

use crate::Environment;
use crate::again;
use crate::commands::find::short;
use crate::ending::{CommandResult, Ending, Failure};
use crate::figure::of_fit;
use crate::findings::{Heading, Pictures, picture_name};
use crate::screen::{ASKED, STRONG, Screen, StyledText};
use crate::subject::{ReadingDemand, Subject, Subjects};
use crate::table::{Listing, ListingColumn};
use crate::telling;

/// Arrhenius and Eyring lines through the rate constants of runs at several temperatures
///
/// The rate constants are those that earlier fits kept, or are fitted now with --model. Each run needs its temperature. A run
/// whose kept fits used different models is left out and named: say which with --model.
#[derive(Debug, Args)]
pub(crate) struct TemperatureCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = ["of", "model"])]
    again: bool,
    /// The parameter that is taken
    #[arg(long, value_name = "NAME", default_value = "k")]
    of: String,
    /// Take kept fits of this model only, and fit it now where none is kept
    #[arg(long, value_name = "NAME")]
    model: Option<String>,
    /// Standard error of every temperature, such as 0.1K; it is taken as independent from run to run
    #[arg(long, value_name = "VALUE", conflicts_with = "again")]
    temperature_error: Option<String>,
    #[command(flatten)]
    pictures: Pictures,
}

/// The rate constants of a run, or why there is none; and which of its traces are taken, where not all are.
type ConstantsOfRun = (Result<RunConstants, StudyError>, Option<(String, Vec<u32>)>);

impl TemperatureCommand {
    /// Does it.
    pub(crate) fn run(mut self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        self.model = self.model.as_deref().map(FitPlan::usual_name);
        let asked = self.subjects.asked(setting)?;
        if self.again {
            return again::results(
                (Work::Temperature, "curvary temperature"),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                |_, found| Some(of_fit(&found.outcome.model, found)),
                |_, finding, screen| telling::print_outcome("", &finding.found.outcome, screen),
            );
        }
        if let Some(model) = &self.model {
            let plan = FitPlan {
                model: model.clone(),
                ..FitPlan::default()
            };
            plan.check().map_err(Failure::usage)?;
        }
        let plan = TemperaturePlan {
            of: self.of.clone(),
            fitted: self.model.clone(),
            traces_of: BTreeMap::new(),
            temperature_error: self.temperature_error.as_deref().map(kelvins).transpose()?,
        };
        let of_run = |subject: &Subject| {
            subject
                .traces
                .clone()
                .map(|traces| (subject.run.id.to_string(), traces))
        };
        let mut points: Vec<AtTemperature> = Vec::new();
        let mut left_out: Vec<(String, String)> = Vec::new();
        let compute = |subjects: &[Subject]| {
            let given: Vec<ConstantsOfRun> = subjects
                .iter()
                .map(|subject| {
                    let own = TemperaturePlan {
                        traces_of: of_run(subject).into_iter().collect(),
                        ..plan.clone()
                    };
                    let found = rate_constants(&own, &subject.run, &subject.outcomes);
                    (found, of_run(subject))
                })
                .collect();
            (given, Vec::new())
        };
        let mut traces_of = BTreeMap::new();
        let take = |place: &str, given: Result<Vec<ConstantsOfRun>, Diagnostic>| {
            match given {
                Err(why) => left_out.push((place.to_owned(), why.message)),
                Ok(given) => {
                    for (found, own) in given {
                        traces_of.extend(own);
                        match found {
                            Ok(found) => {
                                points.extend(found.points);
                                let whys = found.left_out.into_iter();
                                left_out.extend(whys.map(|why| (place.to_owned(), why)));
                            }
                            Err(why) => left_out.push((place.to_owned(), why.to_string())),
                        }
                    }
                }
            }
            Ok(())
        };
        let told = self
            .subjects
            .each(&asked, ReadingDemand::Whole, "curvary temperature", compute, take)?;
        told.only_traces().say(screen);
        let plan = TemperaturePlan { traces_of, ..plan };
        points.sort_by(|a, b| a.kelvin.total_cmp(&b.kelvin).then_with(|| a.run.cmp(&b.run)));
        let lines = temperature_series(&plan, &points);
        let outcomes: Vec<Outcome> = lines
            .iter()
            .filter(|line| line.is_result())
            .map(|line| line.outcome.clone())
            .collect();
        let (mut good, mut bad) = (outcomes.len() as u64, left_out.len() as u64);
        let kept = self.subjects.keep(&asked, "curvary temperature", outcomes)?;
        if self.subjects.json {
            let points: Vec<Value> = points
                .iter()
                .map(|point| json!({ "run": point.run, "temperature_K": point.kelvin, "value": point.rate.0, "standard_error": point.rate.1, "unit": point.rate.2, "drift_moves": moves(point), "doubts": point.doubts }))
                .collect();
            let left_out: Vec<Value> = left_out
                .iter()
                .map(|(place, why)| json!({ "source": place, "reason": why }))
                .collect();
            let lines: Vec<&Outcome> = lines.iter().map(|line| &line.outcome).collect();
            screen
                .json(&json!({ "of": self.of, "points": points, "left_out": left_out, "results": lines }))?;
        } else {
            print(&self.of, &points, &left_out, screen)?;
            let mut said: Vec<Diagnostic> = Vec::new();
            for line in &lines {
                telling::print_beside("", &line.outcome, &said, screen)?;
                let of_constants = |remark: &&Diagnostic| {
                    matches!(remark.code.as_str(), "results-doubtful" | "same-readings")
                };
                said.extend(line.outcome.remarks.iter().filter(of_constants).cloned());
            }
        }
        for line in &lines {
            if !line.is_result() {
                bad += 1;
            } else if self.pictures.wanted() {
                self.pictures.make_folder()?;
                self.pictures.draw(
                    &picture_name(&Heading::of_several(String::new()), line),
                    &of_fit(&line.outcome.model, line),
                )?;
            }
        }
        kept.say(screen);
        if points.is_empty() {
            good = 0;
        }
        Ok(Ending::of(good, bad))
    }
}

/// By how much a drift would move a constant, where that is known.
fn moves(point: &AtTemperature) -> Option<f64> {
    match point.drift {
        DriftEffect::Moves(moved) => Some(moved),
        DriftEffect::Stated(_) | DriftEffect::Allowed | DriftEffect::Unknown(_) => None,
    }
}

/// A difference of temperatures: a degree Celsius is a kelvin here.
fn kelvins(text: &str) -> Result<f64, Failure> {
    let number = text.trim().trim_end_matches(['K', 'C', '°', ' ']);
    let unit = text.trim()[number.len()..].trim();
    match (number.parse::<f64>(), unit) {
        (Ok(value), "K" | "C" | "°C") if value > 0.0 && value.is_finite() => Ok(value),
        _ => Err(Failure::usage(format!(
            "`{text}` is no error of a temperature: expected a number above zero with its unit, such as 0.1K"
        ))),
    }
}

fn print(
    of: &str,
    points: &[AtTemperature],
    left_out: &[(String, String)],
    screen: &mut Screen,
) -> Result<(), Failure> {
    let mut table = Listing::new([
        ListingColumn::new("run"),
        ListingColumn::new("temperature").right(),
        ListingColumn::new("value").right(),
        ListingColumn::new(""),
        ListingColumn::new("unit"),
    ]);
    writeln!(
        screen,
        "{}",
        StyledText(
            STRONG,
            format!("{of} of {}", crate::screen::plural(points.len() as u64, "course"))
        )
    )?;
    for point in points {
        let (value, error) = telling::rounded(point.rate.0, point.rate.1);
        let celsius = Unit::KELVIN
            .convert(point.kelvin, &Unit::CELSIUS)
            .unwrap_or(f64::NAN);
        table.row([
            short(point.run.as_str()).into(),
            format!("{} °C", telling::significant(celsius)).into(),
            value.into(),
            if error.is_empty() {
                error
            } else {
                format!("± {error}")
            }
            .into(),
            point.rate.2.display().into(),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    for (place, why) in left_out {
        writeln!(screen, "{} {place}: {why}", StyledText(ASKED, "left out:"))?;
    }
    Ok(())
}
