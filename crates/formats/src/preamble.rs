//! Lines that say something about a run: keys and values.
//!
//! [`pairs`] finds keys and values in a line, [`claim`] turns one pair into a claim on a field, [`claim_free`] does
//! what can be done for a line without keys. A wrong claim is worse than none: what is not sure stays under its own
//! spelling, or stays a comment.

mod cells;
mod contrast;
mod free;
mod keys;
mod line;
mod meaning;
mod passing;
mod phrases;
mod prose;

use std::cell::RefCell;
use std::ops::Range;

use curvary_record::interpret::{Customs, Interpretation, interpret_as};
use curvary_record::moment::DatePartOrder;
use curvary_record::unit::{Spelling, spelled};
use curvary_record::{
    Claim, Fields, Key, Label, Origin, Place, Question, Span, Unit, Value, ValueKind, known_field,
};
use hashbrown::HashMap;

pub(crate) use self::contrast::contrasts;
pub use self::free::claim_free;
pub(crate) use self::free::is_moment_in_front;
pub(crate) use self::keys::{goes_with, take_names};
pub use self::line::pair_in_blanks;
use self::line::{bare, has_unit_of, is_field_with_unit, is_key, parted, trim, without_remark_sign};
pub(crate) use self::line::{is_known, tells_of_a_reading};
pub(crate) use self::meaning::is_kept_apart;
use self::meaning::{beside_what_was_set, is_alike, is_empty_value, is_somebody, understand};
pub(crate) use self::passing::Passing;
use self::phrases::furniture_off;
pub(crate) use self::phrases::{is_condition, phrases, statements};
pub(crate) use self::prose::take_prose;
use crate::Source;
use crate::column_header::split_unit;
use crate::words::{self, WordList, field_of, fields_if_fitting};

/// A key and its value, as byte ranges of the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyValueSpan {
    /// The key, without quotes and blanks.
    pub key: Range<usize>,
    /// The value, without quotes and blanks; may be empty.
    pub value: Range<usize>,
    /// What parts them: `:`, `=`, a dash, a tab, `,`, `;`, `.` (a row of points) or a blank (several of them).
    pub mark: char,
    /// What the value says where cells of their own make it up: `37 C` of `37,C`.
    pub says: Option<String>,
}

/// The mark of a key in front of a dash among blanks, whichever it is.
pub(crate) const DASH: char = '–';

/// A key is no longer, in characters and in words.
const LONGEST_KEY: usize = 48;
const MOST_WORDS: usize = 6;
/// Longer lines hold no keys, but data or prose.
const LONGEST_LINE: usize = 2048;
/// More pairs on a line are data.
const MOST_PAIRS: usize = 12;

/// The keys and values of a line, from left to right; none when it has none.
///
/// Signs that mark a remark (`#`, `%`, `;`, `"`, `//`, `*`, `'`, `!`) are skipped. Times (`10:32:05`), addresses and
/// Windows paths are not taken apart.
#[must_use]
pub fn pairs(line: &str) -> Vec<KeyValueSpan> {
    if line.len() > LONGEST_KNOWN {
        return parted(line);
    }
    // One line is asked for several times, by whoever looks for titles, keys and words, and the same lines stand in many
    // files of a program.
    if let Some(pairs) = KNOWN.with_borrow(|known| known.get(line).cloned()) {
        return pairs;
    }
    let pairs = parted(line);
    KNOWN.with_borrow_mut(|known| {
        if known.len() >= MOST_KNOWN {
            known.clear();
        }
        known.insert(line.to_owned(), pairs.clone());
    });
    pairs
}

/// The pairs of so many lines are remembered on each thread, none of them longer than this.
const MOST_KNOWN: usize = 1024;
const LONGEST_KNOWN: usize = 200;

thread_local! {
    static KNOWN: RefCell<HashMap<String, Vec<KeyValueSpan>>> = RefCell::default();
}

fn customs(source: &Source) -> Customs {
    Customs {
        order: source.assume().get("date").and_then(DatePartOrder::named),
        decimal_comma: source.assume().get("decimal").map(|answer| answer == "comma"),
    }
}

fn text(source: &Source, range: Range<usize>) -> &str {
    source.text().get(range).unwrap_or("")
}

fn origin(source: &Source, range: &Range<usize>) -> Origin {
    Origin::Source(source.place(Span::new(range.start, range.end)))
}

