//! Lists of many files as parts of one set.

use super::*;

/// The manifests of a set of parts, in the order of their names.
fn manifests(set: &Path) -> Vec<serde_json::Value> {
    let mut paths: Vec<_> = fs::read_dir(set.join("manifests"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| serde_json::from_slice(&fs::read(path).unwrap()).unwrap())
        .collect()
}

/// Digests of all files of a set, which is an error where one occurs twice.
fn digests(set: &Path) -> Vec<String> {
    let mut all: Vec<String> = manifests(set)
        .iter()
        .flat_map(|manifest| manifest["sources"].as_array().unwrap().clone())
        .map(|source| source["digest"].as_str().unwrap().to_owned())
        .collect();
    all.sort();
    let count = all.len();
    all.dedup();
    assert_eq!(all.len(), count, "a file is there twice");
    all
}

/// Lists that overlap, worked on by several processes at once, again, and after one was cut short: every file counts once,
/// and each table has exactly the files of the manifests.
#[test]
fn parts_count_every_file_once() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for number in 0..40 {
        fs::create_dir_all(folder.join(format!("in/{}", number % 3))).unwrap();
        // Of the same name in several folders, and two with the same bytes.
        let name = folder.join(format!("in/{}/run {}.csv", number % 3, number / 3));
        fs::write(name, course(number.min(38))).unwrap();
    }
    fs::write(folder.join("in/letter.txt"), "nothing was measured here\n").unwrap();
    let mut names: Vec<String> = left_behind(&folder.join("in"))
        .iter()
        .map(Path::new)
        .filter(|path| path.is_file())
        .map(|path| path.strip_prefix(folder).unwrap().display().to_string())
        .collect();
    names.sort();
    let list = |name: &str, some: &[String]| fs::write(folder.join(name), some.join("\n")).unwrap();
    list("a.txt", &names[..25]);
    list("b.txt", &names[15..]);
    list("all.txt", &names);
    let words = |list: &'static str| {
        [
            "convert",
            "--files-from",
            list,
            "--files-a-part",
            "7",
            "--to",
            "parquet",
            "--out",
            "set",
            "--quiet",
        ]
    };
    let workers: Vec<_> = ["a.txt", "b.txt", "a.txt", "all.txt"]
        .into_iter()
        .map(|list| call(folder, &words(list)).spawn().unwrap())
        .collect();
    for mut worker in workers {
        let ended = worker.wait().unwrap();
        assert!(ended.code().is_some_and(|code| code <= 1), "{ended:?}");
    }
    let set = folder.join("set");
    let all = digests(&set);
    assert_eq!(all.len(), 40, "39 courses and a letter");
    let whole = |set: &Path| {
        let listed: Vec<String> = manifests(set)
            .iter()
            .flat_map(|manifest| manifest["files"].as_array().unwrap().clone())
            .map(|file| file.as_str().unwrap().to_owned())
            .collect();
        for table in ["runs", "curves", "points"] {
            let there = fs::read_dir(set.join(table)).unwrap().count();
            let of_table = listed.iter().filter(|file| file.starts_with(table)).count();
            assert_eq!(there, of_table, "{table}");
        }
        assert!(listed.iter().all(|file| set.join(file).is_file()));
    };
    whole(&set);
    let runs: u64 = manifests(&set)
        .iter()
        .map(|one| one["runs"].as_u64().unwrap())
        .sum();
    assert_eq!(runs, 39);
    // Again: nothing is written.
    let before = manifests(&set);
    let again = run(folder, &words("all.txt"));
    assert!(status(&again).is_some_and(|code| code <= 1));
    assert_eq!(manifests(&set), before);
    // A worker that was killed between the tables and the manifest leaves a part that nobody knows; and files that were in
    // a part which is gone are read again.
    let lost = fs::read_dir(set.join("manifests")).unwrap().find_map(|entry| {
        let path = entry.unwrap().path();
        path.extension()
            .is_some_and(|ending| ending == "json")
            .then_some(path)
    });
    fs::remove_file(lost.unwrap()).unwrap();
    fs::write(set.join("points/part-0000000000000000.parquet"), "half").unwrap();
    let mended = run(folder, &words("all.txt"));
    assert!(status(&mended).is_some_and(|code| code <= 1));
    assert_eq!(digests(&set), all);
    whole(&set);
    // The set has the runs under the names that an archive gives them.
    let added = run(folder, &["add", "--parts", "set", "--archive", "lab", "--quiet"]);
    assert!(status(&added).is_some_and(|code| code <= 1));
    let found = run(
        folder,
        &["find", "technique:time-course", "--ids", "--archive", "lab"],
    );
    assert_eq!(String::from_utf8(found.stdout).unwrap().lines().count(), 39);
    // What has changed meanwhile is told.
    fs::write(folder.join("in/0/run 1.csv"), course(77)).unwrap();
    let added = run(folder, &["add", "--parts", "set", "--archive", "lab"]);
    let told = String::from_utf8_lossy(&added.stderr).into_owned();
    assert!(
        told.contains("1 file has changed since the parts were written"),
        "{told}"
    );
    // A folder of something else is left alone.
    fs::create_dir(folder.join("theirs")).unwrap();
    fs::write(folder.join("theirs/a.txt"), "measured").unwrap();
    let refused = run(
        folder,
        &[
            "convert",
            "--files-from",
            "a.txt",
            "--to",
            "parquet",
            "--out",
            "theirs",
        ],
    );
    assert_eq!(status(&refused), Some(2));
    assert_eq!(fs::read_dir(folder.join("theirs")).unwrap().count(), 1);
}
