//! Heads that are names or numbers by what stands beside them.

use curvary_record::KnownQuantity;
use std::collections::BTreeSet;

use super::*;
use crate::column_header::read_column_header;
use crate::words::WordList;

/// Mends what heads seem to say alone by the heads beside them.
pub(super) fn by_neighbours(columns: &mut [Column]) {
    take_least_for_no_minute(columns);
    take_counts_of_means(columns);
    take_numberings(columns);
    take_numberings_of_names(columns);
    take_differences_of_colours(columns);
    take_axis_of_corner(columns);
    take_deviations(columns);
    take_letters_for_names(columns);
    take_last_words_alike(columns);
    take_numbered_symbols(columns);
    take_siblings_for_names(columns);
    understand_numbered(columns);
    understand_times_behind(columns);
    take_decibels_for_names(columns);
    understand_first_of_several(columns);
    name_numbers_in_heads(columns);
}

/// A lone capital letter that is a unit, `K`, names a curve where its numbers are none of that unit, or where other lone
/// letters beside it name curves: `H J K`.
pub(super) fn take_lone_letters(columns: &mut [Column]) {
    let lone = |column: &Column| {
        let text = column.heads.last().map_or("", |(text, _)| text.trim());
        column.heads.len() == 1
            && text.len() == 1
            && text.starts_with(|c: char| c.is_ascii_uppercase())
            && column.kind == ColumnKind::Figures
    };
    let nameless = columns
        .iter()
        .filter(|column| lone(column) && column.quantity.is_none())
        .count();
    for column in columns.iter_mut().filter(|column| lone(column)) {
        // Nothing dissolved is read below 50 K.
        let kelvin = column.unit.as_ref() == Some(&Unit::KELVIN);
        let by_unit = column.unit.is_some() || !column.units_possible.is_empty();
        if by_unit && (nameless > 0 || kelvin && column.stats.max < 50.0) {
            name(column);
        }
    }
}

/// `A1 A2 A3` beside a mean of theirs are replicates of one reading, and no names: the mean of a row of different samples is
/// of nothing.
pub(super) fn take_replicates(columns: &mut [Column], grid: &Grid) {
    const FEWEST: usize = 2;
    const FEWEST_ROWS: usize = 3;
    let replicate = |column: &Column| {
        let head = column.heads.last()?.0.trim();
        let number = head.strip_prefix(['A', 'E'])?.parse::<usize>().ok()?;
        (column.quantity.is_none() && column.kind == ColumnKind::Figures).then_some(number)
    };
    let replicates: Vec<usize> = (0..columns.len())
        .filter(|&at| replicate(&columns[at]).is_some())
        .collect();
    let numbered = replicates
        .iter()
        .zip(1..)
        .all(|(&at, number)| replicate(&columns[at]) == Some(number));
    if replicates.len() < FEWEST || !numbered {
        return;
    }
    let decimals = grid.decimals();
    let is_mean = |column: &&Column| {
        let head = column.heads.last().map_or("", |(text, _)| text.trim());
        let tolerance = super::super::grid::rounding_of(&decimals[grid.place(column.index)]);
        let deviations = || {
            let means = grid.column(column.index).enumerate();
            means.filter_map(|(row, mean)| {
                let numbers = replicates.iter().map(|&at| grid.figure(row, columns[at].index));
                let deviation = (numbers.sum::<f64>() / replicates.len() as f64 - mean).abs();
                (!deviation.is_nan()).then_some(deviation)
            })
        };
        words::is_statistics(head)
            && deviations().count() >= FEWEST_ROWS
            && deviations().all(|deviation| deviation <= tolerance)
    };
    let figures = |column: &&Column| column.kind == ColumnKind::Figures;
    if columns.iter().filter(figures).any(|column| is_mean(&column)) {
        for at in replicates {
            let column = &mut columns[at];
            column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
            column.quantity = Some(Quantity::ABSORBANCE);
        }
    }
}

