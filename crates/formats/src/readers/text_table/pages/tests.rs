use std::fmt::Write;

use super::*;
use crate::readers::text_table::join::sections;
use crate::readers::text_table::scan::scan;
use crate::{Assumptions, Reader, Source};

#[test]
fn lines_that_differ_in_counts_alone() {
    for (one, other) in [
        ("page 1 of 9", "page 12 of 9"),
        ("- 3 -", "- 4 -"),
        ("end", "end"),
        ("\u{c}Seite 1", "\u{c}Seite 99999"),
    ] {
        assert!(same_but_for_counts(one, other), "{one} {other}");
    }
    for (one, other) in [
        ("page 1", "page"),
        ("page 1", "page 123456"),
        ("page 1", "Page 1"),
        ("1.5", "1,5"),
        ("sample 1a", "sample 1b"),
    ] {
        assert!(!same_but_for_counts(one, other), "{one} {other}");
    }
}

/// A sequence of numbers below a bound, the same for the same seed.
fn draw(seed: u64) -> impl FnMut(usize) -> usize {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move |below| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    }
}

/// A report of several pages, written in one of many ways, in which now and then something is not as on other pages.
fn report(seed: u64) -> String {
    let mut below = draw(seed);
    let sep = ["  ", "\t", ";", "   "][below(4)];
    let pad = ["", "  ", "    "][if sep.trim().is_empty() && sep != "\t" {
        below(3)
    } else {
        0
    }];
    let columns = 2 + below(3);
    let each = [12, 16, 17, 25, 40][below(5)];
    let pages = 3 + below(6);
    let odd = [usize::MAX, 3, 6, 12][below(4)];
    let title = [
        "Report of the invented laboratory      betanin 3",
        "Sample: betanin 7",
        "Report of the invented laboratory      betanin {}",
        "Sample: betanin {}",
        "",
    ][below(5)];
    let foot = ["page {} of 9", "- {} -", "", "Seite {}", "3", "end of page"][below(6)];
    let feed = ["\u{c}", "", "\n"][below(3)];
    let rule = ["", "--------------------\n"][below(2)];
    let blank = ["", "\n", "\n\n"][below(3)];
    let decimals = below(3);
    let mut text = String::new();
    let mut x = 200.0 + 300.0 * below(3) as f64;
    for page in 1..=pages {
        let mut is_odd = |kinds: usize| -> usize {
            if odd != usize::MAX && page > 1 && below(odd) == 0 {
                1 + below(kinds)
            } else {
                0
            }
        };
        match is_odd(4) {
            1 => text.push_str("Sample: crocin\n"),
            2 => text.push_str("the lamp was changed here\n"),
            3 => {}
            _ if title.is_empty() => {}
            _ => {
                let _ = writeln!(text, "{}", title.replace("{}", &(page * 7 % 9).to_string()));
            }
        }
        text.push_str(blank);
        let heads = ["Wavelength (nm)", "A1", "A2", "A3"];
        match is_odd(3) {
            1 => {}
            2 => text.push_str(&format!("Wavelength (nm){sep}B1{sep}B2{sep}B3\n")),
            _ => {
                let _ = writeln!(text, "{pad}{}", heads[..columns].join(sep));
            }
        }
        text.push_str(rule);
        match is_odd(6) {
            1 => x -= 20.0,
            2 => x += 30.0,
            3 => x += 3.0,
            _ => {}
        }
        for row in 0..each {
            x += 1.0;
            let _ = write!(text, "{pad}{x:.decimals$}");
            for column in 1..columns {
                let what = if row == each / 2 { is_odd(7) } else { 0 };
                let y = ((row * 37 + column * 11 + page) % 1000) as f64 / 1000.0;
                let _ = match what {
                    1 => write!(text, "{sep}{y:.2}"),
                    2 => write!(text, "{sep}OVER"),
                    3 => write!(text, "{sep}{:.0}", y * 10_000.0),
                    4 => write!(text, "{sep}"),
                    5 => write!(text, "{sep}{y:.4} AU"),
                    6 => write!(text, "{sep}{}", format!("{y:.4}").replace('.', ",")),
                    _ => write!(text, "{sep}{y:.4}"),
                };
            }
            text.push('\n');
        }
        text.push_str(["", "\n"][usize::from(blank.is_empty())]);
        match is_odd(3) {
            1 => text.push_str("400.0 0.5\n"),
            2 => text.push_str("Mean  0.5\n"),
            _ => {
                let _ = writeln!(text, "{}", foot.replace("{}", &page.to_string()));
            }
        }
        text.push_str(feed);
    }
    if below(3) == 0 {
        text.truncate(text.floor_char_boundary(text.len() - below(60)));
    }
    text
}

