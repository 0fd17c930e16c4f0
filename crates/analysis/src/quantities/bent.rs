//! Calibration lines that bend: y = b₀ + b₁·x + b₂·x², read backwards.

use serde::{Deserialize, Serialize};

use super::calibration::{
    LackOfFit, UsedStandards, chance, choose, far_standard, lack_of_fit, origin_missed,
};
use super::{
    CalibrationOptions, ConcentrationSet, Remark, StandardPoint, StandardWeighting, all_finite,
    below_ceiling, level_in_range, positive,
};
use crate::distribution::{normal_quantile, t_half_width, t_two_sided};
use crate::linear::{fit_weighted, polynomial_weighted};
use crate::refusal::{Refusal, require_finite};

/// A calibration line with a squared term.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BentCalibration {
    /// b₀ (units of y), b₁ (y per x) and b₂ (y per x²); b₀ is 0 where the line is held at the origin.
    pub coefficients: [f64; 3],
    /// Their standard errors; 0 where held.
    pub standard_errors: [f64; 3],
    /// Their covariance; zeros where held.
    pub covariance: [[f64; 3]; 3],
    /// Residual standard deviation for unit weight.
    pub residual_sd: f64,
    /// (Weighted) sum of squared residuals.
    pub residual_sum_of_squares: f64,
    /// Points less coefficients.
    pub degrees_of_freedom: usize,
    /// Coefficient of determination; with the mean, or with zero through the origin.
    pub r_squared: Option<f64>,
    /// The standards that were used, in given order.
    pub points: Vec<StandardPoint>,
    /// How they were weighted.
    pub weighting: StandardWeighting,
    /// End of the trusted range of y.
    pub ceiling: Option<f64>,
    /// Test against the scatter of replicates, where there are some.
    pub lack_of_fit: Option<LackOfFit>,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// The concentration of an unknown, read off a bent line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BentPrediction {
    /// The concentration among the standards at which the line has the height of the mean reading.
    pub x: f64,
    /// Standard error by the delta method.
    pub standard_error: f64,
    /// All concentrations on the same side of the turn whose prediction band holds the mean reading.
    pub limits: ConcentrationSet,
    /// Confidence level of the limits.
    pub level: f64,
    /// Mean of the readings.
    pub y: f64,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

impl BentCalibration {
    /// Draws the line through standards: x concentrations, y readings.
    ///
    /// # Errors
    /// `unequal-lengths`, `not-finite`, `bad-weight`; `all-saturated`; `too-few-points` where no error can be told or there
    /// are fewer than four concentrations; `unsuitable` where the line turns among the standards, so that one reading has two
    /// concentrations.
    pub fn fit(x: &[f64], y: &[f64], options: &CalibrationOptions) -> Result<Self, Refusal> {
        let UsedStandards {
            used,
            x,
            y,
            weights: w,
            remarks,
        } = choose(x, y, options)?;
        let held = usize::from(options.through_origin);
        let mut levels = x.clone();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        // As many levels as coefficients would be met by any numbers whatever.
        if levels.len() < 4 - held {
            return Err(Refusal::TooFewPoints {
                what: "different concentrations of standards for a bent line".into(),
                found: levels.len(),
                needed: 4 - held,
            });
        }
        let squares: Vec<f64> = x.iter().map(|v| v * v).collect();
        let line = if options.through_origin {
            fit_weighted(&[&x, &squares], &y, w.as_deref())?
        } else {
            polynomial_weighted(&x, &y, 2, w.as_deref())?
        };
        let known = matches!(options.weighting, StandardWeighting::KnownErrors(_));
        let least_sum = options.least_sum(w.as_deref(), x.len(), line.degrees_of_freedom);
        let scatter = line.residual_sum_of_squares.max(least_sum);
        let residual_sd = (scatter / line.degrees_of_freedom as f64).sqrt();
        let unit = if known { 1.0 } else { residual_sd };
        let mut found = Self {
            coefficients: [0.0; 3],
            standard_errors: [0.0; 3],
            covariance: [[0.0; 3]; 3],
            residual_sd,
            residual_sum_of_squares: scatter,
            degrees_of_freedom: line.degrees_of_freedom,
            r_squared: line.r_squared,
            points: Vec::new(),
            weighting: options.weighting.clone(),
            ceiling: options.ceiling,
            lack_of_fit: None,
            remarks,
        };
        for (j, value) in line.coefficients.iter().enumerate() {
            found.coefficients[j + held] = *value;
            for (k, covariance) in line.unscaled_covariance[j].iter().enumerate() {
                found.covariance[j + held][k + held] = unit * unit * covariance;
            }
            found.standard_errors[j + held] = found.covariance[j + held][j + held].sqrt();
        }
        all_finite(&found.coefficients)?;
        all_finite(&found.standard_errors)?;
        found.points = (0..x.len())
            .map(|i| {
                let weight = w.as_ref().map_or(1.0, |w| w[i]);
                let leverage = if unit > 0.0 {
                    weight * found.variance_at(x[i]) / (unit * unit)
                } else {
                    0.0
                };
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
        found.lack_of_fit = lack_of_fit(&found.points, 3 - held);
        let far = far_standard(&found.points, found.degrees_of_freedom, known);
        found.remarks.extend(far);
        if options.through_origin {
            let missed = origin_missed(&found.points, 2, least_sum, known);
            found.remarks.extend(missed);
        }
        found
            .remarks
            .extend(options.coarse(line.residual_sum_of_squares, least_sum));
        found.judge()?;
        Ok(found)
    }

    /// Height of the line.
    pub fn at(&self, x: f64) -> f64 {
        let [b0, b1, b2] = self.coefficients;
        b0 + x * (b1 + x * b2)
    }

    /// Lowest and highest concentration of the standards.
    pub fn range(&self) -> [f64; 2] {
        self.points
            .iter()
            .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], p| {
                [low.min(p.x), high.max(p.x)]
            })
    }

