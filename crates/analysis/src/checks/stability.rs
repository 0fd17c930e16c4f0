use super::{BandReading, CheckItem, CheckLimits, CheckReport, CheckVerdict, Conditions, LocalLimit};
use crate::quantities::Measured;
use crate::refusal::Refusal;
use crate::spectra::{Axis, Curve, Ordinate, Spectrum, SpectrumRefusal, Window, noise};

/// Noise and drift of an absorbance recorded at one wavelength over time in seconds.
///
/// Noise is taken after a straight line is removed; drift is the slope of that line per hour.
///
/// # Errors
/// Those of [`noise`]: too few points, or a trace that does not move at all.
pub fn stability(
    limits: &CheckLimits,
    trace: &Curve,
    conditions: Conditions,
) -> Result<CheckReport, SpectrumRefusal> {
    let found = noise(trace, 1)?;
    let n = found.points as f64;
    let local = &limits.local;
    let mut rms = against(&local.noise_rms, "noise, rms", "{AU}")
        // The standard deviation of a standard deviation of n - 2 degrees of freedom.
        .decide(found.rms, Some(found.rms / (2.0 * (n - 2.0)).sqrt()));
    if found.neighbour_correlation.abs() > 2.0 / n.sqrt() {
        rms.remarks.push(format!(
            "neighbouring points are correlated ({:.2}): the signal is averaged or wanders, and the uncertainties are too small",
            found.neighbour_correlation
        ));
    }
    let peak_to_peak =
        against(&local.noise_peak_to_peak, "noise, peak to peak", "{AU}").decide(found.peak_to_peak, None);
    let mut drift = against(&local.drift_per_hour, "drift", "{AU}/h");
    drift.low = drift.high.map(|v| -v);
    let drift = drift.decide(found.drift * 3600.0, Some(found.drift_error * 3600.0));
    let named = ("local", "the laboratory's own limits", None);
    Ok(CheckReport::new(
        limits,
        "stability",
        named,
        conditions,
        vec![rms, peak_to_peak, drift],
    ))
}

/// The largest distance from zero of a blank spectrum recorded against itself.
///
/// # Errors
/// [`SpectrumRefusal::WrongOrdinate`] unless the ordinate is absorbance; too few points in the window.
pub fn flatness(
    limits: &CheckLimits,
    spectrum: &Spectrum,
    over: Option<Window>,
    conditions: Conditions,
) -> Result<CheckReport, SpectrumRefusal> {
    require_absorbance(spectrum)?;
    let (x, y) = match over {
        Some(window) => window.points(&spectrum.curve, "flatness", 2)?,
        None => (spectrum.curve.x(), spectrum.curve.y()),
    };
    if y.len() < FEWEST {
        return Err(Refusal::TooFewPoints {
            what: "points for a baseline".into(),
            found: y.len(),
            needed: FEWEST,
        }
        .into());
    }
    let worst = (0..y.len()).fold(0, |best, i| if y[i].abs() > y[best].abs() { i } else { best });
    let mut outcome = against(
        &limits.local.flatness,
        "baseline, largest distance from zero",
        "{AU}",
    );
    outcome.low = outcome.high.map(|v| -v);
    let mut outcome = outcome.decide(y[worst], None);
    outcome
        .remarks
        .push(format!("found at {} {}", x[worst], spectrum.axis));
    let conditions = Conditions {
        interval_nm: (spectrum.axis == Axis::Nanometre).then(|| spectrum.curve.steps().1),
        ..conditions
    };
    let named = ("local", "the laboratory's own limits", None);
    Ok(CheckReport::new(
        limits,
        "flatness",
        named,
        conditions,
        vec![outcome],
    ))
}

/// Fewest points of a baseline, as many as noise needs: fewer would let a baseline pass that nobody has seen.
const FEWEST: usize = 10;

/// The absorbance of a solvent in its cell, read against air.
///
/// A value below zero is told: a solvent in its cell lets less light through than air does.
pub fn blank_absorbance(
    limits: &CheckLimits,
    readings: &[BandReading],
    conditions: Conditions,
) -> CheckReport {
    let outcomes = readings
        .iter()
        .map(|reading| {
            let item = format!("absorbance of the blank at {} nm", reading.nm);
            let value = reading.absorbance.value;
            let Some(limit) = &limits.blank else {
                return CheckItem::new(item, "{AU}", "no limit in the file", false)
                    .decide(value, reading.absorbance.standard_error);
            };
            let mut outcome = CheckItem::new(item, "{AU}", &limit.source, limit.from_memory).limits(
                None,
                None,
                Some(limit.absorbance_max),
            );
            if value > limit.preferred_max {
                outcome
                    .remarks
                    .push(format!("below {} is better", limit.preferred_max));
            }
            if value < 0.0 {
                outcome
                    .remarks
                    .push("below zero, where solvent and cell cannot be: was it read against air?".into());
            }
            outcome.decide(value, reading.absorbance.standard_error)
        })
        .collect();
    let named = ("blank", "absorbance of solvent and cell", None);
    CheckReport::new(limits, "blank", named, conditions, outcomes)
}