/// `rep` over 1, 2, 3, 1, 2, 3 behind names counts the readings of each: whole numbers that go up by one and begin again with 1.
pub(super) fn take_counts_within_names(columns: &mut [Column], grid: &Grid) {
    const FEWEST_TIMES: usize = 2;
    const ROWS_TO_ONE_LOST: usize = 8;
    for place in 1..columns.len() {
        let names = &columns[place - 1];
        let column = &columns[place];
        let open = column.kind == ColumnKind::Figures
            && column
                .quantity
                .as_ref()
                .is_none_or(|of| of.as_str() == "replicate")
            && column.unit.is_none()
            && column.units_possible.is_empty()
            && column.quantities_possible.is_empty()
            && column.held.is_empty()
            && column.stats.whole
            && column.stats.first == 1.0;
        if !open || names.kind != ColumnKind::Words || names.clock.is_some() {
            continue;
        }
        let values: Vec<f64> = grid
            .column(column.index)
            .filter(|value| !value.is_nan())
            .collect();
        let begun = values.iter().filter(|&&value| value == 1.0).count();
        let goes_on = |pair: &&[f64]| pair[1] == 1.0 || pair[1] == pair[0] + 1.0;
        // A row may be lost.
        let lost = values.windows(2).filter(|pair| !goes_on(pair)).count();
        if lost * ROWS_TO_ONE_LOST <= values.len() && begun >= FEWEST_TIMES && begun < values.len() {
            let column = &mut columns[place];
            name(column);
            column.quantity = Some(Quantity::INDEX);
        }
    }
}

/// Takes the lowest head for a name, whatever it seemed to say. What a row of conditions says of the curve has a line and stays.
fn name(column: &mut Column) {
    column.quantity = None;
    column.unit = None;
    column.quantities_possible.clear();
    column.units_possible.clear();
    column.held.retain(|held| held.line.is_some());
    column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
}

/// `T min` beside `T max`, and `min` beside `max`, is the least, and no minute.
fn take_least_for_no_minute(columns: &mut [Column]) {
    let stem = |column: &Column, end: &str| {
        let text = column
            .heads
            .last()
            .map_or("", |(text, _)| text.trim())
            .to_lowercase();
        let stem = text.strip_suffix(end)?.trim_end_matches([' ', '_', '.', '-']);
        Some(stem.to_owned())
    };
    let greatest: BTreeSet<String> = columns.iter().filter_map(|column| stem(column, "max")).collect();
    for column in columns {
        let Some(stem) = stem(column, "min").filter(|stem| greatest.contains(stem)) else {
            continue;
        };
        let said = read_column_header(&stem.to_uppercase());
        name(column);
        column.quantity = read_column_header(&stem)
            .quantity
            .or(said.quantity)
            .filter(|q| *q != Quantity::TIME);
    }
}

/// `n` beside a mean, a least and a greatest counts what they are of, and was not measured.
fn take_counts_of_means(columns: &mut [Column]) {
    let last_word = |column: &Column| {
        let text = column.heads.last().map_or("", |(text, _)| text.trim());
        text.rsplit([' ', '_']).next().unwrap_or("").to_owned()
    };
    let sums_up = |column: &Column| {
        let word = last_word(column);
        word.chars().count() >= 2 && words::is_statistics(&word) && !words::is(WordList::Count, &word)
    };
    if !columns.iter().any(sums_up) {
        return;
    }
    for column in columns.iter_mut() {
        let counts = column.kind == ColumnKind::Figures
            && column.stats.whole
            && column.stats.min >= 0.0
            && column
                .heads
                .last()
                .is_some_and(|(text, _)| words::is(WordList::Count, text));
        if counts {
            name(column);
            column.quantity = Some(Quantity::INDEX);
        }
    }
}

/// 1, 2, 3, … under a header that ends in a word for a number, `Einwaage Nr.`, `Tank no`, count what they are of.
fn take_numberings(columns: &mut [Column]) {
    for column in columns {
        let text = column.heads.last().map_or("", |(text, _)| text.trim());
        let numbers = text
            .rsplit_once([' ', '-', '_'])
            .and_then(|(_, last)| words::quantity_of(last))
            .is_some_and(|quantity| quantity == Quantity::INDEX);
        if numbers && column.kind == ColumnKind::Figures && column.stats.counts() && column.stats.count >= 2 {
            name(column);
            column.quantity = Some(Quantity::INDEX);
        }
    }
}

