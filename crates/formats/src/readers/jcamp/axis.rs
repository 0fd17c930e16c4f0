//! What the unit texts of JCAMP-DX mean, and back.

use curvary_jcamp_dx::normalise_label;
use curvary_record::unit::spelled;
use curvary_record::{Quantity, Unit};

/// What a unit text says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Meaning {
    /// This quantity in this unit.
    Sure(Quantity, Unit),
    /// This quantity, as a fraction or in percent: the values tell.
    Share(Quantity),
    /// A quantity that only its own name tells.
    Own(Quantity, Unit),
    /// An axis of another kind of measurement.
    Foreign,
    /// Nothing that is known.
    Unknown,
}

/// What XUNITS, or the units of a page variable, say. The texts of the standard come first, then what real files have.
pub(crate) fn abscissa(text: &str) -> Meaning {
    let sure = |quantity: Quantity, code: &str| match Unit::ucum(code) {
        Ok(unit) => Meaning::Sure(quantity, unit),
        Err(_) => Meaning::Unknown,
    };
    let squeezed = normalise_label(text);
    match squeezed.as_str() {
        "NANOMETERS" | "NANOMETRES" | "NANOMETER" | "NANOMETRE" | "NM" | "WAVELENGTHNM" => {
            sure(Quantity::WAVELENGTH, "nm")
        }
        "MICROMETERS" | "MICROMETRES" | "MICROMETER" | "MICRONS" | "MICRON" | "UM" => {
            sure(Quantity::WAVELENGTH, "um")
        }
        "1CM" | "CM1" | "CM^1" | "WAVENUMBERS" | "RECIPROCALCENTIMETERS" | "INVERSECENTIMETERS" => {
            sure(Quantity::WAVENUMBER, "/cm")
        }
        "ELECTRONVOLTS" | "ELECTRONVOLT" | "EV" => sure(Quantity::ENERGY, "eV"),
        "SECONDS" | "SECOND" | "SECS" | "SEC" | "S" => sure(Quantity::TIME, "s"),
        "MILLISECONDS" | "MSEC" | "MS" => sure(Quantity::TIME, "ms"),
        "MICROSECONDS" | "USEC" | "US" => sure(Quantity::TIME, "us"),
        "NANOSECONDS" | "NSEC" | "NS" => sure(Quantity::TIME, "ns"),
        "MINUTES" | "MINUTE" | "MINS" | "MIN" => sure(Quantity::TIME, "min"),
        "HOURS" | "HOUR" | "HRS" | "H" => sure(Quantity::TIME, "h"),
        "HZ" | "HERTZ" | "KHZ" | "MHZ" | "PPM" | "MZ" | "M/Z" | "GAUSS" | "TESLA" | "MT" | "G" | "2THETA"
        | "VOLTS" | "V" | "MV" | "ATOMICMASSUNITS" | "AMU" => Meaning::Foreign,
        _ => name_and_unit(text),
    }
}

/// What YUNITS say.
pub(crate) fn ordinate(text: &str) -> Meaning {
    let squeezed = normalise_label(text);
    match squeezed.as_str() {
        "ABSORBANCE" | "ABSORBANCEUNITS" | "ABSORBANCEUNIT" | "ABSORPTION" | "ABS" | "ABS." | "A" | "AU"
        | "OD" | "OPTICALDENSITY" | "EXTINCTION" | "ABSORBANCE(AU)" | "ABSORBANCE(A.U.)"
        | "ABSORBANCE(A)" => Meaning::Sure(Quantity::ABSORBANCE, Unit::ABSORBANCE),
        "TRANSMITTANCE" | "TRANSMISSION" => Meaning::Share(Quantity::TRANSMITTANCE),
        "REFLECTANCE" | "REFLECTION" => Meaning::Share(Quantity::REFLECTANCE),
        "%TRANSMITTANCE"
        | "%TRANSMISSION"
        | "%T"
        | "T%"
        | "PERCENTTRANSMITTANCE"
        | "PERCENTTRANSMISSION"
        | "TRANSMITTANCE%"
        | "TRANSMITTANCE(%)"
        | "TRANSMISSION(%)" => Meaning::Sure(Quantity::TRANSMITTANCE, Unit::PERCENT),
        "%REFLECTANCE" | "%R" | "PERCENTREFLECTANCE" | "REFLECTANCE%" | "REFLECTANCE(%)" => {
            Meaning::Sure(Quantity::REFLECTANCE, Unit::PERCENT)
        }
        "KUBELKAMUNK" => Meaning::Sure(Quantity::named("kubelka-munk"), Unit::ONE),
        "ARBITRARYUNITS" | "ARBITRARY" | "ARB.UNITS" | "ARBUNITS" | "COUNTS" | "INTENSITY"
        | "RELATIVEABUNDANCE" => Meaning::Sure(Quantity::named("signal"), Unit::ONE),
        "" | "A.U." | "UNKNOWN" => Meaning::Unknown,
        _ => match name_and_unit(text) {
            Meaning::Unknown => Meaning::Own(Quantity::named(own_name(text)), Unit::ONE),
            known => known,
        },
    }
}

