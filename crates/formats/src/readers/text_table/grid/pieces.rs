//! A large table read by all cores, piece by piece, with the same outcome as by one.

use super::*;

/// A text from this length on is read by all cores.
const LARGE: usize = 8 << 20;

/// So much of it is read by one core before the first pieces: what the units are, and how many rows there will be.
const FRONT: usize = if cfg!(test) { 200 } else { 1 << 16 };

/// So many bytes are one piece: few enough that its numbers are still in the cache when they go to their columns. In
/// tests they are few, so that seams are met.
const PIECE: usize = if cfg!(test) { 100 } else { 1 << 20 };

impl Grid {
    /// Reads rows from `from` on, as far as they fit, but not beyond byte `end`. Returns where the next line begins.
    pub(in crate::readers::text_table) fn read(&mut self, text: &str, from: Cursor, end: usize) -> Cursor {
        let mut cursor = from;
        if end - from.at >= LARGE {
            // Asked only now: the answer is read from several files of the system.
            let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
            if cores > 1 {
                cursor = self.read_together(text, from, end, cores);
            }
        }
        if end - cursor.at >= 2 * FRONT && cursor == from {
            // Room for all rows at once: columns that grow step by step are copied again and again.
            cursor = self.read_here(text, from, line_behind(text, from.at + FRONT, end));
            self.settle();
            if cursor.at - from.at >= FRONT {
                self.expect_rows(&text[from.at..end], cursor.at - from.at);
            }
        }
        let cursor = self.read_here(text, cursor, end);
        self.settle();
        cursor
    }

    /// As much of the table as can be read in pieces. Where a piece stops early, the rows there are read by one core,
    /// which knows the rows before them.
    fn read_together(&mut self, text: &str, from: Cursor, end: usize, cores: usize) -> Cursor {
        let front = line_behind(text, from.at + FRONT, end);
        let mut cursor = self.read_here(text, from, front);
        self.settle();
        self.expect_rows(&text[from.at..end], cursor.at - from.at);
        let mut parts: Vec<Self> = (0..cores).map(|_| self.piece()).collect();
        let mut all_read = cursor.at == front;
        while all_read && cursor.at < end && self.rows * self.figures.len() <= MAX_CELLS {
            let mut bounds = vec![cursor.at];
            for _ in 0..cores {
                let start = bounds[bounds.len() - 1];
                bounds.push(line_behind(text, start + PIECE, end));
            }
            let reached: Vec<Cursor> = std::thread::scope(|scope| {
                let workers: Vec<_> = parts
                    .iter_mut()
                    .zip(bounds.windows(2))
                    .map(|(part, bounds)| {
                        let start = Cursor {
                            at: bounds[0],
                            line: 1,
                        };
                        scope.spawn(move || part.read_here(text, start, bounds[1]))
                    })
                    .collect();
                workers
                    .into_iter()
                    .map_while(|worker| worker.join().ok())
                    .collect()
            });
            let mut good = 0;
            for ((part, reached), end) in parts.iter_mut().zip(&reached).zip(&bounds[1..]) {
                good += 1;
                self.take_over(part, cursor.line - 1);
                cursor = Cursor {
                    at: reached.at,
                    line: cursor.line + reached.line - 1,
                };
                if reached.at < *end {
                    break;
                }
            }
            self.settle_all(&parts[..good]);
            for part in &mut parts {
                *part = Self {
                    fresh: std::mem::take(&mut part.fresh),
                    ..self.piece()
                };
                part.fresh.clear();
            }
            let bound = bounds[cores];
            if cursor.at < bound {
                cursor = self.read_here(text, cursor, bound);
                self.settle();
            }
            all_read = cursor.at == bound;
        }
        cursor
    }

    /// An empty piece of this table, that goes on where the table has come to.
    fn piece(&self) -> Self {
        Self {
            amid: true,
            bare_before: self.current.iter().map(|&decimals| decimals != u8::MAX).collect(),
            ..self.empty_like()
        }
    }

    /// Makes room for all rows up to the next blank line of a text of which some bytes have been read.
    fn expect_rows(&mut self, text: &str, read: usize) {
        let rest = text.as_bytes().get(read..).unwrap_or_default();
        let blank = memchr::memmem::find(rest, b"\n\n").or_else(|| memchr::memmem::find(rest, b"\n\r\n"));
        let all = blank.map_or(text.len(), |at| read + at);
        let rows = (self.rows as f64 * all as f64 / read.max(1) as f64 * 1.02) as usize;
        let room = rows.min(all / self.figures.len().max(1));
        for figures in &mut self.figures {
            let figures = figures.make_mut();
            figures.reserve_exact(room.saturating_sub(figures.len()));
        }
    }

