//! Writes files strictly by the standard: all mandatory labels, 80 columns, CR LF, values without loss.

use std::fmt;

use crate::asdf::decode::MISSING;
use crate::asdf::encode::{COLUMNS, Form, GREATEST, encode};
use crate::axis::shortest;
use crate::curve::{Curve, Decimals, Missing};
use crate::grid::{Grid, line_decimals};
use crate::label::{Kind, is_table, kind_of, normalise_label};
use crate::number::{Decimal, POWERS, integer, integer_in, print};
use crate::remark::{Code, Remark};
use crate::table::{Assignments, Peaks};
use crate::text::{NonAscii, record, remark, safe};

/// The version to write. 6.00 was never published, so it is not among them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Version {
    /// 4.24 (1988).
    V4_24,
    /// 5.01 (1999).
    #[default]
    V5_01,
}

/// How to write.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WriteOptions {
    /// The version.
    pub version: Version,
    /// The form of ordinates in evenly spaced tables. Where values do not fit it without loss, AFFN is written.
    pub form: Form,
    /// Allow integer forms for a column whose values have different counts of decimals: all are then written with
    /// the greatest count (0.12 becomes 0.1200). The values stay the same. Without it such columns become AFFN.
    pub pad_decimals: bool,
    /// What to do with characters outside of ASCII.
    pub non_ascii: NonAscii,
    /// Title of the LINK block around several sheets; the first sheet's title if empty.
    pub link_title: String,
    /// Name and version of the writing program, put as a comment behind the version.
    pub program: String,
}

/// One measurement to write.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// `TITLE`.
    pub title: String,
    /// `DATA TYPE`, such as `UV/VIS SPECTRUM`.
    pub data_type: String,
    /// `ORIGIN`.
    pub origin: String,
    /// `OWNER`.
    pub owner: String,
    /// `XUNITS`, such as `NANOMETERS` or `SECONDS`.
    pub x_units: String,
    /// `YUNITS`, such as `ABSORBANCE`.
    pub y_units: String,
    /// Further records, label and value, in the order to write them. Labels that the writer states itself are
    /// passed over with a remark.
    pub records: Vec<(String, String)>,
    /// The data.
    pub content: Content,
}

/// What a sheet holds.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Content {
    /// A curve: XYDATA where it is evenly spaced, XYPOINTS otherwise.
    Curve(Curve),
    /// A peak table.
    Peaks(Peaks),
    /// Peak assignments.
    Assignments(Assignments),
    /// Repeated scans: NTUPLES in 5.01, a LINK file in 4.24.
    Scans(Scans),
}

/// Curves over the same axis, each at one value of a held variable.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Scans {
    /// Name of the abscissa, such as `WAVELENGTH`.
    pub x_name: String,
    /// Name of the ordinate, such as `ABSORBANCE`.
    pub y_name: String,
    /// Name of the held variable, such as `TIME`.
    pub held_name: String,
    /// Symbol of the held variable, such as `T`; not `X` or `Y`.
    pub held_symbol: String,
    /// Unit of the held variable, such as `SECONDS`.
    pub held_units: String,
    /// The scans in order.
    pub scans: Vec<Scan>,
}

/// One scan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Scan {
    /// The value of the held variable.
    pub held: f64,
    /// Its count of decimals.
    pub held_decimals: u16,
    /// The curve.
    pub curve: Curve,
}

/// What was written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Written {
    /// The file.
    pub text: String,
    /// What could not be written as asked. The places are all zero.
    pub remarks: Vec<Remark>,
}

/// Why nothing was written.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Refusal {
    /// There is no sheet.
    NoSheets,
    /// A sheet has no points or rows.
    Empty {
        /// The sheet's title.
        title: String,
    },
    /// A value is not finite; the format has no such numbers. Mark missing ordinates as such.
    NotFinite {
        /// The sheet's title.
        title: String,
        /// The point or row, counted from 0.
        index: usize,
    },
    /// Columns of unequal length, or missing points that are out of order.
    Inconsistent {
        /// The sheet's title.
        title: String,
        /// What does not agree.
        what: &'static str,
    },
    /// A label is empty or holds `=`, a line end or a character outside of printable ASCII.
    BadLabel {
        /// The sheet's title.
        title: String,
        /// The label.
        label: String,
    },
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSheets => f.write_str("no sheet to write, expected at least one"),
            Self::Empty { title } => write!(f, "{title:?} has no points, expected at least one"),
            Self::NotFinite { title, index } => write!(
                f,
                "{title:?}, point {index}: a value is not finite; list missing ordinates as missing points"
            ),
            Self::Inconsistent { title, what } => write!(f, "{title:?}: {what}"),
            Self::BadLabel { title, label } => {
                write!(
                    f,
                    "{title:?}: the label {label:?} is empty or holds =, a line end or a non-ASCII character"
                )
            }
        }
    }
}

