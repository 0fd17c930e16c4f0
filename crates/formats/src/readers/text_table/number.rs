//! What one cell says: a number in one of its many spellings, a marker, a clock time, or words.
//!
//! The decimal sign is never decided here: a table has one [`Style`], found over the whole of it, and a cell that
//! does not fit the style is not a number.

mod duration;

pub(super) use self::duration::{Duration, dotted_time, duration, duration_in};
use self::duration::{clock, clock_of_duration};

/// How the numbers of a table are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Style {
    /// `.` or `,`.
    pub(super) decimal: u8,
}

impl Style {
    pub(super) const POINT: Self = Self { decimal: b'.' };
    pub(super) const COMMA: Self = Self { decimal: b',' };

    /// The sign that groups thousands where one is used: the one that is not the decimal sign.
    fn group(self) -> u8 {
        if self.decimal == b'.' { b',' } else { b'.' }
    }
}

/// What stands in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    /// A number with its count of decimals.
    Number { value: f64, decimals: u8 },
    /// A number with something behind it that may be a unit: the bytes where the unit begins, within the cell.
    WithUnit { value: f64, decimals: u8, unit: usize },
    /// `10:32:05`, `0:30`, `1:02:03.5`: the parts as written.
    Clock {
        parts: [f64; 3],
        count: u8,
        decimals: u8,
    },
    /// A number in parentheses: `(0.0012)`. Office programs write negative numbers so; people mark doubtful ones.
    Bracketed { value: f64, decimals: u8 },
    /// A word or sign that says: no value.
    Missing,
    /// A word or sign that says: beyond the range.
    Beyond,
    /// Nothing.
    Empty,
    /// Anything else.
    Words,
}

/// Powers of ten that are exact as `f64`.
const EXACT: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// Reads a plain number (sign, digits, decimal sign, digits) that starts at `at`.
///
/// Returns value, decimals and the offset behind it, or nothing when the text there is no plain number or one of so
/// many digits that the short way would not be exact. The short way is Clinger's: a whole number below 2⁵³ divided by
/// a power of ten up to 10²² is one correctly rounded operation on two exact operands.
#[inline(always)]
pub(super) fn plain(bytes: &[u8], at: usize, decimal: u8) -> Option<(f64, u8, usize)> {
    let first = *bytes.get(at)?;
    let signed = usize::from(matches!(first, b'-' | b'+'));
    if let Some((value, fraction, length)) = short(bytes.get(at + signed..)?, decimal) {
        let value = if first == b'-' { -value } else { value };
        return Some((value, fraction, at + signed + length));
    }
    long(bytes, at, decimal)
}

/// A number of at most seven signs, digits and perhaps a decimal sign behind the first of them: value, decimals and
/// length. All its signs are looked at together, as the bytes of one word.
#[inline(always)]
fn short(bytes: &[u8], decimal: u8) -> Option<(f64, u8, usize)> {
    const ZEROS: u64 = u64::from_le_bytes([b'0'; 8]);
    const HIGH: u64 = u64::from_le_bytes([0x80; 8]);
    let word = u64::from_le_bytes(*bytes.first_chunk::<8>()?) ^ ZEROS;
    // The high bit of each byte that is no digit; a digit is at most 9 now, and 9 + 0x76 has none.
    let others = (((word & !HIGH) + u64::from_le_bytes([0x76; 8])) | word) & HIGH;
    let whole = (others.trailing_zeros() / 8) as usize;
    let (digits, length, fraction) = if others == 0 || whole == 0 {
        return None;
    } else if bytes[whole] == decimal {
        let behind = others & (others - 1);
        if behind == 0 {
            return None;
        }
        let end = (behind.trailing_zeros() / 8) as usize;
        // The digits behind the sign move up to those in front of it.
        let front = (1_u64 << (8 * whole)) - 1;
        let together = word & front | (word >> 8) & !front;
        (together << (8 * (9 - end)), end, end - whole - 1)
    } else {
        (word << (8 * (8 - whole)), whole, 0)
    };
    // Eight digits, the last in the highest byte: neighbours are put together, then pairs, then fours.
    let pairs = (digits.wrapping_mul(10) + (digits >> 8)) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs.wrapping_mul(100) + (pairs >> 16)) & 0x0000_FFFF_0000_FFFF;
    let number = (fours.wrapping_mul(10_000) + (fours >> 32)) & 0xFFFF_FFFF;
    Some((number as f64 / EXACT[fraction], fraction as u8, length))
}

