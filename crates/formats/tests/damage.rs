//! One structural sign of a table damaged, in tables of every shape: a delimiter, a decimal sign, a minus, a digit or a
//! line end that is lost, doubled or exchanged.
//!
//! Whatever the damage: every number outside the damaged row comes out as before, nothing is dropped untold, and a
//! number that was not in the file never comes out in silence. A digit that is lost, doubled or exchanged for another
//! makes another plain number, which no reader can know; all the rest of its row must hold all the same.
//!
//! The tables are invented. `CURVARY_DAMAGE=1` damages every sign and prints what was found, by shape and damage.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use curvary_formats::{Reader, Reading, Source, readers::TextTable};

/// A table of one shape.
struct TableShape {
    name: String,
    text: String,
}

/// Numbers that look measured, the same on every run.
fn absorbance(row: usize, column: usize) -> f64 {
    let x = row as f64;
    let wave = (x * 0.37 + column as f64 * 1.1).sin() * 0.31 + 0.52;
    wave + (x * 7.3 + column as f64 * 3.7).sin() * 0.003
}

/// A number with decimals in one of the two styles.
fn figure(value: f64, decimals: usize, comma: bool) -> String {
    let text = format!("{value:.decimals$}");
    if comma { text.replace('.', ",") } else { text }
}

const ROWS: usize = 12;

/// A table of rows that hold these cells, joined.
fn rows(head: &str, sep: &str, cells: impl Fn(usize) -> Vec<String>) -> String {
    let mut text = format!("{head}\n");
    for row in 0..ROWS {
        let _ = writeln!(text, "{}", cells(row).join(sep));
    }
    text
}

fn two_columns(shapes: &mut Vec<TableShape>) {
    for (name, sep, comma) in [
        ("tabs", "\t", false),
        ("tabs, decimal comma", "\t", true),
        ("semicolons", ";", false),
        ("semicolons, decimal comma", ";", true),
        ("commas", ",", false),
        ("commas and blanks", ", ", false),
        ("commas and blanks, decimal comma", ", ", true),
        ("pipes", " | ", false),
        ("one blank", " ", false),
        ("one blank, decimal comma", " ", true),
        ("wide blanks", "    ", false),
    ] {
        let head = format!("Wavelength (nm){sep}Absorbance");
        for (whole, x_decimals) in [("", 1), (", whole x", 0)] {
            shapes.push(TableShape {
                name: format!("two columns by {name}{whole}"),
                text: rows(&head, sep, |row| {
                    vec![
                        figure(400.0 + row as f64 * 2.0, x_decimals, comma),
                        figure(absorbance(row, 0), 4, comma),
                    ]
                }),
            });
        }
    }
    shapes.push(TableShape {
        name: "two columns behind a preamble".to_owned(),
        text: rows(
            "Sample: betanin\nDate: 2021-03-14\nTemperature: 37 °C\n\nTime (s)\tA(405 nm)",
            "\t",
            |row| vec![(row * 15).to_string(), figure(absorbance(row, 0), 3, false)],
        ),
    });
    shapes.push(TableShape {
        name: "two columns behind a ruler".to_owned(),
        text: rows(
            "Absorbance spectrum of betanin\n\nWavelength (nm)  Absorbance\n-----------------------",
            " ",
            |row| {
                vec![
                    figure(700.0 - row as f64, 1, false),
                    figure(absorbance(row, 0), 3, false),
                ]
            },
        ),
    });
    shapes.push(TableShape {
        name: "quoted cells".to_owned(),
        text: rows("\"Wavelength (nm)\",\"Absorbance\"", ",", |row| {
            vec![
                format!("\"{}\"", 400 + row),
                format!("\"{}\"", figure(absorbance(row, 0), 4, false)),
            ]
        }),
    });
    shapes.push(TableShape {
        name: "powers of ten".to_owned(),
        text: rows("Wavelength (nm)\tAbsorbance", "\t", |row| {
            vec![
                figure(400.0 + row as f64, 1, false),
                format!("{:.4e}", absorbance(row, 0)),
            ]
        }),
    });
    shapes.push(TableShape {
        name: "negative numbers".to_owned(),
        text: rows("Wavelength (nm);Absorbance", ";", |row| {
            vec![
                figure(400.0 + row as f64, 1, false),
                figure(absorbance(row, 0) - 0.5, 4, false),
            ]
        }),
    });
}

