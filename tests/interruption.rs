//! Kills `add` and every other writing command at random moments: after each, the archive is sound, and a repeated `add` completes it. Nothing is lost
//! and nothing is there twice.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::path::Path;
use std::process::Stdio;
use std::thread::sleep;
use std::time::{Duration, Instant};

use curvary_tests::ways::Dice;
use curvary_tests::{call, copy_folder, json, run, status};

/// How long the killing of one test goes on at most, and how often it happens.
const SECONDS: u64 = 20;
const KILLS: u32 = 25;

/// How often to kill, and how long that may take: `CURVARY_KILLS=500` asks for a long run of so many in each of the two tests.
fn kills_wanted(usual: u32) -> (u32, Duration) {
    let told = std::env::var("CURVARY_KILLS").ok();
    match told.and_then(|count| count.parse().ok()) {
        Some(count) => (count, Duration::MAX),
        None => (usual, Duration::from_secs(SECONDS)),
    }
}

fn exports(folder: &Path) {
    for file in 0..400_u32 {
        let group = folder.join(format!("group-{}", file % 7));
        fs::create_dir_all(&group).expect("a folder");
        let mut text = format!(
            "# sample: betanin {file}\n# temperature: {} °C\n# wavelength: 535 nm\ntime (s),absorbance\n",
            20 + file % 40
        );
        for point in 0..400_u32 {
            let value = 0.9 * (-f64::from(point) / f64::from(80 + file)).exp();
            text.push_str(&format!("{},{value:.4}\n", point * 10));
        }
        fs::write(group.join(format!("run-{file:03}.csv")), text).expect("a file");
    }
}

