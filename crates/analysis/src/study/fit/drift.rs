//! Drifts of the signal: those that the points of a course cannot show, and those whose size a person states.

use curvary_record::{Code, Diagnostic, Outcome, Unit};
use serde::{Deserialize, Serialize};

use super::doubt::{FEWEST, two};
use crate::courses::{Course, Order, PreparedTrace};
use crate::fit::{CommonError, Data, Determination, Fit, FittedParameter, add_shifts, shifts_by};
use crate::linear::fit_weighted;
use crate::models::Model;
use crate::refusal::Refusal;

/// A drift of so large a part of what a course changes by is none that anybody would call one.
const NO_DRIFT_SO_LARGE: f64 = 0.3;

/// How many times larger a parameter's error must be beside a drift for that to be told.
const DRIFT_MATTERS: f64 = 2.0;

/// A drift of the signal that the points of a course cannot show, and what it would do.
pub(in crate::study) struct HiddenDrift {
    /// By how much the signal would change over the course, in its unit.
    pub(in crate::study) size: f64,
    /// By how much it would move each parameter, in the parameter's unit.
    pub(in crate::study) moves: Vec<f64>,
    /// What the law changes by over the course, in the signal's unit.
    change: f64,
}

impl HiddenDrift {
    /// What it would do to the parameters: to first order, by the law's slopes. A test that finds no drift is no proof that there is
    /// none, and the errors of a fit without one are valid only if there is none. `None` where the law has a drift of its own, or its
    /// parameters are not determined.
    pub(in crate::study) fn of(course: &Course, time: &[f64], found: &Fit) -> Option<Self> {
        let (n, p) = (time.len(), found.parameters.len());
        let determined = found
            .parameters
            .iter()
            .all(|p| p.standing == Determination::Determined);
        let drifts = course.clone().with_drift().ok()?.name() == course.name();
        if n < FEWEST || !determined || drifts || matches!(course.order(), Order::Zero | Order::Approach) {
            return None;
        }
        let (mut fitted, mut slopes) = (vec![0.0; n], vec![0.0; n * p]);
        course.differentiate(&[time], &found.values(), &mut fitted, &mut slopes);
        let span = time.last()? - time.first()?;
        // A drift of one over the whole course, without its mean.
        let middle = time.iter().sum::<f64>() / n as f64;
        let drift: Vec<f64> = time.iter().map(|t| (t - middle) / span).collect();
        let (moved, left) = taken_up(found, &slopes, &drift)?;
        // Twice its standard error is what a drift must come to before it shows; where neighbours err together, the error of what
        // changes as slowly as a drift is larger by as much as that of the parameter it is largest for.
        let larger = found.correlation.as_ref().map_or(1.0, |correlation| {
            let pairs = found.parameters.iter().zip(&correlation.plain);
            pairs
                .filter_map(|(parameter, plain)| Some(parameter.standard_error? / (*plain)?))
                .fold(1.0, f64::max)
        });
        let size = 2.0 * larger * found.residual_sd / left.sqrt();
        let moves: Vec<f64> = moved.iter().map(|moved| size * moved).collect();
        let (low, high) = fitted
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), y| {
                (low.min(*y), high.max(*y))
            });
        let whole = Self {
            size,
            moves,
            change: high - low,
        };
        let all_finite = size.is_finite() && whole.moves.iter().all(|moved| moved.is_finite());
        all_finite.then_some(whole)
    }

    /// The parameters whose errors such a drift would make much larger, each with what it would move it by.
    fn that_matter<'a>(&'a self, found: &'a Fit) -> impl Iterator<Item = (&'a FittedParameter, f64)> + 'a {
        let all = found.parameters.iter().zip(&self.moves);
        all.filter(|(parameter, moved)| {
            parameter
                .standard_error
                .is_some_and(|error| 0.5 * moved.abs() > DRIFT_MATTERS * error)
        })
        .map(|(parameter, moved)| (parameter, *moved))
    }

    /// Says it, and keeps the numbers under [`DRIFT_MOVES`], so that what is computed from this result can take them along.
    pub(super) fn tell(&self, found: &Fit, outcome: &mut Outcome) {
        for (parameter, moved) in found.parameters.iter().zip(&self.moves) {
            let name = format!("{DRIFT_MOVES}{}", parameter.name);
            outcome.statistics.insert(name, *moved);
        }
        outcome.statistics.insert("drift_not_seen".into(), self.size);
        let words: Vec<String> = self
            .that_matter(found)
            .map(|(parameter, moved)| {
                format!(
                    "{} by {} ({} %)",
                    parameter.name,
                    two(moved.abs()),
                    two(100.0 * (moved / parameter.value).abs())
                )
            })
            .collect();
        if words.is_empty() {
            return;
        }
        let message = if self.size > NO_DRIFT_SO_LARGE * self.change {
            let names: Vec<&str> = self
                .that_matter(found)
                .map(|(parameter, _)| parameter.name.as_ref())
                .collect();
            let (names, are) = match names.as_slice() {
                [one] => ((*one).to_owned(), "and its error are"),
                several => (several.join(", "), "and their errors are"),
            };
            format!(
                "a drift of the signal would look the same as this curve: {names} {are} valid only if nothing drifts"
            )
        } else {
            format!(
                "the errors are valid only if nothing drifts: a drift of up to {} over the course cannot be seen in these points, and \
                 would change {}; with +drift the errors allow for one",
                two(self.size),
                words.join(", ")
            )
        };
        outcome
            .remarks
            .push(Diagnostic::note(Code::new("drift-not-excluded"), message));
    }
}

