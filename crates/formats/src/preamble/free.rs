//! What can be claimed of a line without keys: days, people, lengths of cells, conditions.

use curvary_record::moment::{self, DateReading};

use super::passing::{is_in_front, is_treatment};
use super::phrases::word_ends;
use super::*;
use crate::words::WordList;

/// Longer lines are prose, which tells stories: `heated to 90 °C, then cooled`.
pub(super) const LONGEST_PASSING: usize = 160;
/// Whether a statement is a date with its year, and nothing else.
pub(super) fn is_dated(statement: &str, customs: Customs) -> bool {
    let statement = date_alone(statement);
    has_year(statement) && matches!(moment::read(statement, customs.order).date, DateReading::Read(_))
}

/// A date without the small words around it: the `21.10.2021` of `dnia 21.10.2021 r.`
fn date_alone(statement: &str) -> &str {
    let statement = statement.trim();
    let (first, rest) = statement.split_once(' ').unwrap_or((statement, ""));
    let date = if words::is(WordList::OnDay, first) {
        rest
    } else {
        statement
    };
    let bare = date.trim_end_matches('.').trim_end_matches(" r");
    if bare.len() < date.len() && bare.ends_with(|c: char| c.is_ascii_digit()) {
        bare
    } else {
        date
    }
}

/// Whether a date in a statement behind the value of a key is the day of the run: behind what the run is called and by whom it was
/// made, or a condition of it. The lot of a reagent, a buffer, an instrument or an unknown thing has days of its own, and so has what
/// was harvested, bought or printed.
pub(super) fn is_followed_by_day_of_run(spelling: &str, value: &str) -> bool {
    let other = |word: &str| {
        words::begins(WordList::AnotherDate, &word.to_lowercase()) && field_of(word) != Some("sample")
    };
    let of_run = |field: &str| {
        matches!(
            field,
            "sample"
                | "sample-id"
                | "title"
                | "operator"
                | "project"
                | "replicate"
                | "cycle"
                | "temperature"
                | "ph"
                | "wavelength"
                | "path-length"
                | "time"
        )
    };
    field_of(spelling)
        .or_else(|| fields_if_fitting(spelling).first().copied())
        .is_some_and(of_run)
        && !value
            .split(|c: char| !c.is_alphabetic())
            .filter(|word| !word.is_empty())
            .any(other)
}

/// Whether a line at byte `at` is one of the first ones, and a date with its year from end to end.
pub(crate) fn is_moment_in_front(source: &Source, at: usize, line: &str) -> bool {
    is_in_front(source, at) && is_dated(line, customs(source))
}

/// Claims the date that a statement of a text is, where none is known yet.
pub(super) fn claim_dates(fields: &mut Fields, source: &Source, range: Range<usize>) {
    let line = text(source, range.clone());
    let customs = customs(source);
    for statement in statements(line) {
        let statement = trim(line, statement);
        let date = date_alone(&line[statement.clone()]);
        let statement = crate::slice::range_in(line, date);
        if fields.get("date").is_none() && is_dated(&line[statement.clone()], customs) {
            claim_moment(
                fields,
                source,
                &line[statement.clone()],
                range.start + statement.start,
                customs,
            );
        }
    }
}

