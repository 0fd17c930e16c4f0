//! How the lines of a file lie, found from the text and from where the read points stood, without the reader's own words.

use std::ops::Range;

use curvary_formats::Reading;
use curvary_record::Run;

/// The lines of a file with their ends, and its tables.
pub(crate) struct Sheet {
    /// The lines, without their ends.
    pub(crate) lines: Vec<String>,
    /// The end of each line; the last may have none.
    pub(crate) ends: Vec<String>,
    /// The tables in the order of the file.
    pub(crate) tables: Vec<Table>,
}

/// The head lines and rows of one table; indexes of lines from 0.
pub(crate) struct Table {
    /// The lines directly above the rows that hold names of its columns; may be empty.
    pub(crate) heads: Range<usize>,
    /// From the first to the last line with a point.
    pub(crate) rows: Range<usize>,
    /// What separates its cells, where that is one sign and certain.
    pub(crate) separator: Option<char>,
}

impl Sheet {
    pub(crate) fn new(text: &str, reading: &Reading) -> Self {
        let (mut lines, mut ends) = (Vec::new(), Vec::new());
        let mut rest = text;
        while !rest.is_empty() {
            let at = rest.find(['\n', '\r']).unwrap_or(rest.len());
            let end = if rest[at..].starts_with("\r\n") {
                2
            } else {
                rest.len().min(at + 1) - at
            };
            lines.push(rest[..at].to_owned());
            ends.push(rest[at..at + end].to_owned());
            rest = &rest[at + end..];
        }
        let mut tables: Vec<Table> = Vec::new();
        for run in &reading.runs {
            let Some(rows) = rows(run).filter(|rows| rows.end <= lines.len()) else {
                continue;
            };
            if tables
                .iter()
                .any(|table| table.rows.start < rows.end && rows.start < table.rows.end)
            {
                continue;
            }
            let heads = heads(&lines, rows.start, &names(run));
            let separator = separator(&lines[rows.clone()], run, rows.start);
            tables.push(Table {
                heads,
                rows,
                separator,
            });
        }
        Self { lines, ends, tables }
    }

    /// The head lines of all tables, and the lines that repeat them.
    pub(crate) fn head_lines(&self) -> Vec<usize> {
        let heads: Vec<&String> = self
            .tables
            .iter()
            .flat_map(|table| &self.lines[table.heads.clone()])
            .filter(|line| !line.trim().is_empty())
            .collect();
        (0..self.lines.len())
            .filter(|&at| heads.contains(&&self.lines[at]))
            .collect()
    }

    /// The text with some lines changed.
    pub(crate) fn with(&self, change: impl Fn(usize, &str) -> String) -> String {
        let lines = self.lines.iter().zip(&self.ends).enumerate();
        lines.map(|(at, (line, end))| change(at, line) + end).collect()
    }

    /// The text with a line of its own put before the line `at`.
    pub(crate) fn with_line(&self, at: usize, line: &str) -> String {
        let end = self
            .ends
            .iter()
            .find(|end| !end.is_empty())
            .map_or("\n", String::as_str);
        self.with(|index, old| {
            if index == at {
                format!("{line}{end}{old}")
            } else {
                old.to_owned()
            }
        })
    }
}

/// The lines on which points of a run stood.
fn rows(run: &Run) -> Option<Range<usize>> {
    let lines = run
        .traces
        .iter()
        .flat_map(|trace| (0..trace.lines.len()).filter_map(|at| trace.lines.get(at)));
    let (first, last) = lines.fold((u32::MAX, 0), |(first, last), line| {
        (first.min(line), last.max(line))
    });
    (first > 0 && first <= last).then(|| first as usize - 1..last as usize)
}

/// The names that the columns of a run have.
fn names(run: &Run) -> Vec<String> {
    let named = run.traces.iter().flat_map(|trace| {
        [&trace.x.name, &trace.y.name, &trace.label]
            .into_iter()
            .flatten()
            .flat_map(|name| name.split(|c: char| !c.is_alphanumeric()))
            .map(str::to_lowercase)
    });
    named
        .filter(|name| name.chars().any(char::is_alphabetic))
        .collect()
}

/// The lines directly above a table, up to four, that hold a name of one of its columns.
fn heads(lines: &[String], first: usize, names: &[String]) -> Range<usize> {
    let end = if first > 0 && lines[first - 1].trim().is_empty() {
        first - 1
    } else {
        first
    };
    let mut start = end;
    while start > 0 && end - start < 4 {
        let line = lines[start - 1].to_lowercase();
        let mut words = line.split(|c: char| !c.is_alphanumeric());
        if !words.any(|word| names.iter().any(|name| name == word)) {
            break;
        }
        start -= 1;
    }
    // Numbers across, or a name that is not kept: the one line above is the head then.
    if start == end && end > 0 && !lines[end - 1].trim().is_empty() {
        start -= 1;
    }
    start..end
}

/// The sign between the cells: one that every row has, and that parts the rows so that an ordinate stands alone.
fn separator(rows: &[String], run: &Run, first: usize) -> Option<char> {
    let trace = run.traces.first()?;
    let filled: Vec<&String> = rows.iter().filter(|row| !row.trim().is_empty()).collect();
    ['\t', ';', ','].into_iter().find(|&sign| {
        let count = filled.first().map_or(0, |row| row.matches(sign).count());
        let even = count > 0 && filled.iter().all(|row| row.matches(sign).count() == count);
        let alone = || {
            let mut points = (0..trace.len().min(20)).filter_map(|at| {
                let row = rows.get((trace.lines.get(at)? as usize).checked_sub(first + 1)?)?;
                Some((row, trace.y.values[at]))
            });
            points.all(|(row, y)| cells(row, sign).iter().any(|cell| number(cell) == Some(y)))
        };
        even && alone()
    })
}

/// The cells of a line, without blanks and quotes.
pub(crate) fn cells(line: &str, separator: char) -> Vec<&str> {
    line.split(separator)
        .map(|cell| cell.trim().trim_matches('"'))
        .collect()
}

/// A number with a point or a comma.
fn number(cell: &str) -> Option<f64> {
    cell.replace(',', ".").parse().ok()
}
