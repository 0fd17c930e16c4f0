//! A peak measured over its own width, each quantity with its error.
//!
//! A parabola through three points follows the noise of three points, and the highest recorded point is high because of
//! its noise. Here every quantity is a local polynomial's: the top by one of degree four over a third of the width to either
//! side (less where the noise is so small that the top's own shape shows in the residuals), bases and flanks by parabolas
//! over a quarter of it. Errors follow from the noise of a single point by the weights of those polynomials.

use serde::{Deserialize, Serialize};

use super::polynomial::Polynomial;
use super::{AreaBaseline, Curve, Peak, WidthLevel};
use crate::distribution::{NORMAL_95, chi_squared_quantile};

/// Fewest points within the width; below it the recorded points say as much.
const FEWEST: usize = 8;

/// A base is read by so many points on either side at least: fewer would leave no parabola without the base itself.
const BASE_POINTS: f64 = 4.0;

/// A number with its standard error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
}

/// A peak measured over its own width.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MeasuredPeak {
    /// Position of the top.
    pub position: Estimate,
    /// Height of the top, as recorded (not turned upside down for a valley).
    pub height: Estimate,
    /// Height over the higher of the two bases.
    pub prominence: Estimate,
    /// Width at the asked level; absent where a flank does not come down to it.
    pub width: Option<Estimate>,
    /// Area between the bases; absent where points are missing among them, and where the band reaches beyond the curve.
    pub area: Option<Estimate>,
    /// Whether the band, or what lies under it, is not seen to come to an end within the curve: an area between the bases is not its own.
    pub reaches_beyond: bool,
}

/// The polynomial of `degree` over the points of rising `x` within `half` of `centre`; `without` is left out. None where a
/// gap or an end of the curve lies within.
fn local(
    (x, up): (&[f64], &[f64]),
    breaks: &[usize],
    (centre, half): (f64, f64),
    degree: usize,
    without: Option<usize>,
) -> Option<Polynomial> {
    let from = x.partition_point(|v| *v < centre - half);
    let to = x.partition_point(|v| *v <= centre + half);
    if breaks.iter().any(|b| from < *b && *b < to) {
        return None;
    }
    let kept = |column: &[f64]| -> Vec<f64> {
        (from..to)
            .filter(|i| Some(*i) != without)
            .map(|i| column[i])
            .collect()
    };
    let (xs, ys) = (kept(x), kept(up));
    if xs.len() < degree + 3 {
        return None;
    }
    Polynomial::fit(&xs, &ys, degree)
}

/// Where the half-level is crossed: two neighbours in a row below it, so that one noisy point does not end the peak.
fn crude_flank(up: &[f64], level: f64, order: impl Iterator<Item = usize>) -> Option<usize> {
    let mut before: Option<usize> = None;
    for i in order {
        match (up[i] <= level, before) {
            (true, Some(first)) => return Some(first),
            (true, None) => before = Some(i),
            (false, _) => before = None,
        }
    }
    before
}

/// The polynomial over the top of a peak of the width `full` that begins at `from`, where it is highest, and half its window in widths.
/// `relative`: the noise as a part of the prominence.
fn top_of(
    (x, up): (&[f64], &[f64]),
    breaks: &[usize],
    (from, full): (f64, f64),
    relative: f64,
    noise: f64,
) -> Option<(Polynomial, f64, f64)> {
    // The top. Half the window in widths: what a polynomial of degree four leaves of a Gaussian top grows with its sixth
    // power, its error falls with the root, so the best grows slowly with the noise.
    let ratio = relative / 0.001_25;
    let mut share = (0.33 * ratio.powf(1.0 / 6.5)).clamp(0.15, 0.45);
    let mut centre = from + full / 2.0;
    let mut top = None;
    for round in 0..6 {
        let half = (share * full).min(centre - x[0]).min(x[x.len() - 1] - centre);
        if half < 0.5 * share * full {
            return None;
        }
        let Some(polynomial) = local((x, up), breaks, (centre, half), 4, None) else {
            break;
        };
        // Within the first window the top may still lie outside a narrow one.
        let found = highest(
            &polynomial,
            centre,
            if round == 0 { half.max(0.25 * full) } else { half },
        )?;
        let misfit = polynomial.residual_sd().is_some_and(|own| {
            let allowed = chi_squared_quantile(0.95, polynomial.freedom as f64) / polynomial.freedom as f64;
            own * own > allowed * noise * noise
        });
        centre = found;
        top = Some(polynomial);
        if misfit {
            share *= 0.8;
        } else if round > 0 {
            break;
        }
    }
    Some((top?, centre, share))
}

