//! Copies are whole or as they were, and mend what is damaged bit for bit.

use super::roots::files;
use super::*;

/// The files of an archive that belong to it wherever it lies.
fn kept(root: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = files(root);
    all.retain(|name, _| {
        !name.starts_with("index/") && name != "archive.lock" && name != "manifest.previous.json"
    });
    all
}

fn grow(root: &Path, from: u64, to: u64) {
    let archive = Archive::open(root).expect("it opens");
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (from..to).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
}

fn copy(root: &Path, to: &Path) -> Result<crate::CopyReport, Error> {
    Archive::open(root).expect("it opens").copy_to(to, &mut |_, _| {})
}

#[test]
fn a_copy_is_an_archive_and_grows_with_it() {
    let (folder, other) = (Folder::new(), Folder::new());
    drop(filled(&folder.0, 10));
    fs::create_dir(folder.0.join("layouts")).expect("a folder");
    fs::write(folder.0.join("layouts/a.toml"), "# one\n").expect("it is written");
    let to = other.0.join("copy");
    let first = copy(&folder.0, &to).expect("it copies");
    assert_eq!(kept(&to), kept(&folder.0));
    assert_eq!(copy(&folder.0, &to).expect("nothing to do").bytes, 0);
    grow(&folder.0, 10, 20);
    let second = copy(&folder.0, &to).expect("it copies");
    assert!(second.had > 0 && second.bytes > 0 && second.commit > first.commit);
    assert_eq!(kept(&to), kept(&folder.0));
    let copied = Archive::open(&to).expect("a copy opens");
    assert_eq!(found(&copied, "").len() as u64, clean(&copied));
}

#[test]
fn a_copy_holds_what_was_committed_while_others_write() {
    let (folder, other) = (Folder::new(), Folder::new());
    drop(filled(&folder.0, 10));
    let archive = Archive::open(&folder.0).expect("it opens");
    let every = found(&archive, "");
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (10..15).map(|n| addition(n, 0)).collect()).expect("they are added");
    let to = other.0.join("copy");
    archive.copy_to(&to, &mut |_, _| {}).expect("it copies");
    writer.finish().expect("it commits");
    let copied = Archive::open(&to).expect("a copy opens");
    assert_eq!(found(&copied, ""), every);
    clean(&copied);
}

#[test]
fn damage_is_never_copied_over_what_is_whole_and_is_mended_from_it() {
    for name in [
        "originals/000001.tar.zst",
        "records/000001.jsonl.zst",
        "notes.jsonl",
    ] {
        let (folder, other) = (Folder::new(), Folder::new());
        let archive = filled(&folder.0, 10);
        let run = found(&archive, "").pop_first().expect("a run");
        let mut writer = archive.write("test").expect("the lock is free");
        let mut note = Note::about(&RunId::named(run.as_str()));
        note.fields.insert("sample".into(), "beet".into());
        writer.note(note).expect("it notes");
        writer.finish().expect("it commits");
        let to = other.0.join("copy");
        copy(&folder.0, &to).expect("it copies");
        // The archive goes on, and then an early byte turns over.
        grow(&folder.0, 10, 14);
        let (whole, before) = (kept(&folder.0), kept(&to));
        let mut bytes = whole[name].clone();
        bytes[40] ^= 4;
        fs::write(folder.0.join(name), bytes).expect("it is written");
        // Notes to which nothing was added are not read again: the copy has them whole.
        let copied = copy(&folder.0, &to);
        assert!(copied.is_err() || kept(&to)[name] == whole[name], "{name}");
        let again = Archive::open(&to).expect("the copy is what it was");
        clean(&again);
        drop(again);
        assert_eq!(
            kept(&to)[name][..before[name].len().min(41)],
            before[name][..before[name].len().min(41)]
        );
        let done = Archive::mend_from(&folder.0, &to).expect("it is mended");
        assert_eq!(done.len(), 1, "{name}");
        assert_eq!(kept(&folder.0)[name], whole[name]);
        clean(&Archive::open(&folder.0).expect("it opens"));
        copy(&folder.0, &to).expect("it copies");
        assert_eq!(kept(&to), kept(&folder.0), "{name}");
    }
}

#[test]
fn a_lost_file_comes_back_from_a_copy() {
    let (folder, other) = (Folder::new(), Folder::new());
    drop(filled(&folder.0, 10));
    let to = other.0.join("copy");
    copy(&folder.0, &to).expect("it copies");
    let whole = kept(&folder.0);
    for name in ["originals/000001.tar.zst", "records/000001.jsonl.zst"] {
        fs::remove_file(folder.0.join(name)).expect("it goes");
        Archive::mend_from(&folder.0, &to).expect("it is mended");
        assert_eq!(kept(&folder.0), whole, "{name}");
    }
}

#[test]
fn folders_that_hold_something_else_are_no_copies() {
    let (folder, other) = (Folder::new(), Folder::new());
    drop(filled(&folder.0, 5));
    fs::write(other.0.join("thesis.txt"), "mine").expect("it is written");
    let another = Folder::new();
    drop(Archive::create(&another.0, "another").expect("a new archive"));
    grow(&another.0, 40, 44);
    for to in [&other.0, &another.0, &folder.0, &folder.0.join("inside")] {
        let before = files(&another.0);
        assert!(
            matches!(copy(&folder.0, to), Err(Error::NoCopy { .. })),
            "{}",
            to.display()
        );
        assert_eq!(files(&another.0), before);
    }
    assert_eq!(fs::read(other.0.join("thesis.txt")).expect("it stays"), b"mine");
}

#[test]
fn a_copy_rests_on_the_answers_that_it_says() {
    let (folder, other) = (Folder::new(), Folder::new());
    let early = filled(&folder.0, 10);
    let to = other.0.join("copy");
    early.copy_to(&to, &mut |_, _| {}).expect("it copies");
    // Somebody answers and reads again while the archive stays open.
    let mut writer = early.write("test").expect("the lock is free");
    let mut answers = writer.answers().expect("none yet");
    let line = crate::Answer {
        answer: "x=time:s".into(),
        everywhere: true,
        ..crate::Answer::default()
    };
    writer.answer(&mut answers, vec![line]).expect("it is written");
    add(&mut writer, (10..12).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.commit().expect("it commits");
    let waiting = answers.unapplied();
    writer.applied(&answers, &waiting, &|_| true).expect("it is kept");
    writer.finish().expect("it ends");
    early.copy_to(&to, &mut |_, _| {}).expect("it copies");
    assert_eq!(kept(&to), kept(&folder.0));
    let copied = Archive::open(&to).expect("a copy opens");
    assert_eq!(
        copied.commit(),
        early.commit() + 1,
        "the records that rest on it came along"
    );
    // A copy never says that it rests on answers of which the archive does not know it.
    fs::remove_file(folder.0.join("answers.applied.jsonl")).expect("it goes");
    early.copy_to(&to, &mut |_, _| {}).expect("it copies");
    let of_copy = copied.answers().expect("they are there").unapplied();
    assert!(of_copy.is_unknown);
}
