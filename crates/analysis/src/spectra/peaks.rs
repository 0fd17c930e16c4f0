use serde::{Deserialize, Serialize};

use super::polynomial::Polynomial;
use super::{Curve, SpectrumRefusal, Window, point_noise, value_at};

/// More extremes than this are noise, not a list that anybody reads.
const MOST_PEAKS: usize = 1000;

/// Which extremes to look for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Extreme {
    /// Peaks.
    #[default]
    Maximum,
    /// Valleys. Heights are y values as recorded; prominence, width and area are those of the
    /// curve turned upside down.
    Minimum,
}

/// From which prominence on an extreme counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Threshold {
    /// A height in units of y.
    Absolute(f64),
    /// So many times the noise of the points, as [`point_noise`] finds it. Five is common practice.
    ///
    /// Not for a smoothed curve, whose neighbours are correlated so that the noise comes out far too
    /// small: there an absolute height is right, from the noise before smoothing
    /// ([`super::Processed::noise_before_smoothing`]).
    Noise(f64),
}

/// How the position between the points is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "method", rename_all = "kebab-case")]
pub enum Refinement {
    /// Over the peak's own width, where it has points enough ([`super::measure_peak`]); here as three points.
    ByWidth,
    /// The parabola through the highest point and its neighbours.
    ThreePoints,
    /// The least-squares parabola over so many points around the highest (odd, 5 or more).
    LocalQuadratic {
        /// Count of points.
        points: usize,
    },
}

/// At which height a width is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WidthLevel {
    /// Half-way down the prominence.
    HalfProminence,
    /// Half of the height above zero: the usual full width at half maximum, once a baseline is off.
    HalfHeight,
}

/// From where an area is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AreaBaseline {
    /// y = 0.
    Zero,
    /// The straight line between the curve's points at the two limits.
    Chord,
}

/// What to look for and how to measure it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PeakOptions {
    /// Peaks or valleys.
    pub extreme: Extreme,
    /// Least prominence.
    pub min_prominence: Threshold,
    /// Only extremes here are reported (prominences still come from the whole curve).
    pub within: Option<Window>,
    /// How positions between points are found.
    pub refinement: Refinement,
    /// Where widths are taken.
    pub width: WidthLevel,
    /// From where areas are counted.
    pub area: AreaBaseline,
    /// Known noise of a single point, for the errors of position and height.
    pub noise: Option<f64>,
    /// End of the trusted range: no extreme is read from points at or above this y.
    pub ceiling: Option<f64>,
}

impl Default for PeakOptions {
    fn default() -> Self {
        Self {
            extreme: Extreme::Maximum,
            min_prominence: Threshold::Noise(5.0),
            within: None,
            refinement: Refinement::ThreePoints,
            width: WidthLevel::HalfProminence,
            area: AreaBaseline::Chord,
            noise: None,
            ceiling: None,
        }
    }
}

/// Where an extreme lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Apex {
    /// Found between the points by a parabola.
    Refined {
        /// Position.
        x: f64,
        /// Standard error of the position: from the residuals of the parabola or the known noise,
        /// whichever is larger; absent where there is neither.
        x_error: Option<f64>,
        /// Height of the parabola there.
        height: f64,
        /// Standard error of the height.
        height_error: Option<f64>,
        /// How it was found.
        refinement: Refinement,
    },
    /// Three or more equal highest points: clipped, or rounded too far to tell more.
    Flat {
        /// First of the equal points.
        from: f64,
        /// Last of the equal points.
        to: f64,
        /// Their height.
        height: f64,
    },
    /// The highest recorded point; its window reaches over an end or a gap of the curve, or no parabola
    /// in it opens the right way.
    Sampled {
        /// Its position.
        x: f64,
        /// Its height.
        height: f64,
    },
}

impl Apex {
    /// The best single position: the parabola's, the middle of a flat top, or the recorded point.
    pub fn x(&self) -> f64 {
        match *self {
            Self::Refined { x, .. } | Self::Sampled { x, .. } => x,
            Self::Flat { from, to, .. } => from + (to - from) / 2.0,
        }
    }

