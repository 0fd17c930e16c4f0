//! What keeps looking up words cheap: folding without room of its own, and tests that rule most texts out at their first
//! byte. None of it changes what is found; the tests below compare it with the plain way.

use std::collections::BTreeSet;

use hashbrown::HashSet;

use super::{LONGEST, fold};

/// What the ASCII signs are folded to; 0 for a mark that parts words.
const FOLDED: [u8; 128] = {
    let mut folded = [0; 128];
    let mut byte = 0;
    while byte < 128_u8 {
        let kept = byte.is_ascii_alphanumeric()
            || matches!(byte, b'%' | b'#' | b'[' | b']' | b'<' | b'>' | b'+' | b'*');
        if kept {
            folded[byte as usize] = byte.to_ascii_lowercase();
        }
        byte += 1;
    }
    folded
};

/// Hands on the folded form of a text. That of a short text in ASCII, as nearly all are, takes no room of its own.
pub(super) fn with_folded<T>(text: &str, then: impl FnOnce(&str) -> T) -> T {
    let mut room = [0_u8; LONGEST * 2];
    let mut length = 0;
    if text.len() <= room.len() && text.is_ascii() {
        crate::work::looks_at(text.len());
        let mut blank = false;
        for byte in text.bytes() {
            match FOLDED[usize::from(byte)] {
                0 => blank = true,
                sign => {
                    // There is room, since a mark stood here.
                    if blank && length > 0 {
                        room[length] = b' ';
                        length += 1;
                    }
                    blank = false;
                    room[length] = sign;
                    length += 1;
                }
            }
        }
        if let Ok(folded) = std::str::from_utf8(&room[..length]) {
            return then(folded);
        }
    }
    then(&fold(text))
}

/// Hands on a text as [`super::marker_form`] makes it, without room of its own where the text is short and in ASCII.
pub(super) fn with_marker_form<T>(word: &str, then: impl FnOnce(&str) -> T) -> T {
    let mut room = [0_u8; LONGEST + 1];
    let word = word.trim();
    if word.len() <= LONGEST && word.is_ascii() {
        room[0] = 1;
        room[1..=word.len()].copy_from_slice(word.as_bytes());
        room[1..=word.len()].make_ascii_lowercase();
        if let Ok(form) = std::str::from_utf8(&room[..=word.len()]) {
            return then(form);
        }
    }
    then(&super::marker_form(word))
}

/// The first byte of the folded form of a text, where it shows at once.
fn first_folded(text: &str) -> Option<u8> {
    let first = text
        .bytes()
        .find(|&byte| byte >= 128 || FOLDED[usize::from(byte)] != 0)?;
    FOLDED.get(usize::from(first)).copied()
}

/// A set of bytes.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bytes([u64; 4]);

impl Bytes {
    pub(super) fn insert(&mut self, byte: u8) {
        self.0[usize::from(byte >> 6)] |= 1 << (byte & 63);
    }

    pub(super) fn has(self, byte: u8) -> bool {
        self.0[usize::from(byte >> 6)] >> (byte & 63) & 1 == 1
    }

    /// The bytes of words, by one of each.
    fn of<'a>(words: impl Iterator<Item = &'a str>, byte: impl Fn(&[u8]) -> Option<u8>) -> Self {
        let mut bytes = Self::default();
        for word in words {
            match byte(word.as_bytes()) {
                Some(byte) => bytes.insert(byte),
                // The empty word begins and ends every text.
                None => bytes.0 = [u64::MAX; 4],
            }
        }
        bytes
    }
}

/// The words of one list.
#[derive(Debug, Default)]
pub(super) struct FoldedList {
    /// In lower case as they are spelled.
    pub(super) lower: Vec<String>,
    folded: HashSet<String>,
    first: Bytes,
    last: Bytes,
    first_folded: Bytes,
}

impl FoldedList {
    pub(super) fn of(words: &[String]) -> Self {
        let lower: Vec<String> = words.iter().map(|word| word.to_lowercase()).collect();
        let folded: HashSet<String> = words.iter().map(|word| fold(word)).collect();
        let first = |word: &[u8]| word.first().copied();
        Self {
            first: Bytes::of(lower.iter().map(String::as_str), first),
            last: Bytes::of(lower.iter().map(String::as_str), |word| word.last().copied()),
            first_folded: Bytes::of(folded.iter().map(String::as_str), first),
            lower,
            folded,
        }
    }

    /// Whether a text folds to one of the words.
    pub(super) fn has(&self, text: &str) -> bool {
        first_folded(text).is_none_or(|first| self.first_folded.has(first))
            && with_folded(text, |folded| self.folded.contains(folded))
    }

