//! `curvary plot`: the curves of runs over each other, as they were measured, as means with their spread, or with a fit.

use std::path::PathBuf;

use clap::Args;
use curvary_analysis::spectra::{Average, Curve, Grids, Interpolation, SpectrumRefusal, average};
use curvary_analysis::study::{FitPlan, PlotData, Wanted, fit_run_for, label_of, legend_of};
use curvary_record::{Code, Diagnostic, Parameter, Run, Trace, ValueKind, known_field};

use super::results::{taken_apart, taken_at};
use crate::Environment;
use crate::ending::{CommandResult, Ending, Failure};
use crate::figure::{Figure, FigureKind, Layer, Panel, Size, interrupted, of_runs};
use crate::screen::{Screen, plural};
use crate::subject::{ReadingDemand, Selection, Sources, Subject};
use crate::telling;

/// Draw the curves of runs over each other
///
/// Every curve has a colour and a mark or dashes of its own, so that it can be distinguished in grey too. With --model, each is drawn
/// with its fit and the residuals below; with --mean, curves are drawn as means with a band of one standard deviation.
#[derive(Debug, Args)]
pub(crate) struct PlotCommand {
    #[command(flatten)]
    sources: Sources,
    /// The picture to write; its ending, .svg or .png, says the kind
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// How large it is
    #[arg(long, value_name = "SIZE", default_value = "screen")]
    size: Size,
    /// Traces by number (from 1) or label
    #[arg(long, value_name = "TRACE", value_delimiter = ',')]
    trace: Vec<String>,
    /// Draw only this range of the axis, such as 400..600
    #[arg(long, value_name = "FROM..TO")]
    within: Option<String>,
    /// Draw means with their spread, of all curves or of those that have the same in a field: `--mean`, `--mean sample`
    #[arg(long, value_name = "FIELD", num_args = 0..=1, default_missing_value = "", conflicts_with = "model")]
    mean: Option<String>,
    /// Fit this model to each curve and draw it with its parameters, residuals below
    #[arg(long, value_name = "NAME")]
    model: Option<String>,
    /// The trace that holds standard deviations, drawn as error bars
    #[arg(long, value_name = "TRACE", conflicts_with_all = ["mean", "model"])]
    error_bars: Option<String>,
    /// Take the place of a picture that is there already
    #[arg(long)]
    replace: bool,
}

/// A curve among others.
struct PlottedCurve {
    name: String,
    /// What the curves of a mean have in common.
    group: (String, String),
    trace: Trace,
    /// Temperature in °C and pH, where they are known.
    taken_at: (Option<f64>, Option<f64>),
    /// Standard deviations of its points, where a trace holds them.
    errors: Option<Vec<f64>>,
}

/// Most curves of one picture: more have no colour of their own any more.
const MOST: usize = 28;
/// Curves of more points than this are lines, others points.
const FEW: usize = 60;

