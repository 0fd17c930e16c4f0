//! Damaged parts: what is whole stays readable, what is lost is told, and what can be made again is.

use super::roots::files;
use super::*;
use crate::VerifyProblem;

fn flip(root: &Path, name: &str, at: usize) {
    let path = root.join(name);
    let mut bytes = fs::read(&path).expect("it is there");
    bytes[at] ^= 1;
    fs::write(&path, bytes).expect("it is written");
}

/// As the program does after a repair: every source whose records are lost is read again.
fn read_again(root: &Path, sources: &[Digest]) {
    let archive = Archive::open(root).expect("it opens");
    let known: Vec<Addition> = (0..60).map(|n| addition(n, 0)).collect();
    let again = sources.iter().map(|digest| {
        let (_, bytes) = archive.named_original(digest).expect("the original is whole");
        let known = known
            .iter()
            .find(|known| known.digest == *digest)
            .expect("one of ours");
        assert_eq!(known.bytes, bytes);
        Addition {
            family: None,
            again: true,
            ..known.clone()
        }
    });
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, again.collect()).expect("they are added");
    writer.finish().expect("it commits");
}

#[test]
fn a_damaged_frame_takes_only_its_own_runs_and_they_are_made_again() {
    let folder = Folder::new();
    let mut every = BTreeSet::new();
    // A commit and a frame each.
    for n in 0..5 {
        let archive = Archive::open(&folder.0).or_else(|_| Archive::create(&folder.0, "test"));
        let archive = archive.expect("it opens");
        let mut writer = archive.write("test").expect("the lock is free");
        add(&mut writer, (n * 6..n * 6 + 6).map(|n| addition(n, 0)).collect()).expect("they are added");
        writer.finish().expect("it commits");
        drop(archive);
        every = found(&Archive::open(&folder.0).expect("it opens"), "");
    }
    let packed = files(&folder.0)["originals/000001.tar.zst"].clone();
    let middle = files(&folder.0)["records/000001.jsonl.zst"].len() / 2;
    for (what, at) in [
        ("the header of the first frame", 5),
        ("the content of a frame", middle),
    ] {
        flip(&folder.0, "records/000001.jsonl.zst", at);
        let _ = fs::remove_dir_all(folder.0.join("index"));
        let archive = Archive::open(&folder.0).expect("it opens");
        let left = found(&archive, "");
        assert!(
            left.len() >= every.len() / 2 && left.len() < every.len(),
            "{what}: {}",
            left.len()
        );
        assert!(left.is_subset(&every));
        assert_eq!(archive.lost().expect("an answer").len(), 1, "{what}");
        for id in &left {
            archive.run(id).expect("what is whole can be read");
        }
        let checked = archive.verify(&mut |_, _| {}).expect("it checks");
        assert!(
            checked
                .problems
                .iter()
                .all(|problem| problem.file == "records" || problem.file.starts_with("records/"))
        );
        assert!(!checked.again.is_empty());
        let done = Archive::rebuild(&folder.0).expect("it is mended").done;
        assert!(
            done.iter().any(|line| line.contains("kept in aside/")),
            "{done:?}"
        );
        let mut archive = Archive::open(&folder.0).expect("it opens");
        let checked = archive.repair(&mut |_, _| {}).expect("it repairs");
        drop(archive);
        read_again(&folder.0, &checked.again);
        let archive = Archive::open(&folder.0).expect("it opens");
        assert_eq!(found(&archive, ""), every, "{what}");
        assert_eq!(archive.lost().expect("an answer"), [""; 0]);
        assert_eq!(clean(&archive), every.len() as u64);
        // No original is kept twice, and the file unpacks as a whole.
        assert_eq!(files(&folder.0)["originals/000001.tar.zst"].len(), packed.len());
        let all = fs::read(folder.0.join("records/000001.jsonl.zst")).expect("its bytes");
        assert!(zstd::decode_all(all.as_slice()).is_ok_and(|lines| lines.ends_with(b"\n")));
    }
}

#[test]
fn lost_records_are_made_again_from_the_originals() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 20);
    let every = found(&archive, "");
    drop(archive);
    fs::remove_file(folder.0.join("records/000001.jsonl.zst")).expect("it goes");
    Archive::rebuild(&folder.0).expect("it is mended");
    let mut archive = Archive::open(&folder.0).expect("it opens");
    let checked = archive.repair(&mut |_, _| {}).expect("it repairs");
    assert_eq!(checked.again.len(), 20);
    drop(archive);
    read_again(&folder.0, &checked.again);
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(found(&archive, ""), every);
    clean(&archive);
}