    /// Puts the numbers of pieces into the columns, each core those of some columns.
    fn settle_all(&mut self, parts: &[Self]) {
        let stride = self.figures.len();
        let share = stride.div_ceil(parts.len().max(1)).max(1);
        std::thread::scope(|scope| {
            for (index, columns) in self.figures.chunks_mut(share).enumerate() {
                scope.spawn(move || {
                    for part in parts {
                        into_columns(&part.fresh, stride, index * share, columns);
                    }
                });
            }
        });
    }

    /// Puts the numbers that were read row by row into their columns.
    pub(super) fn settle(&mut self) {
        into_columns(&self.fresh, self.figures.len(), 0, &mut self.figures);
        self.fresh.clear();
    }
}

/// Puts numbers that lie row by row into columns, of which the first is at place `first` of each row.
fn into_columns(rows: &[f64], stride: usize, first: usize, columns: &mut [Numbers]) {
    /// About so many numbers at a time, that they stay in the cache while all columns take from them.
    const BLOCK: usize = 1 << 15;
    if rows.is_empty() {
        return;
    }
    let mut columns: Vec<&mut Vec<f64>> = columns.iter_mut().map(Numbers::make_mut).collect();
    let block = stride * (BLOCK / stride).max(16);
    for block in rows.chunks(block) {
        for (place, column) in columns.iter_mut().enumerate() {
            column.extend(block.chunks_exact(stride).map(|row| row[first + place]));
        }
    }
}

/// Where the first line begins behind byte `at`, or `end`.
fn line_behind(text: &str, at: usize, end: usize) -> usize {
    let bytes = &text.as_bytes()[..end];
    if at >= end {
        return end;
    }
    line_end(bytes, at).1
}

#[cfg(test)]
mod tests {
    use std::fmt::Write;

    use super::super::super::scan::{TextPiece, scan};
    use super::*;
    use crate::Assumptions;

    /// Everything that a grid tells of its rows, for comparison.
    fn told(grid: &Grid, end: Cursor) -> String {
        let numbers = |column: &Numbers| column.iter().map(|n| n.to_string()).collect::<Vec<_>>();
        let figures: Vec<_> = grid.figures.iter().map(numbers).collect();
        let lines: Vec<usize> = (0..grid.rows).map(|row| grid.line(row)).collect();
        format!(
            "{end:?}\n{figures:?}\n{:?}\n{:?}\n{lines:?}\n{:?}\n{:?}\n{:?}\n{:?} {:?}\n{} rows",
            grid.words,
            grid.decimals(),
            grid.gaps,
            grid.odd,
            grid.notes,
            grid.units,
            grid.united,
            grid.rows
        )
    }

    /// Reads the first table of a text by one core and in pieces by several, and wants the same of both.
    fn read_both_ways(text: &str) -> usize {
        let pieces = scan(text, &Assumptions::none(), 0, 2, true).pieces;
        let tables = pieces.into_iter().filter_map(|piece| match piece {
            TextPiece::Table(table) => Some(table),
            _ => None,
        });
        let mut rows = 0;
        for table in tables {
            let line = table.grid.line(0);
            let at = text.split_inclusive('\n').take(line - 1).map(str::len).sum();
            let from = Cursor {
                at,
                line: u32::try_from(line).expect("few lines"),
            };
            let start = |_: ()| {
                let mut grid = table.grid.empty_like();
                if table.grid.units.iter().flatten().all(|unit| unit != EXTINCTION) {
                    grid.units = vec![None; grid.columns()];
                }
                grid
            };
            let mut one = start(());
            let end = one.read_here(text, from, text.len());
            one.settle();
            let wanted = told(&one, end);
            for cores in [2, 3, 7] {
                let mut several = start(());
                let end = several.read_together(text, from, text.len(), cores);
                let end = several.read_here(text, end, text.len());
                several.settle();
                assert_eq!(told(&several, end), wanted, "by {cores} cores:\n{text}");
            }
            rows += one.rows;
        }
        rows
    }

    /// Reads the first table of a text the quick way and the careful way, and wants the same of both.
    fn read_quickly_and_carefully(text: &str) -> usize {
        let pieces = scan(text, &Assumptions::none(), 0, 2, true).pieces;
        let Some(table) = pieces.into_iter().find_map(|piece| match piece {
            TextPiece::Table(table) => Some(table),
            _ => None,
        }) else {
            return 0;
        };
        let line = table.grid.line(0);
        let from = Cursor {
            at: text.split_inclusive('\n').take(line - 1).map(str::len).sum(),
            line: u32::try_from(line).expect("few lines"),
        };
        let read = |careful: bool| {
            let mut grid = table.grid.empty_like();
            grid.careful = careful;
            let end = grid.read_here(text, from, text.len());
            grid.settle();
            let pieces: Vec<_> = grid.line_pieces().collect();
            (told(&grid, end), pieces, grid.rows)
        };
        let (quick, careful) = (read(false), read(true));
        assert_eq!(quick, careful, "{text}");
        quick.2
    }

