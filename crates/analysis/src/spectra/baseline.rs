use serde::{Deserialize, Serialize};

use super::{Axis, Curve, Spectrum, SpectrumRefusal, Window};

/// What is taken for the baseline of a spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Baseline {
    /// A constant: the mean over a window where nothing absorbs.
    Offset {
        /// The window.
        over: Window,
    },
    /// The straight line through the mean points of two windows.
    Line {
        /// One window.
        left: Window,
        /// The other; it must not overlap the first.
        right: Window,
    },
    /// Scattered light that falls off with a power of the wavelength, a·(λ/λ0)^-n, fitted over a
    /// window where only scatter is seen, and extended over the whole spectrum.
    Scatter {
        /// The window, on the axis of the spectrum.
        over: Window,
        /// A fixed exponent (4 for particles far smaller than the wavelength, by Rayleigh); fitted
        /// where absent.
        exponent: Option<f64>,
    },
}

/// The baseline as it was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum BaselineFound {
    /// A constant.
    Offset {
        /// Mean of the window, in units of y.
        level: f64,
        /// Standard error of that mean, s/√n; absent for a single point.
        standard_error: Option<f64>,
        /// Points in the window.
        points: usize,
    },
    /// A straight line, y = level + slope·(x - at).
    Line {
        /// Height at `at`.
        level: f64,
        /// Slope in units of y per unit of x.
        slope: f64,
        /// Mean x of the left window.
        at: f64,
        /// Points in both windows together.
        points: usize,
    },
    /// The scatter law, y = amplitude·(λ/λ0)^-exponent.
    Scatter {
        /// Height at λ0.
        amplitude: f64,
        /// Standard error of the amplitude.
        amplitude_error: Option<f64>,
        /// λ0 in nm: the geometric mean of the window.
        reference_nm: f64,
        /// The exponent n.
        exponent: f64,
        /// Standard error of the exponent; absent where it was fixed.
        exponent_error: Option<f64>,
        /// Root mean square of the residuals in the window.
        residual_rms: f64,
        /// Points in the window.
        points: usize,
    },
}

impl BaselineFound {
    /// Height at a point of the axis; `None` where the scatter law has no wavelength.
    fn height(&self, axis: Axis, x: f64) -> Option<f64> {
        match *self {
            Self::Offset { level, .. } => Some(level),
            Self::Line { level, slope, at, .. } => Some(level + slope * (x - at)),
            Self::Scatter {
                amplitude,
                reference_nm,
                exponent,
                ..
            } => axis
                .to_nm(x)
                .map(|nm| amplitude * (nm / reference_nm).powf(-exponent)),
        }
    }
}

/// Takes a baseline away from every point, with what was found and notes on it.
///
/// # Errors
/// `too-few-points` for windows that hold too few points, [`SpectrumRefusal::BadWindow`] for windows
/// that are empty or overlap, [`SpectrumRefusal::WrongAxis`] for scatter without an optical axis, and
/// [`SpectrumRefusal::Undetermined`] where the window shows no scatter law.
pub fn subtract_baseline(
    spectrum: &Spectrum,
    baseline: Baseline,
) -> Result<(Spectrum, BaselineFound, Vec<String>), SpectrumRefusal> {
    let curve = &spectrum.curve;
    let mut notes = Vec::new();
    let found = match baseline {
        Baseline::Offset { over } => {
            let (_, y) = over.points(curve, "offset", 1)?;
            let (level, sd) = mean_and_sd(y);
            BaselineFound::Offset {
                level,
                standard_error: sd.map(|s| s / (y.len() as f64).sqrt()),
                points: y.len(),
            }
        }
        Baseline::Line { left, right } => {
            let (left, right) = if left.from <= right.from {
                (left, right)
            } else {
                (right, left)
            };
            let (x1, y1) = left.points(curve, "line", 1)?;
            let (x2, y2) = right.points(curve, "line", 1)?;
            if left.to >= right.from {
                return Err(SpectrumRefusal::setting(
                    "baseline windows",
                    format!("{}..{} and {}..{}", left.from, left.to, right.from, right.to),
                    "two that do not overlap",
                ));
            }
            let ((at, _), (to, _)) = (mean_and_sd(x1), mean_and_sd(x2));
            let ((level, _), (height, _)) = (mean_and_sd(y1), mean_and_sd(y2));
            BaselineFound::Line {
                level,
                slope: (height - level) / (to - at),
                at,
                points: y1.len() + y2.len(),
            }
        }
        Baseline::Scatter { over, exponent } => {
            let found = scatter(curve, spectrum.axis, over, exponent, &mut notes)?;
            if let BaselineFound::Scatter {
                exponent: n,
                exponent_error,
                ..
            } = found
            {
                if exponent.is_none() && !(0.0..=4.0).contains(&n) {
                    notes.push(format!(
                        "the exponent {n:.3} lies outside 0 to 4, where scatter by particles lies: look at the window"
                    ));
                }
                if exponent_error.is_some_and(|e| e > 0.25 * n.abs()) {
                    notes.push(
                        "the exponent is known to worse than a quarter of itself: what is subtracted far from the window is uncertain"
                            .into(),
                    );
                }
            }
            notes.push(format!(
                "the scatter law was fitted over {}..{} and extended from there over the whole spectrum",
                over.from, over.to
            ));
            found
        }
    };
    let y = curve
        .x()
        .iter()
        .zip(curve.y())
        .map(|(x, y)| {
            found
                .height(spectrum.axis, *x)
                .map(|b| y - b)
                .filter(|v| v.is_finite())
                .ok_or_else(|| SpectrumRefusal::NotPositive {
                    what: spectrum.axis.to_string(),
                    found: *x,
                })
        })
        .collect::<Result<Vec<_>, _>>()?;
    Ok((
        Spectrum {
            curve: curve.with_y(y)?,
            ..*spectrum
        },
        found,
        notes,
    ))
}

