//! What commands leave behind in the folder of an archive when they are killed: files that were to get another's name. They are known by
//! their names, count for nothing, and nobody reads them. Nothing else is ever taken for one.

use std::fs;
use std::path::Path;

use crate::Error;

/// Files that get their names by a rename from `NAME.new`, under the lock.
const LOCKED: [&str; 3] = ["manifest.json", "manifest.previous.json", "unfinished.json"];

/// The same of files that are written without it.
const UNLOCKED: [&str; 4] = [
    "archive.toml",
    "answers.jsonl",
    "answers.applied.jsonl",
    "notes.jsonl",
];

fn names(root: &Path) -> Vec<String> {
    let entries = fs::read_dir(root).into_iter().flatten().flatten();
    let files = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()));
    let mut all: Vec<String> = files
        .filter_map(|entry| entry.file_name().into_string().ok())
        .collect();
    all.sort();
    all
}

fn is_new_of(name: &str, own: &[&str]) -> bool {
    name.strip_suffix(".new").is_some_and(|stem| own.contains(&stem))
}

/// `archive.toml.part`, `archive.toml.part1`: settings that were being written.
fn is_part_of_settings(name: &str) -> bool {
    let number = name.strip_prefix("archive.toml.part");
    number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
}

/// The names of what was left behind; some of it may be about to get its name, where somebody writes.
pub(crate) fn found(root: &Path) -> Vec<String> {
    let mut all = names(root);
    all.retain(|name| is_new_of(name, &LOCKED) || is_new_of(name, &UNLOCKED) || is_part_of_settings(name));
    all
}

/// Removes what an earlier writer left behind; the lock must be held.
pub(crate) fn clear_locked(root: &Path) -> Result<(), Error> {
    for own in LOCKED {
        remove(&root.join(format!("{own}.new")))?;
    }
    Ok(())
}

/// Removes all that was left behind, for a repair; gives the names.
pub(crate) fn clear(root: &Path) -> Result<Vec<String>, Error> {
    let all = found(root);
    for name in &all {
        remove(&root.join(name))?;
    }
    Ok(all)
}

/// Removes the files of an index's folder that its engine was writing under names of the moment, `.tmp` and six letters or digits.
/// Only who has the engine may.
pub(crate) fn clear_index(folder: &Path) -> Result<(), Error> {
    let is_passing = |name: &str| {
        name.strip_prefix(".tmp")
            .is_some_and(|rest| rest.len() == 6 && rest.bytes().all(|byte| byte.is_ascii_alphanumeric()))
    };
    for name in names(folder).iter().filter(|name| is_passing(name)) {
        remove(&folder.join(name))?;
    }
    Ok(())
}

fn remove(path: &Path) -> Result<(), Error> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(Error::io("remove", path)(error)),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_known_by_its_name_is_taken_away() {
        let folder = std::env::temp_dir().join(format!("curvary-debris-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(folder.join("archive.toml.part7")).expect("a folder");
        let left = [
            "answers.jsonl.new",
            "archive.toml.part",
            "archive.toml.part12",
            "manifest.json.new",
        ];
        let others = [
            "archive.toml",
            "archive.toml.part-of-mine",
            "archive.toml.partial",
            "manifest.json",
            "notes.new",
            "table.csv.part",
            ".tmpAbC12x",
            ".tmp-notes",
        ];
        for name in left.iter().chain(&others) {
            fs::write(folder.join(name), "x").expect("a file");
        }
        assert_eq!(found(&folder), left);
        clear_locked(&folder).expect("they go");
        assert_eq!(found(&folder), left[..3]);
        assert_eq!(clear(&folder).expect("they go"), left[..3]);
        assert_eq!(found(&folder), Vec::<String>::new());
        assert!(others.iter().all(|name| folder.join(name).is_file()));
        assert!(folder.join("archive.toml.part7").is_dir());
        clear_index(&folder).expect("they go");
        assert!(!folder.join(".tmpAbC12x").exists() && folder.join(".tmp-notes").exists());
        let _ = fs::remove_dir_all(&folder);
    }
}