fn several_columns(shapes: &mut Vec<TableShape>) {
    for (name, sep, comma) in [
        ("tabs", "\t", false),
        ("semicolons, decimal comma", ";", true),
        ("commas", ",", false),
        ("one blank", " ", false),
        ("three blanks", "   ", false),
    ] {
        let several = |columns: usize, first: &str, head: &dyn Fn(usize) -> String| {
            let mut heads = vec![first.to_owned()];
            heads.extend((0..columns).map(head));
            heads.join(sep)
        };
        shapes.push(TableShape {
            name: format!("three curves by {name}"),
            text: rows(
                &several(3, "Wavelength_nm", &|column| format!("Abs_{}", column + 1)),
                sep,
                |row| {
                    let mut cells = vec![figure(400.0 + row as f64, 1, comma)];
                    cells.extend((0..3).map(|column| figure(absorbance(row, column), 4, comma)));
                    cells
                },
            ),
        });
        shapes.push(TableShape {
            name: format!("wavelengths across by {name}"),
            text: rows(
                &format!(
                    "Absorbance\n{}",
                    several(6, "Time_s", &|column| (400 + 20 * column).to_string())
                ),
                sep,
                |row| {
                    let mut cells = vec![(row * 30).to_string()];
                    cells.extend((0..6).map(|column| figure(absorbance(row, column), 3, comma)));
                    cells
                },
            ),
        });
        shapes.push(TableShape {
            name: format!("pairs by {name}"),
            text: rows(&["nm", "A", "nm", "A"].join(sep), sep, |row| {
                (0..4)
                    .map(|column| match column % 2 {
                        0 => figure(400.0 + row as f64 + column as f64 * 50.0, 1, comma),
                        _ => figure(absorbance(row, column), 4, comma),
                    })
                    .collect()
            }),
        });
    }
    shapes.push(TableShape {
        name: "twenty-seven curves".to_owned(),
        text: rows(
            &std::iter::once("Wavelength (nm)".to_owned())
                .chain((1..=27).map(|n| format!("Abs {n}")))
                .collect::<Vec<_>>()
                .join(","),
            ",",
            |row| {
                std::iter::once(figure(400.0 + row as f64, 1, false))
                    .chain((0..27).map(|column| figure(absorbance(row, column), 4, false)))
                    .collect()
            },
        ),
    });
    let mut fixed = String::from("  Wavelength    Abs_1    Abs_2\n        (nm)\n");
    for row in 0..ROWS {
        let _ = writeln!(
            fixed,
            "{:12.1}{:9.4}{:9.4}",
            400.0 + row as f64,
            absorbance(row, 0),
            absorbance(row, 1) - 0.5
        );
    }
    shapes.push(TableShape {
        name: "fixed columns".to_owned(),
        text: fixed,
    });
}

