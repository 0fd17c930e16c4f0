use serde::{Deserialize, Serialize};

use super::polynomial::Polynomial;
use super::{Curve, SpectrumRefusal};

/// Noise and drift of a stretch that ought to be flat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Degree of the polynomial that was taken away first.
    pub detrended_by_degree: usize,
    /// Standard deviation of what is left (residuals over their degrees of freedom): rms noise.
    pub rms: f64,
    /// Highest less lowest of what is left.
    pub peak_to_peak: f64,
    /// Slope of the straight line through all points, in y per unit of x: drift.
    pub drift: f64,
    /// Standard error of the drift for independent noise.
    pub drift_error: f64,
    /// Correlation of neighbouring residuals. Far from 0 means that the noise is not independent
    /// and that `drift_error` is too small.
    pub neighbour_correlation: f64,
    /// Count of points.
    pub points: usize,
}

/// Noise after a polynomial of this degree (0 to 2) is taken away, and the drift.
///
/// # Errors
/// [`SpectrumRefusal::BadSetting`] for a degree above 2; `too-few-points` for fewer than ten points,
/// from which no noise can be told; `constant-signal` where all values are equal, which is a closed
/// shutter or a rounded export and not a quiet instrument.
pub fn noise(curve: &Curve, degree: usize) -> Result<Noise, SpectrumRefusal> {
    if degree > 2 {
        return Err(SpectrumRefusal::setting("degree", degree, "0, 1 or 2"));
    }
    let (x, y) = (curve.x(), curve.y());
    if y.len() < 10 {
        return Err(SpectrumRefusal::too_few("points for noise", y.len(), 10));
    }
    refuse_constant(y)?;
    let open = || SpectrumRefusal::undetermined("the noise", "the points are too close together in x");
    let trend = Polynomial::fit(x, y, degree).ok_or_else(open)?;
    let line = Polynomial::fit(x, y, 1).ok_or_else(open)?;
    let rest: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - trend.at(*x, 0)).collect();
    let (low, high) = rest.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
        (l.min(*v), h.max(*v))
    });
    let own: f64 = rest.iter().map(|r| r * r).sum();
    let neighbours: f64 = rest.windows(2).map(|p| p[0] * p[1]).sum();
    let (Some(rms), Some(sd)) = (trend.residual_sd(), line.residual_sd()) else {
        return Err(open());
    };
    Ok(Noise {
        detrended_by_degree: degree,
        rms,
        peak_to_peak: high - low,
        drift: line.at(x[0], 1),
        drift_error: sd * line.variance_at(x[0], 1).sqrt(),
        neighbour_correlation: if own > 0.0 { neighbours / own } else { 0.0 },
        points: y.len(),
    })
}

/// Standard deviation of independent noise from second differences of neighbours:
/// median |y₋ - 2y + y₊| / (0.67449 · √6).
///
/// Common practice for a curve that is smooth from point to point: a straight piece of signal drops
/// out, and the median leaves the few points on sharp peaks aside. For white noise the differences
/// have the variance 6σ², and 0.67449 is the normal quantile of 3/4. Noise that was smoothed before
/// it was recorded is underestimated. Where most differences are lost in rounding, the noise is that of
/// the rounding: the smallest step between neighbours over √12 (a uniform distribution).
///
/// # Errors
/// `too-few-points` for fewer than ten points, `constant-signal`.
pub fn point_noise(y: &[f64]) -> Result<f64, SpectrumRefusal> {
    crate::refusal::require_finite("y", y)?;
    if y.len() < 10 {
        return Err(SpectrumRefusal::too_few("points for noise", y.len(), 10));
    }
    refuse_constant(y)?;
    let mut differences: Vec<f64> = y.windows(3).map(|p| (p[0] - 2.0 * p[1] + p[2]).abs()).collect();
    differences.sort_by(f64::total_cmp);
    let half = differences.len() / 2;
    let median = if differences.len().is_multiple_of(2) {
        (differences[half - 1] + differences[half]) / 2.0
    } else {
        differences[half]
    };
    Ok((median / (0.674_489_750_196_081_7 * 6f64.sqrt())).max(smallest_step(y) / 12f64.sqrt()))
}

/// Noise of the points of a curve, and over how many of them it is alike.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AlikeNoise {
    /// Standard deviation of a point.
    pub sd: f64,
    /// Neighbours whose noise is alike; 1 where every point has noise of its own.
    pub together: usize,
    /// The noise that what counts must stand out of: more than `sd` where neighbours may be a little alike, which cannot be told.
    pub wary: f64,
}

/// Distances of points at which the noise is asked, in points.
const LAGS: [usize; 10] = [1, 2, 3, 4, 6, 8, 11, 15, 20, 27];

/// Steeper growth with the distance than this, as a power, is that of a curve and not of noise: neighbours of noise that was smoothed
/// drift apart with about the power 1/2, at most 3/2; the fourth difference of a curve grows with the fourth.
const OF_A_CURVE: f64 = 2.2;