/// The highest absorbance of a solvent in its cell, read against air, where nothing says at which wavelengths it is used.
///
/// If the highest passes, all do; if it does not, nothing is decided.
///
/// # Errors
/// [`SpectrumRefusal::WrongOrdinate`] unless the ordinate is absorbance.
pub fn blank_everywhere(
    limits: &CheckLimits,
    spectrum: &Spectrum,
    conditions: Conditions,
) -> Result<CheckReport, SpectrumRefusal> {
    require_absorbance(spectrum)?;
    let (x, y) = (spectrum.curve.x(), spectrum.curve.y());
    let highest = (0..y.len()).fold(0, |best, i| if y[i] > y[best] { i } else { best });
    let reading = BandReading {
        nm: x[highest],
        absorbance: Measured::bare(y[highest]),
        interpolated: false,
    };
    let mut report = blank_absorbance(limits, &[reading], conditions);
    for outcome in &mut report.outcomes {
        outcome.item = "absorbance of the blank, highest".into();
        outcome
            .remarks
            .push(format!("found at {} {}", x[highest], spectrum.axis));
        if outcome.verdict == CheckVerdict::Fail {
            outcome.verdict = CheckVerdict::open(
                "wavelength-unknown",
                "the limit holds at the wavelengths of use, and none was stated",
            );
        }
    }
    Ok(report)
}

/// Readings with nothing, or with the same, in both beams: how far they lie from zero.
pub fn zero_of_readings(
    limits: &CheckLimits,
    readings: &[BandReading],
    conditions: Conditions,
) -> CheckReport {
    let outcomes = readings
        .iter()
        .map(|reading| {
            let item = format!("zero at {} nm", reading.nm);
            let mut outcome = against(&limits.local.zero, &item, "{AU}");
            outcome.low = outcome.high.map(|v| -v);
            outcome.decide(reading.absorbance.value, reading.absorbance.standard_error)
        })
        .collect();
    let named = ("local", "the laboratory's own limits", None);
    CheckReport::new(limits, "zero", named, conditions, outcomes)
}

/// The mean of an absorbance recorded over time with nothing, or with the same, in both beams.
///
/// Its standard error is s/√n, which holds for independent readings; where neighbours are correlated it is said.
///
/// # Errors
/// Those of [`noise`]: too few points, or a trace that does not move at all.
pub fn zero_over_time(
    limits: &CheckLimits,
    trace: &Curve,
    conditions: Conditions,
) -> Result<CheckReport, SpectrumRefusal> {
    let found = noise(trace, 0)?;
    let n = trace.len() as f64;
    let mean = trace.y().iter().sum::<f64>() / n;
    let mut outcome = against(&limits.local.zero, "zero, mean over time", "{AU}");
    outcome.low = outcome.high.map(|v| -v);
    if found.neighbour_correlation.abs() > 2.0 / n.sqrt() {
        outcome.remarks.push(format!(
            "neighbouring points are correlated ({:.2}): the uncertainty is too small",
            found.neighbour_correlation
        ));
    }
    let outcome = outcome.decide(mean, Some(found.rms / n.sqrt()));
    let named = ("local", "the laboratory's own limits", None);
    Ok(CheckReport::new(limits, "zero", named, conditions, vec![outcome]))
}

fn require_absorbance(spectrum: &Spectrum) -> Result<(), SpectrumRefusal> {
    if spectrum.ordinate == Ordinate::Absorbance {
        return Ok(());
    }
    Err(SpectrumRefusal::WrongOrdinate {
        found: spectrum.ordinate.to_string(),
        wanted: "absorbance".into(),
    })
}

fn against(limit: &Option<LocalLimit>, item: &str, unit: &str) -> CheckItem {
    match limit {
        Some(limit) => {
            CheckItem::new(item, unit, &limit.source, limit.from_memory).limits(None, None, Some(limit.max))
        }
        None => CheckItem::new(item, unit, "no limit in the file", false),
    }
}