impl PlotCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        let kind = self.kind()?;
        if self.out.exists() && !self.replace {
            let why = Diagnostic::error(
                Code::new("output-there"),
                format!("`{}` is there already", self.out.display()),
            );
            return Err(Failure::nothing(
                why.help("name another file, or take its place with `--replace`"),
            ));
        }
        let asked = self.sources.asked(setting)?;
        let subjects = asked.all(ReadingDemand::Whole)?;
        Selection::report_aside(&subjects, screen);
        let title = match subjects.as_slice() {
            [one] => one.place.clone(),
            several => plural(several.len() as u64, "run"),
        };
        let mut said = Vec::new();
        let figure = match &self.model {
            Some(model) => self.with_fits(model, &subjects, &title, &mut said)?,
            None => self.of_curves(&subjects, &title, &mut said)?,
        };
        figure.write(&self.out, kind, self.size)?;
        for words in said {
            screen.say(format_args!("{words}"));
        }
        screen.say(format_args!("picture in {}", self.out.display()));
        Ok(Ending::Done)
    }

    fn kind(&self) -> Result<FigureKind, Failure> {
        let ending = self.out.extension().and_then(|ending| ending.to_str());
        match ending.map(str::to_ascii_lowercase).as_deref() {
            Some("svg") => Ok(FigureKind::Svg),
            Some("png") => Ok(FigureKind::Png),
            _ => Err(Failure::usage(format!(
                "`{}` ends neither in .svg nor in .png, and its ending says the kind of picture",
                self.out.display()
            ))),
        }
    }

    /// Every curve with its fit.
    fn with_fits(
        &self,
        model: &str,
        subjects: &[Subject],
        title: &str,
        said: &mut Vec<String>,
    ) -> Result<Figure, Failure> {
        let plan = FitPlan {
            model: model.to_owned(),
            traces: self.trace.clone(),
            window: self.within.as_deref().map(crate::courses::span).transpose()?,
            ..FitPlan::default()
        };
        plan.check().map_err(Failure::usage)?;
        let mut sets: Vec<(String, PlotData)> = Vec::new();
        for subject in subjects {
            for found in fit_run_for(&plan, &subject.run, &Wanted::default()) {
                if !subject.means(found.trace) {
                    continue;
                }
                let several = subject.run.traces.len() > 1;
                let name = name_of(subject, if several { &found.label } else { "" });
                if !found.is_result() {
                    said.push(format!("left out: {name}: {}", found.outcome.termination));
                    continue;
                }
                let all = &found.outcome.parameters;
                let constant = |parameter: &&Parameter| {
                    let name = parameter.name.as_str();
                    name.starts_with(['k', 'K', 'V']) || name.starts_with("pK") || name.starts_with("IC50")
                };
                // A law without constants, such as a formula, is told by its first parameters.
                let mut named: Vec<&Parameter> = all.iter().filter(constant).collect();
                if named.is_empty() {
                    named = all.iter().take(3).collect();
                }
                let numbers: Vec<String> = named
                    .into_iter()
                    .map(|parameter| {
                        let (value, error, unit) = telling::value(parameter);
                        format!("{} {value} {error} {unit}", parameter.name)
                            .trim_end()
                            .to_owned()
                    })
                    .collect();
                let legend = if numbers.is_empty() {
                    name
                } else {
                    format!("{name}: {}", numbers.join(", "))
                };
                sets.push((legend, found.drawn));
            }
        }
        one_axis(
            sets.iter()
                .map(|(name, drawn)| (name.as_str(), drawn.x_title.as_str(), drawn.y_title.as_str())),
        )?;
        few_enough(sets.len())?;
        Ok(of_runs(&format!("{title}, {model}"), &sets))
    }

    /// The curves as they are, or their means.
    fn of_curves(
        &self,
        subjects: &[Subject],
        title: &str,
        said: &mut Vec<String>,
    ) -> Result<Figure, Failure> {
        let mut all = self.curves(subjects, said)?;
        let Some(first) = all.first().map(|one| one.trace.clone()) else {
            return Err(Failure::nothing(Diagnostic::error(
                Code::new("no-run"),
                "no curve is left to be drawn",
            )));
        };
        for one in &mut all {
            in_units_of(one, &first)?;
        }
        let mut layers = Vec::new();
        if self.mean.is_some() {
            self.means(&all, &mut layers, said)?;
        } else {
            few_enough(all.len())?;
            for (number, one) in all.iter().enumerate() {
                let points: Vec<(f64, f64)> = (0..one.trace.len())
                    .map(|i| (one.trace.x.values[i], one.trace.y.values[i]))
                    .collect();
                if let Some(errors) = &one.errors {
                    let bars = points
                        .iter()
                        .zip(errors)
                        .map(|((x, y), e)| (*x, y - e, y + e))
                        .collect();
                    layers.push(Layer::Bars(bars).of_series(number));
                }
                let layer = if points.len() > FEW {
                    Layer::Line(interrupted(&one.trace, points))
                } else {
                    Layer::Points(points)
                };
                layers.push(layer.of_series(number).named(&one.name));
            }
        }
        Ok(Figure {
            title: title.to_owned(),
            doses: false,
            panels: vec![Panel {
                x: curvary_analysis::study::title_of(&first.x),
                y: curvary_analysis::study::title_of(&first.y),
                share: 1.0,
                layers,
            }],
        })
    }

    /// A mean with its spread for each group.
    fn means(
        &self,
        all: &[PlottedCurve],
        layers: &mut Vec<Layer>,
        said: &mut Vec<String>,
    ) -> Result<(), Failure> {
        // Each group under the words that were met first: 310.15 K and 37 °C are one.
        let mut groups: Vec<(&str, &str)> = Vec::new();
        let field = self.mean.as_deref().unwrap_or_default();
        let unknown: Vec<&str> = all
            .iter()
            .filter(|one| !field.is_empty() && one.group.1.is_empty())
            .map(|one| one.name.as_str())
            .collect();
        if !unknown.is_empty() {
            said.push(format!(
                "left out: {} of which no {field} is known: {}",
                plural(unknown.len() as u64, "curve"),
                unknown.join(", ")
            ));
        }
        for one in all.iter().filter(|one| !unknown.contains(&one.name.as_str())) {
            let (shown, compared) = (one.group.0.as_str(), one.group.1.as_str());
            if !groups.iter().any(|group| group.1 == compared) {
                groups.push((shown, compared));
            }
        }
        few_enough(groups.len())?;
        let mut bands = Vec::new();
        for (number, (group, compared)) in groups.into_iter().enumerate() {
            let members: Vec<&PlottedCurve> = all
                .iter()
                .filter(|one| one.group.1 == compared && !unknown.contains(&one.name.as_str()))
                .collect();
            let name = if group.is_empty() { "mean" } else { group };
            if let Some((taken, field)) = taken_apart(members.iter().map(|one| one.taken_at)) {
                said.push(format!(
                    "left out: {name}: the curves were taken at {taken}, and a mean of them is one of different things; --mean {field} \
                     parts them"
                ));
                continue;
            }
            let Average {
                mean,
                standard_deviation,
                resampled,
                ..
            } = match mean_of(&members) {
                Ok(found) => found,
                Err(why) => {
                    said.push(format!("left out: {name}: {why}"));
                    continue;
                }
            };
            let places = || mean.x().iter().zip(mean.y());
            let band = places()
                .zip(&standard_deviation)
                .map(|((x, y), s)| (*x, y - s, y + s))
                .collect();
            let line = places().map(|(x, y)| (*x, *y)).collect();
            bands.push(Layer::Band(band).of_series(number));
            layers.push(
                Layer::Line(line)
                    .of_series(number)
                    .named(format!("{name} ({} curves)", members.len())),
            );
            if !resampled.is_empty() {
                said.push(format!(
                    "{name}: {} of {} curves stand at other places and were taken on straight lines between their points",
                    resampled.len(),
                    members.len()
                ));
            }
        }
        if layers.is_empty() {
            return Err(Failure::nothing(Diagnostic::error(
                Code::new("no-run"),
                format!("no mean can be drawn: {}", said.join("; ")),
            )));
        }
        said.push("bands: one standard deviation between curves".into());
        layers.splice(0..0, bands);
        Ok(())
    }

    /// Every trace that is meant.
    fn curves(&self, subjects: &[Subject], said: &mut Vec<String>) -> Result<Vec<PlottedCurve>, Failure> {
        let window = self.within.as_deref().map(crate::courses::span).transpose()?;
        let mut all = Vec::new();
        for subject in subjects {
            if let Some(question) = subject.run.question_about_curves() {
                let question = &question.message;
                said.push(format!(
                    "left out: {}: the run is in question: {question}",
                    subject.place
                ));
                continue;
            }
            let errors = self
                .error_bars
                .as_ref()
                .and_then(|label| subject.run.traces.iter().find(|trace| label_of(trace) == *label));
            for (number, trace) in subject.run.traces.iter().enumerate() {
                let label = label_of(trace);
                let meant = self.trace.is_empty()
                    || self
                        .trace
                        .iter()
                        .any(|name| *name == label || name.parse() == Ok(number + 1));
                let of_query = subject.means(u32::try_from(number).ok());
                if !meant || !of_query || errors.is_some_and(|errors| std::ptr::eq(errors, trace)) {
                    continue;
                }
                let whole = trace.len();
                let several = subject.run.traces.len() > 1;
                let name = name_of(subject, &if several { legend_of(trace) } else { String::new() });
                let Some(trace) = cut(trace, window.as_ref())? else {
                    said.push(format!(
                        "left out: {name}: no point lies within the stretch that is drawn"
                    ));
                    continue;
                };
                let bars = errors
                    .filter(|errors| errors.x.values == subject.run.traces[number].x.values)
                    .filter(|_| trace.len() == whole)
                    .map(|errors| errors.y.values.to_vec());
                if let (Some(label), None) = (&self.error_bars, &bars) {
                    said.push(match errors {
                        None => format!("{name} has no error bars: no trace is called `{label}`"),
                        Some(_) => {
                            format!("{name} has no error bars: `{label}` does not stand at the same points")
                        }
                    });
                }
                let errors = bars;
                all.push(PlottedCurve {
                    name,
                    taken_at: taken_at(&subject.run, &trace),
                    group: self
                        .mean
                        .as_deref()
                        .map_or_else(Default::default, |field| group_of(&subject.run, &trace, field)),
                    trace,
                    errors,
                });
            }
        }
        Ok(all)
    }
}

