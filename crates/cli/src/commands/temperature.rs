//! `curvary temperature`: Arrhenius and Eyring over runs at several temperatures.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use curvary_analysis::study::{AtTemperature, FitPlan, fit_run, temperature_series};
use curvary_record::{Diagnostic, Origin, Outcome as Kept, Quantity, Unit};
use serde_json::{Value, json};

use crate::Setting;
use crate::commands::find::short;
use crate::ending::{Ending, Failure, Outcome};
use crate::figure::{Kind, of_fit};
use crate::screen::{ASKED, STRONG, Screen, Styled};
use crate::subject::{Reading, Subject, Subjects};
use crate::table::{Column, Table};
use crate::telling;

/// Arrhenius and Eyring lines through the rate constants of runs at several temperatures
///
/// The rate constants are those that earlier fits kept, or are fitted now with --model. Each run needs its temperature. A run
/// whose kept fits disagree about the model is left out and told: name the model.
#[derive(Debug, Args)]
pub(crate) struct Temperature {
    #[command(flatten)]
    subjects: Subjects,
    /// The parameter that is taken
    #[arg(long, value_name = "NAME", default_value = "k")]
    of: String,
    /// Take kept fits of this model only, and fit it now where none is kept
    #[arg(long, value_name = "NAME")]
    model: Option<String>,
    /// Draw the lines into a folder
    #[arg(long, value_name = "DIR", help_heading = "Pictures")]
    figures: Option<PathBuf>,
    /// Kind of picture
    #[arg(long, value_name = "KIND", default_value = "svg", help_heading = "Pictures")]
    picture: Kind,
}

