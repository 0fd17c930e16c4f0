//! From a table to curves: which column runs, which are measured, what is held, and what must be asked.
//!
//! One file for each shape of a table (`axis`, `readings`, `sideways`, `several`, `long`, `packed`, `matrix`), one for what runs
//! (`meaning`), one for what was measured (`measured`), one for dates and times as people write them (`clocks`), and one
//! for what all end in (`curves`). `rules` holds what each sign of a table speaks for, `verdict` weighs whether it is a
//! measurement, `fitting` which choices its numbers allow, and `asking` puts questions to a person.

mod asking;
mod axis;
mod clocks;
mod computed;
mod curves;
mod fitting;
mod long;
mod matrix;
mod meaning;
mod measured;
mod packed;
mod readings;
pub(crate) mod rules;
mod several;
mod sideways;
mod sums;
mod template;
mod verdict;

use std::collections::BTreeMap;

use curvary_record::{
    Alternative, Claim, Code, Column as Values, Coordinate, Decimals, Diagnostic, Fields, KnownQuantity,
    Label, Lines, Numbers, Origin, Place, Quantity, Question, Span, Technique, Trace, Unit, moment, unit,
};

use self::curves::sentinel_of;
pub(super) use self::several::{goes_on, put_behind};
use self::template::Glance;
use self::verdict::{NOT_A_MEASUREMENT, TableVerdict};
use super::columns::{Column, Stats, corner_heads, describe, give_meaning, hear_vocabulary};
use super::context::Context;
use super::explain::columns_told;
use super::grid::{ColumnKind, Gap, MissingCell, decimals_of};
use super::number::Style;
use super::scan::{ScannedTable, leading_number};
use crate::Source;
use crate::column_header::read_column_header;
use crate::evidence::{Evidence, EvidenceTarget, Ledger, Template};
use crate::explanation::{ColumnPart, ColumnRole};
use crate::words::{self, WordList};

/// A run in the making.
#[derive(Clone, Debug)]
pub(super) struct RunDraft {
    pub(super) technique: Technique,
    pub(super) traces: Vec<Trace>,
    /// What is said of this run alone, where one line speaks of several side by side.
    pub(super) fields: Fields,
    pub(super) because: Vec<String>,
    pub(super) questions: Vec<Question>,
    pub(super) remarks: Vec<Diagnostic>,
    /// Whether something says that it is a measurement.
    pub(super) known: bool,
}

/// What a table turned out to be.
pub(super) enum TableReading {
    Runs(Vec<RunDraft>),
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
    table: &ScannedTable,
    context: &Context,
    told: Option<&mut (Vec<ColumnPart>, Vec<Evidence>)>,
) -> TableReading {
    let order = source.assume().get("date").and_then(moment::Order::named);
    let mut shaper = Shaper::of(source, table, context, order);
    if let Err(fault) = give_meaning(&mut shaper.columns, source.hints()) {
        return TableReading::Other(fault.to_string());
    }
    let left_out = hear_vocabulary(&mut shaper.columns, source);
    shaper.remarks.extend(left_out);
    if let Some(at) = apart_at_an_empty_column(&shaper.columns, table) {
        let mut right = Shaper::of(source, table, context, order);
        right.columns = shaper.columns.split_off(at);
        return shape_apart([shaper, right], told);
    }
    shape_columns(shaper, told)
}

/// Where the columns behind an empty one without a header begin, if names begin a table of its own there: standards on the
/// left, the samples on the right.
fn apart_at_an_empty_column(columns: &[Column], table: &ScannedTable) -> Option<usize> {
    let grid = &table.grid;
    let empty = |index: usize| match grid.kinds[index] {
        ColumnKind::Figures => grid.column(index).all(f64::is_nan),
        ColumnKind::Words => grid.words(index).iter().all(|span| span.start == span.end),
    };
    let headed = |column: &Column| !column.heads.is_empty();
    let gap = |pair: &[Column]| (pair[0].index + 1..pair[1].index).any(empty);
    let at = 1 + columns.windows(2).position(gap)?;
    let (left, right) = columns.split_at(at);
    let names = right.first().filter(|column| headed(column))?;
    /// Fewer rows are a remark beside the table.
    const FEWEST_ROWS: usize = 3;
    let measured = |column: &Column| {
        headed(column) && column.kind == ColumnKind::Figures && column.stats.count >= FEWEST_ROWS
    };
    let apart = names.kind == ColumnKind::Words && names.clock.is_none() && right.iter().any(measured);
    (apart && left.len() >= 2 && left.iter().all(headed)).then_some(at)
}

