//! The terms under which the index files what is asked about a run or a refused source.

use std::collections::BTreeSet;

use curvary_record::Question;

/// Parts of what is filed: no text has this sign.
pub(crate) const APART: char = '\u{1f}';

pub(crate) fn of_question(family: &str, question: &Question) -> String {
    let abouts: BTreeSet<&str> = question
        .readings
        .iter()
        .filter_map(|reading| reading.assume.split_once('='))
        .map(|(about, _)| about)
        .filter(|about| *about != "measurement")
        .collect();
    let abouts: Vec<&str> = abouts.into_iter().collect();
    format!(
        "{family}{APART}question{APART}{}{APART}{}",
        question.code.as_str(),
        abouts.join("+")
    )
}

pub(crate) fn of_key(family: &str, key: &str) -> String {
    format!("{family}{APART}key{APART}{key}{APART}")
}

pub(crate) fn of_refusal(family: &str, code: &str) -> String {
    format!("{family}{APART}refusal{APART}{code}{APART}")
}
