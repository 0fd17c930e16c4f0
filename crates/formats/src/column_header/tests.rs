use super::*;

/// `quantity|unit|held,held|label`, with `?a/b` where several are possible.
fn summary(head: &ColumnHeader) -> String {
    let quantity = match (&head.quantity, head.quantities_possible.as_slice()) {
        (Some(one), _) => one.to_string(),
        (None, []) => String::new(),
        (None, many) => format!(
            "?{}",
            many.iter().map(Quantity::as_str).collect::<Vec<_>>().join("/")
        ),
    };
    let unit = match (&head.unit, head.units_possible.as_slice()) {
        (Some(one), _) => one.to_string(),
        (None, []) => String::new(),
        (None, many) => format!("?{}", many.iter().map(Unit::code).collect::<Vec<_>>().join("~")),
    };
    let held: Vec<String> = head
        .held
        .iter()
        .map(|c| format!("{}={} {}", c.quantity, c.value, c.unit))
        .collect();
    let clock = if head.clock { "|clock" } else { "" };
    format!(
        "{quantity}|{unit}|{}|{}{clock}",
        held.join(","),
        head.label.as_deref().unwrap_or("")
    )
}

/// Headers as people write them, and what is meant: quantity, unit, label and fixed coordinates.
const HEADS_THAT_PEOPLE_WRITE: &[(&str, &str)] = &[
    // Wavelength, wavenumber, energy.
    ("Wavelength (nm)", "wavelength|nm||"),
    ("Wellenlänge [nm]", "wavelength|nm||"),
    ("Wellenlänge in nm", "wavelength|nm||"),
    ("WELLENLÄNGE (NM)", "wavelength|nm||"),
    ("Wellenlaenge/nm", "wavelength|nm||"),
    ("lambda, nm", "wavelength|nm||"),
    ("lambda / nm", "wavelength|nm||"),
    ("λ/nm", "wavelength|nm||"),
    ("λ (nm)", "wavelength|nm||"),
    ("λ", "wavelength|||"),
    ("Wavelengthnm", "wavelength|nm||"),
    ("wavelength_nm", "wavelength|nm||"),
    ("Wavelength nm", "wavelength|nm||"),
    ("WL (nm)", "wavelength|nm||"),
    ("nm", "wavelength|nm||"),
    ("(nm)", "wavelength|nm||"),
    ("[nm]", "wavelength|nm||"),
    ("Longueur d'onde (nm)", "wavelength|nm||"),
    ("Longueur d’onde (nm)", "wavelength|nm||"),
    ("Longitud de onda (nm)", "wavelength|nm||"),
    ("Lunghezza d'onda (nm)", "wavelength|nm||"),
    ("Comprimento de onda (nm)", "wavelength|nm||"),
    ("Golflengte (nm)", "wavelength|nm||"),
    ("Våglängd (nm)", "wavelength|nm||"),
    ("Wavenumber (cm-1)", "wavenumber|/cm||"),
    ("Wellenzahl / cm⁻¹", "wavenumber|/cm||"),
    ("cm-1", "wavenumber|/cm||"),
    ("1/cm", "wavenumber|/cm||"),
    ("Photon energy (eV)", "energy|eV||"),
    ("Wavelength (µm)", "wavelength|um||"),
    // Absorbance, transmittance, reflectance.
    ("Abs", "absorbance|||"),
    ("Abs.", "absorbance|||"),
    ("ABS", "absorbance|||"),
    ("A", "absorbance|||"),
    ("E", "absorbance|||"),
    ("Ext", "absorbance|||"),
    ("Ext.", "absorbance|||"),
    ("Extinktion", "absorbance|||"),
    ("Extinktion:", "absorbance|||"),
    ("\"Absorbance\"", "absorbance|||"),
    ("Absorbanz", "absorbance|||"),
    ("Absorbancia", "absorbance|||"),
    ("Assorbanza", "absorbance|||"),
    ("Absorbância", "absorbance|||"),
    ("Extinctie", "absorbance|||"),
    ("OD", "absorbance|||"),
    ("optical density", "absorbance|||"),
    ("Absorbance (AU)", "absorbance|{AU}||"),
    ("Absorbance [a.u.]", "absorbance|?{AU}~[arb'U]||"),
    ("Absorbance (mAU)", "absorbance|10*-3.{AU}||"),
    ("mAU", "absorbance|10*-3.{AU}||"),
    ("A (AU)", "absorbance|{AU}||"),
    ("A / AU", "absorbance|{AU}||"),
    ("ΔA", "absorbance|||"),
    ("∆A", "absorbance|||"),
    ("delta A", "absorbance|||"),
    ("%T", "transmittance|%||"),
    ("T%", "transmittance|%||"),
    ("% T", "transmittance|%||"),
    ("T (%)", "transmittance|%||"),
    ("T / %", "transmittance|%||"),
    ("T [%]", "transmittance|%||"),
    ("Transmittance (%)", "transmittance|%||"),
    ("Transmission %", "transmittance|%||"),
    ("Transmittance", "transmittance|||"),
    ("% Transmittance", "transmittance|%||"),
    ("R (%)", "reflectance|%||"),
    ("%R", "reflectance|%||"),
    ("%", "?transmittance/reflectance|||"),
    ("T", "?temperature/transmittance/time|||"),
    // At a wavelength.
    ("OD600", "absorbance||wavelength=600 nm|"),
    ("A405", "absorbance||wavelength=405 nm|"),
    ("A_405", "absorbance||wavelength=405 nm|"),
    ("A 405", "absorbance||wavelength=405 nm|"),
    ("A405 (AU)", "absorbance|{AU}|wavelength=405 nm|"),
    ("Abs405nm", "absorbance||wavelength=405 nm|"),
    ("Abs 405 nm", "absorbance||wavelength=405 nm|"),
    ("Abs @ 405 nm", "absorbance||wavelength=405 nm|"),
    ("Abs@405nm", "absorbance||wavelength=405 nm|"),
    ("A(405 nm)", "absorbance||wavelength=405 nm|"),
    ("A(520)", "absorbance||wavelength=520 nm|"),
    ("A [405 nm]", "absorbance||wavelength=405 nm|"),
    ("Abs (405)", "absorbance||wavelength=405 nm|"),
    ("E 405 nm", "absorbance||wavelength=405 nm|"),
    ("E405", "absorbance||wavelength=405 nm|"),
    ("Ext. 405,5 nm", "absorbance||wavelength=405.5 nm|"),
    ("Absorbance at 405 nm", "absorbance||wavelength=405 nm|"),
    ("Absorbance at 405 nm (AU)", "absorbance|{AU}|wavelength=405 nm|"),
    ("Extinktion bei 405 nm", "absorbance||wavelength=405 nm|"),
    ("Absorbance à 412 nm", "absorbance||wavelength=412 nm|"),
    ("Absorbancia a 412 nm", "absorbance||wavelength=412 nm|"),
    ("Absorbance, 405 nm", "absorbance||wavelength=405 nm|"),
    ("405 nm Abs", "absorbance||wavelength=405 nm|"),
    ("ΔA340", "absorbance||wavelength=340 nm|"),
    ("%T 550 nm", "transmittance|%|wavelength=550 nm|"),
    ("405 nm", "||wavelength=405 nm|"),
    ("405nm", "||wavelength=405 nm|"),
    ("405.5 nm", "||wavelength=405.5 nm|"),
    ("405,5 nm", "||wavelength=405.5 nm|"),
    ("λ=405 nm", "||wavelength=405 nm|"),
    ("340 NM", "||wavelength=340 nm|"),
    // Bare numbers.
    ("405", "||unknown=405 1|"),
    ("0", "||unknown=0 1|"),
    ("0.5", "||unknown=0.5 1|"),
    ("0,5", "||unknown=0.5 1|"),
    // Time.
    ("t/min", "time|min||"),
    ("t [s]", "time|s||"),
    ("t (s)", "time|s||"),
    ("t", "time|||"),
    ("Zeit (min)", "time|min||"),
    ("Zeit [Min.]", "time|min||"),
    ("Zeit / h", "time|h||"),
    ("Temps, s", "time|s||"),
    ("Temps (s)", "time|s||"),
    ("Tiempo (s)", "time|s||"),
    ("Tiempo (seg)", "time|s||"),
    ("Tempo (min)", "time|min||"),
    ("Time(sec)", "time|s||"),
    ("Time (Sec.)", "time|s||"),
    ("TIME (S)", "time|s||"),
    ("Time s", "time|s||"),
    ("Time [s]", "time|s||"),
    ("time_s", "time|s||"),
    ("times_s", "time|s||"),
    ("time.s", "time|s||"),
    ("Wavelength..nm.", "wavelength|nm||"),
    ("Timesec", "time|s||"),
    ("Time (m)", "time|min||"),
    ("Elapsed time (min)", "time|min||"),
    ("s", "time|s||"),
    ("sec", "time|s||"),
    ("min", "time|min||"),
    ("Time (mm:ss)", "time||||clock"),
    ("Time (hh:mm:ss)", "time||||clock"),
    ("Zeit (min:s)", "time||||clock"),
    ("t (min.s)", "time||||clock"),
    ("mm:ss", "time||||clock"),
    ("0.5 min", "||time=0.5 min|"),
    ("0,5 min", "||time=0.5 min|"),
    ("30 s", "||time=30 s|"),
    ("30s", "||time=30 s|"),
    ("t=30 s", "||time=30 s|"),
    ("t = 30 s", "||time=30 s|"),
    ("t=30", "||unknown=30 1|"),
    // Temperature, pH, concentration, rate.
    ("T (°C)", "temperature|Cel||"),
    ("T / K", "temperature|K||"),
    ("T/°C", "temperature|Cel||"),
    ("T [min]", "time|min||"),
    ("Temperature (C)", "temperature|Cel||"),
    ("Temp. [°C]", "temperature|Cel||"),
    ("Temperatur in °C", "temperature|Cel||"),
    ("°C", "temperature|Cel||"),
    ("25 °C", "||temperature=25 Cel|"),
    ("T=37 °C", "||temperature=37 Cel|"),
    ("pH", "ph|||"),
    ("pH 7", "||ph=7 [pH]|"),
    ("pH 7,4", "||ph=7.4 [pH]|"),
    ("pH=7.0", "||ph=7 [pH]|"),
    ("[S] (mM)", "concentration|mmol/L||"),
    ("[S] / µM", "concentration|umol/L||"),
    ("S (mM)", "concentration|mmol/L||"),
    ("c / µM", "concentration|umol/L||"),
    ("c (mol/l)", "concentration|mol/L||"),
    ("Concentration (mg/mL)", "concentration|mg/mL||"),
    ("Konz. [µg/ml]", "concentration|ug/mL||"),
    ("Substrat (µM)", "concentration|umol/L||"),
    ("5 µM", "||concentration=5 umol/L|"),
    ("[S] = 5 µM", "||concentration=5 umol/L|"),
    ("v0 (µM/min)", "rate|umol/L/min||"),
    ("v (µM/min)", "rate|umol/L/min||"),
    ("v₀ / µM min⁻¹", "rate|umol/L/min||"),
    ("Rate (ΔA/min)", "rate|{AU}/min||"),
    ("dA/dt", "rate|||"),
    ("ΔA/min", "rate|{AU}/min||"),
    ("A/min", "rate|{AU}/min||"),
    ("E/min", "rate|{AU}/min||"),
    ("mAU/min", "rate|10*-3.{AU}/min||"),
    ("Activity (U/mL)", "rate|U/mL||"),
    // Index, sample, flags.
    ("No.", "index|||"),
    ("#", "index|||"),
    ("Nr.", "index|||"),
    ("Index", "index|||"),
    ("Sample", "sample|||"),
    ("Probe", "sample|||"),
    ("Flag", "flag|||"),
    // Labels, alone and with something else.
    ("sample 1", "|||sample 1"),
    ("Probe 1", "|||Probe 1"),
    ("betanin", "|||betanin"),
    ("A1", "|||A1"),
    ("E12", "|||E12"),
    ("Probe 1 (Abs)", "absorbance|||Probe 1"),
    ("Probe 1 Abs", "absorbance|||Probe 1"),
    ("Absorbance betanin", "absorbance|||betanin"),
    ("betanin, 405 nm", "||wavelength=405 nm|betanin"),
    ("betanin pH 7 – 405 nm", "||ph=7 [pH],wavelength=405 nm|betanin"),
    ("betanin 405 nm", "||wavelength=405 nm|betanin"),
    ("crocin - A", "absorbance|||crocin"),
    ("Scan 3 (30 s)", "||time=30 s|Scan 3"),
    ("Wavelength (betanin)", "wavelength|||betanin"),
    ("x", "|||x"),
    ("y", "|||y"),
    ("", "|||"),
    ("  ", "|||"),
    // A thousand or a decimal comma: not read.
    ("1,234", "|||1,234"),
    ("A260/A280", "ratio|||"),
    ("A260/280", "ratio|||"),
    ("Tag 1", "|||Tag 1"),
    ("10 % glycerol", "|||10 % glycerol"),
];

