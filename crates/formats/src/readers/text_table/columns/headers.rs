//! What the headers over a column say, from the lowest to the highest, and what rows of conditions say of it.

use crate::words;
use curvary_record::moment::read_date;
use curvary_record::unit::spelled;
use curvary_record::{Coordinate, KnownQuantity, Quantity, Span, Unit};

use super::super::grid::Grid;
use super::super::number::{Cell, cell};
use super::super::scan::{ScannedTable, leading_number};
use super::super::segments::RowClass;
use super::Column;
use super::units::{contradicts_its_unit, ends_in_value, quantity_of_unit, unit_fits};
use crate::column_header::{read_column_header, split_unit};

/// One of the two names in a corner.
pub(crate) type CornerHead = Option<(Option<Quantity>, Option<Unit>)>;

/// The two names in a corner, of what runs down and of what runs across: `Time (s)\Wavelength (nm)`.
pub(crate) fn corner_heads(corner: &str) -> (CornerHead, CornerHead) {
    let read = |text: &str| {
        let head = read_column_header(text.trim());
        (head.quantity, head.unit)
    };
    // `A405 at time (s)`
    const MARKS: [&str; 16] = [
        "\\", " / ", "|", " vs ", " vs. ", " x ", " by ", "/", " at ", " bei ", " pri ", " à ", " bij ",
        " vid ", " ved ", " przy ",
    ];
    for mark in MARKS {
        if let Some((down, over)) = corner.split_once(mark) {
            let (down, over) = (read(down), read(over));
            if down.0.is_some() && over.0.is_some() {
                return (Some(down), Some(over));
            }
        }
    }
    let one = read(corner);
    (Some(one).filter(|head| head.0.is_some()), None)
}

/// A cell of a row above the headers: the key in front of the row, and what stands over the column.
pub(super) struct KeyedCell<'t> {
    pub(super) key: &'t str,
    pub(super) text: &'t str,
    pub(super) span: Span,
    pub(super) line: u32,
}

/// The field that each curve has a value of its own of, where a key is one: `Date`, `Operator`, `Dilution`. Samples name curves, and
/// what runs or is held is a coordinate.
pub(in super::super) fn field_over_curves(key: &str) -> Option<&'static str> {
    const NAMES_AND_COORDINATES: [&str; 9] = [
        "sample",
        "sample-id",
        "title",
        "comment",
        "wavelength",
        "temperature",
        "ph",
        "concentration",
        "time",
    ];
    let field = words::field_of(key.trim().trim_end_matches(':').trim_end());
    field.filter(|field| !NAMES_AND_COORDINATES.contains(field))
}

/// Takes what a row of names or conditions says of a column, behind what its key says of all.
pub(super) fn beside_heads(column: &mut Column, class: RowClass, cell: &KeyedCell, grid: &Grid) {
    let KeyedCell {
        key,
        text,
        span,
        line,
    } = *cell;
    let with = |label: &Option<String>, name: &str| match label {
        Some(label) => format!("{name} {label}"),
        None => name.to_owned(),
    };
    match class {
        RowClass::Samples | RowClass::Names => {
            column.label = Some(with(&column.label, text));
            if class == RowClass::Samples {
                column.sample = Some((text.to_owned(), span));
            }
        }
        RowClass::Condition => match condition(key, text, grid) {
            Some(held) => {
                column.held.retain(|other| other.quantity != held.quantity);
                column.held.push(Coordinate {
                    raw: Some(text.to_owned()),
                    line: Some(line),
                    ..held
                });
                column.label.get_or_insert_with(|| text.to_owned());
            }
            None if let Some(field) =
                field_over_curves(key).filter(|field| *field != "date" || read_date(text, None).is_day()) =>
            {
                column.claims.push((field, span));
            }
            None => column.label = Some(with(&column.label, &format!("{key} {text}"))),
        },
        RowClass::Header | RowClass::Units | RowClass::Title | RowClass::Summary => {}
    }
}

/// The pH or temperature that a number over a column is, where the key in front of it says so and another header below
/// says what runs: `pH` over `nm`.
pub(super) fn condition_over(key: &str, cell: &str, lowest: Option<&str>, grid: &Grid) -> Option<Coordinate> {
    let key = key.trim();
    let runs = |lowest: &str| {
        lowest != key && {
            let head = read_column_header(lowest);
            head.quantity
                .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "time"))
        }
    };
    let of = read_column_header(key).quantity?;
    // Times over wavelengths stand beside other conditions: `Time (s);0;60` over `Temperature (°C);25.0;25.1` over `nm`.
    let times = || {
        let light = |lowest: &str| {
            read_column_header(lowest)
                .quantity
                .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber"))
        };
        of == Quantity::TIME && lowest.is_some_and(light)
    };
    (lowest.is_some_and(runs) && (matches!(of.as_str(), "ph" | "temperature" | "concentration") || times()))
        .then(|| condition(key, cell.trim(), grid))
        .flatten()
}