/// [`plain`] of any length.
fn long(bytes: &[u8], at: usize, decimal: u8) -> Option<(f64, u8, usize)> {
    let mut at = at;
    let negative = match bytes.get(at)? {
        b'-' => {
            at += 1;
            true
        }
        b'+' => {
            at += 1;
            false
        }
        _ => false,
    };
    let first = at;
    let mut mantissa = 0_u64;
    while let Some(digit) = bytes.get(at).map(|b| b.wrapping_sub(b'0')).filter(|&d| d < 10) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    let whole = at - first;
    let mut fraction = 0;
    if bytes.get(at) == Some(&decimal) {
        at += 1;
        let point = at;
        while let Some(digit) = bytes.get(at).map(|b| b.wrapping_sub(b'0')).filter(|&d| d < 10) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(digit));
            at += 1;
        }
        fraction = at - point;
    }
    let digits = whole + fraction;
    if digits == 0 || digits > 18 || mantissa > (1 << 53) {
        return None;
    }
    let value = mantissa as f64 / EXACT[fraction.min(22)];
    Some((if negative { -value } else { value }, fraction as u8, at))
}

/// Reads one cell, already free of surrounding blanks and quotes.
pub(super) fn cell(text: &str, style: Style) -> Cell {
    // Most cells are plain numbers without anything around them.
    if let Some((value, decimals, end)) = plain(text.as_bytes(), 0, style.decimal)
        && end == text.len()
    {
        return Cell::Number { value, decimals };
    }
    crate::work::looks_at(text.len());
    let text = text.trim();
    let bytes = text.as_bytes();
    if bytes.is_empty() {
        return Cell::Empty;
    }
    if let Some((value, decimals, end)) = plain(bytes, 0, style.decimal)
        && end == bytes.len()
    {
        return Cell::Number { value, decimals };
    }
    if let Some((value, decimals, end)) = spelled(text, style) {
        let rest = &text[end..];
        // A remark behind a number does not change it, nor does its uncertainty.
        let words = rest.trim_start();
        // Behind a lone slash stands another number as often as a remark: `0.699 / 0.700 / 0.698`.
        let slash = words.starts_with('/')
            && !words
                .trim_start_matches(['/', ' '])
                .starts_with(|c: char| c.is_ascii_digit());
        let remark = rest.starts_with([' ', '\t']) && (words.starts_with(['#', '!']) || slash);
        let uncertain = is_uncertainty(rest, style) || is_concise(rest);
        // `400.0: 0.059 0.063` begins a row with its x and a colon.
        let named = is_blank_in_brackets(rest);
        // `1.` among decimal commas is the first.
        let ordinal = rest == "." && decimals == 0 && style.decimal == b',';
        if rest.trim().is_empty() || remark || rest == ":" || uncertain || named || ordinal {
            return Cell::Number { value, decimals };
        }
        // `1/cm` is a unit and no number.
        if value == 1.0 && end == 1 && rest.starts_with('/') {
            return Cell::Words;
        }
        if let Some(clock) = clock(text, style).or_else(|| clock_of_duration(text, style)) {
            return clock;
        }
        let blank = rest.len() - rest.trim_start().len();
        // A lone `E` for extinction is a unit only where the whole column has it; see `Grid::expect_units`.
        if unit_like(rest.trim()) || (blank > 0 && rest.trim() == EXTINCTION) {
            return Cell::WithUnit {
                value,
                decimals,
                unit: end + blank,
            };
        }
        return Cell::Words;
    }
    if let Some(inner) = text.strip_prefix('(').and_then(|inner| inner.strip_suffix(')'))
        && let Some((value, decimals, end)) = spelled(inner.trim(), style)
        && end == inner.trim().len()
        && value > 0.0
    {
        return Cell::Bracketed { value, decimals };
    }
    clock_of_duration(text, style)
        .or_else(|| marker(text))
        .unwrap_or(Cell::Words)
}

