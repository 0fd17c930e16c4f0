//! From the text of a query to what it asks.

use curvary_record::{Unit, ValueKind, known_field, known_fields};

use super::quantity::{Bounds, Compare, days, meanings, number_and_unit, seconds};
use super::{Pattern, QueryNode, Vocabulary};
use crate::QueryError;
use crate::words::words;

/// What can be asked for beside fields.
const SPECIAL_KEYS: [&str; 14] = [
    "dispute",
    "has",
    "is",
    "label",
    "path",
    "points",
    "question",
    "reader",
    "remark",
    "run",
    "stated-points",
    "technique",
    "traces",
    "year",
];
const IS: [&str; 7] = [
    "asked",
    "disputed",
    "duplicate",
    "in-question",
    "out-of-date",
    "read",
    "superseded",
];
const HAS: [&str; 5] = ["dispute", "note", "question", "remark", "result"];
const RESULT_WORDS: [&str; 3] = ["kind", "model", "termination"];
/// Units that are offered where a spelling is not known.
const COMMON_UNITS: [&str; 32] = [
    "nm", "um", "mm", "cm", "m", "ms", "s", "min", "h", "C", "K", "M", "mM", "uM", "nM", "mol/L", "mmol/L",
    "umol/L", "g/L", "mg/mL", "ug/mL", "%", "/s", "/min", "/h", "/cm", "nm/min", "L", "mL", "uL", "rpm",
    "L/mol/cm",
];
/// Deeper parentheses are no query that a person writes.
const DEEPEST: usize = 64;

#[derive(Clone, Debug)]
struct QueryToken {
    kind: TokenKind,
    from: usize,
    to: usize,
}

#[derive(Clone, Debug, PartialEq)]
enum TokenKind {
    Open,
    Close,
    Minus,
    Or,
    And,
    Words(String),
    Term {
        key: String,
        value: String,
        quoted: bool,
        value_from: usize,
    },
}

pub(super) fn parse(text: &str, house: &[String], vocabulary: &Vocabulary) -> Result<QueryNode, QueryError> {
    let tokens = tokens(text)?;
    let mut parser = QueryParser {
        text,
        house,
        vocabulary,
        tokens: &tokens,
        at: 0,
        depth: 0,
    };
    if tokens.is_empty() {
        return Ok(QueryNode::And(Vec::new()));
    }
    let node = parser.any()?;
    match parser.peek() {
        None => Ok(node),
        Some(token) => Err(fault(
            text,
            token.from,
            token.to,
            "a `)` without a `(` before it",
            None,
        )),
    }
}

fn fault(text: &str, from: usize, to: usize, message: impl Into<String>, help: Option<String>) -> QueryError {
    let count = |range: std::ops::Range<usize>| text.get(range).map_or(0, |part| part.chars().count());
    QueryError {
        query: text.to_owned(),
        column: count(0..from) + 1,
        length: count(from..to).max(1),
        message: message.into(),
        help,
    }
}

fn tokens(text: &str) -> Result<Vec<QueryToken>, QueryError> {
    let mut all = Vec::new();
    let mut at = 0;
    while let Some(sign) = text[at..].chars().next() {
        let from = at;
        if sign.is_whitespace() {
            at += sign.len_utf8();
            continue;
        }
        let kind = match sign {
            '(' | ')' => {
                at += 1;
                if sign == '(' {
                    TokenKind::Open
                } else {
                    TokenKind::Close
                }
            }
            '-' | '−' => {
                at += sign.len_utf8();
                TokenKind::Minus
            }
            '"' => {
                let (phrase, end) = quoted(text, at)?;
                at = end;
                if text[at..].starts_with(':') {
                    term(text, phrase, &mut at)?
                } else {
                    TokenKind::Words(phrase)
                }
            }
            _ => {
                let word = &text[at..];
                let end = word
                    .find(|sign: char| sign.is_whitespace() || matches!(sign, '(' | ')' | '"' | ':'))
                    .unwrap_or(word.len());
                at += end;
                let word = &word[..end];
                if text[at..].starts_with(':') {
                    term(text, word.to_owned(), &mut at)?
                } else {
                    match word {
                        "or" | "OR" => TokenKind::Or,
                        "and" | "AND" => TokenKind::And,
                        _ => TokenKind::Words(word.to_owned()),
                    }
                }
            }
        };
        all.push(QueryToken { kind, from, to: at });
    }
    Ok(all)
}

