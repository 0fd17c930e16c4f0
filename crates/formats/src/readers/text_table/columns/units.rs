//! Which unit goes with which quantity, and what a unit alone says.

use curvary_record::unit::{Spelling, spelled};
use curvary_record::{KnownQuantity, Quantity, Unit};

use super::super::grid::Grid;
use super::Column;
use super::stats::Stats;
use crate::column_header::{read_column_header, split_unit};
use crate::words;
use crate::words::HeaderWord;

/// A unit without the brackets it stands in.
pub(super) fn bare_unit(cell: &str) -> &str {
    let cell = cell.trim();
    [('(', ')'), ('[', ']'), ('<', '>')]
        .into_iter()
        .find_map(|(open, close)| cell.strip_prefix(open)?.strip_suffix(close))
        .filter(|inner| !inner.contains(['(', ')', '[', ']']))
        .map_or(cell, str::trim)
}

/// Whether the lowest head is a bare unit, and the name above it is of a quantity that does not come in it.
pub(super) fn contradicts_its_unit(column: &Column) -> bool {
    let [.., (above, _), (lowest, _)] = column.heads.as_slice() else {
        return false;
    };
    let units = spelled(lowest.trim());
    let above = read_column_header(above);
    let named = above
        .quantity
        // `nm` without brackets is the symbol of an axis, and the header above it of the columns beside it.
        .filter(|_| lowest.trim() != "nm")
        .filter(|quantity| quantity.is_of_light() && above.unit.is_none() && above.held.is_empty());
    named.is_some_and(|quantity| {
        !units.units().is_empty() && !units.units().iter().any(|unit| unit_fits(&quantity, unit))
    })
}

/// Whether a header is plainly a number with a short unit, `300.5 nm`, as hundreds stand side by side: no word in it names a
/// quantity.
fn is_bare_coordinate(text: &str) -> bool {
    const LONGEST_UNIT: usize = 2;
    let letters = text
        .trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | ','))
        .trim_start();
    text.starts_with(|c: char| c.is_ascii_digit())
        && letters.len() <= LONGEST_UNIT
        && letters.bytes().all(|byte| byte.is_ascii_alphabetic())
}

/// Hears that a column is of a quantity beyond those of this trade: its name says so, or its unit does. The column keeps
/// that quantity and its unit, whatever single words of the head seemed to say.
pub(super) fn hear_other(column: &mut Column) {
    let whole = column
        .heads
        .iter()
        .map(|(text, _)| text.trim())
        .collect::<Vec<_>>()
        .join(" ");
    if is_bare_coordinate(&whole) {
        return;
    }
    let lowest = column.heads.iter().rev().map(|(text, _)| text.trim().to_owned());
    let whole = (column.heads.len() > 1).then_some(whole);
    for (level, text) in lowest.chain(whole).enumerate() {
        if crate::column_header::is_derived(&text) {
            return;
        }
        // Above `wavelength (nm)` stands the key of a row of words over the curves, `quantity`.
        if level > 0 && column.heads.last().is_some_and(|(lowest, _)| is_complete(lowest)) {
            break;
        }
        let parted = split_unit(&text);
        let name = parted.map_or(text.as_str(), |(name, _)| name);
        let name = crate::column_header::without_scale(name);
        // `Strom 1 mA` was measured at a current, and is none.
        let numbered = name.ends_with(|c: char| c.is_ascii_digit());
        let at_one = (numbered || ends_in_letter(name)) && !text.ends_with([')', ']', '>']);
        // `Rh-1`, `Rh-2` are names: an abbreviation with a number behind it is too little.
        let short = name.chars().filter(|c| c.is_alphabetic()).count() <= 3;
        let exact = match if at_one && short {
            words::exact(name)
        } else {
            words::word(name)
        } {
            _ if at_one && parted.is_some() => None,
            // A unit of what runs outweighs the word: `age (h)` are times.
            HeaderWord::Other(_) if parted.is_some_and(|(_, unit)| runs_by_unit(unit)) => None,
            // `Charge 11`, `Charge B` over numbers that may be absorbances: batches as likely as charges.
            HeaderWord::Other(quantity)
                if at_one
                    && !words::is_optical(&quantity)
                    && words::exact(name) == HeaderWord::Unknown
                    && may_be_absorbances(&column.stats) =>
            {
                None
            }
            HeaderWord::Other(quantity) => Some(quantity),
            // `photocurrent (A)`: the unit goes with what the name ends in.
            HeaderWord::Unknown if parted.is_some() => words::other_at_the_end_of(name),
            _ => None,
        };
        // Some of its words say so where nothing else says anything.
        let open = column.quantity.is_none()
            && column.quantities_possible.is_empty()
            && column.held.iter().all(|held| held.quantity == Quantity::UNKNOWN);
        let lettered = ends_in_letter(&text) && may_be_absorbances(&column.stats);
        let open = open && !text.contains(|c: char| c.is_ascii_digit()) && !lettered;
        let Some(quantity) = exact.or_else(|| words::other_in(&text).filter(|_| open)) else {
            continue;
        };
        // Quantities that have nothing to do with light keep the words of their header: `volume added`.
        let named = words::quantity_of(name).is_some() || column.quantity.as_ref() == Some(&quantity);
        let quantity = if named || words::is_optical(&quantity) || words::is_of_another_trade(&quantity) {
            quantity
        } else {
            Quantity::named(name.to_lowercase())
        };
        let unit = parted.and_then(|(_, unit)| unit_of_other(unit)).or_else(|| {
            let units = column
                .heads
                .iter()
                .rev()
                .filter_map(|(text, _)| unit_of_other(text));
            units.take(1).next()
        });
        column.quantity = Some(quantity);
        column.unit = unit.or_else(|| column.unit.take());
        column.quantities_possible.clear();
        column.units_possible.clear();
        column.label = None;
        return;
    }
    hear_other_unit(column);
}

