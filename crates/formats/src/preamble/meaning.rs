//! The field that a key means, and what its value says under it.

use super::*;

/// Whether a key is of something that is made, kept and labelled elsewhere, a buffer: the temperature behind its name is its own.
pub(crate) fn is_kept_apart(key: &str) -> bool {
    matches!(
        field_of(key),
        Some("buffer" | "solvent" | "blank" | "reference" | "baseline" | "lot")
    )
}

/// What a key says of its value: that it was only set, or that it was read.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Standing {
    Set,
    Actual,
}

/// Whether a key of what an instrument is set to says that the value was set or read, `Set temperature`, `Temperature (actual)`,
/// `Isttemperatur`; and its other words.
fn standing(spelling: &str) -> Option<(Standing, String)> {
    let mut words: Vec<&str> = spelling
        .split([' ', '(', ')', '[', ']', '-', '_', '.', ','])
        .filter(|word| !word.is_empty())
        .collect();
    let of = |word: &str| {
        if words::is(WordList::SetValue, word) {
            Some(Standing::Set)
        } else if words::is(WordList::ActualValue, word) {
            Some(Standing::Actual)
        } else {
            None
        }
    };
    // `Solltemperatur`, `Isttemperatur`
    let lower = spelling.to_lowercase();
    for (front, standing) in [("soll", Standing::Set), ("ist", Standing::Actual)] {
        if let Some(rest) = lower
            .strip_prefix(front)
            .filter(|rest| field_of(rest) == Some("temperature"))
        {
            return Some((standing, rest.to_owned()));
        }
    }
    let at = words
        .iter()
        .position(|word| of(word).is_some())
        .filter(|_| words.len() >= 2)?;
    let standing = of(words.remove(at))?;
    Some((standing, words.join(" ")))
}

/// The field that a key with a word for set or read means: one of what an instrument is set to.
fn field_set_or_read(spelling: &str) -> Option<&'static str> {
    let (_, rest) = standing(spelling)?;
    field_of(&rest)
        .or_else(|| fields_if_fitting(&rest).first().copied())
        .filter(|field| matches!(*field, "temperature" | "wavelength"))
}

/// The key under which a value goes beside what is known of its field: one that was only set stays under its own word where
/// another says how it was, whichever of the two comes first.
pub(super) fn beside_what_was_set(fields: &mut Fields, field: Key, spelling: &str) -> Key {
    if field.as_str() == "date" {
        return beside_the_day_of_making(fields, field, spelling);
    }
    // `Thermostat: 29.8 °C` beside a key that calls its value the temperature tells of the thermostat.
    let is_device = |spelling: &str| {
        const SHORTEST: usize = 4;
        spelling.chars().count() >= SHORTEST && fields_if_fitting(spelling).contains(&field.as_str())
            || field.as_str() == "temperature" && is_of_a_place(spelling)
    };

    let is_set =
        |spelling: &str| matches!(standing(spelling), Some((Standing::Set, _))) || is_device(spelling);
    if !matches!(field.as_str(), "temperature" | "wavelength") {
        return field;
    }
    // What was set and what was read never stand under one field, so that the first that a key says tells of all.
    let first = fields
        .all(field.as_str())
        .iter()
        .find_map(|claim| claim.spelled.as_deref());
    let of_set = first.is_some_and(is_set);
    if is_set(spelling) {
        let known = first.is_some() && !of_set;
        return if known { Key::new(spelling) } else { field };
    }
    if of_set {
        for claim in fields.remove(field.as_str()) {
            let key = claim
                .spelled
                .as_deref()
                .filter(|spelled| is_set(spelled))
                .map(Key::new);
            fields.claim(key.unwrap_or_else(|| field.clone()), claim);
        }
    }
    field
}

/// The same for the day on which a file was made: it stays under its own word where another key says when was measured.
fn beside_the_day_of_making(fields: &mut Fields, field: Key, spelling: &str) -> Key {
    let of_making = |spelling: &str| words::is(WordList::Created, spelling);
    if of_making(spelling) {
        let known = fields.get("date").is_some();
        return if known { Key::new(spelling) } else { field };
    }
    let first = fields
        .all("date")
        .iter()
        .find_map(|claim| claim.spelled.as_deref());
    if first.is_some_and(of_making) {
        for claim in fields.remove("date") {
            let key = claim.spelled.as_deref().map_or_else(|| field.clone(), Key::new);
            fields.claim(key, claim);
        }
    }
    field
}