fn mean_and_sd(values: &[f64]) -> (f64, Option<f64>) {
    let n = values.len() as f64;
    let rough = values.iter().sum::<f64>() / n;
    // The second pass takes back what the first sum rounded away.
    let mean = rough + values.iter().map(|v| v - rough).sum::<f64>() / n;
    let sum: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (mean, (values.len() > 1).then(|| (sum / (n - 1.0)).sqrt()))
}

/// Fits a·(λ/λ0)^-n by Gauss-Newton steps that are halved until the sum of squares falls.
fn scatter(
    curve: &Curve,
    axis: Axis,
    over: Window,
    fixed: Option<f64>,
    notes: &mut Vec<String>,
) -> Result<BaselineFound, SpectrumRefusal> {
    if axis == Axis::Other {
        return Err(SpectrumRefusal::WrongAxis {
            found: axis.to_string(),
            wanted: "nm, cm-1 or eV".into(),
        });
    }
    if let Some(n) = fixed
        && !(n.is_finite() && n.abs() <= 20.0)
    {
        return Err(SpectrumRefusal::setting(
            "the scatter exponent",
            n,
            "a number from -20 to 20",
        ));
    }
    let (x, y) = over.points(curve, "scatter law", if fixed.is_some() { 2 } else { 3 })?;
    let logs = x
        .iter()
        .map(|x| {
            axis.to_nm(*x)
                .map(f64::ln)
                .ok_or_else(|| SpectrumRefusal::NotPositive {
                    what: axis.to_string(),
                    found: *x,
                })
        })
        .collect::<Result<Vec<_>, _>>()?;
    let (centre, _) = mean_and_sd(&logs);
    let l: Vec<f64> = logs.iter().map(|v| v - centre).collect();
    if mean_and_sd(y).0 <= 0.0 {
        return Err(SpectrumRefusal::undetermined(
            "the scatter law",
            "the mean over the window is not positive, so nothing there scatters (subtract a blank first?)",
        ));
    }
    // For a given exponent the amplitude is linear, and so is found at once.
    let amplitude_for = |n: f64| {
        let basis: Vec<f64> = l.iter().map(|l| (-n * l).exp()).collect();
        let square: f64 = basis.iter().map(|b| b * b).sum();
        let a = basis.iter().zip(y).map(|(b, y)| b * y).sum::<f64>() / square;
        let rss: f64 = basis.iter().zip(y).map(|(b, y)| (y - a * b).powi(2)).sum();
        (a, rss, square)
    };
    let count = y.len() as f64;
    let (mut n, mut settled) = (fixed.unwrap_or(4.0), fixed.is_some());
    for _ in 0..200 {
        if settled {
            break;
        }
        let (a, rss, _) = amplitude_for(n);
        let (mut aa, mut an, mut nn, mut gn, mut ga) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (l, y) in l.iter().zip(y) {
            let b = (-n * l).exp();
            let (da, dn, r) = (b, -a * l * b, y - a * b);
            aa += da * da;
            an += da * dn;
            nn += dn * dn;
            ga += da * r;
            gn += dn * r;
        }
        let determinant = aa * nn - an * an;
        if determinant.is_nan() || determinant <= 1e-14 * aa * nn {
            break;
        }
        let step = ((aa * gn - an * ga) / determinant).clamp(-2.0, 2.0);
        let mut part = 1.0;
        while part > 1e-6 && amplitude_for(n + part * step).1 > rss {
            part /= 2.0;
        }
        if part > 1e-6 {
            n += part * step;
        }
        settled = (part * step).abs() < 1e-10 || part <= 1e-6;
        if n.abs() > 20.0 {
            settled = false;
            break;
        }
    }
    let (a, rss, square) = amplitude_for(n);
    if !(settled && a.is_finite() && a > 0.0) {
        return Err(SpectrumRefusal::undetermined(
            "the scatter law",
            "no power of the wavelength between -20 and 20 follows the window",
        ));
    }
    let coefficients = if fixed.is_some() { 1.0 } else { 2.0 };
    let variance = (count > coefficients).then(|| rss / (count - coefficients));
    let (amplitude_error, exponent_error) = if fixed.is_some() {
        (variance.map(|v| (v / square).sqrt()), None)
    } else {
        let (mut an, mut nn) = (0.0, 0.0);
        for l in &l {
            let b = (-n * l).exp();
            an += -a * l * b * b;
            nn += (a * l * b).powi(2);
        }
        let determinant = square * nn - an * an;
        (
            variance.map(|v| (v * nn / determinant).sqrt()),
            variance.map(|v| (v * square / determinant).sqrt()),
        )
    };
    let rest: Vec<f64> = l.iter().zip(y).map(|(l, y)| y - a * (-n * l).exp()).collect();
    let neighbours = rest.windows(2).map(|p| p[0] * p[1]).sum::<f64>();
    let residual_rms = (rss / count).sqrt();
    // Independent residuals of ten or more points hardly ever reach 0.5, and below a hundredth of the
    // scatter a misfit does not matter.
    if count >= 10.0 && neighbours > 0.5 * rss && residual_rms > 0.01 * a {
        notes.push(
            "the window does not follow a power of the wavelength: something absorbs in it, or the blank is off"
                .into(),
        );
    }
    Ok(BaselineFound::Scatter {
        amplitude: a,
        amplitude_error,
        reference_nm: centre.exp(),
        exponent: n,
        exponent_error,
        residual_rms,
        points: y.len(),
    })
}