/// `(3)` that touches the number before it: its standard uncertainty in units of its last digit, `0.287(3)`, the
/// concise form of the GUM (JCGM 100:2008, 7.2.2).
pub(super) fn is_concise(rest: &str) -> bool {
    rest.strip_prefix('(')
        .and_then(|rest| rest.trim_end().strip_suffix(')'))
        .is_some_and(|digits| {
            (1..=3).contains(&digits.len()) && digits.bytes().all(|byte| byte.is_ascii_digit())
        })
}

/// Whether a cell is a number with its uncertainty in the concise form.
pub(super) fn has_concise(text: &str, style: Style) -> bool {
    text.ends_with(')') && spelled(text, style).is_some_and(|(_, _, end)| is_concise(&text[end..]))
}

/// Whether cells of one column are lengths of time, in order, that have no unit in common, so that no number with a
/// unit says all of them: they are kept as they stand, and read as lengths of time.
pub(super) fn durations_differ<'a>(cells: impl Iterator<Item = &'a str>, style: Style) -> bool {
    let (mut composite, mut differ) = (false, false);
    let mut lengths: Vec<Duration> = Vec::new();
    for text in cells {
        match cell(text, style) {
            Cell::Empty | Cell::Missing | Cell::Beyond => continue,
            Cell::Number { value: 0.0, .. } => continue,
            _ => {}
        }
        let Some(length) = duration(text, style) else {
            return false;
        };
        composite |= length.composite;
        differ |= lengths.first().is_some_and(|first| !first.is_like(length));
        lengths.push(length);
    }
    let seconds = || lengths.iter().map(|length| length.count(false));
    composite || differ && (seconds().is_sorted() || seconds().rev().is_sorted())
}

/// `± 0.002` behind a number.
pub(super) fn is_uncertainty(rest: &str, style: Style) -> bool {
    // Without a blank in front it may as well be a damaged digit.
    if !rest.starts_with([' ', '\t']) {
        return false;
    }
    let rest = rest.trim_start();
    let Some(figure) = ["±", "+/-", "+-"].iter().find_map(|mark| rest.strip_prefix(mark)) else {
        return false;
    };
    let figure = figure.trim();
    spelled(figure, style).is_some_and(|(value, _, end)| end == figure.len() && value >= 0.0)
}

/// What some write behind an absorbance (extinction); behind a single number it may be the rest of an exponent.
pub(super) const EXTINCTION: &str = "E";

/// Whether the words behind a number are a unit. A letter that may be the rest of a damaged number or of an exponent
/// (`0.2O5`, `1.1E`) is none.
fn unit_like(rest: &str) -> bool {
    if rest.len() > 16 || rest.bytes().any(|b| b.is_ascii_digit()) && !rest.contains(['/', '^', '-']) {
        return false;
    }
    let first = rest.chars().next().unwrap_or(' ');
    if matches!(
        rest,
        "E" | "e" | "D" | "d" | "O" | "o" | "l" | "I" | "E-" | "e-" | "E+" | "e+"
    ) {
        return false;
    }
    (first.is_alphabetic() || matches!(first, '%' | '°' | '/' | 'µ' | '(' | '['))
        && !matches!(
            curvary_record::unit::spelled(rest.trim_matches(['(', ')', '[', ']'])),
            curvary_record::unit::Spelling::None
        )
}

