use serde::{Deserialize, Serialize};

use super::{Remark, all_finite, level_in_range, positive};
use crate::distribution::{f_upper, normal_quantile, normal_upper, t_half_width, t_two_sided};
use crate::fit::{ORIGIN_MISSED, Warning, examine};
use crate::linear::{fit_weighted, polynomial_weighted};
use crate::refusal::{Refusal, require_finite, require_length};
use crate::wording::with_error;

/// The code of the remark on a line that is bent.
pub(crate) const NOT_STRAIGHT: &str = "not-straight";

/// How much each standard counts.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(tag = "kind", content = "values", rename_all = "kebab-case")]
pub enum StandardWeighting {
    /// All alike: the scatter is the same everywhere.
    #[default]
    Equal,
    /// Given weights, proportional to the reciprocal variance of each point.
    Weights(Vec<f64>),
    /// 1/x: the variance grows with the concentration. Common practice; no standard may be zero.
    InverseX,
    /// 1/x²: the relative error is the same everywhere. Common practice; no standard may be zero.
    InverseXSquared,
    /// Known standard errors of each y. Intervals use the normal distribution, and the residuals
    /// only test whether those errors are believable.
    KnownErrors(Vec<f64>),
}

impl StandardWeighting {
    /// The weight of a single reading of an unknown that comes out as `x`, by the rule of the standards.
    pub(super) fn of_reading(&self, x: f64, remarks: &mut Vec<Remark>) -> Result<f64, Refusal> {
        let power = match self {
            Self::Equal => return Ok(1.0),
            Self::InverseX => 1,
            Self::InverseXSquared => 2,
            Self::Weights(_) | Self::KnownErrors(_) => {
                return Err(Refusal::Unsuitable {
                    why: "the line is weighted by numbers of its own, of which no rule gives the weight of a reading: it must be \
                          given (with known errors: 1 over its variance)"
                        .into(),
                });
            }
        };
        if x.is_nan() || x <= 0.0 {
            return Err(Refusal::Unsuitable {
                why: format!("the concentration comes out as {x}, where 1/x weights do not exist"),
            });
        }
        remarks.push(Remark::new(
            "weight-by-rule",
            format!(
                "the reading was weighted by 1/x{} at the concentration found",
                if power == 2 { "²" } else { "" }
            ),
        ));
        Ok(x.powi(-power))
    }
}

/// How a calibration line is drawn.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CalibrationOptions {
    /// Weights.
    pub weighting: StandardWeighting,
    /// Whether the line is held at the origin.
    pub through_origin: bool,
    /// End of the trusted range of y: standards above it are left out and told, unknowns refused.
    pub ceiling: Option<f64>,
    /// Step of the readings of y, where it is known: no scatter is taken to be smaller than a rounding to it leaves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolution: Option<f64>,
}

impl CalibrationOptions {
    /// The least sum of squares that readings in such steps allow: a rounding has the variance of a uniform distribution.
    pub(super) fn least_sum(&self, weights: Option<&[f64]>, points: usize, degrees_of_freedom: usize) -> f64 {
        let Some(step) = self.resolution.filter(|step| step.is_finite()) else {
            return 0.0;
        };
        if matches!(self.weighting, StandardWeighting::KnownErrors(_)) {
            return 0.0;
        }
        let weight = weights.map_or(1.0, |w| w.iter().sum::<f64>() / points as f64);
        step * step / 12.0 * weight * degrees_of_freedom as f64
    }

    /// What is told where the scatter is smaller than the steps of the readings allow.
    pub(super) fn coarse(&self, residual_sum: f64, least: f64) -> Option<Remark> {
        let step = self.resolution?;
        (residual_sum < 0.8 * least).then(|| {
            Remark::new(
                "readings-coarse",
                format!(
                    "the standards lie closer to the line than readings in steps of {step:e} can show: the errors are those of the \
                     readings' steps (a standard deviation of {:.2e})",
                    step / 12f64.sqrt()
                ),
            )
        })
    }
}

