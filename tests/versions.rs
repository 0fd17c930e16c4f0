//! Versions of files, names that look alike and copies: no run vanishes from `find` without a word.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;

use curvary_tests::{json, run, status};
use serde_json::Value;

fn export(sample: &str, seed: u32) -> String {
    let mut text = format!("sample: {sample}\nwavelength: 535 nm\n\ntime (s),absorbance\n");
    for point in 0..20_u32 {
        let value = 0.8 - f64::from(point * (seed % 7 + 1)) / 400.0 + f64::from(seed % 13) / 100.0;
        text.push_str(&format!("{},{value:.4}\n", point * 10));
    }
    text
}

fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, arguments);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let complained = String::from_utf8_lossy(&output.stderr);
    assert_eq!(status(&output), Some(0), "{arguments:?}: {said}{complained}");
    said
}

fn added(folder: &Path, arguments: &[&str]) -> Value {
    let mut all = vec!["add", "--json", "--archive", "lab"];
    all.extend(arguments);
    json(&run(folder, &all))
}

fn found(folder: &Path, query: &str) -> Vec<String> {
    let said = done(folder, &["find", "--ids", "--archive", "lab", query]);
    said.lines().map(str::to_owned).collect()
}

fn put(folder: &Path, name: &str, text: &str) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().expect("it has one")).expect("a folder");
    fs::write(path, text).expect("a file");
}

#[cfg(unix)]
#[test]
fn names_that_are_no_utf_8_stay_apart() {
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    fs::create_dir(here.join("in")).expect("a folder");
    for (seed, name) in [&b"Pr\xE4parat.csv"[..], b"Pr\xF6parat.csv", b"Pr\\xE4parat.csv"]
        .iter()
        .enumerate()
    {
        let name = std::ffi::OsStr::from_bytes(name);
        fs::write(
            here.join("in").join(name),
            export("dye", u32::try_from(seed).expect("small")),
        )
        .expect("a file");
    }
    assert_eq!(added(here, &["in"])["changed"]["files"], 0);
    assert_eq!(found(here, "dye").len(), 3);
    assert!(done(here, &["find", "--json", "--archive", "lab", "dye"]).contains(r"in/Pr\\xE4parat.csv"));
    assert_eq!(added(here, &["in"])["unchanged"], 3);
    done(here, &["verify", "--archive", "lab"]);
}

/// A whole path outside the archive's folder must not be taken for one inside that ends alike.
#[cfg(unix)]
#[test]
fn whole_paths_and_paths_beside_the_archive_stay_apart() {
    // Folders whose names begin with a point are hidden.
    let folder = tempfile::Builder::new()
        .prefix("versions")
        .tempdir()
        .expect("a folder");
    let real = fs::canonicalize(folder.path()).expect("it is there");
    let outside = real.join("stick");
    let base = real.join("house");
    put(&outside, "a.csv", &export("dye", 1));
    let inner = base.join(outside.strip_prefix("/").expect("a whole path"));
    put(&inner, "a.csv", &export("dye", 2));
    let outside = outside.display().to_string();
    added(&base, &[&outside]);
    let second = added(&base, &["."]);
    assert_eq!(second["changed"]["files"], 0, "{second}");
    assert_eq!(found(&base, "dye").len(), 2);
}

