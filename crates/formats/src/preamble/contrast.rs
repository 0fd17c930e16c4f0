//! What lines above a later table say against the preamble: `Second run, 40 °C` where it states `Temperature: 25 °C`.
//!
//! What the preamble states is said of all tables of a text, but of none whose own lines say something else.

use curvary_record::moment::{self, DateReading};

use super::free::{free, has_year};
use super::phrases::condition;
use super::*;
use crate::words::WordList;

/// A field of the preamble that lines above a table contradict.
#[derive(Clone, Debug)]
pub(crate) struct Contrast {
    pub(crate) field: &'static str,
    /// What the lines state instead, where they say it in a phrase of its own; otherwise the field stays open.
    pub(crate) own: Option<Claim>,
    /// Where the other value stands, and its text.
    pub(crate) at: Range<usize>,
}

/// The fields that may change from one table of a text to the next.
const CHANGING: [&str; 4] = ["temperature", "wavelength", "date", "sample"];

/// What `lines`, byte ranges of the source, contradict of `stated`. What they claim themselves (`own`) is no contradiction.
pub(crate) fn contrasts(
    source: &Source,
    lines: &[Range<usize>],
    stated: &Fields,
    own: &Fields,
) -> Vec<Contrast> {
    CHANGING
        .into_iter()
        .filter(|field| own.get(field).is_none())
        .filter_map(|field| {
            let claims = stated.all(field);
            let first = claims.first()?;
            let mentions: Vec<Mention> = lines
                .iter()
                .flat_map(|line| mentions(source, line.clone(), field, first))
                .collect();
            let same = |one: &Claim, other: &Claim| agree(one, other);
            if mentions.is_empty()
                || mentions
                    .iter()
                    .any(|mention| claims.iter().any(|claim| same(claim, &mention.claim)))
            {
                return None;
            }
            let [mention, others @ ..] = mentions.as_slice() else {
                return None;
            };
            let one = others.iter().all(|other| same(&other.claim, &mention.claim));
            let own = mentions.iter().find(|mention| mention.by_itself).filter(|_| one);
            Some(Contrast {
                field,
                own: own.map(|mention| mention.claim.clone()),
                at: own.unwrap_or(mention).at.clone(),
            })
        })
        .collect()
}

/// A value of a field in a line.
struct Mention {
    claim: Claim,
    at: Range<usize>,
    /// Whether it is a phrase of its own.
    by_itself: bool,
}

/// Whether two claims hold the same value.
fn agree(one: &Claim, other: &Claim) -> bool {
    match (&one.value, &other.value) {
        (Value::Number(value), Value::Number(wanted)) => {
            let converted = match (&one.unit, &other.unit) {
                (Some(from), Some(to)) => from.convert(*value, to).unwrap_or(f64::NAN),
                _ => *value,
            };
            (converted - wanted).abs() <= 1e-6 * wanted.abs().max(1.0)
        }
        (value, wanted) => value == wanted,
    }
}

fn mentions(source: &Source, range: Range<usize>, field: &'static str, stated: &Claim) -> Vec<Mention> {
    const LONGEST: usize = 160;
    let line = text(source, range.clone());
    if line.len() > LONGEST {
        return Vec::new();
    }
    match field {
        "sample" => sample_like(source, line, &range, stated).into_iter().collect(),
        "date" => dates(source, line, &range),
        _ => numbers(source, line, &range, field),
    }
}

/// A line that is a name of the form of the stated sample, `beet 2` below `Sample: beet 1`.
fn sample_like(source: &Source, line: &str, range: &Range<usize>, stated: &Claim) -> Option<Mention> {
    let sample = line.trim().trim_end_matches([':', ';', ',', '\t']).trim_end();
    let form = |name: &str| -> String {
        let name = name.trim().to_lowercase();
        name.chars()
            .map(|c| if c.is_ascii_digit() { '0' } else { c })
            .collect()
    };
    let alike = form(sample) == form(&stated.raw) && sample.contains(char::is_alphabetic);
    let start = range.start + line.find(sample)?;
    let at = start..start + sample.len();
    alike.then(|| Mention {
        claim: free(Value::Text(sample.to_owned()), None, sample, source, &at),
        at,
        by_itself: true,
    })
}

