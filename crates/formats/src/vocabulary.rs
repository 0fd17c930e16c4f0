//! Words that only one laboratory uses: what a key, the header of a column, a unit, a value or the mark of a block means.
//!
//! A word is one line that a person can read: `key:Kz=operator`, `header:Glimm=absorbance`, `unit:Grd=Cel`,
//! `value:solvent:aq. dest.=water`, `value:Modus:Klarheit=y=transmittance:%`, `mark:Takt=time:min`. It is used only where a
//! file leaves something open: what is in no doubt stays as it is.

use curvary_record::interpret::accepts_unit;
use curvary_record::{Key, Quantity, Unit, known_field, known_fields, unit};

use crate::assume::{AssumptionFault, AxisFault, axis, check_axis, meant, nearest};
use crate::{Assumptions, words};

/// What a word stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum WordKind {
    /// A key of the preamble.
    Key,
    /// The header of a column.
    Header,
    /// A unit.
    Unit,
    /// A value of a key, such as the name of a method.
    Value,
    /// What stands before the number in a line above each block.
    Mark,
}

impl WordKind {
    /// Every kind.
    pub const ALL: [Self; 5] = [Self::Key, Self::Header, Self::Unit, Self::Value, Self::Mark];

    /// The word that a line begins with.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Key => "key",
            Self::Header => "header",
            Self::Unit => "unit",
            Self::Value => "value",
            Self::Mark => "mark",
        }
    }
}

/// The meaning of what means nothing: a key that is no field, a column that is left out.
pub const NOTHING: &str = "nothing";

/// A word and what it means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LocalWord {
    /// What it stands for.
    pub kind: WordKind,
    /// The key whose values are meant, for a value.
    pub of: Option<String>,
    /// The word, as it is written in the files.
    pub word: String,
    /// Field and unit, quantity and unit, a unit's UCUM code, or another value.
    pub meaning: String,
}

/// Why a line is no word of a vocabulary, or means nothing that can be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WordFault {
    /// It has not the form of one.
    #[error(
        "`{0}` is no word of a vocabulary: expected key:WORD=FIELD, header:WORD=QUANTITY:UNIT, unit:WORD=UNIT, value:KEY:WORD=TEXT or mark:WORD=QUANTITY:UNIT"
    )]
    NoWord(String),
    /// The word or its meaning is missing.
    #[error("`{0}` says nothing: a word and its meaning are expected")]
    Empty(String),
    /// What a key means is no field.
    #[error(transparent)]
    Field(#[from] FieldMeaningFault),
    /// What a header means is nothing that a column can be of.
    #[error("`{meaning}` does not say what `{word}` is: expected {expected}")]
    Header {
        /// The word.
        word: String,
        /// What it was said to mean.
        meaning: String,
        /// What was expected.
        expected: AxisFault,
    },
    /// Every laboratory uses the word for something else.
    #[error(
        "`{word}` is a word for {quantity} in every laboratory; where a file uses it otherwise, answer the question about that file"
    )]
    OfEveryLaboratory {
        /// The word.
        word: String,
        /// What it means.
        quantity: Quantity,
    },
    /// What is said to be a unit is none.
    #[error("`{0}` is no unit: expected one such as `cm`, `°C` or `mmol/L`")]
    NoUnit(String),
    /// The word is a unit.
    #[error("`{word}` is known as a unit already: {unit}")]
    KnownUnit {
        /// The word.
        word: String,
        /// The unit as people write it.
        unit: String,
    },
    /// The key whose value is meant is not named.
    #[error("the key is missing: expected value:KEY:WORD=TEXT")]
    NoKey,
    /// An answer that no value gives.
    #[error("`{0}` cannot be settled by a value: expected x=QUANTITY:UNIT, y=QUANTITY:UNIT or a text")]
    NotByValue(String),
    /// An answer that is none.
    #[error(transparent)]
    Answer(Box<AssumptionFault>),
    /// What a mark means is nothing that a column can be of; in words, what was expected.
    #[error(transparent)]
    Mark(#[from] AxisFault),
    /// What a mark means is nothing that a block is taken at.
    #[error(
        "`{0}` is nothing that a block is taken at: expected time, temperature, concentration or ph with a unit, such as `time:min`"
    )]
    NoCondition(String),
}

