//! `curvary rates`: initial rates, activities, and enzyme models over the rates of a series.

use std::io::Write;

use clap::Args;
use curvary_analysis::enzymes::{State, checklist, linear_plots};
use curvary_analysis::models::law::Law;
use curvary_analysis::study::{
    AssayPlan, RatePlan, RatePoint, RateWeights, RunRates, SeriesFit, SeriesPlan, TraceResult, WhichRate,
    Work, fit_series, label_of, rates_run,
};
use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, Unit, code};
use serde_json::Value;

use crate::Environment;
use crate::again;
use crate::courses::{CourseOptions, IntervalLevel, measured, relative_error, span, together};
use crate::ending::{CommandResult, Ending, Failure};
use crate::figure::{Figure, Layer, Panel, of_fit};
use crate::findings::{Heading, Pictures, picture_name, shape};
use crate::screen::{ASKED, FAINT, STRONG, Screen, StyledText};
use crate::subject::{ReadingDemand, Subject, Subjects};
use crate::table::{Listing, ListingColumn, TableCell, one_line};
use crate::telling;

/// Initial rates of time courses, activities, and enzyme models over the rates of a series
///
/// The rate is the slope at the beginning by what the whole course says: a law that may bend, burst or lag. --straight
/// takes the longest straight beginning, --window a stretch by hand, --conversion the beginning up to a part of the whole
/// change; what such a line may hide of a bend is in its error. Results of runs in the archive are kept:
/// `curvary find result.km:<50uM`. For research and teaching, never for diagnosis.
#[derive(Debug, Args)]
pub(crate) struct RatesCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = [
        "window", "conversion", "straight", "rate", "fewest", "blank", "consumed", "total_volume", "enzyme_volume", "dilution", "protein",
        "per_turnover", "law", "compare", "weights", "profile", "together", "enzyme", "level", "checklist", "CourseOptions",
    ])]
    again: bool,
    /// The stretch of time taken, such as 0..60s
    #[arg(long, value_name = "FROM..TO", group = "stretch", help_heading = "Rates")]
    window: Option<String>,
    /// Take the beginning up to this part of the whole change
    #[arg(long, value_name = "PERCENT", group = "stretch", help_heading = "Rates")]
    conversion: Option<f64>,
    /// Take the longest straight beginning, by a line
    #[arg(long, group = "stretch", help_heading = "Rates")]
    straight: bool,
    /// The rate that goes on to laws and activities where a course has a burst or a lag [default: beginning; of a lag, steady]
    #[arg(long, value_name = "WHICH", value_enum, help_heading = "Rates")]
    rate: Option<PhaseChoice>,
    /// Fewest points of a course, or of a straight beginning
    #[arg(long, value_name = "N", default_value_t = 5, help_heading = "Rates")]
    fewest: usize,
    /// Blanks, by number (from 1) or label of the trace; the mean of their rates is taken off
    #[arg(long, value_name = "TRACE", value_delimiter = ',', help_heading = "Rates")]
    blank: Vec<String>,
    /// The signal is of a substance that is used up: a fall is a positive rate
    #[arg(long, help_heading = "Rates")]
    consumed: bool,
    #[command(flatten)]
    data: CourseOptions,
    /// Volume in the cell, mL; with --enzyme-volume gives activities in U and katal; `3.00+-0.02` gives its error too, as in all of
    /// these
    #[arg(
        long,
        value_name = "ML",
        requires = "enzyme_volume",
        help_heading = "Activities"
    )]
    total_volume: Option<String>,
    /// Volume of enzyme solution in the cell, mL
    #[arg(
        long,
        value_name = "ML",
        requires = "total_volume",
        help_heading = "Activities"
    )]
    enzyme_volume: Option<String>,
    /// Times the enzyme solution was diluted before
    #[arg(long, value_name = "TIMES", help_heading = "Activities")]
    dilution: Option<String>,
    /// Protein in the undiluted enzyme solution, mg/mL
    #[arg(long, value_name = "MG_PER_ML", help_heading = "Activities")]
    protein: Option<String>,
    /// Molecules of the followed substance for each turnover
    #[arg(long, value_name = "N", default_value_t = 1.0, help_heading = "Activities")]
    per_turnover: f64,
    /// Fit this law to the rates over concentrations, such as michaelis-menten
    #[arg(long, value_name = "NAME", value_delimiter = ',', help_heading = "Series")]
    law: Vec<String>,
    /// Rank laws and say whether the data can tell them apart: of inhibition over all inhibitor levels, without an inhibitor
    /// Michaelis-Menten, Hill and substrate inhibition
    #[arg(long, help_heading = "Series")]
    compare: bool,
    /// How much each rate counts in a law
    #[arg(long, value_name = "HOW", value_enum, help_heading = "Series")]
    weights: Option<RateWeighting>,
    /// Find profile-likelihood intervals of a law's parameters and of what follows from them too
    #[arg(long, help_heading = "Series")]
    profile: bool,
    /// Take the rates of all runs together as one series
    #[arg(long, help_heading = "Series")]
    together: bool,
    /// Concentration of active sites, mol/L, for kcat; the run's own field if it states one
    #[arg(long, value_name = "MOL_PER_L", help_heading = "Series")]
    enzyme: Option<f64>,
    #[command(flatten)]
    level: IntervalLevel,
    /// Show what a report of enzyme kinetics should state (after STRENDA), and what these runs do state
    #[arg(long, help_heading = "Series")]
    checklist: bool,
    #[command(flatten)]
    pictures: Pictures,
}

