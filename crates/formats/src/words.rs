//! The words of the trade in several languages, from a data file.
//!
//! Words are compared as [`fold()`] leaves them: without case, accents and marks. A look-up is one hash of the folded
//! word; the table is read once, from `words.toml`, which is part of the program.

mod fold;
mod quick;

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::sync::LazyLock;

use curvary_record::{Quantity, known_field};
use hashbrown::HashMap;
use serde::Deserialize;

pub use self::fold::fold;
use self::quick::{Beginnings, Bytes, FoldedList, with_folded, with_marker_form};

/// What a word over a column says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HeaderWord {
    /// A quantity that photometers measure, or that their measurements run over or are taken at.
    Quantity(Quantity),
    /// Another quantity: positive evidence that the column is no light absorbed.
    Other(Quantity),
    /// A word that stands over any column: `value`, `channel 2`.
    Generic,
    /// A word that is in no list. It is no evidence, neither for anything nor against.
    Unknown,
}

/// The quantities of this trade; all others that words name are [`HeaderWord::Other`].
const OURS: [&str; 16] = [
    "wavelength",
    "wavenumber",
    "energy",
    "time",
    "time-of-day",
    "date",
    "absorbance",
    "transmittance",
    "reflectance",
    "temperature",
    "concentration",
    "rate",
    "ph",
    "index",
    "sample",
    "flag",
];

/// Optical quantities beyond ours, under whose names their columns are kept, however they are spelled. They are named in
/// lines of words, too.
const OPTICAL: [&str; 8] = [
    "absorption-coefficient",
    "optical-depth",
    "molar-absorption-coefficient",
    "specific-absorption",
    "absorption-cross-section",
    "absorptance",
    "refractive-index",
    "attenuation",
];

/// Whether a quantity is optical, beyond ours: one that is known by one name, however it is spelled.
#[must_use]
pub fn is_optical(quantity: &Quantity) -> bool {
    OPTICAL.contains(&quantity.as_str())
        || matches!(
            quantity.as_str(),
            "emission"
                | "ellipticity"
                | "irradiance"
                | "quantum-yield"
                | "kubelka-munk"
                | "penetration-depth"
                | "intensity"
        )
}

/// Quantities that nobody writes beside a measurement of light: a table with one of them is something else.
#[must_use]
pub fn is_of_another_trade(quantity: &Quantity) -> bool {
    matches!(
        quantity.as_str(),
        "rain"
            | "wind"
            | "sunshine"
            | "coordinate"
            | "price"
            | "mark"
            | "address"
            | "person"
            | "weekday"
            | "population"
    )
}

/// Whether a quantity is one that photometers measure, or that their measurements run over or are taken at.
#[must_use]
pub fn is_ours(quantity: &Quantity) -> bool {
    OURS.contains(&quantity.as_str())
}

/// What a cell that is no number stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marker {
    /// Nothing was measured, or it was lost.
    Missing,
    /// The value lies beyond what the instrument shows, or the detector was saturated.
    Beyond,
}

/// Longer texts are no words of the trade.
const LONGEST: usize = 64;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordData {
    field: BTreeMap<String, Vec<String>>,
    #[serde(rename = "field-if-fitting")]
    fitting: BTreeMap<String, Vec<String>>,
    quantity: BTreeMap<String, Vec<String>>,
    other: BTreeMap<String, Vec<String>>,
    generic: WordTable,
    statistics: WordTable,
    marker: BTreeMap<String, Vec<String>>,
    blank: WordTable,
    furniture: Furniture,
    list: BTreeMap<WordList, Vec<String>>,
}

#[derive(Deserialize)]
struct WordTable {
    words: Vec<String>,
}

#[derive(Deserialize)]
struct Furniture {
    page: Vec<String>,
    of: Vec<String>,
    end: Vec<String>,
}

