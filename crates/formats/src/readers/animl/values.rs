//! The values of a series: written one by one, counted up, or packed in base64.

use std::borrow::Cow;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use curvary_record::Span;

use crate::readers::xml::XmlElement;
use crate::sink::SourceLimits;

/// Why a series has no values that can be taken.
#[derive(Debug, thiserror::Error)]
pub(super) enum SeriesFault {
    #[error("its values are of the type `{0}`, and not numbers")]
    NotNumbers(String),
    #[error("it has no values")]
    Empty,
    #[error("some of its values are packed and some are not")]
    PartlyPacked,
    #[error("it has {found} values, and its set says that there are {stated}")]
    Length { found: usize, stated: usize },
    #[error("`{0}` is no index")]
    NoIndex(String),
    #[error("a value set begins at index {start}, and {expected} was expected")]
    Start { start: usize, expected: usize },
    #[error("a value set ends at index {0}")]
    End(usize),
    #[error("a value set from index {start} to {end} has {found} values")]
    Count { start: usize, end: usize, found: usize },
    #[error("`{0}` is no set of values that is known")]
    UnknownSet(String),
    #[error("values that count up do not say where they end")]
    Endless,
    #[error("values that count up have no plain decimal as `{0}`")]
    NoDecimal(&'static str),
    #[error("values that count up grow too great")]
    TooGreat,
    #[error("its base64 is damaged: {0}")]
    Base64(#[from] base64::DecodeError),
    #[error("{bytes} bytes are no whole count of numbers of the type `{kind}`")]
    Width { bytes: usize, kind: String },
    #[error("it has too many values")]
    TooMany,
    #[error("it holds an infinite number")]
    Infinite,
    #[error("it has {found} values of {stated}")]
    PackedLength { found: usize, stated: usize },
    #[error("{0} is too great to be held exactly")]
    Inexact(i64),
}

/// A series of values.
pub(super) struct ValueSeries<'n> {
    pub(super) name: &'n str,
    /// The unit's label.
    pub(super) unit: &'n str,
    /// What the unit is said to measure.
    pub(super) quantity: &'n str,
    /// The one base unit of the SI that it is made of, with its factor.
    pub(super) base: Option<(&'n str, f64)>,
    pub(super) span: Span,
    pub(super) values: SeriesCells<'n>,
}

/// Values as they were given.
pub(super) enum SeriesCells<'n> {
    /// As texts; an empty one is no value.
    Texts(Vec<(Cow<'n, str>, Span)>),
    /// As binary numbers; NaN is no value.
    Numbers(Vec<f64>),
}

impl ValueSeries<'_> {
    pub(super) fn len(&self) -> usize {
        match &self.values {
            SeriesCells::Texts(texts) => texts.len(),
            SeriesCells::Numbers(numbers) => numbers.len(),
        }
    }

    /// A value as text, with its place.
    pub(super) fn cell(&self, row: usize) -> (Cow<'_, str>, Span) {
        match &self.values {
            SeriesCells::Texts(texts) => texts
                .get(row)
                .map_or((Cow::Borrowed(""), self.span), |(text, span)| {
                    (Cow::Borrowed(text), *span)
                }),
            SeriesCells::Numbers(numbers) => {
                let number = numbers.get(row).filter(|number| !number.is_nan());
                (
                    number.map_or(Cow::Borrowed(""), |number| Cow::Owned(number.to_string())),
                    self.span,
                )
            }
        }
    }
}

/// Whether a series says that its values are numbers.
pub(super) fn is_of_numbers(node: &XmlElement) -> bool {
    let kind = node.attribute("seriesType").unwrap_or("");
    matches!(kind, "Int32" | "Int64" | "Float32" | "Float64" | "")
}

/// As [`series`], where words are values too.
pub(super) fn series_or_words(
    node: &XmlElement,
    length: Option<usize>,
) -> Result<ValueSeries<'_>, SeriesFault> {
    read(node, length)
}

/// The series of a node; why it is none of numbers. `length` is what the set says.
pub(super) fn series(node: &XmlElement, length: Option<usize>) -> Result<ValueSeries<'_>, SeriesFault> {
    if !is_of_numbers(node) {
        let kind = node.attribute("seriesType").unwrap_or("");
        return Err(SeriesFault::NotNumbers(kind.to_owned()));
    }
    read(node, length)
}

