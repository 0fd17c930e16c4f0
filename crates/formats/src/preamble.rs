//! Lines that say something about a run: keys and values.
//!
//! [`pairs`] finds keys and values in a line, [`claim`] turns one pair into a claim on a field, [`claim_free`] does
//! what can be done for a line without keys. A wrong claim is worse than none: what is not sure stays under its own
//! spelling, or stays a comment.

mod cells;
mod contrast;
mod passing;
mod prose;

use std::cell::RefCell;
use std::ops::Range;

use curvary_record::interpret::{Customs, Interpretation, interpret_as};
use curvary_record::moment::Order;
use curvary_record::unit::{Spelling, spelled};
use curvary_record::{
    Claim, Fields, Key, Label, Origin, Place, Question, Span, Unit, Value, ValueKind, known_field,
};
use hashbrown::HashMap;

pub(crate) use self::contrast::contrasts;
pub use self::passing::claim_free;
use self::passing::furniture_off;
pub(crate) use self::passing::{Passing, is_condition, phrases, statements};
pub(crate) use self::prose::hear as hear_prose;
use crate::Source;
use crate::column_header::split_unit;
use crate::words::{self, WordList, field_of, fields_if_fitting};

/// A key and its value, as byte ranges of the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyValueSpan {
    /// The key, without quotes and blanks.
    pub key: Range<usize>,
    /// The value, without quotes and blanks; may be empty.
    pub value: Range<usize>,
    /// What parts them: `:`, `=`, a tab, `,`, `;`, `.` (a row of points) or a blank (several of them).
    pub mark: char,
    /// What the value says where cells of their own make it up: `37 C` of `37,C`.
    pub says: Option<String>,
}

/// A key is no longer, in characters and in words.
const LONGEST_KEY: usize = 48;
const MOST_WORDS: usize = 6;
/// Longer lines hold no keys, but data or prose.
const LONGEST_LINE: usize = 2048;
/// More pairs on a line are data.
const MOST_PAIRS: usize = 12;

/// The keys and values of a line, from left to right; none when it has none.
///
/// Signs that mark a remark (`#`, `%`, `;`, `"`, `//`, `*`, `'`, `!`) are skipped. Times (`10:32:05`), addresses and
/// Windows paths are not taken apart.
#[must_use]
pub fn pairs(line: &str) -> Vec<KeyValueSpan> {
    if line.len() > LONGEST_KNOWN {
        return parted(line);
    }
    // One line is asked for several times, by whoever looks for titles, keys and words, and the same lines stand in many
    // files of a program.
    if let Some(pairs) = KNOWN.with_borrow(|known| known.get(line).cloned()) {
        return pairs;
    }
    let pairs = parted(line);
    KNOWN.with_borrow_mut(|known| {
        if known.len() >= MOST_KNOWN {
            known.clear();
        }
        known.insert(line.to_owned(), pairs.clone());
    });
    pairs
}

/// The pairs of so many lines are remembered on each thread, none of them longer than this.
const MOST_KNOWN: usize = 1024;
const LONGEST_KNOWN: usize = 200;

thread_local! {
    static KNOWN: RefCell<HashMap<String, Vec<KeyValueSpan>>> = RefCell::default();
}

fn parted(line: &str) -> Vec<KeyValueSpan> {
    crate::work::looks_at(line.len());
    if line.len() > LONGEST_LINE {
        return Vec::new();
    }
    let body = undecorated(line, without_remark_sign(line));
    if body.is_empty() {
        return Vec::new();
    }
    if is_title_behind_key(&line[body.clone()]) {
        return Vec::new();
    }
    cells::pairs(line, &body)
        .or_else(|| marked(line, body.clone(), ':'))
        .or_else(|| marked(line, body.clone(), '='))
        .or_else(|| arrowed(line, body.clone()))
        .or_else(|| dotted(line, body.clone()))
        .or_else(|| separated(line, body))
        .unwrap_or_default()
}

/// The line without the sign that marks a remark, and without blanks at its ends.
fn without_remark_sign(line: &str) -> Range<usize> {
    let mut whole = trim(line, 0..line.len());
    // `- **Sample:** beet`: the point of a list, and letters in bold.
    for bullet in ["- ", "• ", "+ "] {
        let listed = line[whole.clone()].strip_prefix(bullet);
        if listed.is_some_and(|rest| {
            rest.trim_start()
                .starts_with(|c: char| c.is_alphabetic() || c == '*')
        }) {
            whole = trim(line, whole.start + bullet.len()..whole.end);
        }
    }
    // `:Sample: beet`: a field of a list of fields, between colons.
    let field = line[whole.clone()].strip_prefix(':');
    if field.is_some_and(|rest| rest.starts_with(char::is_alphabetic) && rest.contains(": ")) {
        whole = whole.start + 1..whole.end;
    }
    let text = &line[whole.clone()];
    for sign in ["//", "#", "%", ";", "*", "'", "!", "REM ", "rem "] {
        if text.starts_with(sign) {
            // `%T = 50` begins with a quantity, not with a remark.
            if sign == "%"
                && text[1..].trim_start().starts_with(['T', 'R', 't', 'r'])
                && !text[1..].starts_with(' ')
            {
                break;
            }
            let rest = text.trim_start_matches(['#', '%', ';', '*', '!', '/', '\'']);
            let rest = if sign.len() == 4 { &text[4..] } else { rest };
            let start = whole.start + (text.len() - rest.len());
            return trim(line, start..whole.end);
        }
    }
    // One pair of quotes around the whole line.
    let inner = text.strip_prefix('"').and_then(|text| text.strip_suffix('"'));
    if inner.is_some_and(|inner| !inner.contains('"')) {
        return trim(line, whole.start + 1..whole.end - 1);
    }
    whole
}

/// The line without the strokes that it is set off with on both sides: `== sample: tank 3 ==`.
fn undecorated(line: &str, body: Range<usize>) -> Range<usize> {
    let text = &line[body.clone()];
    let set_off = ["==", "--", "~~", "__", "***", "##"].into_iter().find(|mark| {
        text.starts_with(mark)
            && text.ends_with(mark)
            && text.trim_start_matches(|c| mark.starts_with(c)).starts_with(' ')
    });
    match set_off.and_then(|mark| mark.chars().next()) {
        Some(stroke) => {
            let front = text.len() - text.trim_start_matches(stroke).len();
            let behind = text.len() - text.trim_end_matches(stroke).len();
            if front + behind >= text.len() {
                return body;
            }
            trim(line, body.start + front..body.end - behind)
        }
        None => body,
    }
}

