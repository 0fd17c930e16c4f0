//! Remarks: what in a file was not as the standard says, where, and what it means for the reader.

use std::fmt;

/// A stretch of the text that was read, in bytes: `start..end`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Span {
    /// Offset of the first byte.
    pub start: usize,
    /// Offset behind the last byte.
    pub end: usize,
}

/// A place in the text: line and column for people, the byte span for programs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Place {
    /// Line, counted from 1. LF, CR LF and a single CR each end a line.
    pub line: u32,
    /// Column in characters, counted from 1.
    pub column: u32,
    /// The same place in bytes.
    pub span: Span,
}

/// What a remark means for the numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Weight {
    /// The file deviates from the standard, but what was read is certain.
    Note,
    /// What was read rests on a choice between readings; a person should look at it.
    Doubt,
    /// Something in the file was left out.
    Loss,
}

impl Weight {
    /// The word for it: `note`, `doubt` or `loss`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Doubt => "doubt",
            Self::Loss => "loss",
        }
    }
}

macro_rules! codes {
    ($($name:ident $text:literal $weight:ident $advice:literal;)*) => {
        /// Every kind of remark. The kebab-case form from [`Code::as_str`] is stable across versions.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum Code {
            $(#[doc = concat!("`", $text, "`: ", $advice)] $name,)*
        }

        impl Code {
            /// All codes, in the order of declaration.
            pub const ALL: &'static [Code] = &[$(Code::$name,)*];

            /// The stable kebab-case code.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$name => $text,)* }
            }

            /// What remarks with this code mean for the numbers.
            #[must_use]
            pub fn weight(self) -> Weight {
                match self { $(Self::$name => Weight::$weight,)* }
            }

            /// What was done about it, and what a person can do.
            #[must_use]
            pub fn advice(self) -> &'static str {
                match self { $(Self::$name => $advice,)* }
            }
        }
    };
}

