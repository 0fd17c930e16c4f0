//! What each column of a table is: its heads understood, its numbers looked over.

use curvary_record::moment::{self, DateOrder, Order};
use curvary_record::unit::spelled;
use curvary_record::{Coordinate, Quantity, Span, Unit};

use super::grid::{Kind, Lack};
use super::number::{Cell, Duration, Style, cell, duration};
use super::scan::{Table, leading_number};
use crate::head::read_head;
use crate::told::{Told, Which};

/// A column with what its heads and its numbers tell.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Its place in the table, from 0.
    pub(super) index: usize,
    pub(super) kind: Kind,
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
    /// What the head says beyond quantity, unit and coordinates: mostly a sample.
    pub(super) label: Option<String>,
    /// Seconds, where the column is of clock times.
    pub(super) clock: Option<Clock>,
    pub(super) stats: Stats,
}

/// A column of clock times, or of lengths of time.
#[derive(Clone, Debug)]
pub(super) struct Clock {
    /// The seconds of each row, reading two parts as minutes and seconds; where `unit` is there, so many of it.
    pub(super) seconds: Vec<Option<f64>>,
    /// The unit of lengths of time, `1 min 15`; clock times are told in seconds.
    pub(super) unit: Option<Unit>,
    /// Two parts (`0:30`) or three (`00:00:30`).
    pub(super) parts: u8,
    pub(super) decimals: u8,
    /// The date in front of the first time.
    pub(super) day: Option<Span>,
    /// What the dates of all rows tell of the order of day and month in each; open only where the times depend on it.
    pub(super) order: DateOrder,
}

impl Clock {
    /// The seconds of each row, NaN where there are none.
    pub(super) fn numbers(&self) -> Vec<f64> {
        self.seconds.iter().map(|time| time.unwrap_or(f64::NAN)).collect()
    }

    /// Whether the cells are times and not names that look like them: `5'` and `3'` are the ends of a strand. A head
    /// of time says so, a rise from row to row shows it.
    fn is_likely(&self, column: &Column, text: &str, cells: &[Span], style: Style) -> bool {
        let lengths: Vec<Duration> = cells
            .iter()
            .filter_map(|span| duration(text[span.range()].trim(), style))
            .collect();
        column.quantity == Some(Quantity::TIME)
            || lengths.is_empty()
            || !lengths.iter().all(|length| length.primes)
            || Stats::of(&self.numbers()).rising
    }
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

impl Stats {
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