fn trim(line: &str, range: Range<usize>) -> Range<usize> {
    let text = &line[range.clone()];
    let start = range.start + (text.len() - text.trim_start().len());
    let end = range.end - (text.len() - text.trim_end().len());
    if start >= end {
        range.start..range.start
    } else {
        start..end
    }
}

/// Blanks, quotes and the separators of a table off the ends.
fn bare(line: &str, range: Range<usize>) -> Range<usize> {
    let mut range = trim(line, range);
    loop {
        let text = &line[range.clone()];
        let cut = text.trim_end_matches([';', ',', '\t', ' ', '|']).len();
        let mut next = trim(line, range.start..range.start + cut);
        let text = &line[next.clone()];
        let lead = text.len() - text.trim_start_matches(['\t', ';', '|']).len();
        next = trim(line, next.start + lead..next.end);
        let text = &line[next.clone()];
        if text.len() >= 2 && text.starts_with('"') && text.ends_with('"') {
            next = trim(line, next.start + 1..next.end - 1);
        }
        let text = &line[next.clone()];
        let bold = text.trim_start_matches("**");
        next = trim(line, next.start + (text.len() - bold.len())..next.end);
        let text = &line[next.clone()];
        if text.ends_with("**") {
            next = trim(line, next.start..next.start + text.trim_end_matches('*').len());
        }
        if next == range {
            return range;
        }
        range = next;
    }
}

/// Whether a text may be a key: words that begin with a letter, few and short.
fn is_key(text: &str) -> bool {
    let text = text.trim();
    let begins =
        text.starts_with(|c: char| c.is_alphabetic() || matches!(c, '[' | '%' | '#' | '"' | '_' | '$'));
    begins
        && text.chars().any(char::is_alphabetic)
        && text.chars().count() <= LONGEST_KEY
        && text.split_whitespace().count() <= MOST_WORDS
        && !text.contains(['\t', '{', '}', '<', '>', '\\', '='])
        && !text.ends_with(['.', '!', '?']) | (text.len() <= 12)
}

/// Whether the mark at `at` is one between a key and a value, and not inside a time, an address or a path.
fn parts_here(text: &str, at: usize, mark: char) -> bool {
    let (before, behind) = (&text[..at], &text[at + 1..]);
    if mark == '=' {
        let last = before.chars().next_back();
        return !matches!(last, Some('=' | '<' | '>' | '!' | '+')) && !behind.starts_with(['=', '>']);
    }
    let digit_before = before.ends_with(|c: char| c.is_ascii_digit());
    let digit_behind = behind.starts_with(|c: char| c.is_ascii_digit());
    // `10:32`; yet `Sample 1:5 mM` with its blank is a key.
    if digit_before && digit_behind {
        return false;
    }
    // `https://…`, `C:\data`, `a::b`.
    if behind.starts_with("//") || behind.starts_with(':') || before.ends_with(':') {
        return false;
    }
    let letters = before.chars().rev().take_while(|c| c.is_alphabetic()).count();
    if behind.starts_with(['\\', '/']) && letters == 1 {
        return false;
    }
    // `mm:ss`, `hh:mm` are forms of times.
    let word_before: String = before.chars().rev().take_while(|c| c.is_alphanumeric()).collect();
    let word_behind: String = behind.chars().take_while(|c| c.is_alphanumeric()).collect();
    !(matches!(word_before.as_str(), "hh" | "mm" | "nim" | "h" | "m")
        && matches!(word_behind.as_str(), "mm" | "ss" | "s" | "min" | "m"))
}

/// `key: value` or `key = value`, perhaps several on the line.
fn marked(line: &str, body: Range<usize>, mark: char) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    let marks: Vec<usize> = text
        .match_indices(mark)
        .map(|(at, _)| at)
        .filter(|&at| parts_here(text, at, mark))
        .take(MOST_PAIRS + 1)
        .collect();
    let (&first, more) = marks.split_first()?;
    let key = without_lead(line, bare(line, body.start..body.start + first));
    // `Normalized spectra (max = 1)`: what stands in a bracket is no value of the words in front of it.
    let in_bracket = |words: &str| {
        words
            .rfind('(')
            .is_some_and(|at| at > 0 && !words[at..].contains(')'))
    };
    let sentence = mark == '=' && (in_bracket(&line[key.clone()]) || tells_of_a_reading(text));
    if !is_key(&line[key.clone()]) || sentence {
        return None;
    }
    // `Wavelength: 412 nm,SOP: 12-340,Operator: ab`: each part between commas has a key, so that unknown ones are keys as well.
    let list = is_list_of_pairs(text, mark);
    // A further pair begins behind two blanks, a tab, a comma, a semicolon or a bar; its key stands before its mark.
    let mut starts = vec![(key, body.start + first)];
    for &at in more {
        let at = body.start + at;
        let from = starts.last().map_or(body.start, |last| last.1 + 1);
        let between = &line[from..at];
        let gap = ["  ", "\t", "; ", ";", ", ", ",", "|", " – ", " - ", ". "]
            .into_iter()
            .filter_map(|gap| between.rfind(gap).map(|place| (place + gap.len(), gap)))
            .max();
        let Some((place, gap)) = gap else { continue };
        let key = bare(line, from + place..at);
        let words = &line[key.clone()];
        // Behind a comma or a dash prose may go on; there the key must be one that is known.
        let loose = matches!(gap, ", " | "," | " – " | " - " | ". ");
        let known = field_of(words).is_some() || !fields_if_fitting(words).is_empty();
        // Prose behind a comment goes on through commas.
        let prose = loose
            && starts
                .first()
                .is_some_and(|(key, _)| field_of(&line[key.clone()]) == Some("comment"));
        let something = !between[..place]
            .trim_matches([' ', '\t', ';', ',', '|', '-', '–', '.'])
            .is_empty();
        // `Wavelength: 412,5 nm,SOP: 12`: the value in front of the comma is whole.
        let whole = || {
            let (before, mark) = starts.last().cloned().unwrap_or_default();
            let spelling = &line[before];
            let value = line.get(mark + 1..from + place - gap.len()).unwrap_or("").trim();
            let kind = field_of(spelling).and_then(known_field).map(|known| known.kind);
            gap.starts_with(',')
                && matches!(
                    kind,
                    Some(ValueKind::Number(_) | ValueKind::Range(_) | ValueKind::Date)
                )
                && understand(spelling, value, Customs::default()).1.fits
        };
        if is_key(words) && (known || !loose || list || whole()) && something && !prose {
            starts.push((key, at));
        }
    }
    let mut pairs = Vec::with_capacity(starts.len());
    for (index, (key, at)) in starts.iter().enumerate() {
        let end = starts.get(index + 1).map_or(body.end, |next| next.0.start);
        let value = bare(line, at + 1..end);
        let value = cut_dash(line, value, index + 1 < starts.len());
        let value = sentence_off(line, &key.clone(), value);
        let value = furniture_off(line, value);
        let value = bracket_off(line, value);
        pairs.push(KeyValueSpan {
            key: key.clone(),
            value,
            mark,
            says: None,
        });
    }
    Some(pairs)
}

