mod text;

use std::fmt;

use serde::{Deserialize, Serialize};

pub use text::ChainError;

use super::{
    Axis, Baseline, BaselineFound, Curve, Grids, Interpolation, Ordinate, SavitzkyGolay, Spectrum,
    SpectrumRefusal, Window, point_noise, resample, subtract_baseline, subtract_blank,
};

/// One step of a chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "kebab-case")]
pub enum Step {
    /// `saturation(above=3)`: leaves out points above the trusted range.
    Saturation {
        /// Points with a larger y are left out.
        above: f64,
    },
    /// `crop(220..400)`: keeps a window.
    Crop {
        /// The window.
        to: Window,
    },
    /// `ordinate(absorbance)`: absorbance, transmittance or percent-transmittance.
    Ordinate {
        /// The wanted ordinate.
        to: Ordinate,
    },
    /// `axis(cm-1)`: nm, cm-1 or eV.
    Axis {
        /// The wanted axis.
        to: Axis,
    },
    /// `blank(RUN)` or `blank(RUN, resample=cubic)`.
    Blank {
        /// The name of the blank, resolved when the chain is applied.
        reference: String,
        /// What to do where the x values differ.
        grids: Grids,
    },
    /// `baseline(offset, 680..700)`, `baseline(line, 240..250, 340..350)` or
    /// `baseline(scatter, 350..500, exponent=4)`.
    Baseline {
        /// Which.
        baseline: Baseline,
    },
    /// `smooth(window=11, order=3)` or `derivative(2, window=11, order=3)`, both also with
    /// `uneven=fit`.
    Filter {
        /// The moving polynomial.
        filter: SavitzkyGolay,
    },
    /// `resample(cubic, 200..800, every=1)`.
    Resample {
        /// How.
        how: Interpolation,
        /// First and last x.
        over: Window,
        /// Distance of the new points.
        every: f64,
    },
}

/// A written, repeatable sequence of steps, in text `blank(R7) | baseline(offset, 680..700)`.
///
/// `Display` writes the text and `FromStr` reads it; each chain that [`Chain::apply`] accepts reads
/// back as itself.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Chain {
    /// The steps, first to last.
    pub steps: Vec<Step>,
}

/// A remark of a step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LogNote {
    /// What was assumed or found.
    Said(String),
    /// Which points were left out, and why.
    LeftOut(String),
}

impl std::ops::Deref for LogNote {
    type Target = str;

    fn deref(&self) -> &str {
        match self {
            Self::Said(words) | Self::LeftOut(words) => words,
        }
    }
}

impl LogNote {
    /// The same of a blank.
    fn of_blank(self) -> Self {
        match self {
            Self::Said(words) => Self::Said(format!("blank: {words}")),
            Self::LeftOut(words) => Self::LeftOut(format!("blank: {words}")),
        }
    }
}

fn said(notes: Vec<String>) -> Vec<LogNote> {
    notes.into_iter().map(LogNote::Said).collect()
}

/// What one step did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LogEntry {
    /// The step as text.
    pub step: String,
    /// What was assumed, left out or found.
    pub notes: Vec<LogNote>,
    /// The baseline, for a baseline step.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub baseline: Option<BaselineFound>,
}

/// A spectrum after a chain, and how it came about.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Processed {
    /// The result.
    pub spectrum: Spectrum,
    /// One entry a step.
    pub log: Vec<LogEntry>,
    /// Noise of the points just before the first step that correlated neighbours (a filter or
    /// resampling), as [`point_noise`] finds it; absent without such a step, or where it cannot be told.
    pub noise_before_smoothing: Option<f64>,
}

/// The step of a chain that could not be done, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChainRefused {
    /// Which step, counted from 0.
    pub index: usize,
    /// The step as text.
    pub step: String,
    /// Why.
    pub refusal: SpectrumRefusal,
}

impl fmt::Display for ChainRefused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "step {}, {}: {}", self.index + 1, self.step, self.refusal)
    }
}