/// Who measured, where a phrase says nothing else: `read by P. Oyelaran`, `měřil Hynek`. A name begins with a capital and is
/// short.
pub(super) fn person(phrase: &str, customs: Customs) -> Option<(Range<usize>, Interpretation)> {
    /// The words that say so, and those of a name.
    const MOST: usize = 3;
    const SHORTEST: usize = 4;
    // A date may stand behind the name.
    let dated = phrase
        .match_indices(' ')
        .map(|(at, _)| at)
        .find(|at| is_dated(phrase[*at..].trim(), customs));
    let phrase = dated.map_or(phrase, |at| &phrase[..at]);
    let ends: Vec<usize> = word_ends(phrase).collect();
    (1..=MOST.min(ends.len().saturating_sub(1))).find_map(|count| {
        let (said, name) = phrase.split_at(ends[count - 1]);
        let said = said.trim_end_matches(['.', ':']);
        let at = trim(phrase, phrase.len() - name.len()..phrase.len());
        let name = &phrase[at.clone()];
        let is_name = |word: &str| {
            word.starts_with(char::is_uppercase)
                && word
                    .chars()
                    .all(|c| c.is_alphabetic() || matches!(c, '.' | '-' | '\''))
        };
        let named = ends.len() - count <= MOST && name.split_whitespace().all(is_name);
        // `measured by Lowry`, `read by Excel`, `dosé par Lowry`: these words name means as well as persons, and nobody's name has
        // one word there. `von`, `av` and `door` stand in front of persons alone.
        let means = matches!(said.rsplit(' ').next(), Some("by" | "par" | "por" | "per"));
        let named = named && (!means || name.contains([' ', '.']));
        let known = said.chars().count() >= SHORTEST && field_of(said) == Some("operator");
        (known && named).then(|| (at, interpret_as(&Key::new("operator"), name, None, customs)))
    })
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
    // A sheet writes a title in quotes, with delimiters for the cells beside it: `"pigments, 25 °C",,,`.
    let padded = &whole[body.clone()];
    let line = padded.trim_end_matches([',', ';', '\t', ' ']).trim_matches('"');
    if line.is_empty() || line.len() > 160 {
        return false;
    }
    let start = range.start + body.start + padded.find(line).unwrap_or(0);
    let customs = customs(source);
    if are_days_of_columns(line, customs) {
        return false;
    }
    // The end of a sentence that began on the line before.
    let goes_on = line.starts_with(char::is_lowercase) && line.ends_with('.');
    if !goes_on && claim_moment(fields, source, line, start, customs) {
        return true;
    }
    if claim_moment_behind_its_word(fields, source, line, start, customs) {
        return true;
    }
    // A title may end in the date, in a part of its own.
    let title = source.text()[..start]
        .trim_matches(|c: char| !c.is_alphanumeric())
        .is_empty();
    let in_front = is_in_front(source, start);
    let mut found: Vec<(&'static str, Claim)> = Vec::new();
    let (mut words, mut treated) = (false, false);
    let of_something_else = start_of_something_else(line);
    for (place, statement) in statements(line).into_iter().enumerate() {
        let part = &line[statement.clone()];
        let from = start + statement.start + (part.len() - part.trim_start().len());
        let part = part.trim();
        if part.is_empty() {
            continue;
        }
        let at = from..from + part.len();
        let Some((key, interpretation)) = free_part(part, customs) else {
            // `14 Dec 2016 22 °C`
            if place == 0
                && in_front
                && let Some((end, key, interpretation)) = date_and_condition(part, customs)
                && fields.get("date").is_none()
                && claim_moment(fields, source, &part[..end], from, customs)
            {
                let rest = part[end..].trim_start();
                let at = at.end - rest.len()..at.end;
                found.push((key, interpretation.claim(rest, origin(source, &at))));
                continue;
            }
            // `14 Dec 2016   22 °C`: nothing else stands in the line.
            let mut others = statements(line)
                .into_iter()
                .skip(1)
                .map(|statement| line[statement].trim())
                .filter(|part| !part.is_empty())
                .peekable();
            if place == 0
                && in_front
                && others.peek().is_some()
                && others.all(|part| free_part(part, customs).is_some())
                && has_year(part)
                && fields.get("date").is_none()
                && claim_moment(fields, source, part, from, customs)
            {
                continue;
            }
            words = true;
            treated |= is_treatment(part);
            if in_front {
                claim_number_of_sample(fields, source, part, from);
            }
            treated |= is_duration(part, customs);
            let of_another_day = || {
                line.split(|c: char| !c.is_alphabetic()).any(|word| {
                    words::begins(WordList::AnotherDate, &word.to_lowercase())
                        || words::is(WordList::Medium, word)
                })
            };
            let of_apparatus = || {
                let before = line[..statement.start].trim_end_matches([',', ';', ' ']);
                is_of_apparatus(before.rsplit([',', ';']).next().unwrap_or(before))
            };
            if (title || in_front && !of_another_day())
                && !of_apparatus()
                && statement.start < of_something_else
                && place > 0
                && fields.get("date").is_none()
                && has_year(part)
            {
                claim_moment(fields, source, part, from, customs);
            }
            if place == 0 {
                claim_heading_date(fields, source, part, from, customs);
            }
            if in_front && !goes_on && statement.start < of_something_else {
                // `Nitrite standards 12 May 2014 (543 nm)`
                let words = part.split(" (").next().unwrap_or(part);
                claim_date_behind(fields, source, words, from, customs);
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

/// `2019-05-02,,2019-05-09,`: days of columns, of which none is that of the run.
fn are_days_of_columns(line: &str, customs: Customs) -> bool {
    let is_day = |statement: &Range<usize>| is_dated(&line[statement.clone()], customs);
    statements(line)
        .iter()
        .filter(|statement| is_day(statement))
        .count()
        >= 2
}

/// Where a line begins to tell of days that are none of the measurement, `Instrument serviced 2024-08-01, next 2025-08-01`; its end where
/// it tells of none.
fn start_of_something_else(line: &str) -> usize {
    let of_something_else = statements(line).into_iter().find(|statement| {
        let statement = &line[statement.clone()];
        has_year(statement) && is_of_something_else(statement)
    });
    of_something_else.map_or(line.len(), |statement| statement.start)
}

/// Claims the date behind a word for it that says nothing else, `date 2013-07-04`, `measured on 2021-05-06`, wherever the line stands.
fn claim_moment_behind_its_word(
    fields: &mut Fields,
    source: &Source,
    line: &str,
    start: usize,
    customs: Customs,
) -> bool {
    const MOST_WORDS: usize = 3;
    let ends: Vec<usize> = word_ends(line).take(MOST_WORDS).collect();
    ends.into_iter().any(|end| {
        let (key, rest) = line.split_at(end);
        let at = start + line.len() - rest.trim_start().len();
        let key = key.trim_end_matches(':').trim();
        // `start 2023-02-08T13:05:11Z`, `measured 2023-11-02`
        let begun = || {
            has_year(rest)
                && !line.ends_with('.')
                && (fields_if_fitting(key).contains(&"date")
                    || field_of(key) == Some("time")
                    || words::is(WordList::Begun, key)
                    || words::is(WordList::Measured, key)
                    || key.contains(' ')
                        && keys::composed(key) == Some("date")
                        && !words::is(WordList::Created, key))
        };
        (field_of(key) == Some("date") || begun()) && claim_moment(fields, source, rest.trim(), at, customs)
    })
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
    const MOST_WORDS: usize = 5;
    if fields.get("date").is_some() {
        return;
    }
    let numbered = |word: &str| word.len() >= 8 && word.bytes().filter(u8::is_ascii_digit).count() >= 6;
    // A weekday before it belongs to the date; `Printed 2023-02-14` says when the paper was made.
    let ends: Vec<usize> = word_ends(part).take(MOST_WORDS).collect();
    let heading = match ends.as_slice() {
        [first, ..] if numbered(&part[..*first]) => &part[..*first],
        [first, second, ..] if numbered(part[*first..*second].trim()) => &part[..*second],
        // `Tue 8 Nov 2005 - the scan of the morning`
        _ => {
            let is_date = |date: &&str| {
                has_year(date) && matches!(moment::read(date, customs.order).date, DateReading::Read(_))
            };
            // A weekday stands in front of it; `on 2 May 2015` ends a sentence.
            let first = ends.first().map_or("", |&end| &part[..end]);
            let weekday =
                first.chars().all(|c| c.is_alphabetic() || matches!(c, '.' | ',')) && first.len() > 2;
            if !weekday || words::is(WordList::Link, first) || words::is(WordList::At, first) {
                return;
            }
            let dates = ends.iter().rev().map(|&end| &part[..end]);
            match dates.into_iter().find(is_date) {
                Some(date) => date,
                None => return,
            }
        }
    };
    let from = start + part.find(heading).unwrap_or(0);
    if has_year(heading) {
        claim_moment(fields, source, heading, from, customs);
    }
}

/// A date with its year, and a condition behind it that has nothing behind it: where the date ends, and the condition.
fn date_and_condition(part: &str, customs: Customs) -> Option<(usize, &'static str, Interpretation)> {
    let ends: Vec<usize> = word_ends(part).take(5).filter(|&end| end < part.len()).collect();
    ends.into_iter().rev().find_map(|end| {
        let date = &part[..end];
        let whole = has_year(date) && matches!(moment::read(date, customs.order).date, DateReading::Read(_));
        let (key, found) = free_part(part[end..].trim(), customs).filter(|_| whole)?;
        Some((end, key, found))
    })
}

/// The number of a sample that a phrase is, `Sample no. MB-4`: a key of two words or more, and one word with a digit.
fn claim_number_of_sample(fields: &mut Fields, source: &Source, part: &str, start: usize) {
    let Some((key, number)) = part.rsplit_once(' ') else {
        return;
    };
    let key = key.trim_end();
    let field = field_of(key.trim_end_matches('.')).filter(|field| *field == "sample-id");
    let named = key.contains(' ') && number.contains(|c: char| c.is_ascii_digit());
    if let Some(field) = field.filter(|field| named && fields.get(field).is_none()) {
        let at = start + part.len() - number.len()..start + part.len();
        let claim = free(Value::Text(number.to_owned()), None, number, source, &at);
        fields.claim(field, claim);
    }
}

/// The date that a phrase of the first lines ends in, `Messung vom 3. März 2009`, `start 2015-04-21`: whole, with a year of four
/// digits. What says that something else is of that day, `printed 2023-02-14`, gives none.
fn claim_date_behind(fields: &mut Fields, source: &Source, part: &str, start: usize, customs: Customs) {
    const LONGEST: usize = 4;
    // A longer sentence tells of several days: what was measured on which of them its words of measuring say.
    const MOST_WORDS: usize = 7;
    if part.split_whitespace().count() > MOST_WORDS {
        return;
    }
    // `Nitrite standards 12 May 2014` were measured on it.
    let other = |word: &str| {
        let lower = word.to_lowercase();
        words::begins(WordList::AnotherDate, &lower) && !words::begins(WordList::StandardSample, &lower)
    };
    if fields.get("date").is_some() || !has_year(part) || part.split(|c: char| !c.is_alphabetic()).any(other)
    {
        return;
    }
    let blanks = part.char_indices().rev().filter(|(_, c)| c.is_whitespace());
    let from: Vec<usize> = blanks.map(|(at, c)| at + c.len_utf8()).take(LONGEST).collect();
    for at in from.into_iter().rev() {
        let date = &part[at..];
        if !date.trim().is_empty()
            && has_year(date)
            && is_of_the_run(&part[..at])
            && !is_of_something_else(part)
            && claim_moment(fields, source, date, start + at, customs)
        {
            return;
        }
    }
}

/// Whether the words in front of a date say nothing of another day than that of the measurement: `Buffer of 13.05.2018` tells of
/// the buffer, `Messung vom 3. März 2009` of the run. Without a small word between them the date stands by itself.
pub(super) fn is_of_the_run(before: &str) -> bool {
    let small = |word: &&str| {
        words::is(WordList::OnDay, word)
            || words::is(WordList::Link, word)
            || words::is(WordList::Genitive, word)
    };
    let words: Vec<&str> = before
        .split(|c: char| !(c.is_alphanumeric() || c == '\''))
        .filter(|word| !word.is_empty())
        .collect();
    if !words.last().is_some_and(&small) {
        return true;
    }
    let of = words.iter().rev().find(|word| !small(word));
    of.is_none_or(|word| {
        let lower = word.to_lowercase();
        words::is(WordList::Measured, word)
            || words::is(WordList::Begun, word)
            || words::is(WordList::OfTheRun, word)
            || [WordList::BegunThing, WordList::Spectrum, WordList::Kinetics, WordList::ReadAt]
                .into_iter()
                .any(|list| words::begins(list, &lower))
            // `Kinetikmessung vom`: the last part of a compound says what it is.
            || words::ends(WordList::BegunThing, &lower)
            || words::ends(WordList::OfTheRun, &lower)
            || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
            || matches!(field_of(word), Some("date" | "project" | "method"))
    })
}

/// Whether a phrase tells what was done to something on a day, `Instrument serviced 2024-08-01`, `Lamp replaced by R. Quint on …`,
/// or of the instrument itself, and not of a measurement: a word for what was done, behind which no noun comes, and none that says that
/// it was measuring.
pub(super) fn is_of_something_else(phrase: &str) -> bool {
    const SHORTEST: usize = 4;
    let words: Vec<&str> = phrase
        .split(|c: char| !(c.is_alphabetic() || c == '\''))
        .filter(|word| !word.is_empty())
        .collect();
    let of_measuring = |word: &&str| {
        let lower = word.to_lowercase();
        words::is(WordList::Measured, word)
            || words::is(WordList::Begun, word)
            || words::is(WordList::OfTheRun, word)
            || field_of(word) == Some("date")
            || words::ends(WordList::OfTheRun, &lower)
            || [WordList::BegunThing, WordList::Spectrum, WordList::Kinetics]
                .into_iter()
                .any(|list| words::begins(list, &lower))
            || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
    };
    if words.iter().any(of_measuring) {
        return false;
    }
    let small = |word: &str| {
        [
            WordList::OnDay,
            WordList::Link,
            WordList::InChain,
            WordList::BehindChain,
        ]
        .into_iter()
        .any(|list| words::is(list, word))
    };
    let done = |at: usize| {
        let word = words[at];
        // A heading begins with a capital, and `Linseed` is none of these.
        let length = word.chars().count();
        let plain =
            word.starts_with(char::is_lowercase) && length >= SHORTEST || at == 0 && length > SHORTEST;
        let plain = plain && !word.ends_with("eed");
        let participle =
            words::ends(WordList::Done, word) || word.starts_with("ge") && word.ends_with(['t', 'n']);
        plain && participle && words.get(at + 1).is_none_or(|next| small(next))
    };
    (0..words.len()).any(done) || is_of_apparatus(phrase)
}

/// Whether words name what was measured: a title, behind which the day of the measurement may stand.
pub(super) fn names_a_measurement(words: &str) -> bool {
    words
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty())
        .any(|word| {
            let lower = word.to_lowercase();
            [
                WordList::Spectrum,
                WordList::Kinetics,
                WordList::BegunThing,
                WordList::MeasuredThing,
            ]
            .into_iter()
            .any(|list| words::begins(list, &lower))
                || words::quantity_of(word).is_some_and(|quantity| quantity.is_of_light())
        })
        || words.split_whitespace().all(|word| {
            words::is(WordList::Measured, word)
                || words::is(WordList::OnDay, word)
                || words::is(WordList::OfTheRun, word)
        })
}

/// Whether a phrase names an instrument or a part of it and what was done with that, `Instrument service`, `Lamp: new bulb`; a heading
/// that names it alone is one of what was measured with it.
fn is_of_apparatus(phrase: &str) -> bool {
    const SHORTEST: usize = 4;
    let words = || {
        phrase
            .split(|c: char| !c.is_alphabetic())
            .filter(|word| !word.is_empty())
    };
    let part = |word: &str| matches!(field_of(word), Some("instrument" | "lamp" | "detector"));
    let of_measuring = |word: &str| {
        let lower = word.to_lowercase();
        words::is(WordList::Measured, word)
            || words::is(WordList::Begun, word)
            || words::is(WordList::OfTheRun, word)
            || words::ends(WordList::OfTheRun, &lower)
            || [
                WordList::BegunThing,
                WordList::Spectrum,
                WordList::Kinetics,
                WordList::MeasuredThing,
            ]
            .into_iter()
            .any(|list| words::begins(list, &lower))
            || words::quantity_of(word).is_some()
            || field_of(word).is_some()
    };
    // A name of its own, or a month, is no deed.
    let deed = |word: &str| {
        word.chars().count() >= SHORTEST
            && word.starts_with(char::is_lowercase)
            && !part(word)
            && !words::is(WordList::Link, word)
            && !words::is(WordList::BehindChain, word)
    };
    words().any(part) && words().any(deed) && !words().any(|word| !part(word) && of_measuring(word))
}

/// Whether a text has a year of four digits.
pub(super) fn has_year(text: &str) -> bool {
    text.split(|c: char| !c.is_ascii_digit())
        .any(|digits| digits.len() == 4)
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
        // `10 mm x 4 mm cuvette` is wide and deep, and which of them light goes through is not said.
        let across = first
            .checked_sub(1)
            .is_some_and(|before| matches!(words[before].1, "x" | "×" | "X" | "*"));
        if !number(word) || across {
            return None;
        }
        let compound = word.split('-').count() == 3;
        let last = if word.ends_with('m') || compound {
            first
        } else {
            first + 1
        };
        let (start, unit) = *words.get(last)?;
        let to = start + unit.len();
        // `1-cm cell`
        let length = line
            .get(from..to)?
            .replacen("-cm", " cm", 1)
            .replacen("-mm", " mm", 1);
        // `1-cm-Küvette`
        let joined = word.split('-').collect::<Vec<_>>();
        let length = match joined.as_slice() {
            [number, unit @ ("cm" | "mm"), cell] if is_cell(cell) => format!("{number} {unit}"),
            _ => length,
        };
        let found = interpret_as(&Key::new("path-length"), &length, None, customs);
        let code = found.unit.as_ref().map(|unit| unit.code().to_owned())?;
        let sure = matches!(found.value, Value::Number(_))
            && found.fits
            && found.unit_written
            && found.question.is_none();
        (sure && matches!(code.as_str(), "cm" | "mm")).then_some((first, last, from..to, found))
    });
    let mut beside = lengths.filter(|(first, last, _, _)| {
        // `1 cm cell`, `1 cm quartz`
        let behind = words.get(last + 1).is_some_and(|(_, word)| {
            is_cell(word) || words.len() == last + 2 && crate::words::is(WordList::MaterialOfCell, word)
        });
        let before = first.checked_sub(1).is_some_and(|at| is_cell(words[at].1));
        // `cubeta de 5 cm`, `cuve de 1 cm`.
        let linked = first.checked_sub(2).is_some_and(|at| {
            is_cell(words[at].1) && words[at + 1].1.chars().count() <= 3 && !number(words[at + 1].1)
        });
        behind || before || linked || words[*first].1.split('-').nth(2).is_some_and(is_cell)
    });
    let (_, _, at, found) = beside.next()?;
    beside.next().is_none().then_some((at, found))
}

/// `10 min`, `2 h`: a length of time.
pub(super) fn is_duration(part: &str, customs: Customs) -> bool {
    let found = interpret_as(&Key::new("duration"), part, None, customs);
    matches!(found.value, Value::Number(_)) && found.fits && found.unit_written
}

pub(super) fn free(value: Value, unit: Option<Unit>, raw: &str, source: &Source, at: &Range<usize>) -> Claim {
    Claim {
        value,
        unit,
        plus_minus: None,
        raw: raw.to_owned(),
        spelled: None,
        origin: origin(source, at),
    }
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
                "temperature" => {
                    code == "Cel" && !part.ends_with('C') | part.contains(['°', 'º'])
                        || code == "K" && (77.0..=400.0).contains(&number)
                }
                "wavelength" => code == "nm" && crate::light::IN_PASSING.contains(&number),
                _ => code == "nm/min",
            };
            (found.fits && found.unit_written && found.question.is_none() && sure).then_some((field, found))
        })
}
