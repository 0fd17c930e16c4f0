//! In which order runs are shown.

use std::cmp::Ordering;

use tantivy::columnar::{ColumnType, MonotonicallyMappableToU64};
use tantivy::{DocId, SegmentReader};

use super::names::turned;

/// By what runs are ordered.
pub(crate) enum Key {
    When,
    Number(String),
    Text(String),
}

/// A value of a run by which it is ordered; missing values come last.
#[derive(Clone, Debug, PartialEq, PartialOrd)]
pub(super) enum RunRank {
    Number(f64),
    Text(String),
    None,
}

/// Leaves out what does not come among the first `end`, in no order.
pub(super) fn keep_first<T>(all: &mut Vec<T>, end: usize, compare: impl Fn(&T, &T) -> Ordering) {
    if end < all.len() {
        all.select_nth_unstable_by(end, compare);
        all.truncate(end);
    }
}

pub(super) fn ranks(
    segment: &SegmentReader,
    key: &Key,
    falling: bool,
    documents: &[DocId],
) -> tantivy::Result<Vec<RunRank>> {
    let none = || documents.iter().map(|_| RunRank::None).collect();
    match key {
        Key::When => Ok(none()),
        Key::Number(path) => {
            let types = [ColumnType::I64];
            let path = format!("number.{path}");
            let Some((column, _)) = segment.fast_fields().u64_lenient_for_type(Some(&types), &path)? else {
                return Ok(none());
            };
            let value = |raw: u64| f64::from_bits(turned(i64::from_u64(raw)).cast_unsigned());
            Ok(documents
                .iter()
                .map(|&doc| {
                    let values = column.values_for_doc(doc).map(value);
                    let best = if falling {
                        values.reduce(f64::max)
                    } else {
                        values.reduce(f64::min)
                    };
                    best.map_or(RunRank::None, RunRank::Number)
                })
                .collect())
        }
        Key::Text(list) => {
            let Some(column) = segment.fast_fields().str(&super::words_column(list))? else {
                return Ok(none());
            };
            let mut all = Vec::with_capacity(documents.len());
            let mut word = String::new();
            for &doc in documents {
                all.push(match column.term_ords(doc).next() {
                    Some(ordinal) => {
                        word.clear();
                        column.ord_to_str(ordinal, &mut word)?;
                        RunRank::Text(word.to_lowercase())
                    }
                    None => RunRank::None,
                });
            }
            Ok(all)
        }
    }
}
