//! Blocks: records, tables and inner blocks, built from the flat run of records.

use std::borrow::Cow;

use smol_str::SmolStr;

use crate::axis::{LabelAxis, StatedNumber, stated};
use crate::choice::Choices;
use crate::label::{LabelKind, is_table, normal, normalise_label};
use crate::ntuples::{self, Ntuples};
use crate::number::Decimal;
use crate::records::{RawRecord, RecordSource, Records, one_line, text_value};
use crate::remark::{Code, Notes, Place, Remark, Span, quote};
use crate::table::{self, NumberReading, RawTable, Table};

/// Limits to what one text may cost. Nothing is read beyond them, and a remark says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most points handed out, over all tables.
    pub points: usize,
    /// Most points that a table may expand to for each byte of its text, beyond the first 65,536: DUP counts can
    /// make millions of points of a few characters.
    pub expansion: usize,
    /// Deepest nesting of blocks.
    pub depth: usize,
    /// Most blocks.
    pub blocks: usize,
    /// Most remarks.
    pub remarks: usize,
}

impl Default for Limits {
    /// 50 million points, 64 points a byte, 16 levels, 25,000 blocks, 1,000 remarks.
    fn default() -> Self {
        Self {
            points: 50_000_000,
            expansion: 64,
            depth: 16,
            blocks: 25_000,
            remarks: 1000,
        }
    }
}

/// How to read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReadOptions {
    /// What commas between digits are in tables where both readings are possible: decimal signs (`Some(true)`) or
    /// separators (`Some(false)`). `None` lets the labels of the block decide; where they cannot, the table is left
    /// out with the remark `comma-undecided`.
    pub decimal_comma: Option<bool>,
    /// What has been settled about tables in doubt.
    pub choices: Choices,
    /// Limits.
    pub limits: Limits,
}

/// A whole text.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Document {
    /// The outermost blocks. Most files have one; a LINK block holds the others as children.
    pub blocks: Vec<Block>,
    /// All deviations, in order of their places.
    pub remarks: Vec<Remark>,
}

impl Document {
    /// All blocks, outer before inner, in the order of the text.
    pub fn all_blocks(&self) -> impl Iterator<Item = &Block> {
        let mut stack: Vec<&Block> = self.blocks.iter().rev().collect();
        std::iter::from_fn(move || {
            let block = stack.pop()?;
            stack.extend(block.children.iter().rev());
            Some(block)
        })
    }

    /// Takes all blocks out, in the same order, each without its inner blocks, which follow it. Whoever makes something
    /// else of each block needs no room for all of them twice.
    pub fn take_blocks(&mut self) -> impl Iterator<Item = Block> + use<> {
        let mut stack: Vec<Block> = std::mem::take(&mut self.blocks);
        stack.reverse();
        std::iter::from_fn(move || {
            let mut block = stack.pop()?;
            stack.extend(std::mem::take(&mut block.children).into_iter().rev());
            Some(block)
        })
    }
}

/// One labelled record.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The label as it is compared; see [`normalise_label`]. Empty for comment records.
    pub label: SmolStr,
    /// The label as spelled.
    pub spelled: SmolStr,
    /// The kind of the label.
    pub kind: LabelKind,
    /// The value without comments, its lines trimmed and joined by line feeds. For tables only the form.
    pub value: SmolStr,
    /// The comments (`$$`) that stood in the value.
    pub comments: Vec<String>,
    /// Where the record starts; the span covers label and value.
    pub place: Place,
}

/// One block: from its TITLE to its END.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Block {
    /// All records in order, those of tables and pages too.
    pub records: Vec<Record>,
    /// The tables, in order.
    pub tables: Vec<Table>,
    /// NTUPLES, in order.
    pub ntuples: Vec<Ntuples>,
    /// Inner blocks of a LINK block.
    pub children: Vec<Block>,
    /// The block's text.
    pub span: Span,
}

impl Block {
    /// The first record with this label, in any spelling.
    #[must_use]
    pub fn record(&self, label: &str) -> Option<&Record> {
        let label = normal(label);
        self.records.iter().find(|r| *r.label == *label)
    }