/// A rate of a course with a burst or a lag.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum PhaseChoice {
    /// At the beginning.
    Beginning,
    /// The steady one.
    Steady,
}

/// How much each rate counts.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum RateWeighting {
    /// By the rates' own errors.
    Own,
    /// By an error in proportion to the rate.
    Relative,
}

/// What one run gave.
struct RateRunReport {
    heading: Heading,
    rates: RunRates,
    series: Vec<SeriesFit>,
    enzyme: Option<f64>,
    stated: Vec<String>,
}

impl RateRunReport {
    /// Its rates, and the laws through them.
    fn results(&self) -> impl Iterator<Item = &TraceResult> {
        let series = self.series.iter().map(|series| &series.found);
        self.rates.found.iter().chain(series)
    }
}

/// What all runs gave so far.
#[derive(Default)]
struct RateTally {
    good: u64,
    bad: u64,
    /// Results as `--json` shows them.
    shown: Vec<Value>,
    /// Rates of all runs, and concentrations of their enzymes, where they are taken together.
    points: Vec<RatePoint>,
    enzymes: Vec<f64>,
    /// What goes into no law of several runs together.
    left_out: Vec<String>,
}

fn refuse_unless_of_rates(law: &str) -> Result<(), Failure> {
    if Law::named(law).is_some_and(Law::is_of_rates) {
        return Ok(());
    }
    let names: Vec<&str> = curvary_analysis::models::law::LAWS
        .iter()
        .filter(|law| law.is_of_rates())
        .map(|law| law.name)
        .collect();
    Err(Failure::usage(format!(
        "no law is called `{law}`; there are {}",
        names.join(", ")
    )))
}