codes! {
    ByteOrderMark "byte-order-mark" Note "The mark at the start of the text was skipped; nothing to do.";
    ControlCharacter "control-character" Note "NUL, end-of-file or other control characters were read as blanks; check that the file was copied as it was.";
    TextBeforeFirstLabel "text-before-first-label" Loss "Text in front of the first labelled record belongs to no record and was left out; look whether a label line was damaged.";
    LabelWithoutEquals "label-without-equals" Loss "A line that starts with ## needs a = behind its label; the line was kept as a comment record. Add the = if it is a label.";
    TitleMissing "title-missing" Note "A block starts with ##TITLE=; the block was opened without one. Add a title.";
    EndMissing "end-missing" Note "The block was closed without its ##END=; check that the file is complete.";
    StrayEnd "stray-end" Note "There was no open block to end; the record was skipped. Remove it, or look for a lost ##TITLE=.";
    EndNtuplesMissing "end-ntuples-missing" Note "The pages were closed without ##END NTUPLES=; check that the file is complete.";
    BlocksMerelyJoined "blocks-merely-joined" Note "Several blocks follow each other without a LINK block around them; each was read by itself.";
    BlocksDiffers "blocks-differs" Note "BLOCKS does not give the number of blocks found; the blocks found were read. Check that none is lost.";
    DuplicateLabel "duplicate-label" Note "The label occurs more than once in its block; all are kept, the first one is computed with. Remove the wrong ones.";
    DuplicateLabelDiffers "duplicate-label-differs" Doubt "The label of a table occurs more than once in its block, with different values; the first one was computed with, but for a second table the one between the tables. Remove the wrong ones.";
    VersionMissing "version-missing" Note "A block states its version with ##JCAMP-DX=; the block was read as if it did.";
    VersionProvisional "version-provisional" Doubt "Version 6.00 was never published; the block was read by the rules of 5.01. Compare a few values with the source.";
    VersionUnknown "version-unknown" Doubt "The version is none of 4.24, 5.00 and 5.01; the block was read by the rules of 5.01. Compare a few values with the source.";
    LabelNotANumber "label-not-a-number" Doubt "The label needs a number; its value was not used. Correct it.";
    TextAfterNumber "text-after-number" Note "The number is followed by text, which was kept with the record and not used for computing.";
    DecimalCommaInLabel "decimal-comma-in-label" Note "The comma was read as a decimal sign; the standard has a point.";
    FactorMissing "factor-missing" Note "The factor is not stated; it was taken as 1. Compare a value with the source.";
    FactorUnusable "factor-unusable" Loss "A factor must be a number other than zero; without it no value is certain, so the table was left out. Correct the factor.";
    FormMissing "form-missing" Note "The table does not state its form; it was read in the form that its label stands for.";
    FormUnknown "form-unknown" Loss "The form of the table is not one of the standard; the table was left out. Correct the form if it is a misprint.";
    FormUnderWrongLabel "form-under-wrong-label" Note "The form belongs under another label; the table was read by its form.";
    FormReadAsPairs "form-read-as-pairs" Note "The spacing is uneven and each line holds one ordinate, so the lines were read as pairs. The form should be (XY..XY).";
    SeveralTables "several-tables" Note "The block holds more than one table; all were read with the same labels.";
    EmptyTable "empty-table" Loss "The table holds no point that could be read.";
    TableCutOff "table-cut-off" Loss "The text ends within the table, so its last number may be cut; that number was left out. Get the whole file.";
    IllegalCharacter "illegal-character" Loss "The character has no meaning in a table; the rest of the line was left out. Compare the line with the source.";
    DuplicateAfterNothing "duplicate-after-nothing" Loss "A DUP count repeats the value before it, and there is none; the rest of the line was left out.";
    DuplicateAfterDuplicate "duplicate-after-duplicate" Loss "A DUP count cannot follow another; the rest of the line was left out.";
    DifferenceAfterNothing "difference-after-nothing" Loss "A difference needs an ordinate before it on the same line; the rest of the line was left out.";
    NumberTooLong "number-too-long" Loss "The number is longer or greater than this form can hold; the rest of the line was left out.";
    LineWithoutX "line-without-x" Loss "Each line of the table starts with its X; the line was left out.";
    LineWithoutOrdinates "line-without-ordinates" Note "The line holds an X and nothing else; it adds no point.";
    ExponentOrSqueezed "exponent-or-squeezed" Note "An E without sign behind a digit was read as the squeezed digit 5, as the standard says. If an exponent is meant, it needs a sign and two digits.";
    ExponentSpelling "exponent-spelling" Note "An exponent should have a sign and two or three digits; it was read as an exponent.";
    DecimalComma "decimal-comma" Note "The commas of this table were read as decimal signs; the standard has points.";
    CommaUndecided "comma-undecided" Loss "The commas of this table may be decimal signs or separators, and nothing in the block decides; the table was left out. Say which when reading.";
    XCheckOff "x-check-off" Note "The X at the start of the line differs a little from the computed one; the computed one is used.";
    XCheckFailed "x-check-failed" Doubt "The X at the start of the line is not that of its point, but the lines around it agree; it was taken for a misprint.";
    LineSlipped "line-slipped" Loss "The X of the next line does not follow from the count of this one, so a point is lost or doubled; uncertain points of the line were left out.";
    LineOutOfPlace "line-out-of-place" Loss "The X of the line points to no place behind the points before it; the line was left out.";
    YCheckFailed "y-check-failed" Loss "The first ordinate of the line should repeat the last one of the line before and does not; the points in doubt were left out. Compare both lines with the source.";
    YCheckAbsent "y-check-absent" Doubt "The lines do not repeat the last ordinate, so differences could not be checked; the first ordinate of each line was read as a new point.";
    DifferenceInDoubt "difference-in-doubt" Loss "A great step within the line and one back behind its end look like a damaged difference, and no ordinate is repeated that would decide; the points between were left out. Compare the line with the source.";
    YCheckAbsentAfterDuplicate "y-check-absent-after-duplicate" Doubt "Lines that end in a DUP count are not followed by a repeated ordinate in this table; the next line was read as new points.";
    YCheckLineMissing "y-check-line-missing" Note "The last line of differences is not followed by a line that repeats its last ordinate; that line could not be checked.";
    GridUndecided "grid-undecided" Loss "NPOINTS, LASTX and DELTAX disagree and the lines do not show which is right, so no X is certain; the table was left out. Correct the labels.";
    GridFromLines "grid-from-lines" Note "The labels do not give the spacing; it was taken from the X at the line starts, as exact as they are printed.";
    GridFromDelta "grid-from-delta" Doubt "LASTX is absent or disagrees; X was computed from FIRSTX and DELTAX, as exact as DELTAX is printed.";
    FirstXMissing "first-x-missing" Note "FIRSTX is not stated; the X of the first line was used.";
    FirstXDiffers "first-x-differs" Doubt "FIRSTX is not the X of the first point; the X printed in the table was used. Correct the label.";
    FirstXScaled "first-x-scaled" Note "The label holds the X as printed, without its factor; the printed X times XFACTOR was used.";
    LastXDiffers "last-x-differs" Doubt "LASTX is not the X of the last point read; check that the table is complete.";
    DeltaXDiffers "delta-x-differs" Note "DELTAX is not the spacing of the points; it was not used.";
    DeltaXSign "delta-x-sign" Note "DELTAX has the wrong sign; it was not used.";
    NpointsMissing "npoints-missing" Note "NPOINTS is not stated; the points were counted.";
    NpointsDiffers "npoints-differs" Doubt "NPOINTS is not the number of points read; the points read are kept. Check that none is lost.";
    FirstYScaled "first-y-scaled" Note "The label holds the ordinate as printed, without its factor; the table was read as the standard says.";
    FirstYDiffers "first-y-differs" Doubt "FIRSTY is not the first ordinate; check YFACTOR and the first line.";
    ExtremeDiffers "extreme-differs" Doubt "The stated greatest or least value is not that of the points read; check the factor and that the table is complete.";
    PairIncomplete "pair-incomplete" Loss "The line does not hold whole groups of numbers, so none of them is certain; the line was left out.";
    PointsInColumns "points-in-columns" Loss "Each line holds more than one pair, NPOINTS does not give as many points, and X goes up and down: these may be several columns over one X. The table was left out.";
    PairAcrossLines "pair-across-lines" Note "Groups go on over line ends; the count agrees with NPOINTS, so they were joined.";
    FieldEmpty "field-empty" Loss "A field is empty between two separators; the line was left out.";
    AbscissaMissing "abscissa-missing" Loss "The X of a point is marked as missing; the point was left out.";
    GroupDamaged "group-damaged" Loss "The group in parentheses could not be read; it was left out.";
    AssignmentNotBracketed "assignment-not-bracketed" Note "The text of an assignment stands in <>; it was read without.";
    NtuplesEntries "ntuples-entries" Loss "The attribute lists of NTUPLES need one entry for each variable; nobody knows whose entries these are, so the list was not used. Add the empty entries.";
    NtuplesSymbol "ntuples-symbol" Loss "The form names a symbol that SYMBOL does not list; the table was left out.";
    NtuplesPage "ntuples-page" Note "A page is opened by ##PAGE= SYMBOL=value; it was read without a value.";
    FactorNotUsed "factor-not-used" Note "By what was said when reading, the factor was not used as it stands, since other labels speak against it.";
    ReadingUndecided "reading-undecided" Doubt "Two readings of the table give different numbers, and nothing in the block decides; the other one can be chosen when reading.";
    LimitPoints "limit-points" Loss "The limit for points or for the expansion of DUP counts is reached; the rest of the table was left out. Raise the limit if the file is sound.";
    LimitDepth "limit-depth" Loss "Blocks are nested deeper than the limit; everything from here on was left out.";
    LimitBlocks "limit-blocks" Loss "There are more blocks than the limit; everything from here on was left out.";
    LimitRemarks "limit-remarks" Loss "There were more remarks than the limit; the rest is not listed.";
    FormNotPossible "form-not-possible" Note "The values do not fit the chosen form without loss, so a plainer one was written.";
    MoreDecimals "more-decimals" Note "A value has more decimals than its column states; all of them were written.";
    TextChanged "text-changed" Note "The text would have been read as a label or comment, or holds control characters; it was changed.";
    TextWrapped "text-wrapped" Note "The text is longer than a line of 80 columns and was wrapped at blanks.";
    TextNotAscii "text-not-ascii" Note "The standard allows printable ASCII only.";
    LineTooLong "line-too-long" Note "A word is longer than a line of 80 columns and could not be wrapped.";
    LabelReserved "label-reserved" Note "The writer states this label itself; the given one was not written.";
    MandatoryEmpty "mandatory-empty" Note "The standard wants a text here; the label was written empty.";
    ScansAsBlocks "scans-as-blocks" Note "Version 4.24 has no NTUPLES; each scan was written as a block of a LINK file.";
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// One deviation: its code, where it is, what was found and what was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// The kind of deviation.
    pub code: Code,
    /// Where it is. For remarks of the writer the place is all zero.
    pub place: Place,
    /// What was found there.
    pub found: String,
    /// What was expected instead.
    pub expected: String,
}

