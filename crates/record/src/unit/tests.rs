use super::*;

fn unit(code: &str) -> Unit {
    Unit::ucum(code).unwrap_or_else(|error| panic!("{error}"))
}

/// Codes and factors from `tests/data/ucum-units.json` (UCUM 2.2 and the validator named there).
#[test]
fn codes_and_factors_are_ucums() {
    let table: serde_json::Value =
        serde_json::from_str(include_str!("../../tests/data/ucum-units.json")).expect("the table is JSON");
    let mut checked = 0;
    for row in table["units"].as_array().expect("a list") {
        let code = row["code"].as_str().expect("a code");
        if row["quantity"] == "invalid meaning" {
            assert_eq!(
                unit(code).dimension(),
                unit("m").dimension(),
                "`{code}` is a metre, and no absorbance"
            );
            continue;
        }
        let unit = unit(code);
        if let Some(factor) = row["factor"].as_f64() {
            assert_eq!(unit.to_si(1.0), factor, "{code}");
            checked += 1;
        }
    }
    assert!(checked >= 30, "{checked}");
    for trap in [
        "AU", "[AU]", "M", "mM", "uM", "°C", "deg C", "sec", "mOD", "OD", "a.u.", "a.u",
    ] {
        assert!(Unit::ucum(trap).is_err(), "{trap}");
    }
    for wrong in [
        "",
        " ",
        "/",
        "nm ",
        "n m",
        "m^2",
        "cm--1",
        "cm-",
        "mmin",
        "kh",
        "m%",
        "Cel/min",
        "Cel2",
        "kCel",
        "[pH].m",
        "{}",
        "{a",
        "m}",
        "(m",
        "m)",
        "m..s",
        "m//s",
        "0",
        "1/0",
        "m99999999999",
        "m300",
        "xyz",
        "10*x",
        "µm",
    ] {
        assert!(Unit::ucum(wrong).is_err(), "{wrong}");
    }
}

/// One spelling of each unit; shown forms after the IUPAC Green Book (3rd edition, section 1.3), from memory.
#[test]
fn codes_have_one_spelling_and_are_shown() {
    for (code, canonical, shown, slug) in [
        ("nm", "nm", "nm", "nm"),
        ("cm-1", "/cm", "cm⁻¹", "per_cm"),
        ("1/cm", "/cm", "cm⁻¹", "per_cm"),
        ("/cm", "/cm", "cm⁻¹", "per_cm"),
        ("s-1", "/s", "s⁻¹", "per_s"),
        ("Cel", "Cel", "°C", "Cel"),
        ("[degF]", "[degF]", "°F", "degF"),
        ("umol/l", "umol/L", "µmol/L", "umol_L"),
        ("umol.L-1", "umol/L", "µmol/L", "umol_L"),
        ("L.mol-1.cm-1", "L/mol/cm", "L mol⁻¹ cm⁻¹", "L_mol_cm"),
        ("L/(mol.cm)", "L/mol/cm", "L mol⁻¹ cm⁻¹", "L_mol_cm"),
        ("umol/L/min", "umol/L/min", "µmol L⁻¹ min⁻¹", "umol_L_min"),
        ("1", "1", "", ""),
        ("{AU}", "{AU}", "AU", ""),
        ("{AU}/min", "{AU}/min", "AU/min", "per_min"),
        ("10*-3.{AU}", "10*-3.{AU}", "mAU", "mAU"),
        ("10*-3.{AU}/min", "10*-3.{AU}/min", "mAU/min", "mAU_min"),
        ("%", "%", "%", "percent"),
        ("%/min", "%/min", "%/min", "percent_min"),
        ("[ppm]", "[ppm]", "ppm", "ppm"),
        ("[pH]", "[pH]", "", ""),
        ("[IU]/mL", "[iU]/mL", "IU/mL", "IU_mL"),
        ("[arb'U]", "[arb'U]", "arb. unit", "arb"),
        ("m2", "m2", "m²", "m2"),
        ("mm[Hg]", "mm[Hg]", "mmHg", "mmHg"),
        ("Ao", "Ao", "Å", "Ao"),
        ("kJ/mol", "kJ/mol", "kJ/mol", "kJ_mol"),
        ("U/mg{protein}", "U/mg{protein}", "U/mg", "U_mg"),
        ("s2{x}", "s2{x}", "s²", "s2"),
    ] {
        let unit = unit(code);
        assert_eq!(unit.code(), canonical, "{code}");
        assert_eq!(unit.display(), shown, "{code}");
        assert_eq!(unit.slug(), slug, "{code}");
        assert_eq!(Unit::ucum(unit.code()).as_ref(), Ok(&unit), "{code} is stable");
    }
}

