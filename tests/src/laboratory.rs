//! An invented teaching laboratory and its eight years of exports, the same bytes on every run.
//!
//! The laboratory, its people (initials only), instruments, samples and numbers are invented. What a file's numbers
//! were made from is written to `TRUTH.json`: rate constants, half-lives, Michaelis constants, slopes.

use std::f64::consts::LN_2;
use std::fmt::Write as _;
use std::io::Write as _;

use serde_json::{Value, json};

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

/// The fading of beet red at several temperatures, over the years in ever other exports.
#[expect(clippy::too_many_lines, reason = "a list of invented files")]
fn fading(shelf: &mut Shelf) {
    for (temperature, replicate) in [(37.0, 1), (37.0, 2), (45.0, 1), (45.0, 2), (52.0, 1), (52.0, 2)] {
        let path = format!("2016/practical-3/betanin_{temperature}C_{replicate}.csv");
        let d = decay(
            &path,
            0.92,
            0.04,
            fading_constant(temperature),
            axis(0.0, 3600.0, 60.0),
        );
        let text = format!(
            "# invented demonstration data, teaching laboratory\n# sample: betanin\n# temperature: {temperature} degC\n\
             # wavelength: 535 nm\n# buffer: citrate phosphate, pH 5.0\n# date: 2016-04-{:02}\n# replicate: {replicate}\n\
             time (s),absorbance\n{}",
            10 + replicate,
            lines(&d.times, &d.values, |t, a| format!(
                "{},{}\n",
                point(t, 0),
                point(a, 4)
            ))
        );
        shelf.put(&path, "comma, remarks in front", text, &d.truth);
    }
    for (temperature, day) in [(37.0, 3), (52.0, 4), (60.0, 5)] {
        let path = format!("2017/Praktikum/Betanin {temperature} Grad.txt");
        let d = decay(
            &path,
            0.88,
            0.05,
            fading_constant(temperature),
            axis(0.0, 2400.0, 60.0),
        );
        let text = format!(
            "Erfundene Vorführdaten\r\nProbe: Betanin aus Roter Bete\r\nTemperatur: {} °C\r\nWellenlänge: 535 nm\r\n\
             Schichtdicke: 1,00 cm\r\nDatum: {day:02}.05.2017\r\nBearbeiter: k. l.\r\n\r\nZeit (s);Extinktion\r\n{}",
            comma(temperature, 1),
            lines(&d.times, &d.values, |t, a| format!(
                "{};{}\r\n",
                comma(t, 1),
                comma(a, 4)
            ))
        );
        shelf.put(
            &path,
            "semicolon, decimal comma, Windows-1252, German",
            windows_1252(&text),
            &d.truth,
        );
    }
    for replicate in [1, 2] {
        let path = format!("2018/kinetics/2018-05-16_betanin_45C_pH5_rep{replicate}.txt");
        let d = decay(&path, 0.90, 0.04, fading_constant(45.0), axis(0.0, 5400.0, 90.0));
        let text = format!(
            "Time [min]\tAbs 535 nm\n{}",
            lines(&d.times, &d.values, |t, a| format!(
                "{}\t{}\n",
                point(t / 60.0, 1),
                point(a, 4)
            ))
        );
        shelf.put(&path, "tab, all else in the file name", text, &d.truth);
    }
    for (temperature, number) in [(30.0, 4), (40.0, 5), (50.0, 6)] {
        let path = format!("2019/fading/run_{number:03}.dat");
        let d = decay(
            &path,
            0.85,
            0.03,
            fading_constant(temperature),
            axis(0.0, 3000.0, 50.0),
        );
        let mut text = format!(
            "; invented demonstration data\nSample = betanin\nTemperature = {} K\nWavelength = 535 nm\npH = 5.0\n\
             Date = 2019-03-{:02}\nOperator = m. n.\n\n     Time    Absorbance\n       s            AU\n",
            point(temperature + 273.15, 2),
            number + 10
        );
        text += &lines(&d.times, &d.values, |t, a| {
            format!("{:>9}{:>14}\n", point(t, 1), point(a, 4))
        });
        shelf.put(
            &path,
            "fixed columns, units in a row of their own",
            text,
            &d.truth,
        );
    }
    for temperature in [42.0, 48.0] {
        let path = format!("2023/fading/jacket {temperature}.txt");
        let d = decay(
            &path,
            0.87,
            0.04,
            fading_constant(temperature),
            axis(0.0, 4500.0, 75.0),
        );
        let clock = |t: f64| {
            let t = whole(t);
            format!("{:02}:{:02}:{:02}", t / 3600, t / 60 % 60, t % 60)
        };
        let text = format!(
            "invented demonstration data\nsample: betanin\njacket: {temperature} °C\nwavelength: 535 nm\ndate: 2023-02-{temperature}\n\n\
             time (hh:mm:ss)\tabsorbance\n{}",
            lines(&d.times, &d.values, |t, a| format!("{}\t{}\n", clock(t), point(a, 4)))
        )
        .replace("2023-02-4", "2023-02-0");
        shelf.put(&path, "clock times, a word of the house", text, &d.truth);
    }
    let path = "2020/fading/four cells.csv";
    let times = axis(0.0, 2400.0, 40.0);
    let cells = [37.0, 45.0, 52.0, 60.0].map(|t| {
        decay(
            &format!("{path}{t}"),
            0.9,
            0.04,
            fading_constant(t),
            times.clone(),
        )
    });
    let mut text = String::from(
        "invented demonstration data\nsample,betanin\nwavelength,535 nm\npath length,1 cm\ndate,2020-10-07\n\n\
         time (s),A (37 °C),A (45 °C),A (52 °C),A (60 °C)\n",
    );
    for (index, time) in times.iter().enumerate() {
        let row: Vec<String> = cells.iter().map(|cell| point(cell.values[index], 4)).collect();
        let _ = writeln!(text, "{},{}", point(*time, 0), row.join(","));
    }
    let constants: Vec<f64> = [37.0, 45.0, 52.0, 60.0].map(fading_constant).to_vec();
    shelf.put(
        path,
        "one time, many absorbances",
        text,
        &json!({ "model": "first-order", "k_of_columns": constants, "k_unit": "/s" }),
    );
}

