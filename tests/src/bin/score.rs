//! Scores a program on folders of cases that it has never seen, by the rules of the corpus: how many files that a careful
//! person reads at once are read exactly, and how many are read wrongly without a word.
//!
//! `cargo run --package curvary-tests --bin score -- PROGRAM FOLDER [--list]`; `--list` names each case that is not exact.
#![allow(clippy::print_stdout, clippy::print_stderr)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use curvary_tests::truth::{judge, list, matches, nothing_invented, reasons, same_value, truth_and_reading};
use serde_json::{Map, Value};

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (program, folder) = match arguments.as_slice() {
        [program, folder] | [program, folder, _] => (program, Path::new(folder)),
        _ => {
            eprintln!("usage: score PROGRAM FOLDER [--list]");
            return ExitCode::from(2);
        }
    };
    match score(program, folder, arguments.len() > 2) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

/// What became of one case.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    /// As its truth says.
    Right,
    /// A weaker answer than was wanted: a question or a refusal.
    Weaker,
    /// Read, and not as the truth says: the worst of all.
    SilentlyWrong,
    /// Nothing to compare.
    Broken,
}

impl Outcome {
    const fn name(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Weaker => "weaker",
            Self::SilentlyWrong => "SILENTLY WRONG",
            Self::Broken => "broken",
        }
    }

    /// The verdict on the numbers, whatever the fields are.
    fn of(wanted: &Value, found: &Value) -> (Self, String) {
        match judge(&bare(wanted), found) {
            Ok(()) if wanted["verdict"] == found["verdict"] || wanted["verdict"] != "read" => {
                (Self::Right, String::new())
            }
            Ok(()) => (Self::Weaker, format!("{}: {}", found["verdict"], reasons(found))),
            Err(why) if found["verdict"] == "read" => (Self::SilentlyWrong, why),
            Err(why) => (Self::Weaker, why),
        }
    }
}

fn score(program: &str, folder: &Path, verbose: bool) -> Result<(), String> {
    let out = std::env::temp_dir().join(format!("score-{}", std::process::id()));
    let status = Command::new(program)
        .arg("convert")
        .arg(folder)
        .args(["--to", "json", "--quiet", "--out"])
        .arg(&out)
        .output()
        .map_err(|error| format!("{program}: {error}"))?;
    if status.status.code().is_none_or(|code| code > 1) {
        return Err(String::from_utf8_lossy(&status.stderr).into_owned());
    }
    let mut counts: BTreeMap<(String, Outcome), usize> = BTreeMap::new();
    let mut invented = 0;
    let mut fields = Fields::default();
    for case in cases(folder) {
        let name = case.strip_prefix(folder).unwrap_or(&case);
        let (verdict, outcome, mut why) = match truth_and_reading(&case, &out.join(name)) {
            Ok((wanted, found)) => {
                let (outcome, mut why) = Outcome::of(&wanted, &found);
                let runs = list(&found["runs"]);
                if let Err(claim) = nothing_invented(&wanted, runs) {
                    invented += 1;
                    why = format!("{why} INVENTED: {claim}");
                }
                if wanted["verdict"] == "read" && found["verdict"] == "read" {
                    why.push_str(&fields.count(&wanted, runs));
                }
                (
                    wanted["verdict"].as_str().unwrap_or_default().to_owned(),
                    outcome,
                    why,
                )
            }
            Err(why) => (String::new(), Outcome::Broken, why),
        };
        *counts.entry((verdict.clone(), outcome)).or_default() += 1;
        if verbose && !(outcome == Outcome::Right && why.is_empty()) {
            why.truncate(why.floor_char_boundary(400));
            println!(
                "{}\t{verdict}\t{}\t{}",
                name.display(),
                outcome.name(),
                why.replace('\n', " ")
            );
        }
    }
    for ((verdict, outcome), count) in &counts {
        println!("wanted {verdict:12} {:15} {count}", outcome.name());
    }
    let of = |outcome| counts.get(&("read".to_owned(), outcome)).copied().unwrap_or(0);
    let right = of(Outcome::Right);
    let all = right + of(Outcome::Weaker) + of(Outcome::SilentlyWrong);
    let wrong: usize = counts
        .iter()
        .filter(|((_, outcome), _)| *outcome == Outcome::SilentlyWrong)
        .map(|(_, n)| n)
        .sum();
    let share = 100.0 * right as f64 / all.max(1) as f64;
    println!(
        "must be read: {right} of {all} exactly ({share:.1} %); silently wrong {wrong}; cases with invented claims {invented}"
    );
    let Fields {
        right,
        missing,
        other,
    } = fields;
    let all = (right + missing + other).max(1);
    println!(
        "fields: {right} right ({:.1} %), {missing} missing, {other} with another value",
        100.0 * right as f64 / all as f64
    );
    let _ = std::fs::remove_dir_all(&out);
    Ok(())
}