/// The text between quotes that open at `at`, and where they have closed. A doubled quote is a quote.
fn quoted(text: &str, at: usize) -> Result<(String, usize), QueryError> {
    let mut content = String::new();
    let mut from = at + 1;
    loop {
        let Some(end) = text[from..].find('"') else {
            return Err(fault(
                text,
                at,
                text.len(),
                "a quote was opened and never closed",
                Some("close it with \"".into()),
            ));
        };
        content.push_str(&text[from..from + end]);
        from += end + 1;
        if !text[from..].starts_with('"') {
            return Ok((content, from));
        }
        content.push('"');
        from += 1;
    }
}

fn term(text: &str, key: String, at: &mut usize) -> Result<TokenKind, QueryError> {
    *at += 1;
    let value_from = *at;
    if text[*at..].starts_with('"') {
        let (value, end) = quoted(text, *at)?;
        *at = end;
        return Ok(TokenKind::Term {
            key,
            value,
            quoted: true,
            value_from,
        });
    }
    let mut depth = 0_usize;
    let rest = &text[*at..];
    let end = rest
        .char_indices()
        .find(|&(_, sign)| {
            match sign {
                '(' => depth += 1,
                ')' if depth == 0 => return true,
                ')' => depth -= 1,
                _ => {}
            }
            sign.is_whitespace()
        })
        .map_or(rest.len(), |(end, _)| end);
    *at += end;
    Ok(TokenKind::Term {
        key,
        value: rest[..end].to_owned(),
        quoted: false,
        value_from,
    })
}

struct QueryParser<'a> {
    text: &'a str,
    house: &'a [String],
    vocabulary: &'a Vocabulary,
    tokens: &'a [QueryToken],
    at: usize,
    depth: usize,
}

/// A term with its place in the query.
#[derive(Clone, Copy)]
struct Spot<'a> {
    text: &'a str,
    key: &'a str,
    value: &'a str,
    quoted: bool,
    from: usize,
    value_from: usize,
    to: usize,
}

impl Spot<'_> {
    fn fault(&self, message: impl Into<String>, help: Option<String>) -> QueryError {
        fault(self.text, self.value_from, self.to, message, help)
    }
}

