//! From a table to curves: which column runs, which are measured, what is held, and what must be asked.

use std::collections::BTreeMap;
use std::sync::Arc;

use curvary_record::{
    Alternative, Claim, Code, Column as Values, Coordinate, Decimals, Diagnostic, Label, Lines, Origin,
    Place, Quantity, Question, Span, Technique, Trace, Unit,
};

use super::columns::{Column, describe, give_meaning};
use super::context::Context;
use super::explain::columns_told;
use super::grid::{Kind, Lack, decimals_of};
use super::number::Style;
use super::scan::{Table, leading_number};
use crate::Source;
use crate::explanation::{ColumnPart, ColumnRole};
use crate::head::read_head;

/// A run in the making.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    pub(super) technique: Technique,
    pub(super) traces: Vec<Trace>,
    pub(super) because: Vec<String>,
    pub(super) questions: Vec<Question>,
    pub(super) remarks: Vec<Diagnostic>,
}

/// What a table turned out to be.
pub(super) enum Shaped {
    Runs(Vec<Draft>),
    /// No measurement of absorbance, for this reason.
    Other(String),
}

/// Gaps of one column are told in one remark that names at most so many places.
const PLACES_TOLD: usize = 8;

/// From this count of wavelengths on a table of wavelengths by times is repeated scans; below it, time courses.
const SCAN_FROM: usize = 5;

/// Shapes one table. Where `told` is given, it notes what each column was taken for.
pub(super) fn shape(
    source: &Source,
    table: &Table,
    context: &Context,
    told: Option<&mut Vec<ColumnPart>>,
) -> Shaped {
    let mut columns = describe(source.text(), table);
    if let Err(reason) = give_meaning(&mut columns, source.told()) {
        return Shaped::Other(reason);
    }
    let mut shaper = Shaper {
        source,
        table,
        context,
        values: table.grid.all_columns().into_iter().map(Some).collect(),
        decimals: table.grid.decimals(),
        shared: BTreeMap::new(),
        summed: summed_rows(source.text(), table, &columns),
        uses: vec![None; columns.len()],
        columns,
        because: Vec::new(),
        questions: Vec::new(),
        remarks: Vec::new(),
        unplaced: BTreeMap::new(),
    };
    let shaped = shaper.run();
    if let Some(told) = told {
        *told = shaper.tell_columns(&shaped);
    }
    shaped
}

/// What became of a column: its role, and what it was taken for.
pub(super) type ColumnUse = (ColumnRole, Quantity, Unit);

struct Shaper<'a> {
    source: &'a Source,
    table: &'a Table,
    context: &'a Context,
    columns: Vec<Column>,
    /// Rows that sum up others: means and deviations.
    summed: std::collections::BTreeSet<usize>,
    /// The figures by place; taken out when a column becomes an axis of its own.
    values: Vec<Option<Vec<f64>>>,
    decimals: Vec<Vec<(u32, u8)>>,
    /// Axes that several curves run over, by column.
    shared: BTreeMap<usize, Arc<[f64]>>,
    /// What each column was used for, noted on the way.
    uses: Vec<Option<ColumnUse>>,
    because: Vec<String>,
    questions: Vec<Question>,
    remarks: Vec<Diagnostic>,
    /// For a measured column, how many of its values have no x to stand at.
    unplaced: BTreeMap<usize, usize>,
}

/// What a column is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    /// It may run: a wavelength, a time, a concentration.
    Coordinate,
    /// It was measured.
    Measured,
    /// It only counts the rows.
    Counter,
    /// It names the rows.
    Names,
    /// It goes beside the measurement: temperature, pH.
    Beside,
    /// Nothing tells.
    Open,
}

fn role(column: &Column) -> Role {
    if column.kind == Kind::Words {
        return if column.clock.is_some() {
            Role::Coordinate
        } else {
            Role::Names
        };
    }
    let holds_light = column
        .held
        .iter()
        .any(|held| held.quantity == Quantity::WAVELENGTH || held.quantity == Quantity::TIME);
    match column.quantity.as_ref().map(Quantity::as_str) {
        Some("wavelength" | "wavenumber" | "energy" | "time") if holds_light => Role::Measured,
        Some("wavelength" | "wavenumber" | "energy" | "time" | "concentration") => Role::Coordinate,
        Some("absorbance" | "transmittance" | "reflectance" | "rate") => Role::Measured,
        Some("index" | "sample" | "replicate") => Role::Counter,
        Some("temperature" | "ph") => Role::Beside,
        Some(_) => Role::Open,
        None if holds_light => Role::Measured,
        None if column.stats.whole
            && column.stats.rising
            && column.heads.last().is_some_and(|(text, _)| is_counter_word(text)) =>
        {
            Role::Counter
        }
        None => Role::Open,
    }
}

/// Heads of columns that number the lines.
fn is_counter_word(text: &str) -> bool {
    matches!(
        text.trim().trim_end_matches(['.', ':']).to_lowercase().as_str(),
        "line"
            | "row"
            | "zeile"
            | "ligne"
            | "línea"
            | "linea"
            | "fila"
            | "record"
            | "rec"
            | "point"
            | "pt"
            | "punkt"
            | "lfd"
            | "lfd. nr"
    )
}

/// Quantities that make a table one of light absorbed.
fn of_the_trade(quantity: &Quantity) -> bool {
    matches!(
        quantity.as_str(),
        "wavelength" | "wavenumber" | "absorbance" | "transmittance" | "reflectance"
    )
}