    /// The height that goes with [`Apex::x`].
    pub fn height(&self) -> f64 {
        match *self {
            Self::Refined { height, .. } | Self::Flat { height, .. } | Self::Sampled { height, .. } => height,
        }
    }
}

/// A width at a stated level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Width {
    /// Both flanks cross the level; positions are interpolated linearly.
    Found {
        /// The level in y.
        at: f64,
        /// Where the lower-x flank crosses it.
        left: f64,
        /// Where the higher-x flank crosses it.
        right: f64,
        /// Their distance.
        width: f64,
    },
    /// A flank does not come down to the level before the curve ends or rises again.
    Open {
        /// The level in y.
        at: f64,
    },
}

/// An area with its limits and what it was counted from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Area {
    /// Area by the trapezoidal rule, in y times x; x counted upwards.
    pub value: f64,
    /// Lower limit.
    pub from: f64,
    /// Upper limit.
    pub to: f64,
    /// What it was counted from.
    pub baseline: AreaBaseline,
}

/// A peak or a valley.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Peak {
    /// The point it was found at, counted from 0 in recorded order.
    pub index: usize,
    /// x of that point.
    pub sampled_x: f64,
    /// y of that point.
    pub sampled_y: f64,
    /// Its position and height.
    pub apex: Apex,
    /// Height of the recorded point over the higher of its two bases.
    pub prominence: f64,
    /// x of the lower-x base: the lowest point on the way to higher ground (or to the end).
    pub left_base: f64,
    /// x of the higher-x base.
    pub right_base: f64,
    /// Width of the recorded peak at the asked level.
    pub width: Width,
    /// Area between the bases; absent where points are missing among them.
    pub area: Option<Area>,
}

/// All extremes of a curve, by rising x.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PeakTable {
    /// The extremes.
    pub peaks: Vec<Peak>,
    /// The prominence from which on they counted, in units of y.
    pub min_prominence: f64,
    /// Stretches at or above the ceiling, where nothing was read.
    pub saturated: Vec<Window>,
    /// What else a reader should know.
    pub notes: Vec<String>,
}

