//! Files that changed, files that are alike, files read again; notes and the worklist.

use super::*;

#[test]
fn changed_files_identical_files_and_files_read_again() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 20);
    let before = found(&archive, "");
    let mut writer = archive.write("test").expect("the lock");
    let stat = addition(3, 0).stat.expect("a stat");
    assert_eq!(writer.known(&path(3), &stat), PathState::Unchanged);
    assert_eq!(
        writer.known(&path(3), &Stat { modified: 9, ..stat }),
        PathState::Perhaps
    );
    assert_eq!(writer.known("elsewhere.txt", &stat), PathState::New);
    // The same again: nothing happens.
    let prepared = writer
        .preparer()
        .prepare((0..20).map(|n| addition(n, 0)).collect())
        .expect("it prepares");
    let done = writer.append(prepared).expect("it appends");
    assert_eq!((done.new, done.had, done.changed, done.runs), (0, 20, 0, 0));
    writer.finish().expect("it commits");
    assert_eq!(
        fs::read_to_string(folder.0.join("manifest.json"))
            .expect("it is there")
            .matches("\"commit\": 1")
            .count(),
        1
    );

    let mut writer = archive.write("test").expect("the lock");
    let mut copy = addition(5, 0);
    copy.path = "copy of 5.txt".into();
    let prepared = writer
        .preparer()
        .prepare(vec![addition(3, 1), copy.clone(), copy])
        .expect("it prepares");
    let done = writer.append(prepared).expect("it appends");
    assert_eq!((done.new, done.had, done.changed), (1, 2, 1));
    let mut again = addition(7, 0);
    again.again = true;
    again.runs.truncate(1);
    again.runs[0].fields.claim(
        "operator",
        Claim::text("read again", Origin::Source(Place::line(1))),
    );
    let id = again.runs[0].id.clone();
    writer
        .note(Note {
            fields: [("project".to_owned(), "beets".to_owned())].into(),
            ..Note::about(&id)
        })
        .expect("a note");
    writer.put_outcome(outcome(&id, 7, 1.0)).expect("it keeps");
    let prepared = writer
        .preparer()
        .prepare(vec![again.clone()])
        .expect("it prepares");
    writer.append(prepared).expect("it appends");
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);

    let old = addition(3, 0).runs[0].id.clone();
    let new = addition(3, 1).runs[0].id.clone();
    let now = found(&archive, "");
    assert!(!now.contains(old.as_str()) && now.contains(new.as_str()));
    assert!(found(&archive, "is:superseded").contains(old.as_str()));
    assert!(archive.run(old.as_str()).expect("it is kept").superseded);
    assert_eq!(
        archive.original(&addition(3, 0).digest).expect("it is kept"),
        addition(3, 0).bytes
    );
    assert_eq!(
        archive
            .run(addition(5, 0).runs[0].id.as_str())
            .expect("it is there")
            .paths,
        [path(5), "copy of 5.txt".into()]
    );
    assert!(found(&archive, "path:copy").contains(addition(5, 0).runs[0].id.as_str()));
    let view = archive.run(id.as_str()).expect("it is there");
    assert_eq!(view.run.fields.text("operator"), Some("read again"));
    assert_eq!(view.run.fields.text("project"), Some("beets"));
    assert_eq!(view.outcomes.len(), 1);
    assert!(found(&archive, "operator:again project:beets has:result has:note").contains(id.as_str()));
    let fewer = addition(7, 0).runs.len() - 1 + addition(3, 0).runs.len();
    assert_eq!(now.len(), before.len() - fewer + addition(3, 1).runs.len());
}

