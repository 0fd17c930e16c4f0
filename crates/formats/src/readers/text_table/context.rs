//! What the words around a table say about it.

mod line;

use std::cell::RefCell;
use std::collections::{BTreeSet, HashSet};

use curvary_record::{Fields, Quantity, Unit, Value};
use hashbrown::HashMap;

use super::measured_at;
use super::scan::{TextLine, strip_remark};
use super::wells::WellNames;
use crate::preamble;
use crate::words::{self, WordList};

/// At most so many lines of words are searched for what was measured.
const MAX_LINES: usize = 400;

/// A line from this many bytes on is a sentence, and no title that gives a factor.
const LONGEST_TITLE: usize = 60;

/// What so many lines say is remembered, none of them longer than this: the same lines stand above many tables, in one
/// file and in all files of a program.
const MOST_KNOWN: usize = 1024;
const LONGEST_KNOWN: usize = 200;

thread_local! {
    static KNOWN: RefCell<HashMap<String, Context>> = RefCell::default();
}

/// What lines of a word and a number say of an axis, each of which may mean something else as well: they are believed where they
/// agree with the count of the values.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct AxisInWords {
    /// Where it begins.
    pub(super) first: Option<f64>,
    /// Where it ends.
    pub(super) last: Option<f64>,
    /// From one point to the next.
    pub(super) step: Option<f64>,
    /// How many points it has.
    pub(super) points: Option<f64>,
}

impl AxisInWords {
    /// Takes over what a later line says and none before it did.
    fn take_over(&mut self, later: &Self) {
        self.first = self.first.or(later.first);
        self.last = self.last.or(later.last);
        self.step = self.step.or(later.step);
        self.points = self.points.or(later.points);
    }

    /// Takes in a line of a word or two and a number, perhaps in nanometres: `START     400 NM`, `FROM nm  800`.
    fn hear(&mut self, line: &str) {
        // `START 400 NM  STEP 2 NM  N 40`
        for statement in line.split("  ").filter(|statement| !statement.trim().is_empty()) {
            self.hear_statement(statement);
        }
        if line.contains("  ") {
            self.hear_statement(line);
        }
    }

    fn hear_statement(&mut self, line: &str) {
        const MOST_WORDS: usize = 4;
        const LONGEST: usize = 48;
        if line.len() > LONGEST {
            return;
        }
        let tokens: Vec<&str> = line
            .split([' ', '\t', ':', '=', '#'])
            .filter(|token| !token.is_empty())
            .collect();
        let nanometres = |token: &str| token.eq_ignore_ascii_case("nm");
        let plain: Vec<&str> = tokens
            .iter()
            .copied()
            .filter(|token| !nanometres(token))
            .collect();
        let Some((number, words)) = plain.split_last().filter(|(_, words)| !words.is_empty()) else {
            return;
        };
        let Ok(number) = number.replace(',', ".").parse::<f64>() else {
            return;
        };
        let letters = |word: &&str| word.chars().all(char::is_alphabetic);
        if tokens.len() > MOST_WORDS || !words.iter().all(letters) {
            return;
        }
        let symbol = |word: &&&str| word.chars().count() > 1 || words.len() == 1;
        let key = words.iter().filter(symbol).copied().collect::<Vec<_>>().join(" ");
        let means = |field: &str| {
            words::field_of(&key) == Some(field) || words::fields_if_fitting(&key).contains(&field)
        };
        let place = if means("first-wavelength") {
            &mut self.first
        } else if means("last-wavelength") {
            &mut self.last
        } else if means("step") || words::begins(WordList::Step, &key.to_lowercase()) {
            &mut self.step
        } else if means("points") || words::is(WordList::Count, &key) {
            &mut self.points
        } else {
            return;
        };
        place.get_or_insert(number);
    }
}

