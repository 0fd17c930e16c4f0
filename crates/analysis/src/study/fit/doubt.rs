//! What is told of a fit once it is there: neighbours that err together, a drift, no change, readings too coarse.

use curvary_record::{Code, Diagnostic, Outcome, code};

use super::Chosen;
use super::compare::{FAR, NESTED, RIVALS};
use super::drift::{AllowedDrift, HiddenDrift};
use crate::courses::{Course, Order};
use crate::distribution::{f_upper, t_two_sided};
use crate::fit::solver::product;
use crate::fit::{
    Data, Determination, Fit, Options, Robust, TangentPlane, Warning, allow_for_correlation, f_test, fit,
};
use crate::models::Model;
use crate::models::law::Law;
use crate::wording::{Six, likely, with_error};

/// Below this probability a drift is told; chance gives one in a hundred fits.
const DRIFT: f64 = 0.01;

/// Below this probability a fuller law is told; chance gives one in a hundred fits for each that is tried.
const FULLER: f64 = 0.01;

/// Above this probability the points are as well described by a constant.
const NO_CHANGE: f64 = 0.05;

/// Fewest points of which a drift is asked.
pub(super) const FEWEST: usize = 10;

/// Names the readings that a robust fit gives little weight: what counts nothing must not be left out in silence.
pub(super) fn far_readings(x: &[f64], unit: &str, robust: Robust, found: &Fit, outcome: &mut Outcome) {
    let mut sizes: Vec<f64> = found.residuals.iter().map(|residual| residual.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    // The median of the absolute residuals, as a standard deviation of normal noise.
    let Some(deviation) = sizes
        .get(sizes.len() / 2)
        .map(|median| median / 0.674_489_750_196_081_7)
    else {
        return;
    };
    if robust == Robust::No || deviation <= 0.0 || x.len() != found.residuals.len() {
        return;
    }
    let weights = found
        .residuals
        .iter()
        .map(|residual| robust.weight(residual / deviation));
    let far: Vec<(f64, f64)> = x
        .iter()
        .copied()
        .zip(weights)
        .filter(|(_, weight)| *weight < LITTLE)
        .collect();
    outcome
        .statistics
        .insert("readings_of_little_weight".into(), far.len() as f64);
    if far.is_empty() {
        return;
    }
    let named: Vec<String> = far
        .iter()
        .take(8)
        .map(|(x, weight)| {
            format!(
                "{} {unit} ({})",
                Six(*x),
                if *weight < 0.005 {
                    "nothing".to_owned()
                } else {
                    two(*weight)
                }
            )
        })
        .collect();
    let more = if far.len() > named.len() { ", …" } else { "" };
    let (readings, count) = if far.len() == 1 {
        ("reading", "counts")
    } else {
        ("readings", "count")
    };
    outcome.remarks.push(Diagnostic::warning(
        Code::new("readings-far"),
        format!(
            "{} {readings} of {} {count} little or nothing, since {} far from the curve: at {}{more} (weight beside 1)",
            far.len(),
            x.len(),
            if far.len() == 1 { "it lies" } else { "they lie" },
            named.join(", ")
        ),
    ));
}

/// Weights below this are told.
const LITTLE: f64 = 0.5;

/// Errors of a plain least-squares fit over time, and what else a person should know of it; `allowed`: the drift whose size a
/// person stated.
pub(super) fn over_time(
    chosen: &Chosen,
    (time, signal): (&[f64], &[f64]),
    (options, allowed): (&Options, Option<&AllowedDrift<'_>>),
    found: &mut Fit,
    outcome: &mut Outcome,
) {
    let columns: [&[f64]; 1] = [time];
    correlated(chosen.model(), &columns, found, outcome);
    if let Chosen::Course(course) = chosen {
        no_change(signal, found, outcome);
        no_bend(course, (time, signal), found, outcome);
        // A drift takes up part of an offset that is left out, and its numbers would mislead.
        match offset(course, &columns, signal, options, found) {
            Some(told) => outcome.remarks.push(told),
            None => {
                if !drift(course, (time, signal), (options, allowed), found, outcome)
                    && allowed.is_none()
                    && let Some(hidden) = HiddenDrift::of(course, time, found)
                {
                    hidden.tell(found, outcome);
                }
            }
        }
    }
}

/// Errors that allow for neighbours that err together, where the residuals speak for it, and that it is so.
pub(in crate::study) fn correlated(
    model: &dyn Model,
    columns: &[&[f64]],
    found: &mut Fit,
    outcome: &mut Outcome,
) {
    if !allow_for_correlation(model, columns, found) {
        return;
    }
    let Some(correlation) = &found.correlation else {
        return;
    };
    let mut put = |name: String, value: f64| {
        outcome.statistics.insert(name, value);
    };
    put("lag_one_correlation".into(), correlation.lag_one);
    put("effective_points".into(), correlation.effective_points.max(1.0));
    for (parameter, plain) in found.parameters.iter().zip(&correlation.plain) {
        if let Some(plain) = plain {
            put(format!("plain_standard_error {}", parameter.name), *plain);
        }
    }
    // The errors are made wider early, which is the safe side; it speaks against the result only where it is no chance.
    let words = correlation.words(found);
    let code = Code::new("errors-correlated");
    outcome.remarks.push(if correlation.is_seen() {
        Diagnostic::warning(code, words)
    } else {
        Diagnostic::note(code, words)
    });
}

/// Says so where a constant describes the points as well as the law.
fn no_change(signal: &[f64], found: &Fit, outcome: &mut Outcome) {
    let n = signal.len() as f64;
    let mean = signal.iter().sum::<f64>() / n;
    let about_mean: f64 = signal.iter().map(|y| (y - mean) * (y - mean)).sum();
    let freedom = found.degrees_of_freedom as f64;
    let added = n - 1.0 - freedom;
    if added < 1.0 || found.residual_sum_of_squares <= 0.0 {
        return;
    }
    let gained = (about_mean - found.residual_sum_of_squares).max(0.0) / added;
    if f_upper(gained / (found.residual_sum_of_squares / freedom), added, freedom) > NO_CHANGE {
        outcome.remarks.push(Diagnostic::warning(
            code::NO_CHANGE,
            "no change is seen: a constant describes these points as well, so the parameters say nothing of a reaction",
        ));
    }
}

/// Says so where a straight line describes the points as well as a law that bends and contains one.
fn no_bend(course: &Course, (time, signal): (&[f64], &[f64]), found: &Fit, outcome: &mut Outcome) {
    let seen = outcome
        .remarks
        .iter()
        .any(|remark| remark.code == code::NO_CHANGE);
    let freedom = found.degrees_of_freedom as f64;
    let added = signal.len() as f64 - 2.0 - freedom;
    if seen || course.order() == Order::Zero || added < 1.0 || found.residual_sum_of_squares <= 0.0 {
        return;
    }
    let Ok(line) = crate::linear::line(time, signal) else {
        return;
    };
    let gained = (line.residual_sum_of_squares - found.residual_sum_of_squares).max(0.0) / added;
    if f_upper(gained / (found.residual_sum_of_squares / freedom), added, freedom) > NO_CHANGE {
        outcome.remarks.push(Diagnostic::warning(
            code::NO_CHANGE,
            "no bend is seen: a straight line (zero-order) describes these points as well, so the rate constant and the half-life \
             say nothing of this reaction",
        ));
    }
}

/// Whether a drift beside the law shows in the residuals, before the longer way of fitting it: the score test.
fn drift_shows(course: &Course, columns: &[&[f64]; 1], found: &Fit) -> bool {
    let plane = TangentPlane::of(course, columns, &found.values(), (found.residuals.len(), None));
    let Some(drift) = plane.beside(columns[0]) else {
        return false;
    };
    let along = product(&drift.direction, &found.residuals);
    along.abs() > 2.0 * found.residual_sd
}

/// Tries an offset beside a law without one whose residuals wander, and tells what it would change.
fn offset(
    course: &Course,
    columns: &[&[f64]; 1],
    signal: &[f64],
    options: &Options,
    found: &Fit,
) -> Option<Diagnostic> {
    if options.is_own_law() || !found.diagnostics.warnings.contains(&Warning::Wandering) {
        return None;
    }
    let full = course.clone().with_offset().ok()?;
    if full.name() == course.name() {
        return None;
    }
    let plain = Options {
        level: options.level,
        ..Options::default()
    };
    let mut other = fit(&full, &Data::new(columns, signal), &plain).ok()?;
    let test = f_test(found, &other).ok()?;
    if test.probability >= FULLER
        || other
            .parameters
            .iter()
            .any(|p| p.standing != Determination::Determined)
    {
        return None;
    }
    allow_for_correlation(&full, columns, &mut other);
    let values: Vec<String> = other
        .parameters
        .iter()
        .filter_map(|p| Some(format!("{} {}", p.name, with_error(p.value, p.standard_error?))))
        .collect();
    Some(Diagnostic::warning(
        Code::new("lack-of-fit"),
        format!(
            "the errors above are too small, and the values may be wrong: with an offset (model {}) the points lie closer to the curve \
             (probability {} by chance), with {}",
            full.name(),
            likely(test.probability),
            values.join(", ")
        ),
    ))
}

/// Tries a drift beside the law, and tells what it would change; gives whether one was told.
fn drift(
    course: &Course,
    (time, signal): (&[f64], &[f64]),
    (options, allowed): (&Options, Option<&AllowedDrift<'_>>),
    found: &Fit,
    outcome: &mut Outcome,
) -> bool {
    let columns: &[&[f64]; 1] = &[time];
    if signal.len() < FEWEST || matches!(course.order(), Order::Zero | Order::Approach) {
        return false;
    }
    let Ok(full) = course.clone().with_drift() else {
        return false;
    };
    if full.name() == course.name() || !drift_shows(course, columns, found) {
        return false;
    }
    // Parameters that were held stay so: a drift comes last but for a lag.
    if found
        .parameters
        .iter()
        .any(|p| matches!(p.standing, Determination::Held | Determination::AtLimit))
    {
        return false;
    }
    let plain = Options {
        level: options.level,
        ..Options::default()
    };
    let Ok(mut other) = fit(&full, &Data::new(columns, signal), &plain) else {
        return false;
    };
    allow_for_correlation(&full, columns, &mut other);
    let freedom = other
        .correlation
        .as_ref()
        .map_or(other.degrees_of_freedom as f64, |c| c.degrees_of_freedom);
    let Some((slope, error)) = other
        .parameter("drift")
        .and_then(|drift| Some((drift.value, drift.standard_error?)))
    else {
        return false;
    };
    let chance = t_two_sided(slope / error, freedom);
    if chance >= DRIFT {
        return false;
    }
    // In place of the numbers that are printed: those with the stated drift in their errors.
    let printed = allowed.map(|allowed| allowed.within(course, found));
    let printed = printed.as_ref().unwrap_or(found);
    let changes: Vec<String> = other
        .parameters
        .iter()
        .filter(|p| p.name.starts_with('k'))
        .filter_map(|p| {
            let before = printed.parameter(&p.name)?;
            Some(format!(
                "{} {} in place of {}",
                p.name,
                with_error(p.value, p.standard_error?),
                with_error(before.value, before.standard_error?)
            ))
        })
        .collect();
    if changes.is_empty() {
        return false;
    }
    let chance = likely(chance);
    let span = time
        .last()
        .zip(time.first())
        .map_or(0.0, |(last, first)| last - first);
    let seen = "a drift of the signal beside the law fits these points better";
    let with_it = format!("(model {}) the result is {}", full.name(), changes.join(", "));
    let (is_allowed, message) = match allowed {
        None => (
            false,
            format!(
                "the errors above are too small: {seen} (probability {chance} by chance), and with it {with_it}"
            ),
        ),
        // Twice the standard deviation of what is stated and what the points leave open.
        Some(allowed) if (slope * span).abs() <= 2.0 * allowed.whole.hypot(error * span) => (
            true,
            format!(
                "{seen} (probability {chance} by chance), no larger than the one that was stated, which the errors above hold; with it \
                 {with_it}"
            ),
        ),
        Some(allowed) => (
            false,
            format!(
                "the errors above are too small, with the drift that was stated: {seen} (probability {chance} by chance), and it is {} \
                 times as large as stated; with it {with_it}",
                two((slope * span).abs() / allowed.whole)
            ),
        ),
    };
    let code = Code::new("drift-seen");
    outcome.remarks.push(if is_allowed {
        Diagnostic::note(code, message)
    } else {
        Diagnostic::warning(code, message)
    });
    true
}

/// Tries the laws of which this one is a special case, and tells the one that fits better than chance allows.
pub(in crate::study) fn fuller_law(
    law: &Law,
    data: &Data<'_>,
    options: &Options,
    found: &Fit,
) -> Option<Diagnostic> {
    if options.is_own_law() {
        return None;
    }
    let plain = Options {
        level: options.level,
        ..Options::default()
    };
    let determined = |other: &Fit| {
        other
            .parameters
            .iter()
            .all(|p| p.standing == Determination::Determined)
    };
    let others = |list: &'static [(&str, &str)]| {
        list.iter()
            .filter(|(simple, _)| *simple == law.name)
            .filter_map(|(_, other)| fit(Law::named(other)?, data, &plain).ok())
            .filter(|other| determined(other))
    };
    let fuller = others(&NESTED).filter_map(|other| {
        let test = f_test(found, &other).ok()?;
        let words = format!(
            "F {:.1} on {} and {}, probability {} by chance",
            test.f,
            test.df1,
            test.df2,
            likely(test.probability)
        );
        (test.probability < FULLER).then_some((other, words))
    });
    // Where a fuller law runs to its end, the law at that end is the one to name; none contains the other, so that there is no F
    // test.
    let rivals = others(&RIVALS).filter_map(|other| {
        let gained = found.aicc? - other.aicc?;
        let words = format!("Akaike's criterion lower by {gained:.1}");
        (gained > FAR).then_some((other, words))
    });
    let (other, words) = fuller.chain(rivals).min_by(|a, b| {
        let of = |fit: &Fit| fit.aicc.unwrap_or(f64::INFINITY);
        of(&a.0).total_cmp(&of(&b.0))
    })?;
    let values: Vec<String> = other
        .parameters
        .iter()
        .filter_map(|p| Some(format!("{} {}", p.name, with_error(p.value, p.standard_error?))))
        .collect();
    Some(Diagnostic::warning(
        Code::new("lack-of-fit"),
        format!(
            "the errors above are too small, and the values may be wrong: {} fits these points better ({words}), with {}",
            other.model,
            values.join(", ")
        ),
    ))
}

/// Two figures of an error.
pub(in crate::study) fn two(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || !(1e-4..1e5).contains(&size) {
        return format!("{value:.1e}");
    }
    format!("{value:.*}", (1.0 - size.log10().floor()).max(0.0) as usize)
}

/// The errors of a fit whose residuals are smaller than the readings can resolve: a reading of `d` decimals is uncertain by
/// `10^-d/√12` at least (a uniform distribution).
/// Gives whether errors were changed.
pub(super) fn no_finer_than_readings(resolution: f64, found: &mut Fit, outcome: &mut Outcome) -> bool {
    let floor = resolution / 12f64.sqrt();
    if !(floor.is_finite() && found.residual_sd > 0.0 && found.residual_sd < 0.9 * floor) {
        return false;
    }
    found.grow_errors(floor / found.residual_sd);
    say_coarse(resolution, outcome);
    true
}

/// Says that errors are those of the readings' steps.
pub(super) fn say_coarse(resolution: f64, outcome: &mut Outcome) {
    let floor = resolution / 12f64.sqrt();
    outcome.remarks.push(Diagnostic::note(
        Code::new("readings-coarse"),
        format!(
            "the points lie closer to the curve than readings in steps of {resolution:e} can show: the errors are those of the \
             readings' resolution (a standard deviation of {floor:.2e})"
        ),
    ));
}
