//! `curvary watch` takes what arrives, never half a file, and stops cleanly.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use curvary_tests::{call, json, run};

const COURSE: &str = "# sample: betanin\n# temperature: 37 °C\n# wavelength: 535 nm\ntime (s),absorbance\n0,0.9000\n10,0.8123\n\
    20,0.7331\n30,0.6617\n40,0.5972\n50,0.5390\n";

fn log(folder: &Path) -> String {
    fs::read_to_string(folder.join("watch.log")).unwrap_or_default()
}

/// Waits until the log says something.
fn until(folder: &Path, words: &str, child: &mut Child) {
    let begun = Instant::now();
    while !log(folder).contains(words) {
        assert!(
            begun.elapsed() < Duration::from_secs(60),
            "`{words}` is never said:\n{}",
            log(folder)
        );
        assert!(
            child.try_wait().expect("a process").is_none(),
            "it ended early:\n{}",
            log(folder)
        );
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn what_arrives_is_added_and_it_stops_cleanly() {
    let place = tempfile::tempdir().expect("a folder");
    let folder = place.path();
    fs::create_dir(folder.join("in")).expect("a folder");
    fs::write(folder.join("in/there.csv"), COURSE).expect("a file");
    let mut child = call(folder, &["watch", "in", "--archive", "lab", "--log", "watch.log"])
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    until(folder, "in/there.csv: 1 run", &mut child);
    // A file that grows for a while is read once, when it is whole.
    let mut slow = fs::File::create(folder.join("in/later.csv")).expect("a file");
    let text = COURSE.replace("0.9000", "0.9111");
    for piece in text.as_bytes().chunks(40) {
        slow.write_all(piece).expect("it can be written");
        slow.flush().expect("it can be written");
        std::thread::sleep(Duration::from_millis(120));
    }
    drop(slow);
    fs::write(folder.join("in/prose.txt"), "Wear goggles.\n").expect("a file");
    until(folder, "in/later.csv: 1 run", &mut child);
    until(folder, "in/prose.txt: not read", &mut child);
    let id = child.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-INT", &id])
            .status()
            .expect("kill")
            .success()
    );
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(0), "{}", log(folder));
    assert!(output.stdout.is_empty(), "with a log it is quiet");
    let said = log(folder);
    assert!(
        said.trim_end().ends_with("stopped; 3 files added, 2 runs"),
        "{said}"
    );
    assert_eq!(said.matches("later.csv").count(), 1, "{said}");
    let found = json(&run(folder, &["find", "--archive", "lab", "--json"]));
    assert_eq!(found["total"], 2);
    assert_eq!(found["runs"][0]["points"], 6);
}