impl QueryParser<'_> {
    fn peek(&self) -> Option<&QueryToken> {
        self.tokens.get(self.at)
    }

    fn any(&mut self) -> Result<QueryNode, QueryError> {
        let mut nodes = vec![self.all()?];
        while self.peek().is_some_and(|token| token.kind == TokenKind::Or) {
            self.at += 1;
            nodes.push(self.all()?);
        }
        Ok(one_or(nodes, QueryNode::Or))
    }

    fn all(&mut self) -> Result<QueryNode, QueryError> {
        let mut nodes = vec![self.one()?];
        loop {
            match self.peek().map(|token| &token.kind) {
                None | Some(TokenKind::Or | TokenKind::Close) => break,
                Some(TokenKind::And) => {
                    self.at += 1;
                    nodes.push(self.one()?);
                }
                Some(_) => nodes.push(self.one()?),
            }
        }
        Ok(one_or(nodes, QueryNode::And))
    }

    fn one(&mut self) -> Result<QueryNode, QueryError> {
        let Some(token) = self.tokens.get(self.at) else {
            let end = self.text.len();
            return Err(fault(
                self.text,
                end,
                end,
                "the query ends where a term was expected",
                None,
            ));
        };
        self.at += 1;
        let wrong = |message: &str| Err(fault(self.text, token.from, token.to, message, None));
        match &token.kind {
            TokenKind::Minus | TokenKind::Open if self.depth >= DEEPEST => {
                wrong("more than 64 signs nest here")
            }
            TokenKind::Minus => {
                self.depth += 1;
                let node = self.one()?;
                self.depth -= 1;
                Ok(QueryNode::Not(Box::new(node)))
            }
            TokenKind::Open => {
                self.depth += 1;
                let node = self.any()?;
                self.depth -= 1;
                match self.peek().map(|token| &token.kind) {
                    Some(TokenKind::Close) => {
                        self.at += 1;
                        Ok(node)
                    }
                    _ => wrong("a `(` was opened and never closed"),
                }
            }
            TokenKind::Close => wrong("a `)` was found where a term was expected"),
            TokenKind::Or | TokenKind::And => {
                wrong("a joining word was found where a term was expected; put it in quotes to look for it")
            }
            // Everything, as shells and people write it.
            TokenKind::Words(text) if text == "*" => Ok(QueryNode::And(Vec::new())),
            TokenKind::Words(text) if Pattern::is_in(text) => Ok(shapes(None, text)),
            TokenKind::Words(text) => match tokens_of(text) {
                words if words.is_empty() => wrong("there is no letter or digit in this word"),
                // The name of a run, as listings show it, finds the run.
                words if is_like_a_name(text) => Ok(QueryNode::Or(vec![
                    QueryNode::Words { key: None, words },
                    QueryNode::Named(vec![text.clone()]),
                ])),
                words => Ok(QueryNode::Words { key: None, words }),
            },
            TokenKind::Term {
                key,
                value,
                quoted,
                value_from,
            } => self.term(&Spot {
                text: self.text,
                key,
                value,
                quoted: *quoted,
                from: token.from,
                value_from: *value_from,
                to: token.to,
            }),
        }
    }

    fn term(&self, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
        if spot.value.trim().is_empty() {
            return Err(fault(
                spot.text,
                spot.from,
                spot.to,
                format!("`{}:` has no value", spot.key),
                Some(format!("write `has:{}` for runs that have one", spot.key)),
            ));
        }
        if let Some(value) = self.vocabulary.in_known_unit(spot.value) {
            return self.plain_term(&Spot {
                value: &value,
                ..*spot
            });
        }
        let mut nodes = vec![self.plain_term(spot)?];
        for meant in self.vocabulary.values_of(spot.key, spot.value) {
            nodes.push(self.plain_term(&Spot {
                value: meant,
                quoted: true,
                ..*spot
            })?);
        }
        Ok(one_or(nodes, QueryNode::Or))
    }

    fn plain_term(&self, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
        let lower = spot.key.to_lowercase();
        // `points` is what tables show, the count of what was read; what a source states of it may differ, or be absent.
        let field = match lower.as_str() {
            "points" => None,
            "stated-points" => known_field("points"),
            key => known_field(key),
        };
        if let Some(known) = field {
            return match known.kind {
                ValueKind::Text => phrase(known.key, spot),
                ValueKind::Number(unit) | ValueKind::Range(unit) => typed(known.key, unit, spot),
                ValueKind::Date => date(spot),
                ValueKind::TimeOfDay => time(known.key, spot),
            };
        }
        let exact = |list: &str| Ok(QueryNode::exact(list, spot.value.trim().to_lowercase()));
        match lower.as_str() {
            "technique" => exact("technique"),
            "reader" => exact("reader"),
            "question" => exact("question"),
            "remark" => exact("remark"),
            "dispute" => Ok(QueryNode::exact("dispute", spot.value.trim())),
            "path" => phrase("path", spot),
            "label" => phrase("label", spot),
            "run" => names(spot),
            "year" => date(spot),
            "is" => match IS
                .iter()
                .find(|word| **word == spot.value.to_lowercase().replace(' ', "-"))
            {
                // What tables show of a run is what can be asked for.
                Some(&"asked") => Ok(QueryNode::exact("is", "in-question")),
                Some(&"disputed") => Ok(QueryNode::exact("has", "dispute")),
                Some(word) => Ok(QueryNode::exact("is", *word)),
                None => Err(spot.fault(
                    format!("a run cannot be `{}`: expected {}", spot.value, list(&IS)),
                    did_you_mean(spot.value, IS.iter().copied()),
                )),
            },
            "has" => self.has(spot),
            "points" | "traces" => house(&lower, spot, true),
            _ => match lower.strip_prefix("result.") {
                Some(name) if RESULT_WORDS.contains(&name) => phrase(&lower, spot),
                Some(name) if !name.is_empty() => house(&lower, spot, true),
                _ => self.local_term(spot),
            },
        }
    }

    /// A term whose key only this archive knows: under its own name, and as the fields that it means.
    fn local_term(&self, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
        let mut nodes: Vec<QueryNode> = Vec::new();
        let mut why = None;
        if let Some(key) = self.house_key(spot.key) {
            nodes.push(house(key, spot, false)?);
        }
        for field in self.vocabulary.fields_of(spot.key) {
            match self.plain_term(&Spot { key: field, ..*spot }) {
                Ok(node) => nodes.push(node),
                Err(error) => why = Some(error),
            }
        }
        match (nodes.is_empty(), why) {
            (false, _) => Ok(one_or(nodes, QueryNode::Or)),
            (true, Some(why)) => Err(why),
            (true, None) => match self.cut_short(spot)? {
                Some(key) => self.plain_term(&Spot { key, ..*spot }),
                None => Err(self.unknown_key(spot)),
            },
        }
    }

    fn house_key(&self, key: &str) -> Option<&str> {
        let same = |other: &&String| other.as_str() == key;
        let alike = |other: &&String| other.to_lowercase() == key.to_lowercase();
        self.house
            .iter()
            .find(same)
            .or_else(|| self.house.iter().find(alike))
            .map(String::as_str)
    }

    fn every_key(&self) -> impl Iterator<Item = &str> {
        known_fields()
            .iter()
            .map(|known| known.key)
            .chain(SPECIAL_KEYS)
            .chain(self.house.iter().map(String::as_str))
            .chain(self.vocabulary.keys())
    }

    /// The field whose name begins so: the only one, or the one that all others begin with.
    fn cut_short(&self, spot: &Spot<'_>) -> Result<Option<&'static str>, QueryError> {
        let lower = spot.key.to_lowercase();
        if lower.chars().count() < 2 {
            return Ok(None);
        }
        let mut all: Vec<&'static str> = known_fields()
            .iter()
            .map(|known| known.key)
            .chain(SPECIAL_KEYS)
            .filter(|key| key.starts_with(&lower))
            .collect();
        all.sort_unstable();
        all.dedup();
        match all.as_slice() {
            [] => Ok(None),
            [first, others @ ..] if others.iter().all(|other| other.starts_with(first)) => Ok(Some(first)),
            several => {
                let end = spot.value_from.saturating_sub(1);
                let message = format!("several fields begin with `{}`: {}", spot.key, list(several));
                Err(fault(
                    spot.text,
                    spot.from,
                    end,
                    message,
                    Some("write more of the name".into()),
                ))
            }
        }
    }

    fn unknown_key(&self, spot: &Spot<'_>) -> QueryError {
        let help = did_you_mean(spot.key, self.every_key())
            .unwrap_or_else(|| "put it in quotes to look for the words as they are".into());
        let end = spot.value_from.saturating_sub(1);
        fault(
            spot.text,
            spot.from,
            end,
            format!("no field is called `{}`", spot.key),
            Some(help),
        )
    }

    fn has(&self, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
        let value = spot.value.trim();
        let lower = value.to_lowercase();
        let key = if HAS.contains(&lower.as_str()) || known_field(&lower).is_some() {
            Some(lower.as_str())
        } else {
            self.house_key(value)
                .or_else(|| self.vocabulary.fields_of(value).next())
        };
        match key {
            Some(key) => Ok(QueryNode::exact("has", key)),
            None => Err(spot.fault(
                format!("no field is called `{value}`"),
                did_you_mean(value, self.every_key().chain(HAS)),
            )),
        }
    }
}

