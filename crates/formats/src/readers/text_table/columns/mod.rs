//! What each column of a table is: its heads understood, its numbers looked over.

mod clock;
mod coordinates;
mod forms;
mod headers;
mod local;
mod names;
mod stats;
mod table_heads;
mod units;

use curvary_record::interpret::{LabelNumber, number_in_label};
use curvary_record::moment::DatePartOrder;
use curvary_record::{Coordinate, KnownQuantity, Quantity, Span, Unit};

pub(super) use self::clock::{Clock, clock_of, is_head_of_clocks, is_head_of_times};
pub(super) use self::coordinates::parameter;
pub(super) use self::forms::NumberedNames;
pub(super) use self::headers::{CornerHead, corner_heads, field_over_curves, head_or_first_word};
pub(super) use self::local::hear_vocabulary;
pub(super) use self::stats::{FEW_NAMES, Stats};
use self::table_heads::TableHeads;
pub(super) use self::units::{is_unit_of_axis, quantity_of_unit, unit_in_cells, value_at_the_end};
pub(crate) use self::units::{is_unit_of_ours, unit_fits};
use super::grid::{ColumnKind, Grid, MissingCell};
use super::number::Style;
use super::scan::{ScannedTable, leading_number};
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
    /// A column whose heads are not heard yet.
    fn bare(index: usize, kind: ColumnKind, stats: Stats) -> Self {
        Self {
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
            stats,
        }
    }

    /// Whether its head is a key that means sample: what stands in it are names of samples.
    pub(super) fn names_samples(&self) -> bool {
        let key = |(text, _): &(String, Span)| {
            let key = text.trim().trim_end_matches([':', '.']);
            // `Monster \ Golflengte (nm)`: what stands down, and what stands across.
            let down = key.split_once(['\\', '/']).map_or(key, |(down, _)| down.trim());
            [key, down]
                .into_iter()
                .any(|key| matches!(crate::words::field_of(key), Some("sample" | "sample-id")))
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
pub(super) fn describe(
    text: &str,
    table: &ScannedTable,
    stats: &[Stats],
    order: Option<DatePartOrder>,
) -> Vec<Column> {
    let grid = &table.grid;
    let heads = TableHeads::of(text, table);
    let mut columns = Vec::with_capacity(grid.columns());
    for index in filled_columns(grid) {
        let stats = match grid.kinds[index] {
            ColumnKind::Figures => stats.get(grid.place(index)).copied().unwrap_or_default(),
            ColumnKind::Words => Stats::default(),
        };
        let mut column = Column::bare(index, grid.kinds[index], stats);
        heads.describe(&mut column);
        units::take_unit_of_cells(&mut column, grid);
        clock::take_times(&mut column, text, grid, order);
        leave_false_counts(&mut column);
        columns.push(column);
    }
    number_rows(&mut columns);
    names::take_lone_letters(&mut columns);
    names::by_neighbours(&mut columns);
    names::take_replicates(&mut columns, &table.grid);
    names::take_counts_within_names(&mut columns, &table.grid);
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

/// The columns of a table in which something stands, by their places.
fn filled_columns(grid: &Grid) -> impl Iterator<Item = usize> {
    let mut empties = vec![0_usize; grid.columns()];
    for gap in grid
        .gaps
        .iter()
        .filter(|gap| matches!(gap.lack, MissingCell::Empty | MissingCell::Short))
    {
        empties[gap.column as usize] += 1;
    }
    (0..grid.columns()).filter(move |&index| match grid.kinds[index] {
        ColumnKind::Figures => empties[index] != grid.rows,
        ColumnKind::Words => grid.words(index).iter().any(|span| span.start != span.end),
    })
}

/// Takes the meaning away from plain numbers whose head seems to say that they are dates or counts, and which are none.
fn leave_false_counts(column: &mut Column) {
    if column.kind != ColumnKind::Figures {
        return;
    }
    // Plain numbers under `data` or `date` are no dates.
    if column
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
    if (!column.stats.whole || leaps) && column.quantity.as_ref().is_some_and(counts) {
        column.quantity = None;
        column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
    }
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
