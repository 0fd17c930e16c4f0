//! Headers of what was computed from readings of light, or stands beside them: normalised, predicted, a difference, in per
//! cent of the first, or the uncertainty of a reading. None of them is the absorbance that was measured.

use super::derived::with_words;
use super::*;
use crate::words;

/// A column that was computed from a reading, `normalised absorbance`, `A340 - A400`, `A fit`, `Abs ±`: it keeps its whole
/// name, and no wavelength of a part of it.
pub(super) fn computed(text: &str) -> Option<ColumnHeader> {
    // One word alone tells of one thing.
    let several = text.contains([' ', '_', '.', '/', '±', '−', '×', '*', '(']);
    if !several || text.len() > LONGEST {
        return None;
    }
    if is_of_two_wavelengths(text) {
        return Some(ColumnHeader {
            quantity: Some(Quantity::named("ratio")),
            label: Some(text.to_owned()),
            ..ColumnHeader::default()
        });
    }
    let said = is_by_word(text) || is_by_sign(text) || is_share_of_itself(text) || is_uncertainty(text);
    said.then(|| {
        let parted = split_unit(text).filter(|(name, _)| is_by_word(name) || is_by_sign(name));
        let (name, unit) = parted.map_or((text, None), |(name, unit)| (name, spelled(unit).one().cloned()));
        ColumnHeader {
            quantity: Some(with_words(name)),
            unit: unit.filter(|unit| *unit != Unit::ABSORBANCE),
            ..ColumnHeader::default()
        }
    })
}

/// `Abs - blank`, `A sample - A blank`: an absorbance less that of the blank, or the absorbance of the blank. Both are
/// absorbances, and the whole is the name.
pub(super) fn beside_blank(text: &str) -> Option<ColumnHeader> {
    let (reading, _) = less_a_blank(text)?;
    let mut head = understand(reading.split(' ').next().unwrap_or(reading));
    let of_light = head.quantity.as_ref().is_some_and(Quantity::is_of_light) && head.label.is_none();
    of_light.then(|| {
        head.label = Some(text.to_owned());
        head
    })
}

/// A reading, and the blank that it stands less.
fn less_a_blank(text: &str) -> Option<(&str, &str)> {
    [" - ", "−", " minus "].iter().find_map(|mark| {
        let (reading, blank) = text.split_once(mark)?;
        let (reading, blank) = (reading.trim(), blank.trim());
        (first_is_light(reading) && blank.split(' ').any(words::is_blank)).then_some((reading, blank))
    })
}

/// Whether a word says that the value beside it was computed or set: `norm. Abs`, `A fit`, `Predicted absorbance`.
fn is_by_word(text: &str) -> bool {
    let parts = |text: &'_ str| -> Vec<String> {
        text.split(|c: char| !(c.is_alphanumeric() || c == '%'))
            .filter(|word| !word.is_empty())
            .map(str::to_owned)
            .collect()
    };
    let all = parts(text);
    // Most headers have no such word, and are ruled out at once.
    if all.len() < 2 || !all.iter().any(|word| is_light(word)) {
        return false;
    }
    let says = |word: &String| {
        words::is(WordList::Computed, word) || words::begins(WordList::ComputedStem, &fold(word))
    };
    let others: Vec<&str> = all
        .iter()
        .filter(|word| !says(word))
        .map(String::as_str)
        .collect();
    // Of several samples one may be called `model`: what is left are words for light alone, and small ones.
    others.len() < all.len()
        && !others.is_empty()
        && others.iter().any(|word| is_light(word))
        && others.iter().all(|word| {
            is_light(word)
                || *word == "%"
                || words::is(WordList::OnDay, word)
                || words::is(WordList::Link, word)
                || words::is(WordList::Genitive, word)
                || word.starts_with(|c: char| c.is_ascii_digit())
                || *word == "nm"
        })
}

/// `A340 - A400`, `A + 0.5`, `A × dilution`.
fn is_by_sign(text: &str) -> bool {
    if less_a_blank(text).is_some() {
        return false;
    }
    let sides = |mark: &str| {
        let (left, right) = text.split_once(mark)?;
        let (left, right) = (left.trim(), right.trim());
        (first_is_light(left) && !right.is_empty()).then_some((left, right))
    };
    let number = |text: &str| text.replace(',', ".").parse::<f64>().is_ok();
    let first = |text: &str| -> String {
        let word = text.split([' ', '(']).next().unwrap_or("");
        word.trim_end_matches(|c: char| c.is_ascii_digit()).to_lowercase()
    };
    // The same word on both sides: behind a dash may stand the name of a sample.
    let twice = |(left, right): (&str, &str)| first(left) == first(right);
    let minus = ["−", " minus ", " less "].iter().find_map(|mark| sides(mark));
    let plus = [" + ", " plus "].iter().find_map(|mark| sides(mark));
    let times = ["×", " * ", " x "]
        .iter()
        .find_map(|mark| Some((*mark, sides(mark)?)));
    sides(" - ").is_some_and(twice)
        || minus.is_some_and(|(left, right)| twice((left, right)) || number(right) || first_is_light(right))
        || plus.is_some_and(|(left, right)| number(right) || twice((left, right)))
        || times.is_some_and(|(_, (_, right))| {
            scale_of(text).is_none() && words::field_of(right) == Some("dilution")
        })
}