/// Crystal violet and lye: pseudo first order in excess of lye.
fn dye_and_lye(shelf: &mut Shelf) {
    let second_order = 0.11; // L/mol/s, invented
    for (lye, day) in [(0.02, 5), (0.04, 6), (0.06, 7), (0.08, 8)] {
        let path = format!("2018/tinte/tinte_{}.txt", point(lye, 2).replace('.', "p"));
        let d = decay(&path, 1.05, 0.01, second_order * lye, axis(0.0, 600.0, 10.0));
        let text = format!(
            "Erfundene Vorführdaten\nFarbstoff\tKristallviolett\nNatronlauge\t{} mol/L\nTemperatur\t25,0 °C\n\
             Messwellenlänge\t590 nm\nDatum\t{day:02}.06.2018\n\nt / s\tA\n{}",
            comma(lye, 2),
            lines(&d.times, &d.values, |t, a| format!(
                "{}\t{}\n",
                comma(t, 0),
                comma(a, 4)
            ))
        );
        let shape = "tab, decimal comma, UTF-16, key TAB value";
        shelf.put(&path, shape, utf_16(&text), &d.truth);
    }
    let path = "2022/dye/lye-series.csv";
    let mut text = String::from(
        "\"invented demonstration data\"\n\"sample: crystal violet\"\n\"temperature: 25.0 °C\"\n\"wavelength: 590 nm\"\n\
         \"t1 (s)\",\"A 0.02 mol/L\",\"t2 (s)\",\"A 0.04 mol/L\"\n",
    );
    let a = decay("lye a", 1.02, 0.01, second_order * 0.02, axis(0.0, 600.0, 12.0));
    let b = decay("lye b", 1.01, 0.01, second_order * 0.04, axis(0.0, 400.0, 10.0));
    for index in 0..a.times.len().max(b.times.len()) {
        let cell = |d: &Decay| match d.times.get(index) {
            Some(time) => format!("{},{}", point(*time, 0), point(d.values[index], 4)),
            None => ",".to_owned(),
        };
        let _ = writeln!(text, "{},{}", cell(&a), cell(&b));
    }
    shelf.put(path, "pairs of unequal length", text, &json!({ "model": "first-order", "k_of_columns": [second_order * 0.02, second_order * 0.04], "k_unit": "/s" }));
}