fn ids(folder: &Path, archive: &str) -> Vec<String> {
    let output = run(folder, &["find", "--ids", "--archive", archive]);
    assert_eq!(
        status(&output),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let mut ids: Vec<String> = String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(str::to_owned)
        .collect();
    ids.sort();
    ids
}

fn sound(folder: &Path, archive: &str) -> serde_json::Value {
    let output = run(folder, &["verify", "--json", "--archive", archive]);
    let checked = json(&output);
    assert_eq!(checked["problems"], serde_json::json!([]), "{checked}");
    assert_eq!(status(&output), Some(0));
    checked
}

#[test]
fn add_may_be_killed_at_any_moment() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    exports(&here.join("in"));
    let begun = Instant::now();
    let whole = run(here, &["add", "in", "--archive", "whole", "--quiet"]);
    assert_eq!(
        status(&whole),
        Some(0),
        "{}",
        String::from_utf8_lossy(&whole.stderr)
    );
    let takes = u64::try_from(begun.elapsed().as_millis())
        .unwrap_or(1_000)
        .max(20);
    let truth = ids(here, "whole");
    assert_eq!(truth.len(), 400);

    let begun = Instant::now();
    let mut dice = Dice(0x2545_f491_4f6c_dd1d);
    let mut kills = 0;
    // On a machine that is busy with other things a few kills take longer.
    let (wanted, most) = kills_wanted(KILLS);
    while kills < 6 || kills < wanted && begun.elapsed() < most {
        // Half of the time in a fresh archive, half in one that was killed before.
        let archive = format!("killed-{}", kills / 2);
        if kills >= 2 && kills % 2 == 0 {
            // A long run would fill the disk.
            let _ = fs::remove_dir_all(here.join(format!("killed-{}", kills / 2 - 1)));
        }
        let mut child = call(here, &["add", "in", "--archive", &archive, "--quiet"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        sleep(Duration::from_millis(dice.roll(takes)));
        // Killed as `kill -9` kills, unless it was quicker.
        let _ = child.kill();
        let _ = child.wait();
        kills += 1;
        if !here.join(&archive).join("archive.toml").is_file() {
            continue;
        }
        let checked = sound(here, &archive);
        let before = ids(here, &archive);
        assert!(
            before.iter().all(|id| truth.contains(id)),
            "runs that nobody measured"
        );
        assert_eq!(checked["runs"].as_u64(), Some(before.len() as u64));
        if kills % 2 == 0 {
            let output = run(here, &["add", "in", "--archive", &archive, "--quiet"]);
            assert_eq!(
                status(&output),
                Some(0),
                "{}",
                String::from_utf8_lossy(&output.stderr)
            );
            assert_eq!(ids(here, &archive), truth, "after {kills} kills");
            assert_eq!(sound(here, &archive)["originals"], 400);
        }
    }
}

/// Ctrl-C is no crash: what was begun is finished and told.
#[cfg(unix)]
#[test]
fn add_may_be_interrupted() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    exports(&here.join("in"));
    let child = call(here, &["add", "in", "--archive", "lab"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    sleep(Duration::from_millis(30));
    let interrupt = std::process::Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(interrupt.is_ok_and(|status| status.success()));
    let output = child.wait_with_output().expect("it ends");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    // It may have been too early for the program to catch the signal, or too late to matter.
    let caught = said.contains("interrupted; what was done is kept");
    assert!(
        caught || output.status.code().is_none_or(|status| status == 0),
        "{said}"
    );
    if here.join("lab/archive.toml").is_file() {
        sound(here, "lab");
    }
    assert_eq!(
        status(&run(here, &["add", "in", "--archive", "lab", "--quiet"])),
        Some(0)
    );
    assert_eq!(ids(here, "lab").len(), 400);
}

/// A killed export leaves a half behind. The next one into the same folder removes it, since its name tells that its process is gone, and
/// leaves alone what is only named alike.
#[cfg(target_os = "linux")]
#[test]
fn halves_of_killed_exports_go_with_the_next_one() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    exports(&here.join("in"));
    let out = here.join("out");
    fs::create_dir_all(&out).expect("a folder");
    let halves = || -> Vec<String> {
        let names = fs::read_dir(&out).expect("it is there").flatten();
        let names = names.map(|entry| entry.file_name().to_string_lossy().into_owned());
        names.filter(|name| name.ends_with(".part")).collect()
    };
    let convert = |from: &'static str, to: &'static str| ["convert", from, "--to", "csv", "--out", to];
    for _ in 0..20 {
        let mut child = call(here, &convert("in", "out/all.csv"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        while halves().is_empty() && child.try_wait().expect("it can be waited for").is_none() {
            sleep(Duration::from_millis(1));
        }
        // The first that is there is only tried out.
        sleep(Duration::from_millis(20));
        let _ = child.kill();
        let _ = child.wait();
        if !halves().is_empty() {
            break;
        }
        let _ = fs::remove_file(out.join("all.csv"));
        let _ = fs::remove_file(out.join("all.schema.json"));
    }
    // Where the system does not tell one process from another, a half may be anybody's.
    if !halves().iter().any(|name| name.contains(".curvary-")) {
        return;
    }
    let others = ["mine.csv.part", "mine.csv.curvary-1-0123456789ab.part"];
    for name in others {
        fs::write(out.join(name), "measured").expect("a file");
    }
    let output = run(here, &convert("in/group-0", "out/next.csv"));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(status(&output), Some(0), "{said}");
    assert!(said.contains("and removed: out/all."), "{said}");
    assert!(
        said.contains("delete it when none is") && said.contains(others[1]),
        "{said}"
    );
    let left = halves();
    assert!(
        left.len() == 2 && others.iter().all(|name| left.iter().any(|own| own == name)),
        "{left:?}"
    );
}

/// A flipped bit among the records: what is whole is found, what is lost is told, and the repair makes it again.
#[test]
fn damaged_records_are_told_and_made_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    exports(&here.join("in"));
    assert_eq!(
        status(&run(here, &["add", "in", "--archive", "lab", "--quiet"])),
        Some(0)
    );
    let truth = ids(here, "lab");
    let records = here.join("lab/records/000001.jsonl.zst");
    let mut bytes = fs::read(&records).expect("it is there");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&records, bytes).expect("it is written");
    fs::remove_dir_all(here.join("lab/index")).expect("the index may go at any time");
    let output = run(here, &["find", "--ids", "--archive", "lab"]);
    assert_eq!(status(&output), Some(1), "what is lost is told by the status too");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        said.contains("records are damaged") && said.contains("verify --repair"),
        "{said}"
    );
    let left = String::from_utf8_lossy(&output.stdout).lines().count();
    assert!(left > 0 && left < truth.len(), "{left}");
    let output = run(here, &["verify", "--repair", "--archive", "lab"]);
    assert_eq!(
        status(&output),
        Some(0),
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(ids(here, "lab"), truth);
    assert_eq!(sound(here, "lab")["originals"], 400);
}

/// The notes that count: what lies beyond the manifest's length is the tail of a commit that was cut short.
fn committed_notes(folder: &Path) -> Vec<u8> {
    let manifest = fs::read(folder.join("lab/manifest.json")).expect("it is there");
    let manifest: serde_json::Value = serde_json::from_slice(&manifest).expect("JSON");
    let length = manifest["notes"]["length"].as_u64().expect("a length");
    let mut notes = fs::read(folder.join("lab/notes.jsonl")).unwrap_or_default();
    notes.truncate(usize::try_from(length).expect("small"));
    assert_eq!(notes.len() as u64, length);
    notes
}

/// Kills every other command that writes: what was said before stays said, nothing is there twice, nothing is stuck.
#[test]
fn every_writing_command_may_be_killed() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    exports(&here.join("in"));
    // A table whose decimal sign and delimiter are in doubt, so that there is something to answer.
    for file in 0..40_u32 {
        let mut text = String::from("time,absorbance\n");
        for point in 0..60_u32 {
            text.push_str(&format!(
                "{},{:.3}\n",
                point * 10,
                0.9 - f64::from(point * (file % 5 + 1)) / 900.0
            ));
        }
        fs::write(here.join(format!("in/open-{file:02}.csv")), text).expect("a file");
    }
    let add = run(here, &["add", "in", "--archive", "lab", "--quiet"]);
    assert!(
        matches!(status(&add), Some(0 | 1)),
        "{}",
        String::from_utf8_lossy(&add.stderr)
    );
    let truth = ids(here, "lab");
    let listed = json(&run(here, &["worklist", "--json", "--archive", "lab"]));
    let question = listed["questions"][0].clone();
    let choice = |number: usize| question["choices"][number]["answer"].as_str().map(str::to_owned);
    let id = question["id"].as_str().map(str::to_owned);
    let mut commands: Vec<Vec<String>> = vec![
        vec![
            "note".into(),
            "--where".into(),
            "betanin".into(),
            "--yes".into(),
            "operator=nobody".into(),
        ],
        vec!["note".into(), truth[0].clone(), "ph=7".into()],
        vec!["rates".into(), "betanin".into()],
        vec!["reread".into()],
        vec!["backup".into(), "copy".into()],
        vec!["verify".into(), "--repair".into()],
    ];
    if let (Some(id), Some(answer)) = (&id, choice(0)) {
        commands.push(vec!["answer".into(), id.clone(), answer]);
    }
    let begun = Instant::now();
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let mut kills = 0;
    let (wanted, most) = kills_wanted(KILLS * 2);
    while kills < 8 || (kills < wanted && begun.elapsed() < most) {
        let arguments = &commands[kills as usize % commands.len()];
        let mut all: Vec<&str> = arguments.iter().map(String::as_str).collect();
        all.extend(["--archive", "lab", "--quiet"]);
        let notes = committed_notes(here);
        let mut child = call(here, &all)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        sleep(Duration::from_millis(dice.roll(400)));
        let _ = child.kill();
        let _ = child.wait();
        kills += 1;
        sound(here, "lab");
        assert_eq!(
            ids(here, "lab"),
            truth,
            "after `{}` was killed",
            arguments.join(" ")
        );
        assert!(committed_notes(here).starts_with(&notes), "a note is gone");
        if here.join("copy/manifest.json").is_file() && kills % 3 == 0 {
            let backup = run(here, &["backup", "copy", "--archive", "lab", "--quiet"]);
            assert_eq!(
                status(&backup),
                Some(0),
                "{}",
                String::from_utf8_lossy(&backup.stderr)
            );
            sound(here, "copy");
            assert_eq!(ids(here, "copy"), truth);
        }
    }
    // Whatever was killed, each can be done now.
    for arguments in &commands[..6] {
        let mut all: Vec<&str> = arguments.iter().map(String::as_str).collect();
        all.extend(["--archive", "lab", "--quiet"]);
        let output = run(here, &all);
        assert!(
            matches!(status(&output), Some(0 | 1)),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        sound(here, "lab");
    }
    assert_eq!(ids(here, "lab"), truth);
}

/// Runs a command that must succeed, and gives what it said.
fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, arguments);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(status(&output), Some(0), "{arguments:?}: {said}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Kills `restore`, `upgrade` and `unlock`, each in folders of its own: what they began from is never touched, and the same command again
/// completes the work.
#[test]
fn restore_upgrade_and_unlock_may_be_killed() {
    let folder = tempfile::tempdir().expect("a folder");
    let here = folder.path();
    exports(&here.join("in"));
    done(here, &["add", "in", "--archive", "lab", "--quiet"]);
    done(here, &["backup", "copy", "--archive", "lab", "--quiet"]);
    let truth = ids(here, "lab");
    let format_3 = curvary_tests::root().join("tests/archives/format-3");
    copy_folder(&format_3, &here.join("old"));
    let of_old = ids(here, "old");
    let commands: [(&str, &[&str]); 3] = [
        ("restored", &["restore", "copy", "restored", "--quiet"]),
        ("moved", &["upgrade", "--archive", "moved", "--quiet"]),
        ("lab", &["unlock", "--archive", "lab", "--quiet"]),
    ];
    let begun = Instant::now();
    let mut dice = Dice(0x5851_f42d_4c95_7f2d);
    let mut kills = 0;
    let mut took = [100_u64; 3];
    let (wanted, most) = kills_wanted(KILLS * 2);
    while kills < 9 || (kills < wanted && begun.elapsed() < most) {
        let which = kills as usize % commands.len();
        let (archive, arguments) = commands[which];
        match archive {
            "lab" => {
                // A lock that a killed writer left behind.
                let mut child = call(here, &["rates", "betanin", "--archive", "lab", "--quiet"])
                    .stdout(Stdio::null())
                    .stderr(Stdio::null())
                    .spawn()
                    .expect("the program starts");
                sleep(Duration::from_millis(dice.roll(60)));
                let _ = child.kill();
                let _ = child.wait();
            }
            "moved" => {
                let _ = fs::remove_dir_all(here.join("moved"));
                copy_folder(&format_3, &here.join("moved"));
            }
            _ => {
                let _ = fs::remove_dir_all(here.join("restored"));
            }
        }
        // Once after the other on one folder: the second may meet what the first left.
        for _ in 0..2 {
            let mut child = call(here, arguments)
                .stdin(Stdio::null())
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .expect("the program starts");
            sleep(Duration::from_millis(dice.roll(took[which].max(1))));
            let _ = child.kill();
            let _ = child.wait();
            kills += 1;
        }
        if archive == "moved" {
            sound(here, "moved");
            assert_eq!(ids(here, "moved"), of_old, "after `upgrade` was killed");
        }
        let from = Instant::now();
        let output = run(here, arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        // A restore may have been quicker than the kill.
        let whole = archive == "restored" && said.contains("holds all of this backup already");
        assert!(status(&output) == Some(0) || whole, "{arguments:?}: {said}");
        took[which] = u64::try_from(from.elapsed().as_millis()).unwrap_or(100) + 2;
        sound(here, archive);
        let every = if archive == "moved" { &of_old } else { &truth };
        assert_eq!(
            &ids(here, archive),
            every,
            "after `{}` was killed",
            arguments.join(" ")
        );
        if archive == "moved" {
            assert!(done(here, arguments).contains("already"));
        }
    }
    sound(here, "copy");
    assert_eq!(ids(here, "copy"), truth);
}