    /// Lies where the wavelengths of UV, visible and near-infrared light lie, in nanometres.
    pub(super) fn like_nanometres(&self) -> bool {
        self.count > 0 && self.min >= 120.0 && self.max <= 3500.0
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

/// Words over times of day, beside those known as a quantity (`Uhrzeit`). From memory.
const OVER_CLOCKS: [&str; 5] = ["klo", "kl", "kello", "uhr", "o'clock"];

/// Whether a head names times of day.
pub(super) fn is_head_of_clocks(text: &str) -> bool {
    let word = text.trim().trim_end_matches(['.', ':']).to_lowercase();
    OVER_CLOCKS.contains(&word.as_str())
        || read_head(text)
            .quantity
            .is_some_and(|quantity| quantity.as_str() == "time-of-day")
}

/// Whether a head names times, of a day or since a beginning.
pub(super) fn is_head_of_times(text: &str) -> bool {
    is_head_of_clocks(text) || read_head(text).quantity == Some(Quantity::TIME)
}

/// Describes the columns of a table. Columns in which nothing stands are left out.
/// `stats` are those of its columns of figures, by place.
/// `order` is that of day and month in dates, where it is settled.
pub(super) fn describe(text: &str, table: &Table, stats: &[Stats], order: Option<Order>) -> Vec<Column> {
    let grid = &table.grid;
    let mut empties = vec![0_usize; grid.columns()];
    for gap in grid
        .gaps
        .iter()
        .filter(|gap| matches!(gap.lack, Lack::Empty | Lack::Short))
    {
        empties[gap.column as usize] += 1;
    }
    let rows_of_heads = spread_groups(text, table);
    let mut columns = Vec::with_capacity(grid.columns());
    for index in 0..grid.columns() {
        let kind = grid.kinds[index];
        if kind == Kind::Figures && empties[index] == grid.rows {
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
            clock: None,
            stats: Stats::default(),
        };
        for row in &rows_of_heads {
            if let Some(span) = row[index] {
                column.heads.push((text[span.range()].to_owned(), span));
            }
        }
        understand_heads(&mut column);
        if let Some(unit) = grid.units[index].as_deref().and_then(unit_in_cells) {
            // What stands behind every number outweighs a head of one letter: `S` over `50 µM`.
            if column
                .quantity
                .as_ref()
                .is_some_and(|quantity| !unit_fits(quantity, &unit))
            {
                column.quantity = None;
            }
            column.quantity = column.quantity.or_else(|| quantity_of_unit(&unit));
            if column.unit.as_ref().is_none_or(|known| !known.converts_to(&unit)) {
                column.unit = Some(unit);
            }
        }
        match kind {
            Kind::Figures => column.stats = stats.get(grid.place(index)).copied().unwrap_or_default(),
            Kind::Words => {
                if grid.words(index).iter().all(|span| span.start == span.end) {
                    continue;
                }
                column.clock = clock_of(text, grid.words(index), grid.dialect.style, order)
                    .filter(|clock| clock.is_likely(&column, text, grid.words(index), grid.dialect.style));
                if let Some(clock) = &column.clock {
                    column.stats = Stats::of(&clock.numbers());
                }
            }
        }
        // Plain numbers under `data` or `date` are no dates.
        if kind == Kind::Figures
            && column
                .quantity
                .as_ref()
                .is_some_and(|quantity| quantity.as_str() == "date")
        {
            column.quantity = None;
        }
        // `sample` over numbers that count nothing is the name of a curve.
        let counts = |quantity: &Quantity| matches!(quantity.as_str(), "index" | "sample" | "replicate");
        // So do numbers that leap about as no numbering of rows does.
        let leaps =
            !column.stats.orderly() && column.stats.max - column.stats.min > 20.0 * column.stats.count as f64;
        if kind == Kind::Figures
            && (!column.stats.whole || leaps)
            && column.quantity.as_ref().is_some_and(counts)
        {
            column.quantity = None;
            column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
        }
        columns.push(column);
    }
    take_letters_for_names(&mut columns);
    take_siblings_for_names(&mut columns);
    understand_numbered(&mut columns);
    understand_first_of_several(&mut columns);
    name_numbers_in_heads(&mut columns);
    join_minutes_and_seconds(&mut columns, table);
    part_four_digits(&mut columns, table);
    columns
}

/// `Temperature (°C)` in front of `20 30 40` in a row of heads says what these numbers are: they are held.
fn name_numbers_in_heads(columns: &mut [Column]) {
    let Some((first, others)) = columns.split_first_mut() else {
        return;
    };
    let levels = first.heads.len();
    for level in 0..levels.saturating_sub(1) {
        let name = read_head(&first.heads[level].0);
        let (Some(quantity), true) = (name.quantity, name.held.is_empty()) else {
            continue;
        };
        let unit = match quantity.as_str() {
            "ph" => Some(Unit::PH),
            "temperature" | "concentration" | "time" | "wavelength" => name.unit,
            _ => None,
        };
        let customary = |value: f64| match quantity.as_str() {
            "wavelength" if (185.0..=1100.0).contains(&value) => Some(Unit::NANOMETRE),
            "temperature" if (0.0..=110.0).contains(&value) => Some(Unit::CELSIUS),
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

/// A column of minutes and one of seconds beside it are one time, `min,s` over `1,30`, and so are hours and minutes.
fn join_minutes_and_seconds(columns: &mut Vec<Column>, table: &Table) {
    let times: Vec<usize> = (0..columns.len())
        .filter(|&i| columns[i].quantity == Some(Quantity::TIME) && columns[i].kind == Kind::Figures)
        .collect();
    let [minutes, seconds] = times[..] else { return };
    let is = |column: &Column, unit: &Unit| column.unit.as_ref() == Some(unit);
    let (first, second) = (&columns[minutes], &columns[seconds]);
    let in_hours = Unit::ucum("h").is_ok_and(|hour| is(first, &hour)) && is(second, &Unit::MINUTE);
    let small = if in_hours { 60.0 } else { 1.0 };
    let suits = seconds == minutes + 1
        && (in_hours || is(first, &Unit::MINUTE) && is(second, &Unit::SECOND))
        && first.stats.whole
        && second.stats.min >= 0.0
        && second.stats.max < 60.0;
    if !suits {
        return;
    }
    let grid = &table.grid;
    let decimals = grid.decimals()[grid.place(second.index)]
        .iter()
        .map(|&(_, decimals)| decimals)
        .max()
        .unwrap_or(0);
    let whole: Vec<Option<f64>> = grid
        .column(first.index)
        .zip(grid.column(second.index))
        .map(|(minutes, seconds)| Some((minutes * 60.0 + seconds) * small).filter(|time| !time.is_nan()))
        .collect();
    let stats = Stats::of(
        &whole
            .iter()
            .map(|time| time.unwrap_or(f64::NAN))
            .collect::<Vec<_>>(),
    );
    // Two ways to say the same time fall and rise together; parts of one do not, but their sum rises.
    if !stats.rising || second.stats.rising && second.stats.count > 2 && first.stats.rising {
        return;
    }
    let first = &mut columns[minutes];
    first.stats = stats;
    first.unit = Some(Unit::SECOND);
    first.clock = Some(Clock {
        seconds: whole,
        unit: None,
        parts: 3,
        decimals,
        day: None,
        order: DateOrder::Clear,
    });
    columns.remove(seconds);
}

/// Times of day in four digits, `0915`, `1000`, under a head of such times: as numbers their steps would leap at each
/// hour.
fn part_four_digits(columns: &mut [Column], table: &Table) {
    let is_head = |column: &Column| {
        column
            .heads
            .last()
            .is_some_and(|(text, _)| is_head_of_clocks(text))
    };
    let Some(column) = columns
        .iter_mut()
        .find(|column| column.kind == Kind::Figures && is_head(column))
    else {
        return;
    };
    let times = |value: f64| (0.0..2400.0).contains(&value) && value % 100.0 < 60.0;
    let all: Vec<f64> = table.grid.column(column.index).collect();
    let fits = column.stats.whole
        && column.stats.rising
        && column.stats.count >= 3
        && column.stats.max >= 100.0
        && all.iter().all(|value| value.is_nan() || times(*value));
    if !fits {
        return;
    }
    let seconds: Vec<Option<f64>> = all
        .iter()
        .map(|value| {
            Some((value / 100.0).floor() * 3600.0 + value % 100.0 * 60.0).filter(|_| !value.is_nan())
        })
        .collect();
    let clock = Clock {
        seconds,
        unit: None,
        parts: 3,
        decimals: 0,
        day: None,
        order: DateOrder::Clear,
    };
    column.stats = Stats::of(&clock.numbers());
    column.quantity = Some(Quantity::TIME);
    column.unit = Some(Unit::SECOND);
    column.clock = Some(clock);
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
            for column in &mut columns[at..at + run] {
                column.quantity = None;
                column.unit = None;
                column.quantities_possible.clear();
                column.units_possible.clear();
                column.held.clear();
                column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
            }
        }
        at += run;
    }
}

/// Heads that differ in one letter, `tube A` and `tube B`, or one word of a row of them, `first`, `second`, `third`, are
/// names: the letter is no absorbance there, and the word no time.
fn take_siblings_for_names(columns: &mut [Column]) {
    const ORDINALS: [&str; 6] = ["first", "second", "third", "1st", "2nd", "3rd"];
    let words = |column: &Column| -> Vec<String> {
        let text = column.heads.last().map_or("", |(text, _)| text.trim());
        text.split([' ', '_', '-']).map(str::to_owned).collect()
    };
    let all: Vec<Vec<String>> = columns.iter().map(words).collect();
    let ordinal = |word: &str| ORDINALS.contains(&word.to_lowercase().as_str());
    let siblings = |one: &[String], other: &[String]| {
        let mut differing = one.iter().zip(other).filter(|(a, b)| a != b);
        one.len() == other.len()
            && match (differing.next(), differing.next()) {
                (Some((a, b)), None) => (a == "A" && b == "B") || (ordinal(a) && ordinal(b)),
                _ => false,
            }
    };
    for (column, words) in columns.iter_mut().zip(&all) {
        // The unit is that of the letter or the word.
        if !column.held.is_empty() || !all.iter().any(|other| siblings(words, other)) {
            continue;
        }
        // `Abs A` says by its other word what it is of.
        let rest: Vec<&str> = words
            .iter()
            .map(String::as_str)
            .filter(|word| *word != "A" && !ordinal(word))
            .collect();
        let says = read_head(&rest.join(" ")).quantity.is_some_and(|quantity| {
            matches!(quantity.as_str(), "absorbance" | "transmittance" | "reflectance")
        });
        if !says {
            column.quantity = None;
            column.unit = None;
            column.quantities_possible.clear();
            column.units_possible.clear();
            column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
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
            column.quantity = None;
            column.label = column.heads.last().map(|(text, _)| text.trim().to_owned());
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
            let head = read_head(&format!("{symbol}{}", &text[start + length..]));
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

/// Gives columns the meaning that a layout tells. Whatever their heads seem to say counts no more.
///
/// # Errors
/// When a column that is told is not there, or two could be meant; the message names it.
pub(super) fn give_meaning(columns: &mut Vec<Column>, told: &Told) -> Result<(), String> {
    for one in &told.columns {
        let fits = |column: &Column| {
            one.which
                .is(column.index, column.heads.iter().map(|(text, _)| text.as_str()))
        };
        let named = match &one.which {
            Which::Head(head) => format!("with the head `{head}`"),
            Which::Index(index) => format!("at place {}", index + 1),
        };
        let mut places = (0..columns.len()).filter(|&at| fits(&columns[at]));
        let at = places
            .next()
            .ok_or_else(|| format!("the layout tells of a column {named}, and there is none"))?;
        if places.next().is_some() {
            return Err(format!(
                "the layout tells of a column {named}, and there are several"
            ));
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
        column.held.clone_from(&meaning.held);
    }
    Ok(())
}

/// The rows of heads with group heads (`crocin,,safranal,`) spread over the columns they stand for.
fn spread_groups(text: &str, table: &Table) -> Vec<Vec<Option<Span>>> {
    let lowest = table.heads.len().saturating_sub(1);
    let mut rows = Vec::with_capacity(table.heads.len());
    for (level, head) in table.heads.iter().enumerate() {
        let mut cells = head.cells.clone();
        let filled = cells.iter().flatten().count();
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
                            read_head(word)
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
fn understand_heads(column: &mut Column) {
    let mut labels: Vec<String> = Vec::new();
    let whole = column
        .heads
        .iter()
        .map(|(text, _)| text.as_str())
        .collect::<Vec<_>>()
        .join(" ");
    if column.heads.len() > 1 {
        // `Wavelength` over `(nm)`: the two together may say what neither does alone.
        let head = read_head(&whole);
        // `Time (min)` over `nm` names the row of numbers beside it; the column is what its lowest head says.
        let lowest = column.heads.last().and_then(|(text, _)| read_head(text).quantity);
        let agrees = lowest.is_none() || lowest == head.quantity;
        if head.quantity.is_some() && head.unit.is_some() && agrees {
            column.quantity = head.quantity;
            column.unit = head.unit;
        }
    }
    for (text, _) in column.heads.iter().rev() {
        let head = head_or_first_word(text);
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

/// A head; where it names no quantity but its first word does, that and the rest as a label: `Absorbance C`.
pub(super) fn head_or_first_word(text: &str) -> crate::head::Head {
    let mut head = read_head(text);
    if head.quantity.is_none() && head.held.is_empty() {
        // `A₄₁₀`, `wavelengthNm`, `A/1`: spelled as `A410`, `wavelength Nm`, `A`.
        let respelled = respell(text);
        if respelled != text {
            let again = read_head(&respelled);
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
    if crate::head::ends_in_other_unit(trimmed) {
        return head;
    }
    let measured = crate::words::quantity_of(first)
        .or_else(|| read_head(first).quantity)
        .filter(|q| matches!(q.as_str(), "absorbance" | "transmittance" | "reflectance"));
    match measured {
        Some(quantity) if !rest.trim().is_empty() && rest.trim() != "*" => crate::head::Head {
            quantity: Some(quantity),
            quantities_possible: Vec::new(),
            unit: None,
            units_possible: Vec::new(),
            label: Some(rest.trim().to_owned()).filter(|_| crate::head::scale_of(text).is_none()),
            ..head
        },
        _ => head,
    }
}

/// A head with lowered digits raised to the line, humps parted, and a unit of one left out.
fn respell(text: &str) -> String {
    let text = text.trim();
    let text = text
        .strip_suffix("/1")
        .or_else(|| text.strip_suffix("/ 1"))
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
    match quantity.as_str() {
        "wavelength" => like("nm"),
        "wavenumber" => like("/cm"),
        "energy" => like("eV") || like("kJ/mol"),
        "time" => like("s"),
        "absorbance" | "transmittance" | "reflectance" => like("1"),
        "temperature" => like("K"),
        "concentration" => like("mol/L") || like("g/L") || like("1") || like("U/L"),
        "ph" => true,
        _ => true,
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
        _ if Unit::ucum("mol/L").is_ok_and(|molar| unit.converts_to(&molar)) => Some(Quantity::CONCENTRATION),
        _ => None,
    }
}

/// The unit that stands behind the numbers of a column.
pub(super) fn unit_in_cells(text: &str) -> Option<Unit> {
    let head = read_head(text);
    head.unit.or_else(|| {
        head.quantity
            .filter(|q| *q == Quantity::ABSORBANCE)
            .map(|_| Unit::ABSORBANCE)
    })
}

/// The times of a column of clock times or of lengths of time, where its cells are such. `order` is that of day and
/// month in the dates in front of them, where it is settled.
pub(super) fn clock_of(text: &str, cells: &[Span], style: Style, order: Option<Order>) -> Option<Clock> {
    durations_of(text, cells, style).or_else(|| times_of(text, cells, style, order))
}

/// A column of lengths of time, all in one unit: minutes where none is written finer, else seconds. A few cells that
/// are none, such as `over night`, have no time.
fn durations_of(text: &str, cells: &[Span], style: Style) -> Option<Clock> {
    let length = |span: &Span| {
        let raw = text[span.range()].trim();
        match cell(raw, style) {
            Cell::Number { value: 0.0, .. } => Some(Duration::ZERO),
            _ => duration(raw, style),
        }
    };
    // A column of something else is known by its first cell.
    length(cells.first()?)?;
    let lengths: Vec<Option<Duration>> = cells.iter().map(length).collect();
    let good = lengths.iter().flatten().count();
    if good < 2 || good * 10 < cells.len() * 9 {
        return None;
    }
    // Those that come and go in turns are names of curves.
    let seconds = || lengths.iter().flatten().map(|length| length.count(false));
    if !seconds().is_sorted() && !seconds().rev().is_sorted() {
        return None;
    }
    let in_minutes = lengths.iter().flatten().all(|length| length.in_whole_minutes());
    Some(Clock {
        seconds: lengths
            .iter()
            .map(|length| length.map(|length| length.count(in_minutes)))
            .collect(),
        unit: Some(if in_minutes { Unit::MINUTE } else { Unit::SECOND }),
        parts: 3,
        decimals: lengths.iter().flatten().map(|length| length.decimals).max()?,
        day: None,
        order: DateOrder::Clear,
    })
}

/// A time as it stands in a cell: the text of its date, its clock time, and how many seconds its zone is ahead of UTC.
struct Stamp<'a> {
    date: Option<&'a str>,
    parts: [f64; 3],
    count: u8,
    decimals: u8,
    zone: Option<f64>,
    /// Its hours are those of half a day, so that two parts are hours and minutes.
    of_day: bool,
}

impl<'a> Stamp<'a> {
    fn read(raw: &'a str, style: Style) -> Option<Self> {
        let mut found = cell(raw, style);
        let (mut date, mut zone, mut half) = (None, None, None);
        if !matches!(found, Cell::Clock { .. }) {
            let mut local = raw;
            if let Some((front, ahead)) = moment::split_zone(local) {
                (local, zone) = (front, Some(f64::from(ahead)));
            }
            if let Some((front, afternoon)) = half_of_day(local) {
                (local, half) = (front, Some(afternoon));
            }
            let time = match local.rsplit_once([' ', 'T']) {
                Some((front, time)) => {
                    date = Some(front.trim());
                    time
                }
                None => local,
            };
            found = cell(time, style);
        }
        let Cell::Clock {
            mut parts,
            count,
            decimals,
        } = found
        else {
            return None;
        };
        if let Some(afternoon) = half {
            if !(1.0..=12.0).contains(&parts[0]) {
                return None;
            }
            parts[0] = parts[0] % 12.0 + if afternoon { 12.0 } else { 0.0 };
        }
        if !date.is_none_or(|date| date.bytes().any(|byte| byte.is_ascii_digit())) {
            return None;
        }
        Some(Self {
            date,
            parts,
            count,
            decimals,
            zone,
            of_day: half.is_some(),
        })
    }
}

/// A time without the `AM` or `PM` behind it, and whether it is in the afternoon.
fn half_of_day(text: &str) -> Option<(&str, bool)> {
    let text = text.trim_end();
    let (time, afternoon) = [("am", false), ("a.m.", false), ("pm", true), ("p.m.", true)]
        .into_iter()
        .find_map(|(half, afternoon)| {
            let (time, end) = text.split_at_checked(text.len().checked_sub(half.len())?)?;
            end.eq_ignore_ascii_case(half).then_some((time, afternoon))
        })?;
    let time = time.trim_end();
    time.ends_with(|c: char| c.is_ascii_digit())
        .then_some((time, afternoon))
}

/// A column of clock times, where all its cells are such: since the midnight before the first of them.
fn times_of(text: &str, cells: &[Span], style: Style, order: Option<Order>) -> Option<Clock> {
    let stamps: Vec<Option<Stamp>> = cells
        .iter()
        .map(|span| text[span.range()].trim())
        .map(|raw| {
            if raw.is_empty() {
                Some(None)
            } else {
                Stamp::read(raw, style).map(Some)
            }
        })
        .collect::<Option<_>>()?;
    let first = stamps.iter().flatten().next()?;
    let count = first.count;
    let present = || stamps.iter().flatten();
    // A zone behind some of the times only would leave the others anywhere.
    let alike = |stamp: &Stamp| {
        stamp.count == count
            && stamp.date.is_some() == first.date.is_some()
            && stamp.zone.is_some() == first.zone.is_some()
            && stamp.of_day == first.of_day
    };
    if present().count() < 2 || !present().all(alike) {
        return None;
    }
    let dates: Vec<&str> = present().filter_map(|stamp| stamp.date).collect();
    let over_days = dates.iter().any(|date| Some(*date) != first.date);
    let (days, order) = match moment::days_since_first(&dates, order) {
        // Of times on one day only the date is open, which its own question tells.
        Some((days, DateOrder::Open)) if !over_days => (Some(days), DateOrder::Clear),
        Some((days, order)) => (Some(days), order),
        // The text in front of the times is the same throughout, and no date.
        None if !over_days => (None, DateOrder::Clear),
        None => return None,
    };
    // Behind a date and in front of `AM` two parts are hours and minutes.
    let of_day = first.of_day || days.as_ref().is_some_and(|days| !days.is_empty());
    let scale = if count == 2 && of_day { 60.0 } else { 1.0 };
    let mut days = days.into_iter().flatten();
    let seconds = stamps
        .iter()
        .map(|stamp| {
            let stamp = stamp.as_ref()?;
            let day = f64::from(days.next().unwrap_or(0)) * 86_400.0;
            let [a, b, c] = stamp.parts;
            // Exact: whole minutes and hours plus a decimal that stood in the source.
            let time = if count == 3 {
                a * 3600.0 + b * 60.0 + c
            } else {
                (a * 60.0 + b) * scale
            };
            // What a zone is ahead of the first one's has not passed.
            let ahead = stamp
                .zone
                .zip(first.zone)
                .map_or(0.0, |(zone, first)| zone - first);
            Some(day - ahead + time)
        })
        .collect();
    let day = first.date.and_then(|day| {
        let span = cells.iter().find(|span| !text[span.range()].trim().is_empty())?;
        let start = span.start as usize + text[span.range()].find(day)?;
        Some(Span::new(start, start + day.len()))
    });
    Some(Clock {
        seconds,
        unit: None,
        parts: if scale == 1.0 { count } else { 3 },
        decimals: present().map(|stamp| stamp.decimals).max().unwrap_or(0),
        day,
        order,
    })
}