/// Lists of words that say something of a column or of a line beside its quantity. `words.toml` has a comment on each.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WordList {
    /// Keys of who wrote a letter.
    LetterFrom,
    /// Keys of what a letter is about.
    LetterSubject,
    /// Abbreviations of the word for a number.
    CutNumber,
    /// Words in a header that say that a reading was worked with.
    WorkedWith,
    /// Small words between the parts of somebody's name.
    NameParticle,
    /// Words of a spectrum's key in front of what it is of.
    SpectrumOf,
    /// Words that stand alone in front of a day.
    LoneOnDay,
    /// Places whose temperature is not that of what was measured.
    Room,
    /// Words behind a length that say that it is not the way of the light.
    NotAlongLight,
    /// Words for the x axis.
    Abscissa,
    /// Words for the y axis.
    Ordinate,
    /// Words beside `x` and `y` that say that an axis is meant, or what it holds.
    AxisWord,
    /// Words beside them that say that its unit is meant.
    UnitWord,
    /// Headers of times of day.
    OverClocks,
    /// Headers of columns that number the lines.
    Counter,
    /// Headers that number what was measured one by one: tablets, vials.
    Numbered,
    /// Headers of numbers that tell one sample, order or person from another.
    Identifier,
    /// Headers that count what a mean is of.
    Count,
    /// Headers of times in days.
    Days,
    /// Headers of what a reading should have been.
    Target,
    /// Words behind a quantity that say that its spread is meant.
    Spread,
    /// Headers of errors.
    Error,
    /// Words beside a word for light of what was computed from readings, or set for them.
    Computed,
    /// Beginnings of such words.
    ComputedStem,
    /// Beginnings of words that say that numbers were multiplied.
    Multiplied,
    /// Words for solutions that are kept and diluted before use.
    Stock,
    /// Small words between what was done and its day.
    OnDay,
    /// Words for what is of the day of the measurement.
    OfTheRun,
    /// Words for what has the temperature or the pH of what is measured.
    Medium,
    /// Beginnings of words that say that a spectrum was scaled.
    Normalised,
    /// Beginnings of headers of the times of a chromatogram.
    Retention,
    /// Areas under the peaks of a chromatogram.
    PeakAreaUnit,
    /// Words of everyday language that are units elsewhere.
    Everyday,
    /// Words between a quantity and its wavelength or unit.
    Link,
    /// Words in front of what a quantity is of.
    Genitive,
    /// Beginnings of words of what is read at one wavelength.
    ReadAt,
    /// Keys whose values tell conditions in passing.
    OfConditions,
    /// Beginnings of words of what has a size in nanometres.
    OfSize,
    /// Places whose temperature is that of what is measured in them.
    PlaceOfTemperature,
    /// Words in front of the wavelength at which was measured.
    At,
    /// Words between two things of which one is meant.
    Or,
    /// Words that deny what comes behind them.
    Negation,
    /// Beginnings of words that speak of a spectrum.
    Spectrum,
    /// Beginnings of words that speak of a time course, and phrases.
    Kinetics,
    /// Beginnings of words that speak of peaks.
    Peak,
    /// Beginnings of words that speak of a derivative.
    Derivative,
    /// Beginnings of words of a title over what was measured to check the instrument or the method.
    OfCheck,
    /// A column of a table.
    Column,
    /// Words that say that one is the first of several.
    FirstOf,
    /// The second.
    SecondOf,
    /// The third.
    ThirdOf,
    /// The fourth.
    FourthOf,
    /// Words that stand for a column that was named before: the one of `the second one`.
    ColumnAgain,
    /// Words between the name of a column and what it is of.
    ColumnIs,
    /// Articles.
    Article,
    /// Words in front of a number that is not meant exactly.
    About,
    /// Parts of words that say what stands for a missing value.
    Missing,
    /// Beginnings of keys whose wavelength is not the one of the measurement.
    AnotherWavelength,
    /// Beginnings of what is done to a spectrum at another wavelength than that of the measurement.
    SetAgainst,
    /// Beginnings of words that say that what stands in front of them was taken off.
    TakenOff,
    /// Beginnings and ends of words for lengths of things.
    Dimension,
    /// Words in front of the one end of a range that is named.
    OneSided,
    /// Words in front of the first end of a range.
    RangeFrom,
    /// Words between the ends of a range.
    RangeTo,
    /// Beginnings of words for liquids other than the one that was measured.
    AnotherLiquid,
    /// Beginnings of words that speak of light that a sample is lit with.
    LightShone,
    /// Seconds.
    Second,
    /// Minutes.
    Minute,
    /// Words behind a unit of time that say since when it ran.
    Since,
    /// Headers of what tells runs, injections and replicates apart.
    Series,
    /// Beginnings of words that say in which step an axis goes on.
    Step,
    /// Words that tell the first of several from the next ones.
    Ordinal,
    /// Beginnings of words that say that a date is not the one of the measurement.
    AnotherDate,
    /// Ends of words that say what was done to something.
    Done,
    /// Words of a key whose value was only set.
    SetValue,
    /// Words of a key whose value was read while measuring.
    ActualValue,
    /// What says that a transmittance is a fraction of one.
    Fraction,
    /// Parts of headers, in lower case, of what was worked out from readings.
    WorkedOut,
    /// Beginnings of the names of standards.
    StandardSample,
    /// How people write that times are minutes and seconds.
    MinutesAndSeconds,
    /// How people write that times are hours and minutes.
    HoursAndMinutes,
    /// Words that say in prose that something was measured.
    Measured,
    /// Words of prose that say that something was to be done, and not that it was.
    Intended,
    /// Words that go with a word of measuring: `was`, `wurde`.
    Auxiliary,
    /// Small words between the conditions of a measurement in prose.
    InChain,
    /// Words that say that something was begun.
    Begun,
    /// Beginnings of words for what is begun where a measurement is.
    BegunThing,
    /// Words in front of what a sample is dissolved in.
    Inside,
    /// `and`.
    And,
    /// Words that may follow upon the last condition of a measurement in prose.
    BehindChain,
    /// Words between what is measured out and its length: `the path length was 1 cm`.
    Amounts,
    /// Ends of words for a cell.
    CellEnd,
    /// Beginnings of words for what light goes through.
    MeasuredThing,
    /// Words in front of what is in the other beam, or was measured before.
    Against,
    /// Words in front of who did something.
    By,
    /// Words between what was measured and what it is drawn over.
    Versus,
    /// Words that tell one thing from another, behind a word for what that is.
    Identity,
    /// Words in front of a sample that say whose it is.
    WhoseSample,
    /// Words beside a cell that say how it is made.
    KindOfCell,
    /// Keys of a filter that lets through what is measured.
    Filter,
    /// Ends of words for what a culture is kept in.
    Incubator,
    /// Keys of the day on which a file was made.
    Created,
    /// Beginnings of words for doing a measurement, in keys of who did it.
    Performed,
    /// Beginnings of words for the growth of a culture.
    Growth,
    /// Coordinates of a colour.
    ColourCoordinate,
    /// The difference of two colours.
    ColourDifference,
    /// Words for what cells are made of.
    MaterialOfCell,
    /// Words for a day at the end of a compound, without those for one of the week.
    DayEnd,
    /// Beginnings of words for what is done to a sample before it is measured.
    TreatmentThing,
}

