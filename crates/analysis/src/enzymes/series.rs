//! Rates of a whole series of traces.

use serde::{Deserialize, Serialize};

use crate::courses::{InitialRate, Preparation, RateWindow, initial_rate};
use crate::refusal::Refusal;

/// One trace of a series.
#[derive(Clone, Copy, Debug)]
pub struct TraceOfSeries<'a> {
    /// Times.
    pub time: &'a [f64],
    /// Signal.
    pub signal: &'a [f64],
    /// Whether this is a blank (everything but enzyme, or everything but substrate).
    pub blank: bool,
    /// Step of the readings in the unit of the signal, where it is known.
    pub resolution: Option<f64>,
}

/// The rate of one trace of a series.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeriesRate {
    /// The slope as measured, or why there is none.
    pub measured: Result<InitialRate, Refusal>,
    /// Slope less the mean of the blanks; absent for blanks and refusals.
    pub net: Option<f64>,
    /// Standard error of the net slope: that of the slope and of the blanks' mean together.
    pub standard_error: Option<f64>,
    /// Mean slope of the blanks and its variance; zero without blanks.
    pub blank: (f64, f64),
}

/// The rate of a blank.
///
/// A blank may be flat to the last digit; its slope is then zero by the plain line over its whole length. One that bends has its rate
/// at the beginning, as every other trace.
///
/// # Errors
/// As [`initial_rate`].
pub fn blank_rate(time: &[f64], signal: &[f64], how: &Preparation) -> Result<InitialRate, Refusal> {
    let whole = RateWindow::Hand {
        from: f64::NEG_INFINITY,
        to: f64::INFINITY,
    };
    let line = initial_rate(time, signal, how, whole)?;
    if line.straightness.is_none_or(|chance| chance > 0.05) {
        return Ok(line);
    }
    initial_rate(time, signal, how, RateWindow::Whole { fewest: 5 }).or(Ok(line))
}

/// Initial rates of every trace, each less the mean slope of the blanks.
///
/// The blanks' mean has the larger of two errors: that from the scatter among them and that from their own errors.
///
/// # Errors
/// [`Refusal::Unsuitable`] where there are blanks and none of them has a rate: nothing is subtracted by guess.
pub fn series_rates(
    traces: &[TraceOfSeries<'_>],
    how: &Preparation,
    window: RateWindow,
) -> Result<Vec<SeriesRate>, Refusal> {
    let measured: Vec<Result<InitialRate, Refusal>> = traces
        .iter()
        .map(|t| {
            let how = Preparation {
                resolution: t.resolution,
                ..how.clone()
            };
            if t.blank {
                blank_rate(t.time, t.signal, &how)
            } else {
                initial_rate(t.time, t.signal, &how, window)
            }
        })
        .collect();
    let blanks: Vec<&InitialRate> = traces
        .iter()
        .zip(&measured)
        .filter(|(t, _)| t.blank)
        .filter_map(|(_, m)| m.as_ref().ok())
        .collect();
    let given = traces.iter().filter(|t| t.blank).count();
    if given > 0 && blanks.is_empty() {
        return Err(Refusal::Unsuitable {
            why: format!("none of the {given} blanks gives a rate to subtract"),
        });
    }
    let count = blanks.len() as f64;
    let (mean, variance) = if blanks.is_empty() {
        (0.0, 0.0)
    } else {
        let mean = blanks.iter().map(|b| b.rate).sum::<f64>() / count;
        let own = blanks
            .iter()
            .map(|b| b.standard_error * b.standard_error)
            .sum::<f64>()
            / (count * count);
        let scatter = if blanks.len() > 1 {
            blanks
                .iter()
                .map(|b| (b.rate - mean) * (b.rate - mean))
                .sum::<f64>()
                / ((count - 1.0) * count)
        } else {
            0.0
        };
        (mean, own.max(scatter))
    };
    Ok(traces
        .iter()
        .zip(measured)
        .map(|(trace, measured)| {
            let rate = measured
                .as_ref()
                .ok()
                .filter(|_| !trace.blank)
                .map(|m| (m.rate, m.standard_error));
            SeriesRate {
                net: rate.map(|r| r.0 - mean),
                standard_error: rate.map(|r| (r.1 * r.1 + variance).sqrt()),
                blank: (mean, variance),
                measured,
            }
        })
        .collect())
}
