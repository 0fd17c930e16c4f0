//! Rules that turn file and folder names into claims.
//!
//! A rule is a pattern with the keys of fields in braces, in `archive.toml`:
//!
//! ```toml
//! [[names]]
//! name = "house"
//! pattern = "{date}_{sample}_{temperature}C_pH{ph}[_rep{replicate}]"
//! ```
//!
//! - `{key}` takes a value of the field's kind; `{key:unit}` a number in that unit (a UCUM code); `{*}` anything.
//! - `[…]` may be absent. A backslash takes the next sign as it is.
//! - Everything else stands for itself, without regard to case.
//! - A pattern matches the whole file name, with or without its endings. With `/` in it, it matches that many parts at
//!   the end of the path; with `folder = true`, any one folder.
//! - `order = "day-first"` (or `month-first`, `year-first`) settles dates such as `03-04-21`.
//!
//! In names a `p` between digits is a decimal point as well (`pH7p4`), since many avoid `.` and `,` there. A hyphen is
//! not: `pH7-4` may be 7.4 or a range from 7 to 4, so no rule reads it as a number.

use regex::{Regex, RegexBuilder};
use serde::{Deserialize, Serialize};

use crate::interpret::{Customs, interpret_as};
use crate::moment::DatePartOrder;
use crate::unit::{Spelling, UnknownUnit};
use crate::{Claim, Code, Diagnostic, Key, Origin, Place, Span, Unit, Value, ValueKind};

/// One rule as it is written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NameRule {
    /// What the rule is called; claims carry it as their origin.
    pub name: String,
    /// The pattern.
    pub pattern: String,
    /// Whether it is for the name of any folder above the file.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub folder: bool,
    /// The order of dates, where day and month may be swapped.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
}

/// A rule that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleError {
    /// Which rule, from 0.
    pub rule: usize,
    /// Its name.
    pub name: String,
    /// The byte of the pattern at which it goes wrong.
    pub at: usize,
    /// What was found and what was expected.
    pub message: String,
}

impl std::fmt::Display for RuleError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "name rule `{}`, column {} of the pattern: {}",
            self.name,
            self.at + 1,
            self.message
        )
    }
}

impl std::error::Error for RuleError {}

/// Rules ready for use.
#[derive(Clone, Debug, Default)]
pub struct Rules {
    rules: Vec<RuleTable>,
}

#[derive(Clone, Debug)]
struct RuleTable {
    name: String,
    matcher: Regex,
    /// The field of each captured group, from the left.
    slots: Vec<Slot>,
    scope: NameScope,
    order: Option<DatePartOrder>,
}

#[derive(Clone, Debug)]
struct Slot {
    key: Key,
    unit: Option<Unit>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum NameScope {
    File,
    Folder,
    /// This many parts at the end of the path.
    Parts(usize),
}

/// A longer pattern is refused.
const LONGEST: usize = 400;
/// A longer path is not matched.
const LONGEST_PATH: usize = 4096;

impl Rules {
    /// Makes rules ready.
    ///
    /// # Errors
    /// At the first rule whose pattern, unit or order cannot be understood.
    pub fn new(rules: &[NameRule]) -> Result<Self, RuleError> {
        let rules = rules
            .iter()
            .enumerate()
            .map(|(index, rule)| compile(index, rule))
            .collect::<Result<_, _>>()?;
        Ok(Self { rules })
    }

    /// Reads the `[[names]]` tables of a TOML text; what else stands in it is not looked at.
    ///
    /// # Errors
    /// One diagnostic with the place (`file`, line, column) at which the first rule goes wrong.
    pub fn from_toml(text: &str, file: &str) -> Result<Self, Box<Diagnostic>> {
        #[derive(Deserialize)]
        struct RuleFile {
            #[serde(default)]
            names: Vec<NamesText>,
        }
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct NamesText {
            name: String,
            pattern: toml::Spanned<String>,
            #[serde(default)]
            folder: bool,
            #[serde(default)]
            order: Option<String>,
        }
        let place = |start: usize, end: usize| Place {
            file: Some(file.to_owned()),
            ..crate::LineTable::new(text).place(text, Span::new(start, end))
        };
        let wrong = |message: String, start: usize, end: usize| {
            let diagnostic = Diagnostic::error(Code::new("name-rule"), message)
                .at(place(start, end), "here")
                .help(
                    "a rule is `[[names]]` with `name`, `pattern` and, at need, `folder = true` or `order`",
                );
            Box::new(diagnostic)
        };
        let document: RuleFile = toml::from_str(text).map_err(|error| {
            let span = error.span().unwrap_or(0..0);
            wrong(error.message().to_owned(), span.start, span.end)
        })?;
        let spans: Vec<_> = document.names.iter().map(|rule| rule.pattern.span()).collect();
        let rules: Vec<NameRule> = document
            .names
            .into_iter()
            .map(|rule| NameRule {
                name: rule.name,
                pattern: rule.pattern.into_inner(),
                folder: rule.folder,
                order: rule.order,
            })
            .collect();
        Self::new(&rules).map_err(|error| {
            let span = spans.get(error.rule).cloned().unwrap_or(0..0);
            // Behind the opening quote; a pattern with escapes is pointed at only roughly.
            let mut at = (span.start + 1 + error.at).min(span.end);
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            wrong(format!("name rule `{}`: {}", error.name, error.message), at, at)
        })
    }

