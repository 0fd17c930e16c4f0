//! Labels and their texts as claims, and back: exactly, as our own writer needs it.
//!
//! Labels of other programs' files only share [`key_of`]; their texts are understood as those of any other source.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::writers::digits::as_written;
use curvary_jcamp_dx::normalise_label;
use curvary_record::unit::spelled;
use curvary_record::{Claim, Key, Origin, Unit, Value, ValueKind, known_field, write_decimal};

/// Core labels that say what a known field says (JCAMP-DX 4.24 and 5.01), squeezed and as written.
const CORE: [(&str, &str, &str); 12] = [
    ("TITLE", "TITLE", "title"),
    ("DATATYPE", "DATA TYPE", "data-type"),
    ("ORIGIN", "ORIGIN", "origin"),
    ("OWNER", "OWNER", "owner"),
    ("SAMPLEDESCRIPTION", "SAMPLE DESCRIPTION", "sample"),
    ("PATHLENGTH", "PATHLENGTH", "path-length"),
    ("TEMPERATURE", "TEMPERATURE", "temperature"),
    ("DATE", "DATE", "date"),
    ("TIME", "TIME", "time"),
    ("STATE", "STATE", "state"),
    ("SPECTROMETERDATASYSTEM", "SPECTROMETER/DATA SYSTEM", "instrument"),
    ("DATAPROCESSING", "DATA PROCESSING", "processing"),
];

/// Core labels without a known field of ours: they are kept, and written, under their own names.
const OWN: [&str; 20] = [
    "SAMPLING PROCEDURE",
    "INSTRUMENTAL PARAMETERS",
    "SOURCE REFERENCE",
    "CROSS REFERENCE",
    "CLASS",
    "RESOLUTION",
    "PRESSURE",
    "CONCENTRATIONS",
    "CAS NAME",
    "IUPAC NAME",
    "NAMES",
    "MOLFORM",
    "CAS REGISTRY NO",
    "WISWESSER",
    "BEILSTEIN LAWSON NO",
    "MP",
    "BP",
    "REFRACTIVE INDEX",
    "DENSITY",
    "MW",
];

/// The field that a label speaks of. `spelled` is the label as it stood, with its `$` or `.`.
pub(crate) fn key_of(label: &str, spelled: &str) -> Key {
    if let Some((_, _, key)) = CORE.iter().find(|(squeezed, ..)| *squeezed == label) {
        return Key::new(*key);
    }
    let name = spelled.trim().trim_start_matches('$').trim();
    let plain = name.to_lowercase().replace([' ', '_', '/'], "-");
    if let Some(known) = known_field(&plain) {
        return Key::new(known.key);
    }
    // `PATHLENGTH` and the like: the key without its hyphens.
    static SQUEEZED: LazyLock<HashMap<String, &'static str>> = LazyLock::new(|| {
        // Of two keys that are one when squeezed the first counts.
        let fields = curvary_record::known_fields().iter().rev();
        fields
            .map(|known| (normalise_label(known.key), known.key))
            .collect()
    });
    let squeezed = label.trim_start_matches('$');
    Key::new(SQUEEZED.get(squeezed).copied().unwrap_or(name))
}

/// The label under which a field is written, when reading gives the same field back.
pub(crate) fn label_of(key: &str) -> Option<String> {
    let label = match CORE.iter().find(|(_, _, field)| *field == key) {
        Some((_, label, _)) => (*label).to_owned(),
        None if OWN.contains(&key) => key.to_owned(),
        None if known_field(key).is_some() => format!("${}", key.to_uppercase().replace('-', " ")),
        None => format!("${key}"),
    };
    let squeezed = normalise_label(&label);
    let plain = label.len() <= 40 && label.chars().all(|c| matches!(c, ' '..='~') && c != '=');
    let ours = squeezed.starts_with(&normalise_label(super::OURS));
    let back = key_of(&squeezed, &label);
    (plain && !ours && !label.starts_with("$$") && squeezed.len() > 1 && back.as_str() == key)
        .then_some(label)
}

/// What a text says under a key.
pub(crate) fn claim(key: &Key, text: &str, origin: Origin) -> Claim {
    let text = text.trim();
    let words = || Claim::text(text, origin.clone());
    match key.known().map(|known| known.kind) {
        Some(ValueKind::Text) => words(),
        Some(ValueKind::Number(usual)) => number(text, Some(usual), &origin).unwrap_or_else(words),
        Some(ValueKind::Range(usual)) => range(text, usual, &origin).unwrap_or_else(words),
        Some(ValueKind::Date) => match date(text) {
            Some(date) => Claim {
                raw: text.to_owned(),
                ..Claim::text(date, origin)
            },
            None => words(),
        },
        Some(ValueKind::TimeOfDay) => match time(text) {
            Some(time) => Claim {
                raw: text.to_owned(),
                ..Claim::text(time, origin)
            },
            None => words(),
        },
        // A bare number under a key that is not known may as well be a name.
        None => number(text, None, &origin)
            .filter(|claim| claim.unit.is_some())
            .unwrap_or_else(words),
    }
}

