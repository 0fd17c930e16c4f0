//! What is asked about the rows of a table, and one question about each thing.

use curvary_record::{Alternative, Code, Label, Place, Question, Span};

use super::join::Section;
use super::{foot, grid, scan};
use crate::Source;

/// Of several questions about one thing, `y` or `rows`, which one answer settles, one: with the choices that all of them offer, or,
/// where nothing is left of these, with the choices of all.
pub(super) fn one_each(questions: Vec<Question>) -> Vec<Question> {
    let about = |question: &Question| {
        let first = question.readings.first().and_then(Alternative::answer);
        first.map(|answer| answer.topic)
    };
    let mut all: Vec<Question> = Vec::with_capacity(questions.len());
    for question in questions {
        let topic = about(&question);
        let known = all
            .iter_mut()
            .find(|known| topic.is_some() && about(known) == topic);
        match known {
            Some(known) => join(known, question),
            None => all.push(question),
        }
    }
    all
}

/// Puts a further question about the same thing into one.
fn join(known: &mut Question, further: Question) {
    /// That it is no measurement is offered beside every quantity.
    const LAST: &str = "measurement=";
    let same_code = known.code == further.code;
    let offers =
        |readings: &[Alternative], assume: &str| readings.iter().any(|reading| reading.assume == assume);
    let common = known
        .readings
        .iter()
        .any(|reading| !reading.assume.starts_with(LAST) && offers(&further.readings, &reading.assume));
    if same_code && common {
        known
            .readings
            .retain(|reading| offers(&further.readings, &reading.assume));
    } else {
        let mut last = known
            .readings
            .iter()
            .position(|reading| reading.assume.starts_with(LAST));
        for reading in further.readings {
            if !offers(&known.readings, &reading.assume) {
                let at = last.unwrap_or(known.readings.len());
                last = last.map(|last| last + 1);
                known.readings.insert(at, reading);
            }
        }
    }
    // The same of another column is told by its place alone.
    if (!same_code || known.code == Code::new("row-does-not-fit"))
        && !known.message.contains(&further.message)
    {
        known.message = format!("{}; {}", known.message, further.message);
    }
    for label in further.labels {
        if !known.labels.contains(&label) {
            known.labels.push(label);
        }
    }
}

/// What is asked of rows that do not fit their table.
pub(super) fn of_rows(source: &Source, section: &Section) -> Vec<Question> {
    let mut questions = Vec::new();
    let columns = section.table.grid.columns();
    let longer: Vec<_> = section
        .table
        .grid
        .odd
        .iter()
        .filter(|odd| odd.cells.is_some_and(|cells| cells as usize > columns))
        .collect();
    if !longer.is_empty() && source.assume().get("shape").is_none() {
        questions.push(Question {
            code: Code::new("row-does-not-fit"),
            message: match longer.len() {
                1 => format!("1 row has more cells than the {columns} columns of the table: which of them belong to it?"),
                rows => format!("{rows} rows have more cells than the {columns} columns of the table: which of them belong to it?"),
            },
            readings: vec![Alternative {
                assume: "shape=columns".to_owned(),
                says: "these rows are to be left out".to_owned(),
            }],
            labels: longer
                .iter()
                .take(8)
                .map(|odd| Label { place: source.place(odd.span), text: String::new() })
                .collect(),
        });
    }
    let shorter = section.table.grid.lines_short_between_blanks();
    if !shorter.is_empty() && source.assume().get("shape").is_none() {
        let (rows, have) = match shorter.len() {
            1 => ("1 row".to_owned(), "has"),
            n => (format!("{n} rows"), "have"),
        };
        questions.push(Question {
            code: Code::new("row-does-not-fit"),
            message: format!(
                "{rows} {have} fewer numbers than the {columns} columns of the table, and nothing tells which is missing"
            ),
            readings: vec![Alternative {
                assume: "shape=columns".to_owned(),
                says: "the numbers of these rows are to be left out".to_owned(),
            }],
            labels: shorter
                .iter()
                .take(8)
                .map(|line| Label { place: Place::line(*line), text: String::new() })
                .collect(),
        });
    }
    if !section.rows_aside.is_empty() {
        let (lines, have) = match section.rows_aside.len() {
            1 => ("1 line".to_owned(), "has"),
            n => (format!("{n} lines"), "have"),
        };
        questions.push(Question {
            code: Code::new("row-does-not-fit"),
            message: format!(
                "{lines} apart from the table {have} the cells of its rows: do they belong to it?"
            ),
            readings: vec![
                Alternative {
                    assume: "rows=belong".to_owned(),
                    says: "they are rows of the table".to_owned(),
                },
                Alternative {
                    assume: "rows=apart".to_owned(),
                    says: "these lines are to be left out".to_owned(),
                },
            ],
            labels: section
                .rows_aside
                .iter()
                .take(8)
                .map(|line| Label {
                    place: Place::line(*line as usize),
                    text: String::new(),
                })
                .collect(),
        });
    }
    if let Some(rows) = rows_above(source, section).filter(|_| source.assume().get("shape").is_none()) {
        questions.push(Question {
            code: Code::new("row-does-not-fit"),
            message: format!(
                "{} directly above the table, and lead up to its first row, but with other cells: do they belong to it?",
                if rows.len() == 1 { "1 line stands".to_owned() } else { format!("{} lines stand", rows.len()) }
            ),
            readings: vec![Alternative {
                assume: "shape=columns".to_owned(),
                says: "these lines are to be left out".to_owned(),
            }],
            labels: rows
                .iter()
                .rev()
                .take(8)
                .map(|line| Label { place: Place::line(*line), text: String::new() })
                .collect(),
        });
    }
    questions.extend(rows_or_keys(source, section));
    questions
}

