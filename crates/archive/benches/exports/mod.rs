//! Invented exports, the same at each call, with what a reader made of them.
#![allow(dead_code)]

use curvary_archive::{Addition, Stat};
use curvary_record::{
    Claim, Column, Decimals, Digest, Fields, Lines, Origin, Place, Quantity, Run, RunId, SourceRef,
    Technique, Trace, Unit, Verdict,
};

pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % n
    }
}

/// An invented two-column export: a smooth band with noise in the last digit.
pub(crate) fn addition(n: usize, points: usize) -> Addition {
    let mut dice = Dice(n as u64 ^ 0x5eed);
    let height = 0.2 + dice.below(1000) as f64 / 1000.0;
    let middle = 450.0 + dice.below(100) as f64;
    export(n, points, 0.5, |nm| {
        height * (-((nm - middle) / 40.0).powi(2)).exp() + dice.below(10) as f64 * 1e-4
    })
}

/// An invented spectrum from 350 nm to 750 nm: one of 500 substances of one to three bands each, whose bands differ a
/// little from day to day, at any concentration, on a baseline, with noise in the last digits.
pub(crate) fn spectrum(n: usize) -> Addition {
    let mut dice = Dice(n as u64 ^ 0x5eed);
    let mut substance = Dice(dice.below(500));
    let bands: Vec<(f64, f64, f64)> = (0..=substance.below(3))
        .map(|_| {
            let (height, middle) = (
                0.2 + substance.below(800) as f64 / 1e3,
                330 + substance.below(420),
            );
            let width = 15.0 + substance.below(60) as f64;
            let (higher, further) = (dice.below(100) as f64 / 1e3, dice.below(30) as f64 / 10.0);
            (height * (1.0 + higher), middle as f64 + further, width)
        })
        .collect();
    let concentration = 0.1 + dice.below(1000) as f64 / 1e3;
    let baseline = dice.below(100) as f64 / 1e3;
    export(n, 81, 5.0, |nm| {
        let band =
            |&(height, middle, width): &(f64, f64, f64)| height * (-((nm - middle) / width).powi(2)).exp();
        concentration * bands.iter().map(band).sum::<f64>() + baseline + dice.below(20) as f64 * 1e-4
    })
}

pub(crate) fn export(n: usize, points: usize, step: f64, mut absorbance: impl FnMut(f64) -> f64) -> Addition {
    let mut dice = Dice(n as u64);
    let celsius = 20.0 + dice.below(50) as f64 * 0.5;
    let sample = ["betanin", "phenol red", "NADH", "p-nitrophenol", "beet juice"][dice.below(5) as usize];
    let date = format!(
        "{}-{:02}-{:02}",
        2015 + dice.below(9),
        1 + dice.below(12),
        1 + dice.below(28)
    );
    let comment = format!("practice day {} place {}", dice.below(200), dice.below(30));
    let mut text =
        format!("Sample: {sample}\nDate: {date}\nTemperature: {celsius} °C\nComment: {comment}\nnm\tA\n");
    let (mut x, mut y) = (Vec::with_capacity(points), Vec::with_capacity(points));
    for point in 0..points {
        let nm = 350.0 + point as f64 * step;
        let shown = format!("{:.4}", absorbance(nm));
        text.push_str(&format!("{nm:.1}\t{shown}\n"));
        x.push(nm);
        y.push(shown.parse::<f64>().unwrap());
    }
    let bytes = text.into_bytes();
    let digest = Digest::of(&bytes);
    let source = |line| Origin::Source(Place::line(line));
    let mut fields = Fields::default();
    fields.claim("sample", Claim::text(sample, source(1)).spelled("Sample"));
    fields.claim("date", Claim::text(date, source(2)).spelled("Date"));
    let unit = Unit::ucum("Cel").ok();
    fields.claim(
        "temperature",
        Claim::number(celsius, unit, format!("{celsius} °C"), source(3)).spelled("Temperature"),
    );
    fields.claim("comment", Claim::text(comment, source(4)).spelled("Comment"));
    let x = Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x).with_decimals(Decimals::uniform(1, points));
    let y =
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y).with_decimals(Decimals::uniform(4, points));
    let mut trace = Trace::new(x, y).unwrap();
    let mut lines = Lines::default();
    lines.push_run(6, 1, points);
    trace.lines = lines;
    let path = format!("shelf{}/box{}/scan{n:06}.txt", n / 5000, n / 100 % 50);
    let run = Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: path.clone(),
            digest: digest.clone(),
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: Some("UTF-8".into()),
            ordinal: 0,
            lines: Some((1, 5 + points as u32)),
        },
        technique: Technique::SPECTRUM,
        because: vec!["the head of the first column says nm".into()],
        fields,
        traces: vec![trace],
        questions: Vec::new(),
        remarks: Vec::new(),
    };
    let stat = Stat {
        bytes: bytes.len() as u64,
        modified: 1 + n as i64,
        changed: 1,
        inode: n as u64,
    };
    Addition {
        path,
        bytes,
        digest,
        stat: Some(stat),
        verdict: Verdict::Read,
        reader: Some("built-in/text-table".into()),
        remarks: Vec::new(),
        runs: vec![run],
        family: None,
        again: false,
    }
}
