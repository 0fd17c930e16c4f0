//! How quickly small files are read, of ten layouts and more: the time a file, beside a bare loop that is told everything.
//!
//! `cargo bench -p curvary-formats --bench small`. No two files say the same; each has one to three runs of 60 to 140 rows.
//! A word after `--` chooses among the layouts.
#![allow(clippy::print_stdout)]

use std::fmt::Write as _;
use std::fs;
use std::hint::black_box;
use std::time::Instant;

use curvary_formats::{Readers, Source};

/// So many files of each layout.
const FILES: u64 = 200;
/// The best of so many rounds counts.
const ROUNDS: usize = 5;

/// SplitMix64 (Steele, Lea, Flood 2014): the same numbers on every machine.
struct Dice(u64);

impl Dice {
    /// The next number below `n`.
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % n
    }
}

/// What an invented run is about.
struct Said {
    sample: String,
    celsius: f64,
    date: (u64, u64, u64),
    clock: (u64, u64),
    rows: u64,
    first: f64,
    height: f64,
}

impl Said {
    fn of(dice: &mut Dice) -> Self {
        let names = [
            "betanin",
            "phenol red",
            "NADH",
            "p-nitrophenol",
            "beet juice",
            "leaf 3",
        ];
        Self {
            sample: format!("{} {}", names[dice.below(6) as usize], dice.below(900)),
            celsius: 20.0 + dice.below(50) as f64 * 0.5,
            date: (2015 + dice.below(9), 1 + dice.below(12), 1 + dice.below(28)),
            clock: (8 + dice.below(10), dice.below(60)),
            rows: 60 + dice.below(80),
            first: 300.0 + dice.below(10) as f64 * 5.0,
            height: 0.3 + dice.below(1000) as f64 / 1e3,
        }
    }

    fn nm(&self, row: u64) -> f64 {
        self.first + row as f64 * 2.0
    }

    fn band(&self, row: u64, of: u64) -> f64 {
        let x = (row as f64 - 30.0 - of as f64 * 4.0) / 20.0;
        0.02 + self.height / (1.0 + of as f64) * (-x * x).exp()
    }

    fn decay(&self, row: u64, of: u64) -> f64 {
        0.05 + self.height * (-(row as f64) * 0.01 * (1.0 + of as f64)).exp()
    }

    fn iso(&self) -> String {
        let (year, month, day) = self.date;
        format!("{year}-{month:02}-{day:02}")
    }

    fn dotted(&self) -> String {
        let (year, month, day) = self.date;
        format!("{day:02}.{month:02}.{year}")
    }
}

/// A way in which an invented instrument writes: its name, what separates its cells, and one run.
struct Layout {
    name: &'static str,
    delimiter: u8,
    write: fn(&mut String, &Said) -> std::fmt::Result,
}

fn comma(value: f64, digits: usize) -> String {
    format!("{value:.digits$}").replace('.', ",")
}

