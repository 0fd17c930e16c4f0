//! From the text that stood somewhere to a value: numbers with units, ranges, dates, words.
//!
//! One set of rules for headers, notes, house words and file names. What cannot be understood without doubt stays
//! text; the raw text is never lost, since the claim keeps it beside the value.

use std::collections::BTreeMap;

use crate::moment::{self, DateReading, Order};
use crate::unit::{Spelling, spelled};
use crate::{Alternative, Claim, Code, Fields, Key, Question, Unit, Value, ValueKind, known_field};

/// What is settled about the way numbers and dates are written in a source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Customs {
    /// The order of dates.
    pub order: Option<Order>,
    /// Whether the decimal sign is a comma.
    pub decimal_comma: Option<bool>,
}

/// What a text means as the value of a field.
#[derive(Clone, Debug, PartialEq)]
pub struct Interpretation {
    /// The value; the text itself where it is not of the field's kind.
    pub value: Value,
    /// Its unit.
    pub unit: Option<Unit>,
    /// The uncertainty that stood beside it.
    pub plus_minus: Option<f64>,
    /// What a person must decide.
    pub question: Option<Question>,
    /// Whether the text is of the kind that the field holds. An unknown field takes any text.
    pub fits: bool,
    /// Whether the unit stood there (and is not the customary one).
    pub unit_written: bool,
    /// Something that the text says of another field: the time of day behind a date.
    pub aside: Option<(Key, Value)>,
    /// What was assumed, as a sentence: the century of a year with two digits.
    pub assumed: Option<String>,
}

impl Interpretation {
    fn text(raw: &str, fits: bool) -> Self {
        Self {
            value: Value::Text(unquoted(raw).to_owned()),
            unit: None,
            plus_minus: None,
            question: None,
            fits,
            unit_written: false,
            aside: None,
            assumed: None,
        }
    }

    fn number(value: Value, unit: Option<Unit>, plus_minus: Option<f64>, unit_written: bool) -> Self {
        Self {
            value,
            unit,
            plus_minus,
            unit_written,
            ..Self::text("", true)
        }
    }

    /// The claim that this makes, with the text that stood there.
    #[must_use]
    pub fn claim(&self, raw: impl Into<String>, origin: crate::Origin) -> Claim {
        Claim {
            value: self.value.clone(),
            unit: self.unit.clone(),
            plus_minus: self.plus_minus,
            raw: raw.into(),
            spelled: None,
            origin,
        }
    }
}

/// What `raw` means as the value of `key`.
#[must_use]
pub fn interpret(key: &Key, raw: &str, order: Option<Order>) -> Interpretation {
    let customs = Customs {
        order,
        ..Customs::default()
    };
    interpret_as(key, raw, None, customs)
}

/// The same with the unit that the key itself states (`Temp. (°C)`), and with what is settled about the source.
#[must_use]
pub fn interpret_as(key: &Key, raw: &str, stated: Option<&Spelling>, customs: Customs) -> Interpretation {
    let text = unquoted(raw);
    match key.known().map(|known| known.kind) {
        Some(ValueKind::Text) => Interpretation::text(raw, true),
        Some(ValueKind::Date) => date(raw, text, customs.order),
        Some(ValueKind::TimeOfDay) => time_of_day(raw, text, customs.order),
        Some(ValueKind::Number(custom)) => measure(key.as_str(), raw, Some(custom), stated, customs, false),
        Some(ValueKind::Range(custom)) => measure(key.as_str(), raw, Some(custom), stated, customs, true),
        None => measure(key.as_str(), raw, None, stated, customs, false),
    }
}

fn unquoted(raw: &str) -> &str {
    let text = raw.trim();
    for mark in ['"', '\''] {
        if let Some(inner) = text.strip_prefix(mark).and_then(|text| text.strip_suffix(mark)) {
            return inner.trim();
        }
    }
    text
}

/// A time of day, and the date where it stands in front: `started: 2020-07-16 09:41`.
fn time_of_day(raw: &str, text: &str, order: Option<Order>) -> Interpretation {
    let Some(time) = moment::read(text, order).time else {
        return Interpretation::text(raw, false);
    };
    let date = date(raw, text, order);
    if !date.fits || date.aside.is_none() {
        return Interpretation::text(&time, true);
    }
    let known = date.question.is_none();
    Interpretation {
        aside: known.then(|| (Key::new("date"), date.value)),
        value: Value::Text(time),
        ..date
    }
}

