//! Dates and times as people write them: days in front of clock times, midnight, hours and minutes with a point.

use curvary_record::moment::DateOrder;

use super::super::columns::{Clock, FEW_NAMES, NumberedNames, is_head_of_clocks};
use super::super::number::{Cell, cell, dotted_time, duration};
use super::*;

impl Shaper<'_> {
    /// Takes a column of ranges for the axis, `400-410`, `410-420`: the beginning of each, and asks whether its middle is
    /// meant.
    pub(super) fn take_ranges(&mut self) {
        let of_light = |column: &Column| {
            let quantity = column.quantity.as_ref().map(Quantity::as_str);
            matches!(quantity, Some("wavelength" | "wavenumber"))
        };
        let Some((place, ranges)) = self.columns.iter().enumerate().find_map(|(place, column)| {
            let found = self.ranges_of(column).filter(|_| of_light(column));
            Some((place, found?))
        }) else {
            return;
        };
        let answer = self.source.assume().get("ranges");
        let middle = answer == Some("middle");
        let decimals = ranges.iter().map(|range| range.2).max().unwrap_or(0);
        let column = &self.columns[place];
        let clock = Clock {
            seconds: ranges
                .iter()
                .map(|&(from, to, _)| Some(if middle { (from + to) / 2.0 } else { from }))
                .collect(),
            unit: Some(self.unit_of(column).unwrap_or(Unit::NANOMETRE)),
            parts: 1,
            decimals: decimals + u8::from(middle),
            day: None,
            order: DateOrder::Clear,
        };
        if answer.is_none() {
            let labels = self.label_at(&self.columns[place].clone(), "the first of them");
            self.ask(
                "axis-unknown",
                "each row is of a range: is the curve to stand at its beginning or in its middle?",
                &[
                    ("ranges=start", "at the beginning of each range"),
                    ("ranges=middle", "in the middle of each range"),
                ],
                labels,
            );
        }
        let column = &mut self.columns[place];
        column.stats = super::super::columns::Stats::of(&clock.numbers());
        column.clock = Some(clock);
    }

    /// Both ends of the range in each row of a column, with their decimals, where all of them are such and go one way.
    fn ranges_of(&self, column: &Column) -> Option<Vec<(f64, f64, u8)>> {
        if column.kind != ColumnKind::Words || column.clock.is_some() {
            return None;
        }
        let text = self.source.text();
        let style = self.table.grid.dialect.style;
        let number = |part: &str| match cell(part.trim(), style) {
            Cell::Number { value, decimals } => Some((value, decimals)),
            _ => None,
        };
        let range = |span: &Span| {
            let text = text[span.range()].trim();
            let (from, to) = ["-", "–", "—", " to ", " bis ", "..."]
                .iter()
                .find_map(|mark| text.split_once(mark).filter(|(from, _)| !from.is_empty()))?;
            let ((from, one), (to, other)) = (number(from)?, number(to)?);
            (from < to).then_some((from, to, one.max(other)))
        };
        let ranges: Vec<_> = self
            .table
            .grid
            .words(column.index)
            .iter()
            .map(range)
            .collect::<Option<_>>()?;
        let rising = ranges.windows(2).all(|pair| pair[0].0 < pair[1].0);
        let falling = ranges.windows(2).all(|pair| pair[0].0 > pair[1].0);
        (ranges.len() >= 3 && (rising || falling)).then_some(ranges)
    }

    /// Takes the date in front of the first time for that of the run. Where the times depend on the order of day and
    /// month, that is asked.
    pub(super) fn hear_date(&mut self, day: Span, order: DateOrder) {
        let settled = match order {
            DateOrder::Settled(order) => Some(order),
            DateOrder::Clear | DateOrder::Open => None,
        };
        crate::preamble::claim_date(
            &mut self.own,
            &mut self.questions,
            self.source,
            day.range(),
            settled,
        );
        if order == DateOrder::Open {
            self.ask_days(day);
        }
    }

    fn ask_days(&mut self, day: Span) {
        let labels = vec![Label {
            place: self.source.place(day),
            text: "the first of the dates".to_owned(),
        }];
        self.ask(
            "days-between-open",
            "the times go over several days, and day and month may be swapped in all of their dates",
            &[
                ("date=day-first", "the first number is the day"),
                ("date=month-first", "the first number is the month"),
            ],
            labels,
        );
    }

    /// Times of day that fall from late to early: the day has changed. Where a column of dates says so, the times go
    /// on; else it is asked.
    pub(super) fn pass_midnight(&mut self) {
        let beside = self.days_beside();
        for place in 0..self.columns.len() {
            let Some(clock) = self.columns[place]
                .clock
                .as_ref()
                .filter(|clock| clock.unit.is_none())
            else {
                continue;
            };
            // Two parts may be minutes and seconds, unless dates change beside them or the header names times of day.
            let two = clock.parts == 2;
            let head = self.columns[place].heads.last();
            let of_day = head.is_some_and(|(text, _)| super::super::columns::is_head_of_clocks(text));
            let day = if two { 24.0 * 60.0 } else { 24.0 * 3600.0 };
            let times: Vec<(usize, f64)> = clock
                .seconds
                .iter()
                .enumerate()
                .filter_map(|(row, time)| time.map(|time| (row, time)))
                .collect();
            let falls: Vec<usize> = times
                .windows(2)
                .filter(|pair| pair[1].1 < pair[0].1)
                .map(|pair| pair[1].0)
                .collect();
            let rows = clock.seconds.len();
            if times.iter().any(|&(_, time)| time >= day) {
                continue;
            }
            let days: Vec<f64> = match beside.clone().filter(|days| days.len() == rows) {
                Some(days) => days,
                None if two && !of_day || falls.is_empty() => continue,
                None => {
                    let by_midnight = times
                        .windows(2)
                        .filter(|pair| pair[1].1 < pair[0].1)
                        .all(|pair| pair[0].1 - pair[1].1 >= 0.5 * day);
                    let (first, last) = (times[0].1, times[times.len() - 1].1);
                    // One fall alone could begin a second run, which lasts as long as the first.
                    if !by_midnight || (falls.len() == 1 && last >= first) {
                        continue;
                    }
                    match self.source.assume().get("times") {
                        Some("as-written") => continue,
                        Some("next-day") => {}
                        _ => self.ask_midnight(falls[0]),
                    }
                    (0..rows)
                        .map(|row| falls.iter().filter(|&&fall| fall <= row).count() as f64)
                        .collect()
                }
            };
            if let Some(clock) = &mut self.columns[place].clock {
                // Where dates change, two parts are hours and minutes; they were read as minutes and seconds.
                let scale = if two { 60.0 } else { 1.0 };
                clock.parts = 3;
                for (time, days) in clock.seconds.iter_mut().zip(&days) {
                    if let Some(time) = time {
                        *time = (*time + days * day) * scale;
                    }
                }
                self.columns[place].stats = Stats::of(&clock.numbers());
            }
            self.because_once("the times pass midnight and go on: those behind it are a day later");
        }
    }

    fn ask_midnight(&mut self, row: usize) {
        let labels = vec![Label {
            place: Place::line(self.table.grid.line(row)),
            text: "the times fall here".to_owned(),
        }];
        self.ask(
            "time-over-midnight",
            "the times of day fall from late to early: did midnight pass?",
            &[
                ("times=next-day", "yes, the times go on"),
                ("times=as-written", "no, they are kept as they stand"),
            ],
            labels,
        );
    }

    /// The days since the first row, where a column beside the times holds a date in every row and the dates change.
    /// Where they do not, the date is that of the run.
    fn days_beside(&mut self) -> Option<Vec<f64>> {
        let clocks: Vec<usize> = (0..self.columns.len())
            .filter(|&place| {
                let clock = self.columns[place].clock.as_ref();
                clock.is_some_and(|clock| clock.unit.is_none() && clock.day.is_none())
            })
            .collect();
        if clocks.is_empty() {
            return None;
        }
        let text = self.source.text();
        let settled = self
            .source
            .assume()
            .get("date")
            .and_then(moment::DatePartOrder::named);
        let (place, days, order) = (0..self.columns.len()).find_map(|place| {
            let column = &self.columns[place];
            if column.kind != ColumnKind::Words || column.clock.is_some() {
                return None;
            }
            let words = self.table.grid.words(column.index);
            let dates: Vec<&str> = words.iter().map(|span| text[span.range()].trim()).collect();
            let (days, order) = moment::days_since_first(&dates, settled)?;
            (!days.is_empty()).then_some((place, days, order))
        })?;
        let day = *self.table.grid.words(self.columns[place].index).first()?;
        let changes = days.iter().any(|&days| days != 0);
        let next = clocks.iter().any(|clock| clock.abs_diff(place) == 1);
        let headed = self.columns[place]
            .heads
            .last()
            .is_some_and(|(text, _)| crate::words::field_of(text.trim()).is_some());
        if next && !headed {
            // A head with a field's name was heard already.
            self.hear_date(day, if changes { order } else { DateOrder::Clear });
        } else if changes && order == DateOrder::Open {
            self.ask_days(day);
        }
        if days.windows(2).any(|pair| pair[0] == pair[1]) {
            // Dates that stand in several rows name none of them.
            self.uses[place].get_or_insert((ColumnRole::Names, Quantity::UNKNOWN, Unit::ONE));
        }
        changes.then(|| days.into_iter().map(f64::from).collect())
    }

    /// Asks what `8.40`, `9.00`, `9.20` are: hours and minutes with a point, or decimals. Only where no number has 60
    /// or more behind the point, and where the steps are equal, or whole multiples of the least of them, as sixtieths and
    /// not as hundredths. The likelier reading is given with the question.
    pub(super) fn read_dotted_times(&mut self) {
        for place in 0..self.columns.len() {
            let Some(dotted) = self.dotted(place) else {
                continue;
            };
            let column = &self.columns[place];
            let unit = column.unit.clone();
            let hours = Unit::ucum("h").ok();
            let over_clock = of_clock(column);
            let in_sixtieths = match self.source.assume().get("times") {
                Some("decimal") => false,
                Some("sixtieths") => true,
                _ => {
                    let (first, second) = (dotted.first(), dotted.get(1));
                    let show = |pair: Option<&(f64, f64)>| {
                        pair.map_or(String::new(), |(whole, part)| format!("{whole}.{part:02}"))
                    };
                    let message = format!(
                        "the times {}, {}, … are evenly spaced only as sixtieths: is the point a decimal point?",
                        show(first),
                        show(second)
                    );
                    let labels = self.label_at(&column.clone(), "the times");
                    self.ask(
                        "point-or-sixtieths",
                        &message,
                        &[
                            (
                                "times=sixtieths",
                                "hours and minutes, or minutes and seconds: 1.30 is one and a half",
                            ),
                            ("times=decimal", "decimal numbers: 1.50 is one and a half"),
                        ],
                        labels,
                    );
                    true
                }
            };
            let plain = column_is_figures(&self.columns[place]);
            if !in_sixtieths && plain {
                continue;
            }
            let column = &mut self.columns[place];
            let smaller = match &unit {
                Some(unit) if *unit == Unit::MINUTE => Some(Unit::SECOND),
                _ if unit == hours || over_clock => Some(Unit::MINUTE),
                _ => None,
            };
            let times = dotted.iter().map(|(whole, part)| {
                if in_sixtieths {
                    whole * 60.0 + part
                } else {
                    (whole * 100.0 + part) / 100.0
                }
            });
            let clock = Clock {
                seconds: times.map(Some).collect(),
                unit: if in_sixtieths { smaller } else { unit.or(hours) },
                parts: 2,
                decimals: if in_sixtieths { 0 } else { 2 },
                day: None,
                order: DateOrder::Clear,
            };
            column.stats = Stats::of(&clock.numbers());
            column.quantity = Some(Quantity::TIME);
            column.clock = Some(clock);
        }
    }

    /// The whole numbers in front of the points and behind them, in a column under a head of time that may be of
    /// sixtieths.
    fn dotted(&self, place: usize) -> Option<Vec<(f64, f64)>> {
        let column = &self.columns[place];
        let is_time = column.quantity == Some(Quantity::TIME) && column.held.is_empty();
        if column.clock.is_some() || !(is_time || of_clock(column)) {
            return None;
        }
        let grid = &self.table.grid;
        let parts: Vec<(f64, f64)> = if column_is_figures(column) {
            let two = |changes: &[(u32, u8)]| matches!(changes, [(_, 2)]);
            if !two(&self.decimals[grid.place(column.index)]) {
                return None;
            }
            grid.column(column.index)
                .map(|value| {
                    let hundredths = (value * 100.0).round();
                    ((hundredths / 100.0).floor(), hundredths.rem_euclid(100.0))
                })
                .collect()
        } else {
            let text = self.source.text();
            grid.words(column.index)
                .iter()
                .map(|span| dotted_time(&text[span.range()]))
                .collect::<Option<_>>()?
        };
        let below_sixty = parts.iter().all(|&(whole, part)| whole >= 0.0 && part < 60.0);
        if parts.len() < 4 || !below_sixty {
            return None;
        }
        let steps = |base: f64| -> Vec<f64> {
            let times: Vec<f64> = parts.iter().map(|(whole, part)| whole * base + part).collect();
            times.windows(2).map(|pair| pair[1] - pair[0]).collect()
        };
        let shortest = |steps: &[f64]| steps.iter().copied().fold(f64::INFINITY, f64::min);
        let even = |steps: &[f64]| steps.iter().all(|step| *step == steps[0]);
        let multiples = |steps: &[f64]| steps.iter().all(|step| step % shortest(steps) == 0.0);
        let (sixtieths, hundredths) = (steps(60.0), steps(100.0));
        // Multiples of a few sixtieths are no sign of anything.
        let rising = shortest(&sixtieths) >= 5.0 && shortest(&hundredths) > 0.0;
        let likelier = |regular: &dyn Fn(&[f64]) -> bool| regular(&sixtieths) && !regular(&hundredths);
        (rising && (likelier(&even) || likelier(&multiples))).then_some(parts)
    }

    /// Asks for the unit of a time whose heads, one above the other, name different ones.
    pub(super) fn ask_disputed_time(&mut self, column: &Column) {
        let told: Vec<(String, Unit)> = column
            .heads
            .iter()
            .filter_map(|(text, _)| {
                let head = read_column_header(text);
                let unit = head.unit.filter(|_| head.quantity == Some(Quantity::TIME))?;
                Some((text.trim().to_owned(), unit))
            })
            .collect();
        let (Some((upper, first)), Some((lower, last))) = (told.first(), told.last()) else {
            return;
        };
        if first == last {
            return;
        }
        let message = format!("`{upper}` and `{lower}` stand over one column: which is its unit?");
        let labels = self.label_at(column, "the lower of the two headers");
        let answers: Vec<(String, String)> = [last, first]
            .iter()
            .map(|unit| (format!("x=time:{}", unit.code()), unit.display().to_string()))
            .collect();
        let readings: Vec<(&str, &str)> = answers
            .iter()
            .map(|(assume, says)| (assume.as_str(), says.as_str()))
            .collect();
        self.ask("time-unit", &message, &readings, labels);
    }

    /// A column of words whose cells are mostly times, though not all in a way that is understood.
    pub(super) fn is_like_times(&self, column: &Column) -> bool {
        if column.kind != ColumnKind::Words || column.clock.is_some() {
            return false;
        }
        let text = self.source.text();
        let style = self.table.grid.dialect.style;
        let words = self.table.grid.words(column.index);
        let filled = words.iter().filter(|span| span.start < span.end).count();
        // `1 H`, `2 H` under `Sample` are names.
        let texts = || words.iter().take(FEW_NAMES).map(|span| text[span.range()].trim());
        let names = NumberedNames::of(texts());
        if texts().any(|text| names.has(text)) {
            return false;
        }
        let is_time = |span: &&Span| {
            let word = text[span.range()].trim();
            // `1:10` is a dilution as often, and `5'` the end of a strand.
            match (cell(word, style), duration(word, style)) {
                (_, Some(length)) => !length.primes,
                (Cell::Clock { count, .. }, None) => count == 3,
                _ => moment::read_time(word).is_some(),
            }
        };
        filled >= 3 && words.iter().filter(is_time).count() * 2 > filled
    }
}

fn column_is_figures(column: &Column) -> bool {
    column.kind == ColumnKind::Figures
}

/// Whether the head of a column names times of day.
fn of_clock(column: &Column) -> bool {
    column
        .heads
        .last()
        .is_some_and(|(text, _)| is_head_of_clocks(text))
}
