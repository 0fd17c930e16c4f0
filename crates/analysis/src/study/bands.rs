//! Bands of Gauss or Voigt fitted to a spectrum, with starting values from its peaks and shoulders.

use crate::study::StudyError;
use std::borrow::Cow;

use curvary_record::{Code, Diagnostic, Interval, Outcome, Parameter, Trace, Unit};

use super::PlotData;
use super::fit::{correlated, statistics};
use super::peaks::{
    PeaksPlan, correlates, describe, drawn_of, noise_name, noise_of, of_means, options, parameter,
    resolution, shoulders, tell_alike, tell_few, unit_of_ordinate, window_of,
};
use super::spectrum::{References, spectrum_of, tell_log, unit_of, with_usual_steps};
use crate::fit::{Data, Derived, Determination, Fit, Options, fit};
use crate::models::Model;
use crate::spectra::{BandShape, BandStart, Bands, Curve, Extreme, SavitzkyGolay, Uneven, find_peaks};

/// Most bands that are looked for: more are never told apart by one spectrum.
const MOST: usize = 12;

/// Fits the bands of a spectrum.
pub(super) fn fit_bands(
    plan: &PeaksPlan,
    trace: &Trace,
    references: &References,
    outcome: &mut Outcome,
    drawn: &mut PlotData,
) -> Result<(), StudyError> {
    let shape = plan.bands.unwrap_or(BandShape::Gauss);
    if plan.extreme == Extreme::Minimum {
        return Err(StudyError::unsuitable("bands are fitted upwards, not to valleys"));
    }
    if plan.steps.iter().any(correlates) {
        return Err(StudyError::unsuitable(
            "bands are fitted to points as they were recorded; leave out smoothing, derivatives and \
             resampling, which make neighbours err together",
        ));
    }
    let (spectrum, marked) = spectrum_of(trace)?;
    let chain = with_usual_steps(&plan.steps, &spectrum, plan.trusted_absorbance);
    describe(&chain, outcome);
    let processed = chain.apply(&spectrum, |name| references.get(name).cloned())?;
    tell_log(&processed.log, marked, outcome);
    *drawn = drawn_of(&processed, trace);
    let whole = processed.spectrum.curve.rising();
    let inside = |x: f64| plan.within.is_none_or(|within| within.holds(x));
    let curve = whole.leave_out(|x, _| !inside(x))?;
    drawn.used = (0..drawn.x.len()).filter(|i| inside(drawn.x[*i])).collect();
    let alike = noise_of(&processed, plan)?;
    let noise = alike.map(|alike| alike.sd);
    tell_alike(alike, outcome);
    tell_few(alike, curve.len(), outcome);
    let peaks = find_peaks(&curve, &options(plan, &processed, alike))?.peaks;
    let positions: Vec<f64> = if plan.positions.is_empty() {
        let hidden = alike.map_or_else(Vec::new, |alike| {
            shoulders(&curve, &peaks, of_means(alike).max(resolution(trace)), None)
        });
        let mut all: Vec<f64> = peaks.iter().map(|peak| peak.apex.x()).collect();
        all.extend(hidden.iter().map(|shoulder| shoulder.x));
        all.sort_by(f64::total_cmp);
        all
    } else {
        plan.positions.clone()
    };
    if positions.is_empty() {
        return Err(StudyError::new(
            "no-peak",
            "nothing stands out where a band could begin; --band-at says where",
        ));
    }
    if positions.len() > MOST {
        return Err(StudyError::unsuitable(format!(
            "{} peaks and shoulders are more than the {MOST} bands that one fit takes; --within or --band-at says \
             which are meant",
            positions.len()
        )));
    }
    let starts = begin(&curve, &positions, window_of(&curve, &peaks));
    let bands = Bands::new(shape, starts, curve.range(), plan.area);
    let columns: [&[f64]; 1] = [curve.x()];
    let mut found = fit(&bands, &Data::new(&columns, curve.y()), &Options::default())?;
    correlated(&bands, &columns, &mut found, outcome);
    tell(
        &bands,
        positions.len(),
        &mut found,
        outcome,
        (
            unit_of(processed.spectrum.axis),
            unit_of_ordinate(processed.spectrum.ordinate),
        ),
    );
    if let Some(noise) = noise {
        outcome.statistics.insert(noise_name(curve.len()).into(), noise);
    }
    outcome.model = match outcome.model.as_str() {
        "" | "as recorded" => bands.name().into_owned(),
        steps => format!("{} after {steps}", bands.name()),
    };
    let drawn_rising = drawn.x.first() <= drawn.x.last();
    let turned = |values: Vec<f64>| -> Vec<f64> {
        if drawn_rising {
            values
        } else {
            values.into_iter().rev().collect()
        }
    };
    drawn.curve = Some(super::curve_of(&bands, &found.values(), curve.x()));
    drawn.fitted = turned(found.fitted);
    drawn.residuals = turned(found.residuals);
    Ok(())
}

