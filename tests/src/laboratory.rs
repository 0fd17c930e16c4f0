//! An invented teaching laboratory and its eight years of exports, the same bytes on every run.
//!
//! The laboratory, its people (initials only), instruments, samples and numbers are invented. What a file's numbers
//! were made from is written to `TRUTH.json`: rate constants, half-lives, Michaelis constants, slopes.

mod courses;
mod odd;
mod open_standard;
mod spectra;

use std::f64::consts::LN_2;
use std::fmt::Write as _;
use std::io::Write as _;

use serde_json::{Value, json};

use self::courses::{dye_and_lye, fading, phosphatase};
use self::odd::{containers, odd};
use self::open_standard::open_standard;
use self::spectra::{readings, repeated_scans, spectra};

/// Files that cannot say of themselves that they are invented: their shape has no room for a remark.
pub const MUTE: [&str; 4] = [
    "2018/kinetics/2018-05-16_betanin_45C_pH5_rep1.txt",
    "2018/kinetics/2018-05-16_betanin_45C_pH5_rep2.txt",
    "2021/undecided/two-columns.csv",
    "2021/undecided/comma-comma.txt",
];

/// Molar gas constant, J/(mol K), exact since the SI of 2019.
const GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// Every file: its path below `demo-data` and its bytes, by path.
///
/// # Panics
/// Never: the containers are written to memory.
#[must_use]
pub fn files() -> Vec<(String, Vec<u8>)> {
    let mut shelf = Shelf::default();
    fading(&mut shelf);
    dye_and_lye(&mut shelf);
    phosphatase(&mut shelf);
    spectra(&mut shelf);
    repeated_scans(&mut shelf);
    readings(&mut shelf);
    open_standard(&mut shelf);
    containers(&mut shelf);
    odd(&mut shelf);
    shelf.finish()
}

/// Files as they are made, with what is true of them.
#[derive(Default)]
struct Shelf {
    files: Vec<(String, Vec<u8>)>,
    truth: Vec<Value>,
}

impl Shelf {
    fn put(&mut self, path: &str, shape: &str, bytes: impl Into<Vec<u8>>, truth: &Value) {
        let mut entry = json!({ "path": path, "shape": shape });
        if let (Some(entry), Some(truth)) = (entry.as_object_mut(), truth.as_object()) {
            entry.extend(truth.clone());
        }
        self.truth.push(entry);
        self.files.push((path.to_owned(), bytes.into()));
    }

    fn finish(mut self) -> Vec<(String, Vec<u8>)> {
        self.truth
            .sort_by_key(|entry| entry["path"].as_str().unwrap_or_default().to_owned());
        let truth = json!({
            "about": "Invented demonstration data; this is what the numbers were made from. Written by the demo-data \
                program of the tests; do not edit.",
            "files": self.truth,
        });
        let text = serde_json::to_string_pretty(&truth).unwrap_or_default() + "\n";
        self.files.push(("TRUTH.json".to_owned(), text.into_bytes()));
        self.files
            .push(("README.md".to_owned(), ABOUT.as_bytes().to_vec()));
        self.files.sort();
        self.files
    }
}

const ABOUT: &str = "\
# Demonstration data

Everything here is invented: the teaching laboratory, the initials, the instruments, the samples and every number. It
is made by a seeded program in the repository (`cargo run -p curvary-tests --bin demo-data`), and `TRUTH.json` says
what each file's numbers were made from. The files look as if people had exported them over eight years, each in
another way. A few are damaged or cannot be decided, on purpose.
";

/// Random numbers, the same everywhere: the generator SplitMix64 (public domain, Vigna 2015).
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: &str) -> Self {
        // FNV-1a, so that each file has numbers of its own and a new file changes no old one.
        Self(seed.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        }))
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from 0 to 1.
    fn even(&mut self) -> f64 {
        #[allow(clippy::cast_precision_loss, reason = "53 bits fit")]
        let whole = (self.bits() >> 11) as f64;
        whole / 9_007_199_254_740_992.0
    }

    /// About normal, mean 0 and standard deviation 1: twelve even numbers less six.
    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// Absorbance noise of the invented instruments.
