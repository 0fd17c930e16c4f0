//! What stands at the root of an archive is lost, damaged or put back from an older copy: nothing is ever deleted by it.

use super::*;

/// Every file below a folder with its bytes, by its relative name.
pub(super) fn files(root: &Path) -> BTreeMap<String, Vec<u8>> {
    fn walk(root: &Path, folder: &Path, all: &mut BTreeMap<String, Vec<u8>>) {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                walk(root, &path, all);
            } else {
                let name = path.strip_prefix(root).expect("below").display().to_string();
                all.insert(name, fs::read(&path).expect("its bytes"));
            }
        }
    }
    let mut all = BTreeMap::new();
    walk(root, root, &mut all);
    all
}

/// Entries never shrink: each file of originals, records and notes still begins with all that it held.
fn nothing_is_lost(before: &BTreeMap<String, Vec<u8>>, root: &Path, but: &str, what: &str) {
    let after = files(root);
    for (name, bytes) in before {
        let holds_entries =
            name.starts_with("originals/") || name.starts_with("records/") || name == "notes.jsonl";
        if holds_entries && name != but {
            let there = after
                .get(name)
                .unwrap_or_else(|| panic!("{what}: {name} is gone"));
            assert!(there.len() >= bytes.len(), "{what}: {name} was cut");
        }
    }
}

/// What each kind of command does first.
fn commands(root: &Path) -> Result<BTreeSet<String>, Error> {
    let archive = Archive::open(root)?;
    let all = archive.find(&archive.query("")?, &FindOptions::default())?;
    // Other files of the index are read for words, and some of them the engine does without where they are gone.
    let by_word = archive.find(&archive.query("path:messung")?, &FindOptions::default())?;
    assert_eq!(by_word.total, all.total, "by a word of their paths");
    let mut writer = archive.write("test")?;
    writer.commit()?;
    drop(writer);
    archive.verify(&mut |_, _| {})?;
    Ok(all.hits.iter().map(|hit| hit.id.to_string()).collect())
}

/// An archive of two commits and a note, and the files as they were after the first.
fn twice_filled() -> (Folder, BTreeMap<String, Vec<u8>>, BTreeSet<String>) {
    let folder = Folder::new();
    drop(filled(&folder.0, 12));
    let older = files(&folder.0);
    let archive = Archive::open(&folder.0).expect("it opens");
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (12..30).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
    let every = commands(&folder.0).expect("all is well");
    assert!(every.len() >= 30);
    (folder, older, every)
}

#[test]
fn a_lost_or_older_file_is_an_error_or_a_rebuild_and_never_a_deletion() {
    let (folder, older, every) = twice_filled();
    let whole = files(&folder.0);
    let restore = || {
        fs::remove_dir_all(&folder.0).expect("it goes");
        for (name, bytes) in &whole {
            let path = folder.0.join(name);
            fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
            fs::write(path, bytes).expect("it is written");
        }
    };
    for name in whole.keys().filter(|name| !name.ends_with(".lock")) {
        for older in [None, older.get(name)] {
            restore();
            let what = format!("{name} {}", if older.is_some() { "older" } else { "lost" });
            match older {
                Some(bytes) => fs::write(folder.0.join(name), bytes).expect("it is written"),
                None => fs::remove_file(folder.0.join(name)).expect("it goes"),
            }
            let before = files(&folder.0);
            let answer = commands(&folder.0);
            nothing_is_lost(&before, &folder.0, "", &what);
            if let Ok(found) = answer {
                assert_eq!(found, every, "{what}: an answer that is whole, or none");
            }
            let _ = Archive::rebuild(&folder.0).unwrap_or_else(|error| panic!("{what}: {error}"));
            nothing_is_lost(&before, &folder.0, "", &what);
        }
    }
}

