use serde::{Deserialize, Serialize};

use super::{Curve, SpectrumRefusal};

/// How values between measured points are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Interpolation {
    /// Straight lines between neighbours.
    Linear,
    /// The cubic spline with the not-a-knot end condition (de Boor, A Practical Guide to Splines,
    /// 1978): needs four points, reproduces every cubic exactly.
    Cubic,
}

impl Interpolation {
    /// `linear` or `cubic`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Linear => "linear",
            Self::Cubic => "cubic",
        }
    }
}

/// The curve at other x values, which must rise or fall throughout. Nothing is extrapolated.
///
/// Interpolated values are not measurements: their noise is smaller and correlated.
///
/// # Errors
/// [`SpectrumRefusal::OutsideRange`]; [`SpectrumRefusal::Gap`] for an x inside a gap, and for the spline
/// wherever there is one; `too-few-points` (two for linear, four for cubic); the errors of
/// [`Curve::new`] for the new x values.
pub fn resample(curve: &Curve, x: &[f64], how: Interpolation) -> Result<Curve, SpectrumRefusal> {
    crate::refusal::require_finite("x", x)?;
    let rising = curve.rising();
    let (lowest, highest) = rising.range();
    // Rounding of a grid such as 200 + 3 · 0.1 must not push its last point out of the range.
    let slack = 1e-9 * rising.steps().0;
    let gaps = rising.gaps();
    if how == Interpolation::Cubic {
        // A spline bends everywhere for what it meets anywhere.
        rising.refuse_breaks()?;
    }
    let interpolant = Interpolant::new(&rising, how)?;
    let y = x
        .iter()
        .map(|at| {
            if *at < lowest - slack || *at > highest + slack {
                return Err(SpectrumRefusal::OutsideRange {
                    x: *at,
                    lowest,
                    highest,
                });
            }
            if let Some(gap) = gaps
                .get(gaps.partition_point(|gap| gap.to <= *at))
                .filter(|gap| gap.from < *at)
            {
                return Err(SpectrumRefusal::Gap {
                    from: gap.from,
                    to: gap.to,
                });
            }
            Ok(interpolant.at(at.clamp(lowest, highest)))
        })
        .collect::<Result<Vec<_>, _>>()?;
    Curve::new(x.to_vec(), y)
}

/// The curve at one x, and whether that point was measured (`true`) or interpolated linearly.
///
/// # Errors
/// [`SpectrumRefusal::OutsideRange`].
pub fn value_at(curve: &Curve, x: f64) -> Result<(f64, bool), SpectrumRefusal> {
    if let Some(i) = curve.x().iter().position(|v| *v == x) {
        return Ok((curve.y()[i], true));
    }
    if curve.len() < 2 {
        let (lowest, highest) = curve.range();
        return Err(SpectrumRefusal::OutsideRange { x, lowest, highest });
    }
    Ok((resample(curve, &[x], Interpolation::Linear)?.y()[0], false))
}

/// A rising curve with the second derivatives of its spline (empty for straight lines).
struct Interpolant<'a> {
    x: &'a [f64],
    y: &'a [f64],
    second: Vec<f64>,
}

impl<'a> Interpolant<'a> {
    fn new(curve: &'a Curve, how: Interpolation) -> Result<Self, SpectrumRefusal> {
        let (x, y) = (curve.x(), curve.y());
        let needed = if how == Interpolation::Cubic { 4 } else { 2 };
        if x.len() < needed {
            return Err(SpectrumRefusal::too_few(
                format!("points for {} resampling", how.name()),
                x.len(),
                needed,
            ));
        }
        let second = if how == Interpolation::Cubic {
            not_a_knot(x, y)
        } else {
            Vec::new()
        };
        Ok(Self { x, y, second })
    }

    fn at(&self, x: f64) -> f64 {
        let i = self.x.partition_point(|v| *v <= x).clamp(1, self.x.len() - 1) - 1;
        let h = self.x[i + 1] - self.x[i];
        let (a, b) = ((self.x[i + 1] - x) / h, (x - self.x[i]) / h);
        let line = a * self.y[i] + b * self.y[i + 1];
        if self.second.is_empty() {
            return line;
        }
        line + ((a * a * a - a) * self.second[i] + (b * b * b - b) * self.second[i + 1]) * h * h / 6.0
    }
}

/// Second derivatives at the knots of the cubic spline whose third derivative is continuous at the
/// second and the last but one knot. Needs at least four points.
fn not_a_knot(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let h: Vec<f64> = x.windows(2).map(|p| p[1] - p[0]).collect();
    let slope: Vec<f64> = y.windows(2).zip(&h).map(|(p, h)| (p[1] - p[0]) / h).collect();
    // Rows for the inner knots 1..n-1; the outer second derivatives are put in by the end condition
    // m0 = m1 (1 + h0/h1) - m2 h0/h1, and its mirror image.
    let inner = n - 2;
    let mut lower = vec![0.0; inner];
    let mut diagonal = vec![0.0; inner];
    let mut upper = vec![0.0; inner];
    let mut right = vec![0.0; inner];
    for r in 0..inner {
        let k = r + 1;
        lower[r] = h[k - 1];
        diagonal[r] = 2.0 * (h[k - 1] + h[k]);
        upper[r] = h[k];
        right[r] = 6.0 * (slope[k] - slope[k - 1]);
    }
    let (first, last) = (h[0] / h[1], h[n - 2] / h[n - 3]);
    diagonal[0] += h[0] * (1.0 + first);
    upper[0] -= h[0] * first;
    diagonal[inner - 1] += h[n - 2] * (1.0 + last);
    lower[inner - 1] -= h[n - 2] * last;
    for r in 1..inner {
        let factor = lower[r] / diagonal[r - 1];
        diagonal[r] -= factor * upper[r - 1];
        right[r] -= factor * right[r - 1];
    }
    let mut m = vec![0.0; n];
    for r in (0..inner).rev() {
        let above = if r + 1 < inner { upper[r] * m[r + 2] } else { 0.0 };
        m[r + 1] = (right[r] - above) / diagonal[r];
    }
    m[0] = m[1] * (1.0 + first) - m[2] * first;
    m[n - 1] = m[n - 2] * (1.0 + last) - m[n - 3] * last;
    m
}