/// What a text of a private record says: a JSON string is words whatever the key, a bare number a number.
pub(crate) fn private_claim(key: &Key, text: &str, origin: Origin) -> Claim {
    if let Ok(words) = serde_json::from_str::<String>(text) {
        return Claim::text(words, origin);
    }
    match number(text, None, &origin) {
        Some(number) if key.known().is_none() => number,
        _ => claim(key, text, origin),
    }
}

/// The text that says a claim's value; [`claim`] reads it back.
pub(crate) fn text(claim: &Claim) -> String {
    let unit = claim.unit.as_ref().map_or("", |unit| match unit.code() {
        "1" => "",
        code => code,
    });
    let number = |value: f64| as_written(value, &claim.raw);
    let mut text = match &claim.value {
        Value::Text(text) => return text.clone(),
        Value::Number(value) => number(*value),
        Value::Range { from, to } => format!("{}..{}", number(*from), number(*to)),
    };
    if let Some(plus_minus) = claim.plus_minus {
        text = format!("{text} +- {}", number(plus_minus));
    }
    if !unit.is_empty() {
        text = format!("{text} {unit}");
    }
    text
}

/// A number, perhaps with an uncertainty, perhaps with a unit; `usual` is the unit of a bare one.
fn number(text: &str, usual: Option<&str>, origin: &Origin) -> Option<Claim> {
    let (value, mut rest) = leading_number(text)?;
    let mut plus_minus = None;
    if let Some(after) = ["+-", "+/-", "±"]
        .iter()
        .find_map(|sign| rest.trim_start().strip_prefix(sign))
    {
        let (spread, after) = leading_number(after.trim_start())?;
        plus_minus = Some(spread);
        rest = after;
    }
    let unit = unit(rest, usual)?;
    Some(Claim {
        plus_minus,
        ..Claim::number(value, unit, text, origin.clone())
    })
}

fn range(text: &str, usual: &str, origin: &Origin) -> Option<Claim> {
    let (from, rest) = leading_number(text)?;
    let rest = rest.trim_start();
    let rest = [".. ", "..", "to ", "- ", "-"]
        .iter()
        .find_map(|sign| rest.strip_prefix(sign))?;
    let (to, rest) = leading_number(rest.trim_start())?;
    let unit = unit(rest, Some(usual))?;
    Some(Claim {
        value: Value::Range { from, to },
        unit,
        ..Claim::text(text, origin.clone())
    })
}

/// The unit in the text behind a number: the usual one when there is no text. `None` when the text is no unit.
fn unit(rest: &str, usual: Option<&str>) -> Option<Option<Unit>> {
    let rest = rest.trim();
    let usual = usual.and_then(|usual| Unit::ucum(usual).ok());
    if rest.is_empty() {
        return Some(usual);
    }
    if let Some(usual) = &usual {
        if rest == usual.code() {
            return Some(Some(usual.clone()));
        }
        return match spelled(rest).like(usual) {
            Some(unit) => Some(Some(unit.clone())),
            None => Unit::ucum(rest)
                .ok()
                .filter(|unit| unit.converts_to(usual))
                .map(Some),
        };
    }
    // Under a key that is not known, a unit must be beyond doubt.
    spelled(rest).one().cloned().map(Some)
}

/// A decimal number at the start of a text, and what follows it.
///
/// A comma is a decimal sign when it cannot mark thousands.
fn leading_number(text: &str) -> Option<(f64, &str)> {
    let sign = usize::from(text.starts_with(['+', '-']));
    let digits = |from: usize| text[from..].bytes().take_while(u8::is_ascii_digit).count();
    let whole = digits(sign);
    let mut end = sign + whole;
    let mut number = text[..end].to_owned();
    let mut fraction = 0;
    if text[end..].starts_with(['.', ',']) && !text[end + 1..].starts_with('.') {
        fraction = digits(end + 1);
        if text[end..].starts_with(',') && (fraction == 0 || fraction == 3) {
            return None;
        }
        number.push('.');
        number.push_str(&text[end + 1..end + 1 + fraction]);
        end += 1 + fraction;
    }
    if whole + fraction == 0 {
        return None;
    }
    if text[end..].starts_with(['e', 'E']) {
        let sign = usize::from(text[end + 1..].starts_with(['+', '-']));
        let count = digits(end + 1 + sign);
        if count > 0 {
            number.push_str(&text[end..end + 1 + sign + count]);
            end += 1 + sign + count;
        }
    }
    let rest = &text[end..];
    // `7.4.1`, `12-05`, `1,2,3`: no number.
    if rest.starts_with(|c: char| c == '.' && !rest.starts_with("..") || c == ',' || c.is_ascii_digit()) {
        return None;
    }
    number
        .parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        .map(|value| (value, rest))
}