/// The trade's words in the lines around a table, and what is known of the run.
#[derive(Clone, Debug, Default)]
pub(super) struct Context {
    /// Quantities that are named.
    pub(super) quantities: BTreeSet<Quantity>,
    /// What runs, and its unit, where a line names both axes and nothing else: `nm / absorbance`.
    pub(super) axes: Option<(Quantity, Unit)>,
    /// A title that says what was measured with a factor of ten: `absorbance × 1000`.
    pub(super) scaled: Option<String>,
    /// What a title says that the values were computed to: a derivative, a logarithm.
    pub(super) computed: Option<Quantity>,
    /// Optical quantities beyond ours that are named: absorption cross sections, coefficients.
    pub(super) others: BTreeSet<Quantity>,
    /// Their initials: `dOD` below the words `differential optical depth` is that.
    abbreviated: Vec<(String, Quantity)>,
    /// A line that is a header of what nobody writes beside a measurement of light: days of the week, prices.
    pub(super) of_another_trade: Option<String>,
    /// Transmittance is named in percent.
    pub(super) percent: bool,
    /// Transmittance is named as a fraction of one.
    pub(super) fraction: bool,
    /// Units of time, wavelength and the like that are named.
    pub(super) units: BTreeSet<Unit>,
    /// Words that name a kind of measurement.
    pub(super) spectrum: bool,
    pub(super) kinetics: bool,
    pub(super) peaks: bool,
    /// Cells are named through which light goes.
    pub(super) cells: bool,
    /// A wavelength at which was measured.
    pub(super) wavelength: Option<(f64, Unit, u32)>,
    /// Two wavelengths that keys state, the first and one that is another.
    pub(super) disputed: Option<((f64, Unit), (f64, Unit))>,
    /// The wavelengths that lines name in passing: of several, none is the one.
    heard: Vec<(f64, Unit)>,
    /// What a filter lets through, in nanometres: at that was measured where no wavelength is said.
    filter: Option<f64>,
    /// The time between readings, in seconds, as the source gives it.
    pub(super) interval: Option<f64>,
    /// How long was measured, in seconds.
    pub(super) duration: Option<f64>,
    /// First and last wavelength of the scan, in nanometres.
    pub(super) range: Option<(f64, f64)>,
    /// The wavelength, in nanometres, at which the scan began.
    pub(super) first: Option<f64>,
    /// The wavelength, in nanometres, at which the scan ended.
    pub(super) last: Option<f64>,
    /// The distance of neighbouring points, in nanometres.
    pub(super) step: Option<f64>,
    /// How many points there are, as the words say.
    pub(super) points: Option<f64>,
    /// Where an axis begins, ends and how it goes on, as lines without the signs of keys say: `FIRST 400 nm`.
    pub(super) axis_in_words: AxisInWords,
    /// Quantities whose unit a phrase states: `Zeit in min`.
    stated: Vec<(Quantity, Unit)>,
    /// Numbers that a line declares to stand for missing values.
    pub(super) sentinels: Vec<f64>,
    /// Times are said to be minutes and seconds: `mm:ss`.
    pub(super) minutes_and_seconds: bool,
    /// What one line says of several runs that stand side by side, from left to right.
    pub(super) beside: Vec<Fields>,
    /// What stands in the wells of a plate.
    pub(super) wells: WellNames,
    /// The scan has a speed in nanometres per time, or a step in nanometres.
    pub(super) scans: bool,
}

/// A longer line is a paragraph.
const LONGEST_SENTENCE: usize = 200;
/// The lines that hold the title.
const TITLE_LINES: u32 = 5;

/// The wavelength of words such as `read at 652 nm against chloroform`.
fn wavelength_told_by_at(phrase: &str) -> Option<f64> {
    let words: Vec<&str> = phrase.split_whitespace().collect();
    let (at, _) = words
        .iter()
        .enumerate()
        .find(|(_, word)| words::is(WordList::At, word))?;
    let number = words.get(at + 1)?;
    let glued = number.strip_suffix("nm").or_else(|| number.strip_suffix("нм"));
    let apart = || {
        words
            .get(at + 2)
            .filter(|unit| matches!(**unit, "nm" | "нм"))
            .map(|_| *number)
    };
    let value = glued.or_else(apart)?.replace(',', ".").parse::<f64>().ok()?;
    crate::light::IN_PASSING.contains(&value).then_some(value)
}

/// Whether a line in small letters speaks of light that something is lit with, of another wavelength than that of the
/// measurement, or of the size of particles.
fn tells_other_light(lower: &str) -> bool {
    lower
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty())
        .any(|word| {
            words::begins(WordList::LightShone, word)
                || words::begins(WordList::AnotherWavelength, word)
                || words::begins(WordList::OfSize, word)
                || words::begins(WordList::Dimension, word)
                || words::ends(WordList::Dimension, word)
        })
}

