//! Tidy CSV: one observation a row, one variable a column, units in the columns' names, values exactly as read.
//!
//! Two passes, because a column is only written when some row fills it: a [`Survey`] looks at every run once and
//! gives a [`Table`]; a [`Writer`] then writes the rows, holding no more than a block of them. A [`Table`] also
//! describes itself ([`Table::schema`]).
//!
//! ```
//! use curvary_formats::writers::csv::{Options, Survey, Writer};
//! # use curvary_record::{Column, Decimals, Digest, Fields, Quantity, Run, RunId, SourceRef, Technique, Trace, Unit};
//! # let digest = Digest::of(b"");
//! # let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, vec![400.0]);
//! # let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.12]).with_decimals(Decimals::uniform(4, 1));
//! # let run = Run { id: RunId::named("a1"), source: SourceRef { path: "a.txt".into(), digest, reader: "r".into(),
//! #     reader_version: "1".into(), encoding: None, ordinal: 0, lines: None }, technique: Technique::SPECTRUM,
//! #     because: vec![], fields: Fields::default(), traces: vec![Trace::new(x, y).expect("one length")],
//! #     questions: vec![], remarks: vec![] };
//! # let runs = [run];
//! let mut survey = Survey::new(Options::default());
//! runs.iter().for_each(|run| survey.see(run));
//! let table = survey.table();
//! let mut writer = Writer::new(Vec::new(), &table)?;
//! for run in &runs {
//!     writer.write(run)?;
//! }
//! assert_eq!(
//!     writer.finish()?,
//!     b"run,trace,technique,wavelength_nm,source,absorbance\r\na1,0,spectrum,400,a.txt,0.1200\r\n"
//! );
//! # Ok::<(), curvary_formats::writers::csv::WriteError>(())
//! ```
//!
//! **Columns.** `run`, `trace` (from 0, as in the JSON), `sample`, `technique`; then the coordinates, such as
//! `wavelength_nm` and `time_s`, whether they run along the curve or are held; then every field of the runs; then
//! `label`, `point`, `question`, `source`; last what was measured, such as `absorbance`. Runs that differ in a unit fill
//! different columns: nothing is converted. What is known of a curve goes before what is known of its run; where a
//! curve has its own coordinate and the run states a different one (a jacket at 37 °C, a logged 36.8 °C), the latter
//! stands under `stated_…`.
//!
//! **Formulas.** A text that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, a tab or a line
//! end) gets an apostrophe in front; so does one that begins with apostrophes before such a sign, so that taking one
//! off always gives the text back. The schema tells which columns have such cells. Numbers are never touched.

mod origins;

use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Write};

use curvary_record::{Column, Decimals, Fields, Numbers, Run, Trace, Unit, Value, ValueKind, known_field};

use super::digits::{Digits, as_written};
use super::table_schema::{ColumnType, TableField, TableSchema};

pub use origins::Origins;

/// Rows are handed on in blocks of about this many bytes.
const BLOCK: usize = 1 << 16;

/// What a table holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Leave out the fields that are kept under the sources' own spellings.
    pub known_fields_only: bool,
}

/// Why rows could not be written.
#[derive(Debug)]
pub enum WriteError {
    /// The file could not be written.
    Io(io::Error),
    /// A run fills a column that the survey did not see: the survey looked at other runs.
    NotSurveyed {
        /// The run.
        run: String,
        /// The column.
        column: String,
    },
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(error) => error.fmt(f),
            Self::NotSurveyed { run, column } => write!(
                f,
                "run {run} fills the column `{column}`, which the table lacks: the runs changed while they were written; write the table again"
            ),
        }
    }
}

impl std::error::Error for WriteError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io(error) => Some(error),
            Self::NotSurveyed { .. } => None,
        }
    }
}

impl From<io::Error> for WriteError {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// One variable of the table.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Variable {
    Run,
    Trace,
    Sample,
    Technique,
    /// A quantity or a field with a number.
    Number {
        name: String,
        /// The UCUM code; all pure numbers have `1`.
        unit: Option<String>,
        part: Part,
    },
    Words(String),
    Label,
    Point,
    Question,
    Source,
    Saturated,
}

/// Which of the numbers of one name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    /// The value; above 0 when a curve has the same quantity more than once.
    Value(u8),
    PlusMinus,
    From,
    To,
    /// What the run states where its curve has a value of its own.
    Stated,
}