/// An enzyme and its substrate: progress at several concentrations, and rates against concentration.
fn phosphatase(shelf: &mut Shelf) {
    // Invented: absorbance units per second, and mmol/L.
    let (limit, constant) = (0.0042, 0.85);
    let rate = |s: f64| limit * s / (constant + s);
    let levels = [0.1, 0.2, 0.4, 0.8, 1.6, 3.2];
    // Invented too: 18 absorbance units per mmol/L of product. The substrate is used up as the absorbance rises, so that
    // the courses bend; by the rule of Runge and Kutta, a second at a time.
    let formed = |level: f64, seconds: f64| {
        let slope = |formed: f64| rate((level - formed / 18.0).max(0.0));
        (0..seconds as usize).fold(0.0, |y, _| {
            let first = slope(y);
            let second = slope(y + first / 2.0);
            let third = slope(y + second / 2.0);
            y + (first + 2.0 * second + 2.0 * third + slope(y + third)) / 6.0
        })
    };
    for (year, day) in [(2019, 14), (2021, 18), (2023, 9)] {
        let path = format!("{year}/enzyme/phosphatase series.csv");
        let mut dice = Dice::new(&path);
        let mut text = format!(
            "# invented demonstration data\n# enzyme: phosphatase (invented preparation)\n# substrate: p-nitrophenyl phosphate\n\
             # wavelength: 405 nm\n# temperature: 37.0 °C\n# pH: 9.8\n# date: {year}-11-{day}\ntime (s)"
        );
        for level in levels {
            let _ = write!(text, ",A ({} mM)", point(level, 1));
        }
        text.push('\n');
        for time in axis(0.0, 600.0, 25.0) {
            text += &point(time, 0);
            for level in levels {
                let _ = write!(
                    text,
                    ",{}",
                    point(0.02 + formed(level, time) + NOISE * dice.normal(), 4)
                );
            }
            text.push('\n');
        }
        let truth = json!({ "model": "michaelis-menten", "km": constant, "km_unit": "mmol/L", "vmax": limit, "vmax_unit": "{AU}/s" });
        shelf.put(
            &path,
            "one time, many absorbances, concentrations in the heads",
            text,
            &truth,
        );
    }
    let path = "2020/enzyme/rates.txt";
    let mut dice = Dice::new(path);
    let mut text = String::from(
        "Datos de demostración inventados\nenzima: fosfatasa\nsustrato: fosfato de p-nitrofenilo\ntemperatura: 37,0 °C\n\
         fecha: 12/11/2020\n\n[S] (mmol/L)\tv (mAU/min)\n",
    );
    for level in levels {
        let _ = writeln!(
            text,
            "{}\t{}",
            comma(level, 2),
            comma(rate(level) * 60_000.0 * (1.0 + 0.01 * dice.normal()), 2)
        );
    }
    let truth = json!({ "model": "michaelis-menten", "km": constant, "km_unit": "mmol/L", "vmax": limit * 60_000.0, "vmax_unit": "m{AU}/min" });
    shelf.put(path, "rates against concentration, Spanish", text, &truth);
    let path = "2022/enzyme/long form.csv";
    let mut dice = Dice::new(path);
    let mut text = String::from(
        "# invented demonstration data, phosphatase, 37 °C, pH 9.8\nsample,time_s,wavelength_nm,absorbance\n",
    );
    for (name, level) in [("S1", 0.2), ("S2", 0.8), ("S3", 3.2)] {
        for time in axis(0.0, 100.0, 10.0) {
            let _ = writeln!(
                text,
                "{name},{},405,{}",
                point(time, 0),
                point(0.02 + rate(level) * time + NOISE * dice.normal(), 4)
            );
        }
    }
    shelf.put(
        path,
        "long form",
        text,
        &json!({ "rates_per_s": [rate(0.2), rate(0.8), rate(3.2)] }),
    );
}

