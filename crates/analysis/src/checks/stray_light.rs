use super::{BandReading, CheckItem, CheckLimits, CheckReport, Conditions, StrayLightStandard};

/// Compares the absorbance of a filter solution with what it must reach.
///
/// Such a solution lets no light of the wavelength through; what arrives is stray light. Its part of
/// all light is at most 10^-A. Unlike elsewhere a reading above the trusted range is good news, so no
/// ceiling applies.
pub fn stray_light(
    limits: &CheckLimits,
    standard: &StrayLightStandard,
    readings: &[BandReading],
    conditions: Conditions,
) -> CheckReport {
    let outcomes = standard
        .nm
        .iter()
        .map(|nm| {
            let mut outcome = CheckItem::new(
                format!("stray light at {nm} nm"),
                "{AU}",
                &standard.source,
                standard.from_memory,
            )
            .limits(None, Some(standard.absorbance_min), None);
            let Some(reading) = readings.iter().find(|r| r.nm == *nm) else {
                return outcome.undetermined("not-in-range", format!("no reading at {nm} nm"));
            };
            let value = reading.absorbance.value;
            if reading.interpolated {
                outcome
                    .remarks
                    .push("interpolated linearly between the recorded points".into());
            }
            if value.is_finite() {
                outcome.remarks.push(format!(
                    "stray light is at most {:.4} % of the light at this wavelength",
                    100.0 * 10f64.powf(-value)
                ));
            }
            outcome.decide(value, reading.absorbance.standard_error)
        })
        .collect();
    let named = (
        standard.id.as_str(),
        standard.standard.as_str(),
        Some(standard.solution.as_str()),
    );
    CheckReport::new(limits, "stray-light", named, conditions, outcomes)
}
