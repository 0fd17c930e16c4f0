//! Lengths of time that name their units, and clock times.

use super::{Cell, EXACT, Style, plain};

/// A length of time that names its units, exact: `15 s`, `1 min 15`, `0'30"`, `1h30`, `½ h`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Duration {
    /// The whole of it in seconds, times ten to the power of `decimals`.
    ticks: i64,
    pub(crate) decimals: u8,
    /// The seconds of the finest unit that its parts are counted in; none for a bare zero, which is zero in all.
    finest: Option<i64>,
    /// It has several parts, or a vulgar fraction: no single number with a unit says the same.
    pub(crate) composite: bool,
    /// Only a prime names its unit, and `5'` is the end of a strand as well.
    pub(crate) primes: bool,
}

impl Duration {
    /// Nothing, in any unit.
    pub(crate) const ZERO: Self = Self {
        ticks: 0,
        decimals: 0,
        finest: None,
        composite: false,
        primes: false,
    };

    /// Whether it is written in minutes or a greater unit, and zero counts as such.
    pub(crate) fn in_whole_minutes(self) -> bool {
        self.finest.is_none_or(|finest| finest >= 60)
    }

    /// Whether it counts a unit, and is no bare zero.
    pub(crate) fn is_counted(self) -> bool {
        self.finest.is_some()
    }

    /// The unit of time that it counts, and its seconds, where it counts no other.
    pub(crate) fn unit_alone(self) -> Option<(i64, curvary_record::Unit)> {
        let seconds = self.finest.filter(|_| !self.composite)?;
        let code = match seconds {
            1 => "s",
            60 => "min",
            3600 => "h",
            86_400 => "d",
            _ => return None,
        };
        Some((seconds, curvary_record::Unit::ucum(code).ok()?))
    }

    /// Whether the two are written down to the same unit.
    pub(crate) fn is_like(self, other: Self) -> bool {
        self.finest == other.finest || self.finest.is_none() || other.finest.is_none()
    }

    /// Its count of a unit of so many seconds, where that is exact.
    pub(crate) fn count_of(self, seconds: i64) -> Option<f64> {
        let whole = seconds > 0 && self.ticks % seconds == 0;
        whole.then(|| (self.ticks / seconds) as f64 / EXACT[usize::from(self.decimals).min(22)])
    }

    /// Its count of seconds, or of minutes. One correctly rounded division of two exact numbers.
    pub(crate) fn count(self, in_minutes: bool) -> f64 {
        let ticks = if in_minutes { self.ticks / 60 } else { self.ticks };
        ticks as f64 / EXACT[usize::from(self.decimals).min(22)]
    }
}

/// A length of time behind numbers with a unit of time, `1 min 15` behind `59 s`: so many of that unit, and decimals.
pub(crate) fn duration_in(text: &str, unit: &str, style: Style) -> Option<(f64, u8)> {
    let (seconds, _) = seconds_of(unit.trim()).filter(|(_, metre)| !metre)?;
    let length = duration(text, style)?;
    Some((length.count_of(seconds)?, length.decimals))
}

/// The seconds of a unit of time by its word; `m` is told apart, since alone it is a metre.
fn seconds_of(word: &str) -> Option<(i64, bool)> {
    if word == "m" {
        return Some((60, true));
    }
    let spelling = curvary_record::unit::spelled(word);
    let seconds = match spelling.one()?.code() {
        "s" => 1,
        "min" => 60,
        "h" => 3600,
        "d" => 86_400,
        _ => return None,
    };
    Some((seconds, false))
}

/// The seconds of a unit by the primes that stand for it: one for minutes, two for seconds, as signs of their own, as
/// apostrophes and quotes, or as a quote that was doubled in a quoted cell.
fn seconds_of_primes(primes: &str) -> Option<i64> {
    let single = |c: char| matches!(c, '\'' | '\u{2032}' | '\u{2019}' | '\u{2018}' | '\u{00B4}');
    let double = |c: char| matches!(c, '"' | '\u{2033}' | '\u{201D}' | '\u{201C}');
    let mut signs = primes.chars();
    match (signs.next()?, signs.next(), signs.next()) {
        (one, None, None) if single(one) => Some(60),
        (one, None, None) if double(one) => Some(1),
        (one, Some(two), None) if one == two && (single(one) || one == '"') => Some(1),
        _ => None,
    }
}

