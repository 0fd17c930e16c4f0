//! Initial rates: the slope of a time course at its beginning, or of a straight part of it.

use serde::{Deserialize, Serialize};

use super::preparation::{Preparation, PreparedTrace, prepare};
use super::whole::{CourseSlope, Whole, whole_course};
use crate::distribution::{NORMAL_95, f_quantile, f_upper, t_half_width};
use crate::fit::FitInterval;
use crate::linear::{line, polynomial};
use crate::refusal::Refusal;

/// How the rate is taken from the course.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "by", rename_all = "kebab-case")]
pub enum RateWindow {
    /// What the whole course says: the slope of a law that may bend, burst or lag, at the first point (at mixing where a
    /// dead time is known).
    Whole {
        /// Fewest points.
        fewest: usize,
    },
    /// From one time to another, chosen by hand (dead time included).
    Hand {
        /// Beginning.
        from: f64,
        /// End.
        to: f64,
    },
    /// From the beginning until this part of the whole change is reached.
    Conversion {
        /// Part of the whole change, in percent.
        percent: f64,
        /// The whole change of the signal; none: from the first to the last point.
        change: Option<f64>,
    },
    /// The longest run of points that is straight: adding a squared term does not lower the sum of squares
    /// significantly (F test at 5 %). The run begins with the first point from which one is found. A run that begins later, within the first
    /// fifth of the course, is taken only where it is longer *and* steeper: there the course has a lag.
    Found {
        /// Fewest points of a run.
        fewest: usize,
    },
}

/// The law that a rate was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RateLaw {
    /// A straight line.
    Line,
    /// `c + v0 (1 - exp(-k t))/k`.
    Saturating,
    /// The integrated law of depletion (Michaelis-Menten, product inhibition).
    Depletion,
    /// A steady rate after a burst or a lag.
    Approach,
}

/// What a course looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CourseShape {
    /// No bend can be told from chance.
    Straight,
    /// It slows down (or speeds up) all along.
    Bending,
    /// Fast at first, then steady.
    Burst,
    /// Slow at first, then steady.
    Lag,
}

/// The steady rate of a course after a burst or a lag.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SteadyRate {
    /// Slope, unit of the signal per unit of time.
    pub rate: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Its 95 % interval by Student's t.
    pub interval: FitInterval,
}

/// An initial rate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InitialRate {
    /// Slope, unit of the signal per unit of time.
    pub rate: f64,
    /// Its standard error; what the choice of the law may add is in it.
    pub standard_error: f64,
    /// Its 95 % interval by Student's t.
    pub interval: FitInterval,
    /// The law it was taken from.
    pub law: RateLaw,
    /// What the course looks like.
    pub shape: CourseShape,
    /// The rate that the course comes to, where it has a burst or a lag.
    pub steady: Option<SteadyRate>,
    /// Part of the error that is there because the law may be another one (for a line: because the course may bend).
    pub bias: f64,
    /// Correlation of neighbouring errors, where the error allows for it.
    pub correlation: Option<f64>,
    /// Values of the law at the points used.
    pub fitted: Vec<f64>,
    /// The law between the points, for a picture.
    pub curve: Vec<(f64, f64)>,
    /// Whether the points leave the law by more than chance.
    pub wanders: bool,
    /// Signal at time zero on the tangent.
    pub intercept: f64,
    /// First and last time of the points used.
    pub window: (f64, f64),
    /// Positions of the points used, in the trace as handed in.
    pub used: Vec<usize>,
    /// Coefficient of determination; absent where the signal does not vary.
    pub r_squared: Option<f64>,
    /// Residual standard deviation.
    pub residual_sd: f64,
    /// Probability of so large a curvature if the run is straight; absent with fewer than four points.
    pub straightness: Option<f64>,
    /// What the absorbance was divided by, where it was.
    pub factor: Option<f64>,
    /// Points left out as saturated.
    pub saturated: usize,
    /// Points that lie far from what the others say: their positions in the trace as handed in, and how far, in standard
    /// deviations. What the rate would be without them differs from it by no more than its error allows.
    pub far: Vec<(usize, f64)>,
    /// The rate without those points, and what the course looks like then.
    pub without: Option<(SteadyRate, CourseShape)>,
    /// Of a line: what the whole course says of the rate at the place where the line begins, and whether it bends.
    pub beside: Option<(SteadyRate, CourseShape)>,
    /// Whether the course runs straight and stops all at once.
    pub stops: bool,
    /// How many readings at the end are exactly alike while others are not, and were left out: the end of the instrument.
    pub flat_end: usize,
}

