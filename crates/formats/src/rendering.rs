//! Tables that stood in another form (a sheet, a web page, lists in brackets), written out as plain text.
//!
//! There is one understanding of tables, that of the text-table reader, and whatever holds a table in another form gives
//! it the same lines: keys and values, headers, rows of cells between tabs. A [`Rendering`] remembers where each cell
//! stood, and what was read of it carries the places of the original and not those of the rendering.

use std::collections::BTreeMap;

use curvary_record::{Claim, Diagnostic, Label, Lines, Origin, Place, Question, Span};

use crate::readers::text_table;
use crate::{ExplainedLines, ReaderInfo, Reading, Source};

/// A sign as it is written out: control signs as blanks, and full-width forms, which are the same signs drawn wider, as
/// the plain ones.
fn flat(sign: char) -> char {
    match sign {
        '\u{3000}' => ' ',
        '\u{FF01}'..='\u{FF5E}' => char::from_u32(u32::from(sign) - 0xFF01 + 0x21).unwrap_or(sign),
        sign if sign.is_control() => ' ',
        sign => sign,
    }
}

/// Lines of cells with the places they had.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rendering {
    text: String,
    /// The cells in order: where each begins and ends in the text, and its place in the original.
    cells: Vec<(Span, Place)>,
    /// For each line, its first cell in `cells`.
    lines: Vec<usize>,
    /// The numbers of lines that are counted through all pages, by their index in `lines`; their places count on each page.
    through: BTreeMap<usize, u32>,
}

impl Rendering {
    /// Adds a line of cells, with tabs between them. A tab or a line end inside a cell becomes a blank.
    pub(crate) fn line<'c>(&mut self, cells: impl IntoIterator<Item = (&'c str, Place)>) {
        self.lines.push(self.cells.len());
        let mut first = true;
        for (cell, place) in cells {
            if !first {
                self.text.push('\t');
            }
            first = false;
            let start = self.text.len();
            self.text.extend(cell.trim().chars().map(flat));
            self.cells.push((Span::new(start, self.text.len()), place));
        }
        self.text.push('\n');
    }

    /// Adds a line of cells that has a number of its own, counted through all pages from 1.
    pub(crate) fn line_through<'c>(
        &mut self,
        number: u32,
        cells: impl IntoIterator<Item = (&'c str, Place)>,
    ) {
        self.through.insert(self.lines.len(), number);
        self.line(cells);
    }

    /// Adds `key: value`.
    pub(crate) fn pair(&mut self, key: (&str, Place), value: (&str, Place)) {
        self.lines.push(self.cells.len());
        for ((text, place), end) in [(key, ": "), (value, "\n")] {
            let start = self.text.len();
            self.text.extend(text.trim().chars().map(flat));
            self.cells.push((Span::new(start, self.text.len()), place));
            self.text.push_str(end);
        }
    }

    /// Adds an empty line.
    pub(crate) fn blank(&mut self) {
        self.lines.push(self.cells.len());
        self.text.push('\n');
    }

    /// What was added: lines, with tabs between cells.
    pub(crate) fn text(&self) -> &str {
        &self.text
    }

    /// Whether nothing was added.
    pub(crate) fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    /// What the text-table reader makes of it, with the places of the original.
    pub(crate) fn read(&self, source: &Source, card: &ReaderInfo) -> Reading {
        let mut reading = text_table::read(&source.rendered(self.text.clone()), card);
        for run in &mut reading.runs {
            run.source.lines = run.source.lines.and_then(|(first, last)| {
                let lines = (first..=last).filter_map(|line| self.line_of(line));
                lines.fold(None, |range: Option<(u32, u32)>, line| {
                    let (first, last) = range.unwrap_or((line, line));
                    Some((first.min(line), last.max(line)))
                })
            });
            let of_curves = run.traces.iter_mut().flat_map(|trace| trace.fields.claims_mut());
            for claim in run.fields.claims_mut().chain(of_curves) {
                self.place_claim(claim);
            }
            for trace in &mut run.traces {
                let mut lines = Lines::default();
                for point in 0..trace.lines.len() {
                    let line = trace.lines.get(point).and_then(|line| self.line_of(line));
                    lines.push(line.unwrap_or(0) as usize);
                }
                trace.lines = lines;
            }
            for question in &mut run.questions {
                self.place_question(question);
            }
            for remark in &mut run.remarks {
                self.place_remark(remark);
            }
        }
        for remark in &mut reading.remarks {
            self.place_remark(remark);
        }
        reading
    }

    /// What the text-table reader tells of it, line by line of the rendering, with the lines of the original.
    pub(crate) fn explain(&self, source: &Source, card: &ReaderInfo) -> Vec<ExplainedLines> {
        let mut parts = text_table::explain(&source.rendered(self.text.clone()), card);
        for part in &mut parts {
            // A line that stands nowhere in the source is where the other end of the part is.
            let (first, last) = (self.line_of(part.first), self.line_of(part.last));
            let first = first.or(last).unwrap_or(part.first);
            let last = last.unwrap_or(first);
            (part.first, part.last) = (first.min(last), first.max(last));
        }
        parts
    }

    /// The original line of a line of the rendering, both from 1.
    fn line_of(&self, line: u32) -> Option<u32> {
        let through = (line as usize)
            .checked_sub(1)
            .and_then(|index| self.through.get(&index));
        through
            .copied()
            .or_else(|| self.place_of(line).map(|place| place.line))
    }

    /// The place of the first cell of a line of the rendering.
    fn place_of(&self, line: u32) -> Option<&Place> {
        let index = (line as usize).checked_sub(1)?;
        let first = *self.lines.get(index)?;
        let end = self.lines.get(index + 1).copied().unwrap_or(self.cells.len());
        let cell = self.cells.get(first..end)?.iter().find(|cell| cell.1.line > 0)?;
        Some(&cell.1)
    }

    fn place(&self, place: &mut Place) {
        // A place in another file, such as a layout, is none of the rendering's.
        if place.file.is_some() {
            return;
        }
        let cell = place.span.and_then(|span| {
            let at = self.cells.partition_point(|(cell, _)| cell.end <= span.start);
            self.cells.get(at).map(|(_, place)| place)
        });
        match cell {
            Some(cell) => *place = cell.clone(),
            None => {
                let line = self.place_of(place.line);
                *place = line.map_or_else(Place::default, |first| Place {
                    part: first.part.clone(),
                    ..Place::line(first.line as usize)
                });
            }
        }
    }

    fn place_claim(&self, claim: &mut Claim) {
        if let Origin::Source(place) = &mut claim.origin {
            self.place(place);
        }
    }

    fn place_labels(&self, labels: &mut [Label]) {
        for label in labels {
            self.place(&mut label.place);
        }
    }

    fn place_question(&self, question: &mut Question) {
        self.place_labels(&mut question.labels);
    }

    fn place_remark(&self, remark: &mut Diagnostic) {
        self.place_labels(&mut remark.labels);
    }
}
