//! What the value of one term asks: words, numbers with units, dates, times.

use curvary_record::Unit;

use super::near::nearest_unit;
use super::quantity::{Bounds, Compare, days, meanings, number_and_unit, seconds};
use super::{Pattern, QueryNode};
use crate::QueryError;
use crate::words::words;

/// A term with its place in the query.
#[derive(Clone, Copy)]
pub(super) struct Spot<'a> {
    pub(super) text: &'a str,
    pub(super) key: &'a str,
    pub(super) value: &'a str,
    pub(super) quoted: bool,
    pub(super) from: usize,
    pub(super) value_from: usize,
    pub(super) to: usize,
}

impl Spot<'_> {
    pub(super) fn fault(&self, message: impl Into<String>, help: Option<String>) -> QueryError {
        fault(self.text, self.value_from, self.to, message, help)
    }
}

pub(super) fn fault(
    text: &str,
    from: usize,
    to: usize,
    message: impl Into<String>,
    help: Option<String>,
) -> QueryError {
    let count = |range: std::ops::Range<usize>| text.get(range).map_or(0, |part| part.chars().count());
    QueryError {
        query: text.to_owned(),
        column: count(0..from) + 1,
        length: count(from..to).max(1),
        message: message.into(),
        help,
    }
}

pub(super) fn one_or(mut nodes: Vec<QueryNode>, join: fn(Vec<QueryNode>) -> QueryNode) -> QueryNode {
    match nodes.pop() {
        Some(only) if nodes.is_empty() => only,
        Some(last) => {
            nodes.push(last);
            join(nodes)
        }
        None => QueryNode::And(Vec::new()),
    }
}

pub(super) fn tokens_of(text: &str) -> Vec<String> {
    words(text).into_iter().map(|word| word.0).collect()
}

/// Words of a text of which some have a `*` or `?`.
pub(super) fn shapes(key: Option<&str>, text: &str) -> QueryNode {
    let key = key.map(str::to_owned);
    let nodes = Pattern::parts(text)
        .into_iter()
        .map(|part| match part {
            Ok(pattern) => QueryNode::Like {
                key: key.clone(),
                pattern,
            },
            Err(word) => QueryNode::Words {
                key: key.clone(),
                words: vec![word],
            },
        })
        .collect();
    one_or(nodes, QueryNode::And)
}

pub(super) fn phrase(key: &str, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
    if !spot.quoted && Pattern::is_in(spot.value) {
        return Ok(shapes(Some(key), spot.value));
    }
    let words = tokens_of(spot.value);
    if words.is_empty() {
        return Err(spot.fault("there is no letter or digit in this value", None));
    }
    Ok(QueryNode::Words {
        key: Some(key.to_owned()),
        words,
    })
}

/// A number field that curvary knows, with its customary unit.
pub(super) fn typed(key: &str, customary: &str, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
    // The table of known fields is held to valid units by a test of its own crate.
    let unit = Unit::ucum(customary).unwrap_or(Unit::ONE);
    match numbers(key, Some(&unit), spot) {
        Ok(node) => Ok(node),
        Err(_) if spot.quoted && number_and_unit(spot.value).is_none() && !spot.value.contains("..") => {
            phrase(key, spot)
        }
        Err(error) => Err(error),
    }
}

/// A key of the house or of a result, whose unit is not known beforehand.
pub(super) fn house(key: &str, spot: &Spot<'_>, only_numbers: bool) -> Result<QueryNode, QueryError> {
    let (compare, _) = Compare::split(spot.value);
    match numbers(key, None, spot) {
        Ok(number) if only_numbers || compare.is_some() || spot.value.contains("..") => Ok(number),
        Ok(number) => Ok(match phrase(key, spot) {
            Ok(words) => QueryNode::Or(vec![number, words]),
            Err(_) => number,
        }),
        Err(error) if only_numbers || compare.is_some() => Err(error),
        Err(_) => phrase(key, spot),
    }
}

/// One end of a range, or the only number.
pub(super) struct QueryEnd<'a> {
    value: f64,
    unit: &'a str,
}

