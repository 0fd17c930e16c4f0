//! What each column of a table is: its heads understood, its numbers looked over.

mod clock;
mod coordinates;
mod forms;
mod local;
mod names;

use curvary_record::interpret::{LabelNumber, number_in_label};
use curvary_record::moment::Order;
use curvary_record::unit::{Spelling, spelled};
use curvary_record::{Coordinate, KnownQuantity, Quantity, Span, Unit};

pub(super) use self::clock::{Clock, clock_of, is_head_of_clocks, is_head_of_times};
pub(super) use self::coordinates::parameter;
use self::coordinates::{CoordinateCell, PartedCoordinates};
pub(super) use self::forms::NumberedNames;
pub(super) use self::local::hear_vocabulary;
use super::grid::{ColumnKind, Grid, MissingCell};
use super::number::{Cell, Style, cell};
use super::scan::{ScannedTable, leading_number};
use super::segments::{RowClass, is_dash};
use crate::column_header::{read_column_header, split_unit};
use crate::hints::{HintFault, Hints};
use crate::words::{self, HeaderWord};

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

/// One of the two names in a corner.
pub(super) type CornerHead = Option<(Option<Quantity>, Option<Unit>)>;

/// The two names in a corner, of what runs down and of what runs across: `Time (s)\Wavelength (nm)`.
pub(super) fn corner_heads(corner: &str) -> (CornerHead, CornerHead) {
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

/// The numbers of a column looked over.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stats {
    pub(super) count: usize,
    pub(super) min: f64,
    pub(super) max: f64,
    pub(super) first: f64,
    pub(super) last: f64,
    /// Rises or falls strictly all the way.
    pub(super) rising: bool,
    pub(super) falling: bool,
    /// Every number is whole.
    pub(super) whole: bool,
    /// The distance of neighbours, where it is the same throughout to a thousandth.
    pub(super) step: Option<f64>,
}

/// What is found out about so many names of a column is remembered.
pub(super) const FEW_NAMES: usize = 256;

impl Stats {
    /// Whether at least so many numbers go on in an even step that no count has.
    pub(super) fn goes_in_other_steps(&self, fewest: usize) -> bool {
        self.count >= fewest && self.step.is_some_and(|step| step.abs() != 1.0)
    }

    /// Of the numbers that are there; NaN stands for absent ones.
    pub(super) fn of(values: &[f64]) -> Self {
        let lacking = values.iter().fold(false, |any, value| any | value.is_nan());
        if lacking {
            let present: Vec<f64> = values.iter().copied().filter(|value| !value.is_nan()).collect();
            return Self::of_present(&present);
        }
        Self::of_present(values)
    }

    fn of_present(values: &[f64]) -> Self {
        let [first, .., last] = *values else {
            let only = values.first().copied().unwrap_or_default();
            return Self {
                count: values.len(),
                min: only,
                max: only,
                first: only,
                last: only,
                whole: only.fract() == 0.0,
                ..Self::default()
            };
        };
        let (min, max) = extremes(values);
        let step = values[1] - first;
        let even = |pair: &[f64]| (pair[1] - pair[0] - step).abs() <= 1e-3 * step.abs().max(1e-9) + 1e-9;
        Self {
            count: values.len(),
            min,
            max,
            first,
            last,
            rising: values.windows(2).all(|pair| pair[1] > pair[0]),
            falling: values.windows(2).all(|pair| pair[1] < pair[0]),
            whole: values.iter().all(|value| value.fract() == 0.0),
            step: values.windows(2).all(even).then_some(step),
        }
    }

    /// Rises or falls all the way.
    pub(super) fn orderly(&self) -> bool {
        self.rising || self.falling
    }

    /// 1, 2, 3, … or 0, 1, 2, …
    pub(super) fn counts(&self) -> bool {
        self.whole && self.step == Some(1.0) && (self.first == 0.0 || self.first == 1.0)
    }

    /// 1, 2, 4, 5, …: counts rows of which a few are lost, one in four at most.
    pub(super) fn counts_with_gaps(&self) -> bool {
        self.whole && self.rising && self.min >= 0.0 && self.max <= 1.25 * self.count as f64 + 1.0
    }

    /// Lies where the wavelengths of UV, visible and near-infrared light lie, in nanometres.
    pub(super) fn like_nanometres(&self) -> bool {
        self.all_in(&crate::light::IN_COLUMNS)
    }

    /// Whether there are numbers and all lie in a range.
    pub(super) fn all_in(&self, range: &std::ops::RangeInclusive<f64>) -> bool {
        self.count > 0 && self.min >= *range.start() && self.max <= *range.end()
    }
}