/// A number in any of its spellings at the start of `text`: value, decimals, and where it ends.
fn spelled(text: &str, style: Style) -> Option<(f64, u8, usize)> {
    // Words, which most of what is no plain number are, begin with none of these.
    let first = text.chars().next()?;
    if !first.is_ascii_digit() && !is_sign(first) && first != char::from(style.decimal) {
        return None;
    }
    let mut plainly = String::with_capacity(text.len().min(64));
    let mut rest = text.char_indices().peekable();
    let mut negative = false;
    if let Some((_, sign)) = rest.next_if(|&(_, sign)| is_sign(sign)) {
        negative = sign != '+';
        while rest.next_if(|&(_, c)| c == ' ').is_some() {}
    }
    let (group, decimal) = (char::from(style.group()), char::from(style.decimal));
    // Whole part, perhaps with groups of three.
    let mut end = 0;
    let mut digits = 0_usize;
    let mut groups: Vec<(char, usize)> = Vec::new();
    while let Some(&(at, c)) = rest.peek() {
        if c.is_ascii_digit() {
            plainly.push(c);
            digits += 1;
            if let Some(last) = groups.last_mut() {
                last.1 += 1;
            }
            end = at + 1;
            rest.next();
        } else if digits > 0
            && (c == group || is_grouping_blank(c))
            && next_three(&text[at + c.len_utf8()..], decimal)
        {
            if groups.first().is_some_and(|&(first, _)| first != c) || (groups.is_empty() && digits > 3) {
                break;
            }
            groups.push((c, 0));
            rest.next();
        } else {
            break;
        }
    }
    if !groups.is_empty() && plainly.starts_with('0') {
        // `0,123` under a decimal point is no group of thousands.
        return None;
    }
    let mut fraction = 0_i64;
    if let Some(&(at, c)) = rest.peek()
        && c == decimal
    {
        let behind = text[at + 1..].starts_with(|c: char| c.is_ascii_digit());
        if digits > 0 || behind {
            plainly.push('.');
            end = at + 1;
            rest.next();
            while let Some(&(at, c)) = rest.peek() {
                if !c.is_ascii_digit() {
                    break;
                }
                plainly.push(c);
                digits += 1;
                fraction += 1;
                end = at + 1;
                rest.next();
            }
        }
    }
    if digits == 0 {
        return None;
    }
    if plainly.ends_with('.') {
        plainly.push('0');
    }
    let (exponent, behind) = exponent(&text[end..]).unwrap_or((0, 0));
    end += behind;
    // A minus sign behind the number, as some report generators print it.
    if !negative && text[end..] == *"-" {
        negative = true;
        end += 1;
    }
    if exponent != 0 {
        plainly.push('e');
        plainly.push_str(&exponent.to_string());
    }
    let value: f64 = plainly.parse().ok()?;
    if !value.is_finite() {
        return None;
    }
    let decimals = u8::try_from((fraction - exponent).clamp(0, 255)).unwrap_or(0);
    Some((if negative { -value } else { value }, decimals, end))
}

/// A plus or minus sign in front of a number.
fn is_sign(sign: char) -> bool {
    matches!(
        sign,
        '-' | '+' | '\u{2212}' | '\u{2013}' | '\u{FE63}' | '\u{FF0D}'
    )
}

fn is_grouping_blank(c: char) -> bool {
    matches!(c, ' ' | '\'' | '\u{2019}' | '\u{00A0}' | '\u{2009}' | '\u{202F}')
}

/// Whether exactly three digits follow, and then no further digit.
fn next_three(rest: &str, decimal: char) -> bool {
    let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let _ = decimal;
    digits == 3
}