pub(super) fn end<'a>(
    text: &'a str,
    customary: Option<&Unit>,
    spot: &Spot<'_>,
) -> Result<QueryEnd<'a>, QueryError> {
    let example = customary.map_or_else(|| "7".to_owned(), |unit| format!("7{}", plain_code(unit)));
    match number_and_unit(text) {
        Some((_, rest)) if rest.starts_with(',') => Err(spot.fault(
            format!("`{text}` is no number here: the decimal sign is a point"),
            None,
        )),
        Some((value, unit)) => Ok(QueryEnd { value, unit }),
        None => Err(spot.fault(
            format!("`{text}` is no number: expected one such as `{example}`"),
            customary.map(|_| {
                format!(
                    "to look for words in this field, put them in quotes: {}:\"{}\"",
                    spot.key, spot.value
                )
            }),
        )),
    }
}

pub(super) fn plain_code(unit: &Unit) -> &str {
    match unit.code() {
        "[pH]" | "1" => "",
        "Cel" => "C",
        code => code,
    }
}

pub(super) fn numbers(key: &str, customary: Option<&Unit>, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
    let (compare, rest) = Compare::split(spot.value.trim());
    if compare.is_none()
        && let Some((from, to)) = rest.split_once("..")
    {
        let side = |text: &str| {
            (!text.trim().is_empty())
                .then_some(text.trim())
                .map(str::to_owned)
        };
        let (from, to) = (side(from), side(to));
        let from = from
            .as_deref()
            .map(|text| end(text, customary, spot))
            .transpose()?;
        let to = to.as_deref().map(|text| end(text, customary, spot)).transpose()?;
        // `36..38C`: a unit at one end alone holds for both.
        let unit_of = |one: &Option<QueryEnd<'_>>| {
            one.as_ref()
                .map(|end| end.unit.to_owned())
                .filter(|unit| !unit.is_empty())
        };
        let (first, second) = (unit_of(&from), unit_of(&to));
        let from_unit = first.clone().or_else(|| second.clone()).unwrap_or_default();
        let to_unit = second.or(first).unwrap_or_default();
        let low = from
            .map(|end| readings(end.value, &from_unit, customary, spot))
            .transpose()?;
        let high = to
            .map(|end| readings(end.value, &to_unit, customary, spot))
            .transpose()?;
        let join = |low: Option<f64>, high: Option<f64>| Bounds {
            low: low.and_then(|low| Compare::AtLeast.bounds(low).low),
            high: high.and_then(|high| Compare::AtMost.bounds(high).high),
        };
        let node = |dimension: &str, bounds| QueryNode::Number {
            key: key.to_owned(),
            dimension: dimension.to_owned(),
            bounds,
        };
        let nodes = match (low, high) {
            (None, None) => {
                return Err(spot.fault("a range needs a number on at least one side of `..`", None));
            }
            (Some(low), None) => low
                .iter()
                .map(|(dim, value)| node(dim, join(Some(*value), None)))
                .collect(),
            (None, Some(high)) => high
                .iter()
                .map(|(dim, value)| node(dim, join(None, Some(*value))))
                .collect(),
            (Some(low), Some(high)) => {
                let mut nodes = Vec::new();
                for (dimension, low) in &low {
                    for (_, high) in high.iter().filter(|(other, _)| other == dimension) {
                        if low > high {
                            return Err(
                                spot.fault("the range runs downwards: the smaller number comes first", None)
                            );
                        }
                        nodes.push(node(dimension, join(Some(*low), Some(*high))));
                    }
                }
                if nodes.is_empty() {
                    return Err(spot.fault(
                        format!("`{from_unit}` and `{to_unit}` do not measure the same"),
                        None,
                    ));
                }
                nodes
            }
        };
        return Ok(one_or(nodes, QueryNode::Or));
    }
    let only = end(rest.trim(), customary, spot)?;
    let compare = compare.unwrap_or(Compare::Equal);
    let nodes = readings(only.value, only.unit, customary, spot)?
        .into_iter()
        .map(|(dimension, value)| QueryNode::Number {
            key: key.to_owned(),
            dimension,
            bounds: compare.bounds(value),
        })
        .collect();
    Ok(one_or(nodes, QueryNode::Or))
}