/// `A/A(max)`: a reading divided by one of its own kind.
fn is_share_of_itself(text: &str) -> bool {
    text.split_once('/').is_some_and(|(over, under)| {
        let (over, under) = (over.trim(), under.trim());
        is_light(over) && under.strip_prefix(over).is_some_and(|rest| rest.starts_with('('))
    })
}

/// `260/280`: readings at two wavelengths, one divided by the other.
fn is_of_two_wavelengths(text: &str) -> bool {
    let light = |text: &str| {
        let whole = text.len() == 3 && text.bytes().all(|byte| byte.is_ascii_digit());
        text.parse::<f64>()
            .is_ok_and(|number| whole && crate::light::IN_PASSING.contains(&number))
    };
    text.split_once('/')
        .is_some_and(|(over, under)| light(over.trim()) && light(under.trim()))
}

/// `A ±`, `± Abs`.
fn is_uncertainty(text: &str) -> bool {
    let marks = ["±", "+/-", "+-"];
    marks.iter().any(|mark| {
        text.strip_suffix(mark)
            .or_else(|| text.strip_prefix(mark))
            .is_some_and(|rest| first_is_light(rest.trim()))
    })
}

/// Whether a text begins with a word for a reading of light.
fn first_is_light(text: &str) -> bool {
    text.split([' ', '(']).next().is_some_and(is_light)
}

/// Whether one word is a reading of light: `A`, `Abs`, `A340`, `A1`.
fn is_light(word: &str) -> bool {
    let word = word.trim_end_matches('.');
    let letters = word.trim_end_matches(|c: char| c.is_ascii_digit());
    let one = |quantities: Vec<Quantity>| matches!(quantities.as_slice(), [one] if one.is_of_light());
    !letters.is_empty()
        && symbol(letters).map_or_else(
            || quantity_of(letters).is_some_and(|quantity| quantity.is_of_light()),
            one,
        )
}

/// What a line says that the values of its table were computed to: `FirstColumn derivative of the spectrum`, `log10(A) given`,
/// `Normalized spectra (max = 1)`. Prose may tell of it, and say nothing of the values.
pub(crate) fn computed_by_line(line: &str) -> Option<Quantity> {
    const LONGEST_LINE: usize = 80;
    const MOST_WORDS: usize = 9;
    let words: Vec<&str> = line
        .split(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | ':' | '='))
        .filter(|word| !word.is_empty())
        .collect();
    if line.len() > LONGEST_LINE || words.len() > MOST_WORDS || words.len() < 2 {
        return None;
    }
    let lower: Vec<String> = words.iter().map(|word| fold(word)).collect();
    let denied = words
        .iter()
        .any(|word| words::is(WordList::Negation, word) || *word == "vs");
    let begins = |list: WordList, at: Option<usize>| {
        at.and_then(|at| lower.get(at))
            .is_some_and(|word| words::begins(list, word))
    };
    let ordinal = |at: Option<usize>| {
        at.and_then(|at| words.get(at)).is_some_and(|word| {
            words::is(WordList::Ordinal, word) || matches!(*word, "1." | "2." | "1st" | "2nd")
        })
    };
    let derivative = (0..words.len()).any(|at| {
        begins(WordList::Derivative, Some(at)) && (ordinal(at.checked_sub(1)) || ordinal(Some(at + 1)))
    });
    let of_light = |word: &str| {
        words::begins(WordList::Spectrum, word)
            || quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
    };
    let normalised = (0..words.len()).any(|at| {
        begins(WordList::Normalised, Some(at))
            && (lower.get(at + 1).is_some_and(|word| of_light(word))
                || at.checked_sub(1).is_some_and(|before| of_light(&lower[before])))
    });
    let logarithm = words
        .iter()
        .any(|word| word.contains('(') && super::derived::logarithm_of(word).is_some_and(is_light));
    let name = match (derivative, normalised, logarithm) {
        _ if denied => return None,
        (true, ..) => "derivative-of-absorbance",
        (_, true, _) => "normalised-absorbance",
        (.., true) => "logarithm-of-absorbance",
        _ => return None,
    };
    Some(Quantity::named(name))
}