/// Finds peaks or valleys.
///
/// A peak is a point, or a run of equal points, with lower points on both sides; the first and the
/// last point are never one. Prominence follows the topographic definition.
///
/// # Errors
/// `too-few-points` below three points (ten, where the threshold is the noise), `constant-signal`,
/// [`SpectrumRefusal::BadSetting`], `all-saturated`.
pub fn find_peaks(curve: &Curve, options: &PeakOptions) -> Result<PeakTable, SpectrumRefusal> {
    check_options(options)?;
    if curve.len() < 3 {
        return Err(SpectrumRefusal::too_few("points", curve.len(), 3));
    }
    let curve_rises = curve.x()[1] > curve.x()[0];
    let rising = curve.rising();
    let (x, y) = (rising.x(), rising.y());
    if y.iter().all(|v| *v == y[0]) {
        return Err(crate::refusal::Refusal::ConstantSignal { value: y[0] }.into());
    }
    let mut notes = Vec::new();
    let min_prominence = least_prominence(options.min_prominence, y, &mut notes)?;
    let sign = if options.extreme == Extreme::Maximum {
        1.0
    } else {
        -1.0
    };
    let up: Vec<f64> = y.iter().map(|v| sign * v).collect();
    let over = |i: usize| options.ceiling.is_some_and(|c| y[i] >= c);
    let saturated = stretches(x, over);
    if (0..x.len()).all(over) {
        let limit = options.ceiling.unwrap_or(f64::INFINITY);
        return Err(crate::refusal::Refusal::AllSaturated {
            limit,
            count: x.len(),
        }
        .into());
    }
    if !saturated.is_empty() {
        notes.push(format!(
            "{} points lie at or above {}, the end of the trusted range: nothing was read there",
            (0..x.len()).filter(|i| over(*i)).count(),
            options.ceiling.unwrap_or(f64::INFINITY)
        ));
    }
    tell_ends(&rising, &up, sign, &mut notes);
    let (left_bases, right_bases) = bases(&up);
    let mut peaks = Vec::new();
    let mut before: Option<usize> = None;
    for (first, last) in tops(&up, rising.breaks()) {
        let index = first.midpoint(last);
        if (first..=last).any(over)
            || options
                .within
                .is_some_and(|w| x[index] < w.from || x[index] > w.to)
        {
            continue;
        }
        let (left, right) = (left_bases[index], right_bases[index]);
        let prominence = up[index] - up[left].max(up[right]);
        if prominence < min_prominence {
            continue;
        }
        // Of two readings of one height neither has the other for higher ground. Where nothing that counts lies between them they are one
        // peak, told by the first.
        let is_same = |before: usize| {
            up[before] == up[index] && up[before..index].iter().all(|v| up[index] - v < min_prominence)
        };
        if before.is_some_and(is_same) {
            continue;
        }
        before = Some(index);
        if peaks.len() == MOST_PEAKS {
            return Err(SpectrumRefusal::setting(
                "least prominence",
                min_prominence,
                "large enough to leave at most 1000 extremes",
            ));
        }
        let whole = !rising.breaks().iter().any(|b| left < *b && *b <= right);
        peaks.push(Peak {
            index: if curve_rises { index } else { x.len() - 1 - index },
            sampled_x: x[index],
            sampled_y: y[index],
            apex: apex(
                &rising,
                &up,
                sign,
                (first, last),
                options.refinement,
                options.noise,
            ),
            prominence,
            left_base: x[left],
            right_base: x[right],
            width: width(
                &rising,
                &up,
                sign,
                index,
                (left, right),
                prominence,
                options.width,
            ),
            area: whole.then(|| area_of_points(x, y, (left, right), options.area, sign)),
        });
    }
    Ok(PeakTable {
        peaks,
        min_prominence,
        saturated,
        notes,
    })
}

fn check_options(options: &PeakOptions) -> Result<(), SpectrumRefusal> {
    if let Some(window) = options.within {
        window.check()?;
    }
    check_refinement(options.refinement)?;
    for (name, value) in [("noise", options.noise), ("ceiling", options.ceiling)] {
        if let Some(v) = value
            && !(v.is_finite() && (name == "ceiling" || v >= 0.0))
        {
            return Err(SpectrumRefusal::setting(
                name,
                v,
                "a finite number that is not negative",
            ));
        }
    }
    Ok(())
}

/// The prominence from which on an extreme counts, in units of y.
fn least_prominence(
    threshold: Threshold,
    y: &[f64],
    notes: &mut Vec<String>,
) -> Result<f64, SpectrumRefusal> {
    Ok(match threshold {
        Threshold::Absolute(v) if v.is_finite() && v >= 0.0 => v,
        Threshold::Noise(k) if k.is_finite() && k >= 0.0 => {
            let sigma = point_noise(y)?;
            notes.push(format!(
                "least prominence is {k} times the noise of the points, {sigma:.3e}"
            ));
            k * sigma
        }
        Threshold::Absolute(v) | Threshold::Noise(v) => {
            return Err(SpectrumRefusal::setting(
                "least prominence",
                v,
                "a finite number that is not negative",
            ));
        }
    })
}

/// Says where the curve ends at its highest point, and where points are missing.
fn tell_ends(rising: &Curve, up: &[f64], sign: f64, notes: &mut Vec<String>) {
    let x = rising.x();
    let highest = (0..up.len()).fold(0, |best, i| if up[i] > up[best] { i } else { best });
    if highest == 0 || highest == up.len() - 1 {
        notes.push(format!(
            "the {} point of all lies at the end of the curve (x = {}): an end is not read as an extreme",
            if sign > 0.0 { "highest" } else { "lowest" },
            x[highest]
        ));
    }
    let gaps = rising.gaps();
    if !gaps.is_empty() {
        let places: Vec<String> = gaps.iter().map(ToString::to_string).collect();
        notes.push(format!(
            "points are missing at {}: no extreme is read beside a gap, and prominences may be too large",
            places.join(", ")
        ));
    }
}

