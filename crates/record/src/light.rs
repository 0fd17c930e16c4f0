//! Which numbers are wavelengths, in nanometres: narrower, the less beside the number says that it is one; and which are like absorbances.
//!
//! All of them stand here, so that no two places draw the line elsewhere without a reason. From memory of the trade: oxygen absorbs
//! below some 190 nm, silicon sees nothing beyond some 1100 nm, the near infrared ends at 2500 to 3500 nm.

use std::ops::RangeInclusive;

/// What can be one at all: from the vacuum ultraviolet into the infrared. Nothing outside is offered as a wavelength.
pub const POSSIBLE: RangeInclusive<f64> = 100.0..=5000.0;

/// What is one where a sentence says so, `at 405 nm`: to the end of the near infrared.
pub const IN_WORDS: RangeInclusive<f64> = 100.0..=3500.0;

/// What a whole column of numbers may be. That they run, and in which steps, says something as well.
pub const IN_COLUMNS: RangeInclusive<f64> = 120.0..=3500.0;

/// What numbers without a unit may be where others beside them speak for it: a row across a table of readings, values under
/// a key that nobody knows.
pub const AMONG_OTHERS: RangeInclusive<f64> = 150.0..=3500.0;

/// What the x axis of a curve may be where the words around the table speak of a spectrum.
pub const OF_SPECTRA: RangeInclusive<f64> = 150.0..=1400.0;

/// What is in nanometres without a unit where a key says that it is a wavelength. Above, it may be a wavenumber under a key
/// that was used too freely.
pub const UNDER_KEY: RangeInclusive<f64> = 150.0..=1200.0;

/// What a lone number is where its unit or the words around it speak of nanometres, and nothing says of what it is one: light,
/// and neither a layer nor a particle.
pub const NEAR_WORDS: RangeInclusive<f64> = 180.0..=1400.0;

/// What a line or a name that says `412 nm` in passing may mean, and a bare number beside an absorbance (`A405`): the range
/// of photometers with silicon detectors, with the shortest wavelength that reaches them through air. Widths of slits and
/// layers in nanometres lie below.
pub const IN_PASSING: RangeInclusive<f64> = 185.0..=1100.0;

/// What bare numbers above the columns of a table may be. Below 190 nm they would as well be counts or times.
pub const BARE_HEADERS: RangeInclusive<f64> = 190.0..=1100.0;

/// What numbers with decimals may be as absorbances where nothing else says what they are: a little below zero against the blank, and up
/// to what the best photometers still tell from darkness.
pub const LIKE_READINGS: RangeInclusive<f64> = -1.0..=4.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_less_is_said_the_narrower() {
        let ends = [
            POSSIBLE,
            IN_WORDS,
            IN_COLUMNS,
            AMONG_OTHERS,
            OF_SPECTRA,
            NEAR_WORDS,
            IN_PASSING,
            BARE_HEADERS,
        ];
        for two in ends.windows(2) {
            assert!(two[0].start() <= two[1].start() && two[0].end() >= two[1].end());
        }
        assert!(AMONG_OTHERS.contains(UNDER_KEY.start()) && AMONG_OTHERS.contains(UNDER_KEY.end()));
        // One end of the near infrared for all.
        for range in [IN_WORDS, IN_COLUMNS, AMONG_OTHERS] {
            assert!(range.contains(&3500.0) && !range.contains(&3500.1));
        }
        // Either side of what bare headers may be.
        assert!(BARE_HEADERS.contains(&190.0) && !BARE_HEADERS.contains(&189.9));
        assert!(BARE_HEADERS.contains(&1100.0) && !BARE_HEADERS.contains(&1100.1));
    }
}
