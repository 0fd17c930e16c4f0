//! Reads the whole corpus of odd exports with the built program and compares each case with its truth, by the rules of
//! `tests/corpus/README.md`. Each case is a test of its own: `cargo test --test corpus -- shapes/`.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::sync::Arc;

use curvary_tests::truth::{Verdict, judge, list, nothing_invented, truth_and_reading};
use curvary_tests::{root, run};
use libtest_mimic::{Arguments, Failed, Trial};
use serde_json::Value;

fn main() {
    let arguments = Arguments::from_args();
    // Texts, and documents that are no text; no group has the same name in both.
    let corpora = ["text", "documents"].map(|kind| root().join("tests/corpus").join(kind));
    let mut cases = Vec::new();
    let mut folders = BTreeMap::new();
    for corpus in &corpora {
        for group in listed(corpus) {
            for case in listed(&corpus.join(&group)) {
                let name = format!("{group}/{case}");
                folders.insert(name.clone(), corpus.join(&name));
                cases.push(name);
            }
        }
    }
    let out = tempfile::tempdir().expect("a folder");
    if !arguments.list {
        let target = out.path().display().to_string();
        for corpus in &corpora {
            let from = corpus.display().to_string();
            let output = run(
                corpus,
                &["convert", &from, "--to", "json", "--out", &target, "--quiet"],
            );
            assert!(
                output.status.code().is_some_and(|status| status < 2),
                "{output:?}"
            );
        }
    }
    let out = Arc::new(out);
    let open = open_cases();
    for name in open.keys() {
        let case = name.strip_suffix(CLAIMS).unwrap_or(name);
        assert!(
            cases.iter().any(|known| known == case),
            "tests/corpus/open.txt names no case: {name}"
        );
    }
    let trial = |name: String| {
        let (out, folder) = (Arc::clone(&out), folders[&name].clone());
        let reason = open.get(&name).cloned();
        let of_claims = open.get(&format!("{name}{CLAIMS}")).cloned();
        Trial::test(name.clone(), move || {
            let (wanted, found) = truth_and_reading(&folder, &out.path().join(&name))?;
            as_listed(judge(&wanted, &found), reason.as_deref())
                .and_then(|()| {
                    as_listed(
                        nothing_invented(&wanted, list(&found["runs"])),
                        of_claims.as_deref(),
                    )
                })
                .map_err(|why| {
                    let here = wanted["why"].as_str().unwrap_or_default();
                    Failed::from(format!("{why}\n  why the case is here: {here}"))
                })
        })
    };
    let mut trials: Vec<Trial> = cases.iter().cloned().map(trial).collect();
    trials.push({
        let out = Arc::clone(&out);
        Trial::test("every-code-has-a-page", move || {
            pages(out.path(), &cases).map_err(Failed::from)
        })
    });
    libtest_mimic::run(&arguments, trials).exit();
}

/// What stands behind a case's name in `open.txt` where it is its claims that are not right yet.
const CLAIMS: &str = " claims";

/// The verdict on a case, turned round where the case is listed: what cannot be done yet is asserted as it is, so that
/// the list can only shrink.
fn as_listed(verdict: Verdict, reason: Option<&str>) -> Verdict {
    match (verdict, reason) {
        (verdict, None) => verdict,
        (Ok(()), Some(reason)) => Err(format!(
            "it passes now: strike it from tests/corpus/open.txt ({reason})"
        )),
        (Err(_), Some(_)) => Ok(()),
    }
}

/// The cases that the reader cannot do yet, with the reason: `group/case: reason` a line, or `group/case claims: reason`
/// where numbers and verdict are right and something is claimed that the file does not say.
fn open_cases() -> BTreeMap<String, String> {
    let text = fs::read_to_string(root().join("tests/corpus/open.txt")).unwrap_or_default();
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| line.split_once(": "))
        .map(|(name, reason)| (name.trim().to_owned(), reason.trim().to_owned()))
        .collect()
}

/// Every code that reading the corpus gives has a page for `curvary explain CODE`.
fn pages(out: &Path, cases: &[String]) -> Verdict {
    let listed = run(out, &["explain", "--codes"]);
    let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
    let listed: BTreeSet<&str> = listed.lines().collect();
    let mut missing = BTreeSet::new();
    for case in cases {
        for entry in fs::read_dir(out.join(case))
            .into_iter()
            .flatten()
            .filter_map(Result::ok)
        {
            let text = fs::read_to_string(entry.path()).map_err(|error| error.to_string())?;
            let document: Value = serde_json::from_str(&text).map_err(|error| error.to_string())?;
            let questions = list(&document["runs"])
                .iter()
                .flat_map(|run| list(&run["questions"]));
            let all = list(&document["remarks"])
                .iter()
                .chain(questions)
                .filter_map(|remark| remark["code"].as_str());
            missing.extend(all.filter(|code| !listed.contains(code)).map(str::to_owned));
        }
    }
    if missing.is_empty() {
        Ok(())
    } else {
        Err(format!("codes without a page: {missing:?}"))
    }
}

fn listed(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder)
        .expect("the corpus is there")
        .filter_map(Result::ok);
    let folders = entries.filter(|entry| entry.path().is_dir());
    let mut names: Vec<String> = folders
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}
