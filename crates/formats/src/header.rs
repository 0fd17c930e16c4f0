//! Lines that say something about a run: keys and values.
//!
//! [`pairs`] finds keys and values in a line, [`claim`] turns one pair into a claim on a field, [`claim_free`] does
//! what can be done for a line without keys. A wrong claim is worse than none: what is not sure stays under its own
//! spelling, or stays a comment.

mod cells;

use std::ops::Range;

use curvary_record::interpret::{Customs, Interpretation, interpret_as};
use curvary_record::moment::{self, DateReading, Order};
use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Claim, Fields, Key, Label, Origin, Place, Question, Span, Value, known_field};

use crate::Source;
use crate::head::split_unit;
use crate::words::{field_of, fields_if_fitting};

/// A key and its value, as byte ranges of the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
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
pub fn pairs(line: &str) -> Vec<Pair> {
    if line.len() > LONGEST_LINE {
        return Vec::new();
    }
    let body = without_remark_sign(line);
    if body.is_empty() {
        return Vec::new();
    }
    cells::pairs(line, &body)
        .or_else(|| marked(line, body.clone(), ':'))
        .or_else(|| marked(line, body.clone(), '='))
        .or_else(|| dotted(line, body.clone()))
        .or_else(|| separated(line, body))
        .unwrap_or_default()
}