/// Spectra of dyes, in many shapes.
#[expect(clippy::too_many_lines, reason = "a list of invented files")]
fn spectra(shelf: &mut Shelf) {
    let spectrum = |seed: &str, x: &[f64], of: &dyn Fn(f64) -> f64| -> Vec<f64> {
        let mut dice = Dice::new(seed);
        x.iter().map(|w| of(*w) + NOISE * dice.normal()).collect()
    };
    for (year, number) in [(2016, 1), (2017, 2), (2019, 3), (2022, 4)] {
        let path = format!("{year}/spectra/beet juice {number}.csv");
        let x = axis(350.0, 700.0, 2.0);
        let y = spectrum(&path, &x, &betanin);
        let text = format!(
            "invented demonstration data\nSample,beet juice {number}\nDate,{year}-09-2{number}\nPath length,10 mm\nWavelength (nm),Absorbance\n{}",
            lines(&x, &y, |x, y| format!("{},{}\n", point(x, 1), point(y, 4)))
        );
        shelf.put(
            &path,
            "spectrum, comma",
            text,
            &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
        );
    }
    let path = "2017/spectra/bleu.txt";
    let x = axis(380.0, 720.0, 1.0);
    let y = spectrum(path, &x, &food_blue);
    let text = format!(
        "Données de démonstration inventées\néchantillon : bleu alimentaire\ndate : 21/09/2017\ntrajet optique : 1,0 cm\n\n\
         Longueur d'onde (nm) ; Absorbance\n{}",
        lines(&x, &y, |x, y| format!("{} ; {}\n", comma(x, 0), comma(y, 4)))
    );
    shelf.put(
        path,
        "spectrum, semicolon with blanks, French",
        text,
        &json!({ "maximum_nm": maximum(&food_blue, 600..660) }),
    );
    let path = "2018/spectra/filters as rows.csv";
    let x = axis(400.0, 700.0, 10.0);
    let head: Vec<String> = x.iter().map(|x| point(*x, 0)).collect();
    let mut text = format!(
        "# invented demonstration data: absorbance, columns are wavelengths in nm\nsample,{}\n",
        head.join(",")
    );
    for (name, of) in [
        ("beet juice", &betanin as &dyn Fn(f64) -> f64),
        ("food blue", &food_blue),
        ("product", &product),
    ] {
        let row: Vec<String> = spectrum(name, &x, of).iter().map(|y| point(*y, 4)).collect();
        let _ = writeln!(text, "{name},{}", row.join(","));
    }
    shelf.put(
        path,
        "spectra as rows",
        text,
        &json!({ "maxima_nm": [535.0, 630.0, 424.0] }),
    );
    let path = "2019/spectra/blue glass.tsv";
    let x = axis(400.0, 700.0, 5.0);
    let y = spectrum(path, &x, &food_blue);
    let text = format!(
        "invented demonstration data\nsample\tblue glass\ndate\t2019-02-11\nwavelength (nm)\ttransmittance (%)\n{}",
        lines(&x, &y, |x, y| format!(
            "{}\t{}\n",
            point(x, 0),
            point(100.0 * 10_f64.powf(-y), 2)
        ))
    );
    shelf.put(
        path,
        "spectrum in percent transmittance",
        text,
        &json!({ "minimum_nm": 630.0 }),
    );
    let path = "2020/spectra/beet juice wavenumbers.txt";
    let x = axis(14_000.0, 28_000.0, 200.0);
    let y = spectrum(path, &x, &|wavenumber| betanin(1e7 / wavenumber));
    let text = format!(
        "# invented demonstration data\n# sample: beet juice\n# date: 2020-02-19\nwavenumber (1/cm)  absorbance\n{}",
        lines(&x, &y, |x, y| format!("{:>9}  {:>9}\n", point(x, 0), point(y, 4)))
    );
    shelf.put(
        path,
        "spectrum over wavenumber",
        text,
        &json!({ "maximum_per_cm": 1e7 / 535.0 }),
    );
    let path = "2021/spectra/old computer.txt";
    let x = axis(700.0, 400.0, -4.0);
    let y = spectrum(path, &x, &betanin);
    let text = format!(
        "invented demonstration data\rsample: beet juice, old stock\rdate: 2021-01-26\rWavelength/nm Absorbance/AU\r{}",
        lines(&x, &y, |x, y| format!("{} {}\r", point(x, 0), point(y, 3)))
    );
    shelf.put(
        path,
        "spectrum, falling, lines end with CR",
        text,
        &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
    );
    let path = "2023/spectra/notebook.md";
    let x = axis(500.0, 570.0, 5.0);
    let y = spectrum(path, &x, &betanin);
    let text = format!(
        "# Notebook, 2023-05-04 (invented demonstration data)\n\nBeet juice, diluted 1 to 50, against citrate buffer:\n\n\
         | wavelength (nm) | absorbance |\n|---|---|\n{}\nThe maximum is where we expected it.\n",
        lines(&x, &y, |x, y| format!("| {} | {} |\n", point(x, 0), point(y, 4)))
    );
    shelf.put(
        path,
        "a table with pipes in prose",
        text,
        &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
    );
    let path = "2022/spectra/saturated.csv";
    let x = axis(400.0, 700.0, 5.0);
    let y = spectrum(path, &x, &|w| 4.4 * betanin(w));
    let text = format!(
        "# invented demonstration data\n# sample: beet juice, undiluted\n# date: 2022-03-08\nwavelength (nm),absorbance\n{}",
        lines(&x, &y, |x, y| {
            let y = if y > 3.0 { "OVER".to_owned() } else { point(y, 4) };
            format!("{},{y}\n", point(x, 0))
        })
    );
    shelf.put(
        path,
        "spectrum with markers of overflow",
        text,
        &json!({ "maximum_nm": null }),
    );
}

