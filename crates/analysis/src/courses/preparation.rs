//! From a trace as measured to numbers that are fit for fitting.

use serde::{Deserialize, Serialize};

use super::Course;
use crate::fit::{Data, Fit, FitRemark, Options, Weighting, fit};
use crate::refusal::{Refusal, require_finite, require_length};

/// Absorbance into concentration.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conversion {
    /// Molar absorption coefficient (or a difference of two), L mol⁻¹ cm⁻¹.
    pub coefficient: f64,
    /// Path length, cm.
    pub path: f64,
}

impl Conversion {
    /// What the absorbance is divided by to give mol/L.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] where the coefficient is zero or the path is not above zero.
    pub fn factor(&self) -> Result<f64, Refusal> {
        if self.path.is_nan() || self.path <= 0.0 || !self.path.is_finite() {
            return Err(Refusal::OutOfRange {
                what: "the path length".into(),
                value: self.path,
                allowed: "above zero".into(),
            });
        }
        if self.coefficient == 0.0 || !self.coefficient.is_finite() {
            return Err(Refusal::OutOfRange {
                what: "the molar absorption coefficient".into(),
                value: self.coefficient,
                allowed: "a finite number other than zero".into(),
            });
        }
        Ok(self.coefficient * self.path)
    }
}

/// What is done to a trace before it is fitted.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Preparation {
    /// Times kept, both ends included; none: all.
    pub window: Option<(f64, f64)>,
    /// Times left out, both ends included.
    pub leave_out: Vec<(f64, f64)>,
    /// Signals above this are left out and counted: there stray light rules.
    pub saturated_above: Option<f64>,
    /// Time from mixing to the first reading's zero; added to every time, so that amplitudes are those at mixing.
    pub dead_time: f64,
    /// Turns absorbance into concentration.
    pub conversion: Option<Conversion>,
    /// The signal is a concentration: negative values are refused.
    pub concentration: bool,
    /// Lets several points have the same time.
    pub equal_times: bool,
    /// Step of the readings, in the unit of the signal that is fitted: no error is smaller than it allows. None where it is not
    /// known.
    pub resolution: Option<f64>,
}

/// A trace that is fit for fitting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PreparedTrace {
    /// Times, dead time included.
    pub time: Vec<f64>,
    /// Signal or concentration.
    pub signal: Vec<f64>,
    /// Positions of these points in the trace as handed in.
    pub used: Vec<usize>,
    /// What the absorbance was divided by, L mol⁻¹ (mol/L = absorbance / factor).
    pub factor: Option<f64>,
    /// How many points lay above the limit of trust.
    pub saturated: usize,
}

/// Checks a trace, cuts it to its window, leaves out what is saturated and converts it.
///
/// # Errors
/// The reasons of [`Refusal`] for bad data.
pub fn prepare(time: &[f64], signal: &[f64], how: &Preparation) -> Result<PreparedTrace, Refusal> {
    require_length("signal", signal, time.len())?;
    require_finite("time", time)?;
    require_finite("signal", signal)?;
    require_finite("the dead time", &[how.dead_time])?;
    if how.dead_time < 0.0 {
        return Err(Refusal::Negative {
            what: "the dead time".into(),
            index: 0,
            value: how.dead_time,
        });
    }
    for i in 1..time.len() {
        if time[i] < time[i - 1] {
            return Err(Refusal::ReversedTime { index: i });
        }
        if time[i] == time[i - 1] && !how.equal_times {
            return Err(Refusal::EqualX {
                first: i - 1,
                second: i,
                value: time[i],
            });
        }
    }
    if let Some((from, to)) = how.window
        && (from.is_nan() || to.is_nan() || from >= to)
    {
        return Err(Refusal::OutOfRange {
            what: "the beginning of the window".into(),
            value: from,
            allowed: format!("below its end {to}"),
        });
    }
    if let Some((from, to)) = how
        .leave_out
        .iter()
        .find(|(from, to)| from.is_nan() || to.is_nan() || from > to)
    {
        return Err(Refusal::OutOfRange {
            what: "the beginning of the stretch that is left out".into(),
            value: *from,
            allowed: format!("at most its end {to}"),
        });
    }
    let factor = how.conversion.map(|c| c.factor()).transpose()?;
    let mut prepared = PreparedTrace {
        time: Vec::new(),
        signal: Vec::new(),
        used: Vec::new(),
        factor,
        saturated: 0,
    };
    for (i, (t, y)) in time.iter().zip(signal).enumerate() {
        if how.window.is_some_and(|(from, to)| *t < from || *t > to) {
            continue;
        }
        if how.leave_out.iter().any(|(from, to)| (*from..=*to).contains(t)) {
            continue;
        }
        if how.saturated_above.is_some_and(|limit| *y > limit) {
            prepared.saturated += 1;
            continue;
        }
        let value = factor.map_or(*y, |f| y / f);
        if how.concentration && value < 0.0 {
            return Err(Refusal::Negative {
                what: "the concentration".into(),
                index: i,
                value,
            });
        }
        prepared.time.push(t + how.dead_time);
        prepared.signal.push(value);
        prepared.used.push(i);
    }
    if prepared.time.is_empty()
        && let Some(limit) = how.saturated_above
        && prepared.saturated > 0
    {
        return Err(Refusal::AllSaturated {
            limit,
            count: prepared.saturated,
        });
    }
    Ok(prepared)
}