#[test]
fn a_damaged_frame_of_originals_takes_only_its_own() {
    let folder = Folder::new();
    let mut archive = filled(&folder.0, 4);
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (4..8).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
    archive.refresh().expect("it opens");
    let every = found(&archive, "");
    let whole = files(&folder.0)["originals/000001.tar.zst"].clone();
    flip(&folder.0, "originals/000001.tar.zst", 60);
    for index in ["there", "built anew"] {
        let archive = Archive::open(&folder.0).expect("it opens");
        assert_eq!(found(&archive, ""), every, "{index}");
        for n in 0..8 {
            let original = archive.original(&addition(n, 0).digest);
            match original {
                Ok(bytes) => assert!(n >= 4 && bytes == addition(n, 0).bytes, "{n}"),
                Err(_) => assert!(n < 4, "{n}"),
            }
        }
        let checked = archive.verify(&mut |_, _| {}).expect("it checks");
        let lost = |problem: &&VerifyProblem| problem.found.starts_with("no whole original of `");
        assert_eq!(checked.problems.iter().filter(lost).count(), 4);
        assert_eq!(checked.originals, 4);
        let _ = fs::remove_dir_all(folder.0.join("index"));
    }
    // A repair without a copy can do nothing for them, and takes nothing away.
    Archive::rebuild(&folder.0).expect("it is looked at");
    let after = files(&folder.0)["originals/000001.tar.zst"].clone();
    assert_eq!(after.len(), whole.len());
}

#[test]
fn damaged_notes_are_refused_until_a_repair_says_what_is_left() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 4);
    let run = found(&archive, "").pop_first().expect("a run");
    let mut writer = archive.write("test").expect("the lock is free");
    for value in ["first", "second", "third"] {
        let mut note = Note::about(&RunId::named(run.as_str()));
        note.fields.insert("sample".into(), value.into());
        writer.note(note).expect("it notes");
    }
    writer.finish().expect("it commits");
    // The first sign of the second line: it is no note any more.
    let text = fs::read(folder.0.join("notes.jsonl")).expect("its bytes");
    let second = text.iter().position(|&byte| byte == b'\n').expect("a line") + 1;
    flip(&folder.0, "notes.jsonl", second);
    let archive = Archive::open(&folder.0).expect("it opens");
    assert!(matches!(archive.run(&run), Err(Error::Damaged { .. })));
    let done = Archive::rebuild(&folder.0).expect("it is mended").done;
    assert!(
        done.iter()
            .any(|line| line.contains("2 notes can be read and 1 not")),
        "{done:?}"
    );
    let mut archive = Archive::open(&folder.0).expect("it opens");
    archive.repair(&mut |_, _| {}).expect("it repairs");
    assert_eq!(archive.notes().expect("they are whole").len(), 2);
    clean(&archive);
}

#[test]
fn the_catalogue_and_the_manifest_before_are_looked_at() {
    let folder = Folder::new();
    let mut writer = filled(&folder.0, 3).write("test").expect("the lock is free");
    add(&mut writer, (3..6).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
    let mut archive = Archive::open(&folder.0).expect("it opens");
    let sound = found(&archive, "");
    let verify = |archive: &Archive| archive.verify(&mut |_, _| {}).expect("it checks");
    assert_eq!(verify(&archive).remarks, Vec::<String>::new());
    let catalog = files(&folder.0)
        .into_keys()
        .find(|name| name.starts_with("index/") && name.contains("/known-"))
        .expect("a catalogue");
    flip(&folder.0, &catalog, 9);
    let problems = verify(&archive).problems;
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert!(
        problems[0].file == catalog && problems[0].repairable,
        "{problems:?}"
    );
    let repaired = archive.repair(&mut |_, _| {}).expect("it repairs");
    assert_eq!(repaired.problems, Vec::new());
    assert_eq!(found(&archive, ""), sound);
    // Nothing needs the manifest before: that is no failure, and is told.
    flip(&folder.0, "manifest.previous.json", 40);
    let checked = verify(&archive);
    assert_eq!(checked.problems, Vec::new());
    assert!(
        checked.remarks.len() == 1 && checked.remarks[0].starts_with("manifest.previous.json"),
        "{:?}",
        checked.remarks
    );
}