impl RatesCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if self.again {
            let asked = self.subjects.asked(setting)?;
            return again::results(
                (Work::Rates, "curvary rates"),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                |subject, found| Some(picture(&Heading::of(subject).words(found), found)),
                |heading, finding, screen| telling::print_outcome(heading, &finding.found.outcome, screen),
            );
        }
        self.law.iter().try_for_each(|law| refuse_unless_of_rates(law))?;
        let level = self.level.checked()?;
        let plan = self.plan()?;
        self.pictures.make_folder()?;
        let asked = self.subjects.asked(setting)?;
        let compute = |subjects: &[Subject]| self.compute_all((&plan, level), subjects);
        let mut tally = RateTally::default();
        let take = |place: &str, given: Result<Vec<RateRunReport>, Diagnostic>| {
            match given {
                Ok(given) => {
                    for given in given {
                        self.take(place, given, &mut tally, screen)?;
                    }
                }
                Err(why) => {
                    tally.bad += 1;
                    screen.complain(Some(place), &why, &crate::drawing::NoTexts);
                }
            }
            Ok(())
        };
        let kept = self
            .subjects
            .each(&asked, ReadingDemand::Whole, "curvary rates", compute, take)?;
        if self.together {
            kept.only_results().say(screen);
            let enzyme = self.enzyme.or_else(|| one(&tally.enzymes));
            let mut series = self.series((&plan, level), &tally.points, enzyme);
            for series in &mut series {
                let remarks = &mut series.found.outcome.remarks;
                remarks.extend(tally.left_out.iter().map(|why| left_out_of_law(why)));
                if self.enzyme.is_none() && tally.enzymes.len() > 1 && one(&tally.enzymes).is_none() {
                    remarks.push(Diagnostic::warning(
                        Code::new("fit-remark"),
                        "no kcat: the runs state different concentrations of the enzyme; --enzyme says which is meant",
                    ));
                }
            }
            let outcomes = series
                .iter()
                .filter(|series| series.found.is_result())
                .map(|series| series.found.outcome.clone())
                .collect();
            self.subjects.keep(&asked, "curvary rates", outcomes)?.say(screen);
            for series in &series {
                self.take_together(series, &mut tally, screen)?;
            }
        } else {
            kept.say(screen);
        }
        if self.subjects.json {
            screen.json(&tally.shown)?;
        }
        Ok(Ending::of(tally.good, tally.bad))
    }

    /// What these runs give, and which results of it are kept.
    fn compute_all(
        &self,
        (plan, level): (&RatePlan, f64),
        subjects: &[Subject],
    ) -> (Vec<RateRunReport>, Vec<Outcome>) {
        let given: Vec<RateRunReport> = subjects
            .iter()
            .map(|subject| {
                let mut own = plan.clone();
                if let Some(meant) = &subject.traces {
                    let numbers = meant.iter().map(|number| (number + 1).to_string());
                    // What was named on the command line and is meant by the query, too.
                    let named = |number: &String| {
                        let place = number.parse::<usize>().unwrap_or_default();
                        let trace = place.checked_sub(1).and_then(|at| subject.run.traces.get(at));
                        plan.traces.is_empty()
                            || plan.traces.contains(number)
                            || trace.is_some_and(|trace| plan.traces.contains(&label_of(trace)))
                    };
                    own.traces = numbers.filter(named).collect();
                }
                self.compute((&own, level), subject)
            })
            .collect();
        let outcomes = given
            .iter()
            .flat_map(RateRunReport::results)
            .filter(|found| found.is_result())
            .map(|found| found.outcome.clone())
            .collect();
        (given, outcomes)
    }

    /// Shows and counts what one run gave, and sets its rates aside where they are taken together.
    fn take(
        &self,
        place: &str,
        given: RateRunReport,
        tally: &mut RateTally,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        for found in given.results() {
            if found.is_result() {
                tally.good += 1;
                self.draw(&given, found)?;
            } else {
                tally.bad += 1;
            }
            if self.subjects.json {
                tally.shown.push(shape(&given.heading, found));
            }
        }
        if !self.subjects.json {
            print(&given, self.together, screen)?;
            if self.checklist {
                stated(&given, screen)?;
            }
        }
        if self.together {
            tally.left_out.extend(given.without_law(place));
            tally.points.extend(given.rates.points);
            tally.enzymes.extend(given.enzyme);
        }
        Ok(())
    }

    /// Shows and counts what the rates of all runs give together.
    fn take_together(
        &self,
        series: &SeriesFit,
        tally: &mut RateTally,
        screen: &mut Screen,
    ) -> Result<(), Failure> {
        if series.found.is_result() {
            tally.good += 1;
        } else {
            tally.bad += 1;
        }
        let count = crate::screen::plural(tally.points.len() as u64, "rate");
        let given = RateRunReport {
            heading: Heading::of_several(count + " together"),
            rates: RunRates::default(),
            series: Vec::new(),
            enzyme: None,
            stated: Vec::new(),
        };
        self.draw(&given, &series.found)?;
        if self.subjects.json {
            tally.shown.push(shape(&given.heading, &series.found));
            return Ok(());
        }
        telling::print_outcome(&given.heading.title(), &series.found.outcome, screen)?;
        ranking(series, screen)
    }

    fn plan(&self) -> Result<RatePlan, Failure> {
        if let Some(percent) = self
            .conversion
            .filter(|percent| !(*percent > 0.0 && *percent <= 100.0))
        {
            return Err(Failure::usage(format!(
                "`--conversion {percent}` lies not between 0 and 100"
            )));
        }
        Ok(RatePlan {
            window: self.window.as_deref().map(span).transpose()?,
            conversion: self.conversion,
            fewest: self.fewest,
            straight: self.straight,
            which: self.rate.map(|rate| match rate {
                PhaseChoice::Beginning => WhichRate::Beginning,
                PhaseChoice::Steady => WhichRate::Steady,
            }),
            blanks: self.blank.clone(),
            traces: self.data.trace.clone(),
            consumed: self.consumed,
            dead_time: self.data.dead_time,
            trusted_absorbance: self.data.trusted()?,
            concentration: self.data.concentration,
            coefficient: self.data.coefficient()?,
            path: self.data.path()?,
            scale_error: self.data.scale_error()?,
            drift: self.data.drift()?,
            assay: self.assay()?,
        })
    }

    /// How the assay was put together, where volumes were said.
    fn assay(&self) -> Result<Option<AssayPlan>, Failure> {
        let said = |text: &Option<String>| text.as_deref().map(measured).transpose();
        let (Some(total), Some(enzyme)) = (said(&self.total_volume)?, said(&self.enzyme_volume)?) else {
            return Ok(None);
        };
        let (dilution, protein) = (said(&self.dilution)?, said(&self.protein)?);
        Ok(Some(AssayPlan {
            total_volume: total.value,
            enzyme_volume: enzyme.value,
            dilution: dilution.map_or(1.0, |dilution| dilution.value),
            protein: protein.map(|protein| protein.value),
            per_turnover: self.per_turnover,
            volumes_error: together([
                relative_error(total),
                relative_error(enzyme),
                dilution.and_then(relative_error),
            ]),
            protein_error: protein.and_then(relative_error),
        }))
    }

    fn compute(&self, (plan, level): (&RatePlan, f64), subject: &Subject) -> RateRunReport {
        let rates = rates_run(plan, &subject.run);
        let enzyme = subject
            .run
            .fields
            .get("enzyme-concentration")
            .and_then(|claim| match claim.value {
                curvary_record::Value::Number(value) => {
                    claim.unit.as_ref()?.convert(value, &Unit::MOLE_PER_LITRE).ok()
                }
                _ => None,
            });
        let mut series = if self.together {
            Vec::new()
        } else {
            self.series((plan, level), &rates.points, self.enzyme.or(enzyme))
        };
        for series in &mut series {
            let all = rates.left_out.iter();
            series
                .found
                .outcome
                .remarks
                .extend(all.map(|why| left_out_of_law(why)));
        }
        RateRunReport {
            heading: Heading::of(subject),
            rates,
            series,
            enzyme,
            stated: subject
                .run
                .fields
                .iter()
                .map(|(key, _)| key.as_str().to_owned())
                .collect(),
        }
    }

    fn series(
        &self,
        (rates, level): (&RatePlan, f64),
        points: &[RatePoint],
        enzyme: Option<f64>,
    ) -> Vec<SeriesFit> {
        let of = |law: &str, compare: bool| {
            let plan = SeriesPlan {
                law: law.to_owned(),
                compare,
                enzyme_mol_per_litre: enzyme,
                level,
                weights: match self.weights {
                    None => RateWeights::Equal,
                    Some(RateWeighting::Own) => RateWeights::Own,
                    Some(RateWeighting::Relative) => RateWeights::Relative,
                },
                profile: self.profile,
                initial_rates: rates.clone(),
            };
            fit_series(&plan, points)
        };
        let mut all: Vec<SeriesFit> = self.law.iter().map(|law| of(law, false)).collect();
        if self.compare {
            all.push(of("inhibition", true));
        }
        all
    }

    fn draw(&self, given: &RateRunReport, found: &TraceResult) -> Result<(), Failure> {
        if !found.is_result() || !self.pictures.wanted() {
            return Ok(());
        }
        let figure = picture(&given.heading.words(found), found);
        let name = picture_name(&given.heading, found);
        self.pictures.draw(&name, &figure)?;
        // The classical straight lines are pictures, never the fit: they distort the errors.
        if found.outcome.model == "michaelis-menten"
            && let Ok(lines) = linear_plots(&found.drawn.x, &found.drawn.y)
        {
            let value = |name: &str| found.outcome.parameter(name).and_then(|own| own.value);
            let law = value("Vmax").zip(value("Km"));
            let unit = |title: &str| title.split_once(" / ").map_or("", |(_, unit)| unit).to_owned();
            let (of_s, of_v) = (unit(&found.drawn.x_title), unit(&found.drawn.y_title));
            let (s, v) = (format!("S in {of_s}"), format!("v in {of_v}"));
            let kinds: [StraightPlot; 3] = [
                (
                    "reciprocals",
                    format!("1/S, {s}"),
                    format!("1/v, {v}"),
                    lines.double_reciprocal,
                    |vmax, km, x| (1.0 + km * x) / vmax,
                ),
                (
                    "hanes",
                    s.clone(),
                    format!("S/v, {s}, {v}"),
                    lines.hanes,
                    |vmax, km, x| (km + x) / vmax,
                ),
                (
                    "eadie",
                    format!("v/S, {s}, {v}"),
                    v.clone(),
                    lines.eadie_hofstee,
                    |vmax, km, x| vmax - km * x,
                ),
            ];
            for (kind, x, y, points, straight) in kinds {
                // The law as it was fitted to the rates themselves, from the axis on.
                let end = points.iter().fold(0.0_f64, |end, (x, _)| end.max(*x));
                let law = law.map_or_else(Vec::new, |(vmax, km)| {
                    vec![(0.0, straight(vmax, km, 0.0)), (end, straight(vmax, km, end))]
                });
                let figure = Figure {
                    title: format!(
                        "{}: {}, for the eye alone",
                        given.heading.words(found),
                        named_after(kind)
                    ),
                    doses: false,
                    panels: vec![Panel {
                        x,
                        y,
                        share: 1.0,
                        layers: vec![
                            Layer::Points(points),
                            straight_errors(kind, &found.drawn.bars).named("one standard error"),
                            Layer::Line(law).named("the law fitted to the rates"),
                        ],
                    }],
                };
                self.pictures.draw(&format!("{name}-{kind}"), &figure)?;
            }
        }
        Ok(())
    }
}