impl std::error::Error for ChainRefused {}

impl Chain {
    /// Applies the steps in order. `reference` finds the blanks by the names in the steps; a blank is
    /// used as it is handed over.
    ///
    /// # Errors
    /// The first step that cannot be done: a chain is done whole or not at all.
    pub fn apply(
        &self,
        spectrum: &Spectrum,
        reference: impl Fn(&str) -> Option<Spectrum>,
    ) -> Result<Processed, ChainRefused> {
        let mut spectrum = spectrum.clone();
        let mut log = Vec::with_capacity(self.steps.len());
        let mut noise_before_smoothing = None;
        for (index, step) in self.steps.iter().enumerate() {
            if step.correlates() && !self.steps[..index].iter().any(Step::correlates) {
                noise_before_smoothing = point_noise(spectrum.curve.y()).ok();
            }
            let (next, notes, baseline) =
                step.apply(&spectrum, &reference)
                    .map_err(|refusal| ChainRefused {
                        index,
                        step: step.to_string(),
                        refusal,
                    })?;
            spectrum = next;
            log.push(LogEntry {
                step: step.to_string(),
                notes,
                baseline,
            });
        }
        Ok(Processed {
            spectrum,
            log,
            noise_before_smoothing,
        })
    }
}

type StepResult = (Spectrum, Vec<LogNote>, Option<BaselineFound>);

impl Step {
    /// Whether neighbouring points are no longer independent after the step.
    fn correlates(&self) -> bool {
        matches!(self, Self::Filter { .. } | Self::Resample { .. })
    }

    fn apply(
        &self,
        spectrum: &Spectrum,
        reference: &impl Fn(&str) -> Option<Spectrum>,
    ) -> Result<StepResult, SpectrumRefusal> {
        let curve = &spectrum.curve;
        let with = |curve: Curve| Spectrum { curve, ..*spectrum };
        match self {
            Self::Saturation { above } => {
                if !above.is_finite() {
                    return Err(SpectrumRefusal::setting("above", above, "a finite number"));
                }
                let kept: Vec<usize> = (0..curve.len()).filter(|i| curve.y()[*i] <= *above).collect();
                if kept.is_empty() {
                    let refusal = crate::refusal::Refusal::AllSaturated {
                        limit: *above,
                        count: curve.len(),
                    };
                    return Err(refusal.into());
                }
                let lost = curve.len() - kept.len();
                let note = (lost > 0).then(|| {
                    LogNote::LeftOut(format!(
                        "{lost} of {} points lie above {above} and were left out",
                        curve.len()
                    ))
                });
                Ok((with(curve.pick(&kept)?), note.into_iter().collect(), None))
            }
            Self::Crop { to } => {
                to.points(curve, "crop", 1)?;
                let kept: Vec<usize> = curve.indices_in(*to).collect();
                let note = format!("{} of {} points kept", kept.len(), curve.len());
                Ok((with(curve.pick(&kept)?), said(vec![note]), None))
            }
            Self::Ordinate { to } => spectrum.to_ordinate(*to).map(|(s, notes)| (s, notes, None)),
            Self::Axis { to } => spectrum.to_axis(*to).map(|(s, notes)| (s, notes, None)),
            Self::Blank {
                reference: name,
                grids,
            } => {
                let blank = reference(name)
                    .ok_or_else(|| SpectrumRefusal::UnknownReference { name: name.clone() })?;
                if let Ordinate::Transmittance | Ordinate::PercentTransmittance = spectrum.ordinate {
                    return Err(SpectrumRefusal::WrongOrdinate {
                        found: spectrum.ordinate.to_string(),
                        wanted: "absorbance: put ordinate(absorbance) before".into(),
                    });
                }
                let (blank, mut notes) = like(spectrum, blank)?;
                let (result, used) = subtract_blank(curve, &blank.curve, *grids)?;
                notes.push(LogNote::Said(match used.resampled {
                    Some(how) => format!(
                        "the blank ({} points) was resampled ({}) at the sample's x values",
                        used.points,
                        how.name()
                    ),
                    None => format!("the blank ({} points) has every x of the sample", used.points),
                }));
                Ok((with(result), notes, None))
            }
            Self::Baseline { baseline } => {
                subtract_baseline(spectrum, *baseline).map(|(s, found, notes)| (s, said(notes), Some(found)))
            }
            Self::Filter { filter } => {
                let smoothed = filter.apply(curve)?;
                let ordinate = derived(spectrum.ordinate, filter.derivative)?;
                let mut notes = vec![format!(
                    "independent noise is multiplied by {:.4}; neighbouring points are correlated now",
                    smoothed.noise_gain
                )];
                if smoothed.edge_points > 0 {
                    notes.push(format!(
                        "{} points at each end come from the polynomial of the first and last full window",
                        smoothed.edge_points
                    ));
                }
                if !smoothed.even {
                    notes.push("the steps are uneven: each window has its own polynomial".into());
                }
                Ok((
                    Spectrum {
                        curve: smoothed.curve,
                        axis: spectrum.axis,
                        ordinate,
                    },
                    said(notes),
                    None,
                ))
            }
            Self::Resample { how, over, every } => {
                over.check()?;
                if !(every.is_finite() && *every > 0.0) {
                    return Err(SpectrumRefusal::setting("every", every, "a positive number"));
                }
                let count = ((over.to - over.from) / every + 1e-9).floor();
                if count > 1e6 {
                    return Err(SpectrumRefusal::setting(
                        "every",
                        every,
                        "large enough for a million points at most",
                    ));
                }
                let x: Vec<f64> = (0..=count as usize)
                    .map(|i| over.from + i as f64 * every)
                    .collect();
                let result = resample(curve, &x, *how)?;
                let note = format!(
                    "{} measured points were resampled ({}) to {}: these are interpolated values, not measurements",
                    curve.len(),
                    how.name(),
                    result.len()
                );
                Ok((with(result), said(vec![note]), None))
            }
        }
    }
}