/// The decimal that was written converts, to its last digit.
#[test]
fn conversions_are_those_of_the_decimal() {
    for (value, from, to, wanted) in [
        (37.0, "Cel", "K", 310.15),
        (310.15, "K", "Cel", 37.0),
        (25.1, "Cel", "K", 298.25),
        (298.25, "K", "Cel", 25.1),
        (-5.0, "Cel", "K", 268.15),
        (-273.15, "Cel", "K", 0.0),
        (4.0, "Cel", "K", 277.15),
        (98.6, "[degF]", "Cel", 37.0),
        (37.0, "Cel", "[degF]", 98.6),
        (212.0, "[degF]", "K", 373.15),
        (0.035, "mol/L", "mmol/L", 35.0),
        (0.05, "mmol/L", "umol/L", 50.0),
        (50.0, "umol/L", "mmol/L", 0.05),
        (412.5, "nm", "um", 0.4125),
        (0.4125, "um", "nm", 412.5),
        (0.1, "h", "min", 6.0),
        (90.0, "s", "min", 1.5),
        (1.0, "min", "h", 1.0 / 60.0),
        (1.0, "U", "nkat", 16.666_666_666_666_668),
        (1.0, "U/mL", "kat/m3", 1.0 / 60.0),
        (6220.0, "L/mol/cm", "m2/mol", 622.0),
        (0.622, "m2/mmol", "L/mol/cm", 6220.0),
        (50.0, "%", "1", 0.5),
        (0.07, "1", "%", 7.0),
        (123.4, "10*-3.{AU}", "{AU}", 0.1234),
        (1.0, "cal", "J", 4.184),
        (1.0, "atm", "bar", 1.01325),
        (760.0, "mm[Hg]", "kPa", 101.324_72),
        (25_000.0, "/cm", "/m", 2_500_000.0),
        (5000.0, "Ao", "nm", 500.0),
        (7.4, "[pH]", "[pH]", 7.4),
        (-0.0, "nm", "um", -0.0),
    ] {
        let got = unit(from)
            .convert(value, &unit(to))
            .unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(
            got.to_bits(),
            f64::to_bits(wanted),
            "{value} {from} in {to}: {got}"
        );
    }
    assert!(unit("nm").convert(1.0, &unit("s")).is_err());
    assert!(unit("mol/L").convert(1.0, &unit("/L")).is_err());
    assert!(unit("[pH]").convert(7.0, &Unit::ONE).is_err());
    assert!(unit("[iU]").convert(7.0, &unit("U")).is_err());
    assert_eq!(
        unit("L/mol/cm").dimension().map(|d| d.to_string()).as_deref(),
        Some("m2.mol-1")
    );
}

#[test]
fn extreme_values_convert_without_panic() {
    for value in [
        f64::MAX,
        f64::MIN_POSITIVE,
        5e-324,
        -1e300,
        f64::INFINITY,
        f64::NAN,
    ] {
        for code in ["Cel", "[degF]", "eV", "U", "nm", "mm[Hg]"] {
            let unit = unit(code);
            let _ = unit.to_si(value);
        }
    }
}

