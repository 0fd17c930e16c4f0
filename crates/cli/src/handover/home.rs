//! The way back: notes and results of a bundle into the archive that has taken its originals.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;

use curvary_archive::{Archive, Note};
use curvary_formats::container;
use curvary_record::{Code, Diagnostic, Outcome};
use serde::Deserialize;

use crate::drawing::NoTexts;
use crate::ending::Failure;
use crate::screen::{Screen, plural};

/// The results on a line of `runs.jsonl`; the run itself is read from its original.
#[derive(Deserialize)]
struct Line {
    #[serde(default)]
    results: Vec<Outcome>,
}

/// Takes notes and results of a bundle into an archive that has its runs; says how many were new. What is no bundle is
/// left alone.
pub(crate) fn take_in(path: &Path, root: &Path, screen: &mut Screen) -> Result<(), Failure> {
    // Only a ZIP is opened whole, and only one that may be a bundle.
    if !path.is_file()
        || path
            .extension()
            .is_none_or(|ending| !ending.eq_ignore_ascii_case("zip"))
    {
        return Ok(());
    }
    let fail = |error: std::io::Error| Failure::file("read", path, &error);
    let Some(folder) = container::bundle(&std::fs::read(path).map_err(fail)?) else {
        return Ok(());
    };
    let mut zip = zip::ZipArchive::new(File::open(path).map_err(fail)?)
        .map_err(|error| fail(std::io::Error::other(error)))?;
    let mut wrong: BTreeSet<String> = BTreeSet::new();
    let mut lines = |name: &str, take: &mut dyn FnMut(&str)| -> std::io::Result<()> {
        let Ok(member) = zip.by_name(&format!("{folder}/data/{name}")) else {
            return Ok(());
        };
        for line in BufReader::new(member).lines() {
            take(&line?);
        }
        Ok(())
    };
    let (mut notes, mut results): (Vec<Note>, Vec<Outcome>) = (Vec::new(), Vec::new());
    let mut unread = |name: &str, error: serde_json::Error| {
        wrong.insert(format!("a line of `{name}` cannot be read: {error}"));
    };
    lines("notes.jsonl", &mut |line| match serde_json::from_str(line) {
        Ok(note) => notes.push(note),
        Err(error) => unread("notes.jsonl", error),
    })
    .map_err(fail)?;
    lines(
        "runs.jsonl",
        &mut |line| match serde_json::from_str::<Line>(line) {
            Ok(line) => results.extend(line.results),
            Err(error) => unread("runs.jsonl", error),
        },
    )
    .map_err(fail)?;
    // Opened anew, since runs were added meanwhile.
    let archive = Archive::open(root)?;
    let there = archive.notes()?;
    notes.retain(|note| !there.contains(note));
    let (mut new_notes, mut new_results) = (0, 0);
    if !notes.is_empty() || !results.is_empty() {
        let mut writer = archive.write("curvary add")?;
        for note in notes {
            let run = note.run.clone();
            match writer.note(note) {
                Ok(()) => new_notes += 1,
                Err(error) => {
                    wrong.insert(format!("a note about run {run} was not kept: {error}"));
                }
            }
        }
        for result in results {
            let id = result.id.clone();
            match writer.put_outcome(result) {
                Ok(new) => new_results += u64::from(new),
                Err(error) => {
                    wrong.insert(format!("result {id} was not kept: {error}"));
                }
            }
        }
        writer.finish()?;
    }
    for why in wrong {
        let why = Diagnostic::warning(Code::new("bundle-not-taken-in"), why);
        screen.complain(Some(&path.display().to_string()), &why, &NoTexts);
    }
    if new_notes + new_results > 0 {
        screen.say(format_args!(
            "{} and {} of the bundle kept",
            plural(new_notes, "note"),
            plural(new_results, "result")
        ));
    }
    Ok(())
}