/// The number of the only wavelength in the midst of a statement: the `620` of `COD 620nm round cuvettes`.
fn lone_wavelength(statement: &str) -> Option<&str> {
    let words: Vec<&str> = statement.split_whitespace().collect();
    let number = |word: &&str| word.starts_with(|c: char| c.is_ascii_digit());
    let at = |place: usize| {
        let glued = words[place].strip_suffix("nm").filter(|front| number(front));
        glued.or_else(|| {
            let unit = words
                .get(place + 1)
                .is_some_and(|unit| matches!(*unit, "nm" | "нм"));
            Some(words[place]).filter(|word| unit && number(word))
        })
    };
    let mut found = (0..words.len()).filter_map(at);
    let first = found.next()?;
    found.next().is_none().then_some(first)
}

/// Whether two wavelengths are one, whatever their units: 412 nm and 0.412 µm.
fn is_same_length((one, unit): &(f64, Unit), (other, of_other): &(f64, Unit)) -> bool {
    /// No source writes more than nine digits, and conversions are good to more.
    const EQUAL: f64 = 1e-9;
    if unit == of_other {
        return one == other;
    }
    let nanometres = |value: f64, unit: &Unit| unit.convert(value, &Unit::NANOMETRE).ok();
    match (nanometres(*one, unit), nanometres(*other, of_other)) {
        (Some(one), Some(other)) => (one - other).abs() <= EQUAL * one.abs(),
        _ => false,
    }
}

/// Whether a line states a value under a key that is none of the measurement: `Lamp change: 340 nm`, `Reference: 650 nm`, and a
/// wavelength under a key that is not known to be the one at which was measured, `Wavelength calibration: 656.1 nm`.
fn is_of_other_things(line: &str) -> bool {
    let Some((key, value)) = key_of_line(line) else {
        return false;
    };
    let field = words::field_of(key);
    let apparatus = field.is_some_and(|field| {
        matches!(
            field,
            "lamp"
                | "reference"
                | "bandwidth"
                | "baseline"
                | "blank"
                | "accessory"
                | "detector"
                | "first-wavelength"
                | "last-wavelength"
                | "processing"
        )
    });
    // Behind a comma a sentence goes on: `Extinktion, Spalten: Zeit in min`.
    let plain = !key.contains([',', ';', '.']) && value.contains("nm");
    let another = || {
        let lower = key.to_lowercase();
        let mut words = lower.split([' ', '-']);
        words.any(|word| {
            words::begins(WordList::AnotherWavelength, word)
                || plain
                    && (words::begins(WordList::LightShone, word) || words::begins(WordList::OfSize, word))
        })
    };
    apparatus || another() || field.is_none() && is_wavelength(value) && !is_of_the_reading(key)
}

/// The wavelength that a filter lets through, `Filter: 340 nm`: a photometer with filters measures at that. What is filtered has
/// pores.
fn wavelength_of_filter(line: &str) -> Option<f64> {
    const OF_PHOTOMETERS: std::ops::RangeInclusive<f64> = 280.0..=900.0;
    // `FILTER 405 NM`, `Plate read 14:22   filter 570 nm`
    let in_words = || {
        let lower = line.to_lowercase();
        preamble::statements(&lower).into_iter().find_map(|statement| {
            let words: Vec<&str> = lower[statement].split_whitespace().collect();
            let (filter, number) = match words.as_slice() {
                [filter, number, "nm" | "нм"] => (filter, number.parse::<f64>().ok()?),
                [filter, glued] => (filter, glued.strip_suffix("nm")?.parse::<f64>().ok()?),
                _ => return None,
            };
            (words::is(WordList::Filter, filter) && OF_PHOTOMETERS.contains(&number)).then_some(number)
        })
    };
    let Some((key, value)) = key_of_line(line).filter(|_| line.trim_end().ends_with(['m', 'м', ';', ',']))
    else {
        return in_words();
    };
    let number = super::scan::leading_number(value)?;
    let alone = value
        .trim()
        .trim_end_matches([';', ','])
        .split_whitespace()
        .count()
        <= 2;
    let lets_through = alone && words::is(WordList::Filter, key) && is_wavelength(value);
    (lets_through && OF_PHOTOMETERS.contains(&number)).then_some(number)
}

