use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Curve, LogNote, SpectrumRefusal};

/// Planck constant h in J s: exact, SI 2019 (CODATA 2018 and later).
pub const PLANCK_J_S: f64 = 6.626_070_15e-34;
/// Speed of light in vacuum c in m/s: exact, SI.
pub const SPEED_OF_LIGHT_M_PER_S: f64 = 299_792_458.0;
/// Elementary charge e in C: exact, SI 2019 (CODATA 2018 and later).
pub const ELEMENTARY_CHARGE_C: f64 = 1.602_176_634e-19;
/// h c / e in eV nm, from the three exact constants: 1239.8419843320026.
pub const HC_OVER_E_EV_NM: f64 = PLANCK_J_S * SPEED_OF_LIGHT_M_PER_S / ELEMENTARY_CHARGE_C * 1e9;

/// What the x axis of a spectrum is.
///
/// Conversions between optical axes are those of light in vacuum: the refractive index of air
/// (about 1.00028) is not applied, and the log of a conversion says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Axis {
    /// Wavelength in nanometres.
    #[serde(rename = "nm")]
    Nanometre,
    /// Wavenumber in reciprocal centimetres.
    #[serde(rename = "cm-1")]
    PerCentimetre,
    /// Photon energy in electronvolts.
    #[serde(rename = "eV")]
    ElectronVolt,
    /// Anything else, such as time: never converted.
    #[serde(rename = "other")]
    Other,
}

impl Axis {
    /// The short name used in chains: `nm`, `cm-1`, `eV`, `other`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Nanometre => "nm",
            Self::PerCentimetre => "cm-1",
            Self::ElectronVolt => "eV",
            Self::Other => "other",
        }
    }

    /// Wavelength in nm of a value on this axis; `None` for values that are not positive and finite,
    /// and for an axis that is not optical.
    pub fn to_nm(self, value: f64) -> Option<f64> {
        match self {
            Self::Nanometre => positive(value),
            Self::PerCentimetre => nm_of_per_cm(value),
            Self::ElectronVolt => nm_of_ev(value),
            Self::Other => None,
        }
    }

    /// Value on this axis of a wavelength in nm; `None` as in [`Axis::to_nm`].
    pub fn of_nm(self, nm: f64) -> Option<f64> {
        match self {
            Self::Nanometre => positive(nm),
            Self::PerCentimetre => per_cm_of_nm(nm),
            Self::ElectronVolt => ev_of_nm(nm),
            Self::Other => None,
        }
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

fn positive(value: f64) -> Option<f64> {
    (value.is_finite() && value > 0.0).then_some(value)
}

/// Wavenumber in cm⁻¹ of a wavelength in nm (1 cm is 1e7 nm); `None` unless positive and finite.
pub fn per_cm_of_nm(nm: f64) -> Option<f64> {
    positive(nm).and_then(|nm| positive(1e7 / nm))
}

/// Wavelength in nm of a wavenumber in cm⁻¹; `None` unless positive and finite.
pub fn nm_of_per_cm(per_cm: f64) -> Option<f64> {
    per_cm_of_nm(per_cm)
}

/// Photon energy in eV of a wavelength in nm, E = h c / (e λ); `None` unless positive and finite.
pub fn ev_of_nm(nm: f64) -> Option<f64> {
    positive(nm).and_then(|nm| positive(HC_OVER_E_EV_NM / nm))
}

/// Wavelength in nm of a photon energy in eV; `None` unless positive and finite.
pub fn nm_of_ev(ev: f64) -> Option<f64> {
    ev_of_nm(ev)
}

/// Decadic absorbance of a transmittance given as a fraction, A = -lg T.
///
/// `None` for T that is zero, negative or not finite: such a reading has no absorbance. T above 1
/// gives a negative absorbance, which is legal data.
pub fn absorbance_of(transmittance: f64) -> Option<f64> {
    // `0.0 -` and not a leading minus: T = 1 is absorbance 0, not minus 0.
    positive(transmittance).map(|t| 0.0 - t.log10())
}

/// Transmittance as a fraction of a decadic absorbance, T = 10^-A; `None` where A is not finite or
/// T overflows.
pub fn transmittance_of(absorbance: f64) -> Option<f64> {
    let t = 10f64.powf(-absorbance);
    (absorbance.is_finite() && t.is_finite()).then_some(t)
}

/// What the y axis of a spectrum is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ordinate {
    /// Decadic absorbance.
    Absorbance,
    /// Transmittance as a fraction of 1.
    Transmittance,
    /// Transmittance in percent.
    PercentTransmittance,
    /// A derivative in x, of this order.
    Derivative(u8),
    /// Anything else: never converted.
    Other,
}

impl fmt::Display for Ordinate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Absorbance => f.write_str("absorbance"),
            Self::Transmittance => f.write_str("transmittance"),
            Self::PercentTransmittance => f.write_str("percent-transmittance"),
            Self::Derivative(n) => write!(f, "derivative {n}"),
            Self::Other => f.write_str("other"),
        }
    }
}