impl Remark {
    /// What the remark means for the numbers.
    #[must_use]
    pub fn weight(&self) -> Weight {
        self.code.weight()
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.place.line > 0 {
            write!(f, "{}:{}: ", self.place.line, self.place.column)?;
        }
        write!(
            f,
            "{} [{}]: found {}",
            self.code.weight().as_str(),
            self.code,
            self.found
        )?;
        if !self.expected.is_empty() {
            write!(f, ", expected {}", self.expected)?;
        }
        write!(f, ". {}", self.code.advice())
    }
}

/// Collects remarks up to a limit and turns byte offsets into places.
pub(crate) struct Notes<'t> {
    text: &'t str,
    list: Vec<Remark>,
    limit: usize,
    beyond: usize,
    /// Remarks that were handed out with their block.
    handed: usize,
}

impl<'t> Notes<'t> {
    pub(crate) fn new(text: &'t str, limit: usize) -> Self {
        Self {
            text,
            list: Vec::new(),
            limit,
            beyond: 0,
            handed: 0,
        }
    }

    /// Adds a remark about `start..end` on line `line`.
    pub(crate) fn add(
        &mut self,
        code: Code,
        line: u32,
        span: Span,
        found: String,
        expected: impl Into<String>,
    ) {
        if self.list.len() + self.handed >= self.limit {
            self.beyond += 1;
            return;
        }
        let place = self.place(line, span);
        self.list.push(Remark {
            code,
            place,
            found,
            expected: expected.into(),
        });
    }

