//! `curvary peaks`: positions, heights, widths and areas of the peaks of spectra, after steps that are kept with them.

use std::io::Write;

use clap::{Args, ValueEnum};
use curvary_analysis::spectra::{AreaBaseline, BandShape, Extreme, Refinement, WidthLevel, Window};
use curvary_analysis::study::{PeaksPlan, References, TraceResult, Work, peaks_run};
use curvary_record::{Outcome as Record, OutcomeKind, Parameter};
use serde_json::{Map, Value, json};

use crate::Environment;
use crate::again;
use crate::ending::{CommandResult, Failure};
use crate::figure::{Figure, Layer, Panel, of_fit};
use crate::findings::{Finding, Pictures, each};
use crate::screen::{FAINT, STRONG, Screen, StyledText};
use crate::steps::StepOptions;
use crate::subject::{Subject, Subjects};
use crate::table::{Listing, ListingColumn, one_line};
use crate::telling;

/// Find the peaks of spectra: position between the points, height, prominence, width and area
///
/// Areas count over the background that the readings beside a band show, from where it has come down to it; how far they hang on that
/// is among their errors, and where it is more than a tenth, or a band overlaps another, there is none and the reason is told.
/// Shoulders, where a band shows only as a bend on another's flank, are reported too. With --bands, bands of Gauss, Lorentz or Voigt
/// are fitted, beginning at the peaks and shoulders, over a straight line, a parabola or scattered light, and their numbers have errors
/// that know of each other. They are found again by `curvary find result.band:430..440nm`.
///
/// Steps go before the search, in the order given, and are kept with the result:
/// ordinate(absorbance), axis(cm-1), crop(220..400), saturation(above=3), blank(RUN), blank(RUN, resample=cubic),
/// baseline(offset, 680..700), baseline(line, 240..250, 340..350), baseline(scatter, 350..500),
/// smooth(window=11, order=3), derivative(2, window=11, order=3) and resample(cubic, 200..800, every=1).
/// Transmittance is turned into absorbance first. Peaks of runs in the archive are found again by where they are:
/// `curvary find result.peak:530..540nm`.
#[derive(Debug, Args)]
pub(crate) struct PeaksCommand {
    #[command(flatten)]
    subjects: Subjects,
    /// Do again what is kept of these runs, and say whether the same comes out
    #[arg(long, conflicts_with_all = [
        "StepOptions", "valleys", "prominence", "within", "parabola", "half_height", "area_from_zero", "trace", "bands",
    ])]
    again: bool,
    #[command(flatten)]
    before: StepOptions,
    /// Look for valleys
    #[arg(long, help_heading = "Search")]
    valleys: bool,
    /// How far a peak must stand out, in the unit of the values [default: from the noise and the number of points]
    #[arg(long, value_name = "HEIGHT", help_heading = "Search")]
    prominence: Option<f64>,
    /// Report peaks of this range only, such as 400..600
    #[arg(long, value_name = "FROM..TO", help_heading = "Search")]
    within: Option<String>,
    /// Find the position by a parabola through so many points (odd), in place of a curve over the peak's own width
    #[arg(long, value_name = "POINTS", help_heading = "Search")]
    parabola: Option<usize>,
    /// Take widths at half the height above zero and not half-way down the prominence
    #[arg(long, help_heading = "Search")]
    half_height: bool,
    /// Count areas from zero and not from the background beside the band; for bands, fit no background
    #[arg(long, help_heading = "Search")]
    area_from_zero: bool,
    /// Traces by number (from 1) or label
    #[arg(long, value_name = "TRACE", value_delimiter = ',', help_heading = "Search")]
    trace: Vec<String>,
    /// Fit bands of this shape over a background, in place of reading peaks off
    #[arg(long, value_name = "SHAPE", help_heading = "Bands")]
    bands: Option<BandForm>,
    /// Where the bands begin their search, such as 430,462 [default: at the peaks and shoulders]
    #[arg(
        long,
        value_name = "POSITION",
        value_delimiter = ',',
        requires = "bands",
        help_heading = "Bands"
    )]
    band_at: Vec<f64>,
    #[command(flatten)]
    pictures: Pictures,
}

/// The shape of bands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum BandForm {
    /// Gauss's curve
    Gauss,
    /// Lorentz's curve
    Lorentz,
    /// Gauss's curve widened by that of Lorentz
    Voigt,
}