/// What a row holds in one column.
#[derive(Clone, Debug)]
enum Cell {
    Text(String),
    Number(f64, String),
    X,
    Y,
    /// Whether the names have one that a spreadsheet would run.
    Name {
        guarded: bool,
    },
    Saturated,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Field,
    Coordinate,
    Measured,
}

/// A variable of a row with its content, and how it came in.
struct Entry {
    variable: Variable,
    cell: Cell,
    role: Role,
    /// The unit as it was, before all pure numbers became one.
    unit: Option<Unit>,
}

/// What the survey learnt about a variable.
#[derive(Clone, Debug)]
struct Seen {
    coordinate: bool,
    measured: bool,
    unit: Option<Unit>,
    all_dates: bool,
    guarded: bool,
}

/// The first pass: which columns do the runs fill?
#[derive(Clone, Debug, Default)]
pub struct Survey {
    options: Options,
    seen: BTreeMap<Variable, Seen>,
}

impl Survey {
    /// Nothing seen yet.
    #[must_use]
    pub fn new(options: Options) -> Self {
        Self {
            options,
            seen: BTreeMap::new(),
        }
    }

    /// Looks at one run. The numbers of its curves are not touched.
    pub fn see(&mut self, run: &Run) {
        let of_run = run_entries(run, self.options);
        for (index, trace) in run.traces.iter().enumerate().filter(|(_, t)| !t.is_empty()) {
            let own = trace_entries(index, trace, &of_run, self.options);
            for entry in of_run.iter().chain(&own) {
                self.note(entry);
            }
        }
    }

    fn note(&mut self, entry: &Entry) {
        let (dated, guarded) = match &entry.cell {
            Cell::Text(text) => (is_date(text), runs_as_formula(text)),
            Cell::Name { guarded } => (false, *guarded),
            _ => (false, false),
        };
        if let Some(seen) = self.seen.get_mut(&entry.variable) {
            seen.coordinate |= entry.role == Role::Coordinate;
            seen.measured |= entry.role == Role::Measured;
            seen.all_dates &= dated;
            seen.guarded |= guarded;
            if seen.unit != entry.unit {
                seen.unit = Some(Unit::ONE);
            }
        } else {
            let seen = Seen {
                coordinate: entry.role == Role::Coordinate,
                measured: entry.role == Role::Measured,
                unit: entry.unit.clone(),
                all_dates: dated,
                guarded,
            };
            self.seen.insert(entry.variable.clone(), seen);
        }
    }

    /// Adds what another survey saw, so that the first pass can be shared out.
    pub fn merge(&mut self, other: Self) {
        for (variable, theirs) in other.seen {
            if let Some(ours) = self.seen.get_mut(&variable) {
                ours.coordinate |= theirs.coordinate;
                ours.measured |= theirs.measured;
                ours.all_dates &= theirs.all_dates;
                ours.guarded |= theirs.guarded;
                if ours.unit != theirs.unit {
                    ours.unit = Some(Unit::ONE);
                }
            } else {
                self.seen.insert(variable, theirs);
            }
        }
    }

    /// The table's columns. They depend on what was seen, not on its order.
    #[must_use]
    pub fn table(&self) -> Table {
        let mut found: Vec<(&Variable, &Seen)> = self.seen.iter().collect();
        found.sort_by_cached_key(|(variable, seen)| (rank(variable, seen), (*variable).clone()));
        let mut columns: Vec<TableField> = Vec::with_capacity(found.len());
        let mut index = BTreeMap::new();
        // An empty archive still gives a table with a head.
        for (at, (variable, seen)) in found.iter().enumerate() {
            let mut field = describe(variable, seen);
            let plain = field.name.clone();
            let mut count = 2;
            while columns.iter().any(|c| c.name.eq_ignore_ascii_case(&field.name)) {
                field.name = format!("{plain}_{count}");
                count += 1;
            }
            columns.push(field);
            index.insert((*variable).clone(), at);
        }
        if columns.is_empty() {
            for variable in [Variable::Run, Variable::Trace, Variable::Technique] {
                let seen = Seen {
                    coordinate: false,
                    measured: false,
                    unit: None,
                    all_dates: false,
                    guarded: false,
                };
                columns.push(describe(&variable, &seen));
            }
        }
        Table {
            options: self.options,
            columns,
            index,
        }
    }
}