/// What the parameters take up of a drift, and the sum of squares of what they leave of it.
fn taken_up(found: &Fit, slopes: &[f64], drift: &[f64]) -> Option<(Vec<f64>, f64)> {
    let (n, p) = (drift.len(), found.parameters.len());
    if found.correlation.is_some() {
        // The covariance is no longer that of independent errors.
        let columns: Vec<&[f64]> = slopes.chunks(n).collect();
        let taken = fit_weighted(&columns, drift, None).ok()?;
        return Some((taken.coefficients, taken.residual_sum_of_squares));
    }
    let covariance = found.covariance.as_ref()?;
    let variance = found.residual_sd * found.residual_sd;
    let along: Vec<f64> = slopes
        .chunks(n)
        .map(|column| column.iter().zip(drift).map(|(a, b)| a * b).sum())
        .collect();
    let moved: Vec<f64> = (0..p)
        .map(|i| (0..p).map(|j| covariance[i * p + j] * along[j]).sum::<f64>() / variance)
        .collect();
    let left = (0..n)
        .map(|at| {
            let taken: f64 = (0..p).map(|j| slopes[j * n + at] * moved[j]).sum();
            (drift[at] - taken).powi(2)
        })
        .sum();
    Some((moved, left))
}

/// What stands before a parameter's name where the statistics of a result say by how much a drift that its points cannot show would
/// move it.
pub const DRIFT_MOVES: &str = "drift_moves ";

/// What stands before a parameter's name where the statistics of a result say by how much one standard deviation of a stated drift
/// moves it.
pub const STATED_DRIFT: &str = "stated_drift ";

/// A drift of the signal whose size a person knows of the lamp, as a standard deviation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct StatedDrift {
    /// How much, in `unit`.
    pub size: f64,
    /// The unit of the size; that of the signal if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// The time in which a steady drift comes to that; if absent the size is that of the step from each reading to the next, each
    /// step independent of the others: the signal wanders.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub per: Option<Unit>,
}

impl StatedDrift {
    /// The size in the unit of the signal, for each unit of time or each reading.
    ///
    /// # Errors
    /// Where its units are not those of the axes.
    pub(in crate::study) fn along(&self, x: &Unit, y: &Unit) -> Result<f64, Refusal> {
        let unsuitable = |what: &str, own: &Unit, axis: &Unit| Refusal::Unsuitable {
            why: format!(
                "the drift is stated {what} {}, the axis is in {}",
                own.display(),
                axis.display()
            ),
        };
        let size = match &self.unit {
            None => self.size,
            Some(unit) => unit
                .convert(self.size, y)
                .map_err(|_| unsuitable("in", unit, y))?,
        };
        match &self.per {
            None => Ok(size),
            Some(per) => Ok(size / per.convert(1.0, x).map_err(|_| unsuitable("per", per, x))?),
        }
    }

