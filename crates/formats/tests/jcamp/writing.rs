//! What is written comes back.

use super::*;

fn run(technique: Technique, traces: Vec<Trace>) -> Run {
    let digest = Digest::of(b"source");
    Run {
        id: RunId::new(&digest, 0),
        source: SourceRef {
            path: "2019/a.txt".into(),
            digest,
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: None,
            ordinal: 0,
            lines: None,
        },
        technique,
        because: Vec::new(),
        fields: Fields::default(),
        traces,
        questions: Vec::new(),
        remarks: Vec::new(),
    }
}

fn column(quantity: Quantity, unit: Unit, numbers: &[(i64, u8)]) -> Column {
    let mut decimals = Decimals::default();
    let values: Vec<f64> = numbers
        .iter()
        .map(|&(integer, digits)| {
            decimals.push(digits);
            format!("{integer}e-{digits}").parse().unwrap()
        })
        .collect();
    Column::new(quantity, unit, values).with_decimals(decimals)
}

fn spectrum(y: &[(i64, u8)]) -> Trace {
    let x: Vec<(i64, u8)> = (0..y.len()).map(|i| (4000 + 5 * i as i64, 1)).collect();
    Trace::new(
        column(Quantity::WAVELENGTH, Unit::NANOMETRE, &x),
        column(Quantity::ABSORBANCE, Unit::ABSORBANCE, y),
    )
    .unwrap()
}

fn said(line: usize) -> Origin {
    Origin::Source(Place::line(line))
}

/// What must come back: everything but where it stood and what the text looked like.
fn comparable(run: &Run) -> (Technique, Vec<String>, Vec<String>, Vec<String>) {
    let fields = |fields: &Fields| -> Vec<String> {
        fields
            .iter()
            .map(|(key, claims)| {
                let first = &claims[0];
                format!("{key}: {:?} {:?} {:?}", first.value, first.unit, first.plus_minus)
            })
            .collect()
    };
    let traces = run
        .traces
        .iter()
        .map(|t| {
            let held: Vec<String> = t
                .held
                .iter()
                .map(|h| format!("{} {} {:?}", h.quantity, h.unit, h.value.to_bits()))
                .collect();
            let bits = |c: &Column| c.values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
            format!(
                "{:?} {:?} {:?} {:?} {:?} {:?} {:?} {held:?} {:?} {:?} {:?} {} {:?}",
                t.label,
                t.x.quantity,
                t.x.unit,
                bits(&t.x),
                t.y.quantity,
                t.y.unit,
                bits(&t.y),
                fields(&t.fields),
                t.row_names,
                t.saturated,
                t.absent,
                (
                    &t.x.name,
                    &t.y.name,
                    t.x.texts().collect::<Vec<_>>(),
                    t.y.texts().collect::<Vec<_>>()
                ),
            )
        })
        .collect();
    let questions = run
        .questions
        .iter()
        .map(|q| format!("{}: {}", q.code, q.message))
        .collect();
    (run.technique.clone(), fields(&run.fields), traces, questions)
}

fn round(runs: &[Run], options: &JcampDxOptions) -> (Vec<Run>, String) {
    let written = write(runs, options).unwrap();
    let source = Source::new("b.jdx", written.text.clone().into_bytes());
    assert!(matches!(
        JcampDx::default().recognise(&source.glimpse()),
        Recognition::Yes(_)
    ));
    (JcampDx::default().read(&source).runs, written.text)
}

fn same(runs: &[Run], options: &JcampDxOptions) -> String {
    let (again, text) = round(runs, options);
    assert_eq!(again.len(), runs.len(), "{text}");
    for (one, other) in runs.iter().zip(&again) {
        assert_eq!(comparable(one), comparable(other), "{text}");
    }
    text
}