/// The columns of a table.
#[derive(Clone, Debug)]
pub struct Table {
    options: Options,
    columns: Vec<TableField>,
    index: BTreeMap<Variable, usize>,
}

impl Table {
    /// The heads, from left to right.
    pub fn heads(&self) -> impl Iterator<Item = &str> {
        self.columns.iter().map(|column| column.name.as_str())
    }

    /// The table's description, for the file `….schema.json` beside it.
    #[must_use]
    pub fn schema(&self) -> TableSchema {
        TableSchema::new(self.columns.clone())
    }
}

/// Writes the rows of a [`Table`].
pub struct Writer<'t, W: Write> {
    out: W,
    table: &'t Table,
    block: Vec<u8>,
    digits: Digits,
    axis: Option<AxisText>,
}

/// An axis that several curves share, as text.
struct AxisText {
    values: Numbers,
    decimals: Decimals,
    text: Vec<u8>,
    ends: Vec<usize>,
}

/// A row is these pieces one after another.
enum Piece {
    Same(std::ops::Range<usize>),
    X,
    Y,
    Name,
    Saturated,
}

impl<'t, W: Write> Writer<'t, W> {
    /// Writes the head.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn new(out: W, table: &'t Table) -> Result<Self, WriteError> {
        let mut block = Vec::with_capacity(BLOCK + BLOCK / 4);
        for (at, column) in table.columns.iter().enumerate() {
            if at > 0 {
                block.push(b',');
            }
            push_quoted(&mut block, &column.name);
        }
        block.extend_from_slice(b"\r\n");
        Ok(Self {
            out,
            table,
            block,
            digits: Digits::default(),
            axis: None,
        })
    }

    /// Writes a row for every point of every curve of the run; returns how many there were.
    ///
    /// # Errors
    /// When `out` cannot be written, or the run was not seen by the survey; then no row of the offending curve is
    /// written.
    pub fn write(&mut self, run: &Run) -> Result<u64, WriteError> {
        let of_run = run_entries(run, self.table.options);
        let base = self.row(run, vec![None; self.table.columns.len()], &of_run)?;
        let mut rows = 0;
        for (index, trace) in run.traces.iter().enumerate().filter(|(_, t)| !t.is_empty()) {
            let own = trace_entries(index, trace, &of_run, self.table.options);
            let row = self.row(run, base.clone(), &own)?;
            self.write_trace(trace, &row, run.traces.len() > 1)?;
            rows += trace.len() as u64;
        }
        Ok(rows)
    }

    /// Fills a row with entries.
    fn row<'c>(
        &self,
        run: &Run,
        mut row: Vec<Option<&'c Cell>>,
        entries: &'c [Entry],
    ) -> Result<Vec<Option<&'c Cell>>, WriteError> {
        for entry in entries {
            let Some(&at) = self.table.index.get(&entry.variable) else {
                // A run without points fills no row and was not surveyed.
                if run.points() == 0 {
                    continue;
                }
                return Err(WriteError::NotSurveyed {
                    run: run.id.to_string(),
                    column: plain_name(&entry.variable),
                });
            };
            row[at] = Some(&entry.cell);
        }
        Ok(row)
    }

    fn write_trace(
        &mut self,
        trace: &Trace,
        row: &[Option<&Cell>],
        axis_shared: bool,
    ) -> Result<(), WriteError> {
        let (pieces, same) = pieces(row);
        if axis_shared {
            self.keep_axis(&trace.x);
        }
        let kept = self.axis.as_ref().filter(|axis| axis.is_of(&trace.x));
        let mut x_decimals = trace.x.decimals.iter();
        let mut y_decimals = trace.y.decimals.iter();
        let mut saturated = trace.saturated.clone();
        saturated.sort_unstable();
        let mut saturated = saturated.into_iter().peekable();
        for (at, (&x, &y)) in trace.x.values.iter().zip(trace.y.values.iter()).enumerate() {
            let (x_digits, y_digits) = (x_decimals.next(), y_decimals.next());
            for piece in &pieces {
                match piece {
                    Piece::Same(range) => self.block.extend_from_slice(&same[range.clone()]),
                    Piece::X => match kept {
                        Some(axis) => self.block.extend_from_slice(axis.get(at)),
                        None => self.digits.push(&mut self.block, x, x_digits),
                    },
                    Piece::Y => self.digits.push(&mut self.block, y, y_digits),
                    Piece::Name => {
                        if let Some(name) = trace.row_names.get(at) {
                            push_text(&mut self.block, name);
                        }
                    }
                    Piece::Saturated => {
                        let mut marked = false;
                        while saturated.next_if(|&point| point as usize <= at).is_some() {
                            marked = true;
                        }
                        if marked {
                            self.block.extend_from_slice(b"true");
                        }
                    }
                }
            }
            if self.block.len() >= BLOCK {
                self.out.write_all(&self.block)?;
                self.block.clear();
            }
        }
        Ok(())
    }

    /// Keeps the text of an axis, since the next curve probably runs over it too.
    fn keep_axis(&mut self, x: &Column) {
        if self.axis.as_ref().is_some_and(|axis| axis.is_of(x)) {
            return;
        }
        let mut text = Vec::with_capacity(x.values.len() * 8);
        let mut ends = Vec::with_capacity(x.values.len());
        let mut decimals = x.decimals.iter();
        for &value in x.values.iter() {
            self.digits.push(&mut text, value, decimals.next());
            ends.push(text.len());
        }
        self.axis = Some(AxisText {
            values: x.values.clone(),
            decimals: x.decimals.clone(),
            text,
            ends,
        });
    }

    /// Writes what is left and gives `out` back.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn finish(mut self) -> Result<W, WriteError> {
        self.out.write_all(&self.block)?;
        self.out.flush()?;
        Ok(self.out)
    }
}