/// Spectra repeated over time, while beet red fades.
fn repeated_scans(shelf: &mut Shelf) {
    let constant = fading_constant(60.0);
    let at = |w: f64, t: f64| {
        let left = (-constant * t).exp();
        betanin(w) * left + product(w) * (1.0 - left)
    };
    let truth =
        json!({ "model": "first-order", "k": constant, "k_unit": "/s", "half_life_s": LN_2 / constant });
    let (wavelengths, times) = (axis(380.0, 640.0, 4.0), axis(0.0, 5400.0, 600.0));
    for (year, day) in [(2018, 20), (2020, 23), (2023, 26)] {
        let path = format!("{year}/scans/fading 60C.csv");
        let mut dice = Dice::new(&path);
        let head: Vec<String> = times.iter().map(|t| format!("{} s", point(*t, 0))).collect();
        let mut text = format!(
            "# invented demonstration data\n# sample: betanin\n# temperature: 60.0 °C\n# date: {year}-06-{day}\n\
             # absorbance; columns are times\nwavelength (nm),{}\n",
            head.join(",")
        );
        for w in &wavelengths {
            let row: Vec<String> = times
                .iter()
                .map(|t| point(at(*w, *t) + NOISE * dice.normal(), 4))
                .collect();
            let _ = writeln!(text, "{},{}", point(*w, 0), row.join(","));
        }
        shelf.put(&path, "matrix, wavelength by time", text, &truth);
    }
    let path = "2021/scans/fading 60 Grad.csv";
    let mut dice = Dice::new(path);
    let head: Vec<String> = wavelengths
        .iter()
        .map(|w| format!("{} nm", comma(*w, 0)))
        .collect();
    let mut text = format!(
        "Erfundene Vorführdaten;Extinktion\nProbe;Betanin\nTemperatur;60,0 °C\nDatum;23.06.2021\n\nZeit (min);{}\n",
        head.join(";")
    );
    for t in &times {
        let row: Vec<String> = wavelengths
            .iter()
            .map(|w| comma(at(*w, *t) + NOISE * dice.normal(), 4))
            .collect();
        let _ = writeln!(text, "{};{}", comma(t / 60.0, 0), row.join(";"));
    }
    shelf.put(path, "matrix, time by wavelength, German", text, &truth);
}

/// Single readings: calibration lines and instrument checks.
fn readings(shelf: &mut Shelf) {
    let slope = 0.0412; // per (mg/L), invented
    for (year, day) in [(2017, 11), (2020, 15), (2022, 17)] {
        let path = format!("{year}/calibration/food blue.csv");
        let mut dice = Dice::new(&path);
        let mut text = format!(
            "# invented demonstration data\n# date: {year}-01-{day}\n# wavelength: 630 nm\nsample,concentration (mg/L),absorbance\n"
        );
        for level in [0.0, 2.0, 4.0, 8.0, 12.0, 16.0] {
            let _ = writeln!(
                text,
                "standard {},{},{}",
                point(level, 0),
                point(level, 1),
                point(slope * level + NOISE * dice.normal(), 4)
            );
        }
        shelf.put(
            &path,
            "single readings",
            text,
            &json!({ "slope": slope, "slope_unit": "L/mg" }),
        );
    }
    let path = "2019/calibration/report.txt";
    let mut dice = Dice::new(path);
    let mut text = String::from(
        "                 READINGS AT 630 nm                 page 1\n        invented demonstration data\n\n\
         date: 2019-01-16     sample: food blue\n\n   no.   name            absorbance\n   ---------------------------------\n",
    );
    for number in 1..=24 {
        if number == 13 {
            text.push_str("\u{c}                 READINGS AT 630 nm                 page 2\n\n   no.   name            absorbance\n   ---------------------------------\n");
        }
        let _ = writeln!(
            text,
            "   {number:>3}   sample {number:<9}{:>10}",
            point(slope * (4.0 + 0.3 * f64::from(number)) + NOISE * dice.normal(), 4)
        );
    }
    text.push_str("   ---------------------------------\n   end of list\n");
    shelf.put(
        path,
        "a printed report of two pages",
        text,
        &json!({ "readings": 24 }),
    );
}

