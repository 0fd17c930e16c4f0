//! Numbers across the heads: wavelengths by times, or spectra as rows.

use super::*;

/// A column with a number over it, and the coordinate that it is, where that is told.
type NumberOver = (usize, f64, Option<Coordinate>);

/// The numbers across the heads of a table.
pub(super) struct NumbersAcross {
    pub(super) columns: Vec<NumberOver>,
    pub(super) values: Vec<f64>,
    spread: Spread,
    /// The names in the corner, of what runs down and of what runs across.
    down: CornerHead,
    over: CornerHead,
}

impl NumbersAcross {
    /// The numbers rise or fall all the way.
    pub(super) fn run(&self) -> bool {
        self.spread.orderly
    }

    /// The names in the corner.
    pub(super) fn corner(&self) -> impl Iterator<Item = &(Option<Quantity>, Option<Unit>)> {
        [&self.down, &self.over].into_iter().flatten()
    }

    fn corner_names(&self, quantity: &Quantity) -> bool {
        self.corner().any(|head| head.0.as_ref() == Some(quantity))
    }

    /// What the numbers themselves are said to be, over a table whose first column is `first`.
    fn told(&self, first: &Column) -> Option<(Quantity, Unit)> {
        let coordinate = self.columns[0].2.as_ref()?;
        // Wavelengths run down already.
        let light_down = coordinate.quantity == Quantity::WAVELENGTH
            && first.kind == ColumnKind::Figures
            && first.quantity == Some(Quantity::WAVELENGTH);
        (coordinate.quantity != Quantity::UNKNOWN && !light_down)
            .then(|| (coordinate.quantity.clone(), coordinate.unit.clone()))
    }

    /// The time that a corner alone names, where the cells below it say of what they are: `time (s);0;20;40` over `0.25 mM;0.080;0.103`.
    fn time_in_corner_alone(&self, first: &Column) -> Option<(Quantity, Unit)> {
        let (Some((Some(quantity), Some(unit))), None) = (&self.down, &self.over) else {
            return None;
        };
        let runs = self.corner_names(&Quantity::TIME) && self.spread.orderly && !self.spread.like_light();
        (is_of_conditions(first) && runs).then(|| (quantity.clone(), unit.clone()))
    }

    /// What runs across by the corner: of its two names, `A405 at time (s)`, what was measured runs nowhere.
    fn axis_in_corner(&self) -> Option<(Quantity, Unit)> {
        let (quantity, unit) = self
            .corner()
            .find(|(quantity, _)| quantity.as_ref().is_some_and(|quantity| !quantity.is_of_light()))?;
        let quantity = quantity.clone().filter(|quantity| {
            matches!(quantity.as_str(), "concentration" | "time" | "temperature" | "ph")
        })?;
        Some((quantity, unit.clone()?))
    }
}

/// Whether a column holds a condition of each row.
fn is_of_conditions(column: &Column) -> bool {
    column
        .quantity
        .as_ref()
        .is_some_and(|quantity| matches!(quantity.as_str(), "concentration" | "temperature" | "ph"))
}

/// Whether a column holds words that are no times.
fn is_of_words(column: &Column) -> bool {
    column.kind == ColumnKind::Words && column.clock.is_none()
}