/// Pages read on at once give the sections that pages read one by one give.
#[test]
fn pages_read_on_are_pages_put_together() {
    let (mut together, mut apart) = (0, 0);
    for seed in (0..300).chain([961, 1334]) {
        let text = report(seed);
        let told = |by_page: bool| {
            let pieces = scan(&text, &Assumptions::none(), 0, 2, by_page).pieces;
            let tables = pieces
                .iter()
                .filter(|piece| matches!(piece, TextPiece::Table(_)))
                .count();
            let (sections, behind) = sections(&text, pieces);
            let told: Vec<String> = sections
                .iter()
                .map(|section| {
                    let (grid, table) = (&section.table.grid, &section.table);
                    let columns: Vec<Vec<String>> = (0..grid.columns())
                        .map(|column| match grid.kinds[column] {
                            crate::readers::text_table::grid::ColumnKind::Figures => {
                                grid.column(column).map(|number| number.to_string()).collect()
                            }
                            crate::readers::text_table::grid::ColumnKind::Words => Vec::new(),
                        })
                        .collect();
                    format!(
                        "{:?} {:?} {columns:?} {:?} {:?} {:?} {:?} {:?} {:?} {} {} {} {:?}",
                        section.words,
                        section.remarks,
                        grid.decimals(),
                        grid.line_pieces().collect::<Vec<_>>(),
                        grid.gaps,
                        grid.odd,
                        grid.notes,
                        table.heads,
                        table.first_line,
                        table.last_line,
                        section.on_next_page,
                        table.open.is_some(),
                    )
                })
                .collect();
            (tables, told, format!("{behind:?}"))
        };
        let (quick, ordinary) = (told(false), told(true));
        assert_eq!(quick.1, ordinary.1, "seed {seed}:\n{text}");
        assert_eq!(quick.2, ordinary.2, "seed {seed}:\n{text}");
        together += usize::from(quick.0 < ordinary.0);
        apart += usize::from(quick.0 == ordinary.0);
    }
    // Both ways are met.
    assert!(together > 10 && apart > 10, "{together} {apart}");
}

/// So many bytes are looked at to read a text.
fn work(text: &str) -> usize {
    let source = Source::new("a.txt", text.as_bytes().to_vec());
    let reader = crate::readers::text_table::TextTable::default();
    crate::work::of(|| reader.read(&source))
}

/// Ten times the text is about ten times the work, whatever its shape: counted in bytes looked at.
#[test]
fn work_grows_with_the_text() {
    let pages = |n: usize| {
        let mut text = String::new();
        for page in 0..n {
            text.push_str(
                "Report of the invented laboratory      betanin 3\n\n  Wavelength (nm)   Absorbance\n",
            );
            for row in 0..40 {
                let x = 200.0 + 0.1 * (page * 40 + row) as f64;
                let _ = writeln!(text, "  {x:8.1}  {:8.4}", 0.1 + 0.001 * row as f64);
            }
            let _ = write!(text, "\n                    page {} of {n}\n\u{c}", page + 1);
        }
        text
    };
    let damaged_pages = |n: usize| pages(n).replace("0.1150", "0.11S0");
    let runs = |n: usize| {
        let mut text = String::new();
        for run in 0..n {
            let _ = writeln!(
                text,
                "Sample: betanin {run}\nTemperature: 25 °C\nWavelength (nm)\tAbsorbance"
            );
            for row in 0..30 {
                let _ = writeln!(text, "{}\t0.{:04}", 400 + row, row * 7 + run % 10);
            }
            text.push('\n');
        }
        text
    };
    let names = |n: usize| {
        let mut text = String::from("Sample,Cell,Time (s),Absorbance\n");
        for row in 0..n * 100 {
            let _ = writeln!(
                text,
                "betanin {},A{},{},0.{:04}",
                row / 20,
                row / 20 % 12,
                row % 20 * 10,
                row % 977
            );
        }
        text
    };
    let all_different = |n: usize| {
        let mut text = String::from("Sample,Absorbance\n");
        for row in 0..n * 100 {
            let _ = writeln!(text, "mean leaf {row},0.{:04}", row % 977);
        }
        text
    };
    let log = |n: usize| {
        let mut text = String::new();
        for line in 0..n * 30 {
            let _ = writeln!(
                text,
                "17:{:02}:{:02} pump {} on, valve {line} off",
                line / 60 % 60,
                line % 60,
                line % 9
            );
        }
        text
    };
    let prose = |n: usize| {
        let mut text = String::new();
        for line in 0..n * 30 {
            let _ = writeln!(
                text,
                "the lamp of cell {line} was changed before the run number {} began",
                line * 3
            );
        }
        text
    };
    // Half of the curves say what they are, and names that say nothing stand over the others.
    let wide = |n: usize| {
        let mut text = String::from("nm");
        for column in 0..n * 10 {
            let _ = write!(text, ",Absorbance {column},leaf {column}");
        }
        for row in 0..12 {
            let _ = write!(text, "\n{}", 400 + row);
            for column in 0..n * 20 {
                let _ = write!(text, ",0.{:03}", (row * 37 + column * 91) % 999);
            }
        }
        text
    };
    let shapes: [(&str, &dyn Fn(usize) -> String); 8] = [
        ("wide", &wide),
        ("pages", &pages),
        ("damaged pages", &damaged_pages),
        ("runs", &runs),
        ("names", &names),
        ("all different", &all_different),
        ("log", &log),
        ("prose", &prose),
    ];
    for (name, shape) in shapes {
        let (small, large) = (shape(3), shape(30));
        let (once, ten_times) = (work(&small) as f64, work(&large) as f64);
        let growth = ten_times / once * small.len() as f64 / large.len() as f64;
        assert!(
            growth < 1.5,
            "{name}: {growth:.2} times as much work for each byte of ten times the text"
        );
    }
}