/// The area of a curve over a window; where a limit falls between points it is interpolated.
///
/// # Errors
/// [`SpectrumRefusal::BadWindow`], [`SpectrumRefusal::OutsideRange`], [`SpectrumRefusal::Gap`].
pub fn area_between(curve: &Curve, over: Window, baseline: AreaBaseline) -> Result<Area, SpectrumRefusal> {
    over.check()?;
    let rising = curve.rising();
    if let Some(gap) = rising
        .gaps()
        .iter()
        .find(|gap| gap.to > over.from && gap.from < over.to)
    {
        return Err(SpectrumRefusal::Gap {
            from: gap.from,
            to: gap.to,
        });
    }
    let (left, _) = value_at(&rising, over.from)?;
    let (right, _) = value_at(&rising, over.to)?;
    let (mut x, mut y) = (vec![over.from], vec![left]);
    for (at, value) in rising
        .x()
        .iter()
        .zip(rising.y())
        .filter(|(x, _)| **x > over.from && **x < over.to)
    {
        x.push(*at);
        y.push(*value);
    }
    x.push(over.to);
    y.push(right);
    Ok(area_of_points(&x, &y, (0, x.len() - 1), baseline, 1.0))
}

/// The area over a stretch of recorded points, both included.
fn area_of_points(
    x: &[f64],
    y: &[f64],
    (left, right): (usize, usize),
    baseline: AreaBaseline,
    sign: f64,
) -> Area {
    let (from, to) = (x[left], x[right]);
    let whole: f64 = (left..right)
        .map(|i| (x[i + 1] - x[i]) * (y[i] + y[i + 1]) / 2.0)
        .sum();
    let below = match baseline {
        AreaBaseline::Zero => 0.0,
        AreaBaseline::Chord => (to - from) * (y[left] + y[right]) / 2.0,
    };
    Area {
        value: sign * (whole - below),
        from,
        to,
        baseline,
    }
}

fn check_refinement(refinement: Refinement) -> Result<(), SpectrumRefusal> {
    match refinement {
        Refinement::LocalQuadratic { points } if points < 5 || points.is_multiple_of(2) => Err(
            SpectrumRefusal::setting("points of the parabola", points, "an odd count of 5 or more"),
        ),
        _ => Ok(()),
    }
}

/// Runs of equal points with lower points on both sides, and no break among those.
pub(super) fn tops(up: &[f64], breaks: &[usize]) -> Vec<(usize, usize)> {
    let mut found = Vec::new();
    let mut i = 1;
    while i + 1 < up.len() {
        if up[i] > up[i - 1] {
            let mut last = i;
            while last + 1 < up.len() && up[last + 1] == up[i] {
                last += 1;
            }
            let broken = breaks
                .get(breaks.partition_point(|b| *b < i))
                .is_some_and(|b| *b <= last + 1);
            if last + 1 < up.len() && up[last + 1] < up[i] && !broken {
                found.push((i, last));
            }
            i = last + 1;
        } else {
            i += 1;
        }
    }
    found
}

/// For each point the nearest lowest point on the way to higher ground (or to the end), to the left
/// and to the right.
///
/// A stack of ever higher points is kept, each with the lowest point since the one below it on the
/// stack, so that the whole takes a single pass each way.
fn bases(up: &[f64]) -> (Vec<usize>, Vec<usize>) {
    let walk = |order: &mut dyn Iterator<Item = usize>| {
        let mut base = vec![0; up.len()];
        let mut higher: Vec<(usize, usize)> = Vec::new();
        for i in order {
            let mut lowest = i;
            while let Some((_, low)) = higher.pop_if(|(at, _)| up[*at] <= up[i]) {
                if up[low] < up[lowest] {
                    lowest = low;
                }
            }
            base[i] = lowest;
            higher.push((i, lowest));
        }
        base
    };
    (walk(&mut (0..up.len())), walk(&mut (0..up.len()).rev()))
}

