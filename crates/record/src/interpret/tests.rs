use std::collections::BTreeMap;

use super::*;
use crate::{Fields, Origin, Place};

fn shown(key: &str, raw: &str) -> String {
    let found = interpret(&Key::new(key), raw, None);
    let value = match &found.value {
        Value::Text(text) => format!("`{text}`"),
        other => other.to_string(),
    };
    let unit = found
        .unit
        .as_ref()
        .map(|unit| format!(" {unit}"))
        .unwrap_or_default();
    let spread = found
        .plus_minus
        .map(|spread| format!(" ±{spread}"))
        .unwrap_or_default();
    let asked = if found.question.is_some() { " ?" } else { "" };
    let not = if found.fits { "" } else { " !" };
    format!("{value}{unit}{spread}{asked}{not}")
}

/// A field, a value as people write it, and what is meant.
const VALUES_THAT_PEOPLE_WRITE: &[(&str, &str, &str)] = &[
    ("temperature", "37 °C", "37 Cel"),
    ("temperature", "37,0 °C", "37 Cel"),
    ("temperature", "37.0°C", "37 Cel"),
    ("temperature", "37C", "37 Cel"),
    ("temperature", "310.15 K", "310.15 K"),
    ("temperature", "25±0.1 °C", "25 Cel ±0.1"),
    ("temperature", "25 ± 0,1 °C", "25 Cel ±0.1"),
    ("temperature", "(25 ± 0.1) °C", "25 Cel ±0.1"),
    ("temperature", "25 +/- 0.5 °C", "25 Cel ±0.5"),
    ("temperature", "37 °C (set)", "37 Cel"),
    ("temperature", "37 °C, stirred", "37 Cel"),
    ("temperature", "25, stirred", "25 Cel"),
    // A letter in place of the decimal: the number is damaged, and no remark begins there.
    ("temperature", "25,r", "`25,r` !"),
    ("temperature", "25;r", "`25;r` !"),
    ("temperature", "ca. 25 °C", "25 Cel"),
    ("temperature", "~25 °C", "25 Cel"),
    ("temperature", "25", "25 Cel"),
    ("temperature", "\"25\"", "25 Cel"),
    ("temperature", "298", "`298` !"),
    ("temperature", "20-25 °C", "20..25 Cel"),
    ("temperature", "-5 °C", "-5 Cel"),
    ("temperature", "−5 °C", "-5 Cel"),
    ("temperature", "RT", "`RT` !"),
    ("temperature", "25 nm", "`25 nm` !"),
    (
        "temperature",
        "set 37 °C, actual 36.8",
        "`set 37 °C, actual 36.8` !",
    ),
    ("temperature", "37 °C, 36.8 °C", "`37 °C, 36.8 °C` !"),
    ("temperature", "-400 °C", "`-400 °C` !"),
    ("temperature", "", "`` !"),
    ("wavelength", "405 nm", "405 nm"),
    ("wavelength", "405", "405 nm"),
    ("wavelength", "405,5 nm", "405.5 nm"),
    ("wavelength", "0.405 µm", "0.405 um"),
    ("wavelength", "405, 412 nm", "`405, 412 nm` !"),
    ("wavelength", "25000 cm-1", "25000 /cm"),
    ("wavelength", "7", "`7` !"),
    ("wavelength-range", "700 - 400 nm", "700..400 nm"),
    ("wavelength-range", "700-400 nm", "700..400 nm"),
    ("wavelength-range", "400..700", "400..700 nm"),
    ("wavelength-range", "400–700 nm", "400..700 nm"),
    ("wavelength-range", "400 nm - 700 nm", "400..700 nm"),
    ("wavelength-range", "400nm-700nm", "400..700 nm"),
    ("wavelength-range", "400 to 700 nm", "400..700 nm"),
    ("wavelength-range", "from 400 to 700 nm", "400..700 nm"),
    ("wavelength-range", "von 400 bis 700", "400..700 nm"),
    ("wavelength-range", "de 400 à 700 nm", "400..700 nm"),
    ("wavelength-range", "400,0 ... 700,0 nm", "400..700 nm"),
    ("wavelength-range", "400 nm", "`400 nm` !"),
    ("wavelength-range", "full", "`full` !"),
    ("ph", "7.4", "7.4 [pH]"),
    ("ph", "7,4", "7.4 [pH]"),
    ("ph", "7.40 ± 0.02", "7.4 [pH] ±0.02"),
    ("ph", "74", "`74` !"),
    ("path-length", "1 cm", "1 cm"),
    ("path-length", "10 mm", "10 mm"),
    ("path-length", "1", "1 cm"),
    ("path-length", "10", "`10` !"),
    ("path-length", "1,000 cm", "1 cm"),
    ("path-length", "1.000 cm", "1 cm"),
    ("concentration", "50 µM", "50 umol/L"),
    ("concentration", "50 µmol/L", "50 umol/L"),
    ("concentration", "0,5 mg/ml", "0.5 mg/mL"),
    ("concentration", "5e-5 M", "0.00005 mol/L"),
    ("concentration", "5,0E-5 mol/l", "0.00005 mol/L"),
    ("concentration", "5×10^-5 M", "0.00005 mol/L"),
    ("concentration", "5 x 10-5 M", "0.00005 mol/L"),
    ("concentration", "5·10⁻⁵ mol/L", "0.00005 mol/L"),
    ("concentration", "1,234 mM", "`1,234 mM` ?"),
    ("concentration", "1.234 mM", "1.234 mmol/L"),
    ("concentration", "0,123 mM", "0.123 mmol/L"),
    ("concentration", "1,234.5 nM", "1234.5 nmol/L"),
    ("concentration", "1.234,5 nM", "1234.5 nmol/L"),
    ("concentration", "1 234 nM", "1234 nmol/L"),
    ("concentration", "1'234 nM", "1234 nmol/L"),
    ("concentration", "1,234,567 nM", "1234567 nmol/L"),
    ("concentration", "50", "`50` !"),
    ("concentration", "50 mm", "`50 mm` !"),
    ("concentration", "5 %", "5 %"),
    ("interval", "10 s", "10 s"),
    ("interval", "0.5 min", "0.5 min"),
    ("interval", "10", "`10` !"),
    ("duration", "5 min 30 s", "330 s"),
    ("duration", "1 h 30 min", "5400 s"),
    ("duration", "00:10:00", "600 s"),
    ("duration", "10:00", "`10:00` !"),
    ("scan-speed", "200 nm/min", "200 nm/min"),
    ("scan-speed", "240", "240 nm/min"),
    ("bandwidth", "1.0 nm", "1 nm"),
    ("bandwidth", "1,5", "1.5 nm"),
    ("stirring", "500 rpm", "500 /min"),
    ("stirring", "500 U/min", "500 /min"),
    ("stirring", "on", "`on` !"),
    ("dilution", "1:10", "10 1"),
    ("dilution", "1/20", "20 1"),
    ("dilution", "10", "10 1"),
    (
        "molar-absorption-coefficient",
        "18000 L mol-1 cm-1",
        "18000 L/mol/cm",
    ),
    ("molar-absorption-coefficient", "18.0 mM-1 cm-1", "18 L/mmol/cm"),
    ("molar-absorption-coefficient", "6220", "6220 L/mol/cm"),
    ("molar-absorption-coefficient", "6.22", "`6.22` !"),
    (
        "molar-absorption-coefficient",
        "18 000 l/(mol*cm)",
        "18000 L/mol/cm",
    ),
    ("activity", "4.2 U/mL", "4.2 U/mL"),
    ("volume", "1 mL", "1 mL"),
    ("volume", "1000 µl", "1000 uL"),
    ("date", "14.03.2021", "`2021-03-14`"),
    ("date", "03/04/2021", "`03/04/2021` ?"),
    ("date", "12 points", "`12 points` !"),
    (
        "date",
        "9 September 2019. All runs at 412 nm, 25 °C.",
        "`2019-09-09`",
    ),
    ("date", "3. 4. 2021; second day", "`2021-04-03`"),
    ("date", "3. 14. 2021. x", "`2021-03-14`"),
    ("date", "Run 3. See book.", "`Run 3. See book.` !"),
    ("time", "10:32:05", "`10:32:05`"),
    ("time", "10.32 Uhr", "`10:32`"),
    ("time", "30 s", "`30 s` !"),
    ("sample", " betanin 5 mM ", "`betanin 5 mM`"),
    ("jacket", "37 °C", "37 Cel"),
    ("jacket", "warm", "`warm`"),
    ("gain", "3", "`3`"),
    ("ratio", "1,234 mM", "`1,234 mM`"),
    ("code", "007 m", "`007 m`"),
    ("lamp current", "2 A", "`2 A`"),
];

