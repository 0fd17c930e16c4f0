use serde::{Deserialize, Serialize};

use super::SpectrumRefusal;
use crate::refusal::{Refusal, require_finite, require_length};

/// A curve: finite x values that only rise or only fall, and a finite y for each.
///
/// The order of the points is kept as recorded, since spectra are scanned in both directions.
///
/// A curve knows where points are missing: where [`Curve::leave_out`] took some, and where a step is
/// more than three times as long as the steps beside it. Nothing is interpolated, smoothed or
/// measured across such a break.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Curve {
    x: Vec<f64>,
    y: Vec<f64>,
    /// Rising indices of the points before which something is missing.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    breaks: Vec<usize>,
}

/// From this ratio to its neighbours on a step is a break. Our choice: steps that are merely uneven,
/// or that grow along a converted axis, stay far below it.
const BREAK_RATIO: f64 = 3.0;

impl Curve {
    /// Checks and keeps two columns.
    ///
    /// # Errors
    /// `unequal-lengths`, `too-few-points` for no point at all, `not-finite`, `equal-x` and
    /// `not-monotonic`.
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Result<Self, SpectrumRefusal> {
        require_length("y", &y, x.len())?;
        if x.is_empty() {
            return Err(SpectrumRefusal::too_few("points", 0, 1));
        }
        require_finite("x", &x)?;
        require_finite("y", &y)?;
        let rising = x.len() < 2 || x[1] > x[0];
        for (i, pair) in x.windows(2).enumerate() {
            if pair[0] == pair[1] {
                return Err(Refusal::EqualX {
                    first: i,
                    second: i + 1,
                    value: pair[0],
                }
                .into());
            }
            if (pair[1] > pair[0]) != rising {
                return Err(SpectrumRefusal::NotMonotonic {
                    index: i + 1,
                    x: pair[1],
                });
            }
        }
        let step = |i: usize| x.get(i + 1).map(|next| (next - x[i]).abs());
        let breaks = (1..x.len())
            .filter(|i| {
                let beside = [i.checked_sub(2).and_then(step), step(*i)];
                let longest = beside.into_iter().flatten().reduce(f64::max);
                longest.is_some_and(|beside| step(i - 1).is_some_and(|own| own > BREAK_RATIO * beside))
            })
            .collect();
        Ok(Self { x, y, breaks })
    }

    /// The curve without the points for which `drop` (of x and y) is true, with a break at each stretch
    /// that went.
    ///
    /// # Errors
    /// `too-few-points` where nothing is left.
    pub fn leave_out(&self, drop: impl Fn(f64, f64) -> bool) -> Result<Self, SpectrumRefusal> {
        let kept: Vec<usize> = (0..self.x.len())
            .filter(|i| !drop(self.x[*i], self.y[*i]))
            .collect();
        self.pick(&kept)
    }

    /// The points at these rising indices; what is left out between two of them leaves a break.
    pub(crate) fn pick(&self, kept: &[usize]) -> Result<Self, SpectrumRefusal> {
        let broken = |pair: &[usize]| pair[1] != pair[0] + 1 || self.breaks.binary_search(&pair[1]).is_ok();
        let breaks = (1..kept.len()).filter(|i| broken(&kept[i - 1..=*i])).collect();
        let mut curve = Self::new(
            kept.iter().map(|i| self.x[*i]).collect(),
            kept.iter().map(|i| self.y[*i]).collect(),
        )?;
        curve.breaks = breaks;
        Ok(curve)
    }

    /// Where points are missing: the ends of each break, by rising index.
    pub fn gaps(&self) -> Vec<Window> {
        let ends = |i: &usize| (self.x[i - 1], self.x[*i]);
        self.breaks
            .iter()
            .map(ends)
            .map(|(a, b)| Window {
                from: a.min(b),
                to: a.max(b),
            })
            .collect()
    }

    pub(crate) fn breaks(&self) -> &[usize] {
        &self.breaks
    }

    /// Refuses a curve with a break, for what cannot reach across one.
    pub(crate) fn refuse_breaks(&self) -> Result<(), SpectrumRefusal> {
        match self.gaps().first() {
            Some(gap) => Err(SpectrumRefusal::Gap {
                from: gap.from,
                to: gap.to,
            }),
            None => Ok(()),
        }
    }

    /// The x values, in recorded order.
    pub fn x(&self) -> &[f64] {
        &self.x
    }

    /// The y values, in recorded order.
    pub fn y(&self) -> &[f64] {
        &self.y
    }

