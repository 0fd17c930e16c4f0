//! What the unit texts of JCAMP-DX mean, and back.

use curvary_jcamp_dx::normalise_label;
use curvary_record::unit::spelled;
use curvary_record::{Quantity, Unit};

/// What a unit text says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum UnitMeaning {
    /// This quantity in this unit.
    Sure(Quantity, Unit),
    /// This quantity, as a fraction or in percent: the values tell.
    Share(Quantity),
    /// A quantity that only its own name tells.
    Own(Quantity, Unit),
    /// Nothing that is known.
    Unknown,
}

/// What XUNITS, or the units of a page variable, say. The texts of the standard come first, then what real files have.
pub(crate) fn abscissa(text: &str) -> UnitMeaning {
    let sure = |quantity: Quantity, code: &str| match Unit::ucum(code) {
        Ok(unit) => UnitMeaning::Sure(quantity, unit),
        Err(_) => UnitMeaning::Unknown,
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
        _ => other_abscissa(&squeezed).unwrap_or_else(|| name_and_unit(text)),
    }
}

/// The axes of other techniques, each under its own quantity; `text` as [`normalise_label`] gives it.
fn other_abscissa(text: &str) -> Option<UnitMeaning> {
    let (name, code) = match text {
        "HZ" | "HERTZ" => ("frequency", "Hz"),
        "KHZ" | "KILOHERTZ" => ("frequency", "kHz"),
        "MHZ" | "MEGAHERTZ" => ("frequency", "MHz"),
        "PPM" => ("chemical-shift", "[ppm]"),
        "MZ" | "M/Z" => ("mass-to-charge-ratio", "{m/z}"),
        "GAUSS" | "G" => ("magnetic-flux-density", "G"),
        "TESLA" => ("magnetic-flux-density", "T"),
        "MT" => ("magnetic-flux-density", "mT"),
        "2THETA" => ("diffraction-angle", "deg"),
        "VOLTS" | "V" => ("potential", "V"),
        "MV" => ("potential", "mV"),
        "ATOMICMASSUNITS" | "AMU" => ("mass", "u"),
        _ => return None,
    };
    Some(UnitMeaning::Own(Quantity::named(name), unit_or_name(code, text)))
}

/// Whether a quantity is an abscissa of another technique.
pub(super) fn is_of_other(quantity: &Quantity) -> bool {
    [
        "frequency",
        "chemical-shift",
        "mass-to-charge-ratio",
        "magnetic-flux-density",
        "diffraction-angle",
        "potential",
        "mass",
        "raman-shift",
    ]
    .contains(&quantity.as_str())
}

/// A unit, or where it is none that is known here, its own name: never a bare number.
fn unit_or_name(code: &str, name: &str) -> Unit {
    let plain: String = name
        .chars()
        .filter(|c| matches!(c, '!'..='~') && !matches!(c, '{' | '}'))
        .collect();
    Unit::ucum(code)
        .or_else(|_| Unit::ucum(&format!("{{{plain}}}")))
        .unwrap_or(Unit::ONE)
}

/// What XUNITS say where the data type is of another technique: there, a wavenumber is a shift in Raman spectra, and a
/// text that is not known keeps its name.
pub(crate) fn other_x(technique: &str, text: &str) -> UnitMeaning {
    match abscissa(text) {
        UnitMeaning::Sure(quantity, unit)
            if quantity == Quantity::WAVENUMBER && technique.contains("raman") =>
        {
            UnitMeaning::Own(Quantity::named("raman-shift"), unit)
        }
        UnitMeaning::Unknown if !text.trim().is_empty() => own(text),
        known => known,
    }
}

/// What YUNITS say there: the short texts that mean absorbance elsewhere mean arbitrary units.
pub(crate) fn other_y(text: &str) -> UnitMeaning {
    let squeezed = normalise_label(text);
    let spelled_out = ["ABSORB", "EXTINCTION", "OPTICAL"]
        .iter()
        .any(|word| squeezed.contains(word));
    match ordinate(text) {
        UnitMeaning::Sure(quantity, _) if quantity == Quantity::ABSORBANCE && !spelled_out => {
            UnitMeaning::Own(Quantity::named("signal"), Unit::ONE)
        }
        UnitMeaning::Unknown if squeezed == "A.U." => UnitMeaning::Own(Quantity::named("signal"), Unit::ONE),
        known => known,
    }
}

/// A text of units that is not known: it is the name of the quantity and that of the unit.
fn own(text: &str) -> UnitMeaning {
    let name = own_name(text);
    let unit = unit_or_name(text.trim(), &name);
    if name.is_empty() {
        UnitMeaning::Unknown
    } else {
        UnitMeaning::Own(Quantity::named(name), unit)
    }
}