/// Shapes the parts of a table that stand side by side, each as a table of its own.
fn shape_apart(
    parts: [Shaper<'_>; 2],
    mut told: Option<&mut (Vec<ColumnPart>, Vec<Evidence>)>,
) -> TableReading {
    let table = parts[0].table;
    let mut drafts = Vec::new();
    let mut reason = None;
    let mut from = 0;
    for part in parts {
        let end = part.columns.last().map_or(from, |column| column.index + 1);
        let indices = std::mem::replace(&mut from, end)..end;
        let mut own = (Vec::new(), Vec::new());
        let shaped = shape_columns(part, told.is_some().then_some(&mut own));
        if let Some(told) = told.as_deref_mut() {
            let (first, last) = (indices.start + 1, indices.end);
            own.0.retain(|told| told.last >= first && told.first <= last);
            for columns in &mut own.0 {
                (columns.first, columns.last) = (columns.first.max(first), columns.last.min(last));
            }
            told.0.append(&mut own.0);
            told.1.append(&mut own.1);
        }
        match shaped {
            TableReading::Runs(mut found) => drafts.append(&mut found),
            TableReading::Other(why) => reason = Some(why),
        }
    }
    match (drafts.first_mut(), reason) {
        (Some(draft), Some(why)) => {
            let line = Place::line(table.first_line as usize);
            draft.remarks.push(
                Diagnostic::note(
                    Code::new("part-left-out"),
                    format!("the columns on one side of the empty column were left out: {why}"),
                )
                .at(line, "the table begins here"),
            );
            TableReading::Runs(drafts)
        }
        (None, Some(why)) => TableReading::Other(why),
        _ => TableReading::Runs(drafts),
    }
}

/// Shapes a table whose columns have their meanings.
fn shape_columns(
    mut shaper: Shaper<'_>,
    told: Option<&mut (Vec<ColumnPart>, Vec<Evidence>)>,
) -> TableReading {
    shaper.uses = vec![None; shaper.columns.len()];
    shaper.hear_columns();
    shaper.take_ranges();
    shaper.read_dotted_times();
    shaper.pass_midnight();
    // Curves take what they need out of the columns, so the ledger that is told is that of the beginning.
    let ledger = told.is_some().then(|| {
        let mut ledger = shaper.weigh();
        let roles: Vec<ShapeRole> = shaper.columns.iter().map(role).collect();
        let coordinates = coordinates(&roles);
        for sign in shaper.weigh_templates(&Glance::of(&roles, &coordinates)).iter() {
            ledger.note(sign.clone());
        }
        ledger
    });
    let mut shaped = shaper.run();
    if let TableReading::Runs(drafts) = &mut shaped
        && let Some(draft) = drafts.first_mut()
    {
        draft.remarks.extend(shaper.tell_unused());
    }
    if let (Some(told), Some(ledger)) = (told, ledger) {
        *told = (
            shaper.tell_columns(&shaped, &ledger),
            ledger.on(EvidenceTarget::Table),
        );
    }
    shaped
}

/// What became of a column: its role, and what it was taken for.
pub(super) type ColumnUse = (ColumnRole, Quantity, Unit);

struct Shaper<'a> {
    source: &'a Source,
    table: &'a ScannedTable,
    context: &'a Context,
    columns: Vec<Column>,
    /// What a word that stands in every row says was measured.
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
    /// While it is found out whether a column would be asked about without what was settled.
    unsettled: bool,
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
enum ShapeRole {
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

fn role(column: &Column) -> ShapeRole {
    if column.kind == ColumnKind::Words {
        return if column.clock.is_some() {
            ShapeRole::Coordinate
        } else {
            ShapeRole::Names
        };
    }
    let holds_light = column
        .held
        .iter()
        .any(|held| held.quantity == Quantity::WAVELENGTH || held.quantity == Quantity::TIME);
    // `340 nm` in a head of its own above `s` says where all beside it was measured.
    let in_its_own_head = column
        .heads
        .last()
        .is_none_or(|(text, _)| column.heads.len() == 1 || !read_column_header(text).held.is_empty());
    match column.quantity.as_ref().map(Quantity::as_str) {
        Some("wavelength" | "wavenumber" | "energy" | "time") if holds_light && in_its_own_head => {
            ShapeRole::Measured
        }
        Some("wavelength" | "wavenumber" | "energy" | "time" | "concentration") => ShapeRole::Coordinate,
        Some("absorbance" | "transmittance" | "reflectance" | "rate") => ShapeRole::Measured,
        Some("index" | "sample" | "replicate") => ShapeRole::Counter,
        // `ok` over 1 and 0 tells which rows are good.
        Some("flag") if is_yes_or_no(column) => ShapeRole::Counter,
        Some("temperature" | "ph") => ShapeRole::Beside,
        Some(_)
            if column
                .heads
                .last()
                .is_some_and(|(text, _)| crate::column_header::is_derived_of_light(text)) =>
        {
            ShapeRole::Measured
        }
        Some(_) => ShapeRole::Open,
        None if holds_light => ShapeRole::Measured,
        None if identifies(column) => ShapeRole::Counter,
        None if column.stats.whole
            && column.stats.rising
            && column.heads.last().is_some_and(|(text, _)| {
                words::is(WordList::Counter, text)
                    || words::is(WordList::Numbered, text) && column.stats.step == Some(1.0)
            }) =>
        {
            ShapeRole::Counter
        }
        None => ShapeRole::Open,
    }
}

/// Whether whole numbers tell one thing from another, by their header: `Lab no.`, `Patient no.`, `barcode`.
fn identifies(column: &Column) -> bool {
    column.kind == ColumnKind::Figures
        && column.stats.whole
        && column.unit.is_none()
        && column.heads.last().is_some_and(|(text, _)| {
            words::is(WordList::Identifier, text)
                || !column.stats.goes_in_other_steps(3) && axis::numbers_things(text)
        })
}

/// Whether numbers are those of a series that was made up: most of one digit, or in one step or one ratio.
fn is_series_of_doses(values: &[f64]) -> bool {
    let values: Vec<f64> = values.iter().copied().filter(|value| !value.is_nan()).collect();
    // Digits without the zeros in front and behind: `0.50` has one.
    let digits = |value: &f64| {
        format!("{:e}", value.abs())
            .split('e')
            .next()
            .map_or(0, |digits| digits.len() - usize::from(digits.contains('.')))
    };
    let round = values.iter().filter(|value| digits(value) <= 1).count();
    let even = |of: &dyn Fn(f64, f64) -> f64, values: &[f64]| {
        let steps: Vec<f64> = values.windows(2).map(|pair| of(pair[0], pair[1])).collect();
        steps.len() >= 2
            && steps
                .iter()
                .all(|step| (step - steps[0]).abs() <= 0.02 * steps[0].abs())
    };
    let positive: Vec<f64> = values.iter().copied().filter(|value| *value > 0.0).collect();
    round * 2 >= values.len()
        || even(&|one, other| other - one, &values)
        || even(&|one, other| other / one, &positive)
}

/// What the header in a corner says was measured, and where: `Extinktion 540 nm`, or the first of its two names,
/// `absorbance / nm`, `Absorbanca pri valovni dolžini (nm):`.
fn measured_in_corner(text: &str) -> Option<(Quantity, Vec<Coordinate>)> {
    let front = text.split([':', '/', '(', '[', '\\']).next().unwrap_or("").trim();
    [text, front].into_iter().find_map(|text| {
        let head = super::columns::head_or_first_word(text);
        let quantity = head.quantity.filter(Quantity::is_of_light)?;
        Some((quantity, head.held))
    })
}

/// The columns that may run by their headers.
fn coordinates(roles: &[ShapeRole]) -> Vec<usize> {
    let runs = |&i: &usize| roles[i] == ShapeRole::Coordinate;
    (0..roles.len()).filter(runs).collect()
}

/// Whether a column holds nothing but ones and zeros.
fn is_yes_or_no(column: &Column) -> bool {
    column.kind == ColumnKind::Figures
        && column.stats.whole
        && column.stats.min >= 0.0
        && column.stats.max <= 1.0
}

/// Quantities that make a table one of light absorbed.
fn of_the_trade(quantity: &Quantity) -> bool {
    quantity.is_of_light() || matches!(quantity.as_str(), "wavelength" | "wavenumber")
}

impl<'a> Shaper<'a> {
    /// A table with its columns described. `order` is that of day and month in dates, where it is settled.
    fn of(
        source: &'a Source,
        table: &'a ScannedTable,
        context: &'a Context,
        order: Option<moment::Order>,
    ) -> Self {
        let (values, stats) = table.grid.all_columns();
        let columns = describe(source.text(), table, &stats, order);
        Self {
            source,
            table,
            context,
            over_all: None,
            values,
            decimals: table.grid.decimals(),
            summed: summed_rows(source.text(), table, &columns),
            uses: vec![None; columns.len()],
            columns,
            because: Vec::new(),
            questions: Vec::new(),
            unsettled: false,
            remarks: Vec::new(),
            own: Fields::default(),
            unplaced: BTreeMap::new(),
            untold_gaps: BTreeMap::new(),
        }
    }
}

impl Shaper<'_> {
    fn run(&mut self) -> TableReading {
        if let Some(&row) = self.summed.first() {
            self.remarks.push(
                Diagnostic::note(
                    Code::new("statistics-row"),
                    format!(
                        "{} left out as a summary of other rows",
                        count(self.summed.len(), "row")
                    ),
                )
                .at(Place::line(self.table.grid.line(row)), "the first of them"),
            );
        }
        self.hear_shouted_nanometres();
        self.ask_parentheses();
        self.hear_rates();
        self.hear_percents();
        self.hear_path_lengths();
        self.unswap();
        self.set_numbers_of_rows_apart();
        let verdict = self.verdict();
        if let TableVerdict::Other(reason) = verdict {
            return TableReading::Other(reason);
        }
        let shaped = self.shaped();
        match (verdict, shaped) {
            (TableVerdict::Open, TableReading::Runs(mut drafts)) => {
                // Where an axis is known, what was measured over it is asked, and that is enough.
                let axis = |draft: &RunDraft| {
                    draft.traces.iter().any(|trace| {
                        trace.x.quantity != Quantity::UNKNOWN && trace.x.quantity != Quantity::INDEX
                    })
                };
                let open = !drafts.iter().any(axis);
                if open {
                    self.ask_whether_measured();
                }
                for draft in &mut drafts {
                    draft.known = false;
                    // The last question, behind those on the axes.
                    draft
                        .questions
                        .extend(self.questions.last().cloned().filter(|_| open));
                }
                TableReading::Runs(drafts)
            }
            (_, shaped) => shaped,
        }
    }

    /// Takes the numbers of the rows, `No.` or `ID`, away from in front of a table with numbers across its headers, which is then
    /// read as it would be without them.
    fn set_numbers_of_rows_apart(&mut self) {
        const FEWEST: usize = 4;
        let [first, second, ..] = self.columns.as_slice() else {
            return;
        };
        let number = first.kind == ColumnKind::Figures
            && first.stats.whole
            && (role(first) == ShapeRole::Counter || first.quantity == Some(Quantity::INDEX));
        let axis = second
            .quantity
            .as_ref()
            .is_some_and(|quantity| matches!(quantity.as_str(), "wavelength" | "wavenumber" | "time"));
        let in_front = second.kind == ColumnKind::Words || axis;
        if self.columns.len() < FEWEST || !number || !in_front {
            return;
        }
        let apart = self.columns.remove(0);
        if !self.has_numbers_across() {
            self.columns.insert(0, apart);
            return;
        }
        self.uses.remove(0);
        if !apart.stats.counts() {
            let head = apart.heads.last().map_or("", |(text, _)| text.trim());
            self.remarks.push(
                Diagnostic::note(
                    Code::new("column-left-out"),
                    format!(
                        "the numbers under `{head}` name the rows, which have other names: they were left out"
                    ),
                )
                .at(
                    Place::line(self.table.first_line as usize),
                    "its table begins here",
                ),
            );
        }
    }

    /// The curves of a table that may be a measurement.
    fn shaped(&mut self) -> TableReading {
        if let Some((code, readings)) = &self.table.open {
            self.ask_dialect(code.clone(), readings);
            // Where no reading is known that would be right, no number is given.
            if readings.len() < 2 {
                let draft = self.finish(Technique::UNKNOWN, Vec::new());
                return TableReading::Runs(vec![draft]);
            }
        }
        if self.columns.len() == 1 && self.table.grid.columns() == 1 {
            return self.column_alone();
        }
        if let Some(draft) = self.strips() {
            return TableReading::Runs(vec![draft]);
        }
        let roles: Vec<ShapeRole> = self.columns.iter().map(role).collect();
        let coordinates = coordinates(&roles);
        // The ways that may fit, the likeliest first; one that the cells do not go into leaves the turn to the next.
        for (template, _) in self.templates(&Glance::of(&roles, &coordinates)) {
            let built = match template {
                Template::Packed => self.packed().map(|draft| vec![draft]),
                Template::Matrix => self.matrix().map(|draft| vec![draft]),
                Template::SideBySide => self.several_axes(&coordinates, &roles),
                Template::LongForm => {
                    let xs = self.running(&coordinates, &roles);
                    let long = (xs.len() >= 2).then(|| self.long_form(&xs, &roles)).flatten();
                    long.map(|draft| vec![draft])
                }
                Template::OneAxis | Template::Readings => {
                    let xs = self.running(&coordinates, &roles);
                    // What was computed from the readings is kept beside them.
                    let mut roles = roles.clone();
                    if xs.is_empty() {
                        for &computed in &coordinates {
                            let figures = self.columns[computed].kind == ColumnKind::Figures;
                            if figures && self.columns[computed].quantity == Some(Quantity::CONCENTRATION) {
                                roles[computed] = ShapeRole::Open;
                            }
                        }
                    }
                    return self.curves_or_readings(xs, &roles);
                }
            };
            if let Some(drafts) = built {
                return TableReading::Runs(drafts);
            }
        }
        TableReading::Other("no curve".to_owned())
    }

    /// The columns of these that may run: elapsed numbers beside clock times are the axis, and what was computed from the
    /// readings is none.
    fn running(&self, coordinates: &[usize], roles: &[ShapeRole]) -> Vec<usize> {
        if self.is_computed(coordinates, roles) {
            return Vec::new();
        }
        // Of two concentrations the doses run, and what was found from the readings does not.
        let concentrations: Vec<usize> = coordinates
            .iter()
            .copied()
            .filter(|&i| {
                self.columns[i].quantity == Some(Quantity::CONCENTRATION)
                    && self.columns[i].kind == ColumnKind::Figures
            })
            .collect();
        let doses = |i: &usize| is_series_of_doses(self.table.grid.numbers(self.columns[*i].index));
        let (made, found): (Vec<usize>, Vec<usize>) = concentrations.into_iter().partition(doses);
        let coordinates: Vec<usize> = match made.as_slice() {
            [_] => coordinates
                .iter()
                .copied()
                .filter(|i| !found.contains(i))
                .collect(),
            _ => coordinates.to_vec(),
        };
        let coordinates = coordinates.as_slice();
        let figures: Vec<usize> = coordinates
            .iter()
            .copied()
            .filter(|&i| self.columns[i].kind == ColumnKind::Figures)
            .collect();
        // The wavelength runs in a spectrum, whatever the clock says of each of its points.
        let clocked = |i: &usize| self.columns[*i].clock.is_some();
        let spectrum = |i: &usize| {
            let column = &self.columns[*i];
            column.quantity == Some(Quantity::WAVELENGTH)
                && column.kind == ColumnKind::Figures
                && column.stats.orderly()
                && column.stats.count >= 4
        };
        if let &[one, other] = coordinates
            && let Some(scanned) = [one, other].into_iter().find(spectrum)
            && [one, other].iter().any(clocked)
        {
            return vec![scanned];
        }
        let timed = |&i: &usize| self.columns[i].quantity == Some(Quantity::TIME);
        if figures.len() < coordinates.len() && figures.iter().any(timed) {
            figures
        } else {
            coordinates.to_vec()
        }
    }

    /// Where a time runs, a concentration in front of it was followed and is no axis.
    fn put_time_first(&self, xs: &mut Vec<usize>) {
        let of = |i: usize, quantity: &Quantity| self.columns[i].quantity.as_ref() == Some(quantity);
        if let Some(at) = xs
            .iter()
            .position(|&i| of(i, &Quantity::TIME) && self.columns[i].stats.rising)
            && xs.first().is_some_and(|&i| of(i, &Quantity::CONCENTRATION))
        {
            let time = xs.remove(at);
            xs.insert(0, time);
        }
    }

    /// Curves over one column, or readings of their own where none runs.
    fn curves_or_readings(&mut self, mut xs: Vec<usize>, roles: &[ShapeRole]) -> TableReading {
        // What is the same in every row, `Merlot, 420 nm`, `Malbec, 420 nm`, is held by readings that have a name each.
        if let &[x] = xs.as_slice()
            && self.is_constant(x)
            && self.named_one_by_one(roles)
            && self.source.assume().get("shape").is_none()
        {
            self.tell_flags(roles);
            return self.readings(roles);
        }
        // A coordinate that never changes is held, not run over.
        let alone = xs.len() < 2;
        xs.retain(|&i| {
            let (column, stats) = (&self.columns[i], &self.columns[i].stats);
            let fewest = if alone { 3 } else { 2 };
            // Times that do not change are steps, and are asked about.
            let may_be_held = !alone || column.quantity == Some(Quantity::CONCENTRATION);
            !may_be_held || stats.min != stats.max || stats.count < fewest
        });
        let counted = self.source.assume().get("x") == Some("index");
        if let Some(axis) = self.columns.iter().filter(|_| !counted).find(|column| {
            let named = column
                .quantity
                .as_ref()
                .is_some_and(|q| matches!(q.as_str(), "wavelength" | "wavenumber" | "time"));
            let times = xs.is_empty() && self.is_like_times(column);
            times || named && column.kind == ColumnKind::Words && column.clock.is_none()
        }) {
            let labels = self.label_at(&axis.clone(), "this column");
            let head = axis
                .heads
                .last()
                .map_or(String::new(), |(text, _)| text.trim().to_owned());
            self.ask(
                "axis-not-readable",
                &format!("the column `{head}` should be the x axis, but its cells are no plain numbers"),
                &[("x=index", "the rows are to be counted")],
                labels,
            );
            let draft = self.finish(Technique::UNKNOWN, Vec::new());
            return TableReading::Runs(vec![draft]);
        }
        // A coordinate that never changes is held where a temperature or a pH beside it runs: a melting curve.
        let constant = |i: usize| {
            self.columns[i].stats.count > 2 && self.columns[i].stats.min == self.columns[i].stats.max
        };
        self.put_time_first(&mut xs);
        let of = |i: usize, quantity: &Quantity| self.columns[i].quantity.as_ref() == Some(quantity);
        if self.source.assume().get("x").is_none() && xs.len() >= 2 && self.mixes_wavelengths(&xs) {
            let labels = self.label_at(&self.columns[xs[0]].clone(), "this column");
            self.ask(
                "axis-unknown",
                "the wavelength changes from row to row while the time goes on: it is not known which rows belong to one curve",
                &[("x=index", "the rows are to be counted")],
                labels,
            );
            let draft = self.finish(Technique::UNKNOWN, Vec::new());
            return TableReading::Runs(vec![draft]);
        }
        let beside =
            (0..roles.len()).find(|&i| roles[i] == ShapeRole::Beside && self.columns[i].stats.orderly());
        let x = match (xs.as_slice(), beside) {
            ([x], Some(beside)) if constant(*x) => Some(beside),
            // A concentration that goes to and fro while the temperature rises all the way was found, or is beside.
            ([x], Some(beside))
                if of(*x, &Quantity::CONCENTRATION)
                    && !self.columns[*x].stats.orderly()
                    && self.is_swept(beside) =>
            {
                Some(beside)
            }
            ([x, ..], _) => Some(*x),
            // A word in every row beside a temperature that runs tells the phase, and the row number is no axis.
            ([], Some(beside))
                if roles.contains(&ShapeRole::Measured)
                    && roles.contains(&ShapeRole::Names)
                    && self.columns[beside].stats.count >= 4
                    && !self.named_one_by_one(roles) =>
            {
                Some(beside)
            }
            // So is the count of the rows, `No.,Temp (C),Abs`.
            ([], Some(beside))
                if roles.contains(&ShapeRole::Measured)
                    && roles.contains(&ShapeRole::Counter)
                    && !roles.contains(&ShapeRole::Names)
                    && self.is_swept(beside) =>
            {
                Some(beside)
            }
            ([], _) => self.x_by_values(roles),
        };
        // Readings with a name each, and the time of day they were taken at, are no time course; nor is a concentration behind
        // the readings of numbered samples what they were measured over.
        if let Some(x) = x
            && (self.columns[x].clock.is_some() || self.is_result_behind(x, roles))
            && self.named_one_by_one(roles)
        {
            return self.readings(roles);
        }
        match x {
            Some(x) => {
                self.tell_flags(roles);
                let split = !self.columns[x].stats.orderly() || self.columns.iter().any(long::is_series);
                // Remarks beside a temperature that rises all the way part no curves, nor do words behind all readings of
                // anything that does: colours of the rows.
                let behind = || {
                    let last = roles
                        .iter()
                        .rposition(|role| matches!(role, ShapeRole::Measured | ShapeRole::Open));
                    let names = roles.iter().position(|role| *role == ShapeRole::Names);
                    last.zip(names).is_some_and(|(last, names)| names > last)
                };
                let melting = self.columns[x].stats.orderly() && (roles[x] == ShapeRole::Beside || behind());
                if (roles.contains(&ShapeRole::Names) && !melting || split)
                    && !self.names_stand_for(x, roles)
                    && let Some(draft) = self.long_form(&[x], roles)
                {
                    return TableReading::Runs(vec![draft]);
                }
                self.one_axis(x, roles)
            }
            None => {
                self.tell_flags(roles);
                self.readings(roles)
            }
        }
    }

    /// Whether a condition was changed on purpose, from the first row to the last: a temperature or a pH that only drifts
    /// while samples are read changes by less.
    fn is_swept(&self, place: usize) -> bool {
        const LEAST_KELVIN: f64 = 5.0;
        const LEAST_PH: f64 = 1.0;
        let column = &self.columns[place];
        let least = match &column.quantity {
            Some(quantity) if *quantity == Quantity::TEMPERATURE => LEAST_KELVIN,
            _ => LEAST_PH,
        };
        let stats = &column.stats;
        // A step of a degree Fahrenheit is no kelvin.
        let unit = self.unit_of(column).unwrap_or(Unit::ONE);
        let range = match unit.converts_to(&Unit::KELVIN) {
            true => (unit.to_si(stats.max) - unit.to_si(stats.min)).abs(),
            false => stats.max - stats.min,
        };
        stats.count >= 4 && stats.orderly() && range >= least
    }

    /// Whether the rows of one name all have one value on the axis, `S1 0`, `S1 0`, `S2 2.5`, `S2 2.5`: the names stand for the values
    /// and part no curves.
    fn names_stand_for(&self, x: usize, roles: &[ShapeRole]) -> bool {
        let Some(names) = self.row_names(roles) else {
            return false;
        };
        let mut values: BTreeMap<&str, u64> = BTreeMap::new();
        let mut repeated = false;
        for (row, name) in names.iter().enumerate() {
            let value = self.table.grid.figure(row, self.columns[x].index);
            match values.insert(name, value.to_bits()) {
                Some(before) if before != value.to_bits() => return false,
                before => repeated |= before.is_some(),
            }
        }
        let distinct: std::collections::BTreeSet<u64> = values.values().copied().collect();
        repeated && distinct.len() >= 3
    }

    /// Whether a concentration stands behind all readings, goes up and down, and numbers that identify stand in front.
    fn is_result_behind(&self, x: usize, roles: &[ShapeRole]) -> bool {
        let last = roles.iter().rposition(|role| *role == ShapeRole::Measured);
        self.columns[x].quantity == Some(Quantity::CONCENTRATION)
            && last.is_some_and(|last| last < x)
            && !self.columns[x].stats.orderly()
            && self.columns[..x].iter().any(identifies)
    }

    /// Whether the only coordinates are concentrations that were computed from the readings beside them: samples in any
    /// order, each read at several wavelengths.
    fn is_computed(&self, xs: &[usize], roles: &[ShapeRole]) -> bool {
        let Some(x) = xs.first() else { return false };
        let all = xs
            .iter()
            .all(|&x| self.columns[x].quantity == Some(Quantity::CONCENTRATION));
        let mut wavelengths: Vec<u64> = self
            .columns
            .iter()
            .flat_map(|column| &column.held)
            .filter(|held| held.quantity == Quantity::WAVELENGTH)
            .map(|held| held.value.to_bits())
            .collect();
        wavelengths.sort_unstable();
        wavelengths.dedup();
        // Behind the only reading it may have been computed from it as well.
        let behind = roles
            .iter()
            .position(|role| *role == ShapeRole::Measured)
            .is_some_and(|y| y < *x);
        // What was diluted was read off a line.
        let diluted = self.columns.iter().any(|column| {
            let head = column.heads.last().map_or("", |(text, _)| text.trim());
            words::field_of(head) == Some("dilution")
        });
        all && roles.contains(&ShapeRole::Names)
            && if behind && (diluted || self.is_worked_out(*x)) {
                true
            } else if xs.len() > 1 {
                behind && wavelengths.len() >= 2
            } else if self.columns[*x].stats.orderly() {
                behind
                    && (wavelengths.len() >= 2 && self.table.grid.rows > 2 || self.is_proportional(*x, roles))
            } else {
                wavelengths.len() >= 2 || behind
            }
    }

    /// Whether the header of a concentration says that it was worked out, `berechnet (mg/l)`, or its rows are called no
    /// standards and its numbers are no round ones: what somebody calls `Teich` was measured, and not weighed in.
    fn is_worked_out(&self, x: usize) -> bool {
        let column = &self.columns[x];
        if column
            .heads
            .iter()
            .any(|(head, _)| words::contains(WordList::WorkedOut, head))
        {
            return true;
        }
        let text = self.source.text();
        let standard = |span: &Span| {
            words::begins(
                WordList::StandardSample,
                &text[span.range()].trim().to_lowercase(),
            )
        };
        let names = self
            .columns
            .iter()
            .find(|column| column.kind == ColumnKind::Words && !self.is_sparse(column));
        names.is_some_and(|names| {
            let cells = self.table.grid.words(names.index);
            let blank = |span: &Span| words::is_blank(text[span.range()].trim());
            cells.len() >= 2 && !cells.iter().any(|span| standard(span) || blank(span))
        }) && !is_series_of_doses(&self.table.grid.column(column.index).collect::<Vec<_>>())
    }

    /// Whether a column is a measured one times one factor, but for rounding: no readings of standards are.
    fn is_proportional(&self, x: usize, roles: &[ShapeRole]) -> bool {
        const FEWEST: usize = 3;
        let decimals = |place: usize| {
            let changes = &self.decimals[self.table.grid.place(self.columns[place].index)];
            changes.iter().map(|&(_, digits)| digits).min().unwrap_or(0)
        };
        let half_digit = |place: usize| 0.5 * 10f64.powi(-i32::from(decimals(place)));
        let computed: Vec<f64> = self.table.grid.column(self.columns[x].index).collect();
        (0..roles.len())
            .filter(|&y| roles[y] == ShapeRole::Measured && self.columns[y].kind == ColumnKind::Figures)
            .any(|y| {
                let pairs: Vec<(f64, f64)> = self
                    .table
                    .grid
                    .column(self.columns[y].index)
                    .zip(computed.iter().copied())
                    .filter(|(read, computed)| !read.is_nan() && !computed.is_nan())
                    .collect();
                let Some(&(read, found)) = pairs.iter().max_by(|a, b| a.0.total_cmp(&b.0)) else {
                    return false;
                };
                let factor = found / read;
                let fits = |&(read, found): &(f64, f64)| {
                    (found - factor * read).abs() <= half_digit(x) * 2.0 + factor.abs() * half_digit(y)
                };
                let spans = pairs.iter().any(|(other, _)| *other < 0.8 * read);
                read > 0.0 && found != 0.0 && spans && pairs.len() >= FEWEST && pairs.iter().all(fits)
            })
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

    /// Where the words around say that rates stand here, and in which unit, the columns without a quantity of their own
    /// beside concentrations are rates: `[S] (mM);I = 0 µM;I = 5 µM` below `Rates in A/min`.
    fn hear_rates(&mut self) {
        let Some(unit) = self.context.stated(&Quantity::RATE) else {
            return;
        };
        let coordinate = |column: &Column| column.quantity == Some(Quantity::CONCENTRATION);
        let bare = |column: &Column| column.quantity.is_none() && column.kind == ColumnKind::Figures;
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

    /// Where the words around speak of transmittances and a column is of wavelengths, a letter with percents, `B (%)`, is the name of
    /// what was measured, and no concentration.
    fn hear_percents(&mut self) {
        let light = [Quantity::TRANSMITTANCE, Quantity::REFLECTANCE];
        let of = |column: &Column, quantity: &Quantity| column.quantity.as_ref() == Some(quantity);
        let spectrum = self
            .columns
            .iter()
            .any(|column| of(column, &Quantity::WAVELENGTH));
        if !spectrum || !light.iter().any(|quantity| self.context.names(quantity)) {
            return;
        }
        for column in &mut self.columns {
            let named = column.heads.last().is_some_and(|(head, _)| {
                let name = crate::column_header::split_unit(head).map_or(head.as_str(), |(name, _)| name);
                words::quantity_of(name).is_none() && name.trim().chars().count() == 1
            });
            if named && of(column, &Quantity::CONCENTRATION) && column.unit == Some(Unit::PERCENT) {
                column.quantity = None;
            }
        }
    }

    /// Where the words around speak of cells, lengths over all curves, `1 mm`, `2 mm`, `5 mm`, are those of the cells.
    fn hear_path_lengths(&mut self) {
        let length = |column: &Column| {
            let (head, _) = column.heads.last()?;
            let (number, unit) = head.trim().split_once(|c: char| c.is_whitespace())?;
            let unit = matches!(unit.trim(), "mm" | "cm")
                .then(|| Unit::ucum(unit.trim()).ok())
                .flatten()?;
            let value = leading_number(number).filter(|value| *value > 0.0)?;
            Some(Coordinate::new(Quantity::named("path-length"), unit, value))
        };
        let runs = |column: &Column| {
            let of = column.quantity.as_ref().map(Quantity::as_str);
            matches!(of, Some("wavelength" | "wavenumber" | "time" | "concentration"))
        };
        let mut others = self
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| !runs(column));
        let lengths: Option<Vec<(usize, Coordinate)>> = others
            .by_ref()
            .map(|(place, column)| Some((place, length(column)?)))
            .collect();
        let Some(lengths) = lengths.filter(|lengths| {
            self.context.cells && lengths.len() >= 2 && lengths.len() + 1 == self.columns.len()
        }) else {
            return;
        };
        for (place, length) in lengths {
            let held = &mut self.columns[place].held;
            held.retain(|held| held.quantity != Quantity::UNKNOWN);
            held.push(length);
        }
    }

    /// Takes keys and their values that stand to the right of a table, in two columns without heads, for what they are.
    fn hear_keys_beside(&mut self) {
        let text = self.source.text();
        let Some(place) = (1..self.columns.len().saturating_sub(1)).find(|&place| self.are_keys(place))
        else {
            return;
        };
        let (keys, values) = (self.columns[place].index, self.columns[place + 1].index);
        let pairs: Vec<(Span, Span)> = self
            .table
            .grid
            .words(keys)
            .iter()
            .copied()
            .zip(self.table.grid.words(values).iter().copied())
            .filter(|(key, value)| key.start < key.end && value.start < value.end)
            .collect();
        for (key, value) in pairs {
            let bare = text[key.range()].trim_end().trim_end_matches([':', '=']).len();
            crate::preamble::claim(
                &mut self.own,
                &mut self.questions,
                self.source,
                key.start as usize..key.start as usize + bare,
                value.range(),
            );
        }
        self.columns.drain(place..place + 2);
        self.uses.drain(place..place + 2);
    }

    /// Whether a column holds keys of the trade in some of the rows, and the next one their values.
    fn are_keys(&self, place: usize) -> bool {
        let text = self.source.text();
        let bare = |column: &Column| column.kind == ColumnKind::Words && column.heads.is_empty();
        let [keys, values] = [&self.columns[place], &self.columns[place + 1]];
        if !bare(keys) || !bare(values) {
            return false;
        }
        let words = |column: &Column| -> Vec<&str> {
            let words = self.table.grid.words(column.index).iter();
            words.map(|span| text[span.range()].trim()).collect()
        };
        let (keys, values) = (words(keys), words(values));
        let paired = keys
            .iter()
            .zip(&values)
            .all(|(key, value)| key.is_empty() == value.is_empty());
        let filled: Vec<&&str> = keys.iter().filter(|key| !key.is_empty()).collect();
        let known = filled
            .iter()
            .filter(|key| {
                let key = key.trim_end_matches([':', '=']).trim_end();
                let name = crate::column_header::split_unit(key).map_or(key, |(name, _)| name);
                crate::preamble::is_known(key) || crate::preamble::is_known(name)
            })
            .count();
        paired && known >= 2 && known * 2 >= filled.len()
    }

    /// Takes what a column says of the whole run: a date in front of clock times, or one word in every row under the name
    /// of a field.
    fn hear_columns(&mut self) {
        self.hear_keys_beside();
        self.hear_corner();
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
            if column.kind != ColumnKind::Words || column.clock.is_some() {
                continue;
            }
            let words = self.table.grid.words(column.index);
            let Some(first) = words.first().filter(|_| words.len() >= 2) else {
                continue;
            };
            let word = text[first.range()].trim();
            let field = crate::words::field_of(text[head.range()].trim());
            if word.is_empty() || words.iter().any(|span| text[span.range()].trim() != word) {
                continue;
            }
            // `absorbance` in every row says what the numbers beside it are.
            if let Some(quantity) = crate::words::quantity_of(word).filter(Quantity::is_of_light) {
                self.over_all.get_or_insert(quantity);
                self.uses[place] = Some((ColumnRole::Names, Quantity::UNKNOWN, Unit::ONE));
            } else if field.is_some() {
                crate::preamble::claim(
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

    /// Takes what the header in the corner says of all columns beside it: `Extinktion 540 nm` over the names of samples,
    /// `absorbance / nm` in front of wavelengths, `Absorbance` above `nm`.
    fn hear_corner(&mut self) {
        let Some(corner) = self.columns.first() else {
            return;
        };
        let head = match (corner.kind, corner.heads.as_slice()) {
            (ColumnKind::Words, [.., (text, _)]) if corner.clock.is_none() => text,
            (ColumnKind::Figures, [(text, _), .., (lowest, _)])
                if super::segments::is_axis(&read_column_header(lowest))
                    && read_column_header(text).unit.is_none() =>
            {
                text
            }
            _ => return,
        };
        let Some((quantity, held)) = measured_in_corner(head) else {
            return;
        };
        if self
            .columns
            .iter()
            .skip(1)
            .any(|column| column.quantity.is_some())
        {
            return;
        }
        for column in self.columns.iter_mut().skip(1) {
            let numbered = column
                .heads
                .last()
                .is_some_and(|(text, _)| super::scan::leading_number(text.trim()).is_some());
            if column.kind == ColumnKind::Figures && column.held.is_empty() && !numbered {
                column.held.clone_from(&held);
            }
        }
        self.over_all.get_or_insert(quantity);
    }

    /// Remarks on columns of which nothing was used.
    fn tell_unused(&self) -> Vec<Diagnostic> {
        let told = |place: usize| {
            let column = &self.columns[place];
            let unused = self.uses[place].is_none();
            let needless = match role(column) {
                ShapeRole::Counter => true,
                ShapeRole::Names => !self.is_measured_in_words(column),
                _ => column.stats.count == 0,
            };
            (unused && !needless).then(|| {
                let head = self
                    .name(place)
                    .unwrap_or_else(|| format!("column {}", column.index + 1));
                Diagnostic::warning(
                    Code::new("column-left-out"),
                    format!("`{head}` was not used: it is neither the x axis nor a curve over it"),
                )
                .at(
                    Place::line(self.table.first_line as usize),
                    "its table begins here",
                )
            })
        };
        (0..self.columns.len()).filter_map(told).collect()
    }

    /// What each column was taken for, for those who ask.
    fn tell_columns(&self, shaped: &TableReading, ledger: &Ledger) -> Vec<ColumnPart> {
        let because: Vec<String> = match shaped {
            TableReading::Runs(drafts) => drafts.iter().flat_map(|draft| draft.because.clone()).collect(),
            TableReading::Other(_) => Vec::new(),
        };
        let otherwise = |place: usize| {
            let column = &self.columns[place];
            match role(column) {
                ShapeRole::Counter => ColumnRole::Counter,
                ShapeRole::Names if self.is_sparse(column) => ColumnRole::Flags,
                ShapeRole::Names => ColumnRole::Names,
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
            ledger,
        )
    }

    fn used(&mut self, column: usize, role: ColumnRole, quantity: &Quantity, unit: &Unit) {
        if self.uses[column].is_none() {
            self.uses[column] = Some((role, quantity.clone(), unit.clone()));
        }
    }

    fn finish(&mut self, technique: Technique, traces: Vec<Trace>) -> RunDraft {
        for (quantity, mut columns) in std::mem::take(&mut self.untold_gaps) {
            columns.sort_unstable();
            columns.dedup();
            self.tell_gaps(&columns, &quantity);
        }
        let mut because = std::mem::take(&mut self.because);
        because.insert(0, self.table.grid.dialect.says_in(self.source));
        RunDraft {
            technique,
            traces: traces.into_iter().filter(|trace| !trace.is_empty()).collect(),
            fields: self.own.clone(),
            because,
            questions: self.questions.clone(),
            remarks: std::mem::take(&mut self.remarks),
            known: true,
        }
    }
}

/// The rows whose name says that they sum up others.
fn summed_rows(text: &str, table: &ScannedTable, columns: &[Column]) -> std::collections::BTreeSet<usize> {
    let mut rows = std::collections::BTreeSet::new();
    // `Mean` below times of day.
    for column in columns.iter().filter(|column| column.clock.is_some()) {
        let spans = table.grid.words(column.index).iter().enumerate();
        let sums = |span: &Span| {
            let word = text[span.range()].trim();
            word.starts_with(char::is_alphabetic) && super::segments::is_summary_word(word)
        };
        rows.extend(spans.filter(|(_, span)| sums(span)).map(|(row, _)| row));
    }
    for column in columns
        .iter()
        .filter(|column| column.kind == ColumnKind::Words && column.clock.is_none())
    {
        let spans = table.grid.words(column.index);
        // `max` behind one row of many is a flag.
        let empty = spans.iter().filter(|span| span.start == span.end).count();
        if column.index > 0 && empty * 3 > spans.len() {
            continue;
        }
        // The same few names stand in many rows.
        let names = ColumnNames::of(text, &table.grid, column.index);
        if names.are_kinds_of_peaks() {
            continue;
        }
        let sums_up: Vec<bool> = (0..names.words.len()).map(|name| names.sums_up(name)).collect();
        if sums_up.contains(&true) || !rows.is_empty() {
            for (row, &name) in names.of_row.iter().enumerate() {
                // `n` behind a mean and a deviation counts what they are of.
                let counts = row > 0
                    && rows.contains(&(row - 1))
                    && super::heads::is_summary_word(names.words[name as usize].1);
                if sums_up[name as usize] && !names.is_standard(row) || counts {
                    rows.insert(row);
                }
            }
        }
        rows.extend(names.sums_of_series(&rows));
        rows.extend(names.means_again_and_again(&table.grid, columns));
        if column.index == 0 {
            // `W4` below `W1`, `W2`, `W3` is a sample, whatever was read of it.
            let form = |row: usize| super::join::form_of(text[spans[row].range()].trim());
            let named_alike = |row: usize| {
                let own = form(row);
                own.contains('0') && (0..row).any(|other| form(other) == own)
            };
            let sums = sums::at_the_foot(&table.grid, columns, &rows);
            if !sums.iter().any(|row| !rows.contains(row) && named_alike(*row)) {
                rows.extend(sums);
            }
        }
    }
    rows
}

/// The names in a column of words, each once.
struct ColumnNames<'a> {
    /// For each row the place of its name.
    of_row: &'a [u32],
    /// The first row of each name, and the name.
    words: Vec<(usize, &'a str)>,
}

impl<'a> ColumnNames<'a> {
    fn of(text: &'a str, grid: &'a super::grid::Grid, column: usize) -> Self {
        let distinct = grid.distinct(text, column);
        Self {
            of_row: distinct.of_row(),
            words: distinct.words(text).collect(),
        }
    }

    /// Whether each row is a `max` or a `min`, and they come again.
    fn are_kinds_of_peaks(&self) -> bool {
        let is_named = |name: usize| !self.words[name].1.is_empty();
        let distinct = (0..self.words.len()).filter(|&name| is_named(name)).count();
        let rows = self
            .of_row
            .iter()
            .filter(|&&name| is_named(name as usize))
            .count();
        self.of_row.len() >= 3
            && distinct < rows
            && self
                .words
                .iter()
                .all(|(_, word)| word.is_empty() || names_extreme(word))
    }

    /// Whether a row is one of several under `Std`: standards, and no deviation. No table begins with a deviation.
    fn is_standard(&self, row: usize) -> bool {
        let at = |row: Option<usize>| row.and_then(|row| self.of_row.get(row));
        let own = at(Some(row));
        own.is_some_and(|&name| crate::words::fold(self.words[name as usize].1) == "std")
            && (at(Some(0)) == own || at(row.checked_sub(1)) == own || at(Some(row + 1)) == own)
    }

    fn sums_up(&self, name: usize) -> bool {
        let word = self.words[name].1;
        // Beside an `r1`, `r2` is the second of several and no measure of a fit.
        let is_numbered = || {
            let stem = |word: &str| word.trim_end_matches(|c: char| c.is_ascii_digit()).len();
            stem(word) < word.len()
                && self.words.iter().any(|&(_, other)| {
                    other != word
                        && stem(other) < other.len()
                        && other.get(..stem(other)) == word.get(..stem(word))
                })
        };
        word.chars().nth(1).is_some() && crate::words::is_statistics(word) && !is_numbered()
    }

    /// Rows that sum up others by where they stand: `mean ctrl` below `ctrl-1`, `ctrl-2`, and `rel. %` at the end of a
    /// table, behind a mean, where the readings above are all of one series (`leaf 1`, `leaf 2`).
    fn sums_of_series(&self, sums: &std::collections::BTreeSet<usize>) -> Vec<usize> {
        /// A mean is followed by no more: a deviation, a relative one, a count.
        const MOST_BEHIND: usize = 3;
        let series = |name: &str| {
            let end = name.find(|c: char| !c.is_alphabetic()).unwrap_or(name.len());
            name[..end].to_lowercase()
        };
        let numbered = |name: &str| name.ends_with(|c: char| c.is_ascii_digit());
        // For each name that a word of statistics begins the first row of the series it is of.
        let begins: Vec<Option<usize>> = self
            .words
            .iter()
            .map(|(_, name)| {
                let (word, of) = name.split_once(' ')?;
                if !crate::words::is_statistics(word) {
                    return None;
                }
                let of = of.trim().to_lowercase();
                let mut others = self.words.iter();
                let first = others.find(|(_, name)| numbered(name) && series(name) == of)?;
                Some(first.0)
            })
            .collect();
        let mut found = Vec::new();
        if begins.iter().any(Option::is_some) {
            let rows = self.of_row.iter().enumerate();
            let behind = rows.filter(|&(row, &name)| begins[name as usize].is_some_and(|first| first < row));
            found.extend(behind.map(|(row, _)| row).filter(|row| !sums.contains(row)));
        }
        if let Some(&first) = sums.first() {
            let name = |row: usize| self.words[self.of_row[row] as usize].1;
            let mut above = self.words.iter().take_while(|&&(row, _)| row < first);
            let of_one = above.next().map(|(_, name)| series(name)).filter(|of| {
                let mut above = self.words.iter().take_while(|&&(row, _)| row < first);
                !of.is_empty() && first >= 3 && above.all(|(_, name)| numbered(name) && series(name) == *of)
            });
            let behind = first + 1..self.of_row.len();
            if let Some(of) = of_one
                && behind.len() <= MOST_BEHIND
                && behind
                    .clone()
                    .all(|row| series(name(row)) != of && !numbered(name(row)))
            {
                found.extend(behind.filter(|row| !sums.contains(row)));
            }
        }
        found
    }
}

impl ColumnNames<'_> {
    /// The rows of a name that comes again and again, each time with the means of the rows since the last time, in whatever
    /// language it is.
    fn means_again_and_again(&self, grid: &super::grid::Grid, columns: &[Column]) -> Vec<usize> {
        const FEWEST_TIMES: usize = 2;
        const FEWEST_ROWS: usize = 2;
        let mut times = vec![0; self.words.len()];
        for &name in self.of_row {
            times[name as usize] += 1;
        }
        let is_word = |name: usize| {
            let word = self.words[name].1;
            times[name] >= FEWEST_TIMES
                && times[name] * (FEWEST_ROWS + 1) <= self.of_row.len()
                && word.chars().count() >= 2
                && !word.contains(|c: char| c.is_ascii_digit())
        };
        let candidates: Vec<usize> = (0..self.words.len()).filter(|&name| is_word(name)).collect();
        if candidates.is_empty() {
            return Vec::new();
        }
        let decimals = grid.decimals();
        let figures: Vec<(usize, f64)> = columns
            .iter()
            .filter(|column| column.kind == ColumnKind::Figures)
            .map(|column| {
                let rounding = super::grid::rounding_of(&decimals[grid.place(column.index)]);
                (column.index, rounding)
            })
            .collect();
        let is_mean = |row: usize, block: std::ops::Range<usize>| {
            let compared = figures.iter().filter_map(|&(column, rounding)| {
                let numbers = block.clone().map(|row| grid.figure(row, column));
                let mean = numbers.sum::<f64>() / block.len() as f64;
                let deviation = (mean - grid.figure(row, column)).abs();
                (!deviation.is_nan()).then_some(deviation <= rounding)
            });
            let compared: Vec<bool> = compared.collect();
            block.len() >= FEWEST_ROWS && !compared.is_empty() && compared.iter().all(|same| *same)
        };
        let mut found = Vec::new();
        for name in candidates {
            let rows = || (0..self.of_row.len()).filter(|&row| self.of_row[row] as usize == name);
            let mut from = 0;
            let mut means = 0;
            for row in rows() {
                means += usize::from(is_mean(row, from..row));
                from = row + 1;
            }
            // A damaged row may keep one of them from agreeing.
            if means >= FEWEST_TIMES && means * 3 >= times[name] * 2 {
                found.extend(rows());
            }
        }
        found
    }
}

/// Whether a word names a greatest or a least value, in a few languages: `max`, `mín`, `Maximum`.
fn names_extreme(word: &str) -> bool {
    let folded = words::fold(word);
    folded.starts_with("max") || folded.starts_with("min")
}

fn customary_unit(quantity: &Quantity) -> Unit {
    match quantity.known() {
        Some(KnownQuantity::Absorbance) => Unit::ABSORBANCE,
        Some(KnownQuantity::Temperature) => Unit::CELSIUS,
        Some(KnownQuantity::Wavelength) => Unit::NANOMETRE,
        Some(KnownQuantity::Ph) => Unit::ucum("[pH]").unwrap_or(Unit::ONE),
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