#[test]
fn values_that_people_write() {
    let wrong: Vec<String> = VALUES_THAT_PEOPLE_WRITE
        .iter()
        .filter(|&&(key, raw, wanted)| shown(key, raw) != wanted)
        .map(|&(key, raw, wanted)| format!("{key} `{raw}`: wanted {wanted}, got {}", shown(key, raw)))
        .collect();
    assert!(
        wrong.is_empty(),
        "{} of {}\n{}",
        wrong.len(),
        VALUES_THAT_PEOPLE_WRITE.len(),
        wrong.join("\n")
    );
}

#[test]
fn the_decimal_sign_of_the_source_settles() {
    let key = Key::new("concentration");
    let read = |raw: &str, comma: bool| {
        let customs = Customs {
            decimal_comma: Some(comma),
            ..Customs::default()
        };
        interpret_as(&key, raw, None, customs).value
    };
    assert_eq!(read("1,234 mM", true), Value::Number(1.234));
    assert_eq!(read("1,234 mM", false), Value::Number(1234.0));
    assert_eq!(read("1,23 mM", true), Value::Number(1.23));
    assert_eq!(read("1,23 mM", false), Value::Text("1,23 mM".into()));
}

#[test]
fn units_in_the_key_hold_unless_the_value_contradicts() {
    let key = Key::new("concentration");
    let stated = spelled("mM");
    let found = interpret_as(&key, "0,5", Some(&stated), Customs::default());
    assert_eq!(
        (found.value, found.unit),
        (Value::Number(0.5), Unit::ucum("mmol/L").ok())
    );
    let found = interpret_as(&key, "50 uM", Some(&stated), Customs::default());
    assert!(found.question.is_some() && found.value == Value::Text("50 uM".into()));
}