    /// Count of points; never 0.
    #[expect(clippy::len_without_is_empty, reason = "a curve has at least one point")]
    pub fn len(&self) -> usize {
        self.x.len()
    }

    /// Lowest and highest x.
    pub fn range(&self) -> (f64, f64) {
        let (first, last) = (self.x[0], self.x[self.x.len() - 1]);
        (first.min(last), first.max(last))
    }

    /// The common step (negative where x falls), if all steps agree to one part in a million.
    ///
    /// The allowance covers decimal numbers that doubles cannot hold; a column rounded to fewer
    /// decimals than its step needs (200.00, 200.33, 200.67) is uneven.
    pub fn even_step(&self) -> Option<f64> {
        let n = self.x.len();
        if n < 2 {
            return None;
        }
        let step = (self.x[n - 1] - self.x[0]) / (n - 1) as f64;
        let (low, high) = self.range();
        let allowed = 1e-6 * step.abs() + 4.0 * f64::EPSILON * low.abs().max(high.abs());
        let even = self
            .x
            .iter()
            .enumerate()
            .all(|(i, x)| (x - (self.x[0] + i as f64 * step)).abs() <= allowed);
        even.then_some(step)
    }

    /// Smallest and largest distance of neighbours; zeros for a single point.
    pub fn steps(&self) -> (f64, f64) {
        let mut distances = self.x.windows(2).map(|p| (p[1] - p[0]).abs());
        let Some(first) = distances.next() else {
            return (0.0, 0.0);
        };
        distances.fold((first, first), |(low, high), d| (low.min(d), high.max(d)))
    }

    /// The indices whose x lies in the window, ends included: always one contiguous stretch.
    pub(crate) fn indices_in(&self, window: Window) -> std::ops::Range<usize> {
        let inside = |x: &f64| *x >= window.from && *x <= window.to;
        match self.x.iter().position(inside) {
            Some(start) => start..start + self.x[start..].iter().take_while(|x| inside(x)).count(),
            None => 0..0,
        }
    }

    /// The same x with other y values of the same length.
    pub(crate) fn with_y(&self, y: Vec<f64>) -> Result<Self, SpectrumRefusal> {
        Ok(Self {
            breaks: self.breaks.clone(),
            ..Self::new(self.x.clone(), y)?
        })
    }

    /// The same points at other x values, in the same order.
    pub(crate) fn with_x(&self, x: Vec<f64>) -> Result<Self, SpectrumRefusal> {
        Ok(Self {
            breaks: self.breaks.clone(),
            ..Self::new(x, self.y.clone())?
        })
    }

    /// The same curve with x rising.
    pub(crate) fn rising(&self) -> Self {
        if self.x.len() > 1 && self.x[1] < self.x[0] {
            let turned = |v: &[f64]| v.iter().rev().copied().collect();
            let breaks = self.breaks.iter().rev().map(|i| self.x.len() - i).collect();
            Self {
                x: turned(&self.x),
                y: turned(&self.y),
                breaks,
            }
        } else {
            self.clone()
        }
    }
}

/// A stretch of the axis, both ends included. In text `680..700`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
}

impl Window {
    /// A window with a finite beginning below its finite end.
    ///
    /// # Errors
    /// [`SpectrumRefusal::BadWindow`].
    pub fn new(from: f64, to: f64) -> Result<Self, SpectrumRefusal> {
        let window = Self { from, to };
        window.check()?;
        Ok(window)
    }

    /// A window read from a record may hold anything, so each use checks it again.
    pub(crate) fn check(self) -> Result<(), SpectrumRefusal> {
        if self.from.is_finite() && self.to.is_finite() && self.from < self.to {
            Ok(())
        } else {
            Err(SpectrumRefusal::BadWindow {
                from: self.from,
                to: self.to,
            })
        }
    }

    /// Whether a place lies in the window.
    pub(crate) fn holds(self, x: f64) -> bool {
        (self.from..=self.to).contains(&x)
    }

    /// The points of a curve in the window, at least `needed` of them.
    pub(crate) fn points<'a>(
        self,
        curve: &'a Curve,
        what: &str,
        needed: usize,
    ) -> Result<(&'a [f64], &'a [f64]), SpectrumRefusal> {
        self.check()?;
        let range = curve.indices_in(self);
        if range.len() < needed {
            return Err(SpectrumRefusal::too_few(
                format!("points for the {what} over {}..{}", self.from, self.to),
                range.len(),
                needed,
            ));
        }
        Ok((&curve.x()[range.clone()], &curve.y()[range]))
    }
}
