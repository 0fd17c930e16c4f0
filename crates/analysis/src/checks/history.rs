use serde::{Deserialize, Serialize};

use crate::distribution::t_two_sided;
use crate::quantities::{Calibration, CalibrationOptions, Measured, NOT_STRAIGHT, Target};
use crate::refusal::{Refusal, require_finite};

/// A year in days: the mean Gregorian year, 146097 days in 400 years.
const DAYS_PER_YEAR: f64 = 365.2425;

/// One value of a check on one day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HistoryPoint {
    /// Day, counted from any day.
    pub day: f64,
    /// The value.
    pub value: f64,
}

/// What a history shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrendVerdict {
    /// The slope is above zero at the asked level.
    Rising,
    /// The slope is below zero at the asked level.
    Falling,
    /// No drift is seen; how large one could hide stands in the interval.
    NoDriftSeen,
    /// All values are equal, to the last digit that was recorded.
    Constant,
}

/// When a drifting value comes to a limit if it goes on as before.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reach {
    /// The limit.
    pub limit: f64,
    /// The day on which the line meets it.
    pub day: f64,
    /// Confidence limits of that day, where they are bounded.
    pub interval: Option<[f64; 2]>,
}

/// The trend of a check over time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trend {
    /// What it shows.
    pub verdict: TrendVerdict,
    /// Slope in units of the value per year (365.2425 days).
    pub per_year: Measured,
    /// Confidence interval of the slope; absent for constant values.
    pub interval: Option<[f64; 2]>,
    /// Confidence level.
    pub level: f64,
    /// Probability of such a slope or a steeper one, either way, without drift.
    pub p: Option<f64>,
    /// Scatter about the line.
    pub residual_sd: f64,
    /// Mean of the values.
    pub mean: f64,
    /// Count of values.
    pub points: usize,
    /// First and last day.
    pub days: [f64; 2],
    /// When a limit is reached, for each limit that lies ahead of a drifting value.
    pub reaches: Vec<Reach>,
    /// What a reader must know.
    pub remarks: Vec<String>,
}

/// Draws a straight line through the values of a check over time and says whether it drifts.
///
/// `limits` are the lower and upper limit of the check, where there are any.
///
/// # Errors
/// `too-few-points` below four values, from which no drift can be told; `not-finite`; `constant-axis`
/// where all are of one day; `out-of-range` for the level.
pub fn trend(history: &[HistoryPoint], limits: [Option<f64>; 2], level: f64) -> Result<Trend, Refusal> {
    if !(level > 0.0 && level < 1.0) {
        return Err(Refusal::OutOfRange {
            what: "the confidence level".into(),
            value: level,
            allowed: "between 0 and 1".into(),
        });
    }
    let days: Vec<f64> = history.iter().map(|p| p.day).collect();
    let values: Vec<f64> = history.iter().map(|p| p.value).collect();
    require_finite("the days", &days)?;
    require_finite("the values", &values)?;
    require_finite(
        "the limits",
        &limits.iter().copied().flatten().collect::<Vec<_>>(),
    )?;
    if values.len() < 4 {
        return Err(Refusal::TooFewPoints {
            what: "values".into(),
            found: values.len(),
            needed: 4,
        });
    }
    let first = days.iter().copied().fold(f64::INFINITY, f64::min);
    let last = days.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if first == last {
        return Err(Refusal::ConstantAxis { value: first });
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let bare = |verdict, remarks| Trend {
        verdict,
        per_year: Measured::bare(0.0),
        interval: None,
        level,
        p: None,
        residual_sd: 0.0,
        mean,
        points: values.len(),
        days: [first, last],
        reaches: Vec::new(),
        remarks,
    };
    if values.iter().all(|v| *v == values[0]) {
        let words = "all values are equal: a drift smaller than their last digit would not show".to_owned();
        return Ok(bare(TrendVerdict::Constant, vec![words]));
    }
    let shifted: Vec<f64> = days.iter().map(|d| d - first).collect();
    let line = Calibration::fit(&shifted, &values, &CalibrationOptions::default())?;
    let [low, high] = line.slope_interval(level)?;
    let verdict = if low > 0.0 {
        TrendVerdict::Rising
    } else if high < 0.0 {
        TrendVerdict::Falling
    } else {
        TrendVerdict::NoDriftSeen
    };
    let mut remarks = Vec::new();
    if values.len() < 8 {
        remarks.push(format!(
            "only {} values: a slow drift would hardly show",
            values.len()
        ));
    }
    remarks.extend(
        line.remarks
            .iter()
            .filter(|r| r.code == NOT_STRAIGHT)
            .map(|r| r.words.clone()),
    );
    let mut in_time: Vec<(f64, f64)> = line.points.iter().map(|p| (p.x, p.residual)).collect();
    in_time.sort_by(|a, b| a.0.total_cmp(&b.0));
    let neighbours: f64 = in_time.windows(2).map(|p| p[0].1 * p[1].1).sum();
    let own: f64 = in_time.iter().map(|p| p.1 * p.1).sum();
    // 2/√n is about the 95 % limit of the correlation of independent residuals.
    if neighbours > 2.0 / (values.len() as f64).sqrt() * own {
        remarks.push(
            "values that follow each other are alike: they wander, and the slope is less certain than its interval says"
                .into(),
        );
    }
    let mut reaches = Vec::new();
    if verdict != TrendVerdict::NoDriftSeen {
        for limit in limits.into_iter().flatten() {
            let found = line.inverse(&Target::MeanResponse(limit), level, None)?;
            if found.x > last - first {
                let interval = found.limits.interval().map(|[a, b]| [first + a, first + b]);
                reaches.push(Reach {
                    limit,
                    day: first + found.x,
                    interval,
                });
            }
        }
        if !reaches.is_empty() {
            remarks.push("the day of reaching a limit holds only if the drift goes on unchanged".into());
        }
    }
    Ok(Trend {
        per_year: Measured::with_error(line.slope * DAYS_PER_YEAR, line.slope_error * DAYS_PER_YEAR),
        interval: Some([low * DAYS_PER_YEAR, high * DAYS_PER_YEAR]),
        p: (line.slope_error > 0.0)
            .then(|| t_two_sided(line.slope / line.slope_error, line.degrees_of_freedom as f64)),
        residual_sd: line.residual_sd,
        reaches,
        ..bare(verdict, remarks)
    })
}