/// The name behind a word that says by whom: `by M. Deighton`.
pub(super) fn by_somebody(text: &str) -> Option<&str> {
    let (by, name) = text.split_once(' ')?;
    let name = name.trim_start();
    (words::is(WordList::By, by) && is_somebody(name)).then_some(name)
}

/// Whether the value under a known key says that there is none: `Operator: -`, `Date: n/a`. A word such as `empty` may be the
/// name of a sample, but neither a number nor a date.
pub(super) fn is_empty_value(spelling: &str, raw: &str) -> bool {
    let Some(known) = field_of(spelling).and_then(known_field) else {
        return false;
    };
    let missing = words::marker(raw) == Some(words::Marker::Missing);
    missing && (known.kind != ValueKind::Text || !raw.chars().all(char::is_alphabetic))
}

/// The field that a key means, and what the value says under it.
pub(super) fn understand(spelling: &str, raw: &str, customs: Customs) -> (Key, Interpretation) {
    // `Date (DD/MM/YYYY)`: the form in which the date was to be written says which number is the month.
    let (spelling, customs) = match date_form(spelling) {
        Some((name, order)) => (
            name,
            Customs {
                order: customs.order.or(Some(order)),
                ..customs
            },
        ),
        None => (spelling, customs),
    };
    // `temperature_c`: in keys of programs all letters are small.
    let respelled = spelling
        .strip_suffix("_c")
        .filter(|name| field_of(name) == Some("temperature"))
        .map(|name| format!("{name}_C"));
    let spelling = respelled.as_deref().unwrap_or(spelling);
    // `Temp. (°C)`: the name and its unit. A key that is known as a whole (`Sample no`) is not cut.
    // `campione [nome]`: what stands in brackets behind a known key of words only says more of it.
    let spelling = match spelling
        .strip_suffix([']', ')'])
        .and_then(|front| front.rsplit_once([' ']))
    {
        Some((front, inner))
            if inner.starts_with(['[', '('])
                && spelled(&inner[1..]) == Spelling::None
                && matches!(
                    field_of(front.trim()),
                    Some("sample" | "operator" | "title" | "solvent" | "buffer")
                ) =>
        {
            front.trim()
        }
        _ => spelling,
    };
    let whole = field_of(spelling);
    // `pH meter` is in no metres.
    let goes_with =
        |name: &str, unit: &str| match field_of(name).and_then(known_field).map(|known| known.kind) {
            Some(ValueKind::Number(custom) | ValueKind::Range(custom)) => Unit::ucum(custom)
                .is_ok_and(|custom| spelled(unit).units().iter().any(|unit| is_alike(unit, &custom))),
            // The `ns` of `operator ns` is somebody.
            Some(_) => false,
            None => true,
        };
    let parted = split_unit(spelling)
        .filter(|_| whole.is_none())
        .filter(|(name, unit)| crate::column_header::states_unit(spelling) || goes_with(name, unit));
    let stated: Option<Spelling> = parted.map(|(_, unit)| spelled(unit));
    let name = parted.map_or(spelling, |(name, _)| name);
    let read = |field: &str| {
        let found = interpret_as(&Key::new(field), raw, stated.as_ref(), customs);
        // The `1 cm` of `Layer: 1 cm oil` is that of the oil.
        let of_cell =
            || name.len() <= 4 || field_of(name).is_some() || fields_if_fitting(name).contains(&"cell");
        match length_in_front(raw).filter(|_| field == "path-length" && !found.fits && of_cell()) {
            // `cell = 10 mm quartz`
            Some(length) => Interpretation {
                fits: true,
                ..interpret_as(&Key::new(field), length, stated.as_ref(), customs)
            },
            None => found,
        }
    };
    let meant = whole
        .or_else(|| field_of(name))
        .or_else(|| field_set_or_read(name))
        .or_else(|| in_two_languages(name));
    if let Some((value, of)) = of_a_stock(raw).filter(|_| meant == Some("concentration")) {
        let key = Key::new(format!("{name} ({of})"));
        let found = interpret_as(&key, value, stated.as_ref(), customs);
        return (key, found);
    }
    if let Some(found) = warmth_of_a_place(name, meant, raw, read) {
        return (Key::new("temperature"), found);
    }
    let field = meant.filter(|field| {
        spelling.split_whitespace().count() < 2 && *field != "date" || is_of_kind(field, &read(field))
    });
    if let Some(field) = field {
        if field == "wavelength" && is_list_of_wavelengths(raw) {
            let list = raw.replace(',', " / ");
            return (
                Key::new(field),
                interpret_as(&Key::new("wavelengths"), &list, None, customs),
            );
        }
        let found = read(field);
        // A wavelength from–to is a range of wavelengths.
        if field == "wavelength" && matches!(found.value, Value::Range { .. }) {
            return (Key::new("wavelength-range"), found);
        }
        // `Date: 14.03.2021 10:32` also under `time`, and a time of day under a word for dates.
        return (Key::new(field), found);
    }
    for field in fields_if_fitting(name) {
        let found = read(field);
        // `Measured: 2007-06-13 by hq` says when, `Measured: hq` says by whom.
        let dated = raw.bytes().filter(u8::is_ascii_digit).count() >= 4;
        if *field == "date" && dated {
            return (Key::new(*field), found);
        }
        if *field == "operator" && (dated || !is_somebody(raw)) {
            continue;
        }
        let number = matches!(found.value, Value::Number(_) | Value::Range { .. });
        // `Cell (cm)`: the unit stands in the key.
        let unit_in_key = || stated.as_ref().is_some_and(|stated| has_unit_of(field, stated));
        let text_field = known_field(field).is_some_and(|known| known.kind == ValueKind::Text);
        // `Layer: 20 nm` is no way through a cell, and `Identification: Photometer 3` none of a sample.
        let length = *field == "path-length" && !keys::is_length_of_a_cell(&found);
        if length || *field == "sample-id" && !keys::suits(field, raw, &found, false) {
            continue;
        }
        if text_field || found.fits && (!number || found.unit_written || unit_in_key()) {
            return (Key::new(*field), found);
        }
    }
    if let Some(understood) = understand_by_parts((name, spelling), raw, stated.as_ref(), read) {
        return understood;
    }
    // The source's own word. A known field's name that the words do not list would be taken for that field.
    let own = if known_field(name).is_some() || meant.is_some() {
        spelling
    } else {
        name
    };
    let found = interpret_as(&Key::new(own), raw, stated.as_ref(), customs);
    (Key::new(own), found)
}