/// 1, 2, 3, … in front of names count them under whatever header, `zap. št.;vzorec`: nothing is measured at them.
fn take_numberings_of_names(columns: &mut [Column]) {
    const FEWEST: usize = 3;
    let [first, names, ..] = columns else { return };
    let open = first.quantity.is_none()
        && first.unit.is_none()
        && first.units_possible.is_empty()
        && first.quantities_possible.is_empty()
        && first.held.is_empty();
    let counts = first.kind == ColumnKind::Figures
        && first.stats.counts()
        && first.stats.first == 1.0
        && first.stats.count >= FEWEST;
    let named = names.kind == ColumnKind::Words
        && names.clock.is_none()
        && names
            .heads
            .last()
            .is_some_and(|(text, _)| words::means_sample(text));
    if open && counts && named {
        name(first);
        first.quantity = Some(Quantity::INDEX);
    }
}

/// `absorbance` below or above `nm` over the first column, where numbers stand across: what was measured is named in the corner, and
/// the column is the axis.
fn take_axis_of_corner(columns: &mut [Column]) {
    let [first, others @ ..] = columns else { return };
    let light = first.quantity.as_ref().is_some_and(Quantity::is_of_light);
    let runs = first.kind == ColumnKind::Figures && first.stats.orderly() && first.stats.like_nanometres();
    let across = others.len() >= 2 && others.iter().all(|column| !column.held.is_empty());
    if !(light && runs && across) {
        return;
    }
    let axis = first.heads.iter().find_map(|(text, _)| {
        let head = read_column_header(text);
        let wavelength = head.quantity == Some(Quantity::WAVELENGTH) && head.held.is_empty();
        wavelength.then(|| head.unit.unwrap_or(Unit::NANOMETRE))
    });
    if let Some(unit) = axis {
        for column in others.iter_mut().filter(|column| column.quantity.is_none()) {
            column.quantity.clone_from(&first.quantity);
        }
        first.quantity = Some(Quantity::WAVELENGTH);
        first.unit = Some(unit);
        first.quantities_possible.clear();
        first.units_possible.clear();
    }
}

/// `dE` beside `L*`, `a*` and `b*` is the difference of two colours, and no absorbance.
fn take_differences_of_colours(columns: &mut [Column]) {
    const COORDINATES: usize = 3;
    let text = |column: &Column| column.heads.last().map_or("", |(text, _)| text.trim()).to_owned();
    let coordinate = |column: &&Column| {
        // Without its star `a` names a sample.
        let text = text(column);
        text.contains('*')
            && words::is(WordList::ColourCoordinate, &text)
            && column.kind == ColumnKind::Figures
    };
    if columns.iter().filter(coordinate).count() < COORDINATES {
        return;
    }
    for column in columns {
        let head = text(column);
        let difference = words::is(WordList::ColourDifference, &head);
        if difference || coordinate(&&*column) {
            name(column);
            column.quantity = Some(Quantity::named("colour coordinate"));
        }
    }
}

/// `s` or `σ` behind a mean is its standard deviation: neither seconds nor a wavenumber.
fn take_deviations(columns: &mut [Column]) {
    let text = |column: &Column| column.heads.last().map_or("", |(text, _)| text.trim()).to_owned();
    for at in 1..columns.len() {
        let before = text(&columns[at - 1]);
        let last = before.rsplit(' ').next().unwrap_or("");
        let mean =
            before.chars().count() >= 2 && (words::is_statistics(&before) || words::is_statistics(last));
        // `min` in front of `s` are minutes.
        let timed = columns[at - 1].quantity == Some(Quantity::TIME);
        if mean && !timed && matches!(text(&columns[at]).as_str(), "s" | "σ" | "±") {
            name(&mut columns[at]);
            columns[at].quantity = Some(Quantity::named("standard deviation"));
        }
    }
}

