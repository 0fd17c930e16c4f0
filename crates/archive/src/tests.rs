//! The archive as a whole: what goes in comes out, whatever happens in between.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};

use curvary_record::{
    Alternative, Claim, Code, Column, Coordinate, Diagnostic, Digest, Fields, Origin, Outcome, OutcomeKind,
    Parameter, Place, Quantity, Question, Run, RunId, SourceRef, Technique, Trace, Unit, Verdict,
};

use crate::disk::{Disk, RealDisk, Tail};
use crate::facts::{Facts, RunContext};
use crate::holder::Holder;
use crate::likeness;
use crate::lock::Lock;
use crate::query::QueryNode;
use crate::{
    Addition, AlikeFound, AlikeHit, AlikeOptions, Archive, Curve, Direction, Error, FacetName, FindOptions,
    Note, PathState, Query, RunOrder, Stat, Unlocked, Writer, words,
};

mod content;
mod copies;
mod damage;
mod flips;
mod full;
mod older;
mod roots;

/// A folder that goes away with the test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!(
            "curvary-archive-{}-{}",
            std::process::id(),
            NEXT.fetch_add(1, Ordering::Relaxed)
        );
        let path = std::env::temp_dir().join(name);
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).expect("a folder");
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Numbers that only look random: the low-discrepancy mixing of splitmix64.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    fn pick<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[usize::try_from(self.below(all.len() as u64)).expect("a small number")]
    }

    fn chance(&mut self, percent: u64) -> bool {
        self.below(100) < percent
    }
}

const SAMPLES: [&str; 6] = [
    "betanin",
    "Bétanin extract",
    "beet juice 2",
    "phenol red",
    "NADH",
    "p-nitrophenol",
];
const BUFFERS: [&str; 3] = ["citrate phosphate", "phosphate citrate", "Tris"];

fn unit(code: &str) -> Option<Unit> {
    Some(Unit::ucum(code).expect("a unit"))
}

/// An invented export and what a reader made of it.
fn addition(n: u64, version: u64) -> Addition {
    let mut dice = Dice(n * 1000 + version);
    let points = 5 + dice.below(20);
    let mut text = format!("invented export {n} version {version}\n");
    let mut x = Vec::new();
    let mut y = Vec::new();
    for point in 0..points {
        let value = f64::from(u32::try_from(dice.below(10_000)).expect("small")) / 10_000.0;
        x.push(400.0 + f64::from(u32::try_from(point).expect("small")) * 5.0);
        y.push(value);
        text.push_str(&format!("{}\t{value:.4}\n", 400 + point * 5));
    }
    let digest = Digest::of(text.as_bytes());
    let runs = 1 + usize::from(dice.chance(20));
    let made = (0..runs)
        .map(|ordinal| run(&digest, ordinal, n, &mut dice, &x, &y))
        .collect();
    let bytes = text.into_bytes();
    Addition {
        path: path(n),
        stat: Some(Stat {
            bytes: bytes.len() as u64,
            modified: i64::try_from(1_600_000_000_000_000_000 + version).expect("small"),
            changed: 1,
            inode: n,
        }),
        bytes,
        digest,
        verdict: Verdict::Read,
        reader: Some("built-in/text-table".into()),
        remarks: Vec::new(),
        runs: made,
        family: None,
        again: false,
    }
}

fn path(n: u64) -> String {
    format!("year{}/Messung {n:04}.txt", 2015 + n % 8)
}

