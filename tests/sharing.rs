//! Archives that can be read and not written: read-only media, another user, somebody else at work; and locks that were
//! left behind.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::{Path, PathBuf};

use curvary_tests::{call, run, status};

fn export(sample: &str) -> String {
    let mut text = format!("sample: {sample}\nwavelength: 535 nm\n\ntime (s),absorbance\n");
    for point in 0..20_u32 {
        text.push_str(&format!("{},{:.4}\n", point * 10, 0.8 - f64::from(point) / 100.0));
    }
    text
}

/// Begins an archive of one run.
fn archive(folder: &Path, sample: &str) {
    fs::create_dir_all(folder.join("in")).expect("a folder");
    fs::write(folder.join("in").join(format!("{sample}.csv")), export(sample)).expect("a file");
    assert_eq!(
        status(&run(folder, &["add", "in", "--archive", "lab", "--quiet"])),
        Some(0)
    );
}

/// The runs that match, with an own folder for caches; nothing may be written into the archive.
fn found(folder: &Path, query: &str) -> usize {
    let before = files(&folder.join("lab"));
    let output = call(folder, &["find", "--ids", "--archive", "lab", query])
        .env("XDG_CACHE_HOME", folder.join("cache"))
        .output()
        .expect("it runs");
    assert_eq!(
        status(&output),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(files(&folder.join("lab")), before, "the archive is as it was");
    String::from_utf8_lossy(&output.stdout).lines().count()
}

/// Every file below a folder, with its length.
fn files(folder: &Path) -> Vec<(PathBuf, u64)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.push((path.clone(), fs::metadata(&path).expect("it is there").len()));
        }
    }
    all.sort();
    all
}

/// A folder in the lock's place: nobody can take it, whoever may do what.
fn no_longer_writable(folder: &Path) {
    let lock = folder.join("lab/archive.lock");
    fs::remove_file(&lock).expect("it goes");
    fs::create_dir(&lock).expect("a folder");
}

#[test]
fn an_archive_that_cannot_be_written_is_read_all_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here, "betanin");
    fs::remove_dir_all(here.join("lab/index")).expect("the index may go at any time");
    no_longer_writable(here);
    assert_eq!(found(here, "betanin"), 1);
    assert!(!here.join("lab/index").exists());
    let kept = files(&here.join("cache"));
    assert!(!kept.is_empty(), "the index lies in the user's cache");
    assert_eq!((found(here, "betanin"), found(here, "phenol")), (1, 0));

    // It grows elsewhere, and what is in the cache follows.
    fs::remove_dir(here.join("lab/archive.lock")).expect("it goes");
    archive(here, "phenol");
    fs::remove_dir_all(here.join("lab/index")).expect("the index may go at any time");
    no_longer_writable(here);
    assert_eq!((found(here, "betanin"), found(here, "phenol")), (1, 1));

    // Another archive at the same place, as sticks take turns.
    fs::remove_dir_all(here.join("lab")).expect("it goes");
    fs::remove_dir_all(here.join("in")).expect("it goes");
    archive(here, "nitrophenol");
    fs::remove_dir_all(here.join("lab/index")).expect("the index may go at any time");
    no_longer_writable(here);
    assert_eq!((found(here, "betanin"), found(here, "nitrophenol")), (0, 1));
}

/// Somebody writes, and there is no index yet.
#[test]
fn an_archive_is_read_while_another_program_holds_its_lock() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here, "betanin");
    fs::remove_dir_all(here.join("lab/index")).expect("the index may go at any time");
    let lock = fs::OpenOptions::new()
        .write(true)
        .open(here.join("lab/archive.lock"))
        .expect("it is there");
    lock.lock().expect("it is free");
    assert_eq!(found(here, "betanin"), 1);
    let refused = run(here, &["unlock", "--gone", "--archive", "lab"]);
    assert_eq!(status(&refused), Some(3), "a lock that is held is never freed");
    drop(lock);
    assert_eq!(status(&run(here, &["unlock", "--archive", "lab"])), Some(0));
}

#[test]
fn a_lock_from_another_machine_is_freed_by_those_who_know() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    archive(here, "betanin");
    let holder = r#"{"pid":7,"host":"far-away","machine":"0000000000000000","boot":"1111111111111111","since":"2026-01-01T00:00:00Z","command":"curvary add"}"#;
    fs::write(here.join("lab/archive.lock"), holder).expect("it writes");
    let add = ["add", "in", "--archive", "lab"];
    let refused = run(here, &add);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(status(&refused), Some(3));
    assert!(
        said.contains("far-away") && said.contains("curvary unlock --gone"),
        "{said}"
    );
    assert_eq!(status(&run(here, &["unlock", "--archive", "lab"])), Some(3));
    let freed = run(here, &["unlock", "--gone", "--archive", "lab"]);
    assert!(
        String::from_utf8_lossy(&freed.stdout).contains("freed the lock"),
        "{freed:?}"
    );
    assert_eq!(status(&run(here, &add)), Some(0));
}
