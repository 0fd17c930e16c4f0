//! Peaks of a run's spectra after a chain of processing steps that is kept with them.

use crate::study::StudyError;
use curvary_record::{Code, Diagnostic, Outcome, OutcomeKind, Parameter, Run, Trace, Unit};
use serde::{Deserialize, Serialize};

use super::bands::fit_bands;
use super::fit::two;
use super::spectrum::{
    References, asked_traces, axis_title, bare, in_question, spectrum_of, tell_log, unit_of, with_usual_steps,
};
use super::{PlotData, Six, TraceResult, label_of};
use crate::distribution::normal_quantile;
use crate::refusal::Refusal;
use crate::spectra::{
    AlikeNoise, Apex, AreaBaseline, Axis, Background, BandArea, BandShape, Chain, Curve, Estimate, Extreme,
    MeasuredPeak, Measuring, NoArea, Ordinate, Peak, PeakOptions, Processed, Refinement, Shoulder,
    SpectrumRefusal, Step, Threshold, Width, WidthLevel, Window, alike_noise, find_peaks, find_shoulders,
    measure_peak, point_noise,
};

/// How many times the noise an extreme must stand out by at least, unless a height is given. Common practice.
const TIMES_NOISE: f64 = 5.0;

/// How many times the noise an extreme must stand out by among `n` points.
///
/// The more points, the farther noise alone reaches: so that it makes a peak in less than one of twenty spectra, no two of
/// the points may differ by as much (Bonferroni's bound over all pairs of normal values, safe rather than sharp).
fn times_noise(n: usize) -> f64 {
    let pairs = (n as f64) * (n as f64 - 1.0).max(1.0);
    (std::f64::consts::SQRT_2 * normal_quantile(1.0 - 0.05 / pairs.max(1.0))).max(TIMES_NOISE)
}

/// From so many points on, the distances that are looked at tell the size of noise that wanders well enough.
const LONG: f64 = 300.0;

/// The prominence from which on an extreme among `n` points is told from noise.
///
/// Where neighbours are alike there are fewer points that tell how large the noise is: a tenth more among 150 points, and among fewer
/// than [`LONG`] as much more as there are few stretches that are alike in themselves, a third at 14 of them. By simulation
/// (`tests/coverage_noise.rs`): with less, noise that wanders makes a peak in ten of a hundred spectra of 201 points; with more among
/// many points, bands of ten times the noise are lost.
fn least_prominence(noise: AlikeNoise, n: usize) -> f64 {
    let unsure = if noise.together > 1 {
        let n = n as f64;
        let few = ((LONG - n) / 100.0).clamp(0.0, 1.0);
        1.0 + (15.0 / n).max(few * 4.0 * noise.together as f64 / n)
    } else {
        1.0
    };
    times_noise(n) * noise.wary * unsure
}

/// What is asked of a search for peaks, in a form that is kept with its result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", default)]
pub struct PeaksPlan {
    /// The steps before the search, in order. Transmittance is turned into absorbance first, and absorbance above the
    /// trusted range is left out, unless a step says otherwise.
    pub steps: Vec<Step>,
    /// Absorbance above which points are left out; [`super::TRUSTED_ABSORBANCE`] if absent, the largest number for no
    /// limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trusted_absorbance: Option<f64>,
    /// Peaks or valleys.
    pub extreme: Extreme,
    /// Least prominence, in units of y; if absent, from the noise and the number of points.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prominence: Option<f64>,
    /// Only extremes here are told, on the axis after the steps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub within: Option<Window>,
    /// How positions between points are found.
    pub refinement: Refinement,
    /// Where widths are taken.
    pub width: WidthLevel,
    /// From where areas are counted.
    pub area: AreaBaseline,
    /// Fit bands of this shape in place of reading peaks off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bands: Option<BandShape>,
    /// Where the bands begin, on the axis after the steps; at the peaks and shoulders if empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub positions: Vec<f64>,
    /// Traces by number (from 1) or label; all if empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub traces: Vec<String>,
}

impl Default for PeaksPlan {
    fn default() -> Self {
        let usual = PeakOptions::default();
        Self {
            steps: Vec::new(),
            trusted_absorbance: None,
            extreme: usual.extreme,
            prominence: None,
            within: None,
            refinement: Refinement::ByWidth,
            width: usual.width,
            area: usual.area,
            bands: None,
            positions: Vec::new(),
            traces: Vec::new(),
        }
    }
}

/// Finds the peaks of every trace of a run that the plan speaks of.
///
/// Each peak gives five parameters one after another: `peak` (its position), `peak-height`, `peak-prominence`,
/// `peak-width` and `peak-area`, the same names for every peak, so that a search for a position finds any of them; behind
/// them stand `shoulder` and `shoulder-height` of each shoulder. Bands give `band`, `band-height`, `band-width` and
/// `band-area`, those of Voigt `band-gauss-width` and `band-lorentz-width` too. What is drawn is the curve after the steps.
pub fn peaks_run(plan: &PeaksPlan, run: &Run, references: &References) -> Vec<TraceResult> {
    let whole = |why: String| {
        let kind = if plan.bands.is_some() {
            OutcomeKind::Bands
        } else {
            OutcomeKind::Peaks
        };
        let mut outcome = bare(kind, "as recorded", run, None, plan);
        outcome.termination = why;
        vec![TraceResult {
            trace: None,
            label: String::new(),
            outcome: outcome.identified(),
            drawn: PlotData::default(),
        }]
    };
    if let Some(refusal) = in_question(run) {
        return whole(super::told(&refusal));
    }
    match asked_traces(run, &plan.traces) {
        Err(refusal) => whole(super::told(&refusal)),
        Ok(traces) => traces
            .into_iter()
            .map(|(number, trace)| peaks_of(plan, run, number, trace, references))
            .collect(),
    }
}

