//! The spellings of units that people write.
//!
//! A spelling is looked up as a whole first (`°C`, `%T`, `a.u.`), then taken apart as a product (`l/(mol*cm)`,
//! `M-1 cm-1`, `mAU/min`). Where a spelling means several units in this trade (`C`, `NM`, `J/mol K`), all are
//! returned, likeliest first, and the place where it stands decides by dimension.

mod lists;

use std::borrow::Cow;
use std::cell::RefCell;

use hashbrown::HashMap;

use self::lists::{whole, word_of_any_case, word_of_this_case, word_written_out};
use super::Unit;

/// What a spelling of a unit means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Spelling {
    /// This unit.
    One(Unit),
    /// Any of these, likeliest in this trade first.
    Several(Vec<Unit>),
    /// No unit that is known here.
    None,
}

impl Spelling {
    /// All meanings, likeliest first.
    #[must_use]
    pub fn units(&self) -> &[Unit] {
        match self {
            Self::One(unit) => std::slice::from_ref(unit),
            Self::Several(units) => units,
            Self::None => &[],
        }
    }

    /// The one meaning.
    #[must_use]
    pub fn one(&self) -> Option<&Unit> {
        match self {
            Self::One(unit) => Some(unit),
            _ => None,
        }
    }

    /// The one meaning that converts to `unit`; `None` when there is none or more than one.
    #[must_use]
    pub fn like(&self, unit: &Unit) -> Option<&Unit> {
        let mut fitting = self.units().iter().filter(|one| one.converts_to(unit));
        fitting.next().filter(|_| fitting.next().is_none())
    }

    fn of(mut units: Vec<Unit>) -> Self {
        let mut seen: Vec<Unit> = Vec::with_capacity(units.len());
        units.retain(|unit| {
            let new = !seen.contains(unit);
            if new {
                seen.push(unit.clone());
            }
            new
        });
        match units.len() {
            0 => Self::None,
            1 => units.pop().map_or(Self::None, Self::One),
            _ => Self::Several(units),
        }
    }
}

/// No spelling of a unit is longer, counted in characters.
const LONGEST: usize = 48;
/// More readings of one spelling than this are as good as none.
const MANY: usize = 6;

/// What `text` means as a unit. Case matters where it must: `mM` and `mm`, `nM` and `nm`.
#[must_use]
pub fn spelled(text: &str) -> Spelling {
    if text.len() > LONGEST * 4 {
        return Spelling::None;
    }
    // The same few spellings stand in thousands of files, and taking one apart is dear.
    KNOWN.with_borrow_mut(|known| {
        if let Some(found) = known.get(text) {
            return found.clone();
        }
        if known.len() >= REMEMBERED {
            known.clear();
        }
        let found = understand(text);
        known.insert(text.to_owned(), found.clone());
        found
    })
}

/// So many spellings are remembered on each thread.
const REMEMBERED: usize = 2048;

thread_local! {
    static KNOWN: RefCell<HashMap<String, Spelling>> = RefCell::new(HashMap::new());
}

fn understand(text: &str) -> Spelling {
    let plain = plain(&with_caret(text));
    let text = without_brackets(&plain);
    if text.is_empty() || text.chars().count() > LONGEST {
        return Spelling::None;
    }
    if let Some(codes) = whole(text) {
        return Spelling::of(codes.iter().filter_map(|code| Unit::ucum(code).ok()).collect());
    }
    if text.contains(['{', '[']) && !text.contains("^{") {
        return Unit::ucum(text).map_or(Spelling::None, Spelling::One);
    }
    if let Some((power, of)) = scaled(text) {
        let units = understand(of).units().to_vec();
        let code = |unit: &Unit| {
            let link = if unit.code().starts_with('/') { "" } else { "." };
            Unit::ucum(&format!("10*{power}{link}{}", unit.code())).ok()
        };
        return Spelling::of(
            units
                .iter()
                .filter(|unit| **unit != Unit::ONE)
                .filter_map(code)
                .collect(),
        );
    }
    Spelling::of(product(text))
}

/// `10³` as `10^³`: without the caret a raised digit becomes one of the number.
fn with_caret(text: &str) -> Cow<'_, str> {
    let raised = |sign: char| "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻".contains(sign);
    match text.find("10").map(|at| text.split_at(at + 2)) {
        Some((ten, behind)) if behind.starts_with(raised) => Cow::Owned(format!("{ten}^{behind}")),
        _ => Cow::Borrowed(text),
    }
}