/// Whether a line is a sentence that tells of a single reading: `The blank was A = 0.002 before the run.`, `Blank gave E = 0.001 at
/// 700 nm`. Words stand in front of the symbol and behind the number.
pub(crate) fn tells_of_a_reading(line: &str) -> bool {
    const FEWEST_WORDS: usize = 5;
    let Some((front, behind)) = line.split_once('=') else {
        return false;
    };
    let plain = !line.contains([';', '\t', '|']) && !behind.contains('=');
    let word = |word: &str| word.chars().filter(|c| c.is_alphabetic()).count() >= 2;
    let mut words_in_front = front.split_whitespace().rev();
    let symbol = words_in_front.next().unwrap_or("");
    let lead = words_in_front.filter(|one| word(one)).count();
    let number = behind
        .split_whitespace()
        .next()
        .unwrap_or("")
        .trim_end_matches(['.', ',']);
    let reading = number.starts_with(|c: char| c.is_ascii_digit() || c == '-') && number.contains(['.', ',']);
    let rest = behind.split_whitespace().skip(1).filter(|one| word(one)).count();
    plain
        && reading
        && lead >= 2
        && lead + rest + 1 >= FEWEST_WORDS
        && crate::column_header::read_column_header(symbol)
            .quantity
            .is_some_and(|quantity| quantity.is_of_light())
}

/// Whether each part of a line between commas is a key, a mark and a value, and at least every second key is one of the trade.
fn is_list_of_pairs(text: &str, mark: char) -> bool {
    let pair = |part: &str| {
        let at = part.find(mark).filter(|&at| parts_here(part, at, mark));
        at.is_some_and(|at| {
            let (key, value) = (part[..at].trim(), part[at + 1..].trim());
            is_key(key) && !value.is_empty() && key.split_whitespace().count() <= 3
        })
    };
    let known = |part: &str| part.split_once(mark).is_some_and(|(key, _)| is_known(key.trim()));
    let parts: Vec<&str> = text.split(',').collect();
    // Every second key is one of the trade, and two of them are where blanks stand behind the commas, so that sentences are none.
    let keys = parts.iter().filter(|part| known(part)).count();
    let fewest = if text.contains(", ") { 2 } else { 1 };
    parts.len() >= 2 && parts.iter().all(|part| pair(part)) && 2 * keys >= parts.len() && keys >= fewest
}

/// A value without the sentence that follows upon it, under a key whose values are no words:
/// `Date: 9 September 2019. All runs at 412 nm, 25 °C.`
fn sentence_off(line: &str, key: &Range<usize>, value: Range<usize>) -> Range<usize> {
    let of_words = field_of(&line[key.clone()])
        .or_else(|| fields_if_fitting(&line[key.clone()]).first().copied())
        .and_then(known_field)
        .is_none_or(|known| known.kind == ValueKind::Text);
    let text = &line[value.clone()];
    if of_words {
        return value;
    }
    let ends = text.match_indices(". ").map(|(at, _)| at).find(|at| {
        let digits = text[..*at].ends_with(|c: char| c.is_ascii_digit());
        let (front, behind) = (&text[..*at], text[at + 2..].trim_start());
        // The point of a day, `9. Oktober`, ends nothing.
        let day =
            digits && front.bytes().rev().take_while(u8::is_ascii_digit).count() <= 2 && front.len() <= 2;
        behind.starts_with(char::is_uppercase) && front.contains(|c: char| c.is_ascii_digit()) && !day
    });
    match ends {
        Some(at) => value.start..value.start + at,
        None if text.ends_with('.') && text[..text.len() - 1].contains(|c: char| c.is_ascii_digit()) => {
            value.start..value.end - 1
        }
        None => value,
    }
}

/// A value without the end of a bracket that begins before it: `(sample: beet, path: 1 cm):`.
fn bracket_off(line: &str, value: Range<usize>) -> Range<usize> {
    let text = &line[value.clone()];
    let inside = text.trim_end_matches([':', '.', ' ']);
    match inside.strip_suffix(')') {
        Some(rest) if !rest.contains(['(', ')']) => value.start..value.start + rest.trim_end().len(),
        _ => value,
    }
}

/// `SAMPLE>beet`: a key of the trade, an arrow and its value.
fn arrowed(line: &str, body: Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let at = body.start + line[body.clone()].find('>')?;
    let key = bare(line, body.start..at);
    let value = bare(line, at + 1..body.end);
    (is_known(&line[key.clone()]) && !value.is_empty()).then(|| {
        vec![KeyValueSpan {
            key,
            value,
            mark: '>',
            says: None,
        }]
    })
}

/// Whether a word is a key of the trade, or may be one.
pub(crate) fn is_known(words: &str) -> bool {
    field_of(words).is_some() || !fields_if_fitting(words).is_empty()
}

/// A key without the words in front of it that are none of its own: the `sample` of `Dept. printout   sample: beet`.
fn without_lead(line: &str, key: Range<usize>) -> Range<usize> {
    let text = &line[key.clone()];
    if is_known(text) {
        return key;
    }
    ["  ", "\t", "; ", "| ", ", ", "] "]
        .into_iter()
        .filter_map(|gap| {
            let at = text.rfind(gap)? + gap.len();
            let own = bare(line, key.start + at..key.end);
            is_known(&line[own.clone()]).then_some(own)
        })
        .next()
        .unwrap_or(key)
}

/// The dash that parted two pairs is no part of the value before it.
fn cut_dash(line: &str, value: Range<usize>, another: bool) -> Range<usize> {
    if !another {
        return value;
    }
    let text = line[value.clone()].trim_end_matches([' ', '-', '–', '"', ',']);
    value.start..value.start + text.len()
}

/// `key .... value`.
fn dotted(line: &str, body: Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    let start = text.find("...")?;
    let rest = text[start..].trim_start_matches(['.', ' ', ':']);
    let dots = text[start..].len() - rest.len();
    let key = bare(line, body.start..body.start + start);
    let fitting = dots >= 3 && is_key(&line[key.clone()]) && !rest.is_empty();
    fitting.then(|| {
        vec![KeyValueSpan {
            key,
            value: bare(line, body.start + start + dots..body.end),
            mark: '.',
            says: None,
        }]
    })
}