fn listed(list: WordList) -> Option<&'static FoldedList> {
    BOOK.lists.get(list as usize)
}

/// The words of a list, in lower case.
#[must_use]
pub fn words_of(list: WordList) -> &'static [String] {
    listed(list).map_or(&[], |listed| &listed.lower)
}

/// Whether a text is a word of a list, whatever its case and accents.
#[must_use]
pub fn is(list: WordList, text: &str) -> bool {
    text.len() <= LONGEST * 2 && listed(list).is_some_and(|listed| listed.has(text))
}

/// Whether a word in lower case begins with one of a list.
#[must_use]
pub fn begins(list: WordList, lower: &str) -> bool {
    listed(list).is_some_and(|listed| listed.begins(lower))
}

/// Whether a word in lower case ends with one of a list.
#[must_use]
pub fn ends(list: WordList, lower: &str) -> bool {
    listed(list).is_some_and(|listed| listed.ends(lower))
}

/// Whether a text in lower case contains one of a list.
#[must_use]
pub fn contains(list: WordList, lower: &str) -> bool {
    listed(list).is_some_and(|listed| listed.is_part_of(lower))
}

/// What one folded word means in each role.
#[derive(Default)]
struct WordMeaning {
    field: Option<&'static str>,
    fitting: Vec<&'static str>,
    quantity: Option<Quantity>,
    /// Whether the quantity is one of [`OURS`].
    ours: bool,
    other: Option<Quantity>,
    generic: bool,
    statistics: bool,
    marker: Option<Marker>,
    saturated: bool,
    blank: bool,
    page: bool,
    of: bool,
    end: bool,
}