/// What YUNITS say.
pub(crate) fn ordinate(text: &str) -> UnitMeaning {
    let squeezed = normalise_label(text);
    match squeezed.as_str() {
        "ABSORBANCE" | "ABSORBANCEUNITS" | "ABSORBANCEUNIT" | "ABSORPTION" | "ABS" | "ABS." | "A" | "AU"
        | "OD" | "OPTICALDENSITY" | "EXTINCTION" | "ABSORBANCE(AU)" | "ABSORBANCE(A.U.)"
        | "ABSORBANCE(A)" => UnitMeaning::Sure(Quantity::ABSORBANCE, Unit::ABSORBANCE),
        "TRANSMITTANCE" | "TRANSMISSION" => UnitMeaning::Share(Quantity::TRANSMITTANCE),
        "REFLECTANCE" | "REFLECTION" => UnitMeaning::Share(Quantity::REFLECTANCE),
        "%TRANSMITTANCE"
        | "%TRANSMISSION"
        | "%T"
        | "T%"
        | "PERCENTTRANSMITTANCE"
        | "PERCENTTRANSMISSION"
        | "TRANSMITTANCE%"
        | "TRANSMITTANCE(%)"
        | "TRANSMISSION(%)" => UnitMeaning::Sure(Quantity::TRANSMITTANCE, Unit::PERCENT),
        "%REFLECTANCE" | "%R" | "PERCENTREFLECTANCE" | "REFLECTANCE%" | "REFLECTANCE(%)" => {
            UnitMeaning::Sure(Quantity::REFLECTANCE, Unit::PERCENT)
        }
        "KUBELKAMUNK" => UnitMeaning::Sure(Quantity::named("kubelka-munk"), Unit::ONE),
        "ARBITRARYUNITS" | "ARBITRARY" | "ARB.UNITS" | "ARBUNITS" => {
            UnitMeaning::Sure(Quantity::named("signal"), Unit::ONE)
        }
        "" | "A.U." | "UNKNOWN" => UnitMeaning::Unknown,
        _ => match name_and_unit(text) {
            UnitMeaning::Unknown => own(text),
            known => known,
        },
    }
}

/// `Wavelength (nm)`, `TEMPERATURE (Cel)`, `TIME / s`: a name and its unit.
fn name_and_unit(text: &str) -> UnitMeaning {
    let text = text.trim();
    let pair = match text.strip_suffix([')', ']']) {
        Some(inner) => inner.rsplit_once(['(', '[']),
        None => text.rsplit_once(" / ").or_else(|| text.rsplit_once(" in ")),
    };
    let Some((name, unit)) = pair else {
        return UnitMeaning::Unknown;
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
        Some(unit) if !name.is_empty() => UnitMeaning::Sure(Quantity::named(name), unit),
        _ => UnitMeaning::Unknown,
    }
}

/// A name in lower case with hyphens.
pub(super) fn own_name(text: &str) -> String {
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
        ("frequency", "Hz") => "HZ",
        ("chemical-shift", "[ppm]") => "PPM",
        ("mass-to-charge-ratio", "{m/z}") => "M/Z",
        ("raman-shift", "/cm") => "1/CM",
        (name, code) if code == format!("{{{name}}}") => return name.to_uppercase().replace('-', " "),
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
mod tests {
    use super::*;

    /// XUNITS and YUNITS of JCAMP-DX 4.24, and spellings that real files have (common practice).
    #[test]
    fn units_of_the_standard_and_of_real_files() {
        let sure = |quantity, code: &str| UnitMeaning::Sure(quantity, Unit::ucum(code).unwrap());
        for text in ["NANOMETERS", "nm", "Wavelength (nm)", "WAVELENGTH / nm"] {
            assert_eq!(abscissa(text), sure(Quantity::WAVELENGTH, "nm"), "{text}");
        }
        for text in ["1/CM", "cm-1", "Wavenumber (cm-1)"] {
            assert_eq!(abscissa(text), sure(Quantity::WAVENUMBER, "/cm"), "{text}");
        }
        assert_eq!(abscissa("SECONDS"), sure(Quantity::TIME, "s"));
        assert_eq!(abscissa("Time (min)"), sure(Quantity::TIME, "min"));
        let own = |name, code: &str| UnitMeaning::Own(Quantity::named(name), Unit::ucum(code).unwrap());
        assert_eq!(abscissa("HZ"), own("frequency", "Hz"));
        assert_eq!(abscissa("M/Z"), own("mass-to-charge-ratio", "{m/z}"));
        assert_eq!(other_x("raman-spectrum", "1/CM"), own("raman-shift", "/cm"));
        assert_eq!(other_y("AU"), own("signal", "1"));
        assert_eq!(other_y("ABSORBANCE"), sure(Quantity::ABSORBANCE, "{AU}"));
        // Standard of mass spectra (JCAMP-DX, Lampen et al. 1994).
        assert_eq!(
            ordinate("RELATIVE ABUNDANCE"),
            own("relative-abundance", "{relative-abundance}")
        );
        assert_eq!(abscissa(""), UnitMeaning::Unknown);
        for text in ["ABSORBANCE", "Abs", "AU"] {
            assert_eq!(ordinate(text), sure(Quantity::ABSORBANCE, "{AU}"), "{text}");
        }
        assert_eq!(ordinate("% Transmittance"), sure(Quantity::TRANSMITTANCE, "%"));
        assert_eq!(
            ordinate("TRANSMITTANCE"),
            UnitMeaning::Share(Quantity::TRANSMITTANCE)
        );
        assert_eq!(
            ordinate("Logarithm epsilon"),
            own("logarithm-epsilon", "{logarithm-epsilon}")
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
                UnitMeaning::Sure(Quantity::named(quantity), unit),
                "{text}"
            );
        }
    }
}
