//! Damaged input: what is certain stays, nothing is invented, nothing panics.

use std::collections::BTreeMap;

use crate::{codes, curve, file, open};
use curvary_jcamp_dx::{
    Code, Content, Curve, Document, Form, Limits, ReadOptions, Scan, Scans, Sheet, Version, WriteOptions,
    read, write,
};
use proptest::prelude::*;

const LABELS: &str = "##XFACTOR= 1\n##YFACTOR= 1\n##FIRSTX= 400\n##LASTX= 411\n##NPOINTS= 12\n##DELTAX= 1";
const LINES: [&str; 5] = ["400A0JKL", "403A6JKL", "406B2JKL", "409B8JK", "411C1"];
const Y: [f64; 12] = [10., 11., 13., 16., 17., 19., 22., 23., 25., 28., 29., 31.];

fn damaged(line: usize, with: &str) -> Document {
    let mut lines = LINES;
    lines[line] = with;
    open(&file(
        LABELS,
        &format!("##XYDATA= (X++(Y..Y))\n{}", lines.join("\n")),
    ))
}

/// Every point read must be one of the sound table.
#[track_caller]
fn certain(document: &Document, kept: &[usize]) {
    let curve = curve(document);
    let found: Vec<(f64, f64)> = curve.x.iter().copied().zip(curve.y.iter().copied()).collect();
    let wanted: Vec<(f64, f64)> = kept.iter().map(|i| (400.0 + *i as f64, Y[*i])).collect();
    assert_eq!(found, wanted, "{:#?}", document.remarks);
    assert!(!document.blocks[0].tables[0].left_out.is_empty());
}

#[test]
fn the_table_is_sound() {
    let document = damaged(0, LINES[0]);
    assert!(document.remarks.is_empty(), "{:#?}", document.remarks);
    assert_eq!(curve(&document).y, Y);
}

/// A wrong difference: the next line's check fails. Its own chain is confirmed by the line after it.
#[test]
fn a_wrong_difference() {
    let document = damaged(1, "403A6JKN");
    assert!(codes(&document).contains(&Code::YCheckFailed));
    certain(&document, &[0, 1, 2, 3, 6, 7, 8, 9, 10, 11]);
}

/// A wrong check value: its line is all off, and both of its ends disagree.
#[test]
fn a_wrong_check_value() {
    let document = damaged(1, "403A7JKL");
    certain(&document, &[0, 6, 7, 8, 9, 10, 11]);
}

/// A lost and a doubled character: the next X shows it.
#[test]
fn a_lost_point() {
    let document = damaged(1, "403A6JL");
    assert!(
        codes(&document).contains(&Code::LineSlipped),
        "{:?}",
        codes(&document)
    );
    certain(&document, &[0, 1, 2, 3, 6, 7, 8, 9, 10, 11]);
    // Without checks the X of the lines alone must show it, even where they are printed as whole numbers.
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=408\n##NPOINTS=9";
    for delta in ["", "\n##DELTAX=1"] {
        let document = open(&file(
            &format!("{labels}{delta}"),
            "##XYDATA=(X++(Y..Y))\n400 1 2 3\n403 4 6\n406 7 8 9",
        ));
        let curve = curve(&document);
        assert_eq!(
            curve.x,
            [400.0, 401.0, 402.0, 403.0, 406.0, 407.0, 408.0],
            "{:#?}",
            document.remarks
        );
        assert_eq!(curve.y, [1.0, 2.0, 3.0, 4.0, 7.0, 8.0, 9.0]);
    }
    certain(&damaged(1, "403A6JKKL"), &[0, 1, 2, 3, 6, 7, 8, 9, 10, 11]);
}

/// An illegal character: the rest of the line is unknown.
#[test]
fn an_illegal_character() {
    let document = damaged(1, "403A6J!L");
    assert!(codes(&document).contains(&Code::IllegalCharacter));
    certain(&document, &[0, 1, 2, 3, 6, 7, 8, 9, 10, 11]);
    certain(&damaged(1, "!03A6JKL"), &[0, 1, 2, 3, 6, 7, 8, 9, 10, 11]);
}

