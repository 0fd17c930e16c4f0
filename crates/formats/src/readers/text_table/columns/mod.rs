//! What each column of a table is: its heads understood, its numbers looked over.

mod clock;
mod coordinates;
mod forms;
mod headers;
mod local;
mod names;
mod stats;
mod units;

use curvary_record::interpret::{LabelNumber, number_in_label};
use curvary_record::moment::DatePartOrder;
use curvary_record::{Coordinate, KnownQuantity, Quantity, Span, Unit};

pub(super) use self::clock::{Clock, clock_of, is_head_of_clocks, is_head_of_times};
pub(super) use self::coordinates::parameter;
use self::coordinates::{CoordinateCell, PartedCoordinates};
pub(super) use self::forms::NumberedNames;
use self::headers::{KeyedCell, beside_heads, condition_over, spread_groups, understand_heads};
pub(super) use self::headers::{corner_heads, field_over_curves, head_or_first_word};
pub(super) use self::local::hear_vocabulary;
pub(super) use self::stats::{FEW_NAMES, Stats};
use self::units::{bare_unit, hear_other};
pub(super) use self::units::{is_unit_of_axis, quantity_of_unit, unit_in_cells, value_at_the_end};
pub(crate) use self::units::{is_unit_of_ours, unit_fits};
use super::grid::{ColumnKind, Grid, MissingCell};
use super::number::Style;
use super::scan::{ScannedTable, leading_number};
use super::segments::{RowClass, is_dash};
use crate::column_header::read_column_header;
use crate::hints::{HintFault, Hints};
use crate::words;

/// A column with what its heads and its numbers tell.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Its place in the table, from 0.
    pub(super) index: usize,
    pub(super) kind: ColumnKind,
    /// Its heads from top to bottom, as they were spelled.
    pub(super) heads: Vec<(String, Span)>,
    pub(super) quantity: Option<Quantity>,
    pub(super) unit: Option<Unit>,
    /// The quantities its head may mean, where it contradicts itself or may mean several.
    pub(super) quantities_possible: Vec<Quantity>,
    /// The units its head may mean, where it may mean several.
    pub(super) units_possible: Vec<Unit>,
    /// Coordinates that the head holds: `A405`, `30 s`. A bare number is held without a quantity.
    pub(super) held: Vec<Coordinate>,
    /// What the head says beyond quantity, unit and coordinates.
    pub(super) label: Option<String>,
    /// The sample, where a row of samples or a layout names it, and where.
    pub(super) sample: Option<(String, Span)>,
    /// What rows of keys above it say of it alone: a field, and where its value stands.
    pub(super) claims: Vec<(&'static str, Span)>,
    /// Seconds, where the column is of clock times.
    pub(super) clock: Option<Clock>,
    /// Whether the vocabulary of a laboratory says what it is of.
    pub(super) by_vocabulary: bool,
    pub(super) stats: Stats,
}

impl Column {
    /// Whether its head is a key that means sample: what stands in it are names of samples.
    pub(super) fn names_samples(&self) -> bool {
        let key = |(text, _): &(String, Span)| {
            let key = text.trim().trim_end_matches([':', '.']);
            matches!(crate::words::field_of(key), Some("sample" | "sample-id"))
        };
        self.heads.iter().any(key)
    }
}