/// Whether a key of a temperature names the place beside it, or nothing else: `T bath`, `Cell holder`.
fn is_of_a_place(spelling: &str) -> bool {
    keys::composed(spelling) == Some("temperature") || field_of(spelling) == Some("accessory")
}

/// How warm a place is whose name is that of an accessory: `Cell holder: 25 °C`.
fn warmth_of_a_place(
    name: &str,
    meant: Option<&str>,
    raw: &str,
    read: impl Fn(&str) -> Interpretation,
) -> Option<Interpretation> {
    if meant != Some("accessory") || !raw.contains(['°', 'º', '℃']) {
        return None;
    }
    let held = name
        .split([' ', '-'])
        .all(|word| words::is(WordList::PlaceOfTemperature, word));
    let found = read("temperature");
    let sure = found.fits && found.unit_written && matches!(found.value, Value::Number(_));
    (held && sure).then_some(found)
}

/// The field of a key of which no list has the whole, `Reaction temperature`, `Tampon pH`, `pH of the buffer`, `Prøve-ID`, where the
/// value is of its kind.
fn understand_by_parts(
    (name, spelling): (&str, &str),
    raw: &str,
    stated: Option<&Spelling>,
    read: impl Fn(&str) -> Interpretation,
) -> Option<(Key, Interpretation)> {
    // `Prøve-ID`, `Data do ensaio`, `flow cell`
    if let Some(field) = keys::composed(name).or_else(|| keys::composed(spelling)) {
        let found = read(field);
        let unit_in_key = stated.is_some_and(|stated| has_unit_of(field, stated));
        if keys::suits(field, raw, &found, unit_in_key) {
            return Some((Key::new(field), found));
        }
    }
    // `Reaction temperature`: of what is measured, or of what it is measured in.
    if let Some((place, word)) = name.rsplit_once(' ')
        && words::is(WordList::PlaceOfTemperature, place)
        && field_of(word) == Some("temperature")
    {
        let found = read("temperature");
        if found.fits && matches!(found.value, Value::Number(_)) && (found.unit_written || stated.is_some()) {
            return Some((Key::new("temperature"), found));
        }
    }
    // `Tampon pH: 7,6`
    if let Some((medium, "pH")) = name.rsplit_once(' ')
        && words::is(WordList::Medium, medium)
    {
        return Some((Key::new("ph"), read("ph")));
    }
    // `Température du bain`, `pH of the buffer`: what it is of goes behind, and the value tells that it is meant.
    // With an unknown word it is of something else: `Température de stockage`.
    if let Some((field, of)) = words::about_its_genitive(name)
        && let Some(field) = field_of(field)
        && is_of_the_measured(of)
    {
        let found = read(field);
        let number = matches!(found.value, Value::Number(_));
        if found.fits && number && (found.unit_written || field == "ph") && field != "concentration" {
            return Some((Key::new(field), found));
        }
    }
    None
}

