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

mod alike;
mod asking;
mod changes;
mod content;
mod copies;
mod damage;
mod flips;
mod full;
mod interrupted;
mod nothing;
mod older;
mod roots;
mod taking_turns;

/// A folder that goes away with the test.
pub(crate) struct Folder(pub(crate) PathBuf);

impl Folder {
    pub(crate) fn new() -> Self {
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
