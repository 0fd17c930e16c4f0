//! `curvary fit`: rate laws, enzyme models and formulas, with the uncertainty of every number.

mod display;
mod plans;

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use clap_complete::ArgValueCandidates;
use curvary_analysis::study::{
    FitPlan, LawRanking, NamedRun, ReportedCheck, TraceResult, Wanted, Work, compare_together, compare_trace,
    fit_run_for, fit_together,
};
use curvary_record::{Diagnostic, code};
use serde_json::{Value, json};

use self::display::{
    checked, comparison, names_of, of_several, predictions, ranked, ranking, shape, write_points,
};
use crate::Environment;
use crate::again;
use crate::courses::{CourseOptions, IntervalLevel};
use crate::ending::{CommandResult, Ending, Failure};
use crate::figure::{of_fit, of_runs};
use crate::findings::{Heading, Pictures, picture_name};
use crate::output::ExistingFile;
use crate::screen::{STRONG, Screen, StyledText, plural};
use crate::subject::{ReadingDemand, Selection, Subject, Subjects};
use crate::table::{Listing, ListingColumn, one_line};
use crate::telling;

/// Fit rate laws, enzyme models or a formula to curves, and keep what was found
///
/// Names of models: zero-order, first-order, second-order, second-order-unequal, reversible-first-order, consecutive,
/// biphasic and approach-to-steady-rate for time courses, each with +offset, +drift or +lag behind it where wanted;
/// michaelis-menten and others for rates over concentrations (--list shows all). Results of runs in the
/// archive are kept and found again: `curvary find result.k:0.001..0.01/s`.
///
/// Several runs are fitted at once with --share: `--share k` gives all of them one rate constant and each its own amplitude, says
/// whether they agree, and with --compare ranks laws over all of them together.
#[derive(Debug, Args)]
pub(crate) struct FitCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// List the models with their equations and parameters
    #[arg(long, exclusive = true)]
    list: bool,
    /// A model by its name
    #[arg(long, value_name = "NAME", value_delimiter = ',', group = "task", add = ArgValueCandidates::new(crate::completing::models))]
    model: Vec<String>,
    /// A formula over x, or over headers of columns, and parameters of your own naming, such as `a*exp(-k*x)+c`
    #[arg(long, value_name = "FORMULA", group = "task")]
    formula: Option<String>,
    /// A TOML file with a formula, its variables, and starts, bounds and units of its parameters
    #[arg(long, value_name = "FILE", group = "task")]
    model_file: Option<PathBuf>,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, group = "task", conflicts_with_all = [
        "start", "hold", "bound", "unit", "response", "over", "window", "leave_out", "at", "weights", "common", "robust", "level",
        "profile", "bootstrap", "monte_carlo", "CourseOptions",
    ])]
    again: bool,
    /// Compute anew what the export itself reports (rate constants, rates, slopes), and say whether it is reproduced
    #[arg(long, group = "task")]
    reported: bool,
    /// Rank the models named, or the usual orders of reaction, and say whether the data can tell them apart
    #[arg(long, conflicts_with_all = ["formula", "model_file", "again", "reported", "drift"])]
    compare: bool,
    /// Fit all runs at once, these parameters the same in all of them and the others own in each; `all` lays one curve
    /// through replicates
    #[arg(
        long,
        value_name = "NAME",
        value_delimiter = ',',
        conflicts_with_all = ["again", "reported"],
        help_heading = "Several runs"
    )]
    share: Vec<String>,
    /// Starting values of the parameters, such as `a=0.5,k=0.001,c=0.1`
    #[arg(
        long,
        value_name = "NAME=VALUE",
        value_delimiter = ',',
        help_heading = "Parameters"
    )]
    start: Vec<String>,
    /// Parameters held at a value
    #[arg(
        long,
        value_name = "NAME=VALUE",
        value_delimiter = ',',
        help_heading = "Parameters"
    )]
    hold: Vec<String>,
    /// Limits of parameters, either end may be left out, such as `k=0..1`
    #[arg(
        long,
        value_name = "NAME=LOW..HIGH",
        value_delimiter = ',',
        help_heading = "Parameters"
    )]
    bound: Vec<String>,
    /// A parameter that follows from others, such as `k2 = 2*k1`; may be given several times
    #[arg(
        long,
        value_name = "NAME=FORMULA",
        conflicts_with_all = ["again", "reported"],
        help_heading = "Parameters"
    )]
    constrain: Vec<String>,
    /// Units of a formula's parameters, such as `k=/s`
    #[arg(
        long,
        value_name = "NAME=UNIT",
        value_delimiter = ',',
        help_heading = "Parameters"
    )]
    unit: Vec<String>,
    /// What is fitted in place of the measured values, a formula over y such as `log(y)`
    #[arg(long, value_name = "FORMULA", requires = "formula", help_heading = "Data")]
    response: Option<String>,
    /// Variables of the formula and the columns they stand for (`x` is the x axis), such as `t=x,a=Absorbance`
    #[arg(
        long,
        value_name = "NAME=COLUMN",
        value_delimiter = ',',
        help_heading = "Data"
    )]
    over: Vec<String>,
    /// The range of the x axis that is fitted, such as 30..600s; several for stages
    #[arg(long, value_name = "FROM..TO", help_heading = "Data")]
    window: Vec<String>,
    /// Ranges of the x axis that are left out, such as 195..280
    #[arg(long, value_name = "FROM..TO", value_delimiter = ',', help_heading = "Data")]
    leave_out: Vec<String>,
    /// Wavelength at which repeated scans are read as a time course
    #[arg(long, value_name = "NM", help_heading = "Data")]
    at: Option<f64>,
    #[command(flatten)]
    data: CourseOptions,
    /// How much each point counts: `relative` (error in proportion to the value) or the label of a trace that holds
    /// known standard deviations
    #[arg(long, value_name = "WEIGHTS", help_heading = "Errors")]
    weights: Option<String>,
    /// Traces that hold an error which all points have in common: what one standard deviation of it does to each, with its sign
    #[arg(
        long,
        value_name = "TRACE",
        value_delimiter = ',',
        conflicts_with_all = ["again", "reported", "compare", "share", "bootstrap", "monte_carlo"],
        help_heading = "Errors"
    )]
    common: Vec<String>,
    /// Let far points count less
    #[arg(long, value_name = "HOW", help_heading = "Errors")]
    robust: Option<Far>,
    #[command(flatten)]
    level: IntervalLevel,
    /// Find profile-likelihood intervals too; an end that the data leave open stays open
    #[arg(long, help_heading = "Errors")]
    profile: bool,
    /// A second opinion about the errors: fit again so many times with the residuals dealt out anew
    #[arg(
        long,
        value_name = "ROUNDS",
        conflicts_with_all = ["drift", "share", "compare", "reported"],
        group = "SecondOpinion",
        help_heading = "Errors"
    )]
    bootstrap: Option<u32>,
    /// The same with normal noise on the curve: of the errors where they are known, else of the size of the residuals; for few points
    #[arg(
        long,
        value_name = "ROUNDS",
        conflicts_with_all = ["drift", "share", "compare", "reported"],
        group = "SecondOpinion",
        help_heading = "Errors"
    )]
    monte_carlo: Option<u32>,
    /// Seed of --bootstrap and --monte-carlo: the same one deals the same
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 1,
        requires = "SecondOpinion",
        help_heading = "Errors"
    )]
    seed: u64,
    /// Tell the curve at these places, with its error and that of one more reading
    #[arg(
        long,
        value_name = "X",
        value_delimiter = ',',
        conflicts_with_all = ["again", "reported", "compare", "share"],
        help_heading = "Curve"
    )]
    predict: Vec<f64>,
    /// Write points, fitted values, residuals and the errors of the curve as a table (CSV)
    #[arg(
        long,
        value_name = "FILE",
        conflicts_with_all = ["again", "reported", "compare", "share", "dry_run"],
        help_heading = "Curve"
    )]
    points: Option<PathBuf>,
    /// Let --points take the place of a file that is there already
    #[arg(long, requires = "points", help_heading = "Curve")]
    replace: bool,
    #[command(flatten)]
    pictures: Pictures,
}

