//! A temperature that was recorded along with a course.

use curvary_record::{Code, Diagnostic, Outcome, Quantity, Run, Trace, Unit};

/// A drift over the course, in kelvin, from which on it is worth a warning: a rate constant with an activation energy of
/// 80 kJ/mol, which is usual, changes by a tenth for each kelvin near 25 °C.
const WORTH_A_WARNING: f64 = 0.3;

/// What a recorded temperature was during a course, in kelvin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RecordedTemperature {
    /// Mean.
    pub(crate) mean: f64,
    /// Lowest reading.
    pub(crate) lowest: f64,
    /// Highest reading.
    pub(crate) highest: f64,
    /// Change from beginning to end, by the straight line through the readings.
    pub(crate) drift: f64,
}

/// Whether a trace is a temperature over time, recorded beside others.
pub(crate) fn is_recorded_temperature(trace: &Trace) -> bool {
    trace.y.quantity == Quantity::TEMPERATURE && trace.x.quantity == Quantity::TIME
}

/// The temperature recorded in a run between two times of `unit`; none where none was recorded there.
pub(crate) fn temperature_between(
    run: &Run,
    (from, to): (f64, f64),
    unit: &Unit,
) -> Option<RecordedTemperature> {
    let trace = run.traces.iter().find(|trace| is_recorded_temperature(trace))?;
    let readings: Vec<(f64, f64)> = (0..trace.len())
        .filter_map(|i| {
            let time = trace.x.unit.convert(trace.x.values[i], unit).ok()?;
            let kelvin = trace.y.unit.convert(trace.y.values[i], &Unit::KELVIN).ok()?;
            (from <= time && time <= to && kelvin > 0.0).then_some((time, kelvin))
        })
        .collect();
    if readings.is_empty() {
        return None;
    }
    let count = readings.len() as f64;
    let mean_time = readings.iter().map(|r| r.0).sum::<f64>() / count;
    let mean = readings.iter().map(|r| r.1).sum::<f64>() / count;
    let (mut square, mut cross) = (0.0, 0.0);
    for (time, kelvin) in &readings {
        square += (time - mean_time) * (time - mean_time);
        cross += (time - mean_time) * (kelvin - mean);
    }
    let span = readings[readings.len() - 1].0 - readings[0].0;
    Some(RecordedTemperature {
        mean,
        lowest: readings.iter().map(|r| r.1).fold(f64::INFINITY, f64::min),
        highest: readings.iter().map(|r| r.1).fold(f64::NEG_INFINITY, f64::max),
        drift: if square > 0.0 { cross / square * span } else { 0.0 },
    })
}

impl RecordedTemperature {
    /// Puts the temperature into the record, and says what it did.
    pub(crate) fn tell(&self, outcome: &mut Outcome) {
        outcome
            .statistics
            .insert("recorded_temperature_K".into(), self.mean);
        outcome
            .statistics
            .insert("recorded_temperature_drift_K".into(), self.drift);
        let celsius = |kelvin: f64| Unit::KELVIN.convert(kelvin, &Unit::CELSIUS).unwrap_or(f64::NAN);
        let words = format!(
            "the recorded temperature was {:.2} °C on average ({:.2} to {:.2}), and changed by {:.2} K over the course",
            celsius(self.mean),
            celsius(self.lowest),
            celsius(self.highest),
            self.drift
        );
        outcome.remarks.push(if self.drift.abs() >= WORTH_A_WARNING {
            Diagnostic::warning(
                Code::new("temperature-drifts"),
                format!("{words}: a rate constant changes by about a tenth for each kelvin"),
            )
        } else {
            Diagnostic::note(Code::new("fit-remark"), words)
        });
    }
}