    /// The value of the first record with this label, in any spelling.
    #[must_use]
    pub fn value(&self, label: &str) -> Option<&str> {
        self.record(label).map(|r| r.value.as_str())
    }

    /// The value of the first record with this label as a number, if it is one and nothing else.
    #[must_use]
    pub fn number(&self, label: &str) -> Option<f64> {
        self.value(label)?
            .trim()
            .parse()
            .ok()
            .filter(|v: &f64| v.is_finite())
    }

    /// The title, or an empty text.
    #[must_use]
    pub fn title(&self) -> &str {
        self.value("TITLE").unwrap_or("")
    }

    /// Whether the block only holds others.
    #[must_use]
    pub fn is_link(&self) -> bool {
        self.value("DATATYPE")
            .is_some_and(|v| normalise_label(v) == "LINK")
    }
}

/// Reads a text. Never fails: what cannot be read is absent, and a remark says so.
#[must_use]
pub fn read(text: &str, options: &ReadOptions) -> Document {
    let mut document = Document::default();
    document.remarks = run_through(text, options, BlockWork::Whole(&mut document.blocks));
    document
}

/// Reads a text and hands out each block at its end, with the remarks on it, so that no more than one has to be held; goes
/// on as long as `each` says so. Inner blocks come before the one that holds them, and it comes without them. What is left are the remarks on places
/// outside of blocks, in order of their places.
///
/// The remarks on a block are all that [`read`] gives on places in it and in no inner block of it.
pub fn read_each(
    text: &str,
    options: &ReadOptions,
    each: &mut dyn FnMut(Block, Vec<Remark>) -> bool,
) -> Vec<Remark> {
    let mut count = 0;
    run_through(text, options, BlockWork::Count(&mut count));
    run_through(text, options, BlockWork::Each { each, roots: count })
}

/// What is done with the blocks of a text.
enum BlockWork<'w> {
    /// All are kept, inner blocks in those that hold them.
    Whole(&'w mut Vec<Block>),
    /// Each is handed out. It is known how many outermost ones there are.
    Each {
        each: &'w mut dyn FnMut(Block, Vec<Remark>) -> bool,
        roots: usize,
    },
    /// The outermost ones are counted.
    Count(&'w mut usize),
}

fn run_through(text: &str, options: &ReadOptions, work: BlockWork<'_>) -> Vec<Remark> {
    let source = RecordSource::new(text);
    let counts = matches!(work, BlockWork::Count(_));
    let mut notes = Notes::new(text, if counts { 0 } else { options.limits.remarks });
    let mut records = Records::new(source, &mut notes);
    let mut builder = Builder {
        source,
        options,
        budget: options.limits.points,
        count: 0,
        roots: 0,
        stack: Vec::new(),
        stopped: false,
        work,
    };
    while let Some(record) = records.next(&mut notes) {
        if !builder.take(record, &mut notes) {
            // What is odd about the labels behind is told all the same.
            while !builder.stopped && records.next(&mut notes).is_some() {}
            break;
        }
    }
    while let Some(open) = builder.stack.last().filter(|_| !builder.stopped) {
        let at = open.start;
        let line = open.records.first().map_or(1, |r| r.line);
        let found = format!("no ##END= for the block {}", quote(open.title()));
        notes.add(
            Code::EndMissing,
            line,
            Span {
                start: at,
                end: text.len(),
            },
            found,
            "##END=",
        );
        builder.close(text.len(), &mut notes);
    }
    match builder.work {
        BlockWork::Whole(blocks) if blocks.len() > 1 => {
            let second = &blocks[1];
            let line = second.records.first().map_or(1, |r| r.place.line);
            merely_joined(blocks.len(), line, second.span.start, &mut notes);
        }
        BlockWork::Count(count) => *count = builder.roots,
        _ => {}
    }
    notes.finish()
}

/// Tells that blocks stand behind each other in no LINK block; `start` is where the second begins.
fn merely_joined(count: usize, line: u32, start: usize, notes: &mut Notes<'_>) {
    let found = format!("{count} blocks");
    let span = Span { start, end: start };
    notes.add(Code::BlocksMerelyJoined, line, span, found, "a LINK block");
}

/// A block whose END has not come yet.
struct OpenBlock<'t> {
    records: Vec<RawRecord<'t>>,
    /// Inner blocks that are kept, and how many there were.
    children: Vec<Block>,
    inner: usize,
    start: usize,
    source: RecordSource<'t>,
}