    /// It in words: `0.0005 AU per hour, steady`.
    pub(in crate::study) fn words(&self, y: &Unit) -> String {
        let unit = self.unit.as_ref().unwrap_or(y).display();
        let size = format!("{} {unit}", self.size).trim_end().to_owned();
        match &self.per {
            Some(per) => format!("a steady drift of {size} per {}", per.display()),
            None => format!("a wandering of {size} from reading to reading"),
        }
    }

    /// By how much each of its independent parts moves the parameters of a fit, by one standard deviation. A steady drift begins at
    /// the first point, where an instrument is set to zero; with an offset in the law it does not matter where. `size` is in the unit
    /// that is fitted.
    fn shifts(
        &self,
        size: f64,
        points: &PreparedTrace,
        (model, data): (&dyn Model, &Data<'_>),
        found: &Fit,
    ) -> Option<Vec<Vec<f64>>> {
        let first = *points.time.first()?;
        let steady: Vec<f64> = points.time.iter().map(|t| size * (t - first)).collect();
        let error = match self.per {
            Some(_) => CommonError::Shift(&steady),
            None => CommonError::Walk {
                size,
                at: &points.used,
            },
        };
        let weights = data.weighting.counted(&found.fitted);
        shifts_by(model, data.x, weights.as_deref(), &[error], found)
    }
}

/// A stated drift beside a fit.
pub(super) struct AllowedDrift<'a> {
    pub(super) stated: &'a StatedDrift,
    /// What one standard deviation of it comes to from the first point to the last, in the unit that is fitted.
    pub(super) whole: f64,
    /// By how much each of its independent parts moves the parameters, by one standard deviation.
    pub(super) shifts: Vec<Vec<f64>>,
}

impl<'a> AllowedDrift<'a> {
    /// One of this size, in the unit that is fitted, for each unit of time or each reading.
    pub(super) fn of(
        stated: &'a StatedDrift,
        size: f64,
        points: &PreparedTrace,
        fitted: (&dyn Model, &Data<'_>),
        found: &Fit,
    ) -> Option<Self> {
        let times = points.time.last()? - points.time.first()?;
        let steps = points.used.last()?.abs_diff(*points.used.first()?) as f64;
        let whole = size.abs() * if stated.per.is_some() { times } else { steps.sqrt() };
        let shifts = stated.shifts(size, points, fitted, found)?;
        Some(Self {
            stated,
            whole,
            shifts,
        })
    }

    /// The fit with this drift in its errors, as they are printed.
    pub(super) fn within(&self, model: &dyn Model, found: &Fit) -> Fit {
        let mut own = found.clone();
        // Where it cannot be put in, the fit stays as it is.
        let _ = add_shifts(model, &self.shifts, &mut own);
        own
    }
}

/// Puts a stated drift into the errors of a fit, and says how much of them it is.
pub(super) fn allow_for_stated(
    allowed: &AllowedDrift<'_>,
    (model, y_unit): (&dyn Model, &Unit),
    found: &mut Fit,
    outcome: &mut Outcome,
) {
    let (stated, shifts) = (allowed.stated, allowed.shifts.as_slice());
    let Some(shares) = add_shifts(model, shifts, found) else {
        return;
    };
    let mut words = Vec::new();
    for (j, (parameter, share)) in found.parameters.iter().zip(shares).enumerate() {
        let moved = match shifts {
            // Of one drift the sign is kept: what several parameters have of it belongs together.
            [one] => one[j],
            all => all.iter().map(|own| own[j] * own[j]).sum::<f64>().sqrt(),
        };
        outcome
            .statistics
            .insert(format!("{STATED_DRIFT}{}", parameter.name), moved);
        words.push(format!("{} {:.0} %", parameter.name, 100.0 * share));
    }
    outcome.remarks.push(Diagnostic::note(
        Code::new("drift-stated"),
        format!(
            "{} (standard deviation, as stated) is in the errors above; part of the variance: {}",
            stated.words(y_unit),
            words.join(", ")
        ),
    ));
}
