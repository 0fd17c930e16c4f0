//! Which numbers are wavelengths, in nanometres: narrower, the less beside the number says that it is one.

use std::ops::{Range, RangeInclusive};

/// What can be one at all: from the vacuum ultraviolet into the infrared. Nothing outside is offered as a wavelength.
pub(crate) const POSSIBLE: RangeInclusive<f64> = 100.0..=5000.0;

/// What is one where a sentence says so, `at 405 nm`: to the end of the near infrared.
pub(crate) const IN_WORDS: Range<f64> = 100.0..3500.0;

/// What a line or a name that says `412 nm` in passing may mean: the range of photometers with silicon detectors, with the
/// shortest wavelength that reaches them through air. Widths of slits and layers in nanometres lie below.
pub(crate) const IN_PASSING: RangeInclusive<f64> = 185.0..=1100.0;

/// What bare numbers above the columns of a table may be. Below 190 nm they would as well be counts or times.
pub(crate) const BARE_HEADERS: RangeInclusive<f64> = 190.0..=1100.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_less_is_said_the_narrower() {
        let ends = [POSSIBLE, 100.0..=IN_WORDS.end, IN_PASSING, BARE_HEADERS];
        for two in ends.windows(2) {
            assert!(two[0].start() <= two[1].start() && two[0].end() >= two[1].end());
        }
        // Either side of what bare headers may be.
        assert!(BARE_HEADERS.contains(&190.0) && !BARE_HEADERS.contains(&189.9));
        assert!(BARE_HEADERS.contains(&1100.0) && !BARE_HEADERS.contains(&1100.1));
    }
}
