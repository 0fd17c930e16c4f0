//! Decodes the lines of an `(X++(Y..Y))` table into integers, in one pass.
//!
//! This pass knows no labels: it turns characters into ordinates and notes how each line starts and ends. Which
//! of the ordinates are check values, and which points are certain, is decided afterwards over the whole table.

use crate::number::{Exponents, ScannedNumber, scan, scan_digits, short};
use crate::records::{RecordLines, RecordSource};
use crate::remark::Code;

/// An ordinate marked as missing.
pub(crate) const MISSING: i64 = i64::MIN;
/// An ordinate of more than 18 digits; its text is kept apart.
pub(crate) const LONG: i64 = i64::MIN + 1;

/// Greatest magnitude a chain of differences may reach.
const REACH: i64 = 1 << 60;

/// How a line ends: this decides whether the next line starts with a check value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum LineEnd {
    /// With a value that stands alone.
    Absolute,
    /// With a difference.
    Difference,
    /// With a difference that a DUP count repeats.
    Repeated,
    /// The line is damaged, so nobody knows.
    Unknown,
}

/// What is wrong with a line, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct LineDamage {
    pub(crate) code: Code,
    pub(crate) at: usize,
}

/// One decoded line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct DataLine {
    pub(crate) number: u32,
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// The printed X.
    pub(crate) x: ScannedNumber,
    /// Index of the first ordinate in [`Ordinates::values`].
    pub(crate) first: usize,
    pub(crate) len: usize,
    /// Ordinates before the first difference: they stand alone.
    pub(crate) alone: usize,
    pub(crate) ends: LineEnd,
    pub(crate) damage: Option<LineDamage>,
}

impl DataLine {
    pub(crate) fn has_differences(&self) -> bool {
        self.alone < self.len
    }

    /// Whether the line's last ordinate has to be repeated by the next line.
    pub(crate) fn wants_check(&self) -> bool {
        matches!(self.ends, LineEnd::Difference | LineEnd::Repeated)
    }
}

/// Everything that the lines of a table hold.
#[derive(Default)]
pub(crate) struct Ordinates {
    pub(crate) values: Vec<i64>,
    /// The power of ten of all values, or of those before `exponents` starts to be used.
    pub(crate) exponent: i32,
    /// The power of ten of each value, where they differ.
    pub(crate) exponents: Vec<i32>,
    pub(crate) any_missing: bool,
    /// Values of more than 18 digits: index and span.
    pub(crate) long: Vec<(usize, usize, usize)>,
    /// Values printed as a negative zero.
    pub(crate) negative_zero: Vec<usize>,
    pub(crate) lines: Vec<DataLine>,
    /// Lines that could not be decoded at all.
    pub(crate) lost: Vec<(u32, LineDamage)>,
    /// Decoding stopped at this line because a limit was reached.
    pub(crate) stopped: Option<(u32, usize)>,
    /// The line, if any, whose last number was taken off because the text ends in it.
    pub(crate) cut: Option<(u32, usize, usize)>,
    pub(crate) odd_exponent: Option<(u32, usize)>,
    pub(crate) squeezed_or_exponent: Option<(u32, usize)>,
}

impl Ordinates {
    /// The power of ten of value `index`.
    pub(crate) fn exponent_of(&self, index: usize) -> i32 {
        self.exponents.get(index).copied().unwrap_or(self.exponent)
    }

    #[inline]
    fn push(&mut self, value: i64, exponent: i32) {
        if exponent != self.exponent || !self.exponents.is_empty() {
            self.push_exponent(exponent);
        }
        self.values.push(value);
    }