/// The coordinate that a number in a row of conditions is, where its key and unit say so.
fn condition(key: &str, text: &str, grid: &Grid) -> Option<Coordinate> {
    let name = read_column_header(key);
    // `2 mm` behind the unit of what runs is the length of the cell, and no time.
    if let Cell::WithUnit { value, unit, .. } = cell(text, grid.dialect.style)
        && let Some(own) = spelled(text[unit..].trim()).one()
        && name.unit.as_ref().is_some_and(|unit| !unit.converts_to(own))
    {
        if matches!(own.code(), "cm" | "mm") {
            return Some(Coordinate::new(
                Quantity::named("path-length"),
                own.clone(),
                value,
            ));
        }
        quantity_of_unit(own)?;
    }
    let (value, stated) = match cell(text, grid.dialect.style) {
        Cell::Number { value, .. } => (value, None),
        _ => {
            let head = read_column_header(text);
            match head.held.as_slice() {
                [held] if held.quantity != Quantity::UNKNOWN => (held.value, Some(held.unit.clone())),
                _ => (leading_number(text)?, None),
            }
        }
    };
    // `340 nm` behind `Time`, which names what runs below it, is no time.
    let contradicts = |stated: &Unit| {
        let of = name.quantity.as_ref();
        of.is_some_and(|of| quantity_of_unit(stated).is_some() && !unit_fits(of, stated))
    };
    let other = stated.clone().filter(contradicts);
    let unit = stated.or(name.unit);
    // `cell (cm)`: how far the light goes.
    let bare = split_unit(key).map_or(key, |(name, _)| name);
    let is_path = crate::words::field_of(bare) == Some("path-length")
        || crate::words::fields_if_fitting(bare).contains(&"path-length");
    if let Some(unit) = unit
        .clone()
        .filter(|unit| is_path && matches!(unit.code(), "cm" | "mm"))
    {
        return Some(Coordinate::new(Quantity::named("path-length"), unit, value));
    }
    let quantity = other
        .as_ref()
        .and_then(quantity_of_unit)
        .or(name.quantity)
        .or_else(|| unit.as_ref().and_then(quantity_of_unit))?;
    let unit = match quantity.known() {
        Some(KnownQuantity::Ph) => Some(Unit::PH),
        Some(
            KnownQuantity::Temperature
            | KnownQuantity::Concentration
            | KnownQuantity::Time
            | KnownQuantity::Wavelength
            | KnownQuantity::Wavenumber,
        ) => unit.or(match quantity.known() {
            Some(KnownQuantity::Wavelength) if crate::light::IN_PASSING.contains(&value) => {
                Some(Unit::NANOMETRE)
            }
            Some(KnownQuantity::Temperature) if (0.0..=110.0).contains(&value) => Some(Unit::CELSIUS),
            _ => None,
        }),
        _ => None,
    }?;
    unit_fits(&quantity, &unit).then(|| Coordinate::new(quantity, unit, value))
}

/// The rows of heads with group heads (`crocin,,safranal,`) spread over the columns they stand for.
pub(super) fn spread_groups(text: &str, table: &ScannedTable) -> Vec<Vec<Option<Span>>> {
    let lowest = table.heads.len().saturating_sub(1);
    let mut rows = Vec::with_capacity(table.heads.len());
    for (level, head) in table.heads.iter().enumerate() {
        let mut cells = head.cells.clone();
        let filled = cells.iter().flatten().count();
        // What was measured, over the first of the curves alone, is said of all of them: `;Absorbance;;`.
        let over_all = |cell: &Span| {
            let head = read_column_header(&text[cell.range()]);
            head.quantity.is_some_and(|quantity| quantity.is_of_light()) && head.label.is_none()
        };
        let of_all =
            filled == 1 && cells.len() > 2 && cells.get(1).and_then(Option::as_ref).is_some_and(over_all);
        if of_all {
            let over = cells[1];
            cells[2..].fill(over);
        }
        let below = table.heads.get(level + 1).map(|below| below.cells.as_slice());
        let merged = below.is_some_and(|below| stands_over_groups(text, &cells, below));
        if level < lowest && filled >= 2 && filled < cells.len() {
            // Only words are spread, and numbers only where the row below begins its groups anew.
            let mut last: Option<Span> = None;
            let mut gap = 0;
            for cell in &mut cells {
                match cell {
                    Some(span) => {
                        let word = &text[span.range()];
                        // A bare number stands over its own column; `405 nm` may stand over several.
                        let held = || {
                            read_column_header(word)
                                .held
                                .iter()
                                .any(|held| held.quantity != Quantity::UNKNOWN)
                        };
                        last = Some(*span).filter(|_| leading_number(word).is_none() || held() || merged);
                        gap = 0;
                    }
                    None => {
                        gap += 1;
                        if gap <= 8 {
                            *cell = last;
                        }
                    }
                }
            }
        }
        rows.push(cells);
    }
    rows
}