fn run(digest: &Digest, ordinal: usize, n: u64, dice: &mut Dice, x: &[f64], y: &[f64]) -> Run {
    let source = |line| Origin::Source(Place::line(line));
    let mut fields = Fields::default();
    if dice.chance(80) {
        fields.claim("sample", Claim::text(*dice.pick(&SAMPLES), source(1)));
    }
    if dice.chance(80) {
        let celsius = f64::from(u32::try_from(dice.below(9)).expect("small")) * 0.5 + 34.0;
        let claim = if dice.chance(50) {
            Claim::number(celsius, unit("Cel"), format!("{celsius} °C"), source(2))
        } else {
            let kelvin: f64 = format!("{:.2}", celsius + 273.15).parse().expect("a number");
            Claim::number(kelvin, unit("K"), format!("{kelvin} K"), source(2))
        };
        fields.claim("temperature", claim);
    }
    if dice.chance(20) {
        fields.claim("temperature", Claim::number(36.0, unit("Cel"), "36", source(3)));
    }
    if dice.chance(70) {
        let ph = f64::from(u32::try_from(dice.below(40)).expect("small")) / 10.0 + 5.0;
        fields.claim("ph", Claim::number(ph, None, format!("{ph}"), source(4)));
    }
    if dice.chance(70) {
        let micromolar = f64::from(u32::try_from(10 * dice.below(10)).expect("small"));
        let claim = match dice.below(3) {
            0 => Claim::number(micromolar, unit("umol/L"), format!("{micromolar} µM"), source(5)),
            1 => Claim::number(
                micromolar / 1e3,
                unit("mmol/L"),
                format!("{} mM", micromolar / 1e3),
                source(5),
            ),
            _ => Claim::number(
                micromolar / 1e6,
                unit("mol/L"),
                format!("{} M", micromolar / 1e6),
                source(5),
            ),
        };
        fields.claim("concentration", claim);
    }
    if dice.chance(60) {
        fields.claim("buffer", Claim::text(*dice.pick(&BUFFERS), source(6)));
    }
    if dice.chance(85) {
        let date = format!(
            "{}-{:02}-{:02}",
            2015 + n % 8,
            1 + dice.below(12),
            1 + dice.below(28)
        );
        fields.claim("date", Claim::text(date, source(7)));
    }
    if dice.chance(30) {
        fields.claim(
            "Lot number",
            Claim::text(format!("A {}", dice.below(4)), source(8)),
        );
    }
    if dice.chance(30) {
        let flow = f64::from(u32::try_from(dice.below(5)).expect("small"));
        fields.claim(
            "flow",
            Claim::number(flow, unit("mL/min"), format!("{flow} mL/min"), source(9)),
        );
    }
    let time_course = dice.chance(40);
    let axis = if time_course {
        Column::new(Quantity::TIME, Unit::SECOND, x.to_vec())
    } else {
        Column::new(Quantity::WAVELENGTH, Unit::NANOMETRE, x.to_vec())
    };
    let mut trace = Trace::new(
        axis,
        Column::new(Quantity::ABSORBANCE, Unit::ABSORBANCE, y.to_vec()),
    )
    .expect("one length");
    trace.label = Some(format!("A{n}"));
    if time_course {
        let nm = *dice.pick(&[340.0, 405.0, 536.0]);
        trace
            .held
            .push(Coordinate::new(Quantity::WAVELENGTH, Unit::NANOMETRE, nm));
    }
    let questions = if dice.chance(10) {
        vec![Question {
            code: Code::new("date-order"),
            message: "day and month may be swapped".into(),
            readings: vec![Alternative {
                assume: "date=day-first".into(),
                says: "3 April".into(),
            }],
            labels: Vec::new(),
        }]
    } else {
        Vec::new()
    };
    Run {
        id: RunId::new(digest, ordinal),
        source: SourceRef {
            path: path(n),
            digest: digest.clone(),
            reader: "built-in/text-table".into(),
            reader_version: "1".into(),
            encoding: Some("UTF-8".into()),
            ordinal: u32::try_from(ordinal).expect("small"),
            lines: Some((1, 20)),
        },
        technique: if time_course {
            Technique::TIME_COURSE
        } else {
            Technique::SPECTRUM
        },
        because: Vec::new(),
        fields,
        traces: vec![trace],
        questions,
        remarks: Vec::new(),
    }
}

fn add(writer: &mut Writer, additions: Vec<Addition>) -> Result<(), Error> {
    let preparer = writer.preparer();
    for batch in additions.chunks(7) {
        writer.append(preparer.prepare(batch.to_vec())?)?;
    }
    Ok(())
}

fn filled(root: &Path, runs: u64) -> Archive {
    let archive = Archive::create(root, "test").expect("a new archive");
    let mut writer = archive.write("test").expect("the lock");
    add(&mut writer, (0..runs).map(|n| addition(n, 0)).collect()).expect("it adds");
    writer.finish().expect("it commits");
    Archive::open(root).expect("it opens")
}

fn clean(archive: &Archive) -> u64 {
    let checked = archive.verify(&mut |_, _| {}).expect("it checks");
    assert_eq!(checked.problems, [], "{:?}", checked.remarks);
    checked.runs
}

fn found(archive: &Archive, query: &str) -> BTreeSet<String> {
    let query = archive.query(query).expect(query);
    let found = archive.find(&query, &FindOptions::default()).expect("it finds");
    assert_eq!((found.total, found.behind), (found.hits.len(), 0));
    found
        .hits
        .into_iter()
        .map(|hit| hit.id.as_str().to_owned())
        .collect()
}

#[test]
fn what_goes_in_comes_out_bit_for_bit() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 60);
    for n in 0..60 {
        let added = addition(n, 0);
        assert_eq!(archive.original(&added.digest).expect("it is there"), added.bytes);
        for run in added.runs {
            assert_eq!(archive.stored(&run.id).expect("it is there"), run);
            let view = archive.run(&run.id.as_str()[..12]).expect("it is there");
            assert_eq!(
                (view.run, view.paths, view.superseded),
                (run, vec![path(n)], false)
            );
        }
    }
    let expected: u64 = (0..60).map(|n| addition(n, 0).runs.len() as u64).sum();
    assert_eq!(clean(&archive), expected);
    assert_eq!(
        archive.records().filter(Result::is_ok).count() as u64,
        120 + expected
    );
    assert_eq!(archive.sources().expect("they are there").len(), 60);
    assert!(matches!(archive.run("zz"), Err(Error::NoRun { .. })));
    let shortest = found(&archive, "").into_iter().next().expect("a run")[..1].to_owned();
    assert!(matches!(
        archive.run(&shortest),
        Err(Error::Ambiguous { .. }) | Ok(_)
    ));
}

/// Asks the facts themselves, one run after the other.
fn answers(node: &QueryNode, facts: &Facts) -> bool {
    let phrase = |text: &String, wanted: &[String]| {
        let words: Vec<String> = words::words(text).into_iter().map(|word| word.0).collect();
        words.windows(wanted.len()).any(|window| window == wanted)
    };
    match node {
        QueryNode::And(nodes) => nodes.iter().all(|node| answers(node, facts)),
        QueryNode::Or(nodes) => nodes.iter().any(|node| answers(node, facts)),
        QueryNode::Not(node) => !answers(node, facts),
        QueryNode::Words { key: None, words } => {
            facts.texts.values().flatten().any(|text| phrase(text, words))
        }
        QueryNode::Words {
            key: Some(key),
            words,
        } => facts
            .texts
            .get(key)
            .is_some_and(|texts| texts.iter().any(|text| phrase(text, words))),
        QueryNode::Like { key, pattern } => {
            let fits = |text: &String| words::words(text).iter().any(|word| pattern.fits(&word.0));
            match key {
                None => facts.texts.values().flatten().any(fits),
                Some(key) => facts.texts.get(key).into_iter().flatten().any(fits),
            }
        }
        QueryNode::Named(names) => names.iter().any(|name| facts.id.starts_with(name.as_str())),
        QueryNode::Exact { list, value } => facts.exact.get(list).is_some_and(|words| words.contains(value)),
        QueryNode::Number {
            key,
            dimension,
            bounds,
        } => {
            let which = (key.clone(), dimension.clone());
            facts
                .numbers
                .get(&which)
                .is_some_and(|values| values.iter().any(|&value| bounds.hold(value)))
                || facts
                    .spans
                    .get(&which)
                    .is_some_and(|&(from, to)| bounds.covered(from, to))
        }
        QueryNode::Day { from, to } => facts.day.is_some_and(|day| *from <= day && day <= *to),
    }
}

