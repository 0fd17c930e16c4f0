//! Bands of Gauss or Voigt fitted to a spectrum, with starting values from its peaks and shoulders.
//!
//! What they stand on is part of the model: a straight line, a parabola or scattered light, whichever Akaike's criterion for small
//! samples prefers. What the others, each with its weight, make of a number is an error of it where that is more than its own.

use crate::study::StudyError;
use std::borrow::Cow;

use curvary_record::{Code, Diagnostic, Interval, Outcome, Parameter, Trace, Unit};

use super::PlotData;
use super::fit::{correlated, statistics, two};
use super::peaks::{
    PeaksPlan, correlates, describe, drawn_of, noise_name, noise_of, of_means, options, parameter,
    resolution, shoulders, tell_alike, tell_few, unit_of_ordinate, window_of,
};
use super::spectrum::{References, spectrum_of, tell_log, unit_of, with_usual_steps};
use crate::fit::{Data, Derived, Determination, Fit, Options, fit};
use crate::models::Model;
use crate::spectra::{
    AreaBaseline, Axis, BandBackground, BandShape, BandStart, Bands, Curve, Extreme, SavitzkyGolay, Uneven,
    find_peaks,
};

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
    let columns: [&[f64]; 1] = [curve.x()];
    let data = Data::new(&columns, curve.y());
    let Backgrounds {
        chosen: (bands, background, mut found),
        others,
    } = over_backgrounds(
        (shape, &starts),
        &curve,
        &data,
        plan.area,
        processed.spectrum.axis,
    )?;
    correlated(&bands, &columns, &mut found, outcome);
    tell(
        (&bands, background),
        &others,
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

/// Bands over the background that suits the points best, and over others that may be.
struct Backgrounds {
    chosen: (Bands, BandBackground, Fit),
    /// Values of the parameters over each other one, with its weight.
    others: Vec<(f64, BandBackground, Vec<f64>)>,
}

/// Backgrounds of a weight below this are left out. A choice.
const LEAST_WEIGHT: f64 = 0.01;

/// Fits over further backgrounds that need more steps than this from where the straight one ended do not settle. A choice.
const MOST_ITERATIONS: usize = 60;

/// Whether bands lie within the curve, and none is wider than it.
fn within_curve(bands: &Bands, values: &[f64], curve: &Curve) -> bool {
    let (low, high) = curve.range();
    values.chunks(bands.size()).all(|own| {
        let width = bands.measures(own).width.0;
        (low..=high).contains(&own[1]) && width < high - low
    })
}

/// Fits the bands over each background. The straight one comes first, and the others begin where it ended.
fn over_backgrounds(
    (shape, starts): (BandShape, &[BandStart]),
    curve: &Curve,
    data: &Data<'_>,
    area: AreaBaseline,
    axis: Axis,
) -> Result<Backgrounds, StudyError> {
    let of = |background| Bands::new(shape, starts.to_vec(), curve.range(), background);
    let first = match area {
        AreaBaseline::Zero => BandBackground::Zero,
        AreaBaseline::Chord => BandBackground::Line,
    };
    let bands = of(first);
    let size = starts.len() * bands.size();
    // Without the straight one there is nothing to compare the others with.
    let found = fit(&bands, data, &Options::default()).map_err(|refusal| {
        let refusal = StudyError::from(refusal);
        if shape == BandShape::Voigt {
            refusal.reworded(|why| {
                format!("{why}; bands that are Lorentz's alone have no width of Gauss, and --bands lorentz fits those")
            })
        } else {
            refusal
        }
    })?;
    let own: Vec<f64> = found.parameters[..size].iter().map(|p| p.value).collect();
    let mut all = vec![(bands, first, found)];
    let mut more = Vec::new();
    if area == AreaBaseline::Chord {
        more.push(BandBackground::Bent);
        if curve.x().iter().all(|x| axis.to_nm(*x).is_some()) {
            more.push(BandBackground::Scatter(axis));
        }
    }
    for background in more {
        let bands = of(background);
        let mut start = own.clone();
        start.resize(bands.parameters().len(), 0.0);
        let options = Options {
            start: Some(start),
            iterations: MOST_ITERATIONS,
            ..Options::default()
        };
        // Where a further background has no minimum, or only one in which a band is as wide as the curve and so a part of the
        // background, there is one less to choose among.
        if let Ok(found) = fit(&bands, data, &options)
            && within_curve(&bands, &found.values()[..size], curve)
        {
            all.push((bands, background, found));
        }
    }
    let criterion = |found: &Fit| found.aicc.unwrap_or(f64::INFINITY);
    let best = all
        .iter()
        .map(|(_, _, found)| criterion(found))
        .fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = all
        .iter()
        .map(|(_, _, found)| (0.5 * (best - criterion(found))).exp())
        .collect();
    let sum: f64 = weights.iter().sum();
    // Of equal ones the straight one, which is the first; without a criterion there is no choice.
    let place = (0..all.len()).fold(
        0,
        |chosen, i| if weights[i] > weights[chosen] { i } else { chosen },
    );
    let chosen = all.remove(place);
    let weights = weights
        .iter()
        .enumerate()
        .filter(|(i, _)| *i != place)
        .map(|(_, weight)| weight / sum);
    let others = all
        .into_iter()
        .zip(weights)
        .filter(|(_, weight)| *weight >= LEAST_WEIGHT)
        .map(|((_, background, found), weight)| (weight, background, found.values()))
        .collect();
    if shape == BandShape::Voigt {
        refuse_missed(&chosen.2, starts, curve, data, (area, axis))?;
    }
    Ok(Backgrounds { chosen, others })
}

/// Refuses bands of Voigt where those of Lorentz suit the points better: they are among them, and were missed. A search with a width of
/// Gauss that goes to zero often does not settle, and then the background that suits is not among those that are compared.
fn refuse_missed(
    chosen: &Fit,
    starts: &[BandStart],
    curve: &Curve,
    data: &Data<'_>,
    (area, axis): (AreaBaseline, Axis),
) -> Result<(), StudyError> {
    let Ok(other) = over_backgrounds((BandShape::Lorentz, starts), curve, data, area, axis) else {
        return Ok(());
    };
    // The same fit with a width less for each band has a criterion that is lower by about two for each.
    let saved = 2.0 * starts.len() as f64;
    match (other.chosen.2.aicc, chosen.aicc) {
        (Some(lorentz), Some(voigt)) if lorentz + saved + 2.0 < voigt => Err(StudyError::new(
            "not-converged",
            format!(
                "bands of Lorentz over {} suit the points better than any of Voigt that were found: --bands lorentz fits those",
                words(other.chosen.1)
            ),
        )),
        _ => Ok(()),
    }
}

/// A background in words.
fn words(background: BandBackground) -> &'static str {
    match background {
        BandBackground::Zero => "no background",
        BandBackground::Line => "a straight baseline",
        BandBackground::Bent => "a parabola as baseline",
        BandBackground::Scatter(_) => {
            "scattered light (powers 2 and 4 of the wavelength, and a level) as baseline"
        }
    }
}

