//! Why a study gives no result.

use std::borrow::Cow;
use std::fmt;

use curvary_record::RunId;

use crate::refusal::Refusal;
use crate::spectra::{ChainRefused, SpectrumRefusal};

/// Why a study of a run gives no result: a stable code in kebab case, and a sentence for people. Reasons of the layers below,
/// [`Refusal`] and [`SpectrumRefusal`], keep their codes in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StudyError {
    code: Cow<'static, str>,
    sentence: String,
}

impl StudyError {
    /// A reason with a code of its own.
    pub(crate) fn new(code: &'static str, sentence: impl Into<String>) -> Self {
        Self {
            code: code.into(),
            sentence: sentence.into(),
        }
    }

    /// The run, the plan and the data do not go together, as the sentence says.
    pub fn unsuitable(sentence: impl Into<String>) -> Self {
        Refusal::unsuitable(sentence).into()
    }

    /// The stable code.
    pub fn code(&self) -> &str {
        &self.code
    }

    /// The sentence as the words given make it of it, such as one with the run in front.
    pub(crate) fn reworded(self, words: impl FnOnce(String) -> String) -> Self {
        Self {
            code: self.code,
            sentence: words(self.sentence),
        }
    }

    /// The same of one of several runs, which stands in front.
    pub(crate) fn of_run(self, run: &RunId) -> Self {
        self.reworded(|why| format!("run {run}: {why}"))
    }

    /// Code and sentence, as results tell how they ended.
    pub(crate) fn told(&self) -> String {
        format!("{}: {}", self.code, self.sentence)
    }

    /// The reason out of what [`Self::told`] made of it: what a result without a number says of how it ended.
    pub(crate) fn of_told(told: &str) -> Self {
        let is_code = |text: &str| text.chars().all(|c| c.is_ascii_lowercase() || c == '-');
        match told.split_once(": ").filter(|(code, _)| is_code(code)) {
            Some((code, sentence)) => Self {
                code: code.to_owned().into(),
                sentence: sentence.to_owned(),
            },
            None => Self::unsuitable(told),
        }
    }
}

impl fmt::Display for StudyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

impl std::error::Error for StudyError {}

impl From<Refusal> for StudyError {
    fn from(refusal: Refusal) -> Self {
        Self::new(refusal.code(), refusal.to_string())
    }
}

impl From<SpectrumRefusal> for StudyError {
    fn from(refusal: SpectrumRefusal) -> Self {
        Self::new(refusal.code(), refusal.to_string())
    }
}

impl From<ChainRefused> for StudyError {
    fn from(refused: ChainRefused) -> Self {
        Self::new(refused.refusal.code(), refused.to_string())
    }
}