fn peaks_of(plan: &PeaksPlan, run: &Run, number: u32, trace: &Trace, references: &References) -> TraceResult {
    let mut drawn = PlotData::default();
    let (mut outcome, found) = if plan.bands.is_some() {
        let mut outcome = bare(OutcomeKind::Bands, "as recorded", run, Some(number), plan);
        let found = fit_bands(plan, trace, references, &mut outcome, &mut drawn);
        (outcome, found)
    } else {
        let mut outcome = bare(OutcomeKind::Peaks, "as recorded", run, Some(number), plan);
        let found = search(plan, trace, references, &mut outcome, &mut drawn);
        (outcome, found)
    };
    if let Err(why) = found {
        outcome.parameters.clear();
        outcome.termination = why.told();
    }
    TraceResult {
        trace: Some(number),
        label: label_of(trace),
        outcome: outcome.identified(),
        drawn,
    }
}

fn search(
    plan: &PeaksPlan,
    trace: &Trace,
    references: &References,
    outcome: &mut Outcome,
    drawn: &mut PlotData,
) -> Result<(), StudyError> {
    let (spectrum, marked) = spectrum_of(trace)?;
    let chain = with_usual_steps(&plan.steps, &spectrum, plan.trusted_absorbance);
    describe(&chain, outcome);
    let processed = chain.apply(&spectrum, |name| references.get(name).cloned())?;
    tell_log(&processed.log, marked, outcome);
    *drawn = drawn_of(&processed, trace);
    let alike = noise_of(&processed, plan)?;
    let noise = alike.map(|alike| alike.sd);
    let curve = &processed.spectrum.curve;
    let mut table = find_peaks(curve, &options(plan, &processed, alike))?;
    tell_alike(alike, outcome);
    tell_few(alike, curve.len(), outcome);
    if plan.prominence.is_none() {
        tell_hidden(alike, curve, plan, table.peaks.len(), outcome);
    }
    if let (Some(noise), Extreme::Maximum) = (noise, plan.extreme) {
        leave_flat_tops(curve, noise.max(resolution(trace)), &mut table.peaks, outcome);
    }
    if let Some(noise) = noise {
        outcome.statistics.insert(noise_name(curve.len()).into(), noise);
    }
    outcome.statistics.insert("points".into(), curve.len() as f64);
    outcome
        .statistics
        .insert("least_prominence".into(), table.min_prominence);
    for note in &table.notes {
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("processing-remark"), note.clone()));
    }
    let shoulders =
        match noise.filter(|_| plan.extreme == Extreme::Maximum && !plan.steps.iter().any(correlates)) {
            Some(noise) => {
                let wary = alike.map_or(noise, of_means);
                shoulders(curve, &table.peaks, wary.max(resolution(trace)), plan.within)
            }
            None => Vec::new(),
        };
    if table.peaks.is_empty() && shoulders.is_empty() {
        return Err(StudyError::new(
            "no-peak",
            format!("nothing stands out by {:.3e} or more", table.min_prominence),
        ));
    }
    let upwards = plan.extreme == Extreme::Maximum;
    let measured = |curve: &Curve, peak: &Peak| {
        noise
            .filter(|_| {
                plan.refinement == Refinement::ByWidth
                    && matches!(peak.apex, Apex::Refined { .. } | Apex::Sampled { .. })
            })
            .and_then(|noise| {
                let how = Measuring {
                    noise,
                    together: alike.map_or(1.0, |alike| alike.together as f64),
                    upwards,
                    width: plan.width,
                    area: plan.area,
                    axis: processed.spectrum.axis,
                    all: &table.peaks,
                };
                measure_peak(curve, peak, &how)
            })
    };
    let listed = |peak: &Peak, measured: Option<&MeasuredPeak>| -> [Parameter; 5] {
        let mut list = parameters(peak, processed.spectrum.axis, processed.spectrum.ordinate);
        match measured {
            Some(measured) => {
                over_width(&mut list, measured);
                tell_area(&mut list, peak, measured.area, &shoulders);
            }
            None => tell_bare_area(&mut list, peak, plan.area),
        }
        list
    };
    let over: Vec<Option<MeasuredPeak>> = table.peaks.iter().map(|peak| measured(curve, peak)).collect();
    let pairs = table.peaks.iter().zip(&over);
    let mut lists: Vec<[Parameter; 5]> = pairs.map(|(peak, over)| listed(peak, over.as_ref())).collect();
    if let Some(again) = smoothed_again(&chain, curve)? {
        // Peaks that were read off points are looked for anew; one that is half as high as what counts is the same one still.
        let wanted = PeakOptions {
            min_prominence: Threshold::Absolute(0.5 * table.min_prominence),
            ..options(plan, &processed, alike)
        };
        let found = find_peaks(&again, &wanted)?.peaks;
        let twice: Vec<Option<[Parameter; 5]>> = table
            .peaks
            .iter()
            .zip(&over)
            .map(|(peak, over)| {
                if over.is_some() {
                    // Between the same bases: noise chooses others, and their distance would be told as what smoothing does.
                    let same = between_same_bases(peak, &again, upwards)?;
                    return Some(listed(&same, Some(&measured(&again, &same)?)));
                }
                let far = |other: &&Peak| (other.sampled_x - peak.sampled_x).abs();
                let nearest = found.iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
                Some(listed(nearest, None))
            })
            .collect();
        flattened(&table.peaks, &mut lists, &twice, upwards, outcome);
    }
    tell_backgrounds(&lists, &over, plan.width, outcome);
    outcome.parameters = lists.into_iter().flatten().collect();
    let (axis, ordinate) = (processed.spectrum.axis, processed.spectrum.ordinate);
    for shoulder in &shoulders {
        outcome.parameters.push(Parameter {
            reason: Some(
                "a shoulder: the second derivative is lowest here, and a hidden band lies near; --bands finds its numbers"
                    .into(),
            ),
            ..parameter("shoulder", Some(shoulder.x), unit_of(axis))
        });
        outcome.parameters.push(parameter(
            "shoulder-height",
            Some(shoulder.y),
            unit_of_ordinate(ordinate),
        ));
    }
    outcome.termination = "found".into();
    Ok(())
}