/// What `words.toml` says.
#[derive(Default)]
struct WordBook {
    /// By folded word.
    words: HashMap<String, WordMeaning>,
    /// By the place of each in [`WordList`].
    lists: Vec<FoldedList>,
    /// Of all terms that name a quantity.
    quantities: Beginnings,
    /// Of those that name an optical one beyond ours.
    optical: Beginnings,
    /// The bytes with which the lower-case forms of markers begin.
    markers: Bytes,
    /// Keys of measured fields as they are spelled, in lower case, with their fields.
    of_conditions: Vec<(String, &'static str)>,
}

static BOOK: LazyLock<WordBook> = LazyLock::new(|| {
    // The file is part of the program; a test reads it, so that it can only fail there.
    let data = toml::from_str::<WordData>(include_str!("words.toml"));
    data.map_or_else(|_| WordBook::default(), WordBook::of)
});

impl WordBook {
    fn of(mut data: WordData) -> Self {
        let mut lists: Vec<FoldedList> = Vec::new();
        for (list, words) in std::mem::take(&mut data.list) {
            let place = list as usize;
            if lists.len() <= place {
                lists.resize_with(place + 1, FoldedList::default);
            }
            lists[place] = FoldedList::of(&words);
        }
        let of_conditions = ["temperature", "wavelength", "path-length"]
            .into_iter()
            .flat_map(|field| {
                let words = data.field.get(field).into_iter().flatten();
                words.map(move |word| (word.to_lowercase(), field))
            })
            .collect();
        let words = table(data);
        let terms = |named: fn(&WordMeaning) -> bool| {
            let terms = words.iter().filter(move |(_, meaning)| named(meaning));
            Beginnings::of(terms.map(|(word, _)| word.as_str()))
        };
        let mut markers = Bytes::default();
        for form in words.keys().filter_map(|form| form.strip_prefix('\u{1}')) {
            form.bytes().take(1).for_each(|first| markers.insert(first));
        }
        Self {
            markers,
            of_conditions,
            lists,
            quantities: terms(|meaning| meaning.quantity.is_some()),
            optical: terms(|meaning| {
                let mut quantities = meaning.quantity.iter().chain(&meaning.other);
                quantities.any(|quantity| OPTICAL.contains(&quantity.as_str()))
            }),
            words,
        }
    }
}

fn is_hangul(sign: char) -> bool {
    matches!(sign, '\u{AC00}'..='\u{D7A3}')
}

fn table(data: WordData) -> HashMap<String, WordMeaning> {
    let mut table: HashMap<String, WordMeaning> = HashMap::with_capacity(4096);
    let known = |key: &str| known_field(key).map(|known| known.key);
    for (key, words) in data.field {
        for word in words {
            // In Korean a term is written with a blank between its parts or without.
            if word.contains(' ') && word.chars().any(is_hangul) {
                table.entry(fold(&word.replace(' ', ""))).or_default().field = known(&key);
            }
            table.entry(fold(&word)).or_default().field = known(&key);
        }
    }
    for (word, keys) in data.fitting {
        table
            .entry(fold(&word))
            .or_default()
            .fitting
            .extend(keys.iter().filter_map(|key| known(key)));
    }
    // The names live as long as the program, so that no look-up makes one anew.
    let lasting = |name: String| Quantity::lasting(name.leak());
    for (name, words) in data.quantity {
        let quantity = lasting(name);
        for word in words {
            let meaning = table.entry(fold(&word)).or_default();
            meaning.ours = is_ours(&quantity);
            meaning.quantity = Some(quantity.clone());
        }
    }
    for (name, words) in data.other {
        let quantity = lasting(name);
        for word in words {
            table.entry(fold(&word)).or_default().other = Some(quantity.clone());
        }
    }
    for word in data.generic.words {
        table.entry(fold(&word)).or_default().generic = true;
    }
    for (kind, words) in data.marker {
        let marker = if kind == "missing" {
            Marker::Missing
        } else {
            Marker::Beyond
        };
        let saturated = kind == "saturated";
        for word in words {
            let meaning = table.entry(marker_form(&word)).or_default();
            meaning.marker = Some(marker);
            meaning.saturated = saturated;
        }
    }
    for word in data.statistics.words {
        table.entry(fold(&word)).or_default().statistics = true;
    }
    for word in data.blank.words {
        table.entry(fold(&word)).or_default().blank = true;
    }
    for word in data.furniture.page {
        table.entry(fold(&word)).or_default().page = true;
    }
    for word in data.furniture.of {
        table.entry(fold(&word)).or_default().of = true;
    }
    for word in data.furniture.end {
        table.entry(fold(&word)).or_default().end = true;
    }
    table
}

/// The names of all quantities that some word means, ours and others.
#[must_use]
pub fn quantities() -> BTreeSet<&'static str> {
    BOOK.words
        .values()
        .flat_map(|meaning| meaning.quantity.iter().chain(&meaning.other))
        .map(Quantity::as_str)
        .collect()
}