    /// Variance of the line's height.
    fn variance_at(&self, x: f64) -> f64 {
        let powers = [1.0, x, x * x];
        let mut sum = 0.0;
        for (row, a) in self.covariance.iter().zip(powers) {
            for (value, b) in row.iter().zip(powers) {
                sum += a * b * value;
            }
        }
        sum.max(0.0)
    }

    /// Where the line turns; none for a straight one.
    fn turn(&self) -> Option<f64> {
        let [_, b1, b2] = self.coefficients;
        let turn = -b1 / (2.0 * b2);
        turn.is_finite().then_some(turn)
    }

    fn judge(&mut self) -> Result<(), Refusal> {
        let [low, high] = self.range();
        if let Some(turn) = self.turn()
            && turn > low
            && turn < high
        {
            return Err(Refusal::Unsuitable {
                why: format!(
                    "the line turns at the concentration {turn:.4}, among the standards, so that a reading would have two \
                     concentrations; leave out the standards beyond it"
                ),
            });
        }
        let mut say = |code: &str, words: String| self.remarks.push(Remark::new(code, words));
        let [.., b2] = self.coefficients;
        let probability = t_two_sided(b2 / self.standard_errors[2], self.degrees_of_freedom as f64);
        if probability > 0.05 {
            say(
                "straight-is-enough",
                format!(
                    "the squared term is not told from zero (probability {probability:.2}): a straight line is enough, and its errors are smaller"
                ),
            );
        }
        if let Some(test) = self.lack_of_fit
            && test.p < 0.05
        {
            say(
                "not-of-second-order",
                format!(
                    "the level means leave the bent line by more than the replicates scatter (F = {:.3}, {}): it bends \
                     otherwise, or the replicates are not independent",
                    test.f,
                    chance(test.p)
                ),
            );
        }
        Ok(())
    }

