//! A layout tried on damaged copies of its examples.
//!
//! A damaged file may lose points, it may be asked about or refused; it must never give a number in silence that the
//! whole file does not hold. Damage that turns one digit into another is left out: no reader can see it.

use std::collections::{BTreeMap, BTreeSet};

use curvary_record::{Code, Diagnostic, Severity, Value};

use super::example::{axis_of, pair};
use super::{LayoutExample, Paper};
use crate::{Reader, Reading, Recognition, Source};

/// Of each kind of damage at most so many copies are tried, evenly spread over the file.
const MOST: usize = 1200;

/// At most so many complaints are told of one kind of damage.
const MOST_TOLD: usize = 3;

/// What came of reading damaged copies.
#[derive(Clone, Debug, Default)]
pub struct DamageTrial {
    /// How many copies were read.
    pub copies: usize,
    /// Copies that gave the same points and nothing else, or fewer points of the whole.
    pub held: usize,
    /// Copies that were told to be odd: refused, asked about, or read with a remark that the whole file has not.
    pub told: usize,
    /// Numbers that came out in silence and are not in the whole file, one a copy.
    pub complaints: Vec<Diagnostic>,
}

/// What a reading gave, in a form in which two can be compared.
struct ReadContent {
    /// The points with what they are of, and the coordinates that are held there.
    points: BTreeMap<(u64, u64, String), Vec<BTreeSet<String>>>,
    /// The known fields that are numbers.
    fields: BTreeMap<String, BTreeSet<(u64, String)>>,
    /// What was said.
    remarks: BTreeSet<(String, String)>,
    asked: bool,
}

impl ReadContent {
    fn of(reading: &Reading) -> Self {
        let mut points: BTreeMap<(u64, u64, String), Vec<BTreeSet<String>>> = BTreeMap::new();
        let mut fields: BTreeMap<String, BTreeSet<(u64, String)>> = BTreeMap::new();
        let own = reading.runs.iter().flat_map(|run| run.fields.iter());
        let of_traces = reading
            .runs
            .iter()
            .flat_map(|run| &run.traces)
            .flat_map(|trace| trace.fields.iter());
        for (key, claims) in own.chain(of_traces) {
            let Some(claim) = claims.first() else { continue };
            if let (Some(_), Value::Number(value)) = (key.known(), &claim.value) {
                let unit = claim.unit.as_ref().map_or("", |unit| unit.code()).to_owned();
                fields
                    .entry(key.to_string())
                    .or_default()
                    .insert((value.to_bits(), unit));
            }
        }
        for trace in reading.runs.iter().flat_map(|run| &run.traces) {
            let of = format!("{} {}", axis_of(&trace.x), axis_of(&trace.y));
            let held: BTreeSet<String> = trace
                .held
                .iter()
                .map(|held| format!("{} {:?} {}", held.quantity, held.value, held.unit))
                .collect();
            for (x, y) in trace.x.values.iter().zip(trace.y.values.iter()) {
                let known = points.entry((x.to_bits(), y.to_bits(), of.clone())).or_default();
                if !known.contains(&held) {
                    known.push(held.clone());
                }
            }
        }
        let of_runs = reading.runs.iter().flat_map(|run| &run.remarks);
        Self {
            points,
            fields,
            remarks: reading
                .remarks
                .iter()
                .chain(of_runs)
                .filter(|remark| remark.severity > Severity::Note)
                .map(|remark| (remark.code.to_string(), remark.message.clone()))
                .collect(),
            asked: reading.runs.iter().any(|run| !run.questions.is_empty()),
        }
    }

    /// A number that stands here and not in the whole, as a sentence.
    fn foreign(&self, whole: &Self) -> Option<String> {
        for (point, held) in &self.points {
            let known = whole.points.get(point).map_or(&[][..], Vec::as_slice);
            // A coordinate that was lost is no wrong one.
            let strange = held
                .iter()
                .find(|held| !known.iter().any(|known| held.is_subset(known)));
            if let Some(held) = strange {
                let (x, y, of) = point;
                let held: Vec<&str> = held.iter().map(String::as_str).collect();
                let held = if held.is_empty() {
                    String::new()
                } else {
                    format!(", {}", held.join(", "))
                };
                return Some(format!(
                    "the point {} ({of}{held})",
                    pair(f64::from_bits(*x), f64::from_bits(*y))
                ));
            }
        }
        self.fields.iter().find_map(|(key, values)| {
            let known = whole.fields.get(key)?;
            let (value, unit) = values.difference(known).next()?;
            Some(format!("{key} {} {unit}", f64::from_bits(*value)))
        })
    }
}