fn date(raw: &str, text: &str, order: Option<Order>) -> Interpretation {
    let moment = moment::read(text, order);
    let aside = moment.time.map(|time| (Key::new("time"), Value::Text(time)));
    match moment.date {
        DateReading::Read(date) => Interpretation {
            value: Value::Text(date.iso.clone()),
            aside,
            assumed: date.century_assumed.then(|| {
                format!(
                    "the year of `{text}` has two digits and was taken as {}",
                    &date.iso[..4]
                )
            }),
            ..Interpretation::text("", true)
        },
        DateReading::Undecidable(days) => {
            let by_year = days.iter().any(|(order, _)| *order == Order::YearFirst);
            let open = if by_year {
                "year may stand first or last"
            } else {
                "day and month may be swapped"
            };
            let reading = |(order, day): &(Order, moment::Date)| Alternative {
                assume: format!("date={}", order.as_str()),
                says: day.iso.clone(),
            };
            let question = Question {
                code: Code::new("day-or-month-first"),
                message: format!("`{text}` is a date whose {open}"),
                readings: days.iter().map(reading).collect(),
                labels: Vec::new(),
            };
            Interpretation {
                question: Some(question),
                aside,
                ..Interpretation::text(raw, true)
            }
        }
        DateReading::No => {
            // What is said behind the date is no part of it: `9 September 2019. All runs at 412 nm`.
            let fronts = [". ", "; "].iter().flat_map(|end| text.match_indices(end));
            let front = fronts
                .map(|(at, _)| &text[..at])
                .find(|front| moment::read_date(front, order) != DateReading::No);
            front.map_or_else(
                || Interpretation::text(raw, false),
                |front| date(raw, front, order),
            )
        }
    }
}

/// What a numeral means.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Numeral {
    One(f64),
    /// A comma (or point) before three digits: decimal sign or thousands mark.
    Either {
        decimal: f64,
        thousands: f64,
    },
}

/// A number as it stands in a label or a name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LabelNumber {
    /// It can only be this.
    Sure(f64),
    /// One mark before three digits, as in `1,000` and `1.000`: a decimal sign, or it parts the thousands.
    Doubtful {
        /// The mark as a decimal sign.
        decimal: f64,
        /// The mark as one that parts thousands.
        thousands: f64,
    },
}

/// The number that a word of a label or a name is; none where it is no number. `decimal_comma` says whether the decimal sign of what
/// the label belongs to is a comma, where that is known.
#[must_use]
pub fn number_in_label(word: &str, decimal_comma: Option<bool>) -> Option<LabelNumber> {
    let word = word.trim();
    let (numeral, rest) = numeral(word, decimal_comma)?;
    if !rest.is_empty() {
        return None;
    }
    let value = match numeral {
        Numeral::Either { decimal, thousands } => return Some(LabelNumber::Doubtful { decimal, thousands }),
        Numeral::One(value) => value,
    };
    // In running text a point before three digits is a decimal sign; a label is too short to say so.
    let digits = word.trim_start_matches(['-', '−', '–', '+']).trim_start();
    let grouped = digits.split_once('.').is_some_and(|(before, behind)| {
        (1..=3).contains(&before.len())
            && !before.starts_with('0')
            && behind.len() == 3
            && (before.bytes().chain(behind.bytes())).all(|byte| byte.is_ascii_digit())
    });
    Some(if grouped && decimal_comma.is_none() {
        LabelNumber::Doubtful {
            decimal: value,
            thousands: value * 1000.0,
        }
    } else {
        LabelNumber::Sure(value)
    })
}