/// A curve whose axes have meanings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spectrum {
    /// The points.
    pub curve: Curve,
    /// What x is.
    pub axis: Axis,
    /// What y is.
    pub ordinate: Ordinate,
}

impl Spectrum {
    /// The spectrum on another optical axis, with notes on what was assumed.
    ///
    /// Points keep their order; on a reciprocal axis even steps become uneven.
    ///
    /// # Errors
    /// [`SpectrumRefusal::WrongAxis`] where either axis is not optical, [`SpectrumRefusal::WrongOrdinate`] for a
    /// derivative (it is per unit of the old axis), [`SpectrumRefusal::NotPositive`].
    pub fn to_axis(&self, axis: Axis) -> Result<(Self, Vec<LogNote>), SpectrumRefusal> {
        if let Some(other) = [self.axis, axis].into_iter().find(|a| *a == Axis::Other) {
            return Err(SpectrumRefusal::WrongAxis {
                found: other.to_string(),
                wanted: "nm, cm-1 or eV".into(),
            });
        }
        if axis == self.axis {
            return Ok((
                self.clone(),
                vec![LogNote::Said(format!(
                    "the axis is {axis} already; nothing was changed"
                ))],
            ));
        }
        if let Ordinate::Derivative(_) = self.ordinate {
            return Err(SpectrumRefusal::WrongOrdinate {
                found: self.ordinate.to_string(),
                wanted: "a spectrum that is not yet differentiated".into(),
            });
        }
        let x = self
            .curve
            .x()
            .iter()
            .map(|x| {
                self.axis.to_nm(*x).and_then(|nm| axis.of_nm(nm)).ok_or_else(|| {
                    SpectrumRefusal::NotPositive {
                        what: self.axis.to_string(),
                        found: *x,
                    }
                })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let curve = self.curve.with_x(x)?;
        let note = format!(
            "{} converted to {axis} as for light in vacuum (no refractive index of air applied)",
            self.axis
        );
        Ok((
            Self {
                curve,
                axis,
                ordinate: self.ordinate,
            },
            vec![LogNote::Said(note)],
        ))
    }

    /// The spectrum as absorbance, transmittance or percent transmittance, with notes.
    ///
    /// Points without an absorbance (T of 0 or below) are left out, and the note counts them.
    ///
    /// # Errors
    /// [`SpectrumRefusal::WrongOrdinate`] unless both ordinates are among those three;
    /// `too-few-points` where no point is left.
    pub fn to_ordinate(&self, ordinate: Ordinate) -> Result<(Self, Vec<LogNote>), SpectrumRefusal> {
        let fraction: fn(f64) -> Option<f64> = match self.ordinate {
            Ordinate::Absorbance => transmittance_of,
            Ordinate::Transmittance => Some,
            Ordinate::PercentTransmittance => |p| Some(p / 100.0),
            other => return Err(not_photometric(other)),
        };
        let target: fn(f64) -> Option<f64> = match ordinate {
            Ordinate::Absorbance => absorbance_of,
            Ordinate::Transmittance => Some,
            Ordinate::PercentTransmittance => |t| Some(t * 100.0),
            other => return Err(not_photometric(other)),
        };
        if ordinate == self.ordinate {
            return Ok((
                self.clone(),
                vec![LogNote::Said(format!(
                    "the ordinate is {ordinate} already; nothing was changed"
                ))],
            ));
        }
        let converted: Vec<Option<f64>> = self
            .curve
            .y()
            .iter()
            .map(|value| fraction(*value).and_then(target).filter(|v| v.is_finite()))
            .collect();
        let kept: Vec<usize> = (0..converted.len()).filter(|i| converted[*i].is_some()).collect();
        let left_out: Vec<f64> = self
            .curve
            .x()
            .iter()
            .zip(&converted)
            .filter(|(_, v)| v.is_none())
            .map(|(x, _)| *x)
            .collect();
        let curve = self
            .curve
            .pick(&kept)?
            .with_y(converted.into_iter().flatten().collect())?;
        let how = match (self.ordinate, ordinate) {
            (Ordinate::Transmittance, Ordinate::PercentTransmittance) => "percent T = 100 T",
            (Ordinate::PercentTransmittance, Ordinate::Transmittance) => "T = percent T / 100",
            (_, Ordinate::Absorbance) => "A = -lg T, decadic",
            _ => "T = 10^-A",
        };
        let mut notes = vec![LogNote::Said(how.to_owned())];
        if let (Some(first), Some(last)) = (left_out.first(), left_out.last()) {
            notes.push(LogNote::LeftOut(format!(
                "{} of {} points (x from {first} to {last}) have no {ordinate} and were left out",
                left_out.len(),
                self.curve.len()
            )));
        }
        Ok((
            Self {
                curve,
                axis: self.axis,
                ordinate,
            },
            notes,
        ))
    }
}

fn not_photometric(found: Ordinate) -> SpectrumRefusal {
    SpectrumRefusal::WrongOrdinate {
        found: found.to_string(),
        wanted: "absorbance, transmittance or percent-transmittance".into(),
    }
}