/// The single words of all the lists that have letters beyond ASCII, as they are spelled, in lower case.
///
/// For telling encodings apart; made anew at each call.
pub(crate) fn spellings() -> HashSet<String> {
    let Ok(data) = toml::from_str::<WordData>(include_str!("words.toml")) else {
        return HashSet::new();
    };
    let lists = data
        .field
        .into_values()
        .chain(data.quantity.into_values())
        .chain(data.other.into_values())
        .chain(data.marker.into_values())
        .chain([data.statistics.words, data.blank.words, data.furniture.end]);
    let mut spellings = HashSet::new();
    for text in lists.flatten().chain(data.fitting.into_keys()) {
        let words = text.split(|c: char| !c.is_alphabetic());
        for word in words.filter(|word| !word.is_ascii() && word.chars().nth(1).is_some()) {
            // Greek capitals go without accents.
            if word.starts_with(|c| matches!(c, '\u{370}'..='\u{3FF}')) {
                spellings.insert(fold(word));
            }
            spellings.insert(word.to_lowercase());
        }
    }
    spellings
}

fn meaning(word: &str) -> Option<&'static WordMeaning> {
    if word.len() > LONGEST * 2 {
        return None;
    }
    with_folded(word, |folded| {
        if folded.is_empty() {
            None
        } else {
            BOOK.words.get(folded)
        }
    })
}

/// The known field that a key means, whatever its value.
#[must_use]
pub fn field_of(key: &str) -> Option<&'static str> {
    meaning(key)?.field
}

/// Whether a key means a sample, as the name of a field or as the header of a column.
#[must_use]
pub fn means_sample(key: &str) -> bool {
    let sample = |of: Quantity| of.as_str() == "sample";
    field_of(key) == Some("sample")
        || crate::column_header::read_column_header(key)
            .quantity
            .is_some_and(sample)
}

