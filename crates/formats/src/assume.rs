//! What a person has settled about sources: `--assume`, or a note in the archive.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{Alternative, Quantity, Question, Topic, TopicAnswer, Unit};

use crate::readers;
use crate::vocabulary::{LocalWord, WordFault, WordKind, unit_of};
use crate::words;

/// Something that a built-in reader asks. Each reader has its own list of them, and `readers::asked` all.
#[derive(Clone, Debug)]
pub(crate) struct QuestionKind {
    /// What it is about: `decimal`.
    pub(crate) about: &'static str,
    pub(crate) answers: AnswerForm,
}

/// What settles a question.
#[derive(Clone, Debug)]
pub(crate) enum AnswerForm {
    OneOf(Vec<&'static str>),
    /// A quantity, or a quantity and its unit.
    Axis,
    /// How many pieces each cell has between the commas: `2+1`.
    Pieces,
}

impl QuestionKind {
    pub(crate) fn one_of<const N: usize>(about: &'static str, answers: [&'static str; N]) -> Self {
        Self {
            about,
            answers: AnswerForm::OneOf(answers.to_vec()),
        }
    }

    /// What was expected, where an answer is none.
    fn check(&self, answer: &str) -> Result<(), ExpectedAnswer> {
        match &self.answers {
            AnswerForm::OneOf(answers) if answers.contains(&answer) => Ok(()),
            AnswerForm::OneOf(answers) => Err(ExpectedAnswer::OneOf(answers.clone())),
            AnswerForm::Axis => Ok(check_axis(answer)?),
            AnswerForm::Pieces if answer.split('+').all(|part| matches!(part, "1" | "2")) => Ok(()),
            AnswerForm::Pieces => Err(ExpectedAnswer::Pieces),
        }
    }
}

/// Why a text settles nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AssumptionFault {
    /// It is no pair of a question and its answer.
    #[error("`{0}` is no assumption: expected ABOUT=ANSWER, such as `decimal=comma`")]
    NoPair(String),
    /// The answer is none that the question takes.
    #[error("`{answer}` does not settle `{about}`: expected {expected}")]
    NoAnswer {
        /// What the question is about.
        about: String,
        /// What was answered.
        answer: String,
        /// What it takes.
        expected: ExpectedAnswer,
    },
    /// No reader asks that.
    #[error(
        "nothing is called `{about}`: expected {}, x or y{}",
        known.join(", "),
        meant(near.as_deref())
    )]
    NoQuestion {
        /// What was named.
        about: String,
        /// What is asked.
        known: Vec<&'static str>,
        /// What was probably meant.
        near: Option<String>,
    },
    /// It is a word of a vocabulary, and says nothing.
    #[error(transparent)]
    Word(#[from] WordFault),
}

/// What settles a question, where an answer does not.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ExpectedAnswer {
    /// One of these words.
    #[error("{}", one_of(.0))]
    OneOf(Vec<&'static str>),
    /// Counts of pieces.
    #[error("the pieces of each cell between the commas, such as `2+2` or `1+2`")]
    Pieces,
    /// What a plugin takes.
    #[error("an answer of a word or two")]
    Words,
    /// A quantity and its unit.
    #[error(transparent)]
    Axis(#[from] AxisFault),
}

/// Why a text names nothing that a column can be of; in words, what was expected.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AxisFault {
    /// It names no quantity.
    #[error("QUANTITY or QUANTITY:UNIT")]
    Empty,
    /// Its unit is none.
    #[error("QUANTITY or QUANTITY:UNIT with a unit such as `nm`, `s`, `%` or `{{AU}}`; `{0}` is none")]
    NoUnit(String),
    /// Its unit is one of another quantity.
    #[error("a unit of {quantity}, such as `{quantity}:{usual}`; `{unit}` measures something else")]
    OtherUnit {
        /// The quantity.
        quantity: &'static str,
        /// A unit that measures it.
        usual: &'static str,
        /// The unit that does not.
        unit: Unit,
    },
    /// No such quantity is known.
    #[error(
        "a known quantity; {}write `{NEW}{answer}` for a quantity of your own",
        near.as_ref().map(|near| format!("did you mean `{near}`? ")).unwrap_or_default()
    )]
    UnknownQuantity {
        /// What was written.
        answer: String,
        /// What was probably meant.
        near: Option<String>,
    },
}

