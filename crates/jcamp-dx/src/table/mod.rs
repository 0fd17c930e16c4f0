//! Tables of data: what they hold, and which decoder reads them.

mod attempt;
mod decide;

use crate::axis::LabelAxis;
use crate::choice::{Choice, Choices};
use crate::curve::{Curve, Decimals};
use crate::form::{self, Shape};
use crate::number::{Decimal, Exponents};
use crate::records::{RecordLines, RecordSource};
use crate::remark::{Code, Notes, Span, quote};
use attempt::Attempt;

/// What a table holds.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Data {
    /// `(X++(Y..Y))`, also `(R++(A..A))`: evenly spaced points.
    Xy(Curve),
    /// `(XY..XY)`: points with an abscissa each.
    Points(Curve),
    /// `(XY..XY)` of a peak table, `(XYW..XYW)`, `(XYM..XYM)`.
    Peaks(Peaks),
    /// `(XYA)`, `(XA)`, `(XYWA)`, `(XYMA)`.
    Assignments(Assignments),
}

impl Data {
    /// The curve, if the table is one.
    #[must_use]
    pub fn curve(&self) -> Option<&Curve> {
        match self {
            Self::Xy(curve) | Self::Points(curve) => Some(curve),
            Self::Peaks(_) | Self::Assignments(_) => None,
        }
    }
}

impl Table {
    /// The same table in no more room than it needs: room was reserved before it was known how many points there are.
    pub(crate) fn fitted(mut self) -> Self {
        if let Data::Xy(curve) | Data::Points(curve) = &mut self.data {
            curve.x.shrink_to_fit();
            curve.y.shrink_to_fit();
            curve.lines.fit();
        }
        self
    }
}

/// Peaks as listed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Peaks {
    /// The peaks in the order of the file.
    pub rows: Vec<Peak>,
    /// Decimals of the positions.
    pub x_decimals: Decimals,
    /// Decimals of the heights.
    pub y_decimals: Decimals,
    /// Decimals of the widths; those of peaks without a width count as 0.
    pub width_decimals: Decimals,
}

/// One peak.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Peak {
    /// Position in XUNITS.
    pub x: f64,
    /// Height in YUNITS; nothing if it is marked as missing.
    pub y: Option<f64>,
    /// Width in XUNITS, in the form XYW.
    pub width: Option<f64>,
    /// Multiplicity as spelled, in the form XYM.
    pub multiplicity: Option<String>,
    /// Source line; 0 if it has none.
    pub line: u32,
}

/// Peaks with what they are assigned to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Assignments {
    /// The assignments in the order of the file.
    pub rows: Vec<Assignment>,
    /// Decimals of the positions.
    pub x_decimals: Decimals,
    /// Decimals of the heights; those of rows without a height count as 0.
    pub y_decimals: Decimals,
    /// Decimals of the widths; those of rows without a width count as 0.
    pub width_decimals: Decimals,
}

/// One assigned peak.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Assignment {
    /// Position in XUNITS.
    pub x: f64,
    /// Height in YUNITS, where given.
    pub y: Option<f64>,
    /// Width in XUNITS, where given.
    pub width: Option<f64>,
    /// Multiplicity as spelled, where given.
    pub multiplicity: Option<String>,
    /// What the peak is assigned to.
    pub text: String,
    /// Source line of the group's start; 0 if it has none.
    pub line: u32,
}

/// Source lines of which not everything was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// First line.
    pub first: u32,
    /// Last line; `u32::MAX` stands for the end of the table.
    pub last: u32,
    /// Why.
    pub code: Code,
}

/// One table of a block or page.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// The label, normalised: `XYDATA`, `PEAKTABLE`, ...
    pub label: String,
    /// The form as spelled; empty if there is none.
    pub form: String,
    /// What the table holds.
    pub data: Data,
    /// Lines that were left out, wholly or in part.
    pub left_out: Vec<LeftOut>,
    /// Choices between readings that give different numbers and that nothing in the block decides, nor the options.
    /// As long as there is one, the numbers are not certain.
    pub doubts: Vec<Choice>,
    /// Line of the label.
    pub line: u32,
    /// Label and data.
    pub span: Span,
}