/// The key that a line begins with, and what stands behind it: in front of a colon or an equals sign, or in a cell of its own.
fn key_of_line(line: &str) -> Option<(&str, &str)> {
    let line = line.trim();
    if let Some(pair) = line.split_once(':') {
        // Behind it may stand the signs of empty cells.
        let pads = |c: char| c.is_whitespace() || matches!(c, ';' | '|' | ',');
        return Some((pair.0.trim(), pair.1.trim_matches(pads)));
    }
    if let Some((key, value)) = line
        .split_once('=')
        .filter(|(_, value)| is_wavelength(value.trim()))
    {
        return Some((key.trim(), value.trim()));
    }
    // A blank behind a comma is that of a title: `Extract of kale, 412 nm`.
    let at = line.find([';', '\t', '|', ','])?;
    let (key, value) = (&line[..at], &line[at + 1..]);
    let pads = |c: char| c.is_whitespace() || matches!(c, ';' | '|' | ',');
    let (title, value) = (value.starts_with(' '), value.trim_matches(pads));
    let stated = value.starts_with(|c: char| c.is_ascii_digit()) && value.contains("nm");
    (!title && stated).then_some((key.trim(), value))
}

/// `656.1 nm`, and nothing else.
fn is_wavelength(value: &str) -> bool {
    let number = value
        .trim_end_matches('.')
        .strip_suffix("nm")
        .or_else(|| value.strip_suffix("нм"));
    number.is_some_and(|number| number.trim().replace(',', ".").parse::<f64>().is_ok())
}

/// Whether a key that no list has may be of a reading: it names what was measured, or is a word for a wavelength and words for the
/// reading in front of it, `Assay wavelength`.
fn is_of_the_reading(key: &str) -> bool {
    let light = |word: &str| {
        words::quantity_of(word)
            .as_ref()
            .is_some_and(Quantity::is_of_light)
    };
    let head = crate::column_header::read_column_header(key);
    if head.quantity.as_ref().is_some_and(Quantity::is_of_light)
        || words::fields_if_fitting(key).contains(&"wavelength")
    {
        return true;
    }
    let mut parts: Vec<&str> = key
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty())
        .collect();
    let Some(last) = parts.pop() else { return false };
    let read = |word: &str| {
        let lower = word.to_lowercase();
        light(word)
            || words::is(WordList::Measured, word)
            || words::is(WordList::At, word)
            || words::begins(WordList::ReadAt, &lower) && !words::begins(WordList::AnotherDate, &lower)
            || words::begins(WordList::BegunThing, &lower)
            || words::begins(WordList::MeasuredThing, &lower)
    };
    let wavelength = words::quantity_of(last) == Some(Quantity::WAVELENGTH);
    parts.iter().all(|word| read(word)) && (wavelength || read(last))
}

/// Whether a line in small letters names two wavelengths and more behind each other, `405 and 620 nm`: the last one is not the one.
fn lists_wavelengths(lower: &str) -> bool {
    let parts: Vec<&str> = lower
        .split([' ', '\t', ',', ';', '(', ')', ':'])
        .filter(|part| !part.is_empty())
        .collect();
    let light = |part: &str| {
        let bare = part.strip_suffix("nm").unwrap_or(part);
        bare.parse::<f64>()
            .is_ok_and(|value| crate::light::IN_PASSING.contains(&value))
    };
    parts.windows(3).any(|three| {
        let and = matches!(three[1], "+" | "&" | "/")
            || words::is(WordList::And, three[1])
            || words::is(WordList::Or, three[1]);
        and && light(three[0]) && light(three[2])
    })
}

/// Whether a statement in small letters names a wavelength that is none of the reading: a word for it that does not stand in front
/// of the number, `lambda max 431 nm`, `wavelength calibration at 656.1 nm`, or is that of a peak, `peak wavelength 431 nm`.
fn names_another_wavelength(lower: &str) -> bool {
    let small = |word: &str| {
        words::is(WordList::At, word)
            || words::is(WordList::Link, word)
            || words::is(WordList::Genitive, word)
            || words::is(WordList::InChain, word)
            || words::is(WordList::Measured, word)
            || words::is(WordList::Auxiliary, word)
    };
    preamble::statements(lower).into_iter().any(|statement| {
        let Some(number) = lower[statement.clone()].find(|c: char| c.is_ascii_digit()) else {
            return false;
        };
        let front = &lower[statement.start..statement.start + number];
        let parts: Vec<&str> = front
            .split(|c: char| !(c.is_alphabetic() || c == '\''))
            .filter(|word| !word.is_empty())
            .collect();
        // Terms of two or three words, too: `longueur d'onde`.
        let term = |from: usize, to: usize| {
            to <= parts.len() && words::quantity_of(&parts[from..to].join(" ")) == Some(Quantity::WAVELENGTH)
        };
        let end =
            (0..parts.len()).find_map(|from| (1..=3).map(|length| from + length).find(|to| term(from, *to)));
        end.is_some_and(|to| {
            !parts[to..].iter().all(|word| small(word))
                || parts[..to].iter().any(|word| words::begins(WordList::Peak, word))
        })
    })
}

