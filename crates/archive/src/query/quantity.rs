//! Numbers with units, bounds and days as they stand in a query.

use curvary_record::Unit;
use curvary_record::unit::spelled;

/// Two numbers are the same when they differ by no more than this part of themselves. Conversions between units are
/// correctly rounded and differ by some 10⁻¹⁶; this leaves room for values that were written with ten digits.
const TOLERANCE: f64 = 1e-9;

/// Bounds of a number, both inclusive; the tolerance is reckoned in already.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bounds {
    pub(crate) low: Option<f64>,
    pub(crate) high: Option<f64>,
}

impl Bounds {
    pub(crate) fn hold(self, value: f64) -> bool {
        self.low.is_none_or(|low| low <= value) && self.high.is_none_or(|high| value <= high)
    }

    /// Whether a run that spans `from..to` answers: what is asked for on both sides must be covered, and a bound on one
    /// side must be reached.
    #[cfg(test)]
    pub(crate) fn covered(self, from: f64, to: f64) -> bool {
        match (self.low, self.high) {
            // The bounds were widened by the tolerance; the middle half of what that added is as good as the bound.
            (Some(low), Some(high)) => from <= inner(low, true) && inner(high, false) <= to,
            (Some(low), None) => low <= to,
            (None, Some(high)) => from <= high,
            (None, None) => true,
        }
    }

    /// The innermost bounds that a span must cover: the bounds as they were given, once more widened inwards.
    pub(crate) fn to_cover(self) -> (Option<f64>, Option<f64>) {
        (
            self.low.map(|low| inner(low, true)),
            self.high.map(|high| inner(high, false)),
        )
    }
}

/// A bound that was widened outwards by the tolerance, moved inwards by twice as much.
fn inner(bound: f64, low: bool) -> f64 {
    let step = 2.0 * TOLERANCE * bound.abs();
    if low { bound + step } else { bound - step }
}

/// How a number is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Compare {
    Equal,
    Less,
    AtMost,
    More,
    AtLeast,
}

impl Compare {
    /// The sign at the front of `text`, and the rest.
    pub(crate) fn split(text: &str) -> (Option<Self>, &str) {
        for (sign, compare) in [
            ("<=", Self::AtMost),
            ("≤", Self::AtMost),
            (">=", Self::AtLeast),
            ("≥", Self::AtLeast),
            ("<", Self::Less),
            (">", Self::More),
            ("=", Self::Equal),
        ] {
            if let Some(rest) = text.strip_prefix(sign) {
                return (Some(compare), rest);
            }
        }
        (None, text)
    }

    pub(crate) fn bounds(self, value: f64) -> Bounds {
        let slack = TOLERANCE * value.abs();
        let (below, above) = (value - slack, value + slack);
        let (low, high) = match self {
            Self::Equal => (Some(below), Some(above)),
            Self::AtLeast => (Some(below), None),
            Self::More => (Some(above.next_up()), None),
            Self::AtMost => (None, Some(above)),
            Self::Less => (None, Some(below.next_down())),
        };
        Bounds { low, high }
    }
}

/// The number at the front of `text` and what follows it, trimmed.
pub(crate) fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let bytes = text.as_bytes();
    let mut at = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let digits = |from: usize| {
        bytes[from.min(bytes.len())..]
            .iter()
            .take_while(|byte| byte.is_ascii_digit())
            .count()
    };
    let whole = digits(at);
    at += whole;
    let mut part = 0;
    if bytes.get(at) == Some(&b'.') {
        part = digits(at + 1);
        at += 1 + part;
    }
    if whole + part == 0 {
        return None;
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
        let power = digits(at + 1 + sign);
        if power > 0 {
            at += 1 + sign + power;
        }
    }
    let number: f64 = text[..at].parse().ok()?;
    number.is_finite().then(|| (number, text[at..].trim()))
}

/// What a spelled unit can mean: those meanings that convert to `like`, or all of them.
pub(crate) fn meanings(text: &str, like: Option<&Unit>) -> Vec<Unit> {
    let spelling = spelled(text);
    let all = spelling.units();
    match like {
        Some(like) => {
            let fitting: Vec<Unit> = all
                .iter()
                .filter(|unit| unit.converts_to(like))
                .cloned()
                .collect();
            if fitting.is_empty() { all.to_vec() } else { fitting }
        }
        None => all.to_vec(),
    }
}

/// First and last day of a year, a month or a day, each as year, month, day in one decimal number.
pub(crate) fn days(text: &str) -> Option<(i64, i64)> {
    let mut parts = text.trim().split('-');
    let year = parts.next().filter(|part| part.len() == 4)?;
    let number = |part: &str| {
        part.bytes()
            .all(|byte| byte.is_ascii_digit())
            .then(|| part.parse::<i64>().ok())?
    };
    let year = number(year)?;
    let two = |part: Option<&str>| match part {
        None => Some(None),
        Some(part) if part.len() == 2 => number(part).map(Some),
        Some(_) => None,
    };
    let (month, day) = (two(parts.next())?, two(parts.next())?);
    if parts.next().is_some() {
        return None;
    }
    let date = |month: i64, day: i64| {
        let civil = jiff::civil::Date::new(
            i16::try_from(year).ok()?,
            i8::try_from(month).ok()?,
            i8::try_from(day).ok()?,
        );
        civil.ok()
    };
    let code = |month: i64, day: i64| (year * 100 + month) * 100 + day;
    Some(match (month, day) {
        (None, _) => (code(1, 1), code(12, 31)),
        (Some(month), None) => {
            let last = date(month, 1)?.last_of_month();
            (code(month, 1), code(month, i64::from(last.day())))
        }
        (Some(month), Some(day)) => {
            date(month, day)?;
            (code(month, day), code(month, day))
        }
    })
}

/// First and last second of a time of day, `9:05`, `09:05:30`.
pub(crate) fn seconds(text: &str) -> Option<(f64, f64)> {
    let mut numbers = [0_u32; 3];
    let mut count = 0;
    for part in text.trim().split(':') {
        let slot = numbers.get_mut(count)?;
        if part.is_empty() || part.len() > 2 || !part.bytes().all(|byte| byte.is_ascii_digit()) {
            return None;
        }
        *slot = part.parse().ok()?;
        count += 1;
    }
    let [hour, minute, second] = numbers;
    if count < 2 || hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let first = f64::from(hour * 3600 + minute * 60 + second);
    Some((
        first,
        if count == 2 {
            first + 59.999_999
        } else {
            first + 0.999_999
        },
    ))
}