/// Fewest points of any run: a line and one degree of freedom.
const FEWEST: usize = 3;

/// Fewest points of a course that may bend.
const FEWEST_OF_WHOLE: usize = 5;

/// The initial rate of a trace.
///
/// # Errors
/// As [`prepare`]; [`Refusal::TooFewPoints`] where the window holds fewer than three points.
pub fn initial_rate(
    time: &[f64],
    signal: &[f64],
    how: &Preparation,
    window: RateWindow,
) -> Result<InitialRate, Refusal> {
    let prepared = prepare(time, signal, how)?;
    let n = prepared.time.len();
    if n < FEWEST {
        return Err(Refusal::TooFewPoints {
            what: "points".into(),
            found: n,
            needed: FEWEST,
        });
    }
    let (from, to) = match window {
        RateWindow::Whole { fewest } => return by_whole(prepared, how, fewest.max(FEWEST_OF_WHOLE)),
        RateWindow::Hand { from, to } => {
            let first = prepared.time.partition_point(|t| *t < from);
            (first, prepared.time.partition_point(|t| *t <= to).max(first))
        }
        RateWindow::Conversion { percent, change } => (0, by_conversion(&prepared, percent, change)?),
        RateWindow::Found { fewest } => longest_straight(&prepared, fewest.max(5))?,
    };
    // A stretch taken by hand may begin where it likes; one that is looked for stands for the beginning of the course.
    let base = match window {
        RateWindow::Hand { .. } => from,
        _ => 0,
    };
    if to - from < FEWEST {
        return Err(Refusal::TooFewPoints {
            what: "points in the window".into(),
            found: to - from,
            needed: FEWEST,
        });
    }
    by_line(&prepared, how, (from, to), Some(base))
}

/// How sure a slope can be, the readings being rounded to steps of `resolution`: the variance of a rounding, over as many points as
/// there are readings that differ from the one before.
fn error_of_rounding(resolution: Option<f64>, t: &[f64], y: &[f64]) -> f64 {
    let Some(step) = resolution.filter(|step| step.is_finite()) else {
        return 0.0;
    };
    let span = t[t.len() - 1] - t[0];
    step / (span * independent(y).sqrt())
}

/// How many readings differ from the one before, the first counted.
fn independent(y: &[f64]) -> f64 {
    1.0 + y.windows(2).filter(|pair| pair[0] != pair[1]).count() as f64
}

/// Above this probability a bend of the whole course is left to chance where a line was asked for: what is far from significant may
/// still bend the line by more than its own error.
const MAY_BEND: f64 = 0.3;

