//! What the running axis is of, and in which unit: from heads, from the words around, from the values, or by asking.

use super::*;
use curvary_record::KnownQuantity;

/// Whether a column under `NM` is one of wavelengths. `NM` is nanometres or nanomoles per litre; nobody makes up a list of
/// concentrations a few nanomoles apart that lie where light lies.
fn is_shouted_nanometres(column: &Column) -> bool {
    let stats = &column.stats;
    column.heads.last().is_some_and(|(head, _)| head.trim() == "NM")
        && stats.orderly()
        && stats.like_nanometres()
        && stats.step.is_some_and(|step| step.abs() <= 20.0)
        // Of the fewest a hundred nanometres are enough.
        && (stats.count >= 8 || stats.count >= 6 && stats.max - stats.min >= 100.0)
}

impl Shaper<'_> {
    /// Takes several columns under `NM` for wavelengths, where each is one by its values: columns side by side.
    pub(super) fn hear_shouted_nanometres(&mut self) {
        let shouted = |column: &&mut Column| column.quantity.is_none() && is_shouted_nanometres(column);
        if self
            .columns
            .iter()
            .filter(|column| is_shouted_nanometres(column))
            .count()
            < 2
        {
            return;
        }
        for column in self.columns.iter_mut().filter(shouted) {
            column.quantity = Some(Quantity::WAVELENGTH);
            column.unit = Some(Unit::NANOMETRE);
            column.quantities_possible.clear();
            column.units_possible.clear();
        }
    }

    /// What the running column is of.
    pub(super) fn x_meaning(&mut self, x: usize) -> (Quantity, Unit) {
        let column = self.columns[x].clone();
        if let Some((quantity, unit)) = self.source.assume().axis("x") {
            self.because
                .push("what the x axis is of was settled, not read".to_owned());
            let unit = unit.or_else(|| column.unit.clone()).unwrap_or(Unit::ONE);
            return (quantity, unit);
        }
        if let Some(clock) = &column.clock {
            if let Some(unit) = &clock.unit {
                let light = column
                    .quantity
                    .clone()
                    .filter(|quantity| *quantity != Quantity::TIME);
                if let Some(quantity) = light.filter(|_| clock.parts == 1) {
                    self.because_once("each row is of a range of the axis");
                    return (quantity, unit.clone());
                }
                self.because_once("the times name their units, and were all put into one");
                return (Quantity::TIME, unit.clone());
            }
            if clock.parts == 2 && self.two_parts_are_hours(&column) {
                // The same sixtieths, of an hour.
                return (Quantity::TIME, Unit::MINUTE);
            }
            if clock.parts == 2 && !self.two_parts_are_minutes(&column) {
                self.ask_x(&column, "time-unit", "the times have two parts, and nothing says whether they are minutes and seconds or hours and minutes", &[
                    ("x=time:s", "minutes and seconds"),
                    ("x=time:min", "hours and minutes"),
                ]);
            }
            return (Quantity::TIME, Unit::SECOND);
        }
        let head = column.heads.last().map(|(text, _)| text.clone());
        let wave = head
            .as_deref()
            .is_some_and(|head| head.trim().eq_ignore_ascii_case("wave"));
        if let Some(quantity) = column.quantity.clone().filter(|_| !wave) {
            let unit = self.x_unit(&column, &quantity);
            self.ask_disputed_time(&column);
            if !self.ask_scale(&column, "x", &quantity) {
                self.doubt_axis(&column, &quantity, &unit);
            }
            if let Some(head) = head {
                self.because
                    .push(format!("x is {quantity}: its header says `{}`", head.trim()));
            }
            return (quantity, unit);
        }
        if is_shouted_nanometres(&column) {
            self.because
                .push("x is wavelength: its header says `NM`, and its values are those of light".to_owned());
            return (Quantity::WAVELENGTH, Unit::NANOMETRE);
        }
        if !column.quantities_possible.is_empty()
            || head
                .as_deref()
                .is_some_and(|head| head.trim().eq_ignore_ascii_case("wave"))
        {
            let spelled = head.unwrap_or_default();
            if light_possible(&column) {
                let message = format!(
                    "the header `{}` names both wavelength and wavenumber, for values from {} to {}",
                    spelled.trim(),
                    column.stats.min,
                    column.stats.max
                );
                self.ask_x(
                    &column,
                    "wavelength-or-wavenumber",
                    &message,
                    &[
                        ("x=wavelength:nm", "wavelengths in nanometres"),
                        ("x=wavenumber:/cm", "wavenumbers in reciprocal centimetres"),
                    ],
                );
                return (Quantity::UNKNOWN, Unit::ONE);
            }
            self.ask_x(
                &column,
                "axis-unknown",
                &format!("the header `{}` may mean several things", spelled.trim()),
                &[
                    ("x=wavelength:nm", "wavelengths in nanometres"),
                    ("x=wavenumber:/cm", "wavenumbers in reciprocal centimetres"),
                    ("x=time:s", "times in seconds"),
                    ("x=temperature:Cel", "temperatures in degrees Celsius"),
                ],
            );
            return (Quantity::UNKNOWN, Unit::ONE);
        }
        if column.stats.orderly()
            && let (Some(head), Ok(day)) = (&head, Unit::ucum("d"))
            && words::is(WordList::Days, head)
        {
            self.because
                .push(format!("x is time in days: its header says `{}`", head.trim()));
            return (Quantity::TIME, day);
        }
        if let Some((quantity, unit)) = self.own_name(&column) {
            self.because
                .push(format!("x is what its header says, in {}", unit.display()));
            return (quantity, unit);
        }
        self.x_meaning_by_values(&column)
    }

    /// A running column whose head has a name and a unit that no axis of ours has keeps both: `Volume added (mL)`.
    fn own_name(&self, column: &Column) -> Option<(Quantity, Unit)> {
        let (text, _) = column.heads.last()?;
        let (name, unit) = crate::column_header::split_unit(text)?;
        let unit = unit::spelled(unit).one()?.clone();
        let known = [
            Quantity::WAVELENGTH,
            Quantity::WAVENUMBER,
            Quantity::TIME,
            Quantity::TEMPERATURE,
            Quantity::CONCENTRATION,
            Quantity::ENERGY,
        ];
        let of_ours = known
            .iter()
            .any(|quantity| super::super::columns::unit_fits(quantity, &unit));
        let named = name.chars().filter(|c| c.is_alphabetic()).count() >= 3;
        (named && !of_ours && column.stats.orderly())
            .then(|| (Quantity::named(name.trim().to_lowercase()), unit))
    }

    /// Asks where the numbers do not suit what the head says they are, or what is stated of the scan.
    fn doubt_axis(&mut self, column: &Column, quantity: &Quantity, unit: &Unit) {
        let stats = column.stats;
        if stats.count == 0 {
            return;
        }
        let nanometres = |value: f64| unit.convert(value, &Unit::NANOMETRE).unwrap_or(value);
        let odd = match quantity.known() {
            // Ultraviolet, visible and near-infrared light, with a wide margin.
            Some(KnownQuantity::Wavelength) => {
                !(stats.min > 0.0 && nanometres(stats.min) >= 100.0 && nanometres(stats.max) <= 5000.0)
            }
            // 5000 nm to 100 nm.
            Some(KnownQuantity::Wavenumber) => {
                !(unit.to_si(stats.min) >= 2e5 && unit.to_si(stats.max) <= 1e7)
            }
            // Photons of UV, visible and near-infrared light.
            Some(KnownQuantity::Energy) if unit.code() == "eV" => !(stats.min > 0.1 && stats.max < 15.0),
            // `Δt` beside each reading is no time that runs.
            Some(KnownQuantity::Time) => stats.count > 2 && stats.min == stats.max && column.clock.is_none(),
            _ => false,
        };
        if odd {
            let message = format!(
                "values from {} to {} do not suit a {quantity} in {}",
                stats.min,
                stats.max,
                unit.display()
            );
            self.ask_x(
                column,
                "values-do-not-suit",
                &message,
                &[
                    ("x=wavelength:nm", "wavelengths in nanometres all the same"),
                    ("x=wavenumber:/cm", "wavenumbers in reciprocal centimetres"),
                    ("x=time:s", "times in seconds"),
                ],
            );
        }
        if *quantity == Quantity::WAVELENGTH
            && let Some((from, to)) = self.context.range
        {
            let (low, high) = (from.min(to), from.max(to));
            let (first, last) = (nanometres(stats.min), nanometres(stats.max));
            // The stated range may be wider or a little narrower than what was written; apart from it is a contradiction.
            if last < low - 1.0 || first > high + 1.0 {
                let message = format!(
                    "the wavelengths run from {first} to {last} nm, but the range is stated as {from} to {to} nm"
                );
                self.ask_x(
                    column,
                    "wavelength-disputed",
                    &message,
                    &[("x=wavelength:nm", "the column is right")],
                );
            }
        }
    }

    pub(super) fn x_unit(&mut self, column: &Column, quantity: &Quantity) -> Unit {
        if let Some(unit) = &column.unit {
            return unit.clone();
        }
        let stats = column.stats;
        match quantity.known() {
            Some(KnownQuantity::Wavelength) => {
                if stats.like_nanometres() {
                    self.because.push(format!(
                        "wavelengths from {} to {} without a unit are nanometres",
                        stats.min, stats.max
                    ));
                    return Unit::NANOMETRE;
                }
                self.ask_x(
                    column,
                    "wavelength-unit",
                    "the wavelengths have no unit, and their values suit none but odd ones",
                    &[
                        ("x=wavelength:nm", "nanometres"),
                        ("x=wavelength:um", "micrometres"),
                        ("x=wavelength:Ao", "ångströms"),
                    ],
                );
                Unit::NANOMETRE
            }
            Some(KnownQuantity::Wavenumber) => {
                if stats.min > 2000.0 {
                    return Unit::PER_CENTIMETRE;
                }
                self.ask_x(
                    column,
                    "wavenumber-unit",
                    "the wavenumbers have no unit",
                    &[("x=wavenumber:/cm", "reciprocal centimetres")],
                );
                Unit::PER_CENTIMETRE
            }
            Some(KnownQuantity::Time) => match self.time_unit_told(column) {
                Some(unit) => unit,
                None => {
                    self.ask_x(
                        column,
                        "time-unit",
                        "the time has no unit",
                        &[
                            ("x=time:s", "seconds"),
                            ("x=time:min", "minutes"),
                            ("x=time:h", "hours"),
                        ],
                    );
                    Unit::ONE
                }
            },
            Some(KnownQuantity::TimeOfDay) => {
                self.ask_x(
                    column,
                    "time-unit",
                    "the header says times of day, but the cells are plain numbers",
                    &[
                        ("x=time:d", "fractions of a day, as sheets keep times"),
                        ("x=time:h", "hours"),
                        ("x=time:s", "seconds"),
                    ],
                );
                Unit::ONE
            }
            Some(KnownQuantity::Concentration) => {
                self.ask_x(
                    column,
                    "concentration-unit",
                    "the concentrations have no unit",
                    &[
                        ("x=concentration:mmol/L", "millimoles per litre"),
                        ("x=concentration:umol/L", "micromoles per litre"),
                        ("x=concentration:g/L", "grams per litre"),
                    ],
                );
                Unit::ONE
            }
            Some(KnownQuantity::Temperature) => {
                self.ask_x(
                    column,
                    "temperature-unit",
                    "the temperatures have no unit",
                    &[
                        ("x=temperature:Cel", "degrees Celsius"),
                        ("x=temperature:K", "kelvins"),
                    ],
                );
                Unit::ONE
            }
            Some(KnownQuantity::Energy) => Unit::ucum("eV").unwrap_or(Unit::ONE),
            Some(KnownQuantity::Ph) => Unit::ucum("[pH]").unwrap_or(Unit::ONE),
            _ => Unit::ONE,
        }
    }

    /// The unit of a time axis without one, where the interval, the duration or a phrase tells it.
    fn time_unit_told(&mut self, column: &Column) -> Option<Unit> {
        if let Some((unit, why)) = unit_of_epoch(column) {
            self.because.push(why.to_owned());
            return Some(unit);
        }
        if let Some(unit) = self.context.stated(&Quantity::TIME) {
            self.because.push(format!(
                "time is in {}: the words around the table say so",
                unit.display()
            ));
            return Some(unit);
        }
        let same = |a: f64, b: f64| (a - b).abs() <= 1e-6 * a.abs().max(b.abs());
        let fits = |seconds: Option<f64>, length: f64, what: &str| {
            let seconds = seconds?;
            [Unit::SECOND, Unit::MINUTE]
                .into_iter()
                .find(|unit| same(unit.to_si(length), seconds))
                .map(|unit| {
                    (
                        unit.clone(),
                        format!(
                            "time is in {}: the {what} of {seconds} s fits its values",
                            unit.display()
                        ),
                    )
                })
        };
        let told = fits(
            self.context.interval,
            column.stats.step.unwrap_or(0.0),
            "interval",
        )
        .or_else(|| {
            fits(
                self.context.duration,
                column.stats.last - column.stats.first,
                "duration",
            )
        });
        told.map(|(unit, why)| {
            self.because.push(why);
            unit
        })
    }

    /// `h:min`, `hh:mm`: the head says that the times are hours and minutes.
    fn two_parts_are_hours(&mut self, column: &Column) -> bool {
        let said = column.heads.iter().any(|(text, _)| {
            let head = text.to_lowercase();
            let form = |form: &String| {
                head.match_indices(form.as_str()).any(|(at, _)| {
                    let alone = !head[..at].ends_with(|c: char| c.is_alphanumeric() || c == ':');
                    alone && !head[at + form.len()..].starts_with(|c: char| c.is_alphanumeric() || c == ':')
                })
            };
            words::words_of(WordList::HoursAndMinutes).iter().any(form)
        }) || self.are_times_of_day(column);
        if said {
            self.because
                .push("the times are hours and minutes: their header says so".to_owned());
        }
        said
    }

    /// Whether the head names times of day, and all are within one.
    fn are_times_of_day(&self, column: &Column) -> bool {
        const SIXTIETHS_OF_A_DAY: f64 = 24.0 * 60.0;
        let named = column
            .heads
            .last()
            .is_some_and(|(text, _)| super::super::columns::is_head_of_clocks(text));
        named && column.stats.min >= 0.0 && column.stats.max < SIXTIETHS_OF_A_DAY
    }

    fn two_parts_are_minutes(&mut self, column: &Column) -> bool {
        let head = column
            .heads
            .iter()
            .map(|(text, _)| text.to_lowercase())
            .collect::<Vec<_>>()
            .join(" ");
        let said = self.context.minutes_and_seconds || words::contains(WordList::MinutesAndSeconds, &head);
        let step = column.stats.step.map(f64::abs);
        let by_interval = self
            .context
            .interval
            .zip(step)
            .is_some_and(|(interval, step)| (interval - step).abs() < 1e-6);
        let by_duration = self
            .context
            .duration
            .is_some_and(|duration| (duration - (column.stats.last - column.stats.first)).abs() < 1e-6);
        let fraction = column.clock.as_ref().is_some_and(|clock| clock.decimals > 0);
        if said || by_interval || by_duration || fraction {
            self.because.push("the times are minutes and seconds".to_owned());
            return true;
        }
        false
    }

    /// What a running column without a head that tells is of: by the words around, and by its values.
    fn x_meaning_by_values(&mut self, column: &Column) -> (Quantity, Unit) {
        let stats = column.stats;
        let context = self.context;
        let near = |a: f64, b: f64| (a - b).abs() <= 1.0 + 1e-3 * b.abs();
        let by_range = context
            .range
            .is_some_and(|(from, to)| near(stats.min, from.min(to)) && near(stats.max, from.max(to)));
        if by_range {
            self.because
                .push("x is wavelength in nm: its ends are those of the range that is stated".to_owned());
            return (Quantity::WAVELENGTH, Unit::NANOMETRE);
        }
        let time_words = context.names(&Quantity::TIME)
            || context.kinetics
            || context.interval.is_some()
            || context.duration.is_some();
        let light_words = context.spectrum
            || context.scans
            || (context.names(&Quantity::WAVELENGTH) && context.wavelength.is_none());
        let like_light = stats.all_in(&crate::light::OF_SPECTRA);
        if light_words && !time_words && like_light {
            self.because.push(format!(
                "x from {} to {} is wavelength in nm: the text around the table mentions a spectrum",
                stats.min, stats.max
            ));
            return (Quantity::WAVELENGTH, Unit::NANOMETRE);
        }
        if (time_words || context.wavelength.is_some()) && !light_words && stats.rising && !like_light {
            if let Some(unit) = self.time_unit_told(column) {
                self.because
                    .push("x is time: the text around the table mentions a time course".to_owned());
                return (Quantity::TIME, unit);
            }
            if time_words {
                self.ask_x(
                    column,
                    "time-unit",
                    "x is time by the words around it, without a unit",
                    &[("x=time:s", "seconds"), ("x=time:min", "minutes")],
                );
                return (Quantity::TIME, Unit::ONE);
            }
        }
        if stats.falling
            && like_light
            && !time_words
            && self.source.assume().is_empty()
            && column.heads.is_empty()
            && context.names(&Quantity::ABSORBANCE)
        {
            self.because.push(format!(
                "x falling from {} to {} is wavelength in nm",
                stats.first, stats.last
            ));
            return (Quantity::WAVELENGTH, Unit::NANOMETRE);
        }
        // `axis: nm, absorbance` in a line of its own says both.
        if let Some((quantity, unit)) = context.axes.clone().filter(|_| column.heads.is_empty()) {
            let suits = quantity == Quantity::TIME || stats.like_nanometres();
            if suits && stats.orderly() {
                self.because
                    .push(format!("x is {quantity}: a line of words names both axes"));
                return (quantity, unit);
            }
        }
        let labels = self.label_at(column, "the x column");
        let message = format!(
            "the x column (from {} to {}) has no name or unit that is known",
            stats.first, stats.last
        );
        let mut offers = fitting::axes();
        if !like_light && !stats.falling {
            offers.push(fitting::Offer {
                quantity: Quantity::CONCENTRATION,
                unit: Unit::ucum("umol/L").unwrap_or(Unit::ONE),
                says: "concentrations, here in micromoles per litre",
            });
        }
        self.ask_offers("axis-unknown", &message, "x", offers, column, labels);
        (Quantity::UNKNOWN, Unit::ONE)
    }

    fn ask_x(&mut self, column: &Column, code: &'static str, message: &str, readings: &[(&str, &str)]) {
        let labels = self.label_at(column, "the x column");
        self.ask(code, message, readings, labels);
    }

    pub(super) fn technique_of(&self, x: &Quantity, ys: &[usize]) -> Technique {
        let rate = ys
            .iter()
            .any(|&y| self.columns[y].quantity == Some(Quantity::RATE));
        match x.as_str() {
            "wavelength" | "wavenumber" | "energy" => {
                let head_peaks = self
                    .columns
                    .iter()
                    .any(|c| c.heads.iter().any(|(text, _)| is_peak_word(text)));
                let stats = self
                    .columns
                    .iter()
                    .find(|c| c.quantity.as_ref() == Some(x))
                    .map(|c| c.stats);
                let uneven = stats.is_none_or(|s| s.step.is_none() || s.count <= 2);
                // A remark on a peak beside a whole spectrum makes no list of peaks of it.
                let most = if head_peaks { 60 } else { 25 };
                if (head_peaks || self.context.peaks) && uneven && self.table.grid.rows <= most {
                    Technique::PEAK_LIST
                } else {
                    Technique::SPECTRUM
                }
            }
            "time" => Technique::TIME_COURSE,
            "concentration" if rate => Technique::RATE_SERIES,
            "concentration" | "index" => Technique::FIXED_WAVELENGTH,
            // Whichever of the two it is, it is a spectrum.
            _ if self.columns.iter().any(light_possible) => Technique::SPECTRUM,
            _ => Technique::UNKNOWN,
        }
    }
}