    /// Whether there is no rule.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rules.is_empty()
    }

    /// What the rules read from a path with `/` (or `\`) between its parts, in the order of the rules.
    ///
    /// A part that is not of its field's kind makes no claim.
    #[must_use]
    pub fn apply(&self, path: &str) -> Vec<(Key, Claim)> {
        let mut claims = Vec::new();
        if path.len() > LONGEST_PATH {
            return claims;
        }
        let path = path.replace('\\', "/");
        let parts: Vec<&str> = path.split('/').filter(|part| !part.is_empty()).collect();
        let Some((file, folders)) = parts.split_last() else {
            return claims;
        };
        for rule in &self.rules {
            match rule.scope {
                NameScope::File => {
                    rule.first_of(stems(file).map(str::to_owned), &mut claims);
                }
                NameScope::Folder => {
                    // The nearest folder speaks for the file.
                    rule.first_of(folders.iter().rev().map(|&folder| folder.to_owned()), &mut claims);
                }
                NameScope::Parts(count) => {
                    if let Some(above) =
                        (count - 1 <= folders.len()).then(|| &folders[folders.len() + 1 - count..])
                    {
                        let above = above.join("/");
                        rule.first_of(stems(file).map(|stem| format!("{above}/{stem}")), &mut claims);
                    }
                }
            }
        }
        claims
    }
}

/// A file name without its ending (without the last two when the last is a compression's), then whole.
///
/// An ending begins with a letter: the `.4` of `pH7.4` is none.
fn stems(file: &str) -> impl Iterator<Item = &str> {
    let without = |name: &str| {
        let at = name.rfind('.').filter(|&at| at > 0)?;
        let ending = &name[at + 1..];
        let short = ending.len() <= 5 && ending.bytes().all(|b| b.is_ascii_alphanumeric());
        (short && ending.starts_with(|c: char| c.is_ascii_alphabetic())).then_some(at)
    };
    let packed = |ending: &str| {
        ["gz", "zip", "zst", "bz2", "xz"]
            .iter()
            .any(|end| ending.eq_ignore_ascii_case(end))
    };
    let first = without(file);
    let second = first
        .filter(|&at| packed(&file[at + 1..]))
        .and_then(|at| without(&file[..at]));
    [second, first, Some(file.len())]
        .into_iter()
        .flatten()
        .map(move |end| &file[..end])
}

impl RuleTable {
    /// Claims from the first of several texts that the pattern matches.
    fn first_of(&self, texts: impl Iterator<Item = String>, claims: &mut Vec<(Key, Claim)>) {
        for text in texts {
            let Some(found) = self.matcher.captures(&text) else {
                continue;
            };
            for (slot, part) in self.slots.iter().zip(found.iter().skip(1)) {
                let claim = part.and_then(|part| self.claim(slot, part.as_str()));
                claims.extend(claim.map(|claim| (slot.key.clone(), claim)));
            }
            return;
        }
    }

    fn claim(&self, slot: &Slot, part: &str) -> Option<Claim> {
        let kind = slot.key.known().map(|known| known.kind);
        let numeric = slot.unit.is_some() || matches!(kind, Some(ValueKind::Number(_) | ValueKind::Range(_)));
        let text = match kind {
            Some(ValueKind::Date) => part.replace('_', "-"),
            Some(ValueKind::TimeOfDay) => clock(part),
            _ if numeric => points(part),
            _ => part.to_owned(),
        };
        let customs = Customs {
            order: self.order,
            // In names a comma parts no thousands.
            decimal_comma: numeric.then(|| text.contains(',')),
        };
        let stated = slot.unit.clone().map(Spelling::One);
        let found = interpret_as(&slot.key, &text, stated.as_ref(), customs);
        if !found.fits
            || found.question.is_some()
            || (slot.unit.is_some() && matches!(found.value, Value::Text(_)))
        {
            return None;
        }
        let origin = Origin::Name {
            rule: self.name.clone(),
            part: part.to_owned(),
        };
        Some(found.claim(part, origin))
    }
}