impl Paper {
    /// Reads damaged copies of an example: cut off anywhere, lines dropped, bytes flipped.
    pub(crate) fn damage(&self, reader: &dyn Reader, example: &LayoutExample, bytes: &[u8]) -> DamageTrial {
        let whole = ReadContent::of(&reader.read(&Source::new(example.path(), bytes.to_vec())));
        let mut damage = DamageTrial::default();
        self.try_all(reader, &mut damage, &whole, example, cut_off(bytes));
        self.try_all(reader, &mut damage, &whole, example, lines_dropped(bytes));
        self.try_all(reader, &mut damage, &whole, example, bytes_flipped(bytes));
        if self.kind != "layout" {
            self.try_all(reader, &mut damage, &whole, example, encoded(bytes));
            Self::try_hostile(reader, &mut damage, example, hostile(bytes));
        }
        damage
    }

    fn try_all(
        &self,
        reader: &dyn Reader,
        damage: &mut DamageTrial,
        whole: &ReadContent,
        example: &LayoutExample,
        copies: impl Iterator<Item = (String, Vec<u8>)>,
    ) {
        let mut complaints = 0;
        for (what, bytes) in copies {
            damage.copies += 1;
            let source = Source::new(example.path(), bytes);
            if let Recognition::No(_) = reader.recognise(&source.glimpse()) {
                damage.told += 1;
                continue;
            }
            let mut reading = reader.read(&source);
            if reading.failed {
                complaints += 1;
                if complaints <= MOST_TOLD {
                    damage.complaints.push(Self::fallen(&what, &reading));
                }
                continue;
            }
            reading.remarks.extend(source.remarks().iter().cloned());
            let content = ReadContent::of(&reading);
            let told = content.asked || reading.runs.is_empty() || !content.remarks.is_subset(&whole.remarks);
            if told {
                damage.told += 1;
                continue;
            }
            match content.foreign(whole) {
                None => damage.held += 1,
                Some(number) => {
                    complaints += 1;
                    if complaints <= MOST_TOLD {
                        damage.complaints.push(self.silent(example, &what, &number));
                    }
                }
            }
        }
    }

    /// Copies that may be read in any way, as long as the reader does not fail.
    fn try_hostile(
        reader: &dyn Reader,
        damage: &mut DamageTrial,
        example: &LayoutExample,
        copies: Vec<(String, Vec<u8>)>,
    ) {
        let mut complaints = 0;
        for (what, bytes) in copies {
            damage.copies += 1;
            let reading = reader.read(&Source::new(example.path(), bytes));
            if !reading.failed {
                damage.told += 1;
                continue;
            }
            complaints += 1;
            if complaints <= MOST_TOLD {
                damage.complaints.push(Self::fallen(&what, &reading));
            }
        }
    }

    /// A reader that failed on a copy.
    fn fallen(what: &str, reading: &Reading) -> Diagnostic {
        let why = reading.remarks.first();
        let said = why.map_or("no reason was given", |why| why.message.as_str());
        let code = why.map_or(Code::new("plugin-failed"), |why| why.code.clone());
        let told = Diagnostic::error(code, format!("a copy of the example with {what}: {said}"));
        let notes = why.map(|why| why.notes.clone()).unwrap_or_default();
        notes.into_iter().fold(told, Diagnostic::with_note)
    }

    fn silent(&self, example: &LayoutExample, what: &str, number: &str) -> Diagnostic {
        let span = example
            .file
            .as_ref()
            .or(example.text.as_ref())
            .map_or(0..0, toml::Spanned::span);
        let begin = span.start..(span.start + 3).min(span.end);
        let (code, help) = match self.kind {
            "layout" => (
                Code::new("layout-damage"),
                "make the layout stricter: settle less by position, and name headers and texts under `[recognise]`",
            ),
            _ => (
                Code::new("plugin-damage"),
                "let the plugin look for the end of what it reads, and refuse or remark what it does not know",
            ),
        };
        Diagnostic::error(
            code,
            format!("a copy of the example with {what} gives {number} without a word; the whole file has no such number"),
        )
        .at(self.place(begin), "this example")
        .help(help)
    }
}

