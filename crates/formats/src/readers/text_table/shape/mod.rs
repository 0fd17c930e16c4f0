//! From a table to curves: which column runs, which are measured, what is held, and what must be asked.
//!
//! One file for each shape of a table (`one_axis`, `readings`, `several`, `long`, `packed`, `matrix` with
//! `curves_in_rows`), one for which column
//! runs (`axis`) and one for what it is of (`meaning`), one for what was measured (`measured`), one for dates and times as people write them (`clocks`), and one
//! for what all end in (`curves`). `rules` holds what each sign of a table speaks for, `verdict` weighs whether it is a
//! measurement, `fitting` which choices its numbers allow, `asking` puts questions to a person, and `doubts`
//! those on what was measured.

mod apart;
mod asking;
mod axis;
mod clocks;
mod computed;
mod curves;
mod curves_in_rows;
mod doubts;
mod fitting;
mod hearing;
mod long;
mod matrix;
mod meaning;
mod measured;
mod one_axis;
mod packed;
mod readings;
mod roles;
mod row_names;
pub(crate) mod rules;
mod running;
mod several;
mod summaries;
mod sums;
mod template;
mod verdict;

use std::collections::BTreeMap;

use curvary_record::{
    Alternative, Claim, Code, Column as Values, Coordinate, Decimals, Diagnostic, Fields, KnownQuantity,
    Label, Lines, Numbers, Origin, Place, Quantity, Question, Span, Technique, Trace, Unit, moment, unit,
};

use self::apart::{apart_at_an_empty_column, shape_apart};
pub(super) use self::axis::numbers_things;
use self::curves::sentinel_of;
use self::hearing::measured_in_corner;
use self::roles::{ShapeRole, coordinates, identifies, of_the_trade, role};
pub(super) use self::several::{goes_on, put_behind};
use self::summaries::summed_rows;
use self::template::Glance;
use self::verdict::{NOT_A_MEASUREMENT, TableVerdict};
use super::columns::{
    Column, CornerHead, Stats, corner_heads, describe, give_meaning, head_or_first_word, hear_vocabulary,
};
use super::context::Context;
use super::explain::columns_told;
use super::grid::{ColumnKind, Gap, MissingCell, decimals_of};
use super::number::Style;
use super::scan::{ScannedTable, leading_number};
use super::transposed::transposed;
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
    mut told: Option<&mut (Vec<ColumnPart>, Vec<Evidence>)>,
) -> TableReading {
    if let Some(upright) = transposed(source, table)
        && let TableReading::Runs(mut drafts) = shape_upright(source, &upright, context, told.as_deref_mut())
    {
        if let Some(draft) = drafts.first_mut() {
            let why = "the table lies on its side: its rows were read as columns";
            draft.because.push(why.to_owned());
        }
        return TableReading::Runs(drafts);
    }
    shape_upright(source, table, context, told)
}

/// Shapes one table whose columns are columns.
fn shape_upright(
    source: &Source,
    table: &ScannedTable,
    context: &Context,
    told: Option<&mut (Vec<ColumnPart>, Vec<Evidence>)>,
) -> TableReading {
    let order = source.assume().get("date").and_then(moment::DatePartOrder::named);
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
    /// What was told of them.
    unplaced_told: Vec<Diagnostic>,
    /// Columns whose gaps are still to be told, by what they are of.
    untold_gaps: BTreeMap<Quantity, Vec<usize>>,
}

impl<'a> Shaper<'a> {
    /// A table with its columns described. `order` is that of day and month in dates, where it is settled.
    fn of(
        source: &'a Source,
        table: &'a ScannedTable,
        context: &'a Context,
        order: Option<moment::DatePartOrder>,
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
            unplaced_told: Vec::new(),
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
                // Nothing of light, and nothing asked: a log of the weather runs over time as well.
                let of_light = |draft: &RunDraft| {
                    draft
                        .traces
                        .iter()
                        .any(|trace| trace.y.quantity.is_of_light() || trace.y.quantity == Quantity::RATE)
                };
                let told = drafts.iter().any(of_light);
                let asked =
                    !self.questions.is_empty() || drafts.iter().any(|draft| !draft.questions.is_empty());
                let open = !drafts.iter().any(axis) || !told && !asked;
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
            ([], _) => self
                .condition_swept_by_names(roles)
                .or_else(|| self.x_by_values(roles)),
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