/// One standard on the line, for the residual plot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StandardPoint {
    /// Its place in what was handed in, counted from 0.
    pub index: usize,
    /// Concentration.
    pub x: f64,
    /// Reading.
    pub y: f64,
    /// Its weight.
    pub weight: f64,
    /// Height of the line.
    pub fitted: f64,
    /// Reading less line.
    pub residual: f64,
    /// Residual over its own standard deviation, r·√w / (s·√(1 - h)); absent where s is 0.
    pub standardised: Option<f64>,
    /// Leverage h: how much of the line's height here comes from this point.
    pub leverage: f64,
}

/// Test of the line against the scatter of replicates (pure error).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LackOfFit {
    /// Mean square of the level means about the line over that of the replicates about their means.
    pub f: f64,
    /// Degrees of freedom of the numerator: levels less coefficients.
    pub df_levels: usize,
    /// Degrees of freedom of the denominator: points less levels.
    pub df_replicates: usize,
    /// Probability of such an F or a larger one if the line is right.
    pub p: f64,
}

/// A straight calibration line y = b0 + b1·x.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// b0 in units of y; 0 where the line is held at the origin.
    pub intercept: f64,
    /// b1 in units of y per unit of x.
    pub slope: f64,
    /// Standard error of b0; absent where it was held.
    pub intercept_error: Option<f64>,
    /// Standard error of b1.
    pub slope_error: f64,
    /// Covariance of b0 and b1; absent where b0 was held.
    pub covariance: Option<f64>,
    /// Residual standard deviation s for unit weight, √(RSS/df). With known errors it should be near 1.
    pub residual_sd: f64,
    /// (Weighted) sum of squared residuals.
    pub residual_sum_of_squares: f64,
    /// The least such sum that the steps of the readings allow; 0 where they are not known.
    #[serde(default)]
    pub least_sum: f64,
    /// Points less coefficients.
    pub degrees_of_freedom: usize,
    /// Coefficient of determination.
    pub r_squared: Option<f64>,
    /// Whether `r_squared` compares with the mean; a line through the origin compares with zero, and
    /// the two must not be compared with each other.
    pub r_squared_centred: bool,
    /// The standards that were used, in given order.
    pub points: Vec<StandardPoint>,
    /// How they were weighted.
    pub weighting: StandardWeighting,
    /// Whether the line was held at the origin.
    pub through_origin: bool,
    /// End of the trusted range of y.
    pub ceiling: Option<f64>,
    /// (Weighted) mean of x.
    pub mean_x: f64,
    /// (Weighted) sum of squares of x about its mean (about 0 for a line through the origin).
    pub sxx: f64,
    /// Test of the straight line, where there are replicates and more levels than coefficients.
    pub lack_of_fit: Option<LackOfFit>,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// The standards that a line goes through.
pub(super) struct UsedStandards {
    /// Their places among those given.
    pub(super) used: Vec<usize>,
    pub(super) x: Vec<f64>,
    pub(super) y: Vec<f64>,
    /// Their weights; none where all count alike.
    pub(super) weights: Option<Vec<f64>>,
    /// What was left out.
    pub(super) remarks: Vec<Remark>,
}

/// Checks standards, and leaves out those beyond the trusted range.
pub(super) fn choose(x: &[f64], y: &[f64], options: &CalibrationOptions) -> Result<UsedStandards, Refusal> {
    require_length("y", y, x.len())?;
    require_finite("x", x)?;
    require_finite("y", y)?;
    if let Some(index) = x.iter().position(|v| *v < 0.0) {
        return Err(Refusal::Negative {
            what: "the concentration".into(),
            index,
            value: x[index],
        });
    }
    let weights = weights_of(&options.weighting, x)?;
    let used: Vec<usize> = (0..x.len())
        .filter(|i| options.ceiling.is_none_or(|c| y[*i] <= c))
        .collect();
    let mut remarks = Vec::new();
    if let Some(limit) = options.ceiling
        && used.len() < x.len()
    {
        if used.is_empty() {
            return Err(Refusal::AllSaturated {
                limit,
                count: x.len(),
            });
        }
        remarks.push(Remark::new(
            "saturated-left-out",
            format!(
                "{} of {} standards lie above {limit} and were left out",
                x.len() - used.len(),
                x.len()
            ),
        ));
    }
    let pick = |v: &[f64]| used.iter().map(|i| v[*i]).collect::<Vec<_>>();
    Ok(UsedStandards {
        x: pick(x),
        y: pick(y),
        weights: weights.as_deref().map(pick),
        used,
        remarks,
    })
}