impl std::error::Error for Refusal {}

/// Writes one sheet as a simple file and several as a LINK file.
///
/// Reading the text gives every value back bit for bit, with the same counts of decimals.
///
/// # Errors
///
/// See [`Refusal`]. Nothing is written in part.
pub fn write(sheets: &[Sheet], options: &WriteOptions) -> Result<Written, Refusal> {
    let mut writer = Writer {
        options,
        out: String::new(),
        remarks: Vec::new(),
    };
    let expanded: Vec<Sheet>;
    let sheets = if options.version == Version::V4_24
        && sheets.iter().any(|s| matches!(s.content, Content::Scans(_)))
    {
        expanded = sheets.iter().flat_map(|s| writer.as_blocks(s)).collect();
        expanded.as_slice()
    } else {
        sheets
    };
    match sheets {
        [] => return Err(Refusal::NoSheets),
        [sheet] => writer.sheet(sheet, None)?,
        [first, ..] => {
            let title = if options.link_title.is_empty() {
                &first.title
            } else {
                &options.link_title
            };
            writer.text("TITLE", title);
            writer.version();
            writer.plain("DATA TYPE", "LINK");
            writer.plain("BLOCKS", &sheets.len().to_string());
            for (index, sheet) in sheets.iter().enumerate() {
                writer.sheet(sheet, Some(index + 1))?;
            }
            writer.plain("END", "");
        }
    }
    Ok(Written {
        text: writer.out,
        remarks: writer.remarks,
    })
}

/// Labels that the writer states itself.
fn reserved(normalised: &str) -> bool {
    is_table(normalised)
        || matches!(
            normalised,
            "TITLE"
                | "JCAMPDX"
                | "DATATYPE"
                | "DATACLASS"
                | "ORIGIN"
                | "OWNER"
                | "XUNITS"
                | "YUNITS"
                | "XFACTOR"
                | "YFACTOR"
                | "FIRSTX"
                | "LASTX"
                | "FIRSTY"
                | "MAXX"
                | "MINX"
                | "MAXY"
                | "MINY"
                | "NPOINTS"
                | "DELTAX"
                | "BLOCKS"
                | "BLOCKID"
                | "END"
                | "NTUPLES"
                | "ENDNTUPLES"
                | "VARNAME"
                | "SYMBOL"
                | "VARTYPE"
                | "VARFORM"
                | "VARDIM"
                | "UNITS"
                | "FIRST"
                | "LAST"
                | "MIN"
                | "MAX"
                | "FACTOR"
                | "PAGE"
        )
}

struct Writer<'o> {
    options: &'o WriteOptions,
    out: String,
    remarks: Vec<Remark>,
}

/// How a curve is written.
struct Plan {
    /// Evenly spaced: the grid.
    grid: Option<Grid>,
    /// Ordinates as integers with this power of ten, missing ones marked.
    integers: Option<(Vec<i64>, u16)>,
}