fn random_term(dice: &mut Dice) -> String {
    let celsius = 33.5 + f64::from(u32::try_from(dice.below(22)).expect("small")) * 0.25;
    let micromolar = 10 * dice.below(11);
    match dice.below(22) {
        0 => (*dice.pick(&["betanin", "extract", "red", "nadh", "A7", "messung", "2"])).to_owned(),
        1 => format!(
            "sample:{}",
            dice.pick(&[
                "betanin",
                "beet",
                "\"beet juice\"",
                "\"juice beet\"",
                "\"phenol red\""
            ])
        ),
        2 => format!("buffer:\"{}\"", dice.pick(&BUFFERS)),
        3 => format!("temperature:{celsius}..{}C", celsius + 1.0),
        4 => format!(
            "temperature:{}{:.2}K",
            dice.pick(&["", "<", "<=", ">", ">="]),
            celsius + 273.15
        ),
        5 => format!("temperature:{celsius}"),
        6 => format!(
            "concentration:{}{micromolar}uM",
            dice.pick(&["", "<", "<=", ">", ">="])
        ),
        7 => format!(
            "concentration:{}..{}mM",
            0.01,
            0.001 * f64::from(u32::try_from(micromolar + 10).expect("small"))
        ),
        8 => format!(
            "ph:{}{:.1}",
            dice.pick(&["", "<", ">="]),
            5.0 + f64::from(u32::try_from(dice.below(40)).expect("small")) / 10.0
        ),
        9 => format!("date:{}", 2015 + dice.below(8)),
        10 => format!(
            "date:{}..{}-{:02}",
            2015 + dice.below(3),
            2018 + dice.below(4),
            1 + dice.below(12)
        ),
        11 => format!(
            "date:{}{}-{:02}-11",
            dice.pick(&["<", "<=", ">", ">="]),
            2015 + dice.below(8),
            1 + dice.below(12)
        ),
        12 => format!("wavelength:{}nm", dice.pick(&["405", "340", "536", "500..600"])),
        13 => format!(
            "wavelength-range:{}",
            dice.pick(&["400..420nm", "0.43um", ">450", "<400", "<=400"])
        ),
        14 => format!("technique:{}", dice.pick(&["spectrum", "time-course"])),
        15 => format!(
            "has:{}",
            dice.pick(&["sample", "ph", "question", "result", "dispute", "flow"])
        ),
        16 => format!("is:{}", dice.pick(&["in-question", "read"])),
        17 => format!("points:{}{}", dice.pick(&["<", ">", "<="]), 5 + dice.below(20)),
        18 => format!("\"Lot number\":\"A {}\"", dice.below(4)),
        19 => format!("flow:{}{}", dice.below(5), dice.pick(&["", "mL/min", "ml/min"])),
        20 => format!("flow:<{}", dice.below(5)),
        _ => format!("result.k:{}..{}/min", dice.below(3), 3 + dice.below(3)),
    }
}

fn random_query(dice: &mut Dice, depth: u32) -> String {
    let mut query = String::new();
    for nth in 0..1 + dice.below(3) {
        if nth > 0 {
            query.push_str(if dice.chance(30) { " or " } else { " " });
        }
        if dice.chance(25) {
            query.push('-');
        }
        if depth > 0 && dice.chance(20) {
            query.push_str(&format!("({})", random_query(dice, depth - 1)));
        } else {
            query.push_str(&random_term(dice));
        }
    }
    query
}

#[test]
fn the_index_finds_exactly_what_a_look_at_every_run_finds() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 300);
    let mut writer = archive.write("test").expect("the lock");
    // A third of the runs get results, some files change, some bytes are met twice.
    for n in (0..300).step_by(3) {
        let run = &addition(n, 0).runs[0];
        let k = f64::from(u32::try_from(n % 7).expect("small"));
        assert!(writer.put_outcome(outcome(&run.id, n, k)).expect("it keeps"));
        assert!(!writer.put_outcome(outcome(&run.id, n, k)).expect("it keeps once"));
    }
    add(
        &mut writer,
        (0..300).step_by(11).map(|n| addition(n, 1)).collect(),
    )
    .expect("it adds");
    for n in (1..300).step_by(13) {
        writer
            .met(&format!("copies/{n}.txt"), &addition(n, 0).digest, None)
            .expect("it meets");
    }
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);
    let mut everything = Query::parse("is:superseded or -is:superseded", &[]).expect("a query");
    everything.superseded = true;
    let all = archive
        .find(&everything, &FindOptions::default())
        .expect("it finds");
    let facts: Vec<Facts> = all
        .hits
        .iter()
        .map(|hit| {
            let view = archive.run(hit.id.as_str()).expect("it is there");
            let around = RunContext {
                family: None,
                settings: archive.settings(),
                paths: &view.paths,
                superseded: view.superseded,
                notes: &view.notes,
                outcomes: &view.outcomes,
            };
            Facts::of(&view.run, &around)
        })
        .collect();
    assert!(facts.iter().any(|facts| facts.exact["is"].contains("superseded")));
    let mut dice = Dice(1);
    let mut hits = 0;
    for _ in 0..1500 {
        let text = random_query(&mut dice, 2);
        let query = archive.query(&text).expect(&text);
        let expected: BTreeSet<String> = facts
            .iter()
            .filter(|facts| query.superseded || !facts.exact["is"].contains("superseded"))
            .filter(|facts| answers(&query.node, facts))
            .map(|facts| facts.id.clone())
            .collect();
        assert_eq!(found(&archive, &text), expected, "{text}");
        hits += expected.len();
    }
    assert!(hits > 10_000, "the queries ask for something: {hits}");
}