fn words_and_blocks(shapes: &mut Vec<TableShape>) {
    shapes.push(TableShape {
        name: "single readings".to_owned(),
        text: rows("Sample,A405,A620", ",", |row| {
            vec![
                format!("well {}", row + 1),
                figure(absorbance(row, 0), 3, false),
                figure(absorbance(row, 1), 3, false),
            ]
        }),
    });
    shapes.push(TableShape {
        name: "a long table with words".to_owned(),
        text: rows("Sample;Time (s);Absorbance", ";", |row| {
            vec![
                ["blank", "betanin"][row / 6].to_owned(),
                (row % 6 * 10).to_string(),
                figure(absorbance(row, 0), 4, false),
            ]
        }),
    });
    shapes.push(TableShape {
        name: "clock times".to_owned(),
        text: rows("Time\tA340", "\t", |row| {
            vec![format!("10:{:02}:30", row), figure(absorbance(row, 0), 4, false)]
        }),
    });
    let mut blocks = String::new();
    for block in 0..3 {
        let _ = writeln!(blocks, "Spectrum {}\nWavelength (nm),Absorbance", block + 1);
        for row in 0..6 {
            let _ = writeln!(blocks, "{},{:.4}", 400 + row * 10, absorbance(row, block));
        }
        blocks.push('\n');
    }
    shapes.push(TableShape {
        name: "numbered blocks".to_owned(),
        text: blocks,
    });
    let mut pages = String::new();
    for page in 0..3 {
        let _ = writeln!(pages, "Absorbance of betanin\n\n  nm        A");
        for row in 0..6 {
            let row = page * 6 + row;
            let _ = writeln!(pages, "{:7.1}{:9.4}", 400.0 + row as f64, absorbance(row, 0));
        }
        let _ = writeln!(pages, "\n                - {} -\n", page + 1);
    }
    shapes.push(TableShape {
        name: "pages".to_owned(),
        text: pages,
    });
    shapes.push(TableShape {
        name: "gaps and markers".to_owned(),
        text: rows("Wavelength (nm)\tAbs 1\tAbs 2", "\t", |row| {
            vec![
                (400 + row).to_string(),
                figure(absorbance(row, 0), 4, false),
                match row {
                    5 => "OVER".to_owned(),
                    8 => String::new(),
                    _ => figure(absorbance(row, 1), 4, false),
                },
            ]
        }),
    });
}

fn shapes() -> Vec<TableShape> {
    let mut shapes = Vec::new();
    two_columns(&mut shapes);
    several_columns(&mut shapes);
    words_and_blocks(&mut shapes);
    shapes
}

/// A point without its line: what it is of, and both numbers.
type Point = String;

/// What a reading gave.
struct Content {
    /// The points of every line.
    points: BTreeMap<usize, Vec<Point>>,
    /// Everything that was told or asked.
    told: BTreeSet<String>,
}

impl Content {
    fn of(reading: &Reading) -> Self {
        let mut points: BTreeMap<usize, Vec<Point>> = BTreeMap::new();
        let mut told: BTreeSet<String> = BTreeSet::new();
        let remarks = reading
            .remarks
            .iter()
            .chain(reading.runs.iter().flat_map(|run| &run.remarks));
        told.extend(remarks.map(|remark| format!("{}: {}", remark.code, remark.message)));
        let questions = reading.runs.iter().flat_map(|run| &run.questions);
        told.extend(questions.map(|question| format!("{}? {}", question.code, question.message)));
        for trace in reading.runs.iter().flat_map(|run| &run.traces) {
            let held: Vec<String> = trace
                .held
                .iter()
                .map(|held| format!("{} {:?}", held.quantity, held.value))
                .collect();
            // The place in a list of single readings is no number of the file.
            let counted = trace.x.quantity == curvary_record::Quantity::INDEX;
            for row in 0..trace.len() {
                let x = if counted {
                    String::new()
                } else {
                    trace.x.values[row].to_string()
                };
                points
                    .entry(trace.lines.get(row).unwrap_or(0) as usize)
                    .or_default()
                    .push(format!(
                        "{} {} over {} {} ({})",
                        trace.y.quantity,
                        trace.y.values[row],
                        trace.x.quantity,
                        x,
                        held.join(", ")
                    ));
            }
        }
        for points in points.values_mut() {
            points.sort();
        }
        Self { points, told }
    }
}

fn read(text: &str) -> Content {
    let source = Source::new("a.txt", text.as_bytes().to_vec());
    Content::of(&TextTable::default().read(&source))
}

/// A text with one sign damaged.
struct Damaged {
    text: String,
    what: String,
    /// The line of the sign, from 1.
    line: usize,
    /// The lines that are damaged.
    lines: Vec<usize>,
    /// By how much the lines behind have moved.
    moved: isize,
    /// Whether only a digit was lost, doubled or exchanged for a digit, which makes another plain number.
    plain: bool,
    /// Whether nothing was lost, so that nothing need be told.
    harmless: bool,
}