/// A known key and its value with two blanks or more between, `sample    lake, filtered`. Only for a line that is known
/// to be no row of heads: those look the same.
#[must_use]
pub fn pair_in_blanks(line: &str) -> Option<KeyValueSpan> {
    if line.len() > LONGEST_LINE {
        return None;
    }
    let body = without_remark_sign(line);
    let text = &line[body.clone()];
    let at = text.find("  ")?;
    let key = bare(line, body.start..body.start + at);
    let value = bare(line, body.start + at..body.end);
    let (word, rest) = (&line[key.clone()], &line[value.clone()]);
    let head = crate::column_header::read_column_header(rest);
    let is_head = head.quantity.is_some() && head.held.is_empty();
    // `cell` and `path` may be other things, and are no keys but of a number.
    let known = field_of(word).is_some()
        || !fields_if_fitting(word).is_empty() && rest.starts_with(|c: char| c.is_ascii_digit());
    (known && !rest.is_empty() && !rest.contains("  ") && !is_head).then_some(KeyValueSpan {
        key,
        value,
        mark: ' ',
        says: None,
    })
}

/// `key TAB value`, `key;value`, `key,value`: two cells, or two with empty ones behind.
fn separated(line: &str, body: Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    for mark in ['\t', ';', ','] {
        let Some(at) = text.find(mark) else { continue };
        let key = bare(line, body.start..body.start + at);
        let value = bare(line, body.start + at + 1..body.end);
        let (words, rest) = (&line[key.clone()], &line[value.clone()]);
        if !is_key(words) || rest.is_empty() {
            continue;
        }
        let cells = match mark {
            // A decimal comma may stand in the value, and so may the commas of prose.
            ',' => 1,
            _ => rest.split(mark).filter(|cell| !cell.trim().is_empty()).count(),
        };
        let known =
            field_of(words).is_some() || !fields_if_fitting(words).is_empty() || is_field_with_unit(words);
        // `Lot 7731 navy; 12/Delimiter/2008`: a title with its date.
        let dated = !known
            && words.contains(|c: char| c.is_ascii_digit())
            && matches!(
                curvary_record::moment::read(rest, None).date,
                curvary_record::moment::DateReading::Read(_)
            );
        if dated {
            continue;
        }
        // `Actinometry at 365 nm; A at 510 nm`
        if mark == ';' && !known && words.contains(' ') && is_measured_phrase(words) {
            continue;
        }
        // `Baseline recorded,2024-01-03`: words in one cell and a day in the next, without the blank that stands behind the comma of a
        // title, are a key and its value as behind a colon, unless the words are a title of what was measured.
        let day_in_cell = mark == ','
            && !known
            && words.contains(' ')
            && !text[at + 1..].starts_with(' ')
            && !passing::names_a_measurement(words)
            && matches!(
                curvary_record::moment::read(rest, None).date,
                curvary_record::moment::DateReading::Read(_)
                    | curvary_record::moment::DateReading::Undecidable(_)
            );
        // A comma is so common that only a known key is one; two heads side by side are no pair.
        let heads = crate::column_header::read_column_header(rest);
        let two_heads = heads.quantity.is_some() && heads.held.is_empty();
        // `Temperature;25,0;°C`: the unit has a cell of its own.
        let unit_apart = cells == 2
            && known
            && rest
                .split(mark)
                .map(str::trim)
                .rfind(|cell| !cell.is_empty())
                .is_some_and(|unit| {
                    unit.contains(|c: char| !c.is_ascii_digit()) && spelled(unit) != Spelling::None
                });
        if cells > 1 && !unit_apart
            || (mark == ',' && !known && !day_in_cell)
            || (two_heads && !rest.starts_with(|c: char| c.is_ascii_digit()))
        {
            continue;
        }
        return Some(vec![KeyValueSpan {
            key,
            value,
            mark,
            says: None,
        }]);
    }
    None
}

/// Whether a line is a title whose first word happens to be a key: `Sample, 340 nm, 25 °C`, `Date, time and name`. Between the
/// cells of a table stands no blank behind the comma.
fn is_title_behind_key(text: &str) -> bool {
    let Some((key, rest)) = text.split_once(", ").or_else(|| text.split_once("; ")) else {
        return false;
    };
    let marked = key.contains(';') || rest.contains(';') || text.contains(['\t', ':', '=', '|', '"']);
    !marked
        && is_known(key.trim())
        && !rest.trim().is_empty()
        && !is_value_behind_comma(key.trim(), rest.trim())
}

/// Whether what stands behind a key and a comma may be its value: no sample is called `340 nm`, and a temperature, a date or a
/// concentration is a value of that kind.
fn is_value_behind_comma(key: &str, rest: &str) -> bool {
    let kind = field_of(key).and_then(known_field).map(|known| known.kind);
    match kind {
        Some(ValueKind::Text) => {
            let mut phrases = rest
                .split(", ")
                .map(str::trim)
                .filter(|phrase| !phrase.is_empty());
            !phrases.all(|phrase| passing::is_condition(phrase) || is_at(phrase))
        }
        Some(ValueKind::Number(_) | ValueKind::Range(_)) => {
            let (field, found) = understand(key, rest, Customs::default());
            let first = || {
                rest.split(", ")
                    .next()
                    .map(|first| understand(key, first, Customs::default()).1)
            };
            let told = |found: &Interpretation| found.fits || found.question.is_some();
            let number = rest.contains(|c: char| c.is_ascii_digit());
            number && (field.known().is_none() || told(&found) || first().is_some_and(|found| told(&found)))
                || words::marker(rest).is_some()
        }
        Some(_) => rest.contains(|c: char| c.is_ascii_digit()) || words::marker(rest).is_some(),
        None => true,
    }
}

/// Whether a phrase is a value with the unit of something that is held, `340 nm` or `at 5 min`, and nothing else.
fn is_at(phrase: &str) -> bool {
    let head = crate::column_header::read_column_header(phrase);
    let held = matches!(head.held.as_slice(), [held] if held.quantity != curvary_record::Quantity::UNKNOWN);
    held && head.quantity.is_none() && head.label.is_none()
}

/// Whether words name something that was done at a wavelength: `Actinometry at 365 nm`.
fn is_measured_phrase(words: &str) -> bool {
    let head = crate::column_header::read_column_header(words);
    head.held
        .iter()
        .any(|held| held.quantity == curvary_record::Quantity::WAVELENGTH)
}

/// Whether a key is the name of a measured field and its unit, `Temp (°C)`, `Cell (cm)`. The `ns` of `operator ns` is somebody.
fn is_field_with_unit(key: &str) -> bool {
    let Some((name, unit)) = split_unit(key) else {
        return false;
    };
    let measured = |field: &str| {
        let kind = known_field(field).map(|known| known.kind);
        matches!(kind, Some(ValueKind::Number(_) | ValueKind::Range(_)))
    };
    let stated = spelled(unit);
    field_of(name).is_some_and(measured)
        || fields_if_fitting(name)
            .iter()
            .any(|field| has_unit_of(field, &stated))
}