/// `control A`, `inhibitor A`: where the headers of two columns or more end in the one symbol of an absorbance, differ before it,
/// and no other column is without a quantity, it is what was measured, and no sample's letter.
fn take_last_words_alike(columns: &mut [Column]) {
    let parted = |column: &Column| -> Option<(String, String)> {
        let (text, _) = column.heads.last()?;
        let (front, last) = text.trim().rsplit_once([' ', '_'])?;
        let bare = column.kind == ColumnKind::Figures
            && column.quantity.is_none()
            && column.held.iter().all(|held| held.quantity == Quantity::UNKNOWN);
        (bare && matches!(last, "A" | "E")).then(|| (front.to_owned(), last.to_owned()))
    };
    let told = |column: &Column| column.quantity.is_some() || column.kind == ColumnKind::Words;
    if !columns
        .iter()
        .all(|column| parted(column).is_some() || told(column))
    {
        return;
    }
    let parts: Vec<(String, String)> = columns.iter().filter_map(parted).collect();
    let fronts: BTreeSet<&String> = parts.iter().map(|(front, _)| front).collect();
    let alike = parts.iter().all(|(_, last)| *last == parts[0].1);
    if parts.len() < 2 || fronts.len() < parts.len() || !alike {
        return;
    }
    for column in columns {
        if let Some((front, _)) = parted(column) {
            name(column);
            column.quantity = Some(Quantity::ABSORBANCE);
            column.label = Some(front);
        }
    }
}

/// `E1`, `E2` beside `E Mittel` or `E3 (570 nm)`: a symbol with a number is of what the bare symbol is of, which another header
/// of the table spells out. Alone it may be the name of a sample or of a well.
fn take_numbered_symbols(columns: &mut [Column]) {
    let symbol = |text: &str| -> Option<char> {
        let mut signs = text.trim().chars();
        let first = signs.next().filter(|c| matches!(c, 'A' | 'E'))?;
        let digits = signs.as_str();
        (!digits.is_empty() && digits.len() <= 2 && digits.bytes().all(|byte| byte.is_ascii_digit()))
            .then_some(first)
    };
    let spelled_out: Vec<char> = columns
        .iter()
        .filter(|column| column.quantity == Some(Quantity::ABSORBANCE))
        .filter_map(|column| column.heads.last())
        .filter_map(|(text, _)| {
            let (front, rest) = text.trim().split_once(' ')?;
            let sums = words::is_statistics(rest.trim_matches(['(', ')']));
            sums.then(|| front.chars().next().filter(|_| front.len() == 1))
                .flatten()
        })
        .collect();
    for column in columns.iter_mut().skip(1) {
        let Some((text, _)) = column.heads.last().cloned() else {
            continue;
        };
        let named = symbol(&text).is_some_and(|symbol| spelled_out.contains(&symbol));
        if named && column.kind == ColumnKind::Figures && column.quantity.is_none() && column.held.is_empty()
        {
            name(column);
            column.quantity = Some(Quantity::ABSORBANCE);
            column.label = Some(text.trim().to_owned());
        }
    }
}

/// Heads that are letters in a row, `A,B,C,D`, name cuvettes or samples: `A` is no absorbance there and `C` no
/// temperature.
fn take_letters_for_names(columns: &mut [Column]) {
    let letter = |column: &Column| -> Option<u8> {
        match column.heads.last().map(|(text, _)| text.trim().as_bytes())? {
            [one] if one.is_ascii_alphabetic() => Some(*one),
            _ => None,
        }
    };
    let letters: Vec<Option<u8>> = columns.iter().map(letter).collect();
    let follows = |from: usize| {
        letters[from..]
            .windows(2)
            .take_while(|pair| matches!(pair, [Some(one), Some(next)] if *next == one + 1))
            .count()
            + 1
    };
    let mut at = 0;
    while at < columns.len() {
        let run = if letters[at].is_some() { follows(at) } else { 1 };
        if run >= 3 {
            columns[at..at + run].iter_mut().for_each(name);
        }
        at += run;
    }
}