#[test]
fn a_spectrum_comes_back_with_all_its_fields() {
    let mut one = run(
        Technique::SPECTRUM,
        vec![spectrum(&[(1200, 4), (1201, 4), (-3, 4), (15000, 4)])],
    );
    let number =
        |value: f64, code: &str, raw: &str| Claim::number(value, Unit::ucum(code).ok(), raw, said(1));
    for (key, claim) in [
        ("sample", Claim::text("betanin", said(1))),
        ("title", Claim::text("practical 3", said(1))),
        ("date", Claim::text("2019-05-04", said(1))),
        ("time", Claim::text("08:15:30", said(1))),
        ("temperature", number(37.0, "Cel", "37.0 °C")),
        ("path-length", number(10.0, "mm", "10 mm")),
        ("concentration", number(0.05, "mmol/L", "0.050 mM")),
        ("enzyme-concentration", number(5.0, "nmol/L", "5 nM")),
        ("ph", number(7.4, "[pH]", "7.40")),
        (
            "comment",
            Claim::text("two\nlines with $$ and ## and  blanks", said(1)),
        ),
        ("operator", Claim::text("Ä. Muster", said(1))),
        ("Küvette", Claim::text("Quarz 7", said(1))),
        ("Lamp hours", Claim::number(1203.0, None, "1203", said(1))),
        ("a=b", Claim::text("c", said(1))),
        // Wrapped in front of two hashes, it would begin a record.
        ("µaµa..=aµµä ##µA#AaAaaä#", Claim::text("", said(1))),
        ("serial-number", Claim::text("007", said(1))),
        ("batch", Claim::text("12", said(1))),
        (
            "gain",
            Claim::number(2.5, Unit::ucum("mm").ok(), "2.50 mm", said(1)),
        ),
        ("stirring", Claim::text("gentle", said(1))),
    ] {
        one.fields.claim(key, claim);
    }
    let mut range = Claim::text("700.0-380.0 nm", said(1));
    range.value = Value::Range {
        from: 700.0,
        to: 380.0,
    };
    range.unit = Some(Unit::NANOMETRE);
    one.fields.claim("wavelength-range", range);
    let mut spread = Claim::number(1.5, Unit::ucum("nm").ok(), "1.5", said(1));
    spread.plus_minus = Some(0.25);
    one.fields.claim("bandwidth", spread);
    for version in [Version::V5_01, Version::V4_24] {
        let text = same(
            &[one.clone()],
            &JcampDxOptions {
                version,
                ..JcampDxOptions::default()
            },
        );
        assert!(text.contains("##SAMPLE DESCRIPTION= betanin"), "{text}");
        assert!(text.contains("##XYDATA= (X++(Y..Y))"), "{text}");
        assert!(text.contains("##TEMPERATURE= 37.0\r\n"), "{text}");
        assert!(
            text.contains("##CONCENTRATIONS= (betanin, 0.050, mmol/L)"),
            "{text}"
        );
    }
}

#[test]
fn a_time_course_comes_back_as_one() {
    for unit in [Unit::SECOND, Unit::MINUTE] {
        let mut x = column(Quantity::TIME, unit.clone(), &[(0, 1), (5, 1), (10, 1)]);
        x.name = Some("t".into());
        let y = column(Quantity::ABSORBANCE, Unit::ONE, &[(1, 3), (2, 3), (3, 3)]);
        let mut trace = Trace::new(x, y).unwrap();
        trace.label = Some("cell 1: \"A\"".into());
        trace.held.push(Coordinate {
            raw: Some("405.0 nm".into()),
            ..Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, 405.0)
        });
        trace
            .held
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::CELSIUS, 36.8));
        trace.saturated = vec![1, 2];
        trace.absent = 3;
        let text = same(
            &[run(Technique::TIME_COURSE, vec![trace])],
            &JcampDxOptions::default(),
        );
        assert!(text.contains("##$WAVELENGTH= 405.0 nm"), "{text}");
        assert!(
            text.contains("##INSTRUMENTAL PARAMETERS= wavelength 405.0 nm"),
            "{text}"
        );
        let named = if unit == Unit::SECOND {
            "SECONDS"
        } else {
            "MINUTES"
        };
        assert!(text.contains(&format!("##XUNITS= {named}")), "{text}");
    }
}

