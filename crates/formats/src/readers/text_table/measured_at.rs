//! Whether a wavelength that a line of words names may be the one at which was measured.
//!
//! A line names wavelengths of other things as well: `Baseline corrected at 750 nm`, `beads, diameter 300 nm`, `absorbs from 300 to
//! 525 nm`, `not at 525 nm`. What is refused here is heard nowhere, by whatever form of words it was found.

use crate::light::IN_PASSING;
use crate::preamble;
use crate::words::{self, WordList};

/// So many words behind one that denies are denied.
const REACH_OF_A_NEGATION: usize = 4;

/// Whether the words around every mention of a wavelength, in a line in lower case, say that it is of something else than the
/// measurement. A wavelength that the line does not spell so is left to whoever found it.
pub(super) fn is_of_something_else(lower: &str, value: f64) -> bool {
    let (mut mentions, mut refused) = (0, 0);
    let statements: Vec<&str> = preamble::statements(lower)
        .into_iter()
        .map(|statement| &lower[statement])
        .collect();
    for (place, statement) in statements.iter().enumerate() {
        let words = words_of(statement);
        for at in (0..words.len()).filter(|&at| wavelength(&words, at) == Some(value)) {
            mentions += 1;
            let alone = words[..at].iter().all(|word| words::is(WordList::At, word));
            // `Isosbestic point, 525 nm`
            let before = place
                .checked_sub(1)
                .filter(|_| alone)
                .is_some_and(|before| begins_any(&words_of(statements[before]), WordList::AnotherWavelength));
            refused += usize::from(before || is_refused(&words, at));
        }
    }
    mentions > 0 && mentions == refused
}

/// Whether a line in lower case is the key of the wavelength with a list of several: none of them is the one.
pub(super) fn is_list_under_key(lower: &str) -> bool {
    let Some((key, list)) = lower.split_once([':', '=']) else {
        return false;
    };
    let light = |word: &&&str| number(word).is_some_and(|value| IN_PASSING.contains(&value));
    words::field_of(key.trim()) == Some("wavelength") && words_of(list).iter().filter(light).count() >= 2
}

fn words_of(statement: &str) -> Vec<&str> {
    statement
        .split(|c: char| c.is_whitespace() || matches!(c, '(' | ')' | '[' | ']' | ':' | '=' | '"'))
        .map(|word| word.trim_matches(['.', ',', ';', '\'', '!', '?']))
        .filter(|word| !word.is_empty())
        .collect()
}

fn number(word: &str) -> Option<f64> {
    let bare = word.strip_suffix("nm").or_else(|| word.strip_suffix("нм"));
    bare.unwrap_or(word).replace(',', ".").parse().ok()
}

fn is_unit(word: &str) -> bool {
    matches!(word, "nm" | "нм")
}

/// The wavelength in nanometres at a word: `412nm`, `412 nm`.
fn wavelength(words: &[&str], at: usize) -> Option<f64> {
    let word = words[at];
    let glued = word.ends_with("nm") || word.ends_with("нм");
    let apart = words.get(at + 1).is_some_and(|next| is_unit(next));
    number(word).filter(|_| glued || apart)
}

fn begins_any(words: &[&str], list: WordList) -> bool {
    words
        .iter()
        .flat_map(|word| word.split('-'))
        .any(|word| words::begins(list, word))
}

/// Whether a word names light that was measured.
fn is_of_light(lower: &str) -> bool {
    words::quantity_of(lower).is_some_and(|quantity| quantity.is_of_light())
}

fn is_of_measuring(lower: &str) -> bool {
    is_of_light(lower)
        || words::is(WordList::Measured, lower)
        || [WordList::ReadAt, WordList::Spectrum, WordList::Kinetics]
            .into_iter()
            .any(|list| words::begins(list, lower))
}

fn is_refused(words: &[&str], at: usize) -> bool {
    let unit = usize::from(!words[at].ends_with(['m', 'м']));
    let end = (at + 1 + unit).min(words.len());
    // What belongs to the wavelength before it belongs to that.
    let begin = (0..at)
        .rev()
        .find(|&before| is_unit(words[before]) || wavelength(words, before).is_some())
        .map_or(0, |before| before + 1);
    is_end_of_range(words, at)
        || is_begin_of_range(words, end)
        || is_denied(&words[begin..at])
        || is_another_in_front(&words[begin..at])
        || is_taken_off(&words[end..])
}

/// `from 300 to 525 nm`, `above 525 nm`
fn is_end_of_range(words: &[&str], at: usize) -> bool {
    let Some(link) = at.checked_sub(1).map(|before| words[before]) else {
        return false;
    };
    if words::is(WordList::OneSided, link) || matches!(link, "<" | ">" | "≤" | "≥") {
        return true;
    }
    let Some(mut first) = at.checked_sub(2) else {
        return false;
    };
    // `up to 525 nm`, `bis zu 525 nm`
    let small = words::is(WordList::RangeTo, link) || words::is(WordList::Link, link) || link == "zu";
    if small && words::is(WordList::OneSided, words[first]) {
        return true;
    }
    if is_unit(words[first]) && first > 0 {
        first -= 1;
    }
    let light = number(words[first]).is_some_and(|value| IN_PASSING.contains(&value));
    light && parts_a_range(words, first, link)
}