const LAYOUTS: [Layout; 12] = [
    Layout {
        name: "keys with colons, a time course",
        delimiter: b'\t',
        write: |text, said| {
            let (hour, minute) = said.clock;
            writeln!(
                text,
                "Sample: {}\nTemperature: {:.1} °C\nDate: {}\nTime: {hour:02}:{minute:02}\nWavelength: 340 nm\nTime (s)\tAbsorbance",
                said.sample,
                said.celsius,
                said.iso()
            )?;
            (0..said.rows)
                .try_for_each(|row| writeln!(text, "{:.1}\t{:.4}", row as f64 * 5.0, said.decay(row, 0)))
        },
    },
    Layout {
        name: "keys with colons, a spectrum",
        delimiter: b'\t',
        write: |text, said| {
            writeln!(
                text,
                "Sample: {}\nTemperature: {:.1} °C\nDate: {}\nWavelength (nm)\tAbsorbance",
                said.sample,
                said.celsius,
                said.iso()
            )?;
            (0..said.rows).try_for_each(|row| writeln!(text, "{:.1}\t{:.4}", said.nm(row), said.band(row, 0)))
        },
    },
    Layout {
        name: "remarks over commas",
        delimiter: b',',
        write: |text, said| {
            writeln!(
                text,
                "# sample: {}\n# temperature: {} °C\n# date: {}\n# comment: practice place 3\ntime (min),absorbance",
                said.sample,
                said.celsius,
                said.iso()
            )?;
            (0..said.rows)
                .try_for_each(|row| writeln!(text, "{:.3},{:.5}", row as f64 / 12.0, said.decay(row, 0)))
        },
    },
    Layout {
        name: "semicolons and decimal commas",
        delimiter: b';',
        write: |text, said| {
            writeln!(
                text,
                "Sample;{}\nTemperature;{} °C\nDate;{}\nOperator;nobody 4\nWavelength (nm);Absorbance",
                said.sample,
                comma(said.celsius, 1),
                said.iso()
            )?;
            (0..said.rows).try_for_each(|row| {
                writeln!(text, "{};{}", comma(said.nm(row), 1), comma(said.band(row, 0), 4))
            })
        },
    },
    Layout {
        name: "keys in cells, tabs",
        delimiter: b'\t',
        write: |text, said| {
            writeln!(
                text,
                "Sample\t{}\nPath length\t1 cm\nTemperature\t{:.1} °C\nDate\t{}\nnm\tAbs",
                said.sample,
                said.celsius,
                said.iso()
            )?;
            (0..said.rows).try_for_each(|row| writeln!(text, "{:.0}\t{:.3}", said.nm(row), said.band(row, 0)))
        },
    },
    Layout {
        name: "blanks under a title",
        delimiter: b' ',
        write: |text, said| {
            writeln!(
                text,
                "Spectrum of {}, {} °C, measured {}\n\n  nm        A",
                said.sample,
                said.celsius,
                said.iso()
            )?;
            (0..said.rows)
                .try_for_each(|row| writeln!(text, "{:6.1}  {:9.4}", said.nm(row), said.band(row, 0)))
        },
    },
    Layout {
        name: "a sheet with quotes",
        delimiter: b',',
        write: |text, said| {
            writeln!(
                text,
                "\"Sample:\",\"{}\"\n\"Temperature (°C)\",\"{:.1}\"\n\"Measured\",\"{}\"\n\"Wavelength (nm)\",\"Absorbance (AU)\"",
                said.sample,
                said.celsius,
                said.iso()
            )?;
            (0..said.rows).try_for_each(|row| writeln!(text, "{:.1},{:.4}", said.nm(row), said.band(row, 0)))
        },
    },
    Layout {
        name: "one x and six samples",
        delimiter: b',',
        write: |text, said| {
            writeln!(
                text,
                "Dilutions of {}, {}\nWavelength (nm),{0} a,{0} b,{0} c,blank,half,quarter",
                said.sample,
                said.iso()
            )?;
            (0..said.rows).try_for_each(|row| {
                write!(text, "{:.1}", said.nm(row))?;
                (0..6).try_for_each(|of| write!(text, ",{:.4}", said.band(row, of)))?;
                text.write_char('\n')
            })
        },
    },
    Layout {
        name: "spectra at several times",
        delimiter: b'\t',
        write: |text, said| {
            writeln!(
                text,
                "Sample: {}\nDate: {}\nAbsorbance\nWavelength (nm)\t0 s\t30 s\t60 s\t90 s\t120 s",
                said.sample,
                said.iso()
            )?;
            (0..said.rows).try_for_each(|row| {
                write!(text, "{:.1}", said.nm(row))?;
                (0..5).try_for_each(|of| write!(text, "\t{:.4}", said.band(row, of)))?;
                text.write_char('\n')
            })
        },
    },
    Layout {
        name: "German keys and dates",
        delimiter: b'\t',
        write: |text, said| {
            let (hour, minute) = said.clock;
            writeln!(
                text,
                "Probe:\t{}\nDatum:\t{}\nUhrzeit:\t{hour:02}:{minute:02}\nTemperatur:\t{} °C\nKüvette:\t10 mm\n\nWellenlänge [nm]\tExtinktion",
                said.sample,
                said.dotted(),
                comma(said.celsius, 1)
            )?;
            (0..said.rows).try_for_each(|row| {
                writeln!(
                    text,
                    "{}\t{}",
                    comma(said.nm(row), 1),
                    comma(said.band(row, 0), 4)
                )
            })
        },
    },
    Layout {
        name: "names in a column",
        delimiter: b';',
        write: |text, said| {
            writeln!(text, "sample;time (s);A340")?;
            (0..said.rows).try_for_each(|row| {
                writeln!(
                    text,
                    "{};{};{:.4}",
                    if row % 2 == 0 {
                        said.sample.as_str()
                    } else {
                        "blank"
                    },
                    row / 2 * 10,
                    said.decay(row, row % 2)
                )
            })
        },
    },
    Layout {
        name: "keys with equals signs, clock times",
        delimiter: b'\t',
        write: |text, said| {
            writeln!(
                text,
                "sample = {}\npH = 7.4\ntemperature = {:.1} °C\nwavelength = 405 nm\n\ntime (mm:ss)\tA",
                said.sample, said.celsius
            )?;
            (0..said.rows).try_for_each(|row| {
                writeln!(
                    text,
                    "{:02}:{:02}\t{:.4}",
                    row * 10 / 60,
                    row * 10 % 60,
                    said.decay(row, 0)
                )
            })
        },
    },
];