#[test]
fn notes_words_of_the_house_and_the_worklist() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 80);
    let mut writer = archive.write("test").expect("the lock");
    let mut refused = addition(900, 0);
    refused.path = "letter.txt".into();
    refused.runs.clear();
    refused.verdict = Verdict::Refused;
    refused.remarks = vec![Diagnostic::error(Code::new("prose"), "this is a letter")];
    writer
        .append(writer.preparer().prepare(vec![refused]).expect("it prepares"))
        .expect("it appends");
    let id = addition(0, 0).runs[0].id.clone();
    let fields = [
        ("temperature".to_owned(), "21 °C".to_owned()),
        ("operator".to_owned(), "A. N. Other".to_owned()),
    ];
    writer
        .note(Note {
            fields: fields.into(),
            assume: vec!["date=day-first".into()],
            ..Note::about(&id)
        })
        .expect("a note");
    assert!(matches!(writer.note(Note::about(&id)), Err(Error::Note { .. })));
    assert!(matches!(
        writer.note(Note::about(&RunId::named("nobody"))),
        Err(Error::NoRun { .. })
    ));
    writer.finish().expect("it commits");

    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);
    assert_eq!(
        found(&archive, "temperature:21C operator:other"),
        [id.as_str().to_owned()].into()
    );
    assert_eq!(
        archive.assumed(&addition(0, 0).digest).expect("notes"),
        ["date=day-first"]
    );
    assert_eq!(archive.notes().expect("notes").len(), 1);
    let list = archive.worklist(&[], 3).expect("a list");
    assert_eq!(
        (list.unread[0].code.as_str(), list.unread[0].examples[0].as_str()),
        ("prose", "letter.txt")
    );
    assert_eq!(list.unread[0].message, "this is a letter");
    assert_eq!(list.questions[0].readings[0].assume, "date=day-first");
    assert_eq!(
        list.questions[0].count as usize,
        found(&archive, "question:date-order").len()
    );
    assert_eq!(list.disputes[0].field, "temperature");
    assert_eq!(list.nameless as usize, found(&archive, "-has:sample").len());
    let words: Vec<&str> = list.words.iter().map(|word| word.key.as_str()).collect();
    assert!(
        words.contains(&"flow") && words.contains(&"Lot number"),
        "{words:?}"
    );

    // One line in archive.toml, and old runs follow without being read again.
    let toml = folder.0.join("archive.toml");
    let text = fs::read_to_string(&toml).expect("it is there")
        + "\n[words]\n\"Lot number\" = \"replicate\"\n[[names]]\nname = \"house\"\npattern = \"Messung {project}\"\n";
    fs::write(&toml, text).expect("it writes");
    let lots = found(&archive, "has:\"Lot number\"");
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(found(&archive, "has:replicate"), lots);
    assert_eq!(found(&archive, "project:0007").len(), addition(7, 0).runs.len());
    clean(&archive);
}

#[test]
fn a_source_made_ready_run_by_run_is_kept_as_any_other() {
    let (folder, other) = (Folder::new(), Folder::new());
    let archive = Archive::create(&folder.0, "test").expect("a new archive");
    let mut writer = archive.write("test").expect("the lock");
    let preparer = writer.preparer();
    let by_runs = |mut addition: Addition| {
        let runs = std::mem::take(&mut addition.runs);
        let mut ready = preparer.by_runs(&addition.path, &addition.digest)?;
        for run in runs {
            ready.run(run)?;
        }
        ready.finish(addition)
    };
    let prepared: Vec<_> = (0..6)
        .map(|n| by_runs(addition(n, 0)).expect("it is ready"))
        .collect();
    for ready in prepared {
        writer.append(ready).expect("it appends");
    }
    // Bytes that are there already only gain a path.
    let mut again = addition(3, 0);
    again.path = "elsewhere.txt".into();
    let known = by_runs(again).expect("it is ready");
    assert_eq!(writer.append(known).expect("it appends").had, 1);
    // A run of another source, and runs beside those that came, are told as mistakes.
    let wrong = addition(7, 0);
    let mut ready = preparer.by_runs(&wrong.path, &wrong.digest).expect("it begins");
    assert!(ready.run(addition(8, 0).runs.remove(0)).is_err());
    assert!(ready.finish(wrong).is_err());
    writer.finish().expect("it commits");
    let archive = Archive::open(&folder.0).expect("it opens");
    clean(&archive);
    let usual = filled(&other.0, 6);
    assert_eq!(found(&archive, ""), found(&usual, ""));
    assert_eq!(found(&archive, "is:duplicate"), {
        let runs = addition(3, 0).runs.into_iter();
        runs.map(|run| run.id.as_str().to_owned()).collect()
    });
    for n in 0..6 {
        let added = addition(n, 0);
        assert_eq!(archive.original(&added.digest).expect("it is there"), added.bytes);
        for run in added.runs {
            assert_eq!(archive.stored(&run.id).expect("it is there"), run);
        }
    }
    // Without its index it is the same.
    fs::remove_dir_all(folder.0.join("index")).expect("it goes");
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(found(&archive, ""), found(&usual, ""));
    clean(&archive);
}
