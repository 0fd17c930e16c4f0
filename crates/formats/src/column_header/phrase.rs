//! A phrase of several words in a head: `Absorbance at 405 nm`, `405 nm betanin`, `betanin pH 7`.

use std::ops::Range;

use super::piece::{at_wavelength, coordinate, named, rate};
use super::*;
use crate::words::{self, WordList};

/// Whether a piece beside other words is a length below all wavelengths that such words mean: the size of particles, a thickness.
fn is_too_short_for_light(piece: &HeaderPiece) -> bool {
    let HeaderPiece::Held(held) = piece else {
        return false;
    };
    held.quantity == Quantity::WAVELENGTH
        && held
            .unit
            .convert(held.value, &Unit::NANOMETRE)
            .is_ok_and(|value| value < *crate::light::IN_PASSING.start())
}

/// Words between a quantity and its wavelength or unit.
pub(super) fn is_link(word: &str) -> bool {
    word == "@" || fold(word).is_empty() || words::is(WordList::Link, word)
}

/// Whether a text may name a file or a sample, and says nothing of how a reading was worked out: neither a word of statistics or of what is
/// computed, nor a quantity or a unit.
pub(super) fn is_plain_name(name: &str) -> bool {
    let computed = |word: &str| {
        let lower = word.to_lowercase();
        words::is_statistics(word)
            || words::is(WordList::Spread, word)
            || words::is(WordList::Error, word)
            || words::is(WordList::Computed, word)
            || words::begins(WordList::ComputedStem, &lower)
            || words::begins(WordList::Derivative, &lower)
            || words::is_blank(word)
            || words::is(WordList::WorkedWith, word)
            || quantity_of(word).is_some()
            || lone_unit(word).is_some()
    };
    name.starts_with(char::is_alphabetic) && !name.split(['.', '_', '-', ' ']).any(computed)
}

/// A phrase of several words: `Absorbance at 405 nm`, `405 nm betanin`, `betanin pH 7`, `Time s`, `Probe 1 Abs`.
pub(super) fn phrase(text: &str, depth: usize) -> Option<HeaderPiece> {
    // Brackets, commas and dashes part a head; its pieces come here one by one.
    if depth > DEEPEST
        || text.contains(['(', ')', '[', ']', '{', '}', ';', '|', '–', '—'])
        || text.contains(", ")
    {
        return None;
    }
    if let Some((before, behind)) = text.split_once('@') {
        // `A@590nm:film1.txt`: what was read, and of which file or sample.
        if let Some((light, name)) = behind.split_once(':')
            && is_plain_name(name)
            && depth < DEEPEST
            && let Some(found) = piece(
                &format!("{} at {}", before.trim(), light.trim()),
                false,
                depth + 1,
            )
        {
            return Some(HeaderPiece::Several(vec![
                found,
                HeaderPiece::Label(name.trim().to_owned()),
            ]));
        }
        let spaced = format!("{} at {}", before.trim(), behind.trim());
        return phrase(&spaced, depth + 1).filter(|_| depth < DEEPEST);
    }
    // `abs:leaf_old`: what was read, and of which file or sample.
    if let Some((light, name)) = text.split_once(':')
        && !text.contains(' ')
        && is_plain_name(name)
        && let Some(quantity) = quantity_of(light).filter(|q| q.is_of_light() && light.len() >= 2)
    {
        return Some(HeaderPiece::Several(vec![
            named(light, quantity),
            HeaderPiece::Label(name.to_owned()),
        ]));
    }
    // Underscores are blanks where there are no others.
    if !text.contains(' ') && text.contains('_') {
        let spaced = text.replace('_', " ");
        return piece(&spaced, false, depth + 1);
    }
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    if words.len() < 2 || words.len() > 12 {
        return None;
    }
    // `t x 60 s` tells a scale, and nothing that is held.
    let scaled = |pair: &[&str]| matches!(pair, ["x" | "X" | "×" | "*" | "·", factor] if factor.starts_with(|c: char| c.is_ascii_digit()));
    if words.windows(2).any(scaled) {
        return None;
    }
    match PhraseParts::of(&words) {
        Ok(parts) => parts
            .known(words.len(), depth)
            .or_else(|| reading_with_a_name(&words))
            .or_else(|| parts.quantity_with_a_name())
            .or_else(|| parts.coordinates_with_a_name()),
        Err(size) => Some(size_of_something(text, &words, size)),
    }
}