/// The curve with its smoothing done once more; none where nothing was smoothed, or where a derivative was taken, which has no bands.
fn smoothed_again(chain: &Chain, curve: &Curve) -> Result<Option<Curve>, SpectrumRefusal> {
    let mut again: Option<Curve> = None;
    for step in &chain.steps {
        let Step::Filter { filter } = step else { continue };
        if filter.derivative > 0 {
            return Ok(None);
        }
        again = Some(filter.apply(again.as_ref().unwrap_or(curve))?.curve);
    }
    Ok(again)
}

/// The same peak on another curve over the same points, between the same bases; none where it stands out no more.
fn between_same_bases(peak: &Peak, curve: &Curve, upwards: bool) -> Option<Peak> {
    let at = |x: f64| {
        let place = curve.x().iter().position(|own| *own == x)?;
        let y = *curve.y().get(place)?;
        Some(if upwards { y } else { -y })
    };
    let prominence = at(peak.sampled_x)? - at(peak.left_base)?.max(at(peak.right_base)?);
    (prominence > 0.0).then_some(Peak { prominence, ..*peak })
}

/// Up to so large a part of prominence or width that a second smoothing takes, the first one took no more than an error that knows of it
/// covers.
///
/// A choice, from bands without noise, smoothed once and twice with polynomials of order 0 to 4 over 25 and 51 points
/// (`tests/independent_smoothing.py`, by SciPy): what the first smoothing took over what the second one takes is 1.0 to 1.3 of Gauss
/// bands and 1.0 to 1.9 of Lorentz bands that lose up to 2 %, so that 1.96 errors hold it. Where a second smoothing takes 5 %, the first
/// took up to 8 times as much, and no number is known. It is a band 1.2 times as wide as the window (1.5 times for Lorentz) at order 2
/// that loses about 1 %.
const MOST_FLATTENED: f64 = 0.02;

/// Lets the errors know what smoothing does to a band, and says so where that passes an error.
///
/// A filter that takes a part of a band the first time takes about the same part the second time: what a number changes by when the
/// smoothed curve is smoothed once more is what it changed by before (Tukey's twicing, Exploratory Data Analysis, 1977, chapter 16),
/// larger by as much as the band had become lower already. It goes into the error as a standard deviation, for its sign is known but
/// its size is not to be trusted to a correction. Beyond [`MOST_FLATTENED`] its size is not known at all, and there are no errors. Only
/// what smoothing does to any band is told: that it is lower and wider.
fn flattened(
    peaks: &[Peak],
    lists: &mut [[Parameter; 5]],
    again: &[Option<[Parameter; 5]>],
    upwards: bool,
    outcome: &mut Outcome,
) {
    let mut told = Vec::new();
    for ((peak, list), twice) in peaks.iter().zip(lists).zip(again) {
        let place = Six(peak.sampled_x);
        let Some((twice, lower, wider)) = twice.as_ref().and_then(|twice| lost_again(list, twice)) else {
            list.iter_mut()
                .for_each(|parameter| parameter.standard_error = None);
            told.push(format!(
                "the peak at {place} is gone when the curve is smoothed once more: how far its numbers are off is not known, and they have no \
                 errors"
            ));
            continue;
        };
        let [_, _, prominence, width, _] = &*list;
        if too_much(lower, prominence) || too_much(wider, width) {
            let off = without_what_moved(list, twice);
            told.push(format!(
                "the peak at {place} is too narrow for this smoothing: once more, it would change its prominence by {:.1} % and its width by \
                 {:.1} %; how far {off} off is not known, and no error is given for that; a narrower window changes less",
                -100.0 * lower,
                100.0 * wider
            ));
            continue;
        }
        let ratio = (1.0 / (1.0 - lower)).max(1.0);
        let mut changes = Vec::new();
        for (parameter, twice) in list.iter_mut().zip(twice) {
            let (Some(value), Some(after), Some(error)) =
                (parameter.value, twice.value, parameter.standard_error)
            else {
                continue;
            };
            let bias = (value - after) * ratio;
            parameter.standard_error = Some(error.hypot(bias));
            let (changed, word) = match (parameter.name.as_str(), upwards) {
                ("peak-height", true) => (bias, "low"),
                ("peak-height", false) => (-bias, "high"),
                ("peak-width", _) => (-bias, "high"),
                _ => continue,
            };
            if changed > error {
                let name = parameter.name.trim_start_matches("peak-");
                changes.push(format!("{name} by about {} too {word}", two(changed)));
            }
        }
        if !changes.is_empty() {
            told.push(format!(
                "smoothing changes the peak at {place}: {}; the errors allow for it, and a narrower window changes less",
                changes.join(", ")
            ));
        }
    }
    for text in told {
        outcome
            .remarks
            .push(Diagnostic::warning(Code::new("smoothing-flattens"), text));
    }
}

/// Whether a second smoothing takes so large a part that it is not known what the first one took. A part below zero is no smoothing's, and
/// one within the error of the number may be the noise's: bands that are broad and noisy are not called narrow.
fn too_much(part: f64, of: &Parameter) -> bool {
    let error = of.standard_error.zip(of.value);
    let within = error.map_or(0.0, |(error, value)| error / value.abs());
    part > MOST_FLATTENED.max(within)
}

/// So many times what the second smoothing took, the first one took at most, as of the bands of [`MOST_FLATTENED`] that lose 5 %.
const MOST_BEFORE: f64 = 8.0;

