//! read(write(x)) == x, bit for bit.

use crate::{block_curve, open};
use curvary_jcamp_dx::{
    Assignment, Assignments, Code, Content, Curve, Data, Decimals, Form, Missing, Peak, Peaks, Scan, Scans,
    Sheet, Version, WriteOptions, write,
};
use proptest::prelude::*;

fn sheet(content: Content) -> Sheet {
    Sheet {
        title: "round trip".into(),
        data_type: "UV/VIS SPECTRUM".into(),
        origin: "test".into(),
        owner: "test".into(),
        x_units: "NANOMETERS".into(),
        y_units: "ABSORBANCE".into(),
        records: vec![("SAMPLE DESCRIPTION".into(), "none".into())],
        content,
    }
}

fn forms() -> impl Strategy<Value = Form> {
    prop_oneof![
        Just(Form::Affn),
        Just(Form::Pac),
        Just(Form::Sqz),
        Just(Form::Dif),
        Just(Form::DifDup)
    ]
}

fn versions() -> impl Strategy<Value = Version> {
    prop_oneof![Just(Version::V4_24), Just(Version::V5_01)]
}

fn decimal(mantissa: i64, decimals: u16) -> f64 {
    format!("{mantissa}e-{decimals}").parse().unwrap()
}

/// A column of exact decimals, all with the same count or each with its own.
fn column(n: usize, reach: i64) -> impl Strategy<Value = (Vec<f64>, Decimals)> {
    let same = (prop::collection::vec(-reach..reach, n), 0u16..9)
        .prop_map(|(m, d)| (m.iter().map(|m| decimal(*m, d)).collect(), Decimals::Same(d)));
    let flat = (
        -reach..reach,
        prop::collection::vec((-3i64..3, 1usize..150), 1..8),
        0u16..6,
    )
        .prop_map(move |(start, steps, d)| {
            let mut value = start;
            let mut out = Vec::new();
            for (step, count) in steps.iter().cycle() {
                for _ in 0..*count {
                    if out.len() == n {
                        return (out, Decimals::Same(d));
                    }
                    out.push(decimal(value, d));
                    value += step;
                }
            }
            (out, Decimals::Same(d))
        });
    let each = prop::collection::vec((-reach..reach, 0u16..12), n).prop_map(|v| {
        let counts: Vec<u16> = v.iter().map(|v| v.1).collect();
        let same = counts.iter().all(|c| *c == counts[0]);
        let decimals = if same {
            Decimals::Same(counts[0])
        } else {
            Decimals::Each(counts)
        };
        (v.iter().map(|(m, d)| decimal(*m, *d)).collect(), decimals)
    });
    // Squeezed, all of these start with an E, which may be an exponent.
    let fives = (
        prop::collection::vec(
            prop::sample::select(vec![5i64, -5, 50, 53, -500, 5000, 50_000]),
            n,
        ),
        0u16..4,
    )
        .prop_map(|(m, d)| (m.iter().map(|m| decimal(*m, d)).collect(), Decimals::Same(d)));
    prop_oneof![3 => same, 3 => flat, 2 => each, 1 => fives]
}

fn spaced(n: usize) -> impl Strategy<Value = (Vec<f64>, Decimals)> {
    (
        -100_000i64..100_000,
        prop_oneof![1i64..2000, -2000i64..-1],
        0u16..7,
    )
        .prop_map(move |(first, step, d)| {
            (
                (0..n as i64).map(|i| decimal(first + i * step, d)).collect(),
                Decimals::Same(d),
            )
        })
}

/// A grid of quotients: FIRSTX + i (LASTX-FIRSTX)/(NPOINTS-1), rounded once.
fn quotients(n: usize) -> impl Strategy<Value = (Vec<f64>, Decimals)> {
    (-100_000i64..100_000, 1i64..100_000).prop_map(move |(first, span)| {
        let parts = (n as i64 - 1).max(1);
        let x: Vec<f64> = (0..n as i64)
            .map(|i| (first * parts + i * span) as f64 / (parts * 100) as f64)
            .collect();
        (x, Decimals::Unlimited)
    })
}