impl Context {
    /// Gathers from lines of words and from the claims made of them.
    ///
    /// Where its `own` lines, of a later table, name a wavelength, those that the others name are not of this table.
    pub(super) fn gather(text: &str, lines: &[TextLine], own: &[TextLine], fields: &Fields) -> Self {
        let mut context = Self::default();
        let mut of_own = Self::default();
        for line in &own[..own.len().min(MAX_LINES)] {
            of_own.hear_known(strip_remark(&text[line.span.range()]).1);
        }
        // What stands on every page of a report says no more than what stands once; the last word counts.
        let lines = &lines[..lines.len().min(MAX_LINES)];
        let mut heard: HashSet<&str> = HashSet::with_capacity(lines.len());
        let mut once: Vec<&str> = lines
            .iter()
            .rev()
            .map(|line| strip_remark(&text[line.span.range()]).1)
            .filter(|&line| heard.insert(line))
            .collect();
        once.reverse();
        for line in once {
            context.hear_known(line);
        }
        if !of_own.heard.is_empty() {
            context.heard = of_own.heard;
        }
        if let Some(filter) = of_own
            .filter
            .or(context.filter)
            .filter(|_| context.heard.is_empty())
        {
            context.heard.push((filter, Unit::NANOMETRE));
        }
        // What the first lines end with, where nothing says more.
        if context.heard.is_empty() {
            for line in lines.iter().filter(|line| line.line <= TITLE_LINES) {
                let line = strip_remark(&text[line.span.range()]).1;
                if !is_of_other_things(line) {
                    context.hear_ending(line);
                }
            }
        }
        if let Some((first, unit)) = context.heard.first()
            && context
                .heard
                .iter()
                .all(|other| is_same_length(other, &(*first, unit.clone())))
        {
            context.wavelength = Some((*first, unit.clone(), 0));
        }
        let nanometres = |unit: &Option<Unit>, value: f64| {
            unit.as_ref()
                .and_then(|unit| unit.convert(value, &Unit::NANOMETRE).ok())
        };
        if let Some(claim) = fields.get("wavelength")
            && let Value::Number(value) = claim.value
        {
            let line = match &claim.origin {
                curvary_record::Origin::Source(place) => place.line,
                _ => 0,
            };
            context.wavelength = Some((value, claim.unit.clone().unwrap_or(Unit::NANOMETRE), line));
        }
        let numbers: Vec<(f64, Unit)> = fields
            .all("wavelength")
            .iter()
            .filter(|claim| matches!(claim.origin, curvary_record::Origin::Source(_)))
            .filter_map(|claim| match claim.value {
                Value::Number(value) => Some((value, claim.unit.clone().unwrap_or(Unit::NANOMETRE))),
                _ => None,
            })
            .collect();
        if let Some((first, others)) = numbers.split_first()
            && let Some(other) = others.iter().rfind(|other| !is_same_length(first, other))
        {
            context.disputed = Some((first.clone(), other.clone()));
        }
        // `all readings at 405 nm` above `wavelength: 412 nm`.
        if let Some(key) = numbers.first().filter(|_| context.disputed.is_none()) {
            let mut others = context.heard.iter().filter(|heard| !is_same_length(heard, key));
            if let Some(other) = others.next()
                && others.all(|one| is_same_length(one, other))
            {
                context.disputed = Some((other.clone(), key.clone()));
            }
        }
        if let Some(claim) = fields.get("wavelength-range")
            && let Value::Range { from, to } = claim.value
        {
            context.range = nanometres(&claim.unit, from).zip(nanometres(&claim.unit, to));
        }
        // A number without a unit is in the unit that is customary for the field.
        let customary = |key: &str| -> Option<f64> {
            let claim = fields.get(key)?;
            match claim.value {
                Value::Number(value) if claim.unit.as_ref().is_none_or(|unit| *unit == Unit::ONE) => {
                    Some(value)
                }
                Value::Number(value) => nanometres(&claim.unit, value),
                _ => None,
            }
        };
        context.first = customary("first-wavelength").or(context.range.map(|(from, _)| from));
        context.last = customary("last-wavelength").or(context.range.map(|(_, to)| to));
        context.step = customary("step").map(f64::abs);
        context.points = customary("points");
        context.interval = fields.si("interval");
        context.duration = fields.si("duration");
        context.scans =
            fields.get("scan-speed").is_some() || fields.get("step").is_some() || context.range.is_some();
        context
    }