pub(super) fn scans(labels: bool) -> Run {
    let traces = (0..3).map(|scan: i64| {
        let mut trace = spectrum(&[(1200 + scan, 4), (1100 - scan, 4), (900, 4)]);
        trace.label = labels.then(|| format!("scan {scan}"));
        trace.held.push(Coordinate {
            raw: Some(format!("{scan}.50")),
            ..Coordinate::new(Quantity::TIME, Unit::MINUTE, scan as f64 + 0.5)
        });
        trace
            .held
            .push(Coordinate::new(Quantity::TEMPERATURE, Unit::CELSIUS, 37.0));
        trace
    });
    run(Technique::SPECTRAL_TIME_COURSE, traces.collect())
}

#[test]
fn repeated_scans_come_back_from_pages_and_from_blocks() {
    for labels in [false, true] {
        let one = scans(labels);
        // The order of what is held differs: the page variable comes last.
        let ordered = |mut run: Run| {
            for trace in &mut run.traces {
                trace.held.sort_by(|a, b| a.quantity.cmp(&b.quantity));
            }
            run
        };
        for (scans_as_blocks, version) in [
            (false, Version::V5_01),
            (true, Version::V5_01),
            (false, Version::V4_24),
        ] {
            let options = JcampDxOptions {
                scans_as_blocks,
                version,
                ..JcampDxOptions::default()
            };
            let (again, text) = round(std::slice::from_ref(&one), &options);
            assert_eq!(
                text.contains("##NTUPLES="),
                !scans_as_blocks && version == Version::V5_01
            );
            assert_eq!(again.len(), 1, "{text}");
            assert_eq!(
                comparable(&ordered(again[0].clone())),
                comparable(&ordered(one.clone())),
                "{text}"
            );
        }
    }
}

#[test]
fn several_runs_and_several_curves_are_linked_blocks() {
    let mut two = run(
        Technique::SPECTRUM,
        vec![spectrum(&[(1, 1), (2, 1)]), spectrum(&[(3, 2), (4, 2)])],
    );
    two.fields.claim("title", Claim::text("both", said(1)));
    two.traces[0].label = Some("A".into());
    two.traces[1]
        .fields
        .claim("sample", Claim::text("second, cell", said(2)));
    let mut other = run(Technique::SPECTRUM, vec![spectrum(&[(5, 1), (6, 1), (7, 1)])]);
    other.id = RunId::named("other");
    let text = same(&[two, other], &JcampDxOptions::default());
    assert!(
        text.contains("##DATA TYPE= LINK") && text.contains("##BLOCKS= 3"),
        "{text}"
    );
}

#[test]
fn the_same_run_twice_stays_two_runs() {
    let one = run(
        Technique::SPECTRUM,
        vec![spectrum(&[(1, 1), (2, 1)]), spectrum(&[(3, 1), (4, 1)])],
    );
    same(&[one.clone(), one], &JcampDxOptions::default());
}

/// A person who corrects XUNITS by hand is believed, not the private label beside it.
#[test]
fn an_edited_unit_goes_before_a_private_label() {
    let x = column(Quantity::named("temperature"), Unit::CELSIUS, &[(20, 0), (25, 0)]);
    let y = column(Quantity::ABSORBANCE, Unit::ONE, &[(1, 1), (2, 1)]);
    let text = write(
        &[run(Technique::UNKNOWN, vec![Trace::new(x, y).unwrap()])],
        &JcampDxOptions::default(),
    )
    .unwrap()
    .text;
    let edited = text.replace("##YUNITS= ABSORBANCE", "##YUNITS= % TRANSMITTANCE");
    assert_ne!(text, edited);
    assert_eq!(read(&text).runs[0].traces[0].y.unit, Unit::ONE);
    assert_eq!(
        read(&edited).runs[0].traces[0].y.quantity,
        Quantity::TRANSMITTANCE
    );
}