/// Turns a pair into a claim: the key into a known field where its word is known, the value into a number, range,
/// date or text of that field's kind. `key` and `value` are byte ranges of the source's text.
///
/// A word that is unknown stays the key, as it was spelled. What only a person can decide becomes a question.
pub fn claim(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    key: Range<usize>,
    value: Range<usize>,
) {
    claim_under(fields, questions, source, text(source, key).trim(), value);
}

/// The same for a pair of a line that begins at byte `base`.
pub(crate) fn claim_pair(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    base: usize,
    pair: &KeyValueSpan,
) {
    let at = |range: &Range<usize>| base + range.start..base + range.end;
    let spelling = text(source, at(&pair.key)).trim();
    let customs = customs(source);
    let says = pair.says.as_deref();
    claim_with(
        fields,
        questions,
        source,
        spelling,
        at(&pair.value),
        says,
        customs,
    );
}

/// The same under a key that does not stand in the source.
pub(crate) fn claim_under(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    value: Range<usize>,
) {
    claim_with(fields, questions, source, spelling, value, None, customs(source));
}

/// Claims a date whose order of day and month other dates of the source have settled, where they have.
pub(crate) fn claim_date(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    value: Range<usize>,
    order: Option<DatePartOrder>,
) {
    let customs = customs(source);
    let order = order.or(customs.order);
    claim_with(
        fields,
        questions,
        source,
        "date",
        value,
        None,
        Customs { order, ..customs },
    );
}

fn claim_with(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    value: Range<usize>,
    says: Option<&str>,
    customs: Customs,
) {
    // `Sample TAB : leaf`: the colon was set under those of the other lines.
    let whole = text(source, value.clone());
    let raw = whole.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, ':' | '='));
    let value = value.end - raw.len()..value.end;
    let raw = raw.trim_end();
    let says = says.map(|says| says.trim_start_matches([':', '=', ' ']));
    if spelling.is_empty() || raw.is_empty() || is_empty_value(spelling, raw) {
        return;
    }
    if says.is_none() && claim_name_and_day(fields, questions, source, spelling, &value, customs) {
        return;
    }
    // `T = 25 C, pH 8.2`, `enzyme: urease, pH 7.0`: a value, and conditions behind it that have no keys.
    if says.is_none()
        && let Some(end) = end_of_value(source, spelling, value.start, raw, customs)
    {
        let end = value.start + end;
        let rest = end..value.start + raw.len();
        let mut passing = Passing::default();
        let of_measurement = matches!(field_of(spelling), Some("ph" | "wavelength" | "path-length"));
        passing.take_beside(source, rest.clone(), of_measurement);
        let before = fields.all("date").len();
        if free::is_followed_by_day_of_run(spelling, text(source, value.start..end)) {
            free::claim_dates(fields, source, rest.clone());
        }
        keep_rest(
            fields,
            source,
            rest,
            passing.len() + fields.all("date").len() - before,
        );
        claim_with(
            fields,
            questions,
            source,
            spelling,
            value.start..end,
            None,
            customs,
        );
        passing.settle(fields);
        return;
    }
    // A number and its unit in cells of their own.
    let apart = raw
        .split_once([';', '\t'])
        .filter(|(number, unit)| {
            number
                .trim_start()
                .starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.' | ','))
                && spelled(unit.trim()) != Spelling::None
        })
        .map(|(number, unit)| format!("{} {}", number.trim(), unit.trim()));
    let (field, mut found) = understand(spelling, says.or(apart.as_deref()).unwrap_or(raw), customs);
    // `Probe:` and several names with tabs between them: none of them is that of the run. A number is a reading of it, and
    // `Absorbance` the header of such.
    if field.as_str() == "sample"
        && says.is_none()
        && (are_several(raw) || is_reading(raw) || words::quantity_of(raw).is_some_and(|of| of.is_of_light()))
    {
        let origin = origin(source, &(value.start..value.start + raw.len()));
        fields.claim("comment", Claim::text(raw, origin));
        return;
    }
    if field.as_str() == "date"
        && !found.fits
        && found.question.is_none()
        && says.is_none()
        && let Some(end) = end_of_day(raw, customs)
    {
        let end = value.start + end;
        claim_with(
            fields,
            questions,
            source,
            spelling,
            value.start..end,
            None,
            customs,
        );
        let rest = text(source, end..value.start + raw.len());
        let name = rest.trim_start();
        match meaning::by_somebody(name) {
            Some(somebody) => {
                let from = value.start + raw.len() - somebody.len();
                claim_with(
                    fields,
                    questions,
                    source,
                    "operator",
                    from..from + somebody.len(),
                    None,
                    customs,
                );
            }
            None => keep_rest(fields, source, end..value.start + raw.len(), 0),
        }
        return;
    }
    // What is no number is kept as it stands, with its separators.
    if matches!(&found.value, Value::Text(text) if says == Some(text)) {
        found.value = Value::Text(raw.to_owned());
    }
    let place = source.place(Span::new(value.start, value.end));
    put(fields, questions, source, (spelling, raw), (field, &found), place);
}

