//! A run, where it came from, and how its reading went.

use std::borrow::Cow;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::{Diagnostic, Fields, Question, Trace, code};

/// The SHA-256 digest of a source's bytes, as `sha256:` and 64 hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Digest(String);

impl Digest {
    /// The digest of `bytes`.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(format!("sha256:{}", hex(&Sha256::digest(bytes))))
    }

    /// The digest of bytes that come in pieces.
    #[must_use]
    pub fn of_pieces<'a>(pieces: impl IntoIterator<Item = &'a [u8]>) -> Self {
        let mut hash = Sha256::new();
        for piece in pieces {
            hash.update(piece);
        }
        Self(format!("sha256:{}", hex(&hash.finalize())))
    }

    /// The whole text, with the name of the algorithm.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn hex(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let mut text = String::with_capacity(bytes.len() * 2);
    for byte in bytes {
        text.push(char::from(DIGITS[usize::from(byte >> 4)]));
        text.push(char::from(DIGITS[usize::from(byte & 15)]));
    }
    text
}

/// The name of a run: 16 hexadecimal digits made from its source's digest and its place in it.
///
/// The same bytes give the same names on every machine, so adding twice changes nothing.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct RunId(String);

impl RunId {
    /// The name of the `ordinal`-th run (from 0) of the source with this digest.
    #[must_use]
    pub fn new(digest: &Digest, ordinal: usize) -> Self {
        let mut hash = Sha256::new();
        hash.update(digest.as_str().as_bytes());
        hash.update(b"/");
        hash.update(ordinal.to_string().as_bytes());
        Self(hex(&hash.finalize()[..8]))
    }

    /// A name given by a person or another program.
    #[must_use]
    pub fn named(name: impl Into<String>) -> Self {
        Self(name.into())
    }

    /// The digits.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for RunId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What kind of measurement a run is.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Technique(Cow<'static, str>);

impl Technique {
    /// Absorbance over wavelength.
    pub const SPECTRUM: Self = Self(Cow::Borrowed("spectrum"));
    /// Absorbance over time at one wavelength.
    pub const TIME_COURSE: Self = Self(Cow::Borrowed("time-course"));
    /// Spectra repeated over time.
    pub const SPECTRAL_TIME_COURSE: Self = Self(Cow::Borrowed("spectral-time-course"));
    /// Rates against concentration.
    pub const RATE_SERIES: Self = Self(Cow::Borrowed("rate-series"));
    /// Positions and heights of peaks.
    pub const PEAK_LIST: Self = Self(Cow::Borrowed("peak-list"));
    /// Single readings at fixed wavelengths.
    pub const FIXED_WAVELENGTH: Self = Self(Cow::Borrowed("fixed-wavelength"));
    /// Not known; a question goes with it.
    pub const UNKNOWN: Self = Self(Cow::Borrowed("unknown"));

    /// A technique of another kind, under its own name.
    #[must_use]
    pub fn named(name: impl Into<String>) -> Self {
        Self(Cow::Owned(name.into()))
    }

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// All known techniques.
    pub const ALL: [Self; 6] = [
        Self::SPECTRUM,
        Self::TIME_COURSE,
        Self::SPECTRAL_TIME_COURSE,
        Self::RATE_SERIES,
        Self::PEAK_LIST,
        Self::FIXED_WAVELENGTH,
    ];
}

impl fmt::Display for Technique {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Where a run came from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SourceRef {
    /// The path under which the bytes were first met, with `/` between folders.
    pub path: String,
    /// The digest of the bytes.
    pub digest: Digest,
    /// The reader that read them: `built-in/…`, `layout/…` or `plugin/…`.
    pub reader: String,
    /// The reader's version, so that a later and better one can be told.
    pub reader_version: String,
    /// The text encoding that was found, by its name in the WHATWG Encoding Standard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub encoding: Option<String>,
    /// Which run of the source this is, from 0.
    pub ordinal: u32,
    /// First and last line of the source that belong to the run, from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lines: Option<(u32, u32)>,
}

/// One measurement as it was recorded.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Run {
    /// Its name.
    pub id: RunId,
    /// Where it came from.
    pub source: SourceRef,
    /// What kind of measurement it is.
    pub technique: Technique,
    /// Why axes, units and technique were understood as they were, one reason a sentence.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub because: Vec<String>,
    /// What is known about it.
    pub fields: Fields,
    /// Its curves.
    pub traces: Vec<Trace>,
    /// What only a person can decide. A run with a question is *in question*.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub questions: Vec<Question>,
    /// What was odd about it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<Diagnostic>,
}

impl Run {
    /// Points of all traces together.
    #[must_use]
    pub fn points(&self) -> usize {
        self.traces.iter().map(Trace::len).sum()
    }