#[test]
fn marks_of_saturation_do_not_slip_when_points_are_lost() {
    let x: Vec<(i64, u8)> = vec![(4000, 1), (4010, 1), (4035, 1), (4100, 1)];
    let mut trace = spectrum(&[(1, 1), (2, 1), (3, 1), (40, 1)]);
    trace.x = column(Quantity::WAVELENGTH, Unit::NANOMETRE, &x);
    trace.saturated = vec![3];
    let text = write(
        &[run(Technique::SPECTRUM, vec![trace])],
        &JcampDxOptions::default(),
    )
    .unwrap()
    .text;
    let damaged = text.replace("401.0,0.2", "401.0,0,,2");
    assert_ne!(text, damaged);
    let reading = read(&damaged);
    assert_eq!(reading.runs[0].traces[0].len(), 3);
    assert!(reading.runs[0].traces[0].saturated.is_empty());
    assert!(codes(&reading).contains(&"saturation-lost".to_owned()));
}

#[test]
fn questions_travel_with_the_run() {
    let mut one = run(Technique::SPECTRUM, vec![spectrum(&[(1, 1), (2, 1)])]);
    one.questions.push(Question {
        code: Code::new("axis-unknown"),
        message: "nm or per cm".into(),
        readings: Vec::new(),
        labels: Vec::new(),
    });
    same(&[one], &JcampDxOptions::default());
}

#[test]
fn peak_lists_come_back() {
    let x = column(Quantity::WAVELENGTH, Unit::NANOMETRE, &[(2800, 1), (5351, 1)]);
    let y = column(Quantity::ABSORBANCE, Unit::ABSORBANCE, &[(5, 1), (12, 1)]);
    let mut trace = Trace::new(x, y).unwrap();
    same(
        &[run(Technique::PEAK_LIST, vec![trace.clone()])],
        &JcampDxOptions::default(),
    );
    trace.row_names = vec!["tyrosine".into(), "betanin, pure".into()];
    same(
        &[run(Technique::PEAK_LIST, vec![trace])],
        &JcampDxOptions::default(),
    );
}

#[test]
fn nothing_to_write_is_an_error_and_losses_are_told() {
    assert!(write(&[], &JcampDxOptions::default()).is_err());
    assert!(write(&[run(Technique::SPECTRUM, vec![])], &JcampDxOptions::default()).is_err());
    let mut trace = spectrum(&[(1, 1), (2, 1)]);
    trace.row_names = vec!["a".into(), "b".into()];
    let mut one = run(Technique::SPECTRUM, vec![trace]);
    one.fields.claim("sample", Claim::text("a", said(1)));
    one.fields.claim("sample", Claim::text("b", said(2)));
    let written = write(&[one], &JcampDxOptions::default()).unwrap();
    let codes: Vec<&str> = written.remarks.iter().map(|r| r.code.as_str()).collect();
    assert!(
        codes.contains(&"point-names-lost") && codes.contains(&"weaker-claims-left-out"),
        "{codes:?}"
    );
}