/// A line through a stretch, with what the stretch may bend in the error. `base` is where the course begins that the line stands for;
/// none where nothing but the line is wanted.
fn by_line(
    prepared: &PreparedTrace,
    how: &Preparation,
    (from, to): (usize, usize),
    base: Option<usize>,
) -> Result<InitialRate, Refusal> {
    let (t, y) = (&prepared.time[from..to], &prepared.signal[from..to]);
    let fit = line(t, y)?;
    let df = fit.degrees_of_freedom as f64;
    // Where every reading is the same, what the line has is rounding.
    let still = y.iter().all(|value| *value == y[0]);
    let rate = if still { 0.0 } else { fit.coefficients[1] };
    let mut standard_error = match &fit.standard_errors {
        Some(_) if still => 0.0,
        Some(errors) => errors[1],
        None => f64::NAN,
    };
    // From the beginning of the stretch: the square of a time of day would drown the curvature.
    let since: Vec<f64> = t.iter().map(|value| value - t[0]).collect();
    let straightness = if t.len() > 3 {
        let bent = polynomial(&since, y, 2)?;
        let rest = bent.residual_sum_of_squares;
        let gained = (fit.residual_sum_of_squares - rest).max(0.0);
        (rest > 0.0).then(|| f_upper(gained / (rest / (df - 1.0)), 1.0, df - 1.0))
    } else {
        None
    };
    let mut bias = 0.0;
    let mut beside = None;
    standard_error = standard_error.max(error_of_rounding(how.resolution, t, y));
    let measured = standard_error;
    if let Some(base) = base.filter(|_| t.len() >= FEWEST_OF_WHOLE && standard_error > 0.0)
        && let Some(whole) = around_line(prepared, base, to, t.len())
    {
        let slope = if whole.shape == CourseShape::Lag {
            whole.steady.unwrap_or(whole.beginning)
        } else {
            whole.beginning
        };
        let apart = slope.rate - rate;
        bias = if whole.straightness < MAY_BEND || whole.wanders {
            apart.hypot(slope.error)
        } else {
            let explained = (slope.error.powi(2) - standard_error.powi(2)).max(0.0);
            (apart.powi(2) - explained).max(0.0).sqrt()
        };
        standard_error = standard_error.hypot(bias);
        beside = Some((
            SteadyRate {
                rate: slope.rate,
                standard_error: slope.error,
                interval: slope.interval(),
            },
            whole.shape,
        ));
    }
    // The readings' own scatter is not what the bias is made of, so that a normal quantile does for that.
    let quantile = if measured > 0.0 {
        (t_half_width(0.95, df) * measured).hypot(NORMAL_95 * bias) / measured.hypot(bias)
    } else {
        t_half_width(0.95, df)
    };
    Ok(InitialRate {
        rate,
        standard_error,
        interval: around(rate, quantile * standard_error),
        law: RateLaw::Line,
        shape: if straightness.is_some_and(|chance| chance < 0.01) {
            CourseShape::Bending
        } else {
            CourseShape::Straight
        },
        steady: None,
        bias,
        correlation: None,
        fitted: t.iter().map(|t| fit.coefficients[0] + rate * t).collect(),
        curve: [t[0], t[t.len() - 1]]
            .map(|t| (t, fit.coefficients[0] + rate * t))
            .to_vec(),
        wanders: false,
        intercept: fit.coefficients[0],
        window: (t[0], t[t.len() - 1]),
        used: prepared.used[from..to].to_vec(),
        r_squared: fit.r_squared,
        residual_sd: fit.residual_sd.unwrap_or(f64::NAN),
        straightness,
        factor: prepared.factor,
        saturated: prepared.saturated,
        far: Vec::new(),
        without: None,
        beside,
        stops: false,
        flat_end: 0,
    })
}

/// What the course says around a stretch that a line was drawn through: all of it from where the line stands for, or, where no law
/// follows that, the stretch alone.
fn around_line(prepared: &PreparedTrace, base: usize, to: usize, points: usize) -> Option<Whole> {
    let of = |to: usize| {
        let (t, y) = (&prepared.time[base..to], &prepared.signal[base..to]);
        let since: Vec<f64> = t.iter().map(|value| value - t[0]).collect();
        whole_course(&since, y).ok()
    };
    let end = prepared.time.len();
    match of(end) {
        Some(whole) if !whole.wanders && whole.points + base >= to => Some(whole),
        _ if to - base >= points.max(FEWEST_OF_WHOLE) && to < end => of(to),
        found => found,
    }
}

fn around(value: f64, half: f64) -> FitInterval {
    FitInterval {
        lower: Some(value - half),
        upper: Some(value + half),
    }
}

/// How many readings at the end are exactly alike, where readings are otherwise not: the end of the instrument, and no plateau of
/// a reaction, which would scatter as the rest does.
fn flat_end(y: &[f64]) -> usize {
    let n = y.len();
    let flat = y.iter().rev().take_while(|value| **value == y[n - 1]).count();
    let before = &y[..n - flat];
    let alike = before.windows(2).filter(|pair| pair[0] == pair[1]).count();
    if flat >= 4 && before.len() >= FEWEST_OF_WHOLE && alike * 10 <= before.len() {
        flat
    } else {
        0
    }
}

