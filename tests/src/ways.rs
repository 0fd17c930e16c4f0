//! An invented archive: some thirty ways of writing, each with what its files say, and with what a person would have to
//! be asked. Files of one way differ in numbers, names, dates, length and in keys that are not always filled in.

use serde_json::{Value, json};

/// A small generator of even numbers, the same on every machine (Knuth's MMIX constants).
pub struct Dice(pub u64);

impl Dice {
    /// A number below `sides`.
    pub fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides
    }
}

/// What a key of the preamble says.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum KeyContent {
    /// The sample.
    Sample,
    /// The operator's initials.
    Operator,
    /// A date, year first.
    Date,
    /// The same with points, day first.
    DateWithPoints,
    /// A date of which the day might be the month, day first.
    DayFirst,
    /// The same, month first.
    MonthFirst,
    /// A temperature with its unit.
    Temperature,
    /// A path length in centimetres, without unit.
    PathLength,
    /// Nothing that is a field: a running number.
    Number,
}

/// One way of writing.
pub struct Way {
    /// Its name.
    pub name: &'static str,
    /// Keys of the preamble.
    pub keys: &'static [(&'static str, KeyContent)],
    /// What stands before each key, and between key and value.
    pub form: (&'static str, &'static str),
    /// The headers.
    pub heads: (&'static str, &'static str),
    /// What stands between cells.
    pub delimiter: &'static str,
    /// Whether the decimal sign is a comma.
    pub comma: bool,
    /// Quantity, unit and step of the x axis.
    pub x: (&'static str, &'static str, f64),
    /// Quantity and unit of what was measured.
    pub y: (&'static str, &'static str),
    /// What the truth answers, by the code of the question.
    pub answers: &'static [(&'static str, &'static str)],
    /// What the truth says of words.
    pub words: &'static [&'static str],
}

/// A file with its truth.
pub struct File {
    /// Its path.
    pub path: String,
    /// Its text.
    pub text: String,
    /// The runs, as the truths of the corpus have them; none where it is no measurement.
    pub truth: Value,
}

const COLON: (&str, &str) = ("", ": ");
const NM: (&str, &str, f64) = ("wavelength", "nm", 5.0);
const SECONDS: (&str, &str, f64) = ("time", "s", 10.0);
const MINUTES: (&str, &str, f64) = ("time", "min", 2.0);
const A: (&str, &str) = ("absorbance", "{AU}");
const PERCENT: (&str, &str) = ("transmittance", "%");
const FRACTION: (&str, &str) = ("transmittance", "1");

const PLAIN: Way = Way {
    name: "",
    keys: &[
        ("Sample", KeyContent::Sample),
        ("Date", KeyContent::Date),
        ("Operator", KeyContent::Operator),
    ],
    form: COLON,
    heads: ("Wavelength (nm)", "Absorbance"),
    delimiter: "\t",
    comma: false,
    x: NM,
    y: A,
    answers: &[],
    words: &[],
};

const NORSK: &[(&str, KeyContent)] = &[("Prøve", KeyContent::Sample), ("Dato", KeyContent::Date)];
const DEUTSCH: &[(&str, KeyContent)] = &[
    ("Probe", KeyContent::Sample),
    ("Datum", KeyContent::DateWithPoints),
];
const RUN: &[(&str, KeyContent)] = &[
    ("run", KeyContent::Number),
    ("sample", KeyContent::Sample),
    ("operator", KeyContent::Operator),
];

