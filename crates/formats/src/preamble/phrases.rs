//! The phrases and statements of a line, and which of them state a condition.

use super::*;
use crate::words::WordList;

/// A phrase of more words says more than a condition.
const MOST_WORDS_OF_A_PHRASE: usize = 6;

/// The phrases of a line: between commas, semicolons, brackets, bars, tabs, several blanks, dashes among blanks, and at the ends
/// of sentences.
pub(crate) fn phrases(line: &str) -> Vec<Range<usize>> {
    let mut phrases = Vec::new();
    for statement in statements(line) {
        let from = statement.start;
        let mut start = from;
        let text = &line[statement.clone()];
        for (at, sign) in text.char_indices() {
            let behind = &text[at + sign.len_utf8()..];
            let apart = behind.is_empty() || behind.starts_with(' ');
            let so_far = &line[start..from + at];
            let cuts = match sign {
                '(' | ')' | '[' | ']' => true,
                ':' => apart,
                // `cell. (b) n.d.`, and not the `st. C` of a Polish degree.
                '.' => apart && !so_far.ends_with("st"),
                // `275 nm / 2 mm / 37 °C`, and not `wavelength / nm`.
                '/' => apart && so_far.ends_with(' ') && so_far.contains(|c: char| c.is_ascii_digit()),
                _ => false,
            };
            if cuts {
                phrases.push(start..from + at);
                start = from + at + sign.len_utf8();
            }
        }
        phrases.extend(peeled(line, start..statement.end));
    }
    phrases.retain(|phrase| !line[phrase.clone()].trim().is_empty());
    phrases
}

/// A phrase that ends in several conditions, `glucosidase 400 nm 30 °C pH 5.0`, taken apart before each of them.
fn peeled(line: &str, phrase: Range<usize>) -> Vec<Range<usize>> {
    /// So many words state one condition: `pH 5.0`, `25 °C`.
    const LONGEST: usize = 2;
    let text = &line[phrase.clone()];
    if text.len() < 8 || !text.contains(|c: char| c.is_ascii_digit()) {
        return vec![phrase];
    }
    let ends: Vec<usize> = word_ends(text).collect();
    let mut cuts = vec![ends.len()];
    while let Some(&last) = cuts.last().filter(|&&last| last > 0) {
        let begins = |first: usize| first.checked_sub(1).map_or(0, |before| ends[before]);
        let is_one = |first: &usize| {
            let part = text[begins(*first)..ends[last - 1]].trim();
            let number = part
                .split_whitespace()
                .filter(|word| word.starts_with(|c: char| c.is_ascii_digit()))
                .count()
                == 1;
            number && (is_wavelength(part) || condition(part, Customs::default()).is_some())
        };
        match (last.saturating_sub(LONGEST)..last).find(is_one) {
            Some(first) => cuts.push(first),
            None => break,
        }
    }
    if cuts.len() < 3 {
        return vec![phrase];
    }
    cuts.reverse();
    let at = |words: usize| phrase.start + words.checked_sub(1).map_or(0, |before| ends[before]);
    let front = std::iter::once(phrase.start..at(cuts[0]));
    front
        .chain(cuts.windows(2).map(|pair| at(pair[0])..at(pair[1])))
        .collect()
}

/// `400 nm`, and nothing else.
pub(super) fn is_wavelength(text: &str) -> bool {
    text.strip_suffix("nm")
        .and_then(|number| number.trim_end().replace(',', ".").parse::<f64>().ok())
        .is_some_and(|number| crate::light::IN_PASSING.contains(&number))
}

/// The statements of a line: between commas (decimal ones excepted), semicolons, bars, tabs, several blanks, and dashes among
/// blanks that are no range.
pub(crate) fn statements(line: &str) -> Vec<Range<usize>> {
    let mut statements = Vec::new();
    let mut start = 0;
    let digit_before = |text: &str| text.trim_end().ends_with(|c: char| c.is_ascii_digit());
    let digit_behind = |text: &str| text.trim_start().starts_with(|c: char| c.is_ascii_digit());
    for (at, sign) in line.char_indices() {
        let (before, behind) = (&line[start.min(at)..at], &line[at + sign.len_utf8()..]);
        let cuts = match sign {
            ';' | '|' | '\t' | '；' | '，' | '、' | '\u{3000}' => true,
            '·' | '•' => !multiplies(before, behind),
            ',' => {
                !(before.ends_with(|c: char| c.is_ascii_digit())
                    && behind.starts_with(|c: char| c.is_ascii_digit()))
            }
            ' ' => behind.starts_with(' '),
            // `adenosine cream / 4-Feb-2003 / 515 nm`, and neither `wavelength / nm` nor `2 / 5`.
            '/' => {
                before.ends_with(' ')
                    && behind.starts_with(' ')
                    && (digit_behind(behind) || before.contains(|c: char| c.is_ascii_digit()))
                    && !(digit_before(before) && digit_behind(behind))
            }
            '-' | '–' | '—' => {
                before.ends_with(' ')
                    && behind.starts_with(' ')
                    && !(digit_before(before) && digit_behind(behind) && !parts_conditions(before, behind))
            }
            _ => false,
        };
        if cuts {
            statements.push(start..at);
            start = at + sign.len_utf8();
        }
    }
    statements.push(start..line.len());
    statements
}

