//! From a table to curves: which column runs, which are measured, what is held, and what must be asked.
//!
//! One file for each shape of a table (`axis`, `readings`, `several`, `long`, `packed`, `matrix`), one for what columns
//! mean (`meaning`), one for dates and times as people write them (`clocks`), and one for what all end in (`curves`).

mod axis;
mod clocks;
mod curves;
mod long;
mod matrix;
mod meaning;
mod packed;
mod readings;
mod several;

use std::collections::BTreeMap;

use curvary_record::{
    Alternative, Claim, Code, Column as Values, Coordinate, Decimals, Diagnostic, Fields, Label, Lines,
    Numbers, Origin, Place, Quantity, Question, Span, Technique, Trace, Unit, moment, unit,
};

use self::curves::sentinel_of;
use self::matrix::corner_heads;
use super::columns::{Column, Stats, describe, give_meaning};
use super::context::{CLOCK_FORMS, Context};
use super::explain::columns_told;
use super::grid::{Gap, Kind, Lack, decimals_of};
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
    /// What is said of this run alone, where one line speaks of several side by side.
    pub(super) fields: Fields,
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
    let (values, stats) = table.grid.all_columns();
    let order = source.assume().get("date").and_then(moment::Order::named);
    let mut columns = describe(source.text(), table, &stats, order);
    if let Err(reason) = give_meaning(&mut columns, source.told()) {
        return Shaped::Other(reason);
    }
    let mut shaper = Shaper {
        source,
        table,
        context,
        over_all: over_all(source.text(), table),
        values,
        decimals: table.grid.decimals(),
        summed: summed_rows(source.text(), table, &columns),
        uses: vec![None; columns.len()],
        columns,
        because: Vec::new(),
        questions: Vec::new(),
        remarks: Vec::new(),
        own: Fields::default(),
        unplaced: BTreeMap::new(),
        untold_gaps: BTreeMap::new(),
    };
    shaper.hear_columns();
    shaper.read_dotted_times();
    shaper.pass_midnight();
    let mut shaped = shaper.run();
    if let Shaped::Runs(drafts) = &mut shaped
        && let Some(draft) = drafts.first_mut()
    {
        draft.remarks.extend(shaper.tell_unused());
    }
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
    /// What a word that stands alone above the heads says was measured.
    over_all: Option<Quantity>,
    /// Rows that sum up others: means and deviations.
    summed: std::collections::BTreeSet<usize>,
    /// The figures by place.
    values: Vec<Numbers>,
    decimals: Vec<Vec<(u32, u8)>>,
    /// What each column was used for, noted on the way.
    uses: Vec<Option<ColumnUse>>,
    because: Vec<String>,
    questions: Vec<Question>,
    remarks: Vec<Diagnostic>,
    /// What columns say of the whole run.
    own: Fields,
    /// For a measured column, how many of its values have no x to stand at.
    unplaced: BTreeMap<usize, usize>,
    /// Columns whose gaps are still to be told, by what they are of.
    untold_gaps: BTreeMap<Quantity, Vec<usize>>,
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
        Some(_)
            if column
                .heads
                .last()
                .is_some_and(|(text, _)| crate::head::is_reckoned_of_light(text)) =>
        {
            Role::Measured
        }
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