/// The line without the sign that marks a remark, and without blanks at its ends.
fn without_remark_sign(line: &str) -> Range<usize> {
    let whole = trim(line, 0..line.len());
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
fn marked(line: &str, body: Range<usize>, mark: char) -> Option<Vec<Pair>> {
    let text = &line[body.clone()];
    let marks: Vec<usize> = text
        .match_indices(mark)
        .map(|(at, _)| at)
        .filter(|&at| parts_here(text, at, mark))
        .take(MOST_PAIRS + 1)
        .collect();
    let (&first, more) = marks.split_first()?;
    let key = bare(line, body.start..body.start + first);
    if !is_key(&line[key.clone()]) {
        return None;
    }
    // A further pair begins behind two blanks, a tab, a comma, a semicolon or a bar; its key stands before its mark.
    let mut starts = vec![(key, body.start + first)];
    for &at in more {
        let at = body.start + at;
        let from = starts.last().map_or(body.start, |last| last.1 + 1);
        let between = &line[from..at];
        let gap = ["  ", "\t", "; ", ";", ", ", ",", "|", " – ", " - "]
            .into_iter()
            .filter_map(|gap| between.rfind(gap).map(|place| (place + gap.len(), gap)))
            .max();
        let Some((place, gap)) = gap else { continue };
        let key = bare(line, from + place..at);
        let words = &line[key.clone()];
        // Behind a comma or a dash prose may go on; there the key must be one that is known.
        let loose = matches!(gap, ", " | "," | " – " | " - ");
        let known = field_of(words).is_some() || !fields_if_fitting(words).is_empty();
        // Prose behind a comment goes on through commas.
        let prose = loose
            && starts
                .first()
                .is_some_and(|(key, _)| field_of(&line[key.clone()]) == Some("comment"));
        let something = !between[..place]
            .trim_matches([' ', '\t', ';', ',', '|', '-', '–'])
            .is_empty();
        if is_key(words) && (known || !loose) && something && !prose {
            starts.push((key, at));
        }
    }
    let mut pairs = Vec::with_capacity(starts.len());
    for (index, (key, at)) in starts.iter().enumerate() {
        let end = starts.get(index + 1).map_or(body.end, |next| next.0.start);
        let value = bare(line, at + 1..end);
        let value = cut_dash(line, value, index + 1 < starts.len());
        pairs.push(Pair {
            key: key.clone(),
            value,
            mark,
            says: None,
        });
    }
    Some(pairs)
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
fn dotted(line: &str, body: Range<usize>) -> Option<Vec<Pair>> {
    let text = &line[body.clone()];
    let start = text.find("...")?;
    let rest = text[start..].trim_start_matches(['.', ' ', ':']);
    let dots = text[start..].len() - rest.len();
    let key = bare(line, body.start..body.start + start);
    let fitting = dots >= 3 && is_key(&line[key.clone()]) && !rest.is_empty();
    fitting.then(|| {
        vec![Pair {
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
pub fn pair_in_blanks(line: &str) -> Option<Pair> {
    if line.len() > LONGEST_LINE {
        return None;
    }
    let body = without_remark_sign(line);
    let text = &line[body.clone()];
    let at = text.find("  ")?;
    let key = bare(line, body.start..body.start + at);
    let value = bare(line, body.start + at..body.end);
    let (word, rest) = (&line[key.clone()], &line[value.clone()]);
    let head = crate::head::read_head(rest);
    let is_head = head.quantity.is_some() && head.held.is_empty();
    // `cell` and `path` may be other things, and are no keys but of a number.
    let known = field_of(word).is_some()
        || !fields_if_fitting(word).is_empty() && rest.starts_with(|c: char| c.is_ascii_digit());
    (known && !rest.is_empty() && !rest.contains("  ") && !is_head).then_some(Pair {
        key,
        value,
        mark: ' ',
        says: None,
    })
}

/// `key TAB value`, `key;value`, `key,value`: two cells, or two with empty ones behind.
fn separated(line: &str, body: Range<usize>) -> Option<Vec<Pair>> {
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
        let known = field_of(words).is_some() || !fields_if_fitting(words).is_empty() || {
            split_unit(words).is_some_and(|(name, _)| field_of(name).is_some())
        };
        // A comma is so common that only a known key is one; two heads side by side are no pair.
        let heads = crate::head::read_head(rest);
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
            || (mark == ',' && !known)
            || (two_heads && !rest.starts_with(|c: char| c.is_ascii_digit()))
        {
            continue;
        }
        return Some(vec![Pair {
            key,
            value,
            mark,
            says: None,
        }]);
    }
    None
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

/// The keys that begin the head of a letter, in lower case: of who wrote it, and of what it is about.
pub(crate) const LETTER_KEYS: [&[&str]; 2] = [
    &[
        "from",
        "von",
        "de",
        "da",
        "från",
        "fra",
        "van",
        "od",
        "от",
        "发件人",
        "差出人",
        "보낸사람",
    ],
    &[
        "subject",
        "betreff",
        "objet",
        "asunto",
        "assunto",
        "oggetto",
        "ämne",
        "emne",
        "onderwerp",
        "temat",
        "předmět",
        "тема",
        "主题",
        "件名",
        "제목",
    ],
];

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
    pair: &Pair,
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
    if spelling.is_empty() || raw.is_empty() || (field_of(spelling).is_some() && says_nothing(raw)) {
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
    if let Some((other, value)) = &found.aside {
        let mut claim = found.claim(raw, Origin::Source(place.clone()));
        claim.value = value.clone();
        claim.unit = None;
        fields.claim(other.clone(), claim.spelled(spelling));
    }
    fields.claim(field, found.claim(raw, Origin::Source(place)).spelled(spelling));
}

/// The field that a key means, and what the value says under it.
fn understand(spelling: &str, raw: &str, customs: Customs) -> (Key, Interpretation) {
    // `Temp. (°C)`: the name and its unit. A key that is known as a whole (`Sample no`) is not cut.
    let whole = field_of(spelling);
    let parted = split_unit(spelling).filter(|_| whole.is_none());
    let stated: Option<Spelling> = parted.map(|(_, unit)| spelled(unit));
    let name = parted.map_or(spelling, |(name, _)| name);
    let read = |field: &str| interpret_as(&Key::new(field), raw, stated.as_ref(), customs);
    let meant = whole.or_else(|| field_of(name));
    let field =
        meant.filter(|field| spelling.split_whitespace().count() < 2 || is_of_kind(field, &read(field)));
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
        let number = matches!(found.value, Value::Number(_) | Value::Range { .. });
        let text_field =
            known_field(field).is_some_and(|known| known.kind == curvary_record::ValueKind::Text);
        if text_field || found.fits && (!number || found.unit_written) {
            return (Key::new(*field), found);
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

/// A field left open: `-`, `?`, `n/a`. Nothing is claimed by it.
fn says_nothing(raw: &str) -> bool {
    raw.chars()
        .all(|c| matches!(c, '-' | '–' | '—' | '?' | '.' | '_' | '/'))
        || matches!(
            raw.to_lowercase().as_str(),
            "n/a" | "na" | "n.a." | "k.a." | "k. a." | "null" | "nan"
        )
}

/// Whether a value is of its field's kind: `no. 7` under `pH meter` is no number, and the words mean something else.
fn is_of_kind(field: &str, found: &Interpretation) -> bool {
    !matches!(found.value, Value::Text(_))
        || found.question.is_some()
        || known_field(field).is_none_or(|known| !matches!(known.kind, curvary_record::ValueKind::Number(_)))
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

/// Claims what a line without keys says beyond doubt: `37 °C, pH 7.0, 405 nm`, `14.03.2021 10:32`; whether the line says
/// nothing else, and is more than a comment.
///
/// Among words that are not understood, `Guaiacol test, 436 nm, 25 °C, pH 7.0`, conditions are claimed where several
/// kinds of them stand together, each in a part of its own and none twice: a lone temperature may be that of a
/// treatment, and so may all where a length of time stands beside (`95 °C, 10 min`). A date is claimed where the line
/// begins with it, as the heading of a page does.
pub fn claim_free(fields: &mut Fields, source: &Source, range: Range<usize>) -> bool {
    let whole = text(source, range.clone());
    let body = without_remark_sign(whole);
    let line = &whole[body.clone()];
    if line.is_empty() || line.len() > 160 {
        return false;
    }
    let start = range.start + body.start;
    let customs = customs(source);
    if claim_moment(fields, source, line, start, customs) {
        return true;
    }
    let mut found: Vec<(&'static str, Claim)> = Vec::new();
    let (mut offset, mut words, mut treated) = (0, false, false);
    for (place, part) in parts(line).into_iter().enumerate() {
        let from = start + offset + (part.len() - part.trim_start().len());
        offset += part.len() + 1;
        let part = part.trim();
        if part.is_empty() {
            continue;
        }
        let at = from..from + part.len();
        let Some((key, interpretation)) = free_part(part, customs) else {
            words = true;
            treated |= is_duration(part, customs);
            if place == 0 {
                claim_heading_date(fields, source, part, from, customs);
            }
            continue;
        };
        if found.iter().any(|(other, _)| *other == key) {
            // Two temperatures in a row: which is the sample's is not ours to say.
            return false;
        }
        found.push((key, interpretation.claim(part, origin(source, &at))));
    }
    // A cell's length stands alone: nothing else in a laboratory is a cell of so many millimetres.
    if words
        && fields.get("path-length").is_none()
        && let Some((at, found)) = cell_length(line, customs)
    {
        let at = start + at.start..start + at.end;
        let raw = text(source, at.clone());
        fields.claim("path-length", found.claim(raw, origin(source, &at)));
    }
    let stated_before = |(key, _): &(&'static str, Claim)| fields.get(key).is_some();
    if words && (found.len() < 2 || treated || found.iter().any(stated_before)) {
        return false;
    }
    for (key, claim) in found {
        fields.claim(key, claim);
    }
    !words
}

/// Claims a date, and the time beside it, that a text is from end to end.
fn claim_moment(fields: &mut Fields, source: &Source, line: &str, start: usize, customs: Customs) -> bool {
    let moment = moment::read(line, customs.order);
    let at = start..start + line.len();
    let DateReading::Read(date) = &moment.date else {
        return false;
    };
    fields.claim(
        "date",
        free(Value::Text(date.iso.clone()), None, line, source, &at),
    );
    if let Some(time) = moment.time {
        fields.claim("time", free(Value::Text(time), None, line, source, &at));
    }
    true
}

/// The date that words begin with, `Mi 14.5.2008`, `2017.03.22. szerda`: whole, with a year of four digits, the first
/// of the source.
fn claim_heading_date(fields: &mut Fields, source: &Source, part: &str, start: usize, customs: Customs) {
    if fields.get("date").is_some() {
        return;
    }
    let numbered = |word: &str| word.len() >= 8 && word.bytes().filter(u8::is_ascii_digit).count() >= 6;
    // A weekday before it belongs to the date; `Printed 2023-02-14` says when the paper was made.
    let mut words = part.split_whitespace();
    let first = words.next().unwrap_or_default();
    let heading = match words.next() {
        _ if numbered(first) => first,
        Some(second) if numbered(second) => {
            let end = part.find(second).unwrap_or(0) + second.len();
            &part[..end]
        }
        _ => return,
    };
    let has_year = heading
        .split(|c: char| !c.is_ascii_digit())
        .any(|digits| digits.len() == 4);
    let from = start + part.find(heading).unwrap_or(0);
    if has_year {
        claim_moment(fields, source, heading, from, customs);
    }
}

/// `1 cm cell`, `cubeta de 5 cm`: a length beside a word for the cell, in a line of words.
fn cell_length(line: &str, customs: Customs) -> Option<(Range<usize>, Interpretation)> {
    let brackets = |c: char| c.is_whitespace() || matches!(c, ',' | ';' | '(' | ')' | '[' | ']' | '|');
    let mut words: Vec<(usize, &str)> = Vec::new();
    let mut at = 0;
    for word in line.split(brackets) {
        if !word.is_empty() {
            words.push((at, word.trim_end_matches(['.', ':'])));
        }
        at += word.len() + line[at + word.len()..].chars().next().map_or(0, char::len_utf8);
    }
    let is_cell = |word: &str| {
        field_of(word) == Some("path-length")
            || fields_if_fitting(word).contains(&"path-length") && word.len() > 2
    };
    let number = |word: &str| word.starts_with(|c: char| c.is_ascii_digit());
    // The length is one word (`1cm`) or two.
    let lengths = (0..words.len()).filter_map(|first| {
        let (from, word) = words[first];
        if !number(word) {
            return None;
        }
        let last = if word.ends_with('m') { first } else { first + 1 };
        let (start, unit) = *words.get(last)?;
        let to = start + unit.len();
        let found = interpret_as(&Key::new("path-length"), line.get(from..to)?, None, customs);
        let code = found.unit.as_ref().map(|unit| unit.code().to_owned())?;
        let sure = matches!(found.value, Value::Number(_))
            && found.fits
            && found.unit_written
            && found.question.is_none();
        (sure && matches!(code.as_str(), "cm" | "mm")).then_some((first, last, from..to, found))
    });
    let mut beside = lengths.filter(|(first, last, _, _)| {
        let behind = words.get(last + 1).is_some_and(|(_, word)| is_cell(word));
        let before = first.checked_sub(1).is_some_and(|at| is_cell(words[at].1));
        // `cubeta de 5 cm`, `cuve de 1 cm`.
        let linked = first.checked_sub(2).is_some_and(|at| {
            is_cell(words[at].1) && words[at + 1].1.chars().count() <= 3 && !number(words[at + 1].1)
        });
        behind || before || linked
    });
    let (_, _, at, found) = beside.next()?;
    beside.next().is_none().then_some((at, found))
}

/// `10 min`, `2 h`: a length of time.
fn is_duration(part: &str, customs: Customs) -> bool {
    let found = interpret_as(&Key::new("duration"), part, None, customs);
    matches!(found.value, Value::Number(_)) && found.fits && found.unit_written
}

fn free(
    value: Value,
    unit: Option<curvary_record::Unit>,
    raw: &str,
    source: &Source,
    at: &Range<usize>,
) -> Claim {
    Claim {
        value,
        unit,
        plus_minus: None,
        raw: raw.to_owned(),
        spelled: None,
        origin: origin(source, at),
    }
}

/// The parts of a line, cut at commas (decimal ones excepted), semicolons, bars and where two blanks stand together; each
/// cut is one byte.
fn parts(line: &str) -> Vec<&str> {
    let bytes = line.as_bytes();
    let digit = |at: Option<usize>| at.and_then(|at| bytes.get(at)).is_some_and(u8::is_ascii_digit);
    let mut parts = Vec::new();
    let mut from = 0;
    for (at, byte) in bytes.iter().enumerate() {
        let decimal = digit(at.checked_sub(1)) && digit(Some(at + 1));
        let wide = *byte == b'\t' || *byte == b' ' && bytes.get(at + 1) == Some(&b' ');
        if matches!(byte, b';' | b'|') || wide || *byte == b',' && !decimal {
            parts.push(&line[from..at]);
            from = at + 1;
        }
    }
    parts.push(&line[from..]);
    parts
}

/// One part that names its field by its unit or by the word pH.
fn free_part(part: &str, customs: Customs) -> Option<(&'static str, Interpretation)> {
    if let Some(value) = part.strip_prefix("pH") {
        // `pH 7.0 (phosphate)`: the bracket names the buffer.
        let value = value.split(" (").next().unwrap_or(value);
        let value = value.trim_start_matches([' ', '=', ':']);
        let found = interpret_as(&Key::new("ph"), value, None, customs);
        return (found.fits && matches!(found.value, Value::Number(_))).then_some(("ph", found));
    }
    // A scan speed's unit is nobody else's; a temperature and a wavelength need their range too.
    ["temperature", "wavelength", "scan-speed"]
        .into_iter()
        .find_map(|field| {
            let found = interpret_as(&Key::new(field), part, None, customs);
            let Value::Number(number) = found.value else {
                return None;
            };
            let code = found
                .unit
                .as_ref()
                .map(|unit| unit.code().to_owned())
                .unwrap_or_default();
            let sure = match field {
                "temperature" => code == "Cel" && !part.ends_with('C') | part.contains(['°', 'º']),
                "wavelength" => code == "nm" && (185.0..=1100.0).contains(&number),
                _ => code == "nm/min",
            };
            (found.fits && found.unit_written && found.question.is_none() && sure).then_some((field, found))
        })
}

#[cfg(test)]
mod tests;