/// Whether one of the units that a text may mean is of the kind that a field is customarily in.
fn has_unit_of(field: &str, stated: &Spelling) -> bool {
    match known_field(field).map(|known| known.kind) {
        Some(ValueKind::Number(custom) | ValueKind::Range(custom)) => {
            Unit::ucum(custom).is_ok_and(|custom| stated.units().iter().any(|unit| is_alike(unit, &custom)))
        }
        _ => false,
    }
}

fn customs(source: &Source) -> Customs {
    Customs {
        order: source.assume().get("date").and_then(Order::named),
        decimal_comma: source.assume().get("decimal").map(|answer| answer == "comma"),
    }
}

fn text(source: &Source, range: Range<usize>) -> &str {
    source.text().get(range).unwrap_or("")
}

fn origin(source: &Source, range: &Range<usize>) -> Origin {
    Origin::Source(source.place(Span::new(range.start, range.end)))
}

/// Turns a pair into a claim: the key into a known field where its word is known, the value into a number, range,
/// date or text of that field's kind. `key` and `value` are byte ranges of the source's text.
///
/// A word that is unknown stays the key, as it was spelled. What only a person can decide becomes a question.
pub fn claim(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    key: Range<usize>,
    value: Range<usize>,
) {
    claim_under(fields, questions, source, text(source, key).trim(), value);
}

/// The same for a pair of a line that begins at byte `base`.
pub(crate) fn claim_pair(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    base: usize,
    pair: &KeyValueSpan,
) {
    let at = |range: &Range<usize>| base + range.start..base + range.end;
    let spelling = text(source, at(&pair.key)).trim();
    let customs = customs(source);
    let says = pair.says.as_deref();
    claim_with(
        fields,
        questions,
        source,
        spelling,
        at(&pair.value),
        says,
        customs,
    );
}

/// The same under a key that does not stand in the source.
pub(crate) fn claim_under(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    value: Range<usize>,
) {
    claim_with(fields, questions, source, spelling, value, None, customs(source));
}

/// Claims a date whose order of day and month other dates of the source have settled, where they have.
pub(crate) fn claim_date(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    value: Range<usize>,
    order: Option<Order>,
) {
    let customs = customs(source);
    let order = order.or(customs.order);
    claim_with(
        fields,
        questions,
        source,
        "date",
        value,
        None,
        Customs { order, ..customs },
    );
}

fn claim_with(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    value: Range<usize>,
    says: Option<&str>,
    customs: Customs,
) {
    // `Sample TAB : leaf`: the colon was set under those of the other lines.
    let whole = text(source, value.clone());
    let raw = whole.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, ':' | '='));
    let value = value.end - raw.len()..value.end;
    let raw = raw.trim_end();
    let says = says.map(|says| says.trim_start_matches([':', '=', ' ']));
    if spelling.is_empty() || raw.is_empty() || says_nothing(spelling, raw) {
        return;
    }
    // `T = 25 C, pH 8.2`, `enzyme: urease, pH 7.0`: a value, and conditions behind it that have no keys.
    if says.is_none()
        && let Some(end) = end_of_value(source, spelling, value.start, raw, customs)
    {
        let end = value.start + end;
        let rest = end..value.start + raw.len();
        let mut passing = Passing::default();
        let of_measurement = matches!(field_of(spelling), Some("ph" | "wavelength" | "path-length"));
        passing.hear_beside(source, rest.clone(), of_measurement);
        let before = fields.all("date").len();
        if passing::is_followed_by_day_of_run(spelling, text(source, value.start..end)) {
            passing::claim_dates(fields, source, rest.clone());
        }
        keep_rest(
            fields,
            source,
            rest,
            passing.len() + fields.all("date").len() - before,
        );
        claim_with(
            fields,
            questions,
            source,
            spelling,
            value.start..end,
            None,
            customs,
        );
        passing.settle(fields);
        return;
    }
    // A number and its unit in cells of their own.
    let apart = raw
        .split_once([';', '\t'])
        .filter(|(_, unit)| spelled(unit.trim()) != Spelling::None)
        .map(|(number, unit)| format!("{} {}", number.trim(), unit.trim()));
    let (field, mut found) = understand(spelling, says.or(apart.as_deref()).unwrap_or(raw), customs);
    // What is no number is kept as it stands, with its separators.
    if matches!(&found.value, Value::Text(text) if says == Some(text)) {
        found.value = Value::Text(raw.to_owned());
    }
    let place = source.place(Span::new(value.start, value.end));
    put(fields, questions, source, (spelling, raw), (field, &found), place);
}

/// Keeps the statements behind a value as a remark where not each of them became a claim: a day of something else than the run,
/// a temperature that may be that of a store.
fn keep_rest(fields: &mut Fields, source: &Source, range: Range<usize>, claimed: usize) {
    let rest = text(source, range.clone());
    // A wavelength is heard with the words around the table.
    let said = |statement: &Range<usize>| {
        let statement = &rest[statement.clone()];
        statement.contains(char::is_alphanumeric) && !passing::is_wavelength(statement.trim())
    };
    if statements(rest)
        .iter()
        .filter(|statement| said(statement))
        .count()
        <= claimed
    {
        return;
    }
    let bare =
        rest.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '|' | '·' | '•'));
    let at = range.end - bare.len()..range.end;
    fields.claim("comment", Claim::text(bare.trim_end(), origin(source, &at)));
}