impl AxisText {
    fn is_of(&self, x: &Column) -> bool {
        self.values.is_shared_with(&x.values) && self.decimals == x.decimals
    }

    #[inline]
    fn get(&self, at: usize) -> &[u8] {
        let start = if at == 0 { 0 } else { self.ends[at - 1] };
        &self.text[start..self.ends[at]]
    }
}

/// The pieces of a row, and the bytes that are the same in every row.
fn pieces(row: &[Option<&Cell>]) -> (Vec<Piece>, Vec<u8>) {
    let (mut pieces, mut same) = (Vec::new(), Vec::new());
    let mut start = 0;
    for (at, cell) in row.iter().enumerate() {
        if at > 0 {
            same.push(b',');
        }
        let piece = match cell {
            None => continue,
            Some(Cell::Text(text)) => {
                push_text(&mut same, text);
                continue;
            }
            Some(Cell::Number(_, text)) => {
                same.extend_from_slice(text.as_bytes());
                continue;
            }
            Some(Cell::X) => Piece::X,
            Some(Cell::Y) => Piece::Y,
            Some(Cell::Name { .. }) => Piece::Name,
            Some(Cell::Saturated) => Piece::Saturated,
        };
        pieces.push(Piece::Same(start..same.len()));
        pieces.push(piece);
        start = same.len();
    }
    same.extend_from_slice(b"\r\n");
    pieces.push(Piece::Same(start..same.len()));
    (pieces, same)
}

/// What a run says for all its rows.
fn run_entries(run: &Run, options: Options) -> Vec<Entry> {
    let mut entries = vec![
        Entry::text(Variable::Run, run.id.as_str()),
        Entry::text(Variable::Technique, run.technique.as_str()),
        Entry::text(Variable::Source, &run.source.path),
    ];
    if run.in_question() {
        let codes: Vec<&str> = run.questions.iter().map(|q| q.code.as_str()).collect();
        entries.push(Entry::text(Variable::Question, &codes.join("; ")));
    }
    field_entries(&run.fields, options, &mut entries);
    entries
}