fn outcome(run: &RunId, n: u64, k: f64) -> Outcome {
    Outcome {
        id: format!("{n:016x}"),
        kind: OutcomeKind::Fit,
        runs: vec![run.clone()],
        trace: Some(0),
        model: "first-order".into(),
        by: "test".into(),
        settings: Default::default(),
        termination: "converged".into(),
        parameters: vec![Parameter {
            name: "k".into(),
            value: Some(k / 60.0),
            unit: unit("/s"),
            standard_error: None,
            intervals: Vec::new(),
            reason: None,
        }],
        covariance: Vec::new(),
        statistics: Default::default(),
        remarks: Vec::new(),
    }
}

#[test]
fn changed_files_identical_files_and_files_read_again() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 20);
    let before = found(&archive, "");
    let mut writer = archive.write("test").expect("the lock");
    let stat = addition(3, 0).stat.expect("a stat");
    assert_eq!(writer.known(&path(3), &stat), PathState::Unchanged);
    assert_eq!(
        writer.known(&path(3), &Stat { modified: 9, ..stat }),
        PathState::Perhaps
    );
    assert_eq!(writer.known("elsewhere.txt", &stat), PathState::New);
    // The same again: nothing happens.
    let prepared = writer
        .preparer()
        .prepare((0..20).map(|n| addition(n, 0)).collect())
        .expect("it prepares");
    let done = writer.append(prepared).expect("it appends");
    assert_eq!((done.new, done.had, done.changed, done.runs), (0, 20, 0, 0));
    writer.finish().expect("it commits");
    assert_eq!(
        fs::read_to_string(folder.0.join("manifest.json"))
            .expect("it is there")
            .matches("\"commit\": 1")
            .count(),
        1
    );

    let mut writer = archive.write("test").expect("the lock");
    let mut copy = addition(5, 0);
    copy.path = "copy of 5.txt".into();
    let prepared = writer
        .preparer()
        .prepare(vec![addition(3, 1), copy.clone(), copy])
        .expect("it prepares");
    let done = writer.append(prepared).expect("it appends");
    assert_eq!((done.new, done.had, done.changed), (1, 2, 1));
    let mut again = addition(7, 0);
    again.again = true;
    again.runs.truncate(1);
    again.runs[0].fields.claim(
        "operator",
        Claim::text("read again", Origin::Source(Place::line(1))),
    );
    let id = again.runs[0].id.clone();
    writer
        .note(Note {
            fields: [("project".to_owned(), "beets".to_owned())].into(),
            ..Note::about(&id)
        })
        .expect("a note");
    writer.put_outcome(outcome(&id, 7, 1.0)).expect("it keeps");
    let prepared = writer
        .preparer()
        .prepare(vec![again.clone()])
        .expect("it prepares");
    writer.append(prepared).expect("it appends");
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);

    let old = addition(3, 0).runs[0].id.clone();
    let new = addition(3, 1).runs[0].id.clone();
    let now = found(&archive, "");
    assert!(!now.contains(old.as_str()) && now.contains(new.as_str()));
    assert!(found(&archive, "is:superseded").contains(old.as_str()));
    assert!(archive.run(old.as_str()).expect("it is kept").superseded);
    assert_eq!(
        archive.original(&addition(3, 0).digest).expect("it is kept"),
        addition(3, 0).bytes
    );
    assert_eq!(
        archive
            .run(addition(5, 0).runs[0].id.as_str())
            .expect("it is there")
            .paths,
        [path(5), "copy of 5.txt".into()]
    );
    assert!(found(&archive, "path:copy").contains(addition(5, 0).runs[0].id.as_str()));
    let view = archive.run(id.as_str()).expect("it is there");
    assert_eq!(view.run.fields.text("operator"), Some("read again"));
    assert_eq!(view.run.fields.text("project"), Some("beets"));
    assert_eq!(view.outcomes.len(), 1);
    assert!(found(&archive, "operator:again project:beets has:result has:note").contains(id.as_str()));
    let fewer = addition(7, 0).runs.len() - 1 + addition(3, 0).runs.len();
    assert_eq!(now.len(), before.len() - fewer + addition(3, 1).runs.len());
}