impl Shaper<'_> {
    /// Numbers across the heads: wavelengths by times, or spectra as rows.
    pub(super) fn matrix(&mut self) -> Option<RunDraft> {
        let across = self.numbers_across()?;
        let first = &self.columns[0];
        match self.meaning_across(&across) {
            Some((quantity, _)) if quantity == Quantity::WAVELENGTH => self.curves_in_rows(&across, None),
            Some((quantity, Some(unit)))
                if quantity == Quantity::TIME && self.has_time_courses_in_rows(&across) =>
            {
                self.curves_in_rows(&across, Some((quantity, unit)))
            }
            // `Temperature,day 0,day 1`: curves over the temperature.
            Some((quantity, _))
                if quantity == Quantity::TIME
                    && across.values.len() == 2
                    && first.stats.count > 2
                    && is_of_conditions(first) =>
            {
                None
            }
            Some((quantity, unit)) if quantity == Quantity::TIME => self.time_across(&across.columns, unit),
            None if let Some(axis) = self.axis_of_table_on_its_side(&across) => {
                self.curves_in_rows(&across, Some(axis))
            }
            // Counted heads are names: `1 2 3 4`.
            None if across.spread.counts() && first.quantity.is_some() => None,
            // Numbers over spectra: times, concentrations or names. They are kept as names, and asked about.
            None if first.quantity == Some(Quantity::WAVELENGTH)
                && (self.context.kinetics || self.context.names(&Quantity::TIME)) =>
            {
                self.time_across(&across.columns, None)
            }
            _ => None,
        }
    }

    /// The numbers across the heads with the names in the corner, where they are numbers of one quantity.
    fn numbers_across(&self) -> Option<NumbersAcross> {
        let first = self.columns.first()?;
        let heads: Vec<&str> = first.heads.iter().map(|(text, _)| text.as_str()).collect();
        let columns = self.across()?;
        // Times over some columns and temperatures over others stand across as no one axis.
        let mut known = columns
            .iter()
            .filter_map(|(_, _, held)| held.as_ref().map(|held| &held.quantity))
            .filter(|quantity| **quantity != Quantity::UNKNOWN);
        if let Some(of) = known.next()
            && known.any(|other| other != of)
        {
            return None;
        }
        let values: Vec<f64> = columns.iter().map(|(_, value, _)| *value).collect();
        let (down, over) = corner_heads(&heads.join(" "));
        Some(NumbersAcross {
            spread: Spread::of(&values),
            columns,
            values,
            down,
            over,
        })
    }

    /// What runs across, and its unit.
    fn meaning_across(&self, across: &NumbersAcross) -> Option<(Quantity, Option<Unit>)> {
        let first = &self.columns[0];
        if let Some((quantity, unit)) = across.told(first).or_else(|| across.time_in_corner_alone(first)) {
            return Some((quantity, Some(unit)));
        }
        let names_time = across.corner_names(&Quantity::TIME);
        let light_down = first.quantity == Some(Quantity::WAVELENGTH)
            || (names_time
                && across.corner_names(&Quantity::WAVELENGTH)
                && first.stats.like_nanometres()
                && first.stats.min >= *crate::light::NEAR_WORDS.start()
                && !across.spread.like_light());
        if is_of_words(first)
            || self.has_scans_down(across)
            || (names_time && !light_down)
            || first.clock.is_some()
        {
            let light = across.spread.like_light() && !self.numbers_are_names(&across.values);
            return light.then_some((Quantity::WAVELENGTH, Some(Unit::NANOMETRE)));
        }
        if !light_down {
            return None;
        }
        let unit = [&across.over, &across.down]
            .into_iter()
            .flatten()
            .find(|head| head.0 == Some(Quantity::TIME))
            .and_then(|head| head.1.clone())
            .or_else(|| self.context.stated(&Quantity::TIME));
        (unit.is_some() || names_time).then_some((Quantity::TIME, unit))
    }

    /// Whether numbers of scans stand in front of the rows, `scan 1, 2, 3`, where the words around speak of wavelengths.
    fn has_scans_down(&self, across: &NumbersAcross) -> bool {
        let first = &self.columns[0];
        first.kind == ColumnKind::Figures
            && first.stats.counts()
            && first
                .quantity
                .as_ref()
                .is_none_or(|quantity| *quantity == Quantity::INDEX)
            && across.columns.len() >= SCAN_FROM
            && (self.context.names(&Quantity::WAVELENGTH) || self.context.units.contains(&Unit::NANOMETRE))
    }

    /// Whether rows are time courses, each of a sample or of a condition.
    fn has_time_courses_in_rows(&self, across: &NumbersAcross) -> bool {
        let first = &self.columns[0];
        across.run()
            && (is_of_words(first) && self.rows_are_names_or_conditions()
                || is_of_conditions(first) && (across.values.len() > 2 || first.stats.count <= 2))
    }

    /// What runs across a table laid on its side: the corner names it, each row what was measured, or a name where the words around
    /// say it.
    fn axis_of_table_on_its_side(&self, across: &NumbersAcross) -> Option<(Quantity, Unit)> {
        let axis = across
            .axis_in_corner()
            .filter(|_| is_of_words(&self.columns[0]))?;
        (self.rows_are_measured() || across.run() && self.rows_are_names()).then_some(axis)
    }

    /// Whether what stands in front of the rows are names, none of which begins with a number: a header in front of
    /// them that names a quantity with a unit is then of what stands across.
    fn rows_are_names(&self) -> bool {
        let text = self.source.text();
        let words = self.table.grid.words(self.columns[0].index);
        words
            .iter()
            .all(|span| text[span.range()].trim().starts_with(char::is_alphabetic))
    }

    /// Whether what stands in front of the rows are names, or numbers with units: `blank`, `0.1 mM`.
    fn rows_are_names_or_conditions(&self) -> bool {
        let text = self.source.text();
        let mut words = self.table.grid.words(self.columns[0].index).iter();
        words.all(|span| {
            let name = text[span.range()].trim();
            name.starts_with(char::is_alphabetic)
                || read_column_header(name)
                    .held
                    .iter()
                    .any(|held| held.quantity != Quantity::UNKNOWN)
        })
    }

    /// The columns with numbers over them, and what these are numbers of; `None` where not nearly all have one.
    fn across(&self) -> Option<Vec<NumberOver>> {
        let first = self.columns.first()?;
        let figures = || {
            let columns = self.columns.iter().enumerate().skip(1);
            columns.filter(|(_, column)| column.kind == ColumnKind::Figures)
        };
        let across: Vec<NumberOver> = figures()
            .filter_map(|(i, column)| {
                number_over(column, first).map(|(value, coordinate)| (i, value, coordinate))
            })
            .collect();
        (across.len() >= 2 && across.len() * 10 >= figures().count() * 8 && !self.axis_stands_again())
            .then_some(across)
    }

    /// Whether the header of the first column, which names an axis, stands over another one, too: those are pairs, whatever numbers stand
    /// in the names above them.
    fn axis_stands_again(&self) -> bool {
        let lowest = |column: &Column| column.heads.last().map(|(text, _)| text.trim().to_owned());
        let Some(first) = self.columns.first().and_then(lowest) else {
            return false;
        };
        super::super::segments::is_axis(&read_column_header(&first))
            && self.columns[1..]
                .iter()
                .any(|column| column.heads.last().is_some_and(|(text, _)| text.trim() == first))
    }

    /// Whether numbers stand over nearly all columns but the first.
    pub(super) fn has_numbers_across(&self) -> bool {
        let Some(first) = self.columns.first() else {
            return false;
        };
        let figures = || {
            self.columns
                .iter()
                .skip(1)
                .filter(|column| column.kind == ColumnKind::Figures)
        };
        let count = figures().count();
        // Without a number over any of the first three no table has them over four of five.
        if figures()
            .take(3)
            .all(|column| number_over(column, first).is_none())
        {
            return false;
        }
        let over = figures()
            .filter(|column| number_over(column, first).is_some())
            .count();
        over >= 2 && over * 10 >= count * 8 && !self.axis_stands_again()
    }

    /// Whether bare numbers over columns that may be wavelengths are names of samples all the same: each row says at which
    /// wavelength it was read, or the words around state one that is none of them, and the numbers count.
    pub(super) fn numbers_are_names(&self, values: &[f64]) -> bool {
        /// So many numbers are a scan.
        const SCAN: usize = 10;
        let text = self.source.text();
        let at_light = |span: &Span| {
            let held = read_column_header(text[span.range()].trim()).held;
            held.iter().any(|held| held.quantity == Quantity::WAVELENGTH)
        };
        let first = &self.columns[0];
        if first.kind == ColumnKind::Words && self.table.grid.words(first.index).iter().all(at_light) {
            return true;
        }
        let stated = self.context.wavelength.as_ref();
        let Some(stated) = stated.and_then(|(value, unit, _)| unit.convert(*value, &Unit::NANOMETRE).ok())
        else {
            return false;
        };
        let counts = values.windows(2).all(|pair| (pair[1] - pair[0]).abs() == 1.0);
        (2..SCAN).contains(&values.len()) && !values.contains(&stated) && counts
    }

    /// Whether the name of every row says that something was measured in it.
    pub(super) fn rows_are_measured(&self) -> bool {
        let text = self.source.text();
        let mut rows = self.table.grid.words(self.columns[0].index).iter();
        rows.all(|span| {
            let head = super::super::columns::head_or_first_word(&text[span.range()]);
            head.quantity
                .is_some_and(|quantity| quantity.is_of_light() || quantity == Quantity::RATE)
        })
    }

    /// Wavelengths down and times across.
    fn time_across(&mut self, across: &[NumberOver], unit: Option<Unit>) -> Option<RunDraft> {
        // Cells that are no numbers are no axis.
        if self.columns[0].kind == ColumnKind::Words && self.columns[0].clock.is_none() {
            return None;
        }
        // `nm\s`: what runs down stands in front.
        // `nm` over `t/min`: the lower head names the times beside it.
        if let [.., (above, _), (lowest, _)] = self.columns[0].heads.as_slice() {
            let (above, lowest) = (read_column_header(above), read_column_header(lowest));
            let light = above
                .quantity
                .filter(|q| matches!(q.as_str(), "wavelength" | "wavenumber"));
            if let Some(quantity) = light.filter(|_| lowest.quantity == Some(Quantity::TIME)) {
                self.columns[0].quantity = Some(quantity);
                self.columns[0].unit = above.unit;
                self.columns[0].quantities_possible.clear();
            }
        }
        let corner = self.columns[0].heads.last().map(|(text, _)| corner_heads(text));
        if self.columns[0].quantity.is_none()
            && let Some((Some((Some(quantity), unit)), Some(_))) = corner
        {
            self.columns[0].quantity = Some(quantity);
            self.columns[0].unit = unit;
            self.columns[0].quantities_possible.clear();
        }
        let (x_quantity, x_unit) = self.x_meaning(0);
        let unit = match unit {
            Some(unit) => unit,
            None => {
                let column = self.columns[across[0].0].clone();
                let labels = self.label_at(&column, "a time");
                self.ask(
                    "time-unit",
                    "the times in the header row have no unit",
                    &[("x=time:s", "seconds"), ("x=time:min", "minutes")],
                    labels,
                );
                Unit::ONE
            }
        };
        let two_parts = |text: &str| {
            matches!(
                super::super::number::cell(text.trim(), Style::POINT),
                super::super::number::Cell::Clock { count: 2, .. }
            )
        };
        let clocked = self.columns[across[0].0]
            .heads
            .iter()
            .any(|(text, _)| two_parts(text));
        let settled = self.source.assume().axis("x").is_some();
        if clocked && !self.context.minutes_and_seconds && !settled {
            let column = self.columns[across[0].0].clone();
            let labels = self.label_at(&column, "a time");
            self.ask(
                "time-unit",
                "the times in the header row have two parts, and nothing says whether they are minutes and seconds or hours and minutes",
                &[("x=time:s", "minutes and seconds"), ("x=time:min", "hours and minutes")],
                labels,
            );
        }
        let roles: Vec<ShapeRole> = self.columns.iter().map(|_| ShapeRole::Measured).collect();
        let mut traces = Vec::with_capacity(across.len());
        let first = across[0].0;
        let mut column = self.columns[first].clone();
        column.quantity = column
            .quantity
            .filter(Quantity::is_of_light)
            .or_else(|| self.columns[0].quantity.clone().filter(Quantity::is_of_light));
        self.columns[first].quantity = column.quantity;
        let meaning = self.y_meaning(first, &x_quantity, &roles);
        for (i, value, coordinate) in across {
            let (kept, values, decimals) = self.kept(*i, &meaning.0, Some(0));
            let x = self.axis(0, &x_quantity, &x_unit, &kept);
            let y = Values {
                quantity: meaning.0.clone(),
                unit: meaning.1.clone(),
                name: self.name(*i),
                values,
                decimals,
            };
            if let Some(mut trace) = self.assemble(x, y, *i, &kept) {
                trace
                    .held
                    .retain(|held| held.quantity != Quantity::UNKNOWN && held.quantity != Quantity::TIME);
                let own = coordinate
                    .as_ref()
                    .filter(|c| c.quantity == Quantity::TIME)
                    .map(|c| c.unit.clone());
                let mut held = Coordinate::new(Quantity::TIME, own.unwrap_or_else(|| unit.clone()), *value);
                if let Some((raw, span)) = self.columns[*i].heads.last() {
                    held.raw = Some(raw.trim().to_owned());
                    held.line = Some(self.source.place(*span).line);
                }
                trace.held.push(held);
                traces.push(trace);
            }
        }
        self.because
            .push("times stand across; each column is a scan".to_owned());
        Some(self.finish(Technique::SPECTRAL_TIME_COURSE, traces))
    }
}