    /// Reads an unknown off the line: the concentration on the standards' side of the turn.
    ///
    /// # Errors
    /// `too-few-points` for no reading, `not-finite`; `out-of-range` for a level outside 0 to 1, a saturated reading, or one
    /// that the line reaches nowhere; `unsuitable` for weights of which no rule gives that of the reading.
    pub fn inverse(&self, readings: &[f64], level: f64) -> Result<BentPrediction, Refusal> {
        require_finite("the readings", readings)?;
        level_in_range(level)?;
        if readings.is_empty() {
            return Err(Refusal::TooFewPoints {
                what: "readings".into(),
                found: 0,
                needed: 1,
            });
        }
        for value in readings {
            below_ceiling("the reading", *value, self.ceiling)?;
        }
        let m = readings.len() as f64;
        let y = readings.iter().sum::<f64>() / m;
        let x = self.concentration_of(y)?;
        let mut remarks = Vec::new();
        let weight = self.weighting.of_reading(x, &mut remarks)?;
        let known = matches!(self.weighting, StandardWeighting::KnownErrors(_));
        let spread: f64 = readings.iter().map(|r| (r - y) * (r - y)).sum();
        let df = self.degrees_of_freedom + readings.len() - 1;
        let sd = if known {
            1.0
        } else {
            ((self.residual_sum_of_squares + weight * spread) / df as f64).sqrt()
        };
        let quantile = if known {
            normal_quantile(0.5 + level / 2.0)
        } else {
            t_half_width(level, df as f64)
        };
        positive("the quantile", quantile)?;
        // The covariance holds the line's own standard deviation; that with the readings pooled in takes its place.
        let pooled = if known || self.residual_sd <= 0.0 {
            1.0
        } else {
            (sd / self.residual_sd) * (sd / self.residual_sd)
        };
        let own = sd * sd / (m * weight);
        let variance = |at: f64| own + pooled * self.variance_at(at);
        let [_, b1, b2] = self.coefficients;
        let standard_error = variance(x).sqrt() / (b1 + 2.0 * b2 * x).abs();
        all_finite(&[x, standard_error])?;
        let inside = |at: f64| (self.at(at) - y).powi(2) <= quantile * quantile * variance(at);
        let limits = self.limits(x, standard_error, &inside);
        let [low, high] = self.range();
        if x < low || x > high {
            remarks.push(Remark::new(
                "outside-standards",
                format!(
                    "{x:.4} lies outside the standards ({low} to {high}): a bent line must not be extrapolated, measure it between them"
                ),
            ));
        }
        if x < 0.0 {
            remarks.push(Remark::new(
                "negative-concentration",
                "the concentration comes out below zero",
            ));
        }
        Ok(BentPrediction {
            x,
            standard_error,
            limits,
            level,
            y,
            remarks,
        })
    }

    /// Where the line has a height, on the standards' side of its turn.
    fn concentration_of(&self, y: f64) -> Result<f64, Refusal> {
        let [b0, b1, b2] = self.coefficients;
        let c = b0 - y;
        let inner = b1 * b1 - 4.0 * b2 * c;
        let beyond = || Refusal::OutOfRange {
            what: "the reading".into(),
            value: y,
            allowed: "what the line reaches: it bends back before this".into(),
        };
        if inner < 0.0 {
            return Err(beyond());
        }
        // The two roots without cancellation; of one side of the turn there is one.
        let q = -0.5 * (b1 + inner.sqrt().copysign(b1));
        let [low, high] = self.range();
        let middle = 0.5 * (low + high);
        let side = |x: f64| self.turn().is_none_or(|turn| (x - turn) * (middle - turn) >= 0.0);
        [c / q, q / b2]
            .into_iter()
            .filter(|x| x.is_finite())
            .find(|x| side(*x))
            .ok_or_else(beyond)
    }

    /// The ends of the stretch about `x` inside the band; an end that the turn cuts off is open.
    fn limits(&self, x: f64, error: f64, inside: &dyn Fn(f64) -> bool) -> ConcentrationSet {
        let turn = self.turn();
        let end = |sign: f64| -> Option<f64> {
            let step = error.max(1e-12 * x.abs()).max(f64::MIN_POSITIVE);
            let (mut near, mut far) = (x, x);
            for round in 0..60 {
                far = x + sign * step * f64::from(1_u32 << (round / 2).min(20)) * (f64::from(round) + 1.0);
                if turn.is_some_and(|turn| (far - turn) * (x - turn) <= 0.0) {
                    far = turn?;
                    if inside(far) {
                        return None;
                    }
                    break;
                }
                if !inside(far) {
                    break;
                }
                near = far;
            }
            if inside(far) {
                return None;
            }
            for _ in 0..200 {
                let middle = 0.5 * (near + far);
                if inside(middle) {
                    near = middle;
                } else {
                    far = middle;
                }
            }
            Some(0.5 * (near + far))
        };
        match (end(-1.0), end(1.0)) {
            (Some(low), Some(high)) => ConcentrationSet::Interval { low, high },
            (Some(low), None) => ConcentrationSet::AtLeast { low },
            (None, Some(high)) => ConcentrationSet::AtMost { high },
            (None, None) => ConcentrationSet::WholeLine,
        }
    }
}