/// An exponent at the start of `text`: `E-03`, `e3`, `D+02`, `E -3`, `*10^-3`, `x10-3`, `·10⁻³`. Its value and length.
fn exponent(text: &str) -> Option<(i64, usize)> {
    let first = text.chars().next()?;
    let apart = text.trim_start_matches(' ');
    // `1.2 E-03`: a blank in front is only taken for part of the number when letter, sign and digits follow at once.
    if first == ' ' && apart.starts_with(['e', 'E']) && apart[1..].starts_with(['+', '-']) {
        let (value, length) = signed(&apart[1..])?;
        return Some((value, text.len() - apart.len() + 1 + length));
    }
    if matches!(first, 'e' | 'E' | 'd' | 'D') {
        let mut at = 1;
        let blank = text[at..].len() - text[at..].trim_start_matches(' ').len();
        let after = &text[at + blank..];
        // A blank is only taken for part of the exponent when a sign follows: `1.5 E -3`, but not `1.5 D 2`.
        if blank > 0 && !after.starts_with(['+', '-']) {
            return None;
        }
        at += blank;
        let (value, length) = signed(&text[at..])?;
        return Some((value, at + length));
    }
    let trimmed = text.trim_start_matches(' ');
    let mark = trimmed.chars().next()?;
    if !matches!(mark, '*' | 'x' | 'X' | '\u{00D7}' | '\u{00B7}' | '\u{22C5}') {
        return None;
    }
    let mut at = text.len() - trimmed.len() + mark.len_utf8();
    at += text[at..].len() - text[at..].trim_start_matches(' ').len();
    if !text[at..].starts_with("10") {
        return None;
    }
    at += 2;
    for power in ["**", "^", "E", "e"] {
        if text[at..].starts_with(power) {
            at += power.len();
            break;
        }
    }
    let rest = &text[at..];
    if let Some((value, length)) = raised(rest) {
        return Some((value, at + length));
    }
    let (open, inner) = match rest.strip_prefix('(') {
        Some(inner) => (1, inner),
        None => (0, rest),
    };
    let (value, length) = signed(inner)?;
    let close = usize::from(open == 1 && inner[length..].starts_with(')'));
    if open != close {
        return None;
    }
    Some((value, at + open + length + close))
}

/// A sign and up to three digits.
fn signed(text: &str) -> Option<(i64, usize)> {
    let mut at = 0;
    let mut negative = false;
    if let Some(sign) = text
        .chars()
        .next()
        .filter(|c| matches!(c, '+' | '-' | '\u{2212}'))
    {
        negative = sign != '+';
        at = sign.len_utf8();
    }
    let digits = text[at..].bytes().take_while(u8::is_ascii_digit).count();
    if digits == 0 || digits > 3 {
        return None;
    }
    let value: i64 = text[at..at + digits].parse().ok()?;
    Some((if negative { -value } else { value }, at + digits))
}

/// Raised digits, as in `10⁻³`.
fn raised(text: &str) -> Option<(i64, usize)> {
    const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let mut value = 0_i64;
    let (mut end, mut digits, mut negative) = (0, 0, false);
    for (at, c) in text.char_indices() {
        if at == 0 && matches!(c, '⁻' | '⁺') {
            negative = c == '⁻';
        } else if let Some(digit) = RAISED.iter().position(|&r| r == c).filter(|_| digits < 3) {
            value = value * 10 + digit as i64;
            digits += 1;
            end = at + c.len_utf8();
        } else {
            break;
        }
    }
    (digits > 0).then_some((if negative { -value } else { value }, end))
}

