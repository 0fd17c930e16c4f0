//! A tree of exports from an invented laboratory, the same at each call: small files with several runs each, or mixed ones.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

/// SplitMix64 (Steele, Lea, Flood 2014): the same numbers on every machine.
pub(crate) struct Dice(u64);

impl Dice {
    /// The next number below `n`.
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % n
    }

    /// Noise of a photometer: nearly normal, with a standard deviation of 1.
    fn noise(&mut self) -> f64 {
        let sum: u64 = (0..4).map(|_| self.below(1 << 16)).sum();
        (sum as f64 / 65_536.0 - 2.0) * 3.0_f64.sqrt()
    }
}

/// Five ways in which the invented instruments of the laboratory write.
fn block(text: &mut String, dice: &mut Dice, way: u64, run: u64, points: u64) {
    let sample = ["betanin", "phenol red", "NADH", "p-nitrophenol", "beet juice"][dice.below(5) as usize];
    let (celsius, lot) = (20.0 + dice.below(50) as f64 * 0.5, dice.below(900));
    let (day, month, year) = (1 + dice.below(28), 1 + dice.below(12), 2015 + dice.below(9));
    let (hour, minute) = (8 + dice.below(10), dice.below(60));
    let (rate, height) = (
        0.0005 * (1 + dice.below(40)) as f64,
        0.3 + dice.below(1000) as f64 / 1e3,
    );
    let middle = 400.0 + dice.below(200) as f64;
    let _ = match way {
        0 => writeln!(
            text,
            "Sample: {sample} {lot}\nTemperature: {celsius:.1} °C\nDate: {year}-{month:02}-{day:02}\nTime: {hour:02}:{minute:02}\nWavelength: 340 nm\nTime (s)\tAbsorbance"
        ),
        1 => writeln!(
            text,
            "Sample: {sample} {lot}\nTemperature: {celsius:.1} °C\nDate: {year}-{month:02}-{day:02}\nWavelength (nm)\tAbsorbance"
        ),
        2 => writeln!(
            text,
            "# sample: {sample} lot {lot}\n# temperature: {celsius} °C\n# date: {year}-{month:02}-{day:02}\n# comment: practice place {run}\ntime (min),absorbance"
        ),
        3 => writeln!(
            text,
            "Sample;{sample} {lot}\nTemperature;{celsius:.1} °C\nDate;{year}-{month:02}-{day:02}\nOperator;nobody {}\nWavelength (nm);Absorbance",
            lot % 7
        ),
        _ => writeln!(
            text,
            "Sample\t{sample} {lot}\nPath length\t1 cm\nTemperature\t{celsius:.1} °C\nDate\t{year}-{month:02}-{day:02}\nnm\tAbs"
        ),
    };
    let first = 300.0 + dice.below(10) as f64 * 5.0;
    for point in 0..points {
        let n = point as f64;
        let decay = 0.05 + height * (-rate * n * 5.0).exp() + dice.noise() * 4e-4;
        let nm = first + n * 2.0;
        let band = 0.02 + height * (-((nm - middle) / 45.0).powi(2)).exp() + dice.noise() * 4e-4;
        let _ = match way {
            0 => writeln!(text, "{:.1}\t{decay:.4}", n * 5.0),
            1 => writeln!(text, "{nm:.1}\t{band:.4}"),
            2 => writeln!(text, "{:.3},{decay:.5}", n / 12.0),
            3 => {
                let text_of = |value: f64, digits: usize| format!("{value:.digits$}").replace('.', ",");
                writeln!(text, "{};{}", text_of(nm, 1), text_of(band, 4))
            }
            _ => writeln!(text, "{nm:.0}\t{band:.3}"),
        };
    }
    text.push('\n');
}

/// Writes `files` small files of one to three runs, some 4.6 kB each; gives how many bytes and runs there are.
pub(crate) fn small(folder: &Path, files: u64) -> (u64, u64) {
    let (mut bytes, mut runs) = (0, 0);
    for file in 0..files {
        let mut dice = Dice(file ^ 0x5ca1e);
        let group = folder.join(format!("shelf-{:02}/box-{:03}", file / 10_000, file / 200));
        if file % 200 == 0 {
            fs::create_dir_all(&group).expect("a folder");
        }
        let way = file / 40 % 5;
        let blocks = 1 + dice.below(3);
        let mut text = String::new();
        for run in 0..blocks {
            let points = 110 + dice.below(130);
            block(&mut text, &mut dice, way, run, points);
        }
        runs += blocks;
        bytes += text.len() as u64;
        let ending = ["txt", "txt", "csv", "csv", "dat"][way as usize];
        fs::write(group.join(format!("run-{file:06}.{ending}")), text).expect("a file");
    }
    (bytes, runs)
}

/// Writes mixed files, from 2 kB to 8 MB, until there are so many bytes; gives how many bytes and files there are.
pub(crate) fn mixed(folder: &Path, most: u64) -> (u64, u64) {
    let (mut bytes, mut files) = (0, 0);
    while bytes < most {
        let mut dice = Dice(files ^ 0x0005_eed5);
        let group = folder.join(format!("month-{:03}", files / 50));
        fs::create_dir_all(&group).expect("a folder");
        let way = files % 5;
        let points = match dice.below(10) {
            0..=4 => 100 + dice.below(400),
            5..=7 => 2_000 + dice.below(8_000),
            8 => 50_000 + dice.below(100_000),
            _ => 300_000 + dice.below(400_000),
        };
        let mut text = String::new();
        block(&mut text, &mut dice, way, 0, points);
        bytes += text.len() as u64;
        let ending = ["txt", "txt", "csv", "csv", "dat"][way as usize];
        fs::write(group.join(format!("file-{files:05}.{ending}")), text).expect("a file");
        files += 1;
    }
    (bytes, files)
}
