//! Powers of ten in heads: `A x 1000`, `10^3 A`, `A (10^-3)`.

use super::*;

/// The power of ten that a head says its numbers are scaled by: 3 for `A x 1000`, `A·10³` and `10^3 A`, -3 for
/// `A (10^-3)` and `A / 10-3`. Whether the numbers were multiplied by it or are still to be, no head says.
pub(crate) fn scale_of(text: &str) -> Option<i32> {
    // Every power of ten has one of these, unless it is raised.
    if text.is_ascii() && !["10", "1e", "1E"].into_iter().any(|ten| text.contains(ten)) {
        return None;
    }
    let mut plain = String::with_capacity(text.len());
    let mut raised = false;
    for sign in trimmed(text).chars() {
        let low = match sign {
            '⁻' => Some('-'),
            '⁺' => Some('+'),
            sign if sign.is_ascii() => None,
            sign => "⁰¹²³⁴⁵⁶⁷⁸⁹"
                .chars()
                .position(|c| c == sign)
                .and_then(|n| char::from_digit(u32::try_from(n).ok()?, 10)),
        };
        if low.is_some() && !raised {
            plain.push('^');
        }
        raised = low.is_some();
        plain.push(match low.unwrap_or(sign) {
            '−' | '–' => '-',
            '×' | '·' | '⋅' | '∙' => '*',
            sign => sign,
        });
    }
    let plain = plain.replace("**", "^");
    if let Some(power) = stated_power(&plain) {
        return Some(power);
    }
    // `c (mM)/1000`: a factor behind the unit and its bracket.
    let behind_unit = plain.rsplit_once('/').and_then(|(before, factor)| {
        let power = power_of_ten(factor)?;
        before.trim_end().ends_with([')', ']']).then_some(power)
    });
    if behind_unit.is_some() {
        return behind_unit;
    }
    // `(10^-3)`: brackets part the head; what stands in one, or behind a sign, is looked at alone.
    let pieces = plain.split(['(', ')', '[', ']', ',', ';']).map(str::trim);
    pieces.filter(|piece| !piece.is_empty()).find_map(|piece| {
        let behind = ["*", " x ", " x", " X ", "/"].iter().find_map(|mark| {
            let (before, factor) = piece.rsplit_once(mark)?;
            let power = power_of_ten(factor.trim())?;
            // `1/10` is a dilution, and a lone `/ 100` as well.
            let slash = *mark == "/" && !factor.contains(['^', '-']);
            (!slash && !before.trim().ends_with(|c: char| c.is_ascii_digit())).then_some(power)
        });
        let alone = || {
            power_of_ten(piece.trim_start_matches(['*', 'x', ' ']))
                .filter(|_| piece.contains(['^', '*']) || piece.starts_with('x') || piece.starts_with("10-"))
        };
        let before = || {
            let (factor, name) = piece.split_once([' ', '*'])?;
            let name = name.trim_start_matches(['*', ' ']);
            // `100 %` is a level.
            if name == "%" {
                return None;
            }
            let measured = symbol(name)
                .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))
                // `10^6 c (M)`; a bare `10 c` may be a name.
                .is_some_and(|quantities| {
                    factor.contains('^') && lone_unit(name).is_none()
                        || quantities.iter().all(Quantity::is_of_light)
                });
            power_of_ten(factor).filter(|_| measured)
        };
        behind.or_else(alone).or_else(before)
    })
}

/// Whether a head has a factor that is no number behind what was measured: `Abs x k`.
pub(crate) fn has_unknown_scale(text: &str) -> bool {
    const LONGEST: usize = 2;
    [" x ", " × ", " * ", "·", "×", "*"].iter().any(|mark| {
        text.split_once(mark).is_some_and(|(name, factor)| {
            let factor = factor.trim();
            let name = name.trim();
            (1..=LONGEST).contains(&factor.chars().count())
                && factor.chars().all(char::is_alphabetic)
                && symbol(name)
                    .or_else(|| quantity_of(name).map(|quantity| vec![quantity]))
                    .is_some_and(|quantities| quantities.iter().all(Quantity::is_of_light))
        })
    })
}

/// The power of ten that words say: `all absorbances are multiplied by 10`, `Werte mit 1000 multipliziert`.
fn stated_power(text: &str) -> Option<i32> {
    let lower = text.to_lowercase();
    let words: Vec<&str> = lower
        .split([' ', ',', ';', ':', '(', ')'])
        .filter(|word| !word.is_empty())
        .collect();
    let multiplied = |at: usize| crate::words::begins(WordList::Multiplied, words[at]);
    let factor = |at: usize| {
        words
            .get(at)
            .and_then(|word| power_of_ten(word.trim_end_matches('.')))
    };
    (0..words.len()).filter(|&at| multiplied(at)).find_map(|at| {
        factor(at + 1)
            .or_else(|| factor(at + 2))
            .or_else(|| factor(at.checked_sub(1)?))
    })
}

/// `10`, `1000`, `10^3`, `10-3`, `1e-3`, `1E3`.
pub(super) fn power_of_ten(text: &str) -> Option<i32> {
    let text = text.trim();
    if let Some(zeros) = text.strip_prefix('1')
        && !zeros.is_empty()
        && zeros.len() <= 6
        && zeros.bytes().all(|b| b == b'0')
    {
        return i32::try_from(zeros.len()).ok();
    }
    let exponent = text
        .strip_prefix("10^")
        .or_else(|| {
            text.strip_prefix("10")
                .filter(|rest| rest.starts_with(['-', '+']))
        })
        .or_else(|| text.strip_prefix("1e"))
        .or_else(|| text.strip_prefix("1E"))?;
    let power: i32 = exponent.trim().trim_start_matches('+').parse().ok()?;
    (1..=12).contains(&power.abs()).then_some(power)
}

/// A name without a factor of ten behind it: the `eps` of `eps x 10-3`. What the factor means is asked elsewhere.
pub(crate) fn without_scale(name: &str) -> &str {
    let name = name.trim();
    for mark in [" x ", " X ", "×", "*", "·", " /", "/"] {
        if let Some((before, behind)) = name.split_once(mark)
            && (behind.trim_start().starts_with("10") || behind.trim_start().starts_with("1e"))
            && scale_of(name).is_some()
        {
            return before.trim();
        }
    }
    name
}