/// A file, whole by itself, that belongs to another archive: a copy gone wrong, or two folders that were mixed up.
#[test]
fn a_file_of_another_archive_is_noticed_and_never_answered_from() {
    let (folder, _, every) = twice_filled();
    let whole = files(&folder.0);
    let stranger = Folder::new();
    let archive = Archive::create(&stranger.0, "stranger").expect("it is made");
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (40..75).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
    let strange = files(&stranger.0);
    let put = |all: &BTreeMap<String, Vec<u8>>| {
        for (name, bytes) in all {
            let path = folder.0.join(name);
            fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
            fs::write(path, bytes).expect("it is written");
        }
    };
    let kind = |name: &str| {
        let name = name.rsplit('/').next().unwrap_or(name);
        let known = name.starts_with("known-").then_some("known");
        known
            .unwrap_or_else(|| name.rsplit('.').next().unwrap_or(name))
            .to_owned()
    };
    let known = || {
        let archive = Archive::open(&folder.0).expect("it opens");
        let writer = archive.write("test").expect("the lock is free");
        let is = |n: &u64| writer.known(&path(*n), &Stat::default()) != PathState::New;
        (0..80).filter(is).collect::<Vec<u64>>()
    };
    let paths = known();
    let mut tried = 0;
    for name in whole.keys().filter(|name| !name.ends_with(".lock")) {
        let others = strange.iter().filter(|(other, _)| {
            kind(other) == kind(name) && other.split('/').next() == name.split('/').next()
        });
        for (other, bytes) in others {
            fs::remove_dir_all(&folder.0).expect("it goes");
            put(&whole);
            let what = format!("{other} of another archive as {name}");
            fs::write(folder.0.join(name), bytes).expect("it is written");
            let before = files(&folder.0);
            let answer = commands(&folder.0);
            nothing_is_lost(&before, &folder.0, "", &what);
            if name.starts_with("index/") {
                assert_eq!(answer.ok().as_ref(), Some(&every), "{what}");
                assert_eq!(known(), paths, "{what}");
            } else if let Ok(found) = answer {
                assert_eq!(found, every, "{what}: an answer that is whole, or none");
            }
            tried += 1;
        }
    }
    assert!(tried >= 15, "{tried}");
    // Records without an index: nothing is answered from them, and that is told.
    let few = Folder::new();
    drop(filled(&few.0, 0));
    let archive = Archive::open(&few.0).expect("it opens");
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (40..46).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
    fs::remove_dir_all(&folder.0).expect("it goes");
    let mut mixed = whole.clone();
    mixed.retain(|name, _| !name.starts_with("index/"));
    let records = "records/000001.jsonl.zst".to_owned();
    mixed.insert(records.clone(), files(&few.0)[&records].clone());
    put(&mixed);
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(found(&archive, ""), BTreeSet::new());
    assert!(!archive.lost().expect("it is told").is_empty());
    // The whole index.
    fs::remove_dir_all(&folder.0).expect("it goes");
    let mut mixed = whole.clone();
    mixed.retain(|name, _| !name.starts_with("index/"));
    mixed.extend(strange.into_iter().filter(|(name, _)| name.starts_with("index/")));
    put(&mixed);
    assert_eq!(commands(&folder.0).expect("it is built anew"), every);
    assert_eq!(known(), paths);
}

#[test]
fn a_manifest_is_made_again_from_what_it_lists() {
    let (folder, older, every) = twice_filled();
    for damage in ["lost", "older", "damaged"] {
        let manifest = folder.0.join("manifest.json");
        match damage {
            "lost" => fs::remove_file(&manifest).expect("it goes"),
            "older" => fs::write(&manifest, &older["manifest.json"]).expect("it is written"),
            _ => {
                let text = fs::read_to_string(&manifest).expect("it is there");
                let length = text.find("\"length\": ").expect("a length") + 10;
                let mut bytes = text.into_bytes();
                bytes[length] = if bytes[length] == b'1' { b'2' } else { b'1' };
                fs::write(&manifest, bytes).expect("it is written");
            }
        }
        assert!(
            matches!(
                commands(&folder.0),
                Err(Error::Unlisted { .. } | Error::Damaged { .. })
            ),
            "{damage}"
        );
        let done = Archive::rebuild(&folder.0).expect("it is made again").done;
        assert!(
            done.iter().any(|line| line.starts_with("manifest.json")),
            "{done:?}"
        );
        assert_eq!(commands(&folder.0).expect("all is well"), every, "{damage}");
        assert_eq!(
            clean(&Archive::open(&folder.0).expect("it opens")),
            every.len() as u64
        );
    }
}

/// The tail of a commit that was cut short is no entry, and goes.
#[test]
fn the_tail_of_a_commit_that_was_cut_short_is_cut_off() {
    let (folder, _, every) = twice_filled();
    let archive = Archive::open(&folder.0).expect("it opens");
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (30..40).map(|n| addition(n, 0)).collect()).expect("they are added");
    // As a kill leaves it: the tails are written, the lock and the announcement stay.
    std::mem::forget(writer);
    fs::write(folder.0.join("archive.lock"), "").expect("as after a kill");
    assert!(folder.0.join("unfinished.json").exists());
    let again = Archive::open(&folder.0).expect("it opens");
    let found = again.find(&again.query("").expect("a query"), &FindOptions::default());
    assert_eq!(found.expect("an answer").total, every.len());
}