/// Heads that differ in one letter, `tube A` and `tube B`, or one word of a row of them, `first`, `second`, `third`, are
/// names: the letter is no absorbance there, and the word no time.
fn take_siblings_for_names(columns: &mut [Column]) {
    let ordinals = words::words_of(WordList::Ordinal);
    let is_ordinal = |word: &str| ordinals.iter().any(|other| other == word);
    // The words that a sibling has in the place of this one.
    let others = |word: &str| -> Vec<&str> {
        match word {
            "A" => vec!["B"],
            _ if is_ordinal(word) => ordinals
                .iter()
                .map(String::as_str)
                .filter(|other| *other != word)
                .collect(),
            _ => Vec::new(),
        }
    };
    let parts = |column: &Column| -> Vec<String> {
        let text = column.heads.last().map_or("", |(text, _)| text.trim());
        text.split([' ', '_', '-'])
            .map(|word| match word.to_lowercase() {
                lower if is_ordinal(&lower) => lower,
                _ => word.to_owned(),
            })
            .collect()
    };
    let replaced = |words: &[String], at: usize, by: &str| -> Vec<String> {
        let mut words = words.to_vec();
        by.clone_into(&mut words[at]);
        words
    };
    let all: Vec<Vec<String>> = columns.iter().map(parts).collect();
    let heads: BTreeSet<&Vec<String>> = all.iter().collect();
    let has_sibling = |words: &[String]| {
        words.iter().enumerate().any(|(at, word)| {
            let there = |other: &str| heads.contains(&replaced(words, at, other));
            others(word).into_iter().any(there)
        })
    };
    for (column, words) in columns.iter_mut().zip(&all) {
        // The unit is that of the letter or the word.
        if !column.held.is_empty() || !has_sibling(words) {
            continue;
        }
        // `Abs A` says by its other word what it is of.
        let rest: Vec<&str> = words
            .iter()
            .map(String::as_str)
            .filter(|word| others(word).is_empty())
            .collect();
        let says = read_column_header(&rest.join(" "))
            .quantity
            .is_some_and(|quantity| quantity.is_of_light());
        if !says {
            name(column);
        }
    }
}

/// `dB` among the names of other curves is a name as they are, and no decibel.
fn take_decibels_for_names(columns: &mut [Column]) {
    const FEWEST_NAMES: usize = 2;
    let lowest = |column: &Column| column.heads.last().map(|(text, _)| text.trim().to_owned());
    let bare = |column: &Column| lowest(column).as_deref() == Some("dB");
    let is_name = |column: &&Column| {
        let head = lowest(column).map(|text| read_column_header(&text));
        let nameless =
            head.is_some_and(|head| head.quantity.is_none() && head.unit.is_none() && head.held.is_empty());
        column.kind == ColumnKind::Figures && nameless
    };
    if columns.iter().skip(1).filter(is_name).count() < FEWEST_NAMES {
        return;
    }
    for column in columns.iter_mut().filter(|column| bare(column)) {
        let of_light = column.quantity.clone().filter(Quantity::is_of_light);
        name(column);
        column.quantity = of_light;
    }
}

/// `A340 at 0 min,1 min,2 min`: what the first says, and where it was measured, goes for the times behind it.
fn understand_times_behind(columns: &mut [Column]) {
    let mut said: Option<(Quantity, Option<Unit>, Vec<Coordinate>)> = None;
    for column in columns.iter_mut() {
        let is_time = |held: &Coordinate| held.quantity == Quantity::TIME;
        let of_light = column.quantity.clone().filter(Quantity::is_of_light);
        let only_time = column.held.len() == 1 && column.held.iter().all(is_time);
        match (of_light, &said) {
            (Some(quantity), _) if column.held.iter().any(is_time) && column.held.len() == 2 => {
                let others = column.held.iter().filter(|held| !is_time(held));
                said = Some((quantity, column.unit.clone(), others.cloned().collect()));
            }
            (None, Some((quantity, unit, held))) if only_time && column.kind == ColumnKind::Figures => {
                column.quantity = Some(quantity.clone());
                column.unit.clone_from(unit);
                column.held.extend(held.iter().cloned());
            }
            _ => said = None,
        }
    }
}

/// `s0` alone is the concentration of a substrate at the start; beside `s1`, `s2` it is the first of several samples.
fn understand_first_of_several(columns: &mut [Column]) {
    let stem = |column: &Column| {
        let text = column.heads.last().map_or("", |(text, _)| text.trim());
        let stem = text.trim_end_matches(|c: char| c.is_ascii_digit());
        (stem.len() < text.len()).then(|| stem.to_owned())
    };
    let others: Vec<String> = columns
        .iter()
        .filter(|column| column.quantity.is_none())
        .filter_map(stem)
        .collect();
    for column in columns {
        let concentration = column.quantity == Some(Quantity::CONCENTRATION) && column.unit.is_none();
        if concentration && stem(column).is_some_and(|stem| others.contains(&stem)) {
            name(column);
        }
    }
}