/// Steeper growth than this, after it has settled, is a curve that begins to show.
const OF_SLOW_NOISE: f64 = 0.8;

/// Flatter growth than this is none.
const SETTLED: f64 = 0.25;

/// Sizes of fourth differences at growing distances.
struct Growth<'a> {
    lags: &'a [usize],
    sizes: Vec<f64>,
}

impl Growth<'_> {
    /// The power with which the size grows from one distance to another.
    fn between(&self, from: usize, to: usize) -> f64 {
        (self.sizes[to] / self.sizes[from]).ln() / (self.lags[to] as f64 / self.lags[from] as f64).ln()
    }

    /// Where the size settles first.
    fn settled(&self) -> (f64, usize) {
        let last = self.lags.len() - 1;
        for at in 1..last {
            if self.between(at, at + 1) > OF_A_CURVE {
                // Where the curve begins to show, what was seen before it is the noise.
                return (self.sizes[at], self.lags[at]);
            }
            if self.between(at, (at + 2).min(last)) < SETTLED {
                // It may settle for a while only; where it grows on slowly, that is noise too.
                let mut end = at + 1;
                while end < last && self.between(end, end + 1) < OF_SLOW_NOISE {
                    end += 1;
                }
                let (sd, widest) = self.largest(at, end);
                let grown = sd > 1.3 * self.sizes[at];
                return (sd, if grown { widest } else { self.lags[at] });
            }
        }
        (self.sizes[last], self.lags[last])
    }

    fn largest(&self, from: usize, to: usize) -> (f64, usize) {
        (from..=to)
            .map(|place| (self.sizes[place], self.lags[place]))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((self.sizes[from], self.lags[from]))
    }

    /// The largest size before a curve shows for certain: noise that wanders slowly never settles over the distances that are looked
    /// at, and chance alone makes one step of it steep.
    fn widest(&self) -> (f64, usize) {
        let last = self.lags.len() - 1;
        let end = (1..last)
            .find_map(|at| {
                let beyond = (at + 2).min(last);
                if self.between(at, beyond) > OF_A_CURVE && self.between(at, at + 1) > 2.0 {
                    return Some(at);
                }
                let again = at >= 2
                    && at + 3 <= last
                    && self.between(at - 1, at + 1) < 0.15
                    && self.between(at + 1, at + 3) > 1.2;
                again.then_some(at + 1)
            })
            .unwrap_or(last);
        let (sd, widest) = self.largest(1, end);
        let alike = (1..=end).find(|place| self.sizes[*place] >= 0.8 * sd);
        (sd, alike.map_or(widest, |place| self.lags[place]))
    }
}

/// Noise of the points, also where neighbours are alike because the instrument smoothed them, as a running mean, a polynomial filter
/// or a slow amplifier does.
///
/// [`point_noise`] looks at neighbours, whose differences such smoothing takes away: it can be wrong by a factor of ten. Here
/// fourth differences are taken over growing distances: for independent noise they are of one size, for smoothed noise they
/// grow until the distance is that over which points are alike. A smooth curve drops out of them as long as it bends little over
/// four distances; the quieter half or third of them is looked at, so that bands may fill most of the curve. The larger of two
/// readings of that growth counts: where it first settles, and how far it goes before a curve shows for certain. A choice of ours,
/// tried on simulated spectra (`tests/coverage_noise.rs`).
///
/// # Errors
/// As [`point_noise`].
pub fn alike_noise(y: &[f64]) -> Result<AlikeNoise, SpectrumRefusal> {
    let plain = point_noise(y)?;
    let own = |sd: f64, times: f64| AlikeNoise {
        sd,
        together: 1,
        wary: sd * times,
    };
    let within = |part: usize| -> Vec<usize> {
        LAGS.into_iter()
            .filter(|lag| *lag * 8 <= y.len() && (*lag <= 2 || *lag * part <= y.len()))
            .collect()
    };
    let lags = within(12);
    let near: Vec<usize> = lags.into_iter().filter(|lag| *lag <= 15).collect();
    let far = within(11);
    let first = Growth {
        sizes: near.iter().map(|lag| fourth_difference(y, *lag)).collect(),
        lags: &near,
    };
    let second = Growth {
        sizes: far.iter().map(|lag| quieter_half(y, *lag)).collect(),
        lags: &far,
    };
    let known = |growth: &Growth<'_>| growth.lags.len() >= 4 && growth.sizes.iter().all(|size| *size > 0.0);
    if !known(&first) || !known(&second) {
        return Ok(own(plain, 1.0));
    }
    if let Some(grown) = own_at_every_point(y) {
        // Neighbours that are a little alike make their differences a little too small.
        return Ok(AlikeNoise {
            sd: own_noise(y),
            ..own(plain, grown.max(1.0))
        });
    }
    let (settled, widest) = (first.settled(), second.widest());
    let (sd, together) = if widest.0 > settled.0 { widest } else { settled };
    let sd = sd.max(plain);
    Ok(AlikeNoise {
        sd,
        together,
        wary: sd,
    })
}

