use serde::{Deserialize, Serialize};

use super::{Calibration, Remark, StandardWeighting, all_finite, positive};
use crate::refusal::{Refusal, require_finite};

/// Whose definition of the limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitForm {
    /// ICH Q2 (R1 of 2005, R2 of 2023): detection 3.3·σ/S, quantitation 10·σ/S.
    IchQ2,
    /// IUPAC 1978: detection at k = 3 standard deviations of the blank, 3·s_b/S. It names no
    /// quantitation limit.
    Iupac1978,
    /// IUPAC 1995 (Currie, Pure Appl. Chem. 67, 1699) for α = β = 0.05 and a constant, known σ0 of
    /// the net signal at zero: critical 1.645·σ0/S, detection 3.29·σ0/S, quantification 10·σ0/S.
    Iupac1995,
}

/// Which standard deviation goes into the limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "value", rename_all = "kebab-case")]
pub enum Sigma {
    /// That of readings of the blank.
    BlankReadings(Vec<f64>),
    /// The residual standard deviation of the line (unweighted lines only).
    ResidualSd,
    /// The standard error of the intercept, which stands for the standard deviation of intercepts.
    InterceptError,
    /// A known value, in units of y.
    Known(f64),
}

/// Detection and quantitation limits, in units of concentration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DetectionLimits {
    /// Whose definition.
    pub form: LimitForm,
    /// Which σ was used, in words.
    pub sigma_kind: String,
    /// Its value, in units of y.
    pub sigma: f64,
    /// The slope S of the line.
    pub slope: f64,
    /// From which net signal on something counts as seen (IUPAC 1995), as a concentration.
    pub critical: Option<f64>,
    /// Detection limit.
    pub detection: f64,
    /// Quantitation limit; absent where the form names none.
    pub quantitation: Option<f64>,
    /// Standard error of each limit as a part of it. A limit is a multiple of σ/S. The relative standard error of a standard deviation
    /// on ν degrees of freedom is 1/√(2ν) for normal errors, to first order; it is independent of the slope's own, and both add in
    /// squares.
    pub relative_error: f64,
    /// The computation in words.
    pub formula: String,
    /// What a reader must know.
    pub remarks: Vec<Remark>,
}

/// Computes the limits of a calibration line.
///
/// # Errors
/// `too-few-points` for fewer than two blank readings; `constant-signal` for blank readings that are
/// all equal; `unsuitable` where the slope is not told from zero at 95 %, where the form takes another
/// σ, or where the line has no such σ.
pub fn detection_limits(
    calibration: &Calibration,
    form: LimitForm,
    sigma: &Sigma,
) -> Result<DetectionLimits, Refusal> {
    let [low, high] = calibration.slope_interval(0.95)?;
    if low <= 0.0 && high >= 0.0 {
        return Err(Refusal::Unsuitable {
            why: format!(
                "the slope ({}) cannot be distinguished from zero at 95 %, so there is no detection limit",
                calibration.slope
            ),
        });
    }
    let mut remarks = Vec::new();
    let freedom = match sigma {
        Sigma::BlankReadings(values) => Some(values.len().saturating_sub(1)),
        Sigma::ResidualSd | Sigma::InterceptError => Some(calibration.degrees_of_freedom),
        Sigma::Known(_) => None,
    };
    let (kind, value) = match sigma {
        Sigma::BlankReadings(values) => {
            require_finite("the blank readings", values)?;
            let n = values.len();
            if n < 2 {
                return Err(Refusal::TooFewPoints {
                    what: "blank readings".into(),
                    found: n,
                    needed: 2,
                });
            }
            if values.iter().all(|v| *v == values[0]) {
                return Err(Refusal::ConstantSignal { value: values[0] });
            }
            let mean = values.iter().sum::<f64>() / n as f64;
            let sd = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt();
            if n < 10 {
                remarks.push(Remark::new(
                    "few-blanks",
                    format!("{n} blank readings; ten or more are common practice, and σ is uncertain by about {:.0} %", 100.0 / (2.0 * (n - 1) as f64).sqrt()),
                ));
            }
            (format!("standard deviation of {n} blank readings"), sd)
        }
        Sigma::ResidualSd if calibration.weighting != StandardWeighting::Equal => {
            return Err(Refusal::Unsuitable {
                why: "the residual standard deviation of a weighted line is not that of a reading near zero; give blank readings".into(),
            });
        }
        Sigma::ResidualSd => (
            "residual standard deviation of the line".into(),
            calibration.residual_sd,
        ),
        Sigma::InterceptError => {
            let error = calibration.intercept_error.ok_or_else(|| Refusal::Unsuitable {
                why: "a line held at the origin has no error of its intercept".into(),
            })?;
            ("standard error of the intercept of the line".into(), error)
        }
        Sigma::Known(value) => ("known standard deviation".into(), *value),
    };
    positive("σ", value)?;
    if form == LimitForm::Iupac1978 && !matches!(sigma, Sigma::BlankReadings(_) | Sigma::Known(_)) {
        return Err(Refusal::Unsuitable {
            why: "the form of IUPAC 1978 takes the standard deviation of the blank; give blank readings"
                .into(),
        });
    }
    let slope = calibration.slope;
    let unit = value / slope.abs();
    let (name, critical, detection, quantitation) = match form {
        LimitForm::IchQ2 => ("ICH Q2", None, 3.3, Some(10.0)),
        LimitForm::Iupac1978 => ("IUPAC 1978", None, 3.0, None),
        LimitForm::Iupac1995 => ("IUPAC 1995", Some(1.645), 3.29, Some(10.0)),
    };
    all_finite(&[unit * 10.0])?;
    let levels = calibration.levels();
    if levels < 5 {
        remarks.push(Remark::new(
            "few-levels",
            format!("{levels} concentration levels; ICH Q2 asks for five or more to show linearity"),
        ));
    }
    let lowest = calibration
        .points
        .iter()
        .map(|p| p.x)
        .filter(|x| *x > 0.0)
        .fold(f64::INFINITY, f64::min);
    if detection * unit < lowest {
        remarks.push(Remark::new(
            "below-standards",
            format!("the detection limit lies below the lowest standard above zero ({lowest}): confirm it with samples near it"),
        ));
    }
    let tenfold = quantitation.map_or(String::new(), |k| format!(", quantitation {k}·σ/S"));
    Ok(DetectionLimits {
        form,
        formula: format!(
            "{name}: detection {detection}·σ/S{tenfold}; σ = {value:.4e} ({kind}), S = {slope:.4e}"
        ),
        sigma_kind: kind,
        sigma: value,
        slope,
        critical: critical.map(|k: f64| k * unit),
        detection: detection * unit,
        quantitation: quantitation.map(|k: f64| k * unit),
        relative_error: freedom
            .map_or(0.0, |freedom| 1.0 / (2.0 * freedom.max(1) as f64).sqrt())
            .hypot(calibration.slope_error / slope),
        remarks,
    })
}