/// `from 300 nm to 525 nm`
fn is_begin_of_range(words: &[&str], end: usize) -> bool {
    let (Some(link), Some(_)) = (words.get(end), words.get(end + 1).and_then(|word| number(word))) else {
        return false;
    };
    let light = number(words[end + 1]).is_some_and(|value| IN_PASSING.contains(&value));
    let first = end.saturating_sub(if is_unit(words[end - 1]) { 2 } else { 1 });
    light && parts_a_range(words, first, link)
}

/// Whether a word between two numbers makes a range, or a list, of them. What means `at` in one language and `to` in another does
/// so behind a word that begins a range: `da 300 a 525 nm`.
fn parts_a_range(words: &[&str], first: usize, link: &str) -> bool {
    let begun = first
        .checked_sub(1)
        .is_some_and(|before| words::is(WordList::RangeFrom, words[before]));
    if words::is(WordList::At, link) {
        return begun;
    }
    words::is(WordList::RangeTo, link)
        || words::is(WordList::And, link)
        || words::is(WordList::Or, link)
        || matches!(link, "-" | "–" | "—" | "~" | "..." | "…" | "&" | "+" | "/")
}

/// `not at 525 nm`; a number behind the word, `sample no 5`, is what it numbers.
fn is_denied(front: &[&str]) -> bool {
    front
        .iter()
        .rev()
        .take(REACH_OF_A_NEGATION)
        .take_while(|word| !word.starts_with(|c: char| c.is_ascii_digit()))
        .any(|word| words::is(WordList::Negation, word))
}

/// Whether the words in front of a wavelength, the nearest first, say of what else it is, before one says that light was measured.
fn is_another_in_front(front: &[&str]) -> bool {
    let at = front.last().is_some_and(|word| words::is(WordList::At, word));
    let mut measured = false;
    for word in front.iter().rev() {
        if is_of_light(word) {
            return false;
        }
        let has = |list: WordList| word.split('-').any(|part| words::begins(list, part));
        let of_size =
            || has(WordList::OfSize) || has(WordList::Dimension) || words::ends(WordList::Dimension, word);
        if has(WordList::AnotherWavelength)
            || has(WordList::LightShone) && !measured
            || has(WordList::SetAgainst) && !measured
            || !at && !measured && of_size()
        {
            return true;
        }
        measured |= is_of_measuring(word);
    }
    false
}

/// `turbidity at 600 nm subtracted`
fn is_taken_off(behind: &[&str]) -> bool {
    let mut plain = behind
        .iter()
        .skip_while(|word| words::is(WordList::Auxiliary, word));
    let Some(first) = plain.next() else { return false };
    let second = plain.next();
    let denied = words::is(WordList::Negation, first)
        && second
            .is_none_or(|next| words::is(WordList::Measured, next) || words::is(WordList::Auxiliary, next));
    words::begins(WordList::TakenOff, first) || denied
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(line: &str, value: f64) -> bool {
        is_of_something_else(&line.to_lowercase(), value)
    }

    #[test]
    fn other_wavelengths_are_refused() {
        for (line, value) in [
            ("Baseline corrected at 750 nm", 750.0),
            ("Nullabgleich bei 700 nm", 700.0),
            ("Zeroed at 750 nm", 750.0),
            ("Silica colloid, diameter 300 nm", 300.0),
            ("Teilchendurchmesser 250 nm", 250.0),
            ("Absorbs from 300 to 525 nm", 525.0),
            ("assorbe da 300 a 525 nm", 525.0),
            ("absorbe de 300 nm à 525 nm", 300.0),
            ("not at 525 nm", 525.0),
            ("keine Absorption bei 525 nm", 525.0),
            ("Turbidity at 600 nm subtracted", 600.0),
            ("Isosbestic point at 471 nm", 471.0),
            ("Isosbestic point, 471 nm", 471.0),
            ("Grating blazed at 250 nm", 250.0),
            ("Emission at 525 nm", 525.0),
            ("absorbs above 525 nm", 525.0),
            ("absorbs up to 525 nm", 525.0),
            ("Reference wavelength 650 nm", 650.0),
        ] {
            assert!(refused(line, value), "{line}");
        }
    }

    #[test]
    fn a_list_under_the_key_names_none() {
        assert!(is_list_under_key("wavelength: 412, 340 nm"));
        assert!(is_list_under_key("wavelength = 412 nm, 340 nm"));
        assert!(!is_list_under_key("wavelength: 412 nm, slit 2 nm"));
    }

    #[test]
    fn what_was_measured_at_is_left() {
        for (line, value) in [
            ("Phosphate, molybdenum blue 880 nm", 880.0),
            ("Baseline corrected absorbance at 412 nm", 412.0),
            ("Sample no 5 at 412 nm", 412.0),
            ("Sample 305 at 412 nm", 412.0),
            ("read at 412 nm, zeroed at 750 nm", 412.0),
            ("Gold sol read at 520 nm", 520.0),
            ("absorbance at 412 nm corrected for the blank", 412.0),
            ("blank-corrected, 412 nm", 412.0),
        ] {
            assert!(!refused(line, value), "{line}");
        }
    }
}