/// Where the numbers of a table have decimal commas, `1.000 mg/L` in a head is a thousand most likely, and may be one: such a head is a
/// name and holds nothing.
fn leave_doubtful(column: &mut Column, style: Style) {
    let is_doubtful = |held: &Coordinate| {
        let raw = held.raw.as_deref().unwrap_or_default();
        let number = raw.split(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')));
        // No light has 412,500 nm.
        let of_light = held.quantity == Quantity::WAVELENGTH;
        number
            .filter(|word| !of_light && word.contains(['.', ',']))
            .any(|word| {
                let comma = Some(style == Style::COMMA);
                matches!(number_in_label(word, comma), Some(LabelNumber::Doubtful { .. }))
            })
    };
    let before = column.held.len();
    // Of several amounts in one head none is taken alone: the inhibitor would be missing from a curve.
    let amount = |held: &Coordinate| held.quantity.as_str().ends_with("concentration") && held.line.is_none();
    let doubtful = column.held.iter().any(|held| amount(held) && is_doubtful(held));
    column
        .held
        .retain(|held| !(is_doubtful(held) || doubtful && amount(held)));
    if column.held.len() < before && column.label.is_none() {
        column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
    }
}

/// Describes the columns of a table. Columns in which nothing stands are left out.
/// `stats` are those of its columns of figures, by place.
/// `order` is that of day and month in dates, where it is settled.
#[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
pub(super) fn describe(
    text: &str,
    table: &ScannedTable,
    stats: &[Stats],
    order: Option<DatePartOrder>,
) -> Vec<Column> {
    let grid = &table.grid;
    let mut empties = vec![0_usize; grid.columns()];
    for gap in grid
        .gaps
        .iter()
        .filter(|gap| matches!(gap.lack, MissingCell::Empty | MissingCell::Short))
    {
        empties[gap.column as usize] += 1;
    }
    let rows_of_heads = spread_groups(text, table);
    // What stands lowest over the first column says what runs; what stands above it may be a condition of each curve.
    let lowest = rows_of_heads
        .iter()
        .rev()
        .find_map(|row| row.first().copied().flatten())
        .map(|span| text[span.range()].trim().to_owned());
    let parted = PartedCoordinates::of(text, table, &rows_of_heads);
    let cells_of = |row: &Vec<Option<Span>>| {
        let cells = row.iter().flatten().map(|span| &text[span.range()]);
        NumberedNames::of(cells)
    };
    let names: Vec<NumberedNames> = rows_of_heads.iter().map(cells_of).collect();
    let is_name = |head: &str| names.iter().any(|names| names.has(head));
    let mut columns = Vec::with_capacity(grid.columns());
    for index in 0..grid.columns() {
        let kind = grid.kinds[index];
        if kind == ColumnKind::Figures && empties[index] == grid.rows {
            continue;
        }
        let mut column = Column {
            index,
            kind,
            heads: Vec::new(),
            quantity: None,
            unit: None,
            quantities_possible: Vec::new(),
            units_possible: Vec::new(),
            held: Vec::new(),
            label: None,
            sample: None,
            claims: Vec::new(),
            clock: None,
            by_vocabulary: false,
            stats: match kind {
                ColumnKind::Figures => stats.get(grid.place(index)).copied().unwrap_or_default(),
                ColumnKind::Words => Stats::default(),
            },
        };
        let mut held: Vec<Coordinate> = Vec::new();
        for (level, (row, head)) in rows_of_heads.iter().zip(&table.heads).enumerate() {
            let Some(span) = row[index] else { continue };
            let cell = &text[span.range()];
            if let Some(parted) = &parted {
                match parted.takes(level, index) {
                    CoordinateCell::Other => {}
                    CoordinateCell::Corner => {
                        column.heads.push((bare_unit(cell).to_owned(), span));
                        continue;
                    }
                    CoordinateCell::Number(said) => {
                        column.heads.push((said.to_owned(), span));
                        continue;
                    }
                    CoordinateCell::Unit => continue,
                }
            }
            match head.class {
                RowClass::Units if is_dash(cell) => {}
                RowClass::Header | RowClass::Units | RowClass::Title => {
                    // `[s]` in a row of units is the second; alone it would be a concentration, [S].
                    let cell = if head.class == RowClass::Units {
                        bare_unit(cell)
                    } else {
                        cell
                    };
                    column.heads.push((cell.to_owned(), span));
                    held.extend(
                        row[0].filter(|_| index > 0).and_then(|key| {
                            condition_over(&text[key.range()], cell, lowest.as_deref(), grid)
                        }),
                    );
                }
                RowClass::Condition | RowClass::Samples | RowClass::Names | RowClass::Summary => {}
            }
        }
        understand_heads(&mut column, is_name);
        for one in held {
            column
                .held
                .retain(|other| other.quantity != Quantity::UNKNOWN && other.quantity != one.quantity);
            column.held.push(one);
        }
        leave_doubtful(&mut column, grid.dialect.style);
        if !column.heads.last().is_some_and(|(head, _)| is_name(head)) {
            hear_other(&mut column);
        }
        for (level, (row, head)) in rows_of_heads.iter().zip(&table.heads).enumerate() {
            if let (Some(span), 1..) = (row[index], index)
                && parted
                    .as_ref()
                    .is_none_or(|parted| parted.takes(level, index) == CoordinateCell::Other)
            {
                let key = row[0].map_or("", |key| text[key.range()].trim());
                let of_key = KeyedCell {
                    key,
                    text: text[span.range()].trim(),
                    span,
                    line: head.line.line,
                };
                beside_heads(&mut column, head.class, &of_key, grid);
            }
        }
        if let Some(unit) = grid.units[index].as_deref().and_then(unit_in_cells) {
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
            column.quantity = column.quantity.or_else(|| quantity_of_unit(&unit)).or_else(|| {
                let name = column
                    .heads
                    .last()
                    .map(|(text, _)| text.trim())
                    .unwrap_or_default();
                let spelling = grid.units[index].as_deref().unwrap_or_default().trim();
                let of = read_column_header(&format!("{name} ({spelling})")).quantity;
                of.filter(|of| (*of == Quantity::CONCENTRATION || of.is_of_light()) && !name.is_empty())
            });
            if column.unit.as_ref().is_none_or(|known| !known.converts_to(&unit)) {
                column.unit = Some(unit);
            }
        }
        match kind {
            ColumnKind::Figures => {}
            ColumnKind::Words => {
                if grid.words(index).iter().all(|span| span.start == span.end) {
                    continue;
                }
                let pointed = column
                    .heads
                    .last()
                    .is_some_and(|(head, _)| clock::is_head_of_times(head));
                // `1:10` under `dilution` is no time.
                let diluted = column
                    .heads
                    .iter()
                    .any(|(head, _)| crate::words::field_of(head.trim()) == Some("dilution"));
                let cells = grid.words(index);
                // `Mean` and `SD` below times of day.
                let sums = cells.iter().rev().take_while(|span| {
                    let word = text[span.range()].trim();
                    word.is_empty() || super::segments::is_summary_word(word)
                });
                let times = &cells[..cells.len() - sums.count()];
                column.clock = clock_of(text, times, grid.dialect.style, order, pointed)
                    .map(|clock| clock.with_rows(cells.len()))
                    .filter(|_| !diluted)
                    .filter(|clock| clock.is_likely(&column, text, grid.words(index), grid.dialect.style));
                if let Some(clock) = &column.clock {
                    column.stats = Stats::of(&clock.numbers());
                }
            }
        }
        // Plain numbers under `data` or `date` are no dates.
        if kind == ColumnKind::Figures
            && column
                .quantity
                .as_ref()
                .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Date))
        {
            column.quantity = None;
        }
        // `sample` over numbers that count nothing is the name of a curve.
        let counts = |quantity: &Quantity| matches!(quantity.as_str(), "index" | "sample" | "replicate");
        // So do numbers that leap about as no numbering of rows does.
        let leaps =
            !column.stats.orderly() && column.stats.max - column.stats.min > 20.0 * column.stats.count as f64;
        if kind == ColumnKind::Figures
            && (!column.stats.whole || leaps)
            && column.quantity.as_ref().is_some_and(counts)
        {
            column.quantity = None;
            column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
        }
        columns.push(column);
    }
    number_rows(&mut columns);
    names::take_lone_letters(&mut columns);
    names::by_neighbours(&mut columns);
    names::take_replicates(&mut columns, &table.grid);
    clock::join_minutes_and_seconds(&mut columns, table);
    clock::part_four_digits(&mut columns, table);
    // `scan` over 9000, 8800, 8600: no count.
    for column in &mut columns {
        let counts = column
            .quantity
            .as_ref()
            .is_some_and(|quantity| matches!(quantity.as_str(), "index" | "replicate"));
        if counts && column.stats.goes_in_other_steps(8) {
            column.quantity = None;
        }
    }
    columns
}