/// The area of a peak between its bases.
fn area_between_bases(
    (x, up): (&[f64], &[f64]),
    (left, right): (usize, usize),
    (low, high): (Estimate, Estimate),
    noise: f64,
    baseline: AreaBaseline,
) -> Estimate {
    let span = x[right] - x[left];
    let (mut value, mut squares) = (0.0, 0.0);
    for i in left..=right {
        let weight = (x[(i + 1).min(right)] - x[i.saturating_sub(1).max(left)]) / 2.0;
        value += weight * up[i];
        squares += weight * weight;
    }
    let own = noise * noise * squares;
    match baseline {
        AreaBaseline::Zero => Estimate {
            value,
            error: own.sqrt(),
        },
        AreaBaseline::Chord => Estimate {
            value: value - span * (low.value + high.value) / 2.0,
            error: (own + (span / 2.0).powi(2) * (low.error * low.error + high.error * high.error)).sqrt(),
        },
    }
}

/// A flank is looked at from so many halves of the full width on at least: there a Gauss band has come down to `2^-9`, two thousandths of
/// its height, and a Lorentz band to a tenth.
const FROM_HALF_WIDTHS: f64 = 3.0;

/// And from where a Gauss band has come down to this part of the noise, so that its own flank is not taken for one that goes on.
const OF_THE_NOISE: f64 = 0.25;

/// A curve without noise has this much of the height: an end is not asked of it more closely than a table of six figures could tell.
const LEAST_NOISE: f64 = 1e-6;

/// Fewest points on either side by which one can tell whether a flank has come to an end there. A choice.
const FEWEST_BEYOND: usize = 5;

/// A flank that falls by more than so many of its errors has not come to an end; chance does that five times in a thousand spectra, and a
/// little more often where the noise of a spectrum is found too small.
const STILL_FALLS: f64 = 2.576;

/// What a flank hides counts as an error up to this part of the area; where it is more, the area is not that of the band. A choice: in a
/// window of three half-widths and a half a Gauss band hides a hundredth, a Lorentz band of twenty half-widths on either side six.
const MOST_AS_ERROR: f64 = 0.03;

/// A point that rises by so many times the noise beyond a base belongs to another band. Noise does so in a few of a thousand spectra with
/// some hundred points.
const OTHER_BAND: f64 = 5.0;

/// What a chord between the bases leaves out of the area of a band that stands alone.
enum AreaLeftOut {
    /// Nothing beyond this error is seen to be left out.
    Error(f64),
    /// The band, or what lies under it, goes on where the curve ends, or is not seen to come to an end.
    GoesOn,
}

/// How much of a band lies under a chord between its bases and beyond them.
///
/// The area counts from bases where a band is supposed to have come to an end. The slowest flanks in the trade are those of Lorentz's
/// curve, `a/d²` at the distance `d` from the top. Where the bases are on such flanks, a chord takes off `a/d` on either side (`a/d²` over
/// the distance), and as much lies beyond the base: `2a/d`, or `a/d` where areas count from zero. So the flanks from [`FROM_HALF_WIDTHS`] on
/// are taken apart into a line, which a chord takes off rightly, and `a/d²`. Where `a` is seen, and
/// what it hides is more than [`MOST_AS_ERROR`] of the area, the band goes on beyond the curve. Where its
/// error is larger than `h (w/2)²`, that of a pure Lorentz band of this height and width, nothing is known of its end. Else its error, and as
/// much of it as was found, is one of the area. None where a base is a valley to another band: there the area ends by agreement.
fn left_out(
    (x, up): (&[f64], &[f64]),
    (left, right): (usize, usize),
    (centre, full, height): (f64, f64, f64),
    noise: f64,
    baseline: AreaBaseline,
) -> Option<AreaLeftOut> {
    let highest = |of: &[f64]| of.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let is_valley = |side: &[f64], base: f64| highest(side) > base + OTHER_BAND * noise;
    // The lowest of many points lies below its neighbours by about three times the noise.
    let lowest = 3.0 * noise;
    if is_valley(&up[..left], up[left] + lowest) || is_valley(&up[right + 1..], up[right] + lowest) {
        return None;
    }
    let noise = noise.max(LEAST_NOISE * height);
    let in_half_widths = (height / (OF_THE_NOISE * noise)).log2().max(0.0).sqrt();
    let beyond = |half_widths: f64| -> Option<Vec<usize>> {
        let far = |i: &usize| (x[*i] - centre).abs() >= half_widths * full / 2.0;
        let chosen: Vec<usize> = (0..x.len()).filter(far).collect();
        let before = chosen.iter().filter(|i| x[**i] < centre).count();
        (before >= FEWEST_BEYOND && chosen.len() - before >= FEWEST_BEYOND).then_some(chosen)
    };
    // Where a curve with little noise ends before, the flank of a Gauss band counts among what it hides.
    let Some(chosen) = beyond(in_half_widths.max(FROM_HALF_WIDTHS)).or_else(|| beyond(FROM_HALF_WIDTHS))
    else {
        return Some(AreaLeftOut::GoesOn);
    };
    let column = |of: &dyn Fn(f64) -> f64| -> Vec<f64> { chosen.iter().map(|i| of(x[*i])).collect() };
    let ones = column(&|_| 1.0);
    let along = column(&|x| (x - centre) / full);
    let flank = column(&|x| (full / (x - centre)).powi(2));
    let y: Vec<f64> = chosen.iter().map(|i| up[*i]).collect();
    let found = crate::linear::fit(&[&ones, &along, &flank], &y).ok()?;
    let (size, error) = (
        found.coefficients[2] * full * full,
        noise * found.unscaled_covariance[2][2].sqrt() * full * full,
    );
    let pure = height * (full / 2.0).powi(2);
    let of_one = |base: usize| {
        let parts = if baseline == AreaBaseline::Chord { 2.0 } else { 1.0 };
        parts / (x[base] - centre).abs()
    };
    let hidden = error.hypot(size.max(0.0)) * (of_one(left) + of_one(right));
    let falls = size > STILL_FALLS * error && hidden > MOST_AS_ERROR * height * full;
    Some(if falls || error > pure {
        AreaLeftOut::GoesOn
    } else {
        AreaLeftOut::Error(hidden)
    })
}

