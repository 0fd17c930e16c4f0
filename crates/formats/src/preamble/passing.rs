//! What lines say of a run in passing, without a key: `37 °C, pH 7.0, 405 nm`, `flow cell, 2 mm`.

use curvary_record::moment::{self, DateReading};

use super::free::{LONGEST_PASSING, has_year, is_dated, is_duration, is_of_something_else, person};
use super::phrases::condition;
use super::*;
use crate::words::WordList;

/// Conditions that lines of words and titles name in passing, each in a phrase of its own that says nothing else. A key says
/// more, and where two phrases disagree neither is taken.
#[derive(Clone, Debug, Default)]
pub(crate) struct Passing {
    said: Vec<(&'static str, Claim)>,
    /// Lone temperatures in titles, `E. coli, LB, 37 °C, 180 rpm`: taken where nothing else tells of a temperature.
    in_titles: Vec<Claim>,
}

impl Passing {
    /// Hears a line, or a part of one.
    pub(crate) fn take(&mut self, source: &Source, range: Range<usize>) {
        self.take_beside(source, range, false);
    }

    /// The same beside a condition of the measurement, `pH: 7.0, 30 °C`, so that a lone temperature is one, too.
    pub(super) fn take_beside(&mut self, source: &Source, range: Range<usize>, of_measurement: bool) {
        let line = text(source, range.clone());
        if line.len() > LONGEST_PASSING {
            return;
        }
        let customs = customs(source);
        let phrases = phrases(line);
        // `95 °C, 10 min` tells how a sample was treated.
        if phrases
            .iter()
            .any(|phrase| is_duration(line[phrase.clone()].trim(), customs))
        {
            return;
        }
        // `Growth of B. subtilis 30 °C`: words of which nothing is known in front of the only temperature.
        for phrase in &phrases {
            let phrase = trim(line, phrase.clone());
            if let Some((at, said)) = temperature_behind(&line[phrase.clone()], customs)
                .filter(|(_, said)| is_of_a_title(source, &range, said))
            {
                let at = range.start + phrase.start + at..range.start + phrase.end;
                let raw = text(source, at.clone());
                self.in_titles.push(said.claim(raw, origin(source, &at)));
            }
        }
        let found: Vec<(Range<usize>, &'static str, Interpretation)> = phrases
            .into_iter()
            .filter_map(|phrase| {
                let (field, found) = condition(line[phrase.clone()].trim(), customs)?;
                Some((trim(line, phrase), field, found))
            })
            .collect();
        let treated = parts_of_treatments(line);
        let of_another_day = is_of_another_day(source, &range, customs);
        for phrase in statements(line) {
            let phrase = trim(line, phrase);
            if let Some((at, found)) = person(&line[phrase.clone()], customs).filter(|_| !of_another_day) {
                let at = phrase.start + at.start..phrase.start + at.end;
                let raw = &line[at.clone()];
                let at = range.start + at.start..range.start + at.end;
                self.said
                    .push(("operator", found.claim(raw, origin(source, &at))));
            }
        }
        // A lone temperature may be that of a store or of a treatment, unless its phrase names it.
        let alone = found.len() == 1 && !of_measurement && !speaks_of_a_measurement(line);
        for (at, field, said) in found {
            let raw = &line[at.clone()];
            // `Temperature of the cell holder during the run: 37 °C`
            let clause = line[..at.start].trim_end().strip_suffix(':').unwrap_or("");
            let first = clause
                .rsplit([',', ';', '.'])
                .next()
                .unwrap_or("")
                .split_whitespace()
                .next();
            let in_incubator = raw
                .split_whitespace()
                .any(|word| words::ends(WordList::Incubator, &word.to_lowercase()));
            let named = raw.starts_with(char::is_alphabetic) && !in_incubator
                || first.is_some_and(|word| field_of(word) == Some(field));
            if field == "temperature" && (alone && !named || names_another_temperature(line, raw))
                || matches!(field, "temperature" | "ph")
                    && treated.iter().any(|part| part.contains(&at.start))
            {
                if field == "temperature" && is_of_a_title(source, &range, &said) {
                    let at = range.start + at.start..range.start + at.end;
                    self.in_titles.push(said.claim(raw, origin(source, &at)));
                }
                continue;
            }
            let at = range.start + at.start..range.start + at.end;
            self.said.push((field, said.claim(raw, origin(source, &at))));
        }
    }

    /// Takes a condition that prose says.
    pub(super) fn push(&mut self, field: &'static str, claim: Claim) {
        self.said.push((field, claim));
    }

    /// Leaves out the temperatures heard behind the first conditions: they are of what is kept apart, a buffer.
    pub(crate) fn leave_out_temperatures(&mut self, first: usize) {
        let mut place = 0;
        self.said.retain(|(field, _)| {
            place += 1;
            place <= first || *field != "temperature"
        });
    }

    /// How many conditions were heard.
    pub(crate) fn len(&self) -> usize {
        self.said.len()
    }

    /// Claims what all phrases agree on and no key says.
    pub(crate) fn settle(mut self, fields: &mut Fields) {
        if !self.said.iter().any(|(field, _)| *field == "temperature") {
            let titles = std::mem::take(&mut self.in_titles);
            self.said
                .extend(titles.into_iter().map(|claim| ("temperature", claim)));
        }
        // The first claim of each field, and whether all others agree with it.
        let mut first: Vec<(&'static str, Claim, bool)> = Vec::new();
        for (field, claim) in self.said {
            match first.iter_mut().find(|(other, ..)| *other == field) {
                Some((_, said, agreed)) => *agreed &= said.value == claim.value && said.unit == claim.unit,
                None => first.push((field, claim, true)),
            }
        }
        for (field, claim, agreed) in first {
            if agreed && fields.all(field).is_empty() {
                fields.claim(field, claim);
            }
        }
    }
}

/// The temperature that a phrase of other words ends in, with its degree sign, and where it begins.
fn temperature_behind(phrase: &str, customs: Customs) -> Option<(usize, Interpretation)> {
    /// `30 °C`, and `30°C`
    const LONGEST: usize = 2;
    if !phrase.contains(['°', 'º', '℃']) || condition(phrase, customs).is_some() {
        return None;
    }
    let blanks: Vec<usize> = phrase
        .rmatch_indices(' ')
        .map(|(at, _)| at + 1)
        .take(LONGEST)
        .collect();
    blanks.into_iter().find_map(|at| {
        let (field, found) = condition(&phrase[at..], customs)?;
        (field == "temperature" && phrase[at..].starts_with(|c: char| c.is_ascii_digit()))
            .then_some((at, found))
    })
}

/// Whether the lone temperature of a line is that of the run by all that is known: the line is one of the first, tells of one
/// temperature, one at which reactions run, and of nothing that is done to a sample before.
fn is_of_a_title(source: &Source, range: &Range<usize>, said: &Interpretation) -> bool {
    /// From a cooled room to the hottest bath of water that enzymes are used in.
    const OF_REACTIONS: std::ops::RangeInclusive<f64> = 10.0..=60.0;
    let line = text(source, range.clone());
    let Value::Number(value) = said.value else {
        return false;
    };
    let degrees = line
        .match_indices(['C', '℃'])
        .filter(|(at, _)| {
            let before = line[..*at].trim_end_matches(['°', 'º', ' ']);
            before
                .strip_suffix("deg")
                .unwrap_or(before)
                .trim_end()
                .ends_with(|c: char| c.is_ascii_digit())
        })
        .count();
    let handled = line
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty())
        .any(|word| {
            let lower = word.to_lowercase();
            words::begins(WordList::TreatmentThing, &lower) || words::ends(WordList::Incubator, &lower)
        });
    is_in_front(source, range.start)
        && OF_REACTIONS.contains(&value)
        && degrees == 1
        && !handled
        && parts_of_treatments(line).is_empty()
}

/// Whether a line tells what was done on another day than that of the run: words in front of a date, `Calibration of 2023-02-03`,
/// that are none of the measurement or stand below the first lines. Who is named beside them did that.
fn is_of_another_day(source: &Source, range: &Range<usize>, customs: Customs) -> bool {
    let line = text(source, range.clone());
    if !has_year(line) {
        return false;
    }
    let in_front = is_in_front(source, range.start);
    statements(line).into_iter().any(|statement| {
        let statement = line[statement].trim();
        let words = || {
            statement
                .split(|c: char| !c.is_alphabetic())
                .filter(|word| !word.is_empty())
        };
        let other = || words().any(|word| words::begins(WordList::AnotherDate, &word.to_lowercase()));
        has_year(statement)
            && !is_dated(statement, customs)
            && ends_in_date(statement, customs)
            && !words().any(|word| words::is(WordList::Measured, word) || field_of(word) == Some("date"))
            && (!in_front || other() || is_of_something_else(statement))
    })
}

/// Whether a byte stands in the first lines.
pub(super) fn is_in_front(source: &Source, at: usize) -> bool {
    let ends = memchr::memchr_iter(b'\n', &source.text().as_bytes()[..at]);
    ends.take(FIRST_LINES).count() < FIRST_LINES
}

/// Whether a statement ends in a date with its year, behind words.
fn ends_in_date(statement: &str, customs: Customs) -> bool {
    const LONGEST: usize = 4;
    let blanks = statement.char_indices().rev().filter(|(_, c)| c.is_whitespace());
    blanks
        .map(|(at, c)| &statement[at + c.len_utf8()..])
        .take(LONGEST)
        .any(|date| has_year(date) && matches!(moment::read(date, customs.order).date, DateReading::Read(_)))
}

/// The parts of a line that tell what was done to a sample or with something else, `Stopped with 1 M HCl, pH 1.2`, and not how was
/// measured: statements that say so, and those behind them up to one that tells of the measurement.
fn parts_of_treatments(line: &str) -> Vec<Range<usize>> {
    let mut parts: Vec<Range<usize>> = Vec::new();
    let mut before = false;
    for statement in statements(line) {
        let text = line[statement.clone()].trim();
        if text.is_empty() {
            continue;
        }
        // `Stopped with acid, assay pH 8.0`: what tells of the measurement again is its own.
        let measured = || {
            text.split(|c: char| !c.is_alphabetic())
                .filter(|word| !word.is_empty())
                .any(|word| {
                    words::is(WordList::Measured, word)
                        || words::begins(WordList::BegunThing, &word.to_lowercase())
                        || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
                })
        };
        before = is_treatment(text) || before && !measured();
        if before {
            parts.push(statement);
        }
    }
    parts
}

/// Whether a statement tells what was done to something, of a medium that is not the one of the measurement, or of something that was
/// or was kept in a way.
pub(super) fn is_treatment(statement: &str) -> bool {
    let words = || {
        statement
            .split(|c: char| !(c.is_alphabetic() || c == '\''))
            .filter(|word| !word.is_empty())
    };
    let measured = || {
        words().any(|word| {
            let lower = word.to_lowercase();
            words::is(WordList::Measured, word)
                || words::is(WordList::Begun, word)
                || words::begins(WordList::BegunThing, &lower)
                || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
        })
    };
    is_of_something_else(statement)
        || words().any(|word| words::begins(WordList::AnotherLiquid, &word.to_lowercase()))
        || words().count() >= 3 && words().any(|word| words::is(WordList::Auxiliary, word)) && !measured()
}

/// Whether a line tells a temperature beside the one in `raw`, `storage temperature -20 °C`: then which of them is that of the
/// measurement is not said. `°C/min` is no temperature.
fn names_another_temperature(line: &str, raw: &str) -> bool {
    let temperatures = |text: &str| {
        ["°C", "º C", "° C", "ºC", "℃"]
            .iter()
            .map(|unit| {
                let behind = |at: usize| !text[at + unit.len()..].trim_start().starts_with('/');
                let numbered = |at: usize| text[..at].trim_end().ends_with(|c: char| c.is_ascii_digit());
                text.match_indices(unit)
                    .filter(|(at, _)| behind(*at) && numbered(*at))
                    .count()
            })
            .sum::<usize>()
    };
    let same = line.matches(raw).count().max(1);
    temperatures(line) > temperatures(raw) * same
}

/// Whether a line names a quantity of light, a wavelength or a pH.
fn speaks_of_a_measurement(line: &str) -> bool {
    let words: Vec<&str> = line
        .split(|c: char| !(c.is_alphanumeric() || c == '%'))
        .filter(|word| !word.is_empty())
        .collect();
    let number = |word: &str| word.starts_with(|c: char| c.is_ascii_digit());
    let apart = words.windows(2).any(|pair| match *pair {
        ["pH", value] => number(value),
        [value, "nm" | "NM"] => number(value),
        _ => false,
    });
    apart
        || words.iter().any(|word| {
            let held_at = || {
                let head = crate::column_header::read_column_header(word);
                word.len() >= 4 && head.quantity.is_some_and(|quantity| quantity.is_of_light())
            };
            number(word) && word.ends_with("nm")
                || held_at()
                || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
        })
}

/// The first lines say when was measured; further down other dates stand.
const FIRST_LINES: usize = 3;