/// The dates of a line, of up to four words and with their year; none where it says of another event than a measurement.
fn dates(source: &Source, line: &str, range: &Range<usize>) -> Vec<Mention> {
    const MOST_WORDS: usize = 4;
    let other = |word: &str| words::begins(WordList::AnotherDate, &word.to_lowercase());
    if !has_year(line) || line.split(|c: char| !c.is_alphabetic()).any(other) {
        return Vec::new();
    }
    let order = customs(source).order;
    let words = word_ranges(line);
    for from in 0..words.len() {
        for count in (1..=MOST_WORDS.min(words.len() - from)).rev() {
            let part = bare(line, words[from].start..words[from + count - 1].end);
            let date = &line[part.clone()];
            if has_year(date)
                && date.starts_with(|c: char| c.is_ascii_digit())
                && let DateReading::Read(date) = moment::read(date, order).date
            {
                let at = range.start + part.start..range.start + part.end;
                let claim = free(Value::Text(date.iso), None, &line[part], source, &at);
                return vec![Mention {
                    claim,
                    at,
                    by_itself: true,
                }];
            }
        }
    }
    Vec::new()
}

/// The numbers of a line with a unit that says that they are of a field.
fn numbers(source: &Source, line: &str, range: &Range<usize>, field: &'static str) -> Vec<Mention> {
    const MOST_WORDS: usize = 3;
    let customs = customs(source);
    let words = word_ranges(line);
    let mut found = Vec::new();
    let mut from = 0;
    while from < words.len() {
        let read = (1..=MOST_WORDS.min(words.len() - from)).rev().find_map(|count| {
            let part = bare(line, words[from].start..words[from + count - 1].end);
            let text = &line[part.clone()];
            if !text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '−')) {
                return None;
            }
            let said = interpret_as(&Key::new(field), text, None, customs);
            let Value::Number(value) = said.value else {
                return None;
            };
            let unit = said.unit.as_ref()?;
            let in_range = match field {
                "temperature" => unit
                    .convert(value, &Unit::CELSIUS)
                    .is_ok_and(|at| (-90.0..=150.0).contains(&at)),
                _ => unit
                    .convert(value, &Unit::NANOMETRE)
                    .is_ok_and(|at| crate::light::NEAR_WORDS.contains(&at)),
            };
            (said.fits && said.unit_written && in_range).then_some((count, part, said))
        });
        let Some((count, part, said)) = read else {
            from += 1;
            continue;
        };
        let at = range.start + part.start..range.start + part.end;
        let alone = |phrase: &Range<usize>| {
            let phrase = line[phrase.clone()].trim();
            phrase == &line[part.clone()] || field == "temperature" && condition(phrase, customs).is_some()
        };
        let by_itself = phrases(line)
            .iter()
            .any(|phrase| phrase.start <= part.start && part.end <= phrase.end && alone(phrase));
        let claim = said.claim(&line[part], origin(source, &at));
        found.push(Mention { claim, at, by_itself });
        from += count;
    }
    found
}

/// The words of a line.
fn word_ranges(line: &str) -> Vec<Range<usize>> {
    let mut words = Vec::new();
    let mut from = None;
    for (at, c) in line.char_indices() {
        match (c.is_whitespace(), from) {
            (true, Some(start)) => {
                words.push(start..at);
                from = None;
            }
            (false, None) => from = Some(at),
            _ => {}
        }
    }
    words.extend(from.map(|start| start..line.len()));
    words
}

/// A range of a line without the brackets and signs around it.
fn bare(line: &str, range: Range<usize>) -> Range<usize> {
    let part = &line[range.clone()];
    let kept = part
        .trim_start_matches(['(', '[', '"', '\''])
        .trim_end_matches([')', ']', '"', '\'', ',', ';', ':', '.', '!']);
    let start = range.start + part.find(kept).unwrap_or(0);
    start..start + kept.len()
}