/// The head of a column of retention times, or of peak areas in absorbance times time.
fn retention(column: &Column) -> Option<&str> {
    column.heads.iter().map(|(text, _)| text.trim()).find(|text| {
        let folded = crate::words::fold(text);
        let mut words = folded.split(' ');
        let first = words.next().unwrap_or("");
        // `RT` alone is room temperature as often; with a unit of time it is none.
        let timed = first == "rt"
            && words
                .next()
                .is_some_and(|unit| matches!(unit, "min" | "s" | "sec" | "mins"));
        timed
            || [
                "retention",
                "retentions",
                "tiempo de retencion",
                "tempo di ritenzione",
                "temps de retention",
            ]
            .iter()
            .any(|word| folded.starts_with(word))
            // An area is an absorbance times a time; `mAU/min` is a rate.
            || ["mau*s", "mau·s", "mau.s", "mau s", "mau*min", "mau·min", "mau.min", "mau min"]
                .iter()
                .any(|unit| text.to_lowercase().contains(unit))
    })
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
        self.ask_parentheses();
        self.hear_rates();
        self.unswap();
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
        if self.columns.len() == 1 && self.table.grid.columns() == 1 {
            return self.column_alone();
        }
        if let Some(draft) = self.packed() {
            return Shaped::Runs(vec![draft]);
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
        if self.is_reckoned(&xs, &roles) {
            xs.clear();
        }
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
            let times = xs.is_empty() && self.is_like_times(column);
            times || named && column.kind == Kind::Words && column.clock.is_none()
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
        // A coordinate that never changes is held where a temperature or a pH beside it runs: a melting curve.
        let constant = |i: usize| {
            self.columns[i].stats.count > 2 && self.columns[i].stats.min == self.columns[i].stats.max
        };
        // Where a time runs, a concentration beside it was followed and is no axis.
        let of = |i: usize, quantity: &Quantity| self.columns[i].quantity.as_ref() == Some(quantity);
        if let Some(at) = xs
            .iter()
            .position(|&i| of(i, &Quantity::TIME) && self.columns[i].stats.rising)
            && xs.first().is_some_and(|&i| of(i, &Quantity::CONCENTRATION))
        {
            let time = xs.remove(at);
            xs.insert(0, time);
        }
        if self.source.assume().get("x").is_none() && xs.len() >= 2 && self.mixes_wavelengths(&xs) {
            let labels = self.label_at(&self.columns[xs[0]].clone(), "this column");
            self.ask(
                "axis-unknown",
                "the wavelength changes from row to row while the time goes on: which rows belong to one curve cannot be told",
                &[("x=index", "the rows are to be counted")],
                labels,
            );
            let draft = self.finish(Technique::UNKNOWN, Vec::new());
            return Shaped::Runs(vec![draft]);
        }
        let beside = (0..roles.len()).find(|&i| roles[i] == Role::Beside && self.columns[i].stats.orderly());
        let x = match (xs.as_slice(), beside) {
            ([x], Some(beside)) if constant(*x) => Some(beside),
            ([x, ..], _) => Some(*x),
            ([], _) => self.x_by_values(&roles),
        };
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
                if (roles.contains(&Role::Names) || !self.columns[x].stats.orderly())
                    && let Some(draft) = self.long_form(&[x], &roles)
                {
                    return Shaped::Runs(vec![draft]);
                }
                self.one_axis(x, &roles)
            }
            None => {
                self.tell_flags(&roles);
                self.readings(&roles)
            }
        }
    }

    /// Whether the only coordinate is a concentration that was reckoned from the readings beside it: samples in any
    /// order, each read at several wavelengths.
    fn is_reckoned(&self, xs: &[usize], roles: &[Role]) -> bool {
        let [x] = xs else { return false };
        let mut wavelengths: Vec<u64> = self
            .columns
            .iter()
            .flat_map(|column| &column.held)
            .filter(|held| held.quantity == Quantity::WAVELENGTH)
            .map(|held| held.value.to_bits())
            .collect();
        wavelengths.sort_unstable();
        wavelengths.dedup();
        self.columns[*x].quantity == Some(Quantity::CONCENTRATION)
            && !self.columns[*x].stats.orderly()
            && roles.contains(&Role::Names)
            && wavelengths.len() >= 2
    }

    /// Whether all columns but the first, which says what runs, have bare numbers for heads that may be wavelengths.
    fn over_wavelengths_without_unit(&self) -> bool {
        let [first, rest @ ..] = self.columns.as_slice() else {
            return false;
        };
        let wavelength = |column: &Column| {
            let bare = column
                .heads
                .last()
                .and_then(|(text, _)| text.trim().parse::<f64>().ok());
            bare.is_some_and(|number| (190.0..=1100.0).contains(&number))
        };
        first.quantity.is_some() && rest.len() >= 2 && rest.iter().all(wavelength)
    }

    /// Whether of these coordinates one is a time and another a wavelength that goes to and fro.
    fn mixes_wavelengths(&self, xs: &[usize]) -> bool {
        let has = |i: usize, quantity: Quantity| self.columns[i].quantity == Some(quantity);
        let changes = |i: usize| {
            let stats = &self.columns[i].stats;
            stats.min < stats.max && !stats.orderly()
        };
        xs.iter().any(|&i| has(i, Quantity::TIME))
            && xs
                .iter()
                .any(|&i| (has(i, Quantity::WAVELENGTH) || has(i, Quantity::WAVENUMBER)) && changes(i))
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
        if !named.contains(&&Quantity::WAVELENGTH)
            && let Some(head) = self.columns.iter().find_map(retention)
        {
            return Some(format!(
                "`{head}` speaks of a chromatogram, whose times are those of a column and not of a reaction"
            ));
        }
        let holds = self
            .columns
            .iter()
            .any(|c| c.held.iter().any(|held| held.quantity == Quantity::WAVELENGTH))
            || self.over_wavelengths_without_unit();
        if holds || named.iter().any(|quantity| of_the_trade(quantity)) {
            return None;
        }
        let named_rows = self.columns.first().is_some_and(|first| {
            first.kind == Kind::Words && first.clock.is_none() && first.quantity.is_some()
        });
        if named_rows && self.rows_are_measured() {
            return None;
        }
        // `nm\s` in the corner of a matrix.
        let corner = self.columns.first().and_then(|first| first.heads.last());
        if let Some((down, over)) = corner.map(|(text, _)| corner_heads(text))
            && [down, over]
                .into_iter()
                .flatten()
                .any(|head| head.0.as_ref().is_some_and(of_the_trade))
        {
            return None;
        }
        let has = |quantity: &Quantity| named.contains(&quantity);
        let rates = has(&Quantity::RATE) || self.context.names(&Quantity::RATE);
        // Beside a time alone, `Heart rate (1/min)` is no rate of a reaction: those change absorbances or concentrations.
        let beats = self.columns.iter().all(|column| {
            column.quantity != Some(Quantity::RATE)
                || column.unit.as_ref().is_some_and(|unit| {
                    Unit::ucum("/s").is_ok_and(|beat| unit.converts_to(&beat))
                        && !unit.code().contains("{AU}")
                }) && !column
                    .heads
                    .iter()
                    .any(|(text, _)| text.trim().starts_with(['d', 'Δ', '∆']))
        });
        let of_reactions = [Quantity::CONCENTRATION, Quantity::PH, Quantity::TEMPERATURE]
            .iter()
            .any(has);
        if rates
            && (of_reactions || !beats)
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
        if self.like_a_course() {
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
        // A name over a column beside one without a head tells no more than no heads at all.
        let nameless = self.columns.len() == 2
            && self.columns[0].heads.is_empty()
            && self.columns[0].stats.orderly()
            && self.columns[0].stats.count >= 4;
        if nameless && !whole {
            return None;
        }
        if heads.is_empty() && whole && self.table.open.is_none() {
            return Some("whole numbers only, without any word of the trade around them".to_owned());
        }
        if heads.is_empty() {
            // Beside times, numbers may be measured; without a word of the trade they are asked about.
            let words = |column: &Column| column.kind == Kind::Words && column.clock.is_none();
            let words = self.columns.iter().any(words);
            return (words || self.table.grid.rows < 4)
                .then(|| "a few rows of numbers without any word of the trade around them".to_owned());
        }
        let vague = self
            .columns
            .iter()
            .filter(|c| c.quantity != Some(Quantity::TIME))
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
        let vague = vague
            && self.columns.iter().any(|c| {
                c.quantity != Some(Quantity::TIME)
                    && c.heads
                        .iter()
                        .any(|(text, _)| text.chars().any(char::is_alphabetic))
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

    /// Where the words around say that rates stand here, and in which unit, the columns without a quantity of their own
    /// beside concentrations are rates: `[S] (mM);I = 0 µM;I = 5 µM` below `Rates in A/min`.
    fn hear_rates(&mut self) {
        let Some(unit) = self.context.stated(&Quantity::RATE) else {
            return;
        };
        let coordinate = |column: &Column| column.quantity == Some(Quantity::CONCENTRATION);
        let bare = |column: &Column| column.quantity.is_none() && column.kind == Kind::Figures;
        if self.columns.iter().filter(|column| coordinate(column)).count() != 1
            || !self
                .columns
                .iter()
                .all(|column| coordinate(column) || bare(column))
        {
            return;
        }
        for column in self.columns.iter_mut().filter(|column| bare(column)) {
            column.quantity = Some(Quantity::RATE);
            column.unit = Some(unit.clone());
        }
        self.because_once("y is a rate: the words around the table say so");
    }

    /// A time with its unit and columns over it that say nothing of what they are, `rep 1`, `control`, with numbers that
    /// an absorbance may have: it is asked what was measured.
    fn like_a_course(&self) -> bool {
        let is_time = |column: &Column| {
            column.quantity == Some(Quantity::TIME) && (column.unit.is_some() || column.clock.is_some())
        };
        let [time, others @ ..] = self.columns.as_slice() else {
            return false;
        };
        is_time(time)
            && time.stats.orderly()
            && time.stats.count >= 6
            && !others.is_empty()
            && others.iter().all(|column| {
                let of_other_things = column.heads.iter().any(|(text, _)| {
                    let united = crate::head::split_unit(text).is_some() && column.held.is_empty();
                    united || text.contains(['(', '[', '/'])
                });
                column.kind == Kind::Figures
                    && column.quantity.is_none()
                    && column.unit.is_none()
                    && !of_other_things
                    && !column.heads.is_empty()
                    && !column.stats.whole
                    && column.stats.min > -0.5
                    && column.stats.max < 6.0
            })
    }

    /// Takes what a column says of the whole run: a date in front of clock times, or one word in every row under the name
    /// of a field.
    fn hear_columns(&mut self) {
        let text = self.source.text();
        for place in 0..self.columns.len() {
            let column = &self.columns[place];
            if let Some((day, order)) = column
                .clock
                .as_ref()
                .and_then(|clock| Some((clock.day?, clock.order)))
            {
                self.hear_date(day, order);
                continue;
            }
            let Some((_, head)) = column.heads.last() else {
                continue;
            };
            if column.kind != Kind::Words || column.clock.is_some() {
                continue;
            }
            let words = self.table.grid.words(column.index);
            let Some(first) = words.first().filter(|_| words.len() >= 2) else {
                continue;
            };
            let word = text[first.range()].trim();
            let field = crate::words::field_of(text[head.range()].trim());
            if field.is_some()
                && !word.is_empty()
                && words.iter().all(|span| text[span.range()].trim() == word)
            {
                crate::header::claim(
                    &mut self.own,
                    &mut self.questions,
                    self.source,
                    head.range(),
                    first.range(),
                );
                self.uses[place] = Some((ColumnRole::Names, Quantity::UNKNOWN, Unit::ONE));
            }
        }
    }

    /// Remarks on columns of which nothing was used.
    fn tell_unused(&self) -> Vec<Diagnostic> {
        let told = |place: usize| {
            let column = &self.columns[place];
            let unused = self.uses[place].is_none();
            let needless = match role(column) {
                Role::Counter => true,
                Role::Names => !self.is_measured_in_words(column),
                _ => column.stats.count == 0,
            };
            (unused && !needless).then(|| {
                let head = self
                    .name(place)
                    .unwrap_or_else(|| format!("column {}", column.index + 1));
                Diagnostic::warning(
                    Code::new("column-left-out"),
                    format!("`{head}` was not used: it is neither the running axis nor a curve over it"),
                )
                .at(
                    Place::line(self.table.first_line as usize),
                    "its table begins here",
                )
            })
        };
        (0..self.columns.len()).filter_map(told).collect()
    }

    /// Whether a column of words has a head that says what was measured, and numbers among the words.
    fn is_measured_in_words(&self, column: &Column) -> bool {
        let told = column.unit.is_some()
            || column.quantity.as_ref().is_some_and(|quantity| {
                of_the_trade(quantity)
                    || matches!(
                        quantity.as_str(),
                        "rate" | "temperature" | "concentration" | "ph" | "time"
                    )
            });
        let text = self.source.text();
        told && self.table.grid.words(column.index).iter().any(|span| {
            matches!(
                super::number::cell(text[span.range()].trim(), self.table.grid.dialect.style),
                super::number::Cell::Number { .. } | super::number::Cell::WithUnit { .. }
            )
        })
    }

    /// Asks whether two heads stand over each other's columns: `Absorbance` over 400 to 700, `Wavelength` over 0.03 to
    /// 0.76. The likelier reading is given with the question.
    fn unswap(&mut self) {
        let [first, second] = self.columns.as_slice() else {
            return;
        };
        let nanometres = |column: &Column| column.stats.like_nanometres() && column.stats.orderly();
        let small =
            |column: &Column| column.stats.count > 2 && column.stats.min > -1.0 && column.stats.max < 6.0;
        let is = |column: &Column, quantity: Quantity| column.quantity.as_ref() == Some(&quantity);
        let swapped = |light: &Column, measured: &Column| {
            is(light, Quantity::ABSORBANCE)
                && is(measured, Quantity::WAVELENGTH)
                && nanometres(light)
                && small(measured)
        };
        if !swapped(first, second) && !swapped(second, first) {
            return;
        }
        match self.source.assume().get("heads") {
            Some("as-written") => return,
            Some(_) => {}
            None => {
                let labels = self.label_at(&self.columns[0].clone(), "a head");
                self.ask(
                    "heads-swapped",
                    "each head suits the numbers of the other column: were the two interchanged?",
                    &[
                        (
                            "heads=swapped",
                            "the numbers tell: the wavelengths are those from 100 on",
                        ),
                        ("heads=as-written", "the heads are right"),
                    ],
                    labels,
                );
            }
        }
        if let [first, second] = self.columns.as_mut_slice() {
            std::mem::swap(&mut first.quantity, &mut second.quantity);
            std::mem::swap(&mut first.unit, &mut second.unit);
            std::mem::swap(&mut first.heads, &mut second.heads);
        }
    }

    /// Asks what numbers in parentheses mean.
    fn ask_parentheses(&mut self) {
        let gaps: Vec<&Gap> = self
            .table
            .grid
            .gaps
            .iter()
            .filter(|gap| gap.lack == Lack::Bracketed)
            .collect();
        let Some(first) = gaps.first() else { return };
        let message = format!(
            "{} in parentheses, such as `{}`: negative, or marked as doubtful?",
            if gaps.len() == 1 {
                "1 number stands".to_owned()
            } else {
                format!("{} numbers stand", gaps.len())
            },
            &self.source.text()[first.span.range()]
        );
        let labels = gaps
            .iter()
            .take(PLACES_TOLD)
            .map(|gap| Label {
                place: self.source.place(gap.span),
                text: String::new(),
            })
            .collect();
        self.ask(
            "number-in-parentheses",
            &message,
            &[
                ("parentheses=negative", "they are negative numbers"),
                ("parentheses=absent", "they are to be left out"),
            ],
            labels,
        );
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

    fn because_once(&mut self, reason: &str) {
        if !self.because.iter().any(|known| known == reason) {
            self.because.push(reason.to_owned());
        }
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
        for (quantity, mut columns) in std::mem::take(&mut self.untold_gaps) {
            columns.sort_unstable();
            columns.dedup();
            self.tell_gaps(&columns, &quantity);
        }
        let mut because = std::mem::take(&mut self.because);
        because.insert(0, self.table.grid.dialect.says());
        Draft {
            technique,
            traces: traces.into_iter().filter(|trace| !trace.is_empty()).collect(),
            fields: self.own.clone(),
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
        let words = table.grid.words(column.index);
        // `max` behind one row of many is a flag.
        let empty = words.iter().filter(|span| span.start == span.end).count();
        if column.index > 0 && empty * 3 > words.len() {
            continue;
        }
        // Beside an `r1`, `r2` is the second of several and no measure of a fit.
        let is_numbered = |word: &str| {
            let stem = |word: &str| word.trim_end_matches(|c: char| c.is_ascii_digit()).len();
            stem(word) < word.len()
                && words.iter().any(|span| {
                    let other = text[span.range()].trim();
                    other != word
                        && stem(other) < other.len()
                        && other.get(..stem(other)) == word.get(..stem(word))
                })
        };
        for (row, span) in words.iter().enumerate() {
            let word = text[span.range()].trim();
            if word.chars().count() >= 2 && crate::words::is_statistics(word) && !is_numbered(word) {
                rows.insert(row);
            }
        }
    }
    rows
}

/// What a word says that stands alone over the first column, above a head of its own: `Extinktion;;;` over
/// `Zeit/min;350;412;468`.
fn over_all(text: &str, table: &Table) -> Option<Quantity> {
    let [.., above, lowest] = table.heads.as_slice() else {
        return None;
    };
    let [Some(alone), rest @ ..] = above.cells.as_slice() else {
        return None;
    };
    let own = lowest.cells.first().copied().flatten()?;
    let running = read_head(&text[own.range()]).quantity?;
    let quantity = read_head(&text[alone.range()]).quantity?;
    let says = rest.iter().all(Option::is_none)
        && of_the_trade_measured(&quantity)
        && !of_the_trade_measured(&running);
    says.then_some(quantity)
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

fn count(n: usize, what: &str) -> String {
    if n == 1 {
        format!("1 {what}")
    } else {
        format!("{n} {what}s")
    }
}