impl OpenBlock<'_> {
    fn raw_value(&self, label: &str) -> Option<Cow<'_, str>> {
        let record = self.records.iter().find(|r| r.label == label)?;
        Some(plain_value(&self.source, record))
    }

    fn title(&self) -> &str {
        let text = self.source.text;
        let record = self.records.iter().find(|r| r.label == "TITLE");
        record
            .and_then(|r| text.get(r.value..r.end))
            .map_or("", |v| v.lines().next().unwrap_or("").trim())
    }

    fn holds_blocks(&self) -> bool {
        self.raw_value("DATATYPE")
            .is_some_and(|v| normalise_label(&v) == "LINK")
            || self.records.iter().any(|r| r.label == "BLOCKS")
    }
}

struct Builder<'o, 'w, 't> {
    source: RecordSource<'t>,
    options: &'o ReadOptions,
    budget: usize,
    count: usize,
    /// Outermost blocks that have ended.
    roots: usize,
    stack: Vec<OpenBlock<'t>>,
    /// No more is wanted.
    stopped: bool,
    work: BlockWork<'w>,
}

impl<'t> Builder<'_, '_, 't> {
    /// Takes the next record; false if a limit says to stop.
    fn take(&mut self, record: RawRecord<'t>, notes: &mut Notes<'t>) -> bool {
        if self.stopped {
            return false;
        }
        match record.label.as_str() {
            "TITLE" => {
                if let Some(open) = self.stack.last() {
                    let only_titles = open
                        .records
                        .iter()
                        .all(|r| r.label == "TITLE" || r.label.is_empty());
                    if only_titles {
                        // A second title at once is a duplicate label, not a new block.
                        if let Some(open) = self.stack.last_mut() {
                            open.records.push(record);
                        }
                        return true;
                    }
                    if !open.holds_blocks() {
                        let found = format!("a new block in the block {}", quote(open.title()));
                        notes.add(Code::EndMissing, record.line, record.head(), found, "##END=");
                        self.close(record.start, notes);
                    }
                }
                if !self.open(&record, notes) {
                    return false;
                }
            }
            "END" => {
                if self.stack.is_empty() {
                    notes.add(
                        Code::StrayEnd,
                        record.line,
                        record.head(),
                        "##END=".into(),
                        "##TITLE=",
                    );
                } else {
                    let end = record.end;
                    if let Some(open) = self.stack.last_mut() {
                        open.records.push(record);
                    }
                    self.close(end, notes);
                }
                return true;
            }
            "" if self.stack.is_empty() => {
                // A comment between blocks belongs to none; in front of the first it opens one.
                if self.roots == 0 && !self.open(&record, notes) {
                    return false;
                } else if self.stack.is_empty() {
                    return true;
                }
            }
            _ if self.stack.is_empty() => {
                let found = format!("##{}=", record.spelled);
                notes.add(Code::TitleMissing, record.line, record.head(), found, "##TITLE=");
                if !self.open(&record, notes) {
                    return false;
                }
            }
            _ => {}
        }
        if let Some(open) = self.stack.last_mut() {
            open.records.push(record);
        }
        true
    }