/// How far points are made to count less.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Far {
    /// Huber's weights
    Huber,
    /// Tukey's biweight
    Tukey,
}

/// What one run gave.
struct FitRunReport {
    subject: SubjectReport,
    found: Vec<TraceResult>,
    compared: Vec<LawRanking>,
    checks: Vec<ReportedCheck>,
    /// What is said where there is no result.
    said: Vec<String>,
}

impl FitRunReport {
    /// What is worth keeping: numbers, rankings and reports, not the fits that only serve to check a report.
    fn to_keep(&self) -> impl Iterator<Item = &curvary_record::Outcome> {
        let compared = self.compared.iter().map(|compared| &compared.found);
        let reported = self.checks.iter().map(|check| &check.reported);
        let found = self.found.iter().filter(|found| found.is_result());
        found.chain(compared).chain(reported).map(|found| &found.outcome)
    }
}

/// What all runs gave together.
#[derive(Default)]
struct FitTally {
    good: u64,
    bad: u64,
    pictures: u64,
    shown: Vec<Value>,
    /// What goes into the table of points.
    points: Vec<(String, TraceResult)>,
}

/// What is said of a subject.
struct SubjectReport {
    heading: Heading,
    remarks: Vec<Diagnostic>,
}

/// The models with their equations and parameters.
fn list(screen: &mut Screen) -> CommandResult {
    let mut table = Listing::new([
        ListingColumn::new("model"),
        ListingColumn::new("equation"),
        ListingColumn::new("parameters").rank(1),
    ]);
    for card in FitPlan::list() {
        let parameters: Vec<&str> = card.parameters.iter().map(|(name, _)| name.as_str()).collect();
        table.row([
            card.name.into(),
            card.equation.into(),
            parameters.join(", ").into(),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    writeln!(
        screen,
        "the laws from zero-order to approach-to-steady-rate take +offset, +drift and +lag behind their name; t is the time, T the temperature in kelvin, f the ligand's \
         part of a total, and other capitals are concentrations"
    )?;
    Ok(Ending::Done)
}

impl FitCommand {
    /// Does it.
    pub(crate) fn run(mut self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        for name in &mut self.model {
            *name = FitPlan::usual_name(name);
        }
        if self.list {
            return list(screen);
        }
        if self.again {
            let asked = self.subjects.asked(setting)?;
            return again::results(
                (Work::Fit, "curvary fit"),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                |subject, found| Some(of_fit(&Heading::of(subject).words(found), found)),
                |heading, finding, screen| telling::print_outcome(heading, &finding.found.outcome, screen),
            );
        }
        let plans = self.plans()?;
        self.pictures.make_folder()?;
        let asked = self.subjects.asked(setting)?;
        let reading = if self.formula.is_some() || self.model_file.is_some() {
            ReadingDemand::Numbers
        } else {
            ReadingDemand::Whole
        };
        if !self.share.is_empty() {
            return self.together(&plans, &asked, reading, screen);
        }
        let mut tally = FitTally::default();
        let compute = |subjects: &[Subject]| {
            let given: Vec<FitRunReport> = subjects
                .iter()
                .map(|subject| self.compute(&plans, subject))
                .collect();
            let outcomes = given.iter().flat_map(FitRunReport::to_keep).cloned().collect();
            (given, outcomes)
        };
        let take = |place: &str, given: Result<Vec<FitRunReport>, Diagnostic>| match given {
            Ok(given) => given
                .iter()
                .try_for_each(|given| self.print_run(given, &mut tally, screen)),
            Err(why) => {
                tally.bad += 1;
                if self.subjects.json {
                    tally.shown.push(json!({
                        "source": place, "termination": "not read", "reason": why.message, "parameters": [],
                    }));
                }
                screen.complain(Some(place), &why, &crate::drawing::NoTexts);
                Ok(())
            }
        };
        let kept = self
            .subjects
            .each(&asked, reading, "curvary fit", compute, take)?;
        if self.subjects.json {
            match tally.shown.as_slice() {
                [one] if asked.len() == 1 => screen.json(one)?,
                many => screen.json(&many)?,
            }
        }
        kept.say(screen);
        self.pictures.say(tally.pictures, screen);
        if let Some(path) = &self.points {
            write_points(path, ExistingFile::asked(self.replace), &tally.points)?;
            screen.say(format_args!("points in {}", path.display()));
        }
        Ok(Ending::of(tally.good, tally.bad))
    }

    /// All runs at once, once for each model and window.
    fn together(
        &self,
        plans: &[FitPlan],
        asked: &Selection,
        reading: ReadingDemand,
        screen: &mut Screen,
    ) -> CommandResult {
        let subjects = asked.all(reading)?;
        Selection::report_aside(&subjects, screen);
        let names = names_of(&subjects);
        let runs: Vec<NamedRun<'_>> = subjects
            .iter()
            .zip(&names)
            .map(|(subject, name)| NamedRun {
                run: &subject.run,
                name,
            })
            .collect();
        let heading = Heading::of_several(format!("{} together", plural(runs.len() as u64, "run")));
        let mut tally = FitTally::default();
        let mut outcomes = Vec::new();
        for plan in plans {
            let plan = &FitPlan {
                traces_of: subjects
                    .iter()
                    .filter_map(|subject| Some((subject.run.id.to_string(), subject.traces.clone()?)))
                    .collect(),
                ..plan.clone()
            };
            let found = if self.compare {
                compare_together(plan, &self.model, &runs)
            } else {
                fit_together(plan, &runs)
            };
            let Some(found) = found else { continue };
            let good = found.found.is_result() || !found.ranked.is_empty();
            *(if good { &mut tally.good } else { &mut tally.bad }) += 1;
            if self.subjects.json {
                tally.shown.push(of_several(&heading, &found));
            } else if found.ranked.is_empty() {
                telling::print_outcome(&heading.words(&found.found), &found.found.outcome, screen)?;
            } else {
                let words = heading.words(&found.found);
                ranked(
                    &words,
                    &found.ranked,
                    &found.refused,
                    &found.found.outcome,
                    screen,
                )?;
            }
            if good {
                outcomes.push(found.found.outcome.clone());
                if self.pictures.wanted() {
                    let figure = of_runs(&heading.words(&found.found), &found.sets);
                    tally.pictures += self
                        .pictures
                        .draw(&picture_name(&heading, &found.found), &figure)?;
                }
            }
        }
        let kept = self.subjects.keep(asked, "curvary fit", outcomes)?;
        if self.subjects.json {
            match tally.shown.as_slice() {
                [one] => screen.json(one)?,
                many => screen.json(&many)?,
            }
        }
        kept.say(screen);
        self.pictures.say(tally.pictures, screen);
        Ok(Ending::of(tally.good, tally.bad))
    }

    /// Tells what one run gave.
    fn print_run(
        &self,
        given: &FitRunReport,
        tally: &mut FitTally,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        let subject = &given.subject;
        for found in &given.found {
            // Numbers that say nothing are told, and are no success.
            if found.is_determined() {
                tally.good += 1;
            } else {
                tally.bad += 1;
            }
            if self.subjects.json {
                tally.shown.push(shape(subject, found));
            } else {
                telling::print_outcome(&subject.heading.words(found), &found.outcome, screen)?;
                predictions(found, screen)?;
                subject
                    .remarks
                    .iter()
                    .try_for_each(|remark| telling::remark(remark, screen))?;
            }
            if found.is_result() && self.points.is_some() {
                tally.points.push((subject.heading.words(found), found.clone()));
            }
            if found.is_result() && self.pictures.wanted() {
                let figure = of_fit(&subject.heading.words(found), found);
                tally.pictures += self
                    .pictures
                    .draw(&picture_name(&subject.heading, found), &figure)?;
            }
        }
        for compared in &given.compared {
            tally.good += 1;
            if self.subjects.json {
                tally.shown.push(comparison(subject, compared));
            } else {
                ranking(subject, compared, screen)?;
            }
        }
        for check in &given.checks {
            tally.good += 1;
            if self.subjects.json {
                tally.shown.push(checked(subject, check));
            } else {
                let place = subject.heading.words(&check.reported);
                writeln!(
                    screen,
                    "{}\n  {}",
                    StyledText(STRONG, one_line(&place)),
                    one_line(&check.verdict)
                )?;
                check
                    .reported
                    .outcome
                    .remarks
                    .iter()
                    .try_for_each(|remark| telling::remark(remark, screen))?;
            }
        }
        if !self.subjects.json {
            for said in &given.said {
                writeln!(screen, "  {}", one_line(said))?;
            }
        }
        Ok(())
    }

    fn compute(&self, plans: &[FitPlan], subject: &Subject) -> FitRunReport {
        let mut given = FitRunReport {
            subject: SubjectReport {
                heading: Heading::of(subject),
                remarks: subject
                    .run
                    .remarks
                    .iter()
                    .filter(|remark| remark.code == code::AXES_LEFT_OPEN)
                    .cloned()
                    .collect(),
            },
            found: Vec::new(),
            compared: Vec::new(),
            checks: Vec::new(),
            said: Vec::new(),
        };
        if self.reported {
            given.checks = curvary_analysis::study::reported(&subject.run);
            if given.checks.is_empty() {
                given.said.push(format!(
                    "{}: the export reports no result of its own",
                    subject.place
                ));
            }
        } else if self.compare {
            if let Some(plan) = plans.first() {
                for compared in compare_trace(plan, &self.model, &subject.run) {
                    match compared {
                        Ok(compared) => given.compared.push(compared),
                        Err(found) => given.found.push(*found),
                    }
                }
            }
        } else {
            for plan in plans {
                let wanted = Wanted {
                    band: self.points.is_some() || self.pictures.wanted(),
                    places: self.predict.clone(),
                };
                given.found.extend(fit_run_for(plan, &subject.run, &wanted));
            }
        }
        given.found.retain(|found| subject.means(found.trace));
        given
            .compared
            .retain(|compared| subject.means(compared.found.trace));
        given.checks.retain(|check| subject.means(check.reported.trace));
        given
    }
}