/// Standard deviation of noise that every point has of its own, by the median of fourth differences, which are of the variance 70σ². A band
/// of 800 times the noise and 28 points adds 15 % to what second differences say, and nothing to this.
fn own_noise(y: &[f64]) -> f64 {
    let all = sorted_differences(y, 1);
    let median = all.get(all.len() / 2).copied().unwrap_or(f64::NAN);
    (median / (0.674_489_750_196_081_7 * 70f64.sqrt())).max(smallest_step(y) / 12f64.sqrt())
}

/// The smallest step between neighbours that differ.
fn smallest_step(y: &[f64]) -> f64 {
    y.windows(2)
        .map(|p| (p[1] - p[0]).abs())
        .filter(|d| *d > 0.0)
        .fold(f64::INFINITY, f64::min)
}

/// Sizes of the fourth differences of points so far apart, smallest first.
fn sorted_differences(y: &[f64], lag: usize) -> Vec<f64> {
    let mut all: Vec<f64> = (0..y.len().saturating_sub(4 * lag))
        .map(|i| {
            let at = |k: usize| y[i + k * lag];
            (at(0) - 4.0 * at(1) + 6.0 * at(2) - 4.0 * at(3) + at(4)).abs()
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all
}

/// How many times larger the differences of points three apart are than those of neighbours, where every point has noise of its own;
/// none where neighbours are alike.
///
/// Points three apart tell it of most curves, points six apart of more, as long as what grows between three and six is not a curve that
/// begins to show. Of a hundred spectra with noise of their own at every point, one or two are called alike, of those of lag-one
/// correlation 0.7 and 0.9 among 201 points two are not (simulated; by three apart alone ten).
fn own_at_every_point(y: &[f64]) -> Option<f64> {
    // Of the logarithms, times the root of the number of points.
    const THREE: f64 = 4.4;
    const BOTH: f64 = 7.6;
    let root = (y.len() as f64).sqrt();
    let [one, three, six] = [1, 3, 6].map(|lag| quiet_mean(y, lag));
    let grown = (three / one).ln();
    let limit = (THREE / root).max(0.22);
    let further = (six / three).ln() / 2f64.ln();
    let both = further < SETTLING.min(grown / 3f64.ln() + SLACK)
        && grown >= 0.5 * limit
        && grown + (six / one).ln() >= (BOTH / root).max(0.38);
    (grown < limit && !both).then(|| grown.exp())
}

/// A power of growth with the distance that noise may have which settles later; and by how much it may be above that before: the growth
/// of noise slows down, that of a curve does not.
const SETTLING: f64 = 1.2;
const SLACK: f64 = 0.5;

/// Mean size of the seven smaller tenths of those fourth differences that noise may have: surer than a quantile. What stands out of
/// them is a curve, and would be more of them the farther the points are apart.
fn quiet_mean(y: &[f64], lag: usize) -> f64 {
    const FAR: f64 = 4.0;
    let all = sorted_differences(y, lag);
    let Some(last) = all.len().checked_sub(1) else {
        return f64::NAN;
    };
    let deviation = all[(QUIET * last as f64).round() as usize] / QUIET_QUANTILE;
    let count = all.partition_point(|size| *size <= FAR * deviation);
    let count = (count * 7 / 10).max(1);
    all.iter().take(count).sum::<f64>() / count as f64
}

/// The part of the differences that is looked at where bands fill much of a curve, and the normal quantile of (1 + 0.35)/2.
const QUIET: f64 = 0.35;
const QUIET_QUANTILE: f64 = 0.453_762_190_169_879_6;

/// Standard deviation of independent noise by the quieter third of the fourth differences of points so far apart, whose variance is
/// 70 times that of the points.
fn fourth_difference(y: &[f64], lag: usize) -> f64 {
    let all = sorted_differences(y, lag);
    if all.is_empty() {
        return f64::NAN;
    }
    let place = (QUIET * (all.len() - 1) as f64).round() as usize;
    all[place] / (QUIET_QUANTILE * 70f64.sqrt())
}

/// The same by the mean of the smaller half, which is surer where there are few.
fn quieter_half(y: &[f64], lag: usize) -> f64 {
    // The mean of the smaller half of sizes of standard normal values.
    const MEAN: f64 = 0.324_64;
    let all = sorted_differences(y, lag);
    let count = (all.len() / 2).max(1);
    if all.is_empty() {
        return f64::NAN;
    }
    all.iter().take(count).sum::<f64>() / count as f64 / (MEAN * 70f64.sqrt())
}

fn refuse_constant(y: &[f64]) -> Result<(), SpectrumRefusal> {
    if y.iter().all(|v| *v == y[0]) {
        return Err(crate::refusal::Refusal::ConstantSignal { value: y[0] }.into());
    }
    Ok(())
}
