//! Archives that programs of formats 3 and 4 made (`tests/archives/format-3`, `format-4`): read as they are, moved on only when asked.

use super::roots::files;
use super::*;
use crate::FORMAT;

/// A copy of that of a format.
fn older(format: u32) -> Folder {
    fn copy(from: &Path, to: &Path) {
        fs::create_dir_all(to).expect("a folder");
        for entry in fs::read_dir(from).expect("a folder") {
            let entry = entry.expect("an entry").path();
            let to = to.join(entry.file_name().expect("a name"));
            if entry.is_dir() {
                copy(&entry, &to);
            } else {
                fs::copy(&entry, &to).expect("it copies");
            }
        }
    }
    let folder = Folder::new();
    copy(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../tests/archives/format-{format}")),
        &folder.0,
    );
    folder
}

/// Its files without the index and the lock.
fn kept(root: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = files(root);
    all.retain(|name, _| !name.starts_with("index") && name != "archive.lock");
    all
}

/// Runs that stand and runs that a newer version of their file took the place of.
const RUNS: [usize; 2] = [6, 1];

#[test]
fn an_older_archive_is_read_and_left_as_it_is() {
    [3, 4].into_iter().for_each(is_read_and_left);
}

fn is_read_and_left(format: u32) {
    let folder = older(format);
    let before = kept(&folder.0);
    let archive = Archive::open(&folder.0).expect("it opens");
    let every = found(&archive, "");
    assert_eq!(every.len(), RUNS[0]);
    assert_eq!(found(&archive, "is:superseded").len(), RUNS[1]);
    assert_eq!(found(&archive, "operator:nobody").len(), 1);
    assert_eq!(found(&archive, "has:result").len(), 1);
    assert_eq!(clean(&archive), (RUNS[0] + RUNS[1]) as u64);
    for source in archive.sources().expect("its sources") {
        let bytes = archive.original(&source.record.digest).expect("its original");
        assert_eq!(Digest::of(&bytes), source.record.digest);
    }
    for id in &every {
        assert!(archive.run(id).expect("its record").run.points() > 0);
    }
    let refused = archive.write("test").err().expect("it is refused");
    assert!(
        matches!(
            refused,
            Error::OlderFormat {
                found,
                known: FORMAT,
                ..
            } if found == format
        ),
        "{refused}"
    );
    assert_eq!(kept(&folder.0), before);
    let other = Folder::new();
    archive
        .copy_to(&other.0.join("copy"), &mut |_, _| {})
        .expect("it is copied");
    let copy = kept(&other.0.join("copy"));
    for (name, bytes) in before.iter().filter(|(name, _)| name.starts_with("originals/")) {
        assert_eq!(&copy[name], bytes);
    }
    assert!(
        Archive::open(&other.0.join("copy"))
            .expect("it opens")
            .write("test")
            .is_err()
    );
}

#[test]
fn an_older_archive_is_moved_on_when_asked() {
    [3, 4].into_iter().for_each(is_moved_on);
}

fn is_moved_on(format: u32) {
    let folder = older(format);
    let before = kept(&folder.0);
    let mut archive = Archive::open(&folder.0).expect("it opens");
    let every = found(&archive, "");
    assert_eq!(archive.upgrade().expect("it is moved on"), Some(format));
    assert_eq!(archive.upgrade().expect("it is there"), None);
    assert_eq!(found(&archive, ""), every);
    let mut writer = archive.write("test").expect("the lock is free");
    add(&mut writer, (0..6).map(|n| addition(n, 0)).collect()).expect("they are added");
    writer.finish().expect("it commits");
    let after = kept(&folder.0);
    for (name, bytes) in &before {
        if name.starts_with("originals/") || name.starts_with("records/") {
            assert!(after[name].starts_with(bytes), "{name}");
        }
    }
    let zipped = format == 3;
    assert_eq!(after.contains_key("originals/000002.tar.zst"), zipped);
    let check = |what: &str| {
        let archive = Archive::open(&folder.0).expect("it opens");
        assert!(found(&archive, "").is_superset(&every), "{what}");
        clean(&archive);
        for n in 0..6 {
            let added = addition(n, 0);
            assert_eq!(archive.original(&added.digest).expect("it is there"), added.bytes);
        }
    };
    check("moved on");
    let _ = fs::remove_dir_all(folder.0.join("index"));
    check("with a new index");
    if zipped {
        // The ZIP file's damaged header is written again from its directory.
        let path = folder.0.join("originals/000001.zip");
        let mut bytes = fs::read(&path).expect("it is there");
        bytes[3] ^= 1;
        fs::write(&path, bytes).expect("it is written");
        Archive::rebuild(&folder.0).expect("it is mended");
        check("mended");
    }
    // Both kinds of parts are found when the manifest is lost.
    fs::remove_file(folder.0.join("manifest.json")).expect("it goes");
    Archive::rebuild(&folder.0).expect("it is made again");
    check("with a new manifest");
}