/// Where the value of a key, at byte `at`, ends, if conditions or a date follow in statements of their own. Where the key itself is
/// one of several statements, one condition among them is enough.
fn end_of_value(source: &Source, spelling: &str, at: usize, raw: &str, customs: Customs) -> Option<usize> {
    // `Stopped with: 1 M HCl, pH 1.2`
    if passing::is_treatment(spelling) {
        return None;
    }
    let mut statements = statements(raw).into_iter();
    let first = &raw[statements.next()?];
    let rest: Vec<&str> = statements
        .map(|statement| raw[statement].trim())
        .filter(|statement| !statement.is_empty())
        .collect();
    if rest.is_empty() || first.trim().is_empty() {
        return None;
    }
    let kept_apart = is_kept_apart(spelling);
    let of_the_run = |statement: &str| {
        let found = passing::condition(statement.trim(), customs);
        found.is_some_and(|(field, _)| !kept_apart || field != "temperature")
    };
    let kind = field_of(spelling).and_then(known_field).map(|known| known.kind);
    // A date that is none of the run's belongs to the words that it stands behind.
    let dated = !matches!(kind, Some(ValueKind::Text)) || passing::is_followed_by_day_of_run(spelling, first);
    let other = |statement: &&str| of_the_run(statement) || dated && passing::is_dated(statement, customs);
    let all = rest.iter().all(other);
    let any = || rest.iter().any(other);
    // `Temperature: 20 °C, 25 °C`: two values of one key, of which neither is the one.
    let meant = || understand(spelling, first, customs).0;
    let again = |statement: &&str| {
        let statement = statement.trim();
        let field = passing::condition(statement, customs).map(|(field, _)| field);
        let field = field.or_else(|| passing::is_wavelength(statement).then_some("wavelength"));
        field.is_some_and(|field| field == meant().as_str())
    };
    let ends = match kind {
        Some(ValueKind::Text) => {
            let plain = !raw[first.len()..].contains('"');
            // Prose goes on behind a comment, and a buffer may be named after its pH.
            plain && (all || is_amid(source, at) && any())
        }
        Some(ValueKind::Date) => false,
        // `5·10-3 mM, 25 °C`: a number that is not understood takes nothing with it.
        Some(ValueKind::Number(_) | ValueKind::Range(_)) => {
            // A wavelength among them is heard with the words around the table.
            let conditions = |statement: &&str| other(statement) || passing::is_wavelength(statement);
            rest.iter().all(conditions)
                && !rest.iter().any(again)
                && first.contains(|c: char| c.is_ascii_digit())
        }
        _ => {
            let found = || understand(spelling, first, customs).1;
            all && matches!(
                found(),
                Interpretation {
                    fits: true,
                    value: Value::Number(_),
                    ..
                }
            )
        }
    };
    ends.then_some(first.trim_end().len())
}

/// Whether a comma stands on the line in front of byte `at`: the key there is not its first statement.
fn is_amid(source: &Source, at: usize) -> bool {
    let text = source.text();
    let line = text[..at].rfind('\n').map_or(0, |end| end + 1);
    text[line..at].contains(", ")
}

/// The same for a key and a value that another reader found, at a place that it names.
pub(crate) fn claim_at(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    raw: &str,
    place: Place,
) {
    let (spelling, raw) = (spelling.trim(), raw.trim());
    if spelling.is_empty() || raw.is_empty() {
        return;
    }
    let (field, found) = understand(spelling, raw, customs(source));
    put(fields, questions, source, (spelling, raw), (field, &found), place);
}

/// Claims what was understood, and asks what only a person can decide.
fn put(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    (spelling, raw): (&str, &str),
    (field, found): (Key, &Interpretation),
    place: Place,
) {
    if let Some(mut question) = found.question.clone() {
        question.labels.push(Label {
            place: place.clone(),
            text: format!("`{spelling}`"),
        });
        if !source.assume().settle(&question) && !questions.contains(&question) {
            questions.push(question);
        }
    }
    let field = beside_what_was_set(fields, field, spelling);
    if let Some((other, value)) = &found.aside {
        let mut claim = found.claim(raw, Origin::Source(place.clone()));
        claim.value = value.clone();
        claim.unit = None;
        fields.claim(other.clone(), claim.spelled(spelling));
    }
    fields.claim(field, found.claim(raw, Origin::Source(place)).spelled(spelling));
}

/// Whether a key is of something that is made, kept and labelled elsewhere, a buffer: the temperature behind its name is its own.
pub(crate) fn is_kept_apart(key: &str) -> bool {
    matches!(
        field_of(key),
        Some("buffer" | "solvent" | "blank" | "reference" | "baseline" | "lot")
    )
}

/// What a key says of its value: that it was only set, or that it was read.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Standing {
    Set,
    Actual,
}

/// Whether a key of what an instrument is set to says that the value was set or read, `Set temperature`, `Temperature (actual)`,
/// `Isttemperatur`; and its other words.
fn standing(spelling: &str) -> Option<(Standing, String)> {
    let mut words: Vec<&str> = spelling
        .split([' ', '(', ')', '[', ']', '-', '_', '.', ','])
        .filter(|word| !word.is_empty())
        .collect();
    let of = |word: &str| {
        if words::is(WordList::SetValue, word) {
            Some(Standing::Set)
        } else if words::is(WordList::ActualValue, word) {
            Some(Standing::Actual)
        } else {
            None
        }
    };
    // `Solltemperatur`, `Isttemperatur`
    let lower = spelling.to_lowercase();
    for (front, standing) in [("soll", Standing::Set), ("ist", Standing::Actual)] {
        if let Some(rest) = lower
            .strip_prefix(front)
            .filter(|rest| field_of(rest) == Some("temperature"))
        {
            return Some((standing, rest.to_owned()));
        }
    }
    let at = words
        .iter()
        .position(|word| of(word).is_some())
        .filter(|_| words.len() >= 2)?;
    let standing = of(words.remove(at))?;
    Some((standing, words.join(" ")))
}

/// The field that a key with a word for set or read means: one of what an instrument is set to.
fn field_set_or_read(spelling: &str) -> Option<&'static str> {
    let (_, rest) = standing(spelling)?;
    field_of(&rest)
        .or_else(|| fields_if_fitting(&rest).first().copied())
        .filter(|field| matches!(*field, "temperature" | "wavelength"))
}

/// The key under which a value goes beside what is known of its field: one that was only set stays under its own word where
/// another says how it was, whichever of the two comes first.
fn beside_what_was_set(fields: &mut Fields, field: Key, spelling: &str) -> Key {
    // `Thermostat: 29.8 °C` beside a key that calls its value the temperature tells of the thermostat.
    let is_device = |spelling: &str| {
        const SHORTEST: usize = 4;
        spelling.chars().count() >= SHORTEST && fields_if_fitting(spelling).contains(&field.as_str())
    };
    let is_set =
        |spelling: &str| matches!(standing(spelling), Some((Standing::Set, _))) || is_device(spelling);
    if !matches!(field.as_str(), "temperature" | "wavelength") {
        return field;
    }
    // What was set and what was read never stand under one field, so that the first that a key says tells of all.
    let first = fields
        .all(field.as_str())
        .iter()
        .find_map(|claim| claim.spelled.as_deref());
    let of_set = first.is_some_and(is_set);
    if is_set(spelling) {
        let known = first.is_some() && !of_set;
        return if known { Key::new(spelling) } else { field };
    }
    if of_set {
        for claim in fields.remove(field.as_str()) {
            let key = claim
                .spelled
                .as_deref()
                .filter(|spelled| is_set(spelled))
                .map(Key::new);
            fields.claim(key.unwrap_or_else(|| field.clone()), claim);
        }
    }
    field
}

