use serde::{Deserialize, Serialize};

use super::{
    AbsorbanceStandard, CertifiedFilter, CheckItem, CheckLimits, CheckReport, Conditions, ReferenceTable,
    TemperatureRange,
};
use crate::quantities::Measured;
use crate::refusal::Refusal;
use crate::spectra::{Axis, Ordinate, Spectrum, SpectrumRefusal, value_at};

/// An absorbance read at a wavelength.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BandReading {
    /// Wavelength in nm.
    pub nm: f64,
    /// Absorbance, blank taken off.
    pub absorbance: Measured,
    /// Whether it was interpolated between recorded points.
    pub interpolated: bool,
}

/// How far apart two recorded points may lie, in nm, for a reading on the line between them. Our choice: at the top of a
/// band 40 nm wide at half its height, which is about what dichromate shows, a line over 2 nm lies at most
/// 2²/8 · 8 ln 2/40² = 0.17 % too low.
const BETWEEN_NM: f64 = 2.0;

/// Reads absorbances off a spectrum; wavelengths outside its range, or between points more than 2 nm apart, are left out of
/// the list.
///
/// # Errors
/// [`SpectrumRefusal::WrongAxis`] unless the axis is nm, [`SpectrumRefusal::WrongOrdinate`] unless the
/// ordinate is absorbance.
pub fn read_bands(spectrum: &Spectrum, nm: &[f64]) -> Result<Vec<BandReading>, SpectrumRefusal> {
    if spectrum.axis != Axis::Nanometre {
        return Err(SpectrumRefusal::WrongAxis {
            found: spectrum.axis.to_string(),
            wanted: "nm".into(),
        });
    }
    if spectrum.ordinate != Ordinate::Absorbance {
        return Err(SpectrumRefusal::WrongOrdinate {
            found: spectrum.ordinate.to_string(),
            wanted: "absorbance".into(),
        });
    }
    let x = spectrum.curve.x();
    let near = |nm: f64| {
        let distance = |side: fn(&f64, &f64) -> bool| {
            let on_side = x.iter().filter(|x| side(x, &nm)).map(|x| (x - nm).abs());
            on_side.fold(f64::INFINITY, f64::min)
        };
        distance(f64::le) + distance(f64::ge) <= BETWEEN_NM * (1.0 + 1e-9)
    };
    Ok(nm
        .iter()
        .filter(|nm| near(**nm))
        .filter_map(|nm| value_at(&spectrum.curve, *nm).ok().map(|found| (*nm, found)))
        .map(|(nm, (value, recorded))| BandReading {
            nm,
            absorbance: Measured::bare(value),
            interpolated: !recorded,
        })
        .collect())
}

/// Compares specific absorbances A(1 %, 1 cm) = A·10000/(c·l), c in mg/L and l in cm, with a standard.
///
/// # Errors
/// `out-of-range` for a concentration or path that is not positive.
pub fn absorbance_dichromate(
    limits: &CheckLimits,
    standard: &AbsorbanceStandard,
    readings: &[BandReading],
    mg_per_l: Measured,
    path_cm: f64,
    conditions: Conditions,
) -> Result<CheckReport, Refusal> {
    positive("the concentration", mg_per_l.value)?;
    positive("the path length", path_cm)?;
    let outcomes = standard
        .bands
        .iter()
        .map(|band| {
            let mut outcome = CheckItem::new(
                format!("specific absorbance at {} nm", band.nm),
                "dL/g/cm",
                &standard.source,
                standard.from_memory,
            )
            .limits(Some(band.value), Some(band.low), Some(band.high));
            let Some(reading) = readings.iter().find(|r| r.nm == band.nm) else {
                return outcome.undetermined("not-in-range", format!("no reading at {} nm", band.nm));
            };
            if mg_per_l.value < band.from_mg_per_l || mg_per_l.value > band.to_mg_per_l {
                return outcome.undetermined(
                    "concentration-outside",
                    format!(
                        "{} mg/L lies outside {} to {} mg/L, for which the limits at {} nm hold",
                        mg_per_l.value, band.from_mg_per_l, band.to_mg_per_l, band.nm
                    ),
                );
            }
            if let Some(open) = unusable(reading, conditions) {
                return outcome.undetermined(open.0, open.1);
            }
            note_interpolation(&mut outcome, reading);
            note_temperature(&mut outcome, standard.temperature.as_ref(), conditions);
            let factor = 1e4 / (mg_per_l.value * path_cm);
            let value = reading.absorbance.value * factor;
            let uncertainty = reading.absorbance.standard_error.map(|u| {
                let weighing = mg_per_l.standard_error.unwrap_or(0.0) / mg_per_l.value * value;
                (u * factor).hypot(weighing)
            });
            outcome.decide(value, uncertainty)
        })
        .collect();
    let named = (
        standard.id.as_str(),
        standard.standard.as_str(),
        Some(standard.solution.as_str()),
    );
    Ok(CheckReport::new(
        limits,
        "absorbance",
        named,
        conditions,
        outcomes,
    ))
}