/// Words and signs that stand where a number is missing or beyond the range.
fn marker(text: &str) -> Option<Cell> {
    let bare = text.trim_matches(|c: char| {
        matches!(
            c,
            '"' | '\'' | '(' | ')' | '[' | ']' | '<' | '>' | '*' | '#' | '!' | '?'
        )
    });
    if bare.is_empty() {
        // `****`, `####`, `???`, `>>>`.
        let beyond = text.contains(['*', '#', '>', '<']);
        return Some(if beyond { Cell::Beyond } else { Cell::Missing });
    }
    if text.starts_with(['>', '<', '≥', '≤']) {
        // `>3.5` says no more than a limit.
        let digits = text.trim_start_matches(['>', '<', '≥', '≤', '=', ' ']);
        // `<- stirred` points at a row.
        let unsigned = digits.trim_start_matches(['.', ',', '-', '+', ' ']);
        if unsigned.starts_with(|c: char| c.is_ascii_digit()) {
            return Some(Cell::Beyond);
        }
    }
    if text.chars().all(|c| {
        matches!(
            c,
            '-' | '\u{2013}' | '\u{2014}' | '\u{2212}' | '.' | '_' | '/' | '\u{2026}'
        )
    }) {
        return Some(Cell::Missing);
    }
    if bare.len() > 20 {
        return None;
    }
    // `#DIV/0!` is known with its signs, `+OVF` without.
    let unsigned = bare.trim_start_matches(['+', '-']);
    let known = crate::words::marker(text)
        .or_else(|| {
            (bare.len() < text.len())
                .then(|| crate::words::marker(bare))
                .flatten()
        })
        .or_else(|| {
            (unsigned.len() < bare.len())
                .then(|| crate::words::marker(unsigned))
                .flatten()
        })?;
    match known {
        crate::words::Marker::Missing => Some(Cell::Missing),
        _ => Some(Cell::Beyond),
    }
}

/// What the commas and points of a cell tell about the decimal sign of its table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum SignEvidence {
    /// Neither sign stands in it.
    None,
    /// Only sensible with a decimal point.
    Point,
    /// Only sensible with a decimal comma.
    Comma,
    /// A single comma before exactly three digits: `1,234`.
    EitherComma,
    /// A single point before exactly three digits: `1.234`.
    EitherPoint,
}

/// Whether a sign that stands several times in a figure parts it in groups of three: `1,234,567`.
fn in_thousands(figure: &str, sign: char) -> bool {
    let digits = |group: &str| group.bytes().all(|byte| byte.is_ascii_digit());
    let mut groups = figure.split(sign);
    let front = groups.next().unwrap_or("");
    (1..=3).contains(&front.len())
        && digits(front)
        && !front.starts_with('0')
        && groups.all(|group| group.len() == 3 && digits(group))
}

/// A number with decimals beside which somebody made a mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MarkedNumber {
    pub(super) value: f64,
    pub(super) decimals: u8,
    /// What stands beside it says that it is not meant exactly, or that somebody doubts it: `ca. 0.6`, `~0.41`, `0.36?`.
    pub(super) doubtful: bool,
}

/// Reads a number with decimals beside a mark: `0.612 (repeat)`, `0.612*`, `ca. 0.6`. A mark with a number, a sign or a unit of its
/// own may change what is in front of it, and is none.
pub(super) fn marked_number(text: &str, style: Style) -> Option<MarkedNumber> {
    const LONGEST: usize = 32;
    /// Signs of footnotes. `#` and `¶` stand in the place of damaged figures as well.
    const NOTES: [char; 4] = ['*', '†', '‡', '§'];
    let text = text.trim();
    if text.len() > LONGEST || !text.contains(char::from(style.decimal)) {
        return None;
    }
    let at = text.find(|c: char| c.is_ascii_digit())?;
    let at = at - usize::from(text[..at].ends_with(['-', '+']));
    let (front, rest) = text.split_at(at);
    let front = front.trim_end();
    let about = matches!(front, "~" | "≈" | "∼") || crate::words::is(crate::words::WordList::About, front);
    let noted = !front.is_empty() && front.chars().all(|c| NOTES.contains(&c));
    if !(front.is_empty() || about || noted) {
        return None;
    }
    let (value, decimals, end) = spelled(rest, style).filter(|(_, decimals, _)| *decimals > 0)?;
    let mark = rest[end..].trim();
    let asked = mark.trim_matches(['(', ')']) == "?";
    let signs = !mark.is_empty() && mark.chars().all(|c| NOTES.contains(&c));
    let bracket = || {
        let inner = mark.strip_prefix(['(', '['])?.strip_suffix([')', ']'])?;
        let worded = inner.chars().filter(|c| c.is_alphabetic()).count() >= 2;
        let says = |c: char| {
            matches!(c, ':' | '=' | '±' | '%' | '/' | '<' | '>' | '(' | '[' | '^' | '×')
                || c == char::from(style.decimal)
        };
        let unit = curvary_record::unit::spelled(inner.trim()) != curvary_record::unit::Spelling::None;
        (worded && !inner.contains(says) && !unit).then_some(())
    };
    let remark = signs || bracket().is_some();
    let is_mark = asked || remark || mark.is_empty() && (about || noted);
    is_mark.then_some(MarkedNumber {
        value,
        decimals,
        doubtful: about || asked,
    })
}