impl Shaper<'_> {
    fn run(&mut self) -> Shaped {
        if let Some(&row) = self.summed.first() {
            self.remarks.push(
                Diagnostic::note(
                    Code::new("statistics-row"),
                    format!(
                        "{} that sum up others were left out",
                        count(self.summed.len(), "row")
                    ),
                )
                .at(Place::line(self.table.grid.line(row)), "the first of them"),
            );
        }
        if let Some(reason) = self.foreign() {
            return Shaped::Other(reason);
        }
        if let Some((code, readings)) = &self.table.open {
            self.ask_dialect(code.clone(), readings);
            // Where no reading is known that would be right, no number is given.
            if readings.len() < 2 {
                let draft = self.finish(Technique::UNKNOWN, Vec::new());
                return Shaped::Runs(vec![draft]);
            }
        }
        if let Some(draft) = self.matrix() {
            return Shaped::Runs(vec![draft]);
        }
        let roles: Vec<Role> = self.columns.iter().map(role).collect();
        let mut xs: Vec<usize> = (0..roles.len())
            .filter(|&i| roles[i] == Role::Coordinate)
            .collect();
        if let Some(drafts) = self.several_axes(&xs, &roles) {
            return Shaped::Runs(drafts);
        }
        // Elapsed numbers beside clock times are the axis; of two columns of one quantity the first is.
        let figures: Vec<usize> = xs
            .iter()
            .copied()
            .filter(|&i| self.columns[i].kind == Kind::Figures)
            .collect();
        if figures.len() < xs.len()
            && figures
                .iter()
                .any(|&i| self.columns[i].quantity == Some(Quantity::TIME))
        {
            xs = figures;
        }
        if xs.len() >= 2 {
            if let Some(draft) = self.long_form(&xs, &roles) {
                return Shaped::Runs(vec![draft]);
            }
            // A coordinate that never changes is held, not run over.
            xs.retain(|&i| {
                self.columns[i].stats.min != self.columns[i].stats.max || self.columns[i].stats.count < 2
            });
        }
        let counted = self.source.assume().get("x") == Some("index");
        if let Some(axis) = self.columns.iter().filter(|_| !counted).find(|column| {
            let named = column
                .quantity
                .as_ref()
                .is_some_and(|q| matches!(q.as_str(), "wavelength" | "wavenumber" | "time"));
            named && column.kind == Kind::Words && column.clock.is_none()
        }) {
            let labels = self.label_at(&axis.clone(), "this column");
            let head = axis
                .heads
                .last()
                .map_or(String::new(), |(text, _)| text.trim().to_owned());
            self.ask(
                "axis-not-readable",
                &format!(
                    "the column `{head}` should be the running axis, but its cells are no plain numbers"
                ),
                &[("x=index", "the rows are to be counted")],
                labels,
            );
            let draft = self.finish(Technique::UNKNOWN, Vec::new());
            return Shaped::Runs(vec![draft]);
        }
        let x = xs.first().copied().or_else(|| self.x_by_values(&roles));
        // Readings with a name each, and the time of day they were taken at, are no time course.
        if let Some(x) = x
            && self.columns[x].clock.is_some()
            && self.named_one_by_one(&roles)
        {
            return self.readings(&roles);
        }
        match x {
            Some(x) => {
                self.tell_flags(&roles);
                if roles.contains(&Role::Names)
                    && let Some(draft) = self.long_form(&[x], &roles)
                {
                    return Shaped::Runs(vec![draft]);
                }
                self.one_axis(x, &roles)
            }
            None => self.readings(&roles),
        }
    }

    /// Why the table is none of light absorbed, where its heads say so.
    fn foreign(&self) -> Option<String> {
        if self.source.assume().get("x").is_some() || self.source.assume().get("y").is_some() {
            return None;
        }
        let named: Vec<&Quantity> = self
            .columns
            .iter()
            .filter_map(|column| column.quantity.as_ref())
            .collect();
        let holds = self
            .columns
            .iter()
            .any(|c| c.held.iter().any(|held| held.quantity == Quantity::WAVELENGTH));
        if holds || named.iter().any(|quantity| of_the_trade(quantity)) {
            return None;
        }
        let has = |quantity: &Quantity| named.contains(&quantity);
        let rates = has(&Quantity::RATE) || self.context.names(&Quantity::RATE);
        if rates
            && [
                Quantity::CONCENTRATION,
                Quantity::TIME,
                Quantity::PH,
                Quantity::TEMPERATURE,
            ]
            .iter()
            .any(has)
        {
            return None;
        }
        if self.context.quantities.iter().any(of_the_trade) || self.context.wavelength.is_some() {
            return None;
        }
        let heads: Vec<String> = self
            .columns
            .iter()
            .filter_map(|column| column.heads.last())
            .filter(|(text, _)| text.chars().any(char::is_alphabetic))
            .map(|(text, _)| format!("`{text}`"))
            .take(6)
            .collect();
        let whole = self
            .columns
            .iter()
            .filter(|c| c.kind == Kind::Figures)
            .all(|c| c.stats.whole);
        if heads.is_empty() && whole && self.table.open.is_none() {
            return Some("whole numbers only, without any word of the trade around them".to_owned());
        }
        if heads.is_empty() {
            let words = self.columns.iter().any(|column| column.kind == Kind::Words);
            return (words || self.table.grid.rows < 4)
                .then(|| "a few rows of numbers without any word of the trade around them".to_owned());
        }
        let vague = self
            .columns
            .iter()
            .filter_map(|c| c.heads.last())
            .all(|(text, _)| {
                let word = text
                    .trim()
                    .trim_end_matches(|c: char| c.is_ascii_digit() || matches!(c, ' ' | '_' | '-' | '.'))
                    .to_lowercase();
                matches!(
                    word.as_str(),
                    "x" | "y"
                        | "data"
                        | "value"
                        | "values"
                        | "signal"
                        | "column"
                        | "col"
                        | "spalte"
                        | "colonne"
                        | "columna"
                        | "channel"
                        | "ch"
                        | "series"
                        | "a"
                        | "b"
                        | ""
                )
            });
        (!vague).then(|| format!("the heads speak of other things: {}", heads.join(", ")))
    }

    fn ask_dialect(&mut self, code: Code, readings: &[super::dialect::Dialect]) {
        let text = self.source.text();
        let line = self.table.first_line as usize;
        let span = self.source.lines().span(line - 1);
        let row = text[span.range()].trim();
        let says = |dialect: &super::dialect::Dialect| {
            let cells: Vec<String> = super::dialect::split(row, dialect)
                .into_iter()
                .map(
                    |range| match super::number::cell(&row[range.clone()], dialect.style) {
                        super::number::Cell::Number { value, .. } => value.to_string(),
                        _ => format!("`{}`", &row[range]),
                    },
                )
                .take(6)
                .collect();
            format!("{}: the first row is {}", dialect.says(), cells.join(" | "))
        };
        let readings = readings
            .iter()
            .map(|dialect| Alternative {
                assume: dialect.answer(),
                says: says(dialect),
            })
            .collect();
        self.questions.push(Question {
            message: format!("the commas and points of this table can be read in more than one way: `{row}`"),
            code,
            readings,
            labels: vec![Label {
                place: self
                    .source
                    .place(Span::new(span.start as usize, span.start as usize + row.len())),
                text: "the first row".to_owned(),
            }],
        });
    }

    // ---- single axis ----

    /// The running column where no head names one.
    fn x_by_values(&self, roles: &[Role]) -> Option<usize> {
        let open: Vec<usize> = (0..roles.len())
            .filter(|&i| matches!(roles[i], Role::Open | Role::Counter))
            .collect();
        let beside: Vec<usize> = (0..roles.len()).filter(|&i| roles[i] == Role::Beside).collect();
        let measured = roles.contains(&Role::Measured);
        if roles.contains(&Role::Names) && measured {
            return None;
        }
        // Temperature against absorbance: a melting curve.
        if measured && open.is_empty() && beside.len() == 1 {
            return beside.first().copied();
        }
        let candidates: Vec<usize> = open.iter().copied().filter(|&i| roles[i] == Role::Open).collect();
        let first = *candidates.first()?;
        // A counter without a head in front of the axis.
        if candidates.len() >= 2
            && self.columns[first].stats.counts()
            && self.columns[first].heads.is_empty()
            && self.columns[candidates[1]].stats.orderly()
            && self.columns[candidates[1]].stats.max > 20.0
        {
            return Some(candidates[1]);
        }
        if self.columns[first].stats.orderly() || self.columns.len() != 2 {
            let headed = |i: usize| self.columns[i].label.is_some() || !self.columns[i].held.is_empty();
            return Some(first).filter(|_| !(headed(first) && roles.contains(&Role::Names)));
        }
        // Two columns, the second of which rises or falls all the way: y stands before x.
        candidates
            .get(1)
            .copied()
            .filter(|&i| self.columns[i].stats.orderly())
            .or(Some(first))
    }

    /// One running column, the others measured over it.
    fn one_axis(&mut self, x: usize, roles: &[Role]) -> Shaped {
        let same_axis = |i: usize| {
            roles[i] == Role::Coordinate
                && (self.columns[i].quantity == self.columns[x].quantity || self.columns[i].clock.is_some())
        };
        let second_axes: Vec<usize> = (0..roles.len()).filter(|&i| i != x && same_axis(i)).collect();
        let ys: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                i != x && !matches!(roles[i], Role::Counter | Role::Names) && !second_axes.contains(&i)
            })
            .filter(|&i| !self.is_counter_by_values(i, x, roles))
            .filter(|&i| self.columns[i].kind == Kind::Figures)
            .collect();
        let (ys, sparse): (Vec<usize>, Vec<usize>) = ys.into_iter().partition(|&i| {
            let column = &self.columns[i];
            column.quantity.as_ref().is_some_and(of_the_trade)
                || column.stats.count * 2 >= self.table.grid.rows
        });
        for &i in &sparse {
            let head = self
                .name(i)
                .unwrap_or_else(|| format!("column {}", self.columns[i].index + 1));
            self.remarks.push(
                Diagnostic::warning(
                    Code::new("column-left-out"),
                    format!("`{head}` has numbers in a few rows only and was not taken for a curve"),
                )
                .at(
                    Place::line(self.table.first_line as usize),
                    "its table begins here",
                ),
            );
        }
        for &i in &second_axes {
            let head = self
                .name(i)
                .unwrap_or_else(|| format!("column {}", self.columns[i].index + 1));
            let code = Code::new("second-axis");
            self.remarks.push(
                Diagnostic::note(
                    code,
                    format!("`{head}` is another running column; the curves run over the first"),
                )
                .at(Place::line(self.table.first_line as usize), ""),
            );
        }
        if self.columns[x].heads.is_empty()
            && self.columns[x].quantity.is_none()
            && ys.len() >= 3
            && self.source.assume().get("shape").is_none()
        {
            let labels = self.label_at(&self.columns[x].clone(), "the first row");
            let message = format!(
                "a table of {} columns without heads: what each column is cannot be told",
                ys.len() + 1
            );
            self.ask(
                "layout-unknown",
                &message,
                &[(
                    "shape=columns",
                    "the first column runs, each other one is a curve",
                )],
                labels,
            );
        }
        let settled = self.source.assume().get("shape").is_some();
        if let Some(line) = self.table.unmatched_head.filter(|_| !settled) {
            let labels = vec![Label {
                place: self.source.place(line.span),
                text: "these heads".to_owned(),
            }];
            let message = format!(
                "the heads above do not go with the {} columns of the table",
                self.table.grid.columns()
            );
            self.ask(
                "heads-do-not-fit",
                &message,
                &[("shape=columns", "the heads are to be left aside")],
                labels,
            );
        }
        if ys.is_empty() {
            return Shaped::Other("a single column of numbers, with nothing measured over it".to_owned());
        }
        let (quantity, unit) = self.x_meaning(x);
        self.tell_disorder(x, &quantity);
        let technique = self.technique_of(&quantity, &ys);
        let held_constants = self.constants(x, roles);
        for (column, constant) in &held_constants {
            self.used(*column, ColumnRole::Held, &constant.quantity, &constant.unit);
        }
        let mut traces = Vec::with_capacity(ys.len());
        let names = self.row_names(roles);
        for &y in &ys {
            if held_constants.iter().any(|(column, _)| *column == y) {
                continue;
            }
            for rows in self.sweeps(x) {
                let mut trace = self.trace(x, &quantity, &unit, y, roles, rows);
                for (_, constant) in &held_constants {
                    if trace.held(&constant.quantity).is_none() {
                        trace.held.push(constant.clone());
                    }
                }
                if let Some(names) = &names
                    && trace.len() == names.len()
                {
                    trace.row_names.clone_from(names);
                }
                traces.push(trace);
            }
        }
        if quantity == Quantity::TIME {
            self.hold_bare_wavelengths(&ys, &mut traces);
            self.hold_wavelength(&mut traces);
            self.tell_interval(x);
        }
        Shaped::Runs(vec![self.finish(technique, traces)])
    }

    /// Bare numbers over time courses are wavelengths where the words around speak of nanometres and the numbers suit.
    fn hold_bare_wavelengths(&mut self, ys: &[usize], traces: &mut [Trace]) {
        let told = self.context.units.contains(&Unit::NANOMETRE) || self.context.names(&Quantity::WAVELENGTH);
        if !told || ys.len() != traces.len() {
            return;
        }
        for (&y, trace) in ys.iter().zip(traces) {
            let column = &self.columns[y];
            let bare = column
                .held
                .iter()
                .find(|held| held.quantity == Quantity::UNKNOWN && (180.0..=1400.0).contains(&held.value));
            if let (Some(bare), Some((text, span))) = (bare, column.heads.last()) {
                let mut held = Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, bare.value);
                held.raw = Some(text.trim().to_owned());
                held.line = Some(self.source.place(*span).line);
                trace.held.push(held);
                self.because_once("the numbers over the columns are wavelengths in nm: the words around speak of nanometres");
            }
        }
    }

    /// Tells where the interval that is stated is not that of the times.
    fn tell_interval(&mut self, x: usize) {
        let column = &self.columns[x];
        let unit = if column.clock.is_some() {
            Some(Unit::SECOND)
        } else {
            column.unit.clone()
        };
        let (Some(interval), Some(step), Some(unit)) = (self.context.interval, column.stats.step, unit)
        else {
            return;
        };
        let step = unit.to_si(step).abs();
        if (interval - step).abs() > 0.02 * interval.max(step) {
            self.remarks.push(
                Diagnostic::warning(Code::new("interval-disputed"), format!("the interval is stated as {interval} s, but the times are {step} s apart: they disagree"))
                    .at(Place::line(self.table.first_line as usize), "the times")
                    .help("the times of the table are kept"),
            );
        }
    }

    /// Tells where a running column goes back: a damaged number, or another run appended.
    fn tell_disorder(&mut self, x: usize, quantity: &Quantity) {
        let column = &self.columns[x];
        if column.stats.orderly()
            || column.stats.count < 4
            || !matches!(quantity.as_str(), "wavelength" | "wavenumber" | "time")
        {
            return;
        }
        let rows: Vec<(usize, f64)> = match &column.clock {
            Some(clock) => clock
                .seconds
                .iter()
                .enumerate()
                .filter_map(|(row, s)| s.map(|s| (row, s)))
                .collect(),
            None => self
                .table
                .grid
                .column(column.index)
                .enumerate()
                .filter(|(_, v)| !v.is_nan())
                .collect(),
        };
        let rises = rows.windows(2).filter(|w| w[1].1 > w[0].1).count();
        let up = rises * 2 >= rows.len();
        let breaks: Vec<usize> = rows
            .windows(2)
            .filter(|w| if up { w[1].1 <= w[0].1 } else { w[1].1 >= w[0].1 })
            .map(|w| w[1].0)
            .collect();
        if breaks.is_empty() || breaks.len() * 3 > rows.len() {
            return;
        }
        let times = if breaks.len() == 1 {
            "once".to_owned()
        } else {
            format!("{} times", breaks.len())
        };
        let mut remark = Diagnostic::warning(
            Code::new("x-goes-back"),
            format!(
                "the {quantity} is not in order: it jumps back or repeats {times}; a damaged number, or a second run appended"
            ),
        );
        for &row in breaks.iter().take(PLACES_TOLD) {
            remark = remark.at(Place::line(self.table.grid.line(row)), "out of order here");
        }
        self.remarks.push(remark);
    }

    /// A column without a head, 1, 2, 3, …, beside an axis that is none: it counts the rows.
    fn is_counter_by_values(&self, column: usize, x: usize, roles: &[Role]) -> bool {
        let this = &self.columns[column];
        roles[column] == Role::Open
            && column < x
            && this.stats.counts()
            && this.stats.count >= 3
            && this
                .heads
                .iter()
                .all(|(text, _)| !text.chars().any(char::is_alphabetic))
    }

    /// Coordinates that have the same value in every row.
    fn constants(&self, x: usize, roles: &[Role]) -> Vec<(usize, Coordinate)> {
        let mut constants = Vec::new();
        for (index, column) in self.columns.iter().enumerate() {
            let coordinate = roles[index] == Role::Coordinate || roles[index] == Role::Beside;
            if index == x || !coordinate || column.kind != Kind::Figures || column.stats.count < 2 {
                continue;
            }
            if column.stats.min == column.stats.max
                && let (Some(quantity), Some(unit)) = (&column.quantity, self.unit_of(column))
            {
                constants.push((index, Coordinate::new(quantity.clone(), unit, column.stats.min)));
            }
        }
        constants
    }

    fn unit_of(&self, column: &Column) -> Option<Unit> {
        column
            .unit
            .clone()
            .or_else(|| match column.quantity.as_ref()?.as_str() {
                "wavelength" if column.stats.like_nanometres() => Some(Unit::NANOMETRE),
                "ph" => Unit::ucum("[pH]").ok(),
                _ => None,
            })
    }

    /// The rows of each sweep: where x goes back to its beginning, another begins.
    fn sweeps(&self, x: usize) -> Vec<Option<std::ops::Range<usize>>> {
        let column = &self.columns[x];
        if column.stats.orderly() || column.stats.count < 6 || column.kind != Kind::Figures {
            return vec![None];
        }
        let values: Vec<f64> = self.table.grid.column(column.index).collect();
        let mut starts = vec![0_usize];
        for row in 2..values.len() {
            let start = starts.last().copied().unwrap_or(0);
            if row - start < 3 {
                continue;
            }
            let direction = values[start + 1] - values[start];
            let back = (values[row] - values[row - 1]) * direction < 0.0;
            if back && values[row] == values[0] {
                starts.push(row);
            } else if back || values[row].is_nan() || direction == 0.0 {
                return vec![None];
            }
        }
        if starts.len() < 2 {
            return vec![None];
        }
        starts.push(values.len());
        if starts.windows(2).any(|pair| pair[1] - pair[0] < 3) {
            return vec![None];
        }
        starts.windows(2).map(|pair| Some(pair[0]..pair[1])).collect()
    }

    /// What the running column is of.
    fn x_meaning(&mut self, x: usize) -> (Quantity, Unit) {
        let column = self.columns[x].clone();
        if let Some((quantity, unit)) = self.source.assume().axis("x") {
            self.because
                .push("what the x axis is of was settled, not read".to_owned());
            let unit = unit.or_else(|| column.unit.clone()).unwrap_or(Unit::ONE);
            return (quantity, unit);
        }
        if let Some(clock) = &column.clock {
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
            self.doubt_axis(&column, &quantity, &unit);
            if let Some(head) = head {
                self.because
                    .push(format!("x is {quantity}: its head says `{}`", head.trim()));
            }
            return (quantity, unit);
        }
        if !column.quantities_possible.is_empty()
            || head
                .as_deref()
                .is_some_and(|head| head.trim().eq_ignore_ascii_case("wave"))
        {
            let spelled = head.unwrap_or_default();
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
        self.x_meaning_by_values(&column)
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

    fn x_unit(&mut self, column: &Column, quantity: &Quantity) -> Unit {
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

    fn two_parts_are_minutes(&mut self, column: &Column) -> bool {
        let head = column
            .heads
            .iter()
            .map(|(text, _)| text.to_lowercase())
            .collect::<Vec<_>>()
            .join(" ");
        let said = ["mm:ss", "m:ss", "min:s", "min:sek", "mn:s", "min:seg", "m:s"]
            .iter()
            .any(|form| head.contains(form));
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
        // More than a day of hours cannot be told on a clock.
        let beyond_a_day = column.stats.max >= 24.0 * 60.0;
        let fraction = column.clock.as_ref().is_some_and(|clock| clock.decimals > 0);
        if said || by_interval || by_duration || beyond_a_day || fraction {
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
        let mut readings: Vec<(&str, &str)> = Vec::new();
        if like_light || stats.like_nanometres() {
            readings.push(("x=wavelength:nm", "wavelengths in nanometres"));
        }
        if stats.min > 2000.0 {
            readings.push(("x=wavenumber:/cm", "wavenumbers in reciprocal centimetres"));
        }
        if !stats.falling && stats.min >= 0.0 {
            readings.push(("x=time:s", "times in seconds"));
            readings.push(("x=time:min", "times in minutes"));
        }
        if stats.min >= 0.0 && !like_light {
            readings.push((
                "x=concentration:umol/L",
                "concentrations, here in micromoles per litre",
            ));
        }
        if readings.is_empty() {
            readings.push(("x=index", "a mere count"));
        }
        self.ask_x(
            column,
            "axis-unknown",
            &format!(
                "nothing tells what the running column (from {} to {}) is",
                stats.first, stats.last
            ),
            &readings,
        );
        (Quantity::UNKNOWN, Unit::ONE)
    }

    fn ask_x(&mut self, column: &Column, code: &'static str, message: &str, readings: &[(&str, &str)]) {
        let labels = self.label_at(column, "the running column");
        self.ask(code, message, readings, labels);
    }

    fn label_at(&self, column: &Column, text: &str) -> Vec<Label> {
        let place = match column.heads.last() {
            Some((_, span)) => self.source.place(*span),
            None => Place::line(self.table.first_line as usize),
        };
        vec![Label {
            place,
            text: text.to_owned(),
        }]
    }

    fn ask(&mut self, code: &'static str, message: &str, readings: &[(&str, &str)], labels: Vec<Label>) {
        let question = Question {
            code: Code::new(code),
            message: message.to_owned(),
            readings: readings
                .iter()
                .map(|(assume, says)| Alternative {
                    assume: (*assume).to_owned(),
                    says: (*says).to_owned(),
                })
                .collect(),
            labels,
        };
        if !self
            .questions
            .iter()
            .any(|known| known.code == question.code && known.readings == question.readings)
        {
            self.questions.push(question);
        }
    }

    /// What a measured column is of.
    fn y_meaning(&mut self, y: usize, x_quantity: &Quantity, roles: &[Role]) -> (Quantity, Unit) {
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
            (Some(quantity), Role::Beside | Role::Open | Role::Coordinate) => Some(quantity.clone()),
            _ => None,
        };
        let measured = roles[y] == Role::Measured || roles[y] == Role::Open;
        if (quantity.is_none() || measured)
            && let Some((quantity, unit)) = assumed
        {
            let unit = unit.unwrap_or_else(|| customary_unit(&quantity));
            return (quantity, unit);
        }
        if let Some((text, _)) = column
            .heads
            .iter()
            .rev()
            .find(|(text, _)| crate::words::is_statistics(text))
        {
            // A mean or deviation beside its readings is kept under its own name.
            return (
                Quantity::named(text.trim().to_lowercase()),
                column.unit.clone().unwrap_or(Unit::ONE),
            );
        }
        if let Some(quantity) = quantity {
            self.doubt_measured(&column, &quantity);
            let unit = match quantity.as_str() {
                "absorbance" => column.unit.clone().unwrap_or(Unit::ABSORBANCE),
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
        // Beside a column that says what it is, a column of another name keeps its own.
        let others_told = roles.iter().enumerate().any(|(i, role)| {
            i != y
                && *role == Role::Measured
                && self.columns[i]
                    .quantity
                    .as_ref()
                    .is_some_and(of_the_trade_measured)
        });
        let has_words = head.chars().any(char::is_alphabetic);
        if others_told && has_words && column.held.is_empty() && x_quantity != &Quantity::UNKNOWN {
            return (
                Quantity::named(head.to_lowercase()),
                column.unit.clone().unwrap_or(Unit::ONE),
            );
        }
        let names = |quantity: &Quantity| {
            self.context.names(quantity) || self.columns.iter().any(|c| c.quantity.as_ref() == Some(quantity))
        };
        let (absorbance, transmittance) = (names(&Quantity::ABSORBANCE), names(&Quantity::TRANSMITTANCE));
        match (absorbance, transmittance) {
            (true, false) => {
                self.because_once("y is absorbance: the words around the table say so");
                (Quantity::ABSORBANCE, Unit::ABSORBANCE)
            }
            (false, true) => {
                self.because_once("y is transmittance: the words around the table say so");
                let unit = self.percent_or_fraction(&column, &Quantity::TRANSMITTANCE);
                (Quantity::TRANSMITTANCE, unit)
            }
            _ => {
                let labels = self.label_at(&column, "the measured column");
                let stats = column.stats;
                let mut readings = vec![("y=absorbance:{AU}", "absorbance")];
                if stats.max > 1.5 {
                    readings.push(("y=transmittance:%", "transmittance in percent"));
                } else {
                    readings.push(("y=transmittance:1", "transmittance as a fraction"));
                }
                let message = format!(
                    "nothing tells what was measured (values from {} to {})",
                    stats.min, stats.max
                );
                self.ask("absorbance-or-transmittance", &message, &readings, labels);
                (Quantity::UNKNOWN, Unit::ONE)
            }
        }
    }

    /// Asks where the numbers do not suit an absorbance: no detector tells more than ten, and noise is not below minus one.
    fn doubt_measured(&mut self, column: &Column, quantity: &Quantity) {
        let scale = column.unit.as_ref().map_or(1.0, |unit| unit.to_si(1.0));
        if *quantity != Quantity::ABSORBANCE || self.source.assume().get("y").is_some() {
            return;
        }
        let plausible = |value: f64| value * scale <= 10.0 && value * scale >= -2.0;
        let is_sentinel = sentinel_of(self.context, quantity);
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

    fn because_once(&mut self, reason: &str) {
        if !self.because.iter().any(|known| known == reason) {
            self.because.push(reason.to_owned());
        }
    }

    fn percent_or_fraction(&mut self, column: &Column, quantity: &Quantity) -> Unit {
        if let Some(unit) = &column.unit {
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

    fn technique_of(&self, x: &Quantity, ys: &[usize]) -> Technique {
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
                if (head_peaks || self.context.peaks) && uneven && self.table.grid.rows <= 60 {
                    Technique::PEAK_LIST
                } else {
                    Technique::SPECTRUM
                }
            }
            "time" => Technique::TIME_COURSE,
            "concentration" if rate => Technique::RATE_SERIES,
            "concentration" | "index" => Technique::FIXED_WAVELENGTH,
            _ => Technique::UNKNOWN,
        }
    }

    /// Gives time courses the wavelength that the words around state.
    fn hold_wavelength(&mut self, traces: &mut [Trace]) {
        let traces_are_few = traces.len() == 1;
        if let Some((value, unit, line)) = &self.context.wavelength {
            for trace in traces {
                if let Some(held) = trace
                    .held(&Quantity::WAVELENGTH)
                    .filter(|held| held.value != *value && traces_are_few)
                {
                    let remark = Diagnostic::warning(
                        Code::new("wavelength-disputed"),
                        format!(
                            "a head says {} {}, but the words around say {value} {}: they disagree",
                            held.value,
                            held.unit.display(),
                            unit.display()
                        ),
                    )
                    .at(Place::line(held.line.unwrap_or(0) as usize), "the head")
                    .help("the head's wavelength is kept");
                    if !self.remarks.contains(&remark) {
                        self.remarks.push(remark);
                    }
                }
                let measured =
                    of_the_trade_measured(&trace.y.quantity) || trace.y.quantity == Quantity::UNKNOWN;
                if measured && trace.held(&Quantity::WAVELENGTH).is_none() {
                    let mut held = Coordinate::new(Quantity::WAVELENGTH, unit.clone(), *value);
                    held.line = Some(*line).filter(|&line| line > 0);
                    trace.held.push(held);
                }
            }
        }
    }

    fn row_names(&self, roles: &[Role]) -> Option<Vec<String>> {
        let text = self.source.text();
        let columns: Vec<&Column> = self
            .columns
            .iter()
            .zip(roles)
            .filter(|(column, role)| **role == Role::Names && !self.is_sparse(column))
            .map(|(column, _)| column)
            .collect();
        if columns.is_empty() {
            return None;
        }
        let names = (0..self.table.grid.rows).map(|row| {
            let parts: Vec<&str> = columns
                .iter()
                .filter_map(|column| self.table.grid.words(column.index).get(row))
                .map(|span| text[span.range()].trim())
                .filter(|part| !part.is_empty())
                .collect();
            parts.join(" / ")
        });
        Some(names.collect())
    }

    /// Whether every row has a name of its own.
    fn named_one_by_one(&self, roles: &[Role]) -> bool {
        self.row_names(roles).is_some_and(|mut names| {
            let rows = names.len();
            names.sort_unstable();
            names.dedup();
            names.len() == rows
        })
    }

    /// A column of words in which most rows have none: flags and events, not names.
    fn is_sparse(&self, column: &Column) -> bool {
        let words = self.table.grid.words(column.index);
        words.iter().filter(|span| span.start == span.end).count() * 3 > words.len()
    }

    /// Tells the flags and events that stand beside the rows.
    fn tell_flags(&mut self, roles: &[Role]) {
        let text = self.source.text();
        let mut told = Vec::new();
        for (column, role) in self.columns.iter().zip(roles) {
            if *role != Role::Names || !self.is_sparse(column) {
                continue;
            }
            let flags = self
                .table
                .grid
                .words(column.index)
                .iter()
                .filter(|span| span.start < span.end);
            for span in flags.take(PLACES_TOLD * 4) {
                told.push(
                    Diagnostic::note(
                        Code::new("row-flag"),
                        format!("a row is marked `{}`", text[span.range()].trim()),
                    )
                    .at(self.source.place(*span), ""),
                );
            }
        }
        self.remarks.extend(told);
    }

    // ---- single readings ----

    /// Rows that are readings of their own: x is a mere count.
    fn readings(&mut self, roles: &[Role]) -> Shaped {
        let ys: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                matches!(roles[i], Role::Measured | Role::Open | Role::Beside)
                    && self.columns[i].kind == Kind::Figures
            })
            .collect();
        if !ys.iter().any(|&y| roles[y] == Role::Measured)
            && !self.context.quantities.iter().any(of_the_trade_measured)
        {
            return Shaped::Other("rows of names and numbers, and none of them absorbance".to_owned());
        }
        let rows = self.table.grid.rows;
        let names = self.row_names(roles);
        let counted: Arc<[f64]> = (1..=rows).map(|row| row as f64).collect();
        let mut traces = Vec::new();
        let headed = ys.iter().any(|&y| self.columns[y].quantity.is_some());
        let settled = self.source.assume().get("shape").is_some();
        for &y in &ys {
            let (mut quantity, mut unit) = self.y_meaning(y, &Quantity::INDEX, roles);
            if headed && !settled && self.name(y).is_none() {
                // Numbers without a head beside a column that has one: nothing says that they were measured.
                (quantity, unit) = (Quantity::UNKNOWN, Unit::ONE);
                self.ask(
                    "heads-do-not-fit",
                    "a column of numbers has no head, and another has one",
                    &[(
                        "shape=columns",
                        "the column is of the same kind as the one with a head",
                    )],
                    Vec::new(),
                );
            }
            let (kept, values, decimals) = self.kept(y, &quantity, None);
            let x = Values::new(
                Quantity::INDEX,
                Unit::ONE,
                if kept.len() == rows {
                    Arc::clone(&counted)
                } else {
                    kept.iter().map(|&row| (row + 1) as f64).collect()
                },
            );
            let column = Values {
                quantity,
                unit,
                name: self.name(y),
                values: values.into(),
                decimals,
            };
            if let Some(mut trace) = self.assemble(x, column, y, &kept) {
                if let Some(names) = &names {
                    trace.row_names = kept.iter().filter_map(|&row| names.get(row).cloned()).collect();
                }
                traces.push(trace);
            }
        }
        self.hold_wavelength(&mut traces);
        Shaped::Runs(vec![self.finish(Technique::FIXED_WAVELENGTH, traces)])
    }

    // ---- several axes side by side ----

    /// Pairs, tables side by side, and newspaper columns.
    fn several_axes(&mut self, xs: &[usize], roles: &[Role]) -> Option<Vec<Draft>> {
        let xs: Vec<usize> = if xs.len() >= 2 {
            xs.to_vec()
        } else {
            self.pairs_by_values(roles)?
        };
        let quantity = |i: usize| self.columns[i].quantity.clone();
        // Each axis must have measured columns of its own between it and the next axis.
        let measured_between = |from: usize, to: usize| -> Vec<usize> {
            (from..to)
                .filter(|&i| !matches!(roles[i], Role::Coordinate | Role::Counter | Role::Names))
                .filter(|i| !xs.contains(i))
                .collect()
        };
        let mut groups: Vec<(usize, Vec<usize>)> = Vec::new();
        let y_first = xs[0] > 0 && !measured_between(0, xs[0]).is_empty();
        for (n, &x) in xs.iter().enumerate() {
            let ys = if y_first {
                measured_between(if n == 0 { 0 } else { xs[n - 1] + 1 }, x)
            } else {
                measured_between(x + 1, xs.get(n + 1).copied().unwrap_or(self.columns.len()))
            };
            if ys.is_empty() {
                return None;
            }
            groups.push((x, ys));
        }
        // A time beside a wavelength with measured columns between them is another matter unless the lengths differ.
        let first = quantity(xs[0]);
        let mixed = xs.iter().any(|&x| quantity(x) != first);
        if mixed && self.table.grid.rows > 0 && groups.iter().any(|(x, _)| !self.columns[*x].stats.orderly())
        {
            return None;
        }
        let mut drafts: Vec<Draft> = Vec::new();
        let mut by_quantity: Vec<(Quantity, Vec<Trace>)> = Vec::new();
        for (x, ys) in groups {
            let (quantity, unit) = self.x_meaning(x);
            for y in ys {
                let trace = self.trace(x, &quantity, &unit, y, roles, None);
                match by_quantity.iter_mut().find(|(q, _)| *q == quantity) {
                    Some((_, traces)) => traces.push(trace),
                    None => by_quantity.push((quantity.clone(), vec![trace])),
                }
            }
        }
        for (quantity, traces) in by_quantity {
            let mut traces = newspaper(traces);
            if quantity == Quantity::TIME {
                self.hold_wavelength(&mut traces);
            }
            let ys: Vec<usize> = (0..self.columns.len())
                .filter(|&i| roles[i] == Role::Measured)
                .collect();
            let technique = self.technique_of(&quantity, &ys);
            drafts.push(self.finish(technique, traces));
        }
        Some(drafts)
    }

    /// Columns 0, 2, 4, … that all rise or all fall, without heads: pairs of x and y.
    fn pairs_by_values(&self, roles: &[Role]) -> Option<Vec<usize>> {
        let n = self.columns.len();
        let bare = roles.iter().all(|role| *role == Role::Open);
        if n < 4 || n % 2 == 1 || !bare {
            return None;
        }
        let xs: Vec<usize> = (0..n).step_by(2).collect();
        let stats = |i: usize| self.columns[i].stats;
        let falling = stats(0).falling;
        let axes = xs.iter().all(|&i| {
            stats(i).orderly() && stats(i).falling == falling && stats(i).count >= 3 && stats(i).min >= 100.0
        });
        let measured = xs.iter().all(|&i| {
            stats(i + 1).max.abs() <= 20.0 && !(stats(i + 1).orderly() && stats(i + 1).step.is_some())
        });
        (axes && measured).then_some(xs)
    }

    // ---- long form ----

    /// One observation a row, with its coordinates and names in columns.
    fn long_form(&mut self, xs: &[usize], roles: &[Role]) -> Option<Draft> {
        let rows = self.table.grid.rows;
        let measured: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                roles[i] == Role::Measured
                    || (roles[i] == Role::Open && self.columns[i].kind == Kind::Figures)
            })
            .collect();
        if measured.is_empty() || xs.iter().any(|&x| self.columns[x].kind != Kind::Figures) {
            return None;
        }
        let distinct = |i: usize| -> usize {
            let mut seen: Vec<u64> = self
                .table
                .grid
                .column(self.columns[i].index)
                .map(f64::to_bits)
                .collect();
            seen.sort_unstable();
            seen.dedup();
            seen.len()
        };
        let of = |quantity: &Quantity| {
            xs.iter()
                .copied()
                .find(|&x| self.columns[x].quantity.as_ref() == Some(quantity))
        };
        let light = of(&Quantity::WAVELENGTH).or_else(|| of(&Quantity::WAVENUMBER));
        let running = match (light, of(&Quantity::TIME)) {
            (Some(light), Some(time)) => {
                let (wavelengths, times) = (distinct(light), distinct(time));
                if wavelengths >= SCAN_FROM || times == 1 {
                    light
                } else {
                    time
                }
            }
            (Some(light), None) if distinct(light) > 1 => light,
            (None, Some(time)) => time,
            _ => *xs.iter().max_by_key(|&&x| distinct(x))?,
        };
        let keys: Vec<usize> = (0..roles.len())
            .filter(|&i| {
                let names = roles[i] == Role::Names && !self.is_sparse(&self.columns[i]);
                i != running && (names || (roles[i] == Role::Coordinate && xs.contains(&i)))
            })
            .collect();
        let text = self.source.text();
        let key_of = |row: usize| -> Vec<String> {
            keys.iter()
                .map(|&i| {
                    let column = &self.columns[i];
                    match column.kind {
                        Kind::Words => self
                            .table
                            .grid
                            .words(column.index)
                            .get(row)
                            .map_or(String::new(), |span| text[span.range()].trim().to_owned()),
                        Kind::Figures => self.table.grid.figure(row, column.index).to_string(),
                    }
                })
                .collect()
        };
        let mut groups: Vec<(Vec<String>, Vec<usize>)> = Vec::new();
        let mut places: BTreeMap<Vec<String>, usize> = BTreeMap::new();
        for row in 0..rows {
            let key = key_of(row);
            match places.get(&key) {
                Some(&group) => groups[group].1.push(row),
                None => {
                    places.insert(key.clone(), groups.len());
                    groups.push((key, vec![row]));
                }
            }
        }
        // Readings that have nothing in common are no curves.
        if groups.len() * 2 > rows || (groups.len() == 1 && xs.len() < 2) {
            return None;
        }
        let (quantity, unit) = self.x_meaning(running);
        let units: Vec<Option<Unit>> = keys.iter().map(|&i| self.unit_of(&self.columns[i])).collect();
        for (&key, unit) in keys.iter().zip(&units) {
            if roles[key] == Role::Coordinate && unit.is_none() {
                let column = self.columns[key].clone();
                let named = column.quantity.clone().unwrap_or(Quantity::UNKNOWN);
                self.x_unit(&column, &named);
            }
        }
        self.used(running, ColumnRole::Axis, &quantity, &unit);
        for (&key, unit) in keys.iter().zip(&units) {
            let named = self.columns[key].quantity.clone().unwrap_or(Quantity::UNKNOWN);
            match roles[key] {
                Role::Names => self.used(key, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE),
                _ => self.used(key, ColumnRole::Held, &named, unit.as_ref().unwrap_or(&Unit::ONE)),
            }
        }
        let mut traces = Vec::new();
        for &y in &measured {
            let (y_quantity, y_unit) = self.y_meaning(y, &quantity, roles);
            for (key, rows) in &groups {
                let (kept, values, decimals) =
                    self.kept_rows(y, &y_quantity, Some(running), rows.iter().copied());
                let place = self.table.grid.place(self.columns[running].index);
                let x_values: Vec<f64> = kept
                    .iter()
                    .map(|&row| self.table.grid.figure(row, self.columns[running].index))
                    .collect();
                let x_decimals = decimals_of(&self.decimals[place], kept.iter().copied());
                let x = Values {
                    quantity: quantity.clone(),
                    unit: unit.clone(),
                    name: self.name(running),
                    values: x_values.into(),
                    decimals: x_decimals,
                };
                let column = Values {
                    quantity: y_quantity.clone(),
                    unit: y_unit.clone(),
                    name: self.name(y),
                    values: values.into(),
                    decimals,
                };
                let Some(mut trace) = self.assemble(x, column, y, &kept) else {
                    continue;
                };
                let mut words = Vec::new();
                for ((&i, unit), part) in keys.iter().zip(&units).zip(key) {
                    if roles[i] == Role::Names {
                        if !part.is_empty() {
                            words.push(part.clone());
                        }
                    } else if let Some(&first) = rows.first() {
                        let named = self.columns[i].quantity.clone().unwrap_or(Quantity::UNKNOWN);
                        let value = self.table.grid.figure(first, self.columns[i].index);
                        if !value.is_nan() {
                            trace
                                .held
                                .push(Coordinate::new(named, unit.clone().unwrap_or(Unit::ONE), value));
                        }
                    }
                }
                if !words.is_empty() {
                    let label = words.join(" / ");
                    if let Some(&first) = rows.first() {
                        let place = Place::line(self.table.grid.line(first));
                        trace
                            .fields
                            .claim("sample", Claim::text(label.clone(), Origin::Source(place)));
                    }
                    trace.label = Some(label);
                }
                traces.push(trace);
            }
        }
        if quantity == Quantity::TIME {
            self.hold_wavelength(&mut traces);
        }
        let scans = traces
            .iter()
            .filter(|trace| trace.held(&Quantity::TIME).is_some())
            .count();
        let technique = if scans > 1 {
            Technique::SPECTRAL_TIME_COURSE
        } else {
            self.technique_of(&quantity, &measured)
        };
        self.because.push(
            "each row is one observation; the rows are sorted into curves by their names and coordinates"
                .to_owned(),
        );
        Some(self.finish(technique, traces))
    }

    // ---- matrices ----

    /// Numbers across the heads: wavelengths by times, or spectra as rows.
    fn matrix(&mut self) -> Option<Draft> {
        let first = self.columns.first()?;
        let corner: String = first
            .heads
            .iter()
            .map(|(text, _)| text.as_str())
            .collect::<Vec<_>>()
            .join(" ");
        // The row of heads that are numbers, and what they are numbers of.
        let across: Vec<(usize, f64, Option<Coordinate>)> = self
            .columns
            .iter()
            .enumerate()
            .skip(1)
            .filter(|(_, column)| column.kind == Kind::Figures)
            .filter_map(|(i, column)| {
                number_over(column, first).map(|(value, coordinate)| (i, value, coordinate))
            })
            .collect();
        let figures = self
            .columns
            .iter()
            .skip(1)
            .filter(|column| column.kind == Kind::Figures)
            .count();
        if across.len() < 2 || across.len() * 10 < figures * 8 {
            return None;
        }
        let values: Vec<f64> = across.iter().map(|(_, value, _)| *value).collect();
        let told: Option<(Quantity, Unit)> = across[0]
            .2
            .as_ref()
            .filter(|c| c.quantity != Quantity::UNKNOWN)
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
                        && first.stats.min >= 180.0
                        && !spread.like_light());
                let words_down = first.kind == Kind::Words && first.clock.is_none();
                if words_down || (names(&Quantity::TIME) && !row_is_light) || (first.clock.is_some()) {
                    if spread.like_light() {
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
        match across_meaning {
            Some((quantity, _)) if quantity == Quantity::WAVELENGTH => {
                self.light_across(&across, &values, &spread)
            }
            Some((quantity, unit)) if quantity == Quantity::TIME => self.time_across(&across, unit),
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

    /// Spectra as rows, or times down and wavelengths across.
    fn light_across(
        &mut self,
        across: &[(usize, f64, Option<Coordinate>)],
        values: &[f64],
        spread: &Spread,
    ) -> Option<Draft> {
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
            .find(|head| head.0 == Some(Quantity::TIME));
        if let Some((_, unit)) = corner_time.filter(|_| first.quantity.is_none()) {
            self.columns[0].quantity = Some(Quantity::TIME);
            self.columns[0].unit = unit;
            self.columns[0].quantities_possible.clear();
        }
        let first = self.columns[0].clone();
        let time_down = clocked || first.quantity == Some(Quantity::TIME);
        if time_down && across.len() < SCAN_FROM {
            return None;
        }
        if !spread.orderly {
            return None;
        }
        let rows = self.table.grid.rows;
        let text = self.source.text();
        let (mut y_quantity, mut y_unit) = (Quantity::UNKNOWN, Unit::ONE);
        let roles: Vec<Role> = self.columns.iter().map(|_| Role::Open).collect();
        let sample = across[0].0;
        // What was measured stands in the row names, in the words around, or nowhere.
        let in_names = first.kind == Kind::Words && {
            let heads: Vec<_> = self
                .table
                .grid
                .words(first.index)
                .iter()
                .map(|span| super::columns::head_or_first_word(&text[span.range()]))
                .collect();
            match heads
                .first()
                .and_then(|head| head.quantity.clone())
                .filter(of_the_trade_measured)
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
                .filter_map(|(text, _)| read_head(text).quantity)
                .find(of_the_trade_measured);
            if let Some(quantity) = said {
                y_unit = customary_unit(&quantity);
                y_quantity = quantity;
            } else {
                let mut column = self.columns[sample].clone();
                column.quantity = column.quantity.filter(of_the_trade_measured);
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
            && first.kind == Kind::Figures
            && first.quantity.is_some()
            && first.quantity != Some(Quantity::WAVELENGTH)
            && first.quantity != Some(Quantity::INDEX)
        {
            first.quantity.clone().zip(self.unit_of(&first))
        } else {
            None
        };
        let x_values: Arc<[f64]> = values.into();
        let x_unit = across[0]
            .2
            .as_ref()
            .filter(|c| c.quantity == Quantity::WAVELENGTH)
            .map_or(Unit::NANOMETRE, |c| c.unit.clone());
        for (i, _, _) in across {
            self.used(*i, ColumnRole::Measured, &y_quantity, &y_unit);
        }
        if let Some(quantity) = &time_quantity {
            self.used(0, ColumnRole::Held, quantity, &time_unit);
        } else if let Some((quantity, unit)) = &row_axis {
            self.used(0, ColumnRole::Held, quantity, unit);
        } else if first.kind == Kind::Figures {
            self.used(0, ColumnRole::Names, &Quantity::UNKNOWN, &Unit::ONE);
        }
        let x_decimals: Decimals = decimals_in_heads(across.iter().map(|(i, _, _)| {
            self.columns[*i]
                .heads
                .last()
                .map_or("", |(text, _)| text.as_str())
        }));
        let names = self.row_names(&self.columns.iter().map(role).collect::<Vec<_>>());
        let mut traces = Vec::with_capacity(rows);
        let mut lacking: BTreeMap<(u32, u32), Lack> = BTreeMap::new();
        for gap in &self.table.grid.gaps {
            lacking.insert((gap.row, gap.column), gap.lack);
        }
        let changes = self.decimals.clone();
        let is_sentinel = sentinel_of(self.context, &y_quantity);
        for row in 0..rows {
            let mut kept: Vec<usize> = Vec::with_capacity(across.len());
            let mut y = Vec::with_capacity(across.len());
            let mut decimals = Decimals::default();
            for (n, (i, _, _)) in across.iter().enumerate() {
                let value = self.table.grid.figure(row, self.columns[*i].index);
                if value.is_nan() || is_sentinel(value) {
                    continue;
                }
                let place = self.table.grid.place(self.columns[*i].index);
                decimals.push(
                    changes[place]
                        .iter()
                        .rev()
                        .find(|&&(from, _)| from as usize <= row)
                        .map_or(0, |&(_, d)| d),
                );
                kept.push(n);
                y.push(value);
            }
            let whole = kept.len() == across.len();
            let x = Values {
                quantity: Quantity::WAVELENGTH,
                unit: x_unit.clone(),
                name: None,
                values: if whole {
                    Arc::clone(&x_values)
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
            if let Some(name) = names
                .as_ref()
                .and_then(|names| names.get(row))
                .filter(|_| !clocked)
            {
                let label = super::columns::head_or_first_word(name)
                    .label
                    .unwrap_or_else(|| name.clone());
                trace.fields.claim(
                    "sample",
                    Claim::text(label.clone(), Origin::Source(Place::line(line))),
                );
                trace.label = Some(label);
            } else if time_quantity.is_none() && first.kind == Kind::Figures {
                trace.label = Some(self.table.grid.figure(row, first.index).to_string());
            }
            if !trace.is_empty() {
                traces.push(trace);
            }
        }
        let columns: Vec<usize> = across.iter().map(|(i, _, _)| self.columns[*i].index).collect();
        self.tell_gaps(|column| columns.contains(&column), &y_quantity);
        self.because.push(format!(
            "wavelengths from {} to {} stand across; each row is a spectrum",
            values.first().copied().unwrap_or(0.0),
            values.last().copied().unwrap_or(0.0)
        ));
        let technique = if time_quantity.is_some() {
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
    ) -> Option<Draft> {
        let (x_quantity, x_unit) = self.x_meaning(0);
        let unit = match unit {
            Some(unit) => unit,
            None => {
                let column = self.columns[across[0].0].clone();
                let labels = self.label_at(&column, "a time");
                self.ask(
                    "time-unit",
                    "the times across the heads have no unit",
                    &[("x=time:s", "seconds"), ("x=time:min", "minutes")],
                    labels,
                );
                Unit::ONE
            }
        };
        let roles: Vec<Role> = self.columns.iter().map(|_| Role::Measured).collect();
        let mut traces = Vec::with_capacity(across.len());
        let first = across[0].0;
        let mut column = self.columns[first].clone();
        column.quantity = column
            .quantity
            .filter(of_the_trade_measured)
            .or_else(|| self.columns[0].quantity.clone().filter(of_the_trade_measured));
        self.columns[first].quantity = column.quantity;
        let meaning = self.y_meaning(first, &x_quantity, &roles);
        for (i, value, coordinate) in across {
            let (kept, values, decimals) = self.kept(*i, &meaning.0, Some(0));
            let x = self.axis(0, &x_quantity, &x_unit, &kept);
            let y = Values {
                quantity: meaning.0.clone(),
                unit: meaning.1.clone(),
                name: self.name(*i),
                values: values.into(),
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

    // ---- curves ----

    fn has_sentinels(&self, quantity: &Quantity) -> bool {
        *quantity == Quantity::ABSORBANCE || !self.context.sentinels.is_empty()
    }

    /// The curve of one measured column over one running column.
    fn trace(
        &mut self,
        x: usize,
        x_quantity: &Quantity,
        x_unit: &Unit,
        y: usize,
        roles: &[Role],
        rows: Option<std::ops::Range<usize>>,
    ) -> Trace {
        let (quantity, unit) = self.y_meaning(y, x_quantity, roles);
        let (kept, values, decimals) = match rows {
            None => self.kept(y, &quantity, Some(x)),
            Some(rows) => self.kept_rows(y, &quantity, Some(x), rows),
        };
        let axis = self.axis(x, x_quantity, x_unit, &kept);
        let column = Values {
            quantity,
            unit,
            name: self.name(y),
            values: values.into(),
            decimals,
        };
        // Both columns are made from the same rows.
        let fallback = || {
            let empty = |q: &Quantity| Values::new(q.clone(), Unit::ONE, Vec::new());
            Trace::new(empty(x_quantity), empty(&Quantity::UNKNOWN))
        };
        match self.assemble(axis, column, y, &kept) {
            Some(trace) => trace,
            None => fallback().unwrap_or_else(|_| unreachable!("two empty columns are of one length")),
        }
    }

    fn name(&self, column: usize) -> Option<String> {
        self.columns[column]
            .heads
            .last()
            .map(|(text, _)| text.trim().to_owned())
            .filter(|text| !text.is_empty())
    }

    /// The running column at the kept rows.
    fn axis(&mut self, x: usize, quantity: &Quantity, unit: &Unit, kept: &[usize]) -> Values {
        self.used(x, ColumnRole::Axis, quantity, unit);
        let grid = &self.table.grid;
        let column = &self.columns[x];
        let (values, decimals): (Arc<[f64]>, Decimals) = match &column.clock {
            Some(clock) => {
                // Two parts are as many sixtieths whether a person calls them minutes and seconds, in seconds, or hours
                // and minutes, in minutes.
                let parts = kept.iter().filter_map(|&row| clock.seconds[row]);
                (parts.collect(), Decimals::uniform(clock.decimals, kept.len()))
            }
            None => {
                let place = grid.place(column.index);
                let whole = kept.len() == grid.rows;
                let decimals = if whole && self.decimals[place].len() == 1 {
                    Decimals::uniform(self.decimals[place][0].1, grid.rows)
                } else {
                    decimals_of(&self.decimals[place], kept.iter().copied())
                };
                let values = if whole {
                    let values = &self.values[place];
                    Arc::clone(self.shared.entry(x).or_insert_with(|| match values {
                        Some(values) => values.as_slice().into(),
                        None => grid.column(column.index).collect(),
                    }))
                } else {
                    kept.iter().map(|&row| grid.figure(row, column.index)).collect()
                };
                (values, decimals)
            }
        };
        Values {
            quantity: quantity.clone(),
            unit: unit.clone(),
            name: self.name(x),
            values,
            decimals,
        }
    }

    /// The rows of a measured column that have numbers for both axes, with the numbers and decimals.
    fn kept(&mut self, y: usize, quantity: &Quantity, x: Option<usize>) -> (Vec<usize>, Vec<f64>, Decimals) {
        let grid = &self.table.grid;
        let place = grid.place(self.columns[y].index);
        let gaps = grid.gaps.is_empty() && self.summed.is_empty();
        let clocked = x.is_some_and(|x| self.columns[x].clock.is_some());
        if gaps && !clocked && !self.has_sentinels(quantity) {
            let values = self.values[place]
                .take()
                .unwrap_or_else(|| grid.column(self.columns[y].index).collect());
            let decimals = if self.decimals[place].len() == 1 {
                Decimals::uniform(self.decimals[place][0].1, values.len())
            } else {
                decimals_of(&self.decimals[place], 0..values.len())
            };
            return ((0..values.len()).collect(), values, decimals);
        }
        if gaps && !clocked {
            // The usual case of a clean column of absorbance: look for sentinels first, then hand it over whole.
            let values = self.values[place]
                .take()
                .unwrap_or_else(|| grid.column(self.columns[y].index).collect());
            let is_sentinel = sentinel_of(self.context, quantity);
            if !values.iter().any(|&value| is_sentinel(value)) {
                let decimals = if self.decimals[place].len() == 1 {
                    Decimals::uniform(self.decimals[place][0].1, values.len())
                } else {
                    decimals_of(&self.decimals[place], 0..values.len())
                };
                return ((0..values.len()).collect(), values, decimals);
            }
            self.values[place] = Some(values);
        }
        self.kept_rows(y, quantity, x, 0..self.table.grid.rows)
    }

    fn kept_rows(
        &mut self,
        y: usize,
        quantity: &Quantity,
        x: Option<usize>,
        rows: impl IntoIterator<Item = usize>,
    ) -> (Vec<usize>, Vec<f64>, Decimals) {
        let grid = &self.table.grid;
        let mut kept = Vec::new();
        let mut values = Vec::new();
        let mut sentinels: Vec<(usize, f64)> = Vec::new();
        let mut unplaced: Vec<usize> = Vec::new();
        let is_sentinel = sentinel_of(self.context, quantity);
        for row in rows {
            let value = grid.figure(row, self.columns[y].index);
            let x_there = match x.map(|x| &self.columns[x]) {
                None => true,
                Some(column) => match &column.clock {
                    Some(clock) => clock.seconds.get(row).copied().flatten().is_some(),
                    None => !grid.figure(row, column.index).is_nan(),
                },
            };
            if value.is_nan() || self.summed.contains(&row) {
                continue;
            }
            if !x_there {
                unplaced.push(row);
                continue;
            }
            if is_sentinel(value) {
                sentinels.push((row, value));
                continue;
            }
            kept.push(row);
            values.push(value);
        }
        let decimals = decimals_of(
            &self.decimals[grid.place(self.columns[y].index)],
            kept.iter().copied(),
        );
        self.unplaced.insert(y, unplaced.len());
        if let (Some(&row), Some(x)) = (unplaced.first(), x) {
            let head = self
                .name(x)
                .unwrap_or_else(|| format!("column {}", self.columns[x].index + 1));
            let message = format!(
                "{} of `{head}` hold no number; what was measured there cannot be placed and was left out",
                count(unplaced.len(), "cell")
            );
            let remark = Diagnostic::warning(Code::new("missing-value"), message)
                .at(Place::line(grid.line(row)), "the first of them");
            if !self.remarks.contains(&remark) {
                self.remarks.push(remark);
            }
        }
        if let Some(&(row, value)) = sentinels.first() {
            let head = self
                .name(y)
                .unwrap_or_else(|| format!("column {}", self.columns[y].index + 1));
            let place = Place::line(grid.line(row));
            self.remarks.push(
                Diagnostic::warning(Code::new("sentinel-value"), format!("{} of `{head}` are {value}, which stands for a missing or overflowing value; they were left out", count(sentinels.len(), "value")))
                    .at(place, "the first of them"),
            );
        }
        (kept, values, decimals)
    }

    /// A curve with its lines, label, held coordinates and marks.
    fn assemble(&mut self, x: Values, y: Values, column: usize, kept: &[usize]) -> Option<Trace> {
        self.used(column, ColumnRole::Measured, &y.quantity, &y.unit);
        let grid = &self.table.grid;
        let quantity = y.quantity.clone();
        let mut trace = Trace::new(x, y).ok()?;
        trace.lines = if kept.len() == grid.rows {
            whole_lines(grid)
        } else {
            some_lines(grid, kept)
        };
        let described = &self.columns[column];
        trace.held.extend(
            described
                .held
                .iter()
                .filter(|held| held.quantity != Quantity::UNKNOWN)
                .cloned(),
        );
        for held in &mut trace.held {
            if let Some((text, span)) = described.heads.last() {
                held.raw.get_or_insert_with(|| text.trim().to_owned());
                held.line.get_or_insert_with(|| self.source.place(*span).line);
            }
        }
        trace.label = described.label.clone().or_else(|| self.name(column));
        if let Some(label) = &described.label
            && let Some((_, span)) = described.heads.first()
        {
            trace.fields.claim(
                "sample",
                Claim::text(label.clone(), Origin::Source(self.source.place(*span))),
            );
        }
        let index = self.columns[column].index;
        let lacking = grid.gaps_of(index).filter(|gap| gap.lack != Lack::Empty).count();
        let unplaced = self.unplaced.get(&column).copied().unwrap_or(0);
        trace.absent = u32::try_from(lacking + unplaced).unwrap_or(u32::MAX);
        if lacking > 0 || grid.gaps_of(index).any(|gap| gap.lack == Lack::Empty) {
            self.tell_gaps(|c| c == index, &quantity);
        }
        self.mark_saturated(&mut trace);
        Some(trace)
    }

    /// Tells what stands where numbers are absent.
    fn tell_gaps(&mut self, wanted: impl Fn(usize) -> bool, quantity: &Quantity) {
        let grid = &self.table.grid;
        for (lack, code, what) in [
            (Lack::Missing, "missing-value", "say that there is no value"),
            (
                Lack::Beyond,
                "beyond-range",
                "say that the value lies beyond the range (overflow, saturated)",
            ),
            (
                Lack::Unreadable,
                "number-not-readable",
                "are no numbers in the style of this table",
            ),
            (Lack::Empty, "empty-cell", "are empty"),
        ] {
            let gaps: Vec<_> = grid
                .gaps
                .iter()
                .filter(|gap| gap.lack == lack && wanted(gap.column as usize))
                .collect();
            let gaps: Vec<_> = match lack {
                // Empty cells at the end of a column only say that it is shorter than its neighbours.
                Lack::Empty => {
                    let mut inner = Vec::new();
                    for gap in gaps {
                        let ends = (gap.row as usize..grid.rows)
                            .all(|row| grid.figure(row, gap.column as usize).is_nan());
                        if !ends {
                            inner.push(gap);
                        }
                    }
                    inner
                }
                _ => gaps,
            };
            let Some(first) = gaps.first() else { continue };
            let raw = &self.source.text()[first.span.range()];
            let head = self
                .columns
                .iter()
                .find(|c| c.index == first.column as usize)
                .and_then(|c| c.heads.last());
            let head = head.map_or_else(
                || format!("column {}", first.column + 1),
                |(text, _)| format!("`{}`", text.trim()),
            );
            let example = if raw.is_empty() {
                String::new()
            } else {
                format!(" (the first: `{raw}`)")
            };
            let message = format!(
                "{} of {head} {what}{example}; absent from the {quantity}",
                count(gaps.len(), "cell")
            );
            let mut remark = Diagnostic::warning(Code::new(code), message);
            for gap in gaps.iter().take(PLACES_TOLD) {
                let place = if gap.span.start == gap.span.end {
                    Place::line(grid.line(gap.row as usize))
                } else {
                    self.source.place(gap.span)
                };
                remark = remark.at(place, "");
            }
            if !self.remarks.contains(&remark) {
                self.remarks.push(remark);
            }
        }
    }

    /// Marks a flat top: the same highest value three times or more in a row, beyond what detectors resolve well.
    fn mark_saturated(&mut self, trace: &mut Trace) {
        if trace.y.quantity != Quantity::ABSORBANCE || trace.len() < 5 {
            return;
        }
        let y = &trace.y.values;
        let top = y.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // Below an absorbance of two a flat top is a real plateau (1 % of the light still comes through).
        if top < 2.0 {
            return;
        }
        let mut run = 0;
        let mut longest = 0;
        for &value in y.iter() {
            run = if value == top { run + 1 } else { 0 };
            longest = longest.max(run);
        }
        if longest < 3 {
            return;
        }
        trace.saturated = (0..y.len())
            .filter(|&i| y[i] == top)
            .filter_map(|i| u32::try_from(i).ok())
            .collect();
        let label = trace
            .label
            .clone()
            .map_or(String::new(), |label| format!(" of `{label}`"));
        let first = trace
            .saturated
            .first()
            .and_then(|&i| trace.lines.get(i as usize))
            .unwrap_or(0);
        self.remarks.push(
            Diagnostic::warning(
                Code::new("saturated"),
                format!(
                    "the curve{label} has a flat top at {top} ({}): the instrument was saturated there",
                    count(trace.saturated.len(), "point")
                ),
            )
            .at(Place::line(first as usize), "the first of them")
            .help("the values are kept as they stand and marked; fits leave them out"),
        );
    }

    /// What each column was taken for, for those who ask.
    fn tell_columns(&self, shaped: &Shaped) -> Vec<ColumnPart> {
        let because: Vec<String> = match shaped {
            Shaped::Runs(drafts) => drafts.iter().flat_map(|draft| draft.because.clone()).collect(),
            Shaped::Other(_) => Vec::new(),
        };
        let otherwise = |place: usize| {
            let column = &self.columns[place];
            match role(column) {
                Role::Counter => ColumnRole::Counter,
                Role::Names if self.is_sparse(column) => ColumnRole::Flags,
                Role::Names => ColumnRole::Names,
                _ => ColumnRole::LeftOut,
            }
        };
        columns_told(
            self.source,
            self.table,
            &self.columns,
            &self.uses,
            otherwise,
            &because,
        )
    }

    fn used(&mut self, column: usize, role: ColumnRole, quantity: &Quantity, unit: &Unit) {
        if self.uses[column].is_none() {
            self.uses[column] = Some((role, quantity.clone(), unit.clone()));
        }
    }

    fn finish(&mut self, technique: Technique, traces: Vec<Trace>) -> Draft {
        let mut because = std::mem::take(&mut self.because);
        because.insert(0, self.table.grid.dialect.says());
        Draft {
            technique,
            traces: traces.into_iter().filter(|trace| !trace.is_empty()).collect(),
            because,
            questions: self.questions.clone(),
            remarks: std::mem::take(&mut self.remarks),
        }
    }
}

/// The rows whose name says that they sum up others.
fn summed_rows(text: &str, table: &Table, columns: &[Column]) -> std::collections::BTreeSet<usize> {
    let mut rows = std::collections::BTreeSet::new();
    for column in columns
        .iter()
        .filter(|column| column.kind == Kind::Words && column.clock.is_none())
    {
        for (row, span) in table.grid.words(column.index).iter().enumerate() {
            let word = text[span.range()].trim();
            if word.chars().count() >= 2 && crate::words::is_statistics(word) {
                rows.insert(row);
            }
        }
    }
    rows
}

fn of_the_trade_measured(quantity: &Quantity) -> bool {
    matches!(quantity.as_str(), "absorbance" | "transmittance" | "reflectance")
}

fn customary_unit(quantity: &Quantity) -> Unit {
    match quantity.as_str() {
        "absorbance" => Unit::ABSORBANCE,
        "temperature" => Unit::CELSIUS,
        "wavelength" => Unit::NANOMETRE,
        "ph" => Unit::ucum("[pH]").unwrap_or(Unit::ONE),
        _ => Unit::ONE,
    }
}

/// Whether a number stands for a missing value: by custom, or because a line of the file says so. The quantity is
/// looked at once, not for every number.
fn sentinel_of<'a>(context: &'a Context, quantity: &Quantity) -> impl Fn(f64) -> bool + Copy + use<'a> {
    let by_custom = *quantity == Quantity::ABSORBANCE;
    move |value| context.sentinels.contains(&value) || (by_custom && is_common_sentinel(value))
}

/// Absorbances written with nothing but nines (`9.999`, `-9.999`, `99.99`) stand for no value; so do numbers that no
/// detector gives (`1E+38`, `-99`).
fn is_common_sentinel(value: f64) -> bool {
    let size = value.abs();
    if size < 9.9 {
        return false;
    }
    size >= 1e6
        || [
            9.99, 9.999, 9.9999, 9.99999, 99.0, 99.9, 99.99, 99.999, 99.9999, 999.0, 999.9, 999.99, 999.999,
            9999.0, 9999.9, 99999.0,
        ]
        .contains(&size)
}

fn is_peak_word(text: &str) -> bool {
    let lower = text.to_lowercase();
    [
        "peak",
        "λmax",
        "lambda max",
        "lambda_max",
        "maxim",
        "pico",
        "picco",
        "bande",
    ]
    .iter()
    .any(|word| lower.contains(word))
        || lower
            .split_whitespace()
            .any(|word| word == "pic" || word == "pics")
}

fn count(n: usize, what: &str) -> String {
    if n == 1 {
        format!("1 {what}")
    } else {
        format!("{n} {what}s")
    }
}

/// The number that stands over a column, and the coordinate it is where its unit, or the name of its row of heads,
/// tells.
fn number_over(column: &Column, first: &Column) -> Option<(f64, Option<Coordinate>)> {
    for (level, (text, _)) in column.heads.iter().enumerate().rev() {
        let text = text.trim();
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
            let name = read_head(&first.heads[level].0);
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
    let held = column.held.iter().find(|held| held.quantity == Quantity::TIME)?;
    Some((held.value, Some(held.clone())))
}

/// The two heads of a corner: `Time (s)\Wavelength (nm)`.
type CornerHead = Option<(Option<Quantity>, Option<Unit>)>;

fn corner_heads(corner: &str) -> (CornerHead, CornerHead) {
    let read = |text: &str| {
        let head = read_head(text.trim());
        (head.quantity, head.unit)
    };
    for mark in ["\\", " / ", "|", " vs ", " vs. ", " x ", " by ", "/"] {
        if let Some((down, over)) = corner.split_once(mark) {
            let (down, over) = (read(down), read(over));
            if down.0.is_some() && over.0.is_some() {
                return (Some(down), Some(over));
            }
        }
    }
    let one = read(corner);
    (Some(one).filter(|head| head.0.is_some()), None)
}

/// Numbers across the heads looked over.
struct Spread {
    min: f64,
    max: f64,
    orderly: bool,
    counted: bool,
}

impl Spread {
    fn of(values: &[f64]) -> Self {
        let rising = values.windows(2).all(|w| w[0] < w[1]);
        let falling = values.windows(2).all(|w| w[0] > w[1]);
        Self {
            min: values.iter().copied().fold(f64::INFINITY, f64::min),
            max: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            orderly: rising || falling,
            counted: values.iter().enumerate().all(|(i, &v)| v == (i + 1) as f64),
        }
    }

    fn like_light(&self) -> bool {
        self.orderly && self.min >= 150.0 && self.max <= 3500.0
    }

    fn counts(&self) -> bool {
        self.counted
    }
}

/// Points written across the page before down it: each curve takes every k-th point, so they are laced together.
fn laced(traces: &[Trace]) -> Option<Trace> {
    let k = traces.len();
    let first = traces.first().filter(|first| k >= 2 && first.len() >= 2)?;
    let step = first.x.values[1] - first.x.values[0];
    let fine = step / k as f64;
    let fits = traces.iter().enumerate().all(|(n, trace)| {
        let same = trace.y.quantity == first.y.quantity
            && trace.y.unit == first.y.unit
            && trace.label == first.label;
        let length = trace.len() == first.len() || trace.len() + 1 == first.len();
        let at = trace
            .x
            .values
            .first()
            .is_some_and(|&x| ((x - first.x.values[0]) - n as f64 * fine).abs() <= 1e-6 * step.abs());
        same && length && at
    });
    if !fits || step == 0.0 {
        return None;
    }
    let mut order: Vec<(usize, usize)> = Vec::new();
    for point in 0..first.len() {
        order.extend((0..k).filter(|&n| point < traces[n].len()).map(|n| (n, point)));
    }
    let column = |pick: fn(&Trace) -> &Values| {
        let digits: Vec<Vec<u8>> = traces
            .iter()
            .map(|trace| pick(trace).decimals.iter().collect())
            .collect();
        let mut decimals = Decimals::default();
        for &(n, point) in &order {
            decimals.push(digits[n].get(point).copied().unwrap_or(0));
        }
        let values: Vec<f64> = order
            .iter()
            .map(|&(n, point)| pick(&traces[n]).values[point])
            .collect();
        Values {
            values: values.into(),
            decimals,
            ..pick(first).clone()
        }
    };
    let mut whole = Trace::new(column(|trace| &trace.x), column(|trace| &trace.y)).ok()?;
    let x = &whole.x.values;
    if !(x.windows(2).all(|w| w[0] < w[1]) || x.windows(2).all(|w| w[0] > w[1])) {
        return None;
    }
    whole.label.clone_from(&first.label);
    whole.held.clone_from(&first.held);
    for &(n, point) in &order {
        whole.lines.push(traces[n].lines.get(point).unwrap_or(0) as usize);
    }
    whole.absent = traces.iter().map(|trace| trace.absent).sum();
    Some(whole)
}

/// Columns of a newspaper put together: where one curve goes on in the step of the one before it.
fn newspaper(traces: Vec<Trace>) -> Vec<Trace> {
    if let Some(whole) = laced(&traces) {
        return vec![whole];
    }
    let mut joined: Vec<Trace> = Vec::new();
    for trace in traces {
        let goes_on = joined.last().is_some_and(|last: &Trace| {
            let (a, b) = (&last.x.values, &trace.x.values);
            let same = last.y.quantity == trace.y.quantity
                && last.y.unit == trace.y.unit
                && last.label == trace.label;
            match (a.len(), a.last(), b.first()) {
                (n, Some(&end), Some(&start)) if n >= 2 && same => {
                    let step = end - a[n - 2];
                    step != 0.0 && ((start - end) / step - 1.0).abs() < 0.5
                }
                _ => false,
            }
        });
        match joined.last_mut() {
            Some(last) if goes_on => {
                let chain = |a: &Values, b: &Values| {
                    let mut decimals = Decimals::default();
                    for digits in a.decimals.iter().chain(b.decimals.iter()) {
                        decimals.push(digits);
                    }
                    let values: Vec<f64> = a.values.iter().chain(b.values.iter()).copied().collect();
                    Values {
                        values: values.into(),
                        decimals,
                        ..a.clone()
                    }
                };
                last.x = chain(&last.x, &trace.x);
                last.y = chain(&last.y, &trace.y);
                let mut lines = std::mem::take(&mut last.lines);
                for index in 0..trace.len() {
                    lines.push(trace.lines.get(index).unwrap_or(0) as usize);
                }
                last.lines = lines;
                last.absent += trace.absent;
            }
            _ => joined.push(trace),
        }
    }
    joined
}

fn whole_lines(grid: &super::grid::Grid) -> Lines {
    let mut lines = Lines::default();
    for (_, line, rows) in grid.line_pieces() {
        lines.push_run(line, 1, rows);
    }
    lines
}

fn some_lines(grid: &super::grid::Grid, rows: &[usize]) -> Lines {
    let mut lines = Lines::default();
    for &row in rows {
        lines.push(grid.line(row));
    }
    lines
}

/// The decimals with which the numbers across the heads are written.
fn decimals_in_heads<'a>(heads: impl Iterator<Item = &'a str>) -> Decimals {
    let mut decimals = Decimals::default();
    for head in heads {
        let mut digits = 0;
        for style in [Style::POINT, Style::COMMA] {
            if let super::number::Cell::Number { decimals, .. }
            | super::number::Cell::WithUnit { decimals, .. } = super::number::cell(head, style)
            {
                digits = decimals;
                break;
            }
        }
        decimals.push(digits);
    }
    decimals
}