/// Whether a key stands in front of names or numbers of samples: one that means a sample, or that counts or tells apart what was
/// measured, `Tube`, `Wells`, `ID`.
#[must_use]
pub fn names_samples(key: &str) -> bool {
    let one = |key: &str| {
        let of = crate::column_header::read_column_header(key).quantity;
        means_sample(key)
            || field_of(key) == Some("sample-id")
            || of.is_some_and(|of| matches!(of.as_str(), "index" | "replicate"))
            || [WordList::Identifier, WordList::Counter, WordList::Numbered]
                .into_iter()
                .any(|list| is(list, key))
    };
    // `Samples`, `Proben`
    one(key) || key.strip_suffix(['s', 'n']).is_some_and(one)
}

/// The known fields that a key may mean, to be taken only when the value is of the field's kind and, for a number,
/// has a unit written; in the order to try them.
#[must_use]
pub fn fields_if_fitting(key: &str) -> &'static [&'static str] {
    meaning(key).map_or(&[], |meaning| &meaning.fitting)
}

/// The keys of temperatures, wavelengths and path lengths as they are spelled, in lower case, with their fields.
pub(crate) fn keys_of_conditions() -> &'static [(String, &'static str)] {
    &BOOK.of_conditions
}

/// What an axis under this word measures.
#[must_use]
pub fn quantity_of(word: &str) -> Option<Quantity> {
    if is_no_quantity(word) {
        return None;
    }
    meaning(word)?.quantity.clone()
}

/// Whether a word that folds to that of a quantity is another when it is spelled so.
fn is_no_quantity(word: &str) -> bool {
    // So spelled it is gold as often as a unit of absorbance.
    // The register number of a substance, and the Czech time when it is spelled `čas`.
    matches!(word.trim(), "Au" | "CAS")
}

/// The quantities that a word names which is written without blanks between its parts, `吸光度スペクトル`: of the scripts of China
/// and Japan. The longest name counts.
pub(crate) fn quantities_in_unspaced(word: &str) -> Vec<Quantity> {
    const LONGEST_NAME: usize = 6;
    // Kana and Han, without the signs between them.
    let is_unspaced = |c: char| matches!(c, '\u{3041}'..='\u{30ff}' | '\u{3400}'..='\u{9fff}');
    let mut found = Vec::new();
    let starts: Vec<(usize, char)> = word.char_indices().collect();
    let mut from = 0;
    while let Some(&(start, first)) = starts.get(from) {
        let name = (2..=LONGEST_NAME).rev().find_map(|length| {
            let end = starts.get(from + length).map_or(word.len(), |&(end, _)| end);
            let known = from + length <= starts.len() && is_unspaced(first);
            Some((length, known.then(|| quantity_of(&word[start..end])).flatten()?))
        });
        from += name.as_ref().map_or(1, |(length, _)| *length);
        found.extend(name.map(|(_, quantity)| quantity));
    }
    found
}

/// Whether a phrase that begins with this word may name a quantity; most are seen to name none.
pub(crate) fn may_begin_a_quantity(word: &str) -> bool {
    BOOK.quantities.may_begin(word)
}

/// What a word says, or a few words that are one term. A number behind it (`channel 2`) changes nothing.
#[must_use]
pub fn word(text: &str) -> HeaderWord {
    match exact(text) {
        HeaderWord::Unknown => {
            let bare = text
                .trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '_' | '-' | '.' | '#'));
            if bare.len() < text.len() && !bare.is_empty() {
                exact(bare)
            } else {
                HeaderWord::Unknown
            }
        }
        known => known,
    }
}

/// What a word says as it stands.
#[must_use]
pub fn exact(text: &str) -> HeaderWord {
    let Some(meaning) = meaning(text) else {
        return HeaderWord::Unknown;
    };
    if let Some(quantity) = meaning.quantity.as_ref().filter(|_| !is_no_quantity(text)) {
        return if meaning.ours {
            HeaderWord::Quantity(quantity.clone())
        } else {
            HeaderWord::Other(quantity.clone())
        };
    }
    match &meaning.other {
        Some(quantity) => HeaderWord::Other(quantity.clone()),
        None if meaning.generic => HeaderWord::Generic,
        None => HeaderWord::Unknown,
    }
}