/// The ways. All of it is invented.
pub const WAYS: &[Way] = &[
    // Read at once.
    Way {
        name: "plain-tab",
        ..PLAIN
    },
    Way {
        name: "plain-comma",
        delimiter: ",",
        ..PLAIN
    },
    Way {
        name: "plain-bars",
        delimiter: "|",
        heads: ("wavelength/nm", "absorbance"),
        ..PLAIN
    },
    Way {
        name: "hashed",
        form: ("# ", " = "),
        heads: ("wavelength_nm", "absorbance"),
        ..PLAIN
    },
    Way {
        name: "starred",
        form: ("* ", ": "),
        delimiter: ";",
        comma: true,
        ..PLAIN
    },
    Way {
        name: "deutsch",
        keys: DEUTSCH,
        heads: ("Wellenlänge [nm]", "Absorbanz"),
        delimiter: ";",
        comma: true,
        ..PLAIN
    },
    Way {
        name: "deutsch-tab",
        keys: DEUTSCH,
        heads: ("Wellenlänge (nm)", "Extinktion"),
        comma: true,
        ..PLAIN
    },
    Way {
        name: "francais",
        keys: &[("Échantillon", KeyContent::Sample), ("Date", KeyContent::Date)],
        form: ("", " : "),
        heads: ("Longueur d'onde (nm)", "Absorbance"),
        comma: true,
        delimiter: ";",
        ..PLAIN
    },
    Way {
        name: "castellano",
        keys: &[("Muestra", KeyContent::Sample), ("Fecha", KeyContent::Date)],
        heads: ("Longitud de onda (nm)", "Absorbancia"),
        comma: true,
        ..PLAIN
    },
    Way {
        name: "italiano",
        keys: &[
            ("Campione", KeyContent::Sample),
            ("Data", KeyContent::Date),
            ("Operatore", KeyContent::Operator),
        ],
        heads: ("lunghezza d'onda (nm)", "assorbanza"),
        delimiter: ";",
        comma: true,
        ..PLAIN
    },
    Way {
        name: "percent",
        y: PERCENT,
        heads: ("Wavelength (nm)", "Transmittance (%)"),
        ..PLAIN
    },
    Way {
        name: "fraction",
        y: FRACTION,
        heads: ("Wavelength (nm)", "Transmittance (fraction)"),
        delimiter: ",",
        ..PLAIN
    },
    Way {
        name: "waves",
        x: ("wavenumber", "/cm", 250.0),
        heads: ("Wavenumber (cm-1)", "Absorbance"),
        ..PLAIN
    },
    Way {
        name: "course-s",
        x: SECONDS,
        heads: ("Time (s)", "Absorbance"),
        ..PLAIN
    },
    Way {
        name: "course-min",
        x: MINUTES,
        heads: ("Zeit (min)", "Absorbanz"),
        keys: DEUTSCH,
        delimiter: ";",
        comma: true,
        ..PLAIN
    },
    Way {
        name: "course-h",
        x: ("time", "h", 0.5),
        heads: ("Time (h)", "Absorbance"),
        delimiter: ",",
        ..PLAIN
    },
    // Asked about, once.
    Way {
        name: "time-s",
        keys: RUN,
        x: SECONDS,
        heads: ("Time", "A412"),
        answers: &[("time-unit", "x=time:s")],
        ..PLAIN
    },
    Way {
        name: "time-min",
        keys: RUN,
        x: MINUTES,
        heads: ("Time", "A412"),
        delimiter: ",",
        answers: &[("time-unit", "x=time:min")],
        ..PLAIN
    },
    Way {
        name: "zeit-h",
        keys: DEUTSCH,
        x: ("time", "h", 0.5),
        heads: ("Zeit", "Absorbanz"),
        delimiter: ";",
        comma: true,
        answers: &[("time-unit", "x=time:h")],
        ..PLAIN
    },
    Way {
        name: "glimm-a",
        keys: NORSK,
        heads: ("nm", "Glimm"),
        delimiter: ";",
        comma: true,
        answers: &[("absorbance-or-transmittance", "y=absorbance:{AU}")],
        ..PLAIN
    },
    Way {
        name: "glimm-t",
        keys: NORSK,
        form: ("* ", ": "),
        heads: ("nm", "Glimm"),
        delimiter: ";",
        comma: true,
        y: FRACTION,
        answers: &[("absorbance-or-transmittance", "y=transmittance:1")],
        ..PLAIN
    },
    Way {
        name: "day-first",
        keys: &[("Sample", KeyContent::Sample), ("Date", KeyContent::DayFirst)],
        answers: &[("day-or-month-first", "date=day-first")],
        ..PLAIN
    },
    Way {
        name: "month-first",
        keys: &[("Sample", KeyContent::Sample), ("Date", KeyContent::MonthFirst)],
        delimiter: ",",
        answers: &[("day-or-month-first", "date=month-first")],
        ..PLAIN
    },
    Way {
        name: "x-abs",
        x: SECONDS,
        heads: ("x", "Abs"),
        delimiter: ",",
        form: ("", ","),
        answers: &[("axis-unknown", "x=time:s")],
        ..PLAIN
    },
    Way {
        name: "both-open",
        keys: NORSK,
        x: MINUTES,
        heads: ("tid", "Zork"),
        delimiter: ";",
        comma: true,
        answers: &[
            ("time-unit", "x=time:min"),
            ("absorbance-or-transmittance", "y=absorbance:{AU}"),
        ],
        ..PLAIN
    },
    // A quantity that is written out.
    Way {
        name: "written-out",
        keys: DEUTSCH,
        heads: ("nm", "Strahlung"),
        y: ("irradiance", "W/m2/nm"),
        answers: &[("absorbance-or-transmittance", "y=irradiance:W/(m2.nm)")],
        ..PLAIN
    },
    // Words of the house.
    Way {
        name: "lsg-tw",
        keys: &[("Lsg", KeyContent::Sample), ("Tw", KeyContent::Temperature)],
        heads: ("Wellenlänge (nm)", "Absorbanz"),
        comma: true,
        words: &["key:Lsg=sample", "key:Tw=temperature"],
        ..PLAIN
    },
    Way {
        name: "kz",
        keys: &[("Probe", KeyContent::Sample), ("Kz", KeyContent::Operator)],
        x: SECONDS,
        heads: ("Zeit (s)", "Absorbanz"),
        comma: true,
        words: &["key:Kz=operator"],
        ..PLAIN
    },
    Way {
        name: "kuevette",
        keys: &[
            ("Probe", KeyContent::Sample),
            ("Kuevette", KeyContent::PathLength),
        ],
        heads: ("Wellenlänge (nm)", "Absorbanz"),
        delimiter: ";",
        comma: true,
        words: &["key:Kuevette=path-length:cm"],
        ..PLAIN
    },
    // No measurement of light.
    Way {
        name: "bath-log",
        x: SECONDS,
        y: ("", ""),
        heads: ("Time (s)", "bath (°C)"),
        delimiter: ",",
        ..PLAIN
    },
    Way {
        name: "shoots",
        x: ("", "", 1.0),
        y: ("", ""),
        heads: ("pot", "sprouts"),
        delimiter: ",",
        answers: &[
            ("is-it-a-measurement", "measurement=no"),
            ("axis-unknown", "measurement=no"),
            ("absorbance-or-transmittance", "measurement=no"),
        ],
        ..PLAIN
    },
];

