//! What a course looks like beside its rate: how its points lie, where it ends, what lies far off, what a line hides.

use super::RatePlan;
use crate::courses::{CourseShape, InitialRate, PreparedTrace, RateLaw};
use crate::fit::wandering;

use crate::wording::{Six, with_error};
use curvary_record::{Code, Diagnostic, Outcome, Unit};

/// Whether one step between neighbours makes up most of the change along a line: twenty times the usual step and half of
/// the whole are choices, far outside what noise on a straight course does.
fn jumps(residuals: &[f64], fitted: &[f64]) -> bool {
    let signal: Vec<f64> = residuals.iter().zip(fitted).map(|(r, f)| r + f).collect();
    let mut sizes: Vec<f64> = signal.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let (Some(usual), Some(largest)) = (sizes.get(sizes.len() / 2), sizes.last()) else {
        return false;
    };
    let change = match (fitted.first(), fitted.last()) {
        (Some(first), Some(last)) => (last - first).abs(),
        _ => return false,
    };
    sizes.len() >= 5 && *largest > 20.0 * usual && *largest > 0.5 * change && change > 0.0
}

/// How the points of a rate lie about their line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scatter {
    /// As chance has it.
    Straight,
    /// Along a curve.
    Bent,
    /// Every reading the same.
    Still,
    /// On one side of it for long, or with a step between them.
    Wandering,
}

/// Probability below which a bend is told: chance gives as much once in a hundred straight stretches.
const BENT: f64 = 0.01;

/// How the points used lie about what was fitted to them.
pub(super) fn scatter(measured: &InitialRate, points: &PreparedTrace, residuals: &[f64]) -> Scatter {
    let fitted = &measured.fitted;
    let size = |values: &[f64]| values.iter().fold(0.0_f64, |all, value| all.max(value.abs()));
    let still = measured
        .used
        .iter()
        .all(|i| points.signal[*i] == points.signal[measured.used[0]]);
    if still {
        Scatter::Still
    // What is left where every point lies on the line is rounding, and has no shape.
    } else if size(residuals) <= 1e-12 * size(fitted) {
        Scatter::Straight
    } else if measured.law == RateLaw::Line && measured.straightness.is_some_and(|chance| chance < BENT) {
        Scatter::Bent
    } else if measured.wanders
        // Of a curve it is known already, and neighbours that err together are no step.
        || measured.law == RateLaw::Line && wandering(residuals, fitted, 2)
        || measured.far.is_empty() && jumps(residuals, fitted)
    {
        Scatter::Wandering
    } else {
        Scatter::Straight
    }
}

/// Tells where a course ends before its last point. `whole`: whether all of it was to be used.
pub(super) fn tell_end(
    measured: &InitialRate,
    points: usize,
    (whole, x_unit): (bool, &str),
    outcome: &mut Outcome,
) {
    if measured.flat_end > 0 {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("rate-shape"),
            format!(
                "the last {} readings are exactly alike, and the others are not: they were left out as the end of the \
                 instrument's range; look at the picture",
                measured.flat_end
            ),
        ));
    }
    if measured.stops {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("rate-shape"),
            "the course runs nearly straight and then stops all at once: a substrate that is used up, or the end of the \
             instrument's range; the rate is that of the part before it, if that is long enough; look at the picture",
        ));
    }
    let (all, used) = (points - measured.flat_end, measured.used.len());
    if whole && used < all && !measured.stops {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("rate-shape"),
            format!(
                "no law follows the course to its end (a step, a drift?): only its beginning up to {} {x_unit}, {used} of {all} \
                 points, was used; look at the picture",
                Six(measured.window.1)
            ),
        ));
    }
}

/// Tells the points that lie far from what the others say, and the rate without them.
pub(super) fn tell_far(
    measured: &InitialRate,
    points: &PreparedTrace,
    (x, dead_time, sign): (&curvary_record::Column, f64, f64),
    outcome: &mut Outcome,
) {
    let Some((without, shape)) = &measured.without else {
        return;
    };
    let named: Vec<String> = measured
        .far
        .iter()
        .filter_map(|(at, deviations)| {
            Some(format!(
                "the point at {} {} lies {:.1} standard deviations from what the others say",
                Six(points.time.get(*at)? - dead_time),
                x.unit.display(),
                deviations.abs()
            ))
        })
        .collect();
    let name = |shape: &CourseShape| match shape {
        CourseShape::Straight => "straight",
        CourseShape::Bending => "bending",
        CourseShape::Burst => "one with a burst",
        CourseShape::Lag => "one with a lag",
    };
    let shape = if *shape == measured.shape {
        String::new()
    } else {
        format!(
            "; the course is {} with it and {} without",
            name(&measured.shape),
            name(shape)
        )
    };
    let (which, other) = if measured.far.len() == 1 {
        ("it", "whether that reading is wrong")
    } else {
        ("them", "whether those readings are wrong")
    };
    outcome
        .statistics
        .insert("rate_without_far_points".into(), sign * without.rate);
    outcome
        .statistics
        .insert("rate_without_far_points_error".into(), without.standard_error);
    outcome.remarks.push(Diagnostic::warning(
        Code::new("point-far-off"),
        format!(
            "{}: without {which} the rate is {}{shape}; what it changes is in the error, and {other} is for you to say",
            named.join(", "),
            with_error(sign * without.rate, without.standard_error),
        ),
    ));
}

/// Tells what the whole course says beside a line, and where the line begins if that is not where the course does.
pub(super) fn tell_beside(
    plan: &RatePlan,
    measured: &InitialRate,
    (first, sign): (Option<f64>, f64),
    (blank, unit): (bool, &Option<Unit>),
    outcome: &mut Outcome,
) {
    if blank || measured.law != RateLaw::Line {
        return;
    }
    let later = plan.window.is_none() && first.is_some_and(|first| measured.window.0 > first);
    if later {
        outcome.remarks.push(Diagnostic::warning(
            Code::new("rate-shape"),
            format!(
                "the straight stretch does not begin where the course does ({}), but at {}",
                Six(first.unwrap_or(0.0)),
                Six(measured.window.0)
            ),
        ));
    }
    let Some((beside, shape)) = &measured.beside else {
        return;
    };
    let mut put = |name: &str, value: f64| outcome.statistics.insert(name.into(), value);
    put("rate_by_the_whole_course", sign * beside.rate);
    put("rate_by_the_whole_course_error", beside.standard_error);
    let words = format!(
        "by the whole course the rate there is {}{}",
        with_error(sign * beside.rate, beside.standard_error),
        unit.as_ref()
            .map(|unit| format!(" {}", unit.display()))
            .unwrap_or_default(),
    );
    let bends = *shape != CourseShape::Straight;
    let (severity, words): (fn(Code, String) -> Diagnostic, String) = if bends {
        (
            Diagnostic::warning,
            format!("{words}; it is no straight line, and what the line differs by is in its error"),
        )
    } else {
        (Diagnostic::note, words)
    };
    outcome.remarks.push(severity(Code::new("rate-shape"), words));
}
