//! Readers never wait, writers take turns, and a lock names who has it.

use super::*;

#[test]
fn readers_never_wait_and_writers_take_turns() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 10);
    let before = found(&archive, "").len();
    let mut writer = archive.write("a test that writes").expect("the lock");
    match archive.write("another") {
        Err(Error::Locked { holder, .. }) => assert_eq!(holder.command, "a test that writes"),
        _ => panic!("two writers"),
    }
    add(&mut writer, (10..30).map(|n| addition(n, 0)).collect()).expect("it adds");
    let other = Archive::open(&folder.0).expect("it opens while another writes");
    assert_eq!(found(&other, "").len(), before);
    writer.commit().expect("it commits");
    assert_eq!(
        found(&archive, "").len(),
        before,
        "a reader keeps to what it opened"
    );
    let mut other = Archive::open(&folder.0).expect("it opens");
    let after = found(&other, "").len();
    assert!(after > before);
    add(&mut writer, (30..40).map(|n| addition(n, 0)).collect()).expect("it adds");
    drop(writer);
    other.refresh().expect("it looks again");
    assert_eq!(found(&other, "").len(), after, "what was not committed never was");
    clean(&other);
    // Without its index nothing is lost.
    fs::remove_dir_all(folder.0.join("index")).expect("it goes");
    other.refresh().expect("it looks again");
    assert_eq!(found(&other, "").len(), after);
    other.reindex().expect("it builds");
    assert_eq!(found(&other, "").len(), after);
    clean(&other);
}

#[test]
fn a_lock_names_its_holder_and_outlives_no_process() {
    let folder = Folder::new();
    filled(&folder.0, 1);
    let path = Lock::path(&folder.0);
    // No process has this number: Linux gives at most 2^22.
    let dead = Holder {
        pid: u32::MAX,
        ..Holder::this("a command that crashed")
    };
    fs::write(&path, serde_json::to_string(&dead).expect("json")).expect("it writes");
    let writer = Writer::open(&folder.0, "the next").expect("it takes over");
    assert_eq!(writer.taken_over(), Some(&dead));
    drop(writer);
    assert!(
        Writer::open(&folder.0, "the next")
            .expect("it is free")
            .taken_over()
            .is_none()
    );
    // Neither a new name of the host nor a new start of the machine makes it another.
    for renamed in [
        Holder {
            host: "a-new-name".into(),
            ..dead.clone()
        },
        Holder {
            boot: Some("an earlier start".into()),
            ..dead.clone()
        },
    ] {
        fs::write(&path, serde_json::to_string(&renamed).expect("json")).expect("it writes");
        assert!(Writer::open(&folder.0, "the next").is_ok() || renamed.machine.is_none());
    }
    let away = Holder {
        host: "another-host".into(),
        machine: Some("another machine".into()),
        boot: Some("another start".into()),
        ..dead
    };
    fs::write(&path, serde_json::to_string(&away).expect("json")).expect("it writes");
    match Writer::open(&folder.0, "the next") {
        Err(error @ Error::Locked { .. }) => {
            assert!(
                error.to_string().contains("another-host")
                    && error
                        .help()
                        .is_some_and(|help| help.contains("curvary unlock --gone"))
            );
        }
        _ => panic!("another host is believed"),
    }
    assert!(matches!(
        Archive::unlock(&folder.0, false),
        Err(Error::Locked { .. })
    ));
    assert_eq!(
        Archive::unlock(&folder.0, true).expect("we know it"),
        Unlocked::Freed(away)
    );
    let writer = Writer::open(&folder.0, "the next").expect("it is free");
    assert!(
        matches!(Archive::unlock(&folder.0, true), Err(Error::Locked { .. })),
        "it is held"
    );
    drop(writer);
    assert_eq!(
        Archive::unlock(&folder.0, true).expect("it is free"),
        Unlocked::Free
    );
}

#[test]
fn a_check_beside_a_writer_raises_no_alarm() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 4);
    // What is checked is what was there when the archive was opened.
    let mut writer = Archive::open(&folder.0)
        .expect("it opens")
        .write("test")
        .expect("the lock");
    add(&mut writer, (4..9).map(|n| addition(n, 0)).collect()).expect("it adds");
    writer.finish().expect("it commits");
    let checked = archive.verify(&mut |_, _| {}).expect("it checks");
    assert_eq!((checked.problems, checked.originals), (vec![], 4));
    assert!(
        checked
            .remarks
            .iter()
            .any(|remark| remark.contains("somebody writes")),
        "{:?}",
        checked.remarks
    );
    clean(&Archive::open(&folder.0).expect("it opens"));
}