/// Another stick at the same place: the earlier runs are replaced, which is told, and can be let stand.
#[test]
fn what_is_replaced_is_told_and_can_be_kept_beside() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    put(here, "stick/run1.csv", &export("dye one", 1));
    put(here, "stick/run2.csv", &export("dye one", 2));
    added(here, &["stick"]);
    put(here, "stick/run1.csv", &export("dye two", 3));
    let told = done(here, &["add", "stick", "--archive", "lab"]);
    assert!(
        told.contains("changed") && told.contains("stick/run1.csv"),
        "{told}"
    );
    assert_eq!(found(here, "dye").len(), 2);
    let listed = done(here, &["worklist", "--archive", "lab"]);
    assert!(
        listed.contains("earlier versions") && listed.contains("stick/run1.csv"),
        "{listed}"
    );
    done(here, &["add", "stick", "--beside", "--archive", "lab"]);
    assert_eq!(found(here, "dye").len(), 3);
    let listed = done(here, &["worklist", "--archive", "lab"]);
    assert!(!listed.contains("earlier versions"), "{listed}");
    // A third one, kept beside at once, and again with the first content.
    put(here, "stick/run1.csv", &export("dye three", 5));
    let third = added(here, &["stick", "--beside"]);
    assert_eq!(third["changed"]["files"], 1);
    assert_eq!(found(here, "dye").len(), 4);
    done(here, &["verify", "--archive", "lab"]);
}

#[test]
fn a_copy_is_named_as_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    put(here, "in/run1.csv", &export("dye", 1));
    put(here, "in/Copy of run1.csv", &export("dye", 1));
    let first = added(here, &["in"]);
    assert_eq!(first["duplicates"]["files"], 1, "{first}");
    assert_eq!(
        first["duplicates"]["examples"][0],
        serde_json::json!(["in/run1.csv", "in/Copy of run1.csv"])
    );
    put(here, "in/run1 (2).csv", &export("dye", 1));
    let told = done(here, &["add", "in", "--archive", "lab"]);
    assert!(told.contains("in/run1 (2).csv is in/Copy of run1.csv"), "{told}");
    let again = added(here, &["in"]);
    assert_eq!(
        (&again["duplicates"]["files"], &again["unchanged"]),
        (&0.into(), &3.into())
    );
    assert_eq!(found(here, "dye").len(), 1);
}

/// What was said and found holds for the newer version where the numbers are the same, and is told to stay where not.
#[test]
fn a_newer_version_inherits_what_still_fits() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    let two =
        |first: u32, second: u32| format!("{}\n{}", export("dye one", first), export("dye two", second));
    put(here, "in/day.csv", &two(1, 2));
    added(here, &["in"]);
    let before = found(here, "dye");
    assert_eq!(before.len(), 2, "two runs in one file");
    for id in &before {
        done(here, &["note", id, "temperature=37 °C", "--archive", "lab"]);
        done(here, &["rates", id, "--archive", "lab"]);
    }
    // The second run was measured again, and a third one added.
    put(
        here,
        "in/day.csv",
        &format!("{}\n{}", two(1, 4), export("dye three", 5)),
    );
    let told = added(here, &["in"]);
    assert_eq!(told["changed"]["files"], 1, "{told}");
    assert_eq!(told["changed"]["inherited"], 1, "{told}");
    assert_eq!(
        told["changed"]["left_behind"].as_array().map(Vec::len),
        Some(1),
        "{told}"
    );
    assert_eq!(found(here, "dye").len(), 3);
    assert_eq!(found(here, "temperature:37C").len(), 1);
    assert_eq!(found(here, "has:result").len(), 1);
    let heir = &found(here, "temperature:37C")[0];
    assert!(!before.contains(heir));
    let listed = json(&run(here, &["worklist", "--json", "--archive", "lab"]));
    assert_eq!(
        listed["replaced"]["left_behind"].as_array().map(Vec::len),
        Some(1),
        "{listed}"
    );
    done(here, &["verify", "--archive", "lab"]);
}

#[test]
fn a_table_in_front_moves_no_note() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    put(here, "in/day.csv", &export("dye one", 1));
    added(here, &["in"]);
    let id = &found(here, "dye")[0];
    done(here, &["note", id, "temperature=37 °C", "--archive", "lab"]);
    done(here, &["rates", id, "--archive", "lab"]);
    put(
        here,
        "in/day.csv",
        &format!("{}\n{}", export("dye zero", 3), export("dye one", 1)),
    );
    let told = added(here, &["in"]);
    assert_eq!(told["changed"]["inherited"], 1, "{told}");
    assert_eq!(
        found(here, "temperature:37C has:result"),
        found(here, "sample:one")
    );
    assert_eq!(found(here, "has:note").len(), 1);
}