/// Where the data of a table stand, and what is known about them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct DataStretch {
    pub(crate) from: usize,
    pub(crate) to: usize,
    /// Line of the data's first byte.
    pub(crate) line: u32,
    /// The label, for remarks on the table as a whole.
    pub(crate) head: Span,
    pub(crate) open_ended: bool,
    pub(crate) point: u8,
    pub(crate) exponents: Exponents,
    pub(crate) doubtful_exponents: bool,
    /// Readings to take in place of those that would be taken in doubt.
    pub(crate) told: Choices,
}

/// A choice that a table left open.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Doubt {
    pub(crate) choice: Choice,
    /// The reading taken is that of the standard.
    pub(crate) standard: bool,
    /// The factor of the other reading.
    pub(crate) factor: Decimal,
}

impl Doubt {
    pub(crate) fn new(choice: Choice, standard: bool) -> Self {
        Self {
            choice,
            standard,
            factor: Decimal::ONE,
        }
    }

    /// Two factors are possible; the stated one was taken.
    pub(crate) fn factor(choice: Choice, other: Decimal) -> Self {
        Self {
            choice,
            standard: true,
            factor: other,
        }
    }
}

/// What reading a curve gave.
#[derive(Default)]
pub(crate) struct TableOutcome {
    pub(crate) curve: Curve,
    pub(crate) left_out: Vec<LeftOut>,
    /// Labels that agree with the points, and labels that do not.
    pub(crate) agreed: u32,
    pub(crate) disagreed: u32,
    /// The lines look like pairs.
    pub(crate) as_pairs: bool,
    pub(crate) doubts: Vec<Doubt>,
}

impl TableOutcome {
    fn flaws(&self) -> usize {
        self.disagreed as usize + self.left_out.len() + usize::from(self.as_pairs)
    }
}

/// A table before it is read.
pub(crate) struct RawTable {
    pub(crate) label: smol_str::SmolStr,
    pub(crate) line: u32,
    pub(crate) head: Span,
    pub(crate) from: usize,
    pub(crate) to: usize,
}

/// The parts of a table's value: form, and where the data start.
pub(crate) struct OpenedTable<'t> {
    pub(crate) form: &'t str,
    pub(crate) shape: Option<Shape>,
    from: usize,
    line: u32,
}

/// Reads the form behind the label. Data may start on the same line if there is no form.
pub(crate) fn open<'t>(source: &RecordSource<'t>, raw: &RawTable) -> OpenedTable<'t> {
    let text = source.text;
    let mut lines = RecordLines::new(source, raw.from, raw.to, raw.line);
    while let Some(line) = lines.next() {
        let whole = &text[line.start..line.end];
        let code = whole.split("$$").next().unwrap_or("");
        let trimmed = code.trim();
        if trimmed.is_empty() {
            continue;
        }
        return match form::split(trimmed) {
            Some((form, _)) if !assigned_group(form) => {
                let next = lines
                    .next()
                    .map_or((raw.to, line.number + 1), |l| (l.start, l.number));
                OpenedTable {
                    form,
                    shape: form::parse(form),
                    from: next.0,
                    line: next.1,
                }
            }
            _ => OpenedTable {
                form: "",
                shape: None,
                from: line.start,
                line: line.number,
            },
        };
    }
    OpenedTable {
        form: "",
        shape: None,
        from: raw.to,
        line: raw.line,
    }
}

/// A parenthesis that opens data and no form: `(400.0, 0.5, <text>)`.
fn assigned_group(form: &str) -> bool {
    form.contains('<')
        || form
            .trim_start_matches(['(', ' '])
            .starts_with(|c: char| c.is_ascii_digit())
}

