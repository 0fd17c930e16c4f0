//! A disk that fills up at any byte while answers are kept, sources are read again or a copy is made: all is as it was
//! before or as it should be after, and the same again completes it.

use super::interrupted::{Failing, FailingDisk};
use super::roots::files;
use super::*;
use crate::{Answer, Moved, StoredAnswers, heirs_of_reading};

fn failing(bytes: u64) -> FailingDisk {
    FailingDisk(Arc::new(Failing(AtomicU64::new(bytes))))
}

/// How many bytes more each disk has than the one before; `CURVARY_DISK_STEP=1` asks for one that is full at each byte.
fn step(usual: u64) -> u64 {
    let told = std::env::var("CURVARY_DISK_STEP").ok();
    told.and_then(|step| step.parse().ok()).unwrap_or(usual)
}

/// Tries work on disks of ever more room until it succeeds; gives how many were too small.
fn on_disks(step: u64, mut work: impl FnMut(FailingDisk) -> Result<(), Error>) -> u32 {
    let mut last = None;
    for number in 0..200_000 {
        match work(failing(u64::from(number) * step)) {
            Ok(()) => return number,
            Err(error) => last = Some(error),
        }
    }
    panic!("no disk is large enough: {last:?}");
}

#[test]
fn answers_are_all_kept_or_none() {
    let folder = Folder::new();
    drop(filled(&folder.0, 2));
    let line = |text: &str| Answer {
        answer: text.to_owned(),
        only: vec![addition(1, 0).digest].into(),
        ..Answer::default()
    };
    let mut first = StoredAnswers::read(&folder.0).expect("none yet");
    first
        .append_on(&RealDisk, vec![line("x=time:s")])
        .expect("it is written");
    let stopped = on_disks(1, |disk| {
        let mut answers = StoredAnswers::read(&folder.0)?;
        let done = answers.append_on(&disk, vec![line("y=absorbance"), line("decimal=comma")]);
        let there = StoredAnswers::read(&folder.0).expect("it is whole").lines().len();
        assert_eq!(there, if done.is_ok() { 3 } else { 1 });
        assert_eq!(answers.lines().len(), there);
        done.map(drop)
    });
    assert!(stopped > 200, "{stopped}");
}

#[test]
fn a_new_reading_takes_all_that_was_said_along_or_has_not_been() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 3);
    let before = addition(1, 0);
    let mut writer = archive.write("test").expect("the lock");
    let mut note = Note::about(&before.runs[0].id);
    note.fields.insert("project".into(), "beets".into());
    writer.note(note).expect("a note");
    writer
        .put_outcome(outcome(&before.runs[0].id, 1, 1.0))
        .expect("it keeps");
    writer.finish().expect("it commits");
    // A run is found in front of the others.
    let mut again = addition(1, 0);
    again.again = true;
    let (x, y) = ([1.0, 2.0], [0.5, 0.75]);
    let mut runs = vec![run(&again.digest, 0, 1, &mut Dice(1), &x, &y)];
    for (ordinal, mut run) in (1..).zip(again.runs) {
        run.id = RunId::new(&again.digest, ordinal);
        run.source.ordinal = u32::try_from(ordinal).expect("small");
        runs.push(run);
    }
    let heir = runs[1].id.clone();
    again.runs = runs;
    let moved: Vec<Moved> = before
        .runs
        .iter()
        .zip(heirs_of_reading(&before.runs, &again.runs))
        .map(|(run, heir)| Moved {
            before: run.id.clone(),
            heir,
        })
        .collect();
    let spoken = |of: &RunId| {
        let archive = Archive::open(&folder.0).expect("it opens");
        let view = archive.run(of.as_str()).expect("it is there");
        let project = view.run.fields.text("project").map(str::to_owned);
        (project, view.outcomes.len())
    };
    let all = (Some("beets".to_owned()), 1);
    let stopped = on_disks(step(37), |disk| {
        let done = (|| {
            let mut writer = Writer::open_on(&folder.0, "test", Arc::new(disk), false)?;
            let prepared = writer.preparer().prepare(vec![again.clone()])?;
            writer.append_moved(prepared, &moved)?;
            writer.commit()
        })();
        let archive = Archive::open(&folder.0).expect("it opens");
        clean(&archive);
        if archive
            .stored(&heir)
            .is_ok_and(|run| run.source.ordinal == 1 && run.points() > 2)
        {
            assert_eq!(spoken(&heir), all);
            assert_eq!(spoken(&before.runs[0].id), (None, 0));
        } else {
            assert!(done.is_err());
            assert_eq!(spoken(&before.runs[0].id), all);
        }
        done
    });
    assert!(stopped > 20, "{stopped}");
    assert_eq!(spoken(&heir), all);
}

#[test]
fn a_copy_is_as_it_was_until_it_is_whole() {
    let (folder, other) = (Folder::new(), Folder::new());
    let to = other.0.join("copy");
    let kept = |root: &Path| {
        let mut all = files(root);
        all.retain(|name, _| {
            let own = ["archive.lock", "manifest.previous.json", "unfinished.json"];
            !name.starts_with("index/") && !own.contains(&name.as_str()) && !name.ends_with(".new")
        });
        all
    };
    let archive = filled(&folder.0, 4);
    // The first copy, and a later one that adds to it.
    for (bytes, more) in [(61, 0..4), (61, 4..9)] {
        let mut writer = archive.write("test").expect("the lock is free");
        add(&mut writer, more.map(|n| addition(n, 0)).collect()).expect("they are added");
        writer.finish().expect("it commits");
        let archive = Archive::open(&folder.0).expect("it opens");
        let before = Archive::open(&to).map(|copy| found(&copy, "")).ok();
        let stopped = on_disks(step(bytes), |disk| {
            let done = archive.copy_on(&to, &disk, &mut |_, _| {});
            if done.is_err()
                && let Some(before) = &before
            {
                let copy = Archive::open(&to).expect("it is what it was");
                assert_eq!(found(&copy, ""), *before);
                clean(&copy);
            }
            done.map(drop)
        });
        assert!(stopped > 20, "{stopped}");
        assert_eq!(kept(&to), kept(&folder.0));
        assert_eq!(
            found(&Archive::open(&to).expect("it opens"), ""),
            found(&archive, "")
        );
    }
}