    /// `Absorbance (405 nm)`, `354 nm`: the wavelength at which was measured, within the range of instruments.
    fn hear_wavelength(&mut self, head: &crate::column_header::ColumnHeader) {
        let measured = head
            .quantity
            .as_ref()
            .is_none_or(|quantity| quantity.is_of_light());
        let [held] = head.held.as_slice() else { return };
        let alone = head.label.is_none() && head.quantities_possible.is_empty();
        if measured
            && alone
            && held.quantity == Quantity::WAVELENGTH
            && crate::light::NEAR_WORDS
                .contains(&held.unit.convert(held.value, &Unit::NANOMETRE).unwrap_or(0.0))
        {
            self.heard.push((held.value, held.unit.clone()));
        }
    }

    /// `Calibration of p-nitrophenol (405 nm)`: a title that ends in the wavelength, in brackets of its own. Light that
    /// a sample is lit with, `irradiated (365 nm)`, is another.
    fn hear_bracketed(&mut self, line: &str) {
        if line.len() > LONGEST_TITLE || !line.trim_end().ends_with(')') {
            return;
        }
        let lower = line.to_lowercase();
        let shone = lower
            .split(|c: char| !c.is_alphabetic())
            .any(|word| words::begins(WordList::LightShone, word));
        if shone {
            return;
        }
        if let Some((title, bracket)) = line
            .trim_end()
            .strip_suffix(')')
            .and_then(|line| line.rsplit_once('('))
            && title.trim_end().ends_with(char::is_alphanumeric)
            && !bracket.contains(['(', ')'])
        {
            self.hear_wavelength(&crate::column_header::read_column_header(bracket));
        }
    }

    /// `Calibration of caffeine 273 nm`: a title of something read at one wavelength, with a lone wavelength. Sizes of particles
    /// and light that a sample is lit with are others.
    fn hear_titled(&mut self, line: &str) {
        if line.len() > LONGEST_TITLE {
            return;
        }
        let lower = line.to_lowercase();
        // Most lines have no such unit.
        if !lower.contains("nm") && !lower.contains("нм") {
            return;
        }
        let words = || {
            lower
                .split(|c: char| !c.is_alphabetic())
                .filter(|word| !word.is_empty())
        };
        let read = |word: &str| {
            words::begins(WordList::ReadAt, word)
                || words::quantity_of(word)
                    .is_some_and(|quantity| quantity.is_of_light() || quantity == Quantity::WAVELENGTH)
        };
        let parts: Vec<&str> = lower
            .split([' ', '\t', ',', ';', '(', ')'])
            .filter(|part| !part.is_empty())
            .collect();
        let known = words().any(read)
            || (1..parts.len()).any(|at| {
                words::may_begin_a_quantity(parts[at - 1])
                    && words::quantity_of(&format!("{} {}", parts[at - 1], parts[at]))
                        == Some(Quantity::WAVELENGTH)
            });
        if tells_other_light(&lower)
            || !known
            || names_another_wavelength(&lower)
            || lists_wavelengths(&lower)
        {
            return;
        }
        let number = |text: &str| {
            text.replace(',', ".")
                .parse::<f64>()
                .ok()
                .filter(|value| crate::light::IN_PASSING.contains(value))
        };
        // `882 nm-en`: an ending of a language that puts them behind.
        let unit = |part: &str| matches!(part, "nm" | "нм") || part.starts_with("nm-");
        let found: Vec<f64> = parts
            .iter()
            .enumerate()
            .filter_map(|(at, part)| {
                let glued = part
                    .strip_suffix("nm")
                    .or_else(|| part.strip_suffix("нм"))
                    .and_then(number);
                let apart = parts
                    .get(at + 1)
                    .filter(|next| unit(next))
                    .and_then(|_| number(part));
                glued.or(apart)
            })
            .collect();
        if let [value] = found[..] {
            self.heard.push((value, Unit::NANOMETRE));
        }
    }