/// Whether a header names what its column runs over, and the unit of it: `wavelength (nm)`.
fn is_complete(header: &str) -> bool {
    split_unit(header).is_some_and(|(name, unit)| {
        let quantity = match words::exact(crate::column_header::without_scale(name)) {
            HeaderWord::Quantity(quantity) => Some(quantity),
            _ => None,
        };
        is_unit_of_axis(unit) && quantity.is_some()
    })
}

/// Whether a name ends in a lone capital letter, as batches do: `Charge B`.
fn ends_in_letter(name: &str) -> bool {
    let last = name
        .trim()
        .rsplit_once([' ', '_', '-'])
        .map_or("", |(_, last)| last);
    last.len() == 1 && last.starts_with(|c: char| c.is_ascii_uppercase())
}

/// Whether numbers lie where absorbances lie, and are not whole.
fn may_be_absorbances(stats: &Stats) -> bool {
    const HIGHEST: f64 = 4.0;
    !stats.whole && stats.min > -0.5 && stats.max <= HIGHEST
}

/// Whether a unit is one of a length of time: whatever has it may run.
fn runs_by_unit(unit: &str) -> bool {
    spelled(unit)
        .one()
        .is_some_and(|unit| unit.converts_to(&Unit::SECOND))
}

/// Whether a unit is one in which an axis runs that people set or stop: a time of up to hours, or a wavelength.
pub(crate) fn is_unit_of_axis(text: &str) -> bool {
    spelled(text)
        .units()
        .iter()
        .any(|unit| matches!(unit.code(), "s" | "min" | "h" | "nm"))
}

/// Whether a header begins with a number and its unit, `1 µL`, `0.5 % EtOH`: at that value was measured, and it is no quantity.
fn is_value(text: &str) -> bool {
    let digits = text
        .trim()
        .trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | ','));
    let unit = digits.trim_start().split(' ').next().unwrap_or("");
    digits.len() < text.trim().len() && !text.ends_with([')', ']', '>']) && !spelled(unit).units().is_empty()
}

/// Whether a name is followed by a number with decimals and its unit, `s 0.1 mm`, `std 0,25 mL`, or by a length in nanometres,
/// `AuNP 20 nm`: what the sample had, and no unit of the numbers below. Whole numbers may count the columns: `sensor 1 mV`.
pub(super) fn ends_in_value(text: &str) -> bool {
    value_at_the_end(text)
        .is_some_and(|number| number.contains(['.', ',']) || text.trim_end().ends_with("nm"))
}

/// The number in front of the unit that a name ends in: the `5` of `s 5 mM`.
pub(crate) fn value_at_the_end(text: &str) -> Option<&str> {
    let words: Vec<&str> = text
        .trim()
        .split([' ', '_'])
        .filter(|word| !word.is_empty())
        .collect();
    let parted = |number: &'_ str, unit: &str| {
        let is_number = number.starts_with(|c: char| c.is_ascii_digit())
            && number.replace(',', ".").parse::<f64>().is_ok();
        is_number && !spelled(unit).units().is_empty()
    };
    match words.as_slice() {
        [_, .., number, unit] if parted(number, unit) => Some(number),
        [_, .., last] => {
            let unit = last.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | ','));
            let number = &last[..last.len() - unit.len()];
            parted(number, unit).then_some(number)
        }
        _ => None,
    }
}

