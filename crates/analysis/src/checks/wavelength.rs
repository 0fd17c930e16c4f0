use super::{CheckItem, CheckLimits, CheckReport, Conditions, WavelengthStandard};
use crate::spectra::{
    Apex, AreaBaseline, Axis, Extreme, Ordinate, Peak, PeakOptions, Refinement, Spectrum, SpectrumRefusal,
    Threshold, WidthLevel, Window, find_peaks, point_noise,
};

/// How far from its expected place a band is looked for, in nm, unless the next band is nearer than
/// twice that. Our choice: wider than any tolerance, narrower than the distance of holmium bands.
const SEARCH_NM: f64 = 4.0;

/// Finds each band of a standard near its place and compares the positions.
///
/// The extreme is found between the points by the parabola through three of them: the nearest recorded
/// point alone would be off by up to half an interval. Absorbance and emission spectra are searched for
/// maxima, transmittance spectra for minima.
///
/// The uncertainty joins the noise of the points (through the parabola) and that of the standard.
///
/// # Errors
/// [`SpectrumRefusal::WrongAxis`] unless the axis is nm, [`SpectrumRefusal::WrongOrdinate`] for a
/// derivative. Whatever concerns a single band makes that item undetermined instead.
pub fn wavelength(
    limits: &CheckLimits,
    standard: &WavelengthStandard,
    spectrum: &Spectrum,
    conditions: Conditions,
) -> Result<CheckReport, SpectrumRefusal> {
    if spectrum.axis != Axis::Nanometre {
        return Err(SpectrumRefusal::WrongAxis {
            found: spectrum.axis.to_string(),
            wanted: "nm".into(),
        });
    }
    let extreme = match spectrum.ordinate {
        Ordinate::Absorbance | Ordinate::Other => Extreme::Maximum,
        Ordinate::Transmittance | Ordinate::PercentTransmittance => Extreme::Minimum,
        Ordinate::Derivative(_) => {
            return Err(SpectrumRefusal::WrongOrdinate {
                found: spectrum.ordinate.to_string(),
                wanted: "absorbance, transmittance or intensity".into(),
            });
        }
    };
    let conditions = Conditions {
        interval_nm: Some(spectrum.curve.steps().1),
        ..conditions
    };
    let outcomes = standard
        .bands
        .nm
        .iter()
        .map(|nm| band(standard, *nm, spectrum, extreme, conditions))
        .collect();
    let named = (
        standard.id.as_str(),
        standard.standard.as_str(),
        Some(standard.solution.as_str()),
    );
    Ok(CheckReport::new(
        limits,
        "wavelength",
        named,
        conditions,
        outcomes,
    ))
}