impl PeaksCommand {
    /// Does it.
    pub(crate) fn run(self, setting: &Environment, screen: &mut Screen) -> CommandResult {
        if self.again {
            let asked = self.subjects.asked(setting)?;
            return again::results(
                (Work::Peaks, "curvary peaks"),
                (&self.subjects, &asked),
                &self.pictures,
                screen,
                |subject, found| Some(picture(subject, found)),
                print_peaks,
            );
        }
        let mut references = References::new();
        let plan = PeaksPlan {
            steps: self.before.steps(setting, &mut references)?,
            trusted_absorbance: self.before.trusted()?,
            extreme: if self.valleys {
                Extreme::Minimum
            } else {
                Extreme::Maximum
            },
            prominence: self.prominence,
            within: self.within.as_deref().map(window).transpose()?,
            refinement: match self.parabola {
                None => Refinement::ByWidth,
                Some(3) => Refinement::ThreePoints,
                Some(points) => Refinement::LocalQuadratic { points },
            },
            width: if self.half_height {
                WidthLevel::HalfHeight
            } else {
                WidthLevel::HalfProminence
            },
            area: if self.area_from_zero {
                AreaBaseline::Zero
            } else {
                AreaBaseline::Chord
            },
            bands: self.bands.map(|shape| match shape {
                BandForm::Gauss => BandShape::Gauss,
                BandForm::Lorentz => BandShape::Lorentz,
                BandForm::Voigt => BandShape::Voigt,
            }),
            positions: self.band_at.clone(),
            traces: self.trace.clone(),
        };
        let asked = self.subjects.asked(setting)?;
        each(
            (&self.subjects, &asked),
            "curvary peaks",
            &self.pictures,
            screen,
            |subject| find(&plan, &references, subject),
            print_peaks,
        )
    }
}

fn find(plan: &PeaksPlan, references: &References, subject: &Subject) -> Vec<Finding> {
    peaks_run(plan, &subject.run, references)
        .into_iter()
        .map(|found| {
            let shown = |parts: &[Parameter], name: &dyn Fn(&Parameter) -> String| {
                let all: Map<String, Value> =
                    parts.iter().map(|part| (name(part), json!(part.value))).collect();
                Value::Object(all)
            };
            let mut more = Map::new();
            if found.outcome.kind != OutcomeKind::Bands {
                let listed = peaks(&found.outcome).map(|peak| shown(peak, &|part| name(part).to_owned()));
                more.insert("peaks".to_owned(), listed.collect());
                let bent: Vec<Value> = shoulders(&found.outcome)
                    .map(|shoulder| {
                        shown(shoulder, &|part| {
                            part.name
                                .strip_prefix("shoulder-")
                                .unwrap_or("position")
                                .to_owned()
                        })
                    })
                    .collect();
                if !bent.is_empty() {
                    more.insert("shoulders".to_owned(), Value::Array(bent));
                }
            }
            Finding {
                figure: Some(picture(subject, &found)),
                more,
                ..Finding::of(found)
            }
        })
        .collect()
}

/// The spectrum with its peaks, or with the bands that were fitted to it.
fn picture(subject: &Subject, found: &TraceResult) -> Figure {
    if found.outcome.kind == OutcomeKind::Bands {
        return of_fit(&format!("{} {}", subject.place, found.label), found);
    }
    let marks: Vec<(f64, f64, String)> = peaks(&found.outcome)
        .filter_map(|peak| {
            let at = peak[0].value?;
            Some((at, peak[1].value?, telling::rounded(at, peak[0].standard_error).0))
        })
        .collect();
    let points = found
        .drawn
        .x
        .iter()
        .copied()
        .zip(found.drawn.y.iter().copied())
        .collect();
    Figure {
        title: format!("{} {}", subject.place, found.label).trim_end().to_owned(),
        doses: false,
        panels: vec![Panel {
            x: found.drawn.x_title.clone(),
            y: found.drawn.y_title.clone(),
            share: 1.0,
            layers: vec![
                Layer::Line(points).named("spectrum"),
                Layer::Marks(marks).named("peaks"),
            ],
        }],
    }
}

/// The peaks of a result: five parameters each.
fn peaks(outcome: &Record) -> impl Iterator<Item = &[Parameter]> {
    let of_peaks = outcome
        .parameters
        .iter()
        .take_while(|parameter| parameter.name.starts_with("peak"))
        .count();
    outcome.parameters[..of_peaks].chunks_exact(5)
}