/// The same kind of data in the open standard.
fn open_standard(shelf: &mut Shelf) {
    for (year, difference) in [(2016, false), (2018, true), (2021, true)] {
        let path = format!("{year}/open/beet juice.jdx");
        let mut dice = Dice::new(&path);
        let x = axis(400.0, 700.0, 2.0);
        let counts: Vec<i64> = x
            .iter()
            .map(|w| whole((betanin(*w) + NOISE * dice.normal()) * 1e4))
            .collect();
        let table = if difference {
            difdup(&x, &counts)
        } else {
            affn(&x, &counts)
        };
        let text = format!(
            "##TITLE= beet juice (invented demonstration data)\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n##ORIGIN= invented teaching laboratory\n\
             ##OWNER= invented teaching laboratory\n##LONGDATE= {year}/10/12\n##SAMPLE DESCRIPTION= beet juice, 1 to 50 in citrate buffer\n\
             ##TEMPERATURE= 25.0\n##PATHLENGTH= 1.0\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n##FIRSTX= {}\n##LASTX= {}\n##DELTAX= 2\n##NPOINTS= {}\n\
             ##FIRSTY= {}e-4\n##XFACTOR= 1\n##YFACTOR= 0.0001\n##XYDATA= (X++(Y..Y))\n{table}##END=\n",
            x[0],
            x[x.len() - 1],
            x.len(),
            counts[0],
        );
        let shape = if difference {
            "JCAMP-DX, DIFDUP"
        } else {
            "JCAMP-DX, AFFN"
        };
        shelf.put(
            &path,
            shape,
            text,
            &json!({ "maximum_nm": maximum(&betanin, 500..570) }),
        );
    }
    let path = "2023/open/dyes.jdx";
    let mut text = String::from(
        "##TITLE= two dyes (invented demonstration data)\n##JCAMP-DX= 4.24\n##DATA TYPE= LINK\n##BLOCKS= 2\n\
         ##ORIGIN= invented teaching laboratory\n##OWNER= invented teaching laboratory\n",
    );
    for (name, of) in [
        ("beet juice", &betanin as &dyn Fn(f64) -> f64),
        ("food blue", &food_blue),
    ] {
        let mut dice = Dice::new(name);
        let x = axis(450.0, 700.0, 5.0);
        let pairs: String = x
            .iter()
            .map(|w| format!("{}, {}\n", point(*w, 1), point(of(*w) + NOISE * dice.normal(), 4)))
            .collect();
        let _ = write!(
            text,
            "##TITLE= {name}\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n##ORIGIN= invented teaching laboratory\n\
             ##OWNER= invented teaching laboratory\n##LONGDATE= 2023/05/11\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= {}\n##LASTX= {}\n\
             ##NPOINTS= {}\n##XYPOINTS= (XY..XY)\n{pairs}##END=\n",
            x[0],
            x[x.len() - 1],
            x.len()
        );
    }
    text.push_str("##END=\n");
    shelf.put(
        path,
        "JCAMP-DX, two linked blocks",
        text,
        &json!({ "maxima_nm": [535.0, 630.0] }),
    );
}

fn whole(value: f64) -> i64 {
    #[allow(clippy::cast_possible_truncation, reason = "absorbances times ten thousand")]
    let whole = value.round() as i64;
    whole
}

