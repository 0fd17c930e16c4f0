use super::{CheckItem, CheckLimits, CheckReport, Conditions, ResolutionStandard};
use crate::quantities::Measured;
use crate::refusal::Refusal;
use crate::spectra::{
    Apex, Axis, Extreme, Ordinate, Peak, PeakOptions, Spectrum, SpectrumRefusal, Threshold, Window,
    find_peaks, point_noise,
};

/// How far from its place an extreme is looked for, in nm: half the distance of the two extremes of
/// toluene.
const SEARCH_NM: f64 = 1.5;

/// The ratio of a maximum to the minimum beside it, both looked for near their places.
///
/// # Errors
/// [`SpectrumRefusal::WrongAxis`] unless the axis is nm, [`SpectrumRefusal::WrongOrdinate`] unless the
/// ordinate is absorbance. A spectrum that does not show both extremes is undetermined.
pub fn resolution(
    limits: &CheckLimits,
    standard: &ResolutionStandard,
    spectrum: &Spectrum,
    conditions: Conditions,
) -> Result<CheckReport, SpectrumRefusal> {
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
    let conditions = Conditions {
        interval_nm: Some(spectrum.curve.steps().1),
        ..conditions
    };
    let noise = point_noise(spectrum.curve.y()).ok();
    let search = |nm: f64, extreme: Extreme| -> Result<Measured, SpectrumRefusal> {
        let options = PeakOptions {
            extreme,
            min_prominence: Threshold::Absolute(5.0 * noise.unwrap_or(0.0)),
            within: Some(Window {
                from: nm - SEARCH_NM,
                to: nm + SEARCH_NM,
            }),
            noise,
            ceiling: conditions.ceiling,
            ..PeakOptions::default()
        };
        let table = find_peaks(&spectrum.curve, &options)?;
        let strongest = |a: &&Peak, b: &&Peak| a.prominence.total_cmp(&b.prominence);
        let peak = table.peaks.iter().max_by(strongest).ok_or_else(|| {
            SpectrumRefusal::from(Refusal::unsuitable(format!(
                "no extreme stands out of the noise within {SEARCH_NM} nm of {nm} nm"
            )))
        })?;
        Ok(match peak.apex {
            Apex::Refined {
                height, height_error, ..
            } => Measured {
                value: height,
                standard_error: height_error,
            },
            other => Measured::bare(other.height()),
        })
    };
    let found = search(standard.maximum_nm, Extreme::Maximum)
        .and_then(|max| Ok((max, search(standard.minimum_nm, Extreme::Minimum)?)));
    Ok(report(limits, standard, found, conditions))
}

/// The same from two readings, at the maximum and at the minimum.
pub fn resolution_of_readings(
    limits: &CheckLimits,
    standard: &ResolutionStandard,
    maximum: Measured,
    minimum: Measured,
    conditions: Conditions,
) -> CheckReport {
    report(limits, standard, Ok((maximum, minimum)), conditions)
}

fn report(
    limits: &CheckLimits,
    standard: &ResolutionStandard,
    found: Result<(Measured, Measured), SpectrumRefusal>,
    conditions: Conditions,
) -> CheckReport {
    let mut outcome = CheckItem::new(
        format!("ratio A({})/A({})", standard.maximum_nm, standard.minimum_nm),
        "1",
        &standard.source,
        standard.from_memory,
    )
    .limits(None, Some(standard.ratio_min), None);
    if conditions.bandwidth_nm.is_none() {
        outcome
            .remarks
            .push("no spectral bandwidth was stated; the ratio depends on it".into());
    }
    let outcome = match found {
        Err(refusal) => outcome.undetermined("no-band-found", refusal.to_string()),
        Ok((_, min)) if !(min.value.is_finite() && min.value > 0.0) => outcome.undetermined(
            "not-positive",
            format!(
                "the absorbance at the minimum is {}: there is no ratio",
                min.value
            ),
        ),
        Ok((max, min)) => {
            let ratio = max.value / min.value;
            let uncertainty = match (max.standard_error, min.standard_error) {
                (Some(a), Some(b)) => Some(a.hypot(ratio * b) / min.value),
                _ => None,
            };
            outcome.decide(ratio, uncertainty)
        }
    };
    let named = (
        standard.id.as_str(),
        standard.standard.as_str(),
        Some(standard.solution.as_str()),
    );
    CheckReport::new(limits, "resolution", named, conditions, vec![outcome])
}