fn curves() -> impl Strategy<Value = Curve> {
    (1usize..400).prop_flat_map(|n| {
        let x =
            prop_oneof![4 => spaced(n).boxed(), 2 => quotients(n).boxed(), 2 => column(n, 1_000_000).boxed()];
        let y = prop_oneof![column(n, 40_000), column(n, 4_000_000_000_000_000)];
        (x, y, prop::collection::vec(any::<bool>(), n), any::<bool>()).prop_map(
            move |(x, y, gaps, any_gap)| {
                let keep: Vec<bool> = gaps
                    .iter()
                    .enumerate()
                    .map(|(i, gap)| !(any_gap && *gap && i % 3 != 1))
                    .collect();
                let pick = |v: &[f64]| -> Vec<f64> {
                    v.iter()
                        .zip(&keep)
                        .filter(|(_, k)| **k)
                        .map(|(v, _)| *v)
                        .collect()
                };
                let counts = |d: &Decimals| match d {
                    Decimals::Each(c) => {
                        let c: Vec<u16> = c
                            .iter()
                            .zip(&keep)
                            .filter(|(_, k)| **k)
                            .map(|(c, _)| *c)
                            .collect();
                        if c.iter().all(|v| *v == c[0]) {
                            Decimals::Same(c[0])
                        } else {
                            Decimals::Each(c)
                        }
                    }
                    other => other.clone(),
                };
                if !keep.contains(&true) {
                    return Curve {
                        x: x.0.into(),
                        y: y.0,
                        x_decimals: x.1,
                        y_decimals: y.1,
                        ..Curve::default()
                    };
                }
                let mut missing = Vec::new();
                let mut before = 0;
                for (i, kept) in keep.iter().enumerate() {
                    if *kept {
                        before += 1;
                    } else {
                        missing.push(Missing {
                            x: x.0[i],
                            before,
                            line: 0,
                        });
                    }
                }
                Curve {
                    x: pick(&x.0).into(),
                    y: pick(&y.0),
                    x_decimals: counts(&x.1),
                    y_decimals: counts(&y.1),
                    missing,
                    ..Curve::default()
                }
            },
        )
    })
}

fn bits(values: &[f64]) -> Vec<u64> {
    values.iter().map(|v| v.to_bits()).collect()
}

#[track_caller]
fn same(found: &Curve, wanted: &Curve, text: &str) {
    assert_eq!(bits(&found.x), bits(&wanted.x), "x\n{text}");
    assert_eq!(bits(&found.y), bits(&wanted.y), "y\n{text}");
    let missing = |c: &Curve| {
        c.missing
            .iter()
            .map(|m| (m.x.to_bits(), m.before))
            .collect::<Vec<_>>()
    };
    assert_eq!(missing(found), missing(wanted), "{text}");
}