/// Measures a peak that [`super::find_peaks`] found, given the noise of a single point.
///
/// None where the peak has fewer than eight points within its width, or where an end or a gap of the curve lies too near:
/// then the recorded points say as much.
pub fn measure_peak(
    curve: &Curve,
    peak: &Peak,
    noise: f64,
    upwards: bool,
    (level, baseline): (WidthLevel, AreaBaseline),
) -> Option<MeasuredPeak> {
    let rising = curve.rising();
    let sign = if upwards { 1.0 } else { -1.0 };
    let x = rising.x();
    let up: Vec<f64> = rising.y().iter().map(|v| sign * v).collect();
    let breaks = rising.breaks();
    let at = x.partition_point(|v| *v < peak.sampled_x);
    let place = |value: f64| x.partition_point(|v| *v < value).min(x.len() - 1);
    let (left, right) = (place(peak.left_base), place(peak.right_base));
    let half_level = up[at] - peak.prominence / 2.0;
    let first = crude_flank(&up, half_level, (left..at).rev())?;
    let last = crude_flank(&up, half_level, at + 1..=right)?;
    if last - first < FEWEST {
        return None;
    }
    let full = x[last] - x[first];
    let (top, centre, share) = top_of((x, &up), breaks, (x[first], full), noise / peak.prominence, noise)?;
    let noise = noise * noise_beyond(&top, noise);
    // The place of a lopsided top: what a polynomial of degree four leaves of it pulls its place towards the shoulder, by several of
    // its errors. One order more follows it, over the same points; its own error is larger by 1.7 times, and holds.
    let half = (share * full).min(centre - x[0]).min(x[x.len() - 1] - centre);
    let lopsided = local((x, &up), breaks, (centre, half), 5, None);
    let lopsided = lopsided.and_then(|fifth| Some((highest(&fifth, centre, half)?, fifth)));
    let bend = top.at(centre, 2);
    let position = match &lopsided {
        Some((at, fifth)) => place_of(fifth, *at, bend, noise),
        None => place_of(&top, centre, bend, noise),
    };
    let height = Estimate {
        value: top.at(centre, 0),
        error: noise * top.variance_at(centre, 0).sqrt(),
    };
    let base = |index: usize| {
        // The base is the lowest of many points and low by its own noise: it is left out, and what stands in its place is found by others.
        let half = (0.25 * full).max(BASE_POINTS * full / (last - first) as f64);
        let found = local((x, &up), breaks, (x[index], half), 2, Some(index));
        match found {
            Some(polynomial) if index > 0 && index + 1 < x.len() => Estimate {
                value: polynomial.at(x[index], 0),
                error: noise * polynomial.variance_at(x[index], 0).sqrt(),
            },
            // At an end of the curve a parabola says less than the mean of a line.
            _ => match local((x, &up), breaks, (x[index], half), 1, Some(index)) {
                Some(line) => Estimate {
                    value: line.at(x[index], 0),
                    error: noise * line.variance_at(x[index], 0).sqrt(),
                },
                None => Estimate {
                    value: up[index],
                    error: noise,
                },
            },
        }
    };
    let (low, high) = (base(left), base(right));
    let upper = higher(low, high);
    let prominence = Estimate {
        value: height.value - upper.value,
        error: height.error.hypot(upper.error),
    };
    let (wanted, wanted_error) = match level {
        WidthLevel::HalfProminence => (
            (height.value + upper.value) / 2.0,
            height.error.hypot(upper.error) / 2.0,
        ),
        WidthLevel::HalfHeight => (height.value / 2.0, height.error / 2.0),
    };
    let flank = |order: &mut dyn Iterator<Item = usize>| -> Option<(f64, f64, f64)> {
        let near = crude_flank(&up, wanted, order)?;
        let polynomial = local((x, &up), breaks, (x[near], 0.25 * full), 2, None)?;
        let mut crossing = x[near];
        for _ in 0..20 {
            let slope = polynomial.at(crossing, 1);
            crossing -= (polynomial.at(crossing, 0) - wanted) / slope;
            if crossing.is_nan() || (crossing - x[near]).abs() > 0.3 * full {
                return None;
            }
        }
        let slope = polynomial.at(crossing, 1).abs();
        let error = noise * polynomial.variance_at(crossing, 0).sqrt() / slope;
        Some((crossing, error, slope))
    };
    let flanks = flank(&mut (left..at).rev()).zip(flank(&mut (at + 1..=right)));
    let width = flanks.map(|(l, r)| Estimate {
        value: r.0 - l.0,
        error: (l.1 * l.1 + r.1 * r.1 + (wanted_error * (1.0 / l.2 + 1.0 / r.2)).powi(2)).sqrt(),
    });
    let whole = !breaks.iter().any(|b| left < *b && *b <= right);
    let area = whole.then(|| area_between_bases((x, &up), (left, right), (low, high), noise, baseline));
    let shape = (centre, width.map_or(full, |width| width.value), prominence.value);
    let (area, reaches_beyond) = match (area, left_out((x, &up), (left, right), shape, noise, baseline)) {
        (Some(_), Some(AreaLeftOut::GoesOn)) => (None, true),
        (Some(area), Some(AreaLeftOut::Error(error))) => (
            Some(Estimate {
                error: area.error.hypot(error),
                ..area
            }),
            false,
        ),
        (area, _) => (area, false),
    };
    Some(MeasuredPeak {
        position,
        height: Estimate {
            value: sign * height.value,
            ..height
        },
        prominence,
        width,
        area,
        reaches_beyond,
    })
}