    /// `Phosphate, molybdenum blue 880 nm`: a title, or a statement of it, that ends in a wavelength. Sizes of particles and light
    /// that a sample is lit with are others.
    fn hear_ending(&mut self, line: &str) {
        /// A longer statement, the number and its unit among them, is prose.
        const MOST_WORDS: usize = 8;
        let heard = self.heard.len();
        let lower = line.to_lowercase();
        if line.len() > LONGEST_SENTENCE
            || !lower.contains("nm") && !lower.contains("нм")
            || tells_other_light(&lower)
            || names_another_wavelength(&lower)
            || lists_wavelengths(&lower)
        {
            return;
        }
        for phrase in preamble::phrases(&lower) {
            let statement = lower[phrase].trim();
            if let Some(value) = wavelength_told_by_at(statement) {
                self.heard.push((value, Unit::NANOMETRE));
                continue;
            }
            if line.len() > LONGEST_TITLE {
                continue;
            }
            let number = statement
                .strip_suffix("nm")
                .or_else(|| statement.strip_suffix("нм"))
                .map(|front| front.trim_end())
                .and_then(|front| front.rsplit(char::is_whitespace).next())
                .or_else(|| lone_wavelength(statement));
            let value = number
                .and_then(|number| number.replace(',', ".").parse::<f64>().ok())
                .filter(|value| crate::light::IN_PASSING.contains(value));
            if let Some(value) = value.filter(|_| statement.split_whitespace().count() <= MOST_WORDS) {
                self.heard.push((value, Unit::NANOMETRE));
            }
        }
        self.leave_out_others(heard, &lower);
    }

    /// Leaves out the wavelengths heard behind the first ones of which the line says that they are of something else.
    fn leave_out_others(&mut self, first: usize, lower: &str) {
        if measured_at::is_list_under_key(lower) {
            self.heard.truncate(first);
        }
        let mut place = 0;
        self.heard.retain(|(value, unit)| {
            place += 1;
            place <= first || *unit != Unit::NANOMETRE || !measured_at::is_of_something_else(lower, *value)
        });
    }

    /// A line that names a unit of wavelength or time, bare of a number, and what was measured, and little else.
    fn hear_axes(&mut self, line: &str) {
        if line.len() > LONGEST_TITLE {
            return;
        }
        let parts: Vec<&str> = line
            .split([' ', '\t', '/', ',', ';', ':', '|', '(', ')', '*', '=', '[', ']'])
            .filter(|word| !word.is_empty())
            .collect();
        let unit = |at: usize| match parts[at] {
            "nm" => Some((Quantity::WAVELENGTH, Unit::NANOMETRE)),
            "s" | "sec" => Some((Quantity::TIME, Unit::SECOND)),
            "min" => Unit::ucum("min").ok().map(|minute| (Quantity::TIME, minute)),
            _ => None,
        };
        let bare = |at: usize| {
            let number = |word: &str| word.ends_with(|c: char| c.is_ascii_digit());
            !at.checked_sub(1).is_some_and(|before| number(parts[before]))
        };
        let mut named = (0..parts.len())
            .filter(|&at| bare(at))
            .filter_map(|at| Some((at, unit(at)?)));
        let (Some((at, axis)), None) = (named.next(), named.next()) else {
            return;
        };
        // What was measured stands behind it.
        let measured = parts[at + 1..].iter().find_map(|word| {
            words::quantity_of(word)
                .or_else(|| matches!(*word, "A" | "E" | "OD").then_some(Quantity::ABSORBANCE))
                .filter(|q| q.is_of_light())
        });
        if let Some(measured) = measured.filter(|_| parts.len() <= 8) {
            self.axes = Some(axis);
            self.quantities.insert(measured);
        }
    }

    /// Takes in the words of one line, which need not be taken apart where they were heard before.
    fn hear_known(&mut self, line: &str) {
        if line.len() > LONGEST_KNOWN {
            self.hear(line);
            return;
        }
        KNOWN.with_borrow_mut(|known| {
            if let Some(said) = known.get(line) {
                self.take_over(said);
                return;
            }
            let mut said = Self::default();
            said.hear(line);
            self.take_over(&said);
            if known.len() >= MOST_KNOWN {
                known.clear();
            }
            known.insert(line.to_owned(), said);
        });
    }

