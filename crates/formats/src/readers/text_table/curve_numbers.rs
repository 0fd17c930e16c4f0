//! A header that says what runs and numbers the curves, `nm;1;2;3`, over a row of their names or conditions, `c (mg/L);5;10;20`.
//!
//! The numbers are none of what runs: nothing was read at 1, 2 and 3 nm. The values of the first column suit the header, and not
//! the row below it.

use super::grid::{ColumnKind, Grid};
use super::scan::{HeadRow, leading_number};
use super::segments::{RowClass, is_axis};
use crate::column_header::read_column_header;
use crate::words::field_of;

/// What spectra in nanometres run over: the ultraviolet from 150 and the near infrared up to 1200 nm.
const NANOMETRES: std::ops::RangeInclusive<f64> = 150.0..=1200.0;

/// Parts such a header into what runs and the numbers of the curves, and takes the rows below it for their names or conditions.
pub(super) fn part_curve_numbers(text: &str, grid: &Grid, heads: &mut Vec<HeadRow>) {
    if grid.columns() < 3 {
        return;
    }
    let Some(at) = heads.iter().position(|head| numbers_curves(text, grid, head)) else {
        return;
    };
    let line = heads[at].line.line;
    let is_below = |head: &HeadRow| {
        head.line.line > line && head.cells.first().is_some_and(Option::is_some) && !runs(text, head)
    };
    let below: Vec<usize> = (0..heads.len()).filter(|&row| is_below(&heads[row])).collect();
    if below.is_empty() {
        return;
    }
    for row in below {
        let key = heads[row].cells[0].map_or("", |span| text[span.range()].trim());
        let key = key.trim_end_matches(':').trim_end();
        let is_sample = field_of(key) == Some("sample")
            || read_column_header(key)
                .quantity
                .is_some_and(|of| of.as_str() == "sample");
        let of_numbers = heads[row].cells[1..]
            .iter()
            .flatten()
            .all(|span| leading_number(&text[span.range()]).is_some());
        heads[row].class = match (is_sample, of_numbers) {
            (true, _) => RowClass::Samples,
            (false, true) => RowClass::Condition,
            (false, false) => RowClass::Names,
        };
    }
    let mut numbers = heads[at].clone();
    numbers.class = RowClass::Names;
    numbers.cells[0] = None;
    heads[at].class = RowClass::Header;
    heads[at].cells[1..].fill(None);
    heads.insert(0, numbers);
    heads.sort_by_key(|head| matches!(head.class, RowClass::Header | RowClass::Units));
}

/// Whether a row names what readings run over.
fn runs(text: &str, head: &HeadRow) -> bool {
    let key = head.cells[0].map_or("", |span| text[span.range()].trim());
    let of = read_column_header(key).quantity;
    of.is_some_and(|of| matches!(of.as_str(), "wavelength" | "wavenumber" | "time"))
}

/// Whether a header names what runs down the first column, and has a bare number over each of the others that is none of it.
fn numbers_curves(text: &str, grid: &Grid, head: &HeadRow) -> bool {
    let [Some(key), curves @ ..] = head.cells.as_slice() else {
        return false;
    };
    let key = read_column_header(text[key.range()].trim());
    let Some(of) = key.quantity.as_ref().filter(|_| is_axis(&key)) else {
        return false;
    };
    let numbers: Vec<f64> = curves
        .iter()
        .flatten()
        .filter_map(|span| text[span.range()].trim().parse().ok())
        .collect();
    if numbers.len() < 2 || numbers.len() != curves.len() {
        return false;
    }
    // A single row may be one of names as well.
    let down: Option<Vec<f64>> = match grid.kinds[0] {
        ColumnKind::Figures => Some(grid.column(0).filter(|value| !value.is_nan()).collect()),
        ColumnKind::Words => {
            let words = grid.words(0).iter();
            words.map(|span| text[span.range()].trim().parse().ok()).collect()
        }
    };
    let Some(down) = down else { return false };
    let orderly =
        down.windows(2).all(|pair| pair[0] < pair[1]) || down.windows(2).all(|pair| pair[0] > pair[1]);
    let of_light = |values: &[f64]| values.iter().all(|value| NANOMETRES.contains(value));
    let counts = (1_u32..)
        .zip(&numbers)
        .all(|(count, number)| f64::from(count) == *number);
    // Numbers of samples, `101`, are no wavelengths; times that count from one may stand across a column of wavelengths.
    let suits = match of.as_str() {
        "wavelength" => of_light(&down) && !of_light(&numbers),
        "time" => counts && !of_light(&down),
        _ => false,
    };
    orderly && suits
}