/// Every damage of the sign at `at`.
fn damages(text: &str, at: usize) -> Vec<Damaged> {
    let bytes = text.as_bytes();
    let sign = bytes[at];
    let line = text[..at].matches('\n').count() + 1;
    let others: &[&str] = match sign {
        b'\t' => &[" ", ";", ","],
        b';' => &[",", ":", "\t"],
        b',' => &[".", ";"],
        b'.' => &[",", ";", " "],
        b'|' => &[";", "I"],
        b' ' => &[",", "\t"],
        b'-' => &["+", "_"],
        b'"' => &["'"],
        b'\n' => &[" ", "\t"],
        b'0' => &["O"],
        b'1' => &["l"],
        b'2'..=b'9' => &["x"],
        _ => return Vec::new(),
    };
    let name = match sign {
        b'\n' => "line end".to_owned(),
        b'\t' => "tab".to_owned(),
        b' ' => "blank".to_owned(),
        b'0'..=b'9' => "digit".to_owned(),
        sign => format!("`{}`", char::from(sign)),
    };
    let (front, own, behind) = (&text[..at], &text[at..=at], &text[at + 1..]);
    // One blank of several is no delimiter lost.
    let neighbour = |at: Option<usize>| at.and_then(|at| bytes.get(at)).copied();
    let (before, after) = (neighbour(at.checked_sub(1)), neighbour(Some(at + 1)));
    let padding = sign == b' '
        && [before, after]
            .iter()
            .any(|near| near.is_none_or(|near| matches!(near, b' ' | b'|' | b',' | b'\n')));
    let of_line_end = sign == b'\n';
    let mut all = Vec::new();
    let mut add = |what: String, text: String, lines: Vec<usize>, moved, harmless| {
        all.push(Damaged {
            text,
            what,
            line,
            lines,
            moved,
            plain: false,
            harmless,
        });
    };
    let both = if of_line_end {
        vec![line, line + 1]
    } else {
        vec![line]
    };
    add(
        format!("{name} lost"),
        format!("{front}{behind}"),
        both.clone(),
        -isize::from(of_line_end),
        padding || of_line_end && behind.is_empty(),
    );
    add(
        format!("{name} doubled"),
        format!("{front}{own}{own}{behind}"),
        if of_line_end { Vec::new() } else { vec![line] },
        isize::from(of_line_end),
        sign == b' ' || of_line_end,
    );
    for other in others {
        add(
            format!("{name} exchanged for {other:?}"),
            format!("{front}{other}{behind}"),
            both.clone(),
            -isize::from(of_line_end),
            padding || *other == "\t" && sign == b' ' || of_line_end && behind.is_empty(),
        );
    }
    for damaged in &mut all[..2] {
        damaged.plain |= sign.is_ascii_digit();
    }
    for damaged in &mut all {
        damaged.plain |= sign == b'-';
    }
    all
}

/// What is wrong with what came of a damaged table, if anything is.
fn complaint(whole: &Content, found: &Content, damaged: &Damaged) -> Option<(&'static str, String)> {
    let told = !found.told.is_subset(&whole.told);
    let none = Vec::new();
    let mut short = false;
    for (&line, points) in &whole.points {
        let here = found.points.get(&line).unwrap_or(&none);
        if damaged.lines.contains(&line) {
            short |= here.len() < points.len();
            if !damaged.plain
                && !told
                && let Some(new) = here.iter().find(|point| !points.contains(point))
            {
                return Some(("a number changed in silence", new.clone()));
            }
            continue;
        }
        let behind = line > damaged.line;
        let here = match line.checked_add_signed(damaged.moved).filter(|_| behind) {
            Some(line) => found.points.get(&line).unwrap_or(&none),
            None => here,
        };
        if here != points {
            let kind = if told {
                "another row changed, told"
            } else {
                "another row changed in silence"
            };
            return Some((kind, format!("line {line}: {points:?} became {here:?}")));
        }
    }
    (short && !told && !damaged.harmless).then(|| ("points dropped in silence", String::new()))
}