#[test]
fn house_words_read_the_raw_text_anew() {
    let source = |line| Origin::Source(Place::line(line));
    let mut fields = Fields::default();
    let jacket = Key::new("jacket");
    for (line, raw) in [(1, "37,0 °C"), (2, "warm")] {
        let found = interpret(&jacket, raw, None);
        fields.claim(jacket.clone(), found.claim(raw, source(line)));
    }
    fields.claim("sample", Claim::text("betanin", source(3)));
    let words = BTreeMap::from([("Jacket".to_owned(), "temperature".to_owned())]);
    let applied = apply_words(&fields, &words);
    let claim = applied.get("temperature").expect("it moved");
    assert_eq!(
        (claim.value.clone(), claim.unit.clone()),
        (Value::Number(37.0), Some(Unit::CELSIUS))
    );
    assert_eq!(
        (claim.raw.as_str(), claim.spelled.as_deref()),
        ("37,0 °C", Some("jacket"))
    );
    // What is no temperature stays under its own word.
    assert_eq!(
        applied.get("jacket").map(|claim| claim.raw.as_str()),
        Some("warm")
    );
    assert_eq!(applied.text("sample"), Some("betanin"));
    assert_eq!(apply_words(&applied, &words), applied);
    assert_eq!(apply_words(&fields, &BTreeMap::new()), fields);
}

#[test]
fn values_tell_what_a_house_word_means() {
    let field = |values: &[&str]| guess_word("jacket", values).map(|found| found.0);
    assert_eq!(field(&["37 °C", "25,0 °C"]), Some("temperature"));
    assert_eq!(field(&["405 nm"]), Some("wavelength"));
    assert_eq!(field(&["10 mm", "1 cm"]), Some("path-length"));
    assert_eq!(field(&["400-700 nm"]), Some("wavelength-range"));
    assert_eq!(field(&["14.03.2021", "03/04/2021"]), Some("date"));
    assert_eq!(field(&["50 µM"]), Some("concentration"));
    assert_eq!(field(&["37 °C", "405 nm"]), None);
    assert_eq!(field(&["37 °C", "warm"]), None);
    assert_eq!(field(&["3"]), None);
    assert_eq!(field(&[]), None);
    assert_eq!(guess_word("temperature", &["37 °C"]), None);
}