fn band(
    standard: &WavelengthStandard,
    nm: f64,
    spectrum: &Spectrum,
    extreme: Extreme,
    conditions: Conditions,
) -> CheckItem {
    let tolerance = standard
        .tolerance
        .iter()
        .find(|t| nm >= t.from_nm && nm < t.to_nm);
    let mut source = standard.bands.source.clone();
    let mut from_memory = standard.bands.from_memory;
    if let Some(t) = tolerance {
        from_memory |= t.from_memory;
        if t.source != source {
            source = format!("{source}; tolerance: {}", t.source);
        }
    }
    let mut outcome = CheckItem::new(format!("band at {nm} nm"), "nm", &source, from_memory).limits(
        Some(nm),
        tolerance.map(|t| nm - t.nm),
        tolerance.map(|t| nm + t.nm),
    );
    let nearest = standard
        .bands
        .nm
        .iter()
        .map(|other| (other - nm).abs())
        .filter(|d| *d > 0.0)
        .fold(f64::INFINITY, f64::min);
    let search = SEARCH_NM.min(nearest / 2.0);
    let curve = &spectrum.curve;
    let (lowest, highest) = curve.range();
    if nm - search < lowest || nm + search > highest {
        if (lowest..=highest).contains(&nm) {
            // Within what was measured: it is asked for, and not decided.
            return outcome.undetermined(
                "too-near-the-end",
                format!(
                    "the spectrum ({lowest} to {highest} nm) ends too near: the band is looked for within {nm} ± {search} nm; measure \
                     farther"
                ),
            );
        }
        return outcome.undetermined(
            "not-in-range",
            format!("the spectrum ({lowest} to {highest} nm) does not cover {nm} ± {search} nm"),
        );
    }
    match bandwidth_in_doubt(standard, conditions) {
        Some((code, why)) => return outcome.undetermined(code, why),
        None if conditions.bandwidth_nm.is_none() => {
            outcome
                .remarks
                .push("no spectral bandwidth was stated; band positions move with it".into());
        }
        None => {}
    }
    // Only the neighbourhood of the band counts, so that its noise and interval are its own.
    let around = Window {
        from: nm - search,
        to: nm + search,
    };
    let places: Vec<f64> = curve
        .x()
        .iter()
        .copied()
        .filter(|x| *x >= around.from && *x <= around.to)
        .collect();
    let interval = places.windows(2).map(|p| (p[1] - p[0]).abs()).fold(0.0, f64::max);
    let too_coarse = tolerance.map_or(search / 2.0, |t| t.nm);
    if places.len() < 3 || interval > too_coarse + 1e-9 {
        return outcome.undetermined(
            "interval-too-coarse",
            format!("points {interval} nm apart cannot show a band to {too_coarse} nm"),
        );
    }
    let noise = point_noise(curve.y()).ok();
    let options = PeakOptions {
        extreme,
        min_prominence: Threshold::Absolute(5.0 * noise.unwrap_or(0.0)),
        within: Some(around),
        refinement: Refinement::ThreePoints,
        width: WidthLevel::HalfProminence,
        area: AreaBaseline::Chord,
        noise,
        ceiling: conditions.ceiling,
    };
    let table = match find_peaks(curve, &options) {
        Ok(table) => table,
        Err(refusal) => return outcome.undetermined(refusal.code(), refusal.to_string()),
    };
    if table
        .saturated
        .iter()
        .any(|s| s.from <= around.to && s.to >= around.from)
    {
        return outcome.undetermined("saturated", "part of the band lies above the trusted range");
    }
    by_strongest(standard, nm, search, table.peaks, outcome)
}

/// Decides by the strongest extreme in the neighbourhood of a band.
fn by_strongest(
    standard: &WavelengthStandard,
    nm: f64,
    search: f64,
    mut peaks: Vec<Peak>,
    outcome: CheckItem,
) -> CheckItem {
    peaks.sort_by(|a, b| b.prominence.total_cmp(&a.prominence));
    let Some(strongest) = peaks.first() else {
        return outcome.undetermined(
            "no-band-found",
            format!("no extreme stands out of the noise within {search} nm of {nm} nm"),
        );
    };
    if let Some(second) = peaks.get(1)
        && second.prominence > 0.5 * strongest.prominence
    {
        return outcome.undetermined(
            "two-bands",
            format!(
                "two extremes are about equally strong, at {} and {} nm: noise, or not this standard",
                strongest.apex.x(),
                second.apex.x()
            ),
        );
    }
    match strongest.apex {
        Apex::Refined { x, x_error, .. } => {
            let own = standard.band_uncertainty.as_ref().map(|u| u.nm / 2.0);
            let uncertainty = match (x_error, own) {
                (Some(a), Some(b)) => Some(a.hypot(b)),
                (a, b) => a.or(b),
            };
            outcome.decide(x, uncertainty)
        }
        Apex::Flat { from, to, .. } => outcome.undetermined(
            "flat-top",
            format!("the top is flat from {from} to {to} nm: clipped, or rounded too far"),
        ),
        Apex::Sampled { x, .. } => {
            outcome.undetermined("not-refined", format!("no parabola fits the extreme at {x} nm"))
        }
    }
}

/// Why the positions of a standard do not hold at the bandwidth that was measured with.
fn bandwidth_in_doubt(
    standard: &WavelengthStandard,
    conditions: Conditions,
) -> Option<(&'static str, String)> {
    let wanted = standard.bandwidth.as_ref()?;
    match conditions.bandwidth_nm {
        None => Some((
            "bandwidth-unknown",
            format!(
                "these positions hold for a spectral bandwidth of {} to {} nm, and none was stated",
                wanted.from_nm, wanted.to_nm
            ),
        )),
        Some(found) if !(found >= wanted.from_nm && found <= wanted.to_nm) => Some((
            "bandwidth-differs",
            format!(
                "these positions hold for a spectral bandwidth of {} to {} nm, measured was with {found} nm",
                wanted.from_nm, wanted.to_nm
            ),
        )),
        Some(_) => None,
    }
}
