//! Tidy CSV: one observation a row, one variable a column, units in the columns' names, values exactly as read.
//!
//! Two passes, because a column is only written when some row fills it: a [`Survey`] looks at every run once and
//! gives a [`CsvTable`]; a [`CsvWriter`] then writes the rows, holding no more than a block of them. A [`CsvTable`] also
//! describes itself ([`CsvTable::schema`]).
//!
//! ```
//! use curvary_formats::writers::csv::{CsvOptions, Survey, CsvWriter};
//! # use curvary_record::{Column, Decimals, Digest, Fields, Quantity, Run, RunId, SourceRef, Technique, Trace, Unit};
//! # let digest = Digest::of(b"");
//! # let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, vec![400.0]);
//! # let y = Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, vec![0.12]).with_decimals(Decimals::uniform(4, 1));
//! # let run = Run { id: RunId::named("a1"), source: SourceRef { path: "a.txt".into(), digest, reader: "r".into(),
//! #     reader_version: "1".into(), encoding: None, ordinal: 0, lines: None }, technique: Technique::SPECTRUM,
//! #     because: vec![], fields: Fields::default(), traces: vec![Trace::new(x, y).expect("one length")],
//! #     questions: vec![], remarks: vec![] };
//! # let runs = [run];
//! let mut survey = Survey::new(CsvOptions::default());
//! runs.iter().for_each(|run| survey.see(run));
//! let table = survey.table();
//! let mut writer = CsvWriter::new(Vec::new(), &table)?;
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
//! `label`, `point`, `absent`, `question`, `source`; last what was measured, such as `absorbance`, and `saturated`. Runs
//! that differ in a unit fill different columns: nothing is converted here (see [`super::units`]). What was measured keeps
//! its name whatever else bears it: a field that a source happens to call `Absorbance` is `field_absorbance`. What is known of a curve goes before what is known of its run; where a
//! curve has its own coordinate and the run states a different one (a jacket at 37 °C, a logged 36.8 °C), the latter
//! stands under `stated_…`.
//!
//! **Numbers.** In a column of whole and of other numbers the whole ones end with a point (`400.`), which keeps their
//! count of decimals and yet makes no program take the column for one of integers by its first rows. A run's name that
//! reads as a number is written with `run-` in front ([`run_name`]).
//!
//! **Formulas.** A text that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, a tab or a line
//! end) gets an apostrophe in front; so does one that begins with apostrophes before such a sign, so that taking one
//! off always gives the text back. The schema tells which columns have such cells. Numbers are never touched.

mod columns;
mod entries;
mod origins;
mod rows;
mod unit_form;
mod usual;

use std::borrow::{Borrow, Cow};
use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Write};

use curvary_record::{Column, Decimals, Numbers, Run, RunId, Trace, Unit};

use super::digits::DigitWriter;
use super::table_schema::{ColumnType, TableField, TableSchema};

use columns::{describe, heads, plain_name, rank};
use entries::groups;
use usual::usual;

pub(crate) use unit_form::unit_of;

pub use origins::Origins;
pub use rows::CellContent;
pub(crate) use rows::ColumnStretch;

/// Rows are handed on in blocks of about this many bytes.
const BLOCK: usize = 1 << 16;

/// What a table holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CsvOptions {
    /// What a row is.
    pub rows: RowKind,
    /// Begin with a byte-order mark, by which some spreadsheets know that a file is UTF-8.
    pub byte_order_mark: bool,
    /// Leave out the fields that are kept under the sources' own spellings.
    pub known_fields_only: bool,
}

/// What a row of a table is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RowKind {
    /// A point, with everything that is known of it: the one tidy table.
    #[default]
    Tidy,
    /// A run, with its fields: the first of three tables.
    Runs,
    /// A curve, with what is held along it: the second.
    Curves,
    /// A point with its place in its curve, and nothing else: the third.
    Points,
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
enum CsvVariable {
    Run,
    Trace,
    Sample,
    Technique,
    /// A quantity or a field with a number.
    Number {
        name: String,
        /// The UCUM code; all pure numbers have `1`.
        unit: Option<String>,
        part: NumberPart,
        standing: NumberRole,
    },
    Words(String),
    Label,
    Point,
    Absent,
    Question,
    Source,
    Saturated,
    Digest,
    Reader,
    RunsOver,
    Measures,
    Count,
    Position,
}