/// Whether a value may be the name of somebody, or initials: `hq`, `M. Weiss`, and no word for what was measured or how, `absorbance`,
/// `in duplicate`.
pub(super) fn is_somebody(raw: &str) -> bool {
    const MOST_WORDS: usize = 4;
    const LONGEST_INITIALS: usize = 3;
    let name = raw
        .split([',', ';', '(', '/', '&', '+'])
        .next()
        .unwrap_or(raw)
        .trim();
    let words: Vec<&str> = name.split_whitespace().collect();
    let of_the_trade = |word: &str| {
        let bare = word.trim_matches(|c: char| !c.is_alphanumeric());
        words::quantity_of(bare).is_some()
            || words::begins(WordList::Spectrum, &bare.to_lowercase())
            || words::is(WordList::InChain, bare)
            || words::is(WordList::Inside, bare)
    };
    let named = |word: &str| {
        let letters = word
            .chars()
            .all(|c| c.is_alphabetic() || matches!(c, '.' | '-' | '\''));
        letters && (!word.starts_with(char::is_lowercase) || word.chars().count() <= LONGEST_INITIALS)
    };
    // A lone capital letter or two may be a quantity and are initials as well.
    let initials =
        |word: &str| word.trim_end_matches('.').chars().count() <= 2 && word.starts_with(char::is_uppercase);
    (1..=MOST_WORDS).contains(&words.len())
        && words
            .iter()
            .all(|word| named(word) && (initials(word) || !of_the_trade(word)))
}

/// Whether all words of what a condition is of are known to mean what was measured, or where: `the bath`, `la cuve`.
fn is_of_the_measured(of: &str) -> bool {
    let mut words = of
        .split([' ', '\'', '’', '(', ')', '/'])
        .filter(|word| !word.is_empty());
    let known = |word: &str| {
        let lower = word.to_lowercase();
        word.chars().count() <= 3 && words::is(WordList::Genitive, word)
            || words::is(WordList::InChain, word)
            || words::is(WordList::PlaceOfTemperature, word)
            || words::is(WordList::Medium, word)
            || words::is(WordList::Measured, word)
            || words::begins(WordList::BegunThing, &lower)
            || words::begins(WordList::MeasuredThing, &lower)
            || words::ends(WordList::CellEnd, &lower)
            || is_known(word)
    };
    words.all(known)
}

/// A value under a concentration that is said to be of a stock, `5 mg/ml (Stammlösung)`: the value alone, and its word.
fn of_a_stock(raw: &str) -> Option<(&str, &str)> {
    let (value, of) = raw.strip_suffix(')')?.rsplit_once('(')?;
    let stock =
        words::is(WordList::Stock, of) || of.split_whitespace().any(|word| words::is(WordList::Stock, word));
    stock.then_some((value.trim(), of.trim()))
}

/// A key of a date without the form behind it, `Datum (TT.MM.JJJJ)`, `Date [yyyy-mm-dd]`, and the order of day, month and year that
/// the form names.
fn date_form(spelling: &str) -> Option<(&str, DatePartOrder)> {
    let (name, form) = spelling
        .strip_suffix([')', ']'])
        .and_then(|inner| inner.rsplit_once(['(', '[']))?;
    let name = name.trim();
    if field_of(name) != Some("date") {
        return None;
    }
    let form = form.to_lowercase();
    let parts: Vec<&str> = form
        .split(|c: char| !c.is_alphabetic())
        .filter(|part| !part.is_empty())
        .collect();
    let is = |part: &str, letters: &[char]| part.len() <= 4 && part.chars().all(|c| letters.contains(&c));
    let day = |part: &str| is(part, &['d', 't', 'j']);
    let month = |part: &str| is(part, &['m']);
    let year = |part: &str| is(part, &['y', 'j', 'a', 'r']);
    match parts.as_slice() {
        [first, second, third, ..] if day(first) && month(second) && year(third) => {
            Some((name, DatePartOrder::DayFirst))
        }
        [first, second, third, ..] if month(first) && day(second) && year(third) => {
            Some((name, DatePartOrder::MonthFirst))
        }
        [first, second, third, ..] if year(first) && month(second) && day(third) => {
            Some((name, DatePartOrder::YearFirst))
        }
        _ => None,
    }
}

