//! Numbers, ranges and spreads with a unit behind them, taken from a text.

use crate::unit::{Spelling, spelled};

/// What a numeral means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Numeral {
    One(f64),
    /// A comma (or point) before three digits: decimal sign or thousands mark.
    Either {
        decimal: f64,
        thousands: f64,
    },
}

/// Takes a numeral off the front of `text`.
pub(super) fn numeral(text: &str, comma: Option<bool>) -> Option<(Numeral, &str)> {
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
pub(super) struct Measure<'a> {
    pub(super) from: Numeral,
    pub(super) to: Option<Numeral>,
    pub(super) plus_minus: Option<f64>,
    /// The text of the unit; empty when there was none.
    pub(super) unit: &'a str,
}

/// Takes a text apart as a number or range with a unit. `None` when anything else stands in it.
pub(super) fn take(text: &str, comma: Option<bool>) -> Option<Measure<'_>> {
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
            // A letter right behind `298,` stands where a digit is missing.
            let apart = mark.starts_with(' ') || !unit.is_empty() || remark.starts_with(' ');
            let harmless = apart
                && !remark.contains(|c: char| c.is_ascii_digit())
                && remark.chars().any(char::is_alphabetic);
            if harmless && (unit.is_empty() || spelled(unit) != Spelling::None) {
                return Some(unit);
            }
        }
    }
    None
}