/// Files of one layout.
fn files(layout: &Layout) -> Vec<Vec<u8>> {
    (0..FILES)
        .map(|file| {
            let mut dice = Dice(file ^ 0x005a_1150);
            let mut text = String::new();
            for _ in 0..=dice.below(3) {
                // Nothing is written that cannot be.
                let _ = (layout.write)(&mut text, &Said::of(&mut dice));
                text.push('\n');
            }
            text.into_bytes()
        })
        .collect()
}

/// The bare loop: cells by the `csv` crate, numbers by the standard library.
fn bare(bytes: &[u8], delimiter: u8) -> f64 {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(bytes);
    let mut record = csv::ByteRecord::new();
    let mut sum = 0.0;
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        for cell in &record {
            let number = std::str::from_utf8(cell)
                .ok()
                .and_then(|cell| cell.parse::<f64>().ok());
            sum += number.unwrap_or(0.0);
        }
    }
    sum
}

/// How long this thread has had a core for itself, in seconds, where the system tells it, else the time on the clock.
fn on_core(begun: Instant) -> f64 {
    let told = fs::read_to_string("/proc/thread-self/schedstat").ok();
    told.and_then(|told| told.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(|| begun.elapsed().as_secs_f64(), |nanoseconds| nanoseconds * 1e-9)
}

fn best(mut work: impl FnMut()) -> f64 {
    let begun = Instant::now();
    (0..ROUNDS)
        .map(|_| {
            let before = on_core(begun);
            work();
            on_core(begun) - before
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let chosen = std::env::args().skip(1).find(|word| !word.starts_with("--"));
    let readers = Readers::built_in();
    println!("| layout | kB | runs a file | µs a file | MB/s | of the bare loop |");
    println!("|---|---|---|---|---|---|");
    let (mut all, mut all_files) = (0.0, 0.0);
    for layout in &LAYOUTS {
        if chosen
            .as_ref()
            .is_some_and(|word| !layout.name.contains(word.as_str()))
        {
            continue;
        }
        let sources: Vec<Source> = files(layout)
            .into_iter()
            .map(|bytes| Source::new("small.txt", bytes))
            .collect();
        let bytes: usize = sources.iter().map(|source| source.bytes().len()).sum();
        let runs: usize = sources
            .iter()
            .map(|source| readers.read(source, None).1.runs.len())
            .sum();
        // Each round has sources of its own: one that was read before is decoded already.
        let time = best(|| {
            for source in &sources {
                let fresh = Source::new("small.txt", source.bytes().to_vec());
                black_box(readers.read(&fresh, None));
            }
        });
        let bare_time = best(|| {
            for source in &sources {
                black_box(bare(source.bytes(), layout.delimiter));
            }
        });
        println!(
            "| {} | {:.1} | {:.1} | {:.0} | {:.1} | {:.3} |",
            layout.name,
            bytes as f64 / FILES as f64 / 1e3,
            runs as f64 / FILES as f64,
            time / FILES as f64 * 1e6,
            bytes as f64 / time / 1e6,
            bare_time / time
        );
        all += time;
        all_files += FILES as f64;
    }
    println!("| all | | | {:.0} | | |", all / all_files * 1e6);
}