/// A misprinted X between lines that agree costs nothing.
#[test]
fn a_misprinted_x() {
    let document = damaged(2, "446B2JKL");
    assert_eq!(codes(&document), [Code::XCheckFailed]);
    assert_eq!(curve(&document).y, Y);
}

/// A lost line.
#[test]
fn a_lost_line() {
    // Nobody can tell a lost line from lost points in the line before it, so of that only the first point stays.
    certain(&damaged(2, ""), &[0, 1, 2, 3, 9, 10, 11]);
}

/// A wrong last check value: either it or the chain is wrong.
#[test]
fn a_wrong_last_check() {
    let document = damaged(4, "411C2");
    certain(&document, &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
}

/// Must fail (published as a failing check: -1 expected, 4 found); without labels nothing is certain but the start.
#[test]
fn a_failing_check_without_labels() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=599\n##LASTX=603\n##NPOINTS=5";
    let document = open(&file(labels, "##XYDATA=(X++(Y..Y))\n599.000+1jj\n601.000+4jj"));
    assert!(
        codes(&document).contains(&Code::YCheckFailed),
        "{:?}",
        codes(&document)
    );
    assert_eq!(curve(&document).y, [1.0]);
}

/// Plain pairs: a line that does not hold whole pairs is left out, the others stay.
#[test]
fn a_broken_pair() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=400\n##LASTX=403\n##NPOINTS=4";
    let document = open(&file(labels, "##XYPOINTS=(XY..XY)\n400,1\n401\n402,,3\n403,4"));
    assert_eq!(curve(&document).x, [400.0, 403.0]);
    assert!(codes(&document).contains(&Code::PairIncomplete) && codes(&document).contains(&Code::FieldEmpty));
    let document = open(&file(labels, "##XYPOINTS=(XY..XY)\n400,1,401\n2,402,3\n403,4"));
    assert_eq!(codes(&document), [Code::PairAcrossLines]);
    assert_eq!(curve(&document).x, [400.0, 401.0, 402.0, 403.0]);
}

/// Limits are kept, and said.
#[test]
fn limits() {
    let labels = "##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=0\n##LASTX=999999999\n##NPOINTS=1000000000";
    let text = file(labels, "##XYDATA=(X++(Y..Y))\n0 1S999999999");
    let document = open(&text);
    assert!(
        codes(&document).contains(&Code::LimitPoints),
        "{:?}",
        codes(&document)
    );
    assert!(curve(&document).len() <= 1);
    let limits = Limits {
        points: 5,
        ..Limits::default()
    };
    let text = file(LABELS, &format!("##XYDATA= (X++(Y..Y))\n{}", LINES.join("\n")));
    let document = read(
        &text,
        &ReadOptions {
            limits,
            ..ReadOptions::default()
        },
    );
    assert!(curve(&document).len() <= 5 && codes(&document).contains(&Code::LimitPoints));

    let nested = "##TITLE=a\n##JCAMP-DX=5.01\n##DATA TYPE=LINK\n".repeat(1000);
    let document = open(&nested);
    assert!(codes(&document).contains(&Code::LimitDepth));
    let many = "##TITLE=a\n##JCAMP-DX=5.01\n##END=\n".repeat(20);
    let limits = Limits {
        blocks: 7,
        remarks: 3,
        ..Limits::default()
    };
    let document = read(
        &(many + &"##END=\n".repeat(9)),
        &ReadOptions {
            limits,
            ..ReadOptions::default()
        },
    );
    assert_eq!(document.blocks.len(), 7);
    let document = read(
        &"##END=\n".repeat(9),
        &ReadOptions {
            limits,
            ..ReadOptions::default()
        },
    );
    assert_eq!(document.remarks.len(), 4);
    assert_eq!(document.remarks[3].code, Code::LimitRemarks);
}

fn noisy(n: usize) -> Curve {
    let y = (0..n).map(|i| ((i * i * 7919) % 613) as f64 - 200.0 + if i % 9 < 4 { 0.0 } else { i as f64 });
    let y = y.map(|v| v / 1000.0).collect();
    Curve::new((0..n).map(|i| (4000 + 5 * i) as f64 / 10.0).collect(), y, 1, 3)
}