/// The shape that a label stands for when no form is given.
fn usual_shape(label: &str) -> Option<Shape> {
    Some(match label {
        "XYDATA" => Shape::Spaced {
            x: "X".into(),
            y: "Y".into(),
        },
        "RADATA" => Shape::Spaced {
            x: "R".into(),
            y: "A".into(),
        },
        "XYPOINTS" | "PEAKTABLE" => Shape::Groups { columns: "XY".into() },
        "PEAKASSIGNMENTS" | "ASSIGNMENTS" => Shape::Assigned {
            columns: "XYA".into(),
        },
        _ => return None,
    })
}

/// How numbers are to be read.
#[derive(Clone, Copy)]
pub(crate) struct NumberReading {
    pub(crate) decimal_comma: Option<bool>,
    pub(crate) choices: Choices,
    pub(crate) expansion: usize,
}

/// Reads one table. `budget` is the count of points that may still be handed out.
pub(crate) fn read(
    source: &RecordSource<'_>,
    raw: &RawTable,
    axis: &LabelAxis,
    shape: Option<Shape>,
    reading: NumberReading,
    budget: &mut usize,
    notes: &mut Notes<'_>,
) -> Option<Table> {
    let opened = open(source, raw);
    let shape = shape_of(raw, shape.or(opened.shape), opened.form, notes)?;
    if axis.x_factor.mantissa == 0 || axis.y_factor.mantissa == 0 {
        notes.add(
            Code::FactorUnusable,
            raw.line,
            raw.head,
            "a factor that is zero or no number".into(),
            "a factor",
        );
        return None;
    }
    let from = opened.from.min(raw.to);
    // Files of constant ordinates shrink to almost nothing, so a floor is given to the bound on expansion.
    let bound = (reading.expansion.saturating_mul(raw.to - from))
        .saturating_add(1 << 16)
        .min(*budget);
    let mut attempt = Attempt {
        source,
        raw,
        shape: &shape,
        axis: *axis,
        stretch: DataStretch {
            from,
            to: raw.to,
            line: opened.line,
            head: raw.head,
            open_ended: raw.to == source.text.len(),
            point: b'.',
            exponents: Exponents::Strict,
            doubtful_exponents: false,
            told: Choices::default(),
        },
        reading,
        bound,
    };
    let mark = notes.mark();
    let (data, left_out, doubts) = loop {
        let (data, left_out, doubts) = attempt.read(notes);
        let told = attempt.stretch.told;
        let turned = doubts.iter().find(|doubt| {
            let wanted = reading.choices.get(doubt.choice);
            told.get(doubt.choice).is_none() && wanted == Some(!doubt.standard)
        });
        // Each choice is turned once at most, so this ends.
        match turned.copied() {
            Some(doubt) => {
                notes.back_to(mark);
                attempt.turn(doubt);
            }
            None => break (data, left_out, doubts),
        }
    };
    let doubts = open_choices(raw, &doubts, attempt.stretch.told, reading.choices, notes);
    let count = match &data {
        Data::Peaks(peaks) => peaks.rows.len(),
        Data::Assignments(list) => list.rows.len(),
        Data::Xy(curve) | Data::Points(curve) => curve.len() + curve.missing.len(),
    };
    let table = Table {
        label: raw.label.to_string(),
        form: opened.form.to_owned(),
        data,
        left_out,
        doubts,
        line: raw.line,
        span: Span {
            start: raw.head.start,
            end: raw.to,
        },
    };
    *budget = budget.saturating_sub(count);
    note_limits(raw, &table, (count, bound), notes);
    Some(table)
}

