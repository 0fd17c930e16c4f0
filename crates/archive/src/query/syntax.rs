//! From the text of a query to what it asks.

use curvary_record::{ValueKind, known_field, known_fields};

use super::near::did_you_mean;
use super::values::{Spot, date, fault, house, one_or, phrase, shapes, time, tokens_of, typed};
use super::{Pattern, QueryNode, Vocabulary};
use crate::QueryError;

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
const HAS: [&str; 6] = ["dispute", "note", "question", "remark", "result", "warning"];
const RESULT_WORDS: [&str; 3] = ["kind", "model", "termination"];
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

fn list(words: &[&str]) -> String {
    words
        .iter()
        .map(|word| format!("`{word}`"))
        .collect::<Vec<_>>()
        .join(", ")
}