/// Members of a container may share a name.
#[test]
fn members_of_one_name_stay_apart() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    let mut tape = Vec::new();
    for seed in 1..3 {
        let text = export("dye", seed);
        let mut header = [0_u8; 512];
        header[..8].copy_from_slice(b"run1.csv");
        header[100..108].copy_from_slice(b"0000644\0");
        header[124..136].copy_from_slice(format!("{:011o}\0", text.len()).as_bytes());
        header[136..148].copy_from_slice(b"00000000000\0");
        header[148..156].copy_from_slice(b"        ");
        header[156] = b'0';
        header[257..265].copy_from_slice(b"ustar\x0000");
        let sum: u32 = header.iter().map(|&byte| u32::from(byte)).sum();
        header[148..156].copy_from_slice(format!("{sum:06o}\0 ").as_bytes());
        tape.extend_from_slice(&header);
        tape.extend_from_slice(text.as_bytes());
        tape.resize(tape.len().next_multiple_of(512), 0);
    }
    tape.resize(tape.len() + 1024, 0);
    fs::create_dir(here.join("in")).expect("a folder");
    fs::write(here.join("in/day.tar"), tape).expect("a file");
    let told = added(here, &["in"]);
    assert_eq!(told["changed"]["files"], 0, "{told}");
    assert_eq!(found(here, "dye").len(), 2);
}

/// A container that cannot be unpacked is kept bit for bit, and what cannot be read at all stays listed.
#[test]
fn what_cannot_be_read_is_kept_or_listed() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    let mut packed = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for (seed, name) in ["a.csv", "b.csv"].iter().enumerate() {
        packed.start_file(*name, options).expect("it begins");
        let text = export("dye", u32::try_from(seed).expect("small"));
        std::io::Write::write_all(&mut packed, text.as_bytes()).expect("it writes");
    }
    let mut bytes = packed.finish().expect("it ends").into_inner();
    // Into the deflated data of the second member.
    let at = bytes
        .windows(5)
        .rposition(|five| five == b"b.csv")
        .expect("in the directory");
    let local = bytes[..at]
        .windows(5)
        .rposition(|five| five == b"b.csv")
        .expect("in its header");
    bytes[local + 40] ^= 0xFF;
    fs::create_dir(here.join("in")).expect("a folder");
    fs::write(here.join("in/day.zip"), &bytes).expect("a file");
    let told = run(here, &["add", "in", "--archive", "lab"]);
    assert_eq!(status(&told), Some(1));
    assert_eq!(found(here, "dye").len(), 1);
    let listed = json(&run(here, &["worklist", "--json", "--archive", "lab"]));
    assert_eq!(listed["unread"][0]["code"], "container-damaged", "{listed}");
    assert_eq!(listed["unread"][0]["examples"][0], "in/day.zip");
    let originals = fs::File::open(here.join("lab/originals/000001.tar.zst")).expect("it is there");
    let mut originals = tar::Archive::new(zstd::Decoder::new(originals).expect("zstd"));
    let mut kept = None;
    for entry in originals.entries().expect("a tar file") {
        let mut entry = entry.expect("an entry");
        if entry.path_bytes() == "in/day.zip".as_bytes() {
            let mut bytes = Vec::new();
            std::io::Read::read_to_end(&mut entry, &mut bytes).expect("it reads");
            kept = Some(bytes);
        }
    }
    assert!(kept.as_ref() == Some(&bytes), "bit for bit");
    done(here, &["verify", "--archive", "lab"]);
    done(here, &["reread", "--archive", "lab"]);
    assert_eq!(added(here, &["in"])["unchanged"], 2);
    // A whole copy takes its place, and nothing is open any more.
    bytes[local + 40] ^= 0xFF;
    fs::write(here.join("in/day.zip"), &bytes).expect("a file");
    added(here, &["in"]);
    assert_eq!(found(here, "dye").len(), 2);
    let listed = json(&run(here, &["worklist", "--json", "--archive", "lab"]));
    assert_eq!(listed["unread"], serde_json::json!([]), "{listed}");
}