fn read(node: &XmlElement, length: Option<usize>) -> Result<ValueSeries<'_>, SeriesFault> {
    let kind = node.attribute("seriesType").unwrap_or("");
    let sets: Vec<&XmlElement> = node
        .children
        .iter()
        .filter(|child| child.name.ends_with("ValueSet"))
        .collect();
    if sets.is_empty() {
        return Err(SeriesFault::Empty);
    }
    let packed = sets.iter().filter(|set| set.name == "EncodedValueSet").count();
    let values = if packed == 0 {
        SeriesCells::Texts(texts(&sets, length)?)
    } else if packed == sets.len() {
        SeriesCells::Numbers(numbers(&sets, kind, length)?)
    } else {
        return Err(SeriesFault::PartlyPacked);
    };
    let series = ValueSeries {
        name: node.attribute("name").unwrap_or(""),
        unit: node
            .one("Unit")
            .and_then(|unit| unit.attribute("label"))
            .unwrap_or(""),
        quantity: node
            .one("Unit")
            .and_then(|unit| unit.attribute("quantity"))
            .unwrap_or(""),
        base: node.one("Unit").and_then(base),
        span: node.span,
        values,
    };
    match length {
        Some(stated) if stated != series.len() => Err(SeriesFault::Length {
            found: series.len(),
            stated,
        }),
        _ => Ok(series),
    }
}

/// The base unit of a unit that is made of one, to the first power and without an offset.
fn base(unit: &XmlElement) -> Option<(&str, f64)> {
    let mut bases = unit.all("SIUnit");
    let (one, none) = (bases.next()?, bases.next());
    let number = |name: &str, usual: f64| match one.attribute(name) {
        None => Some(usual),
        Some(text) => text.trim().parse().ok(),
    };
    let plain = none.is_none() && number("exponent", 1.0)? == 1.0 && number("offset", 0.0)? == 0.0;
    Some((one.text.trim(), number("factor", 1.0)?)).filter(|_| plain)
}

/// Where a value set begins and, if it says so, ends: both indices are its own.
fn indices(set: &XmlElement, next: usize) -> Result<(usize, Option<usize>), SeriesFault> {
    let of = |name: &str| match set.attribute(name) {
        None => Ok(None),
        Some(text) => text
            .trim()
            .parse::<usize>()
            .map(Some)
            .map_err(|_| SeriesFault::NoIndex(text.to_owned())),
    };
    let (start, end) = (of("startIndex")?.unwrap_or(next), of("endIndex")?);
    if start != next {
        return Err(SeriesFault::Start {
            start,
            expected: next,
        });
    }
    if end.is_some_and(|end| end < start || end >= SourceLimits::USUAL.points) {
        return Err(SeriesFault::End(end.unwrap_or(0)));
    }
    Ok((start, end))
}

fn counted(found: usize, start: usize, end: Option<usize>) -> Result<(), SeriesFault> {
    match end {
        Some(end) if end + 1 - start != found => Err(SeriesFault::Count { start, end, found }),
        _ => Ok(()),
    }
}

fn texts<'n>(
    sets: &[&'n XmlElement],
    length: Option<usize>,
) -> Result<Vec<(Cow<'n, str>, Span)>, SeriesFault> {
    let mut all: Vec<(Cow<'n, str>, Span)> = Vec::new();
    for set in sets {
        let (start, end) = indices(set, all.len())?;
        if set.name == "IndividualValueSet" {
            all.extend(
                set.children
                    .iter()
                    .map(|value| (Cow::Borrowed(value.text.trim()), value.span)),
            );
            counted(all.len() - start, start, end)?;
            continue;
        }
        if set.name != "AutoIncrementedValueSet" {
            return Err(SeriesFault::UnknownSet(set.name.clone()));
        }
        let end = end.or_else(|| length.and_then(|length| length.checked_sub(1)));
        let Some(end) = end.filter(|end| *end >= start && *end < SourceLimits::USUAL.points) else {
            return Err(SeriesFault::Endless);
        };
        let number = |name: &'static str| {
            let text = set.one(name).and_then(|node| {
                let own = node.text.trim();
                let inner = node.children.first().map(|value| value.text.trim());
                Some(if own.is_empty() { inner? } else { own })
            });
            text.and_then(ExactDecimal::of)
                .ok_or(SeriesFault::NoDecimal(name))
        };
        let (first, step) = (number("StartValue")?, number("Increment")?);
        for at in 0..=end - start {
            let value = first.plus(step, at).ok_or(SeriesFault::TooGreat)?;
            all.push((Cow::Owned(value), set.span));
        }
    }
    Ok(all)
}