/// Why the meaning of a key is none.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FieldMeaningFault {
    /// No such field is known.
    #[error("no field is called `{field}`{} (`{NOTHING}` when it is none)", meant(*near))]
    NoField {
        /// What was written.
        field: String,
        /// What was probably meant.
        near: Option<&'static str>,
    },
    /// The unit is none.
    #[error("`{0}` is no unit: expected one such as `cm`, `°C` or `mmol/L`")]
    NoUnit(String),
    /// The unit is one of something else.
    #[error("`{unit}` does not measure {field}")]
    OtherUnit {
        /// The field.
        field: String,
        /// The unit.
        unit: String,
    },
}

impl LocalWord {
    /// Takes a line apart; `None` where it is no line of a vocabulary. Nothing is checked.
    #[must_use]
    pub fn read(line: &str) -> Option<Self> {
        let line = line.trim();
        let (kind, rest) = WordKind::ALL.into_iter().find_map(|kind| {
            let rest = line.strip_prefix(kind.name())?.strip_prefix(':')?;
            Some((kind, rest))
        })?;
        // A key may hold the sign itself; the meaning of a value may be an answer, which has one.
        let (left, meaning) = match kind {
            WordKind::Value => rest.split_once('='),
            _ => rest.rsplit_once('='),
        }?;
        let (of, word) = match kind {
            WordKind::Value => {
                let (key, value) = left.split_once(':')?;
                (Some(key.trim().to_owned()), value)
            }
            _ => (None, left),
        };
        Some(Self {
            kind,
            of,
            word: word.trim().to_owned(),
            meaning: meaning.trim().to_owned(),
        })
    }

    /// Takes a line apart and checks it: the meaning is one, and the word is none of those that every laboratory uses.
    ///
    /// # Errors
    /// What is wrong with it, and what was expected.
    pub fn parse(line: &str) -> Result<Self, WordFault> {
        let word = Self::read(line).ok_or_else(|| WordFault::NoWord(line.to_owned()))?;
        if word.word.is_empty() || word.meaning.is_empty() {
            return Err(WordFault::Empty(line.to_owned()));
        }
        match word.kind {
            WordKind::Key => check_field(&word.meaning)?,
            WordKind::Header => word.check_header()?,
            WordKind::Unit => word.check_unit()?,
            WordKind::Value => word.check_value()?,
            WordKind::Mark => word.check_mark()?,
        }
        Ok(word)
    }

    /// Whether a text of a file is this word, whatever its case, accents and blanks.
    #[must_use]
    pub fn is(&self, text: &str) -> bool {
        same(&self.word, text)
    }

    /// The line.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}={}", self.about(), self.meaning)
    }

    /// What stands before the meaning.
    #[must_use]
    pub fn about(&self) -> String {
        let of = self.of.as_ref().map(|of| format!("{of}:")).unwrap_or_default();
        format!("{}:{of}{}", self.kind.name(), self.word)
    }

    /// The quantity and unit that are meant.
    #[must_use]
    pub fn axis(&self) -> (Quantity, Option<Unit>) {
        let (quantity, unit) = axis(&self.meaning);
        (Quantity::named(quantity), unit.and_then(unit_of))
    }

    fn check_header(&self) -> Result<(), WordFault> {
        if self.meaning == NOTHING {
            return Ok(());
        }
        check_axis(&self.meaning).map_err(|expected| WordFault::Header {
            word: self.word.clone(),
            meaning: self.meaning.clone(),
            expected,
        })?;
        let (meant, _) = self.axis();
        match words::quantity_of(&self.word) {
            Some(quantity) if quantity != meant => Err(WordFault::OfEveryLaboratory {
                word: self.word.clone(),
                quantity,
            }),
            _ => Ok(()),
        }
    }

    fn check_unit(&self) -> Result<(), WordFault> {
        if unit_of(&self.meaning).is_none() {
            return Err(WordFault::NoUnit(self.meaning.clone()));
        }
        if let Some(known) = unit::spelled(&self.word).one() {
            return Err(WordFault::KnownUnit {
                word: self.word.clone(),
                unit: known.display().to_string(),
            });
        }
        Ok(())
    }

    fn check_value(&self) -> Result<(), WordFault> {
        let of = self.of.as_deref().unwrap_or_default();
        if of.is_empty() {
            return Err(WordFault::NoKey);
        }
        match self.meaning.split_once('=') {
            Some(("x" | "y", _)) => Assumptions::none()
                .add(&self.meaning)
                .map_err(|fault| WordFault::Answer(Box::new(fault))),
            Some((about, _)) => Err(WordFault::NotByValue(about.to_owned())),
            None => Ok(()),
        }
    }

    fn check_mark(&self) -> Result<(), WordFault> {
        check_axis(&self.meaning)?;
        let (quantity, unit) = self.axis();
        if unit.is_none() || !matches!(quantity.as_str(), "time" | "temperature" | "concentration" | "ph") {
            return Err(WordFault::NoCondition(self.meaning.clone()));
        }
        Ok(())
    }
}