#[test]
fn an_amount_of_substrate_and_one_of_inhibitor() {
    let both = |value: f64, inhibitor: f64| {
        format!("concentration={value} mmol/L,inhibitor-concentration={inhibitor} umol/L")
    };
    for (text, value, inhibitor) in [
        ("S 0.1 mM, I 0 uM", 0.1, 0.0),
        ("S 0.1mM I 10uM", 0.1, 10.0),
        ("S 0.1 mM / I 20 µM", 0.1, 20.0),
        ("[S] = 0.2 mM; [I] = 5 uM", 0.2, 5.0),
        ("0.1 mM S, 10 uM I", 0.1, 10.0),
        ("0.1 mM + 10 uM inhibitor", 0.1, 10.0),
        ("substrate 0.1 mM, inhibitor 10 uM", 0.1, 10.0),
    ] {
        assert_eq!(
            summary(&read_column_header(text)),
            format!("||{}|{text}", both(value, inhibitor))
        );
    }
    for (text, inner) in [
        ("A340 (S 0.1 mM, I 10 uM)", "S 0.1 mM, I 10 uM"),
        ("A340 S=0.1 mM I=10 uM", "S=0.1 mM I=10 uM"),
    ] {
        assert_eq!(
            summary(&read_column_header(text)),
            format!("absorbance||wavelength=340 nm,{}|{inner}", both(0.1, 10.0))
        );
    }
    assert_eq!(
        summary(&read_column_header("S 0.1 mM, E 5 nM")),
        "||concentration=0.1 mmol/L,enzyme-concentration=5 nmol/L|S 0.1 mM, E 5 nM"
    );
    // Which is which is not said.
    for text in ["0.1 mM, 10 uM", "S 0.1 mM, P 10 uM", "I 0.1 mM, I 10 uM"] {
        let held = read_column_header(text).held;
        assert!(
            held.iter()
                .all(|held| held.quantity.as_str() != "inhibitor-concentration"),
            "{text}"
        );
    }
}