/// The least and the greatest of numbers, several of them compared at a time.
fn extremes(values: &[f64]) -> (f64, f64) {
    const LANES: usize = 8;
    let (mut least, mut greatest) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    let (lots, rest) = values.as_chunks::<LANES>();
    for lot in lots {
        for (lane, &value) in lot.iter().enumerate() {
            least[lane] = if value < least[lane] { value } else { least[lane] };
            greatest[lane] = if value > greatest[lane] {
                value
            } else {
                greatest[lane]
            };
        }
    }
    (
        least.iter().chain(rest).copied().fold(f64::INFINITY, f64::min),
        greatest
            .iter()
            .chain(rest)
            .copied()
            .fold(f64::NEG_INFINITY, f64::max),
    )
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
    column.held.retain(|held| !is_doubtful(held));
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
    order: Option<Order>,
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
                beside_heads(
                    &mut column,
                    head.class,
                    key,
                    text[span.range()].trim(),
                    span,
                    grid,
                );
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

/// A unit without the brackets it stands in.
fn bare_unit(cell: &str) -> &str {
    let cell = cell.trim();
    [('(', ')'), ('[', ']'), ('<', '>')]
        .into_iter()
        .find_map(|(open, close)| cell.strip_prefix(open)?.strip_suffix(close))
        .filter(|inner| !inner.contains(['(', ')', '[', ']']))
        .map_or(cell, str::trim)
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
        && rest.iter().any(runs)
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

/// Takes what a row of names or conditions says of a column, behind what its key says of all.
fn beside_heads(column: &mut Column, class: RowClass, key: &str, text: &str, span: Span, grid: &Grid) {
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
                column.held.push(held);
                column.label.get_or_insert_with(|| text.to_owned());
            }
            None => column.label = Some(with(&column.label, &format!("{key} {text}"))),
        },
        RowClass::Header | RowClass::Units | RowClass::Title | RowClass::Summary => {}
    }
}

/// The pH or temperature that a number over a column is, where the key in front of it says so and another header below
/// says what runs: `pH` over `nm`.
fn condition_over(key: &str, cell: &str, lowest: Option<&str>, grid: &Grid) -> Option<Coordinate> {
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
fn spread_groups(text: &str, table: &ScannedTable) -> Vec<Vec<Option<Span>>> {
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
        if level < lowest && filled >= 2 && filled < cells.len() {
            // Only words are spread, and only where the row below begins its groups anew.
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
                        last = Some(*span).filter(|_| leading_number(word).is_none() || held());
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

/// Reads the heads of a column, the lowest first: it stands nearest to the numbers.
/// Those that are a name by the headers beside them say nothing else.
fn understand_heads(column: &mut Column, is_name: impl Fn(&str) -> bool) {
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
        if let Some(unit) = forms::unit_below_name(text).filter(|_| level > 0) {
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
        for coordinate in head.held {
            if !column
                .held
                .iter()
                .any(|held| held.quantity == coordinate.quantity)
            {
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

/// Whether the lowest head is a bare unit, and the name above it is of a quantity that does not come in it.
fn contradicts_its_unit(column: &Column) -> bool {
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

/// Hears that a column is of a quantity beyond those of this trade: its name says so, or its unit does. The column keeps
/// that quantity and its unit, whatever single words of the head seemed to say.
fn hear_other(column: &mut Column) {
    let whole = column
        .heads
        .iter()
        .map(|(text, _)| text.trim())
        .collect::<Vec<_>>()
        .join(" ");
    let lowest = column.heads.iter().rev().map(|(text, _)| text.trim().to_owned());
    for text in lowest.chain([whole]) {
        if crate::column_header::is_derived(&text) {
            return;
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
fn ends_in_value(text: &str) -> bool {
    value_at_the_end(text)
        .is_some_and(|number| number.contains(['.', ',']) || text.trim_end().ends_with("nm"))
}

/// The number in front of the unit that a name ends in: the `5` of `s 5 mM`.
pub(super) fn value_at_the_end(text: &str) -> Option<&str> {
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

/// A head; where it names no quantity but its first word does, that and the rest as a label: `Absorbance C`.
pub(super) fn head_or_first_word(text: &str) -> crate::column_header::ColumnHeader {
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
    if crate::column_header::ends_in_other_unit(trimmed) {
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
pub(super) fn quantity_of_unit(unit: &Unit) -> Option<Quantity> {
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
pub(super) fn unit_in_cells(text: &str) -> Option<Unit> {
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
