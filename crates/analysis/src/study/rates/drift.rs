//! What a drift of the signal whose size a person states does to a rate.

use curvary_record::{Code, Diagnostic, Outcome, Unit};

use crate::courses::{InitialRate, PreparedTrace, RateLaw};
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

/// Modes of a random walk that are looked at in any case, slowest first: they hold 98 % of its variance (1 - 2/(π²·12), Karhunen and
/// Loève), but not of what it does to a rate that a short beginning determines.
const FEWEST_MODES: usize = 12;

/// Modes that must have added next to nothing before the faster ones are left out.
const SETTLED_MODES: usize = 8;

/// What those may have added to the variance of a rate: a hundredth, half of that in its error.
const SETTLED: f64 = 0.01;

/// Modes beyond which a course is not asked again: the rate would be that of a hundredth of its points.
const MOST_MODES: usize = 400;

/// The rates of a course from these readings in place of its own.
type RatesAgain<'a> = &'a dyn Fn(&[f64]) -> Result<InitialRate, Refusal>;

impl MovedRates {
    /// Where no closed form holds, the rates are taken again with the drift added to the signal: what a law makes of it is no straight
    /// matter. `size` is in the unit of the signal.
    pub(super) fn by(
        stated: &StatedDrift,
        size: f64,
        points: &PreparedTrace,
        measured: &InitialRate,
        rates: RatesAgain<'_>,
    ) -> Result<Self, Refusal> {
        let again = |drift: &dyn Fn(usize) -> f64| -> Result<Self, Refusal> {
            let all = points.signal.iter().enumerate();
            let signal: Vec<f64> = all.map(|(i, y)| y + drift(i)).collect();
            let other = rates(&signal)?;
            // A course that loses its burst or lag by the drift has one rate.
            let last = other.steady.map_or(other.rate, |steady| steady.rate);
            Ok(Self {
                beginning: other.rate - measured.rate,
                steady: measured.steady.map_or(0.0, |own| last - own.rate),
            })
        };
        if stated.per.is_some() {
            let first = points.time.first().copied().unwrap_or_default();
            return again(&|i| size * (points.time[i] - first));
        }
        if measured.law == RateLaw::Line {
            return Ok(Self {
                beginning: size * wandering_slope(points, &measured.used),
                steady: 0.0,
            });
        }
        let (Some(first), Some(last)) = (measured.used.first(), measured.used.last()) else {
            return Ok(Self::default());
        };
        // Between two points lie as many steps as between their readings, though some are left out. What lies behind the points in use
        // stays as it is beside the last of them.
        let reading = |i: usize| points.used[i.clamp(*first, *last)] - points.used[*first];
        let steps = reading(*last);
        let wide = (2 * steps + 1) as f64;
        let mut all: Vec<Self> = Vec::new();
        for mode in 1..=steps.min(MOST_MODES) {
            // Eigenvectors of the covariance min(i, j) of a random walk, each times the root of its eigenvalue.
            let angle = (2 * mode - 1) as f64 * std::f64::consts::PI / wide;
            let height = size * 2.0 / wide.sqrt() / (2.0 * (angle / 2.0).sin());
            let to = |height: f64| again(&|i| height * (angle * reading(i) as f64).sin());
            // A law is no straight matter: what either sign does counts, one as often as the other.
            let (up, down) = (to(height)?, to(-height)?);
            let half = std::f64::consts::FRAC_1_SQRT_2;
            all.push(Self {
                beginning: half * up.beginning.hypot(down.beginning),
                steady: half * up.steady.hypot(down.steady),
            });
            if mode >= FEWEST_MODES && Self::settled(&all) {
                return Ok(Self::together(&all));
            }
        }
        if steps > MOST_MODES {
            return Err(Refusal::Unsuitable {
                why: "the rate is that of so short a beginning of the course that a wandering of the signal cannot be followed into its \
                      error; --window takes a line through the beginning, of which it can"
                    .into(),
            });
        }
        Ok(Self::together(&all))
    }