/// The unit of a quantity that is none of ours: of `A`, the ampere; of `deg`, those of an angle.
fn unit_of_other(text: &str) -> Option<Unit> {
    match spelled(text).units() {
        [] => None,
        [one] => Some(one.clone()),
        several => several
            .iter()
            .find(|unit| !is_unit_of_ours(unit))
            .or_else(|| several.iter().find(|unit| !unit.converts_to(&Unit::ONE)))
            .or(several.first())
            .cloned(),
    }
}

/// A name that says nothing, with a unit that no quantity of ours has: `Zork (mV)`. The name is kept for the quantity. So
/// it is where the unit contradicts a symbol, or a word of what readings are taken at: `Dose (Gy)`.
fn hear_other_unit(column: &mut Column) {
    if column.quantity.is_some() || !column.held.is_empty() {
        return;
    }
    let Some((text, _)) = column.heads.last() else {
        return;
    };
    if is_value(text) || ends_in_value(text) {
        column.label = Some(text.trim().to_owned());
        column.unit = None;
        return;
    }
    let (name, unit) = match split_unit(text) {
        Some((name, unit)) => (name, unit),
        // The unit stands in a row of its own, below the name, or alone.
        None => match column.heads.as_slice() {
            [.., (above, _), (unit, _)] => (above.trim(), unit.trim()),
            _ if column.unit.is_some() => ("", text.trim()),
            _ => return,
        },
    };
    let Some(unit) = spelled(unit).one().cloned() else {
        return;
    };
    // A stated unit is never thrown away.
    column.unit.get_or_insert_with(|| unit.clone());
    let light = column.quantities_possible.iter().any(Quantity::is_of_light);
    let symbol = name.chars().filter(|c| c.is_alphabetic()).count() <= 2;
    if is_unit_of_ours(&unit) || light && !symbol {
        return;
    }
    // Of `E / W m-2 nm-1` the unit says more than the symbol.
    let by_unit = quantity_of_other_unit(&unit);
    let quantity = match by_unit {
        Some(quantity) if symbol => quantity,
        _ if name.chars().any(char::is_alphabetic) => Quantity::named(name.trim().to_lowercase()),
        by_unit => by_unit.unwrap_or_else(|| Quantity::named(unit.display())),
    };
    column.quantity = Some(quantity);
    column.unit = Some(unit);
    column.quantities_possible.clear();
    column.units_possible.clear();
    column.label = None;
}

/// What a unit alone is of, beyond our quantities.
fn quantity_of_other_unit(unit: &Unit) -> Option<Quantity> {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    let table = [
        ("L/mol/cm", "molar-absorption-coefficient"),
        ("L/g/cm", "specific-absorption"),
        ("dB/m", "attenuation"),
        ("W/m2", "irradiance"),
        ("W/m2/nm", "irradiance"),
        ("V", "voltage"),
        ("A", "current"),
        ("g", "mass"),
        ("L", "volume"),
        ("Pa", "pressure"),
        ("m", "length"),
        ("/nm", "absorption-coefficient"),
    ];
    let found = table.into_iter().find(|(code, _)| like(code));
    found.map(|(_, name)| Quantity::named(name))
}

/// Whether a quantity that photometers measure, or that their measurements run over or are taken at, may have a unit.
pub(crate) fn is_unit_of_ours(unit: &Unit) -> bool {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    // Micrometres are of light; millimetres are of cells, and of rain.
    if like("nm") {
        return unit.to_si(1.0) <= 1e-5;
    }
    if like("/cm") {
        return unit.code() == "/cm";
    }
    [
        "1", "s", "K", "eV", "kJ/mol", "mol/L", "g/L", "U/L", "[iU]/L", "mol/kg", "[pH]", "/s", "mol/L/s",
        "mol/s", "mol/s/g", "g/s", "g/L/s", "[iU]/s", "[arb'U]", "mol",
    ]
    .into_iter()
    .any(like)
}