/// `t0`: the time from which all others are counted.
pub(super) fn is_start_of_times(text: &str) -> bool {
    matches!(text.trim(), "t0" | "T0" | "t₀" | "t=0" | "t = 0")
}

/// `(blank)` behind a number: the word says which row it is, and is no unit.
fn is_blank_in_brackets(rest: &str) -> bool {
    let word = rest
        .trim()
        .strip_prefix('(')
        .and_then(|rest| rest.strip_suffix(')'));
    word.is_some_and(|word| crate::words::is_blank(word.trim()))
}

/// Whether a text is a number with decimals and a mark of somebody's doubt behind it or before it: `0.012*`, `36.7?`, `~0.41`,
/// `0.35 (outlier)`.
fn is_marked_number(text: &str, decimal: char) -> bool {
    const LONGEST: usize = 24;
    let text = text.trim_start_matches(['~', '≈', '?', '*', '!']).trim_start();
    let end = text
        .find(|c: char| !c.is_ascii_digit() && c != decimal)
        .unwrap_or(text.len());
    let (number, mark) = text.split_at(end);
    let decimals = number
        .split_once(decimal)
        .is_some_and(|(front, back)| !front.is_empty() && !back.is_empty() && !back.contains(decimal));
    let bare = mark.trim_start();
    let marks = bare.is_empty() || bare.starts_with(['(', '[']) || !bare.starts_with(char::is_alphabetic);
    decimals && marks && mark.len() <= LONGEST && !mark.contains(|c: char| c.is_ascii_digit())
}

/// Whether a cell that is no number would be one but for a sign or two: its decimal sign is doubled, or stands for a
/// delimiter, or letters stand for digits. `0..15`, `420.0.15`, `0.l5`. A date is none.
pub(super) fn is_nearly_number(text: &str, style: Style) -> bool {
    let decimal = char::from(style.decimal);
    let text = text.trim().trim_start_matches(['-', '+']);
    // `0,311 (2x)`: a remark stands behind it.
    let remarked = text.strip_suffix(')').and_then(|text| text.split_once(" ("));
    if is_marked_number(text, decimal)
        || remarked.is_some_and(|(number, _)| {
            number.contains(decimal) && matches!(cell(number, style), Cell::Number { .. })
        })
    {
        return true;
    }
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    let letters = text.chars().filter(|c| c.is_alphabetic()).count();
    let signs = text.matches(decimal).count();
    if digits == 0
        || letters > 2.min(digits)
        || signs == 0
        || digits + letters + signs != text.chars().count()
        || text.starts_with(decimal)
    {
        return false;
    }
    let parts: Vec<&str> = text.split(decimal).collect();
    match parts.as_slice() {
        _ if letters > 0 => signs <= 3,
        [front, middle, back] if !middle.is_empty() => {
            let dated = front.len() <= 2 && middle.len() <= 2 || front.len() == 4 && middle.len() == 2;
            !back.is_empty() && !dated
        }
        parts => parts.iter().any(|part| part.is_empty()) && signs <= 4 && !text.ends_with(decimal),
    }
}