const HANDS: [&str; 5] = ["im", "ru", "tn", "ov", "ag"];
const STUFFS: [&str; 6] = ["Weld", "Madder", "Indigo", "Skin", "Tang", "Pond"];

impl Way {
    /// Whether its files are measurements.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        !self.y.0.is_empty()
    }

    /// One of its files.
    pub fn file(&self, dice: &mut Dice, n: u64) -> File {
        let stuff = STUFFS[dice.roll(6) as usize];
        let sample = format!("{stuff} {}", 1 + dice.roll(60));
        let (year, month, day) = (2009 + dice.roll(14), 1 + dice.roll(12), 1 + dice.roll(12));
        let hand = HANDS[dice.roll(5) as usize];
        let degrees = 15 + dice.roll(30);
        let mut text = String::new();
        let mut fields = serde_json::Map::new();
        for (at, (key, says)) in self.keys.iter().enumerate() {
            // Only the last key is now and then left out.
            if at > 1 && n.is_multiple_of(4) {
                continue;
            }
            let iso = format!("{year}-{month:02}-{day:02}");
            let (value, field) = match says {
                KeyContent::Sample => (sample.clone(), Some(("sample", json!(sample)))),
                KeyContent::Operator => (hand.to_owned(), Some(("operator", json!(hand)))),
                KeyContent::Date => (iso.clone(), Some(("date", json!(iso)))),
                KeyContent::DateWithPoints => {
                    (format!("{day:02}.{month:02}.{year}"), Some(("date", json!(iso))))
                }
                KeyContent::DayFirst => (format!("{day:02}/{month:02}/{year}"), Some(("date", json!(iso)))),
                KeyContent::MonthFirst => (format!("{month:02}/{day:02}/{year}"), Some(("date", json!(iso)))),
                KeyContent::Temperature => (
                    format!("{degrees},0 °C"),
                    Some(("temperature", json!({"value": degrees, "unit": "Cel"}))),
                ),
                KeyContent::PathLength => (
                    (1 + n % 5).to_string(),
                    Some(("path-length", json!({"value": 1 + n % 5, "unit": "cm"}))),
                ),
                KeyContent::Number => (n.to_string(), None),
            };
            fields.extend(field.map(|(key, value)| (key.to_owned(), value)));
            let (before, between) = self.form;
            text += &format!("{before}{key}{between}{value}\n");
        }
        text += &format!("{}{}{}\n", self.heads.0, self.delimiter, self.heads.1);
        let (mut xs, mut ys) = (Vec::new(), Vec::new());
        let start = match self.x.0 {
            "wavelength" => 400.0 + 10.0 * dice.roll(8) as f64,
            "wavenumber" => 12_500.0 + 250.0 * dice.roll(8) as f64,
            _ => 0.0,
        };
        let tall = 1 + dice.roll(4);
        for row in 0..14 + dice.roll(8) {
            let x = start + self.x.2 * row as f64;
            // Small hills in ten-thousandths, so that the text says exactly what the truth does.
            let hill = 400 + tall * (row * 37 % 211) * 7 + dice.roll(30);
            let (digits, decimals) = match self.y.0 {
                "transmittance" if self.y.1 == "%" => (hill + 4_000, 2),
                "transmittance" => (hill + 2_000, 4),
                "irradiance" => (hill, 2),
                "" => (200 + row * 3 + dice.roll(9), 1),
                _ => (hill, 4),
            };
            let y = decimal(digits, decimals);
            let number = if x.fract() == 0.0 {
                format!("{x:.0}")
            } else {
                format!("{x:.1}")
            };
            let cell = |cell: &str| {
                if self.comma {
                    cell.replace('.', ",")
                } else {
                    cell.to_owned()
                }
            };
            text += &format!("{}{}{}\n", cell(&number), self.delimiter, cell(&y));
            xs.push(x);
            ys.push(y.parse::<f64>().unwrap_or_default());
        }
        let trace = json!({
            "x": {"quantity": self.x.0, "unit": self.x.1, "values": xs},
            "y": {"quantity": self.y.0, "unit": self.y.1, "values": ys},
        });
        let truth = if self.is_measured() {
            json!({"runs": [{"technique": null, "fields": fields, "traces": [trace]}]})
        } else {
            json!({"runs": []})
        };
        File {
            path: format!("in/{year}/{n:02}-{}.txt", self.name),
            text,
            truth,
        }
    }
}

/// A whole number as one with decimals.
fn decimal(digits: u64, decimals: u32) -> String {
    let whole = 10_u64.pow(decimals);
    format!(
        "{}.{:0width$}",
        digits / whole,
        digits % whole,
        width = decimals as usize
    )
}