/// Whether the value under a known key says that there is none: `Operator: -`, `Date: n/a`. A word such as `empty` may be the
/// name of a sample, but neither a number nor a date.
fn says_nothing(spelling: &str, raw: &str) -> bool {
    let Some(known) = field_of(spelling).and_then(known_field) else {
        return false;
    };
    let missing = words::marker(raw) == Some(words::Marker::Missing);
    missing && (known.kind != ValueKind::Text || !raw.chars().all(char::is_alphabetic))
}

/// The field that a key means, and what the value says under it.
fn understand(spelling: &str, raw: &str, customs: Customs) -> (Key, Interpretation) {
    // `Date (DD/MM/YYYY)`: the form in which the date was to be written says which number is the month.
    let (spelling, customs) = match date_form(spelling) {
        Some((name, order)) => (
            name,
            Customs {
                order: customs.order.or(Some(order)),
                ..customs
            },
        ),
        None => (spelling, customs),
    };
    // `Temp. (°C)`: the name and its unit. A key that is known as a whole (`Sample no`) is not cut.
    let whole = field_of(spelling);
    // `pH meter` is in no metres.
    let goes_with =
        |name: &str, unit: &str| match field_of(name).and_then(known_field).map(|known| known.kind) {
            Some(ValueKind::Number(custom) | ValueKind::Range(custom)) => Unit::ucum(custom)
                .is_ok_and(|custom| spelled(unit).units().iter().any(|unit| is_alike(unit, &custom))),
            // The `ns` of `operator ns` is somebody.
            Some(_) => false,
            None => true,
        };
    let parted = split_unit(spelling)
        .filter(|_| whole.is_none())
        .filter(|(name, unit)| crate::column_header::states_unit(spelling) || goes_with(name, unit));
    let stated: Option<Spelling> = parted.map(|(_, unit)| spelled(unit));
    let name = parted.map_or(spelling, |(name, _)| name);
    let read = |field: &str| {
        let found = interpret_as(&Key::new(field), raw, stated.as_ref(), customs);
        match length_in_front(raw).filter(|_| field == "path-length" && !found.fits) {
            // `cell = 10 mm quartz`
            Some(length) => Interpretation {
                fits: true,
                ..interpret_as(&Key::new(field), length, stated.as_ref(), customs)
            },
            None => found,
        }
    };
    let meant = whole
        .or_else(|| field_of(name))
        .or_else(|| field_set_or_read(name))
        .or_else(|| in_two_languages(name));
    if let Some((value, of)) = of_a_stock(raw).filter(|_| meant == Some("concentration")) {
        let key = Key::new(format!("{name} ({of})"));
        let found = interpret_as(&key, value, stated.as_ref(), customs);
        return (key, found);
    }
    let field = meant.filter(|field| {
        spelling.split_whitespace().count() < 2 && *field != "date" || is_of_kind(field, &read(field))
    });
    if let Some(field) = field {
        if field == "wavelength" && is_list_of_wavelengths(raw) {
            let list = raw.replace(',', " / ");
            return (
                Key::new(field),
                interpret_as(&Key::new("wavelengths"), &list, None, customs),
            );
        }
        let found = read(field);
        // A wavelength from–to is a range of wavelengths.
        if field == "wavelength" && matches!(found.value, Value::Range { .. }) {
            return (Key::new("wavelength-range"), found);
        }
        // `Date: 14.03.2021 10:32` also under `time`, and a time of day under a word for dates.
        return (Key::new(field), found);
    }
    for field in fields_if_fitting(name) {
        let found = read(field);
        // `Measured: 2007-06-13 by hq` says when, `Measured: hq` says by whom.
        let dated = raw.bytes().filter(u8::is_ascii_digit).count() >= 4;
        if *field == "date" && dated {
            return (Key::new(*field), found);
        }
        if *field == "operator" && (dated || !is_somebody(raw)) {
            continue;
        }
        let number = matches!(found.value, Value::Number(_) | Value::Range { .. });
        // `Cell (cm)`: the unit stands in the key.
        let unit_in_key = || stated.as_ref().is_some_and(|stated| has_unit_of(field, stated));
        let text_field = known_field(field).is_some_and(|known| known.kind == ValueKind::Text);
        if text_field || found.fits && (!number || found.unit_written || unit_in_key()) {
            return (Key::new(*field), found);
        }
    }
    // `Reaction temperature`: of what is measured, or of what it is measured in.
    if let Some((place, word)) = name.rsplit_once(' ')
        && words::is(WordList::PlaceOfTemperature, place)
        && field_of(word) == Some("temperature")
    {
        let found = read("temperature");
        if found.fits && matches!(found.value, Value::Number(_)) && (found.unit_written || stated.is_some()) {
            return (Key::new("temperature"), found);
        }
    }
    // `Tampon pH: 7,6`
    if let Some((medium, "pH")) = name.rsplit_once(' ')
        && words::is(WordList::Medium, medium)
    {
        return (Key::new("ph"), read("ph"));
    }
    // `Température du bain`, `pH of the buffer`: what it is of goes behind, and the value tells that it is meant.
    // With an unknown word it is of something else: `Température de stockage`.
    if let Some((field, of)) = words::about_its_genitive(name)
        && let Some(field) = field_of(field)
        && is_of_the_measured(of)
    {
        let found = read(field);
        let number = matches!(found.value, Value::Number(_));
        if found.fits && number && (found.unit_written || field == "ph") && field != "concentration" {
            return (Key::new(field), found);
        }
    }
    // The source's own word. A known field's name that the words do not list would be taken for that field.
    let own = if known_field(name).is_some() || meant.is_some() {
        spelling
    } else {
        name
    };
    let found = interpret_as(&Key::new(own), raw, stated.as_ref(), customs);
    (Key::new(own), found)
}

/// Whether a value may be the name of somebody, or initials: `hq`, `M. Weiss`, and no word for what was measured or how, `absorbance`,
/// `in duplicate`.
fn is_somebody(raw: &str) -> bool {
    const MOST_WORDS: usize = 4;
    const LONGEST_INITIALS: usize = 3;
    let name = raw
        .split([',', ';', '(', '/', '&', '+'])
        .next()
        .unwrap_or(raw)
        .trim();
    let words: Vec<&str> = name.split_whitespace().collect();
    let of_the_trade = |word: &str| {
        let bare = word.trim_matches(|c: char| !c.is_alphanumeric());
        words::quantity_of(bare).is_some()
            || words::begins(WordList::Spectrum, &bare.to_lowercase())
            || words::is(WordList::InChain, bare)
            || words::is(WordList::Inside, bare)
    };
    let named = |word: &str| {
        let letters = word
            .chars()
            .all(|c| c.is_alphabetic() || matches!(c, '.' | '-' | '\''));
        letters && (!word.starts_with(char::is_lowercase) || word.chars().count() <= LONGEST_INITIALS)
    };
    // A lone capital letter or two may be a quantity and are initials as well.
    let initials =
        |word: &str| word.trim_end_matches('.').chars().count() <= 2 && word.starts_with(char::is_uppercase);
    (1..=MOST_WORDS).contains(&words.len())
        && words
            .iter()
            .all(|word| named(word) && (initials(word) || !of_the_trade(word)))
}