    /// Takes over what a later line says by itself.
    fn take_over(&mut self, line: &Self) {
        // Every field is named, so that none is forgotten when one is added. What is not of single lines is left out.
        let Self {
            quantities,
            axes,
            scaled,
            computed,
            others,
            abbreviated,
            of_another_trade,
            percent,
            fraction,
            units,
            spectrum,
            kinetics,
            peaks,
            cells,
            wavelength: _,
            disputed: _,
            heard,
            filter,
            interval: _,
            duration: _,
            range: _,
            first: _,
            last: _,
            step: _,
            points: _,
            axis_in_words,
            stated,
            sentinels,
            minutes_and_seconds,
            beside: _,
            wells: _,
            scans,
        } = line;
        self.quantities.extend(quantities.iter().cloned());
        self.others.extend(others.iter().cloned());
        self.units.extend(units.iter().cloned());
        self.abbreviated.extend(abbreviated.iter().cloned());
        self.heard.extend(heard.iter().cloned());
        self.filter = self.filter.or(*filter);
        self.axis_in_words.take_over(axis_in_words);
        self.stated.extend(stated.iter().cloned());
        self.sentinels.extend(sentinels);
        self.percent |= percent;
        self.fraction |= fraction;
        self.spectrum |= spectrum;
        self.kinetics |= kinetics;
        self.peaks |= peaks;
        self.cells |= cells;
        self.scans |= scans;
        self.minutes_and_seconds |= minutes_and_seconds;
        for (mine, later) in [
            (&mut self.scaled, scaled),
            (&mut self.of_another_trade, of_another_trade),
        ] {
            if later.is_some() {
                mine.clone_from(later);
            }
        }
        if axes.is_some() {
            self.axes.clone_from(axes);
        }
        if computed.is_some() {
            self.computed.clone_from(computed);
        }
    }

    /// Takes in the words of one line.
    fn hear(&mut self, line: &str) {
        let heard = self.heard.len();
        if let Some(wavelength) = wavelength_of_filter(line) {
            self.filter = Some(wavelength);
            return;
        }
        self.hear_unit_under_key(line);
        self.hear_all(line);
        if self.heard.len() > heard {
            self.leave_out_others(heard, &line.to_lowercase());
        }
        // `The lamp was checked, E = 0.001 at 700 nm`: where that one reading was taken.
        if preamble::tells_of_a_reading(line) {
            self.heard.truncate(heard);
        }
    }

    /// `time_unit=s`: the unit in which a quantity is written, under a key of its own.
    fn hear_unit_under_key(&mut self, line: &str) {
        let Some((key, value)) = line.split_once(['=', ':', '\t', ';']) else {
            return;
        };
        let key = key.trim().to_lowercase().replace('_', " ");
        // `exposure time unit` is of another time.
        let quantity = [
            "unit", "units", "einheit", "unité", "unidad", "unità", "eenheid", "enhet", "enhed",
        ]
        .into_iter()
        .find_map(|word| {
            let name = key.strip_suffix(word)?.trim_end_matches([' ', '-']);
            let alone = !name.contains([' ', '-', '.']);
            words::quantity_of(name).filter(|_| alone)
        });
        let unit = curvary_record::unit::spelled(value.trim());
        if let (Some(quantity), Some(unit)) = (quantity, unit.one()) {
            self.stated.push((quantity, unit.clone()));
        }
    }

    /// Whether a quantity is named.
    pub(super) fn names(&self, quantity: &Quantity) -> bool {
        self.quantities.contains(quantity)
    }

    /// The optical quantity that is named and whose initials a header is: `OD` below `optical depth`.
    pub(super) fn abbreviated(&self, header: &str) -> Option<Quantity> {
        let letters = header.trim().to_lowercase();
        let letters = letters.trim_start_matches(['δ', '∆']);
        let found = self.abbreviated.iter().find(|(initials, _)| {
            initials == letters || letters.strip_prefix('d') == Some(initials.as_str())
        });
        found.map(|(_, quantity)| quantity.clone())
    }

    /// The unit that a phrase states for a quantity, where all phrases agree.
    pub(super) fn stated(&self, quantity: &Quantity) -> Option<Unit> {
        let mut units = self
            .stated
            .iter()
            .filter(|(q, _)| q == quantity)
            .map(|(_, unit)| unit);
        let first = units.next()?;
        units.all(|unit| unit == first).then(|| first.clone())
    }
}