/// The higher of two bases, which are told apart where they differ by more than 95 % of normal errors do. The higher of two numbers that noise cannot tell apart is high because of its noise, by 0.56 of the error of
/// one (the mean of the larger of two normal values). Such bases are taken for one level, and half of what they differ by is
/// among its errors, since it may be real.
fn higher(one: Estimate, other: Estimate) -> Estimate {
    let apart = one.value - other.value;
    if apart.abs() > NORMAL_95 * one.error.hypot(other.error) {
        return if apart > 0.0 { one } else { other };
    }
    Estimate {
        value: (one.value + other.value) / 2.0,
        error: one.error.hypot(other.error).hypot(apart) / 2.0,
    }
}

/// The place of the top of a polynomial, with its error to first order: that of the slope there over the bend of the top. The bend is
/// that of the polynomial of degree four at its own top: at the place that one order more chose for the highest, noise makes the top
/// look sharper than it is, and its place surer (of 1000 places at a noise of a thirtieth 92.4 % were held with that, 94.5 % with this).
fn place_of(polynomial: &Polynomial, at: f64, bend: f64, noise: f64) -> Estimate {
    Estimate {
        value: at,
        error: noise * polynomial.variance_at(at, 1).sqrt() / bend.abs(),
    }
}

/// How many times the noise the residuals of the top show, where it is more than chance makes of the noise.
fn noise_beyond(top: &Polynomial, noise: f64) -> f64 {
    let (Some(own), freedom) = (top.residual_sd(), top.freedom as f64) else {
        return 1.0;
    };
    let allowed = chi_squared_quantile(0.95, freedom) / freedom;
    if noise > 0.0 && own * own > allowed * noise * noise {
        own / noise
    } else {
        1.0
    }
}

/// The highest place of a polynomial within `half` of `centre`; none where it is not a top.
fn highest(polynomial: &Polynomial, centre: f64, half: f64) -> Option<f64> {
    const STEPS: i32 = 20;
    let mut best = (f64::NEG_INFINITY, centre);
    for step in -STEPS..=STEPS {
        let x = centre + half * f64::from(step) / f64::from(STEPS);
        let value = polynomial.at(x, 0);
        if value > best.0 {
            best = (value, x);
        }
    }
    let mut x = best.1;
    for _ in 0..30 {
        let (slope, bend) = (polynomial.at(x, 1), polynomial.at(x, 2));
        if bend.is_nan() || bend >= 0.0 {
            return None;
        }
        let step = slope / bend;
        x -= step;
        if x.is_nan() || (x - centre).abs() > half {
            return None;
        }
        if step.abs() <= 1e-12 * half {
            break;
        }
    }
    Some(x)
}