/// Says so where one standard lies farther from the line than chance puts one of so many: the deleted studentised residual by
/// Student's t with Bonferroni's correction, at one in a hundred.
pub(super) fn far_standard(
    points: &[StandardPoint],
    degrees_of_freedom: usize,
    known: bool,
) -> Option<Remark> {
    let freedom = degrees_of_freedom as f64;
    if degrees_of_freedom < 3 {
        return None;
    }
    let size = |point: &&StandardPoint| point.standardised.map_or(0.0, f64::abs);
    let far = points.iter().max_by(|a, b| size(a).total_cmp(&size(b)))?;
    let own = size(&far);
    let deleted = if known {
        own
    } else {
        own * ((freedom - 1.0) / (freedom - own * own).max(f64::MIN_POSITIVE)).sqrt()
    };
    let chance = if known {
        2.0 * normal_upper(deleted)
    } else {
        t_two_sided(deleted, freedom - 1.0)
    };
    (own > 1.0 && chance * (points.len() as f64) < 0.01).then(|| {
        Remark::new(
            "standard-far-off",
            format!(
                "the standard at {} with the reading {} lies {deleted:.1} of the others' standard deviations from the line: it may be \
                 wrong, and the line and its errors with it",
                far.x, far.y
            ),
        )
    })
}

/// Says so where the scatter grows with the reading and all standards count alike.
fn spread_grows(residuals: &[f64], fitted: &[f64], coefficients: usize) -> Option<Remark> {
    examine(residuals, fitted, None, coefficients)
        .warnings
        .contains(&Warning::GrowingSpread)
        .then(|| {
            Remark::new(
                "spread-grows",
                "the standards scatter more the higher they are, and all count alike: what is read at low concentrations is less sure \
                 than it could be, and at high ones less sure than it says (--weights inverse-x or inverse-x-squared)",
            )
        })
}