    /// Independent ones together.
    pub(super) fn together(all: &[Self]) -> Self {
        all.iter().fold(Self::default(), |sum, own| Self {
            beginning: sum.beginning.hypot(own.beginning),
            steady: sum.steady.hypot(own.steady),
        })
    }

    /// Whether the fastest modes so far have added next to nothing.
    fn settled(all: &[Self]) -> bool {
        let (whole, fastest) = (
            Self::together(all),
            Self::together(&all[all.len().saturating_sub(SETTLED_MODES)..]),
        );
        let small = |part: f64, whole: f64| part * part <= SETTLED * whole * whole;
        small(fastest.beginning, whole.beginning) && small(fastest.steady, whole.steady)
    }

    /// The same of a rate from which the mean of such blanks is taken off. A steady drift moves them alike, as it moves all courses; a
    /// wandering moves each by itself.
    pub(super) fn less(self, stated: &StatedDrift, blanks: &[f64]) -> Self {
        let blank = of_mean(stated, blanks);
        if stated.per.is_some() {
            Self {
                beginning: self.beginning - blank,
                steady: self.steady - blank,
            }
        } else {
            Self::together(&[
                self,
                Self {
                    beginning: blank,
                    steady: blank,
                },
            ])
        }
    }

    /// The same of rates of the other sign.
    pub(super) fn signed(self, sign: f64) -> Self {
        Self {
            beginning: sign * self.beginning,
            steady: sign * self.steady,
        }
    }

    /// Says it, and keeps the numbers; `beside`: whether blanks were taken off.
    pub(super) fn tell(self, stated: &StatedDrift, (y, beside): (&Unit, bool), outcome: &mut Outcome) {
        let mut put = |name: &str, moved: f64| {
            if outcome.parameter(name).is_some() {
                outcome.statistics.insert(format!("{STATED_DRIFT}{name}"), moved);
            }
        };
        put("v0", self.beginning);
        put("vs", self.steady);
        let error = outcome.parameter("v0").and_then(|own| own.standard_error);
        let by = match error {
            Some(error) if self.beginning.abs() > 1e-6 * error => two(self.beginning.abs()),
            _ => "next to nothing".to_owned(),
        };
        let less = match (beside, &stated.per) {
            (false, _) => "",
            (true, Some(_)) => ", since the rate of the blank, which it moves too, is taken off",
            (true, None) => " together with the rate of the blank, which wanders by itself",
        };
        outcome.remarks.push(Diagnostic::note(
            Code::new("drift-stated"),
            format!(
                "{} (standard deviation, as stated) is in the errors above: it would change v0 by {by}{less}",
                stated.words(y),
            ),
        ));
    }
}

/// What one standard deviation of a drift does to the mean rate of blanks of which it moves each by so much.
pub(super) fn of_mean(stated: &StatedDrift, blanks: &[f64]) -> f64 {
    if blanks.is_empty() {
        return 0.0;
    }
    let count = blanks.len() as f64;
    if stated.per.is_some() {
        blanks.iter().sum::<f64>() / count
    } else {
        blanks.iter().fold(0.0_f64, |all, own| all.hypot(*own)) / count
    }
}

/// The standard deviation of the slope of a line through points whose readings wander by one from each to the next: a step moves all
/// points from its own on.
fn wandering_slope(points: &PreparedTrace, used: &[usize]) -> f64 {
    let time: Vec<f64> = used.iter().map(|i| points.time[*i]).collect();
    let middle = time.iter().sum::<f64>() / time.len() as f64;
    let square: f64 = time.iter().map(|t| (t - middle).powi(2)).sum();
    let (mut behind, mut variance) = (0.0, 0.0);
    for at in (1..used.len()).rev() {
        behind += (time[at] - middle) / square;
        let steps = points.used[used[at]] - points.used[used[at - 1]];
        variance += steps as f64 * behind * behind;
    }
    variance.sqrt()
}
