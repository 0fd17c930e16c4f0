//! What questions and answers are about, and answers as people write them.

use std::cmp::Ordering;
use std::fmt;

use crate::Alternative;

/// What a question or an answer is about. As text it is what stands before the `=` of an answer: `x`, `decimal`.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Topic {
    /// What the x axis is.
    X,
    /// What was measured.
    Y,
    /// Anything else that some reader asks, or a local word: `decimal`, `trial/lamp`, `header:glimm`.
    Named(String),
}

impl Topic {
    /// Its text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        match self {
            Self::X => "x",
            Self::Y => "y",
            Self::Named(name) => name,
        }
    }

    /// Whether an answer is a quantity, or a quantity and its unit.
    #[must_use]
    pub fn is_axis(&self) -> bool {
        matches!(self, Self::X | Self::Y)
    }
}

impl From<&str> for Topic {
    fn from(text: &str) -> Self {
        match text {
            "x" => Self::X,
            "y" => Self::Y,
            other => Self::Named(other.to_owned()),
        }
    }
}

// By their texts, so that lists of answers have the order in which people look for them.
impl Ord for Topic {
    fn cmp(&self, other: &Self) -> Ordering {
        self.as_str().cmp(other.as_str())
    }
}

impl PartialOrd for Topic {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// What is answered about a topic. As text, on command lines, in notes and in offers, it is `topic=value`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TopicAnswer {
    /// What it is about.
    pub topic: Topic,
    /// The answer.
    pub value: String,
}

impl TopicAnswer {
    /// The answer that a text is; none where it has no `=`.
    #[must_use]
    pub fn of(text: &str) -> Option<Self> {
        let (topic, value) = text.split_once('=')?;
        Some(Self {
            topic: topic.into(),
            value: value.to_owned(),
        })
    }
}

impl fmt::Display for TopicAnswer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}={}", self.topic, self.value)
    }
}

impl Alternative {
    /// The answer that settles a question so; none where nothing can be given to `--assume`.
    #[must_use]
    pub fn answer(&self) -> Option<TopicAnswer> {
        TopicAnswer::of(&self.assume)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_read_and_written_alike() {
        for text in [
            "x=time:s",
            "y=new:a=b",
            "decimal=comma",
            "trial/lamp=left",
            "value:a=b",
        ] {
            assert_eq!(TopicAnswer::of(text).expect(text).to_string(), text);
        }
        assert_eq!(TopicAnswer::of("comma"), None);
        assert_eq!(Topic::from("x"), Topic::X);
        assert!(Topic::Named("decimal".to_owned()) < Topic::X);
    }
}