/// Widths from height and curvature: at the top of Gauss's curve `y'' = -8 ln 2 h/w²`.
fn begin(curve: &Curve, positions: &[f64], window: usize) -> Vec<BandStart> {
    let (low, high) = curve.range();
    let floor = curve.y().iter().copied().fold(f64::INFINITY, f64::min);
    let filter = SavitzkyGolay {
        window,
        order: 3,
        derivative: 2,
        uneven: Uneven::Fit,
    };
    let bent = filter.apply(curve).ok();
    positions
        .iter()
        .map(|position| {
            let nearest = |x: &[f64]| {
                (0..x.len()).min_by(|a, b| (x[*a] - position).abs().total_cmp(&(x[*b] - position).abs()))
            };
            let height = nearest(curve.x()).map_or(0.0, |i| curve.y()[i] - floor);
            let second = bent
                .as_ref()
                .and_then(|bent| nearest(bent.curve.x()).map(|i| bent.curve.y()[i]))
                .filter(|second| *second < 0.0);
            let width = second
                .map(|second| (8.0 * std::f64::consts::LN_2 * height / -second).sqrt())
                .filter(|width| width.is_finite() && *width > 0.0)
                .unwrap_or(0.1 * (high - low));
            BandStart {
                position: *position,
                width: width.min(high - low),
            }
        })
        .collect()
}

/// Puts the bands into the record, each with position, height, width and area.
fn tell(
    bands: &Bands,
    count: usize,
    found: &mut Fit,
    outcome: &mut Outcome,
    (x_unit, y_unit): (Option<Unit>, Option<Unit>),
) {
    let size = bands.size();
    // Absorbance has no dimension, so its area has that of the axis.
    let area_unit = x_unit.clone().filter(|_| {
        y_unit
            .as_ref()
            .is_some_and(|unit| [Unit::ABSORBANCE, Unit::ONE].contains(unit))
    });
    let values: Vec<f64> = found.parameters.iter().map(|p| p.value).collect();
    // A width that ended on zero is taken as that, and the error is that of the others.
    let ended: Vec<bool> = found
        .parameters
        .iter()
        .map(|p| p.standing == Determination::AtLimit)
        .collect();
    let full = |own: &[f64], band: usize| {
        let mut gradient = vec![0.0; values.len()];
        for (i, slope) in own.iter().enumerate() {
            let place = band * size + i;
            gradient[place] = if ended[place] { 0.0 } else { *slope };
        }
        gradient
    };
    for band in 0..count {
        let measures = bands.measures(&values[band * size..(band + 1) * size]);
        for (name, (value, own)) in [("band-width", measures.width), ("band-area", measures.area)] {
            found.derive(Cow::Borrowed(name), Cow::Borrowed(""), value, &full(&own, band));
        }
    }
    let level = found.level;
    let interval = |given: &Option<crate::fit::FitInterval>| {
        given
            .iter()
            .map(|given| Interval {
                level,
                low: given.lower,
                high: given.upper,
                kind: "t".into(),
                ..Interval::default()
            })
            .collect()
    };
    let fitted = |name: &str, unit: &Option<Unit>, at: usize| {
        let own = &found.parameters[at];
        Parameter {
            standard_error: own.standard_error,
            intervals: interval(&own.interval),
            reason: (own.standing != Determination::Determined).then(|| own.standing.words().to_owned()),
            ..parameter(
                name,
                (own.standing != Determination::NotDetermined).then_some(own.value),
                unit.clone(),
            )
        }
    };
    let derived = |own: &Derived, unit: &Option<Unit>| Parameter {
        standard_error: own.standard_error,
        intervals: interval(&own.interval),
        reason: own
            .standard_error
            .is_none()
            .then(|| "a parameter that it follows from is not determined".to_owned()),
        ..parameter(&own.name, Some(own.value), unit.clone())
    };
    let mut list = Vec::new();
    for band in 0..count {
        let at = band * size;
        list.push(fitted("band", &x_unit, at + 1));
        list.push(fitted("band-height", &y_unit, at));
        list.push(derived(&found.derived[2 * band], &x_unit));
        list.push(derived(&found.derived[2 * band + 1], &area_unit));
        if size > 3 {
            list.push(fitted("band-gauss-width", &x_unit, at + 2));
            list.push(fitted("band-lorentz-width", &x_unit, at + 3));
        }
    }
    if found.parameters.len() > count * size {
        let slope_unit = match (&x_unit, &y_unit) {
            (Some(x), Some(y)) => super::unit_in_terms("y/x", x, y, &Unit::ONE),
            _ => None,
        };
        list.push(fitted("baseline", &y_unit, count * size));
        list.push(fitted("baseline-slope", &slope_unit, count * size + 1));
    }
    outcome.parameters = list;
    statistics(outcome, found);
    outcome.termination = found.termination.words().into();
    if found.parameters.len() > count * size {
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            "a straight baseline was fitted along, its level stated at the middle of the stretch; --area-from-zero fits none",
        ));
    }
}