/// Whether the cells of a row stand over groups of columns whose names come again in each: `pH;5.0;;7.0;` over `s;a;b;a;b`.
fn stands_over_groups(text: &str, cells: &[Option<Span>], below: &[Option<Span>]) -> bool {
    let (Some((_, cells)), Some((_, below))) = (cells.split_first(), below.split_first()) else {
        return false;
    };
    let filled: Vec<usize> = (0..cells.len()).filter(|&at| cells[at].is_some()).collect();
    let [0, second, ..] = filled.as_slice() else {
        return false;
    };
    let size = *second;
    let name = |at: usize| {
        below
            .get(at)
            .copied()
            .flatten()
            .map(|span| text[span.range()].trim())
    };
    size >= 2
        && filled.len() * size == cells.len()
        && filled.iter().enumerate().all(|(group, &at)| at == group * size)
        && (0..cells.len()).all(|at| name(at).is_some() && name(at) == name(at % size))
}

/// Reads the heads of a column, the lowest first: it stands nearest to the numbers.
/// Those that are a name by the headers beside them say nothing else.
pub(super) fn understand_heads(column: &mut Column, is_name: impl Fn(&str) -> bool) {
    let mut labels: Vec<String> = Vec::new();
    let telling: Vec<&str> = column
        .heads
        .iter()
        .map(|(text, _)| text.as_str())
        .filter(|text| !is_name(text))
        .collect();
    let whole = telling.join(" ");
    if telling.len() > 1 {
        // `Wavelength` over `(nm)`: the two together may say what neither does alone.
        let head = read_column_header(&whole);
        // `Time (min)` over `nm` names the row of numbers beside it; the column is what its lowest head says.
        let lowest = column
            .heads
            .last()
            .and_then(|(text, _)| read_column_header(text).quantity);
        let agrees = lowest.is_none() || lowest == head.quantity;
        if head.quantity.is_some() && head.unit.is_some() && agrees {
            column.quantity = head.quantity;
            column.unit = head.unit;
        } else if contradicts_its_unit(column) {
            // `A` over `(1/cm)`: the unit alone would make a wavenumber of it.
            column.quantities_possible = head.quantities_possible;
            column.unit = head.unit;
            return;
        }
    }
    for (level, (text, _)) in column.heads.iter().enumerate().rev() {
        if is_name(text) {
            labels.insert(0, text.trim().to_owned());
            continue;
        }
        let mut head = head_or_first_word(text);
        // `s-1` below a name is its unit.
        if let Some(unit) = super::forms::unit_below_name(text).filter(|_| level > 0) {
            head = read_column_header(&format!("({text})"));
            head.unit.get_or_insert(unit);
        }
        if column.quantities_possible.is_empty() {
            column.quantities_possible.clone_from(&head.quantities_possible);
        }
        if column.quantity.is_none() {
            column.quantity = head.quantity.clone();
        }
        let fits = |unit: &Unit| match &column.quantity {
            Some(quantity) => unit_fits(quantity, unit),
            None => true,
        };
        if column.unit.is_none()
            && let Some(unit) = head.unit.filter(fits)
        {
            column.unit = Some(unit);
        }
        if column.units_possible.is_empty() {
            column.units_possible = head.units_possible;
        }
        let below = column.held.len();
        for coordinate in head.held {
            // Two concentrations in one head are of two things, and neither is lost: which is whose is not known.
            let several = coordinate.quantity == Quantity::CONCENTRATION;
            let known = if several {
                &column.held[..below]
            } else {
                &column.held[..]
            };
            if !known.iter().any(|held| held.quantity == coordinate.quantity) {
                column.held.push(coordinate);
            }
        }
        if let Some(label) = head.label.filter(|label| !labels.contains(label)) {
            labels.insert(0, label);
        }
    }
    if !labels.is_empty() {
        column.label = Some(labels.join(" "));
    }
}