/// The other quantity that a compound word ends in: `photocurrent`, `Diodenstrom`. What ends a name by chance, as `range`
/// ends `orange`, is no evidence unless a unit beside it goes with it.
#[must_use]
pub fn other_at_the_end_of(name: &str) -> Option<Quantity> {
    let count = name.chars().count();
    if !(7..=LONGEST / 2).contains(&count) || !name.chars().all(char::is_alphabetic) {
        return None;
    }
    // A part of five letters at least, behind one of two at least.
    let starts = name.char_indices().map(|(at, _)| at).skip(2).take(count - 6);
    starts
        .filter_map(|at| match word(&name[at..]) {
            HeaderWord::Other(quantity) => Some(quantity),
            _ => None,
        })
        .next()
}

/// The other quantity that a head names, whole, before its unit, or with its first or last words: `humidity %`,
/// `rain_mm`, `wind from north`.
#[must_use]
pub fn other_in(head: &str) -> Option<Quantity> {
    let of = |text: &str| match word(text) {
        HeaderWord::Other(quantity) => Some(quantity),
        _ => None,
    };
    let head = head.trim();
    if head.len() > LONGEST * 2 {
        return None;
    }
    if let Some(found) = of(head) {
        return Some(found);
    }
    let parts: Vec<&str> = head
        .split(|c: char| c.is_whitespace() || matches!(c, '_' | '(' | ')' | '[' | ']' | ',' | ';'))
        .filter(|part| !part.is_empty())
        .collect();
    let words = parts.len().min(6);
    (1..words)
        .rev()
        .flat_map(|count| [parts[..count].join(" "), parts[parts.len() - count..].join(" ")])
        // One letter, or a sign, among others is too little.
        .filter(|text| text.chars().filter(|c| c.is_alphabetic()).count() >= 2)
        .find_map(|text| of(&text))
}

/// The optical quantities beyond ours that a line of words names: `absorption cross section in cm2`. The longest phrase
/// counts. Its initials come along: `OD` below the words `optical depth` is that.
#[must_use]
pub fn optical_in(line: &str) -> Option<(Quantity, String)> {
    let words: Vec<&str> = line
        .split(|c: char| c.is_whitespace() || matches!(c, ',' | ';' | ':' | '(' | ')' | '[' | ']' | '='))
        .filter(|word| !word.is_empty())
        .take(40)
        .collect();
    // `word` leaves the digits and marks at the end of a phrase out, which may be all but a part of its first word.
    let bare = |word: &str| {
        word.trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, '_' | '-' | '.' | '#'))
            .len()
    };
    let begins: Vec<bool> = words
        .iter()
        .map(|word| BOOK.optical.may_begin(word) || BOOK.optical.may_begin(&word[..bare(word)]))
        .collect();
    if !begins.contains(&true) {
        return None;
    }
    (2..=4).rev().find_map(|length| {
        words
            .windows(length)
            .zip(&begins)
            .filter(|(_, begins)| **begins)
            .find_map(|(window, _)| match word(&window.join(" ")) {
                HeaderWord::Other(quantity) if OPTICAL.contains(&quantity.as_str()) => {
                    let initials = window.iter().filter_map(|word| word.chars().next());
                    Some((quantity, initials.flat_map(char::to_lowercase).collect()))
                }
                _ => None,
            })
    })
}

/// The words of a term in front of what it is of, and what that is: `temperature` and `bath` of `temperature of the bath`.
#[must_use]
pub fn about_its_genitive(term: &str) -> Option<(&str, &str)> {
    let mut at = term.find(' ')?;
    loop {
        let behind = term[at..].trim_start();
        let word = behind.split([' ', '\'', '’']).next().unwrap_or("");
        if is(WordList::Genitive, word) {
            let of = behind[word.len()..].trim_start_matches([' ', '\'', '’']);
            return Some((term[..at].trim_end(), of));
        }
        at += 1 + term[at + 1..].find(' ')?;
    }
}