/// Whether a dash between two numbers parts two conditions, `pH 7.0 - 25 °C`, and makes no range of them, `pH 7 - 8`: each is one
/// by itself, and they are of two kinds.
fn parts_conditions(before: &str, behind: &str) -> bool {
    let kind = |phrase: &str| {
        let phrase = phrase.trim_matches([' ', ',', ';', '-', '–', '—']);
        condition(phrase, Customs::default())
            .map(|(field, _)| field)
            .or_else(|| is_wavelength(phrase).then_some("wavelength"))
    };
    let Some(first) = kind(before) else { return false };
    let ends: Vec<usize> = word_ends(behind.trim_start()).take(2).collect();
    let second = ends
        .iter()
        .rev()
        .find_map(|end| kind(&behind.trim_start()[..*end]));
    second.is_some_and(|second| second != first)
}

/// Whether a point between two texts multiplies, and parts nothing: `5·10-3`, `5 · 10^-3`, `L·mol⁻¹·cm⁻¹`.
fn multiplies(before: &str, behind: &str) -> bool {
    let numbered = before.trim_end().ends_with(|c: char| c.is_ascii_digit());
    let power = behind.trim_start().strip_prefix("10");
    let of_ten = power.is_some_and(|rest| {
        rest.starts_with(['^', '-', '−', '–', '+', 'E', 'e', '*']) || rest.starts_with(is_superscript)
    });
    let glued = |test: fn(char) -> bool| before.ends_with(test) && behind.starts_with(test);
    let units = before.ends_with(|c: char| c.is_alphabetic() || is_superscript(c))
        && behind.starts_with(char::is_alphabetic);
    numbered && of_ten || glued(|c| c.is_ascii_digit()) || units
}

fn is_superscript(sign: char) -> bool {
    matches!(sign, '⁻' | '⁺' | '⁰' | '¹' | '²' | '³' | '⁴'..='⁹')
}

/// The condition that a phrase is, where it says nothing else: a temperature, a pH or a path length. A wavelength is held by
/// what was measured at it.
pub(super) fn condition(phrase: &str, customs: Customs) -> Option<(&'static str, Interpretation)> {
    let tokens: Vec<&str> = phrase.split_whitespace().collect();
    if tokens.is_empty() || tokens.len() > MOST_WORDS_OF_A_PHRASE {
        return None;
    }
    let begins = |token: &&str| token.starts_with(|c: char| c.is_ascii_digit());
    let number = tokens
        .iter()
        .position(|token| begins(&token.trim_start_matches("pH")))?;
    if tokens.iter().filter(|token| begins(token)).count() > 1 {
        return None;
    }
    let (before, rest) = tokens.split_at(number);
    if let Some(value) = rest[0].strip_prefix("pH").or_else(|| {
        // `BUFFER PH 8.0`, where all letters are capitals.
        let capital = |word: &str| word == "PH" && !phrase.contains(char::is_lowercase);
        let marked = before
            .last()
            .is_some_and(|word| matches!(*word, "pH" | "pH=") || capital(word));
        marked.then_some(rest[0])
    }) {
        let found = interpret_as(&Key::new("ph"), value, None, customs);
        let known = found.fits && matches!(found.value, Value::Number(_));
        // `buffer pH 8.1`, `denaturation of myoglobin at pH 4.0`: the phrase ends in it.
        return (known && rest.len() == 1 && may_have_the_ph(before)).then_some(("ph", found));
    }
    // The longest text behind the number that is a unit.
    let glued = rest[0].find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')));
    let (unit, behind) = (1..=rest.len().min(3)).rev().find_map(|count| {
        let whole = rest[..count].join(" ");
        let at = glued.unwrap_or(rest[0].len());
        let unit = whole[at..].trim().to_owned();
        (!unit.is_empty() && spelled(&unit) != Spelling::None).then(|| (unit, &rest[count..]))
    })?;
    let digits = &rest[0][..glued.unwrap_or(rest[0].len())];
    let units = spelled(&unit);
    let has = |wanted: &Unit| units.units().contains(wanted);
    let says = |code: &str| format!("{digits} {code}");
    let link = |word: &&str| words::is(WordList::Link, word) || words::is(WordList::At, word);
    let of = |field: &'static str| {
        move |word: &&str| field_of(word) == Some(field) || fields_if_fitting(word).contains(&field)
    };
    if has(&Unit::CELSIUS) {
        let found = interpret_as(&Key::new("temperature"), &says("°C"), None, customs);
        let Value::Number(value) = found.value else {
            return None;
        };
        let around = || before.iter().chain(behind);
        // `room temp 21 °C`, `T = 25 °C`
        let kept = |word: &&str| words::ends(WordList::Incubator, &word.to_lowercase());
        let named = around().any(of("temperature"));
        let of_place = |word: &&str| named && words::is(WordList::PlaceOfTemperature, word);
        let symbol = |word: &&str| *word == "T" && before.contains(&"=");
        // `Absorbance at 22 °C`
        let measured = |word: &&str| {
            let lower = word.to_lowercase();
            words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
                || [WordList::BegunThing, WordList::Kinetics, WordList::Growth]
                    .into_iter()
                    .any(|list| words::begins(list, &lower))
        };
        let only = around().all(|word| {
            link(word)
                || of("temperature")(word)
                || of_place(word)
                || symbol(word)
                || measured(word)
                || kept(word)
        });
        return (only && found.fits && (-80.0..=150.0).contains(&value)).then_some(("temperature", found));
    }
    let length = ["mm", "cm"]
        .into_iter()
        .find(|code| Unit::ucum(code).is_ok_and(|unit| has(&unit)))?;
    let found = interpret_as(&Key::new("path-length"), &says(length), None, customs);
    let Value::Number(value) = found.value else {
        return None;
    };
    let centimetres = if length == "cm" { value } else { value / 10.0 };
    let around: Vec<&str> = before.iter().chain(behind).copied().collect();
    // `2 mm flow cell`: one more word, and a word for the cell; alone, the lengths that cells have.
    let named = around.iter().any(|word| of("path-length")(word));
    let others = around
        .iter()
        .filter(|word| !link(word) && !of("path-length")(word))
        .count();
    let alone = around.is_empty() && [0.1, 0.2, 0.5, 1.0, 2.0, 4.0, 5.0, 10.0].contains(&centimetres);
    let fits = found.fits && (0.001..=100.0).contains(&centimetres);
    (fits && (alone || named && others <= 1)).then_some(("path-length", found))
}