impl Calibration {
    /// Draws the line through standards: x concentrations, y readings.
    ///
    /// # Errors
    /// `unequal-lengths`, `not-finite`; `negative` for a negative concentration; `constant-axis`,
    /// `constant-signal`; `bad-weight`; `all-saturated`; `too-few-points` below three standards (two
    /// through the origin), from which no error can be told; `unsuitable` for 1/x with a zero standard.
    pub fn fit(x: &[f64], y: &[f64], options: &CalibrationOptions) -> Result<Self, Refusal> {
        let UsedStandards {
            used,
            x,
            y,
            weights: w,
            mut remarks,
        } = choose(x, y, options)?;
        let coefficients = if options.through_origin { 1 } else { 2 };
        if x.len() <= coefficients {
            return Err(Refusal::TooFewPoints {
                what: "standards".into(),
                found: x.len(),
                needed: coefficients + 1,
            });
        }
        if y.iter().all(|v| *v == y[0]) {
            return Err(Refusal::ConstantSignal { value: y[0] });
        }
        if options.through_origin && x.iter().all(|v| *v == 0.0) {
            return Err(Refusal::ConstantAxis { value: 0.0 });
        }
        let line = if options.through_origin {
            fit_weighted(&[&x], &y, w.as_deref())?
        } else {
            polynomial_weighted(&x, &y, 1, w.as_deref())?
        };
        let known = matches!(options.weighting, StandardWeighting::KnownErrors(_));
        let least_sum = options.least_sum(w.as_deref(), x.len(), line.degrees_of_freedom);
        let residual_sd =
            (line.residual_sum_of_squares.max(least_sum) / line.degrees_of_freedom as f64).sqrt();
        let unit = if known { 1.0 } else { residual_sd };
        let (mean_x, sxx) = moments(&x, w.as_deref(), options.through_origin);
        let total = w.as_ref().map_or(x.len() as f64, |w| w.iter().sum());
        let points: Vec<StandardPoint> = (0..x.len())
            .map(|i| {
                let weight = w.as_ref().map_or(1.0, |w| w[i]);
                let level = if options.through_origin { 0.0 } else { 1.0 / total };
                let leverage = weight * (level + (x[i] - mean_x).powi(2) / sxx);
                let scale = unit / weight.sqrt() * (1.0 - leverage).max(0.0).sqrt();
                StandardPoint {
                    index: used[i],
                    x: x[i],
                    y: y[i],
                    weight,
                    fitted: line.fitted[i],
                    residual: line.residuals[i],
                    standardised: (scale > 0.0).then(|| line.residuals[i] / scale),
                    leverage,
                }
            })
            .collect();
        let error = |j: usize| unit * line.unscaled_covariance[j][j].sqrt();
        let (intercept, slope) = match line.coefficients[..] {
            [slope] => (0.0, slope),
            [intercept, slope, ..] => (intercept, slope),
            [] => {
                return Err(Refusal::TooFewPoints {
                    what: "standards".into(),
                    found: 0,
                    needed: 2,
                });
            }
        };
        let slope_error = error(coefficients - 1);
        all_finite(&[intercept, slope, slope_error, residual_sd, mean_x, sxx, total])?;
        if sxx <= 0.0 {
            return Err(Refusal::ConstantAxis { value: x[0] });
        }
        let lack_of_fit = lack_of_fit(&points, coefficients);
        remarks.extend(far_standard(&points, line.degrees_of_freedom, known));
        remarks.extend(options.coarse(line.residual_sum_of_squares, least_sum));
        if options.through_origin {
            remarks.extend(origin_missed(&points, 1, least_sum, known));
        }
        if options.weighting == StandardWeighting::Equal {
            remarks.extend(spread_grows(&line.residuals, &line.fitted, coefficients));
        }
        let mut found = Self {
            intercept,
            slope,
            intercept_error: (!options.through_origin).then(|| error(0)),
            slope_error,
            covariance: (!options.through_origin).then(|| unit * unit * line.unscaled_covariance[0][1]),
            residual_sd,
            residual_sum_of_squares: line.residual_sum_of_squares,
            least_sum,
            degrees_of_freedom: line.degrees_of_freedom,
            r_squared: line.r_squared,
            r_squared_centred: line.r_squared_centred,
            points,
            weighting: options.weighting.clone(),
            through_origin: options.through_origin,
            ceiling: options.ceiling,
            mean_x,
            sxx,
            lack_of_fit,
            remarks,
        };
        found.judge()?;
        Ok(found)
    }

    /// Interval of the slope at a confidence level.
    ///
    /// # Errors
    /// `out-of-range` for a level outside 0 to 1.
    pub fn slope_interval(&self, level: f64) -> Result<[f64; 2], Refusal> {
        let half = self.quantile(level, self.degrees_of_freedom)? * self.slope_error;
        Ok([self.slope - half, self.slope + half])
    }

    /// Interval of the intercept at a confidence level; `None` where the line was held at the origin.
    ///
    /// # Errors
    /// `out-of-range` for a level outside 0 to 1.
    pub fn intercept_interval(&self, level: f64) -> Result<Option<[f64; 2]>, Refusal> {
        let quantile = self.quantile(level, self.degrees_of_freedom)?;
        Ok(self
            .intercept_error
            .map(|e| [self.intercept - quantile * e, self.intercept + quantile * e]))
    }