fn numbers(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<(i64, u8)>> {
    prop_oneof![
        prop::collection::vec((-2_000_000_i64..2_000_000).prop_map(|n| (n, 4)), count.clone()),
        prop::collection::vec((-2_000_000_i64..2_000_000, 0_u8..7), count),
    ]
}

fn trace_of(x: Vec<(i64, u8)>, y: &[(i64, u8)], label: Option<String>) -> Trace {
    let mut trace = spectrum(y);
    if x.len() >= y.len() {
        trace.x = column(Quantity::WAVELENGTH, Unit::NANOMETRE, &x[..y.len()]);
    }
    trace.label = label;
    trace
}

proptest! {
    /// `read(write(run))` is the run: numbers, decimals, axis, held coordinates, fields.
    #[test]
    fn what_is_written_is_read_again(
        curves in prop::collection::vec((numbers(1..30), numbers(0..40), prop::option::of("\\PC{0,30}")), 1..4),
        fields in prop::collection::vec(("[A-Za-zäµ=$#. ]{1,50}", "\\PC{0,120}|[ $#\n\r\t\"\\\\=,]{1,20}"), 0..5),
        held in prop::option::of((1_900_i64..9_000, 0_u8..3)),
        form in 0_usize..5,
        old in any::<bool>(),
        ascii in any::<bool>(),
    ) {
        let traces = curves.iter().map(|(y, x, label)| {
            let mut trace = trace_of(x.clone(), y, label.clone());
            if let Some((integer, digits)) = held {
                let value: f64 = format!("{integer}e-{digits}").parse().unwrap();
                trace.held.push(Coordinate::new(Quantity::TIME, Unit::SECOND, value));
            }
            trace
        });
        let mut one = run(Technique::SPECTRUM, traces.collect());
        for (key, text) in &fields {
            // A key of blanks is none that a reader makes.
            if !key.trim().is_empty() {
                one.fields.claim(key.trim(), Claim::text(text.clone(), said(1)));
            }
        }
        let options = JcampDxOptions {
            form: [Form::Affn, Form::Pac, Form::Sqz, Form::Dif, Form::DifDup][form],
            version: if old { Version::V4_24 } else { Version::V5_01 },
            ascii,
            ..JcampDxOptions::default()
        };
        let (again, text) = round(std::slice::from_ref(&one), &options);
        prop_assert_eq!(again.len(), 1, "{}", text);
        prop_assert_eq!(comparable(&again[0]), comparable(&one), "{}", text);
    }

    /// Repeated scans over one axis (NTUPLES, or blocks in the old version), peak lists and several runs in one file
    /// (LINK) come back in every form, and nothing about them is asked.
    #[test]
    fn scans_and_files_of_several_runs_come_back(
        runs in prop::collection::vec((
            (-5_000_i64..9_000, prop_oneof![1_i64..50, -50_i64..-1], 0_u8..4),
            prop::collection::vec(numbers(12..13), 1..5),
            1_usize..13,
            any::<bool>(),
            any::<bool>(),
        ), 1..4),
        form in 0_usize..5,
        old in any::<bool>(),
    ) {
        let runs: Vec<Run> = runs
            .iter()
            .map(|((first, step, digits), scans, count, labels, peaks)| {
                let x: Vec<(i64, u8)> = (0..*count as i64).map(|i| (first + i * step, *digits)).collect();
                let traces = scans.iter().enumerate().map(|(index, y)| {
                    let label = labels.then(|| format!("scan {index}"));
                    let mut trace = trace_of(x.clone(), &y[..*count], label);
                    if scans.len() > 1 {
                        let time = format!("{}e-1", 25 * index).parse().unwrap();
                        trace.held.push(Coordinate::new(Quantity::TIME, Unit::SECOND, time));
                    }
                    trace
                });
                let mut traces: Vec<Trace> = traces.collect();
                if *peaks {
                    traces.truncate(1);
                    traces[0].held.clear();
                    traces[0].row_names = (0..*count).map(|i| format!("band {i}")).collect();
                    return run(Technique::PEAK_LIST, traces);
                }
                let technique = if scans.len() > 1 { Technique::SPECTRAL_TIME_COURSE } else { Technique::SPECTRUM };
                run(technique, traces)
            })
            .collect();
        let options = JcampDxOptions {
            form: [Form::Affn, Form::Pac, Form::Sqz, Form::Dif, Form::DifDup][form],
            version: if old { Version::V4_24 } else { Version::V5_01 },
            ..JcampDxOptions::default()
        };
        let (again, text) = round(&runs, &options);
        prop_assert_eq!(again.len(), runs.len(), "{}", text);
        for (one, other) in runs.iter().zip(&again) {
            prop_assert_eq!(comparable(one), comparable(other), "{}", text);
        }
    }

    /// No text makes the reader panic or hang, and it never gives a number that is none.
    #[test]
    fn any_text_is_read(lines in prop::collection::vec("##[A-Z$ ]{0,12}=[ -~]{0,20}|[0-9 @A-Za-z%.,+-]{0,40}|##TITLE=|##XYDATA=\\(X\\+\\+\\(Y\\.\\.Y\\)\\)|##END=|##XUNITS=NM|##YUNITS=A", 0..30)) {
        for run in read(&lines.join("\n")).runs {
            for trace in run.traces {
                prop_assert!(trace.x.values.iter().chain(trace.y.values.iter()).all(|v| v.is_finite()));
            }
        }
    }
}

/// Files of machines whose lines end in CR alone.
#[test]
fn lines_may_end_in_cr_alone() {
    let text = file("##XUNITS=NANOMETERS\n##YUNITS=ABSORBANCE", PAIRS);
    let source = Source::new(
        "a.dx",
        text.replace("\r\n", "\n").replace('\n', "\r").into_bytes(),
    );
    let readers = Readers::built_in();
    let (card, reading) = readers.read(&source, None);
    assert_eq!(card.map(|card| card.id.as_str()), Some("built-in/jcamp-dx"));
    assert_eq!(reading.verdict(), Verdict::Read, "{:?}", reading.remarks);
    assert_eq!(reading.runs[0].traces[0].y, read(&text).runs[0].traces[0].y);
}

/// The blocks of a file tell together whether its transmittances are percent.
#[test]
fn percent_is_decided_over_all_blocks_of_a_file() {
    let block = |greatest: &str| {
        format!(
            "##TITLE=t\n##JCAMP-DX=4.24\n##DATA TYPE=UV/VIS SPECTRUM\n##ORIGIN=nowhere\n##OWNER=nobody\n\
             ##XUNITS=NANOMETERS\n##YUNITS=TRANSMITTANCE\n##XFACTOR=1\n##YFACTOR=1\n##NPOINTS=2\n\
             ##XYPOINTS=(XY..XY)\n400, 0.5\n410, {greatest}\n##END=\n"
        )
    };
    let link = |blocks: &[&str]| {
        let inner: String = blocks.iter().map(|greatest| block(greatest)).collect();
        let count = blocks.len();
        read(&format!(
            "##TITLE=all\n##JCAMP-DX=4.24\n##DATA TYPE=LINK\n##BLOCKS={count}\n{inner}##END=\n"
        ))
    };
    let units = |reading: &Reading| -> Vec<String> {
        let units = reading
            .runs
            .iter()
            .map(|run| run.traces[0].y.unit.code().to_owned());
        units.collect()
    };
    // Values to 113 are no fractions, and where one block says so, another with 12 is percent too.
    let percent = link(&["113", "12"]);
    assert_eq!(percent.verdict(), Verdict::Read, "{:?}", percent.runs);
    assert_eq!(units(&percent), ["%", "%"]);
    // Values below 1.5 beside them may be a dark sample in percent: asked.
    let dark = link(&["113", "0.9"]);
    assert_eq!(dark.runs[1].questions[0].code.as_str(), "percent-or-fraction");
    // By themselves they are fractions, as the standard says; 12 alone is asked.
    assert_eq!(units(&link(&["0.9", "1.02"])), ["1", "1"]);
    assert!(link(&["12"]).runs[0].in_question());
}

/// What came home from a table has no unit at its pH, and its comments are several.
#[test]
fn comments_and_bare_numbers_of_known_fields_survive() {
    let mut one = run(Technique::SPECTRUM, vec![spectrum(&[(1200, 4), (1201, 4)])]);
    for (line, comment) in ["the first", "the second, with $$", "the third\nover two lines"]
        .into_iter()
        .enumerate()
    {
        one.fields.claim("comment", Claim::text(comment, said(line + 1)));
    }
    one.fields.claim("ph", Claim::number(7.4, None, "7.40", said(5)));
    let written = write(&[one.clone()], &JcampDxOptions::default()).unwrap();
    assert!(
        written
            .remarks
            .iter()
            .all(|remark| remark.severity == Severity::Note),
        "{:?}",
        written.remarks
    );
    let (again, text) = round(&[one], &JcampDxOptions::default());
    let texts =
        |claims: &[Claim]| -> Vec<String> { claims.iter().map(|claim| claim.value.to_string()).collect() };
    assert_eq!(
        texts(again[0].fields.all("comment")),
        ["the first", "the second, with $$", "the third\nover two lines"],
        "{text}"
    );
    let ph = again[0].fields.get("ph").unwrap();
    assert_eq!(
        (&ph.value, ph.unit.as_ref().map(Unit::code)),
        (&Value::Number(7.4), Some("[pH]"))
    );
    assert!(again[0].fields.get("origin").is_none(), "{text}");
}