/// Takes a numeral off the front of `text`.
fn numeral(text: &str, comma: Option<bool>) -> Option<(Numeral, &str)> {
    let mut digits = String::new();
    let mut rest = text;
    if let Some(left) = rest.strip_prefix(['-', '−', '–']) {
        digits.push('-');
        rest = left.trim_start();
    } else if let Some(left) = rest.strip_prefix('+') {
        rest = left.trim_start();
    }
    let end = rest
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '\'')))
        .unwrap_or(rest.len());
    // The points of `400..700` are no part of the number.
    let end = rest[..end].find("..").unwrap_or(end);
    let body = rest[..end].trim_end_matches(['.', ',', '\'']);
    let mut left = &rest[body.len()..];
    if !body.bytes().any(|b| b.is_ascii_digit()) || body.len() > 24 {
        return None;
    }
    // Groups of three behind a blank: `1 000`.
    let mut grouped = body.to_owned();
    if body.len() <= 3 && body.bytes().all(|b| b.is_ascii_digit()) && !body.starts_with('0') {
        while let Some(next) = left.strip_prefix([' ', '\u{A0}', '\u{202F}', '\u{2009}']) {
            let end = next.find(|c: char| !c.is_ascii_digit()).unwrap_or(next.len());
            if end != 3 {
                break;
            }
            grouped.push_str(&next[..3]);
            left = &next[3..];
        }
        if grouped.len() > body.len() {
            if let Some(decimals) = left.strip_prefix([',', '.']) {
                let end = decimals
                    .find(|c: char| !c.is_ascii_digit())
                    .unwrap_or(decimals.len());
                if end > 0 {
                    grouped.push('.');
                    grouped.push_str(&decimals[..end]);
                    left = &decimals[end..];
                }
            }
            comma_free(&grouped).then_some(())?;
        }
    }
    let (exponent, left) = exponent(left);
    let finish = |plain: &str| -> Option<f64> {
        let text = format!("{digits}{plain}e{exponent}");
        text.parse::<f64>().ok().filter(|value| value.is_finite())
    };
    let points = grouped.matches('.').count();
    let commas = grouped.matches(',').count();
    let apostrophes = grouped.contains('\'');
    let well_grouped = |body: &str, mark: char| {
        let mut groups = body.split(mark);
        groups
            .next()
            .is_some_and(|first| (1..=3).contains(&first.len()) && first != "0")
            && groups.all(|group| group.len() == 3 && group.bytes().all(|b| b.is_ascii_digit()))
    };
    let value = if apostrophes {
        let (whole, decimals) = grouped.split_once(['.', ',']).unwrap_or((&grouped, ""));
        (well_grouped(whole, '\'') && comma_free(decimals)).then_some(())?;
        Numeral::One(finish(&format!("{}.{decimals}0", whole.replace('\'', "")))?)
    } else {
        match (points, commas) {
            (0, 0) => Numeral::One(finish(&grouped)?),
            (1, 0) | (0, 1) => {
                let mark = if points == 1 { '.' } else { ',' };
                let (before, behind) = grouped.split_once(mark)?;
                let decimal = finish(&grouped.replace(',', "."))?;
                let may_be_thousands = well_grouped(&grouped, mark);
                let doubtful = match (mark, comma) {
                    (',', Some(true)) | ('.', Some(false)) => false,
                    // A comma where the point is the decimal sign can only part thousands.
                    (',', Some(false)) => {
                        may_be_thousands.then_some(())?;
                        let value = finish(&format!("{before}{behind}"))?;
                        return Some((Numeral::One(value), left));
                    }
                    ('.', Some(true)) => may_be_thousands,
                    // Nobody writes `37.125` for thirty-seven thousand where English or open formats are spoken;
                    // the comma is used both ways.
                    ('.', None) => false,
                    _ => may_be_thousands,
                };
                if doubtful && exponent == 0 {
                    Numeral::Either {
                        decimal,
                        thousands: finish(&format!("{before}{behind}"))?,
                    }
                } else {
                    Numeral::One(decimal)
                }
            }
            // `1,234.5` and `1.234,5`: the last mark is the decimal sign.
            (_, _) if points > 0 && commas > 0 => {
                let last = grouped.rfind(['.', ','])?;
                let (whole, decimals) = (&grouped[..last], &grouped[last + 1..]);
                let mark = if grouped.as_bytes()[last] == b'.' {
                    ','
                } else {
                    '.'
                };
                (well_grouped(whole, mark) && comma_free(decimals)).then_some(())?;
                Numeral::One(finish(&format!("{}.{decimals}0", whole.replace(mark, "")))?)
            }
            // `1,234,567`: thousands alone.
            (_, _) => {
                let mark = if points > 0 { '.' } else { ',' };
                well_grouped(&grouped, mark).then_some(())?;
                Numeral::One(finish(&grouped.replace(mark, ""))?)
            }
        }
    };
    Some((value, left))
}