#[track_caller]
fn strict(text: &str) {
    assert!(
        text.split("\r\n")
            .all(|l| l.len() <= 80 && !l.contains(['\r', '\n'])),
        "{text}"
    );
    assert!(text.ends_with("##END=\r\n"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn curves_come_back(curve in curves(), form in forms(), version in versions()) {
        let options = WriteOptions { form, version, ..WriteOptions::default() };
        let written = write(&[sheet(Content::Curve(curve.clone()))], &options).unwrap();
        strict(&written.text);
        let document = open(&written.text);
        prop_assert!(document.remarks.is_empty(), "{:#?}\n{}", document.remarks, written.text);
        let found = block_curve(&document.blocks[0]);
        same(found, &curve, &written.text);
        prop_assert_eq!(&found.y_decimals, &curve.y_decimals, "{}", &written.text);
        if curve.x_decimals != Decimals::Unlimited {
            prop_assert_eq!(&found.x_decimals, &curve.x_decimals, "{}", &written.text);
        }
    }

    /// Any finite numbers at all, with any claim about their decimals.
    #[test]
    fn any_finite_values_come_back(
        points in prop::collection::vec((any::<f64>(), any::<f64>()), 1..30),
        even in any::<bool>(), dx in 0u16..400, dy in 0u16..400, form in forms()
    ) {
        let points: Vec<(f64, f64)> = points.into_iter().filter(|p| p.0.is_finite() && p.1.is_finite()).collect();
        prop_assume!(!points.is_empty());
        let x = points.iter().enumerate().map(|(i, p)| if even { i as f64 } else { p.0 }).collect();
        let curve = Curve::new(x, points.iter().map(|p| p.1).collect(), dx, dy);
        let written = write(&[sheet(Content::Curve(curve.clone()))], &WriteOptions { form, ..WriteOptions::default() });
        let text = written.unwrap().text;
        strict(&text);
        same(block_curve(&open(&text).blocks[0]), &curve, &text);
    }

    #[test]
    fn several_curves_come_back(curves in prop::collection::vec(curves(), 2..5), form in forms(), version in versions()) {
        let sheets: Vec<Sheet> = curves.iter().map(|c| sheet(Content::Curve(c.clone()))).collect();
        let text = write(&sheets, &WriteOptions { form, version, ..WriteOptions::default() }).unwrap().text;
        let document = open(&text);
        prop_assert!(document.remarks.is_empty(), "{:#?}", document.remarks);
        let stated = document.blocks[0].value("BLOCKS").map(str::to_owned);
        prop_assert_eq!(stated, Some(curves.len().to_string()));
        for (block, curve) in document.blocks[0].children.iter().zip(&curves) {
            same(block_curve(block), curve, &text);
        }
        prop_assert_eq!(document.blocks[0].children.len(), curves.len());
    }

    #[test]
    fn scans_come_back(
        common in any::<bool>(),
        x in spaced(25),
        pages in prop::collection::vec((spaced(25), column(25, 40_000), 0i64..100_000), 1..6),
        form in forms(), version in versions()
    ) {
        let scans: Vec<Scan> = pages.into_iter().map(|(own, y, held)| {
            let x = if common { x.clone() } else { own };
            let curve = Curve { x: x.0.into(), y: y.0, x_decimals: x.1, y_decimals: y.1, ..Curve::default() };
            Scan { held: held as f64 / 10.0, held_decimals: 1, curve }
        }).collect();
        let content = Content::Scans(Scans {
            x_name: "WAVELENGTH".into(), y_name: "ABSORBANCE".into(), held_name: "TIME".into(),
            held_symbol: "T".into(), held_units: "SECONDS".into(), scans: scans.clone(),
        });
        let text = write(&[sheet(content)], &WriteOptions { form, version, ..WriteOptions::default() }).unwrap().text;
        strict(&text);
        let document = open(&text);
        prop_assert!(document.remarks.is_empty(), "{:#?}\n{}", document.remarks, text);
        if version == Version::V5_01 {
            let pages = &document.blocks[0].ntuples[0].pages;
            prop_assert_eq!(pages.len(), scans.len());
            for (page, scan) in pages.iter().zip(&scans) {
                prop_assert_eq!(&page.held[0].1, &format!("{:.1}", scan.held));
                same(page.table.as_ref().unwrap().data.curve().unwrap(), &scan.curve, &text);
            }
        } else {
            let blocks = if scans.len() == 1 { &document.blocks } else { &document.blocks[0].children };
            prop_assert_eq!(blocks.len(), scans.len());
            for (block, scan) in blocks.iter().zip(&scans) {
                same(block_curve(block), &scan.curve, &text);
            }
        }
    }

    #[test]
    fn peaks_come_back(
        x in column(20, 1_000_000), y in column(20, 1_000_000), widths in prop::collection::vec(prop::option::of(0i64..500), 20),
        kind in 0..3
    ) {
        let word = |w: &Option<i64>| w.map(|w| ["S", "D", "T", "Q", "M"][w as usize % 5].to_owned());
        let rows = (0..20).map(|i| Peak {
            x: x.0[i],
            y: Some(y.0[i]),
            width: if kind == 1 { widths[i].map(|w| w as f64) } else { None },
            multiplicity: if kind == 2 { word(&widths[i]) } else { None },
            line: 0,
        }).collect();
        let peaks = Peaks { rows, x_decimals: x.1, y_decimals: y.1, width_decimals: Decimals::Same(0) };
        let text = write(&[sheet(Content::Peaks(peaks.clone()))], &WriteOptions::default()).unwrap().text;
        strict(&text);
        let document = open(&text);
        prop_assert!(document.remarks.is_empty(), "{:#?}\n{}", document.remarks, text);
        let Data::Peaks(mut found) = document.blocks[0].tables[0].data.clone() else { panic!("peaks") };
        found.rows.iter_mut().for_each(|r| r.line = 0);
        prop_assert_eq!(found, peaks);
    }

    #[test]
    fn assignments_come_back(
        x in column(10, 1_000_000), y in column(10, 1_000_000),
        texts in prop::collection::vec("[a-zA-Z0-9(),.=-]{1,12}( [a-zA-Z0-9(),]{1,12}){0,12}", 10)
    ) {
        let rows = (0..10).map(|i| Assignment {
            x: x.0[i], y: Some(y.0[i]), text: texts[i].clone(), ..Assignment::default()
        }).collect();
        let rows = Assignments { rows, x_decimals: x.1, y_decimals: y.1, width_decimals: Decimals::Same(0) };
        let text = write(&[sheet(Content::Assignments(rows.clone()))], &WriteOptions::default()).unwrap().text;
        strict(&text);
        let document = open(&text);
        prop_assert!(document.remarks.is_empty(), "{:#?}\n{}", document.remarks, text);
        let Data::Assignments(mut found) = document.blocks[0].tables[0].data.clone() else { panic!("assignments") };
        found.rows.iter_mut().for_each(|r| r.line = 0);
        prop_assert_eq!(found, rows);
    }

    /// Texts open no record, whatever they hold, and short ASCII texts come back as they are.
    #[test]
    fn texts_come_back(text in "[ -~]{0,60}(\n[ -~#]{0,60}){0,3}") {
        let mut sheet = sheet(Content::Curve(Curve::new(vec![1.0, 2.0], vec![1.0, 2.0], 0, 0)));
        sheet.records = vec![("NAMES".into(), text.clone())];
        let written = write(&[sheet], &WriteOptions::default()).unwrap();
        let document = open(&written.text);
        prop_assert!(document.remarks.is_empty(), "{:#?}\n{}", document.remarks, written.text);
        prop_assert_eq!(document.blocks.len(), 1);
        let found = document.blocks[0].value("NAMES").unwrap();
        if written.remarks.is_empty() {
            let lines: Vec<&str> = text.trim().split('\n').map(str::trim).collect();
            prop_assert_eq!(found, lines.join("\n"));
        } else {
            prop_assert!(written.remarks.iter().all(|r| r.code == Code::TextChanged || r.code == Code::LineTooLong
                || r.code == Code::TextWrapped));
        }
    }
}
