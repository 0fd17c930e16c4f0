use serde::{Deserialize, Serialize};

use super::{Calibration, Remark, all_finite, below_ceiling, positive};
use crate::refusal::{Refusal, require_finite};

/// What is asked of the line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "value", rename_all = "kebab-case")]
pub enum Target {
    /// The concentration of an unknown from one or more readings of it.
    Readings(Vec<f64>),
    /// Where the line itself has this height, as if the reading had no error of its own.
    MeanResponse(f64),
}

/// The set of concentrations that agree with the reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum ConcentrationSet {
    /// An ordinary interval.
    Interval {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// All up to `below` and all from `above`: the slope is not told from zero, and only the stretch
    /// between is excluded.
    Complement {
        /// End of the lower part.
        below: f64,
        /// Beginning of the upper part.
        above: f64,
    },
    /// All from here upwards.
    AtLeast {
        /// Lower limit.
        low: f64,
    },
    /// All up to here.
    AtMost {
        /// Upper limit.
        high: f64,
    },
    /// Every concentration: the line says nothing.
    WholeLine,
}

impl ConcentrationSet {
    /// The two limits of an ordinary interval; `None` where the set is unbounded.
    pub fn interval(&self) -> Option<[f64; 2]> {
        match *self {
            Self::Interval { low, high } => Some([low, high]),
            _ => None,
        }
    }

    /// The set mirrored at zero.
    pub(super) fn mirrored(self) -> Self {
        match self {
            Self::Interval { low, high } => Self::Interval {
                low: -high,
                high: -low,
            },
            Self::Complement { below, above } => Self::Complement {
                below: -above,
                above: -below,
            },
            Self::AtLeast { low } => Self::AtMost { high: -low },
            Self::AtMost { high } => Self::AtLeast { low: -high },
            Self::WholeLine => Self::WholeLine,
        }
    }

    /// The set with every concentration multiplied by a positive factor.
    pub(crate) fn scaled(self, by: f64) -> Self {
        match self {
            Self::Interval { low, high } => Self::Interval {
                low: low * by,
                high: high * by,
            },
            Self::Complement { below, above } => Self::Complement {
                below: below * by,
                above: above * by,
            },
            Self::AtLeast { low } => Self::AtLeast { low: low * by },
            Self::AtMost { high } => Self::AtMost { high: high * by },
            Self::WholeLine => Self::WholeLine,
        }
    }
}

/// The concentration of an unknown.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InversePrediction {
    /// x0 = (y0 - b0)/b1.
    pub x: f64,
    /// Standard error by the delta method, (s/|b1|)·√(1/m + 1/n + (x0 - x̄)²/Sxx). It leaves out
    /// that the slope is uncertain in the denominator; the limits do not.
    pub standard_error: f64,
    /// Limits by Fieller's theorem: inversion of the prediction band.
    pub limits: ConcentrationSet,
    /// x0 ± t·standard error, for comparison.
    pub symmetric: [f64; 2],
    /// Confidence level of both.
    pub level: f64,
    /// Mean of the readings.
    pub y: f64,
    /// Count of readings; absent for a mean response.
    pub readings: Option<usize>,
    /// Degrees of freedom of t: n + m - 3 with the spread of the readings pooled in (n + m - 2
    /// through the origin), those of the line for a mean response; absent with known errors.
    pub degrees_of_freedom: Option<usize>,
    /// s with the spread of the readings pooled in.
    pub pooled_sd: f64,
    /// g = t²·s²/(b1²·Sxx): how far the slope is from certain. From 1 on the set is unbounded.
    pub g: f64,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

impl Calibration {
    /// Reads an unknown off the line.
    ///
    /// `reading_weight` is the weight of a single reading of the unknown, on the scale of the line's
    /// weights (with known errors: 1 over its variance). It is 1 for equal weights; for 1/x and 1/x²
    /// lines it follows from x0 where absent; for other weights it must be given.
    ///
    /// # Errors
    /// `too-few-points` for no reading, `not-finite`; `out-of-range` for a level outside 0 to 1 or a
    /// saturated reading; `bad-weight`; `unsuitable` for a slope of 0 or a missing weight.
    ///
    /// Sources: Fieller, J. R. Stat. Soc. B 16, 175 (1954); Draper & Smith, Applied Regression
    /// Analysis; pooling as in Graybill & Iyer (1994), chapter 6.
    pub fn inverse(
        &self,
        target: &Target,
        level: f64,
        reading_weight: Option<f64>,
    ) -> Result<InversePrediction, Refusal> {
        let readings: &[f64] = match target {
            Target::Readings(values) => values,
            Target::MeanResponse(value) => std::slice::from_ref(value),
        };
        require_finite("the readings", readings)?;
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
        let mut found = self.solve(target, readings, level, reading_weight)?;
        let [low, high] = self.range();
        if found.x < low || found.x > high {
            found.remarks.push(Remark::new(
                "outside-standards",
                format!(
                    "{:.4} lies outside the standards ({low} to {high}): the line is extrapolated",
                    found.x
                ),
            ));
        }
        if found.x < 0.0 {
            found.remarks.push(Remark::new(
                "negative-concentration",
                "the concentration comes out below zero",
            ));
        }
        Ok(found)
    }