/// A head; where it names no quantity but its first word does, that and the rest as a label: `Absorbance C`.
pub(crate) fn head_or_first_word(text: &str) -> crate::column_header::ColumnHeader {
    let mut head = read_column_header(text);
    if head.quantity.is_none() && head.held.is_empty() {
        // `A₄₁₀`, `wavelengthNm`, `A/1`: spelled as `A410`, `wavelength Nm`, `A`.
        let respelled = respell(text);
        if respelled != text {
            let again = read_column_header(&respelled);
            if again.quantity.is_some() {
                head = again;
            }
        }
    }
    if head.quantity.is_some()
        || !head.held.is_empty()
        || head.units_possible.is_empty() && head.unit.is_none() && head.label.is_none()
    {
        return head;
    }
    // `DO (mg/L)`: the word is of one quantity, the unit of another, and neither is thrown away. `A (1 mM)` tells what was
    // read.
    let quotient = |unit: &Unit| unit.code().contains('/') && !unit.code().starts_with('/');
    let numbered = text.contains(|c: char| c.is_ascii_digit());
    if !numbered && head.quantities_possible.len() > 1 && head.unit.as_ref().is_some_and(quotient) {
        return head;
    }
    let trimmed = text.trim();
    // `ext.a` is spelled without the blank behind the point.
    let pointed = ["ext.", "abs.", "Ext.", "Abs."]
        .into_iter()
        .find(|word| trimmed.starts_with(word));
    let parted = pointed
        .map(str::len)
        .filter(|&at| trimmed[at..].starts_with(char::is_alphanumeric));
    let Some((first, rest)) = parted
        .map(|at| trimmed.split_at(at))
        .or_else(|| trimmed.split_once([' ', '_']))
    else {
        return head;
    };
    // `Au 20 nm`: gold of a size, and no unit of absorbance.
    if first.chars().count() <= 2 && ends_in_value(trimmed) {
        return head;
    }
    // `E. coli` begins with no extinction.
    if first.ends_with('.') && first.len() == 2 {
        return head;
    }
    // `A (cm-1)` is an absorption for each length, and no sample of that name.
    let inner = rest.trim().trim_matches(['(', ')', '[', ']']);
    // `A (1 cm)` tells the cell.
    let length = inner.starts_with(|c: char| c.is_ascii_digit()) && !inner.contains('/');
    let bracketed = inner.len() < rest.trim().len() && !length;
    if bracketed
        && spelled(inner)
            .units()
            .iter()
            .any(|unit| !unit.converts_to(&Unit::ONE))
    {
        return head;
    }
    // `E_photon (eV)` is an energy, whatever its first letter stands for alone.
    let of_another = crate::column_header::states_unit(trimmed)
        && split_unit(trimmed).is_some_and(|(_, unit)| {
            !spelled(unit)
                .units()
                .iter()
                .any(|unit| unit.converts_to(&Unit::ONE))
        });
    if of_another || crate::column_header::ends_in_other_unit(trimmed) {
        return head;
    }
    let measured = crate::words::quantity_of(first)
        .or_else(|| read_column_header(first).quantity)
        .filter(|q| q.is_of_light());
    // A stated unit is never thrown away, and what is a quotient of a symbol is not what the symbol stands for.
    let contradicted = |quantity: &Quantity| {
        let units = head.unit.iter().chain(&head.units_possible);
        let stated = crate::column_header::states_unit(trimmed) && units.clone().next().is_some();
        stated && !units.clone().any(|unit| unit_fits(quantity, unit))
            || first.chars().count() <= 2 && rest.trim().starts_with('/')
    };
    match measured.filter(|quantity| !contradicted(quantity)) {
        Some(quantity) if !rest.trim().is_empty() && rest.trim() != "*" => {
            crate::column_header::ColumnHeader {
                quantity: Some(quantity),
                quantities_possible: Vec::new(),
                unit: None,
                units_possible: Vec::new(),
                label: Some(rest.trim().to_owned())
                    .filter(|_| crate::column_header::scale_of(text).is_none()),
                ..head
            }
        }
        _ => head,
    }
}

/// A head with lowered digits raised to the line, humps parted, and a unit of one left out.
fn respell(text: &str) -> String {
    let text = text.trim();
    // `C/1` is a name; a ratio of light has the unit one.
    let of_light = |name: &&str| {
        let quantity = read_column_header(name).quantity;
        quantity.is_some_and(|quantity| quantity.is_of_light())
    };
    let text = text
        .strip_suffix("/1")
        .or_else(|| text.strip_suffix("/ 1"))
        .filter(of_light)
        .unwrap_or(text);
    let mut spelled = String::with_capacity(text.len() + 4);
    // A hump stands behind a word: the `mA` of `2 mA` is a unit.
    let (mut earlier, mut before) = (' ', ' ');
    for sign in text.chars() {
        let digit = "₀₁₂₃₄₅₆₇₈₉"
            .chars()
            .position(|c| c == sign)
            .and_then(|n| char::from_digit(u32::try_from(n).ok()?, 10));
        let sign = digit.unwrap_or(sign);
        if earlier.is_lowercase() && before.is_lowercase() && sign.is_uppercase() {
            spelled.push(' ');
            spelled.extend(sign.to_lowercase());
        } else {
            spelled.push(sign);
        }
        (earlier, before) = (before, sign);
    }
    spelled
}
