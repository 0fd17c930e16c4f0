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

/// A text for each of [`IN_ALL`], in its order.
const ALL_TEXTS: [&str; IN_ALL.len()] = [
    "'400\t'0.5\n'410\t'0.6\n'420\t'0.7\n",
    "|| nm || A ||\n|| 400 || 0.512 ||\n",
    "(400,0.512)\n(420,0.433)\n(440,0.390)\n",
    "980,0.50\n990,0.51\n1,000,0.52\n1,010,0.53\n",
    "10:00:01 nm A\n10:00:02 400 0.512\n10:00:03 420 0.433\n10:00:04 440 0.390\n",
    "10 DATA 400,.512\n20 DATA 420,.433\n30 DATA 440,.390\n",
    "tap.........A = 0.268\nwell........A = 0.301\nriver.......A = 0.412\nbog.........A = 0.633\n",
    "400.0;0,51\n410.0;0,43\n420.0;0,39\n",
    "A at 595 nm\nwash 1     0.313\nwash 2     0.539\nelution 1  0.090  (yellow!)\n",
    "µ     Tea     Malt\n400   0.101   0.201\n410           0.202\n420   0.103   0.203\n",
    "Absorbance at 540 nm\nreading 01 0.101\nreading 02 0.102\nreading 03 0.103\n",
];

#[test]
fn every_line_stays_as_long_as_it_was() {
    for (without, text) in IN_ALL.iter().zip(ALL_TEXTS) {
        let blanked = without(text).map(|(blanked, _)| blanked);
        let blanked = blanked.unwrap_or_else(|| panic!("nothing was blanked in {text}"));
        let lengths = |text: &str| text.split('\n').map(str::len).collect::<Vec<_>>();
        assert_eq!(lengths(&blanked), lengths(text), "{text}{blanked}");
    }
}

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