/// What one curve says: it goes before what its run says.
fn trace_entries(index: usize, trace: &Trace, of_run: &[Entry], options: Options) -> Vec<Entry> {
    let mut own: Vec<Entry> = vec![Entry::text(Variable::Trace, &index.to_string())];
    if let Some(label) = trace.label.as_deref().filter(|label| !label.is_empty()) {
        own.push(Entry::text(Variable::Label, label));
    }
    push_quantity(
        &mut own,
        trace.x.quantity.as_str(),
        &trace.x.unit,
        Cell::X,
        Role::Coordinate,
    );
    for held in &trace.held {
        let text = as_written(held.value, held.raw.as_deref().unwrap_or(""));
        let cell = Cell::Number(held.value, text);
        push_quantity(
            &mut own,
            held.quantity.as_str(),
            &held.unit,
            cell,
            Role::Coordinate,
        );
    }
    push_quantity(
        &mut own,
        trace.y.quantity.as_str(),
        &trace.y.unit,
        Cell::Y,
        Role::Measured,
    );
    if !trace.row_names.is_empty() {
        let guarded = trace.row_names.iter().any(|name| runs_as_formula(name));
        own.push(Entry {
            cell: Cell::Name { guarded },
            ..Entry::text(Variable::Point, "")
        });
    }
    if !trace.saturated.is_empty() {
        own.push(Entry {
            cell: Cell::Saturated,
            ..Entry::text(Variable::Saturated, "")
        });
    }
    let coordinates = own.len();
    let mut fields = Vec::new();
    field_entries(&trace.fields, options, &mut fields);
    for field in fields {
        match stated(&own[..coordinates], &field) {
            None => own.push(field),
            Some(stated) => own.extend(stated),
        }
    }
    let mut more = Vec::new();
    for field in of_run {
        if let Some(Some(stated)) = stated(&own[..coordinates], field)
            && !own.iter().any(|entry| entry.variable == stated.variable)
        {
            more.push(stated);
        }
    }
    own.extend(more);
    own
}

/// Where a curve has the very coordinate that a field states: the field under its second name, or nothing when both
/// say the same. `None` when there is no such coordinate.
fn stated(coordinates: &[Entry], field: &Entry) -> Option<Option<Entry>> {
    let coordinate = coordinates
        .iter()
        .find(|entry| entry.variable == field.variable)?;
    let Variable::Number { name, unit, .. } = &field.variable else {
        return Some(None);
    };
    let same = matches!((&coordinate.cell, &field.cell), (Cell::Number(a, _), Cell::Number(b, _)) if a == b);
    Some((!same).then(|| Entry {
        variable: Variable::Number {
            name: name.clone(),
            unit: unit.clone(),
            part: Part::Stated,
        },
        cell: field.cell.clone(),
        role: Role::Field,
        unit: field.unit.clone(),
    }))
}

fn push_quantity(own: &mut Vec<Entry>, name: &str, unit: &Unit, cell: Cell, role: Role) {
    let mut nth = 0;
    loop {
        let variable = Variable::Number {
            name: name.to_owned(),
            unit: Some(canonical(unit)),
            part: Part::Value(nth),
        };
        if nth == u8::MAX || !own.iter().any(|entry| entry.variable == variable) {
            own.push(Entry {
                variable,
                cell,
                role,
                unit: Some(unit.clone()),
            });
            return;
        }
        nth += 1;
    }
}

fn field_entries(fields: &Fields, options: Options, entries: &mut Vec<Entry>) {
    for (key, claims) in fields.iter() {
        let Some(claim) = claims.first() else { continue };
        if options.known_fields_only && key.known().is_none() {
            continue;
        }
        let key = key.as_str();
        let number = |part, value: f64| Entry {
            variable: Variable::Number {
                name: key.to_owned(),
                unit: claim.unit.as_ref().map(canonical),
                part,
            },
            cell: Cell::Number(value, as_written(value, &claim.raw)),
            role: Role::Field,
            unit: claim.unit.clone(),
        };
        match &claim.value {
            Value::Text(text) if key == "sample" => entries.push(Entry::text(Variable::Sample, text)),
            Value::Text(text) => entries.push(Entry::text(Variable::Words(key.to_owned()), text)),
            _ if key == "sample" => entries.push(Entry::text(Variable::Sample, &claim.raw)),
            Value::Number(value) => entries.push(number(Part::Value(0), *value)),
            Value::Range { from, to } => entries.extend([number(Part::From, *from), number(Part::To, *to)]),
        }
        entries.extend(claim.plus_minus.map(|value| number(Part::PlusMinus, value)));
    }
}

impl Entry {
    fn text(variable: Variable, text: &str) -> Self {
        Self {
            variable,
            cell: Cell::Text(text.to_owned()),
            role: Role::Field,
            unit: None,
        }
    }
}

