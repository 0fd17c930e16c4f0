//! What is filed of a run and of a source that gave none: the engine's fields, and a document of them.

use std::borrow::Cow;

use curvary_record::Family;
use serde::{Deserialize, Serialize};
use tantivy::Term;
use tantivy::schema::{
    BytesOptions, Field, IndexRecordOption, JsonObjectOptions, NumericOptions, Schema, TextFieldIndexing,
    TextOptions,
};

use super::document::{FieldWriter, FiledDocument};
use super::named::{RunsByName, beginning};
use super::seven_bits;
use super::struck::FiledOfSource;
use crate::digests::digest_bytes;
use crate::facts::Facts;
use crate::frames::At;

/// The fields of the engine.
#[derive(Clone, Copy)]
pub(crate) struct IndexFields {
    /// The beginning of the run's name (`named.rs`); a source has none.
    pub(super) id: Field,
    /// The beginning of the source's digest, by which its runs are found.
    pub(super) digest: Field,
    /// The source's digest as it is shown.
    pub(super) source: Field,
    /// Words of closed lists, by list.
    pub(super) list: Field,
    /// Short texts by which runs are ordered and counted, by field.
    pub(super) shown: Field,
    /// Texts by field.
    pub(super) text: Field,
    /// Numbers by field and SI unit.
    pub(super) number: Field,
    /// Moment of the measurement: its day, as year, month, day in one decimal number, and the second in five digits more.
    pub(super) when: Field,
    /// The run's name as a number, so that every order is whole.
    pub(super) order: Field,
    /// The signatures of the curves.
    pub(super) shape: Field,
    /// What a table shows.
    pub(super) summary: Field,
    /// Where the records stand.
    pub(super) places: Field,
}

pub(crate) fn schema() -> (Schema, IndexFields) {
    let mut builder = Schema::builder();
    let positions = TextFieldIndexing::default()
        .set_tokenizer("words")
        .set_index_option(IndexRecordOption::WithFreqsAndPositions)
        .set_fieldnorms(false);
    let exact = TextFieldIndexing::default()
        .set_tokenizer("raw")
        .set_index_option(IndexRecordOption::Basic)
        .set_fieldnorms(false);
    let fast = || NumericOptions::default().set_fast();
    let stored = || BytesOptions::default().set_stored();
    let name = || TextOptions::default().set_indexing_options(exact.clone());
    let names = IndexFields {
        id: builder.add_text_field("id", name()),
        digest: builder.add_bytes_field("digest", BytesOptions::default().set_indexed()),
        source: builder.add_bytes_field("source", stored()),
        list: builder.add_json_field(
            "list",
            JsonObjectOptions::default()
                .set_indexing_options(exact)
                .set_fast("raw"),
        ),
        shown: builder.add_json_field("shown", JsonObjectOptions::default().set_fast("raw")),
        text: builder.add_json_field(
            "text",
            JsonObjectOptions::default().set_indexing_options(positions),
        ),
        number: builder.add_json_field("number", JsonObjectOptions::default().set_fast("raw")),
        when: builder.add_i64_field("when", fast()),
        order: builder.add_u64_field("order", fast()),
        shape: builder.add_bytes_field("shape", BytesOptions::default().set_fast()),
        summary: builder.add_bytes_field("summary", stored()),
        places: builder.add_bytes_field("places", stored()),
    };
    (builder.build(), names)
}

/// Where the records of a run stand.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Places {
    pub(crate) run: At,
    pub(crate) outcomes: Vec<At>,
}

impl Places {
    /// Five numbers for each record: most are small.
    pub(super) fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(16 * (1 + self.outcomes.len()));
        for at in std::iter::once(&self.run).chain(&self.outcomes) {
            let small = [at.part, at.packed, at.line, at.length].map(u64::from);
            for number in std::iter::once(at.frame).chain(small) {
                seven_bits::put(&mut bytes, number);
            }
        }
        bytes
    }

    pub(super) fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let mut bytes = bytes.iter().copied();
        let mut next = || seven_bits::take(|| bytes.next());
        let mut all = Vec::new();
        while let Some(frame) = next() {
            let mut small = || next().and_then(|number| u32::try_from(number).ok());
            all.push(At {
                frame,
                part: small()?,
                packed: small()?,
                line: small()?,
                length: small()?,
            });
        }
        let mut all = all.into_iter();
        Some(Self {
            run: all.next()?,
            outcomes: all.collect(),
        })
    }
}

/// A key as one step of a path: the engine takes paths apart at dots.
pub(super) fn step(key: &str) -> Cow<'_, str> {
    let plain = |byte: u8| byte != b'.' && byte != b'\\' && (b' '..127).contains(&byte);
    if key.bytes().all(plain) {
        return Cow::Borrowed(key);
    }
    key.chars()
        .map(|sign| match sign {
            '.' => '\u{e000}',
            '\\' => '\u{e001}',
            sign if sign.is_control() => '\u{e002}',
            sign => sign,
        })
        .collect()
}

/// A number as a whole number of the same order, for the engine keeps whole numbers exactly and compares them so; numbers
/// with a fraction it may take for whole ones where a whole column happens to be.
pub(super) fn filed(value: f64) -> i64 {
    turned((value + 0.0).to_bits().cast_signed())
}

/// Turns the bits of negative numbers round, so that the order of the bits is that of the numbers (as `f64::total_cmp`
/// does), and back again.
pub(super) fn turned(bits: i64) -> i64 {
    bits ^ ((bits >> 63).cast_unsigned() >> 1).cast_signed()
}