/// The field that a key in two languages means: `Probe / sample`, `試料 Sample`, `Datum (date)`. Both words mean it.
fn in_two_languages(key: &str) -> Option<&'static str> {
    let one = |text: &str| field_of(text.trim().trim_end_matches(')'));
    let both = |(first, second): (&str, &str)| one(first).filter(|field| one(second) == Some(field));
    let by_mark = ["/", "|", "("]
        .into_iter()
        .find_map(|mark| key.split_once(mark).and_then(both));
    by_mark.or_else(|| {
        // A word of one script and one of another.
        let (first, second) = key.split_once(' ')?;
        (first.is_ascii() != second.is_ascii())
            .then_some((first, second))
            .and_then(both)
    })
}

/// The length that a value begins with, in front of what the cell is made of: the `10 mm` of `10 mm quartz`.
fn length_in_front(raw: &str) -> Option<&str> {
    const MOST_BEHIND: usize = 3;
    let unit = ["mm", "cm"]
        .into_iter()
        .find_map(|unit| raw.find(unit).map(|at| (at, unit)));
    let (at, unit) = unit?;
    let (length, behind) = raw.split_at(at + unit.len());
    let number = length[..at].trim().replace(',', ".").parse::<f64>();
    let words = || behind.split_whitespace();
    let of_cell = behind.starts_with([' ', ',']) && words().count() <= MOST_BEHIND;
    let plain = || words().all(|word| word.chars().all(|c| c.is_alphabetic() || matches!(c, ',' | '-')));
    let other_way = words().any(|word| words::is(WordList::NotAlongLight, word));
    (number.is_ok_and(|number| number > 0.0) && of_cell && plain() && !other_way).then_some(length)
}

/// Whether one unit can be turned into another, or both are of amounts.
pub(super) fn is_alike(unit: &Unit, custom: &Unit) -> bool {
    let amount = |unit: &Unit| {
        ["mol/L", "g/L", "U/L", "[iU]/L", "1"]
            .iter()
            .any(|code| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other)))
    };
    unit.converts_to(custom) || amount(unit) && amount(custom)
}

/// Whether a value is of its field's kind: `no. 7` under `pH meter` is no number, and the words mean something else.
fn is_of_kind(field: &str, found: &Interpretation) -> bool {
    /// A date has a day and a year, or a month and a year.
    const FEWEST_DIGITS: usize = 3;
    // `Datum;SAK-Messung E254;Bemerkung` are headers, and no date.
    if let (Value::Text(text), Some(ValueKind::Date), false) = (
        &found.value,
        known_field(field).map(|known| known.kind),
        found.fits,
    ) {
        let digits = text.bytes().filter(u8::is_ascii_digit).count();
        let is_reading = number_and_unit(text).is_some();
        return found.question.is_some()
            || digits >= FEWEST_DIGITS && !is_reading && !text.contains(['(', ')']);
    }
    !matches!(found.value, Value::Text(_))
        || found.question.is_some()
        || known_field(field).is_none_or(|known| !matches!(known.kind, ValueKind::Number(_)))
}

/// A number and the unit behind it, `540 nm`: under `Measured at` no day, and what was measured at.
fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let end = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))?;
    let (number, unit) = text.split_at(end);
    let number = number.replace(',', ".").parse().ok()?;
    (spelled(unit.trim()) != Spelling::None).then_some((number, unit.trim()))
}

/// `340,405` and `260,280 nm` are two wavelengths: no instrument tells thousandths of a nanometre.
fn is_list_of_wavelengths(raw: &str) -> bool {
    let numbers = raw.trim().trim_end_matches("nm").trim_end();
    let mut parts = numbers.split(',');
    let light = |part: &str| {
        part.len() == 3
            && part
                .parse::<u32>()
                .is_ok_and(|value| (185..=999).contains(&value))
    };
    numbers.contains(',') && parts.all(light)
}