/// What the whole course says.
fn by_whole(mut prepared: PreparedTrace, how: &Preparation, fewest: usize) -> Result<InitialRate, Refusal> {
    let too_few = |found: usize| Refusal::TooFewPoints {
        what: "points".into(),
        found,
        needed: fewest,
    };
    if prepared.time.len() < fewest {
        return Err(too_few(prepared.time.len()));
    }
    if prepared.signal.iter().all(|v| *v == prepared.signal[0]) {
        return Err(Refusal::ConstantSignal {
            value: prepared.signal[0],
        });
    }
    let flat_end = flat_end(&prepared.signal);
    let kept = prepared.time.len() - flat_end;
    if kept < fewest {
        return Err(too_few(kept));
    }
    prepared.time.truncate(kept);
    prepared.signal.truncate(kept);
    prepared.used.truncate(kept);
    let (t, y) = (&prepared.time, &prepared.signal);
    let straight = line(t, y)?;
    let size = y.iter().map(|v| v * v).sum::<f64>();
    // A course that is straight to the rounding of its numbers has no bend to fit.
    if straight.residual_sum_of_squares <= 1e-24 * size {
        return by_line(&prepared, how, (0, t.len()), None).map(|found| InitialRate { flat_end, ..found });
    }
    let begin = if how.dead_time > 0.0 { 0.0 } else { t[0] };
    let since: Vec<f64> = t.iter().map(|value| value - begin).collect();
    let whole = match whole_course(&since, y) {
        Ok(whole) => whole,
        // Noise about a line, of which no bend can be asked: the line says what there is to say.
        Err(refusal) => {
            let found = by_line(&prepared, how, (0, t.len()), None)?;
            return if found.straightness.is_some_and(|chance| chance > 0.05) {
                Ok(InitialRate { flat_end, ..found })
            } else {
                Err(refusal)
            };
        }
    };
    let last = whole.points;
    let mut beginning = whole.beginning;
    let sd = whole.fit.residual_sd;
    if let Some(step) = how.resolution {
        // Rounded readings that are alike one after another tell as much as one of them.
        let rounding = step / 12f64.sqrt() * (last as f64 / independent(&y[..last])).sqrt();
        if rounding > sd && sd > 0.0 {
            beginning.error *= rounding / sd;
            beginning.stretch(rounding / sd);
        }
    }
    let kept = |slope: CourseSlope| SteadyRate {
        rate: slope.rate,
        standard_error: slope.error,
        interval: slope.interval(),
    };
    Ok(InitialRate {
        rate: beginning.rate,
        standard_error: beginning.error,
        interval: beginning.interval(),
        law: whole.law,
        shape: whole.shape,
        steady: whole.steady.map(kept),
        bias: whole.bias,
        correlation: whole.fit.correlation.as_ref().map(|found| found.lag_one),
        intercept: whole.intercept - beginning.rate * begin,
        window: (t[0], t[last - 1]),
        used: prepared.used[..last].to_vec(),
        r_squared: whole.fit.r_squared,
        residual_sd: whole.fit.residual_sd,
        straightness: Some(whole.straightness),
        wanders: whole.wanders,
        far: whole
            .far
            .iter()
            .filter_map(|(at, deviations)| Some((*prepared.used.get(*at)?, *deviations)))
            .collect(),
        without: whole.without.map(|(slope, shape)| (kept(slope), shape)),
        beside: None,
        stops: whole.stops,
        flat_end,
        curve: whole.curve(since[0], since[last - 1], begin),
        fitted: whole.fit.fitted,
        factor: prepared.factor,
        saturated: prepared.saturated,
    })
}

fn by_conversion(prepared: &PreparedTrace, percent: f64, change: Option<f64>) -> Result<usize, Refusal> {
    if !(percent > 0.0 && percent <= 100.0) {
        return Err(Refusal::OutOfRange {
            what: "the percentage of conversion".into(),
            value: percent,
            allowed: "above 0 and at most 100".into(),
        });
    }
    let y = &prepared.signal;
    let change = change.unwrap_or(y[y.len() - 1] - y[0]);
    if change == 0.0 || !change.is_finite() {
        return Err(Refusal::ConstantSignal { value: y[0] });
    }
    let limit = percent / 100.0;
    // The first point beyond the limit ends the run; later noise does not lengthen it.
    Ok(y.iter()
        .position(|v| (v - y[0]) / change > limit)
        .unwrap_or(y.len()))
}

/// Running sums that give any run's line and parabola without going through its points again.
struct Moments {
    sums: Vec<[f64; 8]>,
}