/// A power of ten in front of a unit, `10^-20 cm2`, `10³ M-1 cm-1`, `1e-20 cm^2`, and the unit: it is a part of the unit
/// and is kept. A bare `10-20 cm2` is one only in front of exponents, since it may be a range: `10-20 min`.
fn scaled(text: &str) -> Option<(i32, &str)> {
    let bare = text.trim_start_matches(['*', 'x', ' ']);
    let (rest, marked) = bare
        .strip_prefix("10**")
        .or_else(|| bare.strip_prefix("10^"))
        .or_else(|| bare.strip_prefix("1e"))
        .or_else(|| bare.strip_prefix("1E"))
        .map(|rest| (rest, true))
        .or_else(|| Some((bare.strip_prefix("10")?, false)))?;
    let braced = rest.starts_with(['(', '{']);
    let rest = rest.trim_start_matches(['(', '{']);
    let (minus, digits) = match rest.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, rest.strip_prefix('+').unwrap_or(rest)),
    };
    let end = digits.find(|c: char| !c.is_ascii_digit()).unwrap_or(digits.len());
    let power: i32 = digits[..end]
        .parse()
        .ok()
        .filter(|power| (1..=30).contains(power))?;
    let mut of = &digits[end..];
    if braced {
        of = of.strip_prefix([')', '}'])?;
    }
    // What was raised and has lost its sign, `103 M-1 cm-1`, cannot be told from a number.
    if !marked && !minus {
        return None;
    }
    if !of.starts_with([' ', '*', '.', '/']) {
        return None;
    }
    let of = of.trim_start_matches([' ', '*', '.']);
    let exponents = of.contains("-1") || of.contains("cm2") || of.contains("cm^2") || of.contains("m2");
    (!of.is_empty() && (marked || exponents)).then_some((if minus { -power } else { power }, of))
}

/// One sign for each meaning: micro is `u`, blanks are one blank, superscripts are digits, every dash is `-`.
fn plain(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut signs = text.trim().chars().peekable();
    while let Some(sign) = signs.next() {
        // A degree sign or mu that went once too often through an encoder has an `Â` in front.
        if sign == 'Â' && matches!(signs.peek(), Some('°' | 'µ' | '²' | '³' | '¹' | 'º' | '·')) {
            continue;
        }
        let one = match sign {
            'µ' | 'μ' => 'u',
            // The Greek capital in front of a Latin letter is a micro that was put into capitals: `ΜM`.
            'Μ' if signs.peek().is_some_and(char::is_ascii_alphabetic) => 'u',
            'º' | '˚' => '°',
            '\u{212A}' => 'K',
            '\u{212B}' => 'Å',
            '⁰' => '0',
            '¹' => '1',
            '²' => '2',
            '³' => '3',
            '⁴' => '4',
            '⁵' => '5',
            '⁶' => '6',
            '⁷' => '7',
            '⁸' => '8',
            '⁹' => '9',
            '⁺' => '+',
            '−' | '–' | '‐' | '‑' | '⁻' | '﹣' | '－' => '-',
            '·' | '×' | '⋅' | '•' | '∙' => '*',
            '⁄' | '∕' | '÷' => '/',
            '∆' => 'Δ',
            '℃' => {
                plain.push_str("°C");
                continue;
            }
            // Units in one sign, as East Asian systems have them.
            '㎚' | '㎛' | '㎜' | '㎝' | '㎖' | '㎕' | '㎎' | '㎍' | '㎳' | '℉' => {
                plain.push_str(match sign {
                    '㎚' => "nm",
                    '㎛' => "um",
                    '㎜' => "mm",
                    '㎝' => "cm",
                    '㎖' => "mL",
                    '㎕' => "uL",
                    '㎎' => "mg",
                    '㎍' => "ug",
                    '㎳' => "ms",
                    _ => "°F",
                });
                continue;
            }
            '\u{200B}' | '\u{FEFF}' | '\u{2060}' => continue,
            sign if sign.is_whitespace() => {
                if !plain.ends_with(' ') {
                    plain.push(' ');
                }
                continue;
            }
            sign => sign,
        };
        plain.push(one);
    }
    plain.truncate(plain.trim_end().len());
    plain
}

/// Without one pair of brackets around the whole; UCUM's own (`[pH]`) stay.
fn without_brackets(text: &str) -> &str {
    let inner = |open: char, close: char| {
        let inner = text.strip_prefix(open)?.strip_suffix(close)?;
        (!inner.contains([open, close])).then(|| inner.trim())
    };
    let own = [
        "[pH]", "[ppm]", "[ppth]", "[ppb]", "[iU]", "[IU]", "[arb'U]", "[degF]",
    ];
    if own.contains(&text) {
        return text;
    }
    inner('(', ')')
        .or_else(|| inner('[', ']'))
        .or_else(|| inner('<', '>'))
        .unwrap_or(text)
}