/// Ten plain numbers a line behind their first x.
fn affn(x: &[f64], counts: &[i64]) -> String {
    let mut text = String::new();
    for (x, row) in x.chunks(10).zip(counts.chunks(10)) {
        let _ = write!(text, "{}", x[0]);
        for count in row {
            let _ = write!(text, " {count}");
        }
        text.push('\n');
    }
    text
}

/// The compressed form DIFDUP: the first value of a line squeezed, then differences, equal ones counted. Each line but
/// the first begins with the last value of the line before, as a check.
fn difdup(x: &[f64], counts: &[i64]) -> String {
    const PER_LINE: usize = 20;
    let mut text = String::new();
    let mut from = 0;
    while from + 1 < counts.len() {
        let to = (from + PER_LINE).min(counts.len() - 1);
        let _ = write!(
            text,
            "{}{}",
            x[from],
            squeezed(counts[from], "@ABCDEFGHI", "@abcdefghi")
        );
        let mut steps: Vec<(i64, usize)> = Vec::new();
        for pair in counts[from..=to].windows(2) {
            let step = pair[1] - pair[0];
            match steps.last_mut() {
                Some((last, times)) if *last == step => *times += 1,
                _ => steps.push((step, 1)),
            }
        }
        for (step, times) in steps {
            text += &squeezed(step, "%JKLMNOPQR", "%jklmnopqr");
            if times > 1 {
                text += &squeezed(i64::try_from(times).unwrap_or(0), "?STUVWXYZs", "");
            }
        }
        text.push('\n');
        from = to;
    }
    // A last line with the check value alone.
    let last = counts.len() - 1;
    let _ = writeln!(
        text,
        "{}{}",
        x[last],
        squeezed(counts[last], "@ABCDEFGHI", "@abcdefghi")
    );
    text
}

/// A number whose first digit also tells the sign and the kind.
fn squeezed(value: i64, positive: &str, negative: &str) -> String {
    let digits = value.unsigned_abs().to_string();
    let table = if value < 0 { negative } else { positive };
    let first = usize::from(digits.as_bytes()[0] - b'0');
    let sign = table.chars().nth(first).unwrap_or('@');
    format!("{sign}{}", &digits[1..])
}

/// Exports that somebody packed.
fn containers(shelf: &mut Shelf) {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    // The same bytes on every day: a fixed date in the container.
    let options = zip::write::SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
    let mut constants = Vec::new();
    for temperature in [35.0, 50.0] {
        let name = format!("group-b/betanin_{temperature}C.csv");
        let d = decay(
            &name,
            0.86,
            0.04,
            fading_constant(temperature),
            axis(0.0, 2700.0, 45.0),
        );
        let text = format!(
            "# invented demonstration data\n# sample: betanin, group B\n# temperature: {temperature} °C\n# wavelength: 535 nm\n\
             # date: 2022-06-02\ntime (s),absorbance\n{}",
            lines(&d.times, &d.values, |t, a| format!(
                "{},{}\n",
                point(t, 0),
                point(a, 4)
            ))
        );
        constants.push(fading_constant(temperature));
        let written = zip
            .start_file(name, options)
            .and_then(|()| Ok(zip.write_all(text.as_bytes())?));
        debug_assert!(written.is_ok());
    }
    let bytes = zip.finish().map(std::io::Cursor::into_inner).unwrap_or_default();
    shelf.put(
        "2022/packed/group-b.zip",
        "zip",
        bytes,
        &json!({ "model": "first-order", "k_of_members": constants, "k_unit": "/s" }),
    );

    let d = decay(
        "packed",
        0.91,
        0.04,
        fading_constant(55.0),
        axis(0.0, 1800.0, 30.0),
    );
    let text = format!(
        "# invented demonstration data\n# sample: betanin\n# temperature: 55 °C\n# wavelength: 535 nm\n# date: 2023-03-15\n\
         time (s),absorbance\n{}",
        lines(&d.times, &d.values, |t, a| format!(
            "{},{}\n",
            point(t, 0),
            point(a, 4)
        ))
    );
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    let written = gzip.write_all(text.as_bytes());
    debug_assert!(written.is_ok());
    shelf.put(
        "2023/packed/betanin_55C.csv.gz",
        "gzip",
        gzip.finish().unwrap_or_default(),
        &d.truth,
    );
}