pub(crate) const NOISE: f64 = 0.0008;

/// A decimal number with a point.
pub(crate) fn point(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$}")
}

/// A decimal number with a comma.
pub(crate) fn comma(value: f64, decimals: usize) -> String {
    point(value, decimals).replace('.', ",")
}

/// `first`, `first + step`, … up to `last`.
pub(crate) fn axis(first: f64, last: f64, step: f64) -> Vec<f64> {
    let steps = u32::try_from(whole((last - first) / step)).unwrap_or(0);
    (0..=steps).map(|index| first + f64::from(index) * step).collect()
}

/// A bell of the given centre, width (standard deviation) and height.
pub(crate) fn bell(x: f64, centre: f64, width: f64, height: f64) -> f64 {
    height * (-0.5 * ((x - centre) / width).powi(2)).exp()
}

/// The red of beet and its yellow product.
pub(crate) fn betanin(wavelength: f64) -> f64 {
    bell(wavelength, 535.0, 30.0, 0.92)
        + bell(wavelength, 480.0, 28.0, 0.21)
        + bell(wavelength, 290.0, 35.0, 0.30)
}

fn product(wavelength: f64) -> f64 {
    bell(wavelength, 424.0, 27.0, 0.55) + bell(wavelength, 280.0, 30.0, 0.25)
}

pub(crate) fn food_blue(wavelength: f64) -> f64 {
    bell(wavelength, 630.0, 18.0, 0.88)
        + bell(wavelength, 590.0, 24.0, 0.22)
        + bell(wavelength, 408.0, 14.0, 0.09)
}

/// Where a spectrum is highest between two wavelengths, to 0.01 nm: bands that overlap move each other's maxima.
fn maximum(of: &dyn Fn(f64) -> f64, between: std::ops::Range<u32>) -> f64 {
    let hundredths = between.start * 100..between.end * 100;
    let places = hundredths.map(|place| f64::from(place) / 100.0);
    places.fold(f64::from(between.start), |best, place| {
        if of(place) > of(best) { place } else { best }
    })
}

/// First-order rate constant of the fading at a temperature in °C, per second (invented: 81 kJ/mol).
pub(crate) fn fading_constant(celsius: f64) -> f64 {
    let (energy, at, reference) = (81_000.0, 60.0 + 273.15, 3.2e-4);
    reference * (-energy / GAS_CONSTANT * (1.0 / (celsius + 273.15) - 1.0 / at)).exp()
}

/// A decay with its truth.
struct Decay {
    times: Vec<f64>,
    values: Vec<f64>,
    truth: Value,
}

fn decay(seed: &str, start: f64, end: f64, constant: f64, times: Vec<f64>) -> Decay {
    let mut dice = Dice::new(seed);
    let values = times
        .iter()
        .map(|t| end + (start - end) * (-constant * t).exp() + NOISE * dice.normal())
        .collect();
    let truth = json!({
        "model": "first-order", "k": constant, "k_unit": "/s", "half_life_s": LN_2 / constant,
        "start": start, "end": end,
    });
    Decay { times, values, truth }
}

/// A table of lines: x, separator, y.
pub(crate) fn lines(x: &[f64], y: &[f64], write: impl Fn(f64, f64) -> String) -> String {
    x.iter().zip(y).map(|(x, y)| write(*x, *y)).collect()
}

/// The text in Windows-1252, of which only Latin-1 is used here.
pub(crate) fn windows_1252(text: &str) -> Vec<u8> {
    text.chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?'))
        .collect()
}

/// The text in UTF-16, little end first, with its mark.
fn utf_16(text: &str) -> Vec<u8> {
    std::iter::once(0xfeff)
        .chain(text.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect()
}

fn whole(value: f64) -> i64 {
    #[allow(clippy::cast_possible_truncation, reason = "absorbances times ten thousand")]
    let whole = value.round() as i64;
    whole
}
