//! From the text that stood somewhere to a value: numbers with units, ranges, dates, words.
//!
//! One set of rules for headers, notes, house words and file names. What cannot be understood without doubt stays
//! text; the raw text is never lost, since the claim keeps it beside the value.

mod local;
mod numeral;

pub use self::local::{apply_words, guess_word};
use self::numeral::{Numeral, numeral, take};
use crate::light;
use crate::moment::{self, DatePartOrder, DateReading};
use crate::unit::{Spelling, spelled};
use crate::{Alternative, Claim, Code, Key, Question, Unit, Value, ValueKind};

/// What is settled about the way numbers and dates are written in a source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Customs {
    /// The order of dates.
    pub order: Option<DatePartOrder>,
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
pub fn interpret(key: &Key, raw: &str, order: Option<DatePartOrder>) -> Interpretation {
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
fn time_of_day(raw: &str, text: &str, order: Option<DatePartOrder>) -> Interpretation {
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

fn date(raw: &str, text: &str, order: Option<DatePartOrder>) -> Interpretation {
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
            let by_year = days.iter().any(|(order, _)| *order == DatePartOrder::YearFirst);
            let open = if by_year {
                "year may stand first or last"
            } else {
                "day and month may be swapped"
            };
            let reading = |(order, day): &(DatePartOrder, moment::Date)| Alternative {
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
            light::UNDER_KEY.contains(&value)
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
            within("nm", *light::POSSIBLE.start(), *light::POSSIBLE.end())
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
                // Of a key that is not known nothing is computed: its words are kept as they stand.
                question: custom.is_some().then(|| two_units(text, stated, &written)),
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

#[cfg(test)]
mod tests;
