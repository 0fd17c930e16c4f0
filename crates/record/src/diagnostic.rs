//! What was odd, as plain data: the same value goes into the archive, over a pipe and to the terminal.

use std::borrow::Cow;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{Place, Topic, code};

/// A stable kebab-case name of one kind of diagnostic.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Code(Cow<'static, str>);

impl Code {
    /// A code known at compile time.
    #[must_use]
    pub const fn new(code: &'static str) -> Self {
        Self(Cow::Borrowed(code))
    }

    /// A code made at run time, as from a plugin.
    #[must_use]
    pub fn named(code: impl Into<String>) -> Self {
        Self(Cow::Owned(code.into()))
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// How much a diagnostic weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; nothing is wrong.
    Note,
    /// Something was left out or is doubtful; what was read is right.
    Warning,
    /// Something could not be read.
    Error,
}

/// A place with a word about it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Label {
    /// Where.
    pub place: Place,
    /// What is to be seen there.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub text: String,
}

/// One thing found: what, where, what was expected and what to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Diagnostic {
    /// Its kind.
    pub code: Code,
    /// Its weight.
    pub severity: Severity,
    /// What was found, in lower case, without a full stop.
    pub message: String,
    /// Where; the first is the main place. Places may lie in several files.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub labels: Vec<Label>,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub help: Option<String>,
    /// What else is worth knowing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

impl Diagnostic {
    /// A diagnostic without a place.
    #[must_use]
    pub fn new(code: Code, severity: Severity, message: impl Into<String>) -> Self {
        Self {
            code,
            severity,
            message: message.into(),
            labels: Vec::new(),
            help: None,
            notes: Vec::new(),
        }
    }

    /// A note.
    #[must_use]
    pub fn note(code: Code, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Note, message)
    }

    /// A warning.
    #[must_use]
    pub fn warning(code: Code, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Warning, message)
    }

    /// An error.
    #[must_use]
    pub fn error(code: Code, message: impl Into<String>) -> Self {
        Self::new(code, Severity::Error, message)
    }

    /// Adds a place with a word about it.
    #[must_use]
    pub fn at(mut self, place: Place, text: impl Into<String>) -> Self {
        self.labels.push(Label {
            place,
            text: text.into(),
        });
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// Adds a note.
    #[must_use]
    pub fn with_note(mut self, note: impl Into<String>) -> Self {
        self.notes.push(note.into());
        self
    }

    /// The main place's line, from 1.
    #[must_use]
    pub fn line(&self) -> Option<u32> {
        self.labels
            .first()
            .map(|label| label.place.line)
            .filter(|&line| line > 0)
    }
}

/// Something that only a person can decide, with the readings that are plausible.
///
/// A run with an open question is *in question*: it is kept and shown, and nothing computes with it in silence.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Question {
    /// Its kind, such as `decimal-comma-or-separator` or `axis-unknown`.
    pub code: Code,
    /// What is not known, as a sentence.
    pub message: String,
    /// The plausible readings, likeliest first.
    pub readings: Vec<Alternative>,
    /// Where the doubt arises.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub labels: Vec<Label>,
}

impl Question {
    /// The axis that is asked about, where it can be asked about without anything to offer: no quantity that is known
    /// fits the numbers.
    #[must_use]
    pub fn axis(&self) -> Option<Topic> {
        if self.code == code::AXIS_UNKNOWN {
            Some(Topic::X)
        } else if self.code == code::ABSORBANCE_OR_TRANSMITTANCE {
            Some(Topic::Y)
        } else {
            None
        }
    }
}

/// One plausible reading of a question.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alternative {
    /// What to give to `--assume`, or in a note, to settle the question so: `decimal=comma`, `x=wavelength:nm`.
    pub assume: String,
    /// What the file would then say, with its first numbers.
    pub says: String,
}
