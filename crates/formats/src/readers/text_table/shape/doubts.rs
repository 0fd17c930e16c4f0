//! What is asked about a measured column: what it is of, its unit, its scale, and the signs of its numbers.

use super::*;

impl Shaper<'_> {
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

    /// Asks whether a column is of the other optical quantity that the words around the table name.
    pub(super) fn ask_named_around(&mut self, column: &Column, other: &Quantity) -> (Quantity, Unit) {
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
    pub(super) fn own_quantity(&mut self, column: &Column, head: &str, unit: Unit) -> (Quantity, Unit) {
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

    pub(super) fn ask_read_at(&mut self, column: &Column, head: &str) -> (Quantity, Unit) {
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

    /// Asks whether the points of counts group thousands, `30.979` between semicolons: where commas are decimal signs cells are
    /// separated so, and nothing else in the table shows what a point is.
    pub(super) fn ask_about_thousands(&mut self, column: &Column, quantity: &Quantity) {
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
    pub(super) fn doubt_measured(&mut self, column: &Column, quantity: &Quantity) {
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

    pub(super) fn percent_or_fraction(&mut self, column: &Column, quantity: &Quantity) -> Unit {
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
