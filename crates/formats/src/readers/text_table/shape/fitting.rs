//! Which quantities and units the numbers of a column may be of, so that no choice is offered that cannot be right.

use super::*;
use crate::light;

/// Whether numbers may be of a quantity in a unit. Lenient: only what cannot be is left out.
pub(super) fn fits_values(quantity: &Quantity, unit: &Unit, stats: &Stats) -> bool {
    let Stats { min, max, count, .. } = *stats;
    if count == 0 {
        return false;
    }
    let within = |low: f64, high: f64| min >= low && max <= high;
    match (quantity.as_str(), unit.code()) {
        ("wavelength", "nm") => within(*light::POSSIBLE.start(), *light::POSSIBLE.end()),
        ("wavelength", "um") => within(0.1, 30.0),
        ("wavelength", "Ao") => within(1000.0, 50_000.0),
        // From the infrared (100 µm) to the vacuum ultraviolet (100 nm).
        ("wavenumber", _) => within(100.0, 100_000.0),
        ("energy", "eV") => within(0.1, 15.0),
        // Times do not run backwards.
        ("time", _) => min >= 0.0 && !stats.falling,
        ("concentration", _) => min >= 0.0,
        ("temperature", "Cel") => within(-100.0, 400.0),
        ("temperature", "K") => within(50.0, 700.0),
        // No detector tells more than ten; noise is not far below zero.
        ("absorbance", "{AU}") => within(-2.0, 10.0),
        // Ten thousand of them are ten.
        ("absorbance", "10*-3.{AU}" | "10*-3") => within(-2000.0, 10_000.0) && max > 10.0,
        ("transmittance" | "reflectance", "%") => within(-10.0, 150.0) && max > 1.5,
        ("transmittance" | "reflectance", "1") => within(-0.1, 1.3),
        _ => true,
    }
}

/// The quantities that photometers measure, in the units they are written in, the most usual first.
pub(super) fn of_light() -> [(Quantity, Unit); 4] {
    [
        (Quantity::ABSORBANCE, Unit::ABSORBANCE),
        (Quantity::TRANSMITTANCE, Unit::PERCENT),
        (Quantity::TRANSMITTANCE, Unit::ONE),
        (Quantity::ABSORBANCE, Unit::MILLIABSORBANCE),
    ]
}

/// A choice of an answer, with what it says.
pub(super) struct Offer {
    pub(super) quantity: Quantity,
    pub(super) unit: Unit,
    pub(super) says: &'static str,
}

/// What a column may be that runs, in no order.
pub(super) fn axes() -> Vec<Offer> {
    let offer = |quantity, unit, says| Offer { quantity, unit, says };
    let minute = Unit::MINUTE;
    vec![
        offer(Quantity::WAVELENGTH, Unit::NANOMETRE, "wavelengths in nanometres"),
        offer(
            Quantity::WAVENUMBER,
            Unit::PER_CENTIMETRE,
            "wavenumbers in reciprocal centimetres",
        ),
        offer(Quantity::TIME, Unit::SECOND, "times in seconds"),
        offer(Quantity::TIME, minute, "times in minutes"),
    ]
}

/// What was measured, in no order.
pub(super) fn measured() -> Vec<Offer> {
    let says = [
        "absorbance",
        "transmittance in percent",
        "transmittance as a fraction",
        "absorbance in thousandths",
    ];
    of_light()
        .into_iter()
        .zip(says)
        .map(|((quantity, unit), says)| Offer { quantity, unit, says })
        .collect()
}

/// What was measured of light that came back.
pub(super) fn reflected() -> Vec<Offer> {
    let (quantity, says) = (Quantity::REFLECTANCE, "reflectance in percent");
    vec![Offer {
        quantity,
        unit: Unit::PERCENT,
        says,
    }]
}