/// Widens the errors of bands by what other backgrounds make of their numbers, where that is more than the errors, and says which.
fn widen(list: &mut [Parameter], others: &[(f64, BandBackground, Vec<[f64; 4]>)]) -> Option<Diagnostic> {
    let mut told: Vec<String> = Vec::new();
    for (band, own) in list.chunk_by_mut(|_, next| next.name != "band").enumerate() {
        for (place, parameter) in own.iter_mut().take(4).enumerate() {
            let (Some(value), Some(error)) = (parameter.value, parameter.standard_error) else {
                continue;
            };
            let of = |all: &Vec<[f64; 4]>| all.get(band).map_or(0.0, |all| (all[place] - value).powi(2));
            let away = others
                .iter()
                .map(|(weight, _, all)| weight * of(all))
                .sum::<f64>()
                .sqrt();
            if away.is_nan() || away <= error {
                continue;
            }
            let wider = error.hypot(away);
            parameter.standard_error = Some(wider);
            for interval in &mut parameter.intervals {
                for end in [&mut interval.low, &mut interval.high].into_iter().flatten() {
                    *end = value + (*end - value) * wider / error;
                }
            }
            told.push(format!("{} {} by {}", parameter.name, band + 1, two(away)));
        }
    }
    (!told.is_empty()).then(|| {
        let names: Vec<&str> = others.iter().map(|(_, background, _)| words(*background)).collect();
        Diagnostic::warning(
            Code::new("background-unsure"),
            format!(
                "the points hardly tell {} from the background that was chosen, and numbers of the bands hang on it: {}; the errors allow \
                 for it",
                names.join(" and "),
                told.join(", ")
            ),
        )
    })
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
    (bands, background): (&Bands, BandBackground),
    others: &[(f64, BandBackground, Vec<f64>)],
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
    for at in count * size..found.parameters.len() {
        let own = &bands.parameters()[at];
        let unit = match (&x_unit, &y_unit) {
            (_, unit) if own.unit == "y" => unit.clone(),
            (Some(x), Some(y)) => super::unit_in_terms(&own.unit, x, y, &Unit::ONE),
            _ => None,
        };
        list.push(fitted(&own.name, &unit, at));
    }
    let others: Vec<(f64, BandBackground, Vec<[f64; 4]>)> = others
        .iter()
        .map(|(weight, background, values)| {
            let of = |own: &[f64]| {
                let measures = bands.measures(own);
                [own[1], own[0], measures.width.0, measures.area.0]
            };
            (
                *weight,
                *background,
                values[..count * size].chunks(size).map(of).collect(),
            )
        })
        .collect();
    outcome
        .remarks
        .extend(widen(&mut list[..count * if size > 3 { 6 } else { 4 }], &others));
    outcome.parameters = list;
    statistics(outcome, found);
    outcome.termination = found.termination.words().into();
    if background != BandBackground::Zero {
        outcome.remarks.push(Diagnostic::note(
            Code::new("fit-remark"),
            format!(
                "{} was fitted along, its level stated at the middle of the stretch; --area-from-zero fits none",
                words(background)
            ),
        ));
    }
}