impl RateRunReport {
    /// What of a run goes into no law of several runs together.
    fn without_law(&self, place: &str) -> Vec<String> {
        let mut all: Vec<String> = self
            .rates
            .left_out
            .iter()
            .map(|why| format!("{place}: {why}"))
            .collect();
        let has_rate = |found: &&TraceResult| {
            found.is_result()
                && found.outcome.kind == OutcomeKind::InitialRate
                && !found.outcome.model.ends_with("blank")
        };
        let without = self.rates.found.iter().filter(|found| !found.is_result()).count();
        let rates = self.rates.found.iter().filter(has_rate).count();
        if without > 0 {
            let many = crate::screen::plural(without as u64, "trace");
            all.push(format!("{place}: {many} without a rate"));
        }
        // Of a run that has concentrations, each trace without one says so itself.
        if rates > self.rates.points.len() {
            let many = crate::screen::plural((rates - self.rates.points.len()) as u64, "rate");
            all.push(format!(
                "{place}: {many} at no known concentration of the substrate"
            ));
        }
        all
    }
}

/// The remark of a law that something was not used for it.
fn left_out_of_law(why: &str) -> Diagnostic {
    Diagnostic::warning(code::LEFT_OUT, format!("left out of the law: {why}"))
}

/// A straight form of the law of Michaelis and Menten: height from Vmax, Km and x.
type Straight = fn(f64, f64, f64) -> f64;