/// What the columns of a table are, by its form or by what its label usually means.
fn shape_of(raw: &RawTable, shape: Option<Shape>, form: &str, notes: &mut Notes<'_>) -> Option<Shape> {
    match shape {
        Some(shape) => {
            check_label(raw, &shape, form, notes);
            Some(shape)
        }
        None if form.is_empty() => {
            let found = format!("##{}= without a form", raw.label);
            notes.add(
                Code::FormMissing,
                raw.line,
                raw.head,
                found,
                "a form such as (X++(Y..Y)) or (XY..XY)",
            );
            usual_shape(&raw.label)
        }
        None => {
            notes.add(
                Code::FormUnknown,
                raw.line,
                raw.head,
                quote(form),
                "(X++(Y..Y)), (XY..XY) or (XYA)",
            );
            None
        }
    }
}

/// The choices that stay open, each with a remark, and remarks on factors that were not used.
fn open_choices(
    raw: &RawTable,
    doubts: &[Doubt],
    told: Choices,
    wanted: Choices,
    notes: &mut Notes<'_>,
) -> Vec<Choice> {
    for (choice, label) in [(Choice::XFactor, "XFACTOR"), (Choice::YFactor, "YFACTOR")] {
        if told.get(choice).is_some() {
            let found = format!("a {label} that other labels speak against");
            notes.add(
                Code::FactorNotUsed,
                raw.line,
                raw.head,
                found,
                "labels that agree",
            );
        }
    }
    let settled = |choice: Choice| told.get(choice).is_some() || wanted.get(choice).is_some();
    let doubts: Vec<Choice> = doubts.iter().map(|d| d.choice).filter(|c| !settled(*c)).collect();
    for choice in &doubts {
        let found = match choice {
            Choice::XFactor => "labels that hold X as printed, without XFACTOR",
            Choice::YFactor => "labels of ordinates that ask for another YFACTOR",
            Choice::Exponent => "an E that may be an exponent or a squeezed digit",
            Choice::Form => "lines of one ordinate whose X are not evenly spaced",
            Choice::Spacing => "labels and X at the line starts that give different spacings",
            Choice::YChecks => "first ordinates that may be check values or new points",
        };
        notes.add(
            Code::ReadingUndecided,
            raw.line,
            raw.head,
            found.into(),
            "labels that decide",
        );
    }
    doubts
}

/// Remarks on a table that has more points than may be read, or none.
fn note_limits(raw: &RawTable, table: &Table, (count, bound): (usize, usize), notes: &mut Notes<'_>) {
    if let Some(stop) = table.left_out.iter().find(|l| l.code == Code::LimitPoints) {
        let found = format!("more than {bound} points from line {} on", stop.first);
        if !table
            .left_out
            .iter()
            .any(|l| l.code == Code::LimitPoints && l.last != u32::MAX)
        {
            notes.add(
                Code::LimitPoints,
                raw.line,
                raw.head,
                found,
                "fewer points, or a higher limit",
            );
        }
    }
    if count == 0 {
        notes.add(
            Code::EmptyTable,
            raw.line,
            raw.head,
            "no points".into(),
            "data lines",
        );
    }
}

fn check_label(raw: &RawTable, shape: &Shape, form: &str, notes: &mut Notes<'_>) {
    let fits = match (raw.label.as_str(), shape) {
        ("DATATABLE", _) => true,
        ("XYDATA" | "RADATA", Shape::Spaced { .. }) => true,
        ("XYPOINTS", Shape::Groups { columns }) => columns.len() == 2,
        ("PEAKTABLE", Shape::Groups { .. }) => true,
        ("PEAKASSIGNMENTS" | "ASSIGNMENTS", Shape::Assigned { .. }) => true,
        _ => false,
    };
    if !fits {
        let found = format!("##{}={form}", raw.label);
        let expected = match shape {
            Shape::Spaced { .. } => "XYDATA",
            Shape::Groups { columns } if columns.len() == 2 => "XYPOINTS",
            Shape::Groups { .. } => "PEAK TABLE",
            Shape::Assigned { .. } => "PEAK ASSIGNMENTS",
        };
        notes.add(Code::FormUnderWrongLabel, raw.line, raw.head, found, expected);
    }
}