/// Whether all words of what a condition is of are known to mean what was measured, or where: `the bath`, `la cuve`.
fn is_of_the_measured(of: &str) -> bool {
    let mut words = of
        .split([' ', '\'', '’', '(', ')', '/'])
        .filter(|word| !word.is_empty());
    let known = |word: &str| {
        let lower = word.to_lowercase();
        word.chars().count() <= 3 && words::is(WordList::Genitive, word)
            || words::is(WordList::InChain, word)
            || words::is(WordList::PlaceOfTemperature, word)
            || words::is(WordList::Medium, word)
            || words::is(WordList::Measured, word)
            || words::begins(WordList::BegunThing, &lower)
            || words::begins(WordList::MeasuredThing, &lower)
            || words::ends(WordList::CellEnd, &lower)
            || is_known(word)
    };
    words.all(known)
}

/// A value under a concentration that is said to be of a stock, `5 mg/ml (Stammlösung)`: the value alone, and its word.
fn of_a_stock(raw: &str) -> Option<(&str, &str)> {
    let (value, of) = raw.strip_suffix(')')?.rsplit_once('(')?;
    let stock =
        words::is(WordList::Stock, of) || of.split_whitespace().any(|word| words::is(WordList::Stock, word));
    stock.then_some((value.trim(), of.trim()))
}

/// A key of a date without the form behind it, `Datum (TT.MM.JJJJ)`, `Date [yyyy-mm-dd]`, and the order of day, month and year that
/// the form names.
fn date_form(spelling: &str) -> Option<(&str, Order)> {
    let (name, form) = spelling
        .strip_suffix([')', ']'])
        .and_then(|inner| inner.rsplit_once(['(', '[']))?;
    let name = name.trim();
    if field_of(name) != Some("date") {
        return None;
    }
    let form = form.to_lowercase();
    let parts: Vec<&str> = form
        .split(|c: char| !c.is_alphabetic())
        .filter(|part| !part.is_empty())
        .collect();
    let is = |part: &str, letters: &[char]| part.len() <= 4 && part.chars().all(|c| letters.contains(&c));
    let day = |part: &str| is(part, &['d', 't', 'j']);
    let month = |part: &str| is(part, &['m']);
    let year = |part: &str| is(part, &['y', 'j', 'a', 'r']);
    match parts.as_slice() {
        [first, second, third, ..] if day(first) && month(second) && year(third) => {
            Some((name, Order::DayFirst))
        }
        [first, second, third, ..] if month(first) && day(second) && year(third) => {
            Some((name, Order::MonthFirst))
        }
        [first, second, third, ..] if year(first) && month(second) && day(third) => {
            Some((name, Order::YearFirst))
        }
        _ => None,
    }
}

/// The field that a key in two languages means: `Probe / sample`, `試料 Sample`, `Datum (date)`. Both words mean it.
fn in_two_languages(key: &str) -> Option<&'static str> {
    let one = |text: &str| field_of(text.trim().trim_end_matches(')'));
    let both = |(first, second): (&str, &str)| one(first).filter(|field| one(second) == Some(field));
    let by_mark = ["/", "|", "("]
        .into_iter()
        .find_map(|mark| key.split_once(mark).and_then(both));
    by_mark.or_else(|| {
        // A word of one script and one of another.
        let (first, second) = key.split_once(' ')?;
        (first.is_ascii() != second.is_ascii())
            .then_some((first, second))
            .and_then(both)
    })
}

/// The length that a value begins with, in front of what the cell is made of: the `10 mm` of `10 mm quartz`.
fn length_in_front(raw: &str) -> Option<&str> {
    const MOST_BEHIND: usize = 3;
    let unit = ["mm", "cm"]
        .into_iter()
        .find_map(|unit| raw.find(unit).map(|at| (at, unit)));
    let (at, unit) = unit?;
    let (length, behind) = raw.split_at(at + unit.len());
    let number = length[..at].trim().replace(',', ".").parse::<f64>();
    let words = || behind.split_whitespace();
    let of_cell = behind.starts_with([' ', ',']) && words().count() <= MOST_BEHIND;
    let plain = || words().all(|word| word.chars().all(|c| c.is_alphabetic() || matches!(c, ',' | '-')));
    (number.is_ok_and(|number| number > 0.0) && of_cell && plain()).then_some(length)
}

/// Whether one unit can be turned into another, or both are of amounts.
fn is_alike(unit: &Unit, custom: &Unit) -> bool {
    let amount = |unit: &Unit| {
        ["mol/L", "g/L", "U/L", "[iU]/L", "1"]
            .iter()
            .any(|code| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other)))
    };
    unit.converts_to(custom) || amount(unit) && amount(custom)
}

/// Whether a value is of its field's kind: `no. 7` under `pH meter` is no number, and the words mean something else.
fn is_of_kind(field: &str, found: &Interpretation) -> bool {
    /// A date has a day and a year, or a month and a year.
    const FEWEST_DIGITS: usize = 3;
    // `Datum;SAK-Messung E254;Bemerkung` are headers, and no date.
    if let (Value::Text(text), Some(ValueKind::Date), false) = (
        &found.value,
        known_field(field).map(|known| known.kind),
        found.fits,
    ) {
        let digits = text.bytes().filter(u8::is_ascii_digit).count();
        return found.question.is_some() || digits >= FEWEST_DIGITS && !text.contains(['(', ')']);
    }
    !matches!(found.value, Value::Text(_))
        || found.question.is_some()
        || known_field(field).is_none_or(|known| !matches!(known.kind, ValueKind::Number(_)))
}

/// `340,405` and `260,280 nm` are two wavelengths: no instrument tells thousandths of a nanometre.
fn is_list_of_wavelengths(raw: &str) -> bool {
    let numbers = raw.trim().trim_end_matches("nm").trim_end();
    let mut parts = numbers.split(',');
    let light = |part: &str| {
        part.len() == 3
            && part
                .parse::<u32>()
                .is_ok_and(|value| (185..=999).contains(&value))
    };
    numbers.contains(',') && parts.all(light)
}

#[cfg(test)]
mod tests;
