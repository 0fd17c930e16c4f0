//! Every question of the corpus can be answered to a sensible end: one of the choices, or of the choices that follow from
//! it, gives what a case's truth says, exactly. What cannot yet stands in `tests/answerable-open.txt`, a case and its
//! reason a line, and fails when it can, so that the list only shrinks.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use curvary_formats::writers::json::SourceDocument;
use curvary_formats::{Assumptions, ReaderInfo, Readers, Reading, Source};
use curvary_record::Verdict as Outcome;
use curvary_tests::root;
use curvary_tests::truth::{FIELDS_ALL, Verdict, list, matches, nothing_invented};
use libtest_mimic::{Arguments, Failed, Trial};
use serde_json::Value;

fn main() {
    let arguments = Arguments::from_args();
    let open = Arc::new(open_cases());
    let readers = Arc::new(Readers::built_in());
    let mut trials = Vec::new();
    for case in cases() {
        let name = case
            .strip_prefix(root().join("tests/corpus/text"))
            .unwrap()
            .display()
            .to_string();
        let (open, readers) = (Arc::clone(&open), Arc::clone(&readers));
        trials.push(Trial::test(name.clone(), move || {
            let verdict = answerable(&readers, &case);
            match (verdict, open.get(&name)) {
                (Ok(()), None) | (Err(_), Some(_)) => Ok(()),
                (Ok(()), Some(why)) => Err(Failed::from(format!(
                    "it can be answered now: strike it from tests/answerable-open.txt ({why})"
                ))),
                (Err(why), None) => Err(Failed::from(why)),
            }
        }));
    }
    libtest_mimic::run(&arguments, trials).exit();
}

fn cases() -> Vec<PathBuf> {
    let folders = |path: &Path| -> Vec<PathBuf> {
        let entries = fs::read_dir(path).unwrap().map(|entry| entry.unwrap().path());
        entries.filter(|path| path.is_dir()).collect()
    };
    let mut cases: Vec<PathBuf> = folders(&root().join("tests/corpus/text"))
        .iter()
        .flat_map(|group| folders(group))
        .collect();
    cases.sort();
    cases
}

fn open_cases() -> BTreeMap<String, String> {
    let text = fs::read_to_string(root().join("tests/answerable-open.txt")).unwrap_or_default();
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| line.split_once(": "))
        .map(|(name, reason)| (name.to_owned(), reason.to_owned()))
        .collect()
}

/// So many answers one after the other are as many as a person bears.
const DEEPEST: usize = 4;
/// So many ways of answering one file are tried.
const MOST: usize = 400;

fn answerable(readers: &Readers, case: &Path) -> Verdict {
    let wanted: Value = serde_json::from_str(&fs::read_to_string(case.join("expect.json")).unwrap()).unwrap();
    let input = fs::read_dir(case)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.file_stem().is_some_and(|stem| stem == "input"))
        .unwrap();
    let bytes = fs::read(&input).unwrap();
    let path = input.file_name().unwrap().to_string_lossy().into_owned();
    let read = |answers: &BTreeSet<String>| {
        let mut assume = Assumptions::none();
        for answer in answers {
            assume
                .add(answer)
                .map_err(|why| format!("`{answer}` is offered, and is none: {why}"))?;
        }
        let source = Source::new(path.clone(), bytes.clone()).assuming(assume.precise());
        let (card, reading) = readers.read(&source, None);
        let found = shown(&source, card, &reading);
        Ok::<_, String>((reading, found))
    };
    let (first, _) = read(&BTreeSet::new())?;
    if first.verdict() != Outcome::InQuestion {
        return Ok(());
    }
    let asks_date = first
        .runs
        .iter()
        .flat_map(|run| &run.questions)
        .flat_map(|question| &question.readings)
        .any(|reading| reading.assume.starts_with("date="));
    let wanted = if asks_date { with_any_date(wanted) } else { wanted };
    // Where the truth itself is that it is no measurement, that choice ends it.
    let refused = wanted["verdict"] == "refused"
        || list(&wanted["verdicts_also_fine"])
            .iter()
            .any(|fine| *fine == *"refused");
    let mut left: Vec<BTreeSet<String>> = vec![BTreeSet::new()];
    let mut seen = BTreeSet::new();
    let mut tried = Vec::new();
    while let Some(answers) = left.pop() {
        let (reading, found) = read(&answers)?;
        let questions: Vec<_> = reading.runs.iter().flat_map(|run| &run.questions).collect();
        let Some(question) = questions.first() else {
            let verdict = if reading.runs.is_empty() {
                if refused {
                    Ok(())
                } else {
                    Err("it is refused then".to_owned())
                }
            } else {
                matches(&wanted, list(&found["runs"]))
                    .and_then(|()| nothing_invented(&wanted, list(&found["runs"])))
            };
            match verdict {
                Ok(()) => return Ok(()),
                Err(why) => tried.push(format!("{answers:?}: {why}")),
            }
            continue;
        };
        if question.readings.is_empty() {
            tried.push(format!("{answers:?}: `{}` has no choices", question.message));
        }
        if answers.len() >= DEEPEST {
            tried.push(format!("{answers:?}: `{}` is still asked", question.message));
            continue;
        }
        for reading in question.readings.iter().rev() {
            let about = reading.assume.split_once('=').map_or("", |(about, _)| about);
            let mut more: BTreeSet<String> = answers
                .iter()
                .filter(|answer| !answer.starts_with(&format!("{about}=")))
                .cloned()
                .collect();
            more.insert(reading.assume.clone());
            if more == answers {
                tried.push(format!("{answers:?}: `{}` is asked again", question.message));
            } else if seen.len() < MOST && seen.insert(more.clone()) {
                left.push(more);
            }
        }
    }
    tried.truncate(12);
    Err(format!("no choice gives the truth:\n  {}", tried.join("\n  ")))
}

/// The truth of a file whose date can be read in two ways: either is right then.
fn with_any_date(mut wanted: Value) -> Value {
    let named: Vec<Value> = match wanted["fields_all"].as_array() {
        Some(keys) => keys.clone(),
        None => FIELDS_ALL.iter().map(|key| Value::from(*key)).collect(),
    };
    wanted["fields_all"] = named.into_iter().filter(|key| key != "date").collect();
    let runs = wanted["runs"].as_array_mut().into_iter().flatten();
    for fields in runs.filter_map(|run| run["fields"].as_object_mut()) {
        fields.remove("date");
    }
    wanted
}

/// A reading as `--to json` writes it.
fn shown(source: &Source, card: Option<&ReaderInfo>, reading: &Reading) -> Value {
    let mut text = Vec::new();
    SourceDocument::new(source, card, reading)
        .write(&mut text)
        .unwrap();
    serde_json::from_slice(&text).unwrap()
}
