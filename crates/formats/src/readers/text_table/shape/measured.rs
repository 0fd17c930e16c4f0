//! What was measured, and in which unit: from heads, from the words around, from the values, or by asking.

use super::*;
use curvary_record::KnownQuantity;
use curvary_record::unit::{Spelling, spelled};

/// A measured column with what is known of it.
struct MeasuredColumn<'r> {
    y: usize,
    column: Column,
    /// Its lowest head.
    head: String,
    /// The quantity that its head names, where that may have been measured.
    quantity: Option<Quantity>,
    /// Whether the head names an intensity, which may be of light that came through, was emitted or scattered.
    intensity: bool,
    /// What was settled about what was measured.
    assumed: Option<(Quantity, Option<Unit>)>,
    /// What it was measured over.
    x_quantity: &'r Quantity,
    roles: &'r [ShapeRole],
}

impl MeasuredColumn<'_> {
    fn has_words(&self) -> bool {
        self.head.chars().any(char::is_alphabetic)
    }

    /// A quantity under the name that the header gives it.
    fn named(&self) -> (Quantity, Unit) {
        (
            named_as(&self.head),
            self.column.unit.clone().unwrap_or(Unit::ONE),
        )
    }
}

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
    pub(super) fn assumed_y(&self) -> Option<(Quantity, Option<Unit>)> {
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
    pub(super) fn y_meaning(
        &mut self,
        y: usize,
        x_quantity: &Quantity,
        roles: &[ShapeRole],
    ) -> (Quantity, Unit) {
        let of = self.measured_column(y, x_quantity, roles);
        self.named_behind_wavelengths(&of)
            .or_else(|| self.as_assumed(&of))
            .or_else(|| self.read_at_a_value(&of))
            .or_else(|| self.statistic(&of))
            .or_else(|| self.other_quantity_around(&of))
            .or_else(|| self.as_its_head_says(&of))
            .or_else(|| self.in_a_unit_of_its_own(&of))
            .or_else(|| self.under_its_own_name(&of))
            .or_else(|| self.as_those_beside_it(&of))
            .unwrap_or_else(|| self.as_the_words_say(&of))
    }

    /// A measured column with what its head says.
    fn measured_column<'r>(
        &self,
        y: usize,
        x_quantity: &'r Quantity,
        roles: &'r [ShapeRole],
    ) -> MeasuredColumn<'r> {
        let column = self.columns[y].clone();
        let head = column
            .heads
            .last()
            .map_or("", |(text, _)| text.as_str())
            .trim()
            .to_owned();
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
        let intensity = quantity
            .as_ref()
            .is_some_and(|quantity| quantity.known() == Some(KnownQuantity::Intensity));
        MeasuredColumn {
            y,
            quantity: quantity.filter(|_| !intensity),
            intensity,
            assumed: self.assumed_y(),
            column,
            head,
            x_quantity,
            roles,
        }
    }

    /// `Intensity` or `Car` behind `420 nm`, `520 nm`: readings are named by their wavelengths there, and it is none of them.
    fn named_behind_wavelengths(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let behind = of.quantity.is_none()
            && of.assumed.is_none()
            && of.column.unit.is_none()
            && of.column.held.is_empty()
            && !of.head.starts_with(|c: char| c.is_ascii_digit())
            && !words::is_blank(&of.head)
            && of.x_quantity != &Quantity::UNKNOWN
            && self.names_readings_by_wavelength(of.y);
        behind.then(|| {
            if of.has_words() {
                (named_as(&of.head), Unit::ONE)
            } else {
                self.ask_measured(&of.column)
            }
        })
    }

    /// What was settled by an answer, where the column does not say otherwise itself.
    fn as_assumed(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let measured = matches!(of.roles[of.y], ShapeRole::Measured | ShapeRole::Open);
        let (meant, unit) = of.assumed.clone().filter(|_| of.quantity.is_none() || measured)?;
        // A column that says what it is, beside one that does not, was not asked about.
        if of
            .quantity
            .as_ref()
            .is_some_and(|own| own.is_of_light() || *own == Quantity::RATE)
            && let Some(own) = self.in_no_doubt(of.y, of.x_quantity, of.roles)
        {
            return Some(own);
        }
        let unit = unit.unwrap_or_else(|| customary_unit(&meant));
        Some((meant, unit))
    }

    /// A column whose header ends in a number with a unit, which may be where it was read: asked.
    fn read_at_a_value(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        self.may_be_read_at(&of.head, of.quantity.as_ref(), &of.column)
            .then(|| self.ask_read_at(&of.column, &of.head))
    }

    /// A mean or deviation beside its readings is kept under its own name; alone, it says not what it is of.
    fn statistic(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        // `Steigung (AU/min)`: the unit makes a rate of the slope.
        if of.column.quantity == Some(Quantity::RATE) && of.column.unit.is_some() {
            return None;
        }
        let heads = &of.column.heads;
        let names_a_sample = heads.iter().any(|(text, _)| self.names_an_axis_too(of.y, text));
        let spread = self.is_spread(&of.column) && !names_a_sample;
        let names = || {
            let names = heads.iter().map(|(text, _)| text).rev();
            // `std` over a wavelength and its absorbance names a sample: no mean and no deviation has an axis of its own.
            names.filter(|text| {
                !self.names_an_axis_too(of.y, text)
                    && !self.is_numbered_like_others(of.y, text)
                    && !self.is_letter_without_mean(text)
            })
        };
        let text = names()
            .find(|text| words::is_statistics(text) || is_error_word(text))
            // The unit below a name is none.
            .or_else(|| names().find(|text| spread && spelled(text.trim()) == Spelling::None))?;
        let measured = self.columns.iter().any(|c| {
            c.quantity
                .as_ref()
                .is_some_and(|q| q.is_of_light() || *q == Quantity::RATE)
        }) || self.context.quantities.iter().any(Quantity::is_of_light);
        if !measured && of.roles.iter().all(|role| *role != ShapeRole::Names) {
            self.ask_measured(&of.column);
        }
        // `min` is the least here, and no minute.
        let unit = of
            .column
            .unit
            .clone()
            .filter(|unit| !unit.converts_to(&Unit::SECOND));
        Some((named_as(&text.trim().to_lowercase()), unit.unwrap_or(Unit::ONE)))
    }

    /// Another optical quantity that the header or the words around leave possible: asked.
    fn other_quantity_around(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let unsettled = of.assumed.is_none();
        if let Some(other) = self.context.abbreviated(&of.head).filter(|_| unsettled) {
            return Some(self.ask_named_around(&of.column, &other));
        }
        // `Abs / %T`: the header itself leaves it open, and no word around it decides.
        let left_open = |quantity| of.column.quantities_possible.contains(quantity);
        if of.quantity.is_none() && left_open(&Quantity::ABSORBANCE) && left_open(&Quantity::TRANSMITTANCE) {
            return Some(self.ask_measured(&of.column));
        }
        // `First derivative of the spectrum` above a column `A`: what the line says of all values is asked.
        if of.quantity.as_ref() == Some(&Quantity::ABSORBANCE)
            && unsettled
            && let Some(computed) = self.context.computed.clone()
            && !self.columns.iter().any(|other| {
                other
                    .heads
                    .iter()
                    .any(|(text, _)| crate::column_header::is_derived(text))
            })
        {
            return Some(self.ask_named_around(&of.column, &computed));
        }
        None
    }

    /// What the head says, with doubts about the scale and the unit.
    fn as_its_head_says(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let (column, quantity) = (&of.column, of.quantity.clone()?);
        self.ask_about_thousands(column, &quantity);
        if !self.ask_scale(column, "y", &quantity) {
            self.doubt_measured(column, &quantity);
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
                self.percent_or_fraction(column, &quantity)
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
        Some((quantity, unit))
    }

    /// A stated unit outweighs the words: `A (cm-1)` is no absorbance, whatever stands around it.
    fn in_a_unit_of_its_own(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let unit =
            of.column.unit.clone().filter(|unit| {
                !of.intensity && !super::super::columns::unit_fits(&Quantity::ABSORBANCE, unit)
            })?;
        Some(self.own_quantity(&of.column, &of.head, unit))
    }

    /// What was not measured, or sums up what stands beside it, keeps its name.
    fn under_its_own_name(&self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let head = &of.head;
        // What a reading should have been was not measured.
        if words::is(WordList::Target, head) {
            return Some((named_as(head), Unit::ONE));
        }
        // `SD 12 h` beside `12 h` is the spread of what stands there.
        let sums_up = || {
            head.split_once(' ').is_some_and(|(first, rest)| {
                let same = |other: &Column| {
                    other
                        .heads
                        .last()
                        .is_some_and(|(text, _)| text.trim() == rest.trim())
                };
                words::is_statistics(first) && self.columns.iter().any(same)
            })
        };
        // `Row mean` behind the columns of a plate is the mean of what stands there.
        let is_mean = || {
            head.rsplit_once(' ').is_some_and(|(_, last)| {
                words::is_statistics(last) && unit::spelled(last) == unit::Spelling::None
            }) && of.roles.iter().filter(|role| **role != ShapeRole::Names).count() >= 3
        };
        // Nor is a dilution, a volume or the number of a cycle, whatever the lines around the table speak of.
        let of_field = is_number_of_a_field(head) && !self.is_under_two_names(of);
        (of_field || sums_up() || is_mean()).then(|| of.named())
    }

    /// `voor | verdunning`, `na | verdunning` over wavelengths: one word of a field under two others names curves of what the lines
    /// around the table say was measured.
    fn is_under_two_names(&self, of: &MeasuredColumn) -> bool {
        let lowest = |column: &Column| column.heads.last().map(|(text, _)| text.trim().to_lowercase());
        let own = lowest(&of.column);
        let mut alike = self.columns.iter().filter(|column| lowest(column) == own);
        *of.x_quantity == Quantity::WAVELENGTH
            && self.context.names(&Quantity::ABSORBANCE)
            && alike.clone().count() >= 2
            && alike.all(|column| column.heads.len() >= 2)
    }

    /// Beside a column that says what it is, or bare numbers that may be wavelengths, a column of another name keeps its own; a
    /// header of several that says it, a blank, and numbers that are written like those beside it may be of the same.
    fn as_those_beside_it(&mut self, of: &MeasuredColumn) -> Option<(Quantity, Unit)> {
        let (column, y) = (&of.column, of.y);
        let told = self.is_told_beside(of);
        // One of its headers may say it, where another is the name of a sample: `Absorbance` over `Dye A`.
        let said = column.heads.iter().rev().find_map(|(text, _)| {
            let read = read_column_header(text);
            read.quantity.filter(|quantity| *quantity == Quantity::ABSORBANCE)
        });
        if let Some(quantity) = said.filter(|_| told && column.unit.is_none()) {
            let unit = customary_unit(&quantity);
            return Some((quantity, unit));
        }
        if told
            && words::is_blank(&of.head)
            && column.unit.is_none()
            && self.is_written_like_light(y, of.roles)
            && let Some(beside) = self.one_of_light()
        {
            return Some(beside);
        }
        let other_name = of.has_words() && column.held.is_empty() && of.x_quantity != &Quantity::UNKNOWN;
        if !other_name || !(told || self.is_beside_bare_wavelengths()) {
            return None;
        }
        // Numbers written like those of what was measured beside it may be another curve of it: a name that says nothing
        // is no evidence that they are not.
        if column.unit.is_none() && self.is_written_like_light(y, of.roles) && !self.follows_from_others(y) {
            return Some(self.ask_measured(column));
        }
        Some(of.named())
    }

    /// Whether another column says that light was measured in it.
    fn is_told_beside(&self, of: &MeasuredColumn) -> bool {
        of.roles.iter().enumerate().any(|(i, role)| {
            i != of.y
                && *role == ShapeRole::Measured
                && self.columns[i]
                    .quantity
                    .as_ref()
                    .is_some_and(Quantity::is_of_light)
        })
    }

    /// Whether bare numbers that may be wavelengths stand over other columns: `649`, `665`, `Chl a`.
    fn is_beside_bare_wavelengths(&self) -> bool {
        let bare = |other: &&Column| {
            let mut held = other.held.iter();
            held.any(|held| {
                held.quantity == Quantity::UNKNOWN && crate::light::BARE_HEADERS.contains(&held.value)
            })
        };
        self.columns.iter().filter(bare).count() >= 2
    }

    /// What all columns of light are of, where it is the same: a blank is a reading of what is read beside it.
    fn one_of_light(&self) -> Option<(Quantity, Unit)> {
        let mut of_light = self.columns.iter().filter_map(|other| {
            let quantity = other
                .quantity
                .as_ref()
                .filter(|quantity| quantity.is_of_light())?;
            Some((quantity, other.unit.as_ref()))
        });
        let (quantity, unit) = of_light.next()?;
        of_light.all(|other| other == (quantity, unit)).then(|| {
            let unit = unit.cloned().unwrap_or_else(|| customary_unit(quantity));
            (quantity.clone(), unit)
        })
    }

    /// What the words around the table say, or a person.
    fn as_the_words_say(&mut self, of: &MeasuredColumn) -> (Quantity, Unit) {
        let column = &of.column;
        if let Some(other) = self.context.others.first().cloned().filter(|_| !of.intensity) {
            return self.ask_named_around(column, &other);
        }
        let names = |quantity: &Quantity| {
            self.context.names(quantity)
                || self.over_all.as_ref() == Some(quantity)
                || self.columns.iter().any(|c| c.quantity.as_ref() == Some(quantity))
        };
        match (names(&Quantity::ABSORBANCE), names(&Quantity::TRANSMITTANCE)) {
            // An intensity may be of light that came through, was emitted or scattered: what was measured is asked.
            _ if of.intensity => self.ask_measured(column),
            (true, false)
                if self.is_of_something_else(of)
                    || of.has_words() && self.has_fewer_decimals(of.y, of.roles) =>
            {
                of.named()
            }
            (true, false) => {
                self.because_once("y is absorbance: the words around the table say so");
                if !self.ask_scale(column, "y", &Quantity::ABSORBANCE) {
                    self.doubt_measured(column, &Quantity::ABSORBANCE);
                }
                (Quantity::ABSORBANCE, Unit::ABSORBANCE)
            }
            (false, true) => {
                self.because_once("y is transmittance: the words around the table say so");
                let unit = self.percent_or_fraction(column, &Quantity::TRANSMITTANCE);
                (Quantity::TRANSMITTANCE, unit)
            }
            _ => self.ask_measured(column),
        }
    }

    /// Whether a column has numbers that are no absorbances beside others that may be: what the lines around a table say of its readings
    /// holds for numbers that may be such, and `% released` beside six vessels is something else.
    fn is_of_something_else(&self, of: &MeasuredColumn) -> bool {
        let suits =
            |column: &Column| fitting::fits_values(&Quantity::ABSORBANCE, &Unit::ABSORBANCE, &column.stats);
        let others = self.columns.iter().enumerate().filter(|(place, other)| {
            *place != of.y
                && matches!(of.roles[*place], ShapeRole::Open | ShapeRole::Measured)
                && other.kind == ColumnKind::Figures
                && suits(other)
        });
        of.has_words() && of.column.held.is_empty() && !suits(&of.column) && others.count() >= 2
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