fn comma_free(text: &str) -> bool {
    text.bytes().all(|b| b.is_ascii_digit() || b == b'.')
}

/// An exponent: `e-3`, `E+03`, `×10^3`, `x 10-3`, `*10^-3`, `· 10⁻³`.
fn exponent(text: &str) -> (i32, &str) {
    let number = |text: &str, bare: bool| -> Option<(i32, usize)> {
        let signed = usize::from(text.starts_with(['-', '+']));
        let digits = text[signed..].bytes().take_while(u8::is_ascii_digit).count();
        if digits == 0 || digits > 3 || (bare && signed == 0 && digits > 2) {
            return None;
        }
        Some((text[..signed + digits].parse().ok()?, signed + digits))
    };
    if let Some(rest) = text.strip_prefix(['e', 'E']) {
        // `5 E` is no exponent, and neither is the `e` of a word.
        if let Some((value, length)) = number(rest, true) {
            let behind = &rest[length..];
            if !behind.starts_with(|c: char| c.is_alphanumeric()) {
                return (value, behind);
            }
        }
        return (0, text);
    }
    let times = text.trim_start();
    if let Some(rest) = times.strip_prefix(['×', 'x', '*', '·', '⋅'])
        && let Some(rest) = rest.trim_start().strip_prefix("10")
    {
        if let Some((value, length)) = rest.strip_prefix('^').and_then(|rest| number(rest, false)) {
            return (value, &rest[1 + length..]);
        }
        if let Some((value, length)) = number(rest, false).filter(|_| rest.starts_with(['-', '+'])) {
            return (value, &rest[length..]);
        }
        let raised: String = rest
            .chars()
            .map_while(|c| match c {
                '⁻' => Some('-'),
                '¹' => Some('1'),
                '²' => Some('2'),
                '³' => Some('3'),
                '⁰' => Some('0'),
                '⁴'..='⁹' => char::from_digit(u32::from(c) - 0x2070, 10),
                _ => None,
            })
            .collect();
        if let Ok(value) = raised.parse::<i32>() {
            let length = rest
                .chars()
                .take(raised.chars().count())
                .map(char::len_utf8)
                .sum();
            return (value, &rest[length..]);
        }
    }
    (0, text)
}

/// A number or a range with what stood behind it.
struct Measure<'a> {
    from: Numeral,
    to: Option<Numeral>,
    plus_minus: Option<f64>,
    /// The text of the unit; empty when there was none.
    unit: &'a str,
}

/// Takes a text apart as a number or range with a unit. `None` when anything else stands in it.
fn take(text: &str, comma: Option<bool>) -> Option<Measure<'_>> {
    if text.len() > 80 {
        return None;
    }
    let mut rest = text.trim();
    for about in [
        "ca.", "ca", "circa", "approx.", "approx", "about", "etwa", "env.", "~", "≈",
    ] {
        let left = rest.strip_prefix(about).filter(|left| {
            about.starts_with(['~', '≈']) || left.starts_with([' ', '.']) || about.ends_with('.')
        });
        if let Some(left) = left {
            rest = left.trim_start();
            break;
        }
    }
    let from_word = ["from ", "von ", "de ", "desde ", "da ", "van ", "från ", "od "]
        .into_iter()
        .find_map(|word| strip_word(rest, word));
    let bracketed = rest.strip_prefix('(').and_then(|left| left.split_once(')'));
    if let Some((inner, behind)) = bracketed {
        let mut inner = take(inner, comma).filter(|measure| measure.unit.is_empty())?;
        inner.unit = unit_text(behind)?;
        return Some(inner);
    }
    let (from, left) = numeral(from_word.unwrap_or(rest), comma)?;
    let left = left.trim_start();
    for sign in ["±", "+/-", "+-", "+/−"] {
        if let Some(behind) = left.strip_prefix(sign) {
            let (Numeral::One(spread), behind) = numeral(behind.trim_start(), comma)? else {
                return None;
            };
            return Some(Measure {
                from,
                to: None,
                plus_minus: (spread >= 0.0).then_some(spread),
                unit: unit_text(behind)?,
            });
        }
    }
    if let Some(range) = range(from, left, comma) {
        return Some(range);
    }
    if from_word.is_some() {
        return None;
    }
    Some(Measure {
        from,
        to: None,
        plus_minus: None,
        unit: unit_text(left)?,
    })
}

