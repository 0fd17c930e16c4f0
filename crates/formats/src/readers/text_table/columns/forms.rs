//! Names of one form, which differ in their figures alone, beside numbers with their units: `1 S`, `2 S` are sites in summer and
//! `0 s`, `30 s` are times.

use std::collections::BTreeSet;

use curvary_record::unit::{Spelling, spelled};

use crate::column_header::{is_bare_exponent, read_column_header};

/// The names among texts that stand side by side, the headers of one row or the cells of one column, which alone would be numbers
/// with their units.
#[derive(Debug, Default)]
pub(in super::super) struct NumberedNames {
    names: BTreeSet<String>,
}

/// A text of a number and a word of one letter.
struct Numbered<'t> {
    text: &'t str,
    number: f64,
    letter: &'t str,
}

impl NumberedNames {
    /// Finds them.
    pub(in super::super) fn of<'t>(texts: impl Iterator<Item = &'t str>) -> Self {
        let texts: Vec<&str> = texts.map(str::trim).collect();
        let mut names: BTreeSet<String> = BTreeSet::new();
        // `S-1`, `S-2`: an exponent that changes is a number.
        let exponents: BTreeSet<&str> = texts
            .iter()
            .copied()
            .filter(|text| is_bare_exponent(text))
            .collect();
        let stem = |text: &str| text.split('-').next().unwrap_or("").to_owned();
        names.extend(
            exponents
                .iter()
                .filter(|text| {
                    exponents
                        .iter()
                        .any(|other| other != *text && stem(other) == stem(text))
                })
                .map(|text| (*text).to_owned()),
        );
        let numbered: Vec<Numbered> = texts.iter().filter_map(|text| Numbered::read(text)).collect();
        let letters: BTreeSet<&str> = numbered.iter().map(|one| one.letter).collect();
        let in_capitals = are_in_capitals(&texts);
        for letter in letters {
            if !are_times_or_conditions(&numbered, letter, in_capitals) {
                let own = numbered.iter().filter(|one| one.letter == letter);
                names.extend(own.map(|one| one.text.to_owned()));
            }
        }
        Self { names }
    }

    /// Whether a text is one of them.
    pub(in super::super) fn has(&self, text: &str) -> bool {
        self.names.contains(text.trim())
    }
}

impl<'t> Numbered<'t> {
    fn read(text: &'t str) -> Option<Self> {
        let letter = text.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | ','));
        let number = &text[..text.len() - letter.len()];
        let letter = letter.trim_start();
        let one = letter.len() == 1 && letter.starts_with(|c: char| c.is_ascii_alphabetic());
        Some(Self {
            text,
            number: number.replace(',', ".").parse().ok().filter(|_| one)?,
            letter,
        })
    }
}

/// Whether the numbers in front of a letter are coordinates of that unit. The second, the hour and the day are small letters; of
/// other letters the numbers rise otherwise than 1, 2, 3; and beside letters that are no unit and stand behind the same numbers again
/// and again, `1 M`, `2 M`, `1 F`, `2 F`, none is one. No name is numbered 0: `0 H`, `24 H` are hours.
fn are_times_or_conditions(numbered: &[Numbered], letter: &str, in_capitals: bool) -> bool {
    const HIGHEST_COUNT: f64 = 12.0;
    let own = || numbered.iter().filter(|one| one.letter == letter);
    let is_unit = |one: &Numbered| {
        let head = read_column_header(one.text);
        head.held
            .iter()
            .any(|held| held.quantity != curvary_record::Quantity::UNKNOWN)
    };
    let crossed = numbered
        .iter()
        .filter(|other| other.letter != letter && !is_unit(other))
        .any(|other| {
            // One `24 x` beside `0 h`, `24 h`, `48 h` is a name of its own.
            let alone = numbered.iter().filter(|one| one.letter == other.letter).count() == 1;
            let zero = own().any(|one| one.number == 0.0);
            !(alone && (zero || own().count() > 2)) && own().any(|one| one.number == other.number)
        });
    let mut numbers: Vec<f64> = own().map(|one| one.number).collect();
    numbers.sort_by(f64::total_cmp);
    numbers.dedup();
    let counts = numbers.len() >= 2
        && numbers[0] >= 1.0
        && numbers.last().is_some_and(|last| *last <= HIGHEST_COUNT)
        && numbers.windows(2).all(|pair| pair[1] - pair[0] == 1.0);
    match letter {
        "s" | "h" | "d" => !crossed,
        "S" | "H" => !crossed && !counts && (in_capitals || numbers.first() == Some(&0.0)),
        _ => !crossed && !counts,
    }
}

/// Whether texts are written in capitals throughout, so that a unit is as well.
fn are_in_capitals(texts: &[&str]) -> bool {
    let word = |text: &&str| text.chars().filter(|c| c.is_uppercase()).count() >= 2;
    texts.iter().any(word) && !texts.iter().any(|text| text.contains(char::is_lowercase))
}

/// The unit of a header that is one and nothing else, and stands below a name.
pub(super) fn unit_below_name(text: &str) -> Option<curvary_record::Unit> {
    match spelled(text) {
        Spelling::One(unit) if is_bare_exponent(text) => Some(unit),
        _ => None,
    }
}