/// What a number is to its curve. Numbers of one name and different standing never share a column: a field that a
/// source happens to call `absorbance` is not what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum NumberRole {
    /// A coordinate, or a field that is known by this name.
    Condition,
    /// What was measured.
    Measured,
    /// A field under its source's own spelling.
    Own,
}

/// Which of the numbers of one name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum NumberPart {
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
enum CsvCell {
    Text(String),
    Number(f64, String),
    X,
    Y,
    /// Whether the names have one that a spreadsheet would run.
    Name {
        guarded: bool,
    },
    Saturated,
    /// The point's place in its curve.
    Position,
}

/// A variable of a row with its content, and how it came in.
struct CsvEntry {
    variable: CsvVariable,
    cell: CsvCell,
    /// Whether it runs along a curve or is held along it.
    coordinate: bool,
    /// The unit as it was, before all pure numbers became one.
    unit: Option<Unit>,
}

/// What the survey learnt about a variable.
#[derive(Clone, Debug, Default)]
struct VariableSurvey {
    coordinate: bool,
    unit: Option<Unit>,
    guarded: bool,
    /// Some numbers are written without decimals.
    whole: bool,
    /// Some numbers have decimals, or more digits than an integer of 64 bits.
    fractional: bool,
}

/// The first pass: which columns do the runs fill?
#[derive(Clone, Debug, Default)]
pub struct Survey {
    options: CsvOptions,
    seen: BTreeMap<CsvVariable, VariableSurvey>,
}

impl Survey {
    /// Nothing seen yet.
    #[must_use]
    pub fn new(options: CsvOptions) -> Self {
        Self {
            options,
            seen: BTreeMap::new(),
        }
    }

    /// The same with the columns that tables of this kind usually have, in their customary units, whether some run fills them
    /// or not: parts of one set have them alike.
    pub(crate) fn with_usual_columns(options: CsvOptions) -> Self {
        let mut survey = Self::new(options);
        for (variable, coordinate, unit) in usual(options.rows) {
            let seen = VariableSurvey {
                coordinate,
                unit,
                ..VariableSurvey::default()
            };
            survey.seen.insert(variable, seen);
        }
        survey
    }

    /// Looks at one run. The numbers of its curves are not touched.
    pub fn see(&mut self, run: &Run) {
        let (of_run, groups) = groups(run, self.options);
        for group in &groups {
            for entry in of_run.iter().chain(&group.own) {
                let (whole, fractional) = match (&entry.cell, group.trace) {
                    (CsvCell::X, Some(trace)) => form_of(&trace.x),
                    (CsvCell::Y, Some(trace)) => form_of(&trace.y),
                    (CsvCell::Number(_, text), _) => {
                        (!has_point(text.as_bytes()), has_point(text.as_bytes()))
                    }
                    _ => (false, false),
                };
                self.note(entry, whole, fractional);
            }
        }
    }

    fn note(&mut self, entry: &CsvEntry, whole: bool, fractional: bool) {
        let guarded = match &entry.cell {
            CsvCell::Text(text) => runs_as_formula(text),
            CsvCell::Name { guarded } => *guarded,
            _ => false,
        };
        let new = VariableSurvey {
            coordinate: entry.coordinate,
            unit: entry.unit.clone(),
            guarded,
            whole,
            fractional,
        };
        match self.seen.get_mut(&entry.variable) {
            Some(seen) => seen.add(new),
            None => {
                self.seen.insert(entry.variable.clone(), new);
            }
        }
    }

    /// Adds what another survey saw, so that the first pass can be shared out.
    pub fn merge(&mut self, other: Self) {
        for (variable, theirs) in other.seen {
            match self.seen.get_mut(&variable) {
                Some(ours) => ours.add(theirs),
                None => {
                    self.seen.insert(variable, theirs);
                }
            }
        }
    }