/// What a straight plot is called in its title.
fn named_after(kind: &str) -> &str {
    match kind {
        "hanes" => "Hanes",
        "eadie" => "Eadie and Hofstee",
        other => other,
    }
}

/// The errors of rates in a straight plot, from the concentration and both ends of each. One standard error of the rate is an unequal
/// stretch of its reciprocal, which has no end where the stretch of the rate reaches zero; in the plot of Eadie and Hofstee it moves the
/// point along both axes, on a line through zero.
fn straight_errors(kind: &str, bars: &[(f64, f64, f64)]) -> Layer {
    let bars = bars.iter().copied().filter(|(s, _, _)| *s > 0.0);
    if kind == "eadie" {
        return Layer::Slants(
            bars.map(|(s, low, high)| ((low / s, low), (high / s, high)))
                .collect(),
        );
    }
    let turned = bars.map(|(s, low, high)| {
        let (from, to) = if low > 0.0 || high < 0.0 {
            (1.0 / high, 1.0 / low)
        } else if low + high > 0.0 {
            (1.0 / high, f64::INFINITY)
        } else {
            (f64::NEG_INFINITY, 1.0 / low)
        };
        if kind == "hanes" {
            (s, s * from, s * to)
        } else {
            (1.0 / s, from, to)
        }
    });
    Layer::Bars(turned.collect())
}