/// Takes the errors from the numbers of a peak that is too narrow, but for those that stay within their errors however much the first
/// smoothing took: of a small peak on a high flank the prominence goes before height and position do. Says which numbers have none.
fn without_what_moved(list: &mut [Parameter; 5], twice: &[Parameter; 5]) -> String {
    let mut off = Vec::new();
    for (parameter, twice) in list.iter_mut().zip(twice) {
        let (Some(value), Some(error)) = (parameter.value, parameter.standard_error) else {
            continue;
        };
        let before = twice
            .value
            .map_or(f64::INFINITY, |after| MOST_BEFORE * (value - after));
        parameter.standard_error = Some(error.hypot(before)).filter(|_| before.abs() <= error);
        if parameter.standard_error.is_none() {
            off.push(
                parameter
                    .name
                    .trim_start_matches("peak-")
                    .replace("peak", "position"),
            );
        }
    }
    match off.as_slice() {
        [] => "the numbers without errors are".to_owned(),
        all if all.len() == list.len() => "the numbers are".to_owned(),
        [one] => format!("{one} is"),
        [first @ .., last] => format!("{} and {last} are", first.join(", ")),
    }
}

/// What a second smoothing takes from a peak: its numbers then, and the parts by which it is lower and wider. None where it is no more
/// the same peak: without a prominence, or farther from its place than it is wide.
fn lost_again<'a>(
    list: &[Parameter; 5],
    twice: &'a [Parameter; 5],
) -> Option<(&'a [Parameter; 5], f64, f64)> {
    let [place, _, prominence, width, _] = list;
    let [place_again, _, prominence_again, width_again, _] = twice;
    let moved = (place_again.value? - place.value?).abs();
    if moved > width.value.unwrap_or(f64::INFINITY) {
        return None;
    }
    let part = |before: f64, after: f64| (after - before) / before;
    let lower = -part(prominence.value?, prominence_again.value?);
    let wider = match (width.value, width_again.value) {
        (Some(before), Some(after)) => part(before, after),
        // A flank that comes down to the level no more has gone far.
        (Some(_), None) => return None,
        (None, _) => 0.0,
    };
    (lower.is_finite() && lower < 1.0 && wider.is_finite()).then_some((twice, lower, wider))
}

/// Fewer points than this leave too few distances between them by which [`alike_noise`] tells noise from a curve that bends.
const TELLING: usize = 48;

/// Says so where the noise may be too large since there are few points.
pub(super) fn tell_few(alike: Option<AlikeNoise>, points: usize, outcome: &mut Outcome) {
    let Some(alike) = alike.filter(|_| points < TELLING) else {
        return;
    };
    outcome.remarks.push(Diagnostic::note(
        Code::new("noise-at-most"),
        format!(
            "among {points} points noise cannot be told from a curve that bends from point to point: it is {:.2e} at most, and the errors \
             may be too large",
            alike.sd
        ),
    ));
}

/// The name of the noise among so many points: where few do not tell it from a curve, it is a bound, in the statistics too.
pub(super) fn noise_name(points: usize) -> &'static str {
    if points < TELLING {
        "noise_at_most"
    } else {
        "noise"
    }
}

/// Says so where the noise of neighbours is alike.
pub(super) fn tell_alike(alike: Option<AlikeNoise>, outcome: &mut Outcome) {
    let Some(alike) = alike.filter(|alike| alike.together > 1) else {
        return;
    };
    outcome
        .statistics
        .insert("noise_alike_over_points".into(), alike.together as f64);
    outcome.remarks.push(Diagnostic::warning(
        Code::new("errors-correlated"),
        format!(
            "neighbouring readings go together over about {} points, since the instrument smooths them, or since the curve bends \
             within so few points: the noise, what counts as a peak and the errors allow for it, and the noise may be less than {:.2e}",
            alike.together, alike.sd
        ),
    ));
}

/// Says so where extremes would count if every point had noise of its own, and do not since neighbours err together.
fn tell_hidden(
    alike: Option<AlikeNoise>,
    curve: &Curve,
    plan: &PeaksPlan,
    counted: usize,
    outcome: &mut Outcome,
) {
    let Some(alike) = alike.filter(|alike| alike.together > 1) else {
        return;
    };
    let own = point_noise(curve.y()).map_or(0.0, |noise| times_noise(curve.len()) * noise);
    let all = find_peaks(
        curve,
        &PeakOptions {
            extreme: plan.extreme,
            min_prominence: Threshold::Absolute(own),
            within: plan.within,
            ..PeakOptions::default()
        },
    );
    let hidden = all.map_or(0, |all| all.peaks.len().saturating_sub(counted));
    if hidden == 0 {
        return;
    }
    let (noun, they) = if hidden == 1 {
        ("extreme", "it")
    } else {
        ("extremes", "they")
    };
    outcome.remarks.push(Diagnostic::note(
        Code::new("processing-remark"),
        format!(
            "{hidden} further {noun} cannot be told from noise that wanders over about {} points: {they} may be bands or chance; \
             repeated measurements tell, and --prominence counts what stands out by a height of yours",
            alike.together
        ),
    ));
}

/// Takes out peaks whose top is flat: over so many points that the flanks, going on as steeply as they come up to it, would have made
/// a top far higher. There the instrument ended, and there is no position.
fn leave_flat_tops(curve: &Curve, noise: f64, peaks: &mut Vec<Peak>, outcome: &mut Outcome) {
    let rising = curve.rising();
    let (x, y) = (rising.x(), rising.y());
    let mut told: Vec<(f64, f64)> = Vec::new();
    peaks.retain(|peak| {
        let at = x.partition_point(|v| *v < peak.sampled_x).min(x.len() - 1);
        let Some((first, last)) = flat_top(y, at, noise) else {
            return true;
        };
        let place = (x[first], x[last]);
        if !told.contains(&place) {
            told.push(place);
        }
        false
    });
    for (from, to) in told {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("flat-top"),
            format!(
                "between {} and {} the curve is flat to its noise, with steep flanks on both sides, as where an instrument comes to its \
                 end: no peak is read there; dilute and measure again",
                Six(from),
                Six(to)
            ),
        ));
    }
}