#[test]
fn notes_words_of_the_house_and_the_worklist() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 80);
    let mut writer = archive.write("test").expect("the lock");
    let mut refused = addition(900, 0);
    refused.path = "letter.txt".into();
    refused.runs.clear();
    refused.verdict = Verdict::Refused;
    refused.remarks = vec![Diagnostic::error(Code::new("prose"), "this is a letter")];
    writer
        .append(writer.preparer().prepare(vec![refused]).expect("it prepares"))
        .expect("it appends");
    let id = addition(0, 0).runs[0].id.clone();
    let fields = [
        ("temperature".to_owned(), "21 °C".to_owned()),
        ("operator".to_owned(), "A. N. Other".to_owned()),
    ];
    writer
        .note(Note {
            fields: fields.into(),
            assume: vec!["date=day-first".into()],
            ..Note::about(&id)
        })
        .expect("a note");
    assert!(matches!(writer.note(Note::about(&id)), Err(Error::Note { .. })));
    assert!(matches!(
        writer.note(Note::about(&RunId::named("nobody"))),
        Err(Error::NoRun { .. })
    ));
    writer.finish().expect("it commits");

    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);
    assert_eq!(
        found(&archive, "temperature:21C operator:other"),
        [id.as_str().to_owned()].into()
    );
    assert_eq!(
        archive.assumed(&addition(0, 0).digest).expect("notes"),
        ["date=day-first"]
    );
    assert_eq!(archive.notes().expect("notes").len(), 1);
    let list = archive.worklist(3).expect("a list");
    assert_eq!(
        (list.unread[0].code.as_str(), list.unread[0].examples[0].as_str()),
        ("prose", "letter.txt")
    );
    assert_eq!(list.unread[0].message, "this is a letter");
    assert_eq!(list.questions[0].readings[0].assume, "date=day-first");
    assert_eq!(
        list.questions[0].count as usize,
        found(&archive, "question:date-order").len()
    );
    assert_eq!(list.disputes[0].field, "temperature");
    assert_eq!(list.nameless as usize, found(&archive, "-has:sample").len());
    let words: Vec<&str> = list.words.iter().map(|word| word.key.as_str()).collect();
    assert!(
        words.contains(&"flow") && words.contains(&"Lot number"),
        "{words:?}"
    );

    // One line in archive.toml, and old runs follow without being read again.
    let toml = folder.0.join("archive.toml");
    let text = fs::read_to_string(&toml).expect("it is there")
        + "\n[words]\n\"Lot number\" = \"replicate\"\n[[names]]\nname = \"house\"\npattern = \"Messung {project}\"\n";
    fs::write(&toml, text).expect("it writes");
    let lots = found(&archive, "has:\"Lot number\"");
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(found(&archive, "has:replicate"), lots);
    assert_eq!(found(&archive, "project:0007").len(), addition(7, 0).runs.len());
    clean(&archive);
}

#[test]
fn orders_facets_snippets_and_limits() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 120);
    let query = archive.query("").expect("a query");
    for key in [
        "date",
        "-temperature",
        "sample",
        "-points",
        "path",
        "wavelength-range",
    ] {
        let sort: RunOrder = key.parse().expect("a key");
        let options = FindOptions {
            sort: Some(sort.clone()),
            ..FindOptions::default()
        };
        let all = archive.find(&query, &options).expect("it finds");
        let part = archive
            .find(
                &query,
                &FindOptions {
                    limit: 10,
                    skip: 5,
                    ..options
                },
            )
            .expect("it finds");
        assert_eq!(part.hits, all.hits[5..15]);
        let values: Vec<Option<f64>> = all
            .hits
            .iter()
            .map(|hit| match sort.key.as_str() {
                "points" => Some(f64::from(u32::try_from(hit.summary.points).expect("small"))),
                "temperature" => archive.stored(&hit.id).expect("a run").fields.si("temperature"),
                _ => None,
            })
            .collect();
        for pair in values.windows(2) {
            if let [Some(a), Some(b)] = pair {
                assert!(
                    if sort.direction == Direction::Falling {
                        a >= b
                    } else {
                        a <= b
                    },
                    "{key}: {a} {b}"
                );
            }
            assert!(
                !matches!(pair, [None, Some(_)]),
                "what has no value comes last: {key}"
            );
        }
    }
    let wrong = FindOptions {
        sort: Some("temprature".parse().expect("a key")),
        ..FindOptions::default()
    };
    assert!(matches!(archive.find(&query, &wrong), Err(Error::Query(_))));
    let facets = archive
        .facets(
            &query,
            &[
                FacetName::Technique,
                FacetName::Sample,
                FacetName::Year,
                FacetName::Reader,
                FacetName::Verdict,
            ],
            3,
        )
        .expect("they count");
    let techniques: u64 = facets[&FacetName::Technique].iter().map(|one| one.count).sum();
    assert_eq!(techniques as usize, found(&archive, "").len());
    assert_eq!(facets[&FacetName::Reader][0].value, "built-in/text-table");
    assert!(
        facets[&FacetName::Sample].len() == 3
            && facets[&FacetName::Sample].is_sorted_by(|a, b| a.count >= b.count)
    );
    let query = archive.query("extract").expect("a query");
    let hits = archive
        .find(
            &query,
            &FindOptions {
                snippets: true,
                ..FindOptions::default()
            },
        )
        .expect("it finds")
        .hits;
    assert_eq!(hits[0].snippet.as_deref(), Some("sample: Bétanin [extract]"));
}