/// Codes, and the spellings that mean them. A second code is a second meaning.
const SPELLINGS_THAT_PEOPLE_WRITE: &[(&str, &[&str])] = &[
    (
        "Cel",
        &[
            "°C",
            "° C",
            "degC",
            "deg C",
            "deg. C",
            "oC",
            "ºC",
            "˚C",
            "℃",
            "Grad C",
            "grad celsius",
            "Celsius",
            "DEGC",
            "degrees C",
            "degrés C",
            "grados C",
            "Â°C",
            "(°C)",
            "[°C]",
            "°C.",
        ],
    ),
    ("Cel|C", &["C"]),
    ("Cel|deg", &["°", "deg", "Grad", "degrees"]),
    ("K", &["K", "Kelvin", "°K", "\u{212A}"]),
    ("[degF]", &["°F", "degF"]),
    (
        "/cm",
        &[
            "1/cm",
            "cm^-1",
            "cm-1",
            "cm⁻¹",
            "cm−1",
            "cm^(-1)",
            "cm**-1",
            "cm -1",
            "/cm",
            "CM-1",
            "1/CM",
            "kayser",
            "wavenumbers",
            "[cm-1]",
            "cm^{-1}",
        ],
    ),
    (
        "nm",
        &[
            "nm",
            "nanometer",
            "nanometers",
            "nanometre",
            "Nanometer",
            "nanomètres",
            "nanómetros",
            "nanometri",
            "nanômetros",
            "NANOMETERS",
            "(nm)",
            "nm.",
        ],
    ),
    ("nm|nmol/L", &["NM"]),
    ("nm|N.m", &["Nm"]),
    (
        "um",
        &[
            "µm",
            "μm",
            "um",
            "micron",
            "micrometer",
            "mikrometer",
            "MICROMETERS",
        ],
    ),
    ("mm|mmol/L", &["MM"]),
    ("um|umol/L", &["UM"]),
    ("nm", &["нм", "㎚", "纳米", "奈米", "ナノメートル"]),
    ("nm|nmol/L", &["НМ"]),
    ("um", &["мкм"]),
    ("mm", &["мм"]),
    (
        "s",
        &[
            "с",
            "сек.",
            "секунды",
            "sekunti",
            "saniye",
            "másodperc",
            "秒",
            "δευτερόλεπτα",
        ],
    ),
    (
        "min",
        &[
            "мин",
            "мин.",
            "хв",
            "minuuttia",
            "dk",
            "minutter",
            "λεπτά",
            "分",
            "分钟",
            "分鐘",
        ],
    ),
    ("min|%", &["perc"]),
    ("h", &["ч", "час", "óra", "saat", "tuntia", "hod", "小时", "小時"]),
    ("Cel", &["°С", "℃", "градусов Цельсия", "摄氏度"]),
    ("Cel|C", &["С"]),
    ("mol/L", &["М", "моль/л"]),
    ("mmol/L", &["мМ", "ммоль/л"]),
    ("umol/L", &["мкМ", "мкмоль/л", "мкмоль·л⁻¹"]),
    ("nmol/L", &["нМ"]),
    ("/cm", &["см-1", "см⁻¹", "1/см"]),
    ("g/L", &["г/л"]),
    ("mg/mL", &["мг/мл"]),
    ("mm", &["mm", "millimeter", "milímetros"]),
    ("m|min", &["m"]),
    ("Ao", &["Å", "angstrom", "Ångström"]),
    (
        "s",
        &[
            "s", "sec", "secs", "sec.", "Sek.", "Sek", "seg", "seg.", "seconds", "Sekunden", "secondes",
            "segundos", "secondi", "SEC", "SECONDS",
        ],
    ),
    ("s|S", &["S"]),
    ("ms", &["ms", "msec", "milliseconds", "MS"]),
    (
        "min",
        &[
            "min", "min.", "Min", "Min.", "MIN", "minutes", "Minuten", "mn", "minutos", "minuti", "mins",
        ],
    ),
    (
        "h",
        &[
            "h", "hr", "hrs", "hr.", "Std.", "Std", "Stunden", "heures", "horas", "hours",
        ],
    ),
    ("d", &["d", "days", "Tage", "jours"]),
    (
        "mol/L",
        &[
            "M",
            "mol/L",
            "mol/l",
            "mol L-1",
            "mol·L⁻¹",
            "mol*l^-1",
            "molar",
            "mol per litre",
            "mol dm-3",
        ],
    ),
    (
        "mmol/L",
        &["mM", "mmol/L", "mmol/l", "mmol l-1", "millimolar", "mmol·L⁻¹"],
    ),
    (
        "umol/L",
        &[
            "µM",
            "μM",
            "uM",
            "µmol/L",
            "umol/l",
            "micromolar",
            "mikromolar",
            "ÂµM",
            "µmol L⁻¹",
            "µmol·l−1",
        ],
    ),
    ("nmol/L", &["nM", "nmol/L", "nanomolar"]),
    (
        "{AU}",
        &[
            "OD",
            "AU",
            "abs",
            "Abs",
            "Abs.",
            "ABS",
            "absorbance units",
            "od units",
            "O.D.",
        ],
    ),
    ("{AU}|A", &["A"]),
    ("{AU}|[arb'U]", &["a.u.", "a.u", "u.a.", "u. a."]),
    (
        "[arb'U]",
        &["arb. units", "arbitrary units", "arb. u.", "ARBITRARY UNITS"],
    ),
    ("10*-3.{AU}", &["mAU", "mOD", "mAbs", "MAU"]),
    ("10*-3.{AU}|mA", &["mA"]),
    (
        "%",
        &["%", "%T", "% T", "T%", "percent", "Prozent", "%R", "pour cent"],
    ),
    ("[ppth]", &["‰"]),
    ("U/mL", &["U/ml", "U/mL", "u/ml", "U ml-1", "units/mL", "U/ML"]),
    ("U/mg", &["U/mg", "U mg⁻¹"]),
    ("[iU]", &["IU", "IE", "UI"]),
    ("kat", &["kat", "katal"]),
    ("nkat", &["nkat"]),
    ("ukat/L", &["µkat/L", "µkat/l"]),
    ("g/L", &["g/l", "g/L", "g L-1"]),
    ("mg/mL", &["mg/mL", "mg/ml", "mg ml-1", "MG/ML", "mg·mL⁻¹"]),
    ("ug/mL", &["µg/ml", "ug/mL", "mcg/ml"]),
    (
        "L/mol/cm",
        &[
            "L mol-1 cm-1",
            "L mol⁻¹ cm⁻¹",
            "l/(mol*cm)",
            "l/(mol·cm)",
            "L/mol/cm",
            "L/(mol cm)",
            "L·mol⁻¹·cm⁻¹",
        ],
    ),
    (
        "L/mol/cm",
        &[
            "M-1 cm-1",
            "M⁻¹cm⁻¹",
            "M^-1 cm^-1",
            "M-1cm-1",
            "1/(M cm)",
            "1/(M*cm)",
            "M-1*cm-1",
            "/M/cm",
        ],
    ),
    ("L/mmol/cm", &["mM-1 cm-1", "mM⁻¹ cm⁻¹", "1/(mM*cm)"]),
    ("J/mol/K|J.K/mol", &["J/mol K", "J/mol*K"]),
    ("J/mol/K", &["J/(mol K)", "J mol-1 K-1", "J/mol/K"]),
    ("kJ/mol", &["kJ/mol", "KJ/MOL", "kJ mol⁻¹"]),
    ("kcal/mol", &["kcal/mol"]),
    (
        "nm/min",
        &[
            "nm/min",
            "nm min-1",
            "nm/min.",
            "nm per min",
            "nm per minute",
            "nm/Min",
            "nm pro Minute",
            "nm par minute",
        ],
    ),
    ("nm/s", &["nm/s", "nm/sec", "nm s⁻¹"]),
    (
        "/s",
        &["1/s", "s-1", "s^-1", "s⁻¹", "/s", "1/sec", "per second", "sec-1"],
    ),
    (
        "/min",
        &[
            "/min", "1/min", "min-1", "min⁻¹", "rpm", "UPM", "tr/min", "U./min",
        ],
    ),
    ("/min|U/min", &["U/min"]),
    ("K/min", &["°C/min", "K/min", "K min-1"]),
    (
        "{AU}/min",
        &[
            "ΔA/min", "∆A/min", "dA/min", "Abs/min", "OD/min", "AU/min", "ΔOD/min", "ΔE/min",
        ],
    ),
    ("{AU}/min|A/min", &["A/min"]),
    ("10*-3.{AU}/min", &["mAU/min", "mOD/min", "ΔmAU/min"]),
    (
        "umol/L/min",
        &[
            "µM/min",
            "uM/min",
            "µM min-1",
            "µmol/L/min",
            "µmol/(L·min)",
            "µmol L-1 min-1",
            "µmol/l/min",
        ],
    ),
    (
        "umol/min/mg",
        &["µmol/min/mg", "µmol/(min*mg)", "µmol min⁻¹ mg⁻¹"],
    ),
    ("mmol/L/s", &["mM/s"]),
    ("mol/L/s", &["M/s", "M s-1", "mol/L/s"]),
    ("L/mol/s", &["M-1 s-1", "M⁻¹s⁻¹", "1/(M*s)", "L/mol/s"]),
    ("eV", &["eV", "ev"]),
    ("meV", &["meV"]),
    ("[pH]", &["pH", "PH", "[pH]"]),
    ("1", &["1", "-", "dimensionless"]),
    ("mL", &["mL", "ml", "ML", "cc", "milliliter"]),
    ("uL", &["µL", "µl", "ul", "UL", "microlitres"]),
    ("cm", &["cm", "CM", "centimeter", "Zentimeter"]),
    ("dm3", &["dm3", "dm³", "dm^3"]),
    ("cm2", &["cm²", "cm2"]),
    ("mbar", &["mbar"]),
    ("hPa", &["hPa"]),
    ("V", &["V", "volts"]),
    ("W", &["W"]),
    ("Hz", &["Hz", "HZ"]),
    ("%/min", &["%/min"]),
];