/// `Wavelength (nm)`, `TEMPERATURE (Cel)`, `TIME / s`: a name and its unit.
fn name_and_unit(text: &str) -> Meaning {
    let text = text.trim();
    let pair = match text.strip_suffix([')', ']']) {
        Some(inner) => inner.rsplit_once(['(', '[']),
        None => text.rsplit_once(" / ").or_else(|| text.rsplit_once(" in ")),
    };
    let Some((name, unit)) = pair else {
        return Meaning::Unknown;
    };
    let name = own_name(name);
    let unit = unit.trim();
    let usual = match name.as_str() {
        "wavelength" => Unit::ucum("nm"),
        "wavenumber" => Unit::ucum("/cm"),
        "energy" => Unit::ucum("eV"),
        "time" => Unit::ucum("s"),
        "temperature" => Unit::ucum("Cel"),
        _ => Unit::ucum("1"),
    };
    let spelling = spelled(unit);
    let fitting = usual.ok().and_then(|usual| spelling.like(&usual).cloned());
    match fitting
        .or_else(|| spelling.one().cloned())
        .or_else(|| Unit::ucum(unit).ok())
    {
        Some(unit) if !name.is_empty() => Meaning::Sure(Quantity::named(name), unit),
        _ => Meaning::Unknown,
    }
}

/// A name in lower case with hyphens.
fn own_name(text: &str) -> String {
    text.to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join("-")
}

/// The text to write for an axis; the standard's own where it has one.
pub(crate) fn written(quantity: &Quantity, unit: &Unit) -> String {
    let pure = matches!(unit.code(), "1" | "{AU}");
    let text = match (quantity.as_str(), unit.code()) {
        ("wavelength", "nm") => "NANOMETERS",
        ("wavelength", "um") => "MICROMETERS",
        ("wavenumber", "/cm") => "1/CM",
        ("time", "s") => "SECONDS",
        ("time", "ms") => "MILLISECONDS",
        ("time", "us") => "MICROSECONDS",
        ("time", "ns") => "NANOSECONDS",
        ("time", "min") => "MINUTES",
        ("time", "h") => "HOURS",
        ("energy", "eV") => "ELECTRONVOLTS",
        ("absorbance", _) if pure => "ABSORBANCE",
        ("transmittance", _) if pure => "TRANSMITTANCE",
        ("transmittance", "%") => "% TRANSMITTANCE",
        ("reflectance", _) if pure => "REFLECTANCE",
        ("reflectance", "%") => "% REFLECTANCE",
        ("kubelka-munk", _) if pure => "KUBELKA-MUNK",
        ("signal", _) if pure => "ARBITRARY UNITS",
        (name, code) => return format!("{} ({code})", name.to_uppercase().replace('-', " ")),
    };
    text.to_owned()
}

/// Whether the standard (4.24, or 5.01 for parts of a second) names this unit text.
pub(crate) fn is_of_standard(text: &str) -> bool {
    matches!(
        text,
        "NANOMETERS"
            | "MICROMETERS"
            | "1/CM"
            | "SECONDS"
            | "MILLISECONDS"
            | "MICROSECONDS"
            | "NANOSECONDS"
            | "ABSORBANCE"
            | "TRANSMITTANCE"
            | "REFLECTANCE"
            | "KUBELKA-MUNK"
            | "ARBITRARY UNITS"
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// XUNITS and YUNITS of JCAMP-DX 4.24, and spellings that real files have (common practice).
    #[test]
    fn units_of_the_standard_and_of_real_files() {
        let sure = |quantity, code: &str| Meaning::Sure(quantity, Unit::ucum(code).unwrap());
        for text in ["NANOMETERS", "nm", "Wavelength (nm)", "WAVELENGTH / nm"] {
            assert_eq!(abscissa(text), sure(Quantity::WAVELENGTH, "nm"), "{text}");
        }
        for text in ["1/CM", "cm-1", "Wavenumber (cm-1)"] {
            assert_eq!(abscissa(text), sure(Quantity::WAVENUMBER, "/cm"), "{text}");
        }
        assert_eq!(abscissa("SECONDS"), sure(Quantity::TIME, "s"));
        assert_eq!(abscissa("Time (min)"), sure(Quantity::TIME, "min"));
        assert_eq!(abscissa("HZ"), Meaning::Foreign);
        assert_eq!(abscissa(""), Meaning::Unknown);
        for text in ["ABSORBANCE", "Abs", "AU"] {
            assert_eq!(ordinate(text), sure(Quantity::ABSORBANCE, "{AU}"), "{text}");
        }
        assert_eq!(ordinate("% Transmittance"), sure(Quantity::TRANSMITTANCE, "%"));
        assert_eq!(ordinate("TRANSMITTANCE"), Meaning::Share(Quantity::TRANSMITTANCE));
        assert_eq!(
            ordinate("Logarithm epsilon"),
            Meaning::Own(Quantity::named("logarithm-epsilon"), Unit::ONE)
        );
    }

    #[test]
    fn what_is_written_is_understood() {
        for (quantity, code) in [
            ("wavelength", "nm"),
            ("time", "min"),
            ("temperature", "Cel"),
            ("rate", "umol/L/min"),
        ] {
            let unit = Unit::ucum(code).unwrap();
            let text = written(&Quantity::named(quantity), &unit);
            assert_eq!(
                abscissa(&text),
                Meaning::Sure(Quantity::named(quantity), unit),
                "{text}"
            );
        }
    }
}