/// All codes a single word may stand for, likeliest first.
fn word(text: &str) -> Vec<String> {
    let text = text.trim_end_matches('.');
    if let Some(codes) = word_of_this_case(text) {
        return codes.iter().map(|&code| code.to_owned()).collect();
    }
    let lower = text.to_lowercase();
    if let Some(code) = word_of_any_case(&lower) {
        // `Ms`, `mS` and the like are none of the spellings of `ms`: mixed case must be a word with a capital.
        let short_and_mixed = lower.len() == 2
            && text != lower
            && text.chars().any(char::is_lowercase)
            && !matches!(
                text,
                "mL" | "uL"
                    | "nL"
                    | "dL"
                    | "cL"
                    | "Hz"
                    | "Pa"
                    | "kJ"
                    | "eV"
                    | "Mn"
                    | "Au"
                    | "Od"
                    | "Hr"
                    | "Mg"
                    | "Nl"
                    | "Ml"
                    | "dB"
            );
        return if short_and_mixed {
            Vec::new()
        } else {
            vec![code.to_owned()]
        };
    }
    word_written_out(&lower).into_iter().collect()
}

/// A piece of a product.
#[derive(Clone, Copy, Debug, PartialEq)]
enum UnitToken<'a> {
    Word(&'a str),
    Power(i32),
    One,
    Times,
    Per,
    Open,
    Close,
}

/// Takes a product apart; `None` when something in it is no part of a unit.
fn tokens(text: &str) -> Option<Vec<UnitToken<'_>>> {
    let mut tokens: Vec<UnitToken<'_>> = Vec::new();
    let mut rest = text;
    let mut apart = false;
    let mut blanks = false;
    while let Some(sign) = rest.chars().next() {
        let after_word = match tokens.last() {
            Some(UnitToken::Word(word)) => Some(*word),
            _ => None,
        };
        if let Some((power, left)) = after_word.and_then(|word| power(rest, word, apart)) {
            tokens.push(UnitToken::Power(power));
            rest = left;
            continue;
        }
        match sign {
            ' ' => {
                rest = rest.trim_start();
                apart = true;
                continue;
            }
            '/' => tokens.push(UnitToken::Per),
            // A word and a bracket are no product: `Absorbance (AU)`.
            '(' if after_word.is_some() => return None,
            '(' => tokens.push(UnitToken::Open),
            ')' => tokens.push(UnitToken::Close),
            '*' => tokens.push(UnitToken::Times),
            '.' => tokens.push(UnitToken::Times),
            '1' if matches!(tokens.last(), None | Some(UnitToken::Open)) => tokens.push(UnitToken::One),
            sign if sign.is_alphabetic() || matches!(sign, '°' | '%') => {
                let end = rest
                    .char_indices()
                    .find(|&(_, c)| !(c.is_alphabetic() || matches!(c, '°' | '%')))
                    .map_or(rest.len(), |(at, _)| at);
                // A point behind a word that ends there is an abbreviation's; one between words is a product's.
                let behind = &rest[end..];
                let abbreviated =
                    behind.starts_with('.') && !behind[1..].starts_with(|c: char| c.is_alphabetic());
                let word = &rest[..end];
                let per = matches!(
                    word.to_lowercase().as_str(),
                    "per" | "pro" | "par" | "por" | "je" | "na"
                );
                blanks |= apart && after_word.is_some() && !per;
                apart = false;
                tokens.push(if per {
                    UnitToken::Per
                } else {
                    UnitToken::Word(word)
                });
                rest = if abbreviated { &behind[1..] } else { behind };
                continue;
            }
            _ => return None,
        }
        apart = false;
        rest = &rest[sign.len_utf8()..];
        if tokens.len() > 24 {
            return None;
        }
    }
    // Two words side by side are a product only where exponents or a slash make a unit of them: `nm Abs` is none.
    let mathematical = tokens
        .iter()
        .any(|token| matches!(token, UnitToken::Power(_) | UnitToken::Per));
    (!blanks || mathematical).then_some(tokens)
}

