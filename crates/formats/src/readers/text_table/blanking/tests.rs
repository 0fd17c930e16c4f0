//! Tests of what is blanked before a table is read.

use super::*;
use crate::intake::is_ordinary;

/// A text for each of [`IN_OTHERS`], in its order, that it has something to blank in.
const TEXTS: [&str; IN_OTHERS.len()] = [
    "║ nm  ║ A     ║\n║ 400 ║ 0.512 ║\n║ 420 ║ 0.433 ║\n",
    "400 nm -> 0.512\n420 nm -> 0.433\n440 nm -> 0.390\n",
    "nm,A\n400,0.512*\n420,0.433\n* diluted twice\n",
    "nm,A\n=\"400\",0.512\n",
    "400 0.512 | 500 0.433\n420 0.498 | 520 0.377\n440 0.451 | 540 0.301\n",
    "> spectrum of leaf\n> nm A\n> 400 0.512\n> 420 0.433\n",
    "400 0.512 +/- 0.003\n420 0.433 +/- 0.004\n440 0.390 +/- 0.002\n",
];

#[test]
fn what_is_looked_for_in_others_is_not_in_ordinary_texts() {
    for (without, text) in IN_OTHERS.iter().zip(TEXTS) {
        assert!(!is_ordinary(text.as_bytes()), "{text}");
        let blanked = without(text).map(|(blanked, _)| blanked);
        let blanked = blanked.unwrap_or_else(|| panic!("nothing was blanked in {text}"));
        assert_eq!(
            blanked.len(),
            text.len(),
            "every line stays as long as it was: {text}"
        );
    }
}
