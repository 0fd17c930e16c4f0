//! What an axis is of, and in which unit: from heads, from the words around, from the values, or by asking.

use super::*;

impl Shaper<'_> {
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
                self.ask_x(&column, "time-unit", "the times have two parts, and nothing tells whether they are minutes and seconds or hours and minutes", &[
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
                    .push(format!("x is {quantity}: its head says `{}`", head.trim()));
            }
            return (quantity, unit);
        }
        // `NM` is nanometres or nanomoles per litre; nobody makes up fifty concentrations two apart.
        let listed = column.stats.orderly()
            && column.stats.like_nanometres()
            && column.stats.step.is_some_and(|step| step.abs() <= 20.0)
            && column.stats.count >= 8;
        if head.as_deref().is_some_and(|head| head.trim() == "NM") && listed {
            self.because
                .push("x is wavelength: its head says `NM`, and its values are those of light".to_owned());
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
                    "the head `{}` speaks of wavelength and of wavenumber, for values from {} to {}",
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
                &format!("the head `{}` may mean several things", spelled.trim()),
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
            && words::is(List::Days, head)
        {
            self.because
                .push(format!("x is time in days: its head says `{}`", head.trim()));
            return (Quantity::TIME, day);
        }
        if let Some((quantity, unit)) = self.own_name(&column) {
            self.because
                .push(format!("x is what its head says, in {}", unit.display()));
            return (quantity, unit);
        }
        self.x_meaning_by_values(&column)
    }

    /// A running column whose head has a name and a unit that no axis of ours has keeps both: `Volume added (mL)`.
    fn own_name(&self, column: &Column) -> Option<(Quantity, Unit)> {
        let (text, _) = column.heads.last()?;
        let (name, unit) = crate::head::split_unit(text)?;
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
        let odd = match quantity.as_str() {
            // Ultraviolet, visible and near-infrared light, with a wide margin.
            "wavelength" => {
                !(stats.min > 0.0 && nanometres(stats.min) >= 100.0 && nanometres(stats.max) <= 5000.0)
            }
            // 5000 nm to 100 nm.
            "wavenumber" => !(unit.to_si(stats.min) >= 2e5 && unit.to_si(stats.max) <= 1e7),
            // Photons of UV, visible and near-infrared light.
            "energy" if unit.code() == "eV" => !(stats.min > 0.1 && stats.max < 15.0),
            // `Δt` beside each reading is no time that runs.
            "time" => stats.count > 2 && stats.min == stats.max && column.clock.is_none(),
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
        match quantity.as_str() {
            "wavelength" => {
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
            "wavenumber" => {
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
            "time" => match self.time_unit_told(column) {
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
            "concentration" => {
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
            "temperature" => {
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
            "energy" => Unit::ucum("eV").unwrap_or(Unit::ONE),
            "ph" => Unit::ucum("[pH]").unwrap_or(Unit::ONE),
            _ => Unit::ONE,
        }
    }

    /// The unit of a time axis without one, where the interval, the duration or a phrase tells it.
    fn time_unit_told(&mut self, column: &Column) -> Option<Unit> {
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
            words::words_of(List::HoursAndMinutes).iter().any(form)
        });
        if said {
            self.because
                .push("the times are hours and minutes: their head says so".to_owned());
        }
        said
    }

    fn two_parts_are_minutes(&mut self, column: &Column) -> bool {
        let head = column
            .heads
            .iter()
            .map(|(text, _)| text.to_lowercase())
            .collect::<Vec<_>>()
            .join(" ");
        let said = self.context.minutes_and_seconds || words::contains(List::MinutesAndSeconds, &head);
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
        let like_light = stats.like_nanometres() && stats.max <= 1400.0 && stats.min >= 150.0;
        if light_words && !time_words && like_light {
            self.because.push(format!(
                "x from {} to {} is wavelength in nm: the words around speak of a spectrum",
                stats.min, stats.max
            ));
            return (Quantity::WAVELENGTH, Unit::NANOMETRE);
        }
        if (time_words || context.wavelength.is_some()) && !light_words && stats.rising && !like_light {
            if let Some(unit) = self.time_unit_told(column) {
                self.because
                    .push("x is time: the words around speak of a time course".to_owned());
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
        let labels = self.label_at(column, "the running column");
        let message = format!(
            "nothing tells what the running column (from {} to {}) is",
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
        let labels = self.label_at(column, "the running column");
        self.ask(code, message, readings, labels);
    }

    /// What a measured column is of.
    pub(super) fn y_meaning(&mut self, y: usize, x_quantity: &Quantity, roles: &[Role]) -> (Quantity, Unit) {
        let column = self.columns[y].clone();
        let head = column
            .heads
            .last()
            .map_or("", |(text, _)| text.as_str())
            .trim()
            .to_owned();
        let assumed = self.source.assume().axis("y");
        let quantity = match (&column.quantity, roles[y]) {
            (Some(quantity), Role::Measured)
                if !matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy" | "time") =>
            {
                Some(quantity.clone())
            }
            // `α (cm-1)` over a wavelength: the unit alone made a wavenumber of it.
            (Some(quantity), Role::Coordinate)
                if *quantity == Quantity::WAVENUMBER && !says_wavenumber(&head) =>
            {
                let name = crate::head::split_unit(&head).map_or(head.as_str(), |(name, _)| name);
                Some(Quantity::named(name.to_lowercase()))
            }
            (Some(quantity), Role::Beside | Role::Open | Role::Coordinate) => Some(quantity.clone()),
            _ => None,
        };
        // An intensity may be of light that came through, was emitted or scattered: what was measured is asked.
        let intensity = quantity
            .as_ref()
            .is_some_and(|quantity| quantity.as_str() == "intensity");
        let quantity = quantity.filter(|_| !intensity);
        let measured = roles[y] == Role::Measured || roles[y] == Role::Open;
        if (quantity.is_none() || measured)
            && let Some((quantity, unit)) = assumed
        {
            let unit = unit.unwrap_or_else(|| customary_unit(&quantity));
            return (quantity, unit);
        }
        let spread = self.is_spread(&column);
        if let Some((text, _)) = column
            .heads
            .iter()
            .rev()
            .find(|(text, _)| words::is_statistics(text) || is_error_word(text) || spread)
        {
            // A mean or deviation beside its readings is kept under its own name; alone, it says not what it is of.
            let measured = self.columns.iter().any(|c| {
                c.quantity
                    .as_ref()
                    .is_some_and(|q| q.is_of_light() || *q == Quantity::RATE)
            }) || self.context.quantities.iter().any(Quantity::is_of_light);
            let (name, unit) = (text.trim().to_lowercase(), column.unit.clone());
            if !measured && roles.iter().all(|role| *role != Role::Names) {
                self.ask_measured(&column);
            }
            // `min` is the least here, and no minute.
            let unit = unit.filter(|unit| !unit.converts_to(&Unit::SECOND));
            return (Quantity::named(name), unit.unwrap_or(Unit::ONE));
        }
        if let Some(other) = self.context.abbreviated(&head).filter(|_| assumed.is_none()) {
            return self.ask_named_around(&column, &other);
        }
        // `Abs / %T`: the header itself leaves it open, and no word around it decides.
        let left_open = |quantity| column.quantities_possible.contains(quantity);
        if quantity.is_none() && left_open(&Quantity::ABSORBANCE) && left_open(&Quantity::TRANSMITTANCE) {
            return self.ask_measured(&column);
        }
        if let Some(quantity) = quantity {
            if !self.ask_scale(&column, "y", &quantity) {
                self.doubt_measured(&column, &quantity);
            }
            let unit = match quantity.as_str() {
                "absorbance" => column
                    .unit
                    .clone()
                    .filter(|unit| *unit != Unit::ONE)
                    .unwrap_or(Unit::ABSORBANCE),
                "transmittance" | "reflectance" => self.percent_or_fraction(&column, &quantity),
                "rate" => column.unit.clone().unwrap_or_else(|| {
                    self.ask(
                        "rate-unit",
                        "the rates have no unit",
                        &[
                            ("y=rate:{AU}/min", "absorbance per minute"),
                            ("y=rate:umol/L/min", "micromoles per litre and minute"),
                        ],
                        Vec::new(),
                    );
                    Unit::ONE
                }),
                _ => column.unit.clone().unwrap_or_else(|| customary_unit(&quantity)),
            };
            return (quantity, unit);
        }
        // A stated unit outweighs the words: `A (cm-1)` is no absorbance, whatever stands around it.
        if let Some(unit) = column
            .unit
            .clone()
            .filter(|unit| !intensity && !super::super::columns::unit_fits(&Quantity::ABSORBANCE, unit))
        {
            return self.own_quantity(&column, &head, unit);
        }
        // What a reading should have been was not measured.
        if words::is(List::Target, &head) {
            return (Quantity::named(head.to_lowercase()), Unit::ONE);
        }
        // Beside a column that says what it is, a column of another name keeps its own.
        let others_told = roles.iter().enumerate().any(|(i, role)| {
            i != y
                && *role == Role::Measured
                && self.columns[i]
                    .quantity
                    .as_ref()
                    .is_some_and(Quantity::is_of_light)
        });
        let has_words = head.chars().any(char::is_alphabetic);
        if others_told && has_words && column.held.is_empty() && x_quantity != &Quantity::UNKNOWN {
            return (
                Quantity::named(head.to_lowercase()),
                column.unit.clone().unwrap_or(Unit::ONE),
            );
        }
        let names = |quantity: &Quantity| {
            self.context.names(quantity)
                || self.over_all.as_ref() == Some(quantity)
                || self.columns.iter().any(|c| c.quantity.as_ref() == Some(quantity))
        };
        let (absorbance, transmittance) = (names(&Quantity::ABSORBANCE), names(&Quantity::TRANSMITTANCE));
        if let Some(other) = self.context.others.first().cloned().filter(|_| !intensity) {
            return self.ask_named_around(&column, &other);
        }
        match (absorbance, transmittance) {
            _ if intensity => self.ask_measured(&column),
            (true, false) => {
                self.because_once("y is absorbance: the words around the table say so");
                if !self.ask_scale(&column, "y", &Quantity::ABSORBANCE) {
                    self.doubt_measured(&column, &Quantity::ABSORBANCE);
                }
                (Quantity::ABSORBANCE, Unit::ABSORBANCE)
            }
            (false, true) => {
                self.because_once("y is transmittance: the words around the table say so");
                let unit = self.percent_or_fraction(&column, &Quantity::TRANSMITTANCE);
                (Quantity::TRANSMITTANCE, unit)
            }
            _ => self.ask_measured(&column),
        }
    }

    /// Whether the label of a column says that it is the spread of another. Short words in small letters need what they
    /// are the spread of beside them: `sem` is Portuguese for without.
    fn is_spread(&self, column: &Column) -> bool {
        let Some(label) = column
            .label
            .as_deref()
            .filter(|label| words::is(List::Spread, label))
        else {
            return false;
        };
        // Behind a symbol, `A405 sem`, it is no word of a language.
        let name = column.heads.last().map_or("", |(text, _)| text.trim());
        let letters = name.chars().take_while(|c| c.is_alphabetic()).count();
        let small = label.chars().count() <= 3 && !label.contains(char::is_uppercase) && letters > 3;
        let mean_of_it = |other: &Column| {
            other.index != column.index
                && other.quantity == column.quantity
                && other.held == column.held
                && other.label.as_deref().is_none_or(words::is_statistics)
        };
        !small || self.columns.iter().any(mean_of_it)
    }

    /// Asks whether a column is of the other optical quantity that the words around the table name.
    fn ask_named_around(&mut self, column: &Column, other: &Quantity) -> (Quantity, Unit) {
        let units: &[&str] = match other.as_str() {
            "molar-absorption-coefficient" => &["L/mol/cm", "m2/mol"],
            "absorption-cross-section" => &["cm2", "m2"],
            "absorption-coefficient" => &["/cm", "/m"],
            "specific-absorption" => &["L/g/cm"],
            "attenuation" => &["dB/m", "/cm"],
            _ => &["1"],
        };
        let name = other.as_str().replace('-', " ");
        let texts: Vec<(String, String)> = units
            .iter()
            .map(|unit| {
                let shown = Unit::ucum(unit).map_or_else(|_| String::new(), |unit| unit.display());
                (
                    format!("y={other}:{unit}"),
                    format!("{name} in {shown}").trim_end_matches(" in ").to_owned(),
                )
            })
            .collect();
        let mut readings: Vec<(&str, &str)> = texts
            .iter()
            .map(|(answer, says)| (answer.as_str(), says.as_str()))
            .collect();
        if fitting::fits_values(&Quantity::ABSORBANCE, &Unit::ABSORBANCE, &column.stats) {
            readings.push(("y=absorbance:{AU}", "absorbance"));
        }
        readings.push(NOT_A_MEASUREMENT);
        let labels = self.label_at(column, "the measured column");
        let message = format!(
            "the words around the table name the {name}, and the header does not say what was measured (values from {} to {})",
            column.stats.min, column.stats.max
        );
        self.ask("absorbance-or-other", &message, &readings, labels);
        (Quantity::UNKNOWN, Unit::ONE)
    }

    /// The quantity of a column whose unit is none of absorbance: its own name. Where its word says absorbance, one of the
    /// two is wrong, and which is asked.
    fn own_quantity(&mut self, column: &Column, head: &str, unit: Unit) -> (Quantity, Unit) {
        let name = crate::head::split_unit(head)
            .map_or(head, |(name, _)| name)
            .trim();
        let contradicts = column.quantities_possible.iter().any(Quantity::is_of_light);
        let per_length = unit.converts_to(&Unit::PER_CENTIMETRE);
        let quantity = if contradicts && per_length {
            Quantity::named("absorption-coefficient")
        } else if contradicts {
            Quantity::UNKNOWN
        } else {
            Quantity::named(name.to_lowercase())
        };
        if contradicts {
            let word = column
                .quantities_possible
                .iter()
                .find(|quantity| quantity.is_of_light())
                .cloned()
                .unwrap_or(Quantity::ABSORBANCE);
            let whole: Vec<&str> = column.heads.iter().map(|(text, _)| text.trim()).collect();
            let message = format!(
                "the header `{}` names the {word}, but {} is no unit of it",
                whole.join(" "),
                unit.display()
            );
            let own = if quantity == Quantity::UNKNOWN {
                format!("y=signal:{unit}")
            } else {
                format!("y={quantity}:{unit}")
            };
            let says = if quantity == Quantity::UNKNOWN {
                "the unit is right: a signal of the detector"
            } else {
                "the unit is right: an absorption for each length"
            };
            let by_word = format!("y={word}:{}", customary_unit(&word));
            let readings = [
                (own.as_str(), says),
                (by_word.as_str(), "the word is right, and the unit is wrong"),
                NOT_A_MEASUREMENT,
            ];
            let labels = self.label_at(column, "the word and the unit disagree");
            self.ask("unit-does-not-suit", &message, &readings, labels);
        }
        (quantity, unit)
    }

    /// Asks what was measured, with the choices that its numbers allow, likeliest first.
    pub(super) fn ask_measured(&mut self, column: &Column) -> (Quantity, Unit) {
        // What a person has settled is not asked again, whatever the numbers.
        if let Some((quantity, unit)) = self.source.assume().axis("y") {
            return (quantity, unit.unwrap_or(Unit::ONE));
        }
        let labels = self.label_at(column, "the measured column");
        let stats = column.stats;
        let message = format!(
            "nothing tells what was measured (values from {} to {})",
            stats.min, stats.max
        );
        self.ask_offers(
            "absorbance-or-transmittance",
            &message,
            "y",
            fitting::measured(),
            column,
            labels,
        );
        (Quantity::UNKNOWN, Unit::ONE)
    }

    /// Asks with those of the choices that the numbers of a column allow, in the order of the evidence; that it is no
    /// measurement is always one.
    fn ask_offers(
        &mut self,
        code: &'static str,
        message: &str,
        axis: &str,
        mut offers: Vec<fitting::Offer>,
        column: &Column,
        labels: Vec<Label>,
    ) {
        offers.retain(|offer| fitting::fits_values(&offer.quantity, &offer.unit, &column.stats));
        // A stated unit is never thrown away.
        if let Some(unit) = column.unit.as_ref().filter(|unit| **unit != Unit::ONE) {
            let stated: Vec<fitting::Offer> = fitting::axes()
                .into_iter()
                .chain(fitting::measured())
                .chain(fitting::reflected())
                .filter(|offer| offer.unit == *unit && (axis == "x") != offer.quantity.is_of_light())
                .collect();
            if !stated.is_empty() {
                offers = stated;
            }
        }
        let ledger = self.weigh();
        let about = crate::evidence::Target::Column(column.index + 1);
        let role = |offer: &fitting::Offer| match axis {
            "x" => crate::evidence::Role::Axis(offer.quantity.clone()),
            _ => crate::evidence::Role::Measured(offer.quantity.clone()),
        };
        // Of two alike the more usual one stays first.
        offers.sort_by_key(|offer| std::cmp::Reverse(ledger.balance(about, &role(offer))));
        let texts: Vec<(String, &str)> = offers
            .iter()
            .map(|offer| (format!("{axis}={}:{}", offer.quantity, offer.unit), offer.says))
            .collect();
        let mut readings: Vec<(&str, &str)> = texts
            .iter()
            .map(|(answer, says)| (answer.as_str(), *says))
            .collect();
        if axis == "x" && (readings.is_empty() || column.stats.counts()) {
            readings.push(("x=index", "a mere count"));
        }
        readings.push(NOT_A_MEASUREMENT);
        self.ask(code, message, &readings, labels);
    }

    /// Asks what a power of ten in a head means: that the numbers were multiplied by it, or that they are to be. Says
    /// whether there is one.
    fn ask_scale(&mut self, column: &Column, axis: &str, quantity: &Quantity) -> bool {
        let heads = column.heads.iter().rev().map(|(text, _)| text);
        let title = self.context.scaled.as_ref().filter(|_| quantity.is_of_light());
        let Some((head, power)) = heads
            .chain(title)
            .filter_map(|text| Some((text.trim().to_owned(), crate::head::scale_of(text)?)))
            .next()
        else {
            return false;
        };
        let unit = column.unit.clone().unwrap_or_else(|| customary_unit(quantity));
        let as_written = format!("{axis}={quantity}:{unit}");
        let scaled = format!("{axis}={quantity}:10*-{}", power.abs());
        let link = if unit.code().starts_with('/') { "" } else { "." };
        let [up, down] =
            [power.abs(), -power.abs()].map(|power| format!("{axis}={quantity}:10*{power}{link}{unit}"));
        let mut readings = vec![(as_written.as_str(), "as they stand, the factor left aside")];
        if *quantity == Quantity::ABSORBANCE {
            readings.insert(0, (scaled.as_str(), "in so small a part of one"));
        } else if !quantity.is_of_light() && unit != Unit::ONE {
            readings.insert(0, (down.as_str(), "in so small a part of the unit"));
            readings.insert(0, (up.as_str(), "in so large a multiple of the unit"));
        }
        let labels = self.label_at(column, "a factor in the head");
        let message = format!(
            "the head `{head}` has a factor of ten to the {power}: were the numbers multiplied by it?"
        );
        self.ask("scale-in-head", &message, &readings, labels);
        true
    }

    /// Asks where the numbers do not suit an absorbance: no detector tells more than ten, and noise is not below minus one.
    fn doubt_measured(&mut self, column: &Column, quantity: &Quantity) {
        let scale = column.unit.as_ref().map_or(1.0, |unit| unit.to_si(1.0));
        if *quantity != Quantity::ABSORBANCE || self.source.assume().get("y").is_some() {
            return;
        }
        let plausible = |value: f64| value * scale <= 10.0 && value * scale >= -2.0;
        // No detector tells a hundred-thousandth: a current in amperes, or a power of ten that is not stated.
        let greatest = column.stats.max.abs().max(column.stats.min.abs()) * scale;
        if column.stats.count >= 3 && greatest > 0.0 && greatest < 5e-5 {
            let labels = self.label_at(column, "the header says absorbance");
            let message = format!(
                "values from {} to {} are too small for an absorbance",
                column.stats.min, column.stats.max
            );
            let readings = [
                ("y=absorbance:{AU}", "absorbance all the same"),
                NOT_A_MEASUREMENT,
            ];
            self.ask("values-do-not-suit", &message, &readings, labels);
            return;
        }
        // The least and the greatest tell of all.
        if plausible(column.stats.min) && plausible(column.stats.max) {
            return;
        }
        let is_sentinel = sentinel_of(self.context, quantity, column.unit.as_ref());
        let values = self
            .table
            .grid
            .column(column.index)
            .filter(|value| !value.is_nan() && !is_sentinel(*value));
        let (mut bad, mut all) = (0_usize, 0_usize);
        for value in values {
            all += 1;
            bad += usize::from(!plausible(value));
        }
        // Single values out of range are told elsewhere; a column of them is no absorbance.
        if bad * 4 > all {
            let labels = self.label_at(column, "the head says absorbance");
            let message = format!(
                "values from {} to {} do not suit an absorbance",
                column.stats.min, column.stats.max
            );
            self.ask(
                "values-do-not-suit",
                &message,
                &[
                    ("y=transmittance:%", "transmittance in percent"),
                    ("y=absorbance:10*-3", "absorbance in thousandths"),
                    ("y=absorbance:{AU}", "absorbance all the same"),
                ],
                labels,
            );
        } else if bad > 0 {
            let row = (0..self.table.grid.rows).find(|&row| {
                let value = self.table.grid.figure(row, column.index);
                !value.is_nan() && !is_sentinel(value) && !plausible(value)
            });
            let line = row.map_or(0, |row| self.table.grid.line(row));
            let remark = Diagnostic::warning(
                Code::new("value-out-of-range"),
                format!(
                    "{} far above the range of any detector: damaged numbers or a lost decimal sign",
                    if bad == 1 {
                        "1 absorbance lies".to_owned()
                    } else {
                        format!("{bad} absorbances lie")
                    }
                ),
            )
            .at(Place::line(line), "the first of them")
            .help("the numbers are kept as they stand; a note can correct them");
            if !self.remarks.contains(&remark) {
                self.remarks.push(remark);
            }
        }
    }

    fn percent_or_fraction(&mut self, column: &Column, quantity: &Quantity) -> Unit {
        if let Some(unit) = &column.unit {
            let stats = &column.stats;
            // So little light tells no instrument a curve: a fraction under a wrong unit, or an absorbance.
            if *unit == Unit::PERCENT && stats.count >= 8 && (0.1..=1.5).contains(&stats.max) {
                let message = format!(
                    "the head says percent, but the values go from {} to {} only",
                    stats.min, stats.max
                );
                let readings = [
                    (format!("y={quantity}:1"), "a fraction of one"),
                    (format!("y={quantity}:%"), "percent all the same"),
                    ("y=absorbance:{AU}".to_owned(), "an absorbance under a wrong head"),
                ];
                let readings: Vec<(&str, &str)> = readings
                    .iter()
                    .map(|(answer, says)| (answer.as_str(), *says))
                    .collect();
                let labels = self.label_at(column, "the head says percent");
                self.ask("percent-or-fraction", &message, &readings, labels);
            }
            return unit.clone();
        }
        if self.context.percent || column.stats.max > 2.0 {
            return Unit::PERCENT;
        }
        let readings = [
            ("y=transmittance:1", "a fraction of one"),
            ("y=transmittance:%", "percent"),
        ];
        let labels = self.label_at(column, "without a unit");
        self.ask(
            "percent-or-fraction",
            &format!("the {quantity} may be a fraction or in percent"),
            &readings,
            labels,
        );
        Unit::ONE
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

/// Whether a head names a wavenumber by word or symbol, not by its unit alone.
fn says_wavenumber(head: &str) -> bool {
    let name = crate::head::split_unit(head).map_or(head, |(name, _)| name);
    read_head(name).quantity == Some(Quantity::WAVENUMBER)
}

fn is_peak_word(text: &str) -> bool {
    let lower = text.to_lowercase();
    words::contains(List::Peak, &lower)
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

/// Headers of a column of errors, with or without a unit of percent.
fn is_error_word(text: &str) -> bool {
    let text = text
        .trim()
        .trim_end_matches(['.', '%', ' ', '(', ')', '[', ']'])
        .to_lowercase();
    words::words_of(List::Error).contains(&text)
}