/// What a number with a spelled unit can be, each in its SI unit.
pub(super) fn readings(
    value: f64,
    unit: &str,
    customary: Option<&Unit>,
    spot: &Spot<'_>,
) -> Result<Vec<(String, f64)>, QueryError> {
    if unit.is_empty() {
        return Ok(match customary {
            Some(unit) => vec![(dimension(unit), unit.to_si(value))],
            // As it was written, whatever its unit is.
            None => vec![(String::new(), value)],
        });
    }
    let units = meanings(unit, customary);
    if units.is_empty() {
        return Err(spot.fault(
            format!("`{unit}` is no unit that is known here"),
            nearest_unit(unit, customary),
        ));
    }
    if let Some(wanted) = customary {
        // A concentration is an amount or a mass, in a volume; every other field has one dimension.
        let open = spot.key.to_lowercase().ends_with("concentration");
        if !open && !units.iter().any(|unit| unit.converts_to(wanted)) {
            return Err(spot.fault(
                format!(
                    "`{unit}` does not measure {}: expected a unit such as `{}`",
                    spot.key,
                    wanted.display()
                ),
                None,
            ));
        }
    }
    let mut readings: Vec<(String, f64)> = Vec::new();
    for unit in units {
        let reading = (dimension(&unit), unit.to_si(value));
        if reading.1.is_finite() && !readings.contains(&reading) {
            readings.push(reading);
        }
    }
    if readings.is_empty() {
        return Err(spot.fault("the number is too large", None));
    }
    Ok(readings)
}

/// The SI unit of a unit's dimension, by which numbers are filed; a unit that is not known here is filed by its code.
pub(crate) fn dimension(unit: &Unit) -> String {
    unit.dimension()
        .map_or_else(|| unit.code().to_owned(), |dimension| dimension.to_string())
}

pub(super) fn date(spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
    let (compare, rest) = Compare::split(spot.value.trim());
    let parse = |text: &str| {
        days(text).ok_or_else(|| {
            spot.fault(
                format!(
                    "`{text}` is no date: expected a year, month or day such as 2019, 2021-06 or 2021-06-14"
                ),
                None,
            )
        })
    };
    let (from, to) = match rest.split_once("..") {
        Some((from, to)) if compare.is_none() => {
            if from.trim().is_empty() && to.trim().is_empty() {
                return Err(spot.fault("a range needs a date on at least one side of `..`", None));
            }
            let low = if from.trim().is_empty() {
                i64::MIN
            } else {
                parse(from)?.0
            };
            let high = if to.trim().is_empty() {
                i64::MAX
            } else {
                parse(to)?.1
            };
            if low > high {
                return Err(spot.fault("the range runs backwards: the earlier date comes first", None));
            }
            (low, high)
        }
        _ => {
            let (first, last) = parse(rest)?;
            match compare.unwrap_or(Compare::Equal) {
                Compare::Equal => (first, last),
                Compare::Less => (i64::MIN, first - 1),
                Compare::AtMost => (i64::MIN, last),
                Compare::More => (last + 1, i64::MAX),
                Compare::AtLeast => (first, i64::MAX),
            }
        }
    };
    Ok(QueryNode::Day { from, to })
}

pub(super) fn time(key: &str, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
    let (compare, rest) = Compare::split(spot.value.trim());
    let parse = |text: &str| {
        seconds(text).ok_or_else(|| {
            spot.fault(
                format!("`{text}` is no time of day: expected one such as 09:30"),
                None,
            )
        })
    };
    let bounds = match rest.split_once("..") {
        Some((from, to)) if compare.is_none() => Bounds {
            low: (!from.trim().is_empty())
                .then(|| parse(from))
                .transpose()?
                .map(|span| span.0),
            high: (!to.trim().is_empty())
                .then(|| parse(to))
                .transpose()?
                .map(|span| span.1),
        },
        _ => {
            let (first, last) = parse(rest)?;
            let (low, high) = match compare.unwrap_or(Compare::Equal) {
                Compare::Equal => (Some(first), Some(last)),
                Compare::Less => (None, Some(first.next_down())),
                Compare::AtMost => (None, Some(last)),
                Compare::More => (Some(last.next_up()), None),
                Compare::AtLeast => (Some(first), None),
            };
            Bounds { low, high }
        }
    };
    if bounds.low.is_none() && bounds.high.is_none() {
        return Err(spot.fault("a range needs a time on at least one side of `..`", None));
    }
    let node = |bounds| QueryNode::Number {
        key: key.to_owned(),
        dimension: "s".to_owned(),
        bounds,
    };
    Ok(match bounds {
        // From the evening to the morning: over midnight.
        Bounds {
            low: Some(low),
            high: Some(high),
        } if low > high => QueryNode::Or(vec![
            node(Bounds {
                low: Some(low),
                high: None,
            }),
            node(Bounds {
                low: None,
                high: Some(high),
            }),
        ]),
        bounds => node(bounds),
    })
}