#[test]
fn heads_that_people_write() {
    let wrong: Vec<String> = HEADS_THAT_PEOPLE_WRITE
        .iter()
        .filter_map(|&(text, wanted)| {
            let head = read_column_header(text);
            let got = summary(&head);
            (got != wanted).then(|| format!("`{text}`: wanted {wanted}\n      got {got}"))
        })
        .collect();
    assert!(
        wrong.is_empty(),
        "{} of {}\n{}",
        wrong.len(),
        HEADS_THAT_PEOPLE_WRITE.len(),
        wrong.join("\n")
    );
}

#[test]
fn a_contradiction_is_told_and_not_settled() {
    let head = read_column_header("Time (nm)");
    assert_eq!(head.quantity, None);
    assert!(
        head.quantities_possible.contains(&Quantity::TIME)
            && head.quantities_possible.contains(&Quantity::WAVELENGTH)
    );
}

#[test]
fn names_and_units_part() {
    for (text, wanted) in [
        ("Temp. (°C)", Some(("Temp.", "°C"))),
        ("Wavelength/nm", Some(("Wavelength", "nm"))),
        ("Zeit in min", Some(("Zeit", "min"))),
        ("lambda, nm", Some(("lambda", "nm"))),
        ("ε (l/(mol*cm))", Some(("ε", "l/(mol*cm)"))),
        ("Path length cm", Some(("Path length", "cm"))),
        ("Concentration (mM)", Some(("Concentration", "mM"))),
        ("Sample (fresh)", None),
        ("Sample", None),
        ("", None),
        ("()", None),
    ] {
        assert_eq!(split_unit(text), wanted, "{text}");
    }
}