impl Moments {
    fn new(t: &[f64], y: &[f64]) -> Self {
        let (first, last) = (t[0], t[t.len() - 1]);
        let middle = y.iter().sum::<f64>() / y.len() as f64;
        let mut sums = vec![[0.0; 8]];
        for (t, y) in t.iter().zip(y) {
            let x = (2.0 * t - first - last) / (last - first);
            let y = y - middle;
            let mut next = sums[sums.len() - 1];
            for (sum, value) in
                next.iter_mut()
                    .zip([x, x * x, x * x * x, x * x * x * x, y, x * y, x * x * y, y * y])
            {
                *sum += value;
            }
            sums.push(next);
        }
        Self { sums }
    }

    /// Slope of the run, in the scaled time.
    fn slope(&self, from: usize, to: usize) -> f64 {
        let n = (to - from) as f64;
        let d: [f64; 8] = std::array::from_fn(|k| self.sums[to][k] - self.sums[from][k]);
        (d[5] - d[0] * d[4] / n) / (d[1] - d[0] * d[0] / n)
    }

    /// F ratio of the squared term in the run from `from` to `to`; none where it cannot be told.
    fn curvature(&self, from: usize, to: usize) -> Option<f64> {
        let n = (to - from) as f64;
        let d: [f64; 8] = std::array::from_fn(|k| self.sums[to][k] - self.sums[from][k]);
        // Moments about the run's own mean, so that little cancels.
        let m = d[0] / n;
        let x2 = d[1] - n * m * m;
        let x3 = d[2] - 3.0 * m * d[1] + 2.0 * n * m * m * m;
        let x4 = d[3] - 4.0 * m * d[2] + 6.0 * m * m * d[1] - 3.0 * n * m * m * m * m;
        let ym = d[4] / n;
        let xy = d[5] - m * d[4];
        let xxy = d[6] - 2.0 * m * d[5] + m * m * d[4] - x2 * ym;
        let yy = d[7] - n * ym * ym;
        let square = x4 - x2 * x2 / n - x3 * x3 / x2;
        let cross = xxy - x3 * xy / x2;
        let straight = yy - xy * xy / x2;
        let gained = cross * cross / square;
        let rest = straight - gained;
        if !(square > 0.0 && straight.is_finite()) {
            return None;
        }
        // A run that is straight to the rounding of the sums has nothing to test.
        if straight <= 1e-13 * d[7].abs() {
            return Some(0.0);
        }
        Some(gained / (rest.max(1e-300) / (n - 3.0)))
    }
}

fn longest_straight(prepared: &PreparedTrace, fewest: usize) -> Result<(usize, usize), Refusal> {
    let (t, y) = (&prepared.time, &prepared.signal);
    let n = t.len();
    if n < fewest {
        return Err(Refusal::TooFewPoints {
            what: "points".into(),
            found: n,
            needed: fewest,
        });
    }
    if y.iter().all(|v| *v == y[0]) {
        return Err(Refusal::ConstantSignal { value: y[0] });
    }
    let moments = Moments::new(t, y);
    let limits: Vec<f64> = (0..=n)
        .map(|k| {
            if k > 3 {
                f_quantile(0.95, 1.0, (k - 3) as f64)
            } else {
                0.0
            }
        })
        .collect();
    let straight = |from: usize, length: usize| {
        moments
            .curvature(from, from + length)
            .is_some_and(|f| f <= limits[length])
    };
    let longest = |from: usize| (fewest..=n - from).rev().find(|length| straight(from, *length));
    let latest = (n - fewest).min(n / 5);
    let Some((first, least)) = (0..=latest).find_map(|from| Some((from, longest(from)?))) else {
        return Err(Refusal::Unsuitable {
            why: format!(
                "no run of {fewest} points or more in the first part of the course is straight: name the stretch (a window, or a \
                 part of the whole change), or fit a rate law"
            ),
        });
    };
    let steepness = moments.slope(first, first + least).abs();
    for length in (least + 1..=n).rev() {
        for from in first + 1..=(n - length).min(n / 5) {
            if straight(from, length) && moments.slope(from, from + length).abs() > steepness {
                return Ok((from, from + length));
            }
        }
    }
    Ok((first, first + least))
}
