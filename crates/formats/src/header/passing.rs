//! What lines say of a run in passing, without a key: `37 °C, pH 7.0, 405 nm`, `flow cell, 2 mm`.

use curvary_record::moment::{self, DateReading};

use super::*;
use crate::words::List;

/// Conditions that lines of words and titles name in passing, each in a phrase of its own that says nothing else. A key says
/// more, and where two phrases disagree neither is taken.
#[derive(Clone, Debug, Default)]
pub(crate) struct Passing(Vec<(&'static str, Claim)>);

impl Passing {
    /// Hears a line, or a part of one.
    pub(crate) fn hear(&mut self, source: &Source, range: Range<usize>) {
        let line = text(source, range.clone());
        if line.len() > LONGEST_PASSING {
            return;
        }
        let customs = customs(source);
        for phrase in phrases(line) {
            if let Some((field, found)) = condition(line[phrase.clone()].trim(), customs) {
                let at = trim(line, phrase);
                let raw = &line[at.clone()];
                let at = range.start + at.start..range.start + at.end;
                self.0.push((field, found.claim(raw, origin(source, &at))));
            }
        }
    }

    /// Claims what all phrases agree on and no key says.
    pub(crate) fn settle(self, fields: &mut Fields) {
        for (at, (field, claim)) in self.0.iter().enumerate() {
            let first = self.0.iter().position(|(other, _)| other == field) == Some(at);
            let agreed = self
                .0
                .iter()
                .all(|(other, said)| other != field || said.value == claim.value && said.unit == claim.unit);
            if first && agreed && fields.all(field).is_empty() {
                fields.claim(*field, claim.clone());
            }
        }
    }
}

/// Longer lines are prose, which tells stories: `heated to 90 °C, then cooled`.
const LONGEST_PASSING: usize = 160;
/// A phrase of more words says more than a condition.
const MOST_WORDS_OF_A_PHRASE: usize = 6;

/// The phrases of a line: between commas, semicolons, brackets, bars, tabs, several blanks, and at the ends of sentences.
fn phrases(line: &str) -> Vec<Range<usize>> {
    let bytes = line.as_bytes();
    let digit = |at: Option<usize>| at.and_then(|at| bytes.get(at)).is_some_and(u8::is_ascii_digit);
    let mut phrases = Vec::new();
    let mut from = 0;
    for (at, byte) in bytes.iter().enumerate() {
        let next = bytes.get(at + 1);
        let cuts = match byte {
            b';' | b'|' | b'(' | b')' | b'[' | b']' | b'\t' => true,
            b',' => !(digit(at.checked_sub(1)) && digit(Some(at + 1))),
            b' ' => next == Some(&b' '),
            b':' => next.is_none_or(|next| *next == b' '),
            // `cell. (b) n.d.`, and not the `st. C` of a Polish degree.
            b'.' => next.is_none() || next == Some(&b' ') && !line[..at].ends_with("st"),
            _ => false,
        };
        if cuts {
            phrases.push(from..at);
            from = at + 1;
        }
    }
    phrases.push(from..line.len());
    phrases.retain(|phrase| !line[phrase.clone()].trim().is_empty());
    phrases
}

/// The condition that a phrase is, where it says nothing else: a temperature, a pH or a path length. A wavelength is held by
/// what was measured at it.
fn condition(phrase: &str, customs: Customs) -> Option<(&'static str, Interpretation)> {
    let tokens: Vec<&str> = phrase.split_whitespace().collect();
    if tokens.is_empty() || tokens.len() > MOST_WORDS_OF_A_PHRASE {
        return None;
    }
    let begins = |token: &&str| token.starts_with(|c: char| c.is_ascii_digit());
    let number = tokens
        .iter()
        .position(|token| begins(&token.trim_start_matches("pH")))?;
    if tokens.iter().filter(|token| begins(*token)).count() > 1 {
        return None;
    }
    let (before, rest) = tokens.split_at(number);
    if let Some(value) = rest[0].strip_prefix("pH").or_else(|| {
        let marked = before.last().is_some_and(|word| matches!(*word, "pH" | "pH="));
        marked.then_some(rest[0])
    }) {
        let found = interpret_as(&Key::new("ph"), value, None, customs);
        let known = found.fits && matches!(found.value, Value::Number(_));
        // `buffer pH 8.1`
        return (known && rest.len() == 1 && before.len() <= 2).then_some(("ph", found));
    }
    // The longest text behind the number that is a unit.
    let glued = rest[0].find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')));
    let (unit, behind) = (1..=rest.len().min(3)).rev().find_map(|count| {
        let whole = rest[..count].join(" ");
        let at = glued.unwrap_or(rest[0].len());
        let unit = whole[at..].trim().to_owned();
        (!unit.is_empty() && spelled(&unit) != Spelling::None).then(|| (unit, &rest[count..]))
    })?;
    let digits = &rest[0][..glued.unwrap_or(rest[0].len())];
    let units = spelled(&unit);
    let has = |wanted: &Unit| units.units().contains(wanted);
    let says = |code: &str| format!("{digits} {code}");
    let link = |word: &&str| words::is(List::Link, word) || words::is(List::At, word);
    let of = |field: &'static str| {
        move |word: &&str| field_of(word) == Some(field) || fields_if_fitting(word).contains(&field)
    };
    if has(&Unit::CELSIUS) {
        let found = interpret_as(&Key::new("temperature"), &says("°C"), None, customs);
        let Value::Number(value) = found.value else {
            return None;
        };
        let only = before
            .iter()
            .chain(behind)
            .all(|word| link(word) || of("temperature")(word));
        return (only && found.fits && (-80.0..=150.0).contains(&value)).then_some(("temperature", found));
    }
    let length = ["mm", "cm"]
        .into_iter()
        .find(|code| Unit::ucum(code).is_ok_and(|unit| has(&unit)))?;
    let found = interpret_as(&Key::new("path-length"), &says(length), None, customs);
    let Value::Number(value) = found.value else {
        return None;
    };
    let centimetres = if length == "cm" { value } else { value / 10.0 };
    let around: Vec<&str> = before.iter().chain(behind).copied().collect();
    // `2 mm flow cell`: one more word, and a word for the cell; alone, the lengths that cells have.
    let named = around.iter().any(|word| of("path-length")(word));
    let others = around
        .iter()
        .filter(|word| !link(word) && !of("path-length")(word))
        .count();
    let alone = around.is_empty() && [0.1, 0.2, 0.5, 1.0, 2.0, 4.0, 5.0, 10.0].contains(&centimetres);
    let fits = found.fits && (0.001..=100.0).contains(&centimetres);
    (fits && (alone || named && others <= 1)).then_some(("path-length", found))
}

/// Whether a phrase is a temperature, a pH or a path length, and says nothing else.
pub(crate) fn is_condition(phrase: &str) -> bool {
    condition(phrase.trim(), Customs::default()).is_some()
}

/// A value without the words of the paper behind it: `beet   page 1 of 3`.
pub(crate) fn furniture_off(line: &str, value: Range<usize>) -> Range<usize> {
    let text = &line[value.clone()];
    match text.rfind("  ") {
        Some(at) if words::is_furniture(text[at..].trim()) => {
            value.start..value.start + text[..at].trim_end().len()
        }
        _ => value,
    }
}

/// Claims what a line without keys says beyond doubt: `37 °C, pH 7.0, 405 nm`, `14.03.2021 10:32`.
///
/// Nothing is claimed unless every part of the line is understood; then the line is more than a comment.
pub fn claim_free(fields: &mut Fields, source: &Source, range: Range<usize>) {
    let whole = text(source, range.clone());
    let body = without_remark_sign(whole);
    let line = &whole[body.clone()];
    if line.is_empty() || line.len() > 160 {
        return;
    }
    let start = range.start + body.start;
    let customs = customs(source);
    let moment = moment::read(line, customs.order);
    let at = start..start + line.len();
    if let DateReading::Read(date) = &moment.date {
        fields.claim(
            "date",
            free(Value::Text(date.iso.clone()), None, line, source, &at),
        );
        if let Some(time) = moment.time {
            fields.claim("time", free(Value::Text(time), None, line, source, &at));
        }
        return;
    }
    let mut found: Vec<(&'static str, Claim)> = Vec::new();
    let mut offset = 0;
    for part in parts(line) {
        let from = start + offset + (part.len() - part.trim_start().len());
        offset += part.len() + 1;
        let part = part.trim();
        if part.is_empty() {
            continue;
        }
        let at = from..from + part.len();
        let Some((key, interpretation)) = free_part(part, customs) else {
            return;
        };
        if found.iter().any(|(other, _)| *other == key) {
            // Two temperatures in a row: which is the sample's is not ours to say.
            return;
        }
        found.push((key, interpretation.claim(part, origin(source, &at))));
    }
    for (key, claim) in found {
        fields.claim(key, claim);
    }
}

fn free(value: Value, unit: Option<Unit>, raw: &str, source: &Source, at: &Range<usize>) -> Claim {
    Claim {
        value,
        unit,
        plus_minus: None,
        raw: raw.to_owned(),
        spelled: None,
        origin: origin(source, at),
    }
}

/// The parts of a line, cut at commas (decimal ones excepted), semicolons and bars; each cut is one byte.
fn parts(line: &str) -> Vec<&str> {
    let bytes = line.as_bytes();
    let digit = |at: Option<usize>| at.and_then(|at| bytes.get(at)).is_some_and(u8::is_ascii_digit);
    let mut parts = Vec::new();
    let mut from = 0;
    for (at, byte) in bytes.iter().enumerate() {
        let decimal = digit(at.checked_sub(1)) && digit(Some(at + 1));
        if matches!(byte, b';' | b'|') || *byte == b',' && !decimal {
            parts.push(&line[from..at]);
            from = at + 1;
        }
    }
    parts.push(&line[from..]);
    parts
}

/// One part that names its field by its unit or by the word pH.
fn free_part(part: &str, customs: Customs) -> Option<(&'static str, Interpretation)> {
    if let Some(value) = part.strip_prefix("pH") {
        let value = value.trim_start_matches([' ', '=', ':']);
        let found = interpret_as(&Key::new("ph"), value, None, customs);
        return (found.fits && matches!(found.value, Value::Number(_))).then_some(("ph", found));
    }
    // A scan speed's unit is nobody else's; a temperature and a wavelength need their range too.
    ["temperature", "wavelength", "scan-speed"]
        .into_iter()
        .find_map(|field| {
            let found = interpret_as(&Key::new(field), part, None, customs);
            let Value::Number(number) = found.value else {
                return None;
            };
            let code = found
                .unit
                .as_ref()
                .map(|unit| unit.code().to_owned())
                .unwrap_or_default();
            let sure = match field {
                "temperature" => code == "Cel" && !part.ends_with('C') | part.contains(['°', 'º']),
                "wavelength" => code == "nm" && (185.0..=1100.0).contains(&number),
                _ => code == "nm/min",
            };
            (found.fits && found.unit_written && found.question.is_none() && sure).then_some((field, found))
        })
}