/// `a`, `b` or `c`.
fn one_of(answers: &[&str]) -> String {
    let quoted: Vec<String> = answers.iter().map(|answer| format!("`{answer}`")).collect();
    match quoted.split_last() {
        Some((last, front)) if !front.is_empty() => format!("{} or {last}", front.join(", ")),
        _ => quoted.concat(),
    }
}

/// What is added to a message where a slip of the pen is likely.
pub(crate) fn meant(near: Option<&str>) -> String {
    near.map(|near| format!("; did you mean `{near}`?"))
        .unwrap_or_default()
}

/// Settled questions, by what they are about: `decimal=comma`, `x=wavelength:nm`, `y=transmittance:%`, `date=day-first`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Assumptions {
    by_topic: BTreeMap<Topic, String>,
    /// What was settled for one file, or for files written alike, and not for all that may come.
    precise: BTreeSet<String>,
}

impl Assumptions {
    /// Nothing is settled.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// Adds one `about=answer`.
    ///
    /// # Errors
    /// When the text is no such pair, or the answer is none that `about` takes; the message says which there are.
    pub fn add(&mut self, text: &str) -> Result<(), AssumptionFault> {
        if LocalWord::read(text).is_some() {
            let word = LocalWord::parse(text)?;
            self.by_topic.insert(word.about().as_str().into(), word.meaning);
            return Ok(());
        }
        let (about, answer) = text
            .split_once('=')
            .ok_or_else(|| AssumptionFault::NoPair(text.to_owned()))?;
        let (about, answer) = (about.trim(), answer.trim());
        let wrong = |expected| AssumptionFault::NoAnswer {
            about: about.to_owned(),
            answer: answer.to_owned(),
            expected,
        };
        match readers::asked().find(|asked| asked.about == about) {
            Some(asked) => asked.check(answer).map_err(wrong)?,
            // What a plugin asks is its own: `NAME/ABOUT`.
            None if is_of_reader(about) => {
                if answer.is_empty() || answer.len() > LONGEST_ANSWER || answer.contains(char::is_control) {
                    return Err(wrong(ExpectedAnswer::Words));
                }
            }
            None => {
                let mut known: Vec<&str> = readers::asked()
                    .filter(|asked| !matches!(asked.answers, AnswerForm::Axis))
                    .map(|asked| asked.about)
                    .collect();
                known.sort_unstable();
                let near = nearest(about, known.iter().copied()).map(str::to_owned);
                return Err(AssumptionFault::NoQuestion {
                    about: about.to_owned(),
                    known,
                    near,
                });
            }
        }
        let answer = match about {
            "x" | "y" => in_ucum(answer),
            _ => answer.to_owned(),
        };
        self.by_topic.insert(about.into(), answer);
        Ok(())
    }

    /// Takes an answer out of others, so that it needs no check.
    pub(crate) fn put(&mut self, answer: TopicAnswer) {
        self.by_topic.insert(answer.topic, answer.value);
    }

    /// Every answer, by what it is about.
    pub(crate) fn answers(&self) -> impl Iterator<Item = TopicAnswer> {
        self.by_topic.iter().map(|(topic, value)| TopicAnswer {
            topic: topic.clone(),
            value: value.clone(),
        })
    }

    /// The words of a vocabulary among what was settled.
    pub fn words(&self) -> impl Iterator<Item = LocalWord> {
        self.by_topic
            .iter()
            .filter(|(topic, _)| is_word(topic.as_str()))
            .filter_map(|(topic, meaning)| LocalWord::read(&format!("{topic}={meaning}")))
    }

    /// The word of a kind that a text is, whatever its case and blanks.
    pub(crate) fn word(&self, kind: WordKind, text: &str) -> Option<LocalWord> {
        // Nothing at all is settled about most sources.
        if self.by_topic.is_empty() {
            return None;
        }
        self.words().find(|word| word.kind == kind && word.is(text))
    }

    /// The same, said of this very source or of sources written like it: they may write out what was not offered, and
    /// settle a source that was refused.
    #[must_use]
    pub fn precise(mut self) -> Self {
        self.precise = self
            .by_topic
            .keys()
            .map(|topic| topic.as_str().to_owned())
            .collect();
        self
    }

    /// Whether the answer about something was said of this very source, or of sources written like it.
    #[must_use]
    pub fn is_precise(&self, about: &str) -> bool {
        self.precise.contains(about)
    }

    /// Takes over what `others` settle, in place of what was settled here.
    pub(crate) fn outweigh(&mut self, others: &Self) {
        self.overlay(others);
    }