/// A `p` between digits is a decimal point.
fn points(part: &str) -> String {
    let signs: Vec<char> = part.chars().collect();
    let digit = |at: Option<usize>| at.and_then(|at| signs.get(at)).is_some_and(char::is_ascii_digit);
    signs
        .iter()
        .enumerate()
        .map(|(at, &sign)| {
            let between = digit(at.checked_sub(1)) && digit(Some(at + 1));
            if sign == 'p' && between { '.' } else { sign }
        })
        .collect()
}

/// `1032`, `10-32`, `10h32` and `103205` as `10:32` and `10:32:05`.
fn clock(part: &str) -> String {
    let digits: Vec<char> = part.chars().filter(char::is_ascii_digit).collect();
    if digits.len() != 4 && digits.len() != 6 {
        return part.to_owned();
    }
    digits
        .chunks(2)
        .map(|pair| pair.iter().collect::<String>())
        .collect::<Vec<_>>()
        .join(":")
}

/// What a slot may match. Text and anything are as short as the rest of the pattern allows.
fn form(key: &Key, unit: Option<&Unit>) -> &'static str {
    match key.known().map(|known| known.kind) {
        _ if unit.is_some() => r"\d+(?:[.,p]\d+)?",
        Some(ValueKind::Number(_)) => r"\d+(?:[.,p]\d+)?(?: ?[a-zµμ%°]+)??",
        Some(ValueKind::Range(_)) => r"\d+(?:[.,]\d+)?-\d+(?:[.,]\d+)?(?: ?[a-zµμ]+)??",
        Some(ValueKind::Date) => r"\d{4}[-._]?\d{1,2}[-._]?\d{1,2}|\d{1,2}[-._]\d{1,2}[-._]\d{2,4}|\d{6}",
        Some(ValueKind::TimeOfDay) => r"\d{1,2}[-_.h]?\d{2}(?:[-_.m]?\d{2})?",
        Some(ValueKind::Text) | None => "[^/]+?",
    }
}

fn compile(index: usize, rule: &NameRule) -> Result<RuleTable, RuleError> {
    let wrong = |at: usize, message: String| RuleError {
        rule: index,
        name: rule.name.clone(),
        at,
        message,
    };
    let pattern = rule.pattern.as_str();
    if pattern.is_empty() || pattern.len() > LONGEST {
        return Err(wrong(0, format!("expected a pattern of 1 to {LONGEST} bytes")));
    }
    let order = match rule.order.as_deref() {
        None => None,
        Some(word) => Some(DatePartOrder::named(word).ok_or_else(|| {
            wrong(
                0,
                format!("`{word}` is no order: expected `day-first`, `month-first` or `year-first`"),
            )
        })?),
    };
    let mut regex = String::from("^");
    let mut slots: Vec<Slot> = Vec::new();
    let mut open: Option<usize> = None;
    let mut parts = 1;
    let mut signs = pattern.char_indices();
    while let Some((at, sign)) = signs.next() {
        match sign {
            '{' => {
                let rest = &pattern[at + 1..];
                let end = rest
                    .find('}')
                    .ok_or_else(|| wrong(at, "this `{` is never closed".to_owned()))?;
                let inside = &rest[..end];
                slot(inside, &mut regex, &mut slots).map_err(|why| wrong(at, why.to_string()))?;
                while signs.as_str().len() > rest.len() - end - 1 {
                    signs.next();
                }
            }
            '}' => return Err(wrong(at, "this `}` closes nothing".to_owned())),
            '[' if open.is_some() => {
                return Err(wrong(
                    at,
                    "a part that may be absent cannot stand inside another".to_owned(),
                ));
            }
            '[' => {
                open = Some(at);
                regex.push_str("(?:");
            }
            ']' if open.take().is_some() => regex.push_str(")?"),
            ']' => return Err(wrong(at, "this `]` closes nothing".to_owned())),
            '\\' => match signs.next() {
                Some((_, next)) => regex.push_str(&regex::escape(next.encode_utf8(&mut [0; 4]))),
                None => return Err(wrong(at, "a backslash needs a sign behind it".to_owned())),
            },
            '/' => {
                parts += 1;
                regex.push('/');
            }
            other => regex.push_str(&regex::escape(other.encode_utf8(&mut [0; 4]))),
        }
    }
    if let Some(at) = open {
        return Err(wrong(at, "this `[` is never closed".to_owned()));
    }
    if slots.is_empty() {
        return Err(wrong(
            0,
            "the pattern names no field: expected one in braces, such as `{sample}`".to_owned(),
        ));
    }
    regex.push('$');
    let matcher = RegexBuilder::new(&regex)
        .case_insensitive(true)
        .size_limit(1 << 20)
        .build()
        .map_err(|_| wrong(0, "the pattern is too large".to_owned()))?;
    let scope = match (rule.folder, parts) {
        (true, 1) => NameScope::Folder,
        (true, _) => return Err(wrong(0, "a pattern for one folder has no `/`".to_owned())),
        (false, 1) => NameScope::File,
        (false, parts) => NameScope::Parts(parts),
    };
    Ok(RuleTable {
        name: rule.name.clone(),
        matcher,
        slots,
        scope,
        order,
    })
}

