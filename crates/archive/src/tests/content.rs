//! What was said and found of a run stays with its numbers, whatever number the run has in its file.

use super::*;
use crate::{Heir, Moved, heirs_of_reading, heirs_of_version};

/// A run of these absorbances that stand on lines from `line` on.
fn on(digest: &Digest, ordinal: usize, line: usize, y: &[f64]) -> Run {
    let mut dice = Dice(7);
    let x: Vec<f64> = (0..y.len())
        .map(|point| f64::from(u32::try_from(point).expect("small")))
        .collect();
    let mut run = run(digest, ordinal, 1, &mut dice, &x, y);
    run.traces[0].lines.push_run(line, 1, y.len());
    run.questions.clear();
    run
}

fn source(text: &str, runs: impl Fn(&Digest) -> Vec<Run>, again: bool) -> Addition {
    let digest = Digest::of(text.as_bytes());
    Addition {
        bytes: text.as_bytes().to_vec(),
        runs: runs(&digest),
        digest,
        again,
        ..addition(1, 0)
    }
}

const FIRST: [f64; 4] = [0.1, 0.2, 0.3, 0.4];
const SECOND: [f64; 3] = [0.5, 0.6, 0.7];
const THIRD: [f64; 3] = [0.9, 0.8, 0.7];

/// What is said and found of each run, whose first absorbance names it.
fn spoken(archive: &Archive) -> Vec<(f64, Option<String>, Vec<f64>)> {
    let mut all: Vec<_> = found(archive, "")
        .iter()
        .map(|id| {
            let view = archive.run(id).expect("it is there");
            let k = view.outcomes.iter().filter_map(|one| one.parameters[0].value);
            (
                view.run.traces[0].y.values[0],
                view.run.fields.text("project").map(str::to_owned),
                k.map(|k| (k * 60.0).round()).collect(),
            )
        })
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all
}

fn reread(archive: &Archive, before: &[Run], again: Addition) {
    let moved: Vec<Moved> = before
        .iter()
        .zip(heirs_of_reading(before, &again.runs))
        .map(|(run, heir)| Moved {
            before: run.id.clone(),
            heir,
        })
        .collect();
    let mut writer = archive.write("test").expect("the lock");
    let prepared = writer.preparer().prepare(vec![again]).expect("it prepares");
    writer.append_moved(prepared, &moved).expect("it appends");
    writer.finish().expect("it commits");
}

#[test]
fn a_reader_that_splits_otherwise_mixes_up_no_notes_and_no_results() {
    let folder = Folder::new();
    let archive = Archive::create(&folder.0, "test").expect("a new archive");
    let text = "three invented tables";
    let before = |digest: &Digest| vec![on(digest, 0, 10, &FIRST), on(digest, 1, 30, &SECOND)];
    let first = source(text, before, false);
    let (digest, runs) = (first.digest.clone(), first.runs.clone());
    let mut writer = archive.write("test").expect("the lock");
    add(&mut writer, vec![first]).expect("it adds");
    for (n, (run, project)) in (1..).zip(runs.iter().zip(["beets", "dyes"])) {
        let mut note = Note::about(&run.id);
        note.fields.insert("project".into(), project.into());
        writer.note(note).expect("a note");
        let found = outcome(&run.id, n, f64::from(u32::try_from(n).expect("small")));
        writer.put_outcome(found).expect("it keeps");
    }
    let both = Outcome {
        runs: runs.iter().map(|run| run.id.clone()).collect(),
        ..outcome(&runs[0].id, 9, 9.0)
    };
    writer.put_outcome(both).expect("it keeps");
    writer.finish().expect("it commits");
    let text_of = |project: &str| Some(project.to_owned());

    // A table in front that was overlooked: every run has another number.
    let three = |digest: &Digest| {
        vec![
            on(digest, 0, 2, &THIRD),
            on(digest, 1, 10, &FIRST),
            on(digest, 2, 30, &SECOND),
        ]
    };
    let expected = [
        (0.1, text_of("beets"), vec![1.0, 9.0]),
        (0.5, text_of("dyes"), vec![2.0, 9.0]),
        (0.9, None, vec![]),
    ];
    let archive = Archive::open(&folder.0).expect("it opens");
    reread(&archive, &runs, source(text, three, true));
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(spoken(&archive), expected);
    assert_eq!(found(&archive, "has:note").len(), 2);
    assert_eq!(found(&archive, "has:result").len(), 2);
    // The same from the records alone.
    archive.reindex().expect("it is built");
    assert_eq!(spoken(&archive), expected);
    clean(&archive);

    // And back again, the other way round.
    let turned = |digest: &Digest| vec![on(digest, 0, 30, &SECOND), on(digest, 1, 10, &FIRST)];
    reread(&archive, &three(&digest), source(text, turned, true));
    let archive = Archive::open(&folder.0).expect("it opens");
    let expected = &expected[..2];
    assert_eq!(spoken(&archive), expected);
    archive.reindex().expect("it is built");
    assert_eq!(spoken(&archive), expected);

    // Numbers that are read otherwise keep their notes, and no result; a table that is gone takes both along.
    let other = [0.1, 0.2, 0.3, 0.45];
    reread(
        &archive,
        &turned(&digest),
        source(text, |digest| vec![on(digest, 0, 10, &other)], true),
    );
    let archive = Archive::open(&folder.0).expect("it opens");
    let expected = [(0.1, text_of("beets"), vec![])];
    assert_eq!(spoken(&archive), expected);
    archive.reindex().expect("it is built");
    assert_eq!(spoken(&archive), expected);
}

#[test]
fn equal_tables_go_to_their_own_turn_and_joined_ones_to_none() {
    let digest = Digest::of(b"before");
    let later = Digest::of(b"after");
    let after_of = |heirs: Vec<Option<Heir>>| -> Vec<Option<RunId>> {
        heirs
            .into_iter()
            .map(|heir| heir.map(|heir| heir.after))
            .collect()
    };
    let id = |ordinal| Some(RunId::new(&later, ordinal));
    // A newer version with a table in front of two that are equal.
    let before = [on(&digest, 0, 1, &FIRST), on(&digest, 1, 9, &FIRST)];
    let after = [
        on(&later, 0, 1, &THIRD),
        on(&later, 1, 9, &FIRST),
        on(&later, 2, 17, &FIRST),
    ];
    assert_eq!(after_of(heirs_of_version(&before, &after)), [id(1), id(2)]);
    // Two that became one, and one that became two: nobody's.
    let one = [on(&later, 0, 1, &[0.1, 0.2, 0.3, 0.4, 0.0, 0.0, 0.0, 0.0, 0.1])];
    assert_eq!(after_of(heirs_of_reading(&before, &one)), [None, None]);
    assert_eq!(after_of(heirs_of_reading(&one, &before)), [None]);
    // Columns of one table of which the numbers are read otherwise stay in their places.
    let columns = [on(&digest, 0, 1, &SECOND), on(&digest, 1, 1, &THIRD)];
    let scaled = [
        on(&later, 0, 1, &[50.0, 60.0, 70.0]),
        on(&later, 1, 1, &[90.0, 80.0, 70.0]),
    ];
    let heirs = heirs_of_reading(&columns, &scaled);
    assert!(heirs.iter().flatten().all(|heir| !heir.results));
    assert_eq!(after_of(heirs), [id(0), id(1)]);
}