    fn open(&mut self, record: &RawRecord<'t>, notes: &mut Notes<'t>) -> bool {
        let limits = &self.options.limits;
        if self.stack.len() >= limits.depth.max(1) {
            let found = format!("a block within {} others", self.stack.len());
            notes.add(
                Code::LimitDepth,
                record.line,
                record.head(),
                found,
                format!("at most {}", limits.depth),
            );
            return false;
        }
        if self.count >= limits.blocks {
            let found = "one more block".into();
            notes.add(
                Code::LimitBlocks,
                record.line,
                record.head(),
                found,
                format!("at most {}", limits.blocks),
            );
            return false;
        }
        self.count += 1;
        self.stack.push(OpenBlock {
            records: Vec::new(),
            children: Vec::new(),
            inner: 0,
            start: record.start,
            source: self.source,
        });
        true
    }

    fn close(&mut self, end: usize, notes: &mut Notes<'t>) {
        let Some(mut open) = self.stack.pop() else { return };
        match self.stack.last_mut() {
            Some(outer) => outer.inner += 1,
            None => self.roots += 1,
        }
        if matches!(self.work, BlockWork::Count(_)) {
            return;
        }
        let children = std::mem::take(&mut open.children);
        let block = self.finish_block(open, end, notes);
        match (&mut self.work, self.stack.last_mut()) {
            (BlockWork::Whole(_), Some(outer)) => outer.children.push(Block { children, ..block }),
            (BlockWork::Whole(roots), None) => roots.push(Block { children, ..block }),
            (BlockWork::Each { each, roots }, outer) => {
                if outer.is_none() && self.roots == 2 {
                    let line = block.records.first().map_or(1, |r| r.place.line);
                    merely_joined(*roots, line, block.span.start, notes);
                }
                let remarks = notes.take_within(block.span);
                self.stopped = !each(block, remarks);
            }
            (BlockWork::Count(_), _) => {}
        }
    }

    /// What a block holds beside inner blocks.
    fn finish_block(&mut self, open: OpenBlock<'t>, end: usize, notes: &mut Notes<'t>) -> Block {
        let mut block = Block {
            span: Span {
                start: open.start,
                end,
            },
            ..Block::default()
        };
        check_labels(&self.source, &open.records, open.inner, notes);
        let reading = NumberReading {
            decimal_comma: self.options.decimal_comma,
            choices: self.options.choices,
            expansion: self.options.limits.expansion,
        };
        // As much room as they need and no more: there may be thousands of blocks.
        block.records = open
            .records
            .iter()
            .map(|record| finished(&self.source, record, notes))
            .collect();
        let mut at = 0;
        while at < open.records.len() {
            let record = &open.records[at];
            if record.label == "NTUPLES" {
                let end = open.records[at..]
                    .iter()
                    .position(|r| matches!(r.label.as_str(), "ENDNTUPLES" | "END"))
                    .map_or(open.records.len(), |n| at + n);
                if open.records.get(end).is_none_or(|r| r.label != "ENDNTUPLES") {
                    let found = "NTUPLES without an end".into();
                    notes.add(
                        Code::EndNtuplesMissing,
                        record.line,
                        record.head(),
                        found,
                        "##END NTUPLES=",
                    );
                }
                let inner = &open.records[at..end];
                block.ntuples.push(ntuples::read(
                    &self.source,
                    inner,
                    reading,
                    &mut self.budget,
                    notes,
                ));
                at = end;
                continue;
            }
            if is_table(&record.label) {
                if block.tables.len() == 1 {
                    let found = format!("##{}=", record.spelled);
                    notes.add(
                        Code::SeveralTables,
                        record.line,
                        record.head(),
                        found,
                        "one table",
                    );
                }
                let raw = raw_table(record);
                let axis = axis_of(&self.source, (&open.records, at), &raw, notes);
                let table = table::read(&self.source, &raw, &axis, None, reading, &mut self.budget, notes);
                block.tables.extend(table.map(Table::fitted));
            }
            at += 1;
        }
        block
    }
}

pub(crate) fn raw_table(record: &RawRecord<'_>) -> RawTable {
    RawTable {
        label: record.label.clone(),
        line: record.line,
        head: record.head(),
        from: record.value,
        to: record.end,
    }
}