/// Claims somebody's name and the day behind it, `Salma B. - 09/10/2018`; whether there are both.
fn claim_name_and_day(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    value: &Range<usize>,
    customs: Customs,
) -> bool {
    let raw = text(source, value.clone()).trim_end();
    let parted = keys::day_behind_name(raw, customs.order);
    let Some((name, day, sure)) = parted.filter(|_| field_of(spelling) == Some("operator")) else {
        return false;
    };
    let (name, rest) = (
        value.start..value.start + name,
        value.start + day..value.start + raw.len(),
    );
    claim_with(fields, questions, source, spelling, name, None, customs);
    let known = fields.all("date").len();
    if sure {
        let day = text(source, rest.clone()).trim_end_matches([')', ']', ' ', ';', ',']);
        free::claim_dates(fields, source, rest.start..rest.start + day.len());
    }
    if fields.all("date").len() == known {
        keep_rest(fields, source, rest, 0);
    }
    true
}

/// Keeps the statements behind a value as a remark where not each of them became a claim: a day of something else than the run,
/// a temperature that may be that of a store.
fn keep_rest(fields: &mut Fields, source: &Source, range: Range<usize>, claimed: usize) {
    let rest = text(source, range.clone());
    // A wavelength is heard with the words around the table.
    let said = |statement: &Range<usize>| {
        let statement = &rest[statement.clone()];
        statement.contains(char::is_alphanumeric) && !phrases::is_wavelength(statement.trim())
    };
    if statements(rest)
        .iter()
        .filter(|statement| said(statement))
        .count()
        <= claimed
    {
        return;
    }
    let bare =
        rest.trim_start_matches(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | '|' | '·' | '•'));
    let at = range.end - bare.len()..range.end;
    fields.claim("comment", Claim::text(bare.trim_end(), origin(source, &at)));
}

/// Where the value of a key, at byte `at`, ends, if conditions or a date follow in statements of their own. Where the key itself is
/// one of several statements, one condition among them is enough.
fn end_of_value(source: &Source, spelling: &str, at: usize, raw: &str, customs: Customs) -> Option<usize> {
    // `Stopped with: 1 M HCl, pH 1.2`
    if passing::is_treatment(spelling) {
        return None;
    }
    let mut statements = statements(raw).into_iter();
    let first = &raw[statements.next()?];
    let rest: Vec<&str> = statements
        .map(|statement| raw[statement].trim())
        .filter(|statement| !statement.is_empty())
        .collect();
    if rest.is_empty() || first.trim().is_empty() {
        return None;
    }
    let kept_apart = is_kept_apart(spelling);
    let of_the_run = |statement: &str| {
        let found = phrases::condition(statement.trim(), customs);
        found.is_some_and(|(field, _)| !kept_apart || field != "temperature")
    };
    let kind = field_of(spelling).and_then(known_field).map(|known| known.kind);
    // A date that is none of the run's belongs to the words that it stands behind.
    let dated = !matches!(kind, Some(ValueKind::Text)) || free::is_followed_by_day_of_run(spelling, first);
    let other = |statement: &&str| of_the_run(statement) || dated && free::is_dated(statement, customs);
    let all = rest.iter().all(other);
    let any = || rest.iter().any(other);
    // `Temperature: 20 °C, 25 °C`: two values of one key, of which neither is the one.
    let meant = || understand(spelling, first, customs).0;
    let again = |statement: &&str| {
        let statement = statement.trim();
        let field = phrases::condition(statement, customs).map(|(field, _)| field);
        let field = field.or_else(|| phrases::is_wavelength(statement).then_some("wavelength"));
        field.is_some_and(|field| field == meant().as_str())
    };
    // A wavelength among them is heard with the words around the table.
    let conditions = |statement: &&str| other(statement) || phrases::is_wavelength(statement);
    let ends = match kind {
        Some(ValueKind::Text) => {
            let plain = !raw[first.len()..].contains('"');
            // Prose goes on behind a comment, and a buffer may be named after its pH.
            plain && (all || is_amid(source, at) && any())
        }
        Some(ValueKind::Date) => false,
        // `5·10-3 mM, 25 °C`: a number that is not understood takes nothing with it.
        Some(ValueKind::Number(_) | ValueKind::Range(_)) => {
            rest.iter().all(conditions)
                && !rest.iter().any(again)
                && first.contains(|c: char| c.is_ascii_digit())
        }
        // `File: pnpp_08     405 nm     25.0 °C`: gaps part what is known from what is not.
        _ if ["  ", "\t"].iter().any(|gap| raw[first.len()..].starts_with(gap))
            && rest.iter().all(conditions) =>
        {
            true
        }
        _ => {
            let found = || understand(spelling, first, customs).1;
            all && matches!(
                found(),
                Interpretation {
                    fits: true,
                    value: Value::Number(_),
                    ..
                }
            )
        }
    };
    ends.then_some(first.trim_end().len())
}

