use serde::{Deserialize, Serialize};

use super::polynomial::Basis;
use super::{Curve, SpectrumRefusal};

/// What to do where the steps in x are not even.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Uneven {
    /// Refuse: the classical filter is defined on even steps.
    #[default]
    Refuse,
    /// Fit the polynomial to the actual x values of each window.
    Fit,
}

/// Largest window: a bound on the work, far above any use.
const MAX_WINDOW: usize = 2001;

/// A moving least-squares polynomial: Savitzky & Golay, Anal. Chem. 36, 1627 (1964), with the
/// derivative of the polynomial for derivatives.
///
/// Near the ends, where the window would stick out, the polynomial of the first (last) full window
/// is read at the point itself (Gorry, Anal. Chem. 62, 570 (1990)). Those points are noisier, and
/// the result counts them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SavitzkyGolay {
    /// Points in the window: odd, above `order`, at most the points of the curve.
    pub window: usize,
    /// Degree of the polynomial, 0 to 12.
    pub order: usize,
    /// Which derivative in x: 0 smooths; at most `order`.
    pub derivative: usize,
    /// What to do on uneven steps.
    #[serde(default)]
    pub uneven: Uneven,
}

/// A smoothed or differentiated curve with what it cost.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Smoothed {
    /// The result, in units of y per unit of x to the power of the derivative.
    pub curve: Curve,
    /// Factor by which independent noise of y is multiplied in the middle of the curve: the root of
    /// the sum of squared weights. Below 1 for smoothing.
    pub noise_gain: f64,
    /// Points at each end that come from the first (last) full window.
    pub edge_points: usize,
    /// Whether the steps were even, so that one set of weights served.
    pub even: bool,
}

impl SavitzkyGolay {
    /// Smoothing with a window of so many points and a polynomial of this order.
    pub fn smoothing(window: usize, order: usize) -> Self {
        Self {
            window,
            order,
            derivative: 0,
            uneven: Uneven::Refuse,
        }
    }

    /// Applies the filter.
    ///
    /// # Errors
    /// [`SpectrumRefusal::BadSetting`], `too-few-points` for a curve shorter than the window,
    /// [`SpectrumRefusal::UnevenSteps`], [`SpectrumRefusal::Gap`].
    pub fn apply(self, curve: &Curve) -> Result<Smoothed, SpectrumRefusal> {
        let Self {
            window,
            order,
            derivative,
            uneven,
        } = self;
        if window.is_multiple_of(2) {
            return Err(SpectrumRefusal::setting(
                "window",
                window,
                "an odd count of points",
            ));
        }
        if window > MAX_WINDOW {
            return Err(SpectrumRefusal::setting("window", window, "at most 2001 points"));
        }
        if order > 12 {
            return Err(SpectrumRefusal::setting("order", order, "0 to 12"));
        }
        if window <= order {
            return Err(SpectrumRefusal::setting(
                "window",
                window,
                "above the order of the polynomial",
            ));
        }
        if derivative > order {
            return Err(SpectrumRefusal::setting(
                "derivative",
                derivative,
                "at most the order",
            ));
        }
        if curve.len() < window {
            return Err(SpectrumRefusal::too_few(
                "points for this window",
                curve.len(),
                window,
            ));
        }
        curve.refuse_breaks()?;
        let even = window == 1 || curve.even_step().is_some();
        if !even && uneven == Uneven::Refuse {
            let (smallest, largest) = curve.steps();
            return Err(SpectrumRefusal::UnevenSteps { smallest, largest });
        }
        let (x, y, n, half) = (curve.x(), curve.y(), curve.len(), window / 2);
        let basis = |start: usize| {
            Basis::new(&x[start..start + window], order).ok_or_else(|| {
                SpectrumRefusal::undetermined(
                    "the moving polynomial",
                    format!("the points near x = {} are too close together", x[start]),
                )
            })
        };
        let middle = n / 2;
        let middle_start = middle.saturating_sub(half).min(n - window);
        let common = basis(middle_start)?.weights(x[middle_start + half], derivative);
        let (first, last) = (basis(0)?, basis(n - window)?);
        let mut out = Vec::with_capacity(n);
        for i in 0..n {
            let (start, own);
            let weights: &[f64] = if i < half {
                (start, own) = (0, first.weights(x[i], derivative));
                &own
            } else if i + half >= n {
                (start, own) = (n - window, last.weights(x[i], derivative));
                &own
            } else if even {
                start = i - half;
                &common
            } else {
                (start, own) = (i - half, basis(i - half)?.weights(x[i], derivative));
                &own
            };
            // Weights of a derivative sum to zero, so a large constant is taken out before it can
            // drown the digits; for smoothing they sum to one.
            let base = y[i];
            let sum: f64 = weights.iter().zip(&y[start..]).map(|(w, y)| w * (y - base)).sum();
            out.push(if derivative == 0 { base + sum } else { sum });
        }
        Ok(Smoothed {
            curve: curve.with_y(out)?,
            noise_gain: common.iter().map(|w| w * w).sum::<f64>().sqrt(),
            edge_points: half,
            even,
        })
    }
}