/// The same text in other encodings and with other line ends.
fn encoded(bytes: &[u8]) -> impl Iterator<Item = (String, Vec<u8>)> {
    let text = std::str::from_utf8(bytes).map(str::to_owned).ok();
    let copies = text.map(|text| {
        let wide = std::iter::once(0xFEFF_u16).chain(text.encode_utf16());
        let crlf = text.replace("\r\n", "\n").replace('\n', "\r\n");
        vec![
            ("UTF-16".to_owned(), wide.flat_map(u16::to_le_bytes).collect()),
            (
                "a byte-order mark".to_owned(),
                format!("\u{FEFF}{text}").into_bytes(),
            ),
            ("the line ends CR LF".to_owned(), crlf.into_bytes()),
        ]
    });
    copies.into_iter().flatten()
}

/// What nobody would write: lines out of order, doubled, far too long; bytes that are no text; nothing at all.
fn hostile(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
    let mut all: Vec<(String, Vec<u8>)> = vec![
        ("nothing in it".to_owned(), Vec::new()),
        (
            "its lines in reverse".to_owned(),
            lines.iter().rev().flat_map(|line| line.to_vec()).collect(),
        ),
        ("all of it twice".to_owned(), bytes.repeat(2)),
        (
            "a million zeros behind it".to_owned(),
            [bytes, &[0; 1_000_000]].concat(),
        ),
        (
            "a million digits behind it".to_owned(),
            [bytes, &[b'9'; 1_000_000]].concat(),
        ),
        (
            "a million line ends before it".to_owned(),
            [&[b'\n'; 1_000_000], bytes].concat(),
        ),
    ];
    // A plain generator: the same disorder every time.
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut next = move |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        usize::try_from(state >> 16).unwrap_or(0) % below.max(1)
    };
    for round in 1..=40 {
        let mut mixed = lines.clone();
        for at in (1..mixed.len()).rev() {
            mixed.swap(at, next(at + 1));
        }
        all.push((format!("its lines mixed, {round}"), mixed.concat()));
        let mut wild = bytes.to_vec();
        for _ in 0..=round / 4 {
            if let Some(byte) = {
                let at = next(wild.len());
                wild.get_mut(at)
            } {
                *byte = u8::try_from(next(256)).unwrap_or(0);
            }
        }
        all.push((format!("bytes at random in it, {round}"), wild));
    }
    all
}

/// Numbers from 0 to `count`, all of them or evenly spread.
fn spread(count: usize) -> impl Iterator<Item = usize> {
    let step = count.div_ceil(MOST).max(1);
    (0..count).step_by(step)
}

fn cut_off(bytes: &[u8]) -> impl Iterator<Item = (String, Vec<u8>)> {
    spread(bytes.len()).map(|length| (format!("only its first {length} bytes"), bytes[..length].to_vec()))
}

fn lines_dropped(bytes: &[u8]) -> impl Iterator<Item = (String, Vec<u8>)> {
    let lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
    spread(lines.len()).map(move |dropped| {
        let rest = lines.iter().enumerate().filter(|(line, _)| *line != dropped);
        let copy = rest.flat_map(|(_, line)| line.iter().copied()).collect();
        (format!("line {} dropped", dropped + 1), copy)
    })
}

/// One bit of one byte turned over, wherever that does not make a digit or a sign of a number, or a degree sign behind one: of `30`
/// in an encoding of single bytes that is `3°`, which nobody can tell from a true temperature.
fn bytes_flipped(bytes: &[u8]) -> impl Iterator<Item = (String, Vec<u8>)> {
    spread(bytes.len()).flat_map(move |at| {
        [0x80_u8, 0x40, 0x10].into_iter().filter_map(move |bit| {
            let flipped = bytes[at] ^ bit;
            const DEGREE: u8 = 0xB0;
            let behind_digit = at > 0 && bytes[at - 1].is_ascii_digit();
            let of_numbers = flipped.is_ascii_digit()
                || flipped == DEGREE && behind_digit
                || matches!(
                    flipped,
                    b'.' | b',' | b'-' | b'+' | b'e' | b'E' | b'd' | b'D' | b' ' | b'\t' | b'\n' | b'\r'
                );
            (!of_numbers).then(|| {
                let mut copy = bytes.to_vec();
                copy[at] = flipped;
                (
                    format!("byte {} turned from {:02X} into {flipped:02X}", at + 1, bytes[at]),
                    copy,
                )
            })
        })
    })
}