/// Whether a quantity may come in a unit: they are of one dimension.
pub(crate) fn unit_fits(quantity: &Quantity, unit: &Unit) -> bool {
    let like = |code: &str| Unit::ucum(code).is_ok_and(|other| unit.converts_to(&other));
    match quantity.known() {
        Some(KnownQuantity::Wavelength) => like("nm"),
        Some(KnownQuantity::Wavenumber) => like("/cm"),
        Some(KnownQuantity::Energy) => like("eV") || like("kJ/mol"),
        Some(KnownQuantity::Time) => like("s"),
        Some(KnownQuantity::Absorbance | KnownQuantity::Transmittance | KnownQuantity::Reflectance) => {
            like("1")
        }
        Some(KnownQuantity::Temperature) => like("K"),
        Some(KnownQuantity::Concentration) => like("mol/L") || like("g/L") || like("1") || like("U/L"),
        Some(KnownQuantity::Ph) => true,
        Some(
            KnownQuantity::Frequency
            | KnownQuantity::TimeOfDay
            | KnownQuantity::Date
            | KnownQuantity::Intensity
            | KnownQuantity::Dilution
            | KnownQuantity::Rate
            | KnownQuantity::Index
            | KnownQuantity::Item
            | KnownQuantity::Sample
            | KnownQuantity::Flag
            | KnownQuantity::Unknown,
        )
        | None => true,
    }
}

/// The quantity that a unit alone tells.
pub(crate) fn quantity_of_unit(unit: &Unit) -> Option<Quantity> {
    match unit.code() {
        "nm" | "um" | "Ao" => Some(Quantity::WAVELENGTH),
        "/cm" | "cm-1" => Some(Quantity::WAVENUMBER),
        "eV" => Some(Quantity::ENERGY),
        "s" | "min" | "h" | "ms" => Some(Quantity::TIME),
        "{AU}" => Some(Quantity::ABSORBANCE),
        "Cel" => Some(Quantity::TEMPERATURE),
        _ if ["mol/L", "g/L"]
            .iter()
            .any(|of| Unit::ucum(of).is_ok_and(|of| unit.converts_to(&of))) =>
        {
            Some(Quantity::CONCENTRATION)
        }
        _ => None,
    }
}

/// The unit that stands behind the numbers of a column.
pub(crate) fn unit_in_cells(text: &str) -> Option<Unit> {
    // `20 с`: behind a number it is the unit and no symbol of a quantity.
    if let Spelling::One(unit) = spelled(text)
        && quantity_of_unit(&unit) == Some(Quantity::TIME)
    {
        return Some(unit);
    }
    let head = if crate::column_header::is_bare_exponent(text) {
        read_column_header(&format!("({text})"))
    } else {
        read_column_header(text)
    };
    // Behind a number `C` is a degree and no coulomb.
    let mut of_ours = head
        .units_possible
        .iter()
        .filter(|unit| quantity_of_unit(unit).is_some());
    let only = match (of_ours.next(), of_ours.next()) {
        (Some(one), None) => Some(one.clone()),
        _ => None,
    };
    head.unit.or(only).or_else(|| {
        head.quantity
            .filter(|q| *q == Quantity::ABSORBANCE)
            .map(|_| Unit::ABSORBANCE)
    })
}

/// Takes the unit that stands behind the numbers of a column.
pub(super) fn take_unit_of_cells(column: &mut Column, grid: &Grid) {
    let Some(spelling) = grid.units[column.index].as_deref() else {
        return;
    };
    let Some(unit) = unit_in_cells(spelling) else {
        return;
    };
    // What stands behind every number outweighs a head of one letter: `S` over `50 µM`.
    if column.quantity.as_ref().is_some_and(|quantity| {
        !unit_fits(quantity, &unit)
            || matches!(
                quantity.known(),
                Some(KnownQuantity::Sample | KnownQuantity::Index | KnownQuantity::Item)
            )
    }) {
        column.quantity = None;
    }
    // It says as much there as in a header: `Fe` over `2 mg/L` is `Fe (mg/L)`.
    if column.quantity.is_none() {
        column.quantity = quantity_of_unit(&unit).or_else(|| {
            let name = column
                .heads
                .last()
                .map(|(text, _)| text.trim())
                .unwrap_or_default();
            let of = read_column_header(&format!("{name} ({})", spelling.trim())).quantity;
            of.filter(|of| (*of == Quantity::CONCENTRATION || of.is_of_light()) && !name.is_empty())
        });
    }
    if column.unit.as_ref().is_none_or(|known| !known.converts_to(&unit)) {
        column.unit = Some(unit);
    }
}