/// Its name, what runs along x and y, the points and the line.
type StraightPlot = (&'static str, String, String, Vec<(f64, f64)>, Straight);

/// A course with its window, or a series with its curve.
fn picture(title: &str, found: &TraceResult) -> Figure {
    let mut figure = of_fit(title, found);
    if let (Some(from), Some(to), OutcomeKind::InitialRate) = (
        found.outcome.statistics.get("first_x"),
        found.outcome.statistics.get("last_x"),
        &found.outcome.kind,
    ) && let Some(panel) = figure.panels.first_mut()
    {
        panel.layers.insert(0, Layer::Window(*from, *to));
    }
    figure
}

/// The one value of a list that all share.
fn one(values: &[f64]) -> Option<f64> {
    let first = values.first()?;
    values.iter().all(|value| value == first).then_some(*first)
}

fn print(given: &RateRunReport, together: bool, screen: &mut Screen) -> Result<(), Failure> {
    let title = given.heading.title();
    writeln!(screen, "{}", StyledText(STRONG, one_line(&title)))?;
    let mut table = Listing::new([
        ListingColumn::new("  trace"),
        ListingColumn::new("rate").right(),
        ListingColumn::new(""),
        ListingColumn::new("unit"),
        ListingColumn::new("from").right().rank(3),
        ListingColumn::new("to").right().rank(3),
        ListingColumn::new("points").right().rank(4),
        ListingColumn::new("activity").right().rank(2),
        ListingColumn::new("").rank(1),
    ]);
    for found in &given.rates.found {
        let statistic = |name: &str| {
            let value = found.outcome.statistics.get(name);
            value
                .map(|value| telling::significant(*value))
                .unwrap_or_default()
        };
        let name = if found.label.is_empty() { "-" } else { &found.label };
        match found.outcome.parameter("v0") {
            Some(rate) => {
                let (value, error, unit) = telling::value(rate);
                let activity = found.outcome.parameter("activity").map(|activity| {
                    let (value, error, unit) = telling::value(activity);
                    format!("{value} {error} {unit}")
                });
                table.row([
                    format!("  {}", one_line(name)).into(),
                    value.into(),
                    error.into(),
                    unit.into(),
                    statistic("first_x").into(),
                    statistic("last_x").into(),
                    statistic("points").into(),
                    activity.unwrap_or_default().into(),
                    TableCell::styled(
                        if found.outcome.model.ends_with("blank") {
                            "blank"
                        } else {
                            ""
                        },
                        FAINT,
                    ),
                ]);
                if let Some(specific) = found.outcome.parameter("specific activity") {
                    let (value, error, unit) = telling::value(specific);
                    let empty = || TableCell::from("");
                    table.row([
                        "    per protein".into(),
                        empty(),
                        empty(),
                        empty(),
                        empty(),
                        empty(),
                        empty(),
                        format!("{value} {error} {unit}").into(),
                        TableCell::styled("", FAINT),
                    ]);
                }
                if let Some(steady) = found.outcome.parameter("vs") {
                    let (value, error, unit) = telling::value(steady);
                    table.row([
                        "    steady".into(),
                        value.into(),
                        error.into(),
                        unit.into(),
                        "".into(),
                        "".into(),
                        "".into(),
                        "".into(),
                        TableCell::styled("", FAINT),
                    ]);
                }
            }
            None => {
                writeln!(
                    screen,
                    "  {}: {}",
                    one_line(name),
                    StyledText(ASKED, one_line(&found.outcome.termination))
                )?;
            }
        }
    }
    if given.rates.found.is_empty() && given.series.is_empty() && !together {
        writeln!(screen, "  {}", StyledText(ASKED, nothing_asked(given)))?;
    }
    if given.rates.found.iter().any(TraceResult::is_result) {
        write!(screen, "{}", table.draw(screen.width()))?;
    }
    let mut told: Vec<&str> = Vec::new();
    for remark in given.rates.found.iter().flat_map(|found| &found.outcome.remarks) {
        if told.contains(&remark.message.as_str()) {
            continue;
        }
        told.push(&remark.message);
        let said = |found: &&TraceResult| {
            let mut own = found.outcome.remarks.iter();
            own.any(|own| own.message == remark.message)
        };
        let of: Vec<&str> = given
            .rates
            .found
            .iter()
            .filter(said)
            .map(|found| found.label.as_str())
            .collect();
        // What holds for all traces is said of none.
        let mut remark = remark.clone();
        if of.len() < given.rates.found.len() {
            remark.message = format!("{}: {}", of.join(", "), remark.message);
        }
        telling::remark(&remark, screen)?;
    }
    for series in &given.series {
        telling::print_outcome(&title, &series.found.outcome, screen)?;
        ranking(series, screen)?;
    }
    Ok(())
}

/// Why a run has no rate to be measured and no law was fitted: it holds rates as they stand.
fn nothing_asked(given: &RateRunReport) -> String {
    match (given.rates.points.len(), given.rates.left_out.as_slice()) {
        (0, []) => "the run has no course of which a rate could be measured".to_owned(),
        (0, left_out) => one_line(&format!(
            "none of its rates goes into a law: {}",
            left_out.join("; ")
        )),
        (some, _) => format!(
            "the run holds {} already, and none is to be measured; `--law michaelis-menten` fits a law to them, `curvary fit --list` \
             lists all",
            crate::screen::plural(some as u64, "rate")
        ),
    }
}

fn ranking(series: &SeriesFit, screen: &mut Screen) -> Result<(), Failure> {
    for (model, difference, weight) in &series.ranked {
        writeln!(
            screen,
            "  {model}: AICc {difference:.1} above the best, weight {weight:.3}"
        )?;
    }
    Ok(())
}

fn stated(given: &RateRunReport, screen: &mut Screen) -> Result<(), Failure> {
    writeln!(
        screen,
        "  {}",
        StyledText(
            FAINT,
            "what a report of enzyme kinetics should state (after STRENDA, in our words; the guidelines come first)"
        )
    )?;
    for item in checklist(&given.stated, &Vec::new()) {
        let (word, style) = match item.state {
            State::Given => ("given", FAINT),
            State::Missing => ("missing", ASKED),
            State::NotApplicable => ("not applicable", FAINT),
        };
        writeln!(
            screen,
            "  {} {}: {}",
            item.level,
            item.title,
            StyledText(style, word)
        )?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn enzymes_agree_or_there_is_none() {
        assert_eq!(one(&[1.0, 1.0]), Some(1.0));
        assert_eq!(one(&[1.0, 2.0]), None);
        assert_eq!(one(&[]), None);
    }

    /// The error of a rate in each straight plot: what both of its ends are there.
    #[test]
    fn errors_of_rates_go_into_straight_plots() {
        let bars = [(2.0, 4.0, 5.0), (0.5, -1.0, 3.0), (0.0, 0.0, 1.0)];
        let Layer::Bars(reciprocals) = straight_errors("reciprocals", &bars) else {
            panic!("bars")
        };
        assert_eq!(reciprocals, [(0.5, 0.2, 0.25), (2.0, 1.0 / 3.0, f64::INFINITY)]);
        let Layer::Bars(hanes) = straight_errors("hanes", &bars) else {
            panic!("bars")
        };
        assert_eq!(hanes, [(2.0, 0.4, 0.5), (0.5, 0.5 / 3.0, f64::INFINITY)]);
        let Layer::Slants(eadie) = straight_errors("eadie", &bars) else {
            panic!("slants")
        };
        assert_eq!(eadie, [((2.0, 4.0), (2.5, 5.0)), ((-2.0, -1.0), (6.0, 3.0))]);
    }
}