/// Whether two spellings are one word.
#[must_use]
pub fn same(one: &str, other: &str) -> bool {
    let plain = |text: &str| {
        text.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase()
    };
    plain(one) == plain(other)
}

/// A unit by its UCUM code, or as people write it: `Cel`, `°C`.
#[must_use]
pub fn unit_of(text: &str) -> Option<Unit> {
    let text = text.trim();
    Unit::ucum(text)
        .ok()
        .or_else(|| unit::spelled(text).one().cloned())
}

/// Whether a meaning of a key is one: a known field, with a unit that measures it where one is given.
///
/// # Errors
/// What is wrong with it, and what was expected.
pub fn check_field(meaning: &str) -> Result<(), FieldMeaningFault> {
    if meaning == NOTHING {
        return Ok(());
    }
    let (field, unit) = meaning
        .split_once(':')
        .map_or((meaning, None), |(field, unit)| (field, Some(unit.trim())));
    let Some(known) = known_field(field.trim()) else {
        return Err(FieldMeaningFault::NoField {
            field: field.to_owned(),
            near: nearest(field, known_fields().iter().map(|known| known.key)),
        });
    };
    match unit.map(|text| (text, unit_of(text))) {
        None => Ok(()),
        Some((text, None)) => Err(FieldMeaningFault::NoUnit(text.to_owned())),
        Some((text, Some(unit))) if !accepts_unit(&Key::new(known.key), &unit) => {
            Err(FieldMeaningFault::OtherUnit {
                field: field.to_owned(),
                unit: text.to_owned(),
            })
        }
        Some(_) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_a_word_and_its_meaning() {
        for line in [
            "key:Kz=operator",
            "key:Kuevette=path-length:cm",
            "key:a=b=operator",
            "key:Tw=nothing",
            "header:Glimm=absorbance:{AU}",
            "header:Trübe=new:turbidity:{NTU}",
            "header:Bem.=nothing",
            "header:Zeit=time:min",
            "unit:Grd=°C",
            "value:solvent:aq. dest.=water",
            "value:Modus:Klarheit=y=transmittance:%",
            "mark:Takt=time:min",
        ] {
            let word = LocalWord::parse(line);
            assert!(
                word.as_ref().is_ok_and(|word| word.line() == line),
                "{line}: {word:?}"
            );
        }
        let word = LocalWord::parse("value:Modus:Klarheit=y=transmittance:%").expect("it is one");
        assert_eq!(
            (word.of.as_deref(), word.word.as_str()),
            (Some("Modus"), "Klarheit")
        );
        assert!(word.is(" klarheit"));
    }

    #[test]
    fn what_is_no_word_is_told() {
        for (line, wanted) in [
            ("Kz=operator", "expected key:WORD=FIELD"),
            ("key:Kz=operater", "did you mean `operator`?"),
            ("key:Tw=temperature:cm", "does not measure"),
            ("header:Glimm=absorbence", "did you mean `absorbance`?"),
            ("header:Absorbance=transmittance:%", "in every laboratory"),
            ("unit:Grd=nonsense", "is no unit"),
            ("unit:nm=um", "known as a unit already"),
            ("value:Modus:x=decimal=comma", "cannot be settled by a value"),
            ("mark:Takt=absorbance", "nothing that a block is taken at"),
            ("header:=absorbance", "says nothing"),
        ] {
            let error = LocalWord::parse(line).expect_err(line).to_string();
            assert!(error.contains(wanted), "{line}: {error}");
        }
    }
}
