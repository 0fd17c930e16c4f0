//! `curvary fit`: rate laws, enzyme models and formulas, with the uncertainty of every number.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use curvary_analysis::fit::Robust;
use curvary_analysis::models::formula::ModelFile;
use curvary_analysis::study::{
    Check, Comparison, FitPlan, Found, ParameterPlan, Span, WeightPlan, Work, compare_trace, fit_run,
};
use curvary_record::Diagnostic;
use serde_json::{Value, json};

use crate::Setting;
use crate::again;
use crate::courses::{CourseOptions, Level, span, unit};
use crate::ending::{Ending, Failure, Outcome};
use crate::figure::of_fit;
use crate::findings::{self, Heading, Pictures};
use crate::screen::{FAINT, STRONG, Screen, Styled};
use crate::steps::number;
use crate::subject::{Reading, Subject, Subjects};
use crate::table::{Column, Table, one_line};
use crate::telling;

/// Fit rate laws, enzyme models or a formula to curves, and keep what was found
///
/// Names of models: zero-order, first-order, second-order, second-order-unequal, reversible-first-order, consecutive,
/// biphasic and approach-to-steady-rate for time courses, each with +offset, +drift or +lag behind it where wanted;
/// michaelis-menten and others for rates over concentrations (--list shows all). Results of runs in the
/// archive are kept and found again: `curvary find result.k:0.001..0.01/s`.
#[derive(Debug, Args)]
pub(crate) struct Fit {
    #[command(flatten)]
    subjects: Subjects,
    /// List the models with their equations and parameters
    #[arg(long, exclusive = true)]
    list: bool,
    /// A model by its name
    #[arg(long, value_name = "NAME", value_delimiter = ',', group = "task")]
    model: Vec<String>,
    /// A formula over x, or over heads of columns, and parameters of your own naming, such as `b1*(1-exp(-b2*x))`
    #[arg(long, value_name = "FORMULA", group = "task")]
    formula: Option<String>,
    /// A TOML file with a formula, its variables, and starts, bounds and units of its parameters
    #[arg(long, value_name = "FILE", group = "task")]
    model_file: Option<PathBuf>,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, group = "task", conflicts_with_all = [
        "start", "hold", "bound", "unit", "response", "over", "window", "at", "weights", "robust", "level", "profile",
        "CourseOptions",
    ])]
    again: bool,
    /// Compute anew what the export itself reports (rate constants, rates, slopes), and say whether it is reproduced
    #[arg(long, group = "task")]
    reported: bool,
    /// Rank the models named, or the usual orders of reaction, and say whether the data can tell them apart
    #[arg(long, conflicts_with_all = ["formula", "model_file", "again", "reported"])]
    compare: bool,
    /// Starting values of the parameters, such as `b1=500,b2=0.0001`
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
    /// Units of a formula's parameters, such as `b2=/min`
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
    /// Variables of the formula and the columns they stand for (`x` is the running axis), such as `t=x,c=CONC`
    #[arg(
        long,
        value_name = "NAME=COLUMN",
        value_delimiter = ',',
        help_heading = "Data"
    )]
    over: Vec<String>,
    /// The stretch of the running axis that is fitted, such as 30..600s; several for stages
    #[arg(long, value_name = "FROM..TO", help_heading = "Data")]
    window: Vec<String>,
    /// Wavelength at which repeated scans are read as a time course
    #[arg(long, value_name = "NM", help_heading = "Data")]
    at: Option<f64>,
    #[command(flatten)]
    data: CourseOptions,
    /// How much each point counts: `relative` (error in proportion to the value) or the label of a trace that holds
    /// known standard deviations
    #[arg(long, value_name = "WEIGHTS", help_heading = "Errors")]
    weights: Option<String>,
    /// Let far points count less
    #[arg(long, value_name = "HOW", help_heading = "Errors")]
    robust: Option<Far>,
    #[command(flatten)]
    level: Level,
    /// Find profile-likelihood intervals too; an end that the data leave open stays open
    #[arg(long, help_heading = "Errors")]
    profile: bool,
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
struct Given {
    subject: Told,
    found: Vec<Found>,
    compared: Vec<Comparison>,
    checks: Vec<Check>,
    /// What is said where there is no result.
    said: Vec<String>,
}