/// A certified absorbance, from a certificate or a reference table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CertifiedBand {
    /// Wavelength in nm.
    pub nm: f64,
    /// Certified absorbance and its standard uncertainty.
    pub absorbance: Measured,
    /// Largest spectral bandwidth for which it holds, in nm.
    pub bandwidth_max_nm: Option<f64>,
}

/// The absorbances that a reference table gives for a concentration: A = a(c)·c·l, with a(c) linear
/// between the rows and c in g/kg.
///
/// # Errors
/// `out-of-range` for a concentration outside the rows, where nothing is extrapolated, and for a path
/// that is not positive.
pub fn certified_from_table(
    table: &ReferenceTable,
    g_per_kg: f64,
    path_cm: f64,
) -> Result<Vec<CertifiedBand>, Refusal> {
    positive("the path length", path_cm)?;
    let outside = || Refusal::OutOfRange {
        what: "the concentration in g/kg".into(),
        value: g_per_kg,
        allowed: match (table.rows.first(), table.rows.last()) {
            (Some(first), Some(last)) => format!("{} to {}, as in the table", first.g_per_kg, last.g_per_kg),
            _ => "as in the table".into(),
        },
    };
    let upper = table
        .rows
        .iter()
        .position(|r| r.g_per_kg >= g_per_kg)
        .ok_or_else(outside)?;
    let (a, b) = (&table.rows[upper.saturating_sub(1)], &table.rows[upper]);
    if g_per_kg < a.g_per_kg || !g_per_kg.is_finite() {
        return Err(outside());
    }
    let part = if upper == 0 {
        0.0
    } else {
        (g_per_kg - a.g_per_kg) / (b.g_per_kg - a.g_per_kg)
    };
    Ok((0..table.nm.len())
        .map(|i| {
            let specific = a.values[i] + part * (b.values[i] - a.values[i]);
            let factor = g_per_kg * path_cm;
            CertifiedBand {
                nm: table.nm[i],
                absorbance: Measured::with_error(specific * factor, table.uncertainty[i] / 2.0 * factor),
                bandwidth_max_nm: Some(table.bandwidth_max_nm[i]),
            }
        })
        .collect())
}

/// The absorbances of a filter's certificate.
pub fn certified_of_filter(filter: &CertifiedFilter) -> Vec<CertifiedBand> {
    filter
        .bands
        .iter()
        .map(|band| CertifiedBand {
            nm: band.nm,
            absorbance: Measured::with_error(band.absorbance, band.uncertainty / 2.0),
            bandwidth_max_nm: band.bandwidth_max_nm,
        })
        .collect()
}

/// Where certified absorbances come from.
#[derive(Debug, Clone, Copy)]
pub struct Certificate<'a> {
    /// The id of the standard.
    pub id: &'a str,
    /// What it is.
    pub standard: &'a str,
    /// The id of its solution, where it is one.
    pub solution: Option<&'a str>,
    /// The certificate or table.
    pub source: &'a str,
    /// Whether the values were written down from memory.
    pub from_memory: bool,
    /// The temperatures for which they hold.
    pub temperature: Option<&'a TemperatureRange>,
}

impl<'a> From<&'a ReferenceTable> for Certificate<'a> {
    fn from(table: &'a ReferenceTable) -> Self {
        Self {
            id: &table.id,
            standard: &table.standard,
            solution: Some(&table.solution),
            source: &table.source,
            from_memory: table.from_memory,
            temperature: table.temperature.as_ref(),
        }
    }
}

impl<'a> From<&'a CertifiedFilter> for Certificate<'a> {
    fn from(filter: &'a CertifiedFilter) -> Self {
        Self {
            id: &filter.id,
            standard: &filter.standard,
            solution: filter.solution.as_deref(),
            source: &filter.source,
            from_memory: filter.from_memory,
            temperature: None,
        }
    }
}