fn strip_word<'a>(text: &'a str, word: &str) -> Option<&'a str> {
    let head = text.get(..word.len())?;
    let alike = if head.is_ascii() {
        head.bytes()
            .map(|byte| byte.to_ascii_lowercase())
            .eq(word.bytes())
    } else {
        head.to_lowercase() == word
    };
    alike.then(|| text[word.len()..].trim_start())
}

/// The second half of a range: `- 400 nm`, `nm to 700 nm`, `..700`.
fn range(from: Numeral, left: &str, comma: Option<bool>) -> Option<Measure<'_>> {
    let joins = [
        "...", "..", "…", "–", "—", "-", "to ", "bis ", "à ", "a ", "al ", "até ", "tot ", "till ", "do ",
        "→", "->",
    ];
    for join in joins {
        // The unit may stand behind both numbers: `400 nm - 700 nm`.
        let Some(at) = left.find(join) else { continue };
        let first_unit = left[..at].trim();
        if first_unit.len() > 12 || (!first_unit.is_empty() && spelled(first_unit) == Spelling::None) {
            continue;
        }
        // The hyphen of `cm-1` is no join.
        let behind = left[at + join.len()..].trim_start();
        if join == "-" && !first_unit.is_empty() && !left[..at].ends_with(' ') && !behind.contains(first_unit)
        {
            continue;
        }
        let Some((to, rest)) = numeral(behind, comma) else {
            continue;
        };
        let Some(unit) = unit_text(rest) else { continue };
        if !first_unit.is_empty() && spelled(first_unit) != spelled(unit) {
            continue;
        }
        return Some(Measure {
            from,
            to: Some(to),
            plus_minus: None,
            unit,
        });
    }
    None
}

/// The unit at the start of what stands behind a number. A remark without digits may follow (`37 °C (set)`).
fn unit_text(text: &str) -> Option<&str> {
    let text = text.trim();
    if text.is_empty() || spelled(text) != Spelling::None {
        return Some(text);
    }
    for mark in [" (", ",", ";", " ["] {
        if let Some((unit, remark)) = text.split_once(mark) {
            let unit = unit.trim();
            let harmless =
                !remark.contains(|c: char| c.is_ascii_digit()) && remark.chars().any(char::is_alphabetic);
            if harmless && (unit.is_empty() || spelled(unit) != Spelling::None) {
                return Some(unit);
            }
        }
    }
    None
}

/// Fields whose unit may be of other dimensions than the customary one, with codes of all that are meant.
fn kin(key: &str) -> &'static [&'static str] {
    match key {
        "concentration" | "substrate-concentration" | "inhibitor-concentration" | "enzyme-concentration" => {
            &["mol/L", "g/L", "U/mL", "[iU]/mL", "%", "mol/kg"]
        }
        "activity" => &["U/mL", "U/mg", "U", "[iU]/mL", "[iU]/mg", "[iU]"],
        "bandwidth" | "step" | "first-wavelength" | "last-wavelength" | "wavelength" | "wavelength-range" => {
            &["nm", "/cm"]
        }
        _ => &[],
    }
}

fn accepts(key: &str, custom: &Unit, unit: &Unit) -> bool {
    unit.converts_to(custom)
        || kin(key)
            .iter()
            .any(|code| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other)))
}

/// Whether a field can be in a unit: of the dimension of its customary one, or of one that the trade uses as well.
/// An unknown field can be in any.
#[must_use]
pub fn accepts_unit(key: &Key, unit: &Unit) -> bool {
    match key.known().map(|known| known.kind) {
        Some(ValueKind::Number(custom) | ValueKind::Range(custom)) => {
            Unit::ucum(custom).is_ok_and(|custom| accepts(key.as_str(), &custom, unit))
        }
        Some(_) => false,
        None => true,
    }
}