impl Writer<'_> {
    fn plain(&mut self, label: &str, value: &str) {
        self.out.push_str("##");
        self.out.push_str(label);
        self.out.push('=');
        if !value.is_empty() {
            self.out.push(' ');
            self.out.push_str(value);
        }
        self.out.push_str("\r\n");
    }

    fn text(&mut self, label: &str, value: &str) {
        let value = safe(label, value, self.options.non_ascii, &mut self.remarks);
        record(label, &value, COLUMNS, &mut self.out, &mut self.remarks);
    }

    fn mandatory(&mut self, label: &str, value: &str) {
        if value.trim().is_empty() {
            self.remarks.push(remark(
                Code::MandatoryEmpty,
                format!("{label} without a value"),
                "a text",
            ));
        }
        self.text(label, value);
    }

    fn number(&mut self, label: &str, value: f64, decimals: Option<u16>) {
        let mut text = String::new();
        print(value, decimals, &mut text);
        self.plain(label, &text);
    }

    fn version(&mut self) {
        let number = match self.options.version {
            Version::V4_24 => "4.24",
            Version::V5_01 => "5.01",
        };
        let program = self.options.program.trim().replace(['\n', '\r'], " ");
        if program.is_empty() {
            return self.plain("JCAMP-DX", number);
        }
        let program = safe("JCAMP-DX", &program, self.options.non_ascii, &mut self.remarks);
        let line: String = format!("{number} $$ {program}")
            .chars()
            .take(COLUMNS - 12)
            .collect();
        self.plain("JCAMP-DX", line.trim_end());
    }

    /// The scans of a sheet as sheets of their own.
    fn as_blocks(&mut self, sheet: &Sheet) -> Vec<Sheet> {
        let Content::Scans(scans) = &sheet.content else {
            return vec![sheet.clone()];
        };
        let found = format!("{} scans in {:?}", scans.scans.len(), sheet.title);
        self.remarks.push(remark(
            Code::ScansAsBlocks,
            found,
            "NTUPLES, which needs version 5.01",
        ));
        let block = |scan: &Scan| {
            let mut held = String::new();
            print(scan.held, Some(scan.held_decimals), &mut held);
            let held = format!("{}={held} {}", scans.held_symbol, scans.held_units);
            let mut block = Sheet {
                content: Content::Curve(scan.curve.clone()),
                ..sheet.clone()
            };
            block.title = format!("{}, {held}", sheet.title);
            block
                .records
                .push(("$PAGE".into(), format!("{held} ({})", scans.held_name)));
            block
        };
        scans.scans.iter().map(block).collect()
    }

    fn sheet(&mut self, sheet: &Sheet, block: Option<usize>) -> Result<(), Refusal> {
        let title = || sheet.title.clone();
        for (label, _) in &sheet.records {
            let bad = label.trim().is_empty()
                || !label.chars().all(|c| matches!(c, ' '..='~') && c != '=')
                || label.trim_start().starts_with("$$")
                || label.len() > 40;
            if bad || (kind_of(&normalise_label(label)) == Kind::Comment) {
                return Err(Refusal::BadLabel {
                    title: title(),
                    label: label.clone(),
                });
            }
        }
        self.mandatory("TITLE", &sheet.title);
        self.version();
        self.mandatory("DATA TYPE", &sheet.data_type);
        let plan = match &sheet.content {
            Content::Curve(curve) => Some(self.plan(curve, &sheet.title)?),
            _ => None,
        };
        if self.options.version == Version::V5_01 {
            let class = match (&sheet.content, &plan) {
                (Content::Curve(_), Some(Plan { grid: Some(_), .. })) => "XYDATA",
                (Content::Curve(_), _) => "XYPOINTS",
                (Content::Peaks(_), _) => "PEAK TABLE",
                (Content::Assignments(_), _) => "ASSIGNMENTS",
                (Content::Scans(_), _) => "NTUPLES",
            };
            self.plain("DATA CLASS", class);
        }
        if let Some(id) = block {
            self.plain("BLOCK_ID", &id.to_string());
        }
        self.mandatory("ORIGIN", &sheet.origin);
        self.mandatory("OWNER", &sheet.owner);
        for (label, value) in &sheet.records {
            if reserved(&normalise_label(label)) {
                let found = format!("##{label}= in the further records of {:?}", sheet.title);
                self.remarks
                    .push(remark(Code::LabelReserved, found, "another label"));
            } else {
                self.text(label.trim(), value);
            }
        }
        if !matches!(sheet.content, Content::Scans(_)) {
            self.mandatory("XUNITS", &sheet.x_units);
            self.mandatory("YUNITS", &sheet.y_units);
        }
        match &sheet.content {
            Content::Curve(curve) => {
                if let Some(plan) = plan {
                    self.curve(curve, &plan);
                }
            }
            Content::Peaks(peaks) => self.peaks(peaks, &sheet.title)?,
            Content::Assignments(rows) => self.assignments(rows, &sheet.title)?,
            Content::Scans(scans) => self.scans(scans, sheet)?,
        }
        self.plain("END", "");
        Ok(())
    }

    /// Checks a curve and decides how to write it.
    fn plan(&mut self, curve: &Curve, title: &str) -> Result<Plan, Refusal> {
        check_curve(curve, title)?;
        let all_x = all_abscissas(curve);
        let grid = even_grid(&all_x, &curve.x_decimals);
        let form = self.options.form;
        let integers = if grid.is_none() || form == Form::Affn {
            None
        } else {
            self.integers(curve)
        };
        if grid.is_none() && form != Form::Affn {
            let found = format!("uneven or unrepresentable spacing in {title:?}");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                "even spacing for XYDATA; XYPOINTS was written",
            ));
        } else if integers.is_none() && form != Form::Affn {
            let found =
                format!("ordinates of {title:?} that are no integers of 31 bits times a power of ten");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                format!("values for {form:?}; AFFN was written"),
            ));
        }
        Ok(Plan { grid, integers })
    }

    /// The ordinates as integers, if that loses nothing.
    fn integers(&self, curve: &Curve) -> Option<(Vec<i64>, u16)> {
        let decimals = match &curve.y_decimals {
            Decimals::Same(d) => *d,
            Decimals::Each(_) if self.options.pad_decimals => curve.y_decimals.greatest()?,
            _ => return None,
        };
        // The factor is printed and read as a decimal; its power is exact up to 22.
        let power = *POWERS.get(decimals as usize)?;
        let mut values = Vec::with_capacity(curve.y.len() + curve.missing.len());
        let mut missing = curve.missing.iter().peekable();
        let fits = |y: f64| integer_in(y, power).filter(|m| m.abs() <= GREATEST);
        if curve.missing.is_empty() {
            // One loop without branches; whether all values fit is asked once. Adding and taking away 1.5 * 2^52
            // rounds to a whole number; where the product is too great for that, the limit refuses it.
            const ROUND: f64 = 6_755_399_441_055_744.0;
            let mut all = true;
            values.extend(curve.y.iter().map(|y| {
                let m = (y * power + ROUND) - ROUND + 0.0;
                all &= (m.abs() <= GREATEST as f64) & ((m / power).to_bits() == y.to_bits());
                m as i64
            }));
            return all.then_some((values, decimals));
        }
        for index in 0..=curve.y.len() {
            while missing.next_if(|m| m.before == index).is_some() {
                values.push(MISSING);
            }
            if let Some(y) = curve.y.get(index) {
                values.push(fits(*y)?);
            }
        }
        Some((values, decimals))
    }

    fn curve(&mut self, curve: &Curve, plan: &Plan) {
        let all_x = all_abscissas(curve);
        let decimals = plan.integers.as_ref().map_or(0, |i| i.1);
        self.plain("XFACTOR", "1");
        self.plain("YFACTOR", &power_text(decimals));
        self.range_labels(curve, &all_x);
        self.plain("NPOINTS", &all_x.len().to_string());
        match &plan.grid {
            Some(grid) => {
                if all_x.len() > 1 {
                    let step = grid.step();
                    self.number("DELTAX", step, step_decimals(grid, step));
                }
                self.plain("XYDATA", "(X++(Y..Y))");
                self.xydata(curve, plan, grid);
            }
            None => {
                self.plain("XYPOINTS", "(XY..XY)");
                self.xypoints(curve);
            }
        }
    }

    fn range_labels(&mut self, curve: &Curve, all_x: &[f64]) {
        let x = |index: usize| curve.x_decimals.of(index);
        let last = all_x.len() - 1;
        self.number("FIRSTX", all_x[0], x(0));
        self.number("LASTX", all_x[last], x(curve.x.len() - 1));
        self.number("FIRSTY", curve.y[0], curve.y_decimals.of(0));
        let (min, max) = extremes(&curve.x);
        self.number("MAXX", curve.x[max], x(max));
        self.number("MINX", curve.x[min], x(min));
        let (min, max) = extremes(&curve.y);
        self.number("MAXY", curve.y[max], curve.y_decimals.of(max));
        self.number("MINY", curve.y[min], curve.y_decimals.of(min));
    }

    /// The lines of an evenly spaced table.
    fn xydata(&mut self, curve: &Curve, plan: &Plan, grid: &Grid) {
        let x_decimals = curve
            .x_decimals
            .greatest()
            .unwrap_or_else(|| line_decimals(grid.step()));
        let unlimited = curve.x_decimals.greatest().is_none();
        let print_x = |index: usize, text: &mut String| {
            let x = grid.at(index);
            if unlimited {
                // A quotient without end: enough digits to tell the point.
                text.push_str(&format!("{x:.*}", x_decimals as usize));
            } else {
                print(x, Some(x_decimals), text);
            }
        };
        if let Some((values, _)) = &plan.integers {
            let mut text = String::new();
            let mut bytes = std::mem::take(&mut self.out).into_bytes();
            bytes.reserve(values.len() * 2);
            let mut x = |index: usize, out: &mut Vec<u8>| {
                text.clear();
                print_x(index, &mut text);
                out.extend_from_slice(text.as_bytes());
            };
            encode(values, self.options.form, &mut x, &mut bytes);
            // Only whole strings and ASCII went in, so this cannot fail.
            self.out = String::from_utf8(bytes).unwrap_or_default();
            return;
        }
        let (mut line, mut field) = (String::new(), String::new());
        let mut more = 0usize;
        let mut point = 0;
        let mut missing = curve.missing.iter().peekable();
        let mut add = |index: usize, field: &str, out: &mut String| {
            if line.is_empty() {
                print_x(index, &mut line);
            } else if line.len() + 1 + field.len() > COLUMNS {
                out.push_str(&line);
                out.push_str("\r\n");
                line.clear();
                print_x(index, &mut line);
            }
            line.push(' ');
            line.push_str(field);
        };
        for index in 0..=curve.y.len() {
            while missing.next_if(|m| m.before == index).is_some() {
                add(point, "?", &mut self.out);
                point += 1;
            }
            if let Some(y) = curve.y.get(index) {
                field.clear();
                more += usize::from(print(*y, curve.y_decimals.of(index), &mut field));
                add(point, &field, &mut self.out);
                point += 1;
            }
        }
        self.out.push_str(&line);
        self.out.push_str("\r\n");
        self.more_decimals(more);
    }

    fn more_decimals(&mut self, count: usize) {
        if count > 0 {
            let found = format!("{count} values with more decimals than stated");
            self.remarks.push(remark(
                Code::MoreDecimals,
                found,
                "the count of decimals of the column",
            ));
        }
    }

    fn xypoints(&mut self, curve: &Curve) {
        let mut more = 0usize;
        let mut missing = curve.missing.iter().peekable();
        for index in 0..=curve.y.len() {
            while let Some(m) = missing.next_if(|m| m.before == index) {
                let near = index.min(curve.x.len() - 1);
                print(m.x, curve.x_decimals.of(near), &mut self.out);
                self.out.push_str(",?\r\n");
            }
            let (Some(x), Some(y)) = (curve.x.get(index), curve.y.get(index)) else {
                continue;
            };
            let odd_x = print(*x, curve.x_decimals.of(index), &mut self.out);
            self.out.push(',');
            let odd_y = print(*y, curve.y_decimals.of(index), &mut self.out);
            more += usize::from(odd_x && curve.x_decimals.greatest().is_some()) + usize::from(odd_y);
            self.out.push_str("\r\n");
        }
        self.more_decimals(more);
    }

    fn peaks(&mut self, peaks: &Peaks, title: &str) -> Result<(), Refusal> {
        if peaks.rows.is_empty() {
            return Err(Refusal::Empty {
                title: title.to_owned(),
            });
        }
        let widths = peaks.rows.iter().any(|p| p.width.is_some());
        let words = peaks.rows.iter().any(|p| p.multiplicity.is_some());
        if widths && words {
            let what = "a peak table holds widths or multiplicities, not both; write two sheets";
            return Err(Refusal::Inconsistent {
                title: title.to_owned(),
                what,
            });
        }
        let (mut lines, mut more) = (String::new(), 0usize);
        for (index, peak) in peaks.rows.iter().enumerate() {
            let finite = [Some(peak.x), peak.y, peak.width]
                .into_iter()
                .flatten()
                .all(f64::is_finite);
            if !finite {
                return Err(Refusal::NotFinite {
                    title: title.to_owned(),
                    index,
                });
            }
            more += usize::from(print(peak.x, peaks.x_decimals.of(index), &mut lines));
            lines.push(',');
            more += optional(peak.y, &peaks.y_decimals, index, &mut lines);
            if widths {
                lines.push(',');
                more += optional(peak.width, &peaks.width_decimals, index, &mut lines);
            } else if words {
                lines.push(',');
                let word = peak.multiplicity.as_deref().unwrap_or("?");
                let sound = word == "?" || word.starts_with(|c: char| c.is_ascii_alphabetic());
                if !sound || !word.chars().all(|c| c.is_ascii_alphanumeric() || c == '?') {
                    let what =
                        "a multiplicity is a word of ASCII letters and digits that starts with a letter";
                    return Err(Refusal::Inconsistent {
                        title: title.to_owned(),
                        what,
                    });
                }
                lines.push_str(word);
            }
            lines.push_str("\r\n");
        }
        self.plain("NPOINTS", &peaks.rows.len().to_string());
        let form = if widths {
            "(XYW..XYW)"
        } else if words {
            "(XYM..XYM)"
        } else {
            "(XY..XY)"
        };
        self.plain("PEAK TABLE", form);
        self.out.push_str(&lines);
        self.more_decimals(more);
        Ok(())
    }

    fn assignments(&mut self, rows: &Assignments, title: &str) -> Result<(), Refusal> {
        if rows.rows.is_empty() {
            return Err(Refusal::Empty {
                title: title.to_owned(),
            });
        }
        let heights = rows.rows.iter().any(|r| r.y.is_some());
        let widths = rows.rows.iter().any(|r| r.width.is_some());
        let words = rows.rows.iter().any(|r| r.multiplicity.is_some());
        if widths && words {
            let what = "assignments hold widths or multiplicities, not both; write two sheets";
            return Err(Refusal::Inconsistent {
                title: title.to_owned(),
                what,
            });
        }
        let (mut lines, mut more) = (String::new(), 0usize);
        for (index, row) in rows.rows.iter().enumerate() {
            if ![Some(row.x), row.y, row.width]
                .into_iter()
                .flatten()
                .all(f64::is_finite)
            {
                return Err(Refusal::NotFinite {
                    title: title.to_owned(),
                    index,
                });
            }
            let mut group = String::from("(");
            more += usize::from(print(row.x, rows.x_decimals.of(index), &mut group));
            group.push_str(", ");
            if heights || widths || words {
                if let Some(y) = row.y {
                    more += usize::from(print(y, rows.y_decimals.of(index), &mut group));
                }
                group.push_str(", ");
            }
            if widths {
                if let Some(width) = row.width {
                    more += usize::from(print(width, rows.width_decimals.of(index), &mut group));
                }
                group.push_str(", ");
            } else if words {
                let word = row.multiplicity.as_deref().unwrap_or("");
                if !word.chars().all(|c| c.is_ascii_alphanumeric()) {
                    let what = "a multiplicity is a word of ASCII letters and digits";
                    return Err(Refusal::Inconsistent {
                        title: title.to_owned(),
                        what,
                    });
                }
                group.push_str(word);
                group.push_str(", ");
            }
            let mut text = safe(
                "PEAK ASSIGNMENTS",
                &row.text,
                self.options.non_ascii,
                &mut self.remarks,
            );
            if text.contains(['<', '>', '\n']) {
                let found = format!("an assignment that holds <, > or a line end: {:?}", row.text);
                self.remarks
                    .push(remark(Code::TextChanged, found, "one line without < and >"));
                text = text.replace('<', "[").replace('>', "]").replace('\n', " ");
            }
            group.push('<');
            group.push_str(&text);
            group.push_str(">)");
            self.wrap_group(&group, &mut lines);
        }
        self.plain("NPOINTS", &rows.rows.len().to_string());
        let form = match (heights, widths, words) {
            (_, true, _) => "(XYWA)",
            (_, _, true) => "(XYMA)",
            (true, ..) => "(XYA)",
            _ => "(XA)",
        };
        self.plain("PEAK ASSIGNMENTS", form);
        self.out.push_str(&lines);
        self.more_decimals(more);
        Ok(())
    }

    /// Wraps a group at blanks; the reader takes a line end in it for one blank.
    fn wrap_group(&mut self, group: &str, lines: &mut String) {
        let (mut column, mut widest) = (0, 0);
        for (index, word) in group.split(' ').enumerate() {
            let width = word.chars().count();
            // A line within a group must not look like a label.
            if index > 0 && column + 1 + width > COLUMNS && !word.is_empty() && !word.starts_with("##") {
                lines.push_str("\r\n");
                column = 0;
            } else if index > 0 {
                lines.push(' ');
                column += 1;
            }
            lines.push_str(word);
            column += width;
            widest = widest.max(column);
        }
        lines.push_str("\r\n");
        if widest > COLUMNS {
            self.remarks.push(remark(
                Code::LineTooLong,
                format!("{group:?}"),
                format!("at most {COLUMNS} columns"),
            ));
        }
    }

    fn scans(&mut self, scans: &Scans, sheet: &Sheet) -> Result<(), Refusal> {
        let title = &sheet.title;
        let inconsistent = |what| {
            Err(Refusal::Inconsistent {
                title: title.clone(),
                what,
            })
        };
        let Some(first) = scans.scans.first() else {
            return Err(Refusal::Empty { title: title.clone() });
        };
        let symbol = scans.held_symbol.trim().to_uppercase();
        if symbol.is_empty()
            || matches!(symbol.as_str(), "X" | "Y")
            || !symbol.chars().all(|c| c.is_ascii_alphanumeric())
        {
            return inconsistent(
                "the symbol of the held variable must be a short ASCII word other than X and Y",
            );
        }
        for (index, scan) in scans.scans.iter().enumerate() {
            check_curve(&scan.curve, title)?;
            if !scan.held.is_finite() {
                return Err(Refusal::NotFinite {
                    title: title.clone(),
                    index,
                });
            }
        }
        // One set of attribute lists holds for all pages, so spaced pages need the same grid and the same factor.
        let first_x = all_abscissas(&first.curve);
        let same_x = scans.scans.iter().all(|s| {
            s.curve.x_decimals == first.curve.x_decimals && bits_equal(&all_abscissas(&s.curve), &first_x)
        });
        let grid = if same_x {
            even_grid(&first_x, &first.curve.x_decimals)
        } else {
            None
        };
        let mut integers: Option<Vec<(Vec<i64>, u16)>> = (grid.is_some() && self.options.form != Form::Affn)
            .then(|| scans.scans.iter().map(|s| self.integers(&s.curve)).collect())
            .flatten();
        if integers
            .as_ref()
            .is_some_and(|pages| pages.iter().any(|p| p.1 != pages[0].1))
        {
            integers = None;
        }
        if integers.is_none() && self.options.form != Form::Affn {
            let found = format!("pages of {title:?} without a common grid and factor");
            self.remarks.push(remark(
                Code::FormNotPossible,
                found,
                "a common grid and factor; AFFN was written",
            ));
        }
        let decimals = integers.as_ref().map_or(0, |pages| pages[0].1);
        let asdf = integers.is_some();
        let entry = |writer: &mut Self, label: &str, text: &str| {
            let text = safe(
                label,
                &text.replace('\n', " "),
                writer.options.non_ascii,
                &mut writer.remarks,
            );
            if text.contains(',') {
                let found = format!("a comma in {label}: {text:?}");
                writer
                    .remarks
                    .push(remark(Code::TextChanged, found, "an entry without commas"));
            }
            text.replace(',', " ").trim().to_owned()
        };
        let name = entry(self, "NTUPLES", &sheet.data_type);
        let list = |writer: &mut Self, label: &str, x: &str, y: &str, held: &str| {
            let parts = [
                entry(writer, label, x),
                entry(writer, label, y),
                entry(writer, label, held),
            ];
            writer.plain(label, &parts.join(", "));
        };
        let number = |value: f64, decimals: Option<u16>| {
            let mut text = String::new();
            print(value, decimals, &mut text);
            text
        };
        let last = scans.scans.last().unwrap_or(first);
        let x_of = |curve: &Curve, value: f64| number(value, curve.x_decimals.of(0));
        let y_of = |curve: &Curve, value: f64| number(value, curve.y_decimals.greatest());
        self.plain("NTUPLES", &name);
        list(self, "VAR_NAME", &scans.x_name, &scans.y_name, &scans.held_name);
        list(self, "SYMBOL", "X", "Y", &symbol);
        list(self, "VAR_TYPE", "INDEPENDENT", "DEPENDENT", "PAGE");
        list(
            self,
            "VAR_FORM",
            "AFFN",
            if asdf { "ASDF" } else { "AFFN" },
            "AFFN",
        );
        let count = first_x.len().to_string();
        list(self, "VAR_DIM", &count, &count, &scans.scans.len().to_string());
        list(self, "UNITS", &sheet.x_units, &sheet.y_units, &scans.held_units);
        let x_ends = (first_x[0], first_x[first_x.len() - 1]);
        let held = |scan: &Scan| number(scan.held, Some(scan.held_decimals));
        let last_y = last.curve.y[last.curve.y.len() - 1];
        list(
            self,
            "FIRST",
            &x_of(&first.curve, x_ends.0),
            &y_of(&first.curve, first.curve.y[0]),
            &held(first),
        );
        list(
            self,
            "LAST",
            &x_of(&first.curve, x_ends.1),
            &y_of(&last.curve, last_y),
            &held(last),
        );
        let all = |pick: &dyn Fn(&Curve) -> &[f64], greatest: bool| -> f64 {
            let values = scans.scans.iter().flat_map(|s| pick(&s.curve).iter().copied());
            if greatest {
                values.fold(f64::NEG_INFINITY, f64::max)
            } else {
                values.fold(f64::INFINITY, f64::min)
            }
        };
        let by_held = |greatest: bool| {
            let pick = |a: &&Scan, b: &&Scan| a.held.total_cmp(&b.held);
            let scan = if greatest {
                scans.scans.iter().max_by(pick)
            } else {
                scans.scans.iter().min_by(pick)
            };
            held(scan.unwrap_or(first))
        };
        for (label, greatest) in [("MIN", false), ("MAX", true)] {
            let x = x_of(&first.curve, all(&|c| &c.x, greatest));
            let y = y_of(&first.curve, all(&|c| &c.y, greatest));
            list(self, label, &x, &y, &by_held(greatest));
        }
        list(self, "FACTOR", "1", &power_text(decimals), "1");
        for (index, scan) in scans.scans.iter().enumerate() {
            self.plain("PAGE", &format!("{symbol}={}", held(scan)));
            let curve = &scan.curve;
            let count = curve.x.len() + curve.missing.len();
            self.plain("NPOINTS", &count.to_string());
            let x0 = all_abscissas(curve)[0];
            let first_entries = [x_of(curve, x0), y_of(curve, curve.y[0]), held(scan)];
            self.plain("FIRST", &first_entries.join(", "));
            match grid {
                Some(grid) => {
                    let integers = integers.as_mut().map(|pages| std::mem::take(&mut pages[index]));
                    let plan = Plan {
                        grid: Some(grid),
                        integers,
                    };
                    self.plain("DATA TABLE", "(X++(Y..Y)), XYDATA");
                    self.xydata(curve, &plan, &grid);
                }
                None => {
                    self.plain("DATA TABLE", "(XY..XY), XYPOINTS");
                    self.xypoints(curve);
                }
            }
        }
        self.plain("END NTUPLES", &name);
        Ok(())
    }
}