#[test]
fn readers_never_wait_and_writers_take_turns() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 10);
    let before = found(&archive, "").len();
    let mut writer = archive.write("a test that writes").expect("the lock");
    match archive.write("another") {
        Err(Error::Locked { holder, .. }) => assert_eq!(holder.command, "a test that writes"),
        _ => panic!("two writers"),
    }
    add(&mut writer, (10..30).map(|n| addition(n, 0)).collect()).expect("it adds");
    let other = Archive::open(&folder.0).expect("it opens while another writes");
    assert_eq!(found(&other, "").len(), before);
    writer.commit().expect("it commits");
    assert_eq!(
        found(&archive, "").len(),
        before,
        "a reader keeps to what it opened"
    );
    let mut other = Archive::open(&folder.0).expect("it opens");
    let after = found(&other, "").len();
    assert!(after > before);
    add(&mut writer, (30..40).map(|n| addition(n, 0)).collect()).expect("it adds");
    drop(writer);
    other.refresh().expect("it looks again");
    assert_eq!(found(&other, "").len(), after, "what was not committed never was");
    clean(&other);
    // Without its index nothing is lost.
    fs::remove_dir_all(folder.0.join("index")).expect("it goes");
    other.refresh().expect("it looks again");
    assert_eq!(found(&other, "").len(), after);
    other.reindex().expect("it builds");
    assert_eq!(found(&other, "").len(), after);
    clean(&other);
}

#[test]
fn a_lock_names_its_holder_and_outlives_no_process() {
    let folder = Folder::new();
    filled(&folder.0, 1);
    let path = Lock::path(&folder.0);
    // No process has this number: Linux gives at most 2^22.
    let dead = Holder {
        pid: u32::MAX,
        ..Holder::this("a command that crashed")
    };
    fs::write(&path, serde_json::to_string(&dead).expect("json")).expect("it writes");
    let writer = Writer::open(&folder.0, "the next").expect("it takes over");
    assert_eq!(writer.taken_over(), Some(&dead));
    drop(writer);
    assert!(
        Writer::open(&folder.0, "the next")
            .expect("it is free")
            .taken_over()
            .is_none()
    );
    // Neither a new name of the host nor a new start of the machine makes it another.
    for renamed in [
        Holder {
            host: "a-new-name".into(),
            ..dead.clone()
        },
        Holder {
            boot: Some("an earlier start".into()),
            ..dead.clone()
        },
    ] {
        fs::write(&path, serde_json::to_string(&renamed).expect("json")).expect("it writes");
        assert!(Writer::open(&folder.0, "the next").is_ok() || renamed.machine.is_none());
    }
    let away = Holder {
        host: "another-host".into(),
        machine: Some("another machine".into()),
        boot: Some("another start".into()),
        ..dead
    };
    fs::write(&path, serde_json::to_string(&away).expect("json")).expect("it writes");
    match Writer::open(&folder.0, "the next") {
        Err(error @ Error::Locked { .. }) => {
            assert!(
                error.to_string().contains("another-host")
                    && error
                        .help()
                        .is_some_and(|help| help.contains("curvary unlock --gone"))
            );
        }
        _ => panic!("another host is believed"),
    }
    assert!(matches!(
        Archive::unlock(&folder.0, false),
        Err(Error::Locked { .. })
    ));
    assert_eq!(
        Archive::unlock(&folder.0, true).expect("we know it"),
        Unlocked::Freed(away)
    );
    let writer = Writer::open(&folder.0, "the next").expect("it is free");
    assert!(
        matches!(Archive::unlock(&folder.0, true), Err(Error::Locked { .. })),
        "it is held"
    );
    drop(writer);
    assert_eq!(
        Archive::unlock(&folder.0, true).expect("it is free"),
        Unlocked::Free
    );
}

/// A disk that refuses everything after a number of bytes, and tears the write in which they end.
struct Failing(AtomicU64);

struct FailingTail(Box<dyn Tail>, Arc<Failing>);

impl Failing {
    /// How many of `bytes` can still be written.
    fn allow(&self, bytes: u64) -> io::Result<u64> {
        let left = self.0.load(Ordering::SeqCst);
        if left == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let allowed = left.min(bytes);
        self.0.store(left - allowed, Ordering::SeqCst);
        Ok(allowed)
    }
}

struct FailingDisk(Arc<Failing>);

impl Disk for FailingDisk {
    fn open_at(&self, path: &Path, at: u64) -> io::Result<Box<dyn Tail>> {
        self.0.allow(1)?;
        Ok(Box::new(FailingTail(
            RealDisk.open_at(path, at)?,
            Arc::clone(&self.0),
        )))
    }

    fn replace(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let length = bytes.len() as u64;
        if self.0.allow(length)? < length {
            fs::write(path.with_extension("json.new"), &bytes[..bytes.len() / 2])?;
            return Err(io::ErrorKind::StorageFull.into());
        }
        RealDisk.replace(path, bytes)
    }
}

impl Tail for FailingTail {
    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let allowed = self.1.allow(bytes.len() as u64)?;
        let allowed = usize::try_from(allowed).expect("it fits");
        self.0.write(&bytes[..allowed])?;
        if allowed < bytes.len() {
            Err(io::ErrorKind::StorageFull.into())
        } else {
            Ok(())
        }
    }

    fn sync(&mut self) -> io::Result<()> {
        self.1.allow(1)?;
        self.0.sync()
    }
}