/// Whether a number without a unit can only be in the field's customary unit. The bounds are the common practice
/// of UV-visible laboratories; outside of them, and for fields that are written in several units, nothing is assumed.
fn sure_without_unit(key: &str, value: f64) -> bool {
    match key {
        "temperature" => (-20.0..=120.0).contains(&value),
        // Ten is ten millimetres or ten centimetres, and so are two, four and five.
        "path-length" => (0.01..=1.0).contains(&value),
        "wavelength" | "first-wavelength" | "last-wavelength" | "wavelength-range" => {
            (150.0..=1200.0).contains(&value)
        }
        "ph" => (0.0..=14.0).contains(&value),
        "bandwidth" | "step" => value > 0.0 && value <= 20.0,
        "scan-speed" => (1.0..=10_000.0).contains(&value),
        "cycle" | "points" | "dilution" => value >= 0.0,
        "stirring" => (10.0..=5000.0).contains(&value),
        "molar-absorption-coefficient" => value >= 100.0,
        "molar-mass" => value >= 10.0,
        _ => false,
    }
}

/// Whether a value in its unit is one that the field can have at all; used only to settle what else is open.
fn plausible(key: &str, value: f64, unit: &Unit) -> bool {
    let within = |code: &str, low: f64, high: f64| {
        Unit::ucum(code)
            .ok()
            .and_then(|other| unit.convert(value, &other).ok())
            .is_none_or(|value| (low..=high).contains(&value))
    };
    match key {
        "temperature" => within("Cel", -100.0, 400.0),
        "path-length" => within("cm", 0.0001, 50.0),
        "ph" => (-1.0..=15.0).contains(&value),
        "wavelength" | "first-wavelength" | "last-wavelength" | "wavelength-range" => {
            within("nm", 100.0, 5000.0)
        }
        "bandwidth" | "step" => within("nm", 0.0, 50.0),
        _ => true,
    }
}

fn measure(
    key: &str,
    raw: &str,
    custom: Option<&str>,
    stated: Option<&Spelling>,
    customs: Customs,
    wants_range: bool,
) -> Interpretation {
    let text = unquoted(raw);
    let nothing = || Interpretation::text(raw, custom.is_none());
    let custom = custom.and_then(|code| Unit::ucum(code).ok());
    if let Some(custom) = &custom
        && let Some(found) = special(key, text, custom)
    {
        return found;
    }
    let Some(measure) = take(text, customs.decimal_comma) else {
        return nothing();
    };
    let written = spelled(measure.unit);
    let unit_written = !measure.unit.is_empty();
    let candidates = if unit_written {
        written.units()
    } else {
        stated.map_or(&[][..], Spelling::units)
    };
    // A unit in the key and another at the value: which one holds is not ours to say.
    if let Some(stated) = stated.filter(|stated| unit_written && **stated != Spelling::None) {
        let agree = stated.units().iter().any(|unit| candidates.contains(unit));
        if !agree {
            return Interpretation {
                question: Some(two_units(text, stated, &written)),
                ..Interpretation::text(raw, custom.is_some())
            };
        }
    }
    let unit = match &custom {
        Some(custom) if !candidates.is_empty() => {
            let mut fitting = candidates.iter().filter(|unit| accepts(key, custom, unit));
            match (fitting.next(), fitting.next()) {
                (Some(unit), None) => Some(unit.clone()),
                _ => return nothing(),
            }
        }
        Some(custom) if !unit_written => Some(custom.clone()),
        None => match candidates {
            [only] => Some(only.clone()),
            _ => return nothing(),
        },
        Some(_) => return nothing(),
    };
    let Some(unit) = unit else { return nothing() };
    let has_unit = unit_written || !candidates.is_empty();
    let open = |numeral: Numeral| match numeral {
        Numeral::One(value) => Ok(value),
        Numeral::Either { decimal, thousands } => match (
            custom.is_some()
                && plausible(key, decimal, &unit)
                && (has_unit || sure_without_unit(key, decimal)),
            custom.is_some()
                && plausible(key, thousands, &unit)
                && (has_unit || sure_without_unit(key, thousands)),
        ) {
            (true, false) => Ok(decimal),
            (false, true) => Ok(thousands),
            _ => Err((decimal, thousands)),
        },
    };
    let numbers = (open(measure.from), measure.to.map(open).transpose());
    let (from, to) = match numbers {
        (Ok(from), Ok(to)) => (from, to),
        (Err((decimal, thousands)), _) | (_, Err((decimal, thousands))) => {
            let says = |value: f64| format!("{value} {}", unit.display()).trim().to_owned();
            let question = Question {
                code: Code::new("decimal-comma-or-separator"),
                message: format!("the comma in `{text}` may be a decimal sign or part thousands"),
                readings: vec![
                    Alternative {
                        assume: "decimal=comma".to_owned(),
                        says: says(decimal),
                    },
                    Alternative {
                        assume: "decimal=point".to_owned(),
                        says: says(thousands),
                    },
                ],
                labels: Vec::new(),
            };
            return Interpretation {
                question: custom.is_some().then_some(question),
                ..Interpretation::text(raw, true)
            };
        }
    };
    if custom.is_some()
        && !has_unit
        && ![Some(from), to]
            .into_iter()
            .flatten()
            .all(|v| sure_without_unit(key, v))
    {
        return nothing();
    }
    // Below absolute zero, or a pH of 70: something else was meant.
    if custom.is_some() && !plausible(key, from, &unit) {
        return nothing();
    }
    match to {
        Some(to) => Interpretation::number(Value::Range { from, to }, Some(unit), None, has_unit),
        None if wants_range => nothing(),
        None => Interpretation::number(Value::Number(from), Some(unit), measure.plus_minus, has_unit),
    }
}