fn optional(value: Option<f64>, decimals: &Decimals, index: usize, out: &mut String) -> usize {
    match value {
        Some(value) => usize::from(print(value, decimals.of(index), out)),
        None => {
            out.push('?');
            0
        }
    }
}

fn bits_equal(a: &[f64], b: &[f64]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.to_bits() == b.to_bits())
}

fn check_curve(curve: &Curve, title: &str) -> Result<(), Refusal> {
    let inconsistent = |what| {
        Err(Refusal::Inconsistent {
            title: title.to_owned(),
            what,
        })
    };
    if curve.x.len() != curve.y.len() {
        return inconsistent("x and y must be of equal length");
    }
    if curve.is_empty() {
        return Err(Refusal::Empty {
            title: title.to_owned(),
        });
    }
    for (decimals, values) in [(&curve.x_decimals, &curve.x), (&curve.y_decimals, &curve.y)] {
        if matches!(decimals, Decimals::Each(counts) if counts.len() != values.len()) {
            return inconsistent("a list of decimals must have one entry for each value");
        }
    }
    // A sum of finite numbers can overflow, so each is looked at.
    let odd = curve
        .x
        .iter()
        .zip(&curve.y)
        .position(|(x, y)| !(x.is_finite() && y.is_finite()));
    if let Some(index) = odd {
        return Err(Refusal::NotFinite {
            title: title.to_owned(),
            index,
        });
    }
    let in_order = curve.missing.windows(2).all(|w| w[0].before <= w[1].before);
    if !in_order || curve.missing.last().is_some_and(|m| m.before > curve.len()) {
        return inconsistent("missing points must be in order and within the curve");
    }
    match curve.missing.iter().position(|m| !m.x.is_finite()) {
        Some(index) => Err(Refusal::NotFinite {
            title: title.to_owned(),
            index,
        }),
        None => Ok(()),
    }
}