fn sheet(content: Content) -> Sheet {
    Sheet {
        title: "a".into(),
        data_type: "UV/VIS SPECTRUM".into(),
        origin: "o".into(),
        owner: "o".into(),
        x_units: "NANOMETERS".into(),
        y_units: "ABSORBANCE".into(),
        records: Vec::new(),
        content,
    }
}

static SAMPLES: std::sync::OnceLock<Vec<String>> = std::sync::OnceLock::new();

fn samples() -> Vec<String> {
    let mut out = Vec::new();
    for form in [Form::Affn, Form::Pac, Form::Sqz, Form::Dif, Form::DifDup] {
        for version in [Version::V4_24, Version::V5_01] {
            let options = WriteOptions {
                form,
                version,
                ..WriteOptions::default()
            };
            out.push(write(&[sheet(Content::Curve(noisy(60)))], &options).unwrap().text);
        }
        let options = WriteOptions {
            form,
            ..WriteOptions::default()
        };
        let scan = |t: f64| Scan {
            held: t,
            held_decimals: 0,
            curve: noisy(30),
        };
        let scans = Scans {
            x_name: "X".into(),
            y_name: "Y".into(),
            held_name: "TIME".into(),
            held_symbol: "T".into(),
            held_units: "SECONDS".into(),
            scans: vec![scan(0.0), scan(30.0)],
        };
        out.push(write(&[sheet(Content::Scans(scans))], &options).unwrap().text);
    }
    let mut uneven = noisy(20);
    uneven.x[7] += 0.3;
    out.push(
        write(&[sheet(Content::Curve(uneven))], &WriteOptions::default())
            .unwrap()
            .text,
    );
    out
}

fn points(document: &Document) -> Vec<BTreeMap<u64, u64>> {
    let mut out = Vec::new();
    for block in document.all_blocks() {
        let tables = block.tables.iter().chain(
            block
                .ntuples
                .iter()
                .flat_map(|n| n.pages.iter())
                .filter_map(|p| p.table.as_deref()),
        );
        for curve in tables.filter_map(|t| t.data.curve()) {
            assert_eq!(curve.x.len(), curve.y.len());
            out.push(
                curve
                    .x
                    .iter()
                    .zip(&curve.y)
                    .map(|(x, y)| (x.to_bits(), y.to_bits()))
                    .collect(),
            );
        }
    }
    out
}

/// Cut at every length: no panic, and no point that the whole file does not have.
#[test]
fn truncation_at_every_length() {
    for text in samples() {
        let whole = points(&open(&text));
        assert!(!whole.is_empty());
        for length in 0..text.len() {
            let document = open(&text[..length]);
            for (part, full) in points(&document).iter().zip(&whole) {
                for point in part {
                    assert_eq!(
                        full.get(point.0),
                        Some(point.1),
                        "cut at {length} of:\n{}",
                        &text[..length]
                    );
                }
            }
        }
    }
}

/// One changed character in the differences: it shows in a remark, and no wrong point is handed out with an
/// ordinate that the checks contradict. Changed digits in plain numbers cannot be noticed by anyone.
#[test]
fn one_changed_pseudo_digit() {
    let curve = noisy(200);
    let text = write(&[sheet(Content::Curve(curve))], &WriteOptions::default())
        .unwrap()
        .text;
    let whole = points(&open(&text)).remove(0);
    let from = text.find("XYDATA= (").unwrap();
    for (at, old) in text.char_indices().filter(|(at, _)| *at > from + 20) {
        if !matches!(old, 'J'..='R' | 'j'..='r' | '%') {
            continue;
        }
        for new in ['%', 'J', 'k', 'R', '!', 'T'] {
            if new == old {
                continue;
            }
            let changed = format!("{}{new}{}", &text[..at], &text[at + 1..]);
            let document = open(&changed);
            assert!(!document.remarks.is_empty(), "{new} for {old} at {at} unnoticed");
            for point in &points(&document)[0] {
                assert_eq!(
                    whole.get(point.0),
                    Some(point.1),
                    "{new} for {old} at {at}:\n{changed}"
                );
            }
        }
    }
}