fn one_or(mut nodes: Vec<QueryNode>, join: fn(Vec<QueryNode>) -> QueryNode) -> QueryNode {
    match nodes.pop() {
        Some(only) if nodes.is_empty() => only,
        Some(last) => {
            nodes.push(last);
            join(nodes)
        }
        None => QueryNode::And(Vec::new()),
    }
}

fn tokens_of(text: &str) -> Vec<String> {
    words(text).into_iter().map(|word| word.0).collect()
}

/// The terms that are joined by *and*, each as it is written.
pub(super) fn terms(text: &str) -> Vec<String> {
    let Ok(tokens) = tokens(text) else {
        return Vec::new();
    };
    let mut all: Vec<(usize, usize)> = Vec::new();
    let (mut depth, mut goes_on) = (0_usize, false);
    for token in &tokens {
        match token.kind {
            TokenKind::Or if depth == 0 => return Vec::new(),
            TokenKind::And if depth == 0 => continue,
            _ => {}
        }
        match all.last_mut() {
            Some(last) if depth > 0 || goes_on => last.1 = token.to,
            _ => all.push((token.from, token.to)),
        }
        match token.kind {
            TokenKind::Open => depth += 1,
            TokenKind::Close => depth = depth.saturating_sub(1),
            _ => {}
        }
        goes_on = token.kind == TokenKind::Minus;
    }
    all.iter()
        .filter_map(|&(from, to)| text.get(from..to).map(str::to_owned))
        .collect()
}