/// The first 80 bits of a digest: that two of ten million sources share them is as likely as 4e-11, and a dictionary of whole
/// digests would take three times as much. Of what is no digest, all of it.
pub(super) fn short(digest: &str) -> Cow<'_, [u8]> {
    match digest_bytes(digest) {
        Some(bytes) => Cow::Owned(bytes[..10].to_vec()),
        None => Cow::Borrowed(digest.as_bytes()),
    }
}

pub(super) fn number_path(key: &str, unit: &str, end: &str) -> String {
    step(&format!("{key}|{unit}{end}")).into_owned()
}

impl IndexFields {
    /// Writes everything about a run but the places of its records.
    pub(crate) fn run(&self, facts: &Facts, document: &mut FieldWriter<'_>) {
        document.text(self.id, beginning(&facts.id));
        document.bytes(self.digest, &short(&facts.digest));
        document.bytes(self.source, &digest_bytes(&facts.digest).unwrap_or_default());
        document.count(self.order, order_of(&facts.id));
        document.object(self.list, |lists| {
            for (list, words) in &facts.exact {
                lists.texts(&step(list), words.iter().map(String::as_str));
            }
            lists.texts("kind", ["run"].into_iter());
        });
        if !facts.shown.is_empty() {
            document.object(self.shown, |shown| {
                for (field, text) in &facts.shown {
                    shown.texts(&step(field), [text.as_str()].into_iter());
                }
            });
        }
        document.object(self.text, |object| {
            for (key, texts) in &facts.texts {
                object.texts(&step(key), texts.iter().map(String::as_str));
            }
        });
        document.object(self.number, |object| {
            for ((key, unit), values) in &facts.numbers {
                object.numbers(
                    &number_path(key, unit, ""),
                    values.iter().map(|&value| filed(value)),
                );
            }
            for ((key, unit), &(from, to)) in &facts.spans {
                object.numbers(&number_path(key, unit, "|from"), [filed(from)].into_iter());
                object.numbers(&number_path(key, unit, "|to"), [filed(to)].into_iter());
            }
        });
        if let Some(day) = facts.day {
            document.number(self.when, first_moment(day) + facts.second);
        }
        for shape in &facts.shapes {
            document.bytes(self.shape, shape);
        }
        document.bytes(
            self.summary,
            &serde_json::to_vec(&facts.summary).unwrap_or_default(),
        );
    }

    /// A source that gave no run.
    pub(crate) fn unread(&self, digest: &str, unread: &UnreadSource) -> FiledDocument {
        let asked = unread
            .family
            .as_ref()
            .map(|family| crate::asks::of_refusal(&family.id(), &unread.code));
        let lists = [("kind", "unread"), ("code", unread.code.as_str())]
            .into_iter()
            .chain(asked.iter().map(|asked| ("asked", asked.as_str())))
            .chain(unread.digest.is_empty().then_some(("missed", "yes")));
        FiledDocument::new(|document| {
            document.bytes(self.digest, &short(digest));
            document.count(self.order, order_of(digest));
            document.object(self.list, |object| {
                for (list, word) in lists {
                    object.texts(list, [word].into_iter());
                }
            });
            document.bytes(self.summary, &serde_json::to_vec(unread).unwrap_or_default());
        })
    }

    pub(crate) fn place(&self, document: &mut FiledDocument, places: &Places) {
        document.add(|more| more.bytes(self.places, &places.to_bytes()));
    }

    /// Asks for runs by their whole names.
    pub(crate) fn runs<'n>(&self, names: impl Iterator<Item = &'n str>) -> RunsByName {
        RunsByName::new(self.id, names.map(order_of).collect())
    }

    /// Asks for everything that is filed under a digest.
    pub(crate) fn filed_of(&self, digest: &str) -> FiledOfSource {
        FiledOfSource::new(Term::from_field_bytes(self.digest, &short(digest)))
    }

    pub(super) fn list_term(&self, list: &str, word: &str) -> Term {
        let mut term = Term::from_field_json_path(self.list, &step(list), false);
        term.append_type_and_str(word);
        term
    }
}

/// Why a source gave no run.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct UnreadSource {
    pub(crate) code: String,
    pub(crate) message: String,
    pub(crate) path: String,
    #[serde(default)]
    pub(crate) digest: String,
    #[serde(default)]
    pub(crate) family: Option<Family>,
}

/// The first moment of a day, as it is filed.
pub(super) fn first_moment(day: i64) -> i64 {
    day.saturating_mul(100_000)
}

/// The first 16 hexadecimal digits of a name as a number; another name's hash.
pub(super) fn order_of(id: &str) -> u64 {
    id.get(..16)
        .and_then(|digits| u64::from_str_radix(digits, 16).ok())
        .unwrap_or_else(|| crate::catalog::path_hash(id.as_bytes()))
}

/// The path by which a number field is ordered.
pub(crate) fn sort_path(key: &str, unit: &str) -> String {
    number_path(key, unit, "")
}

#[cfg(test)]
mod tests {
    use super::{At, Places};

    #[test]
    fn places_come_back_and_what_is_cut_does_not() {
        let at = |frame, line| At {
            part: 3,
            frame,
            packed: 128,
            line,
            length: u32::MAX,
        };
        let places = Places {
            run: at(u64::MAX, 0),
            outcomes: vec![at(127, 16_384)],
        };
        let bytes = places.to_bytes();
        assert_eq!(Places::from_bytes(&bytes), Some(places));
        for cut in [0, 5, bytes.len() - 1] {
            assert_eq!(Places::from_bytes(&bytes[..cut]), None);
        }
    }
}
