use curvary_record::Verdict;

use super::*;
use crate::Assumptions;

const TEXT: &str = "sample=betanin\n400 0.1200\n405 x\n410 0.1400\n";

fn card() -> ReaderInfo {
    ReaderInfo {
        id: "plugin/trial".into(),
        version: "1".into(),
        title: "a trial".into(),
    }
}

fn said<'a>(source: &'a Source, text: &str) -> LocatedText<'a> {
    let start = source.text().find(text).expect("it is there");
    LocatedText {
        text: &source.text()[start..start + text.len()],
        span: Span::new(start, start + text.len()),
    }
}

fn column<'a>(quantity: &'a str, unit: &'a str, cells: &'a [LocatedText<'a>]) -> ColumnInput<'a> {
    ColumnInput {
        quantity,
        unit,
        values: Values::Texts(cells),
        ..ColumnInput::default()
    }
}

fn read(source: &Source, card: &ReaderInfo, x: (&str, &str)) -> Result<Reading, ContractViolation> {
    let mut sink = Sink::new(source, card, SpanUnit::Text, SourceLimits::USUAL);
    let cells = |texts: [&str; 3]| texts.map(|text| said(source, text));
    sink.begin_run("", Span::default())?;
    sink.claim(LocatedText::of("sample"), said(source, "betanin"))?;
    let (xs, ys) = (cells(["400", "405", "410"]), cells(["0.1200", "x", "0.1400"]));
    sink.axis(&column(x.0, x.1, &xs))?;
    sink.curve(&CurveInput {
        column: column("absorbance", "", &ys),
        ..CurveInput::default()
    })?;
    sink.end_run()?;
    sink.finish()
}

#[test]
fn what_stood_there_becomes_a_run() {
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    let reading = read(&source, &card, ("wavelength", "nm")).expect("in order");
    let run = &reading.runs[0];
    assert_eq!(reading.verdict(), Verdict::Read);
    assert_eq!(run.technique, Technique::SPECTRUM);
    assert_eq!(run.fields.text("sample"), Some("betanin"));
    let trace = &run.traces[0];
    assert_eq!(&trace.x.values[..], [400.0, 410.0]);
    assert_eq!(trace.y.texts().collect::<Vec<_>>(), ["0.1200", "0.1400"]);
    assert_eq!((trace.lines.get(0), trace.lines.get(1)), (Some(2), Some(4)));
    assert_eq!((trace.absent, run.remarks.len()), (1, 1));
    assert_eq!(run.remarks[0].line(), Some(3));
}

#[test]
fn what_is_not_said_is_asked_and_can_be_answered() {
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    let asked = read(&source, &card, ("time", "")).expect("in order");
    assert_eq!(asked.verdict(), Verdict::InQuestion);
    assert_eq!(asked.runs[0].questions[0].readings[1].assume, "x=time:min");
    let mut assume = Assumptions::none();
    assume.add("x=time:min").expect("an answer");
    let source = source.assuming(assume);
    let settled = read(&source, &card, ("time", "")).expect("in order");
    assert_eq!(settled.verdict(), Verdict::Read);
    assert_eq!(settled.runs[0].traces[0].x.unit.code(), "min");
}

#[test]
fn what_cannot_be_is_a_breach() {
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    for (x, wanted) in [
        (("wavelenght", "nm"), "did you mean `wavelength`?"),
        (("wavelength", "s"), "measures something else"),
    ] {
        let why = read(&source, &card, x).expect_err("it cannot be").why;
        assert!(why.contains(wanted), "{why}");
    }
    let new = || Sink::new(&source, &card, SpanUnit::Text, SourceLimits::USUAL);
    assert!(new().end_run().is_err());
    assert!(new().claim(LocatedText::of("a"), LocatedText::of("b")).is_err());
    let mut sink = new();
    sink.begin_run("", Span::default()).expect("the first");
    assert!(sink.curve(&CurveInput::default()).is_err());
    assert!(sink.begin_run("", Span::default()).is_err());
    assert!(sink.finish().is_err());
    let mut sink = Sink::new(
        &source,
        &card,
        SpanUnit::Text,
        SourceLimits {
            points: 2,
            ..SourceLimits::USUAL
        },
    );
    sink.begin_run("", Span::default()).expect("the first");
    let cells = [LocatedText::of("1"); 3];
    assert!(sink.axis(&column("time", "s", &cells)).is_err());
}

#[test]
fn a_reader_asks_what_only_it_knows() {
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    let ask = |source: &Source| {
        let mut sink = Sink::new(source, &card, SpanUnit::Text, SourceLimits::USUAL);
        sink.begin_run("time-course", Span::default()).expect("a run");
        let cells = [LocatedText::of("1"), LocatedText::of("2")];
        sink.axis(&column("time", "s", &cells)).expect("an axis");
        let column = column("new:glow", "lamps", &cells);
        sink.curve(&CurveInput {
            column,
            ..CurveInput::default()
        })
        .expect("a curve");
        sink.question(
            "lamp",
            "which lamp was lit",
            &[("left", "the left"), ("right", "the right")],
            Span::default(),
        )
        .expect("a question");
        sink.end_run().expect("the end");
        sink.finish().expect("in order")
    };
    let asked = ask(&source);
    assert_eq!(asked.runs[0].traces[0].y.unit.code(), "{lamps}");
    assert_eq!(asked.runs[0].questions[0].readings[0].assume, "trial/lamp=left");
    let mut assume = Assumptions::none();
    assume.add("trial/lamp=left").expect("an answer");
    assert_eq!(ask(&source.assuming(assume)).verdict(), Verdict::Read);
}

/// A run of two spectra over one axis, as a reader has it that decides about all tables together.
fn whole() -> CompletedRun {
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    let reading = read(&source, &card, ("wavelength", "nm")).expect("in order");
    let mut run = CompletedRun::from(reading.runs[0].clone());
    run.traces.push(run.traces[0].clone());
    run
}

#[test]
fn a_run_that_is_handed_over_as_a_whole_is_numbered_and_not_copied() {
    let (source, card) = (Source::new("b.txt", TEXT.into()), card());
    let run = whole();
    let numbers = run.traces[0].y.values.clone();
    let mut sink = Sink::new(&source, &card, SpanUnit::Bytes, SourceLimits::WHOLE);
    sink.understood(run.clone()).expect("in order");
    sink.understood(CompletedRun {
        traces: Vec::new(),
        ..run.clone()
    })
    .expect("no run, and no breach");
    sink.understood(run).expect("in order");
    let reading = sink.finish().expect("in order");
    assert_eq!(reading.runs.len(), 2);
    assert!(reading.runs[1].traces[0].y.values.is_shared_with(&numbers));
    assert_eq!(reading.runs[1].id, RunId::new(source.digest(), 1));
    assert_eq!(reading.runs[1].source.ordinal, 1);
    assert_eq!(reading.runs[1].source.reader, "plugin/trial");
    assert_eq!(reading.runs[1].source.encoding, None);
    // The run without a point is told, with what was odd about it.
    assert_eq!(reading.remarks[0].code.as_str(), "no-table");
    assert_eq!(reading.remarks.len(), 2);
}

#[test]
fn what_no_run_can_be_is_a_breach_of_whole_runs_too() {
    type Spoil = fn(&mut CompletedRun);
    let spoils: [(Spoil, &str); 7] = [
        (
            |run| run.traces[1].y.values = vec![1.0].into(),
            "over an axis of 2",
        ),
        (
            |run| run.traces[1].y.values = vec![1.0, f64::NAN].into(),
            "no finite number",
        ),
        (
            |run| run.traces[1].x.values = vec![f64::INFINITY, 1.0].into(),
            "no finite number",
        ),
        (
            |run| run.traces[0].y.decimals.push(1),
            "2 numbers came with the decimals of 3",
        ),
        (|run| run.traces[0].lines.push(9), "2 points came with 3 lines"),
        (
            |run| run.traces[0].row_names.push("one".into()),
            "2 points came with 1 names",
        ),
        (|run| run.traces[0].saturated.push(2), "behind the last of 2"),
    ];
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    for (spoil, wanted) in spoils {
        let mut run = whole();
        spoil(&mut run);
        let mut sink = Sink::new(&source, &card, SpanUnit::Text, SourceLimits::WHOLE);
        let told = sink.understood(run);
        let reading = sink.finished(told);
        assert_eq!(reading.verdict(), Verdict::Failed, "{wanted}");
        assert!(
            reading.remarks[0].message.contains(wanted),
            "{}",
            reading.remarks[0].message
        );
    }
    let mut sink = Sink::new(&source, &card, SpanUnit::Text, SourceLimits::WHOLE);
    sink.begin_run("", Span::default()).expect("the first");
    assert!(!sink.understood(whole()).expect_err("a run is open").too_much);
}

#[test]
fn whole_runs_keep_the_limits_and_a_shared_axis_counts_once() {
    let (source, card) = (Source::new("a.txt", TEXT.into()), card());
    let tried = |change: fn(&mut SourceLimits)| {
        let mut limits = SourceLimits {
            runs: 1,
            curves: 2,
            points: 6,
            statements: 1,
            remarks: 1,
            text: 7,
            texts: 7,
        };
        change(&mut limits);
        let mut sink = Sink::new(&source, &card, SpanUnit::Text, limits);
        let told = sink.understood(whole());
        sink.finished(told)
    };
    assert_eq!(tried(|_| {}).verdict(), Verdict::Read);
    let changes: [fn(&mut SourceLimits); 7] = [
        |limits| limits.runs -= 1,
        |limits| limits.curves -= 1,
        |limits| limits.points -= 1,
        |limits| limits.statements -= 1,
        |limits| limits.remarks -= 1,
        |limits| limits.text -= 1,
        |limits| limits.texts -= 1,
    ];
    for change in changes {
        let reading = tried(change);
        assert_eq!(reading.verdict(), Verdict::Refused);
        assert_eq!(reading.remarks[0].code.as_str(), "file-too-large");
    }
}
