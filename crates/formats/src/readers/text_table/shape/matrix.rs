//! Numbers across the heads: wavelengths by times, or spectra as rows.

use super::*;

impl Shaper<'_> {
    /// The columns with numbers over them, and what these are numbers of; `None` where not nearly all have one.
    fn across(&self) -> Option<Vec<(usize, f64, Option<Coordinate>)>> {
        let first = self.columns.first()?;
        let figures = || {
            let columns = self.columns.iter().enumerate().skip(1);
            columns.filter(|(_, column)| column.kind == ColumnKind::Figures)
        };
        let across: Vec<(usize, f64, Option<Coordinate>)> = figures()
            .filter_map(|(i, column)| {
                number_over(column, first).map(|(value, coordinate)| (i, value, coordinate))
            })
            .collect();
        (across.len() >= 2 && across.len() * 10 >= figures().count() * 8).then_some(across)
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
        over >= 2 && over * 10 >= count * 8
    }

    /// Numbers across the heads: wavelengths by times, or spectra as rows.
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    pub(super) fn matrix(&mut self) -> Option<RunDraft> {
        let first = self.columns.first()?;
        let corner: String = first
            .heads
            .iter()
            .map(|(text, _)| text.as_str())
            .collect::<Vec<_>>()
            .join(" ");
        let across = self.across()?;
        // Times over some columns and temperatures over others stand across as no one axis.
        let mut known = across
            .iter()
            .filter_map(|(_, _, held)| held.as_ref().map(|held| &held.quantity));
        if let Some(of) = known.find(|quantity| **quantity != Quantity::UNKNOWN)
            && known.any(|other| *other != Quantity::UNKNOWN && other != of)
        {
            return None;
        }
        let values: Vec<f64> = across.iter().map(|(_, value, _)| *value).collect();
        let told: Option<(Quantity, Unit)> = across[0]
            .2
            .as_ref()
            .filter(|c| c.quantity != Quantity::UNKNOWN)
            // Wavelengths run down already.
            .filter(|c| {
                c.quantity != Quantity::WAVELENGTH
                    || first.kind != ColumnKind::Figures
                    || first.quantity != Some(Quantity::WAVELENGTH)
            })
            .map(|c| (c.quantity.clone(), c.unit.clone()));
        let spread = Spread::of(&values);
        let (down, over) = corner_heads(&corner);
        let stated = |quantity: &Quantity| self.context.stated(quantity);
        // What runs across.
        let across_meaning: Option<(Quantity, Option<Unit>)> = match &told {
            Some((quantity, unit)) => Some((quantity.clone(), Some(unit.clone()))),
            None => {
                let names = |quantity: &Quantity| {
                    over.as_ref()
                        .is_some_and(|head| head.0.as_ref() == Some(quantity))
                        || down
                            .as_ref()
                            .is_some_and(|head| head.0.as_ref() == Some(quantity))
                };
                let row_is_light = first.quantity == Some(Quantity::WAVELENGTH)
                    || (names(&Quantity::WAVELENGTH)
                        && names(&Quantity::TIME)
                        && first.stats.like_nanometres()
                        && first.stats.min >= *crate::light::NEAR_WORDS.start()
                        && !spread.like_light());
                // Numbers of scans in front of the rows, `scan 1, 2, 3`, where the words around speak of wavelengths.
                let scans_down = first.kind == ColumnKind::Figures
                    && first.stats.counts()
                    && first
                        .quantity
                        .as_ref()
                        .is_none_or(|quantity| *quantity == Quantity::INDEX)
                    && across.len() >= SCAN_FROM
                    && (self.context.names(&Quantity::WAVELENGTH)
                        || self.context.units.contains(&Unit::NANOMETRE));
                let words_down = first.kind == ColumnKind::Words && first.clock.is_none() || scans_down;
                // `time (s);0;20;40` over `0.25 mM;0.080;0.103`: the cells say of what they are, and the corner what runs across.
                let of_cells = first.quantity.as_ref().is_some_and(|quantity| {
                    matches!(quantity.as_str(), "concentration" | "temperature" | "ph")
                });
                let corner_alone = down.as_ref().filter(|_| {
                    over.is_none()
                        && of_cells
                        && names(&Quantity::TIME)
                        && spread.orderly
                        && !spread.like_light()
                });
                if let Some((Some(quantity), Some(unit))) = corner_alone {
                    Some((quantity.clone(), Some(unit.clone())))
                } else if words_down || (names(&Quantity::TIME) && !row_is_light) || (first.clock.is_some()) {
                    if spread.like_light() && !self.numbers_are_names(&values) {
                        Some((Quantity::WAVELENGTH, Some(Unit::NANOMETRE)))
                    } else {
                        None
                    }
                } else if row_is_light {
                    let unit = [&over, &down]
                        .into_iter()
                        .flatten()
                        .find(|h| h.0 == Some(Quantity::TIME))
                        .and_then(|h| h.1.clone());
                    let says_time =
                        unit.is_some() || names(&Quantity::TIME) || stated(&Quantity::TIME).is_some();
                    if says_time {
                        Some((Quantity::TIME, unit.or_else(|| stated(&Quantity::TIME))))
                    } else {
                        None
                    }
                } else {
                    None
                }
            }
        };
        let counted = spread.counts();
        // Of the two names in a corner, `A405 at time (s)`, what was measured runs nowhere.
        let across_in_corner = [down.clone(), over.clone()]
            .into_iter()
            .flatten()
            .find(|(quantity, _)| quantity.as_ref().is_some_and(|quantity| !quantity.is_of_light()));
        match across_meaning {
            Some((quantity, _)) if quantity == Quantity::WAVELENGTH => {
                self.light_across(&across, &values, &spread, None)
            }
            // Time courses in rows, each of a sample or of a condition.
            Some((quantity, Some(unit)))
                if quantity == Quantity::TIME
                    && spread.orderly
                    && (first.kind == ColumnKind::Words
                        && first.clock.is_none()
                        && self.rows_are_names_or_conditions()
                        || first.quantity.as_ref().is_some_and(|quantity| {
                            matches!(quantity.as_str(), "concentration" | "temperature" | "ph")
                        }) && (values.len() > 2 || first.stats.count <= 2)) =>
            {
                self.light_across(&across, &values, &spread, Some((quantity, unit)))
            }
            // `Temperature,day 0,day 1`: curves over the temperature.
            Some((quantity, _))
                if quantity == Quantity::TIME
                    && values.len() == 2
                    && first.stats.count > 2
                    && first.quantity.as_ref().is_some_and(|quantity| {
                        matches!(quantity.as_str(), "concentration" | "temperature" | "ph")
                    }) =>
            {
                None
            }
            Some((quantity, unit)) if quantity == Quantity::TIME => self.time_across(&across, unit),
            // A table laid on its side: the corner names what runs across, each row what was measured, or a name where
            // the words around say it.
            None if first.kind == ColumnKind::Words
                && first.clock.is_none()
                && let Some((Some(quantity), Some(unit))) = across_in_corner
                && matches!(quantity.as_str(), "concentration" | "time" | "temperature" | "ph")
                && (self.rows_are_measured() || spread.orderly && self.rows_are_names()) =>
            {
                self.light_across(&across, &values, &spread, Some((quantity, unit)))
            }
            // Counted heads are names: `1 2 3 4`.
            None if counted && first.quantity.is_some() => None,
            None if first.quantity == Some(Quantity::WAVELENGTH) => {
                // Numbers over spectra: times, concentrations or names. They are kept as names, and asked about.
                let unit = self.context.time_unit();
                if self.context.kinetics || self.context.names(&Quantity::TIME) {
                    return self.time_across(&across, unit.filter(|_| false));
                }
                None
            }
            _ => None,
        }
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

    /// Spectra as rows, or times down and wavelengths across; or curves over another `axis` that stands across.
    #[expect(clippy::too_many_lines, reason = "one decision after another over one state")]
    fn light_across(
        &mut self,
        across: &[(usize, f64, Option<Coordinate>)],
        values: &[f64],
        spread: &Spread,
        axis: Option<(Quantity, Unit)>,
    ) -> Option<RunDraft> {
        let first = self.columns[0].clone();
        let clocked = first.clock.is_some();
        let corner: String = first
            .heads
            .iter()
            .map(|(text, _)| text.as_str())
            .collect::<Vec<_>>()
            .join(" ");
        let (down, over) = corner_heads(&corner);
        let corner_time = [down, over]
            .into_iter()
            .flatten()
            .find(|head| head.0 == Some(Quantity::TIME) && axis.is_none());
        if let Some((_, unit)) = corner_time.filter(|_| first.quantity.is_none()) {
            self.columns[0].quantity = Some(Quantity::TIME);
            self.columns[0].unit = unit;
            self.columns[0].quantities_possible.clear();
        }
        let first = self.columns[0].clone();
        let time_down = clocked || first.quantity == Some(Quantity::TIME) && axis.is_none();
        if time_down && across.len() < SCAN_FROM {
            return None;
        }
        if !spread.orderly {
            return None;
        }
        // Samples read at a few chosen wavelengths are single readings, and no spectra.
        let named = first.kind == ColumnKind::Words && !clocked;
        let stated = across.iter().all(|(_, _, held)| held.is_some());
        if named && axis.is_none() && stated && across.len() < SCAN_FROM && !is_even(values) {
            return None;
        }
        let rows = self.table.grid.rows;
        let text = self.source.text();
        let (mut y_quantity, mut y_unit) = (Quantity::UNKNOWN, Unit::ONE);
        let roles: Vec<ShapeRole> = self.columns.iter().map(|_| ShapeRole::Open).collect();
        let sample = across[0].0;
        // What was measured stands in the row names, in the words around, or nowhere.
        let in_names = first.kind == ColumnKind::Words && {
            let heads: Vec<_> = self
                .table
                .grid
                .words(first.index)
                .iter()
                .map(|span| super::super::columns::head_or_first_word(&text[span.range()]))
                .collect();
            match heads
                .first()
                .and_then(|head| head.quantity.clone())
                .filter(|quantity| quantity.is_of_light() || *quantity == Quantity::RATE)
            {
                Some(quantity) if heads.iter().all(|head| head.quantity.as_ref() == Some(&quantity)) => {
                    y_unit = heads[0].unit.clone().unwrap_or_else(|| customary_unit(&quantity));
                    y_quantity = quantity;
                    true
                }
                _ => false,
            }
        };
        if !in_names {
            let said = first
                .heads
                .iter()
                .rev()
                .find_map(|(text, _)| measured_in_corner(text).map(|(quantity, _)| quantity));
            if let Some(quantity) = said {
                y_unit = customary_unit(&quantity);
                y_quantity = quantity;
            } else {
                let mut column = self.columns[sample].clone();
                column.quantity = column.quantity.filter(Quantity::is_of_light);
                column.held.clear();
                self.columns[sample] = column;
                (y_quantity, y_unit) = self.y_meaning(sample, &Quantity::WAVELENGTH, &roles);
            }
        }
        let (time_quantity, time_unit) = if time_down {
            let (quantity, unit) = self.x_meaning(0);
            (Some(quantity), unit)
        } else {
            (None, Unit::ONE)
        };
        let row_axis = if !time_down
            && first.kind == ColumnKind::Figures
            && first.quantity.is_some()
            && first.quantity != Some(Quantity::WAVELENGTH)
            && first.quantity != Some(Quantity::INDEX)
        {
            first.quantity.clone().zip(self.unit_of(&first))
        } else {
            None
        };
        let x_values: Numbers = values.into();
        let (x_quantity, x_unit) = axis.unwrap_or_else(|| {
            let told = across[0]
                .2
                .as_ref()
                .filter(|c| c.quantity == Quantity::WAVELENGTH);
            (
                Quantity::WAVELENGTH,
                told.map_or(Unit::NANOMETRE, |c| c.unit.clone()),
            )
        });
        for (i, _, _) in across {
            self.used(*i, ColumnRole::Measured, &y_quantity, &y_unit);
        }
        if let Some(quantity) = &time_quantity {
            self.used(0, ColumnRole::Held, quantity, &time_unit);
        } else if let Some((quantity, unit)) = &row_axis {
            self.used(0, ColumnRole::Held, quantity, unit);
        } else if first.kind == ColumnKind::Figures {
            self.used(0, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE);
        }
        let x_decimals: Decimals = decimals_in_heads(across.iter().map(|(i, _, _)| {
            self.columns[*i]
                .heads
                .last()
                .map_or("", |(text, _)| text.as_str())
        }));
        let names = self.row_names(&self.columns.iter().map(role).collect::<Vec<_>>());
        let names_samples = first.names_samples();
        let beside: Vec<(usize, usize, Quantity, Unit)> = self
            .columns
            .iter()
            .enumerate()
            .skip(1)
            .filter(|(i, column)| {
                column.kind == ColumnKind::Figures && !across.iter().any(|(of, ..)| of == i)
            })
            .filter_map(|(i, column)| {
                let quantity = column.quantity.clone().filter(|quantity| {
                    matches!(
                        quantity.as_str(),
                        "wavelength" | "concentration" | "temperature" | "ph"
                    )
                })?;
                Some((i, column.index, quantity, self.unit_of(column)?))
            })
            .filter(|(_, _, quantity, _)| *quantity != x_quantity)
            .collect();
        for (i, _, quantity, unit) in &beside {
            self.used(*i, ColumnRole::Held, quantity, unit);
        }
        let mut traces = Vec::with_capacity(rows);
        let mut lacking: BTreeMap<(u32, u32), MissingCell> = BTreeMap::new();
        for gap in &self.table.grid.gaps {
            lacking.insert((gap.row, gap.column), gap.lack);
        }
        let changes = self.decimals.clone();
        let is_sentinel = sentinel_of(self.context, &y_quantity, Some(&y_unit));
        let mut sentinels: Vec<(usize, f64)> = Vec::new();
        let mut passed = vec![0; across.len()];
        let summed = self.summed.clone();
        for row in (0..rows).filter(|row| !summed.contains(row)) {
            let mut kept: Vec<usize> = Vec::with_capacity(across.len());
            let mut y = Vec::with_capacity(across.len());
            let mut decimals = Decimals::default();
            for (n, (i, _, _)) in across.iter().enumerate() {
                let value = self.table.grid.figure(row, self.columns[*i].index);
                if value.is_nan() {
                    continue;
                }
                if is_sentinel(value) {
                    sentinels.push((row, value));
                    continue;
                }
                let changes = &changes[self.table.grid.place(self.columns[*i].index)];
                // The rows go downwards, and so do the changes.
                while changes
                    .get(passed[n])
                    .is_some_and(|&(from, _)| from as usize <= row)
                {
                    passed[n] += 1;
                }
                decimals.push(passed[n].checked_sub(1).map_or(0, |last| changes[last].1));
                kept.push(n);
                y.push(value);
            }
            let whole = kept.len() == across.len();
            let x = Values {
                quantity: x_quantity.clone(),
                unit: x_unit.clone(),
                name: None,
                values: if whole {
                    x_values.clone()
                } else {
                    kept.iter().map(|&n| values[n]).collect()
                },
                decimals: if whole {
                    x_decimals.clone()
                } else {
                    Decimals::default()
                },
            };
            let column = Values {
                quantity: y_quantity.clone(),
                unit: y_unit.clone(),
                name: None,
                values: y.into(),
                decimals,
            };
            let Ok(mut trace) = Trace::new(x, column) else {
                continue;
            };
            let line = self.table.grid.line(row);
            trace.lines.push_run(line, 0, kept.len());
            trace.absent = u32::try_from(across.len() - kept.len()).unwrap_or(u32::MAX);
            if let Some(quantity) = &time_quantity {
                let value = match &first.clock {
                    Some(clock) => clock.seconds.get(row).copied().flatten(),
                    None => Some(self.table.grid.figure(row, first.index)).filter(|v| !v.is_nan()),
                };
                if let Some(value) = value {
                    let mut held = Coordinate::new(quantity.clone(), time_unit.clone(), value);
                    held.line = u32::try_from(line).ok();
                    trace.held.push(held);
                }
            } else if let Some((quantity, unit)) = &row_axis {
                let value = self.table.grid.figure(row, first.index);
                if !value.is_nan() {
                    trace
                        .held
                        .push(Coordinate::new(quantity.clone(), unit.clone(), value));
                }
            }
            // `Group;nm;0 s;60 s`: what each row was read at.
            for (_, index, quantity, unit) in &beside {
                let value = self.table.grid.figure(row, *index);
                if !value.is_nan() && trace.held(quantity).is_none() {
                    let mut held = Coordinate::new(quantity.clone(), unit.clone(), value);
                    held.line = u32::try_from(line).ok();
                    trace.held.push(held);
                }
            }
            if let Some(name) = names
                .as_ref()
                .and_then(|names| names.get(row))
                .filter(|_| !clocked)
            {
                let head = super::super::columns::head_or_first_word(name);
                let label = head.label;
                // `E 340 sample 1` says at which wavelength its row was measured.
                for held in head.held {
                    let own = held.quantity != Quantity::UNKNOWN && held.quantity != x_quantity;
                    if own && trace.held(&held.quantity).is_none() {
                        trace.held.push(held);
                    }
                }
                let label = label.filter(|label| {
                    // `Wine (2012)`, `Wine (2013)`: what stands in the brackets tells them apart.
                    let others = || {
                        names
                            .iter()
                            .flatten()
                            .enumerate()
                            .filter(|(other, _)| *other != row)
                    };
                    !others().any(|(_, other)| {
                        other != name
                            && super::super::columns::head_or_first_word(other).label.as_ref() == Some(label)
                    })
                });
                // `Initial rate (µmol/L/min)` says what the row is of, and names no sample.
                if names_samples && (label.is_some() || !in_names) {
                    trace.fields.claim(
                        "sample",
                        Claim::text(
                            label.clone().unwrap_or_else(|| name.clone()),
                            Origin::Source(Place::line(line)),
                        ),
                    );
                }
                trace.label = Some(label.unwrap_or_else(|| name.clone()));
            } else if time_quantity.is_none() && first.kind == ColumnKind::Figures {
                let written = self
                    .cell_text(row, first.index)
                    .map(|cell| cell.trim().to_owned());
                trace.label =
                    Some(written.unwrap_or_else(|| self.table.grid.figure(row, first.index).to_string()));
            }
            if !trace.is_empty() {
                self.mark_saturated(&mut trace, f64::INFINITY);
                traces.push(trace);
            }
        }
        let columns: Vec<usize> = across.iter().map(|(i, _, _)| self.columns[*i].index).collect();
        if let Some(down) = time_quantity
            .as_ref()
            .or(row_axis.as_ref().map(|(quantity, _)| quantity))
        {
            self.tell_gaps(&[first.index], down);
        }
        self.tell_gaps(&columns, &y_quantity);
        self.tell_sentinels("the table", &sentinels);
        let (from, to) = (
            values.first().copied().unwrap_or(0.0),
            values.last().copied().unwrap_or(0.0),
        );
        self.because.push(if x_quantity == Quantity::WAVELENGTH {
            format!("wavelengths from {from} to {to} stand across; each row is a spectrum")
        } else {
            format!("the {x_quantity} from {from} to {to} stands across; each row is a curve")
        });
        if x_quantity != Quantity::WAVELENGTH {
            self.hold_wavelength(&mut traces);
        }
        let technique = if x_quantity != Quantity::WAVELENGTH {
            if y_quantity == Quantity::RATE {
                Technique::RATE_SERIES
            } else {
                self.technique_of(&x_quantity, &[])
            }
        } else if time_quantity.is_some() {
            Technique::SPECTRAL_TIME_COURSE
        } else {
            Technique::SPECTRUM
        };
        Some(self.finish(technique, traces))
    }

    /// Wavelengths down and times across.
    fn time_across(
        &mut self,
        across: &[(usize, f64, Option<Coordinate>)],
        unit: Option<Unit>,
    ) -> Option<RunDraft> {
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

/// Whether numbers go on in one step.
fn is_even(values: &[f64]) -> bool {
    let step = values.get(1).zip(values.first()).map_or(0.0, |(b, a)| b - a);
    values
        .windows(2)
        .all(|pair| (pair[1] - pair[0] - step).abs() <= 1e-6 * step.abs())
}

/// The decimals with which the numbers across the heads are written.
fn decimals_in_heads<'a>(heads: impl Iterator<Item = &'a str>) -> Decimals {
    let mut decimals = Decimals::default();
    for head in heads {
        let mut digits = 0;
        for style in [Style::POINT, Style::COMMA] {
            if let super::super::number::Cell::Number { decimals, .. }
            | super::super::number::Cell::WithUnit { decimals, .. } =
                super::super::number::cell(head, style)
            {
                digits = decimals;
                break;
            }
        }
        decimals.push(digits);
    }
    decimals
}
