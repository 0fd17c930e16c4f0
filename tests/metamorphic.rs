//! Changes every file of the corpus in ways that change nothing, or little, of what it says, and asks whether the
//! readers still say the same. No truth is needed, so that these tests also see what no truth was written for.
//!
//! One trial a kind of change: `cargo test --workspace --test metamorphic -- nonsense`. What does not hold today stands
//! in `metamorphic-open.txt`; a line there that holds fails the test, so that the list can only shrink, and `UPDATE=1`
//! strikes such lines.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use curvary_formats::{Readers, Reading, Source};
use curvary_tests::root;
use libtest_mimic::{Arguments, Failed, Trial};

#[path = "metamorphic/changes.rs"]
mod changes;
#[path = "metamorphic/compare.rs"]
mod compare;
#[path = "metamorphic/sheet.rs"]
mod sheet;

use sheet::Sheet;

/// A file of the corpus, how it reads, and how its lines lie.
struct Case {
    name: String,
    path: String,
    base: Reading,
    sheet: Sheet,
}

impl Case {
    fn new(name: String, file: &Path) -> Self {
        let bytes = fs::read(file).expect("a case can be read");
        let path = file.file_name().expect("a name").to_string_lossy().into_owned();
        // Changes are made to the text: what is compared is how the decoded text reads.
        let text = Source::new(path.clone(), bytes).text().to_owned();
        let base = read(&path, &text);
        let sheet = Sheet::new(&text, &base);
        Self {
            name,
            path,
            base,
            sheet,
        }
    }

    fn read(&self, text: &str) -> Reading {
        read(&self.path, text)
    }
}

fn read(path: &str, text: &str) -> Reading {
    let source = Source::new(path, text.as_bytes().to_vec());
    Readers::built_in().read(&source, None).1
}

/// A kind of change, and what must hold of each file that it can be made to: the reason when it does not.
type Kind = (&'static str, fn(&Case) -> Result<(), String>);

const KINDS: &[Kind] = &[
    ("nonsense-heads", changes::nonsense_heads),
    ("padded-preamble", changes::padded_preamble),
    ("foreign-line", changes::foreign_line),
    ("foreign-key", changes::foreign_key),
    ("columns-rotated", changes::columns_rotated),
    ("columns-reversed", changes::columns_reversed),
    ("separator", changes::separator),
    ("brackets", changes::brackets),
    ("line-ends", changes::line_ends),
    ("damage-separator-to-point", changes::damage_separator_to_point),
    ("damage-separator-lost", changes::damage_separator_lost),
    ("damage-point-doubled", changes::damage_point_doubled),
    ("damage-point-lost", changes::damage_point_lost),
    ("damage-letter", changes::damage_letter),
    ("damage-row-cut", changes::damage_row_cut),
    ("readers-shuffled", changes::readers_shuffled),
];

fn main() {
    let arguments = Arguments::from_args();
    let cases: Vec<Case> = if arguments.list {
        Vec::new()
    } else {
        in_parallel(&files(), |(name, file)| Case::new(name.clone(), file))
    };
    let cases = Arc::new(cases);
    let listed = open();
    let kinds: BTreeSet<&str> = KINDS.iter().map(|(name, _)| *name).collect();
    for (kind, case) in &listed {
        let known = arguments.list || cases.iter().any(|one| one.name == *case);
        assert!(
            known && kinds.contains(kind.as_str()),
            "metamorphic-open.txt names what is not there: {kind} {case}"
        );
    }
    let struck = Arc::new(Mutex::new(BTreeSet::new()));
    let trial = |&(kind, holds): &Kind| {
        let (cases, listed, struck) = (Arc::clone(&cases), listed.clone(), Arc::clone(&struck));
        Trial::test(kind, move || {
            let outcomes = in_parallel(&cases, |case| holds(case).err());
            let mut wrong = Vec::new();
            for (case, outcome) in cases.iter().zip(outcomes) {
                let line = (kind.to_owned(), case.name.clone());
                match (outcome, listed.contains(&line)) {
                    (Some(why), false) => wrong.push(format!("{kind} {}: {why}", case.name)),
                    (None, true) if std::env::var_os("UPDATE").is_some() => {
                        struck.lock().expect("no one panics with it").insert(line);
                    }
                    (None, true) => {
                        wrong.push(format!(
                            "{kind} {}: it holds now: strike it from metamorphic-open.txt",
                            case.name
                        ));
                    }
                    _ => {}
                }
            }
            if wrong.is_empty() {
                Ok(())
            } else {
                Err(Failed::from(wrong.join("\n")))
            }
        })
    };
    let trials = KINDS.iter().map(trial).collect();
    let conclusion = libtest_mimic::run(&arguments, trials);
    strike(&struck.lock().expect("no one panics with it"));
    conclusion.exit();
}

/// The files of the corpus with the names of their cases, in order.
fn files() -> Vec<(String, PathBuf)> {
    let corpus = root().join("tests/corpus/text");
    let folders = |of: &Path| -> Vec<PathBuf> {
        let entries = fs::read_dir(of).expect("the corpus is there").flatten();
        entries
            .map(|entry| entry.path())
            .filter(|path| path.is_dir())
            .collect()
    };
    let mut found = Vec::new();
    for group in folders(&corpus) {
        for case in folders(&group) {
            let name = case
                .strip_prefix(&corpus)
                .expect("it lies there")
                .to_string_lossy()
                .replace('\\', "/");
            let file = fs::read_dir(&case)
                .expect("a case is a folder")
                .flatten()
                .map(|entry| entry.path())
                .find(|path| path.file_stem().is_some_and(|stem| stem == "input"));
            found.push((name, file.expect("a case has an input")));
        }
    }
    found.sort();
    found
}

const OPEN: &str = "tests/metamorphic-open.txt";

/// What does not hold today: kind and case.
fn open() -> BTreeSet<(String, String)> {
    let text = fs::read_to_string(root().join(OPEN)).unwrap_or_default();
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| line.split_once(' '))
        .map(|(kind, case)| (kind.to_owned(), case.trim().to_owned()))
        .collect()
}

/// Takes lines out of the list.
fn strike(struck: &BTreeSet<(String, String)>) {
    if struck.is_empty() {
        return;
    }
    let path = root().join(OPEN);
    let text = fs::read_to_string(&path).expect("the list is there");
    let kept = text.lines().filter(|line| {
        !line
            .split_once(' ')
            .is_some_and(|(kind, case)| struck.contains(&(kind.to_owned(), case.trim().to_owned())))
    });
    let kept: String = kept.map(|line| format!("{line}\n")).collect();
    fs::write(path, kept).expect("the list can be written");
}

/// `work` done on each item, by all cores, in the order of the items.
fn in_parallel<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let share = items.len().div_ceil(cores).max(1);
    std::thread::scope(|scope| {
        let threads: Vec<_> = items
            .chunks(share)
            .map(|chunk| scope.spawn(|| chunk.iter().map(&work).collect::<Vec<R>>()))
            .collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().expect("reading does not panic"))
            .collect()
    })
}
