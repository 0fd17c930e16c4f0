//! Single bits of an archive's files are turned over: what is answered is what was kept, or nothing, and nothing panics.

use super::roots::files;
use super::*;

/// How many bits are turned over; `CURVARY_FLIPS` asks for more.
fn flips() -> u64 {
    std::env::var("CURVARY_FLIPS")
        .ok()
        .and_then(|count| count.parse().ok())
        .unwrap_or(120)
}

/// What a person can learn from an archive, each by itself: an answer, or that there is none.
type Learnt = BTreeMap<String, Option<String>>;

fn learn(root: &Path, names: &[String], digests: &[Digest]) -> Learnt {
    let mut learnt = Learnt::new();
    let mut put = |what: String, answer: Result<String, Error>| {
        learnt.insert(what, answer.ok());
    };
    let archive = match Archive::open(root) {
        Ok(archive) => archive,
        Err(_) => return learnt,
    };
    for query in [
        "",
        "betanin",
        "temperature:36..38C",
        "technique:spectrum",
        "has:result",
    ] {
        let answer = archive
            .query(query)
            .and_then(|query| archive.find(&query, &FindOptions::default()));
        put(
            format!("find {query}"),
            answer.map(|found| format!("{:?}", found.hits)),
        );
    }
    for name in names {
        put(
            format!("show {name}"),
            archive.run(name).map(|view| format!("{view:?}")),
        );
    }
    for digest in digests {
        put(
            format!("original {digest}"),
            archive
                .original(digest)
                .map(|bytes| Digest::of(&bytes).to_string()),
        );
    }
    put("notes".into(), archive.notes().map(|notes| format!("{notes:?}")));
    put(
        "worklist".into(),
        archive.worklist(&[], 3).map(|list| format!("{list:?}")),
    );
    learnt
}

#[test]
fn a_flipped_bit_is_noticed_and_never_answered_from() {
    let folder = Folder::new();
    drop(filled(&folder.0, 10));
    let archive = Archive::open(&folder.0).expect("it opens");
    let names: Vec<String> = found(&archive, "").into_iter().collect();
    let digests: Vec<Digest> = (0..10).map(|n| addition(n, 0).digest).collect();
    let mut writer = archive.write("test").expect("the lock is free");
    for (n, name) in (0..).zip(&names[..4]) {
        let run = RunId::named(name.as_str());
        writer.put_outcome(outcome(&run, n, 0.5)).expect("it keeps");
        let mut note = Note::about(&run);
        note.fields.insert("temperature".into(), "37 °C".into());
        writer.note(note).expect("it notes");
    }
    writer.finish().expect("it commits");
    let truth = learn(&folder.0, &names, &digests);
    assert!(truth.values().all(Option::is_some));
    let whole = files(&folder.0);
    // Each kind of file in turn, however small.
    let kinds: Vec<&String> = whole
        .keys()
        .filter(|name| !name.ends_with(".lock") && *name != "archive.toml")
        .collect();
    let mut dice = Dice(11);
    for number in 0..flips() {
        let name = kinds[usize::try_from(number).expect("small") % kinds.len()];
        let mut bytes = whole[name].clone();
        if bytes.is_empty() {
            continue;
        }
        let bit = usize::try_from(dice.below(8 * bytes.len() as u64)).expect("small");
        bytes[bit / 8] ^= 1 << (bit % 8);
        fs::remove_dir_all(&folder.0).expect("it goes");
        for (other, bytes) in &whole {
            let path = folder.0.join(other);
            fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
            fs::write(path, bytes).expect("it is written");
        }
        fs::write(folder.0.join(name), &bytes).expect("it is written");
        let what = format!("bit {bit} of {name}");
        // First what verify says, since asking may mend the index.
        let checked = Archive::open(&folder.0).and_then(|archive| archive.verify(&mut |_, _| {}));
        let kept = name.starts_with("originals") || name.starts_with("records") || name == "notes.jsonl";
        if kept {
            let checked = checked.unwrap_or_else(|error| panic!("{what}: {error}"));
            assert!(
                !checked.problems.is_empty() || !checked.remarks.is_empty(),
                "{what}: verify says nothing"
            );
        }
        let learnt = learn(&folder.0, &names, &digests);
        for (asked, answer) in &learnt {
            if let Some(answer) = answer {
                assert_eq!(Some(answer), truth[asked].as_ref(), "{what}: {asked}");
            }
        }
        if name.starts_with("index") {
            assert_eq!(learnt, truth, "{what}: the index is built anew");
        }
    }
}

/// The engine writes several files and then the list of them. A kill in between leaves files that no list names, and the
/// same commit said again would write files of the same names.
#[test]
fn a_kill_between_the_files_of_the_index_blocks_nothing() {
    let folder = Folder::new();
    let archive = filled(&folder.0, 10);
    let every = found(&archive, "");
    let before = files(&folder.0);
    let note = |value: &str| {
        let archive = Archive::open(&folder.0)?;
        let mut writer = archive.write("test")?;
        let mut note = Note::about(&RunId::named(every.first().expect("a run").as_str()));
        note.fields.insert("sample".into(), value.into());
        writer.note(note)?;
        writer.finish()
    };
    note("first").expect("it notes");
    // The manifest and the engine's files are there, its list of them is the one before.
    let mut put_back = 0;
    for (name, bytes) in &before {
        if name.starts_with("index/") && (name.ends_with("meta.json") || name.contains("known-")) {
            fs::write(folder.0.join(name), bytes).expect("it is written");
            put_back += 1;
        }
    }
    assert_eq!(put_back, 2);
    note("second").expect("the same command completes the work");
    let archive = Archive::open(&folder.0).expect("it opens");
    assert_eq!(found(&archive, "sample:second").len(), 1);
    assert_eq!(found(&archive, ""), every);
    clean(&archive);
}