#[test]
fn a_disk_that_fills_up_at_any_byte_loses_nothing() {
    let expected: u64 = (0..24).map(|n| addition(n, 0).runs.len() as u64).sum();
    let mut stopped = 0;
    for seed in 0..60_u64 {
        let folder = Folder::new();
        filled(&folder.0, 6);
        let budget = if seed < 50 {
            seed * seed * 12 + seed
        } else {
            20_000 + seed * 400
        };
        let disk: Arc<dyn Disk> = Arc::new(FailingDisk(Arc::new(Failing(AtomicU64::new(budget)))));
        let outcome = (|| -> Result<(), Error> {
            let mut writer = Writer::open_on(&folder.0, "test", disk, false)?;
            for from in [6, 12, 18] {
                add(&mut writer, (from..from + 6).map(|n| addition(n, 0)).collect())?;
                writer.commit()?;
            }
            Ok(())
        })();
        stopped += u32::from(outcome.is_err());
        let archive = Archive::open(&folder.0).expect("it opens");
        clean(&archive);
        let mut writer = archive.write("test").expect("the lock");
        add(&mut writer, (0..24).map(|n| addition(n, 0)).collect()).expect("it completes");
        writer.finish().expect("it commits");
        let archive = Archive::open(&folder.0).expect("it opens");
        assert_eq!(clean(&archive), expected, "seed {seed}");
        assert_eq!(found(&archive, "").len() as u64, expected);
        let checked = archive.verify(&mut |_, _| {}).expect("it checks");
        assert_eq!((checked.originals, checked.remarks), (24, vec![]), "seed {seed}");
    }
    assert!(stopped > 30, "most disks were full before the end: {stopped}");
}

/// The child of the next test: adds for ever, with many commits.
#[test]
fn child_of_the_kill_test() {
    let Some(root) = std::env::var_os("CURVARY_ARCHIVE_KILL_TEST") else {
        return;
    };
    let archive = Archive::open(Path::new(&root)).expect("it opens");
    let mut writer = archive.write("the child").expect("the lock");
    for from in (0..400).step_by(8) {
        add(&mut writer, (from..from + 8).map(|n| addition(n, 0)).collect()).expect("it adds");
        writer.commit().expect("it commits");
    }
    writer.finish().expect("it finishes");
}

#[test]
fn a_process_killed_at_any_moment_loses_nothing() {
    let folder = Folder::new();
    Archive::create(&folder.0, "test").expect("a new archive");
    let program = std::env::current_exe().expect("this test");
    let mut dice = Dice(7);
    for _ in 0..12 {
        let mut child = std::process::Command::new(&program)
            .args(["--exact", "tests::child_of_the_kill_test", "--nocapture"])
            .env("CURVARY_ARCHIVE_KILL_TEST", &folder.0)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .expect("it starts");
        std::thread::sleep(std::time::Duration::from_millis(20 + dice.below(400)));
        child.kill().expect("it dies");
        child.wait().expect("it is dead");
        clean(&Archive::open(&folder.0).expect("it opens"));
    }
    let expected: u64 = (0..400).map(|n| addition(n, 0).runs.len() as u64).sum();
    let archive = Archive::open(&folder.0).expect("it opens");
    let mut writer = archive.write("test").expect("it takes over");
    add(&mut writer, (0..400).map(|n| addition(n, 0)).collect()).expect("it completes");
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(clean(&archive), expected);
    assert_eq!(found(&archive, "").len() as u64, expected);
}

#[test]
fn damage_is_found_and_told() {
    for (file, at) in [
        ("originals/000001.tar.zst", 200),
        ("records/000001.jsonl.zst", 300),
        ("manifest.json", 5),
    ] {
        let folder = Folder::new();
        filled(&folder.0, 12);
        let path = folder.0.join(file);
        let mut bytes = fs::read(&path).expect("it is there");
        bytes[at] ^= 0x55;
        fs::write(&path, bytes).expect("it writes");
        match Archive::open(&folder.0) {
            Ok(archive) => {
                let checked = archive.verify(&mut |_, _| {}).expect("it checks");
                assert!(
                    checked.problems.iter().any(|problem| problem.file == file),
                    "{file}: {:?}",
                    checked.problems
                );
            }
            Err(Error::Damaged { .. }) => assert_eq!(file, "manifest.json"),
            Err(error) => panic!("{error}"),
        }
    }
    let folder = Folder::new();
    fs::write(folder.0.join("archive.toml"), "name = \"x\"\nformat = 99\n").expect("it writes");
    assert!(matches!(
        Archive::open(&folder.0),
        Err(Error::NewerFormat { found: 99, .. })
    ));
    fs::write(folder.0.join("archive.toml"), "name = 7\n").expect("it writes");
    assert!(matches!(
        Archive::open(&folder.0),
        Err(Error::Settings { line: 1, .. })
    ));
    assert!(matches!(
        Archive::open(Path::new("/nowhere")),
        Err(Error::NoArchive { .. })
    ));
}

/// Unpacked by the libraries alone, with nothing of ours.
#[test]
fn originals_are_a_tar_file_for_everyone() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 9);
    let mut writer = archive.write("test").expect("the lock");
    add(&mut writer, vec![addition(2, 1), addition(40, 0)]).expect("it adds");
    writer.finish().expect("it commits");
    let packed = fs::read(folder.0.join("originals/000001.tar.zst")).expect("it is there");
    let text = zstd::decode_all(packed.as_slice()).expect("zstd");
    let mut names = BTreeMap::new();
    for entry in tar::Archive::new(text.as_slice()).entries().expect("tar") {
        let mut entry = entry.expect("an entry");
        let name = entry.path().expect("UTF-8").display().to_string();
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut entry, &mut bytes).expect("its bytes");
        names.insert(name, bytes);
    }
    assert_eq!(names.len(), 11);
    assert_eq!(names[&path(2)], addition(2, 0).bytes);
    let version = names.iter().find(|(name, _)| name.contains('~'));
    assert_eq!(version.map(|(_, bytes)| bytes), Some(&addition(2, 1).bytes));
}