    /// Takes out the remarks on places in a block, in order of their places.
    pub(crate) fn take_within(&mut self, block: Span) -> Vec<Remark> {
        let within = block.start..block.end.max(block.start + 1);
        let mut own: Vec<Remark> = self
            .list
            .extract_if(.., |remark| within.contains(&remark.place.span.start))
            .collect();
        own.sort_by_key(|remark| remark.place.span.start);
        self.handed += own.len();
        own
    }

    /// Where the list ends now, for [`Notes::back_to`].
    pub(crate) fn mark(&self) -> (usize, usize) {
        (self.list.len(), self.beyond)
    }

    /// Forgets what was added since `mark`.
    pub(crate) fn back_to(&mut self, mark: (usize, usize)) {
        self.list.truncate(mark.0);
        self.beyond = mark.1;
    }

    /// The place of a span whose line is known.
    pub(crate) fn place(&self, line: u32, span: Span) -> Place {
        let bytes = self.text.as_bytes();
        let start = span.start.min(bytes.len());
        let line_start = memchr::memrchr2(b'\n', b'\r', &bytes[..start]).map_or(0, |at| at + 1);
        // Count characters: every byte that does not continue one (10xxxxxx).
        let column = bytes[line_start..start]
            .iter()
            .filter(|&&b| b & 0xC0 != 0x80)
            .count()
            + 1;
        Place {
            line,
            column: u32::try_from(column).unwrap_or(u32::MAX),
            span,
        }
    }

    /// The remarks in order of their places; those about one place stay in the order they were made.
    pub(crate) fn finish(mut self) -> Vec<Remark> {
        self.list.sort_by_key(|remark| remark.place.span.start);
        if self.beyond > 0 {
            let found = format!("{} further remarks", self.beyond);
            let expected = format!("at most {}", self.limit);
            self.list.push(Remark {
                code: Code::LimitRemarks,
                place: Place::default(),
                found,
                expected,
            });
        }
        self.list
    }
}

/// A short quotation of the text for remarks: at most 40 characters, in quotes.
pub(crate) fn quote(text: &str) -> String {
    let mut short: String = text.chars().take(40).collect();
    if short.len() < text.len() {
        short.push_str("...");
    }
    format!("{short:?}")
}