/// What is damaged, cannot be decided, or is no measurement.
fn odd(shelf: &mut Shelf) {
    let none = json!({});
    let d = decay("bare", 0.9, 0.04, 2e-3, axis(0.0, 300.0, 10.0));
    let text = lines(&d.times, &d.values, |t, a| {
        format!("{},{}\n", point(t, 0), point(a, 4))
    });
    shelf.put(
        "2021/undecided/two-columns.csv",
        "in question: two columns without a word",
        text,
        &none,
    );
    let text = lines(&d.times, &d.values, |t, a| {
        format!("{},{}\n", comma(t, 1), comma(a, 4))
    });
    shelf.put(
        "2021/undecided/comma-comma.txt",
        "in question: comma between and within the numbers",
        text,
        &none,
    );
    // In seconds it agrees with the others at 45 °C, as it should once that is answered.
    let slow = decay("bare", 0.9, 0.04, fading_constant(45.0), axis(0.0, 5400.0, 180.0));
    let text = format!(
        "invented demonstration data\nsample: betanin\ndate: 03/04/2021\nwavelength: 535 nm\ntemperature: 45 °C\n\ntime\tabsorbance\n{}",
        lines(&slow.times, &slow.values, |t, a| format!(
            "{}\t{}\n",
            point(t, 0),
            point(a, 4)
        ))
    );
    shelf.put(
        "2021/undecided/time-without-unit.txt",
        "in question: time without a unit, day or month",
        text,
        &none,
    );
    let path = "2020/damaged/torn off.csv";
    let mut dice = Dice::new(path);
    let mut text =
        String::from("# invented demonstration data\n# sample: beet juice\nwavelength (nm),absorbance\n");
    for (index, x) in axis(400.0, 500.0, 2.0).into_iter().enumerate() {
        let y = point(betanin(x) + NOISE * dice.normal(), 4);
        let y = match index {
            11 => y.replacen('.', ".1.", 1),
            17 => y.replace('0', "o"),
            _ => y,
        };
        let _ = writeln!(text, "{},{y}", point(x, 0));
    }
    text.truncate(text.len() - 3);
    shelf.put(
        "2020/damaged/torn off.csv",
        "damaged numbers, cut off",
        text,
        &none,
    );
    let path = "2022/damaged/wrong check.jdx";
    let text = "##TITLE= damaged on purpose (invented demonstration data)\n##JCAMP-DX= 4.24\n##DATA TYPE= UV/VIS SPECTRUM\n\
                ##ORIGIN= invented teaching laboratory\n##OWNER= invented teaching laboratory\n##XUNITS= NANOMETERS\n##YUNITS= ABSORBANCE\n\
                ##FIRSTX= 400\n##LASTX= 418\n##DELTAX= 2\n##NPOINTS= 10\n##XFACTOR= 1\n##YFACTOR= 0.001\n##XYDATA= (X++(Y..Y))\n\
                400 101 102 104 107\n408 111 116 122\n416 129 137 146\n##END=\n";
    shelf.put(path, "JCAMP-DX, an x that does not fit", text, &none);
    shelf.put(
        "2019/notes/instructions.txt",
        "refused: prose",
        INSTRUCTIONS,
        &none,
    );
    shelf.put(
        "2020/notes/water bath.csv",
        "refused: a log of something else",
        water_bath(),
        &none,
    );
    shelf.put("2021/notes/empty.txt", "refused: empty", "", &none);
    let noise: Vec<u8> = {
        let mut dice = Dice::new("binary");
        (0..2048).map(|_| dice.bits().to_le_bytes()[0]).collect()
    };
    shelf.put("2016/notes/settings.bin", "refused: no text", noise, &none);
}

const INSTRUCTIONS: &str = "\
Instructions for practical 3 (invented demonstration data)

Wear goggles and gloves. Never look into the lamp: its light harms the eyes. Keep water away from the mains. Lye burns
the skin; rinse at once with much water and call for help. The rules of your own laboratory come first.

Dilute the beet juice until the absorbance at 535 nm is below 1. Wait until the cell is as warm as the bath, then begin.
";

fn water_bath() -> String {
    let mut dice = Dice::new("bath");
    let mut text = String::from("water bath log (invented demonstration data)\nday,set (°C),found (°C)\n");
    for day in 1..=20 {
        let _ = writeln!(
            text,
            "2020-03-{day:02},37.0,{}",
            point(37.0 + 0.1 * dice.normal(), 1)
        );
    }
    text
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