fn two_units(text: &str, stated: &Spelling, written: &Spelling) -> Question {
    let names = |spelling: &Spelling| {
        let codes: Vec<String> = spelling.units().iter().map(Unit::to_string).collect();
        codes.join(" or ")
    };
    Question {
        code: Code::new("two-units"),
        message: format!(
            "the key says {}, and its value `{text}` says {}: a note with the right value settles it",
            names(stated),
            names(written)
        ),
        readings: Vec::new(),
        labels: Vec::new(),
    }
}

/// Forms that only some fields have: `1:10` of a dilution, `00:10:00` and `5 min 30 s` of a span of time.
fn special(key: &str, text: &str, custom: &Unit) -> Option<Interpretation> {
    if key == "dilution" {
        let (one, of) = text.split_once([':', '/'])?;
        let (one, of): (u32, u32) = (one.trim().parse().ok()?, of.trim().parse().ok()?);
        return (one == 1 && of >= 1)
            .then(|| Interpretation::number(Value::Number(f64::from(of)), Some(Unit::ONE), None, true));
    }
    if *custom != Unit::SECOND {
        return None;
    }
    let clock: Vec<&str> = text.split(':').collect();
    if let [hours, minutes, seconds] = clock.as_slice() {
        let whole = |part: &str| part.trim().parse::<u32>().ok();
        let (hours, minutes, seconds) = (whole(hours)?, whole(minutes)?, whole(seconds)?);
        if minutes > 59 || seconds > 59 || hours > 9999 {
            return None;
        }
        let total = f64::from(hours * 3600 + minutes * 60 + seconds);
        return Some(Interpretation::number(
            Value::Number(total),
            Some(Unit::SECOND),
            None,
            true,
        ));
    }
    // Whole numbers with falling units, each written.
    let mut total = 0.0;
    let mut parts = 0;
    let mut last = f64::INFINITY;
    let mut rest = text.trim();
    while !rest.is_empty() {
        let (Numeral::One(value), left) = numeral(rest, None)? else {
            return None;
        };
        let left = left.trim_start();
        let end = left.find(|c: char| c.is_ascii_digit()).unwrap_or(left.len());
        let unit = spelled(left[..end].trim()).like(&Unit::SECOND).cloned()?;
        let size = unit.to_si(1.0);
        if size >= last || value < 0.0 {
            return None;
        }
        last = size;
        total += unit.to_si(value);
        parts += 1;
        rest = &left[end..];
    }
    (parts >= 2).then(|| Interpretation::number(Value::Number(total), Some(Unit::SECOND), None, true))
}