/// An invented export with one to three curves of one or two bands, some of them in percent of transmittance.
fn banded(n: u64) -> Addition {
    let mut dice = Dice(n);
    let mut whole =
        |from: u64, below: u64| f64::from(u32::try_from(from + dice.below(below)).expect("small"));
    let mut export = addition(n, 0);
    for run in &mut export.runs {
        let Some(first) = run.traces.first().cloned() else {
            continue;
        };
        for _ in 0..n % 3 {
            run.traces.push(first.clone());
        }
        for trace in &mut run.traces {
            let bands = [
                (whole(1, 9), whole(380, 250), whole(20, 60)),
                (whole(0, 5), whole(380, 250), whole(20, 60)),
            ];
            let (from, step) = (whole(340, 60), whole(1, 6));
            let points = if n.is_multiple_of(11) {
                8
            } else {
                300 / (step as usize)
            };
            let x: Vec<f64> = (0..points).map(|point| from + step * point as f64).collect();
            let y: Vec<f64> = x
                .iter()
                .map(|x| {
                    bands
                        .iter()
                        .map(|(h, m, w)| h / 10.0 * (-((x - m) / w).powi(2)).exp())
                        .sum::<f64>()
                })
                .map(|y: f64| (y * 1e4).round() / 1e4)
                .collect();
            if n.is_multiple_of(7) {
                trace.y.quantity = Quantity::TRANSMITTANCE;
                trace.y.unit = Unit::PERCENT;
                trace.y.values = y
                    .iter()
                    .map(|y| 100.0 * 10_f64.powf(-y))
                    .collect::<Vec<f64>>()
                    .into();
            } else {
                trace.y.values = y.into();
            }
            trace.x.values = x.into();
        }
    }
    export
}

/// The answer without signatures: every run that matches is computed from its record.
fn alike_one_by_one(archive: &Archive, curve: &Curve, query: &Query, options: &AlikeOptions) -> AlikeFound {
    let mut expected = AlikeFound::default();
    let everything = archive.find(query, &FindOptions::default()).expect("it finds");
    let mut ranked = Vec::new();
    for hit in everything
        .hits
        .into_iter()
        .filter(|hit| Some(&hit.id) != options.but.as_ref())
    {
        let run = archive.stored(&hit.id).expect("it is there");
        let likenesses = run
            .traces
            .iter()
            .enumerate()
            .filter_map(|(number, trace)| Some((Curve::of(&run, trace).ok()?.likeness(curve)?, number)));
        match likenesses.reduce(|best, one| if one.0 > best.0 { one } else { best }) {
            None => expected.nothing += 1,
            Some((likeness, _)) if likeness < options.least => expected.less += 1,
            Some((likeness, trace)) => {
                let likeness = likeness::told(likeness::class(likeness));
                let label = run.traces[trace].label.clone();
                ranked.push(AlikeHit {
                    hit,
                    likeness,
                    trace,
                    label,
                });
            }
        }
    }
    expected.total = ranked.len();
    // Newest first among equals: the order in which `find` gives them.
    ranked.sort_by(|a, b| b.likeness.total_cmp(&a.likeness));
    let limit = if options.limit == 0 {
        usize::MAX
    } else {
        options.limit
    };
    expected.hits = ranked.into_iter().skip(options.skip).take(limit).collect();
    expected
}

#[test]
fn signatures_change_no_answer() {
    let folder = Folder::new();
    let archive = Archive::create(&folder.0, "test").expect("a new archive");
    let mut writer = archive.write("test").expect("the lock");
    for from in 0..4 {
        let some = (from * 150..(from + 1) * 150).map(banded).collect();
        add(&mut writer, some).expect("it adds");
        writer.commit().expect("it commits");
    }
    // What is said about a run later files it anew.
    for n in 0..40 {
        let run = banded(n).runs[0].id.as_str().to_owned();
        let note = Note {
            run,
            fields: [("sample".to_owned(), "renamed".to_owned())].into(),
            ..Note::default()
        };
        writer.note(note).expect("it notes");
    }
    writer.finish().expect("it commits");
    let mut archive = Archive::open(&folder.0).expect("it opens");
    let mut dice = Dice(7);
    let mut told = 0;
    let mut ask = |archive: &Archive, dice: &mut Dice| {
        let own = banded(dice.below(600));
        let run = &own.runs[0];
        let Ok(curve) = Curve::of(run, &run.traces[0]) else {
            return;
        };
        let options = AlikeOptions {
            least: *dice.pick(&[-1.0, 0.5, 0.9, 0.99]),
            limit: *dice.pick(&[0, 1, 5, 20]),
            skip: *dice.pick(&[0, 0, 3]),
            but: dice.chance(80).then(|| run.id.clone()),
        };
        let query = archive
            .query(dice.pick::<&str>(&["", "betanin", "technique:spectrum", "sample:renamed", "-ph:>=7"]))
            .expect("a query");
        let found = archive.alike(&curve, &query, &options).expect("it finds");
        assert_eq!(
            found,
            alike_one_by_one(archive, &curve, &query, &options),
            "{options:?}"
        );
        told += found.hits.len();
    };
    for _ in 0..40 {
        ask(&archive, &mut dice);
    }
    // An index of the version before, which has no signatures, is built anew by itself.
    let current = folder.0.join("index/current.json");
    let text = fs::read_to_string(&current).expect("it is there");
    let mut old: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    old["version"] = 2.into();
    fs::write(&current, old.to_string()).expect("it writes");
    archive.refresh().expect("it opens");
    for _ in 0..10 {
        ask(&archive, &mut dice);
    }
    assert_ne!(
        fs::read_to_string(&current).expect("it is there"),
        old.to_string()
    );
    assert!(told > 200, "{told} hits say little");
}