    /// The table's columns. They depend on what was seen, not on its order.
    #[must_use]
    pub fn table(&self) -> CsvTable {
        let mut found: Vec<(&CsvVariable, &VariableSurvey)> = self.seen.iter().collect();
        found.sort_by_cached_key(|(variable, seen)| (rank(variable, seen), (*variable).clone()));
        let empty = VariableSurvey::default();
        if found.is_empty() {
            // An empty archive still gives a table with a head.
            found.extend(
                [CsvVariable::RUN, CsvVariable::TRACE, CsvVariable::TECHNIQUE]
                    .map(|variable| (variable, &empty)),
            );
        }
        let heads = heads(&found);
        let columns = found
            .iter()
            .zip(heads)
            .map(|((variable, seen), head)| describe(variable, seen, head))
            .collect();
        let place = |wanted: &CsvVariable| found.iter().position(|(variable, _)| *variable == wanted);
        CsvTable {
            options: self.options,
            columns,
            dotted: found
                .iter()
                .map(|(_, seen)| seen.whole && seen.fractional)
                .collect(),
            saturated: place(&CsvVariable::Saturated),
            absent: place(&CsvVariable::Absent),
            nothing_absent: CsvCell::Text("0".to_owned()),
            index: found
                .iter()
                .enumerate()
                .map(|(at, (variable, _))| ((*variable).clone(), at))
                .collect(),
        }
    }
}

impl VariableSurvey {
    fn add(&mut self, other: Self) {
        self.coordinate |= other.coordinate;
        self.guarded |= other.guarded;
        self.whole |= other.whole;
        self.fractional |= other.fractional;
        if self.unit != other.unit {
            self.unit = Some(Unit::ONE);
        }
    }
}

/// Whether numbers of a column are written without decimals, and whether some are written with them.
fn form_of(column: &Column) -> (bool, bool) {
    let huge = |value: f64| value.abs() >= 1e15;
    if column.values.iter().any(|&value| huge(value)) {
        return (true, true);
    }
    if column.decimals.len() < column.values.len() {
        let whole = column.values.iter().any(|value| value.fract() == 0.0);
        return (whole, column.values.iter().any(|value| value.fract() != 0.0));
    }
    match column.decimals.single() {
        Some(digits) => (digits == 0, digits > 0),
        None => (
            column.decimals.iter().any(|digits| digits == 0),
            column.decimals.iter().any(|digits| digits > 0),
        ),
    }
}

fn has_point(text: &[u8]) -> bool {
    text.contains(&b'.')
}

/// The columns of a table.
#[derive(Clone, Debug)]
pub struct CsvTable {
    options: CsvOptions,
    columns: Vec<TableField>,
    /// Columns of whole and of other numbers: the whole ones end with a point there, so that no program takes the
    /// column for one of integers by its first rows.
    dotted: Vec<bool>,
    saturated: Option<usize>,
    absent: Option<usize>,
    nothing_absent: CsvCell,
    index: BTreeMap<CsvVariable, usize>,
}

impl CsvTable {
    /// The heads, from left to right.
    pub fn heads(&self) -> impl Iterator<Item = &str> {
        self.columns.iter().map(|column| column.name.as_str())
    }

    /// Which columns hold days.
    pub(crate) fn days(&self) -> Vec<bool> {
        let columns = self.columns.iter();
        columns.map(|column| column.kind == ColumnType::Date).collect()
    }

    /// The table's description, for the file `….schema.json` beside it.
    #[must_use]
    pub fn schema(&self) -> TableSchema {
        TableSchema::new(self.columns.clone())
    }

    /// A row before it is filled. A mark that some curve has is said of all: an empty cell would say that nothing is
    /// known.
    fn base(&self) -> Vec<Option<&CsvCell>> {
        let mut base = vec![None; self.columns.len()];
        if let Some(at) = self.saturated {
            base[at] = Some(&CsvCell::Saturated);
        }
        if let Some(at) = self.absent {
            base[at] = Some(&self.nothing_absent);
        }
        base
    }