/// A first column 1, 2, 3, … without a header, in front of one that runs and others that all have headers, numbers the rows:
/// tables of R and others are written so.
fn number_rows(columns: &mut [Column]) {
    let nameless = |column: &Column| {
        let named = |(text, _): &(String, Span)| text.contains(char::is_alphanumeric);
        !column.heads.iter().any(named)
    };
    let [first, rest @ ..] = columns else { return };
    let runs = |column: &Column| {
        column.quantity.as_ref().is_some_and(|quantity| {
            matches!(
                quantity.as_str(),
                "wavelength" | "wavenumber" | "time" | "concentration"
            )
        })
    };
    // Temperatures of a melting curve; those of single samples do not run.
    let rises_by_levels = |column: &Column| {
        let level = |quantity: &Quantity| matches!(quantity.as_str(), "temperature" | "ph");
        column.quantity.as_ref().is_some_and(level) && column.stats.orderly()
    };
    let numbers =
        first.kind == ColumnKind::Figures && first.stats.counts_with_gaps() && first.stats.count >= 3;
    // `Std` over 0, 1, 2 beside their concentrations numbers the standards.
    let step =
        first.stats.step == Some(1.0) && matches!(first.stats.first, 0.0 | 1.0) && first.stats.count >= 4;
    let standards = first.heads.last().is_some_and(|(text, _)| {
        matches!(
            words::fold(text).as_str(),
            "std" | "stds" | "st" | "standard" | "wz" | "cal" | "kal"
        )
    });
    if standards && step && first.unit.is_none() && rest.iter().any(runs) {
        first.quantity = Some(Quantity::INDEX);
        first.label = None;
        return;
    }
    if numbers
        && nameless(first)
        && first.quantity.is_none()
        && rest.len() >= 2
        && rest
            .iter()
            .any(|column| runs(column) || step && rises_by_levels(column))
        && !rest.iter().any(nameless)
    {
        first.quantity = Some(Quantity::INDEX);
    }
}