impl Temperature {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
        if let Some(model) = &self.model {
            let plan = FitPlan {
                model: model.clone(),
                ..FitPlan::default()
            };
            plan.check().map_err(Failure::usage)?;
        }
        let asked = self.subjects.asked(setting)?;
        let mut points: Vec<AtTemperature> = Vec::new();
        let mut left_out: Vec<(String, String)> = Vec::new();
        let compute = |subjects: &[Subject]| {
            let given: Vec<Result<Vec<AtTemperature>, String>> =
                subjects.iter().map(|subject| self.points(subject)).collect();
            (given, Vec::new())
        };
        let take = |place: &str, given: Result<Vec<Result<Vec<AtTemperature>, String>>, Diagnostic>| {
            match given {
                Err(why) => left_out.push((place.to_owned(), why.message)),
                Ok(given) => {
                    for found in given {
                        match found {
                            Ok(found) => points.extend(found),
                            Err(why) => left_out.push((place.to_owned(), why)),
                        }
                    }
                }
            }
            Ok(())
        };
        self.subjects
            .each(&asked, Reading::Whole, "curvary temperature", compute, take)?;
        points.sort_by(|a, b| a.kelvin.total_cmp(&b.kelvin).then_with(|| a.run.cmp(&b.run)));
        let lines = temperature_series(&self.of, &points);
        let outcomes: Vec<Kept> = lines
            .iter()
            .filter(|line| line.is_result())
            .map(|line| line.outcome.clone())
            .collect();
        let (mut good, mut bad) = (outcomes.len() as u64, left_out.len() as u64);
        // A file is no run of the archive, and a line through it has no place there.
        let kept = if asked.all_kept() {
            self.subjects.keep(&asked, "curvary temperature", outcomes)?
        } else {
            Default::default()
        };
        if self.subjects.json {
            let points: Vec<Value> = points
                .iter()
                .map(|point| json!({ "run": point.run, "temperature_K": point.kelvin, "value": point.rate.0, "standard_error": point.rate.1, "unit": point.rate.2 }))
                .collect();
            let left_out: Vec<Value> = left_out
                .iter()
                .map(|(place, why)| json!({ "source": place, "reason": why }))
                .collect();
            let lines: Vec<&Kept> = lines.iter().map(|line| &line.outcome).collect();
            screen
                .json(&json!({ "of": self.of, "points": points, "left_out": left_out, "results": lines }))?;
        } else {
            print(&self.of, &points, &left_out, screen)?;
            for line in &lines {
                telling::tell("", &line.outcome, screen)?;
            }
        }
        for line in &lines {
            if !line.is_result() {
                bad += 1;
            } else if let Some(folder) = &self.figures {
                std::fs::create_dir_all(folder).map_err(|error| Failure::file("make", folder, &error))?;
                let path = folder.join(format!("{}.{}", line.outcome.id, self.picture.ending()));
                of_fit(&line.outcome.model, line).write(&path, self.picture)?;
            }
        }
        kept.say(screen);
        if points.is_empty() {
            good = 0;
        }
        Ok(Ending::of(good, bad))
    }

    /// The rate constants of one run, or why there is none.
    fn points(&self, subject: &Subject) -> Result<Vec<AtTemperature>, String> {
        let run = &subject.run;
        // A cell changer may hold each trace at a temperature of its own.
        let of_trace = |number: Option<u32>| {
            let trace = run.traces.get(number? as usize)?;
            let held = trace
                .held
                .iter()
                .find(|held| held.quantity == Quantity::TEMPERATURE);
            held.and_then(|held| held.unit.convert(held.value, &Unit::KELVIN).ok())
                .or_else(|| trace.fields.si("temperature"))
        };
        let of_run = || {
            let disputed = run.fields.disputes().any(|(key, claims)| {
                key.as_str() == "temperature" && !matches!(claims[0].origin, Origin::Note { .. })
            });
            if disputed {
                return Err("its temperature is in dispute; a note settles it".to_owned());
            }
            let unknown = "its temperature is not known; `curvary note RUN temperature='37 °C'` says it";
            run.fields.si("temperature").ok_or_else(|| unknown.to_owned())
        };
        let has = |outcome: &&Kept| {
            outcome.kind == "fit"
                && outcome.runs.len() == 1
                && outcome
                    .parameter(&self.of)
                    .is_some_and(|parameter| parameter.value.is_some())
                && self.model.as_ref().is_none_or(|model| *model == outcome.model)
        };
        let mut fits: Vec<Kept> = subject.outcomes.iter().filter(has).cloned().collect();
        if let Some(model) = self.model.as_ref().filter(|_| fits.is_empty()) {
            let plan = FitPlan {
                model: model.clone(),
                ..FitPlan::default()
            };
            let found = fit_run(&plan, run);
            if let Some(refused) = found.iter().find(|found| !found.is_result()) {
                return Err(refused.outcome.termination.clone());
            }
            fits = found.into_iter().map(|found| found.outcome).collect();
        }
        let models: std::collections::BTreeSet<&str> = fits.iter().map(|fit| fit.model.as_str()).collect();
        if models.len() > 1 {
            let models: Vec<&str> = models.into_iter().collect();
            return Err(format!(
                "its kept fits are of {}: name one with --model",
                models.join(" and ")
            ));
        }
        // Of several fits of one trace the last one kept counts.
        let mut latest: Vec<&Kept> = Vec::new();
        for fit in &fits {
            latest.retain(|known| known.trace != fit.trace);
            latest.push(fit);
        }
        if latest.is_empty() {
            of_run()?;
            return Err(format!("no fit with `{}` is kept; --model fits one now", self.of));
        }
        latest
            .into_iter()
            .map(|fit| {
                let parameter = fit
                    .parameter(&self.of)
                    .ok_or_else(|| format!("the fit has no `{}`", self.of))?;
                let (value, unit) = parameter
                    .value
                    .zip(parameter.unit.clone())
                    .ok_or_else(|| format!("its `{}` has no value or no unit", self.of))?;
                Ok(AtTemperature {
                    run: run.id.clone(),
                    kelvin: of_trace(fit.trace).map_or_else(of_run, Ok)?,
                    rate: (value, parameter.standard_error, unit),
                })
            })
            .collect()
    }
}

fn print(
    of: &str,
    points: &[AtTemperature],
    left_out: &[(String, String)],
    screen: &mut Screen,
) -> Result<(), Failure> {
    let mut table = Table::new([
        Column::new("run"),
        Column::new("temperature").right(),
        Column::new("value").right(),
        Column::new(""),
        Column::new("unit"),
    ]);
    writeln!(
        screen,
        "{}",
        Styled(
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
        writeln!(screen, "{} {place}: {why}", Styled(ASKED, "left out:"))?;
    }
    Ok(())
}
