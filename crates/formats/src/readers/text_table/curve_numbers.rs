//! A header that says what runs and numbers the curves, `nm;1;2;3`, over a row of their names or conditions, `c (mg/L);5;10;20`.
//!
//! The numbers are none of what runs: nothing was read at 1, 2 and 3 nm. The values of the first column suit the header, and not
//! the row below it.

use curvary_record::Quantity;

use super::columns::quantity_of_unit;
use super::damaged::is_row_aside;
use super::grid::{ColumnKind, Grid};
use super::scan::{HeadRow, leading_number};
use super::segments::{RowClass, is_axis};
use crate::column_header::read_column_header;
use crate::words::means_sample;

/// What spectra in nanometres run over: from the vacuum ultraviolet, which air lets through no more, to a little beyond 1100 nm, where
/// detectors of silicon end.
const NANOMETRES: std::ops::RangeInclusive<f64> = 150.0..=1200.0;

/// What a row below the numbers is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum RowBelow {
    /// The samples of the curves.
    Samples,
    /// A condition, a number for each curve.
    Condition,
    /// What the curves are called.
    Names,
    /// It names what may run or be held over no numbers: the key of the column below it, or of the numbers above.
    Runs,
}

/// Parts such a header into what runs and the numbers of the curves, and takes the rows below it for their names or conditions.
pub(super) fn part_curve_numbers(text: &str, grid: &Grid, heads: &mut Vec<HeadRow>) {
    if grid.columns() < 3 {
        return;
    }
    let found = heads
        .iter()
        .enumerate()
        .find_map(|(at, head)| Some((at, numbered_curves(text, grid, head)?)));
    let Some((at, runs)) = found else { return };
    let line = heads[at].line.line;
    // A row that sums up the others is known already.
    let is_below = |head: &HeadRow| {
        head.line.line > line
            && head.class != RowClass::Summary
            && head.cells.first().is_some_and(Option::is_some)
    };
    // A row of readings under a name of its own, `Blank;0.05;0.06;0.07`, is none of the heads, and is asked about.
    let digits = std::cell::OnceCell::new();
    heads.retain(|head| {
        let line = &text[head.line.span.range()];
        !(is_below(head) && is_row_aside(line, grid, digits.get_or_init(|| grid.decimals())))
    });
    let at = heads.iter().position(|head| head.line.line == line).unwrap_or(at);
    let below: Vec<(usize, RowBelow)> = (0..heads.len())
        .filter(|&row| is_below(&heads[row]))
        .filter_map(|row| Some((row, row_below(text, &heads[row], &runs)?)))
        .collect();
    let second = below.iter().any(|(_, is)| *is == RowBelow::Runs);
    // Times stand across, `Time (min);1;2;3`, and what the row below names runs down.
    if below.is_empty() || second && runs == Quantity::TIME {
        return;
    }
    for (row, is) in below {
        heads[row].class = match is {
            RowBelow::Samples => RowClass::Samples,
            RowBelow::Condition => RowClass::Condition,
            RowBelow::Names => RowClass::Names,
            RowBelow::Runs => RowClass::Header,
        };
        if is == RowBelow::Runs {
            heads[row].cells[0] = None;
        }
    }
    let mut numbers = heads[at].clone();
    numbers.class = RowClass::Names;
    numbers.cells[0] = None;
    heads[at].class = RowClass::Header;
    heads[at].cells[1..].fill(None);
    // Of two keys, `nm;0;5;10` over `min;A;A;A`, nothing tells which is that of the column: it is asked for.
    if second {
        heads[at].cells[0] = None;
    }
    heads.insert(0, numbers);
    heads.sort_by_key(|head| matches!(head.class, RowClass::Header | RowClass::Units));
}

/// What a row below is; `None` where it names once more what `runs`, as a row of units does.
fn row_below(text: &str, head: &HeadRow, runs: &Quantity) -> Option<RowBelow> {
    let key = head.cells[0].map_or("", |span| text[span.range()].trim());
    let key = key.trim_end_matches(':').trim_end();
    let named = read_column_header(key);
    let quantity = named
        .quantity
        .clone()
        .or_else(|| named.unit.as_ref().and_then(quantity_of_unit));
    if means_sample(key) {
        return Some(RowBelow::Samples);
    }
    if quantity.as_ref() == Some(runs) {
        return None;
    }
    let mut cells = head.cells[1..].iter().flatten().peekable();
    let filled = cells.peek().is_some();
    let of_numbers = filled && cells.all(|span| leading_number(&text[span.range()]).is_some());
    let axis = quantity.is_some_and(|of| {
        matches!(
            of.as_str(),
            "wavelength" | "wavenumber" | "energy" | "time" | "concentration" | "temperature" | "ph"
        )
    });
    Some(match (of_numbers, axis) {
        (true, _) => RowBelow::Condition,
        (false, true) => RowBelow::Runs,
        (false, false) => RowBelow::Names,
    })
}

/// What runs down the first column by a header that has a bare number over each of the others, which is none of it.
fn numbered_curves(text: &str, grid: &Grid, head: &HeadRow) -> Option<Quantity> {
    let [Some(key), curves @ ..] = head.cells.as_slice() else {
        return None;
    };
    let key = read_column_header(text[key.range()].trim());
    let of = key.quantity.clone().filter(|_| is_axis(&key))?;
    let numbers: Vec<f64> = curves
        .iter()
        .flatten()
        .filter_map(|span| text[span.range()].trim().parse().ok())
        .collect();
    if numbers.len() < 2 || numbers.len() != curves.len() {
        return None;
    }
    // A single row may be one of names as well.
    let down: Option<Vec<f64>> = match grid.kinds[0] {
        ColumnKind::Figures => Some(grid.column(0).filter(|value| !value.is_nan()).collect()),
        ColumnKind::Words => {
            let words = grid.words(0).iter();
            words.map(|span| text[span.range()].trim().parse().ok()).collect()
        }
    };
    let down = down?;
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
    (orderly && suits).then_some(of)
}