/// Gives columns the meaning that a layout tells. Whatever their heads seem to say counts no more.
///
/// # Errors
/// When a column that is told is not there, or two could be meant; the message names it.
pub(super) fn give_meaning(columns: &mut Vec<Column>, told: &Hints) -> Result<(), HintFault> {
    for one in &told.columns {
        let fits = |column: &Column| {
            one.which
                .is(column.index, column.heads.iter().map(|(text, _)| text.as_str()))
        };
        let fault = |several| HintFault {
            selector: one.which.clone(),
            several,
        };
        let mut places = (0..columns.len()).filter(|&at| fits(&columns[at]));
        let at = places.next().ok_or_else(|| fault(false))?;
        if places.next().is_some() {
            return Err(fault(true));
        }
        let Some(meaning) = &one.meaning else {
            columns.remove(at);
            continue;
        };
        let column = &mut columns[at];
        column.quantity = Some(meaning.quantity.clone());
        column.unit = Some(meaning.unit.clone());
        column.quantities_possible.clear();
        column.units_possible.clear();
        column.label.clone_from(&meaning.sample);
        let at = column.heads.first().map(|(_, span)| *span);
        column.sample = meaning.sample.clone().zip(at);
        column.held.clone_from(&meaning.held);
    }
    Ok(())
}