/// A decimal as a whole number of its last place, so that counting up is exact.
#[derive(Clone, Copy)]
struct ExactDecimal {
    units: i128,
    places: u32,
}

impl ExactDecimal {
    fn of(text: &str) -> Option<Self> {
        let (mantissa, exponent) = match text.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().ok()?),
            None => (text, 0),
        };
        let bare = mantissa.strip_prefix(['-', '+']).unwrap_or(mantissa);
        let (whole, behind) = bare.split_once('.').unwrap_or((bare, ""));
        let digits = format!("{whole}{behind}");
        if digits.is_empty() || digits.len() > 24 || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
            return None;
        }
        let mut units: i128 = digits.parse().ok()?;
        if mantissa.starts_with('-') {
            units = -units;
        }
        let places = i32::try_from(behind.len()).ok()?.checked_sub(exponent)?;
        if places < 0 {
            units = units.checked_mul(10_i128.checked_pow(places.unsigned_abs())?)?;
        }
        let places = u32::try_from(places.max(0)).ok().filter(|places| *places <= 24)?;
        Some(Self { units, places })
    }

    /// This and `count` times a step, as text.
    fn plus(self, step: Self, count: usize) -> Option<String> {
        let places = self.places.max(step.places);
        let at = |one: Self| one.units.checked_mul(10_i128.checked_pow(places - one.places)?);
        let count = i128::try_from(count).ok()?;
        let units = at(self)?.checked_add(at(step)?.checked_mul(count)?)?;
        let digits = format!("{:0>1$}", units.unsigned_abs(), places as usize + 1);
        let (whole, behind) = digits.split_at(digits.len() - places as usize);
        let sign = if units < 0 { "-" } else { "" };
        let point = if places > 0 { "." } else { "" };
        Some(format!("{sign}{whole}{point}{behind}"))
    }
}

/// Packed numbers, little end first, each exactly as it is.
fn numbers(sets: &[&XmlElement], kind: &str, length: Option<usize>) -> Result<Vec<f64>, SeriesFault> {
    let mut all: Vec<f64> = Vec::new();
    for set in sets {
        let (start, end) = indices(set, all.len())?;
        let plain: String = set.text.chars().filter(|sign| !sign.is_whitespace()).collect();
        let bytes = STANDARD.decode(plain)?;
        let width = if matches!(kind, "Int32" | "Float32") { 4 } else { 8 };
        if kind.is_empty() || bytes.len() % width != 0 {
            return Err(SeriesFault::Width {
                bytes: bytes.len(),
                kind: kind.to_owned(),
            });
        }
        if all.len() + bytes.len() / width > SourceLimits::USUAL.points {
            return Err(SeriesFault::TooMany);
        }
        if width == 4 {
            for four in bytes.as_chunks::<4>().0 {
                all.push(match kind {
                    "Int32" => f64::from(i32::from_le_bytes(*four)),
                    _ => f64::from(f32::from_le_bytes(*four)),
                });
            }
        } else {
            for eight in bytes.as_chunks::<8>().0 {
                all.push(match kind {
                    "Float64" => f64::from_le_bytes(*eight),
                    _ => whole(i64::from_le_bytes(*eight))?,
                });
            }
        }
        counted(all.len() - start, start, end)?;
    }
    if all.iter().any(|value| value.is_infinite()) {
        return Err(SeriesFault::Infinite);
    }
    match length {
        Some(stated) if stated != all.len() => Err(SeriesFault::PackedLength {
            found: all.len(),
            stated,
        }),
        _ => Ok(all),
    }
}

/// A whole number, where it can be held exactly.
fn whole(value: i64) -> Result<f64, SeriesFault> {
    if value.unsigned_abs() <= 1 << 53 {
        Ok(value as f64)
    } else {
        Err(SeriesFault::Inexact(value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counting_up_is_exact() {
        let count = |start: &str, step: &str, at| ExactDecimal::of(start)?.plus(ExactDecimal::of(step)?, at);
        assert_eq!(count("400", "0.1", 3).as_deref(), Some("400.3"));
        assert_eq!(count("190.00", "-0.25", 1).as_deref(), Some("189.75"));
        assert_eq!(count("0", "1e-1", 7).as_deref(), Some("0.7"));
        assert_eq!(count("-0.5", "0.25", 1).as_deref(), Some("-0.25"));
        assert_eq!(count("1e2", "5", 2).as_deref(), Some("110"));
        assert_eq!(count("x", "1", 0), None);
    }
}