/// Where the signs stand that are damaged: all of those in rows, or those in the first, the last and a middle row, of
/// digits a few.
fn places(text: &str, whole: &Content, all: bool) -> Vec<usize> {
    let rows: Vec<usize> = whole.points.keys().copied().collect();
    let told_apart = |line: usize| {
        let at = rows.iter().position(|row| *row == line);
        at.is_some_and(|at| all || at < 2 || at + 2 >= rows.len() || at == rows.len() / 2)
    };
    let mut line = 1;
    let mut places = Vec::new();
    for (at, byte) in text.bytes().enumerate() {
        if byte.is_ascii() && (all || !byte.is_ascii_digit() || at % 5 == 0) && told_apart(line) {
            places.push(at);
        }
        line += usize::from(byte == b'\n');
    }
    places
}

#[test]
fn damage_stays_in_its_row_and_is_told() {
    let thorough = std::env::var_os("CURVARY_DAMAGE").is_some();
    let mut tried = 0;
    let mut complaints: BTreeMap<(&str, String), Vec<String>> = BTreeMap::new();
    let mut shapes_read = 0;
    let mut unread = Vec::new();
    for shape in shapes() {
        let whole = read(&shape.text);
        let expected: usize = whole.points.values().map(Vec::len).sum();
        if expected < ROWS || whole.told.iter().any(|told| told.contains('?')) {
            unread.push(format!(
                "{}: {expected} points, {:?}\n{}",
                shape.name, whole.told, shape.text
            ));
            continue;
        }
        shapes_read += 1;
        for at in places(&shape.text, &whole, thorough) {
            for damaged in damages(&shape.text, at) {
                tried += 1;
                let found = read(&damaged.text);
                if let Some((kind, detail)) = complaint(&whole, &found, &damaged) {
                    let line = damaged.lines.first().copied().unwrap_or(1);
                    let row = damaged.text.lines().nth(line - 1).unwrap_or("");
                    complaints
                        .entry((kind, damaged.what.clone()))
                        .or_default()
                        .push(format!(
                            "{}, line {line} `{row}`: {detail} {:?}",
                            shape.name, found.told
                        ));
                }
            }
        }
    }
    let wrong: usize = complaints.values().map(Vec::len).sum();
    let mut report = format!("{shapes_read} shapes, {tried} damages, {wrong} complaints\n");
    for ((kind, what), all) in &complaints {
        let _ = writeln!(report, "{kind}: {what}: {}", all.len());
        for one in all.iter().take(if thorough { 40 } else { 3 }) {
            let _ = writeln!(report, "    {one}");
        }
    }
    if thorough {
        println!("{report}");
    }
    assert!(
        unread.is_empty() && complaints.is_empty(),
        "{report}shapes that are not read: {unread:?}"
    );
}

/// However many tables stand behind one another, each under a title that has figures too, none is lost.
#[test]
fn many_numbered_blocks_are_all_read() {
    let blocks = 1500;
    let mut text = String::new();
    for block in 0..blocks {
        let _ = writeln!(text, "Spectrum {}\nWavelength (nm)\tAbsorbance", block + 1);
        for row in 0..4 {
            let _ = writeln!(text, "{}\t{:.4}", 400 + row * 10, absorbance(row, block));
        }
    }
    let found = read(&text);
    let points: usize = found.points.values().map(Vec::len).sum();
    assert_eq!(points, blocks * 4, "{:?}", found.told);
}

/// Where the search for tables is ended, that is told.
#[test]
fn an_ended_search_is_told() {
    let mut text = String::new();
    for line in 0..200_000_u64 {
        let _ = writeln!(
            text,
            "{} {} pump {} on, valve {} off",
            line,
            line * 7 % 60,
            line % 9,
            line % 5
        );
    }
    text.push_str("Wavelength (nm),Absorbance\n");
    for row in 0..9 {
        let _ = writeln!(text, "{},{:.4}", 400 + row * 10, absorbance(row, 0));
    }
    let found = read(&text);
    let points: usize = found.points.values().map(Vec::len).sum();
    let told = found
        .told
        .iter()
        .any(|told| told.starts_with("tables-not-sought"));
    assert!(told || points == 9, "{points} points, {:?}", found.told);
}