    /// Takes over the answers of others; theirs weigh more.
    pub fn overlay(&mut self, others: &Self) {
        for (topic, answer) in &others.by_topic {
            if others.is_precise(topic.as_str()) {
                self.precise.insert(topic.as_str().to_owned());
            } else {
                self.precise.remove(topic.as_str());
            }
            self.by_topic.insert(topic.clone(), answer.clone());
        }
    }

    /// The answer about something.
    #[must_use]
    pub fn get(&self, about: &str) -> Option<&str> {
        // Nothing at all is settled about most sources.
        if self.by_topic.is_empty() {
            return None;
        }
        self.by_topic.get(&Topic::from(about)).map(String::as_str)
    }

    /// The settled quantity and unit of the `x` or `y` axis.
    #[must_use]
    pub fn axis(&self, about: &str) -> Option<(Quantity, Option<Unit>)> {
        let (quantity, unit) = axis(self.get(about)?);
        Some((Quantity::named(quantity), unit.and_then(unit_of)))
    }

    /// Whether one of a question's readings has been settled upon.
    #[must_use]
    pub fn settle(&self, question: &Question) -> bool {
        question
            .readings
            .iter()
            .filter_map(Alternative::answer)
            .any(|answer| self.by_topic.get(&answer.topic) == Some(&answer.value))
    }

    /// Every pair, by what it is about.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.by_topic
            .iter()
            .map(|(topic, answer)| (topic.as_str(), answer.as_str()))
    }

    /// Whether nothing is settled.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.by_topic.is_empty()
    }
}

/// An answer to a question of a plugin is no longer, in bytes.
const LONGEST_ANSWER: usize = 200;

/// Whether something is asked by one reader alone, a plugin: `NAME/ABOUT`, both of small letters, digits and hyphens.
pub(crate) fn is_of_reader(about: &str) -> bool {
    let plain = |part: &str| {
        !part.is_empty()
            && part.len() <= 60
            && part
                .bytes()
                .all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-')
    };
    about
        .split_once('/')
        .is_some_and(|(reader, about)| plain(reader) && plain(about))
}

/// The quantity and unit of a column as a reader states them: `wavelength`, `new:turbidity`.
///
/// # Errors
/// When the quantity is none that is known, or the unit measures something else; the message says what was expected.
pub(crate) fn stated_axis(quantity: &str, unit: Option<&Unit>) -> Result<Quantity, AxisFault> {
    let answer = match unit {
        Some(unit) => format!("{quantity}:{unit}"),
        None => quantity.to_owned(),
    };
    check_axis(&answer)?;
    Ok(Quantity::named(axis(&answer).0))
}

/// What stands before a quantity that is none of the known ones, so that a slip of the pen makes no new quantity.
const NEW: &str = "new:";

/// Whether what is settled is what a word of a vocabulary means.
pub(crate) fn is_word(about: &str) -> bool {
    WordKind::ALL.iter().any(|kind| {
        about
            .strip_prefix(kind.name())
            .is_some_and(|rest| rest.starts_with(':'))
    })
}

/// An answer about an axis with the unit's code in place of what people write: `temperature:°C` as `temperature:Cel`.
fn in_ucum(answer: &str) -> String {
    let (front, bare) = match answer.strip_prefix(NEW) {
        Some(bare) => (NEW, bare),
        None => ("", answer),
    };
    match bare
        .split_once(':')
        .map(|(quantity, unit)| (quantity, unit_of(unit)))
    {
        Some((quantity, Some(unit))) => format!("{front}{}:{unit}", quantity.trim()),
        _ => answer.to_owned(),
    }
}

/// Quantity and unit of an answer about an axis.
pub(crate) fn axis(answer: &str) -> (&str, Option<&str>) {
    let answer = answer.strip_prefix(NEW).unwrap_or(answer);
    match answer.split_once(':') {
        Some((quantity, unit)) => (quantity.trim(), Some(unit.trim())),
        None => (answer, None),
    }
}