    pub(super) fn begins(&self, lower: &str) -> bool {
        let first = lower.as_bytes().first();
        first.is_none_or(|&first| self.first.has(first))
            && self.lower.iter().any(|stem| lower.starts_with(stem.as_str()))
    }

    pub(super) fn ends(&self, lower: &str) -> bool {
        let last = lower.as_bytes().last();
        last.is_none_or(|&last| self.last.has(last))
            && self.lower.iter().any(|end| lower.ends_with(end.as_str()))
    }

    pub(super) fn is_part_of(&self, lower: &str) -> bool {
        // Longer texts are searched quicker word by word, many bytes at a time.
        const SHORT: usize = 160;
        if lower.len() > SHORT || lower.is_empty() {
            return self.lower.iter().any(|part| lower.contains(part.as_str()));
        }
        let bytes = lower.as_bytes();
        (0..bytes.len()).any(|at| {
            self.first.has(bytes[at])
                && self
                    .lower
                    .iter()
                    .any(|part| bytes[at..].starts_with(part.as_bytes()))
        })
    }
}

/// With which words the terms of a kind begin, so that phrases that begin otherwise need not be looked up.
#[derive(Debug, Default)]
pub(super) struct Beginnings(HashSet<String>);

impl Beginnings {
    /// Of folded terms: each up to the end of each of its words.
    pub(super) fn of<'a>(terms: impl Iterator<Item = &'a str>) -> Self {
        let mut all = BTreeSet::new();
        for term in terms {
            all.insert(term);
            all.extend(term.match_indices(' ').map(|(at, _)| &term[..at]));
        }
        Self(all.into_iter().map(str::to_owned).collect())
    }

    /// Whether a phrase that begins with this word may fold to one of the terms.
    pub(super) fn may_begin(&self, word: &str) -> bool {
        with_folded(word, |folded| folded.is_empty() || self.0.contains(folded))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXTS: [&str; 24] = [
        "",
        " ",
        "--",
        "Absorbance",
        "  % T (sample) ",
        "path_length",
        "Scan-Speed:",
        "#1",
        "optical density 600",
        "Wellenlänge",
        "\u{301}a",
        "Größe",
        "A=1",
        "no",
        "NO ",
        "n.d.",
        "missing value -999",
        "fraction of one",
        "mm:ss",
        "kinetic run",
        "der peak",
        "ein sehr langer Text, der länger ist als alle Wörter, die in einer der Listen stehen, und daher keines von ihnen sein kann",
        "Îlot",
        "ПИК",
    ];

    #[test]
    fn folding_in_place_is_folding() {
        for text in TEXTS {
            with_folded(text, |folded| assert_eq!(folded, fold(text), "{text}"));
            with_marker_form(text, |form| {
                assert_eq!(form, super::super::marker_form(text), "{text}")
            });
            if let Some(first) = first_folded(text) {
                assert_eq!(fold(text).as_bytes().first(), Some(&first), "{text}");
            }
        }
    }

    /// Every list, with its own words, their parts and texts of all kinds, beside the plain way.
    #[test]
    fn lists_say_what_their_words_say() {
        let own: Vec<String> = super::super::BOOK
            .lists
            .iter()
            .flat_map(|listed| listed.lower.clone())
            .collect();
        let mut texts: Vec<String> = TEXTS.iter().map(|text| (*text).to_owned()).collect();
        for word in &own {
            texts.extend([
                word.clone(),
                format!("x {word}"),
                format!("{word}s 2"),
                word.to_uppercase(),
            ]);
            texts.push(word.chars().skip(1).collect());
        }
        for listed in &super::super::BOOK.lists {
            for text in &texts {
                let lower = text.to_lowercase();
                let any = |holds: &dyn Fn(&str) -> bool| listed.lower.iter().any(|word| holds(word));
                assert_eq!(
                    listed.begins(&lower),
                    any(&|word| lower.starts_with(word)),
                    "{text}"
                );
                assert_eq!(listed.ends(&lower), any(&|word| lower.ends_with(word)), "{text}");
                assert_eq!(
                    listed.is_part_of(&lower),
                    any(&|word| lower.contains(word)),
                    "{text}"
                );
                assert_eq!(listed.has(text), listed.folded.contains(&fold(text)), "{text}");
            }
        }
    }

    #[test]
    fn terms_are_ruled_out_by_their_first_word_alone() {
        let terms = Beginnings::of(["optical density", "absorbance", "longueur d onde"].into_iter());
        for (word, may) in [
            ("Optical", true),
            ("longueur", true),
            ("longueur-d'", true),
            ("ABSORBANCE", true),
            ("-", true),
            ("density", false),
            ("absorbance2", false),
        ] {
            assert_eq!(terms.may_begin(word), may, "{word}");
        }
    }
}