/// A record for handing out. The values of tables are read elsewhere; only their form is kept here.
pub(crate) fn finished(source: &RecordSource<'_>, record: &RawRecord<'_>, notes: &Notes<'_>) -> Record {
    let (value, comments) = if is_table(&record.label) {
        (
            SmolStr::new(table::open(source, &raw_table(record)).form),
            Vec::new(),
        )
    } else if let Some(value) = one_line(source, record.value, record.end) {
        (SmolStr::new(value), Vec::new())
    } else {
        let (value, comments) = text_value(source, record.value, record.end);
        (SmolStr::from(value), comments)
    };
    Record {
        label: record.label.clone(),
        spelled: SmolStr::new(record.spelled),
        kind: record.kind,
        value,
        comments,
        place: notes.place(
            record.line,
            Span {
                start: record.start,
                end: record.end,
            },
        ),
    }
}

fn check_labels(
    source: &RecordSource<'_>,
    records: &[RawRecord<'_>],
    children: usize,
    notes: &mut Notes<'_>,
) {
    let mut in_pages = false;
    let mut seen: std::collections::BTreeMap<&str, u32> = std::collections::BTreeMap::new();
    for record in records {
        match record.label.as_str() {
            "NTUPLES" => in_pages = true,
            "ENDNTUPLES" => in_pages = false,
            "" => continue,
            _ => {}
        }
        if in_pages || is_table(&record.label) {
            continue;
        }
        if let Some(line) = seen.get(record.label.as_str()) {
            let found = format!("##{}= again, first on line {line}", record.spelled);
            let differs = is_of_table(&record.label)
                && records.iter().any(|first| {
                    let value = |r: &RawRecord<'_>| text_value(source, r.value, r.end).0;
                    first.line == *line && first.label == record.label && value(first) != value(record)
                });
            notes.add(
                if differs {
                    Code::DuplicateLabelDiffers
                } else {
                    Code::DuplicateLabel
                },
                record.line,
                record.head(),
                found,
                "each label once",
            );
        } else {
            seen.insert(&record.label, record.line);
        }
    }
    let get = |label: &str| records.iter().find(|r| r.label == label);
    if let Some(record) = get("JCAMPDX").or_else(|| get("JCAMPCS")) {
        let value = plain_value(source, record);
        let version: String = value
            .chars()
            .take_while(|c| c.is_ascii_digit() || *c == '.')
            .collect();
        let code = match version.parse::<f64>() {
            Ok(v) if v == 4.24 || v == 5.0 || v == 5.01 || (record.label == "JCAMPCS" && v == 3.7) => None,
            Ok(v) if (6.0..7.0).contains(&v) => Some(Code::VersionProvisional),
            _ => Some(Code::VersionUnknown),
        };
        if let Some(code) = code {
            notes.add(
                code,
                record.line,
                record.head(),
                quote(&value),
                "4.24, 5.00 or 5.01",
            );
        }
    } else if let Some(first) = records.first() {
        notes.add(
            Code::VersionMissing,
            first.line,
            first.head(),
            "no ##JCAMP-DX=".into(),
            "##JCAMP-DX= 5.01",
        );
    }
    if let Some(record) = get("BLOCKS") {
        let value = plain_value(source, record);
        if value.trim().parse() != Ok(children) {
            notes.add(
                Code::BlocksDiffers,
                record.line,
                record.head(),
                quote(&value),
                format!("{children}"),
            );
        }
    }
}

/// The value of a record without comments.
fn plain_value<'t>(source: &RecordSource<'t>, record: &RawRecord<'t>) -> Cow<'t, str> {
    match one_line(source, record.value, record.end) {
        Some(value) => Cow::Borrowed(value),
        None => Cow::Owned(text_value(source, record.value, record.end).0),
    }
}

/// Labels that tables are computed with.
fn is_of_table(label: &str) -> bool {
    matches!(
        label,
        "XUNITS" | "YUNITS" | "XFACTOR" | "YFACTOR" | "FIRSTX" | "LASTX" | "DELTAX" | "NPOINTS" | "FIRSTY"
    )
}

/// The numbers that the labels of a block state about its table.
fn axis_of(
    source: &RecordSource<'_>,
    (records, at): (&[RawRecord<'_>], usize),
    raw: &RawTable,
    notes: &mut Notes<'_>,
) -> LabelAxis {
    let mut comma = false;
    let table = raw.label.as_str();
    // Labels between two tables are those of the second.
    let before = records[..at].iter().rposition(|r| is_table(&r.label));
    let (own, others) = before.map_or((&records[..0], records), |before| {
        (&records[before + 1..at], records)
    });
    let records = || own.iter().chain(others);
    let radata = table == "RADATA";
    let mut get = |labels: [&str; 2], notes: &mut Notes<'_>| -> Option<StatedNumber> {
        let order = if radata { [labels[1], labels[0]] } else { labels };
        let record = order
            .iter()
            .filter(|l| !l.is_empty())
            .find_map(|l| records().find(|r| r.label == *l))?;
        let value = plain_value(source, record);
        let span = Span {
            start: record.start,
            end: record.value + (record.end - record.value).min(40),
        };
        let span = Span {
            end: floor_boundary(source.text, line_end(source.text, record.value, span.end)),
            ..span
        };
        stated(record.spelled, &value, record.line, span, &mut comma, notes)
    };
    let first_x = get(["FIRSTX", "FIRSTR"], notes);
    let last_x = get(["LASTX", "LASTR"], notes);
    let delta_x = get(["DELTAX", "DELTAR"], notes);
    let max_x = get(["MAXX", "MAXR"], notes);
    let min_x = get(["MINX", "MINR"], notes);
    let first_y = get(["FIRSTY", "FIRSTA"], notes);
    let max_y = get(["MAXY", "MAXA"], notes);
    let min_y = get(["MINY", "MINA"], notes);
    let npoints = get(["NPOINTS", ""], notes);
    let labels = if radata {
        ["RFACTOR", "AFACTOR"]
    } else {
        ["XFACTOR", "YFACTOR"]
    };
    let stated_factor = |label: &str| records().any(|r| r.label == label);
    let spaced = matches!(table, "XYDATA" | "RADATA");
    let mut factor = |label: &str, other: &str, notes: &mut Notes<'_>| match get([label, other], notes) {
        Some(stated) => stated.decimal.stripped(),
        None if stated_factor(label) => Decimal {
            mantissa: 0,
            exponent: 0,
        },
        None => {
            if spaced {
                notes.add(
                    Code::FactorMissing,
                    raw.line,
                    raw.head,
                    format!("no {label}"),
                    label,
                );
            }
            Decimal::ONE
        }
    };
    let x_factor = factor(if radata { "RFACTOR" } else { "XFACTOR" }, labels[0], notes);
    let y_label = if radata { "AFACTOR" } else { "YFACTOR" };
    let y_factor = factor(y_label, labels[1], notes);
    let mut quiet = Notes::new(source.text, 0);
    // With a second table, what stands behind the first one may be that one's.
    let several = records().filter(|r| is_table(&r.label)).count() > 1;
    let other_y_factor = others
        .iter()
        .filter(|r| !several && r.label == y_label)
        .filter_map(|r| {
            let value = plain_value(source, r);
            stated(r.spelled, &value, r.line, r.head(), &mut false, &mut quiet)
        })
        .map(|stated| stated.decimal.stripped())
        .find(|other| *other != y_factor && other.mantissa != 0);
    LabelAxis {
        first_x,
        last_x,
        delta_x,
        max_x,
        min_x,
        first_y,
        max_y,
        min_y,
        npoints,
        x_factor,
        y_factor,
        w_factor: x_factor,
        other_y_factor,
        y_factor_missing: spaced && !stated_factor(labels[1]) && !stated_factor(y_label),
        comma,
    }
}

fn line_end(text: &str, from: usize, to: usize) -> usize {
    text.as_bytes()[from..to]
        .iter()
        .position(|b| matches!(b, b'\n' | b'\r'))
        .map_or(to, |n| from + n)
}

fn floor_boundary(text: &str, mut at: usize) -> usize {
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}