fn width(
    curve: &Curve,
    up: &[f64],
    sign: f64,
    peak: usize,
    (left, right): (usize, usize),
    prominence: f64,
    level: WidthLevel,
) -> Width {
    let at = match level {
        WidthLevel::HalfProminence => up[peak] - prominence / 2.0,
        WidthLevel::HalfHeight => up[peak] / 2.0,
    };
    let x = curve.x();
    let cross = |below: usize, above: usize| {
        let broken = curve.breaks().binary_search(&below.max(above)).is_ok();
        let at = x[below] + (x[above] - x[below]) * (at - up[below]) / (up[above] - up[below]);
        (!broken).then_some(at)
    };
    // A level at or above the peak itself (a peak below zero at half height) crosses nothing.
    let flanks = (at < up[peak]).then(|| {
        let l = (left..peak)
            .rev()
            .find(|i| up[*i] <= at)
            .and_then(|i| cross(i, i + 1))?;
        let r = (peak + 1..=right)
            .find(|i| up[*i] <= at)
            .and_then(|i| cross(i, i - 1))?;
        Some((l, r))
    });
    match flanks.flatten() {
        Some((left, right)) => Width::Found {
            at: sign * at,
            left,
            right,
            width: right - left,
        },
        None => Width::Open { at: sign * at },
    }
}

fn apex(
    curve: &Curve,
    up: &[f64],
    sign: f64,
    (first, last): (usize, usize),
    refinement: Refinement,
    noise: Option<f64>,
) -> Apex {
    let x = curve.x();
    let (equal, index) = (last - first + 1, first.midpoint(last));
    let half = match refinement {
        Refinement::ByWidth | Refinement::ThreePoints => 1,
        Refinement::LocalQuadratic { points } => points / 2,
    };
    if equal >= 3 && equal > half {
        return Apex::Flat {
            from: x[first],
            to: x[last],
            height: sign * up[first],
        };
    }
    let sampled = Apex::Sampled {
        x: x[index],
        height: sign * up[index],
    };
    let inside = index >= half && index + half < x.len();
    if !inside
        || curve
            .breaks()
            .iter()
            .any(|b| index - half < *b && *b <= index + half)
    {
        return sampled;
    }
    let range = index - half..=index + half;
    let (xs, ys) = (&x[range.clone()], &up[range]);
    let Some(parabola) = Polynomial::fit(xs, ys, 2) else {
        return sampled;
    };
    let (slope, bend) = (parabola.at(x[index], 1), parabola.at(x[index], 2));
    let top = x[index] - slope / bend;
    let inside = top >= xs[0].min(xs[xs.len() - 1]) && top <= xs[0].max(xs[xs.len() - 1]);
    if !(bend < 0.0 && inside) {
        return sampled;
    }
    // Of top = x - f'/f'': d(top) = -df'/f'' + f' df''/f''².
    let gradient: Vec<f64> = parabola
        .gradient(x[index], 1)
        .iter()
        .zip(parabola.gradient(x[index], 2))
        .map(|(first, second)| -first / bend + slope * second / (bend * bend))
        .collect();
    let sd = match (parabola.residual_sd(), noise) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    Apex::Refined {
        x: top,
        x_error: sd.map(|s| s * parabola.variance(&gradient).sqrt()),
        height: sign * parabola.at(top, 0),
        height_error: sd.map(|s| s * parabola.variance_at(top, 0).sqrt()),
        refinement,
    }
}

fn stretches(x: &[f64], over: impl Fn(usize) -> bool) -> Vec<Window> {
    let mut found: Vec<Window> = Vec::new();
    for (i, at) in x.iter().enumerate() {
        if !over(i) {
            continue;
        }
        match found.last_mut() {
            Some(window) if i > 0 && over(i - 1) => window.to = *at,
            _ => found.push(Window { from: *at, to: *at }),
        }
    }
    found
}