    #[cold]
    fn push_exponent(&mut self, exponent: i32) {
        if self.values.is_empty() {
            self.exponent = exponent;
        } else {
            if self.exponents.is_empty() {
                self.exponents = vec![self.exponent; self.values.len()];
            }
            self.exponents.push(exponent);
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
enum SignClass {
    Illegal,
    Blank,
    Comma,
    Number,
    Squeezed,
    SqueezedNegative,
    Difference,
    DifferenceNegative,
    Duplicate,
    Missing,
    Dollar,
}

const CLASSES: [(SignClass, u8); 256] = {
    let mut table = [(SignClass::Illegal, 0u8); 256];
    table[b' ' as usize].0 = SignClass::Blank;
    table[b'\t' as usize].0 = SignClass::Blank;
    table[b';' as usize].0 = SignClass::Blank;
    table[0x00].0 = SignClass::Blank;
    table[0x1A].0 = SignClass::Blank;
    table[0x0C].0 = SignClass::Blank;
    table[b',' as usize].0 = SignClass::Comma;
    table[b'+' as usize].0 = SignClass::Number;
    table[b'-' as usize].0 = SignClass::Number;
    table[b'.' as usize].0 = SignClass::Number;
    table[b'?' as usize].0 = SignClass::Missing;
    table[b'$' as usize].0 = SignClass::Dollar;
    let mut d = 0usize;
    while d < 10 {
        table[b'0' as usize + d].0 = SignClass::Number;
        table[super::SQUEEZED[d] as usize] = (SignClass::Squeezed, d as u8);
        table[super::DIFFERENCE[d] as usize] = (SignClass::Difference, d as u8);
        if d > 0 {
            table[super::SQUEEZED_NEGATIVE[d] as usize] = (SignClass::SqueezedNegative, d as u8);
            table[super::DIFFERENCE_NEGATIVE[d] as usize] = (SignClass::DifferenceNegative, d as u8);
            table[super::DUPLICATE[d] as usize] = (SignClass::Duplicate, d as u8);
        }
        d += 1;
    }
    table
};

/// Takes the last number off a line that the end of the text may have cut: its digits, their sign or pseudo-digit,
/// and if those may be an exponent, the number before it too.
pub(crate) fn without_last_number(line: &[u8]) -> usize {
    let digit = |b: u8| b.is_ascii_digit() || b == b'.' || b == b',';
    let number_start = |mut end: usize| {
        while end > 0 && digit(line[end - 1]) {
            end -= 1;
        }
        match end {
            0 => 0,
            _ if line[end - 1].is_ascii_whitespace() || line[end - 1] == b';' => end,
            _ => {
                end -= 1;
                while end > 0 && line[end] & 0xC0 == 0x80 {
                    end -= 1;
                }
                end
            }
        }
    };
    let mut end = number_start(line.len());
    loop {
        let sign_of_exponent = end >= 1
            && end < line.len()
            && matches!(line[end], b'+' | b'-')
            && matches!(line[end - 1], b'E' | b'e');
        let mark = if sign_of_exponent { end - 1 } else { end };
        let letter = mark < line.len() && matches!(line[mark], b'E' | b'e');
        if letter && mark > 0 && digit(line[mark - 1]) {
            end = number_start(mark);
        } else {
            return mark;
        }
    }
}

/// Where the line ends that may be cut, if the table runs to the end of the text: the last line if no line end follows
/// it, and also if an editor has added one and the last number ends with its decimal sign.
pub(crate) fn cut_line_end(bytes: &[u8], point: u8) -> Option<usize> {
    match bytes.last() {
        None => None,
        Some(b'\n' | b'\r') => {
            let at = bytes.iter().rposition(|b| !b.is_ascii_whitespace())?;
            (bytes[at] == point).then_some(at + 1)
        }
        Some(_) => Some(bytes.len()),
    }
}

/// What the decoder has to know of the table.
pub(crate) struct DecodeContext {
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) line: u32,
    /// The decimal sign: a point or, in tables decided so, a comma.
    pub(crate) point: u8,
    /// Which exponents there are; all others are squeezed digits.
    pub(crate) exponents: Exponents,
    /// An `E` may be both, see [`exponent_or_squeezed`].
    pub(crate) doubtful_exponents: bool,
    /// How many points NPOINTS promises.
    pub(crate) promised: Option<usize>,
    /// Most ordinates to hand out.
    pub(crate) budget: usize,
    /// The table runs to the end of the text, which may be cut.
    pub(crate) open_ended: bool,
}

/// Whether an `E` may be a squeezed digit as well as an exponent: it stands behind a digit and before one, perhaps
/// with a sign between, is not spelled as the standard's exponents are, and the table holds no other pseudo-digit
/// that would tell.
pub(crate) fn exponent_or_squeezed(bytes: &[u8]) -> bool {
    let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let odd = |at: usize| {
        let behind = at > 0 && (digit(at - 1) || bytes[at - 1] == b'.');
        let sign = matches!(bytes.get(at + 1), Some(b'+' | b'-'));
        let first = at + 1 + usize::from(sign);
        behind && digit(first) && !(sign && digit(first + 1))
    };
    if !memchr::memchr2_iter(b'E', b'e', bytes).any(odd) {
        return false;
    }
    !bytes.iter().any(|b| {
        let class = CLASSES[*b as usize].0 as u8;
        class >= SignClass::Squeezed as u8 && class <= SignClass::Duplicate as u8 && !matches!(b, b'E' | b'e')
    })
}

pub(crate) fn decode(source: &RecordSource<'_>, setting: &DecodeContext) -> Ordinates {
    let bytes = source.text.as_bytes();
    let mut out = Ordinates::default();
    let stretch = &bytes[setting.from..setting.to];
    let exponents = setting.exponents;
    // Room that spares the growing: as many as NPOINTS promises, with a check value on lines of 60 characters and a line
    // to spare, but not without end. Without a promise, tables of differences hold about one ordinate a byte, plain ones
    // a fifth of that.
    let promised = setting
        .promised
        .map(|count| count.saturating_add(stretch.len() / 60 + 256));
    let room = promised
        .unwrap_or(stretch.len() / 4 + 16)
        .min(4 * stretch.len() + 256);
    out.values.reserve(room.min(setting.budget));
    let cut = cut_line_end(&bytes[..setting.to], setting.point).filter(|_| setting.open_ended);
    for line in RecordLines::new(source, setting.from, setting.to, setting.line) {
        let mut end = line.end;
        if let Some(cut) = cut.filter(|cut| (line.start + 1..=line.end).contains(cut)) {
            end = line.start + without_last_number(&bytes[line.start..cut]);
            out.cut = Some((line.number, end, line.end));
        }
        let mut i = line.start;
        while i < end && CLASSES[bytes[i] as usize].0 == SignClass::Blank {
            i += 1;
        }
        if i >= end || bytes[i..end].starts_with(b"$$") {
            continue;
        }
        let Some(x) = scan(&bytes[..end], i, setting.point, exponents)
            .filter(|x| !x.long && bytes.get(x.end) != Some(&setting.point))
        else {
            out.lost.push((
                line.number,
                LineDamage {
                    code: Code::LineWithoutX,
                    at: i,
                },
            ));
            continue;
        };
        i = x.end;
        let first = out.values.len();
        // Numbers end at the line's end by themselves, unless the line was cut.
        let limit = if end < line.end { end } else { setting.to };
        let mut decoder = LineDecoder {
            bytes: &bytes[..limit],
            end,
            point: setting.point,
            exponents,
            doubtful_exponents: setting.doubtful_exponents,
            out: &mut out,
            budget: setting.budget,
            line: line.number,
        };
        let (ends, alone, damage) = decoder.run(i, first);
        let len = out.values.len() - first;
        let stop = damage.filter(|d| d.code == Code::LimitPoints);
        let alone = alone.map_or(len, |at| at - first);
        out.lines.push(DataLine {
            number: line.number,
            start: line.start,
            end,
            x,
            first,
            len,
            alone,
            ends,
            damage,
        });
        if let Some(stop) = stop {
            out.stopped = Some((line.number, stop.at));
            break;
        }
    }
    out
}

/// Whether a word stands here that programs print in place of a number. Its letters are pseudo-digits too, but those
/// stand between blanks in no table.
#[inline]
fn is_word(bytes: &[u8]) -> bool {
    matches!(bytes.first(), Some(b'N' | b'n' | b'I' | b'i' | b'O' | b'o')) && is_known_word(bytes)
}

#[cold]
fn is_known_word(bytes: &[u8]) -> bool {
    let letters = bytes.iter().take_while(|b| b.is_ascii_alphabetic()).count();
    let (word, rest) = bytes.split_at(letters);
    let ends = rest.first().is_none_or(|b| !b.is_ascii_digit());
    let words: [&[u8]; 7] = [b"nan", b"inf", b"infinity", b"null", b"none", b"over", b"ovrflw"];
    ends && words.iter().any(|known| word.eq_ignore_ascii_case(known))
}

struct LineDecoder<'a> {
    bytes: &'a [u8],
    /// Where the line ends.
    end: usize,
    point: u8,
    exponents: Exponents,
    doubtful_exponents: bool,
    out: &'a mut Ordinates,
    budget: usize,
    line: u32,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum AsdfLineForm {
    Nothing,
    Absolute,
    Difference,
    Missing,
    Long,
}

impl LineDecoder<'_> {
    /// Reads number after number, each behind a single blank or a sign or both, as long as they are short, plain, and
    /// have as many decimals as those before: nearly all of a table of plain numbers. Returns where that ends.
    #[inline]
    fn plain_numbers(&mut self, from: usize) -> usize {
        let (bytes, point) = (self.bytes, self.point);
        let out = &mut *self.out;
        if !out.exponents.is_empty() {
            return from;
        }
        let mut i = from;
        while i < self.end {
            let mut at = i;
            if bytes[at] == b' ' && bytes.get(at + 1).is_some_and(|b| matches!(b, b'+' | b'-')) {
                at += 1;
            }
            let before = bytes[at];
            if !matches!(before, b' ' | b'+' | b'-') {
                break;
            }
            let Some((mantissa, fraction, next)) = short(bytes, at + 1, point) else {
                break;
            };
            if out.values.is_empty() {
                out.exponent = -fraction;
            }
            let goes_on = bytes
                .get(next)
                .is_some_and(|b| matches!(b, b'E' | b'e') || *b == point);
            // A negative zero is none of these.
            if goes_on || mantissa == 0 || -fraction != out.exponent {
                break;
            }
            out.values.push(if before == b'-' { -mantissa } else { mantissa });
            i = next;
        }
        i
    }

    /// Decodes ordinates from `i` on. Returns how the line ends, the index of its first difference, and damage.
    #[inline]
    #[expect(clippy::too_many_lines, reason = "one automaton")]
    fn run(&mut self, mut i: usize, first: usize) -> (LineEnd, Option<usize>, Option<LineDamage>) {
        let bytes = self.bytes;
        let end = self.end;
        self.out.values.reserve(end - i);
        let mut form = AsdfLineForm::Nothing;
        let mut repeated = false;
        let mut current = 0i64;
        let mut exponent = 0i32;
        let mut difference = 0i64;
        let mut alone: Option<usize> = None;
        // All values so far are integers, so that nothing has to be noted about exponents.
        let mut plain = self.out.exponent == 0 && self.out.exponents.is_empty();
        let fail = |code, at, alone| (LineEnd::Unknown, alone, Some(LineDamage { code, at }));
        if self.out.values.len() + (end - i) > self.budget {
            return fail(Code::LimitPoints, i, alone);
        }
        while i < end {
            let (class, digit) = CLASSES[bytes[i] as usize];
            if matches!(class, SignClass::Blank | SignClass::Number) {
                let before = self.out.values.len();
                i = self.plain_numbers(i);
                if self.out.values.len() > before {
                    current = self.out.values[self.out.values.len() - 1];
                    exponent = self.out.exponent;
                    plain = exponent == 0;
                    form = AsdfLineForm::Absolute;
                    repeated = false;
                    continue;
                }
            }
            match class {
                SignClass::Difference | SignClass::DifferenceNegative => {
                    let at = i;
                    i += 1;
                    let mut step = i64::from(digit);
                    while i < end && bytes[i].wrapping_sub(b'0') < 10 {
                        step = step.wrapping_mul(10).wrapping_add(i64::from(bytes[i] - b'0'));
                        i += 1;
                    }
                    if i - at > 17 {
                        return fail(Code::NumberTooLong, at, alone);
                    }
                    if !matches!(form, AsdfLineForm::Absolute | AsdfLineForm::Difference) || exponent != 0 {
                        return fail(Code::DifferenceAfterNothing, at, alone);
                    }
                    difference = if class == SignClass::Difference {
                        step
                    } else {
                        -step
                    };
                    current += difference;
                    if current.abs() > REACH {
                        return fail(Code::NumberTooLong, at, alone);
                    }
                    if form == AsdfLineForm::Absolute && alone.is_none() {
                        alone = Some(self.out.values.len());
                    }
                    if plain {
                        self.out.values.push(current);
                    } else {
                        self.out.push(current, 0);
                    }
                    form = AsdfLineForm::Difference;
                    repeated = false;
                }
                SignClass::Duplicate => {
                    let at = i;
                    i += 1;
                    let mut count = i64::from(digit);
                    while i < end && bytes[i].wrapping_sub(b'0') < 10 {
                        count = count
                            .saturating_mul(10)
                            .saturating_add(i64::from(bytes[i] - b'0'));
                        i += 1;
                    }
                    if form == AsdfLineForm::Nothing {
                        return fail(Code::DuplicateAfterNothing, at, alone);
                    }
                    if repeated {
                        return fail(Code::DuplicateAfterDuplicate, at, alone);
                    }
                    repeated = true;
                    let more = (count - 1).max(0) as usize;
                    if self.out.values.len().saturating_add(more).saturating_add(end - i) > self.budget {
                        return fail(Code::LimitPoints, at, alone);
                    }
                    if form == AsdfLineForm::Difference {
                        // `more` is below the budget and the difference below 10^17, so nothing can overflow
                        // that the product of both in i128 does not show first.
                        let last = i128::from(current) + i128::from(difference) * more as i128;
                        if last.abs() > i128::from(REACH) {
                            return fail(Code::NumberTooLong, at, alone);
                        }
                        if plain {
                            let base = current;
                            self.out
                                .values
                                .extend((1..=more as i64).map(|i| base + difference * i));
                            current += difference * more as i64;
                        } else {
                            for _ in 0..more {
                                current += difference;
                                self.out.push(current, 0);
                            }
                        }
                    } else {
                        let value = self.out.values[self.out.values.len() - 1];
                        let negative_zero =
                            self.out.negative_zero.last() == Some(&(self.out.values.len() - 1));
                        let long = (value == LONG).then(|| self.out.long.last().copied()).flatten();
                        for _ in 0..more {
                            if negative_zero {
                                self.out.negative_zero.push(self.out.values.len());
                            }
                            if let Some((_, from, to)) = long {
                                self.out.long.push((self.out.values.len(), from, to));
                            }
                            self.out.push(value, exponent);
                        }
                    }
                }
                SignClass::Squeezed | SignClass::SqueezedNegative | SignClass::Number => {
                    let at = i;
                    // Nearly all values are short and plain; they are kept out of the general path below.
                    if class == SignClass::Number {
                        if let Some(number) = scan(bytes, i, self.point, self.exponents)
                            && bytes.get(number.end) != Some(&self.point)
                            && !number.long
                            && !number.odd_exponent
                            && number.mantissa != 0
                        {
                            current = if number.negative {
                                -number.mantissa
                            } else {
                                number.mantissa
                            };
                            exponent = number.exponent;
                            self.out.push(current, exponent);
                            plain = self.out.exponent == 0 && self.out.exponents.is_empty();
                            form = AsdfLineForm::Absolute;
                            repeated = false;
                            i = number.end;
                            continue;
                        }
                    } else if plain {
                        let mut value = i64::from(digit);
                        let mut j = i + 1;
                        while j < end && bytes[j].wrapping_sub(b'0') < 10 {
                            value = value.wrapping_mul(10).wrapping_add(i64::from(bytes[j] - b'0'));
                            j += 1;
                        }
                        let goes_on = j < end && matches!(bytes[j], b'.' | b',' | b'E' | b'e');
                        if j - i <= 17 && !goes_on {
                            current = if class == SignClass::Squeezed {
                                value
                            } else {
                                -value
                            };
                            exponent = 0;
                            self.out.values.push(current);
                            form = AsdfLineForm::Absolute;
                            repeated = false;
                            i = j;
                            continue;
                        }
                    }
                    let number = if class == SignClass::Number {
                        scan(bytes, i, self.point, self.exponents)
                    } else {
                        if self.doubtful_exponents
                            && matches!(bytes[i], b'E' | b'e')
                            && i > 0
                            && bytes[i - 1].is_ascii_digit()
                            && form == AsdfLineForm::Absolute
                            && exponent < 0
                        {
                            self.out.squeezed_or_exponent.get_or_insert((self.line, i));
                        }
                        let negative = class == SignClass::SqueezedNegative;
                        scan_digits(
                            bytes,
                            i + 1,
                            negative,
                            i64::from(digit),
                            1,
                            self.point,
                            self.exponents,
                        )
                    };
                    let Some(number) = number else {
                        return fail(Code::IllegalCharacter, at, alone);
                    };
                    i = number.end;
                    // A second decimal sign: `400.0.1` is no number, and two only by chance.
                    if bytes.get(i) == Some(&self.point) {
                        return fail(Code::IllegalCharacter, i, alone);
                    }
                    if number.odd_exponent {
                        self.out.odd_exponent.get_or_insert((self.line, at));
                    }
                    exponent = number.exponent;
                    if number.long {
                        self.out.long.push((self.out.values.len(), at, i));
                        self.out.push(LONG, exponent);
                        form = AsdfLineForm::Long;
                        if class != SignClass::Number {
                            return fail(Code::NumberTooLong, at, alone);
                        }
                    } else {
                        current = if number.negative {
                            -number.mantissa
                        } else {
                            number.mantissa
                        };
                        if current == 0 && number.negative {
                            self.out.negative_zero.push(self.out.values.len());
                        }
                        self.out.push(current, exponent);
                        plain = self.out.exponent == 0 && self.out.exponents.is_empty();
                        form = AsdfLineForm::Absolute;
                    }
                    repeated = false;
                }
                SignClass::Missing => {
                    self.out.any_missing = true;
                    self.out.push(
                        MISSING,
                        self.out.exponent_of(self.out.values.len().wrapping_sub(1)),
                    );
                    form = AsdfLineForm::Missing;
                    exponent = self.out.exponent;
                    repeated = false;
                    i += 1;
                }
                SignClass::Blank => {
                    i += 1;
                    if is_word(&bytes[i..]) {
                        return fail(Code::IllegalCharacter, i, alone);
                    }
                }
                SignClass::Comma if self.point != b',' => {
                    i += 1;
                    if is_word(&bytes[i..]) {
                        return fail(Code::IllegalCharacter, i, alone);
                    }
                }
                SignClass::Dollar if bytes.get(i + 1) == Some(&b'$') => break,
                SignClass::Dollar | SignClass::Comma | SignClass::Illegal => {
                    return fail(Code::IllegalCharacter, i, alone);
                }
            }
        }
        let ends = match form {
            AsdfLineForm::Difference if repeated => LineEnd::Repeated,
            AsdfLineForm::Difference => LineEnd::Difference,
            _ => LineEnd::Absolute,
        };
        debug_assert!(first <= self.out.values.len());
        (ends, alone, None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) fn values(lines: &str) -> Ordinates {
        let source = RecordSource::new(lines);
        let setting = DecodeContext {
            from: 0,
            to: lines.len(),
            line: 1,
            point: b'.',
            exponents: Exponents::Strict,
            doubtful_exponents: false,
            promised: None,
            budget: 1000,
            open_ended: false,
        };
        decode(&source, &setting)
    }

    #[test]
    fn table_vii_b_in_all_forms() {
        // McDonald & Wilks, Appl. Spectrosc. 42(1) 151-162 (1988), Table VIIb. The paper leaves out the X in front.
        let expected = [1, 2, 3, 3, 2, 1, 0, -1, -2, -3];
        for text in [
            "0 1 2 3 3 2 1 0 -1 -2 -3",
            "0 1+2+3+3+2+1+0-1-2-3",
            "0 1 2 3 3 2 1 0-1-2-3",
            "0 1BCCBA@abc",
            "0 1JJ%jjjjjj",
            "0 1JT%jX",
        ] {
            assert_eq!(values(text).values, expected, "{text}");
        }
    }

    #[test]
    fn single_forms() {
        // Derived from the definitions of section 5.2: a DUP count includes the first value, repeats a difference
        // after a difference, may have several digits; E3 is 53; the sign ends X.
        assert_eq!(values("0 50U").values, [50, 50, 50]);
        assert_eq!(values("0 A0JU").values, [10, 11, 12, 13]);
        assert_eq!(values("0 As").values, [1; 9]);
        assert_eq!(values("0 5S2").values, [5; 12]);
        assert_eq!(values("0@E3e3").values, [0, 53, -53]);
        assert_eq!(values("599.999+1-1+2").values, [1, -1, 2]);
        assert_eq!(values("1 1 ? 3").values, [1, MISSING, 3]);
        let exponents = values("1 1.5E+02 -2.0E-01");
        assert_eq!(
            (exponents.values, exponents.exponents),
            (vec![15, -20], vec![1, -2])
        );
        assert_eq!(values("400A-5").lines[0].x.mantissa, 400);
    }

    #[test]
    fn illegal_sequences_stop_the_line() {
        let damage = |text: &str| values(text).lines[0].damage.map(|d| (d.code, d.at));
        assert_eq!(damage("0 1VZ"), Some((Code::DuplicateAfterDuplicate, 4)));
        assert_eq!(damage("0 T"), Some((Code::DuplicateAfterNothing, 2)));
        assert_eq!(damage("0 J1"), Some((Code::DifferenceAfterNothing, 2)));
        assert_eq!(damage("0 1 ?J"), Some((Code::DifferenceAfterNothing, 5)));
        assert_eq!(damage("0 1.5J"), Some((Code::DifferenceAfterNothing, 5)));
        assert_eq!(damage("0 1 x2"), Some((Code::IllegalCharacter, 4)));
        assert_eq!(damage("0 A123456789012345678901"), Some((Code::NumberTooLong, 2)));
        assert_eq!(damage("0 @S9999"), Some((Code::LimitPoints, 3)));
        // The misprints of 1988 (Table VI): `Kl` for `K1` is legal and changes all that follows, `JO` for `J0` too.
        assert_ne!(
            values("0@VKT%TLkj%J%KLJ%njKjL%kL%jJULJ%kLKl").values.last(),
            Some(&38)
        );
    }

    #[test]
    fn the_last_number_of_a_cut_line() {
        let cut = |line: &str| line[..without_last_number(line.as_bytes())].to_owned();
        assert_eq!(cut("400@J1K23"), "400@J1");
        assert_eq!(cut("400 12 34"), "400 12 ");
        assert_eq!(cut("400 1.5E+0"), "400 ");
        assert_eq!(cut("400 1.5E"), "400 ");
        assert_eq!(cut("400J1T"), "400J1");
        assert_eq!(cut("400"), "");
        assert_eq!(cut(""), "");
    }
}