/// The shoulders of a result: position and height.
fn shoulders(outcome: &Record) -> impl Iterator<Item = &[Parameter]> {
    let first = outcome
        .parameters
        .iter()
        .position(|parameter| parameter.name == "shoulder")
        .unwrap_or(outcome.parameters.len());
    outcome.parameters[first..].chunks_exact(2)
}

/// `height` for `peak-height`, `position` for `peak`.
fn name(parameter: &Parameter) -> &str {
    match parameter.name.strip_prefix("peak-") {
        Some(name) => name,
        None => "position",
    }
}

fn print_peaks(heading: &str, finding: &Finding, screen: &mut Screen) -> Result<(), Failure> {
    let outcome = &finding.found.outcome;
    if !finding.found.is_result() || outcome.kind == OutcomeKind::Bands {
        return telling::print_outcome(heading, outcome, screen);
    }
    writeln!(
        screen,
        "{}  {}",
        StyledText(STRONG, one_line(heading)),
        StyledText(FAINT, one_line(&outcome.model))
    )?;
    // All peaks of one spectrum have one unit each for what is measured of them.
    let head = |place: usize, name: &str| {
        let first = peaks(outcome)
            .next()
            .and_then(|peak| peak.get(place)?.unit.as_ref());
        let unit = first.map(curvary_record::Unit::display).unwrap_or_default();
        let words = format!("{name} {unit}");
        words.trim_end().to_owned()
    };
    let mut table = Listing::new([
        ListingColumn::new("  position").right(),
        ListingColumn::new(""),
        ListingColumn::new(""),
        ListingColumn::new(head(1, "height")).right(),
        ListingColumn::new(head(2, "prominence")).right().rank(2),
        ListingColumn::new(head(3, "width")).right(),
        ListingColumn::new(head(4, "area")).right().rank(1),
    ]);
    for peak in peaks(outcome) {
        let (position, error, unit) = telling::value(&peak[0]);
        let shown = |part: &Parameter| match part.value {
            None => "open".to_owned(),
            Some(value) => {
                let (value, error) = telling::rounded(value, part.standard_error);
                if error.is_empty() {
                    value
                } else {
                    format!("{value} ± {error}")
                }
            }
        };
        table.row([
            format!("  {position}").into(),
            error.into(),
            unit.into(),
            shown(&peak[1]).into(),
            shown(&peak[2]).into(),
            shown(&peak[3]).into(),
            shown(&peak[4]).into(),
        ]);
    }
    if peaks(outcome).next().is_some() {
        write!(screen, "{}", table.draw(screen.width()))?;
    }
    for shoulder in shoulders(outcome) {
        let (position, _, unit) = telling::value(&shoulder[0]);
        let (height, _, of) = telling::value(&shoulder[1]);
        let height = format!("{height} {of}");
        let height = height.trim_end();
        writeln!(
            screen,
            "  shoulder near {}, height {height}: a band hidden there lies near it; --bands fits its numbers",
            format!("{position} {unit}").trim_end()
        )?;
    }
    for reason in peaks(outcome).flatten().filter_map(|part| part.reason.as_deref()) {
        writeln!(screen, "  {}", StyledText(FAINT, one_line(reason)))?;
    }
    for (name, before) in [("noise", ""), ("noise_at_most", "at most ")] {
        let Some(noise) = outcome.statistics.get(name) else {
            continue;
        };
        let points = outcome.statistics.get("points").copied().unwrap_or(0.0);
        let words = format!(
            "{points} points, noise {before}{}",
            telling::rounded(*noise, Some(*noise)).0
        );
        writeln!(screen, "  {}", StyledText(FAINT, words))?;
    }
    for remark in &outcome.remarks {
        telling::remark(remark, screen)?;
    }
    Ok(())
}

/// `400..600`, on the axis of the spectrum.
pub(crate) fn window(text: &str) -> Result<Window, Failure> {
    let wrong = || {
        Failure::usage(format!(
            "`{text}` is no stretch of an axis: expected FROM..TO, such as 400..600"
        ))
    };
    let (from, to) = text.split_once("..").ok_or_else(wrong)?;
    let number = |text: &str| {
        text.trim()
            .trim_end_matches("nm")
            .trim()
            .parse::<f64>()
            .map_err(|_| wrong())
    };
    Window::new(number(from)?, number(to)?).map_err(Failure::usage)
}