/// A fitted time course.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CourseFit {
    /// The fit; its points are those in `used`.
    pub fit: Fit,
    /// Positions of the points used.
    pub used: Vec<usize>,
    /// What the absorbance was divided by, where it was.
    pub factor: Option<f64>,
    /// First and last time used, dead time included.
    pub window: (f64, f64),
    /// How far the reaction was followed, in half-lives of its (faster) step; absent where the law has none.
    pub half_lives: Option<f64>,
}

/// Prepares and fits a time course.
///
/// # Errors
/// As [`prepare`] and [`fit`].
pub fn fit_course(
    course: &Course,
    time: &[f64],
    signal: &[f64],
    how: &Preparation,
    options: &Options,
) -> Result<CourseFit, Refusal> {
    fit_prepared(
        course,
        prepare(time, signal, how)?,
        how,
        Weighting::Equal,
        options,
    )
}

/// Fits a time course that was prepared before; `weighting` speaks of its points.
///
/// # Errors
/// As [`fit`].
pub fn fit_prepared(
    course: &Course,
    prepared: PreparedTrace,
    how: &Preparation,
    weighting: Weighting<'_>,
    options: &Options,
) -> Result<CourseFit, Refusal> {
    let PreparedTrace {
        time,
        signal,
        used,
        factor,
        saturated,
    } = prepared;
    let x: [&[f64]; 1] = [&time];
    let data = Data {
        x: &x,
        y: &signal,
        weighting,
    };
    let mut result = fit(course, &data, options)?;
    if saturated > 0
        && let Some(limit) = how.saturated_above
    {
        result.remarks.push(FitRemark::Saturated {
            left_out: saturated,
            limit,
        });
    }
    if course.order() == super::Order::Consecutive && options.held.is_empty() {
        result.remarks.push(FitRemark::Words {
            text: "the same curve belongs to the two rate constants in the other order, with another A0: one trace \
                   does not tell which step is the faster; the faster is given first"
                .into(),
        });
    }
    let window = (time[0], time[time.len() - 1]);
    let half_lives = result
        .derived
        .first()
        .filter(|d| d.name.starts_with("half-life") && d.value > 0.0)
        .map(|d| (window.1 - window.0) / d.value);
    if let Some(followed) = half_lives.filter(|h| *h < 1.0) {
        result.remarks.push(FitRemark::Words {
            text: format!(
                "the reaction was followed for {followed:.2} half-lives only; end value and rate constant then depend \
                 on the law assumed"
            ),
        });
    }
    Ok(CourseFit {
        fit: result,
        used,
        factor,
        window,
        half_lives,
    })
}

/// Fits the same law to several stages of one trace, each with its own window.
pub fn stages(
    course: &Course,
    time: &[f64],
    signal: &[f64],
    windows: &[(f64, f64)],
    how: &Preparation,
    options: &Options,
) -> Vec<Result<CourseFit, Refusal>> {
    windows
        .iter()
        .map(|window| {
            let how = Preparation {
                window: Some(*window),
                ..how.clone()
            };
            fit_course(course, time, signal, &how, options)
        })
        .collect()
}