/// The folders below `folder` that hold a truth, in the order of their names.
fn cases(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(here) = open.pop() {
        if here.join("expect.json").is_file() {
            found.push(here);
            continue;
        }
        let entries = std::fs::read_dir(&here)
            .into_iter()
            .flatten()
            .filter_map(Result::ok);
        open.extend(entries.map(|entry| entry.path()).filter(|path| path.is_dir()));
    }
    found.sort();
    found
}

/// A truth without its fields: numbers, quantities, units and labels alone.
fn bare(truth: &Value) -> Value {
    match truth {
        Value::Object(entries) => {
            let kept = entries
                .iter()
                .filter(|(key, _)| !["fields", "held", "technique"].contains(&key.as_str()));
            Value::Object(
                kept.map(|(key, value)| (key.clone(), bare(value)))
                    .collect::<Map<_, _>>(),
            )
        }
        Value::Array(all) => Value::Array(all.iter().map(bare).collect()),
        other => other.clone(),
    }
}

/// How many of the fields of the truths were found.
#[derive(Default)]
struct Fields {
    right: usize,
    missing: usize,
    other: usize,
}

impl Fields {
    /// Counts those of one case, and says which are not as in the truth. A condition may be held by a curve or stand with
    /// its run.
    fn count(&mut self, wanted: &Value, runs: &[Value]) -> String {
        let alternatives = list(&wanted["either"]);
        let fits = |truth: &&Value| {
            let mut alone = bare(wanted);
            alone["either"] = Value::Null;
            alone["runs"] = bare(&truth["runs"]);
            matches(&alone, runs).is_ok()
        };
        let truth = alternatives
            .iter()
            .find(fits)
            .or(alternatives.first())
            .unwrap_or(wanted);
        let mut stated: Vec<(String, Value)> = Vec::new();
        for run in list(&truth["runs"]) {
            let parts = std::iter::once(run).chain(list(&run["traces"]));
            for part in parts {
                for key in ["fields", "held"] {
                    let entries = part[key].as_object().into_iter().flatten();
                    stated.extend(entries.map(|(key, value)| (key.clone(), value.clone())));
                }
            }
        }
        stated.dedup();
        let mut said = String::new();
        for (key, value) in stated {
            let mut given = runs.iter().flat_map(|run| claims(run, &key)).peekable();
            if given.peek().is_none() {
                self.missing += 1;
                said.push_str(&format!(" MISSING {key}={}", value));
            } else {
                let all: Vec<Value> = given.collect();
                if all.iter().any(|given| same_value(&value, given)) {
                    self.right += 1;
                } else {
                    self.other += 1;
                    said.push_str(&format!(" OTHER {key}={value}, found {}", all[0]["value"]));
                }
            }
        }
        said
    }
}

/// What a run and its curves say under one key: their fields, and what the curves hold.
fn claims(run: &Value, key: &str) -> Vec<Value> {
    let mut all = Vec::new();
    for part in std::iter::once(run).chain(list(&run["traces"])) {
        if !part["fields"][key].is_null() {
            all.push(part["fields"][key].clone());
        }
        all.extend(
            list(&part["held"])
                .iter()
                .filter(|held| held["quantity"] == key)
                .cloned(),
        );
    }
    all
}