proptest::proptest! {
    #[test]
    fn any_text_is_a_head(text in "\\PC{0,40}") {
        let head = read_column_header(&text);
        proptest::prop_assert!(head.quantity.is_none() || head.quantities_possible.is_empty());
        proptest::prop_assert!(head.held.iter().all(|c| c.value.is_finite()));
        let _ = split_unit(&text);
    }

    #[test]
    fn mixtures_of_the_trade_do_no_harm(parts in proptest::collection::vec(
        proptest::sample::select(vec!["A", "405", " nm", "(", ")", "[", "]", "/", "t", "=", " ", "min", "pH", "7", ",", ".", "–", "µM", "%T", "@", "_", "°C", "{", ":"]), 0..14)) {
        let text: String = parts.concat();
        let head = read_column_header(&text);
        proptest::prop_assert!(head.held.iter().all(|c| c.value.is_finite()));
    }
}

#[test]
fn factors_of_ten_in_heads() {
    let scales = [
        ("A x 1000", Some(3)),
        ("A·10³", Some(3)),
        ("10^3 A", Some(3)),
        ("A (10^-3)", Some(-3)),
        ("A / 10⁻³", Some(-3)),
        ("v x 10^6 (mM/s)", Some(6)),
        ("A x 10", Some(1)),
        ("A405", None),
        ("A (1000 nm)", None),
        ("A 1/10", None),
        ("Wavelength (cm-1)", None),
        ("sample x", None),
    ];
    for (head, wanted) in scales {
        assert_eq!(scale_of(head), wanted, "{head}");
    }
}