/// What people write, with the codes meant. A second code is a second meaning.
#[test]
fn spellings_that_people_write() {
    let mut count = 0;
    let mut wrong = Vec::new();
    for (codes, spellings) in SPELLINGS_THAT_PEOPLE_WRITE {
        let wanted: Vec<Unit> = codes.split('|').map(unit).collect();
        for text in *spellings {
            count += 1;
            // Molar in whichever way: mol/dm3 is the same unit under another code.
            let got = spelled(text);
            let same = got.units() == wanted
                || (got.units().len() == wanted.len()
                    && got
                        .units()
                        .iter()
                        .zip(&wanted)
                        .all(|(a, b)| a.converts_to(b) && a.to_si(1.0) == b.to_si(1.0)));
            if !same {
                wrong.push(format!("`{text}`: wanted {codes}, got {got:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(count > 250, "{count}");
}

/// A power of ten in front of a unit is a part of it (IUPAC Green Book, 1.1: the quotient of a quantity and its unit).
#[test]
fn powers_of_ten_are_kept() {
    for (text, code) in [
        ("10^-20 cm2", "10*-20.cm2"),
        ("10^-20 cm^2 molecule^-1", "10*-20.cm2"),
        ("10⁻²⁰ cm²", "10*-20.cm2"),
        ("10-20 cm2 molecule-1", "10*-20.cm2"),
        ("1e-20 cm2", "10*-20.cm2"),
        ("10^3 M-1 cm-1", "10*3.L/mol/cm"),
        ("10³ M⁻¹ cm⁻¹", "10*3.L/mol/cm"),
        ("×10^4 L mol-1 cm-1", "10*4.L/mol/cm"),
        ("10^{3} cm-1", "10*3/cm"),
        ("10**3 cm-1", "10*3/cm"),
        ("(10^-3 AU)", "10*-3.{AU}"),
    ] {
        let wanted = unit(code);
        let found = spelled(text);
        let found = found.one().unwrap_or_else(|| panic!("`{text}`: {found:?}"));
        assert_eq!(
            (found.to_si(1.0), found.dimension()),
            (wanted.to_si(1.0), wanted.dimension()),
            "`{text}`: {found}"
        );
    }
    // 5 × 10⁻²⁰ cm² are 5 × 10⁻²⁴ m², to the last digit.
    assert_eq!(unit("10*-20.cm2").to_si(5.0), 5e-24);
    for text in ["10-20 min", "10-30 nm", "103 M-1 cm-1", "10^3", "10^-3", "10 cm2"] {
        assert_eq!(spelled(text), Spelling::None, "`{text}`");
    }
}

#[test]
fn units_of_other_things() {
    for (text, code) in [
        ("dB/m", "dB/m"),
        ("dB", "dB"),
        ("mdeg", "10*-3.deg"),
        ("W m-2 nm-1", "W/m2/nm"),
        ("mS/cm", "mS/cm"),
        ("µA", "uA"),
        ("L g-1 cm-1", "L/g/cm"),
        ("mJ/cm2", "mJ/cm2"),
        ("kGy", "kGy"),
    ] {
        assert_eq!(spelled(text).one(), Some(&unit(code)), "`{text}`");
    }
    // A logarithm of a ratio is no ratio; degrees are of a temperature or of an angle.
    assert!(!unit("dB").converts_to(&Unit::ONE));
    assert_eq!(spelled("deg").units(), [unit("Cel"), unit("deg")]);
    assert!(unit("deg").converts_to(&unit("rad")));
}

#[test]
fn what_is_no_unit_is_none() {
    for text in [
        "",
        " ",
        "()",
        "units",
        "unit",
        "betanin",
        "nm Abs",
        "Absorbance (AU)",
        "A1",
        "A2",
        "sample 1",
        "S (mM)",
        "min s",
        "mm:ss",
        "hh:mm:ss",
        "405",
        "405 nm",
        "sample",
        "Probe 1",
        "x",
        "y",
        "n",
        "No.",
        "STD",
        "SD",
        "R²",
        "de",
        "w/v",
        "% (w/v)",
        "cm^-",
        "cm^^1",
        "nm/",
        "//s",
        "s//s",
        "*",
        "m*",
        "10^3",
        "µmol/min-1",
        "µ",
        "k",
        "Ms",
        "1 2",
        "nm nm nm nm nm nm nm nm nm nm nm nm nm nm nm nm nm nm nm nm",
        "\u{FFFD}C",
    ] {
        assert_eq!(spelled(text), Spelling::None, "`{text}`");
    }
}

/// A difference has the factor between the units and nothing of their zeros, to the last digit.
#[test]
fn differences_have_no_zero() {
    for (from, to, one, other) in [
        ("Cel", "K", 0.1_f64, 0.1_f64),
        ("K", "Cel", -0.0006, -0.0006),
        ("[degF]", "Cel", 9.0, 5.0),
        ("Cel", "[degF]", 5.0, 9.0),
        ("{AU}/min", "{AU}/s", -0.0006, -0.00001),
        ("10*-3.{AU}", "{AU}", 0.3, 0.0003),
    ] {
        let (from, to) = (Unit::ucum(from).expect(from), Unit::ucum(to).expect(to));
        let way = from.conversion(&to).expect("one dimension");
        assert_eq!(way.of_difference(one).to_bits(), other.to_bits(), "{from} {to}");
    }
}