    /// Whether a person must decide something before the run is used.
    #[must_use]
    pub fn in_question(&self) -> bool {
        !self.questions.is_empty()
    }

    /// The number (from 0) of one of its traces in the whole run, by which all else speaks of it; `index` is its place among
    /// those that are here.
    #[must_use]
    pub fn trace_number(&self, index: usize) -> u32 {
        let told = self.traces.get(index).and_then(|trace| trace.number);
        told.unwrap_or_else(|| u32::try_from(index).unwrap_or(u32::MAX))
    }

    /// The place, among those that are here, of the trace that has a number (from 0) in the whole run.
    #[must_use]
    pub fn place_of_trace(&self, number: u32) -> Option<usize> {
        (0..self.traces.len()).find(|&index| self.trace_number(index) == number)
    }

    /// The trace that has a number (from 0) in the whole run, if it is here.
    #[must_use]
    pub fn trace_numbered(&self, number: u32) -> Option<&Trace> {
        self.traces.get(self.place_of_trace(number)?)
    }

    /// A digest of all its curves: technique, quantities, units, values to the bit, and what is held. Two readings of a source
    /// with the same digest give the same curves in the same order.
    #[must_use]
    pub fn curves_digest(&self) -> Digest {
        fn word(bytes: &mut Vec<u8>, word: &str) {
            bytes.extend_from_slice(word.as_bytes());
            // No word holds it, so that no two lists of words are alike.
            bytes.push(0);
        }
        let mut bytes = Vec::new();
        word(&mut bytes, self.technique.as_str());
        for trace in &self.traces {
            for column in [&trace.x, &trace.y] {
                word(&mut bytes, column.quantity.as_str());
                word(&mut bytes, column.unit.code());
                bytes.extend_from_slice(&(column.values.len() as u64).to_le_bytes());
                for value in column.values.iter() {
                    bytes.extend_from_slice(&value.to_bits().to_le_bytes());
                }
            }
            bytes.extend_from_slice(&(trace.held.len() as u64).to_le_bytes());
            for held in &trace.held {
                word(&mut bytes, held.quantity.as_str());
                word(&mut bytes, held.unit.code());
                bytes.extend_from_slice(&held.value.to_bits().to_le_bytes());
            }
        }
        Digest::of(&bytes)
    }

    /// The first open question that touches the numbers of the curves; one about a date or a condition does not.
    #[must_use]
    pub fn question_about_curves(&self) -> Option<&Question> {
        self.questions
            .iter()
            .find(|question| !code::ABOUT_CONDITIONS.contains(&question.code))
    }
}

/// How the reading of one file went.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Runs were read, and their meaning is sure.
    Read,
    /// Runs were read, and a person must decide something about at least one.
    InQuestion,
    /// The file is no measurement that a reader knows; the reason is a remark.
    Refused,
    /// The file could not be opened or read at all.
    Failed,
}

impl Verdict {
    /// The word for it in reports.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::InQuestion => "in-question",
            Self::Refused => "refused",
            Self::Failed => "failed",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The SHA-256 of "abc" is the first example of FIPS 180-4's test vectors.
    #[test]
    fn digests_are_sha_256() {
        assert_eq!(
            Digest::of(b"abc").as_str(),
            "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn names_depend_on_bytes_and_place_alone() {
        let digest = Digest::of(b"abc");
        assert_eq!(RunId::new(&digest, 0), RunId::new(&digest, 0));
        assert_ne!(RunId::new(&digest, 0), RunId::new(&digest, 1));
        assert_eq!(RunId::new(&digest, 0).as_str().len(), 16);
    }
}
