//! Columns of times: clock times, stamps with dates and zones, lengths of time in words, times in two columns.

use curvary_record::KnownQuantity;
use hashbrown::HashMap;

use curvary_record::moment::{self, DateOrder, DatePartOrder};

use super::*;
use crate::column_header::read_column_header;
use crate::readers::text_table::number::{Cell, Duration, Style, cell, duration};
use crate::readers::text_table::segments::is_summary_word;

/// A column of clock times, or of lengths of time.
#[derive(Clone, Debug)]
pub(in crate::readers::text_table) struct Clock {
    /// The seconds of each row, reading two parts as minutes and seconds; where `unit` is there, so many of it.
    pub(in crate::readers::text_table) seconds: Vec<Option<f64>>,
    /// The unit of lengths of time, `1 min 15`; clock times are told in seconds.
    pub(in crate::readers::text_table) unit: Option<Unit>,
    /// Two parts (`0:30`) or three (`00:00:30`).
    pub(in crate::readers::text_table) parts: u8,
    pub(in crate::readers::text_table) decimals: u8,
    /// The date in front of the first time.
    pub(in crate::readers::text_table) day: Option<Span>,
    /// What the dates of all rows tell of the order of day and month in each; open only where the times depend on it.
    pub(in crate::readers::text_table) order: DateOrder,
}

impl Clock {
    /// The same in a column of more rows, which have no times at its end.
    pub(super) fn with_rows(mut self, rows: usize) -> Self {
        self.seconds.resize(rows, None);
        self
    }

    /// The seconds of each row, NaN where there are none.
    pub(in crate::readers::text_table) fn numbers(&self) -> Vec<f64> {
        self.seconds.iter().map(|time| time.unwrap_or(f64::NAN)).collect()
    }

    /// Whether the cells are times and not names that look like them: `5'` and `3'` are the ends of a strand. A head
    /// of time says so, a rise from row to row shows it.
    pub(super) fn is_likely(&self, column: &Column, text: &str, cells: &[Span], style: Style) -> bool {
        let lengths: Vec<Duration> = cells
            .iter()
            .filter_map(|span| duration(text[span.range()].trim(), style))
            .collect();
        let texts = || {
            let cells = cells.iter().take(FEW_NAMES);
            cells.map(|span| text[span.range()].trim())
        };
        let names = NumberedNames::of(texts());
        // `1 H`, `2 H` may be names.
        if column.quantity != Some(Quantity::TIME) && texts().any(|text| names.has(text)) {
            return false;
        }
        column.quantity == Some(Quantity::TIME)
            || lengths.is_empty()
            || !lengths.iter().all(|length| length.primes)
            || Stats::of(&self.numbers()).rising
    }
}

/// Whether a head names times of day.
pub(in crate::readers::text_table) fn is_head_of_clocks(text: &str) -> bool {
    // `klo (hh.mm.ss)`: the form stands in brackets.
    let bare = text.split(['(', '[']).next().unwrap_or(text);
    let word = bare.trim().trim_end_matches(['.', ':']).to_lowercase();
    words::words_of(words::WordList::OverClocks).contains(&word)
        || read_column_header(text)
            .quantity
            .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::TimeOfDay))
}

/// Whether a head names times, of a day or since a beginning.
pub(in crate::readers::text_table) fn is_head_of_times(text: &str) -> bool {
    is_head_of_clocks(text) || read_column_header(text).quantity == Some(Quantity::TIME)
}

/// The times of a column of clock times or of lengths of time, where its cells are such. `order` is that of day and
/// month in the dates in front of them, where it is settled. Times with points, `09.41.07`, are such only where their
/// header names times (`pointed`): dates are written so as well.
pub(in crate::readers::text_table) fn clock_of(
    text: &str,
    cells: &[Span],
    style: Style,
    order: Option<DatePartOrder>,
    pointed: bool,
) -> Option<Clock> {
    durations_of(text, cells, style).or_else(|| times_of(text, cells, style, order, pointed))
}