/// Weighs one cell.
pub(super) fn evidence(text: &str) -> SignEvidence {
    plain_evidence(text.as_bytes()).unwrap_or_else(|| any_evidence(text))
}

/// [`evidence`] of digits with at most one sign among them, which most cells are.
fn plain_evidence(bytes: &[u8]) -> Option<SignEvidence> {
    let signs = bytes.iter().take_while(|b| matches!(b, b'+' | b'-')).count();
    let figure = &bytes[signs..];
    let front = figure.iter().take_while(|b| b.is_ascii_digit()).count();
    let Some((sign, behind)) = figure[front..].split_first() else {
        return Some(SignEvidence::None);
    };
    if !behind.iter().all(u8::is_ascii_digit) {
        return None;
    }
    // `1.` is the first as often as a number.
    if behind.is_empty() && front > 0 {
        return Some(SignEvidence::None);
    }
    let sure = behind.len() != 3 || front == 0 || figure[0] == b'0' || front > 3;
    match (sign, sure) {
        (b'.', true) => Some(SignEvidence::Point),
        (b'.', false) => Some(SignEvidence::EitherPoint),
        (b',', true) => Some(SignEvidence::Comma),
        (b',', false) => Some(SignEvidence::EitherComma),
        _ => None,
    }
}

fn any_evidence(text: &str) -> SignEvidence {
    let text = text.trim();
    let bytes = text.as_bytes();
    // Only the figure itself counts, not an exponent or unit behind it.
    let end = bytes
        .iter()
        .position(|b| !(b.is_ascii_digit() || matches!(b, b'.' | b',' | b'+' | b'-' | b'\'' | b' ')))
        .unwrap_or(bytes.len());
    let figure = text
        .get(..end)
        .unwrap_or("")
        .trim()
        .trim_start_matches(['+', '-']);
    let (mut commas, mut points) = (0, 0);
    for byte in figure.bytes() {
        commas += usize::from(byte == b',');
        points += usize::from(byte == b'.');
    }
    let after = |sign: char| {
        figure
            .rsplit(sign)
            .next()
            .map_or(0, |tail| tail.bytes().filter(u8::is_ascii_digit).count())
    };
    let leading = |sign: char| figure.split(sign).next().unwrap_or("");
    // Nobody parts the thousands of `1,043E-02`.
    let has_exponent = text[end..].strip_prefix(['e', 'E']).is_some_and(|power| {
        power
            .trim_start_matches(['+', '-'])
            .starts_with(|c: char| c.is_ascii_digit())
    });
    let ordinal = commas + points == 1 && figure.ends_with([',', '.']) && figure.len() > 1;
    match (commas, points) {
        (0, 0) => SignEvidence::None,
        _ if ordinal => SignEvidence::None,
        (1, 0) => {
            let front = leading(',');
            if has_exponent
                || after(',') != 3
                || front.is_empty()
                || front.starts_with('0')
                || front.len() > 3
            {
                SignEvidence::Comma
            } else {
                SignEvidence::EitherComma
            }
        }
        (0, 1) => {
            let front = leading('.');
            if has_exponent
                || after('.') != 3
                || front.is_empty()
                || front.starts_with('0')
                || front.len() > 3
            {
                SignEvidence::Point
            } else {
                SignEvidence::EitherPoint
            }
        }
        // Groups of three, or a damaged number, which says nothing.
        (_, 0) if in_thousands(figure, ',') => SignEvidence::Point,
        (0, _) if in_thousands(figure, '.') => SignEvidence::Comma,
        (_, 0) | (0, _) => SignEvidence::None,
        _ => {
            if figure.rfind(',') > figure.rfind('.') {
                SignEvidence::Comma
            } else {
                SignEvidence::Point
            }
        }
    }
}

#[cfg(test)]
mod tests;