    #[test]
    fn the_quick_way_is_the_careful_way() {
        const NAMES: [&str; 14] = [
            "betanin",
            "well B7",
            "",
            "µM dye",
            "30 °C",
            "1 + 2",
            "5 ± 1",
            "it's",
            "'crocin'",
            " led by a blank",
            "5\" tube",
            "a;b",
            "dark, lid on",
            "é",
        ];
        let mut state = 5_u64;
        let mut below = |n: usize| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize % n
        };
        let mut read = 0;
        for seed in 0..60 {
            for sep in [',', '\t', ';', ' '] {
                read += read_quickly_and_carefully(&rows(seed, sep));
            }
        }
        for _ in 0..600 {
            let sep = [',', '\t', ';'][below(3)];
            let comma = sep != ',' && below(2) == 0;
            let quotes = below(3);
            let shape = below(4);
            let end = ["\n", "\r\n"][below(2)];
            let mut text = format!("Sample{sep}Time (s){sep}A405{sep}Note{end}");
            for row in 0..40 {
                let quoted = |cell: String, odd: bool| match quotes {
                    0 => cell,
                    1 if odd => cell,
                    _ => format!("\"{cell}\""),
                };
                let odd = below(9) == 0;
                let pick = if below(3) == 0 { NAMES.len() } else { 2 };
                let name = quoted(NAMES[below(pick)].to_owned(), odd);
                let note = quoted(NAMES[below(pick)].to_owned(), odd);
                let number = format!("0.{:0width$}", below(999), width = 3 + below(8));
                let number = if comma { number.replace('.', ",") } else { number };
                let number = quoted(number, odd);
                let time = quoted(format!("{}", 10 * row), odd);
                let cells = match shape {
                    0 => vec![name, time, number, note],
                    1 => vec![time, number, note, name],
                    2 => vec![time, note, number, name],
                    _ => vec![time.clone(), number.clone(), number, time],
                };
                text.push_str(&cells.join(&sep.to_string()));
                text.push_str(match below(40) {
                    0 => "  ",
                    1 => "\t",
                    _ => "",
                });
                text.push_str(end);
            }
            read += read_quickly_and_carefully(&text);
        }
        assert!(read > 30_000, "{read} rows");
    }

    /// A text of rows among which every so often one is not as the others.
    fn rows(seed: u64, sep: char) -> String {
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        let mut below = |n: u64| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % n
        };
        let odd = 4 + below(30);
        let kinds = 1 + below(12);
        let mut text = format!("Wavelength (nm){sep}A{sep}B\n");
        for row in 0..120 {
            let (x, a, b) = (400 + row, below(9999), below(9999));
            let (a, b) = (format!("0.{a:04}"), format!("0.{b:04}"));
            let what = if row > 3 && below(odd) == 0 {
                below(kinds)
            } else {
                u64::MAX
            };
            let _ = match what {
                0 => writeln!(text),
                1 => writeln!(text, "{x}{sep}{a}"),
                2 => writeln!(text, "{x}{sep}{a}{sep}OVER"),
                3 => writeln!(text, "{x}{sep}{a}{sep}{b}{sep}0.1"),
                4 => writeln!(text, "{x}{sep}{a} AU{sep}{b}"),
                5 => writeln!(text, "{x}.50{sep}{a}0{sep}{b}"),
                6 => writeln!(text, "\n{}{sep}{a}{sep}{b}", x - 100),
                7 => writeln!(text, "{x}{sep}{a}{sep}{b}{sep}lamp changed"),
                8 => writeln!(text, "the lamp was changed"),
                9 => writeln!(text, "{x}{sep}{sep}{b}"),
                10 => writeln!(text, "{x}{sep}{a}{sep}{b}±0.002"),
                11 => writeln!(text, "{x}"),
                _ => writeln!(text, "{x}{sep}{a}{sep}{b}"),
            };
        }
        text
    }

    #[test]
    fn pieces_make_the_same_table() {
        let mut read = 0;
        for seed in 0..100 {
            for sep in [',', '\t', ';', ' '] {
                read += read_both_ways(&rows(seed, sep));
            }
        }
        assert!(read > 25_000, "{read} rows");
    }

    #[test]
    fn pieces_make_the_same_table_of_words_and_of_units_in_cells() {
        let mut text = String::from("Sample;Time (s);A405\n");
        for row in 0..80 {
            let _ = writeln!(text, "well {};{row};0.{row:03}", row % 7);
        }
        assert_eq!(read_both_ways(&text), 80);
        let mut text = String::from("Wavelength;Absorbance\n");
        for row in 0..80 {
            let _ = writeln!(text, "{} nm;0.{row:03} AU", 400 + row);
        }
        assert_eq!(read_both_ways(&text), 80);
        let mut text = String::from("  x      y       z\n");
        for row in 0..80_i32 {
            let _ = writeln!(
                text,
                "{:5.1}{:8.4}{:8.4}",
                400 + row,
                0.5,
                if row % 9 == 0 { -99.1234 } else { 0.25 }
            );
        }
        assert!(read_both_ways(&text) >= 70);
    }
}