/// Compares readings with certified absorbances by the tolerance of the limits file.
///
/// Where the uncertainty of a reading is known, that of the certificate joins it; else it is told beside.
///
/// # Errors
/// `unsuitable` where the limits file has no tolerance for certified values.
pub fn absorbance_certified(
    limits: &CheckLimits,
    certificate: &Certificate<'_>,
    certified: &[CertifiedBand],
    readings: &[BandReading],
    conditions: Conditions,
) -> Result<CheckReport, Refusal> {
    let tolerance = limits
        .certified_tolerance
        .as_ref()
        .ok_or_else(|| Refusal::Unsuitable {
            why: "the limits file has no [certified_tolerance]".into(),
        })?;
    let outcomes = certified
        .iter()
        .map(|band| {
            let expected = band.absorbance.value;
            let allowed = if expected.abs() <= tolerance.up_to {
                tolerance.absolute
            } else {
                tolerance.relative * expected.abs()
            };
            let mut outcome = CheckItem::new(
                format!("absorbance at {} nm", band.nm),
                "{AU}",
                &format!("{}; tolerance: {}", certificate.source, tolerance.source),
                certificate.from_memory || tolerance.from_memory,
            )
            .limits(Some(expected), Some(expected - allowed), Some(expected + allowed));
            let Some(reading) = readings.iter().find(|r| r.nm == band.nm) else {
                return outcome.undetermined("not-in-range", format!("no reading at {} nm", band.nm));
            };
            match (band.bandwidth_max_nm, conditions.bandwidth_nm) {
                (Some(max), Some(found)) if found > max => {
                    return outcome.undetermined(
                        "bandwidth-differs",
                        format!(
                            "the certified value holds up to {max} nm bandwidth, measured was with {found} nm"
                        ),
                    );
                }
                (Some(max), None) => outcome.remarks.push(format!(
                    "no spectral bandwidth was stated; the value holds up to {max} nm"
                )),
                _ => {}
            }
            if let Some(open) = unusable(reading, conditions) {
                return outcome.undetermined(open.0, open.1);
            }
            note_interpolation(&mut outcome, reading);
            note_temperature(&mut outcome, certificate.temperature, conditions);
            let own = band.absorbance.standard_error;
            let uncertainty = reading
                .absorbance
                .standard_error
                .map(|u| u.hypot(own.unwrap_or(0.0)));
            if let (None, Some(own)) = (uncertainty, own) {
                outcome.remarks.push(format!(
                    "the certified value itself is uncertain by {:.2e} (two standard uncertainties)",
                    2.0 * own
                ));
            }
            outcome.decide(reading.absorbance.value, uncertainty)
        })
        .collect();
    let named = (certificate.id, certificate.standard, certificate.solution);
    Ok(CheckReport::new(
        limits,
        "absorbance",
        named,
        conditions,
        outcomes,
    ))
}

fn unusable(reading: &BandReading, conditions: Conditions) -> Option<(&'static str, String)> {
    let value = reading.absorbance.value;
    if !value.is_finite() {
        return Some((
            "not-finite",
            format!("the reading at {} nm is not a finite number", reading.nm),
        ));
    }
    match conditions.ceiling {
        Some(limit) if value > limit => Some((
            "saturated",
            format!("{value} lies above {limit}, the end of the trusted range"),
        )),
        _ => None,
    }
}

fn note_temperature(outcome: &mut CheckItem, wanted: Option<&TemperatureRange>, conditions: Conditions) {
    let Some(wanted) = wanted else { return };
    let words = match conditions.temperature_celsius {
        None => "no temperature was stated".to_owned(),
        Some(t) if t >= wanted.from_celsius && t <= wanted.to_celsius => return,
        Some(t) => format!("measured at {t} degrees Celsius"),
    };
    outcome.remarks.push(format!(
        "{words}; the values hold for {} to {} ({})",
        wanted.from_celsius, wanted.to_celsius, wanted.source
    ));
}

fn note_interpolation(outcome: &mut CheckItem, reading: &BandReading) {
    if reading.interpolated {
        outcome
            .remarks
            .push("interpolated linearly between the recorded points".into());
    }
}

fn positive(what: &str, value: f64) -> Result<(), Refusal> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(Refusal::OutOfRange {
        what: what.into(),
        value,
        allowed: "a finite number above zero".into(),
    })
}