/// Fewest points of a flat top.
const FEWEST_FLAT: usize = 8;

/// How much farther a curve falls at twice the distance from the middle of its top: a parabola 4 times, a top of fourth degree 16
/// times, one that was cut off much more.
const CUT_OFF: f64 = 25.0;

/// The first and the last point of the flat top that holds the point `at`; none where the top is round.
fn flat_top(y: &[f64], at: usize, noise: f64) -> Option<(usize, usize)> {
    let drop = 8.0 * noise;
    let level = y[at] - drop;
    let first = (0..at).rev().find(|i| y[*i] < level)? + 1;
    let last = (at + 1..y.len()).find(|i| y[*i] < level)? - 1;
    if last + 1 - first < FEWEST_FLAT {
        return None;
    }
    let half = (last - first).div_ceil(2);
    let far = [first.checked_sub(half)?, last + half];
    let fallen = far
        .into_iter()
        .map(|i| y.get(i).map(|v| y[at] - v))
        .collect::<Option<Vec<f64>>>()?;
    fallen
        .iter()
        .all(|fallen| *fallen > CUT_OFF * drop)
        .then_some((first, last))
}

/// Half a step of the last decimal counts as noise that no difference of readings shows.
pub(super) fn resolution(trace: &Trace) -> f64 {
    let step = trace
        .y
        .decimals
        .max()
        .map(|decimals| 10f64.powi(-i32::from(decimals)));
    step.unwrap_or(0.0) / 12f64.sqrt()
}

/// A window for derivatives, in points: half the width of the narrowest peak, a fifteenth of all points without one.
pub(super) fn window_of(curve: &Curve, peaks: &[Peak]) -> usize {
    let (low, high) = curve.range();
    let step = (high - low) / (curve.len().max(2) - 1) as f64;
    let narrowest = peaks
        .iter()
        .filter_map(|peak| match peak.width {
            Width::Found { width, .. } => Some(width / step),
            Width::Open { .. } => None,
        })
        .fold(f64::INFINITY, f64::min);
    let points = if narrowest.is_finite() {
        0.5 * narrowest
    } else {
        curve.len() as f64 / 15.0
    };
    2 * (points.clamp(5.0, 201.0) as usize / 2) + 1
}

/// The noise that points of their own would need for a mean over many to be as unsure: of points that are alike a mean over many is
/// surer by fewer of them.
pub(super) fn of_means(noise: AlikeNoise) -> f64 {
    noise.wary * (noise.together as f64).sqrt()
}

/// Shoulders that noise alone makes in less than one of twenty spectra; `noise` as that of [`of_means`], since a second derivative is
/// taken over many points.
pub(super) fn shoulders(curve: &Curve, peaks: &[Peak], noise: f64, within: Option<Window>) -> Vec<Shoulder> {
    let window = window_of(curve, peaks);
    let own = point_noise(curve.y()).unwrap_or(0.0);
    if noise <= 0.0 || own <= 0.0 || curve.len() < 3 * window {
        return Vec::new();
    }
    let depth = Threshold::Noise(times_noise(curve.len()) * (noise / own).max(1.0));
    let Ok(mut found) = find_shoulders(curve, window, 3, depth) else {
        return Vec::new();
    };
    found.retain(|shoulder| within.is_none_or(|within| within.holds(shoulder.x)));
    found
}

/// Puts what was measured over the peak's width in the place of what the recorded points say.
fn over_width(list: &mut [Parameter; 5], measured: &MeasuredPeak) {
    let [position, height, prominence, width, area] = list;
    let put = |parameter: &mut Parameter, found: Option<Estimate>| {
        if let Some(found) = found {
            parameter.value = Some(found.value);
            parameter.standard_error = Some(found.error).filter(|error| error.is_finite() && *error > 0.0);
            parameter.reason = None;
        }
    };
    put(position, Some(measured.position));
    put(height, Some(measured.height));
    put(prominence, Some(measured.prominence));
    put(width, measured.width);
    let found = measured.area.ok();
    area.value = found.map(|found| found.value);
    area.standard_error = found.map(|found| found.error).filter(|error| *error > 0.0);
}

/// The unit behind a number of the axis, with a space before it.
fn behind(unit: Option<&Unit>) -> String {
    let unit = unit.map(Unit::display).unwrap_or_default();
    if unit.is_empty() { unit } else { format!(" {unit}") }
}

/// Says by what definition the area of a peak was found, or why it has none.
fn tell_area(
    list: &mut [Parameter; 5],
    peak: &Peak,
    found: Result<BandArea, NoArea>,
    shoulders: &[Shoulder],
) {
    let nm = behind(list[0].unit.as_ref());
    let place = format!("{}{nm}", plain(peak.sampled_x));
    let between = || {
        let lies = peak.area.map(|area| {
            let over = match area.baseline {
                AreaBaseline::Zero => "zero",
                AreaBaseline::Chord => "the line between these points",
            };
            format!(
                "; from {} to {}{nm}, {} lies over {over}",
                plain(area.from),
                plain(area.to),
                three(area.value)
            )
        });
        lies.unwrap_or_default()
    };
    let words = match found {
        Ok(area) => {
            let (from, to) = area.limits;
            let mut words = format!(
                "area at {place}: from {} to {}{nm}, over ",
                plain(from),
                plain(to)
            );
            let over = match area.background {
                Background::Zero => "zero".to_owned(),
                of => format!(
                    "{} by the readings beyond (from {} to {}{nm})",
                    match of {
                        Background::Bent => "a bent background",
                        Background::Scatter => "a background of scattered light",
                        _ => "a straight background",
                    },
                    plain(area.reach.0),
                    plain(area.reach.1)
                ),
            };
            words.push_str(&over);
            if area.beyond > 0.5 * area.error {
                words.push_str(&format!(", with {} in flanks beyond", three(area.beyond)));
            }
            let inside: Vec<String> = shoulders
                .iter()
                .filter(|shoulder| from < shoulder.x && shoulder.x < to)
                .map(|shoulder| plain(shoulder.x))
                .collect();
            if !inside.is_empty() {
                words.push_str(&format!(", with the shoulder near {}{nm}", inside.join(" and ")));
            }
            if area.by_choice > 0.5 * area.error {
                words.push_str("; most of its error is what the background may be");
            }
            words
        }
        Err(why) => format!(
            "no area at {place}: {}{}",
            match why {
                NoArea::Overlaps => "the band overlaps another at its base, and --bands fits both",
                NoArea::CutOff =>
                    "the curve ends, or has a gap, before the background beside the band is seen",
                NoArea::GoesOn => "its flanks go on beyond the curve",
                NoArea::Unclear =>
                    "how the background goes on below the band is not known to a tenth of the area; --bands fits bands and background together",
                NoArea::NotZero => "it would count from zero, and the readings beside the band are not zero",
            },
            between()
        ),
    };
    list[4].reason = Some(words);
}