/// Pieces of the format, put together at random.
fn pieces() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        Just("##TITLE="),
        Just("##END="),
        Just("##XYDATA=(X++(Y..Y))\n"),
        Just("##XYPOINTS=(XY..XY)\n"),
        Just("##PEAK TABLE=(XYW..XYW)\n"),
        Just("##PEAK ASSIGNMENTS=(XYA)\n"),
        Just("(1,2,<a>)"),
        Just("(((((<"),
        Just("##NTUPLES=\n"),
        Just("##SYMBOL=X,Y,T\n"),
        Just("##PAGE=T=1\n"),
        Just("##DATA TABLE=(XY..XY), P\n"),
        Just("##DATA TABLE=(X++(Y..Y)), P\n"),
        Just("##END NTUPLES=\n"),
        Just("##FACTOR=1,1E-300,1\n"),
        Just("##NPOINTS=3\n"),
        Just("##NPOINTS=99999999999999999999\n"),
        Just("##FIRSTX=1\n"),
        Just("##LASTX=3\n"),
        Just("##LASTX=1E+308\n"),
        Just("##DELTAX=-1E-308\n"),
        Just("##XFACTOR=1E+300\n"),
        Just("##YFACTOR=0\n"),
        Just("##YFACTOR=-0.1\n"),
        Just("##FIRST=1,2\n"),
        Just("##VAR_DIM=3\n"),
        Just("##DATA TYPE=LINK\n"),
        Just("##BLOCKS=1\n"),
        Just("$$"),
        Just("1"),
        Just("2.5"),
        Just("@"),
        Just("E+02"),
        Just("e"),
        Just("J"),
        Just("j9"),
        Just("T"),
        Just("s99999999"),
        Just("?"),
        Just("%"),
        Just(" "),
        Just(","),
        Just(";"),
        Just("\n"),
        Just("\r"),
        Just("\r\n"),
        Just("°"),
        Just("\u{feff}"),
        Just("\0"),
        Just("99999999999999999999"),
        Just("-"),
        Just("+"),
        Just("."),
        Just("1E+999"),
        Just("A123456789012345678"),
        Just("##"),
        Just("##A"),
        Just("<"),
    ];
    prop::collection::vec(piece, 0..60).prop_map(|p| p.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_read_without_panic(text in "\\PC{0,300}") {
        sane(&text);
    }

    #[test]
    fn any_bytes_are_read_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        sane(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn any_pieces_are_read_without_panic(text in pieces()) {
        sane(&text);
    }

    /// A sound file with some bytes changed, doubled or lost.
    #[test]
    fn mutations_are_read_without_panic(
        which in 0usize..16, edits in prop::collection::vec((0u8..3, any::<prop::sample::Index>(), 32u8..127), 1..8)
    ) {
        let samples = SAMPLES.get_or_init(samples);
        let mut bytes = samples[which % samples.len()].clone().into_bytes();
        for (kind, at, byte) in edits {
            let at = at.index(bytes.len());
            match kind {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => { bytes.remove(at); }
            }
        }
        sane(&String::from_utf8(bytes).unwrap());
    }
}

/// Whatever is read is finite, in order, and within the limits; all places lie in the text.
fn sane(text: &str) {
    let limits = Limits {
        points: 100_000,
        ..Limits::default()
    };
    let document = read(
        text,
        &ReadOptions {
            limits,
            ..ReadOptions::default()
        },
    );
    let lines = text.split(['\n', '\r']).count();
    for remark in &document.remarks {
        let span = remark.place.span;
        assert!(text.get(span.start..span.end).is_some(), "{remark:?} in {text:?}");
        assert!(remark.place.line as usize <= lines, "{remark:?} in {text:?}");
    }
    let mut total = 0;
    for block in document.all_blocks() {
        assert!(text.get(block.span.start..block.span.end).is_some());
        for table in &block.tables {
            let Some(curve) = table.data.curve() else { continue };
            assert_eq!(curve.x.len(), curve.y.len());
            assert!(curve.x.iter().chain(&curve.y).all(|v| v.is_finite()), "{text:?}");
            assert!((0..curve.len()).all(|i| curve.lines.line_of(i).is_some_and(|l| l as usize <= lines)));
            total += curve.len();
        }
    }
    assert!(total <= 100_000);
}