    /// Lowest and highest concentration of the standards.
    pub fn range(&self) -> [f64; 2] {
        self.points
            .iter()
            .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], p| {
                [low.min(p.x), high.max(p.x)]
            })
    }

    /// Count of different concentrations.
    pub fn levels(&self) -> usize {
        let mut xs: Vec<f64> = self.points.iter().map(|p| p.x).collect();
        xs.sort_by(f64::total_cmp);
        xs.dedup();
        xs.len()
    }

    /// Whether the errors of the readings were given rather than taken from the residuals.
    pub(super) fn errors_known(&self) -> bool {
        matches!(self.weighting, StandardWeighting::KnownErrors(_))
    }

    /// Half-width of a central interval in standard errors.
    pub(super) fn quantile(&self, level: f64, df: usize) -> Result<f64, Refusal> {
        level_in_range(level)?;
        let quantile = if self.errors_known() {
            normal_quantile(0.5 + level / 2.0)
        } else {
            t_half_width(level, df as f64)
        };
        positive("the quantile", quantile)?;
        Ok(quantile)
    }

    /// Sum of the weights: 1/W is the variance of the line's height at the mean, for unit s.
    /// Infinite for a line through the origin, whose height at 0 is certain.
    pub(super) fn total_weight(&self) -> f64 {
        if self.through_origin {
            f64::INFINITY
        } else {
            self.points.iter().map(|p| p.weight).sum()
        }
    }

    fn judge(&mut self) -> Result<(), Refusal> {
        let quantile = self.quantile(0.95, self.degrees_of_freedom)?;
        let mut say = |code: &str, words: String| self.remarks.push(Remark::new(code, words));
        if self.slope.abs() <= quantile * self.slope_error {
            say(
                "slope-not-told-from-zero",
                "the slope is not different from zero at 95 %: the line measures nothing".into(),
            );
        }
        if self.slope < 0.0 {
            say(
                "slope-below-zero",
                "the absorbance falls as the concentration rises: the columns, or what was measured, may not be what they are \
                 taken for"
                    .into(),
            );
        }
        if let Some(test) = self.lack_of_fit
            && test.p < 0.05
        {
            say(
                NOT_STRAIGHT,
                format!(
                    "the level means leave the line by more than the replicates scatter (F = {:.3}, {}): it is bent, or the replicates are not independent",
                    test.f,
                    chance(test.p)
                ),
            );
        }
        if self.lack_of_fit.is_none()
            && !self.through_origin
            && let Some((f, p)) = bent(&self.points, self.residual_sum_of_squares)
            && p < 0.05
        {
            say(
                NOT_STRAIGHT,
                format!(
                    "a squared term fits the standards better (F = {f:.3}, {}): the line is bent, and what is read from it is \
                     off by more than its errors say (--curve quadratic takes the bend in)",
                    chance(p)
                ),
            );
        }
        let size: f64 = self.points.iter().map(|p| p.weight * p.y * p.y).sum();
        if self.residual_sum_of_squares <= 1e-26 * size && self.least_sum <= self.residual_sum_of_squares {
            say("no-scatter", "every point lies on the line to the last digit: measured data do not do that, and the errors mean nothing".into());
        }
        if !self.r_squared_centred {
            say(
                "uncentred-r-squared",
                "R² of a line through the origin compares with zero, not with the mean".into(),
            );
        }
        Ok(())
    }
}

pub(super) fn weights_of(weighting: &StandardWeighting, x: &[f64]) -> Result<Option<Vec<f64>>, Refusal> {
    let by_x = |power: i32| {
        if let Some(index) = x.iter().position(|v| *v == 0.0) {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "standard {} has the concentration 0, which 1/x weights would count infinitely; leave it out or give weights",
                    index + 1
                ),
            });
        }
        Ok(Some(x.iter().map(|v| v.powi(-power)).collect::<Vec<f64>>()))
    };
    let given = |values: &[f64], what: &str| {
        require_length(what, values, x.len())?;
        match values.iter().position(|v| !(v.is_finite() && *v > 0.0)) {
            Some(index) => Err(Refusal::BadWeight {
                index,
                value: values[index],
            }),
            None => Ok(()),
        }
    };
    match weighting {
        StandardWeighting::Equal => Ok(None),
        StandardWeighting::InverseX => by_x(1),
        StandardWeighting::InverseXSquared => by_x(2),
        StandardWeighting::Weights(w) => given(w, "weights").map(|()| Some(w.clone())),
        StandardWeighting::KnownErrors(s) => {
            given(s, "known errors")?;
            Ok(Some(s.iter().map(|s| 1.0 / (s * s)).collect()))
        }
    }
}

fn moments(x: &[f64], w: Option<&[f64]>, about_zero: bool) -> (f64, f64) {
    let weight = |i: usize| w.map_or(1.0, |w| w[i]);
    let total: f64 = (0..x.len()).map(weight).sum();
    let rough = (0..x.len()).map(|i| weight(i) * x[i]).sum::<f64>() / total;
    let mean = if about_zero {
        0.0
    } else {
        // The second pass takes back what the first sum rounded away.
        rough + (0..x.len()).map(|i| weight(i) * (x[i] - rough)).sum::<f64>() / total
    };
    (
        mean,
        (0..x.len()).map(|i| weight(i) * (x[i] - mean).powi(2)).sum(),
    )
}

