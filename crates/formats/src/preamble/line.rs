//! Keys and values within a line: where each begins and ends.

use super::*;

pub(super) fn parted(line: &str) -> Vec<KeyValueSpan> {
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
    if line[body.clone()].starts_with(['[', '<', '【', '「', '『', '〔', '［', '《', '〈'])
        && let Some(pairs) = keys::bracketed(line, &body)
    {
        return pairs;
    }
    if let Some(pairs) = signed(line, &body)
        .or_else(|| dashed(line, &body))
        .or_else(|| keys::in_brackets(line, &body))
    {
        return pairs;
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
pub(super) fn without_remark_sign(line: &str) -> Range<usize> {
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

pub(super) fn trim(line: &str, range: Range<usize>) -> Range<usize> {
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
pub(super) fn bare(line: &str, range: Range<usize>) -> Range<usize> {
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
        // `__420 nm__`: filled in on the line of a form.
        if let Some(inner) = text.strip_prefix("__").and_then(|text| text.strip_suffix("__")) {
            let inner = inner.trim_matches('_');
            next = trim(line, crate::slice::range_in(line, inner));
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
pub(super) fn is_key(text: &str) -> bool {
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

/// Where the key begins that ends a text: the longest run of its last words that is a known one, else its last word.
fn start_of_key(text: &str) -> Option<usize> {
    const MOST_WORDS: usize = 3;
    let starts: Vec<usize> = text
        .rmatch_indices(' ')
        .map(|(at, _)| at + 1)
        .take(MOST_WORDS)
        .collect();
    let known = |at: &&usize| {
        let words = text[**at..].trim();
        field_of(words).is_some() || !fields_if_fitting(words).is_empty()
    };
    starts.iter().rev().find(known).or(starts.first()).copied()
}

/// `key: value` or `key = value`, perhaps several on the line.
pub(super) fn marked(line: &str, body: Range<usize>, mark: char) -> Option<Vec<KeyValueSpan>> {
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
    // `data=2020-08-18 analista=M. Sobral`: between signs without blanks around them, one blank parts the pairs.
    let glued = mark == '='
        && marks.iter().all(|&at| {
            let (before, behind) = (&text[..at], &text[at + 1..]);
            before.ends_with(char::is_alphanumeric) && behind.starts_with(char::is_alphanumeric)
        });
    // A further pair begins behind two blanks, a tab, a comma, a semicolon or a bar; its key stands before its mark.
    let mut starts = vec![(key, body.start + first)];
    for &at in more {
        let at = body.start + at;
        let from = starts.last().map_or(body.start, |last| last.1 + 1);
        // `Cell : 5 mm      Solvent  : water`: the marks stand below each other.
        let between = line[from..at].trim_end();
        let gap = ["  ", "\t", "; ", ";", ", ", ",", "|", " – ", " - ", ". ", " / "]
            .into_iter()
            .filter_map(|gap| between.rfind(gap).map(|place| (place + gap.len(), gap)))
            .chain(
                glued
                    .then(|| start_of_key(between))
                    .flatten()
                    .map(|place| (place, " ")),
            )
            .max();
        let Some((place, gap)) = gap else { continue };
        let key = bare(line, from + place..at);
        let words = &line[key.clone()];
        // Behind a comma or a dash prose may go on; there the key must be one that is known.
        let loose = matches!(gap, ", " | "," | " – " | " - " | ". " | " / ");
        let known = field_of(words).is_some() || !fields_if_fitting(words).is_empty();
        // Prose behind a comment goes on through commas.
        let prose = loose
            && starts
                .first()
                .is_some_and(|(key, _)| field_of(&line[key.clone()]) == Some("comment"));
        let something = !between[..place]
            .trim_matches([' ', '\t', ';', ',', '|', '-', '–', '.', '/'])
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
        // `data: 25/11/2009   T = 30 °C`: the other sign behind a known key, a gap behind the value in front of it.
        let (value, other) = match mark {
            ':' => equated_off(line, value),
            _ => (value, None),
        };
        pairs.push(KeyValueSpan {
            key: key.clone(),
            value,
            mark,
            says: None,
        });
        pairs.extend(other);
    }
    Some(pairs)
}

/// A value, and the pair with an equals sign that stands behind it and a gap.
fn equated_off(line: &str, value: Range<usize>) -> (Range<usize>, Option<KeyValueSpan>) {
    let text = &line[value.clone()];
    let parted = text.split_once('=').and_then(|(front, said)| {
        let gap = ["  ", "\t", "; ", ", "]
            .into_iter()
            .filter_map(|gap| front.rfind(gap).map(|at| (at, at + gap.len())))
            .max_by_key(|(_, end)| *end)?;
        let key = front[gap.1..].trim();
        (is_known(key) && !said.contains(['=', ':']) && !said.trim().is_empty()).then_some((gap.0, key, said))
    });
    let Some((end, key, said)) = parted else {
        return (value, None);
    };
    let other = KeyValueSpan {
        key: crate::slice::range_in(line, key),
        value: bare(line, crate::slice::range_in(line, said)),
        mark: '=',
        says: None,
    };
    (bare(line, value.start..value.start + end), Some(other))
}

/// `Numune – ıspanak`: a key that is known whatever its value, and a dash.
fn dashed(line: &str, body: &Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    let (key, value) = text
        .split_once(" – ")
        .or_else(|| text.split_once(" — "))
        .or_else(|| text.split_once(" - "))?;
    let plain = !key.contains([':', '=', ';', '\t', '|'])
        && ![" – ", " — ", " - "].iter().any(|dash| value.contains(dash));
    (plain && field_of(key.trim()).is_some() && !value.trim().is_empty()).then(|| {
        vec![KeyValueSpan {
            key: crate::slice::range_in(line, key.trim()),
            value: bare(line, crate::slice::range_in(line, value)),
            mark: DASH,
            says: None,
        }]
    })
}

/// `@temp 20 C`: the sign says that a key follows, and one blank ends it.
fn signed(line: &str, body: &Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let rest = line[body.clone()].strip_prefix('@')?;
    let (key, value) = rest.split_once([' ', '\t'])?;
    let key = key.trim_end_matches([':', '=']);
    let value = bare(line, crate::slice::range_in(line, value));
    (is_known(key) && !value.is_empty()).then(|| {
        vec![KeyValueSpan {
            key: crate::slice::range_in(line, key),
            value,
            mark: '@',
            says: None,
        }]
    })
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
        // `by M. Deighton`
        let mut back = front.chars().rev();
        let initial =
            back.next().is_some_and(char::is_uppercase) && back.next().is_none_or(|c| !c.is_alphanumeric());
        behind.starts_with(char::is_uppercase)
            && front.contains(|c: char| c.is_ascii_digit())
            && !day
            && !initial
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
    let (at, sign) = line[body.clone()]
        .char_indices()
        .find(|(_, c)| matches!(c, '>' | '→' | '⇒'))?;
    let at = body.start + at;
    // `Cell -> 1 cm`, `Cell => 1 cm`
    let shaft = line[body.start..at].trim_end_matches(['-', '=', '–', '—']).len();
    let key = bare(line, body.start..body.start + shaft);
    let value = bare(line, at + sign.len_utf8()..body.end);
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
    ["  ", "\t", "; ", "| ", ", ", "] ", "(", " / "]
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
    let text = text.strip_suffix(" /").unwrap_or(text).trim_end();
    value.start..value.start + text.len()
}

/// `key .... value`.
fn dotted(line: &str, body: Range<usize>) -> Option<Vec<KeyValueSpan>> {
    let text = &line[body.clone()];
    let start = text.find("...")?;
    let rest = text[start..].trim_start_matches(['.', ' ', ':']);
    let dots = text[start..].len() - rest.len();
    let key = bare(line, body.start..body.start + start);
    // `Wavelength/nm ....... absorbance` are two headers.
    let header = crate::column_header::read_column_header(rest.trim());
    let named = header
        .quantity
        .as_ref()
        .is_some_and(curvary_record::Quantity::is_of_light)
        && header.held.is_empty();
    let fitting = dots >= 3 && is_key(&line[key.clone()]) && !rest.is_empty() && !named;
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
            && !free::names_a_measurement(words)
            && curvary_record::moment::read(rest, None).date.is_day();
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
            !phrases.all(|phrase| phrases::is_condition(phrase) || is_at(phrase))
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
pub(super) fn is_field_with_unit(key: &str) -> bool {
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
pub(super) fn has_unit_of(field: &str, stated: &Spelling) -> bool {
    match known_field(field).map(|known| known.kind) {
        Some(ValueKind::Number(custom) | ValueKind::Range(custom)) => {
            Unit::ucum(custom).is_ok_and(|custom| stated.units().iter().any(|unit| is_alike(unit, &custom)))
        }
        _ => false,
    }
}