fn name_of(subject: &Subject, label: &str) -> String {
    if label.is_empty() {
        subject.place.clone()
    } else {
        format!("{}, {label}", subject.place)
    }
}

/// What a field says of a curve, in words and as it is compared; empty where nothing is known.
fn group_of(run: &Run, trace: &Trace, field: &str) -> (String, String) {
    if field.is_empty() {
        return Default::default();
    }
    let (text, compared) = super::results::value_of(run, Some(trace), field);
    let is_text = known_field(field).is_some_and(|known| matches!(known.kind, ValueKind::Text));
    if is_text || text.is_empty() {
        return (text, compared);
    }
    (format!("{field} {text}"), compared)
}

/// The part of a trace within a stretch; none where nothing lies there.
fn cut(trace: &Trace, window: Option<&curvary_analysis::study::AxisSpan>) -> Result<Option<Trace>, Failure> {
    let Some(window) = window else {
        return Ok(Some(trace.clone()));
    };
    let own = |value: f64| match &window.unit {
        None => Ok(value),
        Some(unit) => unit
            .convert(value, &trace.x.unit)
            .map_err(|error| Failure::usage(format!("--within: {error}"))),
    };
    let (from, to) = (own(window.from)?, own(window.to)?);
    let kept: Vec<usize> = (0..trace.len())
        .filter(|i| (from..=to).contains(&trace.x.values[*i]))
        .collect();
    if kept.is_empty() {
        return Ok(None);
    }
    let mut part = trace.clone();
    part.x.values = kept.iter().map(|i| trace.x.values[*i]).collect();
    part.y.values = kept.iter().map(|i| trace.y.values[*i]).collect();
    part.saturated.clear();
    Ok(Some(part))
}