#[test]
fn what_is_derived_from_light_is_no_light() {
    for head in [
        "ln(A500)",
        "log A",
        "lnA",
        "-log(T)",
        "dA/dλ",
        "d²A/dλ²",
        "dA/dT",
        "1st derivative",
        "100 - %T",
        "1-T",
    ] {
        let quantity = read_column_header(head).quantity;
        assert!(is_derived_of_light(head), "{head}");
        let name = head.to_lowercase().replace('%', "").replace(" - ", "-");
        assert_eq!(quantity, Some(Quantity::named(name)), "{head}");
    }
    for head in ["A500", "dA/dt", "ΔA/min", "Log 7", "%T", "lg onde"] {
        assert!(!is_derived_of_light(head), "{head}");
    }
}

#[test]
fn heads_in_more_languages() {
    let table: &[(&str, &str)] = &[
        ("Bølgelængde (nm)", "wavelength|nm||"),
        ("Aallonpituus (nm)", "wavelength|nm||"),
        ("Vlnová délka [nm]", "wavelength|nm||"),
        ("Hullámhossz (nm)", "wavelength|nm||"),
        ("Dalga boyu (nm)", "wavelength|nm||"),
        ("Длина волны, нм", "wavelength|nm||"),
        ("ДЛИНА ВОЛНЫ (НМ)", "wavelength|nm||"),
        ("λ, нм", "wavelength|nm||"),
        ("Μήκος κύματος (nm)", "wavelength|nm||"),
        ("波長(nm)", "wavelength|nm||"),
        ("波长nm", "wavelength|nm||"),
        ("波長(㎚)", "wavelength|nm||"),
        ("波长/纳米", "wavelength|nm||"),
        ("Волновое число, см⁻¹", "wavenumber|/cm||"),
        ("Čas (s)", "time|s||"),
        ("čas v sekundách", "time|s||"),
        ("CAS", "|||CAS"),
        ("Idő (perc)", "time|min||"),
        ("Aika (min)", "time|min||"),
        ("Zaman (dk)", "time|min||"),
        ("Время, с", "time|s||"),
        ("Время в минутах", "time|min||"),
        ("Время (ч)", "time|h||"),
        ("Час, хв", "time|min||"),
        ("Χρόνος (λεπτά)", "time|min||"),
        ("时间(分)", "time|min||"),
        ("時間（秒）", "time|s||"),
        ("Absorbans ved 405 nm", "absorbance||wavelength=405 nm|"),
        ("Absorbance při 405 nm", "absorbance||wavelength=405 nm|"),
        (
            "Оптическая плотность при 405 нм",
            "absorbance||wavelength=405 nm|",
        ),
        ("吸光度(450nm)", "absorbance||wavelength=450 nm|"),
        ("450nm吸光度", "absorbance||wavelength=450 nm|"),
        ("吸光度", "absorbance|||"),
        ("А", "absorbance|||"),
        ("Пропускание, %", "transmittance|%||"),
        ("透過率(%)", "transmittance|%||"),
        ("Т, °С", "temperature|Cel||"),
        ("Температура, °С", "temperature|Cel||"),
        ("温度(℃)", "temperature|Cel||"),
        ("Концентрация, мкМ", "concentration|umol/L||"),
        ("производная D", "производная d|||"),
        ("conc_mg_per_L", "concentration|mg/L||"),
        ("conc_mg_L", "concentration|mg/L||"),
        ("DO_mg_L", "?concentration/absorbance|mg/L||"),
        ("DO mg L", "?concentration/absorbance|mg/L||"),
        ("abs_M_1", "absorbance|||M 1"),
        ("1/[S] (1/mM)", "1/[s]|L/mmol||"),
        ("yeast OD 600", "absorbance||wavelength=600 nm|yeast"),
        ("seconds since the start", "time|s||"),
        ("minutes after mixing", "time|min||"),
        ("nm (leaf)", "wavelength|nm||leaf"),
        ("UVT_percent", "transmittance|%||"),
        ("c / µmol/L", "concentration|umol/L||"),
        ("c / mol per L", "concentration|mol/L||"),
        ("gallic acid mg/L", "concentration|mg/L||gallic acid"),
        ("Sample C", "|||Sample C"),
        ("vzorec C", "|||vzorec C"),
        ("Probe K", "|||Probe K"),
        ("Temp C", "temperature|Cel||"),
        ("WT OD600", "absorbance||wavelength=600 nm|WT"),
        ("abs-1", "absorbance|||abs-1"),
        ("trasmittanza (0-1)", "transmittance|1||"),
        ("Jus brut (u.a. d'absorbance)", "absorbance|{AU}||Jus brut"),
        ("파장 (nm)", "wavelength|nm||"),
        ("상류 흡광도", "absorbance|||상류"),
        ("시간 (초)", "time|s||"),
        ("lungime de undă (nm)", "wavelength|nm||"),
        ("A 0.02 mol/L", "absorbance||concentration=0.02 mol/L|"),
        // Names stay names, even with a word of the trade in them.
        ("样品1", "|||样品1"),
        ("5 perc", "|||5 perc"),
        ("Tid (timer)", "time|h||"),
        ("吸光度甲", "|||吸光度甲"),
    ];
    let mut wrong = Vec::new();
    for (text, wanted) in table {
        // Full-width brackets are plain ones when a text is decoded.
        let text = text.replace('（', "(").replace('）', ")");
        let found = summary(&read_column_header(&text));
        if found != *wanted {
            wrong.push(format!("{text}: {found}, not {wanted}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn two_quantities_in_one_head_are_both_possible() {
    for text in [
        "Abs / %T",
        "A or T",
        "Absorbance oder Transmission",
        "A|T",
        "%R / %T",
    ] {
        let head = read_column_header(text);
        assert!(
            head.quantity.is_none() && head.quantities_possible.len() == 2,
            "{text}: {head:?}"
        );
    }
    for text in ["Abs", "A / AU", "A/min", "T / K", "Abs / OD"] {
        let head = read_column_header(text);
        assert!(head.quantity.is_some(), "{text}: {head:?}");
    }
}

#[test]
fn a_letter_of_something_else_is_no_absorbance() {
    for text in ["d (A)", "a (A)", "r / A"] {
        let head = read_column_header(text);
        assert!(head.quantity.is_none(), "{text}: {head:?}");
    }
    assert_eq!(read_column_header("I (A)").quantity.unwrap().as_str(), "current");
    assert_eq!(
        read_column_header("tube 1 (A)").quantity,
        Some(Quantity::ABSORBANCE)
    );
}

#[test]
fn units_that_are_stated_and_values_that_are_held() {
    for text in [
        "E / W m-2 nm-1",
        "A (cm-1)",
        "Abs, mV",
        "eps (10^3 M-1 cm-1)",
        "Zeit in min",
        "A [1/cm]",
    ] {
        assert!(states_unit(text), "{text}");
    }
    for text in [
        "A (1 cm)",
        "A (1 mM)",
        "Abs sample C",
        "time_s",
        "Absorbance",
        "Absorbance, 1 cm",
    ] {
        assert!(!states_unit(text), "{text}");
    }
}

#[test]
fn one_of_a_unit_is_a_value() {
    for (header, at) in [("A(1 min)", 1.0), ("A(2 min)", 2.0), ("A (1 min)", 1.0)] {
        let head = read_column_header(header);
        assert_eq!(head.quantity, Some(Quantity::ABSORBANCE), "{header}");
        let held: Vec<_> = head
            .held
            .iter()
            .map(|held| (held.quantity.as_str(), held.value))
            .collect();
        assert_eq!(held, [("time", at)], "{header}");
    }
}

#[test]
fn quantities_divided_by_their_unit() {
    for header in ["NADH / mM", "[NADH] / mM", "c(NADH) / mM", "Substrat X / µM"] {
        let head = read_column_header(header);
        assert_eq!(head.quantity, Some(Quantity::CONCENTRATION), "{header}");
        assert!(
            head.unit.is_some_and(|unit| unit.code().ends_with("mol/L")),
            "{header}"
        );
    }
    assert_eq!(read_column_header("mean / sd").quantity, None);
    assert_eq!(read_column_header("leaf / h").quantity, None);
}

#[test]
fn the_substance_in_a_unit_is_a_name() {
    for (head, wanted) in [
        ("mg P/l", "concentration|mg/L||P"),
        ("mg NO3-N/L", "concentration|mg/L||NO3-N"),
        ("mg CaCO3/l", "concentration|mg/L||CaCO3"),
        ("µg P/ml", "concentration|ug/mL||P"),
        ("c (mg N/L)", "concentration|mg/L||N"),
        ("Phosphate (mg P/l)", "concentration|mg/L||Phosphate, P"),
        ("mmol glucose/l", "concentration|mmol/L||glucose"),
        // As `LDH (U/ml)`: an activity.
        ("U LDH/ml", "rate|U/mL||LDH"),
        ("c (N)", "concentration|||N"),
    ] {
        assert_eq!(summary(&read_column_header(head)), wanted, "{head}");
    }
    assert_eq!(split_unit("mg P/l"), None);
    assert_eq!(split_unit("ml std"), None);
    assert_eq!(split_unit("V/ml"), Some(("V", "ml")));
    assert_eq!(split_unit("cells/ml"), None);
}

#[test]
fn what_was_computed_from_readings_keeps_its_whole_name() {
    for head in [
        "normalised absorbance",
        "norm. Abs",
        "relative absorbance",
        "A rel",
        "A/A(max)",
        "A offset",
        "A + 0.5",
        "A × dilution",
        "Predicted absorbance",
        "simulated Abs",
        "A fit",
        "A calc",
        "Absorbance expected",
        "Abs from literature",
        "Abs limit",
        "A340 - A400",
        "Abs 1 - Abs 2",
        "A after - A before",
        "A ±",
        "Abs. uncertainty",
        "Abs. dev.",
        "Abs CV (%)",
        "Extinktion berechnet",
        "Absorbance normalisée",
        "absorbancia calculada",
    ] {
        let found = read_column_header(head);
        assert!(is_derived(head), "{head}");
        assert!(
            found.quantity.is_some_and(|quantity| !quantity.is_of_light()),
            "{head}"
        );
        assert!(found.held.is_empty(), "{head}");
    }
    for head in [
        "Absorbance - red dye",
        "Abs - A1",
        "Abs + inhibitor",
        "FITC Abs",
        "device Abs",
        "A340",
        "Abs 1",
        "simvastatin Abs",
        "Absorbance beet - leaf",
        "A corrected",
    ] {
        assert!(!is_derived(head), "{head}");
    }
    for head in ["Abs - blank", "A sample - A blank", "A − blank"] {
        assert_eq!(summary(&read_column_header(head)), format!("absorbance|||{head}"));
    }
    assert_eq!(summary(&read_column_header("Absorption in %")), "absorptance|%||");
}

#[test]
fn factors_in_front_and_behind() {
    for (head, power) in [
        ("10^6 c (mol/L)", Some(6)),
        ("c (mM)/1000", Some(3)),
        ("c·10^6 (M)", Some(6)),
        ("All absorbances are multiplied by 10", Some(1)),
        ("Werte mit 1000 multipliziert", Some(3)),
        ("A (1:10)", None),
        ("c (mM)", None),
        ("10 c", None),
    ] {
        assert_eq!(scale_of(head), power, "{head}");
    }
}

#[test]
fn titles_of_computed_values() {
    let said = |line| computed_by_line(line).map(|quantity| quantity.to_string());
    let derivative = Some("derivative-of-absorbance".to_owned());
    assert_eq!(said("First derivative of the spectrum"), derivative);
    assert_eq!(said("Erste Ableitung"), derivative);
    assert_eq!(
        said("Spectrum, log10(A) given"),
        Some("logarithm-of-absorbance".to_owned())
    );
    assert_eq!(
        said("Normalized spectra (max = 1)"),
        Some("normalised-absorbance".to_owned())
    );
    assert_eq!(said("Dansyl derivative of glycine"), None);
    assert_eq!(said("not normalized spectra"), None);
    assert_eq!(said("normalised to protein"), None);
}

/// What stands in brackets in front of a stroke is a unit that goes on behind it, but for an element behind the symbol of an amount.
#[test]
fn brackets_with_a_unit_behind_them() {
    for (text, quantity, unit) in [
        ("v(M)/s", Some(Quantity::RATE), "mol/L/s"),
        ("dA(mAU)/min", Some(Quantity::RATE), "10*-3.{AU}/min"),
        ("\u{394}A (AU) / min", Some(Quantity::RATE), "{AU}/min"),
        ("\u{394}A (AU/min)", Some(Quantity::RATE), "{AU}/min"),
        ("m(C)/mg", None, "mg"),
    ] {
        let head = read_column_header(text);
        let told = (
            head.quantity.clone(),
            head.unit.as_ref().map(|unit| unit.code().to_owned()),
        );
        assert_eq!(told.0, quantity, "{text}");
        assert_eq!(told.1.as_deref(), Some(unit), "{text}");
    }
    // Of `1/min` nothing tells whether a rate constant is meant.
    assert_ne!(
        read_column_header("Absorbance (1/min)").quantity,
        Some(Quantity::RATE)
    );
}