/// Words of a text of which some have a `*` or `?`.
fn shapes(key: Option<&str>, text: &str) -> QueryNode {
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

/// Whether a word may be the name of a run, or as much of it as listings show.
fn is_like_a_name(word: &str) -> bool {
    (8..=16).contains(&word.len()) && word.bytes().all(|sign| matches!(sign, b'0'..=b'9' | b'a'..=b'f'))
}

/// Runs by their names or beginnings of them, with commas between.
fn names(spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
    let names: Vec<String> = spot
        .value
        .split(',')
        .map(|name| name.trim().to_lowercase())
        .filter(|name| !name.is_empty())
        .collect();
    match names
        .iter()
        .find(|name| !name.bytes().all(|byte| byte.is_ascii_hexdigit()))
    {
        Some(wrong) => Err(spot.fault(
            format!("`{wrong}` is no name of a run: expected digits and letters from a to f"),
            None,
        )),
        None => Ok(QueryNode::Named(names)),
    }
}

fn phrase(key: &str, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
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
fn typed(key: &str, customary: &str, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
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
fn house(key: &str, spot: &Spot<'_>, only_numbers: bool) -> Result<QueryNode, QueryError> {
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
struct QueryEnd<'a> {
    value: f64,
    unit: &'a str,
}

fn end<'a>(text: &'a str, customary: Option<&Unit>, spot: &Spot<'_>) -> Result<QueryEnd<'a>, QueryError> {
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

fn plain_code(unit: &Unit) -> &str {
    match unit.code() {
        "[pH]" | "1" => "",
        "Cel" => "C",
        code => code,
    }
}

fn numbers(key: &str, customary: Option<&Unit>, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
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
fn readings(
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

fn date(spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
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

fn time(key: &str, spot: &Spot<'_>) -> Result<QueryNode, QueryError> {
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

fn list(words: &[&str]) -> String {
    words
        .iter()
        .map(|word| format!("`{word}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn did_you_mean<'a>(wrong: &str, right: impl Iterator<Item = &'a str>) -> Option<String> {
    nearest(wrong, right).map(|near| format!("did you mean `{near}`?"))
}

fn nearest_unit(wrong: &str, customary: Option<&Unit>) -> Option<String> {
    let fits = |unit: &&str| {
        customary.is_none_or(|like| {
            !meanings(unit, None).is_empty()
                && meanings(unit, Some(like)).iter().all(|one| one.converts_to(like))
        })
    };
    let near = nearest(wrong, COMMON_UNITS.iter().copied().filter(fits));
    match (near, customary) {
        (Some(near), _) => Some(format!("did you mean `{near}`?")),
        (None, Some(unit)) => Some(format!("this field is customarily in `{}`", unit.display())),
        (None, None) => None,
    }
}

/// The word that differs in the fewest letters, when that is no more than a third of it.
fn nearest<'a>(wrong: &str, right: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let wrong: Vec<char> = wrong.to_lowercase().chars().take(64).collect();
    right
        .map(|word| (distance(&wrong, word), word))
        .filter(|&(steps, word)| steps <= (word.chars().count().max(wrong.len()) / 3).max(1))
        .min_by_key(|&(steps, word)| (steps, word))
        .map(|(_, word)| word)
}

/// How many letters must be put in, taken out, changed or swapped with their neighbour.
pub(crate) fn distance(wrong: &[char], right: &str) -> usize {
    let right: Vec<char> = right.to_lowercase().chars().take(64).collect();
    let mut rows = vec![(0..=right.len()).collect::<Vec<usize>>()];
    for (i, &sign) in wrong.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, &other) in right.iter().enumerate() {
            let mut steps = (rows[i][j] + usize::from(sign != other))
                .min(rows[i][j + 1] + 1)
                .min(row[j] + 1);
            if i > 0 && j > 0 && sign == right[j - 1] && wrong[i - 1] == other {
                steps = steps.min(rows[i - 1][j - 1] + 1);
            }
            row.push(steps);
        }
        rows.push(row);
    }
    rows[wrong.len()][right.len()]
}