/// Says by what definition an area was found that no more than the points tell.
fn tell_bare_area(list: &mut [Parameter; 5], peak: &Peak, baseline: AreaBaseline) {
    let (Some(area), nm) = (peak.area, behind(list[0].unit.as_ref())) else {
        return;
    };
    let over = match baseline {
        AreaBaseline::Zero => "zero",
        AreaBaseline::Chord => "the line between these two points",
    };
    list[4].reason = Some(format!(
        "area at {}{nm}: from {} to {}{nm}, over {over}; how much of the band that is, is not known",
        plain(peak.sampled_x),
        plain(area.from),
        plain(area.to)
    ));
}

/// A place on the axis in at most six figures, without zeros at the end.
fn plain(value: f64) -> String {
    let text = Six(value).to_string();
    if text.contains('.') && !text.contains('e') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Three figures of a number without an error.
fn three(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || !(1e-3..1e6).contains(&size) {
        return format!("{value:.2e}");
    }
    format!("{value:.*}", (2.0 - size.log10().floor()).max(0.0) as usize)
}

/// From this part of height or width on, what a background makes of them is told. A choice: below it other things matter more.
const TOLD: f64 = 0.03;

fn tell_backgrounds(
    lists: &[[Parameter; 5]],
    over: &[Option<MeasuredPeak>],
    level: WidthLevel,
    outcome: &mut Outcome,
) {
    for (list, measured) in lists.iter().zip(over) {
        if let Some(measured) = measured {
            tell_background(list, measured, level, outcome);
        }
    }
}

/// Says so where prominence and width are those of the curve, and not those of the band, since the background is not level.
fn tell_background(list: &[Parameter; 5], measured: &MeasuredPeak, level: WidthLevel, outcome: &mut Outcome) {
    let [place, _, prominence, width, _] = list;
    let (Ok(area), Some(at), Some(stands)) = (measured.area, place.value, prominence.value) else {
        return;
    };
    let height = (measured.height.value - area.below_top).abs();
    let differs = |own: f64, error: Option<f64>, band: f64| {
        (own - band).abs() > TOLD * band + 2.0 * error.unwrap_or(0.0)
    };
    let is_other = differs(stands, prominence.standard_error, height)
        || level == WidthLevel::HalfProminence
            && width
                .value
                .is_none_or(|own| differs(own, width.standard_error, area.width));
    if area.background == Background::Zero || !is_other {
        return;
    }
    let nm = behind(place.unit.as_ref());
    let au = behind(prominence.unit.as_ref());
    outcome.remarks.push(Diagnostic::warning(
        Code::new("background-not-level"),
        format!(
            "the background of the peak at {}{nm} is not level: prominence and width are those of the curve as it is, and the position may be moved; over the background the band is about {}{au} high and {}{nm} wide at half height",
            plain(at),
            three(height),
            three(area.width)
        ),
    ));
}

pub(super) fn describe(chain: &Chain, outcome: &mut Outcome) {
    if !chain.steps.is_empty() {
        outcome.model = chain.to_string();
    }
}

pub(super) fn drawn_of(processed: &Processed, trace: &Trace) -> PlotData {
    let spectrum = &processed.spectrum;
    PlotData {
        x_title: axis_title(spectrum.axis),
        y_title: match spectrum.ordinate {
            Ordinate::Other => super::title(&trace.y),
            Ordinate::PercentTransmittance => "transmittance / %".into(),
            ordinate @ Ordinate::Absorbance => format!("{ordinate} / AU"),
            ordinate => ordinate.to_string(),
        },
        x: spectrum.curve.x().to_vec(),
        y: spectrum.curve.y().to_vec(),
        used: (0..spectrum.curve.len()).collect(),
        ..PlotData::default()
    }
}

/// The noise of a single point: before a filter, where there was one.
pub(super) fn noise_of(
    processed: &Processed,
    plan: &PeaksPlan,
) -> Result<Option<AlikeNoise>, SpectrumRefusal> {
    let own = |noise: f64| AlikeNoise {
        sd: noise,
        together: 1,
        wary: noise,
    };
    if plan.steps.iter().any(correlates) {
        let differentiated = plan
            .steps
            .iter()
            .any(|step| matches!(step, Step::Filter { filter } if filter.derivative > 0));
        return match (processed.noise_before_smoothing, differentiated, plan.prominence) {
            // The noise of the points is no measure of that of a derivative, which has other units.
            (_, true, Some(_)) | (None, false, Some(_)) => Ok(None),
            (Some(noise), false, _) => Ok(Some(own(noise))),
            _ => Err(SpectrumRefusal::Undetermined {
                what: "the noise after these steps".into(),
                why: "say which prominence counts".into(),
            }),
        };
    }
    match (alike_noise(processed.spectrum.curve.y()), plan.prominence) {
        (Ok(noise), _) => Ok(Some(noise)),
        // Too few points for their noise; with a prominence a peak can still be read.
        (Err(SpectrumRefusal::Data(Refusal::TooFewPoints { .. })), Some(_)) => Ok(None),
        (Err(refusal), _) => Err(refusal),
    }
}

pub(super) fn correlates(step: &Step) -> bool {
    matches!(step, Step::Filter { .. } | Step::Resample { .. })
}

pub(super) fn options(plan: &PeaksPlan, processed: &Processed, alike: Option<AlikeNoise>) -> PeakOptions {
    let noise = alike.map(|alike| alike.sd);
    let points = processed.spectrum.curve.len();
    let prominence = plan
        .prominence
        .or_else(|| alike.map(|alike| least_prominence(alike, points)))
        .unwrap_or(0.0);
    // The error of a position needs independent points.
    let independent = processed.noise_before_smoothing.is_none() && !plan.steps.iter().any(correlates);
    PeakOptions {
        extreme: plan.extreme,
        min_prominence: Threshold::Absolute(prominence),
        within: plan.within,
        refinement: plan.refinement,
        width: plan.width,
        area: plan.area,
        noise: noise.filter(|_| independent),
        ceiling: None,
    }
}

/// A number without an error.
pub(super) fn parameter(name: &str, value: Option<f64>, unit: Option<Unit>) -> Parameter {
    Parameter {
        name: name.into(),
        value,
        unit,
        standard_error: None,
        intervals: Vec::new(),
        reason: None,
    }
}

pub(super) fn unit_of_ordinate(ordinate: Ordinate) -> Option<Unit> {
    match ordinate {
        Ordinate::Absorbance => Some(Unit::ABSORBANCE),
        Ordinate::PercentTransmittance => Some(Unit::PERCENT),
        Ordinate::Transmittance => Some(Unit::ONE),
        Ordinate::Derivative(_) | Ordinate::Other => None,
    }
}

fn parameters(peak: &Peak, axis: Axis, ordinate: Ordinate) -> [Parameter; 5] {
    let bare = parameter;
    let y_unit = unit_of_ordinate(ordinate);
    let x_unit = unit_of(axis);
    let mut position = bare("peak", Some(peak.apex.x()), x_unit.clone());
    let mut height = bare("peak-height", Some(peak.apex.height()), y_unit.clone());
    match peak.apex {
        Apex::Refined {
            x_error,
            height_error,
            ..
        } => {
            position.standard_error = x_error;
            height.standard_error = height_error;
        }
        Apex::Flat { from, to, .. } => {
            position.reason = Some(format!(
                "the top is flat from {from} to {to}; its middle is given"
            ));
        }
        Apex::Sampled { .. } => {
            position.reason = Some("the highest recorded point; no parabola could be laid through it".into());
        }
    }
    let mut width = bare("peak-width", None, x_unit.clone());
    match peak.width {
        Width::Found { width: found, .. } => width.value = Some(found),
        Width::Open { at } => {
            width.reason = Some(format!("a flank does not come down to {at:.4}"));
        }
    }
    let area_unit = match ordinate {
        Ordinate::Absorbance => x_unit.and_then(|unit| match unit.code() {
            code if code.starts_with('/') => Unit::ucum(&format!("{}{code}", Unit::ABSORBANCE.code())).ok(),
            code => Unit::ucum(&format!("{}.{code}", Unit::ABSORBANCE.code())).ok(),
        }),
        Ordinate::Transmittance => x_unit,
        _ => None,
    };
    let mut area = bare("peak-area", peak.area.map(|area| area.value), area_unit);
    if peak.area.is_none() {
        area.reason = Some("points are missing between the bases".into());
    }
    [
        position,
        height,
        bare("peak-prominence", Some(peak.prominence), y_unit),
        width,
        area,
    ]
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use curvary_record::{Column, Digest, Fields, Quantity, RunId, SourceRef, Technique};

    use super::*;

    fn run(quantity: Quantity, unit: Unit, y: Vec<f64>) -> Run {
        let x: Vec<f64> = (0..y.len()).map(|i| 400.0 + i as f64).collect();
        let trace = Trace::new(
            Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x),
            Column::new(quantity, unit, y),
        )
        .expect("one length");
        let digest = Digest::of(b"x");
        Run {
            id: RunId::new(&digest, 0),
            source: SourceRef {
                path: "x.csv".into(),
                digest,
                reader: "built-in/text-table".into(),
                reader_version: "1".into(),
                encoding: None,
                ordinal: 0,
                lines: None,
            },
            technique: Technique::SPECTRUM,
            because: Vec::new(),
            fields: Fields::default(),
            traces: vec![trace],
            questions: Vec::new(),
            remarks: Vec::new(),
        }
    }

    /// A Gauss band of height 0.8 at 450.3 nm: its full width at half maximum is 2·√(2 ln 2)·σ, its area height·σ·√(2π).
    fn band(noise: f64) -> Vec<f64> {
        (0..101)
            .map(|i| {
                let away: f64 = (f64::from(i) + 400.0 - 450.3) / 8.0;
                // A fixed pattern without a trend stands for noise.
                0.8 * (-0.5 * away * away).exp() + noise * f64::from((i * 7) % 5 - 2)
            })
            .collect()
    }

    #[test]
    fn a_gauss_band_comes_out_with_its_closed_forms() {
        let found = peaks_run(
            &PeaksPlan::default(),
            &run(Quantity::ABSORBANCE, Unit::ABSORBANCE, band(1e-5)),
            &BTreeMap::new(),
        );
        let outcome = &found[0].outcome;
        assert_eq!(outcome.termination, "found", "{outcome:?}");
        let value = |name: &str| outcome.parameter(name).and_then(|p| p.value).expect(name);
        assert_eq!(outcome.parameters.len(), 5);
        assert!((value("peak") - 450.3).abs() < 0.02);
        assert!((value("peak-height") - 0.8).abs() < 1e-3);
        assert!((value("peak-width") - 2.0 * (2.0 * 2f64.ln()).sqrt() * 8.0).abs() < 0.1);
        let area = 0.8 * 8.0 * (2.0 * std::f64::consts::PI).sqrt();
        assert!((value("peak-area") - area).abs() < 0.02 * area);
        assert!(
            outcome
                .parameter("peak")
                .is_some_and(|p| p.standard_error.is_some())
        );
        assert_eq!(outcome.model, "saturation(above=3)");
    }

    #[test]
    fn two_readings_of_one_height_are_one_peak() {
        let mut y = band(1e-3);
        (y[49], y[50], y[51]) = (0.802, 0.8, 0.802);
        let found = peaks_run(
            &PeaksPlan::default(),
            &run(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
            &BTreeMap::new(),
        );
        let outcome = &found[0].outcome;
        let peaks = outcome.parameters.iter().filter(|own| own.name == "peak");
        assert_eq!(peaks.count(), 1, "{outcome:?}");
    }

    #[test]
    fn of_a_small_peak_on_a_high_flank_height_and_position_keep_their_errors() {
        let list = |values: [f64; 5]| {
            let names = [
                "peak",
                "peak-height",
                "peak-prominence",
                "peak-width",
                "peak-area",
            ];
            let errors = [0.3, 0.0016, 1e-5, 0.1, 0.01];
            std::array::from_fn(|j| Parameter {
                standard_error: Some(errors[j]),
                ..parameter(names[j], Some(values[j]), None)
            })
        };
        let mut own: [Parameter; 5] = list([534.0, 0.3268, 0.0026, 35.0, 0.2]);
        let (_, lower, wider) =
            lost_again(&own, &list([534.01, 0.3267, 0.0025, 35.2, 0.202])).expect("the same peak");
        assert!(too_much(lower, &own[2]) && !too_much(wider, &own[3]));
        let twice = list([534.01, 0.3267, 0.0025, 35.2, 0.202]);
        assert_eq!(
            without_what_moved(&mut own, &twice),
            "prominence, width and area are"
        );
        let kept: Vec<bool> = own.iter().map(|own| own.standard_error.is_some()).collect();
        assert_eq!(kept, [true, true, false, false, false]);
        // They move themselves: nothing has an error.
        let mut own = list([534.0, 0.3268, 0.0026, 35.0, 0.2]);
        let off = without_what_moved(&mut own, &list([534.1, 0.3258, 0.0016, 35.2, 0.202]));
        assert_eq!(off, "the numbers are");
        // A rise is no smoothing's, and what lies within the error may be the noise's.
        assert!(!too_much(-0.057, &own[2]) && too_much(0.057, &own[2]));
        let noisy = Parameter {
            standard_error: Some(0.0002),
            ..own[2].clone()
        };
        assert!(!too_much(0.057, &noisy));
    }

    #[test]
    fn transmittance_is_turned_into_absorbance_and_told() {
        let percent = band(1e-5).iter().map(|a| 100.0 * 10f64.powf(-a)).collect();
        let found = peaks_run(
            &PeaksPlan::default(),
            &run(Quantity::TRANSMITTANCE, Unit::PERCENT, percent),
            &BTreeMap::new(),
        );
        let outcome = &found[0].outcome;
        assert_eq!(outcome.model, "ordinate(absorbance) | saturation(above=3)");
        let at = outcome.parameter("peak").and_then(|p| p.value).expect("a peak");
        assert!((at - 450.3).abs() < 0.02);
    }

    #[test]
    fn a_blank_and_smoothing_are_part_of_the_record() {
        let sample = run(
            Quantity::ABSORBANCE,
            Unit::ABSORBANCE,
            band(1e-3).iter().map(|a| a + 0.1).collect(),
        );
        let blank = run(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.1; 101]);
        let references = [(
            "b1".to_owned(),
            spectrum_of(&blank.traces[0]).expect("a spectrum").0,
        )]
        .into();
        let chain: Chain = "blank(b1) | smooth(window=11, order=3)".parse().expect("a chain");
        let plan = PeaksPlan {
            steps: chain.steps,
            prominence: Some(0.1),
            ..PeaksPlan::default()
        };
        let found = peaks_run(&plan, &sample, &references);
        let outcome = &found[0].outcome;
        let height = outcome
            .parameter("peak-height")
            .and_then(|p| p.value)
            .expect("a peak");
        assert!((height - 0.8).abs() < 0.01, "{height}");
        let again: PeaksPlan = serde_json::from_value(serde_json::to_value(&outcome.settings).expect("JSON"))
            .expect("the settings are a plan");
        assert_eq!(again, plan);
        assert_eq!(peaks_run(&again, &sample, &references), found);
        let unknown = peaks_run(&plan, &sample, &BTreeMap::new());
        assert!(unknown[0].outcome.termination.starts_with("unknown-reference"));
    }

    #[test]
    fn bad_spectra_give_a_reason_and_no_number() {
        for (y, wanted) in [
            (vec![0.5; 50], "constant-signal"),
            (vec![4.0; 50], "all-saturated"),
            ((0..50).map(f64::from).map(|i| i / 50.0).collect(), "no-peak"),
            (vec![0.1, 0.2, 0.1], "too-few-points"),
        ] {
            let found = peaks_run(
                &PeaksPlan::default(),
                &run(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
                &BTreeMap::new(),
            );
            assert!(!found[0].is_result());
            let why = &found[0].outcome.termination;
            assert!(why.starts_with(wanted), "{why}: expected {wanted}");
        }
    }
}