/// Asks whether the last rows, of a name and one number below longer ones, are rows or keys with their values.
fn rows_or_keys(source: &Source, section: &Section) -> Option<Question> {
    let text = source.text();
    let rows = scan::last_rows(text, &section.table);
    if source.assume().get("foot").is_some() {
        return None;
    }
    let grid = &section.table.grid;
    let behind_empty = grid
        .row_behind_empty(text)
        .filter(|_| !grid.all_sum_up_behind_empty(text))
        .map(|row| &text[row]);
    let (open, stands) = match behind_empty {
        Some(row) => (
            vec![row],
            "behind an empty row and is written otherwise than those above it",
        ),
        None => (
            foot::open(&rows)
                .into_iter()
                .filter(|row| !foot::begins_with_statistics(row))
                .collect(),
            "at the foot of the table and has a name and one number",
        ),
    };
    let first = open.last()?;
    let labels = open.iter().map(|row| {
        let at = crate::slice::range_in(text, row);
        Label {
            place: source.place(Span::new(at.start, at.end)),
            text: String::new(),
        }
    });
    Some(Question {
        code: Code::new("row-does-not-fit"),
        message: format!(
            "`{}` stands {stands}: is it a row, or a key and its value?",
            first.trim()
        ),
        readings: vec![
            Alternative {
                assume: "foot=row".to_owned(),
                says: "a row of the table".to_owned(),
            },
            Alternative {
                assume: "foot=key".to_owned(),
                says: "a key and its value".to_owned(),
            },
        ],
        labels: labels.collect(),
    })
}

/// The lines directly above a table without heads whose first numbers lead up to its first one in its own steps: rows
/// of it that something beside them kept from being read.
fn rows_above(source: &Source, section: &Section) -> Option<Vec<usize>> {
    let table = &section.table;
    let grid = &table.grid;
    if !table.heads.is_empty() || grid.rows < 3 || grid.kinds.first() != Some(&grid::ColumnKind::Figures) {
        return None;
    }
    let (first, second) = (grid.figure(0, 0), grid.figure(1, 0));
    let step = second - first;
    let lines = source.lines();
    let text = source.text();
    let mut rows = Vec::new();
    let mut expected = first - step;
    for line in (1..grid.line(0)).rev() {
        let raw = text[lines.span(line - 1).range()].trim();
        let number = raw
            .split([';', '\t', ',', ' ', '|'])
            .next()
            .and_then(|cell| cell.parse::<f64>().ok());
        if !number.is_some_and(|number| (number - expected).abs() <= 1e-6 * step.abs()) || step == 0.0 {
            break;
        }
        rows.push(line);
        expected -= step;
    }
    Some(rows).filter(|rows| !rows.is_empty())
}
