//! What was measured, and in which unit: from heads, from the words around, from the values, or by asking.

use super::*;
use curvary_record::KnownQuantity;

impl Shaper<'_> {
    /// Whether a word over a column stands over one that runs as well.
    fn names_an_axis_too(&self, y: usize, word: &str) -> bool {
        let runs = |column: &Column| {
            column
                .quantity
                .as_ref()
                .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "time"))
        };
        self.columns.iter().enumerate().any(|(place, column)| {
            let names = |(text, _): &(String, Span)| text == word || begins_alike(text, word);
            place != y && runs(column) && column.heads.iter().any(names)
        })
    }

    /// Whether a header is a word with a number, and another column has the same word with another number: `R2` beside `R1` is a
    /// replicate, and no coefficient of determination.
    fn is_numbered_like_others(&self, y: usize, text: &str) -> bool {
        fn parted(text: &str) -> Option<(&str, &str)> {
            let text = text.trim();
            let stem = text.trim_end_matches(|c: char| c.is_ascii_digit());
            let number = &text[stem.len()..];
            (stem.ends_with(char::is_alphabetic) && !number.is_empty()).then_some((stem, number))
        }
        let Some((stem, number)) = parted(text) else {
            return false;
        };
        self.columns.iter().enumerate().any(|(place, other)| {
            let beside = |(text, _): &(String, Span)| {
                parted(text).is_some_and(|(other, another)| other == stem && another != number)
            };
            place != y && other.kind == ColumnKind::Figures && other.heads.iter().any(beside)
        })
    }

    /// Whether a word of quite another quantity, `Sonne` over a spectrum, is a name: what is around the table says that it is of
    /// absorbance, no header does, and the numbers may be.
    fn is_name_over_light(&self, column: &Column, named: &Quantity, x_quantity: &Quantity) -> bool {
        let over_light = *x_quantity == Quantity::WAVELENGTH || *x_quantity == Quantity::WAVENUMBER;
        let unit = column.unit.as_ref().filter(|unit| **unit != Unit::ONE);
        let other = !words::is_ours(named) && !words::is_optical(named) && unit.is_none();
        let told = |column: &Column| column.quantity.as_ref().is_some_and(Quantity::is_of_light);
        over_light
            && other
            && words::is_of_another_trade(named)
            && self.context.names(&Quantity::ABSORBANCE)
            && !self.columns.iter().any(told)
            && fitting::fits_values(&Quantity::ABSORBANCE, &Unit::ABSORBANCE, &column.stats)
    }

    /// Whether the readings beside a column are named by the wavelength that each was taken at, two of them at least.
    fn names_readings_by_wavelength(&self, y: usize) -> bool {
        let at = |column: &Column| {
            let light = column
                .held
                .iter()
                .find(|held| held.quantity == Quantity::WAVELENGTH)?;
            Some(light.value)
        };
        let beside = self.columns.iter().enumerate().filter(|(place, _)| *place != y);
        let mut wavelengths: Vec<f64> = beside.filter_map(|(_, column)| at(column)).collect();
        wavelengths.sort_by(f64::total_cmp);
        wavelengths.dedup();
        wavelengths.len() >= 2
    }

    /// What was settled about what was measured.
    fn assumed_y(&self) -> Option<(Quantity, Option<Unit>)> {
        if self.unsettled {
            return None;
        }
        self.source.assume().axis("y")
    }

    /// What a measured column is of where nothing needs to be asked about it.
    fn in_no_doubt(
        &mut self,
        y: usize,
        x_quantity: &Quantity,
        roles: &[ShapeRole],
    ) -> Option<(Quantity, Unit)> {
        let questions = std::mem::take(&mut self.questions);
        let (because, remarks) = (self.because.len(), self.remarks.len());
        self.unsettled = true;
        let own = self.y_meaning(y, x_quantity, roles);
        self.unsettled = false;
        let asked = !std::mem::replace(&mut self.questions, questions).is_empty();
        if asked {
            self.because.truncate(because);
            self.remarks.truncate(remarks);
        }
        (!asked).then_some(own)
    }

    /// What a measured column is of.
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    pub(super) fn y_meaning(
        &mut self,
        y: usize,
        x_quantity: &Quantity,
        roles: &[ShapeRole],
    ) -> (Quantity, Unit) {
        let column = self.columns[y].clone();
        let head = column
            .heads
            .last()
            .map_or("", |(text, _)| text.as_str())
            .trim()
            .to_owned();
        let assumed = self.assumed_y();
        let quantity = match (&column.quantity, roles[y]) {
            (Some(quantity), ShapeRole::Measured)
                if !matches!(quantity.as_str(), "wavelength" | "wavenumber" | "energy" | "time") =>
            {
                Some(quantity.clone())
            }
            // `α (cm-1)` over a wavelength: the unit alone made a wavenumber of it.
            (Some(quantity), ShapeRole::Coordinate)
                if *quantity == Quantity::WAVENUMBER && !says_wavenumber(&head) =>
            {
                let name = crate::column_header::split_unit(&head).map_or(head.as_str(), |(name, _)| name);
                Some(Quantity::named(name.to_lowercase()))
            }
            (Some(quantity), ShapeRole::Beside | ShapeRole::Open | ShapeRole::Coordinate) => {
                Some(quantity.clone())
            }
            _ => None,
        };
        let quantity = quantity.filter(|named| !self.is_name_over_light(&column, named, x_quantity));
        // `Intensity` or `Car` behind `420 nm`, `520 nm`: readings are named by their wavelengths there, and it is none of them.
        if quantity
            .as_ref()
            .is_none_or(|named| named.as_str() == "intensity")
            && assumed.is_none()
            && column.unit.is_none()
            && column.held.is_empty()
            && !head.starts_with(|c: char| c.is_ascii_digit())
            && !words::is_blank(&head)
            && x_quantity != &Quantity::UNKNOWN
            && self.names_readings_by_wavelength(y)
        {
            let named = head.chars().any(char::is_alphabetic);
            return if named {
                (named_as(&head), Unit::ONE)
            } else {
                self.ask_measured(&column)
            };
        }
        // An intensity may be of light that came through, was emitted or scattered: what was measured is asked.
        let intensity = quantity
            .as_ref()
            .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Intensity));
        let quantity = quantity.filter(|_| !intensity);
        let measured = roles[y] == ShapeRole::Measured || roles[y] == ShapeRole::Open;
        if (quantity.is_none() || measured)
            && let Some((meant, unit)) = assumed
        {
            // A column that says what it is, beside one that does not, was not asked about.
            if quantity
                .as_ref()
                .is_some_and(|own| own.is_of_light() || *own == Quantity::RATE)
                && let Some(own) = self.in_no_doubt(y, x_quantity, roles)
            {
                return own;
            }
            let unit = unit.unwrap_or_else(|| customary_unit(&meant));
            return (meant, unit);
        }
        if self.may_be_read_at(&head, quantity.as_ref(), &column) {
            return self.ask_read_at(&column, &head);
        }
        let names_a_sample = column
            .heads
            .iter()
            .any(|(text, _)| self.names_an_axis_too(y, text));
        let spread = self.is_spread(&column) && !names_a_sample;
        if let Some((text, _)) = column
            .heads
            .iter()
            .rev()
            // `std` over a wavelength and its absorbance names a sample: no mean and no deviation has an axis of its own.
            .filter(|(text, _)| !self.names_an_axis_too(y, text) && !self.is_numbered_like_others(y, text))
            .filter(|(text, _)| !self.is_letter_without_mean(text))
            .find(|(text, _)| words::is_statistics(text) || is_error_word(text) || spread)
        {
            // A mean or deviation beside its readings is kept under its own name; alone, it says not what it is of.
            let measured = self.columns.iter().any(|c| {
                c.quantity
                    .as_ref()
                    .is_some_and(|q| q.is_of_light() || *q == Quantity::RATE)
            }) || self.context.quantities.iter().any(Quantity::is_of_light);
            let (name, unit) = (text.trim().to_lowercase(), column.unit.clone());
            if !measured && roles.iter().all(|role| *role != ShapeRole::Names) {
                self.ask_measured(&column);
            }
            // `min` is the least here, and no minute.
            let unit = unit.filter(|unit| !unit.converts_to(&Unit::SECOND));
            return (named_as(&name), unit.unwrap_or(Unit::ONE));
        }
        if let Some(other) = self.context.abbreviated(&head).filter(|_| assumed.is_none()) {
            return self.ask_named_around(&column, &other);
        }
        // `Abs / %T`: the header itself leaves it open, and no word around it decides.
        let left_open = |quantity| column.quantities_possible.contains(quantity);
        if quantity.is_none() && left_open(&Quantity::ABSORBANCE) && left_open(&Quantity::TRANSMITTANCE) {
            return self.ask_measured(&column);
        }
        // `FirstColumn derivative of the spectrum` above a column `A`: what the line says of all values is asked.
        if quantity.as_ref() == Some(&Quantity::ABSORBANCE)
            && assumed.is_none()
            && let Some(computed) = self.context.computed.clone()
            && !self.columns.iter().any(|other| {
                other
                    .heads
                    .iter()
                    .any(|(text, _)| crate::column_header::is_derived(text))
            })
        {
            return self.ask_named_around(&column, &computed);
        }
        if let Some(quantity) = quantity {
            self.ask_about_thousands(&column, &quantity);
            if !self.ask_scale(&column, "y", &quantity) {
                self.doubt_measured(&column, &quantity);
            }
            let unit = match quantity.known() {
                Some(KnownQuantity::Absorbance) => column
                    .unit
                    .clone()
                    .filter(|unit| *unit != Unit::ONE)
                    // `values in mAU`
                    .or_else(|| self.context.stated(&Quantity::ABSORBANCE))
                    .unwrap_or(Unit::ABSORBANCE),
                Some(KnownQuantity::Transmittance | KnownQuantity::Reflectance) => {
                    self.percent_or_fraction(&column, &quantity)
                }
                Some(KnownQuantity::Rate) => column.unit.clone().unwrap_or_else(|| {
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
        if words::is(WordList::Target, &head) {
            return (named_as(&head), Unit::ONE);
        }
        // Nor is a dilution, a volume or the number of a cycle, whatever the lines around the table speak of.
        if is_number_of_a_field(&head) {
            return (named_as(&head), column.unit.clone().unwrap_or(Unit::ONE));
        }
        // Beside a column that says what it is, a column of another name keeps its own.
        let others_told = roles.iter().enumerate().any(|(i, role)| {
            i != y
                && *role == ShapeRole::Measured
                && self.columns[i]
                    .quantity
                    .as_ref()
                    .is_some_and(Quantity::is_of_light)
        });
        // So does one beside bare numbers that may be wavelengths: `649`, `665`, `Chl a`.
        let beside_wavelengths = || {
            let bare = |other: &&Column| {
                let mut held = other.held.iter();
                held.any(|held| {
                    held.quantity == Quantity::UNKNOWN && crate::light::BARE_HEADERS.contains(&held.value)
                })
            };
            self.columns.iter().filter(bare).count() >= 2
        };
        // `SD 12 h` beside `12 h` is the spread of what stands there.
        let sums_up = head.split_once(' ').is_some_and(|(first, rest)| {
            let same = |other: &Column| {
                other
                    .heads
                    .last()
                    .is_some_and(|(text, _)| text.trim() == rest.trim())
            };
            words::is_statistics(first) && self.columns.iter().any(same)
        });
        // `Row mean` behind the columns of a plate is the mean of what stands there.
        let is_mean = head.rsplit_once(' ').is_some_and(|(_, last)| {
            words::is_statistics(last)
                && curvary_record::unit::spelled(last) == curvary_record::unit::Spelling::None
        });
        if sums_up || is_mean && roles.iter().filter(|role| **role != ShapeRole::Names).count() >= 3 {
            return (named_as(&head), column.unit.clone().unwrap_or(Unit::ONE));
        }
        // One of its headers may say it, where another is the name of a sample: `Absorbance` over `Dye A`.
        let said = column.heads.iter().rev().find_map(|(text, _)| {
            let read = crate::column_header::read_column_header(text);
            read.quantity.filter(|quantity| *quantity == Quantity::ABSORBANCE)
        });
        if let Some(quantity) = said.filter(|_| others_told && column.unit.is_none()) {
            let unit = customary_unit(&quantity);
            return (quantity, unit);
        }
        // A blank is a reading of what is read beside it.
        let mut of_light = self.columns.iter().filter_map(|other| {
            let quantity = other
                .quantity
                .as_ref()
                .filter(|quantity| quantity.is_of_light())?;
            Some((quantity, other.unit.clone()))
        });
        if others_told
            && words::is_blank(&head)
            && column.unit.is_none()
            && self.is_written_like_light(y, roles)
            && let Some((quantity, unit)) = of_light.next()
            && of_light.all(|other| other == (quantity, unit.clone()))
        {
            let quantity = quantity.clone();
            let unit = unit.unwrap_or_else(|| customary_unit(&quantity));
            return (quantity, unit);
        }
        let has_words = head.chars().any(char::is_alphabetic);
        if (others_told || beside_wavelengths())
            && has_words
            && column.held.is_empty()
            && x_quantity != &Quantity::UNKNOWN
        {
            // Numbers written like those of what was measured beside it may be another curve of it: a name that says nothing
            // is no evidence that they are not.
            if column.unit.is_none() && self.is_written_like_light(y, roles) && !self.follows_from_others(y) {
                return self.ask_measured(&column);
            }
            return (named_as(&head), column.unit.clone().unwrap_or(Unit::ONE));
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
        // What the lines around a table say of its readings holds for numbers that may be such: `% released` beside six
        // vessels is something else.
        let suits =
            |column: &Column| fitting::fits_values(&Quantity::ABSORBANCE, &Unit::ABSORBANCE, &column.stats);
        let of_something_else = || {
            let others = self.columns.iter().enumerate().filter(|(place, other)| {
                *place != y
                    && matches!(roles[*place], ShapeRole::Open | ShapeRole::Measured)
                    && other.kind == ColumnKind::Figures
                    && suits(other)
            });
            has_words && column.held.is_empty() && !suits(&column) && others.count() >= 2
        };
        match (absorbance, transmittance) {
            _ if intensity => self.ask_measured(&column),
            (true, false) if of_something_else() || has_words && self.has_fewer_decimals(y, roles) => {
                (named_as(&head), column.unit.clone().unwrap_or(Unit::ONE))
            }
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

    /// Asks whether the points of counts group thousands, `30.979` between semicolons: where commas are decimal signs cells are
    /// separated so, and nothing else in the table shows what a point is.
    fn ask_about_thousands(&mut self, column: &Column, quantity: &Quantity) {
        let dialect = &self.table.grid.dialect;
        let counts = matches!(
            quantity.as_str(),
            "emission" | "intensity" | "counts" | "fluorescence"
        );
        let settled = self.source.assume().get("decimal").is_some();
        let localized =
            dialect.sep == super::super::dialect::Delimiter::Semicolon && dialect.style == Style::POINT;
        if !counts || settled || column.stats.whole || !localized {
            return;
        }
        // Groups have three digits and stand behind a number that is not zero.
        let grouped = |column: &Column| {
            let all = &self.decimals[self.table.grid.place(column.index)];
            all.iter().all(|&(_, digits)| digits == 3) && column.stats.min.abs() >= 1.0
        };
        let mut figures = self
            .columns
            .iter()
            .filter(|column| column.kind == ColumnKind::Figures);
        if figures.any(|column| !column.stats.whole && !grouped(column)) {
            return;
        }
        let labels = self.label_at(column, "these numbers");
        self.ask(
            "decimal-comma-or-thousands",
            "the points of these numbers may be decimal signs, or group the thousands of counts",
            &[
                ("decimal=point", "points are decimal signs"),
                ("decimal=comma", "points group thousands"),
            ],
            labels,
        );
    }

    /// Whether the label of a column says that it is the spread of another. Short words in small letters need what they
    /// are the spread of beside them: `sem` is Portuguese for without.
    fn is_spread(&self, column: &Column) -> bool {
        let Some(label) = column
            .label
            .as_deref()
            .filter(|label| words::is(WordList::Spread, label))
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

    /// Whether a header is a lone capital letter, `S` beside `C` and `H`, and no other header is of a mean: the deviation has a small
    /// letter.
    fn is_letter_without_mean(&self, head: &str) -> bool {
        let lone = |text: &str| text.len() == 1 && text.starts_with(|c: char| c.is_ascii_uppercase());
        let sums_up = |column: &Column| {
            let head = column.heads.last().map_or("", |(text, _)| text.trim());
            head.chars().count() > 1 && words::is_statistics(head)
        };
        lone(head.trim()) && !self.columns.iter().any(sums_up)
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
        let known = words::is_ours(other) || words::is_optical(other);
        let name = other.as_str().replace('-', " ");
        let texts: Vec<(String, String)> = units
            .iter()
            .map(|unit| {
                let shown = Unit::ucum(unit).map_or_else(|_| String::new(), |unit| unit.display());
                (
                    format!("y={}{other}:{unit}", if known { "" } else { "new:" }),
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
        let name = crate::column_header::split_unit(head)
            .map_or(head, |(name, _)| name)
            .trim();
        let contradicts = column.quantities_possible.iter().any(Quantity::is_of_light);
        let per_length = unit.converts_to(&Unit::PER_CENTIMETRE);
        // `220 nm [1/m]`: a coefficient at a wavelength, which is no name.
        let said = read_column_header(name);
        let only_held = said.quantity.is_none() && said.label.is_none() && !said.held.is_empty();
        let quantity = if (contradicts || only_held) && per_length {
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

    /// Whether a header ends in a whole number and a unit of something else, `s 5 mm`, below words that name the absorbance alone: the
    /// unit may be that of the number, or of the column `s 5`.
    fn may_be_read_at(&self, head: &str, quantity: Option<&Quantity>, column: &Column) -> bool {
        let told = |column: &Column| column.quantity.as_ref().is_some_and(Quantity::is_of_light);
        quantity.is_some_and(|quantity| !words::is_ours(quantity))
            && column.unit.is_some()
            && super::super::columns::value_at_the_end(head).is_some()
            && self.context.names(&Quantity::ABSORBANCE)
            && !self.columns.iter().any(told)
            && fitting::fits_values(&Quantity::ABSORBANCE, &Unit::ABSORBANCE, &column.stats)
    }

    fn ask_read_at(&mut self, column: &Column, head: &str) -> (Quantity, Unit) {
        let unit = column.unit.clone().unwrap_or(Unit::ONE);
        let message = format!(
            "the words around the table name the absorbance, and the header `{head}` ends in a unit: of its number, or of those below?"
        );
        let own = format!("y=signal:{unit}");
        let readings = [
            ("y=absorbance:{AU}", "an absorbance that was read at that value"),
            (own.as_str(), "the numbers below are in that unit"),
            NOT_A_MEASUREMENT,
        ];
        let labels = self.label_at(column, "this header");
        self.ask("unit-does-not-suit", &message, &readings, labels);
        (Quantity::UNKNOWN, Unit::ONE)
    }

    /// Whether a column has whole numbers, or at least two decimals fewer than two others or more, and not always the same number: an
    /// instrument writes all its readings alike.
    fn has_fewer_decimals(&self, y: usize, roles: &[ShapeRole]) -> bool {
        /// The readings have so many decimals more.
        const MORE_DECIMALS: u8 = 2;
        const FEWEST_ROWS: usize = 3;
        let own = &self.columns[y];
        let digits = self.digits_of(own);
        let others = self.columns.iter().enumerate().filter(|(place, other)| {
            *place != y
                && other.kind == ColumnKind::Figures
                && matches!(roles[*place], ShapeRole::Open | ShapeRole::Measured)
        });
        let (with, all) = others.fold((0, 0), |(with, all), (_, other)| {
            (
                with + usize::from(self.digits_of(other) >= digits + MORE_DECIMALS),
                all + 1,
            )
        });
        own.held.is_empty()
            && own.stats.count >= FEWEST_ROWS
            && own.stats.min < own.stats.max
            && own.stats.max > 1.0
            && with >= 2
            && with == all
    }

    /// Asks what was measured, with the choices that its numbers allow, likeliest first.
    pub(super) fn ask_measured(&mut self, column: &Column) -> (Quantity, Unit) {
        // What a person has settled is not asked again, whatever the numbers.
        if let Some((quantity, unit)) = self.assumed_y() {
            return (quantity, unit.unwrap_or(Unit::ONE));
        }
        let labels = self.label_at(column, "the measured column");
        let stats = column.stats;
        let message = format!(
            "nothing says what was measured (values from {} to {})",
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
    pub(super) fn ask_offers(
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
        let ledger = self.weigh_column(column);
        let about = crate::evidence::EvidenceTarget::Column(column.index + 1);
        let role = |offer: &fitting::Offer| match axis {
            "x" => crate::evidence::TableRole::Axis(offer.quantity.clone()),
            _ => crate::evidence::TableRole::Measured(offer.quantity.clone()),
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
    pub(super) fn ask_scale(&mut self, column: &Column, axis: &str, quantity: &Quantity) -> bool {
        let heads = column.heads.iter().rev().map(|(text, _)| text);
        let title = self.context.scaled.as_ref().filter(|_| quantity.is_of_light());
        let Some((head, power)) = heads
            .chain(title)
            .filter_map(|text| Some((text.trim().to_owned(), crate::column_header::scale_of(text)?)))
            .next()
        else {
            return self.ask_unknown_scale(column, axis, quantity);
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
        let labels = self.label_at(column, "a factor in the header");
        let message = format!(
            "the header `{head}` has a factor of ten to the {power}: were the numbers multiplied by it?"
        );
        self.ask("scale-in-head", &message, &readings, labels);
        true
    }

    /// Asks what the factor is of a header such as `Abs x k`. Says whether there is one.
    fn ask_unknown_scale(&mut self, column: &Column, axis: &str, quantity: &Quantity) -> bool {
        let heads = column.heads.iter().rev().map(|(text, _)| text.trim());
        let scaled = heads.filter(|head| crate::column_header::has_unknown_scale(head));
        let Some(head) = scaled.map(str::to_owned).next() else {
            return false;
        };
        let unit = column.unit.clone().unwrap_or_else(|| customary_unit(quantity));
        let as_written = format!("{axis}={quantity}:{unit}");
        let labels = self.label_at(column, "a factor in the header");
        self.ask(
            "scale-in-head",
            &format!(
                "the header `{head}` has a factor that is not known: were the numbers multiplied by it?"
            ),
            &[
                (as_written.as_str(), "as they stand, the factor left aside"),
                NOT_A_MEASUREMENT,
            ],
            labels,
        );
        true
    }

    /// Asks where the numbers do not suit an absorbance: no detector tells more than ten, and noise is not below minus one.
    fn doubt_measured(&mut self, column: &Column, quantity: &Quantity) {
        let stated = column
            .unit
            .clone()
            .or_else(|| self.context.stated(&Quantity::ABSORBANCE));
        let scale = stated.map_or(1.0, |unit| unit.to_si(1.0));
        if *quantity != Quantity::ABSORBANCE || self.assumed_y().is_some() {
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
        // A relative deviation below the readings is none of them.
        let read = |(row, value): (usize, f64)| {
            (!value.is_nan() && !is_sentinel(value) && !self.summed.contains(&row)).then_some(value)
        };
        let values = self.table.grid.column(column.index).enumerate().filter_map(read);
        let (mut bad, mut all) = (0_usize, 0_usize);
        for value in values {
            all += 1;
            bad += usize::from(!plausible(value));
        }
        // Single values out of range are told elsewhere; a column of them is no absorbance.
        if bad * 4 > all {
            let labels = self.label_at(column, "the header says absorbance");
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
                !value.is_nan() && !is_sentinel(value) && !plausible(value) && !self.summed.contains(&row)
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
            // What goes on in another column under the same unit settles it: a band that is wholly dark in one part.
            let settled = || {
                self.columns.iter().any(|other| {
                    other.unit.as_ref() == Some(unit)
                        && other.quantity == column.quantity
                        && other.stats.max > 2.0
                })
            };
            // So little light tells no instrument a curve: a fraction under a wrong unit, or an absorbance.
            if *unit == Unit::PERCENT && stats.count >= 8 && (0.1..=1.5).contains(&stats.max) && !settled() {
                let message = format!(
                    "the header says percent, but the values go from {} to {} only",
                    stats.min, stats.max
                );
                let readings = [
                    (format!("y={quantity}:1"), "a fraction of one"),
                    (format!("y={quantity}:%"), "percent all the same"),
                    (
                        "y=absorbance:{AU}".to_owned(),
                        "an absorbance under a wrong header",
                    ),
                ];
                let readings: Vec<(&str, &str)> = readings
                    .iter()
                    .map(|(answer, says)| (answer.as_str(), *says))
                    .collect();
                let labels = self.label_at(column, "the header says percent");
                self.ask("percent-or-fraction", &message, &readings, labels);
            }
            return unit.clone();
        }
        if self.context.percent || column.stats.max > 2.0 {
            return Unit::PERCENT;
        }
        let head_says =
            |(text, _): &(String, Span)| words::contains(WordList::Fraction, &text.to_lowercase());
        if self.context.fraction || column.heads.iter().any(head_says) {
            self.because_once("it is a fraction of one: that is said in words");
            return Unit::ONE;
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
}

/// Whether a head is the word of a field that holds a number, `Dilution` or `Volume (mL)`, and not a general word for readings.
fn is_number_of_a_field(head: &str) -> bool {
    let name = crate::column_header::split_unit(head).map_or(head, |(name, _)| name);
    let kind = words::field_of(name)
        .and_then(curvary_record::known_field)
        .map(|known| &known.kind);
    matches!(
        kind,
        Some(curvary_record::ValueKind::Number(_) | curvary_record::ValueKind::Range(_))
    ) && words::word(name) == words::HeaderWord::Unknown
}

/// Whether a head names a wavenumber by word or symbol, not by its unit alone.
fn says_wavenumber(head: &str) -> bool {
    let name = crate::column_header::split_unit(head).map_or(head, |(name, _)| name);
    read_column_header(name).quantity == Some(Quantity::WAVENUMBER)
}

/// A quantity under the name that its header gives it: without blanks about a minus sign, which names of columns do not keep.
fn named_as(head: &str) -> Quantity {
    Quantity::named(head.trim().to_lowercase().replace(" - ", "-"))
}

/// Headers of a column of errors, with or without a unit of percent.
fn is_error_word(text: &str) -> bool {
    let text = text
        .trim()
        .trim_end_matches(['.', '%', ' ', '(', ')', '[', ']'])
        .to_lowercase();
    words::words_of(WordList::Error).contains(&text)
}

/// Whether two headers begin with the same word and go on behind it: `std wavelength (nm)`, `std absorbance`.
fn begins_alike(one: &str, other: &str) -> bool {
    let first = |text: &str| {
        text.trim()
            .split_once([' ', '_'])
            .map(|(first, _)| first.to_lowercase())
    };
    first(one).is_some_and(|word| first(other) == Some(word))
}