/// Brings a curve into the units of the first one.
fn in_units_of(one: &mut PlottedCurve, first: &Trace) -> Result<(), Failure> {
    for (column, wanted) in [(&mut one.trace.x, &first.x), (&mut one.trace.y, &first.y)] {
        if column.quantity != wanted.quantity || !column.unit.converts_to(&wanted.unit) {
            return Err(Failure::nothing(Diagnostic::error(
                Code::new("axes-differ"),
                format!(
                    "{} has {} where the first curve has {}: one picture has one axis",
                    one.name,
                    curvary_analysis::study::title_of(column),
                    curvary_analysis::study::title_of(wanted)
                ),
            )));
        }
        if column.unit != wanted.unit {
            let values: Result<Vec<f64>, _> = column
                .values
                .iter()
                .map(|value| column.unit.convert(*value, &wanted.unit))
                .collect();
            column.values = values.map_err(Failure::usage)?.into_iter().collect();
            column.unit = wanted.unit.clone();
        }
    }
    Ok(())
}

fn mean_of(members: &[&PlottedCurve]) -> Result<Average, SpectrumRefusal> {
    let curves: Vec<Curve> = members
        .iter()
        .map(|one| Curve::new(one.trace.x.values.to_vec(), one.trace.y.values.to_vec()))
        .collect::<Result<_, _>>()?;
    average(&curves, Grids::Resample(Interpolation::Linear))
}

fn few_enough(count: usize) -> Result<(), Failure> {
    match count {
        0 => Err(Failure::nothing(Diagnostic::error(
            Code::new("no-run"),
            "no curve is left to be drawn",
        ))),
        1..=MOST => Ok(()),
        _ => Err(Failure::usage(format!(
            "{count} curves are more than the {MOST} that one picture can distinguish: name fewer runs or traces, or draw means \
             with --mean"
        ))),
    }
}

/// All curves must stand over one axis.
fn one_axis<'a>(mut all: impl Iterator<Item = (&'a str, &'a str, &'a str)>) -> Result<(), Failure> {
    let Some((_, x, y)) = all.next() else {
        return Ok(());
    };
    match all.find(|(_, other_x, other_y)| *other_x != x || *other_y != y) {
        None => Ok(()),
        Some((name, other_x, other_y)) => Err(Failure::nothing(Diagnostic::error(
            Code::new("axes-differ"),
            format!(
                "{name} has {other_x} and {other_y} where the first curve has {x} and {y}: one picture has one axis"
            ),
        ))),
    }
}