/// A file that is longer than what is opened stays listed until it can be kept, or a person strikes it.
#[test]
fn what_cannot_be_kept_stays_listed() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    fs::create_dir(here.join("in")).expect("a folder");
    for name in ["a.csv", "b.csv"] {
        // It takes no room: the disk keeps holes as holes.
        let file = fs::File::create(here.join("in").join(name)).expect("a file");
        file.set_len((1 << 30) + 1).expect("a length");
    }
    put(here, "in/c.csv", &export("dye", 1));
    let unread = || json(&run(here, &["worklist", "--json", "--archive", "lab"]))["unread"].clone();
    assert_eq!(status(&run(here, &["add", "in", "--archive", "lab"])), Some(1));
    assert_eq!(unread()[0]["code"], "file-too-large");
    assert_eq!(unread()[0]["count"], 2);
    assert_eq!(status(&run(here, &["add", "in", "--archive", "lab"])), Some(1));
    assert_eq!(unread()[0]["count"], 2);
    fs::remove_dir_all(here.join("lab/index")).expect("the index may go at any time");
    assert_eq!(unread()[0]["count"], 2);
    put(here, "in/a.csv", &export("dye", 2));
    assert_eq!(status(&run(here, &["add", "in", "--archive", "lab"])), Some(1));
    assert_eq!(unread()[0]["examples"], serde_json::json!(["in/b.csv"]));
    done(here, &["worklist", "--strike", "in/b.csv", "--archive", "lab"]);
    assert_eq!(unread(), serde_json::json!([]));
    done(here, &["verify", "--archive", "lab"]);
}

/// An archive of format 3: read by every command that reads, written by none, and moved on by one that says so.
#[test]
fn an_older_archive_is_moved_on_by_a_command_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    for name in [
        "archive.toml",
        "manifest.json",
        "notes.jsonl",
        "originals/000001.zip",
    ]
    .into_iter()
    .chain(["records/000001.jsonl.zst"])
    {
        let to = here.join("lab").join(name);
        fs::create_dir_all(to.parent().expect("it has one")).expect("a folder");
        let from = curvary_tests::root().join("tests/archives/format-3");
        fs::copy(from.join(name), to).expect("it copies");
    }
    let before = fs::read(here.join("lab/manifest.json")).expect("it is there");
    let every = found(here, "");
    assert_eq!(every.len(), 6);
    done(here, &["show", &every[0], "--archive", "lab"]);
    done(here, &["verify", "--archive", "lab"]);
    put(here, "in/e.csv", &export("dye", 3));
    let note = ["note", &every[0], "ph=7", "--archive", "lab"];
    for refused in [&["add", "in", "--archive", "lab"][..], &note] {
        let output = run(here, refused);
        assert_eq!(status(&output), Some(3), "{refused:?}");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(said.contains("`curvary upgrade`"), "{said}");
    }
    assert_eq!(
        fs::read(here.join("lab/manifest.json")).expect("it is there"),
        before
    );
    let said = done(here, &["upgrade", "--archive", "lab"]);
    assert!(said.contains("from format 3 to 5"), "{said}");
    done(here, &["note", &every[0], "ph=7", "--archive", "lab"]);
    assert_eq!(added(here, &["in"])["runs"], 1);
    assert_eq!(found(here, "").len(), 7);
    assert_eq!(found(here, "dye").len(), 1);
    done(here, &["verify", "--archive", "lab"]);
    assert!(done(here, &["upgrade", "--archive", "lab"]).contains("already"));
}