    /// Fills a row with entries.
    fn row<'c>(
        &self,
        run: &Run,
        mut row: Vec<Option<&'c CsvCell>>,
        entries: &'c [CsvEntry],
    ) -> Result<Vec<Option<&'c CsvCell>>, WriteError> {
        for entry in entries {
            let Some(&at) = self.index.get(&entry.variable) else {
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
}

/// Writes the rows of a [`CsvTable`].
pub struct CsvWriter<W: Write, T: Borrow<CsvTable> + Clone> {
    out: W,
    table: T,
    block: Vec<u8>,
    digits: DigitWriter,
    axis: Option<AxisText>,
}

/// An axis that several curves share, as text.
struct AxisText {
    values: Numbers,
    decimals: Decimals,
    dotted: bool,
    text: Vec<u8>,
    ends: Vec<usize>,
}

/// So many points an axis has at most whose text is kept for the next run.
const KEPT_AXIS: usize = 1 << 14;

/// A row is these pieces one after another.
enum RowPiece {
    Same(std::ops::Range<usize>),
    /// With whether whole numbers end with a point.
    X(bool),
    Y(bool),
    Name,
    Saturated,
    Position,
}

impl<W: Write, T: Borrow<CsvTable> + Clone> CsvWriter<W, T> {
    /// Writes the head.
    ///
    /// # Errors
    /// When `out` cannot be written.
    pub fn new(out: W, table: T) -> Result<Self, WriteError> {
        let columns: &CsvTable = table.borrow();
        let mut block = Vec::with_capacity(BLOCK + BLOCK / 4);
        if columns.options.byte_order_mark {
            block.extend_from_slice("\u{FEFF}".as_bytes());
        }
        for (at, column) in columns.columns.iter().enumerate() {
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
            digits: DigitWriter::default(),
            axis: None,
        })
    }

    /// Writes a row for every point of every curve of the run; returns how many there were.
    ///
    /// # Errors
    /// When `out` cannot be written, or the run was not seen by the survey; then no row of the offending curve is
    /// written.
    pub fn write(&mut self, run: &Run) -> Result<u64, WriteError> {
        let table = self.table.clone();
        let table: &CsvTable = table.borrow();
        let (of_run, groups) = groups(run, table.options);
        let base = table.row(run, table.base(), &of_run)?;
        let mut rows = 0;
        for group in &groups {
            let row = table.row(run, base.clone(), &group.own)?;
            match group.trace {
                Some(trace) => {
                    self.write_trace(trace, pieces(&row, &table.dotted), run.traces.len() > 1)?;
                    rows += trace.len() as u64;
                }
                None => {
                    let (_, same) = pieces(&row, &table.dotted);
                    self.block.extend_from_slice(&same);
                    self.hand_on()?;
                    rows += 1;
                }
            }
        }
        Ok(rows)
    }

    fn hand_on(&mut self) -> io::Result<()> {
        if self.block.len() >= BLOCK {
            self.out.write_all(&self.block)?;
            self.block.clear();
        }
        Ok(())
    }

    fn write_trace(
        &mut self,
        trace: &Trace,
        (pieces, same): (Vec<RowPiece>, Vec<u8>),
        axis_shared: bool,
    ) -> Result<(), WriteError> {
        let dotted = pieces.iter().any(|piece| matches!(piece, RowPiece::X(true)));
        let keeps = axis_shared || trace.x.values.len() <= KEPT_AXIS;
        if keeps {
            self.keep_axis(&trace.x, dotted);
        }
        let kept = self.axis.as_ref().filter(|_| keeps);
        let mut x_decimals = trace.x.decimals.iter();
        let mut y_decimals = trace.y.decimals.iter();
        let mut saturated = trace.saturated.clone();
        saturated.sort_unstable();
        let mut saturated = saturated.into_iter().peekable();
        for (at, (&x, &y)) in trace.x.values.iter().zip(trace.y.values.iter()).enumerate() {
            let (x_digits, y_digits) = (x_decimals.next(), y_decimals.next());
            for piece in &pieces {
                match piece {
                    RowPiece::Same(range) => self.block.extend_from_slice(&same[range.clone()]),
                    RowPiece::X(dotted) => match kept {
                        Some(axis) => self.block.extend_from_slice(axis.get(at)),
                        None => push_number(&mut self.digits, &mut self.block, x, x_digits, *dotted),
                    },
                    RowPiece::Y(dotted) => {
                        push_number(&mut self.digits, &mut self.block, y, y_digits, *dotted)
                    }
                    RowPiece::Name => {
                        if let Some(name) = trace.row_names.get(at) {
                            push_text(&mut self.block, name);
                        }
                    }
                    RowPiece::Position => self.digits.push(&mut self.block, at as f64, Some(0)),
                    RowPiece::Saturated => {
                        let mut marked = false;
                        while saturated.next_if(|&point| point as usize <= at).is_some() {
                            marked = true;
                        }
                        self.block
                            .extend_from_slice(if marked { b"true" } else { b"false" });
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
    fn keep_axis(&mut self, x: &Column, dotted: bool) {
        if self.axis.as_ref().is_some_and(|axis| axis.is_of(x, dotted)) {
            return;
        }
        let mut text = Vec::with_capacity(x.values.len() * 8);
        let mut ends = Vec::with_capacity(x.values.len());
        let mut decimals = x.decimals.iter();
        for &value in x.values.iter() {
            push_number(&mut self.digits, &mut text, value, decimals.next(), dotted);
            ends.push(text.len());
        }
        self.axis = Some(AxisText {
            values: x.values.clone(),
            decimals: x.decimals.clone(),
            dotted,
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
    /// The curves of other runs often run over equal axes, of which each has its own: to compare numbers is cheaper by far than
    /// to write them. Zero and minus zero are not the same text.
    fn is_of(&self, x: &Column, dotted: bool) -> bool {
        let equal = || {
            let pairs = self.values.iter().zip(x.values.iter());
            self.values.len() == x.values.len()
                && pairs.fold(true, |all, (a, b)| all & (a.to_bits() == b.to_bits()))
        };
        self.dotted == dotted
            && self.decimals == x.decimals
            && (self.values.is_shared_with(&x.values) || equal())
    }

    #[inline]
    fn get(&self, at: usize) -> &[u8] {
        let start = if at == 0 { 0 } else { self.ends[at - 1] };
        &self.text[start..self.ends[at]]
    }
}

#[inline]
fn push_number(digits: &mut DigitWriter, out: &mut Vec<u8>, value: f64, decimals: Option<u8>, dotted: bool) {
    let start = out.len();
    digits.push(out, value, decimals);
    if dotted && !has_point(&out[start..]) {
        out.push(b'.');
    }
}

/// The pieces of a row, and the bytes that are the same in every row.
fn pieces(row: &[Option<&CsvCell>], dotted: &[bool]) -> (Vec<RowPiece>, Vec<u8>) {
    let (mut pieces, mut same) = (Vec::new(), Vec::new());
    let mut start = 0;
    for (at, cell) in row.iter().enumerate() {
        if at > 0 {
            same.push(b',');
        }
        let piece = match cell {
            None => continue,
            Some(CsvCell::Text(text)) => {
                push_text(&mut same, text);
                continue;
            }
            Some(CsvCell::Number(_, text)) => {
                same.extend_from_slice(text.as_bytes());
                if dotted[at] && !has_point(text.as_bytes()) {
                    same.push(b'.');
                }
                continue;
            }
            Some(CsvCell::X) => RowPiece::X(dotted[at]),
            Some(CsvCell::Y) => RowPiece::Y(dotted[at]),
            Some(CsvCell::Name { .. }) => RowPiece::Name,
            Some(CsvCell::Saturated) => RowPiece::Saturated,
            Some(CsvCell::Position) => RowPiece::Position,
        };
        pieces.push(RowPiece::Same(start..same.len()));
        pieces.push(piece);
        start = same.len();
    }
    same.extend_from_slice(b"\r\n");
    pieces.push(RowPiece::Same(start..same.len()));
    (pieces, same)
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

/// A run's name as tables have it: one that reads as a number (`9e32225530320292`) begins with `run-`, since a program
/// that guesses the types of columns would make it another name.
#[must_use]
pub fn run_name(id: &RunId) -> Cow<'_, str> {
    let name = id.as_str();
    if reads_as_number(name) {
        Cow::Owned(format!("run-{name}"))
    } else {
        Cow::Borrowed(name)
    }
}

/// The run's own name again.
pub(crate) fn name_of_run(written: &str) -> &str {
    written
        .strip_prefix("run-")
        .filter(|name| reads_as_number(name))
        .unwrap_or(written)
}

fn reads_as_number(name: &str) -> bool {
    let only_number = name.bytes().all(|b| b.is_ascii_digit() || b"eE+-.".contains(&b));
    // A program that stumbles over the size takes it for infinite.
    only_number && name.parse::<f64>().is_ok()
}

/// Appends words as a cell.
pub(super) fn push_text(out: &mut Vec<u8>, text: &str) {
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