impl Given {
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
struct Tally {
    good: u64,
    bad: u64,
    pictures: u64,
    shown: Vec<Value>,
}

/// What is said of a subject.
struct Told {
    heading: Heading,
    remarks: Vec<Diagnostic>,
}

/// The models with their equations and parameters.
fn list(screen: &mut Screen) -> Outcome {
    let mut table = Table::new([
        Column::new("model"),
        Column::new("equation"),
        Column::new("parameters").rank(1),
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
        "laws of time courses take +offset, +drift and +lag behind their name; t is the time, other capitals are concentrations"
    )?;
    Ok(Ending::Done)
}

impl Fit {
    /// Does it.
    pub(crate) fn run(self, setting: &Setting, screen: &mut Screen) -> Outcome {
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
                |heading, finding, screen| telling::tell(heading, &finding.found.outcome, screen),
            );
        }
        let plans = self.plans()?;
        self.pictures.make_folder()?;
        let asked = self.subjects.asked(setting)?;
        let reading = if self.formula.is_some() || self.model_file.is_some() {
            Reading::Numbers
        } else {
            Reading::Whole
        };
        let mut tally = Tally::default();
        let compute = |subjects: &[Subject]| {
            let given: Vec<Given> = subjects
                .iter()
                .map(|subject| self.compute(&plans, subject))
                .collect();
            let outcomes = given.iter().flat_map(Given::to_keep).cloned().collect();
            (given, outcomes)
        };
        let take = |place: &str, given: Result<Vec<Given>, Diagnostic>| match given {
            Ok(given) => given
                .iter()
                .try_for_each(|given| self.tell(given, &mut tally, screen)),
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
        Ok(Ending::of(tally.good, tally.bad))
    }

    /// Tells what one run gave.
    fn tell(&self, given: &Given, tally: &mut Tally, screen: &mut Screen) -> Result<(), Failure> {
        let subject = &given.subject;
        for found in &given.found {
            if found.is_result() {
                tally.good += 1;
            } else {
                tally.bad += 1;
            }
            if self.subjects.json {
                tally.shown.push(shape(subject, found));
            } else {
                telling::tell(&subject.heading.words(found), &found.outcome, screen)?;
                subject
                    .remarks
                    .iter()
                    .try_for_each(|remark| telling::remark(remark, screen))?;
            }
            if found.is_result() && self.pictures.wanted() {
                let figure = of_fit(&subject.heading.words(found), found);
                tally.pictures += self.pictures.draw(&found.outcome.id, &figure)?;
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
                    Styled(STRONG, one_line(&place)),
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

    fn compute(&self, plans: &[FitPlan], subject: &Subject) -> Given {
        let mut given = Given {
            subject: Told {
                heading: Heading::of(subject),
                remarks: subject
                    .run
                    .remarks
                    .iter()
                    .filter(|remark| remark.code.as_str() == "axes-left-open")
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
                given.found.extend(fit_run(plan, &subject.run));
            }
        }
        given
    }

    /// One plan for each model and window.
    fn plans(&self) -> Result<Vec<FitPlan>, Failure> {
        let mut bare = FitPlan {
            level: self.level.checked()?,
            profile: self.profile,
            robust: match self.robust {
                None => Robust::No,
                Some(Far::Huber) => Robust::Huber,
                Some(Far::Tukey) => Robust::Tukey,
            },
            response: self.response.clone(),
            variables: pairs(&self.over, "a variable")?,
            traces: self.data.trace.clone(),
            at: self.at,
            dead_time: self.data.dead_time,
            trusted_absorbance: self.data.trusted()?,
            concentration: self.data.concentration,
            coefficient: self.data.coefficient()?,
            path: self.data.path,
            weights: self.weights.as_ref().map(|weights| match weights.as_str() {
                "relative" => WeightPlan::Relative,
                label => WeightPlan::Errors(label.to_owned()),
            }),
            ..FitPlan::default()
        };
        if let Some(path) = &self.model_file {
            let file = model_file(path)?;
            if bare.variables.is_empty() && file.variables.len() > 1 {
                return Err(Failure::usage(format!(
                    "the model has several variables: say with --over which columns {} stand for",
                    file.variables.join(", ")
                )));
            }
            if bare.variables.is_empty() {
                bare.variables = file
                    .variables
                    .iter()
                    .map(|name| (name.clone(), "x".to_owned()))
                    .collect();
            }
            for (name, entry) in &file.parameters {
                let plan = bare.parameters.entry(name.clone()).or_default();
                plan.start = entry.start;
                plan.lower = entry.lower;
                plan.upper = entry.upper;
                plan.unit = entry.unit.as_deref().map(unit).transpose()?;
            }
            bare.formula = Some(file.formula);
        } else {
            bare.formula.clone_from(&self.formula);
        }
        self.say_of_parameters(&mut bare.parameters)?;
        if self.reported {
            return Ok(Vec::new());
        }
        let models = match (&bare.formula, self.model.as_slice(), self.compare) {
            (Some(_), _, _) | (None, [], true) => vec![String::new()],
            (None, [], false) => {
                return Err(Failure::usage(format!(
                    "nothing says what to fit: expected --model NAME (one of {}), --formula, --model-file, --compare, --again or --reported",
                    FitPlan::models().join(", ")
                )));
            }
            (None, _, true) => vec![self.model[0].clone()],
            (None, models, false) => models.to_vec(),
        };
        let windows: Vec<Option<Span>> = if self.window.is_empty() {
            vec![None]
        } else {
            self.window
                .iter()
                .map(|text| span(text).map(Some))
                .collect::<Result<_, _>>()?
        };
        let mut plans = Vec::new();
        for model in &models {
            for window in &windows {
                let plan = FitPlan {
                    model: model.clone(),
                    window: window.clone(),
                    ..bare.clone()
                };
                if !(self.compare && model.is_empty()) {
                    plan.check().map_err(Failure::usage)?;
                }
                plans.push(plan);
            }
        }
        Ok(plans)
    }

    fn say_of_parameters(&self, parameters: &mut BTreeMap<String, ParameterPlan>) -> Result<(), Failure> {
        for (name, value) in pairs(&self.start, "a starting value")? {
            parameters.entry(name).or_default().start = Some(number(&value)?);
        }
        for (name, value) in pairs(&self.hold, "a value")? {
            parameters.entry(name).or_default().held = Some(number(&value)?);
        }
        for (name, value) in pairs(&self.unit, "a unit")? {
            parameters.entry(name).or_default().unit = Some(unit(&value)?);
        }
        for (name, value) in pairs(&self.bound, "limits")? {
            let (low, high) = value.split_once("..").ok_or_else(|| {
                Failure::usage(format!("`{value}` is no pair of limits: expected LOW..HIGH"))
            })?;
            let end = |text: &str| match text.trim() {
                "" => Ok(None),
                text => number(text).map(Some),
            };
            let plan = parameters.entry(name).or_default();
            (plan.lower, plan.upper) = (end(low)?, end(high)?);
        }
        Ok(())
    }
}

/// A result as `--json` shows it, with what was said of the reading.
fn shape(subject: &Told, found: &Found) -> Value {
    let said =
        (!subject.remarks.is_empty()).then(|| ("remarks_on_reading".to_owned(), json!(subject.remarks)));
    findings::shape_with(&subject.heading, found, said)
}

/// A report as `--json` shows it, with what was computed to compare.
fn checked(subject: &Told, check: &Check) -> Value {
    let mut all = shape(subject, &check.reported);
    if let Value::Object(all) = &mut all {
        let computed: Vec<&curvary_record::Outcome> =
            check.computed.iter().map(|found| &found.outcome).collect();
        all.insert("reproduced".into(), json!(check.reproduced));
        all.insert("verdict".into(), json!(check.verdict));
        all.insert("computed".into(), json!(computed));
    }
    all
}

fn comparison(subject: &Told, compared: &Comparison) -> Value {
    let mut all = shape(subject, &compared.found);
    if let Value::Object(all) = &mut all {
        let ranked: Vec<Value> = compared
            .ranked
            .iter()
            .map(|(model, difference, weight)| json!({ "model": model, "aicc_difference": difference, "weight": weight }))
            .collect();
        let refused: Vec<Value> = compared
            .refused
            .iter()
            .map(|(model, reason)| json!({ "model": model, "reason": reason }))
            .collect();
        all.insert("ranked".into(), json!(ranked));
        all.insert("refused".into(), json!(refused));
        all.insert("told_apart".into(), json!(compared.told_apart));
        all.insert("verdict".into(), json!(compared.verdict));
        all.remove("reason");
    }
    all
}

fn ranking(subject: &Told, compared: &Comparison, screen: &mut Screen) -> Result<(), Failure> {
    writeln!(
        screen,
        "{}",
        Styled(STRONG, one_line(&subject.heading.words(&compared.found)))
    )?;
    let mut table = Table::new([
        Column::new("  model"),
        Column::new("AICc above the best").right(),
        Column::new("weight").right(),
    ]);
    for (model, difference, weight) in &compared.ranked {
        table.row([
            format!("  {model}").into(),
            format!("{difference:.1}").into(),
            format!("{weight:.3}").into(),
        ]);
    }
    write!(screen, "{}", table.draw(screen.width()))?;
    for (model, reason) in &compared.refused {
        writeln!(screen, "  {model}: {}", Styled(FAINT, one_line(reason)))?;
    }
    for remark in &compared.found.outcome.remarks {
        telling::remark(remark, screen)?;
    }
    Ok(())
}

fn pairs(texts: &[String], what: &str) -> Result<Vec<(String, String)>, Failure> {
    texts
        .iter()
        .map(|text| {
            let (name, value) = text
                .split_once('=')
                .ok_or_else(|| Failure::usage(format!("`{text}` is not {what}: expected NAME=…")))?;
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        })
        .collect()
}

fn model_file(path: &PathBuf) -> Result<ModelFile, Failure> {
    let text = std::fs::read_to_string(path).map_err(|error| Failure::file("read", path, &error))?;
    toml_edit::de::from_str(&text).map_err(|error: toml_edit::de::Error| {
        Failure::usage(format!(
            "the model file {} cannot be read: {}",
            path.display(),
            error.message()
        ))
    })
}