/// The fields with the words of the house accepted: claims under an unknown key that `words` names (without regard to
/// case and blanks) move to the field it names, their raw text read anew. Claims that are not of the field's kind
/// stay where they are.
#[must_use]
pub fn apply_words(fields: &Fields, words: &BTreeMap<String, String>) -> Fields {
    let plain = |word: &str| {
        word.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase()
    };
    let accepted: BTreeMap<String, &str> = words
        .iter()
        .filter_map(|(word, field)| Some((plain(word), known_field(field)?.key)))
        .collect();
    let mut all = Fields::default();
    for (key, claims) in fields.iter() {
        let field = accepted
            .get(&plain(key.as_str()))
            .filter(|_| key.known().is_none());
        for claim in claims.iter().rev() {
            // Notes are put in front of each other, so the oldest goes first; the rest keep their order below.
            if claim.origin.rank() == 0 {
                take_over(&mut all, key, field.copied(), claim);
            }
        }
        for claim in claims.iter().filter(|claim| claim.origin.rank() != 0) {
            take_over(&mut all, key, field.copied(), claim);
        }
    }
    all
}

fn take_over(all: &mut Fields, key: &Key, field: Option<&str>, claim: &Claim) {
    let Some(field) = field.map(Key::new) else {
        all.claim(key.clone(), claim.clone());
        return;
    };
    let stated = claim.unit.clone().map(Spelling::One);
    let found = interpret_as(&field, &claim.raw, stated.as_ref(), Customs::default());
    if !found.fits || found.question.is_some() {
        all.claim(key.clone(), claim.clone());
        return;
    }
    let spelled = claim.spelled.clone().unwrap_or_else(|| key.to_string());
    all.claim(
        field,
        found
            .claim(claim.raw.clone(), claim.origin.clone())
            .spelled(spelled),
    );
}

/// The field that an unknown key probably means, going by its values, with the reason; for the worklist.
///
/// Every value must point to the same field. Nothing is claimed by this: a person accepts the word.
#[must_use]
pub fn guess_word(key: &str, values: &[&str]) -> Option<(&'static str, String)> {
    let unknown = Key::new(key);
    if unknown.known().is_some() || values.is_empty() {
        return None;
    }
    let mut guess: Option<&'static str> = None;
    for value in values {
        let found = guess_value(&unknown, value)?;
        if guess.is_some_and(|other| other != found) {
            return None;
        }
        guess = Some(found);
    }
    let field = guess?;
    let examples: Vec<String> = values
        .iter()
        .take(3)
        .map(|value| format!("`{}`", value.trim()))
        .collect();
    Some((
        field,
        format!("its values look like {field}: {}", examples.join(", ")),
    ))
}

fn guess_value(key: &Key, value: &str) -> Option<&'static str> {
    let found = interpret(key, value, None);
    let number = match found.value {
        Value::Number(number) => number,
        Value::Range { from, to } => {
            let unit = found.unit?;
            let nanometres = |value| {
                unit.convert(value, &Unit::NANOMETRE)
                    .is_ok_and(|nm| (150.0..=3500.0).contains(&nm))
            };
            return (nanometres(from) && nanometres(to)).then_some("wavelength-range");
        }
        Value::Text(text) => {
            let moment = moment::read(&text, None);
            return match (moment.date, moment.time) {
                (DateReading::No, Some(_)) => Some("time"),
                (DateReading::No, None) => None,
                _ => Some("date"),
            };
        }
    };
    let unit = found.unit?;
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    let nanometres = unit.convert(number, &Unit::NANOMETRE).ok();
    Some(match nanometres {
        Some(nm) if (150.0..=3500.0).contains(&nm) => "wavelength",
        Some(nm) if (1e5..=2e8).contains(&nm) => "path-length",
        Some(nm) if nm > 0.0 && nm <= 20.0 => "bandwidth",
        Some(_) => return None,
        None if like("K") => "temperature",
        None if like("[pH]") => "ph",
        None if like("mol/L") || like("g/L") => "concentration",
        None if like("L/mol/cm") => "molar-absorption-coefficient",
        None if like("nm/min") => "scan-speed",
        None if like("U/mL") || like("U/mg") => "activity",
        None if like("g/mol") => "molar-mass",
        None if like("L") => "volume",
        None if like("K/min") => "heating-rate",
        None => return None,
    })
}

#[cfg(test)]
mod tests;