/// An exponent at the start of `rest`, behind `word`: `-1`, `^-1`, `^(-1)`, `**2`, or ` -1` behind a blank. Only
/// lengths take a bare positive one (`cm2`): `A2` is no unit.
fn power<'a>(rest: &'a str, word: &str, apart: bool) -> Option<(i32, &'a str)> {
    let (marked, mut left) = match rest.strip_prefix("**").or_else(|| rest.strip_prefix('^')) {
        Some(left) => (true, left.trim_start()),
        None => (false, rest),
    };
    let bracket = marked && left.starts_with(['(', '{']);
    if bracket {
        left = left[1..].trim_start();
    }
    if !marked && left.starts_with(' ') {
        left = left.trim_start();
        if !left.starts_with('-') {
            return None;
        }
    }
    let (minus, left) = match left.strip_prefix('-') {
        Some(left) => (true, left.trim_start()),
        None => (false, left.strip_prefix('+').filter(|_| marked).unwrap_or(left)),
    };
    let end = left.find(|c: char| !c.is_ascii_digit()).unwrap_or(left.len());
    let number: i32 = left[..end].parse().ok().filter(|n| (1..=4).contains(n))?;
    let mut left = &left[end..];
    if bracket {
        left = left.trim_start().strip_prefix([')', '}'])?;
    }
    let bare = !minus && !marked;
    if bare && (apart || number == 1 || !matches!(word, "m" | "cm" | "mm" | "dm" | "um" | "nm" | "km")) {
        return None;
    }
    Some((if minus { -number } else { number }, left))
}

/// Every reading of a product, as units.
fn product(text: &str) -> Vec<Unit> {
    let Some(tokens) = tokens(text) else {
        return Vec::new();
    };
    let mut units = Vec::new();
    // What stands behind a slash without brackets is mostly all divided by (`J/mol K`); read strictly it is not.
    for loose in [true, false] {
        let mut readings = vec![String::new()];
        let mut at = 0;
        if !group(&tokens, &mut at, 1, loose, 0, &mut readings) || at != tokens.len() {
            return Vec::new();
        }
        for reading in readings {
            // Nothing is measured per absorbance: `A / AU` is a name beside its unit.
            let unit = Unit::ucum(reading.trim_start_matches('.')).ok();
            units.extend(unit.filter(|unit| !unit.code().contains("/{")));
        }
    }
    units.truncate(MANY);
    units
}

/// Reads factors up to a closing bracket or the end, each raised to `sign`, onto every reading.
fn group(
    tokens: &[UnitToken<'_>],
    at: &mut usize,
    sign: i32,
    loose: bool,
    depth: usize,
    readings: &mut Vec<String>,
) -> bool {
    if depth > 3 {
        return false;
    }
    let mut under = false;
    let mut wanted = true;
    let mut fresh = false;
    while let Some(&token) = tokens.get(*at) {
        *at += 1;
        match token {
            UnitToken::Close => {
                *at -= 1;
                break;
            }
            UnitToken::Times if wanted => return false,
            UnitToken::Times => {
                wanted = true;
                continue;
            }
            UnitToken::Per if wanted && *at > 1 => return false,
            UnitToken::Per => {
                under = true;
                wanted = true;
                fresh = true;
                continue;
            }
            UnitToken::One if wanted => {}
            UnitToken::Open => {
                let direction = if under && (fresh || loose) { -sign } else { sign };
                if !group(tokens, at, direction, loose, depth + 1, readings) {
                    return false;
                }
                if tokens.get(*at) != Some(&UnitToken::Close) {
                    return false;
                }
                *at += 1;
            }
            UnitToken::Word(name) => {
                let power = match tokens.get(*at) {
                    Some(&UnitToken::Power(power)) => {
                        *at += 1;
                        power
                    }
                    _ => 1,
                };
                // `x/min-1` says two things at once.
                if under && fresh && power < 0 {
                    return false;
                }
                let divided = under && (fresh || (loose && power > 0));
                let exponent = power * if divided { -sign } else { sign };
                let codes = word(name);
                if codes.is_empty() || readings.len() * codes.len() > MANY {
                    return false;
                }
                let mut longer = Vec::with_capacity(readings.len() * codes.len());
                for reading in readings.iter() {
                    for code in &codes {
                        longer.push(format!("{reading}.{}", raised(code, exponent)));
                    }
                }
                *readings = longer;
            }
            UnitToken::One | UnitToken::Power(_) => return false,
        }
        wanted = false;
        fresh = false;
    }
    !wanted
}

/// The code of a word to a power, factor by factor: `mol.L-1` to -1 is `mol-1.L1`.
fn raised(code: &str, exponent: i32) -> String {
    if exponent == 1 {
        return code.to_owned();
    }
    let over = if exponent < 0 { "1/" } else { "" };
    let factors = vec![format!("({code})"); exponent.unsigned_abs() as usize];
    if exponent < 0 {
        format!("({over}({}))", factors.join("."))
    } else {
        factors.join(".")
    }
}