/// Reads a length of time that names its units. Its parts go down from the greatest unit to the smallest, each below
/// one of the unit before it; only the last may have decimals. Behind hours or minutes two digits without a unit are
/// of the next smaller one.
pub(crate) fn duration(text: &str, style: Style) -> Option<Duration> {
    let (negative, text) = match text.trim().strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.trim()),
    };
    let begins = text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '½' | '¼' | '¾'));
    if !begins || text.len() > 40 {
        return None;
    }
    let mut rest = text;
    let mut ticks = 0_i64;
    let mut decimals = 0_u8;
    let mut parts: Vec<i64> = Vec::new();
    let (mut finest, mut fractions, mut metres, mut primes) = (i64::MAX, false, false, false);
    while !rest.is_empty() {
        if decimals > 0 || fractions {
            return None;
        }
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        let whole: i64 = match digits {
            0 => 0,
            1..=9 => rest[..digits].parse().ok()?,
            _ => return None,
        };
        let mut behind = &rest[digits..];
        let mut amount = whole;
        let mut quarters = 0;
        if let Some(fraction) = behind
            .strip_prefix(char::from(style.decimal))
            .filter(|_| digits > 0)
        {
            let length = fraction.bytes().take_while(u8::is_ascii_digit).count();
            if !(1..=6).contains(&length) {
                return None;
            }
            decimals = u8::try_from(length).ok()?;
            amount = whole * 10_i64.pow(u32::from(decimals)) + fraction[..length].parse::<i64>().ok()?;
            ticks *= 10_i64.pow(u32::from(decimals));
            behind = &fraction[length..];
        } else if let Some((sign, quarter)) = [('½', 2), ('¼', 1), ('¾', 3)]
            .into_iter()
            .find(|(sign, _)| behind.trim_start_matches(' ').starts_with(*sign))
        {
            quarters = quarter;
            fractions = true;
            behind = &behind.trim_start_matches(' ')[sign.len_utf8()..];
        } else if digits == 0 {
            return None;
        }
        let named = behind.trim_start_matches([' ', '\u{00A0}', '\u{202F}']);
        let letters: usize = named
            .chars()
            .take_while(|c| c.is_alphabetic())
            .map(char::len_utf8)
            .sum();
        let is_prime = |c: &char| "'\"\u{2032}\u{2033}\u{2019}\u{2018}\u{201D}\u{201C}\u{00B4}".contains(*c);
        let marks: usize = named.chars().take_while(is_prime).map(char::len_utf8).sum();
        let (seconds, end) = if letters > 0 {
            let (seconds, metre) = seconds_of(&named[..letters])?;
            metres |= metre;
            (seconds, letters + usize::from(named[letters..].starts_with('.')))
        } else if marks > 0 {
            primes = true;
            (seconds_of_primes(&named[..marks])?, marks)
        } else {
            // `1 min 15`, `1h30`, `1'30`
            let plain = named.is_empty() && digits == 2 && decimals == 0 && !fractions;
            match parts.last().filter(|_| plain) {
                Some(3600) => (60, 0),
                Some(60) => (1, 0),
                _ => return None,
            }
        };
        if parts
            .last()
            .is_some_and(|&last| seconds >= last || whole >= last / seconds)
        {
            return None;
        }
        // A quarter of a second is nothing that a stopwatch without decimals tells.
        if fractions && seconds == 1 {
            return None;
        }
        ticks = ticks.checked_add(amount.checked_mul(seconds)?)?;
        ticks = ticks.checked_add(quarters * seconds / 4)?;
        parts.push(seconds);
        finest = match seconds {
            60 if fractions => 1,
            3600 | 86_400 if fractions => 60,
            _ => seconds,
        };
        rest = named[end..].trim_start_matches([' ', '\u{00A0}', '\u{202F}']);
    }
    if parts.is_empty() || (metres && parts.len() < 2) || ticks >= 1 << 53 {
        return None;
    }
    Some(Duration {
        ticks: if negative { -ticks } else { ticks },
        decimals,
        finest: Some(finest),
        composite: parts.len() > 1 || fractions || primes,
        primes: primes && parts.len() == 1,
    })
}

/// `8.40`: the whole number in front of the point and the one of two digits behind it, where that may be sixtieths.
pub(crate) fn dotted_time(text: &str) -> Option<(f64, f64)> {
    let (whole, part) = text.trim().split_once('.')?;
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    let sound = (1..=2).contains(&whole.len()) && part.len() == 2 && digits(whole) && digits(part);
    let parts: (f64, f64) = (whole.parse().ok()?, part.parse().ok()?);
    (sound && parts.1 < 60.0).then_some(parts)
}

/// A length of time that no number with a unit says, as a clock time.
pub(super) fn clock_of_duration(text: &str, style: Style) -> Option<Cell> {
    let length = duration(text, style).filter(|length| length.composite)?;
    Some(Cell::Clock {
        parts: [0.0, 0.0, length.count(false)],
        count: 3,
        decimals: length.decimals,
    })
}

/// `10:32:05`, `0:30`, `1:02:03.5`.
pub(super) fn clock(text: &str, style: Style) -> Option<Cell> {
    let mut parts = [0.0; 3];
    let mut count = 0;
    let mut decimals = 0;
    for part in text.split(':') {
        if count == 3 {
            return None;
        }
        let (value, fraction, _) = plain(part.as_bytes(), 0, style.decimal)
            .or_else(|| plain(part.as_bytes(), 0, b'.'))
            .filter(|&(_, _, end)| end == part.len())?;
        let last_may_have_a_fraction = fraction > 0 && decimals == 0;
        if part.starts_with(['-', '+']) && count > 0 || decimals > 0 || (count > 0 && value >= 60.0) {
            return None;
        }
        if last_may_have_a_fraction {
            decimals = fraction;
        }
        parts[count as usize] = value;
        count += 1;
    }
    (count >= 2).then_some(Cell::Clock {
        parts,
        count,
        decimals,
    })
}