/// A day in ISO 8601 form, from `YYYY/MM/DD` or, as in 4.24, `YY/MM/DD`.
fn date(text: &str) -> Option<String> {
    let parts: Vec<&str> = text.split('/').collect();
    let [year, month, day] = parts.as_slice() else {
        return None;
    };
    // The pivot is that of POSIX `strptime`: 69 to 99 lie in the twentieth century.
    let century = match year.len() {
        4 => "",
        2 if *year >= "69" => "19",
        2 => "20",
        _ => return None,
    };
    let iso = format!("{century}{year}-{month}-{day}");
    iso.parse::<jiff::civil::Date>().ok().map(|_| iso)
}

/// A time of day in ISO 8601 form.
fn time(text: &str) -> Option<String> {
    let (hour, rest) = text.split_once(':')?;
    let padded = format!("{hour:0>2}:{rest}");
    padded
        .parse::<jiff::civil::Time>()
        .ok()
        .map(|time| time.to_string())
}

/// A long date of 5.01: the day, and the time of day where there is one.
pub(crate) fn long_date(text: &str) -> Option<(String, Option<String>)> {
    let mut words = text.split_whitespace();
    let day = date(words.next()?)?;
    Some((day, words.next().and_then(time)))
}

/// The one concentration of a `CONCENTRATIONS` list `(name, concentration, units)`, as `value unit`.
pub(crate) fn only_concentration(text: &str) -> Option<String> {
    let inner = text.trim().strip_prefix('(')?.strip_suffix(')')?;
    if inner.contains('(') {
        return None;
    }
    let parts: Vec<&str> = inner.split(',').map(str::trim).collect();
    let [_, value, unit] = parts.as_slice() else {
        return None;
    };
    let text = format!("{value} {unit}");
    let key = Key::new("concentration");
    let claim = claim(&key, &text, Origin::Source(curvary_record::Place::default()));
    matches!(claim.value, Value::Number(_)).then_some(text)
}

/// Decimals of a page value such as `30.0`.
pub(crate) fn page_value(text: &str) -> Option<(f64, String)> {
    let (value, rest) = leading_number(text.trim())?;
    rest.trim()
        .is_empty()
        .then(|| (value, write_decimal(value, None)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(key: &str, text: &str) -> (Value, Option<String>) {
        let claim = claim(
            &Key::new(key),
            text,
            Origin::Source(curvary_record::Place::line(1)),
        );
        (claim.value, claim.unit.map(|unit| unit.code().to_owned()))
    }

    #[test]
    fn numbers_have_their_units() {
        assert_eq!(
            value("temperature", "37.0"),
            (Value::Number(37.0), Some("Cel".into()))
        );
        assert_eq!(
            value("temperature", "310.15 K"),
            (Value::Number(310.15), Some("K".into()))
        );
        assert_eq!(
            value("path-length", "10 mm"),
            (Value::Number(10.0), Some("mm".into()))
        );
        assert_eq!(
            value("path-length", "1,0 cm"),
            (Value::Number(1.0), Some("cm".into()))
        );
        assert_eq!(
            value("temperature", "ambient"),
            (Value::Text("ambient".into()), None)
        );
        assert_eq!(value("Lamp", "7.4.1"), (Value::Text("7.4.1".into()), None));
        assert_eq!(
            value("wavelength-range", "700.0..380 nm"),
            (
                Value::Range {
                    from: 700.0,
                    to: 380.0
                },
                Some("nm".into())
            )
        );
    }

    /// DATE of 4.24 is `YY/MM/DD`, LONGDATE of 5.01 `YYYY/MM/DD HH:MM:SS.SSS`.
    #[test]
    fn dates_of_the_standard() {
        let date = |text: &str| match value("date", text).0 {
            Value::Text(text) => text,
            _ => String::new(),
        };
        assert_eq!(date("88/06/02"), "1988-06-02");
        assert_eq!(date("2019/05/04"), "2019-05-04");
        assert_eq!(date("04/05/2019"), "04/05/2019");
        assert_eq!(
            long_date("1999/01/31 08:15:30.500"),
            Some(("1999-01-31".into(), Some("08:15:30.5".into())))
        );
        assert_eq!(long_date("1999/01/31"), Some(("1999-01-31".into(), None)));
    }

    #[test]
    fn a_list_of_one_concentration_is_the_samples() {
        assert_eq!(
            only_concentration("(betanin, 0.05, mmol/L)").as_deref(),
            Some("0.05 mmol/L")
        );
        assert_eq!(only_concentration("(a, 1, mol/L) (b, 2, mol/L)"), None);
    }

    #[test]
    fn labels_lead_back_to_their_fields() {
        for known in curvary_record::known_fields() {
            let label = label_of(known.key).unwrap();
            assert_eq!(key_of(&normalise_label(&label), &label).as_str(), known.key);
        }
        assert_eq!(label_of("Lamp hours").as_deref(), Some("$Lamp hours"));
        assert_eq!(label_of("Küvette"), None);
        assert_eq!(label_of("a=b"), None);
    }
}