/// Takes the times that a column of words holds, where it does.
pub(super) fn take_times(column: &mut Column, text: &str, grid: &Grid, order: Option<DatePartOrder>) {
    if column.kind != ColumnKind::Words {
        return;
    }
    let pointed = column
        .heads
        .last()
        .is_some_and(|(head, _)| is_head_of_times(head));
    // `1:10` under `dilution` is no time.
    let diluted = column
        .heads
        .iter()
        .any(|(head, _)| crate::words::field_of(head.trim()) == Some("dilution"));
    let (cells, style) = (grid.words(column.index), grid.dialect.style);
    // `Mean` and `SD` below times of day.
    let sums = cells.iter().rev().take_while(|span| {
        let word = text[span.range()].trim();
        word.is_empty() || is_summary_word(word)
    });
    let times = &cells[..cells.len() - sums.count()];
    column.clock = clock_of(text, times, style, order, pointed)
        .map(|clock| clock.with_rows(cells.len()))
        .filter(|clock| !diluted && clock.is_likely(column, text, cells, style));
    if let Some(clock) = &column.clock {
        column.stats = Stats::of(&clock.numbers());
    }
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
    // `7 d`, `14 d`: where all have one unit it is theirs.
    let mut units = lengths.iter().flatten().filter(|length| length.is_counted());
    let unit = units.next().and_then(|length| length.unit_alone());
    let unit = unit.filter(|(seconds, _)| {
        units.all(|length| length.unit_alone().is_some_and(|(one, _)| one == *seconds))
    });
    let count = |length: Duration| match &unit {
        Some((seconds, _)) => length.count_of(*seconds),
        None => Some(length.count(in_minutes)),
    };
    Some(Clock {
        seconds: lengths.iter().map(|length| count((*length)?)).collect(),
        unit: Some(match &unit {
            Some((_, unit)) => unit.clone(),
            None if in_minutes => Unit::MINUTE,
            None => Unit::SECOND,
        }),
        parts: 3,
        decimals: lengths.iter().flatten().map(|length| length.decimals).max()?,
        day: None,
        order: DateOrder::Clear,
    })
}

/// A time as it stands in a cell: the text of its date, its clock time, and how many seconds its zone is ahead of UTC.
#[derive(Clone)]
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
    /// `09.41.07`: hours, minutes and seconds with points between.
    fn pointed(raw: &str) -> Option<Self> {
        let mut parts = [0.0; 3];
        let mut count = 0_u8;
        for part in raw.split('.') {
            let place = usize::from(count);
            let digits = part.bytes().all(|byte| byte.is_ascii_digit());
            let long_enough = part.len() == 2 || place == 0 && part.len() == 1;
            if place > 2 || !digits || !long_enough {
                return None;
            }
            parts[place] = part.parse().ok()?;
            count += 1;
        }
        let [hours, minutes, seconds] = parts;
        (count == 3 && hours < 24.0 && minutes < 60.0 && seconds < 60.0).then_some(Self {
            date: None,
            parts,
            count,
            decimals: 0,
            zone: None,
            of_day: false,
        })
    }

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
fn times_of(
    text: &str,
    cells: &[Span],
    style: Style,
    order: Option<DatePartOrder>,
    pointed: bool,
) -> Option<Clock> {
    // A few damaged cells, at most one in ten, have no time.
    let mut damaged_left = (cells.len() / 10).max(usize::from(cells.len() >= 5));
    // The same few names stand in many rows.
    let mut known: HashMap<&str, Option<Stamp>> = HashMap::new();
    // And mostly in rows that stand together.
    let mut last: Option<(&str, Option<Stamp>)> = None;
    let stamps: Vec<Option<Stamp>> = cells
        .iter()
        .map(|span| text[span.range()].trim())
        .map(|raw| {
            if let Some((_, stamp)) = last.as_ref().filter(|(before, _)| *before == raw) {
                if stamp.is_none() && !raw.is_empty() {
                    damaged_left = damaged_left.checked_sub(1)?;
                }
                return Some(stamp.clone());
            }
            let stamp = known.get(raw).cloned().unwrap_or_else(|| {
                let stamp = Stamp::read(raw, style).or_else(|| Stamp::pointed(raw).filter(|_| pointed));
                if known.len() < FEW_NAMES {
                    known.insert(raw, stamp.clone());
                }
                stamp
            });
            if stamp.is_none() && !raw.is_empty() {
                damaged_left = damaged_left.checked_sub(1)?;
            }
            last = Some((raw, stamp.clone()));
            Some(stamp)
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

/// A column of minutes and one of seconds beside it are one time, `min,s` over `1,30`, and so are hours and minutes.
pub(super) fn join_minutes_and_seconds(columns: &mut Vec<Column>, table: &ScannedTable) {
    let times: Vec<usize> = (0..columns.len())
        .filter(|&i| columns[i].quantity == Some(Quantity::TIME) && columns[i].kind == ColumnKind::Figures)
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
pub(super) fn part_four_digits(columns: &mut [Column], table: &ScannedTable) {
    let is_head = |column: &Column| {
        column
            .heads
            .last()
            .is_some_and(|(text, _)| is_head_of_clocks(text))
    };
    let Some(column) = columns
        .iter_mut()
        .find(|column| column.kind == ColumnKind::Figures && is_head(column))
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
