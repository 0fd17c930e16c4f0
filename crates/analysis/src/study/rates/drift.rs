//! What a drift of the signal whose size a person states does to a rate.

use curvary_record::{Code, Diagnostic, Outcome, Unit};

use crate::courses::{InitialRate, Preparation, PreparedTrace, RateWindow, initial_rate};
use crate::refusal::Refusal;
use crate::study::fit::two;
use crate::study::{STATED_DRIFT, StatedDrift};

/// By how much one standard deviation of a drift moves the rates of a course, in their unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct MovedRates {
    /// The rate at the beginning.
    pub(super) beginning: f64,
    /// The steady one; zero where there is none.
    pub(super) steady: f64,
}

/// Modes of a random walk that are looked at: the slowest, which hold 98 % of its variance (1 - 2/(π²·12), Karhunen and Loève).
const MODES: usize = 12;

impl MovedRates {
    /// The rates are taken again with the drift added to the signal: what a law makes of it is no straight matter. `size` is in the unit
    /// of the signal.
    pub(super) fn by(
        stated: &StatedDrift,
        size: f64,
        (points, how, window): (&PreparedTrace, &Preparation, RateWindow),
        measured: &InitialRate,
    ) -> Result<Self, Refusal> {
        let n = points.time.len();
        let again = |drift: &dyn Fn(usize) -> f64| -> Result<Self, Refusal> {
            let signal: Vec<f64> = points
                .signal
                .iter()
                .enumerate()
                .map(|(i, y)| y + drift(i))
                .collect();
            let other = initial_rate(&points.time, &signal, how, window)?;
            let steady = other.steady.zip(measured.steady);
            Ok(Self {
                beginning: other.rate - measured.rate,
                steady: steady.map_or(0.0, |(other, own)| other.rate - own.rate),
            })
        };
        if stated.per.is_some() {
            let first = points.time.first().copied().unwrap_or_default();
            return again(&|i| size * (points.time[i] - first));
        }
        let steps = n.saturating_sub(1);
        let wide = (2 * steps + 1) as f64;
        let mut all = Self::default();
        for mode in 1..=MODES.min(steps) {
            // Eigenvectors of the covariance min(i, j) of a random walk, each times the root of its eigenvalue.
            let angle = (2 * mode - 1) as f64 * std::f64::consts::PI / wide;
            let height = size * 2.0 / wide.sqrt() / (2.0 * (angle / 2.0).sin());
            let own = again(&|i| height * (angle * i as f64).sin())?;
            all.beginning = all.beginning.hypot(own.beginning);
            all.steady = all.steady.hypot(own.steady);
        }
        Ok(all)
    }

    /// Says it, and keeps the numbers.
    pub(super) fn tell(self, stated: &StatedDrift, y: &Unit, outcome: &mut Outcome) {
        let mut put = |name: &str, moved: f64| {
            if outcome.parameter(name).is_some() {
                outcome.statistics.insert(format!("{STATED_DRIFT}{name}"), moved);
            }
        };
        put("v0", self.beginning);
        put("vs", self.steady);
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-stated"),
            format!(
                "{} (standard deviation, as stated) is in the errors above: it would change v0 by {}",
                stated.words(y),
                two(self.beginning.abs())
            ),
        ));
    }
}