/// Whether the words in front of a pH may be of what was measured, or of what it is in. What was eluted, washed or adjusted with
/// something has not the pH of that, and of many words it is not known what they say.
fn may_have_the_ph(before: &[&str]) -> bool {
    /// `sodium acetate buffer pH 5.0`
    const MOST: usize = 3;
    const SHORTEST: usize = 5;
    let small = |word: &&str| {
        matches!(*word, "pH" | "PH" | "pH=" | "=")
            || [WordList::Link, WordList::At, WordList::InChain, WordList::Inside]
                .into_iter()
                .any(|list| words::is(list, word))
    };
    let of_measuring = |word: &str, lower: &str| {
        words::is(WordList::Measured, word)
            || [
                WordList::BegunThing,
                WordList::MeasuredThing,
                WordList::Kinetics,
                WordList::Spectrum,
            ]
            .into_iter()
            .any(|list| words::begins(list, lower))
            || words::quantity_of(word).is_some()
            || is_known(word)
    };
    // `eluted with glycine`, `nach Elution mit Glycin`
    let by_another = before.iter().any(|word| {
        let lower = word.to_lowercase();
        let done = words::ends(WordList::Done, &lower) || lower.starts_with("ge") && lower.ends_with('t');
        words::begins(WordList::AnotherLiquid, &lower)
            || words::is(WordList::BehindChain, word)
            || done
                && word.starts_with(char::is_lowercase)
                && word.chars().count() >= SHORTEST
                && !of_measuring(word, &lower)
    });
    let linked = before
        .iter()
        .rev()
        .find(|word| !matches!(**word, "pH" | "pH=" | "="))
        .is_some_and(small_link);
    !by_another && (linked || before.iter().filter(|word| !small(word)).count() <= MOST)
}

/// `at`, `bei`: a word in front of a condition.
fn small_link(word: &&str) -> bool {
    words::is(WordList::At, word)
}

/// Whether a phrase is a temperature, a pH or a path length, and says nothing else.
pub(crate) fn is_condition(phrase: &str) -> bool {
    condition(phrase.trim(), Customs::default()).is_some()
}

/// A value without the words of the paper behind it: `beet   page 1 of 3`.
pub(crate) fn furniture_off(line: &str, value: Range<usize>) -> Range<usize> {
    let text = &line[value.clone()];
    match text.rfind("  ") {
        Some(at) if words::is_furniture(text[at..].trim()) => {
            value.start..value.start + text[..at].trim_end().len()
        }
        _ => value,
    }
}

/// Where the words of a text end.
pub(super) fn word_ends(text: &str) -> impl Iterator<Item = usize> + '_ {
    let mut before = true;
    text.char_indices()
        .chain([(text.len(), ' ')])
        .filter_map(move |(at, c)| {
            let ended = c.is_whitespace() && !before;
            before = c.is_whitespace();
            ended.then_some(at)
        })
}