/// Heads that are numbered through: `t1 (s);A1;t2 (s);A2`. A symbol with a number is a sample's name as often as not;
/// beside a time with the same number it is what was measured then.
fn understand_numbered(columns: &mut [Column]) {
    let parts: Vec<Option<(Quantity, Option<Unit>, String)>> = columns
        .iter()
        .map(|column| {
            let (text, _) = column.heads.last()?;
            let text = text.trim();
            let start = text.find(|c: char| c.is_ascii_digit())?;
            let length = text[start..].bytes().take_while(u8::is_ascii_digit).count();
            let (symbol, number) = (
                text[..start].trim_end_matches(['_', ' ', '.']),
                &text[start..start + length],
            );
            let head = read_column_header(&format!("{symbol}{}", &text[start + length..]));
            let known = head.label.is_none() && head.held.is_empty();
            let time_at_wavelength = head.quantity == Some(Quantity::TIME) && head.unit.is_some();
            let known = known && (length <= 2 || time_at_wavelength && length <= 4);
            Some((head.quantity.filter(|_| known)?, head.unit, number.to_owned()))
        })
        .collect();
    // `t340/s` beside `A340`: the number is the wavelength of both.
    let wavelengths: Vec<f64> = columns
        .iter()
        .filter(|column| {
            let quantity = column.quantity.as_ref().map(Quantity::as_str);
            matches!(quantity, Some("absorbance" | "transmittance"))
        })
        .flat_map(|column| &column.held)
        .filter(|held| held.quantity == Quantity::WAVELENGTH)
        .map(|held| held.value)
        .collect();
    let measured_at = |number: &str| {
        number
            .parse::<f64>()
            .is_ok_and(|value| wavelengths.contains(&value))
    };
    // `time 30 s` alone is a scan's time; only beside an `A30` would it be the thirtieth.
    let timed = |number: &str| {
        let mut same = parts.iter().flatten().filter(|(_, _, other)| other == number);
        same.clone()
            .any(|(quantity, unit, _)| *quantity == Quantity::TIME && unit.is_some())
            && (same.any(|(quantity, ..)| *quantity != Quantity::TIME) || measured_at(number))
    };
    for (column, part) in columns.iter_mut().zip(&parts) {
        let Some((quantity, unit, number)) = part else {
            continue;
        };
        if timed(number) && matches!(quantity.as_str(), "time" | "absorbance" | "transmittance") {
            column.quantity = Some(quantity.clone());
            column.unit.clone_from(unit);
            column.quantities_possible.clear();
            column.label = Some(number.clone());
            if *quantity == Quantity::TIME {
                // The number is no wavelength that the times were measured at.
                column.held.clear();
            }
        }
    }
}

/// `Temperature (°C)` in front of `20 30 40` in a row of heads says what these numbers are: they are held.
fn name_numbers_in_heads(columns: &mut [Column]) {
    let Some((first, others)) = columns.split_first_mut() else {
        return;
    };
    let levels = first.heads.len();
    for level in 0..levels.saturating_sub(1) {
        let name = read_column_header(&first.heads[level].0);
        let (Some(quantity), true) = (name.quantity, name.held.is_empty()) else {
            continue;
        };
        let unit = match quantity.known() {
            Some(KnownQuantity::Ph) => Some(Unit::PH),
            Some(
                KnownQuantity::Temperature
                | KnownQuantity::Concentration
                | KnownQuantity::Time
                | KnownQuantity::Wavelength,
            ) => name.unit,
            _ => None,
        };
        let customary = |value: f64| match quantity.known() {
            Some(KnownQuantity::Wavelength) if crate::light::IN_PASSING.contains(&value) => {
                Some(Unit::NANOMETRE)
            }
            Some(KnownQuantity::Temperature) if (0.0..=110.0).contains(&value) => Some(Unit::CELSIUS),
            _ => None,
        };
        for column in others.iter_mut().filter(|column| column.heads.len() == levels) {
            let Some(value) = leading_number(column.heads[level].0.trim()) else {
                continue;
            };
            let Some(unit) = unit.clone().or_else(|| customary(value)) else {
                continue;
            };
            let bare = column
                .held
                .iter_mut()
                .find(|held| held.quantity == Quantity::UNKNOWN && held.value == value);
            if let Some(held) = bare {
                held.quantity = quantity.clone();
                held.unit = unit.clone();
            } else if column.held.iter().all(|held| held.quantity != quantity) {
                column
                    .held
                    .push(Coordinate::new(quantity.clone(), unit.clone(), value));
            }
        }
    }
}