/// The code by which columns are told apart: all pure numbers, annotated or not, are of one unit.
fn canonical(unit: &Unit) -> String {
    let code = unit.code();
    if is_pure(code) { "1" } else { code }.to_owned()
}

/// Whether a code is `1` or a mere annotation, which UCUM defines as one.
fn is_pure(code: &str) -> bool {
    code == "1" || (code.starts_with('{') && code.find('}') == Some(code.len() - 1))
}

/// Coordinates and conditions in the order in which people look for them.
const FAMILIAR: [&str; 13] = [
    "wavelength",
    "wavenumber",
    "energy",
    "time",
    "cycle",
    "temperature",
    "ph",
    "concentration",
    "substrate-concentration",
    "inhibitor-concentration",
    "enzyme-concentration",
    "path-length",
    "index",
];

fn rank(variable: &Variable, seen: &Seen) -> (u8, usize) {
    let familiar = |name: &str| FAMILIAR.iter().position(|f| *f == name).unwrap_or(FAMILIAR.len());
    match variable {
        Variable::Run => (0, 0),
        Variable::Trace => (1, 0),
        Variable::Sample => (2, 0),
        Variable::Technique => (3, 0),
        Variable::Number { name, .. } if seen.coordinate => (4, familiar(name)),
        Variable::Number { .. } if seen.measured => (12, 0),
        Variable::Number { name, .. } if known_field(name).is_some() => (5, familiar(name)),
        Variable::Words(key) if known_field(key).is_some() => (6, 0),
        Variable::Number { .. } | Variable::Words(_) => (7, 0),
        Variable::Label | Variable::Point => (8, 0),
        Variable::Question => (9, 0),
        Variable::Source => (10, 0),
        Variable::Saturated => (13, 0),
    }
}

/// The head of a column, before equal heads are told apart.
fn plain_name(variable: &Variable) -> String {
    match variable {
        Variable::Run => "run".into(),
        Variable::Trace => "trace".into(),
        Variable::Sample => "sample".into(),
        Variable::Technique => "technique".into(),
        Variable::Label => "label".into(),
        Variable::Point => "point".into(),
        Variable::Question => "question".into(),
        Variable::Source => "source".into(),
        Variable::Saturated => "saturated".into(),
        Variable::Words(key) => match known_field(key).map(|known| known.kind) {
            Some(ValueKind::TimeOfDay) => "time_of_day".into(),
            // A number that some source wrote in words must not share a column with the numbers.
            Some(ValueKind::Number(_) | ValueKind::Range(_)) => format!("{}_text", slug(key)),
            _ => slug(key),
        },
        Variable::Number { name, unit, part } => {
            let unit = unit.as_deref().and_then(|code| Unit::ucum(code).ok());
            let unit = unit.as_ref().map(Unit::slug).unwrap_or_default();
            let mut head = match part {
                Part::Stated => format!("stated_{}", slug(name)),
                Part::From => format!("{}_from", slug(name)),
                Part::To => format!("{}_to", slug(name)),
                Part::PlusMinus => format!("{}_plus_minus", slug(name)),
                Part::Value(_) => slug(name),
            };
            if !unit.is_empty() {
                head.push('_');
                head.push_str(&unit);
            }
            head
        }
    }
}