/// The blank with the sample's axis and ordinate, converted where that is exact.
fn like(sample: &Spectrum, blank: Spectrum) -> Result<(Spectrum, Vec<LogNote>), SpectrumRefusal> {
    let mut notes = Vec::new();
    let mut blank = blank;
    if blank.ordinate != sample.ordinate {
        let photometric = matches!(
            blank.ordinate,
            Ordinate::Transmittance | Ordinate::PercentTransmittance
        );
        if !(photometric && sample.ordinate == Ordinate::Absorbance) {
            return Err(SpectrumRefusal::WrongOrdinate {
                found: format!("{} in the blank", blank.ordinate),
                wanted: format!("{}, as in the sample", sample.ordinate),
            });
        }
        let (converted, told) = blank.to_ordinate(Ordinate::Absorbance)?;
        blank = converted;
        notes.extend(told);
    }
    if blank.axis != sample.axis {
        let (converted, told) = blank.to_axis(sample.axis)?;
        blank = converted;
        notes.extend(told);
    }
    Ok((blank, notes.into_iter().map(LogNote::of_blank).collect()))
}

fn derived(ordinate: Ordinate, order: usize) -> Result<Ordinate, SpectrumRefusal> {
    if order == 0 {
        return Ok(ordinate);
    }
    let before = match ordinate {
        Ordinate::Absorbance => 0,
        Ordinate::Derivative(n) => n,
        Ordinate::Transmittance | Ordinate::PercentTransmittance | Ordinate::Other => {
            return Ok(Ordinate::Other);
        }
    };
    u8::try_from(order)
        .ok()
        .and_then(|n| before.checked_add(n))
        .map(Ordinate::Derivative)
        .ok_or_else(|| SpectrumRefusal::setting("derivative", order, "at most 255 in all"))
}