/// The abscissas of all points, missing ones in their places.
fn all_abscissas(curve: &Curve) -> std::borrow::Cow<'_, [f64]> {
    if curve.missing.is_empty() {
        return std::borrow::Cow::Borrowed(&curve.x);
    }
    let mut all = Vec::with_capacity(curve.x.len() + curve.missing.len());
    let mut from = 0;
    for Missing { x, before, .. } in &curve.missing {
        all.extend_from_slice(&curve.x[from..*before]);
        all.push(*x);
        from = *before;
    }
    all.extend_from_slice(&curve.x[from..]);
    std::borrow::Cow::Owned(all)
}

/// The grid that gives exactly these abscissas and decimals back, if there is one.
fn even_grid(x: &[f64], decimals: &Decimals) -> Option<Grid> {
    let end = |value: f64| match decimals {
        Decimals::Same(d) => Some(Decimal {
            mantissa: integer(value, *d)?,
            exponent: -i32::from(*d),
        }),
        Decimals::Unlimited => shortest(value),
        Decimals::Each(_) => None,
    };
    let (first, last) = (end(x[0])?, end(x[x.len() - 1])?);
    let grid = Grid::between(first, last, x.len() - 1)?;
    // Steps below the last printed digit cannot be told at the start of a line.
    if grid.decimals() != *decimals
        || (x.len() > 1 && (grid.step() == 0.0 || line_decimals(grid.step()) > 15))
    {
        return None;
    }
    let mut computed = Vec::with_capacity(1024);
    for (chunk, values) in x.chunks(1024).enumerate() {
        computed.clear();
        grid.extend(chunk * 1024, values.len(), &mut computed);
        if !bits_equal(&computed, values) {
            return None;
        }
    }
    Some(grid)
}

/// The decimals with which a step is exact: those of its grid, or none for quotients without end.
fn step_decimals(grid: &Grid, step: f64) -> Option<u16> {
    grid.decimals().greatest().filter(|d| integer(step, *d).is_some())
}

fn extremes(values: &[f64]) -> (usize, usize) {
    let (mut min, mut max) = (0, 0);
    for (index, value) in values.iter().enumerate() {
        if *value < values[min] {
            min = index;
        }
        if *value > values[max] {
            max = index;
        }
    }
    (min, max)
}

/// `10^-decimals` as printed.
fn power_text(decimals: u16) -> String {
    match decimals {
        0 => "1".to_owned(),
        1..=9 => format!("0.{}1", "0".repeat(decimals as usize - 1)),
        _ => format!("1.0E-{decimals:02}"),
    }
}