/// Whether a text is a number with decimals and nothing else, `0,05`: a reading of the sample, and no name of it.
fn is_reading(raw: &str) -> bool {
    let raw = raw.trim();
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    raw.split_once(['.', ',']).is_some_and(|(whole, decimals)| {
        whole.len() == 1 && digits(whole) && decimals.len() >= 2 && digits(decimals)
    })
}

/// Whether a value is several names, with tabs or semicolons and blanks between them. `BSA; 1 mg/mL` and `Tea, batch 4; pH 7` are one
/// and what is known of it.
fn are_several(raw: &str) -> bool {
    ["\t", "; "]
        .into_iter()
        .filter(|sign| raw.contains(sign))
        .any(|sign| {
            let parts = raw.split(sign).map(str::trim).filter(|part| !part.is_empty());
            let amount = |part: &str| {
                let of_something =
                    |held: &curvary_record::Coordinate| held.quantity != curvary_record::Quantity::UNKNOWN;
                part.starts_with(|c: char| c.is_ascii_digit())
                    && crate::column_header::read_column_header(part)
                        .held
                        .iter()
                        .any(of_something)
            };
            let mut parts = parts.filter(|part| !is_condition(part) && !amount(part));
            let first = parts.next();
            parts.any(|part| Some(part) != first)
        })
}

/// Where the day ends with which a value begins, `12 Apr 2006` of `12 Apr 2006 by M. Deighton`.
fn end_of_day(raw: &str, customs: Customs) -> Option<usize> {
    const MOST_WORDS: usize = 5;
    let ends = raw.match_indices(' ').map(|(at, _)| at).take(MOST_WORDS);
    let is_day = |end: &usize| {
        let date = curvary_record::moment::read_date(raw[..*end].trim(), customs.order);
        date.is_day()
    };
    ends.filter(is_day).last()
}

/// Whether a comma stands on the line in front of byte `at`: the key there is not its first statement.
fn is_amid(source: &Source, at: usize) -> bool {
    let text = source.text();
    let line = text[..at].rfind('\n').map_or(0, |end| end + 1);
    text[line..at].contains(", ")
}

/// The same for a key and a value that another reader found, at a place that it names.
pub(crate) fn claim_at(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    spelling: &str,
    raw: &str,
    place: Place,
) {
    let (spelling, raw) = (spelling.trim(), raw.trim());
    if spelling.is_empty() || raw.is_empty() {
        return;
    }
    let (field, found) = understand(spelling, raw, customs(source));
    put(fields, questions, source, (spelling, raw), (field, &found), place);
}

/// Claims what was understood, and asks what only a person can decide.
fn put(
    fields: &mut Fields,
    questions: &mut Vec<Question>,
    source: &Source,
    (spelling, raw): (&str, &str),
    (field, found): (Key, &Interpretation),
    place: Place,
) {
    if let Some(mut question) = found.question.clone() {
        question.labels.push(Label {
            place: place.clone(),
            text: format!("`{spelling}`"),
        });
        if !source.assume().settle(&question) && !questions.contains(&question) {
            questions.push(question);
        }
    }
    let field = beside_what_was_set(fields, field, spelling);
    if let Some((other, value)) = &found.aside {
        let mut claim = found.claim(raw, Origin::Source(place.clone()));
        claim.value = value.clone();
        claim.unit = None;
        fields.claim(other.clone(), claim.spelled(spelling));
    }
    fields.claim(field, found.claim(raw, Origin::Source(place)).spelled(spelling));
}

#[cfg(test)]
mod tests;