    pub(super) fn solve(
        &self,
        target: &Target,
        readings: &[f64],
        level: f64,
        reading_weight: Option<f64>,
    ) -> Result<InversePrediction, Refusal> {
        if self.slope == 0.0 {
            return Err(Refusal::Unsuitable {
                why: "the slope is 0: the line does not depend on the concentration".into(),
            });
        }
        let m = readings.len() as f64;
        let y = readings.iter().sum::<f64>() / m;
        let x = (y - self.intercept) / self.slope;
        let mut remarks = Vec::new();
        let single = matches!(target, Target::Readings(_));
        let weight = if single {
            self.weight_of_reading(reading_weight, x, &mut remarks)?
        } else {
            1.0
        };

        let (pooled_sd, df) = if self.errors_known() {
            (1.0, self.degrees_of_freedom)
        } else if single {
            let spread: f64 = readings.iter().map(|r| (r - y).powi(2)).sum();
            let df = self.degrees_of_freedom + readings.len() - 1;
            (
                ((self.residual_sum_of_squares.max(self.least_sum) + weight * spread) / df as f64).sqrt(),
                df,
            )
        } else {
            (self.residual_sd, self.degrees_of_freedom)
        };
        let quantile = self.quantile(level, df)?;
        // Variances for unit s: of the reading and of the line's height at the mean of the standards.
        let own = if single { 1.0 / (m * weight) } else { 0.0 };
        let base = own + 1.0 / self.total_weight();
        let distance = x - self.mean_x;
        let standard_error = pooled_sd / self.slope.abs() * (base + distance * distance / self.sxx).sqrt();

        // All x with (y - b0 - b1·x)² ≤ t²s²(base + (x - x̄)²/Sxx): a quadratic in d = x - x̄ with
        // leading coefficient b1²(1 - g).
        let t2s2 = (quantile * pooled_sd).powi(2);
        let g = t2s2 / (self.slope * self.slope * self.sxx);
        let rise = self.slope * distance;
        let leading = self.slope * self.slope * (1.0 - g);
        let discriminant = t2s2 * (rise * rise / self.sxx + leading * base);
        all_finite(&[x, standard_error, g, discriminant])?;
        let root = |sign: f64| self.mean_x + (self.slope * rise + sign * discriminant.sqrt()) / leading;
        let limits = if g < 1.0 {
            let (a, b) = (root(-1.0), root(1.0));
            ConcentrationSet::Interval {
                low: a.min(b),
                high: a.max(b),
            }
        } else if g == 1.0 {
            let c = rise * rise - t2s2 * base;
            match self.slope * rise {
                s if s > 0.0 => ConcentrationSet::AtLeast {
                    low: self.mean_x + c / (2.0 * s),
                },
                s if s < 0.0 => ConcentrationSet::AtMost {
                    high: self.mean_x + c / (2.0 * s),
                },
                _ => ConcentrationSet::WholeLine,
            }
        } else if discriminant > 0.0 {
            let (a, b) = (root(-1.0), root(1.0));
            ConcentrationSet::Complement {
                below: a.min(b),
                above: a.max(b),
            }
        } else {
            ConcentrationSet::WholeLine
        };
        if g >= 1.0 {
            remarks.push(Remark::new(
                "limits-unbounded",
                format!(
                    "the slope cannot be distinguished from zero at this level (g = {g:.3}), so the concentration has no bounded limits and {x} must not be reported alone"
                ),
            ));
        }
        Ok(InversePrediction {
            x,
            standard_error,
            limits,
            symmetric: [x - quantile * standard_error, x + quantile * standard_error],
            level,
            y,
            readings: single.then_some(readings.len()),
            degrees_of_freedom: (!self.errors_known()).then_some(df),
            pooled_sd,
            g,
            remarks,
        })
    }

    fn weight_of_reading(
        &self,
        given: Option<f64>,
        x: f64,
        remarks: &mut Vec<Remark>,
    ) -> Result<f64, Refusal> {
        if let Some(weight) = given {
            positive("the weight of the reading", weight)?;
            return Ok(weight);
        }
        let weight = self.weighting.of_reading(x, remarks)?;
        positive("the weight of the reading", weight)?;
        Ok(weight)
    }
}