/// Quantities that an axis can be of, each with units that measure it; without units any one will do.
///
/// `x`, `y` and `signal` leave open what was measured.
const QUANTITIES: [(&str, &[&str]); 24] = [
    ("absorbance", &["{AU}"]),
    ("absorption-coefficient", &["/cm"]),
    ("activity", &[]),
    ("concentration", &["mol/L", "g/L", "%", "[arb'U]"]),
    ("cross-section", &["cm2"]),
    ("dose", &[]),
    ("ellipticity", &[]),
    ("emission", &[]),
    ("energy", &["eV"]),
    ("fluorescence", &[]),
    ("frequency", &["Hz"]),
    ("index", &["1"]),
    ("intensity", &[]),
    ("molar-absorption-coefficient", &["L/mol/cm"]),
    ("ph", &["[pH]"]),
    ("rate", &[]),
    ("reflectance", &["%"]),
    ("signal", &[]),
    ("temperature", &["K"]),
    ("time", &["s"]),
    ("transmittance", &["%"]),
    ("volume", &["L"]),
    ("wavelength", &["nm"]),
    ("wavenumber", &["/cm"]),
];

/// Whether an answer names an axis that can be; else what was expected.
pub(crate) fn check_axis(answer: &str) -> Result<(), AxisFault> {
    let (quantity, unit) = axis(answer);
    let unit = match unit {
        Some(code) => Some(unit_of(code).ok_or_else(|| AxisFault::NoUnit(code.to_owned()))?),
        None => None,
    };
    if quantity.is_empty() {
        return Err(AxisFault::Empty);
    }
    if matches!(quantity, "x" | "y") {
        return Ok(());
    }
    let known = QUANTITIES.iter().find(|(name, _)| *name == quantity);
    match known {
        Some((quantity, units)) => {
            let measured = |unit: &Unit| {
                units.is_empty()
                    || units
                        .iter()
                        .any(|code| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other)))
            };
            match unit.filter(|unit| !measured(unit)) {
                Some(unit) => Err(AxisFault::OtherUnit {
                    quantity,
                    usual: units.first().unwrap_or(&"1"),
                    unit,
                }),
                None => Ok(()),
            }
        }
        None if answer.starts_with(NEW) || words::quantities().contains(quantity) => Ok(()),
        None => {
            let others = words::quantities();
            let names = QUANTITIES.iter().map(|(name, _)| *name);
            Err(AxisFault::UnknownQuantity {
                answer: answer.to_owned(),
                near: nearest(quantity, names.chain(others)).map(str::to_owned),
            })
        }
    }
}

/// The word that is spelled most like another, when a slip of the pen could have made one of the other.
#[must_use]
pub fn nearest<'a>(text: &str, words: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let text: Vec<char> = text.to_lowercase().chars().collect();
    words
        .map(|word| (distance(&text, word), word))
        .filter(|&(distance, word)| distance * 3 <= word.chars().count().max(3))
        .min()
        .map(|(_, word)| word)
}

/// How many letters must be changed, added or left out to make one text the other (Levenshtein's distance).
fn distance(text: &[char], word: &str) -> usize {
    let mut row: Vec<usize> = (0..=text.len()).collect();
    for (i, letter) in word.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, other) in text.iter().enumerate() {
            let change = corner + usize::from(letter != *other);
            corner = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(corner + 1);
        }
    }
    row[text.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_of_the_pen_settle_nothing() {
        for (text, wanted) in [
            ("y=absorbence", "did you mean `absorbance`?"),
            ("y=glimm", "`new:glimm`"),
            ("x=time:nm", "a unit of time"),
            ("x=wavelength:s", "a unit of wavelength"),
            ("y=transmittance:nm", "a unit of transmittance"),
            ("x=time:fortnights", "`fortnights` is none"),
            ("dates=day-first", "did you mean `date`?"),
            ("x=", "QUANTITY"),
            ("measurement=maybe", "`yes` or `no`"),
        ] {
            let mut assume = Assumptions::none();
            let error = assume.add(text).expect_err(text).to_string();
            assert!(error.contains(wanted), "{text}: {error}");
            assert!(assume.is_empty(), "{text}");
        }
    }

    #[test]
    fn known_quantities_and_new_ones_on_purpose_do() {
        let mut assume = Assumptions::none();
        for text in [
            "y=absorbance",
            "y=absorbance:{AU}",
            "y=absorbance:10*-3",
            "y=transmittance:1",
            "y=rate:{AU}/min",
            "x=concentration:umol/L",
            "x=concentration:g/L",
            "x=energy:eV",
            "x=index",
            "x=x:1",
            "y=new:turbidity:{NTU}",
        ] {
            assert_eq!(assume.add(text), Ok(()), "{text}");
        }
        let (quantity, unit) = assume.axis("y").expect("it is settled");
        assert_eq!((quantity.as_str(), unit.is_some()), ("turbidity", true));
    }
}
