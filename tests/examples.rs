//! The small programs of `examples/`, run as they stand: cargo builds them beside the tests.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use curvary_tests::{root, run};

/// The folder of the built examples. Among all tests cargo builds them; a test that runs alone has them built now.
fn built() -> &'static PathBuf {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        // target/debug/deps/examples-… and target/debug/examples/NAME.
        let own = std::env::current_exe().expect("this test");
        let profile = own.ancestors().nth(2).expect("the folder of the profile");
        let mut build = Command::new(env!("CARGO"));
        build.args(["build", "--quiet", "--workspace"]);
        for example in ["fit", "own_reader", "query", "read_folder"] {
            build.args(["--example", example]);
        }
        build.current_dir(root());
        build.env(
            "CARGO_TARGET_DIR",
            profile.parent().expect("profiles lie in target"),
        );
        assert!(
            build.status().expect("cargo runs").success(),
            "the examples do not build"
        );
        profile.join("examples")
    })
}

fn output(example: &str, arguments: &[&str]) -> String {
    let program = built()
        .join(example)
        .with_extension(std::env::consts::EXE_EXTENSION);
    let output = Command::new(&program)
        .args(arguments)
        .current_dir(root())
        .output()
        .unwrap_or_else(|error| panic!("{}: {error}", program.display()));
    assert!(output.status.success(), "{example}: {output:?}");
    String::from_utf8(output.stdout).expect("UTF-8")
}

#[test]
fn a_folder_is_read() {
    let said = output("read_folder", &["demo-data/2019"]);
    assert!(
        said.contains("absorbance in {AU} over wavelength in nm"),
        "{said}"
    );
}

#[test]
fn a_reader_of_ones_own_takes_its_files() {
    let said = output("own_reader", &[]);
    assert!(
        said.starts_with("read by example/beads\n400 nm  0.120  (line 2)\n"),
        "{said}"
    );
}

#[test]
fn a_rate_constant_comes_with_its_uncertainty() {
    let said = output("fit", &[]);
    let line = said.lines().find(|line| line.starts_with("k = ")).expect("k");
    let numbers: Vec<f64> = line
        .split(['=', '±'])
        .skip(1)
        .map(|part| part.trim().parse().expect("a number"))
        .collect();
    assert!((numbers[0] - 0.0100).abs() < 3.0 * numbers[1], "{said}");
    assert!(numbers[1] > 0.0 && numbers[1] < 0.0005, "{said}");
}

#[test]
fn runs_of_an_archive_are_found() {
    let folder = tempfile::tempdir().expect("a folder");
    let archive = folder.path().join("archive");
    let archive = archive.to_str().expect("UTF-8");
    let added = run(&root(), &["add", "demo-data/2019", "--archive", archive]);
    assert!(added.status.code().is_some_and(|status| status < 2), "{added:?}");
    let said = output("query", &[archive, "technique:spectrum"]);
    assert!(
        said.lines().count() > 1 && said.contains(" points from "),
        "{said}"
    );
}