/// A probability as tables give it.
pub(super) fn chance(p: f64) -> String {
    if p < 0.001 {
        "p below 0.001".into()
    } else {
        format!("p = {p:.3}")
    }
}

/// F ratio and probability of a squared term, where no standard was repeated.
fn bent(points: &[StandardPoint], straight: f64) -> Option<(f64, f64)> {
    if points.len() < 5 {
        return None;
    }
    let column = |of: fn(&StandardPoint) -> f64| points.iter().map(of).collect::<Vec<f64>>();
    let (x, y, weights) = (column(|p| p.x), column(|p| p.y), column(|p| p.weight));
    let fit = crate::linear::polynomial_weighted(&x, &y, 2, Some(&weights)).ok()?;
    let (rest, freedom) = (fit.residual_sum_of_squares, fit.degrees_of_freedom as f64);
    let f = (straight - rest).max(0.0) / (rest / freedom);
    (rest > 0.0).then(|| (f, crate::distribution::f_upper(f, 1.0, freedom)))
}

/// Says so where standards whose line of this degree was held at the origin have an intercept: Student's t of that of the free line, at
/// the level of [`ORIGIN_MISSED`].
pub(super) fn origin_missed(
    points: &[StandardPoint],
    degree: usize,
    least_sum: f64,
    known: bool,
) -> Option<Remark> {
    let column = |of: fn(&StandardPoint) -> f64| points.iter().map(of).collect::<Vec<f64>>();
    let (x, y, weights) = (column(|p| p.x), column(|p| p.y), column(|p| p.weight));
    let free = polynomial_weighted(&x, &y, degree, Some(&weights)).ok()?;
    let freedom = free.degrees_of_freedom as f64;
    let variance = if known {
        1.0
    } else {
        free.residual_sum_of_squares.max(least_sum) / freedom
    };
    let intercept = *free.coefficients.first()?;
    let error = (variance * free.unscaled_covariance.first()?.first()?).sqrt();
    let size = (intercept / error).abs();
    let p = if known {
        2.0 * normal_upper(size)
    } else {
        t_two_sided(size, freedom)
    };
    (freedom > 0.0 && p < ORIGIN_MISSED).then(|| {
        Remark::new(
            "origin-missed",
            format!(
                "the standards do not go through the origin: with an intercept of {} they lie closer to the line ({}), and what is read off \
                 the line through the origin is off by more than its errors say; is the blank to be taken off first?",
                with_error(intercept, error),
                chance(p)
            ),
        )
    })
}

/// Splits the residual sum of squares into that of the replicates about their level means and the
/// rest (Draper & Smith, Applied Regression Analysis, "lack of fit and pure error").
pub(super) fn lack_of_fit(points: &[StandardPoint], coefficients: usize) -> Option<LackOfFit> {
    let mut sorted: Vec<&StandardPoint> = points.iter().collect();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.index.cmp(&b.index)));
    let (mut levels, mut pure, mut off) = (0usize, 0.0, 0.0);
    for group in sorted.chunk_by(|a, b| a.x == b.x) {
        let weight: f64 = group.iter().map(|p| p.weight).sum();
        // Means of residuals, not of readings: the same split, without the digits of y in the way.
        let mean = group.iter().map(|p| p.weight * p.residual).sum::<f64>() / weight;
        levels += 1;
        off += weight * mean * mean;
        pure += group
            .iter()
            .map(|p| p.weight * (p.residual - mean).powi(2))
            .sum::<f64>();
    }
    let (df_levels, df_replicates) = (levels.checked_sub(coefficients)?, points.len() - levels);
    if df_levels == 0 || df_replicates == 0 || pure.is_nan() || pure <= 0.0 {
        return None;
    }
    let f = (off / df_levels as f64) / (pure / df_replicates as f64);
    Some(LackOfFit {
        f,
        df_levels,
        df_replicates,
        p: f_upper(f, df_levels as f64, df_replicates as f64),
    })
}