fn is_peak_word(text: &str) -> bool {
    let lower = text.to_lowercase();
    words::contains(WordList::Peak, &lower)
        || lower
            .split_whitespace()
            .any(|word| word == "pic" || word == "pics")
}

/// Whether a head leaves open only which measure of light runs: `Wavelength (cm-1)`.
fn light_possible(column: &Column) -> bool {
    !column.quantities_possible.is_empty()
        && column
            .quantities_possible
            .iter()
            .all(|quantity| *quantity == Quantity::WAVELENGTH || *quantity == Quantity::WAVENUMBER)
}

/// The unit of times since 1970, which POSIX.1 counts in seconds ("seconds since the Epoch" in its general concepts; from memory), and several languages in
/// thousandths; only where the header says that they are such, and the numbers are those of the years 2001 to 2033.
fn unit_of_epoch(column: &Column) -> Option<(Unit, &'static str)> {
    const NAMES: [&str; 3] = ["unix", "epoch", "posix"];
    let says = |(head, _): &(String, Span)| {
        let head = head.to_lowercase();
        NAMES.iter().any(|name| head.contains(name))
    };
    let within = |unit: f64| column.stats.min >= 1e9 * unit && column.stats.max < 2e9 * unit;
    if !column.heads.iter().any(says) {
        None
    } else if within(1.0) {
        Some((
            Unit::SECOND,
            "times since 1970 are in seconds: POSIX defines them so",
        ))
    } else if within(1e3) {
        Some((
            Unit::ucum("ms").ok()?,
            "times since 1970 are in milliseconds: their size says so",
        ))
    } else {
        None
    }
}