/// The number that stands over a column, and the coordinate it is where its unit, or the name of its row of heads,
/// tells.
fn number_over(column: &Column, first: &Column) -> Option<(f64, Option<Coordinate>)> {
    for (level, (text, _)) in column.heads.iter().enumerate().rev() {
        let text = text.trim();
        // `SD 12 h` is the spread of another column.
        if text
            .split_once(' ')
            .is_some_and(|(first, _)| words::is_statistics(first))
        {
            return None;
        }
        // `1:30` over a scan, in seconds; what two parts are is asked by the caller.
        if let super::super::number::Cell::Clock {
            parts: [a, b, c],
            count,
            ..
        } = super::super::number::cell(text, Style::POINT)
        {
            // `dilution` in front of `1:10` `1:5`: what stands there are no times.
            let of_level = first
                .heads
                .get(level)
                .filter(|_| first.heads.len() == column.heads.len());
            if of_level.is_some_and(|(key, _)| words::field_of(key).is_some_and(|field| field != "time")) {
                continue;
            }
            let seconds = if count == 3 {
                a * 3600.0 + b * 60.0 + c
            } else {
                a * 60.0 + b
            };
            let held = Coordinate::new(Quantity::TIME, Unit::SECOND, seconds);
            return Some((seconds, Some(held)));
        }
        let Some(value) = leading_number(text) else {
            continue;
        };
        let known = column
            .held
            .iter()
            .find(|held| held.quantity != Quantity::UNKNOWN && held.value == value);
        if known.is_some() {
            return Some((value, known.cloned()));
        }
        // `time/min` in front of `0 2 4 8`, where the first column has as many heads.
        if first.heads.len() == column.heads.len() && first.heads.len() > 1 {
            let name = read_column_header(&first.heads[level].0);
            match (name.quantity, name.unit) {
                (Some(quantity), Some(unit)) => {
                    return Some((value, Some(Coordinate::new(quantity, unit, value))));
                }
                _ if level > 0
                    && column.heads[..level]
                        .iter()
                        .any(|(text, _)| leading_number(text.trim()).is_some()) =>
                {
                    continue;
                }
                _ => {}
            }
        }
        return Some((
            value,
            column.held.iter().find(|held| held.value == value).cloned(),
        ));
    }
    // `t = 30 s`, `A(405 nm)`.
    let time = column.held.iter().find(|held| held.quantity == Quantity::TIME);
    // `220 nm [1/m]`: a wavelength and the unit of what was read there.
    let bare = || {
        let light = column
            .held
            .iter()
            .find(|held| held.quantity == Quantity::WAVELENGTH);
        light.filter(|_| column.quantity.is_none() && column.label.is_none() && column.unit.is_some())
    };
    let held = time.or_else(bare)?;
    Some((held.value, Some(held.clone())))
}

/// Numbers across the heads looked over.
struct Spread {
    min: f64,
    max: f64,
    orderly: bool,
    counted: bool,
}

impl Spread {
    pub(super) fn of(values: &[f64]) -> Self {
        let rising = values.windows(2).all(|w| w[0] < w[1]);
        let falling = values.windows(2).all(|w| w[0] > w[1]);
        Self {
            min: values.iter().copied().fold(f64::INFINITY, f64::min),
            max: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            orderly: rising || falling,
            counted: values.iter().enumerate().all(|(i, &v)| v == (i + 1) as f64),
        }
    }

    pub(super) fn like_light(&self) -> bool {
        let light = crate::light::AMONG_OTHERS;
        self.orderly && self.min >= *light.start() && self.max <= *light.end()
    }

    pub(super) fn counts(&self) -> bool {
        self.counted
    }
}
