//! Lines that count, `reading 01 0.101`, `reading 02 0.102`, under a title that names light and a wavelength: a tab takes the place of the
//! blank in front of the reading, so that the number goes with the word in front of it and is none of the readings.

use super::super::number::{Cell, Style, cell};
use super::super::surroundings::names_light;
use super::Blanked;
use crate::slice::lines_with_ends;

/// So many lines that follow one another are counted at least.
const FEWEST: usize = 3;
/// A longer text, 256 KiB, is none that somebody wrote by hand.
const LONGEST: usize = 1 << 18;

/// A line of a word, a whole number and a reading: the word, the number, and the byte of the blank in front of the reading.
fn counted(line: &str) -> Option<(&str, u32, usize)> {
    // Rows of numbers begin with none.
    if !line.trim_start().starts_with(char::is_alphabetic) {
        return None;
    }
    let mut words = line.split_whitespace();
    let (word, number, reading) = (words.next()?, words.next()?, words.next()?);
    let names = word.chars().all(char::is_alphabetic) && number.bytes().all(|byte| byte.is_ascii_digit());
    if !names {
        return None;
    }
    let is_reading = [Style::POINT, Style::COMMA]
        .into_iter()
        .any(|style| matches!(cell(reading, style), Cell::Number { decimals: 1.., .. }));
    // `min 1 0.101`: the number is a coordinate.
    let of = crate::column_header::read_column_header(word).quantity;
    let is_name = of.is_none_or(|of| {
        !matches!(
            of.as_str(),
            "wavelength" | "wavenumber" | "energy" | "time" | "temperature" | "ph" | "concentration"
        )
    });
    (words.next().is_none() && is_reading && is_name)
        .then(|| {
            Some((
                word,
                number.parse().ok()?,
                crate::slice::offset_in(line, reading) - 1,
            ))
        })
        .flatten()
}

/// Whether a line says that light was read, and at which wavelength: `Absorbance at 540 nm`.
fn is_title(line: &str) -> bool {
    // Nearly all lines are rows of numbers, which name nothing.
    if !line.contains("nm") {
        return false;
    }
    let words: Vec<&str> = line.split_whitespace().collect();
    let at =
        |pair: &[&str]| pair[0].parse::<f64>().is_ok() && pair[1].trim_end_matches([',', ':', '.']) == "nm";
    words.windows(2).any(at) && names_light(line)
}

/// The text with tabs behind the names of such lines.
pub(super) fn with_tabs_behind_counted_names(text: &str) -> Option<Blanked> {
    if text.len() > LONGEST || text.contains('\t') || !text.contains("nm") {
        return None;
    }
    let mut bytes = text.as_bytes().to_vec();
    let mut changed = false;
    // The last line in front of them that is none; it is looked at where they are found.
    let mut title = "";
    let mut run: Vec<(&str, u32, usize)> = Vec::new();
    let mut start = 0;
    let mut settle = |run: &mut Vec<(&str, u32, usize)>, title: &str| {
        if run.is_empty() {
            return;
        }
        let counts = run
            .windows(2)
            .all(|pair| pair[0].0 == pair[1].0 && pair[0].1 + 1 == pair[1].1);
        if run.len() >= FEWEST && counts && is_title(title) {
            run.iter().for_each(|(.., at)| bytes[*at] = b'\t');
            changed = true;
        }
        run.clear();
    };
    for line in lines_with_ends(text) {
        match counted(line) {
            Some((word, number, at)) => run.push((word, number, start + at)),
            None => {
                settle(&mut run, title);
                if !line.trim().is_empty() {
                    title = line;
                }
            }
        }
        start += line.len();
    }
    settle(&mut run, title);
    if !changed {
        return None;
    }
    Some((String::from_utf8(bytes).ok()?, None))
}