/// Whether a row or column under this word sums up others: a mean, a deviation, a slope.
#[must_use]
pub fn is_statistics(word: &str) -> bool {
    let of = |word: &str| meaning(word).is_some_and(|meaning| meaning.statistics);
    // `slope (1/min)`: its unit stands behind it.
    let bare = || {
        let (front, unit) = word
            .trim_end()
            .strip_suffix([')', ']'])?
            .rsplit_once([' ', '(', '['])?;
        (!unit.is_empty()).then(|| front.trim_end_matches([' ', '(', '[']))
    };
    of(word) || bare().is_some_and(of)
}

/// Whether a sample of this name is a blank or a reference.
#[must_use]
pub fn is_blank(word: &str) -> bool {
    meaning(word).is_some_and(|meaning| meaning.blank)
}

fn marker_form(word: &str) -> String {
    let word = word.trim();
    let mut form = String::with_capacity(word.len() + 1);
    form.push('\u{1}');
    if word.is_ascii() {
        form.push_str(word);
        form.make_ascii_lowercase();
    } else {
        form.push_str(&word.to_lowercase());
    }
    form
}

/// What a cell that is no number stands for; `None` for any other text, and for an empty cell.
///
/// A cell of nothing but dashes, points, stars, question marks or hashes is missing; stars and hashes are what
/// programs print when a number does not fit its field.
#[must_use]
pub fn marker(cell: &str) -> Option<Marker> {
    let cell = cell.trim();
    if cell.is_empty() || cell.len() > LONGEST {
        return None;
    }
    if cell
        .chars()
        .all(|c| matches!(c, '-' | '–' | '—' | '.' | '*' | '?' | '#' | '_' | '/'))
    {
        return Some(Marker::Missing);
    }
    // Most cells that are no numbers begin as no marker does.
    let first = cell.as_bytes()[0].to_ascii_lowercase();
    if first.is_ascii() && !BOOK.markers.has(first) {
        return None;
    }
    with_marker_form(cell, |form| BOOK.words.get(form))?.marker
}

/// Whether a cell or a flag says that the detector was saturated or stray light ruled.
#[must_use]
pub fn is_saturation(cell: &str) -> bool {
    let cell = cell.trim();
    cell.len() <= LONGEST
        && with_marker_form(cell, |form| BOOK.words.get(form)).is_some_and(|meaning| meaning.saturated)
}

/// Whether a line belongs to the paper and not to the measurement: `Page 1 of 3`, `Seite 2`, `- 3 -`, `end of data`.
#[must_use]
pub fn is_furniture(line: &str) -> bool {
    if line.len() > LONGEST * 2 {
        return false;
    }
    let bare = line.trim();
    let framed = bare.len() >= 3 && bare.starts_with('-') && bare.ends_with('-');
    if framed && bare.trim_matches(['-', ' ']).parse::<u32>().is_ok() {
        return true;
    }
    with_folded(bare, |folded| {
        if BOOK.words.get(folded).is_some_and(|meaning| meaning.end) {
            return true;
        }
        let is_page = |word: &str| BOOK.words.get(word).is_some_and(|meaning| meaning.page);
        let is_of = |word: &str| BOOK.words.get(word).is_some_and(|meaning| meaning.of);
        let is_number = |word: &str| word.len() <= 5 && word.bytes().all(|b| b.is_ascii_digit());
        let mut words = folded.split(' ');
        if !words.next().is_some_and(is_page) {
            return false;
        }
        // The slash of `Page 1/3` is folded into a blank.
        match words.collect::<Vec<&str>>().as_slice() {
            [number] => is_number(number),
            [number, total] => is_number(number) && is_number(total),
            [number, of, total] => is_number(number) && is_of(of) && is_number(total),
            _ => false,
        }
    })
}

#[cfg(test)]
mod tests;