/// A name of letters, digits and underscores, in lower case.
fn slug(name: &str) -> String {
    let mut slug = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_alphanumeric() {
            slug.extend(c.to_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('_') {
            slug.push('_');
        }
    }
    let slug = slug.trim_end_matches('_');
    if slug.is_empty() { "field" } else { slug }.to_owned()
}

fn describe(variable: &Variable, seen: &Seen) -> TableField {
    let (kind, description, title) = match variable {
        Variable::Run => (ColumnType::String, "The run, by its name.".into(), None),
        Variable::Trace => (
            ColumnType::Integer,
            "The curve within its run, from 0.".into(),
            None,
        ),
        Variable::Sample => (ColumnType::String, "Name of the sample.".into(), None),
        Variable::Technique => (
            ColumnType::String,
            "What kind of measurement the run is.".into(),
            None,
        ),
        Variable::Label => (
            ColumnType::String,
            "The name the curve had in its source.".into(),
            None,
        ),
        Variable::Point => (
            ColumnType::String,
            "The name the point had in its source.".into(),
            None,
        ),
        Variable::Question => (
            ColumnType::String,
            "What a person must decide before the run is used; do not rely on a row with a question.".into(),
            None,
        ),
        Variable::Source => (ColumnType::String, "The file the run was read from.".into(), None),
        Variable::Saturated => (
            ColumnType::Boolean,
            "True where the point lies beyond the range of the instrument.".into(),
            None,
        ),
        Variable::Words(key) => match known_field(key) {
            Some(known) if known.kind == ValueKind::Date && seen.all_dates => {
                (ColumnType::Date, known.about.to_owned(), Some(key))
            }
            Some(known) => (ColumnType::String, known.about.to_owned(), Some(key)),
            None => (ColumnType::String, own_spelling(key), Some(key)),
        },
        Variable::Number { name, part, unit } => {
            let mut about = quantity_about(name);
            match part {
                Part::Value(0) => {}
                Part::Value(nth) => about.push_str(&format!(" The curve's number {} of this kind.", nth + 1)),
                Part::PlusMinus => about.push_str(" The uncertainty that stood beside the value."),
                Part::From => about.push_str(" The first value."),
                Part::To => about.push_str(" The last value."),
                Part::Stated => {
                    about.push_str(" As stated for the whole run, where the curve has values of its own.");
                }
            }
            if unit.is_none() {
                about.push_str(" No unit was stated.");
            }
            (ColumnType::Number, about, Some(name))
        }
    };
    let mut description: String = description;
    if seen.guarded {
        description.push_str(
            " An apostrophe stands before texts that a spreadsheet would run as a formula; it is not part of the text.",
        );
    }
    TableField {
        name: plain_name(variable),
        kind,
        title: title.cloned(),
        description,
        unit: seen.unit.as_ref().map(|unit| unit.code().to_owned()),
    }
}

fn quantity_about(name: &str) -> String {
    let about = match name {
        "wavelength" => "Wavelength of the light.",
        "wavenumber" => "Wavenumber of the light.",
        "energy" => "Photon energy.",
        "time" => "Time since the start of the run.",
        "absorbance" => "Decadic absorbance.",
        "transmittance" => "Transmittance.",
        "reflectance" => "Reflectance.",
        "rate" => "Rate of the reaction.",
        "index" => "Number of the row.",
        "unknown" => "What it is was not stated.",
        _ => match known_field(name) {
            Some(known) => known.about,
            None => return own_spelling(name),
        },
    };
    about.to_owned()
}

fn own_spelling(key: &str) -> String {
    format!("Kept under its source's own spelling, `{key}`.")
}

fn is_date(text: &str) -> bool {
    text.len() == 10 && text.parse::<jiff::civil::Date>().is_ok()
}

/// A text without the apostrophe that was put in front of what a spreadsheet would run.
pub(crate) fn unguarded(text: &str) -> &str {
    text.strip_prefix('\'')
        .filter(|rest| runs_as_formula(rest))
        .unwrap_or(text)
}

/// Whether a spreadsheet would take the text for a formula, or its apostrophe for ours.
fn runs_as_formula(text: &str) -> bool {
    let first = text.trim_start_matches('\'').chars().next();
    let sign = matches!(
        first,
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠')
    );
    sign && !is_plain_number(text)
}

/// A decimal number, which no spreadsheet runs.
fn is_plain_number(text: &str) -> bool {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    digits.starts_with(|c: char| c.is_ascii_digit() || c == '.')
        && text.bytes().all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b))
        && text.parse::<f64>().is_ok()
}

/// Appends words as a cell.
fn push_text(out: &mut Vec<u8>, text: &str) {
    if runs_as_formula(text) {
        push_quoted(out, &format!("'{text}"));
    } else {
        push_quoted(out, text);
    }
}

/// Appends a cell as RFC 4180 wants it.
fn push_quoted(out: &mut Vec<u8>, text: &str) {
    if !text.bytes().any(|b| matches!(b, b'"' | b',' | b'\r' | b'\n')) {
        out.extend_from_slice(text.as_bytes());
        return;
    }
    out.push(b'"');
    for &byte in text.as_bytes() {
        if byte == b'"' {
            out.push(b'"');
        }
        out.push(byte);
    }
    out.push(b'"');
}
