//! Writes files strictly by the standard: all mandatory labels, 80 columns, CR LF, values without loss.

mod curves;
mod peaks;
mod records;
mod scans;

use std::fmt;

use crate::asdf::encode::Form;
use crate::curve::Curve;
use crate::label::{LabelKind, describes_table, kind_of, normalise_label};
use crate::number::print;
use crate::remark::{Code, Remark};
use crate::table::{Assignments, Peaks};
use crate::text::{NonAscii, remark};
use curves::Plan;

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
pub struct WrittenDocument {
    /// The file.
    pub text: String,
    /// What could not be written as asked. The places are all zero.
    pub remarks: Vec<Remark>,
}

/// Why nothing was written.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum WriteRefusal {
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

impl fmt::Display for WriteRefusal {
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

impl std::error::Error for WriteRefusal {}

/// Writes one sheet as a simple file and several as a LINK file.
///
/// Reading the text gives every value back bit for bit, with the same counts of decimals.
///
/// # Errors
///
/// See [`WriteRefusal`]. Nothing is written in part.
pub fn write(sheets: &[Sheet], options: &WriteOptions) -> Result<WrittenDocument, WriteRefusal> {
    let mut writer = DocumentWriter {
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
        [] => return Err(WriteRefusal::NoSheets),
        [sheet] => writer.sheet(sheet, None)?,
        [first, ..] => {
            writer.link(&first.title, sheets.len());
            for (index, sheet) in sheets.iter().enumerate() {
                writer.sheet(sheet, Some(index + 1))?;
            }
            writer.plain("END", "");
        }
    }
    Ok(WrittenDocument {
        text: writer.out,
        remarks: writer.remarks,
    })
}

/// Writes sheets one by one as [`write()`] does with all of them together: the same text, and no more than one at a time is
/// held. How many there will be is said first, since a LINK file begins with the count of its blocks.
#[derive(Debug)]
pub struct Stream<'o> {
    options: &'o WriteOptions,
    sheets: usize,
    written: usize,
}

impl<'o> Stream<'o> {
    /// A file of so many sheets, of which some may be written already.
    #[must_use]
    pub fn new(sheets: usize, written: usize, options: &'o WriteOptions) -> Self {
        Self {
            options,
            sheets,
            written,
        }
    }

    /// The text of the next sheet, with all that stands between it and the sheet before. Scans are written as NTUPLES,
    /// which version 4.24 has not.
    ///
    /// # Errors
    ///
    /// See [`WriteRefusal`].
    pub fn sheet(&mut self, sheet: &Sheet) -> Result<WrittenDocument, WriteRefusal> {
        let mut writer = DocumentWriter {
            options: self.options,
            out: String::new(),
            remarks: Vec::new(),
        };
        if self.written == 0 && self.sheets > 1 {
            writer.link(&sheet.title, self.sheets);
        }
        self.written += 1;
        writer.sheet(sheet, (self.sheets > 1).then_some(self.written))?;
        if self.written == self.sheets && self.sheets > 1 {
            writer.plain("END", "");
        }
        Ok(WrittenDocument {
            text: writer.out,
            remarks: writer.remarks,
        })
    }
}

/// Labels that the writer states itself.
fn reserved(normalised: &str) -> bool {
    describes_table(normalised) || matches!(normalised, "TITLE" | "DATATYPE" | "ORIGIN" | "OWNER")
}

struct DocumentWriter<'o> {
    options: &'o WriteOptions,
    out: String,
    remarks: Vec<Remark>,
}

impl DocumentWriter<'_> {
    /// The head of a file of several blocks.
    fn link(&mut self, first_title: &str, blocks: usize) {
        let title = if self.options.link_title.is_empty() {
            first_title
        } else {
            &self.options.link_title
        };
        self.text("TITLE", title);
        self.version();
        self.plain("DATA TYPE", "LINK");
        self.plain("BLOCKS", &blocks.to_string());
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

    fn sheet(&mut self, sheet: &Sheet, block: Option<usize>) -> Result<(), WriteRefusal> {
        let title = || sheet.title.clone();
        for (label, _) in &sheet.records {
            let bad = label.trim().is_empty()
                || !label.chars().all(|c| matches!(c, ' '..='~') && c != '=')
                || label.trim_start().starts_with("$$")
                || label.len() > 40;
            if bad || (kind_of(&normalise_label(label)) == LabelKind::Comment) {
                return Err(WriteRefusal::BadLabel {
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
}
