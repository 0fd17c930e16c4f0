//! What commands leave behind in the folder of an archive when they are killed: files that were to get another's name. They are known by
//! their names, count for nothing, and nobody reads them. Nothing else is ever taken for one.

use std::fs;
use std::path::Path;
use std::time::Duration;

use crate::Error;
use crate::aside::Aside;

/// Files that get their names by a rename from `NAME.new`, under the lock.
const NEW: [&str; 6] = [
    "answers.applied.jsonl",
    "answers.jsonl",
    "archive.toml",
    "manifest.json",
    "manifest.previous.json",
    "unfinished.json",
];

/// Those of them that only a program writes: what the next writer removes is of no use to anybody.
const PROGRAM_S: [&str; 3] = ["manifest.json", "manifest.previous.json", "unfinished.json"];

/// Settings are written without the lock, in no time: a younger file may be about to get its name.
const AT_WORK: Duration = Duration::from_secs(3600);

fn names(root: &Path) -> Vec<String> {
    let entries = fs::read_dir(root).into_iter().flatten().flatten();
    let files = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()));
    let mut all: Vec<String> = files
        .filter_map(|entry| entry.file_name().into_string().ok())
        .collect();
    all.sort();
    all
}

fn is_new(name: &str) -> bool {
    name.strip_suffix(".new").is_some_and(|stem| NEW.contains(&stem))
}

/// `archive.toml.part`, `archive.toml.part1`: settings that were being written.
fn is_part_of_settings(name: &str) -> bool {
    let number = name.strip_prefix("archive.toml.part");
    number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
}

fn is_old(path: &Path) -> bool {
    let modified = fs::metadata(path).and_then(|metadata| metadata.modified());
    let age = modified.ok().and_then(|modified| modified.elapsed().ok());
    age.is_some_and(|age| age > AT_WORK)
}

/// The names that files have which are about to get another's name or were left behind.
pub(crate) fn passing(root: &Path) -> Vec<String> {
    let mut all = names(root);
    all.retain(|name| is_new(name) || is_part_of_settings(name));
    all
}

/// Those of them that were left behind, unless somebody holds the lock.
pub(crate) fn left(root: &Path) -> Vec<String> {
    let mut all = passing(root);
    all.retain(|name| is_new(name) || is_old(&root.join(name)));
    all
}

/// Removes what an earlier writer left behind; the lock must be held.
pub(crate) fn clear_locked(root: &Path) -> Result<(), Error> {
    for own in PROGRAM_S {
        remove(&root.join(format!("{own}.new")))?;
    }
    Ok(())
}

/// Moves all that was left behind into `aside/`, for a repair: its name alone tells whose it was. The lock must be held.
pub(crate) fn put_aside(root: &Path, aside: &mut Aside<'_>) -> Result<(), Error> {
    for name in left(root) {
        let path = root.join(&name);
        aside.keep_all(&path, "seem to be left by a command that was cut short")?;
        remove(&path)?;
    }
    Ok(())
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
    use std::time::SystemTime;

    use super::*;

    #[test]
    fn only_what_is_known_by_its_name_is_taken_away() {
        let folder = std::env::temp_dir().join(format!("curvary-debris-{}", std::process::id()));
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(folder.join("archive.toml.part7")).expect("a folder");
        let left_behind = [
            "answers.jsonl.new",
            "archive.toml.part",
            "archive.toml.part12",
            "manifest.json.new",
        ];
        let others = [
            "archive.toml",
            "archive.toml.part-of-mine",
            "archive.toml.part3",
            "archive.toml.partial",
            "manifest.json",
            "notes.jsonl.new",
            "notes.new",
            "table.csv.part",
            ".tmpAbC12x",
            ".tmp-notes",
        ];
        for name in left_behind.iter().chain(&others) {
            fs::write(folder.join(name), *name).expect("a file");
        }
        // Of settings that are being written in this moment nothing is taken.
        let old = SystemTime::now() - 2 * AT_WORK;
        for name in &left_behind[1..3] {
            let file = fs::File::options().write(true).open(folder.join(name));
            file.and_then(|file| file.set_modified(old)).expect("it is old");
        }
        assert_eq!(left(&folder), left_behind);
        assert_eq!(passing(&folder).len(), 5);
        clear_locked(&folder).expect("they go");
        assert_eq!(left(&folder), left_behind[..3]);
        let mut aside = Aside::new(&folder);
        put_aside(&folder, &mut aside).expect("they go");
        assert_eq!(left(&folder), Vec::<String>::new());
        let kept = names(&folder.join("aside"));
        assert_eq!((kept.len(), aside.told.len()), (3, 3));
        assert!(kept.iter().all(|name| {
            fs::read(folder.join("aside").join(name)).is_ok_and(|text| name.as_bytes().ends_with(&text))
        }));
        assert!(others.iter().all(|name| folder.join(name).is_file()));
        assert!(folder.join("archive.toml.part7").is_dir());
        clear_index(&folder).expect("they go");
        assert!(!folder.join(".tmpAbC12x").exists() && folder.join(".tmp-notes").exists());
        let _ = fs::remove_dir_all(&folder);
    }
}