/// `AuNP 20 nm`: no light, but the size of something, and a part of its name. `size` is where it stands among the words.
fn size_of_something(text: &str, words: &[&str], size: Range<usize>) -> HeaderPiece {
    let rest = [&words[..size.start], &words[size.end..]].concat().join(" ");
    let named = quantity_of(&rest)
        .filter(|quantity| quantity.is_of_light() && rest.chars().count() >= 3)
        .map(|quantity| named(&rest, quantity));
    match named {
        Some(named) => HeaderPiece::Several(vec![named, HeaderPiece::Label(words[size].join(" "))]),
        None => HeaderPiece::Label(text.to_owned()),
    }
}

/// The coordinates among the words of a phrase, and what is left of them.
struct PhraseParts<'w> {
    coordinates: Vec<HeaderPiece>,
    /// The words that are no coordinate.
    words: Vec<&'w str>,
    /// The same without links at their end.
    left: Vec<&'w str>,
}

impl<'w> PhraseParts<'w> {
    /// Takes a phrase apart.
    ///
    /// # Errors
    /// Where one of its lengths is too short for light; the words that state it.
    fn of(words: &[&'w str]) -> Result<Self, Range<usize>> {
        let (mut coordinates, mut left) = (Vec::new(), Vec::new());
        let mut at = 0;
        while at < words.len() {
            let two = (at + 1 < words.len()).then(|| format!("{} {}", words[at], words[at + 1]));
            let coordinate = two
                .as_deref()
                .and_then(|two| coordinate(two).map(|piece| (piece, 2)))
                .or_else(|| coordinate(words[at]).map(|piece| (piece, 1)));
            match coordinate {
                Some((piece, length)) if is_too_short_for_light(&piece) => return Err(at..at + length),
                Some((piece, length)) => {
                    coordinates.push(piece);
                    at += length;
                }
                None => {
                    left.push(words[at]);
                    at += 1;
                }
            }
        }
        let words = left.clone();
        // `sample A` ends with a name, however much `a` is a link.
        let letter = |word: &str| word.len() == 1 && word.starts_with(|c: char| c.is_ascii_uppercase());
        // Links stand in front of coordinates; without one, `chlorophyll a` ends with a name as well.
        while !coordinates.is_empty()
            && left.last().is_some_and(|word| is_link(word) && !letter(word))
            && left.len() > 1
        {
            left.pop();
        }
        Ok(Self {
            coordinates,
            words,
            left,
        })
    }

    /// The coordinates alone, or those with a quantity that all other words name.
    fn known(&self, count: usize, depth: usize) -> Option<HeaderPiece> {
        let mut found = self.coordinates.clone();
        if self.left.is_empty() {
            return Some(HeaderPiece::Several(found));
        }
        let whole = self.left.join(" ");
        // `10 µM inhibitor`, `time 30 s`, `25 °C temperature`: the word names what is held, and not the column.
        let named_held = quantity_of(&whole).filter(|quantity| {
            found
                .iter()
                .any(|piece| matches!(piece, HeaderPiece::Held(held) if held.quantity == *quantity))
        });
        if let Some(quantity) = named_held {
            // Which substance is held is worth a label; that a time is one is said by its unit.
            if quantity == Quantity::CONCENTRATION {
                found.push(HeaderPiece::Label(whole));
            }
            return Some(HeaderPiece::Several(found));
        }
        let alone = symbol(&whole)
            .map(HeaderPiece::Quantity)
            .or_else(|| quantity_of(&whole).map(|quantity| named(&whole, quantity)))
            .or_else(|| {
                (self.left.len() < count)
                    .then(|| piece(&whole, false, depth + 1))
                    .flatten()
            });
        found.insert(0, alone?);
        Some(HeaderPiece::Several(found))
    }

    /// A quantity that stands at the front or at the end of what is left, beside a name.
    fn quantity_with_a_name(&self) -> Option<HeaderPiece> {
        let left = &self.left;
        for split in 1..left.len() {
            let (front, back) = (
                left[..left.len() - split].join(" "),
                left[left.len() - split..].join(" "),
            );
            // `ΔE/min run 1`
            if let Some(found) = rate(&front) {
                return Some(HeaderPiece::Several(vec![found, HeaderPiece::Label(back)]));
            }
            // The longest quantity in front (`Abs. betanin`), then the longest at the end (`betanin Abs`).
            for (name, rest) in [(&front, &back), (&back, &front)] {
                if let Some(quantity) =
                    quantity_of(name).filter(|q| q.is_of_light() && name.chars().count() > 1)
                {
                    let mut found = vec![named(name, quantity)];
                    found.extend(self.coordinates.iter().cloned());
                    found.push(HeaderPiece::Label(rest.clone()));
                    return Some(HeaderPiece::Several(found));
                }
            }
        }
        None
    }

    /// What is held, beside words that are no more than a name.
    fn coordinates_with_a_name(&self) -> Option<HeaderPiece> {
        (!self.coordinates.is_empty()).then(|| {
            let mut found = self.coordinates.clone();
            found.push(HeaderPiece::Label(self.words.join(" ")));
            HeaderPiece::Several(found)
        })
    }
}

/// Words of which some make one reading, such as that at a wavelength, beside a name: `yeast OD 600`, `A595 b`.
fn reading_with_a_name(words: &[&str]) -> Option<HeaderPiece> {
    let reading =
        |found, name: &[&str]| HeaderPiece::Several(vec![found, HeaderPiece::Label(name.join(" "))]);
    // `E 340 sample 1` is `E340 sample 1`.
    if let [first, second, rest @ ..] = words
        && !rest.is_empty()
        && second.len() == 3
        && symbol(first).is_some()
        && let Some(found) = at_wavelength(&format!("{first}{second}"))
    {
        return Some(reading(found, rest));
    }
    // `yeast OD 600` is `yeast OD600`.
    if let [names @ .., first, second] = words
        && !names.is_empty()
        && second.len() == 3
        && (symbol(first).is_some() || quantity_of(first).is_some_and(|quantity| quantity.is_of_light()))
        && second.bytes().all(|byte| byte.is_ascii_digit())
        && let Some(found) = at_wavelength(&format!("{first}{second}"))
    {
        return Some(reading(found, names));
    }
    // `seconds since the start`: a unit of time in a word, and since when.
    if let [unit, since, ..] = words
        && unit.chars().count() > 3
        && words::is(WordList::Since, since)
        && let Some(units) = lone_unit(unit)
        && units.iter().all(|unit| unit.converts_to(&Unit::SECOND))
    {
        return Some(HeaderPiece::Measured(vec![Quantity::TIME], units));
    }
    // `WT OD600`: a name before the reading at a wavelength.
    if let [names @ .., last] = words
        && !names.is_empty()
        && names
            .iter()
            .all(|name| quantity_of(name).is_none() && symbol(name).is_none())
        && let Some(found) = at_wavelength(last)
    {
        return Some(reading(found, names));
    }
    // `A595 b`: a reading at a wavelength with its replicate.
    if let [first, rest @ ..] = words
        && !rest.is_empty()
        && let Some(found) = at_wavelength(first)
    {
        return Some(reading(found, rest));
    }
    None
}