/// Why what stands between braces is no field.
#[derive(Debug)]
enum SlotError {
    NoField(String),
    Twice(String),
    Unit(UnknownUnit),
    OtherUnit {
        unit: Unit,
        field: String,
        custom: &'static str,
    },
}

impl std::fmt::Display for SlotError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoField(inside) => write!(
                f,
                "`{{{inside}}}` names no field: expected `{{key}}`, `{{key:unit}}` or `{{*}}`"
            ),
            Self::Twice(name) => write!(f, "`{name}` stands twice in the pattern"),
            Self::Unit(error) => error.fmt(f),
            Self::OtherUnit { unit, field, custom } => {
                write!(f, "`{unit}` is no unit of {field}, which is measured in {custom}")
            }
        }
    }
}

/// What stands between braces: `*`, `key` or `key:unit`.
fn slot(inside: &str, regex: &mut String, slots: &mut Vec<Slot>) -> Result<(), SlotError> {
    if inside == "*" {
        regex.push_str("[^/]*?");
        return Ok(());
    }
    let (name, unit) = match inside.split_once(':') {
        Some((name, code)) => {
            let unit = Unit::ucum(code.trim()).map_err(SlotError::Unit)?;
            (name.trim(), Some(unit))
        }
        None => (inside.trim(), None),
    };
    if name.is_empty() || name.contains(['{', '[', ']', '/']) {
        return Err(SlotError::NoField(inside.to_owned()));
    }
    let key = Key::new(name);
    if slots.iter().any(|slot| slot.key == key) {
        return Err(SlotError::Twice(name.to_owned()));
    }
    if let (Some(unit), Some(ValueKind::Number(custom) | ValueKind::Range(custom))) =
        (&unit, key.known().map(|known| known.kind))
        && !crate::interpret::accepts_unit(&key, unit)
    {
        return Err(SlotError::OtherUnit {
            unit: unit.clone(),
            field: name.to_owned(),
            custom,
        });
    }
    regex.push('(');
    regex.push_str(form(&key, unit.as_ref()));
    regex.push(')');
    slots.push(Slot { key, unit });
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rules(patterns: &[&str]) -> Rules {
        let rules: Vec<NameRule> = patterns
            .iter()
            .map(|&pattern| NameRule {
                name: "house".into(),
                pattern: pattern.into(),
                folder: false,
                order: None,
            })
            .collect();
        Rules::new(&rules).unwrap_or_else(|error| panic!("{error}"))
    }

    fn shown(claims: &[(Key, Claim)]) -> String {
        claims
            .iter()
            .map(|(key, claim)| {
                let unit = claim
                    .unit
                    .as_ref()
                    .map(|unit| format!(" {unit}"))
                    .unwrap_or_default();
                format!("{key}={}{unit}", claim.value)
            })
            .collect::<Vec<_>>()
            .join(" ")
    }

    #[test]
    fn names_become_claims() {
        let house = "{date}_{sample}_{temperature}C_pH{ph}[_rep{replicate}]";
        for (pattern, path, wanted) in [
            (
                house,
                "a/2021-03-14_betanin_37C_pH7_rep2.txt",
                "date=2021-03-14 sample=betanin temperature=37 Cel ph=7 [pH] replicate=2",
            ),
            (
                house,
                "20210314_beet_juice_25c_PH7.4.csv.gz",
                "date=2021-03-14 sample=beet_juice temperature=25 Cel ph=7.4 [pH]",
            ),
            (
                house,
                "2021_03_14_betanin_37C_pH7p4",
                "date=2021-03-14 sample=betanin temperature=37 Cel ph=7.4 [pH]",
            ),
            (
                house,
                "2021-03-14_betanin_37C_pH7,4.txt",
                "date=2021-03-14 sample=betanin temperature=37 Cel ph=7.4 [pH]",
            ),
            (house, "2021-03-14_betanin_37C_pH7-4.txt", ""),
            (
                house,
                "03-04-2021_betanin_37C_pH7.txt",
                "sample=betanin temperature=37 Cel ph=7 [pH]",
            ),
            (
                house,
                "14.03.2021_betanin_37C_pH7.txt",
                "date=2021-03-14 sample=betanin temperature=37 Cel ph=7 [pH]",
            ),
            (house, "betanin.txt", ""),
            (house, "", ""),
            (
                "{sample}_{concentration}",
                "pNPP_50uM.txt",
                "sample=pNPP concentration=50 umol/L",
            ),
            ("{sample}_{concentration}", "pNPP_50.txt", "sample=pNPP"),
            (
                "{sample}_{concentration:umol/L}",
                "pNPP_12p5.txt",
                "sample=pNPP concentration=12.5 umol/L",
            ),
            (
                "{sample}_{wavelength}",
                "betanin_537nm.txt",
                "sample=betanin wavelength=537 nm",
            ),
            (
                "{sample}_{wavelength-range}",
                "betanin_400-700.txt",
                "sample=betanin wavelength-range=400..700 nm",
            ),
            ("{sample}_{time}", "betanin_1032.txt", "sample=betanin time=10:32"),
            ("{sample}_{rack}", "betanin_B7.txt", "sample=betanin rack=B7"),
            ("run{*}_{sample}", "run12_x_betanin.dat", "sample=x_betanin"),
            (
                "{project}/{*}/{sample}",
                "old/beet/2021/betanin.txt",
                "project=beet sample=betanin",
            ),
            ("{project}/{sample}", "betanin.txt", ""),
            (
                r"{sample}\[{replicate}\]",
                "betanin[2].txt",
                "sample=betanin replicate=2",
            ),
            (
                "{sample} {date}",
                "C:\\data\\betanin 2021-03-14.txt",
                "sample=betanin date=2021-03-14",
            ),
        ] {
            assert_eq!(
                shown(&rules(&[pattern]).apply(path)),
                wanted,
                "{pattern} on {path}"
            );
        }
    }

    #[test]
    fn claims_say_where_they_come_from() {
        let claims = rules(&["{sample}_{temperature}C"]).apply("x/betanin_37C.txt");
        assert_eq!(
            claims[1].1.origin,
            Origin::Name {
                rule: "house".into(),
                part: "37".into()
            }
        );
    }

    #[test]
    fn folders_and_orders() {
        let text = "name = \"archive\"\n[[names]]\nname = \"day\"\npattern = \"{date}\"\nfolder = true\norder = \"day-first\"\n";
        let rules = Rules::from_toml(text, "archive.toml").expect("the rules read");
        assert_eq!(shown(&rules.apply("x/03-04-21/run.txt")), "date=2021-04-03");
        assert_eq!(shown(&rules.apply("03-04-21.txt")), "");
        assert!(Rules::from_toml("name = \"a\"", "archive.toml").is_ok_and(|rules| rules.is_empty()));
    }

    #[test]
    fn wrong_rules_are_told_with_their_place() {
        for (pattern, column, says) in [
            ("{sample", 12, "never closed"),
            ("x{sample}}", 21, "closes nothing"),
            ("[{sample}", 12, "never closed"),
            ("{sample}]", 20, "closes nothing"),
            ("{}", 12, "names no field"),
            ("plain", 12, "names no field"),
            ("{sample}_{sample}", 21, "twice"),
            ("{temperature:nm}", 12, "no unit of temperature"),
            ("{temperature:°C}", 12, "no unit"),
        ] {
            let text = format!("# rules\n[[names]]\nname = \"a\"\npattern = \"{pattern}\"\n");
            let error = *Rules::from_toml(&text, "archive.toml").expect_err(pattern);
            let place = &error.labels[0].place;
            assert!(error.message.contains(says), "{pattern}: {}", error.message);
            assert_eq!(
                (place.file.as_deref(), place.line, place.column),
                (Some("archive.toml"), 4, column),
                "{pattern}"
            );
        }
        let error = *Rules::from_toml("[[names]]\nnme = 1\n", "archive.toml").expect_err("a wrong key");
        assert_eq!(error.line(), Some(2));
    }

    #[test]
    fn any_path_is_harmless() {
        let rules = rules(&["{date}_{sample}", "{a}/{b}", "{*}{ph}"]);
        for path in [
            "",
            "/",
            "//",
            "a",
            "é/ü_",
            "....",
            "\\\\",
            "2021-99-99_x",
            "_",
            "💧/7p",
        ] {
            let _ = rules.apply(path);
        }
    }
}
